//! `identify`: listens on ports, asks where a family must be asked, and says which format and line explain the bytes.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use serde_json::{Value, json};

use super::{print, runtime};
use crate::clock::Clock;
use crate::instrument::format::Mode;
use crate::instrument::identify::built_in_variants;
use crate::instrument::port::investigate;
use crate::instrument::search::{Finding, Found, Search};

/// Where ports have names that stay.
const LASTING_NAMES: &str = "/dev/serial/by-id";

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Ports to listen on; without any, all under /dev/serial/by-id
    ports: Vec<PathBuf>,
    /// Longest time for a port
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=300))]
    seconds: u32,
    /// One JSON line a port instead of words
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let ports = if arguments.ports.is_empty() { ports_of_this_machine() } else { arguments.ports };
    if ports.is_empty() {
        anyhow::bail!("there is no port under {LASTING_NAMES}; plug the instrument in, or name its port");
    }
    runtime()?.block_on(async {
        let clock = Clock::start(1.0);
        let seconds = f64::from(arguments.seconds);
        let mut searches = Vec::new();
        for port in ports {
            let search = Search::new(built_in_variants().to_vec(), clock.now().t_s, seconds);
            searches.push(tokio::spawn(async move {
                let finding = investigate(&port, search, clock).await;
                (port, finding)
            }));
        }
        let mut all_sure = true;
        for search in searches {
            let (port, finding) = search.await?;
            let (sure, text) = match finding {
                Ok(Finding::Sure(found)) => (true, answer(&port, &found, arguments.json)),
                Ok(Finding::NotSure { why, .. }) => (false, not_sure(&port, &why, arguments.json)),
                Err(error) => (false, not_sure(&port, &error.to_string(), arguments.json)),
            };
            all_sure &= sure;
            print::line(&text)?;
        }
        Ok(if all_sure { ExitCode::SUCCESS } else { ExitCode::FAILURE })
    })
}

fn ports_of_this_machine() -> Vec<PathBuf> {
    let mut ports: Vec<PathBuf> = std::fs::read_dir(LASTING_NAMES)
        .map(|entries| entries.flatten().map(|entry| entry.path()).collect())
        .unwrap_or_default();
    ports.sort();
    ports
}

fn not_sure(port: &Path, why: &str, as_json: bool) -> String {
    if as_json {
        return json!({"port": port.display().to_string(), "sure": false, "why": why}).to_string();
    }
    format!("{}: not sure: {why}", port.display())
}

/// What was found, with the block for the configuration.
fn answer(port: &Path, found: &Found, as_json: bool) -> String {
    let family = &found.format.family;
    let settings: Vec<String> = found.candidate.settings.iter().map(|(key, value)| format!("{key}={value}")).collect();
    if as_json {
        let value: Value = json!({
            "port": port.display().to_string(), "sure": true, "family": family, "line": found.line.to_string(),
            "settings": settings, "frames": found.candidate.frames, "asked": found.question.is_some(),
        });
        return value.to_string();
    }
    let kind = match (found.format.mode, family.as_str()) {
        (Mode::OnKey, _) => "scanner",
        (_, "dual-cell-line") => "beam",
        (_, "nmea-xdr") => "gauge",
        _ => "scale",
    };
    let mut block = format!(
        "{}: {family} at {}, {} whole frames\n\n[[instrument]]\nid = \"{kind}\"\nkind = \"{kind}\"\nport = \"{}\"\nformat = \"{family}\"\nline = \"{}\"\n",
        port.display(),
        found.line,
        found.candidate.frames,
        port.display(),
        found.line
    );
    if !settings.is_empty() {
        let quoted: Vec<String> = settings.iter().map(|setting| format!("\"{setting}\"")).collect();
        block.push_str(&format!("format_settings = [{}]\n", quoted.join(", ")));
    }
    if kind == "scale" {
        block.push_str("resolution = \"0.1 g\"   # the last digit it shows\n");
    }
    block
}
