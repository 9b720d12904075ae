//! Members of closed lists by their names, ids as text, and lists of mirrored types, for the stored shapes.

use crate::club::characteristic::Characteristic;
use crate::club::cut::CutMark;
use crate::club::fit::Taper;
use crate::measurement::check_weight::{InstrumentClass, WeightClass};
use crate::measurement::gauge::{Hand, LoftSense};
use crate::measurement::reading::{InstrumentKind, Quantity};
use crate::measurement::uncertainty::Source;
use crate::work_order::build::DryFitStop;
use crate::work_order::cautions::Caution;
use crate::work_order::checks::{CheckZone, Corrections, WhenOut};
use crate::work_order::details::Measure;
use crate::work_order::drawers::ItemKind;
use crate::work_order::event::EventId;
use crate::work_order::judging::Verdict;
use crate::work_order::order::{ClubKind, Priority, Stage, WorkKind};
use crate::work_order::part_stock::PartKind;
use crate::work_order::reference::Purpose;
use crate::work_order::rules::Subject;
use crate::work_order::steps::Step;

/// A closed list whose members have names.
pub(super) trait Named: Sized + Copy {
    fn text(self) -> &'static str;
    fn read(text: &str) -> Option<Self>;
}

macro_rules! named_by_parse {
    ($($type:ty),+) => {
        $(impl Named for $type {
            fn text(self) -> &'static str { self.name() }
            fn read(text: &str) -> Option<Self> { <$type>::parse(text) }
        })+
    };
}
named_by_parse!(
    Characteristic,
    Stage,
    Verdict,
    Caution,
    ClubKind,
    Hand,
    Priority,
    WorkKind,
    Step,
    Purpose,
    CheckZone,
    WhenOut,
    Corrections,
    WeightClass,
    InstrumentClass,
    Measure,
    Subject,
    CutMark,
    PartKind,
    Taper,
    DryFitStop,
    ItemKind
);

impl Named for Quantity {
    fn text(self) -> &'static str {
        self.name()
    }
    fn read(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|quantity| quantity.name() == text)
    }
}

impl Named for InstrumentKind {
    fn text(self) -> &'static str {
        self.name()
    }
    fn read(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == text)
    }
}

impl Named for Source {
    fn text(self) -> &'static str {
        self.name()
    }
    fn read(text: &str) -> Option<Self> {
        Self::parse(text)
    }
}

impl Named for LoftSense {
    fn text(self) -> &'static str {
        match self {
            Self::Vertical => "vertical",
            Self::ShaftPlane => "shaft_plane",
        }
    }
    fn read(text: &str) -> Option<Self> {
        [Self::Vertical, Self::ShaftPlane].into_iter().find(|sense| sense.text() == text)
    }
}

pub(super) mod by_name {
    use super::Named;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(crate) fn serialize<T: Named, S: Serializer>(value: &T, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(value.text())
    }

    pub(crate) fn deserialize<'de, T: Named, D: Deserializer<'de>>(deserializer: D) -> Result<T, D::Error> {
        let text = String::deserialize(deserializer)?;
        T::read(&text).ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a known name")))
    }
}

pub(super) mod by_id {
    use super::EventId;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(crate) fn serialize<S: Serializer>(value: &EventId, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(value)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<EventId, D::Error> {
        let text = String::deserialize(deserializer)?;
        EventId::parse(&text).ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a UUID")))
    }
}

pub(super) mod optional_id {
    use super::{EventId, by_id};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    #[derive(Serialize, Deserialize)]
    struct Id(#[serde(with = "by_id")] EventId);

    pub(crate) fn serialize<S: Serializer>(id: &Option<EventId>, serializer: S) -> Result<S::Ok, S::Error> {
        id.map(Id).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<EventId>, D::Error> {
        Ok(Option::<Id>::deserialize(deserializer)?.map(|id| id.0))
    }
}

/// A list of a mirrored type.
macro_rules! list_of {
    ($module:ident, $type:ty, $shape:literal) => {
        pub(super) mod $module {
            use super::*;
            use serde::{Deserializer, Serializer};

            #[derive(Serialize)]
            struct Borrowed<'a>(#[serde(with = $shape)] &'a $type);
            #[derive(Deserialize)]
            struct Owned(#[serde(with = $shape)] $type);

            pub(crate) fn serialize<S: Serializer>(list: &[$type], serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_seq(list.iter().map(Borrowed))
            }

            pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<$type>, D::Error> {
                Ok(Vec::<Owned>::deserialize(deserializer)?.into_iter().map(|owned| owned.0).collect())
            }
        }
    };
}
pub(super) use list_of;
