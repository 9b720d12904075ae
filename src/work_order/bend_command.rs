//! The command that says what was bent: text as typed comes in, an event and what follows from it leave.

use super::bending::{BENT, Bend, MOST_DEG, split_way, which_way};
use super::desk::{Refusal, refused};
use super::event::{Change, EventId};
use super::finishing::after_change;
use super::state::State;
use super::taking_up;
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::{Dimension, parse_value};

/// Loft or lie of a club was bent; a finished club that was bent is finished no more until it is measured again, and one that was handed
/// over must be taken up before.
pub(super) fn bend(
    state: &State,
    club: Option<&str>,
    characteristic: Characteristic,
    quantity: &str,
) -> Result<Vec<Change>, Refusal> {
    let Some(id) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open: name the club, or scan an order ticket first");
    };
    let Some(record) = state.clubs.get(id) else { return refused(format!("there is no club {id}")) };
    taking_up::may_be_bent(record)?;
    let label = characteristic.label();
    if !BENT.contains(&characteristic) {
        return refused(format!("{label} is not bent: loft and lie are"));
    }
    let of = |error: String| Refusal(format!("bend of {label} of {id}: {error}"));
    let (number, sign) = split_way(characteristic, quantity).map_err(of)?;
    let size = parse_value(number, Dimension::Angle).map_err(|error| of(error.to_string()))?;
    let lever_deg = match sign {
        Some(_) if size < 0.0 => return Err(of("write the size without a sign where the way is written".to_owned())),
        Some(sign) => sign * size,
        None if number.starts_with(['+', '-', '−']) => size,
        None => return Err(of(which_way(characteristic, number))),
    };
    if lever_deg.abs() > MOST_DEG || lever_deg.abs() < 1e-9 {
        return Err(of(format!("\"{quantity}\" is no bend, expected more than 0 deg and at most {MOST_DEG} deg")));
    }
    let mut after = record.clone();
    after.bends.push(Bend {
        characteristic,
        lever_deg,
        event: EventId(uuid::Uuid::nil()),
        seq: 0,
        at_us: 0,
        by: None,
        entries_before: record.entries.len(),
        is_voided: false,
    });
    let mut changes = vec![Change::BendDone { club: id.to_owned(), characteristic, lever_deg }];
    changes.extend(after_change(state, record, &after));
    Ok(changes)
}
