//! Numbers of two doubles, about 31 decimal digits, for sums and fits that must not lose their last digits.
//!
//! Doubles come in, either as they are or as the decimal text they were printed with; a double goes out. Only the
//! operations that sums, fits and variances need are here: no transcendental functions, no formatting, no order.
//!
//! Sum and product keep their rounding error exactly (the usual error-free transformations; no source, the tests prove
//! them).

use std::ops::{Add, Div, Mul, Neg, Sub};

/// An unevaluated sum of two doubles, `high + low`, with `|low|` at most half a unit in the last place of `high`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DoubleDouble {
    high: f64,
    low: f64,
}

/// Sum and its rounding error, for any order of sizes.
fn exact_sum(a: f64, b: f64) -> DoubleDouble {
    let high = a + b;
    let back = high - a;
    DoubleDouble { high, low: (a - (high - back)) + (b - back) }
}

/// Product and its rounding error.
fn exact_product(a: f64, b: f64) -> DoubleDouble {
    let high = a * b;
    DoubleDouble { high, low: a.mul_add(b, -high) }
}

impl DoubleDouble {
    /// Nothing.
    pub const ZERO: Self = Self { high: 0.0, low: 0.0 };
    /// One.
    pub const ONE: Self = Self { high: 1.0, low: 0.0 };

    /// The decimal number that a double is printed as: `0.1` means one tenth, not the double nearest to it.
    ///
    /// An instrument sends decimal text. Taking its numbers so keeps the difference of two long readings true to the
    /// last digit. Beyond ±10^±280 the double itself is taken.
    #[must_use]
    pub fn from_decimal(value: f64) -> Self {
        let text = format!("{value:e}");
        let parsed = text.split_once('e').and_then(|(digits, exponent)| {
            let exponent: i32 = exponent.parse().ok()?;
            let places = i32::try_from(digits.split_once('.').map_or(0, |(_, behind)| behind.len())).ok()?;
            let whole: i64 = digits.replace('.', "").parse().ok()?;
            (exponent.abs() < 280).then(|| Self::from_whole(whole).scaled_by_ten(exponent - places))
        });
        parsed.unwrap_or(Self::from(value))
    }

    /// A whole number of up to 18 digits, exactly.
    fn from_whole(whole: i64) -> Self {
        const HALF: i64 = 1_000_000_000;
        // Both halves are below 2^53, so the casts lose nothing.
        let (upper, lower) = (whole / HALF, whole % HALF);
        exact_product(upper as f64, HALF as f64) + Self::from(lower as f64)
    }

    fn scaled_by_ten(self, exponent: i32) -> Self {
        let mut power = Self::ONE;
        for _ in 0..exponent.unsigned_abs() {
            power = power * Self::from(10.0);
        }
        if exponent < 0 { self / power } else { self * power }
    }

    /// The nearest double.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        self.high + self.low
    }

    /// Square root; zero for a number that is not positive.
    #[must_use]
    pub fn sqrt(self) -> Self {
        if self.high <= 0.0 {
            return Self::ZERO;
        }
        let root = self.high.sqrt();
        // One step of Newton doubles the digits.
        let rest = self - exact_product(root, root);
        exact_sum(root, rest.high / (2.0 * root))
    }
}

impl From<f64> for DoubleDouble {
    fn from(value: f64) -> Self {
        Self { high: value, low: 0.0 }
    }
}

impl Add for DoubleDouble {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let high = exact_sum(self.high, other.high);
        let low = exact_sum(self.low, other.low);
        let once = exact_sum(high.high, high.low + low.high);
        exact_sum(once.high, once.low + low.low)
    }
}

impl Neg for DoubleDouble {
    type Output = Self;
    fn neg(self) -> Self {
        Self { high: -self.high, low: -self.low }
    }
}

impl Sub for DoubleDouble {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for DoubleDouble {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let product = exact_product(self.high, other.high);
        exact_sum(product.high, product.low + (self.high * other.low + self.low * other.high))
    }
}

impl Div for DoubleDouble {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let first = self.high / other.high;
        let rest = self - other * Self::from(first);
        let second = rest.high / other.high;
        let rest = rest - other * Self::from(second);
        exact_sum(first, second) + Self::from(rest.high / other.high)
    }
}

impl std::iter::Sum for DoubleDouble {
    fn sum<I: Iterator<Item = Self>>(numbers: I) -> Self {
        numbers.fold(Self::ZERO, Add::add)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_tenths_are_one_to_thirty_digits() {
        let tenth = DoubleDouble::from_decimal(0.1);
        let sum: DoubleDouble = std::iter::repeat_n(tenth, 10).sum();
        assert!((sum - DoubleDouble::ONE).to_f64().abs() < 1e-30);
    }

    #[test]
    fn the_difference_of_two_long_readings_keeps_its_last_digit() {
        let difference = DoubleDouble::from_decimal(1_000_000_000_000.4) - DoubleDouble::from_decimal(1e12);
        assert!((difference.to_f64() - 0.4).abs() < 1e-15);
    }

    #[test]
    fn a_root_squared_is_the_number() {
        for number in [2.0, 3e-20, 7e20, 0.5] {
            let root = DoubleDouble::from(number).sqrt();
            assert!(((root * root).to_f64() / number - 1.0).abs() < 1e-15, "{number}");
            assert!((root * root - DoubleDouble::from(number)).to_f64().abs() < number * 1e-29, "{number}");
        }
        assert_eq!(DoubleDouble::from(-1.0).sqrt(), DoubleDouble::ZERO);
    }

    #[test]
    fn the_decimal_text_of_a_double_comes_back_as_the_double() {
        for number in [0.1, -2.5e-7, 1e22, 123_456.789_012, 9.999_999_999_999_999e99, 0.0, 5e-324, 1.7e308] {
            assert!((DoubleDouble::from_decimal(number).to_f64() - number).abs() <= number.abs() * 1e-16, "{number}");
        }
    }
}
