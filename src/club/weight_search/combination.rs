//! One choice at each place, put together: depth first, and a branch is left when nothing in it can beat the best so far.

use std::rc::Rc;

use super::table::{Choice, Table};
use super::{Score, SearchPlace, Wanted};

/// What is chosen so far.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sum {
    moment: i64,
    mass: i64,
    pieces: u32,
    scarcity: u32,
}

impl Sum {
    fn with(self, arm: i64, choice: Choice) -> Self {
        Self {
            moment: self.moment + arm * choice.mass,
            mass: self.mass + choice.mass,
            pieces: self.pieces + choice.pieces,
            scarcity: self.scarcity + choice.scarcity,
        }
    }
}

/// A place in the order of the search, and what all places from it on can do.
struct Level {
    place: usize,
    arm: i64,
    table: Rc<Table>,
    /// Least and most moment of this and the further places.
    moment: (i64, i64),
    /// Least and most arm of this and the further places that take anything.
    arms: (i64, i64),
    /// Most mass of this and the further places.
    mass: i64,
}

/// One choice at each place, put together.
pub(super) struct Combination {
    levels: Vec<Level>,
    wanted: Wanted,
    best: Score,
    chosen: Vec<usize>,
    best_chosen: Option<Vec<usize>>,
    /// Partial sets that may still be looked at.
    pub(super) nodes: u32,
}

impl Combination {
    pub(super) fn new(places: &[SearchPlace], tables: &[Rc<Table>], wanted: Wanted, best: Score, nodes: u32) -> Self {
        let mut order: Vec<usize> = (0..places.len()).collect();
        // The longest list comes last: there the best choice is found without trying every one.
        order.sort_by_key(|place| tables[*place].choices.len());
        let mut levels: Vec<Level> = Vec::new();
        let (mut moment, mut arms, mut mass) = ((0, 0), (0, 0), 0);
        for place in order.into_iter().rev() {
            let (arm, table) = (places[place].arm_um, Rc::clone(&tables[place]));
            let most = table.choices.last().map_or(0, |choice| choice.mass);
            moment = (moment.0 + (arm * most).min(0), moment.1 + (arm * most).max(0));
            if most > 0 {
                arms = (arms.0.min(arm), arms.1.max(arm));
            }
            mass += most;
            levels.push(Level { place, arm, table, moment, arms, mass });
        }
        levels.reverse();
        let chosen = vec![0; levels.len()];
        Self { levels, wanted, best, chosen, best_chosen: None, nodes }
    }

    /// What was better than the best before, by place.
    pub(super) fn found(self) -> Option<(Score, Vec<(usize, usize)>)> {
        let chosen = self.best_chosen?;
        Some((self.best, self.levels.iter().map(|level| level.place).zip(chosen).collect()))
    }

    /// Tries what is lightest where masses can be had as wanted: the longest arm as far as it goes, then the next. It is often
    /// good, so that the search begins with something to beat; where what is wanted is out of reach nothing is better.
    pub(super) fn try_longest_arms(&mut self) {
        let Wanted { low, high, .. } = self.wanted;
        let toward_head = low > 0;
        let mut order: Vec<usize> = (0..self.levels.len()).collect();
        order.sort_by_key(|index| self.levels.get(*index).map_or(0, |l| if toward_head { -l.arm } else { l.arm }));
        let mut sum = Sum::default();
        self.chosen.fill(0);
        for index in order {
            let (Some(level), Some(chosen)) = (self.levels.get(index), self.chosen.get_mut(index)) else { continue };
            let list = &level.table.choices;
            if (level.arm > 0) == toward_head && level.arm != 0 {
                let lacks = |choice: &Choice| {
                    let moment = sum.moment + level.arm * choice.mass;
                    if toward_head { moment < low } else { moment > high }
                };
                *chosen = list.partition_point(lacks).min(list.len().saturating_sub(1));
            }
            if let Some(choice) = list.get(*chosen) {
                sum = sum.with(level.arm, *choice);
            }
        }
        self.keep(sum);
    }

    /// Keeps what is chosen if it is better than the best so far.
    fn keep(&mut self, sum: Sum) {
        let score = self.wanted.score(sum.moment, sum.mass, sum.pieces, sum.scarcity);
        if score < self.best {
            self.best = score;
            self.best_chosen = Some(self.chosen.clone());
        }
    }

