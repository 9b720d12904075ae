//! What one despiked sample does to a placement: the transitions between empty, settling, held and disturbed.
//!
//! A sample comes in through `Settling::push`, changes go out. Whether a level is at rest is judged elsewhere
//! (`agreement`), and so are the zero (`zero`) and a quick swap (`dip`).

use super::change::{Capture, Change, Changes, ZeroTrouble};
use super::dip::Dip;
use super::doubt;
use super::ladder::{self, Level};
use super::limits::Zeroing;
use super::zero::Zero;
use super::{Moving, Settling, State, at, less};
use crate::measurement::sample::{Expectation, Sample};

/// The pan counts as seen empty after this time near zero, s.
pub(super) const SEEN_EMPTY_S: f64 = 0.5;
/// The halves of a window without a placement may disagree by this part of the zero's band.
pub(super) const RESTS: f64 = 0.25;
/// The zero counts as lost after this time well below it, s.
const LOST_S: f64 = 0.4;
/// What rests for this time on an instrument that nothing was laid down on lies there, s.
const LIES_S: f64 = 2.0;

impl Settling {
    pub(super) fn step(&mut self, sample: &Sample, now_s: f64, expected: &[Expectation], changes: &mut Changes) {
        match self.state {
            State::Unknown { resume, empty_since_s } => self.unknown(sample, now_s, resume, empty_since_s, changes),
            State::Empty { below_since_s } => self.empty(sample, now_s, below_since_s, changes),
            State::Settling { moving } => self.settling(sample, now_s, moving, expected, changes),
            State::Held { captured, dip, off_level } => self.held(sample, now_s, captured, dip, off_level, changes),
            State::Disturbed { captured, dip, moving } => {
                self.disturbed(sample, now_s, (captured, dip), moving, changes);
            }
        }
    }

