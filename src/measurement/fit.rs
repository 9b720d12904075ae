//! Least-squares polynomials for calibration curves, with the uncertainty of everything they say.
//!
//! Points come in, coefficients and predictions with standard uncertainties go out. No weighting and no choice of the
//! degree: the caller says it.
//!
//! The abscissa is centred and scaled to ±1 and everything is solved in two doubles, so curves whose coefficients lie
//! twenty orders of magnitude apart come out to the last printed digit (checked against NIST StRD).

use super::double_double::DoubleDouble;
use super::matrix::{Matrix, TERMS, invert};

/// Largest degree: beyond it a calibration curve follows the noise.
pub const LARGEST_DEGREE: usize = TERMS - 1;

/// Why there is no curve through the points.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// A degree this does not do.
    #[error("degree is {found}, expected 0 to {LARGEST_DEGREE}")]
    Degree {
        /// Degree asked for.
        found: usize,
    },
    /// As many places as values are needed.
    #[error("{x} places for {y} values, expected as many")]
    Lengths {
        /// Number of abscissas.
        x: usize,
        /// Number of ordinates.
        y: usize,
    },
    /// No degree of freedom would be left.
    #[error("{found} points, expected at least {needed} for this degree")]
    TooFew {
        /// Points found.
        found: usize,
        /// Points needed.
        needed: usize,
    },
    /// The places do not determine a curve.
    #[error("{found} different places, expected at least {needed} for this degree")]
    Singular {
        /// Different abscissas found.
        found: usize,
        /// Different abscissas needed.
        needed: usize,
    },
    /// A number is infinite, not a number, or grew too large on the way.
    #[error("a number is not finite or too large to work with")]
    NotFinite,
}

/// A fitted polynomial in powers of x, lowest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Coefficients of 1, x, x², …
    pub coefficients: Vec<f64>,
    /// Standard uncertainties of the coefficients.
    pub sd_coefficients: Vec<f64>,
    /// Standard deviation of the points about the curve.
    pub residual_sd: f64,
    /// Share of the variation explained. `None` when the values do not vary.
    pub r_squared: Option<f64>,
    /// Points less coefficients.
    pub degrees_of_freedom: usize,
    /// Largest distance of a point from the curve.
    pub max_abs_residual: f64,
    covariance: Vec<Vec<f64>>,
    curve: Curve,
}

/// What the curve says at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// Value of the curve.
    pub value: f64,
    /// Standard uncertainty of the curve there; a single new reading scatters by `residual_sd` more.
    pub u_mean: f64,
}

/// The curve in the scaled abscissa, z = (x − centre) / scale.
#[derive(Debug, Clone, PartialEq)]
struct Curve {
    centre: DoubleDouble,
    scale: DoubleDouble,
    terms: usize,
    coefficients: [DoubleDouble; TERMS],
    inverse: Matrix,
    variance: DoubleDouble,
}

impl Curve {
    fn scaled(&self, x: DoubleDouble) -> DoubleDouble {
        (x - self.centre) / self.scale
    }

    fn at(&self, z: DoubleDouble) -> DoubleDouble {
        self.coefficients.iter().take(self.terms).rev().fold(DoubleDouble::ZERO, |sum, term| sum * z + *term)
    }

    /// Row j holds what the scaled coefficients add to the coefficient of x^j.
    fn to_powers_of_x(&self) -> Matrix {
        let mut rows = [[DoubleDouble::ZERO; TERMS]; TERMS];
        // Column k is ((x − centre) / scale)^k, multiplied out one factor at a time.
        let mut column = [DoubleDouble::ZERO; TERMS];
        column[0] = DoubleDouble::ONE;
        for k in 0..self.terms {
            for (row, value) in rows.iter_mut().zip(column) {
                row[k] = value;
            }
            let mut next = [DoubleDouble::ZERO; TERMS];
            for j in 0..TERMS {
                let lower = if j == 0 { DoubleDouble::ZERO } else { column[j - 1] };
                next[j] = (lower - self.centre * column[j]) / self.scale;
            }
            column = next;
        }
        rows
    }
}

impl Fit {
    /// The curve at a place. `None` when the place is not finite or the answer grows too large.
    #[must_use]
    pub fn predict(&self, x: f64) -> Option<Prediction> {
        let z = self.curve.scaled(DoubleDouble::from_decimal(x));
        let powers = powers(z, self.curve.terms);
        let mut form = DoubleDouble::ZERO;
        for (row, left) in self.curve.inverse.iter().zip(powers) {
            for (element, right) in row.iter().zip(powers) {
                form = form + left * *element * right;
            }
        }
        let value = self.curve.at(z).to_f64();
        let u_mean = (form * self.curve.variance).sqrt().to_f64();
        (value.is_finite() && u_mean.is_finite()).then_some(Prediction { value, u_mean })
    }

