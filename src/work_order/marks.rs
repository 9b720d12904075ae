//! The marks that a shaft is cut along, and the second measurement without which it is not cut.
//!
//! A club's record comes in; where its marks stand, whether a second measurement agrees, and which step waits for it go
//! out. A cut cannot be taken back, so the step is refused in words until the mark is confirmed, or a person with a name
//! and a reason takes it upon himself.

use super::desk::{Refusal, refused};
use super::event::{Change, EventId};
use super::order::{ClubKind, Stage};
use super::record::ClubRecord;
use super::sources::rule_uncertainty;
use super::state::State;
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::club::cut::{Agreement, CutError, CutMark, CutMarks, Span};
use crate::measurement::quantity::{Dimension, parse_target};

/// Longest name and reason that are kept, in characters.
const LONGEST_WORDS: usize = 200;
/// Standard uncertainty above which a second measurement is none, in millimetres: it would agree with a slip of a finger.
const COARSEST_MM: f64 = 1.5;
/// Marks closer than this are the same mark, in millimetres.
const SAME_MM: f64 = 1e-6;

/// What a person asks for at a mark.
#[derive(Debug, Clone, PartialEq)]
pub enum MarkCommand {
    /// A second measurement, typed.
    Measured {
        /// The text as typed.
        quantity: String,
    },
    /// A length of the uncut club that is in the record, typed or captured.
    FromReading {
        /// Its event.
        reading: EventId,
    },
    /// Cut without agreement.
    Override {
        /// Who answers for it.
        name: String,
        /// Why.
        why: String,
    },
}

/// What stands in the record for a mark.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkRecord {
    /// Which mark.
    pub mark: CutMark,
    /// What was done.
    pub deed: MarkDeed,
    /// The event.
    pub event: EventId,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who was at the bench.
    pub by: Option<String>,
    /// Whether it was taken back.
    pub voided: bool,
}

/// A mark that was measured a second time.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkMeasured {
    /// The club.
    pub club: String,
    /// Which mark.
    pub mark: CutMark,
    /// The text as typed, or how it was come by.
    pub text: String,
    /// What was measured.
    pub measured: Span,
    /// What it should have been.
    pub expected: Span,
    /// The reading it was taken from, where it was not typed.
    pub reading: Option<EventId>,
}

/// A mark that may be cut although no second measurement agrees.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkOverridden {
    /// The club.
    pub club: String,
    /// Which mark.
    pub mark: CutMark,
    /// Who answers for it.
    pub name: String,
    /// Why.
    pub why: String,
    /// What a second measurement should have been: another mark is not covered.
    pub expected: Span,
}

/// A second measurement, or a cut without one.
#[derive(Debug, Clone, PartialEq)]
pub enum MarkDeed {
    /// Measured a second time.
    Measured(MarkMeasured),
    /// A person answers for it.
    Overridden(MarkOverridden),
}

/// Where a mark stands.
#[derive(Debug, Clone, PartialEq)]
pub enum MarkStanding {
    /// Nothing is cut there.
    NotCut,
    /// It waits for its second measurement.
    Waiting,
    /// The second measurement agrees.
    Agrees(Agreement),
    /// It does not.
    Disagrees(Agreement),
    /// A person answers for it.
    Overridden {
        /// Who.
        name: String,
        /// Why.
        why: String,
    },
}

impl MarkStanding {
    /// The name in messages.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::NotCut => "not_cut",
            Self::Waiting => "waiting",
            Self::Agrees(_) => "agrees",
            Self::Disagrees(_) => "disagrees",
            Self::Overridden { .. } => "overridden",
        }
    }

    /// Whether it may be cut.
    #[must_use]
    pub fn may_cut(&self) -> bool {
        !matches!(self, Self::Waiting | Self::Disagrees(_))
    }
}

/// The marks of a club; `None` where the order says nothing of them.
#[must_use]
pub fn marks(club: &ClubRecord) -> Option<Result<CutMarks, CutError>> {
    let plan = club.spec.build.cut?;
    let length = club.spec.target(Characteristic::Length)?.target.value?;
    Some(plan.marks(length))
}

