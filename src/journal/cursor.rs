//! Where each follower of the journal has got to, written twice: a place that was damaged must not leave events out.
//!
//! A cursor is derived and in no event, so nothing else in the file could tell that it was changed. Of two that differ the
//! lesser one is gone by: it sends events again rather than none.

use sqlx::Row as _;
use sqlx::sqlite::SqliteRow;

use super::damage::Unreadable;
use super::store::{JournalError, Reader};

/// The follower that publishes events.
pub const EVENTS: &str = "mqtt";
/// How far it had ever got, for a broker that forgot.
pub const FURTHEST: &str = "mqtt-furthest";
/// The follower that publishes records.
pub const RECORDS: &str = "mqtt-records";
/// All there are.
const FOLLOWERS: [&str; 3] = [EVENTS, FURTHEST, RECORDS];
/// What stands behind a follower's name in its second row; journals older than 0.4 have none.
const AGAIN: &str = " again";

/// A stored place.
#[derive(Debug)]
struct Stored {
    follower: String,
    seq: i64,
    at_us: i64,
}

impl Reader {
    /// Where a follower has got to, and the wall time of that event; 0 for a new follower.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn cursor(&self, follower: &str) -> Result<(u64, i64), JournalError> {
        let row = sqlx::query("SELECT seq, at_us FROM cursor WHERE follower IN (?1, ?1 || ?2) ORDER BY seq LIMIT 1")
            .bind(follower)
            .bind(AGAIN)
            .fetch_optional(self.connections())
            .await
            .and_then(|row| row.map(|row| Ok((place(row.try_get(0)?), row.try_get(1)?))).transpose())
            .map_err(|source| self.failed(source))?;
        Ok(row.unwrap_or((0, 0)))
    }

    /// Notes where a follower has got to.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn set_cursor(&self, follower: &str, seq: u64, at_us: i64) -> Result<(), JournalError> {
        sqlx::query(
            "INSERT INTO cursor (follower, seq, at_us) VALUES (?1, ?3, ?4), (?1 || ?2, ?3, ?4)
             ON CONFLICT (follower) DO UPDATE SET seq = excluded.seq, at_us = excluded.at_us",
        )
        .bind(follower)
        .bind(AGAIN)
        .bind(i64::try_from(seq).unwrap_or(i64::MAX))
        .bind(at_us)
        .execute(self.cursor_writer())
        .await
        .map(|_| ())
        .map_err(|source| self.failed(source))
    }

    /// Where all followers have got to, with the wall times of those events.
    ///
    /// # Errors
    /// When the database cannot read it.
    pub async fn cursors(&self) -> Result<Vec<(&'static str, u64, i64)>, Unreadable> {
        let stored = self.stored_cursors().await?;
        let of = |follower: &&'static str| {
            let rows =
                stored.iter().filter(|row| row.follower.strip_suffix(AGAIN).unwrap_or(&row.follower) == *follower);
            rows.min_by_key(|row| row.seq).map(|row| (*follower, place(row.seq), row.at_us))
        };
        Ok(FOLLOWERS.iter().filter_map(of).collect())
    }

    /// What is wrong with them, in words.
    ///
    /// # Errors
    /// When the database cannot read them.
    pub async fn cursor_faults(&self) -> Result<Vec<String>, Unreadable> {
        let stored = self.stored_cursors().await?;
        // After them: a daemon may be writing. Where the last event cannot be found that is told elsewhere.
        let last = self.last_seq().await.unwrap_or(u64::MAX);
        let known = |row: &Stored| FOLLOWERS.contains(&row.follower.strip_suffix(AGAIN).unwrap_or(&row.follower));
        let faults = stored.iter().filter_map(|row| {
            let name = &row.follower;
            if !known(row) {
                return Some(format!("it has a cursor of \"{name}\", which follows no journal"));
            }
            if row.seq < 0 || place(row.seq) > last {
                return Some(format!("its cursor of {name} stands at event {}, which it does not have", row.seq));
            }
            let other = match name.strip_suffix(AGAIN) {
                Some(first) => first.to_owned(),
                None => format!("{name}{AGAIN}"),
            };
            // Of a journal that an older version wrote a follower may stand there once.
            let twin = stored.iter().find(|twin| twin.follower == other);
            let differs = twin.is_some_and(|twin| (twin.seq, twin.at_us) != (row.seq, row.at_us));
            let words =
                format!("its cursor of {name} is written twice and differs; events are sent again from the lesser");
            differs.then_some(words)
        });
        Ok(faults.collect())
    }

    async fn stored_cursors(&self) -> Result<Vec<Stored>, Unreadable> {
        let failed = |error: sqlx::Error| Unreadable::from_error(&error);
        let rows =
            sqlx::query("SELECT CAST(follower AS BLOB), seq, at_us FROM cursor").fetch_all(self.connections()).await;
        let stored = |row: &SqliteRow| {
            let follower = String::from_utf8_lossy(row.try_get(0)?).into_owned();
            Ok(Stored { follower, seq: row.try_get(1)?, at_us: row.try_get(2)? })
        };
        rows.map_err(failed)?.iter().map(stored).collect::<Result<_, sqlx::Error>>().map_err(failed)
    }
}

/// A sequence as it is stored; what is none stands before the first event.
fn place(seq: i64) -> u64 {
    u64::try_from(seq).unwrap_or_default()
}
