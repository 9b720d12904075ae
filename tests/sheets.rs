//! Printed sheets, looked at by programs that are not ours: poppler (pdfinfo, pdftotext, pdffonts, pdftoppm) for pages,
//! text and pictures, ZXing's decoder (zxing-cpp from PyPI) for the matrix codes.
//!
//! Sizes of paper: A4 is 210 mm × 297 mm (ISO 216); Letter is 8.5 in × 11 in (ANSI/ASME Y14.1, from memory); a point is
//! 1/72 in (ISO 32000-1, 8.3.2.3).
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod built_club;
mod desk_bench;
mod support;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use benchscribe::config::named_files::NamedFiles;
use benchscribe::work_order::state::State;
use serde_json::{Value, json};
use support::python::{python, run};
use support::{json_lines, on_data};

const DECODER: [&str; 2] = ["zxing-cpp==3.1.1", "pillow==13.0.0"];

/// What a program of poppler says of a file.
#[track_caller]
fn poppler(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).output();
    let output = output.unwrap_or_else(|error| panic!("{program} does not run ({error}): install poppler-utils"));
    // It tells damage on stderr and goes on.
    let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success() && complaint.is_empty(), "{program} {arguments:?}: {complaint}");
    String::from_utf8(output.stdout).unwrap()
}

fn text_of(file: &str) -> String {
    poppler("pdftotext", &["-layout", file, "-"])
}

/// Pages and the size of a page in points.
fn pages_of(file: &str) -> (u32, f64, f64) {
    let info = poppler("pdfinfo", &[file]);
    let line =
        |key: &str| info.lines().find_map(|line| line.strip_prefix(key)).unwrap_or_else(|| panic!("{key} in {info}"));
    let mut size = line("Page size:").split_whitespace();
    let mut number = || size.find_map(|word| word.parse::<f64>().ok()).unwrap();
    (line("Pages:").trim().parse().unwrap(), number(), number())
}

/// The texts of the matrix codes on a page.
#[track_caller]
fn codes_of(file: &str, page: u32, folder: &Path) -> Vec<String> {
    let picture = folder.join("page");
    let (page, picture) = (page.to_string(), picture.display().to_string());
    poppler("pdftoppm", &["-r", "200", "-png", "-singlefile", "-f", &page, "-l", &page, file, &picture]);
    let found = run(&python("zxing", &DECODER), "exports/codes.py", &[&format!("{picture}.png")]).unwrap();
    serde_json::from_str(&found).unwrap()
}

/// All fonts are in the file, as subsets.
#[track_caller]
fn assert_fonts_embedded(file: &str) {
    let list = poppler("pdffonts", &[file]);
    let fonts: Vec<&str> = list.lines().skip(2).collect();
    assert!(!fonts.is_empty());
    for font in fonts {
        // name type encoding emb sub uni object: the first three may hold blanks.
        let words: Vec<&str> = font.split_whitespace().rev().collect();
        assert_eq!(&words[2..5], ["yes", "yes", "yes"], "{font}");
    }
}

struct Printed {
    folder: tempfile::TempDir,
    data: PathBuf,
    records: Vec<Value>,
}

impl Printed {
    async fn of(order: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("data");
        built_club::keep(&data, &built_club::build(order)).await;
        let records = json_lines(&on_data(&data, &["records", "export", "--as", "json"]).1);
        Self { folder, data, records }
    }

    /// Exports into a folder of its own; the files in order.
    #[track_caller]
    fn export(&self, name: &str, arguments: &[&str]) -> Vec<String> {
        let out = self.folder.path().join(name).display().to_string();
        let all = [&["records", "export", "--out", &out], arguments].concat();
        let (code, out, err) = on_data(&self.data, &all);
        assert_eq!(code, Some(0), "{err}");
        out.lines().map(str::to_owned).collect()
    }

    fn token(&self, club: usize) -> String {
        self.records[club]["token"].as_str().unwrap().to_owned()
    }
}

