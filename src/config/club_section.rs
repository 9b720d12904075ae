//! What an order file says of a club, and of all clubs of a kind.
//!
//! In: a table of the file or a row, with what clubs of its kind have by default. Out: the club, or mistakes.

use super::build_section::{TipTrims, read_build};
use super::details_section::read_details;
use super::document::Section;
use crate::club::characteristic::Characteristic;
use crate::club::shown::{self, Lengths, deviation, lengths_of};
use crate::measurement::quantity::{Target, parse_target};
use crate::work_order::order::{ClubKind, ClubSpec, Hand, Models, TargetRow, WorkKind, token};
use crate::work_order::steps::Step;

/// Longest text that a person may write for a name, a player or a promise, in characters.
const TEXT_LENGTH: usize = 80;
/// The name of a row of defaults in a CSV table; no club may have it, in any format.
pub(super) const DEFAULTS_ROW: &str = "default";

/// What is measured on a part by itself.
const WEIGHED_ALONE: [Characteristic; 4] =
    [Characteristic::HeadMass, Characteristic::ShaftMass, Characteristic::GripMass, Characteristic::ShaftBalance];

/// What the clubs of a kind have unless they say otherwise.
#[derive(Debug, Clone, Default)]
pub(super) struct Defaults(Vec<(ClubKind, Wishes)>);

impl Defaults {
    pub(super) fn read(section: &Section<'_>) -> Self {
        let mut defaults = Self::default();
        for kind in ClubKind::ALL {
            if let Some(wishes) = section.section(kind.name(), Wishes::read) {
                defaults.0.push((*kind, wishes));
            }
        }
        defaults
    }

    /// Reads a row of defaults, which names its kind.
    pub(super) fn read_row(&mut self, section: &Section<'_>) {
        let (kind, wishes) = (kind_of(section), Wishes::read(section));
        let Some(kind) = kind else { return };
        if self.of(kind).is_some() {
            section.mistake("kind", "has its defaults already, keep one of the rows");
        }
        self.0.push((kind, wishes));
    }

    fn of(&self, kind: ClubKind) -> Option<&Wishes> {
        self.0.iter().find(|(of, _)| *of == kind).map(|(_, wishes)| wishes)
    }
}

/// What is said of a club besides its name and kind.
#[derive(Debug, Clone, Default)]
struct Wishes {
    hand: Option<Hand>,
    work: Option<WorkKind>,
    route: Option<Vec<Step>>,
    targets: Vec<TargetRow>,
}

impl Wishes {
    fn read(section: &Section<'_>) -> Self {
        Self {
            hand: choice(section, "hand", Hand::ALL, Hand::name),
            work: choice(section, "work", WorkKind::ALL, WorkKind::name),
            route: route(section),
            targets: Characteristic::all().filter_map(|characteristic| target(section, characteristic)).collect(),
        }
    }
}

fn target(section: &Section<'_>, characteristic: Characteristic) -> Option<TargetRow> {
    let (target, text) = section.target(characteristic.name(), characteristic.dimension())?;
    let possible = characteristic.possible();
    let numbers = [target.value, target.lower, target.upper];
    if numbers.into_iter().flatten().any(|number| !possible.contains(&number)) {
        let expected = shown::possible(characteristic, lengths_of(text));
        section.mistake(characteristic.name(), format!("not possible, expected {expected}"));
        return None;
    }
    Some(TargetRow { characteristic, target, text: text.trim().to_owned() })
}

/// The target of a characteristic with limits to judge by: the club's own, else those of its kind. A value of its own
/// without a tolerance takes the tolerance of its kind, else the usual one, and that is remarked.
fn judged_row(
    section: &Section<'_>,
    characteristic: Characteristic,
    own: &[TargetRow],
    usual: &[TargetRow],
) -> Option<TargetRow> {
    let of = |rows: &[TargetRow]| rows.iter().find(|row| row.characteristic == characteristic).cloned();
    let (own, usual) = (of(own), of(usual));
    let row = own.clone().or_else(|| usual.clone())?;
    let Target { value: Some(aim), lower: None, upper: None } = row.target else { return Some(row) };
    let of_kind = own.and(usual).and_then(|usual| with_tolerance_of(&row, &usual));
    if let Some(of_kind) = of_kind {
        return Some(of_kind);
    }
    let words = &row.text;
    let Some(half) = characteristic.usual_tolerance() else {
        section.remark(
            characteristic.name(),
            format!(
                "has no tolerance and none is usual, so it is shown and not judged; write one, such as \"{words} ± …\""
            ),
        );
        return Some(row);
    };
    let target = Target { value: Some(aim), lower: Some(aim - half), upper: Some(aim + half) };
    let row = TargetRow { target, ..row };
    section.remark(
        characteristic.name(),
        format!(
            "has no tolerance and is judged with ± {} by default; write \"{} ± …\" for another one",
            deviation(characteristic, half, Lengths::Inches).trim_start_matches('+'),
            row.text
        ),
    );
    Some(row)
}

/// A value with the tolerance that is written for clubs of its kind.
fn with_tolerance_of(row: &TargetRow, usual: &TargetRow) -> Option<TargetRow> {
    let at = usual.text.find(['±', '+'])?;
    let text = format!("{} {}", row.text, usual.text.get(at..)?);
    let target = parse_target(&text, row.characteristic.dimension()).ok()?;
    Some(TargetRow { characteristic: row.characteristic, target, text })
}

