//! The queue of orders, and the door for new ones.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::parts::{SignPart, said};
use super::{Shell, show, stopping};
use crate::output::command::ask;
use crate::output::web::Web;
use crate::output::work_view::{ClubLine, OrderView, order_view};
use crate::work_order::state::State as BenchState;

/// How many waiting orders are shown with their clubs.
const WHOLE_SHOWN: usize = 8;
/// How many more are shown by their number.
const LATER_SHOWN: usize = 40;
/// How many finished orders are listed; the records list every club.
const FINISHED_SHOWN: usize = 10;

#[derive(Template)]
#[template(path = "orders.html")]
struct OrdersPage<'a> {
    shell: Shell<'a>,
    queue: &'a Queue,
}

impl OrdersPage<'_> {
    /// Words of a message with the one value that it has.
    fn with(&self, key: &str, value: &str) -> String {
        self.shell.t(key).replace("{what}", value)
    }

    /// `for P-17 · promised for 2026-12-24 · 1 of 3 finished`.
    fn standing(&self, order: &QueuedOrder) -> String {
        let of = |key, value: Option<&String>| value.map(|value| self.with(key, value));
        let finished = self.with("orders.finished_of", &order.finished_clubs().to_string());
        let finished = finished.replace("{of}", &order.clubs.len().to_string());
        let parts = [
            of("orders.for", order.order.player.as_ref()),
            of("orders.promised", order.order.due.as_ref()),
            Some(finished),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
    }

    /// `for P-17, 3 clubs, promised for 2026-12-24`.
    fn in_short(&self, order: &QueuedOrder) -> String {
        let of = |key, value: Option<&String>| value.map(|value| self.with(key, value));
        let key = if order.clubs.len() == 1 { "clubs.one" } else { "clubs.more" };
        let parts = [
            of("orders.for", order.order.player.as_ref()),
            Some(self.shell.t(key).replace("{n}", &order.clubs.len().to_string())),
            of("orders.promised", order.order.due.as_ref()),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    fn measured(&self, club: &QueuedClub) -> String {
        self.with("orders.measured_of", &club.line.done.to_string()).replace("{of}", &club.line.of.to_string())
    }
}

/// The orders, as the page groups them.
struct Queue {
    /// What comes next while no club is open, in words.
    next: Option<String>,
    /// Orders with work left, in their turn; the open one comes first of all.
    waiting: Vec<QueuedOrder>,
    /// Those that come later.
    later: Vec<QueuedOrder>,
    /// How many come later still.
    later_still: usize,
    /// The newest of the finished ones.
    finished: Vec<QueuedOrder>,
}

struct QueuedOrder {
    order: OrderView,
    clubs: Vec<QueuedClub>,
    is_open: bool,
}

struct QueuedClub {
    line: ClubLine,
    token: String,
    is_open: bool,
}

impl QueuedClub {
    fn sign(&self) -> SignPart {
        SignPart::new(self.line.state)
    }
}

impl QueuedOrder {
    fn finished_clubs(&self) -> usize {
        self.clubs.iter().filter(|club| club.line.state == "finished").count()
    }
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>) -> Response {
    match ask(&web.questions, queue).await {
        Some(queue) => show(&OrdersPage { shell: Shell::new(&web, "", "orders"), queue: &queue }),
        None => stopping(&web, "", "orders"),
    }
}

fn queue(state: &BenchState) -> Queue {
    let queued = state.orders_in_turn().into_iter().map(|order| {
        let order = order_view(state, order);
        let club = |line: &ClubLine| QueuedClub {
            token: state.clubs.get(&line.club).map(|record| record.spec.token.clone()).unwrap_or_default(),
            is_open: state.current_club.as_deref() == Some(line.club.as_str()),
            line: line.clone(),
        };
        let clubs = order.clubs.iter().map(club).collect();
        QueuedOrder { is_open: state.current_order.as_deref() == Some(order.order.as_str()), clubs, order }
    });
    let is_done = |order: &QueuedOrder| order.clubs.iter().all(|club| club.line.state == "finished");
    let (mut finished, mut waiting): (Vec<_>, Vec<_>) = queued.partition(is_done);
    waiting.sort_by_key(|order| !order.is_open);
    let mut later = waiting.split_off(waiting.len().min(WHOLE_SHOWN));
    let later_still = later.len().saturating_sub(LATER_SHOWN);
    later.truncate(LATER_SHOWN);
    finished.reverse();
    finished.truncate(FINISHED_SHOWN);
    Queue { next: state.next_in_turn(), waiting, later, later_still, finished }
}
