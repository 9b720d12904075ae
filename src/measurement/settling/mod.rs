//! Finds the moment when what lies on an instrument has come to rest, with nobody's hand on it.
//!
//! Samples go in one at a time with the bands the work order expects; changes come out, among them one [`Capture`]
//! a placement. The same machine serves a scale, a beam and an angle gauge. No IO, no clock, no randomness and no
//! allocation after construction: time is the one carried by the samples, so a recorded session replays to the
//! same captures. The instrument's own stable flag is not an input: it is fast because it accepts steady hands.

mod change;
mod dip;
mod intake;
mod ladder;
mod limits;
mod recompute;
mod zero;

#[cfg(test)]
mod hazards;

pub use change::{Capture, Change, Changes, Phase};
pub use limits::{RUNGS, SettlingLimits, Zeroing};
pub use recompute::recompute;

use super::sample::{Expectation, Sample};
use dip::Moments;
use intake::Intake;
use ladder::{Ladder, Level};
use zero::Zero;

/// The zero counts as lost after this time below it, s.
const LOST_S: f64 = 0.4;
/// Windows never reach over a pause in the samples longer than this, s.
const PAUSE_S: f64 = 2.0;

/// Follows one instrument.
#[derive(Debug, Clone)]
pub struct Settling {
    limits: SettlingLimits,
    intake: Intake,
    ladder: Ladder,
    zero: Zero,
    zero_state: ZeroState,
    state: State,
    /// Agreement that lasts: since when, and at which mean.
    agreement: Option<(f64, Level)>,
    dip: Moments,
    progress: f64,
    shown_progress: f64,
    last: Option<Sample>,
}

#[derive(Debug, Clone, Copy)]
enum State {
    /// The pan has to be seen empty, or the last captured placement found again.
    Unknown { resume: Option<Capture>, empty_since_s: Option<f64> },
    Empty { below_since_s: Option<f64> },
    Settling { since_s: f64, told: Told },
    Held { captured: Capture, off_level: u8 },
    Disturbed { captured: Capture },
}

/// Whether the person was asked to let go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Told {
    NotYet,
    Once,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ZeroState {
    Tracked,
    Lost,
}

impl Settling {
    /// A machine that has not seen its instrument yet: nothing is captured before the pan was seen empty.
    #[must_use]
    pub fn new(limits: SettlingLimits) -> Self {
        Self {
            intake: Intake::new(&limits),
            ladder: Ladder::new(&limits),
            zero: Zero::unknown([0.0; 2]),
            zero_state: ZeroState::Tracked,
            state: State::Unknown { resume: None, empty_since_s: None },
            agreement: None,
            dip: Moments::default(),
            progress: 0.0,
            shown_progress: 0.0,
            last: None,
            limits,
        }
    }

    /// The limits in use.
    #[must_use]
    pub fn limits(&self) -> &SettlingLimits {
        &self.limits
    }

    /// After a restart or a replug: no capture until the pan was seen empty.
    pub fn start_unknown(&mut self) {
        let limits = self.limits.clone();
        *self = Self::new(limits);
    }

    /// After a restart or a replug with `last` captured before: found again at the same level, it is held and not
    /// captured a second time. An empty pan works as after [`Self::start_unknown`].
    pub fn resume(&mut self, last: Capture) {
        self.start_unknown();
        self.zero = Zero::known(last.zero, last.u_zero, last.t_s);
        self.state = State::Unknown { resume: Some(last), empty_since_s: None };
    }

    /// Where the placement stands.
    #[must_use]
    pub fn phase(&self) -> Phase {
        match self.state {
            State::Unknown { .. } => Phase::Unknown,
            State::Empty { .. } if self.zero_state == ZeroState::Lost => Phase::Disturbed { progress: 0.0 },
            State::Empty { .. } => Phase::Empty,
            State::Settling { .. } => Phase::Settling { progress: self.progress },
            State::Held { .. } => Phase::Held,
            State::Disturbed { .. } => Phase::Disturbed { progress: self.progress },
        }
    }

    /// The newest level less the zero, for display; `None` before the first sample.
    #[must_use]
    pub fn level(&self) -> Option<[f64; 2]> {
        self.last.map(|sample| self.less_zero(sample.values))
    }

