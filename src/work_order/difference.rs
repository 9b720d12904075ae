//! What changed between two versions of an order, in words.

use super::build::Build;
use super::details::Details;
use super::order::{ClubSpec, Order, TargetRow};
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::club::cut::Span;
use crate::measurement::unit::Degrees;

/// A later version of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Revision {
    /// Counts the versions; the first import is 1.
    pub number: usize,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub by: Option<String>,
    /// What changed, a sentence each.
    pub words: Vec<String>,
}

/// How many later versions of an order are told; the journal has them all.
pub(super) const REVISIONS_TOLD: usize = 20;

/// Every difference, a sentence each; empty where the two say the same.
#[must_use]
pub fn differences(before: &Order, after: &Order) -> Vec<String> {
    let mut words = Vec::new();
    words.extend(text("player", before.player.as_deref(), after.player.as_deref()));
    words.extend(text("due", before.due.as_deref(), after.due.as_deref()));
    words.extend(text("priority", Some(before.priority.name()), Some(after.priority.name())));
    for club in &before.clubs {
        match after.club(&club.id) {
            Some(now) => words.extend(of_club(club, now)),
            None => words.push(format!("{} ({}) is taken out", club.id, club.name)),
        }
    }
    for club in after.clubs.iter().filter(|club| before.club(&club.id).is_none()) {
        words.push(format!("{} ({}) is new", club.id, club.name));
    }
    words
}

fn text(what: &str, before: Option<&str>, after: Option<&str>) -> Option<String> {
    match (before, after) {
        (Some(before), Some(after)) if before != after => Some(format!("{what}: {before} is now {after}")),
        (None, Some(after)) => Some(format!("{what}: now {after}")),
        (Some(before), None) => Some(format!("{what}: {before} is not said any more")),
        _ => None,
    }
}

pub(super) fn of_club(before: &ClubSpec, after: &ClubSpec) -> Vec<String> {
    let mut words = Vec::new();
    let mut both = |what: &str, before: &str, after: &str| words.extend(text(what, Some(before), Some(after)));
    both("name", &before.name, &after.name);
    both("kind", before.kind.name(), after.kind.name());
    both("hand", before.hand.name(), after.hand.name());
    both("work", before.work.label(), after.work.label());
    both("steps", &steps(before.route()), &steps(after.route()));
    for characteristic in Characteristic::all() {
        let (old, new) = (before.target(characteristic), after.target(characteristic));
        // The same limits in other words are another text on the ticket, so they are told as well.
        if old != new {
            let written = |row: Option<&TargetRow>| row.map(|row| row.text.clone());
            words.extend(text(characteristic.label(), written(old).as_deref(), written(new).as_deref()));
        }
    }
    words.extend(of_facts(&facts(&before.details), &facts(&after.details)));
    for (what, old, new) in [
        ("head model", &before.models.head, &after.models.head),
        ("shaft model", &before.models.shaft, &after.models.shaft),
        ("grip model", &before.models.grip, &after.models.grip),
    ] {
        words.extend(text(what, old.as_deref(), new.as_deref()));
    }
    words.extend(of_facts(&made(&before.build), &made(&after.build)));
    words.into_iter().map(|sentence| format!("{} {sentence}", before.id)).collect()
}

/// Facts by what they are called, in an order of their own.
type Facts = Vec<(String, String)>;

fn of_facts(before: &Facts, after: &Facts) -> Vec<String> {
    let of = |facts: &Facts, what: &str| facts.iter().find(|(known, _)| known == what).map(|(_, text)| text.clone());
    let new = after.iter().filter(|(what, _)| of(before, what).is_none());
    before
        .iter()
        .chain(new)
        .filter_map(|(what, _)| text(what, of(before, what).as_deref(), of(after, what).as_deref()))
        .collect()
}

/// What is said of a club's parts and its sleeve.
fn facts(details: &Details) -> Facts {
    let material = details.head_material.iter().map(|material| ("head material".to_owned(), material.clone()));
    let given = details.given.iter().map(|given| (given.measure.label().to_owned(), given.text.clone()));
    let sleeve = details.sleeve.iter().map(|sleeve| {
        let degrees = |angle: &Degrees| angle.0.to_string();
        let clocks: Vec<String> = sleeve.clocks.iter().map(degrees).collect();
        let at = sleeve.at.as_ref().map(|at| format!(", measured at {}", degrees(at))).unwrap_or_default();
        ("sleeve".to_owned(), format!("tilt {}, clock {}{at} deg", degrees(&sleeve.tilt), clocks.join(", ")))
    });
    material.chain(given).chain(sleeve).collect()
}

