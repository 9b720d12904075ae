//! Calibration of an instrument from placements of references: the curve of a scale, the cells of a beam, the datum
//! of a gauge.
//!
//! Net indications and what lay there come in, a calibration with its uncertainties and what was found on the way go
//! out. Absent: how a placement came to rest, and whether the adjustment should come into force.

use super::calibration::{BeamCalibration, ScaleCalibration, Scatter};
use super::distribution::f_significance;
use super::fit::{FitError, fit_polynomial};
use super::gauge::{Datum, GaugeCalibration, Hand};
use super::unit::{Degrees, Grams, Millimetres};

/// Why an instrument cannot be adjusted from these placements.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AdjustmentError {
    /// Too few placements.
    #[error("{found} placements{of}, expected at least {needed}")]
    TooFew {
        /// Of what, with a blank before it; empty where there is one kind.
        of: &'static str,
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
    /// The weights are too much alike for a curve.
    #[error("the weights are too much alike, expected different ones, such as 200 g, 500 g and 1000 g")]
    AlikeWeights,
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
    /// As a club of which hand it lay there.
    pub hand: Hand,
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

/// Below this chance an intercept is not taken for scatter (common practice).
const SIGNIFICANT: f64 = 0.05;

/// Straight line (`degree` 1) or quadratic (2) through the zero, which is tracked and so no reading of its own: the curve
/// that is fitted is the curve that is used, and what is said of it is said of that. Degrees of freedom are weighings less
/// terms.
///
/// A line that may miss the zero is fitted beside it and only told: an intercept that scatter does not explain speaks of a
/// wrong zero, or of a curve.
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
        return Err(AdjustmentError::TooFew { of: "", found: weighings.len(), needed });
    }
    if degree > 2 {
        return Err(AdjustmentError::Fit(FitError::Degree { found: degree }));
    }
    if weighings.iter().any(|w| !(w.indication_g.is_finite() && w.mass_g.is_finite())) {
        return Err(AdjustmentError::Fit(FitError::NotFinite));
    }
    let curve = through_zero(weighings, degree).ok_or(AdjustmentError::AlikeWeights)?;
    let ([span, bend], [sd_span, sd_bend]) = (curve.terms, curve.sd);
    if !(0.5..=2.0).contains(&span) {
        return Err(AdjustmentError::Implausible { what: "the span", found: span, expected: "0.5 to 2" });
    }
    let off = |w: &Weighing| w.mass_g - w.indication_g * (span + bend * w.indication_g);
    let largest = weighings.iter().map(|w| off(w).abs()).fold(0.0, f64::max);
    let u_span = sd_span.hypot(relative(weighings.iter().map(|w| (w.mass_g, w.u_mass_g))));
    let calibration = ScaleCalibration {
        span,
        bend_per_g: bend,
        u_span,
        u_linearity: Grams(curve.residual_sd),
        u_eccentricity: before.u_eccentricity,
        scatter: Some(Scatter { u: sd_span, freedom: curve.freedom }),
    };
    let mut findings = vec![finding("span", span, sd_span)];
    if degree > 1 {
        findings.push(finding("bend, 1/g", bend, sd_bend));
    }
    findings.push(finding("scatter about the curve, g", curve.residual_sd, None));
    findings.push(finding("largest distance from the curve, g", largest, None));
    findings.extend(intercept(weighings, degree).into_iter().flatten());
    Ok((calibration, findings))
}

/// A curve through the zero: span and bend, their standard deviations, and the scatter about it.
struct ThroughZero {
    terms: [f64; 2],
    sd: [f64; 2],
    residual_sd: f64,
    freedom: f64,
}

fn through_zero(weighings: &[Weighing], degree: usize) -> Option<ThroughZero> {
    let largest = weighings.iter().map(|w| w.indication_g.abs()).fold(0.0, f64::max);
    if largest <= 0.0 {
        return None;
    }
    // Scaled to 1, so that both columns are of one size.
    let rows: Vec<Equation> = weighings
        .iter()
        .map(|w| {
            let x = w.indication_g / largest;
            ([x, x * x], w.mass_g)
        })
        .collect();
    let (terms, sd) = if degree == 2 {
        two_terms(&rows)?
    } else {
        let (term, sd) = one_term(&rows)?;
        ([term, 0.0], [sd, 0.0])
    };
    let squares: f64 = rows.iter().map(|([x, xx], y)| (y - terms[0] * x - terms[1] * xx).powi(2)).sum();
    let freedom = f64::from(u32::try_from(rows.len().checked_sub(degree).filter(|freedom| *freedom > 0)?).ok()?);
    let powers = [largest, largest * largest];
    Some(ThroughZero {
        terms: [terms[0] / powers[0], terms[1] / powers[1]],
        sd: [sd[0] / powers[0], sd[1] / powers[1]],
        residual_sd: (squares / freedom).sqrt(),
        freedom,
    })
}

