//! Requests about loft, lie and face angle.
//!
//! Inputs by key come in, results by key go out, all in degrees; the geometry is in `club`.

use serde_json::{Map, Value};

use super::inputs::{Answer, Inputs, RequestError};
use crate::club::angles::{self, AngleError, Face, shaft_axis};
use crate::club::inclinometer::{Fixture, LoftAndLie, club_from_readings, read_in_fixture};
use crate::club::sleeve::{Sleeve, put_on_sleeve};
use crate::measurement::gauge::Hand;
use crate::measurement::unit::Degrees;

type Outcome = Result<Map<String, Value>, RequestError>;

impl From<AngleError> for RequestError {
    fn from(error: AngleError) -> Self {
        Self::unanswerable(error)
    }
}

fn degrees(inputs: &Inputs<'_>, key: &str) -> Result<Degrees, RequestError> {
    inputs.number(key).map(Degrees)
}

fn face(inputs: &Inputs<'_>) -> Result<Face, RequestError> {
    Ok(Face { loft: degrees(inputs, "loft")?, angle: degrees(inputs, "face")? })
}

fn handed(inputs: &Inputs<'_>) -> Result<Hand, RequestError> {
    Hand::parse(inputs.text("handed")?).ok_or_else(|| inputs.refuse("handed", "\"right\" or \"left\""))
}

/// Where the hand may be left out it is the right one.
fn handed_or_right(inputs: &Inputs<'_>) -> Result<Hand, RequestError> {
    if inputs.has("handed") { handed(inputs) } else { Ok(Hand::Right) }
}

fn fixture(inputs: &Inputs<'_>) -> Result<Fixture, RequestError> {
    Ok(Fixture { pitch: degrees(inputs, "fixture_pitch")?, roll: degrees(inputs, "fixture_roll")? })
}

pub(super) fn turn_about_shaft(inputs: &Inputs<'_>) -> Outcome {
    // Angles mean the same for both hands; a wrong word is refused all the same.
    handed(inputs)?;
    let turned = angles::turn_about_shaft(face(inputs)?, degrees(inputs, "lie")?, degrees(inputs, "psi")?)?;
    Answer::default().number("loft", turned.loft.0).number("face", turned.angle.0).finish()
}

pub(super) fn vectors(inputs: &Inputs<'_>) -> Outcome {
    let hand = handed(inputs)?;
    let lie = degrees(inputs, "lie")?;
    let turned = angles::turn_about_shaft(face(inputs)?, lie, degrees(inputs, "psi")?)?;
    Answer::default()
        .numbers("normal_xyz", &hand.place(turned.normal()))
        .numbers("shaft_xyz", &hand.place(shaft_axis(lie)))
        .number("loft", turned.loft.0)
        .number("face", turned.angle.0)
        .finish()
}

pub(super) fn sleeve(inputs: &Inputs<'_>) -> Outcome {
    handed(inputs)?;
    let sleeve = Sleeve { tilt: degrees(inputs, "delta")?, clock: degrees(inputs, "theta")? };
    let club = put_on_sleeve(face(inputs)?, degrees(inputs, "lie")?, sleeve)?;
    Answer::default()
        .number("lie_soled_deg", club.lie_soled.0)
        .number("shaft_lean_deg", club.shaft_lean.0)
        .number("loft_shaft_held_deg", club.shaft_held.loft.0)
        .number("face_shaft_held_deg", club.shaft_held.angle.0)
        .number("loft_face_restored_deg", club.loft_face_restored.0)
        .number("turn_to_restore_face_deg", club.turn_to_restore_face.0)
        .number("face_loft_restored_deg", club.face_loft_restored.0)
        .finish()
}

pub(super) fn inclinometer_forward(inputs: &Inputs<'_>) -> Outcome {
    let (hand, fixture) = (handed_or_right(inputs)?, fixture(inputs)?);
    let readings = read_in_fixture(face(inputs)?, degrees(inputs, "lie")?, hand, fixture)?;
    Answer::default().number("loft_reading", readings.loft.0).number("lie_reading", readings.lie.0).finish()
}

pub(super) fn inclinometer_inverse(inputs: &Inputs<'_>) -> Outcome {
    let (hand, fixture) = (handed_or_right(inputs)?, fixture(inputs)?);
    let readings = LoftAndLie { loft: degrees(inputs, "loft_reading")?, lie: degrees(inputs, "lie_reading")? };
    let club = club_from_readings(readings, degrees(inputs, "face")?, hand, fixture)?;
    Answer::default().number("loft", club.loft.0).number("lie", club.lie.0).finish()
}

pub(super) fn loft_definitions(inputs: &Inputs<'_>) -> Outcome {
    let shown = angles::loft_in_shaft_plane(face(inputs)?, degrees(inputs, "lie")?)?;
    Answer::default().number("loft_in_shaft_plane", shown.0).finish()
}

pub(super) fn bend_loft(inputs: &Inputs<'_>) -> Outcome {
    let by = degrees(inputs, "bend_loft_deg")?;
    let (loft, bounce) = angles::bend_loft(degrees(inputs, "loft")?, degrees(inputs, "bounce")?, by)?;
    Answer::default().number("loft", loft.0).number("bounce", bounce.0).finish()
}
