//! A damaged journal read from the raw pages of its file and log: every event that proves itself, what is lost named.
//!
//! An event is whole when its text and the hash before it give its hash, or when the event behind it proves that they do. The
//! whole ones go into a private database of the same schema, so that everything that reads a journal reads it. Nothing is
//! guessed, and the damaged file is not touched.

use std::collections::BTreeMap;
use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{Row as _, SqliteConnection};

use super::carve::{Found, carve};
use super::chain::sha256;
use super::event::{self, parse_rfc3339};
use super::index::{self, number};
use super::log::{self, Log};
use super::prover::{Candidate, Group, Prover, Standing};
use super::store::{Reader, pool_of};
use super::{migrate, store};
use crate::work_order::event::Change;

/// The size of pages where the file does not say it: the one journals are made with.
const PAGE: usize = 4096;
/// Places of the chain that are proved at a time.
const STRETCH: i64 = 1000;
/// A lost end is believed to be at most so long.
const LONGEST_END: u64 = 1_000_000;

/// Why nothing could be read from a damaged journal.
#[derive(Debug, thiserror::Error)]
pub enum SalvageError {
    /// The file.
    #[error("{file} cannot be read")]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Nothing in it is an event.
    #[error("{file} holds no event that proves itself; restore a backup")]
    Nothing {
        /// The file.
        file: PathBuf,
    },
    /// The private database.
    #[error("what is whole cannot be gathered; check free space of the folder for temporary files")]
    Database(#[from] sqlx::Error),
    /// The private database's schema.
    #[error("what is whole cannot be gathered")]
    Schema(#[from] sqlx::migrate::MigrateError),
}

/// Sequences in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// The first.
    pub first: u64,
    /// The last.
    pub last: u64,
}

impl std::fmt::Display for Span {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.last - self.first {
            0 => write!(f, "{}", self.first),
            _ => write!(f, "{} to {}", self.first, self.last),
        }
    }
}

/// What was found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Findings {
    /// Events that are whole.
    pub whole: u64,
    /// Sequences of which nothing whole is left.
    pub lost: Vec<Span>,
    /// Sequences of whole rows that the chain cannot prove, because the event before is lost.
    pub unproved: Vec<Span>,
    /// The last sequence the journal is known to have had.
    pub last: u64,
    /// Whether the journal is known to have ended there.
    pub end_known: bool,
    /// What is wrong with the write-ahead log.
    pub log: Option<String>,
}

/// The whole events of a damaged journal.
#[derive(Debug)]
pub struct Salvaged {
    /// Reads them, from a private database that is gone when it is closed.
    pub reader: Reader,
    /// What was found.
    pub findings: Findings,
}

/// Reads everything that proves itself from a journal file and its log.
///
/// # Errors
/// When the file cannot be read, holds no event, or there is no space for what is found.
pub async fn salvage(file: &Path) -> Result<Salvaged, SalvageError> {
    let options = SqliteConnectOptions::new()
        .filename("")
        .journal_mode(SqliteJournalMode::Memory)
        .synchronous(SqliteSynchronous::Off);
    let pool = pool_of(1).connect_with(options).await?;
    migrate::SCRIPTS.run(&pool).await?;
    let mut connection = pool.acquire().await?;
    sqlx::raw_sql(
        "CREATE TEMP TABLE candidate (seq INTEGER NOT NULL, body BLOB NOT NULL, hash BLOB NOT NULL);
         CREATE INDEX temp.candidate_seq ON candidate (seq); BEGIN",
    )
    .execute(&mut *connection)
    .await?;
    let failed = |source| SalvageError::File { file: file.to_owned(), source };
    let gathered = gather(&mut connection, file).await?.map_err(failed)?;
    let mut findings = Findings { log: gathered.log, ..Findings::default() };
    let Some(owner) = prove(&mut connection, &mut findings).await? else {
        return Err(SalvageError::Nothing { file: file.to_owned() });
    };
    let last = sqlx::query("SELECT seq, hash FROM event ORDER BY seq DESC LIMIT 1").fetch_one(&mut *connection).await?;
    let (last_seq, last_hash) = (u64::try_from(last.try_get::<i64, _>(0)?).unwrap_or_default(), last.try_get(1)?);
    settle_end(&mut findings, &gathered.tips, last_seq, last_hash);
    sqlx::query("INSERT INTO journal (one, epoch, bench) VALUES (1, ?, ?)")
        .bind(number(owner.epoch))
        .bind(&owner.bench)
        .execute(&mut *connection)
        .await?;
    index::rebuild(&mut connection).await?;
    without_retired(&mut connection, &mut findings).await?;
    sqlx::raw_sql("COMMIT; DROP TABLE temp.candidate").execute(&mut *connection).await?;
    drop(connection);
    let reader = Reader::over(pool, file.to_owned(), owner.bench, owner.epoch);
    Ok(Salvaged { reader, findings })
}

