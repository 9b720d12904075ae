//! Pages of gauge studies: what to lay on next while one is under way, what it found when it is done.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::parts::{here, minute, said, said_here, t, t_code};
use super::{Shell, nothing, show, stopping};
use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::output::command::ask;
use crate::output::web::Web;
use crate::output::web::language;
use crate::output::web::study::{Moment, moment};
use crate::output::{study_plot, study_view};
use crate::work_order::study::Study;
use crate::work_order::study_plan::StudyStage;

#[derive(Template)]
#[template(path = "studies.html")]
struct ListPage<'a> {
    shell: Shell<'a>,
    studies: Vec<Line>,
    instruments: Vec<(String, String)>,
    characteristics: Vec<&'static str>,
}

struct Line {
    study: String,
    instrument: String,
    begun: String,
    stage: &'static str,
    done: usize,
    of: usize,
}

impl ListPage<'_> {
    fn done_of(&self, done: usize, of: usize) -> String {
        done_of(done, of)
    }
}

fn done_of(done: usize, of: usize) -> String {
    super::parts::with("studies.done_of", &[("done", &done.to_string()), ("of", &of.to_string())])
}

/// The page that lists studies and begins one.
pub(in crate::output::web) async fn list(State(web): State<Web>) -> Response {
    let lines = ask(&web.questions, |state| {
        let line = |study: &Study| Line {
            study: study.plan.study.clone(),
            instrument: study.plan.instrument.clone(),
            begun: rfc3339(study.begun_us),
            stage: stage_code(study.stage),
            done: study.done(),
            of: study.order.len(),
        };
        state.studies.list.iter().rev().map(line).collect::<Vec<Line>>()
    });
    let Some(studies) = lines.await else { return stopping(&web, "", "studies") };
    let snapshot = web.snapshots.borrow().clone();
    let measures = snapshot.instruments.iter().filter(|view| matches!(view.kind, "scale" | "beam" | "gauge"));
    show(&ListPage {
        shell: Shell::new(&web, "", "studies"),
        studies,
        instruments: measures.map(|view| (view.id.clone(), view.name.clone())).collect(),
        characteristics: Characteristic::all().map(Characteristic::name).collect(),
    })
}

#[derive(Template)]
#[template(path = "study.html")]
struct StudyPage<'a> {
    shell: Shell<'a>,
    study: &'a str,
    instrument: &'a str,
    about: String,
    people: String,
    begun: String,
    stage: &'static str,
    under_way: bool,
    open: bool,
    why: Option<&'a str>,
    done: usize,
    of: usize,
    next: Option<Next<'a>>,
    warnings: Vec<String>,
    found: Option<Found>,
}

struct Next<'a> {
    part: String,
    person: &'a str,
    trial: String,
    trials: String,
    is_there: bool,
    operator: String,
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

impl StudyPage<'_> {
    fn heading(&self) -> String {
        format!("{} · {}", self.study, self.instrument)
    }

    fn done_of(&self, done: usize, of: usize) -> String {
        done_of(done, of)
    }

    fn when_resumed(&self, next: &Next<'_>) -> String {
        self.shell.with("studies.resumed", &[("part", &next.part), ("person", next.person)])
    }

    fn lay_part(&self, next: &Next<'_>) -> String {
        self.shell.with("studies.lay", &[("part", &next.part)])
    }

    fn by_whom(&self, next: &Next<'_>) -> String {
        let values = [("person", next.person), ("trial", next.trial.as_str()), ("trials", next.trials.as_str())];
        self.shell.with("studies.by", &values)
    }

    fn is_next(&self, next: &Next<'_>) -> String {
        self.shell.with("studies.next", &[("person", next.person)])
    }

    fn how_next(&self, next: &Next<'_>) -> String {
        let who = [("operator", next.operator.as_str()), ("person", next.person), ("part", next.part.as_str())];
        let which = [("trial", next.trial.as_str()), ("trials", next.trials.as_str())];
        self.shell.with("studies.next.how", &[who.as_slice(), which.as_slice()].concat())
    }

    fn i_am(&self, next: &Next<'_>) -> String {
        self.shell.with("studies.i_am", &[("person", next.person)])
    }

    fn chance_words(&self, chance: &str) -> String {
        self.shell.with("studies.chance", &[("chance", chance)])
    }
}

/// The page of one study.
pub(in crate::output::web) async fn one(State(web): State<Web>, Path(name): Path<String>) -> Response {
    let Moment { study, operator, resolution } = match moment(&web, name.clone()).await {
        Some(Some(moment)) => moment,
        Some(None) => {
            let words = format!("there is no study {name}; the page /studies lists them");
            return nothing(&web, "../", "studies", StatusCode::NOT_FOUND, "no such study", &words);
        }
        None => return stopping(&web, "../", "studies"),
    };
    let plan = &study.plan;
    let (open, under_way) = (study.stage == StudyStage::Open, study.is_under_way());
    let next = study.next().filter(|_| under_way).map(|(_, cell)| Next {
        part: (cell.part + 1).to_string(),
        person: study.person(cell),
        trial: (cell.trial + 1).to_string(),
        trials: plan.trials.to_string(),
        is_there: operator.as_deref() == Some(study.person(cell)),
        operator: operator.clone().unwrap_or_else(|| t("studies.nobody")),
    });
    let shell = Shell::new(&web, "../", "studies");
    let what = t_code(plan.characteristic.map_or(plan.quantity.name(), Characteristic::name));
    let tolerance = match &plan.tolerance {
        Some(tolerance) => shell.with("studies.with_tolerance", &[("tolerance", &here(&tolerance.text))]),
        None => t("studies.no_tolerance"),
    };
    let (parts, trials) = (plan.parts.to_string(), plan.trials.to_string());
    let about = [("what", what.as_str()), ("parts", &parts), ("trials", &trials), ("tolerance", &tolerance)];
    show(&StudyPage {
        about: shell.with("studies.about", &about),
        shell,
        study: &plan.study,
        instrument: &plan.instrument,
        people: plan.people.join(", "),
        begun: rfc3339(study.begun_us),
        stage: stage_code(study.stage),
        under_way,
        open,
        why: study.why.as_deref(),
        done: study.done(),
        of: study.order.len(),
        warnings: plan.warnings(resolution),
        found: if under_way { None } else { found(&study) },
        next,
    })
}

fn found(study: &Study) -> Option<Found> {
    let result = study.result()?;
    let (head, rows) = study_view::comparison(study, &result);
    let language = language::current();
    let say = |text: &str| here(&language.said(text));
    Some(Found {
        findings: study_view::findings(study, &result),
        fitness: study_view::fitness(study, &result).map_or("unknown", |fitness| fitness.name()),
        head,
        rows,
        takes: study_plot::takes(study, &result, &say),
        comes_from: study_plot::comes_from(&result, &say),
        stands_out: study_plot::stands_out(study, &result, &say),
        pooled: result.pooled,
        chance: result.anova.interaction_significance.map(|p| format!("{p:.3}")),
    })
}

/// The code of a stage that the pages have words for.
fn stage_code(stage: StudyStage) -> &'static str {
    match stage {
        StudyStage::Open => "open",
        StudyStage::Aside => "set_aside",
        StudyStage::Finished => "finished",
        StudyStage::BrokenOff => "broken_off",
    }
}
