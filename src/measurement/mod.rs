//! Measurement, pure: units, samples, calibration, settling, uncertainty. No IO, no clock, no club.
//!
//! In reading order: an indication becomes a [`sample`] through a [`calibration`], [`settling`] finds the
//! moment a placement has come to rest, and the calibration turns that capture into a [`reading`].

pub mod unit;

pub mod quantity;

pub mod stamp;

pub mod sample;

pub mod calibration;
pub mod gauge;

pub mod settling;

pub mod printed;
pub mod process;

pub mod reading;

pub mod beam;

pub mod evidence;

pub mod adjustment;
pub mod check_weight;
pub mod distribution;
pub mod double_double;
pub mod fit;
pub mod gauge_study;
pub mod gravity;
mod matrix;
pub mod statistics;
pub mod study_result;
pub mod uncertainty;
