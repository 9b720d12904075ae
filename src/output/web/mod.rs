//! Page and API over HTTP. Reads the live state and the journal; commands go to the bench like any other input.

mod api;
mod assets;
mod bundle;
mod first;
mod guard;
mod language;
mod live;
mod look;
mod metrics;
mod page;
mod pages;
pub mod plan;
#[cfg(test)]
mod readiness_tests;
mod set;
mod sheets;
mod study;
mod units;
mod zone;

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::extract::FromRef;
use axum::routing::{get, post};
use axum::serve::ListenerExt as _;
use jiff::tz::TimeZone;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;
use tower_http::compression::CompressionLayer;

use super::command::{CommandRequest, Question};
use super::text::Lengths;
use super::view::{Banner, Snapshot};
use crate::clock::Clock;
use crate::journal::store::Reader;

/// What the pages need to know of the bench.
#[derive(Clone)]
pub struct Web {
    /// The place.
    pub site: String,
    /// The bench.
    pub bench: String,
    /// Host names by which the page may be asked for.
    pub hosts: Arc<Vec<String>>,
    /// Where other machines reach the page, for codes on printed sheets.
    pub url: Option<String>,
    /// The token that allows writing from another machine.
    pub token: Arc<String>,
    /// The live state. The bench sends; the newest value counts, readers may skip.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// Why the journal cannot be written, while it cannot.
    pub journal_trouble: watch::Receiver<Option<Banner>>,
    /// Why the broker is not there, in words with the remedy, while it is not.
    pub broker_trouble: watch::Receiver<Option<String>>,
    /// The index of the journal was found damaged at this start, and was made again.
    pub index_was_damaged: bool,
    /// The journal.
    pub journal: Reader,
    /// To the bench. Bounded; when it is full the request waits.
    pub commands: mpsc::Sender<CommandRequest>,
    /// Questions about the folded journal, answered by the bench between two inputs. Bounded likewise.
    pub questions: mpsc::Sender<Question>,
    /// Plans of sets from the stock, one at a time.
    pub planner: Arc<plan::Planner>,
    /// How lengths are shown.
    pub lengths: Lengths,
    /// The time zone of the workshop.
    pub zone: TimeZone,
    /// The bench's clock.
    pub clock: Clock,
}

impl FromRef<Web> for Reader {
    fn from_ref(web: &Web) -> Self {
        web.journal.clone()
    }
}

impl Web {
    fn banners(&self) -> Vec<Banner> {
        let broker = self.broker_trouble.borrow().as_ref().map(|words| {
            let (text, remedy) =
                words.split_once("; ").unwrap_or((words, "readings and records are kept all the same"));
            Banner { level: "warning", text: text.to_owned(), remedy: remedy.to_owned() }
        });
        let mended = self.index_was_damaged.then(|| Banner {
            level: "warning",
            text:
                "the list of records was damaged on the disk; it was made again from the journal, and nothing is lost"
                    .to_owned(),
            remedy: "let `benchscribe records verify` look at everything, and have the disk looked at".to_owned(),
        });
        self.journal_trouble.borrow().clone().into_iter().chain(mended).chain(broker).collect()
    }
}

/// Serves until `stop`.
///
/// # Errors
/// When the listener fails.
pub async fn serve(listener: TcpListener, web: Web, stop: CancellationToken) -> std::io::Result<()> {
    bundle::prepare();
    let streams = stop.clone();
    let router = Router::new()
        .route("/", get(page::bench))
        .route("/assets/{file}", get(assets::asset))
        .route("/instruments", get(pages::instruments::page))
        .route("/instruments/{id}/check", get(pages::guided::check))
        .route("/instruments/{id}/calibrate", get(pages::guided::calibrate))
        .route("/records", get(pages::records::list))
        .route("/records/{club}", get(pages::records::record))
        .route("/readings/{event}", get(pages::reading::page))
        .route("/orders", get(pages::orders::page))
        .route("/orders/{order}/set", get(pages::set::page))
        .route("/orders/{order}/plan", get(pages::plan::page))
        .route("/drawers", get(pages::drawers::page))
        .route("/setup", get(pages::setup::page))
        .route("/stock", get(pages::stock::page))
        .route("/stock/labels", get(pages::stock::labels))
        .route("/history", get(pages::history::page))
        .route("/pattern", get(pages::pattern::page))
        .route("/api/v1/state", get(api::state))
        .route("/api/v1/live", get(move |web| live::stream(web, streams)))
        .route("/api/v1/orders", get(api::orders))
        .route("/api/v1/orders/{order}/plan", get(plan::data))
        .route("/api/v1/orders/{order}/progressions", get(set::progressions))
        .route("/api/v1/orders/{order}/progressions.svg", get(set::plot))
        .route("/api/v1/records", get(api::records))
        .route("/api/v1/records/{*club}", get(api::record))
        .route("/api/v1/schema/build-record-1.json", get(sheets::schema))
        .route("/sheets/{*club}", get(sheets::sheet))
        .route("/BS1/C/{token}", get(sheets::ticket))
        .route("/api/v1/instruments", get(api::instruments))
        .route("/api/v1/instruments/{id}", get(pages::instruments::one))
        .route("/api/v1/readings/{event}", get(pages::reading::one))
        .route("/api/v1/drawers", get(api::drawers))
        .route("/api/v1/history", get(pages::history::data))
        .route("/api/v1/parts", get(api::parts))
        .route("/api/v1/events", get(api::events))
        .route("/api/v1/studies", get(study::list))
        .route("/api/v1/studies/{study}", get(study::one))
        .route("/studies", get(pages::studies::list))
        .route("/studies/{study}", get(pages::studies::one))
        .route("/api/v1/command", post(api::command))
        .route("/api/openapi.json", get(api::description))
        .route("/api/asyncapi.json", get(api::topics))
        .route("/healthz", get(api::health))
        .route("/readyz", get(api::ready))
        .route("/metrics", get(metrics::metrics))
        .fallback(api::not_found)
        .method_not_allowed_fallback(api::wrong_method)
        // The live stream is never compressed: an event must not wait for a full block.
        .layer(CompressionLayer::new())
        .layer(axum::middleware::from_fn_with_state(web.clone(), guard::guard))
        .with_state(web);
    let service = router.into_make_service_with_connect_info::<SocketAddr>();
    // A live event is small and must not wait for the one before to be acknowledged.
    let listener = listener.tap_io(|stream| {
        if let Err(error) = stream.set_nodelay(true) {
            tracing::debug!(%error, "a connection keeps its delay");
        }
    });
    axum::serve(listener, service).with_graceful_shutdown(stop.cancelled_owned()).await
}
