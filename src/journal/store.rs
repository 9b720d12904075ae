//! The journal on disk: SQLite in write-ahead mode, synchronised at every commit, one writer.

use std::path::{Path, PathBuf};
use std::time::Duration;

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Connection as _, Row as _, SqliteConnection};
use tokio::sync::watch;

use super::chain::{self, GENESIS};
use super::event;
use super::sum::Sum;
use super::{index, migrate, salvage, stock};
use crate::work_order::event::Event;

pub use super::error::JournalError;

/// File name of the journal in the data folder.
pub const FILE_NAME: &str = "journal.sqlite";
/// How long a connection waits for another one.
const BUSY: Duration = Duration::from_secs(10);
/// How many events a follower reads at a time.
pub const BATCH: i64 = 200;

/// One stored event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredRow {
    /// Its sequence.
    pub seq: u64,
    /// Its canonical JSON.
    pub body: String,
    /// Its place in the chain.
    pub hash: String,
}

impl StoredRow {
    /// The event itself.
    ///
    /// # Errors
    /// When the stored text is damaged.
    pub fn event(&self) -> Result<Event, JournalError> {
        event::parse(&self.body).map_err(|source| JournalError::Event { seq: self.seq, source })
    }
}

/// The writing end. There is one, and the bench owns it.
#[derive(Debug)]
pub struct Journal {
    writer: SqlitePool,
    reader: Reader,
    bench: String,
    last_hash: String,
    index_was_damaged: bool,
    /// Latest sequence on disk. Sender: the journal; followers hold receivers and read rows by cursor; only the
    /// newest value matters, so nothing is ever full.
    tip: watch::Sender<u64>,
}

/// The reading end, for followers, pages and commands.
#[derive(Debug, Clone)]
pub struct Reader {
    readers: SqlitePool,
    /// The same single writing connection; only cursors are written through it.
    writer: SqlitePool,
    file: PathBuf,
    bench: String,
    epoch: u64,
    tip: watch::Receiver<u64>,
}

impl Journal {
    /// Opens the journal of `folder`, making it if needed. `new_epoch` numbers a journal that is new.
    ///
    /// # Errors
    /// When the file cannot be used, or belongs to another bench.
    pub async fn open(folder: &Path, bench: &str, new_epoch: u64) -> Result<Self, JournalError> {
        let file = folder.join(FILE_NAME);
        let failed = |source| JournalError::Database { file: file.clone(), source };
        // The library would write over what is left of it.
        match salvage::keep_broken_log(&file) {
            Ok(Some((copy, what))) => {
                tracing::warn!(what, copy = %copy.display(), "the write-ahead log did not hold: a power cut, or damage; a copy is kept");
            }
            Ok(None) => {}
            Err(error) => tracing::warn!(%error, "the write-ahead log does not hold and cannot be copied"),
        }
        let options = SqliteConnectOptions::new()
            .filename(&file)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(BUSY);
        let writer = pool_of(1).connect_with(options.clone()).await.map_err(failed)?;
        let version: String = sqlx::query_scalar("SELECT sqlite_version()").fetch_one(&writer).await.map_err(failed)?;
        if is_faulty(&version) {
            return Err(JournalError::FaultyLibrary { version });
        }
        let migrated = migrate::migrate(&writer, &file).await;
        let index_was_damaged = migrated.map_err(|source| JournalError::Schema { file: file.clone(), source })?;
        let noted = async { stock::note(&mut *writer.acquire().await?).await };
        noted.await.map_err(failed)?;
        let epoch_number = i64::try_from(new_epoch & 0x0000_ffff_ffff_ffff).unwrap_or(1);
        sqlx::query("INSERT INTO journal (one, epoch, bench) SELECT 1, ?, ? WHERE NOT EXISTS (SELECT 1 FROM journal)")
            .bind(epoch_number)
            .bind(bench)
            .execute(&writer)
            .await
            .map_err(failed)?;
        let row = sqlx::query("SELECT epoch, bench FROM journal").fetch_one(&writer).await.map_err(failed)?;
        let found: String = row.get(1);
        if found != bench {
            return Err(JournalError::OtherBench { file, found, expected: bench.to_owned() });
        }
        let epoch = u64::try_from(row.get::<i64, _>(0)).unwrap_or_default();
        let last = sqlx::query("SELECT seq, hash FROM event ORDER BY seq DESC LIMIT 1")
            .fetch_optional(&writer)
            .await
            .map_err(failed)?;
        let (last_seq, last_hash) = last.map_or((0, GENESIS.to_owned()), |row| {
            (u64::try_from(row.get::<i64, _>(0)).unwrap_or_default(), row.get(1))
        });
        let readers = pool_of(3).connect_with(options).await.map_err(failed)?;
        let (tip, tip_receiver) = watch::channel(last_seq);
        let reader = Reader { readers, writer: writer.clone(), file, bench: found, epoch, tip: tip_receiver };
        let journal = Self { writer, reader, bench: bench.to_owned(), last_hash, index_was_damaged, tip };
        // An index that was made again knows of no club where it stands.
        if let Err(error) = journal.refresh().await {
            tracing::warn!(%error, "the lines of clubs are not up to date");
        }
        Ok(journal)
    }

