//! Checks and calibrations on the bench's own core: what is asked, refused, worked out and stored.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod desk_bench;
mod support;

use std::io::Write as _;
use std::process::Stdio;

use benchscribe::audit::audit;
use benchscribe::journal::event::{canonical, parse};
use benchscribe::journal::store::Journal;
use benchscribe::measurement::calibration::Calibration;
use benchscribe::measurement::reading::Quantity;
use benchscribe::work_order::checks::{CheckZone, Tested};
use benchscribe::work_order::event::{Change, Event};
use benchscribe::work_order::state::{Fate, State};
use benchscribe::work_order::trust::Report;
use desk_bench::{CONFIG, DeskBench, ORDER, Stored, last_check};
use serde_json::{Value, json};
use simulators::Instrument;
use support::assert_verified;
use support::daemon::Daemon;
use support::table::Table;

/// Everything stored comes back from its stored form, and the whole journal is proved.
async fn assert_proved(stored: &Stored) {
    for event in &stored.events {
        assert_eq!(&parse(&canonical(event, "bench-1").unwrap()).unwrap(), event);
    }
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
    journal.append(&stored.events, &stored.evidence).await.unwrap();
    let found = audit(&journal.reader()).await;
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    assert!(found.references > 0);
    journal.close().await;
}

fn check(instrument: &str) -> Value {
    json!({"command": "check_begin", "instrument": instrument, "mass": "200 g", "class": "M1", "error": "0 g", "expanded_u": "2 mg"})
}

fn at_the_bench() -> Value {
    json!({"command": "operator", "operator": "K7"})
}

