//! Scanners that type and pedals that are keys: the only IO on event devices (`/dev/input`).
//!
//! In: the events of one device, taken for this program alone (`EVIOCGRAB`), so that a scan never types into whatever
//! window is open. Out: codes and presses, through the wire format of the instrument. Absent: what keys mean (`keys`,
//! `pedal`). A device that is gone is opened again under the same name.

use std::io;
use std::path::{Path, PathBuf};
use std::str::FromStr as _;
use std::time::{Duration, UNIX_EPOCH};

use evdev::raw_stream::{EventStream, RawDevice};
use evdev::{EventSummary, InputEvent, KeyCode, SynchronizationCode};
use tokio::sync::mpsc;
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;

use super::attachment::PedalKeys;
use super::keys::{KeyReader, Keyed, Stroke};
use super::pedal::{DEBOUNCE_S, Pedal, Press};
use super::port::session::{Over, Session};
use super::port::{PortEvent, PortMessage, PortSettings};
use crate::clock::Clock;

/// Why an event device cannot be used, with the remedy.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeviceError {
    /// No such name.
    #[error("{0} is not there; plug it in or correct `port` (the names are in /dev/input/by-id)")]
    Absent(PathBuf),
    /// No permission.
    #[error("{0} may not be opened; add the user to the group input and log in again")]
    NotAllowed(PathBuf),
    /// Somebody else has grabbed it.
    #[error("{0} is in use by another program; close it")]
    InUse(PathBuf),
    /// A file or a device of another kind.
    #[error("{0} is no keyboard; correct `port` (by-id names of keyboards end in -event-kbd)")]
    NoKeys(PathBuf),
    /// Anything else at opening.
    #[error("{device} does not open ({reason}); plug it in again")]
    DoesNotOpen {
        /// The device.
        device: PathBuf,
        /// What the system said.
        reason: String,
    },
    /// It was open and is no more.
    #[error("{device} is gone ({reason}); plug it in again")]
    Gone {
        /// The device.
        device: PathBuf,
        /// What the system said.
        reason: String,
    },
}

/// The code of a key by its name in the Linux input interface, `KEY_F13`, with or without `KEY_`.
#[must_use]
pub fn key_code(name: &str) -> Option<u16> {
    let name = name.to_ascii_uppercase();
    let key = KeyCode::from_str(&name).or_else(|_| KeyCode::from_str(&format!("KEY_{name}")));
    key.ok().map(KeyCode::code)
}

/// A device that is open and grabbed. Dropping it gives it back.
struct Device {
    path: PathBuf,
    events: EventStream,
}

impl Device {
    fn open(path: &Path) -> Result<Self, DeviceError> {
        let failed = |error| explain(path, &error);
        let mut device = RawDevice::open(path).map_err(failed)?;
        if device.supported_keys().is_none() {
            return Err(DeviceError::NoKeys(path.to_owned()));
        }
        device.grab().map_err(failed)?;
        let events = device.into_event_stream().map_err(failed)?;
        Ok(Self { path: path.to_owned(), events })
    }

    /// Waits for the next stroke; its time is the kernel's, in seconds since 1970. Can be dropped before it is ready.
    async fn stroke(&mut self) -> Result<(f64, Stroke), DeviceError> {
        loop {
            let event = self
                .events
                .next_event()
                .await
                .map_err(|error| DeviceError::Gone { device: self.path.clone(), reason: error.to_string() })?;
            if let Some(stroke) = stroke(event) {
                let since = event.timestamp().duration_since(UNIX_EPOCH).unwrap_or_default();
                return Ok((since.as_secs_f64(), stroke));
            }
        }
    }
}

/// What an event says of a key. A key that repeats because it is held says nothing new.
fn stroke(event: InputEvent) -> Option<Stroke> {
    match event.destructure() {
        EventSummary::Key(_, key, 0) => Some(Stroke::Up(key.code())),
        EventSummary::Key(_, key, 1) => Some(Stroke::Down(key.code())),
        EventSummary::Synchronization(_, SynchronizationCode::SYN_DROPPED, _) => Some(Stroke::Lost),
        _ => None,
    }
}

