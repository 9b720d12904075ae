//! `backup` and `restore`: a consistent copy while the bench runs, and one put back without losing anything newer.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;

use super::access::{Access, Where};
use super::{print, runtime};
use crate::audit::audit_chain;
use crate::bench;
use crate::clock::Clock;
use crate::journal::backup;
use crate::journal::lock::BenchLock;
use crate::journal::store::{FILE_NAME, Journal, Reader};

/// Where a backup is proved before it is put in place, in the data folder: on the same disk.
const STAGE: &str = "restoring";

#[derive(clap::Args)]
pub(crate) struct Backup {
    #[command(flatten)]
    place: Where,
    /// The new file; nothing is overwritten
    file: PathBuf,
}

#[derive(clap::Args)]
pub(crate) struct Restore {
    #[command(flatten)]
    place: Where,
    /// A file that `backup` wrote
    file: PathBuf,
}

/// Copies the journal; a daemon may be writing it.
pub(crate) fn backup(arguments: &Backup) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        access.reader().await?.copy_to(&arguments.file).await?;
        // What was written is what counts, not what was meant to be.
        let copy = Reader::open_file(arguments.file.clone()).await?;
        let last = copy.last_seq().await?;
        let chain = copy.hash_of(last).await?.unwrap_or_default();
        copy.close().await;
        print::line(&format!("{}: {last} events, chain {chain}", arguments.file.display()))?;
        Ok(ExitCode::SUCCESS)
    })
}

/// Puts a backup in the place of the journal, or says why not.
pub(crate) fn restore(arguments: &Restore) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        let wanted = Standing::of(&Reader::open_file(arguments.file.clone()).await?).await?;
        let folder = access.folder();
        let _lock = BenchLock::take(folder)?;
        if let Some(reason) = newer(folder, &arguments.file, &wanted).await {
            print::say(&format!("not restored: {reason}"));
            return Ok(ExitCode::FAILURE);
        }
        let stage = folder.join(STAGE);
        let proved = prove(&arguments.file, &stage, &wanted).await;
        let faults = match proved {
            Ok(faults) => faults,
            Err(error) => {
                clear(&stage);
                return Err(error);
            }
        };
        if !faults.is_empty() {
            clear(&stage);
            print::say(&format!("not restored: {} is damaged; the journal is as it was", arguments.file.display()));
            for fault in faults {
                print::say(&fault);
            }
            return Ok(ExitCode::FAILURE);
        }
        let kept = backup::replace(folder, &stage.join(FILE_NAME), Clock::start(1.0).now().at_us).await?;
        clear(&stage);
        print::line(&format!("restored: {} events, chain {}", wanted.last, wanted.hash))?;
        print::say("the chain holds; `records verify` works out every number again");
        if let Some(kept) = kept {
            print::line(&format!("the journal before is {}", kept.display()))?;
        }
        Ok(ExitCode::SUCCESS)
    })
}

/// Where a journal stands.
struct Standing {
    epoch: u64,
    bench: String,
    last: u64,
    hash: String,
}

impl Standing {
    async fn of(reader: &Reader) -> anyhow::Result<Self> {
        let last = reader.last_seq().await?;
        let hash = reader.hash_of(last).await?.unwrap_or_default();
        Ok(Self { epoch: reader.epoch(), bench: reader.bench().to_owned(), last, hash })
    }
}

/// Why the present journal must not be replaced: it holds something that the backup does not. A journal that cannot be read
/// holds nothing that anybody could use; its file is kept all the same.
async fn newer(folder: &Path, file: &Path, wanted: &Standing) -> Option<String> {
    let reader = Reader::open(folder).await.ok()?;
    let present = Standing::of(&reader).await.ok()?;
    let remedy = format!("to go back all the same, move {} away first", folder.join(FILE_NAME).display());
    if present.last == 0 {
        return None;
    }
    if (present.epoch, &present.bench) != (wanted.epoch, &wanted.bench) {
        return Some(format!(
            "the journal in {} is another one than that in {}; {remedy}",
            folder.display(),
            file.display()
        ));
    }
    if present.last > wanted.last {
        return Some(format!(
            "the journal holds events up to {}, {} ends at {}; {remedy}",
            present.last,
            file.display(),
            wanted.last
        ));
    }
    let copy = Reader::open_file(file.to_owned()).await.ok()?;
    let there = copy.hash_of(present.last).await.ok()?;
    (there.as_ref() != Some(&present.hash)).then(|| {
        format!(
            "the journal holds events that are not in {}: they part before event {}; {remedy}",
            file.display(),
            present.last
        )
    })
}

/// Copies the backup into the stage, brings it to the present schema and proves it; what is wrong with it leaves.
async fn prove(file: &Path, stage: &Path, wanted: &Standing) -> anyhow::Result<Vec<String>> {
    clear(stage);
    std::fs::create_dir_all(stage).with_context(|| format!("{} cannot be made", stage.display()))?;
    let staged = stage.join(FILE_NAME);
    std::fs::copy(file, &staged)
        .with_context(|| format!("{} cannot be copied to {}", file.display(), staged.display()))?;
    let journal = match Journal::open(stage, &wanted.bench, bench::random_epoch()).await {
        Ok(journal) => journal,
        Err(error) => return Ok(vec![format!("{:#}", anyhow::Error::new(error))]),
    };
    let audit = audit_chain(&journal.reader()).await;
    // Closing takes the log into the file, so that the one file is all of it.
    journal.close().await;
    std::fs::File::open(&staged)
        .and_then(|opened| opened.sync_all())
        .with_context(|| format!("{} cannot be written to the disk", staged.display()))?;
    Ok(audit.faults.iter().map(ToString::to_string).collect())
}

/// Nothing of a stage is worth keeping.
pub(super) fn clear(stage: &Path) {
    match std::fs::remove_dir_all(stage) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            print::say(&format!("{} is left over: {error}", stage.display()));
        }
        _ => {}
    }
}

/// Makes the index of the journal again.
pub(super) async fn reindex(access: &Access) -> anyhow::Result<()> {
    let bench = access.reader().await?.bench().to_owned();
    let _lock = BenchLock::take(access.folder())?;
    let journal = Journal::open(access.folder(), &bench, bench::random_epoch()).await?;
    let made = journal.reindex().await;
    journal.close().await;
    made?;
    print::line("the index is made again")
}
