//! Orders from the file to the record: taken in from every format, changed, queued, put aside, written out again; steps
//! that measurements prove, routes that are followed, and clubs that came in for repair.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod desk_bench;
mod support;

use std::path::{Path, PathBuf};

use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::work_order::state::State;
use desk_bench::{CONFIG, DeskBench, Stored};
use serde_json::{Value, json};
use support::daemon::Daemon;
use support::table::configuration;
use support::{assert_verified, benchscribe, on_data};

const TOML: &str = r#"
order = "W-71"
player = "P-17"
due = 2026-12-24
[defaults.iron]
grip_mass = "50 g ± 2.5 g"
[[club]]
name = "driver"
kind = "driver"
head_mass = "203 g ± 2 g"
[[club]]
name = "7-iron"
kind = "iron"
"#;
const CSV: &str = "\u{feff}order,player,due,priority,name,kind,swing_weight\r\n\
    W-72,\"'=HYPERLINK(\"\"x\"\")\",before the ferry,urgent,\"wedge, bent\",wedge,D4 ± 0.5\r\n";
const JSON: &str = r#"[{"order": "W-73", "due": "2026-12-01 09:00",
  "club": [{"name": "putter", "kind": "putter", "work": "regrip", "grip_mass": "80 g ± 5 g"}]}]"#;

/// A folder with a configuration, and the program run on it.
struct Shop {
    folder: tempfile::TempDir,
    config: PathBuf,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let config = folder.path().join("bench.toml");
        let data = folder.path().join("data");
        std::fs::write(&config, configuration("/nowhere", data.to_str().unwrap())).unwrap();
        Self { folder, config }
    }

    fn file(&self, name: &str, text: &str) -> String {
        let file = self.folder.path().join(name);
        std::fs::write(&file, text).unwrap();
        file.to_str().unwrap().to_owned()
    }

    /// Runs `orders …`; its exit code, stdout and stderr.
    fn orders(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        let config = self.config.to_str().unwrap();
        let output = benchscribe(["orders"].iter().chain(arguments).chain(&["--config", config]));
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    }

    #[track_caller]
    fn done(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.orders(arguments);
        assert_eq!(code, Some(0), "{arguments:?}: {out}{err}");
        out
    }

    #[track_caller]
    fn sequence(&self) -> Vec<String> {
        let list: Value = serde_json::from_str(&self.done(&["list", "--json"])).unwrap();
        list["orders"].as_array().unwrap().iter().map(|order| order["order"].as_str().unwrap().to_owned()).collect()
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }
}

#[test]
fn orders_come_in_from_every_format_and_go_out_as_the_same_orders() {
    let shop = Shop::new();
    let files = [shop.file("a.toml", TOML), shop.file("b.csv", CSV), shop.file("c.JSON", JSON)];
    let import: Vec<&str> = ["import"].into_iter().chain(files.iter().map(String::as_str)).collect();
    let said = shop.done(&import);
    assert_eq!(said, "order W-71 is taken in\norder W-72 is taken in\norder W-73 is taken in\n");
    let said = shop.done(&import);
    assert_eq!(said.matches("is known, nothing changes").count(), 3, "{said}");
    // Urgent, then by the promise; a promise in words comes behind dates.
    assert_eq!(shop.sequence(), ["W-72", "W-73", "W-71"]);
    for (format, ending) in [("json", "json"), ("csv", "csv")] {
        let text = shop.done(&["export", "--as", format]);
        assert!(!text.contains(",=") && !text.contains("\n="), "{text}");
        let other = Shop::new();
        other.done(&["import", &other.file(&format!("all.{ending}"), &text)]);
        assert_eq!(other.done(&["export", "--as", "json"]), shop.done(&["export", "--as", "json"]));
        // And back where they came from they change nothing.
        let said = shop.done(&["import", &shop.file(&format!("again.{ending}"), &text)]);
        assert_eq!(said.matches("nothing changes").count(), 3, "{said}");
    }
    let folder = shop.folder.path().join("out");
    shop.done(&["export", "--as", "toml", "--out", folder.to_str().unwrap()]);
    let written: Vec<String> =
        ["w-71", "w-72", "w-73"].map(|name| folder.join(format!("{name}.toml")).to_str().unwrap().to_owned()).into();
    let import: Vec<&str> = ["import"].into_iter().chain(written.iter().map(String::as_str)).collect();
    assert_eq!(shop.done(&import).matches("nothing changes").count(), 3);
    // Several on stdout are JSON, unless somebody wants TOML of them; then it is said how.
    assert_eq!(shop.done(&["export"]), shop.done(&["export", "--as", "json"]));
    let (code, out, err) = shop.orders(&["export", "W-71", "W-73", "--as", "toml"]);
    let remedy = "a TOML file holds one order, and these are 2: `orders export W-71 W-73 --as toml --out DIR`";
    assert_eq!((code, out.as_str(), err.contains(remedy)), (Some(2), "", true), "{err}");
    assert_verified(&shop.data());
}

