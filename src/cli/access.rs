//! How a command reaches a bench: its journal for reading, its running daemon or its lock for changing.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use jiff::tz::TimeZone;
use serde_json::Value;

use super::{check, print};
use crate::bench;
use crate::bench::core::{Core, Input};
use crate::bench::recall;
use crate::clock::Clock;
use crate::config::bench_file::{BenchSettings, zone_of_machine};
use crate::journal::lock::{self, BenchLock, Running};
use crate::journal::sound::{self, Sound};
use crate::journal::store::{Journal, Reader};
use crate::output::command;
use crate::output::text::Lengths;
use crate::work_order::state::State;

#[derive(clap::Args)]
pub(crate) struct Where {
    /// The configuration of the bench
    #[arg(long, global = true)]
    config: Option<PathBuf>,
    /// The data folder of the bench, instead of the configuration
    #[arg(long, conflicts_with = "config", global = true)]
    data: Option<PathBuf>,
}

/// A bench that a command works on.
pub(crate) struct Access {
    folder: PathBuf,
    settings: Option<BenchSettings>,
}

impl Where {
    /// Whether a bench was named.
    pub(crate) fn is_given(&self) -> bool {
        self.config.is_some() || self.data.is_some()
    }

    pub(crate) fn access(&self) -> anyhow::Result<Access> {
        let settings = self.config.as_deref().map(check::read_settings).transpose()?;
        let folder = match (&self.data, &settings) {
            (Some(data), _) => data.clone(),
            (None, Some(settings)) => settings.data.clone(),
            (None, None) => bail!("give --config FILE or --data DIR"),
        };
        Ok(Access { folder, settings })
    }
}

impl Access {
    /// The data folder.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// How lengths are shown.
    pub(crate) fn lengths(&self) -> Lengths {
        self.settings.as_ref().map_or(Lengths::Inches, bench::lengths)
    }

    /// The time zone of the workshop.
    pub(crate) fn zone(&self) -> TimeZone {
        self.settings.as_ref().map_or_else(zone_of_machine, BenchSettings::zone)
    }

    /// The bench in words, for what is printed.
    pub(crate) fn bench_words(&self, reader: &Reader) -> String {
        match &self.settings {
            Some(settings) => format!("{}, {}", settings.site, settings.bench),
            None => reader.bench().to_owned(),
        }
    }

    /// Where telephones reach the page, if the configuration says so.
    pub(crate) fn url(&self) -> Option<String> {
        self.settings.as_ref().and_then(|settings| settings.http.url.clone())
    }

    /// Fails when no daemon runs on the bench.
    pub(crate) fn must_run(&self) -> anyhow::Result<()> {
        if lock::running(&self.folder).is_none() {
            bail!("no daemon runs on this bench, so nothing would be read; start `benchscribe run` first");
        }
        Ok(())
    }

    /// The journal, for reading; a daemon may be writing it.
    pub(crate) async fn reader(&self) -> anyhow::Result<Reader> {
        Ok(Reader::open(&self.folder).await?)
    }

    /// The journal for reading records: where it is damaged, what is whole of it.
    pub(crate) async fn sound(&self) -> anyhow::Result<Sound> {
        Ok(sound::open(&self.folder).await?)
    }

    /// The state as a bench would go on from it: orders that are not finished and the last ones.
    pub(crate) async fn at_hand(&self) -> anyhow::Result<(Reader, State)> {
        let reader = self.reader().await?;
        let state = reader.at_hand().await?;
        Ok((reader, state))
    }

    /// Gives a command: to the daemon that runs, else to the journal under its lock. What is to be said of it is printed
    /// as a remark.
    pub(crate) async fn command(&self, json: &Value) -> anyhow::Result<()> {
        self.asked(json).await?.iter().for_each(|words| print::say(words));
        Ok(())
    }

    /// The same, for those who print what is to be said themselves.
    pub(crate) async fn asked(&self, json: &Value) -> anyhow::Result<Vec<String>> {
        match lock::running(&self.folder) {
            Some(running) => tell_daemon(running, json.clone()).await,
            None => self.command_alone(json).await,
        }
    }

    async fn command_alone(&self, json: &Value) -> anyhow::Result<Vec<String>> {
        // Before the lock, which would make the folder: a mistyped one must not come to be.
        let name = match &self.settings {
            Some(settings) => settings.bench.clone(),
            None => Reader::open(&self.folder).await?.bench().to_owned(),
        };
        let _lock = BenchLock::take(&self.folder)?;
        let mut journal = Journal::open(&self.folder, &name, bench::random_epoch()).await?;
        let mut state = journal.reader().at_hand().await?;
        let command = command::parse(json).map_err(anyhow::Error::msg)?;
        recall::for_command(&mut state, &journal.reader(), &command).await?;
        let mut core = Core::at_rest(state, journal.reader().epoch());
        let outcome = core.step(Input::Command { stamp: Clock::start(1.0).now(), command });
        let stored = journal.append(&outcome.events, &outcome.evidence).await;
        journal.close().await;
        stored?;
        match outcome.refused {
            Some(refusal) => Err(anyhow::anyhow!(refusal)),
            None => Ok(outcome.said.into_iter().chain(command::import_remarks(json)).collect()),
        }
    }
}

/// Sends a command to a running daemon and waits until it is on disk.
async fn tell_daemon(running: Running, json: Value) -> anyhow::Result<Vec<String>> {
    let Some(address) = running.address else {
        bail!("the daemon (process {}) is still starting; try again", running.pid);
    };
    let answer = tokio::task::spawn_blocking(move || {
        let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
        let mut request = agent.post(format!("http://{address}/api/v1/command"));
        if let Some(token) = &running.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        let mut response = request.send_json(&json)?;
        let ok = response.status().is_success();
        response.body_mut().read_json::<Value>().map(|body| (ok, body))
    })
    .await?
    .with_context(|| format!("the daemon (process {}) does not answer", running.pid))?;
    match answer {
        (true, answer) => {
            let said = answer.get("said").and_then(Value::as_array).into_iter().flatten();
            Ok(said.filter_map(Value::as_str).map(str::to_owned).collect())
        }
        (false, problem) => {
            let detail = problem.get("detail").and_then(Value::as_str).unwrap_or("it gave no reason");
            bail!("{detail}")
        }
    }
}
