//! Stock intakes on the bench's own core: a row of parts laid down one after another, numbered, labelled, put into clubs.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(missing_docs, reason = "a test is no library")]

mod desk_bench;

use benchscribe::audit::audit;
use benchscribe::club::characteristic::Characteristic;
use benchscribe::journal::archive::Search;
use benchscribe::journal::event;
use benchscribe::journal::store::Journal;
use benchscribe::output::record::{SCHEMA, record};
use benchscribe::output::text::Lengths;
use benchscribe::work_order::event::Change;
use benchscribe::work_order::part_stock::Whereabouts;
use benchscribe::work_order::state::{Fate, State};
use desk_bench::{CONFIG, DeskBench, ORDER, Stored};
use serde_json::{Value, json};

fn weigh(bench: &mut DeskBench, grams: f64, stored: &mut Stored) {
    bench.weigh("scale", [grams, 0.0], [0.0, 0.0], stored);
}

fn scan(bench: &mut DeskBench, code: &str, stored: &mut Stored) -> Result<(), String> {
    bench.command(json!({"command": "scan", "code": code}), stored)
}

/// A bench with the order opened, so that a part on the scale would be the club's.
fn opened() -> (DeskBench, Stored) {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    (bench, stored)
}

/// Three heads: one with its maker's code, one taken back, one more.
fn row() -> (DeskBench, Stored) {
    let (mut bench, mut stored) = opened();
    let begin = json!({"command": "begin_intake", "kind": "head", "instrument": "scale", "drawer": "A2", "lot": "L7"});
    bench.command(begin, &mut stored).unwrap();
    assert!(scan(&mut bench, "(10)AB", &mut stored).unwrap_err().contains("lay the head on first"));
    weigh(&mut bench, 202.4, &mut stored);
    scan(&mut bench, "(01)09506000134352(10)AB-7(21)12", &mut stored).unwrap();
    assert!(
        scan(&mut bench, "(01)09506000134352(10)AB-7(21)13", &mut stored).unwrap_err().contains("H-1 has its code")
    );
    weigh(&mut bench, 199.0, &mut stored);
    assert!(scan(&mut bench, "(01)09506000134352(10)AB-7(21)12", &mut stored).unwrap_err().contains("stands on H-1"));
    scan(&mut bench, "BS1/V", &mut stored).unwrap();
    weigh(&mut bench, 203.1, &mut stored);
    (bench, stored)
}

#[test]
fn while_an_intake_is_open_the_scale_fills_the_stock_and_not_the_club() {
    let (mut bench, mut stored) = row();
    let words = bench.snapshot().instruments[0].intake.clone().unwrap();
    assert_eq!(words, "stock intake I-1: lay the next head on, it becomes H-4; last H-3, 203.10 g");
    assert!(stored.of("reading_filed").is_empty(), "a part of the row went into the club");
    let stock = bench.core.state.part_stock.clone();
    let seen: Vec<(&str, f64, bool)> = stock
        .parts
        .iter()
        .map(|part| {
            ((part.number()), (part.measured.mass.0 * 100.0).round() / 100.0, part.place == Whereabouts::InStock)
        })
        .collect();
    assert_eq!(seen, [("H-1", 202.4, true), ("H-2", 199.0, false), ("H-3", 203.1, true)]);
    let facts = &stock.parts[0].facts;
    assert_eq!(
        (facts.lot.as_deref(), facts.serial.as_deref(), facts.drawer.as_deref()),
        (Some("AB-7"), Some("12"), Some("A2"))
    );
    assert_eq!(stock.parts[2].facts.lot.as_deref(), Some("L7"), "what holds for the row holds for each");
    assert!(matches!(&bench.core.state.captures.back().unwrap().fate, Fate::Part { part } if part == "H-3"));
    // No head of 20 g, and it gets no number.
    weigh(&mut bench, 20.0, &mut stored);
    let unfiled = stored.of("reading_unfiled");
    assert!(
        matches!(&unfiled[0].change, Change::ReadingUnfiled { reason, choices, .. } if reason.contains("is no head") && choices.is_empty())
    );
    assert!(
        bench.command(json!({"command": "use_part", "part": "H-1"}), &mut stored).unwrap_err().contains("I-1 is open")
    );
    scan(&mut bench, "BS1/I/END", &mut stored).unwrap();
    assert_eq!(bench.snapshot().instruments[0].intake, None);
    weigh(&mut bench, 203.0, &mut stored);
    assert_eq!(stored.of("reading_filed").len(), 1, "after the end the scale measures the club again");
}

