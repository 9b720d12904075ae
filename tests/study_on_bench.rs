//! Gauge studies and checks of a gauge on the bench's own core and on the running program: read, hidden, proved, guided.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod desk_bench;
mod support;

use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Command, Stdio};

use benchscribe::audit::audit;
use benchscribe::journal::store::Journal;
use benchscribe::output::study_view;
use benchscribe::work_order::checks::CheckZone;
use benchscribe::work_order::event::Change;
use benchscribe::work_order::state::Fate;
use desk_bench::{CONFIG, DeskBench, ORDER, Stored};
use serde_json::{Value, json};
use simulators::Instrument;
use support::daemon::Daemon;
use support::table::Table;
use support::{assert_verified, on_data, wait_for};

fn begin(parts: usize, people: &[&str], trials: usize) -> Value {
    json!({"command": "study_begin", "instrument": "scale", "parts": parts, "people": people, "trials": trials})
}

#[test]
fn studies_that_cannot_be_are_refused_with_what_would_do() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    for (change, words) in [
        (json!({"instrument": "clock"}), "there are: "),
        (json!({"parts": 1}), "1 parts, expected 2 to 30"),
        (json!({"people": ["A"]}), "1 people, expected 2 to 10"),
        (json!({"trials": 9}), "9 trials, expected 2 to 5"),
        (json!({"people": ["A", "A"]}), "A is named twice"),
        (json!({"people": ["A", " "]}), "no name of a person"),
        (json!({"instrument": "beam"}), "say which characteristic, such as swing_weight"),
        (json!({"characteristic": "lie"}), "is a scale and shows no lie"),
        (json!({"instrument": "gauge", "characteristic": "face_angle"}), "take for example loft"),
        (json!({"tolerance": "203 g"}), "has no tolerance"),
        (json!({"tolerance_of_order": true}), "say of which characteristic"),
        (json!({"tolerance_of_order": true, "characteristic": "head_mass"}), "no order is open"),
    ] {
        let mut command = begin(2, &["A", "B"], 2);
        command.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        let reason = bench.command(command, &mut stored).unwrap_err();
        assert!(reason.contains(words), "{change}: {reason}");
    }
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    let of_order = |characteristic: &str| {
        let mut command = begin(2, &["A", "B"], 2);
        command["tolerance_of_order"] = json!(true);
        command["characteristic"] = json!(characteristic);
        command
    };
    assert!(bench.command(of_order("grip_mass"), &mut stored).unwrap_err().contains("asks for no grip mass"));
    bench.command(of_order("head_mass"), &mut stored).unwrap();
    let tolerance = bench.core.state.studies.list[0].plan.tolerance.clone().unwrap();
    assert_eq!((tolerance.text.as_str(), tolerance.width()), ("203 g ± 2 g", Some(4.0)));
}

/// The whole journal is proved, raw bytes and all; how much of it were steps of studies.
async fn proved(stored: &Stored) -> u64 {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
    journal.append(&stored.events, &stored.evidence).await.unwrap();
    let found = audit(&journal.reader()).await;
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    journal.close().await;
    found.studies
}

