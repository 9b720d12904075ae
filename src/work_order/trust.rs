//! Checks and calibrations of the instruments: references that are expected, placements taken as references, the
//! adjustment that follows. Pure: commands and captured readings come in, changes or a refusal in words leave.

use std::collections::{BTreeMap, HashMap};

use super::adjusting::{adjusted, far_off, zeros};
use super::angle_check::judge_angles;
use super::as_left::AsLeft;
use super::check_verdict::{Circumstances, Shown, judge_check};
use super::checks::{Calibrated, Chart, Policy, WhenOut};
use super::desk::{Refusal, refused};
use super::event::{CapturedReading, Change, Event, EventId};
use super::reference::{Purpose, Reference};
use super::state::State;
use crate::measurement::adjustment::Finding;
use crate::measurement::calibration::Calibration;
use crate::measurement::check_weight::Accuracy;
use crate::measurement::distribution::combined;
use crate::measurement::reading::{InstrumentKind, Measured, Quantity};
use crate::measurement::settling::Capture;
use crate::measurement::uncertainty::{Budget, Source};

/// A reference that was announced and not laid down within this time is forgotten, in microseconds.
const PATIENCE_US: i64 = 15 * 60 * 1_000_000;
/// A check weight below this part of the capacity tells little (USP 41: 5 % to 100 %).
const SMALLEST_PART: f64 = 0.05;

/// Something about the trust in an instrument that a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum TrustCommand {
    /// The next placement is this check weight.
    Check(Reference),
    /// No, it is not.
    CheckCancel,
    /// A calibration begins: as-found readings come first.
    Begin(Conditions),
    /// The next placement is this reference, as found before the adjustment and as left after it.
    Point(Reference),
    /// Work out the adjustment from the as-found placements.
    Adjust(Adjust),
    /// Bring the adjustment into force.
    Finish,
    /// Give the calibration up; nothing changes.
    Cancel,
}

/// How to adjust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adjust {
    /// 1 for a straight line, 2 for a quadratic; scales only.
    pub degree: usize,
    /// Work out the places of the supports, too; beams only.
    pub supports: bool,
    /// Standard uncertainty of the places along the beam, in millimetres, common to all of them; where nobody states it here, the
    /// largest that was stated with a placement.
    pub u_at_mm: Option<f64>,
    /// A person says that the instrument really is as far off as it reads.
    pub far_off: bool,
}

/// Under which conditions a calibration is made.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Conditions {
    /// Temperature in °C, where somebody read it.
    pub temperature_c: Option<f64>,
    /// Anything else, in words.
    pub note: Option<String>,
}

/// One reference that was laid down.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// The `reading_captured` event, with its raw bytes.
    pub reading: EventId,
    /// What lay there.
    pub reference: Reference,
    /// Net indication as the instrument sends it: grams, counts of both cells, degrees of lie and loft.
    pub indication: [f64; 2],
    /// What it showed empty before it, in the same unit; `None` of what takes no zero off, and in journals older than 0.4.
    pub zero: Option<[f64; 2]>,
    /// What it means: as found by the calibration in force, as left by the new one.
    pub measured: Vec<Measured>,
}

/// What a calibration rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Before the adjustment.
    pub as_found: Vec<Placement>,
    /// After it.
    pub as_left: Vec<Placement>,
    /// What the adjustment found.
    pub findings: Vec<Finding>,
    /// Under which conditions.
    pub conditions: Conditions,
}

/// A calibration under way.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrating {
    /// What is known so far.
    pub report: Report,
    /// The adjustment, once worked out.
    pub proposal: Option<Calibration>,
}

/// A reference that should be laid down next.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// What for.
    pub purpose: Purpose,
    /// Which.
    pub reference: Reference,
    /// Since when, in microseconds since 1970 UTC.
    pub since_us: i64,
}

/// All that is known of the trust in the instruments.
#[derive(Debug, Clone, Default)]
pub struct Trust {
    /// Control charts by instrument.
    pub charts: BTreeMap<String, Chart>,
    /// References that should come next, by instrument.
    pub expected: HashMap<String, Expected>,
    /// Calibrations under way, by instrument.
    pub calibrating: HashMap<String, Calibrating>,
    /// The last calibration of each instrument that came from the configuration.
    pub configured: HashMap<String, Change>,
}

