//! Old records moved into files of their own: found there as they were, nothing moved that is needed, nothing lost on the way.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the program")]

mod grown_journal;
mod support;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use benchscribe::audit::{audit, audit_chain};
use benchscribe::journal::archive::{FoundClub, Key, Search};
use benchscribe::journal::event::rfc3339;
use benchscribe::journal::store::{Journal, JournalError, Reader, StoredRow};
use benchscribe::output::adhesive_view::timers;
use benchscribe::work_order::state::State;
use grown_journal::{BENCH, EPOCH, START_US, STEP_US, Writer, filed_value};
use serde_json::json;
use support::{Dice, on_data};

/// Orders in the journal besides the one that stays open.
const ORDERS: u64 = 60;

/// What is worked later comes behind the event that tells of the first segment, whose time is the real one: twenty years.
const LATER_US: i64 = 20 * 365 * 24 * 3600 * 1_000_000;

/// A club as it is built by hand: no raw bytes, so that every number can be proved.
fn build(writer: &mut Writer, club: &str, batch: &str) {
    writer.write("club_opened", json!({"club": club}));
    let value = json!({"club": club, "text": "256 g", "value": filed_value("head_mass", 256.0, "within")});
    writer.write("value_typed", value);
    writer.write("step_done", json!({"club": club, "step": "bond", "batch": batch}));
    let part =
        json!({"item": "w-2", "item_kind": "weight", "pieces": 1, "mass_g": 2.0, "place": "head", "at_mm": 965.0});
    writer.write("parts_taken", json!({"club": club, "parts": [part]}));
    writer.write("club_finished", json!({"club": club}));
}

/// Two clubs an order; of the first order one club stays open.
fn orders(writer: &mut Writer, numbers: std::ops::RangeInclusive<u64>) {
    for number in numbers {
        writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
        writer.order("order_imported", &format!("W-{number}"), "P-1", 2);
        let batch = format!("B-{number}");
        writer.write(
            "batch_mixed",
            json!({"batch": {"name": &batch, "adhesive": "quick", "product": "Quick", "lot": null,
            "temperature_c": 21.0, "working_life_s": 1200.0, "cure_s": 60.0, "play_s": 90.0}}),
        );
        for n in 1..=if number == 1 { 1 } else { 2 } {
            build(writer, &format!("W-{number}/{n}"), &batch);
        }
    }
}

async fn data(folder: &Path) -> Writer {
    let mut writer = Writer::new();
    writer.calibrated("parts-scale", "configuration", false);
    let place =
        json!({"name": "head", "label": "at the head", "before_end_mm": 0.0, "most_mass_g": 15.0, "most_pieces": 3});
    let item =
        json!({"name": "w-2", "item_kind": "weight", "mass_cg": 200, "stock": 500, "low": 3, "places": ["head"]});
    writer.write("drawers_set", json!({"places": [place], "items": [item]}));
    orders(&mut writer, 1..=ORDERS);
    append(folder, &mut writer).await;
    writer
}

async fn append(folder: &Path, writer: &mut Writer) {
    std::fs::create_dir_all(folder).unwrap();
    let mut journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    for batch in std::mem::take(&mut writer.events).chunks(50) {
        journal.append(batch, &[]).await.unwrap();
    }
    journal.close().await;
}

/// Seals everything before a time and retires it; the code, what was said, and what went wrong.
fn retire(data: &Path, out: &Path, day: &str) -> (Option<i32>, String, String) {
    let out_name = out.display().to_string();
    let (code, said, err) = on_data(data, &["records", "seal", "--before", day, "--out", &out_name]);
    if code != Some(0) {
        return (code, said, err);
    }
    let (file, _) = said.split_once(": events").unwrap();
    let (code, retired, err) = on_data(data, &["records", "retire", file]);
    (code, said + &retired, err)
}

/// The day before which the first so many events were.
fn before(seq: u64) -> String {
    rfc3339(START_US + i64::try_from(seq).unwrap() * STEP_US)
}

/// All events of a journal as they are stored.
async fn rows(folder: &Path) -> Vec<StoredRow> {
    let reader = Reader::open(folder).await.unwrap();
    let rows = reader.after(0, 100_000).await.unwrap();
    reader.close().await;
    rows
}

