//! How to bring a club to its swing weight with what is in the drawers: concrete parts, and what they do to the club.
//!
//! In: a club, the stock, what forecasts have learnt. Out: proposals, the best first. The best set of weights is found
//! exactly (`club::weight_search`): swing weight first, then the total mass the order allows and the least added mass,
//! then fewest pieces, then what is plentiful. Nothing is proposed that is not there, does not fit, or is too late.

use super::alternatives::alternatives;
use super::drawer_stock::{DrawerStock, TakenPart};
use super::drawers::{Drawers, Item, ItemKind, WeightPlace};
use super::effects::{Change, Effect, beyond_limits};
use super::learning::Learning;
use super::need::{AS_GOOD_AS_AIM, LEAVE_ALONE_POINTS, Need, need};
use super::record::ClubRecord;
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::club::swing_weight::{GMM_PER_POINT, lever_arm};
use crate::club::weight_search::{CG_PER_G, Found, SearchItem, SearchPlace, UNITS_PER_GMM, Wanted, search_each};
use crate::measurement::unit::{Millimetres, Points};

super::order::named!(
    /// What a proposal changes.
    Way {
        /// Weights and tape.
        Weights = "weights",
        /// Another grip.
        Grip = "grip",
        /// Another head.
        Head = "head",
        /// Another shaft.
        Shaft = "shaft",
        /// A cut at the butt.
        ButtTrim = "butt_trim",
    }
);

/// Something that could be done.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// Its name in the command that takes it; the same parts have the same name.
    pub key: String,
    /// What it changes.
    pub way: Way,
    /// What it takes out of the drawers.
    pub parts: Vec<TakenPart>,
    /// What becomes of the club.
    pub effects: Vec<Effect>,
    /// Whether the swing weight is good afterwards.
    pub reaches: bool,
    /// Whether no better set of weights is in the drawers; not so only where the search was cut short.
    pub proven: bool,
    /// The words: `put 2 g + 0.5 g at the head: D3.0, total +2.5 g`.
    pub text: String,
    /// What can hurt. The maker's data sheet, local codes and licensed practice come first.
    pub cautions: Vec<&'static str>,
}

/// What could be done about a swing weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposals {
    /// The words about the best set of weights, or that nothing helps.
    pub text: String,
    /// Best first: weights, then the other ways that bring the club nearer.
    pub list: Vec<Proposal>,
}

/// A moment or mass beyond everything, in units of the search.
const BEYOND: i64 = i64::MAX / 8;
/// How far beyond the end of its length a club may have a place for weight, in millimetres: the depth of a head.
const HEAD_DEPTH_MM: f64 = 120.0;

/// What could be done about the swing weight of a club; `None` where nothing is to be done, or the drawers hold nothing
/// for it.
#[must_use]
pub fn proposals(club: &ClubRecord, stock: &DrawerStock, learning: &Learning) -> Option<Proposals> {
    let need = need(club, learning).filter(|need| !need.only_measure)?;
    for_need(club, stock, &need)
}

pub(super) fn for_need(club: &ClubRecord, stock: &DrawerStock, need: &Need) -> Option<Proposals> {
    let chest = Chest::of(club, stock, need);
    let others = alternatives(club, stock, need);
    if chest.is_empty() && others.is_empty() {
        return None;
    }
    let near = (need.aim - AS_GOOD_AS_AIM, need.aim + AS_GOOD_AS_AIM);
    let [best, nearest] = chest
        .found([need.window, near].map(|window| wanted(club, need, window)))
        .map(|found| chest.proposal(club, need, found));
    // The lightest set may stand near a limit; the one nearest to the aim is offered beside it, where it is nearer by what
    // one can feel and the club's uncertainty can tell.
    let worth = LEAVE_ALONE_POINTS.max(need.base.u);
    let nearest = nearest.filter(|nearest| {
        let distance = |proposal: &Proposal| (points_after(proposal) - need.aim).abs();
        best.as_ref().is_some_and(|best| distance(nearest) <= distance(best) - worth)
    });
    let text = match &best {
        Some(best) if best.reaches => best.text.clone(),
        Some(best) => format!("not reachable with what is in the drawers: nearest is to {}", best.text),
        None if chest.is_empty() => "no weight in the drawers fits this club now".to_owned(),
        None => "not reachable with what is in the drawers: no weight there brings it nearer".to_owned(),
    };
    Some(Proposals { text, list: best.into_iter().chain(nearest).chain(others).collect() })
}

