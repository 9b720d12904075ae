//! A captured reading as it is shown: what it was, where it went, or why it went nowhere.

use serde::Serialize;

use super::text;
use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::measurement::reading::{Measured, Quantity};
use crate::work_order::event::Place;
use crate::work_order::order::Stage;
use crate::work_order::record::Entry;
use crate::work_order::sources::quantity_of;
use crate::work_order::state::{CaptureLine, Fate, State};
use crate::work_order::study::Study;

/// A captured reading and what became of it.
#[derive(Debug, Clone, Serialize)]
pub struct CaptureView {
    /// The event.
    pub event: String,
    /// When.
    pub at: String,
    /// On what.
    pub instrument: String,
    /// What it showed; `hidden` for a reading of a study that is under way.
    pub text: String,
    /// How sure, k = 2.
    pub u_text: String,
    /// The same number for number, each with its name; none of a reading that is hidden.
    pub values: Vec<ValueView>,
    /// Where it went.
    pub filed: Vec<PlaceView>,
    /// What else it was: one of a reference or of a study, or taken back.
    pub note: Option<String>,
    /// Why it went nowhere.
    pub reason: Option<String>,
    /// Where it may go.
    pub choices: Vec<PlaceView>,
    /// Whether it was taken back.
    pub voided: bool,
}

/// One number of a reading.
#[derive(Debug, Clone, Serialize)]
pub struct ValueView {
    /// What it is: the characteristic that it was filed as, else the quantity.
    pub what: &'static str,
    /// The number for people.
    pub text: String,
    /// How sure, k = 2.
    pub u_text: String,
}

/// A place in a record.
#[derive(Debug, Clone, Serialize)]
pub struct PlaceView {
    /// The club.
    pub club: String,
    /// The characteristic.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// How the value was judged there; also of a club that is not the open one any more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<&'static str>,
    /// The stage it was filed at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<&'static str>,
}

pub(super) fn capture(state: &State, line: &CaptureLine) -> CaptureView {
    let place = |place: &Place, stage: Option<Stage>| PlaceView {
        club: place.club.clone(),
        characteristic: place.characteristic.name(),
        label: place.characteristic.label(),
        verdict: stage.and_then(|_| {
            let entries = &state.clubs.get(&place.club)?.entries;
            let is_it = |e: &&Entry| e.event == line.event && e.filed.characteristic == place.characteristic;
            entries.iter().rfind(is_it).map(|entry| entry.filed.verdict.name())
        }),
        stage: stage.map(Stage::name),
    };
    let (mut filed, mut note, mut reason, mut choices) = (Vec::new(), None, None, Vec::new());
    match &line.fate {
        Fate::Open => {}
        Fate::Filed(places) => {
            // In the order of the numbers in the text.
            let at = |p: &Place| {
                line.captured.measured.iter().position(|m| quantity_of(p.characteristic) == Some(m.quantity))
            };
            let mut places: Vec<_> = places.iter().collect();
            places.sort_by_key(|(p, _)| at(p));
            filed = places.into_iter().map(|(p, stage)| place(p, Some(*stage))).collect();
        }
        Fate::Unfiled { reason: why, choices: to } => {
            reason = Some(why.clone());
            choices = to.iter().map(|p| place(p, None)).collect();
        }
        Fate::Reference => note = Some("a reference, not a part".to_owned()),
        Fate::Part { part } => note = Some(format!("{part} in stock")),
        Fate::Study { study } => note = Some(format!("study {study}")),
        Fate::Voided { why } => note = Some(format!("taken back: {why}")),
    }
    // Nobody is to know what a part read before: a study that is under way hides its readings.
    let hidden = state.studies.of_reading(line.event).is_some_and(Study::is_under_way);
    let texts = |show: &dyn Fn(&Measured) -> String| {
        let shown = line.captured.measured.iter().map(show).collect::<Vec<_>>().join(" · ");
        if hidden { "hidden".to_owned() } else { shown }
    };
    let value = |m: &Measured| ValueView {
        what: value_name(m.quantity, &line.fate),
        text: text::quantity(m.quantity, m.value),
        u_text: text::uncertainty(m.quantity, m.u),
    };
    let values = if hidden { Vec::new() } else { line.captured.measured.iter().map(value).collect() };
    CaptureView {
        event: line.event.to_string(),
        at: rfc3339(line.at_us),
        instrument: line.captured.instrument.clone(),
        text: texts(&|m| text::quantity(m.quantity, m.value)),
        u_text: texts(&|m| text::uncertainty(m.quantity, m.u)),
        values,
        filed,
        note,
        reason,
        choices,
        voided: matches!(line.fate, Fate::Voided { .. }),
    }
}

/// What a number of a reading is called: as what it was filed, or as what it was measured.
fn value_name(quantity: Quantity, fate: &Fate) -> &'static str {
    let filed = match fate {
        Fate::Filed(places) => places.iter().find(|(place, _)| quantity_of(place.characteristic) == Some(quantity)),
        _ => None,
    };
    match (filed, quantity) {
        (Some((place, _)), _) => place.characteristic.name(),
        (None, Quantity::Balance) => Characteristic::BalancePoint.name(),
        (None, _) => quantity.name(),
    }
}