/// All clubs of a journal and of the segments beside it, as they are found.
async fn clubs(folder: &Path, out: &Path) -> BTreeMap<String, FoundClub> {
    let reader = Reader::open(folder).await.unwrap();
    let lines = reader.search(&Search { limit: 10_000, ..Search::default() }).await.unwrap().clubs;
    let mut found = BTreeMap::new();
    for line in lines {
        let club = match reader.segment_of(&line.club).await.unwrap() {
            None => reader.club(&line.club).await.unwrap(),
            Some(segment) => {
                let here = reader.club(&line.club).await;
                assert!(matches!(here, Err(JournalError::Retired { .. })), "{} is in both", line.club);
                let elsewhere = Reader::open_file(out.join(&segment.file)).await.unwrap();
                let club = elsewhere.club(&line.club).await.unwrap();
                elsewhere.close().await;
                club
            }
        };
        found.insert(line.club, club.unwrap());
    }
    reader.close().await;
    found
}

async fn at_hand(folder: &Path) -> State {
    let reader = Reader::open(folder).await.unwrap();
    let state = reader.at_hand().await.unwrap();
    reader.close().await;
    state
}

fn assert_same(found: &State, whole: &State) {
    assert_eq!(found.orders, whole.orders);
    assert_eq!(found.clubs, whole.clubs);
    assert_eq!(found.order_sequence, whole.order_sequence);
    assert_eq!(found.calibrations, whole.calibrations);
    assert_eq!(found.trust.configured, whole.trust.configured);
    assert_eq!(found.adhesives.batches, whole.adhesives.batches);
    assert_eq!(found.drawer_stock, whole.drawer_stock);
    assert_eq!(found.last_value(), whole.last_value());
}

async fn assert_holds(folder: &Path) {
    let reader = Reader::open(folder).await.unwrap();
    let found = audit(&reader).await;
    reader.close().await;
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

fn segments(out: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(out).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "sqlite"));
    files.sort();
    files
}

