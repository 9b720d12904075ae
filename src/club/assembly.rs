//! A club put together from its parts: total mass, balance, swing weight and inertia.
//!
//! The parts come in, the properties of the whole go out. No glue flow, no bend of the shaft: all parts are stiff and
//! straight.
//!
//! A rod with its balance off the middle is taken to have an affine density (own derivation): with
//! `c = 12 m (b − R/2) / R³`, `λ(s) = m/R + c (s − R/2)`, which stays positive while `|b − R/2| ≤ R/6`.

use super::parts::{Assembly, AssemblyError, Place};
use super::swing_weight::{moment12, moment14};
use crate::measurement::unit::{GramMillimetres, Grams, Millimetres, Points};

/// Gram-square-millimetres in a kilogram-square-centimetre (SI, exact).
pub const GMM2_PER_KGCM2: f64 = 1e5;

/// The club as one body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassProperties {
    /// Total mass.
    pub mass: Grams,
    /// Balance point from the butt.
    pub balance: Millimetres,
    /// Centre of gravity off the axis, toward the toe.
    pub cg_lateral: Millimetres,
    /// Tip of the trimmed shaft, from the butt.
    pub shaft_tip: Millimetres,
    /// Moment about the 14 in fulcrum.
    pub moment14: GramMillimetres,
    /// Moment about the 12 in fulcrum.
    pub moment12: GramMillimetres,
    /// Swing weight.
    pub swing_weight: Points,
    /// Inertia in kg·cm² about the butt, axis normal to the plane of shaft and toe.
    pub inertia_butt_kgcm2: f64,
    /// Inertia in kg·cm² about the centre of gravity, same direction.
    pub inertia_cg_kgcm2: f64,
}

/// Mass and its first and second moment along the axis, from the butt.
#[derive(Clone, Copy, Default)]
struct Moments {
    mass_g: f64,
    first_gmm: f64,
    second_gmm2: f64,
}

impl Moments {
    fn of_point(mass: Grams, at: Millimetres) -> Self {
        Self { mass_g: mass.0, first_gmm: mass.0 * at.0, second_gmm2: mass.0 * at.0 * at.0 }
    }

    /// A piece from `from` to `to` of an affine rod, laid so that `from` comes to stand at `start`.
    fn of_rod(rod: Rod, from: f64, to: f64, start: f64) -> Self {
        let Rod { mass, length, balance } = rod;
        if length <= 0.0 {
            return Self::default();
        }
        let incline = 12.0 * mass * (balance - length / 2.0) / (length * length * length);
        let middle = f64::midpoint(from, to);
        let half = (to - from) / 2.0;
        // About the middle of the piece an affine density needs two terms only, without cancellation.
        let density = mass / length + incline * (middle - length / 2.0);
        let piece = 2.0 * half * density;
        let lever = incline * 2.0 * half * half * half / 3.0;
        let own = piece * half * half / 3.0;
        let at = start + half;
        Self { mass_g: piece, first_gmm: piece * at + lever, second_gmm2: piece * at * at + 2.0 * lever * at + own }
    }

    fn plus(self, other: Self) -> Self {
        Self {
            mass_g: self.mass_g + other.mass_g,
            first_gmm: self.first_gmm + other.first_gmm,
            second_gmm2: self.second_gmm2 + other.second_gmm2,
        }
    }
}

#[derive(Clone, Copy)]
struct Rod {
    mass: f64,
    length: f64,
    balance: f64,
}

