//! What is left in the drawers: the fold of what was counted, refilled, taken and put back. Never fails, never decides.

use std::collections::BTreeMap;

use super::drawers::{Drawers, Item, ItemKind};
use super::event::{Change, Event, EventId};
use super::stated::Stated;

/// Parts taken for a club, of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct TakenPart {
    /// The kind's name.
    pub item: String,
    /// What it is.
    pub kind: ItemKind,
    /// How many.
    pub pieces: u32,
    /// Mass of a piece, in grams.
    pub mass_g: f64,
    /// The place it went to, of weights and tapes.
    pub place: Option<String>,
    /// That place from the butt, in millimetres.
    pub at_mm: Option<f64>,
    /// What is stated of a head's angles or a shaft's frequency.
    pub stated: Stated,
}

impl TakenPart {
    /// Mass of all its pieces, in grams.
    #[must_use]
    pub fn grams(&self) -> f64 {
        f64::from(self.pieces) * self.mass_g
    }
}

/// What was taken for a club at once.
#[derive(Debug, Clone, PartialEq)]
pub struct Taking {
    /// The `parts_taken` event.
    pub event: EventId,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who was at the bench.
    pub by: Option<String>,
    /// What.
    pub parts: Vec<TakenPart>,
    /// Why it was taken back, if it was.
    pub returned: Option<String>,
    /// How many values the club had when it was taken: a later one was measured with these parts on.
    pub entries_before: usize,
}

/// The drawers and how many pieces are in them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DrawerStock {
    /// What there is.
    pub drawers: Drawers,
    counts: BTreeMap<String, u32>,
    /// Takings that count, with what goes back when they are taken back.
    taken: BTreeMap<EventId, (String, Vec<TakenPart>)>,
}

impl DrawerStock {
    /// Takes one event in.
    pub(super) fn apply(&mut self, event: &Event) {
        match &event.change {
            Change::DrawersSet(drawers) => self.set(drawers),
            Change::PartsTaken { club, parts } => {
                for part in parts {
                    let count = self.counts.entry(part.item.clone()).or_default();
                    *count = count.saturating_sub(part.pieces);
                }
                self.taken.insert(event.id, (club.clone(), parts.clone()));
            }
            Change::PartsReturned { taking, .. } => {
                for part in self.taken.remove(taking).map(|(_, parts)| parts).unwrap_or_default() {
                    let count = self.counts.entry(part.item).or_default();
                    *count = count.saturating_add(part.pieces);
                }
            }
            Change::StockCounted { item, pieces } => {
                self.counts.insert(item.clone(), *pieces);
            }
            Change::StockRefilled { item, pieces } => {
                let count = self.counts.entry(item.clone()).or_default();
                *count = count.saturating_add(*pieces);
            }
            _ => {}
        }
    }

    /// A number in the file counts when it is new there or changed; else the journal knows better.
    fn set(&mut self, drawers: &Drawers) {
        let mut counts = BTreeMap::new();
        for item in &drawers.items {
            let as_before = self.drawers.item(&item.name).is_some_and(|before| before.stock == item.stock);
            let count = self.counts.get(&item.name).filter(|_| as_before).copied().unwrap_or(item.stock);
            counts.insert(item.name.clone(), count);
        }
        self.counts = counts;
        self.drawers = drawers.clone();
    }

    /// How many pieces of each kind are left.
    pub fn counts(&self) -> impl Iterator<Item = (&str, u32)> {
        self.counts.iter().map(|(item, pieces)| (item.as_str(), *pieces))
    }

    /// Goes on from what was left at some event, whatever was folded before.
    pub fn resume(&mut self, counts: BTreeMap<String, u32>) {
        self.counts = counts;
    }

    /// Takings of clubs that were brought back can be put back again.
    pub(super) fn remember(&mut self, from: Self) {
        for (taking, parts) in from.taken {
            self.taken.entry(taking).or_insert(parts);
        }
    }

    /// Pieces of a kind that are left.
    #[must_use]
    pub fn left(&self, item: &str) -> u32 {
        self.counts.get(item).copied().unwrap_or(0)
    }

    /// Kinds whose stock is low, with what is left.
    pub fn low(&self) -> impl Iterator<Item = (&Item, u32)> {
        let left = |item: &Item| self.left(&item.name);
        self.drawers.items.iter().map(move |item| (item, left(item))).filter(|(item, left)| *left <= item.low)
    }

    /// The club of a taking that was not taken back.
    #[must_use]
    pub fn club_of(&self, taking: EventId) -> Option<&str> {
        self.taken.get(&taking).map(|(club, _)| club.as_str())
    }
}
