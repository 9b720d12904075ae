//! What to do now, in words: the next thing to lay down, and how to bring the club to its target.

use super::cautions::{self, Caution};
use super::forecast::{Forecast, forecast};
use super::judging::{DecisionRule, Verdict, judge};
use super::marks;
use super::order::{Stage, WorkKind};
use super::record::ClubRecord;
use super::steps::Step;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::club::cut::CutMark;
use crate::club::swing_weight::mass_for_swing_weight;
use crate::measurement::unit::{Millimetres, Points};

/// A deviation this small without limits is left alone, in points: half of what a hand can feel is not claimed.
const LEAVE_ALONE_POINTS: f64 = 0.25;
/// Where weight under the grip sits, in millimetres from the butt (common practice, no source).
const BUTT_WEIGHT_MM: f64 = 25.0;

/// How to bring the swing weight to its target.
#[derive(Debug, Clone, PartialEq)]
pub struct SwingWeightAdvice {
    /// Mass to add at the head, in grams; negative: take off; 0 while there is only a forecast.
    pub head_g: f64,
    /// Mass to add under the grip instead, where the head is too heavy.
    pub butt_g: Option<f64>,
    /// The words.
    pub text: String,
}

/// Advice from the swing weight of the gripped club, or from its forecast before; `None` when there is nothing to do.
#[must_use]
pub fn swing_weight(club: &ClubRecord) -> Option<SwingWeightAdvice> {
    let target = club.spec.target(Characteristic::SwingWeight)?.target;
    let aim = target.value.or_else(|| target.lower.zip(target.upper).map(|(lo, hi)| f64::midpoint(lo, hi)))?;
    let measured =
        club.standing(Characteristic::SwingWeight).map(|entry| (entry.filed.value, entry.filed.u, entry.filed.rule));
    let forecast = || {
        let of_swing_weight = |f: &Forecast| f.characteristic == Characteristic::SwingWeight;
        forecast(club).into_iter().find(of_swing_weight).map(|f| (f.value, f.u, DecisionRule::Plain))
    };
    let (value, u, rule) = measured.or_else(forecast)?;
    let deficit = Points(aim - value);
    let leave = match judge(rule, &target, value, u).verdict {
        Verdict::Within => true,
        Verdict::NoTarget => deficit.0.abs() < LEAVE_ALONE_POINTS,
        Verdict::Under | Verdict::Over => false,
    };
    if leave {
        return None;
    }
    let length = club.latest(Characteristic::Length).map_or(club.spec.length_mm(), |entry| entry.filed.value);
    let head_g = mass_for_swing_weight(deficit, Millimetres(length))?.0;
    if measured.is_none() {
        // A forecast is a reason to look, not yet a mass to glue in; and what it cannot tell it does not say.
        if deficit.abs().0 < 2.0 * u {
            return None;
        }
        let way = if head_g >= 0.0 { "short" } else { "too much" };
        let text = format!(
            "forecast for the finished club {} ± {:.1}: {:.1} g {way} at the head",
            Points(value).text(),
            2.0 * u,
            head_g.abs()
        );
        return Some(SwingWeightAdvice { head_g: 0.0, butt_g: None, text });
    }
    if head_g >= 0.0 {
        return Some(SwingWeightAdvice { head_g, butt_g: None, text: format!("add {head_g:.1} g at the head") });
    }
    let butt_g = mass_for_swing_weight(deficit, Millimetres(BUTT_WEIGHT_MM))?.0;
    let text = format!("take {:.1} g off the head, or put {butt_g:.1} g under the grip", -head_g);
    Some(SwingWeightAdvice { head_g, butt_g: Some(butt_g), text })
}

/// What can hurt at the next step, and at the tip's cut that it waits for, each once.
#[must_use]
pub fn cautions(club: &ClubRecord) -> Vec<Caution> {
    let next = club.next_step();
    let cut = marks::due(club).filter(|mark| *mark == CutMark::Tip).map(|_| Step::Cut);
    let mut found: Vec<Caution> = Vec::new();
    for caution in cut.into_iter().chain(next).flat_map(|step| cautions::cautions(step, club.spec.work)) {
        if !found.contains(caution) {
            found.push(*caution);
        }
    }
    found
}

/// One sentence: what the builder does next.
#[must_use]
pub fn next_action(club: &ClubRecord) -> String {
    let parts = [
        (Characteristic::HeadMass, "lay the head on a scale"),
        (Characteristic::ShaftMass, "lay the shaft on a scale"),
        (Characteristic::GripMass, "lay the grip on a scale"),
        (Characteristic::ShaftBalance, "lay the shaft alone on the beam"),
    ];
    let missing: Vec<Characteristic> = club.missing().collect();
    if club.stage() == Stage::Received {
        return received_action(club);
    }
    if let Some((_, words)) = parts.iter().find(|(characteristic, _)| missing.contains(characteristic)) {
        return (*words).to_owned();
    }
    match club.stage() {
        Stage::DryFit if !club.valid().any(|entry| entry.filed.stage == Stage::DryFit) => {
            "lay the club together without adhesive and put it on the beam".to_owned()
        }
        Stage::DryFit => "bond head and shaft, then mark the step done".to_owned(),
        Stage::Bonded => match club.next_step() {
            Some(step @ (Step::Grip | Step::Rest | Step::Cut)) if club.spec.work != WorkKind::Build => {
                format!("{}, then mark the step done", step.label())
            }
            _ => "cure, cut and grip the club, then mark the step done".to_owned(),
        },
        _ => finish_action(&missing),
    }
}

/// A club that came in for repair: what it measures as it came is taken before anything is done to it.
fn received_action(club: &ClubRecord) -> String {
    let asked = Characteristic::all()
        .filter(|c| c.measured_on() == MeasuredOn::Club && club.spec.target(*c).is_some())
        .filter(|c| !club.valid().any(|e| e.filed.stage == Stage::Received && e.filed.characteristic == *c));
    let asked: Vec<&str> = asked.map(Characteristic::label).collect();
    let step = club.next_step().map_or("hand it over", Step::label);
    if asked.is_empty() {
        format!("it is measured as it came: {step}, then mark the step done")
    } else {
        format!("measure the club as it came ({}); then {step} and mark the step done", asked.join(", "))
    }
}

fn finish_action(missing: &[Characteristic]) -> String {
    let on_beam = [Characteristic::SwingWeight, Characteristic::BalancePoint, Characteristic::TotalMass];
    let in_gauge = [Characteristic::Loft, Characteristic::Lie];
    let any = |of: &[Characteristic]| missing.iter().any(|c| of.contains(c));
    if any(&[Characteristic::Length]) {
        "measure the length and type it".to_owned()
    } else if any(&on_beam) {
        "lay the club on the beam".to_owned()
    } else if any(&in_gauge) {
        "put the club in the gauge".to_owned()
    } else if let Some(first) = missing.first() {
        format!("measure the {} and type it", first.label())
    } else {
        "all is measured: hand the club over".to_owned()
    }
}
