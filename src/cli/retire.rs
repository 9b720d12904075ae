//! `records seal` and `records retire`: the oldest part of a journal into a file of its own, and then out of the journal.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};

use super::access::Access;
use super::{backup, print, records, segments};
use crate::bench;
use crate::clock::Clock;
use crate::journal::cursor;
use crate::journal::lock::{self, BenchLock};
use crate::journal::retire::{Rest, rest};
use crate::journal::seal::{Manifest, Sealed, SegmentError, seal};
use crate::journal::store::{FILE_NAME, Journal, Reader};
use crate::journal::{backup as files, salvage};

/// Where the rest of the journal is made and proved, in the data folder: on the same disk.
const STAGE: &str = "retiring";

#[derive(clap::Args)]
pub(super) struct SealArguments {
    /// Events before this day of the workshop, or this time
    #[arg(long, value_name = "DAY")]
    before: String,
    /// Folder for the segment's file and its manifest
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

#[derive(clap::Args)]
pub(super) struct RetireArguments {
    /// A file that `records seal` wrote, with its manifest beside it
    file: PathBuf,
}

/// The journal of a bench under its lock, as long as nothing is wrong with its log.
async fn opened(access: &Access) -> anyhow::Result<(BenchLock, Journal)> {
    let bench = access.reader().await?.bench().to_owned();
    let folder = access.folder();
    if let Some(running) = lock::running(folder) {
        bail!(
            "the bench runs (process {}), and a journal that grows is not sealed or retired: end `benchscribe run` (Ctrl-C, or its service), give this command again, start it again; a few minutes are enough, and nothing was changed",
            running.pid
        );
    }
    let lock = BenchLock::take(folder)?;
    if let Some(what) = salvage::broken_log(&folder.join(FILE_NAME)) {
        bail!("the journal's write-ahead log: {what}; nothing is sealed or retired from a damaged journal");
    }
    Ok((lock, Journal::open(folder, &bench, bench::random_epoch()).await?))
}

/// What was refused is an answer, everything else is an error.
fn refused(error: SegmentError) -> anyhow::Result<ExitCode> {
    match error {
        SegmentError::Nothing(_) => {
            print::say(&error.to_string());
            Ok(ExitCode::FAILURE)
        }
        error => Err(anyhow::Error::new(error).context("nothing is sealed or retired; the journal is as it was")),
    }
}

pub(super) async fn seal_segment(access: &Access, arguments: &SealArguments) -> anyhow::Result<ExitCode> {
    let before_us = records::time(&arguments.before, false, &access.zone())?;
    let (_lock, journal) = opened(access).await?;
    let made = seal(&journal, before_us, &arguments.out).await;
    let sealed = match made {
        Ok(sealed) => sealed,
        Err(error) => {
            journal.close().await;
            return refused(error);
        }
    };
    // What is on the disk is what counts, not what was meant to be: also of a file that was finished before.
    let wrong = proved(&journal.reader(), &sealed.file, &sealed.manifest).await;
    journal.close().await;
    let wrong = wrong?;
    let Sealed { file, manifest, clubs, was_there } = sealed;
    if !wrong.is_empty() {
        wrong.iter().for_each(|what| print::say(&format!("segment {}: {what}", manifest.file)));
        let again = if was_there { "; it was there before: move it away and seal again" } else { "" };
        print::say(&format!("{} does not hold and gets no manifest{again}", file.display()));
        return Ok(ExitCode::FAILURE);
    }
    manifest.write(&file)?;
    let Manifest { first, last, last_hash, .. } = &manifest;
    print::line(&format!("{}: events {first} to {last}, chain {last_hash}, proved", file.display()))?;
    print::line(&format!(
        "the journal is as it was; `records retire {}` takes {clubs} clubs out of it",
        file.display()
    ))?;
    Ok(ExitCode::SUCCESS)
}

pub(super) async fn retire(access: &Access, arguments: &RetireArguments) -> anyhow::Result<ExitCode> {
    let file = arguments.file.as_path();
    let segment = Manifest::read(file)?;
    let (_lock, journal) = opened(access).await?;
    let folder = access.folder();
    let stage = folder.join(STAGE);
    let (mut lines, made) = match journal.reader().segments().await?.iter().find(|told| told.file == segment.file) {
        Some(_) => {
            journal.close().await;
            backup::clear(&stage);
            print::line(&format!("segment {} is retired already", segment.file))?;
            return Ok(ExitCode::SUCCESS);
        }
        None => staged(&journal, file, &segment, &stage).await?,
    };
    let standing = (journal.last_seq(), journal.reader().hash_of(journal.last_seq()).await);
    // Closing takes the log into the file, so that the one file that is kept is all of it.
    journal.close().await;
    let rest = match made {
        Ok(rest) => rest,
        Err(error) => {
            backup::clear(&stage);
            return refused(error);
        }
    };
    if let Err(error) = holds(&stage, standing.0, standing.1?).await {
        backup::clear(&stage);
        return Err(error.context("nothing is retired; the journal is as it was"));
    }
    let kept = files::swap(folder, &stage.join(FILE_NAME), Clock::start(1.0).now().at_us)?;
    backup::clear(&stage);
    lines.push(format!(
        "{} clubs are in {} alone; {} of its events stay in the journal too, because something needs them",
        rest.clubs, segment.file, rest.kept
    ));
    if let Some(kept) = kept {
        lines.push(format!(
            "the journal before is {}; remove it when the segment is safe in two places",
            kept.display()
        ));
    }
    lines.iter().try_for_each(|line| print::line(line))?;
    Ok(ExitCode::SUCCESS)
}

/// Proves the segment again and makes the rest of the journal; lines about followers that are behind come with it.
async fn staged(
    journal: &Journal,
    file: &Path,
    segment: &Manifest,
    stage: &Path,
) -> anyhow::Result<(Vec<String>, Result<Rest, SegmentError>)> {
    let reader = journal.reader();
    let wrong = proved(&reader, file, segment).await?;
    if !wrong.is_empty() {
        let what = format!("{} does not hold: {}", file.display(), wrong.join("; "));
        return Ok((Vec::new(), Err(SegmentError::Nothing(what))));
    }
    let lines =
        reader.cursors().await?.into_iter().filter_map(|(follower, seq, _)| unpublished(follower, seq, segment));
    let lines = lines.collect();
    backup::clear(stage);
    std::fs::create_dir_all(stage).with_context(|| format!("{} cannot be made", stage.display()))?;
    Ok((lines, rest(journal, segment, stage, Clock::start(1.0).now()).await))
}

/// What will never be published any more, where a broker had not taken it yet. How far one that forgot had got is of no concern.
fn unpublished(follower: &str, seq: u64, segment: &Manifest) -> Option<String> {
    let what = match follower {
        cursor::EVENTS => "events",
        cursor::RECORDS => "records",
        _ => return None,
    };
    (seq < segment.last).then(|| {
        format!(
            "MQTT: the {what} of {} to {} were not published yet, and will not be; what is retired is in the segment alone",
            segment.first.max(seq + 1),
            segment.last
        )
    })
}

/// What is wrong with a sealed file, by itself and beside the journal.
async fn proved(reader: &Reader, file: &Path, manifest: &Manifest) -> anyhow::Result<Vec<String>> {
    let mut wrong =
        segments::alone(file, &manifest.sha256, &manifest.last_hash, (&manifest.earlier, &manifest.lost)).await?;
    wrong.extend(segments::same(reader, file, manifest.last).await?);
    Ok(wrong)
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
