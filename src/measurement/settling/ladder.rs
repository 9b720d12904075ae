//! The ladder of agreeing means: is the level at rest, and what is it?
//!
//! Despiked samples go in; the shortest window whose half-window means agree comes out, as a tapered mean. A
//! window of every length on the ladder ends at the newest sample. No model of the disturbance is fitted: a taper
//! with a steep fall of its side lobes rejects a sway of unknown frequency, and agreement is judged on means alone.

use super::limits::{RUNGS, SettlingLimits};
use crate::measurement::sample::Sample;

/// The window that passed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Level {
    /// Tapered mean of each channel, zero not taken off.
    pub(super) mean: [f64; 2],
    /// Largest minus smallest of the tapered means of first, middle and last half.
    pub(super) disagreement: [f64; 2],
    /// Standard deviation of the samples about their mean.
    pub(super) scatter: [f64; 2],
    /// Times of the first and the last sample.
    pub(super) window: (f64, f64),
    /// Samples in the window.
    pub(super) n: usize,
}

/// The newest samples, as long as the longest window.
#[derive(Debug, Clone)]
pub(super) struct Ladder {
    /// Filled to twice the length that is needed, then moved down, so that any window is one slice.
    samples: Vec<Sample>,
    longest: usize,
    /// Samples since the load last changed; older ones do not count.
    since: usize,
}

impl Ladder {
    pub(super) fn new(limits: &SettlingLimits) -> Self {
        let longest =
            (0..RUNGS).map(|rung| limits.samples_in(rung)).max().unwrap_or(1).max(limits.zero_samples_longest());
        Self { samples: Vec::with_capacity(2 * longest), longest, since: 0 }
    }

    pub(super) fn push(&mut self, sample: Sample) {
        if self.samples.len() == self.samples.capacity() {
            let keep = self.longest.min(self.samples.len());
            let from = self.samples.len() - keep;
            self.samples.copy_within(from.., 0);
            self.samples.truncate(keep);
        }
        self.samples.push(sample);
        self.since = self.since.saturating_add(1).min(self.longest);
    }

    /// Only samples from the newest on count from now on.
    pub(super) fn restart(&mut self) {
        self.since = self.since.min(1);
    }

    /// Forgets everything.
    pub(super) fn clear(&mut self) {
        self.samples.clear();
        self.since = 0;
    }

    /// Samples that count.
    pub(super) fn since(&self) -> usize {
        self.since
    }

    /// The newest `n` samples, leaving out the newest `skip`; `None` when there are not so many.
    pub(super) fn newest(&self, n: usize, skip: usize) -> Option<&[Sample]> {
        let end = self.samples.len().checked_sub(skip)?;
        self.samples.get(end.checked_sub(n)?..end)
    }
}

/// Judges one window; the caller compares the disagreement with what it allows.
pub(super) fn level(samples: &[Sample], channels: usize) -> Option<Level> {
    let n = samples.len();
    let half = n.div_ceil(2);
    let middle = (n - half) / 2;
    let mut level = Level {
        mean: [0.0; 2],
        disagreement: [0.0; 2],
        scatter: [0.0; 2],
        window: (samples.first()?.t_s, samples.last()?.t_s),
        n,
    };
    for channel in 0..channels.min(2) {
        let halves = [samples.get(..half)?, samples.get(middle..middle + half)?, samples.get(n - half..)?];
        let means = halves.map(|half| tapered_mean(half, channel));
        let largest = means.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let smallest = means.iter().copied().fold(f64::INFINITY, f64::min);
        *level.mean.get_mut(channel)? = tapered_mean(samples, channel);
        *level.disagreement.get_mut(channel)? = largest - smallest;
        *level.scatter.get_mut(channel)? = scatter(samples, channel);
    }
    Some(level)
}

/// The mean with weights u²(1 − u)², u from 0 to 1 over the window: zero with zero slope at both ends, so its side
/// lobes fall with the third power of the frequency, like a Hann window's. A polynomial has the same last digit
/// on every machine, a cosine has not.
pub(super) fn tapered_mean(samples: &[Sample], channel: usize) -> f64 {
    let step = 1.0 / f64_of(samples.len());
    let (mut weights, mut sum) = (0.0, 0.0);
    // Taken relative to the first sample, so that a moment of 10^5 g·mm keeps its digits.
    let base = samples.first().and_then(|s| s.values.get(channel)).copied().unwrap_or_default();
    let mut u = 0.5 * step;
    for sample in samples {
        let hump = u * (1.0 - u);
        let weight = hump * hump;
        weights += weight;
        sum += weight * (sample.values.get(channel).copied().unwrap_or_default() - base);
        u += step;
    }
    base + sum / weights
}

fn scatter(samples: &[Sample], channel: usize) -> f64 {
    let values = || samples.iter().filter_map(|s| s.values.get(channel)).copied();
    let n = f64_of(samples.len());
    let base = values().next().unwrap_or_default();
    let mean = values().map(|v| v - base).sum::<f64>() / n;
    let squares: f64 = values().map(|v| (v - base - mean) * (v - base - mean)).sum();
    (squares / (n - 1.0).max(1.0)).sqrt()
}

/// A count as a number; exact for anything that fits in memory here.
pub(super) fn f64_of(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::INFINITY, f64::from)
}