    pub(super) fn descend(&mut self, depth: usize, sum: Sum) {
        let Some(level) = self.levels.get(depth) else { return };
        let Some(left) = self.nodes.checked_sub(1) else { return };
        self.nodes = left;
        let (arm, table) = (level.arm, Rc::clone(&level.table));
        if depth + 1 == self.levels.len() {
            for choice in self.last_choices(arm, &table, sum) {
                let Some(found) = table.choices.get(choice) else { continue };
                self.chosen[depth] = choice;
                self.keep(sum.with(arm, *found));
            }
            return;
        }
        let (from, behind) = self.may_be_good(depth, sum);
        for (choice, found) in table.choices.iter().enumerate().take(behind).skip(from) {
            let with = sum.with(arm, *found);
            if self.best.miss == 0 && self.best.mass_miss == 0 && with.mass > self.best.mass {
                // Lists are in the order of mass: from here on every set is heavier.
                break;
            }
            if self.bound(depth + 1, with) < self.best {
                self.chosen[depth] = choice;
                self.descend(depth + 1, with);
            }
        }
    }

    /// The choices at a place, from and behind, with which the further places can still bring a good moment; all of them
    /// while nothing good is known.
    fn may_be_good(&self, depth: usize, sum: Sum) -> (usize, usize) {
        let (Some(level), Some(next)) = (self.levels.get(depth), self.levels.get(depth + 1)) else { return (0, 0) };
        let list = &level.table.choices;
        if self.best.miss > 0 {
            return (0, list.len());
        }
        let moment = |choice: &Choice| sum.moment + level.arm * choice.mass;
        let is_short = |choice: &Choice| moment(choice) + next.moment.1 < self.wanted.low;
        let is_beyond = |choice: &Choice| moment(choice) + next.moment.0 > self.wanted.high;
        match level.arm.signum() {
            1 => (list.partition_point(is_short), list.partition_point(|choice| !is_beyond(choice))),
            -1 => (list.partition_point(is_beyond), list.partition_point(|choice| !is_short(choice))),
            // At the fulcrum the moment stays as it is, good or not.
            _ => (0, list.len()),
        }
    }

    /// A score that no continuation from `depth` on can be better than.
    fn bound(&self, depth: usize, sum: Sum) -> Score {
        let Sum { moment, mass, pieces, scarcity } = sum;
        let nothing_known = Score { miss: 0, mass_miss: 0, mass, pieces, scarcity };
        let Some(level) = self.levels.get(depth) else { return nothing_known };
        let Wanted { low, aim, high, mass_low, .. } = self.wanted;
        let (least, most) = (moment + level.moment.0, moment + level.moment.1);
        if most < low || least > high {
            return Score { miss: if most < low { aim - most } else { least - aim }, ..nothing_known };
        }
        if self.best.miss > 0 {
            return nothing_known;
        }
        // Only a good moment can still be better, so what lacks must come, at best from the longest arm.
        let lacks = if moment < low { low - moment } else { (high - moment).min(0) };
        let arm = if lacks > 0 { level.arms.1 } else { level.arms.0 };
        let more = if lacks == 0 { 0 } else { (lacks / arm) + i64::from(lacks % arm != 0) };
        let mass_miss = self.wanted.mass_miss(mass + more, mass + level.mass);
        let for_mass = if self.best.mass_miss == 0 { mass_low } else { i64::MIN };
        let pieces = pieces + u32::from(more > 0);
        Score { miss: 0, mass_miss, mass: (mass + more).max(for_mass), pieces, scarcity }
    }

    /// The choices at the last place among which the best is: moment and mass rise or fall along the list.
    fn last_choices(&self, arm: i64, table: &Table, sum: Sum) -> [usize; 2] {
        let Wanted { low, aim, high, mass_low, .. } = self.wanted;
        let list = &table.choices;
        let last = list.len().saturating_sub(1);
        let moment = |choice: &Choice| sum.moment + arm * choice.mass;
        let heavy_enough = list.partition_point(|choice| sum.mass + choice.mass < mass_low);
        let (from, behind) = match arm.signum() {
            1 => (list.partition_point(|c| moment(c) < low), list.partition_point(|c| moment(c) <= high)),
            -1 => (list.partition_point(|c| moment(c) > high), list.partition_point(|c| moment(c) >= low)),
            // At the fulcrum the moment stays as it is, good or not.
            _ => (0, list.len()),
        };
        if from < behind {
            return [heavy_enough, heavy_enough.saturating_sub(1)].map(|choice| choice.clamp(from, behind - 1));
        }
        let past =
            if arm > 0 { list.partition_point(|c| moment(c) < aim) } else { list.partition_point(|c| moment(c) > aim) };
        [past.saturating_sub(1).min(last), past.min(last)]
    }
}
