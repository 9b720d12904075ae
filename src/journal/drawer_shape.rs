//! The stored shape of the drawers and of what is taken out of them, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::event::{Named, by_name};
use super::trust_shape::optional_name;
use crate::measurement::unit::{Grams, Millimetres};
use crate::work_order::drawer_stock::TakenPart;
use crate::work_order::drawers::{Drawers, Item, ItemKind, Position, WeightPlace};
use crate::work_order::order::{ClubKind, Models};
use crate::work_order::stated::Stated;
use crate::work_order::steps::Step;

#[derive(Serialize, Deserialize)]
#[serde(remote = "Models")]
pub(super) struct ModelsShape {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    head: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shaft: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    grip: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Drawers")]
pub(super) struct DrawersShape {
    #[serde(with = "places")]
    places: Vec<WeightPlace>,
    #[serde(with = "items")]
    items: Vec<Item>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "WeightPlace")]
struct WeightPlaceShape {
    name: String,
    label: String,
    #[serde(flatten, with = "PositionShape")]
    position: Position,
    #[serde(rename = "most_mass_g", with = "grams")]
    most_mass: Grams,
    most_pieces: u32,
    #[serde(with = "optional_name", default, skip_serializing_if = "Option::is_none")]
    closed_by: Option<Step>,
    #[serde(with = "names", default, skip_serializing_if = "Vec::is_empty")]
    clubs: Vec<ClubKind>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Position")]
enum PositionShape {
    #[serde(rename = "from_butt_mm")]
    FromButt(#[serde(with = "millimetres")] Millimetres),
    #[serde(rename = "before_end_mm")]
    BeforeEnd(#[serde(with = "millimetres")] Millimetres),
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Item")]
struct ItemShape {
    name: String,
    #[serde(rename = "item_kind", with = "by_name")]
    kind: ItemKind,
    mass_cg: u32,
    stock: u32,
    low: u32,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    places: Vec<String>,
    #[serde(with = "names", default, skip_serializing_if = "Vec::is_empty")]
    clubs: Vec<ClubKind>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    model: Option<String>,
    #[serde(rename = "length_mm", with = "optional_millimetres", default, skip_serializing_if = "Option::is_none")]
    length: Option<Millimetres>,
    #[serde(with = "StatedShape", default, skip_serializing_if = "Stated::is_empty")]
    stated: Stated,
}

/// Values with their standard uncertainties, `[value, u]`.
#[derive(Serialize, Deserialize)]
#[serde(remote = "Stated")]
struct StatedShape {
    #[serde(rename = "loft_deg", default, skip_serializing_if = "Option::is_none")]
    loft: Option<(f64, f64)>,
    #[serde(rename = "lie_deg", default, skip_serializing_if = "Option::is_none")]
    lie: Option<(f64, f64)>,
    #[serde(rename = "face_angle_deg", default, skip_serializing_if = "Option::is_none")]
    face_angle: Option<(f64, f64)>,
    #[serde(rename = "frequency_cpm", default, skip_serializing_if = "Option::is_none")]
    frequency: Option<(f64, f64)>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    raw_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    clamp_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tip_g: Option<f64>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "TakenPart")]
struct TakenPartShape {
    item: String,
    #[serde(rename = "item_kind", with = "by_name")]
    kind: ItemKind,
    pieces: u32,
    mass_g: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    place: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at_mm: Option<f64>,
    #[serde(with = "StatedShape", default, skip_serializing_if = "Stated::is_empty")]
    stated: Stated,
}

super::event::list_of!(places, WeightPlace, "WeightPlaceShape");
super::event::list_of!(items, Item, "ItemShape");
super::event::list_of!(taken_parts, TakenPart, "TakenPartShape");

/// A quantity as its number.
macro_rules! as_number {
    ($module:ident, $type:ident) => {
        mod $module {
            use super::$type;
            use serde::{Deserialize, Deserializer, Serializer};

            pub(super) fn serialize<S: Serializer>(value: &$type, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_f64(value.0)
            }

            pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<$type, D::Error> {
                f64::deserialize(deserializer).map($type)
            }
        }
    };
}
as_number!(grams, Grams);
as_number!(millimetres, Millimetres);

/// A length that may be absent, as its number.
mod optional_millimetres {
    use super::Millimetres;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &Option<Millimetres>, serializer: S) -> Result<S::Ok, S::Error> {
        value.map(|length| length.0).serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Millimetres>, D::Error> {
        Ok(Option::<f64>::deserialize(deserializer)?.map(Millimetres))
    }
}

/// A list of names of a closed list.
mod names {
    use super::{ClubKind, Named};
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(list: &[ClubKind], serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(list.iter().map(|kind| kind.text()))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<ClubKind>, D::Error> {
        let read = |name: String| {
            ClubKind::read(&name).ok_or_else(|| D::Error::custom(format!("\"{name}\" is not a kind of club")))
        };
        Vec::<String>::deserialize(deserializer)?.into_iter().map(read).collect()
    }
}
