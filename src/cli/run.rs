//! `run`: the daemon.

use std::path::PathBuf;
use std::process::ExitCode;

use tokio::sync::oneshot;
use tokio_util::sync::CancellationToken;

use super::{check, print, runtime};
use crate::bench;
use crate::clock::Clock;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The configuration
    #[arg(long)]
    config: PathBuf,
    /// How much faster than real time the ports run; for simulated ports only
    #[arg(long, default_value_t = 1.0, value_parser = super::demo::pace)]
    pace: f64,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let settings = check::read_settings(&arguments.config)?;
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
