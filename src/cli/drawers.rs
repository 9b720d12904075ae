//! `drawers`: what is in stock, taken for clubs, put back, counted and refilled.

use std::process::ExitCode;

use serde_json::{Value, json};

use super::access::{Access, Where};
use super::{print, runtime};
use crate::output::drawer_view;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Everything in the drawers with what is left
    List {
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// Uses a proposal for the open club: its parts are taken out of the stock
    Use {
        /// The proposal's name as the page and the API show it; without it the first one
        proposal: Option<String>,
    },
    /// Takes parts that were not proposed
    Take {
        /// The part's name
        item: String,
        /// How many
        #[arg(long, default_value_t = 1)]
        pieces: u32,
        /// Where to, for weights and tapes
        #[arg(long)]
        place: Option<String>,
        /// For which club; without it the open one
        #[arg(long)]
        club: Option<String>,
    },
    /// Puts parts back into the stock; that they were taken stays in the journal
    PutBack {
        /// The taking's event, as the club's record shows it; without it the last one of the open club
        taking: Option<String>,
        /// The reason
        #[arg(long)]
        why: String,
    },
    /// Says how many pieces there are
    Count {
        /// The part's name
        item: String,
        /// How many there are
        pieces: u32,
    },
    /// Adds pieces to the stock
    Refill {
        /// The part's name
        item: String,
        /// How many were put in
        pieces: u32,
    },
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        let (command, done) = match arguments.action {
            Action::List { json } => {
                list(&access, json).await?;
                return Ok(ExitCode::SUCCESS);
            }
            Action::Use { proposal } => {
                (json!({"command": "use_proposal", "proposal": proposal}), "the parts are taken".to_owned())
            }
            Action::Take { item, pieces, place, club } => {
                let done = format!("{pieces} of {item} taken");
                (json!({"command": "take_part", "item": item, "pieces": pieces, "place": place, "club": club}), done)
            }
            Action::PutBack { taking, why } => {
                (json!({"command": "put_back", "taking": taking, "why": why}), "the parts are put back".to_owned())
            }
            Action::Count { item, pieces } => {
                let done = format!("{pieces} of {item} are there");
                (json!({"command": "count_stock", "item": item, "pieces": pieces}), done)
            }
            Action::Refill { item, pieces } => {
                let done = format!("{pieces} of {item} put in");
                (json!({"command": "refill_stock", "item": item, "pieces": pieces}), done)
            }
        };
        access.command(&command).await?;
        print::line(&done)?;
        say_low(&access).await?;
        Ok(ExitCode::SUCCESS)
    })
}

async fn list(access: &Access, as_json: bool) -> anyhow::Result<()> {
    let (_, state) = access.at_hand().await?;
    let stock = drawer_view::stock(&state);
    if as_json {
        let document: Value = json!({"stock": stock});
        print::line(&document.to_string())?;
        return Ok(());
    }
    if stock.is_empty() {
        print::say(
            "the drawers are empty: name kit files in the bench's configuration (kits = [...]) and start it once",
        );
    }
    let rows: Vec<Vec<String>> = stock
        .iter()
        .map(|line| {
            vec![
                line.item.clone(),
                line.kind.to_owned(),
                format!("{:.2} g", line.mass_g),
                line.left.to_string(),
                if line.is_low { "low".to_owned() } else { String::new() },
                line.places.join(", "),
            ]
        })
        .collect();
    print::table(&["part", "kind", "mass", "left", "", "places"], &rows)
}

/// Low stock is said with every change of it.
async fn say_low(access: &Access) -> anyhow::Result<()> {
    let (_, state) = access.at_hand().await?;
    for line in drawer_view::low_stock(&state) {
        print::say(&format!("low stock: {} {} left", line.left, line.item));
    }
    Ok(())
}
