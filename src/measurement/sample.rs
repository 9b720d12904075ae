//! What an instrument indicated at one moment, and what the work order expects it to indicate next.
//!
//! Plain values: grams, gram-millimetres or degrees with the time they came. No frames, no calibration, no clock.

/// One indication of an instrument, calibrated but not zero-corrected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Time of the sample in seconds on a clock that never steps; rises from sample to sample.
    pub t_s: f64,
    /// `[grams, 0]` of a scale, `[total grams, moment in g·mm about the first cell]` of a beam,
    /// `[lie, loft]` in degrees of an angle gauge.
    pub values: [f64; 2],
}

/// A band in which the next capture may lie, from the work order. It shortens the wait and never moves the value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// Lower end, in the unit of the first channel, zero-corrected.
    pub lo: f64,
    /// Upper end, in the unit of the first channel, zero-corrected.
    pub hi: f64,
}

impl Expectation {
    /// Whether a level lies in the band, ends included. A band that is upside down or not a number contains nothing.
    #[must_use]
    pub fn contains(&self, level: f64) -> bool {
        self.lo <= level && level <= self.hi
    }
}
