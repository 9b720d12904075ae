//! "The same club again": an order for the same work whose targets are what a finished club came out as.
//!
//! The state and a club's id come in, an order to take in goes out. The tolerances are those of the original order, laid
//! around the values as built, of a repair as left; what the original asked for and nobody measured stays as it was. A club that
//! was repaired is built from parts only where its record says what these are.

use super::build::Build;
use super::desk::{Refusal, refused};
use super::event::Change;
use super::marks::typed;
use super::order::{ClubSpec, Order, Priority, TargetRow, WorkKind, is_order_number, token};
use super::part_stock::PartKind;
use super::record::{ClubRecord, ClubState};
use super::state::State;
use crate::club::characteristic::Characteristic;
use crate::club::cut::CutPlan;
use crate::club::shown::{self, Lengths, lengths_of};
use crate::measurement::quantity::{Dimension, Target, parse_target};
use crate::measurement::unit::{Points, round_ties_away};

/// The second building of a club is tried under this number first, and at most up to that one.
const REPEATS: std::ops::RangeInclusive<u32> = 2..=999;

/// What a club is built by: without a target for each of these nothing would say which parts to take.
const BUILT_BY: [Characteristic; 4] =
    [Characteristic::HeadMass, Characteristic::ShaftMass, Characteristic::GripMass, Characteristic::Length];

/// How a club is to be repeated.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Repeat {
    /// The new order's number; none: one that is made from the club's id.
    pub order: Option<String>,
    /// What is done; none: what was done to the club.
    pub work: Option<WorkKind>,
    /// Length of the new shaft before it is cut, as typed; without it the new order has no cut marks.
    pub raw_length: Option<String>,
}

/// Makes the order.
pub(super) fn build_again(state: &State, club: &str, repeat: &Repeat) -> Result<Vec<Change>, Refusal> {
    let Some(built) = state.clubs.get(club) else {
        return refused(format!("there is no club {club}; `records list` shows what there is"));
    };
    if built.state != ClubState::Finished {
        return refused(format!("{club} is not finished: what it comes out as is not known yet"));
    }
    let original = state.orders.get(&built.order);
    let number = match repeat.order.as_deref() {
        Some(number) => checked(state, number)?,
        None => free_number(state, club)?,
    };
    let targets: Vec<TargetRow> = Characteristic::all().filter_map(|c| as_built(built, c)).collect();
    if targets.is_empty() {
        return refused(format!("nothing was measured on {club}, so there is nothing to build again"));
    }
    let work = work(&built.spec, repeat.work, &targets)?;
    let mut build = built.spec.build.clone();
    build.again_of = Some(club.to_owned());
    build.cut = cut(&build, work, &targets, repeat.raw_length.as_deref())?;
    let route = if work == built.spec.work { built.spec.route() } else { work.usual_route() }.to_vec();
    let id = format!("{number}/1");
    let spec = ClubSpec {
        token: token(&id),
        id,
        name: built.spec.name.clone(),
        kind: built.spec.kind,
        hand: built.spec.hand,
        work,
        route,
        targets,
        build,
        details: built.spec.details.clone(),
        models: built.spec.models.clone(),
    };
    let player = original.and_then(|order| order.player.clone());
    Ok(vec![Change::OrderImported {
        order: Order { number, player, due: None, priority: Priority::Normal, clubs: vec![spec] },
    }])
}

/// What is done to the new club: what was done to this one, or a build where its record holds what that needs.
fn work(built: &ClubSpec, wanted: Option<WorkKind>, targets: &[TargetRow]) -> Result<WorkKind, Refusal> {
    let (club, was) = (&built.id, built.work);
    match wanted {
        None => return Ok(was),
        Some(wanted) if wanted == was => return Ok(was),
        Some(WorkKind::Build) => {}
        Some(other) => {
            return refused(format!(
                "the work on {club} was \"{}\": it is repeated as that, or as a build, not as \"{}\"",
                was.label(),
                other.label()
            ));
        }
    }
    let is_known =
        |of: Characteristic| targets.iter().any(|row| row.characteristic == of && row.target.value.is_some());
    let lacking: Vec<&str> = BUILT_BY.into_iter().filter(|of| !is_known(*of)).map(Characteristic::label).collect();
    if lacking.is_empty() {
        return Ok(WorkKind::Build);
    }
    refused(format!(
        "{club} cannot be built from its record, because the work on it was \"{}\" and it does not say: {}; write an order for the build, or repeat that work",
        was.label(),
        lacking.join(", ")
    ))
}

