//! `calibrate`: as-found readings, adjustment, as-left readings, guided at the terminal through the running daemon.
//!
//! One line an answer, so a script can give them: a reference a line, an empty line when there are no more.

use std::process::ExitCode;

use anyhow::{Context as _, bail};
use serde_json::{Value, json};

use super::access::{Access, Where};
use super::guide::{Follower, answer, number};
use super::{print, runtime};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The instrument's id
    instrument: String,
    #[command(flatten)]
    place: Where,
    /// 1: straight line, 2: quadratic; scales only
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    degree: u8,
    /// Works out the places of the supports, too; beams only
    #[arg(long)]
    supports: bool,
    /// The instrument really is more than 5 % off, and no other weight was laid on
    #[arg(long)]
    far_off: bool,
    /// Who calibrates, and is at the bench from now on; not needed where a badge was scanned
    #[arg(long)]
    by: Option<String>,
    /// Temperature in °C, if somebody read it
    #[arg(long, allow_hyphen_values = true)]
    temperature: Option<f64>,
    /// Anything else about the conditions
    #[arg(long)]
    note: Option<String>,
}

/// How a reference is written.
const HOW: &str = "a reference a line, an empty line when done: \"200 g, M1\", with a certificate \"200 g, M1, error 2 mg, U 3 mg, \
                   certificate 4711\", on a beam \"200 g, M1, at 450 mm, u_at 0.5 mm\", for a gauge \"lie 60 deg, loft 30 deg\", and \"lie 60 deg, loft 30 deg, hand left\" with the block laid in as a \
                   left-handed club, without which clubs of that hand are read only in a fixture that is said to be level";

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        let mut follower = Follower::at_the_end(&access).await?;
        let result = guided(&access, &arguments, &mut follower).await;
        if result.is_err() {
            // Whatever went wrong: no reference is awaited any more and nothing was adjusted.
            let gave_up =
                access.command(&json!({"command": "calibrate_cancel", "instrument": arguments.instrument})).await;
            print::say(if gave_up.is_ok() {
                "the calibration is given up; nothing was changed"
            } else {
                "no calibration is under way"
            });
        }
        result
    })
}

async fn guided(access: &Access, arguments: &Arguments, follower: &mut Follower) -> anyhow::Result<ExitCode> {
    let id = &arguments.instrument;
    if let Some(by) = &arguments.by {
        access.command(&json!({"command": "operator", "operator": by})).await?;
    }
    access
        .command(&json!({"command": "calibrate_begin", "instrument": id, "temperature_c": arguments.temperature, "note": arguments.note}))
        .await?;
    print::say(&format!("as found, before anything is changed. {HOW}"));
    let as_found = placements(access, id, follower).await?;
    access
        .command(&json!({"command": "calibrate_adjust", "instrument": id, "degree": arguments.degree, "supports": arguments.supports, "far_off": arguments.far_off}))
        .await?;
    let proposed =
        follower.wait(|event| event["kind"] == "calibration_proposed" && event["instrument"] == id.as_str()).await?;
    print::line(&format!("adjustment of {id} from {as_found} readings:"))?;
    for finding in proposed["findings"].as_array().into_iter().flatten() {
        let u = number(finding, "u").map(|u| format!(" ± {u:.2e} (standard deviation)")).unwrap_or_default();
        print::line(&format!(
            "  {}: {}{u}",
            finding["name"].as_str().unwrap_or_default(),
            number(finding, "value").unwrap_or_default()
        ))?;
    }
    print::say("as left, with the adjustment. References again, an empty line when done");
    placements(access, id, follower).await?;
    access.command(&json!({"command": "calibrate_finish", "instrument": id})).await?;
    let calibrated = follower.wait(|event| event["kind"] == "calibrated" && event["instrument"] == id.as_str()).await?;
    print::line(&format!("{id} is calibrated: event {}", calibrated["id"].as_str().unwrap_or_default()))?;
    Ok(ExitCode::SUCCESS)
}

/// References until an empty line; how many were read.
async fn placements(access: &Access, id: &str, follower: &mut Follower) -> anyhow::Result<usize> {
    let mut count = 0;
    while let Some(line) = answer("reference")? {
        let mut command = json!({"command": "calibrate_point", "instrument": id});
        // A slip of the pen is said and asked again; it does not end the calibration.
        let sent = match reference(&line, &mut command) {
            Ok(()) => access.command(&command).await,
            Err(error) => Err(error),
        };
        if let Err(error) = sent {
            print::say(&format!("{error:#}"));
            continue;
        }
        print::say(&format!("clear {id}, then lay it on; it is read by itself"));
        let read = follower.wait(|event| event["kind"] == "reference_read" && event["instrument"] == id).await?;
        count += 1;
        report(&read, &line)?;
    }
    Ok(count)
}

/// What the instrument made of a reference.
fn report(read: &Value, line: &str) -> anyhow::Result<()> {
    let shown: Vec<String> = read["placement"]["measured"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|m| {
            format!("{} {:.3}", m["quantity"].as_str().unwrap_or_default(), number(m, "value").unwrap_or_default())
        })
        .collect();
    print::line(&format!(
        "  {} of {line}: {}",
        read["purpose"].as_str().unwrap_or_default().replace('_', " "),
        shown.join(", ")
    ))
}

/// Reads `200 g, M1, error 2 mg, U 3 mg, at 450 mm, certificate 4711` or `lie 60 deg, loft 30 deg, hand left`.
fn reference(line: &str, command: &mut Value) -> anyhow::Result<()> {
    let fields = command.as_object_mut().context("the command is no JSON object")?;
    for part in line.split(',').map(str::trim).filter(|part| !part.is_empty()) {
        let (key, value) = match part.split_once(' ') {
            Some(("error", value)) => ("error", value),
            Some(("U", value)) => ("expanded_u", value),
            Some(("at", value)) => ("at", value),
            Some(("u_at", value)) => ("u_at", value),
            Some(("certificate", value)) => ("certificate", value),
            Some(("lie", value)) => ("lie", value),
            Some(("loft", value)) => ("loft", value),
            Some(("hand", value)) => ("hand", value),
            Some(("u", value)) => ("u", value),
            Some(_) => ("mass", part),
            None => ("class", part),
        };
        if fields.insert(key.to_owned(), json!(value)).is_some() {
            bail!("\"{line}\" says its {key} twice");
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reference_is_read_from_a_line() {
        let read = |line: &str| {
            let mut command = json!({});
            reference(line, &mut command).map(|()| command)
        };
        assert_eq!(read("200 g, M1").unwrap(), json!({"mass": "200 g", "class": "M1"}));
        assert_eq!(
            read("200 g, M1, error -2 mg, U 3 mg, at 450 mm").unwrap(),
            json!({"mass": "200 g", "class": "M1", "error": "-2 mg", "expanded_u": "3 mg", "at": "450 mm"})
        );
        assert_eq!(read("lie 60 deg, loft 30 deg").unwrap(), json!({"lie": "60 deg", "loft": "30 deg"}));
        assert_eq!(
            read("lie 60 deg, loft 30 deg, hand left, u 0.02 deg").unwrap(),
            json!({"lie": "60 deg", "loft": "30 deg", "hand": "left", "u": "0.02 deg"})
        );
        assert_eq!(
            read("200 g, M1, at 450 mm, u_at 0.5 mm").unwrap(),
            json!({"mass": "200 g", "class": "M1", "at": "450 mm", "u_at": "0.5 mm"})
        );
        assert!(read("200 g, 100 g").is_err());
    }
}
