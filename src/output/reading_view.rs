//! One captured reading with its evidence, found in the journal: samples, raw frames, and what is damaged of them.

use serde::Serialize;

use super::text;
use super::trust_view::{self, BudgetView};
use crate::journal::chain::sha256;
use crate::journal::damage::Unreadable;
use crate::journal::event::rfc3339;
use crate::journal::evidence::decode;
use crate::journal::store::Reader;
use crate::measurement::evidence::Evidence;
use crate::work_order::event::{CapturedReading, Change, EventId};

/// A captured reading.
#[derive(Debug, Clone, Serialize)]
pub struct ReadingDetail {
    /// The `reading_captured` event.
    pub event: String,
    /// Its place in the journal.
    pub seq: u64,
    /// Its hash.
    pub chain: String,
    /// When.
    pub at: String,
    /// Who was at the bench.
    pub by: Option<String>,
    /// On what.
    pub instrument: String,
    /// What that is.
    pub kind: &'static str,
    /// What it showed.
    pub measured: Vec<MeasuredView>,
    /// The number of the last frame, as the instrument sent it.
    pub printed: Option<String>,
    /// The instrument's own stable flag.
    pub stable_flag: Option<bool>,
    /// Whether the instrument was told to send it, by a key or by itself at rest.
    pub on_key: bool,
    /// Temperature of the air, °C, where a thermometer tells it.
    pub air_c: Option<f64>,
    /// The `calibrated` event in force.
    pub calibration: String,
    /// SHA-256 of the stored evidence.
    pub evidence: String,
    /// Start and end of the window of the mean, in seconds of the session.
    pub window_s: [f64; 2],
    /// When the capture was decided, in seconds of the session.
    pub t_s: f64,
    /// Zero subtracted.
    pub zero: [f64; 2],
    /// Settled levels less the zero.
    pub levels: [f64; 2],
    /// What is wrong with what is stored; empty when all is well.
    pub damage: Vec<String>,
    /// The raw frames, oldest first.
    pub frames: Vec<FrameView>,
    /// `[seconds of the session, first channel, second channel]`, oldest first.
    pub samples: Vec<[f64; 3]>,
}

/// One measured quantity.
#[derive(Debug, Clone, Serialize)]
pub struct MeasuredView {
    /// What it is.
    pub quantity: &'static str,
    /// The value.
    pub value: f64,
    /// The value for people.
    pub text: String,
    /// Standard uncertainty.
    pub u: f64,
    /// Expanded uncertainty for people, k = 2.
    pub u_text: String,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// What the uncertainty is made of.
    pub budget: Option<BudgetView>,
}

/// One frame as it came from the wire.
#[derive(Debug, Clone, Serialize)]
pub struct FrameView {
    /// When its last byte came, in seconds of the session.
    pub t_s: f64,
    /// The same from the start of the window of the mean.
    pub from_window_s: f64,
    /// Whether it is in that window.
    pub in_window: bool,
    /// Its bytes as text; what cannot be printed as an escape, such as `\r` or `\xb0`.
    pub text: String,
    /// Its bytes in hexadecimal.
    pub hex: String,
}

