//! The part of an order file that says what a club's parts are: `[club.given]` and `[club.sleeve]`.

use super::document::Section;
use crate::measurement::quantity::{Dimension, parse_value};
use crate::measurement::unit::Degrees;
use crate::work_order::details::{Details, Given, Measure, SleeveSpec};

/// Largest tilt of a sleeve, in degrees (common practice, no source: sleeves tilt by one to two).
const MOST_TILT_DEG: f64 = 5.0;
/// The most positions of a sleeve.
const MOST_CLOCKS: usize = 64;

/// Reads both tables of a club; `None` after a mistake.
pub(super) fn read_details(club: &Section<'_>) -> Option<Details> {
    let given = club.section("given", read_given).unwrap_or_else(|| Some((None, Vec::new())));
    let sleeve = match club.section("sleeve", read_sleeve) {
        Some(sleeve) => Some(Some(sleeve?)),
        None => Some(None),
    };
    let (head_material, given) = given?;
    Some(Details { head_material, given, sleeve: sleeve? })
}

fn read_given(section: &Section<'_>) -> Option<(Option<String>, Vec<Given>)> {
    // An empty text is a mistake that is noted, and the file is refused for it.
    let material = section.has("head_material").then(|| section.required_text("head_material", "forged carbon steel"));
    let material = material.flatten().map(|text| text.trim().to_owned());
    let given = Measure::ALL.iter().filter_map(|measure| {
        let (target, text) = section.target(measure.name(), measure.dimension())?;
        let Some(value) = target.value else {
            section.mistake(measure.name(), "a limit, expected a value");
            return None;
        };
        let possible = measure.possible();
        if !possible.contains(&value) {
            let (from, to, unit) = (possible.start(), possible.end(), measure.dimension().base_unit());
            section.mistake(measure.name(), format!("not possible, expected from {from} to {to} {unit}"));
        }
        Some(Given { measure: *measure, value, text: text.to_owned() })
    });
    Some((material, given.collect()))
}

fn read_sleeve(section: &Section<'_>) -> Option<SleeveSpec> {
    if !section.has("tilt") {
        section.mistake("tilt", "expected the lean of the shaft from the head's bore, such as \"1.5 deg\"");
    }
    let tilt = section.quantity("tilt", Dimension::Angle).filter(|tilt| {
        let fits = (0.0..=MOST_TILT_DEG).contains(tilt);
        if !fits {
            section.mistake("tilt", format!("expected 0 deg to {MOST_TILT_DEG} deg"));
        }
        fits
    });
    const CLOCKS: &str =
        "expected clock positions from the upright side toward the target, such as [\"0 deg\", \"90 deg\"]";
    if !section.has("clock") {
        section.mistake("clock", CLOCKS);
    }
    let clocks: Option<Vec<Degrees>> = section.texts("clock").and_then(|texts| {
        if texts.is_empty() || texts.len() > MOST_CLOCKS {
            section.mistake("clock", format!("{CLOCKS}, one to {MOST_CLOCKS} of them"));
            return None;
        }
        let clocks: Vec<f64> = texts
            .iter()
            .filter_map(|text| match parse_value(text, Dimension::Angle) {
                Ok(clock) if (-360.0..=360.0).contains(&clock) => Some(clock),
                Ok(_) => {
                    section.mistake("clock", format!("\"{text}\" is more than a full turn"));
                    None
                }
                Err(error) => {
                    section.mistake("clock", error.to_string());
                    None
                }
            })
            .collect();
        (clocks.len() == texts.len()).then(|| clocks.into_iter().map(Degrees).collect())
    });
    let at = match section.quantity("at", Dimension::Angle) {
        None if section.has("at") => None,
        None => Some(None),
        Some(at) => {
            let known = clocks.as_ref().is_none_or(|clocks| clocks.iter().any(|clock| (clock.0 - at).abs() < 1e-9));
            if !known {
                section.mistake("at", "expected one of the positions of `clock`");
            }
            known.then_some(Some(Degrees(at)))
        }
    };
    Some(SleeveSpec { tilt: Degrees(tilt?), clocks: clocks?, at: at? })
}

#[cfg(test)]
mod tests {
    use crate::config::order_file::read_order;
    use crate::measurement::unit::Degrees;
    use crate::work_order::details::Measure;

    const HEAD: &str = "order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"driver\"\n";

    #[test]
    fn facts_and_sleeve_are_read_as_texts_with_units() {
        let text = format!(
            "{HEAD}[club.given]\nhead_material = \"titanium\"\nhead_volume = \"28 in3\"\nhead_inertia = \"5200 g.cm2\"\nbounce = \"4 deg\"\n[club.sleeve]\ntilt = \"1.5 deg\"\nclock = [\"0 deg\", \"90 deg\", \"180 deg\"]\nat = \"90 deg\"\n"
        );
        let details = read_order("f", &text).unwrap().clubs.remove(0).details;
        assert_eq!(details.head_material.as_deref(), Some("titanium"));
        // An inch is 2.54 cm, so 28 cubic inches are 458.838 cm³.
        assert!((details.given(Measure::HeadVolume).unwrap().value - 458.838).abs() < 1e-3);
        assert!((details.given(Measure::HeadInertia).unwrap().value - 5.2).abs() < 1e-12);
        let sleeve = details.sleeve.unwrap();
        assert_eq!((sleeve.tilt, sleeve.clocks.len(), sleeve.at), (Degrees(1.5), 3, Some(Degrees(90.0))));
    }

    #[test]
    fn every_mistake_is_named_with_its_line() {
        let text = format!(
            "{HEAD}[club.given]\nhead_volume = 460\nbounce = \"90 deg\"\ncolour = \"red\"\n[club.sleeve]\ntilt = \"12 deg\"\nclock = [\"0\", \"999 deg\"]\nat = \"5\"\n"
        );
        let mistakes = read_order("f", &text).unwrap_err().to_string();
        for words in [
            "f:6: club[1].given.head_volume",
            "f:7: club[1].given.bounce",
            "f:8: club[1].given.colour",
            "f:10: club[1].sleeve.tilt",
            "f:11: club[1].sleeve.clock: found [\"0\", \"999 deg\"], \"0\" has no unit",
            "\"999 deg\" is more than a full turn",
            "f:12: club[1].sleeve.at",
        ] {
            assert!(mistakes.contains(words), "{words} not in:\n{mistakes}");
        }
        let elsewhere = format!("{HEAD}[club.sleeve]\ntilt = \"1 deg\"\nclock = [\"0 deg\"]\nat = \"5 deg\"\n");
        assert!(read_order("f", &elsewhere).unwrap_err().to_string().contains("one of the positions"));
    }
}
