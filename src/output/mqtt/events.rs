//! Sends the journal's events to the broker, in order, each until it is acknowledged. The journal is the queue: a
//! connection that breaks takes nothing with it, the next one starts again behind the cursor.

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use futures_util::StreamExt as _;
use futures_util::stream::FuturesOrdered;
use rumqttc::PublishNoticeError;
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until};
use tracing::{error, warn};

use super::connection::{Channel, FlowEnd};
use super::cursor::Cursor;
use crate::journal::store::{Reader, StoredRow};
use crate::output::payload;

/// Events that may be on their way at the same time.
const WINDOW: usize = 20;
/// Wait before the journal is read again after a failure.
const RETRY: Duration = Duration::from_secs(1);

/// What became of one event.
struct Outcome {
    seq: u64,
    at_us: i64,
    result: Result<(), PublishNoticeError>,
}

type OnItsWay = Pin<Box<dyn Future<Output = Outcome> + Send>>;

/// The events of one connection.
pub(super) struct EventFlow<'a> {
    channel: Channel,
    topic: String,
    journal: Reader,
    tip: watch::Receiver<u64>,
    tip_open: bool,
    cursor: &'a mut Cursor,
    /// The last event that was handed to the connection.
    sent: u64,
    /// Yields in the order of sending, so what comes out is the lowest contiguous acknowledgement.
    in_flight: FuturesOrdered<OnItsWay>,
}

impl<'a> EventFlow<'a> {
    pub(super) fn new(channel: Channel, topic: String, journal: Reader, cursor: &'a mut Cursor) -> Self {
        let (tip, sent) = (journal.tip(), cursor.seq());
        Self { channel, topic, journal, tip, tip_open: true, cursor, sent, in_flight: FuturesOrdered::new() }
    }

    /// Sends events, from `quiet_until` on, until the connection ends.
    pub(super) async fn run(&mut self, quiet_until: Option<Instant>) -> FlowEnd {
        if let Some(quiet_until) = quiet_until {
            sleep_until(quiet_until).await;
        }
        loop {
            let end = match self.fill().await {
                Ok(()) => self.wait().await,
                Err(end) => Err(end),
            };
            if let Err(end) = end {
                return end;
            }
        }
    }

    /// Sends what is left and waits for the acknowledgements; for the end of a session.
    pub(super) async fn finish(&mut self) -> Result<(), FlowEnd> {
        while self.sent < *self.tip.borrow() || !self.in_flight.is_empty() {
            self.fill().await?;
            self.wait().await?;
        }
        Ok(())
    }

    async fn fill(&mut self) -> Result<(), FlowEnd> {
        while self.sent < *self.tip.borrow() && self.in_flight.len() < WINDOW {
            let room = i64::try_from(WINDOW - self.in_flight.len()).unwrap_or(1);
            match self.journal.after(self.sent, room).await {
                Ok(rows) if rows.is_empty() => sleep(RETRY).await,
                Ok(rows) => {
                    for row in rows {
                        self.send(&row).await?;
                    }
                }
                Err(error) => {
                    warn!(%error, "journal not read for MQTT");
                    sleep(RETRY).await;
                }
            }
        }
        Ok(())
    }

    async fn send(&mut self, row: &StoredRow) -> Result<(), FlowEnd> {
        let seq = row.seq;
        let (Ok(event), Some(body)) = (row.event(), payload::event(&row.body, &row.hash)) else {
            // Set aside: the rest flows. Consumers see the gap, `records verify` the damage.
            error!(seq, "damaged event is not sent; run `benchscribe records verify`");
            self.sent = seq;
            return Ok(());
        };
        let notice = self.channel.publish(&self.topic, body, false).await?;
        self.sent = seq;
        let at_us = event.at_us;
        self.in_flight
            .push_back(Box::pin(async move { Outcome { seq, at_us, result: notice.wait_completion_async().await } }));
        Ok(())
    }

    async fn wait(&mut self) -> Result<(), FlowEnd> {
        let due = self.cursor.due();
        tokio::select! {
            Some(outcome) = self.in_flight.next() => match outcome.result {
                Ok(()) => self.cursor.acknowledged(outcome.seq, outcome.at_us),
                Err(reason) => return Err(self.channel.refused(&self.topic, &reason)),
            },
            changed = self.tip.changed(), if self.tip_open && self.in_flight.len() < WINDOW => {
                self.tip_open = changed.is_ok();
            }
            () = sleep_until(due.unwrap_or_else(Instant::now)), if due.is_some() => {}
            // The journal is closed and everything is acknowledged: nothing to do until the connection ends.
            else => std::future::pending::<()>().await,
        }
        if self.cursor.due().is_some_and(|due| due <= Instant::now()) {
            self.cursor.write().await;
        }
        Ok(())
    }
}
