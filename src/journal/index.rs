//! The index of the journal, written in the transaction of its events: which events make up which record.
//!
//! What an event bears on is `work_order::bearing`'s; here it becomes rows. Rows too many do no harm, since a record is the
//! fold of the events themselves; rows too few would, so an index that does not stand where the chain stands is made again.

use sqlx::{Row as _, SqliteConnection};

use super::chain::GENESIS;
use super::rules::VERSION;
use super::sum::{LATEST, Sum, TRUST};
use super::{event, retired};
use crate::work_order::bearing::{BatchBearing, Bearing, StudyBearing, TrustBearing};
use crate::work_order::event::{Change, Event};
use crate::work_order::order::Order;

/// Events read at a time when the index is made again.
const REBUILD: i64 = 1000;

/// What a row of `index_event` is about: an order, a club, a reading, any value, the bench, gauge studies,
/// a reading of a gauge study, a club that was bent, a club whose parts are named, the drawers, running time,
/// batches of adhesive, events that are not in the journal any more, numbered parts, a reading of one of them.
pub(super) const OF_ORDER: i64 = 0;
pub(super) const OF_CLUB: i64 = 1;
pub(super) const OF_READING: i64 = 2;
const OF_VALUES: i64 = 3;
pub(super) const OF_BENCH: i64 = 4;
const OF_STUDIES: i64 = 5;
const STUDIED: i64 = 6;
const BENT: i64 = 7;
const NAMED_PARTS: i64 = 8;
pub(super) const OF_DRAWERS: i64 = 9;
pub(super) const OF_TIME: i64 = 10;
const OF_BATCHES: i64 = 11;
pub(super) const OF_GAPS: i64 = 12;
pub(super) const OF_PARTS: i64 = 20;
const STOCKED: i64 = 21;
/// Those that every start reads from the first to the last.
pub(super) const READ_WHOLE: [i64; 3] = [OF_BENCH, OF_STUDIES, OF_PARTS];

/// A sequence as the database counts.
pub(super) fn number(seq: u64) -> i64 {
    i64::try_from(seq).unwrap_or(i64::MAX)
}

/// Takes an event into the index and its sum; it is in the table of events already.
pub(super) async fn take(connection: &mut SqliteConnection, sum: &mut Sum, event: &Event) -> Result<(), sqlx::Error> {
    let Bearing {
        order,
        club,
        reading,
        files,
        value,
        latest,
        trust,
        study,
        bend,
        bench,
        drawers,
        time,
        of_order,
        batch,
        parts,
        stocks,
        lots,
        without,
        tells_of_gap,
        retires,
    } = event.change.bearing();
    let seq = number(event.seq);
    if let Some(order) = order {
        take_order(connection, event, order).await?;
    }
    if value {
        row(connection, OF_VALUES, 0, seq).await?;
    }
    if bench {
        row_of_start(connection, sum, OF_BENCH, seq).await?;
    }
    if drawers {
        row(connection, OF_DRAWERS, 0, seq).await?;
    }
    if time {
        row(connection, OF_TIME, 0, seq).await?;
    }
    if tells_of_gap {
        row(connection, OF_GAPS, 0, seq).await?;
    }
    if let Some(clubs) = retires {
        retired::take(connection, clubs, seq).await?;
    }
    if let Some(number) = of_order
        && let Some(n) = order_number(connection, number).await?
    {
        row(connection, OF_ORDER, n, seq).await?;
    }
    match batch {
        Some(BatchBearing::Mixed(name)) => {
            row(connection, OF_BATCHES, 0, seq).await?;
            note_latest(connection, sum, &format!("batch/{name}"), seq).await?;
        }
        Some(BatchBearing::Discarded) => {
            row(connection, OF_BATCHES, 0, seq).await?;
        }
        Some(BatchBearing::Used(_)) | None => {}
    }
    if parts {
        row_of_start(connection, sum, OF_PARTS, seq).await?;
    }
    let reading = match reading {
        Some(id) => sequence_of(connection, &id.to_string()).await?,
        None => None,
    };
    if let Some(reading) = reading {
        row(connection, OF_READING, reading, seq).await?;
        // A reading that is filed elsewhere or taken back touches the record that has it.
        if let Some(former) = place(connection, reading).await? {
            touch(connection, former, event).await?;
        }
        if is_marked(connection, STUDIED, reading).await? {
            row_of_start(connection, sum, OF_STUDIES, seq).await?;
        }
        if stocks {
            row(connection, STOCKED, reading, seq).await?;
        } else if is_marked(connection, STOCKED, reading).await? {
            row_of_start(connection, sum, OF_PARTS, seq).await?;
        }
    }
    if let Some(club) = club
        && let Some(n) = club_number(connection, club).await?
    {
        touch(connection, n, event).await?;
        for lot in lots {
            note_lot(connection, lot, n, seq).await?;
        }
        if let Change::StepDone { batch: Some(batch), .. } = &event.change {
            note_batch(connection, batch, n, seq).await?;
        }
        if bend {
            row(connection, BENT, n, 0).await?;
        }
        if let Some(BatchBearing::Used(name)) = batch
            && let Some(mixed) = latest_of(connection, &format!("batch/{name}")).await?
        {
            row(connection, OF_CLUB, n, mixed).await?;
        }
        if files {
            let filed = reading.unwrap_or(seq);
            row(connection, OF_CLUB, n, filed).await?;
            sqlx::query(
                "INSERT INTO index_place (seq, club_n) VALUES (?, ?)
                 ON CONFLICT (seq) DO UPDATE SET club_n = excluded.club_n",
            )
            .bind(filed)
            .bind(n)
            .execute(&mut *connection)
            .await?;
        }
    }
    if let Some(used) = without
        && let Some(used) = sequence_of(connection, &used.to_string()).await?
    {
        sqlx::query("DELETE FROM index_lot WHERE seq = ?").bind(used).execute(&mut *connection).await?;
    }
    if let Some(study) = study {
        take_study(connection, sum, study, reading, seq).await?;
    }
    if let Some((name, of)) = latest {
        // Who comes to the bench moves a study that is open.
        if name == "operator" && is_study_open(connection).await? {
            row_of_start(connection, sum, OF_STUDIES, seq).await?;
        }
        note_latest(connection, sum, &format!("{name}/{of}"), seq).await?;
    }
    if let Some(trust) = trust {
        take_trust(connection, sum, trust, seq).await?;
    }
    Ok(())
}

