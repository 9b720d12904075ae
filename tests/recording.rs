//! A recorded session gives the same journal again, byte for byte, and its bytes can be decoded again.
//!
//! The measure is the journal that the running daemon wrote; the played one comes from the recording alone.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use simulators::{Fault, Instrument, Load};

use support::daemon::Daemon;
use support::table::{Table, pace};
use support::{assert_verified, benchscribe, json_lines};

/// An order of our own invention with one club.
const ORDER: &str = r#"
order = "W-9"
[[club]]
name = "7-iron"
kind = "iron"
head_mass = "270 g ± 3 g"
shaft_mass = "110 g ± 3 g"
grip_mass = "50 g ± 3 g"
length = "37 in ± 1/16 in"
"#;

fn recording(table: &Table) -> PathBuf {
    table.folder.path().join("recordings")
}

fn recording_daemon(table: &Table, more: &[&str]) -> Daemon {
    let (config, to, pace) =
        (table.config.display().to_string(), recording(table).display().to_string(), pace().to_string());
    let arguments = ["run", "--config", &config, "--pace", &pace, "--record", &to];
    let daemon = Daemon::start(arguments.iter().chain(more));
    for instrument in Instrument::ALL {
        daemon.wait_phase(instrument.name(), "empty");
    }
    daemon
}

