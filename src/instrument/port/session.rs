//! What the tasks of all ports share: telling the bench, and opening again what was lost.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};

use super::{PortEvent, PortMessage, PortSettings, kept};
use crate::clock::Clock;
use crate::instrument::format::Decoder;

/// Longest wait between two attempts to open a port, in the world's time.
const LONGEST_WAIT: Duration = Duration::from_secs(1);
/// First wait after a port was lost.
const FIRST_WAIT: Duration = Duration::from_millis(100);

/// Nobody listens any more, or the bench is stopping: the task ends.
#[derive(Debug)]
pub(in crate::instrument) struct Over;

/// One port over all its openings.
pub(in crate::instrument) struct Session<'a> {
    pub(in crate::instrument) settings: &'a PortSettings,
    pub(in crate::instrument) clock: Clock,
    pub(in crate::instrument) out: &'a mpsc::Sender<PortMessage>,
    pub(in crate::instrument) stop: &'a CancellationToken,
    wait: Duration,
    /// The reason that was told last, so that it is told once.
    told: Option<String>,
}

impl<'a> Session<'a> {
    pub(in crate::instrument) fn new(
        settings: &'a PortSettings,
        clock: Clock,
        out: &'a mpsc::Sender<PortMessage>,
        stop: &'a CancellationToken,
    ) -> Self {
        Self { settings, clock, out, stop, wait: FIRST_WAIT, told: None }
    }

    /// The port is open.
    pub(in crate::instrument) fn opened(&mut self) {
        info!(instrument = self.settings.instrument, port = %self.settings.path.display(), "port opened");
        self.wait = FIRST_WAIT;
        self.told = None;
    }

    /// The port cannot be used: says so once, and waits before the next attempt, each time longer.
    pub(in crate::instrument) async fn lost(&mut self, reason: String) -> Result<(), Over> {
        if self.told.as_ref() != Some(&reason) {
            warn!(instrument = self.settings.instrument, reason, "port lost");
            self.tell(PortEvent::Lost { reason: reason.clone() }).await?;
            self.told = Some(reason);
        }
        tokio::select! {
            () = self.stop.cancelled() => Err(Over),
            () = sleep(self.wait) => {
                self.wait = (self.wait * 2).min(LONGEST_WAIT);
                Ok(())
            }
        }
    }

    /// Tells the bench something that has just happened.
    pub(in crate::instrument) async fn tell(&self, event: PortEvent) -> Result<(), Over> {
        let message = PortMessage { instrument: self.settings.instrument, stamp: self.clock.now(), event };
        self.out.send(message).await.map_err(|_closed| Over)
    }

    /// Bytes that are whole frames or none, such as a code that was typed: decodes them and tells the bench.
    pub(in crate::instrument) async fn tell_whole(&self, bytes: &[u8]) -> Result<(), Over> {
        let mut decoder = Decoder::new(Arc::clone(&self.settings.format));
        let mut events = Vec::new();
        decoder.push(bytes, &mut |item| events.push(kept(item).1));
        decoder.finish(&mut |item| events.push(kept(item).1));
        for event in events {
            self.tell(event).await?;
        }
        Ok(())
    }
}
