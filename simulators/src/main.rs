//! The simulated bench alone: ports to point any terminal program at, played from the keyboard or by the builder.

use std::io::BufRead as _;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use simulators::{Bench, BenchSettings, Clock, Fault, Instrument, Load, OrderPlan, ScaleFamily, Truth};
use tokio::sync::mpsc;

const HELP: &str = "\
lay parts-scale GRAMS | lay club-scale GRAMS | lay beam GRAMS BALANCE_MM | lay gauge LOFT_DEG LIE_DEG
lift INSTRUMENT
scan TEXT
fault INSTRUMENT none | silence | unplugged | renamed
fault INSTRUMENT lost | doubled | foreign | flips | cut [SHARE]
help
quit";

/// Simulated instruments of a club builder's bench, on pseudo-terminals.
#[derive(Parser)]
struct Arguments {
    /// Folder for the links to the ports.
    #[arg(long)]
    ports: PathBuf,
    /// Bench seconds in one real second, 0.1 to 100.
    #[arg(long, default_value_t = 1.0)]
    pace: f64,
    /// Decides all noise, parts and hands.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Let a builder make the clubs of an example order, then end.
    #[arg(long)]
    builder: bool,
    /// Wire format of the parts scale.
    #[arg(long, default_value_t)]
    scale_family: ScaleFamily,
}

#[tokio::main]
#[expect(clippy::print_stdout, clippy::print_stderr, reason = "a program for the terminal")]
async fn main() -> ExitCode {
    let arguments = Arguments::parse();
    // Ten truths: one club placement has three; if the terminal is slow the builder waits.
    let (truth, mut truths) = mpsc::channel(10);
    let mut settings = BenchSettings::new(&arguments.ports, Clock::new(arguments.pace), arguments.seed);
    settings.parts_scale_family = arguments.scale_family;
    settings.plan = arguments.builder.then(|| vec![OrderPlan::example()]);
    settings.truth = Some(truth);
    let mut bench = match Bench::start(settings) {
        Ok(bench) => bench,
        Err(error) => {
            let cause = std::error::Error::source(&error).map(|cause| format!(": {cause}")).unwrap_or_default();
            eprintln!("{error}{cause}");
            return ExitCode::FAILURE;
        }
    };
    for instrument in Instrument::ALL {
        let (family, line) = spoken(instrument, arguments.scale_family);
        println!("{:<40} {family:<28} {line}", bench.port(instrument).display());
    }
    let told_to_end = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate());
    let Ok(mut told_to_end) = told_to_end else {
        eprintln!("cannot listen for the signal to end");
        return ExitCode::FAILURE;
    };
    let mut typed = typed_lines();
    let mut typing = true;
    loop {
        tokio::select! {
            line = typed.recv(), if typing => match line.as_deref().map(str::trim) {
                Some("quit") => break,
                Some("help") => println!("{HELP}"),
                Some(line) => if let Err(problem) = obey(&bench, line) { eprintln!("{problem}; try help"); },
                // No keyboard (any more): the ports stay until the program is ended.
                None => typing = false,
            },
            Some(truth) = truths.recv() => println!("{}", told(&truth)),
            report = bench.wait_builder(), if arguments.builder => {
                println!("{} clubs, {} placements, {} laid again", report.clubs.len(), report.placements, report.laid_again);
                break;
            }
            _ = tokio::signal::ctrl_c() => break,
            _ = told_to_end.recv() => break,
        }
    }
    bench.stop();
    ExitCode::SUCCESS
}

/// Family and line settings of an instrument.
fn spoken(instrument: Instrument, parts_scale: ScaleFamily) -> (&'static str, &'static str) {
    let club_scale = ScaleFamily::EchoStatusValue10Unit;
    match instrument {
        Instrument::PartsScale => (parts_scale.name(), parts_scale.line_settings()),
        Instrument::ClubScale => (club_scale.name(), club_scale.line_settings()),
        Instrument::Beam => ("dual-cell-line", "115200 8N1"),
        Instrument::Gauge => ("nmea-xdr", "4800 8N1"),
        Instrument::Scanner => ("scanner", "9600 8N1"),
    }
}

fn told(truth: &Truth) -> String {
    let Truth { t, instrument, characteristic, stage, club, value, unit, .. } = truth;
    format!("{t} {club} {stage} {instrument} {characteristic} {value:.3} {unit}")
}

/// Lines from the keyboard. The thread that waits for them ends with the program.
fn typed_lines() -> mpsc::Receiver<String> {
    // One line: the keyboard waits until the last one is obeyed.
    let (sender, receiver) = mpsc::channel(1);
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if sender.blocking_send(line).is_err() {
                break;
            }
        }
    });
    receiver
}

/// Does what one typed line says.
fn obey(bench: &Bench, line: &str) -> Result<(), String> {
    let (command, rest) = line.split_once(' ').unwrap_or((line, ""));
    let (name, values) = rest.trim().split_once(' ').unwrap_or((rest.trim(), ""));
    let instrument = || name.parse::<Instrument>().map_err(|error| error.to_string());
    match command {
        "" => {}
        "lay" => {
            let instrument = instrument()?;
            bench.lay(instrument, load(instrument, values)?).map_err(|error| error.to_string())?;
        }
        "lift" => bench.lift(instrument()?),
        "scan" => bench.scan(rest.trim()),
        "fault" => {
            let fault: Fault = values.parse().map_err(|error| format!("{error}"))?;
            bench.set_fault(instrument()?, fault);
        }
        _ => {
            return Err(format!("found {command:?}, expected lay, lift, scan, fault, help or quit"));
        }
    }
    Ok(())
}

/// The load that a person describes with numbers.
fn load(instrument: Instrument, values: &str) -> Result<Load, String> {
    let numbers: Result<Vec<f64>, _> = values.split_whitespace().map(str::parse).collect();
    let numbers = numbers.map_err(|_| format!("found {values:?}, expected numbers"))?;
    match (instrument, numbers.as_slice()) {
        (Instrument::PartsScale | Instrument::ClubScale, &[mass_g]) => Ok(Load::Part { mass_g }),
        (Instrument::Beam, &[mass_g, balance_mm]) => Ok(Load::Club { mass_g, balance_mm }),
        (Instrument::Gauge, &[loft_deg, lie_deg]) => Ok(Load::Angles { loft_deg, lie_deg }),
        _ => Err(format!("found {} numbers for the {instrument}, which is not what it takes", numbers.len())),
    }
}