/// The intercept of a curve that may miss the zero, and the chance of one as large without a cause (t test as F with one
/// and n - p degrees of freedom). `None` where the weighings are too few to tell.
fn intercept(weighings: &[Weighing], degree: usize) -> Option<[Finding; 2]> {
    let x: Vec<f64> = weighings.iter().map(|w| w.indication_g).collect();
    let y: Vec<f64> = weighings.iter().map(|w| w.mass_g).collect();
    let fit = fit_polynomial(&x, &y, degree).ok()?;
    let (value, sd) = (*fit.coefficients.first()?, *fit.sd_coefficients.first()?);
    let freedom = f64::from(u32::try_from(fit.degrees_of_freedom).ok()?);
    let chance = if sd > 0.0 { f_significance((value / sd).powi(2), 1.0, freedom)? } else { return None };
    let words = if chance < SIGNIFICANT {
        "chance of such an intercept by scatter; the zero was off, or the curve is bent"
    } else {
        "chance of such an intercept by scatter"
    };
    Some([finding("intercept of a curve that may miss the zero, g", value, sd), finding(words, chance, None)])
}

/// What multiplies the two coefficients in one equation, and its right side.
type Equation = ([f64; 2], f64);

/// Least squares of `y = a·p`: the coefficient and its standard deviation.
fn one_term(rows: &[Equation]) -> Option<(f64, f64)> {
    let pp: f64 = rows.iter().map(|([p, _], _)| p * p).sum();
    let a = rows.iter().map(|([p, _], y)| p * y).sum::<f64>() / pp;
    let squares: f64 = rows.iter().map(|([p, _], y)| (y - a * p).powi(2)).sum();
    let freedom = f64::from(u32::try_from(rows.len().checked_sub(1).filter(|freedom| *freedom > 0)?).ok()?);
    a.is_finite().then(|| (a, (squares / freedom / pp).sqrt()))
}

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
        return Err(AdjustmentError::TooFew { of: "", found: hangings.len(), needed: 3 });
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
    let of_cells = (sd_a / a).abs().max((sd_b / b).abs());
    let u_span = of_cells.hypot(relative(hangings.iter().map(|h| (h.mass_g, h.u_mass_g))));
    // Two numbers are worked out from the placements.
    let freedom = f64::from(u32::try_from(hangings.len() - 2).unwrap_or(u32::MAX));
    let scatter = Some(Scatter { u: of_cells, freedom });
    let mut after = BeamCalibration { counts_per_gram: [1.0 / a, 1.0 / b], u_span, scatter, ..before.clone() };
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
        after.supports_freedom = Some(freedom);
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

/// The datum of each hand: what the gauge shows too much, as a mean over placements.
///
/// Without placements as left-handed clubs the datum of that hand is not known any more: whether the sensor or the fixture
/// has moved since it was found, which bear on it in opposite ways, cannot be told from the other hand.
///
/// # Errors
/// Fewer than two placements of a hand: one cannot tell how well it repeats.
pub fn adjust_gauge(
    angles: &[Angle],
    before: &GaugeCalibration,
) -> Result<(GaugeCalibration, Vec<Finding>), AdjustmentError> {
    let of = |hand: Hand| angles.iter().filter(|angle| angle.hand == hand).copied().collect::<Vec<_>>();
    let right = datum_of(&of(Hand::Right), " of the block as a right-handed club")?;
    let left = of(Hand::Left);
    let left = if left.is_empty() { None } else { Some(datum_of(&left, " of the block as a left-handed club")?) };
    let found: Vec<&FoundDatum> = [Some(&right), left.as_ref()].into_iter().flatten().collect();
    // The hands share one uncertainty, that of the worse.
    let sd = found.iter().flat_map(|datum| datum.sd).fold(0.0, f64::max);
    let freedom = found.iter().map(|datum| datum.freedom).fold(f64::INFINITY, f64::min);
    let u_truth = angles.iter().map(|a| a.u_truth_deg).fold(0.0, f64::max);
    let after = GaugeCalibration {
        lie_datum: right.datum.lie,
        loft_datum: right.datum.loft,
        left: left.as_ref().map(|left| left.datum),
        u_datum: Degrees(sd.hypot(u_truth)),
        scatter: Some(Scatter { u: sd, freedom }),
        ..before.clone()
    };
    let [sd_lie, sd_loft] = right.sd;
    let mut findings = vec![
        finding("datum of the lie, deg", right.datum.lie.0, sd_lie),
        finding("datum of the loft, deg", right.datum.loft.0, sd_loft),
    ];
    if let Some(left) = left {
        let [left_sd_lie, left_sd_loft] = left.sd;
        findings.extend([
            finding("datum of a left-handed lie, deg", left.datum.lie.0, left_sd_lie),
            finding("datum of a left-handed loft, deg", left.datum.loft.0, left_sd_loft),
            finding("roll of the fixture, deg", after.roll_deg(), sd_lie.hypot(left_sd_lie) / 2.0),
        ]);
    }
    Ok((after, findings))
}

/// A datum with the standard deviations of lie and loft, and their degrees of freedom.
struct FoundDatum {
    datum: Datum,
    sd: [f64; 2],
    freedom: f64,
}