    /// Takes one sample; says what it changed.
    ///
    /// Samples must come in order of time; one that does not, or is not finite, is ignored. `expected` are the bands
    /// the work order has open on this instrument now; empty, the full patience applies.
    pub fn push(&mut self, sample: &Sample, expected: &[Expectation]) -> Changes {
        if let State::Held { captured, .. } | State::Disturbed { captured } = self.state {
            self.dip.dip(sample.t_s, self.load(sample), at(&captured.values, 0));
        }
        let mut certain: [Option<Sample>; 4] = [None; 4];
        let mut slots = certain.iter_mut();
        self.intake.push(sample, |sample| {
            if let Some(slot) = slots.next() {
                *slot = Some(sample);
            }
        });
        let mut changes = Changes::NONE;
        for certain in certain.into_iter().flatten() {
            if self.last.is_some_and(|last| certain.t_s - last.t_s > PAUSE_S) {
                self.ladder.clear();
                self.agreement = None;
            }
            self.last = Some(certain);
            self.ladder.push(certain);
            self.step(&certain, sample.t_s, expected, &mut changes);
        }
        changes
    }

    fn step(&mut self, sample: &Sample, now_s: f64, expected: &[Expectation], changes: &mut Changes) {
        match self.state {
            State::Unknown { resume, empty_since_s } => self.unknown(sample, now_s, resume, empty_since_s, changes),
            State::Empty { below_since_s } => self.empty(sample, now_s, below_since_s, changes),
            State::Settling { since_s, told } => self.settling(sample, now_s, since_s, told, expected, changes),
            State::Held { captured, off_level } => self.held(sample, now_s, captured, off_level, changes),
            State::Disturbed { captured } => self.disturbed(sample, now_s, captured, changes),
        }
    }

    fn unknown(&mut self, sample: &Sample, now_s: f64, resume: Option<Capture>, since_s: Option<f64>, changes: &mut Changes) {
        if let Some(captured) = resume
            && let Some(level) = self.stable(now_s, self.limits.strict_s, &[])
            && self.same(&level, &captured, 1.0)
        {
            self.state = State::Held { captured, off_level: 0 };
            return;
        }
        let load = self.load(sample);
        if load.abs() >= self.limits.on {
            self.state = State::Unknown { resume, empty_since_s: None };
            return;
        }
        let since_s = since_s.unwrap_or(now_s);
        self.state = State::Unknown { resume, empty_since_s: Some(since_s) };
        let window = self.limits.samples(0.5, 3);
        if now_s - since_s >= 0.5
            && let Some(level) = self.ladder.newest(window, 0).and_then(|s| ladder::level(s, self.limits.channels))
        {
            self.zero = Zero::unknown(level.mean);
            self.zero.follow_first(&level, &self.limits);
            self.zero_state = ZeroState::Tracked;
            self.state = State::Empty { below_since_s: None };
            changes.push(Change::ZeroFound { t_s: now_s });
        }
    }

    fn empty(&mut self, sample: &Sample, now_s: f64, below_since_s: Option<f64>, changes: &mut Changes) {
        let load = self.load(sample);
        if load > self.limits.on {
            changes.push(Change::Placed { t_s: now_s });
            self.begin_settling(now_s);
            return;
        }
        if load < -self.limits.off {
            let since_s = below_since_s.unwrap_or(now_s);
            self.state = State::Empty { below_since_s: Some(since_s) };
            self.ladder.restart();
            if now_s - since_s >= LOST_S && self.zero_state == ZeroState::Tracked {
                self.zero_state = ZeroState::Lost;
                self.zero = Zero::unknown(self.zero.value);
                changes.push(Change::ZeroLost { t_s: now_s });
            }
            return;
        }
        self.state = State::Empty { below_since_s: None };
        let found = self.zero.follow(&self.limits, &self.ladder).is_some();
        if found && self.zero_state == ZeroState::Lost {
            self.zero_state = ZeroState::Tracked;
            changes.push(Change::ZeroFound { t_s: now_s });
        }
    }

    fn settling(
        &mut self,
        sample: &Sample,
        now_s: f64,
        since_s: f64,
        told: Told,
        expected: &[Expectation],
        changes: &mut Changes,
    ) {
        if self.load(sample) < self.limits.off {
            self.remove(sample, now_s, changes);
            return;
        }
        if let Some(level) = self.stable(now_s, 0.0, expected)
            && self.may_capture(&level)
        {
            self.capture(&level, now_s, changes);
            return;
        }
        self.report_progress(now_s, changes);
        if told == Told::NotYet && now_s - since_s >= self.limits.patience_s {
            changes.push(Change::MovingTooLong { t_s: now_s });
            self.state = State::Settling { since_s, told: Told::Once };
        }
    }

