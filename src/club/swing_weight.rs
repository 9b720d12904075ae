//! Swing weight from mass and balance, and what a gram at a place does to it.
//!
//! Masses and places come in, points and moments go out. Places are from the butt (outside of the grip cap)
//! toward the head. The letter scale itself is a unit and lives in `measurement::unit`.

use crate::measurement::unit::{
    FULCRUM_MM, GMM_PER_INCH_OUNCE, GramMillimetres, Grams, INCH_OUNCES_PER_POINT, MM_PER_INCH, Millimetres, Points,
};

/// Fulcrum of the older scale, 12 in from the butt. It needs the total mass to be told from the 14 in scale.
pub const FULCRUM_12_MM: f64 = 12.0 * MM_PER_INCH;

/// Moment of one point, in gram-millimetres (1260.136…, the "50 gram-inches" of the trade before rounding).
pub const GMM_PER_POINT: f64 = INCH_OUNCES_PER_POINT * GMM_PER_INCH_OUNCE;

/// A lever arm below this moves the swing weight so little that no sensible mass would do.
pub const SHORTEST_LEVER_ARM: Millimetres = Millimetres(0.5);

/// Mass moment about the 14 in fulcrum of a club with this mass and balance point.
#[must_use]
pub fn moment14(mass: Grams, balance: Millimetres) -> GramMillimetres {
    mass * (balance - Millimetres(FULCRUM_MM))
}

/// Mass moment about the 12 in fulcrum.
#[must_use]
pub fn moment12(mass: Grams, balance: Millimetres) -> GramMillimetres {
    mass * (balance - Millimetres(FULCRUM_12_MM))
}

/// Signed distance of a place from the 14 in fulcrum, positive toward the head.
///
/// Places within a picometre of the fulcrum count as on it: 14 × 25.4 is not exact in binary.
#[must_use]
pub fn lever_arm(at: Millimetres) -> Millimetres {
    let arm = at - Millimetres(FULCRUM_MM);
    if arm.abs().0 < 1e-9 { Millimetres(0.0) } else { arm }
}

/// Swing-weight points that one gram at this place adds: negative on the butt side, zero at 14 in.
#[must_use]
pub fn points_per_gram(at: Millimetres) -> f64 {
    lever_arm(at).0 / GMM_PER_POINT
}

/// Mass to add at a place so that the swing weight rises by `deficit`; negative means take away.
///
/// `None` when the place is within 0.5 mm of the fulcrum (no mass there would do it) or a number is not finite.
#[must_use]
pub fn mass_for_swing_weight(deficit: Points, at: Millimetres) -> Option<Grams> {
    let arm = lever_arm(at);
    if arm.abs() < SHORTEST_LEVER_ARM {
        return None;
    }
    let mass = Grams(deficit.0 * GMM_PER_POINT / arm.0);
    mass.0.is_finite().then_some(mass)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gram_in_the_head_of_a_driver_is_worth_more_than_one_in_a_wedge() {
        // Common practice says 2 g a point; by hand 49.612 g in / (x - 14 in): 1.60 g at 45.0 in, 2.36 g at 35.0 in.
        for (place_in, grams) in [(45.0, 1.600), (35.0, 2.362)] {
            let mass = mass_for_swing_weight(Points(1.0), Millimetres(place_in * MM_PER_INCH)).unwrap();
            assert!((mass.0 - grams).abs() < 1e-3, "{place_in} {mass}");
        }
    }

    #[test]
    fn weight_at_the_fulcrum_does_nothing() {
        for at in [355.6, 355.2, 356.0, f64::NAN] {
            assert_eq!(mass_for_swing_weight(Points(1.0), Millimetres(at)), None, "{at}");
        }
        assert!(points_per_gram(Millimetres(355.6)).abs() < f64::MIN_POSITIVE);
        assert!(mass_for_swing_weight(Points(1.0), Millimetres(356.2)).is_some());
    }

    #[test]
    fn weight_on_the_butt_side_takes_points_away() {
        assert!(points_per_gram(Millimetres(25.0)) < 0.0);
        // By hand: 355.6 / 1260.136 = 0.2822 points a gram at the very butt, so 3.544 g for a point less.
        let mass = mass_for_swing_weight(Points(-1.0), Millimetres(0.0)).unwrap();
        assert!((mass.0 - 3.5437).abs() < 1e-3, "{mass}");
    }
}