#[tokio::test]
async fn old_records_are_found_in_their_segment_and_the_bench_goes_on_as_before() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, out) = (folder.path().join("data"), folder.path().join("out"));
    let mut writer = data(&data_folder).await;
    assert_holds(&data_folder).await;
    let all = clubs(&data_folder, &out).await;
    let state = at_hand(&data_folder).await;
    let before_all = rows(&data_folder).await;
    let out_name = out.display().to_string();
    // Nothing that old is there yet.
    let (code, _, err) = retire(&data_folder, &out, "2020-01-01");
    assert!(code == Some(1) && err.contains("nothing is sealed or retired"), "{code:?} {err}");
    assert!(rows(&data_folder).await == before_all, "the journal is another one");

    let half = writer.seq / 2;
    let (code, said, err) = retire(&data_folder, &out, &before(half + 1));
    assert_eq!(code, Some(0), "{said}{err}");
    assert!(said.contains(&format!("events 1 to {half}, chain ")), "{said}");
    assert_eq!(clubs(&data_folder, &out).await, all);
    assert_same(&at_hand(&data_folder).await, &state);
    assert_holds(&data_folder).await;
    let (code, verified, _) = on_data(&data_folder, &["records", "verify", "--segments", &out_name]);
    assert!(code == Some(0) && verified.contains(&format!("events 1 to {half}: all agree")), "{verified}");
    let (code, verified, _) = on_data(&data_folder, &["records", "verify"]);
    assert!(code == Some(0) && verified.contains("elsewhere, not proved"), "{verified}");
    let reader = Reader::open(&data_folder).await.unwrap();
    let rows = reader.after(0, 10_000).await.unwrap();
    let stayed = rows.iter().filter(|row| row.seq <= half).count();
    assert!(u64::try_from(stayed).unwrap() < half * 2 / 3, "{stayed} of {half} events stayed");
    // The order that is not over is not in the segment alone, though it is the oldest.
    assert_eq!(reader.segment_of("W-1/1").await.unwrap(), None);
    let segment = reader.segment_of("W-2/1").await.unwrap().unwrap();
    // Its number is not given again, and nothing is added to it.
    let place = reader.order_of(Key::Order("W-2")).await.unwrap().unwrap();
    let refused = reader.recall(&mut State::default(), &place).await;
    assert!(matches!(refused, Err(JournalError::Retired { .. })), "{refused:?}");
    reader.close().await;

    // Who asks for a record is told where it is, or shown it from there.
    let (code, _, err) = on_data(&data_folder, &["records", "show", "W-2/1"]);
    assert!(code == Some(2) && err.contains(&segment.file), "{err}");
    let (code, shown, err) = on_data(&data_folder, &["records", "show", "W-2/1", "--segments", &out_name]);
    assert!(code == Some(0) && shown.contains("256"), "{shown}{err}");
    let (_, listed, _) = on_data(&data_folder, &["records", "list"]);
    assert!(listed.lines().any(|line| line.starts_with("W-2/1") && line.contains(&segment.file)), "{listed}");
    let (_, listed, _) = on_data(&data_folder, &["records", "list", "--club", "W-2/1", "--json"]);
    let listed: serde_json::Value = serde_json::from_str(&listed).unwrap();
    assert_eq!(listed["records"][0]["segment"], segment.file.as_str(), "{listed}");
    let (_, listed, _) = on_data(&data_folder, &["records", "list", "--club", "W-1/1", "--json"]);
    let listed: serde_json::Value = serde_json::from_str(&listed).unwrap();
    assert!(listed["records"][0]["club"] == "W-1/1" && listed["records"][0]["segment"].is_null(), "{listed}");
    let (code, none, err) = on_data(&data_folder, &["records", "list", "--club", "W-0/9"]);
    assert!(code == Some(0) && none.lines().count() == 1 && err.contains("no club of this journal is meant"), "{err}");
    let (code, _, err) = on_data(&data_folder, &["records", "enter", "W-2/1", "length", "38 in"]);
    assert!(code == Some(2) && err.contains(&segment.file), "{err}");

    // The open club is finished, the bench works on, and the next segment takes what was kept for it.
    build(&mut writer, "W-1/2", "B-60");
    writer.seq += 1; // the event that told of the first segment
    orders(&mut writer, ORDERS + 1..=ORDERS + 40);
    let mut journal = Journal::open(&data_folder, BENCH, EPOCH).await.unwrap();
    let mut numbering = benchscribe::work_order::event::Numbering::after(EPOCH, journal.last_seq());
    let events: Vec<_> = std::mem::take(&mut writer.events)
        .into_iter()
        .map(|event| {
            let stamp = benchscribe::measurement::stamp::Stamp { t_s: 0.0, at_us: event.at_us + LATER_US };
            numbering.event(stamp, event.by.as_deref(), event.change)
        })
        .collect();
    journal.append(&events, &[]).await.unwrap();
    journal.reindex().await.unwrap();
    journal.close().await;
    let (all, state) = (clubs(&data_folder, &out).await, at_hand(&data_folder).await);
    assert_eq!(all.len(), usize::try_from(2 * (ORDERS + 40)).unwrap());
    let day = rfc3339(START_US + LATER_US + i64::try_from(writer.seq - 100).unwrap() * STEP_US);
    let (code, said, err) = retire(&data_folder, &out, &day);
    assert_eq!(code, Some(0), "{said}{err}");
    assert_eq!(clubs(&data_folder, &out).await, all);
    assert_same(&at_hand(&data_folder).await, &state);
    assert_eq!(segments(&out).len(), 2);
    let reader = Reader::open(&data_folder).await.unwrap();
    let of_first = reader.segment_of("W-1/1").await.unwrap().unwrap();
    assert!(of_first.first > half, "the club that was open is in the first segment");
    reader.close().await;
    let (code, verified, _) = on_data(&data_folder, &["records", "verify", "--segments", &out_name]);
    assert!(code == Some(0) && verified.matches("all agree").count() == 3, "{verified}");

    // A changed segment is named.
    let first = &segments(&out)[0];
    let mut bytes = std::fs::read(first).unwrap();
    let at = bytes.windows(5).position(|window| window == b"256 g").unwrap();
    bytes[at] ^= 1;
    std::fs::write(first, bytes).unwrap();
    let (code, verified, _) = on_data(&data_folder, &["records", "verify", "--segments", &out_name]);
    assert!(code == Some(1) && verified.contains("the file is not the one that was written"), "{verified}");
}

