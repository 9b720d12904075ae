//! Every changed bit of a small archive is found, and every other event and record stays readable.
//!
//! The archive is made in process by the bench's own core from frames of a simulated scale, then bits of the file are
//! flipped one at a time and the whole journal is proved again. By default one bit, chosen by a fixed seed, of every
//! seventh byte that the journal, its events and its evidence use, of every ninth of the index that is derived from them, and of
//! one byte in sixty-four of the rest of the file.
//! `PROVE_EVERY_BIT=1` takes all eight bits of every byte of the records and of everything that is not unused, which takes
//! about an hour.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]
#![expect(clippy::print_stderr, reason = "what was not tried is said aloud")]

mod desk_bench;
#[path = "proof/pages.rs"]
mod pages;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::Path;

use benchscribe::audit::{Audit, audit, audit_damaged};
use benchscribe::journal::cursor;
use benchscribe::journal::event;
use benchscribe::journal::sound;
use benchscribe::journal::store::{FILE_NAME, Journal, JournalError, Reader};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::event::{Change, Numbering};
use desk_bench::DeskBench;

/// One byte in so many of the records is tried, where not every bit is.
const OF_RECORDS: u64 = 7;
/// One byte in so many of the index, which is derived from them.
const OF_INDEX: u64 = 9;
/// Tables whose rows are numbered by their key.
const KEYED: [&str; 8] =
    ["event", "journal", "index_tip", "index_sum", "index_order", "index_club", "index_place", "index_retired"];
/// Longer than anything takes here, however busy the machine is.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(120);
/// More than the small journal has.
const EVENTS: u64 = 60;
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
    for follower in [cursor::EVENTS, cursor::FURTHEST, cursor::RECORDS] {
        journal.reader().set_cursor(follower, 7, 1_000_000).await.unwrap();
    }
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

/// Proves the journal in a folder, whether the database can open it or not.
async fn proved(folder: &Path) -> Audit {
    match Reader::open(folder).await {
        Ok(reader) => {
            let found = audit(&reader).await;
            reader.close().await;
            found
        }
        Err(JournalError::Database { file, source }) => audit_damaged(&file, &source.to_string()).await,
        Err(error) => panic!("{error}"),
    }
}

/// Everything that is in a journal: its events, and the evidence behind them by its hash.
#[derive(Debug, PartialEq)]
struct Content {
    /// Text and hash by sequence.
    events: BTreeMap<u64, (Vec<u8>, Vec<u8>)>,
    evidence: BTreeMap<String, Vec<u8>>,
}

impl Content {
    async fn of(reader: &Reader, names: &BTreeSet<String>) -> Self {
        let (mut events, mut evidence) = (BTreeMap::new(), BTreeMap::new());
        for seq in 1..=EVENTS {
            if let Ok(Some(row)) = reader.raw_row(seq).await {
                events.insert(seq, (row.body, row.hash));
            }
        }
        for name in names {
            if let Ok(Some(content)) = reader.evidence(name).await {
                evidence.insert(name.clone(), content);
            }
        }
        Self { events, evidence }
    }

