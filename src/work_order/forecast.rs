//! Where the club will land, before glue touches the shaft: from its weighed parts, or better from its dry fit.
//!
//! What is not measured is taken at its usual value with a spread; the uncertainty of the forecast says how much that
//! costs. Nothing here is ever filed: a forecast is shown beside what is measured.

use super::learning::{Basis, Learning, Learnt};
use super::order::Stage;
use super::parts_model::{
    ADHESIVE_BEFORE_TIP_MM, ADHESIVE_G, GRIP_MM, TAPE_G, inputs, length_mm, newest, outcome, usual,
};
use super::record::ClubRecord;
use super::stock::TakenPart;
use crate::club::assembly::MassProperties;
use crate::club::characteristic::Characteristic;
use crate::club::swing_weight::points_per_gram;
use crate::measurement::unit::Millimetres;

/// A forecast value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// What of.
    pub characteristic: Characteristic,
    /// The value expected for the finished club.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// What clubs of the same parts taught, if any did; it is in value and uncertainty.
    pub learnt: Option<Learnt>,
}

/// How the swing weight answers to one input of the forecast from parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// The input, in words.
    pub input: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Its standard uncertainty.
    pub u: f64,
    /// Points of swing weight for one unit of it.
    pub points_per_unit: f64,
}

/// What is forecast, in this order.
pub(super) const OF: [Characteristic; 3] =
    [Characteristic::TotalMass, Characteristic::BalancePoint, Characteristic::SwingWeight];

/// A value with its standard uncertainty.
pub(super) type Value = (f64, f64);

/// The forecast of mass, balance and swing weight of the finished club; empty while parts are missing, or once the
/// gripped club is measured and no forecast is needed any more.
#[must_use]
pub fn forecast(club: &ClubRecord, learning: &Learning) -> Vec<Forecast> {
    if club.standing(Characteristic::SwingWeight).is_some() {
        return Vec::new();
    }
    let by = |basis| from(club, basis).map(|values| (basis, values));
    let bonded = if club.stage() == Stage::Bonded { by(Basis::Bonded) } else { None };
    let best = bonded.or_else(|| by(Basis::DryFit)).or_else(|| by(Basis::Parts));
    let Some((basis, values)) = best else { return Vec::new() };
    let learn = |(characteristic, (value, u)): (Characteristic, Value)| {
        let learnt = learning.learnt(&club.spec.models, basis, characteristic, u);
        let (shift, u) = learnt.map_or((0.0, u), |learnt| (learnt.shift, learnt.u));
        Forecast { characteristic, value: value + shift, u, learnt }
    };
    OF.into_iter().zip(values).map(learn).collect()
}

/// How the swing weight depends on each input, where it is forecast from parts.
#[must_use]
pub fn sensitivities(club: &ClubRecord) -> Vec<Sensitivity> {
    let Some((inputs, moved)) = inputs(club) else { return Vec::new() };
    let Some(centre) = outcome(&inputs) else { return Vec::new() };
    let sensitivity = |moved: &super::parts_model::Moved| {
        let change = outcome(&moved.inputs)?.swing_weight - centre.swing_weight;
        let (input, unit, u) = (moved.input, moved.unit, moved.u);
        Some(Sensitivity { input, unit, u, points_per_unit: if u > 0.0 { change.0 / u } else { 0.0 } })
    };
    moved.iter().filter_map(sensitivity).collect()
}

/// Mass, balance and swing weight with weights added to them; what a drawer weight weighs is known well.
fn with_weights<'a>(values: [Value; 3], weights: impl Iterator<Item = &'a TakenPart>) -> [Value; 3] {
    let [(mut mass, u_mass), (mut balance, u_balance), (mut points, u_points)] = values;
    for part in weights {
        let (grams, at) = (f64::from(part.pieces) * part.mass_g, part.at_mm.unwrap_or(0.0));
        balance = (mass * balance + grams * at) / (mass + grams);
        mass += grams;
        points += grams * points_per_gram(Millimetres(at));
    }
    [(mass, u_mass), (balance, u_balance), (points, u_points)]
}

/// The forecast from what is known at one point of the build, before anything is learnt.
pub(super) fn from(club: &ClubRecord, basis: Basis) -> Option<[Value; 3]> {
    match basis {
        Basis::Parts => from_parts(club),
        Basis::DryFit => from_fit(club, Stage::DryFit),
        Basis::Bonded => from_fit(club, Stage::Bonded),
    }
}

