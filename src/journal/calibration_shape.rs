//! The stored shape of calibrations, part of the events' version 1. Fields that came later are zero in old journals.

use serde::{Deserialize, Serialize};

use super::event::by_name;
use super::trust_shape::optional;
use crate::measurement::beam::BeamGeometry;
use crate::measurement::calibration::{BeamCalibration, Calibration, ScaleCalibration, Scatter};
use crate::measurement::gauge::{Datum, FaceAngle, GaugeCalibration, Hand, Laid, LoftSense};
use crate::measurement::unit::{Degrees, Grams, Millimetres};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Calibration", tag = "of", rename_all = "snake_case")]
pub(super) enum CalibrationShape {
    Scale(#[serde(with = "ScaleCalibrationShape")] ScaleCalibration),
    Beam(#[serde(with = "BeamCalibrationShape")] BeamCalibration),
    Gauge(#[serde(with = "GaugeCalibrationShape")] GaugeCalibration),
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "ScaleCalibration")]
pub(super) struct ScaleCalibrationShape {
    span: f64,
    #[serde(default)]
    bend_per_g: f64,
    u_span: f64,
    #[serde(rename = "u_linearity_g", with = "GramsShape")]
    u_linearity: Grams,
    #[serde(rename = "u_eccentricity_g", with = "GramsShape", default)]
    u_eccentricity: Grams,
    #[serde(with = "optional_scatter", default, skip_serializing_if = "Option::is_none")]
    scatter: Option<Scatter>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Scatter")]
pub(super) struct ScatterShape {
    u: f64,
    freedom: f64,
}

optional!(optional_scatter, Scatter, "ScatterShape");

#[derive(Serialize, Deserialize)]
#[serde(remote = "BeamCalibration")]
pub(super) struct BeamCalibrationShape {
    zero_counts: [f64; 2],
    counts_per_gram: [f64; 2],
    u_span: f64,
    #[serde(with = "BeamGeometryShape")]
    geometry: BeamGeometry,
    #[serde(rename = "u_butt_stop_mm", with = "MillimetresShape", default)]
    u_butt_stop: Millimetres,
    #[serde(rename = "u_level_deg", with = "DegreesShape", default)]
    u_level: Degrees,
    #[serde(rename = "hang_mm", with = "MillimetresShape", default)]
    hang: Millimetres,
    #[serde(with = "optional_scatter", default, skip_serializing_if = "Option::is_none")]
    scatter: Option<Scatter>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    supports_freedom: Option<f64>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "BeamGeometry")]
pub(super) struct BeamGeometryShape {
    #[serde(rename = "x1_mm", with = "MillimetresShape")]
    x1: Millimetres,
    #[serde(rename = "x2_mm", with = "MillimetresShape")]
    x2: Millimetres,
    #[serde(rename = "u_x1_mm", with = "MillimetresShape")]
    u_x1: Millimetres,
    #[serde(rename = "u_x2_mm", with = "MillimetresShape")]
    u_x2: Millimetres,
    reaction_correlation: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "GaugeCalibration")]
pub(super) struct GaugeCalibrationShape {
    #[serde(rename = "lie_datum_deg", with = "DegreesShape")]
    lie_datum: Degrees,
    #[serde(rename = "loft_datum_deg", with = "DegreesShape")]
    loft_datum: Degrees,
    #[serde(rename = "u_datum_deg", with = "DegreesShape")]
    u_datum: Degrees,
    #[serde(rename = "u_level_deg", with = "DegreesShape", default)]
    u_level: Degrees,
    #[serde(with = "by_name")]
    loft_sense: LoftSense,
    #[serde(with = "optional_datum", default, skip_serializing_if = "Option::is_none")]
    left: Option<Datum>,
    #[serde(rename = "u_face_deg", with = "optional_degrees", default, skip_serializing_if = "Option::is_none")]
    u_face: Option<Degrees>,
    #[serde(with = "optional_scatter", default, skip_serializing_if = "Option::is_none")]
    scatter: Option<Scatter>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Datum")]
pub(super) struct DatumShape {
    #[serde(rename = "lie_datum_deg", with = "DegreesShape")]
    lie: Degrees,
    #[serde(rename = "loft_datum_deg", with = "DegreesShape")]
    loft: Degrees,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Laid", tag = "as", rename_all = "snake_case")]
pub(super) enum LaidShape {
    Club {
        #[serde(with = "by_name")]
        hand: Hand,
        #[serde(with = "optional_face", default, skip_serializing_if = "Option::is_none")]
        face: Option<FaceAngle>,
    },
    Block {
        #[serde(with = "by_name")]
        hand: Hand,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "FaceAngle")]
pub(super) struct FaceAngleShape {
    closed_deg: f64,
    u_deg: f64,
}

optional!(optional_datum, Datum, "DatumShape");
optional!(optional_degrees, Degrees, "DegreesShape");
optional!(optional_face, FaceAngle, "FaceAngleShape");
optional!(optional_laid, Laid, "LaidShape");

#[derive(Serialize, Deserialize)]
#[serde(remote = "Grams")]
pub(super) struct GramsShape(f64);

#[derive(Serialize, Deserialize)]
#[serde(remote = "Millimetres")]
pub(super) struct MillimetresShape(f64);

#[derive(Serialize, Deserialize)]
#[serde(remote = "Degrees")]
pub(super) struct DegreesShape(f64);
