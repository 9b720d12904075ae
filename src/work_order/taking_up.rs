//! A finished club in hand again: what may be done to it as it is, and the decision to work on it once more.
//!
//! Opened, it can be looked at and measured again and stays finished, unless it loses a value or gets one outside its limits.
//! Steps are done to it only after a person has said why; then it is handed over anew.

use super::adhesive::Override;
use super::desk::{Refusal, refused};
use super::event::{Change, Event, EventId};
use super::finishing::handed_over;
use super::intake;
use super::record::{ClubRecord, ClubState};
use super::state::State;
use super::steps::Step;

/// A decision to work on a finished club again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenUp {
    /// Who, why and when.
    pub decided: Override,
    /// How many of its steps were done before.
    pub steps_before: usize,
}

impl ClubRecord {
    /// Whether the work on it ends with its hand-over.
    #[must_use]
    pub fn ends_with_hand_over(&self) -> bool {
        self.spec.route().contains(&Step::HandOver)
    }

    pub(super) fn take_up(&mut self, event: &Event) {
        let Change::ClubTakenUp { name, why, .. } = &event.change else { return };
        let decided = Override { name: name.clone(), why: why.clone(), at_us: event.at_us };
        self.taken_up.push(TakenUp { decided, steps_before: self.steps.len() });
    }
}

/// What ended the work on it: its hand-over, or the last measurement of a route without one.
pub(super) fn how(club: &ClubRecord) -> &'static str {
    if club.has_done(Step::HandOver) { "handed over" } else { "finished" }
}

fn remedy(club: &ClubRecord) -> String {
    let id = &club.spec.id;
    format!(
        "`orders resume {id} --by N --why TEXT` takes it up again; an order for a repair is the way for one that comes back from its player"
    )
}

/// A step is marked done at a finished club.
pub(super) fn step_of_finished(state: &State, club: &ClubRecord, step: Step) -> Result<Vec<Change>, Refusal> {
    if step == Step::HandOver && !club.has_done(Step::HandOver) {
        return Ok(handed_over(state, club));
    }
    let (id, label) = (&club.spec.id, step.label());
    refused(format!("{id} is {} already, \"{label}\" is not marked done: {}", how(club), remedy(club)))
}

/// A step of a finished club, or its hand-over, is to be taken back.
pub(super) fn step_stays(club: &ClubRecord, step: Step) -> Result<Vec<Change>, Refusal> {
    let (id, label) = (&club.spec.id, step.label());
    if club.state != ClubState::Finished && !club.has_done(step) {
        return refused(format!(
            "\"{label}\" at {id} counts no more since it was taken up again: nothing is to be taken back"
        ));
    }
    refused(format!("{id} is {} already, \"{label}\" is not taken back: {}", how(club), remedy(club)))
}

/// No step comes next.
pub(super) fn no_step_left(club: &ClubRecord) -> Result<Vec<Change>, Refusal> {
    let id = &club.spec.id;
    if club.state == ClubState::Finished {
        return refused(format!("{id} has no step left: it is {}", how(club)));
    }
    refused(format!("{id} has no step left, and something of it is open since it was {}: {}", how(club), remedy(club)))
}

/// A bend of a club that its player has got needs a decision like every other work on it.
pub(super) fn may_be_bent(club: &ClubRecord) -> Result<(), Refusal> {
    if club.state == ClubState::Finished && club.has_done(Step::HandOver) {
        return refused(format!("{} is {} already, no bend is noted: {}", club.spec.id, how(club), remedy(club)));
    }
    Ok(())
}

/// What goes into a finished club would make its numbers untrue.
pub(super) fn may_get_parts(club: &ClubRecord) -> Result<(), Refusal> {
    if club.state == ClubState::Finished {
        return refused(format!("{} is {} already, nothing is put in: {}", club.spec.id, how(club), remedy(club)));
    }
    Ok(())
}

/// What is taken out of a finished club would make its numbers untrue as well.
pub(super) fn may_lose_parts(club: &ClubRecord) -> Result<(), Refusal> {
    if club.state == ClubState::Finished {
        return refused(format!("{} is {} already, nothing is taken out: {}", club.spec.id, how(club), remedy(club)));
    }
    Ok(())
}

/// The last value is taken back by a card or a pedal: not from a club that is handed over, which nobody meant who pressed once too often.
pub(super) fn may_lose_its_last(club: &ClubRecord, value: EventId) -> Result<(), Refusal> {
    let handed_over = club.steps.iter().rfind(|done| done.step == Step::HandOver && club.stands(done));
    // What was measured since can be taken back like everything that is in hand.
    let is_newer = |before: usize| club.entries.iter().skip(before).any(|entry| entry.event == value);
    if club.state == ClubState::Finished && handed_over.is_some_and(|done| !is_newer(done.entries_before)) {
        return refused(format!(
            "the last value is one of {}, which is {} already, and is not taken back: `records void {value} --why TEXT` does that all the same",
            club.spec.id,
            how(club)
        ));
    }
    Ok(())
}

/// A value is typed for a club: for a finished one only while it is the one in hand.
pub(super) fn is_in_reach(state: &State, club: &ClubRecord) -> Result<(), Refusal> {
    let id = &club.spec.id;
    if club.state == ClubState::Finished && state.current_club.as_ref() != Some(id) {
        return refused(format!(
            "{id} is {} already and not in hand, so nothing is typed for it: `orders open {id}` or its ticket lets it be measured again",
            how(club)
        ));
    }
    Ok(())
}

/// What whoever opens a finished club should hear.
pub(super) fn opened(club: &ClubRecord) -> Option<String> {
    (club.state == ClubState::Finished).then(|| {
        format!(
            "{} is {} already: measured again it stays so, unless it loses a value or gets one outside its limits",
            club.spec.id,
            how(club)
        )
    })
}

/// A person decides that a finished club is worked on again; it is the one in hand then.
pub(super) fn take_up(state: &State, club: Option<&str>, name: &str, why: &str) -> Result<Vec<Change>, Refusal> {
    let (name, why) = (name.trim(), why.trim());
    if name.is_empty() || why.is_empty() {
        return refused(
            "a finished club is only taken up again with a name and a reason: `orders resume CLUB --by N --why TEXT`",
        );
    }
    let Some(id) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open: name the club that is taken up again");
    };
    let Some(record) = state.clubs.get(id) else { return refused(format!("there is no club {id}")) };
    let is_finished = record.state == ClubState::Finished;
    // One that lost a value since it was handed over is in work already, and still to be decided about.
    if !is_finished && !record.has_done(Step::HandOver) {
        return refused(format!("{id} is not finished: `orders open {id}` makes it the one in hand"));
    }
    let (club, name, why) = (id.to_owned(), name.to_owned(), why.to_owned());
    let mut changes = vec![Change::ClubTakenUp { club: club.clone(), name, why }];
    if is_finished {
        changes.push(Change::ClubReopened { club: club.clone() });
    }
    changes.extend(intake::taken_up(state, &record.order));
    if state.current_order.as_ref() != Some(&record.order) {
        changes.push(Change::OrderOpened { order: record.order.clone() });
    }
    if state.current_club.as_ref() != Some(&club) {
        changes.push(Change::ClubOpened { club });
    }
    Ok(changes)
}
