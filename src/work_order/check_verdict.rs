//! The verdict on a check weight: against the class of the instrument, its control chart and its trend. Pure.
//!
//! A weight and what the instrument showed of it come in, a check with its zone and reason goes out. Keeping the chart is
//! `checks`' work.

use super::as_left::Off;
use super::checks::{BalanceError, Chart, Check, CheckZone, WeightChart, repeatability, smallest_mass_g};
use super::event::EventId;
use super::reference::Weight;
use crate::measurement::check_weight::Accuracy;
use crate::measurement::fit::fit_polynomial;
use crate::measurement::reading::Quantity;

/// Fewest checks for a trend.
const TREND: usize = 5;
/// A slope beyond so many of its standard uncertainties is a trend (about 95 % with few points; common practice).
const TREND_FACTOR: f64 = 3.0;

/// What is known of an instrument when its check is judged.
#[derive(Debug, Clone, Copy)]
pub struct Circumstances<'a> {
    /// Which instrument.
    pub instrument: &'a str,
    /// Its resolution d, in grams; 0 where it has none that matters.
    pub resolution_g: f64,
    /// Its accuracy class, if it has one.
    pub class: Option<Accuracy>,
    /// Its chart.
    pub chart: Option<&'a Chart>,
}

/// What an instrument showed of a weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// Mass, in grams.
    pub mass_g: f64,
    /// Its standard uncertainty without the calibration, which is what is tested.
    pub u_mass_g: f64,
    /// Balance point of a beam with its whole standard uncertainty, in millimetres.
    pub balance_mm: Option<(f64, f64)>,
}

/// Judges a check. Of a weight at a known place of a beam the balance point is judged, too: a stop or support that has
/// moved does nothing to the mass, and a third of a point a millimetre to the swing weight.
#[must_use]
pub fn judge_check(about: &Circumstances<'_>, weight: &Weight, reading: EventId, shown: &Shown) -> Check {
    let (indication_g, u_indication_g) = (shown.mass_g, shown.u_mass_g);
    let reference_g = weight.mass_g();
    let error_g = indication_g - reference_g;
    let u_g = u_indication_g.hypot(weight.u_g);
    let service_g = about.class.and_then(|class| class.limit_g(weight.nominal_g));
    let of_weight = about.chart.and_then(|chart| chart.of(weight));
    let chart = of_weight.and_then(|chart| chart.limits(about.resolution_g));
    let (zone, mut reason) = against_limit(error_g, u_g, weight.u_g, service_g.map(|limit| (limit, IN_SERVICE)));
    if about.class.is_some() && service_g.is_none() {
        let beyond =
            format!("; {} g are beyond what its class reaches to, so its uncertainty alone speaks", weight.nominal_g);
        reason += &beyond;
    }
    let mut findings = vec![(zone, reason)];
    findings.extend(chart.map(|limits| against_chart(error_g, (limits.mean_g, limits.s_g), Quantity::Mass)));
    let before = of_weight.map(WeightChart::errors_g).unwrap_or_default();
    findings.extend(trend(&[before.as_slice(), &[error_g]].concat(), Quantity::Mass, "g"));
    let balance = weight.at_mm.zip(shown.balance_mm).map(|(at_mm, (shown_mm, u_mm))| BalanceError {
        reference_mm: at_mm,
        indication_mm: shown_mm,
        error_mm: shown_mm - at_mm,
        u_mm: u_mm.hypot(weight.u_at_mm),
    });
    if let Some(balance) = &balance {
        let quantity = Quantity::Balance;
        let off = Off { error: balance.error_mm, u: balance.u_mm };
        findings.push(off.against_uncertainty(quantity, "mm"));
        let limits = of_weight.and_then(WeightChart::balance_limits);
        findings.extend(limits.map(|limits| against_chart(balance.error_mm, limits, quantity)));
        let places = of_weight.map(WeightChart::balance_errors_mm).unwrap_or_default();
        findings.extend(trend(&[places.as_slice(), &[balance.error_mm]].concat(), quantity, "mm"));
    }
    // Of equal zones the first reason is told, which is that of the class.
    let (zone, reason) =
        findings.into_iter().rev().max_by_key(|(zone, _)| *zone).unwrap_or((CheckZone::Good, String::new()));
    let mut scatter = before;
    scatter.extend((zone != CheckZone::Out).then_some(error_g));
    let repeatability_g = repeatability(&scatter, about.resolution_g);
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
        balance,
    }
}

/// When the limit of an instrument that is checked holds.
const IN_SERVICE: &str = "in service";

/// A zone with its reason, in words that follow the instrument's name or "it".
pub(super) type Finding = (CheckZone, String);

