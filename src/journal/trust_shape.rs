//! The stored shape of checks, references and calibration reports, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::budget_shape::as_text;
use super::event::{by_id, by_name, measured_values};
use crate::measurement::adjustment::Finding;
use crate::measurement::check_weight::WeightClass;
use crate::measurement::gauge::Hand;
use crate::measurement::reading::Measured;
use crate::work_order::checks::{BalanceError, ChartLimits, Check, CheckZone, Corrections, Policy, WhenOut};
use crate::work_order::event::EventId;
use crate::work_order::judging::DecisionRule;
use crate::work_order::reference::{Angles, Reference, Weight};
use crate::work_order::trust::{Conditions, Placement, Report};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Policy")]
pub(super) struct PolicyShape {
    #[serde(with = "as_text")]
    rule: DecisionRule,
    check_every_s: Option<f64>,
    #[serde(with = "by_name")]
    when_out: WhenOut,
    #[serde(with = "by_name", default = "free", skip_serializing_if = "is_free")]
    corrections: Corrections,
}

fn free() -> Corrections {
    Corrections::Free
}

fn is_free(corrections: &Corrections) -> bool {
    *corrections == Corrections::Free
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Reference", tag = "of", rename_all = "snake_case")]
pub(super) enum ReferenceShape {
    Weight(#[serde(with = "WeightShape")] Weight),
    Angles(#[serde(with = "AnglesShape")] Angles),
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Weight")]
struct WeightShape {
    nominal_g: f64,
    error_g: f64,
    u_g: f64,
    #[serde(with = "optional_name", default, skip_serializing_if = "Option::is_none")]
    class: Option<WeightClass>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    certificate: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "is_zero")]
    u_at_mm: f64,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands out references")]
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Angles")]
pub(super) struct AnglesShape {
    lie_deg: f64,
    loft_deg: f64,
    /// Absent where it was laid in as a right-handed club, as all were before hands were told apart.
    #[serde(with = "by_name", default = "right", skip_serializing_if = "is_right")]
    hand: Hand,
    u_deg: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    certificate: Option<String>,
}

fn right() -> Hand {
    Hand::Right
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands out references")]
fn is_right(hand: &Hand) -> bool {
    *hand == Hand::Right
}

/// Before references were recorded a check was instrument, reference and error; the rest is optional for that reason.
#[derive(Serialize, Deserialize)]
#[serde(remote = "Check")]
pub(super) struct CheckShape {
    instrument: String,
    #[serde(with = "optional_id", default, skip_serializing_if = "Option::is_none")]
    reading: Option<EventId>,
    #[serde(with = "optional_weight", default, skip_serializing_if = "Option::is_none")]
    weight: Option<Weight>,
    reference_g: f64,
    #[serde(default)]
    indication_g: Option<f64>,
    error_g: f64,
    #[serde(default)]
    u_g: Option<f64>,
    #[serde(default)]
    limit_g: Option<f64>,
    #[serde(with = "optional_limits", default)]
    chart: Option<ChartLimits>,
    #[serde(default)]
    repeatability_g: Option<f64>,
    #[serde(default)]
    minimum_g: Option<f64>,
    #[serde(with = "by_name", default = "good")]
    zone: CheckZone,
    #[serde(default)]
    reason: String,
    #[serde(with = "optional_balance", default, skip_serializing_if = "Option::is_none")]
    balance: Option<BalanceError>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "BalanceError")]
struct BalanceErrorShape {
    reference_mm: f64,
    indication_mm: f64,
    error_mm: f64,
    u_mm: f64,
}

fn good() -> CheckZone {
    CheckZone::Good
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "ChartLimits")]
struct ChartLimitsShape {
    mean_g: f64,
    s_g: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Conditions")]
pub(super) struct ConditionsShape {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Placement")]
pub(super) struct PlacementShape {
    #[serde(with = "by_id")]
    reading: EventId,
    #[serde(with = "ReferenceShape")]
    reference: Reference,
    indication: [f64; 2],
    #[serde(default, skip_serializing_if = "Option::is_none")]
    zero: Option<[f64; 2]>,
    #[serde(with = "measured_values")]
    measured: Vec<Measured>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Finding")]
struct FindingShape {
    name: String,
    value: f64,
    u: Option<f64>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Report")]
struct ReportShape {
    #[serde(with = "placements")]
    as_found: Vec<Placement>,
    #[serde(with = "placements")]
    as_left: Vec<Placement>,
    #[serde(with = "findings")]
    findings: Vec<Finding>,
    #[serde(with = "ConditionsShape")]
    conditions: Conditions,
}

super::event::list_of!(findings, Finding, "FindingShape");
super::event::list_of!(placements, Placement, "PlacementShape");

/// Something mirrored that may be absent.
macro_rules! optional {
    ($module:ident, $type:ty, $shape:literal) => {
        pub(super) mod $module {
            use super::*;
            use serde::{Deserializer, Serializer};

            #[derive(Serialize)]
            struct Borrowed<'a>(#[serde(with = $shape)] &'a $type);
            #[derive(Deserialize)]
            struct Owned(#[serde(with = $shape)] $type);

            pub(crate) fn serialize<S: Serializer>(value: &Option<$type>, serializer: S) -> Result<S::Ok, S::Error> {
                value.as_ref().map(Borrowed).serialize(serializer)
            }

            pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<$type>, D::Error> {
                Ok(Option::<Owned>::deserialize(deserializer)?.map(|owned| owned.0))
            }
        }
    };
}
pub(super) use optional;
optional!(optional_id, EventId, "by_id");
optional!(optional_weight, Weight, "WeightShape");
optional!(optional_balance, BalanceError, "BalanceErrorShape");
optional!(optional_limits, ChartLimits, "ChartLimitsShape");

/// A report that may be absent.
pub(super) mod optional_report {
    use super::{Report, ReportShape};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    #[derive(Serialize)]
    struct Borrowed<'a>(#[serde(with = "ReportShape")] &'a Report);
    #[derive(Deserialize)]
    struct Owned(#[serde(with = "ReportShape")] Report);

    pub(crate) fn serialize<S: Serializer>(report: &Option<Box<Report>>, serializer: S) -> Result<S::Ok, S::Error> {
        report.as_deref().map(Borrowed).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Box<Report>>, D::Error> {
        Ok(Option::<Owned>::deserialize(deserializer)?.map(|owned| Box::new(owned.0)))
    }
}

/// A name that may be absent.
pub(super) mod optional_name {
    use super::super::event::Named;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(crate) fn serialize<T: Named, S: Serializer>(value: &Option<T>, serializer: S) -> Result<S::Ok, S::Error> {
        value.map(Named::text).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, T: Named, D: Deserializer<'de>>(deserializer: D) -> Result<Option<T>, D::Error> {
        let Some(text) = Option::<String>::deserialize(deserializer)? else { return Ok(None) };
        let found = T::read(&text).ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a known name")))?;
        Ok(Some(found))
    }
}
