//! The only serial IO: opens a port, asks where asking is needed, stamps what comes, reopens what is lost.
//!
//! Bytes go through a decoder; frames and refusals leave with the time of their last byte. No meaning is read from
//! them here.

pub(in crate::instrument) mod contact;
mod investigate;
mod line;
pub(in crate::instrument) mod session;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::{MissedTickBehavior, interval, timeout};
use tokio_util::sync::CancellationToken;

pub use investigate::investigate;
pub use line::{Line, PortError};

use self::session::{Over, Session};
use super::attachment::Attachment;
use super::format::{Decoder, Format, Frame, Item, Mode};
use crate::clock::Clock;
use crate::measurement::stamp::Stamp;

/// An instrument that should send and does not for this long is shown as silent, in bench time.
const SILENT_AFTER: Duration = Duration::from_millis(1800);
/// A port that has been silent this long is closed and opened again, in bench time.
const REOPEN_AFTER: Duration = Duration::from_secs(10);

/// One port and what speaks on it.
#[derive(Debug, Clone)]
pub struct PortSettings {
    /// Which instrument this is, for the messages.
    pub instrument: usize,
    /// How it reaches this machine.
    pub attachment: Attachment,
    /// Path of the port, or of the event device.
    pub path: PathBuf,
    /// The wire format.
    pub format: Arc<Format>,
}

/// What a port task has to say.
#[derive(Debug)]
pub struct PortMessage {
    /// Which instrument.
    pub instrument: usize,
    /// When: for a frame the time of its last byte.
    pub stamp: Stamp,
    /// What.
    pub event: PortEvent,
}

/// What happened on a port.
#[derive(Debug)]
pub enum PortEvent {
    /// A whole, good frame and its bytes.
    Frame(Box<Frame>, Box<[u8]>),
    /// Bytes that gave nothing.
    Refused {
        /// Short name of the reason, for counting.
        label: &'static str,
        /// The reason in words.
        reason: String,
        /// The bytes.
        raw: Box<[u8]>,
    },
    /// Bytes before the first whole frame: the rest of one that began before we listened, or none of this family.
    /// Not counted, kept by a recording.
    Passed(Box<[u8]>),
    /// The port is open and its instrument sends only when somebody uses it.
    Ready,
    /// The port cannot be opened, was closed by the other side, or is silent.
    Lost {
        /// Why and what to do.
        reason: String,
    },
}

/// Runs one port until `stop`.
///
/// `out` is bounded: capacity, sender and receiver are described where it is made. When it is full this task waits,
/// and the kernel's buffer of the port holds what comes meanwhile.
pub async fn run(settings: PortSettings, clock: Clock, out: mpsc::Sender<PortMessage>, stop: CancellationToken) {
    let mut session = Session::new(&settings, clock, &out, &stop);
    while !stop.is_cancelled() {
        let reason = match Line::open(&settings.path, &settings.format.line) {
            Ok(port) => {
                session.opened();
                match Link::new(&settings, clock, &out, port).serve(&stop).await {
                    Ended::Stopped => return,
                    Ended::Lost(reason) => reason,
                }
            }
            Err(error) => error.to_string(),
        };
        if let Err(Over) = session.lost(reason).await {
            return;
        }
    }
}

/// What wakes an open port.
enum Turn {
    Ask,
    Heard(Result<usize, PortError>),
    Quiet,
}

enum Ended {
    Stopped,
    Lost(String),
}

/// An open port.
struct Link<'a> {
    settings: &'a PortSettings,
    clock: Clock,
    out: &'a mpsc::Sender<PortMessage>,
    port: Line,
    decoder: Decoder,
    received: u64,
    last: Stamp,
    /// Until the first whole frame everything refused is the rest of a frame that began before we listened.
    synchronised: bool,
}

impl<'a> Link<'a> {
    fn new(settings: &'a PortSettings, clock: Clock, out: &'a mpsc::Sender<PortMessage>, port: Line) -> Self {
        let mut decoder = Decoder::new(Arc::clone(&settings.format));
        decoder.join_midway();
        Self { settings, clock, out, port, decoder, received: 0, last: clock.now(), synchronised: false }
    }

