//! What the pages share: drawings, signs and words, each a small template of its own.

use askama::Template;

use crate::output::drawing::{ControlChart, Curve};
use crate::output::times;
use crate::output::trust_detail::{PlacementLine, TrustDetail};
use crate::output::view::InstrumentView;
use crate::output::web::language;
use crate::output::web::units::{self, Sized};
use crate::output::web::zone;

/// Text that is HTML already.
pub(super) struct Html(String);

impl Html {
    /// A text as HTML: what stands between backquotes is code.
    pub(super) fn with_code(text: &str) -> Self {
        let pieces = text.split('`').enumerate().map(|(at, piece)| match at % 2 {
            0 => escaped(piece),
            _ => format!("<code>{}</code>", escaped(piece)),
        });
        Self(pieces.collect())
    }
}

impl std::fmt::Display for Html {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl askama::filters::HtmlSafe for Html {}

fn escaped(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => shown.push_str("&amp;"),
            '<' => shown.push_str("&lt;"),
            '>' => shown.push_str("&gt;"),
            '"' => shown.push_str("&quot;"),
            _ => shown.push(c),
        }
    }
    shown
}

/// The words of a message key in the display's language.
pub(super) fn t(key: &str) -> String {
    language::current().word(key).to_owned()
}

/// The words of a message key with values at its places.
pub(super) fn with(key: &str, values: &[(&str, &str)]) -> String {
    language::current().with(key, values)
}

/// The words of a code of the daemon such as `dry_fit`.
pub(super) fn t_code(code: &str) -> String {
    language::current().code(code)
}

/// What the daemon says, in the display's language; what has no words there stays English and is marked as English, so that it is
/// read aloud as what it is.
pub(super) fn said(text: &str) -> Html {
    marked(text, escaped)
}

/// The same with its sizes in the units of the display: for what is measured, never for a reference that somebody is to lay down.
pub(super) fn said_here(text: &str) -> Html {
    marked(text, |said| escaped(&here(said)))
}

/// A text with its sizes in the units of the display.
pub(super) fn here(text: &str) -> String {
    units::current().sentence(text)
}

/// What an instrument shows, in the units of the display, with a true minus sign.
pub(super) fn shows(view: &InstrumentView) -> String {
    let reading = view.readings.first();
    reading.map_or_else(
        || "–".to_owned(),
        |reading| units::current().value(&Sized::from(reading)).replace('-', "\u{2212}"),
    )
}

fn marked(text: &str, html: impl Fn(&str) -> String) -> Html {
    let said = language::current().say(text);
    let is_words = |text: &str| text.split(|c: char| !c.is_ascii_lowercase()).any(|run| run.len() >= 3);
    Html(match said {
        Some(said) => html(&said),
        None if is_words(text) => format!("<span lang=\"en\">{}</span>", html(text)),
        None => html(text),
    })
}

/// The same for an attribute, which cannot be marked.
pub(super) fn said_text(text: &str) -> String {
    language::current().said(text)
}

/// What to do for a reference to be read.
pub(super) fn clear_then_lay(name: &str, what: &str) -> String {
    with("guided.clear_then_lay", &[("name", name), ("what", &said_text(what))])
}

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

    /// What the drawing is called for those who do not see it.
    fn spoken(&self, checks: usize) -> String {
        let values = [("label", said_text(self.label)), ("name", self.name.to_owned()), ("n", checks.to_string())];
        with("shared.checks_of", &values.each_ref().map(|(place, value)| (*place, value.as_str())))
    }
}

/// One channel of a settling curve.
#[derive(Template)]
#[template(path = "parts/curve.html")]
pub(super) struct CurvePart<'a> {
    pub(super) curve: &'a Curve,
    /// What is drawn, and the unit of its axis.
    pub(super) label: &'a str,
    pub(super) unit: &'a str,
    /// What the drawing is called for those who do not see it.
    pub(super) name: String,
}

impl CurvePart<'_> {
    fn words(&self) -> String {
        let (lead, length) = (self.curve.lead.to_string(), self.curve.length.to_string());
        with("shared.curve", &[("lead", &lead), ("length", &length)])
    }

    /// A number of the axis with its unit.
    fn at(&self, number: &str) -> String {
        here(&format!("{number} {}", self.unit))
    }
}

/// References that were laid down.
#[derive(Template)]
#[template(path = "parts/placements.html")]
pub(super) struct PlacementsPart<'a> {
    /// Key of the title.
    pub(super) title: &'static str,
    pub(super) placements: &'a [PlacementLine],
    /// Key of what is said where there are none.
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
    pub(super) word: String,
}

impl SignPart {
    /// In the display's language.
    pub(super) fn new(code: &'static str) -> Self {
        Self { code, word: t_code(code) }
    }
}

/// A time for people, to the minute, in the workshop's zone; scripts show it in that of the screen.
pub(super) fn minute(rfc3339: &str) -> String {
    times::minute_of(rfc3339, &zone::current())
}

/// A phase of an instrument in the words of the bench display.
pub(super) fn phase(code: &str) -> String {
    match code {
        "lost" => t("not_connected"),
        other => t(&format!("phase.{other}")),
    }
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
