//! Values of a club as people read them. Rounding is for display only; verdicts are taken before.

use super::characteristic::Characteristic;
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::{MM_PER_INCH, Points, round_ties_away};

/// How lengths are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lengths {
    /// Inches and fractions.
    Inches,
    /// Millimetres.
    Millimetres,
}

/// What a length is rounded to, in parts of an inch: the rules of the trade have no finer lines (common practice, no source).
const INCH_PARTS: u32 = 16;
/// Finest fraction that is shown of a length that lies on it: somebody has written it so.
const WRITTEN_PARTS: u32 = 64;
/// What arithmetic may leave between a length and the fraction it was written as, in millimetres.
const ON_IT_MM: f64 = 1e-6;

/// A value of a characteristic with its unit.
#[must_use]
pub fn value(characteristic: Characteristic, value: f64, lengths: Lengths) -> String {
    match characteristic.dimension() {
        Dimension::SwingWeight => Points(value).text(),
        // Only the length itself is worked in inches; balance points are read off a rule in millimetres.
        Dimension::Length if characteristic == Characteristic::Length && lengths == Lengths::Inches => inches(value),
        dimension => format!("{} {}", number(value, characteristic.decimals()), dimension.base_unit()),
    }
}

/// A deviation with its sign.
#[must_use]
pub fn deviation(characteristic: Characteristic, deviation: f64, lengths: Lengths) -> String {
    let size = deviation.abs();
    let shown = match characteristic.dimension() {
        Dimension::SwingWeight => format!("{} points", number(size, 1)),
        Dimension::Length if characteristic == Characteristic::Length && lengths == Lengths::Inches => inches(size),
        dimension => format!("{} {}", number(size, characteristic.decimals()), dimension.base_unit()),
    };
    // What rounds to nothing has no sign.
    let is_zero = !shown.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
    match (is_zero, deviation < 0.0) {
        (true, _) => shown,
        (false, true) => format!("\u{2212}{shown}"),
        (false, false) => format!("+{shown}"),
    }
}

/// A size without a sign; in millimetres where inches would round it to nothing.
#[must_use]
pub fn size(characteristic: Characteristic, size: f64, lengths: Lengths) -> String {
    let of = |lengths| deviation(characteristic, size.abs(), lengths);
    let shown = of(lengths);
    let shown = if shown.starts_with('+') { shown } else { of(Lengths::Millimetres) };
    shown.trim_start_matches('+').to_owned()
}

/// In the units that a text is written in.
#[must_use]
pub fn lengths_of(text: &str) -> Lengths {
    if text.contains("mm") { Lengths::Millimetres } else { Lengths::Inches }
}

/// A number with so many decimals, ties away from zero.
#[must_use]
pub fn number(value: f64, decimals: u8) -> String {
    format!("{:.*}", usize::from(decimals), round_ties_away(value, decimals))
}

/// Inches and the nearest sixteenth, reduced: `45 1/4 in`; what lies on a 32nd or 64th as it was written: `43 1/32 in`.
#[must_use]
pub fn inches(mm: f64) -> String {
    let part = MM_PER_INCH / f64::from(WRITTEN_PARTS);
    let is_written = (mm - (mm / part).round() * part).abs() <= ON_IT_MM;
    fraction(mm, if is_written { WRITTEN_PARTS } else { INCH_PARTS })
}

/// Inches and the nearest sixteenth, whatever it lies on: for what was worked out.
#[must_use]
pub fn sixteenths(mm: f64) -> String {
    fraction(mm, INCH_PARTS)
}

fn fraction(mm: f64, parts: u32) -> String {
    let parts = f64::from(parts);
    let all = (mm / MM_PER_INCH * parts).round();
    let whole = (all / parts).floor();
    let (mut above, mut below) = (all - whole * parts, parts);
    while above > 0.0 && (above / 2.0).fract() == 0.0 {
        above /= 2.0;
        below /= 2.0;
    }
    match (whole > 0.0, above > 0.0) {
        (true, true) => format!("{whole:.0} {above:.0}/{below:.0} in"),
        (false, true) => format!("{above:.0}/{below:.0} in"),
        _ => format!("{whole:.0} in"),
    }
}

/// The range outside which a value is a slip of the pen: `from 1 to 1500 g`.
#[must_use]
pub fn possible(characteristic: Characteristic, lengths: Lengths) -> String {
    let (from, to) = characteristic.possible().into_inner();
    match characteristic.dimension() {
        Dimension::SwingWeight => format!("from {from} to {to} points"),
        Dimension::Length if characteristic == Characteristic::Length && lengths == Lengths::Inches => {
            let part = MM_PER_INCH / f64::from(INCH_PARTS);
            format!("from {} to {}", sixteenths((from / part).ceil() * part), sixteenths((to / part).floor() * part))
        }
        dimension => format!("from {from} to {to} {}", dimension.base_unit()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand from 1 in = 25.4 mm (NIST Handbook 44, Appendix C): 1/32 in = 0.79375 mm, 1/64 in = 0.396875 mm.
    #[test]
    fn a_length_in_finer_fractions_is_shown_as_it_was_written() {
        for (mm, shown) in [
            (1092.99375, "43 1/32 in"),
            (1_092.596_875, "43 1/64 in"),
            (1_117.203_125, "43 63/64 in"),
            (1149.35, "45 1/4 in"),
            (0.79375, "1/32 in"),
            // A nanometre off it is what arithmetic leaves; a hundredth of a millimetre was not written so.
            (1_092.993_750_3, "43 1/32 in"),
            (1092.98, "43 in"),
            (1093.01, "43 1/16 in"),
            (0.0, "0 in"),
        ] {
            assert_eq!(inches(mm), shown, "{mm}");
        }
        assert_eq!(sixteenths(1093.2), "43 1/16 in");
    }

    /// 100 mm are 3.937 in, 2000 mm 78.74 in: the sixteenths inside.
    #[test]
    fn what_is_possible_is_told_in_the_units_of_who_asks() {
        assert_eq!(possible(Characteristic::Length, Lengths::Inches), "from 3 15/16 in to 78 11/16 in");
        assert_eq!(possible(Characteristic::Length, Lengths::Millimetres), "from 100 to 2000 mm");
        assert_eq!(possible(Characteristic::BalancePoint, Lengths::Inches), "from 1 to 2000 mm");
        assert_eq!(possible(Characteristic::HeadMass, Lengths::Inches), "from 1 to 1500 g");
        assert_eq!(possible(Characteristic::SwingWeight, Lengths::Inches), "from -200 to 300 points");
    }
}
