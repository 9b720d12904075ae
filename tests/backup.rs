//! Backups while the journal is written, and what a power cut in the middle of a backup or a restore leaves.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the program")]

mod grown_journal;
mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use benchscribe::audit::audit_chain;
use benchscribe::journal::store::{Journal, Reader};
use benchscribe::work_order::event::Event;
use grown_journal::{BENCH, EPOCH, Writer, build_club, wild};
use support::{Dice, on_data};

/// A journal file's number of events and chain; fails when its chain does not hold.
async fn whole(file: &Path) -> (u64, String) {
    let reader = Reader::open_file(file.to_owned()).await.unwrap();
    let audit = audit_chain(&reader).await;
    reader.close().await;
    assert!(audit.faults.is_empty(), "{}: {:?}", file.display(), audit.faults);
    (audit.events, audit.chain)
}

/// A data folder with these events.
async fn data(folder: &Path, events: &[Event]) {
    std::fs::create_dir_all(folder).unwrap();
    let mut journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    for batch in events.chunks(500) {
        journal.append(batch, &[]).await.unwrap();
    }
    journal.close().await;
}

/// Some thousand events: enough that a copy takes a while.
fn many() -> Vec<Event> {
    let mut writer = Writer::new();
    for number in 1..=10 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 8);
        for n in 1..=8 {
            build_club(&mut writer, &format!("W-{number}/{n}"), n == 3);
        }
    }
    writer.events
}