    fn held(&mut self, sample: &Sample, now_s: f64, captured: Capture, off_level: u8, changes: &mut Changes) {
        if self.left(sample, &captured) {
            self.remove(sample, now_s, changes);
            return;
        }
        let level = self.less_zero(sample.values);
        let moved = (0..self.limits.channels)
            .any(|c| (at(&level, c) - at(&captured.values, c)).abs() > at(&self.limits.moved, c));
        let off_level = if moved { off_level + 1 } else { 0 };
        if off_level < 2 {
            self.state = State::Held { captured, off_level };
            return;
        }
        self.state = State::Disturbed { captured };
        self.ladder.restart();
        self.agreement = None;
        changes.push(Change::Disturbed { t_s: now_s });
    }

    fn disturbed(&mut self, sample: &Sample, now_s: f64, captured: Capture, changes: &mut Changes) {
        if self.left(sample, &captured) {
            self.remove(sample, now_s, changes);
            return;
        }
        let Some((level, lasted_s)) = self.lasting(now_s, self.limits.strict_s, &[]) else {
            self.report_progress(now_s, changes);
            return;
        };
        let part = if self.dipped() { self.limits.swap_p[5] } else { 1.0 };
        if lasted_s >= self.limits.hold_s && self.same(&level, &captured, part) {
            self.dip = Moments::begin(now_s, 0.0);
            self.state = State::Held { captured, off_level: 0 };
            changes.push(Change::Restored { t_s: now_s });
        } else if lasted_s >= self.limits.strict_hold_s && self.may_capture(&level) {
            changes.push(Change::Changed { t_s: now_s });
            self.capture(&level, now_s, changes);
        }
    }

    /// The load on the first channel: what decides about presence.
    fn load(&self, sample: &Sample) -> f64 {
        let load = at(&sample.values, 0) - at(&self.zero.value, 0);
        match self.limits.zeroing {
            Zeroing::TakenOff => load,
            Zeroing::PresenceOnly => load.abs(),
        }
    }

    fn left(&self, sample: &Sample, captured: &Capture) -> bool {
        let load = self.load(sample);
        load < self.limits.off || load < self.limits.swap * at(&captured.values, 0).abs()
    }

    fn remove(&mut self, sample: &Sample, now_s: f64, changes: &mut Changes) {
        changes.push(Change::Removed { t_s: now_s });
        if self.load(sample) > self.limits.on {
            changes.push(Change::Placed { t_s: now_s });
            self.begin_settling(now_s);
        } else {
            self.state = State::Empty { below_since_s: None };
            self.ladder.restart();
            self.agreement = None;
        }
    }

    fn zero_u(&self, channel: usize, now_s: f64) -> f64 {
        if channel < self.limits.channels { self.zero.u_at(&self.limits, channel, now_s) } else { 0.0 }
    }

    fn begin_settling(&mut self, now_s: f64) {
        self.state = State::Settling { since_s: now_s, told: Told::NotYet };
        self.ladder.restart();
        self.agreement = None;
        self.progress = 0.0;
        self.shown_progress = 0.0;
    }

    fn may_capture(&self, level: &Level) -> bool {
        let load = at(&level.mean, 0) - at(&self.zero.value, 0);
        let load = if self.limits.zeroing == Zeroing::PresenceOnly { load.abs() } else { load };
        self.zero_state == ZeroState::Tracked && load > self.limits.on && load <= self.limits.capacity
    }

    fn capture(&mut self, level: &Level, now_s: f64, changes: &mut Changes) {
        let zero = self.zero_taken_off();
        let mut captured = Capture {
            t_s: now_s,
            values: less(level.mean, zero),
            u: [0.0; 2],
            window: level.window,
            zero,
            u_zero: [0, 1].map(|c| self.zero_u(c, now_s)),
            n: level.n,
        };
        for (c, u) in captured.u.iter_mut().enumerate().take(self.limits.channels) {
            let noise = (at(&self.limits.resolution, c) / 3.5).max(at(&level.scatter, c) / ladder::f64_of(level.n).sqrt());
            let zero = at(&self.limits.u_zero, c).hypot(at(&captured.u_zero, c));
            *u = (at(&level.disagreement, c) / 2.0).hypot(noise).hypot(zero);
        }
        self.dip = Moments::begin(now_s, 0.0);
        self.state = State::Held { captured, off_level: 0 };
        self.agreement = None;
        changes.push(Change::Captured(captured));
    }

    fn same(&self, level: &Level, captured: &Capture, part: f64) -> bool {
        let values = self.less_zero(level.mean);
        (0..self.limits.channels).all(|c| (at(&values, c) - at(&captured.values, c)).abs() <= part * at(&self.limits.same, c))
    }

