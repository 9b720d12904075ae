//! The API: reads as JSON, one door for commands, errors as problems (RFC 9457).

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::oneshot;

use super::{Web, live};
use crate::config::document::Mistake;
use crate::journal::archive::Search;
use crate::journal::event::parse_rfc3339;
use crate::journal::store::{BATCH, Reader};
use crate::output::command::{CommandRequest, ask, import_mistakes};
use crate::output::lists::{order_list, record_list};
use crate::output::payload;
use crate::output::{drawer_view, part_view, record, trust_view};
use crate::work_order::state::State as BenchState;

/// A problem as RFC 9457 wants it.
pub(super) fn problem(status: StatusCode, title: &str, detail: &str) -> Response {
    let body = json!({"type": "about:blank", "title": title, "status": status.as_u16(), "detail": detail});
    (status, [(header::CONTENT_TYPE, "application/problem+json")], body.to_string()).into_response()
}

pub(super) async fn not_found() -> Response {
    problem(StatusCode::NOT_FOUND, "not found", "nothing is served here; the page is at /, the API under /api/v1/")
}

pub(super) async fn wrong_method() -> Response {
    problem(
        StatusCode::METHOD_NOT_ALLOWED,
        "wrong method",
        "this address is read with GET, commands are sent with POST",
    )
}

pub(super) async fn state(State(web): State<Web>) -> Json<Value> {
    let snapshot = Arc::clone(&web.snapshots.borrow());
    Json(live::state(&web, &snapshot, &web.banners()))
}

/// The instruments with their checks and calibrations.
pub(super) async fn instruments(State(web): State<Web>) -> Response {
    let snapshot = Arc::clone(&web.snapshots.borrow());
    let (ids, now): (Vec<String>, _) =
        (snapshot.instruments.iter().map(|view| view.id.clone()).collect(), web.clock.now());
    let trusts = ask(&web.questions, move |state| -> Vec<Value> {
        ids.iter().map(|id| trust_view::instrument(state, id, now.at_us)).collect()
    });
    let trusts = trusts.await;
    let mut instruments = live::instruments(&snapshot, now);
    for (instrument, trust) in instruments.as_array_mut().into_iter().flatten().zip(trusts.unwrap_or_default()) {
        if let Some(instrument) = instrument.as_object_mut() {
            instrument.insert("checks".to_owned(), trust);
        }
    }
    Json(json!({"instruments": instruments})).into_response()
}

pub(super) async fn orders(State(web): State<Web>) -> Response {
    answered(ask(&web.questions, order_list).await)
}

/// What records are looked for by; times in RFC 3339.
#[derive(Deserialize)]
pub(super) struct Wanted {
    order: Option<String>,
    player: Option<String>,
    lot: Option<String>,
    club: Option<String>,
    since: Option<String>,
    until: Option<String>,
    #[serde(default)]
    out_of_tolerance: bool,
    limit: Option<u32>,
}

/// Most lines of one answer, and how many come unasked.
const LINES: (u32, u32) = (5000, 500);

pub(super) async fn records(State(journal): State<Reader>, Query(wanted): Query<Wanted>) -> Response {
    let time = |text: Option<&String>| match text.map(|text| parse_rfc3339(text).ok_or(text)) {
        Some(Err(text)) => Err(format!("\"{text}\" is not a time such as 2026-11-26T14:30:00Z")),
        Some(Ok(at_us)) => Ok(Some(at_us)),
        None => Ok(None),
    };
    let (since_us, until_us) = match (time(wanted.since.as_ref()), time(wanted.until.as_ref())) {
        (Ok(since), Ok(until)) => (since, until),
        (Err(reason), _) | (_, Err(reason)) => return problem(StatusCode::BAD_REQUEST, "bad time", &reason),
    };
    let limit = wanted.limit.unwrap_or(LINES.1).clamp(1, LINES.0);
    let Wanted { order, player, lot, club, out_of_tolerance: out, .. } = wanted;
    match journal.search(&Search { order, player, lot, club, since_us, until_us, out, limit }).await {
        Ok(found) => Json(record_list(&found)).into_response(),
        Err(error) => problem(StatusCode::SERVICE_UNAVAILABLE, "the journal cannot be read", &error.to_string()),
    }
}

/// Everything in the drawers with what is left.
pub(super) async fn drawers(State(web): State<Web>) -> Response {
    answered(ask(&web.questions, |state| json!({"stock": drawer_view::stock(state)})).await)
}

/// Numbered parts in stock, and the intake that is open.
pub(super) async fn parts(State(web): State<Web>, Query(which): Query<Parts>) -> Response {
    let find = move |state: &BenchState| json!({"intake": part_view::open_intake(state), "parts": part_view::parts(state, which.all)});
    answered(ask(&web.questions, find).await)
}

/// Which parts.
#[derive(Deserialize)]
pub(super) struct Parts {
    #[serde(default)]
    all: bool,
}

pub(super) fn answered(answer: Option<Value>) -> Response {
    match answer {
        Some(answer) => Json(answer).into_response(),
        None => problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "ask again when it runs"),
    }
}

