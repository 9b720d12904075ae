//! `salvage`: a clean journal from what is whole of a damaged one; the damaged file is kept, and the gaps are told.

use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context as _, bail};

use super::access::{Access, Where};
use super::{backup, print, runtime};
use crate::audit::audit_chain;
use crate::bench;
use crate::clock::Clock;
use crate::journal::lock::BenchLock;
use crate::journal::salvage::{Findings, Span, broken_log, salvage};
use crate::journal::store::{FILE_NAME, Journal, Reader};
use crate::work_order::event::{Change, Numbering};

/// Where the new journal is made and proved, in the data folder: on the same disk.
const STAGE: &str = "salvaging";

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(in_place(&access))
}

async fn in_place(access: &Access) -> anyhow::Result<ExitCode> {
    let folder = access.folder();
    let file = folder.join(FILE_NAME);
    if !file.exists() {
        bail!("there is no journal {}", file.display());
    }
    let _lock = BenchLock::take(folder)?;
    let mut cursors = Vec::new();
    if let Ok(reader) = Reader::open(folder).await {
        let audit = audit_chain(&reader).await;
        cursors = reader.cursors().await.unwrap_or_default();
        reader.close().await;
        // The audit takes our own lock for a daemon's, which writes to the log.
        if audit.faults.is_empty() && broken_log(&file).is_none() {
            print::line(&format!("nothing is damaged: {} events, chain {}", audit.events, audit.chain))?;
            return Ok(ExitCode::SUCCESS);
        }
    }
    let stage = folder.join(STAGE);
    backup::clear(&stage);
    let made = make(&file, &stage, &cursors).await;
    let kept = match made {
        Ok(findings) => {
            let kept = crate::journal::backup::swap(folder, &stage.join(FILE_NAME), Clock::start(1.0).now().at_us)?;
            tell(&findings)?;
            kept
        }
        Err(error) => {
            backup::clear(&stage);
            return Err(error.context("nothing is changed"));
        }
    };
    backup::clear(&stage);
    if let Some(kept) = kept {
        print::line(&format!("the damaged journal is {}", kept.display()))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Makes the new journal in the stage and proves it.
async fn make(file: &Path, stage: &Path, cursors: &[(&str, u64, i64)]) -> anyhow::Result<Findings> {
    let salvaged = salvage(file).await?;
    std::fs::create_dir_all(stage).with_context(|| format!("{} cannot be made", stage.display()))?;
    salvaged.reader.copy_to(&stage.join(FILE_NAME)).await?;
    let (bench, epoch) = (salvaged.reader.bench().to_owned(), salvaged.reader.epoch());
    salvaged.reader.close().await;
    let findings = salvaged.findings;
    let mut journal = Journal::open(stage, &bench, bench::random_epoch()).await?;
    let spans = |spans: &[Span]| spans.iter().map(|span| (span.first, span.last)).collect();
    let change = Change::JournalSalvaged {
        missing: spans(&findings.lost),
        unproved: spans(&findings.unproved),
        end_known: findings.end_known,
    };
    // Behind everything that is known to have been: a lost number is not given again.
    let event = Numbering::after(epoch, findings.last).event(Clock::start(1.0).now(), None, change);
    journal.append(&[event], &[]).await?;
    for (follower, seq, at_us) in cursors {
        journal.reader().set_cursor(follower, (*seq).min(findings.last), *at_us).await?;
    }
    journal.close().await;
    let reader = Reader::open(stage).await?;
    let audit = audit_chain(&reader).await;
    reader.close().await;
    if let Some(fault) = audit.faults.first() {
        bail!("the new journal does not hold: {fault}");
    }
    Ok(findings)
}

fn tell(findings: &Findings) -> anyhow::Result<()> {
    print::line(&format!("{} events are whole and in the new journal", findings.whole))?;
    for span in &findings.lost {
        print::line(&format!("lost: {span}"))?;
    }
    for span in &findings.unproved {
        print::line(&format!("kept without proof, because the event before is lost: {span}"))?;
    }
    if !findings.end_known {
        print::line(&format!("nothing says whether the journal ended at {}: there may have been more", findings.last))?;
    }
    print::line("the new journal tells of this in its last event; `records verify` shows the gaps")
}