/// Source of a calibration that the configuration brought.
pub const FROM_CONFIGURATION: &str = "configuration";
/// Source of a calibration that was made at the bench.
pub const FROM_ADJUSTMENT: &str = "adjustment";

impl Trust {
    /// Takes one event in.
    pub fn apply(&mut self, event: &Event) {
        match &event.change {
            Change::Calibrated {
                instrument,
                source,
                report,
                calibration,
                resolution,
                accuracy_class,
                verification_interval_g,
                ..
            } => {
                let how = match report {
                    None => Calibrated::Configured,
                    Some(report) => {
                        let class = Accuracy::of_plate(*accuracy_class, *verification_interval_g, *resolution);
                        let judged = AsLeft { calibration, resolution: *resolution, class };
                        judged.trouble(&report.as_left).map_or(Calibrated::WithReferences, Calibrated::LeftOut)
                    }
                };
                self.charts.entry(instrument.clone()).or_default().calibrated(event.at_us, how);
                self.calibrating.remove(instrument);
                self.expected.remove(instrument);
                if source == FROM_CONFIGURATION {
                    self.configured.insert(instrument.clone(), event.change.clone());
                }
            }
            Change::Checked(check) => {
                self.charts.entry(check.instrument.clone()).or_default().take(check, event.at_us);
                self.expected.remove(&check.instrument);
            }
            Change::AnglesChecked(check) => {
                self.charts.entry(check.instrument.clone()).or_default().take_angles(check, event.at_us);
                self.expected.remove(&check.instrument);
            }
            Change::ReferenceExpected { instrument, purpose, reference } => {
                let expected = Expected { purpose: *purpose, reference: reference.clone(), since_us: event.at_us };
                self.expected.insert(instrument.clone(), expected);
            }
            Change::ReferenceWithdrawn { instrument } => {
                self.expected.remove(instrument);
            }
            Change::CalibrationBegun { instrument, conditions } => {
                let (as_found, as_left, findings) = (Vec::new(), Vec::new(), Vec::new());
                let report = Report { as_found, as_left, findings, conditions: conditions.clone() };
                self.calibrating.insert(instrument.clone(), Calibrating { report, proposal: None });
            }
            Change::ReferenceRead { instrument, purpose, placement } => {
                self.expected.remove(instrument);
                if let Some(calibrating) = self.calibrating.get_mut(instrument) {
                    let report = &mut calibrating.report;
                    let list = if *purpose == Purpose::AsLeft { &mut report.as_left } else { &mut report.as_found };
                    list.push(placement.clone());
                }
            }
            Change::CalibrationProposed { instrument, calibration, findings } => {
                if let Some(calibrating) = self.calibrating.get_mut(instrument) {
                    calibrating.proposal = Some(calibration.clone());
                    calibrating.report.findings.clone_from(findings);
                    calibrating.report.as_left.clear();
                }
            }
            Change::CalibrationAbandoned { instrument } => {
                self.calibrating.remove(instrument);
                self.expected.remove(instrument);
            }
            _ => {}
        }
    }

    /// The reference that should be laid on an instrument now.
    #[must_use]
    pub fn awaited(&self, instrument: &str, at_us: i64) -> Option<&Expected> {
        self.expected.get(instrument).filter(|expected| at_us.saturating_sub(expected.since_us) <= PATIENCE_US)
    }

    /// Why an instrument is not to be trusted now, in words that follow its name.
    #[must_use]
    pub fn trouble(&self, policy: &Policy, instrument: &str, at_us: i64) -> Option<String> {
        self.charts.get(instrument)?.trouble(policy, at_us)
    }
}

/// The calibration in force, with what a check must know of the instrument.
struct InForce<'a> {
    calibration: &'a Calibration,
    resolution: f64,
    capacity_g: Option<f64>,
    class: Option<Accuracy>,
}

