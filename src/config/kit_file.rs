//! What lies in the drawers, as TOML files: places on a club that take weight, and parts with their mass and stock.
//!
//! ```toml
//! kit = "head weights"
//!
//! [[place]]
//! name = "head"
//! label = "at the head"
//! before_end = "0 mm"
//! most_mass = "12 g"
//! most_pieces = 3
//!
//! [[weight]]
//! name = "screw-2"
//! mass = "2 g"
//! stock = 12
//! low = 3
//! places = ["head"]
//! ```

use super::document::{Document, Mistakes, Section};
use super::named_files::NamedFiles;
use super::stock_file::measured;
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::{Grams, Millimetres};
use crate::work_order::drawers::{Drawers, Item, ItemKind, Position, WeightPlace};
use crate::work_order::order::ClubKind;
use crate::work_order::stated::{Stated, U_STATED_CPM, U_STATED_DEG};
use crate::work_order::steps::Step;

/// Most pieces of a kind in stock.
const MOST_STOCK: f64 = 100_000.0;
/// Stock at which a kind is called low where the file does not say.
const USUAL_LOW: u32 = 1;
/// Most pieces at a place.
const MOST_PIECES: f64 = 50.0;
/// Most mass of a part or at a place, in grams.
const MOST_MASS_G: f64 = 1000.0;
/// More places than a club could have.
const MOST_PLACES: usize = 12;

/// Reads kit files, given as name and text, in order; places must stand before what names them, in the same file or an earlier one.
///
/// # Errors
/// Every mistake of every file.
pub fn read_kits(files: &[(String, String)]) -> Result<Drawers, Mistakes> {
    let mut drawers = Drawers::default();
    let mut mistakes = Vec::new();
    for (file, text) in files {
        match Document::read(file, text, |top| read_kit(top, &drawers)) {
            Ok(read) => drawers = read,
            Err(found) => mistakes.extend(found.0),
        }
    }
    if mistakes.is_empty() { Ok(drawers) } else { Err(Mistakes(mistakes)) }
}

/// The drawers by the kit files that a configuration names.
pub(super) fn read_drawers(top: &Section<'_>, files: &NamedFiles<'_>) -> Drawers {
    read_kits(&files.texts_of(top, "kits")).map_err(|mistakes| top.add(mistakes)).unwrap_or_default()
}

/// The drawers with what this file adds.
fn read_kit(top: &Section<'_>, before: &Drawers) -> Option<Drawers> {
    let mut drawers = before.clone();
    let named = top.required_text("kit", "head weights");
    for place in top.sections("place", |_, section| Some(read_place(section, before))) {
        drawers.places.extend(place);
    }
    if drawers.places.len() > MOST_PLACES {
        top.mistake("place", format!("{} places in all, at most {MOST_PLACES} are possible", drawers.places.len()));
    }
    let mut lists = 0;
    for kind in ItemKind::ALL {
        let places = drawers.places.clone();
        let items = top.sections(kind.name(), |_, section| Some(read_item(section, *kind, &places, before)));
        lists += items.len();
        drawers.items.extend(items.into_iter().flatten());
    }
    if lists == 0 && !top.has("place") {
        top.mistake(
            "kit",
            "holds nothing; expected tables [[place]], [[weight]], [[tape]], [[grip]], [[head]], [[shaft]]",
        );
    }
    let mut names: Vec<&str> = drawers.items.iter().map(|item| item.name.as_str()).collect();
    names.sort_unstable();
    if let Some(twice) = names.windows(2).find(|pair| pair.first() == pair.last()).and_then(|pair| pair.first()) {
        top.mistake("kit", format!("two parts are named {twice}; each needs its own name"));
    }
    let mut names: Vec<&str> = drawers.places.iter().map(|place| place.name.as_str()).collect();
    names.sort_unstable();
    if let Some(twice) = names.windows(2).find(|pair| pair.first() == pair.last()).and_then(|pair| pair.first()) {
        top.mistake("kit", format!("two places are named {twice}; each needs its own name"));
    }
    named.map(|_| drawers)
}

fn read_place(section: &Section<'_>, before: &Drawers) -> Option<WeightPlace> {
    let name = name(section, "head");
    if let Some(name) = &name
        && before.place(name).is_some()
    {
        section.mistake("name", "another file has a place of this name");
    }
    let label = section.required_text("label", "at the head");
    let position = match (section.has("from_butt"), section.has("before_end")) {
        (true, false) => length(section, "from_butt", 0.0..=2000.0).map(Position::FromButt),
        (false, true) => length(section, "before_end", -120.0..=2000.0).map(Position::BeforeEnd),
        (true, true) => {
            section.mistake("before_end", "a place is measured from the butt or before the end, not both");
            None
        }
        (false, false) => {
            section.mistake("from_butt", "expected from_butt or before_end, such as \"25 mm\"");
            None
        }
    };
    let most_mass = mass(section, "most_mass");
    if !section.has("most_mass") {
        section.mistake("most_mass", "expected the most it takes by its maker, such as \"12 g\"");
    }
    if !section.has("most_pieces") {
        section.mistake("most_pieces", "expected how many pieces fit, such as 3");
    }
    let most_pieces = whole(section, "most_pieces", 1.0, MOST_PIECES);
    let steps: Vec<(&str, Step)> = Step::ALL.iter().map(|step| (step.name(), *step)).collect();
    let closed_by = if section.has("closed_by") { section.choice("closed_by", &steps).map(Some) } else { Some(None) };
    let clubs = clubs(section);
    Some(WeightPlace {
        name: name?,
        label: label?.to_owned(),
        position: position?,
        most_mass: Grams(most_mass?),
        most_pieces: most_pieces?,
        closed_by: closed_by?,
        clubs: clubs?,
    })
}

