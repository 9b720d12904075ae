//! Lists of orders and clubs, for the API and the command line alike.

use serde_json::{Value, json};

use super::work_view::order_view;
use crate::journal::archive::Found;
use crate::journal::event::rfc3339;
use crate::work_order::state::State;

/// Every order at hand with its clubs, in the order in which they should be worked on, and what comes next while no club is open.
#[must_use]
pub fn order_list(state: &State) -> Value {
    let orders: Vec<Value> = state.orders_in_turn().into_iter().map(|order| json!(order_view(state, order))).collect();
    json!({"orders": orders, "open": state.current_order, "next_in_turn": state.next_in_turn()})
}

/// Clubs that were looked for, in the order of import and position.
#[must_use]
pub fn record_list(found: &Found) -> Value {
    let clubs: Vec<Value> = found
        .clubs
        .iter()
        .map(|club| {
            json!({
                "club": club.club,
                "token": club.token,
                "name": club.name,
                "order": club.order,
                "state": club.state,
                "entries": club.entries,
                "out_of_tolerance": club.is_out,
                "last_at": rfc3339(club.last_us),
                "segment": club.segment,
            })
        })
        .collect();
    json!({"records": clubs, "more": found.more})
}

/// What the later versions of an order changed, oldest first.
#[must_use]
pub fn revision_list(state: &State, order: &str) -> Vec<Value> {
    let told = state.revisions.get(order).into_iter().flatten();
    told.map(|revision| {
        json!({"revision": revision.number, "at": rfc3339(revision.at_us), "by": revision.by, "changes": revision.words})
    })
    .collect()
}
