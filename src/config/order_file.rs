//! Work orders as TOML, JSON or CSV files.
//!
//! ```toml
//! order = "W-1042"
//! player = "P-17"
//! due = 2026-12-24
//! priority = "urgent"
//!
//! [defaults.iron]
//! grip_mass = "50 g ± 2.5 g"
//!
//! [[club]]
//! name = "driver"
//! kind = "driver"
//! head_mass = "203 g ± 2 g"
//! swing_weight = "D3 ± 0.5"
//! length = "45 1/4 in ± 1/16 in"
//!
//! [[club]]
//! name = "7-iron"
//! kind = "iron"
//! work = "regrip"
//! route = ["grip", "rest", "hand_over"]
//! ```
//!
//! The tables `[club.cut]`, `[club.fit]` and `[[tip_trim]]` are read in `build_section`.
//!
//! JSON has the same keys, one order or a list of them; CSV has one row a club, see `order_table`.

use super::build_section::TipTrims;
use super::club_section::{Defaults, choice, plain_text, read_club};
use super::document::{Document, Mistake, Mistakes, Section};
use super::node::{Value, from_json};
use super::order_table;
pub use super::order_table::{COLUMNS, guarded};
use crate::work_order::order::{ClubSpec, Order, Priority, is_date, is_order_number};

/// Most clubs of one order: more is a slip, and would make one event of megabytes.
pub(super) const CLUBS: usize = 200;

/// How an order is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderFormat {
    /// TOML, one order a file.
    Toml,
    /// JSON, one order or a list of them.
    Json,
    /// CSV (RFC 4180), one row a club.
    Csv,
}

impl OrderFormat {
    /// Reads the name of a format.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        match name {
            "toml" => Some(Self::Toml),
            "json" => Some(Self::Json),
            "csv" => Some(Self::Csv),
            _ => None,
        }
    }

    /// The format by the ending of a file's name; TOML unless it says otherwise.
    #[must_use]
    pub fn of(file: &str) -> Self {
        let ending = file.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
        ending.and_then(|ending| Self::parse(&ending)).unwrap_or(Self::Toml)
    }
}

/// Reads all orders of a file.
///
/// # Errors
/// Every mistake of the file.
pub fn read_orders(file: &str, text: &str, format: OrderFormat) -> Result<Vec<Order>, Mistakes> {
    read_orders_remarked(file, text, format).map(|(orders, _)| orders)
}

/// The same, with what is no mistake and should be known all the same: targets without a tolerance, clubs that ask for
/// nothing.
///
/// # Errors
/// Every mistake of the file.
pub fn read_orders_remarked(
    file: &str,
    text: &str,
    format: OrderFormat,
) -> Result<(Vec<Order>, Vec<Mistake>), Mistakes> {
    // A spreadsheet marks its text with a byte order mark; it means nothing in UTF-8.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    match format {
        OrderFormat::Toml => {
            Document::read_remarked(file, text, whole_order).map(|(order, remarks)| (vec![order], remarks))
        }
        OrderFormat::Json => read_json(file, text),
        OrderFormat::Csv => order_table::read(file, text),
    }
}

/// Reads the one order of a TOML file.
///
/// # Errors
/// Every mistake of the file.
pub fn read_order(file: &str, text: &str) -> Result<Order, Mistakes> {
    Document::read(file, text, whole_order)
}

