//! Decimal numbers as an instrument sends them, kept digit for digit.
//!
//! In: digits, signs, powers of ten, binary floats. Out: [`DecimalText`], so that `12.340` stays `12.340`.
//! Absent: rounding, units, heap allocation.

use std::fmt::{self, Write};

/// A number as decimal text, e.g. `-0.0012`: a minus or nothing, no padding, at least one digit before the point.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct DecimalText {
    length: u8,
    bytes: [u8; DecimalText::CAPACITY],
}

impl DecimalText {
    /// Longest text held, in bytes: sign, 19 digits, point and room for leading zeros.
    pub const CAPACITY: usize = 31;

    const EMPTY: Self = Self { length: 0, bytes: [0; Self::CAPACITY] };

    /// Reads text of this form: `-12.340`, `0`, `7`. Anything else, also a text that is too long, gives `None`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let digits = text.strip_prefix('-').unwrap_or(text);
        let (whole, fraction) = digits.split_once('.').unwrap_or((digits, "0"));
        let all_digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
        if !all_digits(whole) || !all_digits(fraction) {
            return None;
        }
        let mut read = Self::EMPTY;
        read.write_str(text).ok()?;
        Some(read)
    }

    /// The text itself.
    #[must_use]
    pub fn as_str(&self) -> &str {
        let text = self.bytes.get(..usize::from(self.length)).unwrap_or_default();
        std::str::from_utf8(text).unwrap_or_default()
    }

    /// The nearest binary number. Never NaN for a text made here.
    #[must_use]
    pub fn to_f64(&self) -> f64 {
        self.as_str().parse().unwrap_or(f64::NAN)
    }
}

impl Write for DecimalText {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let start = usize::from(self.length);
        let end = start + text.len();
        let room = self.bytes.get_mut(start..end).ok_or(fmt::Error)?;
        room.copy_from_slice(text.as_bytes());
        self.length = u8::try_from(end).map_err(|_| fmt::Error)?;
        Ok(())
    }
}

impl fmt::Display for DecimalText {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.as_str())
    }
}

impl fmt::Debug for DecimalText {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{:?}", self.as_str())
    }
}

/// A decimal number while it is put together: `mantissa` times ten to the minus `decimals`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Decimal {
    /// The number carries a minus; kept apart so that `-0.00` stays what was sent.
    pub(crate) negative: bool,
    /// All digits as one whole number.
    pub(crate) mantissa: u64,
    /// Digits behind the point; below zero: zeros to append.
    pub(crate) decimals: i16,
}

impl Decimal {
    /// Zero without decimals: where digits are appended to.
    pub(crate) const ZERO: Self = Self { negative: false, mantissa: 0, decimals: 0 };

    /// A whole number.
    pub(crate) fn whole(value: i64) -> Self {
        Self { negative: value < 0, mantissa: value.unsigned_abs(), decimals: 0 }
    }

    /// Appends one digit; `None` when the number grows past 19 digits.
    pub(crate) fn append(self, digit: u8) -> Option<Self> {
        let mantissa = self.mantissa.checked_mul(10)?.checked_add(u64::from(digit))?;
        Some(Self { mantissa, ..self })
    }

    /// Moves the point by `places` to the left.
    pub(crate) fn shifted(self, places: i16) -> Option<Self> {
        Some(Self { decimals: self.decimals.checked_add(places)?, ..self })
    }

    /// The number times a whole factor.
    pub(crate) fn times(self, factor: u64) -> Option<Self> {
        Some(Self { mantissa: self.mantissa.checked_mul(factor)?, ..self })
    }

    /// The sum of two parts of one quantity (pounds and ounces): the first part's sign holds for both.
    pub(crate) fn plus_part(self, part: Self) -> Option<Self> {
        if part.negative {
            return None;
        }
        let decimals = self.decimals.max(part.decimals);
        let mantissa = self.at_decimals(decimals)?.checked_add(part.at_decimals(decimals)?)?;
        Some(Self { negative: self.negative, mantissa, decimals })
    }

    /// Whether the size is below a whole number.
    pub(crate) fn is_below(self, limit: u64) -> bool {
        let limit = Self { negative: false, mantissa: limit, decimals: 0 };
        let decimals = self.decimals.max(0);
        match (self.at_decimals(decimals), limit.at_decimals(decimals)) {
            (Some(size), Some(limit)) => size < limit,
            _ => false,
        }
    }

    fn at_decimals(self, decimals: i16) -> Option<u64> {
        let places = u32::try_from(decimals.checked_sub(self.decimals)?).ok()?;
        self.mantissa.checked_mul(10_u64.checked_pow(places)?)
    }

    /// The same number without zeros at its end, so that equal numbers compare equal.
    pub(crate) fn normalised(mut self) -> Self {
        while self.mantissa != 0 && self.mantissa.is_multiple_of(10) {
            self.mantissa /= 10;
            self.decimals -= 1;
        }
        if self.mantissa == 0 {
            self.decimals = 0;
        }
        self
    }