#[tokio::test]
async fn a_swing_weight_study_on_the_beam_is_blind_while_it_runs_and_proved() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    let begin = json!({"command": "study_begin", "instrument": "beam", "characteristic": "swing_weight", "parts": 2,
                       "people": ["K7", "M2"], "trials": 2, "tolerance": "D3 ± 1"});
    bench.command(begin, &mut stored).unwrap();
    let tile = |bench: &mut DeskBench| bench.snapshot().instruments[1].study.clone();
    let mut taken = 0;
    while let Some((place, cell)) = bench.core.state.studies.list[0].next() {
        let person = bench.core.state.studies.list[0].person(cell).to_owned();
        if bench.core.state.operator.as_ref() != Some(&person) {
            let words = tile(&mut bench).unwrap();
            assert!(words.contains(&format!("{person} is next ({} of 8)", place + 1)), "{words}");
            bench.command(json!({"command": "operator", "operator": person}), &mut stored).unwrap();
        }
        let words = tile(&mut bench).unwrap();
        assert_eq!(words, format!("study S-1: lay part {} on, by {person} ({} of 8)", cell.part + 1, place + 1));
        // Two clubs, 10 g apart in the head; each time a little further from the butt.
        let second = 230.0 + 8.0 * f64::from(cell.part) + 0.05 * f64::from(cell.trial);
        let counts = [8388.0 + 150_000.0, -4210.0 + second * 1000.0];
        bench.weigh("beam", counts, [8388.0, -4210.0], &mut stored);
        taken += 1;
        if taken < 8 {
            let work = &bench.snapshot().work;
            let newest = &work.captures[0];
            assert_eq!((newest.text.as_str(), newest.note.as_deref()), ("hidden", Some("study S-1")));
            let study = &bench.core.state.studies.list[0];
            let shown = study_view::whole(study, None, 0.0);
            assert_eq!(
                (&shown["readings"], &shown["result"], &shown["done"]),
                (&json!([]), &Value::Null, &json!(taken))
            );
        }
    }
    assert_eq!((taken, tile(&mut bench)), (8, None));
    assert_ne!(bench.snapshot().work.captures[0].text, "hidden");
    let study = &bench.core.state.studies.list[0];
    let shown = study_view::whole(study, None, 0.0);
    assert_eq!(shown["readings"].as_array().unwrap().len(), 8);
    // People do not differ at all here, so all of the measuring is the repeats, 0.05 g times the arm of the support.
    assert!(shown["result"]["by_anova"]["measuring"]["sd"].as_f64().is_some_and(|sd| sd > 0.0 && sd < 1.0), "{shown}");
    assert!(stored.of("reading_filed").is_empty() && stored.of("reading_unfiled").is_empty());
    assert_eq!(proved(&stored).await, 9, "eight readings and the result");
}

#[tokio::test]
async fn a_study_that_was_tampered_with_is_found() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(begin(2, &["A", "B"], 2), &mut stored).unwrap();
    while let Some((_, cell)) = bench.core.state.studies.list[0].next() {
        let person = bench.core.state.studies.list[0].person(cell).to_owned();
        bench.command(json!({"command": "operator", "operator": person}), &mut stored).unwrap();
        bench.weigh("scale", [200.0 + f64::from(cell.part), 0.0], [0.0, 0.0], &mut stored);
    }
    assert_eq!(proved(&stored).await, 9);
    for kind in ["study_read", "study_finished"] {
        let mut changed = Stored { events: stored.events.clone(), evidence: stored.evidence.clone() };
        let event = changed.events.iter_mut().rfind(|event| event.change.kind() == kind).unwrap();
        match &mut event.change {
            Change::StudyRead(value) => value.value += 0.01,
            Change::StudyFinished { summary, .. } => summary.repeatability += 0.01,
            other => panic!("{other:?}"),
        }
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
        journal.append(&changed.events, &changed.evidence).await.unwrap();
        let faults = audit(&journal.reader()).await.faults;
        assert!(faults.iter().any(|fault| fault.what.contains("study")), "{kind}: {faults:?}");
        journal.close().await;
    }
}

