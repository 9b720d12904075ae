//! Ready means progress: a bench that stands still, or cannot write, is not ready, although the process answers.

use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use tokio::sync::{mpsc, watch};

use super::{Web, api};
use crate::clock::Clock;
use crate::journal::store::Journal;
use crate::measurement::stamp::Stamp;
use crate::output::text::Lengths;
use crate::output::view::{Banner, Snapshot};

/// What is answered while the bench's last beat is so old and the journal in this trouble.
async fn status(beat_age_s: f64, trouble: Option<Banner>) -> StatusCode {
    let folder = tempfile::tempdir().unwrap();
    let journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
    let clock = Clock::start(1.0);
    let stamp = Stamp { t_s: clock.now().t_s - beat_age_s, at_us: 0 };
    let web = Web {
        site: "s".into(),
        bench: "bench-1".into(),
        hosts: Arc::default(),
        url: None,
        token: Arc::default(),
        snapshots: watch::channel(Arc::new(Snapshot { stamp, ..Snapshot::default() })).1,
        journal_trouble: watch::channel(trouble).1,
        broker_trouble: watch::channel(Some("the broker is away; start it".to_owned())).1,
        index_was_damaged: false,
        journal: journal.reader(),
        commands: mpsc::channel(1).0,
        questions: mpsc::channel(1).0,
        planner: Arc::default(),
        lengths: Lengths::Inches,
        zone: jiff::tz::TimeZone::UTC,
        clock,
    };
    let status = api::ready(State(web)).await.status();
    journal.close().await;
    status
}

#[tokio::test]
async fn ready_means_that_the_bench_makes_progress() {
    let fault = || Banner { level: "fault", text: "the journal cannot be written".into(), remedy: "free space".into() };
    // A broker that is away makes nobody wait: readings are kept all the same.
    assert_eq!(status(0.0, None).await, StatusCode::OK);
    assert_eq!(status(4.0, None).await, StatusCode::OK);
    assert_eq!(status(6.0, None).await, StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(status(0.0, Some(fault())).await, StatusCode::SERVICE_UNAVAILABLE);
}
