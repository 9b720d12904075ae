//! Commands about the drawers: parts taken for a club and put back, stock counted and refilled. State and command come
//! in, changes or a refusal in words leave.

use super::desk::{Refusal, refused};
use super::drawer_stock::TakenPart;
use super::drawers::{Item, ItemKind, WeightPlace};
use super::event::{Change, EventId};
use super::parts_model::length_mm;
use super::proposals::{Way, is_past, proposals, room};
use super::record::ClubRecord;
use super::state::State;
use super::taking_up;
use crate::measurement::unit::Millimetres;

/// Most pieces that a count or a refill may name: beyond it is a slip of the hand.
const MOST_PIECES: u32 = 100_000;

/// Something asked for about the drawers.
#[derive(Debug, Clone, PartialEq)]
pub enum DrawerCommand {
    /// Use a proposal for the current club: its parts are taken.
    Use {
        /// Its name; none: the first one.
        proposal: Option<String>,
    },
    /// Take parts that were not proposed.
    Take {
        /// The club; none: the current one.
        club: Option<String>,
        /// The kind's name.
        item: String,
        /// How many.
        pieces: u32,
        /// Where to, for weights and tapes; may be left out where only one place fits.
        place: Option<String>,
    },
    /// Put parts back.
    PutBack {
        /// The `parts_taken` event; none: the last one of the current club.
        taking: Option<EventId>,
        /// Why.
        why: String,
    },
    /// Pieces were counted.
    Count {
        /// The kind's name.
        item: String,
        /// How many there are.
        pieces: u32,
    },
    /// Pieces were put in.
    Refill {
        /// The kind's name.
        item: String,
        /// How many.
        pieces: u32,
    },
}

/// What a command leads to.
pub(super) fn answer(state: &State, command: &DrawerCommand) -> Result<Vec<Change>, Refusal> {
    match command {
        DrawerCommand::Use { proposal } => use_proposal(state, proposal.as_deref()),
        DrawerCommand::Take { club, item, pieces, place } => {
            take(state, club.as_deref(), item, *pieces, place.as_deref())
        }
        DrawerCommand::PutBack { taking, why } => put_back(state, *taking, why),
        DrawerCommand::Count { item, pieces } => {
            let name = known(state, item)?.name.clone();
            sensible(*pieces)?;
            Ok(vec![Change::StockCounted { item: name, pieces: *pieces }])
        }
        DrawerCommand::Refill { item, pieces } => {
            let name = known(state, item)?.name.clone();
            sensible(*pieces)?;
            if *pieces == 0 {
                return refused("a refill of 0 pieces changes nothing; to say how many there are, count them");
            }
            sensible(state.drawer_stock.left(&name).saturating_add(*pieces))?;
            Ok(vec![Change::StockRefilled { item: name, pieces: *pieces }])
        }
    }
}

fn sensible(pieces: u32) -> Result<(), Refusal> {
    if pieces <= MOST_PIECES {
        Ok(())
    } else {
        refused(format!("{pieces} pieces are not possible, at most {MOST_PIECES}"))
    }
}

fn known<'a>(state: &'a State, item: &str) -> Result<&'a Item, Refusal> {
    let drawers = &state.drawer_stock.drawers;
    if drawers.items.is_empty() {
        return refused("there are no drawers on this bench: name kit files in its configuration (kits = [...])");
    }
    match drawers.item(item) {
        Some(item) => Ok(item),
        None => refused(format!("there is no {item} in the drawers; `benchscribe drawers list` shows what there is")),
    }
}

fn club_of<'a>(state: &'a State, club: Option<&str>) -> Result<&'a ClubRecord, Refusal> {
    let Some(id) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open, so parts would belong to none: scan an order ticket first, or name the club");
    };
    state.clubs.get(id).ok_or_else(|| Refusal(format!("there is no club {id}")))
}

fn use_proposal(state: &State, key: Option<&str>) -> Result<Vec<Change>, Refusal> {
    let club = club_of(state, None)?;
    taking_up::may_get_parts(club)?;
    let offered =
        proposals(club, &state.drawer_stock, &state.learning).map(|proposals| proposals.list).unwrap_or_default();
    let wanted = match key {
        Some(key) => offered.iter().find(|proposal| proposal.key == key),
        None => offered.first(),
    };
    match (wanted, key) {
        (Some(proposal), _) if proposal.way == Way::ButtTrim => refused(format!(
            "a cut takes nothing out of the drawers: {}; then measure the length and type it",
            proposal.text
        )),
        (Some(proposal), _) => {
            proposal.parts.iter().try_for_each(|part| may_be_replaced(club, part.kind))?;
            Ok(vec![Change::PartsTaken { club: club.spec.id.clone(), parts: proposal.parts.clone() }])
        }
        (None, Some(key)) => refused(format!("{key} is not proposed for {} any more: look again", club.spec.id)),
        (None, None) => refused(format!("nothing from the drawers is proposed for {} now", club.spec.id)),
    }
}

