//! The history of the work: times, what was right the first time, how results lie in their tolerances and over time.

use askama::Template;
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::parts::{said, said_text, t_code};
use super::{Shell, nothing, show, stopping};
use crate::output::command::ask;
use crate::output::drawer_view;
use crate::output::history_plot;
use crate::output::history_view::{self, DistributionView, DurationsView, HistoryView, ShareView};
use crate::output::text;
use crate::output::times::given;
use crate::output::web::Web;
use crate::output::web::api::problem;
use crate::output::web::units::{self, Numbers};
use crate::output::web::zone;

/// How many clubs are looked at; the command line takes more.
const CLUBS: u32 = 300;

/// What stands for an instrument where a value was typed.
const TYPED: &str = "typed";

#[derive(Template)]
#[template(path = "history.html")]
struct HistoryPage<'a> {
    shell: Shell<'a>,
    history: &'a HistoryView,
    since: &'a str,
    until: &'a str,
}

impl HistoryPage<'_> {
    fn clubs(&self) -> String {
        let key = if self.history.clubs == 1 { "history.clubs.one" } else { "history.clubs.more" };
        self.shell.with(key, &[("n", &self.history.clubs.to_string())])
    }

    fn on(&self, found: &DistributionView) -> String {
        let what = said_text(found.label);
        if found.instrument == TYPED {
            return self.shell.with("history.typed", &[("what", &what)]);
        }
        self.shell.with("history.on", &[("what", &what), ("instrument", &found.instrument)])
    }

    fn on_in(&self, found: &DistributionView) -> String {
        let unit = match numbers(found).unit {
            "{point}" => t_code("points"),
            "{cpm}" => "cpm".to_owned(),
            other => other.to_owned(),
        };
        if found.instrument == TYPED {
            return self.shell.with("history.typed_in", &[("unit", &unit)]);
        }
        self.shell.with("history.on_in", &[("instrument", &found.instrument), ("unit", &unit)])
    }

    fn results(&self, found: &DistributionView) -> String {
        let numbers = numbers(found);
        let known = |number: Option<String>| number.unwrap_or_else(|| "–".to_owned());
        let values = [
            ("n", found.count.to_string()),
            ("mean", known(found.mean.map(|mean| numbers.signed(mean, 3)))),
            ("s", known(found.sd.map(|sd| numbers.write(sd, 3)))),
            ("share", self.share(&found.first_pass)),
            ("cp", self.within(&found.cp, &found.cp_within)),
            ("cpk", self.within(&found.cpk, &found.cpk_within)),
        ];
        self.shell.with("history.results", &values.each_ref().map(|(place, value)| (*place, value.as_str())))
    }

    fn retired(&self) -> String {
        self.shell.with("history.retired", &[("n", &self.history.retired.to_string())])
    }

    fn limit(&self) -> String {
        self.shell.with("history.limit", &[("n", &CLUBS.to_string())])
    }

    fn took(&self, took: &DurationsView) -> [String; 3] {
        [took.median_s, took.shortest_s, took.longest_s].map(text::duration)
    }

    fn share(&self, pass: &ShareView) -> String {
        match pass.within {
            Some([low, high]) => {
                let percent = |share: f64| format!("{:.0}", 100.0 * share);
                let (good, all, low, high) = (pass.good.to_string(), pass.all.to_string(), percent(low), percent(high));
                self.shell.with("history.share", &[("good", &good), ("all", &all), ("low", &low), ("high", &high)])
            }
            None => self.shell.t("history.no_limits").to_owned(),
        }
    }

    fn within(&self, number: &Option<f64>, pair: &Option<[f64; 2]>) -> String {
        match (number, pair) {
            (Some(number), Some([low, high])) => {
                let [n, low, high] = [number, low, high].map(|number| format!("{number:.2}"));
                self.shell.with("history.within", &[("n", &n), ("low", &low), ("high", &high)])
            }
            _ => "–".to_owned(),
        }
    }

    fn picture(&self, found: &DistributionView) -> String {
        let (n, beyond) = (found.results.len().to_string(), found.beyond.len().to_string());
        let (what, instrument) = (said_text(found.label), found.instrument.as_str());
        let values = [("what", what.as_str()), ("instrument", instrument), ("n", &n), ("beyond", &beyond)];
        let numbers = numbers(found);
        history_plot::run(found, &self.shell.with("history.picture", &values), &|value| numbers.signed(value, 2))
    }
}

/// How the numbers of a distribution are written on the display that asks.
fn numbers(found: &DistributionView) -> Numbers<'_> {
    units::current().numbers(Some(found.characteristic), found.unit)
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
    match given(text, end, &zone::current()) {
        Some(at_us) => Ok(Some(at_us)),
        None => Err(Refused::Time("give a day such as 2026-11-26, or a time such as 2026-11-26T14:30:00Z".to_owned())),
    }
}
