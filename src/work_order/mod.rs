//! Orders, clubs and where a reading belongs. Pure: events are applied, decisions are returned, nothing is done.
//!
//! In reading order: an [`order`] names clubs and targets, [`build`] how they are made, [`marks`] what a cut waits for and
//! [`set_plan`] which parts a set takes; [`routing`] finds the place of a reading, [`judging`]
//! its verdict; an [`event`] says what happened; [`state`] is the fold of all events; [`desk`] answers commands.

pub mod adhesive;
mod adjusting;
pub mod advice;
pub mod again;
mod alternatives;
pub mod angle_check;
mod as_left;
pub mod bearing;
mod bend_command;
pub mod bending;
pub mod build;
mod capture_line;
mod cards;
pub mod cautions;
pub mod check_verdict;
pub mod checks;
pub mod crosscheck;
pub mod desk;
pub mod details;
pub mod difference;
pub mod drawer_desk;
pub mod drawer_stock;
pub mod drawers;
mod dry_fit;
pub mod effects;
pub mod elapsed;
pub mod event;
mod event_id;
mod event_kind;
mod filing;
mod finishing;
pub mod forecast;
pub mod guide;
pub mod history;
mod intake;
pub mod judging;
pub mod laid;
pub mod learning;
pub mod marks;
mod need;
mod numbering;
pub mod order;
pub mod part_code;
pub mod part_desk;
pub mod part_stock;
mod parts_model;
pub mod proposals;
pub mod record;
pub mod reference;
pub mod routing;
pub mod rules;
pub mod set_plan;
pub mod sleeving;
mod sources;
pub mod state;
pub mod steps;
pub mod stock;
pub mod study;
pub mod study_desk;
pub mod study_plan;
pub mod ticket;
pub mod trust;
mod turn;
