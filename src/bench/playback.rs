//! Plays a recorded session back through the bench's core. Pure.
//!
//! In: the header, the state the session began in, and the recorded lines in order. Out: what each of them leads to,
//! event for event and byte for byte what the bench stored. Absent: files and the journal; whoever plays back stores,
//! then calls [`Playback::commit`], as the bench does.

use std::sync::Arc;

use super::core::{Core, Input, Outcome};
use super::recorded::{Header, Line, VERSION, What};
use crate::config::bench_file::BenchSettings;
use crate::instrument::format::{Decoder, Format, Frame, Item, Refusal};
use crate::instrument::port::{PortEvent, PortMessage};
use crate::measurement::stamp::Stamp;
use crate::output::command;
use crate::work_order::event::Event;
use crate::work_order::state::State;

/// Why a recording cannot be played back, or not further.
#[derive(Debug, thiserror::Error)]
pub enum PlaybackError {
    /// Written by a later program.
    #[error("the recording has version {found}, expected {VERSION}")]
    Version {
        /// Its version.
        found: u32,
    },
    /// A line is not one of ours.
    #[error("input {n} is not readable")]
    Line {
        /// Which input.
        n: u64,
        /// What is wrong with it.
        source: serde_json::Error,
    },
    /// Lines are missing: files were rotated away or taken out.
    #[error(
        "inputs {expected} to {last} are missing, so it cannot be played back; their bytes can still be decoded where they are there"
    )]
    Missing {
        /// The input that should come.
        expected: u64,
        /// The last one that is missing.
        last: u64,
    },
    /// The recording says of itself that inputs are missing.
    #[error("{lost} inputs before input {n} were lost when it was recorded, so it cannot be played back further")]
    Broken {
        /// Which input says so.
        n: u64,
        /// How many were lost.
        lost: u64,
    },
    /// A line names an instrument that the configuration does not have.
    #[error("input {n} is of instrument {i}, expected one below {instruments}")]
    Instrument {
        /// Which input.
        n: u64,
        /// Which instrument.
        i: usize,
        /// How many there are.
        instruments: usize,
    },
    /// Bytes that were a frame are none now.
    #[error(
        "input {n} was a frame of {family} and is none now; the wire format is another one than when it was recorded"
    )]
    Frame {
        /// Which input.
        n: u64,
        /// Family of the wire format.
        family: String,
    },
    /// A command that was understood is not now.
    #[error("input {n} is a command that is not understood now: {reason}")]
    Command {
        /// Which input.
        n: u64,
        /// Why.
        reason: String,
    },
    /// Something stands behind the end.
    #[error("input {n} stands behind the end of the session")]
    AfterEnd {
        /// Which input.
        n: u64,
    },
}

/// A session that is played back.
#[derive(Debug)]
pub struct Playback {
    core: Core,
    formats: Vec<Arc<Format>>,
    inputs: u64,
    ended: bool,
}

impl Playback {
    /// Starts the session again; the outcome holds its first events. `settings` are those of the recorded
    /// configuration, `state` is the fold of the events before.
    ///
    /// # Errors
    /// When the recording is of another version.
    pub fn start(header: &Header, settings: &BenchSettings, state: State) -> Result<(Self, Outcome), PlaybackError> {
        if header.v != VERSION {
            return Err(PlaybackError::Version { found: header.v });
        }
        let stamp = Stamp::from(header.start);
        let (core, first) = Core::start(settings, state, header.epoch, stamp, header.clock_synchronised);
        let formats = settings.instruments.iter().map(|instrument| Arc::new(instrument.format.clone())).collect();
        Ok((Self { core, formats, inputs: 0, ended: false }, first))
    }

    /// Plays one line.
    ///
    /// # Errors
    /// When the line cannot be played; what was played before stands.
    pub fn play(&mut self, text: &str) -> Result<Outcome, PlaybackError> {
        let expected = self.inputs + 1;
        let line: Line = serde_json::from_str(text).map_err(|source| PlaybackError::Line { n: expected, source })?;
        if line.n != expected {
            return Err(PlaybackError::Missing { expected, last: line.n.saturating_sub(1) });
        }
        if self.ended {
            return Err(PlaybackError::AfterEnd { n: line.n });
        }
        let n = line.n;
        let stamp = Stamp::from(line.stamp);
        let outcome = match line.what {
            What::End => {
                self.ended = true;
                self.core.end(stamp)
            }
            What::Broken { lost } => return Err(PlaybackError::Broken { n, lost }),
            What::Command { json } => {
                let command = command::parse(&json).map_err(|reason| PlaybackError::Command { n, reason })?;
                self.core.step(Input::Command { stamp, command })
            }
            What::Frame { i, raw } => {
                let frame = Box::new(self.frame(n, i, &raw)?);
                self.port(n, i, stamp, PortEvent::Frame(frame, raw.into()))?
            }
            What::Refused { i, label, raw } => {
                let label = Refusal::LABELS.iter().find(|known| **known == label).copied().unwrap_or("unknown");
                self.port(n, i, stamp, PortEvent::Refused { label, reason: String::new(), raw: raw.into() })?
            }
            What::Passed { i, raw } => self.port(n, i, stamp, PortEvent::Passed(raw.into()))?,
            What::Ready { i } => self.port(n, i, stamp, PortEvent::Ready)?,
            What::Lost { i, reason } => self.port(n, i, stamp, PortEvent::Lost { reason })?,
        };
        self.inputs = n;
        Ok(outcome)
    }

    /// Takes stored events into the state.
    pub fn commit(&mut self, events: &[Event]) {
        self.core.commit(events);
    }

    /// How many inputs were played.
    #[must_use]
    pub fn inputs(&self) -> u64 {
        self.inputs
    }

    /// Whether the session has ended in order.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.ended
    }

    fn port(&mut self, n: u64, i: usize, stamp: Stamp, event: PortEvent) -> Result<Outcome, PlaybackError> {
        self.format(n, i)?;
        Ok(self.core.step(Input::Port(PortMessage { instrument: i, stamp, event })))
    }

    fn format(&self, n: u64, i: usize) -> Result<&Arc<Format>, PlaybackError> {
        self.formats.get(i).ok_or(PlaybackError::Instrument { n, i, instruments: self.formats.len() })
    }

    fn frame(&self, n: u64, i: usize, raw: &[u8]) -> Result<Frame, PlaybackError> {
        let format = self.format(n, i)?;
        let mut decoder = Decoder::new(Arc::clone(format));
        let mut found = None;
        let mut take = |item: Item<'_>| {
            if let Item::Frame(frame, bytes) = item
                && bytes.len() == raw.len()
            {
                found = Some(frame);
            }
        };
        decoder.push(raw, &mut take);
        decoder.finish(&mut take);
        found.ok_or_else(|| PlaybackError::Frame { n, family: format.family.clone() })
    }
}
