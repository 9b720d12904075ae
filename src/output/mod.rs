//! What the bench shows: followers of the journal and of the live state. They decide nothing about measurements.

pub mod adhesive_view;
pub mod bend_view;
#[cfg(feature = "embedded-broker")]
pub mod broker;
pub mod capture_view;
pub mod command;
pub mod cut_view;
mod drawer_command;
pub mod drawer_view;
pub mod drawing;
pub mod history_plot;
pub mod history_view;
pub mod language;
pub mod lists;
pub mod mqtt;
pub mod order_text;
mod part_command;
pub mod part_view;
pub mod payload;
pub mod plan_view;
pub mod progression_plot;
pub mod reading_view;
pub mod record;
pub mod rules_view;
pub mod sheet;
pub mod study_command;
pub mod study_plot;
pub mod study_view;
pub mod table;
pub mod terminal;
pub mod text;
mod trust_command;
pub mod trust_detail;
pub mod trust_view;
pub mod view;
pub mod web;
pub mod work_view;
