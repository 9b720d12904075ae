//! The stored and published shape of an event, version 1: canonical JSON (RFC 8785).
//!
//! The types of `work_order` know nothing of JSON; serde's remote derives mirror them here, so a field that is
//! added there without a stored form does not compile.

use serde::{Deserialize, Serialize};

pub(super) use super::names::{Named, by_id, by_name, list_of, optional_id};

use super::adhesive_shape::{AdhesiveShape, BatchShape};
use super::budget_shape::{as_text, budgets, optional_inputs};
use super::build_shape::{MarkMeasuredShape, MarkOverriddenShape};
use super::calibration_shape::{CalibrationShape, optional_laid};
use super::details_shape::{BendLimitShape, RuleBookShape};
use super::drawer_shape::{DrawersShape, taken_parts};
use super::order_shape::{OrderShape, names};
use super::part_shape::{IntakeShape, MeasuredPartShape, PartFactsShape, PartUseShape};
use super::study_shape::{AngleCheckShape, StudyPlanShape, StudySummaryShape, StudyValueShape};
use super::trust_shape::{
    CheckShape, ConditionsShape, PlacementShape, PolicyShape, ReferenceShape, findings, optional_name, optional_report,
};
use crate::club::characteristic::Characteristic;
use crate::measurement::adjustment::Finding;
use crate::measurement::calibration::Calibration;
use crate::measurement::check_weight::InstrumentClass;
use crate::measurement::gauge::Laid;
use crate::measurement::reading::{InstrumentKind, Measured, Quantity};
use crate::measurement::uncertainty::Budget;
use crate::work_order::adhesive::{Adhesive, Batch};
use crate::work_order::angle_check::AngleCheck;
use crate::work_order::bending::BendLimit;
use crate::work_order::cautions::Caution;
use crate::work_order::checks::{Check, Policy};
use crate::work_order::drawer_stock::TakenPart;
use crate::work_order::drawers::Drawers;
use crate::work_order::event::{BudgetInputs, CapturedReading, Change, Event, EventId, FiledValue, Place};
use crate::work_order::judging::{DecisionRule, Verdict};
use crate::work_order::marks::{MarkMeasured, MarkOverridden};
use crate::work_order::order::{Order, Stage};
use crate::work_order::part_stock::{Intake, MeasuredPart, PartFacts, PartUse};
use crate::work_order::reference::{Purpose, Reference};
use crate::work_order::rules::RuleBook;
use crate::work_order::steps::Step;
use crate::work_order::study::{StudySummary, StudyValue};
use crate::work_order::study_plan::StudyPlan;
use crate::work_order::trust::{Conditions, Placement, Report};

/// Version of the stored shape. A new one is added beside, never instead.
const VERSION: u32 = 1;

/// Why a stored event cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum EventError {
    /// The JSON is not an event of a version we know.
    #[error("event is not readable as version {VERSION}")]
    Json(#[from] serde_json::Error),
    /// A field holds something that is not allowed there.
    #[error("event field \"{field}\" is \"{found}\", expected {expected}")]
    Field {
        /// Which field.
        field: &'static str,
        /// What stands there.
        found: String,
        /// What is allowed.
        expected: &'static str,
    },
}

#[derive(Serialize, Deserialize)]
struct StoredEvent {
    v: u32,
    bench: String,
    epoch: u64,
    seq: u64,
    id: String,
    at: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    by: Option<String>,
    #[serde(flatten, with = "ChangeShape")]
    change: Change,
}

/// The canonical bytes of an event, as text.
///
/// # Errors
/// Only if a number is not finite, which the measurement never lets through.
pub fn canonical(event: &Event, bench: &str) -> Result<String, EventError> {
    let stored = StoredEvent {
        v: VERSION,
        bench: bench.to_owned(),
        epoch: event.epoch,
        seq: event.seq,
        id: event.id.to_string(),
        at: rfc3339(event.at_us),
        by: event.by.clone(),
        change: event.change.clone(),
    };
    let value = serde_json::to_value(&stored)?;
    Ok(serde_json_canonicalizer::to_string(&value)?)
}

/// Reads an event back.
///
/// # Errors
/// Says what cannot be read.
pub fn parse(text: &str) -> Result<Event, EventError> {
    let stored: StoredEvent = serde_json::from_str(text)?;
    if stored.v != VERSION {
        return Err(EventError::Field { field: "v", found: stored.v.to_string(), expected: "1" });
    }
    let id =
        EventId::parse(&stored.id).ok_or(EventError::Field { field: "id", found: stored.id, expected: "a UUID" })?;
    let at_us = parse_rfc3339(&stored.at).ok_or(EventError::Field {
        field: "at",
        found: stored.at,
        expected: "an RFC 3339 time",
    })?;
    Ok(Event { epoch: stored.epoch, seq: stored.seq, id, at_us, by: stored.by, change: stored.change })
}