/// Where the new shaft is cut. It is another shaft: without its own raw length marks of the old one would be wrong, so
/// there are none.
fn cut(
    build: &Build,
    work: WorkKind,
    targets: &[TargetRow],
    raw_length: Option<&str>,
) -> Result<Option<CutPlan>, Refusal> {
    if raw_length.is_some() && !work.takes(PartKind::Shaft) {
        return refused(format!("\"{}\" takes no new shaft, so no raw length is needed", work.label()));
    }
    let (mut plan, raw) = match (build.cut, raw_length) {
        (Some(plan), Some(raw)) => (plan, raw),
        (None, Some(_)) => {
            return refused("the club's order says nothing of how it is cut, so no raw length is needed");
        }
        (_, None) => return Ok(None),
    };
    plan.raw_length = typed("raw length of the new shaft", raw)?;
    let length = targets.iter().find(|row| row.characteristic == Characteristic::Length);
    let Some(length) = length.and_then(|row| row.target.value) else {
        return refused("a shaft can only be cut for a length, and none was measured on the club");
    };
    plan.marks(length).map_err(|error| Refusal(error.to_string()))?;
    Ok(Some(plan))
}

fn checked(state: &State, number: &str) -> Result<String, Refusal> {
    if !is_order_number(number) {
        return refused(format!(
            "\"{number}\" is no order number, expected at most 24 letters, digits, '-', '.' or '_'"
        ));
    }
    if state.orders.contains_key(number) {
        return refused(format!("there is an order {number} already: give the new one another number"));
    }
    Ok(number.to_owned())
}

/// Numbers for the orders that repeat a club, the first free one is taken: `W-1042/3` becomes `W-1042.3.2` for its second
/// building.
pub fn numbers(club: &str) -> impl Iterator<Item = String> {
    let stem = club.replace('/', ".");
    REPEATS.map(move |n| format!("{stem}.{n}"))
}

fn free_number(state: &State, club: &str) -> Result<String, Refusal> {
    let free = numbers(club).find(|number| !state.orders.contains_key(number));
    let free = free.filter(|number| is_order_number(number));
    free.ok_or_else(|| Refusal(format!("no order number can be made from {club}: give one")))
}

/// The target of the club that repeats this one.
fn as_built(built: &ClubRecord, characteristic: Characteristic) -> Option<TargetRow> {
    let original = built.spec.target(characteristic);
    let Some(entry) = built.standing(characteristic) else { return original.cloned() };
    let asked = original.map(|row| row.target).unwrap_or_default();
    let lengths = original.map_or(Lengths::Millimetres, |row| lengths_of(&row.text));
    // A swing weight beyond the letters cannot be written as a target, nor can a value beyond a limit without one: then the original
    // one stays.
    let Some(text) = text(characteristic, entry.filed.value, &asked, lengths) else { return original.cloned() };
    // Read back what is written: the target is the number that people see.
    let Ok(target) = parse_target(&text, characteristic.dimension()) else { return original.cloned() };
    Some(TargetRow { characteristic, target, text })
}

/// Decimals of a millimetre that hold every 64th of an inch.
const NANOMETRES: u8 = 6;