#[test]
fn a_part_goes_into_a_club_whose_work_takes_it_and_that_club_is_named() {
    let (mut bench, mut stored) = row();
    scan(&mut bench, "BS1/I/END", &mut stored).unwrap();
    let regrip = "order = \"R-1\"\n[[club]]\nname = \"wedge\"\nkind = \"wedge\"\nwork = \"regrip\"\ngrip_mass = \"50 g ± 3 g\"\n";
    bench.command(json!({"command": "import_order", "text": regrip}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "R-1"}), &mut stored).unwrap();
    let refused = scan(&mut bench, "BS1/P/H-1", &mut stored).unwrap_err();
    assert!(refused.starts_with("H-1 is a head, and the work on R-1/1 (new grip) takes none"), "{refused}");
    // The other club is named, though this one is open.
    bench.command(json!({"command": "use_part", "part": "H-1", "club": "W-1/1"}), &mut stored).unwrap();
    assert!(bench.core.state.clubs["W-1/1"].parts.len() == 1 && bench.core.state.clubs["R-1/1"].parts.is_empty());
}

#[tokio::test]
async fn a_part_whose_label_is_scanned_is_in_the_record_with_lot_and_serial() {
    let (mut bench, mut stored) = row();
    scan(&mut bench, "BS1/I/END", &mut stored).unwrap();
    scan(&mut bench, "BS1/P/H-1", &mut stored).unwrap();
    let club = bench.core.state.clubs["W-1/1"].clone();
    let entry = club.latest(Characteristic::HeadMass).unwrap();
    assert!((entry.filed.value - 202.4).abs() < 1e-6 && entry.filed.target == Some(203.0), "{entry:?}");
    for (code, words) in [
        ("BS1/P/H-1", "H-1 is in W-1/1 already"),
        ("BS1/P/H-3", "has the head H-1 already"),
        ("BS1/P/H-2", "taken back at its intake"),
        ("BS1/P/H-9", "there is no part H-9"),
    ] {
        assert!(scan(&mut bench, code, &mut stored).unwrap_err().contains(words), "{code}");
    }
    // A part that never was in stock: its maker's code is kept all the same.
    scan(&mut bench, "(01)09506000134352(10)GR-1", &mut stored).unwrap();
    let shown =
        serde_json::to_value(record(&bench.core.state.clubs["W-1/1"], String::new(), Lengths::Millimetres)).unwrap();
    let parts = shown["parts"].as_array().unwrap();
    assert_eq!(
        (&parts[0]["part"], &parts[0]["lot"], &parts[0]["serial"]),
        (&json!("H-1"), &json!("AB-7"), &json!("12"))
    );
    assert_eq!((&parts[1]["part"], &parts[1]["lot"]), (&Value::Null, &json!("GR-1")));
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    for key in parts[0].as_object().unwrap().keys() {
        assert!(schema["$defs"]["used_part"]["properties"].get(key).is_some(), "{key} is not in the schema");
    }
    // Found by its lot, folded alone and proved from its raw bytes.
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
    journal.append(&stored.events, &stored.evidence).await.unwrap();
    for (lot, clubs) in [("AB-7", 1), ("h-1", 1), ("GR-1", 1), ("12", 1), ("L7", 0)] {
        let search = Search { lot: Some(lot.to_owned()), limit: 9, ..Search::default() };
        assert_eq!(journal.reader().search(&search).await.unwrap().clubs.len(), clubs, "{lot}");
    }
    let alone = journal.reader().club("W-1/1").await.unwrap().unwrap();
    assert_eq!(alone.club.parts, bench.core.state.clubs["W-1/1"].parts);
    let audited = audit(&journal.reader()).await;
    assert!(audited.faults.is_empty(), "{:?}", audited.faults);
    // Taken out again it is in the drawer, and the search does not lead to the club any more.
    let release = json!({"command": "release_part", "part": "H-1", "why": "scratched"});
    let before = stored.events.len();
    bench.command(release, &mut stored).unwrap();
    journal.append(&stored.events[before..], &[]).await.unwrap();
    let search = Search { lot: Some("AB-7".into()), limit: 9, ..Search::default() };
    assert!(journal.reader().search(&search).await.unwrap().clubs.is_empty());
    let club = &bench.core.state.clubs["W-1/1"];
    assert!(club.latest(Characteristic::HeadMass).is_none() && club.parts[0].released.as_deref() == Some("scratched"));
    scan(&mut bench, "BS1/P/H-3", &mut stored).unwrap();
    journal.close().await;
}

