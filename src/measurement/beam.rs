//! Two support reactions of a club on the beam become its total mass, balance point and swing weight.
//!
//! Reactions and geometry come in, a [`BeamReading`] with first-order standard uncertainties goes out. No samples,
//! no filtering, no calibration of the cells: the reactions are already grams. Buoyancy is left in on purpose,
//! swing weight has always been taken in air.

use super::unit::{
    Degrees, FULCRUM_MM, GMM_PER_INCH_OUNCE, GramMillimetres, Grams, INCH_OUNCES_PER_POINT, Millimetres, Points,
};

/// Where the two supports stand, measured from the butt stop (the outside of the grip cap) toward the head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeamGeometry {
    /// Place of the first support; 14 in (355.6 mm) takes its reaction out of the swing weight.
    pub x1: Millimetres,
    /// Place of the second support, different from the first.
    pub x2: Millimetres,
    /// Standard uncertainty of `x1`, the butt stop included.
    pub u_x1: Millimetres,
    /// Standard uncertainty of `x2`, the butt stop included.
    pub u_x2: Millimetres,
    /// Correlation of the errors of the two reactions, -1 to 1 (1: one common gain error).
    pub reaction_correlation: f64,
}

/// What the two supports carry. One of them may be negative: the club then pulls its support upward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reactions {
    /// Load on the support at `x1`.
    pub r1: Grams,
    /// Load on the support at `x2`.
    pub r2: Grams,
    /// Standard uncertainty of `r1`.
    pub u_r1: Grams,
    /// Standard uncertainty of `r2`.
    pub u_r2: Grams,
}

/// A club as the beam sees it. Every `u_` is a standard uncertainty (k = 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeamReading {
    /// Total mass, the sum of the reactions.
    pub mass: Grams,
    /// Standard uncertainty of `mass`.
    pub u_mass: Grams,
    /// Balance point from the butt.
    pub balance: Millimetres,
    /// Standard uncertainty of `balance`.
    pub u_balance: Millimetres,
    /// Mass moment about the 14 in fulcrum.
    pub moment14: GramMillimetres,
    /// Standard uncertainty of `moment14`.
    pub u_moment14: GramMillimetres,
    /// Swing weight in points from A0.
    pub swing_weight: Points,
    /// Standard uncertainty of `swing_weight`.
    pub u_swing_weight: Points,
}

/// Reads the club from its two reactions.
///
/// The moment is taken straight from the reactions, `Σ Rᵢ(xᵢ − f)`, never from mass and balance: those two are
/// correlated and combining their uncertainties would be wrong. Uncertainties are first order (JCGM 100, 5.2.2).
///
/// `None` when the answer would be meaningless: a number that is not finite, a total of nothing or less, supports at
/// one place, a negative uncertainty, a correlation outside -1 to 1.
#[must_use]
pub fn read_beam(geometry: &BeamGeometry, reactions: &Reactions) -> Option<BeamReading> {
    let BeamGeometry { x1, x2, u_x1, u_x2, reaction_correlation: correlation } = *geometry;
    let Reactions { r1, r2, u_r1, u_r2 } = *reactions;
    let all = [x1.0, x2.0, u_x1.0, u_x2.0, correlation, r1.0, r2.0, u_r1.0, u_r2.0];
    let uncertainties = [u_x1.0, u_x2.0, u_r1.0, u_r2.0];
    let mass = r1 + r2;
    if all.iter().any(|number| !number.is_finite())
        || uncertainties.iter().any(|u| *u < 0.0)
        || correlation.abs() > 1.0
        || mass.0 <= 0.0
        || (x2 - x1).abs().0 < SAME_PLACE_MM
    {
        return None;
    }
    let fulcrum = Millimetres(FULCRUM_MM);
    let (arm1, arm2) = (x1 - fulcrum, x2 - fulcrum);
    let moment14 = r1 * arm1 + r2 * arm2;
    let balance = Millimetres((r1 * x1 + r2 * x2).0 / mass.0);
    let combine = |by_r1: f64, by_r2: f64, by_x1: f64, by_x2: f64| {
        let (a, b) = (by_r1 * u_r1.0, by_r2 * u_r2.0);
        let (c, d) = (by_x1 * u_x1.0, by_x2 * u_x2.0);
        // A correlation of -1 can leave a tiny negative sum.
        (a * a + b * b + 2.0 * correlation * a * b + c * c + d * d).max(0.0).sqrt()
    };
    let u_moment14 = combine(arm1.0, arm2.0, r1.0, r2.0);
    let reading = BeamReading {
        mass,
        u_mass: Grams(combine(1.0, 1.0, 0.0, 0.0)),
        balance,
        u_balance: Millimetres(combine((x1 - balance).0 / mass.0, (x2 - balance).0 / mass.0, r1 / mass, r2 / mass)),
        moment14,
        u_moment14: GramMillimetres(u_moment14),
        swing_weight: Points::from_moment14(moment14),
        u_swing_weight: Points(u_moment14 / (INCH_OUNCES_PER_POINT * GMM_PER_INCH_OUNCE)),
    };
    let out = [reading.balance.0, reading.u_balance.0, moment14.0, u_moment14, reading.u_mass.0];
    out.iter().all(|number| number.is_finite()).then_some(reading)
}

