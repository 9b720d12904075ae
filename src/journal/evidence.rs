//! The stored form of the evidence behind a reading: JSON with the frames in hexadecimal, readable without us.

use serde::{Deserialize, Serialize};

use crate::measurement::evidence::{Evidence, RawFrame};
use crate::measurement::sample::Sample;

#[derive(Serialize, Deserialize)]
struct StoredEvidence {
    v: u32,
    /// `[seconds of the session, bytes in hexadecimal]`
    frames: Vec<(f64, String)>,
    /// `[seconds of the session, first channel, second channel]`
    samples: Vec<(f64, f64, f64)>,
}

/// Bytes to store.
///
/// # Errors
/// Only if a number is not finite, which the measurement never lets through.
pub fn encode(evidence: &Evidence) -> Result<Vec<u8>, serde_json::Error> {
    serde_json::to_vec(&StoredEvidence {
        v: 1,
        frames: evidence.frames.iter().map(|frame| (frame.t_s, hex(&frame.bytes))).collect(),
        samples: evidence.samples.iter().map(|s| (s.t_s, s.values[0], s.values[1])).collect(),
    })
}

/// Reads stored bytes back; `None` if they are not evidence.
#[must_use]
pub fn decode(bytes: &[u8]) -> Option<Evidence> {
    let stored: StoredEvidence = serde_json::from_slice(bytes).ok()?;
    let frames = stored
        .frames
        .iter()
        .map(|(t_s, text)| Some(RawFrame { t_s: *t_s, bytes: unhex(text)?.into() }))
        .collect::<Option<Vec<_>>>()?;
    let samples = stored.samples.iter().map(|(t_s, a, b)| Sample { t_s: *t_s, values: [*a, *b] }).collect();
    (stored.v == 1).then_some(Evidence { frames, samples })
}

fn hex(bytes: &[u8]) -> String {
    const DIGITS: [char; 16] = ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f'];
    bytes.iter().flat_map(|byte| [DIGITS[usize::from(byte >> 4)], DIGITS[usize::from(byte & 15)]]).collect()
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u32> = text.chars().map(|c| c.to_digit(16)).collect::<Option<_>>()?;
    digits
        .chunks(2)
        .map(|pair| match pair {
            [high, low] => u8::try_from(high * 16 + low).ok(),
            _ => None,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn evidence_comes_back_bit_for_bit() {
        let evidence = Evidence {
            frames: vec![RawFrame { t_s: 0.1 + 0.2, bytes: vec![0, 255, 0x0d].into() }],
            samples: vec![Sample { t_s: 0.1 + 0.2, values: [203.1 / 3.0, -0.0] }],
        };
        assert_eq!(decode(&encode(&evidence).unwrap()), Some(evidence));
        assert_eq!(decode(b"{}"), None);
    }
}