    async fn serve(mut self, stop: &CancellationToken) -> Ended {
        let request = self.settings.format.request.clone();
        let every = request.as_ref().map_or(Duration::from_secs(3600), |r| Duration::from_millis(r.every_ms.into()));
        let mut asking = interval(self.clock.real(every).max(Duration::from_millis(1)));
        asking.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let gap_ms = self.settings.format.idle_gap_ms();
        let gap = Duration::from_millis(if gap_ms == 0 { 200 } else { gap_ms.into() });
        let watched = self.settings.format.mode != Mode::OnKey;
        if !watched && self.out.send(self.message(self.clock.now(), PortEvent::Ready)).await.is_err() {
            return Ended::Stopped;
        }
        let answer_s = request.as_ref().map_or(0.0, |r| f64::from(r.timeout_ms) / 1000.0);
        let mut buffer = [0u8; 1024];
        let mut heard_s = self.clock.now().t_s;
        let mut byte_s = heard_s;
        let mut silence_told = false;
        // When the question was asked that has no answer yet.
        let mut asked_s: Option<f64> = None;
        loop {
            let turn = tokio::select! {
                () = stop.cancelled() => return Ended::Stopped,
                _ = asking.tick(), if request.is_some() => Turn::Ask,
                read = timeout(self.clock.real(gap), self.port.read(&mut buffer)) => read.map_or(Turn::Quiet, Turn::Heard),
            };
            let mut messages = Vec::new();
            let turn_s = self.clock.now().t_s;
            match turn {
                // A slow instrument is not asked again before it had its time: its answers would pile up and grow old.
                Turn::Ask if asked_s.is_some_and(|asked_s| turn_s - asked_s < answer_s) => {}
                Turn::Ask => {
                    let bytes = request.as_ref().map(|r| r.bytes.as_slice()).unwrap_or_default();
                    if let Err(error) = self.port.write(bytes).await {
                        return Ended::Lost(error.to_string());
                    }
                    asked_s = Some(turn_s);
                }
                Turn::Heard(Ok(count)) => {
                    byte_s = turn_s;
                    let bytes = buffer.get(..count).unwrap_or_default();
                    self.decode(bytes, &mut messages);
                    let second_step = request.as_ref().and_then(|request| request.handshake.as_ref());
                    if let Some(step) = second_step.filter(|step| bytes.ends_with(&step.answer))
                        && let Err(error) = self.port.write(&step.then).await
                    {
                        return Ended::Lost(error.to_string());
                    }
                }
                Turn::Heard(Err(error)) => return Ended::Lost(error.to_string()),
                Turn::Quiet => {}
            }
            // Questions come more often than the gap is long, so it is not enough to wait for a read that finds nothing.
            if turn_s - byte_s >= gap.as_secs_f64() {
                self.quiet(&mut messages);
            }
            if !messages.is_empty() {
                asked_s = None;
            }
            let now_s = self.clock.now().t_s;
            if messages.iter().any(|message| matches!(message.event, PortEvent::Frame(..))) {
                heard_s = now_s;
                silence_told = false;
            }
            let silent_s = now_s - heard_s;
            if watched && silent_s > SILENT_AFTER.as_secs_f64() && !silence_told {
                silence_told = true;
                messages.push(self.message(self.clock.now(), PortEvent::Lost { reason: self.silent() }));
            }
            for message in messages {
                if self.out.send(message).await.is_err() {
                    return Ended::Stopped;
                }
            }
            if watched && silent_s > REOPEN_AFTER.as_secs_f64() {
                return Ended::Lost(self.silent());
            }
        }
    }

    fn silent(&self) -> String {
        let line = &self.settings.format.line;
        if self.received == 0 {
            format!(
                "port {} is open and nothing comes; switch the instrument on, check cable and sending mode",
                self.settings.path.display()
            )
        } else if self.synchronised {
            format!("port {} sends nothing any more; check power and cable", self.settings.path.display())
        } else {
            format!(
                "port {} sends bytes that are no {} frames at {} baud; check baud rate, parity and ground, or let `benchscribe identify` listen",
                self.settings.path.display(),
                self.settings.format.family,
                line.baud
            )
        }
    }

    fn message(&self, stamp: Stamp, event: PortEvent) -> PortMessage {
        PortMessage { instrument: self.settings.instrument, stamp, event }
    }

    fn decode(&mut self, bytes: &[u8], messages: &mut Vec<PortMessage>) {
        let now = self.clock.now();
        self.received += u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        let received = self.received;
        let mut items = Vec::new();
        self.decoder.push(bytes, &mut |item| items.push(kept(item)));
        self.stamp_items(items, now, received, messages);
    }

    fn quiet(&mut self, messages: &mut Vec<PortMessage>) {
        let now = self.clock.now();
        let received = self.received;
        let mut items = Vec::new();
        self.decoder.idle(&mut |item| items.push(kept(item)));
        self.stamp_items(items, now, received, messages);
    }

    /// Gives each item the time its last byte came: those that stood before others in one read came earlier.
    fn stamp_items(
        &mut self,
        items: Vec<(u64, PortEvent)>,
        now: Stamp,
        received: u64,
        messages: &mut Vec<PortMessage>,
    ) {
        let byte_s = self.settings.format.line.byte_s();
        for (end, mut event) in items {
            if matches!(event, PortEvent::Frame(..)) {
                self.synchronised = true;
            } else if let PortEvent::Refused { raw, .. } = &mut event
                && !self.synchronised
            {
                event = PortEvent::Passed(std::mem::take(raw));
            }
            let behind = u32::try_from(received.saturating_sub(end)).unwrap_or(u32::MAX);
            let mut stamp = self.clock.before(now, f64::from(behind) * byte_s);
            // Never back before the last one, whatever the scheduler did.
            if stamp.t_s <= self.last.t_s {
                stamp = Stamp { t_s: self.last.t_s + 1e-6, at_us: stamp.at_us.max(self.last.at_us) };
            }
            self.last = stamp;
            messages.push(self.message(stamp, event));
        }
    }
}

/// The item without its borrow, and the offset behind its last byte.
fn kept(item: Item<'_>) -> (u64, PortEvent) {
    match item {
        Item::Frame(frame, raw) => {
            let end = frame.at_byte + u64::try_from(raw.len()).unwrap_or(0);
            (end, PortEvent::Frame(Box::new(frame), raw.into()))
        }
        Item::Refused { reason, at_byte, raw } => {
            let end = at_byte + u64::try_from(raw.len()).unwrap_or(0);
            (end, PortEvent::Refused { label: reason.label(), reason: reason.to_string(), raw: raw.into() })
        }
    }
}
