//! What a run of results says of the work: capability with its confidence, limits of a run chart, signals in it, a share.
//!
//! Results come in the order they were made. Numbers that so few results cannot carry are not given.

use super::distribution::{chi_squared_quantile, coverage_factor};

/// Fewest results that a capability is worked out from; fewer say next to nothing (common practice, no source).
pub const FEWEST: usize = 10;
/// With fewer than this the interval is to be read, not the number (NIST/SEMATECH e-Handbook, 6.1.6; from memory).
pub const ENOUGH: usize = 50;
/// Mean range of two results in standard deviations (d2 for n = 2, tables of control charts).
const D2: f64 = 1.128;
/// As many results on one side of the mean are a signal (rules of 1956; NIST/SEMATECH e-Handbook, 6.3.2; from memory).
const RUN: usize = 8;
/// Confidence of the intervals.
const CONFIDENCE: f64 = 0.95;

/// Capability by all results of a run, each where its tolerance puts it: −1 at the lower limit, 1 at the upper one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// Tolerance over six standard deviations.
    pub cp: f64,
    /// The nearer limit over three standard deviations.
    pub cpk: f64,
    /// What Cp lies within, 95 %: chi-squared, normal results.
    pub cp_within: [f64; 2],
    /// What Cpk lies within, 95 %: normal approximation (Bissell 1990), wide enough from about 25 results.
    pub cpk_within: [f64; 2],
}

/// Mean and sample standard deviation; `None` for fewer than two results.
#[must_use]
pub fn mean_and_spread(results: &[f64]) -> Option<(f64, f64)> {
    if results.len() < 2 {
        return None;
    }
    let n = count(results.len());
    let mean = results.iter().sum::<f64>() / n;
    let squares: f64 = results.iter().map(|result| (result - mean).powi(2)).sum();
    Some((mean, (squares / (n - 1.0)).sqrt()))
}

/// Capability of results that are placed in their tolerance from −1 to 1. `None` for fewer than [`FEWEST`] results, or
/// where all are alike: a spread that the resolution hides is no capability.
///
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6, from memory; checked with its example and with `SciPy`.
#[must_use]
pub fn capability(placed: &[f64]) -> Option<Capability> {
    let (mean, spread) = mean_and_spread(placed).filter(|(_, spread)| placed.len() >= FEWEST && *spread > 0.0)?;
    let n = count(placed.len());
    let cp = 1.0 / (3.0 * spread);
    let cpk = (1.0 - mean.abs()) / (3.0 * spread);
    let side = |probability: f64| Some(cp * (chi_squared_quantile(probability, n - 1.0)? / (n - 1.0)).sqrt());
    let outside = (1.0 - CONFIDENCE) / 2.0;
    let half = coverage_factor(CONFIDENCE, f64::INFINITY)? * (1.0 / (9.0 * n) + cpk * cpk / (2.0 * (n - 1.0))).sqrt();
    Some(Capability {
        cp,
        cpk,
        cp_within: [side(outside)?, side(1.0 - outside)?],
        cpk_within: [cpk - half, cpk + half],
    })
}

/// A run chart of single results: middle and limits by the mean of the moving ranges.
#[derive(Debug, Clone, PartialEq)]
pub struct RunChart {
    /// The mean.
    pub middle: f64,
    /// Lower and upper limit: three standard deviations of neighbours.
    pub limits: [f64; 2],
    /// Results beyond a limit, by their place from 0.
    pub beyond: Vec<usize>,
    /// Results that end eight or more in a row on one side of the middle, by their place from 0.
    pub shifted: Vec<usize>,
}

/// Source: NIST/SEMATECH e-Handbook, 6.3.2.2, individuals control charts; from memory. `None` for fewer than [`FEWEST`].
#[must_use]
pub fn run_chart(results: &[f64]) -> Option<RunChart> {
    if results.len() < FEWEST {
        return None;
    }
    let middle = results.iter().sum::<f64>() / count(results.len());
    let ranges = results.windows(2).filter_map(|pair| Some((pair.get(1)? - pair.first()?).abs()));
    let spread = ranges.sum::<f64>() / count(results.len() - 1) / D2;
    let limits = [middle - 3.0 * spread, middle + 3.0 * spread];
    let [low, high] = limits;
    let beyond = results.iter().enumerate().filter(|(_, r)| **r < low || **r > high).map(|(at, _)| at).collect();
    let (mut shifted, mut side, mut length) = (Vec::new(), 0.0, 0);
    for (at, result) in results.iter().enumerate() {
        let now = if *result > middle {
            1.0
        } else if *result < middle {
            -1.0
        } else {
            0.0
        };
        #[expect(clippy::float_cmp, reason = "a sign that was written as such")]
        let goes_on = now == side && now != 0.0;
        length = if goes_on { length + 1 } else { usize::from(now != 0.0) };
        side = now;
        if length >= RUN {
            shifted.push(at);
        }
    }
    Some(RunChart { middle, limits, beyond, shifted })
}