    fn unknown(
        &mut self,
        sample: &Sample,
        now_s: f64,
        resume: Option<Capture>,
        since_s: Option<f64>,
        changes: &mut Changes,
    ) {
        if let Some(captured) = resume
            && let Some(level) = self.stable(now_s, self.limits.strict_s, &[])
            && self.same(&level, &captured, 1.0)
        {
            self.hold(captured, now_s);
            return;
        }
        if self.load(sample).abs() >= self.limits.on {
            self.state = State::Unknown { resume, empty_since_s: None };
            return;
        }
        if since_s.is_none() {
            // What lay there before is no look at the zero.
            self.ladder.restart();
        }
        let since_s = since_s.unwrap_or(now_s);
        self.state = State::Unknown { resume, empty_since_s: Some(since_s) };
        let window = self.limits.first_look();
        // Where frames were lost the window would reach back to what lay there before.
        if now_s - since_s >= SEEN_EMPTY_S
            && self.ladder.since() >= window
            && let Some(level) = self.ladder.newest(window, 0).and_then(|s| ladder::level(s, self.limits.channels))
            // The tail of a load that was lifted is no zero: one taken there is never found again beyond the band.
            && level.disagreement[0] <= RESTS * self.limits.zero_band
        {
            self.zero = Zero::first(&self.limits, &level);
            self.zero_trouble = None;
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
        // Further below than the zero may follow.
        if load < -self.limits.zero_band {
            let since_s = below_since_s.unwrap_or(now_s);
            self.state = State::Empty { below_since_s: Some(since_s) };
            // What was tared away says nothing about the empty pan.
            self.ladder.restart();
            if now_s - since_s >= LOST_S && self.zero_trouble != Some(ZeroTrouble::Below) {
                self.zero_trouble = Some(ZeroTrouble::Below);
                self.zero = Zero::unknown(self.zero.value);
                changes.push(Change::ZeroLost { t_s: now_s });
            }
            return;
        }
        self.state = State::Empty { below_since_s: None };
        let found = self.zero.follow(&self.limits, &self.ladder).is_some();
        if found && self.zero_trouble.is_some() {
            self.zero_trouble = None;
            changes.push(Change::ZeroFound { t_s: now_s });
        } else if !found && let Some(lies) = self.lies() {
            self.say_too_light(lies, now_s, changes);
        }
    }

    /// What rests beyond the zero's band on an instrument that nothing was laid down on.
    fn lies(&self) -> Option<f64> {
        let n = self.limits.samples(LIES_S, 4);
        if self.ladder.since() < n {
            return None;
        }
        let level = ladder::level(self.ladder.newest(n, 0)?, self.limits.channels)?;
        let load = self.load_of(&level);
        (load > self.limits.zero_band && level.disagreement[0] <= RESTS * self.limits.zero_band).then_some(load)
    }

    fn say_too_light(&mut self, load: f64, now_s: f64, changes: &mut Changes) {
        let is_told = match self.zero_trouble {
            None => false,
            Some(ZeroTrouble::Below) => true,
            Some(ZeroTrouble::Lies(told)) => (told - load).abs() <= RESTS * self.limits.zero_band,
        };
        if !is_told {
            self.zero_trouble = Some(ZeroTrouble::Lies(load));
            changes.push(Change::TooLight { t_s: now_s, load });
        }
    }

    fn settling(
        &mut self,
        sample: &Sample,
        now_s: f64,
        moving: Moving,
        expected: &[Expectation],
        changes: &mut Changes,
    ) {
        if self.load(sample) < self.limits.off {
            self.remove(sample, now_s, changes);
            return;
        }
        if let Some(level) = self.stable(now_s, 0.0, expected) {
            if self.may_capture(&level) {
                self.capture(&level, now_s, changes);
                return;
            }
            let load = self.load_of(&level);
            if load <= self.limits.on {
                self.remove(sample, now_s, changes);
                self.say_too_light(load, now_s, changes);
                return;
            }
        }
        self.report_progress(now_s, changes);
        let moving = self.ask_for_rest(moving, now_s, changes);
        self.state = State::Settling { moving };
    }

    /// Says once that a load does not rest. Where the zero is in trouble that was said, and it is not the movement that hinders.
    fn ask_for_rest(&self, moving: Moving, now_s: f64, changes: &mut Changes) -> Moving {
        // No patience helps where no zero was seen.
        let is_due = !self.zero_is_seen() || now_s - moving.since_s >= self.limits.patience_s;
        if moving.is_told || self.zero_trouble.is_some() || !is_due {
            return moving;
        }
        changes.push(if !self.zero_is_seen() || self.only_zero_is_unsure() {
            Change::ZeroUnsure { t_s: now_s }
        } else {
            Change::MovingTooLong { t_s: now_s }
        });
        Moving { is_told: true, ..moving }
    }

    fn held(&mut self, sample: &Sample, now_s: f64, captured: Capture, dip: Dip, off_level: u8, changes: &mut Changes) {
        if self.left(sample, &captured) {
            self.remove(sample, now_s, changes);
            return;
        }
        let level = self.less_zero(sample.values);
        let moved = (0..self.limits.channels)
            .any(|c| (at(&level, c) - at(&captured.values, c)).abs() > at(&self.limits.moved, c));
        // One sample may be a spike that is as small as the spike gate's reach.
        let off_level = if moved { off_level + 1 } else { 0 };
        if off_level < 2 {
            self.state = State::Held { captured, dip, off_level };
            return;
        }
        self.state = State::Disturbed { captured, dip, moving: Moving { since_s: now_s, is_told: false } };
        self.ladder.restart();
        self.agreement = None;
        changes.push(Change::Disturbed { t_s: now_s });
    }

    fn disturbed(
        &mut self,
        sample: &Sample,
        now_s: f64,
        (captured, dip): (Capture, Dip),
        moving: Moving,
        changes: &mut Changes,
    ) {
        if self.left(sample, &captured) {
            self.remove(sample, now_s, changes);
            return;
        }
        if let Some((level, lasted_s)) = self.lasting(now_s, self.limits.strict_s, &[]) {
            if self.same(&level, &captured, dip.closeness()) {
                if lasted_s >= self.limits.hold_s {
                    self.hold(captured, now_s);
                    changes.push(Change::Restored { t_s: now_s });
                    return;
                }
            } else if lasted_s >= self.limits.strict_hold_s && self.may_capture(&level) {
                changes.push(Change::Changed { t_s: now_s });
                self.capture(&level, now_s, changes);
                return;
            }
        }
        self.report_progress(now_s, changes);
        let moving = self.ask_for_rest(moving, now_s, changes);
        // The dip grew since this sample was taken up.
        if let State::Disturbed { moving: kept, .. } = &mut self.state {
            *kept = moving;
        }
    }

    fn left(&self, sample: &Sample, captured: &Capture) -> bool {
        let load = self.load(sample);
        load < self.limits.off || load < self.limits.swap * at(&captured.values, 0).abs()
    }

    fn remove(&mut self, sample: &Sample, now_s: f64, changes: &mut Changes) {
        changes.push(Change::Removed { t_s: now_s });
        if self.load(sample) > self.limits.on {
            // The dip was too deep for a touch: the next part is on its way already.
            changes.push(Change::Placed { t_s: now_s });
            self.begin_settling(now_s);
        } else {
            // Behind a restart the pan has to be seen empty, as at the start.
            self.state = if self.zero_is_seen() || self.zero_trouble.is_some() {
                State::Empty { below_since_s: None }
            } else {
                State::Unknown { resume: None, empty_since_s: None }
            };
            self.ladder.restart();
            self.agreement = None;
        }
    }

    fn begin_settling(&mut self, now_s: f64) {
        self.state = State::Settling { moving: Moving { since_s: now_s, is_told: false } };
        self.ladder.restart();
        self.agreement = None;
        (self.progress, self.shown_progress) = (0.0, 0.0);
    }

    fn hold(&mut self, captured: Capture, now_s: f64) {
        self.state = State::Held { captured, dip: Dip::begin(now_s), off_level: 0 };
        self.agreement = None;
    }

    fn may_capture(&self, level: &Level) -> bool {
        let load = self.load_of(level);
        self.zero_trouble.is_none() && self.zero_is_seen() && load > self.limits.on && load <= self.limits.capacity
    }

    /// Whether the zero that is taken off was seen since the start.
    fn zero_is_seen(&self) -> bool {
        self.zero.look.is_some() || self.limits.zeroing == Zeroing::PresenceOnly
    }

    /// The load of a level on the first channel.
    fn load_of(&self, level: &Level) -> f64 {
        let load = at(&level.mean, 0) - at(&self.zero.value, 0);
        if self.limits.zeroing == Zeroing::PresenceOnly { load.abs() } else { load }
    }

    fn capture(&mut self, level: &Level, now_s: f64, changes: &mut Changes) {
        let zero = self.zero_taken_off();
        let (u_zero, zero_look) = match self.limits.zeroing {
            Zeroing::TakenOff => (self.zero.u_at(&self.limits, now_s), self.zero.look),
            Zeroing::PresenceOnly => ([0.0; 2], None),
        };
        let u = doubt::of_level(&self.limits, level, u_zero);
        let values = less(level.mean, zero);
        let captured = Capture { t_s: now_s, values, u, window: level.window, zero, u_zero, zero_look, n: level.n };
        self.hold(captured, now_s);
        changes.push(Change::Captured(captured));
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
}
