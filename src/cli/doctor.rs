//! `doctor`: looks for what keeps instruments from being read, and says the remedy, one line each.
//!
//! It changes nothing but one small file that it writes into the data folder and takes away again.

mod machine_checks;
mod port_checks;
mod service_checks;

use std::path::PathBuf;
use std::process::ExitCode;

use serde_json::json;

use super::machine::Machine;
use super::{check, print, runtime};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The configuration, for its ports, data folder, broker and journal
    #[arg(long)]
    config: Option<PathBuf>,
    /// One JSON line a finding instead of words
    #[arg(long)]
    json: bool,
    /// Where the files of the machine are
    #[arg(long, value_name = "DIR", default_value = "/", hide = true)]
    root: PathBuf,
}

/// How a thing stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// As it should be.
    Well,
    /// Worth knowing, and no fault.
    Note,
    /// Something to be done.
    Wrong,
}

/// One line of the doctor.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Finding {
    state: State,
    /// What was looked at, in a word or two.
    about: &'static str,
    /// What was found.
    found: String,
    /// What to do, where something is wrong.
    remedy: Option<String>,
}

impl Finding {
    fn well(about: &'static str, found: impl Into<String>) -> Self {
        Self { state: State::Well, about, found: found.into(), remedy: None }
    }

    fn note(about: &'static str, found: impl Into<String>) -> Self {
        Self { state: State::Note, about, found: found.into(), remedy: None }
    }

    fn wrong(about: &'static str, found: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { state: State::Wrong, about, found: found.into(), remedy: Some(remedy.into()) }
    }

    fn mark(&self) -> &'static str {
        match self.state {
            State::Well => "well",
            State::Note => "note",
            State::Wrong => "WRONG",
        }
    }

    fn words(&self) -> String {
        let remedy = self.remedy.as_ref().map(|remedy| format!("; {remedy}")).unwrap_or_default();
        format!("{:<5}  {:<12}  {}{remedy}", self.mark(), self.about, self.found)
    }

    fn json(&self) -> String {
        let state = self.mark().to_lowercase();
        json!({"state": state, "about": self.about, "found": self.found, "remedy": self.remedy}).to_string()
    }
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let machine = Machine::new(&arguments.root);
    let settings = arguments.config.as_deref().map(check::read_settings).transpose()?;
    let mut findings = port_checks::look(&machine, settings.as_ref());
    findings.extend(machine_checks::look(&machine, settings.as_ref().map(|settings| settings.data.as_path())));
    match &settings {
        Some(settings) => findings.extend(runtime()?.block_on(service_checks::look(settings))),
        None => findings.push(Finding::note(
            "bench",
            "give --config FILE to look at its ports, data folder, broker and journal as well",
        )),
    }
    for finding in &findings {
        print::line(&if arguments.json { finding.json() } else { finding.words() })?;
    }
    let is_well = findings.iter().all(|finding| finding.state != State::Wrong);
    Ok(if is_well { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
