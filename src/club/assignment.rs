//! Parts given to clubs so that a sum of costs is smallest: each club gets a head, a shaft and a grip, no part twice.
//!
//! A table of costs comes in, who gets what goes out, with whether it is proved to be the best. What a cost means is
//! somebody else's business.
//!
//! One kind of part alone is the assignment problem and is solved exactly (Hungarian method, crate `pathfinding`). Three
//! kinds at once are not (the axial assignment problem is NP-hard): one kind after the other is solved exactly with the
//! two others held, from several starts, until nothing gets better; then branch and bound looks for something better
//! still, with a lower bound from each kind alone. If it comes to its end the answer is proved, else its bound is told.

use pathfinding::prelude::{Matrix, kuhn_munkres_min};

/// Kinds of part: heads, shafts, grips.
pub const KINDS: usize = 3;
/// Costs are counted in millionths for the exact solver; sums differ from the true ones by less than a hundred-thousandth.
const SCALE: f64 = 1e6;
/// A cost above this is as bad as any.
const WORST: f64 = 1e6;
/// What a part costs that must not go there.
const FORBIDDEN: i64 = 1 << 50;
/// Partial plans to look at before a search for a proof ends: some seconds for a large set.
pub const SEARCH_FOR_PROOF: u32 = 20_000;

/// What it costs to give a club these parts: `at(club, [head, shaft, grip])`; infinite where they cannot go together.
#[derive(Debug, Clone)]
pub struct Costs {
    clubs: usize,
    parts: [usize; KINDS],
    cost: Vec<f64>,
}

/// Why nothing can be assigned.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AssignmentError {
    /// More clubs than parts of a kind.
    #[error("{clubs} clubs want {kind} and there are {parts}")]
    TooFew {
        /// Index of the kind: 0 heads, 1 shafts, 2 grips.
        kind: usize,
        /// Clubs.
        clubs: usize,
        /// Parts of that kind.
        parts: usize,
    },
    /// There are enough parts, but they do not fit.
    #[error("no choice of parts fits every club")]
    NothingFits,
}

/// Who gets what.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    /// Head, shaft and grip of each club, by index.
    pub parts: Vec<[usize; KINDS]>,
    /// The sum of the costs.
    pub cost: f64,
    /// No assignment costs less than this.
    pub at_least: f64,
    /// Whether this one is proved to be the best.
    pub proved: bool,
    /// Partial plans that were looked at for the proof.
    pub looked_at: u32,
}

impl Costs {
    /// A table of costs, asked for once each.
    pub fn new(clubs: usize, parts: [usize; KINDS], mut cost: impl FnMut(usize, [usize; KINDS]) -> f64) -> Self {
        let [heads, shafts, grips] = parts;
        let mut table = Vec::with_capacity(clubs * heads * shafts * grips);
        for club in 0..clubs {
            for head in 0..heads {
                for shaft in 0..shafts {
                    table.extend((0..grips).map(|grip| cost(club, [head, shaft, grip])));
                }
            }
        }
        Self { clubs, parts, cost: table }
    }

    /// The cost of a club with these parts.
    #[must_use]
    pub fn at(&self, club: usize, [head, shaft, grip]: [usize; KINDS]) -> f64 {
        let [heads, shafts, grips] = self.parts;
        let index = ((club * heads + head) * shafts + shaft) * grips + grip;
        self.cost.get(index).copied().unwrap_or(f64::INFINITY)
    }

    /// The same costs with something added to each that fits.
    #[must_use]
    pub fn with(&self, more: impl Fn(usize, [usize; KINDS]) -> f64) -> Self {
        Self::new(self.clubs, self.parts, |club, parts| {
            let cost = self.at(club, parts);
            if cost.is_finite() { cost + more(club, parts) } else { cost }
        })
    }

    /// Every choice of parts that fits a club.
    pub fn fitting(&self, club: usize) -> impl Iterator<Item = [usize; KINDS]> {
        let [heads, shafts, grips] = self.parts;
        let all = (0..heads).flat_map(move |h| (0..shafts).flat_map(move |s| (0..grips).map(move |g| [h, s, g])));
        all.filter(move |parts| self.at(club, *parts).is_finite())
    }

    /// The sum over clubs with these parts.
    #[must_use]
    pub fn total(&self, parts: &[[usize; KINDS]]) -> f64 {
        parts.iter().enumerate().map(|(club, parts)| self.at(club, *parts)).sum()
    }

