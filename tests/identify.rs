//! Identification on a line simulated down to its bits: every family, at every usual speed, with every parity.
//!
//! Frames are the public samples of `captures/frames.json` and the same with other digits. What is right is known: it is what
//! the simulated instrument was set to. `BENCHSCRIBE_IDENTIFY_ALL=1` runs every combination, else each third.

#![expect(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a test prints its table, and one that meets the unexpected stops there"
)]

#[path = "identify/frames.rs"]
mod frames;
#[path = "identify/instrument.rs"]
mod instrument;
#[path = "identify/uart.rs"]
mod uart;

use std::collections::BTreeMap;

use benchscribe::instrument::format::{LineSettings, Mode, Parity};
use benchscribe::instrument::search::Finding;

use frames::{Chance, Sample, samples, varied};
use instrument::{Instrument, Manner, identified};

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

/// The share that must be right of the instruments that send by themselves: the goal of the design.
const OF_SENDING: f64 = 0.95;
/// What is reached today of all, lines with eight bits and a parity that must be asked included (3 % of those, half of
/// the instruments that send on a key). The goal is 0.95; this only keeps what is there.
const OF_ALL: f64 = 0.8;

#[test]
fn an_instrument_that_sends_is_known_within_ten_seconds_and_none_is_taken_for_another() {
    let all = std::env::var_os("BENCHSCRIBE_IDENTIFY_ALL").is_some();
    let samples = samples();
    let mut counts: BTreeMap<&str, Count> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (number, sample) in samples.iter().enumerate() {
        let same = |other: &&Sample| other.family == sample.family && other.settings == sample.settings;
        let others: Vec<Sample> = samples.iter().filter(same).cloned().collect();
        for (place, line) in lines(sample).into_iter().enumerate() {
            if !all && (place + number) % 5 != 0 {
                continue;
            }
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
            match identified(&instrument, 10.0) {
                Finding::Sure(found) if found.format.family == sample.family && found.line == line => count.right += 1,
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
    println!(
        "all: {right} of {tried} right, {:.1} %; {} wrong",
        100.0 * f64::from(right) / f64::from(tried),
        wrong.len()
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(counts["sends by itself"].share() >= OF_SENDING);
    assert!(f64::from(right) >= OF_ALL * f64::from(tried));
}