pub(super) fn against_limit(error_g: f64, u_g: f64, u_weight_g: f64, limit: Option<(f64, &str)>) -> Finding {
    let size = error_g.abs();
    match limit {
        Some((limit, when)) if size > limit + 2.0 * u_weight_g => {
            (CheckZone::Out, format!("reads {error_g:+.3} g off, its class allows {limit} g {when}"))
        }
        Some((limit, _)) if size > limit - 2.0 * u_weight_g => (
            CheckZone::Warning,
            format!("reads {error_g:+.3} g off: too near to the {limit} g its class allows to tell with this weight"),
        ),
        Some((limit, when)) => {
            (CheckZone::Good, format!("reads {error_g:+.3} g off, its class allows {limit} g {when}"))
        }
        None if size > 3.0 * u_g => {
            (CheckZone::Out, format!("reads {error_g:+.3} g off, more than three times its uncertainty"))
        }
        None if size > 2.0 * u_g => {
            (CheckZone::Warning, format!("reads {error_g:+.3} g off, more than twice its uncertainty"))
        }
        None => (CheckZone::Good, format!("reads {error_g:+.3} g off")),
    }
}

/// Of which quantity a finding is, at the end of its words; a mass goes without saying.
pub(super) fn of(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Mass => "",
        Quantity::Balance => " in balance point",
        Quantity::SwingWeight => " in swing weight",
        Quantity::Lie => " in lie",
        Quantity::Loft => " in loft",
    }
}

/// An error against mean and standard deviation of the first checks, all in one unit.
pub(super) fn against_chart(error: f64, (mean, s): (f64, f64), quantity: Quantity) -> Finding {
    let away = (error - mean) / s;
    let words = format!("is {away:+.1} s from the mean of its first checks{}", of(quantity));
    if away.abs() > 3.0 {
        (CheckZone::Out, format!("{words}; the stop limit is 3 s"))
    } else if away.abs() > 2.0 {
        (CheckZone::Warning, format!("{words}; the warning limit is 2 s"))
    } else {
        (CheckZone::Good, String::new())
    }
}

/// A slope of the last errors that chance does not explain.
pub(super) fn trend(errors: &[f64], quantity: Quantity, unit: &str) -> Option<Finding> {
    let recent = errors.get(errors.len().saturating_sub(2 * TREND)..)?;
    if recent.len() < TREND {
        return None;
    }
    let place: Vec<f64> = (0_u32..).map(f64::from).take(recent.len()).collect();
    let fit = fit_polynomial(&place, recent, 1).ok()?;
    let (slope, u) = (*fit.coefficients.get(1)?, *fit.sd_coefficients.get(1)?);
    (slope.abs() > TREND_FACTOR * u && u > 0.0)
        .then(|| (CheckZone::Warning, format!("drifts by {slope:+.4} {unit} from check to check{}", of(quantity))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::check_weight::{InstrumentClass, WeightClass};
    use crate::measurement::unit::Grams;
    use crate::work_order::checks::{Calibrated, Policy};

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
                class: Some(Accuracy { class: InstrumentClass::II, interval: Grams(0.01) }),
                chart: Some(&chart),
            };
            let shown = Shown { mass_g: 200.0 + error, u_mass_g: 0.004, balance_mm: None };
            let check = judge_check(&about, weight, EventId(uuid::Uuid::nil()), &shown);
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
    fn a_weight_beyond_the_class_is_judged_by_uncertainty_and_that_is_said() {
        // R 76-1, table 3: class II with e = 0.001 g ends at 100 000 e = 100 g.
        let class = Some(Accuracy { class: InstrumentClass::II, interval: Grams(0.001) });
        let about = Circumstances { instrument: "s", resolution_g: 0.001, class, chart: None };
        let shown = Shown { mass_g: 200.0, u_mass_g: 0.004, balance_mm: None };
        let check = judge_check(&about, &weight(), EventId(uuid::Uuid::nil()), &shown);
        assert!(
            check.limit_g.is_none() && check.reason.contains("200 g are beyond what its class reaches to"),
            "{check:?}"
        );
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
        chart.calibrated(5, Calibrated::Configured);
        assert_eq!(chart.trouble(&policy, 6).as_deref(), Some("was never checked"));
        assert_eq!(chart.trouble(&Policy::default(), 6), None);
        let about = Circumstances { instrument: "s", resolution_g: 0.01, class: None, chart: Some(&chart) };
        let shown = Shown { mass_g: 200.0, u_mass_g: 0.004, balance_mm: None };
        let check = judge_check(&about, &weight(), EventId(uuid::Uuid::nil()), &shown);
        chart.take(&check, 10);
        assert_eq!((chart.due_us(&policy), chart.trouble(&policy, 10 + DAY_US)), (Some(10 + DAY_US), None));
        assert_eq!(chart.trouble(&policy, 11 + DAY_US).as_deref(), Some("is overdue for its check"));
        chart.calibrated(20 + DAY_US, Calibrated::WithReferences);
        assert_eq!(chart.trouble(&policy, 21 + DAY_US), None);
    }
}
