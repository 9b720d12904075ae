//! Check weights: is an instrument still the one that was calibrated?
//!
//! A weight and what the instrument showed of it come in, a verdict with its reason goes out, and a control chart of
//! the last checks is kept. Absent: routing, the clock (times are arguments) and what an adjustment would be.

use std::collections::VecDeque;

use super::event::EventId;
use super::judging::DecisionRule;
use super::reference::Weight;
use crate::measurement::check_weight::InstrumentClass;
use crate::measurement::fit::fit_polynomial;
use crate::measurement::uncertainty::Drift;
use crate::measurement::unit::Grams;

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
/// Fewest checks for a trend.
const TREND: usize = 5;
/// A slope beyond so many of its standard uncertainties is a trend (about 95 % with few points; common practice).
const TREND_FACTOR: f64 = 3.0;

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
    /// When it was last tested.
    pub tested: Tested,
    /// Why it is not to be measured with, if it is not.
    pub out: Option<String>,
}

/// Standard deviation, not below what a step of the indication hides. `None` below two values.
#[must_use]
pub fn repeatability(values: &[f64], resolution_g: f64) -> Option<f64> {
    let n = f64::from(u32::try_from(values.len()).ok().filter(|n| *n >= 2)?);
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
    Some((squares / (n - 1.0)).sqrt().max(FLOOR_IN_STEPS * resolution_g))
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
    }

    /// Control limits; `None` before there are enough checks.
    #[must_use]
    pub fn limits(&self, resolution_g: f64) -> Option<ChartLimits> {
        let n = f64::from(u32::try_from(self.baseline_g.len()).ok()?);
        let s_g = repeatability(&self.baseline_g, resolution_g)?;
        BASELINE.contains(&self.baseline_g.len()).then(|| ChartLimits { mean_g: self.baseline_g.iter().sum::<f64>() / n, s_g })
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
        let words = if matches!(self.tested, Tested::Never { .. }) { "was never checked" } else { "is overdue for its check" };
        overdue.then(|| words.to_owned())
    }
}

fn whole_us(seconds: f64) -> Option<i64> {
    #[expect(clippy::cast_possible_truncation, reason = "the configuration keeps it between a minute and ten years")]
    (0.0..=4e8).contains(&seconds).then_some((seconds * 1e6) as i64)
}

/// What is known of an instrument when its check is judged.
#[derive(Debug, Clone, Copy)]
pub struct Circumstances<'a> {
    /// Which instrument.
    pub instrument: &'a str,
    /// Its resolution d, in grams; 0 where it has none that matters.
    pub resolution_g: f64,
    /// Its accuracy class, if it has one; e = d.
    pub class: Option<InstrumentClass>,
    /// Its chart.
    pub chart: Option<&'a Chart>,
}

/// Judges a check. `indication_g` and `u_indication_g` are what the instrument showed and how sure.
#[must_use]
pub fn judge_check(
    about: &Circumstances<'_>,
    weight: &Weight,
    reading: EventId,
    indication_g: f64,
    u_indication_g: f64,
) -> Check {
    let reference_g = weight.mass_g();
    let error_g = indication_g - reference_g;
    let u_g = u_indication_g.hypot(weight.u_g);
    let service_g = about
        .class
        .filter(|_| about.resolution_g > 0.0)
        .and_then(|class| class.largest_error(Grams(about.resolution_g), Grams(weight.nominal_g)))
        .map(|limit| 2.0 * limit.0);
    let chart = about.chart.and_then(|chart| chart.limits(about.resolution_g));
    let mut findings = vec![against_limit(error_g, u_g, weight.u_g, service_g)];
    findings.extend(chart.map(|limits| against_chart(error_g, limits)));
    let errors: Vec<f64> =
        about.chart.iter().flat_map(|chart| chart.points.iter().map(|p| p.error_g)).chain([error_g]).collect();
    findings.extend(trend(&errors));
    let (zone, reason) = findings.into_iter().max_by_key(|(zone, _)| *zone).unwrap_or((CheckZone::Good, String::new()));
    let repeatability_g = repeatability(&errors, about.resolution_g);
    Check {
        instrument: about.instrument.to_owned(),
        reading: Some(reading),
        weight: Some(weight.clone()),
        reference_g,
        indication_g: Some(indication_g),
        error_g,
        u_g: Some(u_g),
        limit_g: service_g,
        chart,
        repeatability_g,
        minimum_g: repeatability_g.map(|s| smallest_mass_g(s, 0.001)),
        zone,
        reason,
    }
}

type Finding = (CheckZone, String);

fn against_limit(error_g: f64, u_g: f64, u_weight_g: f64, limit_g: Option<f64>) -> Finding {
    let size = error_g.abs();
    match limit_g {
        Some(limit) if size > limit + 2.0 * u_weight_g => {
            (CheckZone::Out, format!("reads {error_g:+.3} g off, its class allows {limit} g in service"))
        }
        Some(limit) if size > limit - 2.0 * u_weight_g => {
            (CheckZone::Warning, format!("reads {error_g:+.3} g off: too near to the {limit} g its class allows to tell with this weight"))
        }
        Some(limit) => (CheckZone::Good, format!("reads {error_g:+.3} g off, its class allows {limit} g in service")),
        None if size > 3.0 * u_g => (CheckZone::Out, format!("reads {error_g:+.3} g off, more than three times its uncertainty")),
        None if size > 2.0 * u_g => (CheckZone::Warning, format!("reads {error_g:+.3} g off, more than twice its uncertainty")),
        None => (CheckZone::Good, format!("reads {error_g:+.3} g off")),
    }
}