/// What a set is measured by, in units of the search.
pub(super) fn wanted(club: &ClubRecord, need: &Need, window: (f64, f64)) -> Wanted {
    let moment = |points: f64| (points - need.base.points) * GMM_PER_POINT * UNITS_PER_GMM;
    let mass = |limit: Option<f64>| limit.zip(need.base.mass_g).map(|(limit, mass)| (limit - mass) * CG_PER_G);
    let target = club.spec.target(Characteristic::TotalMass).map(|row| row.target).unwrap_or_default();
    Wanted {
        low: whole(moment(window.0).ceil()),
        aim: whole(moment(need.aim).round()),
        high: whole(moment(window.1).floor()),
        mass_low: mass(target.lower).map_or(-BEYOND, |cg| whole(cg.ceil())),
        mass_high: mass(target.upper).map_or(BEYOND, |cg| whole(cg.floor())),
    }
}

/// A whole number of the search; what is beyond its range stands at the end of it.
#[expect(clippy::cast_possible_truncation, reason = "clamped before")]
pub(super) fn whole(number: f64) -> i64 {
    number.clamp(-(BEYOND as f64), BEYOND as f64) as i64
}

/// The swing weight after a proposal, in points from A0.
pub(super) fn points_after(proposal: &Proposal) -> f64 {
    let of = |effect: &&Effect| effect.characteristic == Characteristic::SwingWeight;
    proposal.effects.iter().find(of).and_then(|effect| effect.value).unwrap_or(f64::MAX)
}

/// The words about what becomes of the club: `D3.0, total +2.5 g`.
pub(super) fn outcome_words(need: &Need, change: &Change) -> String {
    let points = Points(need.base.points + change.points).text();
    format!("{points}, total {}", signed(change.mass_g, 1, "g"))
}

/// A number with its sign and unit.
pub(super) fn signed(value: f64, decimals: usize, unit: &str) -> String {
    let size = format!("{:.decimals$}", value.abs());
    let is_zero = !size.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
    let sign = if is_zero {
        ""
    } else if value < 0.0 {
        "\u{2212}"
    } else {
        "+"
    };
    format!("{sign}{size} {unit}")
}