fn route(section: &Section<'_>) -> Option<Vec<Step>> {
    let names = section.texts("route")?;
    let steps: Vec<Step> = names.iter().filter_map(|name| Step::parse(name)).collect();
    let place = |step: Step| steps.iter().position(|other| *other == step);
    let wrong = if steps.len() < names.len() {
        let all: Vec<&str> = Step::ALL.iter().map(|step| step.name()).collect();
        Some(format!("expected steps in order, each one of: {}", all.join(", ")))
    } else if steps.iter().enumerate().any(|(at, step)| place(*step) != Some(at)) {
        Some("has a step twice; a step that is done again is marked done again".to_owned())
    } else if steps.is_empty() {
        Some("expected one step at least".to_owned())
    } else if place(Step::HandOver).is_some_and(|at| at + 1 < steps.len()) {
        Some("expected hand_over as the last step".to_owned())
    } else if place(Step::Bond).is_some() && place(Step::Cure) < place(Step::Bond) {
        Some("expected cure behind bond: what is bonded must cure".to_owned())
    } else {
        None
    };
    match wrong {
        Some(words) => {
            section.mistake("route", words);
            None
        }
        None => Some(steps),
    }
}

fn kind_of(section: &Section<'_>) -> Option<ClubKind> {
    let kinds: Vec<(&str, ClubKind)> = ClubKind::ALL.iter().map(|kind| (kind.name(), *kind)).collect();
    if !section.has("kind") {
        let names: Vec<&str> = kinds.iter().map(|(name, _)| *name).collect();
        section.mistake("kind", format!("expected one of: {}", names.join(", ")));
    }
    section.choice("kind", &kinds)
}

/// Reads the club at a position of its order, from 0.
pub(super) fn read_club(
    order: &str,
    index: usize,
    section: &Section<'_>,
    defaults: &Defaults,
    tip_trims: &mut TipTrims,
) -> Option<ClubSpec> {
    let name = plain_text(section, "name", section.required_text("name", "driver"));
    if name.as_deref() == Some(DEFAULTS_ROW) {
        section.mistake("name", "is the word for a row of defaults in a CSV file, expected another name");
    }
    let kind = kind_of(section);
    let own = Wishes::read(section);
    let details = read_details(section);
    let none = Wishes::default();
    let usual = kind.and_then(|kind| defaults.of(kind)).unwrap_or(&none);
    let work = own.work.or(usual.work).unwrap_or_default();
    // A club that names its own work does not take the route of another one.
    let usual_route = if own.work.is_some() { None } else { usual.route.clone() };
    // What is weighed alone stays in the club at most repairs, and is no default of theirs then.
    let is_inside = |row: &TargetRow| WEIGHED_ALONE.contains(&row.characteristic) && !work.handles(row.characteristic);
    let usual_targets: Vec<TargetRow> = usual.targets.iter().filter(|row| !is_inside(row)).cloned().collect();
    for row in own.targets.iter().filter(|row| is_inside(row)) {
        section.remark(
            row.characteristic.name(),
            format!("is of a part that stays in the club at this work ({}): leave it out, or it is open until the part is weighed by itself", work.label()),
        );
    }
    let targets: Vec<TargetRow> =
        Characteristic::all().filter_map(|c| judged_row(section, c, &own.targets, &usual_targets)).collect();
    if targets.is_empty() {
        section.remark(
            "name",
            "asks for nothing, so nothing of this club will be judged; ask for what it must measure, such as swing_weight = \"D2 ± 0.5\"".to_owned(),
        );
    }
    let route = own.route.or(usual_route).unwrap_or_else(|| work.usual_route().to_vec());
    // Everything is read before anything is given up, so that every mistake is named.
    let build = read_build(section, kind, name.as_deref(), &targets, tip_trims);
    if section.has("cut") && !route.contains(&Step::Cut) {
        section.mistake(
            "cut",
            format!("nothing is cut here: the steps of {} have no cut, expected no table", work.label()),
        );
    }
    let model = |key| section.text(key).map(|model| model.trim().to_owned()).filter(|model| !model.is_empty());
    let models = Models { head: model("head"), shaft: model("shaft"), grip: model("grip") };
    let id = format!("{order}/{}", index + 1);
    Some(ClubSpec {
        token: token(&id),
        id,
        name: name?,
        kind: kind?,
        hand: own.hand.or(usual.hand).unwrap_or(Hand::Right),
        work,
        route,
        details: details?,
        targets,
        build: build?,
        models,
    })
}

/// A text of one line, without the blanks around it; nothing where nothing is written.
pub(super) fn plain_text(section: &Section<'_>, key: &'static str, text: Option<&str>) -> Option<String> {
    let text = text?.trim();
    if text.chars().count() > TEXT_LENGTH || text.chars().any(char::is_control) {
        section.mistake(key, format!("expected one line of at most {TEXT_LENGTH} characters"));
    }
    (!text.is_empty()).then(|| text.to_owned())
}

/// One of a closed list, if the key is there.
pub(super) fn choice<T: Copy>(
    section: &Section<'_>,
    key: &'static str,
    all: &[T],
    name: impl Fn(T) -> &'static str,
) -> Option<T> {
    let allowed: Vec<(&str, T)> = all.iter().map(|value| (name(*value), *value)).collect();
    section.has(key).then(|| section.choice(key, &allowed))?
}
