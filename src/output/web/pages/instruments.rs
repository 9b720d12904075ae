//! The page of the instruments: what each shows now, how quiet it is, what is refused of it, and how far it is trusted.

use std::sync::Arc;

use askama::Template;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::parts::{ChartPart, SignPart, minute, phase, said, said_here, said_text, shows, t_code};
use super::{Shell, show, stopping};
use crate::output::command::ask;
use crate::output::trust_detail::{TrustDetail, trust_detail};
use crate::output::trust_view;
use crate::output::view::InstrumentView;
use crate::output::web::Web;
use crate::output::web::api::problem;
use crate::output::web::live;
use crate::output::web::units;

#[derive(Template)]
#[template(path = "instruments.html")]
struct InstrumentsPage<'a> {
    shell: Shell<'a>,
    instruments: &'a [Instrument],
}

/// One instrument with the trust in it.
struct Instrument {
    view: Arc<InstrumentView>,
    trust: TrustDetail,
}

impl Instrument {
    fn measures(&self) -> bool {
        !self.trust.kind.is_empty()
    }

    fn phase(&self) -> String {
        phase(self.view.phase)
    }

    /// The unit of its trace.
    fn unit(&self) -> &str {
        units::current().numbers(None, self.view.level.level_unit).unit
    }

    fn charts(&self) -> Vec<ChartPart<'_>> {
        ChartPart::all(&self.trust, &self.view.name)
    }
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>) -> Response {
    let (snapshot, now) = (Arc::clone(&web.snapshots.borrow()), web.clock.now());
    let ids: Vec<String> = snapshot.instruments.iter().map(|view| view.id.clone()).collect();
    let trusts =
        ask(&web.questions, move |state| ids.iter().map(|id| trust_detail(state, id, now.at_us)).collect::<Vec<_>>());
    let Some(trusts) = trusts.await else { return stopping(&web, "", "instruments") };
    let together = snapshot.instruments.iter().cloned().zip(trusts);
    let instruments: Vec<Instrument> = together.map(|(view, trust)| Instrument { view, trust }).collect();
    show(&InstrumentsPage { shell: Shell::new(&web, "", "instruments"), instruments: &instruments })
}

/// One instrument with its checks and calibration, as JSON.
pub(in crate::output::web) async fn one(State(web): State<Web>, Path(id): Path<String>) -> Response {
    let (snapshot, now) = (Arc::clone(&web.snapshots.borrow()), web.clock.now());
    let Some(index) = snapshot.instruments.iter().position(|view| view.id == id) else {
        let detail = format!("there is no instrument {id}; /api/v1/instruments lists them");
        return problem(StatusCode::NOT_FOUND, "no such instrument", &detail);
    };
    let checks = ask(&web.questions, move |state| trust_view::instrument(state, &id, now.at_us)).await;
    let Some(checks) = checks else {
        return problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "ask again when it runs");
    };
    let mut instrument = live::instruments(&snapshot, now).get(index).cloned().unwrap_or_default();
    if let Some(fields) = instrument.as_object_mut() {
        fields.insert("checks".to_owned(), checks);
    }
    Json(json!(instrument)).into_response()
}
