//! The time zone that a request is answered in: the workshop's, for pages that are shown without a script.

use jiff::tz::TimeZone;

tokio::task_local! {
    /// The zone of the request that is being answered.
    static CURRENT: TimeZone;
}

/// The zone of the request that is being answered; UTC outside of one.
pub(super) fn current() -> TimeZone {
    CURRENT.try_with(Clone::clone).unwrap_or(TimeZone::UTC)
}

/// Answers a request in a zone.
pub(super) async fn during<F: Future>(zone: TimeZone, answer: F) -> F::Output {
    CURRENT.scope(zone, answer).await
}