    /// All choices of parts of a club that fit, the cheapest first.
    fn choices(&self, club: usize) -> Vec<(f64, [usize; KINDS])> {
        let mut choices: Vec<_> = self.fitting(club).map(|parts| (self.at(club, parts), parts)).collect();
        choices.sort_by(|a, b| a.0.total_cmp(&b.0));
        choices
    }
}

/// Finds the cheapest assignment; the search for a proof looks at no more than `search` partial plans.
///
/// # Errors
/// Too few parts of a kind, or none that fit every club.
pub fn assign(costs: &Costs, search: u32) -> Result<Assignment, AssignmentError> {
    for (kind, parts) in costs.parts.into_iter().enumerate() {
        if parts < costs.clubs {
            return Err(AssignmentError::TooFew { kind, clubs: costs.clubs, parts });
        }
    }
    let choices: Vec<_> = (0..costs.clubs).map(|club| costs.choices(club)).collect();
    let cheapest = cheapest_of_each_kind(costs, &choices);
    let rows: Vec<usize> = (0..costs.clubs).collect();
    let at_least = bound(&cheapest, &rows, &[const { Vec::new() }; KINDS]).ok_or(AssignmentError::NothingFits)?;
    let mut search = Search {
        costs,
        choices: &choices,
        cheapest: &cheapest,
        best: alternate(costs, &cheapest),
        looked_at: 0,
        may_look_at: search,
    };
    let proved = search.go(&mut Vec::new(), 0.0, at_least);
    let looked_at = search.looked_at;
    let best = search.best.ok_or(AssignmentError::NothingFits)?;
    let cost = costs.total(&best);
    let at_least = if proved { cost } else { at_least.min(cost) };
    Ok(Assignment { parts: best, cost, at_least, proved, looked_at })
}

/// Lowest cost of each club with each part of each kind, whatever the other two are: `[kind][club][part]`.
type Cheapest = [Vec<Vec<f64>>; KINDS];

fn cheapest_of_each_kind(costs: &Costs, choices: &[Vec<(f64, [usize; KINDS])>]) -> Cheapest {
    std::array::from_fn(|kind| {
        let lowest = |club: &Vec<(f64, [usize; KINDS])>| {
            let mut lowest = vec![f64::INFINITY; costs.parts[kind]];
            // From the dearest on: what stays is the lowest.
            for (cost, parts) in club.iter().rev() {
                lowest[parts[kind]] = *cost;
            }
            lowest
        };
        choices.iter().map(lowest).collect()
    })
}

/// The exact assignment of one kind of part to some clubs: which part each gets, and the sum; `None` if none fits.
fn one_kind(rows: usize, parts: usize, cost: impl Fn(usize, usize) -> f64) -> Option<(Vec<usize>, f64)> {
    if rows == 0 {
        return Some((Vec::new(), 0.0));
    }
    #[expect(clippy::cast_possible_truncation, reason = "bounded by WORST times SCALE")]
    let scaled = |cost: f64| if cost.is_finite() { (cost.min(WORST) * SCALE).round() as i64 } else { FORBIDDEN };
    let table =
        Matrix::from_rows((0..rows).map(|row| (0..parts).map(|part| scaled(cost(row, part))).collect::<Vec<_>>()));
    let (_, chosen) = kuhn_munkres_min(&table.ok()?);
    let sum: f64 = chosen.iter().enumerate().map(|(row, part)| cost(row, *part)).sum();
    sum.is_finite().then_some((chosen, sum))
}

/// A sum that no assignment of these clubs can be below, without the parts that are used: the largest over the kinds.
fn bound(cheapest: &Cheapest, clubs: &[usize], used: &[Vec<usize>; KINDS]) -> Option<f64> {
    let mut largest = 0.0f64;
    for (of_kind, used) in cheapest.iter().zip(used) {
        let parts = of_kind.first().map_or(0, Vec::len);
        let cost =
            |row: usize, part: usize| if used.contains(&part) { f64::INFINITY } else { of_kind[clubs[row]][part] };
        largest = largest.max(one_kind(clubs.len(), parts, cost)?.1);
    }
    Some(largest)
}

/// One kind after the other, from every order of the kinds.
fn alternate(costs: &Costs, cheapest: &Cheapest) -> Option<Vec<[usize; KINDS]>> {
    const ORDERS: [[usize; KINDS]; 6] = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
    let starts = ORDERS.iter().filter_map(|order| {
        let mut parts = start(costs, cheapest, *order)?;
        improve(costs, &mut parts, *order);
        Some(parts)
    });
    starts.min_by(|a, b| costs.total(a).total_cmp(&costs.total(b)))
}

