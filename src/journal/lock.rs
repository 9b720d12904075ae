//! One daemon a data folder: a lock file that also says how to reach the one that holds it.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read as _, Seek as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

/// How to reach a running daemon.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Running {
    /// Process number.
    pub pid: u32,
    /// Address of its HTTP interface, once it listens.
    pub address: Option<String>,
    /// Token that allows writing.
    pub token: Option<String>,
}

/// Why the lock was not to be had.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    /// Another daemon uses the folder.
    #[error("{folder} is in use by a running benchscribe (process {pid}); stop it, or give another data folder")]
    Held {
        /// The folder.
        folder: PathBuf,
        /// The process, 0 if it did not say.
        pid: u32,
    },
    /// The folder or file cannot be used.
    #[error("{folder} cannot be used as data folder; it must exist on a disk with space and be writable")]
    Io {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// The lock, held as long as this lives.
#[derive(Debug)]
pub struct BenchLock {
    file: File,
}

const NAME: &str = "bench.lock";

impl BenchLock {
    /// Takes the lock of a data folder, making the folder if needed.
    ///
    /// # Errors
    /// When another daemon has it, or the folder cannot be used.
    pub fn take(folder: &Path) -> Result<Self, LockError> {
        let failed = |source| LockError::Io { folder: folder.to_owned(), source };
        std::fs::create_dir_all(folder).map_err(failed)?;
        let path = folder.join(NAME);
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(path)
            .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {
                let mut lock = Self { file };
                lock.say(None, None).map_err(failed)?;
                Ok(lock)
            }
            Err(TryLockError::WouldBlock) => {
                let pid = read(folder).map_or(0, |running| running.pid);
                Err(LockError::Held { folder: folder.to_owned(), pid })
            }
            Err(TryLockError::Error(source)) => Err(failed(source)),
        }
    }

    /// Writes how to reach this daemon.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn say(&mut self, address: Option<String>, token: Option<String>) -> io::Result<()> {
        let running = Running { pid: std::process::id(), address, token };
        let text = serde_json::to_string(&running)?;
        self.file.set_len(0)?;
        self.file.rewind()?;
        self.file.write_all(text.as_bytes())?;
        self.file.sync_data()
    }
}

/// How to reach the daemon that uses this folder, if one runs.
#[must_use]
pub fn running(folder: &Path) -> Option<Running> {
    let file = OpenOptions::new().read(true).write(true).open(folder.join(NAME)).ok()?;
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => read(folder),
        _ => None,
    }
}

fn read(folder: &Path) -> Option<Running> {
    let mut text = String::new();
    File::open(folder.join(NAME)).ok()?.read_to_string(&mut text).ok()?;
    serde_json::from_str(&text).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_daemon_is_refused_and_told_who_has_it() {
        let folder = tempfile::tempdir().unwrap();
        let mut lock = BenchLock::take(folder.path()).unwrap();
        lock.say(Some("127.0.0.1:8080".into()), None).unwrap();
        assert!(
            matches!(BenchLock::take(folder.path()), Err(LockError::Held { pid, .. }) if pid == std::process::id())
        );
        assert_eq!(running(folder.path()).and_then(|r| r.address).as_deref(), Some("127.0.0.1:8080"));
        drop(lock);
        assert_eq!(running(folder.path()), None);
        BenchLock::take(folder.path()).unwrap();
    }
}
