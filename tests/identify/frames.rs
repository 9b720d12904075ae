//! Streams of frames for each family: the public samples, and the same with other digits.

use std::sync::Arc;

use benchscribe::instrument::format::{Decoder, Format, Item};
use serde_json::Value;

/// Chance with a seed, so that each run is the same.
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    /// A whole number below `below` (linear congruence, constants of Knuth's MMIX; the high bits).
    pub(crate) fn below(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % below
    }
}

/// A sample frame of a family.
#[derive(Clone)]
pub(crate) struct Sample {
    pub(crate) id: String,
    pub(crate) family: String,
    pub(crate) settings: Vec<(String, String)>,
    pub(crate) bytes: Vec<u8>,
}

impl Sample {
    pub(crate) fn format(&self) -> Format {
        let mut format = Format::built_in(&self.family).unwrap();
        self.settings.iter().for_each(|(key, value)| format.set(key, value).unwrap());
        format
    }
}

/// The samples of families that run over a serial line.
pub(crate) fn samples() -> Vec<Sample> {
    let all: Vec<Value> = serde_json::from_str(include_str!("../captures/frames.json")).unwrap();
    let is_frame =
        |sample: &&Value| sample["reject"].is_null() && sample["decode_as"].is_null() && sample["serial"] != "USB HID";
    all.iter().filter(is_frame).map(sample).collect()
}

fn sample(from: &Value) -> Sample {
    let hex = from["frame_bytes_hex"].as_str().unwrap();
    let bytes = (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect();
    let settings = from["settings"].as_object().into_iter().flatten();
    let settings = settings.map(|(key, value)| (key.clone(), value.as_str().unwrap().to_owned())).collect();
    let text = |key: &str| from[key].as_str().unwrap().to_owned();
    Sample { id: text("id"), family: text("family"), settings, bytes }
}

/// The sample with some of its digits changed, its check made right again; the sample itself where no change fits.
pub(crate) fn varied(sample: &Sample, chance: &mut Chance) -> Vec<u8> {
    if sample.family == "modbus-float" {
        // A number with two decimals, as a scale would have it.
        let value = f32::from(u16::try_from(chance.below(30_000)).unwrap()) / 100.0;
        let [a, b, c, d] = value.to_be_bytes();
        let is_swapped = sample.settings.iter().any(|(_, order)| order == "CDAB");
        let mut bytes = sample.bytes.clone();
        bytes[3..7].copy_from_slice(&if is_swapped { [c, d, a, b] } else { [a, b, c, d] });
        set_check("modbus-float", &mut bytes);
        return bytes;
    }
    for _ in 0..20 {
        let mut bytes = sample.bytes.clone();
        for _ in 0..1 + chance.below(3) {
            let digits: Vec<usize> = (0..bytes.len()).filter(|at| is_changeable(sample, &bytes, *at)).collect();
            if digits.is_empty() {
                return bytes;
            }
            let at = digits[chance.below(digits.len())];
            bytes[at] = match sample.family.as_str() {
                "ff-flags-bcd3-unit" => u8::try_from(chance.below(10) * 16 + chance.below(10)).unwrap(),
                _ => b'0' + u8::try_from(chance.below(10)).unwrap(),
            };
        }
        set_check(&sample.family, &mut bytes);
        if is_a_frame(sample, &bytes) {
            return bytes;
        }
    }
    sample.bytes.clone()
}

fn is_changeable(sample: &Sample, bytes: &[u8], at: usize) -> bool {
    match sample.family.as_str() {
        "ff-flags-bcd3-unit" => (2..4).contains(&at),
        "scanner" => bytes[at].is_ascii_digit() && at > 20,
        "stx-binary-status-words" => bytes[at].is_ascii_digit() && at > 3,
        _ => bytes[at].is_ascii_digit(),
    }
}

/// The checks, as their standards and descriptions define them (NMEA 0183: exclusive or between `$` and `*`; Modbus over serial
/// line 1.02, 6.2.2: CRC-16; the rest as described with the samples).
fn set_check(family: &str, bytes: &mut [u8]) {
    let length = bytes.len();
    match family {
        "nmea-xdr" => {
            let star = bytes.iter().position(|byte| *byte == b'*').unwrap();
            let sum = bytes[1..star].iter().fold(0, |sum, byte| sum ^ byte);
            bytes[star + 1..star + 3].copy_from_slice(format!("{sum:02X}").as_bytes());
        }
        "modbus-float" => {
            let mut crc = 0xffff_u16;
            for byte in &bytes[..length - 2] {
                crc ^= u16::from(*byte);
                for _ in 0..8 {
                    crc = if crc & 1 == 1 { (crc >> 1) ^ 0xa001 } else { crc >> 1 };
                }
            }
            bytes[length - 2..].copy_from_slice(&crc.to_le_bytes());
        }
        "stx-sign-6digits-dp-xor2-etx" => {
            let sum = bytes[1..length - 3].iter().fold(0, |sum, byte| sum ^ byte);
            bytes[length - 3..length - 1].copy_from_slice(format!("{sum:02X}").as_bytes());
        }
        "stx-binary-status-words" if bytes[length - 1] != b'\r' => {
            let sum = bytes[..length - 1].iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte));
            bytes[length - 1] = sum.wrapping_neg() & 0x7f;
        }
        _ => {}
    }
}

/// Whether the family takes three of them in a row.
fn is_a_frame(sample: &Sample, bytes: &[u8]) -> bool {
    let (mut frames, mut refused) = (0, 0);
    let mut decoder = Decoder::new(Arc::new(sample.format()));
    let mut count = |item: Item<'_>| match item {
        Item::Frame(..) => frames += 1,
        Item::Refused { .. } => refused += 1,
    };
    decoder.push(&bytes.repeat(3), &mut count);
    decoder.finish(&mut count);
    frames >= 2 && refused == 0
}
