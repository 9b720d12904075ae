//! Loads, and the ways in which hands lay them down.
//!
//! Descriptions only: what they do to a pan from moment to moment is [`crate::pan`]'s business. Masses are in grams, positions
//! in mm from the butt stop.

use crate::chance::Chance;

/// Something to lay on an instrument.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A part, of which only the mass matters.
    Part {
        /// Mass in grams.
        mass_g: f64,
    },
    /// An assembled club.
    Club {
        /// Mass in grams.
        mass_g: f64,
        /// Balance point from the butt end in mm.
        balance_mm: f64,
    },
    /// A club in the clamp of the angle gauge.
    Angles {
        /// Loft in the vertical sense, degrees.
        loft_deg: f64,
        /// Lie, degrees.
        lie_deg: f64,
    },
}

impl Load {
    pub(crate) fn mass_g(self) -> f64 {
        match self {
            Self::Part { mass_g } | Self::Club { mass_g, .. } => mass_g,
            Self::Angles { .. } => 0.0,
        }
    }

    pub(crate) fn balance_mm(self) -> f64 {
        if let Self::Club { balance_mm, .. } = self { balance_mm } else { 0.0 }
    }
}

/// How a hand lays a load down. Times in seconds from first contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Manner {
    /// Let fall from just above the pan.
    Drop { rise_s: f64, impact: f64 },
    /// Set down, the hand taking less and less of the weight.
    Lower { lower_s: f64 },
    /// Set down, then held for a while with a `share` of the weight on the pan (above 1 the hand presses), then let go.
    Late { lower_s: f64, share: f64, hold_s: f64, let_go_s: f64 },
}

impl Manner {
    /// A tidy way of laying down, for a bench played by a program.
    pub(crate) const TIDY: Self = Self::Lower { lower_s: 0.4 };

    /// One of the ways people lay things down.
    pub(crate) fn any(chance: &mut Chance) -> Self {
        match chance.whole(0, 4) {
            0 => Self::Drop { rise_s: chance.between(0.02, 0.1), impact: chance.between(0.1, 1.2) },
            1 | 2 => Self::Lower { lower_s: chance.between(0.3, 1.2) },
            _ => Self::Late {
                lower_s: chance.between(0.2, 0.8),
                share: if chance.happens(0.5) { chance.between(0.3, 0.95) } else { chance.between(1.05, 1.4) },
                hold_s: chance.between(0.5, 2.0),
                let_go_s: chance.between(0.08, 0.4),
            },
        }
    }

    /// Seconds from contact until the hand has let go.
    pub(crate) fn release_s(self) -> f64 {
        match self {
            Self::Drop { rise_s, .. } => rise_s,
            Self::Lower { lower_s } => lower_s,
            Self::Late { lower_s, hold_s, let_go_s, .. } => lower_s + hold_s + let_go_s,
        }
    }
}

/// A load laid down at a set time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placement {
    pub(crate) load: Load,
    pub(crate) manner: Manner,
    /// Bench time of first contact.
    pub(crate) contact_s: f64,
}
