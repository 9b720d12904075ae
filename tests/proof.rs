//! Every changed bit of a small archive is found, and the other records stay readable.
//!
//! The archive is made in process by the bench's own core from frames of a simulated scale, then bits of the file are
//! flipped one at a time and the whole journal is proved again. By default one bit, chosen by a fixed seed, of every
//! third byte that the journal, its events and its evidence use, and of one byte in sixty-four of the rest of the file.
//! `PROVE_EVERY_BIT=1` takes all eight bits of every byte of the records, which takes about an hour.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]
#![expect(clippy::print_stderr, reason = "what was not tried is said aloud")]

mod desk_bench;
#[path = "proof/pages.rs"]
mod pages;

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use benchscribe::audit::{Audit, audit};
use benchscribe::journal::store::{FILE_NAME, Journal, JournalError, Reader};
use desk_bench::DeskBench;

/// One byte in so many of the records is tried, where not every bit is.
const OF_RECORDS: u64 = 3;
/// One byte in so many of what the journal does not use is tried.
const REST: u64 = 64;

/// Makes a small journal and closes it; its bytes, and which of them each table and index uses.
async fn small_journal(folder: &Path) -> (Vec<u8>, Vec<(String, Vec<Range<usize>>)>) {
    let mut journal = Journal::open(folder, "bench-1", 7).await.unwrap();
    let mut bench = DeskBench::new(desk_bench::CONFIG);
    let mut stored = bench.begin();
    bench.command(serde_json::json!({"command": "import_order", "text": desk_bench::ORDER}), &mut stored).unwrap();
    bench.command(serde_json::json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    bench.lay("scale", &[0.0; 12], &mut stored);
    bench.lay("scale", &[203.12; 15], &mut stored);
    assert!(stored.events.iter().any(|event| event.change.kind() == "reading_filed"), "the part was not filed");
    journal.append(&stored.events, &stored.evidence).await.unwrap();
    journal.close().await;
    let file = folder.join(FILE_NAME);
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&file).read_only(true);
    let pool = sqlx::sqlite::SqlitePoolOptions::new().max_connections(1).connect_with(options).await.unwrap();
    let roots: Vec<(String, i64)> = sqlx::query_as("SELECT tbl_name, rootpage FROM sqlite_schema WHERE rootpage > 0")
        .fetch_all(&pool)
        .await
        .unwrap();
    pool.close().await;
    let whole = std::fs::read(&file).unwrap();
    let mut used = vec![("schema".to_owned(), pages::used_by(&whole, 1))];
    used.extend(roots.into_iter().map(|(name, root)| (name, pages::used_by(&whole, usize::try_from(root).unwrap()))));
    (whole, used)
}

/// Proves the journal in a folder; a file that cannot be opened is one fault.
async fn proved(folder: &Path) -> Audit {
    match Reader::open(folder).await {
        Ok(reader) => {
            let found = audit(&reader).await;
            reader.close().await;
            found
        }
        Err(JournalError::Database { source, .. }) => Audit::unreadable(source.to_string()),
        Err(error) => panic!("{error}"),
    }
}

/// What a byte of the file is for.
fn part(at: usize, used: &[(String, Vec<Range<usize>>)]) -> &str {
    match used.iter().find(|(_, ranges)| ranges.iter().any(|range| range.contains(&at))) {
        Some((name, _)) => name,
        None if at < 100 => "header of the file",
        None => "unused bytes",
    }
}

#[tokio::test]
async fn every_changed_bit_of_a_record_is_found_and_the_others_stay_readable() {
    let folder = tempfile::tempdir().unwrap();
    let (whole, used) = small_journal(folder.path()).await;
    let file = folder.path().join(FILE_NAME);
    let clean = proved(folder.path()).await;
    assert!(clean.faults.is_empty(), "{:?}", clean.faults);
    assert_eq!((clean.readings, clean.values), (1, 1));
    let all = std::env::var_os("PROVE_EVERY_BIT").is_some();
    let mut dice = 0x9e37_79b9_u64;
    let mut tried: BTreeMap<&str, [u32; 2]> = BTreeMap::new();
    let mut missed: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    let mut lost = Vec::new();
    for at in 0..whole.len() {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let chosen = u8::try_from(dice >> 61).unwrap();
        let part = part(at, &used);
        let is_record = matches!(part, "event" | "evidence" | "journal");
        let one_in = if is_record && all {
            1
        } else if is_record {
            OF_RECORDS
        } else {
            REST
        };
        if !(dice >> 33).is_multiple_of(one_in) {
            continue;
        }
        for bit in (0..8).filter(|bit| all || *bit == chosen) {
            let mut damaged = whole.clone();
            damaged[at] ^= 1 << bit;
            // Neither a log nor an index of one is left from the change before.
            for leftover in ["journal.sqlite-wal", "journal.sqlite-shm", "journal.sqlite-journal"] {
                std::fs::remove_file(folder.path().join(leftover)).ok();
            }
            std::fs::write(&file, &damaged).unwrap();
            let found = proved(folder.path()).await;
            let [count, found_count] = tried.entry(part).or_default();
            *count += 1;
            // A row's number is its key; the place it would have among the columns holds a type "absent" (0) that is never
            // read. Bit 3 makes it the type "constant zero" (8), as short and as little read: nothing has changed.
            let is_never_read =
                matches!(part, "event" | "journal") && whole[at] == 0 && bit == 3 && found.faults.is_empty();
            if found.faults.is_empty() && !is_never_read {
                missed.entry(part).or_default().push(format!("{at}.{bit}"));
                continue;
            }
            *found_count += 1;
            let named = found.faults.iter().any(|fault| fault.seq.is_some());
            if is_record && named && found.events + 1 < clean.events {
                lost.push(format!("{at}.{bit}: {} of {} events", found.events, clean.events));
            }
        }
    }
    eprintln!("a file of {} bytes; bits tried and found, by what the byte is for:", whole.len());
    for (part, [count, found]) in &tried {
        let first = missed.get(part).map(|places| places[..places.len().min(8)].join(" ")).unwrap_or_default();
        eprintln!("  {part}: {found} of {count}; not found at byte.bit {first}");
    }
    eprintln!("flips after which more than one event could not be read: {}", lost.len());
    for line in lost.iter().take(8) {
        eprintln!("  {line}");
    }
    if !all {
        eprintln!(
            "NOT every bit: one of every third byte of the records; PROVE_EVERY_BIT=1 tries all eight. Of the rest one byte in {REST}"
        );
    }
    for part in ["event", "evidence", "journal"] {
        assert!(!missed.contains_key(part), "{part}: {:?}", missed.get(part));
    }
    // A page's own head and pointers can hide several records at once; text, hash and raw bytes never do.
    let records = tried.iter().filter(|(part, _)| matches!(**part, "event" | "evidence" | "journal"));
    let bits: u32 = records.map(|(_, [count, _])| count).sum();
    assert!(u32::try_from(lost.len()).unwrap() * 50 < bits, "{} of {bits} flips hid other records", lost.len());
}
