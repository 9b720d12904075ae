//! The units that a display likes, for what the daemon writes into a page.
//!
//! In: the cookies of a request; values with the daemon's own texts. Out: texts in those units. The counterpart of `quantities.js`, held to the
//! same cases (`tests/units.json`). Only what is shown changes.

use std::sync::LazyLock;

use axum::http::{HeaderMap, header};
use regex::{Captures, Regex};

use crate::club::characteristic::Characteristic;
use crate::club::shown::{inches, number};
use crate::measurement::unit::MM_PER_INCH;
use crate::output::text::{self, Lengths};
use crate::output::trust_view::short;
use crate::output::view::ReadingView;
use crate::output::work_view::CharacteristicView;

/// An avoirdupois ounce, exactly: a sixteenth of 0.453 592 37 kg (NIST Handbook 44, Appendix C).
const G_PER_OUNCE: f64 = 28.349_523_125;
/// A thousandth of an ounce is 0.03 g, finer than the tenth of a gram that it stands for.
const OUNCE_DECIMALS: u8 = 3;
/// Plain numbers in a unit some thirty times as large keep what they told with so many decimals more.
const FINER: usize = 2;
/// A fraction of an inch with more parts is less than a millimetre.
const SIXTEENTHS: f64 = 16.0;
/// The remark of a target whose limits the order does not write.
const BY_DEFAULT: &str = ", by default";

/// What a display has chosen; nothing chosen is as the bench sends it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Units {
    pub(super) lengths: Option<Lengths>,
    pub(super) ounces: bool,
}

/// How plain numbers, such as those of an axis, are written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Numbers<'a> {
    per: f64,
    finer: usize,
    /// Their unit, for the heading: it is not written with each.
    pub(super) unit: &'a str,
}

impl Numbers<'_> {
    /// A number with the decimals that it has in the unit of the daemon.
    pub(super) fn write(&self, value: f64, decimals: usize) -> String {
        let written = format!("{:.*}", decimals + self.finer, value / self.per);
        unsigned_nothing(&written).replace('-', "\u{2212}")
    }

    /// The same with a plus where it is one.
    pub(super) fn signed(&self, value: f64, decimals: usize) -> String {
        let written = self.write(value, decimals);
        let has_plus = value > 0.0 && written.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
        if has_plus { format!("+{written}") } else { written }
    }
}

tokio::task_local! {
    /// The units of the request that is being answered.
    static CURRENT: Units;
}

/// The units of the request that is being answered; as the bench sends them outside of one.
pub(super) fn current() -> Units {
    CURRENT.try_with(|units| *units).unwrap_or_default()
}

/// Answers a request in units.
pub(super) async fn during<F: Future>(units: Units, answer: F) -> F::Output {
    CURRENT.scope(units, answer).await
}

/// A value with its target, as displays get it.
pub(super) struct Sized<'a> {
    pub(super) characteristic: Option<&'a str>,
    pub(super) unit: &'a str,
    pub(super) value: Option<f64>,
    pub(super) text: &'a str,
    pub(super) target: [Option<f64>; 3],
    pub(super) target_text: Option<&'a str>,
    pub(super) deviation: Option<f64>,
    pub(super) deviation_text: Option<&'a str>,
}

impl<'a> From<&'a ReadingView> for Sized<'a> {
    fn from(view: &'a ReadingView) -> Self {
        Self {
            characteristic: view.characteristic,
            unit: view.unit,
            value: Some(view.value),
            text: &view.text,
            target: [view.lower, view.target, view.upper],
            target_text: view.target_text.as_deref(),
            deviation: view.deviation,
            deviation_text: view.deviation_text.as_deref(),
        }
    }
}

impl<'a> From<&'a CharacteristicView> for Sized<'a> {
    fn from(view: &'a CharacteristicView) -> Self {
        Self {
            characteristic: Some(view.characteristic),
            unit: view.unit,
            value: view.value,
            text: view.text.as_deref().unwrap_or_default(),
            target: [view.lower, view.target, view.upper],
            target_text: view.target_text.as_deref(),
            deviation: view.deviation,
            deviation_text: view.deviation_text.as_deref(),
        }
    }
}

impl Units {
    /// What the cookies of a request say.
    pub(super) fn of(headers: &HeaderMap) -> Self {
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut units = Self::default();
        for (name, value) in cookies.flat_map(|all| all.split(';')).filter_map(|pair| pair.trim().split_once('=')) {
            match (name, value) {
                ("bench-lengths", "in") => units.lengths = Some(Lengths::Inches),
                ("bench-lengths", "mm") => units.lengths = Some(Lengths::Millimetres),
                ("bench-masses", "oz") => units.ounces = true,
                _ => {}
            }
        }
        units
    }

    /// How a size is written here; none where the daemon's text stands.
    fn writer(self, sized: &Sized<'_>) -> Option<fn(f64) -> String> {
        self.writer_of(sized.characteristic, sized.unit)
    }

