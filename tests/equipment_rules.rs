//! The equipment rules that come with the program against the published figures of `checks/07_equipment_rules.json`, and
//! what a club's record says about them.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

mod desk_bench;

use std::fs;
use std::path::Path;

use benchscribe::config::rules_file::{built_in, read_rules};
use benchscribe::measurement::quantity::parse_value;
use benchscribe::measurement::stamp::Stamp;
use benchscribe::output::record::record;
use benchscribe::output::rules_view::RuleCheckView;
use benchscribe::output::text::Lengths;
use benchscribe::work_order::event::{Change, Numbering};
use benchscribe::work_order::order::ClubKind;
use benchscribe::work_order::rules::Rule;
use benchscribe::work_order::state::State;
use desk_bench::{CONFIG, DeskBench, Stored};
use serde_json::{Value, json};

fn fact(id: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/checks/07_equipment_rules.json");
    let set: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    set["items"].as_array().unwrap().iter().find(|item| item["id"] == id).unwrap().clone()
}

fn rule(name: &str) -> Rule {
    built_in().unwrap().rules.into_iter().find(|rule| rule.name == name).unwrap()
}

/// Rule, limit, entry, place of its number in the entry, and the unit that the entry's numbers are in.
const FIGURES: [(&str, Limit, &str, &str, &str); 21] = [
    ("shortest-club", Limit::Least, "ER-len-min", "/expected", "in"),
    ("longest-club", Limit::Most, "ER-len-max", "/expected", "in"),
    ("longest-club-by-local-rule", Limit::Most, "ER-len-mlr", "/expected", "in"),
    ("head-volume", Limit::Most, "ER-wood-vol", "/expected/limit_cm3", "cm3"),
    ("head-volume", Limit::Tolerance, "ER-wood-vol", "/expected/tolerance_cm3", "cm3"),
    ("head-inertia", Limit::Most, "ER-wood-moi", "/expected/limit_gcm2", "g.cm2"),
    ("head-inertia", Limit::Tolerance, "ER-wood-moi", "/expected/tolerance_gcm2", "g.cm2"),
    ("wood-heel-to-toe", Limit::Most, "ER-wood-heeltoe", "/expected", "in"),
    ("wood-sole-to-crown", Limit::Most, "ER-wood-solecrown", "/expected", "in"),
    ("putter-heel-to-toe", Limit::Most, "ER-putter-dims", "/expected/heel_toe_in", "in"),
    ("putter-sole-to-crown", Limit::Most, "ER-putter-dims", "/expected/sole_crown_in", "in"),
    ("putter-loft", Limit::Most, "ER-putter-loft", "/expected/max_deg", "deg"),
    ("putter-loft", Limit::Least, "ER-putter-loft", "/expected/min_deg", "deg"),
    ("putter-shaft-lean", Limit::Most, "ER-putter-shaft-lean", "/expected/forward_deg", "deg"),
    ("neck-length", Limit::Most, "ER-neck", "/expected", "in"),
    ("grip-width", Limit::Most, "ER-grip-max", "/expected", "in"),
    ("grip-roundness", Limit::Most, "ER-grip-round", "/expected", "in"),
    ("grip-length", Limit::Least, "ER-grip-minlen", "/expected", "in"),
    ("two-grips-gap", Limit::Least, "ER-two-grips", "/expected/gap_in", "in"),
    ("two-grips-upper", Limit::Least, "ER-two-grips", "/expected/upper_min_in", "in"),
    ("longest-club-by-local-rule", Limit::From, "ER-len-mlr", "/inputs/in_force_from", ""),
];

#[derive(Clone, Copy)]
enum Limit {
    Least,
    Most,
    Tolerance,
    From,
}

