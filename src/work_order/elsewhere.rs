//! Which other club at hand a reading is of, where it is not what the open club asks for.
//!
//! Several clubs are in work at once and one of them is open: what is laid down may be another one's. The state and a reading
//! come in, its place leaves, or a question that names the clubs it would fit. Deliberately absent: filing it with one that is
//! not open, because what lies there may as well be a bad part of the open one.

use super::event::Place;
use super::part_stock::NumberedPart;
use super::record::{ClubRecord, ClubState};
use super::routing::{Routed, Routing, band, is_unlike_all, route};
use super::state::State;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::measurement::reading::{InstrumentKind, Quantity, Reading};

/// What is weighed again may differ by this, in grams, and is still the same thing.
const SAME_G: f64 = 0.5;
/// The most clubs that are named.
const NAMED: usize = 3;

/// Where a reading belongs, given the open club and the others at hand.
pub(super) fn route_among(
    state: &State,
    open: Option<&ClubRecord>,
    kind: InstrumentKind,
    reading: &Reading,
) -> Routing {
    let routing = route(open, kind, reading);
    let Some(club) = open else { return routing };
    let is_doubtful = match &routing {
        Routing::File { values } => is_outside(club, kind, values),
        Routing::Refuse { .. } => is_unlike_all(club, kind, reading),
    };
    let others = if is_doubtful { fitting(state, club, kind, reading) } else { Vec::new() };
    let Some((_, Routed { characteristic, .. })) = others.first() else { return routing };
    let mass_g = reading.get(Quantity::Mass).map(|mass| mass.value).unwrap_or_default();
    let names: Vec<&str> = others.iter().map(|(other, _)| other.spec.id.as_str()).collect();
    let (id, names, what) = (&club.spec.id, names.join(" or "), told_as(*characteristic).label());
    let reason = match (&routing, kind) {
        (_, InstrumentKind::Gauge) => {
            format!("this loft and lie are not those of {id}, but what {names} asks for: choose, or open that club")
        }
        (Routing::File { .. }, _) => format!(
            "{mass_g:.1} g is not what {id} asks for, and is what {names} asks for ({what}): choose, or open that club"
        ),
        (Routing::Refuse { .. }, _) => {
            format!("{mass_g:.1} g fits nothing that {id} needs, but the {what} of {names}: choose, or open that club")
        }
    };
    let theirs = others.iter().map(|(other, value)| place(other, value.characteristic));
    let its_own = match &routing {
        Routing::File { values } => values.first().map(|value| place(club, value.characteristic)).into_iter().collect(),
        Routing::Refuse { choices, .. } => choices.clone(),
    };
    Routing::Refuse { reason, choices: theirs.chain(its_own).collect() }
}

/// Why a numbered part that was scanned is probably not for the open club; `None` where nothing speaks against it.
pub(super) fn doubt(state: &State, open: &ClubRecord, part: &NumberedPart) -> Option<String> {
    let (number, kind, mass_g) = (part.number(), part.kind.name(), part.measured.mass.0);
    let characteristic = part.kind.mass();
    let is_named = part.facts.clubs.as_ref().is_some_and(|clubs| !clubs.is_empty());
    if is_named || meets(open, characteristic, mass_g) {
        return None;
    }
    let id = &open.spec.id;
    let remedy = format!("open the club it is for, or name it: `stock use {number} --club {id}`");
    let waits = |other: &&ClubRecord| other.latest(characteristic).is_none() && meets(other, characteristic, mass_g);
    let others: Vec<&str> =
        at_hand(state, open).filter(waits).take(NAMED).map(|other| other.spec.id.as_str()).collect();
    if !others.is_empty() {
        let others = others.join(" or ");
        return Some(format!("{number}, a {kind} of {mass_g:.1} g, is what {others} asks for and not {id}: {remedy}"));
    }
    let usual = band(open, characteristic);
    (!usual.contains(mass_g)).then(|| {
        let (lo, hi) = (usual.lo, usual.hi);
        format!("{number}, a {kind} of {mass_g:.1} g, is none for {id} ({lo:.0} to {hi:.0} g): {remedy}")
    })
}

