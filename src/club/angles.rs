//! Loft, lie and face angle of a club at address, and how turning and bending change them.
//!
//! Angles come in, angles go out; directions are unit vectors in between. Frame of a right-handed club: X to the target,
//! Y from the ball to the golfer, Z up. A left-handed club is its mirror image in Y; every angle keeps its meaning:
//! lie from the ground, loft from the vertical in the vertical sense, face and turn positive when they close.
//! No gauge and no sleeve here: those are beside this file.

use crate::measurement::gauge::Hand;
use crate::measurement::unit::Degrees;

/// A direction or axis, `[X, Y, Z]`.
pub type Vector = [f64; 3];

impl Hand {
    /// Takes a direction of the right-handed frame to where it really points for this hand.
    #[must_use]
    pub fn place(self, direction: Vector) -> Vector {
        let [x, y, z] = direction;
        match self {
            Self::Right => [x, y, z],
            Self::Left => [x, -y, z],
        }
    }
}

/// Where a face looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Loft from the vertical, in the vertical sense.
    pub loft: Degrees,
    /// Face angle, closed positive.
    pub angle: Degrees,
}

/// Why angles have no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AngleError {
    /// An angle outside its range, or not finite.
    #[error("{what} is {found} deg, expected {expected}")]
    OutOfRange {
        /// The angle.
        what: &'static str,
        /// What was found, in degrees.
        found: f64,
        /// The range.
        expected: &'static str,
    },
    /// The face looks straight up or down, so it has no direction.
    #[error("the face looks straight up or down and has no face angle")]
    NoFaceAngle,
    /// No turn about the shaft does it.
    #[error("no turn about the shaft brings back the {what}")]
    NoTurn {
        /// What was to be brought back.
        what: &'static str,
    },
    /// A gauge cannot show this in this fixture.
    #[error("no {what} gives this reading in this fixture")]
    NoSuchReading {
        /// The angle sought.
        what: &'static str,
    },
}

/// Refuses an angle that is not finite.
pub(super) fn finite(what: &'static str, angle: Degrees) -> Result<f64, AngleError> {
    if angle.0.is_finite() {
        return Ok(angle.0);
    }
    Err(AngleError::OutOfRange { what, found: angle.0, expected: "a finite angle" })
}

/// Refuses a lie that no club has.
pub(super) fn checked_lie(lie: Degrees) -> Result<f64, AngleError> {
    if lie.0 > 0.0 && lie.0 <= 90.0 {
        return Ok(lie.0);
    }
    Err(AngleError::OutOfRange { what: "lie", found: lie.0, expected: "more than 0 deg, up to 90 deg" })
}

fn checked_slope(what: &'static str, angle: Degrees) -> Result<f64, AngleError> {
    if angle.abs().0 < 90.0 {
        return Ok(angle.0);
    }
    Err(AngleError::OutOfRange { what, found: angle.0, expected: "between -90 deg and 90 deg" })
}

impl Face {
    /// Refuses a face that looks away.
    pub(super) fn checked(self) -> Result<Self, AngleError> {
        checked_slope("loft", self.loft)?;
        checked_slope("face angle", self.angle)?;
        Ok(self)
    }

    /// Unit vector out of the face, in the right-handed frame.
    #[must_use]
    pub fn normal(self) -> Vector {
        let (loft, angle) = (self.loft.0.to_radians(), self.angle.0.to_radians());
        [loft.cos() * angle.cos(), loft.cos() * angle.sin(), loft.sin()]
    }

    /// The face that looks along a unit vector of the right-handed frame.
    ///
    /// # Errors
    /// A face that looks straight up or down.
    pub fn from_normal(normal: Vector) -> Result<Self, AngleError> {
        let [x, y, z] = normal;
        let level = x.hypot(y);
        if level.is_nan() || level < 1e-12 {
            return Err(AngleError::NoFaceAngle);
        }
        // The arc tangent keeps its digits near 90 deg, where the arc sine loses half of them.
        Ok(Self { loft: Degrees(z.atan2(level).to_degrees()), angle: Degrees(y.atan2(x).to_degrees()) })
    }
}

/// Unit vector up the shaft at a lie, in the right-handed frame.
#[must_use]
pub fn shaft_axis(lie: Degrees) -> Vector {
    let lie = lie.0.to_radians();
    [0.0, lie.cos(), lie.sin()]
}

/// Scalar product.
#[must_use]
pub fn dot(a: Vector, b: Vector) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Vector product.
#[must_use]
pub fn cross(a: Vector, b: Vector) -> Vector {
    let ([ax, ay, az], [bx, by, bz]) = (a, b);
    [ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]
}

/// Turns a direction about a unit axis by an angle in radians, right-hand rule (Rodrigues' formula).
#[must_use]
pub fn turn(axis: Vector, angle_rad: f64, direction: Vector) -> Vector {
    let (sin, cos) = angle_rad.sin_cos();
    let ([kx, ky, kz], [px, py, pz], [vx, vy, vz]) = (axis, cross(axis, direction), direction);
    let along = dot(axis, direction) * (1.0 - cos);
    [vx * cos + px * sin + kx * along, vy * cos + py * sin + ky * along, vz * cos + pz * sin + kz * along]
}

