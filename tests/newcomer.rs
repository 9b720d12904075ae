//! What somebody met at the command line who had read the manual alone: orders as builders write them, answers, times.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod support;

use std::path::PathBuf;

use serde_json::Value;
use support::benchscribe;
use support::table::configuration;

/// As every builder writes it: targets without a tolerance, and a club of which nothing is asked.
const TABLE: &str = "order,name,kind,swing_weight,length,balance_point\nT-1,P,iron,D2,38 in,\nT-1,x,iron,,,\nT-1,y,iron,D4 \u{b1} 1,,560 mm\n";

struct Shop {
    folder: tempfile::TempDir,
    config: PathBuf,
}

impl Shop {
    fn new(more: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let config = folder.path().join("bench.toml");
        let data = folder.path().join("data");
        let text = configuration("/nowhere", data.to_str().unwrap());
        std::fs::write(&config, text.replace("[display]", &format!("[display]\n{more}"))).unwrap();
        Self { folder, config }
    }

    fn file(&self, name: &str, text: &str) -> String {
        let file = self.folder.path().join(name);
        std::fs::write(&file, text).unwrap();
        file.to_str().unwrap().to_owned()
    }

    /// Exit code, stdout and stderr of a command on the bench.
    fn asks(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        let config = self.config.to_str().unwrap();
        let output = benchscribe(arguments.iter().chain(&["--config", config]));
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    }

    #[track_caller]
    fn done(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.asks(arguments);
        assert_eq!(code, Some(0), "{arguments:?}: {err}");
        out
    }
}

#[test]
fn a_target_without_a_tolerance_is_judged_by_the_usual_one_and_that_is_said() {
    let shop = Shop::new("");
    let file = shop.file("t-1.csv", TABLE);
    let (code, out, err) = shop.asks(&["orders", "import", &file]);
    assert!(code == Some(0) && out.contains("T-1 is taken in"), "{out}{err}");
    for remark in [
        "t-1.csv:2: row[1].length: found \"38 in\", has no tolerance and is judged with \u{b1} 1/16 in by default",
        "t-1.csv:2: row[1].swing_weight: found \"D2\", has no tolerance and is judged with \u{b1} 0.5 points by default",
        "t-1.csv:3: row[2].name: found \"x\", asks for nothing",
        "t-1.csv:4: row[3].balance_point: found \"560 mm\", has no tolerance and none is usual",
    ] {
        assert!(err.contains(remark), "{remark} not in:\n{err}");
    }
    let shown = shop.done(&["orders", "show", "T-1"]);
    assert!(
        shown.contains("D2.0 \u{b1} 0.5 points, by default") && shown.contains("D4.0 \u{b1} 1.0 points\n"),
        "{shown}"
    );
    // What is written out is what was written.
    let csv = shop.done(&["orders", "export", "T-1", "--as", "csv"]);
    assert!(csv.contains("38 in") && !csv.contains("default"), "{csv}");

    let answer = shop.done(&["records", "enter", "T-1/1", "length", "38 1/3 in"]);
    // By hand: 38 1/3 in less 38 in is 1/3 in, to the sixteenth 5/16 in; less 38 1/16 in it is 13/48 in, to the sixteenth 1/4 in.
    assert!(answer.contains("length of T-1/1 is 38 5/16 in: +5/16 in from target (1/4 in over its limit)"), "{answer}");
    // What is open says the same of the same value.
    shop.done(&["orders", "open", "T-1/1"]);
    shop.done(&["scan", "BS1/S/BOND", "BS1/S/CURE", "BS1/S/GRIP"]);
    shop.done(&["records", "enter", "T-1/1", "length", "38 1/3 in"]);
    let (_, _, err) = shop.asks(&["scan", "BS1/S/HAND-OVER"]);
    assert!(err.contains("length +5/16 in from target (1/4 in over its limit)"), "{err}");
    let record: Value = serde_json::from_str(&shop.done(&["records", "show", "T-1/1", "--json"])).unwrap();
    let entry = &record["entries"][0];
    assert_eq!((&entry["verdict"], &entry["limits_by_default"]), (&Value::from("over"), &Value::from(true)));
}

#[test]
fn a_tolerance_of_the_kind_is_taken_for_a_value_without_one() {
    let shop = Shop::new("");
    let text = "order = \"T-2\"\n[defaults.iron]\nswing_weight = \"D2 \u{b1} 1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\nswing_weight = \"D4\"\n";
    let (_, _, err) = shop.asks(&["orders", "import", &shop.file("t-2.toml", text)]);
    assert!(!err.contains("tolerance"), "{err}");
    let shown = shop.done(&["orders", "show", "T-2"]);
    assert!(shown.contains("D4.0 \u{b1} 1.0 points\n"), "{shown}");
}

