//! Several clubs in work at once, one of them open: what is laid down or scanned is not filed with the open one where it is
//! what another one waits for.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(missing_docs, reason = "a test is no library")]

mod desk_bench;

use benchscribe::work_order::event::Change;
use desk_bench::{CONFIG, DeskBench, Stored};
use serde_json::json;

const ORDER: &str = r#"
order = "W-1"

[[club]]
name = "7-iron"
kind = "iron"
head_mass = "270 g ± 3 g"
shaft_mass = "115 g ± 3 g"
loft = "34 deg ± 0.5 deg"
lie = "62.5 deg ± 0.5 deg"

[[club]]
name = "8-iron"
kind = "iron"
head_mass = "277 g ± 3 g"
shaft_mass = "115 g ± 3 g"
loft = "38 deg ± 0.5 deg"
lie = "63 deg ± 0.5 deg"

[[club]]
name = "pitching wedge"
kind = "wedge"
head_mass = "286 g ± 3 g"

[[club]]
name = "gap wedge"
kind = "wedge"
grip_mass = "50 g ± 3 g"

[[club]]
name = "driver"
kind = "driver"
head_mass = "200 g ± 3 g"
"#;

fn opened(club: &str) -> (DeskBench, Stored) {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_club", "club": club}), &mut stored).unwrap();
    (bench, stored)
}

/// Where the last reading went: its club, or the reason with the clubs that may be chosen.
fn placed(stored: &Stored) -> (String, Vec<String>) {
    let placed = stored.events.iter().rev().find_map(|event| match &event.change {
        Change::ReadingFiled { club, .. } => Some((club.clone(), Vec::new())),
        Change::ReadingUnfiled { reason, choices, .. } => {
            Some((reason.clone(), choices.iter().map(|place| place.club.clone()).collect()))
        }
        _ => None,
    });
    placed.unwrap()
}

/// Lays a part on the scale while `open` is open; it must be filed there, or the reason must have `words` and the choices be
/// `clubs`, in their order and each once.
#[track_caller]
fn check(open: &str, grams: f64, words: &str, clubs: &[&str]) {
    let (mut bench, mut stored) = opened(open);
    bench.weigh("scale", [grams, 0.0], [0.0, 0.0], &mut stored);
    let (reason, mut choices) = placed(&stored);
    choices.dedup();
    assert!(reason.contains(words), "{open}, {grams} g: {reason}");
    assert_eq!(choices, clubs, "{open}, {grams} g: {reason}");
}

#[test]
fn a_head_that_another_club_waits_for_is_asked_about_and_not_filed() {
    check("W-1/1", 271.0, "W-1/1", &[]);
    // Wrong by its limits, and right for nobody else: it is this club's, and out.
    check("W-1/1", 265.5, "W-1/1", &[]);
    check(
        "W-1/1",
        276.0,
        "276.0 g is not what W-1/1 asks for, and is what W-1/2 asks for (head mass)",
        &["W-1/2", "W-1/1"],
    );
    // An iron's head laid down for the wedge.
    check("W-1/3", 279.0, "not what W-1/3 asks for, and is what W-1/2 asks for", &["W-1/2", "W-1/3"]);
    // Nothing is asked of the open wedge's head: the kind alone would take it.
    check("W-1/4", 285.0, "not what W-1/4 asks for, and is what W-1/3 asks for", &["W-1/3", "W-1/4"]);
    check("W-1/4", 300.0, "W-1/4", &[]);
    check(
        "W-1/5",
        270.5,
        "270.5 g is not what W-1/5 asks for, and is what W-1/1 asks for (head mass)",
        &["W-1/1", "W-1/5"],
    );
}