fn datum_of(angles: &[Angle], of: &'static str) -> Result<FoundDatum, AdjustmentError> {
    let n = f64::from(u32::try_from(angles.len()).unwrap_or(u32::MAX));
    if angles.len() < 2 {
        return Err(AdjustmentError::TooFew { of, found: angles.len(), needed: 2 });
    }
    let mean = |off: &dyn Fn(&Angle) -> f64| -> (f64, f64) {
        let off: Vec<f64> = angles.iter().map(off).collect();
        let mean = off.iter().sum::<f64>() / n;
        let squares: f64 = off.iter().map(|value| (value - mean) * (value - mean)).sum();
        (mean, (squares / (n - 1.0) / n).sqrt())
    };
    let (lie, sd_lie) = mean(&|a| a.indication_deg[0] - a.truth_deg[0]);
    let (loft, sd_loft) = mean(&|a| a.indication_deg[1] - a.truth_deg[1]);
    let datum = Datum { lie: Degrees(lie), loft: Degrees(loft) };
    Ok(FoundDatum { datum, sd: [sd_lie, sd_loft], freedom: n - 1.0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_is_adjusted_through_its_zero_and_what_is_said_of_the_curve_is_true_of_it() {
        // A scale that shows 0.1 g too much at every load. By hand: s = Σ m·x / Σ x² with x = m + 0.1:
        // (1 290 000 + 0.1 · 1700) / (1 290 000 + 0.2 · 1700 + 0.03) = 1 290 170 / 1 290 340.03.
        let before = ScaleCalibration {
            span: 1.0,
            bend_per_g: 0.0,
            u_span: 0.0,
            u_linearity: Grams(0.0),
            u_eccentricity: Grams(0.0),
            scatter: None,
        };
        let at = |mass_g: f64| Weighing { indication_g: mass_g + 0.1, mass_g, u_mass_g: 0.0 };
        let weighings = [at(200.0), at(500.0), at(1000.0)];
        let (after, findings) = adjust_scale(&weighings, 1, &before).unwrap();
        let span = 1_290_170.0 / 1_290_340.03;
        assert!((after.span - span).abs() < 1e-13, "{after:?}");
        // As left it is off by s·x − m, worked out from that span: 0.0736, 0.0341 and −0.0318 g.
        let left = [0.073_632_5, 0.034_101_1, -0.031_784_6];
        for (weighing, left) in weighings.iter().zip(left) {
            let shown =
                crate::measurement::calibration::Calibration::Scale(after.clone()).levels([weighing.indication_g, 0.0]);
            assert!((shown[0] - weighing.mass_g - left).abs() < 2e-6, "{shown:?} {left}");
        }
        let told = |name: &str| findings.iter().find(|f| f.name.starts_with(name)).unwrap().value;
        assert!((told("largest distance from the curve") - left[0]).abs() < 2e-6, "{findings:?}");
        // Three weighings less one term: two degrees of freedom.
        let scatter = (left.iter().map(|off| off * off).sum::<f64>() / 2.0).sqrt();
        assert!((after.u_linearity.0 - scatter).abs() < 2e-6, "{after:?} {scatter}");
        assert!(after.scatter.is_some_and(|of| (of.freedom - 2.0).abs() < 1e-12), "{after:?}");
    }

    #[test]
    fn an_intercept_is_told_and_not_used() {
        // Four weighings about m = 0.2 + x with residuals of 0.01 g: the intercept is real. Its standard deviation by hand:
        // σ √(Σx² / (n Sxx)), x = 100, 200, 300, 400: √(300 000 / (4 · 50 000)) = 1.2247 σ.
        let weighing =
            |indication_g: f64, off: f64| Weighing { indication_g, mass_g: indication_g + 0.2 + off, u_mass_g: 0.0 };
        let before = ScaleCalibration {
            span: 1.0,
            bend_per_g: 0.0,
            u_span: 0.0,
            u_linearity: Grams(0.0),
            u_eccentricity: Grams(0.0),
            scatter: None,
        };
        // Residuals that are orthogonal to 1 and x: (1, −1, −1, 1); σ² = 4 · 1e-4 / 2.
        let weighings = [weighing(100.0, 0.01), weighing(200.0, -0.01), weighing(300.0, -0.01), weighing(400.0, 0.01)];
        let (_, findings) = adjust_scale(&weighings, 1, &before).unwrap();
        let of = |name: &str| findings.iter().find(|f| f.name.starts_with(name)).unwrap();
        let found = of("intercept");
        assert!(
            (found.value - 0.2).abs() < 1e-9 && (found.u.unwrap() - 1.224_744_9 * 2e-4_f64.sqrt()).abs() < 1e-7,
            "{found:?}"
        );
        // Student's t of 0.2 / 0.01732 = 11.547 with two degrees of freedom: 2 · (1/2 − t / (2 √(2 + t²))) = 0.0074.
        let chance = of("chance");
        assert!((chance.value - (1.0 - 11.547_005 / (2.0_f64 + 133.333_33).sqrt())).abs() < 1e-6, "{chance:?}");
        assert!(chance.name.contains("the zero was off"), "{}", chance.name);
    }

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
