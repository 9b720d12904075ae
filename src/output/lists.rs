//! Lists of orders and clubs, for the API and the command line alike.

use serde_json::{Value, json};

use super::work_view::order_view;
use crate::journal::archive::Found;
use crate::journal::event::rfc3339;
use crate::work_order::state::State;

/// Every order at hand with its clubs, oldest import first.
#[must_use]
pub fn order_list(state: &State) -> Value {
    let orders = state.order_sequence.iter().filter_map(|number| state.orders.get(number));
    let orders: Vec<Value> = orders.map(|order| json!(order_view(state, order))).collect();
    json!({"orders": orders, "open": state.current_order})
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
            })
        })
        .collect();
    json!({"records": clubs, "more": found.more})
}
