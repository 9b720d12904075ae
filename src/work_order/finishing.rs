//! Steps that are done, when a club is finished, and when it is not any more.
//!
//! A club before and after a change comes in, what follows from the change leaves. Finished is what has everything the
//! order asks for within the limits that hold now, whatever they were when it was measured.

use super::desk::{Refusal, refused};
use super::event::{Change, EventId, Place};
use super::judging::{Verdict, judge};
use super::marks;
use super::order::{Stage, TargetRow, WorkKind};
use super::record::{ClubRecord, ClubState};
use super::routing::Routing;
use super::sources::quantity_of;
use super::state::State;
use super::steps::Step;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::measurement::reading::{Quantity, Reading};

/// A person says that a step is done.
pub(super) fn step_done(state: &State, step: Step) -> Result<Vec<Change>, Refusal> {
    // The hand-over card is scanned when the club is already complete and the next one is open.
    let handed_over = |club: &ClubRecord| club.steps.iter().any(|s| s.step == Step::HandOver);
    let before = state.finished_last.as_ref().and_then(|id| state.clubs.get(id)).filter(|club| !handed_over(club));
    if step == Step::HandOver
        && let Some(before) = before
        && !state.club().is_some_and(ClubRecord::is_begun)
    {
        return Ok(vec![Change::step_done(&before.spec.id, step)]);
    }
    let Some(club) = state.club() else {
        return refused(format!(
            "no club is open, so \"{}\" cannot be marked done: scan an order ticket first",
            step.label()
        ));
    };
    if !club.spec.route().contains(&step) {
        let route: Vec<&str> = club.spec.route().iter().map(|step| step.label()).collect();
        return refused(format!(
            "\"{}\" is no step of {} ({}): its steps are {}",
            step.label(),
            club.spec.id,
            club.spec.work.label(),
            route.join(", ")
        ));
    }
    if club.state != ClubState::Finished {
        marks::allow(club, step)?;
    }
    let done = Change::step_done(&club.spec.id, step);
    if step != Step::HandOver || club.state == ClubState::Finished {
        let mut changes = vec![done];
        // A club that was complete but not cured is finished by its cure.
        if step == Step::Cure {
            changes.extend(after_change(state, club, club));
        }
        return Ok(changes);
    }
    let missing: Vec<&str> = club.missing().map(Characteristic::label).collect();
    if !missing.is_empty() {
        // With several clubs in work another one may be meant.
        let meant =
            before.map(|other| format!("; {} is finished: scan its ticket first to hand it over", other.spec.id));
        let meant = meant.unwrap_or_default();
        return refused(format!(
            "{} cannot be handed over: {} not measured yet{meant}",
            club.spec.id,
            missing.join(", ")
        ));
    }
    let mut changes = vec![done];
    changes.extend(finish(state, club));
    Ok(changes)
}

/// What a change of a club's values leads to: it is finished and the next one of its order follows, or it is finished
/// no more.
pub(super) fn after_change(state: &State, before: &ClubRecord, after: &ClubRecord) -> Vec<Change> {
    let good = is_good(state, after);
    match (before.state == ClubState::Finished, good) {
        (false, true) => finish(state, after),
        // A person may hand over what is outside its limits; that stands until it loses a value.
        (true, false) if is_good(state, before) || !after.is_complete() => reopen(state, after),
        _ => Vec::new(),
    }
}

/// Steps that a measurement shows to be done, where nobody has said so yet: parts that are all weighed are prepared, a
/// club measured at its dry fit was laid together, a length within its limits was cut. None of them tells of a cut whose
/// mark is not confirmed.
pub(super) fn proven(before: &ClubRecord, after: &ClubRecord, reading: EventId) -> Vec<Change> {
    let dry_fitted = |club: &ClubRecord| club.valid().any(|entry| entry.filed.stage == Stage::DryFit);
    let cut = |club: &ClubRecord| {
        let length = club.latest(Characteristic::Length).map(|entry| &entry.filed);
        length.is_some_and(|filed| {
            filed.verdict == Verdict::Within && filed.stage >= Stage::Bonded && filed.stage != Stage::Received
        })
    };
    let prepared = |club: &ClubRecord| {
        let is_asked = |row: &TargetRow| {
            row.characteristic.measured_on() == MeasuredOn::Part && quantity_of(row.characteristic).is_some()
        };
        club.spec.work == WorkKind::Build
            && club.spec.targets.iter().any(is_asked)
            && club.parts_missing().next().is_none()
    };
    let shown = [
        (Step::Prepare, !prepared(before) && prepared(after)),
        (Step::DryFit, !dry_fitted(before) && dry_fitted(after)),
        (Step::Cut, !cut(before) && cut(after)),
    ];
    let open = |step: Step| {
        before.spec.route().contains(&step) && !before.has_done(step) && marks::allow(before, step).is_ok()
    };
    shown.into_iter().filter(|(step, shown)| *shown && open(*step)).map(|(step, _)| by(before, step, reading)).collect()
}