/// What the true share lies within, 95 %, of `good` out of `all` (Wilson 1927; NIST/SEMATECH e-Handbook, 7.2.4.1). `None` of
/// nothing.
#[must_use]
pub fn share_within(good: usize, all: usize) -> Option<[f64; 2]> {
    if all == 0 || good > all {
        return None;
    }
    let (n, share, z) = (count(all), count(good) / count(all), coverage_factor(CONFIDENCE, f64::INFINITY)?);
    let middle = share + z * z / (2.0 * n);
    let half = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    let below = 1.0 + z * z / n;
    Some([((middle - half) / below).max(0.0), ((middle + half) / below).min(1.0)])
}

/// Median of durations or other numbers; `None` of nothing.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let upper = *sorted.get(sorted.len() / 2)?;
    let lower = *sorted.get(sorted.len().saturating_sub(1) / 2)?;
    Some(f64::midpoint(lower, upper))
}

#[expect(clippy::cast_precision_loss, reason = "numbers of clubs")]
fn count(of: usize) -> f64 {
    of as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook, 6.3.2.2 (from memory): ten batches of a flow rate, mean 50.81, mean moving range 1.8778,
    /// limits 45.8159 and 55.8041.
    #[test]
    fn limits_of_a_run_chart_are_those_of_the_published_example() {
        let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let chart = run_chart(&flow).unwrap();
        assert!((chart.middle - 50.81).abs() < 1e-9);
        assert!((chart.limits[0] - 45.8159).abs() < 2e-4 && (chart.limits[1] - 55.8041).abs() < 2e-4, "{chart:?}");
        assert!(chart.beyond.is_empty() && chart.shifted.is_empty());
    }

    /// The same handbook, 6.1.6 (from memory): limits 8 and 20, mean 16, s = 2 give Cp = 1.0 and Cpk = 0.6667.
    #[test]
    fn capability_is_that_of_the_published_example() {
        // Fifty results with exactly that mean and standard deviation.
        let half = 2.0 * (49.0_f64 / 50.0).sqrt();
        let results: Vec<f64> = (0..50).map(|n| if n % 2 == 0 { 16.0 + half } else { 16.0 - half }).collect();
        let placed: Vec<f64> = results.iter().map(|result| (result - 14.0) / 6.0).collect();
        let found = capability(&placed).unwrap();
        assert!((found.cp - 1.0).abs() < 1e-12 && (found.cpk - 2.0 / 3.0).abs() < 1e-12, "{found:?}");
        assert!(found.cp_within[0] < 1.0 && found.cp_within[1] > 1.0);
        assert!(found.cpk_within[0] < found.cpk && found.cpk_within[1] > found.cpk);
    }

    #[test]
    fn few_or_equal_results_have_no_capability() {
        assert_eq!(capability(&[0.1, -0.2, 0.3]), None);
        assert_eq!(capability(&[0.5; 30]), None);
        assert_eq!(run_chart(&[1.0; 9]), None);
        assert_eq!((share_within(0, 0), median(&[])), (None, None));
    }

    #[test]
    fn signals_are_found_where_they_are() {
        let mut results: Vec<f64> = (0..20).map(|n| if n % 2 == 0 { 0.1 } else { -0.1 }).collect();
        results[7] = 3.0;
        assert_eq!(run_chart(&results).unwrap().beyond, [7]);
        // Ten low ones, then ten high ones: the eighth of each is a signal, and those behind it.
        let shifted: Vec<f64> = (0..20).map(|n| if n < 10 { -1.0 } else { 1.0 } + f64::from(n % 2) * 0.01).collect();
        assert_eq!(run_chart(&shifted).unwrap().shifted, [7, 8, 9, 17, 18, 19]);
        assert_eq!(median(&[3.0, 1.0, 2.0, 10.0]), Some(2.5));
    }
}