fn read_json(file: &str, text: &str) -> Result<(Vec<Order>, Vec<Mistake>), Mistakes> {
    let no_order = |line| vec![(line, String::new(), "expected an order {…}, or a list of orders".to_owned())];
    let (tables, faults) = match from_json(text) {
        Ok(top) => match top.value {
            Value::Table(table) => (vec![(String::new(), top.line, table)], Vec::new()),
            Value::List(list) => {
                let is_order = |value: &Value| matches!(value, Value::Table(_));
                let faults = list.iter().filter(|item| !is_order(&item.value)).flat_map(|item| no_order(item.line));
                let faults = if list.is_empty() { no_order(top.line) } else { faults.collect() };
                let table = |(at, item): (usize, super::node::Node)| match item.value {
                    Value::Table(table) => Some((format!("[{}]", at + 1), item.line, table)),
                    _ => None,
                };
                (list.into_iter().enumerate().filter_map(table).collect(), faults)
            }
            _ => (Vec::new(), no_order(top.line)),
        },
        Err(faults) => (Vec::new(), faults),
    };
    Document::read_tables(file, &tables, faults, |sections| {
        let orders: Vec<Option<Order>> = sections.iter().map(whole_order).collect();
        let numbers: Vec<&str> = orders.iter().flatten().map(|order| order.number.as_str()).collect();
        for (index, section) in sections.iter().enumerate() {
            let number = orders.get(index).and_then(Option::as_ref).map(|order| order.number.as_str());
            if number.is_some_and(|number| numbers.iter().filter(|other| **other == number).count() > 1) {
                section.mistake("order", "stands twice in this file, keep one of them");
            }
        }
        orders.into_iter().collect()
    })
}

fn whole_order(top: &Section<'_>) -> Option<Order> {
    let head = Head::read(top);
    let defaults = top.section("defaults", Defaults::read).unwrap_or_default();
    let for_ids = head.number.clone().unwrap_or_default();
    let mut tip_trims = TipTrims::read(top);
    let clubs = top.sections("club", |index, club| read_club(&for_ids, index, club, &defaults, &mut tip_trims));
    tip_trims.finish(top);
    if !top.has("club") {
        top.mistake("club", "expected at least one table [[club]]");
    }
    if clubs.len() > CLUBS {
        top.mistake("club", too_many());
    }
    head.order(clubs)
}

/// What is wrong with an order of more clubs than there may be.
pub(super) fn too_many() -> String {
    format!("has more than {CLUBS} clubs, make several orders of it")
}

/// What an order says besides its clubs.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Head {
    /// Its number.
    pub(super) number: Option<String>,
    /// The player.
    pub(super) player: Option<String>,
    /// The promise.
    pub(super) due: Option<String>,
    /// How much it presses.
    pub(super) priority: Option<Priority>,
}

impl Head {
    /// Reads the keys of an order.
    pub(super) fn read(section: &Section<'_>) -> Self {
        let number = section.required_text("order", "W-1042").and_then(|number| {
            let fits = is_order_number(number);
            if !fits {
                section.mistake("order", "expected at most 24 letters, digits, '-', '.' or '_'");
            }
            fits.then(|| number.to_owned())
        });
        Self {
            number,
            player: plain_text(section, "player", section.text("player")),
            due: due(section),
            priority: choice(section, "priority", Priority::ALL, Priority::name),
        }
    }

    /// The order with these clubs; `None` where its number was a mistake.
    pub(super) fn order(self, clubs: Vec<ClubSpec>) -> Option<Order> {
        let Self { number, player, due, priority } = self;
        Some(Order { number: number?, player, due, priority: priority.unwrap_or_default(), clubs })
    }
}

