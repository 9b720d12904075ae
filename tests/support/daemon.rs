//! The daemon as a child process: started, asked, killed. Dropping it kills it.

use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};

use serde_json::Value;

use super::http::{Reply, ask};
use super::{wait_at_most, wait_for};

/// A running daemon.
#[derive(Debug)]
pub(crate) struct Daemon {
    child: Child,
    /// Where its page is.
    pub(crate) address: SocketAddr,
    words: Arc<Mutex<String>>,
}

impl Daemon {
    /// Runs the daemon and waits for its page.
    #[track_caller]
    pub(crate) fn run(config: &Path, pace: f64) -> Self {
        let pace = pace.to_string();
        Self::start(["run".as_ref(), "--config".as_ref(), config.as_os_str(), "--pace".as_ref(), pace.as_ref()])
    }

    /// Starts any command that serves a page, and waits for it.
    #[track_caller]
    pub(crate) fn start<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_benchscribe"))
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let stderr = BufReader::new(child.stderr.take().unwrap());
        let words = Arc::new(Mutex::new(String::new()));
        let heard = Arc::clone(&words);
        // Ends when the child closes its stderr.
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                let mut heard = heard.lock().unwrap();
                heard.push_str(&line);
                heard.push('\n');
            }
        });
        // Made before the wait, so that a failed start is killed too.
        let mut daemon = Self { child, address: SocketAddr::from(([127, 0, 0, 1], 0)), words };
        daemon.address = wait_for("the page's address on stderr", || {
            assert!(daemon.child.try_wait().unwrap().is_none(), "the daemon ended: {}", daemon.words());
            let words = daemon.words();
            let line = words.lines().find_map(|line| line.strip_prefix("page: http://"))?;
            line.trim_end_matches('/').parse().ok()
        });
        daemon
    }

    /// Everything it said on stderr so far.
    pub(crate) fn words(&self) -> String {
        self.words.lock().unwrap().clone()
    }

    /// Process number.
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Ends it at once, as a power cut does.
    pub(crate) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Asks it to end in order and waits until it has.
    pub(crate) fn terminate(mut self) -> ExitStatus {
        Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status().unwrap();
        wait_for("the end of the daemon", || self.child.try_wait().unwrap())
    }

    /// Waits until it ends by itself; how, and what it said.
    #[track_caller]
    pub(crate) fn ended(mut self, within: std::time::Duration) -> (ExitStatus, String) {
        let ended = wait_at_most(within, || self.child.try_wait().unwrap());
        let status = ended.unwrap_or_else(|| panic!("it did not end within {within:?}: {}", self.words()));
        // The thread that hears it ends with its last line.
        wait_at_most(super::PATIENCE, || (Arc::strong_count(&self.words) == 1).then_some(()));
        (status, self.words())
    }

    /// A page that must be there.
    #[track_caller]
    pub(crate) fn get(&self, path: &str) -> Reply {
        ask(self.address, "GET", path, &[], "").unwrap_or_else(|error| panic!("{path}: {error}; {}", self.words()))
    }

    /// The whole live state.
    #[track_caller]
    pub(crate) fn state(&self) -> Value {
        self.get("/api/v1/state").json()
    }

    /// One instrument of the live state.
    #[track_caller]
    pub(crate) fn instrument(&self, id: &str) -> Value {
        instrument(&self.state(), id)
    }

    /// Gives a command.
    #[track_caller]
    pub(crate) fn command(&self, json: &Value) -> Reply {
        ask(self.address, "POST", "/api/v1/command", &[], &json.to_string()).unwrap()
    }

    /// All events behind `seq`, followed over as many pages as there are.
    #[track_caller]
    pub(crate) fn events_after(&self, seq: u64) -> Vec<Value> {
        let mut all: Vec<Value> = Vec::new();
        let mut seq = seq;
        loop {
            let page = self.get(&format!("/api/v1/events?after={seq}")).json();
            all.extend(page["events"].as_array().unwrap().iter().cloned());
            seq = all.last().map_or(seq, |event| event["seq"].as_u64().unwrap());
            if page["more"] == false {
                return all;
            }
        }
    }

    /// All readings captured by one instrument.
    #[track_caller]
    pub(crate) fn captured(&self, instrument: &str) -> Vec<Value> {
        let events = self.events_after(0).into_iter();
        events.filter(|event| event["kind"] == "reading_captured" && event["instrument"] == instrument).collect()
    }

    /// Whether an instrument was told as silent behind `seq`; where no test made it so, the machine gave it no processor.
    #[track_caller]
    pub(crate) fn was_silent(&self, instrument: &str, seq: u64) -> bool {
        self.events_after(seq).iter().any(|event| {
            event["kind"] == "instrument_lost"
                && event["instrument"] == instrument
                && event["reason"].as_str().is_some_and(|reason| reason.contains("sends nothing"))
        })
    }

    /// Waits until one instrument looks as wanted.
    #[track_caller]
    pub(crate) fn wait_instrument(&self, id: &str, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let found = wait_at_most(super::PATIENCE, || Some(self.instrument(id)).filter(|view| wanted(view)));
        found.unwrap_or_else(|| panic!("{id} never {what}: {}\n{}", self.instrument(id), self.words()))
    }

    /// Waits until one instrument is in this phase.
    #[track_caller]
    pub(crate) fn wait_phase(&self, id: &str, phase: &str) -> Value {
        self.wait_instrument(id, phase, |view| view["phase"] == phase)
    }

    /// Waits until as many readings of an instrument are captured; all of them.
    #[track_caller]
    pub(crate) fn wait_captured(&self, instrument: &str, count: usize) -> Vec<Value> {
        let found = wait_at_most(super::PATIENCE, || Some(self.captured(instrument)).filter(|c| c.len() >= count));
        found.unwrap_or_else(|| {
            panic!("{instrument}: no {count} captures; {}\n{}", self.instrument(instrument), self.words())
        })
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already.
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// One instrument of a state.
#[track_caller]
pub(crate) fn instrument(state: &Value, id: &str) -> Value {
    let all = state["instruments"].as_array().unwrap();
    all.iter().find(|view| view["id"] == id).unwrap_or_else(|| panic!("no {id} in {state}")).clone()
}

/// One measured value of a `reading_captured` event.
#[track_caller]
pub(crate) fn measured(captured: &Value, quantity: &str) -> f64 {
    let all = captured["measured"].as_array().unwrap();
    let found = all.iter().find(|m| m["quantity"] == quantity).and_then(|m| m["value"].as_f64());
    found.unwrap_or_else(|| panic!("no {quantity} in {captured}"))
}
