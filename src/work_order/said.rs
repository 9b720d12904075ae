//! What a person should hear of changes that are about to be stored: what a typed value means, steps that were passed over,
//! maker's codes that were kept.
//!
//! The state before the changes and the changes come in, sentences leave. Deliberately absent: anything that the page
//! shows of the club all the time.

use super::adhesive::words;
use super::event::{Change, EventId};
use super::filing::FiledValue;
use super::judging::{Verdict, outside_in_words};
use super::part_stock::{PartFacts, PartUse};
use super::record::{ClubRecord, StepRecord};
use super::state::State;
use super::step_back;
use super::steps::Step;
use super::taking_up;
use super::turn::next_words;
use super::waiting::MOST_WAITING;
use crate::club::characteristic::Characteristic;
use crate::club::shown::{self, lengths_of};
use crate::measurement::quantity::Target;

/// What is to be said of changes, in their order.
#[must_use]
pub fn said(state: &State, changes: &[Change]) -> Vec<String> {
    let mut clubs: Vec<ClubRecord> = Vec::new();
    let mut sentences = Vec::new();
    for change in changes {
        match change {
            Change::ValueTyped { club, text, value } => sentences.push(typed(club, text, value)),
            Change::StepDone { club, step, proof, .. } => {
                let at = match clubs.iter().position(|record| record.spec.id == *club) {
                    Some(at) => at,
                    None => {
                        clubs.extend(state.clubs.get(club).cloned());
                        clubs.len().saturating_sub(1)
                    }
                };
                let Some(record) = clubs.get_mut(at) else { continue };
                // That nothing has to be adjusted shows in the values.
                let passed_over = record.passed_over_by(*step).filter(|step| *step != Step::Adjust);
                let is_again = record.has_done(*step) && *step != Step::HandOver;
                sentences.extend(is_again.then(|| format!("\"{}\" is done once more at {club}", step.label())));
                sentences.extend(unmeasured(record, *step, *proof));
                let pushed_out = state.pushed_out_by(club).filter(|_| *step == Step::Bond);
                sentences.extend(pushed_out.map(|other| {
                    format!(
                        "{MOST_WAITING} bonded clubs wait: the time of {other} is shown no more, only in its record"
                    )
                }));
                sentences.extend(passed_over.map(|step| format!("\"{}\" was skipped at {club}", step.label())));
                sentences.extend(not_to_be_played(state, record).filter(|_| *step == Step::HandOver));
                record.steps.push(StepRecord { entries_before: record.entries.len(), ..StepRecord::supposed(*step) });
            }
            Change::StepTakenBack { club, done, .. } => {
                sentences.extend(state.clubs.get(club).into_iter().flat_map(|club| step_back::said(club, *done)));
            }
            Change::ReadingVoided { reading, .. } => sentences.extend(taken_back(state, *reading)),
            Change::ClubOpened { club } if !is_reopened(changes, club) => {
                sentences.extend(state.clubs.get(club).and_then(taking_up::opened));
            }
            Change::ClubReopened { club } if !is_taken_up(changes, club) => sentences.push(format!(
                "{club} is in work again, because a value is lost or outside its limits: within them again it is finished as before"
            )),
            Change::ClubTakenUp { club, name, .. } => {
                let handed_over = state.clubs.get(club).is_none_or(ClubRecord::ends_with_hand_over);
                let anew = if handed_over { "it is handed over anew" } else { "it is finished anew" };
                sentences.push(format!("{club} is taken up again by {name}: {anew} when it is done"));
            }
            Change::OrderRevised { order } => sentences.extend(order.clubs.iter().filter_map(|spec| {
                let mut record = state.clubs.get(&spec.id)?.clone();
                record.ordered_anew(spec);
                record.changed_since().first()?;
                Some(format!(
                    "{} is {}: it stays as it is shown, and goes by the new version once it is in work again",
                    spec.id,
                    taking_up::how(&record)
                ))
            })),
            Change::PartUsed(used) => sentences.extend(put_in(used)),
            Change::PartDescribed { part, facts } => {
                sentences.extend(code(facts).map(|code| format!("{code} is kept for {part}")));
            }
            _ => {}
        }
    }
    sentences.extend(next_in_turn(state, changes));
    sentences
}

/// What is taken back with a reading, a typed value or a bend.
fn taken_back(state: &State, event: EventId) -> Option<String> {
    let Some(club) = state.place_of(event).and_then(|club| state.clubs.get(club)) else {
        return Some(match state.part_stock.of_reading(event) {
            Some(part) => format!("taken back: the weight of {}", part.number()),
            None => "taken back: a reading that is in no club".to_owned(),
        });
    };
    let values =
        club.entries.iter().filter(|entry| entry.event == event).map(|entry| entry.filed.characteristic.label());
    let bends = club.bends.iter().filter(|bend| bend.event == event);
    let what: Vec<String> =
        values.map(str::to_owned).chain(bends.map(|bend| format!("bend of {}", bend.characteristic.label()))).collect();
    (!what.is_empty()).then(|| format!("taken back at {}: {}", club.spec.id, what.join(", ")))
}