/// Microseconds since 1970 UTC as RFC 3339 in UTC.
#[must_use]
pub fn rfc3339(at_us: i64) -> String {
    jiff::Timestamp::from_microsecond(at_us).unwrap_or(jiff::Timestamp::UNIX_EPOCH).to_string()
}

/// RFC 3339 to microseconds since 1970 UTC.
#[must_use]
pub fn parse_rfc3339(text: &str) -> Option<i64> {
    text.parse::<jiff::Timestamp>().ok().map(jiff::Timestamp::as_microsecond)
}

list_of!(filed_values, FiledValue, "FiledValueShape");
list_of!(places, Place, "PlaceShape");
list_of!(bend_limits, BendLimit, "BendLimitShape");
list_of!(measured_values, Measured, "MeasuredShape");

#[derive(Serialize, Deserialize)]
#[serde(remote = "Measured")]
struct MeasuredShape {
    #[serde(with = "by_name")]
    quantity: Quantity,
    value: f64,
    u: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "FiledValue")]
struct FiledValueShape {
    #[serde(with = "by_name")]
    characteristic: Characteristic,
    #[serde(with = "by_name")]
    stage: Stage,
    value: f64,
    u: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    expanded_u: Option<f64>,
    target: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    deviation: Option<f64>,
    #[serde(with = "by_name")]
    verdict: Verdict,
    marginal: bool,
    #[serde(with = "as_text", default)]
    rule: DecisionRule,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Place")]
struct PlaceShape {
    club: String,
    #[serde(with = "by_name")]
    characteristic: Characteristic,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "CapturedReading")]
