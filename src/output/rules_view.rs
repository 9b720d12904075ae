//! How a club stands to the equipment rules, in words and numbers, for records and pages. Nothing is decided here.

use serde::Serialize;

use super::text::{self, Lengths};
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::round_ties_away;
use crate::work_order::record::ClubRecord;
use crate::work_order::rules::{Finding, NO_RULING, RuleBook, Standing, Subject, check, overall};

/// The comparison of a club with an edition of the rules.
#[derive(Debug, Clone, Serialize)]
pub struct RuleCheckView {
    /// Which edition; empty where the journal holds none.
    pub edition: String,
    /// Where its figures stand.
    pub source: String,
    /// `within`, `under`, `over` or `not_judged`: all rules together, without local ones.
    pub standing: &'static str,
    /// The same in one sentence.
    pub text: String,
    /// That this is no ruling.
    pub note: &'static str,
    /// One line for each rule that is for this kind of club.
    pub rules: Vec<RuleLineView>,
}

/// One rule.
#[derive(Debug, Clone, Serialize)]
pub struct RuleLineView {
    /// Its name in the rule file.
    pub rule: String,
    /// What it limits.
    pub of: &'static str,
    /// `within`, `under`, `over` or `not_judged`.
    pub standing: &'static str,
    /// In words.
    pub text: String,
    /// What was compared.
    pub value: Option<f64>,
    /// Its standard uncertainty, where it was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// Smallest value allowed.
    pub at_least: Option<f64>,
    /// Largest value allowed.
    pub at_most: Option<f64>,
    /// What a test allows beyond.
    pub tolerance: f64,
    /// The uncertainty straddles the limit.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub marginal: bool,
    /// Holds only where a committee has adopted it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub local: bool,
    /// From when it holds, where that is later than its edition.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// Where it stands.
    pub source: String,
    /// What else must be known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Compares a club with the rules in force when it was finished, or now.
#[must_use]
pub fn rule_check(club: &ClubRecord, lengths: Lengths) -> RuleCheckView {
    let book: &RuleBook = &club.guide.rules;
    let findings = check(book, club);
    RuleCheckView {
        edition: book.edition.clone(),
        source: book.source.clone(),
        standing: overall(&findings).name(),
        text: sentence(book, &findings, lengths),
        note: NO_RULING,
        rules: findings.iter().map(|finding| line(finding, lengths)).collect(),
    }
}

fn line(finding: &Finding<'_>, lengths: Lengths) -> RuleLineView {
    let rule = finding.rule;
    RuleLineView {
        rule: rule.name.clone(),
        of: rule.of.name(),
        standing: finding.standing.name(),
        text: words(finding, lengths),
        value: finding.value,
        u: finding.u,
        unit: rule.of.unit(),
        at_least: rule.at_least,
        at_most: rule.at_most,
        tolerance: rule.tolerance,
        marginal: finding.marginal,
        local: rule.local,
        from: rule.from.as_ref().map(|day| day.text.clone()),
        source: rule.source.clone(),
        note: rule.note.clone(),
    }
}

/// One finding: `length 46 1/2 in: over, at most 46 in; holds only where a committee has adopted it`.
fn words(finding: &Finding<'_>, lengths: Lengths) -> String {
    let rule = finding.rule;
    let show = |value: f64| shown(rule.of, value, lengths);
    let label = rule.of.label();
    if let Some(reason) = &finding.reason {
        return format!("{label}: not judged, {reason}");
    }
    let mut text = format!(
        "{label} {}: {}, {}",
        finding.value.map(show).unwrap_or_default(),
        finding.standing.name(),
        limits(finding, lengths)
    );
    if finding.by_tolerance {
        text += &format!(", inside only by the test tolerance of {}", show(rule.tolerance));
    }
    if finding.marginal {
        text += "; nearer to the limit than it was measured";
    }
    if rule.local {
        text += "; holds only where a committee has adopted it";
    }
    text
}

/// The limits of a rule in words: `at least 18 in and at most 48 in`.
fn limits(finding: &Finding<'_>, lengths: Lengths) -> String {
    let rule = finding.rule;
    let limits = [("at least", rule.at_least), ("at most", rule.at_most)];
    let words = limits.into_iter().filter_map(|(words, limit)| Some((words, limit?)));
    words.map(|(words, limit)| format!("{words} {}", shown(rule.of, limit, lengths))).collect::<Vec<_>>().join(" and ")
}

/// All findings in one sentence, with the edition.
fn sentence(book: &RuleBook, findings: &[Finding<'_>], lengths: Lengths) -> String {
    if book.rules.is_empty() {
        return "not judged: this journal holds no equipment rules yet, the daemon brings them when it starts"
            .to_owned();
    }
    let of = |wanted: &dyn Fn(&Finding<'_>) -> bool| findings.iter().filter(|f| wanted(f)).collect::<Vec<_>>();
    let outside = of(&|f| matches!(f.standing, Standing::Under | Standing::Over));
    let within = of(&|f| f.standing == Standing::Within && !f.rule.local);
    let not_judged = of(&|f| f.standing == Standing::NotJudged && !f.rule.local);
    let labels = |of: &[&Finding<'_>]| {
        let mut labels: Vec<&str> = of.iter().map(|f| f.rule.of.label()).collect();
        labels.dedup();
        labels.join(", ")
    };
    // What only a committee's adoption makes hold comes last, and what is inside one rule and outside another says which.
    let (local, binding): (Vec<&Finding<'_>>, Vec<&Finding<'_>>) = outside.iter().partition(|f| f.rule.local);
    let mut parts: Vec<String> = binding.iter().map(|finding| words(finding, lengths)).collect();
    if !within.is_empty() {
        let (told, plain): (Vec<&Finding<'_>>, Vec<&Finding<'_>>) =
            within.iter().partition(|f| outside.iter().any(|o| o.rule.of == f.rule.of));
        let told = told.iter().map(|f| format!("{} ({})", f.rule.of.label(), limits(f, lengths)));
        let plain = labels(&plain);
        let all: Vec<String> = Some(plain).filter(|plain| !plain.is_empty()).into_iter().chain(told).collect();
        parts.push(format!("within: {}", all.join(", ")));
    }
    if !not_judged.is_empty() {
        let why = if not_judged.iter().all(|f| f.value.is_none()) { " not measured" } else { "" };
        parts.push(format!("not judged: {}{why}", labels(&not_judged)));
    }
    parts.extend(local.iter().map(|finding| words(finding, lengths)));
    format!("{} (equipment rules {})", parts.join("; "), book.edition)
}

fn shown(of: Subject, value: f64, lengths: Lengths) -> String {
    match of {
        Subject::Measured(characteristic) => text::value(characteristic, value, lengths),
        // The rules print heads in g·cm², the bench's inertias are a thousand times larger.
        Subject::Given(measure) if measure.dimension() == Dimension::Inertia => {
            format!("{:.0} g·cm²", round_ties_away(value * 1000.0, 0))
        }
        Subject::Given(measure) => {
            let decimals = measure.decimals();
            format!(
                "{:.*} {}",
                usize::from(decimals),
                round_ties_away(value, decimals),
                measure.dimension().base_unit()
            )
        }
    }
}
