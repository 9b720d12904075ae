//! `replay`: recorded traces through calibration and capture, one JSON line a trace. A whole recorded session is
//! `replay_session`'s.
//!
//! A file that describes the instruments and a folder of CSV traces come in; events go to stdout. Mistakes in
//! either go to stderr with file and line, the other traces are still replayed, and the exit code is 2.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail, ensure};
use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::print;
use crate::measurement::sample::{Expectation, Sample};
use crate::measurement::settling::{Change, Settling, SettlingLimits};

/// Newtons that one gram weighs at standard gravity (CGPM 1901: 9.80665 m/s²).
const NEWTONS_PER_GRAM: f64 = 9.806_65e-3;
/// Wrong usage or input.
const WRONG_INPUT: u8 = 2;

/// Arguments of `replay`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// JSON file: trace name to {kind, rate, d, flag, cell_positions_mm?, expect_g?}
    #[arg(long, value_name = "FILE.json", required_unless_present = "session", requires = "folder")]
    instruments: Option<PathBuf>,
    /// Folder that holds the traces
    #[arg(requires = "instruments", conflicts_with = "session")]
    folder: Option<PathBuf>,
    /// Plays a session recorded by `run --record`: its folder, or that of the recordings for the newest one
    #[arg(long, value_name = "DIR", conflicts_with = "instruments")]
    session: Option<PathBuf>,
    /// Writes the journal of the played session into this new folder
    #[arg(long, value_name = "FOLDER", requires = "session")]
    out: Option<PathBuf>,
    /// Compares, byte for byte, with the journal of this data folder
    #[arg(long, value_name = "DATA", requires = "session")]
    against: Option<PathBuf>,
}

/// The instrument that recorded a trace.
#[derive(Debug, Clone, Deserialize)]
pub struct Instrument {
    kind: Kind,
    /// Samples a second.
    rate: f64,
    /// Step of the indication in grams; 0 for none.
    d: f64,
    /// Largest load in grams that is captured.
    capacity_g: Option<f64>,
    /// Places of the two cells of a beam, in millimetres.
    cell_positions_mm: Option<[f64; 2]>,
    expect_g: Option<Bands>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Scale,
    Beam,
}

/// One band or several.
#[derive(Debug, Clone, Deserialize)]
#[serde(untagged)]
enum Bands {
    One([f64; 2]),
    Several(Vec<[f64; 2]>),
}

impl Instrument {
    fn check(&self) -> anyhow::Result<()> {
        ensure!(self.rate.is_finite() && self.rate > 0.0, "rate is {}, expected samples a second above 0", self.rate);
        ensure!(self.d.is_finite() && self.d >= 0.0, "d is {}, expected grams from 0 up", self.d);
        let [first, second] = self.cells_mm();
        ensure!(
            first.is_finite() && second.is_finite() && (second - first).abs() > 1.0,
            "cell_positions_mm are {first} and {second}, expected two places"
        );
        for band in self.expected() {
            ensure!(band.lo <= band.hi, "expect_g is {} to {}, expected the lower end first", band.lo, band.hi);
        }
        Ok(())
    }

    fn cells_mm(&self) -> [f64; 2] {
        self.cell_positions_mm.unwrap_or([0.0, 500.0])
    }

    fn expected(&self) -> Vec<Expectation> {
        let bands = match &self.expect_g {
            None => Vec::new(),
            Some(Bands::One(band)) => vec![*band],
            Some(Bands::Several(bands)) => bands.clone(),
        };
        bands.into_iter().map(|[lo, hi]| Expectation { lo, hi }).collect()
    }

    fn limits(&self) -> SettlingLimits {
        match self.kind {
            Kind::Scale => SettlingLimits::for_scale(self.d, self.rate, self.capacity_g.unwrap_or(f64::INFINITY)),
            Kind::Beam => SettlingLimits::for_beam(self.rate),
        }
    }

    fn header(&self) -> &'static str {
        match self.kind {
            Kind::Scale => "t_s,value_g,stable",
            Kind::Beam => "t_s,f1_N,f2_N",
        }
    }

    /// A line of a trace as a sample; the stable flag of a scale is not looked at.
    fn sample(&self, line: &str) -> anyhow::Result<Sample> {
        let mut numbers = [0.0; 3];
        let mut fields = line.split(',');
        for number in &mut numbers {
            let field = fields.next().with_context(|| format!("found {line:?}, expected {}", self.header()))?.trim();
            *number = field
                .parse()
                .ok()
                .filter(|n: &f64| n.is_finite())
                .with_context(|| format!("{field:?} is not a number"))?;
        }
        ensure!(fields.next().is_none(), "found more than three fields, expected {}", self.header());
        let [t_s, first, second] = numbers;
        let values = match self.kind {
            Kind::Scale => [first, 0.0],
            Kind::Beam => {
                let [x1_mm, x2_mm] = self.cells_mm();
                [(first + second) / NEWTONS_PER_GRAM, (x2_mm - x1_mm) * second / NEWTONS_PER_GRAM]
            }
        };
        Ok(Sample { t_s, values })
    }
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    if let Some(session) = &arguments.session {
        let (out, against) = (arguments.out.as_deref(), arguments.against.as_deref());
        return super::runtime()?.block_on(super::replay_session::run(session, out, against));
    }
    match (&arguments.instruments, &arguments.folder) {
        (Some(instruments), Some(folder)) => traces(instruments, folder),
        _ => bail!("give --instruments FILE.json and the folder of the traces, or --session DIR"),
    }
}

