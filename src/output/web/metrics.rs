//! Counters for a monitoring system, as OpenMetrics text. Labels are instrument ids and reasons: few, and bounded.

use std::fmt::Write as _;
use std::sync::Arc;

use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;

use super::Web;

/// The metrics page.
pub(super) async fn metrics(State(web): State<Web>) -> impl IntoResponse {
    let snapshot = Arc::clone(&web.snapshots.borrow());
    let now = web.clock.now();
    let mut page = String::new();
    let mut line = |text: std::fmt::Arguments<'_>| {
        // Writing to a String cannot fail.
        let _infallible = writeln!(page, "{text}");
    };
    line(format_args!("# TYPE benchscribe_journal_events counter"));
    line(format_args!("benchscribe_journal_events_total {}", snapshot.seq));
    line(format_args!("# TYPE benchscribe_instrument_connected gauge"));
    for view in &snapshot.instruments {
        line(format_args!(
            "benchscribe_instrument_connected{{instrument=\"{}\"}} {}",
            view.id,
            u8::from(view.connected)
        ));
    }
    line(format_args!("# TYPE benchscribe_instrument_refused_runs counter"));
    for view in &snapshot.instruments {
        for (reason, count) in &view.refused_by_reason {
            line(format_args!(
                "benchscribe_instrument_refused_runs_total{{instrument=\"{}\",reason=\"{reason}\"}} {count}",
                view.id
            ));
        }
    }
    line(format_args!("# TYPE benchscribe_instrument_age_seconds gauge"));
    line(format_args!("# UNIT benchscribe_instrument_age_seconds seconds"));
    for view in &snapshot.instruments {
        if let Some(heard_s) = view.heard_s {
            let age_s = (now.t_s - heard_s).max(0.0);
            line(format_args!("benchscribe_instrument_age_seconds{{instrument=\"{}\"}} {age_s:.3}", view.id));
        }
    }
    line(format_args!("# EOF"));
    ([(header::CONTENT_TYPE, "application/openmetrics-text; version=1.0.0; charset=utf-8")], page)
}
