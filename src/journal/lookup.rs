//! One event found by its id, with what its neighbour in the chain says of it.

use sqlx::Row as _;

use super::chain::{GENESIS, link};
use super::damage::Unreadable;
use super::store::{Reader, StoredRow};
use crate::work_order::event::EventId;

/// A stored event and whether it still hangs in the chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundRow {
    /// The event as stored.
    pub row: StoredRow,
    /// Whether its hash is that of its text behind the hash of the event before it.
    pub chained: bool,
}

impl Reader {
    /// The event with this id; `None` where there is none.
    ///
    /// # Errors
    /// When the database cannot read it.
    pub async fn find(&self, id: EventId) -> Result<Option<FoundRow>, Unreadable> {
        let failed = |error: sqlx::Error| Unreadable::from_error(&error);
        let found = sqlx::query("SELECT seq, body, hash FROM event WHERE id = ?")
            .bind(id.to_string())
            .fetch_optional(self.connections())
            .await
            .map_err(failed)?;
        let Some(found) = found else { return Ok(None) };
        let seq: i64 = found.try_get(0).map_err(failed)?;
        let before: Option<String> = sqlx::query_scalar("SELECT hash FROM event WHERE seq = ?")
            .bind(seq - 1)
            .fetch_optional(self.connections())
            .await
            .map_err(failed)?;
        let row = StoredRow {
            seq: u64::try_from(seq).unwrap_or_default(),
            body: found.try_get(1).map_err(failed)?,
            hash: found.try_get(2).map_err(failed)?,
        };
        let before = before.unwrap_or_else(|| GENESIS.to_owned());
        let chained = link(&before, row.body.as_bytes()) == row.hash;
        Ok(Some(FoundRow { row, chained }))
    }
}
