//! The one journal: append-only, hash-chained, on disk before anything is shown.
//!
//! In reading order: [`event`] is the stored shape, [`chain`] its hash, [`evidence`] the raw bytes behind a
//! reading, [`store`] the database, [`lookup`] one event of it, [`archive`] looks things up through its index, [`lock`] keeps a
//! second daemon away.

mod adhesive_shape;
pub mod archive;
pub mod backup;
mod budget_shape;
mod build_shape;
mod calibration_shape;
mod carve;
pub mod chain;
pub mod compare;
pub mod cursor;
pub mod damage;
mod details_shape;
mod drawer_shape;
mod error;
pub mod event;
pub mod evidence;
mod index;
pub mod lock;
mod log;
pub mod lookup;
pub mod migrate;
mod names;
mod needed;
mod order_shape;
mod part_shape;
mod prover;
pub mod retire;
pub mod retired;
pub mod rules;
pub mod salvage;
pub mod seal;
pub mod sound;
mod start;
mod stock;
pub mod store;
mod study_shape;
mod sum;
mod touched;
mod trust_shape;
