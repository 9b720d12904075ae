//! Where things stand on the deviation scale. Numbers in one unit go in; places from 0 (left edge) to 1 (right edge) come out.
//!
//! As on the page (`scale_geometry.js`): the tolerance band fills the middle third, so that under is left, within is the
//! middle and over is right, whatever the tolerance; the scale is linear. What lies outside is parked at the edge.

use super::message::Reading;

const BAND: (f64, f64) = (1.0 / 3.0, 2.0 / 3.0);
/// What stands in for a tolerance where the order gives none, as a share of the target.
const NO_TOLERANCE: f64 = 0.02;

/// The scale of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// From where to where it is within; none without limits.
    pub band: Option<(f64, f64)>,
    /// The target.
    pub target: Option<f64>,
    /// The value.
    pub needle: f64,
    /// Whether the value lies beyond the edge it is parked at.
    pub is_off: bool,
}

/// The scale of a reading; none where there is nothing to draw (no target, no limit, no number).
#[must_use]
pub fn scale(reading: &Reading) -> Option<Scale> {
    let finite = |number: Option<f64>| number.filter(|number| number.is_finite());
    let (target, lower, upper) = (finite(reading.target), finite(reading.lower), finite(reading.upper));
    let (from, to) = span(target, lower, upper)?;
    let value = finite(Some(reading.value))?;
    let place = |number: f64| BAND.0 + (number - from) / (to - from) * (BAND.1 - BAND.0);
    let at = place(value);
    let band = (lower.map_or(0.0, |_| BAND.0), upper.map_or(1.0, |_| BAND.1));
    Some(Scale {
        band: (lower.is_some() || upper.is_some()).then_some(band),
        target: target.map(|target| place(target).clamp(0.0, 1.0)),
        needle: at.clamp(0.0, 1.0),
        is_off: !(0.0..=1.0).contains(&at),
    })
}

/// What fills the middle third. A limit on one side only is mirrored about the target.
fn span(target: Option<f64>, lower: Option<f64>, upper: Option<f64>) -> Option<(f64, f64)> {
    if let (Some(lower), Some(upper)) = (lower, upper)
        && upper > lower
    {
        return Some((lower, upper));
    }
    let centre = target.or(upper).or(lower)?;
    let limit = upper.or(lower).unwrap_or(centre);
    let half = [(limit - centre).abs(), centre.abs() * NO_TOLERANCE, 1.0].into_iter().find(|half| *half > 0.0)?;
    Some(match (lower, upper) {
        (None, Some(upper)) => (upper - 2.0 * half, upper),
        (Some(lower), None) => (lower, lower + 2.0 * half),
        _ => (centre - half, centre + half),
    })
}
