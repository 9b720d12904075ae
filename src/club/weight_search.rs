//! The best set of weights for a moment: an exact search over what lies in the drawers.
//!
//! Places, kinds of weight with their stock, and the moment that is wanted come in; how many pieces of which kind go
//! where comes out, with a proof that no other set is better. All numbers are whole (hundredths of a gram, micrometres),
//! so two sets compare exactly and the same drawers always give the same answer. What a weight is, and which club it is
//! for, is somebody else's business.
//!
//! Own derivation, checked against a search through everything on small drawers (`tests/drawers.rs`): at one place only
//! the mass matters, so for every mass that can be put together there the set of fewest pieces, and among those the most
//! plentiful one, is found by dynamic programming (a knapsack with bounded counts). The places are then combined depth
//! first; a branch is left when no continuation can beat the best set so far. A kind of weight that fits several places
//! may be drawn twice by that; then its stock is divided among the places in every possible way.

mod combination;
mod table;

use std::collections::HashMap;
use std::rc::Rc;

use combination::{Combination, Sum};
use table::Table;

/// A moment of one gram-millimetre in the units of this search: hundredths of a gram times micrometres.
pub const UNITS_PER_GMM: f64 = 1e5;
/// Hundredths of a gram in a gram.
pub const CG_PER_G: f64 = 100.0;
/// Partial sets looked at before the search gives up its proof.
const MOST_NODES: u32 = 100_000;
/// Divisions of a scarce kind among places before the search gives up its proof.
const MOST_DIVISIONS: u32 = 2_000;
/// Cells of a table that cost as much time as one partial set.
const CELLS_PER_NODE: u32 = 32;
/// Most pieces at one place.
const MOST_PIECES: u32 = 100;
/// What the last piece of a kind costs; a piece of a kind with `n` in stock costs the `n`th part of it. As many as fit at a
/// place cost less than 2^24 together.
const LAST_PIECE: u32 = 160_000;

/// A place on the club, and what still fits there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SearchPlace {
    /// Lever arm about the fulcrum, in micrometres; negative toward the butt.
    pub arm_um: i64,
    /// Most mass that may be added, in hundredths of a gram.
    pub most_cg: u32,
    /// Most pieces that may be added, at most 100 are used.
    pub most_pieces: u32,
}

/// A kind of weight.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SearchItem {
    /// Mass of a piece, in hundredths of a gram, more than 0.
    pub mass_cg: u32,
    /// Pieces in stock.
    pub stock: u32,
    /// Places it fits, as indexes.
    pub places: Vec<usize>,
}

/// What the added weights should do together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Least moment that is good, in units of this search.
    pub low: i64,
    /// The moment aimed at; it decides where nothing good can be reached.
    pub aim: i64,
    /// Most moment that is good.
    pub high: i64,
    /// Least added mass that is good, in hundredths of a gram; may be negative.
    pub mass_low: i64,
    /// Most added mass that is good.
    pub mass_high: i64,
}

/// How good a set is; less is better, what stands first decides first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Score {
    /// 0 where the moment is good, else its distance from the aim.
    pub miss: i64,
    /// Added mass outside what is good.
    pub mass_miss: i64,
    /// Added mass.
    pub mass: i64,
    /// Pieces.
    pub pieces: u32,
    /// How scarce the pieces are: 160 000 by the stock of each, summed.
    pub scarcity: u32,
}

/// A set of weights.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Kind, place and pieces, in the order of places and kinds.
    pub pieces: Vec<(usize, usize, u32)>,
    /// How good it is.
    pub score: Score,
    /// Whether nothing better exists. Not so only where the search was cut short.
    pub proven: bool,
}

impl Wanted {
    /// How good a moment, a mass and a number of pieces are.
    #[must_use]
    pub fn score(&self, moment: i64, mass: i64, pieces: u32, scarcity: u32) -> Score {
        let good = (self.low..=self.high).contains(&moment);
        let miss = if good { 0 } else { (moment - self.aim).abs() };
        Score { miss, mass_miss: self.mass_miss(mass, mass), mass, pieces, scarcity }
    }

    /// The least that a mass between `least` and `most` is outside of what is good.
    fn mass_miss(&self, least: i64, most: i64) -> i64 {
        (least - self.mass_high).max(self.mass_low - most).max(0)
    }
}

