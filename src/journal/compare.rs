//! The index of a journal beside one that is made again from its events: every row that one of them has and the other has not.
//!
//! Nothing is written but temporary tables, which hide those of the journal by their names; they are gone with the connection.

use std::collections::{BTreeMap, HashMap};

use futures_util::TryStreamExt as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{Connection as _, Row as _};
use tokio::sync::OnceCell;

use super::archive::{ClubLine as LineOfClub, line_of};
use super::damage::Unreadable;
use super::index::{self, OF_CLUB, OF_DRAWERS, OF_ORDER};
use super::rules::{self, Rules};
use super::stock::{self, DRAWERS, NOTED_AT, Stock};
use super::store::{Reader, pool_of};
use super::sum::Sum;
use crate::work_order::record::{ClubRecord, ClubState};
use crate::work_order::state::State;

/// Most rows named of each table.
const NAMED: usize = 10;
/// What helps.
const REMEDY: &str = "`records reindex` makes the index again from the events";

/// A table of the index.
struct Table {
    name: &'static str,
    /// The columns that the events alone decide.
    columns: &'static [&'static str],
    /// Rows of it that are looked at apart.
    but: &'static str,
}

/// The first columns are the key. What a list shows of clubs, and what is left in the drawers, are folds, and not made from
/// one event after the other.
const TABLES: [Table; 9] = [
    Table { name: "index_tip", columns: &["one", "version", "seq", "hash"], but: "0" },
    Table { name: "index_order", columns: &["n", "number", "player"], but: "0" },
    Table { name: "index_club", columns: &["n", "club", "token", "order_n", "name", "last_us"], but: "0" },
    Table { name: "index_event", columns: &["what", "n", "seq"], but: "0" },
    Table { name: "index_place", columns: &["seq", "club_n"], but: "0" },
    Table { name: "index_latest", columns: &["name", "seq"], but: "a.name IN ('stock/', 'stock-drawers/')" },
    Table { name: "index_trust", columns: &["instrument", "seq"], but: "0" },
    Table { name: "index_lot", columns: &["lot", "club_n", "seq"], but: "0" },
    Table { name: "index_retired", columns: &["club_n", "seq"], but: "0" },
];

/// What a list shows of a club.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ListLine {
    state: ClubState,
    entries: i64,
    is_out: bool,
}

impl ListLine {
    /// The line of a record.
    #[must_use]
    pub fn of(record: &ClubRecord) -> Self {
        let LineOfClub { entries, is_out, .. } = line_of(0, 0, record);
        Self { state: record.state, entries, is_out }
    }
}

/// A fold of all events that lets go of clubs when nothing comes of them any more.
#[derive(Debug, Default)]
pub struct Folded {
    /// What is at hand.
    pub state: State,
    /// The lines of clubs that were let go, by their ids.
    pub let_go: HashMap<String, ListLine>,
}

impl Folded {
    fn line(&self, club: &str) -> Option<ListLine> {
        self.let_go.get(club).copied().or_else(|| self.state.clubs.get(club).map(ListLine::of))
    }
}

/// What is left in the drawers, as the index says it.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct NotedStock {
    /// After this event; 0 where nothing is noted.
    pub seq: u64,
    /// Pieces by item.
    pub counts: BTreeMap<String, u32>,
}

