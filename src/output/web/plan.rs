//! An order's set planned from the numbered parts of the bench's stock: as data, and for the page.
//!
//! A plan may take some seconds of a processor, so one is made at a time, apart from the bench's task, and kept as long as
//! the order and the stock are what it was made from.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tokio::sync::Mutex;

use super::Web;
use super::api::problem;
use crate::config::stock_file::MOST_PARTS;
use crate::output::command::ask;
use crate::output::plan_view::{self, PlanView};
use crate::work_order::order::Order;
use crate::work_order::set_plan::{MatchedIn, SetPlan, plan};
use crate::work_order::stock::Stock;

/// The plan that was made last. The lock is held while one is made; whoever asks meanwhile waits.
#[derive(Debug, Default)]
pub struct Planner(Mutex<Option<Kept>>);

#[derive(Debug)]
struct Kept {
    order: Order,
    stock: Stock,
    matched_in: MatchedIn,
    plan: Result<Arc<MadePlan>, String>,
}

/// A plan with what is shown of it in every unit.
#[derive(Debug)]
pub(super) struct MadePlan {
    pub(super) plan: SetPlan,
    pub(super) view: PlanView,
    pub(super) rows: Vec<Vec<String>>,
    pub(super) remarks: Vec<String>,
}

/// What a set is matched in, as asked for.
#[derive(Deserialize)]
pub(super) struct Asked {
    #[serde(rename = "match")]
    matched: Option<String>,
}

impl Asked {
    /// As at the command line; swing weight where nothing is asked.
    pub(super) fn matched_in(&self) -> Result<MatchedIn, String> {
        match self.matched.as_deref() {
            None | Some("swing-weight") => Ok(MatchedIn::SwingWeight),
            Some("inertia") => Ok(MatchedIn::Inertia),
            Some(other) => Err(format!("\"match\" is \"{other}\", expected swing-weight or inertia")),
        }
    }
}

/// Why there is no plan.
pub(super) enum NoPlan {
    /// There is no such order at hand.
    NoOrder,
    /// It cannot be planned, in words.
    Words(String),
    /// What is asked for is nothing, in words.
    NotAsked(String),
    /// The bench is stopping.
    Stopping,
}

/// The plan of an order from what is in stock now.
pub(super) async fn planned(web: &Web, order: &str, asked_for: &Asked) -> Result<Arc<MadePlan>, NoPlan> {
    let matched_in = asked_for.matched_in().map_err(NoPlan::NotAsked)?;
    let asked = order.to_owned();
    let found =
        ask(&web.questions, move |state| Some((state.orders.get(&asked)?.clone(), state.part_stock.for_planning())));
    let (order, (stock, lacking)) = found.await.ok_or(NoPlan::Stopping)?.ok_or(NoPlan::NoOrder)?;
    for (kind, parts) in [("head", stock.heads.len()), ("shaft", stock.shafts.len()), ("grip", stock.grips.len())] {
        if parts == 0 {
            let lacks: Vec<String> = lacking.iter().map(|(part, what)| format!("{part} lacks {what}")).collect();
            let lacks = if lacks.is_empty() { String::new() } else { format!(" ({})", lacks.join(", ")) };
            return Err(NoPlan::Words(format!(
                "no {kind} in stock can be planned with{lacks}: weigh some into the stock"
            )));
        }
        if parts > MOST_PARTS {
            return Err(NoPlan::Words(format!("{parts} {kind}s are in stock, a plan takes at most {MOST_PARTS}")));
        }
    }
    let mut kept = web.planner.0.lock().await;
    let is_same = |kept: &Kept| kept.order == order && kept.stock == stock && kept.matched_in == matched_in;
    if !kept.as_ref().is_some_and(is_same) {
        let (of, from) = (order.clone(), stock.clone());
        let made = tokio::task::spawn_blocking(move || make(&of, &from, matched_in)).await;
        let plan = made.map_err(|_| NoPlan::Stopping)?;
        *kept = Some(Kept { order, stock, matched_in, plan });
    }
    match kept.as_ref().map(|kept| &kept.plan) {
        Some(Ok(plan)) => Ok(Arc::clone(plan)),
        Some(Err(words)) => Err(NoPlan::Words(words.clone())),
        None => Err(NoPlan::Stopping),
    }
}

fn make(order: &Order, stock: &Stock, matched_in: MatchedIn) -> Result<Arc<MadePlan>, String> {
    let plan = plan(order, stock, matched_in).map_err(|error| error.to_string())?;
    Ok(Arc::new(MadePlan {
        view: plan_view::plan_view(&order.number, &plan),
        rows: plan_view::rows(&plan),
        remarks: plan_view::remarks(&plan),
        plan,
    }))
}

/// The plan as data.
pub(super) async fn data(State(web): State<Web>, Path(order): Path<String>, Query(asked): Query<Asked>) -> Response {
    match planned(&web, &order, &asked).await {
        Ok(plan) => Json(&plan.view).into_response(),
        Err(NoPlan::NoOrder) => problem(
            StatusCode::NOT_FOUND,
            "no such order",
            &format!("there is no order {order} at hand; /api/v1/orders lists them"),
        ),
        Err(NoPlan::Words(words)) => problem(StatusCode::CONFLICT, "the set cannot be planned", &words),
        Err(NoPlan::NotAsked(words)) => problem(StatusCode::BAD_REQUEST, "nothing to match the set in", &words),
        Err(NoPlan::Stopping) => {
            problem(StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", "ask again when it runs")
        }
    }
}
