//! `scan`: codes as the scanner would send them, from the terminal.

use std::process::ExitCode;

use anyhow::Context as _;
use serde_json::json;

use super::access::{Access, Where};
use super::{print, runtime};
use crate::journal::event;
use crate::work_order::event::Change;

/// The most events of one scan that are told.
const TOLD: i64 = 50;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    /// Codes of tickets, cards, labels or parts, such as BS1/O/W-1042; several are scanned one after the other
    #[arg(required = true, value_name = "CODE")]
    codes: Vec<String>,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        for code in &arguments.codes {
            scan(&access, code).await.with_context(|| format!("\"{code}\" is not taken"))?;
        }
        Ok(ExitCode::SUCCESS)
    })
}

/// Tells what a code has led to, as the journal has it.
async fn scan(access: &Access, code: &str) -> anyhow::Result<()> {
    // A new bench has no journal yet.
    let before = match access.reader().await {
        Ok(reader) => reader.last_seq().await?,
        Err(_) => 0,
    };
    let said = access.asked(&json!({"command": "scan", "code": code})).await?;
    let mut lines = Vec::new();
    for row in access.reader().await?.after(before, TOLD).await? {
        lines.extend(told(&event::parse(&row.body)?.change, &said));
    }
    lines.extend(said);
    if lines.is_empty() {
        lines.push(format!("\"{code}\" is taken; it changes nothing"));
    }
    lines.iter().try_for_each(|line| print::line(line))
}

/// What happened, for whoever has scanned and looks at the terminal; not what a reading brings meanwhile, and not what the bench
/// says of it in a sentence of its own.
fn told(change: &Change, said: &[String]) -> Option<String> {
    let is_said = |beginning: &str| said.iter().any(|words| words.starts_with(beginning));
    Some(match change {
        Change::OrderOpened { order } => format!("order {order} is open"),
        Change::OrderTakenUp { order } => format!("order {order} is in the queue again"),
        Change::ClubOpened { club } => format!("{club} is open"),
        Change::ClubPutAside { club } => format!("{club} is put aside"),
        Change::ClubFinished { club } => format!("{club} is finished"),
        Change::ClubTakenUp { club, .. } => format!("{club} is taken up again"),
        Change::ClubReopened { club } if is_said(&format!("{club} is in work again")) => return None,
        Change::ClubReopened { club } => format!("{club} is in work again"),
        Change::StepDone { step, .. } if is_said(&format!("\"{}\" is done ", step.label())) => return None,
        Change::StepDone { club, step, .. } => format!("\"{}\" is done at {club}", step.label()),
        Change::CautionsAcknowledged { club, .. } => format!("the cautions shown for {club} are acknowledged"),
        Change::OperatorChanged { operator: Some(who) } => format!("{who} is at the bench"),
        Change::ReadingVoided { .. } if is_said("taken back") => return None,
        Change::ReadingVoided { reading, .. } => format!("reading {reading} is taken back"),
        Change::IntakeBegun(intake) => format!(
            "stock intake {} of {}s is open on {}: lay them down one after another",
            intake.intake,
            intake.kind.name(),
            intake.instrument
        ),
        Change::IntakeEnded { intake } => format!("stock intake {intake} is ended"),
        _ => return None,
    })
}
