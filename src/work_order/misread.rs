//! Typed values that were misread, and typed again.
//!
//! A value that is typed again at the same stage, with no work in between, says that the first one was read or typed wrongly:
//! nothing was done that could have changed the club. What was measured first is then the corrected value. With work in between
//! (a step that somebody marked, a bend, a numbered part, parts taken out of the drawers) it is a second measurement, and the first one
//! stays what was measured first. What an instrument captured is never misread: a second capture is a second measurement.

use super::record::{ClubRecord, Entry, Method, Standing};

impl ClubRecord {
    /// Whether an entry of this record is a typed value that a later one corrected.
    #[must_use]
    pub fn is_misread(&self, entry: &Entry) -> bool {
        let typed = |entry: &Entry| matches!(entry.method, Method::Typed { .. });
        if !typed(entry) || entry.standing != Standing::Superseded {
            return false;
        }
        let Some(index) = self.entries.iter().position(|other| std::ptr::eq(other, entry)) else { return false };
        let corrects = |(_, later): &(usize, &Entry)| {
            typed(later)
                && later.standing != Standing::Voided
                && (later.filed.characteristic, later.filed.stage) == (entry.filed.characteristic, entry.filed.stage)
        };
        let later = self.entries.iter().enumerate().skip(index + 1).find(corrects);
        later.is_some_and(|(at, _)| !self.is_worked_on_between(index, at))
    }

    /// Whether anything was done to the club between two of its entries, given by their places. A step that a measurement proved is
    /// no work of that moment.
    fn is_worked_on_between(&self, first: usize, second: usize) -> bool {
        let between = |entries_before: usize| entries_before > first && entries_before <= second;
        self.bends.iter().any(|bend| !bend.is_voided && between(bend.entries_before))
            || self.parts.iter().any(|part| between(part.entries_before))
            || self.takings.iter().any(|taking| between(taking.entries_before))
            || self.steps.iter().any(|done| done.proof.is_none() && between(done.entries_before))
    }
}