fn is_reopened(changes: &[Change], club: &str) -> bool {
    let reopens = |change: &Change| matches!(change, Change::ClubTakenUp { club: of, .. } | Change::ClubReopened { club: of } if of == club);
    changes.iter().any(reopens)
}

/// That a club is not to be played yet, for whoever hands it over; as of the last event, so rather too long than too short.
fn not_to_be_played(state: &State, club: &ClubRecord) -> Option<String> {
    let left_us = club.bond.as_ref()?.play_left_us(state.adhesives.elapsed.run_us());
    let left = (left_us > 0).then(|| words(left_us))?;
    Some(format!("{} is not to be played for {left}: tell its player", club.spec.id))
}

fn is_taken_up(changes: &[Change], club: &str) -> bool {
    changes.iter().any(|change| matches!(change, Change::ClubTakenUp { club: of, .. } if of == club))
}

/// What a measurement should have shown for a step that a person says is done.
fn unmeasured(club: &ClubRecord, step: Step, proof: Option<EventId>) -> Option<String> {
    let missing: Vec<&str> = club.not_measured_for(step).into_iter().map(Characteristic::label).collect();
    let is_told = proof.is_none() && !missing.is_empty();
    is_told
        .then(|| format!("\"{}\" is done at {} with {} not measured", step.label(), club.spec.id, missing.join(", ")))
}

/// What comes next in the queue, where nothing is in hand after the changes: without that the bench would wait for nobody knows
/// what. Of an order that is taken up again while a club is in hand, what comes next of it.
fn next_in_turn(state: &State, changes: &[Change]) -> Option<String> {
    let left = |id: &str| {
        changes.iter().any(|change| match change {
            Change::ClubPutAside { club } | Change::ClubFinished { club } => club == id,
            _ => false,
        })
    };
    let taken_up = changes.iter().find_map(|change| match change {
        Change::OrderTakenUp { order } => Some(order.as_str()),
        _ => None,
    });
    if changes.iter().any(|change| matches!(change, Change::ClubOpened { .. })) {
        return None;
    }
    match (state.current_club.as_deref(), taken_up) {
        (None, None) => return None,
        (Some(in_hand), None) if !left(in_hand) => return None,
        (Some(in_hand), Some(number)) if !left(in_hand) => {
            let next = state.next_club(state.orders.get(number)?)?;
            let (id, name) = (&next.spec.id, &next.spec.name);
            return Some(format!("{in_hand} stays in hand; next of order {number} is {id}, {name}"));
        }
        (None, Some(number)) if !changes.iter().any(|change| matches!(change, Change::OrderPutAside { .. })) => {
            let next = state.next_club(state.orders.get(number)?)?;
            let (id, name) = (&next.spec.id, &next.spec.name);
            return Some(format!("order {number} goes on with {id}, {name}: scan its ticket or open it"));
        }
        _ => {}
    }
    let is_aside = |number: &str| {
        let now = |change: &Change| matches!(change, Change::OrderPutAside { order, .. } if order == number);
        let was = state.orders_aside.contains_key(number) && taken_up != Some(number);
        was || changes.iter().any(now)
    };
    Some(next_words(state.next_of_queue(is_aside, left)))
}

/// A typed value with its verdict: `length of W-1/1 is 38 5/16 in: +5/16 in from target (1/4 in over its limit)`.
fn typed(club: &str, text: &str, value: &FiledValue) -> String {
    let characteristic = value.characteristic;
    let lengths = lengths_of(text);
    let target = Target { value: value.target, lower: value.lower, upper: value.upper };
    let outside = outside_in_words(characteristic, &target, value.value, value.verdict, lengths);
    let verdict = outside.unwrap_or_else(|| match value.verdict {
        Verdict::NoTarget => "the order sets no limits for it".to_owned(),
        _ => "within its limits".to_owned(),
    });
    let shown = shown::value(characteristic, value.value, lengths);
    format!("{} of {club} is {shown}: {verdict}", characteristic.label())
}

/// That a part, or the code of one, is kept for a club.
fn put_in(used: &PartUse) -> Option<String> {
    let club = &used.club;
    match (&used.part, used.kind, code(&used.facts)) {
        (Some(part), ..) => Some(format!("{part} is in {club}")),
        (None, Some(kind), Some(code)) => Some(format!("{code} is kept for the {} of {club}", kind.name())),
        (None, None, Some(code)) => Some(format!("{code} is kept for {club}")),
        (None, _, None) => None,
    }
}

/// What a maker's code says, in words.
fn code(facts: &PartFacts) -> Option<String> {
    let fields = [("GTIN", &facts.gtin), ("lot", &facts.lot), ("serial", &facts.serial)];
    let words: Vec<String> =
        fields.into_iter().filter_map(|(word, value)| Some(format!("{word} {}", value.as_ref()?))).collect();
    (!words.is_empty()).then(|| words.join(", "))
}