    /// Covariance of two coefficients, numbered by their power of x. `None` beyond the degree.
    #[must_use]
    pub fn covariance(&self, first: usize, second: usize) -> Option<f64> {
        self.covariance.get(first)?.get(second).copied()
    }
}

fn powers(z: DoubleDouble, terms: usize) -> [DoubleDouble; TERMS] {
    let mut powers = [DoubleDouble::ZERO; TERMS];
    let mut power = DoubleDouble::ONE;
    for place in powers.iter_mut().take(terms) {
        *place = power;
        power = power * z;
    }
    powers
}

/// Fits a polynomial of this degree. Numbers are taken as the decimals they were printed as.
///
/// # Errors
/// Lists of unequal length, fewer than `degree + 2` points, fewer than `degree + 1` different places, a degree above
/// [`LARGEST_DEGREE`], numbers that are not finite.
pub fn fit_polynomial(x: &[f64], y: &[f64], degree: usize) -> Result<Fit, FitError> {
    let (n, terms) = (x.len(), degree + 1);
    check_points(x, y, degree)?;
    let x: Vec<DoubleDouble> = x.iter().map(|number| DoubleDouble::from_decimal(*number)).collect();
    let y: Vec<DoubleDouble> = y.iter().map(|number| DoubleDouble::from_decimal(*number)).collect();
    let count = DoubleDouble::from(n as f64);
    let centre = x.iter().copied().sum::<DoubleDouble>() / count;
    let widest = x.iter().map(|place| (*place - centre).to_f64().abs()).fold(0.0, f64::max);
    let scale = if widest > 0.0 { widest } else { 1.0 };
    let mut curve = Curve {
        centre,
        scale: DoubleDouble::from(scale),
        terms,
        coefficients: [DoubleDouble::ZERO; TERMS],
        inverse: [[DoubleDouble::ZERO; TERMS]; TERMS],
        variance: DoubleDouble::ZERO,
    };
    let mean_y = y.iter().copied().sum::<DoubleDouble>() / count;
    let mut normal = [[DoubleDouble::ZERO; TERMS]; TERMS];
    let mut right = [DoubleDouble::ZERO; TERMS];
    for (place, value) in x.iter().zip(&y) {
        let powers = powers(curve.scaled(*place), terms);
        for i in 0..terms {
            for j in 0..terms {
                normal[i][j] = normal[i][j] + powers[i] * powers[j];
            }
            // Less the mean, so that a large constant does not swamp the sums; it is added back below.
            right[i] = right[i] + powers[i] * (*value - mean_y);
        }
    }
    curve.inverse = invert(normal, terms).ok_or(FitError::Singular { found: degree, needed: terms })?;
    for i in 0..terms {
        curve.coefficients[i] = (0..terms).map(|j| curve.inverse[i][j] * right[j]).sum();
    }
    curve.coefficients[0] = curve.coefficients[0] + mean_y;
    let mut residual_squares = DoubleDouble::ZERO;
    let mut total_squares = DoubleDouble::ZERO;
    let mut max_abs_residual = 0f64;
    for (place, value) in x.iter().zip(&y) {
        let residual = *value - curve.at(curve.scaled(*place));
        residual_squares = residual_squares + residual * residual;
        total_squares = total_squares + (*value - mean_y) * (*value - mean_y);
        max_abs_residual = max_abs_residual.max(residual.to_f64().abs());
    }
    let degrees_of_freedom = n - terms;
    curve.variance = residual_squares / DoubleDouble::from(degrees_of_freedom as f64);
    let r_squared =
        (total_squares.to_f64() > 0.0).then(|| (DoubleDouble::ONE - residual_squares / total_squares).to_f64());
    let fit = in_powers_of_x(curve, r_squared, degrees_of_freedom, max_abs_residual);
    let numbers = fit.coefficients.iter().chain(&fit.sd_coefficients).chain([&fit.residual_sd, &fit.max_abs_residual]);
    if numbers.chain(&r_squared).all(|number| number.is_finite()) { Ok(fit) } else { Err(FitError::NotFinite) }
}

fn in_powers_of_x(curve: Curve, r_squared: Option<f64>, degrees_of_freedom: usize, max_abs_residual: f64) -> Fit {
    let rows = curve.to_powers_of_x();
    let terms = curve.terms;
    let covariance = |first: usize, second: usize| {
        let mut sum = DoubleDouble::ZERO;
        for i in 0..terms {
            for j in 0..terms {
                sum = sum + rows[first][i] * curve.inverse[i][j] * rows[second][j];
            }
        }
        sum * curve.variance
    };
    Fit {
        coefficients: (0..terms)
            .map(|j| (0..terms).map(|k| rows[j][k] * curve.coefficients[k]).sum::<DoubleDouble>().to_f64())
            .collect(),
        sd_coefficients: (0..terms).map(|j| covariance(j, j).sqrt().to_f64()).collect(),
        residual_sd: curve.variance.sqrt().to_f64(),
        r_squared,
        degrees_of_freedom,
        max_abs_residual,
        covariance: (0..terms).map(|i| (0..terms).map(|j| covariance(i, j).to_f64()).collect()).collect(),
        curve,
    }
}

