//! Quantities as people write them: `203 g ± 2 g`, `45 1/4 in`, `D3 ± 0.5`, `≤ 46 in`.
//!
//! Text comes in, numbers in the base unit of their dimension leave (g, mm, points from A0, deg, cpm, kg·cm², cm³).
//! A bare number without its unit is refused, and so is a decimal comma.

use super::unit::{GRAMS_PER_OUNCE, MM_PER_INCH, Points, round_ties_away};

/// Cubic centimetres in a cubic inch, exact by the inch.
const CM3_PER_IN3: f64 = 16.387_064;

/// What kind of quantity a text must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// Mass; base unit gram.
    Mass,
    /// Length; base unit millimetre.
    Length,
    /// Swing weight; base unit point from A0, written with its letter.
    SwingWeight,
    /// Angle; base unit degree.
    Angle,
    /// Frequency of a clamped shaft; base unit cycle per minute.
    Frequency,
    /// Moment of inertia; base unit kg·cm².
    Inertia,
    /// Volume; base unit cm³.
    Volume,
    /// Time that passes; base unit second.
    Duration,
    /// Temperature; base unit degree Celsius.
    Temperature,
}

impl Dimension {
    /// The word of the base unit, for people.
    #[must_use]
    pub fn base_unit(self) -> &'static str {
        match self {
            Self::Mass => "g",
            Self::Length => "mm",
            Self::SwingWeight => "points",
            Self::Angle => "deg",
            Self::Frequency => "cpm",
            Self::Inertia => "kg·cm²",
            Self::Volume => "cm³",
            Self::Duration => "s",
            Self::Temperature => "°C",
        }
    }

    /// Units a text of this dimension may carry, with the factor to the base unit.
    ///
    /// Factors of pound and grain: NIST SP 811, appendix B.8 (exact).
    fn units(self) -> &'static [(&'static str, f64)] {
        match self {
            Self::Mass => &[
                ("g", 1.0),
                ("kg", 1000.0),
                ("mg", 0.001),
                ("oz", GRAMS_PER_OUNCE),
                ("lb", 453.592_37),
                ("gr", 0.064_798_91),
            ],
            Self::Length => &[("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", MM_PER_INCH), ("\"", MM_PER_INCH)],
            Self::SwingWeight => &[("points", 1.0), ("point", 1.0)],
            Self::Angle => &[("deg", 1.0), ("°", 1.0)],
            Self::Frequency => &[("cpm", 1.0), ("Hz", 60.0)],
            Self::Inertia => &[
                ("kg·cm²", 1.0),
                ("kg.cm2", 1.0),
                ("kg·cm2", 1.0),
                ("kg cm2", 1.0),
                ("g·cm²", 0.001),
                ("g.cm2", 0.001),
            ],
            Self::Volume => &[("cm³", 1.0), ("cm3", 1.0), ("in³", CM3_PER_IN3), ("in3", CM3_PER_IN3)],
            Self::Duration => &[("s", 1.0), ("min", 60.0), ("h", 3600.0), ("d", 86_400.0)],
            Self::Temperature => {
                &[("°C", 1.0), ("degC", 1.0), ("C", 1.0), ("°F", 5.0 / 9.0), ("degF", 5.0 / 9.0), ("F", 5.0 / 9.0)]
            }
        }
    }

    fn example(self) -> &'static str {
        match self {
            Self::Mass => "203 g",
            Self::Length => "45 1/4 in",
            Self::SwingWeight => "D3",
            Self::Angle => "9.5 deg",
            Self::Frequency => "256 cpm",
            Self::Inertia => "2850 kg.cm2",
            Self::Volume => "460 cm3",
            Self::Duration => "20 min",
            Self::Temperature => "21 °C",
        }
    }
}

