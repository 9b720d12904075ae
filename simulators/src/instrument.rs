//! The instruments by name, and the loop that keeps one of them going on its port.
//!
//! Deeds of a hand and bytes from a reader go in, frames come out at their bench time, through the fault that is set. What an
//! instrument does with a load is its own file's business.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::Duration;

use crate::chance::Chance;
use crate::clock::Clock;
use crate::fault::Fault;
use crate::load::Placement;
use crate::pty::Pty;

/// Steps of the physics in one bench second: a whole number of them makes up the sampling time of every instrument.
pub(crate) const STEPS_PER_S: u32 = 800;
/// One step of the physics, s.
pub(crate) const STEP_S: f64 = 1.0 / STEPS_PER_S as f64;
/// A loop looks at its deeds at least this often in real time.
const LONGEST_WAIT: Duration = Duration::from_millis(5);
/// How long a port stays open after its last byte, so that the reader still gets it.
const LINGER: Duration = Duration::from_millis(50);

/// The instruments of the bench; each has a port of this name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Instrument {
    /// Fine scale for single parts, streaming.
    PartsScale,
    /// Scale for whole clubs, asked.
    ClubScale,
    /// Swing-weight beam with two load cells, raw counts.
    Beam,
    /// Loft and lie gauge.
    Gauge,
    /// Barcode scanner.
    Scanner,
}

impl Instrument {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::PartsScale, Self::ClubScale, Self::Beam, Self::Gauge, Self::Scanner];

    /// The name of its port, and of the instrument in truths.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::PartsScale => "parts-scale",
            Self::ClubScale => "club-scale",
            Self::Beam => "beam",
            Self::Gauge => "gauge",
            Self::Scanner => "scanner",
        }
    }
}

impl fmt::Display for Instrument {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A name that is none of this bench's instruments.
#[derive(Debug, thiserror::Error)]
#[error("found {0:?}, expected parts-scale, club-scale, beam, gauge or scanner")]
pub struct UnknownInstrument(String);

impl FromStr for Instrument {
    type Err = UnknownInstrument;

    fn from_str(text: &str) -> Result<Self, UnknownInstrument> {
        Self::ALL
            .into_iter()
            .find(|instrument| instrument.name() == text)
            .ok_or_else(|| UnknownInstrument(text.to_owned()))
    }
}

/// What a hand does at an instrument.
#[derive(Clone, Debug)]
pub(crate) enum Deed {
    /// Lays a load down at the placement's own time.
    Lay(Placement),
    /// Takes it away, beginning at this bench time (s).
    Lift(f64),
    /// Holds a code with this text before the scanner.
    Scan(String),
}

/// An instrument without its port: pure, driven by the bench time it is given.
pub(crate) trait Device: Send {
    /// A hand does something.
    fn act(&mut self, deed: Deed);

    /// The reader has sent `bytes`; most instruments are deaf.
    fn hear(&mut self, _bytes: &[u8]) {}

    /// Goes on to bench time `t_s` and adds the frames that became due.
    fn advance(&mut self, t_s: f64, frames: &mut Vec<Vec<u8>>);

    /// The bench time at which it next has something to send by itself.
    fn next_s(&self) -> f64;
}

/// What the loop of an instrument is told.
#[derive(Debug)]
pub(crate) enum Order {
    Act(Deed),
    Fault(Fault),
    Stop,
}

/// One instrument on its port.
pub(crate) struct Running {
    pub(crate) device: Box<dyn Device>,
    pub(crate) link: PathBuf,
    pub(crate) port: Option<Pty>,
    pub(crate) clock: Clock,
    pub(crate) chance: Chance,
}

impl Running {
    /// Keeps the instrument going until it is told to stop or nobody is left who could tell it.
    pub(crate) fn run(mut self, orders: &Receiver<Order>) {
        let mut fault = Fault::None;
        let (mut frames, mut line) = (Vec::new(), Vec::new());
        loop {
            match orders.try_recv() {
                Ok(Order::Act(deed)) => {
                    self.device.act(deed);
                    continue;
                }
                Ok(Order::Fault(next)) => {
                    fault = self.take_fault(next);
                    continue;
                }
                Ok(Order::Stop) | Err(TryRecvError::Disconnected) => break,
                Err(TryRecvError::Empty) => {}
            }
            if self.port.is_none() && fault != Fault::Unplugged {
                // Fails only when the machine has no pseudo-terminal left; then the next round tries again.
                self.port = Pty::create(&self.link).ok();
            }
            self.device.advance(self.clock.now_s(), &mut frames);
            for frame in frames.drain(..) {
                fault.pass(&frame, &mut self.chance, &mut line);
            }
            let wait = self.clock.real(self.device.next_s() - self.clock.now_s()).min(LONGEST_WAIT);
            match &mut self.port {
                Some(port) => {
                    port.send(&line);
                    let heard = port.receive(wait);
                    self.device.hear(&heard);
                }
                None => std::thread::sleep(wait),
            }
            line.clear();
        }
        std::thread::sleep(LINGER);
    }

    /// Does at the port what a fault asks for; the fault that stays on.
    fn take_fault(&mut self, next: Fault) -> Fault {
        match next {
            Fault::Unplugged => self.port = None,
            Fault::Renamed => {
                // The new one first, while the old one still holds its number: so the number does change.
                if let Ok(fresh) = Pty::create(Path::new(&self.link)) {
                    self.port = Some(fresh);
                }
                return Fault::None;
            }
            _ => {}
        }
        next
    }
}

/// The bench time (s) at which step number `step` of the physics ends.
pub(crate) fn step_time_s(step: u64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "2^53 steps are three hundred thousand years")]
    let steps = step as f64;
    steps * STEP_S
}
