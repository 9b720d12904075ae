//! Statistics of a window of readings, and the analysis of variance in one direction.
//!
//! Times and values come in, estimates with their standard uncertainties go out. No decision about a placement: that
//! is the settling's. Values are taken as the decimal numbers they were printed as, and summed with about 31 digits,
//! so many constant leading digits do no harm.

use super::double_double::DoubleDouble;

/// Why a set of readings has no statistics.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StatisticsError {
    /// Too few readings.
    #[error("{found} readings, expected at least {needed}")]
    TooFew {
        /// Readings found.
        found: usize,
        /// Readings needed.
        needed: usize,
    },
    /// Two lists that belong together differ in length.
    #[error("{times} times for {values} values, expected as many")]
    Lengths {
        /// Times found.
        times: usize,
        /// Values found.
        values: usize,
    },
    /// The clock of the readings runs backward.
    #[error("time goes back after reading {index}, expected times in order")]
    TimeGoesBack {
        /// Index, from 0, of the reading before the step back.
        index: usize,
    },
    /// All readings were taken at one moment, so there is no slope.
    #[error("all readings have one time, expected at least two times")]
    OneMoment,
    /// A number is infinite, not a number, or grew too large on the way.
    #[error("a number is not finite or too large to work with")]
    NotFinite,
}

/// What a window of readings says. Units are those of the values, and seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowStatistics {
    /// Number of readings.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation of one reading (n − 1).
    pub sd: f64,
    /// Largest less smallest.
    pub range: f64,
    /// Slope of the least-squares line over time, per second.
    pub slope_per_s: f64,
    /// Standard uncertainty of the slope.
    pub u_slope: f64,
    /// Von Neumann ratio: mean square of successive differences over the variance; 2 for noise without memory.
    /// `None` when all readings are equal.
    pub von_neumann: Option<f64>,
    /// Correlation of each reading with the next. `None` when all readings are equal.
    pub lag1: Option<f64>,
    /// Standard uncertainty of the mean were the readings independent. Too small when `lag1` is clearly positive.
    pub u_mean_uncorrelated: f64,
}

fn decimals(values: &[f64]) -> Vec<DoubleDouble> {
    values.iter().map(|value| DoubleDouble::from_decimal(*value)).collect()
}

fn mean(values: &[DoubleDouble]) -> DoubleDouble {
    values.iter().copied().sum::<DoubleDouble>() / DoubleDouble::from(values.len() as f64)
}

fn square_sum(values: impl Iterator<Item = DoubleDouble>) -> DoubleDouble {
    values.map(|value| value * value).sum()
}

