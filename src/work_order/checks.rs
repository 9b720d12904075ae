//! Check weights: is an instrument still the one that was calibrated?
//!
//! A weight and what the instrument showed of it come in, a verdict with its reason goes out, and a control chart of
//! the last checks is kept. Absent: routing, the clock (times are arguments) and what an adjustment would be.

use std::collections::{BTreeMap, VecDeque};

use super::angle_check::AngleCheck;
use super::event::EventId;
use super::judging::DecisionRule;
use super::reference::Weight;
use crate::measurement::reading::Quantity;
use crate::measurement::uncertainty::{BalanceDrift, Drift};

super::order::named!(
    /// What a check says.
    CheckZone {
        /// As it should be.
        Good = "good",
        /// Beyond the warning limit, or drifting.
        Warning = "warning",
        /// Beyond the stop limit: not to be measured with.
        Out = "out",
    }
);

super::order::named!(
    /// Who may take back or replace what is kept.
    Corrections {
        /// Whoever is there; the record has the name where there is one.
        Free = "free",
        /// Nobody without a name.
        Named = "named",
    }
);

super::order::named!(
    /// What an instrument that is out or overdue for its check leads to.
    WhenOut {
        /// A banner.
        Warn = "warn",
        /// Its readings are kept and not filed by themselves.
        Block = "block",
    }
);

/// The rules of the bench that verdicts and checks go by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Policy {
    /// How verdicts are taken.
    pub rule: DecisionRule,
    /// Longest time between two checks, in seconds; `None`: checks are made when somebody thinks of it.
    pub check_every_s: Option<f64>,
    /// What a failed or missing check leads to.
    pub when_out: WhenOut,
    /// Who may take back or replace what is kept.
    pub corrections: Corrections,
}

impl Default for Policy {
    fn default() -> Self {
        Self { rule: DecisionRule::Plain, check_every_s: None, when_out: WhenOut::Warn, corrections: Corrections::Free }
    }
}

/// One check of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Which instrument.
    pub instrument: String,
    /// The `reading_captured` event, with its raw bytes.
    pub reading: Option<EventId>,
    /// The weight; `None` in journals older than this.
    pub weight: Option<Weight>,
    /// Its conventional mass, in grams.
    pub reference_g: f64,
    /// What the instrument showed, in grams.
    pub indication_g: Option<f64>,
    /// Indication less reference, in grams.
    pub error_g: f64,
    /// Standard uncertainty of the error, in grams: indication and weight.
    pub u_g: Option<f64>,
    /// Largest error in service (twice that of R 76-1, table 6), where the instrument has a class.
    pub limit_g: Option<f64>,
    /// What the chart allowed.
    pub chart: Option<ChartLimits>,
    /// Standard deviation of the checks, not below 0.41 d, in grams.
    pub repeatability_g: Option<f64>,
    /// Smallest mass that is weighed to 0.10 % (USP 41: 2000 s).
    pub minimum_g: Option<f64>,
    /// The verdict.
    pub zone: CheckZone,
    /// Why, in words.
    pub reason: String,
    /// What became of the balance point, where the weight hung at a known place of a beam.
    pub balance: Option<BalanceError>,
}

/// What a beam made of the place of a check weight, in millimetres from the butt stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BalanceError {
    /// Where it hung.
    pub reference_mm: f64,
    /// What the beam showed.
    pub indication_mm: f64,
    /// Indication less reference.
    pub error_mm: f64,
    /// Standard uncertainty of the error: what the beam claims, and the place.
    pub u_mm: f64,
}

/// Control limits, fixed by the first checks after a calibration: warning beyond 2 s, stop beyond 3 s (NIST SOP 9,
/// from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartLimits {
    /// Mean error of those checks, in grams.
    pub mean_g: f64,
    /// Their standard deviation, not below 0.41 d, in grams.
    pub s_g: f64,
}

/// That an instrument was never checked, in words.
pub const NEVER_CHECKED: &str = "was never checked";
/// That its check is overdue.
pub const OVERDUE: &str = "is overdue for its check";
/// Fewest checks that make control limits, and the most that do.
const BASELINE: std::ops::RangeInclusive<usize> = 5..=10;
/// Checks on a chart.
const CHART: usize = 30;
/// Charts of an instrument; the one that was not used for longest gives way.
const CHARTS: usize = 12;
/// Control limits are made of checks so far apart, in microseconds: what repeats within one sitting says nothing of the
/// days to come (NIST SOP 9, from memory, asks for points collected over time; twelve hours are common practice).
const ANOTHER_DAY_US: i64 = 12 * 3600 * 1_000_000;
/// Standard deviation below which a step d cannot be told (USP 41: replace by 0.41 d).
const FLOOR_IN_STEPS: f64 = 0.41;

