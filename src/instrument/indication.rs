//! From a decoded frame to an indication in base units, or a state in words. Pure.

use std::ops::RangeInclusive;

use super::format::{DecimalText, Frame, NetGross, UnitCode};
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
    /// Temperature of the air, °C.
    Temperature(f64),
    /// A scanned code, or the word of a press.
    Code(String),
    /// A state instead of a number, in words for the display.
    State(&'static str),
    /// The frame says nothing for this instrument.
    Nothing,
}

/// Follows the unit that a scale names, over its frames: a number counts only in a unit that is sure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitWatch {
    /// Whether frames of the family name a unit at all.
    names_units: bool,
    in_force: Option<UnitCode>,
    /// Another unit that one frame has named: a changed unit, or a damaged frame.
    doubted: Option<UnitCode>,
}

/// What a frame's unit says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitNews {
    /// The unit in force, or the first one named.
    Same,
    /// Another unit for the first time: perhaps a damaged frame, so nothing changes and the frame counts for nothing.
    Doubted,
    /// The same other unit twice in a row: somebody has switched it, and what lies there was not seen in this unit.
    Changed,
    /// No unit where one is expected, as some scales do while the load moves.
    Blank,
}

impl UnitWatch {
    /// A watch on a scale nothing was heard of yet.
    #[must_use]
    pub fn new(names_units: bool) -> Self {
        Self { names_units, in_force: None, doubted: None }
    }

    /// Looks at the next frame that holds a number.
    pub fn look(&mut self, frame: &Frame) -> UnitNews {
        match (self.in_force, frame.unit) {
            (Some(_), None) => UnitNews::Blank,
            (None, None) if self.names_units && frame.stable == Some(false) => UnitNews::Blank,
            (None, None) => UnitNews::Same,
            (Some(in_force), Some(unit)) if in_force != unit && self.doubted != Some(unit) => {
                self.doubted = Some(unit);
                UnitNews::Doubted
            }
            (in_force, Some(unit)) => {
                self.doubted = None;
                self.in_force = Some(unit);
                if in_force.is_none_or(|in_force| in_force == unit) { UnitNews::Same } else { UnitNews::Changed }
            }
        }
    }
}

/// Legal metrology allows no number beyond the largest load and nine divisions (OIML R 76 practice; French order of
/// 24 March 1972, 15.1.4).
const DIVISIONS_BEYOND: f64 = 9.0;
/// What stands in the place of such a number.
pub const OUT_OF_RANGE: &str = "out of range: take it off";

/// Reads a frame.
#[must_use]
pub fn read(wiring: &Wiring, frame: &Frame) -> Indication {
    if frame.overload == Some(true) {
        return Indication::State(OUT_OF_RANGE);
    }
    match wiring.kind {
        InstrumentKind::Scale => mass(wiring, frame),
        InstrumentKind::Beam | InstrumentKind::Gauge => pair(wiring, frame),
        InstrumentKind::Thermometer => temperature(wiring, frame),
        InstrumentKind::Scanner | InstrumentKind::Pedal => frame.code.as_ref().map_or(Indication::Nothing, |code| {
            let text = code
                .text
                .clone()
                .unwrap_or_else(|| code.identifiers.iter().map(|(id, content)| format!("({id}){content}")).collect());
            Indication::Code(text)
        }),
    }
}

/// What air in a workshop can have, °C.
const AIR_C: RangeInclusive<f64> = -40.0..=85.0;

/// The channel that is configured, or the first one.
fn temperature(wiring: &Wiring, frame: &Frame) -> Indication {
    let [name, _] = &wiring.channels;
    let number = if name.is_empty() { frame.value.as_ref() } else { frame.channels.get(name) };
    match number.map(DecimalText::to_f64) {
        Some(celsius) if AIR_C.contains(&celsius) => Indication::Temperature(celsius),
        Some(_) => Indication::State("shows no temperature of air: see the sensor"),
        None => Indication::State("shows no temperature: see the sensor"),
    }
}

fn mass(wiring: &Wiring, frame: &Frame) -> Indication {
    if frame.net_gross == Some(NetGross::Tare) {
        return Indication::Nothing;
    }
    let Some(value) = &frame.value else { return Indication::State("shows no weight: see the instrument") };
    // Where a family names no unit at all the scale's usual one holds: grams. A unit left out is UnitWatch's.
    let Some(grams) = grams_per(frame.unit.unwrap_or(UnitCode::Gram)) else {
        return Indication::State("shows no mass: set it to grams");
    };
    let grams = value.to_f64() * grams;
    if is_beyond(wiring, grams) { Indication::State(OUT_OF_RANGE) } else { Indication::Values([grams, 0.0]) }
}

/// Whether a load is more than may ever be shown as a number; never where no capacity is known.
#[must_use]
pub fn is_beyond(wiring: &Wiring, grams: f64) -> bool {
    // A hundredth of a step, for loads that are decimals and not exact in binary.
    wiring.capacity.is_some_and(|capacity| grams > capacity.0 + (DIVISIONS_BEYOND + 0.01) * wiring.resolution)
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
        UnitCode::Pieces | UnitCode::Degree | UnitCode::Celsius | UnitCode::Count => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::format::{Decoder, Format, Item};
    use std::sync::Arc;

    fn check(family: &str, lines: &[(&str, UnitNews)]) {
        let format = Arc::new(Format::built_in(family).unwrap());
        let mut watch = UnitWatch::new(format.names_units());
        for (line, expected) in lines {
            let mut news = None;
            let mut take = |item: Item<'_>| {
                if let Item::Frame(frame, _) = item {
                    news = Some(watch.look(&frame));
                }
            };
            let mut decoder = Decoder::new(Arc::clone(&format));
            decoder.push(line.as_bytes(), &mut take);
            decoder.finish(&mut take);
            assert_eq!(news, Some(*expected), "{line:?}");
        }
    }

    #[test]
    fn a_unit_is_changed_by_two_frames_that_agree_and_never_by_one() {
        const G: &str = "ST,+00012.34  g\r\n";
        const OZ: &str = "ST,+00000.44 oz\r\n";
        const KG: &str = "ST,+00000.01 kg\r\n";
        use UnitNews::{Changed, Doubted, Same};
        check("hdr2-sign8-unit3", &[(G, Same), (OZ, Doubted), (G, Same), (OZ, Doubted), (KG, Doubted), (G, Same)]);
        check("hdr2-sign8-unit3", &[(G, Same), (OZ, Doubted), (OZ, Changed), (OZ, Same), (G, Doubted), (G, Changed)]);
    }

    #[test]
    fn a_unit_left_out_is_no_number_where_units_are_named() {
        use UnitNews::{Blank, Same};
        const MOVING: &str = "-    12.34    \r\n";
        const STILL: &str = "+   1255.7 g  \r\n";
        check("sign-value8-unit3-blank-if-moving", &[(MOVING, Blank), (STILL, Same), (MOVING, Blank), (STILL, Same)]);
    }
}