fn read_item(section: &Section<'_>, kind: ItemKind, places: &[WeightPlace], before: &Drawers) -> Option<Item> {
    let name = name(section, "screw-2");
    if let Some(name) = &name
        && before.item(name).is_some()
    {
        section.mistake("name", "another file has a part of this name");
    }
    if !section.has("mass") {
        section.mistake("mass", "expected the mass of a piece, such as \"2 g\"");
    }
    let mass_cg = mass(section, "mass").and_then(|mass| hundredths(section, mass));
    if !section.has("stock") {
        section.mistake("stock", "expected how many pieces there are, such as 12");
    }
    let stock = whole(section, "stock", 0.0, MOST_STOCK);
    let low = if section.has("low") { whole(section, "low", 0.0, MOST_STOCK) } else { Some(USUAL_LOW) };
    let goes_somewhere = matches!(kind, ItemKind::Weight | ItemKind::Tape);
    let to = if goes_somewhere { read_places(section, places) } else { Some(Vec::new()) };
    let model = if goes_somewhere { None } else { section.text("model").map(str::to_owned) };
    let length = if kind == ItemKind::Shaft && section.has("length") {
        length(section, "length", 100.0..=2000.0).map(Some)
    } else {
        Some(None)
    };
    let clubs = clubs(section);
    let stated = stated(section, kind);
    let raw_mm = length.flatten().filter(|_| stated.frequency.is_some()).map(|length| length.0);
    Some(Item {
        name: name?,
        kind,
        mass_cg: mass_cg?,
        stock: stock?,
        low: low?,
        places: to?,
        clubs: clubs?,
        model,
        length: length?,
        stated: Stated { raw_mm, ..stated },
    })
}

/// What is stated of a head's angles or a shaft's frequency; mistakes are noted.
fn stated(section: &Section<'_>, kind: ItemKind) -> Stated {
    let value = |key: &'static str, like: Characteristic, usual_u: f64| {
        if section.has(key) { measured(section, key, like, usual_u) } else { None }
    };
    match kind {
        ItemKind::Head => Stated {
            loft: value("loft", Characteristic::Loft, U_STATED_DEG),
            lie: value("lie", Characteristic::Lie, U_STATED_DEG),
            face_angle: value("face_angle", Characteristic::FaceAngle, U_STATED_DEG),
            ..Stated::default()
        },
        ItemKind::Shaft => Stated {
            frequency: value("frequency", Characteristic::Frequency, U_STATED_CPM),
            clamp_mm: value("clamp_length", Characteristic::ClampLength, 0.0).map(|(mm, _)| mm),
            tip_g: value("tip_mass", Characteristic::TipMass, 0.0).map(|(grams, _)| grams),
            ..Stated::default()
        },
        ItemKind::Weight | ItemKind::Tape | ItemKind::Grip => Stated::default(),
    }
}

fn read_places(section: &Section<'_>, places: &[WeightPlace]) -> Option<Vec<String>> {
    let known = || places.iter().map(|place| place.name.as_str()).collect::<Vec<_>>().join(", ");
    if !section.has("places") {
        section.mistake("places", format!("expected where it goes, from: {}", known()));
        return None;
    }
    let named = section.texts("places")?;
    if named.is_empty() || named.iter().any(|name| places.iter().all(|place| place.name != *name)) {
        section.mistake("places", format!("expected some of: {}", known()));
        return None;
    }
    Some(named.into_iter().map(str::to_owned).collect())
}

/// A name that is typed in commands: no blanks, and nothing that a proposal's name uses.
fn name(section: &Section<'_>, example: &str) -> Option<String> {
    let text = section.required_text("name", example)?;
    let fits =
        text.len() <= 40 && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b"-.".contains(&b));
    if !fits {
        section
            .mistake("name", format!("expected at most 40 small letters, digits, '-' and '.', such as \"{example}\""));
    }
    fits.then(|| text.to_owned())
}

/// A mass in grams, more than 0.
fn mass(section: &Section<'_>, key: &'static str) -> Option<f64> {
    let mass = section.quantity(key, Dimension::Mass)?;
    let is_possible = mass > 0.0 && mass <= MOST_MASS_G;
    if !is_possible {
        section.mistake(key, format!("expected more than 0 g and at most {MOST_MASS_G} g"));
    }
    is_possible.then_some(mass)
}

