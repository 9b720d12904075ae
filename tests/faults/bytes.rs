//! Noise on the line: lost, doubled, cut and flipped frames, and foreign bytes between them. A value may be missed, it may
//! never be wrong.

use simulators::{Fault, Instrument, Load};

use crate::support::daemon::{Daemon, measured};
use crate::support::table::{Table, bench_time};
use crate::support::{assert_verified, wait_at_most};

/// Longest time, on the bench, that a part lies on a noisy instrument.
const PATIENCE_S: f64 = 12.0;
/// How many parts are laid down in each noise.
const PARTS: u32 = 8;

/// What became of the parts.
#[derive(Debug, Default, PartialEq)]
struct Tally {
    laid: u32,
    captured: u32,
    doubles: u32,
    /// How many of them lay on an instrument that the machine gave no processor to.
    starved: u32,
    wrong: Vec<String>,
}

/// Lays parts of different mass on an instrument.
///
/// `missed` are those before that were not captured; `wrong` says what is wrong with a capture of such a load.
fn lay_parts(
    table: &Table,
    daemon: &Daemon,
    instrument: Instrument,
    missed: &mut Vec<Load>,
    load: impl Fn(u32) -> Load,
    wrong: impl Fn(&serde_json::Value, Load) -> Option<String>,
) -> Tally {
    let name = instrument.name();
    let mut tally = Tally::default();
    for part in 0..PARTS {
        let load = load(part);
        let seq = daemon.state()["seq"].as_u64().unwrap();
        let captured = || {
            let events = daemon.events_after(seq).into_iter();
            events.filter(|e| e["kind"] == "reading_captured" && e["instrument"] == name).collect::<Vec<_>>()
        };
        table.bench.lay(instrument, load).unwrap();
        wait_at_most(bench_time(PATIENCE_S), || (!captured().is_empty()).then_some(()));
        // A little longer, for what is captured a second time.
        std::thread::sleep(bench_time(3.0));
        table.bench.lift(instrument);
        wait_at_most(bench_time(PATIENCE_S), || (daemon.instrument(name)["phase"] == "empty").then_some(()));
        let captured = captured();
        tally.laid += 1;
        tally.starved += u32::from(daemon.was_silent(name, seq));
        let mut of_this = 0;
        for event in &captured {
            let Some(what) = wrong(event, load) else {
                of_this += 1;
                continue;
            };
            // On a busy machine a part that lay there before may be captured only now, and is as right as ever.
            match missed.iter().position(|before| wrong(event, *before).is_none()) {
                Some(late) => {
                    missed.swap_remove(late);
                }
                None => tally.wrong.push(what),
            }
        }
        tally.captured += u32::from(of_this > 0);
        tally.doubles += u32::saturating_sub(of_this, 1);
        if of_this == 0 {
            missed.push(load);
        }
    }
    tally
}

fn noises() -> [(&'static str, Fault, bool); 6] {
    // A share of a twentieth to a fifth is a very bad line; whether something must be refused is the last entry.
    [
        ("lost", Fault::LostFrames { share: 0.2 }, false),
        ("doubled", Fault::DoubledFrames { share: 0.2 }, false),
        ("foreign", Fault::ForeignBytes { share: 0.2 }, true),
        ("flips", Fault::BitFlips { share: 0.05 }, true),
        ("flips, many", Fault::BitFlips { share: 0.2 }, true),
        ("cut", Fault::CutFrames { share: 0.1 }, true),
    ]
}

fn check(
    seed: u64,
    instrument: Instrument,
    load: impl Fn(u32) -> Load,
    wrong: impl Fn(&serde_json::Value, Load) -> Option<String>,
) {
    let table = Table::new(seed);
    let daemon = table.ready_daemon();
    let name = instrument.name();
    let mut all = Vec::new();
    let mut missed = Vec::new();
    for (noise, fault, must_refuse) in noises() {
        let refused = daemon.instrument(name)["refused"].as_u64().unwrap();
        table.bench.set_fault(instrument, fault);
        let tally = lay_parts(&table, &daemon, instrument, &mut missed, &load, &wrong);
        table.bench.set_fault(instrument, Fault::None);
        daemon.wait_phase(name, "empty");
        let refused = daemon.instrument(name)["refused"].as_u64().unwrap() - refused;
        all.push((noise, refused, tally, must_refuse));
    }
    for (noise, refused, tally, must_refuse) in &all {
        assert!(tally.wrong.is_empty(), "{name}, {noise}: {all:#?}");
        assert!(!must_refuse || *refused > 0, "{name}, {noise}: nothing was refused: {all:#?}");
        // A noisy line may cost a capture, it must not cost them all.
        assert!(tally.captured + tally.starved >= PARTS / 2, "{name}, {noise}: {all:#?}");
        // Frames that are whole and right, only fewer or more of them, must not look like a part laid down again.
        assert!(*must_refuse || tally.doubles == 0, "{name}, {noise}: captured twice: {all:#?}");
        assert!(tally.doubles <= 1, "{name}, {noise}: captured twice too often: {all:#?}");
    }
    assert_verified(&table.data);
}

fn differs(what: &str, value: f64, expected: f64, allowed: f64) -> Option<String> {
    // A scale's digits may be off by exactly what is allowed; binary fractions must not decide that.
    ((value - expected).abs() > allowed + 1e-6).then(|| format!("{what} {value}, laid {expected}"))
}

#[test]
fn a_scale_on_a_noisy_line_is_never_wrong() {
    let load = |part| Load::Part { mass_g: 48.3 + 21.7 * f64::from(part) };
    check(31, Instrument::PartsScale, load, |event, load| match load {
        Load::Part { mass_g } => differs("mass", measured(event, "mass"), mass_g, 0.15),
        _ => None,
    });
}

#[test]
fn an_asked_scale_on_a_noisy_line_is_never_wrong() {
    let load = |part| Load::Part { mass_g: 301.2 + 13.1 * f64::from(part) };
    check(32, Instrument::ClubScale, load, |event, load| match load {
        Load::Part { mass_g } => differs("mass", measured(event, "mass"), mass_g, 0.2),
        _ => None,
    });
}

#[test]
fn a_beam_on_a_noisy_line_is_never_wrong() {
    let load = |part| Load::Club { mass_g: 305.6 + 9.4 * f64::from(part), balance_mm: 850.0 - 6.0 * f64::from(part) };
    check(33, Instrument::Beam, load, |event, load| match load {
        Load::Club { mass_g, balance_mm } => {
            let (mass, balance) = (measured(event, "mass"), measured(event, "balance"));
            // The moment about the first cell, at 100 mm.
            let moment = differs("moment", mass * (balance - 100.0), mass_g * (balance_mm - 100.0), 100.0);
            differs("mass", mass, mass_g, 0.3).or(moment)
        }
        _ => None,
    });
}

#[test]
fn a_gauge_on_a_noisy_line_is_never_wrong() {
    let load = |part| Load::Angles { loft_deg: 20.5 + 1.3 * f64::from(part), lie_deg: 58.2 + 0.7 * f64::from(part) };
    check(34, Instrument::Gauge, load, |event, load| match load {
        Load::Angles { loft_deg, lie_deg } => {
            let lie = differs("lie", measured(event, "lie"), lie_deg, 0.1);
            differs("loft", measured(event, "loft"), loft_deg, 0.1).or(lie)
        }
        _ => None,
    });
}
