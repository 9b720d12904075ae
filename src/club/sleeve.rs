//! What an off-axis sleeve between shaft and head does to loft, lie and face angle.
//!
//! The head's angles and the sleeve's tilt and clock position come in; the angles of the soled head, of the club with
//! its shaft held, and after turning it about the shaft go out. No naming of sleeve settings: a tilt and a clock angle
//! describe them all. The grip turns with the sleeve, so a ribbed grip loses its alignment.

use super::angles::{AngleError, Face, Vector, checked_lie, cross, dot, finite, shaft_axis, turn};
use crate::measurement::unit::Degrees;

/// A sleeve whose shaft bore leans away from the bore of the head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sleeve {
    /// Lean of the shaft from the bore of the head.
    pub tilt: Degrees,
    /// Where it leans, from the upright side toward the target.
    pub clock: Degrees,
}

/// A head on an off-axis sleeve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SleevedClub {
    /// Lie when the head rests on its sole as before.
    pub lie_soled: Degrees,
    /// Lean of the shaft toward the target when the head rests so.
    pub shaft_lean: Degrees,
    /// The face when the shaft is brought back to where it was, by the least turn.
    pub shaft_held: Face,
    /// Loft when the club is then turned about its shaft until the face angle is as before.
    pub loft_face_restored: Degrees,
    /// That turn, closing positive.
    pub turn_to_restore_face: Degrees,
    /// Face angle when it is turned until the loft is as before instead.
    pub face_loft_restored: Degrees,
}

/// Puts a head on a sleeve.
///
/// `face` and `lie` are those of the head with a straight sleeve, right-handed or left-handed alike.
///
/// # Errors
/// Angles outside their ranges, or a loft or face angle that no turn about the shaft brings back.
pub fn put_on_sleeve(face: Face, lie: Degrees, sleeve: Sleeve) -> Result<SleevedClub, AngleError> {
    checked_lie(lie)?;
    let normal = face.checked()?.normal();
    if !(-45.0..=45.0).contains(&sleeve.tilt.0) {
        let found = sleeve.tilt.0;
        return Err(AngleError::OutOfRange { what: "sleeve tilt", found, expected: "-45 deg to 45 deg" });
    }
    let (tilt, clock) = (sleeve.tilt.0.to_radians(), finite("sleeve clock", sleeve.clock)?.to_radians());
    let bore = shaft_axis(lie);
    let [_, bore_y, bore_z] = bore;
    let (upright, aside) = (tilt.sin() * clock.cos(), tilt.sin() * clock.sin());
    let shaft = [aside, tilt.cos() * bore_y - upright * bore_z, tilt.cos() * bore_z + upright * bore_y];
    let [shaft_x, shaft_y, shaft_z] = shaft;
    let held = least_turn(shaft, bore, normal);
    let shaft_held = Face::from_normal(held)?;

    let angle = face.angle.0.to_radians();
    // The face looks along its old bearing when nothing of it points across that bearing.
    let across = [-angle.sin(), angle.cos(), 0.0];
    let along = [angle.cos(), angle.sin(), 0.0];
    let same_face = smallest_turn(bore, held, across, 0.0, |turned| dot(turned, along) > 0.0)
        .ok_or(AngleError::NoTurn { what: "face angle" })?;
    let sine_of_loft = face.loft.0.to_radians().sin();
    let same_loft = smallest_turn(bore, held, [0.0, 0.0, 1.0], sine_of_loft, |_| true)
        .ok_or(AngleError::NoTurn { what: "loft" })?;
    Ok(SleevedClub {
        lie_soled: Degrees(shaft_z.atan2(shaft_y).to_degrees()),
        shaft_lean: Degrees(shaft_x.atan2(shaft_y.hypot(shaft_z)).to_degrees()),
        shaft_held,
        loft_face_restored: Face::from_normal(turn(bore, same_face, held))?.loft,
        turn_to_restore_face: Degrees(same_face.to_degrees()),
        face_loft_restored: Face::from_normal(turn(bore, same_loft, held))?.angle,
    })
}

/// Turns a direction by the least turn that takes `from` to `to`.
fn least_turn(from: Vector, to: Vector, direction: Vector) -> Vector {
    let axis = cross(from, to);
    let sine = dot(axis, axis).sqrt();
    if sine <= 0.0 {
        return direction;
    }
    turn(axis.map(|component| component / sine), sine.atan2(dot(from, to)), direction)
}

