//! The parts of a club, their places, and what cannot be.
//!
//! Masses, lengths and places come in and are checked here. Places are from the butt (outside of the grip cap) along the
//! shaft axis, the toe lies off that axis. What the parts make together is in `assembly`.

use crate::measurement::unit::{Grams, Millimetres};

/// A shaft before trimming, and what is cut off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shaft {
    /// Length before trimming.
    pub raw_length: Millimetres,
    /// Mass before trimming.
    pub raw_mass: Grams,
    /// Balance before trimming, from the raw butt.
    pub balance_from_butt: Millimetres,
    /// Cut from the tip.
    pub tip_trim: Millimetres,
    /// Cut from the butt.
    pub butt_trim: Millimetres,
}

/// A grip; its balance is from the outside of its cap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grip {
    /// Mass.
    pub mass: Grams,
    /// Length.
    pub length: Millimetres,
    /// Balance from the outside of the cap.
    pub cg_from_butt: Millimetres,
}

/// The tape under the grip, even along its length, from the end of the shaft on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tape {
    /// Mass.
    pub mass: Grams,
    /// Length.
    pub length: Millimetres,
}

/// A head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    /// Mass.
    pub mass: Grams,
    /// Centre of gravity beyond the tip of the shaft, along the axis.
    pub cg_from_tip: Millimetres,
    /// Centre of gravity off the axis, toward the toe.
    pub cg_lateral: Millimetres,
    /// Its own inertia about its centre of gravity, axis normal to the plane of shaft and toe, in g·mm².
    pub inertia_cg_gmm2: f64,
}

/// Where a small part sits on the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// From the butt; stays there when the shaft is trimmed.
    FromButt(Millimetres),
    /// Beyond the tip of the shaft (negative: inside it); goes with the tip.
    FromTip(Millimetres),
}

/// A ferrule, a drop of adhesive, a weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointWeight {
    /// Mass.
    pub mass: Grams,
    /// Place.
    pub place: Place,
}

/// All parts of a club.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembly {
    /// Thickness of the grip cap: the shaft begins there.
    pub cap: Millimetres,
    /// The shaft.
    pub shaft: Shaft,
    /// The grip.
    pub grip: Grip,
    /// The tape.
    pub tape: Tape,
    /// The head.
    pub head: Head,
    /// Everything small.
    pub points: Vec<PointWeight>,
}

/// Why parts do not make a club.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AssemblyError {
    /// A mass, length or inertia that must not be negative is, or is not finite.
    #[error("{what} is {found}, expected a number of 0 or more")]
    Negative {
        /// The quantity.
        what: &'static str,
        /// What was found, in its unit.
        found: f64,
    },
    /// A place that is not finite.
    #[error("{what} is {found}, expected a finite number")]
    NotFinite {
        /// The quantity.
        what: &'static str,
        /// What was found.
        found: f64,
    },
    /// A part with mass and no length.
    #[error("{what} has a length of 0 mm, expected more")]
    NoLength {
        /// The part.
        what: &'static str,
    },
    /// A balance point that no positive density gives.
    #[error(
        "{what} balances {found} mm from its butt, expected {low:.1} mm to {high:.1} mm (the middle third of its length)"
    )]
    Balance {
        /// The part.
        what: &'static str,
        /// Balance found, in mm.
        found: f64,
        /// Smallest that the model can be, in mm.
        low: f64,
        /// Largest that the model can be, in mm.
        high: f64,
    },
    /// Trimming leaves nothing.
    #[error("{trimmed} mm are trimmed off a shaft of {length} mm, expected less")]
    TrimmedAway {
        /// Butt and tip trim together, in mm.
        trimmed: f64,
        /// Raw length, in mm.
        length: f64,
    },
    /// A club without mass.
    #[error("the club has no mass, expected more than 0 g")]
    NoMass,
    /// Numbers grew too large on the way.
    #[error("the numbers are too large to work with")]
    TooLarge,
}

impl Assembly {
    /// Whether the parts can make a club.
    pub(super) fn check(&self) -> Result<(), AssemblyError> {
        let Self { cap, shaft, grip, tape, head, points } = self;
        for (what, found) in [
            ("cap thickness", cap.0),
            ("shaft length", shaft.raw_length.0),
            ("shaft mass", shaft.raw_mass.0),
            ("shaft tip trim", shaft.tip_trim.0),
            ("shaft butt trim", shaft.butt_trim.0),
            ("grip mass", grip.mass.0),
            ("grip length", grip.length.0),
            ("tape mass", tape.mass.0),
            ("tape length", tape.length.0),
            ("head mass", head.mass.0),
            ("head inertia", head.inertia_cg_gmm2),
        ]
        .into_iter()
        .chain(points.iter().map(|point| ("mass of a small part", point.mass.0)))
        {
            if !(found >= 0.0 && found.is_finite()) {
                return Err(AssemblyError::Negative { what, found });
            }
        }
        let places = points.iter().map(|point| match point.place {
            Place::FromButt(at) | Place::FromTip(at) => ("place of a small part", at.0),
        });
        let of_head = [("head cg from tip", head.cg_from_tip.0), ("head cg off the axis", head.cg_lateral.0)];
        if let Some((what, found)) = places.chain(of_head).find(|(_, found)| !found.is_finite()) {
            return Err(AssemblyError::NotFinite { what, found });
        }
        if tape.mass.0 > 0.0 && tape.length.0 <= 0.0 {
            return Err(AssemblyError::NoLength { what: "tape" });
        }
        check_balance("shaft", shaft.raw_mass, shaft.raw_length, shaft.balance_from_butt)?;
        check_balance("grip", grip.mass, grip.length, grip.cg_from_butt)?;
        let trimmed = (shaft.butt_trim + shaft.tip_trim).0;
        if trimmed >= shaft.raw_length.0 {
            return Err(AssemblyError::TrimmedAway { trimmed, length: shaft.raw_length.0 });
        }
        Ok(())
    }
}

/// A part without mass may balance anywhere.
fn check_balance(
    what: &'static str,
    mass: Grams,
    length: Millimetres,
    balance: Millimetres,
) -> Result<(), AssemblyError> {
    if mass.0 <= 0.0 {
        return Ok(());
    }
    if length.0 <= 0.0 {
        return Err(AssemblyError::NoLength { what });
    }
    let (low, high) = (length.0 / 3.0, length.0 * 2.0 / 3.0);
    let slack = length.0 * 1e-9;
    if (low - slack..=high + slack).contains(&balance.0) {
        Ok(())
    } else {
        Err(AssemblyError::Balance { what, found: balance.0, low, high })
    }
}