struct CapturedReadingShape {
    instrument: String,
    #[serde(rename = "instrument_kind", with = "by_name")]
    kind: InstrumentKind,
    #[serde(with = "measured_values")]
    measured: Vec<Measured>,
    levels: [f64; 2],
    zero: [f64; 2],
    u_levels: [f64; 2],
    window_s: [f64; 2],
    t_s: f64,
    printed: Option<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    on_key: bool,
    stable_flag: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    air_c: Option<f64>,
    #[serde(with = "optional_laid", default, skip_serializing_if = "Option::is_none")]
    laid: Option<Laid>,
    #[serde(with = "by_id")]
    calibration: EventId,
    evidence: String,
    #[serde(with = "optional_inputs", default, skip_serializing_if = "Option::is_none")]
    budget_inputs: Option<BudgetInputs>,
    #[serde(with = "budgets", default, skip_serializing_if = "Vec::is_empty")]
    budget: Vec<Budget>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Change", tag = "kind", rename_all = "snake_case")]
enum ChangeShape {
    SessionStarted {
        version: String,
        clock_synchronised: bool,
    },
    SessionEnded,
    JournalSalvaged {
        missing: Vec<(u64, u64)>,
        unproved: Vec<(u64, u64)>,
        end_known: bool,
    },
    SegmentRetired {
        file: String,
        sha256: String,
        first: u64,
        last: u64,
        last_hash: String,
        kept: u64,
        kept_hash: String,
        clubs: String,
    },
    OrderImported {
        #[serde(with = "OrderShape")]
        order: Order,
    },
    OrderRevised {
        #[serde(with = "OrderShape")]
        order: Order,
    },
    OrderOpened {
        order: String,
    },
    OrderPutAside {
        order: String,
        why: String,
    },
    OrderTakenUp {
        order: String,
    },
    ClubOpened {
        club: String,
    },
    ClubPutAside {
        club: String,
    },
    ReadingCaptured(#[serde(with = "CapturedReadingShape")] CapturedReading),
    ReadingFiled {
        #[serde(with = "by_id")]
        reading: EventId,
        club: String,
        instrument: String,
        #[serde(with = "by_id")]
        calibration: EventId,
        #[serde(with = "filed_values")]
        values: Vec<FiledValue>,
        by_hand: bool,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        trouble: Option<String>,
    },
    ReadingUnfiled {
        #[serde(with = "by_id")]
        reading: EventId,
        reason: String,
        #[serde(with = "places")]
        choices: Vec<Place>,
    },
    ReadingVoided {
        #[serde(with = "by_id")]
        reading: EventId,
        why: String,
    },
    ValueTyped {
        club: String,
        text: String,
        #[serde(with = "FiledValueShape")]
        value: FiledValue,
    },
    StepDone {
        club: String,
        #[serde(with = "by_name")]
        step: Step,
        #[serde(with = "optional_id", default, skip_serializing_if = "Option::is_none")]
        proof: Option<EventId>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        batch: Option<String>,
    },
    StepTakenBack {
        club: String,
        #[serde(with = "by_id")]
        done: EventId,
        why: String,
    },
    CautionsAcknowledged {
        club: String,
        #[serde(with = "by_name")]
        step: Step,
        #[serde(with = "names")]
        cautions: Vec<Caution>,
    },
    AdhesiveEntered {
        #[serde(with = "AdhesiveShape")]
        adhesive: Adhesive,
    },
    BatchMixed {
        #[serde(with = "BatchShape")]
        batch: Batch,
    },
    BatchDiscarded {
        batch: String,
    },
    CureOverridden {
        club: String,
        name: String,
        why: String,
    },
    HandOverOverridden {
        club: String,
        name: String,
        why: String,
        open: Vec<String>,
    },
    ClockStepped {
        by_us: i64,
    },
    BendDone {
        club: String,
        #[serde(with = "by_name")]
        characteristic: Characteristic,
        lever_deg: f64,
    },
    MarkMeasured(#[serde(with = "MarkMeasuredShape")] MarkMeasured),
    MarkOverridden(#[serde(with = "MarkOverriddenShape")] MarkOverridden),
    ClubFinished {
        club: String,
    },
    ClubTakenUp {
        club: String,
        name: String,
        why: String,
    },
    ClubReopened {
        club: String,
    },
    InstrumentFound {
        instrument: String,
        port: String,
        format: String,
    },
    InstrumentLost {
        instrument: String,
        reason: String,
    },
    Calibrated {
        instrument: String,
        format: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        format_text: Option<String>,
        format_settings: Vec<(String, String)>,
        channels: [String; 2],
        resolution: f64,
        rate_hz: f64,
        capacity_g: Option<f64>,
        #[serde(with = "CalibrationShape")]
        calibration: Calibration,
        source: String,
        #[serde(with = "optional_name", default, skip_serializing_if = "Option::is_none")]
        accuracy_class: Option<InstrumentClass>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        verification_interval_g: Option<f64>,
        #[serde(with = "optional_report", default, skip_serializing_if = "Option::is_none")]
        report: Option<Box<Report>>,
    },
    PolicySet(#[serde(with = "PolicyShape")] Policy),
    RulesSet(#[serde(with = "RuleBookShape")] RuleBook),
    BendLimitsSet {
        #[serde(with = "bend_limits")]
        limits: Vec<BendLimit>,
    },
    ReferenceExpected {
        instrument: String,
        #[serde(with = "by_name")]
        purpose: Purpose,
        #[serde(with = "ReferenceShape")]
        reference: Reference,
    },
    ReferenceWithdrawn {
        instrument: String,
    },
    Checked(#[serde(with = "CheckShape")] Check),
    CalibrationBegun {
        instrument: String,
        #[serde(with = "ConditionsShape")]
        conditions: Conditions,
    },
    ReferenceRead {
        instrument: String,
        #[serde(with = "by_name")]
        purpose: Purpose,
        #[serde(with = "PlacementShape")]
        placement: Placement,
    },
    CalibrationProposed {
        instrument: String,
        #[serde(with = "CalibrationShape")]
        calibration: Calibration,
        #[serde(with = "findings")]
        findings: Vec<Finding>,
    },
    CalibrationAbandoned {
        instrument: String,
    },
    AnglesChecked(#[serde(with = "AngleCheckShape")] AngleCheck),
    StudyBegun(#[serde(with = "StudyPlanShape")] StudyPlan),
    StudyRead(#[serde(with = "StudyValueShape")] StudyValue),
    StudySetAside {
        study: String,
    },
    StudyResumed {
        study: String,
    },
    StudyBrokenOff {
        study: String,
        why: String,
    },
    StudyFinished {
        study: String,
        #[serde(with = "StudySummaryShape")]
        summary: StudySummary,
    },
    OperatorChanged {
        operator: Option<String>,
    },
    DrawersSet(#[serde(with = "DrawersShape")] Drawers),
    PartsTaken {
        club: String,
        #[serde(with = "taken_parts")]
        parts: Vec<TakenPart>,
    },
    PartsReturned {
        club: String,
        #[serde(with = "by_id")]
        taking: EventId,
        why: String,
    },
    StockCounted {
        item: String,
        pieces: u32,
    },
    StockRefilled {
        item: String,
        pieces: u32,
    },
    IntakeBegun(#[serde(with = "IntakeShape")] Intake),
    IntakeEnded {
        intake: String,
    },
    PartMeasured(#[serde(with = "MeasuredPartShape")] MeasuredPart),
    PartDescribed {
        part: String,
        #[serde(with = "PartFactsShape")]
        facts: PartFacts,
    },
    PartUsed(#[serde(with = "PartUseShape")] PartUse),
    PartReleased {
        club: String,
        #[serde(with = "by_id")]
        used: EventId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        part: Option<String>,
        why: String,
    },
    PartWithdrawn {
        part: String,
        why: String,
    },
}