/// Whether a check at `at_us` is one of the first of its chart, given when the last of those was.
fn is_another_day(last_us: Option<i64>, at_us: i64) -> bool {
    last_us.is_none_or(|last_us| at_us.saturating_sub(last_us) >= ANOTHER_DAY_US)
}

/// A point of the chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartPoint {
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Error, in grams.
    pub error_g: f64,
    /// Error of the balance point, in millimetres, where the weight hung at a known place of a beam.
    pub balance_error_mm: Option<f64>,
    /// Mass of the weight, in grams.
    pub reference_g: f64,
    /// The verdict.
    pub zone: CheckZone,
}

/// Which weight a chart is of, and at which place of a beam: nominal mass in milligrams, place in tenths of a millimetre.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct ChartOf {
    milligrams: i64,
    tenths_mm: Option<i64>,
}

impl ChartOf {
    /// The chart of a weight; `nominal_g` alone in journals that keep no more.
    #[must_use]
    pub fn weight(nominal_g: f64, at_mm: Option<f64>) -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "a conversion saturates; no weight is that heavy")]
        let whole = |value: f64| value.round() as i64;
        Self { milligrams: whole(nominal_g * 1000.0), tenths_mm: at_mm.map(|at| whole(at * 10.0)) }
    }
}

/// The checks with one weight.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WeightChart {
    /// Nominal mass, in grams.
    pub nominal_g: f64,
    /// Where it hangs on a beam, in millimetres.
    pub at_mm: Option<f64>,
    /// The last checks, oldest first.
    pub points: VecDeque<ChartPoint>,
    /// The first ones on different days.
    baseline: Vec<ChartPoint>,
    /// Why its last check was out, if it was.
    out: Option<String>,
}

impl WeightChart {
    fn take(&mut self, check: &Check, at_us: i64) {
        let point = ChartPoint {
            at_us,
            error_g: check.error_g,
            balance_error_mm: check.balance.map(|balance| balance.error_mm),
            reference_g: check.reference_g,
            zone: check.zone,
        };
        let last_us = self.baseline.last().map(|point| point.at_us);
        if point.zone != CheckZone::Out && self.baseline.len() < *BASELINE.end() && is_another_day(last_us, at_us) {
            self.baseline.push(point);
        }
        if self.points.len() == CHART {
            self.points.pop_front();
        }
        self.points.push_back(point);
        self.out = (check.zone == CheckZone::Out).then(|| check.reason.clone());
    }

    /// Errors of mass in grams of the checks that were not out, oldest first.
    #[must_use]
    pub fn errors_g(&self) -> Vec<f64> {
        self.points.iter().filter(|point| point.zone != CheckZone::Out).map(|point| point.error_g).collect()
    }

    /// Errors of the balance point in millimetres of the checks that were not out, oldest first.
    #[must_use]
    pub fn balance_errors_mm(&self) -> Vec<f64> {
        let good = self.points.iter().filter(|point| point.zone != CheckZone::Out);
        good.filter_map(|point| point.balance_error_mm).collect()
    }

    /// Control limits of the mass; `None` before there are enough checks on different days.
    #[must_use]
    pub fn limits(&self, resolution_g: f64) -> Option<ChartLimits> {
        let first: Vec<f64> = self.baseline.iter().map(|point| point.error_g).collect();
        mean_and_s(&first, resolution_g).map(|(mean_g, s_g)| ChartLimits { mean_g, s_g })
    }

    /// Mean and standard deviation of the balance point in millimetres; `None` before there are enough.
    #[must_use]
    pub fn balance_limits(&self) -> Option<(f64, f64)> {
        let first: Vec<f64> = self.baseline.iter().filter_map(|point| point.balance_error_mm).collect();
        mean_and_s(&first, 0.0)
    }
}

/// Mean and standard deviation of the first checks; `None` where they are too few or all alike.
fn mean_and_s(first: &[f64], resolution: f64) -> Option<(f64, f64)> {
    let n = f64::from(u32::try_from(first.len()).ok()?);
    let s = repeatability(first, resolution).filter(|s| *s > 0.0)?;
    BASELINE.contains(&first.len()).then(|| (first.iter().sum::<f64>() / n, s))
}

/// A point of a gauge's chart.
#[derive(Debug, Clone, PartialEq)]
pub struct AnglePoint {
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Errors of lie and loft, in degrees.
    pub errors_deg: Vec<(Quantity, f64)>,
    /// The verdict.
    pub zone: CheckZone,
}

impl AnglePoint {
    fn of(&self, quantity: Quantity) -> impl Iterator<Item = f64> + '_ {
        self.errors_deg.iter().filter(move |(of, _)| *of == quantity).map(|(_, error)| *error)
    }
}

