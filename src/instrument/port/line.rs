//! One open serial port: bytes go in and out, its line settings can be changed, its failures have words.
//!
//! Everything that touches a serial port stands here. Absent: what the bytes mean, when to open again.
//!
//! A port is opened exclusively, twice over: `TIOCEXCL` keeps every other program out, and an advisory lock (`flock`)
//! keeps those out that the kernel lets pass, such as programs of the superuser.

use std::io;
use std::os::unix::fs::FileTypeExt as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::time::timeout;
use tokio_serial::{ClearBuffer, DataBits, SerialPort as _, SerialPortBuilderExt as _, SerialStream, StopBits};

use crate::instrument::attachment::ModemLine;
use crate::instrument::format::{LineSettings, Parity};

/// How long a port may take to accept a question, in the world's time.
const LONGEST_WRITE: Duration = Duration::from_secs(1);

/// Why a port cannot be used, with the remedy.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    /// Somebody else has it.
    #[error("port {0} is in use by another program; close it")]
    InUse(PathBuf),
    /// No such name.
    #[error("port {0} is not there; plug the instrument in or correct `port`")]
    Absent(PathBuf),
    /// No permission.
    #[error("port {0} may not be opened; add the user to the group dialout and log in again")]
    NotAllowed(PathBuf),
    /// A file or a device of another kind.
    #[error("port {0} is no serial port; correct `port`")]
    NotSerial(PathBuf),
    /// The line settings are not to be had.
    #[error("port {port} does not do {line}; correct `line`")]
    NoSuchLine {
        /// The port.
        port: PathBuf,
        /// What was asked for.
        line: String,
    },
    /// A contact cannot be read on it.
    #[error("port {port} has no line {line} to read; put the pedal on an adapter that has its modem lines wired")]
    NoSuchContact {
        /// The port.
        port: PathBuf,
        /// The line's usual name.
        line: &'static str,
    },
    /// Anything else at opening.
    #[error("port {port} does not open ({reason}); check the cable and the adapter")]
    DoesNotOpen {
        /// The port.
        port: PathBuf,
        /// What the system said.
        reason: String,
    },
    /// It was open and is no more.
    #[error("port {port} is gone ({reason}); plug the instrument in again")]
    Gone {
        /// The port.
        port: PathBuf,
        /// What the system said.
        reason: String,
    },
}

/// An open port. Dropping it closes it and gives it free for others.
#[derive(Debug)]
pub struct Line {
    path: PathBuf,
    stream: SerialStream,
}

impl Line {
    /// Opens a port for this program alone. What stood in its buffer is thrown away: nobody knows how old it is.
    ///
    /// # Errors
    /// When it is not there, not to be had, in use, or no serial port.
    pub fn open(path: &Path, settings: &LineSettings) -> Result<Self, PortError> {
        let failed = |error| explain(path, &error);
        let stream = tokio_serial::new(path.to_string_lossy(), settings.baud)
            .data_bits(data_bits(settings))
            .parity(parity(settings))
            .stop_bits(stop_bits(settings))
            .open_native_async()
            .map_err(failed)?;
        stream.clear(ClearBuffer::Input).map_err(failed)?;
        Ok(Self { path: path.to_owned(), stream })
    }

    /// Changes the line settings and throws away what was received with the old ones.
    ///
    /// # Errors
    /// When the adapter does not do them, or the port is gone.
    pub fn set(&mut self, settings: &LineSettings) -> Result<(), PortError> {
        let failed = |error: tokio_serial::Error| match error.kind() {
            tokio_serial::ErrorKind::InvalidInput => {
                PortError::NoSuchLine { port: self.path.clone(), line: settings.to_string() }
            }
            _ => PortError::Gone { port: self.path.clone(), reason: error.to_string() },
        };
        // All three are changed even where only one differs: it costs a millisecond.
        self.stream.set_parity(parity(settings)).map_err(failed)?;
        self.stream.set_data_bits(data_bits(settings)).map_err(failed)?;
        self.stream.set_stop_bits(stop_bits(settings)).map_err(failed)?;
        self.stream.set_baud_rate(settings.baud).map_err(failed)?;
        self.stream.clear(ClearBuffer::Input).map_err(failed)
    }

