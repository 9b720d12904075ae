//! The stored shape of a recorded session: its header and one line of JSON for each input of the bench. Pure.
//!
//! In: inputs with their times, or lines. Out: lines, or inputs. Absent: files, which are `recording`'s (writing)
//! and the command line's (reading), and any decision, which is the core's.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::measurement::stamp::Stamp;

/// Version of the shape.
pub const VERSION: u32 = 1;
/// File of the header.
pub const HEADER_FILE: &str = "session.json";
/// File of the journal's events before the session, one canonical JSON a line.
pub const BEFORE_FILE: &str = "before.jsonl";

/// What must be known before the first input: together with the events before, the whole state the session began in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// Version of the shape.
    pub v: u32,
    /// Version of the program that recorded. Another one may decide otherwise.
    pub program: String,
    /// The configuration, whole.
    pub configuration: String,
    /// The files it names, by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub named_files: BTreeMap<String, String>,
    /// Number of the journal.
    pub epoch: u64,
    /// Sequence of the last event before the session; 0 for a new journal.
    pub before: u64,
    /// When the session started.
    pub start: StampLine,
    /// Whether the system's clock was synchronised then.
    pub clock_synchronised: bool,
}

impl Header {
    /// The header of a session that starts now.
    #[must_use]
    pub fn new(configuration: &str, epoch: u64, before: u64, start: Stamp, clock_synchronised: bool) -> Self {
        let program = env!("CARGO_PKG_VERSION").to_owned();
        let configuration = configuration.to_owned();
        let named_files = BTreeMap::new();
        Self { v: VERSION, program, configuration, named_files, epoch, before, start: start.into(), clock_synchronised }
    }
}

/// A stamp as stored.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StampLine {
    /// Seconds of the session.
    pub t: f64,
    /// Microseconds since 1970 UTC.
    pub us: i64,
}

impl From<Stamp> for StampLine {
    fn from(stamp: Stamp) -> Self {
        Self { t: stamp.t_s, us: stamp.at_us }
    }
}

impl From<StampLine> for Stamp {
    fn from(line: StampLine) -> Self {
        Self { t_s: line.t, at_us: line.us }
    }
}

/// One input as recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Counts the inputs of the session from 1 without a gap.
    pub n: u64,
    /// When.
    #[serde(flatten)]
    pub stamp: StampLine,
    /// What.
    #[serde(flatten)]
    pub what: What,
}

/// What came to the bench.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum What {
    /// A whole, good frame.
    Frame {
        /// Which instrument, by its place in the configuration.
        i: usize,
        /// Its bytes.
        #[serde(with = "hexadecimal")]
        raw: Vec<u8>,
    },
    /// Bytes that gave nothing.
    Refused {
        /// Which instrument.
        i: usize,
        /// Short name of the reason.
        label: String,
        /// The bytes.
        #[serde(with = "hexadecimal")]
        raw: Vec<u8>,
    },
    /// Bytes before the first whole frame.
    Passed {
        /// Which instrument.
        i: usize,
        /// The bytes.
        #[serde(with = "hexadecimal")]
        raw: Vec<u8>,
    },
    /// The port is open and its instrument sends when it is used.
    Ready {
        /// Which instrument.
        i: usize,
    },
    /// The instrument does not send.
    Lost {
        /// Which instrument.
        i: usize,
        /// Why.
        reason: String,
    },
    /// A command as it was sent.
    Command {
        /// Its JSON.
        json: Value,
    },
    /// Inputs are missing here: they came faster than the recording could be written. Nothing after this can be
    /// played back; the bytes can still be decoded.
    Broken {
        /// How many.
        lost: u64,
    },
    /// The session ended in order.
    End,
}

impl What {
    /// The bytes that came from an instrument, and which.
    #[must_use]
    pub fn bytes(&self) -> Option<(usize, &[u8])> {
        match self {
            Self::Frame { i, raw } | Self::Refused { i, raw, .. } | Self::Passed { i, raw } => Some((*i, raw)),
            Self::Ready { .. } | Self::Lost { .. } | Self::Command { .. } | Self::Broken { .. } | Self::End => None,
        }
    }
}

/// Name of the file of inputs with this number; names sort as the numbers do.
#[must_use]
pub fn inputs_file(number: u32) -> String {
    format!("inputs-{number:06}.jsonl")
}

/// Whether a file of that name holds inputs.
#[must_use]
pub fn is_inputs_file(name: &str) -> bool {
    name.strip_prefix("inputs-")
        .and_then(|rest| rest.strip_suffix(".jsonl"))
        .is_some_and(|number| number.parse::<u32>().is_ok())
}

mod hexadecimal {
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    const DIGITS: &[u8; 16] = b"0123456789abcdef";

    pub(super) fn serialize<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
        let digit = |value: u8| DIGITS.get(usize::from(value)).copied().map_or('?', char::from);
        let text: String = bytes.iter().flat_map(|byte| [digit(byte >> 4), digit(byte & 15)]).collect();
        serializer.serialize_str(&text)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<u8>, D::Error> {
        let text = String::deserialize(deserializer)?;
        let pairs = text.as_bytes().chunks(2).map(|pair| {
            let pair = std::str::from_utf8(pair).ok().filter(|pair| pair.len() == 2);
            pair.and_then(|pair| u8::from_str_radix(pair, 16).ok())
        });
        pairs.collect::<Option<_>>().ok_or_else(|| D::Error::custom("expected pairs of hexadecimal digits"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn check(what: What, stored: &Value) {
        let line = Line { n: 7, stamp: StampLine { t: 0.1 + 0.2, us: -3 }, what };
        let text = serde_json::to_string(&line).unwrap();
        let value: Value = serde_json::from_str(&text).unwrap();
        for (key, held) in stored.as_object().unwrap() {
            assert_eq!(&value[key], held, "{text}");
        }
        assert_eq!(serde_json::from_str::<Line>(&text).unwrap(), line, "{text}");
    }

    #[test]
    fn each_input_comes_back_to_the_last_bit() {
        check(What::Frame { i: 2, raw: vec![0, 255, 13] }, &json!({"n": 7, "kind": "frame", "i": 2, "raw": "00ff0d"}));
        check(What::Refused { i: 0, label: "cut".into(), raw: vec![] }, &json!({"kind": "refused", "raw": ""}));
        check(What::Passed { i: 0, raw: vec![1] }, &json!({"kind": "passed"}));
        check(What::Ready { i: 4 }, &json!({"kind": "ready", "us": -3}));
        check(What::Lost { i: 1, reason: "gone".into() }, &json!({"kind": "lost", "reason": "gone"}));
        check(What::Command { json: json!({"command": "scan", "code": "x"}) }, &json!({"kind": "command"}));
        check(What::Broken { lost: 12 }, &json!({"kind": "broken", "lost": 12}));
        check(What::End, &json!({"kind": "end"}));
    }

    #[test]
    fn damaged_lines_are_refused() {
        for text in
            [r#"{"n":1,"t":0,"us":0,"kind":"frame","i":0,"raw":"0"}"#, r#"{"n":1,"t":0,"us":0,"kind":"fly"}"#, "{", ""]
        {
            assert!(serde_json::from_str::<Line>(text).is_err(), "{text}");
        }
    }

    #[test]
    fn files_of_inputs_are_known_by_their_names() {
        assert!(is_inputs_file(&inputs_file(3)) && inputs_file(9) < inputs_file(10));
        assert!(!is_inputs_file("before.jsonl") && !is_inputs_file("inputs-x.jsonl"));
    }
}