/// Smallest turn of `direction` about `axis`, in radians, after which its component along `measure` is `wanted`.
///
/// That component is `a + b cos p + c sin p`, which reaches a value at two turns or at none.
fn smallest_turn(
    axis: Vector,
    direction: Vector,
    measure: Vector,
    wanted: f64,
    acceptable: impl Fn(Vector) -> bool,
) -> Option<f64> {
    let fixed = dot(axis, direction) * dot(axis, measure);
    let with_cosine = dot(direction, measure) - fixed;
    let with_sine = dot(cross(axis, direction), measure);
    let reach = with_cosine.hypot(with_sine);
    let share = (wanted - fixed) / reach;
    // Nothing to reach with: the turn does not move this component at all.
    if reach < 1e-12 {
        return ((wanted - fixed).abs() < 1e-12 && acceptable(direction)).then_some(0.0);
    }
    // A turn of nothing may ask for a hair more than the reach.
    if share.is_nan() || share.abs() > 1.0 + 1e-12 {
        return None;
    }
    let middle = with_sine.atan2(with_cosine);
    let either = share.clamp(-1.0, 1.0).acos();
    let full = 2.0 * std::f64::consts::PI;
    [middle + either, middle - either]
        .into_iter()
        .map(|angle| angle - full * (angle / full).round())
        .filter(|angle| acceptable(turn(axis, *angle, direction)))
        .min_by(|a, b| a.abs().total_cmp(&b.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(loft: f64, angle: f64, lie: f64, tilt: f64, clock: f64) -> Result<SleevedClub, AngleError> {
        let face = Face { loft: Degrees(loft), angle: Degrees(angle) };
        put_on_sleeve(face, Degrees(lie), Sleeve { tilt: Degrees(tilt), clock: Degrees(clock) })
    }

    #[test]
    fn a_straight_sleeve_changes_nothing() {
        let club = put(10.5, 0.5, 58.0, 0.0, 77.0).unwrap();
        for (found, expected) in [
            (club.lie_soled, 58.0),
            (club.shaft_lean, 0.0),
            (club.shaft_held.loft, 10.5),
            (club.shaft_held.angle, 0.5),
            (club.loft_face_restored, 10.5),
            (club.turn_to_restore_face, 0.0),
            (club.face_loft_restored, 0.5),
        ] {
            assert!((found.0 - expected).abs() < 1e-12, "{club:?}");
        }
    }

    #[test]
    fn a_small_tilt_follows_the_small_angle_forms() {
        // First order by hand, loft L, lie A, tilt d at clock t, square face: loft held d sin t sin A, face held
        // d (sin t cos A + cos t tan L), loft at square face d (sin t / sin A + cos t cot A tan L).
        let (loft, lie, tilt) = (10.5f64, 58.0f64, 0.01);
        for clock in [0.0f64, 45.0, 90.0, 200.0, 315.0] {
            let club = put(loft, 0.0, lie, tilt, clock).unwrap();
            let ((sin_t, cos_t), (sin_a, cos_a)) = (clock.to_radians().sin_cos(), lie.to_radians().sin_cos());
            let tan_l = loft.to_radians().tan();
            assert!((club.shaft_held.loft.0 - loft - tilt * sin_t * sin_a).abs() < 1e-5, "{clock}");
            assert!((club.shaft_held.angle.0 - tilt * (sin_t * cos_a + cos_t * tan_l)).abs() < 1e-5, "{clock}");
            let restored = tilt * (sin_t / sin_a + cos_t * cos_a / sin_a * tan_l);
            assert!((club.loft_face_restored.0 - loft - restored).abs() < 1e-5, "{clock}");
        }
    }

    #[test]
    fn a_loft_that_cannot_be_brought_back_is_said_so() {
        // About an upright shaft no turn changes the loft.
        assert_eq!(put(10.0, 0.0, 90.0, 1.0, 90.0), Err(AngleError::NoTurn { what: "loft" }));
        assert!(put(10.0, 0.0, 60.0, f64::NAN, 0.0).is_err());
        assert!(put(10.0, 0.0, 60.0, 46.0, 0.0).is_err());
        assert!(put(10.0, 0.0, 60.0, 1.0, f64::INFINITY).is_err());
    }
}
