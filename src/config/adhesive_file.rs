//! An adhesive as a TOML file, entered from its maker's sheet.
//!
//! ```toml
//! adhesive = "dune-2k"
//! name = "Dune 2K (invented for the demo)"
//! source = "invented; a real one names the maker's sheet, its issue and date"
//!
//! [[at]]
//! from = "18 °C"
//! to = "25 °C"
//! working_life = "20 min"
//! cure = "8 h"
//! play = "24 h"
//! ```

use super::document::{Document, Mistakes, Section};
use crate::measurement::quantity::Dimension;
use crate::work_order::adhesive::{Adhesive, AtTemperature};

/// Temperatures that a sheet may state, in degrees Celsius; wide on purpose.
const POSSIBLE_C: std::ops::RangeInclusive<f64> = -20.0..=250.0;
/// The longest time that a sheet may state: thirty days, in seconds.
const LONGEST_S: f64 = 30.0 * 86_400.0;

/// Reads a product.
///
/// # Errors
/// Every mistake of the file.
pub fn read_adhesive(file: &str, text: &str) -> Result<Adhesive, Mistakes> {
    Document::read(file, text, |top| {
        let id = top.required_text("adhesive", "dune-2k").and_then(|id| {
            let fits = id.len() <= 40 && id.bytes().all(|b| b.is_ascii_alphanumeric() || b"-._".contains(&b));
            if !fits {
                top.mistake("adhesive", "expected at most 40 letters, digits, '-', '.' or '_'");
            }
            fits.then(|| id.to_owned())
        });
        let line = |key: &'static str, example: &str| {
            let text = top.required_text(key, example)?.trim();
            if text.chars().count() > 200 || text.chars().any(char::is_control) {
                top.mistake(key, "expected one line of at most 200 characters");
            }
            Some(text.to_owned())
        };
        let name = line("name", "Dune 2K (invented for the demo)");
        let source = line("source", "the maker's sheet, its issue and date");
        let at = top.sections("at", |_, section| range(section));
        if !top.has("at") {
            top.mistake("at", "expected at least one table [[at]] with the times at a range of temperatures");
        }
        Some(Adhesive { id: id?, name: name?, source: source?, at })
    })
}

fn range(section: &Section<'_>) -> Option<AtTemperature> {
    let needed = |key: &'static str, dimension: Dimension, example: &str| {
        if !section.has(key) {
            section.mistake(key, format!("expected a quantity such as \"{example}\""));
        }
        section.quantity(key, dimension)
    };
    let temperature = |key: &'static str, example: &str| {
        let value = needed(key, Dimension::Temperature, example)?;
        let fits = POSSIBLE_C.contains(&value);
        if !fits {
            section.mistake(key, format!("expected from {} to {} °C", POSSIBLE_C.start(), POSSIBLE_C.end()));
        }
        fits.then_some(value)
    };
    let time = |key: &'static str, example: &str| {
        let value = needed(key, Dimension::Duration, example)?;
        let fits = value > 0.0 && value <= LONGEST_S;
        if !fits {
            section.mistake(key, "expected a time above nothing, of at most 30 d");
        }
        fits.then_some(value)
    };
    let (from, to) = (temperature("from", "18 °C"), temperature("to", "25 °C"));
    let (working_life, cure, play) = (time("working_life", "20 min"), time("cure", "8 h"), time("play", "24 h"));
    let (from_c, to_c, working_life_s, cure_s, play_s) = (from?, to?, working_life?, cure?, play?);
    if from_c > to_c {
        section.mistake("to", "expected a temperature that is not below `from`");
    }
    if play_s < cure_s {
        section.mistake("play", "expected a time that is not shorter than `cure`");
    }
    Some(AtTemperature { from_c, to_c, working_life_s, cure_s, play_s })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The product of the demo, as it ships.
    const DEMO: &str = include_str!("../../config/adhesives/dune-2k.toml");

    #[test]
    fn the_product_of_the_demo_is_read_and_says_that_it_is_invented() {
        let adhesive = read_adhesive("dune-2k.toml", DEMO).unwrap();
        assert!(adhesive.name.contains("invented") && adhesive.source.contains("invented"));
        assert_eq!(adhesive.times(21.0).map(|times| times.working_life_s), Some(1200.0));
        assert_eq!(adhesive.times(10.0), None);
    }

    #[test]
    fn every_mistake_is_named_with_its_line() {
        let bad = "adhesive = \"a b\"\nname = \"x\"\n[[at]]\nfrom = \"25 °C\"\nto = \"64 °F\"\nworking_life = \"20\"\ncure = \"0 h\"\n[[at]]\nfrom = \"77 °F\"\nto = \"20 °C\"\nworking_life = \"1 h\"\ncure = \"2 d\"\nplay = \"24 h\"\n";
        let found: Vec<(usize, String)> =
            read_adhesive("bad.toml", bad).unwrap_err().0.into_iter().map(|m| (m.line, m.key)).collect();
        let expected = [
            (1, "adhesive"),
            (1, "source"),
            (3, "at[1].play"),
            (6, "at[1].working_life"),
            (7, "at[1].cure"),
            (10, "at[2].to"),
            (13, "at[2].play"),
        ];
        assert_eq!(found, expected.map(|(line, key)| (line, key.to_owned())));
    }
}
