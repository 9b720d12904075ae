//! Orders taken in and opened: a new order, a new version of a known one, and which club is in hand.

use super::desk::{Refusal, refused};
use super::difference::differences;
use super::event::Change;
use super::order::{ClubSpec, Order};
use super::record::{ClubRecord, ClubState};
use super::state::State;

/// Takes orders in, all of them or none.
pub(super) fn import_all(state: &State, orders: &[Order]) -> Result<Vec<Change>, Refusal> {
    let mut changes = Vec::new();
    for (index, order) in orders.iter().enumerate() {
        if orders.iter().take(index).any(|other| other.number == order.number) {
            return refused(format!("order {} comes twice: keep one of them; nothing was taken in", order.number));
        }
        changes.extend(import(state, order)?);
    }
    Ok(changes)
}

/// Takes an order in, or a new version of it; the same version again changes nothing.
fn import(state: &State, order: &Order) -> Result<Vec<Change>, Refusal> {
    match state.orders.get(&order.number) {
        None => Ok(vec![Change::OrderImported { order: order.clone() }]),
        Some(known) if differences(known, order).is_empty() => Ok(Vec::new()),
        Some(known) => {
            for club in &known.clubs {
                keeps(state, order, club)?;
            }
            Ok(vec![Change::OrderRevised { order: order.clone() }])
        }
    }
}

/// A club that is begun or in hand must be the same club in the new version: its id is its position, and what was
/// measured on it must not become another one's.
fn keeps(state: &State, order: &Order, club: &ClubSpec) -> Result<(), Refusal> {
    let is_begun = state.clubs.get(&club.id).is_some_and(ClubRecord::is_begun);
    let is_open = state.current_club.as_ref() == Some(&club.id);
    if !is_begun && !is_open {
        return Ok(());
    }
    let how = if is_begun { "begun" } else { "open" };
    let remedy = "put new clubs at the end, or give them another order number";
    match order.club(&club.id) {
        None => refused(format!(
            "order {}: {} is {how} and is missing from the new version; {remedy}",
            order.number, club.id
        )),
        Some(new) if new.work != club.work => refused(format!(
            "order {}: {} is {how} as \"{}\" and would become \"{}\"; {remedy}",
            order.number,
            club.id,
            club.work.label(),
            new.work.label()
        )),
        Some(new) if (&new.name, new.kind, new.hand) != (&club.name, club.kind, club.hand) => refused(format!(
            "order {}: {} is {how} as a {}, {}-handed, and would become a {}, {}-handed; {remedy}",
            order.number,
            club.id,
            club.name,
            club.hand.name(),
            new.name,
            new.hand.name()
        )),
        Some(_) => Ok(()),
    }
}

/// Makes an order the current one and its next club the one in hand.
pub(super) fn open_order(state: &State, number: &str) -> Result<Vec<Change>, Refusal> {
    let Some(order) = state.orders.get(number) else {
        let known: Vec<&str> = state.order_sequence.iter().map(String::as_str).collect();
        let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
        return refused(format!("there is no order {number}; known orders: {known}"));
    };
    let Some(next) = state.next_club(order) else {
        return refused(format!(
            "order {number} is finished: every club is built; open one of its clubs to measure it again"
        ));
    };
    let mut changes = taken_up(state, number);
    if state.current_order.as_deref() != Some(number) {
        changes.push(Change::OrderOpened { order: number.to_owned() });
    }
    // The club in hand stays in hand when its own order is scanned again.
    let in_hand = state.club().is_some_and(|club| club.order == number && club.state != ClubState::Finished);
    if !in_hand {
        changes.push(Change::ClubOpened { club: next.spec.id.clone() });
    }
    Ok(changes)
}

/// Makes a club the one in hand; a finished one stays finished.
pub(super) fn open_club(state: &State, id: &str) -> Result<Vec<Change>, Refusal> {
    let found = state.clubs.get(id).or_else(|| state.clubs.values().find(|club| club.spec.token == id));
    // Typed into a code, an id may have lost its capitals.
    let mut alike = state.clubs.values().filter(|club| club.spec.id.eq_ignore_ascii_case(id));
    let Some(club) = found.or_else(|| alike.next().filter(|_| alike.next().is_none())) else {
        return refused(format!(
            "there is no club {id}; the label or sheet of a club has its code, `orders show N` its id"
        ));
    };
    let mut changes = taken_up(state, &club.order);
    if state.current_order.as_ref() != Some(&club.order) {
        changes.push(Change::OrderOpened { order: club.order.clone() });
    }
    if state.current_club.as_ref() != Some(&club.spec.id) {
        changes.push(Change::ClubOpened { club: club.spec.id.clone() });
    }
    Ok(changes)
}

/// An order that is opened is not put aside any more.
pub(super) fn taken_up(state: &State, number: &str) -> Vec<Change> {
    let is_aside = state.orders_aside.contains_key(number);
    is_aside.then(|| Change::OrderTakenUp { order: number.to_owned() }).into_iter().collect()
}

/// Puts an order aside, with its club in hand: it waits behind all others until it is taken up again.
pub(super) fn put_order_aside(state: &State, number: &str, why: &str) -> Result<Vec<Change>, Refusal> {
    if !state.orders.contains_key(number) {
        return refused(format!("there is no order {number}; `orders list` shows what there is"));
    }
    if state.orders_aside.contains_key(number) {
        return refused(format!("order {number} is put aside already"));
    }
    // The order first: its club is put aside with it, and is the one that work goes on with.
    let mut changes = vec![Change::OrderPutAside { order: number.to_owned(), why: why.trim().to_owned() }];
    if let Some(club) = state.club().filter(|club| club.order == number && club.state != ClubState::Finished) {
        changes.push(Change::ClubPutAside { club: club.spec.id.clone() });
    }
    Ok(changes)
}

/// Takes an order up again: it has its turn in the queue, and nothing is opened.
pub(super) fn take_order_up(state: &State, number: &str) -> Result<Vec<Change>, Refusal> {
    match taken_up(state, number) {
        changes if changes.is_empty() => refused(format!("order {number} is not put aside")),
        changes => Ok(changes),
    }
}