#[tokio::test]
async fn a_sheet_says_what_the_record_says_on_one_page_of_its_paper() {
    let printed = Printed::of(built_club::ORDER).await;
    let mm = |mm: f64| mm / 25.4 * 72.0;
    for (paper, width, height) in [("a4", mm(210.0), mm(297.0)), ("letter", 612.0, 792.0)] {
        let files = printed.export(paper, &["--as", "sheet", "--paper", paper, "--url", "http://bench.local:7311/"]);
        let [set, first, second] = files.as_slice() else { panic!("{files:?}") };
        assert!(set.contains("set-W-1042") && first.contains("club-W-1042-1") && second.contains("club-W-1042-2"));
        for (file, pages) in [(set, 3), (first, 1), (second, 1)] {
            let (found, found_width, found_height) = pages_of(file);
            assert_eq!(found, pages, "{file}");
            assert!(
                (found_width - width).abs() < 0.1 && (found_height - height).abs() < 0.1,
                "{file}: {found_width} {found_height}"
            );
            assert_fonts_embedded(file);
        }
        let text = text_of(first);
        let record = &printed.records[0];
        let entries = record["entries"].as_array().unwrap();
        for entry in entries.iter().filter(|entry| entry["voided"] == false) {
            let shown = entry["text"].as_str().unwrap();
            assert!(text.contains(shown), "{shown} is not in {text}");
            let instrument = entry["instrument"].as_str().unwrap();
            assert!(text.contains(instrument), "{instrument} is not in {text}");
        }
        for words in [
            record["chain"].as_str().unwrap(),
            record["token"].as_str().unwrap(),
            "Größe-7-Eisen (Łódź)",
            "left-handed iron",
            "for Jürgen Ødegård □□□",
            "□ stands for a character",
            "256.0 g ± 3.0 g",
            "at most 430.0 g",
            "Zoë K7",
            "Earlier values:",
            "bond head and shaft",
            "not measured yet",
        ] {
            let missing = words == "not measured yet" && record["state"] == "finished";
            assert!(missing || text.contains(words), "{words:?} is not in {text}");
        }
        // What was taken back is shown as that, and nowhere as a value.
        assert_eq!(text.matches("257.4").count(), 1, "{text}");
        assert!(text.contains("head mass 257.4 g (taken back: "), "{text}");
        let code = format!("http://bench.local:7311/BS1/C/{}", printed.token(0).to_uppercase());
        assert_eq!(codes_of(first, 1, printed.folder.path()), [code]);
        assert_eq!(codes_of(set, 1, printed.folder.path()), ["BS1/O/W-1042"]);
    }
}

#[tokio::test]
async fn without_an_address_the_code_is_the_ticket_and_labels_carry_it_too() {
    let printed = Printed::of(built_club::ORDER).await;
    let sheets = printed.export("sheets", &["--as", "sheet", "--club", "W-1042/2"]);
    let ticket = |club: usize| format!("BS1/C/{}", printed.token(club).to_uppercase());
    assert_eq!(codes_of(&sheets[1], 1, printed.folder.path()), [ticket(1)]);
    assert!(text_of(&sheets[1]).contains("NOT BEGUN"));
    let labels = printed.export("labels", &["--as", "label"]);
    let (pages, width, height) = pages_of(&labels[0]);
    assert_eq!(pages, 2);
    assert!(width < 200.0 && height < 100.0, "{width} {height}");
    for club in 0..2_usize {
        let page = u32::try_from(club).unwrap() + 1;
        assert_eq!(codes_of(&labels[0], page, printed.folder.path()), [ticket(club)]);
    }
    assert!(text_of(&labels[0]).contains("W-1042/1"));
    assert_fonts_embedded(&labels[0]);
}

