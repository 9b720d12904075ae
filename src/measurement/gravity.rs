//! What the place and the air do to the reading of a force-sensing scale.
//!
//! Masses, places and densities come in, readings go out. Nothing is corrected here: swing weight has always been
//! taken in air, and a check weight at the bench takes the place out of the reading.

use super::unit::{Degrees, Grams};

/// Standard acceleration of free fall, m/s² (NIST SP 811, appendix B.8, exact).
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// Gravity in m/s² at a latitude and a height above the sea in metres, by the WELMEC formula.
///
/// Good to about 10⁻⁴ of the value: it knows the shape of the earth, not the rocks below. `None` for a latitude beyond
/// the poles or a height outside −1000 m to 10 000 m.
#[must_use]
pub fn gravity_at(latitude: Degrees, height_m: f64) -> Option<f64> {
    let known = latitude.abs().0 <= 90.0 && (-1000.0..=10_000.0).contains(&height_m);
    let latitude = latitude.0.to_radians();
    let (once, twice) = (latitude.sin(), (2.0 * latitude).sin());
    let at_sea = 9.780_318 * (1.0 + 0.005_302_4 * once * once - 0.000_005_8 * twice * twice);
    known.then_some(at_sea - 0.000_003_085 * height_m)
}

/// What a force-sensing scale shows where gravity differs from the place it was adjusted at.
#[must_use]
pub fn moved_reading(mass: Grams, adjusted_m_per_s2: f64, used_m_per_s2: f64) -> Grams {
    mass * (used_m_per_s2 / adjusted_m_per_s2)
}

/// A closed body in air on a scale that was adjusted in the same air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BodyInAir {
    /// True mass.
    pub mass: Grams,
    /// Volume of air it displaces, in cm³.
    pub volume_cm3: f64,
    /// Density of the air, in mg/cm³ (1.2 at a usual bench).
    pub air_mg_per_cm3: f64,
    /// Density of the weights the scale was adjusted with, in kg/m³ (8000 by OIML D 28).
    pub weights_kg_per_m3: f64,
}

/// What a scale shows for a body in air.
///
/// The scale is adjusted to show the mass of its weights, which the air lifted too, hence the divisor. `None` for a
/// negative quantity, weights no denser than air, or a number that is not finite.
#[must_use]
pub fn reading_in_air(body: &BodyInAir) -> Option<Grams> {
    let BodyInAir { mass, volume_cm3, air_mg_per_cm3, weights_kg_per_m3 } = *body;
    // 1 mg/cm³ is 1 kg/m³.
    let lifted = 1.0 - air_mg_per_cm3 / weights_kg_per_m3;
    let sensible =
        mass.0 >= 0.0 && volume_cm3 >= 0.0 && air_mg_per_cm3 >= 0.0 && weights_kg_per_m3 > 0.0 && lifted > 0.0;
    let reading = Grams((mass.0 - air_mg_per_cm3 * 1e-3 * volume_cm3) / lifted);
    (sensible && reading.0.is_finite()).then_some(reading)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_equator_at_sea_level_is_the_constant_of_the_formula() {
        assert!((gravity_at(Degrees(0.0), 0.0).unwrap() - 9.780_318).abs() < 1e-12);
        assert_eq!(gravity_at(Degrees(90.1), 0.0), None);
        assert_eq!(gravity_at(Degrees(f64::NAN), 0.0), None);
        assert_eq!(gravity_at(Degrees(10.0), f64::INFINITY), None);
    }

    #[test]
    fn solid_steel_reads_its_mass_in_any_air() {
        // 200 g at 8 g/cm³ displaces 25 cm³, exactly as its weights do.
        for air in [0.9, 1.2, 1.3] {
            let body =
                BodyInAir { mass: Grams(200.0), volume_cm3: 25.0, air_mg_per_cm3: air, weights_kg_per_m3: 8000.0 };
            assert!((reading_in_air(&body).unwrap().0 - 200.0).abs() < 1e-12, "{air}");
        }
    }

    #[test]
    fn weights_lighter_than_air_give_no_reading() {
        let body = BodyInAir { mass: Grams(200.0), volume_cm3: 25.0, air_mg_per_cm3: 1.2, weights_kg_per_m3: 1.0 };
        assert_eq!(reading_in_air(&body), None);
        assert_eq!(reading_in_air(&BodyInAir { weights_kg_per_m3: 0.0, ..body }), None);
        assert_eq!(reading_in_air(&BodyInAir { volume_cm3: -1.0, weights_kg_per_m3: 8000.0, ..body }), None);
    }
}
