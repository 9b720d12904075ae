//! Copies of a whole journal: taken while it is written, put in its place only when they are proved, old files kept.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use sqlx::Connection as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

use super::store::{FILE_NAME, Reader};

/// Why a copy was not made or not put in place; the journal is as it was.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// There is something already.
    #[error("{file} exists already; give a new name, nothing is overwritten")]
    Exists {
        /// The file.
        file: PathBuf,
    },
    /// The database.
    #[error("the copy {file} cannot be made; check free space and whether the folder can be written")]
    Database {
        /// The file.
        file: PathBuf,
        /// What the database said.
        source: sqlx::Error,
    },
    /// A file.
    #[error("{file} cannot be read or written")]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl Reader {
    /// Writes a consistent copy of the journal as it is now into a new file; a daemon may go on writing meanwhile. The file
    /// appears under its name only when all of it is on disk.
    ///
    /// # Errors
    /// When the file exists or cannot be written.
    pub async fn copy_to(&self, file: &Path) -> Result<(), BackupError> {
        if file.exists() {
            return Err(BackupError::Exists { file: file.to_owned() });
        }
        let mut connection = self.connections().acquire().await.map_err(|source| database(file, source))?;
        copy(&mut connection, file).await
    }
}

/// Copies the database of a connection into `file`, over one that is there.
pub(super) async fn copy(connection: &mut SqliteConnection, file: &Path) -> Result<(), BackupError> {
    let part = with_ending(file, ".part");
    remove_if_there(&part)?;
    // One read transaction for the whole copy: consistent, and the writer does not wait for it.
    sqlx::query("VACUUM INTO ?")
        .bind(part.display().to_string())
        .execute(connection)
        .await
        .map_err(|source| database(file, source))?;
    File::open(&part).and_then(|opened| opened.sync_all()).map_err(|source| failed(&part, source))?;
    std::fs::rename(&part, file).map_err(|source| failed(file, source))?;
    sync_folder(file)
}

/// Puts a proved journal file in the place of the one in `folder`, which is kept under another name that is returned.
/// Whoever calls holds the lock of the folder.
///
/// # Errors
/// When a file cannot be moved; at whatever instant it ends, one whole journal is in place.
pub async fn replace(folder: &Path, proved: &Path, at_us: i64) -> Result<Option<PathBuf>, BackupError> {
    let present = folder.join(FILE_NAME);
    if present.exists() {
        settle(&present).await;
    }
    swap(folder, proved, at_us)
}

/// The same, and the file that is kept is not touched: its log stays beside it as it is.
///
/// # Errors
/// As those of [`replace`].
pub fn swap(folder: &Path, proved: &Path, at_us: i64) -> Result<Option<PathBuf>, BackupError> {
    let present = folder.join(FILE_NAME);
    let kept = if present.exists() { Some(keep(&present, at_us)?) } else { None };
    std::fs::rename(proved, &present).map_err(|source| failed(&present, source))?;
    sync_folder(&present)?;
    Ok(kept)
}

/// Gives the present journal a second name, with all that belongs to it in the one file if that can be done.
fn keep(present: &Path, at_us: i64) -> Result<PathBuf, BackupError> {
    let time: String = super::event::rfc3339(at_us).chars().filter(char::is_ascii_digit).take(14).collect();
    let mut names = (0_u32..).map(|n| {
        with_ending(present, &if n == 0 { format!(".replaced-{time}") } else { format!(".replaced-{time}-{n}") })
    });
    let kept = names.find(|name| !name.exists()).unwrap_or_else(|| with_ending(present, ".replaced"));
    second_name(present, &kept)?;
    // A log that could not be taken in belongs to the old file and must not be taken for the new one's.
    let log = with_ending(present, "-wal");
    if log.exists() {
        second_name(&log, &with_ending(&kept, "-wal"))?;
        remove_if_there(&log)?;
    }
    remove_if_there(&with_ending(present, "-shm"))?;
    sync_folder(present)?;
    Ok(kept)
}

/// Takes the write-ahead log into the file; a damaged file stays as it is.
async fn settle(present: &Path) {
    let options = SqliteConnectOptions::new().filename(present).create_if_missing(false);
    if let Ok(mut connection) = SqliteConnection::connect_with(&options).await {
        let settled = sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut connection).await;
        let closed = connection.close().await;
        if let Err(error) = settled.map(|_| ()).and(closed) {
            tracing::warn!(%error, file = %present.display(), "the write-ahead log stays beside the file that is kept");
        }
    }
}

fn second_name(file: &Path, name: &Path) -> Result<(), BackupError> {
    // Some disks know no second names; then it is a copy.
    if std::fs::hard_link(file, name).is_err() {
        std::fs::copy(file, name).map_err(|source| failed(name, source))?;
    }
    File::open(name).and_then(|opened| opened.sync_all()).map_err(|source| failed(name, source))
}

fn remove_if_there(file: &Path) -> Result<(), BackupError> {
    match std::fs::remove_file(file) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(failed(file, error)),
        _ => Ok(()),
    }
}

/// A name is only safe when its folder is on disk.
pub(super) fn sync_folder(file: &Path) -> Result<(), BackupError> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    File::open(folder).and_then(|opened| opened.sync_all()).map_err(|source| failed(folder, source))
}

fn with_ending(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn failed(file: &Path, source: io::Error) -> BackupError {
    BackupError::File { file: file.to_owned(), source }
}

fn database(file: &Path, source: sqlx::Error) -> BackupError {
    BackupError::Database { file: file.to_owned(), source }
}