/// Why a text is not a quantity, with what is allowed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing was written.
    #[error("nothing is written, expected a quantity such as \"{example}\"")]
    Empty {
        /// A text that would do.
        example: &'static str,
    },
    /// A comma stands where a point should.
    #[error("\"{found}\" has a decimal comma, write it with a point: \"{hint}\"")]
    DecimalComma {
        /// The text as written.
        found: String,
        /// The same with a point.
        hint: String,
    },
    /// The number has no unit.
    #[error("\"{found}\" has no unit, write for example \"{example}\" (units: {allowed})")]
    NoUnit {
        /// The text as written.
        found: String,
        /// A text that would do.
        example: &'static str,
        /// Units of the dimension.
        allowed: String,
    },
    /// The unit does not belong to this quantity.
    #[error("\"{found}\" has the unit \"{unit}\", expected one of: {allowed}")]
    WrongUnit {
        /// The text as written.
        found: String,
        /// The unit found.
        unit: String,
        /// Units of the dimension.
        allowed: String,
    },
    /// The number cannot be read.
    #[error("\"{found}\" is not a number with its unit, expected something like \"{example}\"")]
    NotANumber {
        /// The text as written.
        found: String,
        /// A text that would do.
        example: &'static str,
    },
    /// A tolerance below zero.
    #[error("\"{found}\" has a negative tolerance, write the size of the tolerance without a sign")]
    NegativeTolerance {
        /// The text as written.
        found: String,
    },
}

/// A target with its limits, in the base unit of its dimension. Any of the three may be absent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Target {
    /// The value aimed at.
    pub value: Option<f64>,
    /// Smallest value accepted.
    pub lower: Option<f64>,
    /// Largest value accepted.
    pub upper: Option<f64>,
}

/// Reads one quantity, for example `45 1/4 in`; the result is in the base unit of `dimension`.
///
/// # Errors
/// Says what was found and what would do.
pub fn parse_value(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let text = checked(text, dimension)?;
    if dimension == Dimension::SwingWeight
        && let Some(points) = Points::parse(text)
    {
        return Ok(points.0);
    }
    if dimension == Dimension::SwingWeight {
        return Err(QuantityError::NotANumber { found: text.to_owned(), example: dimension.example() });
    }
    let value = number_with_unit(text, dimension, false)?;
    // NIST SP 811, appendix B.8: t/°C = (t/°F − 32)/1.8.
    let is_fahrenheit = dimension == Dimension::Temperature && split_unit(text).1.ends_with('F');
    Ok(if is_fahrenheit { clean(value - 32.0 * 5.0 / 9.0) } else { value })
}

/// Reads a target with or without tolerance: `203 g ± 2 g`, `45 in +0/-1/16 in`, `≤ 46 in`.
///
/// # Errors
/// Says what was found and what would do.
pub fn parse_target(text: &str, dimension: Dimension) -> Result<Target, QuantityError> {
    let text = checked(text, dimension)?;
    for (marks, is_upper) in [(["≤", "<="], true), (["≥", ">="], false)] {
        if let Some(rest) = marks.iter().find_map(|mark| text.strip_prefix(mark)) {
            let limit = parse_value(rest, dimension)?;
            return Ok(if is_upper {
                Target { upper: Some(limit), ..Target::default() }
            } else {
                Target { lower: Some(limit), ..Target::default() }
            });
        }
    }
    for mark in ["±", "+/-", "+-"] {
        if let Some((value, tolerance)) = text.split_once(mark) {
            let value = parse_value(value, dimension)?;
            let tolerance = tolerance_of(tolerance, text, dimension, true)?;
            return Ok(Target {
                value: Some(value),
                lower: Some(clean(value - tolerance)),
                upper: Some(clean(value + tolerance)),
            });
        }
    }
    // `+a/-b`: the slash that starts the minus part is followed by its sign, a slash inside a fraction is not.
    if let Some((value, rest)) = text.split_once('+')
        && let Some((plus, minus)) = split_minus(rest)
    {
        let value = parse_value(value, dimension)?;
        let above = tolerance_of(plus, text, dimension, false)?;
        let below = tolerance_of(minus, text, dimension, true)?;
        // The unit may stand once, at the end: then it holds for both.
        let above = if has_unit(plus, dimension) { above } else { above * unit_factor(minus, dimension) };
        return Ok(Target { value: Some(value), lower: Some(clean(value - below)), upper: Some(clean(value + above)) });
    }
    Ok(Target { value: Some(parse_value(text, dimension)?), lower: None, upper: None })
}

