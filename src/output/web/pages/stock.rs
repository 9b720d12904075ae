//! The stock: the intake that is open and the numbered parts.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::parts::{Html, here, t_code};
use super::{Shell, nothing, show, stopping};
use crate::output::command::ask;
use crate::output::part_view::{self, IntakeView, NumberedPartView};
use crate::output::sheet;
use crate::output::web::Web;
use crate::work_order::state::State as BenchState;

/// How many parts are shown; `stock list` and the API have all of them.
const SHOWN: usize = 200;

#[derive(Template)]
#[template(path = "stock.html")]
struct StockPage<'a> {
    shell: Shell<'a>,
    stock: &'a Stock,
}

impl StockPage<'_> {
    fn open_words(&self, open: &IntakeView) -> String {
        let key = format!("stock.open.{}", open.kind);
        self.shell.with(&key, &[("intake", &open.intake), ("instrument", &open.instrument)])
    }

    fn lay_words(&self, open: &IntakeView) -> Html {
        Html::with_code(&self.shell.with(&format!("stock.lay.{}", open.kind), &[("next", &open.next)]))
    }

    fn more_words(&self) -> Html {
        Html::with_code(&self.shell.with("stock.more", &[("n", &self.stock.more.to_string())]))
    }
}

struct Stock {
    open: Option<IntakeView>,
    /// Parts of the open intake, newest first.
    row: Vec<NumberedPartView>,
    /// The other parts in stock, newest first.
    others: Vec<NumberedPartView>,
    /// How many are not shown.
    more: usize,
    /// The last intake, for its labels.
    last: Option<String>,
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>) -> Response {
    match ask(&web.questions, stock).await {
        Some(stock) => show(&StockPage { shell: Shell::new(&web, "", "stock"), stock: &stock }),
        None => stopping(&web, "", "stock"),
    }
}

fn stock(state: &BenchState) -> Stock {
    let open = part_view::open_intake(state);
    let of_open = |part: &NumberedPartView| open.as_ref().is_some_and(|open| open.intake == part.intake);
    let (row, mut others): (Vec<_>, Vec<_>) = part_view::parts(state, false).into_iter().partition(of_open);
    let more = others.len().saturating_sub(SHOWN);
    others.truncate(SHOWN);
    let last = state.part_stock.intakes.last().map(|intake| intake.intake.clone());
    Stock { row, others, more, last, open }
}

/// Which labels are wanted.
#[derive(Deserialize)]
pub(in crate::output::web) struct Wanted {
    intake: Option<String>,
    part: Option<String>,
}

/// Labels of an intake or of one part, as PDF.
pub(in crate::output::web) async fn labels(State(web): State<Web>, Query(wanted): Query<Wanted>) -> Response {
    let find = move |state: &BenchState| match (&wanted.part, &wanted.intake) {
        (Some(part), _) => state.part_stock.part(part).map(part_view::numbered_part).into_iter().collect::<Vec<_>>(),
        (None, Some(intake)) => state.part_stock.of_intake(intake).map(part_view::numbered_part).collect(),
        (None, None) => Vec::new(),
    };
    let Some(parts) = ask(&web.questions, find).await else { return stopping(&web, "../", "stock") };
    if parts.is_empty() {
        let words = "name an intake or a part that there is; the page of the stock has both";
        return nothing(&web, "../", "stock", StatusCode::NOT_FOUND, "no part to label", words);
    }
    match sheet::part_labels(&parts) {
        Ok(bytes) => ([(header::CONTENT_TYPE, "application/pdf")], bytes).into_response(),
        Err(error) => {
            let status = StatusCode::INTERNAL_SERVER_ERROR;
            nothing(&web, "../", "stock", status, "the labels could not be made", &error.to_string())
        }
    }
}