fn in_force<'a>(state: &'a State, instrument: &str) -> Option<InForce<'a>> {
    match &state.calibrations.get(instrument)?.change {
        Change::Calibrated { calibration, resolution, capacity_g, accuracy_class, verification_interval_g, .. } => {
            let class = Accuracy::of_plate(*accuracy_class, *verification_interval_g, *resolution);
            Some(InForce { calibration, resolution: *resolution, capacity_g: *capacity_g, class })
        }
        _ => None,
    }
}

/// What a command leads to.
///
/// # Errors
/// Says why it cannot be done and what would do.
pub fn answer(state: &State, instrument: &str, command: &TrustCommand) -> Result<Vec<Change>, Refusal> {
    let Some(of) = in_force(state, instrument) else {
        let known: Vec<&str> = state.calibrations.keys().map(String::as_str).collect();
        return refused(format!(
            "there is no instrument {instrument} with a calibration; there are: {}",
            known.join(", ")
        ));
    };
    let name = instrument.to_owned();
    let under_way = state.trust.calibrating.get(instrument);
    match (command, under_way) {
        (TrustCommand::Check(reference), _) => {
            suits(&of, instrument, Purpose::Check, reference)?;
            if under_way.is_some() {
                return refused(format!("{instrument} is being calibrated: finish or cancel that first"));
            }
            Ok(vec![Change::ReferenceExpected {
                instrument: name,
                purpose: Purpose::Check,
                reference: reference.clone(),
            }])
        }
        (TrustCommand::CheckCancel, _) => Ok(vec![Change::ReferenceWithdrawn { instrument: name }]),
        (TrustCommand::Begin(_), _) if state.operator.is_none() => refused(format!(
            "nobody is at the bench, and a calibration of {instrument} says who made it: scan a badge or say who you are first (calibrate --by)"
        )),
        (TrustCommand::Begin(conditions), _) => {
            Ok(vec![Change::CalibrationBegun { instrument: name, conditions: conditions.clone() }])
        }
        (_, None) => refused(format!("no calibration of {instrument} is under way: begin one first")),
        (TrustCommand::Point(reference), Some(calibrating)) => {
            let purpose = if calibrating.proposal.is_some() { Purpose::AsLeft } else { Purpose::AsFound };
            suits(&of, instrument, purpose, reference)?;
            if let (Some(Calibration::Gauge(gauge)), Reference::Angles(block)) = (&calibrating.proposal, reference)
                && gauge.datum(block.hand).is_none()
            {
                return refused(format!(
                    "{instrument} was adjusted without the block as a {}-handed club: cancel and begin anew with both hands, or lay it in as the other one",
                    block.hand.name()
                ));
            }
            Ok(vec![Change::ReferenceExpected { instrument: name, purpose, reference: reference.clone() }])
        }
        (TrustCommand::Adjust(how), Some(calibrating)) => {
            if calibrating.report.as_found.is_empty() {
                return refused(format!(
                    "{instrument} is not adjusted without as-found readings: lay the references on first, so that what it read before is known"
                ));
            }
            if let Some(reason) = far_off(&calibrating.report.as_found).filter(|_| !how.far_off) {
                return refused(format!(
                    "{instrument} {reason}: was that the weight that was named? If not, cancel and begin anew; if it was, adjust with far_off (calibrate --far-off)"
                ));
            }
            let (calibration, findings) = adjusted(of.calibration, &calibrating.report.as_found, *how)
                .map_err(|reason| Refusal(format!("{instrument} cannot be adjusted: {reason}")))?;
            let findings = [zeros(of.calibration, &calibrating.report.as_found), findings].concat();
            Ok(vec![Change::CalibrationProposed { instrument: name, calibration, findings }])
        }
        (TrustCommand::Finish, Some(_)) if state.operator.is_none() => refused(format!(
            "nobody is at the bench any more, and the calibration of {instrument} says who made it: scan a badge or say who you are, then finish"
        )),
        (TrustCommand::Finish, Some(calibrating)) => finish(state, instrument, calibrating),
        (TrustCommand::Cancel, Some(_)) => Ok(vec![Change::CalibrationAbandoned { instrument: name }]),
    }
}

