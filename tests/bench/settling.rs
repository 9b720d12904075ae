//! What one sample costs: a beam and a scale through placement after placement, mean over some hundred thousand samples.
//!
//! Plain timing without a framework. Run it with `cargo bench --bench settling`; it prints and judges: above
//! 5 µs a sample it fails.

#![expect(
    clippy::print_stdout,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a benchmark reads the clock, prints and fails loudly"
)]

use std::hint::black_box;
use std::time::Instant;

use benchscribe::measurement::sample::Sample;
use benchscribe::measurement::settling::{Settling, SettlingLimits};

/// The design's limit for one sample, µs.
const LIMIT_US: f64 = 5.0;
const SAMPLES: u32 = 400_000;

/// Eight seconds of a load that rings and wanders, then four of an empty pan; the worst case keeps the ladder climbing.
fn session(rate_hz: f64) -> Vec<Sample> {
    (0..SAMPLES)
        .map(|i| {
            let t_s = f64::from(i) / rate_hz;
            let load = if t_s % 12.0 > 4.0 { 320.0 + 3.0 * (t_s * 7.0).sin() + 0.2 * (t_s * 1.3).sin() } else { 0.0 };
            Sample { t_s, values: [load, 700.0 * load] }
        })
        .collect()
}

fn main() {
    for (name, limits, rate_hz) in [
        ("scale at 20 Hz", SettlingLimits::for_scale(0.01, 20.0, 2000.0), 20.0),
        ("beam at 20 Hz", SettlingLimits::for_beam(20.0), 20.0),
        ("beam at 80 Hz", SettlingLimits::for_beam(80.0), 80.0),
    ] {
        let samples = session(rate_hz);
        let mut settling = Settling::new(limits);
        let begin = Instant::now();
        for sample in &samples {
            black_box(settling.push(black_box(sample), &[]));
        }
        let us = begin.elapsed().as_secs_f64() * 1e6 / f64::from(SAMPLES);
        println!("{name}: {us:.2} µs a sample");
        if us > LIMIT_US {
            panic!("{name} takes {us:.2} µs a sample, expected at most {LIMIT_US}");
        }
    }
}
