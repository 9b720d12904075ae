//! What a start folds: a state to go on from, read through the index. No work here grows with the archive.

use std::time::Duration;

use sqlx::{Row as _, SqliteConnection};

use super::event;
use super::stock;
use super::store::{JournalError, Reader};
use crate::work_order::elapsed::Elapsed;
use crate::work_order::state::State;
use crate::work_order::waiting::MOST_WAITING;

/// Orders that stay at hand after a restart although they are finished.
pub(super) const ORDERS_AT_HAND: i64 = 20;
/// Values looked back at after a restart: ten times what the state keeps, so that those taken back do not count.
pub(super) const VALUES_AT_HAND: i64 = 400;
/// Bent clubs that are looked back at after a restart: at least as many as there are angles remembered of them.
pub(super) const TAUGHT_BY: i64 = 80;
/// Finished clubs of named parts that are looked back at after a restart, for what the forecast learnt of them.
pub(super) const NAMED_TAUGHT_BY: i64 = 200;

impl Reader {
    /// The state a bench goes on from: as the fold of all events, without the orders that are finished, not among the last
    /// ones and of no club that is not to be played yet; [`Reader::recall`] brings such an order back.
    ///
    /// # Errors
    /// When the database fails or an event is damaged.
    pub async fn at_hand(&self) -> Result<State, JournalError> {
        self.indexed().await?;
        let mut connection = self.connections().acquire().await.map_err(|error| self.failed(error))?;
        let waiting = orders_that_wait(&mut connection).await.map_err(|error| self.failed(error))?;
        drop(connection);
        let rows = sqlx::query(AT_HAND)
            .bind(VALUES_AT_HAND)
            .bind(ORDERS_AT_HAND)
            .bind(waiting)
            .fetch_all(self.connections())
            .await
            .map_err(|error| self.failed(error))?;
        let mut state = State::default();
        // What was left in the drawers is known at some event; from there on it is folded.
        let stock = stock::kept(self.connections()).await.map_err(|error| self.failed(error))?;
        let counted = rows.partition_point(|row| row.try_get::<i64, _>(0).is_ok_and(|seq| seq <= stock.seq));
        let (before, after) = rows.split_at(counted);
        self.apply(&mut state, before)?;
        if stock.seq > 0 {
            state.drawer_stock.resume(stock.counts);
        }
        self.apply(&mut state, after)?;
        // What is known of bending and of forecasts was taught by clubs whose orders may be finished long ago.
        let taught = sqlx::query(TEACHERS).bind(TAUGHT_BY).bind(NAMED_TAUGHT_BY);
        let rows = taught.fetch_all(self.connections()).await.map_err(|error| self.failed(error))?;
        let mut teachers = State::default();
        self.apply(&mut teachers, &rows)?;
        state.teach(&teachers);
        Ok(state)
    }
}

/// Orders of clubs whose time to play may not be over at the last event, as a JSON array of their numbers in the index: their
/// timers are shown though they may be finished long ago, in orders.
///
/// The last bonds alone are looked at, so no work here grows with the archive. From a few events less running time comes out
/// than from all of them, so an order too many may be named and none too few.
pub(super) async fn orders_that_wait(connection: &mut SqliteConnection) -> Result<String, sqlx::Error> {
    let bonds = sqlx::query(LAST_BONDS).bind(BATCHES_BACK).bind(BONDS_BACK).fetch_all(&mut *connection).await?;
    let Some(earliest) = bonds.first().map(|row| row.try_get::<i64, _>(0)).transpose()? else {
        return Ok("[]".to_owned());
    };
    let times = sqlx::query(TIMES_SINCE).bind(earliest).fetch_all(&mut *connection).await?;
    // Each with its order and the time to play, where it is a bond.
    let mut rows = Vec::with_capacity(bonds.len() + times.len());
    for row in &bonds {
        let bond: (i64, f64) = (row.try_get(2)?, row.try_get(3)?);
        rows.push((row.try_get::<i64, _>(0)?, row.try_get::<&str, _>(1)?, Some(bond)));
    }
    for row in &times {
        rows.push((row.try_get(0)?, row.try_get(1)?, None));
    }
    rows.sort_by_key(|(seq, ..)| *seq);
    let (mut elapsed, mut waits) = (Elapsed::default(), Vec::new());
    for (_, body, bond) in rows {
        // One that is damaged has its word in `records verify`.
        let Ok(event) = event::parse(body) else { continue };
        elapsed.apply(&event);
        waits.extend(bond.map(|(order, play_s)| (order, elapsed.run_us(), play_s)));
    }
    let since_s = |us: i64| {
        Duration::from_micros(u64::try_from(elapsed.run_us().saturating_sub(us)).unwrap_or_default()).as_secs_f64()
    };
    let waiting = waits.into_iter().filter(|(_, bonded_us, play_s)| since_s(*bonded_us) < *play_s);
    let orders: Vec<String> = waiting.map(|(order, ..)| order.to_string()).collect();
    Ok(format!("[{}]", orders.join(",")))
}

/// Batches, mixed or discarded, whose bonds are looked back at: those that a start folds.
const BATCHES_BACK: i64 = 400;
/// Bonds that are looked back at: as many as the state shows times of. No shop bonds so many within the longest time of a sheet.
const BONDS_BACK: i64 = MOST_WAITING as i64;

