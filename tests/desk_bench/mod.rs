//! The bench's own core in the process of a test: frames as bytes go in at stated times, stored events come out.
//!
//! No ports, no clock and no noise: what a test lays down is exactly what the instrument sends.
#![allow(dead_code, reason = "each test program uses its part")]
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

pub(crate) mod commanded;

use std::sync::Arc;

use benchscribe::bench::core::{Core, Input};
use benchscribe::bench::show::Show;
use benchscribe::config::bench_file::{BenchSettings, read_bench_with};
use benchscribe::config::named_files::NamedFiles;
use benchscribe::instrument::format::{Decoder, Format, Item};
use benchscribe::instrument::port::{PortEvent, PortMessage};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::output::command;
use benchscribe::output::text::Lengths;
use benchscribe::output::view::Snapshot;
use benchscribe::work_order::event::{Change, Event};
use benchscribe::work_order::state::State;

/// A scale of 1200 g in steps of 0.01 g and class II with e = 0.02 g, a beam without noise, and a gauge.
pub(crate) const CONFIG: &str = r#"
site = "test"
bench = "bench-1"

[[instrument]]
id = "scale"
kind = "scale"
port = "/dev/null"
format = "hdr2-sign8-unit3"
capacity = "1200 g"
resolution = "0.01 g"
accuracy_class = "II"
verification_interval = "0.02 g"
rate = 10

[instrument.calibration]
u_span = 0.0001
u_linearity = "0.01 g"

[[instrument]]
id = "beam"
kind = "beam"
port = "/dev/null"
format = "dual-cell-line"
capacity = "1500 g"
rate = 20

[instrument.calibration]
zero_counts = [8388, -4210]
counts_per_gram = [1000.0, 1000.0]
u_span = 0.0001
x1 = "100 mm"
x2 = "840 mm"
u_x1 = "0.1 mm"
u_x2 = "0.1 mm"

[[instrument]]
id = "gauge"
kind = "gauge"
port = "/dev/null"
format = "nmea-xdr"
resolution = "0.01 deg"
rate = 10
"#;

/// One club with one part to weigh.
pub(crate) const ORDER: &str = r#"
order = "W-1"

[[club]]
name = "5-iron"
kind = "iron"
head_mass = "203 g ± 2 g"
shaft_mass = "115 g ± 3 g"
"#;

/// Events with their evidence, as the journal would store them.
#[derive(Debug, Default)]
pub(crate) struct Stored {
    pub(crate) events: Vec<Event>,
    pub(crate) evidence: Vec<(String, Vec<u8>)>,
}

impl Stored {
    /// Events of one kind.
    pub(crate) fn of(&self, kind: &str) -> Vec<&Event> {
        self.events.iter().filter(|event| event.change.kind() == kind).collect()
    }
}

/// A bench in the process.
pub(crate) struct DeskBench {
    pub(crate) core: Core,
    pub(crate) show: Show,
    first: Vec<Event>,
    settings: BenchSettings,
    formats: Vec<Arc<Format>>,
    pub(crate) t_s: f64,
}

/// Wall time at the start of the session: in November 2023.
const START_US: i64 = 1_700_000_000_000_000;

impl DeskBench {
    pub(crate) fn new(config: &str) -> Self {
        Self::with_state(config, State::default())
    }

    /// A new session behind everything that `state` folds.
    pub(crate) fn with_state(config: &str, state: State) -> Self {
        Self::with_files(config, &NamedFiles::none(), state)
    }

    /// The same with files that the configuration names.
    pub(crate) fn with_files(config: &str, files: &NamedFiles<'_>, state: State) -> Self {
        let settings = read_bench_with("test", config, files).unwrap();
        let formats = settings.instruments.iter().map(|i| Arc::new(i.format.clone())).collect();
        let (core, first) = Core::start(&settings, state, 7, stamp(0.0), true);
        let show = Show::new(&core, Lengths::Inches);
        Self { core, show, first: first.events, settings, formats, t_s: 0.0 }
    }

    /// The events of the start, stored.
    pub(crate) fn begin(&mut self) -> Stored {
        let events = std::mem::take(&mut self.first);
        self.core.commit(&events);
        self.show.refresh_all(&self.core);
        Stored { events, evidence: Vec::new() }
    }

