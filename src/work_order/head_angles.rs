//! Loft, lie and face angle of the finished club before it can be laid in the gauge.
//!
//! A club's record comes in; for each angle a value with its uncertainty, where it comes from and what it takes for granted,
//! or why there is none, goes out. What was measured of this head here says most, then what is stated of it. Bends since are
//! worked in as they were read at the lever, less what springs back; a sleeve changes the lie of the soled head and leaves
//! its loft and face. Absent: what clubs of the same head taught, which is `learning`'s.

use super::bending::{BENT, spring_back};
use super::drawers::ItemKind;
use super::forecast::Expected;
use super::later_face::overtaken;
use super::learning::Basis;
use super::order::{Stage, WorkKind};
use super::record::{ClubRecord, Entry};
use super::stated::{part_since, stated};
use crate::club::characteristic::Characteristic;
use crate::club::sleeve_table::lie_added;

/// The angles of a head.
pub(super) const ANGLES: [Characteristic; 3] = [Characteristic::Loft, Characteristic::Lie, Characteristic::FaceAngle];

/// How far a shaft leans in the bore that it is not bonded in yet, in degrees: a gap of 0.13 mm over 30 mm, rectangular
/// (common practice, no source).
const U_DRY_DEG: f64 = 0.14;
/// How well a bend is known where its spring back was learnt, in degrees (common practice, no source).
const U_BEND_DEG: f64 = 0.25;
/// The same where nothing is known of its spring back, which takes up to a degree.
const U_UNKNOWN_BEND_DEG: f64 = 0.5;

/// The angle that the finished club will have.
///
/// # Errors
/// In words: what to do, where nothing is known of it.
pub(super) fn expected(club: &ClubRecord, of: Characteristic) -> Result<Expected, String> {
    let from_measured = measured(club, of);
    let (mut found, since) = match from_measured {
        Some(measured) => measured,
        None => as_stated(club, of).ok_or_else(|| unknown(of))?,
    };
    bends(club, of, since, &mut found);
    Ok(found)
}

fn unknown(of: Characteristic) -> String {
    let text = match of {
        Characteristic::FaceAngle => "measure the face angle and type it, or give it in the order (head_face_angle)",
        Characteristic::Lie => "lay the head in the gauge, or give its lie in the order (head_lie) or the stock",
        _ => "lay the head in the gauge, or give its loft in the order (head_loft) or the stock",
    };
    text.to_owned()
}

/// What was read last of this head on this bench, with the number of values behind it.
fn measured(club: &ClubRecord, of: Characteristic) -> Option<(Expected, usize)> {
    let entry = club.latest(of)?;
    let index = club.entries.iter().position(|other| std::ptr::eq(other, entry))?;
    if index < part_since(club, ItemKind::Head) {
        return None;
    }
    let Entry { filed, .. } = entry;
    let mut words = vec![format!("{} as measured ({})", of.label(), filed.stage.name().replace('_', " "))];
    let value = match overtaken(club, index) {
        Some(later) => {
            words.push("worked out again with the face angle as it is known now".to_owned());
            later.makes_deg
        }
        None => filed.value,
    };
    let is_bonded_anew = match filed.stage {
        Stage::Part | Stage::DryFit => true,
        Stage::Received => club.spec.work == WorkKind::Reshaft,
        Stage::Bonded | Stage::Gripped | Stage::Final => false,
    };
    let u = if is_bonded_anew { filed.u.hypot(U_DRY_DEG) } else { filed.u };
    Some((Expected { value: (value, u), basis: Basis::Measured, words }, index + 1))
}

fn as_stated(club: &ClubRecord, of: Characteristic) -> Option<(Expected, usize)> {
    let said = stated(club, of)?;
    let (mut value, mut u) = said.stated.of(of)?;
    let mut words = vec![format!("{} as stated {}", of.label(), said.from)];
    if let Some(sleeve) = club.spec.details.sleeve.as_ref().filter(|_| of == Characteristic::Lie) {
        match sleeve.at {
            Some(at) => {
                let added = lie_added(sleeve.tilt, at).0;
                value += added;
                words.push(format!("the sleeve at {:.0} deg adds {added:+.1}° to the lie", at.0));
            }
            None => {
                // Any position of the turn: the cosine's root mean square.
                u = u.hypot(sleeve.tilt.0 / 2f64.sqrt());
                words.push("where the sleeve stands is not said".to_owned());
            }
        }
    }
    Some((Expected { value: (value, u), basis: Basis::Stated, words }, said.entries_before))
}

/// Bends since the value was read or stated.
fn bends(club: &ClubRecord, of: Characteristic, since: usize, found: &mut Expected) {
    if !BENT.contains(&of) {
        return;
    }
    let spring = spring_back(club, of);
    let of_this = club.bends.iter().filter(|bend| bend.characteristic == of && !bend.is_voided);
    let mut bent = 0.0;
    let mut is_bent = false;
    for bend in of_this.filter(|bend| bend.entries_before >= since) {
        let (back, u) = spring.map_or((0.0, U_UNKNOWN_BEND_DEG), |spring| (spring.deg, U_BEND_DEG));
        bent += bend.lever_deg.signum() * (bend.lever_deg.abs() - back).max(0.0);
        found.value.1 = found.value.1.hypot(u);
        is_bent = true;
    }
    if is_bent {
        found.value.0 += bent;
        let back = if spring.is_some() { "less what springs back" } else { "what springs back is not known" };
        found.words.push(format!("{} bent by {bent:+.1}° since, {back}", of.label()));
    }
}
