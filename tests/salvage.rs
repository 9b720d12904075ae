//! A clean journal made from what is whole of a damaged one: nothing whole is lost, nothing lost is hidden.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the program")]

mod grown_journal;
mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use benchscribe::audit::{Audit, audit_chain};
use benchscribe::journal::store::{Journal, Reader, StoredRow};
use benchscribe::work_order::event::Event;
use grown_journal::{BENCH, EPOCH, Writer, build_club};
use support::{Dice, on_data};

const PAGE: usize = 4096;

/// A data folder with some clubs, and their events.
async fn data(folder: &Path) -> Vec<Event> {
    let mut writer = Writer::new();
    for number in 1..=3 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 2);
        for n in 1..=2 {
            build_club(&mut writer, &format!("W-{number}/{n}"), n == 2);
        }
    }
    std::fs::create_dir_all(folder).unwrap();
    let mut journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    for batch in writer.events.chunks(7) {
        journal.append(batch, &[]).await.unwrap();
    }
    journal.close().await;
    writer.events
}

/// Empties the page that an event's text lies on.
fn tear_out(file: &Path, seq: u64) {
    let mut bytes = std::fs::read(file).unwrap();
    let text = format!("\"seq\":{seq},");
    let at = bytes.windows(text.len()).position(|window| window == text.as_bytes()).unwrap();
    bytes[at / PAGE * PAGE..(at / PAGE + 1) * PAGE].fill(0);
    std::fs::write(file, bytes).unwrap();
}

async fn rows(file: &Path) -> Vec<StoredRow> {
    let reader = Reader::open_file(file.to_owned()).await.unwrap();
    let rows = reader.after(0, 100_000).await.unwrap();
    reader.close().await;
    rows
}

async fn chain(folder: &Path) -> Audit {
    let reader = Reader::open(folder).await.unwrap();
    let audit = audit_chain(&reader).await;
    reader.close().await;
    audit
}

fn kept(out: &str) -> PathBuf {
    PathBuf::from(out.lines().find_map(|line| line.strip_prefix("the damaged journal is ")).unwrap())
}

#[tokio::test]
async fn a_journal_with_a_torn_out_page_goes_on_and_tells_of_the_gap() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, file) = (folder.path().join("data"), folder.path().join("data/journal.sqlite"));
    let events = data(&data_folder).await;
    let last = u64::try_from(events.len()).unwrap();
    let before = rows(&file).await;
    // Nothing is done to a journal that holds.
    let (code, out, err) = on_data(&data_folder, &["salvage"]);
    assert!(code == Some(0) && out.contains("nothing is damaged"), "{code:?} {out}{err}");
    tear_out(&file, 100);
    let damaged = std::fs::read(&file).unwrap();

    // Reading says what is wrong, and reads the rest all the same.
    let (code, out, _) = on_data(&data_folder, &["records", "verify"]);
    assert!(code == Some(1) && out.contains("\nevent 100: the database cannot read it"), "{out}");
    let (code, out, err) = on_data(&data_folder, &["records", "list"]);
    assert!(code == Some(1) && err.contains("the journal is damaged"), "{code:?} {err}");
    assert_eq!(out.lines().count(), 7, "{out}");
    let (code, out, err) = on_data(&data_folder, &["records", "show", "W-1/1", "--json"]);
    assert!(code == Some(1) && out.contains("\"W-1/1\""), "{out}{err}");
    let (code, out, _) = on_data(&data_folder, &["records", "export", "--as", "csv"]);
    assert!(code == Some(1) && out.contains("W-3/2"), "{out}");
    assert_eq!(std::fs::read(&file).unwrap(), damaged, "reading changed the file");

    let (code, out, err) = on_data(&data_folder, &["salvage"]);
    assert_eq!(code, Some(0), "{out}{err}");
    assert_eq!(std::fs::read(kept(&out)).unwrap(), damaged, "the damaged file was not kept as it was");
    let after = rows(&file).await;
    let (told, whole) = after.split_last().unwrap();
    assert!(whole.iter().all(|row| before.contains(row)), "an event is not the one that was written");
    let missing: Vec<u64> = (1..=last).filter(|seq| !whole.iter().any(|row| row.seq == *seq)).collect();
    assert!(missing.contains(&100) && missing.len() < 12, "{missing:?}");
    let (first, end) = (missing[0], missing[missing.len() - 1]);
    assert_eq!(end - first + 1, u64::try_from(missing.len()).unwrap());
    assert!(out.contains(&format!("lost: {first} to {end}\n")), "{out}");
    assert_eq!(told.seq, last + 1);
    assert!(
        told.body.contains(&format!("\"kind\":\"journal_salvaged\",\"missing\":[[{first},{end}]]")),
        "{}",
        told.body
    );
    assert!(told.body.contains(&format!("\"unproved\":[[{0},{0}]]", end + 1)), "{}", told.body);

    // The gap stays to be seen, and the journal goes on behind it.
    let found = chain(&data_folder).await;
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    assert_eq!(found.known_gaps.iter().map(ToString::to_string).collect::<Vec<_>>(), [format!("{first} to {end}")]);
    let (_, out, _) = on_data(&data_folder, &["records", "verify"]);
    assert!(out.contains(&format!("lost before, as the journal itself tells: {first} to {end}")), "{out}");
    for arguments in [&["orders", "open", "W-3/2"][..], &["records", "enter", "W-3/2", "length", "38 in"]] {
        let (code, _, err) = on_data(&data_folder, arguments);
        assert_eq!(code, Some(0), "{err}");
    }

    // Damaged again, it keeps its old gap, too.
    tear_out(&file, 20);
    let (code, out, err) = on_data(&data_folder, &["salvage"]);
    assert_eq!(code, Some(0), "{out}{err}");
    let found = chain(&data_folder).await;
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    assert_eq!(found.known_gaps.len(), 2);
}

