//! What is done with numbered parts: a row laid down one after another, said what they are, put into clubs, taken out.
//!
//! Pure: commands, codes and captured readings come in, changes or a refusal in words leave. An intake that is open takes
//! every placement on its instrument, so that no part of the row passes for a part of the club in hand.

use super::desk::{Refusal, refused};
use super::elsewhere;
use super::event::{CapturedReading, Change, EventId};
use super::filing::judged;
use super::finishing::{after_change, checked, proven};
use super::order::Stage;
use super::part_code::PartCode;
use super::part_stock::{
    Intake, MeasuredPart, NumberedPart, PartFacts, PartKind, PartUse, UsedPart, Weighed, Whereabouts,
};
use super::record::ClubRecord;
use super::state::State;
use super::taking_up;
use crate::club::characteristic::Characteristic;
use crate::club::shown::{self, Lengths};
use crate::measurement::calibration::Calibration;
use crate::measurement::reading::{InstrumentKind, Quantity};

/// Longest text of a fact.
const LONGEST: usize = 80;

/// Something asked for about numbered parts.
#[derive(Debug, Clone, PartialEq)]
pub enum PartCommand {
    /// Begin a stock intake.
    Begin {
        /// What is laid down.
        kind: PartKind,
        /// On which instrument; none: the only scale.
        instrument: Option<String>,
        /// What holds for every part of the row.
        facts: PartFacts,
    },
    /// The row is done.
    End,
    /// Say something of a part.
    Describe {
        /// Its number.
        part: String,
        /// What.
        facts: PartFacts,
    },
    /// Parts go into clubs: all of them or none.
    Use(Vec<(Option<String>, String)>),
    /// A part is taken out of its club again.
    Release {
        /// Its number, or the `part_used` event.
        part: String,
        /// Why.
        why: String,
    },
    /// A part is not in the stock any more.
    Withdraw {
        /// Its number.
        part: String,
        /// Why.
        why: String,
    },
}

/// What a captured reading is while an intake is open on its instrument: the next part, or a reading that a person has to
/// see to, with the reason. `None`: no intake, it is a part of a club like any other.
#[must_use]
pub fn take(state: &State, reading: EventId, captured: &CapturedReading) -> Option<Result<Vec<Change>, String>> {
    let intake = state.part_stock.open_on(&captured.instrument)?;
    let kind = intake.kind;
    let of = |quantity: Quantity| {
        captured.measured.iter().find(|measured| measured.quantity == quantity).map(|m| (m.value, m.u))
    };
    let Some(mass) = of(Quantity::Mass) else {
        return Some(Err(format!("{} shows no mass, so no {} was numbered", captured.instrument, kind.name())));
    };
    let possible = kind.plausible_g();
    if !possible.contains(&mass.0) {
        return Some(Err(format!(
            "{:.1} g is no {}, expected from {} to {} g: nothing was numbered; lay the {} on alone",
            mass.0,
            kind.name(),
            possible.start(),
            possible.end(),
            kind.name()
        )));
    }
    let balance = of(Quantity::Balance).filter(|_| kind == PartKind::Shaft);
    Some(Ok(vec![Change::PartMeasured(MeasuredPart {
        intake: intake.intake.clone(),
        part: state.part_stock.next_number(kind),
        reading,
        instrument: captured.instrument.clone(),
        calibration: captured.calibration,
        mass,
        balance,
    })]))
}

/// What a command leads to.
///
/// # Errors
/// Says why it cannot be done and what would do.
pub fn answer(state: &State, command: &PartCommand) -> Result<Vec<Change>, Refusal> {
    match command {
        PartCommand::Begin { kind, instrument, facts } => begin(state, *kind, instrument.as_deref(), facts),
        PartCommand::End => end(state),
        PartCommand::Describe { part, facts } => describe(state, part, facts),
        PartCommand::Use(uses) => use_parts(state, uses),
        PartCommand::Release { part, why } => release(state, part, why),
        PartCommand::Withdraw { part, why } => withdraw(state, part, why),
    }
}

