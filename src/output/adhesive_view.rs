//! Adhesive as it is shown: what is left of the batch in force and of each cure, and the bond of a club with its times.

use serde::Serialize;

use crate::journal::event::rfc3339;
use crate::work_order::adhesive::{Bond, Override, words};
use crate::work_order::record::{ClubRecord, ClubState};
use crate::work_order::state::State;

/// How many times are shown at once.
const SHOWN: usize = 10;

/// A time that runs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TimerView {
    /// `working_life`, `cure` or `play`.
    pub what: &'static str,
    /// The batch or the club.
    pub of: String,
    /// When it is over (RFC 3339).
    pub until: String,
    /// Whether it is over.
    pub over: bool,
    /// The words a person reads.
    pub text: String,
}

/// The bond of a club.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BondView {
    /// The batch.
    pub batch: String,
    /// The product.
    pub adhesive: String,
    /// The maker's lot.
    pub lot: Option<String>,
    /// When it was bonded.
    pub bonded_at: String,
    /// When its cure is over.
    pub cured_at: String,
    /// When it may be played, not before.
    pub not_before: String,
    /// Who decided not to wait for the cure.
    pub overridden: Option<OverrideView>,
}

/// A decision not to wait for a cure, or to hand over what is open.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OverrideView {
    /// Whose.
    pub name: String,
    /// Why.
    pub why: String,
    /// When.
    pub at: String,
}

impl OverrideView {
    /// A decision as it is shown.
    #[must_use]
    pub fn of(decided: &Override) -> Self {
        Self { name: decided.name.clone(), why: decided.why.clone(), at: rfc3339(decided.at_us) }
    }
}

/// The bond of a club, where a batch was in force, with its times by the clock as it goes now.
#[must_use]
pub fn bond(state: &State, club: &ClubRecord) -> Option<BondView> {
    let elapsed = &state.adhesives.elapsed;
    club.bond.as_ref().map(|bond| view(bond, |run_us| elapsed.wall_us(run_us)))
}

/// A bond with its times by the clock at the moment of bonding.
#[must_use]
pub fn bond_as_made(bond: &Bond) -> BondView {
    view(bond, |run_us| bond.at_us.saturating_add(run_us - bond.run_us))
}

fn view(bond: &Bond, wall_us: impl Fn(i64) -> i64) -> BondView {
    let after = |left_us: i64| rfc3339(wall_us(bond.run_us.saturating_add(left_us)));
    BondView {
        batch: bond.batch.name.clone(),
        adhesive: bond.batch.product.clone(),
        lot: bond.batch.lot.clone(),
        bonded_at: rfc3339(bond.at_us),
        cured_at: after(bond.cure_left_us(bond.run_us)),
        not_before: after(bond.play_left_us(bond.run_us)),
        overridden: bond.overridden.as_ref().map(OverrideView::of),
    }
}

/// The times that run at a wall time: the batch in force, then clubs, the one that is over first in front.
#[must_use]
pub fn timers(state: &State, at_us: i64) -> Vec<TimerView> {
    let adhesives = &state.adhesives;
    let run_us = adhesives.elapsed.at(at_us);
    let until = |left_us: i64| rfc3339(at_us.saturating_add(left_us));
    let batch = adhesives.batch_in_force().map(|mixed| {
        let left = mixed.left_us(run_us);
        let name = &mixed.batch.name;
        let lot = mixed.batch.lot.as_ref().map(|lot| format!(", lot {lot}")).unwrap_or_default();
        let product = format!("{}{lot}", mixed.batch.product);
        let text = if left > 0 {
            format!("{name} ({product}): {} of working life left", words(left))
        } else {
            format!("{name} ({product}): working life is over, do not bond with it; mix a new batch")
        };
        TimerView { what: "working_life", of: name.clone(), until: until(left), over: left <= 0, text }
    });
    let mut clubs: Vec<(i64, TimerView)> = adhesives
        .waiting
        .iter()
        .filter_map(|id| state.clubs.get(id))
        .filter_map(|club| {
            let bond = club.bond.as_ref()?;
            let (left, what, text) = running(club, bond, run_us)?;
            let of = club.spec.id.clone();
            let text = format!("{of} {}: {text}", club.spec.name);
            Some((left, TimerView { what, of, until: until(left), over: left <= 0, text }))
        })
        .collect();
    clubs.sort_by_key(|(left, _)| *left);
    batch.into_iter().chain(clubs.into_iter().map(|(_, view)| view)).take(SHOWN).collect()
}

/// What a bonded club waits for: its cure, somebody to say that it is over, or its time to play.
fn running(club: &ClubRecord, bond: &Bond, run_us: i64) -> Option<(i64, &'static str, String)> {
    let (cure, play) = (bond.cure_left_us(run_us), bond.play_left_us(run_us));
    let is_finished = club.state == ClubState::Finished;
    match (cure > 0, play > 0) {
        (true, _) if bond.overridden.is_none() => Some((cure, "cure", format!("cures, {} left", words(cure)))),
        (_, true) => Some((play, "play", format!("not to be played for {}", words(play)))),
        (false, false) if !is_finished && !club.has_done_since_bond() => {
            Some((cure, "cure", "is cured: mark the step done".to_owned()))
        }
        _ => None,
    }
}
