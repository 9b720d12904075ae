//! The oldest part of a journal exported whole into a file of its own, and the journal made anew without what nothing needs.
//!
//! The file is a journal of its own: every event up to its last sequence, with the evidence behind it, indexed. Only when it
//! is closed, on disk, read again and proved is the rest made, beside the present journal; whoever calls puts it in place.
//! Kept are all events that a start folds, whole orders that are not over or not old, everything of instruments, studies and
//! drawers, and what holds for the whole bench.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode};
use sqlx::{Row as _, SqliteConnection};

use super::chain::{GENESIS, hex, link, sha256};
use super::index::{self, number};
use super::migrate::{self, MigrateError};
use super::retired::{RetiredClub, Segment};
use super::start::{AT_HAND, NAMED_TAUGHT_BY, ORDERS_AT_HAND, TAUGHT_BY, TEACHERS, VALUES_AT_HAND};
use super::store::{BATCH, Journal, JournalError, Reader, pool_of};
use crate::measurement::stamp::Stamp;
use crate::work_order::event::{Change, Numbering};

/// Why nothing was retired; the journal is as it was.
#[derive(Debug, thiserror::Error)]
pub enum RetireError {
    /// There is nothing to retire.
    #[error("nothing is retired: {0}")]
    Nothing(String),
    /// The exported file is not what the journal holds.
    #[error("the exported file {file} does not hold: {what}")]
    Export {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        what: String,
    },
    /// A file.
    #[error("{file} cannot be read or written")]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The journal.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The schema of a new file.
    #[error("a new file cannot be given the schema of a journal")]
    Schema(#[from] MigrateError),
    /// The database.
    #[error("the database failed; check free space")]
    Database(#[from] sqlx::Error),
}

/// What was retired.
#[derive(Debug, Clone)]
pub struct Retired {
    /// The segment.
    pub segment: Segment,
    /// Its file.
    pub file: PathBuf,
    /// How many events it holds.
    pub events: u64,
    /// How many of its events stay in the journal, because something needs them.
    pub kept: u64,
    /// How many clubs are from now on in the segment alone.
    pub clubs: u64,
}

/// Exports everything before a wall time into `out`, proves it, and makes the rest of the journal in `stage`, an empty folder on
/// the disk of the journal. The journal itself is not touched.
///
/// # Errors
/// When there is nothing that can be retired, or anything fails on the way.
pub async fn retire(
    journal: &Journal,
    before_us: i64,
    out: &Path,
    stage: &Path,
    now: Stamp,
) -> Result<Retired, RetireError> {
    let reader = journal.reader();
    let segments = reader.segments().await?;
    let first = segments.last().map_or(1, |segment| segment.last + 1);
    let previous = segments.last().map_or(GENESIS.to_owned(), |segment| segment.last_hash.clone());
    let mut connection = journal.writer().acquire().await?;
    let after: Option<i64> = sqlx::query_scalar("SELECT min(seq) FROM event WHERE at_us >= ? AND seq >= ?")
        .bind(before_us)
        .bind(number(first))
        .fetch_one(&mut *connection)
        .await?;
    // The last event always stays: the journal goes on behind it.
    let end = after.and_then(|seq| u64::try_from(seq).ok()).map_or(journal.last_seq(), |seq| seq.min(journal.last_seq()));
    if end <= first {
        return Err(RetireError::Nothing("no event is older than that and not retired yet".to_owned()));
    }
    let last = end - 1;
    choose(&mut connection, last).await?;
    let clubs = clubs_to_retire(&mut connection).await?;
    if clubs.is_empty() {
        let why = "every club that old belongs to an order that is not over, or is needed for what is in work";
        return Err(RetireError::Nothing(why.to_owned()));
    }
    let list = serde_json::to_vec(&clubs).map_err(|error| sqlx::Error::Encode(Box::new(error)))?;
    let name = format!("segment-{}-{first}-{last}.sqlite", reader.epoch());
    let file = out.join(&name);
    std::fs::create_dir_all(out).map_err(|source| RetireError::File { file: out.to_owned(), source })?;
    if !file.exists() {
        export(&mut connection, &reader, last, &file).await?;
    }
    // What is on the disk is what counts, not what was meant to be: also of an export that was finished before.
    let last_hash = reader.hash_of(last).await?.unwrap_or_default();
    prove(&reader, &file, (first, last), &previous, &last_hash).await?;
    let segment = Segment { sha256: sha256_of(&file)?, file: name, first, last, last_hash };
    let kept = rest(&mut connection, &reader, last, stage).await?;
    drop(connection);
    let clubs_name = sha256(&list);
    let change = Change::SegmentRetired {
        file: segment.file.clone(),
        sha256: segment.sha256.clone(),
        first,
        last,
        last_hash: segment.last_hash.clone(),
        clubs: clubs_name.clone(),
    };
    let event = Numbering::after(reader.epoch(), journal.last_seq()).event(now, None, change);
    let mut staged = Journal::open(stage, reader.bench(), reader.epoch()).await?;
    let written = staged.append(&[event], &[(clubs_name, list)]).await;
    staged.close().await;
    written?;
    let manifest = serde_json::json!({"file": segment.file, "sha256": segment.sha256, "bench": reader.bench(),
        "epoch": reader.epoch(), "first": first, "last": last, "hash_before": previous, "last_hash": segment.last_hash,
        "clubs": clubs.len()});
    write_whole(&file.with_extension("json"), format!("{manifest:#}\n").as_bytes())?;
    Ok(Retired { segment, file, events: last - first + 1, kept, clubs: clubs.len().try_into().unwrap_or(u64::MAX) })
}

/// Notes the events up to `last` that must stay, and the orders, in tables of the connection.
async fn choose(connection: &mut SqliteConnection, last: u64) -> Result<(), sqlx::Error> {
    sqlx::raw_sql(
        "DROP TABLE IF EXISTS temp.stays; DROP TABLE IF EXISTS temp.needed;
         CREATE TEMP TABLE stays (n INTEGER PRIMARY KEY); CREATE TEMP TABLE needed (seq INTEGER PRIMARY KEY)",
    )
    .execute(&mut *connection)
    .await?;
    sqlx::query(STAYS)
        .bind(number(last))
        .bind(ORDERS_AT_HAND)
        .bind(TAUGHT_BY)
        .bind(NAMED_TAUGHT_BY)
        .execute(&mut *connection)
        .await?;
    let folded = format!("INSERT OR IGNORE INTO temp.needed SELECT seq FROM ({AT_HAND})");
    sqlx::query(sqlx::AssertSqlSafe(folded))
        .bind(VALUES_AT_HAND)
        .bind(ORDERS_AT_HAND)
        .execute(&mut *connection)
        .await?;
    let taught = format!("INSERT OR IGNORE INTO temp.needed SELECT seq FROM ({TEACHERS})");
    sqlx::query(sqlx::AssertSqlSafe(taught))
        .bind(TAUGHT_BY)
        .bind(NAMED_TAUGHT_BY)
        .execute(&mut *connection)
        .await?;
    for needed in NEEDED {
        sqlx::query(needed).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Orders that are not over, not old, or teach something; `?1` is the last sequence of the segment.
const STAYS: &str = "
    INSERT OR IGNORE INTO temp.stays
    SELECT order_n FROM index_club WHERE state NOT IN ('finished', 'dropped') OR stale = 1
    UNION SELECT n FROM (SELECT n FROM index_order ORDER BY n DESC LIMIT ?2)
    UNION SELECT n FROM index_event WHERE what = 0 AND seq > ?1
    UNION SELECT c.order_n FROM index_event e JOIN index_club c ON c.n = e.n WHERE e.what = 1 AND e.seq > ?1
    UNION SELECT c.order_n FROM index_latest l JOIN event v ON v.seq = l.seq
        JOIN index_club c ON c.club = json_extract(v.body, '$.club') WHERE l.name IN ('club_opened/', 'club_finished/')
    UNION SELECT o.n FROM index_latest l JOIN event v ON v.seq = l.seq
        JOIN index_order o ON o.number = json_extract(v.body, '$.order') WHERE l.name = 'order_opened/'
    UNION SELECT order_n FROM (SELECT c.order_n FROM index_club c
        WHERE EXISTS (SELECT 1 FROM index_event b WHERE b.what = 7 AND b.n = c.n) ORDER BY c.last_us DESC LIMIT ?3)
    UNION SELECT order_n FROM (SELECT c.order_n FROM index_event b CROSS JOIN index_club c ON c.n = b.n
        WHERE b.what = 7 ORDER BY b.n DESC LIMIT ?3)
    UNION SELECT order_n FROM (SELECT c.order_n FROM index_event m CROSS JOIN index_club c ON c.n = m.n
        WHERE m.what = 8 AND c.state = 'finished' ORDER BY m.n DESC LIMIT ?4)";

/// Events that must stay: those of orders that stay; what holds for the bench, studies, drawers, running time; instruments;
/// gaps; and the readings that any of these speak of, with what was said of those.
const NEEDED: [&str; 6] = [
    "INSERT OR IGNORE INTO temp.needed SELECT e.seq FROM temp.stays s JOIN index_event e ON e.what = 0 AND e.n = s.n",
    "INSERT OR IGNORE INTO temp.needed SELECT e.seq FROM temp.stays s JOIN index_club c ON c.order_n = s.n
        JOIN index_event e ON e.what = 1 AND e.n = c.n",
    "INSERT OR IGNORE INTO temp.needed SELECT seq FROM index_event WHERE what IN (4, 5, 9, 10, 12) AND n = 0
        UNION SELECT n FROM index_event WHERE what = 6 UNION SELECT seq FROM index_trust",
    "INSERT OR IGNORE INTO temp.needed SELECT n FROM index_event WHERE what = 2 AND seq IN (SELECT seq FROM temp.needed)",
    "INSERT OR IGNORE INTO temp.needed SELECT seq FROM index_event WHERE what = 2 AND n IN (SELECT seq FROM temp.needed)",
    "INSERT OR IGNORE INTO temp.needed SELECT seq FROM index_latest WHERE name < 'batch/' OR name >= 'batch0'",
];

/// The clubs of orders that do not stay, in the order of import.
async fn clubs_to_retire(connection: &mut SqliteConnection) -> Result<Vec<RetiredClub>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT o.number, o.player, c.club, c.token, c.name, c.state, c.entries, c.is_out, c.last_us
         FROM index_club c JOIN index_order o ON o.n = c.order_n
         WHERE c.order_n NOT IN (SELECT n FROM temp.stays) AND c.n NOT IN (SELECT club_n FROM index_retired)
         ORDER BY o.n, c.n",
    )
    .fetch_all(connection)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(RetiredClub {
                order: row.try_get(0)?,
                player: row.try_get(1)?,
                club: row.try_get(2)?,
                token: row.try_get(3)?,
                name: row.try_get(4)?,
                state: row.try_get(5)?,
                entries: row.try_get(6)?,
                is_out: row.try_get(7)?,
                last_us: row.try_get(8)?,
            })
        })
        .collect()
}

