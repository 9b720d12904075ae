//! Calibration of an instrument from placements of references: the curve of a scale, the cells of a beam, the datum
//! of a gauge.
//!
//! Net indications and what lay there come in, a calibration with its uncertainties and what was found on the way go
//! out. Absent: how a placement came to rest, and whether the adjustment should come into force.

use super::calibration::{BeamCalibration, GaugeCalibration, ScaleCalibration};
use super::fit::{FitError, fit_polynomial};
use super::unit::{Degrees, Grams, Millimetres};

/// Why an instrument cannot be adjusted from these placements.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AdjustmentError {
    /// Too few placements.
    #[error("{found} placements, expected at least {needed}")]
    TooFew {
        /// How many there are.
        found: usize,
        /// How many are needed.
        needed: usize,
    },
    /// There is no curve through them.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// The placements are too much alike.
    #[error("the weight lay at nearly one place each time, expected places apart, such as 150 mm, 450 mm and 800 mm")]
    Alike,
    /// What comes out is no calibration.
    #[error("{what} comes out as {found}, expected {expected}: was a wrong weight laid on?")]
    Implausible {
        /// Which number.
        what: &'static str,
        /// Its value.
        found: f64,
        /// What would do.
        expected: &'static str,
    },
}

/// A number that came out of an adjustment, with its standard uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Its name, with its unit.
    pub name: String,
    /// The value.
    pub value: f64,
    /// Its standard uncertainty from the scatter of the placements, where there is one.
    pub u: Option<f64>,
}

fn finding(name: &str, value: f64, u: impl Into<Option<f64>>) -> Finding {
    Finding { name: name.to_owned(), value, u: u.into() }
}

/// One weight on a scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighing {
    /// Net indication, in grams as the instrument sends them.
    pub indication_g: f64,
    /// Conventional mass, in grams.
    pub mass_g: f64,
    /// Standard uncertainty of `mass_g`.
    pub u_mass_g: f64,
}

/// One placement of a weight on a beam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hanging {
    /// Net counts of both cells.
    pub counts: [f64; 2],
    /// Conventional mass, in grams.
    pub mass_g: f64,
    /// Standard uncertainty of `mass_g`.
    pub u_mass_g: f64,
    /// Where it hung, from the butt stop, in millimetres.
    pub at_mm: f64,
}

/// One placement of a block of known angles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angle {
    /// Indicated lie and loft, in degrees.
    pub indication_deg: [f64; 2],
    /// True lie, and loft in the sense the gauge reads, in degrees.
    pub truth_deg: [f64; 2],
    /// Standard uncertainty of the truth, in degrees.
    pub u_truth_deg: f64,
}

/// Largest standard uncertainty of the masses relative to them: the references of one set are from one maker, so their
/// errors are taken as fully correlated.
fn relative(masses: impl Iterator<Item = (f64, f64)>) -> f64 {
    masses.map(|(mass, u)| if mass > 0.0 { u / mass } else { 0.0 }).fold(0.0, f64::max)
}

/// Straight line (`degree` 1) or quadratic (2) through weighings and the tracked zero, which is a point of its own.
///
/// # Errors
/// Too few different weights, or a span far from 1.
pub fn adjust_scale(
    weighings: &[Weighing],
    degree: usize,
    before: &ScaleCalibration,
) -> Result<(ScaleCalibration, Vec<Finding>), AdjustmentError> {
    let needed = degree + 1;
    if weighings.len() < needed {
        return Err(AdjustmentError::TooFew { found: weighings.len(), needed });
    }
    let x: Vec<f64> = std::iter::once(0.0).chain(weighings.iter().map(|w| w.indication_g)).collect();
    let y: Vec<f64> = std::iter::once(0.0).chain(weighings.iter().map(|w| w.mass_g)).collect();
    let fit = fit_polynomial(&x, &y, degree)?;
    let term = |power: usize| fit.coefficients.get(power).copied().unwrap_or(0.0);
    let sd = |power: usize| fit.sd_coefficients.get(power).copied().unwrap_or(0.0);
    let span = term(1);
    if !(0.5..=2.0).contains(&span) {
        return Err(AdjustmentError::Implausible { what: "the span", found: span, expected: "0.5 to 2" });
    }
    let u_span = sd(1).hypot(relative(weighings.iter().map(|w| (w.mass_g, w.u_mass_g))));
    let calibration = ScaleCalibration {
        span,
        bend_per_g: term(2),
        u_span,
        u_linearity: Grams(fit.residual_sd),
        u_eccentricity: before.u_eccentricity,
    };
    let mut findings = vec![
        finding("zero, g", term(0), sd(0)),
        finding("span", span, sd(1)),
        finding("scatter about the curve, g", fit.residual_sd, None),
        finding("largest distance from the curve, g", fit.max_abs_residual, None),
    ];
    if degree > 1 {
        findings.insert(2, finding("bend, 1/g", term(2), sd(2)));
    }
    Ok((calibration, findings))
}

