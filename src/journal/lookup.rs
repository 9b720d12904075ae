//! One event found by its id, with what its neighbour in the chain says of it.

use sqlx::Row as _;

use super::chain::{GENESIS, link};
use super::damage::Unreadable;
use super::event;
use super::store::{JournalError, Reader, StoredRow};
use crate::work_order::event::{Change, EventId};

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

impl Reader {
    /// The club that parts were taken for, or that a step was done at.
    ///
    /// # Errors
    /// When the database fails or the event is damaged.
    pub async fn club_of_deed(&self, deed: EventId) -> Result<Option<String>, JournalError> {
        let found: Option<(i64, String)> = sqlx::query_as("SELECT seq, body FROM event WHERE id = ?")
            .bind(deed.to_string())
            .fetch_optional(self.connections())
            .await
            .map_err(|error| self.failed(error))?;
        let Some((seq, body)) = found else { return Ok(None) };
        let event = event::parse(&body)
            .map_err(|source| JournalError::Event { seq: u64::try_from(seq).unwrap_or_default(), source })?;
        Ok(match event.change {
            Change::PartsTaken { club, .. } | Change::StepDone { club, .. } => Some(club),
            _ => None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::store::Journal;
    use super::*;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::{Change, Numbering};

    #[tokio::test]
    async fn an_event_is_found_by_its_id_and_a_changed_one_falls_out_of_the_chain() {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
        let mut numbering = Numbering::after(7, 0);
        let stamp = Stamp { t_s: 0.0, at_us: 1_700_000_000_000_000 };
        let opened = |order: &str| Change::OrderOpened { order: order.into() };
        let events = ["W-1", "W-2"].map(|order| numbering.event(stamp, None, opened(order)));
        journal.append(&events, &[]).await.unwrap();
        let reader = journal.reader();
        for event in &events {
            let found = reader.find(event.id).await.unwrap().unwrap();
            assert_eq!((found.row.event().unwrap(), found.chained), (event.clone(), true));
        }
        assert_eq!(reader.find(EventId(uuid::Uuid::nil())).await.unwrap(), None);
        for statement in ["DROP TRIGGER event_is_never_changed", "UPDATE event SET body = replace(body, 'W-2', 'W-9')"]
        {
            sqlx::query(statement).execute(reader.connections()).await.unwrap();
        }
        assert!(reader.find(events[0].id).await.unwrap().unwrap().chained);
        assert!(!reader.find(events[1].id).await.unwrap().unwrap().chained);
        journal.close().await;
    }
}