#[tokio::test]
async fn events_that_only_a_damaged_log_holds_are_not_lost() {
    let folder = tempfile::tempdir().unwrap();
    let data_folder = folder.path().join("data");
    let events = data(&data_folder).await;
    let last = u64::try_from(events.len()).unwrap();
    let mut journal = Journal::open(&data_folder, BENCH, EPOCH).await.unwrap();
    let mut writer = Writer { seq: last, events: Vec::new() };
    for n in 0..6 {
        writer.write("operator_changed", serde_json::json!({"operator": format!("K{n}")}));
        journal.append(&writer.events.split_off(0), &[]).await.unwrap();
    }
    // As a power cut leaves them, and with a bit of the log's second page changed.
    let cut = folder.path().join("cut");
    std::fs::create_dir_all(&cut).unwrap();
    for name in ["journal.sqlite", "journal.sqlite-wal"] {
        std::fs::copy(data_folder.join(name), cut.join(name)).unwrap();
    }
    journal.close().await;
    let log = cut.join("journal.sqlite-wal");
    let mut bytes = std::fs::read(&log).unwrap();
    bytes[32 + 2 * (PAGE + 24) - 2000] ^= 4;
    std::fs::write(&log, &bytes).unwrap();
    let (code, out, _) = on_data(&cut, &["records", "verify"]);
    assert!(code == Some(1) && out.contains("its write-ahead log: it does not hold"), "{out}");
    let (code, out, err) = on_data(&cut, &["salvage"]);
    assert_eq!(code, Some(0), "{out}{err}");
    assert!(!out.contains("lost:"), "{out}");
    assert_eq!(rows(&cut.join("journal.sqlite")).await.len(), events.len() + 7);
    let mut kept = kept(&out).into_os_string();
    kept.push("-wal");
    assert_eq!(std::fs::read(kept).unwrap(), bytes, "the damaged log was not kept as it was");
}

#[tokio::test]
async fn a_salvage_that_is_cut_off_anywhere_leaves_everything_that_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let made = folder.path().join("made");
    data(&made).await;
    tear_out(&made.join("journal.sqlite"), 100);
    let damaged = std::fs::read(made.join("journal.sqlite")).unwrap();
    let mut dice = Dice(3);
    let (mut cuts, mut time) = (0, Duration::from_millis(600));
    for round in 0..12 {
        let data_folder = folder.path().join(format!("data-{round}"));
        std::fs::create_dir_all(&data_folder).unwrap();
        std::fs::write(data_folder.join("journal.sqlite"), &damaged).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_benchscribe"));
        command.arg("salvage").arg("--data").arg(&data_folder).stdout(Stdio::null()).stderr(Stdio::null());
        let start = Instant::now();
        let mut child = command.spawn().unwrap();
        if round == 0 {
            assert!(child.wait().unwrap().success());
            time = start.elapsed();
        } else {
            std::thread::sleep(dice.time(Duration::ZERO, time));
            cuts += u32::from(child.try_wait().unwrap().is_none());
            // SIGKILL, as a power cut but for the disk's own cache.
            child.kill().ok();
            child.wait().unwrap();
        }
        // The damaged bytes are there under one name or the other, and another go ends it.
        let is_there = || {
            let entries = std::fs::read_dir(&data_folder).unwrap().map(|entry| entry.unwrap().path());
            entries.filter(|path| path.is_file()).any(|path| std::fs::read(path).unwrap() == damaged)
        };
        assert!(is_there(), "round {round}");
        let (code, out, err) = on_data(&data_folder, &["salvage"]);
        assert_eq!(code, Some(0), "{out}{err}");
        assert!(is_there(), "round {round}");
        let found = chain(&data_folder).await;
        assert!(found.faults.is_empty() && found.known_gaps.len() == 1, "{:?}", found.faults);
    }
    assert!(cuts >= 4, "only {cuts} were cut off");
}
