//! Identification on a line simulated down to its bits: every family, at every usual speed, with every parity.
//!
//! Frames are the public samples of `captures/frames.json` and the same with other digits. What is right is known: it is what
//! the simulated instrument was set to. `BENCHSCRIBE_IDENTIFY_ALL=1` runs every combination, else each seventh.

#![expect(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test has its own clock, prints its table, and one that meets the unexpected stops there"
)]

#[path = "identify/frames.rs"]
mod frames;
#[path = "identify/instrument.rs"]
mod instrument;
#[path = "identify/on_ports.rs"]
mod on_ports;
#[path = "pty/mod.rs"]
mod pty;
#[path = "identify/uart.rs"]
mod uart;

use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use benchscribe::instrument::format::{LineSettings, Mode, Parity};
use benchscribe::instrument::search::Finding;

use frames::{Chance, Sample, samples, varied};
use instrument::{Instrument, Manner, identified};
use uart::Damaged;

const SPEEDS: [u32; 8] = [1200, 2400, 4800, 9600, 19_200, 38_400, 57_600, 115_200];

fn line(baud: u32, data_bits: u8, parity: Parity) -> LineSettings {
    LineSettings { baud, data_bits, parity, stop_bits: 1 }
}

/// The lines a family can run on: what needs eight bits never runs with seven.
fn lines(sample: &Sample) -> Vec<LineSettings> {
    let needs_eight = sample.bytes.iter().any(|byte| *byte >= 0x80);
    let seven = [(7, Parity::Even), (7, Parity::Odd)];
    let eight = [(8, Parity::None), (8, Parity::Even), (8, Parity::Odd)];
    let kinds = eight.into_iter().chain(seven.into_iter().filter(|_| !needs_eight));
    kinds.flat_map(|(bits, parity)| SPEEDS.map(|baud| line(baud, bits, parity))).collect()
}

fn instrument(sample: &Sample, others: &[Sample], line: LineSettings, chance: &mut Chance) -> Instrument {
    let format = sample.format();
    // Mostly the same kind of frame, now and then another of the family: moving, over range, net.
    let mut frame = || match chance.below(8) {
        0 => varied(&others[chance.below(others.len())], chance),
        _ => varied(sample, chance),
    };
    let frames = (0..120).map(|_| frame()).collect();
    let manner = match (format.mode, format.request) {
        (_, Some(request)) => Manner::Polled(request.bytes),
        (Mode::OnKey, None) => Manner::OnKey { every_s: 0.6 },
        _ => Manner::Streaming { every_s: if sample.family == "dual-cell-line" { 0.0125 } else { 0.1 } },
    };
    Instrument { line, frames, manner }
}

/// How many of an instrument's settings were found.
#[derive(Default)]
struct Count {
    tried: u32,
    right: u32,
    unsure: Vec<String>,
}

impl Count {
    fn share(&self) -> f64 {
        f64::from(self.right) / f64::from(self.tried.max(1))
    }
}

/// One test at a time: those on ports run against the world's clock, and would be late beside the others.
pub(crate) fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The share that must be right: the goal of the design.
const GOAL: f64 = 0.95;

/// Whether the answer is right. An adapter that hands damaged bytes on shows a line with eight bits and a parity as one
/// without: then it is read well with the one as with the other.
fn is_right(found: LineSettings, line: LineSettings, damaged: Damaged) -> bool {
    let without_parity = LineSettings { parity: Parity::None, ..line };
    found == line || damaged == Damaged::HandedOn && line.data_bits == 8 && found == without_parity
}

