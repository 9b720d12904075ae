//! Whether the level is at rest: some window of the ladder agrees with itself, is trusted, and goes on agreeing.
//!
//! Persistence is the cheapest safety: at the turning point of a hand's slow wander any test passes for a moment.
//! An expected band shortens window and persistence for levels inside it and never touches the value.

use super::change::Capture;
use super::ladder::{self, Level};
use super::limits::{SettlingLimits, Zeroing};
use super::{Settling, at};
use crate::measurement::sample::Expectation;

/// A lasting level may wander by this many tolerances and this many resolutions.
const NEAR: [f64; 2] = [0.15, 0.22];
/// From this rung on a window is trusted however restless the empty instrument was: there is none better.
const ALWAYS_TRUSTED: usize = 4;
/// The unrest of the empty instrument that is always trusted, in resolutions: flicker of the last digit.
const FLICKER: f64 = 0.3;
/// The samples of a level at rest scatter by no more than so many times what they do on the empty instrument.
const SCATTERS: f64 = 2.0;
/// A load of so many grams doubles the scatter: the mass that a disturbance of the bench moves (common practice, no source).
const DOUBLES_G: f64 = 150.0;
/// What they may scatter by on top, in resolutions, and in tolerances for windows shorter and longer than `SHORT_S`.
const SCATTER_MORE: (f64, [f64; 2]) = (0.5, [0.02, 0.2]);
/// See `SCATTER_MORE`, s.
const SHORT_S: f64 = 1.3;
/// The largest standard uncertainty of a mean, from the scatter of its samples, that is captured, in tolerances.
const SURE_OF_MEAN: f64 = 0.7;
/// From this rung on the samples may scatter as they will: only a long sway has not passed before.
const ANY_SCATTER: usize = 5;
/// So many times the usual disagreement of the empty instrument is allowed to the shortest window on top.
const USUAL: f64 = 2.0;
/// Of a tolerance, the most that `USUAL` allows for each time.
const USUAL_MOST: f64 = 0.2;
/// The shortest windows are believed for so long after the level last moved, s: one that agrees only after many looks agrees
/// by luck, as in a draught or under a hand.
const BY_LUCK_S: f64 = 1.7;
/// See `is_still`, s.
const STILL_S: f64 = 1.0;
/// The usual disagreement with which an expected level is captured sooner: in tolerances and in resolutions.
const EXPECTED_CALM: [f64; 2] = [0.15, 0.2];
/// A band of this half width, in g, tells nothing of a hand, which bears a few grams: full patience. See `hold_s`.
const TELLING_G: f64 = 3.0;
/// The most that a restless place adds to the patience, s.
const LONGEST_RESTLESS_S: f64 = 1.0;

impl Settling {
    /// The level, once agreement has lasted long enough; the shortest window is `shortest_s`.
    pub(super) fn stable(&mut self, now_s: f64, shortest_s: f64, expected: &[Expectation]) -> Option<Level> {
        let (level, lasted_s) = self.lasting(now_s, shortest_s, expected)?;
        (lasted_s >= self.hold_s(&level, expected) + self.restless_s()).then_some(level)
    }

