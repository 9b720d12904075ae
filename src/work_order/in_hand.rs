//! How long a club was worked on: from one thing that happens to it to the next, while it is in hand.
//!
//! The events of one club come in, a time leaves. A club that was put aside or left for another one is opened again before
//! anything else happens to it, so time that ends with its opening was not spent on it. A pause of more than [`PAUSE_US`] is
//! no work either, be it a night or a meal. What happens to other clubs is not needed, so a record that is looked up by itself
//! says the same as the whole journal.

use super::event::{Change, Event};

/// A longer time in which nothing happens to a club in hand is a pause, in microseconds: half an hour (common practice, no
/// source).
pub const PAUSE_US: i64 = 30 * 60 * 1_000_000;

/// The time that a club was in hand: the fold of its events.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct InHand {
    /// The time, in microseconds.
    pub us: i64,
    last_us: Option<i64>,
}

impl InHand {
    /// Takes in an event of the club.
    pub fn apply(&mut self, event: &Event) {
        let passed = self.last_us.map_or(0, |last| event.at_us.saturating_sub(last));
        // A step is taken back in the record as well, of a club that is not in hand.
        let was_away = matches!(event.change, Change::ClubOpened { .. } | Change::StepTakenBack { .. });
        if !was_away && (0..=PAUSE_US).contains(&passed) {
            self.us = self.us.saturating_add(passed);
        }
        self.last_us = Some(event.at_us);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::Numbering;
    use crate::work_order::steps::Step;

    /// Events at these minutes; how many minutes the club was in hand.
    fn check(events: &[(i64, Change)], expected: i64) {
        const MINUTE: i64 = 60_000_000;
        let (mut numbering, mut in_hand) = (Numbering::after(1, 0), InHand::default());
        for (minute, change) in events {
            in_hand.apply(&numbering.event(Stamp { t_s: 0.0, at_us: minute * MINUTE }, None, change.clone()));
        }
        assert_eq!(in_hand.us, expected * MINUTE, "{events:?}");
    }

    #[test]
    fn nights_meals_and_other_clubs_are_no_work() {
        let opened = || Change::ClubOpened { club: "W-1/1".into() };
        let aside = || Change::ClubPutAside { club: "W-1/1".into() };
        let done = || Change::step_done("W-1/1", Step::Bond);
        check(&[(0, opened()), (5, done()), (12, done())], 12);
        // Put aside, and left for another club without a word.
        check(&[(0, opened()), (5, aside()), (15, opened()), (20, done())], 10);
        check(&[(0, opened()), (5, done()), (15, opened()), (20, done())], 10);
        // A night with the club still open; a clock that was put back.
        check(&[(0, opened()), (5, done()), (600, done()), (610, done())], 15);
        check(&[(0, opened()), (5, done()), (2, done()), (4, done())], 7);
    }
}
