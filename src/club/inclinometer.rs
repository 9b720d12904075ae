//! What a gravity-sensing gauge reads in a fixture that is not level, and what the club is then.
//!
//! Angles of club and fixture come in, readings go out, and the other way round. Gravity cannot see a turn about the
//! vertical: the face angle is an input, never a result.

use super::angles::{AngleError, Face, checked_lie, finite, shaft_axis};
use crate::measurement::gauge::Hand;
use crate::measurement::unit::Degrees;

/// How a fixture stands: first pitched about its Y axis, then rolled about the X axis of the world.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fixture {
    /// Positive pitch lowers a direction to the target.
    pub pitch: Degrees,
    /// Positive roll raises a direction to the golfer.
    pub roll: Degrees,
}

/// Loft and lie, true or as read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoftAndLie {
    /// Loft in the vertical sense.
    pub loft: Degrees,
    /// Lie from the ground.
    pub lie: Degrees,
}

impl Fixture {
    /// The upward direction of the world, seen from the fixture.
    fn up(self, handed: Hand) -> Result<[f64; 3], AngleError> {
        for (what, angle) in [("fixture pitch", self.pitch), ("fixture roll", self.roll)] {
            if angle.abs().0.is_nan() || angle.abs().0 >= 90.0 {
                return Err(AngleError::OutOfRange { what, found: angle.0, expected: "between -90 deg and 90 deg" });
            }
        }
        let ((sin_pitch, cos_pitch), (sin_roll, cos_roll)) =
            (self.pitch.0.to_radians().sin_cos(), self.roll.0.to_radians().sin_cos());
        // Third row of Rx(roll) Ry(pitch); a left-handed club lies mirrored in the same fixture.
        Ok(handed.place([-sin_pitch * cos_roll, sin_roll, cos_pitch * cos_roll]))
    }
}

/// What the gauge reads of a club in the fixture.
///
/// # Errors
/// Angles outside their ranges.
pub fn read_in_fixture(face: Face, lie: Degrees, handed: Hand, fixture: Fixture) -> Result<LoftAndLie, AngleError> {
    checked_lie(lie)?;
    let up = fixture.up(handed)?;
    let elevation = |direction| Degrees(super::angles::dot(direction, up).clamp(-1.0, 1.0).asin().to_degrees());
    Ok(LoftAndLie { loft: elevation(face.checked()?.normal()), lie: elevation(shaft_axis(lie)) })
}

/// What the club is from what the gauge reads in the fixture, for a known face angle.
///
/// Both directions are searched on the near side: loft and lie within 90° of the fixture's own slope.
///
/// # Errors
/// Angles outside their ranges, or readings that no club gives in this fixture.
pub fn club_from_readings(
    readings: LoftAndLie,
    face_angle: Degrees,
    handed: Hand,
    fixture: Fixture,
) -> Result<LoftAndLie, AngleError> {
    let [up_x, up_y, up_z] = fixture.up(handed)?;
    let face_angle = finite("face angle", face_angle)?.to_radians();
    let loft_reading = within_a_quarter("loft reading", readings.loft)?;
    let lie_reading = within_a_quarter("lie reading", readings.lie)?;
    // The elevation of (cos a · level, sin a) is level·cos a + up_z·sin a = rho sin(a + phase).
    let solve = |what: &'static str, level: f64, reading: f64| {
        let share = reading.sin() / level.hypot(up_z);
        if share.is_nan() || share.abs() > 1.0 + 1e-12 {
            return Err(AngleError::NoSuchReading { what });
        }
        Ok(Degrees((share.clamp(-1.0, 1.0).asin() - level.atan2(up_z)).to_degrees()))
    };
    let loft = solve("loft", up_x * face_angle.cos() + up_y * face_angle.sin(), loft_reading)?;
    let lie = solve("lie", up_y, lie_reading)?;
    Face { loft, angle: Degrees(face_angle.to_degrees()) }.checked()?;
    checked_lie(lie)?;
    Ok(LoftAndLie { loft, lie })
}

fn within_a_quarter(what: &'static str, angle: Degrees) -> Result<f64, AngleError> {
    if angle.abs().0 <= 90.0 {
        return Ok(angle.0.to_radians());
    }
    Err(AngleError::OutOfRange { what, found: angle.0, expected: "-90 deg to 90 deg" })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixture(pitch: f64, roll: f64) -> Fixture {
        Fixture { pitch: Degrees(pitch), roll: Degrees(roll) }
    }

    #[test]
    fn what_is_read_gives_the_club_back() {
        for (loft, angle, lie, pitch, roll) in [
            (34.0, 0.0, 62.0, 1.0, -0.5),
            (10.5, 2.0, 58.0, -3.0, 2.0),
            (-2.0, -1.0, 71.0, 0.0, 0.0),
            (58.0, 0.5, 64.0, 5.0, 4.0),
        ] {
            for handed in [Hand::Right, Hand::Left] {
                let face = Face { loft: Degrees(loft), angle: Degrees(angle) };
                let readings = read_in_fixture(face, Degrees(lie), handed, fixture(pitch, roll)).unwrap();
                let club = club_from_readings(readings, Degrees(angle), handed, fixture(pitch, roll)).unwrap();
                assert!((club.loft.0 - loft).abs() < 1e-9 && (club.lie.0 - lie).abs() < 1e-9, "{club:?}");
            }
        }
    }

    #[test]
    fn a_level_fixture_reads_the_club_and_a_small_slope_adds() {
        // First order by hand: loft reads L - pitch cos F + roll sin F, lie reads A + roll.
        let face = Face { loft: Degrees(30.0), angle: Degrees(0.0) };
        let level = read_in_fixture(face, Degrees(62.0), Hand::Right, fixture(0.0, 0.0)).unwrap();
        assert!((level.loft.0 - 30.0).abs() < 1e-12 && (level.lie.0 - 62.0).abs() < 1e-12);
        let sloped = read_in_fixture(face, Degrees(62.0), Hand::Right, fixture(0.01, 0.02)).unwrap();
        assert!((sloped.loft.0 - 29.99).abs() < 1e-5 && (sloped.lie.0 - 62.02).abs() < 1e-5, "{sloped:?}");
    }

    #[test]
    fn readings_no_club_gives_are_refused() {
        let check = |loft: f64, lie: f64, pitch: f64| {
            let readings = LoftAndLie { loft: Degrees(loft), lie: Degrees(lie) };
            club_from_readings(readings, Degrees(0.0), Hand::Right, fixture(pitch, 0.0))
        };
        // A shaft in a plane pitched by 20 deg cannot stand steeper than 70 deg.
        assert_eq!(check(30.0, 80.0, 20.0), Err(AngleError::NoSuchReading { what: "lie" }));
        assert!(
            check(91.0, 60.0, 0.0).is_err() && check(30.0, 60.0, 90.0).is_err() && check(30.0, f64::NAN, 0.0).is_err()
        );
        assert!(check(30.0, -5.0, 0.0).is_err());
    }
}
