//! A reading, a typed value, a bend or a step is taken back: what that leads to, or why it cannot be.

use super::desk::{Refusal, refused};
use super::event::{Change, EventId};
use super::finishing::after_change;
use super::part_stock::Whereabouts;
use super::state::{Fate, State};
use super::step_back::{self, Deed};
use super::study_desk;
use super::taking_up;

/// Takes something back, with what that does to its club; no event means what was done last.
pub(super) fn void(state: &State, event: Option<EventId>, why: &str) -> Result<Vec<Change>, Refusal> {
    if why.trim().is_empty() {
        return refused("nothing is taken back without a reason: say why");
    }
    let reading = match event {
        Some(event) => match step_back::find(state, event) {
            Some((club, done)) => return step_back::take_back(club, done, why),
            None => event,
        },
        None => match step_back::last_deed(state) {
            None => return refused("there is nothing to take back"),
            Some(Deed::Step(club, done)) => {
                // What a finished club says of itself comes first.
                let taken_back = step_back::take_back(club, done, why)?;
                step_back::is_in_hand(state, club, &format!("\"{}\"", done.step.label()), done.event)?;
                return Ok(taken_back);
            }
            Some(Deed::Bend(club, bend)) => {
                step_back::is_in_hand(state, club, "a bend", bend)?;
                bend
            }
            Some(Deed::Value(value)) => value,
        },
    };
    // A typed value has no captured line: its entry knows.
    let filed = state.place_of(reading).and_then(|id| state.clubs.get(id));
    let voided = filed.is_some_and(|club| club.is_voided(reading));
    let studied = state.studies.of_reading(reading).is_some_and(|study| study.holds(reading));
    let stocked = state.part_stock.of_reading(reading).is_some_and(|part| part.place == Whereabouts::InStock);
    match state.capture_line(reading).map(|line| &line.fate) {
        Some(Fate::Voided { .. }) => return refused(format!("reading {reading} is already taken back")),
        None if voided && !stocked => return refused(format!("value {reading} is already taken back")),
        None if state.place_of(reading).is_none() && !studied && !stocked => {
            return refused(format!(
                "there is no reading {reading}: give the event of a captured or typed value, of a bend or of a step"
            ));
        }
        _ => {}
    }
    if let (None, Some(club)) = (event, filed) {
        taking_up::may_lose_its_last(club, reading)?;
    }
    if let Some(reason) = study_desk::keeps(state, reading) {
        return refused(reason);
    }
    let mut changes = vec![Change::ReadingVoided { reading, why: why.trim().to_owned() }];
    if let Some(club) = filed {
        let mut after = club.clone();
        after.void(reading);
        changes.extend(after_change(state, club, &after));
    }
    Ok(changes)
}
