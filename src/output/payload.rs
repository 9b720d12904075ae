//! The shapes of the live topics, version 1: views go in, JSON bytes come out. Nothing is decided here.
//!
//! What is not known is `null`; what does not apply is left out.

use serde::Serialize;

use super::command::Answer;
use super::view::{InstrumentView, ReadingView};
use super::work_view::WorkView;

/// Content type of every payload.
pub const CONTENT_TYPE: &str = "application/json";

/// Whether the bench is there.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Status<'a> {
    /// Whether it is.
    pub online: bool,
    /// When this session of the bench started (RFC 3339 UTC); the same in the will, which cannot know when it is sent.
    pub since: &'a str,
    /// The session, another one after each start.
    pub session: &'a str,
    /// Version of the program.
    pub version: &'a str,
}

impl Status<'_> {
    /// The payload of `status`.
    #[must_use]
    pub fn payload(&self) -> Vec<u8> {
        bytes(self)
    }
}

#[derive(Serialize)]
struct Instrument<'a> {
    instrument: &'a str,
    name: &'a str,
    kind: &'a str,
    connected: bool,
    format: &'a str,
    error: Option<&'a str>,
    refused: u64,
    calibration_due: Option<&'a str>,
    /// To the nearest tenth, or the topic would be told anew with every breath of the zero.
    zero: Option<f64>,
}

/// The payload of `instrument/{id}`: how it is connected, not what it shows.
#[must_use]
pub fn instrument(view: &InstrumentView) -> Vec<u8> {
    bytes(&Instrument {
        instrument: &view.id,
        name: &view.name,
        kind: view.kind,
        connected: view.connected,
        format: &view.format,
        error: view.error.as_deref(),
        refused: view.refused,
        calibration_due: view.calibration_due.as_deref(),
        zero: view.level.zero.map(|zero| (zero * 10.0).round() / 10.0),
    })
}

#[derive(Serialize)]
struct Live<'a> {
    phase: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    progress: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    message: Option<&'a str>,
    readings: Vec<LiveReading<'a>>,
}

#[derive(Serialize)]
struct LiveReading<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    characteristic: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stage: Option<&'a str>,
    value: f64,
    text: &'a str,
    u: Option<f64>,
    unit: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    target: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lower: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    upper: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    deviation: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    verdict: Option<&'a str>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    marginal: bool,
}

/// What an instrument shows, without the time: two moments that show the same give the same bytes.
#[must_use]
pub fn live_content(view: &InstrumentView) -> Vec<u8> {
    bytes(&Live {
        phase: view.phase,
        progress: view.progress,
        message: view.message.as_deref(),
        readings: view.readings.iter().map(live_reading).collect(),
    })
}

/// The payload of `live/{id}`: [`live_content`] at `t_s` seconds of the session.
#[must_use]
pub fn live(content: &[u8], t_s: f64) -> Vec<u8> {
    let mut payload = format!("{{\"t\":{t_s:.3},").into_bytes();
    payload.extend_from_slice(content.get(1..).unwrap_or_default());
    payload
}

fn live_reading(view: &ReadingView) -> LiveReading<'_> {
    LiveReading {
        characteristic: view.characteristic,
        stage: view.stage,
        value: view.value,
        text: &view.text,
        u: view.u,
        unit: view.unit,
        target: view.target,
        lower: view.lower,
        upper: view.upper,
        deviation: view.deviation,
        verdict: view.verdict,
        marginal: view.marginal,
    }
}

/// The payload of `order`; its `order` is null when none is open.
#[must_use]
pub fn order(work: &WorkView) -> Vec<u8> {
    work.order.as_ref().map_or_else(|| bytes(&serde_json::json!({"order": null})), bytes)
}

/// The payload of `club`; its `club` is null when none is open.
#[must_use]
pub fn club(work: &WorkView) -> Vec<u8> {
    work.club.as_ref().map_or_else(|| bytes(&serde_json::json!({"club": null})), bytes)
}

/// The payload of `event`: the stored canonical JSON with its place in the chain. Taking `chain` out again gives
/// the bytes that the chain was taken over. `None` if the stored text is no JSON object.
#[must_use]
pub fn event(body: &str, chain: &str) -> Option<Vec<u8>> {
    let open = body.strip_suffix('}').filter(|open| open.len() > 1)?;
    Some(format!("{open},\"chain\":\"{chain}\"}}").into_bytes())
}

/// That a command was carried out, with what is to be said of it.
#[must_use]
pub fn done(said: &[String]) -> serde_json::Value {
    if said.is_empty() { serde_json::json!({"ok": true}) } else { serde_json::json!({"ok": true, "said": said}) }
}

/// The answer to a command.
#[must_use]
pub fn answer(result: &Answer) -> Vec<u8> {
    match result {
        Ok(said) => bytes(&done(said)),
        Err(reason) => bytes(&serde_json::json!({"error": reason})),
    }
}

fn bytes(value: &impl Serialize) -> Vec<u8> {
    serde_json::to_vec(value).expect("names are text and numbers that are not finite become null, so it cannot fail")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::view::LevelView;
    use serde_json::{Value, json};

    fn parsed(bytes: &[u8]) -> Value {
        serde_json::from_slice(bytes).unwrap()
    }

    fn scale() -> InstrumentView {
        InstrumentView {
            intake: None,
            id: "scale".into(),
            name: "Parts scale".into(),
            kind: "scale",
            connected: true,
            error: None,
            format: "plain-value-unit".into(),
            refused: 2,
            refused_by_reason: [("cut", 2)].into(),
            heard_s: Some(1.0),
            on_key: false,
            phase: "settling",
            progress: Some(0.5),
            message: None,
            readings: vec![ReadingView { value: 203.5, text: "203.5 g".into(), unit: "g", ..ReadingView::default() }],
            calibration_due: None,
            awaiting: None,
            study: None,
            level: LevelView::default(),
        }
    }

    #[test]
    fn live_says_what_is_known_and_leaves_out_what_does_not_apply() {
        let sent = parsed(&live(&live_content(&scale()), 12.345_6));
        assert_eq!(
            sent,
            json!({"t": 12.346, "phase": "settling", "progress": 0.5,
                   "readings": [{"value": 203.5, "text": "203.5 g", "u": null, "unit": "g"}]})
        );
    }

    #[test]
    fn an_instrument_names_every_field_of_the_contract() {
        let level = LevelView { zero: Some(-1.26), ..LevelView::default() };
        let sent = parsed(&instrument(&InstrumentView { level, ..scale() }));
        assert_eq!(sent["zero"], -1.3);
        for key in ["connected", "format", "error", "calibration_due", "zero"] {
            assert!(sent.get(key).is_some(), "{key}");
        }
    }

    #[test]
    fn no_open_order_and_no_open_club_are_null() {
        let nothing = WorkView::default();
        assert_eq!(
            (parsed(&order(&nothing)), parsed(&club(&nothing))),
            (json!({"order": null}), json!({"club": null}))
        );
    }

    #[test]
    fn an_event_keeps_its_stored_bytes_and_gains_its_chain() {
        assert_eq!(event(r#"{"a":1}"#, "ff").unwrap(), br#"{"a":1,"chain":"ff"}"#);
        assert_eq!((event("", "ff"), event("{}", "ff"), event("{\"a\":", "ff")), (None, None, None));
    }
}
