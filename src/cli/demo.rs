//! `demo`: simulated instruments and a simulated builder in front of the real daemon.

mod day;
mod glue;
mod plan;

use std::collections::BTreeMap;
use std::io::Write as _;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use anyhow::{Context as _, bail};
use serde_json::json;
use simulators::{Bench as SimulatedBench, BenchSettings as Simulation, Clock as SimulatedClock, Eyes, Tickets, Truth};
use tokio::sync::{mpsc, oneshot};
use tokio_util::sync::CancellationToken;

use super::{print, run, runtime};
use crate::bench::{self, Started};
use crate::clock::Clock;
use crate::config::bench_file::{BenchSettings, BrokerAddress, read_bench_with};
use crate::config::named_files::NamedFiles;
use crate::output::command::ask;
use crate::output::record::{Record, subject};
use crate::work_order::record::{ClubRecord, ClubState};
use crate::work_order::state::State;
use crate::work_order::steps::Step;
use crate::work_order::ticket::Ticket;

/// The bench of the demo.
const BENCH: &str = include_str!("../../config/demo.toml");
/// The drawers of the demo. Its bench alone has none: whoever copies that file need not copy this one.
const KIT: (&str, &str) = ("kits/demo.toml", include_str!("../../config/kits/demo.toml"));
/// What the builder may do beyond the ports on its way to the bench; he waits when it is full.
const DEEDS: usize = 16;
/// Longest time, of the bench, that the last card takes from the builder's hand to the record.
const LAST_CARD: Duration = Duration::from_secs(5);

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Builds so many clubs one after the other; without it a whole day is played, with all that comes between
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=500))]
    clubs: Option<u32>,
    /// How much faster than real time everything runs
    #[arg(long, default_value_t = 1.0, value_parser = pace)]
    pace: f64,
    /// Where page and API listen; port 0 takes a free one
    #[arg(long, default_value = "127.0.0.1:7311")]
    listen: SocketAddr,
    /// Folder of the journal; by default a new one for temporary files
    #[arg(long)]
    data: Option<PathBuf>,
    /// Ends after the last club and prints one JSON record a club
    #[arg(long)]
    once: bool,
    /// Where the embedded broker listens; port 0 takes a free one
    #[arg(long, default_value = "127.0.0.1:0")]
    mqtt_listen: SocketAddr,
    /// Publishes to this broker, such as mqtt://127.0.0.1:1883, instead of the embedded one
    #[arg(long, conflicts_with = "mqtt_listen", value_parser = BrokerAddress::parse)]
    broker: Option<BrokerAddress>,
    /// Writes what the builder really laid down, one JSON line a value
    #[arg(long)]
    truth: Option<PathBuf>,
    /// Folder for the names of the simulated ports; by default one for temporary files
    #[arg(long)]
    ports: Option<PathBuf>,
    /// Number that decides what the builder's parts weigh and how his hands move
    #[arg(long, default_value_t = 1042)]
    seed: u64,
}

pub(super) fn pace(text: &str) -> Result<f64, String> {
    let pace: f64 = text.parse().map_err(|_| format!("\"{text}\" is not a number"))?;
    if (0.5..=50.0).contains(&pace) { Ok(pace) } else { Err("a pace from 0.5 to 50 can be simulated".to_owned()) }
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let temporary = std::env::temp_dir().join(format!("benchscribe-demo-{}", std::process::id()));
    let ports = arguments.ports.clone().unwrap_or_else(|| temporary.join("ports"));
    let data = arguments.data.clone().unwrap_or_else(|| temporary.join("data"));
    let kit = BTreeMap::from([(KIT.0.to_owned(), KIT.1.to_owned())]);
    let mut settings =
        read_bench_with("demo.toml", &format!("kits = [\"{}\"]\n{BENCH}", KIT.0), &NamedFiles::kept(kit))?;
    settings.data = data;
    settings.http.listen = arguments.listen;
    settings.mqtt.embedded = arguments.broker.is_none().then_some(arguments.mqtt_listen);
    settings.mqtt.broker = arguments.broker.clone();
    for instrument in &mut settings.instruments {
        instrument.port = ports.join(&instrument.id);
    }
    let made_ports = arguments.ports.is_none().then(|| ports.clone());
    let built = runtime()?.block_on(build(arguments, settings, ports));
    // The links are gone with the simulation; an empty folder is nobody's.
    if let Some(made) = made_ports
        && std::fs::remove_dir(&made).is_ok()
        && let Some(parent) = made.parent()
    {
        // The journal of a demo without --data stays beside it.
        let _kept_if_not_empty = std::fs::remove_dir(parent);
    }
    built
}

