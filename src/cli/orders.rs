//! `orders`: work orders in, listed, shown, opened, out.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use serde_json::{Value, json};

use super::access::{Access, Where};
use super::{check, print, runtime};
use crate::config::order_file::{OrderFormat, read_orders};
use crate::journal::archive::Key;
use crate::output::lists::{order_list, revision_list};
use crate::output::order_text::write_orders;
use crate::output::text;
use crate::output::times::minute;
use crate::work_order::build::DryFitStop;
use crate::work_order::order::{ClubSpec, Order, WorkKind};
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
    /// Takes orders in, all or none; a known one with changes is revised, one without changes changes nothing
    Import {
        /// Order files: TOML, JSON or CSV by the ending of their names
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
    /// Orders that are not finished in the order of the work, and the last ones
    List {
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// One order with its clubs and targets, and what later versions of it changed
    Show {
        /// The order's number
        order: String,
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// Makes an order for the same work on a club like one that is finished: its values as built or left, the tolerances of its order
    Again {
        /// The finished club's id, such as W-1042/1
        club: String,
        /// The new order's number; without it one is made from the club's id
        #[arg(long)]
        order: Option<String>,
        /// `build`: the new club is built from parts though the finished one was repaired, where its record says which
        #[arg(long)]
        work: Option<String>,
        /// The length of the new shaft before it is cut, for its cut marks
        #[arg(long)]
        raw_length: Option<String>,
    },
    /// Makes an order the current one, or a club the one in hand
    Open {
        /// The order's number, or a club's id such as W-1042/3
        order: String,
    },
    /// Puts an order aside: it waits behind all others
    Aside {
        /// The order's number
        order: String,
        /// Why
        #[arg(long, default_value = "")]
        why: String,
    },
    /// Takes an order up again that was put aside, or a club that was finished
    Resume {
        /// The order's number, or a finished club's id such as W-1042/3
        order: String,
        /// Who decides that a finished club is worked on again
        #[arg(long, value_name = "WHO")]
        by: Option<String>,
        /// Why
        #[arg(long)]
        why: Option<String>,
    },
    /// Writes orders so that they can be imported again
    Export {
        /// Their numbers; none means those that `list` shows
        orders: Vec<String>,
        /// The format; without it TOML, which holds one order a file, and JSON for several of them on stdout
        #[arg(long = "as", value_enum)]
        format: Option<As>,
        /// A folder for one file an order, instead of stdout
        #[arg(long)]
        out: Option<PathBuf>,
    },
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum As {
    Toml,
    Json,
    Csv,
}

impl As {
    fn format(self) -> OrderFormat {
        match self {
            Self::Toml => OrderFormat::Toml,
            Self::Json => OrderFormat::Json,
            Self::Csv => OrderFormat::Csv,
        }
    }

    fn ending(self) -> &'static str {
        match self {
            Self::Toml => "toml",
            Self::Json => "json",
            Self::Csv => "csv",
        }
    }
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        match arguments.action {
            Action::Import { files } => import(&access, &files).await,
            Action::List { json } => list(&access, json).await,
            Action::Show { order, json } => show(&access, &order, json).await,
            Action::Again { club, order, work, raw_length } => {
                let repeat = json!({"command": "build_again", "club": club, "order": order, "work": work,
                                    "raw_length": raw_length});
                again(&access, &club, &repeat).await
            }
            Action::Open { order: club } if club.contains('/') => {
                access.command(&json!({"command": "open_club", "club": club})).await?;
                print::line(&format!("{club} is open"))?;
                Ok(ExitCode::SUCCESS)
            }
            Action::Open { order } => {
                access.command(&json!({"command": "open_order", "order": order})).await?;
                print::line(&format!("order {order} is open"))?;
                Ok(ExitCode::SUCCESS)
            }
            Action::Aside { order, why } => {
                access.command(&json!({"command": "put_order_aside", "order": order, "why": why})).await?;
                print::line(&format!("order {order} is put aside"))?;
                Ok(ExitCode::SUCCESS)
            }
            Action::Resume { order: club, by, why } if club.contains('/') => {
                let (Some(by), Some(why)) = (by, why) else {
                    bail!("{club} is only taken up again with a name and a reason: `orders resume {club} --by N --why TEXT`")
                };
                let command = json!({"command": "take_club_up", "club": club, "name": by, "why": why});
                access.command(&command).await?;
                Ok(ExitCode::SUCCESS)
            }
            Action::Resume { order, by: None, why: None } => {
                access.command(&json!({"command": "take_order_up", "order": order})).await?;
                print::line(&format!("order {order} is in the queue again"))?;
                Ok(ExitCode::SUCCESS)
            }
            Action::Resume { order, .. } => {
                bail!("order {order} is taken up without a name or a reason; these are for a finished club, such as {order}/1")
            }
            Action::Export { orders, format, out } => export(&access, &orders, format, out.as_deref()).await,
        }
    })
}

