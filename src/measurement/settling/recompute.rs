//! The mean of a captured window from the stored raw samples, bit for bit.
//!
//! Raw samples, the limits in force and the window go in, the captured values come out again, by the very code
//! that captured them. Possible because despiking and block averaging are local: see `intake`.

use super::intake::Intake;
use super::ladder::tapered_mean;
use super::limits::SettlingLimits;
use crate::measurement::sample::Sample;

/// The samples of the window as the ladder had them.
///
/// `samples` are the raw samples as they were pushed, from at least half a second and four samples before the window
/// to the one that decided. `None` when they do not hold the whole window.
pub(super) fn kept(limits: &SettlingLimits, samples: &[Sample], window: (f64, f64)) -> Option<Vec<Sample>> {
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
    let same = first.t_s.to_bits() == window.0.to_bits() && last.t_s.to_bits() == window.1.to_bits();
    same.then_some(kept)
}

/// Mean of each channel that counts, less its zero.
pub(super) fn less_zero(limits: &SettlingLimits, kept: &[Sample], zero: [f64; 2]) -> [f64; 2] {
    let mut values = [0.0; 2];
    for (channel, (value, zero)) in values.iter_mut().zip(zero).enumerate().take(limits.channels) {
        *value = tapered_mean(kept, channel) - zero;
    }
    values
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn recompute(limits: &SettlingLimits, samples: &[Sample], window: (f64, f64), zero: [f64; 2]) -> Option<[f64; 2]> {
        Some(less_zero(limits, &kept(limits, samples, window)?, zero))
    }
    use crate::measurement::settling::{Settling, recompute_zero};

    /// A placement with ripple, noise, lost samples and spikes; all of them chosen by the test.
    fn session(rate_hz: f64, (load, drift): (f64, f64), noise: &[f64], lost: usize, spike: usize) -> Vec<Sample> {
        let mut samples = Vec::new();
        for (i, noise) in (0_u32..).zip(noise.iter().cycle().take(240)) {
            let at = i as usize;
            let t_s = 1000.0 + f64::from(i) / rate_hz + 0.001 * noise;
            let on = if f64::from(i) / rate_hz > 3.0 { load } else { 0.0 };
            let zero = drift * f64::from(i) / rate_hz;
            let value = if at % 53 == spike { -on } else { on + zero + 0.01 * noise };
            if at % 41 != lost {
                samples.push(Sample { t_s, values: [value, 300.0 * value + 3.0 * noise] });
            }
        }
        samples
    }

    proptest! {
        #[test]
        fn every_cut_of_the_stream_gives_the_captured_value_bit_for_bit(
            which in 0_usize..6,
            load in 50.0..1000.0_f64,
            // Faster than a zero may follow at the upper end.
            drift in 0.0..0.05_f64,
            noise in prop::collection::vec(-1.0..1.0_f64, 240),
            lost in 0_usize..41,
            spike in 0_usize..53,
            lead in 0_usize..200,
        ) {
            let (limits, rate_hz) = match which {
                0 => (SettlingLimits::for_scale(0.01, 20.0, 2000.0), 20.0),
                1 => (SettlingLimits::for_scale(0.1, 10.0, 2000.0), 10.0),
                2 => (SettlingLimits::for_beam(20.0), 20.0),
                3 => (SettlingLimits::for_beam(40.0), 40.0),
                4 => (SettlingLimits::for_beam(33.0), 33.0),
                _ => (SettlingLimits::for_scale(0.05, 25.0, 2000.0), 25.0),
            };
            let samples = session(rate_hz, (load, drift), &noise, lost, spike);
            let mut settling = Settling::new(limits.clone());
            for (i, sample) in samples.iter().enumerate() {
                let Some(capture) = settling.push(sample, &[]).capture() else { continue };
                prop_assert!(capture.t_s - capture.window.0 < 8.0);
                // Any lead from half a second and four samples on, up to all there is.
                let first = samples.iter().position(|s| s.t_s >= capture.window.0 - 0.5).unwrap();
                let cut = samples.get(first.saturating_sub(4 + lead)..=i).unwrap();
                let again = recompute(&limits, cut, capture.window, capture.zero);
                prop_assert_eq!(again.map(|v| v.map(f64::to_bits)), Some(capture.values.map(f64::to_bits)));
                // And its zero, with whatever else came between.
                let look = capture.zero_look.unwrap();
                let seen = samples.iter().position(|s| s.t_s >= look.window.0 - 0.5).unwrap();
                let cut = samples.get(seen.saturating_sub(4 + lead)..=i).unwrap();
                let again = recompute_zero(&limits, cut, (capture.zero, look), capture.t_s);
                prop_assert_eq!(again.map(|u| u.map(f64::to_bits)), Ok(capture.u_zero.map(f64::to_bits)));
            }
        }

        #[test]
        fn a_cut_that_lacks_the_window_gives_nothing(noise in prop::collection::vec(-1.0..1.0_f64, 240)) {
            let limits = SettlingLimits::for_beam(40.0);
            let samples = session(40.0, (320.0, 0.0), &noise, 0, 0);
            let mut settling = Settling::new(limits.clone());
            for (i, sample) in samples.iter().enumerate() {
                let Some(capture) = settling.push(sample, &[]).capture() else { continue };
                let first = samples.iter().position(|s| s.t_s > capture.window.0 + 0.06).unwrap();
                prop_assert_eq!(recompute(&limits, &samples[first..=i], capture.window, capture.zero), None);
            }
        }
    }
}