/// Exit code, stdout, stderr.
fn replay(arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = benchscribe(["replay"].iter().chain(arguments));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Waits until the journal holds an event of this kind.
fn wait_event(daemon: &Daemon, kind: &str) {
    support::wait_for(kind, || daemon.events_after(0).iter().any(|event| event["kind"] == kind).then_some(()));
}

/// Some work: parts laid down, a scan, a typed value, a void, an instrument unplugged, bytes damaged.
fn work(table: &Table, daemon: &Daemon, captured_before: usize) {
    assert_eq!(daemon.command(&json!({"command": "import_order", "file": "w-9.toml", "text": ORDER})).status, 200);
    table.bench.scan("BS1/O/W-9");
    wait_event(daemon, "order_opened");
    for (place, mass_g) in [269.2, 111.4].into_iter().enumerate() {
        table.lay_part(Instrument::PartsScale, mass_g);
        daemon.wait_captured("parts-scale", captured_before + place + 1);
        table.lift(daemon, Instrument::PartsScale);
    }
    let typed = json!({"command": "enter", "characteristic": "length", "quantity": "37 in"});
    assert_eq!(daemon.command(&typed).status, 200);
    assert_ne!(daemon.command(&json!({"command": "open_order", "order": "W-8"})).status, 200, "there is no such order");
    table.bench.scan("BS1/V");
    wait_event(daemon, "reading_voided");
    table.bench.set_fault(Instrument::ClubScale, Fault::Unplugged);
    daemon.wait_instrument("club-scale", "was lost", |view| view["connected"] == false);
    table.bench.set_fault(Instrument::ClubScale, Fault::None);
    daemon.wait_instrument("club-scale", "came back", |view| view["connected"] == true);
    table.bench.set_fault(Instrument::Gauge, Fault::BitFlips { share: 0.3 });
    daemon.wait_instrument("gauge", "refused some bytes", |view| view["refused"].as_u64() > Some(4));
    table.bench.lay(Instrument::Beam, Load::Club { mass_g: 431.0, balance_mm: 700.0 }).unwrap();
    daemon.wait_captured("beam", 1);
}

#[test]
fn a_recorded_session_gives_the_same_journal_byte_for_byte() {
    let table = Table::new(61);
    // A session before the recorded one, so that the recorded one begins in a state of its own.
    let first = table.ready_daemon();
    table.lay_part(Instrument::PartsScale, 212.5);
    first.wait_captured("parts-scale", 1);
    table.lift(&first, Instrument::PartsScale);
    assert!(first.terminate().success());

    let daemon = recording_daemon(&table, &[]);
    work(&table, &daemon, 1);
    let kinds: Vec<Value> = daemon.events_after(0).iter().map(|event| event["kind"].clone()).collect();
    assert!(daemon.terminate().success());
    for kind in ["reading_captured", "reading_filed", "value_typed", "instrument_lost", "order_opened", "voided"] {
        assert!(
            kinds.iter().any(|held| held.as_str().is_some_and(|held| held.contains(kind))),
            "no {kind} in {kinds:?}"
        );
    }

    let recordings = recording(&table);
    let played = table.folder.path().join("played");
    let (code, out, err) =
        replay(&["--session", text(&recordings), "--out", text(&played), "--against", text(&table.data)]);
    assert_eq!((code, out.as_str()), (Some(0), ""), "{err}");
    assert!(err.contains("equal, byte for byte"), "{err}");

    // The same comparison from outside: the events as exported, from both journals.
    let export = |data: &Path| {
        let output = benchscribe(["records", "verify", "--json", "--data", text(data)]);
        json_lines(&String::from_utf8(output.stdout).unwrap()).remove(0)
    };
    let (stored, again) = (export(&table.data), export(&played));
    assert_eq!(stored["chain"], again["chain"], "the chain's last hash covers every byte of every event");
    assert_eq!((&stored["events"], stored["faults"].as_array().unwrap().len()), (&again["events"], 0));
    assert_verified(&table.data);

    // Without a folder and without a comparison the events go to stdout.
    let (code, out, err) = replay(&["--session", text(&recordings)]);
    assert_eq!(code, Some(0), "{err}");
    assert_eq!(json_lines(&out).len(), kinds.len() + 1, "all events, the end of the session among them");

    differences_are_named(&table);
    bytes_are_decoded_again(&table);
}

/// Anything changed in the recording is found and said.
fn differences_are_named(table: &Table) {
    let session = recording(table).join("session-000001");
    let file = session.join("inputs-000001.jsonl");
    let sound = fs::read_to_string(&file).unwrap();
    let check = |changed: &str, words: &str| {
        fs::write(&file, changed).unwrap();
        let (code, _, err) = replay(&["--session", text(&session), "--against", text(&table.data)]);
        assert!(code == Some(1) && err.contains(words), "{code:?} {words}: {err}");
    };
    let typed = sound.replace("\"quantity\":\"37 in\"", "\"quantity\":\"38 in\"");
    assert_ne!(typed, sound);
    check(&typed, "first difference: event");
    let lines: Vec<&str> = sound.lines().collect();
    check(&(lines[..200].join("\n") + "\n"), "played: nothing");
    check(&([&lines[..50], &lines[60..]].concat().join("\n") + "\n"), "inputs 51 to 60 are missing");
    check(
        &(lines[..50].join("\n") + "\n{\"n\":51,\"t\":1.0,\"us\":1,\"kind\":\"broken\",\"lost\":9}\n"),
        "9 inputs before input 51 were lost",
    );
    check(&sound.replacen("\"raw\":\"53", "\"raw\":\"41", 1), "is none now");
    fs::write(&file, sound).unwrap();
    let (code, _, err) = replay(&["--session", text(&session), "--out", text(&table.data)]);
    assert!(code == Some(2) && err.contains("give a new folder"), "{code:?} {err}");
}

/// The bytes of an instrument come out of the recording as they were, the damaged ones refused again.
fn bytes_are_decoded_again(table: &Table) {
    let recordings = recording(table);
    let decode = |more: &[&str]| {
        let output = benchscribe(["decode", "--recording", text(&recordings)].iter().chain(more));
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    };
    let (code, out, err) = decode(&["--instrument", "parts-scale"]);
    assert_eq!(code, Some(0), "{err}");
    let lines = json_lines(&out);
    assert!(lines.len() > 50 && lines.iter().all(|line| line["family"] == "hdr2-sign8-unit3"), "{out}");
    let (_, out, err) = decode(&["--instrument", "gauge"]);
    assert!(json_lines(&out).iter().any(|line| line["refused"].is_string()), "{out}");
    assert!(err.contains("check_failed") || err.contains("foreign_byte") || err.contains("no_layout"), "{err}");
    let (code, out, _) = decode(&["--instrument", "beam", "--format", "auto"]);
    assert_eq!(code, Some(0));
    assert!(json_lines(&out).iter().all(|line| line["family"] == "dual-cell-line"));
    let (code, _, err) = decode(&["--instrument", "oven"]);
    assert!(code == Some(2) && err.contains("it has parts-scale, club-scale"), "{err}");
}

#[test]
fn a_recording_is_bounded_and_a_killed_one_plays_as_far_as_it_goes() {
    let table = Table::new(62);
    let daemon = recording_daemon(&table, &["--record-mib", "1", "--record-files", "2"]);
    table.lay_part(Instrument::PartsScale, 198.4);
    daemon.wait_captured("parts-scale", 1);
    // The recording follows within moments; what it has then must be enough for the capture.
    support::wait_for("the recording to follow", || {
        let (_, out, _) = replay(&["--session", text(&recording(&table))]);
        out.contains("reading_captured").then_some(())
    });
    table.lift(&daemon, Instrument::PartsScale);
    daemon.kill();
    let (code, _, err) = replay(&["--session", text(&recording(&table)), "--against", text(&table.data)]);
    assert!(code == Some(1) && err.contains("ends before the session did"), "{code:?} {err}");
    assert!(!err.contains("first difference"), "{err}");

    // Many short sessions take no more files than two.
    for _session in 0..3 {
        assert!(recording_daemon(&table, &["--record-files", "2"]).terminate().success());
    }
    let sessions: Vec<PathBuf> = fs::read_dir(recording(&table)).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(sessions.len(), 2, "{sessions:?}");
}

/// The frame is sample o01 of `captures/frames.json`, printed in a public source.
#[test]
fn bytes_too_few_to_be_sure_of_are_named_and_not_decoded() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = folder.path().join("bytes");
    std::fs::write(&bytes, b"ST,+00123.45  g\r\n".repeat(2)).unwrap();
    let output = benchscribe(["decode", "--format", "auto", text(&bytes)]);
    let lines = json_lines(std::str::from_utf8(&output.stdout).unwrap());
    assert_eq!(lines.len(), 1, "{lines:?}");
    assert_eq!((lines[0]["could_be"][0].as_str(), lines[0]["at_byte"].as_u64()), (Some("hdr2-sign8-unit3"), Some(0)));
    let why = String::from_utf8_lossy(&output.stderr);
    assert!(why.contains("it could be: hdr2-sign8-unit3") && why.contains("--format"), "{why}");
}
