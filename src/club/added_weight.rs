//! How much weight, and where, brings a club to its targets.
//!
//! The club as it stands and the targets come in, masses to add go out; a negative mass means take away. Weight is a
//! point on the shaft axis. No stock of weights: what lies in the drawer is somebody else's question.

use super::assembly::GMM2_PER_KGCM2;
use super::swing_weight::{SHORTEST_LEVER_ARM, lever_arm, mass_for_swing_weight, points_per_gram};
use crate::measurement::unit::{Grams, Millimetres, Points};

/// A club as it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Total mass.
    pub mass: Grams,
    /// Balance point from the butt.
    pub balance: Millimetres,
    /// Swing weight.
    pub swing_weight: Points,
}

/// One weight and what it does beside the swing weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWeight {
    /// Mass to add; negative to take away.
    pub mass: Grams,
    /// Total mass afterwards.
    pub new_mass: Grams,
    /// Balance point afterwards.
    pub new_balance: Millimetres,
    /// Points a gram adds there.
    pub points_per_gram: f64,
}

/// Two weights, one toward the head and one toward the butt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoWeights {
    /// Mass to add at the head place; negative to take away.
    pub head: Grams,
    /// Mass to add at the butt place; negative to take away.
    pub butt: Grams,
}

impl TwoWeights {
    /// Whether nothing has to be taken away.
    #[must_use]
    pub fn by_adding_only(&self) -> bool {
        // A billionth of a gram below zero is rounding.
        self.head.0 >= -1e-9 && self.butt.0 >= -1e-9
    }
}

/// Why weight does not bring the club to its targets.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WeightError {
    /// Weight at this place, or at these two, moves the target by nothing.
    #[error("the lever arm is {found_mm:.3} mm, expected at least 0.5 mm: no mass there would do it")]
    NoLeverArm {
        /// Lever arm, or what stands for it with two places, in mm.
        found_mm: f64,
    },
    /// More would have to come off than the club weighs.
    #[error("{found_g:.1} g would have to come off a club of {club_g:.1} g")]
    MoreThanTheClub {
        /// Mass to take away, in grams.
        found_g: f64,
        /// Mass of the club, in grams.
        club_g: f64,
    },
    /// A number that means nothing here.
    #[error("{what} is {found}, expected {expected}")]
    Meaningless {
        /// The quantity.
        what: &'static str,
        /// What was found.
        found: f64,
        /// What would do.
        expected: &'static str,
    },
}

fn check(what: &'static str, found: f64) -> Result<(), WeightError> {
    if found.is_finite() { Ok(()) } else { Err(WeightError::Meaningless { what, found, expected: "a finite number" }) }
}

fn check_mass(mass: Grams) -> Result<(), WeightError> {
    if mass.0 > 0.0 && mass.0.is_finite() {
        return Ok(());
    }
    Err(WeightError::Meaningless { what: "total mass", found: mass.0, expected: "more than 0 g" })
}

fn check_left(mass: Grams, added: Grams) -> Result<(), WeightError> {
    check("mass to add", added.0)?;
    if (mass + added).0 > 0.0 {
        return Ok(());
    }
    Err(WeightError::MoreThanTheClub { found_g: -added.0, club_g: mass.0 })
}

/// One weight at a place for a swing weight.
///
/// # Errors
/// A place within 0.5 mm of the fulcrum, more to take away than the club weighs, numbers without meaning.
pub fn for_swing_weight(club: &Standing, target: Points, at: Millimetres) -> Result<OneWeight, WeightError> {
    check_mass(club.mass)?;
    check("place", at.0)?;
    check("target", target.0)?;
    check("balance", club.balance.0)?;
    let mass = mass_for_swing_weight(target - club.swing_weight, at)
        .ok_or(WeightError::NoLeverArm { found_mm: lever_arm(at).0 })?;
    check_left(club.mass, mass)?;
    let new_mass = club.mass + mass;
    let new_balance = Millimetres((club.mass * club.balance + mass * at).0 / new_mass.0);
    check("balance afterwards", new_balance.0)?;
    Ok(OneWeight { mass, new_mass, new_balance, points_per_gram: points_per_gram(at) })
}

/// Two weights for a total mass and a swing weight.
///
/// # Errors
/// Places within 0.5 mm of each other, more to take away than the club weighs, numbers without meaning.
pub fn for_mass_and_swing_weight(
    club: &Standing,
    target_mass: Grams,
    target: Points,
    at_head: Millimetres,
    at_butt: Millimetres,
) -> Result<TwoWeights, WeightError> {
    check_mass(club.mass)?;
    check_mass(target_mass)?;
    check("place at the head", at_head.0)?;
    check("place at the butt", at_butt.0)?;
    let apart = at_head - at_butt;
    if apart.abs() < SHORTEST_LEVER_ARM {
        return Err(WeightError::NoLeverArm { found_mm: apart.0 });
    }
    let moment = (target.moment14() - club.swing_weight.moment14()).0;
    let mass = target_mass - club.mass;
    let head = Grams((moment - mass.0 * lever_arm(at_butt).0) / apart.0);
    let weights = TwoWeights { head, butt: mass - head };
    check("mass to add", weights.head.0)?;
    Ok(weights)
}