#[test]
fn every_figure_of_the_rule_file_is_a_published_one() {
    for (name, limit, id, place, unit) in FIGURES {
        let (rule, entry) = (rule(name), fact(id));
        let published = entry.pointer(place).unwrap();
        let found = match limit {
            Limit::Least => rule.at_least,
            Limit::Most => rule.at_most,
            Limit::Tolerance => Some(rule.tolerance),
            Limit::From => {
                assert_eq!(rule.from.unwrap().text, published.as_str().unwrap(), "{name}");
                continue;
            }
        };
        let text = format!("{} {unit}", published.as_f64().unwrap());
        let expected = parse_value(&text, rule.of.dimension()).unwrap();
        assert!((found.unwrap() - expected).abs() < 1e-9, "{name}: {found:?}, {id} says {text}");
        let from_memory = entry["source_kind"] == "from-memory";
        assert!(!from_memory || rule.source.contains("from memory"), "{name} hides that {id} is from memory");
    }
    // A putter's shaft leans at least 10 deg from the vertical, so its lie is at most 80 deg; it leans back 10 deg at most.
    let leans = fact("ER-putter-shaft-lie")["expected"].as_f64().unwrap();
    assert!((rule("putter-lie").at_most.unwrap() - (90.0 - leans)).abs() < 1e-9);
    let back = fact("ER-putter-shaft-lean")["expected"]["backward_deg"].as_f64().unwrap();
    assert!((rule("putter-shaft-lean").at_least.unwrap() + back).abs() < 1e-9);
    // No rule is in the file that is not in the entries, and no tolerance that no source prints.
    let known: Vec<&str> = FIGURES.iter().map(|figure| figure.0).chain(["putter-lie"]).collect();
    for rule in built_in().unwrap().rules {
        assert!(known.contains(&rule.name.as_str()), "{} has no entry", rule.name);
        assert!(rule.tolerance.abs() < 1e-12 || rule.name.starts_with("head-"), "{} has a tolerance", rule.name);
    }
    assert!(fact("ER-len-tol")["expected"].is_null(), "a tolerance on length was found: the file must say it");
}

#[test]
fn a_putter_is_excepted_where_the_rules_except_it() {
    assert!(fact("ER-len-putter")["expected"].is_null());
    for name in ["longest-club", "longest-club-by-local-rule", "grip-roundness", "head-volume", "head-inertia"] {
        assert!(!rule(name).clubs.contains(&ClubKind::Putter), "{name}");
    }
    for name in ["shortest-club", "grip-width", "grip-length", "putter-loft", "putter-lie"] {
        assert!(rule(name).clubs.contains(&ClubKind::Putter), "{name}");
    }
}

const ORDER: &str = r#"
order = "W-7"

[[club]]
name = "driver"
kind = "driver"
route = ["bond", "cure", "grip"]
length = "46 1/2 in"
[club.given]
head_volume = "465 cm3"
head_inertia = "6100 g.cm2"

[[club]]
name = "putter"
kind = "putter"
length = "52 in"
[club.given]
grip_diameter = "1.5 in"
grip_gap = "1 in"

[[club]]
name = "hybrid"
kind = "hybrid"
length = "40 in"
[club.given]
head_volume = "120 cm3"
"#;

struct Benched(DeskBench, Stored);

impl Benched {
    fn new(config: &str) -> Self {
        let mut bench = DeskBench::new(config);
        let stored = bench.begin();
        let mut this = Self(bench, stored);
        this.does(json!({"command": "import_order", "text": ORDER}));
        this.does(json!({"command": "open_order", "order": "W-7"}));
        this
    }

    #[track_caller]
    fn does(&mut self, command: Value) {
        self.0.command(command, &mut self.1).unwrap();
    }

    fn rules(&self, club: &str) -> RuleCheckView {
        let state = &self.0.core.state;
        record(&state.clubs[club], String::new(), Lengths::Inches).rule_check
    }

    /// Standing and words of one rule.
    fn line(&self, club: &str, rule: &str) -> Option<(&'static str, String)> {
        let line = self.rules(club).rules.into_iter().find(|line| line.rule == rule)?;
        Some((line.standing, line.text))
    }

    fn grip(&mut self, club: &str, length: &str) {
        self.does(json!({"command": "open_club", "club": club}));
        for step in ["bond", "cure", "grip"] {
            self.does(json!({"command": "step_done", "step": step}));
        }
        self.does(json!({"command": "enter", "club": club, "characteristic": "length", "quantity": length}));
    }
}

#[test]
fn a_driver_is_over_within_or_not_judged_in_words() {
    let mut bench = Benched::new(CONFIG);
    let (standing, text) = bench.line("W-7/1", "longest-club").unwrap();
    assert_eq!((standing, text.as_str()), ("not_judged", "length: not judged, not measured on the finished club"));
    bench.grip("W-7/1", "46 1/2 in ± 1/32 in");
    let (standing, text) = bench.line("W-7/1", "longest-club").unwrap();
    assert_eq!((standing, text.as_str()), ("within", "length 46 1/2 in: within, at most 48 in"));
    let (standing, text) = bench.line("W-7/1", "longest-club-by-local-rule").unwrap();
    assert_eq!(standing, "over");
    assert!(text.ends_with("at most 46 in; holds only where a committee has adopted it"), "{text}");
    let (standing, text) = bench.line("W-7/1", "head-volume").unwrap();
    assert_eq!(standing, "within");
    assert!(text.contains("465 cm³") && text.contains("test tolerance of 10 cm³"), "{text}");
    let (standing, text) = bench.line("W-7/1", "head-inertia").unwrap();
    assert_eq!((standing, text.as_str()), ("over", "head inertia 6100 g·cm²: over, at most 5900 g·cm²"));
    let (standing, text) = bench.line("W-7/1", "wood-heel-to-toe").unwrap();
    assert_eq!(standing, "not_judged");
    assert!(text.contains("not measured; give heel_to_toe with the order"), "{text}");
    let whole = bench.rules("W-7/1");
    assert_eq!(whole.standing, "over");
    assert!(whole.text.contains("head inertia 6100 g·cm²: over") && whole.text.contains("2019"), "{}", whole.text);
    // Outside one rule of a length and inside two others: each is named by its limit, and what only a committee's adoption
    // makes hold comes last.
    assert!(whole.text.contains("length (at least 18 in), length (at most 48 in)"), "{}", whole.text);
    let last = whole.text.rfind("length 46 1/2 in: over, at most 46 in; holds only where a committee has adopted it");
    assert!(last > whole.text.find("within:"), "{}", whole.text);
    assert!(whole.note.contains("not a ruling") && whole.note.contains("governing bodies decide"));
}

