//! Pages and API of gauge studies: what to lay on next while one is under way, what it found when it is done.

use askama::Template;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use serde_json::{Value, json};

use super::Web;
use super::api::{answered, problem};
use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::output::command::ask;
use crate::output::{study_plot, study_view};
use crate::work_order::study::Study;
use crate::work_order::study_plan::StudyStage;

/// Everything about one study that its page shows, taken out of the state at one moment.
struct Moment {
    study: Study,
    operator: Option<String>,
    resolution: f64,
}

async fn moment(web: &Web, name: String) -> Option<Option<Moment>> {
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

fn page(template: &impl Template) -> Response {
    match template.render() {
        Ok(html) => Html(html).into_response(),
        Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, "the page could not be made", &error.to_string()),
    }
}

#[derive(Template)]
#[template(path = "studies.html")]
struct ListPage<'a> {
    bench_name: &'a str,
    studies: Vec<Line>,
    instruments: Vec<(String, String)>,
    characteristics: Vec<(&'static str, &'static str)>,
}

struct Line {
    study: String,
    instrument: String,
    begun: String,
    stage: &'static str,
    done: usize,
    of: usize,
}

/// The page that lists studies and begins one.
pub(super) async fn list_page(State(web): State<Web>) -> Response {
    let lines = ask(&web.questions, |state| {
        let line = |study: &Study| Line {
            study: study.plan.study.clone(),
            instrument: study.plan.instrument.clone(),
            begun: day(study.begun_us),
            stage: stage_words(study.stage),
            done: study.done(),
            of: study.order.len(),
        };
        state.studies.list.iter().rev().map(line).collect::<Vec<Line>>()
    });
    let Some(studies) = lines.await else { return answered(None) };
    let snapshot = web.snapshots.borrow().clone();
    let measures = snapshot.instruments.iter().filter(|view| matches!(view.kind, "scale" | "beam" | "gauge"));
    page(&ListPage {
        bench_name: &web.bench,
        studies,
        instruments: measures.map(|view| (view.id.clone(), view.name.clone())).collect(),
        characteristics: Characteristic::all().map(|c| (c.name(), c.label())).collect(),
    })
}

#[derive(Template)]
#[template(path = "study.html")]
struct StudyPage<'a> {
    bench_name: &'a str,
    study: &'a str,
    instrument: &'a str,
    about: String,
    people: String,
    begun: String,
    revision: String,
    stage: &'static str,
    under_way: bool,
    open: bool,
    why: Option<&'a str>,
    done: usize,
    of: usize,
    next: Option<Next<'a>>,
    warnings: Vec<String>,
    commands: Commands,
    found: Option<Found>,
}

struct Next<'a> {
    part: u8,
    person: &'a str,
    trial: u8,
    trials: u8,
    is_there: bool,
    operator: &'a str,
}

/// What the buttons send.
struct Commands {
    operator: String,
    take_back: String,
    set_aside: String,
    resume: String,
    break_off: String,
}

struct Found {
    findings: Vec<String>,
    fitness: &'static str,
    head: Vec<&'static str>,
    rows: Vec<Vec<String>>,
    takes: String,
    comes_from: String,
    stands_out: String,
    pooled: bool,
    chance: Option<String>,
}

/// The page of one study.
pub(super) async fn one_page(State(web): State<Web>, Path(name): Path<String>) -> Response {
    let Moment { study, operator, resolution } = match moment(&web, name.clone()).await {
        Some(Some(moment)) => moment,
        other => return missing(other.is_none(), &name),
    };
    let plan = &study.plan;
    let (open, under_way) = (study.stage == StudyStage::Open, study.is_under_way());
    let next = study.next().filter(|_| under_way).map(|(_, cell)| Next {
        part: cell.part + 1,
        person: study.person(cell),
        trial: cell.trial + 1,
        trials: plan.trials,
        is_there: operator.as_deref() == Some(study.person(cell)),
        operator: operator.as_deref().unwrap_or("nobody"),
    });
    let command = |name: &str| json!({"command": name, "study": plan.study}).to_string();
    let to_operator = next.as_ref().map_or(Value::Null, |next| json!(next.person));
    let what = plan.characteristic.map_or(plan.quantity.name(), |characteristic| characteristic.label());
    let tolerance = plan.tolerance.as_ref().map_or("no tolerance".to_owned(), |of| format!("tolerance {}", of.text));
    page(&StudyPage {
        bench_name: &web.bench,
        study: &plan.study,
        instrument: &plan.instrument,
        about: format!("{what}, {} parts, {} trials, {tolerance}", plan.parts, plan.trials),
        people: plan.people.join(", "),
        begun: day(study.begun_us),
        revision: format!("{}-{}-{}", study.stage.name(), study.done(), operator.as_deref().unwrap_or_default()),
        stage: stage_words(study.stage),
        under_way,
        open,
        why: study.why.as_deref(),
        done: study.done(),
        of: study.order.len(),
        warnings: plan.warnings(resolution),
        commands: Commands {
            operator: json!({"command": "operator", "operator": to_operator}).to_string(),
            take_back: command("study_take_back"),
            set_aside: command("study_set_aside"),
            resume: command("study_resume"),
            break_off: command("study_break_off"),
        },
        found: if under_way { None } else { found(&study) },
        next,
    })
}

fn found(study: &Study) -> Option<Found> {
    let result = study.result()?;
    let (head, rows) = study_view::comparison(study, &result);
    Some(Found {
        findings: study_view::findings(study, &result),
        fitness: study_view::fitness(study, &result).map_or("unknown", |fitness| fitness.name()),
        head,
        rows,
        takes: study_plot::takes(study, &result),
        comes_from: study_plot::comes_from(&result),
        stands_out: study_plot::stands_out(study, &result),
        pooled: result.pooled,
        chance: result.anova.interaction_significance.map(|p| format!("{p:.3}")),
    })
}

fn stage_words(stage: StudyStage) -> &'static str {
    match stage {
        StudyStage::Open => "open",
        StudyStage::Aside => "set aside",
        StudyStage::Finished => "finished",
        StudyStage::BrokenOff => "broken off",
    }
}

/// Date and minute, UTC.
fn day(at_us: i64) -> String {
    let text = rfc3339(at_us);
    let minute = text.get(..16).unwrap_or(&text).replace('T', " ");
    format!("{minute} UTC")
}