    fn writer_of(self, characteristic: Option<&str>, unit: &str) -> Option<fn(f64) -> String> {
        let is_length = characteristic == Some(Characteristic::Length.name());
        match self.lengths {
            _ if unit == "g" && self.ounces => Some(ounces),
            Some(Lengths::Inches) if is_length => Some(inches),
            Some(Lengths::Millimetres) if is_length => Some(millimetres),
            _ => None,
        }
    }

    /// A number of a characteristic in the unit of its numbers, as it is written here.
    pub(super) fn number(self, of: Characteristic, value: f64, lengths: Lengths) -> String {
        let write = self.writer_of(Some(of.name()), of.dimension().base_unit());
        write.map_or_else(|| text::value(of, value, lengths), |write| write(value))
    }

    /// How far such a number is from its target.
    pub(super) fn off(self, of: Characteristic, deviation: f64, lengths: Lengths) -> String {
        let write = self.writer_of(Some(of.name()), of.dimension().base_unit());
        write.map_or_else(|| text::deviation(of, deviation, lengths), |write| with_sign(write, deviation))
    }

    /// How plain numbers of a characteristic are written. Inches are decimal there: what spreads or is off on average is less than a
    /// sixteenth.
    pub(super) fn numbers<'a>(self, characteristic: Option<&str>, unit: &'a str) -> Numbers<'a> {
        let is_length = characteristic == Some(Characteristic::Length.name());
        match self.lengths {
            _ if unit == "g" && self.ounces => Numbers { per: G_PER_OUNCE, finer: FINER, unit: "oz" },
            Some(Lengths::Inches) if is_length => Numbers { per: MM_PER_INCH, finer: FINER, unit: "in" },
            _ => Numbers { per: 1.0, finer: 0, unit },
        }
    }

    /// An expanded uncertainty; of a length it stays in millimetres, as it is finer than any fraction of an inch.
    pub(super) fn expanded(self, u: f64, unit: &str) -> String {
        if unit == "g" && self.ounces { format!("± {}", ounces(u)) } else { format!("± {} {unit}", short(u)) }
    }

    pub(super) fn value(self, sized: &Sized<'_>) -> String {
        let size = sized.value.filter(|value| value.is_finite());
        self.writer(sized).zip(size).map_or_else(|| sized.text.to_owned(), |(write, size)| write(size))
    }

    pub(super) fn deviation(self, sized: &Sized<'_>) -> Option<String> {
        let size = sized.deviation.filter(|deviation| deviation.is_finite());
        let shown = self.writer(sized).zip(size).map(|(write, size)| with_sign(write, size));
        shown.or_else(|| sized.deviation_text.map(ToOwned::to_owned))
    }

    /// The target with its limits; one that is only a limit stays as the daemon writes it, with its numbers in these units.
    pub(super) fn target(self, sized: &Sized<'_>) -> Option<String> {
        let text = sized.target_text?;
        let (Some(write), [Some(lower), Some(target), Some(upper)]) = (self.writer(sized), sized.target) else {
            return Some(self.sentence(text));
        };
        let (below, above) = (target - lower, upper - target);
        let remark = if text.ends_with(BY_DEFAULT) { BY_DEFAULT } else { "" };
        Some(if (above - below).abs() < 1e-6 {
            format!("{} ± {}{remark}", write(target), write(above))
        } else {
            format!("{} {}/{}{remark}", write(target), with_sign(write, above), with_sign(write, -below))
        })
    }

    /// A sentence with the masses and inches in it in these units; a sixteenth of an inch is more than a millimetre wide, what is
    /// finer is not.
    pub(super) fn sentence(self, text: &str) -> String {
        let mut shown = text.to_owned();
        if self.ounces {
            shown = FROM_TO
                .replace_all(&shown, |of: &Captures<'_>| {
                    format!(
                        "{}{}{}",
                        number(grams(of, 1) / G_PER_OUNCE, OUNCE_DECIMALS),
                        of_group(of, 2),
                        ounces(grams(of, 3))
                    )
                })
                .into_owned();
            shown = GRAMS
                .replace_all(&shown, |of: &Captures<'_>| {
                    if !of_group(of, 2).is_empty() {
                        return of_group(of, 0).to_owned();
                    }
                    // As fine as the grams were written.
                    let written = of_group(of, 1).split_once('.').map_or(0, |(_, decimals)| decimals.len());
                    let decimals =
                        if written > 2 { u8::try_from(written + 2).unwrap_or(OUNCE_DECIMALS) } else { OUNCE_DECIMALS };
                    format!("{} oz", number(grams(of, 1) / G_PER_OUNCE, decimals))
                })
                .into_owned();
        }
        if self.lengths == Some(Lengths::Millimetres) {
            // What stands in both units already needs no second time.
            shown = BESIDE.replace_all(&shown, "$1").into_owned();
            shown = DECIMAL_INCHES
                .replace_all(&shown, |of: &Captures<'_>| {
                    if of_group(of, 2).is_empty() {
                        millimetres(grams(of, 1) * MM_PER_INCH)
                    } else {
                        of_group(of, 0).to_owned()
                    }
                })
                .into_owned();
            shown = FRACTIONS
                .replace_all(&shown, |of: &Captures<'_>| {
                    if !of_group(of, 7).is_empty() {
                        return of_group(of, 0).to_owned();
                    }
                    let ratio =
                        |above, below| if of.get(above).is_some() { grams(of, above) / grams(of, below) } else { 0.0 };
                    let whole = if of.get(2).is_some() { grams(of, 2) } else { 0.0 };
                    let is_fine =
                        [4, 6].into_iter().any(|below| of.get(below).is_some() && grams(of, below) > SIXTEENTHS);
                    let mm = (whole + ratio(3, 4) + ratio(5, 6)) * MM_PER_INCH;
                    format!("{}{} mm", of_group(of, 1), number(mm, u8::from(is_fine)))
                })
                .into_owned();
        }
        shown
    }
}