/// The mass in hundredths of a gram; finer than that no parts scale weighs.
fn hundredths(section: &Section<'_>, mass: f64) -> Option<u32> {
    let hundredths = (mass * 100.0).round();
    if hundredths < 1.0 || (mass * 100.0 - hundredths).abs() > 1e-6 {
        section.mistake("mass", "expected whole hundredths of a gram, such as \"2.05 g\"");
        return None;
    }
    whole_of(hundredths)
}

fn length(section: &Section<'_>, key: &'static str, range: std::ops::RangeInclusive<f64>) -> Option<Millimetres> {
    let length = section.quantity(key, Dimension::Length)?;
    if !range.contains(&length) {
        section.mistake(key, format!("expected from {} mm to {} mm", range.start(), range.end()));
        return None;
    }
    Some(Millimetres(length))
}

/// A whole number in a range.
fn whole(section: &Section<'_>, key: &'static str, least: f64, most: f64) -> Option<u32> {
    let number = section.number(key, least..=most)?;
    if number.fract() != 0.0 {
        section.mistake(key, format!("expected a whole number from {least} to {most}"));
        return None;
    }
    whole_of(number)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "ranges were checked")]
fn whole_of(number: f64) -> Option<u32> {
    (0.0..=f64::from(u32::MAX)).contains(&number).then_some(number as u32)
}

/// Kinds of club; none named means all.
fn clubs(section: &Section<'_>) -> Option<Vec<ClubKind>> {
    if !section.has("clubs") {
        return Some(Vec::new());
    }
    let found: Option<Vec<ClubKind>> = section.texts("clubs")?.into_iter().map(ClubKind::parse).collect();
    if found.is_none() {
        let names: Vec<&str> = ClubKind::ALL.iter().map(|kind| kind.name()).collect();
        section.mistake("clubs", format!("expected some of: {}", names.join(", ")));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kit(text: &str) -> (String, String) {
        ("kit.toml".into(), text.into())
    }

    const PLACES: &str = "kit = \"k\"\n[[place]]\nname = \"head\"\nlabel = \"at the head\"\nbefore_end = \"0 mm\"\nmost_mass = \"12 g\"\nmost_pieces = 3\n";

    #[test]
    fn a_kit_is_read() {
        let weights = "kit = \"w\"\n[[weight]]\nname = \"screw-2\"\nmass = \"2.05 g\"\nstock = 12\nlow = 3\nplaces = [\"head\"]\nclubs = [\"driver\"]\n[[shaft]]\nname = \"s\"\nmass = \"65 g\"\nlength = \"46 in\"\nstock = 2\nmodel = \"dune 60\"\n";
        let drawers = read_kits(&[kit(PLACES), kit(weights)]).unwrap();
        let screw = drawers.item("screw-2").unwrap();
        assert_eq!((screw.mass_cg, screw.stock, screw.low), (205, 12, 3));
        assert_eq!(screw.clubs, [ClubKind::Driver]);
        assert_eq!(drawers.item("s").unwrap().length, Some(Millimetres(1168.4)));
        assert_eq!(drawers.place("head").unwrap().position, Position::BeforeEnd(Millimetres(0.0)));
    }

    #[test]
    fn every_mistake_is_named_with_its_line() {
        let bad = "kit = \"k\"\n[[place]]\nname = \"Head\"\nlabel = \"at the head\"\nfrom_butt = \"25\"\nmost_mass = \"0 g\"\nmost_pieces = 2.5\n[[weight]]\nname = \"w\"\nmass = \"2.001 g\"\nplaces = [\"tip\"]\nstock = -1\ncolour = \"red\"\n";
        let Err(Mistakes(mistakes)) = read_kits(&[kit(bad)]) else { panic!("accepted") };
        let found: Vec<(usize, &str)> = mistakes.iter().map(|m| (m.line, m.key.as_str())).collect();
        for expected in [
            (3, "place[1].name"),
            (5, "place[1].from_butt"),
            (6, "place[1].most_mass"),
            (7, "place[1].most_pieces"),
            (10, "weight[1].mass"),
            (11, "weight[1].places"),
            (12, "weight[1].stock"),
            (13, "weight[1].colour"),
        ] {
            assert!(found.contains(&expected), "{expected:?} not in {mistakes:?}");
        }
    }

    #[test]
    fn names_are_used_once_over_all_files() {
        let Err(mistakes) = read_kits(&[kit(PLACES), kit(PLACES)]) else { panic!("accepted") };
        assert!(mistakes.to_string().contains("another file has a place of this name"), "{mistakes}");
        assert!(read_kits(&[kit("kit = \"empty\"\n")]).unwrap_err().to_string().contains("holds nothing"));
        assert!(read_kits(&[]).unwrap().items.is_empty());
    }
}
