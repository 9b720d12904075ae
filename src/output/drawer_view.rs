//! The drawers, proposals and what was taken for a club, as they are shown and published.

use serde::Serialize;

use super::text::{self, Lengths};
use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::work_order::drawer_stock::TakenPart;
use crate::work_order::drawers::Item;
use crate::work_order::effects::{Effect, unchanged};
use crate::work_order::proposals::Proposal;
use crate::work_order::record::ClubRecord;
use crate::work_order::state::State;

/// A kind of part and what is left of it.
#[derive(Debug, Clone, Serialize)]
pub struct StockView {
    /// Its name in commands.
    pub item: String,
    /// `weight`, `tape`, `grip`, `head` or `shaft`.
    pub kind: &'static str,
    /// Its model, if it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Mass of a piece.
    pub mass_g: f64,
    /// Pieces left.
    pub left: u32,
    /// At this number or fewer the stock is low.
    pub low_at: u32,
    /// Whether it is.
    pub is_low: bool,
    /// Places it fits.
    pub places: Vec<String>,
}

/// A part taken, or to be taken.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartView {
    /// Its name in the drawers.
    pub item: String,
    /// What it is.
    pub kind: &'static str,
    /// How many.
    pub pieces: u32,
    /// Mass of a piece.
    pub mass_g: f64,
    /// The place, of weights and tapes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// That place from the butt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_mm: Option<f64>,
}

/// What becomes of one characteristic.
#[derive(Debug, Clone, Serialize)]
pub struct EffectView {
    /// Which.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// The value afterwards, where the value before is known.
    pub value: Option<f64>,
    /// The value for people.
    pub text: Option<String>,
    /// Change.
    pub change: Option<f64>,
    /// Change for people.
    pub change_text: Option<String>,
}

/// Something that could be done.
#[derive(Debug, Clone, Serialize)]
pub struct ProposalView {
    /// Its name in the command `use_proposal`.
    pub proposal: String,
    /// `weights`, `grip`, `head`, `shaft` or `butt_trim`.
    pub way: &'static str,
    /// The words.
    pub text: String,
    /// Whether the swing weight is good afterwards.
    pub reaches: bool,
    /// Whether no better set of weights is in the drawers.
    pub proven: bool,
    /// What it takes; empty for a cut.
    pub parts: Vec<PartView>,
    /// What becomes of every characteristic that is modelled or changes.
    pub effects: Vec<EffectView>,
    /// What stays as it is.
    pub unchanged: Vec<&'static str>,
    /// What changes by an amount that nobody knows.
    pub unknown: Vec<&'static str>,
    /// What can hurt.
    pub cautions: Vec<&'static str>,
}

/// Parts taken for a club at once.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConsumptionView {
    /// The `parts_taken` event.
    pub event: String,
    /// When.
    pub at: String,
    /// Who was at the bench.
    pub by: Option<String>,
    /// What.
    pub parts: Vec<PartView>,
    /// Why they were put back, if they were.
    pub returned: Option<String>,
}

/// Everything in the drawers, in the order of the files.
#[must_use]
pub fn stock(state: &State) -> Vec<StockView> {
    let stock = &state.drawer_stock;
    stock.drawers.items.iter().map(|item| stock_line(item, stock.left(&item.name))).collect()
}

/// What is low.
#[must_use]
pub fn low_stock(state: &State) -> Vec<StockView> {
    state.drawer_stock.low().map(|(item, left)| stock_line(item, left)).collect()
}

fn stock_line(item: &Item, left: u32) -> StockView {
    StockView {
        item: item.name.clone(),
        kind: item.kind.name(),
        model: item.model.clone(),
        mass_g: item.mass().0,
        left,
        low_at: item.low,
        is_low: left <= item.low,
        places: item.places.clone(),
    }
}

/// A proposal.
#[must_use]
pub fn proposal(proposal: &Proposal, lengths: Lengths) -> ProposalView {
    let effect = |effect: &Effect| EffectView {
        characteristic: effect.characteristic.name(),
        label: effect.characteristic.label(),
        unit: effect.characteristic.unit(),
        value: effect.value,
        text: effect.value.map(|value| text::value(effect.characteristic, value, lengths)),
        change: effect.change,
        // A cut of a millimetre is none in sixteenths of an inch.
        change_text: effect.change.map(|change| text::deviation(effect.characteristic, change, Lengths::Millimetres)),
    };
    ProposalView {
        proposal: proposal.key.clone(),
        way: proposal.way.name(),
        text: proposal.text.clone(),
        reaches: proposal.reaches,
        proven: proposal.proven,
        parts: proposal.parts.iter().map(part).collect(),
        effects: proposal.effects.iter().map(effect).collect(),
        unchanged: unchanged(&proposal.effects).into_iter().map(Characteristic::name).collect(),
        unknown: proposal.effects.iter().filter(|e| e.change.is_none()).map(|e| e.characteristic.name()).collect(),
        cautions: proposal.cautions.clone(),
    }
}

/// What was taken for a club, oldest first.
#[must_use]
pub fn consumption(club: &ClubRecord) -> Vec<ConsumptionView> {
    let takings = club.takings.iter().map(|taking| ConsumptionView {
        event: taking.event.to_string(),
        at: rfc3339(taking.at_us),
        by: taking.by.clone(),
        parts: taking.parts.iter().map(part).collect(),
        returned: taking.returned.clone(),
    });
    takings.collect()
}

fn part(part: &TakenPart) -> PartView {
    PartView {
        item: part.item.clone(),
        kind: part.kind.name(),
        pieces: part.pieces,
        mass_g: part.mass_g,
        place: part.place.clone(),
        at_mm: part.at_mm,
    }
}
