//! Looks over every batch of changes before it is stored: what bonds take, what waits for a cure, what is handed over.
//!
//! One place, so that no way around it is forgotten: cards, pedal, page, typed values and captures all end here. Time
//! comes with the changes.

use super::adhesive::{cure_left_us, unfinished_cure, usable_batch, words};
use super::checks::Corrections;
use super::desk::{Refusal, refused};
use super::event::Change;
use super::hand_over;
use super::record::{ClubRecord, Method};
use super::state::State;
use super::steps::Step;

/// Bonds take the batch in force, an expired one is refused. While a club cures, nothing that comes behind its cure is
/// done to it, it is not bent, and it is not finished. A club of which something is open is handed over only by a
/// decision, which then says what that was.
///
/// A measurement that would prove such a step, or finish such a club, is kept without doing so.
///
/// # Errors
/// Says what must not be done now, and what would do.
pub fn guard(state: &State, changes: Vec<Change>, steady_us: i64) -> Result<Vec<Change>, Refusal> {
    let is_nameless = state.policy.corrections == Corrections::Named && state.operator.is_none();
    if is_nameless && changes.iter().any(|change| corrects(state, change)) {
        return refused(
            "what is kept is taken back or replaced by somebody with a name: scan a badge (BS1/W/K7), or say on the page who is at the bench",
        );
    }
    let uncured = |club: &str| {
        let decided = |change: &Change| matches!(change, Change::CureOverridden { club: of, .. } | Change::HandOverOverridden { club: of, .. } if of == club);
        let record = state.clubs.get(club).filter(|_| !changes.iter().any(decided))?;
        unfinished_cure(state, record, steady_us)
    };
    let open = |club: &str| {
        let record = state.clubs.get(club)?;
        let cure_left = cure_left_us(state, record, steady_us).map(words);
        Some((record, hand_over::open(state, record, cure_left.as_deref()))).filter(|(_, open)| !open.is_empty())
    };
    let is_decided = |club: &str| {
        changes.iter().any(|change| matches!(change, Change::HandOverOverridden { club: of, .. } if of == club))
    };
    let mut guarded: Vec<Change> = Vec::with_capacity(changes.len());
    let mut held_back = false;
    for change in &changes {
        match change {
            Change::StepDone { club, step: Step::Bond, proof, batch: None } => guarded.push(Change::StepDone {
                club: club.clone(),
                step: Step::Bond,
                proof: *proof,
                batch: usable_batch(state, steady_us)?,
            }),
            Change::StepDone { club, step: Step::HandOver, .. } if !is_decided(club) => match open(club) {
                Some((record, open)) => return refused(hand_over::refusal(record, &open)),
                None => guarded.push(change.clone()),
            },
            Change::HandOverOverridden { club, name, why, .. } => match open(club) {
                Some((_, open)) => guarded.push(Change::HandOverOverridden {
                    club: club.clone(),
                    name: name.clone(),
                    why: why.clone(),
                    open,
                }),
                None => return refused(format!("nothing is open of {club}: hand it over without a decision")),
            },
            Change::StepDone { club, step, proof, .. } if waits_for_cure(state.clubs.get(club), *step) => {
                match uncured(club) {
                    Some(reason) if proof.is_none() => return refused(reason),
                    Some(_) => {}
                    None => guarded.push(change.clone()),
                }
            }
            Change::CureOverridden { club, .. }
                if state.clubs.get(club).is_none_or(|record| cure_left_us(state, record, steady_us).is_none()) =>
            {
                return refused(format!(
                    "the cure of {club} is over, or is not waited for already: there is nothing to decide"
                ));
            }
            Change::BendDone { club, .. } => match uncured(club) {
                Some(reason) => return refused(reason),
                None => guarded.push(change.clone()),
            },
            Change::ClubFinished { club } if uncured(club).is_some() => held_back = true,
            // The next club was to be opened because that one was finished.
            Change::ClubOpened { .. } if held_back => {}
            _ => guarded.push(change.clone()),
        }
    }
    Ok(guarded)
}

/// Whether a change takes back or replaces what is kept (21 CFR 11.10(e): who changed a record is part of it).
fn corrects(state: &State, change: &Change) -> bool {
    match change {
        Change::ReadingVoided { .. } | Change::StepTakenBack { .. } => true,
        Change::ValueTyped { club, value, .. } => state.clubs.get(club).is_some_and(|club| {
            let mut typed = club.valid().filter(|entry| matches!(entry.method, Method::Typed { .. }));
            typed.any(|entry| (entry.filed.characteristic, entry.filed.stage) == (value.characteristic, value.stage))
        }),
        _ => false,
    }
}

/// Whether a step of a club's route comes behind its cure, or says that the cure is over.
fn waits_for_cure(club: Option<&ClubRecord>, step: Step) -> bool {
    let Some(club) = club else { return false };
    let at = |wanted: Step| club.spec.route().iter().position(|step| *step == wanted);
    at(Step::Cure).zip(at(step)).is_some_and(|(cure, step)| step >= cure)
}