    /// A binary number as the shortest decimal that reads back to it. `None` for NaN, infinities and numbers
    /// of more than 19 digits; a size below 1e-9 is written with at most 27 decimals. A size below 1e-20 that is not
    /// zero is `None`, too: no instrument sends one, but a wrong order of bytes makes them.
    pub(crate) fn from_float(value: Float) -> Option<Self> {
        let mut text = DecimalText::EMPTY;
        let size = match value {
            Float::Single(value) => f64::from(value).abs(),
            Float::Double(value) => value.abs(),
        };
        if !size.is_finite() || (size > 0.0 && size < 1e-20) {
            return None;
        }
        let written = match value {
            Float::Single(value) => write!(text, "{value}"),
            Float::Double(value) => write!(text, "{value}"),
        };
        if written.is_err() {
            if size >= 1e-9 {
                return None;
            }
            text = DecimalText::EMPTY;
            match value {
                Float::Single(value) => write!(text, "{value:.27}").ok()?,
                Float::Double(value) => write!(text, "{value:.27}").ok()?,
            }
        }
        let read = Self::from_plain(text.as_str())?;
        if written.is_err() {
            let short = read.normalised();
            return if short.decimals < 0 { Some(read) } else { Some(short) };
        }
        Some(read)
    }

    /// Reads plain text such as `-12.340`.
    pub(crate) fn from_plain(text: &str) -> Option<Self> {
        let mut read = Self::ZERO;
        let mut point_seen = false;
        for byte in text.bytes() {
            match byte {
                b'-' => read.negative = true,
                b'.' => point_seen = true,
                b'0'..=b'9' => {
                    read = read.append(byte - b'0')?;
                    read.decimals += i16::from(point_seen);
                }
                _ => return None,
            }
        }
        Some(read)
    }

    /// The text of the number; `None` when it does not fit.
    pub(crate) fn text(self) -> Option<DecimalText> {
        let mut text = DecimalText::EMPTY;
        if self.negative {
            text.write_char('-').ok()?;
        }
        if self.decimals <= 0 {
            write!(text, "{}", self.mantissa).ok()?;
            for _ in 0..if self.mantissa == 0 { 0 } else { -self.decimals } {
                text.write_char('0').ok()?;
            }
            return Some(text);
        }
        let decimals = usize::try_from(self.decimals).ok()?;
        if decimals < 20 {
            let unit = 10_u64.checked_pow(u32::try_from(decimals).ok()?);
            let (whole, fraction) = match unit {
                Some(unit) => (self.mantissa / unit, self.mantissa % unit),
                None => (0, self.mantissa),
            };
            write!(text, "{whole}.{fraction:0decimals$}").ok()?;
        } else {
            write!(text, "0.{:0decimals$}", self.mantissa).ok()?;
        }
        Some(text)
    }
}

/// A binary float as it stood in a frame.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Float {
    /// 32 bits.
    Single(f32),
    /// 64 bits.
    Double(f64),
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(negative: bool, mantissa: u64, decimals: i16, expected: &str) {
        let text = Decimal { negative, mantissa, decimals }.text().map(|text| text.to_string());
        assert_eq!(text.as_deref(), Some(expected));
    }

    #[test]
    fn digits_stay_as_they_were_sent() {
        check(false, 12_345, 2, "123.45");
        check(true, 12, 4, "-0.0012");
        check(false, 12_340, 3, "12.340");
        check(true, 0, 2, "-0.00");
        check(false, 12, -2, "1200");
        check(false, 0, -2, "0");
        check(false, 1, 25, "0.0000000000000000000000001");
    }

    #[test]
    fn a_number_that_does_not_fit_gives_no_text() {
        assert!(Decimal { negative: false, mantissa: 1, decimals: 40 }.text().is_none());
        assert!(Decimal { negative: false, mantissa: u64::MAX, decimals: -20 }.text().is_none());
    }

    #[test]
    fn floats_come_out_as_their_shortest_decimal() {
        let text = |value| Decimal::from_float(value).and_then(Decimal::text).map(|text| text.to_string());
        assert_eq!(text(Float::Single(12.34)).as_deref(), Some("12.34"));
        assert_eq!(text(Float::Single(-0.5)).as_deref(), Some("-0.5"));
        assert_eq!(text(Float::Double(0.1)).as_deref(), Some("0.1"));
        assert_eq!(text(Float::Single(f32::NAN)), None);
        assert_eq!(text(Float::Single(1e38)), None);
        assert_eq!(text(Float::Single(1e-30)), None);
        assert_eq!(text(Float::Single(0.0)).as_deref(), Some("0"));
        assert_eq!(text(Float::Double(-5.551_115_123_125_783e-17)).as_deref(), Some("-0.000000000000000055511151231"));
    }

    #[test]
    fn pounds_and_ounces_add_up() {
        let pounds = Decimal::whole(12).times(16).unwrap();
        let ounces = Decimal { negative: false, mantissa: 750, decimals: 2 };
        assert_eq!(pounds.plus_part(ounces).unwrap().text().unwrap().as_str(), "199.50");
        assert!(ounces.is_below(16));
        assert!(!Decimal::whole(16).is_below(16));
    }

    #[test]
    fn only_plain_decimals_are_read_as_text() {
        for good in ["0", "-0.0012", "123.45"] {
            assert_eq!(DecimalText::parse(good).unwrap().as_str(), good);
        }
        for bad in ["", "-", "1.", ".5", "+1", "1e3", "1.2.3", "12345678901234567890123456789012"] {
            assert!(DecimalText::parse(bad).is_none(), "{bad}");
        }
    }
}