fn program(data: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_benchscribe"));
    command.args(arguments).arg("--data").arg(data).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

/// Runs a command and cuts it off after `time`, if it lasts that long; whether it ended by itself.
fn cut(mut command: Command, time: Duration) -> bool {
    let mut child = command.spawn().unwrap();
    let start = Instant::now();
    while start.elapsed() < time {
        if child.try_wait().unwrap().is_some() {
            return true;
        }
        std::thread::sleep(Duration::from_micros(500));
    }
    // SIGKILL: nothing of the program runs any more, as in a power cut but for the disk's own cache.
    child.kill().ok();
    child.wait().unwrap();
    false
}

fn time_of(mut command: Command) -> Duration {
    let start = Instant::now();
    assert!(command.status().unwrap().success());
    start.elapsed()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_taken_while_the_journal_is_written_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let events = many();
    let (first, rest) = events.split_at(events.len() / 2);
    data(&folder.path().join("data"), first).await;
    let mut journal = Journal::open(&folder.path().join("data"), BENCH, EPOCH).await.unwrap();
    let reader = journal.reader();
    let rest = rest.to_vec();
    let writing = tokio::spawn(async move {
        for event in &rest {
            journal.append(std::slice::from_ref(event), &[]).await.unwrap();
        }
        journal
    });
    let mut copies = 0;
    while !writing.is_finished() {
        let before = *reader.tip().borrow();
        let file = folder.path().join(format!("copy-{copies}.sqlite"));
        reader.copy_to(&file).await.unwrap();
        let (events, chain) = whole(&file).await;
        assert!(events >= before, "{events} events, there were {before} at the start");
        assert_eq!(Some(chain), reader.hash_of(events).await.unwrap());
        std::fs::remove_file(&file).unwrap();
        copies += 1;
    }
    assert!(copies >= 2, "nothing was written meanwhile");
    writing.await.unwrap().close().await;
}

#[tokio::test]
async fn a_backup_comes_back_and_nothing_newer_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let (data_folder, copy) = (path("data"), path("copy.sqlite"));
    let events = wild(1, 400);
    let (early, late) = events.split_at(300);
    data(&data_folder, early).await;
    let file = copy.display().to_string();
    let (code, out, err) = on_data(&data_folder, &["backup", &file]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.contains(&format!("{} events, chain ", early.len())), "{out}");
    // Nothing is overwritten.
    let (code, _, err) = on_data(&data_folder, &["backup", &file]);
    assert!(code == Some(2) && err.contains("exists already"), "{err}");

    // Newer events: refused, and the journal is as it was.
    let mut journal = Journal::open(&data_folder, BENCH, EPOCH).await.unwrap();
    journal.append(late, &[]).await.unwrap();
    journal.close().await;
    let before = whole(&data_folder.join("journal.sqlite")).await;
    let (code, _, err) = on_data(&data_folder, &["restore", &file]);
    assert!(code == Some(1) && err.contains(&format!("events up to {}", events.len())), "{code:?} {err}");
    assert_eq!(whole(&data_folder.join("journal.sqlite")).await, before);

    // A journal that went another way since is not replaced, nor is another journal.
    let (parted, other) = (path("parted"), path("other"));
    let mut elsewhere = wild(1, 250);
    elsewhere.truncate(250);
    let mut writer = Writer { seq: 250, events: Vec::new() };
    writer.write("operator_changed", serde_json::json!({"operator": "K9"}));
    elsewhere.append(&mut writer.events);
    data(&parted, &elsewhere).await;
    let (code, _, err) = on_data(&parted, &["restore", &file]);
    assert!(code == Some(1) && err.contains("not in"), "{code:?} {err}");
    std::fs::create_dir_all(&other).unwrap();
    let mut journal = Journal::open(&other, BENCH, 99).await.unwrap();
    let mut foreign = early[0].clone();
    foreign.epoch = 99;
    journal.append(&[foreign], &[]).await.unwrap();
    journal.close().await;
    let (code, _, err) = on_data(&other, &["restore", &file]);
    assert!(code == Some(1) && err.contains("another one"), "{code:?} {err}");

    // An older journal is replaced and kept; so is one that cannot be read; an empty folder gets it.
    let behind = path("behind");
    data(&behind, &early[..100]).await;
    let was = whole(&behind.join("journal.sqlite")).await;
    let (code, out, err) = on_data(&behind, &["restore", &file]);
    assert_eq!(code, Some(0), "{err}");
    assert_eq!(whole(&behind.join("journal.sqlite")).await.0, u64::try_from(early.len()).unwrap());
    let kept = out.lines().find_map(|line| line.strip_prefix("the journal before is ")).unwrap();
    assert_eq!(whole(Path::new(kept)).await, was);
    let broken = path("broken");
    std::fs::create_dir_all(&broken).unwrap();
    std::fs::write(broken.join("journal.sqlite"), b"this was a journal once").unwrap();
    let empty = path("empty");
    for folder in [&broken, &empty] {
        let (code, out, err) = on_data(folder, &["restore", &file]);
        assert_eq!(code, Some(0), "{out}{err}");
        assert_eq!(whole(&folder.join("journal.sqlite")).await.0, u64::try_from(early.len()).unwrap());
        assert!(!folder.join("restoring").exists());
    }
    let kept = std::fs::read_dir(&broken).unwrap().find(|entry| {
        std::fs::read(entry.as_ref().unwrap().path()).is_ok_and(|bytes| bytes == b"this was a journal once")
    });
    assert!(kept.is_some(), "the unreadable file was not kept");
}

#[tokio::test]
async fn a_damaged_backup_replaces_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (data_folder, copy) = (folder.path().join("data"), folder.path().join("copy.sqlite"));
    let events = wild(2, 300);
    data(&data_folder, &events).await;
    assert_eq!(on_data(&data_folder, &["backup", &copy.display().to_string()]).0, Some(0));
    let before = whole(&data_folder.join("journal.sqlite")).await;
    let mut bytes = std::fs::read(&copy).unwrap();
    // One letter of one event.
    let at = bytes.windows(9).position(|window| window == b"fits noth").unwrap();
    bytes[at] ^= 1;
    let damaged = folder.path().join("damaged.sqlite");
    std::fs::write(&damaged, &bytes).unwrap();
    let half = folder.path().join("half.sqlite");
    std::fs::write(&half, &bytes[..bytes.len() / 2]).unwrap();
    let nothing = folder.path().join("nothing.sqlite");
    std::fs::write(&nothing, b"").unwrap();
    for file in [damaged, half, nothing, folder.path().join("not-there.sqlite")] {
        let (code, out, err) = on_data(&data_folder, &["restore", &file.display().to_string()]);
        assert!(matches!(code, Some(1 | 2)), "{}: {code:?} {out}{err}", file.display());
        assert_eq!(whole(&data_folder.join("journal.sqlite")).await, before, "{}", file.display());
        assert!(!data_folder.join("restoring").exists());
    }
}