/// What stands under an id.
#[derive(Debug)]
pub enum Found {
    /// A captured reading, with its evidence as far as it can be read.
    Reading(Box<(ReadingDetail, Evidence)>),
    /// An event of another kind.
    Other(&'static str),
    /// An event that cannot be read.
    Damaged(String),
    /// Nothing.
    Nothing,
}

/// Looks a reading up.
pub async fn find(journal: &Reader, id: EventId) -> Found {
    let found = match journal.find(id).await {
        Ok(Some(found)) => found,
        Ok(None) => return Found::Nothing,
        Err(error) => return Found::Damaged(error.to_string()),
    };
    let event = match found.row.event() {
        Ok(event) => event,
        Err(error) => return Found::Damaged(Unreadable::words(&error)),
    };
    let Change::ReadingCaptured(captured) = &event.change else { return Found::Other(event.change.kind()) };
    let mut damage = Vec::new();
    if !found.chained {
        damage.push("the event was changed after it was stored: its hash does not fit the chain".to_owned());
    }
    let evidence = match stored(journal, &captured.evidence).await {
        Ok((evidence, fault)) => {
            damage.extend(fault.map(str::to_owned));
            evidence
        }
        Err(fault) => {
            damage.push(fault);
            Evidence::default()
        }
    };
    let mut detail = detail(captured, &evidence);
    detail.event = event.id.to_string();
    detail.seq = event.seq;
    detail.chain = found.row.hash;
    detail.at = rfc3339(event.at_us);
    detail.by = event.by;
    detail.damage = damage;
    Found::Reading(Box::new((detail, evidence)))
}

/// The evidence with this hash, and what is wrong with it where it can be read all the same.
async fn stored(journal: &Reader, hash: &str) -> Result<(Evidence, Option<&'static str>), String> {
    let bytes = journal.evidence(hash).await.map_err(|error| Unreadable::words(&error))?;
    let bytes = bytes.ok_or("the raw bytes of this reading are missing")?;
    let changed = sha256(&bytes) != hash;
    match decode(&bytes) {
        Some(evidence) if changed => Ok((
            evidence,
            Some(
                "the raw bytes of this reading were changed after they were stored: what is shown is not what came from the wire",
            ),
        )),
        Some(evidence) => Ok((evidence, None)),
        None => {
            Err("the raw bytes of this reading were changed after they were stored and cannot be read any more"
                .to_owned())
        }
    }
}

/// What a captured reading says of itself; its place in the journal is filled in by whoever knows it.
#[must_use]
pub fn detail(captured: &CapturedReading, evidence: &Evidence) -> ReadingDetail {
    let [start_s, end_s] = captured.window_s;
    let measured = captured.measured.iter().map(|m| MeasuredView {
        quantity: m.quantity.name(),
        value: m.value,
        text: text::quantity(m.quantity, m.value),
        u: m.u,
        u_text: text::uncertainty(m.quantity, m.u),
        unit: text::quantity_unit(m.quantity),
        budget: captured.budget.iter().find(|budget| budget.quantity == m.quantity).map(trust_view::budget),
    });
    let frames = evidence.frames.iter().map(|frame| FrameView {
        t_s: frame.t_s,
        from_window_s: frame.t_s - start_s,
        in_window: (start_s..=end_s).contains(&frame.t_s),
        text: readable(&frame.bytes),
        hex: frame.bytes.iter().map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().join(" "),
    });
    ReadingDetail {
        event: String::new(),
        seq: 0,
        chain: String::new(),
        at: String::new(),
        by: None,
        instrument: captured.instrument.clone(),
        kind: captured.kind.name(),
        measured: measured.collect(),
        printed: captured.printed.clone(),
        stable_flag: captured.stable_flag,
        on_key: captured.on_key,
        air_c: captured.air_c,
        calibration: captured.calibration.to_string(),
        evidence: captured.evidence.clone(),
        window_s: captured.window_s,
        t_s: captured.t_s,
        zero: captured.zero,
        levels: captured.levels,
        damage: Vec::new(),
        frames: frames.collect(),
        samples: evidence.samples.iter().map(|s| [s.t_s, s.values[0], s.values[1]]).collect(),
    }
}

/// Bytes as text a person can read; a backslash of the wire's own is doubled, so that nothing is ambiguous.
fn readable(bytes: &[u8]) -> String {
    bytes.iter().flat_map(|byte| byte.escape_ascii()).map(char::from).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_that_cannot_be_printed_are_escaped() {
        assert_eq!(readable(b"ST,+0203.10 g\t\\\r\n\xb0\x02"), r"ST,+0203.10 g\t\\\r\n\xb0\x02");
    }
}
