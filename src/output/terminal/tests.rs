//! What is drawn, and what is known by which message; cells of a terminal that is none.

use std::time::Duration;

use jiff::tz::TimeZone;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::style::Modifier;
use serde_json::{Value, json};

use super::drawing::{Link, View};
use super::known::{Freshness, Known, Taken};
use super::scale::scale;
use super::words;
use crate::output::language::Language;

const fn ms(ms: u64) -> Duration {
    Duration::from_millis(ms)
}

/// A bench with a part on its scale, as the daemon tells it.
fn state() -> Value {
    json!({
        "site": "dune-trailer", "bench": "bench-1", "now": "2026-11-26T10:20:30.5Z", "seq": 30, "beat": 100,
        "banners": [], "timers": [], "queue": [],
        "instruments": [
            {"id": "parts-scale", "name": "parts scale", "kind": "scale", "connected": true, "phase": "held", "age_ms": 40,
             "readings": [{"characteristic": "grip_mass", "label": "grip mass", "stage": "part", "value": 49.6, "text": "49.6 g",
               "u": 0.03, "unit": "g", "target": 50.0, "lower": 47.5, "upper": 52.5, "target_text": "50.0 g ± 2.5 g",
               "deviation": -0.4, "deviation_text": "−0.4 g", "verdict": "within", "marginal": false}]},
            {"id": "beam", "name": "swing-weight beam", "kind": "beam", "connected": true, "phase": "empty", "age_ms": 10,
             "readings": [{"value": 0.0, "text": "0.0 g", "unit": "g"}]}],
        "order": {"order": "W-1042", "player": "P-17", "clubs": [{"club": "W-1042/1", "done": 3, "of": 8}]},
        "club": {"club": "W-1042/1", "name": "driver", "hand": "right", "stage": "part", "next": "lay the head on a scale",
          "next_step": "dry_fit", "advice": ["put 4 g under the grip"], "cautions": ["Grinding dust: mask and gloves."],
          "characteristics": [
            {"characteristic": "grip_mass", "label": "grip mass", "target_text": "50.0 g ± 2.5 g", "text": "49.6 g",
             "deviation_text": "−0.4 g", "verdict": "within", "event": "e-1"},
            {"characteristic": "swing_weight", "label": "swing weight", "target_text": "D3.0 ± 0.5 points"}]},
        "captures": [{"event": "e-1", "at": "2026-11-26T10:20:29Z", "instrument": "parts-scale", "text": "49.6 g", "voided": false,
          "values": [{"what": "grip_mass", "text": "49.6 g"}], "filed": [{"club": "W-1042/1", "characteristic": "grip_mass", "verdict": "within"}]}]
    })
}

fn known(state: Value) -> Known {
    let mut known = Known::default();
    known.take_state(serde_json::from_value(state).unwrap(), ms(0));
    known
}

fn draw(known: &Known, link: &Link, now: Duration, width: u16, height: u16) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    let view = View { known, link, now, language: Language::English, zone: &TimeZone::UTC };
    terminal.draw(|frame| frame.render_widget(view, frame.area())).unwrap();
    terminal.backend().buffer().clone()
}

fn rows(buffer: &Buffer) -> Vec<String> {
    let cells = buffer.content.chunks(usize::from(buffer.area.width));
    cells.map(|row| row.iter().map(ratatui::buffer::Cell::symbol).collect::<String>()).collect()
}

fn text(known: &Known, link: &Link, now: Duration, width: u16, height: u16) -> String {
    rows(&draw(known, link, now, width, height)).join("\n")
}

#[track_caller]
fn assert_has(text: &str, wanted: &[&str]) {
    for words in wanted {
        assert!(text.contains(words), "{words:?} is missing in\n{text}");
    }
}

