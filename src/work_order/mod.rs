//! Orders, clubs and where a reading belongs. Pure: events are applied, decisions are returned, nothing is done.
//!
//! In reading order: an [`order`] names clubs and targets, [`build`] how they are made, [`marks`] what a cut waits for and
//! [`set_plan`] which parts a set takes; [`routing`] finds the place of a reading, [`judging`]
//! its verdict; an [`event`] says what happened; [`state`] is the fold of all events; [`desk`] answers commands.

pub mod adhesive;
pub mod advice;
pub mod again;
pub mod angle_check;
pub mod bearing;
mod bend_command;
pub mod bending;
pub mod build;
mod cards;
pub mod cautions;
pub mod check_verdict;
pub mod checks;
pub mod crosscheck;
pub mod desk;
pub mod details;
pub mod difference;
mod dry_fit;
pub mod elapsed;
pub mod event;
mod event_id;
mod finishing;
pub mod forecast;
pub mod guide;
mod intake;
pub mod judging;
pub mod marks;
mod numbering;
pub mod order;
pub mod part_code;
pub mod record;
pub mod reference;
pub mod routing;
pub mod rules;
pub mod set_plan;
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