#[tokio::test]
async fn a_gauge_is_checked_with_a_block_of_known_angles() {
    let config = format!("{CONFIG}\n[checks]\ncheck_every = \"1 day\"\nwhen_out = \"block\"\n");
    let mut bench = DeskBench::new(&config);
    let mut stored = bench.begin();
    let of_gauge = |bench: &mut DeskBench| {
        let banners = bench.snapshot().banners;
        banners.iter().find(|banner| banner.text.contains("gauge")).map(|banner| banner.text.clone())
    };
    bench.wait(1.0);
    assert!(of_gauge(&mut bench).unwrap().contains("never checked"));
    let block =
        json!({"command": "check_begin", "instrument": "gauge", "lie": "60 deg", "loft": "30 deg", "u": "0.02 deg"});
    bench.command(block.clone(), &mut stored).unwrap();
    bench.weigh("gauge", [60.03, 29.98], [0.0, 0.0], &mut stored);
    let last = |stored: &Stored| match &stored.of("angles_checked").last().unwrap().change {
        Change::AnglesChecked(check) => check.clone(),
        other => panic!("{other:?}"),
    };
    let check = last(&stored);
    assert_eq!(check.zone, CheckZone::Good, "{check:?}");
    assert!((check.errors[0].error_deg - 0.03).abs() < 1e-9 && (check.errors[1].error_deg + 0.02).abs() < 1e-9);
    assert!(check.errors.iter().all(|error| error.u_deg >= 0.02));
    assert_eq!(of_gauge(&mut bench), None, "checked and in order");
    bench.command(block, &mut stored).unwrap();
    bench.weigh("gauge", [61.5, 30.0], [0.0, 0.0], &mut stored);
    let check = last(&stored);
    assert!(check.zone == CheckZone::Out && check.reason.starts_with("reads +1.500 deg off in lie"), "{check:?}");
    assert!(
        of_gauge(&mut bench)
            .unwrap()
            .contains("failed its last check: it reads +1.500 deg off in lie, more than three times")
    );
    assert!(bench.core.state.captures.iter().all(|line| line.fate == Fate::Reference));
    proved(&stored).await;
}

/// Lays a part on until it is read; false where the scale was silent meanwhile on a busy machine, so that it has to be
/// laid on again.
fn lay_once(table: &Table, daemon: &Daemon, mass_g: f64, before: usize) -> bool {
    table.lay_part(Instrument::PartsScale, mass_g);
    let is_read = wait_for("the part is read", || {
        let is_read = daemon.captured("parts-scale").len() > before;
        let is_lost = matches!(daemon.instrument("parts-scale")["phase"].as_str(), Some("unknown" | "lost"));
        (is_read || is_lost).then_some(is_read)
    });
    table.lift(daemon, Instrument::PartsScale);
    is_read
}

/// What the guide says, as it says it, with a person who does it: lays the announced part on, in truth `mass` of part and
/// person, and answers with an empty line when another person is next.
fn do_as_told(
    table: &Table,
    daemon: &Daemon,
    arguments: &[&str],
    mass: impl Fn(u32, &str) -> f64,
) -> (Option<i32>, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_benchscribe"))
        .args(arguments)
        .arg("--config")
        .arg(&table.config)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let (mut took_back, mut back_asked) = (false, false);
    for line in BufReader::new(child.stderr.take().unwrap()).lines().map_while(Result::ok) {
        // What was said before the bench knew of it does not count.
        if back_asked && !line.contains("is taken back") {
            continue;
        }
        back_asked = false;
        if line.contains("is next") {
            stdin.write_all(b"\n").unwrap();
        } else if let Some(told) = line.split_once("lay part ").filter(|_| line.starts_with("study ")) {
            let (part, rest) = told.1.split_once(" on, by ").unwrap();
            let person = rest.split(' ').next().unwrap();
            let before = daemon.captured("parts-scale").len();
            while !lay_once(table, daemon, mass(part.parse().unwrap(), person), before) {}
            if before == 2 && !took_back {
                (took_back, back_asked) = (true, true);
                stdin.write_all(b"back\nfly\n").unwrap();
            }
        }
    }
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
}

