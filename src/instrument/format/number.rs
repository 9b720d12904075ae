//! Numbers written in characters: padded, signed, with a point or a comma, bracketed, reversed.
//!
//! In: the bytes of a number's column. Out: a [`Decimal`] with every digit that was sent, or nothing.

use super::decimal::Decimal;
use super::file::{Align, Pad, Point, SignPlace, Width};

/// How the number of a column is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct NumberSpec {
    pub(crate) pad: Pad,
    pub(crate) align: Align,
    pub(crate) minus: SignPlace,
    pub(crate) point: Point,
    pub(crate) point_needed: bool,
    /// How many digits may stand behind the point.
    pub(crate) places: Width,
    /// The last digits may stand in brackets (not verified by the maker).
    pub(crate) brackets: bool,
    /// The column is written backwards.
    pub(crate) reversed: bool,
    /// A power of ten must follow, `1.5E+01`.
    pub(crate) exponent: bool,
    /// 10, or 16 for counts in hexadecimal.
    pub(crate) base: u8,
    /// Pounds and ounces with a colon between may stand here.
    pub(crate) composite: bool,
}

/// A number that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Parsed {
    pub(crate) decimal: Decimal,
    /// It was pounds and ounces, and `decimal` is their sum in ounces.
    pub(crate) composite: bool,
}

/// Ounces in a pound, avoirdupois: NIST Handbook 44 appendix C (from memory).
const OUNCES_IN_A_POUND: u64 = 16;

/// Widest column that can be written backwards.
const WIDEST_REVERSED: usize = 32;

/// Reads bytes from the front.
struct Cursor<'a>(&'a [u8]);

impl Cursor<'_> {
    fn take(&mut self, wanted: impl Fn(u8) -> bool) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        if !wanted(*first) {
            return None;
        }
        self.0 = rest;
        Some(*first)
    }

    fn spaces(&mut self) -> usize {
        let before = self.0.len();
        while self.take(|byte| byte == b' ').is_some() {}
        before - self.0.len()
    }

    fn sign(&mut self) -> Option<bool> {
        self.take(|byte| byte == b'-' || byte == b'+').map(|sign| sign == b'-')
    }
}

impl NumberSpec {
    /// The number of a column, or `None` when the column is not written as it should be.
    pub(crate) fn parse(&self, column: &[u8]) -> Option<Parsed> {
        if !self.reversed {
            return self.parse_forward(column);
        }
        let mut turned = [0_u8; WIDEST_REVERSED];
        let turned = turned.get_mut(..column.len())?;
        turned.copy_from_slice(column);
        turned.reverse();
        self.parse_forward(turned)
    }

    fn parse_forward(&self, column: &[u8]) -> Option<Parsed> {
        let mut rest = Cursor(column);
        let padded_left = self.pad == Pad::Space && self.align != Align::Left;
        let padded_right = self.pad == Pad::Space && self.align != Align::Right;
        let before = if padded_left { rest.spaces() } else { 0 };
        let mut sign = None;
        if !matches!(self.minus, SignPlace::None | SignPlace::After) {
            sign = rest.sign();
            if sign.is_some() {
                let apart = self.minus == SignPlace::Apart;
                if apart && before > 0 {
                    return None;
                }
                // A sign stands at one edge of its column, so spaces are on one side of it only.
                if padded_left && before == 0 && self.minus != SignPlace::Adjacent {
                    rest.spaces();
                }
            }
        }
        let mut parsed = if self.base == 16 { hexadecimal(&mut rest)? } else { self.digits(&mut rest)? };
        if self.minus == SignPlace::After {
            sign = rest.sign();
        }
        if padded_right {
            rest.spaces();
        }
        parsed.decimal.negative = sign == Some(true);
        rest.0.is_empty().then_some(parsed)
    }

    fn digits(&self, rest: &mut Cursor<'_>) -> Option<Parsed> {
        let mut number = Decimal::ZERO;
        let mut pounds = None;
        let mut whole_digits = 0_usize;
        let mut places = 0_usize;
        let mut point_seen = false;
        let mut bracket_open = false;
        loop {
            if let Some(digit) = rest.take(|byte| byte.is_ascii_digit()) {
                number = number.append(digit - b'0')?;
                if point_seen {
                    places += 1;
                    number.decimals += 1;
                } else {
                    whole_digits += 1;
                }
            } else if !point_seen && !bracket_open && rest.take(|byte| self.is_point(byte)).is_some() {
                point_seen = true;
            } else if self.brackets && !bracket_open && rest.take(|byte| byte == b'[').is_some() {
                bracket_open = true;
            } else if self.composite
                && pounds.is_none()
                && !point_seen
                && whole_digits > 0
                && rest.take(|byte| byte == b':').is_some()
            {
                pounds = Some(number);
                number = Decimal::ZERO;
                whole_digits = 0;
            } else {
                break;
            }
        }
        if bracket_open {
            rest.take(|byte| byte == b']')?;
        }
        let written = whole_digits + places > 0
            && (point_seen || !self.point_needed)
            && (self.places.least..=self.places.most).contains(&places);
        if !written {
            return None;
        }
        if self.exponent {
            number = exponent(number, rest)?;
        }
        let Some(pounds) = pounds else { return Some(Parsed { decimal: number, composite: false }) };
        if !number.is_below(OUNCES_IN_A_POUND) {
            return None;
        }
        let decimal = pounds.times(OUNCES_IN_A_POUND)?.plus_part(number)?;
        Some(Parsed { decimal, composite: true })
    }