/// What the keys of a device are taken for.
#[derive(Debug, Clone)]
pub(super) enum Hand {
    /// Codes, with this before each.
    Scanner {
        /// As in [`KeyReader::new`].
        prefix: String,
    },
    /// Presses of these keys.
    Pedal(PedalKeys),
}

/// Serves a device until `stop`; `out` as in [`super::port::run`].
pub(super) async fn run(
    settings: PortSettings,
    hand: Hand,
    clock: Clock,
    out: mpsc::Sender<PortMessage>,
    stop: CancellationToken,
) {
    let mut session = Session::new(&settings, clock, &out, &stop);
    loop {
        let reason = match Device::open(&settings.path) {
            Ok(device) => {
                session.opened();
                let ended = match &hand {
                    Hand::Scanner { prefix } => scan(&session, device, KeyReader::new(prefix)).await,
                    Hand::Pedal(keys) => press(&session, device, *keys).await,
                };
                match ended {
                    Ok(error) => error.to_string(),
                    Err(Over) => return,
                }
            }
            Err(error) => error.to_string(),
        };
        if let Err(Over) = session.lost(reason).await {
            return;
        }
    }
}

/// Takes strokes for codes until the device is gone; why leaves.
async fn scan(session: &Session<'_>, mut device: Device, mut reader: KeyReader) -> Result<DeviceError, Over> {
    session.tell(PortEvent::Ready).await?;
    loop {
        let (t_s, stroke) = tokio::select! {
            () = session.stop.cancelled() => return Err(Over),
            stroke = device.stroke() => match stroke {
                Ok(stroke) => stroke,
                Err(error) => return Ok(error),
            },
        };
        match reader.push(t_s, stroke) {
            None => {}
            Some(Keyed::Code(mut code)) => {
                code.push(b'\r');
                session.tell_whole(&code).await?;
            }
            Some(Keyed::Refused { reason, raw }) => {
                session
                    .tell(PortEvent::Refused { label: reason.label(), reason: reason.to_string(), raw: raw.into() })
                    .await?;
            }
        }
    }
}

/// Takes strokes for presses until the device is gone; why leaves.
async fn press(session: &Session<'_>, mut device: Device, keys: PedalKeys) -> Result<DeviceError, Over> {
    session.tell(PortEvent::Ready).await?;
    let again = session.clock.real(Duration::from_secs_f64(DEBOUNCE_S));
    let mut both = TwoKeys::new(keys);
    loop {
        tokio::select! {
            () = session.stop.cancelled() => return Err(Over),
            stroke = device.stroke() => match stroke {
                Ok((_, stroke)) => both.stroke(stroke),
                Err(error) => return Ok(error),
            },
            () = sleep(again), if both.is_changing() => {}
        }
        if let Some(press) = both.look(session.clock.now().t_s) {
            session.tell_whole(&press.line()).await?;
        }
    }
}

/// The keys of a pedal as contacts.
struct TwoKeys {
    keys: PedalKeys,
    accept: (bool, Pedal),
    void: (bool, Pedal),
}

impl TwoKeys {
    fn new(keys: PedalKeys) -> Self {
        Self { keys, accept: (false, Pedal::found(false)), void: (false, Pedal::found(false)) }
    }

    fn stroke(&mut self, stroke: Stroke) {
        let (key, closed) = match stroke {
            Stroke::Down(key) => (key, true),
            Stroke::Up(key) => (key, false),
            Stroke::Lost => {
                // What is held now was not seen coming down.
                *self = Self::new(self.keys);
                return;
            }
        };
        if self.keys.void == Some(key) {
            self.void.0 = closed;
        } else if self.keys.accept.is_none_or(|accept| accept == key) {
            self.accept.0 = closed;
        }
    }

    fn is_changing(&self) -> bool {
        let changing = |(closed, pedal): &(bool, Pedal)| *closed != pedal.is_closed();
        changing(&self.accept) || changing(&self.void)
    }

    fn look(&mut self, t_s: f64) -> Option<Press> {
        let accept = self.accept.1.look(t_s, self.accept.0);
        let void = self.void.1.look(t_s, self.void.0).map(|_| Press::Void);
        void.or(accept)
    }
}

