//! The stored shape of a work order, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::build_shape::BuildShape;
use super::details_shape::DetailsShape;
use super::drawer_shape::ModelsShape;
use super::event::by_name;
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Target;
use crate::work_order::build::Build;
use crate::work_order::details::Details;
use crate::work_order::order::{ClubKind, ClubSpec, Hand, Models, Order, TargetRow};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Order")]
pub(super) struct OrderShape {
    #[serde(rename = "order")]
    number: String,
    player: Option<String>,
    due: Option<String>,
    #[serde(with = "clubs")]
    clubs: Vec<ClubSpec>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "ClubSpec")]
struct ClubSpecShape {
    #[serde(rename = "club")]
    id: String,
    token: String,
    name: String,
    #[serde(rename = "club_kind", with = "by_name")]
    kind: ClubKind,
    #[serde(with = "by_name")]
    hand: Hand,
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
struct TargetRowShape {
    #[serde(with = "by_name")]
    characteristic: Characteristic,
    #[serde(flatten, with = "TargetShape")]
    target: Target,
    text: String,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Target")]
struct TargetShape {
    #[serde(rename = "target")]
    value: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
}

super::event::list_of!(clubs, ClubSpec, "ClubSpecShape");
super::event::list_of!(targets, TargetRow, "TargetRowShape");
