//! Numbered parts as they are shown and published: in stock, and in the record of a club.

use serde::Serialize;

use crate::journal::event::rfc3339;
use crate::work_order::part_stock::{Intake, NumberedPart, PartFacts, PartKind, Whereabouts};
use crate::work_order::record::ClubRecord;
use crate::work_order::state::State;
use crate::work_order::ticket::Ticket;

/// What is known of a part besides its weight.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct FactsView {
    /// Its drawer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drawer: Option<String>,
    /// Its model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// The clubs it may go to.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub clubs: Vec<String>,
    /// Length of a raw shaft.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<f64>,
    /// Frequency of a shaft.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frequency_cpm: Option<f64>,
    /// Loft of a head.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loft_deg: Option<f64>,
    /// Lie of a head.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lie_deg: Option<f64>,
    /// Item number of the trade.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gtin: Option<String>,
    /// The maker's lot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// The maker's serial number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
}

/// A numbered part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NumberedPartView {
    /// Its number.
    pub part: String,
    /// `head`, `shaft` or `grip`.
    pub kind: &'static str,
    /// `in_stock`, `used`, `taken_back` or `withdrawn`.
    pub place: &'static str,
    /// The club it is in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub club: Option<String>,
    /// Why it is not there any more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Its mass.
    pub mass_g: f64,
    /// Standard uncertainty of it.
    pub u_g: f64,
    /// Balance of a shaft from its butt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub balance_mm: Option<f64>,
    /// What else is known.
    #[serde(flatten)]
    pub facts: FactsView,
    /// The intake it was weighed at.
    pub intake: String,
    /// The instrument.
    pub instrument: String,
    /// When.
    pub at: String,
    /// Who was at the bench.
    pub by: Option<String>,
    /// The `reading_captured` event.
    pub event: String,
    /// The code on its label.
    pub code: String,
}

/// An intake.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IntakeView {
    /// Its name.
    pub intake: String,
    /// What is laid down.
    pub kind: &'static str,
    /// On which instrument.
    pub instrument: String,
    /// What holds for every part of it.
    #[serde(flatten)]
    pub facts: FactsView,
    /// How many parts have their number.
    pub parts: usize,
    /// The number of the next one.
    pub next: String,
}

/// A part in a club's record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UsedPartView {
    /// Its number in stock, if it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// `head`, `shaft` or `grip`, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<&'static str>,
    /// What is known of it.
    #[serde(flatten)]
    pub facts: FactsView,
    /// The reading it was weighed by, for a part of the stock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reading: Option<String>,
    /// The `part_used` event.
    pub event: String,
    /// When it went in.
    pub at: String,
    /// Who was at the bench.
    pub by: Option<String>,
    /// Why it was taken out again, if it was.
    pub released: Option<String>,
}

fn facts(facts: &PartFacts) -> FactsView {
    FactsView {
        drawer: facts.drawer.clone(),
        model: facts.model.clone(),
        clubs: facts.clubs.clone().unwrap_or_default(),
        length_mm: facts.length_mm,
        frequency_cpm: facts.frequency_cpm,
        loft_deg: facts.loft_deg,
        lie_deg: facts.lie_deg,
        gtin: facts.gtin.clone(),
        lot: facts.lot.clone(),
        serial: facts.serial.clone(),
    }
}

/// A numbered part.
#[must_use]
pub fn numbered_part(part: &NumberedPart) -> NumberedPartView {
    let (place, club, why) = match &part.place {
        Whereabouts::InStock => ("in_stock", None, None),
        Whereabouts::In(club) => ("used", Some(club.clone()), None),
        Whereabouts::TakenBack(why) => ("taken_back", None, Some(why.clone())),
        Whereabouts::Withdrawn(why) => ("withdrawn", None, Some(why.clone())),
    };
    let (mass_g, u_g) = part.measured.mass;
    NumberedPartView {
        part: part.number().to_owned(),
        kind: part.kind.name(),
        place,
        club,
        why,
        mass_g,
        u_g,
        balance_mm: part.balance_mm(),
        facts: facts(&part.facts),
        intake: part.measured.intake.clone(),
        instrument: part.measured.instrument.clone(),
        at: rfc3339(part.at_us),
        by: part.by.clone(),
        event: part.measured.reading.to_string(),
        code: Ticket::Part(part.number().to_owned()).code(),
    }
}

/// The intake that is open.
#[must_use]
pub fn open_intake(state: &State) -> Option<IntakeView> {
    state.part_stock.open().map(|intake| intake_view(state, intake))
}

fn intake_view(state: &State, intake: &Intake) -> IntakeView {
    IntakeView {
        intake: intake.intake.clone(),
        kind: intake.kind.name(),
        instrument: intake.instrument.clone(),
        facts: facts(&intake.facts),
        parts: state.part_stock.of_intake(&intake.intake).count(),
        next: state.part_stock.next_number(intake.kind),
    }
}

/// The parts of the stock, newest first; those that are gone only with `all`.
#[must_use]
pub fn parts(state: &State, all: bool) -> Vec<NumberedPartView> {
    let shown = |part: &&NumberedPart| all || part.place == Whereabouts::InStock;
    state.part_stock.parts.iter().rev().filter(shown).map(numbered_part).collect()
}

/// What went into a club, oldest first.
#[must_use]
pub fn used_parts(club: &ClubRecord) -> Vec<UsedPartView> {
    let used = club.parts.iter().map(|part| UsedPartView {
        part: part.used.part.clone(),
        kind: part.used.kind.map(PartKind::name),
        facts: facts(&part.used.facts),
        reading: part.used.weighed.as_ref().map(|weighed| weighed.reading.to_string()),
        event: part.event.to_string(),
        at: rfc3339(part.at_us),
        by: part.by.clone(),
        released: part.released.clone(),
    });
    used.collect()
}