/// A stock intake begins; the facts hold for every part of the row.
pub(super) fn begin(
    state: &State,
    kind: PartKind,
    instrument: Option<&str>,
    facts: &PartFacts,
) -> Result<Vec<Change>, Refusal> {
    if let Some(open) = state.part_stock.open() {
        return refused(format!(
            "stock intake {} of {}s on {} is open: end it first",
            open.intake,
            open.kind.name(),
            open.instrument
        ));
    }
    let instrument = on_which(state, instrument)?;
    if let Some(study) = state.studies.open_on(&instrument) {
        return refused(format!(
            "study {} is open on {instrument}: finish it, or set it aside first",
            study.plan.study
        ));
    }
    sensible(kind, facts)?;
    let intake = format!("I-{}", state.part_stock.intakes.len() + 1);
    Ok(vec![Change::IntakeBegun(Intake { intake, kind, instrument, facts: facts.clone() })])
}

/// The instrument as named, or the one scale that sends.
fn on_which(state: &State, named: Option<&str>) -> Result<String, Refusal> {
    let kind = |instrument: &str| match state.calibrations.get(instrument).map(|in_force| &in_force.change) {
        Some(Change::Calibrated { calibration, .. }) => match calibration {
            Calibration::Scale(_) => Some(InstrumentKind::Scale),
            Calibration::Beam(_) => Some(InstrumentKind::Beam),
            Calibration::Gauge(_) => None,
        },
        _ => None,
    };
    let weighs = |kind: Option<InstrumentKind>| matches!(kind, Some(InstrumentKind::Scale | InstrumentKind::Beam));
    if let Some(named) = named {
        return if weighs(kind(named)) {
            Ok(named.to_owned())
        } else {
            refused(format!("{named} is no scale or beam of this bench: the page /instruments lists what there is"))
        };
    }
    let mut scales: Vec<&str> = state
        .connected
        .iter()
        .filter(|(id, sends)| **sends && kind(id) == Some(InstrumentKind::Scale))
        .map(|(id, _)| id.as_str())
        .collect();
    // The one for parts, where there is another for clubs: the finer one.
    let capacity = |id: &str| match state.calibrations.get(id).map(|in_force| &in_force.change) {
        Some(Change::Calibrated { capacity_g, resolution, .. }) => (*resolution, capacity_g.unwrap_or(f64::MAX)),
        _ => (f64::MAX, f64::MAX),
    };
    scales.sort_by(|a, b| {
        let (a, b) = (capacity(a), capacity(b));
        a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
    });
    match scales.first() {
        Some(scale) => Ok((*scale).to_owned()),
        None => refused("no scale sends, so nothing can be weighed: switch it on, or name the instrument"),
    }
}

/// The row is done.
pub(super) fn end(state: &State) -> Result<Vec<Change>, Refusal> {
    match state.part_stock.open() {
        Some(open) => Ok(vec![Change::IntakeEnded { intake: open.intake.clone() }]),
        None => refused("no stock intake is open"),
    }
}

