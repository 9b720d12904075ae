//! What a change does to every characteristic of a club, not only to the one it is meant for.

use super::need::Base;
use super::order::ClubSpec;
use super::parts_model::inertia_of;
use crate::club::assembly::MassProperties;
use crate::club::characteristic::Characteristic;
use crate::club::swing_weight::points_per_gram;
use crate::measurement::unit::Millimetres;

/// What is beyond a limit by less does not show in the decimal that is given.
const SHOWN: f64 = 0.05;

/// What becomes of one characteristic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Which.
    pub characteristic: Characteristic,
    /// The value afterwards, in its unit; `None` where the value before is not known.
    pub value: Option<f64>,
    /// Change, in its unit; `None` where it depends on a value that is not known.
    pub change: Option<f64>,
}

/// What of a club's other characteristics would lie outside its limits, in words that follow those of a proposal; empty
/// where nothing would.
pub(super) fn beyond_limits(spec: &ClubSpec, effects: &[Effect]) -> String {
    let outside = |effect: &Effect| {
        let target = spec.target(effect.characteristic)?.target;
        let value = effect.value.filter(|_| effect.characteristic != Characteristic::SwingWeight)?;
        let (way, by) = match (target.lower, target.upper) {
            (_, Some(upper)) if value > upper + SHOWN => ("over", value - upper),
            (Some(lower), _) if value < lower - SHOWN => ("under", lower - value),
            _ => return None,
        };
        let (label, unit) = (effect.characteristic.label(), effect.characteristic.unit().replace("kg.cm2", "kg·cm²"));
        Some(format!("; {label} would be {by:.1} {unit} {way} its limits"))
    };
    effects.iter().filter_map(outside).collect()
}

/// Changes of mass, moment, inertia and length, from which everything follows.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Change {
    pub(super) mass_g: f64,
    pub(super) first_gmm: f64,
    pub(super) points: f64,
    pub(super) inertia_kgcm2: f64,
    pub(super) length_mm: f64,
}

impl Change {
    /// A weight added at a place from the butt.
    pub(super) fn weight(self, grams: f64, at_mm: f64) -> Self {
        Self {
            mass_g: self.mass_g + grams,
            first_gmm: self.first_gmm + grams * at_mm,
            points: self.points + grams * points_per_gram(Millimetres(at_mm)),
            inertia_kgcm2: self.inertia_kgcm2 + inertia_of(grams, at_mm),
            ..self
        }
    }

    /// From one whole club to another one.
    pub(super) fn between(before: &MassProperties, after: &MassProperties, length_mm: f64) -> Self {
        let first = |whole: &MassProperties| whole.mass.0 * whole.balance.0;
        Self {
            mass_g: (after.mass - before.mass).0,
            first_gmm: first(after) - first(before),
            points: (after.swing_weight - before.swing_weight).0,
            inertia_kgcm2: after.inertia_butt_kgcm2 - before.inertia_butt_kgcm2,
            length_mm,
        }
    }

    /// What becomes of the club.
    pub(super) fn effects(&self, base: &Base) -> Vec<Effect> {
        let balance_mm = base.mass_g.zip(base.balance_mm).map(|(mass, balance)| {
            let after = (mass * balance + self.first_gmm) / (mass + self.mass_g);
            (after, after - balance)
        });
        let simple = |characteristic, before: Option<f64>, change: f64| Effect {
            characteristic,
            value: before.map(|before| before + change),
            change: Some(change),
        };
        vec![
            simple(Characteristic::SwingWeight, Some(base.points), self.points),
            simple(Characteristic::TotalMass, base.mass_g, self.mass_g),
            Effect {
                characteristic: Characteristic::BalancePoint,
                value: balance_mm.map(|(value, _)| value),
                change: balance_mm.map(|(_, change)| change),
            },
            simple(Characteristic::MoiButt, base.inertia_kgcm2, self.inertia_kgcm2),
            simple(Characteristic::Length, Some(base.length_mm), self.length_mm),
        ]
    }
}
