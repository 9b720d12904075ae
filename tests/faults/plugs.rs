//! Plugs pulled and put back, silence, and restarts with a part on the pan: nothing is captured twice or missed.
#![expect(clippy::panic, reason = "a helper of a test fails the test")]
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the daemon")]

use std::time::Instant;

use serde_json::Value;
use simulators::{Fault, Instrument, Load};

use crate::support::daemon::{Daemon, measured};
use crate::support::table::{Table, bench_time};
use crate::support::{PATIENCE, assert_verified, wait_at_most, wait_for};

const SCALE: Instrument = Instrument::PartsScale;

/// Long enough, on the bench, for anything to be captured that would be.
const CAPTURED_BY_S: f64 = 6.0;

/// How often a part is laid down again because the machine starved its instrument.
const STARVED: u32 = 3;

/// Lays a part down, waits until it is captured, and compares.
///
/// Where the journal says that the instrument was silent meanwhile, although no test made it so, the machine gave it no
/// processor: then, and only then, the part is laid down again.
#[track_caller]
fn lay_and_capture(table: &Table, daemon: &Daemon, mass_g: f64) {
    let before = daemon.captured(SCALE.name()).len();
    for _ in 0..STARVED {
        let seq = daemon.state()["seq"].as_u64().unwrap();
        table.lay_part(SCALE, mass_g);
        let captured = wait_at_most(PATIENCE, || {
            let captured = daemon.captured(SCALE.name());
            (captured.len() > before)
                .then_some(Some(captured))
                .or_else(|| daemon.was_silent(SCALE.name(), seq).then_some(None))
        });
        match captured {
            Some(Some(captured)) => {
                assert_eq!(captured.len(), before + 1);
                let value = measured(&captured[before], "mass");
                assert!((value - mass_g).abs() <= 0.15, "{value} g captured, {mass_g} g laid");
                return;
            }
            Some(None) => table.lift(daemon, SCALE),
            None => panic!("{mass_g} g is not captured: {}\n{}", daemon.instrument(SCALE.name()), daemon.words()),
        }
    }
    panic!("the machine is too busy for this pace; set BENCHSCRIBE_PACE to less: {}", daemon.words());
}

/// The journal must not grow by a capture while the bench goes on for a while.
#[track_caller]
fn assert_nothing_is_captured(daemon: &Daemon) {
    let before = daemon.captured(SCALE.name()).len();
    std::thread::sleep(bench_time(CAPTURED_BY_S));
    assert_eq!(
        daemon.captured(SCALE.name()).len(),
        before,
        "captured again: {:?}",
        daemon.captured(SCALE.name()).last()
    );
}

#[test]
fn a_part_that_lay_there_over_a_restart_is_captured_once() {
    let table = Table::new(21);
    let mut daemon = table.ready_daemon();
    for (round, mass_g) in [203.2, 61.7, 50.4, 255.9].into_iter().enumerate() {
        lay_and_capture(&table, &daemon, mass_g);
        if round % 2 == 0 {
            daemon.kill();
        } else {
            assert!(daemon.terminate().success());
        }
        daemon = table.daemon();
        daemon.wait_instrument(SCALE.name(), "connected", |view| view["connected"] == true);
        assert_nothing_is_captured(&daemon);
        daemon.wait_instrument(SCALE.name(), "held or unknown", |view| {
            view["phase"] == "held" || view["phase"] == "unknown"
        });
        table.lift(&daemon, SCALE);
        lay_and_capture(&table, &daemon, mass_g);
        table.lift(&daemon, SCALE);
    }
    assert_verified(&table.data);
}

#[test]
fn another_part_laid_down_while_the_daemon_was_away_waits_until_it_is_laid_down_again() {
    let table = Table::new(22);
    let daemon = table.ready_daemon();
    lay_and_capture(&table, &daemon, 203.2);
    daemon.kill();
    table.bench.lift(SCALE);
    std::thread::sleep(bench_time(2.0));
    table.lay_part(SCALE, 88.8);
    std::thread::sleep(bench_time(2.0));
    let daemon = table.daemon();
    daemon.wait_phase(SCALE.name(), "unknown");
    assert_nothing_is_captured(&daemon);
    table.lift(&daemon, SCALE);
    lay_and_capture(&table, &daemon, 88.8);
}