/// Turns the club about its shaft axis (positive closes), the sole free to follow; lie stays.
///
/// About the upward shaft axis of the right-handed frame closing is a turn by the right-hand rule.
///
/// # Errors
/// Angles outside their ranges, a face that ends up looking straight up.
pub fn turn_about_shaft(face: Face, lie: Degrees, closing: Degrees) -> Result<Face, AngleError> {
    checked_lie(lie)?;
    let closing = finite("turn about the shaft", closing)?.to_radians();
    Face::from_normal(turn(shaft_axis(lie), closing, face.checked()?.normal()))
}

/// Loft in the plane through the shaft and the target direction, which some gauges read.
///
/// The face cuts that plane in a line; its angle from the shaft has the tangent
/// `(tan L sin Λ + sin F cos Λ) / cos F` (own derivation; `tan L sin Λ` at F = 0).
///
/// # Errors
/// Angles outside their ranges.
pub fn loft_in_shaft_plane(face: Face, lie: Degrees) -> Result<Degrees, AngleError> {
    checked_lie(lie)?;
    let normal = face.checked()?.normal();
    let [toward_target, ..] = normal;
    Ok(Degrees(dot(normal, shaft_axis(lie)).atan2(toward_target).to_degrees()))
}

/// Loft and bounce after bending the neck in the vertical plane of the target line: they go together, one for one.
///
/// # Errors
/// Angles outside their ranges, before or after.
pub fn bend_loft(loft: Degrees, bounce: Degrees, by: Degrees) -> Result<(Degrees, Degrees), AngleError> {
    checked_slope("loft", loft)?;
    checked_slope("bounce", bounce)?;
    finite("bend", by)?;
    let bent = (loft + by, bounce + by);
    checked_slope("loft after bending", bent.0)?;
    checked_slope("bounce after bending", bent.1)?;
    Ok(bent)
}

/// Where the face looks when a club whose lie was bent is still held at its old lie.
///
/// On its sole the head keeps loft, bounce and face; held at the old lie it turns about the target line by the bend, so
/// the face turns by tan L for a degree: an upright bend closes it (own derivation; small bends).
///
/// # Errors
/// Angles outside their ranges, a face that ends up looking straight up.
pub fn held_at_old_lie(face: Face, upright_by: Degrees) -> Result<Face, AngleError> {
    let by = checked_slope("bend of lie", upright_by)?.to_radians();
    Face::from_normal(turn([1.0, 0.0, 0.0], -by, face.checked()?.normal()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::gauge::LoftSense;

    fn face(loft: f64, angle: f64) -> Face {
        Face { loft: Degrees(loft), angle: Degrees(angle) }
    }

    #[test]
    fn a_turn_forth_and_back_changes_nothing() {
        for (loft, angle, lie, closing) in [(10.5, 1.0, 58.0, 3.0), (56.0, -2.0, 64.0, -7.5), (3.0, 0.0, 90.0, 10.0)] {
            let there = turn_about_shaft(face(loft, angle), Degrees(lie), Degrees(closing)).unwrap();
            let back = turn_about_shaft(there, Degrees(lie), Degrees(-closing)).unwrap();
            assert!((back.loft.0 - loft).abs() < 1e-12 && (back.angle.0 - angle).abs() < 1e-12, "{back:?}");
        }
    }

    #[test]
    fn a_shaft_that_stands_upright_turns_the_face_alone() {
        let turned = turn_about_shaft(face(20.0, 1.0), Degrees(90.0), Degrees(4.0)).unwrap();
        assert!((turned.loft.0 - 20.0).abs() < 1e-12 && (turned.angle.0 - 5.0).abs() < 1e-12);
    }

    #[test]
    fn the_two_lofts_convert_into_each_other() {
        for (loft, angle, lie) in [(34.0, 0.0, 62.5), (10.5, 2.0, 58.0), (-2.0, -1.0, 71.0)] {
            let shown = loft_in_shaft_plane(face(loft, angle), Degrees(lie)).unwrap();
            let back = LoftSense::ShaftPlane.to_vertical(shown.0, lie, angle);
            assert!((back - loft).abs() < 1e-12, "{loft} {shown} {back}");
        }
        // By hand: tan 34 deg x sin 62.5 deg = 0.67451 x 0.88701 = 0.59829, 30.89 deg.
        let shown = loft_in_shaft_plane(face(34.0, 0.0), Degrees(62.5)).unwrap();
        assert!((shown.0 - 30.89).abs() < 0.005, "{shown}");
    }

    #[test]
    fn angles_no_club_has_are_refused() {
        for (loft, angle, lie) in
            [(90.0, 0.0, 60.0), (10.0, 95.0, 60.0), (10.0, 0.0, 0.0), (10.0, 0.0, 91.0), (f64::NAN, 0.0, 60.0)]
        {
            assert!(turn_about_shaft(face(loft, angle), Degrees(lie), Degrees(1.0)).is_err(), "{loft} {angle} {lie}");
        }
        assert!(turn_about_shaft(face(10.0, 0.0), Degrees(60.0), Degrees(f64::INFINITY)).is_err());
        assert!(bend_loft(Degrees(89.0), Degrees(5.0), Degrees(2.0)).is_err());
        assert_eq!(Face::from_normal([0.0, 0.0, 1.0]), Err(AngleError::NoFaceAngle));
    }
}