/// The calibration in force and its report.
fn calibrated(stored: &Stored) -> (Calibration, Report) {
    match &stored.of("calibrated").last().unwrap().change {
        Change::Calibrated { calibration, report: Some(report), .. } => (calibration.clone(), (**report).clone()),
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn a_check_weight_is_judged_and_never_filed_as_a_part() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    bench.command(check("scale"), &mut stored).unwrap();
    bench.weigh("scale", [200.01, 0.0], [0.0, 0.0], &mut stored);
    let found = last_check(&stored);
    // R 76-1, table 6: class II, 10 000 e: 1 e at the first verification and twice that in service, e = 0.02 g.
    assert_eq!((found.zone, found.limit_g), (CheckZone::Good, Some(0.04)), "{found:?}");
    assert!((found.error_g - 0.01).abs() < 1e-9 && found.u_g.is_some_and(|u| u > 0.001));
    assert!(stored.of("reading_filed").is_empty() && stored.of("reading_unfiled").is_empty());
    assert!(bench.core.state.captures.iter().all(|line| line.fate == Fate::Reference));
    // The next placement is a part again.
    bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(stored.of("reading_filed").len(), 1);
    let Change::ReadingCaptured(captured) = &stored.of("reading_captured").last().unwrap().change else { panic!() };
    // The error of 0.01 g at 200 g was found and not corrected: it is in the budget from now on.
    let drift = captured.budget_inputs.unwrap().drift.unwrap();
    assert!((drift.relative - 5e-5).abs() < 1e-9, "{drift:?}");
    bench.command(check("scale"), &mut stored).unwrap();
    bench.weigh("scale", [200.05, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(last_check(&stored).zone, CheckZone::Out);
    assert_proved(&stored).await;
}

#[test]
fn checks_that_tell_nothing_are_refused() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    for (change, words) in [
        (json!({"mass": "20 g", "expanded_u": "0.5 mg"}), "at least 60 g"),
        (json!({"mass": "2000 g"}), "more than scale carries"),
        (json!({"error": "14 mg"}), "not a weight of that class"),
        (json!({"instrument": "clock"}), "there is no instrument clock"),
        (json!({"instrument": "gauge"}), "known angles"),
    ] {
        let mut command = check("scale");
        command.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        let reason = bench.command(command, &mut stored).unwrap_err();
        assert!(reason.contains(words), "{change}: {reason}");
    }
}

#[test]
fn a_failed_or_missing_check_warns_or_blocks_as_configured() {
    for (when_out, blocks) in [("warn", false), ("block", true)] {
        let config = format!("{CONFIG}\n[checks]\ncheck_every = \"1 day\"\nwhen_out = \"{when_out}\"\n");
        let mut bench = DeskBench::new(&config);
        let mut stored = bench.begin();
        assert_eq!(stored.of("policy_set").len(), 1);
        bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
        bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
        bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
        assert_eq!(stored.of("reading_filed").len(), usize::from(!blocks), "never checked");
        assert!(bench.snapshot().banners.iter().any(|banner| banner.text.contains("never checked")));
        if blocks {
            let Change::ReadingUnfiled { reason, choices, .. } = &stored.of("reading_unfiled")[0].change else {
                panic!()
            };
            assert!(reason.contains("was never checked") && choices.len() == 1, "{reason} {choices:?}");
        }
        bench.command(check("scale"), &mut stored).unwrap();
        bench.weigh("scale", [200.0, 0.0], [0.0, 0.0], &mut stored);
        assert!(!bench.snapshot().banners.iter().any(|banner| banner.text.starts_with("scale")));
        let filed = stored.of("reading_filed").len();
        bench.weigh("scale", [203.1, 0.0], [0.0, 0.0], &mut stored);
        assert_eq!(stored.of("reading_filed").len(), filed + 1, "checked and in order");
        bench.wait(90_000.0);
        bench.weigh("scale", [203.3, 0.0], [0.0, 0.0], &mut stored);
        assert_eq!(stored.of("reading_filed").len(), filed + 1 + usize::from(!blocks), "overdue");
        assert!(bench.snapshot().banners.iter().any(|banner| banner.text.contains("is overdue")));
        let due = bench.snapshot().instruments[0].calibration_due.clone().unwrap();
        assert!(due.starts_with("2023-11-15T22:"), "{due}");
    }
}

#[test]
fn an_announced_weight_is_forgotten_after_a_quarter_of_an_hour_or_when_called_off() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(check("scale"), &mut stored).unwrap();
    bench.command(json!({"command": "check_cancel", "instrument": "scale"}), &mut stored).unwrap();
    bench.weigh("scale", [200.0, 0.0], [0.0, 0.0], &mut stored);
    bench.command(check("scale"), &mut stored).unwrap();
    bench.wait(1000.0);
    bench.weigh("scale", [200.0, 0.0], [0.0, 0.0], &mut stored);
    assert!(stored.of("checked").is_empty());
}

#[tokio::test]
async fn a_scale_is_adjusted_with_as_found_before_and_as_left_after() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    let command = |name: &str| json!({"command": name, "instrument": "scale"});
    let reason = bench.command(command("calibrate_adjust"), &mut stored).unwrap_err();
    assert!(reason.contains("begin one first"), "{reason}");
    let begin =
        json!({"command": "calibrate_begin", "instrument": "scale", "temperature_c": 21.5, "note": "door shut"});
    let reason = bench.command(begin.clone(), &mut stored).unwrap_err();
    assert!(reason.contains("who made it"), "{reason}");
    bench.command(at_the_bench(), &mut stored).unwrap();
    bench.command(begin, &mut stored).unwrap();
    let reason = bench.command(command("calibrate_adjust"), &mut stored).unwrap_err();
    assert!(reason.contains("without as-found readings"), "{reason}");
    // This scale shows 0.1 % too much.
    let weigh = |bench: &mut DeskBench, stored: &mut Stored, mass: f64| {
        let point =
            json!({"command": "calibrate_point", "instrument": "scale", "mass": format!("{mass} g"), "class": "M1"});
        bench.command(point, stored).unwrap();
        // And 0.03 g with nothing on it.
        bench.weigh("scale", [(mass * 1.001 * 100.0 + 3.0).round() / 100.0, 0.0], [0.03, 0.0], stored);
    };
    for mass in [100.0, 200.0, 500.0, 1000.0] {
        weigh(&mut bench, &mut stored, mass);
    }
    bench.command(command("calibrate_adjust"), &mut stored).unwrap();
    let reason = bench.command(command("calibrate_finish"), &mut stored).unwrap_err();
    assert!(reason.contains("as left"), "{reason}");
    weigh(&mut bench, &mut stored, 500.0);
    bench.command(json!({"command": "operator", "operator": null}), &mut stored).unwrap();
    let reason = bench.command(command("calibrate_finish"), &mut stored).unwrap_err();
    assert!(reason.contains("who made it"), "{reason}");
    bench.command(at_the_bench(), &mut stored).unwrap();
    bench.command(command("calibrate_finish"), &mut stored).unwrap();
    let (calibration, report) = calibrated(&stored);
    let Calibration::Scale(scale) = &calibration else { panic!() };
    // Shown values are exact decimals here, so the line goes through them: 1/1.001, by hand.
    assert!((scale.span - 1.0 / 1.001).abs() < 1e-9, "{scale:?}");
    // R 111-1, table 1: M1 is good to 5e-5 of 100 g; over the root of three that is the uncertainty of the span.
    assert!((scale.u_span - 5e-5 / 3f64.sqrt()).abs() < 1e-7, "{scale:?}");
    assert_eq!((report.as_found.len(), report.as_left.len(), report.conditions.temperature_c), (4, 1, Some(21.5)));
    let error = |placement: &benchscribe::work_order::trust::Placement| {
        placement.reference.errors(&placement.measured).find(|(q, _)| *q == Quantity::Mass).unwrap().1
    };
    assert!((error(&report.as_found[3]) - 1.0).abs() < 0.006, "as found 1 g off at 1000 g");
    assert!(error(&report.as_left[0]).abs() < 0.006, "as left right");
    let zero = &report.findings[0];
    assert!(zero.name == "zero as found, g" && (zero.value - 0.03).abs() < 1e-9, "{zero:?}");
    // In force at once, and after a restart with the same configuration; a changed configuration takes over.
    bench.weigh("scale", [200.2, 0.0], [0.0, 0.0], &mut stored);
    let Change::ReadingCaptured(captured) = &stored.of("reading_captured").last().unwrap().change else { panic!() };
    assert!((captured.measured[0].value - 200.0).abs() < 0.006, "{:?}", captured.measured);
    assert_proved(&stored).await;
    let fold = || {
        stored.events.iter().fold(State::default(), |mut state, event| {
            state.apply(event);
            state
        })
    };
    let again = DeskBench::with_state(CONFIG, fold()).begin();
    assert!(again.of("calibrated").is_empty(), "the adjustment stands");
    let mut other = DeskBench::with_state(&CONFIG.replacen("u_span = 0.0001", "u_span = 0.0002", 1), fold());
    assert_eq!(other.begin().of("calibrated").len(), 1, "the configuration says something new");
    assert!(other.snapshot().banners.iter().any(|banner| banner.text.contains("configuration")));
}