/// Writes the segment; it has its name only when all of it is on disk.
async fn export(connection: &mut SqliteConnection, reader: &Reader, last: u64, file: &Path) -> Result<(), RetireError> {
    let part = file.with_extension("part");
    new_journal(&part, reader).await?;
    copy(connection, &part, number(last), "seq <= ?1").await?;
    let pool = pool_of(1).connect_with(SqliteConnectOptions::new().filename(&part)).await?;
    index::rebuild(&mut *pool.acquire().await?).await?;
    pool.close().await;
    let failed = |source| RetireError::File { file: file.to_owned(), source };
    File::open(&part).and_then(|opened| opened.sync_all()).map_err(failed)?;
    std::fs::rename(&part, file).map_err(failed)?;
    sync_folder(file)
}

/// Makes the rest of the journal in the stage; how many events of the segment it keeps.
async fn rest(connection: &mut SqliteConnection, reader: &Reader, last: u64, stage: &Path) -> Result<u64, RetireError> {
    let file = stage.join(super::store::FILE_NAME);
    new_journal(&file, reader).await?;
    copy(connection, &file, number(last), "seq > ?1 OR seq IN (SELECT seq FROM temp.needed)").await?;
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM temp.needed WHERE seq <= ?")
        .bind(number(last))
        .fetch_one(connection)
        .await?;
    Ok(u64::try_from(kept).unwrap_or_default())
}

