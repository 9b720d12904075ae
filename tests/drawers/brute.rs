//! The reference of the advice: every set of weights there is, one after the other. Slow, and too simple to be wrong.

use benchscribe::club::weight_search::{Score, SearchItem, SearchPlace, Wanted, scarcity};

/// The best score that any set of weights has.
pub(crate) fn best_score(places: &[SearchPlace], items: &[SearchItem], wanted: Wanted) -> Score {
    let mut counts = vec![vec![0u32; places.len()]; items.len()];
    let mut best = None;
    try_all(places, items, wanted, 0, 0, &mut counts, &mut best);
    best.unwrap_or_else(|| score(places, items, wanted, &counts))
}

/// The score of a set; `counts` are pieces by kind and place.
pub(crate) fn score(places: &[SearchPlace], items: &[SearchItem], wanted: Wanted, counts: &[Vec<u32>]) -> Score {
    let (mut moment, mut mass, mut pieces, mut scarce) = (0i64, 0i64, 0u32, 0u32);
    for (item, counts) in items.iter().zip(counts) {
        for (place, count) in places.iter().zip(counts) {
            let grams = i64::from(*count) * i64::from(item.mass_cg);
            moment += grams * place.arm_um;
            mass += grams;
            pieces += count;
            scarce += count * scarcity(item.stock);
        }
    }
    let is_good = wanted.low <= moment && moment <= wanted.high;
    let mass_miss = if mass < wanted.mass_low {
        wanted.mass_low - mass
    } else if mass > wanted.mass_high {
        mass - wanted.mass_high
    } else {
        0
    };
    Score { miss: if is_good { 0 } else { (moment - wanted.aim).abs() }, mass_miss, mass, pieces, scarcity: scarce }
}

/// Whether a set keeps every limit: fit, stock, mass and pieces at each place.
pub(crate) fn is_feasible(places: &[SearchPlace], items: &[SearchItem], counts: &[Vec<u32>]) -> bool {
    let stock = items.iter().zip(counts).all(|(item, counts)| {
        let fits = counts.iter().enumerate().all(|(place, count)| *count == 0 || item.places.contains(&place));
        fits && counts.iter().sum::<u32>() <= item.stock
    });
    let room = places.iter().enumerate().all(|(index, place)| {
        let pieces: u32 = counts.iter().map(|counts| counts[index]).sum();
        let mass: u32 = items.iter().zip(counts).map(|(item, counts)| item.mass_cg * counts[index]).sum();
        pieces <= place.most_pieces && mass <= place.most_cg
    });
    stock && room
}

fn try_all(
    places: &[SearchPlace],
    items: &[SearchItem],
    wanted: Wanted,
    kind: usize,
    place: usize,
    counts: &mut Vec<Vec<u32>>,
    best: &mut Option<Score>,
) {
    if kind == items.len() {
        if is_feasible(places, items, counts) {
            let found = score(places, items, wanted, counts);
            *best = Some(best.map_or(found, |best| best.min(found)));
        }
        return;
    }
    let next = if place + 1 < places.len() { (kind, place + 1) } else { (kind + 1, 0) };
    let most = if items[kind].places.contains(&place) { items[kind].stock } else { 0 };
    for count in 0..=most {
        counts[kind][place] = count;
        try_all(places, items, wanted, next.0, next.1, counts, best);
    }
    counts[kind][place] = 0;
}