#[test]
fn the_edges_of_a_limit_with_its_tolerance_are_within() {
    for (volume, standing) in [("460 cm3", "within"), ("470 cm3", "within"), ("470.1 cm3", "over")] {
        let mut bench = Benched::new(CONFIG);
        let text = ORDER.replace("465 cm3", volume);
        bench.does(json!({"command": "import_order", "text": text}));
        assert_eq!(bench.line("W-7/1", "head-volume").unwrap().0, standing, "{volume}");
    }
    for (length, standing, marginal) in [("48 in ± 1/32 in", "within", true), ("48 1/16 in ± 1/64 in", "over", false)]
    {
        let mut bench = Benched::new(CONFIG);
        bench.grip("W-7/1", length);
        let line = bench.rules("W-7/1").rules.into_iter().find(|line| line.rule == "longest-club").unwrap();
        assert_eq!((line.standing, line.marginal), (standing, marginal), "{length}");
    }
}

#[test]
fn a_putter_may_be_long_and_a_hybrid_is_not_guessed_to_be_a_wood() {
    let mut bench = Benched::new(CONFIG);
    bench.grip("W-7/2", "52 in");
    assert_eq!(bench.line("W-7/2", "longest-club"), None);
    assert_eq!(bench.line("W-7/2", "shortest-club").unwrap().0, "within");
    assert_eq!(bench.line("W-7/2", "grip-width").unwrap().0, "within");
    // 1 in between two grips is less than the 1.5 in of the rule; with one grip the rule is passed over.
    assert_eq!(bench.line("W-7/2", "two-grips-gap").unwrap().0, "under");
    assert_eq!(bench.line("W-7/2", "two-grips-upper"), None);
    assert_eq!(bench.rules("W-7/2").standing, "under");
    let (standing, text) = bench.line("W-7/3", "head-volume").unwrap();
    assert_eq!(standing, "not_judged");
    assert!(text.contains("whether the rule is for a hybrid is for the governing bodies to say"), "{text}");
}

const OWN: &str = r#"
edition = "house rules, 1"
source = "notice board"
[[rule]]
name = "short"
of = "length"
at_most = "40 in"
from = "2030-01-01"
source = "line 1"
[[rule]]
name = "long"
of = "length"
at_least = "40 in"
source = "line 2"
"#;

#[test]
fn a_bench_may_have_its_own_rules_and_a_finished_club_keeps_those_it_was_finished_under() {
    let mut bench = Benched::new(CONFIG);
    bench.grip("W-7/1", "46 1/2 in");
    let finished = &bench.0.core.state.clubs["W-7/1"];
    assert!(finished.finished_at_us.is_some(), "{:?}", finished.state);
    let mut state = bench.0.core.state.clone();
    let mut numbering = Numbering::after(7, state.seq);
    let mut happens = |state: &mut State, change| state.apply(&numbering.event(Stamp::default(), None, change));
    happens(&mut state, Change::RulesSet(read_rules("own.toml", OWN).unwrap()));
    let check = |state: &State, club: &str| record(&state.clubs[club], String::new(), Lengths::Inches).rule_check;
    assert!(check(&state, "W-7/1").edition.contains("2019"));
    assert_eq!(check(&state, "W-7/3").edition, "house rules, 1");
    // One that is in work again is compared with the rules of the day.
    happens(&mut state, Change::ClubReopened { club: "W-7/1".into() });
    let view = check(&state, "W-7/1");
    assert_eq!(view.edition, "house rules, 1");
    // A rule that is not in force yet judges nothing.
    assert_eq!(view.rules[0].text, "length: not judged, in force from 2030-01-01");
    assert_eq!(view.rules[1].standing, "within");
}
