//! What lies in an angle gauge, as far as the bench knows: the hand and the face angle that its reading is worked out with.
//!
//! The state comes in; what is journaled with a captured reading goes out, and `audit` asks for it again.

use super::event::{CapturedReading, Change};
use super::record::ClubRecord;
use super::reference::Reference;
use super::state::State;
use crate::club::characteristic::Characteristic;
use crate::measurement::calibration::Calibration;
use crate::measurement::gauge::{FaceAngle, Hand, Laid};

/// What lies in the gauge `instrument`: the block that was announced, else the club in hand, else a right-handed club of
/// which nothing is known. `None` for an instrument that is no gauge.
#[must_use]
pub fn laid(state: &State, instrument: &str, at_us: i64) -> Option<Laid> {
    let calibrated = &state.calibrations.get(instrument)?.change;
    if !matches!(calibrated, Change::Calibrated { calibration: Calibration::Gauge(_), .. }) {
        return None;
    }
    if let Some(expected) = state.trust.awaited(instrument, at_us)
        && let Reference::Angles(block) = &expected.reference
    {
        return Some(Laid::Block { hand: block.hand });
    }
    let club = state.club().filter(|_| !state.is_taken(instrument));
    Some(club.map_or(Laid::Club { hand: Hand::Right, face: None }, of_club))
}

/// A club of the record as it lies in a gauge.
fn of_club(club: &ClubRecord) -> Laid {
    let face = club.latest(Characteristic::FaceAngle);
    let face = face.map(|entry| FaceAngle { closed_deg: entry.filed.value, u_deg: entry.filed.u });
    Laid::Club { hand: club.spec.hand, face }
}

/// Why a reading of a gauge is not one of this club: it was worked out for the other hand, and that matters.
pub(super) fn of_other_hand(state: &State, captured: &CapturedReading, club: &ClubRecord) -> Option<String> {
    let laid = captured.laid?;
    if laid.hand() == club.spec.hand {
        return None;
    }
    let matters = match state.calibrations.get(&captured.instrument) {
        Some(in_force) if in_force.event == captured.calibration => match &in_force.change {
            Change::Calibrated { calibration: Calibration::Gauge(gauge), .. } => gauge.tells_hands_apart(),
            _ => true,
        },
        // The calibration it was read with is not at hand any more.
        _ => true,
    };
    matters.then(|| {
        format!(
            "{} was read as a {}-handed club, {} is {}-handed: with {} open, lift it out of the gauge and lay it in again",
            captured.instrument,
            laid.hand().name(),
            club.spec.id,
            club.spec.hand.name(),
            club.spec.id
        )
    })
}
