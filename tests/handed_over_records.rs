//! What a record, a sheet, a label and a table say of clubs that were handed over, repaired, corrected, or are still in work: one
//! truth, and nothing hidden. Sheets are read by poppler (pdftotext), which is not ours.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod built_club;
mod desk_bench;
mod support;

use std::path::PathBuf;
use std::process::Command;

use desk_bench::commanded::Commanded as Bench;
use serde_json::{Value, json};
use support::{assert_verified, json_lines, on_data};

impl Bench {
    fn new(order: &str) -> Self {
        Self::with_order(order)
    }

    #[track_caller]
    fn reads(&mut self, characteristic: &str, quantity: &str) {
        self.does(json!({"command": "enter", "club": "W-5/1", "characteristic": characteristic, "quantity": quantity}));
    }

    async fn kept(&self) -> Kept {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("data");
        built_club::keep(&data, &self.stored).await;
        assert_verified(&data);
        Kept { data, _folder: folder }
    }
}

struct Kept {
    data: PathBuf,
    _folder: tempfile::TempDir,
}

impl Kept {
    #[track_caller]
    fn says(&self, arguments: &[&str]) -> String {
        let (code, out, err) = on_data(&self.data, arguments);
        assert_eq!(code, Some(0), "{err}");
        out
    }

    fn json(&self) -> Value {
        json_lines(&self.says(&["records", "export", "--as", "json"])).remove(0)
    }

    /// The text of the sheets of the set and its one club, or of its label.
    #[track_caller]
    fn paper(&self, what: &str) -> Vec<String> {
        let out = self.data.parent().unwrap().join(what).display().to_string();
        let files = self.says(&["records", "export", "--as", what, "--out", &out]);
        files
            .lines()
            .map(|file| {
                let text = Command::new("pdftotext").args(["-layout", file, "-"]).output();
                let text =
                    text.unwrap_or_else(|error| panic!("pdftotext does not run ({error}): install poppler-utils"));
                String::from_utf8(text.stdout).unwrap()
            })
            .collect()
    }

    /// The page of the one club.
    fn sheet(&self) -> String {
        self.paper("sheet").pop().unwrap()
    }

    /// A cell of the first line of the table.
    fn cell(&self, column: &str) -> String {
        let table = self.says(&["records", "export", "--as", "csv"]);
        let mut reader = csv::Reader::from_reader(table.as_bytes());
        let at = reader.headers().unwrap().iter().position(|name| name == column).unwrap();
        let row = reader.records().next().unwrap().unwrap();
        row[at].to_owned()
    }
}

fn iron(swing_weight: &str) -> String {
    format!(
        "order = \"W-5\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nroute = [\"bond\", \"cure\", \"grip\", \"hand_over\"]\nlength = \"38 in ± 1/8 in\"\nswing_weight = \"{swing_weight}\"\n"
    )
}

fn handed_over_then_changed() -> Bench {
    let mut bench = Bench::new(&iron("D3 ± 1.5"));
    bench.steps(&["bond", "cure", "grip"]);
    bench.reads("length", "38 1/16 in");
    bench.reads("swing_weight", "D2.8");
    bench.steps(&["hand_over"]);
    bench.does(json!({"command": "import_order", "text": iron("D1 ± 1.5")}));
    bench
}

#[tokio::test]
async fn a_club_that_was_handed_over_is_shown_everywhere_as_it_was_though_its_order_changed() {
    let kept = handed_over_then_changed().kept().await;
    let words = "W-5/1 is shown as it was handed over; its order was changed since: W-5/1 swing weight: D3 ± 1.5 is now D1 ± 1.5";
    let record = kept.json();
    let swing = record["entries"].as_array().unwrap().iter().find(|e| e["characteristic"] == "swing_weight").unwrap();
    assert_eq!(swing["target"], 33.0, "D3 is 33 points over A0");
    assert_eq!(record["order_changed_since"], json!(["W-5/1 swing weight: D3 ± 1.5 is now D1 ± 1.5"]));
    let shown = kept.says(&["records", "show", "W-5/1"]);
    assert!(shown.contains(words), "{shown}");
    let papers = kept.paper("sheet");
    let [_, sheet] = papers.as_slice() else { panic!("{papers:?}") };
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat(sheet).contains(words), "{sheet}");
    let line = sheet.lines().find(|line| line.trim_start().starts_with("swing weight")).unwrap();
    assert!(line.contains("D3.0 ± 1.5") && line.contains("D2.8") && line.contains("\u{2212}0.2"), "{line}");
    assert!(papers[0].contains("W-5/1: order changed since") && papers[0].contains("\u{2212}0.2"), "{}", papers[0]);
    let label = kept.paper("label").remove(0);
    assert!(label.contains("38 1/16 in, D2.8") && !label.contains("D1"), "{label}");
    assert_eq!((kept.cell("target"), kept.cell("characteristic")), ("965.2".to_owned(), "length".to_owned()));
    // The order itself is the new one.
    assert!(kept.says(&["orders", "show", "W-5"]).contains("D1 ± 1.5"));
}

