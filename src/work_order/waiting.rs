//! Bonded clubs that wait: for their cure, for somebody to say that it is over, for the time before which they are not played.
//! Their times are shown; what is over is let go of, and a club's own record forgets nothing.

use super::adhesive::Bond;
use super::record::{ClubRecord, ClubState};
use super::state::State;

/// How many are kept at most, far beyond what a shop bonds within the longest time of a sheet.
pub const MOST_WAITING: usize = 1000;

impl Bond {
    /// Whether its club still waits for something at a running time.
    fn is_waited_for(&self, club: &ClubRecord, run_us: i64) -> bool {
        let cures = self.cure_left_us(run_us) > 0 && self.overridden.is_none();
        let is_to_be_marked = club.state != ClubState::Finished && !club.has_done_since_bond();
        cures || self.play_left_us(run_us) > 0 || is_to_be_marked
    }
}

impl State {
    /// Of the clubs that wait those besides `club` that still do, oldest bond first.
    fn still_waiting(&self, club: &str) -> Vec<&String> {
        let run_us = self.adhesives.elapsed.run_us();
        let waits = |id: &&String| {
            // One that is not at hand may be brought back.
            let record = self.clubs.get(*id);
            record.is_none_or(|record| record.bond.as_ref().is_some_and(|bond| bond.is_waited_for(record, run_us)))
        };
        self.adhesives.waiting.iter().filter(|id| *id != club).filter(waits).collect()
    }

    /// The club whose time is let go of though it still waits, where `club` is bonded now.
    pub(super) fn pushed_out_by(&self, club: &str) -> Option<&str> {
        let waiting = self.still_waiting(club);
        waiting.first().filter(|_| waiting.len() >= MOST_WAITING).map(|id| id.as_str())
    }

    /// A club was bonded, with a batch or without: what is over by now is let go of.
    pub(super) fn wait_for(&mut self, club: &str, with_batch: bool) {
        let mut waiting: Vec<String> = self.still_waiting(club).into_iter().cloned().collect();
        if with_batch {
            waiting.drain(..(waiting.len() + 1).saturating_sub(MOST_WAITING));
            waiting.push(club.to_owned());
        }
        self.adhesives.waiting = waiting;
    }
}
