//! The measured parts in the drawers that a set is planned from. Plain values; reading them from a file is `config`'s work.

use crate::club::cut::Span;
use crate::measurement::unit::{Grams, Millimetres};

/// Standard uncertainties of a part of which only the values are known: weighed to a tenth of a gram, balanced on an edge or
/// measured to a millimetre (common practice, no source).
pub const U_USUAL_G: f64 = 0.1;
/// The same of a place.
pub const U_USUAL_MM: f64 = 1.0;

/// A mass as it was weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeighedMass {
    /// The mass.
    pub mass: Grams,
    /// Its standard uncertainty.
    pub u: Grams,
}

/// A measured head.
#[derive(Debug, Clone, PartialEq)]
pub struct StockHead {
    /// Its name in the stock.
    pub id: String,
    /// The club it is made for, by its name in the order.
    pub club: String,
    /// Its mass.
    pub mass: WeighedMass,
    /// Loft in the vertical sense, in degrees.
    pub loft_deg: Option<f64>,
    /// Lie, in degrees.
    pub lie_deg: Option<f64>,
    /// Centre of mass beyond the tip of the shaft.
    pub beyond_tip: Option<Span>,
}

/// A measured raw shaft.
#[derive(Debug, Clone, PartialEq)]
pub struct StockShaft {
    /// Its name in the stock.
    pub id: String,
    /// The clubs it may go to; none: any.
    pub clubs: Vec<String>,
    /// Its mass before it is cut.
    pub mass: WeighedMass,
    /// Its length before it is cut.
    pub length: Millimetres,
    /// Its balance from the raw butt.
    pub balance: Option<Span>,
    /// Its frequency as the order counts it: the same clamp and tip mass.
    pub frequency_cpm: Option<f64>,
}

/// A measured grip.
#[derive(Debug, Clone, PartialEq)]
pub struct StockGrip {
    /// Its name in the stock.
    pub id: String,
    /// The clubs it may go to; none: any.
    pub clubs: Vec<String>,
    /// Its mass.
    pub mass: WeighedMass,
}

/// What lies in the drawers.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Stock {
    /// Heads.
    pub heads: Vec<StockHead>,
    /// Shafts.
    pub shafts: Vec<StockShaft>,
    /// Grips.
    pub grips: Vec<StockGrip>,
}
