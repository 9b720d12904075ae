//! `adhesives`: products as their makers' sheets say, batches, and cures that are not waited for.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;
use serde_json::json;

use super::access::{Access, Where};
use super::{check, print, runtime};
use crate::config::adhesive_file::read_adhesive;
use crate::output::adhesive_view::timers;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Takes in what the makers' sheets say; a known product is replaced, batches keep the times they were mixed with
    Enter {
        /// Files as in config/adhesives
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
    /// Products, the batch in force and the times that run
    List {
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// A batch is mixed: from now on bonds are made with it
    Mix {
        /// The product
        adhesive: String,
        /// Temperature of the workshop, for example "21 °C"
        #[arg(long, allow_hyphen_values = true)]
        temperature: String,
        /// The maker's lot
        #[arg(long)]
        lot: Option<String>,
    },
    /// The batch in force is used up or thrown away
    Discard,
    /// The cure of a club is not waited for; kept in its record
    Override {
        /// The club
        club: String,
        /// Who decides
        #[arg(long)]
        name: String,
        /// Why
        #[arg(long)]
        why: String,
    },
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        match arguments.action {
            Action::Enter { files } => enter(&access, &files).await?,
            Action::List { json } => list(&access, json).await?,
            Action::Mix { adhesive, temperature, lot } => {
                let command =
                    json!({"command": "mix_batch", "adhesive": adhesive, "temperature": temperature, "lot": lot});
                access.command(&command).await?;
                show_times(&access).await?;
            }
            Action::Discard => {
                access.command(&json!({"command": "discard_batch"})).await?;
                print::line("the batch in force is discarded")?;
            }
            Action::Override { club, name, why } => {
                let command = json!({"command": "override_cure", "club": club, "name": name, "why": why});
                access.command(&command).await?;
                print::line(&format!("the cure of {club} is not waited for: {name} answers for it"))?;
            }
        }
        Ok(ExitCode::SUCCESS)
    })
}

/// Every mistake of every file is named before anything is taken in.
async fn enter(access: &Access, files: &[PathBuf]) -> anyhow::Result<()> {
    let (mut texts, mut mistakes) = (Vec::new(), Vec::new());
    for file in files {
        let name = file.display().to_string();
        match check::read_text(file) {
            Ok(text) => match read_adhesive(&name, &text) {
                Ok(adhesive) => texts.push((name, text, adhesive.id)),
                Err(found) => mistakes.extend(found.0.iter().map(ToString::to_string)),
            },
            Err(error) => mistakes.push(format!("{error:#}")),
        }
    }
    if !mistakes.is_empty() {
        mistakes.iter().for_each(|mistake| print::say(mistake));
        bail!("nothing was taken in: {} mistakes", mistakes.len());
    }
    for (name, text, id) in texts {
        access.command(&json!({"command": "enter_adhesive", "file": name, "text": text})).await?;
        print::line(&format!("adhesive {id} is entered"))?;
    }
    Ok(())
}

async fn list(access: &Access, as_json: bool) -> anyhow::Result<()> {
    let (_, state) = access.at_hand().await?;
    let products = state.adhesives.products.values();
    if as_json {
        let products: Vec<_> = products
            .map(|product| {
                let at: Vec<_> = product
                    .at
                    .iter()
                    .map(|row| {
                        json!({"from_c": row.from_c, "to_c": row.to_c, "working_life_s": row.working_life_s,
                               "cure_s": row.cure_s, "play_s": row.play_s})
                    })
                    .collect();
                json!({"adhesive": product.id, "name": product.name, "source": product.source, "at": at})
            })
            .collect();
        let timers = timers(&state, super::now_us());
        return print::line(&json!({"adhesives": products, "timers": timers}).to_string());
    }
    for product in products {
        print::line(&format!("{}  {}; {}", product.id, product.name, product.source))?;
    }
    show_times(access).await
}

async fn show_times(access: &Access) -> anyhow::Result<()> {
    let (_, state) = access.at_hand().await?;
    timers(&state, super::now_us()).iter().try_for_each(|timer| print::line(&timer.text))
}