    /// How many events and pieces of evidence of `whole` are not here as they were written.
    fn lacks(&self, whole: &Self) -> usize {
        let events = whole.events.iter().filter(|(seq, row)| self.events.get(seq) != Some(row)).count();
        let evidence = whole.evidence.iter().filter(|(name, content)| self.evidence.get(*name) != Some(content));
        events + evidence.count()
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

/// Neither a log nor an index of one is left from the change before.
fn write_alone(folder: &Path, bytes: &[u8]) {
    for leftover in ["journal.sqlite-wal", "journal.sqlite-shm", "journal.sqlite-journal"] {
        std::fs::remove_file(folder.join(leftover)).ok();
    }
    std::fs::write(folder.join(FILE_NAME), bytes).unwrap();
}

#[tokio::test]
async fn every_changed_bit_of_a_record_is_found_and_the_others_stay_readable() {
    let folder = tempfile::tempdir().unwrap();
    let (whole, used) = small_journal(folder.path()).await;
    let clean = proved(folder.path()).await;
    assert!(clean.faults.is_empty(), "{:?}", clean.faults);
    assert_eq!((clean.readings, clean.values), (1, 1));
    let reader = Reader::open(folder.path()).await.unwrap();
    let names = evidence_names(&reader).await;
    let content = Content::of(&reader, &names).await;
    assert!(content.events.len() > 5 && u64::try_from(content.events.len()).unwrap() < EVENTS);
    let record = reader.club("W-1/1").await.unwrap().unwrap();
    let of_record: BTreeSet<u64> = record_events(&content);
    reader.close().await;
    let all = std::env::var_os("PROVE_EVERY_BIT").is_some();
    let mut dice = 0x9e37_79b9_u64;
    let mut tried: BTreeMap<&str, Tried> = BTreeMap::new();
    let mut missed: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for at in 0..whole.len() {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let chosen = u8::try_from(dice >> 61).unwrap();
        let part = part(at, &used);
        let is_record = matches!(part, "event" | "evidence" | "journal");
        let one_in = match part {
            "unused bytes" => REST,
            "event" | "evidence" | "journal" if !all => OF_RECORDS,
            _ if part.starts_with("index_") && !all => OF_INDEX,
            _ if !all => REST / 4,
            _ => 1,
        };
        if !(dice >> 33).is_multiple_of(one_in) {
            continue;
        }
        for bit in (0..8).filter(|bit| all || *bit == chosen) {
            let mut damaged = whole.clone();
            damaged[at] ^= 1 << bit;
            write_alone(folder.path(), &damaged);
            let found = proved(folder.path()).await;
            let count = tried.entry(part).or_default();
            count.flips += 1;
            // A row's number is its key; the place it would have among the columns holds a type "absent" (0) that is never
            // read. Bit 3 makes it the type "constant zero" (8), as short and as little read: nothing has changed.
            let is_never_read = KEYED.contains(&part) && whole[at] == 0 && bit == 3 && found.faults.is_empty();
            // When a script made the tables, and how long it took, is read by nobody.
            let bears_on_no_record = part == "_sqlx_migrations";
            if found.faults.is_empty() && !is_never_read && !bears_on_no_record {
                missed.entry(part).or_default().push(format!("{at}.{bit}"));
            } else {
                count.found += 1;
            }
            // Only what the bit belongs to may be lost: one event, or the evidence of one reading.
            let left = match found.salvaged() {
                Some(salvaged) => Content::of(&salvaged.reader, &names).await,
                None => {
                    let reader = Reader::open(folder.path()).await.unwrap();
                    let left = Content::of(&reader, &names).await;
                    reader.close().await;
                    left
                }
            };
            let lacks = left.lacks(&content);
            count.unharmed += u32::from(lacks == 0);
            assert!(lacks <= 1, "byte {at}, bit {bit} ({part}): {lacks} lost: {:?}", found.faults);
            assert!(is_record || lacks == 0, "byte {at}, bit {bit} ({part}) lost: {:?}", found.faults);
            assert!(found.events + 1 >= clean.events, "byte {at}, bit {bit}: {} events read", found.events);
            // And its record is shown as it was, unless the lost event is a part of it.
            let is_asked = all || count.flips.is_multiple_of(4);
            if !is_asked || found.faults.is_empty() || lost_of(&left, &content, &of_record) {
                continue;
            }
            let sound = sound::open(folder.path()).await.unwrap();
            let sound = match sound.reader.club("W-1/1").await {
                Ok(shown) => shown,
                Err(error) => {
                    let again = sound::from_raw(sound.reader.file(), error.to_string()).await.unwrap();
                    again.reader.club("W-1/1").await.unwrap()
                }
            };
            let shown = sound.unwrap_or_else(|| panic!("byte {at}, bit {bit} ({part}): no record"));
            let is_index = part.starts_with("index_");
            assert!(shown.club == record.club || is_index, "byte {at}, bit {bit} ({part}): another record");
        }
    }
    report(&tried, &missed, whole.len(), all);
    for (part, places) in &missed {
        // The rest is the file's head, what it does not use, and the text that made the list of scripts.
        let is_proved = matches!(*part, "event" | "evidence" | "journal" | "cursor") || part.starts_with("index_");
        assert!(!is_proved, "{part}: {places:?}");
    }
}

/// Bits of one part of the file.
#[derive(Debug, Default)]
struct Tried {
    flips: u32,
    found: u32,
    /// Nothing at all was lost by them.
    unharmed: u32,
}

fn report(tried: &BTreeMap<&str, Tried>, missed: &BTreeMap<&str, Vec<String>>, bytes: usize, all: bool) {
    eprintln!("a file of {bytes} bytes; bits tried, by what the byte is for:");
    for (part, count) in tried {
        let first = missed.get(part).map(|places| places[..places.len().min(8)].join(" ")).unwrap_or_default();
        let Tried { flips, found, unharmed } = count;
        eprintln!("  {part}: {flips} tried, {found} named, {unharmed} without any loss; not named at byte.bit {first}");
    }
    let flips: u32 = tried.values().map(|count| count.flips).sum();
    eprintln!("after each of the {flips} flips every other event and every other evidence was there");
    if !all {
        eprintln!(
            "NOT every bit: one of every seventh byte of the records, of every ninth of the index; PROVE_EVERY_BIT=1 tries all eight. Of the rest one byte in {REST}, of what the file says of itself one in {}",
            REST / 4
        );
    }
}

/// The hashes of all evidence that readings name.
async fn evidence_names(reader: &Reader) -> BTreeSet<String> {
    let rows = reader.after(0, 1000).await.unwrap();
    let named = rows.iter().filter_map(|row| match row.event().unwrap().change {
        Change::ReadingCaptured(captured) => Some(captured.evidence),
        _ => None,
    });
    named.collect()
}

/// The events that the record of the club is made of.
fn record_events(content: &Content) -> BTreeSet<u64> {
    let of_record = content.events.iter().filter(|(_, (body, _))| {
        let event = event::parse(std::str::from_utf8(body).unwrap()).unwrap();
        let bearing = event.change.bearing();
        bearing.order.is_some() || bearing.club.is_some() || bearing.bench || bearing.value
    });
    of_record.map(|(seq, _)| *seq).collect()
}

fn lost_of(left: &Content, whole: &Content, of_record: &BTreeSet<u64>) -> bool {
    whole.events.iter().any(|(seq, row)| left.events.get(seq) != Some(row) && of_record.contains(seq))
}

/// A journal of which the last events are in the log alone, and its two files.
async fn with_log(folder: &Path) -> (Vec<u8>, Vec<u8>, u64) {
    let (_, _) = small_journal(folder).await;
    let mut journal = Journal::open(folder, "bench-1", 7).await.unwrap();
    let mut numbering = Numbering::after(7, journal.last_seq());
    for n in 0_i64..4 {
        let stamp = Stamp { t_s: 0.0, at_us: 1_800_000_000_000_000 + n };
        let event = numbering.event(stamp, Some("K7"), Change::OperatorChanged { operator: Some(format!("K{n}")) });
        journal.append(&[event], &[]).await.unwrap();
    }
    let last = journal.last_seq();
    // As a power cut leaves them: the log is not taken in.
    let files = ["journal.sqlite", "journal.sqlite-wal"].map(|name| std::fs::read(folder.join(name)).unwrap());
    journal.close().await;
    let [main, log] = files;
    (main, log, last)
}

#[tokio::test]
async fn a_changed_bit_of_the_log_is_found_and_what_it_holds_stays_readable() {
    let folder = tempfile::tempdir().unwrap();
    let (main, log, last) = with_log(folder.path()).await;
    let write = |log: &[u8]| {
        write_alone(folder.path(), &main);
        std::fs::write(folder.path().join("journal.sqlite-wal"), log).unwrap();
    };
    write(&log);
    let clean = proved(folder.path()).await;
    assert!(clean.faults.is_empty() && clean.events == last, "{:?}", clean.faults);
    let step = if std::env::var_os("PROVE_EVERY_BIT").is_some() { 7 } else { 397 };
    let (mut tried, mut harmed) = (0, 0);
    for at in (0..32).chain((32..log.len()).step_by(step)) {
        let mut damaged = log.clone();
        damaged[at] ^= 1 << (at % 8);
        write(&damaged);
        let found = proved(folder.path()).await;
        assert!(!found.faults.is_empty(), "byte {at} of the log");
        assert!(found.events + 1 >= last, "byte {at} of the log: {} of {last} events", found.events);
        tried += 1;
        harmed += u32::from(found.events < last);
    }
    eprintln!("a log of {} bytes: {tried} flips, all named; {harmed} cost the one event they hit", log.len());
    // A log that was cut off is named, too, unless it was cut between two transactions.
    for length in [1, 31, 40, log.len() / 2, log.len() - 1] {
        write(&log[..length]);
        assert!(!proved(folder.path()).await.faults.is_empty(), "{length} bytes of the log");
    }
}

#[tokio::test]
async fn a_file_that_was_cut_off_gives_what_is_left_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let (whole, _) = small_journal(folder.path()).await;
    let clean = proved(folder.path()).await;
    let mut most = 0;
    for length in (0..whole.len()).step_by(3067) {
        write_alone(folder.path(), &whole[..length]);
        // A file of no length at all is a new database, without any table.
        let found = proved(folder.path()).await;
        assert!(!found.faults.is_empty(), "cut off at {length}");
        let left = found.salvaged().map_or(0, |salvaged| salvaged.findings.whole);
        assert!(left >= most, "{left} whole events of {length} bytes, {most} of fewer");
        assert!(left <= clean.events);
        most = left;
    }
    assert!(most > 0, "nothing was read of any part");
}

/// The library that reads the database ends its own worker on such a name, and nobody answers any more.
#[tokio::test]
async fn a_type_name_that_is_no_text_any_more_is_named_and_holds_nobody_up() {
    let folder = tempfile::tempdir().unwrap();
    let (whole, used) = small_journal(folder.path()).await;
    // The file has stale copies of it, too.
    let is_here = |at: usize, text: &[u8]| part(at, &used) == "schema" && whole[at..].starts_with(text);
    let at = |name: &[u8], of: &[u8]| {
        let text = [name, of].concat();
        (0..whole.len()).find(|at| is_here(*at, &text)).unwrap() + name.len()
    };
    for place in [at(b"version ", b"BIGINT"), at(b"success ", b"BOOLEAN"), at(b"checksum ", b"BLOB")] {
        let mut damaged = whole.clone();
        damaged[place] ^= 0x80;
        write_alone(folder.path(), &damaged);
        let found = tokio::time::timeout(PATIENCE, proved(folder.path())).await.unwrap();
        assert!(!found.faults.is_empty(), "byte {place}");
        let opened = tokio::time::timeout(PATIENCE, Journal::open(folder.path(), "bench-1", 7)).await.unwrap();
        let error = opened.unwrap_err();
        assert!(matches!(error, JournalError::Schema { .. }), "byte {place}: {error:?}");
    }
}

#[tokio::test]
async fn a_damaged_index_without_any_row_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let (whole, _) = small_journal(folder.path()).await;
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(folder.path().join(FILE_NAME)).read_only(true);
    let pool = sqlx::sqlite::SqlitePoolOptions::new().max_connections(1).connect_with(options).await.unwrap();
    let roots: Vec<i64> =
        sqlx::query_scalar("SELECT rootpage FROM sqlite_schema WHERE sql LIKE 'CREATE INDEX % WHERE %'")
            .fetch_all(&pool)
            .await
            .unwrap();
    pool.close().await;
    assert!(!roots.is_empty());
    for root in roots {
        // A leaf becomes an inner page.
        let at = (usize::try_from(root).unwrap() - 1) * 4096;
        let mut damaged = whole.clone();
        damaged[at] ^= 8;
        write_alone(folder.path(), &damaged);
        assert!(!proved(folder.path()).await.faults.is_empty(), "page {root}");
    }
}