/// Lays 200, 500 and 1000 g on as found by a scale that shows 0.1 % too much, adjusts it, and lays 500 g on as
/// left with what the scale shows of it then.
fn adjusted(bench: &mut DeskBench, stored: &mut Stored, as_left_shows: f64) {
    let command = |name: &str| json!({"command": name, "instrument": "scale"});
    let point = |bench: &mut DeskBench, stored: &mut Stored, mass: f64, shows: f64| {
        let point =
            json!({"command": "calibrate_point", "instrument": "scale", "mass": format!("{mass} g"), "class": "F1"});
        bench.command(point, stored).unwrap();
        bench.weigh("scale", [shows, 0.0], [0.0, 0.0], stored);
    };
    bench.command(at_the_bench(), stored).unwrap();
    bench.command(command("calibrate_begin"), stored).unwrap();
    for mass in [200.0, 500.0, 1000.0] {
        point(bench, stored, mass, mass * 1.001);
    }
    bench.command(command("calibrate_adjust"), stored).unwrap();
    point(bench, stored, 500.0, as_left_shows);
}

#[test]
fn a_calibration_that_leaves_the_scale_wrong_is_refused_and_lifts_no_block() {
    let mut bench = DeskBench::new(&format!("{CONFIG}\n[checks]\ncheck_every = \"1 day\"\nwhen_out = \"block\"\n"));
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    bench.command(check("scale"), &mut stored).unwrap();
    bench.weigh("scale", [200.30, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(last_check(&stored).zone, CheckZone::Out);
    // The line is m = x / 1.001, so 500.69 g shown are 500.19 g: R 76-1, table 6, class II, 25 000 e: 1.5 e = 0.03 g at
    // a verification, before the indication is rounded to 0.01 g (A.4.4.3, from memory).
    adjusted(&mut bench, &mut stored, 500.69);
    let finish = || json!({"command": "calibrate_finish", "instrument": "scale"});
    let reason = bench.command(finish(), &mut stored).unwrap_err();
    assert!(reason.contains("reads +0.190 g off, its class allows 0.035 g") && reason.contains("cancel"), "{reason}");
    assert!(bench.core.state.trust.trouble(&bench.core.state.policy, "scale", 0).unwrap().contains("failed its last"));
    bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
    assert!(stored.of("reading_filed").is_empty(), "the block stands");
    // Adjusted once more and the right weight laid on, it is right, and finishing lifts the block.
    bench.command(json!({"command": "calibrate_cancel", "instrument": "scale"}), &mut stored).unwrap();
    adjusted(&mut bench, &mut stored, 500.50);
    bench.command(finish(), &mut stored).unwrap();
    assert_eq!(bench.core.state.trust.trouble(&bench.core.state.policy, "scale", 0), None);
    bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(stored.of("reading_filed").len(), 1);
}

#[test]
fn an_older_journal_that_took_a_bad_calibration_in_does_not_count_it_as_a_check() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    adjusted(&mut bench, &mut stored, 500.50);
    bench.command(json!({"command": "calibrate_finish", "instrument": "scale"}), &mut stored).unwrap();
    let fold = |events: &[Event]| {
        events.iter().fold(State::default(), |mut state, event| {
            state.apply(event);
            state
        })
    };
    let whole = fold(&stored.events);
    assert!(
        matches!(whole.trust.charts["scale"].tested, Tested::At { .. }) && whole.trust.charts["scale"].out().is_none()
    );
    let last = stored.events.iter_mut().rfind(|event| event.change.kind() == "calibrated").unwrap();
    let Change::Calibrated { report: Some(report), .. } = &mut last.change else { panic!() };
    report.as_left[0].measured[0].value += 0.19;
    let bad = fold(&stored.events);
    let chart = &bad.trust.charts["scale"];
    assert!(matches!(chart.tested, Tested::Never { .. }), "{:?}", chart.tested);
    assert!(chart.out().unwrap().contains("+0.190 g off"), "{:?}", chart.out());
}

#[test]
fn a_weight_of_another_name_is_no_reading_as_found_unless_a_person_says_so() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(at_the_bench(), &mut stored).unwrap();
    bench.command(json!({"command": "calibrate_begin", "instrument": "scale"}), &mut stored).unwrap();
    for (named, shows) in [(200.0, 500.3), (500.0, 1100.0), (1000.0, 1000.0)] {
        let point =
            json!({"command": "calibrate_point", "instrument": "scale", "mass": format!("{named} g"), "class": "M1"});
        bench.command(point, &mut stored).unwrap();
        bench.weigh("scale", [shows, 0.0], [0.0, 0.0], &mut stored);
    }
    let adjust = |far_off: bool| json!({"command": "calibrate_adjust", "instrument": "scale", "far_off": far_off});
    let reason = bench.command(adjust(false), &mut stored).unwrap_err();
    assert!(reason.contains("read 500.300 g as found of 200 g, class M1"), "{reason}");
    bench.command(adjust(true), &mut stored).unwrap();
    assert_eq!(stored.of("calibration_proposed").len(), 1);
}

