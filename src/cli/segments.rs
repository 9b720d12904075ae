//! Segments of a journal in files of their own: records read from them, and proved.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::bail;

use super::access::Access;
use super::print;
use crate::audit::{Audit, audit_segment};
use crate::journal::archive::FoundClub;
use crate::journal::retired::Segment;
use crate::journal::seal::{Manifest, sha256_of};
use crate::journal::store::{JournalError, Reader};

/// Where segments are looked for.
pub(super) struct Segments<'a> {
    pub(super) access: &'a Access,
    pub(super) folder: Option<&'a Path>,
}

impl Segments<'_> {
    fn file(&self, name: &str) -> Option<PathBuf> {
        // A name in an event is a name, whatever else it may hold.
        let name = Path::new(name).file_name()?;
        let folders = [self.folder, Some(self.access.folder())];
        folders.into_iter().flatten().map(|folder| folder.join(name)).find(|file| file.exists())
    }

    /// The record of a club, from the journal or the segment that holds it.
    pub(super) async fn club(&self, reader: &Reader, club: &str) -> anyhow::Result<Option<FoundClub>> {
        let retired = match reader.club(club).await {
            Err(JournalError::Retired { what, file }) => JournalError::Retired { what, file },
            found => return Ok(found?),
        };
        let JournalError::Retired { file: name, .. } = &retired else { return Err(retired.into()) };
        let Some(file) = self.file(name) else { return Err(retired.into()) };
        let elsewhere = Reader::open_file(file.clone()).await?;
        let found = elsewhere.club(club).await;
        elsewhere.close().await;
        match found? {
            Some(found) => Ok(Some(found)),
            None => bail!("{} does not hold {club}; `records verify --file` names what is wrong", file.display()),
        }
    }

    /// Proves the segments that are at hand; a line about each, and what is wrong with them.
    pub(super) async fn verify(&self, reader: &Reader) -> anyhow::Result<(Vec<String>, Vec<String>)> {
        let (mut lines, mut faults, mut earlier) = (Vec::new(), Vec::new(), Vec::new());
        let lost = reader.lost().await?;
        for segment in reader.segments().await? {
            let Segment { file: name, first, last, .. } = &segment;
            let events = format!("segment {name}, events {first} to {last}");
            match self.file(name) {
                None => lines.push(format!("{events}: elsewhere, not proved; --segments DIR says where it is")),
                Some(file) => {
                    let mut wrong = alone(&file, &segment.sha256, &segment.last_hash, (&earlier, &lost)).await?;
                    wrong.extend(same(reader, &file, segment.last).await?);
                    let known: Vec<String> =
                        lost.iter().filter(|(from, to)| from <= last && to >= first).map(stretch).collect();
                    let known = if known.is_empty() { String::new() } else { format!("; {LOST}{}", known.join(", ")) };
                    lines.push(format!("{events}: {}{known}", if wrong.is_empty() { "all agree" } else { "damaged" }));
                    faults.extend(wrong.into_iter().map(|what| format!("segment {name}: {what}")));
                }
            }
            earlier.push(segment);
        }
        Ok((lines, faults))
    }
}

/// What stands before stretches that are not in a file and never will be.
const LOST: &str = "lost before, as the journal tells: ";

/// First and last sequence of a stretch, in words.
fn stretch((from, to): &(u64, u64)) -> String {
    if from == to { from.to_string() } else { format!("{from} to {to}") }
}

/// What is wrong with a sealed file by itself, chain and numbers; `earlier` are the segments before it, `lost` the stretches that
/// the journal tells to be lost: an event of a later segment tells of them.
pub(super) async fn alone(
    file: &Path,
    sha256: &str,
    last_hash: &str,
    (earlier, lost): (&[Segment], &[(u64, u64)]),
) -> anyhow::Result<Vec<String>> {
    let mut wrong = Vec::new();
    if sha256_of(file)? != sha256 {
        wrong.push("the file is not the one that was written".to_owned());
    }
    let segment = match Reader::open_file(file.to_owned()).await {
        Ok(segment) => segment,
        Err(error) => {
            wrong.push(format!("{:#}", anyhow::Error::new(error)));
            return Ok(wrong);
        }
    };
    let Audit { faults, chain, .. } = audit_segment(&segment, earlier, lost).await;
    segment.close().await;
    wrong.extend(faults.iter().map(ToString::to_string));
    if chain != last_hash {
        wrong.push("it does not end with the event that it should".to_owned());
    }
    Ok(wrong)
}

/// What of the events up to `last` that the journal has is something else in the sealed file.
pub(super) async fn same(reader: &Reader, file: &Path, last: u64) -> anyhow::Result<Vec<String>> {
    // A file that cannot be opened is named by whoever looked at it alone.
    let Ok(segment) = Reader::open_file(file.to_owned()).await else { return Ok(Vec::new()) };
    let (mut wrong, mut seq) = (Vec::new(), 0);
    while let Some(next) = reader.next_seq(seq).await?.filter(|next| *next <= last) {
        seq = next;
        let (here, there) = (reader.raw_row(seq).await, segment.raw_row(seq).await);
        if !matches!((here, there), (Ok(Some(here)), Ok(Some(there))) if here == there) {
            wrong.push(format!("event {seq} is another one in the journal"));
        }
    }
    segment.close().await;
    Ok(wrong)
}

/// `records verify --file`: a sealed file proved by itself and its manifest, without any journal.
pub(super) async fn verify_file(file: &Path) -> anyhow::Result<ExitCode> {
    let manifest = Manifest::read(file)?;
    let wrong = alone(file, &manifest.sha256, &manifest.last_hash, (&manifest.earlier, &manifest.lost)).await?;
    let Manifest { file: name, first, last, last_hash, lost, .. } = &manifest;
    let mut lines: Vec<String> = wrong.iter().map(|what| format!("segment {name}: {what}")).collect();
    let end = if wrong.is_empty() { "all agree".to_owned() } else { format!("{} faults", wrong.len()) };
    let lost: Vec<String> = lost.iter().map(stretch).collect();
    let lost = if lost.is_empty() { String::new() } else { format!("; {LOST}{}", lost.join(", ")) };
    lines.push(format!("segment {name}, events {first} to {last}, chain {last_hash}: {end}{lost}"));
    print::read_or_not(lines.iter().try_for_each(|line| print::line(line)))?;
    Ok(if wrong.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
