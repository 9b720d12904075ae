//! A step that was marked done by mistake is taken back: what that leads to, or why it cannot be; and what was done last.
//!
//! A step that is taken back leaves the list of those that are done, so nothing counts it: stage, marks, advice, what was
//! skipped and the cure are as if it had not been. The record keeps it apart, with who, why and when. A value keeps the
//! stage it was filed at: whoever takes the step back is told of it, because only a person knows how it was measured.

use super::adhesive::{Bond, words};
use super::desk::{Refusal, refused};
use super::event::{Change, Event, EventId};
use super::record::{ClubRecord, ClubState, StepRecord};
use super::state::State;
use super::steps::Step;
use super::taking_up;
use crate::club::characteristic::MeasuredOn;

/// A step that a person took back.
#[derive(Debug, Clone, PartialEq)]
pub struct StepTakenBack {
    /// The step as it was marked done.
    pub done: StepRecord,
    /// The place in the journal of the event that took it back.
    pub seq: u64,
    /// Why it was taken back, in a person's words.
    pub why: String,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub by: Option<String>,
}

impl State {
    pub(super) fn take_step_back(&mut self, event: &Event) {
        let Change::StepTakenBack { club, done, why } = &event.change else { return };
        let mut waits = None;
        self.on_club(club, event.seq, |record| {
            let Some(step) = record.undo_step(*done) else { return };
            waits = Some(record.bond.is_some());
            let (seq, at_us, by, why) = (event.seq, event.at_us, event.by.clone(), why.clone());
            record.steps_taken_back.push(StepTakenBack { done: step, seq, why, at_us, by });
        });
        // Its cure may have to be waited for again.
        if let Some(waits) = waits {
            self.wait_for(club, waits);
        }
    }
}

impl ClubRecord {
    /// Takes a step out of those that are done, with the bond that it made.
    fn undo_step(&mut self, event: EventId) -> Option<StepRecord> {
        let at = self.steps.iter().position(|done| done.event == event)?;
        let step = self.steps.remove(at);
        for again in self.taken_up.iter_mut().filter(|again| again.steps_before > at) {
            again.steps_before -= 1;
        }
        if step.step == Step::Bond {
            let mut bonds: Vec<Bond> = std::mem::take(&mut self.earlier_bonds);
            bonds.extend(self.bond.take());
            bonds.retain(|bond| bond.event != event);
            // A bond without a batch has no cure, and ends that of the bond before it.
            let last = self.steps.iter().rfind(|done| done.step == Step::Bond).map(|done| done.event);
            self.bond = bonds.pop_if(|bond| Some(bond.event) == last);
            self.earlier_bonds = bonds;
        }
        Some(step)
    }
}

/// What was done last and can be meant by "the last": it has its place in the journal.
pub(super) enum Deed<'a> {
    /// A captured or typed value.
    Value(EventId),
    /// A bend of a club.
    Bend(&'a ClubRecord, EventId),
    /// A step that a person marked done.
    Step(&'a ClubRecord, &'a StepRecord),
}

/// The last value, or the last bend or step of a club that is in work or was finished last, whichever is younger.
pub(super) fn last_deed(state: &State) -> Option<Deed<'_>> {
    seq_and_deed(state).map(|(_, deed)| deed)
}

fn seq_and_deed(state: &State) -> Option<(u64, Deed<'_>)> {
    let by_person = |done: &&StepRecord| done.proof.is_none();
    let value = state.last_value_at().map(|(seq, event)| (seq, Deed::Value(event)));
    let in_work = || state.clubs.values().filter(|club| club.state != ClubState::Finished);
    let bends = in_work().filter_map(|club| {
        let bend = club.bends.iter().rfind(|bend| !bend.is_voided)?;
        Some((bend.seq, Deed::Bend(club, bend.event)))
    });
    // A hand-over of a club in work is one that counts no more, or that is to be decided about.
    let steps = in_work().filter_map(|club| {
        let done = club.steps.iter().filter(by_person).rfind(|done| done.step != Step::HandOver)?;
        Some((done.seq, Deed::Step(club, done)))
    });
    let finished = state.finished_last.as_ref().and_then(|club| state.clubs.get(club));
    let finished = finished.filter(|club| club.state == ClubState::Finished).and_then(|club| {
        let done = club.steps.iter().rfind(by_person)?;
        Some((done.seq, Deed::Step(club, done)))
    });
    let deeds = value.into_iter().chain(bends).chain(steps).chain(finished);
    deeds.max_by_key(|(seq, _)| *seq)
}

/// A card and a pedal take back what was done last at the club in hand: at another one nobody sees what happens.
pub(super) fn is_in_hand(state: &State, club: &ClubRecord, what: &str, event: EventId) -> Result<(), Refusal> {
    let id = &club.spec.id;
    if state.current_club.as_ref() != Some(id) {
        return refused(format!(
            "what was done last is {what} at {id}, which is not in hand: open it first, or take it back by `records void {event} --why TEXT`"
        ));
    }
    Ok(())
}

