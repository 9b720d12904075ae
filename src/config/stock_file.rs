//! Measured parts in stock as a TOML file, for planning a set.
//!
//! ```toml
//! [[head]]
//! id = "H71"
//! for = "7-iron"                 # the club's name in the order
//! mass = "270.4 g"               # known within 0.1 g (u); or say how well, as a half width: "270.4 g ± 0.5 g"
//! loft = "34.2 deg"
//! lie = "62.3 deg"
//!
//! [[shaft]]
//! id = "S3"
//! for = ["5-iron", "7-iron"]     # without it: any club
//! mass = "118.6 g"
//! length = "40 in"
//! balance = "505 mm"             # from the raw butt, known within 1 mm (u), or "505 mm ± 3 mm"
//! frequency = "305 cpm"          # with the clamp and the tip mass that the order's frequencies are counted with
//!
//! [[grip]]
//! id = "G2"
//! mass = "49.7 g"
//! ```

use super::document::{Document, Mistakes, Section};
use crate::club::characteristic::Characteristic;
use crate::club::cut::Span;
use crate::club::shown::{self, lengths_of};
use crate::measurement::quantity::{Dimension, Target};
use crate::measurement::unit::{Grams, Millimetres};
use crate::work_order::stock::{Stock, StockGrip, StockHead, StockShaft, U_USUAL_G, U_USUAL_MM, WeighedMass};

/// Most parts of a kind: beyond it a plan takes too long.
pub const MOST_PARTS: usize = 40;

/// Reads a stock file.
///
/// # Errors
/// Every mistake of the file.
pub fn read_stock(file: &str, text: &str) -> Result<Stock, Mistakes> {
    Document::read(file, text, |top| {
        let mut ids = Vec::new();
        let heads = top.sections("head", |_, section| read_head(section, &mut ids));
        let shafts = top.sections("shaft", |_, section| read_shaft(section, &mut ids));
        let grips = top.sections("grip", |_, section| read_grip(section, &mut ids));
        for (key, parts) in [("head", heads.len()), ("shaft", shafts.len()), ("grip", grips.len())] {
            if !top.has(key) {
                top.mistake(key, format!("expected at least one table [[{key}]]"));
            }
            if parts > MOST_PARTS {
                top.mistake(key, format!("{parts} parts, expected at most {MOST_PARTS}"));
            }
        }
        Some(Stock { heads, shafts, grips })
    })
}

/// A name that no other part has.
fn id(section: &Section<'_>, ids: &mut Vec<String>) -> Option<String> {
    let id = section.required_text("id", "S3")?.to_owned();
    if ids.contains(&id) {
        section.mistake("id", "another part has the same id, expected each once");
        return None;
    }
    ids.push(id.clone());
    Some(id)
}

/// A quantity within what is possible for a characteristic, with its standard uncertainty: that of the half width that is
/// stated (rectangular, JCGM 100, 4.3.7), else the usual one.
pub(super) fn measured(
    section: &Section<'_>,
    key: &'static str,
    like: Characteristic,
    usual_u: f64,
) -> Option<(f64, f64)> {
    let (Target { value, lower, upper }, text) = section.target(key, like.dimension())?;
    let Some(value) = value else {
        section.mistake(key, "a limit, expected the value that was measured");
        return None;
    };
    let possible = like.possible();
    if possible.contains(&value) {
        let half_width = lower.zip(upper).map(|(lower, upper)| (upper - lower) / 2.0);
        return Some((value, half_width.map_or(usual_u, |half| half / 3f64.sqrt())));
    }
    section.mistake(key, format!("not possible, expected {}", shown::possible(like, lengths_of(text))));
    None
}

fn optional(section: &Section<'_>, key: &'static str, like: Characteristic) -> Option<f64> {
    if section.has(key) { measured(section, key, like, 0.0).map(|(value, _)| value) } else { None }
}

fn required(section: &Section<'_>, key: &'static str, like: Characteristic, example: &str) -> Option<(f64, f64)> {
    if !section.has(key) {
        section.mistake(key, format!("expected a quantity such as \"{example}\""));
        return None;
    }
    measured(section, key, like, U_USUAL_G)
}

fn mass(section: &Section<'_>, like: Characteristic, example: &str) -> Option<WeighedMass> {
    required(section, "mass", like, example).map(|(mass, u)| WeighedMass { mass: Grams(mass), u: Grams(u) })
}

/// The clubs that a part may go to.
fn clubs(section: &Section<'_>) -> Vec<String> {
    let names = if section.has("for") { section.texts("for").unwrap_or_default() } else { Vec::new() };
    names.into_iter().map(str::to_owned).collect()
}

