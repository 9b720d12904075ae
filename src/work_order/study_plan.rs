//! The plan of a gauge study and the order of its readings.
//!
//! The order is random, so that drift does not pass for a difference of people or parts, and follows from the plan alone,
//! so that a journal proves it.

use super::event_id::mix;
use super::order::named;
use crate::club::characteristic::Characteristic;
use crate::measurement::reading::Quantity;

/// What is studied, by whom and how often.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyPlan {
    /// Its name: `S-1`.
    pub study: String,
    /// The instrument.
    pub instrument: String,
    /// What of its readings is studied.
    pub quantity: Quantity,
    /// The characteristic it is studied for, where somebody said so.
    pub characteristic: Option<Characteristic>,
    /// How many parts.
    pub parts: u8,
    /// The people, by the names their cards carry.
    pub people: Vec<String>,
    /// How often each person measures each part.
    pub trials: u8,
    /// What the parts may vary by, where somebody said so.
    pub tolerance: Option<StudyTolerance>,
    /// Decides the order.
    pub seed: u32,
}

/// A tolerance that the instrument is to judge, in the unit of the quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyTolerance {
    /// As it was written.
    pub text: String,
    /// Smallest value accepted.
    pub lower: Option<f64>,
    /// Largest value accepted.
    pub upper: Option<f64>,
}

impl StudyTolerance {
    /// From limit to limit. `None` with one limit only: no share of it can be told.
    #[must_use]
    pub fn width(&self) -> Option<f64> {
        Some(self.upper? - self.lower?).filter(|width| *width > 0.0)
    }
}

named!(
    /// Where a study is.
    StudyStage {
        /// Its next reading is awaited.
        Open = "open",
        /// Its instrument measures clubs meanwhile.
        Aside = "aside",
        /// All readings are there.
        Finished = "finished",
        /// Given up.
        BrokenOff = "broken_off",
    }
);

/// One reading of the plan, all numbers from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Cell {
    /// The part.
    pub part: u8,
    /// The person.
    pub person: u8,
    /// The trial.
    pub trial: u8,
}

/// Numbers from a seed: splitmix64 (public domain). Stored journals rest on them, so they never change.
struct Shuffler(u64);

impl Shuffler {
    fn draw(&mut self) -> u64 {
        // `mix` adds the increment itself.
        let number = mix(self.0);
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        number
    }

    /// The numbers below `count` in random order (Fisher and Yates).
    fn shuffled(&mut self, count: u8) -> Vec<u8> {
        let mut numbers: Vec<u8> = (0..count).collect();
        for last in (1..numbers.len()).rev() {
            // Of 2^64 numbers those below `last` more are more likely by less than 1e-17.
            let other = self.draw() % (last as u64 + 1);
            numbers.swap(last, usize::try_from(other).unwrap_or(last));
        }
        numbers
    }
}

impl StudyPlan {
    /// The readings in the order they are taken: trial by trial, in each the people in random order, each of them all
    /// parts in random order. So people change seldom, and nobody remembers what a part read.
    #[must_use]
    pub fn order(&self) -> Vec<Cell> {
        let mut shuffler = Shuffler(u64::from(self.seed));
        let people = u8::try_from(self.people.len()).unwrap_or(u8::MAX);
        let mut order = Vec::new();
        for trial in 0..self.trials {
            for person in shuffler.shuffled(people) {
                order.extend(shuffler.shuffled(self.parts).into_iter().map(|part| Cell { part, person, trial }));
            }
        }
        order
    }