/// Describes a window of readings; times must not go back.
///
/// # Errors
/// Fewer than three readings, lists of unequal length, times out of order or all equal, numbers that are not finite.
pub fn describe(t_s: &[f64], values: &[f64]) -> Result<WindowStatistics, StatisticsError> {
    let n = values.len();
    if t_s.len() != n {
        return Err(StatisticsError::Lengths { times: t_s.len(), values: n });
    }
    if n < 3 {
        return Err(StatisticsError::TooFew { found: n, needed: 3 });
    }
    if t_s.iter().chain(values).any(|number| !number.is_finite()) {
        return Err(StatisticsError::NotFinite);
    }
    if let Some(index) = t_s.windows(2).position(|pair| matches!(pair, [before, after] if after < before)) {
        return Err(StatisticsError::TimeGoesBack { index });
    }
    let (times, values_exact) = (decimals(t_s), decimals(values));
    let (mean_time, mean_value) = (mean(&times), mean(&values_exact));
    let of_time: Vec<_> = times.iter().map(|time| *time - mean_time).collect();
    let of_value: Vec<_> = values_exact.iter().map(|value| *value - mean_value).collect();
    let pairs = || of_value.iter().zip(of_value.iter().skip(1));
    let time_squares = square_sum(of_time.iter().copied());
    if time_squares.to_f64() <= 0.0 {
        return Err(StatisticsError::OneMoment);
    }
    let value_squares = square_sum(of_value.iter().copied());
    let slope = of_time.iter().zip(&of_value).map(|(time, value)| *time * *value).sum::<DoubleDouble>() / time_squares;
    let residual_squares = square_sum(of_time.iter().zip(&of_value).map(|(time, value)| *value - slope * *time));
    let successive = square_sum(pairs().map(|(before, after)| *after - *before));
    let lagged: DoubleDouble = pairs().map(|(before, after)| *before * *after).sum();
    let range = range(values).ok_or(StatisticsError::NotFinite)?;
    let freedom = |taken: usize| DoubleDouble::from((n - taken) as f64);
    let variance = value_squares / freedom(1);
    let equal = range <= 0.0;
    let ratio = |part: DoubleDouble| (!equal).then(|| (part / value_squares).to_f64());
    let window = WindowStatistics {
        n,
        mean: mean_value.to_f64(),
        sd: variance.sqrt().to_f64(),
        range,
        slope_per_s: if equal { 0.0 } else { slope.to_f64() },
        u_slope: if equal { 0.0 } else { (residual_squares / freedom(2) / time_squares).sqrt().to_f64() },
        von_neumann: ratio(successive),
        lag1: ratio(lagged),
        u_mean_uncorrelated: (variance / freedom(0)).sqrt().to_f64(),
    };
    let numbers =
        [window.mean, window.sd, window.range, window.slope_per_s, window.u_slope, window.u_mean_uncorrelated];
    let ratios = [window.von_neumann, window.lag1];
    let finite = numbers.iter().chain(ratios.iter().flatten()).all(|number| number.is_finite());
    if finite { Ok(window) } else { Err(StatisticsError::NotFinite) }
}

/// Largest less smallest as decimal numbers: 314.83 less 314.76 is 0.07. `None` without values or when not finite.
#[must_use]
pub fn range(values: &[f64]) -> Option<f64> {
    let largest = values.iter().copied().reduce(f64::max)?;
    let smallest = values.iter().copied().reduce(f64::min)?;
    let range = (DoubleDouble::from_decimal(largest) - DoubleDouble::from_decimal(smallest)).to_f64();
    range.is_finite().then_some(range)
}

/// Index of the last value of the first window of `length` values whose range is at most `range_max`.
///
/// `None` when there is no such window, or `length` is zero.
#[must_use]
pub fn first_settled(values: &[f64], length: usize, range_max: f64) -> Option<usize> {
    if length == 0 {
        return None;
    }
    let first = values.windows(length).position(|window| range(window).is_some_and(|range| range <= range_max))?;
    Some(first + length - 1)
}

/// Analysis of variance in one direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWayAnova {
    /// Sum of squares between groups.
    pub between: f64,
    /// Degrees of freedom between groups.
    pub between_freedom: usize,
    /// Sum of squares within groups.
    pub within: f64,
    /// Degrees of freedom within groups.
    pub within_freedom: usize,
    /// Mean square between over mean square within. `None` when nothing varies within the groups.
    pub f_ratio: Option<f64>,
    /// Share of the variation that lies between groups. `None` when nothing varies at all.
    pub r_squared: Option<f64>,
    /// Standard deviation within a group.
    pub residual_sd: f64,
}

