//! The build record of a club as it is published and exported, version 1.

use serde::Serialize;
use tokio::sync::mpsc;

use super::adhesive_view::{self, BondView, OverrideView};
use super::bend_view::{BendingView, bending};
use super::command::{Question, ask};
use super::cut_view::{CutView, cut_view};
use super::drawer_view::{self, ConsumptionView};
use super::landed_view::{LandedView, landed_views};
use super::part_view::{self, UsedPartView};
use super::rules_view::{RuleCheckView, rule_check};
use super::sheet::Subject;
use super::sleeve_view::{SleeveView, sleeve_view};
use super::text::{self, Lengths};
use super::trust_view::{self, BudgetView};
use super::work_view::{SuspectView, method, suspect_views};
use crate::journal::event::rfc3339;
use crate::journal::store::Reader;
use crate::work_order::cautions::cautions;
use crate::work_order::hand_over::HandOverOverride;
use crate::work_order::record::{
    Acknowledgement, ClubRecord, ClubState, Entry, Method, Outdated, Standing, StepRecord, StepTakenBack,
};
use crate::work_order::state::State;
use crate::work_order::steps::Step;

/// Version of the shape; a new one is added beside, never instead.
const VERSION: u32 = 1;
/// The published JSON Schema (draft 2020-12) of a record.
pub const SCHEMA: &str = include_str!("schema/build-record-1.json");

/// Asks the bench for the record of a club, by its id or token.
///
/// # Errors
/// In words, when there is none, it is elsewhere, or the bench is stopping.
pub async fn find(
    questions: &mpsc::Sender<Question>,
    journal: &Reader,
    lengths: Lengths,
    club: &str,
) -> Result<Record, String> {
    Ok(Record::of(&subject(questions, journal, club).await?, lengths))
}

/// The same with its order, for what is printed.
///
/// # Errors
/// As those of [`find`].
pub async fn subject(questions: &mpsc::Sender<Question>, journal: &Reader, club: &str) -> Result<Subject, String> {
    let asked = club.to_owned();
    let find = move |state: &State| {
        let by_id = state.clubs.get(&asked);
        let club = by_id.or_else(|| state.clubs.values().find(|record| record.spec.token == asked))?;
        Some((state.orders.get(&club.order)?.clone(), club.clone()))
    };
    let at_hand = ask(questions, find).await.ok_or("the bench is stopping; ask again when it runs")?;
    match at_hand {
        Some((order, club)) => {
            let chain = journal.hash_of(club.last_seq).await.ok().flatten().unwrap_or_default();
            Ok(Subject { order, club, chain })
        }
        // Not at hand: a finished club of an order that is not among the last ones.
        None => match journal.club(club).await {
            Ok(found) => found.ok_or_else(|| format!("there is no club {club} on this bench")),
            Err(error) => {
                tracing::warn!(%error, club, "the record cannot be looked up");
                Err(error.to_string())
            }
        },
    }
}