#[tokio::test]
async fn a_reading_without_the_samples_of_its_zero_is_a_fault_unless_an_older_program_wrote_it() {
    for (by, is_older) in [(env!("CARGO_PKG_VERSION"), false), ("0.3.0", true)] {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
        let mut bench = DeskBench::new(desk_bench::CONFIG);
        let mut stored = bench.begin();
        bench.lay("scale", &[0.0; 12], &mut stored);
        bench.lay("scale", &[203.12; 15], &mut stored);
        let mut stripped = 0;
        for event in &mut stored.events {
            match &mut event.change {
                Change::SessionStarted { version, .. } => by.clone_into(version),
                Change::ReadingCaptured(captured) => {
                    let look = captured.budget_inputs.as_mut().and_then(|inputs| inputs.zero_look.take());
                    stripped += u32::from(look.is_some());
                }
                _ => {}
            }
        }
        assert_eq!(stripped, 1);
        journal.append(&stored.events, &stored.evidence).await.unwrap();
        journal.close().await;
        let audit = proved(folder.path()).await;
        let what: Vec<String> = audit.faults.iter().map(ToString::to_string).collect();
        if is_older {
            assert!(what.is_empty() && audit.zeros_as_recorded == 1, "{what:?}, {}", audit.zeros_as_recorded);
        } else {
            assert!(matches!(what.as_slice(), [one] if one.contains("of the empty instrument")), "{what:?}");
        }
    }
}