#[test]
fn a_club_is_opened_at_the_terminal() {
    let shop = Shop::new("");
    shop.done(&["orders", "import", &shop.file("t-1.csv", TABLE)]);
    assert!(shop.done(&["orders", "open", "T-1/3"]).contains("T-1/3 is open"));
    let (code, _, err) = shop.asks(&["orders", "open", "T-1/9"]);
    assert!(code == Some(2) && err.contains("there is no club T-1/9"), "{err}");
}

#[test]
fn a_record_is_shown_in_words_units_and_the_time_of_the_workshop() {
    // Kiritimati is 14 hours ahead of UTC all year, and has letters of no other zone: +14.
    let shop = Shop::new("time_zone = \"Pacific/Kiritimati\"\n");
    shop.done(&["orders", "import", &shop.file("t-1.csv", TABLE)]);
    shop.done(&["orders", "open", "T-1/1"]);
    for quantity in ["38 1/4 in", "38 in"] {
        shop.done(&["records", "enter", "T-1/1", "length", quantity]);
    }
    let shown = shop.done(&["records", "show", "T-1/1"]);
    let of = |words: &str| shown.lines().find(|line| line.contains(words)).unwrap_or_else(|| panic_with(&shown, words));
    assert!(of("38 1/4 in").contains("+1/4 in") && of("38 1/4 in").contains("corrected by a newer one"), "{shown}");
    assert!(shown.contains("in work") && shown.contains("dry fit") && !shown.contains("in_work"), "{shown}");
    assert!(shown.contains(" +14") && !shown.contains("Z  "), "{shown}");
    // A rule is read to 0.5 mm (standard uncertainty, common practice, no source): U is twice that.
    assert!(shown.contains("length, dry fit: U = 1.0 mm (k = 2.00): typed"), "{shown}");
    let (code, _, err) = Shop::new("time_zone = \"Mars/Base\"\n").asks(&["records", "list"]);
    assert!(code == Some(2) && err.contains("time_zone"), "{err}");
}

fn panic_with<'a>(shown: &str, words: &str) -> &'a str {
    assert!(shown.contains(words), "no {words} in:\n{shown}");
    ""
}

#[test]
fn an_order_that_a_table_cannot_hold_is_named_and_the_others_are_written() {
    let shop = Shop::new("");
    let given = "order = \"T-3\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\nlie = \"61 deg \u{b1} 1 deg\"\n[club.given]\nhead_material = \"cast steel\"\n";
    shop.done(&["orders", "import", &shop.file("t-1.csv", TABLE), &shop.file("t-3.toml", given)]);
    let (code, out, err) = shop.asks(&["orders", "export", "--as", "csv"]);
    assert!(code == Some(1) && out.contains("T-1,") && !out.contains("T-3"), "{code:?} {out} {err}");
    let left_out = "order T-3 is left out, because CSV has no columns for [club.given] of T-3/1: `orders export T-3 --as toml` has all of it";
    assert!(err.contains(left_out), "{err}");
    let (code, out, err) = shop.asks(&["orders", "export", "T-3", "--as", "csv"]);
    assert!(code == Some(1) && out.is_empty() && err.contains("nothing is left to write"), "{code:?} {out} {err}");
}

#[test]
fn a_set_is_planned_from_a_table_of_orders_too() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let order = root.join("config/orders/w-1042.toml");
    let stock = root.join("config/stock/dune-trailer.toml");
    let plan = |order: &str| {
        let output = benchscribe(["plan", order, "--stock", stock.to_str().unwrap(), "--json"]);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    };
    let (_, from_toml, _) = plan(order.to_str().unwrap());
    let shop = Shop::new("");
    shop.done(&["orders", "import", order.to_str().unwrap()]);
    let json = shop.file("w.json", &shop.done(&["orders", "export", "W-1042", "--as", "json"]));
    let (code, from_json, err) = plan(&json);
    assert_eq!(code, Some(0), "{err}");
    assert_eq!(from_json, from_toml);
    let two = shop.file("two.csv", "order,name,kind,swing_weight\nA-1,x,iron,D2 \u{b1} 1\nA-2,x,iron,D2 \u{b1} 1\n");
    let (code, _, err) = plan(&two);
    assert!(code == Some(2) && err.contains("holds the orders A-1, A-2"), "{err}");
}