impl Assembly {
    /// Puts the club together.
    ///
    /// # Errors
    /// Negative or infinite quantities, a balance outside the middle third, a shaft trimmed away, a club without mass.
    pub fn mass_properties(&self) -> Result<MassProperties, AssemblyError> {
        self.check()?;
        let Self { cap, shaft, grip, tape, head, points } = self;
        let shaft_tip = *cap + shaft.raw_length - shaft.butt_trim - shaft.tip_trim;
        let raw = Rod { mass: shaft.raw_mass.0, length: shaft.raw_length.0, balance: shaft.balance_from_butt.0 };
        let whole = Moments::of_rod(raw, shaft.butt_trim.0, (shaft.raw_length - shaft.tip_trim).0, cap.0);
        let of_grip = Rod { mass: grip.mass.0, length: grip.length.0, balance: grip.cg_from_butt.0 };
        let of_tape = Rod { mass: tape.mass.0, length: tape.length.0, balance: tape.length.0 / 2.0 };
        let whole = points
            .iter()
            .map(|point| match point.place {
                Place::FromButt(at) => Moments::of_point(point.mass, at),
                Place::FromTip(beyond) => Moments::of_point(point.mass, shaft_tip + beyond),
            })
            .chain([
                Moments::of_rod(of_grip, 0.0, grip.length.0, 0.0),
                Moments::of_rod(of_tape, 0.0, tape.length.0, cap.0),
                Moments::of_point(head.mass, shaft_tip + head.cg_from_tip),
            ])
            .fold(whole, Moments::plus);
        if whole.mass_g <= 0.0 {
            return Err(AssemblyError::NoMass);
        }
        let mass = Grams(whole.mass_g);
        let balance = Millimetres(whole.first_gmm / whole.mass_g);
        let cg_lateral = Millimetres(head.mass.0 * head.cg_lateral.0 / whole.mass_g);
        let off_axis = head.mass.0 * head.cg_lateral.0 * head.cg_lateral.0;
        let inertia_butt = whole.second_gmm2 + off_axis + head.inertia_cg_gmm2;
        let inertia_cg = inertia_butt - whole.mass_g * (balance.0 * balance.0 + cg_lateral.0 * cg_lateral.0);
        let moment14 = moment14(mass, balance);
        let properties = MassProperties {
            mass,
            balance,
            cg_lateral,
            shaft_tip,
            moment14,
            moment12: moment12(mass, balance),
            swing_weight: Points::from_moment14(moment14),
            inertia_butt_kgcm2: inertia_butt / GMM2_PER_KGCM2,
            inertia_cg_kgcm2: inertia_cg / GMM2_PER_KGCM2,
        };
        let finite = moment14.0.is_finite() && inertia_butt.is_finite() && inertia_cg.is_finite();
        if finite { Ok(properties) } else { Err(AssemblyError::TooLarge) }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::club::parts::{Grip, Head, PointWeight, Shaft, Tape};

    /// An invented iron with round numbers.
    pub(crate) fn iron() -> Assembly {
        Assembly {
            cap: Millimetres(3.0),
            shaft: Shaft {
                raw_length: Millimetres(960.0),
                raw_mass: Grams(96.0),
                balance_from_butt: Millimetres(470.0),
                tip_trim: Millimetres(10.0),
                butt_trim: Millimetres(20.0),
            },
            grip: Grip { mass: Grams(50.0), length: Millimetres(265.0), cg_from_butt: Millimetres(115.0) },
            tape: Tape { mass: Grams(3.0), length: Millimetres(250.0) },
            head: Head {
                mass: Grams(260.0),
                cg_from_tip: Millimetres(25.0),
                cg_lateral: Millimetres(30.0),
                inertia_cg_gmm2: 250_000.0,
            },
            points: vec![PointWeight { mass: Grams(2.0), place: Place::FromTip(Millimetres(-20.0)) }],
        }
    }

    #[test]
    fn an_even_rod_has_the_inertia_of_the_textbook() {
        // m L² / 3 about the end and m L² / 12 about the middle, with m = 120 g, L = 1000 mm.
        let mut club = iron();
        club.cap = Millimetres(0.0);
        club.shaft = Shaft {
            raw_length: Millimetres(1000.0),
            raw_mass: Grams(120.0),
            balance_from_butt: Millimetres(500.0),
            tip_trim: Millimetres(0.0),
            butt_trim: Millimetres(0.0),
        };
        (club.grip.mass, club.tape.mass, club.head.mass, club.head.inertia_cg_gmm2) =
            (Grams(0.0), Grams(0.0), Grams(0.0), 0.0);
        club.points.clear();
        let whole = club.mass_properties().unwrap();
        assert!((whole.inertia_butt_kgcm2 - 400.0).abs() < 1e-9 && (whole.inertia_cg_kgcm2 - 100.0).abs() < 1e-9);
        assert!((whole.balance.0 - 500.0).abs() < 1e-9);
    }

    #[test]
    fn a_rod_cut_in_two_weighs_and_balances_as_the_whole() {
        let rod = Rod { mass: 96.0, length: 960.0, balance: 470.0 };
        let whole = Moments::of_rod(rod, 0.0, 960.0, 0.0);
        let pieces = Moments::of_rod(rod, 0.0, 300.0, 0.0).plus(Moments::of_rod(rod, 300.0, 960.0, 300.0));
        assert!((whole.mass_g - 96.0).abs() < 1e-12 && (whole.first_gmm / 96.0 - 470.0).abs() < 1e-10);
        assert!((whole.mass_g - pieces.mass_g).abs() < 1e-12);
        assert!((whole.first_gmm - pieces.first_gmm).abs() < 1e-8);
        assert!((whole.second_gmm2 / pieces.second_gmm2 - 1.0).abs() < 1e-14);
    }

    #[test]
    fn parts_that_cannot_be_are_refused() {
        let refused = |change: &dyn Fn(&mut Assembly)| {
            let mut club = iron();
            change(&mut club);
            club.mass_properties().unwrap_err()
        };
        assert!(matches!(
            refused(&|club| club.head.mass = Grams(-1.0)),
            AssemblyError::Negative { what: "head mass", .. }
        ));
        assert!(matches!(
            refused(&|club| club.shaft.balance_from_butt = Millimetres(100.0)),
            AssemblyError::Balance { .. }
        ));
        assert!(matches!(
            refused(&|club| club.shaft.butt_trim = Millimetres(950.0)),
            AssemblyError::TrimmedAway { .. }
        ));
        assert!(matches!(
            refused(&|club| club.grip.length = Millimetres(0.0)),
            AssemblyError::NoLength { what: "grip" }
        ));
        assert!(matches!(
            refused(&|club| club.head.cg_lateral = Millimetres(f64::NAN)),
            AssemblyError::NotFinite { .. }
        ));
        assert!(matches!(refused(&|club| club.head.cg_from_tip = Millimetres(1e300)), AssemblyError::TooLarge));
    }
}
