//! Scanners and pedals: recorded key strokes become codes, each kind of card does what it says, and a press does what the
//! page offers first.
//!
//! Recordings are made from the kernel's and the X keyboard project's tables, see `tests/captures/keys/make.py`.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod support;

use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use simulators::{Bench, BenchSettings, Clock, Instrument};

use benchscribe::bench::playback::Playback;
use benchscribe::bench::recorded::Header;
use benchscribe::config::bench_file::read_bench;
use benchscribe::instrument::format::{Decoder, Format, Item};
use benchscribe::instrument::keys::{KeyReader, Keyed, Stroke};
use benchscribe::instrument::pedal::Press;
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::state::State;

use support::assert_verified;
use support::daemon::Daemon;
use support::table::{Table, bench_time, configuration, pace};

/// The strokes of a recording: `E: seconds type code value`, numbers of type and code in hexadecimal, as the open tools for
/// input events write them down.
fn strokes(name: &str) -> Vec<(f64, Stroke)> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/captures/keys").join(name);
    let text = std::fs::read_to_string(file).unwrap();
    let events = text.lines().filter_map(|line| line.strip_prefix("E: "));
    let stroke = |line: &str| {
        let [time, kind, code, value] = line.split(' ').collect::<Vec<_>>()[..] else { panic!("{line}") };
        let code = u16::from_str_radix(code, 16).unwrap();
        let stroke = match (kind, value) {
            ("0001", "0") => Stroke::Up(code),
            ("0001", "1") => Stroke::Down(code),
            ("0000", _) if code == 3 => Stroke::Lost,
            _ => return None,
        };
        Some((time.parse().unwrap(), stroke))
    };
    events.filter_map(stroke).collect()
}

/// What a bench hears of a recording: codes, or the labels of refusals in brackets.
#[track_caller]
fn check(name: &str, family: &str, expected: &[&str]) {
    let format = Arc::new(Format::built_in(family).unwrap());
    let mut reader = KeyReader::new("");
    let mut got = Vec::new();
    for (t_s, stroke) in strokes(name) {
        match reader.push(t_s, stroke) {
            None => {}
            Some(Keyed::Refused { reason, .. }) => got.push(format!("[{}]", reason.label())),
            Some(Keyed::Code(mut code)) => {
                code.push(b'\r');
                Decoder::new(Arc::clone(&format)).push(&code, &mut |item| match item {
                    Item::Frame(frame, _) => {
                        let code = frame.code.unwrap();
                        let identifiers = code.identifiers.iter().map(|(id, content)| format!("({id}){content}"));
                        got.push(code.text.unwrap_or_else(|| identifiers.collect()));
                    }
                    Item::Refused { reason, .. } => got.push(format!("[{}]", reason.label())),
                });
            }
        }
    }
    assert_eq!(got, expected, "{name}");
}

#[test]
fn recorded_key_strokes_become_codes() {
    check("order-card.events", "scanner", &["BS1/O/W-1042"]);
    check("void-card.events", "scanner", &["BS1/V"]);
    check("caps-lock.events", "scanner", &["BS1/V"]);
    check("two-cards.events", "scanner-without-identifier", &["BS1/W/K7", "BS1/N"]);
    let every: String = (' '..='~').collect();
    check("every-character.events", "scanner", &[&every]);
    // A scanner set otherwise than its format says is refused, not guessed.
    check("two-cards.events", "scanner", &["[no_layout]", "[no_layout]"]);
}

#[test]
fn gs1_codes_come_through_the_same_format_however_their_separator_is_typed() {
    for name in ["part-f8.events", "part-control.events"] {
        check(name, "scanner", &["(01)09506000134352(10)AB-7(21)A12"]);
    }
}

#[test]
fn hands_and_broken_scans_give_no_code() {
    check("by-hand.events", "scanner", &["[typed_by_hand]"]);
    check("by-a-fast-hand.events", "scanner", &["[typed_by_hand]"]);
    check("paused.events", "scanner", &["[typed_by_hand]", "BS1/D"]);
    check("dropped.events", "scanner", &["[cut]", "BS1/D"]);
    check("repeating.events", "scanner", &["[cut]"]);
}

/// An order of our own invention with three clubs.
const ORDER: &str = r#"
order = "W-31"
[[club]]
name = "7-iron"
kind = "iron"
head_mass = "270 g ± 3 g"
length = "37 in ± 1/16 in"
[[club]]
name = "8-iron"
kind = "iron"
head_mass = "276 g ± 3 g"
[[club]]
name = "9-iron"
kind = "iron"
head_mass = "282 g ± 3 g"
"#;