/// An empty journal file with the number and the bench of another one.
async fn new_journal(file: &Path, of: &Reader) -> Result<(), RetireError> {
    match std::fs::remove_file(file) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => {
            return Err(RetireError::File { file: file.to_owned(), source });
        }
        _ => {}
    }
    let options = SqliteConnectOptions::new()
        .filename(file)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Delete);
    let pool = pool_of(1).connect_with(options).await?;
    migrate::SCRIPTS.run(&pool).await.map_err(MigrateError::from)?;
    sqlx::query("INSERT INTO journal (one, epoch, bench) VALUES (1, ?, ?)")
        .bind(number(of.epoch()))
        .bind(of.bench())
        .execute(&pool)
        .await?;
    pool.close().await;
    Ok(())
}

/// Copies events with the evidence they name, and where followers have got to.
async fn copy(connection: &mut SqliteConnection, into: &Path, last: i64, which: &str) -> Result<(), sqlx::Error> {
    sqlx::query("ATTACH DATABASE ? AS part").bind(into.display().to_string()).execute(&mut *connection).await?;
    let events = format!(
        "INSERT INTO part.event SELECT seq, id, kind, at_us, body, hash FROM main.event WHERE {which} ORDER BY seq"
    );
    let copied = async {
        sqlx::query(sqlx::AssertSqlSafe(events)).bind(last).execute(&mut *connection).await?;
        sqlx::raw_sql(
            "INSERT INTO part.evidence SELECT v.sha256, v.content FROM main.evidence v WHERE v.sha256 IN (
                 SELECT json_extract(body, '$.evidence') FROM part.event WHERE kind = 'reading_captured'
                 UNION SELECT json_extract(body, '$.clubs') FROM part.event WHERE kind = 'segment_retired');
             INSERT INTO part.cursor SELECT follower, seq, at_us FROM main.cursor",
        )
        .execute(&mut *connection)
        .await
    };
    let copied = copied.await;
    sqlx::raw_sql("DETACH DATABASE part").execute(connection).await?;
    copied.map(|_| ())
}

