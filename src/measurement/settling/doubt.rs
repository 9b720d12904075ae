//! How sure a settled level is, from its window and the zero's age; and the same again from stored samples.
//!
//! A window's level and the tracked zero come in, standard uncertainties go out. Nothing here decides a capture.

use super::change::ZeroLook;
use super::ladder::{Level, f64_of, level};
use super::limits::SettlingLimits;
use super::recompute::{kept, less_zero};
use super::zero::Zero;
use crate::measurement::sample::Sample;

/// What the samples of a window say of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recomputed {
    /// Mean over the window less the zero.
    pub values: [f64; 2],
    /// Standard uncertainty of each value.
    pub u: [f64; 2],
    /// Samples in the window.
    pub n: usize,
}

/// Why a zero is not what its look left.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoZero {
    /// The samples do not hold the look.
    Missing,
    /// The look cannot have left this zero, or is none.
    Other,
}

/// The uncertainty of a tracked zero at `t_s` again, bit for bit, from the samples of its last look and the usual unrest.
///
/// # Errors
/// Where the samples do not hold the look, or it cannot have left this zero.
pub fn recompute_zero(
    limits: &SettlingLimits,
    samples: &[Sample],
    (zero, look): ([f64; 2], ZeroLook),
    t_s: f64,
) -> Result<[f64; 2], NoZero> {
    let kept = kept(limits, samples, look.window).ok_or(NoZero::Missing)?;
    let level = level(&kept, limits.channels).ok_or(NoZero::Missing)?;
    Zero::again(limits, &level, (zero, look), t_s).ok_or(NoZero::Other)
}

/// Captured values and uncertainties again, bit for bit; `samples` are as for `kept`, `u_zero` is the
/// tracked zero's part as it was at the capture.
#[must_use]
pub fn recompute_with_doubt(
    limits: &SettlingLimits,
    samples: &[Sample],
    window: (f64, f64),
    zero: [f64; 2],
    u_zero: [f64; 2],
) -> Option<Recomputed> {
    let kept = kept(limits, samples, window)?;
    let values = less_zero(limits, &kept, zero);
    let level = level(&kept, limits.channels)?;
    Some(Recomputed { values, u: of_level(limits, &level, u_zero), n: level.n })
}

/// Standard uncertainty of a level less its zero: its halves disagree, its indication has a step or its samples
/// scatter, its zero has aged.
pub(super) fn of_level(limits: &SettlingLimits, level: &Level, u_zero: [f64; 2]) -> [f64; 2] {
    let at = |list: &[f64; 2], channel: usize| list.get(channel).copied().unwrap_or_default();
    let zero = zero_part(limits, u_zero);
    let mut u = [0.0; 2];
    for (c, u) in u.iter_mut().enumerate().take(limits.channels) {
        let noise = (at(&limits.resolution, c) / 3.5).max(at(&level.scatter, c) / f64_of(level.n).sqrt());
        *u = (at(&level.disagreement, c) / 2.0).hypot(noise).hypot(at(&zero, c));
    }
    u
}

/// The zero's part of it: as tracked, and drift and creep since the last look.
#[must_use]
pub fn zero_part(limits: &SettlingLimits, u_zero: [f64; 2]) -> [f64; 2] {
    [limits.u_zero[0].hypot(u_zero[0]), limits.u_zero[1].hypot(u_zero[1])]
}