#[test]
fn one_look_at_80_by_24_answers_every_question() {
    let text = text(&known(state()), &Link::Up, ms(100), 80, 24);
    assert_has(
        &text,
        &[
            "driver  W-1042/1 · right hand · part",
            "3 of 8 done · club 1 of 1 for P-17",
            "─ nobody is at the bench: scan a badge",
            "grip mass on the parts scale",
            "● settled",
            "reads 49.6 g   target 50.0 g ± 2.5 g",
            "┃●┃  within",
            "now      settled: lift it off",
            "then     lay the head on a scale",
            "advice   put 4 g under the grip",
            "step     dry fit",
            "▲ Grinding dust: mask and gloves.",
            "The maker's data sheet and local rules come first.",
            "swing weight  D3.0 ± 0.5 points",
            "swing-weight beam       0.0 g  ○ empty",
            "10:20:30 UTC · bench-1 · dune-trailer · entry 30 · beat 100",
            "q leaves",
        ],
    );
    // The large digits: four rows of blocks, the unit beside them.
    let blocks = text.lines().filter(|row| row.contains('█')).count();
    assert!((2..=4).contains(&blocks), "{text}");
}

#[test]
fn the_verdict_at_its_place_is_marked_and_no_other() {
    for (value, verdict, column) in [(46.0, "under", 0), (49.6, "within", 1), (60.0, "over", 2)] {
        let mut state = state();
        state["instruments"][0]["readings"][0]["value"] = json!(value);
        state["instruments"][0]["readings"][0]["verdict"] = json!(verdict);
        let buffer = draw(&known(state), &Link::Up, ms(0), 81, 24);
        let marked: Vec<usize> = buffer
            .content
            .iter()
            .enumerate()
            .filter(|(_, cell)| cell.modifier.contains(Modifier::REVERSED))
            .map(|(at, _)| at % 81 / 27)
            .collect();
        assert!(!marked.is_empty() && marked.iter().all(|third| *third == column), "{verdict}: {marked:?}");
        let needle = rows(&buffer).iter().find_map(|row| row.chars().position(|c| "▼◀▶".contains(c))).unwrap();
        assert_eq!(needle / 27, column, "{verdict}");
    }
}

#[test]
fn what_is_old_is_grey_after_a_second_and_gone_after_three() {
    let known = known(state());
    let digits = |now: Duration| {
        let buffer = draw(&known, &Link::Up, now, 80, 24);
        let is_dim = |cell: &ratatui::buffer::Cell| cell.modifier.contains(Modifier::DIM);
        let block = buffer.content.iter().find(|cell| "█▄▀".contains(cell.symbol())).map(is_dim);
        (block, rows(&buffer).join("\n"))
    };
    let (dim, text) = digits(ms(900));
    assert_eq!(dim, Some(false), "{text}");
    let (dim, text) = digits(ms(1500));
    assert_eq!(dim, Some(true), "{text}");
    assert_has(&text, &["settled, 2 s old"]);
    let (dim, text) = digits(ms(3000));
    assert_eq!(dim, Some(true), "{text}");
    assert_has(&text, &["▄▄▄▄▄▄          ▄▄▄▄▄▄          ▄▄▄▄▄▄"]);
    assert_has(&text, &["no readings from the parts scale: is it switched on?", "╱ no readings"]);
    assert!(!text.contains("49.6 g   target"), "an old value is still shown\n{text}");
}

#[test]
fn who_is_at_the_bench_stands_there_until_somebody_else_does() {
    let mut state = state();
    state["operator"] = json!("K7");
    let text = text(&known(state), &Link::Up, ms(0), 80, 24);
    assert_has(&text, &["─ at the bench: K7"]);
    assert!(!text.contains("nobody"), "{text}");
}

/// The instrument of a key has no age of its own, but a daemon that is gone makes it old like any other.
#[test]
fn a_scale_that_speaks_on_a_key_is_old_when_the_daemon_is_silent() {
    let mut state = state();
    state["instruments"][0]["on_key"] = json!(true);
    state["instruments"][0]["age_ms"] = json!(600_000);
    let known = known(state);
    let scale = known.instruments().next().unwrap();
    let freshness = [ms(500), ms(2000), ms(4000)].map(|now| known.freshness(scale, now));
    assert_eq!(freshness, [Freshness::Fresh, Freshness::Aged, Freshness::Gone]);
}

