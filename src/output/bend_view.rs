//! Bends of a club as they are shown and recorded: what was done, what came of it, and what to do now.

use serde::Serialize;

use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::work_order::bending::{BENT, BendAdvice, Bent, advice, bent, unmeasured, written};
use crate::work_order::later_face::later_face;
use crate::work_order::record::ClubRecord;

/// Bends of one angle between two measurements.
#[derive(Debug, Clone, Serialize)]
pub struct BendDoneView {
    /// Loft or lie.
    pub characteristic: &'static str,
    /// How far the lever went in all: + more loft, + upright.
    pub lever_deg: f64,
    /// The reading before.
    pub before_deg: Option<f64>,
    /// The reading after; none while it was not measured again.
    pub after_deg: Option<f64>,
    /// What sprang back, where it could be learnt.
    pub spring_back_deg: Option<f64>,
    /// When the last of them was done.
    pub at: String,
    /// Who.
    pub by: Option<String>,
    /// The last `bend_done` event of them.
    pub event: String,
}

/// What to do about one angle.
#[derive(Debug, Clone, Serialize)]
pub struct BendAdviceView {
    /// Loft or lie.
    pub characteristic: &'static str,
    /// The change that is needed: + more loft, + upright.
    pub change_deg: f64,
    /// What to aim for at the lever, where the spring back is known.
    pub aim_deg: Option<f64>,
    /// What springs back.
    pub spring_back_deg: Option<f64>,
    /// From how many bends that is known.
    pub learnt_from: usize,
    /// Bounce now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bounce_deg: Option<f64>,
    /// Bounce after the bend.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bounce_after_deg: Option<f64>,
    /// How much more closed the face looks after a bend of the lie to whoever holds the club as before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub face_at_old_lie_deg: Option<f64>,
    /// Why to ask the head's maker first.
    pub warning: Option<String>,
    /// The bend as the command `bend` takes it, where the head can be bent.
    pub quantity: Option<String>,
    /// The words.
    pub text: String,
}

/// Bends of a club and advice.
#[derive(Debug, Clone, Serialize)]
pub struct BendingView {
    /// What was done, oldest first.
    pub done: Vec<BendDoneView>,
    /// What to do.
    pub advice: Vec<BendAdviceView>,
    /// What that does to the club's other characteristics; nothing where nothing is to be done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side_effects: Option<&'static str>,
}

/// What a bend does besides the angle that is bent.
const OF_A_BEND: &str = "total mass and frequency stay as they are; bending moves length, balance point, swing weight and \
                         inertia a little: where a limit is near, measure them again";
/// What another position of a sleeve does besides the angles.
pub(super) const OF_A_SLEEVE: &str = "total mass, balance point, swing weight, inertia and frequency stay as they are; \
                                      the length follows the lie a little: where a limit is near, measure it again";

/// Everything about bending one club.
#[must_use]
pub fn bending(club: &ClubRecord) -> BendingView {
    let mut done: Vec<(i64, BendDoneView)> = BENT
        .into_iter()
        .flat_map(|characteristic| bent(club, characteristic))
        .map(|bent| done_view(club, &bent))
        .collect();
    done.sort_by_key(|(at_us, _)| *at_us);
    let advice = advice(club);
    let side_effects = match club.spec.details.sleeve {
        _ if advice.iter().any(|advice| advice.can_bend) => Some(OF_A_BEND),
        Some(_) if !advice.is_empty() => Some(OF_A_SLEEVE),
        _ => None,
    };
    BendingView {
        done: done.into_iter().map(|(_, view)| view).collect(),
        advice: advice.iter().map(advice_view).collect(),
        side_effects,
    }
}

/// What to measure again, and what to bend, in words.
#[must_use]
pub fn texts(club: &ClubRecord) -> Vec<String> {
    let again = |bent: Bent| {
        let what = bent.characteristic.label();
        let bent = written(bent.characteristic, bent.lever_deg).replace(" deg", "°");
        format!("{what} was bent {bent}: measure it again")
    };
    let later_face = later_face(club).map(|later| later.text());
    later_face.into_iter().chain(unmeasured(club).map(again)).chain(advice(club).into_iter().map(|a| a.text)).collect()
}

fn done_view(club: &ClubRecord, bent: &Bent) -> (i64, BendDoneView) {
    let last = club.bends.iter().find(|bend| bend.event == bent.last);
    let at_us = last.map_or(0, |bend| bend.at_us);
    let view = BendDoneView {
        characteristic: bent.characteristic.name(),
        lever_deg: bent.lever_deg,
        before_deg: bent.before,
        after_deg: bent.after,
        spring_back_deg: bent.spring_back,
        at: rfc3339(at_us),
        by: last.and_then(|bend| bend.by.clone()),
        event: bent.last.to_string(),
    };
    (at_us, view)
}

fn advice_view(advice: &BendAdvice) -> BendAdviceView {
    let BendAdvice { characteristic, change_deg, aim_deg, spring_back, bounce, warning, can_bend, text, .. } = advice;
    let quantity = |c: Characteristic| written(c, aim_deg.unwrap_or(*change_deg));
    BendAdviceView {
        characteristic: characteristic.name(),
        change_deg: *change_deg,
        aim_deg: *aim_deg,
        spring_back_deg: spring_back.map(|spring| spring.deg),
        learnt_from: spring_back.map_or(0, |spring| spring.bends),
        bounce_deg: bounce.map(|[now, _]| now),
        bounce_after_deg: bounce.map(|[_, after]| after),
        face_at_old_lie_deg: advice.face_at_old_lie_deg,
        warning: warning.clone(),
        quantity: can_bend.then(|| quantity(*characteristic)),
        text: text.clone(),
    }
}
