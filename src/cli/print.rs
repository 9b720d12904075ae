//! Printing: results on stdout, words for a person on stderr.

use std::io::Write as _;
use std::path::Path;

use anyhow::Context as _;

/// One line of a result.
///
/// # Errors
/// When stdout is closed.
pub(crate) fn line(text: &str) -> anyhow::Result<()> {
    writeln!(std::io::stdout().lock(), "{text}").context("stdout cannot be written")
}

/// A result as it is, such as a document.
///
/// # Errors
/// When stdout is closed.
pub(crate) fn bytes(content: &[u8]) -> anyhow::Result<()> {
    std::io::stdout().lock().write_all(content).context("stdout cannot be written")
}

/// A document into a file, whose name is the result.
///
/// # Errors
/// When the file cannot be written.
pub(crate) fn to_file(file: &Path, content: &[u8]) -> anyhow::Result<()> {
    std::fs::write(file, content).with_context(|| format!("{} cannot be written", file.display()))?;
    line(&file.display().to_string())
}

/// One line for the person at the terminal; nobody can be told when even that fails.
pub(crate) fn say(text: &str) {
    let _nobody_to_tell = writeln!(std::io::stderr().lock(), "{text}");
}

/// A table with columns as wide as needed.
///
/// # Errors
/// When stdout is closed.
pub(crate) fn table(head: &[&str], rows: &[Vec<String>]) -> anyhow::Result<()> {
    let mut widths: Vec<usize> = head.iter().map(|cell| cell.chars().count()).collect();
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let head: Vec<String> = head.iter().map(|cell| (*cell).to_owned()).collect();
    for row in std::iter::once(&head).chain(rows) {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        line(cells.join("  ").trim_end())?;
    }
    Ok(())
}
