//! A set planned from the parts that lie in the drawers: a row of each kind laid down on a simulated scale, planned at the
//! command line, put into the clubs, taken out again.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod support;

use serde_json::{Value, json};
use simulators::Instrument;
use support::daemon::Daemon;
use support::table::Table;
use support::{assert_verified, benchscribe, json_lines};

const ORDER: &str = r#"
order = "W-77"
[[club]]
name = "5-iron"
kind = "iron"
head_mass = "256 g ± 4 g"
shaft_mass = "115 g ± 4 g"
grip_mass = "50 g ± 2.5 g"
length = "38 in ± 1/16 in"
swing_weight = "D2 ± 0.5"
[[club]]
name = "7-iron"
kind = "iron"
head_mass = "270 g ± 4 g"
shaft_mass = "115 g ± 4 g"
grip_mass = "50 g ± 2.5 g"
length = "37 in ± 1/16 in"
swing_weight = "D2 ± 0.5"
"#;
const SCALE: Instrument = Instrument::PartsScale;

struct Shop {
    table: Table,
    daemon: Daemon,
}

impl Shop {
    /// Runs the program on the bench; its exit code, stdout and stderr.
    fn run(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        let config = self.table.config.to_str().unwrap();
        let output = benchscribe(arguments.iter().chain(&["--config", config]));
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    }

    #[track_caller]
    fn done(&self, arguments: &[&str]) -> (String, String) {
        let (code, out, err) = self.run(arguments);
        assert_eq!(code, Some(0), "{arguments:?}: {out}{err}");
        (out, err)
    }

    /// Lays a row of parts down.
    #[track_caller]
    fn row(&self, kind: &str, facts: &[&str], masses_g: &[f64]) {
        self.done(&[&["stock", "intake", kind, "--instrument", SCALE.name()], facts].concat());
        for mass_g in masses_g {
            let before = self.daemon.captured(SCALE.name()).len();
            self.table.lay_part(SCALE, *mass_g);
            self.daemon.wait_captured(SCALE.name(), before + 1);
            self.table.lift(&self.daemon, SCALE);
        }
        self.done(&["stock", "end"]);
    }

    fn record(&self, club: &str) -> Value {
        self.daemon.get(&format!("/api/v1/records/{club}")).json()
    }

    fn parts_in(&self, club: &str) -> Vec<String> {
        let record = self.record(club);
        let parts = record["parts"].as_array().cloned().unwrap_or_default();
        let kept = parts.iter().filter(|part| part["released"].is_null());
        kept.map(|part| part["part"].as_str().unwrap().to_owned()).collect()
    }
}

#[test]
fn a_set_is_planned_from_what_was_laid_down_and_put_into_its_clubs() {
    let table = Table::new(77);
    let daemon = table.ready_daemon();
    let shop = Shop { table, daemon };
    let order = shop.table.folder.path().join("w-77.toml");
    std::fs::write(&order, ORDER).unwrap();
    shop.done(&["orders", "import", order.to_str().unwrap()]);

    // What is missing is said, and what to do about it.
    let (code, _, err) = shop.run(&["plan", "W-77"]);
    assert!(code == Some(2) && err.contains("no head in stock") && err.contains("stock intake head"), "{err}");
    shop.row("head", &["--for", "5-iron", "--lot", "L5"], &[254.1, 257.9]);
    shop.row("head", &["--for", "7-iron"], &[272.6, 268.2]);
    shop.row("head", &[], &[261.0]);
    shop.row("shaft", &["--length", "40 in"], &[113.4, 116.9, 115.2, 114.6]);
    shop.row("grip", &[], &[49.1, 51.2, 50.3, 49.6]);

    let (out, err) = shop.done(&["plan", "W-77", "--json"]);
    assert!(err.contains("H-5 is left out: the club it is made for is not known"), "{err}");
    let plan = json_lines(&out).remove(0);
    let clubs = plan["clubs"].as_array().unwrap();
    assert_eq!((plan["order"].as_str(), clubs.len()), (Some("W-77"), 2), "{plan}");
    let planned: Vec<Vec<String>> = clubs.iter().map(parts_of).collect();
    assert!(["H-1", "H-2"].contains(&planned[0][0].as_str()) && ["H-3", "H-4"].contains(&planned[1][0].as_str()));
    let all: std::collections::BTreeSet<&String> = planned.iter().flatten().collect();
    assert_eq!(all.len(), 6, "a part in two clubs: {planned:?}");
    let (table, _) = shop.done(&["plan", "W-77"]);
    assert!(planned.iter().flatten().all(|part| table.contains(part.as_str())), "{table}");
    assert!(shop.parts_in("W-77/1").is_empty(), "only looked at, and taken all the same");

    // Put in: the records have the parts with lot and weight, in the same event for both clubs or in none.
    let (_, err) = shop.done(&["plan", "W-77", "--use"]);
    assert!(err.contains("the parts are in their clubs"), "{err}");
    for (club, parts) in ["W-77/1", "W-77/2"].iter().zip(&planned) {
        assert_eq!(&shop.parts_in(club), parts, "{club}");
        let record = shop.record(club);
        for (characteristic, part) in ["head_mass", "shaft_mass", "grip_mass"].iter().zip(parts) {
            let entry = record["entries"].as_array().unwrap().iter().find(|e| e["characteristic"] == **characteristic);
            let entry = entry.unwrap_or_else(|| panic!("no {characteristic} of {part} in {record}"));
            assert_eq!((&entry["stage"], &entry["instrument"]), (&json!("part"), &json!(SCALE.name())), "{entry}");
        }
    }
    let (out, _) = shop.done(&["records", "list", "--lot", "L5", "--json"]);
    assert_eq!(json_lines(&out)[0]["records"].as_array().map(Vec::len), Some(1), "{out}");
    let (out, _) = shop.done(&["stock", "list", "--json"]);
    for part in planned.iter().flatten() {
        assert!(!in_stock(&out, part), "{part} is in a club and in the stock: {out}");
    }

    // There are parts for another plan, but the clubs have theirs, so nothing is put in twice.
    let before = shop.daemon.events_after(0).len();
    let (code, _, err) = shop.run(&["plan", "W-77", "--use"]);
    assert!(code == Some(2) && err.contains("already: take it out first"), "{err}");
    assert_eq!(shop.daemon.events_after(0).len(), before, "a refused plan left something: {err}");
    // Taken out, a part is planned with again.
    shop.done(&["stock", "release", &planned[0][1], "--why", "scratched"]);
    assert!(in_stock(&shop.done(&["stock", "list", "--json"]).0, &planned[0][1]));

    // The same without a daemon.
    let Shop { table, daemon } = shop;
    assert!(daemon.terminate().success());
    let output = benchscribe(["plan", "W-77", "--config", table.config.to_str().unwrap()]);
    let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert_eq!(output.status.code(), Some(0), "{err}");
    assert!(planned.iter().flat_map(|parts| [&parts[0], &parts[2]]).all(|part| !out.contains(part.as_str())), "{out}");
    assert_verified(&table.data);
}

/// Head, shaft and grip of a planned club.
fn parts_of(club: &Value) -> Vec<String> {
    ["head", "shaft", "grip"].map(|kind| club[kind].as_str().unwrap().to_owned()).into()
}

fn in_stock(list: &str, part: &str) -> bool {
    let list = &json_lines(list)[0];
    let parts = list["parts"].as_array().unwrap();
    parts.iter().any(|line| line["part"] == *part && line["place"] == "in_stock")
}
