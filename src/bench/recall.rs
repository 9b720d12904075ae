//! Orders that are not at hand are brought back before something is decided that names them.
//!
//! After a restart the bench holds the orders that are not finished and the last ones. Whatever a command or a scanned
//! code names beyond these comes from the journal first, so that decisions are those of the whole fold.

use super::core::Core;
use crate::instrument::indication::{Indication, read};
use crate::instrument::port::{PortEvent, PortMessage};
use crate::journal::archive::Key;
use crate::journal::store::{JournalError, Reader};
use crate::measurement::reading::InstrumentKind;
use crate::work_order::again;
use crate::work_order::desk::Command;
use crate::work_order::drawer_desk::DrawerCommand;
use crate::work_order::part_desk::PartCommand;
use crate::work_order::part_stock::Whereabouts;
use crate::work_order::state::State;
use crate::work_order::ticket::Ticket;

/// Brings back what a command names.
///
/// # Errors
/// When the journal cannot be read.
pub async fn for_command(state: &mut State, journal: &Reader, command: &Command) -> Result<(), JournalError> {
    match command {
        Command::ImportOrders(orders) => {
            for order in orders {
                bring(state, journal, Key::Order(&order.number)).await?;
            }
            Ok(())
        }
        Command::PutOrderAside { order: number, .. } | Command::TakeOrderUp(number) | Command::OpenOrder(number) => {
            bring(state, journal, Key::Order(number)).await
        }
        Command::OverrideCure { club: Some(club), .. } | Command::OverrideHandOver { club: Some(club), .. } => {
            bring(state, journal, Key::Club(club)).await
        }
        Command::OpenClub(club)
        | Command::Enter { club: Some(club), .. }
        | Command::StepAgain { club: Some(club), .. }
        | Command::TakeClubUp { club: Some(club), .. } => bring(state, journal, Key::Club(club)).await,
        Command::File { place, .. } => bring(state, journal, Key::Club(&place.club)).await,
        Command::Mark { club: Some(club), .. } => bring(state, journal, Key::Club(club)).await,
        Command::BuildAgain { club, repeat } => {
            bring(state, journal, Key::Club(club)).await?;
            if let Some(order) = &repeat.order {
                return bring(state, journal, Key::Order(order)).await;
            }
            // The number of the new order is the first free one, so all before it must be known.
            for number in again::numbers(club) {
                bring(state, journal, Key::Order(&number)).await?;
                if !state.orders.contains_key(&number) {
                    break;
                }
            }
            Ok(())
        }
        Command::Drawer(DrawerCommand::Take { club: Some(club), .. }) => bring(state, journal, Key::Club(club)).await,
        Command::Drawer(DrawerCommand::PutBack { taking: Some(taking), .. }) => {
            let club = match state.drawer_stock.club_of(*taking) {
                Some(club) => Some(club.to_owned()),
                None => journal.club_of_deed(*taking).await?,
            };
            match club {
                Some(club) => bring(state, journal, Key::Club(&club)).await,
                None => Ok(()),
            }
        }
        Command::Part(PartCommand::Release { part, .. }) => match state.part_stock.part(part).map(|part| &part.place) {
            Some(Whereabouts::In(club)) => {
                let club = club.clone();
                bring(state, journal, Key::Club(&club)).await
            }
            _ => Ok(()),
        },
        Command::Void { event: Some(event), .. } => {
            bring(state, journal, Key::Value(*event)).await?;
            // A step is found by its own event.
            match journal.club_of_deed(*event).await? {
                Some(club) if state.place_of(*event).is_none() => bring(state, journal, Key::Club(&club)).await,
                _ => Ok(()),
            }
        }
        Command::Scan(code) => for_code(state, journal, code).await,
        _ => Ok(()),
    }
}

/// Brings back what a frame of a scanner names.
///
/// # Errors
/// When the journal cannot be read.
pub async fn for_message(core: &mut Core, journal: &Reader, message: &PortMessage) -> Result<(), JournalError> {
    let PortEvent::Frame(frame, _) = &message.event else { return Ok(()) };
    let Some(channel) = core.channels.get(message.instrument) else { return Ok(()) };
    if channel.settings.wiring.kind != InstrumentKind::Scanner {
        return Ok(());
    }
    match read(&channel.settings.wiring, frame) {
        Indication::Code(code) => for_code(&mut core.state, journal, &code).await,
        _ => Ok(()),
    }
}

async fn for_code(state: &mut State, journal: &Reader, code: &str) -> Result<(), JournalError> {
    match Ticket::parse(code) {
        Some(Ticket::Order(number)) => bring(state, journal, Key::Order(&number)).await,
        Some(Ticket::Club(token)) => bring(state, journal, Key::Club(&token)).await,
        _ => Ok(()),
    }
}

async fn bring(state: &mut State, journal: &Reader, key: Key<'_>) -> Result<(), JournalError> {
    let at_hand = match key {
        Key::Order(number) => state.orders.contains_key(number),
        Key::Club(club) => state.clubs.contains_key(club),
        Key::Value(event) => state.place_of(event).is_some(),
    };
    if at_hand {
        return Ok(());
    }
    match journal.order_of(key).await? {
        Some(order) if !state.orders.contains_key(&order.number) => journal.recall(state, &order).await,
        _ => Ok(()),
    }
}