    /// How long a level must last. That it lies in a narrow band is evidence of its own: a hand that bears two grams
    /// would have put it elsewhere. A band as wide as what a hand bears says nothing, so the patience grows with the width.
    fn hold_s(&self, level: &Level, expected: &[Expectation]) -> f64 {
        let limits = &self.limits;
        let value = at(&self.less_zero(level.mean), 0);
        let half = expected.iter().filter(|band| band.contains(value)).map(|band| 0.5 * (band.hi - band.lo));
        let width = (half.fold(f64::INFINITY, f64::min) / TELLING_G).min(1.0);
        limits.expected_hold_s + (limits.hold_s - limits.expected_hold_s) * width
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
        let is_early = self.last.is_some_and(|last| last.t_s - self.moved_s <= BY_LUCK_S);
        if shortest_s <= 0.0 && is_early && !expected.is_empty() {
            let n = limits.samples(limits.expected_window_s, limits.fewest_samples);
            if n <= self.ladder.since()
                && let Some(level) = self.passing(n, 0, limits.expected_agree_tolerances)
                && self.is_expected(&level, expected)
                && self.is_calm(&level)
            {
                return Some(level);
            }
        }
        let rungs = limits.windows_s.iter().zip(limits.agree_tolerances).enumerate();
        for (rung, (window_s, tolerances)) in rungs {
            if *window_s < shortest_s || (rung == 0 && !is_early) {
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

    /// Whether the place is calm enough for an expected level to be captured sooner.
    fn is_calm(&self, level: &Level) -> bool {
        let limits = &self.limits;
        (0..limits.channels).all(|c| {
            let calm = EXPECTED_CALM[0] * at(&limits.tolerance, c) + EXPECTED_CALM[1] * at(&limits.resolution, c);
            self.zero.unrest(c, level.window.1 - level.window.0) <= calm
        })
    }

    /// Whether the samples of a level scatter like those of the empty instrument: under a hand they scatter more, though
    /// their means may agree for a moment. Arms of a gauge at rest say nothing of a club between them.
    fn scatters_as_usual(&self, level: &Level, rung: usize, channel: usize) -> bool {
        let limits = &self.limits;
        if rung >= ANY_SCATTER || limits.zeroing == Zeroing::PresenceOnly {
            return true;
        }
        let Some(usual) = self.zero.scatter(channel) else { return true };
        let load = (at(&level.mean, 0) - at(&self.zero.value, 0)).abs();
        let (steps, [short, long]) = SCATTER_MORE;
        let tolerances = if level.window.1 - level.window.0 > SHORT_S { long } else { short };
        let more = steps * at(&limits.resolution, channel) + tolerances * at(&limits.tolerance, channel);
        at(&level.scatter, channel) <= SCATTERS * usual * (1.0 + load / DOUBLES_G) + more
    }

    /// Whether the newest second, be something on the instrument or not, was still: its halves agree and its samples scatter
    /// by less than a tolerance. What has not sent for so long, is not.
    #[must_use]
    pub fn is_still(&self) -> bool {
        let limits = &self.limits;
        let newest = self.ladder.newest(limits.samples(STILL_S, limits.fewest_samples), 0);
        newest.and_then(|samples| ladder::level(samples, limits.channels)).is_some_and(|level| {
            (0..limits.channels)
                .all(|c| at(&level.disagreement, c).max(at(&level.scatter, c)) <= at(&limits.tolerance, c))
        })
    }

    /// The newest `n` samples as a level, if they are at rest and the uncertainty of level and zero is small enough.
    fn passing(&self, n: usize, rung: usize, tolerances: f64) -> Option<Level> {
        self.resting(n, rung, tolerances).filter(|level| self.is_sure(level))
    }

    /// The newest `n` samples as a level, if the means of their halves agree within so many tolerances, they scatter no
    /// more than usual, and the empty instrument was calm enough for a rung so short.
    fn resting(&self, n: usize, rung: usize, tolerances: f64) -> Option<Level> {
        let limits = &self.limits;
        let level = ladder::level(self.ladder.newest(n, 0)?, limits.channels)?;
        let window_s = level.window.1 - level.window.0;
        let rests = (0..limits.channels).all(|c| {
            let tolerance = at(&limits.tolerance, c);
            let unrest = self.zero.unrest(c, window_s);
            let trusted = limits.trust * tolerance + FLICKER * at(&limits.resolution, c);
            let usual = if rung == 0 { USUAL * unrest.min(USUAL_MOST * tolerance) } else { 0.0 };
            at(&level.disagreement, c) <= limits.agreement(tolerances, c) + usual
                && self.scatters_as_usual(&level, rung, c)
                && (rung >= ALWAYS_TRUSTED || unrest <= trusted)
        });
        rests.then_some(level)
    }

    /// Whether a level and the zero it is taken from are known well enough to be captured.
    fn is_sure(&self, level: &Level) -> bool {
        self.is_sure_with(level, level.disagreement)
    }

    fn is_sure_with(&self, level: &Level, disagreement: [f64; 2]) -> bool {
        let limits = &self.limits;
        (0..limits.channels).all(|c| {
            let unrest = self.zero.unrest(c, level.window.1 - level.window.0);
            let u = (at(&disagreement, c) / 2.0).hypot(unrest / 2.0).hypot(at(&self.zero.u, c));
            // A wide swing may have means that agree; despiking cuts its crests, so that its mean is not to be had.
            let of_mean = at(&level.scatter, c) / ladder::f64_of(level.n).sqrt();
            u <= limits.sure * at(&limits.tolerance, c) && of_mean <= SURE_OF_MEAN * at(&limits.tolerance, c)
        })
    }

    /// Whether it is the restless empty instrument before it, not a movement of its own, that keeps the load from being captured.
    pub(super) fn only_zero_is_unsure(&self) -> bool {
        let limits = &self.limits;
        let mut rungs = limits.agree_tolerances.iter().enumerate();
        rungs.any(|(rung, tolerances)| {
            let n = limits.samples_in(rung);
            n <= self.ladder.since()
                && self.resting(n, rung, *tolerances).is_some_and(|level| !self.is_sure_with(&level, [0.0; 2]))
        })
    }
}

fn near(limits: &SettlingLimits, first: &Level, level: &Level) -> bool {
    (0..limits.channels).all(|c| {
        let allowed = NEAR[0] * at(&limits.tolerance, c) + NEAR[1] * at(&limits.resolution, c);
        (at(&first.mean, c) - at(&level.mean, c)).abs() <= allowed
    })
}