/// What a piece of a kind costs by its stock.
#[must_use]
pub fn scarcity(stock: u32) -> u32 {
    LAST_PIECE.checked_div(stock).unwrap_or(LAST_PIECE)
}

/// Finds the best set; the empty one where nothing is better.
#[must_use]
pub fn search(places: &[SearchPlace], items: &[SearchItem], wanted: Wanted) -> Found {
    let [found] = search_each(places, items, [wanted]);
    found
}

/// The same for several wishes, which costs less than a search for each.
#[must_use]
pub fn search_each<const N: usize>(places: &[SearchPlace], items: &[SearchItem], wanted: [Wanted; N]) -> [Found; N] {
    let mut tables = Tables { places, items, made: HashMap::new() };
    wanted.map(|wanted| {
        let caps = places.iter().enumerate().map(|(index, place)| caps_at(index, *place, items)).collect();
        let best = Found { pieces: Vec::new(), score: wanted.score(0, 0, 0, 0), proven: true };
        let mut drawers = Drawers { tables: &mut tables, wanted, best, nodes: MOST_NODES, divisions: MOST_DIVISIONS };
        drawers.improve(caps);
        drawers.best.proven = drawers.nodes > 0 && drawers.divisions > 0;
        drawers.best
    })
}

/// How many of each kind a place may take.
fn caps_at(index: usize, place: SearchPlace, items: &[SearchItem]) -> Vec<u32> {
    let cap = |item: &SearchItem| {
        let by_mass = place.most_cg.checked_div(item.mass_cg).unwrap_or(0);
        let fits = item.places.contains(&index);
        if fits { item.stock.min(by_mass).min(place.most_pieces).min(MOST_PIECES) } else { 0 }
    };
    items.iter().map(cap).collect()
}

/// Most pieces of each kind at each place.
type Caps = Vec<Vec<u32>>;

/// What was worked out for the places; it serves every wish.
struct Tables<'a> {
    places: &'a [SearchPlace],
    items: &'a [SearchItem],
    made: HashMap<(usize, Vec<u32>), Rc<Table>>,
}

impl Tables<'_> {
    /// The table of a place, and the nodes that it cost if it had to be made.
    fn at(&mut self, place: usize, caps: &[u32]) -> (Rc<Table>, u32) {
        if let Some(made) = self.made.get(&(place, caps.to_owned())) {
            return (Rc::clone(made), 0);
        }
        let made = Rc::new(Table::new(self.places[place], self.items, caps));
        self.made.insert((place, caps.to_owned()), Rc::clone(&made));
        let cost = made.cells() / CELLS_PER_NODE;
        (made, cost)
    }
}

/// The search for one wish: the best set so far, and what may still be spent.
struct Drawers<'a, 'b> {
    tables: &'a mut Tables<'b>,
    wanted: Wanted,
    best: Found,
    nodes: u32,
    divisions: u32,
}

impl Drawers<'_, '_> {
    /// Looks for a better set within `caps`, under which a kind may be drawn at several places beyond its stock.
    fn improve(&mut self, caps: Caps) {
        let Some(left) = self.divisions.checked_sub(1) else { return };
        self.divisions = left;
        let mut tables: Vec<Rc<Table>> = Vec::new();
        for (place, caps) in caps.iter().enumerate() {
            let (table, cost) = self.tables.at(place, caps);
            self.nodes = self.nodes.saturating_sub(cost);
            tables.push(table);
        }
        let mut combination = Combination::new(self.tables.places, &tables, self.wanted, self.best.score, self.nodes);
        combination.try_longest_arms();
        combination.descend(0, Sum::default());
        self.nodes = combination.nodes;
        let Some((score, choices)) = combination.found() else { return };
        let mut pieces = Vec::new();
        for (place, choice) in choices {
            let Some(table) = tables.get(place) else { continue };
            pieces.extend(table.pieces_of(choice).into_iter().map(|(kind, count)| (place, kind, count)));
        }
        pieces.sort_unstable();
        let drawn = |kind: usize| pieces.iter().filter(|piece| piece.1 == kind).map(|piece| piece.2).sum::<u32>();
        let items = self.tables.items;
        let overdrawn = items.iter().enumerate().find(|(kind, item)| drawn(*kind) > item.stock);
        match overdrawn {
            None => {
                let pieces = pieces.into_iter().map(|(place, kind, count)| (kind, place, count)).collect();
                self.best = Found { pieces, score, proven: true };
            }
            Some((kind, item)) => divisions(item.stock, kind, &caps).into_iter().for_each(|caps| self.improve(caps)),
        }
    }
}

