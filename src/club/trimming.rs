//! How much to cut from the butt for a swing weight.
//!
//! A club and a target come in, a further butt trim goes out. The grip, its cap and its tape keep their distance from
//! the butt; the rest of the shaft, the head and what sits at the tip move toward it. No tip trim: that changes the
//! stiffness and is the builder's choice.

use super::parts::{Assembly, AssemblyError};
use crate::measurement::unit::{MM_PER_INCH, Millimetres, Points};

/// A further trim and how the club answers to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ButtTrim {
    /// To cut beyond the present trim; negative means that much of the present trim must not be cut.
    pub extra: Millimetres,
    /// Change of swing weight for a club half an inch shorter than now.
    pub per_half_inch: Points,
}

/// Why no butt trim gives the swing weight.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TrimError {
    /// The club itself does not hold together.
    #[error(transparent)]
    Assembly(#[from] AssemblyError),
    /// The target is beyond what the shaft allows.
    #[error("no butt trim gives {target:.2} points from A0: this shaft reaches {low:.2} to {high:.2}")]
    OutOfReach {
        /// Points asked for.
        target: f64,
        /// Fewest points reached.
        low: f64,
        /// Most points reached.
        high: f64,
    },
}

/// Pieces of the reach searched for a crossing; swing weight bends so little along it that this finds every one.
const PIECES: u16 = 400;

fn swing_weight_with(club: &Assembly, extra: Millimetres) -> Result<Points, AssemblyError> {
    let mut cut = club.clone();
    // Rounding must not push the trim below nothing.
    cut.shaft.butt_trim = Millimetres((club.shaft.butt_trim + extra).0.max(0.0));
    Ok(cut.mass_properties()?.swing_weight)
}

/// Finds the butt trim nearest to the present one that gives the target.
///
/// # Errors
/// A club that does not hold together, or a target that neither the uncut nor the shortest shaft reaches.
pub fn butt_trim_for(club: &Assembly, target: Points) -> Result<ButtTrim, TrimError> {
    let now = club.mass_properties()?.swing_weight;
    let per_half_inch = swing_weight_with(club, Millimetres(MM_PER_INCH / 2.0))? - now;
    let uncut = -club.shaft.butt_trim;
    let left = club.shaft.raw_length - club.shaft.butt_trim - club.shaft.tip_trim;
    let mut best: Option<(Millimetres, Millimetres)> = None;
    let (mut low, mut high) = (now, now);
    let mut before = (uncut, swing_weight_with(club, uncut)?);
    for piece in 1..=PIECES {
        let share = f64::from(piece) / f64::from(PIECES + 1);
        let extra = uncut + (left - uncut) * share;
        let here = (extra, swing_weight_with(club, extra)?);
        for (_, points) in [before, here] {
            low = if points < low { points } else { low };
            high = if points > high { points } else { high };
        }
        let crosses = ((before.1 - target).0 <= 0.0) != ((here.1 - target).0 <= 0.0);
        // On the uncut shaft the target may be met exactly, without a crossing.
        let met = (before.1 - target).abs().0 <= 1e-12;
        if crosses || met {
            let candidate = if met { (before.0, before.0) } else { (before.0, here.0) };
            let nearer = best.is_none_or(|best| candidate.0.abs() < best.0.abs());
            best = if nearer { Some(candidate) } else { best };
        }
        before = here;
    }
    let (mut from, mut to) = best.ok_or(TrimError::OutOfReach { target: target.0, low: low.0, high: high.0 })?;
    let rises = swing_weight_with(club, to)? > swing_weight_with(club, from)?;
    for _ in 0..100 {
        let middle = (from + to) / 2.0;
        if (swing_weight_with(club, middle)? < target) == rises { from = middle } else { to = middle }
    }
    Ok(ButtTrim { extra: (from + to) / 2.0, per_half_inch })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::assembly::tests::iron;

    #[test]
    fn the_whole_model_confirms_the_trim() {
        let club = iron();
        let now = club.mass_properties().unwrap().swing_weight;
        for change in [-3.0, -0.5, 0.0, 2.0] {
            let target = now + Points(change);
            let trim = butt_trim_for(&club, target).unwrap();
            assert!((swing_weight_with(&club, trim.extra).unwrap() - target).abs().0 < 1e-9, "{change}");
            assert_eq!(trim.extra.0 > 1e-9, change < 0.0, "{change} {trim:?}");
        }
    }

    #[test]
    fn a_shaft_cannot_grow() {
        let club = iron();
        let now = club.mass_properties().unwrap().swing_weight;
        assert!(matches!(butt_trim_for(&club, now + Points(9.0)), Err(TrimError::OutOfReach { .. })));
    }
}
