//! Publishes the records of finished clubs: the journal says which clubs an event touches, the bench gives the records.
//!
//! A record is sent when its club is finished and when a later event touches it. How far that has got is a cursor in the journal,
//! so a start reads what is new and no more. A broker that forgot its session has lost what it kept: then every record is sent
//! again. A club that was opened again is no finished club: its topic is cleared until it is finished again.

use std::collections::{HashMap, VecDeque};
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::sleep;
use tracing::warn;

use super::RecordSource;
use super::connection::{Channel, FlowEnd};
use super::topics::Topics;
use crate::journal::cursor;
use crate::journal::store::{BATCH, JournalError, Reader};
use crate::work_order::event::{Change, Event};

/// Name of the cursor: the records that events up to it have touched are told. Not before every record was told once.
const FOLLOWER: &str = cursor::RECORDS;
/// Wait before the journal is read again after a failure.
const RETRY: Duration = Duration::from_secs(1);
/// Events that touched no record after which the cursor is written all the same.
const UNWRITTEN: u64 = 200;

/// How far the records are told. It outlives connections; all of it could be made again from journal and cursor.
#[derive(Debug, Default)]
pub(super) struct RecordsTold {
    /// The last event taken in; none before the cursor was read.
    seq: Option<u64>,
    /// Where the cursor is on disk, and whether a record was told since.
    written: u64,
    has_told: bool,
    /// Clubs touched since, the oldest first.
    touched: VecDeque<String>,
    /// Clubs to be told because the broker forgot them, the next one last.
    backlog: Vec<String>,
    /// Whether the record of a club was told and stands at the broker, as far as this run has seen.
    stands: HashMap<String, bool>,
}

impl RecordsTold {
    /// Takes in that an event touches this club's record; queues it unless there is nothing to tell.
    fn touch(&mut self, club: &str, change: &Change) {
        let begins_or_ends = match change {
            Change::ClubFinished { club: of } | Change::ClubReopened { club: of } => of == club,
            _ => false,
        };
        if begins_or_ends {
            // A club that is opened again had been finished, so its record stands, whether or not this run has seen it.
            self.stands.insert(club.to_owned(), true);
        }
        if self.stands.get(club) != Some(&false) && !self.touched.iter().any(|waiting| waiting == club) {
            self.touched.push_back(club.to_owned());
        }
    }
}

/// The records of one connection.
pub(super) struct RecordFlow<'a> {
    pub(super) channel: Channel,
    pub(super) topics: Topics,
    pub(super) journal: Reader,
    pub(super) records: RecordSource,
    pub(super) told: &'a mut RecordsTold,
    /// Whether the broker still has what it was told in earlier connections.
    pub(super) is_remembered: bool,
}

