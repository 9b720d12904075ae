//! Runs a decoder over bytes and keeps what came out.

use std::sync::Arc;

use benchscribe::instrument::format::{Decoder, Format, Frame, Item};

/// What a decoder gave, owned.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Got {
    Frame(Frame, Vec<u8>),
    Refused(String, u64, Vec<u8>),
}

impl Got {
    pub(crate) fn frame(&self) -> Option<&Frame> {
        match self {
            Self::Frame(frame, _) => Some(frame),
            Self::Refused(..) => None,
        }
    }
}

/// The family with settings such as `check=none`, comma apart.
pub(crate) fn format(family: &str, settings: &str) -> Arc<Format> {
    let mut format = Format::built_in(family).unwrap();
    for (key, value) in settings.split(',').filter_map(|setting| setting.split_once('=')) {
        format.set(key, value).unwrap();
    }
    Arc::new(format)
}

fn keep(into: &mut Vec<Got>) -> impl FnMut(Item<'_>) {
    |item| {
        into.push(match item {
            Item::Frame(frame, raw) => Got::Frame(frame, raw.to_vec()),
            Item::Refused { reason, at_byte, raw } => Got::Refused(reason.to_string(), at_byte, raw.to_vec()),
        });
    }
}

/// Everything that comes out of the pieces, pushed one after the other.
pub(crate) fn decode_pieces(format: &Arc<Format>, pieces: &[&[u8]]) -> Vec<Got> {
    let mut got = Vec::new();
    let mut decoder = Decoder::new(Arc::clone(format));
    for piece in pieces {
        decoder.push(piece, &mut keep(&mut got));
    }
    decoder.finish(&mut keep(&mut got));
    got
}

/// Everything that comes out of the bytes.
pub(crate) fn decode(format: &Arc<Format>, bytes: &[u8]) -> Vec<Got> {
    decode_pieces(format, &[bytes])
}

/// A frame in one line: value, unit, and the words for what it says; `-` where it says nothing.
pub(crate) fn line(frame: &Frame) -> String {
    let value = frame.value.map_or("-".to_owned(), |value| value.to_string());
    let unit = frame.unit.map_or("-", |unit| unit.as_str());
    let stable = frame.stable.map_or("-", |stable| if stable { "stable" } else { "moving" });
    let range = frame.overload.map_or("-", |over| if over { "over" } else { "in-range" });
    let mass = frame.net_gross.and_then(|mass| mass.as_str()).unwrap_or("-");
    format!("{value} {unit} {stable} {range} {mass}")
}

/// All sample frames.
pub(crate) fn samples() -> Vec<serde_json::Value> {
    serde_json::from_str(include_str!("../captures/frames.json")).unwrap()
}

/// Bytes of hexadecimal text.
pub(crate) fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<_> = text.chars().filter(|character| !character.is_whitespace()).collect();
    digits.chunks(2).map(|pair| u8::from_str_radix(&pair.iter().collect::<String>(), 16).unwrap()).collect()
}