/// Runs the program and kills it after a time, unless that is `None`; whether it was cut off.
fn cut_off(after: Option<Duration>, arguments: &[&str], data: &Path) -> bool {
    let mut command = Command::new(env!("CARGO_BIN_EXE_benchscribe"));
    command.args(arguments).arg("--data").arg(data).stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = command.spawn().unwrap();
    let Some(after) = after else {
        assert!(child.wait().unwrap().success());
        return false;
    };
    std::thread::sleep(after);
    let is_cut = child.try_wait().unwrap().is_none();
    // SIGKILL, as a power cut but for the disk's own cache.
    child.kill().ok();
    child.wait().unwrap();
    is_cut
}

#[tokio::test]
async fn sealing_and_retiring_cut_off_anywhere_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let made = folder.path().join("made");
    let writer = data(&made).await;
    let all = clubs(&made, folder.path()).await;
    let day = before(writer.seq / 2);
    let mut dice = Dice(5);
    let (mut cuts, mut times) = ([0, 0], [Duration::ZERO; 2]);
    for round in 0..10 {
        let (data, out) = (folder.path().join(format!("data-{round}")), folder.path().join(format!("out-{round}")));
        std::fs::create_dir_all(&data).unwrap();
        std::fs::copy(made.join("journal.sqlite"), data.join("journal.sqlite")).unwrap();
        let out_name = out.display().to_string();
        let seal = ["records", "seal", "--before", &day, "--out", &out_name];
        let mut after = |step: usize| (round > 0).then(|| dice.time(Duration::ZERO, times[step]));
        let (first, second) = (after(0), after(1));
        let start = Instant::now();
        cuts[0] += u32::from(cut_off(first, &seal, &data));
        let sealing = start.elapsed();
        assert_whole(&data, &out, &all, round).await;
        // Another go ends it, or finds it ended.
        let (code, said, err) = on_data(&data, &seal);
        assert_eq!(code, Some(0), "round {round}: {said}{err}");
        let file = segments(&out).pop().unwrap().display().to_string();
        let start = Instant::now();
        cuts[1] += u32::from(cut_off(second, &["records", "retire", &file], &data));
        if round == 0 {
            times = [sealing, start.elapsed()];
        }
        assert_whole(&data, &out, &all, round).await;
        let (code, said, err) = on_data(&data, &["records", "retire", &file]);
        assert_eq!(code, Some(0), "round {round}: {said}{err}");
        assert_whole(&data, &out, &all, round).await;
        let (code, verified, _) = on_data(&data, &["records", "verify", "--segments", &out_name]);
        assert!(code == Some(0) && verified.matches("all agree").count() == 2, "round {round}: {verified}");
        assert!(!data.join("retiring").exists());
    }
    assert!(cuts.iter().all(|cut| *cut >= 3), "only {cuts:?} were cut off");
}

/// Every record is found, here or in the segment, and the chain holds.
async fn assert_whole(data: &Path, out: &Path, all: &BTreeMap<String, FoundClub>, round: u32) {
    let reader = Reader::open(data).await.unwrap();
    let found = audit_chain(&reader).await;
    reader.close().await;
    assert!(found.faults.is_empty(), "round {round}: {:?}", found.faults);
    assert_eq!(clubs(data, out).await, *all, "round {round}");
}

