//! Reading a journal that may be damaged: one row at a time, as bytes, and what the database says of its own pages.

use sqlx::sqlite::SqliteRow;
use sqlx::{Row as _, SqliteConnection};
use tokio::sync::OnceCell;

use super::migrate::SCRIPTS;
use super::store::Reader;

/// The columns of an event as they are stored, whatever they hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawRow {
    /// The event's id.
    pub id: Vec<u8>,
    /// Its kind.
    pub kind: Vec<u8>,
    /// Its wall time in microseconds since 1970 UTC; `None` where something else stands there.
    pub at_us: Option<i64>,
    /// Its canonical JSON.
    pub body: Vec<u8>,
    /// Its place in the chain.
    pub hash: Vec<u8>,
}

/// The database cannot read a row.
#[derive(Debug, thiserror::Error)]
#[error("the database cannot read it: {0}")]
pub struct Unreadable(String);

impl Unreadable {
    pub(super) fn from_error(error: &(dyn std::error::Error + 'static)) -> Self {
        Self(Self::words(error))
    }

    /// An error with its causes, in one line.
    #[must_use]
    pub fn words(error: &(dyn std::error::Error + 'static)) -> String {
        let mut words = error.to_string();
        let mut next = error.source();
        while let Some(cause) = next {
            let cause_words = cause.to_string();
            // Some errors repeat their cause in their own words.
            if !words.contains(&cause_words) {
                words = format!("{words}: {cause_words}");
            }
            next = cause.source();
        }
        words
    }
}

/// What the tables, triggers and indices of a journal are, from the scripts that made them.
const SCHEMA: &str = "SELECT type || ' ' || name || ' ' || tbl_name || ' ' || coalesce(sql, '') FROM sqlite_schema
                      WHERE tbl_name NOT LIKE '\\_sqlx%' ESCAPE '\\' ORDER BY 1";

impl Reader {
    /// One event as it is stored; `None` where there is none with this sequence.
    ///
    /// # Errors
    /// When the database itself cannot read it.
    pub async fn raw_row(&self, seq: u64) -> Result<Option<RawRow>, Unreadable> {
        let row = sqlx::query(
            "SELECT CAST(id AS BLOB), CAST(kind AS BLOB), CAST(at_us AS INTEGER), CAST(body AS BLOB), CAST(hash AS BLOB)
             FROM event WHERE seq = ?",
        )
        .bind(i64::try_from(seq).unwrap_or(i64::MAX))
        .fetch_optional(self.connections())
        .await
        .map_err(|error| Unreadable(Unreadable::words(&error)))?;
        let bytes = |row: &SqliteRow, column: usize| row.try_get::<Vec<u8>, _>(column).unwrap_or_default();
        Ok(row.map(|row| RawRow {
            id: bytes(&row, 0),
            kind: bytes(&row, 1),
            at_us: row.try_get(2).ok(),
            body: bytes(&row, 3),
            hash: bytes(&row, 4),
        }))
    }

    /// What the database says is wrong with its own pages and indices, and whether its tables and the triggers that
    /// refuse changes are the ones it was made with.
    pub async fn structure(&self) -> Vec<String> {
        let mut faults = Vec::new();
        match sqlx::query_scalar::<_, String>("PRAGMA integrity_check(20)").fetch_all(self.connections()).await {
            Ok(lines) => faults.extend(lines.into_iter().filter(|line| line != "ok")),
            Err(error) => faults.push(format!("its pages cannot be checked: {}", Unreadable::words(&error))),
        }
        // Its own row is keyed by 1, which nothing else would notice.
        let own = sqlx::query_scalar::<_, i64>("SELECT count(*) FROM journal WHERE one = 1")
            .fetch_one(self.connections())
            .await;
        if !matches!(own, Ok(1)) {
            faults.push("the row that says whose journal it is does not hold".to_owned());
        }
        match self.schema_faults().await {
            Ok(found) => faults.extend(found),
            Err(error) => faults.push(format!("its tables cannot be listed: {}", Unreadable::words(&error))),
        }
        faults
    }

    /// Whether tables, triggers and the list of scripts are those that the scripts make, up to the last that was run.
    async fn schema_faults(&self) -> Result<Vec<String>, sqlx::Error> {
        let mut faults = Vec::new();
        // When a script was run, and how long it took, bears on nothing. The library does not survive the name of a type that
        // is no text, and asks for it where a column is read as it is; the other tables are strict and do not open then.
        let scripts = sqlx::query(
            "SELECT version + 0, CAST(description AS BLOB), success + 0, CAST(checksum AS BLOB) FROM _sqlx_migrations
             ORDER BY version",
        );
        let run = scripts.fetch_all(self.connections()).await?;
        let same = run.iter().zip(SCRIPTS.iter()).all(|(row, script)| {
            row.try_get::<i64, _>(0).ok() == Some(script.version)
                && row.try_get::<Vec<u8>, _>(1).is_ok_and(|found| found == script.description.as_bytes())
                && row.try_get::<i64, _>(2).ok() == Some(1)
                && row.try_get::<Vec<u8>, _>(3).is_ok_and(|found| found == *script.checksum)
        });
        if !same || run.is_empty() || run.len() > SCRIPTS.iter().count() {
            faults.push("the list of the scripts that made its tables does not hold".to_owned());
        }
        if !is_list_readable(&mut *self.connections().acquire().await?).await? {
            faults.push("the text of the table that lists its scripts does not hold".to_owned());
        }
        let found: Vec<String> = sqlx::query_scalar(SCHEMA).fetch_all(self.connections()).await?;
        // A sealed segment keeps the tables of its time.
        let is_older = same && run.len() < SCRIPTS.iter().count();
        let is_made = if is_older { found == make_schema(run.len()).await? } else { found == *made_schema().await? };
        if !is_made {
            faults.push("its tables or triggers are not the ones it was made with".to_owned());
        }
        Ok(faults)
    }
}

/// Whether the table that lists the scripts was made with plain text; true where there is none yet.
pub(super) async fn is_list_readable(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    let made: Option<Vec<u8>> =
        sqlx::query_scalar("SELECT CAST(sql AS BLOB) FROM sqlite_schema WHERE name = '_sqlx_migrations'")
            .fetch_optional(connection)
            .await?;
    Ok(made.is_none_or(|made| made.is_ascii()))
}

/// The same of a journal made now, in memory.
async fn made_schema() -> Result<&'static Vec<String>, sqlx::Error> {
    static MADE: OnceCell<Vec<String>> = OnceCell::const_new();
    MADE.get_or_try_init(|| make_schema(SCRIPTS.iter().count())).await
}

/// The same by the first scripts alone.
async fn make_schema(scripts: usize) -> Result<Vec<String>, sqlx::Error> {
    let pool = super::store::pool_of(1).connect("sqlite::memory:").await?;
    for script in SCRIPTS.iter().take(scripts) {
        sqlx::raw_sql(script.sql.clone()).execute(&pool).await?;
    }
    let made = sqlx::query_scalar(SCHEMA).fetch_all(&pool).await;
    pool.close().await;
    made
}
