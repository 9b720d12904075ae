//! The verdict on a check of a gauge with a block of known angles, such as a gauge block or a try square.
//!
//! What the block holds and what the gauge showed come in, a check with its zone and reason goes out: against the
//! uncertainty of both, against the chart of the first checks, and for a trend, as check weights are judged.

use super::as_left::Off;
use super::check_verdict::{Finding, against_chart, trend};
use super::checks::{Chart, CheckZone};
use super::event::EventId;
use super::reference::Angles;
use crate::measurement::reading::Quantity;

/// One angle of a check.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AngleError {
    /// Lie or loft.
    pub quantity: Quantity,
    /// What the block holds, in degrees.
    pub reference_deg: f64,
    /// What the gauge showed with its datum taken off, in the sense it reads, in degrees.
    pub indication_deg: f64,
    /// Indication less reference, in degrees.
    pub error_deg: f64,
    /// Standard uncertainty of the error, in degrees: gauge with its datum, and block.
    pub u_deg: f64,
}

/// One check of a gauge.
#[derive(Debug, Clone, PartialEq)]
pub struct AngleCheck {
    /// Which gauge.
    pub instrument: String,
    /// The `reading_captured` event, with its raw bytes.
    pub reading: EventId,
    /// The block.
    pub angles: Angles,
    /// Lie and loft.
    pub errors: Vec<AngleError>,
    /// The verdict, of the worse angle.
    pub zone: CheckZone,
    /// Why, in words.
    pub reason: String,
}

/// Judges a check of the gauge `instrument` with steps of `resolution_deg`.
///
/// `shown` holds lie and loft as the gauge reads them, each with its standard uncertainty, in degrees. The datum's is in
/// it: that the gauge is as good as its calibration says is what is checked (the normalized error of ISO 13528, with 2 and
/// 3 standard uncertainties).
#[must_use]
pub fn judge_angles(
    instrument: &str,
    resolution_deg: f64,
    chart: Option<&Chart>,
    angles: &Angles,
    reading: EventId,
    shown: [(f64, f64); 2],
) -> AngleCheck {
    let references = [(Quantity::Lie, angles.lie_deg), (Quantity::Loft, angles.loft_deg)];
    let errors: Vec<AngleError> = references
        .into_iter()
        .zip(shown)
        .map(|((quantity, reference_deg), (indication_deg, u))| AngleError {
            quantity,
            reference_deg,
            indication_deg,
            error_deg: indication_deg - reference_deg,
            u_deg: u.hypot(angles.u_deg),
        })
        .collect();
    let judged = errors.iter().map(|error| {
        let mut findings =
            vec![Off { error: error.error_deg, u: error.u_deg }.against_uncertainty(error.quantity, "deg")];
        let before = chart.map(|chart| chart.angle_errors(error.quantity)).unwrap_or_default();
        if let Some(limits) = chart.and_then(|chart| chart.angle_limits(error.quantity, resolution_deg)) {
            findings.push(against_chart(error.error_deg, limits, error.quantity));
        }
        findings.extend(trend(&[before, vec![error.error_deg]].concat(), error.quantity, "deg"));
        let worst = findings.into_iter().rev().max_by_key(|(zone, _)| *zone);
        worst.unwrap_or((CheckZone::Good, String::new()))
    });
    let judged: Vec<Finding> = judged.collect();
    let zone = judged.iter().map(|(zone, _)| *zone).max().unwrap_or(CheckZone::Good);
    let told: Vec<&str> = judged.iter().filter(|(of, _)| *of == zone).map(|(_, reason)| reason.as_str()).collect();
    let (instrument, reason) = (instrument.to_owned(), told.join("; "));
    AngleCheck { instrument, reading, angles: angles.clone(), errors, zone, reason }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::gauge::Hand;

    fn block() -> Angles {
        Angles { lie_deg: 60.0, loft_deg: 30.0, hand: Hand::Right, u_deg: 0.02, certificate: None }
    }

    fn check(chart: &mut Chart, day: i64, lie: f64, loft: f64) -> AngleCheck {
        let nobody = EventId(uuid::Uuid::nil());
        let check =
            judge_angles("gauge", 0.01, Some(chart), &block(), nobody, [(60.0 + lie, 0.015), (30.0 + loft, 0.015)]);
        chart.take_angles(&check, day * 86_400_000_000);
        check
    }

    #[test]
    fn an_error_is_compared_with_the_uncertainty_of_gauge_and_block() {
        // By hand: u = √(0.015² + 0.02²) = 0.025; twice 0.05, three times 0.075.
        for (lie, loft, zone, words) in [
            (0.04, 0.0, CheckZone::Good, "reads +0.040 deg off in lie; reads +0.000 deg off in loft"),
            (0.04, -0.06, CheckZone::Warning, "reads -0.060 deg off in loft, more than twice"),
            (0.08, 0.06, CheckZone::Out, "reads +0.080 deg off in lie, more than three times"),
        ] {
            let found = check(&mut Chart::default(), 0, lie, loft);
            assert!((found.errors[0].u_deg - 0.025).abs() < 1e-12);
            assert_eq!(found.zone, zone, "{found:?}");
            assert!(found.reason.starts_with(words), "{}", found.reason);
        }
    }

    #[test]
    fn a_gauge_that_moves_away_from_its_first_checks_is_caught_inside_its_uncertainty() {
        let mut chart = Chart::default();
        for (day, lie) in (0..).zip([0.01, -0.01, 0.01, -0.01, 0.01, -0.01, 0.01, -0.01, 0.01, -0.01]) {
            assert_eq!(check(&mut chart, day, lie, 0.0).zone, CheckZone::Good);
        }
        // s by hand: √(10 · 0.01² / 9) = 0.01054; 0.035 is 3.3 s from the mean, and less than 2 u.
        let found = check(&mut chart, 10, 0.035, 0.0);
        assert!(found.zone == CheckZone::Out && found.reason.contains("+3.3 s"), "{found:?}");
        assert!(chart.out().is_some());
        // A gauge that was adjusted begins a new chart.
        chart.calibrated(1, crate::work_order::checks::Calibrated::WithReferences);
        assert_eq!(check(&mut chart, 10, 0.035, 0.0).zone, CheckZone::Good);
    }
}