/// Whether a reference is one for this instrument and purpose.
fn suits(of: &InForce<'_>, instrument: &str, purpose: Purpose, reference: &Reference) -> Result<(), Refusal> {
    match (of.calibration, reference) {
        (Calibration::Gauge(gauge), Reference::Angles(block)) => match gauge.datum(block.hand) {
            None if purpose == Purpose::Check => refused(format!(
                "{instrument} has no datum for {}-handed clubs to check: calibrate it with the block laid in as one, too",
                block.hand.name()
            )),
            _ => Ok(()),
        },
        (Calibration::Gauge(_), Reference::Weight(_)) => refused(format!(
            "{instrument} is a gauge: it needs a block of known angles, such as lie 60 deg and loft 30 deg"
        )),
        (_, Reference::Angles(_)) => refused(format!("{instrument} weighs: it needs a weight, not angles")),
        (_, Reference::Weight(weight)) => {
            let beyond = of.capacity_g.filter(|capacity| weight.nominal_g > *capacity);
            if let Some(capacity) = beyond {
                return refused(format!("{} g is more than {instrument} carries ({capacity} g)", weight.nominal_g));
            }
            let least =
                of.capacity_g.map(|capacity| capacity * SMALLEST_PART).filter(|least| weight.nominal_g < *least);
            if let (Purpose::Check, Some(least)) = (purpose, least) {
                return refused(format!(
                    "{} g is too little to check {instrument} with: take at least {least} g, 5 % of its capacity",
                    weight.nominal_g
                ));
            }
            if purpose != Purpose::Check && matches!(of.calibration, Calibration::Beam(_)) && weight.at_mm.is_none() {
                return refused(format!("for {instrument} say where the weight hangs, from the butt stop"));
            }
            Ok(())
        }
    }
}

fn finish(state: &State, instrument: &str, calibrating: &Calibrating) -> Result<Vec<Change>, Refusal> {
    let Some(proposal) = &calibrating.proposal else {
        return refused(format!("{instrument} is not adjusted yet: adjust it, or cancel"));
    };
    if calibrating.report.as_left.is_empty() {
        return refused(format!(
            "lay a reference on {instrument} once more first: what it reads as left belongs to the record"
        ));
    }
    let Some(Change::Calibrated {
        format,
        format_text,
        format_settings,
        channels,
        resolution,
        rate_hz,
        capacity_g,
        accuracy_class,
        verification_interval_g,
        ..
    }) = state.calibrations.get(instrument).map(|c| &c.change)
    else {
        return refused(format!("{instrument} has no calibration to begin from"));
    };
    let class = Accuracy::of_plate(*accuracy_class, *verification_interval_g, *resolution);
    let as_left = AsLeft { calibration: proposal, resolution: *resolution, class };
    if let Some(reason) = as_left.trouble(&calibrating.report.as_left) {
        return refused(format!(
            "{instrument} as left {reason}; its calibration is not changed. Was that the weight that was named? Then the references before it were not: cancel and begin anew. If it was not, adjust once more, which begins the readings as left anew, and lay the right one on"
        ));
    }
    Ok(vec![Change::Calibrated {
        instrument: instrument.to_owned(),
        format: format.clone(),
        format_text: format_text.clone(),
        format_settings: format_settings.clone(),
        channels: channels.clone(),
        resolution: *resolution,
        rate_hz: *rate_hz,
        capacity_g: *capacity_g,
        calibration: proposal.clone(),
        source: FROM_ADJUSTMENT.to_owned(),
        accuracy_class: *accuracy_class,
        verification_interval_g: *verification_interval_g,
        report: Some(Box::new(calibrating.report.clone())),
    }])
}