#[test]
fn where_an_order_is_put_aside_the_next_one_is_named() {
    let shop = Shop::new();
    shop.done(&["import", &shop.file("a.toml", TOML), &shop.file("b.csv", CSV)]);
    shop.done(&["open", "W-72"]);
    let (code, _, err) = shop.orders(&["aside", "W-72", "--why", "a player is at the door"]);
    let next = "next is W-71/1, driver: scan the ticket of order W-71 or open it";
    assert_eq!((code, err.contains(next)), (Some(0), true), "{err}");
    // Nothing was in hand: nothing becomes free.
    let (_, _, err) = shop.orders(&["aside", "W-71"]);
    assert!(!err.contains("next is"), "{err}");
    shop.done(&["open", "W-71"]);
    let (_, _, err) = shop.orders(&["aside", "W-71"]);
    assert!(err.contains("nothing waits: what is not finished is put aside"), "{err}");
}

/// Each command below is a start of its own: what it says is the journal's.
#[test]
fn what_comes_next_is_known_after_a_restart_and_when_an_order_is_taken_up() {
    let shop = Shop::new();
    shop.done(&["import", &shop.file("a.toml", TOML), &shop.file("b.csv", CSV), &shop.file("c.json", JSON)]);
    let next = "next is W-72/1, wedge, bent: scan the ticket of order W-72 or open it";
    assert!(shop.done(&["list"]).ends_with(&format!("{next}\n")), "{}", shop.done(&["list"]));
    shop.done(&["open", "W-72"]);
    assert!(!shop.done(&["list"]).contains("next is"), "a club is in hand");
    let (code, _, err) =
        on_data(&shop.data(), &["records", "override", "W-72/1", "hand-over", "--by", "K7", "--why", "x"]);
    assert_eq!(code, Some(0), "{err}");
    let next = "next is W-73/1, putter: scan the ticket of order W-73 or open it";
    for said in [shop.done(&["list"]), shop.done(&["show", "W-71"])] {
        assert!(said.contains(next), "{said}");
    }
    assert!(!shop.done(&["show", "W-72"]).contains("next is"), "that order is finished");
    let listed: Value = serde_json::from_str(&shop.done(&["list", "--json"])).unwrap();
    assert_eq!(listed["next_in_turn"], next);
    // Taken up while nothing is in hand, and while something is.
    let (_, _, err) = shop.orders(&["aside", "W-73"]);
    assert!(!err.contains("next is"), "{err}");
    let (_, out, err) = shop.orders(&["resume", "W-73"]);
    let goes_on = "order W-73 goes on with W-73/1, putter: scan its ticket or open it";
    assert!(out.contains("in the queue again") && err.contains(goes_on), "{out}{err}");
    shop.done(&["open", "W-73"]);
    shop.done(&["aside", "W-71"]);
    let (_, _, err) = shop.orders(&["resume", "W-71"]);
    assert!(err.contains("W-73/1 stays in hand; next of order W-71 is W-71/1, driver"), "{err}");
    // The page says the same as soon as nothing is in hand.
    shop.done(&["aside", "W-73"]);
    let daemon = Daemon::run(&shop.config, 1.0);
    assert_eq!(daemon.state()["next_in_turn"], "next is W-71/1, driver: scan the ticket of order W-71 or open it");
    assert_eq!(daemon.get("/api/v1/orders").json()["next_in_turn"], daemon.state()["next_in_turn"]);
    assert!(daemon.terminate().success());
}

