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
    kinds: Vec<Kind>,
    /// For each kind the keys of all masses with it and the kinds before it, up to the heaviest that can be made.
    rows: Vec<Vec<u32>>,
    step: u32,
}

/// A kind of weight at this place.
#[derive(Clone, Copy)]
struct Kind {
    /// Its number among all kinds.
    kind: usize,
    /// Its mass in steps.
    steps: usize,
    /// Most pieces of it.
    cap: u32,
    /// What a piece adds to a key.
    each: u32,
}

impl Table {
    pub(super) fn new(place: SearchPlace, items: &[SearchItem], caps: &[u32]) -> Self {
        let mut fitting: Vec<(usize, u32, u32, u32)> = items
            .iter()
            .zip(caps)
            .enumerate()
            .filter(|(_, (item, cap))| **cap > 0 && item.mass_cg > 0)
            .map(|(index, (item, cap))| (index, item.mass_cg, *cap, scarcity(item.stock)))
            .collect();
        // Light kinds first: what can be made of them is short.
        fitting.sort_by_key(|fit| fit.1);
        let step = fitting.iter().map(|fit| fit.1).reduce(common_divisor).unwrap_or(1);
        let most_pieces = place.most_pieces.min(MOST_PIECES);
        let mut kinds = Vec::with_capacity(fitting.len());
        let mut rows: Vec<Vec<u32>> = Vec::with_capacity(fitting.len());
        let mut before = vec![0u32];
        let mut together = 0u32;
        for (kind, mass, cap, cost) in fitting {
            together = together.saturating_add(mass.saturating_mul(cap));
            let most = place.most_cg.min(mass.saturating_mul(most_pieces)).min(together);
            let kind = Kind { kind, steps: index(mass / step), cap, each: PIECE + cost };
            let mut row = vec![IMPOSSIBLE; index(most / step) + 1];
            if let Some(same) = row.get_mut(..before.len()) {
                same.copy_from_slice(&before);
            }
            for pieces in 1..=kind.cap {
                let price = pieces * kind.each;
                // Straight runs through memory, which the compiler can take several cells at a time.
                for (key, before) in row.iter_mut().skip(index(pieces) * kind.steps).zip(&before) {
                    *key = (*key).min(before + price);
                }
            }
            kinds.push(kind);
            before.clone_from(&row);
            rows.push(row);
        }
        // Sets of more pieces than fit are above this.
        let too_many = (most_pieces + 1) * PIECE;
        let choice = |(at, key): (usize, &u32)| Choice {
            mass: i64::from(u32::try_from(at).unwrap_or(u32::MAX)) * i64::from(step),
            pieces: key / PIECE,
            scarcity: key % PIECE,
        };
        let choices = before.iter().enumerate().filter(|(_, key)| **key < too_many).map(choice).collect();
        Self { choices, kinds, rows, step }
    }

    /// Cells that were worked out, which is what a table costs.
    pub(super) fn cells(&self) -> u32 {
        u32::try_from(self.rows.iter().map(Vec::len).sum::<usize>()).unwrap_or(u32::MAX)
    }

    /// Which pieces make the choice with this number.
    pub(super) fn pieces_of(&self, choice: usize) -> Vec<(usize, u32)> {
        let mass = self.choices.get(choice).map_or(0, |choice| choice.mass);
        let mut at = usize::try_from(mass / i64::from(self.step)).unwrap_or(0);
        let mut pieces = Vec::new();
        for (number, (row, kind)) in self.rows.iter().zip(&self.kinds).enumerate().rev() {
            let key = row.get(at).copied().unwrap_or(IMPOSSIBLE);
            let before = number.checked_sub(1).and_then(|before| self.rows.get(before)).map_or(&[0][..], Vec::as_slice);
            let makes = |count: &u32| {
                let at = at.checked_sub(index(*count) * kind.steps)?;
                (before.get(at)? + count * kind.each == key).then_some(at)
            };
            let Some((count, left)) = (0..=kind.cap).find_map(|count| Some((count, makes(&count)?))) else { break };
            if count > 0 {
                pieces.push((kind.kind, count));
            }
            at = left;
        }
        pieces.sort_unstable();
        pieces
    }
}

fn index(number: u32) -> usize {
    usize::try_from(number).unwrap_or(usize::MAX)
}

fn common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}