/// What multiplies the two coefficients in one equation, and its right side.
type Equation = ([f64; 2], f64);

/// Least squares of `y = a·p + b·q`: both coefficients and their standard deviations.
fn two_terms(rows: &[Equation]) -> Option<([f64; 2], [f64; 2])> {
    let sum = |of: &dyn Fn(&Equation) -> f64| rows.iter().map(of).sum::<f64>();
    let pp = sum(&|([p, _], _)| p * p);
    let qq = sum(&|([_, q], _)| q * q);
    let pq = sum(&|([p, q], _)| p * q);
    let (py, qy) = (sum(&|([p, _], y)| p * y), sum(&|([_, q], y)| q * y));
    let determinant = pp * qq - pq * pq;
    // Two columns that are multiples of each other do not tell the cells apart.
    if determinant <= 1e-6 * pp * qq {
        return None;
    }
    let (a, b) = ((qq * py - pq * qy) / determinant, (pp * qy - pq * py) / determinant);
    let squares = sum(&|([p, q], y)| (y - a * p - b * q).powi(2));
    let freedom = f64::from(u32::try_from(rows.len().checked_sub(2).filter(|freedom| *freedom > 0)?).ok()?);
    let variance = squares / freedom;
    Some(([a, b], [(variance * qq / determinant).sqrt(), (variance * pp / determinant).sqrt()]))
}

/// Grams a count of both cells from a weight at places along the beam: `M = a·c₁ + b·c₂`, whatever the places are. With
/// `supports` also the places of the supports: `M·x = x₁·a·c₁ + x₂·b·c₂`.
///
/// `u_at_mm` is the standard uncertainty of the places, common to all of them (the butt stop).
///
/// # Errors
/// Fewer than three placements, places too near each other, numbers that cannot be a beam's.
pub fn adjust_beam(
    hangings: &[Hanging],
    supports: bool,
    u_at_mm: f64,
    before: &BeamCalibration,
) -> Result<(BeamCalibration, Vec<Finding>), AdjustmentError> {
    if hangings.len() < 3 {
        return Err(AdjustmentError::TooFew { found: hangings.len(), needed: 3 });
    }
    let totals: Vec<([f64; 2], f64)> = hangings.iter().map(|h| (h.counts, h.mass_g)).collect();
    let ([a, b], [sd_a, sd_b]) = two_terms(&totals).ok_or(AdjustmentError::Alike)?;
    for per_count in [a, b] {
        if !(per_count.is_finite() && per_count.abs() > 1e-12) {
            return Err(AdjustmentError::Implausible {
                what: "grams a count",
                found: per_count,
                expected: "a number that is not zero",
            });
        }
    }
    let u_span =
        (sd_a / a).abs().max((sd_b / b).abs()).hypot(relative(hangings.iter().map(|h| (h.mass_g, h.u_mass_g))));
    let mut after = BeamCalibration { counts_per_gram: [1.0 / a, 1.0 / b], u_span, ..before.clone() };
    let mut findings = vec![
        finding("cell 1, counts/g", 1.0 / a, (sd_a / (a * a)).abs()),
        finding("cell 2, counts/g", 1.0 / b, (sd_b / (b * b)).abs()),
    ];
    let loads: Vec<([f64; 2], f64)> =
        hangings.iter().map(|h| ([a * h.counts[0], b * h.counts[1]], h.mass_g * h.at_mm)).collect();
    if supports {
        let ([x1, x2], [sd_x1, sd_x2]) = two_terms(&loads).ok_or(AdjustmentError::Alike)?;
        if (x2 - x1).abs() < 50.0 {
            return Err(AdjustmentError::Implausible {
                what: "the distance of the supports",
                found: x2 - x1,
                expected: "50 mm or more",
            });
        }
        after.geometry.x1 = Millimetres(x1);
        after.geometry.x2 = Millimetres(x2);
        after.geometry.u_x1 = Millimetres(sd_x1);
        after.geometry.u_x2 = Millimetres(sd_x2);
        after.u_butt_stop = Millimetres(u_at_mm);
        findings.push(finding("support 1, mm", x1, sd_x1.hypot(u_at_mm)));
        findings.push(finding("support 2, mm", x2, sd_x2.hypot(u_at_mm)));
    }
    let geometry = after.geometry;
    let off = |([r1, r2], moment): &([f64; 2], f64)| (r1 * geometry.x1.0 + r2 * geometry.x2.0 - moment) / (r1 + r2);
    let largest = loads.iter().map(|load| off(load).abs()).fold(0.0, f64::max);
    findings.push(finding("largest error of the balance point, mm", largest, None));
    Ok((after, findings))
}