#[test]
fn one_mistake_in_one_file_keeps_all_files_out_and_every_mistake_is_named() {
    let shop = Shop::new();
    let good = shop.file("good.toml", TOML);
    let csv = shop.file("bad.csv", "order,name,kind,lie\nW-9,x,iron,62\nW-9,y,spoon,62 deg\n");
    let json =
        shop.file("bad.json", "{\"order\": \"W-8\",\n\"club\": [{\"name\": \"x\",\n\"kind\": \"iron\", \"loft\": 3}]}");
    let twice = shop.file("twice.csv", "order,name,kind\nW-71,x,iron\n");
    let latin = shop.folder.path().join("latin.csv");
    std::fs::write(&latin, b"order,name,kind\nW-6,x,iron\xb1\n").unwrap();
    let (code, out, err) = shop.orders(&["import", &good, &csv, &json, &twice, latin.to_str().unwrap()]);
    assert_eq!((code, out.as_str()), (Some(2), ""), "{err}");
    for words in [
        "bad.csv:2: row[1].lie: found \"62\"",
        "bad.csv:3: row[2].kind: found \"spoon\"",
        "bad.json:3: club[1].loft: found 3",
        "twice.csv: order W-71 stands in another file",
        "latin.csv",
    ] {
        assert!(err.contains(words), "{words} not in:\n{err}");
    }
    assert!(!shop.data().exists(), "nothing was taken in, and yet there is a journal");

    // The same through a running daemon.
    let daemon = Daemon::run(&shop.config, 1.0);
    let files =
        json!([{"file": "good.toml", "text": TOML}, {"file": "bad.csv", "text": "order,name,kind\nW-9,x,spoon\n"}]);
    daemon.command(&json!({"command": "import_orders", "files": files})).assert_problem(422, "bad.csv:2: row[1].kind");
    assert_eq!(daemon.get("/api/v1/orders").json()["orders"], json!([]));
    let files = json!([{"file": "good.toml", "text": TOML}, {"text": CSV, "as": "csv"}]);
    assert_eq!(daemon.command(&json!({"command": "import_orders", "files": files})).status, 200);
    assert_eq!(daemon.state()["queue"][0]["order"], "W-72");
}

#[test]
fn a_changed_order_is_a_new_version_that_says_what_changed() {
    let shop = Shop::new();
    shop.done(&["import", &shop.file("a.toml", TOML)]);
    shop.done(&["open", "W-71"]);
    let changed = TOML.replace("203 g ± 2 g", "205 g ± 2 g").replace("2026-12-24", "2026-12-23");
    let said = shop.done(&["import", &shop.file("a.toml", &changed)]);
    let words = ["version 2", "due: 2026-12-24 is now 2026-12-23", "W-71/1 head mass: 203 g ± 2 g is now 205 g ± 2 g"];
    assert!(words.iter().all(|words| said.contains(words)), "{said}");
    let said = shop.done(&["show", "W-71"]);
    assert!(words.iter().all(|words| said.contains(words)), "{said}");
    let shown: Value = serde_json::from_str(&shop.done(&["show", "W-71", "--json"])).unwrap();
    assert_eq!(
        (&shown["order"]["revision"], shown["revisions"][0]["changes"].as_array().unwrap().len()),
        (&json!(2), 2)
    );
    assert_verified(&shop.data());
}

#[test]
fn an_order_put_aside_waits_behind_all_others_until_it_is_taken_up() {
    let shop = Shop::new();
    shop.done(&["import", &shop.file("a.toml", TOML), &shop.file("b.csv", CSV), &shop.file("c.json", JSON)]);
    shop.done(&["open", "W-72"]);
    shop.done(&["aside", "W-72", "--why", "its shaft is not here"]);
    assert_eq!(shop.sequence(), ["W-73", "W-71", "W-72"]);
    assert!(shop.done(&["list"]).contains("put aside: its shaft is not here"));
    let (code, _, err) = shop.orders(&["aside", "W-72"]);
    assert_eq!((code, err.contains("put aside already")), (Some(2), true), "{err}");
    shop.done(&["resume", "W-72"]);
    assert_eq!(shop.sequence(), ["W-72", "W-73", "W-71"]);
    shop.done(&["aside", "W-73"]);
    // Whoever opens it takes it up.
    shop.done(&["open", "W-73"]);
    assert_eq!(shop.sequence(), ["W-72", "W-73", "W-71"]);
    assert_verified(&shop.data());
}

