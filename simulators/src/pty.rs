//! A serial port that is not there: one pseudo-terminal and the stable name that points at it.
//!
//! Bytes go in and out at the master side; the program under test opens the other side under the name of the link. Nothing
//! here knows what the bytes mean. A write never waits: what a reader does not fetch is lost, as on a real line.

use std::ffi::OsStr;
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, QueueSelector, ioctl_tiocnxcl, tcflush, tcgetattr, tcsetattr};

/// An open pseudo-terminal with its link; dropping it takes both away, as pulling the plug does.
#[derive(Debug)]
pub(crate) struct Pty {
    master: OwnedFd,
    device: PathBuf,
    link: PathBuf,
    /// Whether a reader had the port open when last asked.
    read_by_someone: bool,
}

impl Pty {
    /// Makes a pseudo-terminal in raw mode and points `link` at it, replacing an older link.
    pub(crate) fn create(link: &Path) -> io::Result<Self> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
        let name = ptsname(&master, Vec::new())?;
        let device = PathBuf::from(OsStr::from_bytes(name.as_bytes()));
        // Opening the other side once and closing it again sets raw mode, and from then on the master can tell whether
        // anybody has the port open: before the first opening it cannot.
        let other_side = open_other_side(&device)?;
        let mut line = tcgetattr(&other_side)?;
        line.make_raw();
        tcsetattr(&other_side, OptionalActions::Now, &line)?;
        drop(other_side);
        point(link, &device)?;
        Ok(Self { master, device, link: link.to_owned(), read_by_someone: false })
    }

    /// Sends `bytes`; what does not fit, or has no reader, is lost.
    pub(crate) fn send(&mut self, bytes: &[u8]) {
        if !self.has_reader() {
            return;
        }
        let mut left = bytes;
        while let Ok(sent) = rustix::io::write(&self.master, left) {
            left = left.get(sent..).unwrap_or_default();
            if left.is_empty() || sent == 0 {
                break;
            }
        }
    }

    /// Waits until the reader has sent something, at most `longest`, and returns it; nothing if nothing came.
    pub(crate) fn receive(&mut self, longest: Duration) -> Vec<u8> {
        if !self.has_reader() {
            // A port nobody has open is for ever "ready" with a hang-up, so polling it would spin.
            std::thread::sleep(longest);
            return Vec::new();
        }
        let mut heard = Vec::new();
        let longest = Timespec::try_from(longest).ok();
        let mut waiting = [PollFd::new(&self.master, PollFlags::IN)];
        if !poll(&mut waiting, longest.as_ref()).is_ok_and(|ready| ready > 0) {
            return heard;
        }
        let mut piece = [0_u8; 256];
        // An error here is "nothing more" or "the reader has just gone"; both end the reading.
        while let Ok(count @ 1..) = rustix::io::read(&self.master, &mut piece) {
            heard.extend_from_slice(piece.get(..count).unwrap_or_default());
        }
        heard
    }

    /// Whether somebody has the port open now.
    fn has_reader(&mut self) -> bool {
        let mut asked = [PollFd::new(&self.master, PollFlags::empty())];
        let present = match poll(&mut asked, Some(&Timespec::default())) {
            Ok(_) => !asked.iter().any(|port| port.revents().contains(PollFlags::HUP)),
            Err(_) => false,
        };
        if self.read_by_someone && !present {
            self.forget_reader();
        }
        self.read_by_someone = present;
        present
    }

    /// Leaves the next reader a port like new: no bytes meant for the last one, and no lock that one left behind when it
    /// was killed.
    fn forget_reader(&mut self) {
        match open_other_side(&self.device) {
            Ok(other_side) => {
                // Cannot be helped when it fails: the port may be in someone's hands again already.
                ioctl_tiocnxcl(&other_side).ok();
                tcflush(&self.master, QueueSelector::IOFlush).ok();
            }
            Err(_) => {
                // Locked, and only the superuser could unlock it. A real port is free when its reader is dead; this one
                // is so only under a new number.
                if let Ok(fresh) = Self::create(&self.link) {
                    *self = fresh;
                }
            }
        }
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        // Only our own link: a newer pseudo-terminal may have taken the name over.
        if std::fs::read_link(&self.link).is_ok_and(|target| target == self.device) {
            std::fs::remove_file(&self.link).ok();
        }
    }
}

fn open_other_side(device: &Path) -> io::Result<OwnedFd> {
    Ok(open(device, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC | OFlags::NONBLOCK, Mode::empty())?)
}

/// Makes `link` point at `device` in one step, so that a reader never finds the name missing.
fn point(link: &Path, device: &Path) -> io::Result<()> {
    let mut fresh = link.as_os_str().to_owned();
    fresh.push(".new");
    match std::fs::remove_file(&fresh) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    std::os::unix::fs::symlink(device, &fresh)?;
    std::fs::rename(&fresh, link)
}
