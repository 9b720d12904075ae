//! Whether an instrument is right as a calibration left it: every placement after the adjustment, judged as a check.

use super::check_verdict::{Finding, against_limit, of};
use super::checks::CheckZone;
use super::reference::Reference;
use super::trust::Placement;
use crate::measurement::calibration::{Calibration, ScaleCalibration};
use crate::measurement::check_weight::Accuracy;
use crate::measurement::distribution::rectangular;
use crate::measurement::gauge::Laid;
use crate::measurement::reading::{Measured, Quantity};

/// What a placement after an adjustment is judged by.
#[derive(Debug, Clone, Copy)]
pub(super) struct AsLeft<'a> {
    /// The adjustment.
    pub(super) calibration: &'a Calibration,
    /// The step of the indication: grams, degrees.
    pub(super) resolution: f64,
    /// The class of a scale, if it has one.
    pub(super) class: Option<Accuracy>,
}

/// When the limit of an instrument that was just adjusted holds.
const ADJUSTED: &str = "when it is adjusted";

impl AsLeft<'_> {
    /// The first placement that is out, in words that follow the instrument's name.
    pub(super) fn trouble(&self, placements: &[Placement]) -> Option<String> {
        placements.iter().find_map(|placement| {
            let (_, reason) = self.judged(placement).into_iter().find(|(zone, _)| *zone == CheckZone::Out)?;
            Some(format!("{reason}, with {}", placement.reference.words()))
        })
    }

    fn judged(&self, placement: &Placement) -> Vec<Finding> {
        match (self.calibration, &placement.reference) {
            (Calibration::Gauge(gauge), Reference::Angles(block)) => {
                let levels = self.calibration.levels(placement.indication);
                let shown = gauge.angles(levels, Some(Laid::Block { hand: block.hand })).unwrap_or(levels);
                let u = |quantity| placement.measured.iter().find(|m| m.quantity == quantity).map_or(0.0, |m| m.u);
                [(Quantity::Lie, shown[0], block.lie_deg), (Quantity::Loft, shown[1], block.loft_deg)]
                    .into_iter()
                    .map(|(quantity, shown, truth)| {
                        let error = Off { error: shown - truth, u: u(quantity).hypot(block.u_deg) };
                        error.against_uncertainty(quantity, "deg")
                    })
                    .collect()
            }
            (_, reference @ Reference::Weight(weight)) => reference
                .errors(&placement.measured)
                .filter_map(|(quantity, error)| {
                    let measured = placement.measured.iter().find(|m| m.quantity == quantity)?;
                    Some(match (quantity, self.calibration) {
                        (Quantity::Mass, Calibration::Scale(scale)) => {
                            let u = self.unrest(scale, measured).hypot(weight.u_g);
                            let limit =
                                self.class.and_then(|class| class.adjusted_limit_g(weight.nominal_g, self.resolution));
                            against_limit(error, u, weight.u_g, limit.map(|limit| (limit, ADJUSTED)))
                        }
                        (Quantity::Mass, _) => against_limit(error, measured.u.hypot(weight.u_g), weight.u_g, None),
                        _ => {
                            let error = Off { error, u: measured.u.hypot(weight.u_at_mm) };
                            error.against_uncertainty(quantity, "mm")
                        }
                    })
                })
                .collect(),
            (_, Reference::Angles(_)) => Vec::new(),
        }
    }

    /// What is left of a mass's uncertainty without the curve, which is what is tested here.
    fn unrest(&self, scale: &ScaleCalibration, mass: &Measured) -> f64 {
        let of_curve = (mass.value * scale.u_span).hypot(scale.u_linearity.0).hypot(scale.u_eccentricity.0);
        (mass.u * mass.u - of_curve * of_curve).max(0.0).sqrt().max(rectangular(self.resolution / 2.0))
    }
}

/// An error with its standard uncertainty, both in one unit.
pub(super) struct Off {
    pub(super) error: f64,
    pub(super) u: f64,
}

impl Off {
    /// The normalized error of ISO 13528, with 2 and 3 standard uncertainties.
    pub(super) fn against_uncertainty(&self, quantity: Quantity, unit: &str) -> Finding {
        let (size, u) = (self.error.abs(), self.u);
        let off = format!("reads {:+.3} {unit} off{}", self.error, of(quantity));
        if size > 3.0 * u {
            (CheckZone::Out, format!("{off}, more than three times the {u:.3} {unit} it may be unsure by"))
        } else if size > 2.0 * u {
            (CheckZone::Warning, format!("{off}, more than twice the {u:.3} {unit} it may be unsure by"))
        } else {
            (CheckZone::Good, off)
        }
    }
}
