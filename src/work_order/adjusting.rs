//! From placements as found to an adjustment of a scale, beam or gauge.

use super::reference::Reference;
use super::trust::{Adjust, Placement};
use crate::measurement::adjustment::{Angle, Finding, Hanging, Weighing, adjust_beam, adjust_gauge, adjust_scale};
use crate::measurement::calibration::Calibration;
use crate::measurement::process::mean_and_spread;
use crate::measurement::reading::Quantity;

/// An instrument that reads further off than this part of a weight is not believed at once (common practice, no source).
const FAR_OFF: f64 = 0.05;

/// The first weight that was read further off than any instrument drifts: another one lay there.
pub(super) fn far_off(as_found: &[Placement]) -> Option<String> {
    as_found.iter().find_map(|placement| {
        let Reference::Weight(weight) = &placement.reference else { return None };
        let shown = placement.measured.iter().find(|m| m.quantity == Quantity::Mass)?.value;
        let is_far = (shown - weight.mass_g()).abs() > FAR_OFF * weight.mass_g();
        is_far.then(|| format!("read {shown:.3} g as found of {}", placement.reference.words()))
    })
}

/// What the instrument showed empty, as found: the mean over the placements, with its standard deviation.
pub(super) fn zeros(before: &Calibration, placements: &[Placement]) -> Vec<Finding> {
    let zeros: Vec<[f64; 2]> = placements.iter().filter_map(|p| p.zero).collect();
    let names: &[&str] = match before {
        Calibration::Scale(_) => &["zero as found, g"],
        Calibration::Beam(_) => &["zero of cell 1 as found, counts", "zero of cell 2 as found, counts"],
        Calibration::Gauge(_) => &[],
    };
    let of = |channel: usize, name: &&str| {
        let each: Vec<f64> = zeros.iter().filter_map(|zero| zero.get(channel).copied()).collect();
        let (value, u) = match mean_and_spread(&each) {
            Some((mean, spread)) => (mean, Some(spread)),
            None => (*each.first()?, None),
        };
        Some(Finding { name: (*name).to_owned(), value, u })
    };
    names.iter().enumerate().filter_map(|(channel, name)| of(channel, name)).collect()
}

/// The adjustment that placements as found ask for.
///
/// # Errors
/// In words: too few placements, or numbers that are no calibration.
pub(super) fn adjusted(
    before: &Calibration,
    placements: &[Placement],
    how: Adjust,
) -> Result<(Calibration, Vec<Finding>), String> {
    let weights = || {
        placements.iter().filter_map(|p| match &p.reference {
            Reference::Weight(weight) => Some((p.indication, weight)),
            Reference::Angles(_) => None,
        })
    };
    let words = |error: &dyn std::fmt::Display| error.to_string();
    match before {
        Calibration::Scale(scale) => {
            let weighings: Vec<Weighing> = weights()
                .map(|(at, w)| Weighing { indication_g: at[0], mass_g: w.mass_g(), u_mass_g: w.u_g })
                .collect();
            adjust_scale(&weighings, how.degree, scale).map(|(s, f)| (Calibration::Scale(s), f)).map_err(|e| words(&e))
        }
        Calibration::Beam(beam) => {
            let hangings: Vec<Hanging> = weights()
                .filter_map(|(counts, w)| {
                    Some(Hanging { counts, mass_g: w.mass_g(), u_mass_g: w.u_g, at_mm: w.at_mm? })
                })
                .collect();
            let u_at_mm = how.u_at_mm.unwrap_or_else(|| weights().map(|(_, w)| w.u_at_mm).fold(0.0, f64::max));
            adjust_beam(&hangings, how.supports, u_at_mm, beam)
                .map(|(b, f)| (Calibration::Beam(b), f))
                .map_err(|e| words(&e))
        }
        Calibration::Gauge(gauge) => {
            let angles: Vec<Angle> = placements
                .iter()
                .filter_map(|p| match &p.reference {
                    Reference::Angles(a) => Some(Angle {
                        hand: a.hand,
                        indication_deg: p.indication,
                        truth_deg: [a.lie_deg, a.loft_deg],
                        u_truth_deg: a.u_deg,
                    }),
                    Reference::Weight(_) => None,
                })
                .collect();
            adjust_gauge(&angles, gauge).map(|(g, f)| (Calibration::Gauge(g), f)).map_err(|e| words(&e))
        }
    }
}