/// When an instrument was last tested with a reference; times in microseconds since 1970 UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tested {
    /// The instrument is not known.
    #[default]
    Unknown,
    /// Never, and it is known since then.
    Never {
        /// Since when.
        since_us: i64,
    },
    /// Checked, or calibrated with references.
    At {
        /// When.
        at_us: i64,
    },
}

/// The checks of one instrument since its calibration.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chart {
    /// One chart a weight: errors at different loads have nothing to do with each other.
    pub weights: BTreeMap<ChartOf, WeightChart>,
    /// The last checks of a gauge, oldest first.
    pub angles: VecDeque<AnglePoint>,
    /// The first ones after its calibration, on different days.
    baseline_deg: Vec<AnglePoint>,
    /// When it was last tested.
    pub tested: Tested,
    /// Why it is not to be measured with, where the last check of a gauge or what a calibration left says so.
    out: Option<String>,
    /// The last check since the calibration, whole.
    pub last: Option<Check>,
    /// The same of a gauge.
    pub last_angles: Option<AngleCheck>,
}

/// Standard deviation, not below what a step of the indication hides; all in one unit. `None` below two values.
#[must_use]
pub fn repeatability(values: &[f64], resolution: f64) -> Option<f64> {
    let n = f64::from(u32::try_from(values.len()).ok().filter(|n| *n >= 2)?);
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
    Some((squares / (n - 1.0)).sqrt().max(FLOOR_IN_STEPS * resolution))
}

/// Smallest mass that is weighed to within `tolerance` of itself with 2 s (USP 41 with 0.001).
#[must_use]
pub fn smallest_mass_g(repeatability_g: f64, tolerance: f64) -> f64 {
    2.0 * repeatability_g / tolerance
}

/// What a calibration rests on, for the chart that begins with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Calibrated {
    /// The configuration.
    Configured,
    /// References, with which the instrument was right afterwards: as good as a check.
    WithReferences,
    /// References, with which it was wrong afterwards; in words that follow its name.
    LeftOut(String),
}

impl Chart {
    /// A calibration begins a new chart.
    pub fn calibrated(&mut self, at_us: i64, how: Calibrated) {
        let (tested, out) = match (how, self.tested) {
            (Calibrated::WithReferences, _) => (Tested::At { at_us }, None),
            (Calibrated::LeftOut(reason), before) => (before, Some(reason)),
            (Calibrated::Configured, Tested::Unknown) => (Tested::Never { since_us: at_us }, None),
            (Calibrated::Configured, before) => (before, None),
        };
        *self = Self { tested, out, ..Self::default() };
    }

    /// Takes a check in.
    pub fn take(&mut self, check: &Check, at_us: i64) {
        let (nominal_g, at_mm) = check.weight.as_ref().map_or((check.reference_g, None), |w| (w.nominal_g, w.at_mm));
        let of = ChartOf::weight(nominal_g, at_mm);
        if !self.weights.contains_key(&of) && self.weights.len() >= CHARTS {
            let last_us = |chart: &WeightChart| chart.points.back().map(|point| point.at_us);
            let oldest = self.weights.iter().min_by_key(|(_, chart)| last_us(chart)).map(|(of, _)| *of);
            oldest.and_then(|oldest| self.weights.remove(&oldest));
        }
        let new = || WeightChart { nominal_g, at_mm, ..WeightChart::default() };
        self.weights.entry(of).or_insert_with(new).take(check, at_us);
        self.tested = Tested::At { at_us };
        // What a calibration left out is answered by the first check after it.
        self.out = None;
        self.last = Some(check.clone());
    }

    /// The chart of a weight at a place.
    #[must_use]
    pub fn of(&self, weight: &Weight) -> Option<&WeightChart> {
        self.weights.get(&ChartOf::weight(weight.nominal_g, weight.at_mm))
    }

    /// Why the instrument is not to be measured with, in words that follow its name: every weight it failed with must
    /// have been laid on again.
    #[must_use]
    pub fn out(&self) -> Option<&str> {
        self.out.as_deref().or_else(|| self.weights.values().find_map(|chart| chart.out.as_deref()))
    }

    /// Takes a check of a gauge in.
    pub fn take_angles(&mut self, check: &AngleCheck, at_us: i64) {
        let errors_deg = check.errors.iter().map(|error| (error.quantity, error.error_deg)).collect();
        let point = AnglePoint { at_us, errors_deg, zone: check.zone };
        let last_us = self.baseline_deg.last().map(|point| point.at_us);
        if check.zone != CheckZone::Out && self.baseline_deg.len() < *BASELINE.end() && is_another_day(last_us, at_us) {
            self.baseline_deg.push(point.clone());
        }
        if self.angles.len() == CHART {
            self.angles.pop_front();
        }
        self.angles.push_back(point);
        self.tested = Tested::At { at_us };
        self.out = (check.zone == CheckZone::Out).then(|| check.reason.clone());
        self.last_angles = Some(check.clone());
    }

