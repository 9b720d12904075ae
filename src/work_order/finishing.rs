//! Steps that are done, when a club is finished, and when it is not any more.
//!
//! A club before and after a change comes in, what follows from the change leaves. Good is what has everything the order
//! asks for within the limits that hold now, whatever they were when it was measured; finished is what is handed over, or
//! good where its route ends without that.

use super::desk::{Refusal, refused};
use super::event::{Change, EventId, Place};
use super::hand_over::steps_open;
use super::judging::{Verdict, judge};
use super::marks;
use super::order::{Stage, TargetRow, WorkKind};
use super::record::{ClubRecord, ClubState, Entry, StepRecord};
use super::routing::Routing;
use super::sources::quantity_of;
use super::state::State;
use super::steps::Step;
use super::taking_up;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::measurement::reading::{Quantity, Reading};

/// A person says that a step of the open club is done.
pub(super) fn step_done(state: &State, step: Step) -> Result<Vec<Change>, Refusal> {
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
    if club.state == ClubState::Finished {
        return taking_up::step_of_finished(state, club, step);
    }
    marks::allow(club, step)?;
    if step == Step::HandOver {
        return Ok(handed_over(state, club));
    }
    let mut after = club.clone();
    after.steps.push(StepRecord::supposed(step));
    let done = Change::step_done(&club.spec.id, step);
    Ok(std::iter::once(done).chain(after_change(state, club, &after)).collect())
}

/// A club is handed over, and finished by that.
pub(super) fn handed_over(state: &State, club: &ClubRecord) -> Vec<Change> {
    let done = Change::step_done(&club.spec.id, Step::HandOver);
    let finished = if club.state == ClubState::Finished { Vec::new() } else { finish(state, club) };
    std::iter::once(done).chain(finished).collect()
}

/// What a change of a club's values or steps leads to: it is finished and the next one of its order follows, or it is
/// finished no more. While a step of its route that no measurement proves is open, nothing but that finishes it.
pub(super) fn after_change(state: &State, before: &ClubRecord, after: &ClubRecord) -> Vec<Change> {
    let good = is_good(state, after);
    match (before.state == ClubState::Finished, good) {
        (false, true) if steps_open(after).next().is_none() => finish(state, after),
        // A person may hand over what is outside its limits or not measured; that stands until it loses a value.
        (true, false) if is_good(state, before) || after.missing().count() > before.missing().count() => {
            reopen(state, after)
        }
        _ => Vec::new(),
    }
}

/// Steps that a measurement shows to be done, where nobody has said so yet: parts that are all weighed are prepared, a
/// club measured at its dry fit was laid together, a length within its limits was cut. None of them tells of a cut whose
/// mark is not confirmed.
pub(super) fn proven(before: &ClubRecord, after: &ClubRecord, reading: EventId) -> Vec<Change> {
    let dry_fitted = |club: &ClubRecord| club.valid().any(Entry::is_of_dry_fit);
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

/// A measurement with which a club has all that its order asks for, and nothing but the hand-over left, is its final check.
pub(super) fn checked(state: &State, club: &ClubRecord, after: &ClubRecord, reading: EventId) -> Option<Change> {
    let is_ready = is_good(state, after) && steps_open(after).all(|step| step == Step::HandOver);
    let is_open = club.spec.route().contains(&Step::FinalCheck)
        && !club.has_done(Step::FinalCheck)
        && marks::allow(club, Step::FinalCheck).is_ok();
    (is_ready && is_open).then(|| by(club, Step::FinalCheck, reading))
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
fn finish(state: &State, club: &ClubRecord) -> Vec<Change> {
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
