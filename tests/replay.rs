//! Recorded traces through capture, judged against what was really laid down.
//!
//! Traces and truth are synthetic, made by the simulator of the capture study (physics of pan, hand and filter; not
//! this program), and kept under `captures/traces`. A capture counts for the placement that it meets within
//! the tolerance; instrument drift over the placement is not the detector's fault (`instr_err_g`).

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use benchscribe::cli::replay::{Instrument, Late, replay};
use serde::Deserialize;
use serde_json::Value;

/// A late but right capture still counts this long after lift-off, s: the instrument's filter lags.
const GRACE_S: f64 = 0.8;

#[derive(Deserialize)]
struct Trace {
    tol_g: f64,
    tol_moment_gmm: f64,
    holds: Vec<Hold>,
}

#[derive(Deserialize)]
struct Hold {
    t_touch: f64,
    t_release: f64,
    t_off: f64,
    mass: f64,
    #[serde(default)]
    moment_gmm: f64,
    expect: String,
    #[serde(default)]
    instr_err_g: f64,
    #[serde(default)]
    instr_err_gmm: f64,
}

/// What a trace's captures were worth.
#[derive(Debug, Default, PartialEq, Eq)]
struct Score {
    wrong: usize,
    missed: usize,
    double: usize,
    within_2u: usize,
    right: usize,
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/captures/traces")
}

fn read<T: serde::de::DeserializeOwned>(name: &str) -> BTreeMap<String, T> {
    serde_json::from_str(&fs::read_to_string(folder().join(name)).unwrap()).unwrap()
}

fn events(name: &str, instrument: &Instrument) -> Vec<Value> {
    replay(&fs::read_to_string(folder().join(name)).unwrap(), instrument).unwrap().events
}

fn meets(value: f64, truth: f64, instrument_error: f64, tolerance: f64) -> bool {
    truth.min(truth + instrument_error) - tolerance <= value && value <= truth.max(truth + instrument_error) + tolerance
}

fn score(trace: &Trace, events: &[Value]) -> Score {
    let mut score = Score::default();
    let mut got = vec![false; trace.holds.len()];
    for event in events.iter().filter(|event| event["kind"] == "Captured") {
        let number = |key: &str| event[key].as_f64();
        let (t, value, u) = (number("t").unwrap(), number("value").unwrap(), number("u").unwrap());
        let met: Vec<usize> = (0..trace.holds.len())
            .filter(|i| {
                let hold = &trace.holds[*i];
                let moment_met = number("moment_gmm")
                    .is_none_or(|m| meets(m, hold.moment_gmm, hold.instr_err_gmm, trace.tol_moment_gmm));
                hold.expect != "forbidden"
                    && hold.t_touch <= t
                    && t <= hold.t_off + GRACE_S
                    && meets(value, hold.mass, hold.instr_err_g, trace.tol_g)
                    && moment_met
            })
            .collect();
        match met.iter().find(|i| !got[**i]) {
            Some(i) => {
                got[*i] = true;
                score.right += 1;
                score.within_2u += usize::from((value - trace.holds[*i].mass).abs() <= 2.0 * u);
            }
            None if met.is_empty() => score.wrong += 1,
            None => score.double += 1,
        }
    }
    score.missed = got.iter().zip(&trace.holds).filter(|(got, hold)| !**got && hold.expect == "required").count();
    score
}

#[test]
fn every_placement_of_the_traces_is_captured_once_and_nothing_else() {
    let truths: BTreeMap<String, Trace> = read("truth.json");
    let instruments: BTreeMap<String, Instrument> = read("instruments.json");
    assert!(truths.len() >= 12);
    let mut all = Score::default();
    for (name, truth) in &truths {
        let score = score(truth, &events(name, &instruments[name]));
        assert_eq!((score.wrong, score.missed, score.double), (0, 0, 0), "{name}");
        all.right += score.right;
        all.within_2u += score.within_2u;
    }
    // k = 2: about 95 of 100; creep and drift in these traces are part of the error.
    assert!(20 * all.within_2u >= 18 * all.right, "{all:?}");
}

#[test]
fn nothing_is_captured_before_the_hand_has_let_go() {
    let truths: BTreeMap<String, Trace> = read("truth.json");
    let instruments: BTreeMap<String, Instrument> = read("instruments.json");
    for (name, truth) in truths.iter().filter(|(name, _)| name.contains("late_release") || name.contains("hold_shy")) {
        for event in events(name, &instruments[name]).iter().filter(|event| event["kind"] == "Captured") {
            let t = event["t"].as_f64().unwrap();
            assert!(truth.holds.iter().any(|h| h.t_release <= t && t <= h.t_off + GRACE_S), "{name} at {t}");
        }
    }
}

#[test]
fn an_expected_band_never_makes_a_capture_later_or_another_one() {
    let truths: BTreeMap<String, Trace> = read("truth.json");
    let plain: BTreeMap<String, Value> = read("instruments.json");
    for (name, truth) in truths.iter().filter(|(name, _)| name.contains("quiet_drop") || name.contains("gentle_lower"))
    {
        // Bands of one per cent about what will be laid down: the spread of a maker's parts, common practice, no source.
        let bands: Vec<[f64; 2]> = truth.holds.iter().map(|h| [0.99 * h.mass, 1.01 * h.mass]).collect();
        let mut with = plain[name].clone();
        with["expect_g"] = serde_json::json!(bands);
        let times = |instrument: &Value| -> Vec<f64> {
            let instrument = serde_json::from_value(instrument.clone()).unwrap();
            let events = events(name, &instrument);
            assert_eq!(score(truth, &events).missed, 0, "{name}");
            events.iter().filter(|e| e["kind"] == "Captured").map(|e| e["t"].as_f64().unwrap()).collect()
        };
        let (patient, expected) = (times(&plain[name]), times(&with));
        assert_eq!(patient.len(), expected.len(), "{name}");
        assert!(expected.iter().zip(&patient).all(|(e, p)| e <= p), "{name}: {expected:?} against {patient:?}");
    }
}

