//! The stored shape of numbered parts, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::event::{by_id, by_name, filed_values};
use super::trust_shape::optional_name;
use crate::work_order::event::{EventId, FiledValue};
use crate::work_order::part_stock::{Intake, MeasuredPart, PartFacts, PartKind, PartUse, Weighed};

#[derive(Serialize, Deserialize)]
#[serde(remote = "PartFacts")]
pub(super) struct PartFactsShape {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    drawer: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    model: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    clubs: Option<Vec<String>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    length_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    balance_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    frequency_cpm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    loft_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lie_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    gtin: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lot: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    serial: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Intake")]
pub(super) struct IntakeShape {
    intake: String,
    #[serde(rename = "part_kind", with = "by_name")]
    kind: PartKind,
    instrument: String,
    #[serde(with = "PartFactsShape")]
    facts: PartFacts,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "MeasuredPart")]
pub(super) struct MeasuredPartShape {
    intake: String,
    part: String,
    #[serde(with = "by_id")]
    reading: EventId,
    instrument: String,
    #[serde(with = "by_id")]
    calibration: EventId,
    #[serde(rename = "mass_g")]
    mass: (f64, f64),
    #[serde(rename = "balance_mm", default, skip_serializing_if = "Option::is_none")]
    balance: Option<(f64, f64)>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "PartUse")]
pub(super) struct PartUseShape {
    club: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    part: Option<String>,
    #[serde(rename = "part_kind", with = "optional_name", default, skip_serializing_if = "Option::is_none")]
    kind: Option<PartKind>,
    #[serde(with = "PartFactsShape")]
    facts: PartFacts,
    #[serde(with = "optional_weighed", default, skip_serializing_if = "Option::is_none")]
    weighed: Option<Weighed>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Weighed")]
struct WeighedShape {
    #[serde(with = "by_id")]
    reading: EventId,
    instrument: String,
    #[serde(with = "by_id")]
    calibration: EventId,
    at_us: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    by: Option<String>,
    #[serde(with = "filed_values")]
    values: Vec<FiledValue>,
}

super::trust_shape::optional!(optional_weighed, Weighed, "WeighedShape");
