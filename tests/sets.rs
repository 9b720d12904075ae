//! Cut marks and clubs built again, from the order file to the record.
//!
//! Expected numbers are worked by hand beside each check, found by trying every choice, or come from `tests/checks`.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod support;

use benchscribe::club::characteristic::Characteristic;
use benchscribe::club::fit::{FitSizes, FitWith, answers};
use benchscribe::config::order_file::{OrderFormat, read_order, read_orders};
use benchscribe::journal::event::{canonical, parse};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::measurement::unit::Degrees;
use benchscribe::output::cut_view::cut_view;
use benchscribe::output::text::Lengths;
use benchscribe::output::work_view::work;
use benchscribe::work_order::desk::{Command, answer};
use benchscribe::work_order::event::{Change, EventId, Numbering};
use benchscribe::work_order::order::Order;
use benchscribe::work_order::record::ClubState;
use benchscribe::work_order::state::State;
use benchscribe::work_order::steps::Step;
use serde_json::json;

use support::daemon::Daemon;
use support::table::configuration;
use support::{assert_verified, benchscribe, json_lines, on_data};

const ORDER: &str = r#"
order = "W-9"

[[club]]
name = "5-iron"
kind = "iron"
head_mass = "256 g ± 3 g"
total_mass = "≤ 440 g"
length = "38 in +0/-1/16 in"
swing_weight = "D2 ± 0.5"

[club.cut]
raw_length = "1003 mm"
tip_trim = "12.7 mm"
bore_depth = "31 mm"
insertion = "29 mm"
bore_to_ground = "36 mm"
grip_cap = "4 mm"

[club.fit]
tip_diameter = "0.370 in"
bore_diameter = "0.376 in"
"#;

struct Bench {
    state: State,
    numbering: Numbering,
}

impl Bench {
    fn new() -> Self {
        let mut bench = Self { state: State::default(), numbering: Numbering::after(1, 0) };
        bench.does(Command::ImportOrders(vec![read_order("w9.toml", ORDER).unwrap()]));
        bench.does(Command::OpenOrder("W-9".into()));
        bench
    }

    /// Every event goes the way of the journal: written, read back, and the same.
    #[track_caller]
    fn take(&mut self, changes: Vec<Change>) -> Option<EventId> {
        let mut last = None;
        for change in changes {
            let event = self.numbering.event(Stamp::default(), Some("K7"), change);
            let text = canonical(&event, "bench-1").unwrap();
            assert_eq!(parse(&text).unwrap(), event, "{text}");
            self.state.apply(&event);
            last = Some(event.id);
        }
        last
    }

    #[track_caller]
    fn does(&mut self, command: Command) -> Option<EventId> {
        let changes = answer(&self.state, &command).unwrap();
        self.take(changes)
    }

    /// Gives a command as a program sends it.
    #[track_caller]
    fn sent(&mut self, json: &serde_json::Value) -> Option<EventId> {
        let command = benchscribe::output::command::parse(json).unwrap();
        self.does(command)
    }

    #[track_caller]
    fn refuses(&self, json: &serde_json::Value, words: &str) {
        let command = benchscribe::output::command::parse(json).unwrap();
        let refusal = answer(&self.state, &command).unwrap_err().0;
        assert!(refusal.contains(words), "{refusal}, expected {words}");
    }
}

fn step(step: &str) -> serde_json::Value {
    json!({"command": "step_done", "step": step})
}

fn confirm(mark: &str, quantity: &str) -> serde_json::Value {
    json!({"command": "confirm_mark", "mark": mark, "quantity": quantity})
}

