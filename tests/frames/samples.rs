//! Every sample frame gives what stands beside it, alone and glued to its like.

use serde_json::{Value, json};

use benchscribe::instrument::format::Frame;
use benchscribe::instrument::identify::{Observation, Verdict, detect_parity, identify, strip_parity};

use super::support::{decode, format, hex, samples};

/// The fields of a frame under the names of the samples.
fn fields(frame: &Frame) -> Value {
    json!({
        "value": frame.value.map(|value| value.to_string()),
        "unit": frame.unit.map(|unit| unit.as_str()),
        "stable": frame.stable,
        "overload": frame.overload,
        "net_gross": frame.net_gross.and_then(|mass| mass.as_str()),
    })
}

fn text<'a>(sample: &'a Value, key: &str) -> &'a str {
    sample[key].as_str().unwrap_or_default()
}

/// Family, settings and bytes to decode a sample with; a parity bit that can be proved is stripped.
fn prepared(sample: &Value) -> (String, String, Vec<u8>) {
    let mut bytes = hex(text(sample, "frame_bytes_hex"));
    let mut family = sample["decode_as"].as_str().unwrap_or(text(sample, "family")).to_owned();
    let settings = sample["settings"].as_object().into_iter().flatten();
    let settings =
        settings.map(|(key, value)| format!("{key}={}", value.as_str().unwrap())).collect::<Vec<_>>().join(",");
    if family == "auto" {
        let many = bytes.repeat(8);
        let Verdict::Sure(found) = identify(&[Observation { line: None, bytes: &many }]).verdict else {
            panic!("{sample}")
        };
        family = found.family;
        bytes = strip_parity(&bytes, found.stripped.unwrap());
    }
    (family, settings, bytes)
}

#[test]
fn each_sample_gives_what_stands_beside_it() {
    for sample in samples() {
        let (family, settings, bytes) = prepared(&sample);
        let got = decode(&format(&family, &settings), &bytes);
        let frames: Vec<_> = got.iter().filter_map(|got| got.frame()).collect();
        if sample["reject"] == json!(true) {
            assert!(frames.is_empty() && !got.is_empty(), "{sample} {got:?}");
            continue;
        }
        let [frame] = frames.as_slice() else { panic!("{sample} {got:?}") };
        assert_eq!(fields(frame), sample["expect"], "{sample}");
        let channels: serde_json::Map<_, _> =
            frame.channels.iter().map(|(name, number)| (name.to_owned(), json!(number.as_str()))).collect();
        assert_eq!(Value::Object(channels), sample.get("channels").cloned().unwrap_or(json!({})), "{sample}");
        let code = frame.code.as_ref().map(|code| {
            let mut line = json!({ "symbology": code.symbology });
            code.identifiers.iter().for_each(|(key, content)| line[key] = json!(content));
            line
        });
        assert_eq!(code.unwrap_or_default(), sample["code"], "{sample}");
    }
}

#[test]
fn samples_one_after_another_give_each_its_frame() {
    for sample in samples().iter().filter(|sample| sample["reject"].is_null() && sample["id"] != "o48") {
        let (family, settings, bytes) = prepared(sample);
        let got = decode(&format(&family, &settings), &bytes.repeat(5));
        assert_eq!(got.len(), 5, "{sample} {got:?}");
        for (place, item) in got.iter().enumerate() {
            assert_eq!(item.frame().unwrap().at_byte, u64::try_from(place * bytes.len()).unwrap());
        }
    }
}

#[test]
fn the_parity_of_the_sample_that_shows_it_is_proved() {
    for sample in samples().iter().filter(|sample| !sample["detect_parity"].is_null()) {
        let bytes = hex(text(sample, "frame_bytes_hex")).repeat(8);
        let parity = format!("{:?}", detect_parity(&bytes).unwrap()).to_lowercase();
        assert_eq!(parity, text(sample, "detect_parity"));
    }
}

#[test]
fn each_family_is_identified_from_its_own_samples_and_never_taken_for_another() {
    for sample in samples().iter().filter(|sample| sample["reject"].is_null() && sample["decode_as"].is_null()) {
        let bytes = hex(text(sample, "frame_bytes_hex")).repeat(8);
        match identify(&[Observation { line: None, bytes: &bytes }]).verdict {
            Verdict::Sure(found) => assert_eq!(found.family, text(sample, "family"), "{sample}"),
            Verdict::NotSure(why) => panic!("{sample}: {why}"),
        }
    }
}

#[test]
fn each_family_is_identified_behind_a_parity_bit_that_shows() {
    let with_parity = |byte: &u8, odd: u32| if byte.count_ones() % 2 == odd { *byte } else { byte | 0x80 };
    for sample in samples().iter().filter(|sample| sample["reject"].is_null() && sample["decode_as"].is_null()) {
        let bytes = hex(text(sample, "frame_bytes_hex")).repeat(10);
        if bytes.iter().any(|byte| *byte >= 0x80) {
            continue; // needs eight bits, so it never runs with seven and parity
        }
        for odd in [0, 1] {
            let bytes: Vec<_> = bytes.iter().map(|byte| with_parity(byte, odd)).collect();
            match identify(&[Observation { line: None, bytes: &bytes }]).verdict {
                Verdict::Sure(found) => assert_eq!(found.family, text(sample, "family"), "{sample}"),
                Verdict::NotSure(why) => panic!("{sample}: {why}"),
            }
        }
    }
}
