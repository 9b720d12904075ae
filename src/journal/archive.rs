//! The journal looked up through its index: one club's record, the state a bench goes on from, clubs by what is known of
//! them. No work here grows with the archive; what comes out is always a fold of the events themselves.

use sqlx::Row as _;
use sqlx::SqliteConnection;
use sqlx::sqlite::SqliteRow;

use super::chain::{GENESIS, link};
use super::event;
use super::index::{self, OF_BENCH, OF_CLUB, OF_ORDER, OF_TIME, number};
use super::rules::{Rules, rules};
use super::store::{Journal, JournalError, Reader};
use crate::work_order::event::EventId;
use crate::work_order::order::Order;
use crate::work_order::record::ClubRecord;
use crate::work_order::state::State;

/// Most starts and steps of the clock that are folded with a record: those from its first event to its last, and the one before
/// them; far more than while a cure lasts.
const TIMES_OF_RECORD: i64 = 200;
/// Most clubs whose line in a list is not up to date; more are brought up to date by the writer.
const MOST_STALE: i64 = 8;

/// A club looked up.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundClub {
    /// Its order.
    pub order: Order,
    /// Its record.
    pub club: ClubRecord,
    /// Hash of the club's last event; empty where nothing happened to it.
    pub chain: String,
}

/// What clubs are looked for by; what is `None` does not matter.
#[derive(Debug, Clone, Default)]
pub struct Search {
    /// Number of the order.
    pub order: Option<String>,
    /// The shop's reference for the player.
    pub player: Option<String>,
    /// The club's id or token.
    pub club: Option<String>,
    /// Lot, serial or number of a part in it, or batch or lot of its adhesive, as printed.
    pub lot: Option<String>,
    /// Last event not before this wall time, in microseconds since 1970 UTC.
    pub since_us: Option<i64>,
    /// Last event before this wall time.
    pub until_us: Option<i64>,
    /// Only clubs with a value that counts and is outside its limits.
    pub out: bool,
    /// The most lines; the clubs worked on last are taken.
    pub limit: u32,
}

/// A line of a list of clubs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClubLine {
    /// Number in the order of import; below 0 for a club whose record is in a segment that was retired.
    pub n: i64,
    /// The club's id.
    pub club: String,
    /// Its token.
    pub token: String,
    /// Its name.
    pub name: String,
    /// Its order.
    pub order: String,
    /// Where it is.
    pub state: String,
    /// How many values count.
    pub entries: i64,
    /// A value that counts is outside its limits.
    pub is_out: bool,
    /// Wall time of its last event, in microseconds since 1970 UTC.
    pub last_us: i64,
    /// The file of the retired segment that its record is in.
    pub segment: Option<String>,
}

/// Clubs found, in the order of import.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Found {
    /// The lines.
    pub clubs: Vec<ClubLine>,
    /// There are more than were asked for.
    pub more: bool,
}

/// Where an order stands in the index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderPlace {
    n: i64,
    /// Its number.
    pub number: String,
}