#[test]
fn no_part_leaves_a_finished_club_before_somebody_has_decided() {
    let (mut bench, mut stored) = row();
    scan(&mut bench, "BS1/I/END", &mut stored).unwrap();
    scan(&mut bench, "BS1/P/H-1", &mut stored).unwrap();
    let over = json!({"command": "override_hand_over", "name": "K7", "why": "as agreed"});
    bench.command(over, &mut stored).unwrap();
    let used = stored.of("part_used")[0].id.to_string();
    for part in ["H-1", used.as_str()] {
        let reason =
            bench.command(json!({"command": "release_part", "part": part, "why": "x"}), &mut stored).unwrap_err();
        let expected = "W-1/1 is handed over already, nothing is taken out: `orders resume W-1/1 --by N --why TEXT`";
        assert!(reason.starts_with(expected), "{reason}");
    }
    bench.command(json!({"command": "open_club", "club": "W-1/1"}), &mut stored).unwrap();
    let reason = scan(&mut bench, "BS1/P/H-3", &mut stored).unwrap_err();
    assert!(reason.starts_with("W-1/1 is handed over already, nothing is put in: `orders resume W-1/1"), "{reason}");
    bench.command(json!({"command": "take_club_up", "name": "K7", "why": "another head"}), &mut stored).unwrap();
    bench.command(json!({"command": "release_part", "part": "H-1", "why": "scratched"}), &mut stored).unwrap();
    assert_eq!(bench.core.state.part_stock.part("H-1").unwrap().place, Whereabouts::InStock);
}

#[tokio::test]
async fn a_part_that_was_tampered_with_is_found() {
    let (mut bench, mut stored) = row();
    scan(&mut bench, "BS1/I/END", &mut stored).unwrap();
    for event in &mut stored.events {
        if let Change::PartMeasured(part) = &mut event.change
            && part.part == "H-3"
        {
            part.mass.0 += 0.01;
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
    journal.append(&stored.events, &stored.evidence).await.unwrap();
    let faults = audit(&journal.reader()).await.faults;
    assert!(format!("{faults:?}").contains("another number or weight"), "{faults:?}");
    journal.close().await;
}

#[test]
fn what_cannot_be_is_refused_with_what_would_do() {
    let (mut bench, mut stored) = opened();
    for (sent, words) in [
        (json!({"command": "begin_intake", "kind": "head", "instrument": "gauge"}), "no scale or beam"),
        (json!({"command": "begin_intake", "kind": "head", "instrument": "scale", "length": "45 in"}), "a head has no"),
        (json!({"command": "begin_intake", "kind": "shaft", "instrument": "scale", "length": "9 m"}), "not possible"),
        (json!({"command": "begin_intake", "kind": "head", "instrument": "scale", "for": "a,b"}), "made for one club"),
        (json!({"command": "end_intake"}), "no stock intake is open"),
        (json!({"command": "release_part", "part": "H-1", "why": "x"}), "in no club"),
        (json!({"command": "withdraw_part", "part": "H-1", "why": "x"}), "there is no part"),
    ] {
        let reason = bench.command(sent.clone(), &mut stored).unwrap_err();
        assert!(reason.contains(words), "{sent}: {reason}");
    }
    let begin = json!({"command": "begin_intake", "kind": "head", "instrument": "scale", "for": "7-iron"});
    bench.command(begin.clone(), &mut stored).unwrap();
    assert!(bench.command(begin, &mut stored).unwrap_err().contains("end it first"));
    let study = json!({"command": "study_begin", "instrument": "scale", "parts": 2, "people": ["A", "B"], "trials": 2});
    assert!(bench.command(study, &mut stored).unwrap_err().contains("stock intake I-1 is open"));
    weigh(&mut bench, 203.0, &mut stored);
    bench.command(json!({"command": "end_intake"}), &mut stored).unwrap();
    // A head for another club is the wrong part.
    assert!(scan(&mut bench, "BS1/P/H-1", &mut stored).unwrap_err().contains("a head for 7-iron, not for the"));
    bench.command(json!({"command": "withdraw_part", "part": "H-1", "why": "sold"}), &mut stored).unwrap();
    assert!(scan(&mut bench, "BS1/P/H-1", &mut stored).unwrap_err().contains("not in the stock any more: sold"));
}

#[test]
fn a_restart_in_the_middle_of_a_row_goes_on_with_it() {
    let (bench, stored) = row();
    let mut state = State::default();
    for event in &stored.events {
        let text = event::canonical(event, "bench-1").unwrap();
        state.apply(&event::parse(&text).unwrap());
    }
    assert_eq!(state.part_stock, bench.core.state.part_stock);
    let mut again = DeskBench::with_state(CONFIG, state);
    let mut more = again.begin();
    weigh(&mut again, 201.0, &mut more);
    assert_eq!(again.core.state.part_stock.parts[3].number(), "H-4");
}
