//! Other ways to a swing weight than weights: another grip, head or shaft from the drawers, or a cut at the butt.
//!
//! Each is worked out on the assembly model of the weighed parts, and its difference put on the club as it stands. One of
//! each way at most, and only what brings the club nearer by more than would be left alone, is still possible at
//! this step and keeps the order's limits.

use super::cautions;
use super::drawer_stock::{DrawerStock, TakenPart};
use super::drawers::{Item, ItemKind};
use super::effects::{Change, Swings, beyond_limits};
use super::need::{LEAVE_ALONE_POINTS, Need};
use super::parts_model::{Inputs, PlannedParts, assembly, inputs, outcome, planned, shaft_length_mm};
use super::proposals::{Proposal, Way, is_past, key, outcome_words, points_after, signed, wanted, whole};
use super::record::ClubRecord;
use super::shaft_frequency::{FinishedBeam, with_shaft};
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::club::cut::{COVERAGE, U_OF_A_MARK_MM};
use crate::club::frequency::{Cantilever, carried_over};
use crate::club::swing_weight::GMM_PER_POINT;
use crate::club::trimming::butt_trim_for;
use crate::club::weight_search::{CG_PER_G, Score, UNITS_PER_GMM, scarcity};
use crate::measurement::unit::{Millimetres, Points};

/// A cut below this is not worth a new grip, in millimetres.
const LEAST_CUT_MM: f64 = 0.5;

/// The best of each way, the best of all first.
pub(super) fn alternatives(club: &ClubRecord, stock: &DrawerStock, need: &Need) -> Vec<Proposal> {
    let Some((inputs, _)) = inputs(club) else { return Vec::new() };
    let wanted = wanted(club, need, need.window);
    let score = |change: &Change, left: u32| {
        let moment = whole((change.points * GMM_PER_POINT * UNITS_PER_GMM).round());
        // A lighter part is no worse than one that is heavier by as much.
        let score = wanted.score(moment, whole((change.mass_g * CG_PER_G).round()), 1, scarcity(left));
        Score { mass: score.mass.abs(), ..score }
    };
    let as_it_is = wanted.score(0, 0, 0, 0);
    let mut found: Vec<(Score, Proposal)> = Vec::new();
    for way in [Way::Grip, Way::Head, Way::Shaft] {
        let swaps = stock.drawers.items.iter().filter_map(|item| {
            let left = stock.left(&item.name);
            let change = swap(club, need, way, item, &inputs).filter(|_| left > 0)?;
            Some((score(&change, left), item, change))
        });
        let best = swaps.min_by(|a, b| a.0.cmp(&b.0).then_with(|| a.1.name.cmp(&b.1.name)));
        if let Some((score, item, change)) = best {
            found.push((score, of_item(club, need, way, item, &change)));
        }
    }
    if let Some((change, proposal)) = butt_trim(club, need, &inputs) {
        found.push((score(&change, 1), proposal));
    }
    // A swap that does not bring the club there is only worth its work where it brings it nearer by what one can feel.
    let worth = whole(LEAVE_ALONE_POINTS * GMM_PER_POINT * UNITS_PER_GMM);
    let is_nearer =
        |score: &Score| score.miss < as_it_is.miss && (score.miss == 0 || score.miss <= as_it_is.miss - worth);
    let helps = |score: &Score| is_nearer(score) && score.mass_miss <= as_it_is.mass_miss;
    found.retain(|(score, _)| helps(score));
    found.sort_by_key(|(score, _)| *score);
    found.into_iter().map(|(_, proposal)| proposal).collect()
}

/// What another part does, if it may go on this club now.
fn swap(club: &ClubRecord, need: &Need, way: Way, item: &Item, inputs: &Inputs) -> Option<Change> {
    let models = &club.spec.models;
    let mass_g = item.mass().0;
    let mut other = *inputs;
    let (kind, ordered, characteristic) = match way {
        Way::Grip => (ItemKind::Grip, &models.grip, Characteristic::GripMass),
        Way::Head => (ItemKind::Head, &models.head, Characteristic::HeadMass),
        Way::Shaft => (ItemKind::Shaft, &models.shaft, Characteristic::ShaftMass),
        Way::Weights | Way::ButtTrim => return None,
    };
    let is_as_ordered = ordered.is_none() || item.model == *ordered;
    let limits = club.spec.target(characteristic).map(|row| row.target).unwrap_or_default();
    let within = limits.lower.is_none_or(|limit| mass_g >= limit) && limits.upper.is_none_or(|limit| mass_g <= limit);
    let is_closed = kind.closed_by().is_some_and(|step| is_past(club, step)) || club.part_taken(kind).is_some();
    if item.kind != kind || is_closed || !item.fits(&club.spec) || !is_as_ordered || !within {
        return None;
    }
    match way {
        Way::Grip => other.grip_g = mass_g,
        Way::Head => other.head_g = mass_g,
        _ => {
            let tip_trim_mm = inputs.seat.tip_trim_mm;
            let needed = shaft_length_mm(inputs) + tip_trim_mm;
            if item.length.is_some_and(|length| length.0 < needed) {
                return None;
            }
            let masses = [inputs.head_g, mass_g, inputs.grip_g].map(|grams| (grams, 0.0));
            let parts = PlannedParts { masses, seat: inputs.seat, balance: None, beyond_tip: None };
            (other, _) = planned(&club.spec, &parts);
            other.length_mm = inputs.length_mm;
            other.seat.weighed_mm = item.length.map(|length| length.0);
        }
    }
    let swings = match way {
        Way::Head => heavier(need, mass_g - inputs.head_g),
        Way::Shaft => with_shaft(club, &item.stated, mass_g).map_or(Swings::Unknown, Swings::At),
        _ => Swings::AsItDoes,
    };
    let head = (way == Way::Head).then_some(item.stated);
    Some(Change { swings, head, ..Change::between(&outcome(inputs)?, &outcome(&other)?, 0.0) })
}

