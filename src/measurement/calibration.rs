//! From what an instrument sent to what it means: zero, span and geometry of a channel.
//!
//! An indication comes in (grams of a scale, counts of both cells of a beam, degrees of a gauge), a sample
//! leaves. After the capture the same calibration turns the settled levels into a reading with its uncertainty.

use super::beam::{BeamGeometry, Reactions, read_beam};
use super::gauge::{GaugeCalibration, Laid};
use super::reading::{InstrumentKind, Measured, Quantity, Reading};
use super::sample::Sample;
use super::settling::{Capture, SettlingLimits};
use super::unit::{Degrees, Grams, Millimetres};

/// How a channel's indications become quantities.
#[derive(Debug, Clone, PartialEq)]
pub enum Calibration {
    /// A scale that indicates mass.
    Scale(ScaleCalibration),
    /// A beam on two load cells that sends raw counts.
    Beam(BeamCalibration),
    /// An angle gauge that indicates lie and loft.
    Gauge(GaugeCalibration),
}

/// What part of a standard uncertainty comes from the scatter of an adjustment (type A of JCGM 100), and how well that is
/// known. The rest is the references' and holds as many degrees of freedom as anything taken as known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// That part alone, in the unit of the whole.
    pub u: f64,
    /// Its degrees of freedom: placements less what was worked out from them.
    pub freedom: f64,
}

impl Scatter {
    /// Degrees of freedom of a whole `u` that holds the scatter of `of`, with its parts that scatter: `None` where none
    /// does. By Welch and Satterthwaite (JCGM 100, G.4.1), which this keeps whole: u⁴ / ν is the scatter's alone.
    #[must_use]
    pub fn freedom_of(whole: f64, parts: &[(f64, Option<f64>)]) -> Option<f64> {
        let sum: f64 = parts.iter().filter_map(|(u, freedom)| Some((u / whole).powi(4) / (*freedom)?)).sum();
        (sum > 0.0 && sum.is_finite()).then(|| 1.0 / sum)
    }
}

/// Curve of a scale: true mass = indication × `span` + indication² × `bend_per_g`. The zero is tracked, so the curve
/// goes through it.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleCalibration {
    /// Factor on the indication, close to 1.
    pub span: f64,
    /// Quadratic term, per gram; 0 for a straight line.
    pub bend_per_g: f64,
    /// Standard uncertainty of `span` (dimensionless).
    pub u_span: f64,
    /// Standard uncertainty from linearity.
    pub u_linearity: Grams,
    /// Standard uncertainty from loading beside the middle of the pan.
    pub u_eccentricity: Grams,
    /// What of `u_span` is scatter; `u_linearity` is as well known. `None` where nobody adjusted.
    pub scatter: Option<Scatter>,
}

/// Zero, span and geometry of a two-cell beam.
#[derive(Debug, Clone, PartialEq)]
pub struct BeamCalibration {
    /// Counts of each cell with nothing on the beam. Tracked away afterwards, so only the span must be exact.
    pub zero_counts: [f64; 2],
    /// Counts for one gram on each cell.
    pub counts_per_gram: [f64; 2],
    /// Relative standard uncertainty of `counts_per_gram`.
    pub u_span: f64,
    /// Where the supports are, from the butt stop.
    pub geometry: BeamGeometry,
    /// Standard uncertainty of the butt stop, which moves both places together.
    pub u_butt_stop: Millimetres,
    /// Standard uncertainty of the beam's level.
    pub u_level: Degrees,
    /// How far a club's centre of gravity hangs below the supports, for what `u_level` makes of it.
    pub hang: Millimetres,
    /// What of `u_span` is scatter; `None` where nobody adjusted.
    pub scatter: Option<Scatter>,
    /// Degrees of freedom of the places of the supports; `None` where they were not worked out.
    pub supports_freedom: Option<f64>,
}

impl Calibration {
    /// A sample for the settling from a scale's grams, a beam's counts or a gauge's (lie, loft) in degrees.
    #[must_use]
    pub fn sample(&self, t_s: f64, indication: [f64; 2]) -> Sample {
        let [first, second] = indication;
        let values = match self {
            Self::Scale(scale) => [first * scale.span + first * first * scale.bend_per_g, 0.0],
            Self::Beam(beam) => {
                let r1 = (first - beam.zero_counts[0]) / beam.counts_per_gram[0];
                let r2 = (second - beam.zero_counts[1]) / beam.counts_per_gram[1];
                [r1 + r2, r2 * beam.span_mm()]
            }
            Self::Gauge(gauge) => [first - gauge.lie_datum.0, second - gauge.loft_datum.0],
        };
        Sample { t_s, values }
    }

    /// The net indication, as the instrument sends it, behind net levels: the inverse of [`Calibration::levels`].
    ///
    /// The zero's part of a quadratic scale is left out: the zero is tracked, so it is small.
    #[must_use]
    pub fn indication(&self, levels: [f64; 2]) -> [f64; 2] {
        let [first, second] = levels;
        match self {
            Self::Scale(scale) => {
                // The root of bend·x² + span·x = m that is m / span where there is no bend, written without cancellation.
                let root = (scale.span * scale.span + 4.0 * scale.bend_per_g * first).max(0.0).sqrt();
                [2.0 * first / (scale.span + root), 0.0]
            }
            Self::Beam(beam) => {
                let [r1, r2] = beam.reactions(levels);
                [r1 * beam.counts_per_gram[0], r2 * beam.counts_per_gram[1]]
            }
            Self::Gauge(gauge) => [first + gauge.lie_datum.0, second + gauge.loft_datum.0],
        }
    }