#[test]
fn a_lost_link_and_a_lost_instrument_say_what_to_do() {
    let mut state = state();
    state["banners"] =
        json!([{"level": "warning", "text": "parts scale: nothing comes", "remedy": "plug it in again"}]);
    let text = text(&known(state), &Link::Lost("b1:7311 does not answer".into()), ms(5000), 133, 24);
    assert_has(
        &text,
        &[
            "what you see is old (b1:7311 does not answer). It is tried again every second",
            "parts scale: nothing comes: plug it in again",
        ],
    );
}

#[test]
fn an_empty_instrument_gives_way_to_the_next_instruction_and_the_last_verdict() {
    let mut state = state();
    state["instruments"][0]["phase"] = json!("empty");
    let text = text(&known(state), &Link::Up, ms(0), 80, 24);
    assert_has(&text, &["lay the head on a scale", "grip mass 49.6 g   ┃●┃  −0.4 g within", "○ empty"]);
    assert!(!text.contains("▼"), "{text}");
}

/// Found by looking: a beam's reading has three values, and the verdict of the first stood behind the name of another; numbers stood
/// there without their names.
#[test]
fn every_number_has_its_name_and_its_own_verdict() {
    let mut state = state();
    state["instruments"][0]["phase"] = json!("empty");
    state["captures"][0]["text"] = json!("436.0 g · 710.9 mm · D0.6");
    state["captures"][0]["values"] = json!([{"what": "total_mass", "text": "436.0 g"},
        {"what": "balance_point", "text": "710.9 mm"}, {"what": "swing_weight", "text": "D0.6"}]);
    state["captures"][0]["filed"] = json!([{"club": "W-1042/1", "characteristic": "swing_weight", "verdict": "under"}]);
    state["club"]["characteristics"][1] = json!({"characteristic": "swing_weight", "label": "swing weight", "text": "D0.6",
        "deviation_text": "−2.4 points", "verdict": "under", "event": "e-1"});
    let shown = |state: &Value| text(&known(state.clone()), &Link::Up, ms(0), 80, 24);
    assert_has(&shown(&state), &["swing weight D0.6  ◂┃ ┃  −2.4 points under"]);
    // Of a club that is open no more: under its name, with the verdict that it had there.
    state["captures"][0]["filed"][0]["club"] = json!("W-1042/9");
    state["club"]["characteristics"][1]["event"] = Value::Null;
    let all = "total mass 436.0 g · balance point 710.9 mm · swing weight D0.6";
    assert_has(&shown(&state), &[&format!("W-1042/9 {all}  ◂┃ ┃  under").chars().take(80).collect::<String>()]);
    state["captures"][0]["filed"] = json!([]);
    state["captures"][0]["reason"] = json!("no club is open");
    assert_has(&shown(&state), &["not filed: total mass 436.0 g · balance point 710.9 mm · swing weight D0.6"]);
    state["captures"][0]["voided"] = json!(true);
    assert_has(&shown(&state), &[&format!("last reading {all}").chars().take(80).collect::<String>()]);
}

#[test]
fn a_reading_without_a_place_comes_before_all_advice() {
    let mut state = state();
    state["captures"][0] = json!({"event": "e-9", "at": "2026-11-26T10:20:31Z", "instrument": "parts-scale", "text": "71.2 g",
        "filed": [], "reason": "nothing of this club weighs that", "voided": false});
    let text = text(&known(state), &Link::Up, ms(0), 80, 24);
    assert_has(
        &text,
        &["not filed: 71.2 g from the parts scale: nothing of this club weighs that", "lay the part down again"],
    );
    assert!(!text.contains("put 4 g under the grip"), "{text}");
}

