//! What is open of a club that is to be handed over, and who decides that it is handed over all the same.
//!
//! A club as the fold knows it comes in, what is open leaves, in words; so does the decision of a person about it. The
//! journal keeps both, so a record says for ever what the player got and who answered for it.

use super::adhesive::Override;
use super::desk::{Refusal, refused};
use super::event::Change;
use super::finishing::handed_over;
use super::judging::{judge, outside_in_words};
use super::order::TargetRow;
use super::record::{ClubRecord, ClubState};
use super::state::State;
use super::steps::Step;
use crate::club::shown::lengths_of;

/// A decision to hand a club over although something is open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandOverOverride {
    /// Who, why and when.
    pub decided: Override,
    /// What was open, in words.
    pub open: Vec<String>,
}

/// Steps of a club's route that are not done and that no measurement proves; a cure that is counted is none of them.
pub(super) fn steps_open(club: &ClubRecord) -> impl Iterator<Item = Step> {
    let is_open = |step: &Step| {
        let proved_by_time = *step == Step::Cure && club.bond.is_some();
        !step.is_proved_by_measuring() && !proved_by_time && !club.has_done(*step)
    };
    club.spec.route().iter().copied().filter(is_open)
}

/// What is open of a club if it were handed over now: values outside the limits of its order, values that are not
/// measured, steps, and its cure, of which `cure_left` says how long it still lasts.
#[must_use]
pub fn open(state: &State, club: &ClubRecord, cure_left: Option<&str>) -> Vec<String> {
    let values = club.spec.targets.iter().filter_map(|row| value_open(state, club, row));
    let is_empty = club.spec.targets.is_empty() && club.valid().next().is_none();
    let nothing = is_empty.then(|| "the order asks for nothing and nothing was measured".to_owned());
    let cure = cure_left.map(|left| format!("cures: {left} left"));
    let steps = steps_open(club).filter(|step| *step != Step::HandOver).map(|step| match step {
        Step::Bond => "never bonded".to_owned(),
        step => format!("\"{}\" is not marked done", step.label()),
    });
    values.chain(nothing).chain(cure).chain(steps).collect()
}

fn value_open(state: &State, club: &ClubRecord, row: &TargetRow) -> Option<String> {
    let characteristic = row.characteristic;
    let label = characteristic.label();
    let Some(entry) = club.standing(characteristic) else {
        let bent = club.bends.iter().rfind(|bend| bend.characteristic == characteristic && !bend.is_voided);
        let is_bent = bent.is_some_and(|bend| {
            let mut since = club.entries.iter().skip(bend.entries_before);
            !since.any(|entry| entry.filed.characteristic == characteristic && !club.is_voided(entry.event))
        });
        return Some(match club.latest(characteristic) {
            None => format!("{label} never measured"),
            Some(_) if is_bent => format!("{label} not measured since it was bent"),
            Some(_) => format!("{label} not measured on the gripped club"),
        });
    };
    let value = entry.filed.value;
    let judged = judge(state.policy.rule, &row.target, value, entry.filed.expanded());
    let lengths = lengths_of(&row.text);
    let outside = outside_in_words(characteristic, &row.target, value, judged.verdict, lengths)?;
    Some(format!("{label} {outside}"))
}

/// Why a club is not handed over, and what would do.
#[must_use]
pub(super) fn refusal(club: &ClubRecord, open: &[String]) -> String {
    let id = &club.spec.id;
    format!(
        "{id} is not handed over with something open: {}; put that right, or say who decides otherwise and why: `records override {id} hand-over --by N --why TEXT`",
        open.join(", ")
    )
}

/// A person decides that a club is handed over although something is open; what that is stands in the event once
/// `guard` has looked.
pub(super) fn hand_over_all_the_same(
    state: &State,
    club: Option<&str>,
    name: &str,
    why: &str,
) -> Result<Vec<Change>, Refusal> {
    let (name, why) = (name.trim(), why.trim());
    if name.is_empty() || why.is_empty() {
        return refused(
            "a club is only handed over with something open with a name and a reason: say who decides and why",
        );
    }
    let Some(id) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open: name the club that is handed over");
    };
    let Some(record) = state.clubs.get(id) else { return refused(format!("there is no club {id}")) };
    if record.state == ClubState::Finished && record.has_done(Step::HandOver) {
        return refused(format!("{id} is handed over already"));
    }
    let (club, name, why) = (id.to_owned(), name.to_owned(), why.to_owned());
    let decided = Change::HandOverOverridden { club, name, why, open: Vec::new() };
    Ok(std::iter::once(decided).chain(handed_over(state, record)).collect())
}
