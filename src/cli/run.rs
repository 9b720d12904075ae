//! `run`: the daemon.

use std::path::PathBuf;
use std::process::ExitCode;

use tokio::sync::oneshot;
use tokio_util::sync::CancellationToken;

use super::{check, print, runtime};
use crate::bench;
use crate::clock::Clock;
use crate::config::bench_file::RecordingSettings;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The configuration
    #[arg(long)]
    config: PathBuf,
    /// How much faster than real time the ports run; for simulated ports only
    #[arg(long, default_value_t = 1.0, value_parser = super::demo::pace)]
    pace: f64,
    /// Records every input of the bench into this folder, one session a start, for `replay --session` and `decode --recording`
    #[arg(long, value_name = "DIR")]
    record: Option<PathBuf>,
    /// Size of one file of a recording
    #[arg(long, value_name = "MIB", default_value_t = 16, value_parser = clap::value_parser!(u64).range(1..=4096), requires = "record")]
    record_mib: u64,
    /// The most files that all recordings in the folder may take together; the oldest go
    #[arg(long, value_name = "COUNT", default_value_t = 64, value_parser = clap::value_parser!(u32).range(2..=100_000), requires = "record")]
    record_files: u32,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let mut settings = check::read_settings(&arguments.config)?;
    if let Some(folder) = arguments.record {
        settings.recording = Some(RecordingSettings {
            folder,
            configuration: check::read_text(&arguments.config)?,
            named_files: settings.named_files.clone(),
            most_bytes: arguments.record_mib << 20,
            most_files: usize::try_from(arguments.record_files)?,
        });
    }
    runtime()?.block_on(async {
        let stop = CancellationToken::new();
        tokio::spawn(stop_on_signal(stop.clone()));
        let (ready, started) = oneshot::channel();
        tokio::spawn(async move {
            if let Ok(started) = started.await {
                announce(&started);
            }
        });
        bench::run(settings, Clock::start(arguments.pace), ready, stop).await?;
        Ok(ExitCode::SUCCESS)
    })
}

/// Says where page and broker are.
pub(crate) fn announce(started: &bench::Started) {
    print::say(&format!("page: http://{}/", started.address));
    match &started.broker {
        Some(broker) => print::say(&format!("broker: {broker}")),
        None => print::say("broker: none"),
    }
}

/// Ends the bench in order on an interrupt or a termination.
pub(crate) async fn stop_on_signal(stop: CancellationToken) {
    use tokio::signal::unix::{SignalKind, signal};
    let (Ok(mut terminate), Ok(mut interrupt)) = (signal(SignalKind::terminate()), signal(SignalKind::interrupt()))
    else {
        return;
    };
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
    stop.cancel();
}