#[tokio::test]
async fn a_beam_gets_its_cells_and_supports_from_a_weight_at_known_places() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    // In truth: 998.5 and 1003.2 counts a gram, supports at 101.2 mm and 838.9 mm.
    let (gains, x1, x2) = ([998.5, 1003.2], 101.2, 838.9);
    let empty = [8388.0, -4210.0];
    let counts = |mass: f64, at: f64| {
        let r2 = mass * (at - x1) / (x2 - x1);
        [empty[0] + ((mass - r2) * gains[0]), empty[1] + (r2 * gains[1])]
    };
    bench.command(at_the_bench(), &mut stored).unwrap();
    bench.command(json!({"command": "calibrate_begin", "instrument": "beam"}), &mut stored).unwrap();
    let nowhere = json!({"command": "calibrate_point", "instrument": "beam", "mass": "500 g", "class": "M1"});
    assert!(bench.command(nowhere, &mut stored).unwrap_err().contains("where the weight hangs"));
    let hang = |bench: &mut DeskBench, stored: &mut Stored, at: f64| {
        let point = json!({"command": "calibrate_point", "instrument": "beam", "mass": "500 g", "class": "M1", "at": format!("{at} mm")});
        bench.command(point, stored).unwrap();
        bench.weigh("beam", counts(500.0, at), empty, stored);
    };
    for at in [200.0, 300.0] {
        hang(&mut bench, &mut stored, at);
    }
    let adjust = json!({"command": "calibrate_adjust", "instrument": "beam", "supports": true, "u_at": "0.2 mm"});
    assert!(bench.command(adjust.clone(), &mut stored).unwrap_err().contains("at least 3"));
    for at in [450.0, 600.0, 800.0] {
        hang(&mut bench, &mut stored, at);
    }
    bench.command(adjust, &mut stored).unwrap();
    hang(&mut bench, &mut stored, 700.0);
    bench.command(json!({"command": "calibrate_finish", "instrument": "beam"}), &mut stored).unwrap();
    let (calibration, report) = calibrated(&stored);
    let Calibration::Beam(beam) = &calibration else { panic!() };
    // Counts are whole numbers: one in 500 000 is 2e-6.
    for (found, truth) in [(beam.counts_per_gram[0], gains[0]), (beam.counts_per_gram[1], gains[1])] {
        assert!((found / truth - 1.0).abs() < 1e-5, "{found} {truth}");
    }
    for (found, truth) in [(beam.geometry.x1.0, x1), (beam.geometry.x2.0, x2)] {
        assert!((found - truth).abs() < 0.01, "{found} {truth}");
    }
    let left = |quantity| {
        report.as_left[0].reference.errors(&report.as_left[0].measured).find(|(q, _)| *q == quantity).unwrap().1
    };
    assert!(left(Quantity::Mass).abs() < 0.01 && left(Quantity::Balance).abs() < 0.02, "{report:?}");
    assert_proved(&stored).await;
}