/// A bench in the process with an order, its first club open.
fn bench(order: &str) -> (DeskBench, Stored) {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": order}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    (bench, stored)
}

#[track_caller]
fn does(bench: &mut DeskBench, stored: &mut Stored, command: Value) {
    bench.wait(60.0);
    bench.command(command.clone(), stored).unwrap_or_else(|words| panic!("{command}: {words}"));
}

fn shown(bench: &DeskBench, club: &str) -> Value {
    json!(record(&bench.core.state.clubs[club], String::new(), Lengths::Inches))
}

fn steps(record: &Value) -> Vec<(String, bool)> {
    let step = |step: &Value| (step["step"].as_str().unwrap().to_owned(), step["proof"].is_string());
    record["steps"].as_array().unwrap().iter().map(step).collect()
}

#[test]
fn steps_are_done_by_a_person_or_by_the_measurement_that_proves_them() {
    let (mut bench, mut stored) = bench(
        "order = \"W-1\"\n[[club]]\nname = \"5-iron\"\nkind = \"iron\"\nhead_mass = \"256 g ± 3 g\"\nlength = \"38 in ± 1/16 in\"\n",
    );
    does(&mut bench, &mut stored, json!({"command": "scan", "code": "BS1/W/K7"}));
    assert_eq!(bench.snapshot().work.club.as_ref().unwrap().next_step, Some("prepare"));
    does(&mut bench, &mut stored, json!({"command": "scan", "code": "BS1/A"}));
    bench.weigh("scale", [256.2, 0.0], [0.0, 0.0], &mut stored);
    assert_eq!(bench.snapshot().work.club.as_ref().unwrap().next_step, Some("dry_fit"));
    for step in ["dry_fit", "bond", "cure", "grip", "rest"] {
        does(&mut bench, &mut stored, json!({"command": "step_done", "step": step}));
    }
    does(&mut bench, &mut stored, json!({"command": "enter", "characteristic": "length", "quantity": "38 in"}));
    let record = shown(&bench, "W-1/1");
    let expected = [
        ("prepare", true),
        ("dry_fit", false),
        ("bond", false),
        ("cure", false),
        ("grip", false),
        ("rest", false),
        ("cut", true),
        ("final_check", true),
    ];
    assert_eq!(steps(&record), expected.map(|(step, proven)| (step.to_owned(), proven)));
    assert_eq!(record["state"], "in_work", "nobody has handed it over");
    // The proofs are the events of the values themselves.
    let entry = |characteristic: &str| {
        let all = record["entries"].as_array().unwrap();
        all.iter().find(|entry| entry["characteristic"] == characteristic).unwrap()["event"].clone()
    };
    assert_eq!(record["steps"][0]["proof"], entry("head_mass"));
    assert_eq!(record["steps"][6]["proof"], entry("length"));
    assert!(record["steps"].as_array().unwrap().iter().all(|step| step["by"] == "K7" && step["at"].is_string()));
    // What was shown as a danger is in the record, acknowledged or not.
    assert_eq!(record["steps"][0]["cautions"], json!(["dust_and_fibres"]));
    assert_eq!(record["steps"][0]["acknowledged"]["by"], "K7");
    assert_eq!(record["steps"][2]["cautions"], json!(["adhesive", "hot_tooling", "solvent_near_heat"]));
    assert_eq!(record["steps"][2]["acknowledged"], Value::Null);

    // What proved a step takes it along when it is taken back.
    let head = entry("head_mass");
    does(&mut bench, &mut stored, json!({"command": "void", "event": head, "why": "wrong head"}));
    assert_eq!(shown(&bench, "W-1/1")["steps"][0]["voided"], true);
}

