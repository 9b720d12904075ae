//! What the tests of the whole program share: the program as a child process, its page, and a bench to play on.
//!
//! Nothing here knows the inside of the daemon: it is started by its command line and asked over HTTP.
#![allow(dead_code, reason = "each test program uses its part")]
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the daemon")]

pub(crate) mod daemon;
pub(crate) mod http;
pub(crate) mod python;
pub(crate) mod shop;
pub(crate) mod table;

use std::path::Path;
use std::process::Output;
use std::time::{Duration, Instant};

use serde_json::Value;

/// Longest real time that any condition is waited for: far above what is needed, so that a busy machine does not fail
/// a test.
pub(crate) const PATIENCE: Duration = Duration::from_secs(20);
/// Time between two looks at a condition.
const LOOK: Duration = Duration::from_millis(5);

/// Waits until `look` finds something; fails with `what` when it does not.
#[track_caller]
pub(crate) fn wait_for<T>(what: &str, look: impl FnMut() -> Option<T>) -> T {
    wait_at_most(PATIENCE, look).unwrap_or_else(|| panic!("waited {PATIENCE:?} in vain: {what}"))
}

/// Waits until `look` finds something, or `time` is over.
pub(crate) fn wait_at_most<T>(time: Duration, mut look: impl FnMut() -> Option<T>) -> Option<T> {
    let start = Instant::now();
    loop {
        if let Some(found) = look() {
            return Some(found);
        }
        if start.elapsed() > time {
            return None;
        }
        std::thread::sleep(LOOK);
    }
}

/// Runs the program to its end.
pub(crate) fn benchscribe<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> Output {
    std::process::Command::new(env!("CARGO_BIN_EXE_benchscribe")).args(arguments).output().unwrap()
}

/// Runs a command on a data folder; its exit code, stdout and stderr.
pub(crate) fn on_data(data: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output =
        benchscribe(arguments.iter().copied().map(std::ffi::OsStr::new).chain(["--data".as_ref(), data.as_os_str()]));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

/// Fails unless `records verify` says that everything in the journal holds.
#[track_caller]
pub(crate) fn assert_verified(data: &Path) {
    let (code, out, err) = on_data(data, &["records", "verify"]);
    assert_eq!(code, Some(0), "{out}{err}");
}

/// One JSON value a line.
pub(crate) fn json_lines(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"))).collect()
}

/// Chance that can be repeated: splitmix64 (public domain), from memory.
#[derive(Debug)]
pub(crate) struct Dice(pub u64);

impl Dice {
    /// The next number from 0 to below 1.
    pub(crate) fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        f64::from(u32::try_from((x ^ (x >> 31)) >> 32).unwrap()) / f64::from(u32::MAX)
    }

    /// A time between two, evenly.
    pub(crate) fn time(&mut self, from: Duration, to: Duration) -> Duration {
        from + (to - from).mul_f64(self.share())
    }
}