    fn dipped(&self) -> bool {
        self.dip.area() > self.limits.swap_p[6] && self.dip.area() < self.limits.swap_p[1] && self.dip.variance().is_some_and(|v| v < self.limits.swap_p[7])
    }

    /// The level, once agreement has lasted long enough; the shortest window is `shortest_s`.
    fn stable(&mut self, now_s: f64, shortest_s: f64, expected: &[Expectation]) -> Option<Level> {
        let (level, lasted_s) = self.lasting(now_s, shortest_s, expected)?;
        let hold_s = if self.is_expected(&level, expected) { self.limits.expected_hold_s } else { self.limits.hold_s };
        (lasted_s >= hold_s).then_some(level)
    }

    /// The level that agrees now, and for how long it has, in s.
    fn lasting(&mut self, now_s: f64, shortest_s: f64, expected: &[Expectation]) -> Option<(Level, f64)> {
        let Some(level) = self.agreeing(shortest_s, expected) else {
            self.agreement = None;
            return None;
        };
        match self.agreement {
            // A microsecond less, for times that are not exact in binary.
            Some((since_s, first)) if self.near(&first, &level) => Some((level, now_s - since_s + 1e-6)),
            _ => {
                self.agreement = Some((now_s, level));
                Some((level, 0.0))
            }
        }
    }

    fn near(&self, first: &Level, level: &Level) -> bool {
        (0..self.limits.channels).all(|c| {
            let allowed = self.limits.near[0] * at(&self.limits.tolerance, c) + self.limits.near[1] * at(&self.limits.resolution, c);
            (at(&first.mean, c) - at(&level.mean, c)).abs() <= allowed
        })
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
                && let Some(level) = self.passing(n, 0)
                && self.is_expected(&level, expected)
            {
                return Some(level);
            }
        }
        for rung in 0..RUNGS {
            if at_rung(&limits.windows_s, rung) < shortest_s {
                continue;
            }
            let n = limits.samples_in(rung);
            if n > self.ladder.since() {
                break;
            }
            if let Some(level) = self.passing(n, rung) {
                return Some(level);
            }
        }
        None
    }

    fn passing(&self, n: usize, rung: usize) -> Option<Level> {
        let level = ladder::level(self.ladder.newest(n, 0)?, self.limits.channels)?;
        let window_s = level.window.1 - level.window.0;
        let agrees = (0..self.limits.channels).all(|c| {
            let unrest = self.zero.unrest(c, window_s);
            let trusted = self.limits.trust * at(&self.limits.tolerance, c) + self.limits.trust_d * at(&self.limits.resolution, c);
            at(&level.disagreement, c) <= self.limits.agreement(rung, c)
                && (rung >= self.limits.trust_rung || unrest <= trusted)
                && (at(&level.disagreement, c) / 2.0).hypot(self.limits.su * unrest).hypot(at(&self.zero.u, c)) <= self.limits.sure * at(&self.limits.tolerance, c)
        });
        agrees.then_some(level)
    }

    fn report_progress(&mut self, now_s: f64, changes: &mut Changes) {
        let first = ladder::f64_of(self.limits.samples_in(0).max(1));
        let filled = (ladder::f64_of(self.ladder.since()) / first).min(1.0);
        let lasted = self.agreement.map_or(0.0, |(since_s, _)| ((now_s - since_s) / self.limits.hold_s).min(1.0));
        self.progress = (0.6 * filled + 0.4 * lasted).min(0.99);
        if (self.progress - self.shown_progress).abs() >= 0.05 {
            self.shown_progress = self.progress;
            changes.push(Change::Progress { t_s: now_s, progress: self.progress });
        }
    }

    fn zero_taken_off(&self) -> [f64; 2] {
        match self.limits.zeroing {
            Zeroing::TakenOff => self.zero.value,
            Zeroing::PresenceOnly => [0.0; 2],
        }
    }

    /// Values as sampled less the zero, for a display that shows each sample at once and does not wait for the
    /// despiking to be certain of it.
    #[must_use]
    pub fn less_zero(&self, values: [f64; 2]) -> [f64; 2] {
        less(values, self.zero_taken_off())
    }
}

fn less(values: [f64; 2], zero: [f64; 2]) -> [f64; 2] {
    [values[0] - zero[0], values[1] - zero[1]]
}

fn at(array: &[f64; 2], channel: usize) -> f64 {
    array.get(channel).copied().unwrap_or_default()
}

fn at_rung(array: &[f64; RUNGS], rung: usize) -> f64 {
    array.get(rung).copied().unwrap_or_default()
}
