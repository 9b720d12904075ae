//! Units as types: mass, length, mass moment, swing-weight points and angles.
//!
//! Numbers come in with their unit, leave with their unit, and cannot be added to another kind.
//! Moments are *mass* moments, so the letter scale does not depend on local gravity.

use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// Millimetres in an inch (exact: NIST SP 811, appendix B.8).
pub const MM_PER_INCH: f64 = 25.4;
/// Grams in an avoirdupois ounce (exact: NIST SP 811, appendix B.8).
pub const GRAMS_PER_OUNCE: f64 = 28.349_523_125;
/// Gram-millimetres in an inch-ounce (mass).
pub const GMM_PER_INCH_OUNCE: f64 = MM_PER_INCH * GRAMS_PER_OUNCE;
/// Distance of the fulcrum of the letter scale from the butt, in millimetres (14 in).
pub const FULCRUM_MM: f64 = 14.0 * MM_PER_INCH;
/// Moment of A0 about the 14 in fulcrum, in inch-ounces.
///
/// One public table and memory give D0 = 213.5 in·oz (confidence 0.93), hence A0 = 161.0.
pub const A0_INCH_OUNCES: f64 = 161.0;
/// Moment of one swing-weight point, in inch-ounces (14 in × 1/8 oz).
pub const INCH_OUNCES_PER_POINT: f64 = 1.75;
/// Points from A0 at which the letters end: seven letters of ten points.
const LETTER_POINTS: f64 = 70.0;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl $name {
            /// The distance from zero.
            #[must_use]
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }
        }
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)?;
                f.write_str(concat!(" ", $unit))
            }
        }
    };
}

quantity!(
    /// Mass, in grams.
    Grams,
    "g"
);
quantity!(
    /// Length, in millimetres.
    Millimetres,
    "mm"
);
quantity!(
    /// Mass moment about a stated point, in gram-millimetres.
    GramMillimetres,
    "g·mm"
);
quantity!(
    /// Swing weight, in points from A0 (D0 is 30 points).
    Points,
    "points from A0"
);
quantity!(
    /// Angle, in degrees.
    Degrees,
    "deg"
);

impl Mul<Millimetres> for Grams {
    type Output = GramMillimetres;
    fn mul(self, arm: Millimetres) -> GramMillimetres {
        GramMillimetres(self.0 * arm.0)
    }
}

impl GramMillimetres {
    /// The same moment in inch-ounces (ounce as mass).
    #[must_use]
    pub fn inch_ounces(self) -> f64 {
        self.0 / GMM_PER_INCH_OUNCE
    }
}

impl Points {
    /// Swing weight of a club with this moment about the 14 in fulcrum.
    #[must_use]
    pub fn from_moment14(moment: GramMillimetres) -> Self {
        Self((moment.inch_ounces() - A0_INCH_OUNCES) / INCH_OUNCES_PER_POINT)
    }

    /// The moment about the 14 in fulcrum that has this swing weight.
    #[must_use]
    pub fn moment14(self) -> GramMillimetres {
        GramMillimetres((A0_INCH_OUNCES + self.0 * INCH_OUNCES_PER_POINT) * GMM_PER_INCH_OUNCE)
    }

    /// Rounds to `decimals` (0 to 6) with ties away from zero, as the display and the record show it.
    #[must_use]
    pub fn rounded(self, decimals: u8) -> f64 {
        round_ties_away(self.0, decimals)
    }

    /// The letter and the number behind it after rounding, or `None` outside A0 to G9.9.
    ///
    /// Rounds first and splits then, so 29.96 is D0.0 and never C10.0.
    #[must_use]
    pub fn letter(self, decimals: u8) -> Option<(char, f64)> {
        let rounded = self.rounded(decimals);
        if !(0.0..LETTER_POINTS).contains(&rounded) {
            return None;
        }
        let letters = ['A', 'B', 'C', 'D', 'E', 'F', 'G'];
        let (index, letter) = letters
            .iter()
            .enumerate()
            .take_while(|(index, _)| rounded >= 10.0 * f64::from(u8::try_from(*index).unwrap_or(u8::MAX)))
            .last()?;
        let base = 10.0 * f64::from(u8::try_from(index).ok()?);
        Some((*letter, round_ties_away(rounded - base, decimals)))
    }