/// A card or a pedal takes a step back for so long, in seconds: whoever used the wrong card has noticed by then. Later a slip of
/// a hand would take a bond with its cure, which nothing puts right again.
const SLIP_S: i64 = 120;

/// Why a card or a pedal does not take back the step that was done last at the club in hand; nothing where it does, or where
/// something else stands in the way. `steady_us` is wall time in which no clock was put right.
pub(super) fn is_no_slip(state: &State, steady_us: i64) -> Option<Refusal> {
    let Some(Deed::Step(club, done)) = last_deed(state) else { return None };
    let is_in_hand = state.current_club.as_ref() == Some(&club.spec.id) && club.state != ClubState::Finished;
    let read = club.acknowledged.last().map(|read| read.seq);
    let voided = club.voids.last().map(|void| void.seq);
    let back = club.steps_taken_back.last().map(|back| back.seq);
    // What was read or taken back since is no work that would go on without the step.
    let is_last = [Some(done.seq), read, voided, back].contains(&Some(club.last_seq));
    let is_late = steady_us.saturating_sub(done.at_us) > SLIP_S * 1_000_000;
    let reason = match (is_last, is_late) {
        _ if !is_in_hand => return None,
        (false, _) => "something else was noted of it since".to_owned(),
        (true, true) => format!("that is {} ago", words(steady_us.saturating_sub(done.at_us))),
        (true, false) => return None,
    };
    let (id, label, event) = (&club.spec.id, done.step.label(), done.event);
    Some(Refusal(format!(
        "\"{label}\" at {id} is not taken back by a card or a pedal, {reason}: take it back in the club's record, or by `records void {event} --why TEXT`"
    )))
}

/// The place in the journal of what was done last.
pub(super) fn last_deed_seq(state: &State) -> Option<u64> {
    seq_and_deed(state).map(|(seq, _)| seq)
}

/// The club of a step that was marked done, with the step; also of one that is taken back already.
pub(super) fn find(state: &State, event: EventId) -> Option<(&ClubRecord, &StepRecord)> {
    state.clubs.values().find_map(|club| {
        let back = club.steps_taken_back.iter().map(|back| &back.done);
        club.steps.iter().chain(back).find(|done| done.event == event).map(|done| (club, done))
    })
}

/// Takes a step back.
pub(super) fn take_back(club: &ClubRecord, done: &StepRecord, why: &str) -> Result<Vec<Change>, Refusal> {
    let (id, label) = (&club.spec.id, done.step.label());
    if club.steps_taken_back.iter().any(|back| back.done.event == done.event) {
        return refused(format!("\"{label}\" at {id} is taken back already"));
    }
    if !club.stands(done) {
        return refused(format!("\"{label}\" at {id} counts no more already: the value that showed it was taken back"));
    }
    if let Some(proof) = done.proof {
        return refused(format!(
            "\"{label}\" at {id} was shown by a measurement: take that one back, `records void {proof} --why TEXT`, and the step counts no more"
        ));
    }
    if club.state == ClubState::Finished || done.step == Step::HandOver {
        return taking_up::step_stays(club, done.step);
    }
    if let Some(behind) = done_behind(club, done) {
        return refused(format!(
            "\"{label}\" at {id} is not taken back while \"{}\" behind it is done: take that one back first, `records void {} --why TEXT`",
            behind.step.label(),
            behind.event
        ));
    }
    Ok(vec![Change::StepTakenBack { club: id.clone(), done: done.event, why: why.trim().to_owned() }])
}

/// The last other step that a person marked done behind this one: the club's stage goes by the furthest, so steps are taken back from
/// the last one on. A hand-over of a club in work counts no more, or has its own way back.
#[must_use]
pub fn done_behind<'a>(club: &'a ClubRecord, done: &StepRecord) -> Option<&'a StepRecord> {
    let is_other = |step: &&StepRecord| step.proof.is_none() && ![done.step, Step::HandOver].contains(&step.step);
    club.steps.iter().rfind(is_other).filter(|last| last.seq > done.seq)
}

/// What a person should hear of a step that is taken back.
pub(super) fn said(club: &ClubRecord, event: EventId) -> Vec<String> {
    let mut after = club.clone();
    let Some(done) = after.undo_step(event) else { return Vec::new() };
    let id = &club.spec.id;
    let mut sentences = vec![format!("the step \"{}\" at {id} is taken back", done.step.label())];
    if club.bond != after.bond {
        sentences.push(match &after.bond {
            Some(bond) => format!("the cure at {id} counts from the bond before it, with batch {}", bond.batch.name),
            None => format!("no cure is counted at {id} now"),
        });
    }
    let stage = club.stage();
    let since = club.entries.iter().skip(done.entries_before).filter(|entry| !club.is_voided(entry.event));
    let is_filed_so = |entry: &super::record::Entry| {
        entry.filed.stage == stage && entry.filed.characteristic.measured_on() == MeasuredOn::Club
    };
    if stage > after.stage() && since.clone().any(is_filed_so) {
        let stage = stage.name().replace('_', " ");
        sentences.push(format!(
            "what was measured at {id} since stays filed as \"{stage}\": take back what was not measured so"
        ));
    }
    sentences
}
