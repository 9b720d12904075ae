//! The history of the work: times, what was right the first time, how results lie in their tolerances and over time.

use askama::Template;
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::{Shell, nothing, show, stopping};
use crate::journal::event::parse_rfc3339;
use crate::output::command::ask;
use crate::output::drawer_view;
use crate::output::history_plot;
use crate::output::history_view::{self, DistributionView, DurationsView, HistoryView, ShareView};
use crate::output::text;
use crate::output::web::Web;
use crate::output::web::api::problem;

/// How many clubs are looked at; the command line takes more.
const CLUBS: u32 = 300;
/// Microseconds of a day.
const DAY_US: i64 = 24 * 3600 * 1_000_000;

#[derive(Template)]
#[template(path = "history.html")]
struct HistoryPage<'a> {
    shell: Shell<'a>,
    history: &'a HistoryView,
    since: &'a str,
    until: &'a str,
}

impl HistoryPage<'_> {
    fn most(&self) -> u32 {
        CLUBS
    }

    fn took(&self, took: &DurationsView) -> [String; 3] {
        [took.median_s, took.shortest_s, took.longest_s].map(text::duration)
    }

    fn share(&self, pass: &ShareView) -> String {
        match pass.within {
            Some([low, high]) => {
                format!("{} of {}, 95 %: {:.0} to {:.0} %", pass.good, pass.all, 100.0 * low, 100.0 * high)
            }
            None => "no limits".to_owned(),
        }
    }

    fn within(&self, number: &Option<f64>, pair: &Option<[f64; 2]>) -> String {
        match (number, pair) {
            (Some(number), Some([low, high])) => format!("{number:.2} ({low:.2} to {high:.2})"),
            _ => "–".to_owned(),
        }
    }

    fn small(&self, number: &Option<f64>) -> String {
        number.map_or_else(|| "–".to_owned(), |number| format!("{number:+.3}"))
    }

    fn picture(&self, found: &DistributionView) -> String {
        history_plot::run(found)
    }
}

/// Which time.
#[derive(Deserialize)]
pub(in crate::output::web) struct Wanted {
    #[serde(default)]
    since: String,
    #[serde(default)]
    until: String,
    #[serde(default, rename = "as")]
    format: String,
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>, Query(wanted): Query<Wanted>) -> Response {
    match found(&web, &wanted).await {
        Ok(history) => {
            let shell = Shell::new(&web, "", "history");
            show(&HistoryPage { shell, history: &history, since: wanted.since.trim(), until: wanted.until.trim() })
        }
        Err(Refused::Stopping) => stopping(&web, "", "history"),
        Err(Refused::Time(words)) => nothing(&web, "", "history", StatusCode::BAD_REQUEST, "that is no time", &words),
        Err(Refused::Journal(words)) => {
            let status = StatusCode::SERVICE_UNAVAILABLE;
            nothing(&web, "", "history", status, "the journal cannot be read", &words)
        }
    }
}

/// The same as JSON or CSV.
pub(in crate::output::web) async fn data(State(web): State<Web>, Query(wanted): Query<Wanted>) -> Response {
    match found(&web, &wanted).await {
        Ok(history) if wanted.format == "csv" => match history_view::csv(&history) {
            Ok(text) => ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], text).into_response(),
            Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, "the table could not be made", &error.to_string()),
        },
        Ok(history) => Json(history).into_response(),
        Err(Refused::Stopping) => {
            problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "ask again when it runs")
        }
        Err(Refused::Time(words)) => problem(StatusCode::BAD_REQUEST, "that is no time", &words),
        Err(Refused::Journal(words)) => problem(StatusCode::SERVICE_UNAVAILABLE, "the journal cannot be read", &words),
    }
}

enum Refused {
    Stopping,
    Time(String),
    Journal(String),
}

async fn found(web: &Web, wanted: &Wanted) -> Result<HistoryView, Refused> {
    let time = (day(&wanted.since, false)?, day(&wanted.until, true)?);
    // What runs low is all that is asked of the bench; the clubs come from the journal.
    let low = ask(&web.questions, drawer_view::low_stock).await.ok_or(Refused::Stopping)?;
    let history = history_view::find(&web.journal, low, time, CLUBS).await;
    history.map_err(|error| Refused::Journal(error.to_string()))
}

fn day(text: &str, end: bool) -> Result<Option<i64>, Refused> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    if let Some(at_us) = parse_rfc3339(text) {
        return Ok(Some(at_us));
    }
    match parse_rfc3339(&format!("{text}T00:00:00Z")) {
        Some(begin_us) => Ok(Some(if end { begin_us.saturating_add(DAY_US) } else { begin_us })),
        None => Err(Refused::Time("give a day such as 2026-11-26, or a time such as 2026-11-26T14:30:00Z".to_owned())),
    }
}
