//! The club in the builder's hands: real parts near the planned ones, and what the finished whole truly weighs and where it
//! balances.
//!
//! Plans go in, masses, balance points and swing weights come out. Written apart from the daemon's club model on purpose.
//! Positions are mm from the outside of the grip cap.

use crate::chance::Chance;
use crate::plan::ClubPlan;

/// Millimetres in an inch and grams in an ounce: definitions of 1959.
const MM_PER_INCH: f64 = 25.4;
const G_PER_OUNCE: f64 = 28.349_523_125;
/// The swing-weight fulcrum, inches from the butt; the moment at point A0, in·oz; one point, in·oz. The trade's letter scale.
const FULCRUM_INCHES: f64 = 14.0;
const A0_INCH_OUNCES: f64 = 161.0;
const POINT_INCH_OUNCES: f64 = 1.75;

/// Thickness of the grip cap: the shaft begins here.
const CAP_MM: f64 = 3.0;
/// From the sole back to the end of the shaft in the head, along the shaft.
const SOLE_TO_TIP_MM: f64 = 25.0;
/// How far beyond the end of the shaft a head's centre of mass may lie.
const HEAD_BEYOND_TIP_MM: (f64, f64) = (10.0, 35.0);
/// Where a shaft may balance, as a share of its length (common practice, no source; a sixth off the middle is the limit
/// of a shaft whose mass falls evenly along it).
const SHAFT_BALANCE: (f64, f64) = (0.42, 0.58);

/// A mass and where it acts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Lump {
    pub(crate) mass_g: f64,
    pub(crate) at_mm: f64,
}

/// The club as it is at one moment of its making.
#[derive(Clone, Debug)]
pub(crate) struct Club {
    pub(crate) head: Lump,
    pub(crate) shaft: Lump,
    pub(crate) grip: Lump,
    /// Adhesive and tape, once it is bonded and gripped.
    pub(crate) fixings: Vec<Lump>,
    pub(crate) length_mm: f64,
}

impl Club {
    /// Real parts for a plan: near the targets by chance, and balanced so that the gripped club comes out half a point to
    /// two points light, as far as its shaft and head can be.
    pub(crate) fn from_parts(plan: &ClubPlan, chance: &mut Chance) -> Self {
        let mut near = |target: f64, spread: f64| target + spread * chance.normal().clamp(-2.5, 2.5);
        let (head_g, shaft_g) = (near(plan.head_mass_g, 1.2), near(plan.shaft_mass_g, 1.0));
        let (grip_g, length_mm) = (near(plan.grip_mass_g, 0.8), near(plan.length_mm, 0.5));
        let tip_mm = length_mm - SOLE_TO_TIP_MM;
        let shaft_mm = tip_mm - CAP_MM;
        let mut club = Self {
            head: Lump { mass_g: head_g, at_mm: tip_mm + 22.0 },
            shaft: Lump { mass_g: shaft_g, at_mm: CAP_MM + plan.kind.shaft_balance() * shaft_mm },
            grip: Lump { mass_g: grip_g, at_mm: plan.kind.grip_at_mm() },
            fixings: Vec::new(),
            length_mm,
        };
        let wanted_points = plan.swing_weight_points - chance.between(0.5, 2.0);
        let mut gripped = club.clone();
        gripped.bond_and_grip();
        for (lump, low_mm, high_mm) in [
            (&mut club.shaft, CAP_MM + SHAFT_BALANCE.0 * shaft_mm, CAP_MM + SHAFT_BALANCE.1 * shaft_mm),
            (&mut club.head, tip_mm + HEAD_BEYOND_TIP_MM.0, tip_mm + HEAD_BEYOND_TIP_MM.1),
        ] {
            let short_gmm =
                (wanted_points - gripped.swing_weight_points()) * POINT_INCH_OUNCES * MM_PER_INCH * G_PER_OUNCE;
            let was_mm = lump.at_mm;
            lump.at_mm = (was_mm + short_gmm / lump.mass_g).clamp(low_mm, high_mm);
            // Moving a mass moves the moment by the mass times the way: an own part on the trial club stands for it.
            gripped.fixings.push(Lump { mass_g: lump.mass_g, at_mm: lump.at_mm });
            gripped.fixings.push(Lump { mass_g: -lump.mass_g, at_mm: was_mm });
        }
        club
    }

    /// One gram of adhesive in the head's bore and one of tape under the grip.
    pub(crate) fn bond_and_grip(&mut self) {
        let tip_mm = self.length_mm - SOLE_TO_TIP_MM;
        self.fixings.push(Lump { mass_g: 1.0, at_mm: tip_mm - 15.0 });
        self.fixings.push(Lump { mass_g: 1.0, at_mm: 130.0 });
    }

    /// Adds weight where the head balances.
    pub(crate) fn add_to_head(&mut self, mass_g: f64) {
        self.fixings.push(Lump { mass_g, at_mm: self.head.at_mm });
    }