/// Every mistake of every file is named before anything is taken in, and all orders are taken in at once.
async fn import(access: &Access, files: &[PathBuf]) -> anyhow::Result<ExitCode> {
    let mut numbers = Vec::new();
    let mut texts = Vec::new();
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
        match read_orders(&name, &text, OrderFormat::of(&name)) {
            Ok(orders) => {
                for order in orders {
                    if numbers.contains(&order.number) {
                        mistakes.push(format!("{name}: order {} stands in another file as well", order.number));
                    }
                    numbers.push(order.number);
                }
                texts.push(json!({"file": name, "text": text}));
            }
            Err(found) => mistakes.extend(found.0.iter().map(ToString::to_string)),
        }
    }
    if !mistakes.is_empty() {
        for mistake in &mistakes {
            print::say(mistake);
        }
        bail!("nothing was taken in: {} mistakes", mistakes.len());
    }
    // A new bench has no journal yet.
    let before = known(access, &numbers).await.unwrap_or_default();
    access.command(&json!({"command": "import_orders", "files": texts})).await?;
    let after = known(access, &numbers).await?;
    for number in numbers {
        let last = |state: &State| state.revisions.get(&number).and_then(VecDeque::back).cloned();
        match (before.orders.contains_key(&number), last(&after)) {
            (false, _) => print::line(&format!("order {number} is taken in"))?,
            (true, Some(revision)) if Some(&revision) != last(&before).as_ref() => {
                print::line(&format!("order {number} is changed, version {}:", revision.number))?;
                revision.words.iter().try_for_each(|words| print::line(&format!("  {words}")))?;
            }
            (true, _) => print::line(&format!("order {number} is known, nothing changes"))?,
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The state with these orders in it, those that are finished long ago too.
async fn known(access: &Access, numbers: &[String]) -> anyhow::Result<State> {
    let (reader, mut state) = access.at_hand().await?;
    for number in numbers {
        if !state.orders.contains_key(number)
            && let Some(place) = reader.order_of(Key::Order(number)).await?
        {
            reader.recall(&mut state, &place).await?;
        }
    }
    Ok(state)
}

async fn export(
    access: &Access,
    numbers: &[String],
    format: Option<As>,
    out: Option<&Path>,
) -> anyhow::Result<ExitCode> {
    let state = known(access, numbers).await?;
    let mut orders = Vec::new();
    for number in numbers {
        let order = state.orders.get(number);
        orders.push(order.with_context(|| format!("there is no order {number}; `orders list` shows what there is"))?);
    }
    if numbers.is_empty() {
        orders = state.orders_in_turn();
    }
    let format = format.unwrap_or(if orders.len() > 1 && out.is_none() { As::Json } else { As::Toml });
    // What CSV cannot hold must not get lost without a word.
    let lost = |order: &Order| if matches!(format, As::Csv) { lost_in_csv(order) } else { Vec::new() };
    let mut is_all = true;
    orders.retain(|order| {
        let lost = lost(order);
        if lost.is_empty() {
            return true;
        }
        is_all = false;
        print::say(&format!(
            "order {} is left out, because CSV has no columns for {}: `orders export {} --as toml` has all of it",
            order.number,
            lost.join(", "),
            order.number
        ));
        false
    });
    let done = if is_all { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    if orders.is_empty() {
        print::say(if is_all { "there is no order to write" } else { "nothing is left to write" });
        return Ok(ExitCode::FAILURE);
    }
    let Some(folder) = out else {
        if matches!(format, As::Toml) && orders.len() > 1 {
            let numbers: Vec<&str> = orders.iter().map(|order| order.number.as_str()).collect();
            bail!(
                "a TOML file holds one order, and these are {}: `orders export {} --as toml --out DIR` writes a file for each, --as json has all in one",
                orders.len(),
                numbers.join(" ")
            );
        }
        // The text ends its last line itself.
        print::line(write_orders(&orders, format.format()).trim_end())?;
        return Ok(done);
    };
    std::fs::create_dir_all(folder).with_context(|| format!("{} cannot be made", folder.display()))?;
    for order in orders {
        let file = folder.join(format!("{}.{}", order.number.to_ascii_lowercase(), format.ending()));
        std::fs::write(&file, write_orders(&[order], format.format()))
            .with_context(|| format!("{} cannot be written", file.display()))?;
        print::line(&file.display().to_string())?;
    }
    Ok(done)
}

/// What an order says that CSV has no columns for, in words.
fn lost_in_csv(order: &Order) -> Vec<String> {
    let of_club = |club: &ClubSpec| {
        let (details, build, models) = (&club.details, &club.build, &club.models);
        let is_given = details.head_material.is_some() || !details.given.is_empty();
        let is_otherwise = build.again_of.is_some() || build.dry_fit_stop != DryFitStop::default();
        let said = [
            ("its parts' models", !models.is_empty()),
            ("[club.given]", is_given),
            ("[club.sleeve]", details.sleeve.is_some()),
            ("[club.cut]", build.cut.is_some()),
            ("[club.fit]", build.fit.is_some()),
            ("the club it repeats or its dry fit", is_otherwise),
        ];
        let said: Vec<&str> = said.into_iter().filter_map(|(what, is_said)| is_said.then_some(what)).collect();
        (!said.is_empty()).then(|| format!("{} of {}", said.join(" and "), club.id))
    };
    order.clubs.iter().filter_map(of_club).collect()
}

async fn again(access: &Access, club: &str, command: &Value) -> anyhow::Result<ExitCode> {
    access.command(command).await?;
    let (_, state) = access.at_hand().await?;
    // The newest order that repeats the club is the one that was just made.
    let repeats = |number: &&String| {
        let order = state.orders.get(*number);
        order.is_some_and(|order| order.clubs.iter().any(|spec| spec.build.again_of.as_deref() == Some(club)))
    };
    let number = state.order_sequence.iter().rev().find(repeats).map_or("", String::as_str);
    let spec = state.orders.get(number).and_then(|order| order.clubs.first());
    let repeated = match spec.map(|spec| spec.work) {
        None | Some(WorkKind::Build) => "with its values as built".to_owned(),
        Some(work) => format!("{}, with its values as left", work.label()),
    };
    print::line(&format!("order {number} is taken in: {club} again, {repeated}"))?;
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
                cell(&order["priority"]),
                match order["aside"].as_str() {
                    Some("") => "put aside".to_owned(),
                    Some(why) => format!("put aside: {why}"),
                    None => open.to_owned(),
                },
            ]
        })
        .collect();
    print::table(&["order", "player", "finished", "due", "priority", ""], &rows)?;
    state.next_in_turn().iter().try_for_each(|words| print::line(words))?;
    Ok(ExitCode::SUCCESS)
}

