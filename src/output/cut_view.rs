//! Cut marks and fits as they are shown and published. Numbers are those of the club model; rounding is for display.

use serde::Serialize;

use super::text::mm_and_inches;
use crate::club::characteristic::Characteristic;
use crate::club::cut::{Agreement, CutMark, CutMarks, Span};
use crate::club::fit::{FitWith, answers};
use crate::journal::event::rfc3339;
use crate::measurement::unit::Degrees;
use crate::work_order::marks::{self, MarkDeed, MarkRecord, MarkStanding};
use crate::work_order::record::ClubRecord;

/// Where a shaft is cut.
#[derive(Debug, Clone, Serialize)]
pub struct CutView {
    /// Why there are no marks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trouble: Option<String>,
    /// The mark that is cut next.
    pub due: Option<&'static str>,
    /// The marks, tip first; what is not cut is left out.
    pub marks: Vec<MarkView>,
    /// What else is drawn on the shaft or follows from the cuts.
    pub measures: Vec<MeasureView>,
}

/// A length that has a name.
#[derive(Debug, Clone, Serialize)]
pub struct MeasureView {
    /// What it is.
    pub name: &'static str,
    /// Its words.
    pub label: &'static str,
    /// The length.
    pub value_mm: f64,
    /// Its standard uncertainty.
    pub u_mm: f64,
    /// For people.
    pub text: String,
}

/// A mark and its second measurement.
#[derive(Debug, Clone, Serialize)]
pub struct MarkView {
    /// `tip` or `butt`.
    pub mark: &'static str,
    /// What is cut off there, from the raw end.
    pub cut_off_mm: f64,
    /// Its standard uncertainty.
    pub u_mm: f64,
    /// For people: what to cut off, from where.
    pub text: String,
    /// What a second measurement should show.
    pub again_mm: f64,
    /// Its standard uncertainty, without that of the rule.
    pub again_u_mm: f64,
    /// How it is measured a second time, and what should come out.
    pub again_text: String,
    /// `waiting`, `agrees`, `disagrees` or `overridden`.
    pub standing: &'static str,
    /// The same in words.
    pub standing_text: String,
    /// Whether it may be cut.
    pub may_cut: bool,
    /// Whether it is cut, by the steps that are done.
    pub is_past: bool,
    /// Every second measurement and override, oldest first.
    pub history: Vec<DeedView>,
}

/// A second measurement, or a cut without one.
#[derive(Debug, Clone, Serialize)]
pub struct DeedView {
    /// `measured` or `overridden`.
    pub deed: &'static str,
    /// What was typed, or why.
    pub text: String,
    /// What was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_mm: Option<f64>,
    /// Its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
    /// What was expected then.
    pub expected_mm: f64,
    /// Measured less expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference_mm: Option<f64>,
    /// Who answers for an override.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Who was at the bench.
    pub by: Option<String>,
    /// When.
    pub at: String,
    /// The event.
    pub event: String,
    /// Whether it was taken back.
    pub voided: bool,
}

/// An answer about parts.
#[derive(Debug, Clone, Serialize)]
pub struct FitView {
    /// `tip`, `grip`, `rib` or `sleeve`.
    pub about: &'static str,
    /// `fits`, `work` or `no`.
    pub fit: &'static str,
    /// The words, with numbers.
    pub text: String,
    /// Where the rule comes from.
    pub basis: &'static str,
}

/// The cuts of a club; `None` where the order says nothing of them.
#[must_use]
pub fn cut_view(club: &ClubRecord) -> Option<CutView> {
    Some(match marks::marks(club)? {
        Err(error) => CutView { trouble: Some(error.to_string()), due: None, marks: Vec::new(), measures: Vec::new() },
        Ok(found) => CutView {
            trouble: None,
            due: marks::due(club).map(CutMark::name),
            marks: CutMark::ALL
                .into_iter()
                .filter(|mark| found.is_cut(*mark))
                .map(|mark| mark_view(club, &found, mark))
                .collect(),
            measures: measures(&found),
        },
    })
}

fn shown(span: Span) -> String {
    format!("{} ± {:.1} mm", mm_and_inches(span.mm), 2.0 * span.u_mm)
}

