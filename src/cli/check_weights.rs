//! `check-weights`: a check weight on a scale or beam, or a block of known angles in a gauge, guided at the terminal
//! through the running daemon.

use std::process::ExitCode;

use anyhow::bail;
use serde_json::{Value, json};

use super::access::{Access, Where};
use super::guide::{Follower, StatedWeight, number};
use super::{print, runtime};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The instrument's id
    instrument: String,
    #[command(flatten)]
    place: Where,
    #[command(flatten)]
    weight: StatedWeight,
    /// Where the weight hangs on a beam, from the butt stop, such as "450 mm"; the balance point is then checked, too
    #[arg(long, conflicts_with = "lie")]
    at: Option<String>,
    /// Standard uncertainty of that place; 0.3 mm if nothing is said
    #[arg(long, requires = "at")]
    u_at: Option<String>,
    #[command(flatten)]
    block: StatedBlock,
    /// How many times the weight or block is laid on and taken off; ten tell the repeatability
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=30))]
    repeat: u32,
    /// One JSON line a check instead of words
    #[arg(long)]
    json: bool,
}

/// A block of known angles, as its certificate says.
#[derive(clap::Args, Clone)]
struct StatedBlock {
    /// Lie that the block holds, such as "60 deg"; gauges only
    #[arg(long, requires = "loft", conflicts_with_all = ["mass", "class", "error", "expanded_u"])]
    lie: Option<String>,
    /// Loft that it holds in the sense the gauge reads
    #[arg(long, requires = "lie", allow_hyphen_values = true)]
    loft: Option<String>,
    /// As a club of which hand it is laid in
    #[arg(long, requires = "lie", value_parser = ["right", "left"])]
    hand: Option<String>,
    /// Standard uncertainty of both, such as "0.02 deg"
    #[arg(long, requires = "lie")]
    u: Option<String>,
}

impl StatedBlock {
    fn fill(&self, command: &mut Value) {
        let Some(fields) = command.as_object_mut() else { return };
        for (key, value) in [("lie", &self.lie), ("loft", &self.loft), ("hand", &self.hand), ("u", &self.u)] {
            if let Some(value) = value {
                fields.insert(key.to_owned(), json!(value));
            }
        }
    }
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        let mut all_good = true;
        for round in 1..=arguments.repeat {
            let check = once(&access, &arguments, round).await?;
            all_good &= check.get("zone").and_then(Value::as_str) != Some("out");
            if arguments.json {
                print::line(&check.to_string())?;
            } else {
                report(&check)?;
            }
        }
        Ok(if all_good { ExitCode::SUCCESS } else { ExitCode::FAILURE })
    })
}

async fn once(access: &Access, arguments: &Arguments, round: u32) -> anyhow::Result<Value> {
    let instrument = &arguments.instrument;
    let mut command = json!({"command": "check_begin", "instrument": instrument});
    let what = if arguments.block.lie.is_some() {
        arguments.block.fill(&mut command);
        "block"
    } else {
        let place = [("at", arguments.at.as_deref()), ("u_at", arguments.u_at.as_deref())];
        let place: Vec<(&str, &str)> = place.into_iter().filter_map(|(key, value)| Some((key, value?))).collect();
        arguments.weight.fill(&mut command, &place)?;
        "weight"
    };
    let mut follower = Follower::at_the_end(access).await?;
    access.command(&command).await?;
    let times = if arguments.repeat > 1 { format!(" ({round} of {})", arguments.repeat) } else { String::new() };
    print::say(&format!("clear {instrument}, then lay the {what} on{times}; it is read by itself"));
    let of_it = |event: &Value| event["instrument"] == instrument.as_str();
    match follower.wait(|event| (event["kind"] == "checked" || event["kind"] == "angles_checked") && of_it(event)).await
    {
        Ok(event) => Ok(event),
        Err(error) => {
            access.command(&json!({"command": "check_cancel", "instrument": instrument})).await?;
            bail!(error)
        }
    }
}

fn report(check: &Value) -> anyhow::Result<()> {
    let grams = |key: &str| number(check, key).map_or_else(|| "?".to_owned(), |value| format!("{value:.3} g"));
    let reason = check["reason"].as_str().unwrap_or_default();
    print::line(&format!(
        "{}: {} it {reason}",
        check["instrument"].as_str().unwrap_or_default(),
        check["zone"].as_str().unwrap_or_default()
    ))?;
    for error in check["errors"].as_array().into_iter().flatten() {
        let degrees = |key: &str| number(error, key).unwrap_or_default();
        print::line(&format!(
            "  {}: reference {:.3}, indication {:.3}, error {:.3} ± {:.3} deg",
            error["quantity"].as_str().unwrap_or_default(),
            degrees("reference_deg"),
            degrees("indication_deg"),
            degrees("error_deg"),
            2.0 * degrees("u_deg")
        ))?;
    }
    if check["kind"] == "angles_checked" {
        return Ok(());
    }
    print::line(&format!(
        "  reference {}, indication {}, error {} ± {:.3} g",
        grams("reference_g"),
        grams("indication_g"),
        grams("error_g"),
        2.0 * number(check, "u_g").unwrap_or(0.0)
    ))?;
    if let Some(balance) = check.get("balance").filter(|balance| balance.is_object()) {
        let mm = |key: &str| number(balance, key).unwrap_or_default();
        print::line(&format!(
            "  balance point: reference {:.2}, indication {:.2}, error {:.2} ± {:.2} mm",
            mm("reference_mm"),
            mm("indication_mm"),
            mm("error_mm"),
            2.0 * mm("u_mm")
        ))?;
    }
    if let (Some(s), Some(least)) = (number(check, "repeatability_g"), number(check, "minimum_g")) {
        print::line(&format!("  repeatability {s:.4} g; masses from {least:.1} g are weighed to 0.10 %"))?;
    }
    Ok(())
}