    /// A reading end.
    #[must_use]
    pub fn reader(&self) -> Reader {
        self.reader.clone()
    }

    /// Whether the index was found damaged when the journal was opened, and was made again from the events.
    #[must_use]
    pub fn index_was_damaged(&self) -> bool {
        self.index_was_damaged
    }

    /// The one connection for writing.
    pub(super) fn writer(&self) -> &SqlitePool {
        &self.writer
    }

    /// The sequence of the last event on disk.
    #[must_use]
    pub fn last_seq(&self) -> u64 {
        *self.tip.borrow()
    }

    /// Writes events and their evidence in one transaction and returns when they are safe on disk.
    ///
    /// # Errors
    /// When the database fails; then none of them is stored.
    pub async fn append(&mut self, events: &[Event], evidence: &[(String, Vec<u8>)]) -> Result<(), JournalError> {
        let Some(newest) = events.last() else { return Ok(()) };
        let mut last_hash = self.last_hash.clone();
        let mut rows = Vec::with_capacity(events.len());
        for event in events {
            let body = event::canonical(event, &self.bench)
                .map_err(|source| JournalError::Event { seq: event.seq, source })?;
            last_hash = chain::link(&last_hash, body.as_bytes());
            rows.push((event, body, last_hash.clone()));
        }
        let failed = |source| JournalError::Database { file: self.reader.file.clone(), source };
        let mut connection = self.writer.acquire().await.map_err(failed)?;
        let written = write(&mut connection, &rows, evidence).await;
        if written.is_err() {
            // After a failed write nobody knows what the connection still holds open; a new one starts clean.
            connection.close_on_drop();
        }
        drop(connection);
        if let Err(source) = written {
            // A commit whose answer was lost may have reached the disk all the same.
            let stored = self.reader.hash_of(newest.seq).await.ok().flatten();
            if stored.as_ref() != Some(&last_hash) {
                return Err(failed(source));
            }
        }
        self.last_hash = last_hash;
        self.tip.send_replace(newest.seq);
        if let Err(error) = self.refresh().await {
            // The events are stored; a list that is not up to date is folded when it is asked for.
            tracing::warn!(%error, "the lines of clubs are not up to date");
        }
        Ok(())
    }

    /// Closes the database in order.
    pub async fn close(self) {
        self.reader.readers.close().await;
        self.writer.close().await;
    }
}

/// The same bytes may stand behind two readings; they are kept once.
pub(super) const NEW_EVIDENCE: &str = "INSERT INTO evidence (sha256, content) SELECT ?, ?
    WHERE NOT EXISTS (SELECT 1 FROM evidence WHERE sha256 = ?)";

/// Connections without a time limit, and so without the task that looks after limits: while a pool is being closed that
/// task can find a connection counted as idle that it cannot take, and then spins for ever without yielding.
pub(super) fn pool_of(connections: u32) -> SqlitePoolOptions {
    SqlitePoolOptions::new().max_connections(connections).idle_timeout(None).max_lifetime(None)
}

/// An event with its canonical bytes and its hash.
type ChainedRow<'a> = (&'a Event, String, String);

/// Everything of one outcome in one transaction.
async fn write(
    connection: &mut SqliteConnection,
    rows: &[ChainedRow<'_>],
    evidence: &[(String, Vec<u8>)],
) -> Result<(), sqlx::Error> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    // First, because the index reads the list of clubs that an event retires.
    for (sha256, content) in evidence {
        sqlx::query(NEW_EVIDENCE).bind(sha256).bind(content).bind(sha256).execute(&mut *transaction).await?;
    }
    let mut sum = Sum::written(&mut transaction).await?.unwrap_or_default();
    for (event, body, hash) in rows {
        insert_event(&mut transaction, event, body, hash).await?;
        index::take(&mut transaction, &mut sum, event).await?;
    }
    if let Some((event, _, hash)) = rows.last() {
        index::seal(&mut transaction, sum, event.seq, hash).await?;
    }
    transaction.commit().await
}

