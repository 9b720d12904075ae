//! Why a journal could not be read or written.

use std::path::PathBuf;

use super::event::EventError;
use super::migrate::MigrateError;

/// Why the journal could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The database refused or failed.
    #[error("journal {file} failed; check free space and the disk, nothing already stored is lost")]
    Database {
        /// The file.
        file: PathBuf,
        /// What the database said.
        source: sqlx::Error,
    },
    /// There is none.
    #[error(
        "there is no journal {file}; give the data folder of a bench that has run, or the configuration of a new one (--config)"
    )]
    None {
        /// The file.
        file: PathBuf,
    },
    /// The SQLite library can lose commits.
    #[error(
        "SQLite {version} has a known fault in its write-ahead log (3.7.0 to 3.51.2 but 3.44.6 and 3.50.7); use another build"
    )]
    FaultyLibrary {
        /// Its version.
        version: String,
    },
    /// It cannot be brought to the present schema.
    #[error("journal {file} cannot be used with this program")]
    Schema {
        /// The file.
        file: PathBuf,
        /// Why.
        source: MigrateError,
    },
    /// Its schema is older, and it is only read.
    #[error(
        "journal {file} was written by an older benchscribe; start `benchscribe run` once, which keeps the old file"
    )]
    Older {
        /// The file.
        file: PathBuf,
    },
    /// The journal belongs to another bench.
    #[error(
        "journal {file} belongs to bench \"{found}\", the configuration says \"{expected}\"; correct `bench` or `data`"
    )]
    OtherBench {
        /// The file.
        file: PathBuf,
        /// The bench it was made for.
        found: String,
        /// The bench of the configuration.
        expected: String,
    },
    /// The record is not in the journal any more.
    #[error(
        "{what} is in the segment {file}, which was retired from this journal; `records show` reads it from there (--segments DIR), nothing can be added to it"
    )]
    Retired {
        /// The club or the order.
        what: String,
        /// Name of the file it is in.
        file: String,
    },
    /// A stored event is missing or not the one that was written.
    #[error("journal event {seq} is missing or not what was written; run `benchscribe records verify`")]
    Changed {
        /// Its sequence.
        seq: u64,
    },
    /// A stored event is damaged or cannot be made.
    #[error("journal event {seq} is not readable; run `benchscribe records verify`")]
    Event {
        /// Its sequence.
        seq: u64,
        /// What is wrong with it.
        source: EventError,
    },
}
