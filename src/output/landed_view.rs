//! Where a club landed beside its forecasts, as it stands in its record and on its page.

use serde::Serialize;

use super::text::{self, Lengths};
use crate::work_order::learning::{Landed, landed};
use crate::work_order::record::ClubRecord;

/// One forecast value and what was measured of it.
#[derive(Debug, Clone, Serialize)]
pub struct LandedView {
    /// What the forecast was made from: `parts`, `dry_fit`, `bonded`, `measured` or `stated`.
    pub basis: &'static str,
    /// What it is of.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// What was expected, without what other clubs taught.
    pub forecast: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// What was measured first of the gripped club.
    pub measured: f64,
    /// Its standard uncertainty.
    pub u_measured: f64,
    /// Measured less forecast.
    pub difference: f64,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// Whether the difference is within twice its standard uncertainty.
    pub explained: bool,
    /// Forecast with its expanded uncertainty (k = 2), measured value and difference, for people.
    pub texts: [String; 3],
}

/// Every forecast of a club with where it landed; empty until the gripped club is measured.
#[must_use]
pub fn landed_views(club: &ClubRecord, lengths: Lengths) -> Vec<LandedView> {
    landed(club).iter().map(|landed| view(landed, lengths)).collect()
}

fn view(landed: &Landed, lengths: Lengths) -> LandedView {
    let (of, difference) = (landed.characteristic, landed.difference());
    let show = |value: f64| text::value(of, value, lengths);
    LandedView {
        basis: landed.basis.name(),
        characteristic: of.name(),
        label: of.label(),
        forecast: landed.forecast,
        u: landed.u,
        measured: landed.measured,
        u_measured: landed.u_measured,
        difference,
        unit: of.unit(),
        explained: difference.abs() <= 2.0 * landed.u.hypot(landed.u_measured),
        texts: [
            text::with_doubt(of, landed.forecast, Some(landed.u), lengths),
            show(landed.measured),
            text::deviation(of, difference, lengths),
        ],
    }
}