/// Notes where the index stands now, and its sum.
pub(super) async fn seal(connection: &mut SqliteConnection, sum: Sum, seq: u64, hash: &str) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO index_tip (one, version, seq, hash) VALUES (1, ?, ?, ?)
         ON CONFLICT (one) DO UPDATE SET version = excluded.version, seq = excluded.seq, hash = excluded.hash",
    )
    .bind(VERSION)
    .bind(number(seq))
    .bind(hash)
    .execute(&mut *connection)
    .await?;
    sum.write(connection).await
}

/// How the index stands to the events.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    /// It stands where the chain stands, and what a start reads of it whole adds up.
    Whole,
    /// It was made by other rules, or it does not stand where the chain stands.
    Elsewhere,
    /// Rows were changed, lost or made up.
    Damaged,
}

/// How the index stands, as far as a start can look: its end, and the rows that it reads whole.
pub(super) async fn standing(connection: &mut SqliteConnection) -> Result<Standing, sqlx::Error> {
    let last =
        sqlx::query("SELECT seq, hash FROM event ORDER BY seq DESC LIMIT 1").fetch_optional(&mut *connection).await?;
    let last: (i64, String) = match last {
        Some(row) => (row.try_get(0)?, row.try_get(1)?),
        None => (0, GENESIS.to_owned()),
    };
    let tips = sqlx::query("SELECT one, version, seq, hash FROM index_tip").fetch_all(&mut *connection).await?;
    let stands = match &tips[..] {
        [tip] => (tip.try_get(0)?, tip.try_get(1)?, tip.try_get(2)?, tip.try_get(3)?) == (1, VERSION, last.0, last.1),
        [] => last.0 == 0,
        _ => false,
    };
    if !stands {
        return Ok(Standing::Elsewhere);
    }
    let written = Sum::written(connection).await?.unwrap_or_default();
    Ok(if Sum::counted(connection).await? == written { Standing::Whole } else { Standing::Damaged })
}

/// Makes the index again from the events, in one transaction of the caller. A damaged event is left out: `records verify`
/// names it.
pub(super) async fn rebuild(connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    for table in [
        "DELETE FROM index_tip",
        "DELETE FROM index_sum",
        "DELETE FROM index_order",
        "DELETE FROM index_club",
        "DELETE FROM index_event",
        "DELETE FROM index_place",
        "DELETE FROM index_latest",
        "DELETE FROM index_trust",
        "DELETE FROM index_stock",
        "DELETE FROM index_lot",
        "DELETE FROM index_retired",
    ] {
        sqlx::query(table).execute(&mut *connection).await?;
    }
    let (mut seq, mut hash, mut sum) = (0_i64, GENESIS.to_owned(), Sum::default());
    loop {
        let rows = sqlx::query("SELECT seq, body, hash FROM event WHERE seq > ? ORDER BY seq LIMIT ?")
            .bind(seq)
            .bind(REBUILD)
            .fetch_all(&mut *connection)
            .await?;
        if rows.is_empty() {
            return seal(connection, sum, u64::try_from(seq).unwrap_or_default(), &hash).await;
        }
        for row in rows {
            (seq, hash) = (row.try_get(0)?, row.try_get(2)?);
            if let Ok(event) = event::parse(row.try_get(1)?) {
                take(connection, &mut sum, &event).await?;
            }
        }
    }
}

