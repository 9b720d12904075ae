//! `records export`: records as JSON, as a table, as printed build sheets and as labels.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::access::Access;
use super::print;
use super::records::Which;
use super::segments::Segments;
use crate::clock::Clock;
use crate::journal::store::Reader;
use crate::output::record::Record;
use crate::output::sheet::{self, Paper, Print, Subject};
use crate::output::table;

#[derive(clap::Args)]
pub(super) struct Arguments {
    /// What is written: json, csv, sheet (PDF: a page a set, a page a club) or label (PDF, for shafts)
    #[arg(long = "as", value_enum)]
    format: Format,
    /// Folder for the files; without it everything goes to stdout
    #[arg(long)]
    out: Option<PathBuf>,
    /// Folder with segments that were retired; else they are looked for in the data folder
    #[arg(long, value_name = "DIR")]
    segments: Option<PathBuf>,
    #[command(flatten)]
    which: Which,
    /// The most clubs
    #[arg(long, default_value_t = 100_000)]
    limit: u32,
    /// Size of the paper of sheets
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    paper: PaperName,
    /// Where telephones reach the page, for the codes on sheets; the configuration's `url` under [http] otherwise
    #[arg(long)]
    url: Option<String>,
    /// A font file for characters that the program's own does not have
    #[arg(long, value_name = "FILE")]
    font: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    Json,
    Csv,
    Sheet,
    Label,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum PaperName {
    A4,
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::A4 => Self::A4,
            PaperName::Letter => Self::Letter,
        }
    }
}

pub(super) async fn run(access: &Access, reader: &Reader, arguments: &Arguments) -> anyhow::Result<()> {
    let subjects = subjects(access, reader, arguments).await?;
    let out = arguments.out.as_deref();
    match arguments.format {
        Format::Json => json(access, &subjects, out),
        Format::Csv => {
            let text = table::csv(&records(access, &subjects))?;
            match out {
                None => print::bytes(text.as_bytes()),
                Some(folder) => write(folder, "records.csv", text.as_bytes()),
            }
        }
        Format::Sheet => sheets(&subjects, &print_of(access, reader, arguments).await?, out),
        Format::Label => {
            let bytes = sheet::labels(&subjects, &print_of(access, reader, arguments).await?)?;
            match out {
                None => print::pdf(&bytes),
                Some(folder) => write(folder, "labels.pdf", &bytes),
            }
        }
    }
}

/// The clubs that are meant, in the order of import.
async fn subjects(access: &Access, reader: &Reader, arguments: &Arguments) -> anyhow::Result<Vec<Subject>> {
    let search = arguments.which.search(arguments.limit, &access.zone())?;
    let found = reader.search(&search).await?;
    if found.clubs.is_empty() {
        bail!("there is no such club; `records list` shows what there is");
    }
    if found.more {
        print::say(&format!("only the {} clubs worked on last; --limit takes more", found.clubs.len()));
    }
    let mut subjects = Vec::new();
    let segments = Segments { access, folder: arguments.segments.as_deref() };
    for line in found.clubs {
        subjects.extend(segments.club(reader, &line.club).await?);
    }
    Ok(subjects)
}

fn records(access: &Access, subjects: &[Subject]) -> Vec<Record> {
    subjects.iter().map(|subject| Record::of(subject, access.lengths())).collect()
}

fn json(access: &Access, subjects: &[Subject], out: Option<&Path>) -> anyhow::Result<()> {
    for record in records(access, subjects) {
        match out {
            None => print::line(&serde_json::to_string(&record)?)?,
            // The token, not the number a person typed: a file name cannot be led astray by it.
            Some(folder) => {
                write(folder, &format!("{}.json", record.token), serde_json::to_string_pretty(&record)?.as_bytes())?;
            }
        }
    }
    Ok(())
}

/// A file a set and a file a club; on stdout one document with everything.
fn sheets(subjects: &[Subject], print: &Print, out: Option<&Path>) -> anyhow::Result<()> {
    let Some(folder) = out else { return print::pdf(&sheet::set_sheets(subjects, print)?) };
    for set in subjects.chunk_by(|a, b| a.order.number == b.order.number) {
        let Some(first) = set.first() else { continue };
        let name = format!("set-{}-{}.pdf", plain(&first.order.number), first.club.spec.token);
        write(folder, &name, &sheet::set_sheets(set, print)?)?;
        for subject in set {
            let name = format!("club-{}-{}.pdf", plain(&subject.club.spec.id), subject.club.spec.token);
            write(folder, &name, &sheet::club_sheet(subject, print)?)?;
        }
    }
    Ok(())
}

/// What a person typed, as part of a file name: letters, digits and '-' only, and not too long.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(40).collect()
}

async fn print_of(access: &Access, reader: &Reader, arguments: &Arguments) -> anyhow::Result<Print> {
    let font = arguments
        .font
        .as_ref()
        .map(|file| std::fs::read(file).with_context(|| format!("the font {} cannot be read", file.display())));
    Ok(Print {
        paper: arguments.paper.into(),
        lengths: access.lengths(),
        bench: access.bench_words(reader),
        url: arguments.url.clone().or_else(|| access.url()),
        printed_us: Clock::start(1.0).now().at_us,
        zone: access.zone(),
        font: font.transpose()?,
    })
}

fn write(folder: &Path, name: &str, content: &[u8]) -> anyhow::Result<()> {
    let file = folder.join(name);
    std::fs::create_dir_all(folder).with_context(|| format!("{} cannot be made", folder.display()))?;
    let mut opened = std::fs::File::create(&file).with_context(|| format!("{} cannot be written", file.display()))?;
    opened.write_all(content).with_context(|| format!("{} cannot be written", file.display()))?;
    print::line(&file.display().to_string())
}
