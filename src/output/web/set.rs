//! How length, loft, lie and frequency go through an order's clubs: as data for a plot, and as a picture.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use super::Web;
use super::api::problem;
use super::language;
use super::units;
use crate::club::progression::Series;
use crate::journal::archive::Key;
use crate::journal::store::{JournalError, Reader};
use crate::output::command::ask;
use crate::output::plan_view::series_view;
use crate::output::progression_plot::svg;
use crate::work_order::set_plan::order_progressions;

pub(super) async fn series(web: &Web, order: &str) -> Result<Vec<Series>, Response> {
    let asked = order.to_owned();
    let found = ask(&web.questions, move |state| Some(order_progressions(state, state.orders.get(&asked)?))).await;
    // Not at hand: an order that is finished and not among the last ones.
    let found = match found {
        Some(None) => Some(from_archive(&web.journal, order).await.unwrap_or_else(|error| {
            tracing::warn!(%error, order, "the order cannot be looked up");
            None
        })),
        found => found,
    };
    match found {
        Some(Some(series)) => Ok(series),
        Some(None) => Err(problem(
            StatusCode::NOT_FOUND,
            "no such order",
            &format!("there is no order {order}; /api/v1/orders lists them"),
        )),
        None => Err(problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "ask again when it runs")),
    }
}

async fn from_archive(journal: &Reader, order: &str) -> Result<Option<Vec<Series>>, JournalError> {
    let Some(place) = journal.order_of(Key::Order(order)).await? else { return Ok(None) };
    let mut state = journal.at_hand().await?;
    journal.recall(&mut state, &place).await?;
    Ok(state.orders.get(order).map(|found| order_progressions(&state, found)))
}

/// The series with their gaps.
pub(super) async fn progressions(State(web): State<Web>, Path(order): Path<String>) -> Response {
    match series(&web, &order).await {
        Ok(series) => {
            let series: Vec<Value> = series.iter().map(|series| json!(series_view(series))).collect();
            Json(json!({"order": order, "progressions": series})).into_response()
        }
        Err(problem) => problem,
    }
}

/// The same as a picture.
pub(super) async fn plot(State(web): State<Web>, Path(order): Path<String>) -> Response {
    match series(&web, &order).await {
        Ok(series) => {
            let lengths = units::current().lengths.unwrap_or(web.lengths);
            let picture = svg(&format!("order {order}"), &series, language::current(), lengths);
            ([(header::CONTENT_TYPE, "image/svg+xml"), (header::CACHE_CONTROL, "no-cache")], picture).into_response()
        }
        Err(problem) => problem,
    }
}
