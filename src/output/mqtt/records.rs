//! Publishes the records of finished clubs: the journal says which clubs, the bench gives the records.
//!
//! Each is sent when its club is finished, when a later event touches it, and after each connect. A club that was
//! opened again is no finished club: its topic is cleared until it is finished again.

use std::collections::{HashMap, HashSet, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::sleep;
use tracing::warn;

use super::RecordSource;
use super::connection::{Channel, FlowEnd};
use super::topics::Topics;
use crate::journal::store::{BATCH, Reader};
use crate::work_order::event::{Change, Event, EventId};
use crate::work_order::marks::{MarkMeasured, MarkOverridden};

/// Wait before the journal is read again after a failure.
const RETRY: Duration = Duration::from_secs(1);

/// Which clubs have been finished, and which club each value went to: a fold of the journal.
#[derive(Debug, Default)]
pub(super) struct RecordIndex {
    /// The last event taken in.
    seq: u64,
    club_of: HashMap<EventId, Arc<str>>,
    finished: HashSet<Arc<str>>,
    /// The same clubs in the order they were first finished.
    finished_in_order: Vec<Arc<str>>,
}

impl RecordIndex {
    /// Takes an event in; gives the finished clubs whose record it touches.
    pub(super) fn take(&mut self, event: &Event) -> Vec<Arc<str>> {
        let touched: Vec<Arc<str>> = match &event.change {
            Change::ClubFinished { club } => {
                let club: Arc<str> = Arc::from(club.as_str());
                if self.finished.insert(Arc::clone(&club)) {
                    self.finished_in_order.push(Arc::clone(&club));
                }
                vec![club]
            }
            Change::ClubReopened { club }
            | Change::StepDone { club, .. }
            | Change::CautionsAcknowledged { club, .. }
            | Change::CureOverridden { club, .. } => vec![Arc::from(club.as_str())],
            Change::ValueTyped { club, .. }
            | Change::MarkMeasured(MarkMeasured { club, .. })
            | Change::MarkOverridden(MarkOverridden { club, .. }) => {
                let club: Arc<str> = Arc::from(club.as_str());
                self.club_of.insert(event.id, Arc::clone(&club));
                vec![club]
            }
            Change::ReadingFiled { reading, club, .. } => {
                let club: Arc<str> = Arc::from(club.as_str());
                // Filed again by hand, it leaves the record it was in.
                let former = self.club_of.insert(*reading, Arc::clone(&club)).filter(|former| *former != club);
                former.into_iter().chain([club]).collect()
            }
            Change::ReadingVoided { reading, .. } => self.club_of.get(reading).cloned().into_iter().collect(),
            Change::OrderImported { order } | Change::OrderRevised { order } => {
                order.clubs.iter().map(|club| Arc::from(club.id.as_str())).collect()
            }
            _ => Vec::new(),
        };
        touched.into_iter().filter(|club| self.finished.contains(club)).collect()
    }
}

/// The records of one connection.
pub(super) struct RecordFlow<'a> {
    pub(super) channel: Channel,
    pub(super) topics: Topics,
    pub(super) journal: Reader,
    pub(super) records: RecordSource,
    pub(super) index: &'a mut RecordIndex,
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
        while self.behind(&tip) {
            self.read().await;
        }
        // Newest last, so that it is taken first.
        let mut backlog = self.index.finished_in_order.clone();
        let mut touched = VecDeque::new();
        loop {
            while self.behind(&tip) {
                for club in self.read().await {
                    if !touched.contains(&club) {
                        touched.push_back(club);
                    }
                }
            }
            match touched.pop_front().or_else(|| backlog.pop()) {
                Some(club) => self.publish(&club).await?,
                None if tip.changed().await.is_err() => return Ok(()),
                None => {}
            }
        }
    }

    fn behind(&self, tip: &watch::Receiver<u64>) -> bool {
        self.index.seq < *tip.borrow()
    }

    /// Takes the next events in; gives the clubs they touch.
    async fn read(&mut self) -> Vec<Arc<str>> {
        let rows = match self.journal.after(self.index.seq, BATCH).await {
            Ok(rows) if !rows.is_empty() => rows,
            Ok(_) => {
                sleep(RETRY).await;
                return Vec::new();
            }
            Err(error) => {
                warn!(%error, "journal not read for the records");
                sleep(RETRY).await;
                return Vec::new();
            }
        };
        let mut touched = Vec::new();
        for row in rows {
            self.index.seq = row.seq;
            // A damaged event touches no record that could still be trusted; `records verify` names it.
            if let Ok(event) = row.event() {
                touched.extend(self.index.take(&event));
            }
        }
        touched
    }

    async fn publish(&self, club: &str) -> Result<(), FlowEnd> {
        let Some((token, record)) = (self.records)(club).await else { return Ok(()) };
        let finished = record.get("state").and_then(serde_json::Value::as_str) == Some("finished");
        let payload = if finished { record.to_string().into_bytes() } else { Vec::new() };
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
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::Numbering;
    use crate::work_order::steps::Step;

    #[test]
    fn only_what_touches_a_finished_club_touches_its_record() {
        let mut index = RecordIndex::default();
        let mut numbering = Numbering::after(7, 0);
        let mut take = |change: Change| {
            let event = numbering.event(Stamp::default(), None, change);
            let touched: Vec<String> = index.take(&event).iter().map(ToString::to_string).collect();
            (event.id, touched)
        };
        let filed = |reading: EventId, club: &str| Change::ReadingFiled {
            reading,
            club: club.into(),
            instrument: "scale".into(),
            calibration: reading,
            values: Vec::new(),
            by_hand: true,
        };
        let none: Vec<String> = Vec::new();
        assert_eq!(take(Change::ClubReopened { club: "W-1/1".into() }).1, none);
        let (reading, touched) = take(filed(EventId::new(7, 99, 0), "W-1/1"));
        assert_eq!(touched, none);
        assert_eq!(take(filed(reading, "W-1/1")).1, none);
        assert_eq!(take(Change::ClubFinished { club: "W-1/1".into() }).1, ["W-1/1"]);
        assert_eq!(take(Change::step_done("W-1/1", Step::Bond)).1, ["W-1/1"]);
        assert_eq!(take(Change::step_done("W-1/2", Step::Bond)).1, none);
        assert_eq!(take(filed(reading, "W-1/2")).1, ["W-1/1"]);
        assert_eq!(take(Change::ReadingVoided { reading, why: "wrong part".into() }).1, none);
        assert_eq!(take(filed(reading, "W-1/1")).1, ["W-1/1"]);
        assert_eq!(take(Change::ReadingVoided { reading, why: "wrong part".into() }).1, ["W-1/1"]);
    }
}
