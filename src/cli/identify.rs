//! `identify`: listens on ports, asks where a family must be asked, and says which format and line explain the bytes.
//!
//! With `--claim` it goes the other way: the format is known, and the port is asked for.

mod answer;
mod claim;
mod configuration;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::machine::Machine;
use super::{print, runtime};
use crate::clock::Clock;
use crate::instrument::identify::built_in_variants;
use crate::instrument::port::{PortError, investigate};
use crate::instrument::search::{Finding, Search};
use answer::{Answer, Outcome};
use configuration::Configuration;

/// Longest time for a port, in seconds.
const SECONDS: u32 = 10;
/// Longest time until somebody has pressed the key of the right instrument, in seconds.
const CLAIM_SECONDS: u32 = 60;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Ports to listen on; without any, all serial ports of this machine
    ports: Vec<PathBuf>,
    /// Longest time for a port: 10, or 60 with --claim
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=3600))]
    seconds: Option<u32>,
    /// One JSON line a port instead of words
    #[arg(long)]
    json: bool,
    /// Adds what was found to this configuration
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Listens for this instrument of the configuration and gives it the port it sends on: press its print key
    #[arg(long, value_name = "ID", requires = "config", conflicts_with_all = ["write", "json"])]
    claim: Option<String>,
    /// The configuration for --claim
    #[arg(long, value_name = "FILE", requires = "claim")]
    config: Option<PathBuf>,
    /// Where the files of the machine are
    #[arg(long, value_name = "DIR", default_value = "/", hide = true)]
    root: PathBuf,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let machine = Machine::new(&arguments.root);
    let is_any = arguments.ports.is_empty();
    let ports = match is_any {
        true => machine.serial_ports().into_iter().map(|port| port.device).collect(),
        false => arguments.ports.clone(),
    };
    if ports.is_empty() {
        print::say(
            "this machine has no serial port; plug the adapter in (`benchscribe doctor` looks for what hides it)",
        );
        return Ok(ExitCode::FAILURE);
    }
    if let (Some(id), Some(config)) = (&arguments.claim, &arguments.config) {
        let seconds = arguments.seconds.unwrap_or(CLAIM_SECONDS);
        return runtime()?.block_on(claim::claim(&machine, id, config, ports, seconds));
    }
    let mut configuration = arguments.write.as_deref().map(Configuration::read).transpose()?;
    let seconds = arguments.seconds.unwrap_or(SECONDS);
    print::say(&format!("listening on {} for at most {seconds} s", counted(ports.len())));
    let outcomes = runtime()?.block_on(listen(&machine, ports, seconds))?;
    let mut taken = configuration.as_ref().map(Configuration::ids).unwrap_or_default();
    let (mut sure, mut refused) = (0, 0);
    let count = outcomes.len();
    for outcome in outcomes {
        let answer = Answer::new(&outcome, &mut taken);
        print::line(&if arguments.json { answer.json() } else { answer.words() })?;
        sure += usize::from(answer.table.is_some());
        if let (Some(configuration), Some(table)) = (&mut configuration, &answer.table) {
            match configuration.add(&machine, &outcome.path, table) {
                Ok(()) => print::say(&format!("added to {}", configuration.file.display())),
                Err(error) => {
                    refused += 1;
                    print::say(&format!("not added: {error:#}"));
                }
            }
        }
    }
    // Of the ports of a machine some have nothing on them; those that were named were meant.
    let is_answered = if is_any { sure > 0 } else { sure == count };
    Ok(if is_answered && refused == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Searches on all ports at the same time.
async fn listen(machine: &Machine, ports: Vec<PathBuf>, seconds: u32) -> anyhow::Result<Vec<Outcome>> {
    let clock = Clock::start(1.0);
    let mut searches = Vec::new();
    for path in ports {
        let search = Search::new(built_in_variants().to_vec(), clock.now().t_s, f64::from(seconds));
        searches.push(tokio::spawn(async move {
            let finding = investigate(&path, search, clock).await;
            (path, finding)
        }));
    }
    let mut outcomes = Vec::new();
    for search in searches {
        let (path, finding) = search.await?;
        let (name, remark) = machine.name_of(&path);
        let finding =
            finding.unwrap_or_else(|error| Finding::NotSure { why: in_words(machine, &path, &error), best: None });
        outcomes.push(Outcome { path, name, remark, finding });
    }
    Ok(outcomes)
}

/// Why a port cannot be used; who has it, if that can be seen.
fn in_words(machine: &Machine, path: &Path, error: &PortError) -> String {
    let holder = match error {
        PortError::InUse(_) => machine.device_of(path).and_then(|device| machine.holder(&device)),
        _ => None,
    };
    match holder {
        Some(program) => format!("{error}: it is {} (process {})", program.name, program.pid),
        None => error.to_string(),
    }
}

fn counted(ports: usize) -> String {
    if ports == 1 { "one port".to_owned() } else { format!("{ports} ports") }
}