#[test]
fn what_is_exported_and_imported_again_changes_nothing_and_a_change_of_a_cut_is_told() {
    let shop = Shop::new("");
    let orders = concat!(env!("CARGO_MANIFEST_DIR"), "/config/orders");
    for entry in std::fs::read_dir(orders).unwrap() {
        let (code, out, err) = shop.asks(&["orders", "import", entry.unwrap().path().to_str().unwrap()]);
        assert_eq!(code, Some(0), "{out}{err}");
    }
    for number in ["W-1042", "W-1043", "W-1044", "W-1047", "W-1050"] {
        for format in ["toml", "json"] {
            let (code, text, err) = shop.asks(&["orders", "export", number, "--as", format]);
            assert_eq!(code, Some(0), "{err}");
            let file = shop.file(&format!("again.{format}"), &text);
            let (code, out, err) = shop.asks(&["orders", "import", &file]);
            assert!(code == Some(0) && out.contains("nothing changes"), "{number} as {format}: {out}{err}\n{text}");
        }
    }
    let text = std::fs::read_to_string(format!("{orders}/w-1047.toml")).unwrap();
    let longer = text.replacen("raw_length = \"46 in", "raw_length = \"46 1/2 in", 1);
    assert!(longer != text, "the example has another shaft now");
    let (_, out, err) = shop.asks(&["orders", "import", &shop.file("longer.toml", &longer)]);
    assert!(out.contains("raw length: 1168.4 mm") && out.contains("is now 1181.1 mm"), "{out}{err}");
}

#[test]
fn a_code_scanned_at_the_terminal_does_what_the_scanner_does_and_says_so() {
    let shop = Shop::new("");
    shop.done(&["orders", "import", &shop.file("t-1.csv", TABLE)]);
    let scans = |shop: &Shop| {
        assert_eq!(shop.done(&["scan", "BS1/W/K7"]), "K7 is at the bench\n");
        assert_eq!(shop.done(&["scan", "BS1/O/T-1"]), "order T-1 is open\nT-1/1 is open\n");
        // The order once more: the club in hand stays in hand.
        let again = shop.done(&["scan", "BS1/O/T-1"]);
        assert_eq!(again, "\"BS1/O/T-1\" is taken; it changes nothing\n");
        let several = shop.done(&["scan", "BS1/D", "BS1/N"]);
        assert!(several.contains("\"dry fit\" is done at T-1/1\n"), "{several}");
        assert!(several.ends_with("T-1/1 is put aside\nT-1/2 is open\n"), "{several}");
        let (code, out, err) = shop.asks(&["scan", "HELLO"]);
        assert_eq!((code, out.as_str()), (Some(2), ""), "{err}");
        assert!(err.contains("\"HELLO\" is not taken: the code \"HELLO\" is not a ticket of this bench"), "{err}");
    };
    scans(&shop);
    // The same through a running daemon.
    let other = Shop::new("");
    other.done(&["orders", "import", &other.file("t-1.csv", TABLE)]);
    let daemon = support::daemon::Daemon::run(&other.config, 1.0);
    scans(&other);
    assert_eq!(daemon.state()["club"]["club"], "T-1/2");
}

#[test]
fn a_pdf_is_not_poured_onto_a_terminal() {
    let shop = Shop::new("");
    shop.done(&["orders", "import", &shop.file("t-1.csv", TABLE)]);
    let command = |arguments: &str| {
        let program = env!("CARGO_BIN_EXE_benchscribe");
        format!("'{program}' {arguments} --config '{}'", shop.config.display())
    };
    for arguments in ["records export --as sheet --order T-1", "records export --as label --order T-1"] {
        // script (util-linux) gives the program a terminal to write to.
        let on_terminal = std::process::Command::new("script")
            .args(["--quiet", "--return", "--command", &command(arguments), "/dev/null"])
            .stdin(std::process::Stdio::null())
            .output()
            .unwrap();
        let shown = String::from_utf8_lossy(&on_terminal.stdout).into_owned();
        assert_eq!(on_terminal.status.code(), Some(2), "{arguments}: {shown}");
        assert!(shown.contains("a PDF is not for the screen") && !shown.contains("%PDF"), "{arguments}: {shown}");
        let into_file = std::process::Command::new("sh").args(["-c", &command(arguments)]).output().unwrap();
        assert!(into_file.status.success() && into_file.stdout.starts_with(b"%PDF-1."), "{arguments}");
    }
}

#[test]
fn while_the_bench_runs_nothing_is_sealed_and_it_is_said_what_to_do() {
    let shop = Shop::new("");
    shop.done(&["orders", "import", &shop.file("t-1.csv", TABLE)]);
    let daemon = support::daemon::Daemon::run(&shop.config, 1.0);
    let out = shop.folder.path().join("segments");
    let (code, said, err) = shop.asks(&["records", "seal", "--before", "2024-01-01", "--out", out.to_str().unwrap()]);
    assert_eq!((code, said.as_str(), out.exists()), (Some(2), "", false), "{err}");
    let remedy = format!("the bench runs (process {})", daemon.pid());
    assert!(err.contains(&remedy) && err.contains("end `benchscribe run`"), "{err}");
}