/// A limit on one side says what an order wants as well as two do; where the open club's is kept, nobody is asked.
#[test]
fn a_limit_on_one_side_counts_for_the_open_club_and_for_the_one_that_waits() {
    let order = ORDER.replace("286 g ± 3 g", "≤ 289 g").replace("270 g ± 3 g", "≥ 268 g");
    let check = |open: &str, grams: f64, words: &str, clubs: &[&str]| {
        let mut bench = DeskBench::new(CONFIG);
        let mut stored = bench.begin();
        bench.command(json!({"command": "import_order", "text": order}), &mut stored).unwrap();
        bench.command(json!({"command": "open_club", "club": open}), &mut stored).unwrap();
        bench.weigh("scale", [grams, 0.0], [0.0, 0.0], &mut stored);
        let (reason, mut choices) = placed(&stored);
        choices.dedup();
        assert!(reason.contains(words), "{open}, {grams} g: {reason}");
        assert_eq!(choices, clubs, "{open}, {grams} g: {reason}");
    };
    // The 8-iron waits for 277 g as well, and the open club may have it.
    check("W-1/1", 277.0, "W-1/1", &[]);
    check("W-1/1", 266.0, "W-1/1", &[]);
    // Too heavy for the 8-iron; heavy enough for the 7-iron, light enough for the wedge.
    check("W-1/2", 284.0, "is what W-1/1 or W-1/3 asks for", &["W-1/1", "W-1/3", "W-1/2"]);
    // No iron's head is so heavy, whatever limit it keeps.
    check("W-1/2", 310.0, "fits nothing that W-1/2 needs", &["W-1/2"]);
}

#[test]
fn what_was_chosen_for_another_club_is_filed_there_and_not_asked_about_again() {
    let (mut bench, mut stored) = opened("W-1/3");
    bench.weigh("scale", [271.0, 0.0], [0.0, 0.0], &mut stored);
    // The pedal takes what is offered first.
    bench.command(json!({"command": "accept"}), &mut stored).unwrap();
    assert_eq!(placed(&stored).0, "W-1/1");
    // That club has its head now: another one like it is a bad one of the wedge.
    bench.weigh("scale", [272.5, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(placed(&stored), ("W-1/3".to_owned(), Vec::new()));
    // The same again is the same part.
    bench.weigh("scale", [272.5, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(placed(&stored), ("W-1/3".to_owned(), Vec::new()));
}

#[test]
fn the_club_in_the_gauge_is_known_by_both_its_angles() {
    let (mut bench, mut stored) = opened("W-1/2");
    let lay = |bench: &mut DeskBench, lie: f64, loft: f64, stored: &mut Stored| {
        bench.weigh("gauge", [lie, loft], [0.0, 0.0], stored);
        placed(stored)
    };
    // The 8-iron is not begun, so it cannot lie there.
    bench.command(json!({"command": "open_club", "club": "W-1/1"}), &mut stored).unwrap();
    assert_eq!(lay(&mut bench, 63.0, 38.0, &mut stored).0, "W-1/1");
    let (mut bench, mut stored) = opened("W-1/2");
    bench.weigh("scale", [277.0, 0.0], [0.0, 0.0], &mut stored);
    bench.command(json!({"command": "open_club", "club": "W-1/1"}), &mut stored).unwrap();
    let (reason, choices) = lay(&mut bench, 63.0, 38.0, &mut stored);
    assert!(reason.contains("not those of W-1/1, but what W-1/2 asks for"), "{reason}");
    assert_eq!(choices, ["W-1/2", "W-1/1"]);
    // One angle alone may be a club that wants bending.
    assert_eq!(lay(&mut bench, 63.0, 34.0, &mut stored).0, "W-1/1");
}

#[test]
fn a_label_scanned_with_another_club_open_is_asked_about() {
    let (mut bench, mut stored) = opened("W-1/3");
    bench.command(json!({"command": "begin_intake", "kind": "head", "instrument": "scale"}), &mut stored).unwrap();
    for grams in [270.5, 292.0, 320.0] {
        bench.weigh("scale", [grams, 0.0], [0.0, 0.0], &mut stored);
    }
    bench.command(json!({"command": "end_intake"}), &mut stored).unwrap();
    let mut scan = |code: &str| bench.command(json!({"command": "scan", "code": code}), &mut stored);
    let refused = scan("BS1/P/H-1").unwrap_err();
    assert!(refused.contains("H-1, a head of 270.5 g, is what W-1/1 asks for and not W-1/3"), "{refused}");
    assert!(refused.contains("`stock use H-1 --club W-1/3`"), "{refused}");
    let refused = scan("BS1/P/H-3").unwrap_err();
    assert!(refused.contains("H-3, a head of 320.0 g, is none for W-1/3 (272 to 300 g)"), "{refused}");
    // Out of limits, and nobody else's: it may go in, with its verdict.
    scan("BS1/P/H-2").unwrap();
    let used = json!({"command": "use_parts", "uses": [{"club": "W-1/4", "part": "H-1"}]});
    // Who names the club is not asked.
    bench.command(used, &mut stored).unwrap();
}
