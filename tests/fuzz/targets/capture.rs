//! Any bytes at any pace through a scale's whole channel: nothing is captured that is not a finite load within its
//! capacity, and nothing stops it.
#![no_main]

use std::sync::{Arc, LazyLock};

use benchscribe::bench::channel::{Channel, Seen};
use benchscribe::config::bench_file::{InstrumentSettings, read_bench};
use benchscribe::instrument::format::{Decoder, Item};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::event::EventId;
use libfuzzer_sys::fuzz_target;

const BENCH: &str = r#"
site = "s"
bench = "b"
[[instrument]]
id = "scale"
kind = "scale"
port = "p"
format = "plain-value-unit"
resolution = "0.1 g"
capacity = "1000 g"
"#;

static SCALE: LazyLock<InstrumentSettings> =
    LazyLock::new(|| read_bench("fuzz", BENCH).expect("it is sound").instruments.remove(0));

fuzz_target!(|input: &[u8]| {
    let settings = SCALE.clone();
    let mut decoder = Decoder::new(Arc::new(settings.format.clone()));
    let mut channel = Channel::new(settings);
    channel.found(None);
    channel.calibration_event = Some(EventId::new(1, 1, 0));
    let mut t_s = 0.0;
    // The first byte of each piece says how much later it comes.
    for piece in input.chunks(17) {
        let [pause, bytes @ ..] = piece else { continue };
        t_s += f64::from(*pause) / 200.0;
        decoder.push(bytes, &mut |item| {
            let Item::Frame(frame, raw) = item else { return };
            t_s += 1e-6;
            if let Seen::Captured(captured) = channel.frame(Stamp { t_s, at_us: 0 }, &frame, raw, &[]) {
                let (captured, _) = *captured;
                for measured in captured.measured {
                    assert!(measured.value.is_finite() && measured.u.is_finite() && measured.value <= 1001.0);
                }
            }
        });
    }
});
