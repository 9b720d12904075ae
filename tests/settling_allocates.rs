//! Settling allocates nothing for a sample, in whatever state it is: memory is taken once, when it is made.
//!
//! Each detector (scale, beam with block means, beam without, gauge) is led through every state and back; the allocations are
//! counted by a counting allocator that is not ours.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeSet;
use std::mem::{Discriminant, discriminant};

use benchscribe::measurement::sample::{Expectation, Sample};
use benchscribe::measurement::settling::{Change, Phase, Settling, SettlingLimits};

/// Loads in grams (or degrees of lie) with their seconds, and how much they move.
const DAY: [(f64, f64, f64); 17] = [
    (203.0, 3.0, 0.0), // unknown: it lay there at the start
    (0.0, 4.0, 0.0),   // empty, the zero found
    (60.0, 4.0, 0.0),  // placed, settled, captured
    (75.0, 9.0, 6.0),  // disturbed, moving too long
    (60.0, 3.0, 0.0),  // restored
    (64.0, 4.0, 0.0),  // changed, captured again
    (0.0, 4.0, 0.0),   // removed
    (7.0, 4.0, 0.0),   // too light
    (0.0, 4.0, 0.0),   // found again
    (-40.0, 2.0, 0.0), // lost
    (0.0, 4.0, 0.0),   // found
    (60.0, 9.0, 7.0),  // never rests
    (0.0, 3.0, 0.0),
    (62.0, 0.8, 0.0), // on and off before it settles
    (0.0, 3.0, 0.0),
    (61.0, 4.0, 0.0),
    (0.0, 3.0, 0.0),
];

/// The samples of the day, with a spike now and then and a pause.
/// The second channel is so many times the first.
fn samples(rate_hz: f64, second: f64) -> Vec<Sample> {
    let (mut t_s, mut samples) = (0.0, Vec::new());
    for (load, seconds, moves) in DAY {
        let until_s = t_s + seconds;
        while t_s < until_s {
            t_s += 1.0 / rate_hz;
            let ripple = 0.005 * (31.0 * t_s).sin() + moves * (0.9 * t_s).sin();
            let spike = if samples.len() % 97 == 96 { -3.0 * load } else { 0.0 };
            samples.push(Sample { t_s, values: [load + ripple + spike, second * (load + ripple)] });
        }
    }
    t_s += 5.0;
    samples.push(Sample { t_s, values: [0.0, 0.0] });
    samples
}

fn name(change: &Change) -> &'static str {
    match change {
        Change::Placed { .. } => "placed",
        Change::Progress { .. } => "progress",
        Change::MovingTooLong { .. } => "moving",
        Change::ZeroUnsure { .. } => "zero unsure",
        Change::Captured(_) => "captured",
        Change::Changed { .. } => "changed",
        Change::Removed { .. } => "removed",
        Change::Disturbed { .. } => "disturbed",
        Change::Restored { .. } => "restored",
        Change::TooLight { .. } => "too light",
        Change::ZeroLost { .. } => "zero lost",
        Change::ZeroFound { .. } => "zero found",
    }
}

#[track_caller]
fn check(limits: SettlingLimits, (rate_hz, second): (f64, f64), expected: &[Expectation], unseen: &[&str]) {
    let samples = samples(rate_hz, second);
    let mut settling = Settling::new(limits);
    let mut changes = Vec::with_capacity(10_000);
    let mut phases: Vec<Discriminant<Phase>> = Vec::with_capacity(100_000);
    let counted = allocation_counter::measure(|| {
        for sample in &samples {
            changes.extend(settling.push(sample, expected));
            phases.push(discriminant(&settling.phase()));
        }
    });
    assert_eq!((counted.count_total, counted.bytes_total), (0, 0));
    // The day led everywhere, or the count would prove nothing.
    let seen: BTreeSet<&str> = changes.iter().map(name).collect();
    let all = [
        "placed",
        "progress",
        "moving",
        "captured",
        "changed",
        "removed",
        "disturbed",
        "restored",
        "too light",
        "zero lost",
        "zero found",
    ];
    let missing: Vec<&str> = all.into_iter().filter(|kind| !seen.contains(kind) && !unseen.contains(kind)).collect();
    assert!(missing.is_empty(), "{missing:?} were not seen");
    let phases: Vec<Discriminant<Phase>> = phases.into_iter().fold(Vec::new(), |mut seen, phase| {
        if !seen.contains(&phase) {
            seen.push(phase);
        }
        seen
    });
    assert_eq!(phases.len(), 5, "unknown, empty, settling, held, disturbed");
    settling.resume(changes.iter().find_map(|c| if let Change::Captured(c) = c { Some(*c) } else { None }).unwrap());
}

#[test]
fn a_scale_allocates_nothing_for_a_sample() {
    check(SettlingLimits::for_scale(0.01, 10.0, 2000.0), (10.0, 0.0), &[], &[]);
    check(SettlingLimits::for_scale(0.1, 20.0, 2000.0), (20.0, 0.0), &[Expectation { lo: 59.0, hi: 61.0 }], &[]);
}

#[test]
fn a_beam_allocates_nothing_for_a_sample_with_and_without_block_means() {
    check(SettlingLimits::for_beam(20.0), (20.0, 300.0), &[], &[]);
    check(SettlingLimits::for_beam(80.0), (80.0, 300.0), &[Expectation { lo: 50.0, hi: 70.0 }], &[]);
}

/// Its arms know no load below nothing.
#[test]
fn a_gauge_allocates_nothing_for_a_sample() {
    check(SettlingLimits::for_gauge(0.01, 10.0), (10.0, 0.5), &[], &["zero lost"]);
}
