//! Whose turn it is: orders by how they press, and the next club of an order.

use super::order::Order;
use super::record::{ClubRecord, ClubState};
use super::state::State;

impl State {
    /// Orders with a club that is not finished, in their turn, those put aside last; without the open one while it has
    /// an open club.
    #[must_use]
    pub fn queue(&self) -> Vec<&Order> {
        let is_open =
            |order: &&Order| self.current_club.is_some() && Some(&order.number) == self.current_order.as_ref();
        let waits = |order: &&Order| !is_open(order) && self.next_club(order).is_some();
        self.orders_in_turn().into_iter().filter(waits).collect()
    }

    /// All orders in their turn: by priority, then by what is due first, then as they came; those put aside behind, and
    /// those that are finished last.
    #[must_use]
    pub fn orders_in_turn(&self) -> Vec<&Order> {
        let mut orders: Vec<&Order> = self.order_sequence.iter().filter_map(|number| self.orders.get(number)).collect();
        orders.sort_by_cached_key(|order| {
            let is_aside = self.orders_aside.contains_key(&order.number);
            (self.next_club(order).is_none(), is_aside, order.turn())
        });
        orders
    }

    /// The first club of an order that is not finished and not put aside; where there is none, the first one put aside.
    #[must_use]
    pub fn next_club(&self, order: &Order) -> Option<&ClubRecord> {
        let mut clubs = order.clubs.iter().filter_map(|club| self.clubs.get(&club.id));
        let aside = clubs.clone().find(|record| record.state == ClubState::Aside);
        clubs.find(|record| matches!(record.state, ClubState::Waiting | ClubState::InWork)).or(aside)
    }
}
