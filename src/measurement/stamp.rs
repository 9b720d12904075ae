//! The two times of anything that happened on the bench.

/// When something happened: seconds since the session started for intervals, wall time for the record.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stamp {
    /// Seconds since the session started; never steps back.
    pub t_s: f64,
    /// Microseconds since 1970-01-01 UTC by the wall clock, which may step.
    pub at_us: i64,
}
