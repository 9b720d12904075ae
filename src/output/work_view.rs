//! Orders, the open club and the last captures as they are shown and published. Rebuilt when an event is stored.

use std::collections::VecDeque;

use serde::Serialize;

use super::adhesive_view::{BondView, bond, bond_as_made};
use super::bend_view::{self, BendingView, bending};
use super::capture_view::{CaptureView, capture};
use super::cut_view::{CutView, FitView, cut_view, fit_views};
use super::drawer_view::{self, ConsumptionView, ProposalView, StockView};
use super::forecast_view::{
    ForecastView, Moment12View, NotForecastView, SensitivityView, forecast_view, moment_view, not_forecast_view,
    sensitivity_views,
};
use super::rules_view::{RuleCheckView, rule_check};
use super::text::{self, Lengths};
use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::work_order::adhesive::{cure_left_us, words};
use crate::work_order::advice;
use crate::work_order::cautions::Caution;
use crate::work_order::crosscheck::{Suspect, suspects};
use crate::work_order::forecast::outlook;
use crate::work_order::hand_over;
use crate::work_order::judging::judge;
use crate::work_order::order::{Order, Stage};
use crate::work_order::record::{ClubRecord, Entry, Method};
use crate::work_order::state::State;

/// How many captured readings are shown.
const CAPTURES_SHOWN: usize = 12;
/// How many waiting orders are shown.
const QUEUE_SHOWN: usize = 20;

/// Order, club and captures now. Rebuilt when an event is stored, not with every sample.
#[derive(Debug, Clone, Default, Serialize)]
pub struct WorkView {
    /// Who is at the bench.
    pub operator: Option<String>,
    /// The open order.
    pub order: Option<OrderView>,
    /// Orders that wait.
    pub queue: Vec<QueueLine>,
    /// What comes next in the queue while no club is open, in words; nothing where all is finished.
    pub next_in_turn: Option<String>,
    /// The open club.
    pub club: Option<ClubView>,
    /// Parts of which few are left in the drawers.
    pub low_stock: Vec<StockView>,
    /// The last captures, newest first.
    pub captures: Vec<CaptureView>,
}

/// An order and how far it is.
#[derive(Debug, Clone, Serialize)]
pub struct OrderView {
    /// Its number.
    pub order: String,
    /// The shop's reference for the player.
    pub player: Option<String>,
    /// When it is promised for.
    pub due: Option<String>,
    /// How much it presses.
    pub priority: &'static str,
    /// Why it is put aside, if it is; may be empty.
    pub aside: Option<String>,
    /// Which version of it this is, from 1.
    pub revision: usize,
    /// Its clubs.
    pub clubs: Vec<ClubLine>,
}

/// A club and how far it is.
#[derive(Debug, Clone, Serialize)]
pub struct ClubLine {
    /// Its id.
    pub club: String,
    /// What people call it.
    pub name: String,
    /// Where it is.
    pub state: &'static str,
    /// Characteristics measured.
    pub done: usize,
    /// Characteristics the order asks for.
    pub of: usize,
}

/// An order that waits.
#[derive(Debug, Clone, Serialize)]
pub struct QueueLine {
    /// Its number.
    pub order: String,
    /// The shop's reference for the player.
    pub player: Option<String>,
    /// When it is promised for.
    pub due: Option<String>,
    /// How much it presses.
    pub priority: &'static str,
    /// Whether it is put aside.
    pub aside: bool,
    /// How many clubs.
    pub clubs: usize,
}