/// Supports nearer than this stand at one place and cannot tell where a club balances.
const SAME_PLACE_MM: f64 = 0.5;

/// A club resting on a beam that is not level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TiltedClub {
    /// True mass.
    pub mass: Grams,
    /// True balance point from the butt.
    pub balance: Millimetres,
    /// How far the centre of gravity hangs below the line through the supports.
    pub cg_below_supports: Millimetres,
    /// Tilt of the beam, head end down positive.
    pub head_down: Degrees,
}

/// What a tilted beam makes of a club.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TiltedReading {
    /// Force on the first support across the beam, in grams.
    pub r1: Grams,
    /// Force on the second support across the beam, in grams.
    pub r2: Grams,
    /// The mass it reads, short by the cosine of the tilt.
    pub mass: Grams,
    /// The balance point it reads.
    pub balance: Millimetres,
    /// The swing weight it reads.
    pub swing_weight: Points,
}

/// Reads a club on a tilted beam whose cells turn with it.
///
/// The cells feel the force across the beam, `M cos θ`; the part of the weight along the beam is taken up on the line
/// of the supports, so a centre of gravity `h` below that line shifts the balance by `−h tan θ` (own derivation).
///
/// `None` for supports at one place, a mass that is not positive, a beam upright or beyond, or a number not finite.
#[must_use]
pub fn read_tilted_beam(x1: Millimetres, x2: Millimetres, club: &TiltedClub) -> Option<TiltedReading> {
    let tilt = club.head_down.0.to_radians();
    let span = x2 - x1;
    if span.abs().0 < SAME_PLACE_MM || club.mass.0 <= 0.0 || club.head_down.abs().0 >= 90.0 {
        return None;
    }
    let mass = club.mass * tilt.cos();
    let balance = club.balance - club.cg_below_supports * tilt.tan();
    let r2 = mass * ((balance - x1) / span);
    let swing_weight = Points::from_moment14(mass * (balance - Millimetres(FULCRUM_MM)));
    let reading = TiltedReading { r1: mass - r2, r2, mass, balance, swing_weight };
    let out = [reading.r1.0, r2.0, mass.0, balance.0, swing_weight.0];
    out.iter().all(|number| number.is_finite()).then_some(reading)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn geometry() -> BeamGeometry {
        BeamGeometry {
            x1: Millimetres(FULCRUM_MM),
            x2: Millimetres(850.0),
            u_x1: Millimetres(0.0),
            u_x2: Millimetres(0.0),
            reaction_correlation: 0.0,
        }
    }

    #[test]
    fn the_far_support_alone_makes_the_swing_weight_when_the_near_one_stands_at_14_inches() {
        // Hand calculation: u(R) = 0.1 g at 850 mm, (850 - 355.6) x 0.1 / 1260.136 = 0.0392 points.
        let reactions = Reactions { r1: Grams(150.0), r2: Grams(280.0), u_r1: Grams(5.0), u_r2: Grams(0.1) };
        let reading = read_beam(&geometry(), &reactions).unwrap();
        assert!((reading.u_swing_weight.0 - 0.0392).abs() < 1e-4, "{reading:?}");
        assert!((reading.mass.0 - 430.0).abs() < 1e-12);
    }

    #[test]
    fn a_shifted_butt_stop_costs_a_third_of_a_point_a_millimetre() {
        // Hand calculation: both places wrong by the same millimetre move the moment by M x 1 mm = 430 g mm = 0.341 points.
        let shifted = BeamGeometry { x1: Millimetres(FULCRUM_MM + 1.0), x2: Millimetres(851.0), ..geometry() };
        let reactions = Reactions { r1: Grams(150.0), r2: Grams(280.0), u_r1: Grams(0.0), u_r2: Grams(0.0) };
        let there = read_beam(&geometry(), &reactions).unwrap().swing_weight;
        let here = read_beam(&shifted, &reactions).unwrap().swing_weight;
        assert!(((here - there).0 - 430.0 / 1_260.136_302_906_25).abs() < 1e-9);
    }

    #[test]
    fn reactions_that_mean_nothing_give_no_reading() {
        let good = Reactions { r1: Grams(150.0), r2: Grams(280.0), u_r1: Grams(0.1), u_r2: Grams(0.1) };
        for bad in [
            Reactions { r1: Grams(f64::NAN), ..good },
            Reactions { r1: Grams(-280.0), ..good },
            Reactions { u_r2: Grams(-0.1), ..good },
            Reactions { r2: Grams(f64::INFINITY), ..good },
        ] {
            assert_eq!(read_beam(&geometry(), &bad), None, "{bad:?}");
        }
        for bad in [
            BeamGeometry { x2: Millimetres(FULCRUM_MM), ..geometry() },
            BeamGeometry { reaction_correlation: 1.1, ..geometry() },
            BeamGeometry { u_x1: Millimetres(-1.0), ..geometry() },
        ] {
            assert_eq!(read_beam(&bad, &good), None, "{bad:?}");
        }
        assert!(read_beam(&geometry(), &Reactions { r1: Grams(-20.0), ..good }).is_some());
    }
}