#[test]
fn a_step_that_is_not_on_the_route_is_refused_in_words() {
    let (mut bench, mut stored) = bench(
        "order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\nroute = [\"grip\", \"rest\", \"hand_over\"]\n",
    );
    let refused = bench.command(json!({"command": "step_done", "step": "bond"}), &mut stored).unwrap_err();
    assert_eq!(
        refused,
        "\"bond head and shaft\" is no step of W-1/1 (build): its steps are put the grip on, let the grip rest, hand over"
    );
    for (expected, next) in [("grip", "rest"), ("rest", "hand_over")] {
        assert_eq!(bench.snapshot().work.club.as_ref().unwrap().next_step, Some(expected));
        does(&mut bench, &mut stored, json!({"command": "next_step"}));
        assert_eq!(bench.snapshot().work.club.as_ref().unwrap().next_step, Some(next));
    }
}

#[test]
fn a_repaired_club_is_measured_as_received_and_as_left_and_both_are_in_its_record() {
    let (mut bench, mut stored) = bench(
        "order = \"W-1\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nwork = \"loft_lie\"\nloft = \"33 deg ± 0.5 deg\"\nlie = \"62 deg ± 0.5 deg\"\n",
    );
    let next = |bench: &mut DeskBench| bench.snapshot().work.club.as_ref().unwrap().next.clone();
    assert_eq!(next(&mut bench), "measure the club as it came (loft, lie); then adjust and mark the step done");
    bench.weigh("gauge", [64.0, 31.0], [0.0, 0.0], &mut stored);
    assert_eq!(next(&mut bench), "it is measured as it came: adjust, then mark the step done");
    assert!(bench.snapshot().work.club.as_ref().unwrap().cautions.iter().any(|words| words.contains("Bending")));
    does(&mut bench, &mut stored, json!({"command": "scan", "code": "BS1/S/ADJUST"}));
    bench.weigh("gauge", [62.1, 33.1], [0.0, 0.0], &mut stored);
    let record = shown(&bench, "W-1/1");
    let entry = |characteristic: &str, stage: &str| {
        let all = record["entries"].as_array().unwrap();
        let found = all.iter().find(|e| e["characteristic"] == characteristic && e["stage"] == stage);
        found.unwrap_or_else(|| panic!("no {characteristic} {stage} in {record}"))["value"].as_f64().unwrap()
    };
    assert!((entry("loft", "received") - 31.0).abs() < 0.02 && (entry("lie", "received") - 64.0).abs() < 0.02);
    assert!((entry("loft", "final") - 33.1).abs() < 0.02 && (entry("lie", "final") - 62.1).abs() < 0.02);
    does(&mut bench, &mut stored, json!({"command": "scan", "code": "BS1/S/HAND-OVER"}));
    let record = shown(&bench, "W-1/1");
    assert_eq!((&record["state"], &record["work"]), (&json!("finished"), &json!("loft_lie")));
    assert_eq!(record["route"], json!(["adjust", "final_check", "hand_over"]));
}

#[test]
fn a_whole_club_that_came_for_another_grip_is_known_on_the_scale() {
    let (mut bench, mut stored) = bench(
        "order = \"W-1\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nwork = \"regrip\"\ngrip_mass = \"50 g ± 3 g\"\ntotal_mass = \"430 g ± 20 g\"\n",
    );
    bench.weigh("scale", [433.0, 0.0], [0.0, 0.0], &mut stored);
    does(&mut bench, &mut stored, json!({"command": "step_done", "step": "prepare"}));
    bench.weigh("scale", [50.6, 0.0], [0.0, 0.0], &mut stored);
    does(&mut bench, &mut stored, json!({"command": "step_done", "step": "grip"}));
    does(&mut bench, &mut stored, json!({"command": "step_done", "step": "rest"}));
    bench.weigh("scale", [431.2, 0.0], [0.0, 0.0], &mut stored);
    does(&mut bench, &mut stored, json!({"command": "next_step"}));
    let record = shown(&bench, "W-1/1");
    let entries: Vec<(&str, &str)> = record["entries"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| (entry["characteristic"].as_str().unwrap(), entry["stage"].as_str().unwrap()))
        .collect();
    assert_eq!(entries, [("total_mass", "received"), ("grip_mass", "part"), ("total_mass", "gripped")]);
    assert_eq!(record["state"], "finished", "{record}");
}

