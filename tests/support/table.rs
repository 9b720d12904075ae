//! A bench in a folder of its own: simulated instruments with nobody at them, and a configuration that names their ports.

use std::path::PathBuf;
use std::time::Duration;

use simulators::{Bench, BenchSettings, Clock, Instrument, Load};

use super::daemon::Daemon;

/// How much faster than the world the instruments of most tests run; `BENCHSCRIBE_PACE` sets another pace.
///
/// At 10 an instrument that gets no processor for 0.2 s counts as silent: a machine busy with other work needs less.
pub(crate) fn pace() -> f64 {
    std::env::var("BENCHSCRIBE_PACE").ok().and_then(|text| text.parse().ok()).unwrap_or(10.0)
}

/// The configuration of the demo, which stands for a usual bench.
const CONFIG: &str = include_str!("../../config/demo.toml");

/// Instruments, configuration and data folder.
pub(crate) struct Table {
    /// The instruments.
    pub(crate) bench: Bench,
    /// The configuration.
    pub(crate) config: PathBuf,
    /// The data folder; not made yet.
    pub(crate) data: PathBuf,
    /// Where anything else of a test may lie. Last, so that it goes last.
    pub(crate) folder: tempfile::TempDir,
}

impl Table {
    /// Sets a bench up; `seed` decides all noise of the instruments.
    pub(crate) fn new(seed: u64) -> Self {
        Self::at_pace(seed, pace(), |configuration| configuration)
    }

    /// A bench of which one instrument's port is another one, at a pace of its own.
    pub(crate) fn with_port(seed: u64, pace: f64, instrument: &str, port: &str) -> Self {
        Self::at_pace(seed, pace, |configuration| {
            let line = |line: &str| {
                let named = line.starts_with("port = ") && line.ends_with(&format!("/{instrument}\""));
                if named { format!("port = \"{port}\"\n") } else { format!("{line}\n") }
            };
            configuration.lines().map(line).collect()
        })
    }

    fn at_pace(seed: u64, pace: f64, change: impl FnOnce(String) -> String) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let ports = folder.path().join("ports");
        let data = folder.path().join("data");
        let config = folder.path().join("bench.toml");
        let configuration = configuration(&ports.display().to_string(), &data.display().to_string());
        std::fs::write(&config, change(configuration)).unwrap();
        let bench = Bench::start(BenchSettings::new(ports, Clock::new(pace), seed)).unwrap();
        Self { bench, config, data, folder }
    }

    /// Runs the daemon on this bench.
    #[track_caller]
    pub(crate) fn daemon(&self) -> Daemon {
        Daemon::run(&self.config, pace())
    }

    /// Runs the daemon and waits until every instrument is there and seen empty.
    #[track_caller]
    pub(crate) fn ready_daemon(&self) -> Daemon {
        let daemon = self.daemon();
        for instrument in Instrument::ALL {
            daemon.wait_phase(instrument.name(), "empty");
        }
        daemon
    }

    /// Lays a part on a scale.
    #[track_caller]
    pub(crate) fn lay_part(&self, instrument: Instrument, mass_g: f64) {
        self.bench.lay(instrument, Load::Part { mass_g }).unwrap();
    }

    /// Takes what lies there away and waits until the page says so.
    #[track_caller]
    pub(crate) fn lift(&self, daemon: &Daemon, instrument: Instrument) {
        self.bench.lift(instrument);
        daemon.wait_phase(instrument.name(), "empty");
    }
}

/// Real time in which so many bench seconds pass.
pub(crate) fn bench_time(seconds: f64) -> Duration {
    Duration::from_secs_f64(seconds / pace())
}

/// The demo's configuration on other ports and another data folder, a free port for the page, and no broker.
pub(crate) fn configuration(ports: &str, data: &str) -> String {
    let text = CONFIG.replace("\"demo-data\"", &format!("\"{data}\"")).replace("\"ports/", &format!("\"{ports}/"));
    assert!(text.contains(data) && text.contains(ports), "the demo's configuration has another shape now");
    format!("{text}\n[http]\nlisten = \"127.0.0.1:0\"\n\n[mqtt]\ncommands = false\n")
}
