//! The live stream: server-sent events, the whole state at connect and whenever the work changes, instruments else.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::Stream;
use futures_util::stream::unfold;
use serde::Serialize;
use serde_json::{Value, json};
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;

use super::Web;
use crate::journal::event::rfc3339;
use crate::measurement::stamp::Stamp;
use crate::output::view::{Banner, InstrumentView, Snapshot};

/// Shortest time between two messages of one stream: 25 a second.
const SPACING: Duration = Duration::from_millis(40);

#[derive(Serialize)]
struct Aged<'a> {
    #[serde(flatten)]
    view: &'a InstrumentView,
    age_ms: Option<u64>,
}

/// Instruments with the age of their last frame.
pub(super) fn instruments(snapshot: &Snapshot, now: Stamp) -> Value {
    let aged: Vec<Aged<'_>> = snapshot
        .instruments
        .iter()
        .map(|view| Aged { view, age_ms: view.heard_s.map(|heard_s| millis(now.t_s - heard_s)) })
        .collect();
    json!(aged)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an age in milliseconds, not below zero")]
fn millis(seconds: f64) -> u64 {
    (seconds.max(0.0) * 1000.0) as u64
}

/// The whole state.
pub(super) fn state(web: &Web, snapshot: &Snapshot, banners: &[Banner]) -> Value {
    let now = web.clock.now();
    let mut value = json!({
        "version": env!("CARGO_PKG_VERSION"),
        "site": web.site,
        "bench": web.bench,
        "now": rfc3339(now.at_us),
        "seq": snapshot.seq,
        "beat": snapshot.beat,
        "banners": banners.iter().chain(snapshot.banners.iter()).collect::<Vec<_>>(),
        "instruments": instruments(snapshot, now),
        "timers": *snapshot.timers,
    });
    if let (Some(value), Value::Object(work)) = (value.as_object_mut(), json!(*snapshot.work)) {
        value.extend(work);
    }
    value
}

/// What a stream has sent last, to know what changed.
struct Sender {
    web: Web,
    snapshots: watch::Receiver<Arc<Snapshot>>,
    stop: CancellationToken,
    sent: Option<(Arc<Snapshot>, Vec<Banner>)>,
    next_at: Instant,
}

/// Opens a stream that ends when the client leaves or the daemon stops.
pub(super) async fn stream(
    State(web): State<Web>,
    stop: CancellationToken,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let sender = Sender { snapshots: web.snapshots.clone(), web, stop, sent: None, next_at: Instant::now() };
    Sse::new(unfold(sender, next)).keep_alive(KeepAlive::default())
}

async fn next(mut sender: Sender) -> Option<(Result<Event, Infallible>, Sender)> {
    if sender.sent.is_some() {
        tokio::select! {
            () = sender.stop.cancelled() => return None,
            changed = sender.snapshots.changed() => changed.ok()?,
        }
    }
    sleep_until(sender.next_at).await;
    let snapshot = Arc::clone(&sender.snapshots.borrow_and_update());
    sender.next_at = Instant::now() + SPACING;
    let banners = sender.web.banners();
    let same_work = sender.sent.as_ref().is_some_and(|(sent, told)| {
        Arc::ptr_eq(&sent.work, &snapshot.work)
            && sent.banners == snapshot.banners
            && sent.timers == snapshot.timers
            && *told == banners
    });
    let event = if same_work {
        let now = sender.web.clock.now();
        let live = json!({
            "beat": snapshot.beat,
            "now": rfc3339(now.at_us),
            "seq": snapshot.seq,
            "instruments": instruments(&snapshot, now),
        });
        Event::default().event("live").data(live.to_string())
    } else {
        Event::default().event("state").data(state(&sender.web, &snapshot, &banners).to_string())
    };
    sender.sent = Some((snapshot, banners));
    Some((Ok(event), sender))
}