#[test]
fn a_shaft_is_not_cut_before_a_second_measurement_agrees() {
    let mut bench = Bench::new();
    // By hand (see `club::cut`): 1003 − 12.7 = 990.3 mm from the raw butt to the tip mark.
    bench.refuses(
        &step("dry_fit"),
        "the tip mark wants a second measurement, from the raw butt to the tip mark; it should be 990.3 mm",
    );
    bench.refuses(&step("bond"), "tip mark");
    bench.refuses(&confirm("tip", "990.3"), "has no unit");
    bench.refuses(&confirm("tip", "995 mm ± 10 mm"), "too unsure to confirm anything, measure it to ± 2.6 mm");
    bench.sent(&confirm("tip", "995 mm"));
    // u: raw 0.5, mark 0.3, rule 0.5: 2 √0.59 = 1.54 mm.
    bench.refuses(&step("dry_fit"), "the tip mark is 4.7 mm long, and the uncertainties of both explain 1.5 mm");
    bench.sent(&confirm("tip", "989.6 mm ± 1 mm"));
    bench.sent(&step("dry_fit"));
    bench.refuses(&confirm("tip", "990 mm"), "already cut");
    bench.sent(&step("bond"));
    bench.sent(&step("cure"));
    // 965.2 − 4 = 961.2 mm from the ground line; what a person skips the step for is refused as well.
    bench.refuses(&step("cut"), "it should be 961.2 mm ± 1.7 mm");
    bench.refuses(&step("grip"), "the butt mark wants a second measurement");
    let wrong = bench.sent(&confirm("butt", "966 mm"));
    bench.refuses(&step("cut"), "4.8 mm long");
    bench.sent(&confirm("butt", "960.9 mm"));
    let right = bench.state.clubs["W-9/1"].marks.last().unwrap().event;
    let view = cut_view(&bench.state.clubs["W-9/1"]).unwrap();
    assert_eq!((view.due, view.marks[1].standing, view.marks[0].is_past), (Some("butt"), "agrees", true));
    // Taken back, it leaves the one before, which disagrees; and that one taken back leaves none.
    bench.sent(&json!({"command": "void", "event": right.to_string(), "why": "read on the wrong side"}));
    bench.refuses(&step("cut"), "4.8 mm long");
    bench.sent(&json!({"command": "void", "event": wrong.unwrap().to_string(), "why": "wrong side, too"}));
    bench.refuses(&json!({"command": "void", "event": right.to_string(), "why": "again"}), "already taken back");
    bench.refuses(&step("cut"), "wants a second measurement");
    let over = |mark: &str| json!({"command": "override_mark", "mark": mark, "name": "K7", "why": "the rule is bent"});
    bench.refuses(&over("tip"), "already cut");
    bench.sent(&over("butt"));
    bench.sent(&step("cut"));
    let view = cut_view(&bench.state.clubs["W-9/1"]).unwrap();
    assert_eq!((view.due, view.marks[1].standing_text.as_str()), (None, "K7 answers for it: the rule is bent"));
    assert_eq!(view.marks[1].history.iter().filter(|deed| deed.voided).count(), 2);
}

#[test]
fn no_measurement_proves_a_step_whose_mark_waits() {
    let mut bench = Bench::new();
    let enter = |characteristic: &str, quantity: &str| json!({"command": "enter", "characteristic": characteristic, "quantity": quantity});
    // Every part is weighed, which would prove the preparation of a club whose tip is not cut.
    bench.sent(&enter("head_mass", "256 g"));
    let club = &bench.state.clubs["W-9/1"];
    assert_eq!((club.steps.len(), club.next_step()), (0, Some(Step::Prepare)));
    bench.refuses(&step("prepare"), "the tip mark wants a second measurement");
    bench.sent(&confirm("tip", "990.3 mm"));
    for name in ["prepare", "dry_fit", "bond"] {
        bench.sent(&step(name));
    }
    // A length within its limits would prove the cut.
    bench.sent(&enter("length", "38 in"));
    assert_eq!(bench.state.clubs["W-9/1"].steps.last().map(|done| done.step), Some(Step::Bond));
    bench.refuses(&step("cut"), "the butt mark wants a second measurement");
    bench.sent(&confirm("butt", "961.2 mm"));
    bench.sent(&enter("length", "37 15/16 in"));
    assert_eq!(bench.state.clubs["W-9/1"].steps.last().map(|done| done.step), Some(Step::Bond));
    bench.sent(&step("cut"));
}

