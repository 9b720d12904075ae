//! Every position of an off-axis sleeve beside each other, and the one that is nearest to a wanted change.
//!
//! Angles of the measured club and the sleeve's positions come in; changes in degrees go out. Changes are those the player
//! sees: of the club with its shaft held as it was, or turned about it until face or loft is as before. Absent: names of
//! positions, which are clock angles only.

use super::angles::{AngleError, Face};
use super::sleeve::{Sleeve, SleevedClub, put_on_sleeve};
use crate::measurement::unit::Degrees;

/// What one position changes, against the position the club was measured in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PositionChange {
    /// The position, from the upright side toward the target.
    pub clock: Degrees,
    /// Lie of the soled head; + upright.
    pub lie: Degrees,
    /// Lean of the shaft toward the target over the soled head.
    pub shaft_lean: Degrees,
    /// Loft with the shaft held.
    pub loft_held: Degrees,
    /// Face angle with the shaft held; + closed.
    pub face_held: Degrees,
    /// Loft when the club is turned until the face is as before.
    pub loft_same_face: Degrees,
    /// Face angle when it is turned until the loft is as before instead; + closed.
    pub face_same_loft: Degrees,
}

/// A change that is wanted, in degrees; what is absent is free.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Wanted {
    /// Of lie; + upright.
    pub lie: Option<f64>,
    /// Of loft.
    pub loft: Option<f64>,
    /// Of face angle; + closed.
    pub face: Option<f64>,
}

/// The changes of every position against the one at `measured_at`, or against a straight sleeve.
///
/// `face` and `lie` are those of the club as measured on its sole. A head that rests on its sole keeps its loft and face
/// whatever the sleeve does; the lie of the head itself is the measured one less what the sleeve adds.
///
/// # Errors
/// Angles outside their ranges, or a loft or face angle that no turn about the shaft brings back.
pub fn changes(
    face: Face,
    lie: Degrees,
    tilt: Degrees,
    clocks: &[Degrees],
    measured_at: Option<Degrees>,
) -> Result<Vec<PositionChange>, AngleError> {
    let added = measured_at.map_or(Degrees(0.0), |at| lie_added(tilt, at));
    let head_lie = lie - added;
    let put = |clock: Degrees| put_on_sleeve(face, head_lie, Sleeve { tilt, clock });
    let straight = || put_on_sleeve(face, head_lie, Sleeve { tilt: Degrees(0.0), clock: Degrees(0.0) });
    let reference = measured_at.map_or_else(straight, put)?;
    clocks.iter().map(|clock| put(*clock).map(|club| difference(*clock, &club, &reference))).collect()
}

/// What a sleeve at a clock position adds to the lie of the soled head: `atan(tan δ · cos θ)` (own derivation: the shaft's
/// lean seen along the target line).
#[must_use]
pub fn lie_added(tilt: Degrees, at: Degrees) -> Degrees {
    Degrees((tilt.0.to_radians().tan() * at.0.to_radians().cos()).atan().to_degrees())
}

fn difference(clock: Degrees, club: &SleevedClub, reference: &SleevedClub) -> PositionChange {
    PositionChange {
        clock,
        lie: club.lie_soled - reference.lie_soled,
        shaft_lean: club.shaft_lean - reference.shaft_lean,
        loft_held: club.shaft_held.loft - reference.shaft_held.loft,
        face_held: club.shaft_held.angle - reference.shaft_held.angle,
        loft_same_face: club.loft_face_restored - reference.loft_face_restored,
        face_same_loft: club.face_loft_restored - reference.face_loft_restored,
    }
}

impl PositionChange {
    /// How far this position is from a wanted change, in degrees: the root of the squares of what is wanted.
    ///
    /// Loft alone is compared with the face as before, the face alone with the loft as before, both with the shaft held.
    #[must_use]
    pub fn distance(&self, wanted: Wanted) -> f64 {
        let (loft, face) = match (wanted.loft, wanted.face) {
            (Some(_), Some(_)) => (self.loft_held, self.face_held),
            _ => (self.loft_same_face, self.face_same_loft),
        };
        let miss = |wanted: Option<f64>, found: Degrees| wanted.map_or(0.0, |wanted| found.0 - wanted);
        miss(wanted.lie, self.lie).hypot(miss(wanted.loft, loft)).hypot(miss(wanted.face, face))
    }
}

/// The position nearest to a wanted change; of two that are equally near the one that leaves the lie more as it was.
#[must_use]
pub fn best(changes: &[PositionChange], wanted: Wanted) -> Option<&PositionChange> {
    let as_far = |a: f64, b: f64| (a - b).abs() < 1e-9;
    changes.iter().reduce(|best, next| {
        let (so_far, this) = (best.distance(wanted), next.distance(wanted));
        let nearer = if as_far(so_far, this) { next.lie.abs().0 + 1e-9 < best.lie.abs().0 } else { this < so_far };
        if nearer { next } else { best }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn face() -> Face {
        Face { loft: Degrees(10.5), angle: Degrees(0.0) }
    }

    const CLOCKS: [Degrees; 4] = [Degrees(0.0), Degrees(90.0), Degrees(180.0), Degrees(270.0)];

    fn table(at: Option<Degrees>) -> Vec<PositionChange> {
        changes(face(), Degrees(58.0), Degrees(1.0), &CLOCKS, at).unwrap()
    }

    #[test]
    fn the_position_it_was_measured_in_changes_nothing() {
        for at in CLOCKS {
            let rows = table(Some(at));
            let own = rows.iter().find(|row| row.clock == at).unwrap();
            for change in [own.lie, own.loft_held, own.face_held, own.loft_same_face, own.face_same_loft] {
                assert!(change.abs().0 < 1e-12, "{own:?}");
            }
        }
    }

    #[test]
    fn from_one_side_to_the_other_is_twice_the_tilt() {
        // By hand: upright at 0 deg and flat at 180 deg, so from one to the other the lie falls by 2 deg.
        let rows = table(Some(Degrees(0.0)));
        assert!((rows[2].lie.0 + 2.0).abs() < 1e-9, "{rows:?}");
        // Toward the target at 90 deg, away at 270 deg: 2 × 1.18 deg of loft at the same face (derived, tests/checks).
        let rows = table(Some(Degrees(270.0)));
        assert!((rows[1].loft_same_face.0 - 2.0 * 1.179).abs() < 0.01, "{rows:?}");
    }

    #[test]
    fn the_best_position_is_the_nearest_one() {
        let rows = table(None);
        let at = |wanted| best(&rows, wanted).unwrap().clock;
        assert_eq!(at(Wanted { loft: Some(1.0), ..Wanted::default() }), Degrees(90.0));
        assert_eq!(at(Wanted { loft: Some(-1.0), ..Wanted::default() }), Degrees(270.0));
        assert_eq!(at(Wanted { lie: Some(-1.0), ..Wanted::default() }), Degrees(180.0));
        assert_eq!(at(Wanted { face: Some(1.9), ..Wanted::default() }), Degrees(90.0));
        assert!(best(&[], Wanted::default()).is_none());
    }
}
