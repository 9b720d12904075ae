//! A work order as a TOML file.
//!
//! ```toml
//! order = "W-1042"
//! player = "P-17"
//!
//! [[club]]
//! name = "driver"
//! kind = "driver"
//! head = "dune 460"
//! head_mass = "203 g ± 2 g"
//! swing_weight = "D3 ± 0.5"
//! length = "45 1/4 in ± 1/16 in"
//! ```
//!
//! The tables `[club.cut]`, `[club.fit]` and `[[tip_trim]]` are read in `build_section`.

use super::build_section::{TipTrims, read_build};
use super::details_section::read_details;
use super::document::{Document, Mistakes, Section};
use crate::club::characteristic::Characteristic;
use crate::work_order::order::{ClubKind, ClubSpec, Hand, Models, Order, TargetRow, is_order_number, token};

/// Reads an order file.
///
/// # Errors
/// Every mistake of the file.
pub fn read_order(file: &str, text: &str) -> Result<Order, Mistakes> {
    Document::read(file, text, |top| {
        let number = top.required_text("order", "W-1042").and_then(|number| {
            let fits = is_order_number(number);
            if !fits {
                top.mistake("order", "expected at most 24 letters, digits, '-', '.' or '_'");
            }
            fits.then(|| number.to_owned())
        });
        let player = top.text("player").map(str::to_owned);
        let due = top.text("due").map(str::to_owned);
        let for_ids = number.clone().unwrap_or_default();
        let mut tip_trims = TipTrims::read(top);
        let clubs = top.sections("club", |index, club| read_club(&for_ids, index, club, &mut tip_trims));
        tip_trims.finish(top);
        if !top.has("club") {
            top.mistake("club", "expected at least one table [[club]]");
        }
        Some(Order { number: number?, player, due, clubs })
    })
}

fn read_club(order: &str, index: usize, section: &Section<'_>, tip_trims: &mut TipTrims) -> Option<ClubSpec> {
    let kinds: Vec<(&str, ClubKind)> = ClubKind::ALL.iter().map(|kind| (kind.name(), *kind)).collect();
    let hands: Vec<(&str, Hand)> = Hand::ALL.iter().map(|hand| (hand.name(), *hand)).collect();
    let name = section.required_text("name", "driver");
    if !section.has("kind") {
        let names: Vec<&str> = kinds.iter().map(|(name, _)| *name).collect();
        section.mistake("kind", format!("expected one of: {}", names.join(", ")));
    }
    let kind = section.choice("kind", &kinds);
    let hand = if section.has("hand") { section.choice("hand", &hands) } else { Some(Hand::Right) };
    let targets: Vec<TargetRow> = Characteristic::all()
        .filter_map(|characteristic| {
            let (target, text) = section.target(characteristic.name(), characteristic.dimension())?;
            let possible = characteristic.possible();
            let numbers = [target.value, target.lower, target.upper];
            if numbers.into_iter().flatten().any(|number| !possible.contains(&number)) {
                let unit = characteristic.unit();
                let (from, to) = (possible.start(), possible.end());
                section.mistake(characteristic.name(), format!("not possible, expected from {from} to {to} {unit}"));
                return None;
            }
            Some(TargetRow { characteristic, target, text: text.to_owned() })
        })
        .collect();
    let details = read_details(section);
    let model = |key| section.text(key).map(|model| model.trim().to_owned()).filter(|model| !model.is_empty());
    let models = Models { head: model("head"), shaft: model("shaft"), grip: model("grip") };
    let id = format!("{order}/{}", index + 1);
    let build = read_build(section, kind, name, &targets, tip_trims);
    let (build, details) = (build?, details?);
    let (token, name) = (token(&id), name?.to_owned());
    Some(ClubSpec { id, token, name, kind: kind?, hand: hand?, targets, details, build, models })
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
order = "W-1042"
player = "P-17"

[[club]]
name = "driver"
kind = "driver"
head_mass = "203 g ± 2 g"
length = "45 1/4 in ± 1/16 in"
swing_weight = "D3 ± 0.5"

[[club]]
name = "7-iron"
kind = "iron"
hand = "left"
"#;

    #[test]
    fn an_order_file_is_read() {
        let order = read_order("w1042.toml", GOOD).unwrap();
        assert_eq!(order.clubs.iter().map(|c| c.id.as_str()).collect::<Vec<_>>(), ["W-1042/1", "W-1042/2"]);
        let swing = order.clubs[0].target(Characteristic::SwingWeight).unwrap();
        assert_eq!(swing.target.value, Some(33.0));
        assert_eq!(order.clubs[1].hand, Hand::Left);
        assert_eq!(order.clubs[0].token.len(), 12);
    }

    #[test]
    fn every_mistake_is_named_in_one_run_with_its_line() {
        let bad = r#"order = "W 1042"
colour = "red"
[[club]]
kind = "spoon"
head_mass = "203"
length = 45
swing_weight = "H3"
[[club]]
name = "x"
"#;
        let Err(Mistakes(mistakes)) = read_order("bad.toml", bad) else { panic!("accepted") };
        let lines: Vec<(usize, &str)> = mistakes.iter().map(|m| (m.line, m.key.as_str())).collect();
        for expected in [
            (1, "order"),
            (2, "colour"),
            (3, "club[1].name"),
            (4, "club[1].kind"),
            (5, "club[1].head_mass"),
            (6, "club[1].length"),
            (7, "club[1].swing_weight"),
            (8, "club[2].kind"),
        ] {
            assert!(lines.contains(&expected), "{expected:?} not in {lines:?}");
        }
        let kind = mistakes.iter().find(|m| m.key == "club[1].kind").unwrap().to_string();
        assert_eq!(
            kind,
            "bad.toml:4: club[1].kind: found \"spoon\", expected one of: driver, fairway, hybrid, iron, wedge, putter"
        );
    }

    #[test]
    fn what_cannot_be_is_a_mistake() {
        for (key, text) in [("total_mass", "-5 g"), ("lie", "400 deg"), ("length", "45 in ± 60 in")] {
            let file = format!("order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\n{key} = \"{text}\"\n");
            let Err(Mistakes(mistakes)) = read_order("bad.toml", &file) else { panic!("{text} accepted") };
            assert!(mistakes.iter().any(|m| m.line == 5 && m.wanted.contains("not possible")), "{mistakes:?}");
        }
    }

    #[test]
    fn a_file_that_is_no_toml_says_where() {
        let Err(Mistakes(mistakes)) = read_order("bad.toml", "order = \"W-1\"\nclub = [[\n") else {
            panic!("accepted")
        };
        assert!(mistakes.iter().all(|m| m.line >= 2), "{mistakes:?}");
    }
}
