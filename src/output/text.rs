//! Values as people read them. Rounding is for display only; verdicts are taken before.

use crate::club::characteristic::Characteristic;
pub use crate::club::shown::{Lengths, deviation, value};
use crate::club::shown::{number, sixteenths};
use crate::measurement::quantity::Dimension;
use crate::measurement::reading::Quantity;
use crate::measurement::unit::Points;
use crate::work_order::order::TargetRow;

/// A value with its expanded uncertainty (k = 2), where its standard uncertainty is known: `D2.1 ± 0.9 points`.
#[must_use]
pub fn with_doubt(characteristic: Characteristic, of: f64, u: Option<f64>, lengths: Lengths) -> String {
    let shown = value(characteristic, of, lengths);
    let Some(doubt) = u.map(|u| 2.0 * u) else { return shown };
    let unit = unit(characteristic);
    // One digit that is not zero is enough to know how good a number is.
    let doubt = number(doubt, if doubt < 0.095 { 2 } else { 1 });
    match shown.strip_suffix(unit) {
        Some(number) => format!("{} ± {doubt} {unit}", number.trim_end()),
        None => format!("{shown} ± {doubt} {unit}"),
    }
}

/// The unit of a difference of a characteristic.
#[must_use]
pub fn unit(characteristic: Characteristic) -> &'static str {
    match characteristic.dimension() {
        Dimension::SwingWeight => "points",
        dimension => dimension.base_unit(),
    }
}

/// A target with its limits, from the text as ordered; limits that the order does not write are marked.
#[must_use]
pub fn target(row: &TargetRow, lengths: Lengths) -> String {
    let show = |v: f64| value(row.characteristic, v, lengths);
    match (row.target.value, row.target.lower, row.target.upper) {
        (Some(aim), Some(lower), Some(upper)) if ((upper - aim) - (aim - lower)).abs() < 1e-6 => {
            let half = deviation(row.characteristic, upper - aim, lengths);
            let by_default = if row.is_by_default() { ", by default" } else { "" };
            format!("{} ± {}{by_default}", show(aim), half.trim_start_matches('+'))
        }
        (Some(aim), None, None) => show(aim),
        (None, None, Some(upper)) => format!("at most {}", show(upper)),
        (None, Some(lower), None) => format!("at least {}", show(lower)),
        _ => row.text.clone(),
    }
}

/// A measured quantity that belongs to no characteristic yet.
#[must_use]
pub fn quantity(quantity: Quantity, value: f64) -> String {
    match quantity {
        Quantity::Mass => format!("{} g", number(value, 1)),
        Quantity::Balance => format!("{} mm", number(value, 1)),
        Quantity::SwingWeight => Points(value).text(),
        Quantity::Lie | Quantity::Loft => format!("{}°", number(value, 1)),
    }
}

/// The unit of a quantity in JSON.
#[must_use]
pub fn quantity_unit(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Mass => "g",
        Quantity::Balance => "mm",
        Quantity::SwingWeight => "{point}",
        Quantity::Lie | Quantity::Loft => "deg",
    }
}

/// An expanded uncertainty (k = 2) as `± 0.1 g`.
#[must_use]
pub fn uncertainty(quantity: Quantity, u: f64) -> String {
    let unit = match quantity {
        Quantity::SwingWeight => "points",
        Quantity::Lie | Quantity::Loft => "deg",
        _ => quantity_unit(quantity),
    };
    // One digit that is not zero is enough to know how good a number is.
    let decimals = if 2.0 * u < 0.095 { 2 } else { 1 };
    format!("± {} {unit}", number(2.0 * u, decimals))
}

/// A small number, such as a noise or an error, with four decimals and its unit: `0.0021 g`.
#[must_use]
pub fn small(value: f64, unit: &str) -> String {
    let shown = number(value.abs(), 4);
    let sign = if value < 0.0 && shown.bytes().any(|byte| (b'1'..=b'9').contains(&byte)) { "\u{2212}" } else { "" };
    format!("{sign}{shown} {unit}")
}

/// A unit as people write it: arbitrary units of UCUM stand in braces.
#[must_use]
pub fn plain_unit(unit: &str) -> &str {
    unit.trim_start_matches('{').trim_end_matches('}')
}

/// A length at the saw: tenths of a millimetre, and inches to the nearest sixteenth.
#[must_use]
pub fn mm_and_inches(mm: f64) -> String {
    format!("{} mm ({})", number(mm, 1), sixteenths(mm))
}

/// A time in the two largest of its units: `45 s`, `12 min`, `3 h 20 min`, `2 d 4 h`.
#[must_use]
pub fn duration(seconds: f64) -> String {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "rounded and not negative; a cast saturates"
    )]
    let s = seconds.round().max(0.0) as u64;
    match s {
        0..60 => format!("{s} s"),
        60..3600 => format!("{} min", (s + 30) / 60),
        3600..86_400 => format!("{} h {} min", s / 3600, s % 3600 / 60),
        _ => format!("{} d {} h", s / 86_400, s % 86_400 / 3600),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::quantity::parse_target;

    #[test]
    fn values_are_shown_in_the_units_of_the_trade() {
        let shown = |c, v| value(c, v, Lengths::Inches);
        assert_eq!(shown(Characteristic::HeadMass, 203.14), "203.1 g");
        assert_eq!(shown(Characteristic::SwingWeight, 33.06), "D3.1");
        assert_eq!(shown(Characteristic::Length, 1149.35), "45 1/4 in");
        assert_eq!(shown(Characteristic::Length, 1143.0), "45 in");
        assert_eq!(shown(Characteristic::Length, 1144.6), "45 1/16 in");
        assert_eq!(value(Characteristic::Length, 1149.35, Lengths::Millimetres), "1149.4 mm");
        assert_eq!(deviation(Characteristic::SwingWeight, -1.04, Lengths::Inches), "\u{2212}1.0 points");
        assert_eq!(deviation(Characteristic::HeadMass, -0.02, Lengths::Inches), "0.0 g");
        assert_eq!(deviation(Characteristic::Length, 1.5875, Lengths::Inches), "+1/16 in");
    }

    #[test]
    fn targets_read_as_people_write_them() {
        let shown = |c: Characteristic, text: &str| {
            let target = parse_target(text, c.dimension()).unwrap();
            super::target(&TargetRow { characteristic: c, target, text: text.to_owned() }, Lengths::Inches)
        };
        assert_eq!(shown(Characteristic::HeadMass, "203 g ± 2 g"), "203.0 g ± 2.0 g");
        assert_eq!(shown(Characteristic::SwingWeight, "D3 ± 0.5"), "D3.0 ± 0.5 points");
        assert_eq!(shown(Characteristic::Length, "≤ 46 in"), "at most 46 in");
        assert_eq!(shown(Characteristic::Length, "45 in +0/-1/16 in"), "45 in +0/-1/16 in");
    }
}