/// Splits the variation of grouped values into between and within.
///
/// # Errors
/// Fewer than two groups, an empty group, no group with a second value, numbers that are not finite.
pub fn one_way_anova(groups: &[Vec<f64>]) -> Result<OneWayAnova, StatisticsError> {
    let n: usize = groups.iter().map(Vec::len).sum();
    if groups.len() < 2 || groups.iter().any(Vec::is_empty) || n <= groups.len() {
        return Err(StatisticsError::TooFew { found: n, needed: groups.len().max(2) + 1 });
    }
    if groups.iter().flatten().any(|number| !number.is_finite()) {
        return Err(StatisticsError::NotFinite);
    }
    let groups: Vec<Vec<DoubleDouble>> = groups.iter().map(|group| decimals(group)).collect();
    let all: Vec<DoubleDouble> = groups.iter().flatten().copied().collect();
    let whole_mean = mean(&all);
    let mut between = DoubleDouble::ZERO;
    let mut within = DoubleDouble::ZERO;
    for group in &groups {
        let centre = mean(group);
        let away = centre - whole_mean;
        between = between + away * away * DoubleDouble::from(group.len() as f64);
        within = within + square_sum(group.iter().map(|value| *value - centre));
    }
    let (between_freedom, within_freedom) = (groups.len() - 1, n - groups.len());
    let mean_between = between / DoubleDouble::from(between_freedom as f64);
    let mean_within = within / DoubleDouble::from(within_freedom as f64);
    let quotient = |part: DoubleDouble, whole: DoubleDouble| (whole.to_f64() > 0.0).then(|| (part / whole).to_f64());
    Ok(OneWayAnova {
        between: between.to_f64(),
        between_freedom,
        within: within.to_f64(),
        within_freedom,
        f_ratio: quotient(mean_between, mean_within),
        r_squared: quotient(between, between + within),
        residual_sd: mean_within.sqrt().to_f64(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_that_never_move_have_no_slope_and_no_ratio() {
        let window = describe(&[0.0, 0.1, 0.2, 0.3], &[204.13; 4]).unwrap();
        assert_eq!((window.slope_per_s, window.u_slope, window.sd, window.range), (0.0, 0.0, 0.0, 0.0));
        assert_eq!((window.von_neumann, window.lag1), (None, None));
    }

    #[test]
    fn a_small_set_agrees_with_hand_calculation() {
        // 1, 2, 4 at 0, 1, 2 s: mean 7/3, squares 14/3, slope 3/2, residual squares 1/6, successive 1 + 4 = 5.
        let window = describe(&[0.0, 1.0, 2.0], &[1.0, 2.0, 4.0]).unwrap();
        for (found, expected) in [
            (window.mean, 7.0 / 3.0),
            (window.sd, (7.0f64 / 3.0).sqrt()),
            (window.slope_per_s, 1.5),
            (window.u_slope, (1.0f64 / 12.0).sqrt()),
            (window.von_neumann.unwrap(), 15.0 / 14.0),
            (window.lag1.unwrap(), -1.0 / 42.0),
        ] {
            assert!((found - expected).abs() < 1e-14, "{found} {expected}");
        }
    }

    #[test]
    fn a_range_on_the_limit_counts_as_settled() {
        // 316.11 - 315.91 is 0.20000000000004547 in doubles.
        assert_eq!(first_settled(&[300.0, 316.11, 315.91], 2, 0.2), Some(2));
        assert_eq!(first_settled(&[300.0, 316.11], 3, 0.2), None);
        assert_eq!(first_settled(&[300.0, 316.11], 0, 0.2), None);
    }

    #[test]
    fn readings_without_meaning_are_refused() {
        for (t_s, values) in [
            (vec![0.0, 1.0], vec![1.0, 2.0]),
            (vec![0.0, 1.0, 2.0], vec![1.0, 2.0]),
            (vec![0.0, 1.0, 0.5], vec![1.0, 2.0, 3.0]),
            (vec![1.0, 1.0, 1.0], vec![1.0, 2.0, 3.0]),
            (vec![0.0, 1.0, 2.0], vec![1.0, 2.0, f64::NAN]),
            (vec![0.0, 1.0, 2.0], vec![1e308, -1e308, 1e308]),
        ] {
            assert!(describe(&t_s, &values).is_err(), "{values:?}");
        }
        assert!(one_way_anova(&[vec![1.0], vec![2.0]]).is_err());
        assert!(one_way_anova(&[vec![1.0, 2.0], vec![]]).is_err());
    }
}