fn read_head(section: &Section<'_>, ids: &mut Vec<String>) -> Option<StockHead> {
    let club = section.required_text("for", "7-iron").map(str::to_owned);
    let mass = mass(section, Characteristic::HeadMass, "270.4 g");
    let loft_deg = optional(section, "loft", Characteristic::Loft);
    let lie_deg = optional(section, "lie", Characteristic::Lie);
    let beyond_tip = if section.has("beyond_tip") { section.quantity("beyond_tip", Dimension::Length) } else { None };
    let beyond_tip = beyond_tip.map(|mm| Span::new(mm, U_USUAL_MM));
    if beyond_tip.is_some_and(|beyond| !(-20.0..=80.0).contains(&beyond.mm)) {
        section.mistake("beyond_tip", "not possible, expected from -20 to 80 mm");
    }
    let id = id(section, ids)?;
    Some(StockHead { id, club: club?, mass: mass?, loft_deg, lie_deg, beyond_tip })
}

fn read_shaft(section: &Section<'_>, ids: &mut Vec<String>) -> Option<StockShaft> {
    let clubs = clubs(section);
    let mass = mass(section, Characteristic::ShaftMass, "118.6 g");
    let length = required(section, "length", Characteristic::Length, "40 in");
    let balance = if section.has("balance") {
        measured(section, "balance", Characteristic::ShaftBalance, U_USUAL_MM).map(|(mm, u_mm)| Span::new(mm, u_mm))
    } else {
        None
    };
    let frequency_cpm = optional(section, "frequency", Characteristic::Frequency);
    let id = id(section, ids)?;
    let (mass, (length, _)) = (mass?, length?);
    // The club model takes a shaft with an even change of density: it balances in the middle third of its length.
    if balance.is_some_and(|balance| !(length / 3.0..=length * 2.0 / 3.0).contains(&balance.mm)) {
        section.mistake("balance", "not possible, expected in the middle third of the shaft, from its raw butt");
    }
    Some(StockShaft { id, clubs, mass, length: Millimetres(length), balance, frequency_cpm })
}

fn read_grip(section: &Section<'_>, ids: &mut Vec<String>) -> Option<StockGrip> {
    let clubs = clubs(section);
    let mass = mass(section, Characteristic::GripMass, "49.7 g");
    let id = id(section, ids)?;
    Some(StockGrip { id, clubs, mass: mass? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stock_file_is_read() {
        let text = r#"
[[head]]
id = "H71"
for = "7-iron"
mass = "270.4 g"
loft = "34.2 deg"

[[shaft]]
id = "S3"
for = ["5-iron", "7-iron"]
mass = "118.6 g"
length = "40 in"
balance = "505 mm ± 3 mm"

[[grip]]
id = "G2"
mass = "49.7 g"
"#;
        let stock = read_stock("stock.toml", text).unwrap();
        let head = &stock.heads[0];
        assert_eq!((head.mass, head.loft_deg), (WeighedMass { mass: Grams(270.4), u: Grams(0.1) }, Some(34.2)));
        // A half width of 3 mm, rectangular: 3 / √3.
        let balance = stock.shafts[0].balance.unwrap();
        assert!((balance.mm - 505.0).abs() < 1e-12 && (balance.u_mm - 3f64.sqrt()).abs() < 1e-12);
        assert_eq!(stock.shafts[0].clubs, ["5-iron", "7-iron"]);
        assert_eq!((stock.shafts[0].length, stock.shafts[0].frequency_cpm), (Millimetres(1016.0), None));
        assert!(stock.grips[0].clubs.is_empty());
    }

    #[test]
    fn every_mistake_of_a_stock_is_named() {
        let text = "[[head]]\nid = \"A\"\nfor = \"7-iron\"\nmass = \"270\"\n[[shaft]]\nid = \"A\"\nfor = \"7-iron\"\nmass = \"118 g\"\nlength = \"1 m\"\nbalance = \"900 mm\"\nhue = 1\n";
        let Err(Mistakes(mistakes)) = read_stock("bad.toml", text) else { panic!("accepted") };
        let found: Vec<(usize, &str)> = mistakes.iter().map(|m| (m.line, m.key.as_str())).collect();
        for expected in [(4, "head[1].mass"), (7, "shaft[1].for"), (11, "shaft[1].hue"), (1, "grip")] {
            assert!(found.contains(&expected), "{expected:?} not in {mistakes:#?}");
        }
    }
}
