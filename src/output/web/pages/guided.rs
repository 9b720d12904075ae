//! Guided pages of one instrument: a check with a weight or a block of known angles, and a calibration with as-found before as-left readings.
//!
//! What a page shows follows from the journal alone, so a calibration begun at the terminal goes on here and the other
//! way round. Deeds are commands; nothing happens by looking at a page.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::parts::{ChartPart, PlacementsPart, SignPart, clear_then_lay, minute, phase, said, said_text, shows};
use super::{Shell, nothing, show, stopping};
use crate::measurement::check_weight::WeightClass;
use crate::output::command::ask;
use crate::output::trust_detail::{TrustDetail, trust_detail};
use crate::output::view::InstrumentView;
use crate::output::web::Web;

/// From these pages up to the root.
const ROOT: &str = "../../";

/// What both pages know.
struct Guided {
    view: Arc<InstrumentView>,
    trust: TrustDetail,
}

#[derive(Template)]
#[template(path = "check.html")]
struct CheckPage<'a> {
    shell: Shell<'a>,
    view: &'a InstrumentView,
    trust: &'a TrustDetail,
}

#[derive(Template)]
#[template(path = "calibrate.html")]
struct CalibratePage<'a> {
    shell: Shell<'a>,
    view: &'a InstrumentView,
    trust: &'a TrustDetail,
}

impl CheckPage<'_> {
    fn charts(&self) -> Vec<ChartPart<'_>> {
        ChartPart::all(self.trust, &self.view.name)
    }
}

impl CalibratePage<'_> {
    /// Which of the steps it is at: 1 begin, 2 as found, 3 as left.
    fn step(&self) -> u8 {
        match &self.trust.under_way {
            None => 1,
            Some(under_way) if !under_way.adjusted => 2,
            Some(_) => 3,
        }
    }
}

/// The check.
pub(in crate::output::web) async fn check(State(web): State<Web>, Path(id): Path<String>) -> Response {
    match find(&web, &id).await {
        Ok(guided) => {
            show(&CheckPage { shell: Shell::new(&web, ROOT, "instruments"), view: &guided.view, trust: &guided.trust })
        }
        Err(answer) => *answer,
    }
}

/// The calibration.
pub(in crate::output::web) async fn calibrate(State(web): State<Web>, Path(id): Path<String>) -> Response {
    match find(&web, &id).await {
        Ok(guided) => show(&CalibratePage {
            shell: Shell::new(&web, ROOT, "instruments"),
            view: &guided.view,
            trust: &guided.trust,
        }),
        Err(answer) => *answer,
    }
}

async fn find(web: &Web, id: &str) -> Result<Guided, Box<Response>> {
    let (snapshot, now) = (Arc::clone(&web.snapshots.borrow()), web.clock.now());
    let Some(view) = snapshot.instruments.iter().find(|view| view.id == id).cloned() else {
        let words = format!("there is no instrument {id} on this bench");
        return Err(Box::new(nothing(web, ROOT, "instruments", StatusCode::NOT_FOUND, "no such instrument", &words)));
    };
    let asked = id.to_owned();
    let trust = ask(&web.questions, move |state| trust_detail(state, &asked, now.at_us)).await;
    let Some(trust) = trust else { return Err(Box::new(stopping(web, ROOT, "instruments"))) };
    if trust.kind.is_empty() {
        let words = format!("the {} measures nothing, so there is nothing to check or calibrate", view.name);
        return Err(Box::new(nothing(web, ROOT, "instruments", StatusCode::NOT_FOUND, "nothing to check", &words)));
    }
    Ok(Guided { view, trust })
}

/// The classes of weights, for the choice.
fn classes() -> impl Iterator<Item = &'static str> {
    WeightClass::ALL.into_iter().map(WeightClass::name)
}