#[test]
fn twenty_pulled_plugs_lose_and_double_nothing() {
    let table = Table::new(23);
    let daemon = table.ready_daemon();
    let mut mass_g = 60.0;
    for cycle in 0..20 {
        mass_g += 7.3;
        let part_stays = cycle % 2 == 0;
        let renamed = cycle % 4 >= 2;
        if part_stays {
            lay_and_capture(&table, &daemon, mass_g);
        }
        let seq = daemon.state()["seq"].as_u64().unwrap();
        let pulled = Instant::now();
        if renamed {
            table.bench.set_fault(SCALE, Fault::Renamed);
            let of_scale = |event: &Value| event["kind"] == "instrument_lost" && event["instrument"] == SCALE.name();
            let lost = || daemon.events_after(seq).into_iter().find(|event| of_scale(event));
            let reason = wait_for("the loss in the journal", lost)["reason"].clone();
            assert!(reason.as_str().unwrap().contains("plug the instrument in"), "{reason}");
        } else {
            table.bench.set_fault(SCALE, Fault::Unplugged);
            let view = daemon.wait_phase(SCALE.name(), "lost");
            let words = view["error"].as_str().unwrap();
            assert!(words.contains("; ") && words.contains("plug the instrument in"), "no remedy: {words}");
            assert_eq!(view["readings"].as_array().unwrap().len(), 0, "a lost instrument still shows a reading");
        }
        assert!(pulled.elapsed().as_secs_f64() < 2.0, "told after {:?}", pulled.elapsed());
        // The others go on: a beam that sends 80 times a second has just been heard.
        let heard = |view: &Value| view["connected"] == true && view["age_ms"].as_u64().is_some_and(|age| age < 2000);
        daemon.wait_instrument("beam", "heard", heard);
        table.bench.set_fault(SCALE, Fault::None);
        daemon.wait_instrument(SCALE.name(), "back", |view| view["connected"] == true && view["error"].is_null());
        if part_stays {
            assert_nothing_is_captured(&daemon);
        }
        table.lift(&daemon, SCALE);
        if cycle == 9 {
            table.bench.lay(Instrument::Beam, Load::Club { mass_g: 321.5, balance_mm: 870.0 }).unwrap();
            daemon.wait_captured("beam", 1);
        }
    }
    lay_and_capture(&table, &daemon, 209.1);
    assert_eq!(daemon.captured(SCALE.name()).len(), 11, "ten parts that stayed, and the last one");
    assert_eq!(daemon.captured("beam").len(), 1);
    // Each plug is told once. A busy machine may starve an instrument long enough to be told as silent: no plug.
    let told = |event: &Value| event["reason"].as_str().is_some_and(|reason| reason.contains("plug the instrument in"));
    let lost = daemon.events_after(0).into_iter().filter(|e| e["kind"] == "instrument_lost" && told(e)).count();
    assert_eq!(lost, 20, "{}", daemon.words());
    assert_verified(&table.data);
}

#[test]
fn a_silent_instrument_is_told_and_comes_back_by_itself() {
    let table = Table::new(24);
    let daemon = table.ready_daemon();
    for (instrument, reopens) in [(SCALE, false), (Instrument::ClubScale, false), (Instrument::Gauge, true)] {
        let name = instrument.name();
        table.bench.set_fault(instrument, Fault::Silence);
        let view = daemon.wait_phase(name, "lost");
        let words = view["error"].as_str().unwrap();
        assert!(words.contains("sends nothing any more; check power and cable"), "{words}");
        if reopens {
            // Long enough for the port to be closed and opened again; still nothing comes.
            std::thread::sleep(bench_time(13.0));
            let words = daemon.instrument(name)["error"].as_str().unwrap().to_owned();
            assert!(words.contains("nothing"), "{words}");
        }
        table.bench.set_fault(instrument, Fault::None);
        daemon.wait_phase(name, "empty");
    }
    // A scanner is silent most of the day, and is not lost by it.
    assert_eq!(daemon.instrument("scanner")["connected"], true);
    lay_and_capture(&table, &daemon, 203.2);
}
