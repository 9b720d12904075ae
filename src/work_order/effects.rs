//! What a change does to every characteristic of a club, not only to the one it is meant for.

use super::forecast::{MODELLED, OF};
use super::head_angles::ANGLES;
use super::need::Base;
use super::order::TargetRow;
use super::parts_model::inertia_of;
use super::shaft_frequency::{FinishedBeam, LEAST_CLAMP_MM};
use super::stated::Stated;
use crate::club::assembly::MassProperties;
use crate::club::characteristic::Characteristic;
use crate::club::shown::{self, lengths_of};
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
pub(super) fn beyond_limits(targets: &[TargetRow], effects: &[Effect]) -> String {
    let outside = |effect: &Effect| {
        let row = targets.iter().find(|row| row.characteristic == effect.characteristic)?;
        let target = row.target;
        let value = effect.value.filter(|_| effect.characteristic != Characteristic::SwingWeight)?;
        // What nobody measures at this stage and lies outside already is not the proposal's doing.
        let is_inside = |value: f64| {
            target.lower.is_none_or(|lower| value >= lower) && target.upper.is_none_or(|upper| value <= upper)
        };
        let is_apart = OF.iter().skip(MODELLED).any(|of| *of == effect.characteristic);
        if is_apart && !effect.change.is_some_and(|change| is_inside(value - change)) {
            return None;
        }
        let (way, by) = match (target.lower, target.upper) {
            (_, Some(upper)) if value > upper + SHOWN => ("over", value - upper),
            (Some(lower), _) if value < lower - SHOWN => ("under", lower - value),
            _ => return None,
        };
        let (label, unit) = (effect.characteristic.label(), effect.characteristic.unit());
        let unit = unit.replace("kg.cm2", "kg·cm²").replace("{cpm}", "cpm");
        let by = match effect.characteristic {
            Characteristic::Length => shown::size(Characteristic::Length, by, lengths_of(&row.text)),
            _ => format!("{by:.1} {unit}"),
        };
        Some(format!("; {label} would be {by} {way} its limits"))
    };
    effects.iter().filter_map(outside).collect()
}

/// What becomes of the frequency.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) enum Swings {
    /// Nothing.
    #[default]
    AsItDoes,
    /// As a share of what it was.
    Share(f64),
    /// What another shaft makes, in cycles a minute.
    At(f64),
    /// It changes, and nobody knows by how much.
    Unknown,
}

/// Changes of mass, moment, inertia and length, from which everything follows.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Change {
    pub(super) mass_g: f64,
    pub(super) first_gmm: f64,
    pub(super) points: f64,
    pub(super) inertia_kgcm2: f64,
    pub(super) length_mm: f64,
    pub(super) swings: Swings,
    /// What is stated of another head.
    pub(super) head: Option<Stated>,
}

/// A change of the frequency below this share shows in no decimal.
const SHOWN_SHARE: f64 = 1e-6;

impl Change {
    /// A weight added at a place from the butt.
    pub(super) fn weight(self, grams: f64, at_mm: f64, beam: Option<&FinishedBeam>) -> Self {
        let swings = match (self.swings, beam) {
            // Nothing swings within the clamp, wherever that ends.
            (swings, _) if at_mm <= LEAST_CLAMP_MM => swings,
            (_, None) => Swings::Unknown,
            (before, Some(FinishedBeam { beam, clamp_mm })) => {
                let before = if let Swings::Share(share) = before { share } else { 1.0 };
                // Masses add up in the square of the period.
                let heavier = beam.with_mass(grams, at_mm - clamp_mm).swinging_g() / beam.swinging_g() - 1.0;
                Swings::share((before.powi(-2) + heavier).powf(-0.5))
            }
        };
        Self {
            swings,
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
            swings: Swings::AsItDoes,
            head: None,
        }
    }

    /// What becomes of what no mass tells: with another head its angles, with anything that swings the frequency.
    fn apart(&self, base: &Base) -> Vec<Effect> {
        let other = |characteristic: Characteristic, before: Option<f64>, after: Option<f64>| Effect {
            characteristic,
            value: after,
            change: after.zip(before).map(|(after, before)| after - before),
        };
        let angles = ANGLES.into_iter().zip(base.angles).filter_map(|(of, before)| {
            let head = self.head?;
            Some(other(of, before, head.of(of).map(|(value, _)| value)))
        });
        let before = base.frequency_cpm;
        let after = match self.swings {
            Swings::AsItDoes => None,
            Swings::Share(share) => Some(before.map(|before| before * share)),
            Swings::At(cpm) => Some(Some(cpm)),
            Swings::Unknown => Some(None),
        };
        let frequency = after.map(|after| other(Characteristic::Frequency, before, after));
        angles.chain(frequency).collect()
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
        let mut effects = vec![
            simple(Characteristic::SwingWeight, Some(base.points), self.points),
            simple(Characteristic::TotalMass, base.mass_g, self.mass_g),
            Effect {
                characteristic: Characteristic::BalancePoint,
                value: balance_mm.map(|(value, _)| value),
                change: balance_mm.map(|(_, change)| change),
            },
            simple(Characteristic::MoiButt, base.inertia_kgcm2, self.inertia_kgcm2),
            simple(Characteristic::Length, Some(base.length_mm), self.length_mm),
        ];
        effects.extend(self.apart(base));
        effects
    }
}

impl Swings {
    /// A share, where it shows.
    pub(super) fn share(share: f64) -> Self {
        if (share - 1.0).abs() < SHOWN_SHARE { Self::AsItDoes } else { Self::Share(share) }
    }
}

/// What of a club stays as it is, in the order of the forecast.
#[must_use]
pub fn unchanged(effects: &[Effect]) -> Vec<Characteristic> {
    let moves = |of: &Characteristic| effects.iter().any(|e| e.characteristic == *of && e.change != Some(0.0));
    OF.into_iter().filter(|of| !moves(of)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::quantity::parse_target;

    /// 12.7 mm is half an inch exactly (the inch is 25.4 mm by definition).
    #[test]
    fn a_length_beyond_its_limits_is_said_in_the_units_of_its_order() {
        let effect = |value| Effect { characteristic: Characteristic::Length, value: Some(value), change: None };
        let said = |text: &str, value: f64| {
            let target = parse_target(text, Characteristic::Length.dimension()).unwrap();
            let row = TargetRow { characteristic: Characteristic::Length, target, text: text.to_owned() };
            beyond_limits(&[row], &[effect(value)])
        };
        assert_eq!(said("45 in ± 1/16 in", 1143.0 + 1.5875 + 12.7), "; length would be 1/2 in over its limits");
        assert_eq!(said("1143 mm ± 2 mm", 1143.0 - 2.0 - 12.7), "; length would be 12.7 mm under its limits");
        assert_eq!(said("45 in ± 1/16 in", 1143.0), "");
    }
}
