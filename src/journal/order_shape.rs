//! The stored shape of a work order.

use serde::{Deserialize, Serialize};

use super::build_shape::BuildShape;
use super::details_shape::DetailsShape;
use super::drawer_shape::ModelsShape;
use super::event::{Named, by_name, list_of};
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Target;
use crate::work_order::build::Build;
use crate::work_order::details::Details;
use crate::work_order::order::{ClubKind, ClubSpec, Hand, Models, Order, Priority, TargetRow, WorkKind};
use crate::work_order::steps::Step;

list_of!(clubs, ClubSpec, "ClubSpecShape");
list_of!(targets, TargetRow, "TargetRowShape");

/// What was not there in older journals is not written while it says nothing.
fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

/// A list of members of a closed list, by name.
pub(super) mod names {
    use super::Named;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(crate) fn serialize<T: Named, S: Serializer>(list: &[T], serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(list.iter().map(|value| value.text()))
    }

    pub(crate) fn deserialize<'de, T: Named, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<T>, D::Error> {
        let read =
            |text: &String| T::read(text).ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a known name")));
        Vec::<String>::deserialize(deserializer)?.iter().map(read).collect()
    }
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Order")]
pub(super) struct OrderShape {
    #[serde(rename = "order")]
    number: String,
    player: Option<String>,
    due: Option<String>,
    #[serde(with = "by_name", default, skip_serializing_if = "is_default")]
    priority: Priority,
    #[serde(with = "clubs")]
    clubs: Vec<ClubSpec>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "ClubSpec")]
pub(super) struct ClubSpecShape {
    #[serde(rename = "club")]
    id: String,
    token: String,
    name: String,
    #[serde(rename = "club_kind", with = "by_name")]
    kind: ClubKind,
    #[serde(with = "by_name")]
    hand: Hand,
    #[serde(with = "by_name", default, skip_serializing_if = "is_default")]
    work: WorkKind,
    #[serde(with = "names", default, skip_serializing_if = "Vec::is_empty")]
    route: Vec<Step>,
    #[serde(with = "targets")]
    targets: Vec<TargetRow>,
    #[serde(with = "DetailsShape", default, skip_serializing_if = "Details::is_empty")]
    details: Details,
    #[serde(with = "BuildShape", default, skip_serializing_if = "Build::is_silent")]
    build: Build,
    #[serde(with = "ModelsShape", default, skip_serializing_if = "Models::is_empty")]
    models: Models,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "TargetRow")]
pub(super) struct TargetRowShape {
    #[serde(with = "by_name")]
    characteristic: Characteristic,
    #[serde(flatten, with = "TargetShape")]
    target: Target,
    text: String,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Target")]
pub(super) struct TargetShape {
    #[serde(rename = "target")]
    value: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
}