#[tokio::test]
async fn a_club_that_is_in_work_again_goes_by_its_order_as_it_is_now_and_says_so() {
    let mut bench = handed_over_then_changed();
    // It loses its swing weight, and is not finished any more.
    let swing_weight = bench.stored.of("value_typed").last().unwrap().id.to_string();
    bench.does(json!({"command": "void", "event": swing_weight, "why": "it leaned"}));
    bench.reads("swing_weight", "D2.8");
    let words = "W-5/1 is in work again and judged by its order as it was changed since it was handed over: W-5/1 swing weight: D3 ± 1.5 is now D1 ± 1.5";
    let club = bench.bench.snapshot().work.club.clone().unwrap();
    assert!(club.advice.iter().any(|advice| advice == words), "{:?}", club.advice);
    let kept = bench.kept().await;
    let record = kept.json();
    let entries = record["entries"].as_array().unwrap();
    let swing = entries.iter().rfind(|e| e["characteristic"] == "swing_weight" && e["voided"] == false).unwrap();
    assert_eq!((&swing["target"], &swing["verdict"]), (&json!(31.0), &json!("over")), "{swing}");
    assert!(record["order_changed_since"].is_null() && record["judged_anew"].is_array(), "{record}");
    assert!(kept.says(&["records", "show", "W-5/1"]).contains(words));
    let sheet = kept.sheet();
    let line = sheet.lines().find(|line| line.trim_start().starts_with("swing weight")).unwrap();
    assert!(line.contains("D1.0 ± 1.5") && line.contains("+1.8"), "{line}");
    // Handed over again, it is what it was built to now.
    bench.does(json!({"command": "override_hand_over", "club": "W-5/1", "name": "K7", "why": "as agreed"}));
    let record = bench.kept().await.json();
    assert!(record["state"] == "finished" && record["judged_anew"].is_null(), "{record}");
}

#[tokio::test]
async fn the_sheet_of_a_repair_has_what_was_received_beside_what_is_left() {
    let order = "order = \"W-5\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nwork = \"regrip\"\nswing_weight = \"D2 ± 1\"\ntotal_mass = \"430 g ± 20 g\"\n";
    let mut bench = Bench::new(order);
    bench.reads("swing_weight", "C9.6");
    bench.reads("total_mass", "441 g");
    let received = |sheet: &str| {
        let line = |what: &str| sheet.lines().find(|line| line.trim_start().starts_with(what)).unwrap().to_owned();
        (line("swing weight"), line("total mass"))
    };
    let sheet = bench.kept().await.sheet();
    assert!(sheet.contains("received") && sheet.contains("as left") && !sheet.contains("as built"), "{sheet}");
    let (swing, mass) = received(&sheet);
    assert!(swing.contains("C9.6") && mass.contains("441"), "{swing}\n{mass}");
    bench.steps(&["prepare", "grip", "rest"]);
    bench.reads("swing_weight", "D2.2");
    let (swing, mass) = received(&bench.kept().await.sheet());
    assert!(swing.find("C9.6").unwrap() < swing.find("D2.2").unwrap() && swing.contains("+0.2"), "{swing}");
    assert!(mass.contains("441") && !mass.contains("+11"), "what was received is not what is left: {mass}");
}

#[tokio::test]
async fn a_value_of_the_dry_fit_is_marked_on_a_sheet_that_is_printed_before_the_end() {
    let mut bench = Bench::new(&iron("D3 ± 1.5"));
    bench.reads("swing_weight", "D1.5");
    bench.reads("length", "38 1/16 in");
    let papers = bench.kept().await.paper("sheet");
    let [set, sheet] = papers.as_slice() else { panic!("{papers:?}") };
    assert!(sheet.contains("D1.5") && sheet.matches("at the dry fit").count() == 2, "{sheet}");
    assert!(!sheet.contains("38 1/16 in as built") && sheet.contains("not measured yet"), "{sheet}");
    assert!(!sheet.contains("\u{2212}1.5"), "no deviation of what does not count: {sheet}");
    assert!(set.contains("D1.5 at the dry fit"), "{set}");
}

