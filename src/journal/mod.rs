//! The one journal: append-only, hash-chained, on disk before anything is shown.
//!
//! In reading order: [`event`] is the stored shape, [`chain`] its hash, [`evidence`] the raw bytes behind a
//! reading, [`store`] the database, [`lookup`] one event of it, [`lock`] keeps a second daemon away.

mod budget_shape;
mod calibration_shape;
pub mod chain;
pub mod damage;
pub mod event;
pub mod evidence;
pub mod lock;
mod names;
pub mod lookup;
pub mod store;
mod study_shape;
mod trust_shape;
