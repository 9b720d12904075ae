//! Inertia of a club from the period it swings with.
//!
//! Mass, balance, pivot and period come in, inertias go out. No damping and no air: a club on a knife edge loses so
//! little in a few swings that neither shows.

use super::assembly::GMM2_PER_KGCM2;
use crate::measurement::unit::{Degrees, Grams, Millimetres};

/// A club swinging about a pivot on its axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Total mass.
    pub mass: Grams,
    /// Balance point from the butt.
    pub balance: Millimetres,
    /// Pivot from the butt.
    pub pivot: Millimetres,
    /// Time of a full swing, there and back, in seconds.
    pub period_s: f64,
    /// Largest angle from the vertical.
    pub amplitude: Degrees,
    /// Local gravity, in m/s².
    pub gravity_m_per_s2: f64,
}

/// Inertias in kg·cm² about axes normal to the plane of the swing. The centre of gravity is taken to lie on the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwingInertia {
    /// About the centre of gravity. Its relative error is four to five times that of the period squared.
    pub about_cg_kgcm2: f64,
    /// About the butt.
    pub about_butt_kgcm2: f64,
}

/// Why a swing tells no inertia.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SwingError {
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
    /// Shorter than the period of a point mass at the balance point.
    #[error("the period is {found_s} s, expected more than {point_s:.6} s, that of a point mass at the balance point")]
    TooFast {
        /// Period found, in seconds.
        found_s: f64,
        /// Period of a point mass at the same place and amplitude, in seconds.
        point_s: f64,
    },
}

/// What finite amplitude does to a period: `T = T₀ / agm(1, cos(θ₀/2))`, exactly (Gauss).
fn small_swing_share(amplitude: Degrees) -> f64 {
    let (mut a, mut b) = (1.0, (amplitude.0.to_radians() / 2.0).cos());
    // Digits double each time.
    for _ in 0..12 {
        (a, b) = (f64::midpoint(a, b), (a * b).sqrt());
    }
    a
}

/// Inertia from a swing.
///
/// # Errors
/// Quantities that are not positive, an amplitude outside 0° to 180°, a pivot at the balance point, a period too short.
pub fn inertia_from_swing(swing: &Swing) -> Result<SwingInertia, SwingError> {
    for (what, found) in [("mass", swing.mass.0), ("period", swing.period_s), ("gravity", swing.gravity_m_per_s2)] {
        if !(found > 0.0 && found.is_finite()) {
            return Err(SwingError::Meaningless { what, found, expected: "more than 0" });
        }
    }
    if !(0.0..180.0).contains(&swing.amplitude.0) {
        let found = swing.amplitude.0;
        return Err(SwingError::Meaningless { what: "amplitude", found, expected: "0 deg to less than 180 deg" });
    }
    let arm = swing.balance - swing.pivot;
    if !(arm.abs().0 >= 0.5 && arm.0.is_finite()) {
        let found = arm.0;
        return Err(SwingError::Meaningless {
            what: "distance from pivot to balance in mm",
            found,
            expected: "0.5 or more",
        });
    }
    let share = small_swing_share(swing.amplitude);
    let angular = swing.period_s * share / (2.0 * std::f64::consts::PI);
    let arm_mm = arm.abs().0;
    // g·mm/s² per gram needs gravity in mm/s².
    let about_pivot = swing.mass.0 * swing.gravity_m_per_s2 * 1000.0 * arm_mm * angular * angular;
    let about_cg = about_pivot - swing.mass.0 * arm_mm * arm_mm;
    if about_cg <= 0.0 {
        let small = 2.0 * std::f64::consts::PI * (arm_mm / (swing.gravity_m_per_s2 * 1000.0)).sqrt();
        return Err(SwingError::TooFast { found_s: swing.period_s, point_s: small / share });
    }
    let about_butt = about_cg + swing.mass.0 * swing.balance.0 * swing.balance.0;
    if !about_butt.is_finite() {
        return Err(SwingError::Meaningless { what: "inertia", found: about_butt, expected: "a finite number" });
    }
    Ok(SwingInertia { about_cg_kgcm2: about_cg / GMM2_PER_KGCM2, about_butt_kgcm2: about_butt / GMM2_PER_KGCM2 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_series_of_the_textbook_agrees_with_the_exact_factor() {
        // 1 + θ²/16 + 11θ⁴/3072 (any mechanics textbook); the next term at 8° is below 1e-8.
        let angle = 8f64.to_radians();
        let series = 1.0 + angle * angle / 16.0 + 11.0 * angle.powi(4) / 3072.0;
        assert!((1.0 / small_swing_share(Degrees(8.0)) - series).abs() < 1e-7);
        // At 90° the factor is 1.18034 (complete elliptic integral, in every table).
        assert!((1.0 / small_swing_share(Degrees(90.0)) - 1.180_340_599).abs() < 1e-8);
    }

    #[test]
    fn an_even_rod_swings_with_the_period_of_the_textbook() {
        // Rod of 1 m about its end: T = 2 pi sqrt(2 L / 3 g); inertia about the end m L² / 3.
        let gravity = 9.806_65;
        let swing = Swing {
            mass: Grams(300.0),
            balance: Millimetres(500.0),
            pivot: Millimetres(0.0),
            period_s: 2.0 * std::f64::consts::PI * f64::sqrt(2.0 / 3.0 / gravity),
            amplitude: Degrees(0.0),
            gravity_m_per_s2: gravity,
        };
        let inertia = inertia_from_swing(&swing).unwrap();
        assert!((inertia.about_butt_kgcm2 - 1000.0).abs() < 1e-9 && (inertia.about_cg_kgcm2 - 250.0).abs() < 1e-9);
    }

    #[test]
    fn a_swing_that_cannot_be_tells_nothing() {
        let swing = Swing {
            mass: Grams(300.0),
            balance: Millimetres(500.0),
            pivot: Millimetres(0.0),
            period_s: 1.6,
            amplitude: Degrees(5.0),
            gravity_m_per_s2: 9.8,
        };
        assert!(inertia_from_swing(&swing).is_ok());
        for bad in [
            Swing { period_s: 1.0, ..swing },
            Swing { period_s: f64::NAN, ..swing },
            Swing { pivot: Millimetres(500.0), ..swing },
            Swing { amplitude: Degrees(180.0), ..swing },
            Swing { mass: Grams(-1.0), ..swing },
        ] {
            assert!(inertia_from_swing(&bad).is_err(), "{bad:?}");
        }
    }
}