/// The open club.
#[derive(Debug, Clone, Serialize)]
pub struct ClubView {
    /// Its id.
    pub club: String,
    /// What people call it.
    pub name: String,
    /// For which hand.
    pub hand: &'static str,
    /// Where it is.
    pub state: &'static str,
    /// How far it is built.
    pub stage: &'static str,
    /// The step that comes next.
    pub next_step: Option<&'static str>,
    /// Its words.
    pub next_step_label: Option<&'static str>,
    /// What to do now.
    pub next: String,
    /// How to bring it to target.
    pub advice: Vec<String>,
    /// What would be open if it were handed over now: it is handed over only if somebody answers for that.
    pub open: Vec<String>,
    /// How long it still cures, while nothing that comes behind that is done to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cure_left: Option<String>,
    /// Grams to add at the head, where that is the advice.
    pub advice_head_g: Option<f64>,
    /// What could be done with what is in the drawers, the best first.
    pub proposals: Vec<ProposalView>,
    /// What was taken out of the drawers for it.
    pub consumption: Vec<ConsumptionView>,
    /// Where the finished club will land, while it is not measured yet.
    pub forecast: Vec<ForecastView>,
    /// Its swing weight about 12 in, of which the older scale has no letters.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast_12_in: Option<Moment12View>,
    /// What the forecast rests on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub forecast_basis: Vec<String>,
    /// What is neither measured nor forecast, each with what to do for it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_forecast: Vec<NotForecastView>,
    /// How the forecast swing weight depends on what it is made from, while the parts are all that is known.
    pub sensitivities: Vec<SensitivityView>,
    /// Readings that cannot all be right, with what to repeat.
    pub suspects: Vec<SuspectView>,
    /// What can hurt at the next step.
    pub cautions: Vec<&'static str>,
    /// The same in a few words each, in the same order.
    pub cautions_short: Vec<&'static str>,
    /// Bends done, and those that are needed.
    pub bending: BendingView,
    /// How it stands to the equipment rules so far.
    pub rule_check: RuleCheckView,
    /// Where the shaft is cut, if the order says enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cut: Option<CutView>,
    /// What fits and what does not, as far as the order has sizes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub fit: Vec<FitView>,
    /// Whether someone has acknowledged them.
    pub cautions_acknowledged: bool,
    /// What is done to the club.
    pub work: &'static str,
    /// The steps of the work.
    pub route: Vec<&'static str>,
    /// How its head is bonded, where a batch was in force.
    pub adhesive: Option<BondView>,
    /// Every characteristic asked for or measured.
    pub characteristics: Vec<CharacteristicView>,
}

/// Two readings that do not agree.
#[derive(Debug, Clone, Serialize)]
pub struct SuspectView {
    /// The reading to repeat first.
    pub event: String,
    /// What it does not agree with.
    pub partner: String,
    /// Why, and what to do.
    pub reason: String,
}

/// A characteristic of the open club.
#[derive(Debug, Clone, Serialize)]
pub struct CharacteristicView {
    /// What it is.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// The stage of the newest value, or the one it is expected at.
    pub stage: &'static str,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// Target.
    pub target: Option<f64>,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// Target and limits for people.
    pub target_text: Option<String>,
    /// The newest value.
    pub value: Option<f64>,
    /// The value for people.
    pub text: Option<String>,
    /// Its standard uncertainty.
    pub u: Option<f64>,
    /// Value less target.
    pub deviation: Option<f64>,
    /// Deviation for people.
    pub deviation_text: Option<String>,
    /// The verdict.
    pub verdict: Option<&'static str>,
    /// The uncertainty straddles a limit.
    pub marginal: bool,
    /// Where it was measured.
    pub instrument: Option<String>,
    /// `measured`, `printed` (sent on a key of the instrument) or `typed`.
    pub method: Option<&'static str>,
    /// When.
    pub captured_at: Option<String>,
    /// The event.
    pub event: Option<String>,
}

