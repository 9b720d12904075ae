//! Seeded chance: the same seed gives the same noise, parts and hands.
//!
//! Draws and random processes only; what they mean is decided by the caller.

/// A stream of random draws.
#[derive(Debug)]
pub(crate) struct Chance(fastrand::Rng);

impl Chance {
    /// An own stream for each `stream` number of one `seed`, so that adding an instrument does not change another's noise.
    pub(crate) fn new(seed: u64, stream: u64) -> Self {
        Self(fastrand::Rng::with_seed(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(stream)))
    }

    /// Evenly between `low` and `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.f64()
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller 1958, one of the pair).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.0.f64()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.0.f64()).cos()
    }

    /// True with the probability `share`.
    pub(crate) fn happens(&mut self, share: f64) -> bool {
        self.0.f64() < share
    }

    /// A whole number from `low` up to and without `high`; `low` when the range is empty.
    pub(crate) fn whole(&mut self, low: usize, high: usize) -> usize {
        if high > low { self.0.usize(low..high) } else { low }
    }

    /// Any byte.
    pub(crate) fn byte(&mut self) -> u8 {
        self.0.u8(..)
    }
}

/// A slow wander that returns to zero (Ornstein-Uhlenbeck process) with standard deviation 1.
#[derive(Debug)]
pub(crate) struct Wander {
    memory_s: f64,
    value: f64,
}

impl Wander {
    pub(crate) fn new(memory_s: f64) -> Self {
        Self { memory_s, value: 0.0 }
    }

    /// The value after `dt_s` more seconds; the step is exact for any `dt_s`.
    pub(crate) fn step(&mut self, dt_s: f64, chance: &mut Chance) -> f64 {
        let kept = (-dt_s / self.memory_s).exp();
        self.value = kept * self.value + (1.0 - kept * kept).sqrt() * chance.normal();
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_draws_have_mean_zero_and_spread_one() {
        let mut chance = Chance::new(1, 0);
        let draws: Vec<f64> = (0..20_000).map(|_| chance.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 20_000.0;
        // Standard errors: mean 1/sqrt(20000) = 0.007, variance sqrt(2/20000) = 0.01; five of each allowed.
        assert!(mean.abs() < 0.035, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.05, "variance {variance}");
    }

    #[test]
    fn streams_of_one_seed_differ_and_repeat() {
        let first = |seed, stream| Chance::new(seed, stream).between(0.0, 1.0).to_bits();
        assert_eq!(first(7, 1), first(7, 1));
        assert_ne!(first(7, 1), first(7, 2));
    }
}