/// Other clubs that are not finished: those of the same order, and of any other order those that are begun; in the sequence of
/// their orders, so that the same is named first each time.
fn at_hand<'a>(state: &'a State, open: &'a ClubRecord) -> impl Iterator<Item = &'a ClubRecord> {
    let orders = state.order_sequence.iter().filter_map(|number| state.orders.get(number));
    let clubs = orders.flat_map(|order| &order.clubs).filter_map(|spec| state.clubs.get(&spec.id));
    clubs.filter(|other| {
        other.spec.id != open.spec.id
            && matches!(other.state, ClubState::Waiting | ClubState::InWork | ClubState::Aside)
            && (other.order == open.order || other.is_begun())
    })
}

/// The clubs of which this would be something that they still wait for, with what that is.
fn fitting<'a>(
    state: &'a State,
    open: &'a ClubRecord,
    kind: InstrumentKind,
    reading: &Reading,
) -> Vec<(&'a ClubRecord, Routed)> {
    let value_of = |other: &'a ClubRecord| match route(Some(other), kind, reading) {
        Routing::File { values } if fits(other, kind, &values) => Some((other, *values.first()?)),
        _ => None,
    };
    at_hand(state, open).filter_map(value_of).take(NAMED).collect()
}

/// A part that is asked for and not weighed, or a club that is begun and as a whole what its parts or its order say.
fn fits(other: &ClubRecord, kind: InstrumentKind, values: &[Routed]) -> bool {
    let keeps = |value: &Routed| meets(other, value.characteristic, value.measured.value);
    let is_part = |value: &Routed| value.characteristic.measured_on() == MeasuredOn::Part;
    match kind {
        InstrumentKind::Gauge => other.is_begun() && values.iter().all(keeps),
        _ if values.iter().all(is_part) => {
            values.iter().any(|value| keeps(value) && other.latest(value.characteristic).is_none())
        }
        _ => other.is_begun() && other.parts_missing().next().is_none(),
    }
}

/// Whether what would be filed with the open club is something that its order does not want: a part that is not the one weighed
/// before, or angles.
fn is_outside(club: &ClubRecord, kind: InstrumentKind, values: &[Routed]) -> bool {
    let is_outside = |value: &Routed| !meets(club, value.characteristic, value.measured.value);
    let is_known = |value: &Routed| {
        let before = club.latest(value.characteristic);
        before.is_some_and(|entry| (entry.filed.value - value.measured.value).abs() <= SAME_G)
    };
    // A whole club cannot lie there before its parts were put together.
    let is_early = |value: &Routed| value.characteristic == Characteristic::TotalMass && !club.is_assembled();
    let is_part = |value: &Routed| value.characteristic.measured_on() == MeasuredOn::Part;
    match kind {
        InstrumentKind::Scale => {
            values.iter().any(|value| (is_part(value) || is_early(value)) && is_outside(value) && !is_known(value))
        }
        InstrumentKind::Gauge => values.iter().any(is_outside),
        _ => false,
    }
}

/// Whether a value is within limits that the club's order sets, one or both; without any it is not. A target without a tolerance
/// tells no part from another one: how near is near enough is what a limit says.
fn meets(club: &ClubRecord, characteristic: Characteristic, value: f64) -> bool {
    let Some(row) = club.spec.target(characteristic) else { return false };
    let (lower, upper) = (row.target.lower, row.target.upper);
    let is_limited = lower.or(upper).is_some();
    is_limited && lower.is_none_or(|lower| value >= lower) && upper.is_none_or(|upper| value <= upper)
}

/// What stands first of a club on the beam is its swing weight; what tells one club from another is what it weighs.
fn told_as(first: Characteristic) -> Characteristic {
    match first.measured_on() {
        MeasuredOn::Part => first,
        MeasuredOn::Club => Characteristic::TotalMass,
    }
}

fn place(club: &ClubRecord, characteristic: Characteristic) -> Place {
    Place { club: club.spec.id.clone(), characteristic }
}
