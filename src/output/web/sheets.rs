//! Build sheets over HTTP, and what the matrix code of a printed sheet leads to.

use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::Web;
use super::api::problem;
use crate::output::record;
use crate::output::sheet::{self, Paper, Print};

#[derive(Deserialize)]
pub(super) struct Wanted {
    paper: Option<String>,
}

/// The sheet of a club as it is now, by its id or token: a PDF to look at.
pub(super) async fn sheet(State(web): State<Web>, Path(club): Path<String>, Query(wanted): Query<Wanted>) -> Response {
    let paper = match wanted.paper.as_deref() {
        None | Some("a4") => Paper::A4,
        Some("letter") => Paper::Letter,
        Some(other) => {
            return problem(
                StatusCode::BAD_REQUEST,
                "no such paper",
                &format!("\"{other}\" is not a paper: a4, letter"),
            );
        }
    };
    let subject = match record::subject(&web.questions, &web.journal, &club).await {
        Ok(subject) => subject,
        Err(words) => {
            let detail = format!("{words}; /api/v1/records lists what there is");
            return problem(StatusCode::NOT_FOUND, "no such record", &detail);
        }
    };
    let print = Print {
        paper,
        lengths: web.lengths,
        bench: format!("{}, {}", web.site, web.bench),
        url: web.url.clone(),
        printed_us: web.clock.now().at_us,
        zone: web.zone.clone(),
        font: None,
    };
    // Cutting a font to its used letters takes a while; the page must not wait for it.
    match tokio::task::spawn_blocking(move || sheet::club_sheet(&subject, &print)).await {
        Ok(Ok(bytes)) => {
            ([(header::CONTENT_TYPE, "application/pdf"), (header::CACHE_CONTROL, "no-store")], bytes).into_response()
        }
        Ok(Err(error)) => problem(StatusCode::INTERNAL_SERVER_ERROR, "no sheet", &error.to_string()),
        Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, "no sheet", &error.to_string()),
    }
}

/// What a printed code leads a telephone to: the record's own page. Tickets are printed in capitals, tokens are kept in small
/// letters.
pub(super) async fn ticket(Path(token): Path<String>) -> Redirect {
    let plain: String = token.chars().filter(char::is_ascii_alphanumeric).collect();
    Redirect::to(&format!("/records/{}", plain.to_ascii_lowercase()))
}

/// The published schema of records.
pub(super) async fn schema() -> Response {
    ([(header::CONTENT_TYPE, "application/schema+json")], record::SCHEMA).into_response()
}
