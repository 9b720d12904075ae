//! `stock`: numbered parts laid down one after another, listed, labelled, put into clubs.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use serde_json::{Value, json};

use super::access::{Access, Where};
use super::{print, runtime};
use crate::output::part_view::{self, NumberedPartView};
use crate::output::sheet;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Begins a stock intake: every part that is laid down from now on is weighed and gets a number
    Intake {
        /// What is laid down: head, shaft or grip
        kind: String,
        /// The scale or beam; without it the finest scale
        #[arg(long)]
        instrument: Option<String>,
        #[command(flatten)]
        facts: Facts,
    },
    /// Ends it: the instrument measures clubs again
    End,
    /// The parts in stock
    List {
        /// Also those that were used, taken back or withdrawn
        #[arg(long)]
        all: bool,
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// Says what is known of a part
    Describe {
        /// Its number, such as H-12
        part: String,
        #[command(flatten)]
        facts: Facts,
    },
    /// Puts a part into a club, as a scan of its label does
    Use {
        /// Its number
        part: String,
        /// The club; without it the open one
        #[arg(long)]
        club: Option<String>,
    },
    /// Takes a part out of its club again; that it was in there stays in the record
    Release {
        /// Its number, or the event of its use
        part: String,
        /// The reason
        #[arg(long)]
        why: String,
    },
    /// Takes a part out of the stock: sold, broken, sent back
    Withdraw {
        /// Its number
        part: String,
        /// The reason
        #[arg(long)]
        why: String,
    },
    /// Labels for parts (PDF, one a page of the label's own size)
    Labels {
        /// Their numbers; without them those of --intake, or of the last intake
        parts: Vec<String>,
        /// All parts of an intake
        #[arg(long, conflicts_with = "parts")]
        intake: Option<String>,
        /// The file; without it stdout
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
}

/// What is known of parts, as text with units.
#[derive(clap::Args)]
struct Facts {
    /// The drawer they lie in
    #[arg(long)]
    drawer: Option<String>,
    /// Their model
    #[arg(long)]
    model: Option<String>,
    /// The club they are made for, by its name in orders; may be given more than once
    #[arg(long = "for", value_name = "CLUB")]
    clubs: Vec<String>,
    /// Length of raw shafts, such as "45 in"
    #[arg(long)]
    length: Option<String>,
    /// Balance of raw shafts from the butt
    #[arg(long)]
    balance: Option<String>,
    /// Frequency of shafts, such as "255 cpm"
    #[arg(long)]
    frequency: Option<String>,
    /// Loft of heads
    #[arg(long, allow_hyphen_values = true)]
    loft: Option<String>,
    /// Lie of heads
    #[arg(long)]
    lie: Option<String>,
    /// Item number of the trade (GTIN)
    #[arg(long)]
    gtin: Option<String>,
    /// The maker's lot
    #[arg(long)]
    lot: Option<String>,
    /// The maker's serial number
    #[arg(long)]
    serial: Option<String>,
}

impl Facts {
    /// As fields of a command.
    fn fields(self, command: &str, more: Value) -> Value {
        let mut fields = json!({"command": command, "drawer": self.drawer, "model": self.model, "length": self.length,
            "balance": self.balance, "frequency": self.frequency, "loft": self.loft, "lie": self.lie, "gtin": self.gtin,
            "lot": self.lot, "serial": self.serial});
        if !self.clubs.is_empty() {
            fields["for"] = json!(self.clubs);
        }
        if let (Some(fields), Value::Object(more)) = (fields.as_object_mut(), more) {
            fields.extend(more);
        }
        fields
    }
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        let (command, done) = match arguments.action {
            Action::List { all, json } => return list(&access, all, json).await,
            Action::Labels { parts, intake, out } => return labels(&access, parts, intake, out).await,
            Action::Intake { kind, instrument, facts } => {
                let done = format!("lay one {kind} on after another; `stock end` when the row is done");
                (facts.fields("begin_intake", json!({"kind": kind, "instrument": instrument})), done)
            }
            Action::End => (json!({"command": "end_intake"}), "the intake is ended".to_owned()),
            Action::Describe { part, facts } => {
                let done = format!("noted of {part}");
                (facts.fields("describe_part", json!({"part": part})), done)
            }
            // What is said of it names the club.
            Action::Use { part, club } => (json!({"command": "use_part", "part": part, "club": club}), String::new()),
            Action::Release { part, why } => {
                let done = format!("{part} is taken out");
                (json!({"command": "release_part", "part": part, "why": why}), done)
            }
            Action::Withdraw { part, why } => {
                let done = format!("{part} is not in the stock any more");
                (json!({"command": "withdraw_part", "part": part, "why": why}), done)
            }
        };
        let said = access.asked(&command).await?;
        let done = Some(done).filter(|done| !done.is_empty());
        said.iter().chain(&done).try_for_each(|words| print::line(words))?;
        Ok(ExitCode::SUCCESS)
    })
}