/// What is wrong with the write-ahead log of a journal file; the library says nothing of it. Only where no other process
/// writes it meanwhile.
#[must_use]
pub fn broken_log(file: &Path) -> Option<String> {
    // The journal's file itself is not opened: closing it would take the library's locks from it.
    let log = log_of(file);
    let size = log::page_size(&log);
    log::read(&log, size).broken
}

/// Copies a log that does not hold before the library goes on writing over it; the copy and what is wrong.
pub(super) fn keep_broken_log(file: &Path) -> io::Result<Option<(PathBuf, String)>> {
    let Some(what) = broken_log(file) else { return Ok(None) };
    let log = log_name(file);
    let copy = (1_u32..).map(|n| log.with_extension(format!("sqlite-wal.broken-{n}"))).find(|name| !name.exists());
    let Some(copy) = copy else { return Ok(None) };
    std::fs::copy(&log, &copy)?;
    File::open(&copy)?.sync_all()?;
    Ok(Some((copy, what)))
}

fn log_of(file: &Path) -> Vec<u8> {
    std::fs::read(log_name(file)).unwrap_or_default()
}

fn log_name(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push("-wal");
    PathBuf::from(name)
}

fn page_size(file: &File) -> usize {
    let mut two = [0; 2];
    match file.read_exact_at(&mut two, 16).map(|()| u16::from_be_bytes(two)) {
        Ok(1) => 65536,
        Ok(size) if size >= 512 && size.is_power_of_two() => usize::from(size),
        _ => PAGE,
    }
}

/// Beside the candidates.
struct Gathered {
    /// Where the journal says that it stood, as far as that was found.
    tips: BTreeMap<u64, Vec<u8>>,
    log: Option<String>,
}

/// Puts everything that has the shape of an event or of evidence into the private database; evidence proves itself by its name.
async fn gather(connection: &mut SqliteConnection, file: &Path) -> Result<Result<Gathered, io::Error>, sqlx::Error> {
    let opened = match File::open(file) {
        Ok(opened) => opened,
        Err(error) => return Ok(Err(error)),
    };
    let size = page_size(&opened);
    let bytes = log_of(file);
    let Log { pages, broken } = log::read(&bytes, size);
    let in_file = |page: u32| {
        let mut content = vec![0; size];
        let at = u64::from(page.checked_sub(1)?) * u64::try_from(size).ok()?;
        // The last page of a file that was cut off is read as far as it goes.
        let read = read_as_far(&opened, &mut content, at).ok()?;
        (read > 0).then_some(content)
    };
    let newest: BTreeMap<u32, usize> = pages.iter().copied().collect();
    let in_log = |page: u32| {
        let of_log = newest.get(&page).and_then(|at| bytes.get(*at..*at + size)).map(<[u8]>::to_vec);
        of_log.or_else(|| in_file(page))
    };
    let mut gathered = Gathered { tips: BTreeMap::new(), log: broken };
    let mut page = 1;
    while let Some(content) = in_file(page) {
        keep(connection, carve(&content, &in_file), &mut gathered.tips).await?;
        page += 1;
    }
    for (_, at) in &pages {
        let Some(content) = bytes.get(*at..*at + size) else { continue };
        keep(connection, carve(content, &in_log), &mut gathered.tips).await?;
    }
    Ok(Ok(gathered))
}

