//! Identification on a line simulated down to its bits: every family, at every usual speed, with every parity.
//!
//! Frames are the public samples of `captures/frames.json` and the same with other digits. What is right is known: it is what
//! the simulated instrument was set to. `BENCHSCRIBE_IDENTIFY_ALL=1` runs every combination, else each third.

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

#[test]
fn nearly_every_instrument_is_known_within_ten_seconds_and_none_is_taken_for_another() {
    let all = std::env::var_os("BENCHSCRIBE_IDENTIFY_ALL").is_some();
    let samples = samples();
    let mut unsure: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let (mut right, mut tried, mut wrong) = (0_u32, 0_u32, Vec::new());
    for (number, sample) in samples.iter().enumerate() {
        let same = |other: &&Sample| other.family == sample.family && other.settings == sample.settings;
        let others: Vec<Sample> = samples.iter().filter(same).cloned().collect();
        for (place, line) in lines(sample).into_iter().enumerate() {
            if !all && (place + number) % 7 != 0 {
                continue;
            }
            if let Ok(only) = std::env::var("ONLY") && only != format!("{} {line}", sample.id) { continue }
            let mut chance = Chance(u64::try_from(number * 1000 + place).unwrap());
            let found = identified(&instrument(sample, &others, line, &mut chance), 10.0);
            tried += 1;
            match found {
                Finding::Sure(found) if found.format.family == sample.family && found.line == line => right += 1,
                Finding::Sure(found) => {
                    wrong.push(format!("{} at {line}: said {} at {}", sample.id, found.format.family, found.line));
                }
                Finding::NotSure { why, .. } => {
                    unsure.entry(sample.id.clone()).or_default().push(format!("{line}: {why}"));
                }
            }
        }
    }
    println!("{right} of {tried} right ({:.1} %), {} unsure, {} wrong", 100.0 * f64::from(right) / f64::from(tried),
        tried - right, wrong.len());
    for (id, why) in &unsure {
        println!("  {id}: {} times unsure, for instance {}", why.len(), why[0]);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(f64::from(right) >= 0.95 * f64::from(tried));
}
