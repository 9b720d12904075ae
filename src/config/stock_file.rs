//! Measured parts in stock as a TOML file, for planning a set.
//!
//! ```toml
//! [[head]]
//! id = "H71"
//! for = "7-iron"                 # the club's name in the order
//! mass = "270.4 g"
//! loft = "34.2 deg"
//! lie = "62.3 deg"
//!
//! [[shaft]]
//! id = "S3"
//! for = ["5-iron", "7-iron"]     # without it: any club
//! mass = "118.6 g"
//! length = "40 in"
//! balance = "505 mm"             # from the raw butt
//! frequency = "305 cpm"          # with the clamp and the tip mass that the order's frequencies are counted with
//!
//! [[grip]]
//! id = "G2"
//! mass = "49.7 g"
//! ```

use super::document::{Document, Mistakes, Section};
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::{Grams, Millimetres};
use crate::work_order::stock::{Stock, StockGrip, StockHead, StockShaft};

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

/// A quantity within what is possible for a characteristic.
fn measured(section: &Section<'_>, key: &'static str, like: Characteristic) -> Option<f64> {
    let value = section.quantity(key, like.dimension())?;
    let possible = like.possible();
    if possible.contains(&value) {
        return Some(value);
    }
    let (from, to, unit) = (possible.start(), possible.end(), like.unit());
    section.mistake(key, format!("not possible, expected from {from} to {to} {unit}"));
    None
}

fn optional(section: &Section<'_>, key: &'static str, like: Characteristic) -> Option<f64> {
    if section.has(key) { measured(section, key, like) } else { None }
}

fn required(section: &Section<'_>, key: &'static str, like: Characteristic, example: &str) -> Option<f64> {
    if !section.has(key) {
        section.mistake(key, format!("expected a quantity such as \"{example}\""));
        return None;
    }
    measured(section, key, like)
}

/// The clubs that a part may go to.
fn clubs(section: &Section<'_>) -> Vec<String> {
    let names = if section.has("for") { section.texts("for").unwrap_or_default() } else { Vec::new() };
    names.into_iter().map(str::to_owned).collect()
}

fn read_head(section: &Section<'_>, ids: &mut Vec<String>) -> Option<StockHead> {
    let club = section.required_text("for", "7-iron").map(str::to_owned);
    let mass = required(section, "mass", Characteristic::HeadMass, "270.4 g");
    let loft_deg = optional(section, "loft", Characteristic::Loft);
    let lie_deg = optional(section, "lie", Characteristic::Lie);
    let beyond_tip = if section.has("beyond_tip") { section.quantity("beyond_tip", Dimension::Length) } else { None };
    if beyond_tip.is_some_and(|mm| !(-20.0..=80.0).contains(&mm)) {
        section.mistake("beyond_tip", "not possible, expected from -20 to 80 mm");
    }
    let id = id(section, ids)?;
    Some(StockHead { id, club: club?, mass: Grams(mass?), loft_deg, lie_deg, beyond_tip: beyond_tip.map(Millimetres) })
}

fn read_shaft(section: &Section<'_>, ids: &mut Vec<String>) -> Option<StockShaft> {
    let clubs = clubs(section);
    let mass = required(section, "mass", Characteristic::ShaftMass, "118.6 g");
    let length = required(section, "length", Characteristic::Length, "40 in");
    let balance = optional(section, "balance", Characteristic::ShaftBalance);
    let frequency_cpm = optional(section, "frequency", Characteristic::Frequency);
    let id = id(section, ids)?;
    let (mass, length) = (mass?, length?);
    // The club model takes a shaft with an even change of density: it balances in the middle third of its length.
    if balance.is_some_and(|mm| !(length / 3.0..=length * 2.0 / 3.0).contains(&mm)) {
        section.mistake("balance", "not possible, expected in the middle third of the shaft, from its raw butt");
    }
    let (mass, length, balance) = (Grams(mass), Millimetres(length), balance.map(Millimetres));
    Some(StockShaft { id, clubs, mass, length, balance, frequency_cpm })
}

fn read_grip(section: &Section<'_>, ids: &mut Vec<String>) -> Option<StockGrip> {
    let clubs = clubs(section);
    let mass = required(section, "mass", Characteristic::GripMass, "49.7 g");
    let id = id(section, ids)?;
    Some(StockGrip { id, clubs, mass: Grams(mass?) })
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
balance = "505 mm"

[[grip]]
id = "G2"
mass = "49.7 g"
"#;
        let stock = read_stock("stock.toml", text).unwrap();
        assert_eq!((stock.heads[0].mass, stock.heads[0].loft_deg), (Grams(270.4), Some(34.2)));
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
