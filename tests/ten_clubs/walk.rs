//! Somebody at a bench whose power fails: lays things down, scans cards, types, and compares after each failure what he has
//! seen acknowledged with what is still there.

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::{Value, json};
use simulators::{Instrument, Load};

use super::ORDER;
use crate::support::daemon::Daemon;
use crate::support::http::ask;
use crate::support::table::Table;
use crate::support::{benchscribe, wait_at_most, wait_for};

/// When the power fails.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Cut {
    /// It does not.
    None,
    /// As soon as the deed is acknowledged, while what was laid down still lies there.
    Behind,
    /// So long after the hand let go, whatever has become of it.
    Amid(Duration),
}

/// How long he waits for a card to have an effect before he scans it again.
const CARD: Duration = Duration::from_secs(3);

/// A bench and what was acknowledged on it.
pub(crate) struct Walk {
    table: Table,
    daemon: Option<Daemon>,
    /// All events that the page has told.
    pub(crate) events: Vec<Value>,
    /// How often the daemon was started.
    pub(crate) lives: usize,
}

impl Walk {
    /// A bench that runs.
    pub(crate) fn new(seed: u64) -> Self {
        let table = Table::new(seed);
        let daemon = table.ready_daemon();
        Self { table, daemon: Some(daemon), events: Vec::new(), lives: 1 }
    }

    pub(crate) fn folder(&self) -> &Path {
        self.table.folder.path()
    }

    #[track_caller]
    pub(crate) fn daemon(&self) -> &Daemon {
        self.daemon.as_ref().unwrap()
    }

