//! Raw samples become the despiked, evenly paced samples that the ladder averages.
//!
//! Two steps, both local: a sample is dropped on the word of three neighbours before and two after
//! it and of no one else, and blocks are cut on multiples of the block length in absolute time. So the same output comes from
//! any cut of the stream that starts a little before, which is what makes an archived mean recomputable.

use super::limits::SettlingLimits;
use crate::measurement::sample::Sample;

/// Neighbours before a sample that have a word in its case; two after it come on top.
const BEFORE: usize = 3;
/// The most samples that are under consideration at once.
const SPAN: usize = BEFORE + 3;
/// How far, in robust spreads of its neighbours, a sample may lie from the nearest of them.
const SPREADS: f64 = 2.0;

/// The despiking and averaging in front of the ladder.
#[derive(Debug, Clone)]
pub(super) struct Intake {
    spike: [f64; 2],
    /// Block length in seconds; `None` passes every sample.
    block_s: Option<f64>,
    /// Raw samples, oldest first: up to three that are settled cases, then up to three that wait.
    recent: [Sample; SPAN],
    filled: usize,
    /// How many of `recent` are settled cases.
    decided: usize,
    last_t_s: f64,
    block: Option<Block>,
}

/// A block that still grows.
#[derive(Debug, Clone, Copy)]
struct Block {
    index: f64,
    sum_t_s: f64,
    sums: [f64; 2],
    count: f64,
}

impl Intake {
    pub(super) fn new(limits: &SettlingLimits) -> Self {
        let none = Sample { t_s: f64::NEG_INFINITY, values: [0.0; 2] };
        Self {
            spike: limits.spike,
            block_s: limits.block_s,
            recent: [none; SPAN],
            filled: 0,
            decided: 0,
            last_t_s: f64::NEG_INFINITY,
            block: None,
        }
    }

    /// Whether a sample is finite and later than the one before.
    pub(super) fn takes(&self, sample: &Sample) -> bool {
        sample.t_s.is_finite() && sample.values.iter().all(|v| v.is_finite()) && sample.t_s > self.last_t_s
    }

    /// Takes a raw sample and gives every sample (or block mean) that is now certain to `out`, oldest first.
    ///
    /// One that is not finite or not later than the one before is ignored.
    pub(super) fn push(&mut self, sample: &Sample, mut out: impl FnMut(Sample)) {
        if !self.takes(sample) {
            return;
        }
        self.last_t_s = sample.t_s;
        if let Some(slot) = self.recent.get_mut(self.filled) {
            *slot = *sample;
            self.filled += 1;
        }
        while self.decided < self.filled {
            let Some(verdict) = self.verdict(self.decided) else { break };
            if let (Verdict::Kept, Some(kept)) = (verdict, self.recent.get(self.decided).copied()) {
                self.average(kept, &mut out);
            }
            self.decided += 1;
        }
        while self.decided > BEFORE {
            self.recent.rotate_left(1);
            self.filled -= 1;
            self.decided -= 1;
        }
    }

    /// The case of `recent[at]`; `None` while a later neighbour has to be heard.
    fn verdict(&self, at: usize) -> Option<Verdict> {
        let all = self.recent.get(..self.filled)?;
        let (before, rest) = all.split_at_checked(at)?;
        let before = before.get(before.len().saturating_sub(BEFORE)..)?;
        let (sample, after) = rest.split_first()?;
        if before.is_empty() {
            return Some(Verdict::Kept);
        }
        if before.iter().any(|other| self.near(sample, other)) {
            return Some(Verdict::Kept);
        }
        let next = after.first()?;
        if self.near(sample, next) {
            return Some(Verdict::Kept);
        }
        let returned = before.iter().any(|other| self.near(next, other));
        let heard = match (returned, after.get(1)) {
            (true, _) => 1,
            (false, Some(_)) => 2,
            (false, None) => return None,
        };
        let after = after.get(..heard)?;
        let outlying = (0..2).any(|channel| {
            let neighbours = before.iter().chain(after).filter_map(|s| s.values.get(channel).copied());
            let value = sample.values.get(channel).copied().unwrap_or_default();
            self.spike.get(channel).is_some_and(|spike| outlies(value, neighbours, *spike))
        });
        Some(if outlying { Verdict::Dropped } else { Verdict::Kept })
    }

    fn near(&self, a: &Sample, b: &Sample) -> bool {
        (0..2).all(|channel| match (a.values.get(channel), b.values.get(channel), self.spike.get(channel)) {
            (Some(a), Some(b), Some(spike)) => (a - b).abs() <= *spike,
            _ => true,
        })
    }