/// Whether it is a new one.
async fn row(connection: &mut SqliteConnection, what: i64, n: i64, seq: i64) -> Result<bool, sqlx::Error> {
    sqlx::query("INSERT INTO index_event (what, n, seq) VALUES (?, ?, ?) ON CONFLICT DO NOTHING")
        .bind(what)
        .bind(n)
        .bind(seq)
        .execute(connection)
        .await
        .map(|made| made.rows_affected() > 0)
}

/// The same of a row that every start reads, see [`READ_WHOLE`].
async fn row_of_start(
    connection: &mut SqliteConnection,
    sum: &mut Sum,
    what: i64,
    seq: i64,
) -> Result<(), sqlx::Error> {
    if row(connection, what, 0, seq).await? {
        sum.turn_event(what, seq);
    }
    Ok(())
}

/// The event is part of the club's record; what its line says of the record counts no more.
async fn touch(connection: &mut SqliteConnection, club_n: i64, event: &Event) -> Result<(), sqlx::Error> {
    row(connection, OF_CLUB, club_n, number(event.seq)).await?;
    sqlx::query("UPDATE index_club SET last_us = ?, stale = 1, entries = 0, is_out = 0 WHERE n = ?")
        .bind(event.at_us)
        .bind(club_n)
        .execute(connection)
        .await
        .map(|_| ())
}

async fn take_order(connection: &mut SqliteConnection, event: &Event, order: &Order) -> Result<(), sqlx::Error> {
    let order_n: i64 = sqlx::query_scalar(
        // Clubs that were retired have numbers below 0, so the next number is not always the one that the database gives.
        "INSERT INTO index_order (n, number, player) SELECT max(0, coalesce(max(n), 0)) + 1, ?, ? FROM index_order WHERE true
         ON CONFLICT (number) DO UPDATE SET player = excluded.player RETURNING n",
    )
    .bind(&order.number)
    .bind(&order.player)
    .fetch_one(&mut *connection)
    .await?;
    row(connection, OF_ORDER, order_n, number(event.seq)).await?;
    // A club that the new version does not have is dropped; those it has are put right below.
    sqlx::query("UPDATE index_club SET state = 'dropped', stale = 0, entries = 0, is_out = 0 WHERE order_n = ?")
        .bind(order_n)
        .execute(&mut *connection)
        .await?;
    for club in &order.clubs {
        let n: i64 = sqlx::query_scalar(
            "INSERT INTO index_club (n, club, token, order_n, name, state, entries, is_out, last_us, stale)
             SELECT max(0, coalesce(max(n), 0)) + 1, ?, ?, ?, ?, 'waiting', 0, 0, ?, 1 FROM index_club WHERE true
             ON CONFLICT (club) DO UPDATE SET token = excluded.token, order_n = excluded.order_n, name = excluded.name,
                 state = excluded.state, entries = 0, is_out = 0, last_us = excluded.last_us, stale = 1 RETURNING n",
        )
        .bind(&club.id)
        .bind(&club.token)
        .bind(order_n)
        .bind(&club.name)
        .bind(event.at_us)
        .fetch_one(&mut *connection)
        .await?;
        if !club.models.is_empty() {
            row(connection, NAMED_PARTS, n, 0).await?;
        }
    }
    Ok(())
}

/// Notes a study's event, whether the study is open, and that its reading is its own.
async fn take_study(
    connection: &mut SqliteConnection,
    sum: &mut Sum,
    study: StudyBearing<'_>,
    reading: Option<i64>,
    seq: i64,
) -> Result<(), sqlx::Error> {
    row_of_start(connection, sum, OF_STUDIES, seq).await?;
    if let Some(reading) = reading {
        row(connection, STUDIED, reading, seq).await?;
    }
    let name = format!("open-study/{}", study.study);
    match study.open {
        Some(true) => note_latest(connection, sum, &name, seq).await,
        Some(false) => {
            if let Some(before) = latest_of(connection, &name).await? {
                sum.turn(LATEST, &name, before);
            }
            sqlx::query("DELETE FROM index_latest WHERE name = ?").bind(name).execute(connection).await.map(|_| ())
        }
        None => Ok(()),
    }
}

