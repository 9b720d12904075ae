//! What is done with gauge studies: begun for an instrument, read cell by cell in an order nobody chose, taken back.
//!
//! Pure, as everything here: commands and captured readings come in, changes or a refusal in words leave. A study that is
//! open takes every placement on its instrument, so that none of its parts passes for a part of a club.

use super::desk::{Refusal, refused};
use super::event::{CapturedReading, Change, EventId};
use super::sources::quantity_of;
use super::state::State;
use super::study::{Study, StudyValue};
use super::study_plan::{StudyPlan, StudyStage, StudyTolerance};
use crate::club::characteristic::Characteristic;
use crate::measurement::calibration::Calibration;
use crate::measurement::quantity::Target;
use crate::measurement::reading::Quantity;

/// After this long without a reading a placement is no longer taken for the next cell by itself, in microseconds.
const PATIENCE_US: i64 = 15 * 60 * 1_000_000;
/// How many parts, people and trials a study may have.
const SIZES: [(&str, std::ops::RangeInclusive<usize>); 3] = [("parts", 2..=30), ("people", 2..=10), ("trials", 2..=5)];
/// Longest name of a person.
const NAME: usize = 40;

/// Something about studies that a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum StudyCommand {
    /// Begin one.
    Begin(StudyRequest),
    /// The instrument measures clubs again, the study waits.
    SetAside(String),
    /// The study goes on.
    Resume(String),
    /// Take the last reading of a study back.
    TakeBack(String),
    /// Give a study up.
    BreakOff {
        /// Which.
        study: String,
        /// Why.
        why: String,
    },
}

/// What is to be studied.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyRequest {
    /// The instrument.
    pub instrument: String,
    /// For which characteristic; needed where the instrument shows more than one quantity.
    pub characteristic: Option<Characteristic>,
    /// How many parts.
    pub parts: usize,
    /// Who measures.
    pub people: Vec<String>,
    /// How often each.
    pub trials: usize,
    /// Against which tolerance.
    pub tolerance: Wanted,
}

/// Where a study's tolerance comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Wanted {
    /// None.
    Nothing,
    /// As stated, with the text it was written as.
    Stated(String, Target),
    /// What the open order asks of the characteristic.
    OfTheOrder,
}

/// What a captured reading is while a study is open on its instrument: its next cell, or a reading that a person has to
/// see to, with the reason. `None`: no study, it is a part like any other.
#[must_use]
pub fn take(
    state: &State,
    reading: EventId,
    captured: &CapturedReading,
    at_us: i64,
) -> Option<Result<Vec<Change>, String>> {
    let study = state.studies.open_on(&captured.instrument)?;
    let (_, cell) = study.next()?;
    let (name, person, part) = (&study.plan.study, study.person(cell), cell.part + 1);
    if at_us.saturating_sub(study.moved_us) > PATIENCE_US {
        return Some(Err(format!(
            "study {name} has waited for more than a quarter of an hour: resume it and lay part {part} on again, or set it aside and file this by hand"
        )));
    }
    if state.operator.as_deref() != Some(person) {
        return Some(Err(format!(
            "{person} is next in study {name}: scan the card of {person}, or choose {person} on its page, then lay part {part} on again"
        )));
    }
    let Some(measured) = captured.measured.iter().find(|measured| measured.quantity == study.plan.quantity) else {
        return Some(Err(format!(
            "this placement shows no {}, which study {name} is about: lay part {part} on again",
            study.plan.quantity.name().replace('_', " ")
        )));
    };
    let value = StudyValue {
        study: name.clone(),
        part,
        person: person.to_owned(),
        trial: cell.trial + 1,
        reading,
        value: measured.value,
    };
    let mut after = study.clone();
    after.read(&value, at_us);
    let finished = after.summary().map(|summary| Change::StudyFinished { study: name.clone(), summary });
    Some(Ok(std::iter::once(Change::StudyRead(value)).chain(finished).collect()))
}

/// What a command leads to.
///
/// # Errors
/// Says why it cannot be done and what would do.
pub fn answer(state: &State, command: &StudyCommand) -> Result<Vec<Change>, Refusal> {
    let known = |study: &str| {
        state
            .studies
            .get(study)
            .ok_or_else(|| Refusal(format!("there is no study {study}; the page /studies lists them")))
    };
    let name = |study: &Study| study.plan.study.clone();
    match command {
        StudyCommand::Begin(request) => begin(state, request),
        StudyCommand::SetAside(study) => match known(study)? {
            study if study.stage == StudyStage::Open => Ok(vec![Change::StudySetAside { study: name(study) }]),
            study => refused(format!("study {} is not open: it is {}", name(study), words(study.stage))),
        },
        StudyCommand::Resume(study) => {
            let study = known(study)?;
            if !study.is_under_way() {
                return refused(format!("study {} is {}: begin another", name(study), words(study.stage)));
            }
            match state.studies.open_on(&study.plan.instrument).filter(|open| open.plan.study != study.plan.study) {
                Some(open) => refused(format!("study {} is open on {}", name(open), study.plan.instrument)),
                None => Ok(vec![Change::StudyResumed { study: name(study) }]),
            }
        }
        StudyCommand::TakeBack(study) => {
            let study = known(study)?;
            match study.taken.last() {
                Some(reading) => {
                    super::voiding::void(state, Some(*reading), &format!("taken back in study {}", name(study)))
                }
                None => refused(format!("study {} has no reading to take back", name(study))),
            }
        }
        StudyCommand::BreakOff { study, why } => {
            let study = known(study)?;
            if !study.is_under_way() {
                return refused(format!("study {} is {} already", name(study), words(study.stage)));
            }
            if why.trim().is_empty() {
                return refused("a study is only broken off with a reason: say why");
            }
            Ok(vec![Change::StudyBrokenOff { study: name(study), why: why.trim().to_owned() }])
        }
    }
}