#[tokio::test]
async fn what_is_not_sealed_and_whole_is_not_retired() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, out) = (folder.path().join("data"), folder.path().join("out"));
    let writer = data(&data_folder).await;
    let journal = rows(&data_folder).await;
    let (day, out_name) = (before(writer.seq / 2), out.display().to_string());
    let (code, said, err) = on_data(&data_folder, &["records", "seal", "--before", &day, "--out", &out_name]);
    assert_eq!(code, Some(0), "{said}{err}");
    let file = segments(&out).pop().unwrap();
    let (name, manifest) = (file.display().to_string(), file.with_extension("json"));
    // The sealed file is proved by itself, without a journal.
    let verify = || {
        let output = support::benchscribe(["records", "verify", "--file", &name]);
        (output.status.code(), String::from_utf8(output.stdout).unwrap())
    };
    let (code, said) = verify();
    assert!(code == Some(0) && said.contains("all agree"), "{said}");
    let (sealed, told) = (std::fs::read(&file).unwrap(), std::fs::read_to_string(&manifest).unwrap());
    // A bit of a value, of a token, of the schema; a file without its manifest, with that of another one.
    for what in [b"256 g".as_slice(), b"W-30/2", b"CREATE TRIGGER"] {
        let mut damaged = sealed.clone();
        // Every copy: what is left over in the free space of a page says nothing.
        for place in 0..sealed.len() - what.len() {
            damaged[place] ^= u8::from(sealed[place..].starts_with(what));
        }
        let what = String::from_utf8_lossy(what);
        std::fs::write(&file, &damaged).unwrap();
        let (code, said) = verify();
        assert!(code == Some(1) && said.contains("not the one that was written"), "{what}: {said}");
        // A manifest that agrees with the damaged file does not help.
        let (is, was) = (benchscribe::journal::chain::sha256(&damaged), benchscribe::journal::chain::sha256(&sealed));
        std::fs::write(&manifest, told.replace(&was, &is)).unwrap();
        let (code, _, err) = on_data(&data_folder, &["records", "retire", &name]);
        assert!(code == Some(1) && err.contains("does not hold"), "{what}: {err}");
        assert!(rows(&data_folder).await == journal, "the journal is another one");
        std::fs::write(&manifest, &told).unwrap();
    }
    std::fs::write(&file, &sealed).unwrap();
    std::fs::write(&manifest, told.replace("\"bench\": \"", "\"bench\": \"other-")).unwrap();
    let (code, _, err) = on_data(&data_folder, &["records", "retire", &name]);
    assert!(code == Some(1) && err.contains("is of journal"), "{err}");
    std::fs::remove_file(&manifest).unwrap();
    let (code, _, err) = on_data(&data_folder, &["records", "retire", &name]);
    assert!(code == Some(2) && err.contains("records seal"), "{err}");
    assert!(rows(&data_folder).await == journal, "the journal is another one");

    // An event that stayed is told from one that was changed, although the events around it are elsewhere.
    std::fs::write(&manifest, &told).unwrap();
    let (code, said, err) = on_data(&data_folder, &["records", "retire", &name]);
    assert_eq!(code, Some(0), "{said}{err}");
    let rest = data_folder.join("journal.sqlite");
    let mut bytes = std::fs::read(&rest).unwrap();
    let taken = b"\"kind\":\"parts_taken\",\"parts\":[{\"at_mm\":965";
    let place = bytes.windows(taken.len()).position(|window| window == taken).unwrap() + taken.len() - 1;
    bytes[place] ^= 1;
    std::fs::write(&rest, bytes).unwrap();
    let (code, said, _) = on_data(&data_folder, &["records", "verify"]);
    assert!(code == Some(1) && said.contains("that stayed"), "{said}");
}

/// A club that is not to be played yet has a timer on the page, so its order stays at hand however old it is.
#[tokio::test]
async fn a_club_that_is_not_to_be_played_yet_is_not_retired() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, out) = (folder.path().join("data"), folder.path().join("out"));
    let mut writer = Writer::new();
    orders(&mut writer, 1..=15);
    writer.order("order_imported", "W-0", "P-1", 1);
    let batch = json!({"name": "B-0", "adhesive": "slow", "product": "Slow", "lot": null, "temperature_c": 21.0,
        "working_life_s": 1200.0, "cure_s": 3600.0, "play_s": 86_400.0});
    writer.write("batch_mixed", json!({"batch": batch}));
    build(&mut writer, "W-0/1", "B-0");
    orders(&mut writer, 16..=ORDERS);
    let now = writer.events.last().unwrap().at_us;
    append(&data_folder, &mut writer).await;
    let told = timers(&at_hand(&data_folder).await, now);
    assert!(told.iter().any(|timer| timer.of == "W-0/1"), "{told:?}");
    let (code, said, err) = retire(&data_folder, &out, &before(writer.seq / 2));
    assert_eq!(code, Some(0), "{said}{err}");
    let reader = Reader::open(&data_folder).await.unwrap();
    assert_eq!(reader.segment_of("W-0/1").await.unwrap(), None);
    assert!(reader.segment_of("W-2/1").await.unwrap().is_some());
    reader.close().await;
}