#[tokio::test]
async fn no_name_breaks_a_sheet() {
    // The longest an order may have: 80 characters.
    let long = "a name that goes on and on, as names of combinations do when nobody stops them: ";
    let unbroken = "x".repeat(80);
    for (name, seen) in [
        (long.trim_end(), "a name that goes on"),
        (unbroken.as_str(), "xxxxxxxx"),
        ("( \\\\ ) <</Type /Catalog>> endobj %PDF", "<</Type /Catalog>> endobj %PDF"),
        ("\\u202E gnorw", "□ gnorw"),
        ("שלום مرحبا", "שלום"),
        ("𝄞 🏌 é", "é"),
    ] {
        let order = built_club::ORDER
            .replace("Größe-7-Eisen (Łódź)", name)
            .replace("Jürgen Ødegård 王小明", name)
            .replace("today, before the evening ferry", name);
        let printed = Printed::of(&order).await;
        let files = printed.export("sheets", &["--as", "sheet"]);
        assert_eq!(pages_of(&files[1]).0, 1, "{name}");
        let text = text_of(&files[1]);
        assert!(text.contains(seen), "{seen:?} is not in {text}");
        assert!(text.contains("W-1042/1") && text.contains("chain"), "{text}");
        assert_eq!(codes_of(&files[1], 1, printed.folder.path()).len(), 1, "{name}");
        pages_of(&printed.export("labels", &["--as", "label"])[0]);
    }
}

#[tokio::test]
async fn a_font_that_is_none_is_refused_in_words() {
    let printed = Printed::of(built_club::ORDER).await;
    let file = printed.folder.path().join("font.ttf");
    std::fs::write(&file, b"no font").unwrap();
    let (code, _, err) =
        on_data(&printed.data, &["records", "export", "--as", "sheet", "--font", &file.display().to_string()]);
    assert!(code == Some(2) && err.contains("TrueType or OpenType"), "{code:?} {err}");
    let (code, _, err) = on_data(&printed.data, &["records", "export", "--as", "sheet", "--club", "W-9/9"]);
    assert!(code == Some(2) && err.contains("no such club"), "{code:?} {err}");
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap()
}

#[test]
fn cards_carry_what_the_scanner_is_to_read() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cards.pdf").display().to_string();
    let cards = ["cards", "--who", "K7", "--order", "W-1042", "--paper", "letter", "--out"];
    let cards = |more: &[&str]| {
        let output = support::benchscribe([&cards[..], more].concat());
        (output.status.code(), text(output.stdout), text(output.stderr))
    };
    let (code, out, err) = cards(&[&file]);
    assert_eq!((code, out.trim(), err.as_str()), (Some(0), file.as_str(), ""));
    let (pages, ..) = pages_of(&file);
    let mut read: Vec<String> = (1..=pages).flat_map(|page| codes_of(&file, page, folder.path())).collect();
    read.sort_unstable();
    // As the README's table has them, with the steps of a build.
    let steps = ["PREPARE", "DRY-FIT", "BOND", "CURE", "CUT", "GRIP", "REST", "ADJUST", "FINAL-CHECK", "HAND-OVER"];
    let deeds = ["D", "A", "N", "V", "W/K7", "O/W-1042", "I/HEAD", "I/SHAFT", "I/GRIP", "I/END"];
    let steps = steps.iter().map(|step| format!("BS1/S/{step}"));
    let mut wanted: Vec<String> = steps.chain(deeds.iter().map(|deed| format!("BS1/{deed}"))).collect();
    wanted.sort_unstable();
    assert_eq!(read, wanted);
    let (code, _, err) = cards(&[&file, "--who", "a b"]);
    assert!(code == Some(2) && err.contains("a b cannot stand on a card"), "{err}");
}

/// Everything that an order can ask for, with the usual tolerances where there are any, for an iron and for its repair.
const MUCH: &str = r#"
order = "W-77"
player = "K. Moor"
due = "2026-12-24 17:00"

