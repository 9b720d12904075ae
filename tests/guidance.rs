//! The commands for angles and equipment rules on a data folder, as a person types them: `sleeve`, `records bend`,
//! `records show`, and `check` with a rule file.

#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod support;

use std::fs;
use std::path::Path;

use serde_json::Value;
use support::{benchscribe, on_data};

const BENCH: &str = "site = \"s\"\nbench = \"bench-1\"\n";
const ORDER: &str = r#"
order = "W-5"
[[club]]
name = "driver"
kind = "driver"
loft = "10.5 deg ± 0.5 deg"
lie = "58 deg ± 0.5 deg"
[club.given]
head_volume = "480 cm3"
[club.sleeve]
tilt = "1 deg"
clock = ["0 deg", "90 deg", "180 deg", "270 deg"]

[[club]]
name = "wedge"
kind = "wedge"
hand = "left"
lie = "64 deg ± 0.5 deg"
"#;

/// A data folder with the order in it, made by the commands themselves.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let (config, order) = (folder.path().join("bench.toml"), folder.path().join("order.toml"));
    fs::write(&config, format!("{BENCH}data = \"{}\"\n", folder.path().join("data").display())).unwrap();
    fs::write(&order, ORDER).unwrap();
    let out =
        benchscribe(["orders".as_ref(), "import".as_ref(), order.as_os_str(), "--config".as_ref(), config.as_os_str()]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    folder
}

#[track_caller]
fn ask(folder: &Path, arguments: &[&str]) -> String {
    let (code, out, err) = on_data(&folder.join("data"), arguments);
    assert_eq!(code, Some(0), "{arguments:?}: {out}{err}");
    out
}

fn check_geometry(id: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/checks/10_geometry.json");
    let set: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    let item = set["items"].as_array().unwrap().iter().find(|item| item["id"] == id).unwrap();
    item["expected"].clone()
}

#[test]
fn the_table_of_a_sleeve_has_every_position_and_the_best_one() {
    let folder = folder();
    let answer: Value =
        serde_json::from_str(&ask(folder.path(), &["sleeve", "W-5/1", "--loft", "1 deg weaker", "--json"])).unwrap();
    assert_eq!(answer["positions"].as_array().unwrap().len(), 4);
    assert_eq!(answer["best"]["clock_deg"], 90.0);
    // The club is that of the rotation-matrix reference: loft 10.5, lie 58, square, tilt 1, so its changes are known.
    for row in answer["positions"].as_array().unwrap() {
        let expected = check_geometry(&format!("GEO-sleeve-1.0-{}", row["clock_deg"].as_f64().unwrap()));
        for (key, reference, before) in [
            ("lie_deg", "lie_soled_deg", 58.0),
            ("shaft_lean_deg", "shaft_lean_deg", 0.0),
            ("loft_shaft_held_deg", "loft_shaft_held_deg", 10.5),
            ("face_shaft_held_deg", "face_shaft_held_deg", 0.0),
            ("loft_same_face_deg", "loft_face_restored_deg", 10.5),
            ("face_same_loft_deg", "face_loft_restored_deg", 0.0),
        ] {
            let (found, expected) = (row[key].as_f64().unwrap(), expected[reference].as_f64().unwrap() - before);
            assert!((found - expected).abs() < 1e-6, "{key}: {found}, expected {expected}: {row}");
        }
    }
    let table = ask(folder.path(), &["sleeve", "W-5/1", "--lie", "1 deg flat"]);
    assert!(table.contains("180 deg does what is wanted, off by 0.00 deg"), "{table}");
    assert!(table.contains("not measured, taken as square"), "{table}");
    // Nothing of a sleeve of 1 deg makes 5 deg.
    let none = ask(folder.path(), &["sleeve", "W-5/1", "--loft", "-5 deg"]);
    assert!(none.contains("no position does what is wanted: the nearest is 270 deg, off by 3.8"), "{none}");
    assert!(table.contains("counter-clockwise seen from the grip"), "{table}");
    let (code, _, err) = on_data(&folder.path().join("data"), &["sleeve", "W-5/2"]);
    assert!(code == Some(2) && err.contains("[club.sleeve]"), "{err}");
    let (code, _, err) = on_data(&folder.path().join("data"), &["sleeve", "W-5/1", "--face", "1 deg shut"]);
    assert!(code == Some(2) && err.contains("expected closed or open"), "{err}");
}

#[test]
fn a_bend_is_said_at_the_command_line_and_stands_in_the_record() {
    let folder = folder();
    ask(folder.path(), &["records", "enter", "W-5/2", "lie", "63 deg"]);
    ask(folder.path(), &["records", "bend", "W-5/2", "lie", "1.2 deg upright"]);
    ask(folder.path(), &["records", "enter", "W-5/2", "lie", "64 deg"]);
    let shown = ask(folder.path(), &["records", "show", "W-5/2"]);
    let expected = "lie was bent 1.2 deg upright at the lever: 63.0 deg before, 64.0 deg after, sprang back 0.2 deg";
    assert!(shown.contains(expected), "{shown}");
    let (code, _, err) = on_data(&folder.path().join("data"), &["records", "bend", "W-5/2", "lie", "1.2"]);
    assert!(code == Some(2) && err.contains("has no unit"), "{err}");
    support::assert_verified(&folder.path().join("data"));
}

#[test]
fn a_rule_file_is_checked_with_the_configuration_that_names_it() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("bench.toml");
    let check = || {
        let out = benchscribe(["check".as_ref(), "--config".as_ref(), config.as_os_str()]);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (out.status.code(), text(&out.stdout), text(&out.stderr))
    };
    fs::write(&config, BENCH).unwrap();
    let (code, out, _) = check();
    assert!(code == Some(0) && out.contains("equipment rules 2019, first edition"), "{out}");
    fs::write(&config, format!("{BENCH}[rules]\nfile = \"own.toml\"\n")).unwrap();
    let (code, out, _) = check();
    assert!(code == Some(1) && out.contains("bench.toml:4: rules.file") && out.contains("cannot be read"), "{out}");
    fs::write(folder.path().join("own.toml"), "edition = \"1\"\n[[rule]]\nname = \"a\"\nof = \"length\"\n").unwrap();
    let (code, out, _) = check();
    assert_eq!(code, Some(1), "{out}");
    for words in ["own.toml:1: source", "own.toml:2: rule[1].at_most", "own.toml:2: rule[1].source"] {
        assert!(out.contains(words), "{words} not in {out}");
    }
    // Mistakes of both files are told in one run.
    let bad = format!("{BENCH}colour = 1\n[rules]\nfile = \"own.toml\"\n");
    fs::write(&config, &bad).unwrap();
    let (code, out, _) = check();
    assert!(code == Some(1) && out.contains("bench.toml:3: colour") && out.contains("own.toml:1: source"), "{out}");
    fs::write(&config, bad.replace("colour = 1\n", "")).unwrap();
    let good = "edition = \"house 1\"\nsource = \"board\"\n[[rule]]\nname = \"a\"\nof = \"length\"\nat_most = \"40 in\"\nsource = \"x\"\n";
    fs::write(folder.path().join("own.toml"), good).unwrap();
    let (code, out, _) = check();
    assert!(code == Some(0) && out.contains("equipment rules house 1 (1 rules)"), "{out}");
}
