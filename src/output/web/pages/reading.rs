//! One captured reading with all its evidence: curve, window, budget and the raw frames.

use askama::Template;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::parts::{CurvePart, Html, minute, said_here, said_text, t_code, with};
use super::{Shell, nothing, show};
use crate::output::command::ask;
use crate::output::drawing::{Curve, CurveOf};
use crate::output::reading_view::{self, Found, ReadingDetail};
use crate::output::trust_view::budget_line;
use crate::output::web::Web;
use crate::output::web::api::problem;
use crate::work_order::event::EventId;

/// Frames that are shown on the page; the API gives all of them.
const FRAMES_SHOWN: usize = 400;

/// A channel of a curve with its words.
pub(super) struct ChannelCurve {
    pub(super) label: &'static str,
    pub(super) unit: &'static str,
    pub(super) of: CurveOf,
}

/// How a channel of a reading is drawn.
pub(super) fn curve_of(detail: &ReadingDetail, channel: usize) -> ChannelCurve {
    let (label, unit, decimals) = match (detail.kind, channel) {
        ("beam", 0) => ("mass on both cells", "g", 2),
        ("beam", _) => ("moment about the first support", "g·mm", 0),
        ("gauge", 0) => ("lie", "°", 2),
        ("gauge", _) => ("loft", "°", 2),
        _ => ("mass", "g", 2),
    };
    let at = |values: [f64; 2]| values.get(channel).copied().unwrap_or_default();
    let of = CurveOf { channel, zero: at(detail.zero), level: at(detail.levels), window_s: detail.window_s, decimals };
    ChannelCurve { label, unit, of }
}

#[derive(Template)]
#[template(path = "reading.html")]
struct ReadingPage<'a> {
    shell: Shell<'a>,
    detail: &'a ReadingDetail,
    curves: Vec<DrawnChannel>,
    /// The club it was filed at: its token and id.
    club: Option<(String, String)>,
}

struct DrawnChannel {
    label: &'static str,
    unit: &'static str,
    whole: Option<Curve>,
    close: Option<Curve>,
}

impl DrawnChannel {
    fn whole(&self) -> Option<CurvePart<'_>> {
        let name = with("reading.whole_curve", &[("what", &said_text(self.label))]);
        self.whole.as_ref().map(|curve| CurvePart { curve, label: self.label, unit: self.unit, name })
    }

    fn close(&self) -> Option<CurvePart<'_>> {
        let name = with("reading.close_curve", &[("what", &said_text(self.label))]);
        self.close.as_ref().map(|curve| CurvePart { curve, label: self.label, unit: self.unit, name })
    }
}

impl ReadingPage<'_> {
    fn shown(&self) -> usize {
        self.detail.frames.len().min(FRAMES_SHOWN)
    }

    fn frames_words(&self) -> Html {
        let (shown, all) = (self.shown().to_string(), self.detail.frames.len().to_string());
        Html::with_code(&self.shell.with("reading.raw.how", &[("shown", &shown), ("all", &all)]))
    }

    fn budgets(&self) -> Vec<String> {
        let line = |m: &reading_view::MeasuredView| {
            let unit = if m.unit == "{point}" { "points" } else { m.unit };
            m.budget.as_ref().map(|budget| format!("{}: {} {unit}", m.quantity.replace('_', " "), budget_line(budget)))
        };
        self.detail.measured.iter().filter_map(line).collect()
    }
}

/// The page of a reading.
pub(in crate::output::web) async fn page(State(web): State<Web>, Path(event): Path<String>) -> Response {
    let missing = |words: &str| nothing(&web, "../", "records", StatusCode::NOT_FOUND, "no such reading", words);
    let Some(id) = EventId::parse(&event) else {
        return missing(&format!("\"{event}\" is not the id of an event; a club's record links its readings"));
    };
    match reading_view::find(&web.journal, id).await {
        Found::Reading(found) => {
            let (detail, evidence) = *found;
            let channels = if detail.kind == "scale" { 1 } else { 2 };
            let curves = (0..channels).map(|channel| {
                let ChannelCurve { label, unit, of } = curve_of(&detail, channel);
                DrawnChannel { label, unit, whole: Curve::whole(&evidence, of), close: Curve::close(&evidence, of) }
            });
            let club = ask(&web.questions, move |state| {
                let record = state.clubs.get(state.place_of(id)?)?;
                Some((record.spec.token.clone(), record.spec.id.clone()))
            });
            let (curves, club) = (curves.collect(), club.await.flatten());
            show(&ReadingPage { shell: Shell::new(&web, "../", "records"), detail: &detail, curves, club })
        }
        Found::Other(kind) => missing(&format!("event {event} is no reading but of the kind {kind}")),
        Found::Nothing => missing(&format!("there is no event {event} in this journal")),
        Found::Damaged(what) => {
            let words = format!("event {event} cannot be read: {what}. `benchscribe records verify` finds all damage");
            nothing(&web, "../", "records", StatusCode::INTERNAL_SERVER_ERROR, "this reading is damaged", &words)
        }
    }
}

/// The same as JSON.
pub(in crate::output::web) async fn one(State(web): State<Web>, Path(event): Path<String>) -> Response {
    let Some(id) = EventId::parse(&event) else {
        let detail = format!("\"{event}\" is not an event's id (a UUID)");
        return problem(StatusCode::BAD_REQUEST, "not an id", &detail);
    };
    match reading_view::find(&web.journal, id).await {
        Found::Reading(found) => Json(found.0).into_response(),
        Found::Other(kind) => problem(
            StatusCode::NOT_FOUND,
            "no such reading",
            &format!("event {event} is no reading but of the kind {kind}"),
        ),
        Found::Nothing => {
            problem(StatusCode::NOT_FOUND, "no such reading", &format!("there is no event {event} in this journal"))
        }
        Found::Damaged(what) => problem(
            StatusCode::INTERNAL_SERVER_ERROR,
            "this reading is damaged",
            &format!("event {event} cannot be read: {what}; `benchscribe records verify` finds all damage"),
        ),
    }
}