/// Facts that fit a kind of part and are possible.
fn sensible(kind: PartKind, facts: &PartFacts) -> Result<(), Refusal> {
    let texts = [&facts.drawer, &facts.model, &facts.gtin, &facts.lot, &facts.serial];
    let clubs = facts.clubs.iter().flatten();
    if let Some(text) = texts.into_iter().flatten().chain(clubs).find(|text| text.chars().count() > LONGEST) {
        return refused(format!("\"{text}\" is too long, expected at most {LONGEST} characters"));
    }
    for (value, like, of) in [
        (facts.length_mm, Characteristic::Length, PartKind::Shaft),
        (facts.balance_mm, Characteristic::ShaftBalance, PartKind::Shaft),
        (facts.frequency_cpm, Characteristic::Frequency, PartKind::Shaft),
        (facts.loft_deg, Characteristic::Loft, PartKind::Head),
        (facts.lie_deg, Characteristic::Lie, PartKind::Head),
    ] {
        let Some(value) = value else { continue };
        if kind != of {
            return refused(format!("a {} has no {}", kind.name(), like.label()));
        }
        if !like.possible().contains(&value) {
            // What was typed is not known here: a length is told in both units.
            let in_inches = [
                shown::value(like, value, Lengths::Inches),
                shown::possible(like, Lengths::Inches).replace(" to ", " – "),
            ];
            let beside = |text: &str| if like == Characteristic::Length { format!(" ({text})") } else { String::new() };
            let [found, expected] = [in_inches[0].as_str(), in_inches[1].trim_start_matches("from ")].map(beside);
            let millimetres = shown::value(like, value, Lengths::Millimetres);
            let possible = shown::possible(like, Lengths::Millimetres);
            return refused(format!(
                "a {} of {millimetres}{found} is not possible, expected {possible}{expected}",
                like.label()
            ));
        }
    }
    if kind == PartKind::Head && facts.clubs.as_ref().is_some_and(|clubs| clubs.len() > 1) {
        return refused("a head is made for one club: name one");
    }
    Ok(())
}

fn known<'a>(state: &'a State, number: &str) -> Result<&'a NumberedPart, Refusal> {
    state.part_stock.part(number).ok_or_else(|| Refusal(format!("there is no part {number}; `stock list` shows all")))
}

fn describe(state: &State, number: &str, facts: &PartFacts) -> Result<Vec<Change>, Refusal> {
    let part = known(state, number)?;
    if *facts == PartFacts::default() {
        return refused(format!("nothing is said of {number}: give what is known of it"));
    }
    sensible(part.kind, facts)?;
    single(state, number, facts)?;
    Ok(vec![Change::PartDescribed { part: number.to_owned(), facts: facts.clone() }])
}

/// A serial number of an item is that of one part only.
fn single(state: &State, number: &str, facts: &PartFacts) -> Result<(), Refusal> {
    match state.part_stock.parts.iter().find(|part| part.number() != number && is_same_single(&part.facts, facts)) {
        Some(other) if !matches!(other.place, Whereabouts::TakenBack(_)) => refused(format!(
            "serial {} stands on {} already: look which of the two it is",
            facts.serial.as_deref().unwrap_or_default(),
            other.number()
        )),
        _ => Ok(()),
    }
}

fn is_same_single(one: &PartFacts, other: &PartFacts) -> bool {
    one.is_single() && one.serial == other.serial && one.gtin == other.gtin
}

/// A maker's code was scanned: it is that of the part laid down last at an intake, of a part in stock that now goes into the
/// club in hand, or of another part that goes into it.
pub(super) fn scan_code(state: &State, code: &PartCode) -> Result<Vec<Change>, Refusal> {
    let facts = PartFacts {
        gtin: code.gtin.clone(),
        lot: code.lot.clone(),
        serial: code.serial.clone(),
        ..PartFacts::default()
    };
    if facts == PartFacts::default() {
        return refused(format!("part code {}: it holds no item, lot or serial number to keep", code.words));
    }
    if let Some(intake) = state.part_stock.open() {
        return match state.part_stock.of_intake(&intake.intake).next_back() {
            None => refused(format!(
                "part code {}: lay the {} on first, then scan its code",
                code.words,
                intake.kind.name()
            )),
            Some(last) if has_own_code(last, intake) => refused(format!(
                "{} has its code already: lay the next {} on before its code is scanned",
                last.number(),
                intake.kind.name()
            )),
            Some(last) => {
                single(state, last.number(), &facts)?;
                Ok(vec![Change::PartDescribed { part: last.number().to_owned(), facts }])
            }
        };
    }
    let Some(club) = state.club() else {
        return refused(format!(
            "part code {}: nothing is waiting for it; open a club or a stock intake, then scan it",
            code.words
        ));
    };
    let in_stock = |part: &&NumberedPart| part.place == Whereabouts::InStock && is_same_single(&part.facts, &facts);
    if let Some(part) = state.part_stock.parts.iter().find(in_stock) {
        return use_parts(state, &[(None, part.number().to_owned())]);
    }
    taking_up::may_get_parts(club)?;
    let kept = |part: &&UsedPart| part.released.is_none() && is_same_single(&part.used.facts, &facts);
    if club.parts.iter().any(|part| kept(&part)) {
        return refused(format!("part code {}: it is kept for {} already", code.words, club.spec.id));
    }
    let kind = weighed_last(club);
    let (club, part) = (club.spec.id.clone(), None);
    Ok(vec![Change::PartUsed(PartUse { club, part, kind, facts, weighed: None })])
}

