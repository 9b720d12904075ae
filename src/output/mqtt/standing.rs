//! Keeps the retained topics and the live readings true: snapshots go in, messages go out when something changed.
//!
//! Retained topics are all sent again after each connect: the broker may have lost them.

use std::collections::HashMap;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt as _;
use futures_util::stream::FuturesUnordered;
use rumqttc::{PublishNotice, PublishNoticeError};
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};
use tracing::warn;

use super::connection::{Channel, FlowEnd};
use super::topics::Topics;
use crate::output::payload;
use crate::output::view::{InstrumentView, Snapshot};
use crate::output::work_view::WorkView;

/// Shortest time between two live readings of an instrument: 20 a second, in the world's time at any pace.
const LIVE_EVERY: Duration = Duration::from_millis(50);
/// Longest time between two live readings of an instrument that sends, so that a display knows an old one from one that stands.
const SIGN_OF_LIFE: Duration = Duration::from_millis(500);
/// Shortest time between two versions of a retained topic.
const RETAINED_EVERY: Duration = Duration::from_millis(250);

type Acknowledgement = Pin<Box<dyn Future<Output = (String, Result<(), PublishNoticeError>)> + Send>>;

/// The last live reading of an instrument.
struct Told {
    /// The newest view that was looked at.
    seen: Arc<InstrumentView>,
    content: Vec<u8>,
    /// When it was sent, and what the instrument had been heard by then.
    sent_at: Instant,
    heard_s: Option<f64>,
}

/// What one connection has been told.
pub(super) struct Standing {
    channel: Channel,
    topics: Topics,
    /// Retained payloads sent, by topic.
    retained: HashMap<String, Vec<u8>>,
    /// The last live reading sent, by instrument.
    live: HashMap<String, Told>,
    work: Option<Arc<WorkView>>,
    open: FuturesUnordered<Acknowledgement>,
}

impl Standing {
    pub(super) fn new(channel: Channel, topics: Topics) -> Self {
        let (retained, live) = (HashMap::new(), HashMap::new());
        Self { channel, topics, retained, live, work: None, open: FuturesUnordered::new() }
    }

    /// Follows the snapshots until the connection ends. `trouble` is cleared `trust_after` the broker has taken the
    /// first message.
    pub(super) async fn run(
        &mut self,
        status: Vec<u8>,
        mut snapshots: watch::Receiver<Arc<Snapshot>>,
        trouble: &watch::Sender<Option<String>>,
        trust_after: Duration,
    ) -> FlowEnd {
        match self.follow(status, &mut snapshots, trouble, trust_after).await {
            Ok(()) => std::future::pending().await,
            Err(end) => end,
        }
    }

    async fn follow(
        &mut self,
        status: Vec<u8>,
        snapshots: &mut watch::Receiver<Arc<Snapshot>>,
        trouble: &watch::Sender<Option<String>>,
        trust_after: Duration,
    ) -> Result<(), FlowEnd> {
        let topic = self.topics.status();
        let notice = self.channel.publish(&topic, status, true).await?;
        notice.wait_completion_async().await.map_err(|reason| self.channel.refused(&topic, &reason))?;
        let trusted_at = Instant::now() + trust_after;
        let mut trusted = false;
        let (mut next_live, mut next_retained) = (Instant::now(), Instant::now());
        let mut late = true;
        snapshots.mark_changed();
        loop {
            tokio::select! {
                () = sleep_until(trusted_at), if !trusted => {
                    trusted = true;
                    trouble.send_replace(None);
                    continue;
                }
                Some((topic, result)) = self.open.next() => {
                    if let Err(PublishNoticeError::V5PubAck(reason)) = result {
                        warn!(topic, ?reason, "the broker refuses a retained topic");
                    }
                    continue;
                }
                changed = snapshots.changed(), if next_live <= Instant::now() => {
                    // The bench is gone; what stands, stands.
                    if changed.is_err() {
                        return Ok(());
                    }
                    next_live = Instant::now() + LIVE_EVERY;
                    let snapshot = snapshots.borrow_and_update().clone();
                    self.tell_live(&snapshot);
                    late = true;
                }
                () = sleep_until(next_live), if next_live > Instant::now() => continue,
                () = sleep_until(next_retained), if late => {}
            }
            if late && next_retained <= Instant::now() {
                next_retained = Instant::now() + RETAINED_EVERY;
                late = false;
                let snapshot = snapshots.borrow().clone();
                self.tell_retained(&snapshot).await?;
            }
        }
    }

    fn tell_live(&mut self, snapshot: &Snapshot) {
        for view in &snapshot.instruments {
            let before = self.live.get_mut(&view.id);
            // The same view means that nothing came from the instrument since.
            if before.as_ref().is_some_and(|told| Arc::ptr_eq(&told.seen, view)) {
                continue;
            }
            let content = payload::live_content(view);
            if let Some(told) = before
                && told.content == content
                && (told.sent_at.elapsed() < SIGN_OF_LIFE || told.heard_s >= view.heard_s)
            {
                told.seen = Arc::clone(view);
                continue;
            }
            if self.channel.live(&self.topics.live(&view.id), payload::live(&content, snapshot.stamp.t_s)) {
                let (seen, sent_at, heard_s) = (Arc::clone(view), Instant::now(), view.heard_s);
                self.live.insert(view.id.clone(), Told { seen, content, sent_at, heard_s });
            }
        }
    }

    async fn tell_retained(&mut self, snapshot: &Snapshot) -> Result<(), FlowEnd> {
        for view in &snapshot.instruments {
            self.retain(self.topics.instrument(&view.id), payload::instrument(view)).await?;
        }
        if !self.work.as_ref().is_some_and(|work| Arc::ptr_eq(work, &snapshot.work)) {
            self.retain(self.topics.order(), payload::order(&snapshot.work)).await?;
            self.retain(self.topics.club(), payload::club(&snapshot.work)).await?;
            self.work = Some(Arc::clone(&snapshot.work));
        }
        Ok(())
    }

    async fn retain(&mut self, topic: String, payload: Vec<u8>) -> Result<(), FlowEnd> {
        if self.retained.get(&topic) == Some(&payload) {
            return Ok(());
        }
        let notice: PublishNotice = self.channel.publish(&topic, payload.clone(), true).await?;
        self.retained.insert(topic.clone(), payload);
        self.open.push(Box::pin(async move { (topic, notice.wait_completion_async().await) }));
        Ok(())
    }
}