/// A card that comes back sooner is still the same read.
fn bring_card() {
    std::thread::sleep(bench_time(1.3));
}

/// Scans a code and waits until the newest event is of this kind; the event.
#[track_caller]
fn scan(table: &Table, daemon: &Daemon, code: &str, kind: &str) -> Value {
    bring_card();
    let before = daemon.events_after(0).len();
    table.bench.scan(code);
    support::wait_for(&format!("{kind} after {code}"), || {
        let events = daemon.events_after(0);
        events.into_iter().skip(before).find(|event| event["kind"] == kind)
    })
}

/// Scans a code that leads to nothing; waits until the page says so in these words.
#[track_caller]
fn scan_in_vain(table: &Table, daemon: &Daemon, code: &str, words: &str) {
    bring_card();
    let before = daemon.events_after(0).len();
    table.bench.scan(code);
    wait_banner(daemon, words);
    let left: Vec<Value> = daemon.events_after(0).into_iter().skip(before).collect();
    assert!(left.is_empty(), "{code} left {left:?}");
}

#[track_caller]
fn wait_banner(daemon: &Daemon, words: &str) {
    support::wait_for(&format!("the banner {words:?}, there is {}", daemon.state()["banners"]), || {
        let said =
            |banner: &Value| format!("{}: {}", banner["text"].as_str().unwrap(), banner["remedy"].as_str().unwrap());
        daemon.state()["banners"].as_array().unwrap().iter().any(|banner| said(banner).contains(words)).then_some(())
    });
}

#[test]
fn each_card_under_the_scanner_does_what_it_says() {
    let table = Table::new(61);
    let daemon = table.ready_daemon();
    let imported = daemon.command(&json!({"command": "import_order", "file": "w-31.toml", "text": ORDER}));
    assert_eq!(imported.status, 200);
    scan_in_vain(&table, &daemon, "BS1/N", "no order is open");
    scan_in_vain(&table, &daemon, "BS1/O/W-99", "there is no order W-99");

    assert_eq!(scan(&table, &daemon, "BS1/O/W-31", "club_opened")["club"], "W-31/1");
    assert_eq!(scan(&table, &daemon, "BS1/W/K7", "operator_changed")["operator"], "K7");
    table.lay_part(Instrument::PartsScale, 269.4);
    daemon.wait_captured("parts-scale", 1);
    table.lift(&daemon, Instrument::PartsScale);
    let voided = scan(&table, &daemon, "BS1/V", "reading_voided");
    assert_eq!((&voided["why"], &voided["by"]), (&json!("taken back with the card"), &json!("K7")));
    scan_in_vain(&table, &daemon, "BS1/V", "there is nothing to take back");

    assert_eq!(scan(&table, &daemon, "BS1/D", "step_done")["step"], "prepare");
    // It lies there and is read over and over: the same read.
    (0..4).for_each(|_| table.bench.scan("BS1/D"));
    assert_eq!(scan(&table, &daemon, "BS1/D", "step_done")["step"], "dry_fit");
    assert_eq!(scan(&table, &daemon, "BS1/D", "step_done")["step"], "bond");
    assert_eq!(scan(&table, &daemon, "BS1/S/GRIP", "step_done")["step"], "grip");
    // It cures: the next club meanwhile.
    assert_eq!(scan(&table, &daemon, "BS1/N", "club_opened")["club"], "W-31/2");
    let state = daemon.state();
    assert_eq!((&state["order"]["clubs"][0]["state"], &state["club"]["club"]), (&json!("aside"), &json!("W-31/2")));
    let token = daemon.get("/api/v1/records/W-31/1").json()["token"].as_str().unwrap().to_ascii_uppercase();
    assert_eq!(scan(&table, &daemon, &format!("BS1/C/{token}"), "club_opened")["club"], "W-31/1");
    assert_eq!(daemon.state()["order"]["clubs"][0]["state"], "in_work");

    // A part's own code, by the item number of GS1's public examples: it is kept for the club in hand, once. And a damaged one.
    let code = "]C1010950600013435210AB-7\u{1d}21A12";
    let used = scan(&table, &daemon, code, "part_used");
    assert_eq!(used["club"], "W-31/1");
    assert!(used.to_string().contains("AB-7") && used.to_string().contains("A12"), "{used}");
    scan_in_vain(&table, &daemon, code, "lot AB-7, serial A12: it is kept for W-31/1 already");
    scan_in_vain(&table, &daemon, "]C1010950600013435321A12", "ticket scanner read no code, fits no layout");
    scan_in_vain(&table, &daemon, "HELLO", "the code \"HELLO\" is not a ticket of this bench");
    assert_eq!(daemon.command(&json!({"command": "put_aside"})).status, 200);
    assert_eq!(daemon.state()["club"], Value::Null);
    assert_eq!(daemon.command(&json!({"command": "next_club"})).status, 200);
    assert_eq!(daemon.state()["club"]["club"], "W-31/2");
    assert_eq!(daemon.command(&json!({"command": "accept"})).status, 200);
    assert!(daemon.terminate().success());
    assert_verified(&table.data);
}

