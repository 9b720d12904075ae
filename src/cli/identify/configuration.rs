//! A configuration that `identify` adds to: checked before it is written, written whole or not at all.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::answer::Table;
use crate::cli::check;
use crate::cli::machine::Machine;
use crate::config::instrument_block::{occupied, with_port, with_table};

/// A configuration and its text.
pub(super) struct Configuration {
    pub(super) file: PathBuf,
    text: String,
}

impl Configuration {
    pub(super) fn read(file: &Path) -> anyhow::Result<Self> {
        let text = check::read_text(file)?;
        occupied(&text)?;
        Ok(Self { file: file.to_owned(), text })
    }

    /// The ids in use.
    pub(super) fn ids(&self) -> Vec<String> {
        occupied(&self.text).map(|all| all.into_iter().map(|one| one.id).collect()).unwrap_or_default()
    }

    /// Adds a table for the instrument on `port`.
    pub(super) fn add(&mut self, machine: &Machine, port: &Path, table: &Table) -> anyhow::Result<()> {
        let device = machine.device_of(port);
        let is_it = |other: &Path| other == port || device.is_some() && machine.device_of(other) == device;
        if let Some(found) = occupied(&self.text)?.iter().find(|one| is_it(&one.port)) {
            bail!(
                "port {} is there already, as {} of instrument \"{}\"",
                port.display(),
                found.port.display(),
                found.id
            );
        }
        if let Some(missing) = table.draft.missing {
            bail!("{missing}; paste the table for \"{}\" and fill it in", table.id);
        }
        self.write(with_table(&self.text, &table.text))
    }

    /// Gives instrument `id` another port.
    pub(super) fn move_to(&mut self, id: &str, port: &Path) -> anyhow::Result<()> {
        self.write(with_port(&self.text, id, port)?)
    }

    /// Writes the new text in the place of the old one in one step, if it has no mistakes.
    fn write(&mut self, text: String) -> anyhow::Result<()> {
        let name = self.file.display().to_string();
        if let Err(mistakes) = check::read_all(&self.file, &text) {
            bail!("the configuration would have mistakes:\n{mistakes}");
        }
        // Behind a link the file it leads to is replaced, not the link.
        let file = std::fs::canonicalize(&self.file)?;
        let fresh = file.with_extension("toml.new");
        let written = (|| {
            let mut out = std::fs::File::create(&fresh)?;
            out.write_all(text.as_bytes())?;
            out.set_permissions(std::fs::metadata(&file)?.permissions())?;
            out.sync_all()?;
            std::fs::rename(&fresh, &file)
        })();
        written.with_context(|| format!("{name} cannot be written"))?;
        self.text = text;
        Ok(())
    }
}
