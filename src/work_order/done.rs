//! A step that is done, as the fold takes it in: with the batch of a bond, the time in hand by then, and what should have been
//! measured for it and was not.

use super::event::{Change, Event, EventId};
use super::order::Stage;
use super::record::ClubRecord;
use super::state::State;
use super::steps::Step;
use crate::club::characteristic::{Characteristic, MeasuredOn};

/// A step with its time.
#[derive(Debug, Clone, PartialEq)]
pub struct StepRecord {
    /// The step.
    pub step: Step,
    /// The `step_done` event.
    pub event: EventId,
    /// Its place in the journal.
    pub seq: u64,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub by: Option<String>,
    /// The reading or typed value that proves it, where a measurement finished it.
    pub proof: Option<EventId>,
    /// The batch of adhesive that was used.
    pub batch: Option<String>,
    /// How long the club had been in hand by then, in microseconds.
    pub in_hand_us: i64,
    /// What a measurement should have shown for it and did not, where a person said that it is done.
    pub not_measured: Vec<Characteristic>,
    /// How many values the record had then: what stands behind them came after the step.
    pub entries_before: usize,
}

impl State {
    pub(super) fn take_step(&mut self, event: &Event) {
        let Change::StepDone { club, step, proof, batch } = &event.change else { return };
        let record = self.clubs.get(club);
        // What a measurement has proved lacks none.
        let not_measured = record.filter(|_| proof.is_none()).map(|record| record.not_measured_for(*step));
        let done = StepRecord {
            step: *step,
            event: event.id,
            seq: event.seq,
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
            self.wait_for(club, bond.is_some());
        }
        self.on_club(club, event.seq, |record| {
            record.steps.push(done);
            if *step == Step::Bond {
                record.earlier_bonds.extend(std::mem::replace(&mut record.bond, bond));
            }
        });
    }
}

impl StepRecord {
    /// A step as if it were done, to see what would follow.
    pub(super) fn supposed(step: Step) -> Self {
        let event = EventId(uuid::Uuid::nil());
        let (by, proof, batch) = (None, None, None);
        let (at_us, seq, in_hand_us, entries_before) = (0, 0, 0, 0);
        Self { step, event, seq, at_us, by, proof, batch, in_hand_us, not_measured: Vec::new(), entries_before }
    }
}

impl ClubRecord {
    /// What a measurement should have shown by the time a person says that a step is done.
    pub(super) fn not_measured_for(&self, step: Step) -> Vec<Characteristic> {
        match step {
            // What is done to it first ends the time in which it can be measured as it came.
            _ if self.stage() == Stage::Received => self.not_received().collect(),
            Step::Prepare => self.parts_missing().collect(),
            Step::FinalCheck => self.missing().collect(),
            _ => Vec::new(),
        }
    }

    /// What the order asks for of the whole club, and was not measured as it came in.
    pub(super) fn not_received(&self) -> impl Iterator<Item = Characteristic> {
        let is_known = |of: Characteristic| {
            self.valid().any(|entry| entry.filed.stage == Stage::Received && entry.filed.characteristic == of)
        };
        let of_club = |of: &Characteristic| of.measured_on() == MeasuredOn::Club && self.spec.target(*of).is_some();
        Characteristic::all().filter(of_club).filter(move |of| !is_known(*of))
    }
}
