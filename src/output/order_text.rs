//! Orders as text that `config::order_file` reads back to the same orders: TOML, JSON, CSV.

use serde::ser::{SerializeMap, SerializeSeq};
use serde::{Serialize, Serializer};

use super::build_text::{Cut, Fit};
use crate::club::characteristic::Characteristic;
use crate::config::order_file::{COLUMNS, OrderFormat, guarded};
use crate::measurement::unit::Degrees;
use crate::work_order::build::DryFitStop;
use crate::work_order::details::{Details, SleeveSpec};
use crate::work_order::order::{ClubSpec, Order, Priority};
use crate::work_order::steps::Step;

/// Orders in a format. TOML holds one order a text: several of them follow each other, and only one at a time can be
/// read back.
#[must_use]
pub fn write_orders(orders: &[&Order], format: OrderFormat) -> String {
    match format {
        OrderFormat::Toml => orders.iter().map(|order| toml_text(order)).collect::<Vec<_>>().join("\n"),
        OrderFormat::Json => json_text(orders),
        OrderFormat::Csv => csv(orders),
    }
}

fn toml_text(order: &Order) -> String {
    toml::to_string(&Whole(order)).expect("an order is texts and lists of texts, which TOML can hold")
}

fn json_text(orders: &[&Order]) -> String {
    let orders: Vec<Whole<'_>> = orders.iter().map(|order| Whole(order)).collect();
    serde_json::to_string_pretty(&orders).expect("an order is texts, which JSON can hold") + "\n"
}

/// An order with the keys of its file, in their usual order.
struct Whole<'a>(&'a Order);

impl Serialize for Whole<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for (key, value) in head(self.0) {
            map.serialize_entry(key, &value)?;
        }
        map.serialize_entry("club", &Clubs(&self.0.clubs))?;
        map.end()
    }
}

struct Clubs<'a>(&'a [ClubSpec]);

impl Serialize for Clubs<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut list = serializer.serialize_seq(Some(self.0.len()))?;
        for club in self.0 {
            list.serialize_element(&Club(club))?;
        }
        list.end()
    }
}

struct Club<'a>(&'a ClubSpec);

impl Serialize for Club<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for (key, value) in club_texts(self.0) {
            map.serialize_entry(key, value)?;
        }
        let route: Vec<&str> = self.0.route().iter().map(|step| step.name()).collect();
        map.serialize_entry("route", &route)?;
        for row in &self.0.targets {
            map.serialize_entry(row.characteristic.name(), &row.text)?;
        }
        let (models, build) = (&self.0.models, &self.0.build);
        let texts =
            [("head", &models.head), ("shaft", &models.shaft), ("grip", &models.grip), ("again_of", &build.again_of)];
        for (key, text) in texts {
            if let Some(text) = text {
                map.serialize_entry(key, text)?;
            }
        }
        if build.dry_fit_stop != DryFitStop::default() {
            map.serialize_entry("dry_fit_stop", build.dry_fit_stop.name())?;
        }
        // In TOML a table ends the keys of its club, so tables come last.
        let details = &self.0.details;
        if details.head_material.is_some() || !details.given.is_empty() {
            map.serialize_entry("given", &Facts(details))?;
        }
        if let Some(sleeve) = &details.sleeve {
            map.serialize_entry("sleeve", &Sleeve(sleeve))?;
        }
        if let Some(cut) = &build.cut {
            map.serialize_entry("cut", &Cut(cut))?;
        }
        if let Some(fit) = &build.fit {
            map.serialize_entry("fit", &Fit(fit))?;
        }
        map.end()
    }
}

/// `[club.given]`.
struct Facts<'a>(&'a Details);

impl Serialize for Facts<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        if let Some(material) = &self.0.head_material {
            map.serialize_entry("head_material", material)?;
        }
        for given in &self.0.given {
            map.serialize_entry(given.measure.name(), &given.text)?;
        }
        map.end()
    }
}

/// `[club.sleeve]`; the shortest decimal of a number is read back as the same number.
struct Sleeve<'a>(&'a SleeveSpec);

