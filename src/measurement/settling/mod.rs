//! Finds the moment when what lies on an instrument has come to rest, with nobody's hand on it.
//!
//! Samples go in one at a time with the bands the work order expects; changes come out, among them one [`Capture`]
//! a placement. The same machine serves a scale, a beam and an angle gauge. No IO, no clock, no randomness and no
//! allocation after construction: time is the one carried by the samples, so a recorded session replays to the
//! same captures. The instrument's own stable flag is not an input: it is fast because it accepts steady hands.

mod agreement;
mod change;
mod dip;
mod doubt;
mod intake;
mod ladder;
mod limits;
mod placement;
mod recompute;
mod zero;

#[cfg(test)]
mod hazards;

pub use change::{Capture, Change, Changes, Phase, ZeroLook, ZeroTrouble};
pub use doubt::{NoZero, Recomputed, recompute_with_doubt, recompute_zero, zero_part};
pub use limits::{RUNGS, SettlingLimits, Zeroing};

use super::sample::{Expectation, Sample};
use dip::Dip;
use intake::Intake;
use ladder::{Ladder, Level};
use zero::Zero;

/// Windows never reach over a pause in the samples longer than this, s.
const PAUSE_S: f64 = 2.0;

/// Follows one instrument.
#[derive(Debug, Clone)]
pub struct Settling {
    limits: SettlingLimits,
    intake: Intake,
    ladder: Ladder,
    zero: Zero,
    zero_trouble: Option<ZeroTrouble>,
    state: State,
    /// Since when the means have agreed, s, and the first level that did.
    agreement: Option<(f64, Level)>,
    progress: f64,
    shown_progress: f64,
    last: Option<Sample>,
    /// When the level last went a tolerance or more from one sample to the next, s.
    moved_s: f64,
}

#[derive(Debug, Clone, Copy)]
enum State {
    /// The pan has to be seen empty, or the last captured placement found again.
    Unknown {
        resume: Option<Capture>,
        empty_since_s: Option<f64>,
    },
    Empty {
        below_since_s: Option<f64>,
    },
    Settling {
        moving: Moving,
    },
    Held {
        captured: Capture,
        dip: Dip,
        off_level: u8,
    },
    Disturbed {
        captured: Capture,
        dip: Dip,
        moving: Moving,
    },
}

/// Since when a load has not rested, and whether the person was asked to let go.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Moving {
    since_s: f64,
    is_told: bool,
}

impl Settling {
    /// A machine that has not seen its instrument yet: nothing is captured before the pan was seen empty.
    #[must_use]
    pub fn new(limits: SettlingLimits) -> Self {
        Self {
            intake: Intake::new(&limits),
            ladder: Ladder::new(&limits),
            zero: Zero::unknown([0.0; 2]),
            zero_trouble: None,
            state: State::Unknown { resume: None, empty_since_s: None },
            agreement: None,
            progress: 0.0,
            shown_progress: 0.0,
            last: None,
            moved_s: f64::NEG_INFINITY,
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
        *self = Self::new(self.limits.clone());
    }

    /// After a restart or a replug with `last` captured before: found again at the same level, it is held and not
    /// captured a second time. An empty pan works as after [`Self::start_unknown`]; until it was seen, nothing else is
    /// captured: the zero from before is good enough to know the part again, not to weigh another.
    pub fn resume(&mut self, last: Capture) {
        self.start_unknown();
        self.zero = Zero::known(last.zero, last.u_zero);
        self.state = State::Unknown { resume: Some(last), empty_since_s: None };
    }

    /// Where the placement stands.
    #[must_use]
    pub fn phase(&self) -> Phase {
        match self.state {
            State::Unknown { .. } => Phase::Unknown,
            State::Empty { .. } if self.zero_trouble.is_some() => Phase::Disturbed { progress: 0.0 },
            State::Empty { .. } => Phase::Empty,
            State::Settling { .. } => Phase::Settling { progress: self.progress },
            State::Held { .. } => Phase::Held,
            State::Disturbed { .. } => Phase::Disturbed { progress: self.progress },
        }
    }

    /// Why nothing is captured before the zero is found again; `None` while it is tracked.
    #[must_use]
    pub fn zero_trouble(&self) -> Option<ZeroTrouble> {
        self.zero_trouble
    }

    /// Whether nothing was laid down since the instrument was last seen empty, be its zero known or not.
    #[must_use]
    pub fn is_cleared(&self) -> bool {
        matches!(self.state, State::Empty { .. })
    }

    /// The tracked zero, in the units of the samples; `None` while it is not known.
    #[must_use]
    pub fn zero(&self) -> Option<[f64; 2]> {
        (self.zero_trouble.is_none() && self.zero.u.iter().all(|u| u.is_finite())).then_some(self.zero.value)
    }

    /// Where the empty instrument was last seen at its zero; `None` while it was not.
    #[must_use]
    pub fn zero_look(&self) -> Option<ZeroLook> {
        self.zero.look
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
        if !self.intake.takes(sample) {
            return Changes::NONE;
        }
        self.follow_dip(sample);
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
            if self.last.is_some_and(|last| self.limits.moves(&last, &certain)) {
                self.moved_s = certain.t_s;
            }
            self.last = Some(certain);
            self.ladder.push(certain);
            self.step(&certain, sample.t_s, expected, &mut changes);
        }
        changes
    }

    /// A dip is followed on raw samples: of a quick swap a slow scale shows two, which look like spikes.
    fn follow_dip(&mut self, sample: &Sample) {
        let load = self.load(sample);
        if let State::Held { captured, dip, .. } | State::Disturbed { captured, dip, .. } = &mut self.state {
            dip.push(sample.t_s, load, at(&captured.values, 0));
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

/// A channel's entry; 0 for a channel that does not exist.
fn at(array: &[f64; 2], channel: usize) -> f64 {
    array.get(channel).copied().unwrap_or_default()
}
