//! Parts given to clubs that are to be alike in a value nobody has asked for: the common value is sought with the parts.
//!
//! Costs without the common value, the value of each club with each choice of parts, and the half tolerances it counts in
//! come in; who gets what, the common value, and a bound that no choice can be below go out. What the value is, is somebody
//! else's business.
//!
//! For one choice of parts the sum over the common value c is a parabola of curvature K = Σ 1/h² (h: half tolerances of the
//! clubs that share it). So within [a, b] with middle m and half width w, no sum is below the least of f(a), f(b) and
//! f(m) − K w², where f(c) is the smallest sum for c: a parabola that falls to its lowest point inside has fallen from m by
//! no more than K w², and one whose lowest point is outside is lowest at an end. Intervals are halved, the one with the
//! lowest bound first, until none can hold anything better (own derivation; a search through everything checks it).

use super::assignment::{Assignment, AssignmentError, Costs, KINDS, assign};

/// Differences of the sum that are not worth looking for.
pub const WITHIN: f64 = 0.01;
/// Common values that are tried first.
const STARTS: u32 = 9;
/// Common values looked at at most.
const MOST_VALUES: u32 = 250;
/// Partial plans looked at for all of them together, and for each of them while that lasts.
const SEARCH_IN_ALL: u32 = 40_000;
const SEARCH_EACH: u32 = 2_000;
/// For each of them afterwards.
const SEARCH_AT_LEAST: u32 = 50;

/// What clubs without a target of their own share.
pub struct Shared<'a> {
    /// Costs of everything else; infinite where parts cannot go together.
    pub base: &'a Costs,
    /// The value of each club with each choice of parts, in its unit.
    pub values: &'a Costs,
    /// Half tolerance of each club that shares the value, in its unit; `None`: it has a target of its own, in `base`.
    pub halves: &'a [Option<f64>],
}

/// Parts and the common value.
#[derive(Debug, Clone, PartialEq)]
pub struct Common {
    /// Who gets what; proved within [`WITHIN`].
    pub assignment: Assignment,
    /// The common value.
    pub value: f64,
}

/// Finds parts and common value.
///
/// # Errors
/// Too few parts of a kind, none that fit every club, or no club that shares the value.
pub fn assign_with_common(shared: &Shared<'_>) -> Result<Common, AssignmentError> {
    let mut search = Search { shared, best: None, left: SEARCH_IN_ALL, values: 0 };
    let (low, high) = search.reach().ok_or(AssignmentError::NothingFits)?;
    let curvature: f64 = shared.halves.iter().flatten().map(|half| half.powi(-2)).sum();
    let mut ends = Vec::new();
    for start in 0..STARTS {
        let at = low + (high - low) * f64::from(start) / f64::from(STARTS - 1);
        ends.push((at, search.at(at)?));
    }
    let mut open = Vec::new();
    for pair in ends.windows(2) {
        open.push(search.interval(pair[0], pair[1], curvature)?);
    }
    loop {
        let best = search.best.as_ref().map_or(f64::INFINITY, |best| best.assignment.cost);
        open.retain(|interval| interval.at_least < best - WITHIN);
        let lowest = (0..open.len()).min_by(|a, b| open[*a].at_least.total_cmp(&open[*b].at_least));
        let Some(lowest) = lowest.filter(|_| search.values < MOST_VALUES) else { break };
        let Interval { from, middle, to, .. } = open.swap_remove(lowest);
        open.push(search.interval(from, middle, curvature)?);
        open.push(search.interval(middle, to, curvature)?);
    }
    let mut best = search.best.ok_or(AssignmentError::NothingFits)?;
    let found = &mut best.assignment;
    found.proved = open.is_empty();
    found.at_least = open.iter().map(|interval| interval.at_least).fold(found.cost - WITHIN, f64::min).max(0.0);
    Ok(best)
}

/// Common values from one to another, with what no sum between them can be below.
struct Interval {
    from: (f64, f64),
    middle: (f64, f64),
    to: (f64, f64),
    at_least: f64,
}

struct Search<'a> {
    shared: &'a Shared<'a>,
    best: Option<Common>,
    left: u32,
    values: u32,
}