    fn is_point(&self, byte: u8) -> bool {
        match self.point {
            Point::Dot => byte == b'.',
            Point::Comma => byte == b',',
            Point::Either => byte == b'.' || byte == b',',
        }
    }
}

/// The power of ten behind a number: `E`, a sign or none, one to three digits.
fn exponent(number: Decimal, rest: &mut Cursor<'_>) -> Option<Decimal> {
    rest.take(|byte| byte == b'E' || byte == b'e')?;
    let negative = rest.sign() == Some(true);
    let mut power = 0_i16;
    let mut digits = 0;
    while let Some(digit) = rest.take(|byte| byte.is_ascii_digit()) {
        power = power.checked_mul(10)?.checked_add(i16::from(digit - b'0'))?;
        digits += 1;
    }
    if !(1..=3).contains(&digits) {
        return None;
    }
    number.shifted(if negative { power } else { -power })
}

/// A whole number in hexadecimal digits.
fn hexadecimal(rest: &mut Cursor<'_>) -> Option<Parsed> {
    let mut value = 0_u64;
    let mut digits = 0;
    while let Some(byte) = rest.take(|byte| byte.is_ascii_hexdigit()) {
        value = value.checked_mul(16)?.checked_add(u64::from(char::from(byte).to_digit(16)?))?;
        digits += 1;
    }
    let decimal = Decimal { negative: false, mantissa: value, decimals: 0 };
    (digits > 0).then_some(Parsed { decimal, composite: false })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain() -> NumberSpec {
        NumberSpec {
            pad: Pad::Space,
            align: Align::Right,
            minus: SignPlace::Either,
            point: Point::Dot,
            point_needed: false,
            places: Width { least: 0, most: 9 },
            brackets: false,
            reversed: false,
            exponent: false,
            base: 10,
            composite: false,
        }
    }

    fn check(spec: &NumberSpec, column: &str, expected: Option<&str>) {
        let text = spec.parse(column.as_bytes()).and_then(|parsed| parsed.decimal.text());
        assert_eq!(text.as_ref().map(|text| text.as_str()), expected, "{column:?}");
    }

    #[test]
    fn padding_and_signs_are_not_part_of_the_number() {
        let spec = plain();
        check(&spec, "  12.340", Some("12.340"));
        check(&spec, "+0012.34", Some("12.34"));
        check(&spec, "-  12.34", Some("-12.34"));
        check(&spec, "  -12.34", Some("-12.34"));
        check(&spec, "    -.50", Some("-0.50"));
        check(&spec, "     12.", Some("12"));
        check(&spec, "-00.0000", Some("-0.0000"));
    }

    #[test]
    fn what_is_not_one_number_is_none() {
        let spec = plain();
        for bad in
            ["", "   ", "-", ".", "1 2", "12.3 ", " - 12", "1.2.3", "12a", "--1", "+-1", "1-", "99999999999999999999"]
        {
            check(&spec, bad, None);
        }
    }

    #[test]
    fn the_sign_stands_where_it_should() {
        let apart = NumberSpec { minus: SignPlace::Apart, ..plain() };
        check(&apart, "-  1.2", Some("-1.2"));
        check(&apart, "  -1.2", None);
        let adjacent = NumberSpec { minus: SignPlace::Adjacent, ..plain() };
        check(&adjacent, "  -1.2", Some("-1.2"));
        check(&adjacent, "-  1.2", None);
        let after = NumberSpec { minus: SignPlace::After, ..plain() };
        check(&after, "  1.2-", Some("-1.2"));
        check(&after, "  -1.2", None);
        let none = NumberSpec { minus: SignPlace::None, ..plain() };
        check(&none, "-1.2", None);
    }

    #[test]
    fn other_ways_of_writing_are_read() {
        check(&NumberSpec { brackets: true, ..plain() }, "123.5[6]", Some("123.56"));
        check(&NumberSpec { brackets: true, ..plain() }, "123.5[6", None);
        check(&NumberSpec { point: Point::Comma, ..plain() }, "   1,250", Some("1.250"));
        check(&NumberSpec { point: Point::Comma, ..plain() }, "   1.250", None);
        check(&NumberSpec { reversed: true, pad: Pad::Zero, ..plain() }, "06.5210", Some("125.60"));
        check(&NumberSpec { reversed: true, pad: Pad::Zero, ..plain() }, "06.521-", Some("-125.60"));
        check(&NumberSpec { exponent: true, ..plain() }, "+1.23450000E+01", Some("12.3450000"));
        check(&NumberSpec { exponent: true, ..plain() }, "-3.000E-04", Some("-0.0003000"));
        check(&NumberSpec { exponent: true, ..plain() }, "-3.000", None);
        check(&NumberSpec { composite: true, ..plain() }, "12:07.50", Some("199.50"));
        check(&NumberSpec { composite: true, ..plain() }, "12:16.00", None);
        check(&NumberSpec { composite: true, ..plain() }, "-1:02.5", Some("-18.5"));
        check(&NumberSpec { base: 16, ..plain() }, "00FF", Some("255"));
        check(&NumberSpec { point_needed: true, ..plain() }, "12", None);
        check(&NumberSpec { places: Width { least: 2, most: 2 }, ..plain() }, "12.3", None);
    }
}
