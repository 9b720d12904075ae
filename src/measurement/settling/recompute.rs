//! The mean of a captured window from the stored raw samples, bit for bit.
//!
//! Raw samples, the limits in force and the window go in, the captured values come out again, by the very code
//! that captured them. Possible because despiking and block averaging are local: see `intake`.

use super::intake::Intake;
use super::ladder::tapered_mean;
use super::limits::SettlingLimits;
use crate::measurement::sample::Sample;

/// The captured values again: mean over `window` less `zero`.
///
/// `samples` are the raw samples as they were pushed, from at least half a second (and three samples) before the window
/// to the one that decided. `None` when they do not hold the whole window.
#[must_use]
pub fn recompute(limits: &SettlingLimits, samples: &[Sample], window: (f64, f64), zero: [f64; 2]) -> Option<[f64; 2]> {
    let mut intake = Intake::new(limits);
    let mut kept = Vec::new();
    for sample in samples {
        intake.push(sample, |sample| {
            if window.0 <= sample.t_s && sample.t_s <= window.1 {
                kept.push(sample);
            }
        });
    }
    let (first, last) = (kept.first()?, kept.last()?);
    // The very same times, not nearly: otherwise the blocks were cut differently.
    if first.t_s.to_bits() != window.0.to_bits() || last.t_s.to_bits() != window.1.to_bits() {
        return None;
    }
    let mut values = [0.0; 2];
    for (channel, value) in values.iter_mut().enumerate().take(limits.channels) {
        *value = tapered_mean(&kept, channel) - zero.get(channel)?;
    }
    Some(values)
}