/// Whether a part's code was scanned already; what holds for the whole row was not.
fn has_own_code(part: &NumberedPart, intake: &Intake) -> bool {
    let own = |facts: &PartFacts| (facts.gtin.clone(), facts.lot.clone(), facts.serial.clone());
    own(&part.facts) != own(&intake.facts)
}

/// What a code that is scanned now stands on: the part of the club that was weighed last, if it has none yet.
fn weighed_last(club: &ClubRecord) -> Option<PartKind> {
    let last = club.valid().next_back().filter(|entry| entry.filed.stage == Stage::Part)?;
    let kind = PartKind::ALL.iter().copied().find(|kind| kind.mass() == last.filed.characteristic)?;
    let has = club.parts.iter().any(|part| part.released.is_none() && part.used.kind == Some(kind));
    (!has).then_some(kind)
}

/// Parts go into clubs; a club that is not named is the one in hand.
pub(super) fn use_parts(state: &State, uses: &[(Option<String>, String)]) -> Result<Vec<Change>, Refusal> {
    if let Some(intake) = state.part_stock.open() {
        return refused(format!("stock intake {} is open: end it before parts go into clubs", intake.intake));
    }
    // What is known of a club grows with every part of it.
    let mut clubs: Vec<(&ClubRecord, ClubRecord, EventId)> = Vec::new();
    let mut changes = Vec::new();
    for (index, (club, number)) in uses.iter().enumerate() {
        let part = known(state, number)?;
        let Some(id) = club.as_deref().or(state.current_club.as_deref()) else {
            return refused(format!("{}: no club is open; scan an order ticket first", part_words(part)));
        };
        let Some(before) = state.clubs.get(id) else { return refused(format!("there is no club {id}")) };
        if uses.iter().take(index).any(|(_, other)| other == number) {
            return refused(format!("{number} is named twice: a part goes into one club"));
        }
        let at = match clubs.iter().position(|(of, ..)| of.spec.id == before.spec.id) {
            Some(at) => at,
            None => {
                clubs.push((before, before.clone(), part.measured.reading));
                clubs.len() - 1
            }
        };
        let Some((_, after, last)) = clubs.get_mut(at) else { continue };
        let used = part_use(state, after, part)?;
        // Who names the club has looked; a label that is scanned goes where the display happens to be.
        if club.is_none()
            && let Some(reason) = elsewhere::doubt(state, before, part)
        {
            return refused(reason);
        }
        *last = part.measured.reading;
        after.put_in(UsedPart {
            used: used.clone(),
            event: EventId::TYPED,
            at_us: 0,
            by: None,
            released: None,
            entries_before: 0,
        });
        changes.push(Change::PartUsed(used));
    }
    for (before, after, last) in &clubs {
        changes.extend(proven(before, after, *last));
        changes.extend(checked(state, before, after, *last));
        changes.extend(after_change(state, before, after));
    }
    Ok(changes)
}

/// A part in words, with where it is.
fn part_words(part: &NumberedPart) -> String {
    let drawer = part.facts.drawer.as_ref().map(|drawer| format!(", drawer {drawer}")).unwrap_or_default();
    format!("{}, a {} of {:.2} g{drawer}", part.number(), part.kind.name(), part.measured.mass.0)
}

