//! What the swing weight of a club wants: where it stands, where it should be, and whether anything is to be done.

use super::forecast::{Forecast, forecast};
use super::head_angles::ANGLES;
use super::judging::{COVERAGE, DecisionRule, Verdict, judge};
use super::learning::Learning;
use super::parts_model::{inertia_of, inputs, length_mm, outcome, u_length_mm};
use super::record::ClubRecord;
use super::shaft_frequency::{FinishedBeam, finished_beam, frequency_now};
use crate::club::characteristic::Characteristic;
use crate::club::swing_weight::points_per_gram;
use crate::measurement::quantity::Target;
use crate::measurement::unit::{Millimetres, Points};

/// A deviation this small without limits is left alone, in points (common practice, no source).
pub(super) const LEAVE_ALONE_POINTS: f64 = 0.25;
/// What rounds to the aim in the one decimal that is shown, in points.
pub(super) const AS_GOOD_AS_AIM: f64 = 0.05;
/// No club comes near to this many points from A0.
const NO_LIMIT_POINTS: f64 = 1e4;

/// The club as it stands, or as it is forecast to be, with what was taken for it since.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Base {
    /// Swing weight, from A0.
    pub(super) points: f64,
    /// Its standard uncertainty.
    pub(super) u: f64,
    /// Its expanded uncertainty, by which it is judged.
    pub(super) expanded: f64,
    /// Total mass in grams, if known.
    pub(super) mass_g: Option<f64>,
    /// Balance point from the butt in millimetres, if known.
    pub(super) balance_mm: Option<f64>,
    /// Inertia about the butt in kg·cm², if measured or its parts are weighed.
    pub(super) inertia_kgcm2: Option<f64>,
    /// Length in millimetres, measured or as ordered.
    pub(super) length_mm: f64,
    /// Its standard uncertainty.
    pub(super) u_length_mm: f64,
    /// Loft, lie and face angle in degrees, measured or forecast.
    pub(super) angles: [Option<f64>; 3],
    /// Frequency in cycles a minute, measured or forecast.
    pub(super) frequency_cpm: Option<f64>,
    /// The finished club as a beam, if head and shaft are weighed.
    pub(super) beam: Option<FinishedBeam>,
    /// Whether it was measured on the gripped club; else it is the forecast.
    pub(super) is_measured: bool,
    /// Grams taken from the drawers for it since it was measured.
    pub(super) taken_since_g: f64,
}

/// What is wanted.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Need {
    /// Where the club stands.
    pub(super) base: Base,
    /// Where it should be, in points from A0.
    pub(super) aim: f64,
    /// What would be good, with room for the uncertainty.
    pub(super) window: (f64, f64),
    /// It is good already, with what was taken since it was measured.
    pub(super) only_measure: bool,
    target: Target,
    rule: DecisionRule,
}

impl Need {
    /// Points to add; negative: to take away.
    pub(super) fn deficit(&self) -> Points {
        Points(self.aim - self.base.points)
    }

    /// Whether a swing weight, as uncertain as the club's, would be judged good; without limits: whether it reads as the aim.
    pub(super) fn is_good(&self, points: f64) -> bool {
        match judge(self.rule, &self.target, points, self.base.expanded).verdict {
            Verdict::Within => true,
            Verdict::NoTarget => (points - self.aim).abs() <= AS_GOOD_AS_AIM,
            Verdict::Under | Verdict::Over => false,
        }
    }
}

/// What a club wants; `None` where the order asks for no swing weight, nothing is known yet, or all is well.
pub(super) fn need(club: &ClubRecord, learning: &Learning) -> Option<Need> {
    let target = club.spec.target(Characteristic::SwingWeight)?.target;
    let (base, rule) = base(club, learning)?;
    let guard = match rule {
        DecisionRule::Plain => 1.0,
        DecisionRule::Guarded { guard } => guard.max(1.0),
    };
    let room = guard * base.expanded;
    // A forecast that is less sure than the limits are wide cannot be aimed: half of them stay open for what costs least.
    let half = target.lower.zip(target.upper).map_or(f64::INFINITY, |(lower, upper)| (upper - lower) / 4.0);
    let (aim, window) = window(&target, if base.is_measured { room } else { room.min(half) })?;
    let deficit = aim - base.points;
    let is_well = match judge(rule, &target, base.points, base.expanded).verdict {
        Verdict::Within => true,
        Verdict::NoTarget => deficit.abs() < LEAVE_ALONE_POINTS,
        Verdict::Under | Verdict::Over => false,
    };
    let only_measure = is_well && base.is_measured && base.taken_since_g > 0.0;
    // A forecast is a reason to look, not yet a mass to glue in; what it cannot tell it does not say.
    let is_told = base.is_measured || deficit.abs() >= COVERAGE * base.u;
    ((!is_well && is_told) || only_measure).then_some(Need { base, aim, window, only_measure, target, rule })
}