/// What can still take weight on a club, and what can go there.
struct Chest<'a> {
    places: Vec<(&'a WeightPlace, f64, SearchPlace)>,
    items: Vec<(&'a Item, SearchItem)>,
}

impl<'a> Chest<'a> {
    fn of(club: &'a ClubRecord, stock: &'a DrawerStock, need: &Need) -> Self {
        let Drawers { places, items } = &stock.drawers;
        let length = Millimetres(need.base.length_mm);
        let places: Vec<_> = places
            .iter()
            .filter(|place| place.is_open(club))
            .map(|place| (place, place.from_butt(length).0))
            .filter(|(_, at)| (0.0..=length.0 + HEAD_DEPTH_MM).contains(at))
            .map(|(place, at)| (place, at, room(club, place, at)))
            .collect();
        let fits = |item: &&Item| matches!(item.kind, ItemKind::Weight | ItemKind::Tape) && item.fits(&club.spec);
        let items = items.iter().filter(fits).filter_map(|item| {
            let here = places.iter().enumerate().filter(|(_, (place, ..))| item.places.contains(&place.name));
            let search = SearchItem {
                mass_cg: item.mass_cg,
                stock: stock.left(&item.name),
                places: here.map(|(index, _)| index).collect(),
            };
            (search.stock > 0 && !search.places.is_empty()).then_some((item, search))
        });
        let items = items.collect();
        Self { places, items }
    }

    fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    /// The best set for each wish.
    fn found<const N: usize>(&self, wanted: [Wanted; N]) -> [Found; N] {
        let places: Vec<SearchPlace> = self.places.iter().map(|(_, _, place)| *place).collect();
        let items: Vec<SearchItem> = self.items.iter().map(|(_, item)| item.clone()).collect();
        search_each(&places, &items, wanted)
    }

    /// A set in words and with what it does; none where it is the club as it is.
    fn proposal(&self, club: &ClubRecord, need: &Need, found: Found) -> Option<Proposal> {
        let Found { pieces, proven, .. } = found;
        if pieces.is_empty() {
            return None;
        }
        let mut parts = Vec::new();
        let mut change = Change::default();
        for (kind, place, count) in pieces {
            let (Some((item, _)), Some((place, at, _))) = (self.items.get(kind), self.places.get(place)) else {
                continue;
            };
            change = change.weight(f64::from(count) * item.mass().0, *at, need.base.beam.as_ref());
            parts.push(TakenPart {
                item: item.name.clone(),
                kind: item.kind,
                pieces: count,
                mass_g: item.mass().0,
                place: Some(place.name.clone()),
                at_mm: Some(*at),
                stated: item.stated,
            });
        }
        let effects = change.effects(&need.base);
        let outcome = outcome_words(need, &change) + &beyond_limits(&club.spec.targets, &effects);
        let text = format!("put {}: {outcome}", self.where_to(&parts));
        Some(Proposal {
            key: key(Way::Weights, &parts),
            way: Way::Weights,
            effects,
            reaches: need.is_good(need.base.points + change.points),
            proven,
            text,
            cautions: weight_cautions(&parts),
            parts,
        })
    }

    /// `2 g + 0.5 g at the head and 3 g under the grip`.
    fn where_to(&self, parts: &[TakenPart]) -> String {
        let at = |place: &WeightPlace| {
            let here = parts.iter().filter(|part| part.place.as_ref() == Some(&place.name));
            let masses: Vec<String> = here.map(pieces_words).collect();
            (!masses.is_empty()).then(|| format!("{} {}", masses.join(" + "), place.label))
        };
        self.places.iter().filter_map(|(place, ..)| at(place)).collect::<Vec<_>>().join(" and ")
    }
}

/// What can hurt about weights and tape.
fn weight_cautions(parts: &[TakenPart]) -> Vec<&'static str> {
    let weights =
        "Weights: no more mass or pieces than the maker of the head allows; fasten them as its data sheet says.";
    let tape = "Tape of lead is poisonous: gloves, wash your hands, keep it from food and children.";
    let has_tape = parts.iter().any(|part| part.kind == ItemKind::Tape);
    [Some(weights), has_tape.then_some(tape)].into_iter().flatten().collect()
}

/// `2 g`, or `3 × 0.5 g`.
fn pieces_words(part: &TakenPart) -> String {
    // A hundredth of a gram is the finest a mass is given in, and zeros at its end say nothing.
    let mass = format!("{:.2}", part.mass_g);
    let mass = mass.trim_end_matches('0').trim_end_matches('.');
    if part.pieces == 1 { format!("{mass} g") } else { format!("{} × {mass} g", part.pieces) }
}

/// What a place can still take on a club.
pub(super) fn room(club: &ClubRecord, place: &WeightPlace, at_mm: f64) -> SearchPlace {
    let there = || club.weights().filter(|(_, part)| part.place.as_ref() == Some(&place.name)).map(|(_, part)| part);
    let mass: f64 = there().map(TakenPart::grams).sum();
    let pieces: u32 = there().map(|part| part.pieces).sum();
    let left_cg = ((place.most_mass.0 - mass) * CG_PER_G + 1e-6).floor();
    SearchPlace {
        arm_um: whole((lever_arm(Millimetres(at_mm)).0 * 1000.0).round()),
        most_cg: u32::try_from(whole(left_cg)).unwrap_or(0),
        most_pieces: place.most_pieces.saturating_sub(pieces),
    }
}

/// The name of a proposal: what it takes, where to.
pub(super) fn key(way: Way, parts: &[TakenPart]) -> String {
    let words = parts.iter().map(|part| match &part.place {
        Some(place) => format!("{}*{}@{place}", part.item, part.pieces),
        None => part.item.clone(),
    });
    format!("{}:{}", way.name(), words.collect::<Vec<_>>().join("+"))
}

/// Whether a step, or one behind it, is done.
pub(super) fn is_past(club: &ClubRecord, step: Step) -> bool {
    club.steps.iter().any(|done| done.step >= step)
}