/// An order and how far its clubs are.
#[must_use]
pub fn order_view(state: &State, order: &Order) -> OrderView {
    let line = |record: &ClubRecord| ClubLine {
        club: record.spec.id.clone(),
        name: record.spec.name.clone(),
        state: record.state.name(),
        done: record.spec.targets.len() - record.missing().count(),
        of: record.spec.targets.len(),
    };
    OrderView {
        order: order.number.clone(),
        player: order.player.clone(),
        due: order.due.clone(),
        priority: order.priority.name(),
        aside: state.orders_aside.get(&order.number).cloned(),
        revision: state.revisions.get(&order.number).and_then(VecDeque::back).map_or(1, |last| last.number),
        clubs: order.clubs.iter().filter_map(|club| state.clubs.get(&club.id)).map(line).collect(),
    }
}

/// How long the open club still cures, in words. `steady_us` is wall time without steps of the clock.
#[must_use]
pub fn cure_left(state: &State, steady_us: i64) -> Option<String> {
    cure_left_us(state, state.club()?, steady_us).map(words)
}

/// Order, club and captures of a state. `steady_us` is wall time without steps of the clock.
#[must_use]
pub fn work(state: &State, lengths: Lengths, steady_us: i64) -> WorkView {
    WorkView {
        operator: state.operator.clone(),
        order: state.order().map(|order| order_view(state, order)),
        queue: state
            .queue()
            .into_iter()
            .take(QUEUE_SHOWN)
            .map(|order| QueueLine {
                order: order.number.clone(),
                player: order.player.clone(),
                due: order.due.clone(),
                priority: order.priority.name(),
                aside: state.orders_aside.contains_key(&order.number),
                clubs: order.clubs.len(),
            })
            .collect(),
        next_in_turn: state.next_in_turn(),
        // By the clock as it goes now.
        club: state.club().map(|record| {
            let adhesive = bond(state, record);
            ClubView { adhesive, ..club_on(state, record, lengths, cure_left(state, steady_us)) }
        }),
        low_stock: drawer_view::low_stock(state),
        captures: state.captures.iter().rev().take(CAPTURES_SHOWN).map(|line| capture(state, line)).collect(),
    }
}

/// A club as it stands by its order as it is now, and by its record alone: what is in the drawers is not looked at.
#[must_use]
pub fn club(record: &ClubRecord, lengths: Lengths) -> ClubView {
    club_on(&State::default(), record, lengths, None)
}

fn club_on(state: &State, record: &ClubRecord, lengths: Lengths, cure_left: Option<String>) -> ClubView {
    // Nothing that comes behind the cure is advised while it lasts.
    let cures = cure_left.is_some();
    let swing_advice = advice::swing_weight(record, &state.drawer_stock, &state.learning).filter(|_| !cures);
    let next_step = record.next_step();
    let suspects = suspect_views(record);
    let mut bending = bending(record);
    bending.advice.retain(|_| !cures);
    let mut cautions = advice::cautions(record);
    // Whoever is told to bend, or to ask before it, is told what can happen, whatever the next step is called; of a wood
    // whose sleeve is turned nothing is bent.
    let is_bent = bending.advice.iter().any(|advice| advice.quantity.is_some() || advice.warning.is_some());
    if is_bent && !cautions.contains(&Caution::Bending) {
        cautions.push(Caution::Bending);
    }
    let outlook = outlook(record, &state.learning);
    let characteristics = Characteristic::all()
        .filter(|c| record.spec.target(*c).is_some() || record.latest(*c).is_some())
        .map(|c| characteristic(record, c, lengths))
        .collect();
    ClubView {
        club: record.spec.id.clone(),
        name: record.spec.name.clone(),
        hand: record.spec.hand.name(),
        state: record.state.name(),
        stage: if record.is_assembled() { record.stage() } else { Stage::Part }.name(),
        next_step: next_step.map(|step| step.name()),
        next_step_label: next_step.map(|step| step.label()),
        next: match &cure_left {
            Some(left) => format!("let it cure: {left} left"),
            None => advice::next_action(record),
        },
        // What may be wrong comes before what to change: nobody should add weight to a leaning club.
        advice: suspects
            .iter()
            .map(|suspect| suspect.reason.clone())
            .chain(record.order_words())
            .chain(swing_advice.iter().map(|advice| advice.text.clone()))
            .chain(cure_left.iter().map(|left| format!("cures: {left} left")))
            .chain(bend_view::texts(record).into_iter().filter(|_| !cures))
            .collect(),
        open: hand_over::open(state, record, cure_left.as_deref()),
        cure_left,
        proposals: swing_advice
            .iter()
            .flat_map(|advice| &advice.proposals)
            .map(|proposal| drawer_view::proposal(proposal, lengths))
            .collect(),
        consumption: drawer_view::consumption(record),
        sensitivities: if outlook.moment12.is_none() { Vec::new() } else { sensitivity_views(record) },
        forecast: outlook.values.iter().map(|f| forecast_view(record, f, lengths)).collect(),
        forecast_12_in: outlook.moment12.map(moment_view),
        forecast_basis: outlook.basis,
        not_forecast: outlook.not_forecast.into_iter().map(not_forecast_view).collect(),
        suspects,
        advice_head_g: swing_advice.map(|advice| advice.head_g).filter(|grams| *grams > 0.0),
        cautions: cautions.iter().map(|caution| caution.words()).collect(),
        cautions_short: cautions.iter().map(|caution| caution.short()).collect(),
        cautions_acknowledged: next_step.is_some_and(|step| record.acknowledged.iter().any(|read| read.step == step)),
        work: record.spec.work.name(),
        route: record.spec.route().iter().map(|step| step.name()).collect(),
        adhesive: record.bond.as_ref().map(bond_as_made),
        bending,
        rule_check: rule_check(record, lengths),
        cut: cut_view(record),
        fit: fit_views(record),
        characteristics,
    }
}

