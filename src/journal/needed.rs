//! What of the oldest events a journal cannot do without: everything that a start folds, whole orders that are not over or not
//! old, everything of instruments, studies, numbered parts and drawers, and what holds for the whole bench.

use sqlx::{Row as _, SqliteConnection};

use super::index::number;
use super::retired::RetiredClub;
use super::start::{AT_HAND, NAMED_TAUGHT_BY, ORDERS_AT_HAND, TAUGHT_BY, TEACHERS, VALUES_AT_HAND, orders_that_wait};

/// Notes the orders that stay and the events that are needed, in temporary tables of the connection (`stays`, `needed`); `last`
/// is the last sequence that is to be retired.
pub(super) async fn choose(connection: &mut SqliteConnection, last: u64) -> Result<(), sqlx::Error> {
    sqlx::raw_sql(
        "DROP TABLE IF EXISTS temp.stays; DROP TABLE IF EXISTS temp.needed;
         CREATE TEMP TABLE stays (n INTEGER PRIMARY KEY, why INTEGER NOT NULL); CREATE TEMP TABLE needed (seq INTEGER PRIMARY KEY)",
    )
    .execute(&mut *connection)
    .await?;
    let waiting = orders_that_wait(connection).await?;
    sqlx::query(STAYS)
        .bind(number(last))
        .bind(ORDERS_AT_HAND)
        .bind(TAUGHT_BY)
        .bind(NAMED_TAUGHT_BY)
        .bind(&waiting)
        .execute(&mut *connection)
        .await?;
    let folded = format!("INSERT OR IGNORE INTO temp.needed SELECT seq FROM ({AT_HAND})");
    sqlx::query(sqlx::AssertSqlSafe(folded))
        .bind(VALUES_AT_HAND)
        .bind(ORDERS_AT_HAND)
        .bind(waiting)
        .execute(&mut *connection)
        .await?;
    let taught = format!("INSERT OR IGNORE INTO temp.needed SELECT seq FROM ({TEACHERS})");
    sqlx::query(sqlx::AssertSqlSafe(taught)).bind(TAUGHT_BY).bind(NAMED_TAUGHT_BY).execute(&mut *connection).await?;
    for needed in NEEDED {
        sqlx::query(needed).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Orders that stay, each with the first reason for it, see [`why_all_stay`]: not over, worked on after the segment, among the last
/// ones, with a club that is not to be played yet (`?5`), or with one that teaches something; `?1` is the last sequence of the segment.
const STAYS: &str = "
    INSERT INTO temp.stays SELECT n, min(why) FROM (
    SELECT order_n AS n, 1 AS why FROM index_club WHERE state NOT IN ('finished', 'dropped') OR stale = 1
    UNION ALL SELECT c.order_n, 1 FROM index_latest l JOIN event v ON v.seq = l.seq
        JOIN index_club c ON c.club = json_extract(v.body, '$.club') WHERE l.name IN ('club_opened/', 'club_finished/')
    UNION ALL SELECT o.n, 1 FROM index_latest l JOIN event v ON v.seq = l.seq
        JOIN index_order o ON o.number = json_extract(v.body, '$.order') WHERE l.name = 'order_opened/'
    UNION ALL SELECT n, 2 FROM index_event WHERE what = 0 AND seq > ?1
    UNION ALL SELECT c.order_n, 2 FROM index_event e CROSS JOIN index_club c ON c.n = e.n WHERE e.what = 1 AND e.seq > ?1
    UNION ALL SELECT n, 3 FROM (SELECT n FROM index_order ORDER BY n DESC LIMIT ?2)
    UNION ALL SELECT value, 4 FROM json_each(?5)
    UNION ALL SELECT order_n, 5 FROM (SELECT c.order_n FROM index_club c
        WHERE EXISTS (SELECT 1 FROM index_event b WHERE b.what = 7 AND b.n = c.n) ORDER BY c.last_us DESC LIMIT ?3)
    UNION ALL SELECT order_n, 5 FROM (SELECT c.order_n FROM index_event b CROSS JOIN index_club c ON c.n = b.n
        WHERE b.what = 7 ORDER BY b.n DESC LIMIT ?3)
    UNION ALL SELECT order_n, 5 FROM (SELECT c.order_n FROM index_event m CROSS JOIN index_club c ON c.n = m.n
        WHERE m.what = 8 AND c.state = 'finished' ORDER BY m.n DESC LIMIT ?4))
    GROUP BY n";

/// Why no club could be retired, after [`choose`]: how many orders that old stay, and what for.
pub(super) async fn why_all_stay(connection: &mut SqliteConnection, last: u64) -> Result<String, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT s.why, count(*) FROM temp.stays s WHERE s.n > 0
         AND (SELECT min(e.seq) FROM index_event e WHERE e.what = 0 AND e.n = s.n) <= ? GROUP BY s.why ORDER BY s.why",
    )
    .bind(number(last))
    .fetch_all(connection)
    .await?;
    let (mut all, mut reasons) = (0, Vec::new());
    for row in rows {
        let (why, count): (i64, i64) = (row.try_get(0)?, row.try_get(1)?);
        all += count;
        let is = if count == 1 { "is" } else { "are" };
        let has = if count == 1 { "has" } else { "have" };
        reasons.push(match why {
            1 => format!("{count} {is} not over, or {has} the club that was in hand last"),
            2 => format!("{count} had something done since"),
            3 => format!("{count} {is} among the last {ORDERS_AT_HAND}, which stay at hand"),
            4 => format!("{count} {has} a club that is not to be played yet"),
            _ => format!("{count} taught the forecasts, or what heads spring back, and {is} still needed for that"),
        });
    }
    Ok(match all {
        0 => "no order is that old and not retired yet".to_owned(),
        1 => format!("one order is that old, and it stays: {}", reasons.join("; ")),
        _ => format!("{all} orders are that old, and all stay: {}", reasons.join("; ")),
    })
}