fn read_as_far(file: &File, into: &mut [u8], at: u64) -> io::Result<usize> {
    let mut read = 0;
    while let Some(rest) = into.get_mut(read..).filter(|rest| !rest.is_empty()) {
        match file.read_at(rest, at + u64::try_from(read).unwrap_or(u64::MAX)) {
            Ok(0) => break,
            Ok(more) => read += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(read)
}

/// What is read of an event to put it to its place.
#[derive(Deserialize)]
struct Place {
    seq: u64,
    epoch: u64,
    bench: String,
    id: String,
    kind: String,
    at: String,
}

async fn keep(
    connection: &mut SqliteConnection,
    found: Vec<Found>,
    tips: &mut BTreeMap<u64, Vec<u8>>,
) -> Result<(), sqlx::Error> {
    for row in found {
        match row {
            Found::Tip { seq, hash } => drop(tips.insert(seq, hash)),
            Found::Evidence { sha256: name, content } => {
                if sha256(&content).into_bytes() == name {
                    let name = String::from_utf8_lossy(&name).into_owned();
                    sqlx::query(store::NEW_EVIDENCE)
                        .bind(&name)
                        .bind(content)
                        .bind(&name)
                        .execute(&mut *connection)
                        .await?;
                }
            }
            Found::Event { key, body, hash } => {
                // Its text and its key say the same place, unless one of them is damaged.
                let told = serde_json::from_slice::<Place>(&body).ok().map(|place| place.seq);
                let places = [told, key.filter(|key| Some(*key) != told)];
                for seq in places.into_iter().flatten().filter(|seq| (1..1 << 53).contains(seq)) {
                    sqlx::query("INSERT INTO temp.candidate (seq, body, hash) VALUES (?, ?, ?)")
                        .bind(number(seq))
                        .bind(&body)
                        .bind(&hash)
                        .execute(&mut *connection)
                        .await?;
                }
            }
        }
    }
    Ok(())
}

/// Whose journal it is.
struct Owner {
    epoch: u64,
    bench: String,
}

/// Proves the candidates in the order of the chain and keeps those that are whole.
async fn prove(connection: &mut SqliteConnection, findings: &mut Findings) -> Result<Option<Owner>, sqlx::Error> {
    let mut prover = Prover::default();
    let (mut owner, mut seq, mut waiting) = (None, 0_i64, None);
    loop {
        let next: Option<i64> = sqlx::query_scalar("SELECT min(seq) FROM temp.candidate WHERE seq > ?")
            .bind(seq)
            .fetch_one(&mut *connection)
            .await?;
        let Some(first) = next else { break };
        seq = first + STRETCH - 1;
        let rows = sqlx::query("SELECT seq, body, hash FROM temp.candidate WHERE seq BETWEEN ? AND ? ORDER BY seq")
            .bind(first)
            .bind(seq)
            .fetch_all(&mut *connection)
            .await?;
        for group in groups(&rows)? {
            if let Some(before) = waiting.replace(group) {
                let standing = prover.judge(&before, waiting.as_ref());
                take(connection, before.seq, standing, findings, &mut owner).await?;
            }
        }
    }
    if let Some(end) = waiting {
        let standing = prover.judge(&end, None);
        take(connection, end.seq, standing, findings, &mut owner).await?;
    }
    findings.last = prover.last();
    findings.lost = prover.into_lost();
    Ok(owner)
}

fn groups(rows: &[sqlx::sqlite::SqliteRow]) -> Result<Vec<Group>, sqlx::Error> {
    let mut groups: Vec<Group> = Vec::new();
    for row in rows {
        let seq = u64::try_from(row.try_get::<i64, _>(0)?).unwrap_or_default();
        let candidate = Candidate { body: row.try_get(1)?, hash: row.try_get(2)? };
        match groups.last_mut().filter(|group| group.seq == seq) {
            Some(group) if group.candidates.contains(&candidate) => {}
            Some(group) => group.candidates.push(candidate),
            None => groups.push(Group { seq, candidates: vec![candidate] }),
        }
    }
    Ok(groups)
}

async fn take(
    connection: &mut SqliteConnection,
    seq: u64,
    standing: Standing,
    findings: &mut Findings,
    owner: &mut Option<Owner>,
) -> Result<(), sqlx::Error> {
    let (body, hash) = match standing {
        Standing::Lost => return Ok(()),
        Standing::Whole { body, hash } => (body, hash),
        Standing::Unproved { body, hash } => {
            add(&mut findings.unproved, seq);
            (body, hash)
        }
    };
    // What the chain proves was written by a journal; its text is what that wrote.
    let Ok(place) = serde_json::from_slice::<Place>(&body) else { return Ok(()) };
    findings.whole += 1;
    sqlx::query("INSERT INTO event (seq, id, kind, at_us, body, hash) VALUES (?, ?, ?, ?, ?, ?)")
        .bind(number(seq))
        .bind(place.id)
        .bind(place.kind)
        .bind(parse_rfc3339(&place.at).unwrap_or_default())
        .bind(String::from_utf8_lossy(&body).into_owned())
        .bind(hash)
        .execute(connection)
        .await?;
    owner.get_or_insert(Owner { epoch: place.epoch, bench: place.bench });
    Ok(())
}

/// Adds a sequence to the end of a list of spans.
pub fn add(spans: &mut Vec<Span>, seq: u64) {
    match spans.last_mut() {
        Some(span) if span.last + 1 == seq => span.last = seq,
        _ => spans.push(Span { first: seq, last: seq }),
    }
}

/// What was retired is not lost: an event that is whole tells where it is.
async fn without_retired(connection: &mut SqliteConnection, findings: &mut Findings) -> Result<(), sqlx::Error> {
    let bodies: Vec<String> = sqlx::query_scalar("SELECT body FROM event WHERE kind = 'segment_retired' ORDER BY seq")
        .fetch_all(connection)
        .await?;
    for event in bodies.iter().filter_map(|body| event::parse(body).ok()) {
        let Change::SegmentRetired { first, last, .. } = event.change else { continue };
        let outside = |span: Span| {
            let before = Span { first: span.first, last: span.last.min(first - 1) };
            let after = Span { first: span.first.max(last + 1), last: span.last };
            [before, after].into_iter().filter(|part| part.first <= part.last)
        };
        findings.lost = std::mem::take(&mut findings.lost).into_iter().flat_map(outside).collect();
        findings.unproved = std::mem::take(&mut findings.unproved).into_iter().flat_map(outside).collect();
    }
    Ok(())
}

/// Where the journal ended: its index says so, if that was found.
fn settle_end(findings: &mut Findings, tips: &BTreeMap<u64, Vec<u8>>, last: u64, hash: String) {
    findings.end_known = tips.values().any(|tip| *tip == hash.as_bytes());
    if findings.end_known {
        findings.last = findings.last.max(last);
        return;
    }
    let beyond = tips.keys().rev().find(|seq| (last..last + LONGEST_END).contains(*seq));
    let end = findings.last.max(beyond.copied().unwrap_or(last));
    findings.end_known = beyond.is_some();
    if end > findings.last {
        findings.lost.push(Span { first: findings.last + 1, last: end });
        findings.last = end;
    }
}