/// Runs each `step`th combination of samples and lines, prints and asserts.
fn check_all(damaged: Damaged, step: usize) {
    let _alone = alone();
    let step = if std::env::var_os("BENCHSCRIBE_IDENTIFY_ALL").is_some() { 1 } else { step };
    let samples = samples();
    let mut counts: BTreeMap<&str, Count> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (number, sample) in samples.iter().enumerate() {
        let same = |other: &&Sample| other.family == sample.family && other.settings == sample.settings;
        let others: Vec<Sample> = samples.iter().filter(same).cloned().collect();
        for (place, line) in lines(sample).into_iter().enumerate().skip(number % step).step_by(step) {
            let mut chance = Chance(u64::try_from(number * 1000 + place).unwrap());
            let instrument = instrument(sample, &others, line, &mut chance);
            let manner = match instrument.manner {
                Manner::Streaming { .. } => "sends by itself",
                Manner::OnKey { .. } => "sends when its key is pressed",
                _ if line.data_bits == 8 && line.parity != Parity::None => "must be asked, 8 bits and parity",
                _ => "must be asked",
            };
            let count = counts.entry(manner).or_default();
            count.tried += 1;
            match identified(&instrument, damaged, 10.0) {
                Finding::Sure(found) if found.format.family == sample.family && is_right(found.line, line, damaged) => {
                    count.right += 1;
                }
                Finding::Sure(found) => {
                    wrong.push(format!("{} at {line}: said {} at {}", sample.id, found.format.family, found.line));
                }
                Finding::NotSure { why, .. } => count.unsure.push(format!("{} at {line}: {why}", sample.id)),
            }
        }
    }
    for (manner, count) in &counts {
        println!("{manner}: {} of {} right, {:.1} %", count.right, count.tried, 100.0 * count.share());
        count.unsure.iter().for_each(|why| println!("  {why}"));
    }
    let (right, tried) = counts.values().fold((0, 0), |(right, tried), one| (right + one.right, tried + one.tried));
    let share = f64::from(right) / f64::from(tried);
    println!("all: {right} of {tried} right, {:.1} %; {} wrong", 100.0 * share, wrong.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(share >= GOAL);
}

#[test]
fn an_instrument_is_known_within_ten_seconds_and_none_is_taken_for_another() {
    check_all(Damaged::Dropped, 7);
}

#[test]
fn the_same_on_an_adapter_that_hands_damaged_bytes_on() {
    check_all(Damaged::HandedOn, 13);
}

#[test]
fn what_no_format_describes_is_never_taken_for_one() {
    let _alone = alone();
    let text = |texts: &[&str]| texts.iter().map(|text| text.as_bytes().to_vec()).collect::<Vec<_>>();
    let mut chance = Chance(7);
    let noise = (0..40).map(|_| (0..17).map(|_| u8::try_from(chance.below(256)).unwrap()).collect()).collect();
    let senders: Vec<(&str, Vec<Vec<u8>>)> = vec![
        ("noise", noise),
        ("a row of numbers", text(&["12.3;45.6;7.8\r\n", "12.4;45.1;7.9\r\n"])),
        ("bare whole numbers", text(&["1234\r\n", "1235\r\n", "998\r\n"])),
        ("a thermometer", text(&["T=23.5C RH=40%\r\n", "T=23.6C RH=41%\r\n"])),
        ("a modem", text(&["AT\r\r\nOK\r\n", "RING\r\n"])),
        ("a line of a known shape with a wrong checksum", text(&["$WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*11\r\n"])),
        ("words", text(&["reading no 12 is not stable yet\r\n", "please wait\r\n"])),
        ("counters", (0..40_u8).map(|count| vec![0xa5, count, 0x10, count ^ 0x10, 0x5a]).collect()),
    ];
    for (name, frames) in senders {
        for line in [line(9600, 8, Parity::None), line(2400, 7, Parity::Even), line(38_400, 8, Parity::Even)] {
            for damaged in [Damaged::Dropped, Damaged::HandedOn] {
                let instrument =
                    Instrument { line, frames: frames.clone(), manner: Manner::Streaming { every_s: 0.1 } };
                if let Finding::Sure(found) = identified(&instrument, damaged, 10.0) {
                    assert_eq!("not sure", found.format.family, "{name} at {line}");
                }
            }
        }
    }
}
