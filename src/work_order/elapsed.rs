//! How much time has really passed between events, though their wall time may step.
//!
//! Events carry wall time, which is put right now and then. Time counts on from event to event:
//!
//! - a step that a running bench noticed has its own event, `clock_stepped`, and is taken out;
//! - time never runs backwards: an event that is older than the one before adds nothing;
//! - the time between two sessions counts, unless the clock was not synchronised before and is now: then it may have been
//!   put right meanwhile by any amount, and nothing of it counts.
//!
//! So what is counted is at most what has passed, as far as the journal can know; a cure may seem longer, not shorter.

use super::event::{Change, Event};

/// How far an event may be older than the one before without any step of the clock.
const JITTER_US: i64 = 5_000_000;

/// Running time of a journal: the fold of the times of its events.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Elapsed {
    run_us: i64,
    last_at_us: Option<i64>,
    was_synchronised: bool,
}

impl Elapsed {
    /// Takes an event in.
    pub fn apply(&mut self, event: &Event) {
        let passed = self.last_at_us.map_or(0, |last| event.at_us.saturating_sub(last));
        let counts = match event.change {
            Change::ClockStepped { by_us } => passed.saturating_sub(by_us),
            Change::SessionStarted { clock_synchronised, .. } => {
                let may_be_put_right = clock_synchronised && !self.was_synchronised;
                self.was_synchronised = clock_synchronised;
                if may_be_put_right { 0 } else { passed }
            }
            _ => passed,
        };
        self.run_us = self.run_us.saturating_add(counts.max(0));
        // A reading is stamped when its last byte came, so it may be a little older than a command stored before it. From
        // there on time would be counted twice.
        let is_jitter = (-JITTER_US..0).contains(&passed) && !matches!(event.change, Change::ClockStepped { .. });
        if !is_jitter {
            self.last_at_us = Some(event.at_us);
        }
    }

    /// Running time of the last event, in microseconds since the first.
    #[must_use]
    pub fn run_us(&self) -> i64 {
        self.run_us
    }

    /// Running time at a wall time behind the last event, in microseconds.
    #[must_use]
    pub fn at(&self, at_us: i64) -> i64 {
        let since = self.last_at_us.map_or(0, |last| at_us.saturating_sub(last));
        self.run_us.saturating_add(since.max(0))
    }

    /// Wall time of a moment in running time, in microseconds since 1970 UTC: right while the clock does not step.
    #[must_use]
    pub fn wall_us(&self, run_us: i64) -> i64 {
        self.last_at_us.unwrap_or(0).saturating_add(run_us.saturating_sub(self.run_us))
    }

    /// A moment of another fold's running time in this one's: what has passed since is the same in both.
    #[must_use]
    pub fn moved(&self, run_us: i64, other: &Self) -> i64 {
        let since_other =
            self.last_at_us.zip(other.last_at_us).map_or(0, |(own, other)| own.saturating_sub(other).max(0));
        let age = other.run_us.saturating_sub(run_us).saturating_add(since_other);
        self.run_us.saturating_sub(age)
    }

    /// Wall time of the last event, in microseconds since 1970 UTC.
    #[must_use]
    pub fn last_at_us(&self) -> Option<i64> {
        self.last_at_us
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::Numbering;

    const MINUTE: i64 = 60_000_000;

    /// Events at these minutes; the running time of the last one in minutes.
    fn check(events: &[(i64, Change)], expected: i64) {
        let mut numbering = Numbering::after(1, 0);
        let mut elapsed = Elapsed::default();
        for (minute, change) in events {
            let stamp = Stamp { t_s: 0.0, at_us: minute * MINUTE };
            elapsed.apply(&numbering.event(stamp, None, change.clone()));
        }
        assert_eq!(elapsed.run_us(), expected * MINUTE, "{events:?}");
    }

    #[test]
    fn steps_of_the_clock_are_no_time() {
        let start = |clock_synchronised| Change::SessionStarted { version: "0".into(), clock_synchronised };
        let tick = || Change::OperatorChanged { operator: None };
        let step = |minutes: i64| Change::ClockStepped { by_us: minutes * MINUTE };
        check(&[(100, tick()), (130, tick()), (140, tick())], 40);
        // Noticed while running: an hour forward in ten minutes, and back again.
        check(&[(0, tick()), (70, step(60)), (80, tick())], 20);
        check(&[(100, tick()), (50, step(-60)), (60, tick())], 20);
        // Not noticed: what runs backwards adds nothing, and it goes on from there.
        check(&[(100, tick()), (40, tick()), (50, tick())], 10);
        // A reading a second older than the command before it: nothing is counted twice.
        let mut elapsed = Elapsed::default();
        let mut numbering = Numbering::after(1, 0);
        for second in [10, 9, 10, 9, 12] {
            elapsed.apply(&numbering.event(Stamp { t_s: 0.0, at_us: second * 1_000_000 }, None, tick()));
        }
        assert_eq!(elapsed.run_us(), 2_000_000);
        // Between sessions.
        check(&[(0, start(true)), (30, start(true))], 30);
        check(&[(0, start(false)), (30, start(false))], 30);
        check(&[(0, start(true)), (30, start(false))], 30);
        check(&[(0, start(false)), (10, tick()), (300, start(true)), (310, tick())], 20);
    }

    #[test]
    fn now_goes_on_from_the_last_event_and_never_back() {
        let mut elapsed = Elapsed::default();
        let stamp = Stamp { t_s: 0.0, at_us: 5 * MINUTE };
        elapsed.apply(&Numbering::after(1, 0).event(stamp, None, Change::SessionEnded));
        assert_eq!((elapsed.at(7 * MINUTE), elapsed.at(3 * MINUTE)), (2 * MINUTE, 0));
        assert_eq!(elapsed.wall_us(10 * MINUTE), 15 * MINUTE);
    }
}