#[test]
fn without_a_club_the_queue_is_called_out_and_before_the_first_message_it_waits() {
    let mut state = state();
    state["club"] = Value::Null;
    state["order"] = Value::Null;
    state["instruments"][0]["phase"] = json!("empty");
    let nothing = text(&known(state.clone()), &Link::Up, ms(0), 80, 24);
    assert_has(&nothing, &["no club open", "no order waits", "bring a work order in: benchscribe orders import FILE"]);
    state["queue"] = json!([{"order": "W-1043", "clubs": 1}]);
    let next = "next is W-1043/1, driver: scan the ticket of order W-1043 or open it";
    state["next_in_turn"] = json!(next);
    let waiting = text(&known(state), &Link::Up, ms(0), 80, 24);
    assert_has(&waiting, &["open an order", "W-1043 · 1 club", "next is W-1043/1, driver: scan the ticket of order"]);
    assert_has(
        &text(&Known::default(), &Link::Opening, ms(0), 80, 24),
        &["waiting for the bench", "nothing heard yet"],
    );
}

#[test]
fn the_smaller_the_terminal_the_fewer_parts_and_never_a_panic() {
    let mut long = state();
    long["club"]["name"] =
        json!("a club with a name \u{1b}[2J that is far too long for any terminal of its time, 汉字 and more");
    long["banners"] = json!([{"text": "a warning that does not end ".repeat(20), "remedy": "do not read it"}]);
    for state in [state(), long] {
        let known = known(state);
        for width in (0..=24).chain([39, 40, 79, 80, 81, 133, 300]) {
            for height in (0..=12).chain([23, 24, 25, 60]) {
                let link = if width % 2 == 0 { Link::Up } else { Link::Lost("it is gone".into()) };
                let buffer = draw(&known, &link, ms(u64::from(height) * 100), width, height);
                assert!(buffer.content.iter().all(|cell| !cell.symbol().contains(char::is_control)));
            }
        }
    }
    let known = known(state());
    assert_has(
        &text(&known, &Link::Up, ms(0), 40, 6),
        &["grip mass on the parts", "−0.4 g", "within", "settled: lift it off"],
    );
    assert_has(&text(&known, &Link::Up, ms(0), 40, 4), &["−0.4 g", "within"]);
    let lost = Link::Lost("it is gone".into());
    assert_has(&text(&known, &lost, ms(0), 60, 3), &["no connection to the bench program"]);
    // A caution is whole before the sheet has a line; one that has no room says that it goes on.
    let small = text(&known, &Link::Up, ms(0), 44, 13);
    assert_has(&small, &["driver  W-1042/1", "▲ Grinding dust: mask and gloves.", "  come first."]);
    let smaller = text(&known, &Link::Up, ms(0), 44, 8);
    assert_has(&smaller, &["▲ Grinding dust: mask and gloves.", "…"]);
    // Numbers of the sheet are never cut: where the target has no room, it goes.
    let narrow = text(&known, &Link::Up, ms(0), 44, 30);
    assert_has(&narrow, &["grip mass     49.6 g   ┃●┃  −0.4 g within"]);
    assert!(!narrow.contains("D3.0 ±"), "{narrow}");
}

#[test]
fn a_gap_in_the_sequence_asks_for_the_whole_state() {
    let mut known = known(state());
    let mut live = |seq: u64, beat: u64| {
        let live = json!({"seq": seq, "beat": beat, "now": "", "instruments": [{"id": "beam", "phase": "settling",
            "connected": true, "age_ms": 0, "name": "swing-weight beam", "readings": [{"value": null, "text": "?"}]}]});
        known.take_live(serde_json::from_value(live).unwrap(), ms(10))
    };
    assert_eq!([live(30, 101), live(31, 102), live(29, 103)], [Taken::InOrder, Taken::Gap, Taken::Gap]);
    // A beat that goes back is another daemon.
    assert_eq!(live(30, 5), Taken::Gap);
    assert_eq!(known.focus().map(|instrument| instrument.id.as_str()), Some("beam"));
    assert_eq!(Known::default().take_live(serde_json::from_value(json!({})).unwrap(), ms(0)), Taken::Gap);
}