async fn build(arguments: Arguments, settings: BenchSettings, ports: PathBuf) -> anyhow::Result<ExitCode> {
    let clock = Clock::start(arguments.pace);
    let stop = CancellationToken::new();
    tokio::spawn(run::stop_on_signal(stop.clone()));
    let data = settings.data.clone();
    let (ready, started) = oneshot::channel();
    let daemon = tokio::spawn(bench::run(settings, clock, ready, stop.clone()));
    let Ok(started) = started.await else {
        daemon.await??;
        bail!("the bench ended before it had started");
    };
    run::announce(&started);
    print::say(&format!("journal: {}", data.display()));

    let (orders, day) = match arguments.clubs {
        Some(clubs) => (plan::take_orders_in(&started, clubs).await?, None),
        None => {
            let day = day::begin(&started, clock.now().at_us).await?;
            (day.orders.clone(), Some(day))
        }
    };
    let (seen_in, seen) = glue::eyes(&started);
    let (actions_in, actions) = mpsc::channel(DEEDS);
    let (truth_in, truth) = mpsc::channel::<Truth>(DEEDS);
    let brought = day.iter().map(|day| day.brought.clone()).collect();
    let mut hands = tokio::spawn(glue::hands(actions, started.clone(), brought));
    let notes = tokio::spawn(write_truth(truth, arguments.truth.clone()));
    let watching = tokio::spawn(glue::watch(started.clone(), seen_in, stop.clone()));

    let (instant, at_us) = clock.origin();
    let simulated_clock = SimulatedClock::from_origin(arguments.pace, instant, at_us);
    let mut simulation = Simulation::new(ports, simulated_clock, arguments.seed);
    match day {
        Some(day) => simulation.day = Some(day.plan),
        None => simulation.plan = Some(plan::order_plans(&orders)),
    }
    simulation.tickets =
        Tickets { card: Arc::new(|name: &str| card(name).map_or_else(|| name.to_owned(), |ticket| ticket.code())) };
    simulation.eyes = Some(Eyes(seen));
    simulation.actions = Some(actions_in);
    simulation.truth = Some(truth_in);
    let mut simulated = SimulatedBench::start(simulation)?;

    let report = tokio::select! {
        report = simulated.wait_builder() => Some(report),
        () = stop.cancelled() => None,
    };
    let clubs: Vec<String> = orders.iter().flat_map(|order| order.clubs.iter().map(|club| club.id.clone())).collect();
    let mut is_whole = false;
    if let Some(report) = report {
        // What he still had to do and to say is done when he has gone.
        (&mut hands).await?;
        print::say(&format!(
            "built {} clubs in {} placements, {} laid down again",
            report.clubs.len(),
            report.placements,
            report.laid_again
        ));
        for club in &report.given_up {
            print::say(&format!("gave up: {club}"));
        }
        if arguments.once {
            // The builder is done when the display says so; his last card may still be on the scanner's line.
            let last_card = wait_for_last_card(&started, &clubs);
            if tokio::time::timeout(clock.real(LAST_CARD), last_card).await.is_err() {
                print::say("the last club was not handed over");
            }
            is_whole = print_records(&started, &clubs).await? && report.given_up.is_empty();
        } else {
            print::say("the page stays up; Ctrl-C ends it");
            stop.cancelled().await;
        }
    }
    // The bench first: an orderly end is no lost instrument.
    stop.cancel();
    daemon.await??;
    simulated.stop();
    // The simulation has ended and dropped its senders, so these have nothing left to wait for.
    for task in [hands, watching] {
        task.abort();
    }
    notes.await??;
    Ok(if is_whole || !arguments.once { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// The card of this name.
fn card(name: &str) -> Option<Ticket> {
    match name {
        "badge" => Some(Ticket::Operator("K7".to_owned())),
        "void" => Some(Ticket::VoidLast),
        "acknowledge" => Some(Ticket::Acknowledge),
        step => Step::parse(step).map(Ticket::Step),
    }
}

/// Waits until the last club is handed over.
async fn wait_for_last_card(started: &Started, clubs: &[String]) {
    let mut snapshots = started.snapshots.clone();
    let Some(last) = clubs.last() else { return };
    let handed_over = |state: &State, club: &str| {
        state.clubs.get(club).is_some_and(|record| record.steps.iter().any(|step| step.step == Step::HandOver))
    };
    loop {
        let club = last.clone();
        if ask(&started.questions, move |state| handed_over(state, &club)).await != Some(false) {
            return;
        }
        if snapshots.changed().await.is_err() {
            return;
        }
    }
}

/// Prints the record of each club; true when all are finished and have all that was asked for. What they lack is said.
async fn print_records(started: &Started, clubs: &[String]) -> anyhow::Result<bool> {
    let mut is_whole = true;
    for club in clubs {
        let found = subject(&started.questions, &started.journal, club).await.map_err(anyhow::Error::msg)?;
        let record = Record::of(&found, crate::output::text::Lengths::Inches);
        for words in lacking(&found.club) {
            is_whole = false;
            print::say(&words);
        }
        print::line(&json!(record).to_string())?;
    }
    Ok(is_whole)
}

/// What a club lacks that a day at the bench should have given it.
fn lacking(club: &ClubRecord) -> Vec<String> {
    let id = &club.spec.id;
    let state = (club.state != ClubState::Finished).then(|| format!("{id} is not finished"));
    let missing = club.missing().map(|what| format!("{id} was never measured: {}", what.label()));
    state.into_iter().chain(missing).collect()
}

/// Writes what was really laid down, if a file is wanted.
async fn write_truth(mut truth: mpsc::Receiver<Truth>, file: Option<PathBuf>) -> anyhow::Result<()> {
    let mut opened = match &file {
        Some(file) => {
            let opened =
                std::fs::File::create(file).with_context(|| format!("{} cannot be written", file.display()))?;
            Some(std::io::BufWriter::new(opened))
        }
        None => None,
    };
    while let Some(truth) = truth.recv().await {
        if let Some(opened) = &mut opened {
            writeln!(opened, "{}", json!(truth))?;
        }
    }
    if let Some(opened) = &mut opened {
        opened.flush()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::order_file::{OrderFormat, read_orders};

    #[test]
    fn a_club_that_lacks_a_value_makes_the_day_a_failure() {
        let text = "order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\nlie = \"61 deg ± 1 deg\"\n";
        let orders = read_orders("o.toml", text, OrderFormat::Toml).unwrap();
        let mut club = ClubRecord::new("W-1", orders[0].clubs[0].clone());
        assert_eq!(lacking(&club), ["W-1/1 is not finished", "W-1/1 was never measured: lie"]);
        // Handed over all the same.
        club.state = ClubState::Finished;
        assert_eq!(lacking(&club), ["W-1/1 was never measured: lie"]);
        club.spec.targets.clear();
        assert_eq!(lacking(&club), [] as [String; 0]);
    }
}
