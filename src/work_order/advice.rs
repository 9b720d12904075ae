//! What to do now, in words: the next thing to lay down, and how to bring the club to its target.

use super::cautions::{self, Caution};
use super::drawer_stock::DrawerStock;
use super::drawers::ItemKind;
use super::hand_over::steps_open;
use super::learning::Learning;
use super::marks;
use super::need::{Need, need};
use super::order::Stage;
use super::proposals::{Proposal, for_need};
use super::record::{ClubRecord, ClubState, Entry};
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::club::cut::CutMark;
use crate::club::swing_weight::mass_for_swing_weight;
use crate::measurement::unit::{Millimetres, Points};

/// Where weight under the grip sits, in millimetres from the butt (common practice, no source).
const BUTT_WEIGHT_MM: f64 = 25.0;

/// How to bring the swing weight to its target.
#[derive(Debug, Clone, PartialEq)]
pub struct SwingWeightAdvice {
    /// Mass to add at the head, in grams; negative: take off; 0 while there is only a forecast, or parts are proposed.
    pub head_g: f64,
    /// Mass to add under the grip instead, where the head is too heavy.
    pub butt_g: Option<f64>,
    /// The words.
    pub text: String,
    /// What could be done with what is in the drawers, the best first.
    pub proposals: Vec<Proposal>,
}

/// Advice from the swing weight of the gripped club, or from its forecast before; `None` when there is nothing to do.
#[must_use]
pub fn swing_weight(club: &ClubRecord, stock: &DrawerStock, learning: &Learning) -> Option<SwingWeightAdvice> {
    let need = need(club, learning)?;
    let now = Points(need.base.points).text();
    let plain = |head_g, butt_g, text| Some(SwingWeightAdvice { head_g, butt_g, text, proposals: Vec::new() });
    if need.only_measure {
        let taken = need.base.taken_since_g;
        return plain(
            0.0,
            None,
            format!("{taken:.1} g taken since it was measured should give {now}: lay it on the beam"),
        );
    }
    let forecast = format!("forecast for the finished club {now} ± {:.1} points: ", 2.0 * need.base.u);
    let basis = if need.base.is_measured { "" } else { &forecast };
    let in_grams = in_grams(&need);
    if let Some(found) = for_need(club, stock, &need) {
        let reaches = found.list.first().is_some_and(|best| best.reaches);
        let grams = in_grams.filter(|_| !reaches).map(|(_, _, text)| format!("; wanted: {text}")).unwrap_or_default();
        let text = format!("{basis}{}{grams}", found.text);
        return Some(SwingWeightAdvice { head_g: 0.0, butt_g: None, text, proposals: found.list });
    }
    let (head_g, butt_g, text) = in_grams?;
    if need.base.is_measured {
        return plain(head_g, butt_g, text);
    }
    let size = head_g.abs();
    let way = if head_g >= 0.0 {
        format!("{size:.1} g short at the head")
    } else {
        format!("{size:.1} g too much at the head")
    };
    plain(0.0, None, format!("{basis}{way}"))
}

/// The grams that would do it at the end of the club, or under the grip where the head is too heavy, and the words.
fn in_grams(need: &Need) -> Option<(f64, Option<f64>, String)> {
    let head_g = mass_for_swing_weight(need.deficit(), Millimetres(need.base.length_mm))?.0;
    if head_g >= 0.0 {
        return Some((head_g, None, format!("add {head_g:.1} g at the head")));
    }
    let butt_g = mass_for_swing_weight(need.deficit(), Millimetres(BUTT_WEIGHT_MM))?.0;
    let text = format!(
        "put {butt_g:.1} g under the grip, or take {:.1} g off the head as far as its maker allows (grinding: eye protection, dust mask)",
        -head_g
    );
    Some((head_g, Some(butt_g), text))
}

/// What can hurt at the next step, and at the tip's cut that it waits for, each once.
#[must_use]
pub fn cautions(club: &ClubRecord) -> Vec<Caution> {
    let next = club.next_step();
    let cut = marks::due(club).filter(|mark| *mark == CutMark::Tip).map(|_| Step::Cut);
    let mut found: Vec<Caution> = Vec::new();
    for caution in cut.into_iter().chain(next).flat_map(|step| cautions::cautions(step, &club.spec)) {
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
    // Once head and shaft are bonded no part can be weighed alone any more.
    if matches!(club.stage(), Stage::Part | Stage::DryFit) {
        let replaced = |c: Characteristic| ItemKind::weighed_as(c).and_then(|kind| club.replaced(kind)).is_some();
        if let Some((_, words)) = parts.iter().find(|(c, _)| missing.contains(c) || replaced(*c)) {
            return (*words).to_owned();
        }
    }
    match club.stage() {
        Stage::DryFit if club.spec.route().contains(&Step::DryFit) && !club.valid().any(Entry::is_of_dry_fit) => {
            "lay the club together without adhesive and put it on the beam".to_owned()
        }
        Stage::DryFit => "bond head and shaft, then mark the step done".to_owned(),
        Stage::Bonded => match club.next_step() {
            Some(step) => format!("{}, then mark the step done", step.label()),
            None => finish_action(club, &missing),
        },
        _ => finish_action(club, &missing),
    }
}

/// A club that came in for repair: what it measures as it came is taken before anything is done to it.
fn received_action(club: &ClubRecord) -> String {
    let asked: Vec<&str> = club.not_received().map(Characteristic::label).collect();
    let step = club.next_step().map_or("hand it over", Step::label);
    if asked.is_empty() {
        format!("it is measured as it came: {step}, then mark the step done")
    } else {
        format!("measure the club as it came ({}); then {step} and mark the step done", asked.join(", "))
    }
}

fn finish_action(club: &ClubRecord, missing: &[Characteristic]) -> String {
    let is_handed_over = club.has_done(Step::HandOver);
    if is_handed_over && club.state == ClubState::Finished {
        return "the club is handed over".to_owned();
    }
    // A route without that is finished by its last measurement.
    if !club.ends_with_hand_over() && club.state == ClubState::Finished {
        return "the club is finished".to_owned();
    }
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
        let outside: Vec<&str> = club.outside().map(Characteristic::label).collect();
        let open = steps_open(club).find(|step| *step != Step::HandOver);
        if let (true, Some(step)) = (outside.is_empty(), open) {
            format!("all is measured: {}, then mark the step done", step.label())
        } else if outside.is_empty() && club.ends_with_hand_over() {
            "all is measured: hand the club over".to_owned()
        } else if outside.is_empty() {
            "all is measured".to_owned()
        } else {
            let before = match (is_handed_over, club.ends_with_hand_over()) {
                (true, _) => "and measure it again",
                (_, true) => "before it is handed over",
                (_, false) => "before it is finished",
            };
            format!("outside its limits: {}: put that right {before}", outside.join(", "))
        }
    }
}