    /// Waits for bytes; at least one when it returns.
    ///
    /// Can be dropped before it is ready: no byte is lost by that.
    ///
    /// # Errors
    /// When the port is gone. At the end of file a read answers at once with nothing, for ever; some adapters do the
    /// same once they were disturbed. Both are a port that is gone.
    pub async fn read(&mut self, buffer: &mut [u8]) -> Result<usize, PortError> {
        match self.stream.read(buffer).await {
            Ok(0) => Err(self.gone("the line was closed")),
            Ok(count) => Ok(count),
            Err(error) => Err(self.gone(&error.to_string())),
        }
    }

    /// Sends bytes.
    ///
    /// # Errors
    /// When the port is gone, or takes nothing for a second: an adapter that hangs would else hold its task for ever.
    pub async fn write(&mut self, bytes: &[u8]) -> Result<(), PortError> {
        match timeout(LONGEST_WRITE, self.stream.write_all(bytes)).await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(error)) => Err(self.gone(&error.to_string())),
            Err(_late) => Err(self.gone("it takes no bytes")),
        }
    }

    /// Puts a voltage on the lines that a contact may take it from: RTS and DTR.
    ///
    /// # Errors
    /// When the port has no such lines, as a pseudo-terminal has none.
    pub fn power_contacts(&mut self, line: ModemLine) -> Result<(), PortError> {
        let missing = |_| PortError::NoSuchContact { port: self.path.clone(), line: line.name() };
        self.stream.write_request_to_send(true).map_err(missing)?;
        self.stream.write_data_terminal_ready(true).map_err(missing)
    }

    /// Whether a contact closes this line.
    ///
    /// # Errors
    /// When the port is gone.
    pub fn contact(&mut self, line: ModemLine) -> Result<bool, PortError> {
        let state = match line {
            ModemLine::ClearToSend => self.stream.read_clear_to_send(),
            ModemLine::DataSetReady => self.stream.read_data_set_ready(),
        };
        state.map_err(|error| self.gone(&error.to_string()))
    }

    fn gone(&self, reason: &str) -> PortError {
        PortError::Gone { port: self.path.clone(), reason: reason.to_owned() }
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        // A close waits until everything is sent, up to half a minute on an adapter that hangs. When this fails the port
        // is gone, and there is nothing to wait for.
        self.stream.clear(ClearBuffer::Output).ok();
    }
}

fn data_bits(settings: &LineSettings) -> DataBits {
    match settings.data_bits {
        5 => DataBits::Five,
        6 => DataBits::Six,
        7 => DataBits::Seven,
        _ => DataBits::Eight,
    }
}

fn parity(settings: &LineSettings) -> tokio_serial::Parity {
    match settings.parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Even => tokio_serial::Parity::Even,
        Parity::Odd => tokio_serial::Parity::Odd,
    }
}

fn stop_bits(settings: &LineSettings) -> StopBits {
    if settings.stop_bits == 2 { StopBits::Two } else { StopBits::One }
}

/// Why a port does not open.
fn explain(path: &Path, error: &tokio_serial::Error) -> PortError {
    let port = path.to_owned();
    match error.kind() {
        tokio_serial::ErrorKind::NoDevice => PortError::InUse(port),
        tokio_serial::ErrorKind::Io(io::ErrorKind::NotFound) => PortError::Absent(port),
        tokio_serial::ErrorKind::Io(io::ErrorKind::PermissionDenied) => PortError::NotAllowed(port),
        // A device that is no serial port refuses every question about its line (ENOTTY), for which the library has no
        // kind of its own; a file is none to begin with.
        _ if is_no_terminal(path, &error.to_string()) => PortError::NotSerial(port),
        _ => PortError::DoesNotOpen { port, reason: error.to_string() },
    }
}

fn is_no_terminal(path: &Path, reason: &str) -> bool {
    path.metadata().is_ok_and(|found| !found.file_type().is_char_device())
        || ["typewriter", "inappropriate ioctl"].iter().any(|word| reason.to_lowercase().contains(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: LineSettings = LineSettings { baud: 9600, data_bits: 8, parity: Parity::None, stop_bits: 1 };

    #[tokio::test]
    async fn what_is_no_port_is_said_in_words() {
        let file = tempfile::NamedTempFile::new().unwrap();
        for (path, expected) in [
            (Path::new("/dev/null"), PortError::NotSerial("/dev/null".into())),
            (file.path(), PortError::NotSerial(file.path().into())),
            (Path::new("/dev/no-such-port"), PortError::Absent("/dev/no-such-port".into())),
        ] {
            assert_eq!(Line::open(path, &LINE).map(|_| ()).unwrap_err(), expected);
        }
    }
}
