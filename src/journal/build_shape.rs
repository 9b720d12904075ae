//! The stored shape of how a club is to be made and of its cut marks, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::event::by_name;
use super::trust_shape::{optional, optional_id, optional_name};
use crate::club::cut::{CutMark, CutPlan, GroundLine, Span};
use crate::club::fit::{FitSizes, Taper};
use crate::measurement::unit::Degrees;
use crate::work_order::build::{Build, DryFitStop};
use crate::work_order::event::EventId;
use crate::work_order::marks::{MarkMeasured, MarkOverridden};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Span")]
pub(super) struct SpanShape {
    mm: f64,
    u_mm: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Degrees")]
struct DegreesShape(f64);

#[derive(Serialize, Deserialize)]
#[serde(remote = "GroundLine")]
struct GroundLineShape {
    #[serde(with = "SpanShape")]
    distance: Span,
    #[serde(rename = "at_deg", with = "DegreesShape")]
    at: Degrees,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    sole_contact: Option<Span>,
    sole_radius_mm: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "CutPlan")]
struct CutPlanShape {
    #[serde(with = "SpanShape")]
    raw_length: Span,
    #[serde(with = "SpanShape")]
    tip_trim: Span,
    #[serde(with = "SpanShape")]
    bore_depth: Span,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    insertion: Option<Span>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    sleeve_floor: Option<Span>,
    #[serde(with = "GroundLineShape")]
    ground_line: GroundLine,
    #[serde(with = "SpanShape")]
    grip_cap: Span,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    ferrule: Option<Span>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "FitSizes")]
struct FitSizesShape {
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    tip: Option<Span>,
    #[serde(with = "optional_name", default, skip_serializing_if = "Option::is_none")]
    tip_runs: Option<Taper>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    parallel_section: Option<Span>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    bore: Option<Span>,
    #[serde(with = "optional_name", default, skip_serializing_if = "Option::is_none")]
    bore_runs: Option<Taper>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    shim: Option<Span>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    butt: Option<Span>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    core: Option<Span>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    grip_size: Option<Span>,
    wraps: u8,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    wrap: Option<Span>,
    #[serde(with = "optional_span", default, skip_serializing_if = "Option::is_none")]
    final_size: Option<Span>,
    rib: bool,
    #[serde(rename = "sleeve_turn_deg", with = "optional_degrees", default, skip_serializing_if = "Option::is_none")]
    sleeve_turn: Option<Degrees>,
    #[serde(rename = "sleeve_tilt_deg", with = "optional_degrees", default, skip_serializing_if = "Option::is_none")]
    sleeve_tilt: Option<Degrees>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Build")]
pub(super) struct BuildShape {
    #[serde(with = "optional_cut", default, skip_serializing_if = "Option::is_none")]
    cut: Option<CutPlan>,
    #[serde(with = "optional_fit", default, skip_serializing_if = "Option::is_none")]
    fit: Option<FitSizes>,
    #[serde(with = "by_name")]
    dry_fit_stop: DryFitStop,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    again_of: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "MarkMeasured")]
pub(super) struct MarkMeasuredShape {
    club: String,
    #[serde(with = "by_name")]
    mark: CutMark,
    text: String,
    #[serde(with = "SpanShape")]
    measured: Span,
    #[serde(with = "SpanShape")]
    expected: Span,
    #[serde(with = "optional_id", default, skip_serializing_if = "Option::is_none")]
    reading: Option<EventId>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "MarkOverridden")]
pub(super) struct MarkOverriddenShape {
    club: String,
    #[serde(with = "by_name")]
    mark: CutMark,
    name: String,
    why: String,
    #[serde(with = "SpanShape")]
    expected: Span,
}

optional!(optional_span, Span, "SpanShape");
optional!(optional_degrees, Degrees, "DegreesShape");
optional!(optional_cut, CutPlan, "CutPlanShape");
optional!(optional_fit, FitSizes, "FitSizesShape");