/// A club that is finished by a measurement has passed its final check with it.
pub(super) fn checked(club: &ClubRecord, reading: EventId, changes: Vec<Change>) -> Vec<Change> {
    let is_finished = matches!(changes.first(), Some(Change::ClubFinished { club: id }) if *id == club.spec.id);
    let is_open = club.spec.route().contains(&Step::FinalCheck)
        && !club.has_done(Step::FinalCheck)
        && marks::allow(club, Step::FinalCheck).is_ok();
    let check = (is_finished && is_open).then(|| by(club, Step::FinalCheck, reading));
    check.into_iter().chain(changes).collect()
}

fn by(club: &ClubRecord, step: Step, reading: EventId) -> Change {
    Change::StepDone { club: club.spec.id.clone(), step, proof: Some(reading), batch: None }
}

/// Everything the order asks for is measured and within the limits of the order as it is now.
fn is_good(state: &State, club: &ClubRecord) -> bool {
    let within = |row: &TargetRow| {
        club.standing(row.characteristic).is_some_and(|entry| {
            let judged = judge(state.policy.rule, &row.target, entry.filed.value, entry.filed.expanded());
            matches!(judged.verdict, Verdict::Within | Verdict::NoTarget)
        })
    };
    club.is_complete() && club.spec.targets.iter().all(within)
}

/// Finishes a club; if it was the open one, the next one of its order is opened.
pub(super) fn finish(state: &State, club: &ClubRecord) -> Vec<Change> {
    let mut changes = vec![Change::ClubFinished { club: club.spec.id.clone() }];
    if state.current_club.as_ref() != Some(&club.spec.id) {
        return changes;
    }
    let following = state.orders.get(&club.order).and_then(|order| {
        order.clubs.iter().filter(|spec| spec.id != club.spec.id).find(|spec| {
            state.clubs.get(&spec.id).is_some_and(|r| matches!(r.state, ClubState::Waiting | ClubState::InWork))
        })
    });
    if let Some(spec) = following {
        changes.push(Change::ClubOpened { club: spec.id.clone() });
    }
    changes
}

/// The club is in work again, and in hand again unless another one is already begun.
fn reopen(state: &State, club: &ClubRecord) -> Vec<Change> {
    let mut changes = vec![Change::ClubReopened { club: club.spec.id.clone() }];
    if state.current_club.as_ref() != Some(&club.spec.id) && !state.club().is_some_and(ClubRecord::is_begun) {
        if state.current_order.as_ref() != Some(&club.order) {
            changes.push(Change::OrderOpened { order: club.order.clone() });
        }
        changes.push(Change::ClubOpened { club: club.spec.id.clone() });
    }
    changes
}

/// A whole club laid down while none of the current club's parts is weighed is probably the one finished before.
pub(super) fn finished_club_again(state: &State, club: &ClubRecord, reading: &Reading) -> Option<Routing> {
    let before = state.clubs.get(state.finished_last.as_ref()?)?;
    let mass = reading.get(Quantity::Mass)?.value;
    let before_mass = before.latest(Characteristic::TotalMass)?.filed.value;
    let same = (mass - before_mass).abs() <= 0.01 * before_mass;
    (!club.is_begun() && before.spec.id != club.spec.id && same).then(|| Routing::Refuse {
        reason: format!(
            "{mass:.1} g looks like {} again, which is finished, and no part of {} is weighed yet: open {} to measure it again",
            before.spec.id, club.spec.id, before.spec.id
        ),
        choices: [before, club]
            .iter()
            .map(|c| Place { club: c.spec.id.clone(), characteristic: Characteristic::TotalMass })
            .collect(),
    })
}