/// The value as built with the tolerance that was asked for, as people write it.
fn text(characteristic: Characteristic, value: f64, asked: &Target, lengths: Lengths) -> Option<String> {
    let dimension = characteristic.dimension();
    let unit = match dimension {
        Dimension::Mass => " g",
        Dimension::Length => " mm",
        Dimension::SwingWeight => "",
        Dimension::Angle => " deg",
        Dimension::Frequency => " cpm",
        Dimension::Inertia => " kg.cm2",
        Dimension::Volume => " cm3",
        Dimension::Duration => " min",
        Dimension::Temperature => " °C",
    };
    // A digit more than is shown: the repeat aims at what was measured, not at what was read off. A length was typed, in fractions of
    // an inch mostly: these are whole nanometres, and it stays what was typed.
    let decimals = if dimension == Dimension::Length { NANOMETRES } else { characteristic.decimals() + 1 };
    let number = |value: f64| format!("{}", round_ties_away(value, decimals));
    let fine = |value: f64| format!("{}", round_ties_away(value, decimals.max(4)));
    let shown = match dimension {
        Dimension::SwingWeight => {
            let (letter, points) = Points(value).letter(decimals)?;
            format!("{letter}{points}")
        }
        _ => format!("{}{unit}", number(value)),
    };
    let Some((below, above)) = room(characteristic, value, asked)? else { return Some(shown) };
    let tolerance = |above: String, below: String| match above == below {
        true => format!("± {above}"),
        false => format!("+{above}/-{below}"),
    };
    let [above_text, below_text] = [above, below].map(|size| format!("{}{unit}", fine(size)));
    let text = format!("{shown} {}", tolerance(above_text, below_text));
    // What was written in fractions of an inch is written so again.
    let inches = |size: f64| shown::size(characteristic, size, Lengths::Inches);
    let fractions = format!("{} {}", shown::inches(value), tolerance(inches(above), inches(below)));
    let is_same = || {
        let [one, other] = [&text, &fractions].map(|text| parse_target(text, dimension).ok());
        let limits = |target: Target| [target.value, target.lower, target.upper];
        let pairs = one.map(limits)?.into_iter().zip(other.map(limits)?);
        Some(pairs.into_iter().all(|pair| matches!(pair, (Some(one), Some(other)) if (one - other).abs() < 1e-6)))
    };
    let is_of_inches = dimension == Dimension::Length && lengths == Lengths::Inches && is_same() == Some(true);
    Some(if is_of_inches { fractions } else { text })
}

/// How far below and above the value as built its repeat may come out; nothing where the order sets no limits. Of a limit without a
/// target value the usual tolerance stays, as far as it does not pass the limit. `None` where the value lies beyond such a limit.
fn room(characteristic: Characteristic, value: f64, asked: &Target) -> Option<Option<(f64, f64)>> {
    if let Some(aim) = asked.value {
        return Some(asked.lower.zip(asked.upper).map(|(lower, upper)| (aim - lower, upper - aim)));
    }
    if asked.lower.or(asked.upper).is_none() {
        return Some(None);
    }
    let usual = characteristic.usual_tolerance();
    let side = |room: Option<f64>| match (room, usual) {
        (Some(room), usual) => (room >= 0.0).then(|| usual.map_or(room, |usual| usual.min(room))),
        (None, usual) => usual,
    };
    Some(Some((side(asked.lower.map(|lower| value - lower))?, side(asked.upper.map(|upper| upper - value))?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_of_an_inch_stay_what_they_are() {
        // 1 in = 25.4 mm (NIST Handbook 44, Appendix C), so a 64th is 0.396 875 mm.
        let (inch, part) = (25.4, 0.396_875);
        let asked = |lower: f64, upper: f64| Target {
            value: Some(37.0 * inch),
            lower: Some(37.0 * inch - lower),
            upper: Some(37.0 * inch + upper),
        };
        let built = (37.0 + 1.0 / 32.0) * inch;
        for (asked, lengths, expected) in [
            (asked(2.0 * part, 2.0 * part), Lengths::Inches, "37 1/32 in ± 1/32 in"),
            (asked(2.0 * part, part), Lengths::Inches, "37 1/32 in +1/64 in/-1/32 in"),
            (asked(2.0 * part, part), Lengths::Millimetres, "940.59375 mm +0.396875 mm/-0.79375 mm"),
            (asked(1.0, 1.0), Lengths::Inches, "940.59375 mm ± 1 mm"),
        ] {
            assert_eq!(text(Characteristic::Length, built, &asked, lengths).as_deref(), Some(expected));
        }
    }

    #[test]
    fn a_limit_without_a_target_is_written_where_it_can_be_seen() {
        let asked = Target { value: None, lower: None, upper: Some(330.0) };
        let text = |built: f64| text(Characteristic::TotalMass, built, &asked, Lengths::Inches);
        // The usual tolerance of a total mass is 4 g; beyond the limit the order's own words stay.
        assert_eq!(text(312.01).as_deref(), Some("312.01 g ± 4 g"));
        assert_eq!(text(328.5).as_deref(), Some("328.5 g +1.5 g/-4 g"));
        assert_eq!(text(331.0), None);
    }
}