fn measures(found: &CutMarks) -> Vec<MeasureView> {
    let ferrule = found.ferrule_end.map(|end| ("ferrule_end", "cut tip to the upper end of the ferrule", end));
    [
        Some(("butt_from_raw_tip", "raw tip to the butt mark, drawn before the tip is cut", found.butt_from_raw_tip)),
        Some(("shaft", "cut shaft", found.shaft)),
        Some(("insertion", "cut tip to the edge of the bore", found.insertion)),
        ferrule,
        Some(("finished", "finished club", found.finished)),
    ]
    .into_iter()
    .flatten()
    .map(|(name, label, span)| MeasureView { name, label, value_mm: span.mm, u_mm: span.u_mm, text: shown(span) })
    .collect()
}

fn mark_view(club: &ClubRecord, found: &CutMarks, mark: CutMark) -> MarkView {
    let (cut_off, from) = match mark {
        CutMark::Tip => (found.tip, "raw tip"),
        CutMark::Butt => (found.butt, "raw butt"),
    };
    let again = found.again(mark);
    let standing = marks::standing(club, found, mark);
    MarkView {
        mark: mark.name(),
        cut_off_mm: cut_off.mm,
        u_mm: cut_off.u_mm,
        text: format!("{} from the {from}", shown(cut_off)),
        again_mm: again.mm,
        again_u_mm: again.u_mm,
        again_text: format!("{}: {}", marks::how(mark, club.spec.kind), shown(again)),
        standing: standing.name(),
        standing_text: words(&standing) + &last_difference(club, mark, &standing),
        may_cut: standing.may_cut(),
        is_past: marks::is_past(club, mark),
        history: club.marks.iter().filter(|record| record.mark == mark).map(deed_view).collect(),
    }
}

fn words(standing: &MarkStanding) -> String {
    let of = |agreement: &Agreement| {
        format!("{:+.1} mm, and the uncertainties explain {:.1} mm", agreement.difference_mm, agreement.limit_mm)
    };
    match standing {
        MarkStanding::NotCut => "nothing is cut".to_owned(),
        MarkStanding::Waiting => "wants a second measurement before it is cut".to_owned(),
        MarkStanding::Agrees(agreement) => format!("the second measurement agrees: {}", of(agreement)),
        MarkStanding::Disagrees(agreement) => {
            format!("do not cut, the second measurement disagrees: {}", of(agreement))
        }
        MarkStanding::Overridden { name, why } => format!("{name} answers for it: {why}"),
    }
}

/// What a cut without agreement passes over: the last second measurement, which stays to be seen.
fn last_difference(club: &ClubRecord, mark: CutMark, standing: &MarkStanding) -> String {
    let last = club.marks.iter().rev().filter(|record| record.mark == mark && !record.voided).find_map(|record| {
        let MarkDeed::Measured(second) = &record.deed else { return None };
        Some(second.measured.mm - second.expected.mm)
    });
    match (standing, last) {
        (MarkStanding::Overridden { .. }, Some(off_mm)) => {
            format!("; the last second measurement was {off_mm:+.1} mm off")
        }
        _ => String::new(),
    }
}

fn deed_view(record: &MarkRecord) -> DeedView {
    let (deed, text, measured, expected, name) = match &record.deed {
        MarkDeed::Measured(second) => ("measured", second.text.clone(), Some(second.measured), second.expected, None),
        MarkDeed::Overridden(over) => ("overridden", over.why.clone(), None, over.expected, Some(over.name.clone())),
    };
    DeedView {
        deed,
        text,
        value_mm: measured.map(|span| span.mm),
        u_mm: measured.map(|span| span.u_mm),
        expected_mm: expected.mm,
        difference_mm: measured.map(|span| span.mm - expected.mm),
        name,
        by: record.by.clone(),
        at: rfc3339(record.at_us),
        event: record.event.to_string(),
        voided: record.voided,
    }
}

/// What fits, as far as the order has sizes.
#[must_use]
pub fn fit_views(club: &ClubRecord) -> Vec<FitView> {
    let build = &club.spec.build;
    let Some(sizes) = &build.fit else { return Vec::new() };
    let angle = |characteristic| {
        let asked = club.spec.target(characteristic).and_then(|row| row.target.value);
        asked.map(Degrees)
    };
    let with = FitWith {
        tip_trim_mm: build.cut.map(|cut| cut.tip_trim.mm),
        insertion_mm: build.cut.map(|cut| cut.insertion.unwrap_or(cut.bore_depth).mm),
        loft: angle(Characteristic::Loft),
        lie: angle(Characteristic::Lie),
    };
    answers(sizes, &with)
        .into_iter()
        .map(|answer| FitView { about: answer.about, fit: answer.fit.name(), text: answer.text, basis: answer.basis })
        .collect()
}