async fn show(access: &Access, number: &str, as_json: bool) -> anyhow::Result<ExitCode> {
    let state = known(access, &[number.to_owned()]).await?;
    let Some(order) = state.orders.get(number) else {
        bail!("there is no order {number}; `orders list` shows what there is");
    };
    if as_json {
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
                let route: Vec<&str> = club.route().iter().map(|step| step.name()).collect();
                json!({"club": club.id, "kind": club.kind.name(), "hand": club.hand.name(),
                       "work": club.work.name(), "route": route, "targets": rows})
            })
            .collect();
        let revisions = revision_list(&state, number);
        let next = state.next_in_turn();
        let shown = json!({"order": view, "targets": targets, "revisions": revisions, "next_in_turn": next});
        print::line(&shown.to_string())?;
        return Ok(ExitCode::SUCCESS);
    }
    for club in &order.clubs {
        let state_of = state.clubs.get(&club.id).map_or("waiting", |record| record.state.name());
        let work = club.work.label();
        print::line(&format!("{}  {}, {}-handed, {work}, {state_of}", club.id, club.name, club.hand.name()))?;
        for row in &club.targets {
            let target = text::target(row, access.lengths());
            print::line(&format!("  {:<16} {target}", row.characteristic.label()))?;
        }
    }
    if state.next_club(order).is_some() {
        state.next_in_turn().iter().try_for_each(|words| print::line(words))?;
    }
    for revision in state.revisions.get(number).into_iter().flatten() {
        let by = revision.by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
        print::line(&format!("version {}, {}{by}:", revision.number, minute(revision.at_us, &access.zone())))?;
        revision.words.iter().try_for_each(|words| print::line(&format!("  {words}")))?;
    }
    Ok(ExitCode::SUCCESS)
}