async fn list(access: &Access, all: bool, as_json: bool) -> anyhow::Result<ExitCode> {
    let (_, state) = access.at_hand().await?;
    let parts = part_view::parts(&state, all);
    if as_json {
        print::line(&json!({"intake": part_view::open_intake(&state), "parts": parts}).to_string())?;
        return Ok(ExitCode::SUCCESS);
    }
    if let Some(open) = part_view::open_intake(&state) {
        print::say(&format!("stock intake {} of {}s is open on {}", open.intake, open.kind, open.instrument));
    }
    if parts.is_empty() {
        print::say("no numbered part is in stock: begin with `stock intake head`, and lay them down one after another");
    }
    let rows: Vec<Vec<String>> = parts.iter().map(row).collect();
    print::table(&["part", "kind", "mass", "for", "drawer", "model", "lot", "serial", "where"], &rows)?;
    Ok(ExitCode::SUCCESS)
}

fn row(part: &NumberedPartView) -> Vec<String> {
    let facts = &part.facts;
    let text = |fact: &Option<String>| fact.clone().unwrap_or_default();
    let place = match (&part.club, &part.why) {
        (Some(club), _) => format!("in {club}"),
        (None, Some(why)) => format!("{}: {why}", part.place.replace('_', " ")),
        (None, None) => "in stock".to_owned(),
    };
    vec![
        part.part.clone(),
        part.kind.to_owned(),
        format!("{:.2} g", part.mass_g),
        facts.clubs.join(", "),
        text(&facts.drawer),
        text(&facts.model),
        text(&facts.lot),
        text(&facts.serial),
        place,
    ]
}

async fn labels(
    access: &Access,
    numbers: Vec<String>,
    intake: Option<String>,
    out: Option<PathBuf>,
) -> anyhow::Result<ExitCode> {
    let (_, state) = access.at_hand().await?;
    let stock = &state.part_stock;
    let parts: Vec<NumberedPartView> = if numbers.is_empty() {
        // Of an intake whose parts were all taken back there is nothing to print.
        let mut newest_first = stock.intakes.iter().rev().map(|intake| &intake.intake);
        let last = || newest_first.find(|intake| stock.of_intake(intake).next().is_some()).cloned();
        let Some(intake) = intake.or_else(last) else {
            bail!("there was no stock intake yet; begin with `stock intake head`");
        };
        stock.of_intake(&intake).map(part_view::numbered_part).collect()
    } else {
        let of = |number: &String| {
            let part = stock.part(number).with_context(|| format!("there is no part {number}; `stock list` shows all"));
            part.map(part_view::numbered_part)
        };
        numbers.iter().map(of).collect::<anyhow::Result<_>>()?
    };
    if parts.is_empty() {
        bail!(
            "there is no part to label: that intake has none; `stock list` shows the parts, `stock labels H-1` prints one"
        );
    }
    let bytes = sheet::part_labels(&parts)?;
    match out {
        None => print::pdf(&bytes)?,
        Some(file) => print::to_file(&file, &bytes)?,
    }
    Ok(ExitCode::SUCCESS)
}