    /// What is thin about it, in words: fewer people, parts or trials than the usual ten, three and three.
    #[must_use]
    pub fn warnings(&self, resolution: f64) -> Vec<String> {
        let people = self.people.len();
        let mut warnings = Vec::new();
        if self.parts < 10 {
            warnings.push(format!(
                "{} parts instead of 10: how much parts vary, and the share of measuring in it, stays a rough guess",
                self.parts
            ));
        }
        if people < 3 {
            warnings.push(format!(
                "{people} people instead of 3: how people differ rests on one difference; its upper limit will be far off"
            ));
        }
        if self.trials < 3 {
            warnings.push(format!(
                "{} trials instead of 3: repeatability rests on {} repeats",
                self.trials,
                people * usize::from(self.parts) * usize::from(self.trials - 1)
            ));
        }
        match &self.tolerance {
            None => warnings.push(
                "no tolerance is given: the study can only compare the measuring with how much these parts vary".to_owned(),
            ),
            Some(tolerance) => match tolerance.width() {
                None => warnings.push(format!(
                    "\"{}\" is no limit on both sides: no share of the tolerance can be told",
                    tolerance.text
                )),
                // Common practice, no source.
                Some(width) if resolution > 0.1 * width => warnings.push(format!(
                    "the instrument shows steps of {resolution}, more than a tenth of the tolerance: it is too coarse for it"
                )),
                Some(_) => {}
            },
        }
        warnings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::HashSet;

    pub(crate) fn plan(parts: u8, people: u8, trials: u8, seed: u32) -> StudyPlan {
        StudyPlan {
            study: "S-1".into(),
            instrument: "scale".into(),
            quantity: Quantity::Mass,
            characteristic: None,
            parts,
            people: (0..people).map(|n| format!("P{n}")).collect(),
            trials,
            tolerance: None,
            seed,
        }
    }

    #[test]
    fn numbers_are_those_of_splitmix64() {
        // The first numbers for the seed 1234567, as published with the generator (from memory).
        let mut shuffler = Shuffler(1_234_567);
        for expected in [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423] {
            assert_eq!(shuffler.draw(), expected);
        }
    }

    #[test]
    fn a_thin_plan_is_said_to_be_thin() {
        let full = StudyPlan {
            tolerance: Some(StudyTolerance { text: "203 g ± 2 g".into(), lower: Some(201.0), upper: Some(205.0) }),
            ..plan(10, 3, 3, 1)
        };
        assert_eq!(full.warnings(0.01), Vec::<String>::new());
        assert!(full.warnings(0.5)[0].contains("too coarse"));
        let thin = plan(5, 2, 2, 1).warnings(0.01);
        assert!(thin.len() == 4 && thin[2].contains("10 repeats"), "{thin:?}");
    }

    proptest! {
        #[test]
        fn every_cell_comes_once_trial_by_trial_person_by_person(
            parts in 2u8..=30, people in 2u8..=10, trials in 2u8..=5, seed in any::<u32>()
        ) {
            let plan = plan(parts, people, trials, seed);
            let order = plan.order();
            prop_assert_eq!(order.len(), usize::from(parts) * usize::from(people) * usize::from(trials));
            prop_assert_eq!(order.iter().collect::<HashSet<_>>().len(), order.len());
            prop_assert!(order.iter().all(|cell| cell.part < parts && cell.person < people && cell.trial < trials));
            // A person measures all parts before the next one does, and a trial ends before the next begins.
            for block in order.chunks(usize::from(parts)) {
                prop_assert!(block.iter().all(|cell| (cell.person, cell.trial) == (block[0].person, block[0].trial)));
            }
            prop_assert!(order.is_sorted_by_key(|cell| cell.trial));
            prop_assert_eq!(&order, &plan.order());
        }
    }

    #[test]
    fn another_seed_is_another_order_and_no_part_is_favoured() {
        let first: Vec<u8> = (0..6000).map(|seed| plan(6, 2, 2, seed).order()[0].part).collect();
        for part in 0..6 {
            // 1000 each, with a standard deviation of 29 by chance.
            let count = first.iter().filter(|first| **first == part).count();
            assert!((870..=1130).contains(&count), "part {part}: {count}");
        }
        assert_ne!(plan(10, 3, 3, 1).order(), plan(10, 3, 3, 2).order());
    }
}
