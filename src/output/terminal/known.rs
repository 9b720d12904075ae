//! What the terminal knows, and what follows from it: messages of the live stream and the time they came go in, the instruments
//! with their age, the one in focus and the reading without a place come out. Time is an argument.
//!
//! The counterpart of the page's `bench_view.js`, with the same limits. The daemon alone computes values and judges.

use std::collections::HashMap;
use std::time::Duration;

use super::message::{Capture, Instrument, Live, Reading, State};

/// Digits turn grey after this long without a new sample.
pub const AGED_AFTER: Duration = Duration::from_secs(1);
/// Digits become dashes after this long.
pub const GONE_AFTER: Duration = Duration::from_secs(3);

/// How old what an instrument shows is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Freshness {
    /// New.
    Fresh,
    /// Older than [`AGED_AFTER`]: shown, with its age.
    Aged,
    /// Older than [`GONE_AFTER`], or not connected: not shown any more.
    Gone,
}

/// What a live message was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It follows what is known.
    InOrder,
    /// A change of the work was missed: only the whole state helps.
    Gap,
}

/// An instrument and when it was heard of.
#[derive(Debug, Clone, PartialEq)]
struct Heard {
    instrument: Instrument,
    at: Duration,
    /// Counts up each time something begins on an instrument; the highest has the focus.
    begun: u64,
}

/// What is known. Times are of any clock that never goes back.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Known {
    state: Option<State>,
    heard: Vec<Heard>,
    begun: u64,
}

impl Known {
    /// Takes the whole state: whatever it does not name is gone.
    pub fn take_state(&mut self, mut state: State, now: Duration) {
        let before = std::mem::take(&mut self.heard);
        let mut begun_before: HashMap<String, Heard> =
            before.into_iter().map(|heard| (heard.instrument.id.clone(), heard)).collect();
        for instrument in std::mem::take(&mut state.instruments) {
            let old = begun_before.remove(&instrument.id);
            let heard = self.hear(instrument, old.as_ref(), now);
            self.heard.push(heard);
        }
        self.state = Some(state);
    }

    /// Takes the instruments alone; one that the message does not name keeps its last reading and grows old.
    pub fn take_live(&mut self, live: Live, now: Duration) -> Taken {
        let Some(state) = &mut self.state else { return Taken::Gap };
        // Every stored event comes with the whole state, so any other number means that one was missed.
        if live.seq != state.seq || live.beat < state.beat {
            return Taken::Gap;
        }
        state.beat = live.beat;
        state.now = live.now;
        for instrument in live.instruments {
            let at = self.heard.iter().position(|heard| heard.instrument.id == instrument.id);
            let old = at.and_then(|at| self.heard.get(at)).cloned();
            let heard = self.hear(instrument, old.as_ref(), now);
            match at.and_then(|at| self.heard.get_mut(at)) {
                Some(slot) => *slot = heard,
                None => self.heard.push(heard),
            }
        }
        Taken::InOrder
    }

    /// A new placement or a changed load brings the instrument to the front; lifting off does not.
    fn hear(&mut self, instrument: Instrument, old: Option<&Heard>, at: Duration) -> Heard {
        let phase = instrument.phase.as_str();
        let begins = match old.map(|old| old.instrument.phase.as_str()) {
            Some(old) => is_moving(phase) && !is_moving(old) || phase == "held" && !is_active(old),
            None => is_active(phase),
        };
        self.begun += u64::from(begins);
        let begun = if begins { self.begun } else { old.map_or(0, |old| old.begun) };
        Heard { instrument, at, begun }
    }

    /// The last state, its instruments taken out.
    #[must_use]
    pub fn state(&self) -> Option<&State> {
        self.state.as_ref()
    }

    /// The instruments, in the order of the configuration.
    pub fn instruments(&self) -> impl Iterator<Item = &Instrument> {
        self.heard.iter().map(|heard| &heard.instrument)
    }

    /// Age of an instrument's newest sample: what the daemon said and the time since; none if it never sent one.
    #[must_use]
    pub fn age(&self, instrument: &Instrument, now: Duration) -> Option<Duration> {
        Some(Duration::from_millis(instrument.age_ms?) + self.unheard(instrument, now)?)
    }

    /// How long nothing was heard of an instrument from the daemon.
    fn unheard(&self, instrument: &Instrument, now: Duration) -> Option<Duration> {
        let heard = self.heard.iter().find(|heard| heard.instrument.id == instrument.id)?;
        Some(now.saturating_sub(heard.at))
    }

    /// How old what an instrument shows is.
    #[must_use]
    pub fn freshness(&self, instrument: &Instrument, now: Duration) -> Freshness {
        if !instrument.connected || instrument.phase == "lost" {
            return Freshness::Gone;
        }
        // These speak when they are used; their own silence is no age, that of the daemon is.
        let speaks_when_used = is_hand(instrument) || instrument.on_key;
        match if speaks_when_used { self.unheard(instrument, now) } else { self.age(instrument, now) } {
            Some(age) if age <= AGED_AFTER => Freshness::Fresh,
            Some(age) if age <= GONE_AFTER => Freshness::Aged,
            _ => Freshness::Gone,
        }
    }

    /// The instrument shown large: the latest with something going on, else that of the last capture, else the first.
    #[must_use]
    pub fn focus(&self) -> Option<&Instrument> {
        let active = self.heard.iter().filter(|heard| is_active(&heard.instrument.phase) && heard.instrument.connected);
        // Of equals the first, as the page has it.
        if let Some(heard) = active.rev().max_by_key(|heard| heard.begun) {
            return Some(&heard.instrument);
        }
        let last = self.newest().map(|capture| capture.instrument.as_str());
        let first = |wanted: &dyn Fn(&Instrument) -> bool| self.instruments().find(|instrument| wanted(instrument));
        first(&|instrument| Some(instrument.id.as_str()) == last)
            .or_else(|| first(&|instrument| instrument.connected))
            .or_else(|| self.instruments().next())
    }

    /// The newest captured reading.
    #[must_use]
    pub fn newest(&self) -> Option<&Capture> {
        // RFC 3339 in UTC sorts as text; of equals the first.
        self.state.as_ref()?.captures.iter().rev().max_by(|one, other| one.at.cmp(&other.at))
    }

    /// The newest reading, if it has no place: it must be seen before work goes on.
    #[must_use]
    pub fn unfiled(&self) -> Option<&Capture> {
        self.newest().filter(|capture| !capture.voided && capture.filed.is_empty() && capture.reason.is_some())
    }
}

/// The reading of an instrument that gets the large digits: the first with a target, else the first.
#[must_use]
pub fn main_reading(instrument: &Instrument) -> Option<&Reading> {
    instrument.readings.iter().find(|reading| reading.target.is_some()).or_else(|| instrument.readings.first())
}

/// Whether an instrument measures no clubs.
#[must_use]
pub fn is_hand(instrument: &Instrument) -> bool {
    ["scanner", "pedal", "thermometer"].contains(&instrument.kind.as_str())
}

fn is_active(phase: &str) -> bool {
    is_moving(phase) || phase == "held"
}

fn is_moving(phase: &str) -> bool {
    phase == "settling" || phase == "disturbed"
}
