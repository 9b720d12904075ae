//! What the simulated builder sees on the display and does beyond the ports.

use std::collections::BTreeMap;

use serde_json::json;
use simulators::{Action, Seen};
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use super::super::print;
use super::day;
use crate::bench::Started;
use crate::journal::store::{BATCH, JournalError};
use crate::output::command::CommandRequest;
use crate::output::view::Snapshot;
use crate::output::work_view::ClubView;
use crate::work_order::event::Change;

/// The builder's eyes, before he has done anything.
pub(super) fn eyes(started: &Started) -> (watch::Sender<Seen>, watch::Receiver<Seen>) {
    let mut seen = Seen::default();
    look(&mut seen, &started.snapshots.borrow());
    watch::channel(seen)
}

/// Keeps the eyes on the display: a capture is seen when the snapshot that holds it is shown.
pub(super) async fn watch(mut started: Started, eyes: watch::Sender<Seen>, stop: CancellationToken) {
    let mut seq = started.snapshots.borrow().seq;
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            changed = started.snapshots.changed() => if changed.is_err() { return },
        }
        let snapshot = started.snapshots.borrow_and_update().clone();
        let Ok(changes) = stored_between(&started, seq, snapshot.seq).await else { continue };
        seq = snapshot.seq;
        eyes.send_if_modified(|seen| {
            let before = seen.clone();
            for change in changes {
                note(seen, change);
            }
            look(seen, &snapshot);
            *seen != before
        });
    }
}

/// What an event changes of what he remembers.
fn note(seen: &mut Seen, change: Change) {
    match change {
        Change::ReadingCaptured(captured) => {
            *seen.captured.entry(captured.instrument).or_default() += 1;
            seen.unplaced = None;
        }
        Change::ReadingUnfiled { reason, .. } => seen.unplaced = Some(reason),
        Change::ReadingVoided { .. } => seen.taken_back += 1,
        Change::BendDone { .. } => seen.bent += 1,
        Change::StepDone { club, step, .. } => {
            seen.done.insert((club, step.name().to_owned()));
        }
        Change::ClubFinished { club } => {
            seen.finished.insert(club);
        }
        _ => {}
    }
}

/// What stands on the display.
fn look(seen: &mut Seen, snapshot: &Snapshot) {
    let work = &snapshot.work;
    let club = work.club.as_ref();
    seen.current_club = club.map(|club| club.club.clone());
    seen.advice_head_g = club.and_then(|club| club.advice_head_g.or_else(|| proposed_at_head_g(club)));
    seen.doubt = club.and_then(|club| club.suspects.first()).map(|suspect| suspect.reason.clone());
    seen.queue = work.queue.iter().filter(|order| !order.aside).map(|order| order.order.clone()).collect();
    let runs = |what: &'static str| snapshot.timers.iter().filter(move |timer| timer.what == what);
    seen.curing = runs("cure").filter(|timer| !timer.over).map(|timer| timer.of.clone()).collect();
    seen.batch_is_over = runs("working_life").next().map(|timer| timer.over);
    seen.warnings = snapshot.banners.iter().map(|banner| banner.text.clone()).collect();
}

/// The grams that the first proposal puts into the head; the simulated builder does nothing else with weights.
fn proposed_at_head_g(club: &ClubView) -> Option<f64> {
    let first = club.proposals.first().filter(|first| first.way == "weights")?;
    let at_head = first.parts.iter().all(|part| part.place.as_deref() == Some("head"));
    at_head.then(|| first.parts.iter().map(|part| f64::from(part.pieces) * part.mass_g).sum())
}

async fn stored_between(started: &Started, after: u64, up_to: u64) -> Result<Vec<Change>, JournalError> {
    let mut changes = Vec::new();
    let mut seq = after;
    while seq < up_to {
        let rows = started.journal.after(seq, BATCH).await?;
        let Some(last) = rows.last() else { break };
        seq = last.seq;
        for row in rows.iter().filter(|row| row.seq <= up_to) {
            changes.push(row.event()?.change);
        }
    }
    Ok(changes)
}

/// Carries out what the builder does at the page. `brought` are the orders that somebody brings during the day, by number.
pub(super) async fn hands(mut actions: mpsc::Receiver<Action>, started: Started, brought: BTreeMap<String, String>) {
    let Started { commands, snapshots, .. } = started;
    while let Some(action) = actions.recv().await {
        let json = match action {
            Action::Type { club, characteristic, quantity } => {
                json!({"command": "enter", "club": club, "characteristic": characteristic, "quantity": quantity})
            }
            // Where nothing is proposed the grams came from his own lead, and there is nothing to take.
            Action::UseAdvice if snapshots.borrow().work.club.iter().all(|club| club.proposals.is_empty()) => continue,
            Action::UseAdvice => json!({"command": "use_proposal"}),
            Action::MixAdhesive => day::batch(),
            Action::TakeIn { order } => {
                let text = brought.get(&order).map(String::as_str).unwrap_or_default();
                json!({"command": "import_order", "file": order, "text": text})
            }
            Action::PutAside => json!({"command": "put_aside"}),
            Action::Void { why } => json!({"command": "void_last", "why": why}),
            Action::Bend { club, characteristic, quantity } => {
                json!({"command": "bend", "club": club, "characteristic": characteristic, "quantity": quantity})
            }
            Action::AnswerFor { club, why } => {
                json!({"command": "override_hand_over", "club": club, "name": "K7", "why": why})
            }
            Action::Say(words) => {
                print::say(&words);
                continue;
            }
        };
        let (reply, answer) = oneshot::channel();
        if commands.send(CommandRequest { json, reply }).await.is_err() {
            return;
        }
        if let Ok(Err(reason)) = answer.await {
            tracing::warn!(reason, "the builder's entry was refused");
        }
    }
}
