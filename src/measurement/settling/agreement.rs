//! Whether the level is at rest: some window of the ladder agrees with itself, is trusted, and goes on agreeing.
//!
//! Persistence is the cheapest safety: at the turning point of a hand's slow wander any test passes for a moment.
//! An expected band shortens window and persistence for levels inside it and never touches the value.

use super::change::Capture;
use super::ladder::{self, Level};
use super::limits::SettlingLimits;
use super::{Settling, at};
use crate::measurement::sample::Expectation;

/// A lasting level may wander by this many tolerances and this many resolutions.
const NEAR: [f64; 2] = [0.15, 0.22];
/// From this rung on a window is trusted however restless the empty instrument was: there is none better.
const ALWAYS_TRUSTED: usize = 4;
/// The unrest of the empty instrument that is always trusted, in resolutions: flicker of the last digit.
const FLICKER: f64 = 0.3;
/// The most that a restless place adds to the patience, s.
const LONGEST_RESTLESS_S: f64 = 1.0;

impl Settling {
    /// The level, once agreement has lasted long enough; the shortest window is `shortest_s`.
    pub(super) fn stable(&mut self, now_s: f64, shortest_s: f64, expected: &[Expectation]) -> Option<Level> {
        let (level, lasted_s) = self.lasting(now_s, shortest_s, expected)?;
        let hold_s = if self.is_expected(&level, expected) { self.limits.expected_hold_s } else { self.limits.hold_s };
        (lasted_s >= hold_s + self.restless_s()).then_some(level)
    }

    /// The level that agrees now, and for how long it has, in s.
    pub(super) fn lasting(&mut self, now_s: f64, shortest_s: f64, expected: &[Expectation]) -> Option<(Level, f64)> {
        let Some(level) = self.agreeing(shortest_s, expected) else {
            self.agreement = None;
            return None;
        };
        match self.agreement {
            // A microsecond more, for times that are not exact in binary.
            Some((since_s, first)) if near(&self.limits, &first, &level) => Some((level, now_s - since_s + 1e-6)),
            _ => {
                self.agreement = Some((now_s, level));
                Some((level, 0.0))
            }
        }
    }

    /// More patience in a restless place, s.
    fn restless_s(&self) -> f64 {
        let limits = &self.limits;
        let unrest = (0..limits.channels)
            .map(|c| (self.zero.unrest(c, 1.0) - FLICKER * at(&limits.resolution, c)) / at(&limits.tolerance, c))
            .fold(0.0, f64::max);
        (limits.restless_s * unrest).min(LONGEST_RESTLESS_S)
    }

    /// Whether a level is that of a captured placement, to a part of what the limits call the same.
    pub(super) fn same(&self, level: &Level, captured: &Capture, part: f64) -> bool {
        let values = self.less_zero(level.mean);
        (0..self.limits.channels)
            .all(|c| (at(&values, c) - at(&captured.values, c)).abs() <= part * at(&self.limits.same, c))
    }

    fn is_expected(&self, level: &Level, expected: &[Expectation]) -> bool {
        let value = at(&self.less_zero(level.mean), 0);
        expected.iter().any(|band| band.contains(value))
    }

    /// The shortest window that agrees.
    fn agreeing(&self, shortest_s: f64, expected: &[Expectation]) -> Option<Level> {
        let limits = &self.limits;
        if shortest_s <= 0.0 && !expected.is_empty() {
            let n = limits.samples(limits.expected_window_s, limits.fewest_samples);
            if n <= self.ladder.since()
                && let Some(level) = self.passing(n, 0, limits.expected_agree_tolerances)
                && self.is_expected(&level, expected)
            {
                return Some(level);
            }
        }
        let rungs = limits.windows_s.iter().zip(limits.agree_tolerances).enumerate();
        for (rung, (window_s, tolerances)) in rungs {
            if *window_s < shortest_s {
                continue;
            }
            let n = limits.samples_in(rung);
            if n > self.ladder.since() {
                break;
            }
            if let Some(level) = self.passing(n, rung, tolerances) {
                return Some(level);
            }
        }
        None
    }

    /// The newest `n` samples as a level, if the means of their halves agree within so many tolerances, the empty
    /// instrument was calm enough for a rung so short, and the uncertainty of level and zero is small enough.
    fn passing(&self, n: usize, rung: usize, tolerances: f64) -> Option<Level> {
        let limits = &self.limits;
        let level = ladder::level(self.ladder.newest(n, 0)?, limits.channels)?;
        let window_s = level.window.1 - level.window.0;
        let passes = (0..limits.channels).all(|c| {
            let (tolerance, disagreement) = (at(&limits.tolerance, c), at(&level.disagreement, c));
            let unrest = self.zero.unrest(c, window_s);
            let trusted = limits.trust * tolerance + FLICKER * at(&limits.resolution, c);
            let u = (disagreement / 2.0).hypot(unrest / 2.0).hypot(at(&self.zero.u, c));
            disagreement <= limits.agreement(tolerances, c)
                && (rung >= ALWAYS_TRUSTED || unrest <= trusted)
                && u <= limits.sure * tolerance
        });
        passes.then_some(level)
    }
}

fn near(limits: &SettlingLimits, first: &Level, level: &Level) -> bool {
    (0..limits.channels).all(|c| {
        let allowed = NEAR[0] * at(&limits.tolerance, c) + NEAR[1] * at(&limits.resolution, c);
        (at(&first.mean, c) - at(&level.mean, c)).abs() <= allowed
    })
}