/// Something that belongs to an order.
#[derive(Debug, Clone, Copy)]
pub enum Key<'a> {
    /// The order's own number.
    Order(&'a str),
    /// A club, by id or token.
    Club(&'a str),
    /// A captured or typed value that is in a record.
    Value(EventId),
}

const COLUMNS: &str = "SELECT c.n, c.club, c.token, c.name, o.number, c.state, c.entries, c.is_out, c.last_us FROM
    index_club c JOIN index_order o ON o.n = c.order_n WHERE c.state <> 'dropped'";

impl Reader {
    /// A journal that is only read may have an index made by older rules, which leads to less than all of a record.
    pub(super) async fn indexed(&self) -> Result<(), JournalError> {
        match rules(self.connections()).await.map_err(|error| self.failed(error))? {
            Rules::Present | Rules::Older => Ok(()),
            Rules::Other => Err(JournalError::Older { file: self.file().to_owned() }),
        }
    }

    /// The record of a club, by its id or token.
    ///
    /// # Errors
    /// When the database fails, an event of the club is damaged, or the record is in a segment that was retired.
    pub async fn club(&self, club: &str) -> Result<Option<FoundClub>, JournalError> {
        self.indexed().await?;
        let mut connection = self.connections().acquire().await.map_err(|error| self.failed(error))?;
        let found = club_of(&mut connection, club).await.map_err(|error| self.failed(error))?;
        let Some((n, order_n, id)) = found else { return Ok(None) };
        if n > 0 {
            return self.fold_club(&mut connection, n, order_n, &id).await;
        }
        drop(connection);
        match self.segment_of(&id).await? {
            Some(segment) => Err(JournalError::Retired { what: id, file: segment.file }),
            None => Ok(None),
        }
    }

    async fn fold_club(
        &self,
        connection: &mut SqliteConnection,
        n: i64,
        order_n: i64,
        id: &str,
    ) -> Result<Option<FoundClub>, JournalError> {
        let rows = sqlx::query(
            "SELECT w.seq, e.body, e.hash, (SELECT hash FROM event before WHERE before.seq = w.seq - 1) FROM (
                 SELECT seq FROM index_event WHERE what = ?1 AND n = ?2
                 UNION SELECT seq FROM index_event WHERE what = ?3 AND n = ?4
                 UNION SELECT seq FROM index_event WHERE what = ?6 AND n = 0
                 UNION SELECT seq FROM (SELECT seq FROM index_event WHERE what = ?5 AND n = 0
                     AND seq >= coalesce((SELECT max(seq) FROM index_event WHERE what = ?5 AND n = 0
                         AND seq < (SELECT min(seq) FROM index_event WHERE what = ?3 AND n = ?4)), 0)
                     AND seq < (SELECT max(seq) FROM index_event WHERE what = ?3 AND n = ?4) ORDER BY seq DESC LIMIT ?7)) w
             LEFT JOIN event e ON e.seq = w.seq ORDER BY w.seq",
        )
        .bind(OF_ORDER)
        .bind(order_n)
        .bind(OF_CLUB)
        .bind(n)
        .bind(OF_TIME)
        .bind(OF_BENCH)
        .bind(TIMES_OF_RECORD)
        .fetch_all(connection)
        .await
        .map_err(|error| self.failed(error))?;
        self.chained(&rows)?;
        let mut state = State::default();
        self.apply(&mut state, &rows)?;
        let Some(club) = state.clubs.remove(id) else { return Ok(None) };
        let Some(order) = state.orders.remove(&club.order) else { return Ok(None) };
        let of_last = |row: &&SqliteRow| row.try_get::<i64, _>(0).ok() == Some(number(club.last_seq));
        let chain = rows.iter().rev().find(of_last).map(|row| row.try_get(2)).transpose();
        let chain = chain.map_err(|error| self.failed(error))?.unwrap_or_default();
        Ok(Some(FoundClub { order, club, chain }))
    }

    /// Whether each event is there and still hangs on the one before it; across a gap nothing can be said.
    fn chained(&self, rows: &[SqliteRow]) -> Result<(), JournalError> {
        for row in rows {
            let failed = |error| self.failed(error);
            let (seq, body): (i64, Option<&str>) = (row.try_get(0).map_err(failed)?, row.try_get(1).map_err(failed)?);
            let (hash, before): (Option<&str>, Option<&str>) =
                (row.try_get(2).map_err(failed)?, row.try_get(3).map_err(failed)?);
            let before = before.or_else(|| (seq == 1).then_some(GENESIS));
            let holds = match (body, hash) {
                (Some(body), Some(hash)) => before.is_none_or(|before| link(before, body.as_bytes()) == hash),
                _ => false,
            };
            if !holds {
                return Err(JournalError::Changed { seq: u64::try_from(seq).unwrap_or_default() });
            }
        }
        Ok(())
    }

    pub(super) fn apply(&self, state: &mut State, rows: &[SqliteRow]) -> Result<(), JournalError> {
        for row in rows {
            let seq = u64::try_from(row.try_get::<i64, _>(0).map_err(|error| self.failed(error))?).unwrap_or_default();
            let body: &str = row.try_get(1).map_err(|error| self.failed(error))?;
            state.apply(&event::parse(body).map_err(|source| JournalError::Event { seq, source })?);
        }
        Ok(())
    }

    /// The order that something belongs to.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn order_of(&self, key: Key<'_>) -> Result<Option<OrderPlace>, JournalError> {
        let query = match key {
            Key::Order(number) => {
                sqlx::query("SELECT n, number FROM index_order WHERE number = ?").bind(number.to_owned())
            }
            Key::Club(club) => sqlx::query(
                "SELECT o.n, o.number FROM index_club c JOIN index_order o ON o.n = c.order_n WHERE c.club = ?1
                 UNION ALL
                 SELECT o.n, o.number FROM index_club c JOIN index_order o ON o.n = c.order_n WHERE c.token = ?1",
            )
            .bind(club.to_owned()),
            Key::Value(event) => sqlx::query(
                "SELECT o.n, o.number FROM event e JOIN index_place p ON p.seq = e.seq
                 JOIN index_club c ON c.n = p.club_n JOIN index_order o ON o.n = c.order_n WHERE e.id = ?",
            )
            .bind(event.to_string()),
        };
        let row = query.fetch_optional(self.connections()).await.map_err(|error| self.failed(error))?;
        let place = |row: SqliteRow| Ok(OrderPlace { n: row.try_get(0)?, number: row.try_get(1)? });
        row.map(place).transpose().map_err(|error| self.failed(error))
    }

    /// Brings an order with its clubs back into a state that does not have it.
    ///
    /// # Errors
    /// When the database fails, an event is damaged, or the order is in a segment that was retired.
    pub async fn recall(&self, state: &mut State, order: &OrderPlace) -> Result<(), JournalError> {
        if let Some(segment) = self.segment_of_order(&order.number).await? {
            return Err(JournalError::Retired { what: format!("order {}", order.number), file: segment.file });
        }
        let rows = sqlx::query(
            // CROSS JOIN keeps the few sequences outside; else the whole table of events may be read for them.
            "SELECT e.seq, e.body FROM (
                 SELECT seq FROM index_event WHERE what = ?1 AND n = ?2
                 UNION SELECT e.seq FROM index_club c CROSS JOIN index_event e ON e.what = ?3 AND e.n = c.n WHERE c.order_n = ?2
                 UNION SELECT seq FROM index_event WHERE what = ?4 AND n = 0
                 UNION SELECT seq FROM (SELECT seq FROM index_event WHERE what = ?5 AND n = 0
                     AND seq >= coalesce((SELECT max(seq) FROM index_event WHERE what = ?5 AND n = 0 AND seq < (SELECT
                         min(e.seq) FROM index_club c CROSS JOIN index_event e ON e.what = ?3 AND e.n = c.n
                         WHERE c.order_n = ?2)), 0)
                     AND seq < (SELECT max(e.seq) FROM index_club c CROSS JOIN index_event e ON e.what = ?3 AND e.n = c.n
                         WHERE c.order_n = ?2) ORDER BY seq DESC LIMIT ?6)) w
             CROSS JOIN event e ON e.seq = w.seq ORDER BY e.seq",
        )
        .bind(OF_ORDER)
        .bind(order.n)
        .bind(OF_CLUB)
        .bind(OF_BENCH)
        .bind(OF_TIME)
        .bind(TIMES_OF_RECORD)
        .fetch_all(self.connections())
        .await
        .map_err(|error| self.failed(error))?;
        let mut alone = State::default();
        self.apply(&mut alone, &rows)?;
        // Its place among the orders at hand is that of its import.
        let mut before = 0;
        for number in &state.order_sequence {
            let n: Option<i64> = sqlx::query_scalar("SELECT n FROM index_order WHERE number = ?")
                .bind(number)
                .fetch_optional(self.connections())
                .await
                .map_err(|error| self.failed(error))?;
            before += usize::from(n.is_some_and(|n| n < order.n));
        }
        state.recall(&order.number, alone, before);
        Ok(())
    }

    /// Clubs by what is known of them, the ones worked on last.
    ///
    /// # Errors
    /// When the database fails or an event of a club is damaged.
    pub async fn search(&self, search: &Search) -> Result<Found, JournalError> {
        self.indexed().await?;
        let limit = i64::from(search.limit);
        let rows = self.lines(search, limit + 1).await.map_err(|error| self.failed(error))?;
        let mut clubs: Vec<ClubLine> =
            rows.iter().map(line).collect::<Result<_, _>>().map_err(|error| self.failed(error))?;
        let stale = self.stale_lines().await?;
        let holders = self.holders(search.lot.as_deref()).await?;
        let of_lot = |line: &ClubLine| holders.as_ref().is_none_or(|holders| holders.contains(&line.n));
        let meant = stale.into_iter().filter(|(line, player)| meant(search, line, player.as_deref()) && of_lot(line));
        clubs.extend(meant.map(|(line, _)| line));
        clubs.sort_by_key(|line| (std::cmp::Reverse(line.last_us), line.n));
        let most = usize::try_from(search.limit).unwrap_or(usize::MAX);
        let more = clubs.len() > most;
        clubs.truncate(most);
        clubs.sort_by_key(|line| line.n);
        for line in clubs.iter_mut().take_while(|line| line.n < 0) {
            line.segment = self.segment_of(&line.club).await?.map(|segment| segment.file);
        }
        Ok(Found { clubs, more })
    }

    /// Lines that are up to date, through the index that narrows most.
    async fn lines(&self, search: &Search, limit: i64) -> Result<Vec<SqliteRow>, sqlx::Error> {
        let narrowed = match search {
            Search { club: Some(_), .. } => "AND (c.club = ?1 OR c.token = ?1)",
            Search { lot: Some(_), .. } => "AND c.n IN (SELECT club_n FROM index_lot WHERE lot = ?8)",
            Search { order: Some(_), .. } => "AND c.order_n = (SELECT n FROM index_order WHERE number = ?2)",
            Search { player: Some(_), .. } => "AND c.order_n IN (SELECT n FROM index_order WHERE player = ?3)",
            Search { out: true, .. } => "AND c.is_out = 1",
            _ => "",
        };
        let sql = format!(
            "{COLUMNS} {narrowed} AND c.stale = 0 AND c.last_us >= ?4 AND c.last_us < ?5
             AND (?1 IS NULL OR c.club = ?1 OR c.token = ?1) AND (?2 IS NULL OR o.number = ?2)
             AND (?3 IS NULL OR o.player = ?3) AND (?6 = 0 OR c.is_out = 1)
             AND (?8 IS NULL OR c.n IN (SELECT club_n FROM index_lot WHERE lot = ?8)) ORDER BY c.last_us DESC, c.n LIMIT ?7"
        );
        sqlx::query(sqlx::AssertSqlSafe(sql))
            .bind(&search.club)
            .bind(&search.order)
            .bind(&search.player)
            .bind(search.since_us.unwrap_or(i64::MIN))
            .bind(search.until_us.unwrap_or(i64::MAX))
            .bind(search.out)
            .bind(limit)
            .bind(&search.lot)
            .fetch_all(self.connections())
            .await
    }

    /// Numbers of the clubs that hold a lot; `None` when none is asked for.
    async fn holders(&self, lot: Option<&str>) -> Result<Option<Vec<i64>>, JournalError> {
        let Some(lot) = lot else { return Ok(None) };
        let found = sqlx::query_scalar("SELECT club_n FROM index_lot WHERE lot = ?").bind(lot.to_owned());
        found.fetch_all(self.connections()).await.map(Some).map_err(|error| self.failed(error))
    }

    /// The few lines that are not up to date, brought up to date by their records; each with its player.
    async fn stale_lines(&self) -> Result<Vec<(ClubLine, Option<String>)>, JournalError> {
        let mut connection = self.connections().acquire().await.map_err(|error| self.failed(error))?;
        let rows = sqlx::query("SELECT n, order_n, club, last_us FROM index_club WHERE stale = 1")
            .fetch_all(&mut *connection)
            .await
            .map_err(|error| self.failed(error))?;
        let mut lines = Vec::new();
        for row in rows {
            let (n, order_n, id, last_us) = stale(&row).map_err(|error| self.failed(error))?;
            let Some(found) = self.fold_club(&mut connection, n, order_n, &id).await? else { continue };
            let player = found.order.player.clone();
            lines.push((line_of(n, last_us, &found.club), player));
        }
        Ok(lines)
    }
}

