//! Invented events stored as a bench stores them, and folded whole.

use std::path::Path;

use benchscribe::journal::store::Journal;
use benchscribe::work_order::event::Event;
use benchscribe::work_order::state::State;

use crate::grown_journal::{BENCH, Dice, EPOCH, Writer, build_club};

/// The state after all of these.
pub(crate) fn fold(events: &[Event]) -> State {
    let mut state = State::default();
    for event in events {
        state.apply(event);
    }
    state
}

/// A journal with these events, written in batches of changing size.
pub(crate) async fn journal(folder: &Path, events: &[Event]) -> Journal {
    let mut journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    let mut dice = Dice(events.len().try_into().unwrap());
    let mut rest = events;
    while !rest.is_empty() {
        let (batch, after) = rest.split_at(rest.len().min(1 + usize::try_from(dice.roll(40)).unwrap()));
        journal.append(batch, &[]).await.unwrap();
        rest = after;
    }
    journal
}

/// Forty orders of two clubs, all finished.
pub(crate) fn finished() -> Writer {
    let mut writer = Writer::new();
    for number in 1..=40 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 2);
        for n in 1..=2 {
            build_club(&mut writer, &format!("W-{number}/{n}"), false);
        }
    }
    writer
}
