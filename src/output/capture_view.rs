//! A captured reading as it is shown: what it was, where it went, or why it went nowhere.

use serde::Serialize;

use super::text;
use crate::journal::event::rfc3339;
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
    let texts = |show: &dyn Fn(&crate::measurement::reading::Measured) -> String| {
        let shown = line.captured.measured.iter().map(show).collect::<Vec<_>>().join(" · ");
        if hidden { "hidden".to_owned() } else { shown }
    };
    CaptureView {
        event: line.event.to_string(),
        at: rfc3339(line.at_us),
        instrument: line.captured.instrument.clone(),
        text: texts(&|m| text::quantity(m.quantity, m.value)),
        u_text: texts(&|m| text::uncertainty(m.quantity, m.u)),
        filed,
        note,
        reason,
        choices,
        voided: matches!(line.fate, Fate::Voided { .. }),
    }
}