/// What so many grams more in the head do to the frequency.
fn heavier(need: &Need, grams: f64) -> Swings {
    let Some(FinishedBeam { beam, .. }) = need.base.beam else { return Swings::Unknown };
    let other = Cantilever { body_g: beam.body_g + grams, ..beam };
    carried_over(1.0, &beam, &other).map_or(Swings::Unknown, Swings::share)
}

/// What a cut at the butt does to it: the clamp takes as much of what is left.
fn shorter_by(need: &Need, cut_mm: f64) -> Swings {
    let Some(FinishedBeam { beam, .. }) = need.base.beam else { return Swings::Unknown };
    let other = Cantilever { free_mm: beam.free_mm - cut_mm, ..beam };
    carried_over(1.0, &beam, &other).map_or(Swings::Unknown, Swings::share)
}

fn of_item(club: &ClubRecord, need: &Need, way: Way, item: &Item, change: &Change) -> Proposal {
    let parts = vec![TakenPart {
        item: item.name.clone(),
        kind: item.kind,
        pieces: 1,
        mass_g: item.mass().0,
        place: None,
        at_mm: None,
        stated: item.stated,
    }];
    let text =
        format!("take the {} {} of {:.1} g: {}", way.name(), item.name, item.mass().0, outcome_words(need, change));
    let effects = change.effects(&need.base);
    Proposal {
        key: key(way, &parts),
        way,
        parts,
        text: text + &beyond_limits(&club.spec.targets, &effects),
        effects,
        reaches: need.is_good(need.base.points + change.points),
        proven: true,
        cautions: match way {
            Way::Grip => cautions::words(Step::Grip, &club.spec),
            _ => Vec::new(),
        },
    }
}

/// A cut at the butt before the grip is on, within the order's limits of length: to the aim, or as far as it may go with
/// room for the uncertainty. Where marks decide the cut, nothing is offered beside them.
fn butt_trim(club: &ClubRecord, need: &Need, inputs: &Inputs) -> Option<(Change, Proposal)> {
    let shortest = club.spec.target(Characteristic::Length)?.target.lower?;
    let room = need.base.length_mm - shortest - COVERAGE * need.base.u_length_mm.hypot(U_OF_A_MARK_MM);
    let has_marks = club.spec.build.cut.is_some();
    if need.deficit().0 >= 0.0 || room < LEAST_CUT_MM || has_marks || is_past(club, Step::Grip) {
        return None;
    }
    let whole = outcome(inputs)?;
    let model = assembly(inputs);
    let cut = butt_trim_for(&model, whole.swing_weight + need.deficit()).map_or(room, |trim| trim.extra.0.min(room));
    if cut < LEAST_CUT_MM {
        return None;
    }
    let mut shorter = model;
    shorter.shaft.butt_trim = shorter.shaft.butt_trim + Millimetres(cut);
    let swings = shorter_by(need, cut);
    let change = Change { swings, ..Change::between(&whole, &shorter.mass_properties().ok()?, -cut) };
    let points = Points(need.base.points + change.points);
    let text = format!(
        "cut {cut:.1} mm off the butt: {}, total {}, length {}",
        points.text(),
        signed(change.mass_g, 1, "g"),
        signed(-cut, 1, "mm")
    );
    let effects = change.effects(&need.base);
    let proposal = Proposal {
        key: key(Way::ButtTrim, &[]),
        way: Way::ButtTrim,
        parts: Vec::new(),
        text: text + &beyond_limits(&club.spec.targets, &effects),
        effects,
        reaches: need.is_good(points.0),
        proven: true,
        cautions: cautions::words(Step::Cut, &club.spec),
    };
    debug_assert!((points_after(&proposal) - points.0).abs() < 1e-9);
    Some((change, proposal))
}
