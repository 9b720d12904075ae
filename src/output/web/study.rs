//! Gauge studies as JSON.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::Web;
use super::api::{answered, problem};
use crate::output::command::ask;
use crate::output::study_view;
use crate::work_order::study::Study;

/// Everything about one study that its page shows, taken out of the state at one moment.
pub(super) struct Moment {
    pub(super) study: Study,
    pub(super) operator: Option<String>,
    pub(super) resolution: f64,
}

/// That of the study with this name, if there is one; nothing while the bench is stopping.
pub(super) async fn moment(web: &Web, name: String) -> Option<Option<Moment>> {
    ask(&web.questions, move |state| {
        state.studies.get(&name).map(|study| Moment {
            study: study.clone(),
            operator: state.operator.clone(),
            resolution: study_view::resolution(state, &study.plan.instrument),
        })
    })
    .await
}

/// All studies as JSON.
pub(super) async fn list(State(web): State<Web>) -> Response {
    answered(ask(&web.questions, study_view::list).await)
}

/// One study as JSON.
pub(super) async fn one(State(web): State<Web>, Path(name): Path<String>) -> Response {
    match moment(&web, name.clone()).await {
        Some(Some(Moment { study, operator, resolution })) => {
            Json(study_view::whole(&study, operator.as_deref(), resolution)).into_response()
        }
        other => missing(other.is_none(), &name),
    }
}

fn missing(stopping: bool, name: &str) -> Response {
    if stopping {
        return answered(None);
    }
    problem(StatusCode::NOT_FOUND, "no such study", &format!("there is no study {name}; /studies lists them"))
}