/// Takes the noise of one binary addition away, so that 45.25 in less 1/16 in is the number a person would write.
fn clean(value: f64) -> f64 {
    round_ties_away(value, 9)
}

fn split_minus(rest: &str) -> Option<(&str, &str)> {
    let at = rest
        .match_indices('/')
        .find(|(at, _)| rest.get(at + 1..).is_some_and(|after| after.trim_start().starts_with(['-', '−'])))?;
    let minus = rest.get(at.0 + 1..)?.trim_start();
    let minus = minus.strip_prefix(['-', '−'])?;
    Some((rest.get(..at.0)?, minus))
}

fn checked(text: &str, dimension: Dimension) -> Result<&str, QuantityError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(QuantityError::Empty { example: dimension.example() });
    }
    if text.contains(',') {
        return Err(QuantityError::DecimalComma { found: text.to_owned(), hint: text.replace(',', ".") });
    }
    Ok(text)
}

fn tolerance_of(text: &str, whole: &str, dimension: Dimension, unit_needed: bool) -> Result<f64, QuantityError> {
    let bare = dimension == Dimension::SwingWeight || (!unit_needed && !has_unit(text, dimension));
    let tolerance = number_with_unit(text.trim(), dimension, bare)?;
    if tolerance < 0.0 {
        return Err(QuantityError::NegativeTolerance { found: whole.to_owned() });
    }
    Ok(tolerance)
}

fn split_unit(text: &str) -> (&str, &str) {
    let at = text
        .char_indices()
        .find(|(_, c)| !(c.is_ascii_digit() || matches!(c, '.' | '/' | ' ' | '-' | '+' | '−')))
        .map_or(text.len(), |(at, _)| at);
    let (number, unit) = text.split_at(at);
    (number.trim(), unit.trim())
}

fn has_unit(text: &str, dimension: Dimension) -> bool {
    let (_, unit) = split_unit(text.trim());
    dimension.units().iter().any(|(name, _)| *name == unit)
}

fn unit_factor(text: &str, dimension: Dimension) -> f64 {
    let (_, unit) = split_unit(text.trim());
    dimension.units().iter().find(|(name, _)| *name == unit).map_or(1.0, |(_, factor)| *factor)
}

fn number_with_unit(text: &str, dimension: Dimension, bare_allowed: bool) -> Result<f64, QuantityError> {
    let (number, unit) = split_unit(text);
    let value = parse_number(number)
        .ok_or_else(|| QuantityError::NotANumber { found: text.to_owned(), example: dimension.example() })?;
    let allowed = || dimension.units().iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
    if unit.is_empty() {
        return if bare_allowed {
            Ok(value)
        } else {
            Err(QuantityError::NoUnit { found: text.to_owned(), example: dimension.example(), allowed: allowed() })
        };
    }
    let factor = dimension.units().iter().find(|(name, _)| *name == unit).map(|(_, factor)| *factor);
    factor.map(|factor| clean(value * factor)).ok_or_else(|| QuantityError::WrongUnit {
        found: text.to_owned(),
        unit: unit.to_owned(),
        allowed: allowed(),
    })
}

/// A decimal number, a fraction `1/16`, or a whole number and a fraction `45 1/4`.
fn parse_number(text: &str) -> Option<f64> {
    let text = text.replace('−', "-");
    let (sign, text) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(&text)),
    };
    let mut total = 0.0;
    let parts: Vec<&str> = text.split_whitespace().collect();
    let last = parts.len().checked_sub(1)?;
    if last > 1 {
        return None;
    }
    for (index, part) in parts.iter().enumerate() {
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        total += match part.split_once('/') {
            Some((above, below)) if index == last && digits(above) && digits(below) => {
                let below: f64 = below.parse().ok()?;
                if below <= 0.0 {
                    return None;
                }
                above.parse::<f64>().ok()? / below
            }
            None if index == 0 && (last == 0 || digits(part)) && decimal(part) => part.parse::<f64>().ok()?,
            _ => return None,
        };
    }
    // `45 3` is not a number: a second part must be a fraction.
    if last == 1 && !parts.get(1).is_some_and(|part| part.contains('/')) {
        return None;
    }
    Some(sign * total)
}

