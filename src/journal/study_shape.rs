//! The stored shape of gauge studies and of checks of gauges, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::event::{by_id, by_name};
use super::trust_shape::{AnglesShape, optional_name};
use crate::club::characteristic::Characteristic;
use crate::measurement::reading::Quantity;
use crate::work_order::angle_check::{AngleCheck, AngleError};
use crate::work_order::checks::CheckZone;
use crate::work_order::event::EventId;
use crate::work_order::reference::Angles;
use crate::work_order::study::{StudySummary, StudyValue};
use crate::work_order::study_plan::{StudyPlan, StudyTolerance};

#[derive(Serialize, Deserialize)]
#[serde(remote = "StudyPlan")]
pub(super) struct StudyPlanShape {
    study: String,
    instrument: String,
    #[serde(with = "by_name")]
    quantity: Quantity,
    #[serde(with = "optional_name", default, skip_serializing_if = "Option::is_none")]
    characteristic: Option<Characteristic>,
    parts: u8,
    people: Vec<String>,
    trials: u8,
    #[serde(with = "optional_tolerance", default, skip_serializing_if = "Option::is_none")]
    tolerance: Option<StudyTolerance>,
    seed: u32,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "StudyTolerance")]
struct StudyToleranceShape {
    text: String,
    lower: Option<f64>,
    upper: Option<f64>,
}

super::trust_shape::optional!(optional_tolerance, StudyTolerance, "StudyToleranceShape");

#[derive(Serialize, Deserialize)]
#[serde(remote = "StudyValue")]
pub(super) struct StudyValueShape {
    study: String,
    part: u8,
    person: String,
    trial: u8,
    #[serde(with = "by_id")]
    reading: EventId,
    value: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "StudySummary")]
pub(super) struct StudySummaryShape {
    repeatability: f64,
    reproducibility: f64,
    measuring: f64,
    parts: f64,
    percent_of_total: Option<f64>,
    percent_of_tolerance: Option<f64>,
    categories: Option<u32>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "AngleCheck")]
pub(super) struct AngleCheckShape {
    instrument: String,
    #[serde(with = "by_id")]
    reading: EventId,
    #[serde(with = "AnglesShape")]
    angles: Angles,
    #[serde(with = "angle_errors")]
    errors: Vec<AngleError>,
    #[serde(with = "by_name")]
    zone: CheckZone,
    reason: String,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "AngleError")]
struct AngleErrorShape {
    #[serde(with = "by_name")]
    quantity: Quantity,
    reference_deg: f64,
    indication_deg: f64,
    error_deg: f64,
    u_deg: f64,
}

super::event::list_of!(angle_errors, AngleError, "AngleErrorShape");
