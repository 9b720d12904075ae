//! The whole simulated bench: five instruments on their ports and, if wanted, a builder who works at them.
//!
//! Settings go in, a handle to play with comes out. One thread for each port, one task for the builder.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Sender};
use std::thread::JoinHandle;

use crate::beam::Beam;
use crate::builder::{Action, Builder, BuilderReport, Eyes, Tickets};
use crate::chance::Chance;
use crate::clock::Clock;
use crate::fault::Fault;
use crate::gauge::{CLAMPING_S, Gauge};
use crate::instrument::{Deed, Device, Instrument, Order, Running};
use crate::load::{Load, Manner, Placement};
use crate::plan::{DayPlan, OrderPlan};
use crate::pty::Pty;
use crate::scale::Scale;
use crate::scale_family::ScaleFamily;
use crate::scanner::Scanner;
use crate::truth::Truth;

/// Everything a bench needs to know before it starts.
#[derive(Debug)]
pub struct BenchSettings {
    /// The folder of links to the ports, one by the name of each instrument; made when it is not there.
    pub ports_dir: PathBuf,
    /// The clock that everything runs by.
    pub clock: Clock,
    /// Decides all noise, parts and hands.
    pub seed: u64,
    /// What the parts scale speaks.
    pub parts_scale_family: ScaleFamily,
    /// What the builder builds; without it nobody is at the bench.
    pub plan: Option<Vec<OrderPlan>>,
    /// A whole day in place of the plan.
    pub day: Option<DayPlan>,
    /// The texts of the cards.
    pub tickets: Tickets,
    /// What the builder sees; without it he lays each thing down for a while and trusts.
    pub eyes: Option<Eyes>,
    /// Takes what he types. He waits while it is full.
    pub actions: Option<tokio::sync::mpsc::Sender<Action>>,
    /// Takes what he really laid down. He waits while it is full.
    pub truth: Option<tokio::sync::mpsc::Sender<Truth>>,
}

impl BenchSettings {
    /// A bench with nobody at it.
    #[must_use]
    pub fn new(ports_dir: impl Into<PathBuf>, clock: Clock, seed: u64) -> Self {
        Self {
            ports_dir: ports_dir.into(),
            clock,
            seed,
            parts_scale_family: ScaleFamily::default(),
            plan: None,
            day: None,
            tickets: Tickets::default(),
            eyes: None,
            actions: None,
            truth: None,
        }
    }
}