impl Reader {
    /// The last event of an order or one of its clubs, as the index has it; nothing where it cannot be read.
    pub async fn last_of_order(&self, number: &str) -> Option<u64> {
        let last: Option<i64> = sqlx::query_scalar(
            "SELECT max(seq) FROM (
                 SELECT max(e.seq) AS seq FROM index_order o CROSS JOIN index_event e ON e.what = ?2 AND e.n = o.n WHERE o.number = ?1
                 UNION ALL SELECT max(e.seq) FROM index_order o CROSS JOIN index_club c ON c.order_n = o.n
                     CROSS JOIN index_event e ON e.what = ?3 AND e.n = c.n WHERE o.number = ?1)",
        )
        .bind(number.to_owned())
        .bind(OF_ORDER)
        .bind(OF_CLUB)
        .fetch_one(self.connections())
        .await
        .ok()?;
        last.and_then(|seq| u64::try_from(seq).ok())
    }

    /// What the index says was left in the drawers at some event; nothing where it cannot be read.
    pub async fn noted_stock(&self) -> NotedStock {
        let Stock { seq, counts } = stock::kept(self.connections()).await.unwrap_or_default();
        NotedStock { seq: u64::try_from(seq).unwrap_or_default(), counts }
    }

    /// Every row of the index that does not agree with the events, in words with the remedy. With `fold`, the state after
    /// all events with what it let go, also what a list shows of clubs.
    pub async fn index_faults(&self, fold: Option<&Folded>) -> Vec<String> {
        let mut faults = Vec::new();
        if let Err(error) = self.compare(fold, &mut faults).await {
            let what = Unreadable::words(&error);
            faults.push(format!("its index cannot be compared with the events ({what}); {REMEDY}"));
        }
        faults
    }

    async fn compare(&self, fold: Option<&Folded>, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
        static SHADOWS: OnceCell<Vec<String>> = OnceCell::const_new();
        let rules = rules::rules(self.connections()).await?;
        if rules == Rules::Other {
            faults.push(format!("its index was made by the rules of another benchscribe; {REMEDY}"));
            return Ok(());
        }
        let options = SqliteConnectOptions::new().filename(self.file()).read_only(true);
        let mut connection = SqliteConnection::connect_with(&options).await?;
        // A daemon may write meanwhile: all of this looks at one moment.
        sqlx::query("BEGIN").execute(&mut connection).await?;
        let events: i64 =
            sqlx::query_scalar("SELECT count(*) FROM (SELECT 1 FROM event LIMIT 1)").fetch_one(&mut connection).await?;
        let written = Sum::written(&mut connection).await?;
        if Sum::counted(&mut connection).await? != written.unwrap_or_default() || written.is_none() != (events == 0) {
            faults.push(format!("index_sum says that rows which a start reads were changed; {REMEDY}"));
        }
        for statement in SHADOWS.get_or_try_init(shadows).await? {
            if let Some(scan) = partial(statement) {
                sqlx::query(sqlx::AssertSqlSafe(scan)).execute(&mut connection).await?;
            }
            sqlx::raw_sql(sqlx::AssertSqlSafe(statement.clone())).execute(&mut connection).await?;
        }
        if events > 0 {
            index::rebuild(&mut connection).await?;
        }
        if rules == Rules::Older {
            let same = "UPDATE temp.index_tip SET version = (SELECT version FROM main.index_tip)";
            sqlx::query(same).execute(&mut connection).await?;
        }
        for table in &TABLES {
            differences(&mut connection, table, faults).await?;
        }
        drawers(&mut connection, faults).await?;
        lines(&mut connection, rules, fold, faults).await?;
        connection.close().await
    }
}

/// Statements that make the tables of the index and their own indices once more, as temporary ones.
async fn shadows() -> Result<Vec<String>, sqlx::Error> {
    let pool = pool_of(1).connect("sqlite::memory:").await?;
    for script in super::migrate::SCRIPTS.iter() {
        sqlx::raw_sql(script.sql.clone()).execute(&pool).await?;
    }
    let made: Result<Vec<String>, _> = sqlx::query_scalar(
        "SELECT sql FROM sqlite_schema WHERE tbl_name LIKE 'index\\_%' ESCAPE '\\' AND sql IS NOT NULL ORDER BY type DESC",
    )
    .fetch_all(&pool)
    .await;
    pool.close().await;
    let shadow = |sql: String| {
        sql.replacen("CREATE TABLE ", "CREATE TEMP TABLE ", 1).replacen("CREATE INDEX ", "CREATE INDEX temp.", 1)
    };
    Ok(made?.into_iter().map(shadow).collect())
}

/// A query that reads an index of some rows alone, in the journal: where it has no row, the database's own check does not look at it,
/// and a damaged one would be met by the first event that wants it.
fn partial(statement: &str) -> Option<String> {
    let (made, which) = statement.strip_prefix("CREATE INDEX temp.")?.split_once(" WHERE ")?;
    let (index, on) = made.split_once(" ON ")?;
    let table = on.split(' ').next()?;
    Some(format!("SELECT count(*) FROM main.{table} INDEXED BY {index} WHERE {which}"))
}

/// Rows that one of the two has alone. Found by their keys, so that nothing is sorted however many there are.
async fn differences(
    connection: &mut SqliteConnection,
    table: &Table,
    faults: &mut Vec<String>,
) -> Result<(), sqlx::Error> {
    let Table { name, columns, but } = table;
    let shown: Vec<String> = columns.iter().map(|column| format!("'{column} ' || quote(a.{column})")).collect();
    // A lot is found whatever its case is, and is compared with it.
    let same: Vec<String> = columns
        .iter()
        .map(|column| match *column {
            "player" => format!("a.{column} IS b.{column}"),
            "lot" => "a.lot = b.lot AND CAST(a.lot AS BLOB) = CAST(b.lot AS BLOB)".to_owned(),
            _ => format!("a.{column} = b.{column}"),
        })
        .collect();
    for (is, of, what) in [
        ("main", "temp", "a row that the events do not give"),
        ("temp", "main", "no such row, or another, where the events give"),
    ] {
        let sql = format!(
            "SELECT CAST({} AS BLOB) FROM {is}.{name} a WHERE NOT ({but})
             AND NOT EXISTS (SELECT 1 FROM {of}.{name} b WHERE {}) LIMIT {NAMED}",
            shown.join(" || ', ' || "),
            same.join(" AND ")
        );
        for row in sqlx::query(sqlx::AssertSqlSafe(sql)).fetch_all(&mut *connection).await? {
            let row: Option<Vec<u8>> = row.try_get(0)?;
            let row = String::from_utf8_lossy(&row.unwrap_or_default()).into_owned();
            faults.push(format!("{name} has {what} ({row}); {REMEDY}"));
        }
    }
    Ok(())
}