#[test]
fn pedals_and_scanners_that_cannot_be_read_are_named_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let spare = folder.path().join("spare");
    let _bench = Bench::start(BenchSettings::new(&spare, Clock::new(pace()), 1)).unwrap();
    let config = folder.path().join("bench.toml");
    let data = folder.path().join("data").display().to_string();
    let text = configuration(&folder.path().join("ports").display().to_string(), &data);
    let more = format!(
        "
[[instrument]]
id = \"pedal\"
name = \"foot pedal\"
kind = \"pedal\"
port = \"{}/gauge\"
contact = \"CTS\"

[[instrument]]
id = \"wedge\"
name = \"second scanner\"
kind = \"scanner\"
port = \"/dev/input/by-id/none-event-kbd\"
keys = true
format = \"scanner\"
",
        spare.display()
    );
    std::fs::write(&config, text + &more).unwrap();
    let daemon = Daemon::run(&config, pace());
    // A pseudo-terminal has no modem lines: the kernel answers ENOTTY.
    wait_banner(&daemon, "has no line CTS to read: put the pedal on an adapter");
    wait_banner(&daemon, "second scanner: /dev/input/by-id/none-event-kbd is not there: plug it in");
    assert_eq!(daemon.instrument("pedal")["connected"], false);
    assert!(daemon.terminate().success());
}

/// A bench with a pedal, and a scale it is never asked about.
const PEDAL_BENCH: &str = r#"
site = "s"
bench = "b"
[[instrument]]
id = "pedal"
kind = "pedal"
port = "/dev/serial/by-id/none"
contact = "DSR"
"#;

/// Plays inputs as a recording holds them; the kinds of the events that each leads to.
fn played(inputs: &[(Value, &str)]) -> State {
    let settings = read_bench("bench.toml", PEDAL_BENCH).unwrap();
    let header = Header::new(PEDAL_BENCH, 7, 0, Stamp::default(), true);
    let (mut playback, first) = Playback::start(&header, &settings, State::default()).unwrap();
    let mut state = State::default();
    let mut take = |playback: &mut Playback, events: Vec<_>| {
        playback.commit(&events);
        events.iter().for_each(|event| state.apply(event));
    };
    take(&mut playback, first.events);
    for (place, (input, expected)) in inputs.iter().enumerate() {
        let mut line = json!({"n": place + 1, "t": place, "us": place * 1_000_000});
        line.as_object_mut().unwrap().extend(input.as_object().unwrap().clone());
        let outcome = playback.play(&line.to_string()).unwrap();
        let kinds: Vec<&str> = outcome.events.iter().map(|event| event.change.kind()).collect();
        assert_eq!(kinds.join(" "), *expected, "{input}");
        take(&mut playback, outcome.events);
    }
    state
}

#[test]
fn a_press_does_what_the_page_offers_first_and_a_long_one_takes_back() {
    let press = |press: Press| {
        let raw: String = press.line().iter().map(|byte| format!("{byte:02x}")).collect();
        json!({"kind": "frame", "i": 0, "raw": raw})
    };
    let command = |json: Value| json!({"kind": "command", "json": json});
    let state = played(&[
        (json!({"kind": "ready", "i": 0}), "instrument_found"),
        (press(Press::Accept), ""),
        (command(json!({"command": "import_order", "text": ORDER})), "order_imported"),
        (command(json!({"command": "open_order", "order": "W-31"})), "order_opened club_opened"),
        (press(Press::Accept), "step_done"),
        (press(Press::Accept), "step_done"),
        (press(Press::Void), "step_taken_back"),
        (
            command(json!({"command": "enter", "characteristic": "length", "quantity": "37 in"})),
            "value_typed step_done",
        ),
        (press(Press::Void), "reading_voided"),
        (command(json!({"command": "next_club"})), "club_put_aside club_opened"),
        (press(Press::Accept), "step_done"),
    ]);
    let steps = |club: &str| state.clubs[club].steps.iter().map(|done| done.step.name()).collect::<Vec<_>>();
    assert_eq!((steps("W-31/1"), steps("W-31/2")), (vec!["prepare", "dry_fit"], vec!["prepare"]));
}
