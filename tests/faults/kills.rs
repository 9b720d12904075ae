//! Power cuts at any instant: what the page has shown is in the journal, and no placement is captured twice.
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the daemon")]

use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::{Duration, Instant};

use serde_json::Value;
use simulators::Instrument;

use crate::support::daemon::{instrument, measured};
use crate::support::http::ask;
use crate::support::table::Table;
use crate::support::{Dice, assert_verified};

const SCALE: Instrument = Instrument::PartsScale;
/// Mass of the first part and how much heavier each next one is: no two are taken for one another.
const FIRST_G: f64 = 60.0;
const STEP_G: f64 = 1.9;

/// What the three threads know of each other.
#[derive(Default)]
struct Scene {
    /// Where the page is now.
    address: Mutex<Option<SocketAddr>>,
    /// Parts laid down so far, the one on the pan included.
    laid: AtomicU32,
    /// Captures shown: event id and what was shown of it.
    shown: Mutex<BTreeMap<String, String>>,
    /// Phase of the scale as shown last.
    phase: Mutex<String>,
    /// Set at the end.
    over: AtomicBool,
}

impl Scene {
    fn is_over(&self) -> bool {
        self.over.load(Ordering::Relaxed)
    }

    fn shown_count(&self) -> usize {
        self.shown.lock().unwrap().len()
    }

    fn phase(&self) -> String {
        self.phase.lock().unwrap().clone()
    }
}

fn mass_g(part: u32) -> f64 {
    FIRST_G + STEP_G * f64::from(part)
}

/// The hand: lays a new part down, waits until it is captured (or not), lifts it.
fn work(table: &Table, scene: &Scene, mut dice: Dice) {
    while !scene.is_over() {
        let before = scene.shown_count();
        table.lay_part(SCALE, mass_g(scene.laid.fetch_add(1, Ordering::Relaxed)));
        let wait = Instant::now();
        while scene.shown_count() == before && wait.elapsed() < Duration::from_millis(900) && !scene.is_over() {
            std::thread::sleep(Duration::from_millis(2));
        }
        // Sometimes it is lifted at once, sometimes it lies there through a restart.
        std::thread::sleep(dice.time(Duration::ZERO, Duration::from_millis(400)));
        table.bench.lift(SCALE);
        std::thread::sleep(dice.time(Duration::from_millis(100), Duration::from_millis(250)));
    }
}

/// The eyes: whatever the page shows is noted.
fn look(scene: &Scene) {
    while !scene.is_over() {
        let address = *scene.address.lock().unwrap();
        let answer = address.and_then(|address| ask(address, "GET", "/api/v1/state", &[], "").ok());
        // An answer that broke off was not shown.
        let state = answer.and_then(|reply| serde_json::from_str::<Value>(&reply.body).ok());
        if let Some(state) = state {
            for capture in state["captures"].as_array().unwrap() {
                let text = |key: &str| capture[key].as_str().unwrap().to_owned();
                scene.shown.lock().unwrap().insert(text("event"), text("text"));
            }
            *scene.phase.lock().unwrap() = instrument(&state, SCALE.name())["phase"].as_str().unwrap().to_owned();
        }
        std::thread::sleep(Duration::from_millis(4));
    }
}

/// Waits for the instant of a cut: any time, or just when something is about to be stored.
fn wait_for_the_cut(scene: &Scene, dice: &mut Dice) {
    let longest = Instant::now() + dice.time(Duration::from_millis(30), Duration::from_millis(2000));
    let aimed = dice.share() < 0.5;
    let before = scene.shown_count();
    let mut was_settling = false;
    while Instant::now() < longest {
        let phase = scene.phase();
        was_settling |= phase == "settling";
        if aimed && was_settling && (phase == "held" || scene.shown_count() > before) {
            return;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn what_was_shown_survives_any_number_of_power_cuts() {
    let kills: u32 = std::env::var("BENCHSCRIBE_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(30);
    let seed: u64 = std::env::var("BENCHSCRIBE_SEED").ok().and_then(|text| text.parse().ok()).unwrap_or(41);
    let table = Table::new(seed);
    let scene = Scene::default();
    let daemon = std::thread::scope(|scope| {
        scope.spawn(|| work(&table, &scene, Dice(seed + 1)));
        scope.spawn(|| look(&scene));
        // A failure of this thread must end the others.
        let end = End(&scene);
        let mut dice = Dice(seed);
        for _ in 0..kills {
            let daemon = table.daemon();
            *scene.address.lock().unwrap() = Some(daemon.address);
            wait_for_the_cut(&scene, &mut dice);
            daemon.kill();
        }
        let daemon = table.daemon();
        drop(end);
        daemon
    });
    let events = daemon.events_after(0);
    for (event, seq) in events.iter().zip(1_u64..) {
        assert_eq!(event["seq"], seq, "a gap in the journal");
    }
    let ids: BTreeSet<&str> = events.iter().map(|event| event["id"].as_str().unwrap()).collect();
    let shown = scene.shown.lock().unwrap().clone();
    let missing: Vec<_> = shown.iter().filter(|(id, _)| !ids.contains(id.as_str())).collect();
    assert!(missing.is_empty(), "seed {seed}: shown and not stored: {missing:?}");

    let laid = scene.laid.load(Ordering::Relaxed);
    let mut captured = BTreeSet::new();
    for event in events.iter().filter(|event| event["kind"] == "reading_captured") {
        let value = measured(event, "mass");
        let part = (0..laid).find(|part| (mass_g(*part) - value).abs() <= 0.15);
        let part = part.unwrap_or_else(|| panic!("seed {seed}: {value} g was never laid down: {event}"));
        assert!(captured.insert(part), "seed {seed}: {value} g was captured twice");
    }
    // Some lives are too short for a capture; if most were, the test would prove nothing.
    let least = usize::try_from(kills / 4).unwrap();
    assert!(captured.len() >= least, "seed {seed}: only {} of {laid} captured in {kills} lives", captured.len());
    assert!(shown.len() >= least, "seed {seed}: only {} shown", shown.len());
    let sessions = events.iter().filter(|event| event["kind"] == "session_started").count();
    assert_eq!(sessions, usize::try_from(kills).unwrap() + 1);
    daemon.kill();
    assert_verified(&table.data);
}

/// Ends the scene when it goes.
struct End<'a>(&'a Scene);

impl Drop for End<'_> {
    fn drop(&mut self) {
        self.0.over.store(true, Ordering::Relaxed);
    }
}