/// Whether what is left in the drawers was noted after an event of them, with the drawers as they were then. How much was left
/// is the fold's to say.
async fn drawers(connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
    let noted = "SELECT max(seq) FROM main.index_latest WHERE name = ?";
    let noted_at: Option<i64> = sqlx::query_scalar(noted).bind(NOTED_AT).fetch_one(&mut *connection).await?;
    let found: Option<i64> = sqlx::query_scalar(noted).bind(DRAWERS).fetch_one(&mut *connection).await?;
    let (last, set): (Option<i64>, Option<i64>) = sqlx::query_as(
        "SELECT max(e.seq), max(e.seq) FILTER (WHERE e.kind = 'drawers_set') FROM temp.index_event i
         CROSS JOIN main.event e ON e.seq = i.seq WHERE i.what = ? AND i.n = 0 AND i.seq <= ?",
    )
    .bind(OF_DRAWERS)
    .bind(noted_at)
    .fetch_one(&mut *connection)
    .await?;
    if (last, set) != (noted_at, found) {
        faults.push(format!(
            "index_latest says that the drawers were noted after an event that is none of them; {REMEDY}"
        ));
    }
    Ok(())
}

/// What a list shows of each club: of the fold, or nothing yet where the club is stale.
async fn lines(
    connection: &mut SqliteConnection,
    rules: Rules,
    fold: Option<&Folded>,
    faults: &mut Vec<String>,
) -> Result<(), sqlx::Error> {
    let mut rows = sqlx::query(
        "SELECT a.n, a.club, CAST(a.state AS BLOB), a.entries, a.is_out, a.stale, b.state, b.entries, b.is_out, b.stale
         FROM main.index_club a JOIN temp.index_club b ON b.n = a.n AND b.club = a.club ORDER BY a.n",
    )
    .fetch(connection);
    let mut wrong = 0;
    while let Some(row) = rows.try_next().await? {
        let club: String = row.try_get(1)?;
        let state: Vec<u8> = row.try_get(2)?;
        let found = (String::from_utf8_lossy(&state).into_owned(), row.try_get(3)?, row.try_get(4)?, row.try_get(5)?);
        let given: Line = (row.try_get(6)?, row.try_get(7)?, row.try_get(8)?, row.try_get(9)?);
        let mut folded = fold.map(|fold| fold.line(&club));
        if let (Rules::Older, Some(Some(line))) = (rules, &mut folded) {
            line.is_out = found.2 != 0;
        }
        if !is_given(&found, &given, folded) && wrong < NAMED {
            wrong += 1;
            faults.push(format!(
                "index_club says of {club}: {}, {} values, out {}, stale {}; the events say otherwise; {REMEDY}",
                found.0, found.1, found.2, found.3
            ));
        }
    }
    Ok(())
}

/// State, values that count, one of them is out, stale.
type Line = (String, i64, i64, i64);

/// `folded` is `None` where nothing was folded.
fn is_given(found: &Line, given: &Line, folded: Option<Option<ListLine>>) -> bool {
    // What was retired, and clubs that were dropped, are not folded.
    if given.3 == 0 {
        return found == given;
    }
    let (state, entries, is_out, stale) = found;
    match (*stale, folded) {
        // The state is that of the last time; nothing reads the rest until it is folded again.
        (1, _) => (ClubState::parse(state).is_some() || *state == given.0) && (*entries, *is_out) == (0, 0),
        (0, None) => true,
        (0, Some(None)) => found == &(given.0.clone(), given.1, given.2, 0),
        (0, Some(Some(line))) => {
            (state.as_str(), *entries, *is_out) == (line.state.name(), line.entries, i64::from(line.is_out))
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn every_index_of_some_rows_is_read_by_itself() {
        let scans: Vec<String> = shadows().await.unwrap().iter().filter_map(|statement| partial(statement)).collect();
        let read = "SELECT count(*) FROM main.index_club INDEXED BY index_club_out WHERE is_out = 1".to_owned();
        assert!(scans.contains(&read), "{scans:?}");
        assert_eq!(scans.len(), 4, "{scans:?}");
    }
}