/// The stock of a kind divided among the places it fits, in every way that leaves nothing over.
fn divisions(stock: u32, kind: usize, caps: &[Vec<u32>]) -> Vec<Caps> {
    let mut divided: Vec<(Caps, u32)> = vec![(caps.to_vec(), stock)];
    for (place, cap) in caps.iter().map(|caps| caps[kind]).enumerate() {
        let behind: u32 = caps.iter().skip(place + 1).map(|caps| caps[kind]).sum();
        let mut further = Vec::new();
        for (caps, left) in divided {
            for share in left.saturating_sub(behind)..=cap.min(left) {
                let mut caps = caps.clone();
                caps[place][kind] = share;
                further.push((caps, left - share));
            }
        }
        divided = further;
    }
    divided.into_iter().map(|(caps, _)| caps).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Head at 0.6 m, butt at −0.33 m of the fulcrum; 12 g and three pieces each.
    const PLACES: [SearchPlace; 2] = [
        SearchPlace { arm_um: 600_000, most_cg: 1_200, most_pieces: 3 },
        SearchPlace { arm_um: -330_000, most_cg: 1_200, most_pieces: 3 },
    ];

    fn item(mass_cg: u32, stock: u32, places: &[usize]) -> SearchItem {
        SearchItem { mass_cg, stock, places: places.to_vec() }
    }

    /// A moment of `grams` at the head, half a gram either way being good.
    fn at_head(grams: f64) -> Wanted {
        #[expect(clippy::cast_possible_truncation, reason = "small numbers of a test")]
        let cg = (grams * CG_PER_G).round() as i64;
        let (low, aim, high) = ((cg - 50) * 600_000, cg * 600_000, (cg + 50) * 600_000);
        Wanted { low, aim, high, mass_low: i64::MIN / 2, mass_high: i64::MAX / 2 }
    }

    #[test]
    fn the_lightest_set_that_is_good_is_found() {
        let items = [item(200, 5, &[0]), item(50, 5, &[0]), item(100, 5, &[0, 1])];
        // 2.5 g ± 0.5 g: 2 g are good and the least.
        let found = search(&PLACES, &items, at_head(2.5));
        assert_eq!((found.pieces, found.proven), (vec![(0, 0, 1)], true));
        // −1 g at the head wants weight at the butt: at least 0.5 × 600 / 330 = 0.91 g.
        let found = search(&PLACES, &items, at_head(-1.0));
        assert_eq!(found.pieces, [(2, 1, 1)]);
    }

    #[test]
    fn of_equal_masses_fewest_pieces_and_then_the_plentiful_kind_are_taken() {
        let items = [item(100, 9, &[0]), item(200, 1, &[0]), item(200, 8, &[0])];
        // 2 g is the least that is good: not as two pieces, and not as the last one of its kind.
        assert_eq!(search(&PLACES, &items, at_head(2.0)).pieces, [(2, 0, 1)]);
    }

    #[test]
    fn what_cannot_be_reached_is_approached() {
        let items = [item(300, 2, &[0])];
        let found = search(&PLACES, &items, at_head(40.0));
        assert_eq!(found.pieces, [(0, 0, 2)]);
        assert_eq!(found.score.miss, 34 * 100 * 600_000);
        assert!(search(&PLACES, &items, at_head(-9.0)).pieces.is_empty(), "nothing there brings it nearer");
        assert!(search(&[], &items, at_head(2.0)).pieces.is_empty());
    }

    #[test]
    fn a_kind_with_one_piece_goes_to_one_place() {
        // Two grams more and no moment: both at once would be wanted at head and butt.
        let wanted = Wanted { mass_low: 200, mass_high: 400, ..at_head(0.0) };
        let one = [item(110, 1, &[0, 1]), item(180, 3, &[1])];
        let found = search(&PLACES, &one, wanted);
        assert!(found.proven);
        let drawn: u32 = found.pieces.iter().filter(|piece| piece.0 == 0).map(|piece| piece.2).sum();
        assert!(drawn <= 1, "{found:?}");
        assert_eq!(found.score.mass_miss, 0, "{found:?}");
    }
}