#[tokio::test]
async fn a_gauge_gets_its_datum_from_a_block_of_known_angles() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(at_the_bench(), &mut stored).unwrap();
    bench.command(json!({"command": "calibrate_begin", "instrument": "gauge"}), &mut stored).unwrap();
    let block = json!({"command": "calibrate_point", "instrument": "gauge", "lie": "60 deg", "loft": "30 deg", "u": "0.02 deg"});
    for off in [0.30, 0.32] {
        bench.command(block.clone(), &mut stored).unwrap();
        bench.weigh("gauge", [60.0 + off, 30.0 - 0.2], [0.0, 0.0], &mut stored);
    }
    bench.command(json!({"command": "calibrate_adjust", "instrument": "gauge"}), &mut stored).unwrap();
    bench.command(block, &mut stored).unwrap();
    bench.weigh("gauge", [60.31, 29.8], [0.0, 0.0], &mut stored);
    bench.command(json!({"command": "calibrate_finish", "instrument": "gauge"}), &mut stored).unwrap();
    let (Calibration::Gauge(gauge), report) = calibrated(&stored) else { panic!() };
    // Means by hand; sd of {0.30, 0.32} is 0.01414, over the root of two 0.01; with 0.02 of the block 0.02236.
    assert!((gauge.lie_datum.0 - 0.31).abs() < 1e-6 && (gauge.loft_datum.0 + 0.2).abs() < 1e-6, "{gauge:?}");
    assert!((gauge.u_datum.0 - 0.022_36).abs() < 1e-4, "{gauge:?}");
    assert!(report.as_left[0].reference.errors(&report.as_left[0].measured).all(|(_, error)| error.abs() < 1e-6));
    assert_proved(&stored).await;
}

