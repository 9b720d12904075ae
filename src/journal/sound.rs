//! A journal opened for reading its records: as it is, or where it is damaged from what is whole of it.

use std::path::{Path, PathBuf};

use super::damage::Unreadable;
use super::lock;
use super::salvage::{Findings, SalvageError, broken_log, salvage};
use super::store::{FILE_NAME, JournalError, Reader};

/// Journals up to this size are looked over before they are read; larger ones when something cannot be read.
const LOOKED_OVER: u64 = 1 << 26;

/// A journal that can be read.
#[derive(Debug)]
pub struct Sound {
    /// Reads it.
    pub reader: Reader,
    /// What was found where the file is damaged.
    pub damage: Option<Damage>,
}

/// Damage of the file that is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// What was met first.
    pub what: String,
    /// What is left.
    pub findings: Findings,
}

/// Why a damaged journal cannot be read at all.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// It is not damaged, it is something else.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Nothing can be read from its raw bytes.
    #[error("journal {file} is damaged ({what})")]
    Salvage {
        /// The file.
        file: PathBuf,
        /// What was met first.
        what: String,
        /// Why nothing of it can be read.
        source: SalvageError,
    },
}

/// Opens the journal of a folder, from its raw pages where the database finds it damaged.
///
/// # Errors
/// When there is none, or nothing of it can be read.
pub async fn open(folder: &Path) -> Result<Sound, SoundError> {
    let file = folder.join(FILE_NAME);
    let reader = match Reader::open_file(file.clone()).await {
        Ok(reader) => reader,
        Err(JournalError::Database { source, .. }) => return from_raw(&file, Unreadable::words(&source)).await,
        Err(error) => return Err(error.into()),
    };
    let size = std::fs::metadata(&file).map_or(0, |found| found.len());
    if size > LOOKED_OVER || lock::running(folder).is_some() {
        return Ok(Sound { reader, damage: None });
    }
    let mut faults = reader.structure().await;
    faults.extend(broken_log(&file).map(|what| format!("its write-ahead log: {what}")));
    match faults.into_iter().next() {
        None => Ok(Sound { reader, damage: None }),
        Some(what) => {
            reader.close().await;
            from_raw(&file, what).await
        }
    }
}

/// Reads what is whole from the raw pages of a journal; `what` is the damage that was met.
///
/// # Errors
/// When nothing of it can be read.
pub async fn from_raw(file: &Path, what: String) -> Result<Sound, SoundError> {
    match salvage(file).await {
        Ok(found) => Ok(Sound { reader: found.reader, damage: Some(Damage { what, findings: found.findings }) }),
        Err(source) => Err(SoundError::Salvage { file: file.to_owned(), what, source }),
    }
}

/// Whether an error comes from damage of the file.
#[must_use]
pub fn is_damage(error: &JournalError) -> bool {
    matches!(error, JournalError::Database { .. } | JournalError::Event { .. } | JournalError::Changed { .. })
}
