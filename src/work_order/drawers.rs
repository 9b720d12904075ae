//! What lies in the drawers: weights, tapes, grips, heads and shafts in stock, and the places on a club that take weight.
//!
//! Plain values; reading them from a file is `config`'s work, how many are left is [`super::drawer_stock`]'s.

use super::order::{ClubKind, ClubSpec};
use super::record::ClubRecord;
use super::stated::Stated;
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::measurement::unit::{Grams, Millimetres};

super::order::named!(
    /// What a part is.
    ItemKind {
        /// A weight: a screw, a plug, a strip.
        Weight = "weight",
        /// Tape by the piece.
        Tape = "tape",
        /// A grip.
        Grip = "grip",
        /// A head.
        Head = "head",
        /// A shaft.
        Shaft = "shaft",
    }
);

impl ItemKind {
    /// What a part that is weighed alone is.
    #[must_use]
    pub fn weighed_as(characteristic: Characteristic) -> Option<Self> {
        match characteristic {
            Characteristic::HeadMass => Some(Self::Head),
            Characteristic::ShaftMass => Some(Self::Shaft),
            Characteristic::GripMass => Some(Self::Grip),
            _ => None,
        }
    }

    /// The step from which on another one does not go on a club any more; `None` for what a place decides.
    #[must_use]
    pub fn closed_by(self) -> Option<Step> {
        match self {
            Self::Head | Self::Shaft => Some(Step::Bond),
            Self::Grip => Some(Step::Grip),
            Self::Weight | Self::Tape => None,
        }
    }
}

/// Where a place is on the club.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Position {
    /// From the butt.
    FromButt(Millimetres),
    /// Before the end of the club's length.
    BeforeEnd(Millimetres),
}

/// A place on a club that takes weight.
#[derive(Debug, Clone, PartialEq)]
pub struct WeightPlace {
    /// Its name in commands and records.
    pub name: String,
    /// What people call it, as in "at the head".
    pub label: String,
    /// Where it is.
    pub position: Position,
    /// Most mass it takes.
    pub most_mass: Grams,
    /// Most pieces it takes.
    pub most_pieces: u32,
    /// The step that closes it; none: it stays open.
    pub closed_by: Option<Step>,
    /// Kinds of club that have it; empty: all.
    pub clubs: Vec<ClubKind>,
}

/// A kind of part in the drawers.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Its name in commands and records.
    pub name: String,
    /// What it is.
    pub kind: ItemKind,
    /// Mass of a piece, in whole hundredths of a gram.
    pub mass_cg: u32,
    /// Pieces that lay there when the file was written.
    pub stock: u32,
    /// At this number or fewer the stock is called low.
    pub low: u32,
    /// Places it fits, by name; for weights and tapes.
    pub places: Vec<String>,
    /// Kinds of club it fits; empty: all.
    pub clubs: Vec<ClubKind>,
    /// Its model, as orders name it.
    pub model: Option<String>,
    /// Length before trimming, of a shaft.
    pub length: Option<Millimetres>,
    /// What is stated of a head's angles or a shaft's frequency.
    pub stated: Stated,
}

/// Everything in the drawers.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Drawers {
    /// Places that take weight.
    pub places: Vec<WeightPlace>,
    /// Kinds of part.
    pub items: Vec<Item>,
}

impl WeightPlace {
    /// From the butt, on a club of this length.
    #[must_use]
    pub fn from_butt(&self, length: Millimetres) -> Millimetres {
        match self.position {
            Position::FromButt(at) => at,
            Position::BeforeEnd(before) => length - before,
        }
    }

    /// Whether this club has it and it can still be reached.
    #[must_use]
    pub fn is_open(&self, club: &ClubRecord) -> bool {
        let closed = self.closed_by.is_some_and(|step| club.steps.iter().any(|done| done.step >= step));
        !closed && fits(&self.clubs, &club.spec)
    }
}

impl Item {
    /// Mass of a piece.
    #[must_use]
    pub fn mass(&self) -> Grams {
        Grams(f64::from(self.mass_cg) / 100.0)
    }

    /// Whether it may go on this club.
    #[must_use]
    pub fn fits(&self, spec: &ClubSpec) -> bool {
        fits(&self.clubs, spec)
    }
}

fn fits(clubs: &[ClubKind], spec: &ClubSpec) -> bool {
    clubs.is_empty() || clubs.contains(&spec.kind)
}

impl Drawers {
    /// A kind of part by its name.
    #[must_use]
    pub fn item(&self, name: &str) -> Option<&Item> {
        self.items.iter().find(|item| item.name == name)
    }

    /// A place by its name.
    #[must_use]
    pub fn place(&self, name: &str) -> Option<&WeightPlace> {
        self.places.iter().find(|place| place.name == name)
    }
}