/// How a club is to be made.
fn made(build: &Build) -> Facts {
    let mut facts = Facts::new();
    let mut say = |what: &str, text: Option<String>| facts.extend(text.map(|text| (what.replace('_', " "), text)));
    let degrees = |angle: Degrees| format!("{} deg", angle.0);
    if let Some(cut) = &build.cut {
        cut.lengths().into_iter().for_each(|(what, length)| say(what, length.map(Span::written)));
        say("ground angle", Some(degrees(cut.ground_line.at)));
        say("sole radius", Some(format!("{} mm", cut.ground_line.sole_radius_mm)));
    }
    if let Some(fit) = &build.fit {
        fit.lengths().into_iter().for_each(|(what, length)| say(what, length.map(Span::written)));
        say("tip", fit.tip_runs.map(|runs| runs.name().to_owned()));
        say("bore", fit.bore_runs.map(|runs| runs.name().to_owned()));
        say("tape wraps", Some(fit.wraps.to_string()));
        say("rib", Some(if fit.rib { "yes" } else { "no" }.to_owned()));
        say("sleeve turn", fit.sleeve_turn.map(degrees));
        say("sleeve tilt", fit.sleeve_tilt.map(degrees));
    }
    say("stop at the dry fit", Some(build.dry_fit_stop.name().to_owned()));
    say("built again after", build.again_of.clone());
    facts
}

fn steps(route: &[Step]) -> String {
    route.iter().map(|step| step.label()).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::quantity::parse_target;
    use crate::work_order::order::{ClubKind, Hand, Models, Priority, WorkKind};

    fn club(n: u8, targets: &[(Characteristic, &str)]) -> ClubSpec {
        let row = |(characteristic, text): &(Characteristic, &str)| TargetRow {
            characteristic: *characteristic,
            target: parse_target(text, characteristic.dimension()).unwrap(),
            text: (*text).to_owned(),
        };
        ClubSpec {
            id: format!("W-1/{n}"),
            token: format!("t{n}"),
            name: format!("{n}-iron"),
            kind: ClubKind::Iron,
            hand: Hand::Right,
            work: WorkKind::Build,
            route: Vec::new(),
            targets: targets.iter().map(row).collect(),
            details: Details::default(),
            build: Build::default(),
            models: Models::default(),
        }
    }

    #[test]
    fn every_difference_is_a_sentence_and_the_same_is_none() {
        let swing = Characteristic::SwingWeight;
        let before = Order {
            number: "W-1".into(),
            player: Some("P-1".into()),
            due: None,
            priority: Priority::Normal,
            clubs: vec![club(1, &[(swing, "D2"), (Characteristic::Lie, "62 deg")]), club(2, &[])],
        };
        assert_eq!(differences(&before, &before), Vec::<String>::new());
        let mut after = before.clone();
        after.player = None;
        after.due = Some("2026-12-24".into());
        after.priority = Priority::Urgent;
        after.clubs = vec![club(1, &[(swing, "D3 ± 0.5"), (Characteristic::Loft, "34 deg")]), club(3, &[])];
        after.clubs[0].hand = Hand::Left;
        after.clubs[0].route = vec![Step::Grip, Step::HandOver];
        let told = differences(&before, &after);
        let expected = [
            "player: P-1 is not said any more",
            "due: now 2026-12-24",
            "priority: normal is now urgent",
            "W-1/1 hand: right is now left",
            "W-1/1 steps: prepare the parts, dry fit, bond head and shaft, let it cure, cut to length, put the grip on, let the grip rest, adjust, final check, hand over is now put the grip on, hand over",
            "W-1/1 swing weight: D2 is now D3 ± 0.5",
            "W-1/1 loft: now 34 deg",
            "W-1/1 lie: 62 deg is not said any more",
            "W-1/2 (2-iron) is taken out",
            "W-1/3 (3-iron) is new",
        ];
        assert_eq!(told, expected);
        // A route that is written out is the same as none, as it stands in old journals.
        let mut written = before.clone();
        written.clubs[0].route = Step::ALL.to_vec();
        assert_eq!(differences(&before, &written), Vec::<String>::new());
    }
}