/// Expected places worked by hand from the rule that the band fills the middle third.
#[test]
fn the_band_fills_the_middle_third_whatever_the_tolerance() {
    let place = |value: f64, target: Option<f64>, lower: Option<f64>, upper: Option<f64>| {
        let reading = json!({"value": value, "target": target, "lower": lower, "upper": upper});
        scale(&serde_json::from_value(reading).unwrap())
    };
    let near = |found: f64, wanted: f64| (found - wanted).abs() < 1e-12;
    let both = place(203.0, Some(203.0), Some(201.0), Some(205.0)).unwrap();
    assert!(near(both.needle, 0.5) && near(both.target.unwrap(), 0.5) && !both.is_off);
    assert!(near(place(205.0, Some(203.0), Some(201.0), Some(205.0)).unwrap().needle, 2.0 / 3.0));
    let off = place(300.0, Some(203.0), Some(201.0), Some(205.0)).unwrap();
    assert!(off.is_off && near(off.needle, 1.0));
    // At most 46 in: from the left edge to the limit is within.
    let most = place(1168.4, None, None, Some(1168.4)).unwrap();
    assert_eq!(most.band, Some((0.0, 2.0 / 3.0)));
    assert!(near(most.needle, 2.0 / 3.0));
    // No tolerance: two hundredths of the target stand in.
    assert!(near(place(102.0, Some(100.0), None, None).unwrap().needle, 2.0 / 3.0));
    assert_eq!((place(1.0, None, None, None), place(f64::NAN, Some(1.0), None, None)), (None, None));
}

#[test]
fn numbers_and_units_come_apart_as_on_the_page() {
    for (whole, parts) in [
        ("+0.1 g", ("+0.1", "g")),
        ("−2.4 points", ("−2.4", "points")),
        ("D3.1", ("D3.1", "")),
        ("10.5°", ("10.5", "°")),
        ("1° open", ("1° open", "")),
        ("45 1/4 in", ("45 1/4", "in")),
        ("no number", ("no number", "")),
    ] {
        assert_eq!(words::split_unit(whole), parts, "{whole}");
    }
}

#[test]
fn in_german_nothing_of_the_view_is_english() {
    let mut state = state();
    state["club"]["advice"] = json!(["add 4 g at the head"]);
    state["club"]["cautions"] = json!(["Do not swing or flex the club before the adhesive maker's time is over."]);
    state["timers"] = json!([{"text": "B-1 (slow): 20 min of working life left", "over": false}]);
    let known = known(state);
    let mut terminal = Terminal::new(TestBackend::new(80, 30)).unwrap();
    // Kiritimati is 14 hours ahead of UTC all year.
    let zone = &TimeZone::get("Pacific/Kiritimati").unwrap();
    let view = View { known: &known, link: &Link::Up, now: ms(100), language: Language::German, zone };
    terminal.draw(|frame| frame.render_widget(view, frame.area())).unwrap();
    let text = rows(terminal.backend().buffer()).join("\n");
    assert_has(
        &text,
        &[
            "driver  W-1042/1 · Rechtshand · Teil",
            "3 von 8 fertig · Schläger 1 von 1 für P-17",
            "─ niemand an der Werkbank: Ausweis scannen",
            "Griffmasse auf: parts scale",
            "zeigt 49.6 g   Soll 50.0 g ± 2.5 g",
            "innerhalb",
            "jetzt    ruhig: abheben",
            "dann     Kopf auf eine Waage legen",
            "Rat      am Kopf 4 g zugeben",
            "Schritt  Trockenpassung",
            "▲ Den Schläger nicht schwingen oder biegen",
            "B-1 (slow): noch 20 min Topfzeit",
            "Schwunggewicht  D3.0 ± 0.5 Punkte",
            "00:20:30 +14 · bench-1",
            "q beendet",
        ],
    );
    for english in ["the", "and", "grip", "swing", "weight", "target", "settled", "empty", "beat", "leaves"] {
        let is_there = text.split(|c: char| !c.is_alphabetic()).any(|word| word == english);
        // The names of instruments are whatever the workshop calls them.
        assert!(!is_there || "swing-weight beam parts scale".contains(english), "{english}\n{text}");
    }
}