#[test]
fn a_cut_is_read_in_json_as_well_and_only_where_something_is_cut() {
    let json = r#"{"order": "W-9", "defaults": {"iron": {"length": "38 in"}}, "club": [{"name": "5-iron", "kind": "iron",
        "cut": {"raw_length": "1003 mm", "bore_depth": "31 mm", "bore_to_ground": "36 mm"}}]}"#;
    let orders = read_orders("w9.json", json, OrderFormat::Json).unwrap();
    // By hand: 965.2 mm less cap and ground line, 3 and 36 mm, is the shaft: 1003 - 926.2 = 76.8 mm come off the butt.
    let cut = orders[0].clubs[0].build.cut.unwrap();
    assert!((cut.marks(965.2).unwrap().butt.mm - 76.8).abs() < 1e-9);
    let regrip = ORDER.replace("kind = \"iron\"", "kind = \"iron\"\nwork = \"regrip\"");
    let mistakes = read_order("w9.toml", &regrip).unwrap_err().0;
    assert!(mistakes.iter().any(|m| m.key == "club[1].cut" && m.wanted.contains("nothing is cut")), "{mistakes:?}");
}

#[test]
fn an_override_covers_the_mark_it_was_given_for_only() {
    let mut bench = Bench::new();
    bench.sent(&json!({"command": "override_mark", "mark": "tip", "name": "K7", "why": "no rule at hand"}));
    let other = ORDER.replace("tip_trim = \"12.7 mm\"", "tip_trim = \"25.4 mm\"");
    bench.does(Command::ImportOrders(vec![read_order("w9.toml", &other).unwrap()]));
    bench.refuses(&step("dry_fit"), "the tip mark wants a second measurement");
}

#[test]
fn a_length_of_the_uncut_club_stands_for_the_second_measurement() {
    let mut bench = Bench::new();
    bench.sent(&confirm("tip", "990.3 mm"));
    bench.sent(&step("dry_fit"));
    bench.sent(&step("bond"));
    // By hand: the uncut club is 990.3 + 2 + 36 = 1028.3 mm from the ground line.
    let reading = bench.sent(&json!({"command": "enter", "characteristic": "length", "quantity": "1028 mm"})).unwrap();
    let from = |mark: &str| json!({"command": "confirm_mark", "mark": mark, "reading": reading.to_string()});
    bench.sent(&from("butt"));
    let view = cut_view(&bench.state.clubs["W-9/1"]).unwrap();
    let deed = view.marks[1].history.last().unwrap();
    assert_eq!(view.marks[1].standing, "agrees");
    assert!((deed.difference_mm.unwrap() + 0.3).abs() < 1e-9, "{deed:?}");
    // The reading taken back, the mark has lost its second measurement.
    bench.sent(&json!({"command": "void", "event": reading.to_string(), "why": "the rule slipped"}));
    bench.refuses(&step("cut"), "wants a second measurement");
    bench.refuses(&from("butt"), "not a length of W-9/1 that counts");
}

#[test]
fn marks_fits_and_cautions_are_shown_before_the_cut() {
    let bench = Bench::new();
    let club = work(&bench.state, Lengths::Inches, 0).club.unwrap();
    let cut = club.cut.unwrap();
    assert_eq!(cut.marks[0].text, "12.7 mm (1/2 in) ± 0.6 mm from the raw tip");
    // 67.1 mm is 2.642 in, the nearest sixteenth 2 5/8; u = √0.76 mm (see `club::cut`; here the cap has 0.2).
    assert!(cut.marks[1].text.starts_with("67.1 mm (2 5/8 in) ± 1.7 mm from the raw butt"), "{}", cut.marks[1].text);
    assert!(club.cautions.iter().any(|words| words.contains("fibres")), "{:?}", club.cautions);
    // (0.376 − 0.370) in / 2 = 0.0762 mm a side.
    assert!(club.fit[0].text.contains("0.08 mm ± 0.03 mm of bond line") && club.fit[0].fit == "fits", "{:?}", club.fit);
    assert_eq!(club.fit[0].basis, "common practice, no source");
}