impl Search<'_> {
    /// Lowest and highest value that a club which shares it can have: beyond them no common value is better.
    fn reach(&self) -> Option<(f64, f64)> {
        let Shared { base, values, halves } = self.shared;
        let sharing = halves.iter().enumerate().filter(|(_, half)| half.is_some()).map(|(club, _)| club);
        let all = sharing.flat_map(|club| base.fitting(club).map(move |parts| values.at(club, parts)));
        all.fold(None, |reach: Option<(f64, f64)>, value| {
            Some(reach.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
        })
    }

    /// What no sum with this common value can be below. What is found there is kept if it is the best so far.
    fn at(&mut self, common: f64) -> Result<f64, AssignmentError> {
        let Shared { base, values, halves } = self.shared;
        let costs = base.with(|club, parts| {
            halves.get(club).copied().flatten().map_or(0.0, |half| ((values.at(club, parts) - common) / half).powi(2))
        });
        let may_look_at = SEARCH_EACH.min(self.left).max(SEARCH_AT_LEAST);
        let mut found = assign(&costs, may_look_at)?;
        self.left = self.left.saturating_sub(found.looked_at);
        self.values += 1;
        let at_least = found.at_least;
        // For these parts another common value may be better still.
        let value = self.mean(&found.parts);
        let square = |(club, half): (usize, &Option<f64>)| {
            let off = values.at(club, *found.parts.get(club)?) - value;
            Some((off / (*half)?).powi(2))
        };
        let squares: f64 = halves.iter().enumerate().filter_map(square).sum();
        found.cost = base.total(&found.parts) + squares;
        if self.best.as_ref().is_none_or(|best| found.cost < best.assignment.cost) {
            self.best = Some(Common { assignment: found, value });
        }
        Ok(at_least)
    }

    /// The common value that is best for these parts: the mean, each club by its tolerance.
    fn mean(&self, parts: &[[usize; KINDS]]) -> f64 {
        let Shared { values, halves, .. } = self.shared;
        let (mut sum, mut weights) = (0.0, 0.0);
        for ((club, parts), half) in parts.iter().enumerate().zip(*halves) {
            if let Some(half) = half {
                sum += values.at(club, *parts) * half.powi(-2);
                weights += half.powi(-2);
            }
        }
        sum / weights
    }

    fn interval(&mut self, from: (f64, f64), to: (f64, f64), curvature: f64) -> Result<Interval, AssignmentError> {
        let (middle, half_width) = (f64::midpoint(from.0, to.0), (to.0 - from.0) / 2.0);
        let middle = (middle, self.at(middle)?);
        let at_least = from.1.min(to.1).min(middle.1 - curvature * half_width * half_width);
        Ok(Interval { from, middle, to, at_least })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::assignment::tests::number;

    /// The smallest sum over every choice of parts, each with the common value that is best for it.
    fn by_brute_force(shared: &Shared<'_>, clubs: usize, chosen: &mut Vec<[usize; KINDS]>) -> f64 {
        let club = chosen.len();
        if club == clubs {
            let of = |club: usize| shared.halves[club].map(|half| (shared.values.at(club, chosen[club]), half));
            let values: Vec<(f64, f64)> = (0..clubs).filter_map(of).collect();
            let weights: f64 = values.iter().map(|(_, half)| half.powi(-2)).sum();
            let mean = values.iter().map(|(value, half)| value * half.powi(-2)).sum::<f64>() / weights;
            let squares: f64 = values.iter().map(|(value, half)| ((value - mean) / half).powi(2)).sum();
            return shared.base.total(chosen) + squares;
        }
        let mut best = f64::INFINITY;
        let fitting: Vec<_> = shared.base.fitting(club).collect();
        for parts in fitting {
            if chosen.iter().all(|other| (0..KINDS).all(|kind| other[kind] != parts[kind])) {
                chosen.push(parts);
                best = best.min(by_brute_force(shared, clubs, chosen));
                chosen.pop();
            }
        }
        best
    }

    #[test]
    fn small_sets_get_the_best_common_value_there_is_and_proved() {
        for seed in 0..12u64 {
            for (clubs, parts) in [(2usize, [3, 3, 2]), (3, [3, 4, 3]), (4, [4, 4, 4])] {
                let draw = |a: usize, b: usize, c: usize| {
                    number(seed * 1_000_000 + u64::try_from(a * 10_000 + b * 100 + c).unwrap())
                };
                // Heads that differ by some grams and clubs by their lengths, in kg·cm², with half tolerances of 5.
                let values = Costs::new(clubs, parts, |club, [head, shaft, grip]| {
                    2600.0 + 60.0 * draw(1, club, head) + 25.0 * draw(2, club, shaft) + 4.0 * draw(3, club, grip)
                });
                let base = Costs::new(clubs, parts, |club, [head, shaft, grip]| {
                    let fits = club != 1 || head != 0;
                    if fits {
                        3.0 * draw(4, club, head) + draw(5, club, shaft) + draw(6, club, grip)
                    } else {
                        f64::INFINITY
                    }
                });
                // The first club of the larger sets has a target of its own.
                let halves: Vec<_> = (0..clubs).map(|club| (club > 0 || clubs < 4).then_some(5.0)).collect();
                let shared = Shared { base: &base, values: &values, halves: &halves };
                let found = assign_with_common(&shared).unwrap();
                let best = by_brute_force(&shared, clubs, &mut Vec::new());
                let Assignment { cost, at_least, proved, .. } = found.assignment;
                assert!(proved, "{seed} {clubs}: {cost} at least {at_least}");
                assert!(cost <= best + WITHIN && at_least <= best + 1e-9, "{seed} {clubs}: {cost}, the best is {best}");
            }
        }
    }

    #[test]
    fn two_clubs_meet_in_the_middle() {
        // By hand: 10 and 14 in half tolerances of 2 meet at 12, each one half tolerance off.
        let values = Costs::new(2, [2, 2, 2], |club, _| if club == 0 { 10.0 } else { 14.0 });
        let base = Costs::new(2, [2, 2, 2], |_, _| 0.0);
        let found =
            assign_with_common(&Shared { base: &base, values: &values, halves: &[Some(2.0), Some(2.0)] }).unwrap();
        assert!((found.value - 12.0).abs() < 1e-9 && (found.assignment.cost - 2.0).abs() < 1e-9);
        let none = Costs::new(2, [2, 2, 2], |_, _| f64::INFINITY);
        let nothing = assign_with_common(&Shared { base: &none, values: &values, halves: &[Some(2.0), Some(2.0)] });
        assert_eq!(nothing, Err(AssignmentError::NothingFits));
    }
}
