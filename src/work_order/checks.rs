//! Check weights: is an instrument still the one that was calibrated?
//!
//! A weight and what the instrument showed of it come in, a verdict with its reason goes out, and a control chart of
//! the last checks is kept. Absent: routing, the clock (times are arguments) and what an adjustment would be.

use std::collections::VecDeque;

use super::angle_check::AngleCheck;
use super::event::EventId;
use super::judging::DecisionRule;
use super::reference::Weight;
use crate::measurement::reading::Quantity;
use crate::measurement::uncertainty::Drift;

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
}

impl Default for Policy {
    fn default() -> Self {
        Self { rule: DecisionRule::Plain, check_every_s: None, when_out: WhenOut::Warn }
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

/// Fewest checks that make control limits, and the most that do.
const BASELINE: std::ops::RangeInclusive<usize> = 5..=10;
/// Checks on a chart.
const CHART: usize = 30;
/// Standard deviation below which a step d cannot be told (USP 41: replace by 0.41 d).
const FLOOR_IN_STEPS: f64 = 0.41;
/// A point of the chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartPoint {
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Error, in grams.
    pub error_g: f64,
    /// Mass of the weight, in grams.
    pub reference_g: f64,
    /// The verdict.
    pub zone: CheckZone,
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
    /// The last checks, oldest first.
    pub points: VecDeque<ChartPoint>,
    baseline_g: Vec<f64>,
    nominal_g: f64,
    /// The last checks of a gauge, oldest first.
    pub angles: VecDeque<AnglePoint>,
    /// The first ones after its calibration.
    baseline_deg: Vec<AnglePoint>,
    /// When it was last tested.
    pub tested: Tested,
    /// Why it is not to be measured with, if it is not.
    pub out: Option<String>,
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

impl Chart {
    /// A calibration begins a new chart; `with_references` counts as a check.
    pub fn calibrated(&mut self, at_us: i64, with_references: bool) {
        let tested = match self.tested {
            _ if with_references => Tested::At { at_us },
            Tested::Unknown => Tested::Never { since_us: at_us },
            before => before,
        };
        *self = Self { tested, ..Self::default() };
    }

    /// Takes a check in.
    pub fn take(&mut self, check: &Check, at_us: i64) {
        let nominal_g = check.weight.as_ref().map_or(check.reference_g, |weight| weight.nominal_g);
        // Errors of another weight are another chart.
        if (nominal_g - self.nominal_g).abs() > 1e-3 * nominal_g.abs() {
            self.points.clear();
            self.baseline_g.clear();
            self.nominal_g = nominal_g;
        }
        if check.zone != CheckZone::Out && self.baseline_g.len() < *BASELINE.end() {
            self.baseline_g.push(check.error_g);
        }
        if self.points.len() == CHART {
            self.points.pop_front();
        }
        let (error_g, reference_g, zone) = (check.error_g, check.reference_g, check.zone);
        self.points.push_back(ChartPoint { at_us, error_g, reference_g, zone });
        self.tested = Tested::At { at_us };
        self.out = (zone == CheckZone::Out).then(|| check.reason.clone());
        self.last = Some(check.clone());
    }

    /// Takes a check of a gauge in.
    pub fn take_angles(&mut self, check: &AngleCheck, at_us: i64) {
        let errors_deg = check.errors.iter().map(|error| (error.quantity, error.error_deg)).collect();
        let point = AnglePoint { at_us, errors_deg, zone: check.zone };
        if check.zone != CheckZone::Out && self.baseline_deg.len() < *BASELINE.end() {
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
        let n = f64::from(u32::try_from(first.len()).ok()?);
        let s = repeatability(&first, resolution_deg)?;
        BASELINE.contains(&first.len()).then(|| (first.iter().sum::<f64>() / n, s))
    }

    /// Control limits; `None` before there are enough checks.
    #[must_use]
    pub fn limits(&self, resolution_g: f64) -> Option<ChartLimits> {
        let n = f64::from(u32::try_from(self.baseline_g.len()).ok()?);
        let s_g = repeatability(&self.baseline_g, resolution_g)?;
        BASELINE
            .contains(&self.baseline_g.len())
            .then(|| ChartLimits { mean_g: self.baseline_g.iter().sum::<f64>() / n, s_g })
    }

    /// Errors that were found, allowed and not corrected.
    #[must_use]
    pub fn drift(&self) -> Option<Drift> {
        let allowed = || self.points.iter().filter(|p| p.zone != CheckZone::Out && p.reference_g > 0.0);
        let freedom = f64::from(u32::try_from(allowed().count()).ok().filter(|n| *n > 0)?);
        let squares: f64 = allowed().map(|p| (p.error_g / p.reference_g).powi(2)).sum();
        Some(Drift { relative: (squares / freedom).sqrt(), freedom })
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
        if let Some(reason) = &self.out {
            return Some(format!("failed its last check: it {reason}"));
        }
        let overdue = at_us > self.due_us(policy)?;
        let words =
            if matches!(self.tested, Tested::Never { .. }) { "was never checked" } else { "is overdue for its check" };
        overdue.then(|| words.to_owned())
    }
}

fn whole_us(seconds: f64) -> Option<i64> {
    #[expect(clippy::cast_possible_truncation, reason = "the configuration keeps it between a minute and ten years")]
    (0.0..=4e8).contains(&seconds).then_some((seconds * 1e6) as i64)
}