    /// Runs a command of the program on this bench; what it prints.
    #[track_caller]
    pub(crate) fn program(&self, arguments: &[&str]) -> String {
        let config = self.table.config.to_str().unwrap();
        let output = benchscribe(arguments.iter().chain(&["--config", config]));
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// Takes in what the page tells.
    #[track_caller]
    fn catch_up(&mut self) {
        let seq = self.events.last().map_or(0, |event| event["seq"].as_u64().unwrap());
        let more = self.daemon().events_after(seq);
        self.events.extend(more);
    }

    /// The power fails and comes back: everything that was told is still there, as it was told.
    #[track_caller]
    pub(crate) fn restart(&mut self) {
        self.catch_up();
        self.fail();
    }

    #[track_caller]
    fn fail(&mut self) {
        if let Some(daemon) = self.daemon.take() {
            daemon.kill();
        }
        let daemon = self.table.daemon();
        self.lives += 1;
        // What lies on an instrument keeps it from being empty; all of them have to be there.
        wait_for("all instruments", || {
            let instruments = daemon.state()["instruments"].clone();
            instruments.as_array().unwrap().iter().all(|view| view["connected"] == true).then_some(())
        });
        let events = daemon.events_after(0);
        for (told, kept) in self.events.iter().zip(&events) {
            assert_eq!(told, kept, "not what was told before the power failed");
        }
        assert!(events.len() >= self.events.len(), "{} events were told, {} are left", self.events.len(), events.len());
        self.events = events;
        self.daemon = Some(daemon);
    }

    fn captures(&self, instrument: Instrument) -> usize {
        let of = |event: &&Value| event["kind"] == "reading_captured" && event["instrument"] == instrument.name();
        self.events.iter().filter(of).count()
    }

    /// Lays a load down until it is captured, and takes it away.
    #[track_caller]
    pub(crate) fn lay(&mut self, instrument: Instrument, load: Load, cut: Cut) {
        self.catch_up();
        let wanted = self.captures(instrument) + 1;
        // After a restart it waits until it has seen its pan empty, and says so.
        self.daemon().wait_phase(instrument.name(), "empty");
        self.table.bench.lay(instrument, load).unwrap();
        if let Cut::Amid(time) = cut {
            std::thread::sleep(time);
            self.fail();
            if self.captures(instrument) < wanted {
                // It cannot know how long that has been lying there, so it waits for an empty pan.
                self.lift(instrument);
                self.table.bench.lay(instrument, load).unwrap();
            }
        }
        let captured = wait_at_most(Duration::from_secs(20), || {
            self.catch_up();
            (self.captures(instrument) >= wanted).then_some(())
        });
        assert!(captured.is_some(), "{instrument} captured nothing: {}", self.daemon().instrument(instrument.name()));
        if cut == Cut::Behind {
            self.restart();
        }
        self.lift(instrument);
        self.catch_up();
        assert_eq!(self.captures(instrument), wanted, "{instrument} captured one thing twice");
        let unfiled = self.events.iter().find(|event| event["kind"] == "reading_unfiled");
        assert!(unfiled.is_none(), "{unfiled:?}");
    }

    #[track_caller]
    fn lift(&self, instrument: Instrument) {
        self.table.lift(self.daemon(), instrument);
    }

    /// Scans a code until what it asks for stands in the journal.
    #[track_caller]
    pub(crate) fn scan_until(&mut self, code: &str, done: impl Fn(&[Value]) -> bool) {
        let mut said = Value::Null;
        for _ in 0..3 {
            self.table.bench.scan(code);
            let effect = wait_at_most(CARD, || {
                self.catch_up();
                let banners = self.daemon().state()["banners"].take();
                said = if banners == json!([]) { said.take() } else { banners };
                done(&self.events).then_some(())
            });
            if effect.is_some() {
                return;
            }
        }
        panic!("{code} has no effect: {said}; {}", self.daemon().state()["club"]);
    }

    /// Opens a club by its ticket.
    #[track_caller]
    pub(crate) fn open(&mut self, n: usize) {
        let club = id(n);
        if self.daemon().state()["club"]["club"] != *club {
            let ticket = self.ticket(n);
            self.scan_until(&ticket, |events| {
                let opened = events.iter().rfind(|event| event["kind"] == "club_opened");
                opened.is_some_and(|event| event["club"] == *club)
            });
        }
    }

    /// Scans the card of a step.
    #[track_caller]
    pub(crate) fn card(&mut self, n: usize, step: &str, cut: Cut) {
        let (club, code) = (id(n), format!("BS1/S/{}", step.to_uppercase().replace('_', "-")));
        let done = move |events: &[Value], step: &str| {
            let is_it =
                |event: &Value| event["kind"] == "step_done" && event["club"] == *club && event["step"] == *step;
            events.iter().any(is_it)
        };
        if let Cut::Amid(time) = cut {
            self.catch_up();
            self.table.bench.scan(&code);
            std::thread::sleep(time / 10);
            self.fail();
        }
        if !done(&self.events, step) {
            self.scan_until(&code, |events| done(events, step));
        }
        if cut == Cut::Behind {
            self.restart();
        }
    }

    /// Types the length of a club at the page, which it then has at this stage.
    #[track_caller]
    pub(crate) fn type_length(&mut self, n: usize, length: &str, stage: &str, cut: Cut) {
        let club = id(n);
        let command = json!({"command": "enter", "club": club, "characteristic": "length", "quantity": length});
        let is_it = |event: &Value| {
            event["kind"] == "value_typed" && event["club"] == *club && event["value"]["stage"] == *stage
        };
        let typed = |events: &[Value]| events.iter().any(is_it);
        if let Cut::Amid(time) = cut {
            self.catch_up();
            let (address, body) = (self.daemon().address, command.to_string());
            let answer = std::thread::spawn(move || ask(address, "POST", "/api/v1/command", &[], &body));
            std::thread::sleep(time / 20);
            self.fail();
            let acknowledged = answer.join().unwrap().is_ok_and(|reply| reply.status == 200);
            assert!(!acknowledged || typed(&self.events), "acknowledged, and lost: {command}");
        }
        if !typed(&self.events) {
            let answer = self.daemon().command(&command);
            assert_eq!(answer.status, 200, "{answer:?}");
            self.catch_up();
        }
        if cut == Cut::Behind {
            self.restart();
        }
    }

    /// A command that must be refused.
    #[track_caller]
    pub(crate) fn refuses(&self, command: &Value, words: &str) {
        self.daemon().command(command).assert_problem(422, words);
    }

    /// What is left of a club's cure by the page, in seconds; nothing once it is over.
    #[track_caller]
    pub(crate) fn cure_left_s(&self, n: usize) -> f64 {
        let (state, club) = (self.daemon().state(), id(n));
        let is_it = |timer: &&Value| timer["what"] == "cure" && timer["of"] == *club && timer["over"] == false;
        let until = state["timers"].as_array().unwrap().iter().find(is_it).map(|timer| time_s(&timer["until"]));
        until.map_or(0.0, |until| until - time_s(&state["now"]))
    }

    /// Waits for a cure.
    #[track_caller]
    pub(crate) fn until_cured(&self, n: usize) {
        wait_for("the end of the cure", || (self.cure_left_s(n) <= 0.0).then_some(()));
    }

    /// The record of a club.
    #[track_caller]
    pub(crate) fn record(&self, n: usize) -> Value {
        self.daemon().get(&format!("/api/v1/records/{}", id(n))).json()
    }

    /// The code on a club's ticket.
    #[track_caller]
    pub(crate) fn ticket(&self, n: usize) -> String {
        format!("BS1/C/{}", self.record(n)["token"].as_str().unwrap().to_uppercase())
    }

    /// Ends it all; the data folder, which stays as long as the walk.
    #[track_caller]
    pub(crate) fn end(mut self) -> Ended {
        assert!(self.daemon.take().unwrap().terminate().success());
        Ended { data: self.table.data.clone(), _table: self.table }
    }
}

/// A bench that was switched off.
pub(crate) struct Ended {
    /// Its data folder.
    pub(crate) data: PathBuf,
    _table: Table,
}

fn id(n: usize) -> String {
    format!("{ORDER}/{}", n + 1)
}

fn time_s(text: &Value) -> f64 {
    let at: jiff::Timestamp = text.as_str().unwrap().parse().unwrap();
    at.as_second() as f64 + f64::from(at.subsec_microsecond()) / 1e6
}