    /// The text of the trade, `D3.0`; beyond the letters the points from D0 and the moment.
    #[must_use]
    pub fn text(self) -> String {
        match self.letter(1) {
            Some((letter, number)) => format!("{letter}{number:.1}"),
            None => format!("D0 {:+.1} points ({:.1} in·oz)", self.rounded(1) - 30.0, self.moment14().inch_ounces()),
        }
    }

    /// Reads the letter text: `D3`, `d 2.3`, `C-8` (the hyphen separates). `None` for anything else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let letter = text.chars().next()?.to_ascii_uppercase();
        let tens = match letter {
            'A'..='G' => f64::from(u32::from(letter) - u32::from('A')) * 10.0,
            _ => return None,
        };
        let rest = text.get(1..)?.trim_start();
        let rest = rest.strip_prefix('-').unwrap_or(rest);
        let (whole, fraction) = rest.split_once('.').map_or((rest, None), |(w, f)| (w, Some(f)));
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || fraction.is_some_and(|f| !digits(f)) {
            return None;
        }
        let number: f64 = rest.parse().ok()?;
        // One sum in decimal text, so that D2.3 is the double nearest to 32.3.
        (number < 10.0).then(|| round_ties_away(tens + number, 9)).map(Self)
    }
}

/// Rounds to `decimals` places, ties away from zero, judging ties by the shortest decimal text of the number.
///
/// `2.675` is not representable and lies a hair below; people who typed 2.675 expect 2.68.
#[must_use]
pub fn round_ties_away(value: f64, decimals: u8) -> f64 {
    let scale = 10f64.powi(i32::from(decimals));
    let scaled = value * scale;
    if !scaled.is_finite() {
        return value;
    }
    let nearest = scaled.round();
    // The product may land a hair below a half that the decimal text had exactly.
    let half_away =
        if (scaled - scaled.trunc()).abs() < 0.5 && (scaled.abs() + scaled.abs() * 4.0 * f64::EPSILON).fract() >= 0.5 {
            scaled.trunc() + scaled.signum()
        } else {
            nearest
        };
    let rounded = half_away / scale;
    if rounded.abs() > 0.0 { rounded } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_letter_is_taken_after_rounding() {
        for (points, text) in
            [(29.96, "D0.0"), (29.94, "C9.9"), (33.0, "D3.0"), (-0.02, "A0.0"), (69.93, "G9.9"), (0.05, "A0.1")]
        {
            assert_eq!(Points(points).text(), text, "{points}");
        }
        assert_eq!(Points(69.97).letter(1), None);
        assert_eq!(Points(-0.6).letter(1), None);
    }

    #[test]
    fn letter_text_is_read_as_the_trade_writes_it() {
        for (text, points) in [("D2.3", 32.3), (" d 2.3 ", 32.3), ("D02", 32.0), ("C-8", 28.0), ("B-7.5", 17.5)] {
            assert_eq!(Points::parse(text), Some(Points(points)), "{text}");
        }
        for text in ["E-", "D2.", "2D", "", "H3", "D--2", "D10", "D2,3", "Dé"] {
            assert_eq!(Points::parse(text), None, "{text}");
        }
    }

    #[test]
    fn d0_is_213_5_inch_ounces() {
        // Public table page, see the documentation of `A0_INCH_OUNCES`.
        assert!((Points(30.0).moment14().inch_ounces() - 213.5).abs() < 1e-12);
        assert!((Points::from_moment14(Points(33.1).moment14()).0 - 33.1).abs() < 1e-12);
    }

    #[test]
    fn a_tie_in_decimal_text_goes_away_from_zero() {
        for (value, decimals, expected) in
            [(2.675, 2, 2.68), (1.005, 2, 1.01), (-0.05, 1, -0.1), (0.25, 1, 0.3), (2.5, 0, 3.0)]
        {
            assert!((round_ties_away(value, decimals) - expected).abs() < 1e-12, "{value}");
        }
        assert!(round_ties_away(-0.02, 1).is_sign_positive());
    }
}