/// Two weights for an inertia about the butt (kg·cm²) and a swing weight.
///
/// The two conditions are `a_h m_h + a_b m_b = ΔM` and `x_h² m_h + x_b² m_b = ΔI`; what stands for the lever arm is
/// their determinant over the larger square.
///
/// # Errors
/// Places that move both targets in one proportion, more to take away than the club weighs, numbers without meaning.
pub fn for_inertia_and_swing_weight(
    club: &Standing,
    inertia_butt_kgcm2: f64,
    target_inertia_butt_kgcm2: f64,
    target: Points,
    at_head: Millimetres,
    at_butt: Millimetres,
) -> Result<TwoWeights, WeightError> {
    check_mass(club.mass)?;
    check("place at the head", at_head.0)?;
    check("place at the butt", at_butt.0)?;
    for (what, found) in [("inertia", inertia_butt_kgcm2), ("target inertia", target_inertia_butt_kgcm2)] {
        if !(found > 0.0 && found.is_finite()) {
            return Err(WeightError::Meaningless { what, found, expected: "more than 0 kg·cm²" });
        }
    }
    let (arm_head, arm_butt) = (lever_arm(at_head).0, lever_arm(at_butt).0);
    let (square_head, square_butt) = (at_head.0 * at_head.0, at_butt.0 * at_butt.0);
    let determinant = arm_head * square_butt - arm_butt * square_head;
    let larger = square_head.max(square_butt);
    let stands_for_arm = if larger > 0.0 { determinant / larger } else { 0.0 };
    if stands_for_arm.is_nan() || stands_for_arm.abs() < SHORTEST_LEVER_ARM.0 {
        return Err(WeightError::NoLeverArm { found_mm: stands_for_arm });
    }
    let moment = (target.moment14() - club.swing_weight.moment14()).0;
    let inertia = (target_inertia_butt_kgcm2 - inertia_butt_kgcm2) * GMM2_PER_KGCM2;
    let weights = TwoWeights {
        head: Grams((moment * square_butt - arm_butt * inertia) / determinant),
        butt: Grams((arm_head * inertia - square_head * moment) / determinant),
    };
    check_left(club.mass, weights.head + weights.butt)?;
    Ok(weights)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::assembly::tests::iron;
    use crate::club::parts::{Place, PointWeight};

    fn standing() -> (Standing, f64) {
        let whole = iron().mass_properties().unwrap();
        let club = Standing { mass: whole.mass, balance: whole.balance, swing_weight: whole.swing_weight };
        (club, whole.inertia_butt_kgcm2)
    }

    fn with(weights: &[(Grams, Millimetres)]) -> crate::club::assembly::MassProperties {
        let mut club = iron();
        club.points.extend(weights.iter().map(|(mass, at)| PointWeight { mass: *mass, place: Place::FromButt(*at) }));
        club.mass_properties().unwrap()
    }

    #[test]
    fn the_whole_model_confirms_one_weight() {
        let (club, _) = standing();
        let target = club.swing_weight + Points(2.0);
        let weight = for_swing_weight(&club, target, Millimetres(950.0)).unwrap();
        let whole = with(&[(weight.mass, Millimetres(950.0))]);
        assert!((whole.swing_weight - target).abs().0 < 1e-9);
        assert!((whole.balance - weight.new_balance).abs().0 < 1e-9);
    }

    #[test]
    fn the_whole_model_confirms_two_weights() {
        let (club, inertia) = standing();
        let (head, butt) = (Millimetres(950.0), Millimetres(25.0));
        let target = club.swing_weight + Points(1.0);
        let mass = club.mass + Grams(8.0);
        let weights = for_mass_and_swing_weight(&club, mass, target, head, butt).unwrap();
        assert!(weights.by_adding_only());
        let whole = with(&[(weights.head, head), (weights.butt, butt)]);
        assert!((whole.mass - mass).abs().0 < 1e-9 && (whole.swing_weight - target).abs().0 < 1e-9);
        let weights = for_inertia_and_swing_weight(&club, inertia, inertia + 25.0, target, head, butt).unwrap();
        let whole = with(&[(weights.head, head), (weights.butt, butt)]);
        assert!((whole.inertia_butt_kgcm2 - inertia - 25.0).abs() < 1e-7);
        assert!((whole.swing_weight - target).abs().0 < 1e-9);
    }

    #[test]
    fn a_place_without_a_lever_arm_has_no_solution() {
        let (club, inertia) = standing();
        let no_arm = |error: WeightError| matches!(error, WeightError::NoLeverArm { .. });
        let (target, at) = (Points(33.0), Millimetres(355.6));
        assert!(no_arm(for_swing_weight(&club, target, at).unwrap_err()));
        assert!(no_arm(for_mass_and_swing_weight(&club, Grams(450.0), target, at, at).unwrap_err()));
        assert!(no_arm(for_inertia_and_swing_weight(&club, inertia, inertia, target, at, at).unwrap_err()));
        let zero = Millimetres(0.0);
        assert!(no_arm(for_inertia_and_swing_weight(&club, inertia, inertia, target, zero, zero).unwrap_err()));
    }

    #[test]
    fn a_club_cannot_lose_more_than_it_weighs() {
        let (club, _) = standing();
        let error = for_swing_weight(&club, club.swing_weight + Points(40.0), Millimetres(300.0)).unwrap_err();
        assert!(matches!(error, WeightError::MoreThanTheClub { .. }), "{error}");
        let nothing = Standing { mass: Grams(0.0), ..club };
        assert!(for_swing_weight(&nothing, Points(30.0), Millimetres(900.0)).is_err());
    }
}
