//! Values of a club as people read them. Rounding is for display only; verdicts are taken before.

use super::characteristic::Characteristic;
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::{MM_PER_INCH, Points, round_ties_away};

/// How lengths are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lengths {
    /// Inches and fractions of a sixteenth.
    Inches,
    /// Millimetres.
    Millimetres,
}

/// Finest fraction of an inch that is shown.
const INCH_PARTS: u32 = 16;

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

/// Inches and the nearest sixteenth, reduced: `45 1/4 in`.
#[must_use]
pub fn inches(mm: f64) -> String {
    let sixteenths = (mm / MM_PER_INCH * f64::from(INCH_PARTS)).round();
    let whole = (sixteenths / f64::from(INCH_PARTS)).floor();
    let rest = sixteenths - whole * f64::from(INCH_PARTS);
    let (mut above, mut below) = (rest, f64::from(INCH_PARTS));
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