    /// Gives a command as a program would.
    pub(crate) fn command(&mut self, json: serde_json::Value, stored: &mut Stored) -> Result<(), String> {
        let command = command::parse(&json)?;
        self.take(Input::Command { stamp: stamp(self.t_s), command }, stored)
    }

    fn take(&mut self, input: Input, stored: &mut Stored) -> Result<(), String> {
        let outcome = self.core.step(input);
        self.core.commit(&outcome.events);
        self.show.refresh_all(&self.core);
        stored.events.extend(outcome.events);
        stored.evidence.extend(outcome.evidence);
        outcome.refused.map_or(Ok(()), |refusal| Err(refusal.0))
    }

    /// Lets an instrument send values at its rate; a beam's are (first, second) counts, a gauge's (lie, loft).
    pub(crate) fn lay_pairs(&mut self, id: &str, values: &[[f64; 2]], stored: &mut Stored) {
        let instrument = self.settings.instruments.iter().position(|i| i.id == id).unwrap();
        let step = 1.0 / self.settings.instruments[instrument].rate_hz;
        for value in values {
            let text = match self.settings.instruments[instrument].format.family.as_str() {
                "hdr2-sign8-unit3" => {
                    format!("ST,{}{:08.2}  g\r\n", if value[0] < 0.0 { '-' } else { '+' }, value[0].abs())
                }
                "dual-cell-line" => format!("{:.0}\t{:.0}\n", value[0], value[1]),
                "nmea-xdr" => {
                    let body = format!("IIXDR,A,{:.2},D,LIE,A,{:.2},D,LOFT", value[0], value[1]);
                    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
                }
                other => panic!("{other}"),
            };
            self.frame(instrument, text.as_bytes(), stored);
            self.t_s += step;
        }
    }

    /// The same for an instrument with one number.
    pub(crate) fn lay(&mut self, id: &str, values: &[f64], stored: &mut Stored) {
        let pairs: Vec<[f64; 2]> = values.iter().map(|value| [*value, 0.0]).collect();
        self.lay_pairs(id, &pairs, stored);
    }

    /// One line of bytes from an instrument now.
    pub(crate) fn frame(&mut self, instrument: usize, bytes: &[u8], stored: &mut Stored) {
        let mut frames = Vec::new();
        let mut decoder = Decoder::new(Arc::clone(&self.formats[instrument]));
        let mut take = |item: Item<'_>| match item {
            Item::Frame(frame, raw) => frames.push((frame, raw.to_vec())),
            Item::Refused { reason, .. } => panic!("{}: {reason}", String::from_utf8_lossy(bytes)),
        };
        decoder.push(bytes, &mut take);
        decoder.finish(&mut take);
        assert!(!frames.is_empty(), "{}", String::from_utf8_lossy(bytes));
        for (frame, raw) in frames {
            let event = PortEvent::Frame(Box::new(frame), raw.into());
            let message = PortMessage { instrument, stamp: stamp(self.t_s), event };
            self.take(Input::Port(message), stored).unwrap();
        }
    }

    /// Empties a scale or beam, lays a load down and leaves it until it is captured, then empties it again.
    pub(crate) fn weigh(&mut self, id: &str, load: [f64; 2], empty: [f64; 2], stored: &mut Stored) {
        let before = stored.of("reading_captured").len();
        self.lay_pairs(id, &[empty; 60], stored);
        self.lay_pairs(id, &[load; 90], stored);
        self.lay_pairs(id, &[empty; 60], stored);
        assert_eq!(stored.of("reading_captured").len(), before + 1, "{id} {load:?}: {:?}", stored.events.last());
    }

    /// Lets time pass without anything.
    pub(crate) fn wait(&mut self, seconds: f64) {
        self.t_s += seconds;
    }

    /// What the bench shows now.
    pub(crate) fn snapshot(&mut self) -> Snapshot {
        self.show.snapshot(&self.core, stamp(self.t_s), None)
    }
}

fn stamp(t_s: f64) -> Stamp {
    #[expect(clippy::cast_possible_truncation, reason = "a test lasts days at most")]
    let passed_us = (t_s * 1e6) as i64;
    Stamp { t_s, at_us: START_US + passed_us }
}

/// The last check that was stored.
pub(crate) fn last_check(stored: &Stored) -> benchscribe::work_order::checks::Check {
    match &stored.of("checked").last().unwrap().change {
        Change::Checked(check) => check.clone(),
        other => panic!("{other:?}"),
    }
}