pub(super) async fn record(State(web): State<Web>, Path(club): Path<String>) -> Response {
    match record::find(&web.questions, &web.journal, web.lengths, &club).await {
        Ok(record) => Json(json!(record)).into_response(),
        Err(words) => {
            problem(StatusCode::NOT_FOUND, "no such record", &format!("{words}; /api/v1/records lists what there is"))
        }
    }
}

#[derive(Deserialize)]
pub(super) struct After {
    after: Option<String>,
}

/// Events behind a place, for consumers that found a gap. `after` is `EPOCH,SEQ` or `SEQ`.
pub(super) async fn events(State(journal): State<Reader>, Query(query): Query<After>) -> Response {
    let after = query.after.unwrap_or_else(|| "0".to_owned());
    let (epoch, seq) = match after.split_once(',') {
        Some((epoch, seq)) => (epoch.parse::<u64>().ok(), seq.parse::<u64>().ok()),
        None => (Some(journal.epoch()), after.parse::<u64>().ok()),
    };
    let (Some(epoch), Some(seq)) = (epoch, seq) else {
        return problem(
            StatusCode::BAD_REQUEST,
            "bad place",
            &format!("after is \"{after}\", expected EPOCH,SEQ as in an event, for example {},0", journal.epoch()),
        );
    };
    // Another journal's place says nothing about this one: from the beginning.
    let seq = if epoch == journal.epoch() { seq } else { 0 };
    match journal.after(seq, BATCH).await {
        Ok(rows) => {
            let events: Vec<Value> = rows
                .iter()
                .filter_map(|row| {
                    let mut event: Value = serde_json::from_str(&row.body).ok()?;
                    event.as_object_mut()?.insert("chain".to_owned(), json!(row.hash));
                    Some(event)
                })
                .collect();
            let more = i64::try_from(rows.len()).unwrap_or(0) == BATCH;
            Json(json!({"epoch": journal.epoch(), "events": events, "more": more})).into_response()
        }
        Err(error) => problem(StatusCode::SERVICE_UNAVAILABLE, "the journal cannot be read", &error.to_string()),
    }
}

pub(super) async fn command(State(web): State<Web>, body: Result<Json<Value>, JsonRejection>) -> Response {
    let json = match body {
        Ok(Json(json)) => json,
        Err(rejection) => {
            return problem(StatusCode::BAD_REQUEST, "not a command", &rejection.body_text());
        }
    };
    if let Some(mistakes) = import_mistakes(&json) {
        return not_imported(&json, &mistakes.0);
    }
    let (reply, answer) = oneshot::channel();
    if web.commands.send(CommandRequest { json, reply }).await.is_err() {
        return problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "nothing was changed");
    }
    match answer.await {
        Ok(Ok(said)) => Json(payload::done(&said)).into_response(),
        Ok(Err(reason)) => problem(StatusCode::UNPROCESSABLE_ENTITY, "not done", &reason),
        Err(_) => problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "nothing was changed"),
    }
}

/// What the API offers, after OpenAPI 3.1.
pub(super) async fn description() -> Response {
    ([(header::CONTENT_TYPE, "application/json")], include_str!("openapi.json")).into_response()
}

/// What is published over MQTT, after AsyncAPI 3.0.
pub(super) async fn topics() -> Response {
    ([(header::CONTENT_TYPE, "application/json")], crate::output::mqtt::description::description()).into_response()
}

/// The mistakes of order files that were not taken in, each with the text of its line.
fn not_imported(command: &Value, mistakes: &[Mistake]) -> Response {
    let one = std::slice::from_ref(command);
    let files = command.get("files").and_then(Value::as_array).map_or(one, Vec::as_slice);
    let of_line = |mistake: &Mistake| {
        let is_it = |file: &&Value| file.get("file").and_then(Value::as_str).unwrap_or("order") == mistake.file;
        let text = files.iter().find(is_it).and_then(|file| file.get("text")).and_then(Value::as_str);
        text.unwrap_or_default().lines().nth(mistake.line.saturating_sub(1)).unwrap_or_default()
    };
    let detail: Vec<String> = mistakes.iter().map(ToString::to_string).collect();
    let mistakes: Vec<Value> = mistakes
        .iter()
        .map(|m| {
            json!({"file": m.file, "line": m.line, "key": m.key, "found": m.found, "wanted": m.wanted, "text": of_line(m)})
        })
        .collect();
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    let body = json!({"type": "about:blank", "title": "not done", "status": status.as_u16(), "detail": detail.join("\n"), "mistakes": mistakes});
    (status, [(header::CONTENT_TYPE, "application/problem+json")], body.to_string()).into_response()
}

pub(super) async fn health() -> &'static str {
    "ok\n"
}

/// Ready means that the bench task still makes progress: its beat is young and the journal takes events.
pub(super) async fn ready(State(web): State<Web>) -> Response {
    let snapshot = Arc::clone(&web.snapshots.borrow());
    let age_s = (web.clock.now().t_s - snapshot.stamp.t_s) / web.clock.pace();
    match web.banners().into_iter().find(|banner| banner.level == "fault") {
        None if age_s < 5.0 => "ready\n".into_response(),
        None => {
            problem(StatusCode::SERVICE_UNAVAILABLE, "the bench stands still", &format!("no beat for {age_s:.0} s"))
        }
        Some(fault) => problem(StatusCode::SERVICE_UNAVAILABLE, &fault.text, &fault.remedy),
    }
}