async fn is_study_open(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM index_latest WHERE name >= 'open-study/' AND name < 'open-study0')",
    )
    .fetch_one(connection)
    .await
}

pub(super) async fn note_latest(
    connection: &mut SqliteConnection,
    sum: &mut Sum,
    name: &str,
    seq: i64,
) -> Result<(), sqlx::Error> {
    if let Some(before) = latest_of(connection, name).await? {
        sum.turn(LATEST, name, before);
    }
    sum.turn(LATEST, name, seq);
    sqlx::query(
        "INSERT INTO index_latest (name, seq) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET seq = excluded.seq",
    )
    .bind(name)
    .bind(seq)
    .execute(connection)
    .await
    .map(|_| ())
}

/// Keeps what is needed to know the trust in an instrument: its first calibration, the last test before the calibration in
/// force, the last calibration from the configuration, and everything since the one in force.
async fn take_trust(
    connection: &mut SqliteConnection,
    sum: &mut Sum,
    trust: TrustBearing<'_>,
    seq: i64,
) -> Result<(), sqlx::Error> {
    let of = trust.instrument;
    let made = sqlx::query("INSERT INTO index_trust (instrument, seq) VALUES (?, ?) ON CONFLICT DO NOTHING")
        .bind(of)
        .bind(seq)
        .execute(&mut *connection)
        .await?;
    if made.rows_affected() > 0 {
        sum.turn(TRUST, of, seq);
    }
    note_latest(connection, sum, &format!("trust/{of}"), seq).await?;
    if trust.calibrated {
        let first = format!("first/{of}");
        if latest_of(connection, &first).await?.is_none() {
            note_latest(connection, sum, &first, seq).await?;
        }
        if let Some(tested) = latest_of(connection, &format!("tested/{of}")).await? {
            note_latest(connection, sum, &format!("tested-before/{of}"), tested).await?;
        }
        note_latest(connection, sum, &format!("calibrated/{of}"), seq).await?;
    }
    if trust.tested {
        note_latest(connection, sum, &format!("tested/{of}"), seq).await?;
    }
    if trust.configured {
        note_latest(connection, sum, &format!("configured/{of}"), seq).await?;
    }
    Ok(())
}

pub(super) async fn note_lot(
    connection: &mut SqliteConnection,
    lot: &str,
    club_n: i64,
    seq: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO index_lot (lot, club_n, seq) VALUES (?, ?, ?) ON CONFLICT DO NOTHING")
        .bind(lot)
        .bind(club_n)
        .bind(seq)
        .execute(connection)
        .await
        .map(|_| ())
}

/// A bond is found by its batch, and by the maker's lot of that.
async fn note_batch(connection: &mut SqliteConnection, batch: &str, club_n: i64, seq: i64) -> Result<(), sqlx::Error> {
    note_lot(connection, batch, club_n, seq).await?;
    let lot: Option<Option<String>> = sqlx::query_scalar(
        "SELECT json_extract(v.body, '$.batch.lot') FROM index_latest l JOIN event v ON v.seq = l.seq WHERE l.name = ?",
    )
    .bind(format!("batch/{batch}"))
    .fetch_optional(&mut *connection)
    .await?;
    match lot.flatten() {
        Some(lot) => note_lot(connection, &lot, club_n, seq).await,
        None => Ok(()),
    }
}

/// The sequence of the event with this id.
async fn sequence_of(connection: &mut SqliteConnection, id: &str) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar("SELECT seq FROM event WHERE id = ?").bind(id).fetch_optional(connection).await
}

async fn is_marked(connection: &mut SqliteConnection, what: i64, reading: i64) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM index_event WHERE what = ? AND n = ?)")
        .bind(what)
        .bind(reading)
        .fetch_one(connection)
        .await
}

async fn place(connection: &mut SqliteConnection, reading: i64) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar("SELECT club_n FROM index_place WHERE seq = ?").bind(reading).fetch_optional(connection).await
}

async fn order_number(connection: &mut SqliteConnection, order: &str) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar("SELECT n FROM index_order WHERE number = ?").bind(order).fetch_optional(connection).await
}

pub(super) async fn latest_of(connection: &mut SqliteConnection, name: &str) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar("SELECT seq FROM index_latest WHERE name = ?").bind(name).fetch_optional(connection).await
}

async fn club_number(connection: &mut SqliteConnection, club: &str) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar("SELECT n FROM index_club WHERE club = ?").bind(club).fetch_optional(connection).await
}
