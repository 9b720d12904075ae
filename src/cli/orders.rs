//! `orders`: work orders in, listed, shown, opened, out.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;
use serde_json::{Value, json};

use super::access::{Access, Where};
use super::{check, print, runtime};
use crate::config::order_file::read_order;
use crate::journal::archive::Key;
use crate::output::lists::order_list;
use crate::output::text;
use crate::work_order::state::State;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Takes orders in; a known one with changes is revised, one without changes changes nothing
    Import {
        /// Order files (TOML)
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
    /// Orders that are not finished, and the last ones
    List {
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// One order with its clubs and targets
    Show {
        /// The order's number
        order: String,
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// Makes an order for a club like one that is finished: its values as built, the tolerances of its order
    Again {
        /// The finished club's id, such as W-1042/1
        club: String,
        /// The new order's number; without it one is made from the club's id
        #[arg(long)]
        order: Option<String>,
        /// The length of the new shaft before it is cut, for its cut marks
        #[arg(long)]
        raw_length: Option<String>,
    },
    /// Makes an order the current one
    Open {
        /// The order's number
        order: String,
    },
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        match arguments.action {
            Action::Import { files } => import(&access, &files).await,
            Action::List { json } => list(&access, json).await,
            Action::Show { order, json } => show(&access, &order, json).await,
            Action::Again { club, order, raw_length } => {
                again(&access, &club, order.as_deref(), raw_length.as_deref()).await
            }
            Action::Open { order } => {
                access.command(&json!({"command": "open_order", "order": order})).await?;
                print::line(&format!("order {order} is open"))?;
                Ok(ExitCode::SUCCESS)
            }
        }
    })
}

/// Every mistake of every file is named before anything is taken in.
async fn import(access: &Access, files: &[PathBuf]) -> anyhow::Result<ExitCode> {
    let mut orders = Vec::new();
    let mut mistakes = Vec::new();
    for file in files {
        let name = file.display().to_string();
        // An unreadable file is one more mistake; the others are looked at all the same.
        let text = match check::read_text(file) {
            Ok(text) => text,
            Err(error) => {
                mistakes.push(format!("{error:#}"));
                continue;
            }
        };
        if file.extension().is_some_and(|ending| ending == "json" || ending == "csv") {
            mistakes.push(format!("{name}: work orders are read from TOML files, see config/orders for one"));
            continue;
        }
        match read_order(&name, &text) {
            Ok(order) => orders.push((name, text, order.number)),
            Err(found) => mistakes.extend(found.0.iter().map(ToString::to_string)),
        }
    }
    if !mistakes.is_empty() {
        for mistake in &mistakes {
            print::say(mistake);
        }
        bail!("nothing was taken in: {} mistakes", mistakes.len());
    }
    for (name, text, number) in orders {
        access.command(&json!({"command": "import_order", "file": name, "text": text})).await?;
        print::line(&format!("order {number} is taken in"))?;
    }
    Ok(ExitCode::SUCCESS)
}

async fn again(access: &Access, club: &str, order: Option<&str>, raw_length: Option<&str>) -> anyhow::Result<ExitCode> {
    let command = json!({"command": "build_again", "club": club, "order": order, "raw_length": raw_length});
    access.command(&command).await?;
    let (_, state) = access.at_hand().await?;
    // The newest order that repeats the club is the one that was just made.
    let repeats = |number: &&String| {
        let order = state.orders.get(*number);
        order.is_some_and(|order| order.clubs.iter().any(|spec| spec.build.again_of.as_deref() == Some(club)))
    };
    let number = state.order_sequence.iter().rev().find(repeats).map_or("", String::as_str);
    print::line(&format!("order {number} is taken in: {club} again, with its values as built"))?;
    Ok(ExitCode::SUCCESS)
}

async fn list(access: &Access, as_json: bool) -> anyhow::Result<ExitCode> {
    let (_, state) = access.at_hand().await?;
    let orders = order_list(&state);
    if as_json {
        print::line(&orders.to_string())?;
        return Ok(ExitCode::SUCCESS);
    }
    let cell = |value: &Value| value.as_str().unwrap_or("").to_owned();
    let rows: Vec<Vec<String>> = orders["orders"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|order| {
            let clubs = order["clubs"].as_array().map_or(&[][..], Vec::as_slice);
            let finished = clubs.iter().filter(|club| club["state"] == "finished").count();
            let open = if orders["open"] == order["order"] { "open" } else { "" };
            vec![
                cell(&order["order"]),
                cell(&order["player"]),
                format!("{finished} of {}", clubs.len()),
                cell(&order["due"]),
                open.to_owned(),
            ]
        })
        .collect();
    print::table(&["order", "player", "finished", "due", ""], &rows)?;
    Ok(ExitCode::SUCCESS)
}

async fn show(access: &Access, number: &str, as_json: bool) -> anyhow::Result<ExitCode> {
    let (reader, mut state) = access.at_hand().await?;
    if !state.orders.contains_key(number)
        && let Some(place) = reader.order_of(Key::Order(number)).await?
    {
        reader.recall(&mut state, &place).await?;
    }
    let Some(order) = state.orders.get(number) else {
        bail!("there is no order {number}; `orders list` shows what there is");
    };
    if as_json {
        let mut alone = State::default();
        alone.orders.insert(number.to_owned(), order.clone());
        let view = crate::output::work_view::order_view(&state, order);
        let targets: Vec<Value> = order
            .clubs
            .iter()
            .map(|club| {
                let rows: Vec<Value> = club
                    .targets
                    .iter()
                    .map(|row| {
                        json!({"characteristic": row.characteristic.name(), "unit": row.characteristic.unit(),
                               "target": row.target.value, "lower": row.target.lower, "upper": row.target.upper,
                               "text": row.text})
                    })
                    .collect();
                json!({"club": club.id, "kind": club.kind.name(), "hand": club.hand.name(), "targets": rows})
            })
            .collect();
        print::line(&json!({"order": view, "targets": targets}).to_string())?;
        return Ok(ExitCode::SUCCESS);
    }
    for club in &order.clubs {
        let state_of = state.clubs.get(&club.id).map_or("waiting", |record| record.state.name());
        print::line(&format!("{}  {}, {}-handed, {state_of}", club.id, club.name, club.hand.name()))?;
        for row in &club.targets {
            let target = text::target(row.characteristic, &row.target, &row.text, access.lengths());
            print::line(&format!("  {:<16} {target}", row.characteristic.label()))?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