    /// Errors of one angle in the last checks, oldest first, in degrees.
    #[must_use]
    pub fn angle_errors(&self, quantity: Quantity) -> Vec<f64> {
        self.angles.iter().flat_map(|point| point.of(quantity)).collect()
    }

    /// Mean and standard deviation of the first checks of one angle, in degrees; `None` before there are enough.
    #[must_use]
    pub fn angle_limits(&self, quantity: Quantity, resolution_deg: f64) -> Option<(f64, f64)> {
        let first: Vec<f64> = self.baseline_deg.iter().flat_map(|point| point.of(quantity)).collect();
        mean_and_s(&first, resolution_deg)
    }

    /// Errors that were found and not corrected. An error that put the instrument out counts in full as long as it is out:
    /// where readings go on all the same, it is the best that is known of them.
    #[must_use]
    pub fn drift(&self) -> Option<Drift> {
        if !self.angles.is_empty() {
            return self.drift_of_angles();
        }
        let all = || self.weights.values().flat_map(|chart| &chart.points).filter(|point| point.reference_g > 0.0);
        let relative = |point: &ChartPoint| point.error_g / point.reference_g;
        let freedom = f64::from(u32::try_from(all().count()).ok().filter(|n| *n > 0)?);
        let mean_square = all().map(|point| relative(point).powi(2)).sum::<f64>() / freedom;
        let largest = self.last_of_out().map(|point| relative(point).abs()).fold(0.0, f64::max);
        let relative = mean_square.sqrt().max(largest);
        Some(Drift { relative, balance: self.drift_of_balance(), angles_deg: [0.0; 2], freedom })
    }

    /// The last check with each weight that is out.
    fn last_of_out(&self) -> impl Iterator<Item = &ChartPoint> {
        self.weights.values().filter(|chart| chart.out.is_some()).filter_map(|chart| chart.points.back())
    }

    /// Of a beam: what its checks at known places found wrong with the balance point, as of the mass above.
    fn drift_of_balance(&self) -> Option<BalanceDrift> {
        let points = self.weights.values().flat_map(|chart| &chart.points).filter(|point| point.reference_g > 0.0);
        let pairs: Vec<(f64, f64)> =
            points.filter_map(|point| Some((point.error_g / point.reference_g, point.balance_error_mm?))).collect();
        let freedom = f64::from(u32::try_from(pairs.len()).ok().filter(|n| *n > 0)?);
        let sum = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>();
        let (masses, places, products) = (sum(|(g, _)| g * g), sum(|(_, mm)| mm * mm), sum(|(g, mm)| g * mm));
        let both = (masses * places).sqrt();
        let correlation = if both > 0.0 { (products / both).clamp(-1.0, 1.0) } else { 0.0 };
        let largest = self.last_of_out().filter_map(|point| point.balance_error_mm).map(f64::abs).fold(0.0, f64::max);
        Some(BalanceDrift { mm: (places / freedom).sqrt().max(largest), correlation, freedom })
    }

    fn drift_of_angles(&self) -> Option<Drift> {
        let freedom = f64::from(u32::try_from(self.angles.len()).ok().filter(|n| *n > 0)?);
        let of = |quantity: Quantity| {
            let errors = self.angle_errors(quantity);
            let mean_square = errors.iter().map(|error| error * error).sum::<f64>() / freedom;
            let last = errors.last().filter(|_| self.out.is_some()).copied().unwrap_or(0.0);
            mean_square.sqrt().max(last.abs())
        };
        Some(Drift { relative: 0.0, balance: None, angles_deg: [of(Quantity::Lie), of(Quantity::Loft)], freedom })
    }

    /// When the next check is due, in microseconds since 1970 UTC: at once for one that was never tested.
    #[must_use]
    pub fn due_us(&self, policy: &Policy) -> Option<i64> {
        let every_us = whole_us(policy.check_every_s?)?;
        match self.tested {
            Tested::Unknown => None,
            Tested::Never { since_us } => Some(since_us),
            Tested::At { at_us } => Some(at_us.saturating_add(every_us)),
        }
    }

    /// Why the instrument is not to be trusted now, in words; `None` when it is.
    #[must_use]
    pub fn trouble(&self, policy: &Policy, at_us: i64) -> Option<String> {
        if let Some(reason) = self.out() {
            return Some(format!("failed its last check: it {reason}"));
        }
        let overdue = at_us > self.due_us(policy)?;
        let words = if matches!(self.tested, Tested::Never { .. }) { NEVER_CHECKED } else { OVERDUE };
        overdue.then(|| words.to_owned())
    }
}

fn whole_us(seconds: f64) -> Option<i64> {
    #[expect(clippy::cast_possible_truncation, reason = "the configuration keeps it between a minute and ten years")]
    (0.0..=4e8).contains(&seconds).then_some((seconds * 1e6) as i64)
}