[[club]]
name = "7-iron"
kind = "iron"
head_mass = "256 g"
shaft_mass = "115 g ± 2.5 g"
grip_mass = "50 g"
shaft_balance = "560 mm ± 10 mm"
length = "37 3/16 in +1/16 in/-1/8 in"
total_mass = "430 g"
balance_point = "760 mm ± 5 mm"
swing_weight = "D2"
loft = "34 deg"
lie = "61.5 deg"
face_angle = "0.5 deg ± 0.5 deg"
frequency = "300 cpm ± 3 cpm"
moi_butt = "2700 kg.cm2 ± 10 kg.cm2"
grip_diameter_50mm = "23.5 mm ± 0.3 mm"
grip_diameter_125mm = "21.5 mm ± 0.3 mm"
clamp_length = "127 mm ± 1 mm"

[[club]]
name = "8-iron"
kind = "iron"
work = "reshaft"
length = "≤ 46 in"
swing_weight = "D2 ± 0.5"
"#;

/// What marks a text that was cut.
const CUT: char = '…';

#[tokio::test]
async fn no_text_of_the_programs_own_is_cut_on_a_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = desk_bench::DeskBench::new(desk_bench::CONFIG);
    let mut stored = bench.begin();
    for command in [
        serde_json::json!({"command": "import_order", "text": MUCH}),
        serde_json::json!({"command": "open_order", "order": "W-77"}),
        serde_json::json!({"command": "enter", "characteristic": "grip_diameter_50mm", "quantity": "23.5 mm"}),
    ] {
        bench.command(command, &mut stored).unwrap();
    }
    let data = folder.path().join("data");
    built_club::keep(&data, &stored).await;
    for paper in ["a4", "letter"] {
        let out = folder.path().join(paper).display().to_string();
        let (code, files, err) =
            on_data(&data, &["records", "export", "--as", "sheet", "--paper", paper, "--out", &out]);
        assert_eq!(code, Some(0), "{err}");
        for file in files.lines() {
            let text = text_of(file);
            let cut: Vec<&str> = text.lines().filter(|line| line.contains(CUT)).collect();
            assert!(cut.is_empty(), "{file}: {cut:?}");
        }
        let [_, first, second] = [0, 1, 2].map(|file| text_of(files.lines().nth(file).unwrap()));
        assert!(first.contains("clamp length") && first.contains("by default"), "{first}");
        // The longest caution goes over two lines.
        assert!(second.contains("wet work, no compressed air; fibres irritate skin, eyes and"), "{second}");
    }
}

/// What is in the drawers; invented.
const KIT: &str = r#"
kit = "test"
[[place]]
name = "head"
label = "at the head"
before_end = "0 mm"
most_mass = "20 g"
most_pieces = 8
[[weight]]
name = "w-2"
mass = "2 g"
stock = 30
places = ["head"]
[[grip]]
name = "trailer-mid"
mass = "50 g"
stock = 2
"#;

