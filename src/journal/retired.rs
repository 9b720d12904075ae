//! Clubs whose records are not in the journal any more: a list that is evidence of the event that retired them.

use serde::{Deserialize, Serialize};
use sqlx::{Row as _, SqliteConnection};

use super::chain::link;
use super::event;
use super::index::{OF_GAPS, note_lot};
use super::store::{JournalError, Reader};
use crate::work_order::event::Change;

/// A retired club, as a list shows it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct RetiredClub {
    pub(super) order: String,
    pub(super) player: Option<String>,
    pub(super) club: String,
    pub(super) token: String,
    pub(super) name: String,
    pub(super) state: String,
    pub(super) entries: i64,
    pub(super) is_out: i64,
    pub(super) last_us: i64,
    pub(super) lots: Vec<String>,
}

/// A segment that was retired.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Segment {
    /// Name of its file.
    pub file: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// Its first sequence.
    pub first: u64,
    /// Its last sequence.
    pub last: u64,
    /// Hash of its last event.
    pub last_hash: String,
    /// How many events up to `last` stayed in the journal.
    pub kept: u64,
    /// Hash of these, as [`kept_link`] makes it.
    pub kept_hash: String,
}

/// Hash of the events that stay, one event on: they do not follow one another, so the chain alone cannot tell that one of them
/// was changed. `before` is [`super::chain::GENESIS`] for the first of them, `hash` is the event's own in the chain.
#[must_use]
pub fn kept_link(before: &str, hash: &str, body: &[u8]) -> String {
    link(&link(before, hash.as_bytes()), body)
}

/// Before the number of every order and club that is in the journal itself.
const FIRST: i64 = -(1 << 40);

/// Takes the clubs of a list into the index: before all that are in the journal, behind those that were retired before.
pub(super) async fn take(connection: &mut SqliteConnection, clubs: &str, seq: i64) -> Result<(), sqlx::Error> {
    let list: Option<Vec<u8>> = sqlx::query_scalar("SELECT content FROM evidence WHERE sha256 = ?")
        .bind(clubs)
        .fetch_optional(&mut *connection)
        .await?;
    // A list that is lost is named by the audit; the records are in the segment all the same.
    let list: Vec<RetiredClub> = list.and_then(|list| serde_json::from_slice(&list).ok()).unwrap_or_default();
    for club in &list {
        sqlx::query(
            "INSERT INTO index_order (n, number, player)
             SELECT (SELECT coalesce(max(n) + 1, ?3) FROM index_order WHERE n < 0), ?1, ?2
             WHERE NOT EXISTS (SELECT 1 FROM index_order WHERE number = ?1)",
        )
        .bind(&club.order)
        .bind(&club.player)
        .bind(FIRST)
        .execute(&mut *connection)
        .await?;
        let n: Option<i64> = sqlx::query_scalar(
            "INSERT INTO index_club (n, club, token, order_n, name, state, entries, is_out, last_us, stale)
             SELECT coalesce((SELECT max(n) + 1 FROM index_club WHERE n < 0), ?), ?, ?, o.n, ?, ?, ?, ?, ?, 0
             FROM index_order o WHERE o.number = ? ON CONFLICT (club) DO NOTHING RETURNING n",
        )
        .bind(FIRST)
        .bind(&club.club)
        .bind(&club.token)
        .bind(&club.name)
        .bind(&club.state)
        .bind(club.entries)
        .bind(club.is_out)
        .bind(club.last_us)
        .bind(&club.order)
        .fetch_optional(&mut *connection)
        .await?;
        if let Some(n) = n {
            sqlx::query("INSERT INTO index_retired (club_n, seq) VALUES (?, ?)")
                .bind(n)
                .bind(seq)
                .execute(&mut *connection)
                .await?;
            for lot in &club.lots {
                note_lot(connection, lot, n, seq).await?;
            }
        }
    }
    Ok(())
}

