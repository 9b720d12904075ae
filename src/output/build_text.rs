//! How a club is to be cut and what its parts measure, with the keys of an order file: `[club.cut]` and `[club.fit]`.
//!
//! Lengths are written in millimetres with a half-width, from which `config::build_section` takes the same length and
//! uncertainty again. A tip trim out of the schedule of a set is written at its club.

use serde::ser::{Serialize, SerializeMap, Serializer};

use crate::club::cut::{CutPlan, MEASURING_ANGLE, Span};
use crate::club::fit::FitSizes;
use crate::measurement::unit::Degrees;

/// `[club.cut]`.
pub(super) struct Cut<'a>(pub(super) &'a CutPlan);

/// `[club.fit]`.
pub(super) struct Fit<'a>(pub(super) &'a FitSizes);

impl Serialize for Cut<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let plan = self.0;
        let ground = &plan.ground_line;
        let mut map = serializer.serialize_map(None)?;
        for (key, length) in plan.lengths() {
            entry(&mut map, key, length.map(Span::written))?;
        }
        let is_usual = (ground.at - MEASURING_ANGLE).abs() == Degrees(0.0);
        entry(&mut map, "ground_angle", (!is_usual).then(|| degrees(ground.at)))?;
        let radius = Some(ground.sole_radius_mm).filter(|radius| *radius > 0.0);
        entry(&mut map, "sole_radius", radius.map(|radius| format!("{radius} mm")))?;
        map.end()
    }
}

impl Serialize for Fit<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let sizes = self.0;
        let mut map = serializer.serialize_map(None)?;
        for (key, length) in sizes.lengths() {
            entry(&mut map, key, length.map(Span::written))?;
        }
        for (key, runs) in [("tip", sizes.tip_runs), ("bore", sizes.bore_runs)] {
            entry(&mut map, key, runs.map(|taper| taper.name().to_owned()))?;
        }
        for (key, angle) in [("sleeve_turn", sizes.sleeve_turn), ("sleeve_tilt", sizes.sleeve_tilt)] {
            entry(&mut map, key, angle.map(degrees))?;
        }
        if sizes.wraps > 0 {
            map.serialize_entry("tape_wraps", &sizes.wraps)?;
        }
        if sizes.rib {
            map.serialize_entry("rib", &true)?;
        }
        map.end()
    }
}

fn entry<M: SerializeMap>(map: &mut M, key: &'static str, text: Option<String>) -> Result<(), M::Error> {
    text.map_or(Ok(()), |text| map.serialize_entry(key, &text))
}

/// The shortest decimal of a number is read back as the same number.
fn degrees(angle: Degrees) -> String {
    format!("{} deg", angle.0)
}
