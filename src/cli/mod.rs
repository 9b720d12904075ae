//! The command line: one file per command; each reads its arguments, prints, and never decides.
//!
//! Exit codes: 0 done, 1 the answer is no (a check failed), 2 wrong usage or input. Results go to stdout,
//! everything else to stderr.

mod access;
mod adhesives;
mod backup;
mod calibrate;
mod cards;
mod check;
mod check_weights;
pub mod compute;
pub mod decode;
mod demo;
mod doctor;
mod drawers;
mod export;
mod guide;
mod history;
mod identify;
mod machine;
mod marks;
mod orders;
mod plan;
mod print;
mod record_text;
mod records;
pub mod replay;
mod replay_session;
mod retire;
mod run;
mod salvage;
mod scan;
mod segments;
mod sleeve;
mod stock;
mod study;
mod topics;
mod verify;
mod watch;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Exit code for wrong usage or input.
const WRONG_INPUT: u8 = 2;

#[derive(Parser)]
#[command(
    name = "benchscribe",
    version,
    about = "Reads a club builder's bench: scales, swing-weight beam and angle gauge, captured, judged and archived per club"
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Simulated instruments and a simulated builder in front of the real daemon
    Demo(demo::Arguments),
    /// The daemon
    Run(run::Arguments),
    /// Reads a configuration and names every mistake
    Check(check::Arguments),
    /// Listens on ports and says which wire format and line settings explain what comes
    Identify(identify::Arguments),
    /// Looks for what keeps instruments from being read, and says the remedy
    Doctor(doctor::Arguments),
    /// Bytes of an instrument to one JSON line a reading
    Decode(decode::Arguments),
    /// Recorded traces through calibration and capture, or a whole recorded session through the bench
    Replay(replay::Arguments),
    /// One JSON request a line, one JSON answer a line
    Compute(compute::Arguments),
    /// A check weight on a scale or beam, a block of known angles in a gauge, guided, through the running daemon
    CheckWeights(check_weights::Arguments),
    /// Calibration of an instrument with references, guided, through the running daemon
    Calibrate(calibrate::Arguments),
    /// Repeatability and reproducibility of an instrument, guided, through the running daemon
    Study(study::Arguments),
    /// A whole set planned from measured stock
    Plan(plan::Arguments),
    /// The live view of a running bench in this terminal, over ssh as well
    Watch(watch::Arguments),
    /// What is published over MQTT, as an AsyncAPI 3.0 document with JSON Schemas
    Topics,
    /// Codes of tickets, cards, labels and parts as the scanner would send them
    Scan(scan::Arguments),
    /// Work orders
    Orders(orders::Arguments),
    /// Adhesives: makers' data, batches, cures
    Adhesives(adhesives::Arguments),
    /// What is in the drawers: stock, parts taken for clubs, counts and refills
    Drawers(drawers::Arguments),
    /// Numbered parts: weighed one after another, labelled, put into clubs
    Stock(stock::Arguments),
    /// What finished clubs say of the work: times, first pass, capability, run charts
    History(history::Arguments),
    /// Cards for steps, people and orders, to print and cut out (PDF)
    Cards(cards::Arguments),
    /// Build records
    Records(records::Arguments),
    /// A consistent copy of the journal into a new file, while the bench runs
    Backup(backup::Backup),
    /// Puts a backup in the place of the journal; never over newer data, and the old file is kept
    Restore(backup::Restore),
    /// A clean journal from what is whole of a damaged one; the damaged file is kept, and gaps are told
    Salvage(salvage::Arguments),
    /// What every position of a club's off-axis sleeve changes, and the best one for a wanted change
    Sleeve(sleeve::Arguments),
}

/// Runs the command line program.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    // The demo's ports come a moment after its daemon; that they are missing until then is nothing to warn of.
    let usual = match arguments.command {
        Command::Demo(_) => "benchscribe=warn,benchscribe::instrument=error",
        // Its terminal is the view; what is wrong stands there.
        Command::Watch(_) => "off",
        _ => "benchscribe=info,warn",
    };
    start_log(usual);
    let result = match arguments.command {
        Command::Demo(arguments) => demo::run(arguments),
        Command::Run(arguments) => run::run(arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::Identify(arguments) => identify::run(arguments),
        Command::Doctor(arguments) => doctor::run(&arguments),
        Command::Decode(arguments) => decode::run(arguments),
        Command::Replay(arguments) => replay::run(&arguments),
        Command::Compute(arguments) => compute::run(arguments),
        Command::CheckWeights(arguments) => check_weights::run(arguments),
        Command::Calibrate(arguments) => calibrate::run(arguments),
        Command::Study(arguments) => study::run(arguments),
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Watch(arguments) => watch::run(&arguments),
        Command::Topics => topics::run(),
        Command::Scan(arguments) => scan::run(arguments),
        Command::Orders(arguments) => orders::run(arguments),
        Command::Adhesives(arguments) => adhesives::run(arguments),
        Command::Drawers(arguments) => drawers::run(arguments),
        Command::Stock(arguments) => stock::run(arguments),
        Command::History(arguments) => history::run(&arguments),
        Command::Cards(arguments) => cards::run(&arguments),
        Command::Records(arguments) => records::run(arguments),
        Command::Backup(arguments) => backup::backup(&arguments),
        Command::Restore(arguments) => backup::restore(&arguments),
        Command::Salvage(arguments) => salvage::run(&arguments),
        Command::Sleeve(arguments) => sleeve::run(arguments),
    };
    result.unwrap_or_else(|error| {
        // Who read the output has had enough of it, as `head` has: nothing to tell, and nobody to tell it.
        if print::is_reader_gone(&error) {
            return ExitCode::SUCCESS;
        }
        // One line a cause: what happened, then why.
        let causes: Vec<String> = error.chain().map(ToString::to_string).collect();
        print::say(&format!("benchscribe: {}", causes.join(": ")));
        ExitCode::from(WRONG_INPUT)
    })
}

fn start_log(usual: &str) {
    let filter = tracing_subscriber::EnvFilter::try_from_env("BENCHSCRIBE_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(usual));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).init();
}

/// Wall time, in microseconds since 1970 UTC.
fn now_us() -> i64 {
    crate::clock::Clock::start(1.0).now().at_us
}

/// A runtime for the commands that need one.
fn runtime() -> anyhow::Result<tokio::runtime::Runtime> {
    Ok(tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?)
}
