//! Instruments that send one number on a key, and wire formats of the user's own, through the bench and its proof.
//!
//! That a single number without a check decides nothing is the project's own rule; the frames are those of families
//! whose captures stand under `tests/captures`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(missing_docs, reason = "a test is no library")]

mod desk_bench;

use std::collections::BTreeMap;

use benchscribe::config::bench_file::{read_bench, read_bench_with};
use benchscribe::config::named_files::NamedFiles;
use benchscribe::journal::evidence;
use benchscribe::measurement::evidence::Evidence;
use benchscribe::proof::{Doubt, prove};
use benchscribe::work_order::event::{CapturedReading, Change};
use benchscribe::work_order::state::State;
use desk_bench::{DeskBench, ORDER, Stored};
use serde_json::json;

const HEAD: &str = "site = \"test\"\nbench = \"bench-1\"\n";

fn scale(format: &str) -> String {
    format!(
        "{HEAD}[[instrument]]\nid = \"scale\"\nkind = \"scale\"\nport = \"/dev/null\"\n{format}\n\
         capacity = \"1200 g\"\nresolution = \"0.1 g\"\n"
    )
}

/// A family of nobody: two letters that say whether it rests, a number, the sum of the bytes before in two hex digits.
const OWN: &str = r#"
description = "an invented scale: rest or moving, number, grams, sum in two hexadecimal digits"
mode = "on-key"

[line]
baud = 9600
data_bits = 8
parity = "none"
stop_bits = 1

[framing]
end = "\r\n"
longest = 40
idle_ms = 300

[[layout]]
name = "a load"
fields = [
  { letters = { RE = "stable", MO = "moving" }, width = 2 },
  { text = "=" },
  { number = 8 },
  { text = "g" },
  { check = "sum8", as = "hex" },
]
"#;

fn own(state: &str, grams: f64) -> Vec<u8> {
    let body = format!("{state}={grams:8.1}g");
    let sum = body.bytes().fold(0u8, u8::wrapping_add);
    format!("{body}{sum:02X}\r\n").into_bytes()
}

fn open(bench: &mut DeskBench, stored: &mut Stored) {
    for command in [json!({"command": "import_order", "text": ORDER}), json!({"command": "open_order", "order": "W-1"})]
    {
        bench.command(command, stored).unwrap();
    }
}

fn captured(stored: &Stored) -> Vec<(CapturedReading, Evidence)> {
    let of = |event: &&benchscribe::work_order::event::Event| match &event.change {
        Change::ReadingCaptured(captured) => captured.clone(),
        other => panic!("{other:?}"),
    };
    let with = |captured: CapturedReading| {
        let content = &stored.evidence.iter().find(|(hash, _)| *hash == captured.evidence).unwrap().1;
        let frames = evidence::decode(content).unwrap();
        (captured, frames)
    };
    stored.of("reading_captured").iter().map(of).map(with).collect()
}

fn calibrated(stored: &Stored) -> Change {
    stored.of("calibrated")[0].change.clone()
}

#[test]
fn a_number_without_a_check_is_filed_when_it_is_printed_twice() {
    let mut bench = DeskBench::new(&scale("format = \"labelled-decimal-comma\""));
    let mut stored = bench.begin();
    open(&mut bench, &mut stored);
    bench.frame(0, b"NETTO : 203,4 g\r\n", &mut stored);
    assert!(captured(&stored).is_empty());
    let shown = bench.snapshot().instruments[0].message.clone().unwrap();
    assert!(shown.contains("print once more"), "{shown}");
    bench.wait(2.0);
    // A damaged digit is a good number, and agrees with nothing.
    bench.frame(0, b"NETTO : 213,4 g\r\n", &mut stored);
    bench.wait(2.0);
    bench.frame(0, b"NETTO : 203,4 g\r\n", &mut stored);
    assert!(captured(&stored).is_empty());
    bench.wait(2.0);
    bench.frame(0, b"NETTO : 203,4 g\r\n", &mut stored);
    let [(reading, frames)] = captured(&stored).try_into().unwrap();
    assert!(reading.on_key && (reading.measured[0].value - 203.4).abs() < 1e-9);
    prove(&reading, &calibrated(&stored), &frames).unwrap();
    let mut other = reading.clone();
    other.levels[0] += 0.1;
    assert_eq!(prove(&other, &calibrated(&stored), &frames), Err(Doubt::Level));
    // Filed at the head, marked as printed, and not old after a while.
    bench.wait(60.0);
    let view = bench.snapshot();
    assert!(view.instruments[0].on_key && view.instruments[0].phase == "held");
    let club = view.work.club.as_ref().unwrap();
    let head = club.characteristics.iter().find(|row| row.characteristic == "head_mass").unwrap();
    assert_eq!((head.method, head.verdict), (Some("printed"), Some("within")));
}