/// The iron of [`MUCH`] with parts of the stock and out of the drawers, bent twice; `again` weights were put in and taken out.
fn of_parts(again: usize) -> desk_bench::Stored {
    let files = NamedFiles::kept(BTreeMap::from([("kit.toml".to_owned(), KIT.to_owned())]));
    let config = format!("kits = [\"kit.toml\"]\n{}", desk_bench::CONFIG);
    let mut bench = desk_bench::DeskBench::with_files(&config, &files, State::default());
    let mut stored = bench.begin();
    let does = |bench: &mut desk_bench::DeskBench, stored: &mut desk_bench::Stored, command: Value| {
        bench.command(command.clone(), stored).unwrap_or_else(|words| panic!("{command}: {words}"));
    };
    let scanned = |code: &str| json!({"command": "scan", "code": code});
    does(&mut bench, &mut stored, scanned("BS1/W/K7"));
    for (kind, grams, code) in [("head", 256.1, "(01)09506000134352(10)AB-7(21)12"), ("shaft", 115.2, "(10)RD-60")] {
        does(&mut bench, &mut stored, json!({"command": "begin_intake", "kind": kind, "instrument": "scale"}));
        bench.weigh("scale", [grams, 0.0], [0.0, 0.0], &mut stored);
        does(&mut bench, &mut stored, scanned(code));
        does(&mut bench, &mut stored, json!({"command": "end_intake"}));
    }
    does(&mut bench, &mut stored, json!({"command": "describe_part", "part": "S-1", "model": "reed 60"}));
    does(&mut bench, &mut stored, json!({"command": "import_order", "text": MUCH}));
    does(&mut bench, &mut stored, json!({"command": "open_order", "order": "W-77"}));
    for command in [
        scanned("BS1/P/H-1"),
        scanned("BS1/P/S-1"),
        json!({"command": "take_part", "item": "trailer-mid"}),
        json!({"command": "take_part", "item": "w-2", "pieces": 2}),
        json!({"command": "step_done", "step": "bond"}),
        json!({"command": "step_done", "step": "grip"}),
        json!({"command": "enter", "characteristic": "lie", "quantity": "60.5 deg"}),
        json!({"command": "enter", "characteristic": "loft", "quantity": "33 deg"}),
        json!({"command": "bend", "characteristic": "lie", "quantity": "1.2 deg upright"}),
        json!({"command": "bend", "characteristic": "loft", "quantity": "1 deg weaker"}),
        json!({"command": "enter", "characteristic": "lie", "quantity": "61.4 deg"}),
    ] {
        does(&mut bench, &mut stored, command);
    }
    for number in 1..=again {
        does(&mut bench, &mut stored, json!({"command": "take_part", "item": "w-2"}));
        let why = format!("trial {number}: the player did not like how that felt at the top of the swing");
        does(&mut bench, &mut stored, json!({"command": "put_back", "why": why}));
    }
    stored
}

/// A word with its box, in points from the upper left corner of its page: left, top, right, bottom.
type Boxed = ([f64; 4], String);

/// Width, height and words of each page, in points.
fn boxes(file: &str) -> Vec<(f64, f64, Vec<Boxed>)> {
    let html = poppler("pdftotext", &["-bbox", file, "-"]);
    let number = |line: &str, name: &str| -> f64 {
        let rest = line.split_once(&format!("{name}=\"")).unwrap().1;
        rest.split('"').next().unwrap().parse().unwrap()
    };
    let mut pages = Vec::new();
    for line in html.lines().map(str::trim) {
        if line.starts_with("<page") {
            pages.push((number(line, "width"), number(line, "height"), Vec::new()));
        } else if line.starts_with("<word") {
            let place = ["xMin", "yMin", "xMax", "yMax"].map(|name| number(line, name));
            let text = line.split_once('>').unwrap().1.trim_end_matches("</word>");
            pages.last_mut().unwrap().2.push((place, text.to_owned()));
        }
    }
    pages
}