/// A hand that bears a few grams keeps the level within a band of some per cent: the band alone must not make it quicker.
///
/// 24 traces of the study's simulator with a light finger (seed 900000, taken as they came). Without bands a scale is
/// fooled by some of them, which only a second instrument sees; bands may add one at most.
#[test]
fn expected_bands_buy_no_time_with_light_fingers() {
    let folder = folder().with_file_name("light_fingers");
    let read_text = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
    let truths: BTreeMap<String, Trace> = serde_json::from_str(&read_text("truth.json")).unwrap();
    let plain: BTreeMap<String, Value> = serde_json::from_str(&read_text("instruments.json")).unwrap();
    let score_all = |share: Option<f64>| {
        let mut all = Score::default();
        for (name, truth) in &truths {
            let mut with = plain[name].clone();
            if let Some(share) = share {
                let bands: Vec<[f64; 2]> =
                    truth.holds.iter().map(|h| [(1.0 - share) * h.mass, (1.0 + share) * h.mass]).collect();
                with["expect_g"] = serde_json::json!(bands);
            }
            let instrument = serde_json::from_value(with).unwrap();
            let score = score(truth, &replay(&read_text(name), &instrument).unwrap().events);
            all.wrong += score.wrong;
            all.missed += score.missed;
        }
        all
    };
    let without = score_all(None);
    assert_eq!((truths.len(), without.missed), (24, 0));
    for share in [0.005, 0.01, 0.02] {
        let with = score_all(Some(share));
        assert!(with.wrong <= without.wrong + 1 && with.missed == 0, "{share}: {with:?} against {without:?}");
    }
}

#[test]
fn changed_stands_before_its_capture() {
    let instruments: BTreeMap<String, Instrument> = read("instruments.json");
    for (name, instrument) in &instruments {
        let kinds: Vec<String> =
            events(name, instrument).iter().map(|e| e["kind"].as_str().unwrap().to_owned()).collect();
        for (i, _) in kinds.iter().enumerate().filter(|(_, kind)| *kind == "Changed") {
            assert_eq!(kinds.get(i + 1).map(String::as_str), Some("Captured"), "{name}");
        }
    }
}

#[test]
fn a_line_that_is_wrong_is_named_with_its_number() {
    let scale: Instrument = serde_json::from_str(r#"{"kind": "scale", "rate": 10, "d": 0.01, "flag": false}"#).unwrap();
    for (csv, said) in [
        ("", "line 1"),
        ("t_s,f1_N,f2_N\n", "line 1"),
        ("t_s,value_g,stable\n0.1,0.0,1\n0.2,nan,1\n", "line 3"),
        ("t_s,value_g,stable\n0.1,0.0\n", "line 2"),
        ("t_s,value_g,stable\n0.1,0.0,1,9\n", "line 2"),
    ] {
        let error = format!("{:#}", replay(csv, &scale).unwrap_err());
        assert!(error.contains(said), "{csv:?}: {error}");
    }
}

#[test]
fn samples_whose_time_does_not_rise_are_counted_and_the_rest_is_replayed() {
    let scale: Instrument = serde_json::from_str(r#"{"kind": "scale", "rate": 10, "d": 0.01, "flag": false}"#).unwrap();
    let mut csv = "t_s,value_g,stable\n".to_owned();
    for i in 0..120 {
        let load = if i < 30 { 0.0 } else { 203.0 };
        csv.push_str(&format!("{:.1},{load:.2},-1\n", f64::from(i) / 10.0));
    }
    let whole = replay(&csv, &scale).unwrap();
    assert!(whole.late.is_none() && whole.events.iter().any(|event| event["kind"] == "Captured"));
    let mut lines: Vec<&str> = csv.lines().collect();
    lines.insert(50, "1.0,0.00,-1");
    lines.insert(60, "1.1,900.00,-1");
    lines.insert(61, "1.1,900.00,-1");
    let disturbed = replay(&lines.join("\n"), &scale).unwrap();
    assert_eq!(disturbed.late, Some(Late { first_line: 51, count: 3 }));
    assert_eq!(disturbed.events, whole.events);
}

#[test]
fn one_bad_entry_of_the_instruments_does_not_stop_the_others() {
    let work = tempfile::tempdir().unwrap();
    let file = work.path().join("instruments.json");
    let good = r#""000_scale_quiet_drop.csv": {"kind": "scale", "rate": 10, "d": 0.01, "flag": false}"#;
    let text = format!(
        "{{\n\"bad.csv\": {{\"kind\": \"scale\", \"rate\": -1, \"d\": 0.01, \"flag\": false}},\n\"worse.csv\": 7,\n{good}\n}}"
    );
    fs::write(&file, text).unwrap();
    fs::write(work.path().join("000_scale_quiet_drop.csv"), "t_s,value_g,stable\n0.1,0.0,-1\n").unwrap();
    let done = std::process::Command::new(env!("CARGO_BIN_EXE_benchscribe"))
        .args(["replay", "--instruments"])
        .args([&file, work.path()])
        .output()
        .unwrap();
    let (out, said) = (String::from_utf8(done.stdout).unwrap(), String::from_utf8(done.stderr).unwrap());
    assert_eq!(done.status.code(), Some(2), "{said}");
    assert_eq!(out.lines().count(), 1, "{out}");
    for words in ["line 2", "\"bad.csv\"", "line 3", "\"worse.csv\""] {
        assert!(said.contains(words), "{words} not in {said}");
    }
}
