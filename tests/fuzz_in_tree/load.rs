//! A hand that lays loads down and lifts them, and what an instrument with noise shows of it. All from one seed.

use crate::wire::{Measures, Shown};

/// Chance that can be repeated: splitmix64 (public domain), from memory.
#[derive(Debug, Clone)]
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^ (x >> 31)
    }

    /// From 0 to below `limit`.
    pub(crate) fn below(&mut self, limit: u32) -> u32 {
        u32::try_from(((self.word() >> 32) * u64::from(limit.max(1))) >> 32).unwrap()
    }

    pub(crate) fn index(&mut self, length: usize) -> usize {
        usize::try_from(self.below(u32::try_from(length).unwrap())).unwrap()
    }

    pub(crate) fn byte(&mut self) -> u8 {
        u8::try_from(self.below(256)).unwrap()
    }

    /// From 0 to below 1.
    pub(crate) fn share(&mut self) -> f64 {
        f64::from(self.below(u32::MAX)) / f64::from(u32::MAX)
    }

    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }
}

/// A load on the instrument: total in grams and where its mass is, or lie and loft in degrees.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Load {
    pub(crate) first: f64,
    pub(crate) second: f64,
}

const NOTHING: Load = Load { first: 0.0, second: 0.0 };

/// Lays down and lifts for ever.
pub(crate) struct Hand {
    measures: Measures,
    now: Load,
    before: Load,
    since_s: f64,
    until_s: f64,
    pub(crate) placements: u64,
}

impl Hand {
    pub(crate) fn new(measures: Measures) -> Self {
        Self { measures, now: NOTHING, before: NOTHING, since_s: 0.0, until_s: 3.0, placements: 0 }
    }

    /// What lies there, if something does.
    pub(crate) fn load(&self) -> Option<Load> {
        (self.now.first > 0.0).then_some(self.now)
    }

    /// What lay there before.
    pub(crate) fn load_before(&self) -> Option<Load> {
        (self.before.first > 0.0).then_some(self.before)
    }

    /// Whether the hand did something just now.
    pub(crate) fn act(&mut self, t_s: f64, dice: &mut Dice) -> bool {
        if t_s < self.until_s {
            return false;
        }
        self.before = self.now;
        self.now = if self.load().is_some() {
            self.until_s = t_s + 2.5 + 2.0 * dice.share();
            NOTHING
        } else {
            self.until_s = t_s + 6.0 + 4.0 * dice.share();
            self.placements += 1;
            match self.measures {
                Measures::Mass => Load { first: 20.0 + 900.0 * dice.share(), second: 0.0 },
                Measures::Cells => Load { first: 300.0 + 200.0 * dice.share(), second: 650.0 + 200.0 * dice.share() },
                Measures::Angles => Load { first: 55.0 + 15.0 * dice.share(), second: 9.0 + 50.0 * dice.share() },
            }
        };
        self.since_s = t_s;
        true
    }

    /// What the instrument shows: it swings to the new load within half a second, with a step of noise.
    pub(crate) fn shown(&self, t_s: f64, dice: &mut Dice) -> Shown {
        let since_s = t_s - self.since_s;
        let swing = (-since_s / 0.12).exp() * (since_s * 9.0).cos();
        let of = |now: f64, before: f64| now + (before - now) * swing;
        let (first, second) = (of(self.now.first, self.before.first), of(self.now.second, self.before.second));
        let noise = |dice: &mut Dice, size: f64| (dice.share() + dice.share() - 1.0) * size;
        #[expect(clippy::cast_possible_truncation, reason = "thousands of steps")]
        let steps = |value: f64| value.round() as i32;
        let moving = since_s < 0.8;
        match self.measures {
            Measures::Mass => Shown { first: steps((first + noise(dice, 0.06)) * 10.0).max(0), second: 0, moving },
            Measures::Angles => Shown {
                first: steps((first + noise(dice, 0.01)) * 100.0),
                second: steps((second + noise(dice, 0.01)) * 100.0),
                moving,
            },
            Measures::Cells => {
                // Two supports at 100 and 840 mm: the second carries the moment about the first.
                let r2 = first * (second - 100.0) / 740.0;
                Shown {
                    first: steps((first - r2 + noise(dice, 0.03)) * 1000.0),
                    second: steps((r2 + noise(dice, 0.03)) * 1000.0),
                    moving,
                }
            }
        }
    }
}
