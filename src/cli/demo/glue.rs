//! What the simulated builder sees on the display and does beyond the ports.

use serde_json::json;
use simulators::{Action, Seen};
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use crate::bench::Started;
use crate::journal::store::{BATCH, JournalError};
use crate::output::command::CommandRequest;
use crate::work_order::event::Change;

/// The builder's eyes, before anything was seen.
pub(super) fn eyes(started: &Started) -> (watch::Sender<Seen>, watch::Receiver<Seen>) {
    let current_club = started.snapshots.borrow().work.club.as_ref().map(|club| club.club.clone());
    watch::channel(Seen { current_club, ..Seen::default() })
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
        if snapshot.seq == seq {
            continue;
        }
        let Ok(changes) = stored_between(&started, seq, snapshot.seq).await else { continue };
        seq = snapshot.seq;
        eyes.send_modify(|seen| {
            for change in changes {
                match change {
                    Change::ReadingCaptured(captured) => *seen.captured.entry(captured.instrument).or_default() += 1,
                    Change::ClubFinished { club } => {
                        seen.finished.insert(club);
                    }
                    _ => {}
                }
            }
            let club = snapshot.work.club.as_ref();
            seen.current_club = club.map(|club| club.club.clone());
            seen.advice_head_g = club.and_then(|club| club.advice_head_g);
        });
    }
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

/// Carries out what the builder types.
pub(super) async fn hands(mut actions: mpsc::Receiver<Action>, commands: mpsc::Sender<CommandRequest>) {
    while let Some(action) = actions.recv().await {
        let Action::Type { club, characteristic, quantity } = action;
        let json = json!({"command": "enter", "club": club, "characteristic": characteristic, "quantity": quantity});
        let (reply, answer) = oneshot::channel();
        if commands.send(CommandRequest { json, reply }).await.is_err() {
            return;
        }
        if let Ok(Err(reason)) = answer.await {
            tracing::warn!(reason, "the builder's entry was refused");
        }
    }
}
