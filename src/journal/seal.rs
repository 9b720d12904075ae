//! The oldest part of a journal sealed: written whole into a file of its own, with a manifest beside it that says what it is.
//!
//! The file is a journal of its own: every event up to its last sequence that the journal still has, with the evidence behind
//! it, indexed. The journal is not touched. Whoever calls proves the file before it is given its manifest; what has a manifest
//! has been proved once.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use sqlx::SqliteConnection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode};

use super::backup::{self, BackupError};
use super::chain::{GENESIS, hex};
use super::index::{self, number};
use super::migrate::{self, MigrateError};
use super::needed::{choose, clubs_to_retire, why_all_stay};
use super::retired::Segment;
use super::store::{Journal, JournalError, Reader, pool_of};

/// Why nothing was sealed or retired; the journal is as it was.
#[derive(Debug, thiserror::Error)]
pub enum SegmentError {
    /// There is nothing to do.
    #[error("nothing is sealed or retired: {0}")]
    Nothing(String),
    /// The manifest of a segment cannot be used.
    #[error("{file} is no manifest of a segment: {what}; `records seal` writes one beside the file that it has proved")]
    Manifest {
        /// The manifest.
        file: PathBuf,
        /// What is wrong with it.
        what: String,
    },
    /// A file.
    #[error("{file} cannot be read or written; check free space and whether the folder can be written")]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A name is not on the disk.
    #[error(transparent)]
    Disk(#[from] BackupError),
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

/// What a sealed file is, kept beside it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Name of the file.
    pub file: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// The bench of the journal.
    pub bench: String,
    /// The journal's number.
    pub epoch: u64,
    /// First sequence of the segment.
    pub first: u64,
    /// Last sequence of the segment.
    pub last: u64,
    /// Hash that the first event hangs on.
    pub hash_before: String,
    /// Hash of the last event.
    pub last_hash: String,
    /// Segments that were retired before: of their events the file holds only those that had stayed in the journal.
    pub earlier: Vec<Segment>,
    /// First and last sequence of each stretch up to the last event that was lost before, as the journal itself tells.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lost: Vec<(u64, u64)>,
}

impl Manifest {
    /// Where the manifest of a sealed file is.
    #[must_use]
    pub fn beside(file: &Path) -> PathBuf {
        file.with_extension("json")
    }

    /// Reads the manifest of a sealed file.
    ///
    /// # Errors
    /// When there is none, or it is no manifest of this file.
    pub fn read(file: &Path) -> Result<Self, SegmentError> {
        let manifest = Self::beside(file);
        let wrong = |what: String| SegmentError::Manifest { file: manifest.clone(), what };
        let content = std::fs::read(&manifest).map_err(|error| wrong(error.to_string()))?;
        let read: Self = serde_json::from_slice(&content).map_err(|error| wrong(error.to_string()))?;
        if file.file_name().is_none_or(|name| name != read.file.as_str()) {
            return Err(wrong(format!("it tells of {}", read.file)));
        }
        if read.first > read.last {
            return Err(wrong(format!("it tells of events {} to {}", read.first, read.last)));
        }
        Ok(read)
    }

    /// Writes the manifest beside its file, whole or not at all.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, file: &Path) -> Result<(), SegmentError> {
        let manifest = Self::beside(file);
        let part = file.with_extension("json-part");
        let failed = |source| SegmentError::File { file: manifest.clone(), source };
        let content = serde_json::to_string_pretty(self).map_err(|error| failed(io::Error::other(error)))?;
        std::fs::write(&part, format!("{content}\n")).map_err(failed)?;
        File::open(&part).and_then(|opened| opened.sync_all()).map_err(failed)?;
        std::fs::rename(&part, &manifest).map_err(failed)?;
        Ok(backup::sync_folder(&manifest)?)
    }
}

/// A segment on the disk, not proved yet.
#[derive(Debug, Clone)]
pub struct Sealed {
    /// Its file.
    pub file: PathBuf,
    /// What its manifest says once it is proved.
    pub manifest: Manifest,
    /// How many clubs could be retired with it now.
    pub clubs: usize,
    /// The file was there before.
    pub was_there: bool,
}

/// What follows the segments that are retired: the first sequence, and the hash it hangs on.
pub(super) fn next(segments: &[Segment]) -> (u64, String) {
    segments.last().map_or((1, GENESIS.to_owned()), |segment| (segment.last + 1, segment.last_hash.clone()))
}

