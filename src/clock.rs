//! The bench's clock: the only place where time enters, besides the simulators.
//!
//! A pace other than 1 makes bench time run faster than the world's, for the demo: everything that waits or stamps
//! uses this clock, so capture sees real-time data at any pace.

use std::time::Duration;

use crate::measurement::stamp::Stamp;

/// A clock that starts with the session.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    started: std::time::Instant,
    started_at_us: i64,
    pace: f64,
}

impl Clock {
    /// Starts a clock that runs `pace` times as fast as the world's (1 for a real bench).
    #[must_use]
    pub fn start(pace: f64) -> Self {
        Self { started: instant_now(), started_at_us: wall_now_us(), pace }
    }

    /// How much faster than the world this clock runs.
    #[must_use]
    pub fn pace(&self) -> f64 {
        self.pace
    }

    /// The instant of the world at which this clock was zero.
    #[must_use]
    pub fn origin(&self) -> (std::time::Instant, i64) {
        (self.started, self.started_at_us)
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> Stamp {
        let t_s = self.started.elapsed().as_secs_f64() * self.pace;
        // A real bench keeps the system's wall time, steps included; a paced one invents its own.
        let at_us = if self.is_paced() { self.started_at_us.saturating_add(micros(t_s)) } else { wall_now_us() };
        Stamp { t_s, at_us }
    }

    /// The moment a byte came that is `bench_s` older than `now`.
    #[must_use]
    pub fn before(&self, now: Stamp, bench_s: f64) -> Stamp {
        Stamp { t_s: now.t_s - bench_s, at_us: now.at_us.saturating_sub(micros(bench_s)) }
    }

    /// How long to wait in the world for `bench` to pass on this clock.
    #[must_use]
    pub fn real(&self, bench: Duration) -> Duration {
        bench.div_f64(self.pace)
    }

    fn is_paced(&self) -> bool {
        (self.pace - 1.0).abs() > f64::EPSILON
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a session of seconds fits into 64 bits of microseconds")]
fn micros(seconds: f64) -> i64 {
    (seconds * 1e6).round() as i64
}

#[expect(clippy::disallowed_methods, reason = "this is the door through which time enters")]
fn instant_now() -> std::time::Instant {
    std::time::Instant::now()
}

#[expect(clippy::disallowed_methods, reason = "this is the door through which time enters")]
fn wall_now_us() -> i64 {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_micros()).unwrap_or(i64::MAX)
}
