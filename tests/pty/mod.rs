//! Pseudo-terminals under lasting names, as the ports of a bench: plugging in, pulling out, sending, hearing.

use std::io::{Read as _, Write as _};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serialport::{SerialPort as _, TTYPort};

/// A port that is plugged in. Dropping it pulls it out; the link stays, and leads nowhere.
pub(crate) struct Plugged {
    master: TTYPort,
    /// The device, such as `/dev/pts/3`.
    pub(crate) device: PathBuf,
}

impl Plugged {
    /// A new pseudo-terminal behind `link`, which is changed in one step.
    pub(crate) fn behind(link: &Path) -> Self {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(Duration::from_millis(2)).unwrap();
        let device = PathBuf::from(slave.name().unwrap());
        drop(slave);
        let fresh = link.with_extension("new");
        std::fs::remove_file(&fresh).ok();
        symlink(&device, &fresh).unwrap();
        std::fs::rename(fresh, link).unwrap();
        Self { master, device }
    }

    /// Sends; what nobody fetches is lost, as on a real line.
    pub(crate) fn send(&mut self, bytes: &[u8]) {
        self.master.write_all(bytes).ok();
    }

    /// What came, after at most 2 ms.
    #[allow(dead_code, reason = "not every test that uses ports is asked")]
    pub(crate) fn hear(&mut self) -> Vec<u8> {
        let mut came = [0; 256];
        let count = self.master.read(&mut came).unwrap_or(0);
        came[..count].to_vec()
    }
}
