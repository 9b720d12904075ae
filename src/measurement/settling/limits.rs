//! When a load counts as placed, at rest, moved and gone: the numbers of one instrument.
//!
//! Constructors derive them from what is known of an instrument (resolution, rate, capacity). The numbers come
//! from this project's own study of capture and were tuned on its synthetic traces: they rank well there and prove
//! nothing about a real bench.

use crate::measurement::sample::Sample;

/// Rungs of the ladder.
pub const RUNGS: usize = 6;

/// What the empty instrument's level means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zeroing {
    /// It is tracked while empty and taken off every value (scales, beams).
    TakenOff,
    /// It is where the arms rest and only says whether something is there; values are absolute (gauges).
    PresenceOnly,
}

/// The numbers of one instrument. Arrays of two hold one entry a channel; units are those of the samples.
#[derive(Debug, Clone, PartialEq)]
pub struct SettlingLimits {
    /// Samples a second that reach the ladder, after block averaging.
    pub rate_hz: f64,
    /// Length of the blocks that are averaged first, s; `None` where samples come at 20 Hz or slower.
    pub block_s: Option<f64>,
    /// Channels that count, 1 or 2.
    pub channels: usize,
    /// What a wrong value is: an error larger than this.
    pub tolerance: [f64; 2],
    /// Step of the indication; 0 where it has none that matters.
    pub resolution: [f64; 2],
    /// A level this close to the captured one is the same placement.
    pub same: [f64; 2],
    /// A held level further off than this, twice in a row, is disturbed.
    pub moved: [f64; 2],
    /// Standard uncertainty of zero drift and creep between the last look at the zero and the capture.
    pub u_zero: [f64; 2],
    /// A sample further than this from its neighbours may be a spike.
    pub spike: [f64; 2],
    /// A load on the first channel above this has been placed.
    pub on: f64,
    /// A load on the first channel below this is gone.
    pub off: f64,
    /// Loads beyond this are not captured: the instrument is overloaded.
    pub capacity: f64,
    /// The part of the captured level below which a held load was swapped for another one.
    pub swap: f64,
    /// What the empty level means.
    pub zeroing: Zeroing,
    /// How far a new zero may lie from the old one; a load beyond it that rests is something that lies there.
    pub zero_band: f64,
    /// Window lengths of the ladder, s, rising.
    pub windows_s: [f64; RUNGS],
    /// Allowed disagreement of half-window means on each rung, in tolerances. It rises: what still moves in a
    /// long window is a sway that the taper takes out, in a short one it may be a hand.
    pub agree_tolerances: [f64; RUNGS],
    /// Allowed disagreement of half-window means, in resolutions, on top.
    pub agree_resolutions: f64,
    /// Fewest samples in the first window; each further rung needs two more.
    pub fewest_samples: usize,
    /// How long the agreement must last, s: the patience against resting hands.
    pub hold_s: f64,
    /// What is added to `hold_s` for each tolerance by which the empty instrument is usually restless, s.
    pub restless_s: f64,
    /// Shortest window after a disturbance, s.
    pub strict_s: f64,
    /// How long a changed level must agree after a disturbance, s.
    pub strict_hold_s: f64,
    /// As the first window, when the level lies in an expected band, s.
    pub expected_window_s: f64,
    /// As `agree_tolerances` for that first window.
    pub expected_agree_tolerances: f64,
    /// As `hold_s`, when the level lies in an expected band, s.
    pub expected_hold_s: f64,
    /// Largest usual disagreement on the empty instrument with which a short window is trusted, in tolerances.
    pub trust: f64,
    /// Largest standard uncertainty of level and zero that is captured, in tolerances.
    pub sure: f64,
    /// After this time without rest the person is asked to let go, s.
    pub patience_s: f64,
}

/// The ladder takes no more samples a second than this; faster ones are averaged in blocks.
const FASTEST_HZ: f64 = 20.0;

impl SettlingLimits {
    /// A scale with resolution `d_g` in grams, `rate_hz` samples a second and `capacity_g` in grams.
    ///
    /// The tolerance is 0.15 g or two steps: below that a wrong weight cannot be told.
    #[must_use]
    pub fn for_scale(d_g: f64, rate_hz: f64, capacity_g: f64) -> Self {
        let d = if d_g.is_finite() { d_g.max(0.0) } else { 0.0 };
        let tolerance = (2.0 * d).max(0.15);
        let common = Self::common(rate_hz);
        Self {
            tolerance: [tolerance, f64::INFINITY],
            resolution: [d, 0.0],
            same: [(2.0 * tolerance).max(0.5), f64::INFINITY],
            moved: [tolerance.max(4.0 * d), f64::INFINITY],
            u_zero: [0.025, 0.0],
            zero_band: common.zero_band.max(4.0 * d),
            spike: [(6.0 * d).max(0.6 * tolerance), f64::INFINITY],
            capacity: capacity_g,
            // A scale's filter hides from its short windows what moves a beam's cells.
            trust: 0.2,
            // A hand hides under a coarse step: more patience where the step is a larger part of the tolerance.
            hold_s: common.hold_s + 1.7 * (d / tolerance) * (d / tolerance),
            ..common
        }
    }

