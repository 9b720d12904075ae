//! `identify --claim`: the instrument that sends gets the channel.
//!
//! Listens on all ports that no other instrument of the configuration has, with the format of the one that is looked for.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use anyhow::bail;
use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use super::configuration::Configuration;
use super::counted;
use crate::cli::machine::Machine;
use crate::cli::{check, print};
use crate::clock::Clock;
use crate::config::bench_file::BenchSettings;
use crate::instrument::attachment::Attachment;
use crate::instrument::format::Mode;
use crate::instrument::port::{self, PortEvent, PortMessage, PortSettings};

/// Frames that an instrument which sends by itself must have sent: one could be chance.
const FRAMES: usize = 3;
/// How long it is waited whether another port sends the same, where instruments send by themselves.
const OTHERS: Duration = Duration::from_millis(1500);

/// A port that may be the one.
#[derive(Default)]
struct Candidate {
    frames: usize,
    refused: usize,
    why_not: Option<String>,
}

pub(super) async fn claim(
    machine: &Machine,
    id: &str,
    config: &Path,
    ports: Vec<PathBuf>,
    seconds: u32,
) -> anyhow::Result<ExitCode> {
    let settings = check::read_settings(config)?;
    let mut configuration = Configuration::read(config)?;
    let known = settings.instruments.iter().map(|one| one.id.as_str()).collect::<Vec<_>>().join(", ");
    let Some(instrument) = settings.instruments.iter().find(|one| one.id == id) else {
        bail!("there is no instrument \"{id}\" in the configuration; expected one of: {known}");
    };
    if instrument.attachment != Attachment::Serial {
        bail!("{} is not read by the bytes of a serial port, so it cannot be found by what it sends", instrument.name);
    }
    let ports = free_ports(machine, &settings, id, ports);
    if ports.is_empty() {
        bail!("each port is in the configuration for another instrument already; plug {} in", instrument.name);
    }
    let format = Arc::new(instrument.format.clone());
    let is_alone = format.mode != Mode::OnKey;
    let do_it = if is_alone { "switch it on, or lay something on it" } else { "press its print key" };
    print::say(&format!("listening on {} for {}: {do_it}", counted(ports.len()), instrument.name));

    // Frames of all ports: a few a second each; the tasks send, this function receives and ends them.
    let (out, mut messages) = mpsc::channel(64);
    let stop = CancellationToken::new();
    let clock = Clock::start(1.0);
    for (place, path) in ports.iter().enumerate() {
        let settings = PortSettings {
            instrument: place,
            attachment: Attachment::Serial,
            path: path.clone(),
            format: Arc::clone(&format),
        };
        tokio::spawn(port::run(settings, clock, out.clone(), stop.clone()));
    }
    drop(out);
    let needed = if is_alone { FRAMES } else { 1 };
    let others = is_alone.then_some(OTHERS);
    let senders = heard(&mut messages, ports.len(), needed, clock, f64::from(seconds), others).await;
    stop.cancel();
    let found: Vec<&PathBuf> =
        ports.iter().zip(&senders).filter(|(_, one)| one.frames >= needed).map(|(port, _)| port).collect();
    match found.as_slice() {
        [port] => {
            let (name, remark) = machine.name_of(port);
            configuration.move_to(id, &name)?;
            print::line(&format!("{id} is on {}: written to {}", name.display(), config.display()))?;
            if let Some(remark) = remark {
                print::say(&remark);
            }
            Ok(ExitCode::SUCCESS)
        }
        [] => {
            print::line(&format!(
                "{} was not heard on any of {} in {seconds} s",
                instrument.name,
                counted(ports.len())
            ))?;
            for (port, sender) in ports.iter().zip(senders) {
                let why = sender.why_not.unwrap_or_else(|| format!("{}: nothing came", port.display()));
                print::line(&why)?;
            }
            Ok(ExitCode::FAILURE)
        }
        several => {
            let several: Vec<String> = several.iter().map(|port| port.display().to_string()).collect();
            print::line(&format!(
                "{} {} send {}; unplug all but {}, or name its port",
                several.join(" and "),
                if several.len() == 2 { "both" } else { "all" },
                format.family,
                instrument.name
            ))?;
            Ok(ExitCode::FAILURE)
        }
    }
}

/// The ports that no other instrument has.
fn free_ports(machine: &Machine, settings: &BenchSettings, id: &str, ports: Vec<PathBuf>) -> Vec<PathBuf> {
    let others = settings.instruments.iter().filter(|one| one.id != id);
    let taken: Vec<PathBuf> = others.filter_map(|one| machine.device_of(&one.port)).collect();
    ports.into_iter().filter(|port| machine.device_of(port).is_none_or(|device| !taken.contains(&device))).collect()
}

/// Listens until one port has sent enough, and a while longer where `others` may follow; `seconds` at most.
async fn heard(
    messages: &mut mpsc::Receiver<PortMessage>,
    ports: usize,
    needed: usize,
    clock: Clock,
    seconds: f64,
    others: Option<Duration>,
) -> Vec<Candidate> {
    let mut candidates: Vec<Candidate> = (0..ports).map(|_| Candidate::default()).collect();
    let mut until_s = clock.now().t_s + seconds;
    let mut is_found = false;
    loop {
        let left = Duration::try_from_secs_f64(until_s - clock.now().t_s).unwrap_or_default();
        let Ok(Some(message)) = timeout(left, messages.recv()).await else { return candidates };
        let Some(candidate) = candidates.get_mut(message.instrument) else { continue };
        match message.event {
            PortEvent::Frame(..) => candidate.frames += 1,
            PortEvent::Refused { .. } => candidate.refused += 1,
            PortEvent::Lost { reason } => candidate.why_not = Some(reason),
            PortEvent::Ready | PortEvent::Passed(_) => {}
        }
        // A port with more refusals than frames speaks something else.
        if candidate.refused > candidate.frames {
            candidate.frames = 0;
        }
        if candidate.frames >= needed && !is_found {
            is_found = true;
            let Some(others) = others else { return candidates };
            until_s = until_s.min(clock.now().t_s + others.as_secs_f64());
        }
    }
}