/// Why a bench does not start, or a load cannot be laid down.
#[derive(Debug, thiserror::Error)]
pub enum BenchError {
    /// The folder of links cannot be made.
    #[error("cannot make the folder {path} for the ports")]
    PortsDir {
        /// The folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A pseudo-terminal or its link cannot be made.
    #[error("cannot make the port {path}")]
    Port {
        /// The link.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A thread cannot be started.
    #[error("cannot start the {instrument}")]
    Thread {
        /// Whose thread.
        instrument: Instrument,
        /// Why.
        source: io::Error,
    },
    /// A plan was given outside of a tokio runtime.
    #[error("found no tokio runtime, expected one for the builder to work in")]
    NoRuntime,
    /// A load that does not fit the instrument.
    #[error("{load:?} cannot be laid on the {instrument}")]
    WrongLoad {
        /// The instrument.
        instrument: Instrument,
        /// The load.
        load: Load,
    },
}

/// A running bench; dropping it stops it.
#[derive(Debug)]
pub struct Bench {
    top: Benchtop,
    ports_dir: PathBuf,
    threads: Vec<JoinHandle<()>>,
    builder: Option<tokio::task::JoinHandle<BuilderReport>>,
}

impl Bench {
    /// Makes the ports and starts the instruments, and the builder if there is a plan. The ports can be opened when this
    /// returns.
    ///
    /// # Errors
    /// When a port cannot be made, or there is a plan but no tokio runtime to build it in.
    pub fn start(settings: BenchSettings) -> Result<Self, BenchError> {
        let BenchSettings { ports_dir, clock, seed, parts_scale_family, plan, day, tickets, eyes, actions, truth } =
            settings;
        let is_worked_at = plan.is_some() || day.is_some();
        let runtime = is_worked_at.then(tokio::runtime::Handle::try_current).transpose();
        let runtime = runtime.map_err(|_| BenchError::NoRuntime)?;
        std::fs::create_dir_all(&ports_dir)
            .map_err(|source| BenchError::PortsDir { path: ports_dir.clone(), source })?;
        let top = Benchtop { clock, lines: BTreeMap::new() };
        let mut bench = Self { top, ports_dir, threads: Vec::new(), builder: None };
        for (stream, instrument) in (1..).zip(Instrument::ALL) {
            let chance = Chance::new(seed, stream);
            let device: Box<dyn Device> = match instrument {
                Instrument::PartsScale => Box::new(Scale::new(parts_scale_family, 2, 1200.0, chance)),
                Instrument::ClubScale => Box::new(Scale::new(ScaleFamily::EchoStatusValue10Unit, 1, 6000.0, chance)),
                Instrument::Beam => Box::new(Beam::new(chance)),
                Instrument::Gauge => Box::new(Gauge::new(chance)),
                Instrument::Scanner => Box::new(Scanner::default()),
            };
            bench.start_instrument(instrument, device, Chance::new(seed, 100 + stream))?;
        }
        if let Some(runtime) = runtime {
            let builder = Builder {
                top: bench.top.clone(),
                tickets,
                eyes,
                actions,
                truth,
                chance: Chance::new(seed, 0),
                report: BuilderReport::default(),
            };
            bench.builder = Some(match day {
                Some(day) => runtime.spawn(builder.day(day)),
                None => runtime.spawn(builder.work(plan.unwrap_or_default())),
            });
        }
        Ok(bench)
    }

    fn start_instrument(
        &mut self,
        instrument: Instrument,
        device: Box<dyn Device>,
        chance: Chance,
    ) -> Result<(), BenchError> {
        let link = self.port(instrument);
        let port = Pty::create(&link).map_err(|source| BenchError::Port { path: link.clone(), source })?;
        // Unbounded: deeds come at the pace of a hand. The bench and the builder send; the thread ends on `Stop` or when
        // both are gone.
        let (line, orders) = mpsc::channel();
        let running = Running { device, link, port: Some(port), clock: self.top.clock, chance };
        let thread = std::thread::Builder::new()
            .name(instrument.name().to_owned())
            .spawn(move || running.run(&orders))
            .map_err(|source| BenchError::Thread { instrument, source })?;
        self.threads.push(thread);
        self.top.lines.insert(instrument, line);
        Ok(())
    }

    /// The stable name of an instrument's port.
    #[must_use]
    pub fn port(&self, instrument: Instrument) -> PathBuf {
        self.ports_dir.join(instrument.name())
    }

    /// The folder of the ports.
    #[must_use]
    pub fn ports_dir(&self) -> &Path {
        &self.ports_dir
    }

    /// The clock that everything runs by.
    #[must_use]
    pub fn clock(&self) -> Clock {
        self.top.clock
    }

    /// Sets what is wrong with an instrument, in place of what was wrong before.
    pub fn set_fault(&self, instrument: Instrument, fault: Fault) {
        self.top.tell(instrument, Order::Fault(fault));
    }

    /// Lays a load down tidily; the bench time (s) at which the hand lets go.
    ///
    /// # Errors
    /// When the load does not fit the instrument.
    pub fn lay(&self, instrument: Instrument, load: Load) -> Result<f64, BenchError> {
        self.top.lay(instrument, load, Manner::TIDY)
    }

    /// Takes away what lies there, from now.
    pub fn lift(&self, instrument: Instrument) {
        self.top.lift(instrument);
    }

    /// Holds a code before the scanner. A text that begins with `]` brings its own symbology identifier, any other is sent
    /// as a plain linear code (`]C0`).
    pub fn scan(&self, text: &str) {
        self.top.scan(text);
    }

    /// Waits until the builder has built everything; an empty report when nobody is at the bench, or was already waited for.
    pub async fn wait_builder(&mut self) -> BuilderReport {
        match &mut self.builder {
            Some(builder) => {
                let report = builder.await.unwrap_or_default();
                self.builder = None;
                report
            }
            None => BuilderReport::default(),
        }
    }

    /// Sends the builder home, lets the last bytes out, takes the ports and their links away. Blocks for about 50 ms.
    pub fn stop(self) {
        drop(self);
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        if let Some(builder) = &self.builder {
            builder.abort();
        }
        for &instrument in self.top.lines.keys() {
            self.top.tell(instrument, Order::Stop);
        }
        for thread in self.threads.drain(..) {
            // A thread that failed has closed its port by that already.
            thread.join().ok();
        }
    }
}

/// Where hands reach all instruments.
#[derive(Clone, Debug)]
pub(crate) struct Benchtop {
    pub(crate) clock: Clock,
    lines: BTreeMap<Instrument, Sender<Order>>,
}

impl Benchtop {
    fn tell(&self, instrument: Instrument, order: Order) {
        if let Some(line) = self.lines.get(&instrument) {
            // An instrument that has ended takes no more orders.
            line.send(order).ok();
        }
    }

    /// Lays a load down; the bench time (s) at which the hand will have let go.
    pub(crate) fn lay(&self, instrument: Instrument, load: Load, manner: Manner) -> Result<f64, BenchError> {
        let release_s = match (instrument, load) {
            (Instrument::PartsScale | Instrument::ClubScale, Load::Part { .. } | Load::Club { .. })
            | (Instrument::Beam, Load::Club { .. }) => manner.release_s(),
            (Instrument::Gauge, Load::Angles { .. }) => CLAMPING_S,
            _ => return Err(BenchError::WrongLoad { instrument, load }),
        };
        // A little ahead, so that the instrument hears of it before it happens and the times are exact: 10 ms of real time
        // are twice the longest sleep of its loop.
        let contact_s = self.clock.now_s() + 0.1 + 0.01 * self.clock.pace();
        self.tell(instrument, Order::Act(Deed::Lay(Placement { load, manner, contact_s })));
        Ok(contact_s + release_s)
    }

    pub(crate) fn lift(&self, instrument: Instrument) {
        self.tell(instrument, Order::Act(Deed::Lift(self.clock.now_s())));
    }

    pub(crate) fn scan(&self, text: &str) {
        self.tell(Instrument::Scanner, Order::Act(Deed::Scan(text.to_owned())));
    }
}