/// A club's record.
#[derive(Debug, Clone, Serialize)]
pub struct Record {
    /// Version of the shape.
    pub record_version: u32,
    /// The order.
    pub order: String,
    /// The shop's reference for the player, where the order names one. It stays with whoever may read records here: what goes out to
    /// a broker has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub player: Option<String>,
    /// The club.
    pub club: String,
    /// Its generated token.
    pub token: String,
    /// What people call it.
    pub name: String,
    /// What kind of club it is.
    pub kind: &'static str,
    /// For which hand.
    pub hand: &'static str,
    /// `waiting`, `in_work`, `aside` or `finished`.
    pub state: &'static str,
    /// When it was finished.
    pub finished_at: Option<String>,
    /// Values that count, and those taken back.
    pub entries: Vec<RecordEntry>,
    /// Values that newer ones of the same key took the place of.
    pub superseded: Vec<RecordEntry>,
    /// Readings that cannot all be right.
    pub suspects: Vec<SuspectView>,
    /// Steps done.
    pub steps: Vec<RecordStep>,
    /// Steps that a person had marked done and took back, in the order they were taken back: they are not done by that.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub steps_taken_back: Vec<RecordStepTakenBack>,
    /// Steps of the route that were skipped: not done, though a later one is.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<&'static str>,
    /// How it stands to the equipment rules.
    pub rule_check: RuleCheckView,
    /// Bends done, and those that are needed.
    pub bending: BendingView,
    /// What the positions of its sleeve change, and which is nearest to what it needs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sleeve: Option<SleeveView>,
    /// Where it landed beside its forecasts.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub landed: Vec<LandedView>,
    /// Where the shaft was cut, and how that was confirmed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cut: Option<CutView>,
    /// The club that this one repeats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub again_of: Option<String>,
    /// What its order changed since it was handed over, a sentence each; the record goes by what it was handed over with.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub order_changed_since: Vec<String>,
    /// What its order had changed when it, handed over before, came into work again: it goes by that now.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub judged_anew: Vec<String>,
    /// What was done to it.
    pub work: &'static str,
    /// The steps of the work, in order.
    pub route: Vec<&'static str>,
    /// How its head was bonded, where a batch was in force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub adhesive: Option<BondView>,
    /// How it was bonded before, oldest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub adhesive_before: Vec<BondView>,
    /// Decisions to hand it over although something was open, oldest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub hand_over_overrides: Vec<HandOverOverrideView>,
    /// Decisions to work on it again after it was finished, oldest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub taken_up: Vec<OverrideView>,
    /// Parts taken out of the drawers for it, also those put back.
    pub consumption: Vec<ConsumptionView>,
    /// Parts with a number or a maker's code that went into it, also those taken out again.
    pub parts: Vec<UsedPartView>,
    /// Hash of the last event of this club.
    pub chain: String,
}

/// A decision to hand a club over although something was open.
#[derive(Debug, Clone, Serialize)]
pub struct HandOverOverrideView {
    /// Who, why and when.
    #[serde(flatten)]
    pub decided: OverrideView,
    /// What was open, in words.
    pub open: Vec<String>,
}

impl HandOverOverrideView {
    /// A decision as it is shown.
    #[must_use]
    pub fn of(over: &HandOverOverride) -> Self {
        Self { decided: OverrideView::of(&over.decided), open: over.open.clone() }
    }

    /// The decision in one sentence.
    #[must_use]
    pub fn text(&self) -> String {
        format!(
            "handed over with {} open; {} answers for it: {}",
            self.open.join(", "),
            self.decided.name,
            self.decided.why
        )
    }
}

/// One value.
#[derive(Debug, Clone, Serialize)]
pub struct RecordEntry {
    /// What it is.
    pub characteristic: &'static str,
    /// How far the club was built.
    pub stage: &'static str,
    /// The value.
    pub value: f64,
    /// The value for people.
    pub text: String,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// Standard uncertainty.
    pub u: f64,
    /// Target at that moment.
    pub target: Option<f64>,
    /// Lower limit at that moment.
    pub lower: Option<f64>,
    /// Upper limit at that moment.
    pub upper: Option<f64>,
    /// Whether these limits are the usual ones, because the order writes none beside the target.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub limits_by_default: bool,
    /// Value less target.
    pub deviation: Option<f64>,
    /// The verdict.
    pub verdict: &'static str,
    /// The uncertainty straddles a limit.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub marginal: bool,
    /// The decision rule of the verdict.
    pub rule: String,
    /// What the uncertainty is made of, where it was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub budget: Option<BudgetView>,
    /// Where it was measured, or `typed`.
    pub instrument: String,
    /// `measured` or `typed`.
    pub method: &'static str,
    /// The `calibrated` event in force.
    pub calibration: Option<String>,
    /// Why the instrument was not to be trusted then, in words that follow its name, where it was not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trouble: Option<String>,
    /// When.
    pub captured_at: String,
    /// The `reading_captured` or `value_typed` event.
    pub event: String,
    /// Who was at the bench.
    pub by: Option<String>,
    /// Whether it was taken back.
    pub voided: bool,
    /// Why it says nothing of the club as it is now, though nobody took it back: `bent`, or `later_face` for a loft that was
    /// worked out with another face angle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outdated: Option<&'static str>,
    /// Why, where a person said so; without it the reading was filed at another place.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub void_reason: Option<String>,
}

