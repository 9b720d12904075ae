//! What is laid on an instrument to test it: a weight with its class and certificate, or a block of known angles.

use crate::measurement::check_weight::{WeightClass, WeightVerdict, judge_weight};
use crate::measurement::distribution::rectangular;
use crate::measurement::gauge::Hand;
use crate::measurement::reading::{Measured, Quantity};
use crate::measurement::unit::Grams;

super::order::named!(
    /// What a reference is laid on for.
    Purpose {
        /// A check between calibrations.
        Check = "check",
        /// Before an adjustment.
        AsFound = "as_found",
        /// After an adjustment.
        AsLeft = "as_left",
    }
);

/// A reference, as its box and its certificate say.
#[derive(Debug, Clone, PartialEq)]
pub enum Reference {
    /// A weight.
    Weight(Weight),
    /// A block that holds known angles.
    Angles(Angles),
}

/// A weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// Nominal mass, in grams.
    pub nominal_g: f64,
    /// Conventional mass less nominal by the certificate, in grams; 0 without one.
    pub error_g: f64,
    /// Standard uncertainty of the conventional mass, in grams.
    pub u_g: f64,
    /// Its class, if it has one.
    pub class: Option<WeightClass>,
    /// Number of the certificate.
    pub certificate: Option<String>,
    /// Where it hangs on a beam, from the butt stop, in millimetres.
    pub at_mm: Option<f64>,
    /// Standard uncertainty of that place, in millimetres.
    pub u_at_mm: f64,
}

/// Known angles.
#[derive(Debug, Clone, PartialEq)]
pub struct Angles {
    /// Lie, in degrees.
    pub lie_deg: f64,
    /// Loft in the sense the gauge reads, in degrees.
    pub loft_deg: f64,
    /// As a club of which hand it is laid in.
    pub hand: Hand,
    /// Standard uncertainty of both, in degrees.
    pub u_deg: f64,
    /// Number of the certificate.
    pub certificate: Option<String>,
}

impl Weight {
    /// A weight as a person states it: nominal mass and class, and from a certificate error and expanded uncertainty
    /// (k = 2), all in grams.
    ///
    /// Without a certificate its class alone speaks: within its largest error, equally likely anywhere (JCGM 100,
    /// 4.3.7).
    ///
    /// # Errors
    /// In words: neither class nor uncertainty, a nominal mass the class does not have, an error beyond the class.
    pub fn stated(
        nominal_g: f64,
        class: Option<WeightClass>,
        error_g: Option<f64>,
        expanded_g: Option<f64>,
    ) -> Result<Self, String> {
        let largest_mg = match class {
            Some(class) => Some(class.largest_error_mg(Grams(nominal_g)).ok_or_else(|| {
                format!("class {} has no weight of {nominal_g} g (OIML R 111-1, table 1)", class.name())
            })?),
            None => None,
        };
        let u_g = match (expanded_g, largest_mg) {
            (Some(expanded), _) => expanded / 2.0,
            (None, Some(largest)) => rectangular(largest / 1000.0),
            (None, None) => return Err("a weight needs its class or the uncertainty of its certificate".to_owned()),
        };
        let error_g = error_g.unwrap_or(0.0);
        if let (Some(largest), Some(class), Some(expanded)) = (largest_mg, class, expanded_g) {
            let (error_mg, expanded_mg, name) = (error_g * 1000.0, expanded * 1000.0, class.name());
            let said = format!(
                "its certificate says {error_mg:+.2} mg with U {expanded_mg:.2} mg, class {name} allows {largest} mg"
            );
            let why = match judge_weight(largest, error_mg, expanded_mg) {
                WeightVerdict::Conforms => None,
                WeightVerdict::DoesNotConform => Some("it is not a weight of that class"),
                WeightVerdict::Undecided => Some("whether it is of that class cannot be told"),
                WeightVerdict::UncertaintyTooLarge => {
                    Some("to tell, U must be at most a third of that (OIML R 111-1, 5.2)")
                }
            };
            if let Some(why) = why {
                return Err(format!("{said}: {why}; state it without its class, its certificate speaks for it"));
            }
        }
        Ok(Self { nominal_g, error_g, u_g, class, certificate: None, at_mm: None, u_at_mm: 0.0 })
    }

    /// Conventional mass, in grams.
    #[must_use]
    pub fn mass_g(&self) -> f64 {
        self.nominal_g + self.error_g
    }
}

impl Reference {
    /// What it is in words: `200 g, class M1`.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Weight(weight) => {
                let class = weight.class.map(|class| format!(", class {}", class.name())).unwrap_or_default();
                let at = weight.at_mm.map(|at| format!(" at {at} mm")).unwrap_or_default();
                format!("{} g{class}{at}", weight.nominal_g)
            }
            Self::Angles(angles) => {
                let hand = if angles.hand == Hand::Left { ", as a left-handed club" } else { "" };
                format!("lie {} deg, loft {} deg{hand}", angles.lie_deg, angles.loft_deg)
            }
        }
    }

    /// What of it an instrument should have shown, for each quantity of a reading that it says something of.
    pub fn errors<'a>(&'a self, measured: &'a [Measured]) -> impl Iterator<Item = (Quantity, f64)> + 'a {
        measured.iter().filter_map(move |m| {
            let truth = match (self, m.quantity) {
                (Self::Weight(weight), Quantity::Mass) => weight.mass_g(),
                (Self::Weight(weight), Quantity::Balance) => weight.at_mm?,
                (Self::Angles(angles), Quantity::Lie) => angles.lie_deg,
                (Self::Angles(angles), Quantity::Loft) => angles.loft_deg,
                _ => return None,
            };
            Some((m.quantity, m.value - truth))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_without_certificate_is_as_good_as_its_class() {
        // R 111-1, table 1: 200 g of M1 may err by 10 mg; over the root of three 5.774 mg.
        let weight = Weight::stated(200.0, Some(WeightClass::M1), None, None).unwrap();
        assert!((weight.u_g - 0.005_773_5).abs() < 1e-7);
        assert!(Weight::stated(200.0, None, None, None).is_err());
        assert!(Weight::stated(150.0, Some(WeightClass::M1), None, None).unwrap_err().contains("no weight of 150 g"));
    }

    #[test]
    fn a_certificate_beyond_the_class_is_refused() {
        let good = Weight::stated(200.0, Some(WeightClass::M1), Some(0.004), Some(0.003)).unwrap();
        assert!((good.u_g - 0.0015).abs() < 1e-15 && (good.mass_g() - 200.004).abs() < 1e-12);
        assert!(
            Weight::stated(200.0, Some(WeightClass::M1), Some(0.014), Some(0.003))
                .unwrap_err()
                .contains("not a weight of that class")
        );
        // R 111-1 accepts only what is within by its whole uncertainty, and that of at most a third of 10 mg.
        for (error_g, expanded_g, why) in [(0.009, 0.003, "cannot be told"), (0.0, 0.008, "at most a third")] {
            let refused = Weight::stated(200.0, Some(WeightClass::M1), Some(error_g), Some(expanded_g)).unwrap_err();
            assert!(refused.contains(why) && refused.contains("without its class"), "{refused}");
            assert!(Weight::stated(200.0, None, Some(error_g), Some(expanded_g)).is_ok());
        }
    }
}
