//! From a decoded frame to an indication in base units, or a state in words. Pure.

use super::format::{Frame, NetGross, UnitCode};
use crate::measurement::reading::InstrumentKind;
use crate::measurement::unit::{GRAMS_PER_OUNCE, Grams};

/// What must be known of an instrument to understand its frames.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiring {
    /// What it measures.
    pub kind: InstrumentKind,
    /// Names of the two channels in its frames (cells, or lie and loft); empty for a scale.
    pub channels: [String; 2],
    /// Resolution in grams or degrees.
    pub resolution: f64,
    /// Largest load.
    pub capacity: Option<Grams>,
}

/// What a frame means for the instrument it came from.
#[derive(Debug, Clone, PartialEq)]
pub enum Indication {
    /// Two channels: grams and nothing, counts of both cells, or lie and loft in degrees.
    Values([f64; 2]),
    /// A scanned code.
    Code(String),
    /// A state instead of a number, in words for the display.
    State(&'static str),
    /// The frame says nothing for this instrument.
    Nothing,
}

/// Legal metrology allows no number beyond the largest load and nine divisions (OIML R 76 practice; French order of
/// 24 March 1972, 15.1.4).
const DIVISIONS_BEYOND: f64 = 9.0;

/// Reads a frame.
#[must_use]
pub fn read(wiring: &Wiring, frame: &Frame) -> Indication {
    if frame.overload == Some(true) {
        return Indication::State("out of range: take it off");
    }
    match wiring.kind {
        InstrumentKind::Scale => mass(wiring, frame),
        InstrumentKind::Beam | InstrumentKind::Gauge => pair(wiring, frame),
        InstrumentKind::Scanner => frame.code.as_ref().map_or(Indication::Nothing, |code| {
            let text = code.text.clone().unwrap_or_else(|| {
                code.identifiers.iter().map(|(id, content)| format!("({id}){content}")).collect()
            });
            Indication::Code(text)
        }),
    }
}

fn mass(wiring: &Wiring, frame: &Frame) -> Indication {
    if frame.net_gross == Some(NetGross::Tare) {
        return Indication::Nothing;
    }
    let Some(value) = &frame.value else { return Indication::State("shows no weight: see the instrument") };
    // Where the frame names no unit (some leave it out while the load moves) the scale's usual one holds: grams.
    let Some(grams) = grams_per(frame.unit.unwrap_or(UnitCode::Gram)) else {
        return Indication::State("shows no mass: set it to grams");
    };
    let grams = value.to_f64() * grams;
    match wiring.capacity {
        Some(capacity) if grams > capacity.0 + DIVISIONS_BEYOND * wiring.resolution => {
            Indication::State("out of range: take it off")
        }
        _ => Indication::Values([grams, 0.0]),
    }
}

fn pair(wiring: &Wiring, frame: &Frame) -> Indication {
    let [first, second] = &wiring.channels;
    match (frame.channels.get(first), frame.channels.get(second)) {
        (Some(first), Some(second)) => Indication::Values([first.to_f64(), second.to_f64()]),
        _ => Indication::State("sends other channels than configured: see `channels`"),
    }
}

/// Grams in one unit (NIST SP 811, appendix B.8, exact); `None` for what is no mass.
fn grams_per(unit: UnitCode) -> Option<f64> {
    match unit {
        UnitCode::Gram => Some(1.0),
        UnitCode::Kilogram => Some(1000.0),
        UnitCode::Ounce => Some(GRAMS_PER_OUNCE),
        UnitCode::Pound => Some(16.0 * GRAMS_PER_OUNCE),
        UnitCode::Grain => Some(0.064_798_91),
        UnitCode::Carat => Some(0.2),
        UnitCode::Pieces | UnitCode::Degree | UnitCode::Count => None,
    }
}
