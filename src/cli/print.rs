//! Printing: results on stdout, words for a person on stderr.

use std::io::{self, IsTerminal as _, Write};
use std::path::Path;

use anyhow::{Context as _, bail};

/// Stdout as every command writes it: that whoever reads it has closed it ends the command without a word.
pub(crate) struct Output;

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        io::stdout().write(bytes).map_err(marked)
    }

    fn flush(&mut self) -> io::Result<()> {
        io::stdout().flush().map_err(marked)
    }
}

/// Whoever reads the output of the program has closed it.
#[derive(Debug, thiserror::Error)]
#[error("nobody reads the output any more")]
struct ReaderGone;

/// Marked apart from the connections of a command, which can break, too.
fn marked(error: io::Error) -> io::Error {
    if error.kind() == io::ErrorKind::BrokenPipe { io::Error::new(error.kind(), ReaderGone) } else { error }
}

/// Whether a command ended because whoever read its output had enough of it, as `head` has.
pub(crate) fn is_reader_gone(error: &anyhow::Error) -> bool {
    let of = |cause: &(dyn std::error::Error + 'static)| {
        cause.downcast_ref::<io::Error>().and_then(io::Error::get_ref).is_some_and(|inner| inner.is::<ReaderGone>())
    };
    error.chain().any(of)
}

/// A result that counts although nobody reads it to its end.
///
/// # Errors
/// Every other one.
pub(crate) fn read_or_not(told: anyhow::Result<()>) -> anyhow::Result<()> {
    told.or_else(|error| if is_reader_gone(&error) { Ok(()) } else { Err(error) })
}

/// One line of a result.
///
/// # Errors
/// When stdout is closed.
pub(crate) fn line(text: &str) -> anyhow::Result<()> {
    bytes(format!("{text}\n").as_bytes())
}

/// A result as it is, such as a document.
///
/// # Errors
/// When stdout is closed.
pub(crate) fn bytes(content: &[u8]) -> anyhow::Result<()> {
    Output.write_all(content).context("stdout cannot be written")
}

/// A PDF on stdout, for a file or another program; on a terminal nobody can read it.
///
/// # Errors
/// When stdout is a terminal or closed.
pub(crate) fn pdf(content: &[u8]) -> anyhow::Result<()> {
    if io::stdout().is_terminal() {
        bail!("a PDF is not for the screen: say where it goes with --out, or send it into a file, `> sheets.pdf`");
    }
    bytes(content)
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
    let _nobody_to_tell = writeln!(io::stderr().lock(), "{text}");
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