/// What a captured reading is, where a reference was announced for its instrument: never a part of a club.
#[must_use]
pub fn take(state: &State, reading: EventId, captured: &CapturedReading, at_us: i64) -> Option<Vec<Change>> {
    let instrument = captured.instrument.clone();
    let expected = state.trust.awaited(&instrument, at_us)?;
    let of = in_force(state, &instrument)?;
    if expected.purpose != Purpose::Check {
        let indication = of.calibration.indication(captured.levels);
        let calibrating = state.trust.calibrating.get(&instrument);
        let proposal = calibrating.and_then(|c| c.proposal.as_ref()).filter(|_| expected.purpose == Purpose::AsLeft);
        let measured = match proposal {
            Some(proposal) => {
                proposal.reading(&of_levels(proposal.levels(indication), captured), captured.laid)?.measured
            }
            None => captured.measured.clone(),
        };
        let takes_zero = matches!(captured.kind, InstrumentKind::Scale | InstrumentKind::Beam) && !captured.on_key;
        let zero = takes_zero.then(|| of.calibration.indication(captured.zero));
        let placement = Placement { reading, reference: expected.reference.clone(), indication, zero, measured };
        return Some(vec![Change::ReferenceRead { instrument, purpose: expected.purpose, placement }]);
    }
    let weight = match &expected.reference {
        Reference::Weight(weight) => weight,
        Reference::Angles(angles) => {
            let chart = state.trust.charts.get(&instrument);
            let u = |quantity| claimed_u(captured, quantity);
            let value = |quantity| captured.measured.iter().find(|m| m.quantity == quantity).map(|m| m.value);
            // Of a block a gauge's angles are in the sense it reads; journals older than that have them in their levels.
            let [lie, loft] = match captured.laid {
                Some(_) => [value(Quantity::Lie)?, value(Quantity::Loft)?],
                None => captured.levels,
            };
            let shown = [(lie, u(Quantity::Lie)?), (loft, u(Quantity::Loft)?)];
            let check = judge_angles(&instrument, of.resolution, chart, angles, reading, shown);
            return Some(vec![Change::AnglesChecked(check)]);
        }
    };
    let mass = captured.measured.iter().find(|m| m.quantity == Quantity::Mass)?;
    let about = Circumstances {
        instrument: &instrument,
        resolution_g: if captured.kind == InstrumentKind::Scale { of.resolution } else { 0.0 },
        class: of.class.filter(|_| captured.kind == InstrumentKind::Scale),
        chart: state.trust.charts.get(&instrument),
    };
    let u_mass_g = captured.budget.iter().find(|b| b.quantity == Quantity::Mass).map_or(mass.u, unrest_of);
    let balance = captured.measured.iter().find(|m| m.quantity == Quantity::Balance);
    let shown = Shown {
        mass_g: mass.value,
        u_mass_g,
        balance_mm: balance.and_then(|m| Some((m.value, claimed_u(captured, m.quantity)?))),
    };
    Some(vec![Change::Checked(judge_check(&about, weight, reading, &shown))])
}

/// What an instrument claims of itself: all of an uncertainty but what checks have found, which must not excuse the next.
fn claimed_u(captured: &CapturedReading, quantity: Quantity) -> Option<f64> {
    let Some(budget) = captured.budget.iter().find(|budget| budget.quantity == quantity) else {
        return captured.measured.iter().find(|m| m.quantity == quantity).map(|m| m.u);
    };
    let parts: Vec<f64> = budget.components.iter().filter(|c| c.source != Source::Drift).map(|c| c.u).collect();
    Some(combined(&parts))
}

/// What of an uncertainty a check can see: not the calibration, which it tests.
fn unrest_of(budget: &Budget) -> f64 {
    let seen = [Source::Resolution, Source::Repeatability, Source::Zero];
    let parts: Vec<f64> = budget.components.iter().filter(|c| seen.contains(&c.source)).map(|c| c.u).collect();
    combined(&parts)
}

fn of_levels(levels: [f64; 2], captured: &CapturedReading) -> Capture {
    Capture {
        t_s: captured.t_s,
        values: levels,
        u: captured.u_levels,
        window: (captured.window_s[0], captured.window_s[1]),
        zero: captured.zero,
        u_zero: [0.0; 2],
        zero_look: None,
        n: 0,
    }
}

/// Why a reading of this instrument is not filed by itself now, where the bench is set to block.
#[must_use]
pub fn blocked(state: &State, instrument: &str, at_us: i64) -> Option<String> {
    let trouble = state.trust.trouble(&state.policy, instrument, at_us)?;
    (state.policy.when_out == WhenOut::Block).then(|| {
        format!("{instrument} {trouble}: check it with its weight; the reading is kept, and a person may file it")
    })
}