/// The dry fit is the club without adhesive and tape: two small known masses are added to what was measured. The bonded
/// club lacks the tape only.
fn from_fit(club: &ClubRecord, stage: Stage) -> Option<[Value; 3]> {
    let of = |characteristic| newest(club, characteristic, stage);
    let (mass, balance) = (of(Characteristic::TotalMass)?, of(Characteristic::BalancePoint)?);
    let swing = of(Characteristic::SwingWeight)?;
    let length = length_mm(club);
    let adhesive = if stage == Stage::DryFit { ADHESIVE_G } else { usual(0.0, 0.0) };
    let (tip_mm, grip_mm) = (length - ADHESIVE_BEFORE_TIP_MM, GRIP_MM.1);
    let per_gram = |at: f64| points_per_gram(Millimetres(at));
    let total = mass.filed.value + adhesive.value + TAPE_G.value;
    let moment = mass.filed.value * balance.filed.value + adhesive.value * tip_mm + TAPE_G.value * grip_mm;
    let centre = moment / total;
    let u_centre = (balance.filed.u * mass.filed.value / total)
        .hypot((tip_mm - centre) * adhesive.spread / total)
        .hypot((grip_mm - centre) * TAPE_G.spread / total);
    let points = swing.filed.value + adhesive.value * per_gram(tip_mm) + TAPE_G.value * per_gram(grip_mm);
    let values = [
        (total, mass.filed.u.hypot(adhesive.spread).hypot(TAPE_G.spread)),
        (centre, u_centre),
        (points, swing.filed.u.hypot(adhesive.spread * per_gram(tip_mm)).hypot(TAPE_G.spread * per_gram(grip_mm))),
    ];
    Some(with_weights(values, club.weights_since(swing)))
}

/// From the parts alone, by the assembly model; the spread of each input is carried through by a small change of it.
fn from_parts(club: &ClubRecord) -> Option<[Value; 3]> {
    let (inputs, moved) = inputs(club)?;
    let three = |whole: MassProperties| [whole.mass.0, whole.balance.0, whole.swing_weight.0];
    let centre = outcome(&inputs).map(three)?;
    let mut u = [0.0f64; 3];
    for moved in &moved {
        for (u, (moved, centre)) in u.iter_mut().zip(outcome(&moved.inputs).map(three)?.iter().zip(&centre)) {
            *u = u.hypot(moved - centre);
        }
    }
    let [mass, balance, points] = centre;
    let [u_mass, u_balance, u_points] = u;
    let values = [(mass, u_mass), (balance, u_balance), (points, u_points)];
    Some(with_weights(values, club.weights().map(|(_, part)| part)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work_order::details::Details;
    use crate::work_order::event::{EventId, FiledValue};
    use crate::work_order::judging::{DecisionRule, Verdict};
    use crate::work_order::order::{ClubKind, ClubSpec, Hand};
    use crate::work_order::record::{Entry, Method, Standing};

    fn club(values: &[(Characteristic, Stage, f64)]) -> ClubRecord {
        let spec = ClubSpec {
            id: "W-1/1".into(),
            token: "t".into(),
            name: "5-iron".into(),
            kind: ClubKind::Iron,
            hand: Hand::Right,
            targets: Vec::new(),
            details: Details::default(),
            models: crate::work_order::order::Models::default(),
        };
        let mut record = ClubRecord::new("W-1", spec);
        for (number, (characteristic, stage, value)) in (1u64..).zip(values) {
            record.file(Entry {
                filed: FiledValue {
                    characteristic: *characteristic,
                    stage: *stage,
                    value: *value,
                    u: 0.05,
                    target: None,
                    lower: None,
                    upper: None,
                    deviation: None,
                    verdict: Verdict::NoTarget,
                    marginal: false,
                    rule: DecisionRule::Plain,
                },
                method: Method::Typed { text: String::new() },
                event: EventId::new(1, number, 0),
                at_us: 0,
                by: None,
                standing: Standing::Valid,
                budget: None,
            });
        }
        record
    }

    fn swing(record: &ClubRecord) -> Option<Forecast> {
        forecast(record, &Learning::default()).into_iter().find(|f| f.characteristic == Characteristic::SwingWeight)
    }

    const PARTS: [(Characteristic, Stage, f64); 4] = [
        (Characteristic::HeadMass, Stage::Part, 256.0),
        (Characteristic::ShaftMass, Stage::Part, 115.0),
        (Characteristic::GripMass, Stage::Part, 50.0),
        (Characteristic::Length, Stage::DryFit, 965.2),
    ];

    #[test]
    fn usual_parts_forecast_a_usual_club() {
        // Common practice, no source: a 38 in 5-iron with a 256 g head and a 115 g shaft comes out near D2 to D3.
        let found = swing(&club(&PARTS)).unwrap();
        assert!((30.0..=36.0).contains(&found.value), "{found:?}");
        assert!((1.0..=3.0).contains(&found.u), "{found:?}");
    }

    #[test]
    fn the_dry_fit_sharpens_the_forecast() {
        let mut values = PARTS.to_vec();
        values.extend([
            (Characteristic::TotalMass, Stage::DryFit, 421.0),
            (Characteristic::BalancePoint, Stage::DryFit, 720.0),
            (Characteristic::SwingWeight, Stage::DryFit, 31.0),
        ]);
        let found = swing(&club(&values)).unwrap();
        // By hand: 2 g at 940.2 mm add 2 × 0.464 points, 2.5 g at 112 mm take 2.5 × 0.193 points off.
        assert!((found.value - (31.0 + 2.0 * 0.4639 - 2.5 * 0.1933)).abs() < 0.01, "{found:?}");
        assert!(found.u < 0.7);
    }

    #[test]
    fn a_measured_club_needs_no_forecast() {
        let mut values = PARTS.to_vec();
        values.push((Characteristic::SwingWeight, Stage::Gripped, 32.0));
        assert_eq!(forecast(&club(&values), &Learning::default()), []);
        assert_eq!(forecast(&club(&[]), &Learning::default()), []);
    }
}