#[test]
fn gross_beside_net_is_left_out_and_a_stream_is_no_key() {
    let mut bench = DeskBench::new(&scale("format = \"labelled-decimal-comma\""));
    let mut stored = bench.begin();
    for _ in 0..3 {
        bench.frame(0, b"BRUTTO: 253,4 g\r\n", &mut stored);
        bench.wait(0.05);
        bench.frame(0, b"NETTO : 203,4 g\r\n", &mut stored);
        bench.frame(0, b"TARA  :  50,0 g\r\n", &mut stored);
        bench.wait(2.0);
    }
    let readings = captured(&stored);
    assert!(!readings.is_empty());
    for (reading, frames) in readings {
        assert!((reading.measured[0].value - 203.4).abs() < 1e-9, "{}", reading.measured[0].value);
        prove(&reading, &calibrated(&stored), &frames).unwrap();
    }
    let before = stored.of("reading_captured").len();
    bench.wait(5.0);
    for _ in 0..100 {
        bench.frame(0, b"NETTO : 115,0 g\r\n", &mut stored);
        bench.wait(0.2);
    }
    assert_eq!(stored.of("reading_captured").len(), before);
    assert!(bench.snapshot().instruments[0].message.as_deref().unwrap().contains("sends"));
}

#[test]
fn a_format_of_the_users_own_is_captured_and_proved_from_the_journal_alone() {
    let files = NamedFiles::kept(BTreeMap::from([("mine.toml".to_owned(), OWN.to_owned())]));
    let config = scale("format_file = \"mine.toml\"");
    let mut bench = DeskBench::with_files(&config, &files, State::default());
    let mut stored = bench.begin();
    open(&mut bench, &mut stored);
    bench.frame(0, &own("MO", 203.4), &mut stored);
    assert!(bench.snapshot().instruments[0].message.as_deref().unwrap().contains("moved"));
    bench.wait(2.0);
    // With a check one number is enough.
    bench.frame(0, &own("RE", 203.4), &mut stored);
    let [(reading, frames)] = captured(&stored).try_into().unwrap();
    let mut calibrated = calibrated(&stored);
    prove(&reading, &calibrated, &frames).unwrap();
    let Change::Calibrated { format, format_text, .. } = &mut calibrated else { panic!() };
    assert_eq!((format.as_str(), format_text.as_deref()), ("mine", Some(OWN)));
    *format_text = None;
    assert!(matches!(prove(&reading, &calibrated, &frames), Err(Doubt::Format(_))));
}

#[test]
fn what_is_wrong_with_a_named_format_or_a_way_of_sending_is_said_with_its_line() {
    let fails =
        |config: &str, files: &NamedFiles<'_>| read_bench_with("bench.toml", config, files).unwrap_err().to_string();
    let kept = |name: &str, text: &str| NamedFiles::kept(BTreeMap::from([(name.to_owned(), text.to_owned())]));
    let own = scale("format_file = \"mine.toml\"");
    let words = fails(&own, &kept("other.toml", OWN));
    assert!(words.starts_with("bench.toml:7: ") && words.contains("format_file"), "{words}");
    assert!(fails(&own, &kept("mine.toml", "description = 3")).contains("mine"));
    let taken = scale("format_file = \"scanner.toml\"");
    assert!(fails(&taken, &kept("scanner.toml", OWN)).contains("name the file otherwise"));
    let both = scale("format_file = \"mine.toml\"\nformat = \"scanner\"");
    assert!(fails(&both, &kept("mine.toml", OWN)).contains("leave one out"));
    assert!(read_bench("bench.toml", &own).is_err());
    let beam = scale("format = \"dual-cell-line\"\nsends = \"on-key\"").replace("\"scale\"", "\"beam\"");
    assert!(fails(&beam, &NamedFiles::none()).contains("must send by itself"));
    let odd = scale("format = \"hdr2-sign8-unit3\"\nsends = \"often\"");
    assert!(fails(&odd, &NamedFiles::none()).contains("sends"));
}
