//! Readings of an instrument that sends one number at a time: on a key press, or when it has come to rest by itself.
//!
//! The printed number is the reading, so nothing is waited for; what has to be told is a person's key from a stream of
//! numbers, and a damaged number from a good one. A family with a check in its frames is believed at once; without one
//! the same number must come twice, because a single byte that arrives wrong is a well-formed number too. Pure.

use super::distribution::rectangular;
use super::sample::Sample;
use super::settling::{Recomputed, SettlingLimits, zero_part};

/// Numbers closer together than this do not come from a key, s: nobody lays a part down and presses so fast.
const CLOSEST_S: f64 = 0.7;
/// A number that is to confirm another one comes within this, s.
const CONFIRM_S: f64 = 30.0;

/// Follows the numbers of one instrument.
#[derive(Debug, Clone, Default)]
pub struct PrintWatch {
    last_s: Option<f64>,
    /// A number that waits to be confirmed.
    waiting: Option<Sample>,
}

/// What a number leads to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Print {
    /// A reading, from the numbers between these times.
    Reading {
        /// First and last time, s.
        window_s: (f64, f64),
    },
    /// Nothing yet: it has to be printed once more.
    Again,
    /// Nothing, because nothing lies there.
    Zero,
    /// Nothing, because it came too soon after the one before.
    TooSoon,
}

impl PrintWatch {
    /// Takes the next number; `has_check` is whether its frame holds a check that fits.
    pub fn push(&mut self, sample: &Sample, has_check: bool, limits: &SettlingLimits) -> Print {
        let since_s = self.last_s.replace(sample.t_s).map(|last_s| sample.t_s - last_s);
        let waiting = self.waiting.take();
        if since_s.is_some_and(|since_s| since_s < CLOSEST_S) {
            return Print::TooSoon;
        }
        if sample.values[0].abs() < limits.off {
            return Print::Zero;
        }
        if has_check {
            return Print::Reading { window_s: (sample.t_s, sample.t_s) };
        }
        match waiting {
            Some(first) if sample.t_s - first.t_s <= CONFIRM_S && agree(limits, &first, sample) => {
                Print::Reading { window_s: (first.t_s, sample.t_s) }
            }
            _ => {
                self.waiting = Some(*sample);
                Print::Again
            }
        }
    }
}

/// Equal but for one step of the indication.
fn agree(limits: &SettlingLimits, one: &Sample, other: &Sample) -> bool {
    (0..limits.channels).all(|channel| {
        let at = |list: &[f64; 2]| list.get(channel).copied().unwrap_or_default();
        // A hundredth of a step, for decimals that are not exact in binary.
        (at(&one.values) - at(&other.values)).abs() <= 1.01 * at(&limits.resolution)
    })
}

/// The reading of these samples, in use and again for its proof: the last number as it is, the instrument having taken
/// its zero off. `None` where the samples between these times are not one number, or two that agree.
///
/// Its doubt is the step of the number and of the zero behind it, together 0.41 steps, which is also the least that
/// USP general chapter 41 lets a repeatability count for; unrest of the load is the instrument's to judge, and unknown.
#[must_use]
pub fn printed(
    limits: &SettlingLimits,
    samples: &[Sample],
    window_s: (f64, f64),
    u_zero: [f64; 2],
) -> Option<Recomputed> {
    let (first, last) = (window_s.0.to_bits(), window_s.1.to_bits());
    let mut numbers = samples.iter().filter(|sample| window_s.0 <= sample.t_s && sample.t_s <= window_s.1);
    let one = numbers.next()?;
    let (last_number, n) = match numbers.next() {
        Some(two) if agree(limits, one, two) => (two, 2),
        Some(_) => return None,
        None => (one, 1),
    };
    if numbers.next().is_some() || one.t_s.to_bits() != first || last_number.t_s.to_bits() != last {
        return None;
    }
    let zero = zero_part(limits, u_zero);
    let mut u = [0.0; 2];
    for ((u, zero), step) in u.iter_mut().zip(zero).zip(limits.resolution).take(limits.channels) {
        *u = rectangular(step / 2.0).hypot(zero);
    }
    Some(Recomputed { values: last_number.values, u, n })
}

/// Standard uncertainty of the zero that the instrument took off by itself: one step of its indication.
#[must_use]
pub fn u_own_zero(limits: &SettlingLimits) -> [f64; 2] {
    let mut u = limits.resolution.map(|step| rectangular(step / 2.0));
    if limits.channels < 2 {
        u[1] = 0.0;
    }
    u
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(has_check: bool, numbers: &[(f64, f64)]) -> Vec<Print> {
        let limits = SettlingLimits::for_scale(0.1, 10.0, 2000.0);
        let mut watch = PrintWatch::default();
        let numbers = numbers.iter().map(|(t_s, grams)| Sample { t_s: *t_s, values: [*grams, 0.0] });
        numbers.map(|sample| watch.push(&sample, has_check, &limits)).collect()
    }

    #[test]
    fn without_a_check_one_number_decides_nothing() {
        use Print::{Again, Reading, TooSoon, Zero};
        let got = run(false, &[(1.0, 203.4), (3.0, 203.4), (5.0, 203.4), (7.0, 213.4), (9.0, 203.5), (60.0, 203.5)]);
        assert_eq!(got, [Again, Reading { window_s: (1.0, 3.0) }, Again, Again, Again, Again]);
        // A stream is nobody's key, and an empty pan no part.
        let stream: Vec<(f64, f64)> = (0..50).map(|n| (f64::from(n) * 0.2, 203.4)).collect();
        assert!(run(false, &stream).iter().all(|print| matches!(print, Again | TooSoon)));
        assert_eq!(run(true, &[(1.0, 0.1), (3.0, 203.4)]), [Zero, Reading { window_s: (3.0, 3.0) }]);
    }

    #[test]
    fn a_reading_is_the_last_number_with_the_doubt_of_two_steps() {
        let limits = SettlingLimits::for_scale(0.1, 10.0, 2000.0);
        let at = |t_s: f64, grams: f64| Sample { t_s, values: [grams, 0.0] };
        let samples = [at(0.5, 0.0), at(1.0, 203.4), at(3.0, 203.5)];
        let got = printed(&limits, &samples, (1.0, 3.0), u_own_zero(&limits)).unwrap();
        assert_eq!((got.values[0].to_bits(), got.n), (203.5f64.to_bits(), 2));
        // 0.1 g / sqrt(12) twice is 0.0408 g; with the 0.025 g that drift and creep of a zero are taken as: 0.0479 g.
        assert!((got.u[0] - 0.0479).abs() < 1e-4, "{}", got.u[0]);
        assert_eq!(printed(&limits, &samples, (0.5, 3.0), [0.0; 2]), None);
        assert_eq!(printed(&limits, &[at(1.0, 203.4), at(3.0, 204.5)], (1.0, 3.0), [0.0; 2]), None);
    }
}
