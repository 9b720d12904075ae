//! The stored shape of a club's details, of equipment rules and of bending limits, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::event::{by_name, list_of};
use crate::measurement::unit::Degrees;
use crate::work_order::bending::BendLimit;
use crate::work_order::details::{Details, Given, Measure, SleeveSpec};
use crate::work_order::order::ClubKind;
use crate::work_order::rules::{Day, Rule, RuleBook, Subject};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Details")]
pub(super) struct DetailsShape {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    head_material: Option<String>,
    #[serde(with = "given_values", default, skip_serializing_if = "Vec::is_empty")]
    given: Vec<Given>,
    #[serde(with = "optional_sleeve", default, skip_serializing_if = "Option::is_none")]
    sleeve: Option<SleeveSpec>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Given")]
struct GivenShape {
    #[serde(with = "by_name")]
    measure: Measure,
    value: f64,
    text: String,
}

#[derive(Serialize, Deserialize)]
struct SleeveShape {
    tilt_deg: f64,
    clocks_deg: Vec<f64>,
    at_deg: Option<f64>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "RuleBook")]
pub(super) struct RuleBookShape {
    edition: String,
    source: String,
    #[serde(with = "rules")]
    rules: Vec<Rule>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Rule")]
struct RuleShape {
    name: String,
    #[serde(with = "by_name")]
    of: Subject,
    #[serde(with = "kinds")]
    clubs: Vec<ClubKind>,
    #[serde(with = "kinds", default, skip_serializing_if = "Vec::is_empty")]
    unclear: Vec<ClubKind>,
    at_least: Option<f64>,
    at_most: Option<f64>,
    #[serde(default)]
    tolerance: f64,
    #[serde(with = "optional_day", default, skip_serializing_if = "Option::is_none")]
    from: Option<Day>,
    #[serde(default)]
    local: bool,
    #[serde(default)]
    if_given: bool,
    source: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Day")]
struct DayShape {
    text: String,
    at_us: i64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "BendLimit")]
pub(super) struct BendLimitShape {
    material: String,
    loft_deg: f64,
    lie_deg: f64,
}

list_of!(given_values, Given, "GivenShape");
list_of!(rules, Rule, "RuleShape");

mod kinds {
    use super::ClubKind;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(crate) fn serialize<S: Serializer>(kinds: &[ClubKind], serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(kinds.iter().map(|kind| kind.name()))
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<ClubKind>, D::Error> {
        let names = Vec::<String>::deserialize(deserializer)?;
        let kind = |name: &String| {
            ClubKind::parse(name).ok_or_else(|| D::Error::custom(format!("\"{name}\" is no kind of club")))
        };
        names.iter().map(kind).collect()
    }
}

mod optional_day {
    use super::{Day, DayShape};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    #[derive(Serialize)]
    struct Borrowed<'a>(#[serde(with = "DayShape")] &'a Day);
    #[derive(Deserialize)]
    struct Owned(#[serde(with = "DayShape")] Day);

    pub(crate) fn serialize<S: Serializer>(day: &Option<Day>, serializer: S) -> Result<S::Ok, S::Error> {
        day.as_ref().map(Borrowed).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Day>, D::Error> {
        Ok(Option::<Owned>::deserialize(deserializer)?.map(|owned| owned.0))
    }
}

mod optional_sleeve {
    use super::{Degrees, SleeveShape, SleeveSpec};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(crate) fn serialize<S: Serializer>(sleeve: &Option<SleeveSpec>, serializer: S) -> Result<S::Ok, S::Error> {
        let shape = |sleeve: &SleeveSpec| SleeveShape {
            tilt_deg: sleeve.tilt.0,
            clocks_deg: sleeve.clocks.iter().map(|clock| clock.0).collect(),
            at_deg: sleeve.at.map(|at| at.0),
        };
        sleeve.as_ref().map(shape).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<SleeveSpec>, D::Error> {
        let shape = Option::<SleeveShape>::deserialize(deserializer)?;
        Ok(shape.map(|shape| SleeveSpec {
            tilt: Degrees(shape.tilt_deg),
            clocks: shape.clocks_deg.into_iter().map(Degrees).collect(),
            at: shape.at_deg.map(Degrees),
        }))
    }
}