impl Reader {
    /// The segment that holds the record of a club, if it was retired.
    ///
    /// # Errors
    /// When the database fails or the event that tells of it is damaged.
    pub async fn segment_of(&self, club: &str) -> Result<Option<Segment>, JournalError> {
        self.segment_where("c.club = ?1 OR c.token = ?1", club).await
    }

    /// The segment that holds an order, if it was retired.
    pub(super) async fn segment_of_order(&self, number: &str) -> Result<Option<Segment>, JournalError> {
        self.segment_where("c.order_n = (SELECT n FROM index_order WHERE number = ?1)", number).await
    }

    async fn segment_where(&self, which: &'static str, name: &str) -> Result<Option<Segment>, JournalError> {
        let sql = format!(
            "SELECT e.seq, e.body FROM index_club c JOIN index_retired r ON r.club_n = c.n JOIN event e ON e.seq = r.seq
             WHERE {which} LIMIT 1"
        );
        let row = sqlx::query(sqlx::AssertSqlSafe(sql))
            .bind(name.to_owned())
            .fetch_optional(self.connections())
            .await
            .map_err(|error| self.failed(error))?;
        let Some(row) = row else { return Ok(None) };
        self.segment(&row)
    }

    /// All segments that were retired, the oldest first.
    ///
    /// # Errors
    /// When the database fails or an event that tells of one is damaged.
    pub async fn segments(&self) -> Result<Vec<Segment>, JournalError> {
        let rows = self.told_of_gaps().await?;
        let mut segments = Vec::new();
        for row in &rows {
            segments.extend(self.segment(row)?);
        }
        Ok(segments)
    }

    /// First and last sequence of each stretch that was lost before, as the journal itself tells.
    ///
    /// # Errors
    /// When the database fails or an event that tells of one is damaged.
    pub async fn lost(&self) -> Result<Vec<(u64, u64)>, JournalError> {
        let rows = self.told_of_gaps().await?;
        let mut lost = Vec::new();
        for row in &rows {
            let seq = row.try_get::<i64, _>(0).map_err(|error| self.failed(error))?;
            let body: &str = row.try_get(1).map_err(|error| self.failed(error))?;
            let seq = u64::try_from(seq).unwrap_or_default();
            let event = event::parse(body).map_err(|source| JournalError::Event { seq, source })?;
            if let Change::JournalSalvaged { missing, .. } = event.change {
                lost.extend(missing);
            }
        }
        Ok(lost)
    }

    /// Sequence and text of the events that tell why events are not there, the oldest first.
    async fn told_of_gaps(&self) -> Result<Vec<sqlx::sqlite::SqliteRow>, JournalError> {
        sqlx::query(
            "SELECT seq, body FROM event WHERE seq IN (SELECT seq FROM index_event WHERE what = ? AND n = 0) ORDER BY seq",
        )
        .bind(OF_GAPS)
        .fetch_all(self.connections())
        .await
        .map_err(|error| self.failed(error))
    }

    fn segment(&self, row: &sqlx::sqlite::SqliteRow) -> Result<Option<Segment>, JournalError> {
        let seq = row.try_get::<i64, _>(0).map_err(|error| self.failed(error))?;
        let body: &str = row.try_get(1).map_err(|error| self.failed(error))?;
        let seq = u64::try_from(seq).unwrap_or_default();
        let event = event::parse(body).map_err(|source| JournalError::Event { seq, source })?;
        Ok(match event.change {
            Change::SegmentRetired { file, sha256, first, last, last_hash, kept, kept_hash, clubs: _ } => {
                Some(Segment { file, sha256, first, last, last_hash, kept, kept_hash })
            }
            _ => None,
        })
    }

    /// The first sequence behind `seq` that is in the journal.
    pub(crate) async fn next_seq(&self, seq: u64) -> Result<Option<u64>, JournalError> {
        let found: Option<i64> = sqlx::query_scalar("SELECT min(seq) FROM event WHERE seq > ?")
            .bind(super::index::number(seq))
            .fetch_one(self.connections())
            .await
            .map_err(|error| self.failed(error))?;
        Ok(found.and_then(|seq| u64::try_from(seq).ok()))
    }
}