#[tokio::test]
async fn why_nothing_is_old_enough_and_what_is_not_published_is_said_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, out) = (folder.path().join("data"), folder.path().join("out"));
    let mut writer = Writer::new();
    writer.calibrated("parts-scale", "configuration", false);
    orders(&mut writer, 1..=12);
    append(&data_folder, &mut writer).await;
    // The club of the first order that is open, and the order of the one that was in hand last; the rest is finished.
    let (code, _, err) = retire(&data_folder, &out, &before(writer.seq));
    assert!(
        code == Some(1)
            && err.contains("12 orders are that old, and all stay: 2 are not over, or have the club that was in hand last; 10 are among the last 20, which stay at hand"),
        "{code:?} {err}"
    );
    let (code, _, err) = retire(&data_folder, &out, &before(2));
    assert!(code == Some(1) && err.contains("no order is that old and not retired yet"), "{code:?} {err}");

    orders(&mut writer, 13..=ORDERS);
    append(&data_folder, &mut writer).await;
    let journal = Journal::open(&data_folder, BENCH, EPOCH).await.unwrap();
    // A broker that took the first hundred events and fewer records, and had once got farther.
    for (follower, seq) in [("mqtt", 100), ("mqtt-records", 90), ("mqtt-furthest", 95)] {
        journal.reader().set_cursor(follower, seq, START_US).await.unwrap();
    }
    journal.close().await;
    let half = writer.seq / 2;
    let (code, said, err) = retire(&data_folder, &out, &before(half + 1));
    assert_eq!(code, Some(0), "{said}{err}");
    let lines: Vec<&str> = said.lines().filter(|line| line.contains("MQTT")).collect();
    let line = |what: &str, from: u64| {
        format!(
            "MQTT: the {what} of {from} to {half} were not published yet, and will not be; what is retired is in the segment alone"
        )
    };
    assert_eq!(lines, [line("events", 101), line("records", 91)], "{said}");
    assert!(!said.contains("furthest"), "{said}");
}

/// A database that was damaged and mended: what is lost stays told, and what is whole is found here or in its segment.
#[tokio::test]
async fn a_mended_journal_with_gaps_is_retired_like_any_other() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, out) = (folder.path().join("data"), folder.path().join("out"));
    let writer = data(&data_folder).await;
    let file = data_folder.join("journal.sqlite");
    // A page in the part that is retired, and one behind it.
    for seq in [writer.seq / 4, writer.seq * 3 / 4] {
        let mut bytes = std::fs::read(&file).unwrap();
        let text = format!("\"seq\":{seq},");
        let at = bytes.windows(text.len()).position(|window| window == text.as_bytes()).unwrap();
        bytes[at / 4096 * 4096..(at / 4096 + 1) * 4096].fill(0);
        std::fs::write(&file, bytes).unwrap();
    }
    let (code, said, err) = on_data(&data_folder, &["salvage"]);
    assert!(code == Some(0) && said.contains("lost: "), "{code:?} {said}{err}");
    let gaps = async || {
        let reader = Reader::open(&data_folder).await.unwrap();
        let found = audit_chain(&reader).await;
        reader.close().await;
        assert!(found.faults.is_empty(), "{:?}", found.faults);
        found.known_gaps.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    let lost = gaps().await;
    assert_eq!(lost.len(), 2, "{lost:?}");
    let (all, state) = (clubs(&data_folder, &out).await, at_hand(&data_folder).await);
    assert!(all.len() > 100, "{}", all.len());
    let (code, said, err) = retire(&data_folder, &out, &before(writer.seq / 2));
    assert_eq!(code, Some(0), "{said}{err}");
    assert_eq!(clubs(&data_folder, &out).await, all);
    assert_same(&at_hand(&data_folder).await, &state);
    // The gap behind the segment is told as before; the one in it by the segment.
    assert!(gaps().await.contains(&lost[1]), "{:?}", gaps().await);
    let out_name = out.display().to_string();
    let (code, verified, err) = on_data(&data_folder, &["records", "verify", "--segments", &out_name]);
    assert!(code == Some(0), "{verified}{err}");
    assert!(verified.contains(&lost[0]) && verified.contains(&lost[1]), "{lost:?}: {verified}");
    // It goes on: a club that is handed over is typed for only while it is in hand.
    let (code, said, err) = on_data(&data_folder, &["orders", "open", "W-60/2"]);
    assert_eq!(code, Some(0), "{said}{err}");
    let (code, said, err) = on_data(&data_folder, &["records", "enter", "W-60/2", "length", "38 in"]);
    assert_eq!(code, Some(0), "{said}{err}");
}
