//! What the pages share: drawings, signs and words, each a small template of its own.

use askama::Template;

use crate::output::drawing::{ControlChart, Curve};
use crate::output::trust_detail::{PlacementLine, TrustDetail};
use crate::output::web::language::Language;

/// Checks with their limits.
#[derive(Template)]
#[template(path = "parts/chart.html")]
pub(super) struct ChartPart<'a> {
    pub(super) chart: Option<&'a ControlChart>,
    pub(super) limits: Option<&'a str>,
    /// What is drawn, with its unit.
    pub(super) label: &'a str,
    /// What the drawing is called for those who do not see it.
    pub(super) name: &'a str,
}

impl<'a> ChartPart<'a> {
    /// The charts of an instrument; one that says what to do where there is none yet.
    pub(super) fn all(trust: &'a TrustDetail, name: &'a str) -> Vec<Self> {
        let charts = trust.charts.iter();
        let mut parts: Vec<Self> = charts
            .map(|of| Self { chart: Some(&of.chart), limits: of.limits.as_deref(), label: &of.label, name })
            .collect();
        if parts.is_empty() {
            parts.push(Self { chart: None, limits: None, label: "", name });
        }
        parts
    }
}

/// One channel of a settling curve.
#[derive(Template)]
#[template(path = "parts/curve.html")]
pub(super) struct CurvePart<'a> {
    pub(super) curve: &'a Curve,
    /// What is drawn, with its unit: `mass, g`.
    pub(super) label: &'a str,
    /// What the drawing is called for those who do not see it.
    pub(super) name: String,
}

/// References that were laid down.
#[derive(Template)]
#[template(path = "parts/placements.html")]
pub(super) struct PlacementsPart<'a> {
    pub(super) title: &'static str,
    pub(super) placements: &'a [PlacementLine],
    pub(super) none: &'static str,
    pub(super) root: &'static str,
}

impl<'a> PlacementsPart<'a> {
    pub(super) fn new(
        title: &'static str,
        placements: &'a [PlacementLine],
        none: &'static str,
        root: &'static str,
    ) -> Self {
        Self { title, placements, none, root }
    }
}

/// A sign with its word: a verdict, a zone of a check or the state of a club.
#[derive(Template)]
#[template(path = "parts/sign.html")]
pub(super) struct SignPart {
    pub(super) code: &'static str,
    pub(super) word: &'static str,
}

impl SignPart {
    /// The state of a club or a verdict in the language of the page.
    pub(super) fn in_language(code: &'static str, language: Language) -> Self {
        Self { code, word: language.code(code) }
    }

    pub(super) fn new(code: &'static str) -> Self {
        let word = match code {
            "no_target" => "no target",
            "in_work" => "in work",
            "aside" => "put aside",
            "out" => "out: stop",
            other => other,
        };
        Self { code, word }
    }
}

/// A time for people, to the minute; scripts show it in the time zone of the screen.
pub(super) fn minute(rfc3339: &str) -> String {
    let shown = rfc3339.get(..16).map(|start| start.replacen('T', " ", 1));
    shown.map_or_else(|| rfc3339.to_owned(), |shown| format!("{shown} UTC"))
}

/// A phase of an instrument in the words of the bench display.
pub(super) fn phase(code: &str) -> &str {
    match code {
        "held" => "settled",
        "unknown" => "not sure",
        "lost" => "not connected",
        other => other,
    }
}

/// A code such as `dry_fit` as words.
pub(super) fn plain(code: &str) -> String {
    code.replace('_', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_shown_to_the_minute() {
        assert_eq!(minute("2026-11-26T19:51:32.123456Z"), "2026-11-26 19:51 UTC");
        assert_eq!(minute("soon"), "soon");
    }
}
