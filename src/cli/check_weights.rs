//! `check-weights`: a check weight on a scale or beam, guided at the terminal through the running daemon.

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
    /// How many times the weight is laid on and taken off; ten tell the repeatability
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=30))]
    repeat: u32,
    /// One JSON line a check instead of words
    #[arg(long)]
    json: bool,
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
    arguments.weight.fill(&mut command, &[])?;
    let mut follower = Follower::at_the_end(access).await?;
    access.command(&command).await?;
    let times = if arguments.repeat > 1 { format!(" ({round} of {})", arguments.repeat) } else { String::new() };
    print::say(&format!("clear {instrument}, then lay the weight on{times}; it is read by itself"));
    let of_it = |event: &Value| event["instrument"] == instrument.as_str();
    match follower.wait(|event| event["kind"] == "checked" && of_it(event)).await {
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
    print::line(&format!(
        "  reference {}, indication {}, error {} ± {:.3} g",
        grams("reference_g"),
        grams("indication_g"),
        grams("error_g"),
        2.0 * number(check, "u_g").unwrap_or(0.0)
    ))?;
    if let (Some(s), Some(least)) = (number(check, "repeatability_g"), number(check, "minimum_g")) {
        print::line(&format!("  repeatability {s:.4} g; masses from {least:.1} g are weighed to 0.10 %"))?;
    }
    Ok(())
}