/// Readings of a club that cannot all be right.
#[must_use]
pub fn suspect_views(record: &ClubRecord) -> Vec<SuspectView> {
    let view = |suspect: Suspect| SuspectView {
        event: suspect.reading.to_string(),
        partner: suspect.partner.to_string(),
        reason: suspect.reason,
    };
    suspects(record).into_iter().map(view).collect()
}

fn characteristic(record: &ClubRecord, characteristic: Characteristic, lengths: Lengths) -> CharacteristicView {
    let row = record.spec.target(characteristic);
    let target = row.map(|row| row.target).unwrap_or_default();
    let entry = record.standing(characteristic).or_else(|| record.latest(characteristic));
    let filed = entry.map(|entry| &entry.filed);
    // By the order as it is now: the record keeps the verdict of the moment, a builder works to the present target.
    let judged = filed.map(|filed| judge(filed.rule, &target, filed.value, filed.expanded()));
    CharacteristicView {
        characteristic: characteristic.name(),
        label: characteristic.label(),
        stage: filed.map_or(record.stage_for(characteristic), |filed| filed.stage).name(),
        unit: characteristic.unit(),
        target: target.value,
        lower: target.lower,
        upper: target.upper,
        target_text: row.map(|row| text::target(row, lengths)),
        value: filed.map(|filed| filed.value),
        text: filed.map(|filed| text::value(characteristic, filed.value, lengths)),
        u: filed.map(|filed| filed.u),
        deviation: judged.and_then(|judged| judged.deviation),
        deviation_text: judged.and_then(|judged| judged.deviation).map(|d| text::deviation(characteristic, d, lengths)),
        verdict: judged.map(|judged| judged.verdict.name()),
        marginal: judged.is_some_and(|judged| judged.marginal),
        instrument: entry.map(|entry| entry.method.name().to_owned()),
        method: entry.map(method),
        captured_at: entry.map(|entry| rfc3339(entry.at_us)),
        event: entry.map(|entry| entry.event.to_string()),
    }
}

/// `measured` or `typed`.
#[must_use]
pub fn method(entry: &Entry) -> &'static str {
    match entry.method {
        Method::Measured { on_key: true, .. } => "printed",
        Method::Measured { .. } => "measured",
        Method::Typed { .. } => "typed",
    }
}
