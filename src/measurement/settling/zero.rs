//! Follows the level of the empty instrument, how well it is known, and how restless the place is.
//!
//! The samples of an empty instrument come in through the ladder's buffer; zero, its standard uncertainty and the usual
//! unrest are kept. The zero is the mean of the longest window whose halves agree, not of the one that agrees
//! best: in a draught the best is best by luck. Windows end a little before now, so that a part that is just touching
//! is not taken for zero. What is put on an empty pan is no drift: while the pan stays empty the zero follows no faster
//! than half a step a second, and never beyond its band.

use super::at;
use super::change::ZeroLook;
use super::ladder::{Ladder, Level, level};
use super::limits::SettlingLimits;
use super::placement::{RESTS, SEEN_EMPTY_S};

/// Window lengths, s.
const WINDOWS_S: [f64; 5] = [0.7, 1.2, 2.0, 3.2, 5.0];
/// No look reaches further back, however slowly samples come, s: its frames have to be at hand to be kept.
const LONGEST_S: f64 = 8.0;
/// The newest time that is left out, s.
const LAG_S: f64 = 0.3;
/// After the load left the instrument is still settling for this time, s: no look at its unrest.
const TAIL_S: f64 = 1.0;
/// The halves of a window may always disagree by this many tolerances and this many resolutions.
const AGREE: [f64; 2] = [0.12, 0.15];
/// The halves of a window may disagree by this much more than is usual here.
const UNUSUAL: f64 = 2.5;
/// A step of the running median, as a part of it.
const STEP: f64 = 0.15;
/// Drift of the zero a second, in the limits' `u_zero`.
const DRIFT: f64 = 0.36;
/// The zero follows at most so many steps a second (OIML R 76-1, 4.5.7, from memory).
const STEPS_A_SECOND: f64 = 0.5;
/// What lies within so many tolerances and steps of the zero is zero, seen again.
const AT_ZERO: [f64; 2] = [0.3, 0.3];
/// So is what lies within so many standard uncertainties of where it was last seen: the tail of a load, a draught.
const SEEN: f64 = 3.0;
/// After the pan was not empty for longer than this, s, its zero is looked at afresh, within the band.
const AFRESH_S: f64 = 1.0;
/// The part of what the zero may not follow yet that counts as its uncertainty: between not at all and all of it.
const BEHIND: f64 = 0.5;

/// The tracked zero.
#[derive(Debug, Clone)]
pub(super) struct Zero {
    /// Level of the empty instrument.
    pub(super) value: [f64; 2],
    /// Standard uncertainty of `value` at `at_s`; infinite while nothing is known.
    pub(super) u: [f64; 2],
    /// The part of `u` that is of the level it was last seen at, and not of how far it may not follow yet.
    u_seen: [f64; 2],
    /// Time of the newest sample that counted, s.
    at_s: f64,
    /// Where it was seen; `None` while it is not known, or only from before a restart.
    pub(super) look: Option<ZeroLook>,
    unrest: [Unrest; WINDOWS_S.len()],
    /// The usual standard deviation of the samples in the shortest window.
    scatter: Unrest,
}

/// The usual disagreement of the halves of one window on the empty instrument.
#[derive(Debug, Clone, Copy, Default)]
struct Unrest {
    /// Running median of each channel: a bump moves it little.
    median: [f64; 2],
    looks: u32,
}

impl SettlingLimits {
    /// Samples of the first look.
    pub(super) fn first_look(&self) -> usize {
        self.samples(SEEN_EMPTY_S, 3)
    }

    /// Samples that the zero looks back over.
    pub(super) fn zero_samples_longest(&self) -> usize {
        let longest_s = WINDOWS_S.iter().copied().fold(0.0, f64::max);
        self.samples(longest_s, 4) + self.samples(LAG_S, 1)
    }
}

impl Zero {
    /// Nothing is known yet but a value to begin with.
    pub(super) fn unknown(value: [f64; 2]) -> Self {
        Self {
            value,
            u: [f64::INFINITY; 2],
            u_seen: [0.0; 2],
            at_s: f64::NEG_INFINITY,
            look: None,
            unrest: [Unrest::default(); WINDOWS_S.len()],
            scatter: Unrest::default(),
        }
    }