/// Events that must stay: those of orders that stay; what holds for the bench, studies, drawers, running time, numbered parts,
/// gaps; instruments; and the readings that any of these speak of, with what was said of those.
const NEEDED: [&str; 6] = [
    "INSERT OR IGNORE INTO temp.needed SELECT e.seq FROM temp.stays s CROSS JOIN index_event e ON e.what = 0 AND e.n = s.n",
    "INSERT OR IGNORE INTO temp.needed SELECT e.seq FROM temp.stays s CROSS JOIN index_club c ON c.order_n = s.n
        CROSS JOIN index_event e ON e.what = 1 AND e.n = c.n",
    "INSERT OR IGNORE INTO temp.needed SELECT seq FROM index_event WHERE what IN (4, 5, 9, 10, 12, 20) AND n = 0
        UNION SELECT n FROM index_event WHERE what IN (6, 21) UNION SELECT seq FROM index_trust",
    "INSERT OR IGNORE INTO temp.needed SELECT n FROM index_event WHERE what = 2 AND seq IN (SELECT seq FROM temp.needed)",
    "INSERT OR IGNORE INTO temp.needed SELECT seq FROM index_event WHERE what = 2 AND n IN (SELECT seq FROM temp.needed)",
    "INSERT OR IGNORE INTO temp.needed SELECT seq FROM index_latest WHERE name < 'batch/' OR name >= 'batch0'",
];

/// The clubs of orders that do not stay and are not retired yet, in the order of import.
pub(super) async fn clubs_to_retire(connection: &mut SqliteConnection) -> Result<Vec<RetiredClub>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT o.number, o.player, c.club, c.token, c.name, c.state, c.entries, c.is_out, c.last_us, c.n
         FROM index_club c JOIN index_order o ON o.n = c.order_n
         WHERE c.order_n NOT IN (SELECT n FROM temp.stays) AND c.n NOT IN (SELECT club_n FROM index_retired)
         ORDER BY o.n, c.n",
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut clubs = Vec::with_capacity(rows.len());
    for row in rows {
        let lots = sqlx::query_scalar("SELECT DISTINCT lot FROM index_lot WHERE club_n = ? ORDER BY lot")
            .bind(row.try_get::<i64, _>(9)?)
            .fetch_all(&mut *connection)
            .await?;
        clubs.push(RetiredClub {
            order: row.try_get(0)?,
            player: row.try_get(1)?,
            club: row.try_get(2)?,
            token: row.try_get(3)?,
            name: row.try_get(4)?,
            state: row.try_get(5)?,
            entries: row.try_get(6)?,
            is_out: row.try_get(7)?,
            last_us: row.try_get(8)?,
            lots,
        });
    }
    Ok(clubs)
}
