//! How far the events have been taken by the broker. Acknowledgements in order go in; a cursor in the journal's
//! database comes out, written in batches: after a crash some events are sent again, none is left out.

use std::time::Duration;

use tokio::time::Instant;
use tracing::warn;

use crate::journal::cursor;
use crate::journal::store::{JournalError, Reader};

/// Name of the cursor.
const FOLLOWER: &str = cursor::EVENTS;
/// Name of the furthest place the cursor has ever been; written only when it goes back.
const FURTHEST: &str = cursor::FURTHEST;
/// Acknowledgements after which the cursor is written.
const BATCH: u64 = 20;
/// Longest time an acknowledgement stays unwritten.
const DELAY: Duration = Duration::from_millis(500);
/// Wait after a failed write.
const RETRY: Duration = Duration::from_secs(2);
/// How far back a forgetful broker gets events again, before the last acknowledged one.
const AGAIN_US: i64 = 3_600_000_000;

/// A place in the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Place {
    seq: u64,
    at_us: i64,
}

/// The cursor of the MQTT follower: every event up to it has been acknowledged.
#[derive(Debug)]
pub(super) struct Cursor {
    journal: Reader,
    now: Place,
    written: u64,
    /// When the oldest unwritten acknowledgement came.
    unwritten_since: Option<Instant>,
    furthest: Place,
}

impl Cursor {
    /// Reads where the follower has got to.
    pub(super) async fn load(journal: Reader) -> Result<Self, JournalError> {
        let read = |(seq, at_us)| Place { seq, at_us };
        let now = read(journal.cursor(FOLLOWER).await?);
        let before = read(journal.cursor(FURTHEST).await?);
        let furthest = if before.seq > now.seq { before } else { now };
        Ok(Self { journal, now, written: now.seq, unwritten_since: None, furthest })
    }

    /// The last event behind the cursor; 0 when there is none.
    pub(super) fn seq(&self) -> u64 {
        self.now.seq
    }

    /// Whether the broker has ever acknowledged an event.
    pub(super) fn has_moved(&self) -> bool {
        self.furthest.seq > 0
    }

    /// The broker has acknowledged `seq`, and everything before it.
    pub(super) fn acknowledged(&mut self, seq: u64, at_us: i64) {
        self.now = Place { seq, at_us };
        if seq > self.furthest.seq {
            self.furthest = self.now;
        }
        self.unwritten_since.get_or_insert_with(Instant::now);
    }

    /// When it must be written at the latest.
    pub(super) fn due(&self) -> Option<Instant> {
        let since = self.unwritten_since?;
        Some(if self.now.seq.abs_diff(self.written) >= BATCH { since } else { since + DELAY })
    }

    /// Writes it, if it has moved. A failure is logged and tried again after a while.
    ///
    /// A connection that breaks may drop this half way; then it still counts as unwritten.
    pub(super) async fn write(&mut self) {
        if self.unwritten_since.is_none() {
            return;
        }
        match self.journal.set_cursor(FOLLOWER, self.now.seq, self.now.at_us).await {
            Ok(()) => {
                self.written = self.now.seq;
                self.unwritten_since = None;
            }
            Err(error) => {
                warn!(%error, "MQTT cursor not written");
                self.unwritten_since = Some(Instant::now() + RETRY);
            }
        }
    }

    /// The broker forgot its session: goes back to the events of the last hour before the last acknowledged one.
    ///
    /// Counted from the furthest place, so a broker that forgets again and again does not send it back ever more.
    /// On disk before anything is sent: a crash in between must not lose the decision.
    pub(super) async fn rewind(&mut self) -> Result<(), JournalError> {
        let Place { seq, at_us } = self.furthest;
        let first = self.journal.first_since(at_us.saturating_sub(AGAIN_US), seq).await?;
        let back = first.saturating_sub(1).min(self.now.seq);
        self.now = Place { seq: back, at_us: self.now.at_us };
        self.unwritten_since = None;
        self.journal.set_cursor(FURTHEST, seq, at_us).await?;
        self.journal.set_cursor(FOLLOWER, back, self.now.at_us).await?;
        self.written = back;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::future::Future as _;

    use super::*;
    use crate::journal::store::Journal;
    use crate::measurement::stamp::Stamp;
    use crate::work_order::event::{Change, Numbering};

    const MINUTE_US: i64 = 60_000_000;

    /// A journal with one event every ten minutes.
    async fn journal(folder: &std::path::Path, events: i64) -> Journal {
        let mut journal = Journal::open(folder, "bench-1", 7).await.unwrap();
        let mut numbering = Numbering::after(7, 0);
        let events: Vec<_> = (1..=events)
            .map(|n| Stamp { t_s: 0.0, at_us: n * 10 * MINUTE_US })
            .map(|stamp| numbering.event(stamp, None, Change::SessionEnded))
            .collect();
        journal.append(&events, &[]).await.unwrap();
        journal
    }

    #[tokio::test]
    async fn a_forgetful_broker_gets_the_last_hour_again_and_never_more() {
        let folder = tempfile::tempdir().unwrap();
        let journal = journal(folder.path(), 20).await;
        let mut cursor = Cursor::load(journal.reader()).await.unwrap();
        assert!(!cursor.has_moved());
        cursor.acknowledged(12, 120 * MINUTE_US);
        cursor.write().await;
        // Twelve came at 120 min; the hour before it starts at 60 min, which is the sixth.
        for _ in 0..3 {
            cursor.rewind().await.unwrap();
            assert_eq!(cursor.seq(), 5);
            cursor.acknowledged(7, 70 * MINUTE_US);
            cursor.write().await;
            cursor = Cursor::load(journal.reader()).await.unwrap();
            assert_eq!(cursor.seq(), 7);
        }
    }

    #[tokio::test]
    async fn a_write_that_is_dropped_half_way_is_made_up_for() {
        let folder = tempfile::tempdir().unwrap();
        let journal = journal(folder.path(), 30).await;
        let mut cursor = Cursor::load(journal.reader()).await.unwrap();
        cursor.acknowledged(9, 90 * MINUTE_US);
        {
            let write = std::pin::pin!(cursor.write());
            let mut context = std::task::Context::from_waker(std::task::Waker::noop());
            assert!(write.poll(&mut context).is_pending());
        }
        cursor.write().await;
        assert_eq!(Cursor::load(journal.reader()).await.unwrap().seq(), 9);
    }

    #[tokio::test]
    async fn the_cursor_is_written_after_twenty_or_after_a_while() {
        let folder = tempfile::tempdir().unwrap();
        let journal = journal(folder.path(), 30).await;
        let mut cursor = Cursor::load(journal.reader()).await.unwrap();
        assert_eq!(cursor.due(), None);
        let before = Instant::now();
        cursor.acknowledged(1, 10 * MINUTE_US);
        assert!(cursor.due().unwrap() >= before + DELAY);
        cursor.acknowledged(20, 200 * MINUTE_US);
        assert!(cursor.due().unwrap() <= Instant::now());
        cursor.write().await;
        assert_eq!((cursor.due(), Cursor::load(journal.reader()).await.unwrap().seq()), (None, 20));
    }
}