fn part_use(state: &State, club: &ClubRecord, part: &NumberedPart) -> Result<PartUse, Refusal> {
    let (number, id) = (part.number(), &club.spec.id);
    match &part.place {
        Whereabouts::InStock => {}
        Whereabouts::In(other) if other == id => return refused(format!("{number} is in {id} already")),
        Whereabouts::In(other) => {
            return refused(format!("{number} is in {other}: take it out of there first (`stock release {number}`)"));
        }
        Whereabouts::TakenBack(why) => return refused(format!("{number} was taken back at its intake: {why}")),
        Whereabouts::Withdrawn(why) => return refused(format!("{number} is not in the stock any more: {why}")),
    }
    taking_up::may_get_parts(club)?;
    if !club.spec.work.takes(part.kind) {
        return refused(format!(
            "{number} is a {}, and the work on {id} ({}) takes none: name another club with --club, or open it first",
            part.kind.name(),
            club.spec.work.label()
        ));
    }
    if let Some(other) = club.numbered(part.kind).and_then(|other| other.used.part.as_ref()) {
        return refused(format!(
            "{id} has the {} {other} already: take it out first (`stock release {other}`)",
            part.kind.name()
        ));
    }
    if let Some(clubs) = part.facts.clubs.as_ref().filter(|clubs| !clubs.is_empty() && !clubs.contains(&club.spec.name))
    {
        return refused(format!(
            "{number} is a {} for {}, not for the {} {id}: take another one, or say otherwise with `stock describe {number} --for`",
            part.kind.name(),
            clubs.join(", "),
            club.spec.name
        ));
    }
    let measured = &part.measured;
    let mass = (part.kind.mass(), measured.mass);
    let balance = measured.balance.map(|balance| (Characteristic::ShaftBalance, balance));
    let values = std::iter::once(mass)
        .chain(balance)
        .map(|(characteristic, (value, u))| {
            judged(state.policy.rule, club, characteristic, Stage::Part, value, (u, None))
        })
        .collect();
    Ok(PartUse {
        club: id.clone(),
        part: Some(number.to_owned()),
        kind: Some(part.kind),
        facts: part.facts.clone(),
        weighed: Some(Weighed {
            reading: measured.reading,
            instrument: measured.instrument.clone(),
            calibration: measured.calibration,
            at_us: part.at_us,
            by: part.by.clone(),
            values,
        }),
    })
}

fn release(state: &State, part: &str, why: &str) -> Result<Vec<Change>, Refusal> {
    let why = why.trim();
    if why.is_empty() {
        return refused("a part is only taken out of its club with a reason: say why");
    }
    let meant = |used: &&UsedPart| {
        used.released.is_none() && (used.used.part.as_deref() == Some(part) || used.event.to_string() == part)
    };
    let found = state.clubs.values().find_map(|club| club.parts.iter().find(meant).map(|used| (club, used)));
    let Some((club, used)) = found else {
        return match state.part_stock.part(part).map(|part| &part.place) {
            Some(Whereabouts::In(club)) => {
                refused(format!("{part} is in {club}, which is not at hand: open that club first"))
            }
            _ => refused(format!("{part} is in no club: give a part's number or the event of its use")),
        };
    };
    taking_up::may_lose_parts(club)?;
    let mut after = club.clone();
    after.take_out(used.event, why);
    let released = Change::PartReleased {
        club: club.spec.id.clone(),
        used: used.event,
        part: used.used.part.clone(),
        why: why.to_owned(),
    };
    Ok(std::iter::once(released).chain(after_change(state, club, &after)).collect())
}

fn withdraw(state: &State, number: &str, why: &str) -> Result<Vec<Change>, Refusal> {
    let part = known(state, number)?;
    if why.trim().is_empty() {
        return refused("a part only leaves the stock with a reason: say why");
    }
    match &part.place {
        Whereabouts::InStock => Ok(vec![Change::PartWithdrawn { part: number.to_owned(), why: why.trim().to_owned() }]),
        Whereabouts::In(club) => refused(format!("{number} is in {club}: take it out of there first")),
        Whereabouts::TakenBack(_) | Whereabouts::Withdrawn(_) => refused(format!("{number} is not in the stock")),
    }
}