/// Why a reading of a study cannot be taken back now, if it cannot.
pub(super) fn keeps(state: &State, reading: EventId) -> Option<String> {
    let study = state.studies.of_reading(reading).filter(|s| s.stage == StudyStage::Finished && s.holds(reading))?;
    let other = state
        .studies
        .list
        .iter()
        .find(|other| other.is_under_way() && other.plan.instrument == study.plan.instrument)?;
    Some(format!(
        "study {} is finished and would be open again without this reading, while {} is under way on {}: finish that one first",
        study.plan.study, other.plan.study, study.plan.instrument
    ))
}

fn words(stage: StudyStage) -> &'static str {
    match stage {
        StudyStage::Open => "open",
        StudyStage::Aside => "set aside",
        StudyStage::Finished => "finished",
        StudyStage::BrokenOff => "broken off",
    }
}

fn begin(state: &State, request: &StudyRequest) -> Result<Vec<Change>, Refusal> {
    let instrument = &request.instrument;
    let Some(Change::Calibrated { calibration, .. }) = state.calibrations.get(instrument).map(|of| &of.change) else {
        let known: Vec<&str> = state.calibrations.keys().map(String::as_str).collect();
        return refused(format!("there is no instrument {instrument} that measures; there are: {}", known.join(", ")));
    };
    if let Some(other) = state.studies.list.iter().find(|s| s.is_under_way() && s.plan.instrument == *instrument) {
        return refused(format!("study {} is under way on {instrument}: finish it, or break it off", other.plan.study));
    }
    if let Some(intake) = state.part_stock.open_on(instrument) {
        return refused(format!("stock intake {} is open on {instrument}: end it first", intake.intake));
    }
    if state.trust.calibrating.contains_key(instrument) {
        return refused(format!("{instrument} is being calibrated: finish or cancel that first"));
    }
    for ((what, sizes), found) in SIZES.iter().zip([request.parts, request.people.len(), request.trials]) {
        if !sizes.contains(&found) {
            return refused(format!("{found} {what}, expected {} to {}", sizes.start(), sizes.end()));
        }
    }
    let people: Vec<String> = request.people.iter().map(|name| name.trim().to_owned()).collect();
    for (place, person) in people.iter().enumerate() {
        if person.is_empty() || person.len() > NAME {
            return refused(format!(
                "\"{person}\" is no name of a person: give what the cards say, at most {NAME} characters"
            ));
        }
        if people.iter().take(place).any(|other| other == person) {
            return refused(format!("{person} is named twice: a study compares different people"));
        }
    }
    let quantity = quantity(instrument, calibration, request.characteristic)?;
    let tolerance = tolerance(state, request)?;
    let count = state.studies.list.len() + 1;
    let mixed = super::event_id::mix(state.seq ^ super::event_id::mix(count as u64));
    Ok(vec![Change::StudyBegun(StudyPlan {
        study: format!("S-{count}"),
        instrument: instrument.clone(),
        quantity,
        characteristic: request.characteristic,
        parts: u8::try_from(request.parts).unwrap_or(u8::MAX),
        people,
        trials: u8::try_from(request.trials).unwrap_or(u8::MAX),
        tolerance,
        seed: u32::try_from(mixed >> 32).unwrap_or(0),
    })])
}

/// What of an instrument's readings is studied.
fn quantity(
    instrument: &str,
    calibration: &Calibration,
    characteristic: Option<Characteristic>,
) -> Result<Quantity, Refusal> {
    let (kind, shown, example): (_, &[Quantity], _) = match calibration {
        Calibration::Scale(_) => ("scale", &[Quantity::Mass], "head_mass"),
        Calibration::Beam(_) => ("beam", &[Quantity::Mass, Quantity::Balance, Quantity::SwingWeight], "swing_weight"),
        Calibration::Gauge(_) => ("gauge", &[Quantity::Lie, Quantity::Loft], "loft"),
    };
    match (characteristic, shown) {
        (None, [only]) => Ok(*only),
        (None, _) => {
            refused(format!("{instrument} shows more than one quantity: say which characteristic, such as {example}"))
        }
        (Some(characteristic), _) => {
            quantity_of(characteristic).filter(|quantity| shown.contains(quantity)).ok_or_else(|| {
                let label = characteristic.label();
                Refusal(format!("{instrument} is a {kind} and shows no {label}: take for example {example}"))
            })
        }
    }
}

fn tolerance(state: &State, request: &StudyRequest) -> Result<Option<StudyTolerance>, Refusal> {
    let (text, target) = match &request.tolerance {
        Wanted::Nothing => return Ok(None),
        Wanted::Stated(text, target) => (text.clone(), *target),
        Wanted::OfTheOrder => {
            let Some(characteristic) = request.characteristic else {
                return refused("say of which characteristic the order's tolerance is to be taken, such as head_mass");
            };
            let Some(order) = state.order() else {
                return refused("no order is open, so there is no tolerance to take: open one, or state the tolerance");
            };
            let open = state.club().map(|club| &club.spec).filter(|club| order.club(&club.id).is_some());
            let mut clubs = open.into_iter().chain(&order.clubs);
            match clubs.find_map(|club| club.target(characteristic)) {
                Some(row) => (row.text.clone(), row.target),
                None => {
                    return refused(format!(
                        "order {} asks for no {}: state the tolerance",
                        order.number,
                        characteristic.label()
                    ));
                }
            }
        }
    };
    if target.lower.is_none() && target.upper.is_none() {
        return refused(format!("\"{text}\" has no tolerance: write it with one, such as \"203 g ± 2 g\""));
    }
    Ok(Some(StudyTolerance { text, lower: target.lower, upper: target.upper }))
}
