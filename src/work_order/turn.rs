//! Orders as they are taken in and changed, and whose turn it is: by how they press, and the next club of an order.

use super::difference::{REVISIONS_TOLD, Revision, differences};
use super::event::{Change, Event};
use super::order::Order;
use super::record::{ClubRecord, ClubState};
use super::state::State;

/// The club that comes next, in words.
pub(super) fn next_words(next: Option<&ClubRecord>) -> String {
    match next {
        Some(club) => {
            format!("next is {}, {}: scan the ticket of order {} or open it", club.spec.id, club.spec.name, club.order)
        }
        None => "nothing waits: what is not finished is put aside".to_owned(),
    }
}

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

    /// The club of an order that was in hand when it was left; else the first one that is not finished and not put aside;
    /// where there is none, the first one put aside.
    #[must_use]
    pub fn next_club(&self, order: &Order) -> Option<&ClubRecord> {
        let left = self.left_in_hand.get(&order.number).filter(|id| order.club(id).is_some());
        if let Some(left) = left.and_then(|id| self.clubs.get(id)).filter(|club| club.state != ClubState::Finished) {
            return Some(left);
        }
        let mut clubs = order.clubs.iter().filter_map(|club| self.clubs.get(&club.id));
        let aside = clubs.clone().find(|record| record.state == ClubState::Aside);
        clubs.find(|record| matches!(record.state, ClubState::Waiting | ClubState::InWork)).or(aside)
    }

    /// The club that comes next in the queue: of the first order in turn that has one that waits. `is_aside` says of an order whether
    /// it is put aside, `is_left` of a club whether it is over or put aside by itself.
    pub(super) fn next_of_queue(
        &self,
        is_aside: impl Fn(&str) -> bool,
        is_left: impl Fn(&str) -> bool,
    ) -> Option<&ClubRecord> {
        let is_open = |club: &&ClubRecord| matches!(club.state, ClubState::Waiting | ClubState::InWork);
        // One that was put aside with its whole order is what that order goes on with.
        let goes_on = |club: &&ClubRecord| self.left_in_hand.get(&club.order) == Some(&club.spec.id);
        let waits = |club: &&ClubRecord| {
            (is_open(club) || goes_on(club)) && club.state != ClubState::Finished && !is_left(&club.spec.id)
        };
        let mut orders = self.order_sequence.iter().filter_map(|number| self.orders.get(number)).collect::<Vec<_>>();
        orders.sort_by_cached_key(|order| order.turn());
        let all = |order| self.next_club(order).into_iter().chain(self.clubs_of(order).filter(is_open));
        orders.into_iter().filter(|order| !is_aside(&order.number)).flat_map(all).find(waits)
    }

    fn clubs_of<'a>(&'a self, order: &'a Order) -> impl Iterator<Item = &'a ClubRecord> {
        order.clubs.iter().filter_map(|spec| self.clubs.get(&spec.id))
    }

    /// What comes next while no club is in hand, in words; nothing where all is finished.
    #[must_use]
    pub fn next_in_turn(&self) -> Option<String> {
        let is_idle = self.current_club.is_none() && self.orders.values().any(|order| self.next_club(order).is_some());
        is_idle.then(|| next_words(self.next_of_queue(|number| self.orders_aside.contains_key(number), |_| false)))
    }

    /// Which club of an order is in hand. One that is put aside with its whole order is still the one that work goes on with.
    pub(super) fn note_in_hand(&mut self, event: &Event) {
        match &event.change {
            Change::ClubOpened { club } => {
                if let Some(record) = self.clubs.get(club) {
                    self.left_in_hand.insert(record.order.clone(), club.clone());
                }
            }
            Change::ClubPutAside { club } => {
                let order = self.clubs.get(club).map(|record| &record.order);
                let order = order.filter(|order| !self.orders_aside.contains_key(*order));
                if let Some(order) = order.filter(|order| self.left_in_hand.get(*order) == Some(club)) {
                    self.left_in_hand.remove(order);
                }
            }
            _ => {}
        }
    }

    pub(super) fn revise(&mut self, event: &Event, order: &Order) {
        let Some(before) = self.orders.get(&order.number) else { return };
        let words = differences(before, order);
        let told = self.revisions.entry(order.number.clone()).or_default();
        let number = told.back().map_or(2, |last| last.number + 1);
        if told.len() == REVISIONS_TOLD {
            told.pop_front();
        }
        told.push_back(Revision { number, at_us: event.at_us, by: event.by.clone(), words });
    }

    pub(super) fn take_order(&mut self, order: &Order, seq: u64) {
        // A club that the new version drops was not begun, or it would have been refused.
        for spec in self.orders.get(&order.number).into_iter().flat_map(|known| &known.clubs) {
            if order.club(&spec.id).is_none() {
                self.clubs.remove(&spec.id);
            }
        }
        for spec in &order.clubs {
            match self.clubs.get_mut(&spec.id) {
                Some(record) => {
                    record.ordered_anew(spec);
                    record.last_seq = seq;
                    self.learning.note(record);
                }
                None => {
                    let record = ClubRecord::new(&order.number, spec.clone());
                    self.clubs.insert(spec.id.clone(), ClubRecord { guide: self.guide.clone(), ..record });
                }
            }
        }
        if self.orders.insert(order.number.clone(), order.clone()).is_none() {
            self.order_sequence.push(order.number.clone());
        }
    }
}
