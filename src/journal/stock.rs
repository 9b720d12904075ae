//! What is left in the drawers, noted now and then so that a start need not fold all that was ever taken.
//!
//! Part of the index: derived from the events, written when a journal is opened, deleted when the index is made again.

use std::collections::BTreeMap;

use sqlx::{Connection as _, Row as _, SqliteConnection, SqlitePool};

use super::event;
use super::index::{OF_DRAWERS, latest_of, note_latest};
use super::sum::{STOCK, Sum};
use crate::work_order::state::State;

/// After so many events of the drawers it is noted again.
const OFTEN: i64 = 500;
/// Names in `index_latest`: the event that it was noted after, and what the drawers were then.
pub(super) const NOTED_AT: &str = "stock/";
pub(super) const DRAWERS: &str = "stock-drawers/";

/// What was left at an event; nothing at 0.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Stock {
    pub(super) seq: i64,
    pub(super) counts: BTreeMap<String, u32>,
}

/// What is noted.
pub(super) async fn kept(connections: &SqlitePool) -> Result<Stock, sqlx::Error> {
    read(&mut *connections.acquire().await?).await
}

async fn read(connection: &mut SqliteConnection) -> Result<Stock, sqlx::Error> {
    let seq: Option<i64> = sqlx::query_scalar("SELECT seq FROM index_latest WHERE name = 'stock/'")
        .fetch_optional(&mut *connection)
        .await?;
    let rows = sqlx::query("SELECT item, pieces FROM index_stock").fetch_all(connection).await?;
    let count = |row: &sqlx::sqlite::SqliteRow| {
        Ok((row.try_get(0)?, u32::try_from(row.try_get::<i64, _>(1)?).unwrap_or_default()))
    };
    Ok(Stock { seq: seq.unwrap_or(0), counts: rows.iter().map(count).collect::<Result<_, sqlx::Error>>()? })
}

/// Notes what is left now, if much has happened since it was noted. An event that cannot be read leaves it as it was.
pub(super) async fn note(connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    let before = read(connection).await?;
    let since: i64 = sqlx::query_scalar("SELECT count(*) FROM index_event WHERE what = ? AND n = 0 AND seq > ?")
        .bind(OF_DRAWERS)
        .bind(before.seq)
        .fetch_one(&mut *connection)
        .await?;
    if since <= OFTEN {
        return Ok(());
    }
    let rows = sqlx::query(
        "SELECT seq, body FROM event WHERE seq IN (SELECT seq FROM index_event WHERE what = ?1 AND n = 0 AND seq > ?2)
         OR seq = (SELECT seq FROM index_latest WHERE name = 'stock-drawers/') ORDER BY seq",
    )
    .bind(OF_DRAWERS)
    .bind(before.seq)
    .fetch_all(&mut *connection)
    .await?;
    let (mut state, mut last, mut resumed) = (State::default(), before.seq, before.seq == 0);
    for row in &rows {
        last = row.try_get(0)?;
        if !resumed && last > before.seq {
            state.drawer_stock.resume(before.counts.clone());
            resumed = true;
        }
        let Ok(event) = event::parse(row.try_get(1)?) else { return Ok(()) };
        state.apply(&event);
    }
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    let mut sum = Sum::written(&mut transaction).await?.unwrap_or_default();
    for (item, pieces) in &before.counts {
        sum.turn(STOCK, item, i64::from(*pieces));
    }
    sqlx::query("DELETE FROM index_stock").execute(&mut *transaction).await?;
    for (item, pieces) in state.drawer_stock.counts() {
        sum.turn(STOCK, item, i64::from(pieces));
        sqlx::query("INSERT INTO index_stock (item, pieces) VALUES (?, ?)")
            .bind(item)
            .bind(pieces)
            .execute(&mut *transaction)
            .await?;
    }
    note_latest(&mut transaction, &mut sum, NOTED_AT, last).await?;
    // What the drawers were at that event decides what the next change of them means.
    if let Some(drawers) = latest_of(&mut transaction, "drawers/").await? {
        note_latest(&mut transaction, &mut sum, DRAWERS, drawers).await?;
    }
    sum.write(&mut transaction).await?;
    transaction.commit().await
}