/// Where a mark stands now, by the order as it is now.
#[must_use]
pub fn standing(club: &ClubRecord, marks: &CutMarks, mark: CutMark) -> MarkStanding {
    if !marks.is_cut(mark) {
        return MarkStanding::NotCut;
    }
    let now = marks.again(mark);
    let last = club.marks.iter().rfind(|record| record.mark == mark && !record.voided);
    match last.map(|record| &record.deed) {
        None => MarkStanding::Waiting,
        Some(MarkDeed::Measured(second)) => {
            let agreement = Agreement::of(now, second.measured);
            if agreement.agrees() { MarkStanding::Agrees(agreement) } else { MarkStanding::Disagrees(agreement) }
        }
        Some(MarkDeed::Overridden(over)) if (over.expected.mm - now.mm).abs() > SAME_MM => MarkStanding::Waiting,
        Some(MarkDeed::Overridden(over)) => MarkStanding::Overridden { name: over.name.clone(), why: over.why.clone() },
    }
}

/// Whether a shaft is already cut there, by the steps that are done.
#[must_use]
pub fn is_past(club: &ClubRecord, mark: CutMark) -> bool {
    club.steps.iter().any(|done| done.step >= cut_by(mark) && club.stands(done))
}

/// The first step that tells of a cut at this mark.
fn cut_by(mark: CutMark) -> Step {
    match mark {
        CutMark::Tip => Step::Prepare,
        CutMark::Butt => Step::Cut,
    }
}

/// The mark that the next step waits for, if one does.
#[must_use]
pub fn due(club: &ClubRecord) -> Option<CutMark> {
    let marks = marks(club)?.ok()?;
    CutMark::ALL.into_iter().find(|mark| !is_past(club, *mark) && marks.is_cut(*mark))
}

/// How a mark is measured a second time.
#[must_use]
pub fn how(mark: CutMark, kind: ClubKind) -> &'static str {
    match (mark, kind) {
        (CutMark::Tip, _) => "from the raw butt to the tip mark",
        (CutMark::Butt, ClubKind::Putter) => "from the sole to the butt mark along the axis, the head on",
        (CutMark::Butt, _) => "from the ground line to the butt mark, the head on, at 60 deg",
    }
}

/// Refuses a step that tells of a cut whose mark is not confirmed.
pub(super) fn allow(club: &ClubRecord, step: Step) -> Result<(), Refusal> {
    let Some(found) = marks(club) else { return Ok(()) };
    let waits = |mark: &CutMark| step >= cut_by(*mark) && !is_past(club, *mark);
    let id = &club.spec.id;
    for mark in CutMark::ALL.into_iter().filter(waits) {
        let marks = found.as_ref();
        let marks =
            marks.map_err(|error| Refusal(format!("{id} cannot be cut: {error}; correct the order's cut table")))?;
        blocked(club, marks, mark, &standing(club, marks, mark))?;
    }
    Ok(())
}

fn blocked(club: &ClubRecord, marks: &CutMarks, mark: CutMark, standing: &MarkStanding) -> Result<(), Refusal> {
    let (id, expected) = (&club.spec.id, marks.again(mark));
    let name = mark.name();
    match standing {
        MarkStanding::Waiting => refused(format!(
            "{id} is not to be cut yet: the {name} mark wants a second measurement, {}; it should be {:.1} mm ± {:.1} mm",
            how(mark, club.spec.kind),
            expected.mm,
            2.0 * expected.u_mm
        )),
        MarkStanding::Disagrees(agreement) => refused(format!(
            "{id} is not to be cut: the second measurement of the {name} mark is {:.1} mm {}, and the uncertainties of both explain {:.1} mm; measure shaft, bore, insertion and ground line again, or override with name and reason",
            agreement.difference_mm.abs(),
            if agreement.difference_mm < 0.0 { "short" } else { "long" },
            agreement.limit_mm
        )),
        MarkStanding::NotCut | MarkStanding::Agrees(_) | MarkStanding::Overridden { .. } => Ok(()),
    }
}

