//! The clubs whose records an event touches, and those that are finished: what a follower of the records needs to know.

use super::event;
use super::index::OF_READING;
use super::store::{JournalError, Reader};
use crate::work_order::event::Event;

impl Reader {
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
            "SELECT club FROM index_club WHERE n > 0 AND (state = 'finished' OR stale = 1) ORDER BY last_us DESC, n DESC",
        )
        .fetch_all(self.connections())
        .await
        .map_err(|error| self.failed(error))
    }
}

#[cfg(test)]
mod tests {
    use super::super::store::Journal;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::{Change, Numbering};
    use crate::work_order::steps::Step;

    #[tokio::test]
    async fn an_event_touches_every_club_that_has_had_its_reading() {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
        let mut numbering = Numbering::after(7, 0);
        let mut event = |change| numbering.event(Stamp::default(), None, change);
        let first = event(Change::step_done("W-1/1", Step::Bond));
        let filed = |club: &str| Change::ReadingFiled {
            reading: first.id,
            club: club.into(),
            instrument: "scale".into(),
            calibration: first.id,
            values: Vec::new(),
            by_hand: true,
            trouble: None,
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
}