/// Writes everything before a wall time, in microseconds since 1970 UTC, into a file in `out`.
///
/// # Errors
/// When there is nothing that could be retired, or the file cannot be written.
pub async fn seal(journal: &Journal, before_us: i64, out: &Path) -> Result<Sealed, SegmentError> {
    let reader = journal.reader();
    let earlier = reader.segments().await?;
    let (first, hash_before) = next(&earlier);
    // The lines of clubs say what is over; none of them may be behind.
    journal.refresh_all().await?;
    let mut connection = journal.writer().acquire().await?;
    let after: Option<i64> = sqlx::query_scalar("SELECT min(seq) FROM event WHERE at_us >= ? AND seq >= ?")
        .bind(before_us)
        .bind(number(first))
        .fetch_one(&mut *connection)
        .await?;
    // The last event always stays: the journal goes on behind it.
    let after = after.and_then(|seq| u64::try_from(seq).ok());
    let end = after.map_or(journal.last_seq(), |seq| seq.min(journal.last_seq()));
    if end <= first {
        return Err(SegmentError::Nothing("no event is older than that and not retired yet".to_owned()));
    }
    // Behind a gap the segment ends with the last event that is there.
    let last: Option<i64> = sqlx::query_scalar("SELECT max(seq) FROM event WHERE seq < ? AND seq >= ?")
        .bind(number(end))
        .bind(number(first))
        .fetch_one(&mut *connection)
        .await?;
    let Some(last) = last.and_then(|seq| u64::try_from(seq).ok()) else {
        return Err(SegmentError::Nothing("no event is older than that and not retired yet".to_owned()));
    };
    let lost = reader.lost().await?.into_iter().filter(|(from, _)| *from <= last).collect();
    let Some(last_hash) = reader.hash_of(last).await? else { return Err(JournalError::Changed { seq: last }.into()) };
    choose(&mut connection, last).await?;
    let clubs = clubs_to_retire(&mut connection).await?.len();
    if clubs == 0 {
        return Err(SegmentError::Nothing(why_all_stay(&mut connection, last).await?));
    }
    let name = format!("segment-{}-{first}-{last}.sqlite", reader.epoch());
    let file = out.join(&name);
    std::fs::create_dir_all(out).map_err(|source| SegmentError::File { file: out.to_owned(), source })?;
    let was_there = file.exists();
    if !was_there {
        export(&mut connection, &reader, last, &file).await?;
    }
    let manifest = Manifest {
        file: name,
        sha256: sha256_of(&file)?,
        bench: reader.bench().to_owned(),
        epoch: reader.epoch(),
        first,
        last,
        hash_before,
        last_hash,
        earlier,
        lost,
    };
    Ok(Sealed { file, manifest, clubs, was_there })
}

/// Writes the segment; it has its name only when all of it is on disk.
async fn export(
    connection: &mut SqliteConnection,
    reader: &Reader,
    last: u64,
    file: &Path,
) -> Result<(), SegmentError> {
    let part = file.with_extension("part");
    new_journal(&part, reader).await?;
    copy(connection, &part, number(last), "seq <= ?1").await?;
    let pool = pool_of(1).connect_with(SqliteConnectOptions::new().filename(&part)).await?;
    let indexed = async {
        let mut writing = pool.acquire().await?;
        let mut transaction = sqlx::Connection::begin(&mut *writing).await?;
        index::rebuild(&mut transaction).await?;
        transaction.commit().await
    };
    let indexed = indexed.await;
    pool.close().await;
    indexed?;
    let failed = |source| SegmentError::File { file: file.to_owned(), source };
    File::open(&part).and_then(|opened| opened.sync_all()).map_err(failed)?;
    std::fs::rename(&part, file).map_err(failed)?;
    Ok(backup::sync_folder(file)?)
}

/// An empty journal file with the number and the bench of another one, in the place of what is left over there.
pub(super) async fn new_journal(file: &Path, of: &Reader) -> Result<(), SegmentError> {
    match std::fs::remove_file(file) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => {
            return Err(SegmentError::File { file: file.to_owned(), source });
        }
        _ => {}
    }
    let options =
        SqliteConnectOptions::new().filename(file).create_if_missing(true).journal_mode(SqliteJournalMode::Delete);
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

/// Copies the events that `which` says with the evidence they name, and where followers have got to.
pub(super) async fn copy(
    connection: &mut SqliteConnection,
    into: &Path,
    last: i64,
    which: &str,
) -> Result<(), sqlx::Error> {
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
    let detached = sqlx::raw_sql("DETACH DATABASE part").execute(connection).await;
    copied.and(detached).map(|_| ())
}

/// SHA-256 of a file, in hexadecimal.
///
/// # Errors
/// When it cannot be read.
pub fn sha256_of(file: &Path) -> Result<String, SegmentError> {
    let failed = |source| SegmentError::File { file: file.to_owned(), source };
    let mut opened = File::open(file).map_err(failed)?;
    let (mut hasher, mut part) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        match opened.read(&mut part).map_err(failed)? {
            0 => return Ok(hex(&hasher.finalize())),
            read => hasher.update(part.get(..read).unwrap_or_default()),
        }
    }
}