/// The datum: what the gauge shows too much, as a mean over placements.
///
/// # Errors
/// Fewer than two placements: one cannot tell how well it repeats.
pub fn adjust_gauge(
    angles: &[Angle],
    before: &GaugeCalibration,
) -> Result<(GaugeCalibration, Vec<Finding>), AdjustmentError> {
    let count = angles.len();
    let n = f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    if count < 2 {
        return Err(AdjustmentError::TooFew { found: count, needed: 2 });
    }
    let datum = |channel: usize| -> (f64, f64) {
        let of = |list: &[f64; 2]| list.get(channel).copied().unwrap_or_default();
        let off: Vec<f64> = angles.iter().map(|a| of(&a.indication_deg) - of(&a.truth_deg)).collect();
        let mean = off.iter().sum::<f64>() / n;
        let squares: f64 = off.iter().map(|value| (value - mean) * (value - mean)).sum();
        (mean, (squares / (n - 1.0) / n).sqrt())
    };
    let ((lie, sd_lie), (loft, sd_loft)) = (datum(0), datum(1));
    let u_truth = angles.iter().map(|a| a.u_truth_deg).fold(0.0, f64::max);
    let after = GaugeCalibration {
        lie_datum: Degrees(lie),
        loft_datum: Degrees(loft),
        u_datum: Degrees(sd_lie.max(sd_loft).hypot(u_truth)),
        ..before.clone()
    };
    Ok((after, vec![finding("datum of the lie, deg", lie, sd_lie), finding("datum of the loft, deg", loft, sd_loft)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_terms_agree_with_hand_calculation() {
        // y = 2p + 3q exactly at (1, 0), (0, 1), (1, 1); the last is one too high. Normal equations by hand:
        // [2 1; 1 2]·[a b] = [2 + 6; 3 + 6] = [8; 9]: a = 7/3, b = 10/3, residuals -1/3, -1/3, 1/3, variance 1/3,
        // sd = sqrt(1/3 · 2/3).
        let ([a, b], [sd_a, sd_b]) = two_terms(&[([1.0, 0.0], 2.0), ([0.0, 1.0], 3.0), ([1.0, 1.0], 6.0)]).unwrap();
        for (found, expected) in
            [(a, 7.0 / 3.0), (b, 10.0 / 3.0), (sd_a, (2.0f64 / 9.0).sqrt()), (sd_b, (2.0f64 / 9.0).sqrt())]
        {
            assert!((found - expected).abs() < 1e-14, "{found} {expected}");
        }
        assert_eq!(two_terms(&[([1.0, 2.0], 1.0), ([2.0, 4.0], 2.0), ([3.0, 6.0], 3.0)]), None);
    }
}