impl Journal {
    /// Makes the index again from the events.
    ///
    /// # Errors
    /// When the database fails; then the index is as it was.
    pub async fn reindex(&self) -> Result<(), JournalError> {
        let failed = |error: sqlx::Error| self.reader().failed(error);
        let mut connection = self.writer().acquire().await.map_err(failed)?;
        let mut transaction = sqlx::Connection::begin(&mut *connection).await.map_err(failed)?;
        index::rebuild(&mut transaction).await.map_err(failed)?;
        transaction.commit().await.map_err(failed)?;
        drop(connection);
        // Until its line is up to date a club counts as one in work.
        self.refresh_all().await
    }

    /// Brings the lines of clubs up to date once there are too many that are not.
    ///
    /// # Errors
    /// When the database fails.
    pub async fn refresh(&self) -> Result<(), JournalError> {
        let reader = self.reader();
        let failed = |error: sqlx::Error| reader.failed(error);
        let mut connection = self.writer().acquire().await.map_err(failed)?;
        let count: i64 = sqlx::query_scalar("SELECT count(*) FROM index_club WHERE stale = 1")
            .fetch_one(&mut *connection)
            .await
            .map_err(failed)?;
        drop(connection);
        if count <= MOST_STALE { Ok(()) } else { self.refresh_all().await }
    }