    /// Net levels for a net indication: what [`Calibration::reading`] takes.
    #[must_use]
    pub fn levels(&self, indication: [f64; 2]) -> [f64; 2] {
        let [first, second] = indication;
        match self {
            Self::Beam(beam) => {
                let (r1, r2) = (first / beam.counts_per_gram[0], second / beam.counts_per_gram[1]);
                [r1 + r2, r2 * beam.span_mm()]
            }
            Self::Scale(_) | Self::Gauge(_) => self.sample(0.0, indication).values,
        }
    }

    /// The quantities of a settled placement; `None` where they are not possible (a beam with no mass on it, a club of a
    /// hand whose datum the gauge does not have). `laid` is what lies in a gauge, `None` where nobody said.
    #[must_use]
    pub fn reading(&self, capture: &Capture, laid: Option<Laid>) -> Option<Reading> {
        let [first, second] = capture.values;
        let [u_first, u_second] = capture.u;
        let measured = match self {
            Self::Scale(scale) => {
                let u = hypot3(u_first, first * scale.u_span, scale.u_linearity.0).hypot(scale.u_eccentricity.0);
                vec![Measured { quantity: Quantity::Mass, value: first, u }]
            }
            Self::Beam(beam) => beam.reading(first, second, u_first, u_second)?,
            Self::Gauge(gauge) => {
                let [lie, loft] = gauge.angles(capture.values, laid)?;
                vec![
                    Measured { quantity: Quantity::Lie, value: lie, u: u_first.hypot(gauge.u_datum.0) },
                    Measured { quantity: Quantity::Loft, value: loft, u: u_second.hypot(gauge.u_datum.0) },
                ]
            }
        };
        measured.iter().all(|m| m.value.is_finite() && m.u.is_finite()).then_some(Reading { measured })
    }
}

/// The limits of the settling for an instrument, in force while it measures and again when a reading is proved.
#[must_use]
pub fn settling_limits(kind: InstrumentKind, resolution: f64, rate_hz: f64, capacity: Option<Grams>) -> SettlingLimits {
    match kind {
        InstrumentKind::Beam => SettlingLimits::for_beam(rate_hz),
        InstrumentKind::Gauge => SettlingLimits::for_gauge(resolution, rate_hz),
        InstrumentKind::Scale | InstrumentKind::Thermometer | InstrumentKind::Scanner | InstrumentKind::Pedal => {
            SettlingLimits::for_scale(resolution, rate_hz, capacity.map_or(f64::INFINITY, |grams| grams.0))
        }
    }
}

impl BeamCalibration {
    /// Distance between the cells, in millimetres.
    #[must_use]
    pub fn span_mm(&self) -> f64 {
        self.geometry.x2.0 - self.geometry.x1.0
    }

    /// What both supports carry, in grams, for levels of total (g) and moment about the first support (g·mm).
    #[must_use]
    pub fn reactions(&self, [total_g, moment_gmm]: [f64; 2]) -> [f64; 2] {
        let r2 = moment_gmm / self.span_mm();
        [total_g - r2, r2]
    }

    /// Standard uncertainties of both reactions, in grams, from those of total and moment.
    ///
    /// Independent cells: the part of the total's variance that is not the second cell's is the first's. It is at
    /// least as large as the second's: the cells are alike.
    #[must_use]
    pub fn cell_uncertainties(&self, u_total_g: f64, u_moment_gmm: f64) -> [f64; 2] {
        let u_r2 = u_moment_gmm / self.span_mm();
        [(u_total_g * u_total_g - u_r2 * u_r2).max(u_r2 * u_r2).sqrt(), u_r2]
    }

    fn reading(&self, total_g: f64, moment_gmm: f64, u_total: f64, u_moment: f64) -> Option<Vec<Measured>> {
        let [r1, r2] = self.reactions([total_g, moment_gmm]);
        let [u_r1, u_r2] = self.cell_uncertainties(u_total, u_moment);
        let reactions = Reactions {
            r1: Grams(r1),
            r2: Grams(r2),
            u_r1: Grams(u_r1.hypot(r1 * self.u_span)),
            u_r2: Grams(u_r2.hypot(r2 * self.u_span)),
        };
        let beam = read_beam(&self.geometry, &reactions)?;
        Some(vec![
            Measured { quantity: Quantity::Mass, value: beam.mass.0, u: beam.u_mass.0 },
            Measured { quantity: Quantity::Balance, value: beam.balance.0, u: beam.u_balance.0 },
            Measured { quantity: Quantity::SwingWeight, value: beam.swing_weight.0, u: beam.u_swing_weight.0 },
        ])
    }
}

fn hypot3(a: f64, b: f64, c: f64) -> f64 {
    a.hypot(b).hypot(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beam() -> BeamCalibration {
        BeamCalibration {
            zero_counts: [8388.0, -4210.0],
            counts_per_gram: [1000.0, 1000.0],
            u_span: 1e-4,
            geometry: BeamGeometry {
                x1: Millimetres(100.0),
                x2: Millimetres(840.0),
                u_x1: Millimetres(0.1),
                u_x2: Millimetres(0.1),
                reaction_correlation: 0.0,
            },
            u_butt_stop: Millimetres(0.0),
            u_level: Degrees(0.0),
            hang: Millimetres(0.0),
            scatter: None,
            supports_freedom: None,
        }
    }

    #[test]
    fn counts_become_total_and_moment() {
        // By hand: 20 g on the first cell and 300 g on the second, 740 mm apart: 320 g and 222 000 g·mm.
        let sample = Calibration::Beam(beam()).sample(1.0, [28_388.0, 295_790.0]);
        assert!((sample.values[0] - 320.0).abs() < 1e-9);
        assert!((sample.values[1] - 222_000.0).abs() < 1e-6);
    }
}
