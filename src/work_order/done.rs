//! A step that is done, as the fold takes it in: with the batch of a bond, the time in hand by then, and what should have been
//! measured for it and was not.

use super::event::{Change, Event};
use super::record::StepRecord;
use super::state::State;
use super::steps::Step;

impl State {
    pub(super) fn take_step(&mut self, event: &Event) {
        let Change::StepDone { club, step, proof, batch } = &event.change else { return };
        let record = self.clubs.get(club);
        // What a measurement has proved lacks none.
        let not_measured = record.filter(|_| proof.is_none()).map(|record| record.not_measured_for(*step));
        let done = StepRecord {
            step: *step,
            at_us: event.at_us,
            by: event.by.clone(),
            proof: *proof,
            batch: batch.clone(),
            in_hand_us: record.map_or(0, |record| record.in_hand.us),
            entries_before: record.map_or(0, |record| record.entries.len()),
            not_measured: not_measured.unwrap_or_default(),
        };
        let bond = batch.as_ref().and_then(|batch| self.adhesives.bond(event, batch));
        if *step == Step::Bond {
            self.adhesives.wait_for(club, bond.is_some());
        }
        self.on_club(club, event.seq, |record| {
            record.steps.push(done);
            if *step == Step::Bond {
                record.bond = bond;
            }
        });
    }
}
