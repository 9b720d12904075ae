//! The plan of a set from the stock: which parts go to which club, and what each club will come out as.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::parts::{Html, said, said_here};
use super::{Shell, nothing, show, stopping};
use crate::output::plan_view::{HEAD, VALUES_HEAD, value_rows};
use crate::output::text::Lengths;
use crate::output::web::Web;
use crate::output::web::plan::{Asked, MadePlan, NoPlan, planned};
use crate::output::web::units;
use crate::work_order::set_plan::MatchedIn;

#[derive(Template)]
#[template(path = "plan.html")]
struct PlanPage<'a> {
    shell: Shell<'a>,
    order: &'a str,
    by_inertia: bool,
    plan: &'a MadePlan,
}

impl PlanPage<'_> {
    fn heading(&self) -> String {
        self.shell.with("plan.of", &[("order", self.order)])
    }

    /// The table of values, lengths in millimetres where the display likes no unit.
    fn values(&self) -> Vec<Vec<String>> {
        value_rows(&self.plan.plan, units::current().lengths.unwrap_or(Lengths::Millimetres))
    }

    fn nothing_taken(&self) -> Html {
        Html::with_code(&self.shell.with("plan.nothing_taken", &[("order", self.order)]))
    }
}

/// The page of an order's plan.
pub(in crate::output::web) async fn page(
    State(web): State<Web>,
    Path(order): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    let root = "../../";
    let by_inertia = asked.matched_in() == Ok(MatchedIn::Inertia);
    match planned(&web, &order, &asked).await {
        Ok(plan) => show(&PlanPage { shell: Shell::new(&web, root, "orders"), order: &order, by_inertia, plan: &plan }),
        Err(NoPlan::NoOrder) => {
            let words = format!("there is no order {order} at hand; the page of the orders lists them");
            nothing(&web, root, "orders", StatusCode::NOT_FOUND, "no such order", &words)
        }
        Err(NoPlan::Words(words)) => {
            // An answer to who looks at it, and no fault of the page.
            nothing(&web, root, "orders", StatusCode::OK, "the set cannot be planned", &words)
        }
        Err(NoPlan::NotAsked(words)) => {
            nothing(&web, root, "orders", StatusCode::BAD_REQUEST, "nothing to match the set in", &words)
        }
        Err(NoPlan::Stopping) => stopping(&web, root, "orders"),
    }
}