/// The guided command, with its answers; the weights it asks for are laid on as long as it runs.
fn guided(table: &Table, daemon: &Daemon, arguments: &[&str], answers: &str) -> (Option<i32>, String, String) {
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_benchscribe"))
        .args(arguments)
        .arg("--config")
        .arg(&table.config)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(answers.as_bytes()).unwrap();
    while child.try_wait().unwrap().is_none() {
        let awaiting = daemon.instrument("parts-scale")["awaiting"].as_str().map(str::to_owned);
        if let Some(words) = awaiting {
            let mass: f64 = words.split(' ').next().unwrap().parse().unwrap();
            table.lay_part(Instrument::PartsScale, mass);
            daemon.wait_instrument("parts-scale", "read", |view| view["awaiting"].is_null());
            table.lift(daemon, Instrument::PartsScale);
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    let output = child.wait_with_output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

#[test]
fn the_guided_commands_work_on_a_running_bench() {
    let table = Table::new(31);
    let daemon = table.ready_daemon();
    let (code, out, err) = guided(
        &table,
        &daemon,
        &["check-weights", "parts-scale", "--mass", "200 g", "--class", "M1", "--repeat", "2"],
        "",
    );
    assert_eq!(code, Some(0), "{out}{err}");
    assert!(out.contains("parts-scale: good") && out.contains("repeatability"), "{out}");
    let answers = "200 g, M1\n200 grams\n1000 g, M1\n500 g, F2\n\n500 g, M1\n\n";
    let (code, out, err) =
        guided(&table, &daemon, &["calibrate", "parts-scale", "--by", "K7", "--temperature", "21"], answers);
    assert_eq!(code, Some(0), "{out}{err}");
    assert!(out.contains("span: ") && out.contains("as left of 500 g, M1") && out.contains("is calibrated"), "{out}");
    assert!(err.contains("200 grams"), "{err}");
    let calibrated = daemon
        .events_after(0)
        .into_iter()
        .rfind(|e| e["kind"] == "calibrated" && e["instrument"] == "parts-scale")
        .unwrap();
    // Canonical JSON writes 21.0 as 21 (RFC 8785).
    assert_eq!(
        (&calibrated["source"], &calibrated["report"]["conditions"]["temperature_c"]),
        (&json!("adjustment"), &json!(21))
    );
    let instruments = daemon.get("/api/v1/instruments").json();
    assert_eq!(instruments["instruments"][0]["checks"]["calibration"]["with_references"], true, "{instruments}");
    // Given up: nothing changes.
    let (code, _, err) = guided(&table, &daemon, &["calibrate", "parts-scale"], "");
    assert_eq!(code, Some(2), "{err}");
    assert!(err.contains("without as-found readings") && err.contains("nothing was changed"), "{err}");
    let (code, _, err) =
        guided(&table, &daemon, &["check-weights", "parts-scale", "--mass", "20 g", "--class", "M1"], "");
    assert_eq!(code, Some(2), "{err}");
    assert!(err.contains("at least 60 g"), "{err}");
    assert!(daemon.terminate().success());
    assert_verified(&table.data);
}