fn due(section: &Section<'_>) -> Option<String> {
    let due = plain_text(section, "due", section.date_text("due"))?;
    // The letter between day and time, and seconds that are nothing, are only another way to write it.
    let mut written = due.replacen('T', " ", usize::from(due.starts_with(|c: char| c.is_ascii_digit())));
    if written.len() == 19 && written.ends_with(":00") {
        written.truncate(16);
    }
    if is_date(&written) {
        return Some(written);
    }
    if due.starts_with(|c: char| c.is_ascii_digit()) {
        section.mistake(
            "due",
            "expected a day there is, such as 2026-12-24, a day and time such as \"2026-12-24 17:00\" without a zone, or words",
        );
    }
    Some(due)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::characteristic::Characteristic;
    use crate::config::document::Mistake;
    use crate::work_order::order::{Hand, WorkKind};
    use crate::work_order::steps::Step;

    const GOOD: &str = r#"
order = "W-1042"
player = "P-17"
due = 2026-12-24T17:00:00

[defaults.iron]
hand = "left"
work = "regrip"
route = ["grip", "hand_over"]
grip_mass = "50 g ± 2 g"
swing_weight = "D1"

[[club]]
name = "driver"
kind = "driver"
head_mass = "203 g ± 2 g"
length = "45 1/4 in ± 1/16 in"
swing_weight = "D3 ± 0.5"

[[club]]
name = "7-iron"
kind = "iron"
swing_weight = "D2"

[[club]]
name = "8-iron"
kind = "iron"
hand = "right"
work = "build"
"#;

    fn mistakes(file: &str, text: &str) -> Vec<Mistake> {
        read_orders(file, text, OrderFormat::of(file)).expect_err(text).0
    }

    #[test]
    fn an_order_file_is_read() {
        let order = read_order("w1042.toml", GOOD).unwrap();
        assert_eq!(order.clubs.iter().map(|c| c.id.as_str()).collect::<Vec<_>>(), ["W-1042/1", "W-1042/2", "W-1042/3"]);
        assert_eq!((order.due.as_deref(), order.priority), (Some("2026-12-24 17:00"), Priority::Normal));
        let swing = order.clubs[0].target(Characteristic::SwingWeight).unwrap();
        assert_eq!(swing.target.value, Some(33.0));
        assert_eq!((order.clubs[0].hand, order.clubs[0].route()), (Hand::Right, Step::ALL));
        assert_eq!(order.clubs[0].token.len(), 12);
    }

    #[test]
    fn a_club_takes_what_it_does_not_say_from_the_defaults_of_its_kind() {
        let order = read_order("w1042.toml", GOOD).unwrap();
        let [_, seven, eight] = &order.clubs[..] else { panic!() };
        assert_eq!(
            (seven.hand, seven.work, seven.route()),
            (Hand::Left, WorkKind::Regrip, &[Step::Grip, Step::HandOver][..])
        );
        assert_eq!((eight.hand, eight.work, eight.route()), (Hand::Right, WorkKind::Build, Step::ALL));
        let texts = |club: &ClubSpec| club.targets.iter().map(|row| row.text.clone()).collect::<Vec<_>>();
        assert_eq!(
            (texts(seven), texts(eight)),
            (vec!["50 g ± 2 g".into(), "D2".into()], vec!["50 g ± 2 g".into(), "D1".into()])
        );
    }

    #[test]
    fn a_repair_is_not_asked_for_parts_that_stay_in_the_club() {
        let text = "order = \"W-9\"\n[defaults.iron]\nshaft_mass = \"94 g ± 2 g\"\ngrip_mass = \"50 g ± 2 g\"\nlie = \"62 deg ± 0.5 deg\"\n\
                    [[club]]\nname = \"5\"\nkind = \"iron\"\n[[club]]\nname = \"6\"\nkind = \"iron\"\nwork = \"regrip\"\n\
                    [[club]]\nname = \"7\"\nkind = \"iron\"\nwork = \"loft_lie\"\nhead_mass = \"270 g ± 2 g\"\n";
        let order = read_order("w9.toml", text).unwrap();
        let asked: Vec<Vec<Characteristic>> =
            order.clubs.iter().map(|club| club.targets.iter().map(|row| row.characteristic).collect()).collect();
        let [head, shaft, grip, lie] =
            [Characteristic::HeadMass, Characteristic::ShaftMass, Characteristic::GripMass, Characteristic::Lie];
        assert_eq!(asked, [vec![shaft, grip, lie], vec![grip, lie], vec![head, lie]]);
    }

    #[test]
    fn every_mistake_is_named_in_one_run_with_its_line() {
        let bad = r#"order = "W 1042"
colour = "red"
due = "2026-02-30"
priority = "soon"
[defaults.iron]
lie = "62"
[[club]]
kind = "spoon"
head_mass = "203"
length = 45
swing_weight = "H3"
work = "polish"
route = ["grip", "fly"]
[[club]]
name = "x"
"#;
        let found = mistakes("bad.toml", bad);
        let lines: Vec<(usize, &str)> = found.iter().map(|m| (m.line, m.key.as_str())).collect();
        let expected = [
            (1, "order"),
            (2, "colour"),
            (3, "due"),
            (4, "priority"),
            (6, "defaults.iron.lie"),
            (7, "club[1].name"),
            (8, "club[1].kind"),
            (9, "club[1].head_mass"),
            (10, "club[1].length"),
            (11, "club[1].swing_weight"),
            (12, "club[1].work"),
            (13, "club[1].route"),
            (14, "club[2].kind"),
        ];
        assert_eq!(lines, expected);
        let kind = found.iter().find(|m| m.key == "club[1].kind").unwrap().to_string();
        assert_eq!(
            kind,
            "bad.toml:8: club[1].kind: found \"spoon\", expected one of: driver, fairway, hybrid, iron, wedge, putter"
        );
    }

    #[test]
    fn json_mistakes_have_their_lines_too() {
        let bad = "[{\"order\": \"W-1\",\n\"club\": [{\"name\": \"x\", \"kind\": \"iron\",\n\"lie\": 62}]},\n{\"order\": \"W-2\",\n\"club\": [{\"name\": \"y\", \"kind\": \"iron\"}]},\n7]";
        let found = mistakes("bad.json", bad);
        let lines: Vec<(usize, &str)> = found.iter().map(|m| (m.line, m.key.as_str())).collect();
        assert_eq!(lines, [(3, "[1].club[1].lie"), (6, "")]);
        let twice = "[{\"order\": \"W-1\", \"club\": [{\"name\": \"x\", \"kind\": \"iron\"}]},\n{\"order\": \"W-1\", \"club\": [{\"name\": \"y\", \"kind\": \"iron\"}]}]";
        assert_eq!(mistakes("bad.json", twice).len(), 2);
        assert_eq!(mistakes("bad.json", "[]").len(), 1);
    }

    #[test]
    fn routes_that_cannot_be_walked_are_mistakes() {
        for (route, words) in [
            ("[]", "one step at least"),
            ("[\"hand_over\", \"grip\"]", "hand_over as the last"),
            ("[\"grip\", \"grip\", \"hand_over\"]", "a step twice"),
            ("[\"bond\", \"hand_over\"]", "cure behind bond"),
            ("[\"cure\", \"bond\", \"hand_over\"]", "cure behind bond"),
            ("\"grip\"", "a list of texts"),
        ] {
            let file = format!("order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\nroute = {route}\n");
            let found = mistakes("bad.toml", &file);
            assert!(found.len() == 1 && found[0].line == 5 && found[0].wanted.contains(words), "{route}: {found:?}");
        }
    }

    #[test]
    fn what_cannot_be_is_a_mistake() {
        for (key, text) in [("total_mass", "-5 g"), ("lie", "400 deg"), ("length", "45 in ± 60 in")] {
            let file = format!("order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\n{key} = \"{text}\"\n");
            let found = mistakes("bad.toml", &file);
            assert!(found.iter().any(|m| m.line == 5 && m.wanted.contains("not possible")), "{found:?}");
        }
        let file = "order = \"W-1\"\nplayer = \"a\\nb\"\n[[club]]\nname = \"default\"\nkind = \"iron\"\n";
        assert_eq!(mistakes("bad.toml", file).iter().map(|m| m.line).collect::<Vec<_>>(), [2, 4]);
    }

    #[test]
    fn a_file_that_is_no_toml_says_where() {
        let found = mistakes("bad.toml", "order = \"W-1\"\nclub = [[\n");
        assert!(found.iter().all(|m| m.line >= 2), "{found:?}");
    }
}