/// The last bonds, oldest first, with their orders and how long their clubs are not to be played, in seconds.
const LAST_BONDS: &str = "
    WITH mixed(name, play_s) AS MATERIALIZED (
        SELECT json_extract(v.body, '$.batch.name'), CAST(json_extract(v.body, '$.batch.play_s') AS REAL)
        FROM (SELECT seq FROM index_event WHERE what = 11 AND n = 0 ORDER BY seq DESC LIMIT ?1) b
        CROSS JOIN event v ON v.seq = b.seq WHERE v.kind = 'batch_mixed')
    SELECT seq, body, order_n, play_s FROM (
        SELECT e.seq, e.body, c.order_n, m.play_s FROM mixed m CROSS JOIN index_lot l ON l.lot = m.name
        CROSS JOIN event e ON e.seq = l.seq CROSS JOIN index_club c ON c.n = l.club_n
        WHERE e.kind = 'step_done' AND c.n > 0 ORDER BY e.seq DESC LIMIT ?2) ORDER BY seq";

/// What running time is counted from since an event: starts and steps of the clock, with the one before it, and the last event.
const TIMES_SINCE: &str = "
    SELECT seq, body FROM event WHERE seq IN (
        SELECT seq FROM (SELECT seq FROM index_event WHERE what = 10 AND n = 0 AND seq >= coalesce(
            (SELECT max(seq) FROM index_event WHERE what = 10 AND n = 0 AND seq < ?1), 0) ORDER BY seq DESC LIMIT 1000)
        UNION SELECT max(seq) FROM event)";

/// Everything that [`Reader::at_hand`] folds; `?3` is what [`orders_that_wait`] gives. CROSS JOIN keeps the few rows outside: in any other order all clubs are read.
pub(super) const AT_HAND: &str = "
    WITH recent(seq) AS MATERIALIZED (SELECT seq FROM index_event WHERE what = 3 AND n = 0 ORDER BY seq DESC LIMIT ?1),
    last_orders(n) AS (SELECT n FROM index_order ORDER BY n DESC LIMIT ?2),
    last_clubs(n) AS (SELECT c.n FROM index_latest l JOIN event v ON v.seq = l.seq
        JOIN index_club c ON c.club = json_extract(v.body, '$.club')
        WHERE l.name IN ('club_opened/', 'club_finished/')),
    wanted(n) AS MATERIALIZED (SELECT n FROM last_orders
        UNION SELECT order_n FROM index_club WHERE state NOT IN ('finished', 'dropped')
        UNION SELECT order_n FROM index_club WHERE stale = 1
        UNION SELECT order_n FROM index_club WHERE n IN (SELECT n FROM last_clubs)
        UNION SELECT value FROM json_each(?3)
        UNION SELECT o.n FROM index_latest l JOIN event v ON v.seq = l.seq
            JOIN index_order o ON o.number = json_extract(v.body, '$.order') WHERE l.name = 'order_opened/')
    SELECT seq, body FROM event WHERE seq IN (
        SELECT seq FROM recent
        UNION SELECT e.seq FROM recent r JOIN index_event e ON e.what = 2 AND e.n = r.seq
        UNION SELECT seq FROM index_latest WHERE name < 'batch/' OR name >= 'batch0'
        UNION SELECT t.seq FROM index_latest l CROSS JOIN index_trust t ON t.instrument = substr(l.name, 7) AND t.seq >
            coalesce((SELECT seq FROM index_latest WHERE name = 'calibrated/' || substr(l.name, 7)), 0)
            WHERE l.name >= 'trust/' AND l.name < 'trust0'
        UNION SELECT seq FROM index_event WHERE what IN (4, 5, 20) AND n = 0
        UNION SELECT seq FROM index_event WHERE what = 9 AND n = 0
            AND seq > coalesce((SELECT seq FROM index_latest WHERE name = 'stock/'), 0)
        UNION SELECT seq FROM (SELECT seq FROM index_event WHERE what = 10 AND n = 0 ORDER BY seq DESC LIMIT 1000)
        UNION SELECT seq FROM (SELECT seq FROM index_event WHERE what = 11 AND n = 0 ORDER BY seq DESC LIMIT 400)
        UNION SELECT e.seq FROM wanted w CROSS JOIN index_event e ON e.what = 0 AND e.n = w.n
        UNION SELECT e.seq FROM wanted w CROSS JOIN index_club c ON c.order_n = w.n
            CROSS JOIN index_event e ON e.what = 1 AND e.n = c.n
        UNION SELECT max(seq) FROM event) ORDER BY seq";

pub(super) const TEACHERS: &str = "
    WITH late(n, order_n, last_us) AS MATERIALIZED (SELECT n, order_n, last_us FROM index_club
        ORDER BY last_us DESC LIMIT 2000),
    bent(n, order_n) AS MATERIALIZED (SELECT * FROM (SELECT c.n, c.order_n FROM late c
            WHERE EXISTS (SELECT 1 FROM index_event b WHERE b.what = 7 AND b.n = c.n) ORDER BY c.last_us DESC LIMIT ?1)
        UNION SELECT * FROM (SELECT c.n, c.order_n FROM index_event b CROSS JOIN index_club c ON c.n = b.n
            WHERE b.what = 7 ORDER BY b.n DESC LIMIT ?1)),
    named(n, order_n) AS MATERIALIZED (SELECT c.n, c.order_n FROM index_event m CROSS JOIN index_club c ON c.n = m.n
        WHERE m.what = 8 AND c.state = 'finished' ORDER BY m.n DESC LIMIT ?2),
    teacher(n, order_n) AS MATERIALIZED (SELECT n, order_n FROM bent UNION SELECT n, order_n FROM named)
    SELECT seq, body FROM event WHERE seq IN (
        SELECT e.seq FROM teacher t CROSS JOIN index_event e ON e.what = 0 AND e.n = t.order_n
        UNION SELECT e.seq FROM teacher t CROSS JOIN index_event e ON e.what = 1 AND e.n = t.n) ORDER BY seq";