/// A step that was marked done and taken back.
#[derive(Debug, Clone, Serialize)]
pub struct RecordStepTakenBack {
    /// The step as it was marked done.
    #[serde(flatten)]
    pub done: RecordStep,
    /// Why, when and by whom it was taken back.
    pub taken_back: TakenBackView,
}

/// Why, when and by whom something was taken back.
#[derive(Debug, Clone, Serialize)]
pub struct TakenBackView {
    /// Why, in a person's words.
    pub why: String,
    /// When.
    pub at: String,
    /// Who.
    pub by: Option<String>,
}

/// One step.
#[derive(Debug, Clone, Serialize)]
pub struct RecordStep {
    /// The step.
    pub step: &'static str,
    /// The `step_done` event.
    pub event: String,
    /// When.
    pub at: String,
    /// Who.
    pub by: Option<String>,
    /// The reading or typed value that proves it, where a measurement finished it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proof: Option<String>,
    /// What a measurement should have shown for it and did not, where a person said that it is done.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_measured: Vec<&'static str>,
    /// Whether that was taken back, and the step with it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub voided: bool,
    /// The batch of adhesive.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch: Option<String>,
    /// What can hurt at it, as it was shown.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<&'static str>,
    /// When that was acknowledged, and by whom.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub acknowledged: Option<AcknowledgedView>,
}

/// Cautions that a person has acknowledged.
#[derive(Debug, Clone, Serialize)]
pub struct AcknowledgedView {
    /// When.
    pub at: String,
    /// Who.
    pub by: Option<String>,
}

impl Record {
    /// The record of a club with what its order says of it.
    #[must_use]
    pub fn of(found: &Subject, lengths: Lengths) -> Self {
        Self { player: found.order.player.clone(), ..record(&found.club, found.chain.clone(), lengths) }
    }

    /// The same without whom it is for.
    #[must_use]
    pub fn for_broker(self) -> Self {
        Self { player: None, ..self }
    }
}

/// The record of a club alone; `chain` is the hash of its last event.
#[must_use]
pub fn record(club: &ClubRecord, chain: String, lengths: Lengths) -> Record {
    let entries = |standing: &dyn Fn(Standing) -> bool| {
        club.entries.iter().filter(|e| standing(e.standing)).map(|e| entry(club, e, lengths)).collect::<Vec<_>>()
    };
    Record {
        record_version: VERSION,
        order: club.order.clone(),
        player: None,
        club: club.spec.id.clone(),
        token: club.spec.token.clone(),
        name: club.spec.name.clone(),
        kind: club.spec.kind.name(),
        hand: club.spec.hand.name(),
        state: club.state.name(),
        finished_at: club.finished_at_us.filter(|_| club.state == ClubState::Finished).map(rfc3339),
        entries: entries(&|standing| standing != Standing::Superseded),
        superseded: entries(&|standing| standing == Standing::Superseded),
        suspects: suspect_views(club),
        steps: club.steps.iter().map(|done| step(club, done)).collect(),
        steps_taken_back: club.steps_taken_back.iter().map(|back| step_taken_back(club, back)).collect(),
        skipped: club.skipped().map(Step::name).collect(),
        rule_check: rule_check(club, lengths),
        bending: bending(club),
        sleeve: sleeve_view(club),
        landed: landed_views(club, lengths),
        cut: cut_view(club),
        again_of: club.spec.build.again_of.clone(),
        order_changed_since: club.changed_since(),
        judged_anew: club.judged_anew.clone(),
        work: club.spec.work.name(),
        route: club.spec.route().iter().map(|step| step.name()).collect(),
        adhesive: club.bond.as_ref().map(adhesive_view::bond_as_made),
        adhesive_before: club.earlier_bonds.iter().map(adhesive_view::bond_as_made).collect(),
        hand_over_overrides: club.hand_over_overrides.iter().map(HandOverOverrideView::of).collect(),
        taken_up: club.taken_up.iter().map(|again| OverrideView::of(&again.decided)).collect(),
        consumption: drawer_view::consumption(club),
        parts: part_view::used_parts(club),
        chain,
    }
}