async fn insert_event(
    connection: &mut SqliteConnection,
    event: &Event,
    body: &str,
    hash: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO event (seq, id, kind, at_us, body, hash) VALUES (?, ?, ?, ?, ?, ?)")
        .bind(i64::try_from(event.seq).unwrap_or(i64::MAX))
        .bind(event.id.to_string())
        .bind(event.change.kind())
        .bind(event.at_us)
        .bind(body)
        .bind(hash)
        .execute(connection)
        .await
        .map(|_| ())
}

impl Reader {
    /// Opens a journal for reading only; a daemon may be writing it at the same time.
    ///
    /// # Errors
    /// When there is no journal in the folder, or it cannot be read.
    pub async fn open(folder: &Path) -> Result<Self, JournalError> {
        Self::open_file(folder.join(FILE_NAME)).await
    }

    /// The same of a file of any name, such as a backup.
    ///
    /// # Errors
    /// When there is no such file, or it cannot be read.
    pub async fn open_file(file: PathBuf) -> Result<Self, JournalError> {
        let failed = |source| JournalError::Database { file: file.clone(), source };
        if !file.exists() {
            return Err(JournalError::None { file });
        }
        let options = SqliteConnectOptions::new().filename(&file).read_only(true).busy_timeout(BUSY);
        let readers = pool_of(1).connect_with(options).await.map_err(failed)?;
        let row = sqlx::query("SELECT epoch, bench FROM journal").fetch_one(&readers).await.map_err(failed)?;
        let (_, tip) = watch::channel(0);
        // A damaged row may hold anything; that is an error to name, not one to end by.
        let epoch = u64::try_from(row.try_get::<i64, _>(0).map_err(failed)?).unwrap_or_default();
        let bench = row.try_get(1).map_err(failed)?;
        Ok(Self { writer: readers.clone(), readers, bench, file, epoch, tip })
    }

    /// Reads a database that was made in this process from what is whole of `file`.
    pub(super) fn over(readers: SqlitePool, file: PathBuf, bench: String, epoch: u64) -> Self {
        let (_, tip) = watch::channel(0);
        Self { writer: readers.clone(), readers, file, bench, epoch, tip }
    }

    /// The journal's file.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Closes the connections for reading in order.
    pub async fn close(self) {
        self.readers.close().await;
    }

    /// The bench the journal belongs to.
    #[must_use]
    pub fn bench(&self) -> &str {
        &self.bench
    }

    /// The journal's number.
    #[must_use]
    pub fn epoch(&self) -> u64 {
        self.epoch
    }

    /// Follows the sequence of the last event on disk.
    #[must_use]
    pub fn tip(&self) -> watch::Receiver<u64> {
        self.tip.clone()
    }

    /// The writing connection, for the places of followers alone.
    pub(super) fn cursor_writer(&self) -> &SqlitePool {
        &self.writer
    }

    /// Connections for reading.
    pub(super) fn connections(&self) -> &SqlitePool {
        &self.readers
    }

    /// What the database said, with the file.
    pub(super) fn failed(&self, source: sqlx::Error) -> JournalError {
        // A journal that is only read is not brought to the present schema.
        if source.to_string().contains("no such table: index_") {
            return JournalError::Older { file: self.file.clone() };
        }
        JournalError::Database { file: self.file.clone(), source }
    }

