//! Every changed bit of a small archive is found and named, and the other records stay readable.
//!
//! The archive is made in process by the bench's own core from frames of a simulated scale, then bits of the file are
//! flipped one at a time and the whole journal is proved again. By default: every byte of every record, one bit of each
//! chosen by a fixed seed, and one byte in sixteen of the rest of the file. `PROVE_EVERY_BIT=1` takes every bit of every
//! byte, which takes most of an hour.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]
#![expect(clippy::print_stderr, reason = "what was not tried is said aloud")]

mod desk_bench;

use std::collections::BTreeMap;
use std::path::Path;

use benchscribe::audit::{Audit, audit};
use benchscribe::journal::store::{FILE_NAME, Journal, JournalError, Reader};
use desk_bench::DeskBench;

/// One byte in so many of what is no record is tried.
const REST: u64 = 16;

/// A small journal, closed and whole: its bytes.
async fn small_journal(folder: &Path) -> Vec<u8> {
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
    // Pages that were split keep stale copies of records in their unused parts; a fresh copy of the file has none, so a
    // piece of text found in it is the record itself.
    let file = folder.join(FILE_NAME);
    let fresh = folder.join("fresh.sqlite");
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&file);
    let pool = sqlx::sqlite::SqlitePoolOptions::new().max_connections(1).connect_with(options).await.unwrap();
    sqlx::query("VACUUM INTO ?").bind(fresh.to_str().unwrap()).execute(&pool).await.unwrap();
    pool.close().await;
    for leftover in ["journal.sqlite-wal", "journal.sqlite-shm"] {
        std::fs::remove_file(folder.join(leftover)).ok();
    }
    std::fs::rename(fresh, &file).unwrap();
    std::fs::read(file).unwrap()
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

/// Where a byte of the file lies, as far as the places of the records tell.
fn part(at: usize, records: &[(usize, usize)], page: usize) -> &'static str {
    match at {
        0..100 => "header of the file",
        _ if records.iter().any(|(start, end)| (*start..*end).contains(&at)) => "text, hash or raw bytes of a record",
        _ if at < page => "tables and triggers",
        _ => "other pages",
    }
}

fn places(file: &[u8], texts: &[Vec<u8>]) -> Vec<(usize, usize)> {
    let mut places = Vec::new();
    for text in texts {
        // Long records lie on several pages; a piece that falls on the seam is not found and counts as another page.
        for piece in text.chunks(64) {
            if piece.len() > 8
                && let Some(at) = file.windows(piece.len()).position(|window| window == piece)
            {
                places.push((at, at + piece.len()));
            }
        }
    }
    places
}

#[tokio::test]
async fn every_changed_bit_of_a_record_is_found_and_the_others_stay_readable() {
    let folder = tempfile::tempdir().unwrap();
    let whole = small_journal(folder.path()).await;
    let file = folder.path().join(FILE_NAME);
    let clean = proved(folder.path()).await;
    assert!(clean.faults.is_empty(), "{:?}", clean.faults);
    assert_eq!((clean.readings, clean.values), (1, 1));
    let mut texts: Vec<Vec<u8>> = Vec::new();
    let reader = Reader::open(folder.path()).await.unwrap();
    for row in reader.after(0, 100).await.unwrap() {
        let event: serde_json::Value = serde_json::from_str(&row.body).unwrap();
        if let Some(evidence) = event["evidence"].as_str() {
            texts.push(reader.evidence(evidence).await.unwrap().unwrap());
        }
        texts.push(row.hash.clone().into_bytes());
        texts.push(row.body.into_bytes());
    }
    reader.close().await;
    let records = places(&whole, &texts);
    let page = usize::from(u16::from_be_bytes([whole[16], whole[17]]));
    let all = std::env::var_os("PROVE_EVERY_BIT").is_some();
    let (mut dice, mut tried) = (0x9e37_79b9_u64, 0_u64);
    let mut missed: BTreeMap<&str, Vec<(usize, u8)>> = BTreeMap::new();
    let (mut unnamed, mut lost) = (Vec::new(), 0);
    let is_record = |at: usize| records.iter().any(|(start, end)| (*start..*end).contains(&at));
    for at in 0..whole.len() {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let chosen = u8::try_from(dice >> 61).unwrap();
        if !all && !is_record(at) && (dice >> 33) % REST != 0 {
            continue;
        }
        for bit in (0..8).filter(|bit| all || *bit == chosen) {
            let mut damaged = whole.clone();
            damaged[at] ^= 1 << bit;
            std::fs::write(&file, &damaged).unwrap();
            tried += 1;
            let found = proved(folder.path()).await;
            let part = part(at, &records, page);
            if found.faults.is_empty() {
                missed.entry(part).or_default().push((at, bit));
            } else if part.starts_with("text") {
                // Named: the event, and no other than it and those that hang on it.
                let named = found.faults.iter().filter(|fault| fault.seq.is_some()).count();
                if named == 0 {
                    unnamed.push((at, bit));
                }
                if found.events + 1 < clean.events {
                    lost += 1;
                }
            }
        }
    }
    eprintln!("{tried} bits of a file of {} bytes in pages of {page} bytes; not found, by place:", whole.len());
    for (part, places) in &missed {
        let first: Vec<String> = places.iter().take(12).map(|(at, bit)| format!("{at}.{bit}")).collect();
        eprintln!("  {part}: {} ({} ...)", places.len(), first.join(" "));
    }
    if !all {
        eprintln!("NOT every bit: one of every byte of the records and one byte in {REST} of the rest; PROVE_EVERY_BIT=1 tries all");
    }
    assert!(!missed.contains_key("text, hash or raw bytes of a record"), "{missed:?}");
    assert!(unnamed.is_empty(), "found but no event named: {unnamed:?}");
    assert_eq!(lost, 0, "another record than the damaged one became unreadable");
}