/// What to aim at, and what is good enough with `room` kept from the limits, in points.
fn window(target: &Target, room: f64) -> Option<(f64, (f64, f64))> {
    let lower = target.lower.map(|limit| limit + room);
    let upper = target.upper.map(|limit| limit - room);
    let middle = target.lower.zip(target.upper).map(|(lower, upper)| f64::midpoint(lower, upper));
    let aim = target.value.or(middle).or(lower).or(upper)?;
    let near = (aim - AS_GOOD_AS_AIM, aim + AS_GOOD_AS_AIM);
    let window = match (lower, upper) {
        (None, None) => near,
        (lower, upper) => (lower.unwrap_or(-NO_LIMIT_POINTS), upper.unwrap_or(NO_LIMIT_POINTS)),
    };
    let is_wide = window.1 - window.0 > 2.0 * AS_GOOD_AS_AIM;
    Some((aim, if is_wide { window } else { near }))
}

fn base(club: &ClubRecord, learning: &Learning) -> Option<(Base, DecisionRule)> {
    let (length_mm, u_length_mm) = (length_mm(club), u_length_mm(club));
    let modelled = inputs(club).and_then(|(inputs, _)| outcome(&inputs)).map(|whole| {
        let weights = club.weights().map(|(_, part)| inertia_of(part.grams(), part.at_mm.unwrap_or(0.0)));
        whole.inertia_butt_kgcm2 + weights.sum::<f64>()
    });
    let measured_inertia = club.standing(Characteristic::MoiButt).map(|entry| {
        let since = club.weights_since(entry).map(|part| inertia_of(part.grams(), part.at_mm.unwrap_or(0.0)));
        entry.filed.value + since.sum::<f64>()
    });
    let inertia_kgcm2 = measured_inertia.or(modelled);
    let forecasts = forecast(club, learning);
    let of = |characteristic| forecasts.iter().find(|forecast| forecast.characteristic == characteristic);
    let measured = |of: Characteristic| club.standing(of).map(|entry| entry.filed.value);
    let known = |characteristic| measured(characteristic).or_else(|| of(characteristic).map(|forecast| forecast.value));
    let (angles, frequency_cpm, beam) =
        (ANGLES.map(known), frequency_now(club).or_else(|| known(Characteristic::Frequency)), finished_beam(club));
    // What a placement said of the inertia before the grip was on is in its forecast.
    let forecast_inertia = |forecast: Option<&Forecast>| measured_inertia.or(forecast.map(|f| f.value)).or(modelled);
    if let Some(entry) = club.standing(Characteristic::SwingWeight) {
        let mut base = Base {
            points: entry.filed.value,
            u: entry.filed.u,
            expanded: entry.filed.expanded(),
            mass_g: measured(Characteristic::TotalMass),
            balance_mm: measured(Characteristic::BalancePoint),
            inertia_kgcm2,
            length_mm,
            u_length_mm,
            angles,
            frequency_cpm,
            beam,
            is_measured: true,
            taken_since_g: 0.0,
        };
        for part in club.weights_since(entry) {
            let (grams, at) = (part.grams(), part.at_mm.unwrap_or(0.0));
            base.balance_mm = base.balance_mm.zip(base.mass_g).map(|(b, m)| (m * b + grams * at) / (m + grams));
            base.mass_g = base.mass_g.map(|mass| mass + grams);
            base.points += grams * points_per_gram(Millimetres(at));
            base.taken_since_g += grams;
        }
        return Some((base, entry.filed.rule));
    }
    let swing = of(Characteristic::SwingWeight)?;
    let base = Base {
        points: swing.value,
        u: swing.u,
        expanded: COVERAGE * swing.u,
        mass_g: of(Characteristic::TotalMass).map(|forecast| forecast.value),
        balance_mm: of(Characteristic::BalancePoint).map(|forecast| forecast.value),
        inertia_kgcm2: forecast_inertia(of(Characteristic::MoiButt)),
        length_mm,
        u_length_mm,
        angles,
        frequency_cpm,
        beam,
        is_measured: false,
        taken_since_g: 0.0,
    };
    Some((base, DecisionRule::Plain))
}