    /// Up to `limit` events behind `seq`, in order.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn after(&self, seq: u64, limit: i64) -> Result<Vec<StoredRow>, JournalError> {
        let rows = sqlx::query("SELECT seq, body, hash FROM event WHERE seq > ? ORDER BY seq LIMIT ?")
            .bind(i64::try_from(seq).unwrap_or(i64::MAX))
            .bind(limit)
            .fetch_all(&self.readers)
            .await
            .map_err(|source| self.failed(source))?;
        rows.iter()
            .map(|row| {
                let seq = u64::try_from(row.try_get::<i64, _>(0)?).unwrap_or_default();
                Ok(StoredRow { seq, body: row.try_get(1)?, hash: row.try_get(2)? })
            })
            .collect::<Result<_, sqlx::Error>>()
            .map_err(|source| self.failed(source))
    }

    /// The sequence of the last event on disk; 0 where there is none.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn last_seq(&self) -> Result<u64, JournalError> {
        let found: Option<i64> = sqlx::query_scalar("SELECT max(seq) FROM event")
            .fetch_one(&self.readers)
            .await
            .map_err(|source| self.failed(source))?;
        Ok(found.and_then(|seq| u64::try_from(seq).ok()).unwrap_or(0))
    }

    /// The hash of one event.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn hash_of(&self, seq: u64) -> Result<Option<String>, JournalError> {
        sqlx::query_scalar("SELECT hash FROM event WHERE seq = ?")
            .bind(i64::try_from(seq).unwrap_or(i64::MAX))
            .fetch_optional(&self.readers)
            .await
            .map_err(|source| self.failed(source))
    }

    /// The stored evidence with this hash.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn evidence(&self, sha256: &str) -> Result<Option<Vec<u8>>, JournalError> {
        sqlx::query_scalar("SELECT content FROM evidence WHERE sha256 = ?")
            .bind(sha256)
            .fetch_optional(&self.readers)
            .await
            .map_err(|source| self.failed(source))
    }

    /// The first sequence at or after a wall time; what a follower goes back to when the other side forgot.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn first_since(&self, at_us: i64, up_to: u64) -> Result<u64, JournalError> {
        let found: Option<i64> = sqlx::query_scalar("SELECT min(seq) FROM event WHERE seq <= ? AND at_us >= ?")
            .bind(i64::try_from(up_to).unwrap_or(i64::MAX))
            .bind(at_us)
            .fetch_one(&self.readers)
            .await
            .map_err(|source| self.failed(source))?;
        Ok(found.and_then(|seq| u64::try_from(seq).ok()).unwrap_or(up_to + 1))
    }
}

/// SQLite 3.7.0 to 3.51.2 can lose commits when two connections checkpoint at the wrong moment (its own change
/// log, 3.51.3); 3.44.6 and 3.50.7 carry the correction.
pub(crate) fn is_faulty(version: &str) -> bool {
    let mut parts = version.split('.').map(|part| part.parse::<u32>().unwrap_or(0));
    let number = (parts.next().unwrap_or(0), parts.next().unwrap_or(0), parts.next().unwrap_or(0));
    let corrected = (number.1 == 44 && number.2 >= 6) || (number.1 == 50 && number.2 >= 7);
    ((3, 7, 0)..=(3, 51, 2)).contains(&number) && !corrected
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::{Change, Numbering};

    #[test]
    fn faulty_libraries_are_known() {
        for (version, faulty) in [
            ("3.46.1", true),
            ("3.51.2", true),
            ("3.51.3", false),
            ("3.50.7", false),
            ("3.44.6", false),
            ("3.53.0", false),
        ] {
            assert_eq!(is_faulty(version), faulty, "{version}");
        }
    }

    #[tokio::test]
    async fn the_journal_keeps_its_events_and_refuses_to_change_them() {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
        let mut numbering = Numbering::after(7, 0);
        let stamp = Stamp { t_s: 0.0, at_us: 1_700_000_000_000_000 };
        let events = [
            numbering.event(stamp, None, Change::SessionEnded),
            numbering.event(stamp, Some("K7"), Change::OrderOpened { order: "W-1".into() }),
        ];
        journal.append(&events, &[("ab".into(), vec![1, 2])]).await.unwrap();
        let rows = journal.reader().after(0, 10).await.unwrap();
        assert_eq!(rows.iter().map(|row| row.event().unwrap()).collect::<Vec<_>>(), events);
        assert_eq!(rows[1].hash, chain::link(&rows[0].hash, rows[1].body.as_bytes()));
        for statement in [
            "UPDATE event SET body = ''",
            "REPLACE INTO event SELECT seq, id, kind, at_us, '', hash FROM event WHERE seq = 1",
            "REPLACE INTO event SELECT 9, id, kind, at_us, '', hash FROM event WHERE seq = 1",
            "REPLACE INTO evidence SELECT sha256, x'00' FROM evidence",
            "REPLACE INTO journal VALUES (1, 9, 'other')",
            "DELETE FROM event",
            "DELETE FROM evidence",
            "UPDATE journal SET epoch = 1",
        ] {
            let refused = sqlx::query(statement).execute(&journal.writer).await;
            assert!(refused.is_err(), "{statement}");
        }
        journal.close().await;
        let journal = Journal::open(folder.path(), "bench-1", 8).await.unwrap();
        assert_eq!((journal.last_seq(), journal.reader().epoch()), (2, 7));
        journal.close().await;
        assert!(matches!(Journal::open(folder.path(), "bench-2", 8).await, Err(JournalError::OtherBench { .. })));
    }
}
