//! The only serial IO: opens a port, asks where asking is needed, stamps what comes, reopens what is lost.
//!
//! Bytes go through a decoder; frames and refusals leave with the time of their last byte. No meaning is read from
//! them here.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::sync::mpsc;
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};
use tokio_serial::{ClearBuffer, DataBits, SerialPort as _, SerialPortBuilderExt as _, SerialStream, StopBits};
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};

use super::format::{Decoder, Format, Frame, Item, Mode, Parity};
use crate::clock::Clock;
use crate::measurement::stamp::Stamp;

/// Longest wait between two attempts to open a port, in the world's time.
const LONGEST_WAIT: Duration = Duration::from_secs(1);
/// First wait after a port was lost.
const FIRST_WAIT: Duration = Duration::from_millis(100);
/// An instrument that should send and does not for this long is shown as silent, in bench time.
const SILENT_AFTER: Duration = Duration::from_millis(1800);
/// A port that has been silent this long is closed and opened again, in bench time.
const REOPEN_AFTER: Duration = Duration::from_secs(10);

/// One port and what speaks on it.
#[derive(Debug, Clone)]
pub struct PortSettings {
    /// Which instrument this is, for the messages.
    pub instrument: usize,
    /// Path of the port.
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
    },
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
    let mut wait = FIRST_WAIT;
    let mut told: Option<String> = None;
    while !stop.is_cancelled() {
        let reason = match open(&settings) {
            Ok(port) => {
                info!(instrument = settings.instrument, port = %settings.path.display(), "port opened");
                wait = FIRST_WAIT;
                told = None;
                match Link::new(&settings, clock, &out, port).serve(&stop).await {
                    Ended::Stopped => return,
                    Ended::Lost(reason) => reason,
                }
            }
            Err(error) => explain(&settings.path, &error),
        };
        if told.as_ref() != Some(&reason) {
            warn!(instrument = settings.instrument, reason, "port lost");
            let message = PortMessage {
                instrument: settings.instrument,
                stamp: clock.now(),
                event: PortEvent::Lost { reason: reason.clone() },
            };
            if out.send(message).await.is_err() {
                return;
            }
            told = Some(reason);
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep(wait) => wait = (wait * 2).min(LONGEST_WAIT),
        }
    }
}

fn open(settings: &PortSettings) -> tokio_serial::Result<SerialStream> {
    let line = &settings.format.line;
    let port = tokio_serial::new(settings.path.to_string_lossy(), line.baud)
        .data_bits(match line.data_bits {
            5 => DataBits::Five,
            6 => DataBits::Six,
            7 => DataBits::Seven,
            _ => DataBits::Eight,
        })
        .parity(match line.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(if line.stop_bits == 2 { StopBits::Two } else { StopBits::One })
        .open_native_async()?;
    // What stood in the buffer is from before: nobody knows how old it is.
    port.clear(ClearBuffer::Input)?;
    Ok(port)
}

/// Why a port does not open, and what to do.
fn explain(path: &Path, error: &tokio_serial::Error) -> String {
    let path = path.display();
    match error.kind() {
        tokio_serial::ErrorKind::NoDevice => {
            format!("port {path} is in use by another program; close it (benchscribe doctor names the usual ones)")
        }
        tokio_serial::ErrorKind::Io(io::ErrorKind::NotFound) => {
            format!("port {path} is not there; plug the instrument in or correct `port`")
        }
        tokio_serial::ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            format!("port {path} may not be opened; add the user to the group dialout and log in again")
        }
        _ => format!("port {path} does not open ({error}); check the cable and the adapter"),
    }
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
    port: SerialStream,
    decoder: Decoder,
    received: u64,
    last: Stamp,
    /// Until the first whole frame everything refused is the rest of a frame that began before we listened.
    synchronised: bool,
}

impl<'a> Link<'a> {
    fn new(
        settings: &'a PortSettings,
        clock: Clock,
        out: &'a mpsc::Sender<PortMessage>,
        port: SerialStream,
    ) -> Self {
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
        let mut buffer = [0u8; 1024];
        let mut heard_s = self.clock.now().t_s;
        let mut silence_told = false;
        loop {
            let read = tokio::select! {
                () = stop.cancelled() => return Ended::Stopped,
                _ = asking.tick(), if request.is_some() => {
                    let bytes = request.as_ref().map(|r| r.bytes.as_slice()).unwrap_or_default();
                    if let Err(error) = self.port.write_all(bytes).await {
                        return Ended::Lost(self.gone(&error.to_string()));
                    }
                    continue;
                }
                read = timeout(self.clock.real(gap), self.port.read(&mut buffer)) => read,
            };
            let mut messages = Vec::new();
            match read {
                // At the end of file a read answers at once with nothing, for ever: the other side is gone.
                Ok(Ok(0)) => return Ended::Lost(self.gone("the line was closed")),
                Ok(Ok(count)) => {
                    let bytes = buffer.get(..count).unwrap_or_default();
                    self.decode(bytes, &mut messages);
                    let second_step = request.as_ref().and_then(|request| request.handshake.as_ref());
                    if let Some(step) = second_step.filter(|step| bytes.ends_with(&step.answer))
                        && let Err(error) = self.port.write_all(&step.then).await
                    {
                        return Ended::Lost(self.gone(&error.to_string()));
                    }
                }
                Ok(Err(error)) => return Ended::Lost(self.gone(&error.to_string())),
                Err(_quiet) => self.quiet(&mut messages),
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

    fn gone(&self, what: &str) -> String {
        format!("port {} is gone ({what}); plug the instrument in again", self.settings.path.display())
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
    fn stamp_items(&mut self, items: Vec<(u64, PortEvent)>, now: Stamp, received: u64, messages: &mut Vec<PortMessage>) {
        let line = &self.settings.format.line;
        let bits = 1 + u32::from(line.data_bits) + u32::from(line.parity != Parity::None) + u32::from(line.stop_bits);
        let byte_s = f64::from(bits) / f64::from(line.baud.max(1));
        for (end, event) in items {
            if matches!(event, PortEvent::Frame(..)) {
                self.synchronised = true;
            } else if !self.synchronised {
                continue;
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
            (end, PortEvent::Refused { label: reason.label(), reason: reason.to_string() })
        }
    }
}
