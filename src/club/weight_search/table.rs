//! What can be put together at one place: for every mass the set of fewest pieces, and among those the most plentiful.
//!
//! A place, the kinds that fit it and how many of each may be used come in. A knapsack with bounded counts, kind by kind.

use super::{MOST_PIECES, SearchItem, SearchPlace, scarcity};

/// A mass that cannot be put together: above every set, with room to add to it.
const IMPOSSIBLE: u32 = u32::MAX >> 1;
/// Pieces stand above the scarcity in a key, so one comparison tells both; half of a `u32` is room for all of them.
const PIECE: u32 = 1 << 24;

/// A mass that can be put together at a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Choice {
    pub(super) mass: i64,
    pub(super) pieces: u32,
    pub(super) scarcity: u32,
}

/// Every mass that can be put together at a place, the lightest first, and how.
pub(super) struct Table {
    pub(super) choices: Vec<Choice>,
    /// Kinds that were used, with their mass in steps.
    kinds: Vec<(usize, usize)>,
    /// Pieces of each kind at each mass, as they were decided kind after kind.
    decided: Vec<u8>,
    step: u32,
    width: usize,
}

impl Table {
    pub(super) fn new(place: SearchPlace, items: &[SearchItem], caps: &[u32]) -> Self {
        let fitting: Vec<(usize, u32, u32, u32)> = items
            .iter()
            .zip(caps)
            .enumerate()
            .filter(|(_, (item, cap))| **cap > 0 && item.mass_cg > 0)
            .map(|(index, (item, cap))| (index, item.mass_cg, *cap, scarcity(item.stock)))
            .collect();
        let step = fitting.iter().map(|fit| fit.1).reduce(common_divisor).unwrap_or(1);
        let heaviest = fitting.iter().map(|fit| fit.1).max().unwrap_or(0);
        let together: u32 = fitting.iter().fold(0, |sum, fit| sum.saturating_add(fit.1.saturating_mul(fit.2)));
        let most = place.most_cg.min(heaviest.saturating_mul(place.most_pieces)).min(together);
        let width = index(most / step) + 1;
        let mut best = vec![IMPOSSIBLE; width];
        if let Some(first) = best.first_mut() {
            *first = 0;
        }
        let mut decided = vec![0u8; width * fitting.len()];
        // Above every set of as many pieces as fit.
        let too_many = (place.most_pieces.min(MOST_PIECES) + 1) * PIECE;
        let mut without = best.clone();
        for (row, (_, mass, cap, cost)) in decided.chunks_mut(width).zip(&fitting) {
            without.copy_from_slice(&best);
            let each = PIECE + *cost;
            for pieces in 1..=*cap {
                let added = index(pieces).saturating_mul(index(mass / step));
                if added >= width {
                    break;
                }
                let (count, price) = (u8::try_from(pieces).unwrap_or(u8::MAX), pieces * each);
                // Straight runs through memory, which the compiler can take several cells at a time.
                for ((before, better), decided) in without.iter().zip(&mut best[added..]).zip(&mut row[added..]) {
                    let key = before + price;
                    let is_better = key < (*better).min(too_many);
                    *better = if is_better { key } else { *better };
                    *decided = if is_better { count } else { *decided };
                }
            }
        }
        let choice = |(at, key): (usize, &u32)| Choice {
            mass: i64::from(u32::try_from(at).unwrap_or(u32::MAX)) * i64::from(step),
            pieces: key / PIECE,
            scarcity: key % PIECE,
        };
        let choices = best.iter().enumerate().filter(|(_, key)| **key != IMPOSSIBLE).map(choice).collect();
        let kinds = fitting.iter().map(|fit| (fit.0, index(fit.1 / step))).collect();
        Self { choices, kinds, decided, step, width }
    }

    /// Cells that were worked out, which is what a table costs.
    pub(super) fn cells(&self) -> u32 {
        u32::try_from(self.decided.len()).unwrap_or(u32::MAX)
    }

    /// Which pieces make the choice with this number.
    pub(super) fn pieces_of(&self, choice: usize) -> Vec<(usize, u32)> {
        let mass = self.choices.get(choice).map_or(0, |choice| choice.mass);
        let mut at = usize::try_from(mass / i64::from(self.step)).unwrap_or(0);
        let mut pieces = Vec::new();
        for (row, (kind, steps)) in self.decided.chunks(self.width).zip(&self.kinds).rev() {
            let count = row.get(at).copied().unwrap_or(0);
            if count > 0 {
                pieces.push((*kind, u32::from(count)));
                at -= usize::from(count) * steps;
            }
        }
        pieces.reverse();
        pieces
    }
}

fn index(number: u32) -> usize {
    usize::try_from(number).unwrap_or(usize::MAX)
}

fn common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}
