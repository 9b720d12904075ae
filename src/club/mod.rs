//! The club as a body, pure: its characteristics, mass, balance, inertia, swing weight and angles. No IO, no clock.
//!
//! In reading order: what can be measured, the swing weight, the club put together from parts, weight added to it and
//! shaft cut off it, its angles, the sleeve that changes them and the gauge that reads them, its pendulum and its frequency; where
//! to cut and what fits; parts given to clubs, and the steps of a set.

pub mod characteristic;
pub mod shown;
pub mod swing_weight;

pub mod parts;

pub mod assembly;

pub mod added_weight;
pub mod trimming;
pub mod weight_search;

pub mod angles;
pub mod sleeve;
pub mod sleeve_table;

pub mod inclinometer;

pub mod pendulum;

pub mod frequency;

pub mod cut;
pub mod fit;

pub mod assignment;
pub mod common_value;
pub mod progression;