fn against_chart(error_g: f64, limits: ChartLimits) -> Finding {
    let away = (error_g - limits.mean_g) / limits.s_g;
    if away.abs() > 3.0 {
        (CheckZone::Out, format!("is {away:+.1} s from the mean of its first checks; the stop limit is 3 s"))
    } else if away.abs() > 2.0 {
        (CheckZone::Warning, format!("is {away:+.1} s from the mean of its first checks; the warning limit is 2 s"))
    } else {
        (CheckZone::Good, String::new())
    }
}

/// A slope of the last errors that chance does not explain.
fn trend(errors_g: &[f64]) -> Option<Finding> {
    let recent = errors_g.get(errors_g.len().saturating_sub(2 * TREND)..)?;
    if recent.len() < TREND {
        return None;
    }
    let place: Vec<f64> = (0_u32..).map(f64::from).take(recent.len()).collect();
    let fit = fit_polynomial(&place, recent, 1).ok()?;
    let (slope, u) = (*fit.coefficients.get(1)?, *fit.sd_coefficients.get(1)?);
    (slope.abs() > TREND_FACTOR * u && u > 0.0)
        .then(|| (CheckZone::Warning, format!("drifts by {slope:+.4} g from check to check")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::check_weight::WeightClass;

    const DAY_US: i64 = 86_400_000_000;

    fn weight() -> Weight {
        Weight::stated(200.0, Some(WeightClass::M1), None, None).unwrap()
    }

    /// Checks a day apart on a scale of 0.01 g, class II; their zones.
    fn zones(weight: &Weight, errors: &[f64]) -> Vec<CheckZone> {
        let mut chart = Chart::default();
        let mut zones = Vec::new();
        for (day, error) in (0_i64..).zip(errors) {
            let about = Circumstances {
                instrument: "parts-scale",
                resolution_g: 0.01,
                class: Some(InstrumentClass::II),
                chart: Some(&chart),
            };
            let check = judge_check(&about, weight, EventId(uuid::Uuid::nil()), 200.0 + error, 0.004);
            chart.take(&check, day * DAY_US);
            zones.push(check.zone);
        }
        zones
    }

    #[test]
    fn a_drift_of_one_standard_deviation_a_day_is_caught_inside_five_checks() {
        // NIST SOP 9 (from memory): warn at 2 s, stop at 3 s. Ten checks of s = 0.0105 g, then one s a day more.
        let mut errors = vec![0.01, -0.01, 0.01, -0.01, 0.01, -0.01, 0.01, -0.01, 0.01, -0.01];
        errors.extend((1..=5).map(|day| 0.0105 * f64::from(day)));
        let certified = Weight::stated(200.0, Some(WeightClass::M1), Some(0.0), Some(0.002)).unwrap();
        let zones = zones(&certified, &errors);
        assert!(zones[..10].iter().all(|zone| *zone == CheckZone::Good), "{zones:?}");
        assert!(zones[10..].contains(&CheckZone::Out), "{zones:?}");
        assert!(zones[11..13].contains(&CheckZone::Warning), "{zones:?}");
    }

    #[test]
    fn an_error_beyond_the_class_is_out_at_once() {
        // Class II, 200 g at 0.01 g is 20 000 e: 1 e at the first verification, 2 e in service: 0.02 g. The weight's
        // own 2 u of 0.0115 g leaves a zone where nothing can be told.
        assert_eq!(zones(&weight(), &[0.008]), [CheckZone::Good]);
        assert_eq!(zones(&weight(), &[0.02]), [CheckZone::Warning]);
        assert_eq!(zones(&weight(), &[-0.04]), [CheckZone::Out]);
    }

    #[test]
    fn scatter_that_the_step_hides_counts_as_041_of_it() {
        // USP 41: s = 0.00015 g gives 0.300 g; a balance of 0.1 g whose readings do not scatter 82 g.
        assert!((smallest_mass_g(0.000_15, 0.001) - 0.3).abs() < 1e-12);
        let s = repeatability(&[5.0; 10], 0.1).unwrap();
        assert!((smallest_mass_g(s, 0.001) - 82.0).abs() < 1e-9);
        assert_eq!(repeatability(&[5.0], 0.1), None);
    }

    #[test]
    fn a_check_is_due_after_its_time_and_at_once_where_there_was_none() {
        let policy = Policy { check_every_s: Some(86_400.0), ..Policy::default() };
        let mut chart = Chart::default();
        chart.calibrated(5, false);
        assert_eq!(chart.trouble(&policy, 6).as_deref(), Some("was never checked"));
        assert_eq!(chart.trouble(&Policy::default(), 6), None);
        let about = Circumstances { instrument: "s", resolution_g: 0.01, class: None, chart: Some(&chart) };
        let check = judge_check(&about, &weight(), EventId(uuid::Uuid::nil()), 200.0, 0.004);
        chart.take(&check, 10);
        assert_eq!((chart.due_us(&policy), chart.trouble(&policy, 10 + DAY_US)), (Some(10 + DAY_US), None));
        assert_eq!(chart.trouble(&policy, 11 + DAY_US).as_deref(), Some("is overdue for its check"));
        chart.calibrated(20 + DAY_US, true);
        assert_eq!(chart.trouble(&policy, 21 + DAY_US), None);
    }
}
