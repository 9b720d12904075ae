//! A thermometer on the bench: its temperature stands with each reading and each calibration, as long as it is fresh.
//!
//! Sentences are those of NMEA-0183, XDR, transducer type C (temperature) with unit C (Celsius), from memory; the check is
//! the exclusive or of the bytes between `$` and `*`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(missing_docs, reason = "a test is no library")]

mod desk_bench;

use benchscribe::work_order::event::Change;
use desk_bench::{CONFIG, DeskBench, Stored};
use serde_json::json;

const THERMOMETER: &str = "\n[[instrument]]\nid = \"air\"\nkind = \"thermometer\"\nport = \"/dev/null\"\n\
                           format = \"nmea-xdr-temperature\"\nchannel = \"AIR\"\n";

fn sentence(groups: &str) -> Vec<u8> {
    let body = format!("IIXDR,{groups}");
    let check = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{check:02X}\r\n").into_bytes()
}

fn air_of_last_reading(stored: &Stored) -> Option<f64> {
    match &stored.of("reading_captured").last().unwrap().change {
        Change::ReadingCaptured(captured) => captured.air_c,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_temperature_of_the_air_stands_with_readings_and_calibrations_while_it_is_fresh() {
    let mut bench = DeskBench::new(&format!("{CONFIG}{THERMOMETER}"));
    let mut stored = bench.begin();
    bench.frame(3, &sentence("C,35.0,C,OVEN,C,21.4,C,AIR,A,1.0,D,TILT"), &mut stored);
    bench.weigh("scale", [203.4, 0.0], [0.0; 2], &mut stored);
    assert_eq!(air_of_last_reading(&stored), Some(21.4));
    let shown = bench.snapshot().instruments[3].clone();
    assert_eq!((shown.readings[0].text.as_str(), shown.readings[0].unit), ("21.4 °C", "Cel"));
    let begun = |stored: &Stored| match &stored.of("calibration_begun").last().unwrap().change {
        Change::CalibrationBegun { conditions, .. } => conditions.temperature_c,
        other => panic!("{other:?}"),
    };
    bench.command(json!({"command": "operator", "operator": "K7"}), &mut stored).unwrap();
    bench.command(json!({"command": "calibrate_begin", "instrument": "scale"}), &mut stored).unwrap();
    assert_eq!(begun(&stored), Some(21.4));
    // What a person has read counts for more.
    bench.command(json!({"command": "calibrate_cancel", "instrument": "scale"}), &mut stored).unwrap();
    let by_hand = json!({"command": "calibrate_begin", "instrument": "scale", "temperature_c": 20.5});
    bench.command(by_hand, &mut stored).unwrap();
    assert_eq!(begun(&stored), Some(20.5));
    bench.command(json!({"command": "calibrate_cancel", "instrument": "scale"}), &mut stored).unwrap();
    // An old temperature is none, and one that no air has is said instead of kept.
    bench.wait(400.0);
    bench.weigh("scale", [203.4, 0.0], [0.0; 2], &mut stored);
    assert_eq!(air_of_last_reading(&stored), None);
    bench.frame(3, &sentence("C,214.0,C,AIR"), &mut stored);
    assert!(bench.snapshot().instruments[3].message.as_deref().unwrap().contains("no temperature of air"));
}