#[tokio::test]
async fn a_sheet_says_what_went_in_and_how_it_was_bent_and_goes_on_on_a_further_page() {
    let folder = tempfile::tempdir().unwrap();
    for again in [0, 30] {
        let data = folder.path().join(format!("data-{again}"));
        built_club::keep(&data, &of_parts(again)).await;
        for paper in ["a4", "letter"] {
            let out = folder.path().join(format!("{paper}-{again}")).display().to_string();
            let arguments = ["records", "export", "--as", "sheet", "--paper", paper, "--club", "W-77/1", "--out", &out];
            let (code, files, err) = on_data(&data, &arguments);
            assert_eq!(code, Some(0), "{err}");
            let file = files.lines().nth(1).unwrap();
            let text = text_of(file);
            let pages = boxes(file);
            let count = pages.len();
            assert!(if again == 30 { count > 1 } else { count <= 2 }, "{paper} {again}: {count} pages");
            // Lines of a table are wrapped: each word stands there.
            for words in [
                "head H-1",
                "lot AB-7, serial 12, item",
                "09506000134352",
                "256.1 g",
                "shaft S-1",
                "reed 60",
                "lot RD-60",
                "115.2 g",
                "trailer-mid",
                "out of the drawers",
                "50.00 g",
                "2 × w-2",
                "4.00 g",
                "60.5 deg",
                "61.4 deg",
                "1.2 deg upright",
                "1.0 deg weaker",
                "not measured again",
                "Take care.",
                "Data sheets",
            ] {
                assert!(text.contains(words), "{paper} {again}: {words:?} is not in {text}");
            }
            let joined: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
            let trials =
                (1..=again).filter(|n| joined.contains(&format!("(trial {n}: the player did not like"))).count();
            assert!(trials == again && !text.contains(CUT), "{paper}: {trials} of {again} in {text}");
            for (number, (width, height, words)) in pages.iter().enumerate() {
                let page = format!("PAGE {} OF {count}", number + 1);
                assert!(count == 1 || text.contains(&page), "{page} is not in {text}");
                // The foot begins 24 mm above the lower edge with a line; nothing but it stands below.
                let foot = height - 24.0 / 25.4 * 72.0;
                let chain = words.iter().find(|(_, word)| word == "chain").unwrap().0;
                for (place, word) in words {
                    let is_inside = place[0] > 20.0 && place[2] < width - 20.0 && place[3] < height - 20.0;
                    assert!(is_inside, "{paper} {again}, page {number}: {word} at {place:?}");
                    assert!(
                        place[3] < foot || place[1] >= chain[1] - 1.0,
                        "{word} stands in the foot of page {number}"
                    );
                }
                // No line is written over another one: words that share a place in both directions do.
                for (at, (one, word)) in words.iter().enumerate() {
                    for (other, on_it) in words.iter().skip(at + 1) {
                        let shared = |low: usize| one[low + 2].min(other[low + 2]) - one[low].max(other[low]);
                        let height = (one[3] - one[1]).min(other[3] - other[1]);
                        let is_over = shared(0) > 1.0 && shared(1) > 0.5 * height;
                        assert!(!is_over, "{paper} {again}, page {number}: {word} {one:?} and {on_it} {other:?}");
                    }
                }
            }
        }
    }
}

#[test]
fn no_text_is_cut_on_a_card() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cards.pdf").display().to_string();
    let output = support::benchscribe(["cards", "--who", "K7", "--order", "W-1042", "--out", &file]);
    assert!(output.status.success());
    let text = text_of(&file);
    assert!(text.contains("take back") && !text.contains(CUT), "{text}");
}

#[tokio::test]
async fn a_label_has_what_is_asked_for_marked_so_and_what_was_built_once_it_is_finished() {
    let printed = Printed::of(built_club::ORDER).await;
    let label = |name: &str| text_of(&printed.export(name, &["--as", "label", "--club", "W-1042/1"])[0]);
    let before = label("before");
    assert!(before.contains("asked 38 in, D2.0"), "{before}");
    let handed_over = ["records", "override", "W-1042/1", "hand-over", "--by", "K7", "--why", "as agreed"];
    let (code, _, err) = on_data(&printed.data, &handed_over);
    assert_eq!(code, Some(0), "{err}");
    let shown = |characteristic: &str| {
        let entries = printed.records[0]["entries"].as_array().unwrap();
        let entry = entries.iter().rfind(|entry| entry["characteristic"] == characteristic && entry["voided"] == false);
        entry.unwrap()["text"].as_str().unwrap().to_owned()
    };
    let built = format!("{}, {}", shown("length"), shown("swing_weight"));
    assert!(built != "38 in, D2.0", "the club is built as asked: it tells nothing");
    let after = label("after");
    assert!(after.contains(&built) && !after.contains("asked") && !after.contains(CUT), "{built}: {after}");
}