/// Groups that did not take part are empty.
fn of_group<'a>(of: &'a Captures<'_>, at: usize) -> &'a str {
    of.get(at).map_or("", |group| group.as_str())
}

fn grams(of: &Captures<'_>, at: usize) -> f64 {
    of_group(of, at).parse().unwrap_or(f64::NAN)
}

#[expect(clippy::expect_used, reason = "the patterns stand below, and the first test reads each")]
fn pattern(text: &str) -> Regex {
    Regex::new(text).expect("a pattern of this file")
}

static FROM_TO: LazyLock<Regex> = LazyLock::new(|| pattern(r"(\d+(?:\.\d+)?)( to | bis | ± )(\d+(?:\.\d+)?) g\b"));
static GRAMS: LazyLock<Regex> = LazyLock::new(|| pattern(r"(\d+(?:\.\d+)?) g\b(·?)"));
static BESIDE: LazyLock<Regex> = LazyLock::new(|| pattern(r"( mm) \([\d /]+ in\)"));
static DECIMAL_INCHES: LazyLock<Regex> = LazyLock::new(|| pattern(r"(\d+\.\d+) in\b(·?)"));
static FRACTIONS: LazyLock<Regex> =
    LazyLock::new(|| pattern(r"(^|[^\d./])(?:(\d+)(?: (\d+)/(\d+))?|(\d+)/(\d+)) in\b(·?)"));

fn ounces(grams: f64) -> String {
    format!("{} oz", unsigned_nothing(&number(grams / G_PER_OUNCE, OUNCE_DECIMALS)))
}

fn millimetres(mm: f64) -> String {
    format!("{} mm", unsigned_nothing(&number(mm, 1)))
}

/// What rounds to nothing has no sign.
fn unsigned_nothing(number: &str) -> &str {
    let is_nothing = !number.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
    if is_nothing { number.trim_start_matches('-') } else { number }
}

fn with_sign(write: fn(f64) -> String, difference: f64) -> String {
    let size = write(difference.abs());
    // What rounds to nothing has no sign.
    match (size.bytes().any(|byte| (b'1'..=b'9').contains(&byte)), difference < 0.0) {
        (false, _) => size,
        (true, true) => format!("\u{2212}{size}"),
        (true, false) => format!("+{size}"),
    }
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;
    use serde_json::Value;

    use super::*;

    fn units(chosen: &Value) -> Units {
        let cookie = format!(
            "bench-lengths={}; bench-masses={}",
            chosen["lengths"].as_str().unwrap_or("x"),
            chosen["masses"].as_str().unwrap_or("x")
        );
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_str(&cookie).unwrap());
        Units::of(&headers)
    }

    #[test]
    fn units_are_shown_as_by_the_script() {
        let cases: Value = serde_json::from_str(include_str!("../../../tests/units.json")).unwrap();
        for case in cases["readings"].as_array().unwrap() {
            let (reading, units) = (&case["reading"], units(&case["units"]));
            let sized = Sized {
                characteristic: reading["characteristic"].as_str(),
                unit: reading["unit"].as_str().unwrap(),
                value: reading["value"].as_f64(),
                text: reading["text"].as_str().unwrap(),
                target: ["lower", "target", "upper"].map(|name| reading[name].as_f64()),
                target_text: reading["target_text"].as_str(),
                deviation: reading["deviation"].as_f64(),
                deviation_text: reading["deviation_text"].as_str(),
            };
            assert_eq!(units.value(&sized), case["value"], "{case}");
            assert_eq!(units.deviation(&sized).as_deref(), case["deviation"].as_str(), "{case}");
            assert_eq!(units.target(&sized).as_deref(), case["target"].as_str(), "{case}");
        }
        for case in cases["numbers"].as_array().unwrap() {
            let (unit, decimals) =
                (case["unit"].as_str().unwrap(), usize::try_from(case["decimals"].as_u64().unwrap()).unwrap());
            let numbers = units(&case["units"]).numbers(case["characteristic"].as_str(), unit);
            let value = case["value"].as_f64().unwrap();
            assert_eq!(
                (numbers.write(value, decimals).as_str(), numbers.unit),
                (case["text"].as_str().unwrap(), case["in"].as_str().unwrap())
            );
            assert_eq!(numbers.signed(value, decimals), case["signed"], "{case}");
        }
        for case in cases["sentences"].as_array().unwrap() {
            assert_eq!(units(&case["units"]).sentence(case["text"].as_str().unwrap()), case["shown"], "{case}");
        }
    }
}