#[test]
fn a_study_is_guided_at_the_terminal_on_a_running_bench() {
    let table = Table::new(47);
    let daemon = table.ready_daemon();
    // M2 presses the pan with 0.4 g more than K7; the scale itself repeats to hundredths of a gram.
    let mass = |part: u32, person: &str| 198.0 + 2.0 * f64::from(part) + if person == "M2" { 0.4 } else { 0.0 };
    let arguments = [
        "study",
        "parts-scale",
        "--parts",
        "3",
        "--by",
        "K7",
        "--by",
        "M2",
        "--trials",
        "2",
        "--tolerance",
        "203 g ± 2 g",
        "--characteristic",
        "head_mass",
    ];
    let (code, out) = do_as_told(&table, &daemon, &arguments, mass);
    // The difference of 0.4 g is a standard deviation of 0.28 g; 6 of them are 42 % of 4 g: not good enough.
    assert_eq!(code, Some(1), "{out}");
    assert!(
        out.contains(" g more than K7: people differ by more than chance") && out.contains("is between people"),
        "{out}"
    );
    let reads_more = |text: &str| -> f64 {
        let (_, rest) = text.split_once("M2 reads ").unwrap_or_else(|| panic!("{text}"));
        rest.split(' ').next().unwrap().parse().unwrap()
    };
    assert!((reads_more(&out) - 0.4).abs() < 0.05, "{out}");
    let shown = daemon.get("/api/v1/studies/S-1").json();
    assert_eq!((&shown["stage"], &shown["done"]), (&json!("finished"), &json!(12)), "{shown}");
    let share = shown["result"]["by_anova"]["measuring"]["percent_of_tolerance"].as_f64().unwrap();
    assert!((35.0..=50.0).contains(&share), "{share}");
    assert_eq!(daemon.get("/api/v1/studies").json()["studies"][0]["study"], "S-1");
    let kinds: Vec<String> =
        daemon.events_after(0).iter().map(|event| event["kind"].as_str().unwrap().to_owned()).collect();
    let count = |kind: &str| kinds.iter().filter(|of| *of == kind).count();
    assert_eq!((count("study_read"), count("reading_voided"), count("study_finished")), (13, 1, 1), "{kinds:?}");
    assert_eq!(count("reading_filed") + count("reading_unfiled"), 0, "{kinds:?}");

    let page = daemon.get("/studies/S-1").body;
    assert_eq!(page.matches("<svg").count(), 3, "{page}");
    assert!((reads_more(&page) - 0.4).abs() < 0.05, "{page}");
    for words in ["203 g ± 2 g", "finished", "class=\"mark person-1\""] {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert!(daemon.get("/studies").body.contains("12 of 12"));
    daemon.get("/api/v1/studies/S-9").assert_problem(404, "S-9");
    assert_eq!(daemon.get("/studies/S-9").status, 404);

    // Set aside at the terminal, the scale is free again; the same command goes on with the plan it has.
    let (code, _) =
        guided_lines(&table, &["study", "parts-scale", "--parts", "2", "--by", "K7", "--by", "M2"], "aside\n");
    assert_eq!(code, Some(0));
    assert_eq!(daemon.get("/api/v1/studies/S-2").json()["stage"], "aside");
    wait_for("no study on the tile", || daemon.instrument("parts-scale")["study"].is_null().then_some(()));
    let (code, err) = guided_lines(&table, &["study", "parts-scale"], "off the parts are gone\n");
    assert_eq!(code, Some(1), "{err}");
    assert!(err.contains("goes on") && err.contains("given up: the parts are gone"), "{err}");
    let page = daemon.get("/studies/S-2").body;
    assert!(page.contains("broken off") && page.contains("the parts are gone") && !page.contains("<svg"), "{page}");
    assert!(daemon.terminate().success());
    assert_verified(&table.data);
    let (code, out, err) = on_data(&table.data, &["study", "parts-scale", "--result", "--json"]);
    assert_eq!(code, Some(1), "{err}");
    assert_eq!(serde_json::from_str::<Value>(&out).unwrap()["result"]["fitness"], "not_enough");
}

/// The guided command with its answers and nobody at the scale; exit code and stderr.
fn guided_lines(table: &Table, arguments: &[&str], answers: &str) -> (Option<i32>, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_benchscribe"))
        .args(arguments)
        .arg("--config")
        .arg(&table.config)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(answers.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
}