fn step_taken_back(club: &ClubRecord, back: &StepTakenBack) -> RecordStepTakenBack {
    let taken_back = TakenBackView { why: back.why.clone(), at: rfc3339(back.at_us), by: back.by.clone() };
    RecordStepTakenBack { done: RecordStep { voided: true, ..step(club, &back.done) }, taken_back }
}

fn step(club: &ClubRecord, done: &StepRecord) -> RecordStep {
    // What was read before this step was done, and not for a step of the same kind before it that counts: what was read for one that
    // was taken back was read.
    let before = club.steps.iter().filter(|other| other.step == done.step && other.at_us < done.at_us);
    let since = before.map(|other| other.at_us).max();
    let is_read = |read: &&Acknowledgement| {
        read.step == done.step && read.at_us <= done.at_us && since.is_none_or(|since| read.at_us > since)
    };
    RecordStep {
        step: done.step.name(),
        event: done.event.to_string(),
        at: rfc3339(done.at_us),
        by: done.by.clone(),
        proof: done.proof.map(|event| event.to_string()),
        not_measured: done.not_measured.iter().map(|of| of.name()).collect(),
        voided: !club.stands(done),
        batch: done.batch.clone(),
        cautions: cautions(done.step, &club.spec).iter().map(|caution| caution.name()).collect(),
        acknowledged: club
            .acknowledged
            .iter()
            .rfind(is_read)
            .map(|read| AcknowledgedView { at: rfc3339(read.at_us), by: read.by.clone() }),
    }
}

fn entry(club: &ClubRecord, entry: &Entry, lengths: Lengths) -> RecordEntry {
    let filed = &entry.filed;
    let voided = entry.standing == Standing::Voided;
    let void = club.voids.iter().rev().find(|void| voided && void.event == entry.event);
    RecordEntry {
        characteristic: filed.characteristic.name(),
        stage: filed.stage.name(),
        value: filed.value,
        text: text::value(filed.characteristic, filed.value, lengths),
        unit: filed.characteristic.unit(),
        u: filed.u,
        target: filed.target,
        lower: filed.lower,
        upper: filed.upper,
        limits_by_default: club.spec.target(filed.characteristic).is_some_and(|row| {
            row.is_by_default() && (filed.lower, filed.upper) == (row.target.lower, row.target.upper)
        }),
        deviation: filed.deviation,
        verdict: filed.verdict.name(),
        marginal: filed.marginal,
        rule: filed.rule.text(),
        budget: entry.budget.as_ref().map(trust_view::budget),
        instrument: entry.method.name().to_owned(),
        method: method(entry),
        calibration: match &entry.method {
            Method::Measured { calibration, .. } => Some(calibration.to_string()),
            Method::Typed { .. } => None,
        },
        trouble: match &entry.method {
            Method::Measured { trouble, .. } => trouble.clone(),
            Method::Typed { .. } => None,
        },
        captured_at: rfc3339(entry.at_us),
        event: entry.event.to_string(),
        by: entry.by.clone(),
        voided,
        outdated: club.outdated(entry).map(|outdated| match outdated {
            Outdated::Bent => "bent",
            Outdated::LaterFace => "later_face",
        }),
        void_reason: void.map(|void| void.why.clone()),
    }
}
