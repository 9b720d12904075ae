//! One event found by its id, with what its neighbour in the chain says of it; and the clubs whose records an event touches.

use sqlx::Row as _;

use super::chain::{GENESIS, link};
use super::damage::Unreadable;
use super::event;
use super::index::OF_READING;
use super::store::{JournalError, Reader, StoredRow};
use crate::work_order::event::{Event, EventId};

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

    /// The clubs whose records an event touches: its own, those of the order it brings, and those that have, or have had, the
    /// reading it speaks of.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn clubs_of(&self, event: &Event) -> Result<Vec<String>, JournalError> {
        let bearing = event.change.bearing();
        let mut clubs: Vec<String> = bearing.club.map(str::to_owned).into_iter().collect();
        clubs.extend(bearing.order.into_iter().flat_map(|order| &order.clubs).map(|club| club.id.clone()));
        if let Some(reading) = bearing.reading {
            let told: Vec<String> = sqlx::query_scalar(
                "SELECT body FROM event WHERE id = ?1 UNION ALL
                 SELECT e.body FROM event r JOIN index_event i ON i.what = ?2 AND i.n = r.seq JOIN event e ON e.seq = i.seq
                 WHERE r.id = ?1",
            )
            .bind(reading.to_string())
            .bind(OF_READING)
            .fetch_all(self.connections())
            .await
            .map_err(|error| self.failed(error))?;
            // A damaged event names no club; `records verify` names it.
            let told = told.iter().filter_map(|body| event::parse(body).ok());
            clubs.extend(told.filter_map(|event| event.change.bearing().club.map(str::to_owned)));
        }
        clubs.sort();
        clubs.dedup();
        Ok(clubs)
    }

    /// The clubs that are finished, and those of which the index does not know it yet; the one worked on last comes first.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn finished_or_unsure(&self) -> Result<Vec<String>, JournalError> {
        sqlx::query_scalar(
            "SELECT club FROM index_club WHERE state = 'finished' OR stale = 1 ORDER BY last_us DESC, n DESC",
        )
        .fetch_all(self.connections())
        .await
        .map_err(|error| self.failed(error))
    }
}

#[cfg(test)]
mod tests {
    use super::super::store::Journal;
    use super::*;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::{Change, Numbering};

    #[tokio::test]
    async fn an_event_touches_every_club_that_has_had_its_reading() {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
        let mut numbering = Numbering::after(7, 0);
        let mut event = |change| numbering.event(Stamp::default(), None, change);
        let first = event(Change::step_done("W-1/1", crate::work_order::steps::Step::Bond));
        let filed = |club: &str| Change::ReadingFiled {
            reading: first.id,
            club: club.into(),
            instrument: "scale".into(),
            calibration: first.id,
            values: Vec::new(),
            by_hand: true,
        };
        let (once, again) = (event(filed("W-1/2")), event(filed("W-1/3")));
        let void = event(Change::ReadingVoided { reading: first.id, why: "wrong part".into() });
        let nothing = event(Change::SessionEnded);
        let events = [first, once, again, void, nothing];
        journal.append(&events, &[]).await.unwrap();
        let reader = journal.reader();
        let mut touched = Vec::new();
        for event in &events {
            touched.push(reader.clubs_of(event).await.unwrap().join(" "));
        }
        // All of them are stored before the first is looked at: more clubs do no harm, fewer would.
        assert_eq!(touched, ["W-1/1", "W-1/1 W-1/2 W-1/3", "W-1/1 W-1/2 W-1/3", "W-1/1 W-1/2 W-1/3", ""]);
        journal.close().await;
    }

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