#[test]
fn a_club_is_built_again_as_it_came_out() {
    let mut bench = Bench::new();
    bench.refuses(&json!({"command": "build_again", "club": "W-9/1"}), "is not finished");
    bench.sent(&json!({"command": "enter", "characteristic": "head_mass", "quantity": "257.34 g"}));
    bench.sent(&confirm("tip", "990.3 mm"));
    for name in ["dry_fit", "bond", "cure"] {
        bench.sent(&step(name));
    }
    bench.sent(&confirm("butt", "961.2 mm"));
    bench.sent(&step("grip"));
    bench.sent(&step("rest"));
    for (characteristic, quantity) in [("total_mass", "431.2 g"), ("length", "964.4 mm"), ("swing_weight", "D2.3")] {
        bench.sent(&json!({"command": "enter", "characteristic": characteristic, "quantity": quantity}));
    }
    bench.sent(&step("hand_over"));
    assert_eq!(bench.state.clubs["W-9/1"].state, ClubState::Finished);
    bench.sent(&json!({"command": "build_again", "club": "W-9/1"}));
    let again: &Order = &bench.state.orders["W-9.1.2"];
    let club = &again.clubs[0];
    assert_eq!((club.name.as_str(), club.build.again_of.as_deref()), ("5-iron", Some("W-9/1")));
    let target = |characteristic| {
        let row = club.target(characteristic).unwrap();
        (row.target.value, row.target.lower, row.target.upper, row.text.clone())
    };
    // The tolerances are those of the order: ± 3 g, +0/−1/16 in (1.5875 mm), ± 0.5 points.
    assert_eq!(target(Characteristic::HeadMass), (Some(257.34), Some(254.34), Some(260.34), "257.34 g ± 3 g".into()));
    let length = target(Characteristic::Length);
    assert_eq!((length.0, length.2, length.3.as_str()), (Some(964.4), Some(964.4), "964.4 mm +0 mm/-1.5875 mm"));
    assert!((length.1.unwrap() - 962.8125).abs() < 1e-9);
    assert_eq!(target(Characteristic::SwingWeight), (Some(32.3), Some(31.8), Some(32.8), "D2.3 ± 0.5".into()));
    let total = target(Characteristic::TotalMass);
    // The usual tolerance of a total mass, ± 4 g (common practice, no source), stays below the limit of 440 g.
    assert_eq!(total, (Some(431.2), Some(427.2), Some(435.2), "431.2 g ± 4 g".into()));
    // Another shaft: no marks without its own raw length. By hand 964.4 − 42 = 922.4 mm of shaft; 1010 − 12.7 − 922.4.
    assert_eq!(club.build.cut, None);
    let again = |raw: &str| json!({"command": "build_again", "club": "W-9/1", "order": "W-9b", "raw_length": raw});
    bench.refuses(&again("930 mm"), "5.1 mm too short");
    bench.sent(&again("1010 mm"));
    let view = cut_view(&bench.state.clubs["W-9b/1"]).unwrap();
    assert!((view.marks[1].cut_off_mm - 74.9).abs() < 1e-9, "{view:?}");
    // It is an order like any other: opened, and built a third time under another number.
    bench.sent(&json!({"command": "open_order", "order": "W-9.1.2"}));
    assert_eq!(bench.state.current_club.as_deref(), Some("W-9.1.2/1"));
    bench.sent(&json!({"command": "build_again", "club": "W-9/1"}));
    assert!(bench.state.orders.contains_key("W-9.1.3"));
    bench.refuses(&json!({"command": "build_again", "club": "W-9/1", "order": "W-9"}), "there is an order W-9 already");
    bench.refuses(&json!({"command": "build_again", "club": "W-9/1", "order": "a/b"}), "no order number");
}

#[test]
fn steps_that_come_before_a_cut_do_not_wait_for_it() {
    let mut bench = Bench::new();
    bench.sent(&confirm("tip", "990.3 mm"));
    bench.sent(&step("dry_fit"));
    bench.sent(&step("bond"));
    bench.sent(&step("cure"));
    assert_eq!(bench.state.clubs["W-9/1"].steps.last().map(|done| done.step), Some(Step::Cure));
}

