//! Coverage factors and significance: Student's t, the F and chi-squared distributions, effective degrees of freedom.
//!
//! Probabilities and degrees of freedom come in, factors and probabilities go out. No sampling.

/// Standard uncertainty of a quantity known to lie within `± half_width`, equally likely anywhere (JCGM 100, 4.3.7).
#[must_use]
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

/// Root sum of squares of independent contributions (JCGM 100, 5.1.2).
#[must_use]
pub fn combined(contributions: &[f64]) -> f64 {
    contributions.iter().map(|u| u * u).sum::<f64>().sqrt()
}

/// Effective degrees of freedom by Welch and Satterthwaite (JCGM 100, G.4.1), from `(u, degrees of freedom)`.
///
/// Contributions known exactly have infinite degrees of freedom; the answer is infinite when all do.
#[must_use]
pub fn effective_freedom(contributions: &[(f64, f64)]) -> f64 {
    let total: f64 = contributions.iter().map(|(u, _)| u * u).sum();
    let below: f64 = contributions.iter().map(|(u, freedom)| u.powi(4) / freedom).sum();
    if below > 0.0 { total * total / below } else { f64::INFINITY }
}

/// Student's t that covers `confidence` (two-sided, 0 to 1 exclusive) with these degrees of freedom.
///
/// `None` when the confidence is outside (0, 1) or the degrees of freedom are not positive. Infinite degrees of
/// freedom are answered with those of ten million, which differ from the normal factor in the seventh digit.
#[must_use]
pub fn coverage_factor(confidence: f64, freedom: f64) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0 && freedom > 0.0) {
        return None;
    }
    let freedom = freedom.min(1e7);
    let outside = |t: f64| incomplete_beta(freedom / 2.0, 0.5, freedom / (freedom + t * t));
    let (mut low, mut high) = (0.0, 1.0);
    while outside(high)? > 1.0 - confidence {
        high *= 2.0;
        if high > 1e12 {
            return None;
        }
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if outside(middle)? > 1.0 - confidence { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}

/// Probability that chance alone gives an F ratio at least this large.
///
/// `None` for a negative ratio or degrees of freedom that are not positive.
#[must_use]
pub fn f_significance(ratio: f64, above: f64, below: f64) -> Option<f64> {
    if !(ratio >= 0.0 && above > 0.0 && below > 0.0) {
        return None;
    }
    incomplete_beta(below / 2.0, above / 2.0, below / (below + above * ratio))
}

/// What a chi-squared variable with these degrees of freedom stays below with this probability (0 to 1 exclusive).
///
/// `None` outside of that, or when the degrees of freedom are not positive.
#[must_use]
pub fn chi_squared_quantile(probability: f64, freedom: f64) -> Option<f64> {
    if !(probability > 0.0 && probability < 1.0 && freedom > 0.0 && freedom <= 1e6) {
        return None;
    }
    let below = |x: f64| incomplete_gamma(freedom / 2.0, x / 2.0);
    let (mut low, mut high) = (0.0, freedom);
    while below(high)? < probability {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if below(middle)? < probability { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}

/// Regularised lower incomplete gamma function by its series (a, x positive). `None` when it does not converge.
fn incomplete_gamma(a: f64, x: f64) -> Option<f64> {
    let mut term = 1.0 / a;
    let mut sum = term;
    for step in 1u32..1_000_000 {
        term *= x / (a + f64::from(step));
        sum += term;
        if term < sum * 1e-16 {
            return Some((sum.ln() + a * x.ln() - x - ln_gamma(a)).exp().min(1.0));
        }
    }
    None
}

/// Natural logarithm of the gamma function for a positive argument (Lanczos approximation, g = 7, nine terms).
fn ln_gamma(x: f64) -> f64 {
    const TERMS: [f64; 8] = [
        676.520_368_121_885_1,
        -1_259.139_216_722_402_8,
        771.323_428_777_653_1,
        -176.615_029_162_140_6,
        12.507_343_278_686_905,
        -0.138_571_095_265_720_12,
        9.984_369_578_019_572e-6,
        1.505_632_735_149_311_6e-7,
    ];
    let x = x - 1.0;
    let mut sum = 0.999_999_999_999_809_9;
    for (place, term) in (1u8..).zip(TERMS) {
        sum += term / (x + f64::from(place));
    }
    let t = x + 7.5;
    0.5 * (2.0 * std::f64::consts::PI).ln() + (x + 0.5) * t.ln() - t + sum.ln()
}

/// Regularised incomplete beta function by its continued fraction (Lentz's method). `None` when it does not converge.
fn incomplete_beta(a: f64, b: f64, x: f64) -> Option<f64> {
    if x <= 0.0 {
        return Some(0.0);
    }
    if x >= 1.0 {
        return Some(1.0);
    }
    // The fraction converges fast on this side only; the function is symmetric.
    if x > (a + 1.0) / (a + b + 2.0) {
        return incomplete_beta_near(b, a, 1.0 - x).map(|other| 1.0 - other);
    }
    incomplete_beta_near(a, b, x)
}

fn incomplete_beta_near(a: f64, b: f64, x: f64) -> Option<f64> {
    const TINY: f64 = 1e-300;
    let away_from_zero = |value: f64| if value.abs() < TINY { TINY } else { value };
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (1.0 - x).ln()).exp() / a;
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for step in 1u32..20_000 {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for numerator in [even, odd] {
            d = 1.0 / away_from_zero(1.0 + numerator * d);
            c = away_from_zero(1.0 + numerator / c);
            change = c * d;
            fraction *= change;
        }
        if (change - 1.0).abs() < 1e-15 {
            return Some(front * fraction);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_degree_of_freedom_is_the_cauchy_distribution() {
        // t with one degree of freedom: coverage p needs tan(p pi / 2), a closed form.
        for confidence in [0.5, 0.9, 0.95, 0.99] {
            let expected = (confidence * std::f64::consts::FRAC_PI_2).tan();
            let found = coverage_factor(confidence, 1.0).unwrap();
            assert!((found / expected - 1.0).abs() < 1e-10, "{confidence} {found} {expected}");
        }
    }

    #[test]
    fn many_degrees_of_freedom_are_the_normal_distribution() {
        // 1.959964: the 97.5 % point of the normal distribution, in every table.
        assert!((coverage_factor(0.95, f64::INFINITY).unwrap() - 1.959_964).abs() < 1e-6);
    }

    #[test]
    fn two_and_two_degrees_of_freedom_have_a_closed_form() {
        // F(2, 2): the probability of at least f is 1 / (1 + f).
        for ratio in [0.0, 0.5, 1.0, 19.0, 1e6] {
            let found = f_significance(ratio, 2.0, 2.0).unwrap();
            assert!((found - 1.0 / (1.0 + ratio)).abs() < 1e-13, "{ratio} {found}");
        }
    }

    #[test]
    fn two_degrees_of_freedom_are_the_exponential_distribution() {
        // Chi-squared with two degrees of freedom is exponential with mean 2: the quantile is -2 ln(1 - p).
        for probability in [0.001, 0.05, 0.5, 0.95, 0.999] {
            let expected = -2.0 * (1.0f64 - probability).ln();
            let found = chi_squared_quantile(probability, 2.0).unwrap();
            assert!((found / expected - 1.0).abs() < 1e-10, "{probability} {found} {expected}");
        }
        assert_eq!((chi_squared_quantile(1.0, 2.0), chi_squared_quantile(0.5, 0.0)), (None, None));
    }

    #[test]
    fn impossible_questions_have_no_answer() {
        assert_eq!(coverage_factor(1.0, 5.0), None);
        assert_eq!(coverage_factor(0.95, 0.0), None);
        assert_eq!(coverage_factor(f64::NAN, 5.0), None);
        assert_eq!(f_significance(-1.0, 2.0, 2.0), None);
    }
}