#[test]
fn a_repair_is_repeated_as_that_repair_with_its_values_as_left() {
    let (mut bench, mut stored) = bench(
        "order = \"W-1\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nwork = \"regrip\"\n\
         grip_mass = \"50 g ± 3 g\"\ntotal_mass = \"430 g ± 20 g\"\nlength = \"37 1/32 in ± 1/16 in\"\n",
    );
    bench.weigh("scale", [433.0, 0.0], [0.0, 0.0], &mut stored);
    does(&mut bench, &mut stored, json!({"command": "step_done", "step": "prepare"}));
    bench.weigh("scale", [50.6, 0.0], [0.0, 0.0], &mut stored);
    for step in ["grip", "rest"] {
        does(&mut bench, &mut stored, json!({"command": "step_done", "step": step}));
    }
    bench.weigh("scale", [431.2, 0.0], [0.0, 0.0], &mut stored);
    does(&mut bench, &mut stored, json!({"command": "enter", "characteristic": "length", "quantity": "37 3/64 in"}));
    does(&mut bench, &mut stored, json!({"command": "step_done", "step": "hand_over"}));
    let again = |work: Value| json!({"command": "build_again", "club": "W-1/1", "work": work});
    let refused = bench.command(again(json!("build")), &mut stored).unwrap_err();
    let lacking = "W-1/1 cannot be built from its record, because the work on it was \"new grip\" and it does not say: \
                   head mass, shaft mass; write an order for the build, or repeat that work";
    assert_eq!(refused, lacking);
    let refused = bench.command(again(json!("loft_lie")), &mut stored).unwrap_err();
    assert!(refused.contains("it is repeated as that, or as a build, not as \"loft and lie only\""), "{refused}");
    let refused = bench.command(again(json!("polish")), &mut stored).unwrap_err();
    assert!(refused.starts_with("\"work\" is \"polish\", expected one of: build, regrip"), "{refused}");
    let raw = json!({"command": "build_again", "club": "W-1/1", "raw_length": "41 in"});
    assert!(bench.command(raw, &mut stored).unwrap_err().contains("\"new grip\" takes no new shaft"));
    does(&mut bench, &mut stored, again(Value::Null));
    let club = &bench.core.state.orders["W-1.1.2"].clubs[0];
    let route: Vec<&str> = club.route().iter().map(|step| step.name()).collect();
    assert_eq!((club.work.name(), route), ("regrip", vec!["prepare", "grip", "rest", "final_check", "hand_over"]));
    assert_eq!(club.build.again_of.as_deref(), Some("W-1/1"));
    // As left: the total with the new grip, not that as received; a length as it was typed: 37 3/64 in = 940.990625 mm.
    let target = |name: &str| club.targets.iter().find(|row| row.characteristic.name() == name).unwrap();
    assert!((target("total_mass").target.value.unwrap() - 431.2).abs() < 0.05);
    assert_eq!(target("length").text, "37 3/64 in ± 1/16 in");
    assert_eq!(benchscribe::output::text::target(target("length"), Lengths::Inches), "37 3/64 in ± 1/16 in");
}

/// What a start has not at hand is brought back with everything that is known of it, the club that was left in hand too.
#[test]
fn an_order_that_is_brought_back_goes_on_with_the_club_that_was_in_hand() {
    let club = |n: u8| format!("[[club]]\nname = \"{n}-iron\"\nkind = \"iron\"\n");
    let (mut bench, mut stored) = bench(&format!("order = \"W-1\"\n{}{}", club(5), club(6)));
    does(&mut bench, &mut stored, json!({"command": "open_club", "club": "W-1/2"}));
    does(
        &mut bench,
        &mut stored,
        json!({"command": "put_order_aside", "order": "W-1", "why": "a player is at the door"}),
    );
    let whole = bench.core.state.clone();
    let mut brought_back = State::default();
    brought_back.recall("W-1", whole.clone(), 0);
    for state in [whole, brought_back] {
        assert_eq!(state.next_club(&state.orders["W-1"]).unwrap().spec.id, "W-1/2");
    }
}

#[test]
fn a_file_of_orders_that_ships_is_read() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/orders");
    let shop = Shop::new();
    let files: Vec<String> =
        std::fs::read_dir(root).unwrap().map(|entry| entry.unwrap().path().to_str().unwrap().to_owned()).collect();
    let import: Vec<&str> = ["import"].into_iter().chain(files.iter().map(String::as_str)).collect();
    assert!(shop.done(&import).contains("is taken in"));
}
