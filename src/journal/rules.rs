//! By whose rules the index of a journal was made: this program's, or those of one before it.

use sqlx::SqlitePool;

/// Version of the rows; an index of another one is made again.
pub(super) const VERSION: i64 = 7;
/// An index since this one leads to the same events, though what it lists of clubs may be by older rules. A sealed file keeps its own
/// for ever, and is read with it.
const LEADS_SINCE: i64 = 6;

/// By whose rules an index was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rules {
    /// This program's; or there is no index because nothing has happened.
    Present,
    /// Older ones: it leads to the same events, and may list a club as out of its limits otherwise.
    Older,
    /// Others, by which it may lead to less than all of a record.
    Other,
}

/// By whose rules the index was made.
pub(super) async fn rules(connections: &SqlitePool) -> Result<Rules, sqlx::Error> {
    let version: Option<i64> = sqlx::query_scalar("SELECT version FROM index_tip").fetch_optional(connections).await?;
    Ok(match version {
        None | Some(VERSION) => Rules::Present,
        Some(LEADS_SINCE..VERSION) => Rules::Older,
        Some(_) => Rules::Other,
    })
}