#[tokio::test]
async fn a_correction_shows_the_old_value_on_the_sheet_and_is_the_first_pass() {
    let mut bench = Bench::new(&iron("D3 ± 1.5"));
    bench.steps(&["bond", "cure", "grip"]);
    // Five eighths over: the rule was misread.
    bench.reads("length", "38 5/8 in");
    bench.reads("length", "38 1/16 in");
    bench.reads("swing_weight", "D2.8");
    bench.steps(&["hand_over"]);
    let kept = bench.kept().await;
    assert!(kept.sheet().contains("Earlier values: length 38 5/8 in (corrected to 38 1/16 in)."), "{}", kept.sheet());
    let shown = kept.says(&["records", "show", "W-5/1"]);
    assert!(shown.contains("corrected by a newer one"), "{shown}");
    let history: Value = serde_json::from_str(&kept.says(&["history", "--as", "json"])).unwrap();
    assert_eq!((&history["first_pass"]["good"], &history["first_pass"]["all"]), (&json!(1), &json!(1)), "{history}");
    let length = history["distributions"].as_array().unwrap().iter().find(|of| of["characteristic"] == "length");
    // 1/16 in over its 38 in.
    let deviation = length.unwrap()["results"][0]["deviation"].as_f64().unwrap();
    assert!((deviation - 25.4 / 16.0).abs() < 1e-9, "{deviation}");
}

#[tokio::test]
async fn many_corrections_fit_the_sheet_and_the_rest_are_counted() {
    let mut bench = Bench::new(&iron("D3 ± 1.5"));
    bench.steps(&["bond", "cure", "grip"]);
    for sixteenth in [1, 3, 5, 7, 9, 11, 13, 15].repeat(3) {
        bench.reads("length", &format!("37 {sixteenth}/16 in"));
    }
    let sheet = bench.kept().await.sheet();
    // The newest of them first; 23 of the 24 do not count.
    assert!(sheet.contains("Earlier values: length 37 13/16 in (corrected to 37 15/16 in)"), "{sheet}");
    let words: Vec<&str> = sheet.split_whitespace().collect();
    let more = words.windows(4).find(|four| four[2..] == ["more,", "which"]).unwrap()[1].parse::<usize>().unwrap();
    assert_eq!(more + sheet.matches("(corrected").count(), 23, "{sheet}");
}

#[tokio::test]
async fn work_in_between_makes_the_second_value_a_second_pass() {
    let mut bench = Bench::new(&iron("D3 ± 1.5").replace("\"grip\", ", "\"grip\", \"rest\", "));
    bench.steps(&["bond", "cure", "grip"]);
    bench.reads("length", "38 5/8 in");
    bench.steps(&["rest"]);
    bench.reads("length", "38 1/16 in");
    bench.reads("swing_weight", "D2.8");
    bench.steps(&["hand_over"]);
    let kept = bench.kept().await;
    assert!(kept.sheet().contains("length 38 5/8 in (measured again: 38 1/16 in)"), "{}", kept.sheet());
    let history: Value = serde_json::from_str(&kept.says(&["history", "--as", "json"])).unwrap();
    assert_eq!(history["first_pass"]["good"], 0, "{history}");
}

#[tokio::test]
async fn the_table_has_the_cure_that_was_not_waited_for_and_the_time_to_play() {
    let mut bench = Bench::new(&iron("D3 ± 1.5"));
    let product = "adhesive = \"slow\"\nname = \"Slow\"\nsource = \"invented for the test\"\n[[at]]\nfrom = \"18 °C\"\nto = \"24 °C\"\nworking_life = \"20 min\"\ncure = \"8 h\"\nplay = \"24 h\"\n";
    bench.does(json!({"command": "enter_adhesive", "text": product}));
    bench.does(json!({"command": "mix_batch", "adhesive": "slow", "temperature": "21 °C"}));
    bench.steps(&["bond"]);
    bench.does(json!({"command": "override_cure", "club": "W-5/1", "name": "=Ada", "why": "cured in the oven"}));
    bench.steps(&["cure", "grip"]);
    bench.reads("length", "38 1/16 in");
    let kept = bench.kept().await;
    assert_eq!(kept.cell("cure_overridden"), "'=Ada: cured in the oven");
    let bond = kept.json()["adhesive"].clone();
    assert_eq!(kept.cell("not_played_before"), bond["not_before"].as_str().unwrap());
    assert!(kept.sheet().contains("not to be played before"), "{}", kept.sheet());
}
