//! `records`: build records listed, shown, exported, verified; values typed and taken back.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use serde_json::{Value, json};

use super::access::{Access, Where};
use super::{print, runtime, verify};
use crate::output::lists::record_list;
use crate::output::record::{Record, record};
use crate::output::table;
use crate::output::trust_view::budget_line;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// All clubs
    List {
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// The record of one club
    Show {
        /// The club's id, such as W-1042/1
        club: String,
        /// JSON instead of a table
        #[arg(long)]
        json: bool,
    },
    /// A value typed by hand, marked so
    Enter {
        /// The club's id
        club: String,
        /// What was measured, such as length
        characteristic: String,
        /// The value with its unit, such as "45 1/4 in"
        quantity: String,
    },
    /// Takes a reading or a typed value back; it stays in the journal
    Void {
        /// The event, as shown in the record
        event: String,
        /// The reason
        #[arg(long)]
        why: String,
    },
    /// All records as files
    Export {
        /// json or csv
        #[arg(long = "as", value_parser = ["json", "csv"])]
        format: String,
        /// Folder for the files; without it everything goes to stdout
        #[arg(long)]
        out: Option<PathBuf>,
    },
    /// Recomputes every number from the stored raw bytes and checks the chain
    Verify {
        /// One JSON document instead of words
        #[arg(long)]
        json: bool,
    },
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        match arguments.action {
            Action::List { json } => list(&access, json).await?,
            Action::Show { club, json } => show(&access, &club, json).await?,
            Action::Enter { club, characteristic, quantity } => {
                let command =
                    json!({"command": "enter", "club": club, "characteristic": characteristic, "quantity": quantity});
                access.command(&command).await?;
                print::line(&format!("{characteristic} of {club} is typed: {quantity}"))?;
            }
            Action::Void { event, why } => {
                access.command(&json!({"command": "void", "event": event, "why": why})).await?;
                print::line(&format!("{event} is taken back"))?;
            }
            Action::Export { format, out } => export(&access, &format, out.as_deref()).await?,
            Action::Verify { json } => return verify::run(&access, json).await,
        }
        Ok(ExitCode::SUCCESS)
    })
}

/// Every record of a bench, in the order of import.
async fn all(access: &Access) -> anyhow::Result<Vec<Record>> {
    let (reader, state) = access.state().await?;
    let mut records = Vec::new();
    for club in state.clubs_in_order() {
        let chain = reader.hash_of(club.last_seq).await?.unwrap_or_default();
        records.push(record(club, chain, access.lengths()));
    }
    Ok(records)
}

async fn list(access: &Access, as_json: bool) -> anyhow::Result<()> {
    let (_, state) = access.state().await?;
    let clubs = record_list(&state);
    if as_json {
        return print::line(&clubs.to_string());
    }
    let rows: Vec<Vec<String>> = clubs["records"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|club| {
            let cell = |key: &str| match &club[key] {
                Value::String(text) => text.clone(),
                other => other.to_string(),
            };
            vec![cell("club"), cell("name"), cell("state"), cell("entries")]
        })
        .collect();
    print::table(&["club", "name", "state", "values"], &rows)
}

async fn show(access: &Access, club: &str, as_json: bool) -> anyhow::Result<()> {
    let (reader, state) = access.state().await?;
    let Some(found) = state.clubs.get(club) else {
        bail!("there is no club {club}; `records list` shows what there is");
    };
    let chain = reader.hash_of(found.last_seq).await?.unwrap_or_default();
    let record = record(found, chain, access.lengths());
    if as_json {
        return print::line(&serde_json::to_string(&record)?);
    }
    print::line(&format!("{}  {}, {}-handed, {}", record.club, record.name, record.hand, record.state))?;
    let rows: Vec<Vec<String>> = record
        .entries
        .iter()
        .map(|entry| {
            let verdict = if entry.voided { "taken back" } else { entry.verdict };
            let deviation = entry.deviation.map(|d| format!("{d:+.2}")).unwrap_or_default();
            [entry.characteristic, entry.stage, &entry.text, &deviation, verdict, &entry.instrument, &entry.event]
                .iter()
                .map(|cell| (*cell).to_owned())
                .collect()
        })
        .collect();
    print::table(&["characteristic", "stage", "value", "deviation", "verdict", "method", "event"], &rows)?;
    for entry in record.entries.iter().filter(|entry| !entry.voided) {
        let Some(budget) = &entry.budget else { continue };
        let rule = if entry.rule == "plain" { String::new() } else { format!("; rule {}", entry.rule) };
        print::line(&format!(
            "{} {}: {} {}{rule}",
            entry.characteristic,
            entry.stage,
            budget_line(budget),
            entry.unit
        ))?;
    }
    for step in &record.steps {
        print::line(&format!("step {}  {}", step.step, step.at))?;
    }
    print::line(&format!("chain {}", record.chain))
}

async fn export(access: &Access, format: &str, out: Option<&Path>) -> anyhow::Result<()> {
    let records = all(access).await?;
    match (format, out) {
        ("csv", None) => print::line(table::csv(&records)?.trim_end()),
        ("csv", Some(folder)) => write(folder, "records.csv", &table::csv(&records)?),
        (_, None) => records.iter().try_for_each(|record| print::line(&serde_json::to_string(record)?)),
        (_, Some(folder)) => records.iter().try_for_each(|record| {
            // The token, not the number a person typed: a file name cannot be led astray by it.
            write(folder, &format!("{}.json", record.token), &serde_json::to_string_pretty(record)?)
        }),
    }
}

fn write(folder: &Path, name: &str, content: &str) -> anyhow::Result<()> {
    let file = folder.join(name);
    std::fs::create_dir_all(folder).with_context(|| format!("{} cannot be made", folder.display()))?;
    std::fs::write(&file, content).with_context(|| format!("{} cannot be written", file.display()))?;
    print::line(&file.display().to_string())
}