/// Proves a segment: the chain from the hash before it to its last one, all its evidence, and its events those of the journal.
async fn prove(
    reader: &Reader,
    file: &Path,
    (first, last): (u64, u64),
    previous: &str,
    last_hash: &str,
) -> Result<(), RetireError> {
    let wrong = |what: String| RetireError::Export { file: file.to_owned(), what };
    let segment = Reader::open_file(file.to_owned()).await?;
    let (mut hash, mut seq) = (previous.to_owned(), first - 1);
    while seq < last {
        let rows = segment.after(seq, BATCH).await?;
        if rows.is_empty() {
            return Err(wrong(format!("it ends before event {last}")));
        }
        for row in rows {
            seq += 1;
            hash = link(&hash, row.body.as_bytes());
            if row.seq != seq || row.hash != hash {
                return Err(wrong(format!("the chain does not hold at event {seq}")));
            }
            let event = row.event()?;
            if let Change::ReadingCaptured(captured) = &event.change {
                let raw = segment.evidence(&captured.evidence).await?;
                // Raw bytes that the journal itself lacks are missing in the segment, too.
                if raw.as_deref().map(sha256).as_ref() != Some(&captured.evidence)
                    && reader.evidence(&captured.evidence).await?.is_some()
                {
                    return Err(wrong(format!("the raw bytes of event {seq} are not those it names")));
                }
            }
        }
    }
    segment.close().await;
    if seq != last || hash != last_hash {
        return Err(wrong(format!("it does not end with event {last} of the journal")));
    }
    Ok(())
}

/// SHA-256 of a file, in hexadecimal.
///
/// # Errors
/// When it cannot be read.
pub fn sha256_of(file: &Path) -> Result<String, RetireError> {
    let failed = |source| RetireError::File { file: file.to_owned(), source };
    let mut opened = File::open(file).map_err(failed)?;
    let (mut hasher, mut part) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        match opened.read(&mut part).map_err(failed)? {
            0 => return Ok(hex(&hasher.finalize())),
            read => hasher.update(part.get(..read).unwrap_or_default()),
        }
    }
}

fn write_whole(file: &Path, content: &[u8]) -> Result<(), RetireError> {
    let part = file.with_extension("json-part");
    let failed = |source| RetireError::File { file: file.to_owned(), source };
    std::fs::write(&part, content).map_err(failed)?;
    File::open(&part).and_then(|opened| opened.sync_all()).map_err(failed)?;
    std::fs::rename(&part, file).map_err(failed)?;
    sync_folder(file)
}

fn sync_folder(file: &Path) -> Result<(), RetireError> {
    super::backup::sync_folder(file).map_err(|_| RetireError::File {
        file: file.to_owned(),
        source: io::Error::other("its folder cannot be brought to the disk"),
    })
}