    /// A zero known from a session before, whose clock was another one: good enough to know a load again.
    pub(super) fn known(value: [f64; 2], u: [f64; 2]) -> Self {
        Self { u, ..Self::unknown(value) }
    }

    /// The zero of a first short look.
    pub(super) fn first(limits: &SettlingLimits, level: &Level) -> Self {
        Self::seen(limits, level, level.mean, ZeroLook { window: level.window, unrest: [0.0; 2], is_first: true })
    }

    /// The zero `value` that a look leaves.
    fn seen(limits: &SettlingLimits, level: &Level, value: [f64; 2], look: ZeroLook) -> Self {
        let mut zero = Self::unknown(value);
        zero.see(limits, level, value, look);
        zero
    }

    /// Takes over what a look at `level` leaves: the zero and how well it is known.
    fn see(&mut self, limits: &SettlingLimits, level: &Level, value: [f64; 2], look: ZeroLook) {
        let channels = [0, 1].map(|c| c < limits.channels);
        let u_seen = [0, 1].map(|c| u_of(limits, level, at(&look.unrest, c), c));
        if look.is_first {
            // A short look may have caught the tail of a load: the next one is free to go where it will.
            self.u_seen = [0, 1].map(|c| if channels[c] { 2.0 * at(&u_seen, c) } else { 0.0 });
            self.u = self.u_seen;
            self.at_s = level.window.1 - 2.0 * AFRESH_S;
        } else {
            self.u_seen = [0, 1].map(|c| if channels[c] { at(&u_seen, c) } else { 0.0 });
            self.u = [0, 1].map(|c| {
                let behind = at(&level.mean, c) - at(&value, c);
                at(&self.u_seen, c).hypot(if channels[c] { BEHIND * behind } else { 0.0 })
            });
            self.at_s = level.window.1;
        }
        self.value = value;
        self.look = Some(look);
    }

    /// The uncertainty at `t_s` of a zero that is said to come from a look with this level; `None` where that look cannot
    /// leave this zero. Between two looks the zero lags behind by less than its band, and what it lags is in its uncertainty.
    pub(super) fn again(
        limits: &SettlingLimits,
        level: &Level,
        (value, look): ([f64; 2], ZeroLook),
        t_s: f64,
    ) -> Option<[f64; 2]> {
        let is_honest = look.unrest.iter().all(|unrest| unrest.is_finite() && *unrest >= 0.0);
        let zero = Self::seen(limits, level, value, look);
        let is_look = if look.is_first {
            let same = (0..2).all(|c| (at(&level.mean, c) - at(&value, c)).abs() <= 0.0);
            level.n == limits.first_look() && same && level.disagreement[0] <= RESTS * limits.zero_band
        } else {
            WINDOWS_S.iter().any(|window_s| level.n == limits.samples(*window_s, 4))
                && (level.mean[0] - value[0]).abs() < limits.zero_band
        };
        // Nothing is captured on a zero that is less sure (`is_sure`), which bounds what it may lag behind, too.
        let is_sure = (0..limits.channels).all(|c| at(&zero.u, c) <= limits.sure * at(&limits.tolerance, c));
        (is_honest && is_look && is_sure).then(|| zero.u_at(limits, t_s))
    }

    /// The standard uncertainty of the zero at a later time: it drifts.
    pub(super) fn u_at(&self, limits: &SettlingLimits, t_s: f64) -> [f64; 2] {
        let age_s = (t_s - self.at_s).max(0.0);
        [0, 1].map(
            |c| if c < limits.channels { at(&self.u, c).hypot(DRIFT * at(&limits.u_zero, c) * age_s) } else { 0.0 },
        )
    }

    /// The usual disagreement of half-window means on the empty instrument in a window of this length; 0 while none was
    /// seen. Longer windows than were seen are taken to be quieter with the root of their length.
    pub(super) fn unrest(&self, channel: usize, window_s: f64) -> f64 {
        let seen = WINDOWS_S.iter().zip(&self.unrest).filter(|(w, unrest)| unrest.looks > 2 && **w <= window_s + LAG_S);
        let least = seen
            .map(|(w, unrest)| at(&unrest.median, channel) * (w / window_s).min(1.0).sqrt())
            .fold(f64::INFINITY, f64::min);
        if least.is_finite() { least } else { 0.0 }
    }