/// A first assignment: each kind by what is cheapest with the kinds chosen before.
fn start(costs: &Costs, cheapest: &Cheapest, [first, second, third]: [usize; KINDS]) -> Option<Vec<[usize; KINDS]>> {
    let clubs = costs.clubs;
    let mut parts = vec![[0; KINDS]; clubs];
    let (chosen, _) = one_kind(clubs, costs.parts[first], |club, part| cheapest[first][club][part])?;
    let with = |club: usize, kinds: &[(usize, usize)]| {
        let mut parts = [0; KINDS];
        for (kind, part) in kinds {
            parts[*kind] = *part;
        }
        costs.at(club, parts)
    };
    let lowest = |club: usize, part: usize| {
        (0..costs.parts[third])
            .map(|other| with(club, &[(first, chosen[club]), (second, part), (third, other)]))
            .fold(f64::INFINITY, f64::min)
    };
    let (next, _) = one_kind(clubs, costs.parts[second], lowest)?;
    let last = |club: usize, part: usize| with(club, &[(first, chosen[club]), (second, next[club]), (third, part)]);
    let (last, _) = one_kind(clubs, costs.parts[third], last)?;
    for (club, parts) in parts.iter_mut().enumerate() {
        (parts[first], parts[second], parts[third]) = (chosen[club], next[club], last[club]);
    }
    Some(parts)
}

/// Solves one kind after the other with the two others held, until no kind gets better.
fn improve(costs: &Costs, parts: &mut [[usize; KINDS]], order: [usize; KINDS]) {
    let mut before = costs.total(parts);
    loop {
        for kind in order {
            let cost = |club: usize, part: usize| {
                let mut with = parts[club];
                with[kind] = part;
                costs.at(club, with)
            };
            if let Some((chosen, sum)) = one_kind(parts.len(), costs.parts[kind], cost)
                && sum < before
            {
                for (parts, part) in parts.iter_mut().zip(chosen) {
                    parts[kind] = part;
                }
            }
        }
        let after = costs.total(parts);
        // Costs are counted in millionths: less than that is no progress.
        if after > before - 1.0 / SCALE {
            return;
        }
        before = after;
    }
}

/// Branch and bound over the clubs, one after the other.
struct Search<'a> {
    costs: &'a Costs,
    choices: &'a [Vec<(f64, [usize; KINDS])>],
    cheapest: &'a Cheapest,
    best: Option<Vec<[usize; KINDS]>>,
    looked_at: u32,
    may_look_at: u32,
}