    /// A beam on two load cells, total in grams and moment in g·mm, `rate_hz` samples a second from the cells.
    #[must_use]
    pub fn for_beam(rate_hz: f64) -> Self {
        // Cells send their noise unfiltered, so it grows with the rate.
        let spike_g = 0.12 * rate_hz.clamp(10.0, 1000.0).sqrt();
        Self {
            channels: 2,
            tolerance: [0.3, 100.0],
            resolution: [0.0; 2],
            same: [0.6, 200.0],
            moved: [0.3, 100.0],
            u_zero: [0.025, 7.0],
            // The moment's arm is some hundreds of millimetres.
            spike: [spike_g, 420.0 * spike_g],
            ..Self::common(rate_hz)
        }
    }

    /// An angle gauge with lie and loft in degrees, steps of `resolution_deg`; its arms rest at a lie of zero.
    #[must_use]
    pub fn for_gauge(resolution_deg: f64, rate_hz: f64) -> Self {
        let d = if resolution_deg.is_finite() { resolution_deg.max(0.0) } else { 0.0 };
        let tolerance = (2.0 * d).max(0.1);
        Self {
            channels: 2,
            tolerance: [tolerance; 2],
            resolution: [d; 2],
            same: [(2.0 * tolerance).max(0.15); 2],
            moved: [tolerance.max(4.0 * d); 2],
            u_zero: [0.0; 2],
            spike: [(6.0 * d).max(0.6 * tolerance); 2],
            zeroing: Zeroing::PresenceOnly,
            zero_band: 2.0,
            ..Self::common(rate_hz)
        }
    }

    fn common(rate_hz: f64) -> Self {
        let rate_hz = if rate_hz.is_finite() { rate_hz.clamp(1.0, 1000.0) } else { FASTEST_HZ };
        let block = (rate_hz / FASTEST_HZ - 1e-6).ceil().max(1.0);
        Self {
            rate_hz: rate_hz / block,
            block_s: (block > 1.5).then_some(block / rate_hz),
            channels: 1,
            tolerance: [0.0; 2],
            resolution: [0.0; 2],
            same: [0.0; 2],
            moved: [0.0; 2],
            u_zero: [0.0; 2],
            spike: [0.0; 2],
            on: 10.0,
            off: 5.0,
            capacity: f64::INFINITY,
            swap: 0.38,
            zeroing: Zeroing::TakenOff,
            zero_band: 0.8,
            windows_s: [0.6, 1.4, 2.4, 3.0, 4.5, 6.5],
            agree_tolerances: [0.06, 0.17, 0.16, 0.25, 0.3, 0.65],
            agree_resolutions: 0.2,
            fewest_samples: 4,
            hold_s: 0.25,
            restless_s: 0.4,
            strict_s: 1.4,
            strict_hold_s: 0.8,
            expected_window_s: 0.5,
            expected_agree_tolerances: 0.15,
            expected_hold_s: 0.05,
            trust: 0.3,
            sure: 0.5,
            patience_s: 6.0,
        }
    }

    /// Samples in a window of `seconds`, at least `fewest`.
    #[must_use]
    pub(super) fn samples(&self, seconds: f64, fewest: usize) -> usize {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "at most a minute at the ladder's rate, never negative"
        )]
        let n = (seconds.clamp(0.0, 60.0) * self.rate_hz.clamp(0.1, 1000.0) - 1e-6).ceil().max(0.0) as usize;
        n.max(fewest)
    }

    /// Whether the level goes by a tolerance or more from one sample to the next.
    #[must_use]
    pub(super) fn moves(&self, from: &Sample, to: &Sample) -> bool {
        let steps = from.values.iter().zip(to.values).zip(self.tolerance).take(self.channels);
        steps.into_iter().any(|((from, to), tolerance)| (to - from).abs() > tolerance)
    }

    /// Samples in the window of a rung.
    #[must_use]
    pub(super) fn samples_in(&self, rung: usize) -> usize {
        self.samples(self.windows_s.get(rung).copied().unwrap_or(0.0), self.fewest_samples + 2 * rung)
    }

    /// The largest disagreement that passes where so many tolerances are allowed.
    #[must_use]
    pub(super) fn agreement(&self, tolerances: f64, channel: usize) -> f64 {
        let of = |array: &[f64; 2]| array.get(channel).copied().unwrap_or_default();
        tolerances * of(&self.tolerance) + self.agree_resolutions * of(&self.resolution)
    }
}
