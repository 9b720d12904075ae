//! How an instrument reaches this machine, and the task that serves it there.

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::event_device::{self, Hand};
use super::port::{self, PortMessage, PortSettings, contact};
use crate::clock::Clock;

/// How an instrument reaches this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Attachment {
    /// By the bytes of a serial port.
    Serial,
    /// By typing, as a keyboard does: a scanner.
    Typing {
        /// What it types before each code; empty for nothing.
        prefix: String,
    },
    /// By closing a modem control line of a serial port: a pedal.
    Contact(ModemLine),
    /// By the keys of an event device: a pedal.
    Keys(PedalKeys),
}

/// A line of a serial port that is read, not sent on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ModemLine {
    /// Clear to send; pin 8 of a 9-pole plug.
    ClearToSend,
    /// Data set ready; pin 6 of a 9-pole plug.
    DataSetReady,
}

impl ModemLine {
    /// The usual name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::ClearToSend => "CTS",
            Self::DataSetReady => "DSR",
        }
    }

    /// All of them, for reading a name.
    pub const ALL: [Self; 2] = [Self::ClearToSend, Self::DataSetReady];
}

/// The keys of a pedal, as codes of the Linux input interface.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PedalKeys {
    /// The key that accepts, and voids when it is held; `None` for any key that is not `void`.
    pub accept: Option<u16>,
    /// A second key that voids however long it is pressed.
    pub void: Option<u16>,
}

/// Serves one instrument until `stop`; `out` as in [`port::run`].
pub async fn run(settings: PortSettings, clock: Clock, out: mpsc::Sender<PortMessage>, stop: CancellationToken) {
    match settings.attachment.clone() {
        Attachment::Serial => port::run(settings, clock, out, stop).await,
        Attachment::Contact(line) => contact::run(settings, line, clock, out, stop).await,
        Attachment::Typing { prefix } => event_device::run(settings, Hand::Scanner { prefix }, clock, out, stop).await,
        Attachment::Keys(keys) => event_device::run(settings, Hand::Pedal(keys), clock, out, stop).await,
    }
}
