//! The journal made anew without the events of a sealed segment that nothing needs any more.
//!
//! It is made beside the present journal, which is not touched; whoever calls proves it and puts it in place.

use std::path::Path;

use sqlx::{Row as _, SqliteConnection};

use super::chain::{GENESIS, sha256};
use super::index::number;
use super::needed::{choose, clubs_to_retire, why_all_stay};
use super::retired::{RetiredClub, kept_link};
use super::seal::{Manifest, SegmentError, copy, new_journal, next};
use super::store::{FILE_NAME, Journal};
use crate::measurement::stamp::Stamp;
use crate::work_order::event::{Change, Numbering};

/// Rows hashed at a time.
const ROWS: i64 = 500;

/// What the rest of a journal is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rest {
    /// How many events of the segment stay in the journal, because something needs them.
    pub kept: u64,
    /// How many clubs are from now on in the segment alone.
    pub clubs: usize,
}

/// Makes the rest of the journal in `stage`, an empty folder on the disk of the journal. The segment was proved by whoever calls.
///
/// # Errors
/// When the segment is not the next one of this journal, when no club would be retired, or the database fails.
pub async fn rest(journal: &Journal, segment: &Manifest, stage: &Path, now: Stamp) -> Result<Rest, SegmentError> {
    let reader = journal.reader();
    is_next(journal, segment).await?;
    journal.refresh_all().await?;
    let mut connection = journal.writer().acquire().await?;
    choose(&mut connection, segment.last).await?;
    let clubs = clubs_to_retire(&mut connection).await?;
    if clubs.is_empty() {
        return Err(SegmentError::Nothing(why_all_stay(&mut connection, segment.last).await?));
    }
    let file = stage.join(FILE_NAME);
    new_journal(&file, &reader).await?;
    copy(&mut connection, &file, number(segment.last), "seq > ?1 OR seq IN (SELECT seq FROM temp.needed)").await?;
    let (kept, kept_hash) = kept(&mut connection, segment.last).await?;
    drop(connection);
    let (change, list) = told(segment, &clubs, (kept, kept_hash))?;
    let event = Numbering::after(reader.epoch(), journal.last_seq()).event(now, None, change);
    let mut staged = Journal::open(stage, reader.bench(), reader.epoch()).await?;
    let written = staged.append(&[event], &[list]).await;
    staged.close().await;
    written?;
    std::fs::File::open(&file)
        .and_then(|opened| opened.sync_all())
        .map_err(|source| SegmentError::File { file: file.clone(), source })?;
    Ok(Rest { kept, clubs: clubs.len() })
}

/// The event that tells of the segment, and its evidence: the list of clubs.
fn told(
    segment: &Manifest,
    clubs: &[RetiredClub],
    (kept, kept_hash): (u64, String),
) -> Result<(Change, (String, Vec<u8>)), SegmentError> {
    let list = serde_json::to_vec(clubs).map_err(|error| sqlx::Error::Encode(Box::new(error)))?;
    let name = sha256(&list);
    let change = Change::SegmentRetired {
        file: segment.file.clone(),
        sha256: segment.sha256.clone(),
        first: segment.first,
        last: segment.last,
        last_hash: segment.last_hash.clone(),
        kept,
        kept_hash,
        clubs: name.clone(),
    };
    Ok((change, (name, list)))
}

/// Whether the segment is of this journal, follows what is retired, and ends with an event that the journal has.
async fn is_next(journal: &Journal, segment: &Manifest) -> Result<(), SegmentError> {
    let reader = journal.reader();
    let not = |what: String| Err(SegmentError::Nothing(format!("{} {what}", segment.file)));
    if (segment.epoch, segment.bench.as_str()) != (reader.epoch(), reader.bench()) {
        return not(format!(
            "is of journal {} of {}, this is journal {} of {}",
            segment.epoch,
            segment.bench,
            reader.epoch(),
            reader.bench()
        ));
    }
    let (first, hash_before) = next(&reader.segments().await?);
    if segment.first != first || segment.hash_before != hash_before {
        return not(format!("begins with event {}, the next to be retired is {first}; seal again", segment.first));
    }
    if segment.last >= journal.last_seq() || reader.hash_of(segment.last).await?.as_ref() != Some(&segment.last_hash) {
        return not(format!("does not end with event {} of this journal", segment.last));
    }
    Ok(())
}

/// How many events up to `last` stay, and their hash.
async fn kept(connection: &mut SqliteConnection, last: u64) -> Result<(u64, String), sqlx::Error> {
    let (mut count, mut hash, mut seq) = (0, GENESIS.to_owned(), 0_i64);
    loop {
        let rows = sqlx::query(
            "SELECT e.seq, e.hash, e.body FROM temp.needed n CROSS JOIN main.event e ON e.seq = n.seq
             WHERE n.seq > ? AND n.seq <= ? ORDER BY n.seq LIMIT ?",
        )
        .bind(seq)
        .bind(number(last))
        .bind(ROWS)
        .fetch_all(&mut *connection)
        .await?;
        if rows.is_empty() {
            return Ok((count, hash));
        }
        for row in &rows {
            seq = row.try_get(0)?;
            hash = kept_link(&hash, row.try_get(1)?, row.try_get::<&str, _>(2)?.as_bytes());
            count += 1;
        }
    }
}
