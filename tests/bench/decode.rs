//! How fast each family is decoded, in MB/s and as a ratio to `memchr` over the same bytes in the same run.
//!
//! `cargo bench --bench decode` (release). Printed, not asserted: the figures are this machine's. That a frame with a
//! number costs no allocation is asserted.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a benchmark that meets the unexpected stops there"
)]
#![expect(clippy::disallowed_methods, reason = "a benchmark measures real time")]

#[path = "../fuzz_in_tree/wire.rs"]
#[expect(dead_code, reason = "the fuzzing needs more of it")]
mod wire;

use std::hint::black_box;
use std::io::Write as _;
use std::sync::Arc;
use std::time::{Duration, Instant};

use benchscribe::instrument::format::{Decoder, Item};
use wire::{FAMILIES, Family, Measures, Shown};

/// Bytes a family; a day of a scale at ten readings a second is four times this.
const BYTES: usize = 4 << 20;
/// Pieces as a port reads them.
const PIECE: usize = 1024;
/// The best of so many runs counts.
const RUNS: usize = 3;

fn stream(family: &Family, bytes: usize) -> Vec<u8> {
    let mut stream = Vec::with_capacity(bytes + 64);
    let mut step = 0_i32;
    while stream.len() < bytes {
        step = (step + 7919) % 9000;
        let cells = if family.measures == Measures::Cells { 50 } else { 1 };
        stream.extend((family.encode)(Shown { first: step * cells, second: step / 2, moving: step % 5 == 0 }));
    }
    stream
}

/// Decodes everything; how many frames and how many refusals came.
fn decode(decoder: &mut Decoder, stream: &[u8]) -> (u64, u64) {
    let (mut frames, mut refused) = (0, 0);
    let mut take = |item: Item<'_>| match black_box(item) {
        Item::Frame(..) => frames += 1,
        Item::Refused { .. } => refused += 1,
    };
    for piece in stream.chunks(PIECE) {
        decoder.push(piece, &mut take);
    }
    decoder.idle(&mut take);
    (frames, refused)
}

fn best(mut work: impl FnMut()) -> Duration {
    let time = |_| {
        let start = Instant::now();
        work();
        start.elapsed()
    };
    (0..RUNS).map(time).min().unwrap()
}

fn main() {
    let mut out = std::io::stdout().lock();
    let mut line = |text: String| writeln!(out, "{text}").unwrap();
    if cfg!(debug_assertions) {
        line("this is not a release build; the figures say nothing".to_owned());
    }
    line(format!(
        "{:<38} {:>8} {:>10} {:>9} {:>9} {:>12}",
        "family", "MB/s", "memchr", "ratio", "ns/frame", "allocations"
    ));
    for family in FAMILIES {
        let format = Arc::new(family.instrument().format);
        let stream = stream(family, BYTES);
        let mut decoder = Decoder::new(Arc::clone(&format));
        let mut counts = (0, 0);
        let allocated = allocation_counter::measure(|| counts = decode(&mut decoder, &stream));
        assert_eq!((allocated.count_total, counts.1), (0, 0), "{}: allocations, refusals", family.name);
        let decoding = best(|| {
            decode(&mut Decoder::new(Arc::clone(&format)), black_box(&stream));
        });
        let scanning = best(|| {
            black_box(memchr::memchr_iter(b'\n', black_box(&stream)).count());
        });
        let megabytes = f64::from(u32::try_from(stream.len()).unwrap()) / 1e6;
        let frames = f64::from(u32::try_from(counts.0).unwrap());
        line(format!(
            "{:<38} {:>8.1} {:>10.0} {:>9.4} {:>9.0} {:>12}",
            [family.name, family.settings].join(" "),
            megabytes / decoding.as_secs_f64(),
            megabytes / scanning.as_secs_f64(),
            scanning.as_secs_f64() / decoding.as_secs_f64(),
            decoding.as_secs_f64() * 1e9 / frames,
            allocated.count_total,
        ));
    }
}
