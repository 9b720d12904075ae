//! A moment of the bench as it is shown and published: instruments now, and the work beside them. Decides nothing.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::adhesive_view::TimerView;
use super::text::{self, Lengths};
use super::work_view::WorkView;
use crate::measurement::reading::{InstrumentKind, Measured, Quantity, Reading};
use crate::measurement::stamp::Stamp;
use crate::work_order::judging::{COVERAGE, DecisionRule, judge};
use crate::work_order::record::ClubRecord;
use crate::work_order::routing::{Routing, route};

/// A moment of the bench. Cheap to make: parts that did not change are shared.
#[derive(Debug, Clone, Default)]
pub struct Snapshot {
    /// Counts up with every snapshot.
    pub beat: u64,
    /// When it was made.
    pub stamp: Stamp,
    /// Sequence of the last stored event.
    pub seq: u64,
    /// Instruments, in the order of the configuration.
    pub instruments: Vec<Arc<InstrumentView>>,
    /// Order, club and captures.
    pub work: Arc<WorkView>,
    /// Things a person must know.
    pub banners: Arc<Vec<Banner>>,
    /// Working life and cures that run.
    pub timers: Arc<Vec<TimerView>>,
}

/// Something that is wrong, with the remedy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Banner {
    /// `warning` or `fault`.
    pub level: &'static str,
    /// What is wrong.
    pub text: String,
    /// What to do.
    pub remedy: String,
}

/// One instrument now.
#[derive(Debug, Clone, Serialize)]
pub struct InstrumentView {
    /// Name in topics and records.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// What it measures.
    pub kind: &'static str,
    /// Whether it sends.
    pub connected: bool,
    /// Why it does not.
    pub error: Option<String>,
    /// Its wire format.
    pub format: String,
    /// Runs of bytes that gave nothing.
    pub refused: u64,
    /// The same by the short name of the reason.
    pub refused_by_reason: BTreeMap<&'static str, u64>,
    /// Seconds of the session when the last good frame came.
    #[serde(skip)]
    pub heard_s: Option<f64>,
    /// Whether it sends on a key only, so that its silence says nothing.
    pub on_key: bool,
    /// `empty`, `settling`, `held`, `disturbed`, `unknown` or `lost`.
    pub phase: &'static str,
    /// 0 to 1 while settling.
    pub progress: Option<f64>,
    /// A state or request in words.
    pub message: Option<String>,
    /// What it shows.
    pub readings: Vec<ReadingView>,
    /// When its next check is due, if the bench checks at all (RFC 3339).
    pub calibration_due: Option<String>,
    /// The reference that should be laid on it now, in words.
    pub awaiting: Option<String>,
    /// What the stock intake on it waits for, in words.
    pub intake: Option<String>,
    /// What its gauge study waits for, in words.
    pub study: Option<String>,
    /// The moving level behind the readings.
    #[serde(flatten)]
    pub level: LevelView,
}

/// The level of an instrument's first channel, whatever it would be filed as.
#[derive(Debug, Clone, Default, Serialize)]
pub struct LevelView {
    /// The newest sample less the zero.
    pub level: Option<f64>,
    /// The unit of this and of what follows: `g` or `deg`.
    pub level_unit: &'static str,
    /// The tracked zero.
    pub zero: Option<f64>,
    /// The zero for people.
    pub zero_text: Option<String>,
    /// Standard deviation of the last second, while nothing moves.
    pub noise: Option<f64>,
    /// The noise for people.
    pub noise_text: Option<String>,
}

/// One value with what is known of its target.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ReadingView {
    /// What it is, where that is clear.
    pub characteristic: Option<&'static str>,
    /// Its words.
    pub label: Option<&'static str>,
    /// The stage it would be filed at.
    pub stage: Option<&'static str>,
    /// The value.
    pub value: f64,
    /// The value for people.
    pub text: String,
    /// Standard uncertainty, once captured.
    pub u: Option<f64>,
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
    /// Value less target.
    pub deviation: Option<f64>,
    /// Deviation for people.
    pub deviation_text: Option<String>,
    /// `within`, `under`, `over` or `no_target`.
    pub verdict: Option<&'static str>,
    /// The uncertainty straddles a limit.
    pub marginal: bool,
}

/// What an instrument shows, with target and verdict where it is clear what it is. `captured` holds the expanded uncertainties
/// of a reading that is captured; while it still moves there are none.
#[must_use]
pub fn live_readings(
    club: Option<&ClubRecord>,
    kind: InstrumentKind,
    reading: &Reading,
    captured: Option<&[(Quantity, f64)]>,
    lengths: Lengths,
    rule: DecisionRule,
) -> Vec<ReadingView> {
    if let (Some(club), Routing::File { values }) = (club, route(club, kind, reading)) {
        return values
            .iter()
            .map(|routed| {
                let characteristic = routed.characteristic;
                let row = club.spec.target(characteristic);
                let target = row.map(|row| row.target).unwrap_or_default();
                let Measured { quantity, value, u } = routed.measured;
                let expanded = captured.and_then(|all| all.iter().find(|(of, _)| *of == quantity));
                let judged = judge(rule, &target, value, expanded.map_or(COVERAGE * u, |(_, expanded)| *expanded));
                ReadingView {
                    characteristic: Some(characteristic.name()),
                    label: Some(characteristic.label()),
                    stage: Some(routed.stage.name()),
                    value: routed.measured.value,
                    text: text::value(characteristic, routed.measured.value, lengths),
                    u: captured.is_some().then_some(routed.measured.u),
                    unit: characteristic.unit(),
                    target: target.value,
                    lower: target.lower,
                    upper: target.upper,
                    target_text: row.map(|row| text::target(row, lengths)),
                    deviation: judged.deviation,
                    deviation_text: judged.deviation.map(|d| text::deviation(characteristic, d, lengths)),
                    verdict: Some(judged.verdict.name()),
                    marginal: captured.is_some() && judged.marginal,
                }
            })
            .collect();
    }
    reading
        .measured
        .iter()
        .map(|m| ReadingView {
            value: m.value,
            text: text::quantity(m.quantity, m.value),
            u: captured.is_some().then_some(m.u),
            unit: text::quantity_unit(m.quantity),
            ..ReadingView::default()
        })
        .collect()
}