fn kills() -> u32 {
    std::env::var("BENCHSCRIBE_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(12)
}

#[tokio::test]
async fn a_backup_cut_off_leaves_the_journal_and_no_half_file() {
    let folder = tempfile::tempdir().unwrap();
    let data_folder = folder.path().join("data");
    data(&data_folder, &many()).await;
    let before = whole(&data_folder.join("journal.sqlite")).await;
    let copy = folder.path().join("copy.sqlite");
    let file = copy.display().to_string();
    let mut usual = time_of(program(&data_folder, &["backup", &file]));
    let mut dice = Dice(51);
    let mut cuts = 0;
    for _ in 0..kills() {
        std::fs::remove_file(&copy).ok();
        cuts += u32::from(!cut(program(&data_folder, &["backup", &file]), dice.time(Duration::ZERO, usual)));
        if copy.exists() {
            assert_eq!(whole(&copy).await, before);
        }
        std::fs::remove_file(&copy).ok();
        usual = time_of(program(&data_folder, &["backup", &file]));
    }
    assert!(cuts > kills() / 4, "only {cuts} were cut off");
    assert_eq!(whole(&data_folder.join("journal.sqlite")).await, before);
    std::fs::remove_file(&copy).ok();
    assert!(program(&data_folder, &["backup", &file]).status().unwrap().success());
    assert_eq!(whole(&copy).await, before);
    assert!(!PathBuf::from(format!("{file}.part")).exists());
}

#[tokio::test]
async fn a_restore_cut_off_leaves_the_old_journal_or_the_new_one() {
    let folder = tempfile::tempdir().unwrap();
    let events = many();
    let new_folder = folder.path().join("new");
    data(&new_folder, &events).await;
    let copy = folder.path().join("copy.sqlite");
    let file = copy.display().to_string();
    assert_eq!(on_data(&new_folder, &["backup", &file]).0, Some(0));
    let new = whole(&copy).await;
    let old_folder = folder.path().join("old");
    data(&old_folder, &events[..events.len() / 3]).await;
    let old = whole(&old_folder.join("journal.sqlite")).await;
    let work = folder.path().join("work");
    let reset = || {
        std::fs::remove_dir_all(&work).ok();
        std::fs::create_dir_all(&work).unwrap();
        std::fs::copy(old_folder.join("journal.sqlite"), work.join("journal.sqlite")).unwrap();
    };
    reset();
    let mut usual = time_of(program(&work, &["restore", &file]));
    let mut dice = Dice(52);
    let (mut cuts, mut news) = (0, 0);
    for round in 0..kills() {
        reset();
        // Half of them near the end, where files change their names.
        let from = if round % 2 == 0 { Duration::ZERO } else { usual.mul_f64(0.85) };
        cuts += u32::from(!cut(program(&work, &["restore", &file]), dice.time(from, usual.mul_f64(1.05))));
        let found = whole(&work.join("journal.sqlite")).await;
        assert!(found == old || found == new, "{found:?}");
        if found == new {
            news += 1;
            let kept = std::fs::read_dir(&work)
                .unwrap()
                .map(|entry| entry.unwrap().path())
                .find(|path| path.display().to_string().contains(".replaced-"));
            assert_eq!(whole(&kept.unwrap()).await, old);
        }
        // Once more, and it is done; a machine that got faster meanwhile is cut off sooner.
        usual = time_of(program(&work, &["restore", &file]));
        assert_eq!(whole(&work.join("journal.sqlite")).await, new);
        assert!(!work.join("restoring").exists());
    }
    assert!(cuts > kills() / 4, "only {cuts} were cut off, {news} were done before");
}
