//! `records retire`: the oldest part of a journal into a file of its own, and what is shown of records that are there.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};

use super::access::Access;
use super::{backup, print, records};
use crate::audit::{Audit, audit_segment};
use crate::bench;
use crate::clock::Clock;
use crate::journal::archive::FoundClub;
use crate::journal::lock::BenchLock;
use crate::journal::retire::{RetireError, retire, sha256_of};
use crate::journal::retired::Segment;
use crate::journal::store::{FILE_NAME, Journal, Reader};
use crate::journal::{backup as files, salvage};

/// Where the rest of the journal is made and proved, in the data folder: on the same disk.
const STAGE: &str = "retiring";

#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Events before this day (UTC), or this time
    #[arg(long, value_name = "DAY")]
    before: String,
    /// Folder for the segment's file and its manifest
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

pub(super) async fn run(access: &Access, arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let before_us = records::time(&arguments.before, false)?;
    let bench = access.reader().await?.bench().to_owned();
    let folder = access.folder();
    let _lock = BenchLock::take(folder)?;
    if let Some(what) = salvage::broken_log(&folder.join(FILE_NAME)) {
        bail!("the journal's write-ahead log: {what}; nothing is retired from a damaged journal");
    }
    let journal = Journal::open(folder, &bench, bench::random_epoch()).await?;
    let stage = folder.join(STAGE);
    backup::clear(&stage);
    std::fs::create_dir_all(&stage).with_context(|| format!("{} cannot be made", stage.display()))?;
    let made = retire(&journal, before_us, &arguments.out, &stage, Clock::start(1.0).now()).await;
    let standing = (journal.last_seq(), journal.reader().hash_of(journal.last_seq()).await);
    // Closing takes the log into the file, so that the one file that is kept is all of it.
    journal.close().await;
    let retired = match made {
        Ok(retired) => retired,
        Err(error) => {
            backup::clear(&stage);
            if let RetireError::Nothing(_) = error {
                print::say(&error.to_string());
                return Ok(ExitCode::FAILURE);
            }
            return Err(anyhow::Error::new(error).context("nothing is retired; the journal is as it was"));
        }
    };
    if let Err(error) = holds(&stage, standing.0, standing.1?).await {
        backup::clear(&stage);
        return Err(error.context("nothing is retired; the journal is as it was"));
    }
    let kept = files::swap(folder, &stage.join(FILE_NAME), Clock::start(1.0).now().at_us)?;
    backup::clear(&stage);
    let Segment { first, last, last_hash, .. } = &retired.segment;
    print::line(&format!("{}: events {first} to {last}, chain {last_hash}", retired.file.display()))?;
    print::line(&format!(
        "{} clubs are in that file alone; {} of its events stay in the journal too, because something needs them",
        retired.clubs, retired.kept
    ))?;
    if let Some(kept) = kept {
        print::line(&format!("the journal before is {}; remove it when the segment is safe elsewhere", kept.display()))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The rest is proved as it is on the disk, and goes on from where the journal stands.
async fn holds(stage: &Path, last: u64, hash: Option<String>) -> anyhow::Result<()> {
    let reader = Reader::open(stage).await?;
    let audit = crate::audit::audit_chain(&reader).await;
    let same = reader.hash_of(last).await? == hash;
    reader.close().await;
    match audit.faults.first() {
        Some(fault) => bail!("the rest does not hold: {fault}"),
        None if !same => bail!("the rest does not hold event {last}"),
        None => Ok(()),
    }
}

/// Where segments are looked for.
pub(super) struct Segments<'a> {
    pub(super) access: &'a Access,
    pub(super) folder: Option<&'a Path>,
}

impl Segments<'_> {
    fn file(&self, segment: &Segment) -> Option<PathBuf> {
        let folders = [self.folder, Some(self.access.folder())];
        folders.into_iter().flatten().map(|folder| folder.join(&segment.file)).find(|file| file.exists())
    }

    /// The record of a club, from the journal or the segment that holds it.
    pub(super) async fn club(&self, reader: &Reader, club: &str) -> anyhow::Result<Option<FoundClub>> {
        if let Some(found) = reader.club(club).await? {
            return Ok(Some(found));
        }
        let Some(segment) = reader.segment_of(club).await? else { return Ok(None) };
        let Some(file) = self.file(&segment) else {
            bail!(
                "the record of {club} is in the segment {} (events {} to {}), which is elsewhere; --segments DIR says where",
                segment.file,
                segment.first,
                segment.last
            );
        };
        let elsewhere = Reader::open_file(file.clone()).await?;
        let found = elsewhere.club(club).await?;
        elsewhere.close().await;
        found.map_or_else(|| bail!("{} does not hold {club}; `records verify` names what is wrong", file.display()), |found| Ok(Some(found)))
    }

    /// Proves the segments that are at hand; a line about each, and what is wrong with them.
    pub(super) async fn verify(&self, reader: &Reader) -> anyhow::Result<(Vec<String>, Vec<String>)> {
        let (mut lines, mut faults, mut told) = (Vec::new(), Vec::new(), Vec::new());
        for segment in reader.segments().await? {
            let Segment { file: name, first, last, .. } = &segment;
            let events = format!("segment {name}, events {first} to {last}");
            match self.file(&segment) {
                None => lines.push(format!("{events}: elsewhere, not proved; --segments DIR says where it is")),
                Some(file) => {
                    let wrong = self.prove(reader, &segment, &file, &told).await?;
                    lines.push(format!("{events}: {}", if wrong.is_empty() { "all agree" } else { "damaged" }));
                    faults.extend(wrong.into_iter().map(|what| format!("segment {name}: {what}")));
                }
            }
            told.push(segment);
        }
        Ok((lines, faults))
    }

    async fn prove(
        &self,
        reader: &Reader,
        segment: &Segment,
        file: &Path,
        before: &[Segment],
    ) -> anyhow::Result<Vec<String>> {
        let mut wrong = Vec::new();
        if sha256_of(file)? != segment.sha256 {
            wrong.push("the file is not the one that was written".to_owned());
        }
        let elsewhere = match Reader::open_file(file.to_owned()).await {
            Ok(elsewhere) => elsewhere,
            Err(error) => {
                wrong.push(error.to_string());
                return Ok(wrong);
            }
        };
        let Audit { faults, chain, .. } = audit_segment(&elsewhere, before).await;
        wrong.extend(faults.iter().map(ToString::to_string));
        if chain != segment.last_hash {
            wrong.push(format!("it does not end with event {}", segment.last));
        }
        // What stayed in the journal must be what is here.
        let mut seq = segment.first - 1;
        while let Some(next) = reader.next_seq(seq).await?.filter(|next| *next <= segment.last) {
            seq = next;
            let (here, there) = (reader.raw_row(seq).await, elsewhere.raw_row(seq).await);
            if !matches!((here, there), (Ok(Some(here)), Ok(Some(there))) if here == there) {
                wrong.push(format!("event {seq} is another one in the journal"));
            }
        }
        elsewhere.close().await;
        Ok(wrong)
    }
}