#[test]
fn a_turned_sleeve_is_answered_as_the_independent_reference_has_it() {
    // tests/checks/10_geometry.json, made with rotation matrices apart from this program.
    let checks: serde_json::Value = serde_json::from_str(include_str!("checks/10_geometry.json")).unwrap();
    let mut looked_at = 0;
    for check in checks["items"].as_array().unwrap() {
        if !check["id"].as_str().unwrap().starts_with("GEO-sleeve-") || check["inputs"]["theta"].is_null() {
            continue;
        }
        looked_at += 1;
        let input = |name: &str| Degrees(check["inputs"][name].as_f64().unwrap());
        let expected = |name: &str| check["expected"][name].as_f64().unwrap();
        let sizes =
            FitSizes { sleeve_turn: Some(input("theta")), sleeve_tilt: Some(input("delta")), ..FitSizes::default() };
        let with = FitWith { loft: Some(input("loft")), lie: Some(input("lie")), ..FitWith::default() };
        let answer = answers(&sizes, &with).into_iter().find(|answer| answer.about == "sleeve").unwrap();
        let words = [
            format!("lie {:.2} deg", expected("lie_soled_deg")),
            format!("loft {:.2} deg with the face square", expected("loft_face_restored_deg")),
            format!("{:.2} deg", expected("face_loft_restored_deg").abs()),
        ];
        assert!(words.iter().all(|words| answer.text.contains(words)), "{}: {words:?}", answer.text);
    }
    assert!(looked_at >= 40, "{looked_at}");
}

#[test]
fn marks_are_shown_confirmed_and_answered_for_at_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let config = folder.path().join("bench.toml");
    std::fs::write(&config, configuration("/nowhere", &data.display().to_string())).unwrap();
    let order = format!("{}/config/{}", env!("CARGO_MANIFEST_DIR"), "orders/w-1047.toml");
    let output = benchscribe(["orders", "import", &order, "--config", &config.display().to_string()]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let run = |words: &[&str]| on_data(&data, words);
    let (code, out, err) = run(&["records", "marks", "W-1047/1"]);
    assert_eq!(code, Some(0), "{err}");
    for words in
        ["cut off the tip: 12.7 mm (1/2 in)", "cut off the butt", "wants a second measurement", "fibres", "bond line"]
    {
        assert!(out.contains(words), "{words} not in {out}");
    }
    // 40 1/2 in less 1/2 in.
    let (code, out, err) = run(&["records", "confirm", "W-1047/1", "tip", "40 in"]);
    assert_eq!((code, out.contains("agrees")), (Some(0), true), "{out} {err}");
    let (code, _, err) = run(&["records", "confirm", "W-1047/1", "butt"]);
    assert!(code == Some(2) && err.contains("give what was measured"), "{err}");
    let (code, _, err) = run(&["records", "override", "W-1047/1", "butt", "--by", "K7", "--why", "the rule is bent"]);
    assert_eq!(code, Some(0), "{err}");
    let (code, out, err) = run(&["records", "marks", "W-1047/1", "--json"]);
    assert_eq!(code, Some(0), "{err}");
    let marks = &json_lines(&out)[0]["cut"]["marks"];
    assert_eq!((&marks[0]["standing"], &marks[1]["standing"]), (&json!("agrees"), &json!("overridden")));
    assert_eq!(marks[1]["history"][0]["name"], "K7");
    let (code, _, err) = run(&["orders", "again", "W-1047/1"]);
    assert!(code == Some(2) && err.contains("is not finished"), "{err}");
    assert_verified(&data);
    // And at a bench that runs: the state has the marks, the order its steps.
    let daemon = Daemon::run(&config, 1.0);
    assert_eq!(daemon.command(&json!({"command": "open_club", "club": "W-1047/2"})).status, 200);
    let state = daemon.state();
    assert_eq!(state["club"]["cut"]["due"], "tip", "{state}");
    daemon.command(&json!({"command": "step_done", "step": "dry_fit"})).assert_problem(422, "second measurement");
    let reply = daemon.get("/api/v1/orders/W-1047/progressions").json();
    // Lengths 38, 37 and 36 in.
    assert_eq!(
        reply["progressions"][0]["gaps"][0]["step"].as_f64().map(|step| (step * 1e6).round()),
        Some(-7e6),
        "{reply}"
    );
    assert!(daemon.get("/api/v1/orders/W-1047/progressions.svg").body.starts_with("<svg "));
    daemon.get("/api/v1/orders/W-1/progressions").assert_problem(404, "there is no order W-1");
}