fn decimal(text: &str) -> bool {
    let mut points = 0;
    text.bytes().all(|b| {
        points += i32::from(b == b'.');
        b.is_ascii_digit() || b == b'.'
    }) && points <= 1
        && text.starts_with(|c: char| c.is_ascii_digit())
        && text.ends_with(|c: char| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, dimension: Dimension, value: Option<f64>, lower: Option<f64>, upper: Option<f64>) {
        let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() < 1e-9,
            (None, None) => true,
            _ => false,
        };
        let target = parse_target(text, dimension).unwrap_or_else(|error| panic!("{text}: {error}"));
        assert!(
            near(target.value, value) && near(target.lower, lower) && near(target.upper, upper),
            "{text}: {target:?}"
        );
    }

    #[test]
    fn targets_are_read_as_people_write_them() {
        check("203 g ± 2 g", Dimension::Mass, Some(203.0), Some(201.0), Some(205.0));
        check("203 g +/- 2 g", Dimension::Mass, Some(203.0), Some(201.0), Some(205.0));
        check("D3 ± 0.5", Dimension::SwingWeight, Some(33.0), Some(32.5), Some(33.5));
        check("D3 ± 0.5 points", Dimension::SwingWeight, Some(33.0), Some(32.5), Some(33.5));
        check("45 in +0/-1/16 in", Dimension::Length, Some(1143.0), Some(1143.0 - 25.4 / 16.0), Some(1143.0));
        check(
            "45 in +1/8 in/-1/16 in",
            Dimension::Length,
            Some(1143.0),
            Some(1143.0 - 25.4 / 16.0),
            Some(1143.0 + 25.4 / 8.0),
        );
        check(
            "45 in +1/8/-1/16 in",
            Dimension::Length,
            Some(1143.0),
            Some(1143.0 - 25.4 / 16.0),
            Some(1143.0 + 25.4 / 8.0),
        );
        check("≤ 46 in", Dimension::Length, None, None, Some(1168.4));
        check(">= 45 1/4 in", Dimension::Length, None, Some(1149.35), None);
        check("1 h", Dimension::Duration, Some(3600.0), None, None);
        check("77 °F", Dimension::Temperature, Some(25.0), None, None);
        check("-40 degF", Dimension::Temperature, Some(-40.0), None, None);
        check("9.5 deg", Dimension::Angle, Some(9.5), None, None);
        check("58° ± 0.5°", Dimension::Angle, Some(58.0), Some(57.5), Some(58.5));
        check("7.2 oz", Dimension::Mass, Some(7.2 * 28.349_523_125), None, None);
        check("-1.5 deg ± 1 deg", Dimension::Angle, Some(-1.5), Some(-2.5), Some(-0.5));
    }

    #[test]
    fn what_cannot_be_read_says_why() {
        let refused = |text: &str, dimension, words: &str| {
            let error = parse_target(text, dimension).expect_err(text).to_string();
            assert!(error.contains(words), "{text}: {error}");
        };
        refused("203", Dimension::Mass, "has no unit");
        refused("203,5 g", Dimension::Mass, "decimal comma");
        refused("203 in", Dimension::Mass, "expected one of: g, kg");
        refused("45 3 in", Dimension::Length, "is not a number");
        refused("45 1/0 in", Dimension::Length, "is not a number");
        refused("1e3 g", Dimension::Mass, "has the unit");
        refused("", Dimension::Mass, "nothing is written");
        refused("203 g ± 2", Dimension::Mass, "has no unit");
        refused("203 g ± -2 g", Dimension::Mass, "negative tolerance");
        refused("33", Dimension::SwingWeight, "is not a number");
    }
}
