//! Follows the level of the empty instrument, and how well it is known.
//!
//! The samples of an empty instrument come in through the ladder's buffer; the zero and its standard uncertainty are
//! kept. What was known before the last load ages and is weighed against the best window since. The windows end
//! a little before now, so that a part that is just touching is not taken for zero.

use super::ladder::{Ladder, Level, level};
use super::limits::SettlingLimits;

/// Window lengths, s.
const WINDOWS_S: [f64; 5] = [0.7, 1.2, 2.0, 3.2, 5.0];
/// The newest time that is left out, s.
const LAG_S: f64 = 0.3;
/// After the load left the instrument is still settling for this time, s: no look at its unrest.
const TAIL_S: f64 = 1.0;
/// How far back the unrest is remembered, s.
const MEMORY_S: f64 = 20.0;

/// The tracked zero.
#[derive(Debug, Clone)]
pub(super) struct Zero {
    /// Level of the empty instrument.
    pub(super) value: [f64; 2],
    /// Standard uncertainty of `value` at `at_s`.
    pub(super) u: [f64; 2],
    /// Time of the newest sample that counted, s.
    pub(super) at_s: f64,
    /// Mean square disagreement of the halves of each window on the empty instrument, and looks it comes from.
    unrest: [([f64; 2], f64); WINDOWS_S.len()],
}

const UNSEEN: [([f64; 2], f64); WINDOWS_S.len()] = [([0.0; 2], 0.0); WINDOWS_S.len()];

impl SettlingLimits {
    /// Samples that the zero looks back over.
    pub(super) fn zero_samples_longest(&self) -> usize {
        self.samples(WINDOWS_S[4], 4) + self.samples(LAG_S, 1)
    }
}

impl Zero {
    /// Nothing is known yet but a value to begin with.
    pub(super) fn unknown(value: [f64; 2]) -> Self {
        Self { value, u: [f64::INFINITY; 2], at_s: f64::NEG_INFINITY, unrest: UNSEEN }
    }

    /// Takes a first look for the zero.
    pub(super) fn follow_first(&mut self, level: &Level, limits: &SettlingLimits) {
        self.u = [0, 1].map(|c| if c < limits.channels { 2.0 * self.u_of(limits, level, c) } else { 0.0 });
        self.at_s = level.window.1;
    }

    /// A zero known from before, with its uncertainty at `at_s`.
    pub(super) fn known(value: [f64; 2], u: [f64; 2], at_s: f64) -> Self {
        Self { value, u, at_s, unrest: UNSEEN }
    }

    /// The standard uncertainty of a channel's zero at a later time.
    pub(super) fn u_at(&self, limits: &SettlingLimits, channel: usize, t_s: f64) -> f64 {
        aged(limits, channel, at(&self.u, channel), t_s - self.at_s)
    }

    /// The usual disagreement of half-window means on the empty instrument in a window of this length; 0 while
    /// none was seen. Longer windows than were seen are quieter with the root of their length.
    pub(super) fn unrest(&self, channel: usize, window_s: f64) -> f64 {
        let seen = WINDOWS_S.iter().zip(&self.unrest).filter(|(w, (_, looks))| *looks > 2.0 && **w <= window_s + 0.31);
        let least = seen.map(|(w, (median, _))| at(median, channel) * (w / window_s).min(1.0).sqrt()).fold(f64::INFINITY, f64::min);
        if least.is_finite() { least } else { 0.0 }
    }

    /// How well the mean of a window is known: its halves disagree, its samples scatter, it was not seen for long.
    fn u_of(&self, limits: &SettlingLimits, level: &Level, channel: usize) -> f64 {
        let window_s = (level.window.1 - level.window.0).max(0.1);
        let noise = limits.zero_scatter * at(&level.scatter, channel) / window_s;
        (at(&level.disagreement, channel).max(self.unrest(channel, window_s)) / 2.0).hypot(noise).hypot(at(&limits.resolution, channel) / 6.0)
    }

    /// Looks at the newest samples of an empty instrument. `band` is how far a new zero may lie from the old one.
    pub(super) fn follow(&mut self, limits: &SettlingLimits, ladder: &Ladder) -> Option<()> {
        let skip = limits.samples(LAG_S, 1);
        let mut best: Option<(f64, Level)> = None;
        for (i, window_s) in WINDOWS_S.iter().enumerate() {
            let n = limits.samples(*window_s, 4);
            if n + skip > ladder.since() {
                break;
            }
            let level = level(ladder.newest(n, skip)?, limits.channels)?;
            if n + skip + limits.samples(TAIL_S, 1) <= ladder.since()
                && let Some((unrest, looks)) = self.unrest.get_mut(i)
            {
                *looks += 1.0;
                for (median, s) in unrest.iter_mut().zip(level.disagreement) {
                    let step = if *looks < 1.5 { 1.0 } else { limits.umed };
                    if *looks < 1.5 { *median = s; } else if s > *median { *median += step * (*median + 1e-9); if *median > s {*median = s;} } else { *median -= step * *median; if *median < s {*median = s;} }
                }
            }
            if *window_s > limits.zmax { break; }
            let acceptable = (0..limits.channels).all(|c| {
                let usual = limits.zk[0] * at(&limits.tolerance, c) + limits.zk[1] * at(&limits.resolution, c);
                at(&level.disagreement, c) <= usual.max(limits.zk[2] * self.unrest(c, *window_s))
            });
            if acceptable || self.u.first().is_some_and(|u| u.is_infinite()) {
                best = Some((0.0, level));
            }
        }
        let best = best?.1;
        let t_s = best.window.1;
        let (mut value, mut u) = ([0.0; 2], [0.0; 2]);
        for c in 0..limits.channels {
            let (z, u_z) = (at(&best.mean, c), self.u_of(limits, &best, c));
            if c == 0 && (z - at(&self.value, c)).abs() >= limits.zero_band {
                return None;
            }
            *value.get_mut(c)? = z;
            *u.get_mut(c)? = u_z;
        }
        (self.value, self.u, self.at_s) = (value, u, t_s);
        Some(())
    }
}

fn at(array: &[f64; 2], channel: usize) -> f64 {
    array.get(channel).copied().unwrap_or_default()
}

/// Zero walks off: at first with the root of time, then in proportion to it.
fn aged(limits: &SettlingLimits, channel: usize, u: f64, age_s: f64) -> f64 {
    u.hypot(limits.zero_drift * at(&limits.u_zero, channel) * age_s.max(0.0))
}

