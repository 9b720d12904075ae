//! A terminal with the program in it: a pseudo-terminal of a size, read by an emulator that is not ours (`vt100`).

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::os::unix::ffi::OsStrExt as _;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};

use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};

use crate::support::{PATIENCE, wait_at_most, wait_for};

/// The terminal. Dropping it closes the line, as the end of an ssh session does.
pub(crate) struct Screen {
    master: File,
    child: Child,
    seen: Arc<Mutex<vt100::Parser>>,
}

impl Screen {
    /// Runs `benchscribe watch` in a terminal of this size.
    pub(crate) fn watch(columns: u16, rows: u16, arguments: &[&str]) -> Self {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap();
        let name = std::path::Path::new(std::ffi::OsStr::from_bytes(name.as_bytes()));
        let line = open(name, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty()).unwrap();
        let line = File::from(line);
        tcsetwinsize(&master, size(columns, rows)).unwrap();
        let end = || Stdio::from(line.try_clone().unwrap());
        // A session of its own whose terminal this is (setsid is of util-linux), or it would find that of the test.
        let child = Command::new("setsid")
            .args(["--ctty", "--wait", env!("CARGO_BIN_EXE_benchscribe"), "watch"])
            .args(arguments)
            .env("TERM", "xterm-256color")
            .stdin(end())
            .stdout(end())
            .stderr(end())
            .spawn()
            .unwrap();
        let seen = Arc::new(Mutex::new(vt100::Parser::new(lines(rows), lines(columns), 0)));
        let master = File::from(master);
        let (mut reader, parser) = (master.try_clone().unwrap(), Arc::clone(&seen));
        // Ends when the program has closed its side.
        std::thread::spawn(move || {
            let mut piece = [0_u8; 4096];
            while let Ok(count @ 1..) = reader.read(&mut piece) {
                parser.lock().unwrap().process(&piece[..count]);
            }
        });
        Self { master, child, seen }
    }

    /// What stands on it.
    pub(crate) fn text(&self) -> String {
        self.seen.lock().unwrap().screen().contents()
    }

    /// Whether the program has left the terminal as it found it: the usual screen, with a cursor.
    pub(crate) fn is_given_back(&self) -> bool {
        let seen = self.seen.lock().unwrap();
        !seen.screen().alternate_screen() && !seen.screen().hide_cursor()
    }

    /// Waits until all these words stand on it at once.
    #[track_caller]
    pub(crate) fn wait(&self, words: &[&str]) -> String {
        let has = |text: &String| words.iter().all(|words| text.contains(words));
        wait_at_most(PATIENCE, || Some(self.text()).filter(has))
            .unwrap_or_else(|| panic!("never all of {words:?} on the screen:\n{}", self.text()))
    }

    /// Types.
    pub(crate) fn type_keys(&mut self, keys: &[u8]) {
        self.master.write_all(keys).unwrap();
    }

    /// Makes the window another size.
    pub(crate) fn resize(&self, columns: u16, rows: u16) {
        self.seen.lock().unwrap().screen_mut().set_size(lines(rows), lines(columns));
        tcsetwinsize(&self.master, size(columns, rows)).unwrap();
    }

    /// Waits until the program has ended.
    #[track_caller]
    pub(crate) fn ended(&mut self) -> ExitStatus {
        wait_for("the end of watch", || self.child.try_wait().unwrap())
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

fn size(columns: u16, rows: u16) -> Winsize {
    Winsize { ws_row: rows, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 }
}

fn lines(count: u16) -> std::num::NonZero<u16> {
    std::num::NonZero::new(count).unwrap()
}