fn check_points(x: &[f64], y: &[f64], degree: usize) -> Result<(), FitError> {
    if degree > LARGEST_DEGREE {
        return Err(FitError::Degree { found: degree });
    }
    if x.len() != y.len() {
        return Err(FitError::Lengths { x: x.len(), y: y.len() });
    }
    if x.iter().chain(y).any(|number| !number.is_finite()) {
        return Err(FitError::NotFinite);
    }
    if x.len() < degree + 2 {
        return Err(FitError::TooFew { found: x.len(), needed: degree + 2 });
    }
    let mut places = x.to_vec();
    places.sort_by(f64::total_cmp);
    // Places that differ by rounding alone are one place.
    let widest = places.iter().fold(0f64, |widest, place| widest.max(place.abs()));
    places.dedup_by(|later, earlier| (*later - *earlier).abs() <= widest * 1e-13);
    if places.len() < degree + 1 {
        return Err(FitError::Singular { found: places.len(), needed: degree + 1 });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_on_a_parabola_give_the_parabola() {
        let x = [0.0, 1.0, 2.0, 3.0, 4.0];
        let y = x.map(|x| 3.0 - 2.0 * x + 0.5 * x * x);
        let fit = fit_polynomial(&x, &y, 2).unwrap();
        for (found, expected) in fit.coefficients.iter().zip([3.0, -2.0, 0.5]) {
            assert!((found - expected).abs() < 1e-14, "{fit:?}");
        }
        assert!(fit.residual_sd < 1e-14 && fit.r_squared == Some(1.0));
        assert!((fit.predict(10.0).unwrap().value - 33.0).abs() < 1e-12);
    }

    #[test]
    fn a_straight_line_agrees_with_hand_calculation() {
        // x 0, 1, 2 and y 1, 2, 4: slope 3/2, intercept 5/6, residual squares 1/6 with one degree of freedom.
        let fit = fit_polynomial(&[0.0, 1.0, 2.0], &[1.0, 2.0, 4.0], 1).unwrap();
        assert!((fit.coefficients[0] - 5.0 / 6.0).abs() < 1e-15 && (fit.coefficients[1] - 1.5).abs() < 1e-15);
        assert!((fit.residual_sd - (1.0f64 / 6.0).sqrt()).abs() < 1e-15);
        // At the mean of x the curve is known to s / sqrt(n); the covariance is -mean(x) s^2 / Sxx.
        assert!((fit.predict(1.0).unwrap().u_mean - (1.0f64 / 18.0).sqrt()).abs() < 1e-15);
        assert!((fit.covariance(0, 1).unwrap() + 1.0 / 12.0).abs() < 1e-15);
        assert_eq!(fit.covariance(0, 2), None);
    }

    #[test]
    fn values_that_do_not_vary_have_no_r_squared() {
        let fit = fit_polynomial(&[0.0, 1.0, 2.0], &[5.0; 3], 1).unwrap();
        assert_eq!((fit.r_squared, fit.coefficients), (None, vec![5.0, 0.0]));
    }

    #[test]
    fn points_that_do_not_determine_a_curve_are_refused() {
        let check = |x: &[f64], y: &[f64], degree: usize| fit_polynomial(x, y, degree).unwrap_err();
        assert_eq!(check(&[1.0; 4], &[1.0, 2.0, 3.0, 4.0], 1), FitError::Singular { found: 1, needed: 2 });
        assert_eq!(check(&[1.0, 2.0, 1.0, 2.0], &[1.0; 4], 2), FitError::Singular { found: 2, needed: 3 });
        assert_eq!(check(&[1.0, 2.0], &[1.0, 2.0], 1), FitError::TooFew { found: 2, needed: 3 });
        assert_eq!(check(&[], &[], 0), FitError::TooFew { found: 0, needed: 2 });
        assert_eq!(check(&[1.0, 2.0, 3.0], &[1.0, 2.0], 1), FitError::Lengths { x: 3, y: 2 });
        assert_eq!(check(&[1.0, 2.0, f64::NAN], &[1.0; 3], 1), FitError::NotFinite);
        assert_eq!(check(&[1.0; 9], &[1.0; 9], 7), FitError::Degree { found: 7 });
        assert_eq!(check(&[0.1 + 0.2, 0.3, 0.3], &[1.0, 2.0, 3.0], 1), FitError::Singular { found: 1, needed: 2 });
    }
}
