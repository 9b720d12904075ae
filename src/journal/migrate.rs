//! A journal brought to the present schema: forward only, the old file kept, the index made again where it must be.

use std::path::Path;

use sqlx::migrate::Migrator;
use sqlx::{Connection as _, SqliteConnection, SqlitePool};

use super::backup::{self, BackupError};
use super::damage::is_list_readable;
use super::index;

/// The scripts that make the schema, in order.
pub(super) static SCRIPTS: Migrator = sqlx::migrate!("src/journal/schema");

/// Why a journal cannot be brought to the present schema.
#[derive(Debug, thiserror::Error)]
pub enum MigrateError {
    /// It was written by a newer program.
    #[error("it has schema {found}, this program knows {known}: use the program that wrote it, or a newer one")]
    Newer {
        /// Its version.
        found: i64,
        /// The newest one known.
        known: i64,
    },
    /// The table that lists the scripts is damaged.
    #[error(
        "the list of the scripts that made it is damaged; `benchscribe records verify` names all damage, restore a backup or run `benchscribe salvage`"
    )]
    List,
    /// The old file cannot be kept.
    #[error("the file cannot be kept as it was before the change of its schema")]
    Keep(#[from] BackupError),
    /// A script failed.
    #[error(transparent)]
    Script(#[from] sqlx::migrate::MigrateError),
    /// The database failed.
    #[error(transparent)]
    Database(#[from] sqlx::Error),
}

/// Brings a journal to the present schema. One of an older schema is first copied to
/// `journal.sqlite.schema-N`. Says whether its index was found damaged, and mended.
pub(super) async fn migrate(writer: &SqlitePool, file: &Path) -> Result<bool, MigrateError> {
    let known = SCRIPTS.iter().map(|script| script.version).max().unwrap_or_default();
    let mut connection = writer.acquire().await?;
    let found = version(&mut connection).await?;
    if !is_list_readable(&mut connection).await? {
        return Err(MigrateError::List);
    }
    if found > known {
        return Err(MigrateError::Newer { found, known });
    }
    if (1..known).contains(&found) {
        let mut kept = file.as_os_str().to_owned();
        kept.push(format!(".schema-{found}"));
        backup::copy(&mut connection, Path::new(&kept)).await?;
        tracing::info!(from = found, to = known, kept = %Path::new(&kept).display(), "the journal gets a new schema");
    }
    // There is one connection for writing, and the scripts want it.
    drop(connection);
    SCRIPTS.run(writer).await?;
    let mut connection = writer.acquire().await?;
    let standing = index::standing(&mut connection).await?;
    let is_damaged = standing == index::Standing::Damaged;
    if standing != index::Standing::Whole {
        if is_damaged {
            tracing::warn!(
                "the index of the journal is damaged: rows that a start reads were changed; the events are the record, and the index is made again from them; `benchscribe records verify` looks at everything"
            );
        } else {
            tracing::info!("the index of the journal is made again");
        }
        let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
        index::rebuild(&mut transaction).await?;
        transaction.commit().await?;
    }
    Ok(is_damaged)
}

/// The last script that was run; 0 for a new file.
async fn version(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    let has_list: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE name = '_sqlx_migrations'")
        .fetch_one(&mut *connection)
        .await?;
    if has_list == 0 {
        return Ok(0);
    }
    let found: Option<i64> =
        sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations").fetch_one(connection).await?;
    Ok(found.unwrap_or(0))
}
