//! Lists of orders and clubs, for the API and the command line alike.

use serde_json::{Value, json};

use super::work_view::order_view;
use crate::work_order::state::State;

/// Every order with its clubs, oldest import first.
#[must_use]
pub fn order_list(state: &State) -> Value {
    let orders = state.order_sequence.iter().filter_map(|number| state.orders.get(number));
    let orders: Vec<Value> = orders.map(|order| json!(order_view(state, order))).collect();
    json!({"orders": orders, "open": state.current_order})
}

/// Every club, in the order of import and position.
#[must_use]
pub fn record_list(state: &State) -> Value {
    let clubs: Vec<Value> = state
        .clubs_in_order()
        .map(|record| {
            json!({
                "club": record.spec.id,
                "token": record.spec.token,
                "name": record.spec.name,
                "order": record.order,
                "state": record.state.name(),
                "entries": record.valid().count(),
            })
        })
        .collect();
    json!({"records": clubs})
}
