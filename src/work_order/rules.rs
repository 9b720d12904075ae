//! Equipment rules as data, and how a club stands to them. Flags, never rulings: the governing bodies decide.
//!
//! A rule book and a club's record come in, one finding for each rule goes out. Absent: files, words for display, and any
//! number of a rule, which are all in the rule file.

use super::details::Measure;
use super::order::{ClubKind, ClubSpec};
use super::record::{ClubRecord, Entry};
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Dimension;

/// What is said beside every comparison.
pub const NO_RULING: &str = "A comparison with the printed limits of this edition, not a ruling: the governing bodies decide whether a club conforms.";

/// An edition of equipment rules.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RuleBook {
    /// Which edition, in words.
    pub edition: String,
    /// Where its figures stand.
    pub source: String,
    /// The rules, in the order of the file.
    pub rules: Vec<Rule>,
}

/// One limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Its name in files and records.
    pub name: String,
    /// What it limits.
    pub of: Subject,
    /// Kinds of club it is for.
    pub clubs: Vec<ClubKind>,
    /// Kinds of club of which it is not certain that it is for them.
    pub unclear: Vec<ClubKind>,
    /// Smallest value allowed, in the subject's unit.
    pub at_least: Option<f64>,
    /// Largest value allowed, in the subject's unit.
    pub at_most: Option<f64>,
    /// What a test allows beyond the limits, in the subject's unit; 0 where the source prints nothing.
    pub tolerance: f64,
    /// The day from which it holds, where that is later than its edition.
    pub from: Option<Day>,
    /// Holds only where a committee has adopted it.
    pub local: bool,
    /// Passed over unless the order gives the measure.
    pub if_given: bool,
    /// Where it stands.
    pub source: String,
    /// What else must be known to read it rightly.
    pub note: Option<String>,
}

/// The start of a day, UTC.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Day {
    /// As written: `2022-01-01`.
    pub text: String,
    /// Its first microsecond since 1970 UTC.
    pub at_us: i64,
}

/// What a rule limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// Something measured on the club.
    Measured(Characteristic),
    /// Something given with the order.
    Given(Measure),
}

impl Subject {
    /// Its name in files and records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Measured(characteristic) => characteristic.name(),
            Self::Given(measure) => measure.name(),
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Characteristic::parse(name).map(Self::Measured).or_else(|| Measure::parse(name).map(Self::Given))
    }

    /// The words a person reads.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Measured(characteristic) => characteristic.label(),
            Self::Given(measure) => measure.label(),
        }
    }

    /// The kind of quantity people write for it.
    #[must_use]
    pub fn dimension(self) -> Dimension {
        match self {
            Self::Measured(characteristic) => characteristic.dimension(),
            Self::Given(measure) => measure.dimension(),
        }
    }

    /// The unit of its number in JSON.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Measured(characteristic) => characteristic.unit(),
            Self::Given(measure) => measure.unit(),
        }
    }
}

super::order::named!(
    /// How a club stands to a rule.
    Standing {
        /// Inside the limit and its tolerance.
        Within = "within",
        /// Below the smallest value.
        Under = "under",
        /// Above the largest value.
        Over = "over",
        /// No number to compare, or no certainty that the rule is for this club.
        NotJudged = "not_judged",
    }
);

/// What came of one rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding<'a> {
    /// The rule.
    pub rule: &'a Rule,
    /// How the club stands to it.
    pub standing: Standing,
    /// What was compared, in the subject's unit.
    pub value: Option<f64>,
    /// Its standard uncertainty, where it was measured.
    pub u: Option<f64>,
    /// The uncertainty straddles the limit with its tolerance.
    pub marginal: bool,
    /// Beyond the limit itself, and inside only by the tolerance.
    pub by_tolerance: bool,
    /// Why it was not judged.
    pub reason: Option<String>,
}

/// Coverage factor of the interval that marks a finding (about 95 %).
const COVERAGE: f64 = 2.0;

/// Compares a club with every rule that is for its kind. Only values of the club as it will be handed over count.
#[must_use]
pub fn check<'a>(book: &'a RuleBook, club: &ClubRecord) -> Vec<Finding<'a>> {
    let at_us = club.finished_at_us.or_else(|| club.valid().map(|entry| entry.at_us).max());
    book.rules.iter().filter_map(|rule| finding(rule, club, at_us)).collect()
}

fn finding<'a>(rule: &'a Rule, club: &ClubRecord, at_us: Option<i64>) -> Option<Finding<'a>> {
    let kind = club.spec.kind;
    let is_unclear = rule.unclear.contains(&kind);
    if !is_unclear && !rule.clubs.contains(&kind) {
        return None;
    }
    let found = value(rule.of, &club.spec, |characteristic| club.standing(characteristic));
    if rule.if_given && found.is_none() {
        return None;
    }
    let not_judged = |reason: String| Finding {
        rule,
        standing: Standing::NotJudged,
        value: found.map(|(value, _)| value),
        u: found.and_then(|(_, u)| u),
        marginal: false,
        by_tolerance: false,
        reason: Some(reason),
    };
    if is_unclear {
        return Some(not_judged(format!(
            "whether the rule is for a {} is for the governing bodies to say",
            kind.name()
        )));
    }
    if let Some((day, _)) = rule.from.as_ref().zip(at_us).filter(|(day, at_us)| *at_us < day.at_us) {
        return Some(not_judged(format!("in force from {}", day.text)));
    }
    let Some((value, u)) = found else {
        return Some(not_judged(match rule.of {
            Subject::Measured(_) => "not measured on the finished club".to_owned(),
            Subject::Given(measure) => format!("not measured; give {} with the order", measure.name()),
        }));
    };
    let under = |room: f64| rule.at_least.is_some_and(|limit| value < limit - room);
    let over = |room: f64| rule.at_most.is_some_and(|limit| value > limit + room);
    let standing = match (under(rule.tolerance), over(rule.tolerance)) {
        (true, _) => Standing::Under,
        (_, true) => Standing::Over,
        _ => Standing::Within,
    };
    let edges = [rule.at_least.map(|limit| limit - rule.tolerance), rule.at_most.map(|limit| limit + rule.tolerance)];
    Some(Finding {
        rule,
        standing,
        value: Some(value),
        u,
        marginal: edges.into_iter().flatten().any(|edge| (value - edge).abs() < COVERAGE * u.unwrap_or(0.0)),
        by_tolerance: standing == Standing::Within && (under(0.0) || over(0.0)),
        reason: None,
    })
}

/// What is known of a subject: the value with its standard uncertainty, which a given value has none of.
fn value<'a>(
    of: Subject,
    spec: &ClubSpec,
    measured: impl Fn(Characteristic) -> Option<&'a Entry>,
) -> Option<(f64, Option<f64>)> {
    match of {
        Subject::Measured(characteristic) => measured(characteristic).map(|e| (e.filed.value, Some(e.filed.u))),
        Subject::Given(measure) => spec.details.given(measure).map(|given| (given.value, None)),
    }
}

/// All findings in one word: outside counts before not judged, and that before within. Local rules do not count: only a
/// committee makes them hold.
#[must_use]
pub fn overall(findings: &[Finding<'_>]) -> Standing {
    let binding = || findings.iter().filter(|finding| !finding.rule.local).map(|finding| finding.standing);
    let outside = binding().find(|standing| matches!(standing, Standing::Under | Standing::Over));
    outside.unwrap_or_else(|| {
        if binding().count() > 0 && binding().all(|standing| standing == Standing::Within) {
            Standing::Within
        } else {
            Standing::NotJudged
        }
    })
}