/// Why a device does not open.
fn explain(path: &Path, error: &io::Error) -> DeviceError {
    let device = path.to_owned();
    match error.kind() {
        io::ErrorKind::NotFound => DeviceError::Absent(device),
        io::ErrorKind::PermissionDenied => DeviceError::NotAllowed(device),
        io::ErrorKind::ResourceBusy => DeviceError::InUse(device),
        // A device of another kind does not know the questions (ENOTTY, EINVAL), nor does a folder.
        io::ErrorKind::InvalidInput | io::ErrorKind::IsADirectory => DeviceError::NoKeys(device),
        _ if error.to_string().to_lowercase().contains("inappropriate ioctl") => DeviceError::NoKeys(device),
        _ => DeviceError::DoesNotOpen { device, reason: error.to_string() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evdev::EventType;

    #[test]
    fn what_is_no_event_device_is_said_in_words() {
        let file = tempfile::NamedTempFile::new().unwrap();
        for (path, expected) in [
            (Path::new("/dev/null"), DeviceError::NoKeys("/dev/null".into())),
            (Path::new("/dev"), DeviceError::NoKeys("/dev".into())),
            (file.path(), DeviceError::NoKeys(file.path().into())),
            (
                Path::new("/dev/input/by-id/no-such-event-kbd"),
                DeviceError::Absent("/dev/input/by-id/no-such-event-kbd".into()),
            ),
        ] {
            assert_eq!(Device::open(path).map(|_| ()).unwrap_err(), expected);
        }
    }

    #[test]
    fn keys_are_known_by_their_names() {
        // Codes: input-event-codes.h of the Linux kernel.
        for (name, code) in
            [("F13", Some(183)), ("KEY_B", Some(48)), ("pagedown", Some(109)), ("BTN_0", Some(0x100)), ("F99", None)]
        {
            assert_eq!(key_code(name), code, "{name}");
        }
    }

    #[test]
    fn going_down_and_up_are_strokes_and_repeating_is_none() {
        let event = |kind: EventType, code, value| stroke(InputEvent::new(kind.0, code, value));
        assert_eq!(event(EventType::KEY, 30, 1), Some(Stroke::Down(30)));
        assert_eq!(event(EventType::KEY, 30, 0), Some(Stroke::Up(30)));
        assert_eq!(event(EventType::KEY, 30, 2), None);
        assert_eq!(event(EventType::MISC, 4, 30), None);
        assert_eq!(event(EventType::SYNCHRONIZATION, 0, 0), None);
        assert_eq!(event(EventType::SYNCHRONIZATION, 3, 0), Some(Stroke::Lost));
    }

    /// Strokes with their times, looked at as the task does; what came.
    fn pressed(keys: PedalKeys, strokes: &[(f64, Stroke)]) -> Vec<Press> {
        let mut both = TwoKeys::new(keys);
        let mut got = Vec::new();
        for (place, (t_s, stroke)) in strokes.iter().enumerate() {
            both.stroke(*stroke);
            got.extend(both.look(*t_s));
            let next_s = strokes.get(place + 1).map_or(f64::INFINITY, |next| next.0);
            let mut again_s = t_s + DEBOUNCE_S;
            while both.is_changing() && again_s < next_s {
                got.extend(both.look(again_s));
                again_s += DEBOUNCE_S;
            }
        }
        got
    }

    #[test]
    fn one_key_does_both_and_a_second_one_voids_however_short() {
        use Stroke::{Down, Up};
        let any = PedalKeys::default();
        assert_eq!(
            pressed(any, &[(1.0, Down(48)), (1.2, Up(48)), (2.0, Down(30)), (4.0, Up(30))]),
            [Press::Accept, Press::Void]
        );
        let two = PedalKeys { accept: Some(48), void: Some(30) };
        let strokes = [(1.0, Down(30)), (1.2, Up(30)), (2.0, Down(48)), (2.2, Up(48)), (3.0, Down(57)), (3.2, Up(57))];
        assert_eq!(pressed(two, &strokes), [Press::Void, Press::Accept]);
        assert_eq!(pressed(any, &[(1.0, Down(48)), (1.01, Up(48)), (1.02, Down(48)), (1.3, Up(48))]), [Press::Accept]);
        assert_eq!(pressed(any, &[(1.0, Down(48)), (1.2, Stroke::Lost), (1.4, Up(48))]), []);
    }
}