impl Search<'_> {
    /// Looks for something better than `best` behind what is chosen so far; false if it gave up.
    fn go(&mut self, chosen: &mut Vec<[usize; KINDS]>, so_far: f64, rest_at_least: f64) -> bool {
        let club = chosen.len();
        let best = self.best.as_ref().map_or(f64::INFINITY, |best| self.costs.total(best));
        if club == self.costs.clubs {
            if so_far < best {
                self.best = Some(chosen.clone());
            }
            return true;
        }
        if so_far + rest_at_least >= best - 1.0 / SCALE {
            return true;
        }
        let used: [Vec<usize>; KINDS] = std::array::from_fn(|kind| chosen.iter().map(|parts| parts[kind]).collect());
        let rest: Vec<usize> = (club + 1..self.costs.clubs).collect();
        let Some(behind_at_least) = bound(self.cheapest, &rest, &used) else { return true };
        for (cost, parts) in &self.choices[club] {
            if parts.iter().zip(&used).any(|(part, used)| used.contains(part)) {
                continue;
            }
            let best = self.best.as_ref().map_or(f64::INFINITY, |best| self.costs.total(best));
            // Cheapest first: what follows is no better.
            if so_far + cost + behind_at_least >= best - 1.0 / SCALE {
                break;
            }
            self.looked_at += 1;
            if self.looked_at > self.may_look_at {
                return false;
            }
            let mut with = used.clone();
            for (used, part) in with.iter_mut().zip(parts) {
                used.push(*part);
            }
            if let Some(at_least) = bound(self.cheapest, &rest, &with) {
                chosen.push(*parts);
                let ended = self.go(chosen, so_far + cost, at_least);
                chosen.pop();
                if !ended {
                    return false;
                }
            }
        }
        true
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// The finaliser of splitmix64, for numbers from 0 to 1 that repeat.
    pub(in crate::club) fn number(seed: u64) -> f64 {
        let mut x = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        #[expect(clippy::cast_precision_loss, reason = "a number from 0 to 1")]
        let share = ((x ^ (x >> 31)) >> 11) as f64 / (1u64 << 53) as f64;
        share
    }

    /// Every assignment there is, one after the other.
    fn by_brute_force(costs: &Costs) -> f64 {
        type Choices = Vec<Vec<(f64, [usize; KINDS])>>;
        fn go(choices: &Choices, chosen: &mut Vec<[usize; KINDS]>, so_far: f64, best: &mut f64) {
            let Some(club) = choices.get(chosen.len()) else {
                *best = best.min(so_far);
                return;
            };
            for (cost, parts) in club {
                if chosen.iter().all(|other| (0..KINDS).all(|kind| other[kind] != parts[kind])) {
                    chosen.push(*parts);
                    go(choices, chosen, so_far + cost, best);
                    chosen.pop();
                }
            }
        }
        let choices = (0..costs.clubs).map(|club| costs.choices(club)).collect();
        let mut best = f64::INFINITY;
        go(&choices, &mut Vec::new(), 0.0, &mut best);
        best
    }

    /// Costs as a set has them: squares of a sum of what each part adds, so that the kinds are not independent.
    fn like_a_set(seed: u64, clubs: usize, parts: [usize; KINDS]) -> Costs {
        let draw = |a: u64, b: usize, c: usize| {
            let index = a * 1000 + u64::try_from(b * 100 + c).unwrap();
            6.0 * (number(seed * 1_000_000 + index) - 0.5)
        };
        Costs::new(clubs, parts, |club, [head, shaft, grip]| {
            let off = draw(1, club, head) + draw(2, club, shaft) + draw(3, club, grip);
            off * off
        })
    }

    #[test]
    fn small_sets_get_the_very_best() {
        for seed in 0..20 {
            for (clubs, parts) in [(1, [2, 2, 2]), (2, [2, 3, 3]), (3, [3, 3, 4]), (4, [4, 4, 4])] {
                let costs = like_a_set(seed, clubs, parts);
                let found = assign(&costs, SEARCH_FOR_PROOF).unwrap();
                let best = by_brute_force(&costs);
                assert!((found.cost - best).abs() < 1e-5, "{seed} {clubs}: {} instead of {best}", found.cost);
                assert!(found.proved && (found.at_least - found.cost).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn one_kind_after_the_other_alone_is_not_always_the_best() {
        // Why there is a search behind it: on some of these the alternating way stays behind.
        let behind = (0..20).filter(|seed| {
            let costs = like_a_set(*seed, 4, [4, 4, 4]);
            let choices: Vec<_> = (0..4).map(|club| costs.choices(club)).collect();
            let found = alternate(&costs, &cheapest_of_each_kind(&costs, &choices)).unwrap();
            costs.total(&found) > by_brute_force(&costs) + 1e-5
        });
        assert!(behind.count() > 0);
    }

    #[test]
    fn a_part_is_never_given_twice_and_never_where_it_does_not_fit() {
        let fits = |club: usize, head: usize| head / 2 == club;
        let free = like_a_set(5, 6, [12, 9, 8]);
        let costs = Costs::new(
            6,
            [12, 9, 8],
            |club, parts @ [head, ..]| {
                if fits(club, head) { free.at(club, parts) } else { f64::INFINITY }
            },
        );
        let found = assign(&costs, SEARCH_FOR_PROOF).unwrap();
        for kind in 0..KINDS {
            let mut given: Vec<usize> = found.parts.iter().map(|parts| parts[kind]).collect();
            given.sort_unstable();
            given.dedup();
            assert_eq!(given.len(), 6);
        }
        assert!(found.parts.iter().enumerate().all(|(club, [head, ..])| fits(club, *head)));
        assert!(found.at_least <= found.cost);
    }

    #[test]
    fn what_cannot_be_assigned_says_why() {
        let few = Costs::new(3, [3, 2, 3], |_, _| 1.0);
        assert_eq!(assign(&few, SEARCH_FOR_PROOF), Err(AssignmentError::TooFew { kind: 1, clubs: 3, parts: 2 }));
        // Two clubs that both take the first head only.
        let same = Costs::new(2, [2, 2, 2], |_, [head, ..]| if head == 0 { 1.0 } else { f64::INFINITY });
        assert_eq!(assign(&same, SEARCH_FOR_PROOF), Err(AssignmentError::NothingFits));
    }

    #[test]
    fn a_textbook_assignment_comes_out_as_printed() {
        // By hand: rows (4 1 3), (2 0 5), (3 2 2): the best is 1 + 2 + 2 = 5.
        let table = [[4.0, 1.0, 3.0], [2.0, 0.0, 5.0], [3.0, 2.0, 2.0]];
        let (chosen, sum) = one_kind(3, 3, |row, part| table[row][part]).unwrap();
        assert_eq!((chosen, sum.round()), (vec![1, 0, 2], 5.0));
    }
}
