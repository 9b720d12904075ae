//! One clock for the whole simulated bench.
//!
//! Real time goes in, bench time comes out: seconds since the bench was started, running `pace` times as fast as the clock
//! on the wall. This is the only file of the package that asks what time it is; everything else is given a time.

use std::time::{Duration, Instant, SystemTime};

/// Slowest and fastest pace: below, nobody waits that long; above, one wake-up of a thread is seconds of bench time.
const PACES: (f64, f64) = (0.1, 100.0);

/// Bench time as a function of real time. Copies agree with each other for ever.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    origin: Instant,
    origin_unix_us: i64,
    pace: f64,
}

impl Clock {
    /// A clock that starts now at bench time 0, with today's date. `pace` is limited to 0.1..=100.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place of this package where time enters")]
    pub fn new(pace: f64) -> Self {
        let unix = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        let unix_us = i64::try_from(unix.as_micros()).unwrap_or(0);
        Self::from_origin(pace, Instant::now(), unix_us)
    }

    /// A clock that read bench time 0, and the date `origin_unix_us` (microseconds since 1970 UTC), at the instant `origin`.
    ///
    /// Give the origin of another program part's clock, so that both date the same placement alike.
    #[must_use]
    pub fn from_origin(pace: f64, origin: Instant, origin_unix_us: i64) -> Self {
        Self { origin, origin_unix_us, pace: if pace.is_finite() { pace.clamp(PACES.0, PACES.1) } else { 1.0 } }
    }

    /// Bench seconds in one real second.
    #[must_use]
    pub fn pace(&self) -> f64 {
        self.pace
    }

    /// Bench time now, in seconds since the start.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place of this package where time enters")]
    pub fn now_s(&self) -> f64 {
        Instant::now().saturating_duration_since(self.origin).as_secs_f64() * self.pace
    }

    /// How long `bench_s` bench seconds last on the wall; nothing when negative.
    #[must_use]
    pub fn real(&self, bench_s: f64) -> Duration {
        Duration::try_from_secs_f64(bench_s.max(0.0) / self.pace).unwrap_or(Duration::MAX)
    }

    /// The date and time at bench time `t_s`, RFC 3339, UTC, to the millisecond.
    #[must_use]
    pub fn rfc3339(&self, t_s: f64) -> String {
        #[expect(clippy::cast_possible_truncation, reason = "a float cast saturates; the date below is checked")]
        let unix_us = self.origin_unix_us.saturating_add((t_s * 1e6).round() as i64);
        let date = jiff::Timestamp::from_microsecond(unix_us).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
        format!("{date:.3}")
    }

    /// Waits until bench time `t_s`; at once when it is past.
    pub async fn sleep_until(&self, t_s: f64) {
        tokio::time::sleep(self.real(t_s - self.now_s())).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bench_seconds_last_a_pace_th_of_a_real_second() {
        let clock = Clock::new(20.0);
        assert_eq!(clock.real(10.0), Duration::from_millis(500));
        assert_eq!(clock.real(-1.0), Duration::ZERO);
    }

    #[test]
    fn dates_are_rfc_3339_in_utc() {
        // 1 000 000 000 s after 1970 is 2001-09-09T01:46:40Z, a date in every table of Unix time.
        let clock = Clock::from_origin(1.0, Clock::new(1.0).origin, 1_000_000_000_000_000);
        assert_eq!(clock.rfc3339(0.25), "2001-09-09T01:46:40.250Z");
    }

    #[test]
    fn a_pace_out_of_range_is_limited() {
        assert!((Clock::new(1e9).pace() - 100.0).abs() < 1e-12);
        assert!((Clock::new(f64::NAN).pace() - 1.0).abs() < 1e-12);
    }
}