    /// Brings every line up to date.
    pub(super) async fn refresh_all(&self) -> Result<(), JournalError> {
        let reader = self.reader();
        let failed = |error: sqlx::Error| reader.failed(error);
        let mut connection = self.writer().acquire().await.map_err(failed)?;
        let rows = sqlx::query("SELECT n, order_n, club, last_us FROM index_club WHERE stale = 1")
            .fetch_all(&mut *connection)
            .await
            .map_err(failed)?;
        let mut transaction = sqlx::Connection::begin(&mut *connection).await.map_err(failed)?;
        for row in rows {
            let (n, order_n, id, last_us) = stale(&row).map_err(failed)?;
            let line = match reader.fold_club(&mut transaction, n, order_n, &id).await {
                Ok(found) => found.map(|found| line_of(n, last_us, &found.club)),
                // A record that cannot be folded stays as it was; `records verify` names the damage.
                Err(JournalError::Event { .. } | JournalError::Changed { .. }) => None,
                Err(error) => return Err(error),
            };
            sqlx::query(
                "UPDATE index_club SET state = coalesce(?1, state), entries = coalesce(?2, entries),
                     is_out = coalesce(?3, is_out), stale = 0 WHERE n = ?4",
            )
            .bind(line.as_ref().map(|line| line.state.clone()))
            .bind(line.as_ref().map(|line| line.entries))
            .bind(line.as_ref().map(|line| line.is_out))
            .bind(n)
            .execute(&mut *transaction)
            .await
            .map_err(failed)?;
        }
        transaction.commit().await.map_err(failed)
    }
}