impl Serialize for Sleeve<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let degrees = |angle: &Degrees| format!("{} deg", angle.0);
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("tilt", &degrees(&self.0.tilt))?;
        map.serialize_entry("clock", &self.0.clocks.iter().map(degrees).collect::<Vec<_>>())?;
        if let Some(at) = &self.0.at {
            map.serialize_entry("at", &degrees(at))?;
        }
        map.end()
    }
}

/// What an order says of itself; what it does not say is left out.
fn head(order: &Order) -> Vec<(&'static str, String)> {
    let mut keys = vec![("order", order.number.clone())];
    keys.extend(order.player.clone().map(|player| ("player", player)));
    keys.extend(order.due.clone().map(|due| ("due", due)));
    if order.priority != Priority::Normal {
        keys.push(("priority", order.priority.name().to_owned()));
    }
    keys
}

fn club_texts(club: &ClubSpec) -> [(&'static str, &str); 4] {
    [("name", club.name.as_str()), ("kind", club.kind.name()), ("hand", club.hand.name()), ("work", club.work.name())]
}

fn csv(orders: &[&Order]) -> String {
    let asked = |characteristic: &Characteristic| {
        orders.iter().flat_map(|order| &order.clubs).any(|club| club.target(*characteristic).is_some())
    };
    let characteristics: Vec<Characteristic> = Characteristic::all().filter(asked).collect();
    let names = COLUMNS.into_iter().chain(characteristics.iter().map(|characteristic| characteristic.name()));
    let mut text = row(names.map(str::to_owned));
    for order in orders {
        let head = head(order);
        for club in &order.clubs {
            let own = club_texts(club);
            let cell = |column: &str| {
                let of_order = head.iter().find(|(key, _)| *key == column).map(|(_, value)| value.clone());
                let of_club = || own.iter().find(|(key, _)| *key == column).map(|(_, value)| (*value).to_owned());
                of_order
                    .or_else(of_club)
                    .unwrap_or_else(|| if column == "route" { steps(club.route()) } else { String::new() })
            };
            let target = |c: &Characteristic| club.target(*c).map(|row| row.text.clone()).unwrap_or_default();
            text.push_str(&row(COLUMNS.into_iter().map(cell).chain(characteristics.iter().map(target))));
        }
    }
    text
}

fn steps(route: &[Step]) -> String {
    route.iter().map(|step| step.name()).collect::<Vec<_>>().join(" ")
}

/// One row as RFC 4180 wants it; no cell is a formula.
fn row(cells: impl Iterator<Item = String>) -> String {
    let quoted = |cell: String| {
        let cell = guarded(&cell);
        if cell.contains([',', ';', '"', '\r', '\n']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell }
    };
    cells.map(quoted).collect::<Vec<_>>().join(",") + "\r\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::order_file::read_orders;
    use crate::measurement::quantity::Dimension;
    use crate::work_order::order::{ClubKind, Hand, WorkKind};
    use proptest::prelude::*;

    /// A line that a person may write, hostile ones among them.
    fn line() -> impl Strategy<Value = String> {
        let hostile = prop::sample::select(vec![
            "=HYPERLINK(\"http://x\")",
            "+1",
            "-1",
            "@x",
            "'quoted",
            "a,b",
            "\"",
            "é ± \u{2212}",
            "#",
            "[[club]]",
            "\\u0041",
            "'=1",
            "''",
            "a;b",
        ]);
        prop_oneof![hostile.prop_map(str::to_owned), "[ -~]{1,20}"]
            .prop_map(|text| text.trim().to_owned())
            .prop_filter("nothing is written, or it is the word for defaults", |text| {
                !text.is_empty() && text != "default"
            })
    }

    fn quantity(characteristic: Characteristic) -> impl Strategy<Value = Option<String>> {
        let texts = match characteristic.dimension() {
            Dimension::Mass => vec!["203 g ± 2 g", "7.2 oz", "≤ 300 g"],
            Dimension::Length => vec!["45 in +0/-1/16 in", "≥ 900 mm", "1 m +/- 1 mm", "35 3/4 in"],
            Dimension::SwingWeight => vec!["D3 ± 0.5", "C9.5", "<= D5"],
            Dimension::Angle if characteristic == Characteristic::FaceAngle => vec!["-1.5 deg ± 1 deg", "0 deg"],
            Dimension::Angle => vec!["60 deg", "58° ± 0.5°"],
            Dimension::Frequency => vec!["256 cpm ± 2 cpm"],
            Dimension::Inertia => vec!["2850 kg.cm2"],
            Dimension::Volume | Dimension::Duration | Dimension::Temperature => Vec::new(),
        };
        // What is not possible for this one would be a mistake of the file.
        let possible = texts.into_iter().filter(move |text| {
            let target = crate::measurement::quantity::parse_target(text, characteristic.dimension()).unwrap();
            [target.value, target.lower, target.upper]
                .into_iter()
                .flatten()
                .all(|number| characteristic.possible().contains(&number))
        });
        prop::option::of(prop::sample::select(possible.chain([""]).map(str::to_owned).collect::<Vec<_>>()))
            .prop_map(|text| text.filter(|text| !text.is_empty()))
    }

    fn club() -> impl Strategy<Value = String> {
        let targets: Vec<_> = Characteristic::all().map(|c| quantity(c).prop_map(move |text| (c, text))).collect();
        let of = |names: Vec<&'static str>| prop::option::of(prop::sample::select(names));
        let kinds: Vec<&str> = ClubKind::ALL.iter().map(|kind| kind.name()).collect();
        let routes =
            vec!["[\"grip\", \"hand_over\"]", "[\"hand_over\"]", "[\"bond\", \"cut\", \"cure\", \"hand_over\"]"];
        let parts = (
            line(),
            prop::sample::select(kinds),
            of(Hand::ALL.iter().map(|hand| hand.name()).collect()),
            of(WorkKind::ALL.iter().map(|work| work.name()).collect()),
            of(routes),
            targets,
        );
        parts.prop_map(|(name, kind, hand, work, route, targets)| {
            let mut text = format!("[[club]]\nname = {}\nkind = \"{kind}\"\n", toml::Value::String(name));
            text.extend(hand.map(|hand| format!("hand = \"{hand}\"\n")));
            text.extend(work.map(|work| format!("work = \"{work}\"\n")));
            text.extend(route.map(|route| format!("route = {route}\n")));
            for (characteristic, target) in targets {
                text.extend(target.map(|target| format!("{} = \"{target}\"\n", characteristic.name())));
            }
            text
        })
    }

    fn order(number: &'static str) -> impl Strategy<Value = Order> {
        let due = prop::option::of(prop_oneof![
            Just("2026-12-24".to_owned()),
            Just("2026-12-24 17:00".to_owned()),
            line().prop_filter("looks like a date", |text| !text.starts_with(|c: char| c.is_ascii_digit())),
        ]);
        let priority = prop::sample::select(Priority::ALL.to_vec());
        (prop::option::of(line()), due, priority, prop::collection::vec(club(), 1..4)).prop_map(
            move |(player, due, priority, clubs)| {
                let text = format!("order = \"{number}\"\n{}", clubs.concat());
                let read = read_orders("o.toml", &text, OrderFormat::Toml);
                let mut order = read.unwrap_or_else(|mistakes| panic!("{text}\n{mistakes}")).remove(0);
                (order.player, order.due, order.priority) = (player, due, priority);
                order
            },
        )
    }

    /// What an order may say of a club's parts besides its targets; CSV has no columns for it.
    fn more() -> impl Strategy<Value = String> {
        let some = |texts: &[&'static str]| prop::option::of(prop::sample::select(texts.to_vec()));
        let keys = (
            prop::option::of(line()),
            some(&["again_of = \"W-0/3\"", "dry_fit_stop = \"bare\"", "shaft = \"reed 60\"\ngrip = \"mid\""]),
            some(&[
                "head_volume = \"28 in3\"",
                "head_inertia = \"5200 g.cm2\"\nbounce = \"4 deg\"",
                "shaft_lean = \"-1.5°\"",
            ]),
            prop::option::of(line()),
            prop::option::of((0.0..5.0_f64, prop::collection::vec(-360.0..360.0_f64, 1..9), any::<bool>())),
        );
        keys.prop_map(|(head, key, given, material, sleeve)| {
            let quoted = |text: String| toml::Value::String(text);
            let mut text = String::new();
            text.extend(head.map(|head| format!("head = {}\n", quoted(head))));
            text.extend(key.map(|key| format!("{key}\n")));
            if given.is_some() || material.is_some() {
                text.push_str("[club.given]\n");
                text.extend(given.map(|given| format!("{given}\n")));
                text.extend(material.map(|material| format!("head_material = {}\n", quoted(material))));
            }
            if let Some((tilt, clocks, stands)) = sleeve {
                let all: Vec<String> = clocks.iter().map(|clock| format!("\"{clock} deg\"")).collect();
                text.push_str(&format!("[club.sleeve]\ntilt = \"{tilt} deg\"\nclock = [{}]\n", all.join(", ")));
                if stands {
                    text.push_str(&format!("at = \"{} deg\"\n", clocks[0]));
                }
            }
            text
        })
    }

    /// Lengths as people write them, with and without what they are unsure by.
    fn length(around_mm: f64) -> impl Strategy<Value = String> {
        let unit = prop::sample::select(vec![("mm", 1.0), ("in", 25.4), ("cm", 10.0)]);
        (-0.02..0.02_f64, unit, prop::option::of(0.001..0.5_f64)).prop_map(move |(share, (unit, mm), half)| {
            let value = around_mm * (1.0 + share) / mm;
            match half {
                Some(half) => format!("{value} {unit} ± {half} mm"),
                None => format!("{value:.3} {unit}"),
            }
        })
    }

    /// A table `[club.cut]` of an iron of 37 in, each key that may be left out there or not.
    fn cut() -> impl Strategy<Value = String> {
        let some = |key: &'static str, mm: f64| {
            prop::option::of(length(mm)).prop_map(move |text| text.map(|text| format!("{key} = \"{text}\"\n")))
        };
        let needed = (length(1028.0), length(31.0), length(36.0));
        let angle = prop::sample::select(vec![
            "",
            "ground_angle = \"61.5 deg\"\nsole_contact = \"34 mm\"\nsole_radius = \"140 mm\"\n",
        ]);
        let left = [
            some("tip_trim", 12.7),
            some("insertion", 29.0),
            some("sleeve_floor", 4.0),
            some("grip_cap", 4.0),
            some("ferrule", 20.0),
        ];
        (needed, angle, left).prop_map(|((raw, bore, ground), angle, left)| {
            let left: String = left.into_iter().flatten().collect();
            format!("[club.cut]\nraw_length = \"{raw}\"\nbore_depth = \"{bore}\"\nbore_to_ground = \"{ground}\"\n{angle}{left}")
        })
    }

    /// A table `[club.fit]`.
    fn fit() -> impl Strategy<Value = String> {
        let keys = [
            ("tip_diameter", 9.398),
            ("parallel_section", 101.6),
            ("bore_diameter", 9.55),
            ("shim", 0.14),
            ("butt_diameter", 15.24),
            ("grip_core", 14.73),
            ("grip_size", 22.86),
            ("wrap", 0.13),
            ("final_grip_size", 23.6),
        ];
        let lengths: Vec<_> = keys
            .into_iter()
            .map(|(key, mm)| {
                prop::option::of(length(mm)).prop_map(move |text| text.map(|text| format!("{key} = \"{text}\"\n")))
            })
            .collect();
        let others = (
            0..4_u8,
            any::<bool>(),
            prop::option::of(-360.0..360.0_f64),
            prop::sample::select(vec!["", "tip = \"parallel\"\n", "bore = \"taper\"\n"]),
        );
        (lengths, others).prop_map(|(lengths, (wraps, rib, turn, runs))| {
            let lengths: String = lengths.into_iter().flatten().collect();
            let turn =
                turn.map(|turn| format!("sleeve_turn = \"{turn} deg\"\nsleeve_tilt = \"1 deg\"\n")).unwrap_or_default();
            format!("[club.fit]\n{lengths}tape_wraps = {wraps}\nrib = {rib}\n{turn}{runs}")
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        /// Where a shaft is cut and what the parts measure comes back from TOML and JSON, to the last digit.
        #[test]
        fn how_a_club_is_made_is_imported_again(cut in cut(), fit in fit(), trim in any::<bool>()) {
            let trim = trim && !cut.contains("tip_trim");
            let schedule = if trim { "[[tip_trim]]\nclubs = [\"9-iron\", \"7-iron\"]\nfirst = \"1/2 in\"\nstep = \"1/2 in\"\n" } else { "" };
            let other = if trim { "[[club]]\nname = \"9-iron\"\nkind = \"iron\"\nlength = \"36 in\"\n[club.cut]\nraw_length = \"40 in\"\nbore_depth = \"31 mm\"\nbore_to_ground = \"36 mm\"\n" } else { "" };
            let text = format!("order = \"W-1\"\n{schedule}[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nlength = \"37 in\"\n{cut}{fit}{other}");
            let order = read_orders("o.toml", &text, OrderFormat::Toml).unwrap_or_else(|m| panic!("{text}\n{m}")).remove(0);
            prop_assert!(order.clubs[0].build.cut.is_some() && order.clubs[0].build.fit.is_some());
            for format in [OrderFormat::Toml, OrderFormat::Json] {
                let written = write_orders(&[&order], format);
                let read = read_orders("o", &written, format).unwrap_or_else(|m| panic!("{written}\n{m}"));
                prop_assert_eq!(&read, &vec![order.clone()], "{}", written);
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        /// What is given of parts, their models, the sleeve and the club that is repeated come back from TOML and JSON.
        #[test]
        fn what_is_said_of_parts_is_imported_again(clubs in prop::collection::vec((club(), more()), 1..4)) {
            let clubs: String = clubs.into_iter().map(|(club, more)| club + &more).collect();
            let text = format!("order = \"W-1\"\n{clubs}");
            let order = read_orders("o.toml", &text, OrderFormat::Toml).unwrap_or_else(|m| panic!("{text}\n{m}")).remove(0);
            for format in [OrderFormat::Toml, OrderFormat::Json] {
                let written = write_orders(&[&order], format);
                let read = read_orders("o", &written, format).unwrap_or_else(|m| panic!("{written}\n{m}"));
                prop_assert_eq!(&read, &vec![order.clone()], "{}", written);
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        /// Whatever an order says, each format brings back the same order.
        #[test]
        fn what_is_exported_is_imported_again(first in order("W-1"), second in order("W-2")) {
            for format in [OrderFormat::Json, OrderFormat::Csv] {
                let text = write_orders(&[&first, &second], format);
                let read = read_orders("o", &text, format).unwrap_or_else(|mistakes| panic!("{text}\n{mistakes}"));
                prop_assert_eq!(&read, &vec![first.clone(), second.clone()], "{}", text);
            }
            let text = write_orders(&[&first], OrderFormat::Toml);
            let read = read_orders("o", &text, OrderFormat::Toml).unwrap_or_else(|mistakes| panic!("{text}\n{mistakes}"));
            prop_assert_eq!(&read, &vec![first.clone()], "{}", text);
        }

        /// No cell of a table is what a spreadsheet takes for a formula; the `csv` crate reads the table.
        #[test]
        fn no_cell_is_a_formula(order in order("W-1")) {
            let text = write_orders(&[&order], OrderFormat::Csv);
            let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
            let mut rows = 0;
            for record in reader.records() {
                rows += 1;
                for cell in &record.unwrap() {
                    prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{}", cell);
                }
            }
            prop_assert_eq!(rows, order.clubs.len() + 1);
        }
    }
}