fn take(
    state: &State,
    club: Option<&str>,
    item: &str,
    pieces: u32,
    place: Option<&str>,
) -> Result<Vec<Change>, Refusal> {
    let club = club_of(state, club)?;
    taking_up::may_get_parts(club)?;
    let item = known(state, item)?;
    let left = state.drawer_stock.left(&item.name);
    if pieces == 0 {
        return refused("0 pieces are nothing to take");
    }
    if pieces > left {
        return refused(format!(
            "{pieces} pieces of {} are wanted and {left} are there: count or refill them",
            item.name
        ));
    }
    if !item.fits(&club.spec) {
        return refused(format!("{} does not fit a {}", item.name, club.spec.kind.name()));
    }
    let place = match item.kind {
        ItemKind::Weight | ItemKind::Tape => Some(place_for(state, club, item, pieces, place)?),
        ItemKind::Grip | ItemKind::Head | ItemKind::Shaft if pieces > 1 => {
            return refused(format!("a club has one {}, {pieces} are wanted", item.kind.name()));
        }
        ItemKind::Grip | ItemKind::Head | ItemKind::Shaft => {
            may_be_replaced(club, item.kind)?;
            None
        }
    };
    let part = TakenPart {
        item: item.name.clone(),
        kind: item.kind,
        pieces,
        mass_g: item.mass().0,
        at_mm: place.map(|place| place.from_butt(Millimetres(length_mm(club))).0),
        place: place.map(|place| place.name.clone()),
        stated: item.stated,
    };
    Ok(vec![Change::PartsTaken { club: club.spec.id.clone(), parts: vec![part] }])
}

/// Whether another head, shaft or grip can still go on a club.
fn may_be_replaced(club: &ClubRecord, kind: ItemKind) -> Result<(), Refusal> {
    let Some(step) = kind.closed_by() else { return Ok(()) };
    if is_past(club, step) {
        return refused(format!(
            "{} is past its step {}: no other {} goes on it",
            club.spec.id,
            step.label(),
            kind.name()
        ));
    }
    match club.part_taken(kind) {
        Some((_, part)) => refused(format!(
            "the {} {} was taken for {} already: put it back first",
            kind.name(),
            part.item,
            club.spec.id
        )),
        None => Ok(()),
    }
}

fn place_for<'a>(
    state: &'a State,
    club: &ClubRecord,
    item: &Item,
    pieces: u32,
    place: Option<&str>,
) -> Result<&'a WeightPlace, Refusal> {
    let places = || state.drawer_stock.drawers.places.iter().filter(|place| item.places.contains(&place.name));
    let names = || places().map(|place| place.name.as_str()).collect::<Vec<_>>().join(", ");
    let found = match place {
        Some(name) => places().find(|place| place.name == name),
        None => places().next().filter(|_| places().count() == 1),
    };
    let Some(found) = found else {
        return refused(format!("{} goes to one of: {}; say where", item.name, names()));
    };
    if !found.is_open(club) {
        return refused(format!("{} takes no weight {} now", club.spec.id, found.label));
    }
    let room = room(club, found, found.from_butt(Millimetres(length_mm(club))).0);
    let mass_cg = item.mass_cg.saturating_mul(pieces);
    if pieces > room.most_pieces || mass_cg > room.most_cg {
        return refused(format!(
            "{pieces} pieces of {} are too much: {} {} more pieces and {:.2} g may go there",
            item.name,
            found.label,
            room.most_pieces,
            f64::from(room.most_cg) / 100.0
        ));
    }
    Ok(found)
}

fn put_back(state: &State, taking: Option<EventId>, why: &str) -> Result<Vec<Change>, Refusal> {
    if why.trim().is_empty() {
        return refused("parts are only put back with a reason: say why");
    }
    let last = || {
        let club = state.club()?;
        club.takings.iter().rev().find(|taking| taking.returned.is_none()).map(|taking| taking.event)
    };
    let Some(taking) = taking.or_else(last) else { return refused("no parts were taken for the open club") };
    let Some(club) = state.drawer_stock.club_of(taking) else {
        return refused(format!("no parts were taken by {taking}, or they are put back already"));
    };
    if let Some(record) = state.clubs.get(club) {
        taking_up::may_lose_parts(record)?;
    }
    Ok(vec![Change::PartsReturned { club: club.to_owned(), taking, why: why.trim().to_owned() }])
}