    fn lumps(&self) -> impl Iterator<Item = Lump> + '_ {
        [self.head, self.shaft, self.grip].into_iter().chain(self.fixings.iter().copied())
    }

    pub(crate) fn total_mass_g(&self) -> f64 {
        self.lumps().map(|lump| lump.mass_g).sum()
    }

    pub(crate) fn balance_mm(&self) -> f64 {
        self.lumps().map(|lump| lump.mass_g * lump.at_mm).sum::<f64>() / self.total_mass_g()
    }

    /// Points from A0: the moment about the fulcrum less that of A0, in steps of one point.
    pub(crate) fn swing_weight_points(&self) -> f64 {
        let moment: f64 =
            self.lumps().map(|lump| lump.mass_g / G_PER_OUNCE * (lump.at_mm / MM_PER_INCH - FULCRUM_INCHES)).sum();
        (moment - A0_INCH_OUNCES) / POINT_INCH_OUNCES
    }

    /// Grams to add at the head for `target_points`; negative when the club is too heavy there.
    pub(crate) fn missing_at_head_g(&self, target_points: f64) -> f64 {
        let arm_inches = self.head.at_mm / MM_PER_INCH - FULCRUM_INCHES;
        (target_points - self.swing_weight_points()) * POINT_INCH_OUNCES / arm_inches * G_PER_OUNCE
    }

    /// The length as a person types it from a ruler in sixteenths: `45 1/16 in`.
    pub(crate) fn length_typed(&self) -> String {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a club has some hundred sixteenths"
        )]
        let sixteenths = (self.length_mm / MM_PER_INCH * 16.0).round().max(0.0) as u32;
        let (whole, part) = (sixteenths / 16, sixteenths % 16);
        if part == 0 {
            return format!("{whole} in");
        }
        let halvings = part.trailing_zeros();
        format!("{whole} {}/{} in", part >> halvings, 16 >> halvings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::ClubKind;

    fn driver(swing_weight_points: f64) -> ClubPlan {
        ClubPlan {
            club: "W-1042/1".to_owned(),
            ticket: "club W-1042/1".to_owned(),
            kind: ClubKind::Driver,
            head_mass_g: 203.0,
            shaft_mass_g: 63.0,
            grip_mass_g: 50.0,
            length_mm: 1143.0,
            swing_weight_points,
            loft_deg: 10.5,
            lie_deg: 58.0,
        }
    }

    #[test]
    fn mass_balance_and_swing_weight_agree_with_a_hand_computation() {
        let club = Club {
            head: Lump { mass_g: 203.0, at_mm: 1140.0 },
            shaft: Lump { mass_g: 63.0, at_mm: 560.0 },
            grip: Lump { mass_g: 50.0, at_mm: 112.0 },
            fixings: Vec::new(),
            length_mm: 1143.0,
        };
        // By hand. Mass 203 + 63 + 50 = 316 g.
        // First moment 203 x 1140 + 63 x 560 + 50 x 112 = 231420 + 35280 + 5600 = 272300 g mm; / 316 = 861.7088608 mm.
        // About 14 in = 355.6 mm: 272300 - 316 x 355.6 = 272300 - 112369.6 = 159930.4 g mm.
        // 1 in oz = 25.4 x 28.349523125 = 720.077887375 g mm, so 159930.4 / 720.077887375 = 222.1015294 in oz.
        // Points from A0: (222.1015294 - 161) / 1.75 = 34.9151597, that is D4.9.
        assert!((club.total_mass_g() - 316.0).abs() < 1e-9);
        assert!((club.balance_mm() - 861.708_860_8).abs() < 1e-6);
        assert!((club.swing_weight_points() - 34.915_16).abs() < 1e-4, "{}", club.swing_weight_points());
    }

    #[test]
    fn weight_at_the_head_brings_the_club_to_its_target() {
        let mut club = Club::from_parts(&driver(33.0), &mut Chance::new(1, 0));
        club.bond_and_grip();
        let missing_g = club.missing_at_head_g(33.0);
        // By hand, from the rule "points per gram = (x[in] - 14) / 49.612": at 44.9 in a gram is 0.62 point, so half a
        // point to two points are 0.8 g to 3.2 g.
        assert!((0.7..3.4).contains(&missing_g), "{missing_g}");
        club.add_to_head(missing_g);
        assert!((club.swing_weight_points() - 33.0).abs() < 1e-9);
    }

    #[test]
    fn gripped_clubs_come_out_half_a_point_to_two_points_light() {
        let iron = ClubPlan {
            kind: ClubKind::Iron,
            head_mass_g: 260.0,
            shaft_mass_g: 115.0,
            length_mm: 965.2,
            swing_weight_points: 32.0,
            ..driver(32.0)
        };
        for plan in [driver(31.0), driver(33.0), iron] {
            for seed in 0..50 {
                let mut club = Club::from_parts(&plan, &mut Chance::new(seed, 0));
                club.bond_and_grip();
                let light = plan.swing_weight_points - club.swing_weight_points();
                assert!((0.499..2.001).contains(&light), "{:?} seed {seed}: {light}", plan.kind);
            }
        }
    }

    #[test]
    fn adhesive_and_tape_weigh_two_grams() {
        let mut club = Club::from_parts(&driver(33.0), &mut Chance::new(2, 0));
        let dry_g = club.total_mass_g();
        club.bond_and_grip();
        assert!((club.total_mass_g() - dry_g - 2.0).abs() < 1e-9);
    }

    #[test]
    fn lengths_are_typed_in_reduced_sixteenths() {
        let check = |length_mm: f64, expected: &str| {
            let lump = Lump { mass_g: 1.0, at_mm: 0.0 };
            let club = Club { head: lump, shaft: lump, grip: lump, fixings: Vec::new(), length_mm };
            assert_eq!(club.length_typed(), expected);
        };
        check(1143.0, "45 in"); // 45 x 25.4
        check(1144.6, "45 1/16 in"); // 1143 + 1.5875 = 1144.5875
        check(971.55, "38 1/4 in"); // 38.25 x 25.4
        check(1155.7, "45 1/2 in"); // 45.5 x 25.4
    }
}