impl RecordFlow<'_> {
    /// Publishes until the connection ends.
    pub(super) async fn run(mut self) -> FlowEnd {
        match self.follow().await {
            Ok(()) => std::future::pending().await,
            Err(end) => end,
        }
    }

    async fn follow(&mut self) -> Result<(), FlowEnd> {
        let mut tip = self.journal.tip();
        while let Err(error) = self.begin(&tip).await {
            warn!(%error, "journal not read for the records");
            sleep(RETRY).await;
        }
        loop {
            while self.is_behind(&tip) {
                if let Err(error) = self.read().await {
                    warn!(%error, "journal not read for the records");
                    sleep(RETRY).await;
                }
            }
            // What is new first: somebody may stand before a display and wait for it.
            if let Some(club) = self.told.touched.front().cloned() {
                self.publish(&club).await?;
                self.told.touched.pop_front();
            } else if let Some(club) = self.told.backlog.last().cloned() {
                self.publish(&club).await?;
                self.told.backlog.pop();
            } else {
                self.write().await;
                if tip.changed().await.is_err() {
                    return Ok(());
                }
            }
        }
    }

    /// Goes on behind the cursor; where the broker has nothing of it, with every record there is.
    async fn begin(&mut self, tip: &watch::Receiver<u64>) -> Result<(), JournalError> {
        let seq = match self.told.seq {
            Some(seq) => seq,
            None => self.journal.cursor(FOLLOWER).await?.0,
        };
        // A cursor beyond the journal is that of another one, which a backup has replaced.
        if self.is_remembered && (self.told.seq.is_some() || (1..=*tip.borrow()).contains(&seq)) {
            if self.told.seq.is_none() {
                self.told.written = seq;
            }
            self.told.seq = Some(seq);
            return Ok(());
        }
        // On disk before anything is sent: a crash on the way must start over.
        self.journal.set_cursor(FOLLOWER, 0, 0).await?;
        let now = *tip.borrow();
        let mut backlog = self.journal.finished_or_unsure().await?;
        backlog.reverse();
        *self.told = RecordsTold { seq: Some(now), backlog, ..RecordsTold::default() };
        Ok(())
    }

    fn is_behind(&self, tip: &watch::Receiver<u64>) -> bool {
        self.told.seq < Some(*tip.borrow())
    }

    /// Takes the next events in.
    async fn read(&mut self) -> Result<(), JournalError> {
        let rows = self.journal.after(self.told.seq.unwrap_or_default(), BATCH).await?;
        if rows.is_empty() {
            sleep(RETRY).await;
        }
        for row in rows {
            // A damaged event touches no record that could still be trusted; `records verify` names it.
            if let Ok(event) = row.event() {
                self.take(&event).await?;
            }
            self.told.seq = Some(row.seq);
        }
        Ok(())
    }

    async fn take(&mut self, event: &Event) -> Result<(), JournalError> {
        for club in self.journal.clubs_of(event).await? {
            self.told.touch(&club, &event.change);
        }
        Ok(())
    }

    /// Writes the cursor when everything behind it is told.
    async fn write(&mut self) {
        let seq = self.told.seq.unwrap_or_default();
        let is_due = self.told.written == 0 || self.told.has_told || seq - self.told.written >= UNWRITTEN;
        if is_due && seq > self.told.written {
            match self.journal.set_cursor(FOLLOWER, seq, 0).await {
                Ok(()) => (self.told.written, self.told.has_told) = (seq, false),
                // It is tried again with the next event; meanwhile a start would tell a little too much.
                Err(error) => warn!(%error, "cursor of the records not written"),
            }
        }
    }

    async fn publish(&mut self, club: &str) -> Result<(), FlowEnd> {
        let Some((token, record)) = (self.records)(club).await else { return Ok(()) };
        let is_finished = record.get("state").and_then(serde_json::Value::as_str) == Some("finished");
        let stood = self.told.stands.get(club).copied().unwrap_or(false);
        if !is_finished && !stood {
            self.told.stands.insert(club.to_owned(), false);
            return Ok(());
        }
        let payload = if is_finished { record.to_string().into_bytes() } else { Vec::new() };
        let topic = self.topics.record(&token);
        let notice = match self.channel.publish(&topic, payload, true).await {
            Ok(notice) => notice,
            // One record that is too long must not hold up the others.
            Err(FlowEnd::Refused(words)) => {
                warn!(club, words, "record not published");
                return Ok(());
            }
            Err(gone) => return Err(gone),
        };
        if let Err(reason) = notice.wait_completion_async().await {
            match self.channel.refused(&topic, &reason) {
                FlowEnd::Refused(words) => warn!(club, words, "record not published"),
                FlowEnd::Gone => return Err(FlowEnd::Gone),
            }
        }
        self.told.stands.insert(club.to_owned(), is_finished);
        self.told.has_told = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work_order::steps::Step;

    #[test]
    fn a_club_in_work_is_asked_for_once_and_a_finished_one_each_time() {
        let mut told = RecordsTold::default();
        let mut waiting = |change: &Change, stands: Option<bool>| {
            if let Some(stands) = stands {
                told.stands.insert("W-1/1".into(), stands);
            }
            told.touch("W-1/1", change);
            told.touch("W-1/1", change);
            std::mem::take(&mut told.touched).len()
        };
        let step = Change::step_done("W-1/1", Step::Bond);
        let (finished, reopened) =
            (Change::ClubFinished { club: "W-1/1".into() }, Change::ClubReopened { club: "W-1/1".into() });
        // Not known to this run: it must be looked at. Then it is known not to be finished.
        assert_eq!((waiting(&step, None), waiting(&step, Some(false))), (1, 0));
        assert_eq!((waiting(&finished, None), waiting(&step, None)), (1, 1));
        assert_eq!((waiting(&step, Some(false)), waiting(&reopened, None)), (0, 1));
    }
}