async fn club_of(connection: &mut SqliteConnection, club: &str) -> Result<Option<(i64, i64, String)>, sqlx::Error> {
    let row = sqlx::query(
        "SELECT n, order_n, club FROM index_club WHERE club = ?1 AND state <> 'dropped'
         UNION ALL SELECT n, order_n, club FROM index_club WHERE token = ?1 AND state <> 'dropped' LIMIT 1",
    )
    .bind(club)
    .fetch_optional(connection)
    .await?;
    row.map(|row| Ok((row.try_get(0)?, row.try_get(1)?, row.try_get(2)?))).transpose()
}

fn stale(row: &SqliteRow) -> Result<(i64, i64, String, i64), sqlx::Error> {
    Ok((row.try_get(0)?, row.try_get(1)?, row.try_get(2)?, row.try_get(3)?))
}

fn line(row: &SqliteRow) -> Result<ClubLine, sqlx::Error> {
    Ok(ClubLine {
        n: row.try_get(0)?,
        club: row.try_get(1)?,
        token: row.try_get(2)?,
        name: row.try_get(3)?,
        order: row.try_get(4)?,
        state: row.try_get(5)?,
        entries: row.try_get(6)?,
        is_out: row.try_get(7)?,
        last_us: row.try_get(8)?,
        segment: None,
    })
}

pub(super) fn line_of(n: i64, last_us: i64, record: &ClubRecord) -> ClubLine {
    ClubLine {
        n,
        club: record.spec.id.clone(),
        token: record.spec.token.clone(),
        name: record.spec.name.clone(),
        order: record.order.clone(),
        state: record.state.name().to_owned(),
        entries: i64::try_from(record.valid().count()).unwrap_or(i64::MAX),
        is_out: record.outside().next().is_some(),
        last_us,
        segment: None,
    }
}

/// The same question as `Reader::lines` asks the database.
fn meant(search: &Search, line: &ClubLine, player: Option<&str>) -> bool {
    search.order.as_ref().is_none_or(|order| *order == line.order)
        && search.player.as_deref().is_none_or(|wanted| player == Some(wanted))
        && search.club.as_ref().is_none_or(|club| *club == line.club || *club == line.token)
        && search.since_us.is_none_or(|since| line.last_us >= since)
        && search.until_us.is_none_or(|until| line.last_us < until)
        && (!search.out || line.is_out)
}