    fn average(&mut self, sample: Sample, out: &mut impl FnMut(Sample)) {
        let Some(block_s) = self.block_s else { return out(sample) };
        let index = (sample.t_s / block_s).floor();
        let [first, second] = sample.values;
        match &mut self.block {
            // Block numbers are whole, so half a block tells them apart.
            Some(block) if (block.index - index).abs() < 0.5 => {
                block.sum_t_s += sample.t_s;
                block.sums = [block.sums[0] + first, block.sums[1] + second];
                block.count += 1.0;
            }
            block => {
                if let Some(full) =
                    block.replace(Block { index, sum_t_s: sample.t_s, sums: [first, second], count: 1.0 })
                {
                    let n = full.count;
                    out(Sample { t_s: full.sum_t_s / n, values: full.sums.map(|sum| sum / n) });
                }
            }
        }
    }
}

/// What becomes of a sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Kept,
    Dropped,
}

/// Whether a value is far from all its neighbours, against how far these are from each other. The spread is the
/// smallest range of three of them, so that one more spike among the neighbours does not excuse the first.
fn outlies(value: f64, neighbours: impl Iterator<Item = f64>, spike: f64) -> bool {
    let mut sorted = [f64::INFINITY; BEFORE + 2];
    let mut count = 0;
    for (slot, neighbour) in sorted.iter_mut().zip(neighbours) {
        *slot = neighbour;
        count += 1;
    }
    sorted.sort_by(f64::total_cmp);
    let sorted = sorted.get(..count).unwrap_or_default();
    let nearest = sorted.iter().map(|n| (n - value).abs()).fold(f64::INFINITY, f64::min);
    let ranges = sorted.windows(3.min(count.max(1))).filter_map(|w| Some(w.last()? - w.first()?));
    let spread = ranges.fold(f64::INFINITY, f64::min);
    nearest > spike + SPREADS * spread
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What comes out of an intake for values 0.1 s apart.
    fn through(limits: &SettlingLimits, values: &[f64]) -> Vec<f64> {
        let mut intake = Intake::new(limits);
        let mut out = Vec::new();
        for (value, i) in values.iter().zip(0_u32..) {
            intake.push(&Sample { t_s: f64::from(i) / 10.0, values: [*value, 0.0] }, |s| out.push(s.values[0]));
        }
        out
    }

    fn check(values: &[f64], expected: &[f64]) {
        let out = through(&SettlingLimits::for_scale(0.01, 10.0, 1000.0), values);
        assert!(out.iter().map(|v| v.to_bits()).eq(expected.iter().map(|v| v.to_bits())), "{values:?} gave {out:?}");
    }

    #[test]
    fn spikes_are_dropped_and_steps_are_kept() {
        check(&[5.0, 5.0, 5.0, 50.0, 5.0, 5.0], &[5.0; 5]);
        check(&[5.0, 5.0, 5.0, 0.0, -5.0, 5.0, 5.0, 5.0], &[5.0; 6]);
        check(&[0.0, 0.0, 0.0, 50.0, 50.0, 50.0], &[0.0, 0.0, 0.0, 50.0, 50.0, 50.0]);
        // A sample in the middle of a step goes too: nothing rests there.
        check(&[0.0, 0.0, 0.0, 20.0, 50.0, 50.0], &[0.0, 0.0, 0.0, 50.0, 50.0]);
    }

    #[test]
    fn a_swing_is_no_run_of_spikes() {
        check(&[0.0, 3.0, 0.5, 3.5, 0.2, 2.9, 0.1, 3.0, 3.0], &[0.0, 3.0, 0.5, 3.5, 0.2, 2.9, 0.1, 3.0, 3.0]);
    }

    #[test]
    fn fast_samples_come_out_as_block_means_cut_in_absolute_time() {
        let mut intake = Intake::new(&SettlingLimits::for_beam(80.0));
        let mut out = Vec::new();
        for i in 0..80_u32 {
            // 80 Hz from 0.03 s on; blocks are 50 ms long.
            let t_s = 0.03 + f64::from(i) / 80.0;
            intake.push(&Sample { t_s, values: [1.0, 2.0] }, |s| out.push(s));
        }
        assert!(out.windows(2).all(|pair| (pair[1].t_s / 0.05).floor() - (pair[0].t_s / 0.05).floor() > 0.5));
        assert!((19..=21).contains(&out.len()), "{}", out.len());
    }
}
