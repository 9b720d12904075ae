//! `check`: reads a configuration and everything it names; prints each mistake.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;

use super::print;
use crate::config::bench_file::{BenchSettings, read_bench_with};
use crate::config::document::Mistakes;
use crate::config::named_files::NamedFiles;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The configuration
    #[arg(long)]
    config: PathBuf,
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let text = read_text(&arguments.config)?;
    match read_all(&arguments.config, &text) {
        Ok(settings) => {
            let drawers = match settings.drawers.items.len() {
                0 => String::new(),
                kinds => format!(", {kinds} kinds of part in the drawers"),
            };
            print::line(&format!(
                "{}: bench {} at {}, {} instruments{drawers}, equipment rules {} ({} rules), no mistakes",
                arguments.config.display(),
                settings.bench,
                settings.site,
                settings.instruments.len(),
                settings.rules.edition,
                settings.rules.rules.len()
            ))?;
            Ok(ExitCode::SUCCESS)
        }
        Err(mistakes) => {
            for mistake in &mistakes.0 {
                print::line(&mistake.to_string())?;
            }
            Ok(ExitCode::FAILURE)
        }
    }
}

/// Reads a configuration for a command that needs it whole.
pub(crate) fn read_settings(config: &Path) -> anyhow::Result<BenchSettings> {
    let text = read_text(config)?;
    let settings = read_all(config, &text);
    settings.map_err(|mistakes| anyhow::anyhow!("the configuration has mistakes:\n{mistakes}"))
}

/// Reads a configuration with the files it names, which lie beside it or are named whole.
pub(crate) fn read_all(config: &Path, text: &str) -> Result<BenchSettings, Mistakes> {
    let folder = config.parent().unwrap_or(Path::new(""));
    let files = NamedFiles::new(|name| {
        let file = folder.join(name);
        std::fs::read_to_string(&file).map_err(|error| format!("{} cannot be read: {error}", file.display()))
    });
    read_bench_with(&config.display().to_string(), text, &files)
}

/// A text file, or what is wrong with it.
pub(crate) fn read_text(file: &Path) -> anyhow::Result<String> {
    std::fs::read_to_string(file).with_context(|| format!("{} cannot be read", file.display()))
}
