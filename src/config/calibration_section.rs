//! The calibration of an instrument as its configuration states it.

use super::document::Section;
use crate::measurement::beam::BeamGeometry;
use crate::measurement::calibration::{BeamCalibration, Calibration, ScaleCalibration};
use crate::measurement::gauge::{Datum, GaugeCalibration, LoftSense};
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::{Degrees, Grams, Millimetres};

pub(super) fn ideal_scale() -> Calibration {
    Calibration::Scale(ScaleCalibration {
        span: 1.0,
        bend_per_g: 0.0,
        u_span: 2e-4,
        u_linearity: Grams(0.0),
        u_eccentricity: Grams(0.0),
        scatter: None,
    })
}

pub(super) fn ideal_gauge() -> Calibration {
    Calibration::Gauge(GaugeCalibration {
        lie_datum: Degrees(0.0),
        loft_datum: Degrees(0.0),
        u_datum: Degrees(0.1),
        left: None,
        u_level: Degrees(0.0),
        loft_sense: LoftSense::Vertical,
        u_face: None,
        scatter: None,
    })
}

pub(super) fn read_scale(section: &Section<'_>) -> Option<Calibration> {
    let number = |key, range, usual| if section.has(key) { section.number(key, range) } else { Some(usual) };
    let span = number("span", 0.5..=2.0, 1.0);
    let u_span = number("u_span", 0.0..=0.1, 2e-4);
    let bend_per_g = number("bend_per_g", -1e-4..=1e-4, 0.0);
    let mass = |key| section.size_or(key, Dimension::Mass, 0.0).map(Grams);
    let (u_linearity, u_eccentricity) = (mass("u_linearity"), mass("u_eccentricity"));
    Some(Calibration::Scale(ScaleCalibration {
        span: span?,
        bend_per_g: bend_per_g?,
        u_span: u_span?,
        u_linearity: u_linearity?,
        u_eccentricity: u_eccentricity?,
        scatter: None,
    }))
}

pub(super) fn read_beam(section: &Section<'_>) -> Option<Calibration> {
    for key in ["zero_counts", "counts_per_gram"] {
        if !section.has(key) {
            section.mistake(key, "expected two numbers in brackets, one for each cell");
        }
    }
    for key in ["x1", "x2"] {
        if !section.has(key) {
            section.mistake(key, "expected the distance of the support from the butt stop, such as \"100 mm\"");
        }
    }
    let zero_counts = section.pair("zero_counts", "one for each cell");
    let counts_per_gram = section.pair("counts_per_gram", "one for each cell");
    let length = |key| section.quantity(key, Dimension::Length).map(Millimetres);
    let (x1, x2) = (length("x1"), length("x2"));
    let size = |key, usual| section.size_or(key, Dimension::Length, usual).map(Millimetres);
    let (u_x1, u_x2) = (size("u_x1", 0.2), size("u_x2", 0.2));
    let u_span = if section.has("u_span") { section.number("u_span", 0.0..=0.1) } else { Some(2e-4) };
    let (u_butt_stop, hang) = (size("u_butt_stop", 0.0), size("hang", 0.0));
    let u_level = section.size_or("u_level", Dimension::Angle, 0.0);
    if let Some(gains) = counts_per_gram
        && gains.iter().any(|gain| gain.abs() < 1e-6)
    {
        section.mistake("counts_per_gram", "a cell with zero counts per gram measures nothing");
    }
    if let (Some(x1), Some(x2)) = (x1, x2)
        && (x2 - x1).0 < 50.0
    {
        section.mistake("x2", "the second support must be at least 50 mm beyond the first");
    }
    Some(Calibration::Beam(BeamCalibration {
        zero_counts: zero_counts?,
        counts_per_gram: counts_per_gram?,
        u_span: u_span?,
        geometry: BeamGeometry { x1: x1?, x2: x2?, u_x1: u_x1?, u_x2: u_x2?, reaction_correlation: 0.0 },
        u_butt_stop: u_butt_stop?,
        u_level: Degrees(u_level?),
        hang: hang?,
        scatter: None,
        supports_freedom: None,
    }))
}

pub(super) fn read_gauge(section: &Section<'_>) -> Option<Calibration> {
    let angle = |key, usual| if section.has(key) { section.quantity(key, Dimension::Angle) } else { Some(usual) };
    let senses = [("vertical", LoftSense::Vertical), ("shaft_plane", LoftSense::ShaftPlane)];
    let loft_sense =
        if section.has("loft_sense") { section.choice("loft_sense", &senses) } else { Some(LoftSense::Vertical) };
    let (lie_datum, loft_datum) = (angle("lie_datum", 0.0), angle("loft_datum", 0.0));
    let left = match ["left_lie_datum", "left_loft_datum"] {
        keys if keys.iter().any(|key| section.has(key)) => {
            for key in keys.into_iter().filter(|key| !section.has(key)) {
                section.mistake(key, "expected both angles of the datum for clubs of the left hand");
            }
            let [lie, loft] = keys.map(|key| section.quantity(key, Dimension::Angle).map(Degrees));
            lie.zip(loft).map(|(lie, loft)| Some(Datum { lie, loft }))
        }
        _ => Some(None),
    };
    let size = |key, usual| section.size_or(key, Dimension::Angle, usual);
    let (u_datum, u_level) = (size("u_datum", 0.1), size("u_level", 0.0));
    // Nobody's face is square to the last digit: nothing stated is something else than nothing to state.
    let no_face = "would say that every face is perfectly square: leave the key out where nobody knows";
    let u_face = if section.has("u_face") {
        let stated = size("u_face", 0.0);
        if stated.is_some_and(|u| u <= 0.0) {
            section.mistake("u_face", no_face);
        }
        stated.map(|u| Some(Degrees(u)))
    } else {
        Some(None)
    };
    Some(Calibration::Gauge(GaugeCalibration {
        lie_datum: Degrees(lie_datum?),
        loft_datum: Degrees(loft_datum?),
        left: left?,
        u_datum: Degrees(u_datum?),
        u_level: Degrees(u_level?),
        loft_sense: loft_sense?,
        u_face: u_face?,
        scatter: None,
    }))
}