fn traces(instruments: &Path, folder: &Path) -> anyhow::Result<ExitCode> {
    let mut code = ExitCode::SUCCESS;
    let mut complain = |error: &anyhow::Error| {
        code = ExitCode::from(WRONG_INPUT);
        writeln!(io::stderr(), "replay: {error:#}")
    };
    let instruments = match read_instruments(instruments) {
        Ok(instruments) => instruments,
        Err(error) => {
            complain(&error)?;
            return Ok(code);
        }
    };
    let mut out = print::Output;
    for (name, instrument) in instruments {
        let instrument = match instrument {
            Ok(instrument) => instrument,
            Err(error) => {
                complain(&error)?;
                continue;
            }
        };
        let path = folder.join(&name);
        let replayed = fs::read_to_string(&path)
            .map_err(anyhow::Error::from)
            .with_context(|| path.display().to_string())
            .and_then(|text| replay(&text, &instrument).with_context(|| path.display().to_string()));
        match replayed {
            Ok(Replayed { events, late: None }) => writeln!(out, "{}", json!({"trace": name, "events": events}))?,
            Ok(Replayed { events, late: Some(late) }) => {
                writeln!(out, "{}", json!({"trace": name, "events": events, "late_samples": late.count}))?;
                let (path, Late { first_line, count }) = (path.display(), late);
                writeln!(
                    io::stderr(),
                    "replay: {path}: {count} samples are not later than the one before and were left out, the first in line {first_line}"
                )?;
            }
            Err(error) => complain(&error)?,
        }
    }
    Ok(code)
}

/// The instruments of a file by the name of their trace, those that cannot be used with the reason.
fn read_instruments(path: &Path) -> anyhow::Result<Vec<(String, anyhow::Result<Instrument>)>> {
    let shown = || path.display().to_string();
    let text = fs::read_to_string(path).with_context(shown)?;
    // serde_json names the line itself.
    let map: Map<String, Value> = serde_json::from_str(&text).with_context(shown)?;
    let read = |name: &str, value: Value| {
        let line = 1 + text.split(&format!("\"{name}\"")).next().map_or(0, |before| before.matches('\n').count());
        let place = || format!("{}, line {line}, trace {name:?}", path.display());
        let instrument: Instrument = serde_json::from_value(value).with_context(place)?;
        instrument.check().with_context(place)?;
        Ok(instrument)
    };
    Ok(map
        .into_iter()
        .map(|(name, value)| {
            let instrument = read(&name, value);
            (name, instrument)
        })
        .collect())
}

/// What a trace gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Replayed {
    /// The events, in order.
    pub events: Vec<Value>,
    /// Samples that were left out because time does not run backwards.
    pub late: Option<Late>,
}

/// Samples that are not later than the one before them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Late {
    /// Line of the first one, from 1.
    pub first_line: u32,
    /// How many there are.
    pub count: u32,
}

/// The events of one trace given as CSV text.
///
/// # Errors
/// A header or a line that does not fit the instrument; the message names the line.
pub fn replay(csv: &str, instrument: &Instrument) -> anyhow::Result<Replayed> {
    let expected = instrument.expected();
    let mut settling = Settling::new(instrument.limits());
    let mut lines = csv.lines().zip(1_u32..);
    match lines.next() {
        Some((header, _)) if header.trim_start_matches('\u{feff}').trim() == instrument.header() => {}
        found => bail!("line 1: found {:?}, expected {}", found.map_or("", |(line, _)| line), instrument.header()),
    }
    let (mut events, mut late, mut last_s) = (Vec::new(), None::<Late>, f64::NEG_INFINITY);
    for (line, number) in lines.filter(|(line, _)| !line.trim().is_empty()) {
        let sample = instrument.sample(line).with_context(|| format!("line {number}"))?;
        if sample.t_s <= last_s {
            late.get_or_insert(Late { first_line: number, count: 0 }).count += 1;
            continue;
        }
        last_s = sample.t_s;
        events.extend(settling.push(&sample, &expected).iter().filter_map(|change| event(change, instrument.kind)));
    }
    Ok(Replayed { events, late })
}

/// A change as an event; progress is for displays and is left out.
fn event(change: &Change, kind: Kind) -> Option<Value> {
    let plain = |t_s: f64, kind: &str| Some(json!({"t": t_s, "kind": kind}));
    match change {
        Change::Progress { .. } => None,
        Change::Captured(capture) => {
            let [value, moment_gmm] = capture.values;
            let [u, u_moment_gmm] = capture.u;
            let mut event = json!({"t": capture.t_s, "kind": "Captured", "value": value, "u": u});
            if kind == Kind::Beam
                && let Some(fields) = event.as_object_mut()
            {
                fields.insert("moment_gmm".to_owned(), json!(moment_gmm));
                fields.insert("u_moment_gmm".to_owned(), json!(u_moment_gmm));
            }
            Some(event)
        }
        Change::Placed { t_s } => plain(*t_s, "Placed"),
        Change::MovingTooLong { t_s } => plain(*t_s, "MovingTooLong"),
        Change::ZeroUnsure { t_s } => plain(*t_s, "ZeroUnsure"),
        Change::Changed { t_s } => plain(*t_s, "Changed"),
        Change::Removed { t_s } => plain(*t_s, "Removed"),
        Change::Disturbed { t_s } => plain(*t_s, "Disturbed"),
        Change::Restored { t_s } => plain(*t_s, "Restored"),
        Change::TooLight { t_s, load } => Some(json!({"t": t_s, "kind": "TooLight", "value": load})),
        Change::ZeroLost { t_s } => plain(*t_s, "ZeroLost"),
        Change::ZeroFound { t_s } => plain(*t_s, "ZeroFound"),
    }
}