/// What a command at a mark leads to.
pub(super) fn answer(
    state: &State,
    club: Option<&str>,
    mark: CutMark,
    command: &MarkCommand,
) -> Result<Vec<Change>, Refusal> {
    let Some(id) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open: name the club, or scan an order ticket first");
    };
    let Some(record) = state.clubs.get(id) else { return refused(format!("there is no club {id}")) };
    let marks = match marks(record) {
        None => return refused(format!("the order says nothing of how {id} is cut: add a table [club.cut] to it")),
        Some(Err(error)) => return refused(format!("{id} cannot be cut: {error}; correct the order's cut table")),
        Some(Ok(marks)) => marks,
    };
    let name = mark.name();
    if !marks.is_cut(mark) {
        return refused(format!("nothing is cut off the {name} of {id}"));
    }
    if is_past(record, mark) {
        return refused(format!("the {name} of {id} is already cut, by the steps that are marked done"));
    }
    let expected = marks.again(mark);
    let (text, measured, reading) = match command {
        MarkCommand::Override { name: who, why } => {
            let (who, why) = (who.trim(), why.trim());
            if who.is_empty() || why.is_empty() {
                return refused("a mark is only overridden with a name and a reason: say who and why");
            }
            if who.chars().count() > LONGEST_WORDS || why.chars().count() > LONGEST_WORDS {
                return refused(format!("name and reason have at most {LONGEST_WORDS} characters each"));
            }
            let (name, why) = (who.to_owned(), why.to_owned());
            let over = MarkOverridden { club: id.to_owned(), mark, name, why, expected };
            return Ok(vec![Change::MarkOverridden(over)]);
        }
        MarkCommand::Measured { quantity } => {
            (quantity.clone(), typed(&format!("{name} mark of {id}"), quantity)?, None)
        }
        MarkCommand::FromReading { reading } => from_reading(record, &marks, mark, *reading)?,
    };
    let second = MarkMeasured { club: id.to_owned(), mark, text, measured, expected, reading };
    Ok(vec![Change::MarkMeasured(second)])
}

/// A length that a person typed, with the uncertainty of a rule where none was stated.
pub(super) fn typed(what: &str, quantity: &str) -> Result<Span, Refusal> {
    let typed = parse_target(quantity, Dimension::Length).map_err(|error| Refusal(format!("{what}: {error}")))?;
    let Some(mm) = typed.value.filter(|mm| (0.0..=2500.0).contains(mm)) else {
        return refused(format!("{what}: type what was measured, such as \"961.2 mm\", not \"{quantity}\""));
    };
    // A stated half-width: rectangular distribution, JCGM 100:2008, 4.3.7.
    let half = typed.lower.zip(typed.upper).map(|(lower, upper)| (upper - lower) / 2.0 / 3f64.sqrt());
    let u_mm = half.unwrap_or(rule_uncertainty(Characteristic::Length));
    if u_mm > COARSEST_MM {
        return refused(format!(
            "{what}: \"{quantity}\" is too unsure to confirm anything, measure it to ± {:.1} mm or better",
            COARSEST_MM * 3f64.sqrt()
        ));
    }
    Ok(Span::new(mm, u_mm))
}

/// The uncut club with its head on, measured as a length: less what is to be cut off it is where the mark is.
fn from_reading(
    record: &ClubRecord,
    marks: &CutMarks,
    mark: CutMark,
    reading: EventId,
) -> Result<(String, Span, Option<EventId>), Refusal> {
    let id = &record.spec.id;
    if mark == CutMark::Tip {
        return refused(format!("the tip mark of {id} is measured on the shaft alone: type what was measured"));
    }
    let entry = record.valid().rfind(|e| e.event == reading && e.filed.characteristic == Characteristic::Length);
    let Some(entry) = entry else {
        return refused(format!("{reading} is not a length of {id} that counts"));
    };
    if !matches!(entry.filed.stage, Stage::DryFit | Stage::Bonded) {
        return refused(format!("{reading} was measured on the gripped club {id}, which is cut already"));
    }
    let measured = Span::new(entry.filed.value - marks.butt.mm, entry.filed.u);
    let text = format!("uncut length {:.1} mm ({})", entry.filed.value, entry.method.name());
    Ok((text, measured, Some(reading)))
}