    /// The usual standard deviation of the samples of the empty instrument; `None` while it was not seen for long enough.
    pub(super) fn scatter(&self, channel: usize) -> Option<f64> {
        (self.scatter.looks > 2).then(|| at(&self.scatter.median, channel))
    }

    /// Looks at the newest samples of an empty instrument; `None` when they say nothing about its zero.
    pub(super) fn follow(&mut self, limits: &SettlingLimits, ladder: &Ladder) -> Option<()> {
        let skip = limits.samples(LAG_S, 1);
        let tail = limits.samples(TAIL_S, 1);
        let known = self.u.iter().all(|u| u.is_finite());
        let mut longest = None;
        for (i, window_s) in WINDOWS_S.iter().enumerate() {
            let n = limits.samples(*window_s, 4);
            if n + skip > ladder.since() {
                break;
            }
            let level = level(ladder.newest(n, skip)?, limits.channels)?;
            // Of an instrument that sends more slowly than it was said to.
            if level.window.1 - level.window.0 > LONGEST_S {
                break;
            }
            if n + skip + tail <= ladder.since()
                && let Some(unrest) = self.unrest.get_mut(i)
            {
                unrest.look(level.disagreement);
                if i == 0 {
                    self.scatter.look(level.scatter);
                }
            }
            let agrees = (0..limits.channels).all(|c| {
                let always = AGREE[0] * at(&limits.tolerance, c) + AGREE[1] * at(&limits.resolution, c);
                at(&level.disagreement, c) <= always.max(UNUSUAL * self.unrest(c, *window_s))
            });
            if agrees || !known {
                longest = Some(level);
            }
        }
        let longest = longest?;
        if (at(&longest.mean, 0) - at(&self.value, 0)).abs() >= limits.zero_band {
            return None;
        }
        let followed = [0, 1].map(|c| {
            if c < limits.channels && known { self.followed(limits, &longest, c) } else { at(&longest.mean, c) }
        });
        let window_s = (longest.window.1 - longest.window.0).max(0.1);
        let unrest = [0, 1].map(|c| if c < limits.channels { self.unrest(c, window_s) } else { 0.0 });
        self.see(limits, &longest, followed, ZeroLook { window: longest.window, unrest, is_first: false });
        Some(())
    }

    /// Where the zero of a channel goes when the empty instrument rests at `level`.
    fn followed(&self, limits: &SettlingLimits, level: &Level, channel: usize) -> f64 {
        let (old, new, step) = (at(&self.value, channel), at(&level.mean, channel), at(&limits.resolution, channel));
        let since_s = level.window.1 - self.at_s;
        let near = AT_ZERO[0] * at(&limits.tolerance, channel) + AT_ZERO[1] * step;
        let near = near.max(SEEN * at(&self.u_seen, channel));
        if since_s > AFRESH_S || (new - old).abs() <= near {
            return new;
        }
        // Where nothing is shown in steps, the drift that the uncertainty allows for.
        let a_second = if step > 0.0 { STEPS_A_SECOND * step } else { DRIFT * at(&limits.u_zero, channel) };
        let most = a_second * since_s.max(0.0);
        old + (new - old).clamp(-most, most)
    }
}

/// How well the mean of a window is known where windows usually disagree by `unrest`.
fn u_of(limits: &SettlingLimits, level: &Level, unrest: f64, channel: usize) -> f64 {
    // Averaging over flicker of the last digit makes the mean finer than the digit.
    (at(&level.disagreement, channel).max(unrest) / 2.0).hypot(at(&limits.resolution, channel) / 6.0)
}

impl Unrest {
    fn look(&mut self, disagreement: [f64; 2]) {
        self.looks = self.looks.saturating_add(1);
        for (median, seen) in self.median.iter_mut().zip(disagreement) {
            *median = match self.looks {
                1 => seen,
                // The smallest step lets a median of nothing grow again.
                _ if seen > *median => (*median * (1.0 + STEP) + 1e-9).min(seen),
                _ => (*median * (1.0 - STEP)).max(seen),
            };
        }
    }
}
