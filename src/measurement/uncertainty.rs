//! Uncertainty budgets: what each captured quantity owes its doubt to, after JCGM 100.
//!
//! A settled level, its calibration and what the checks found come in; for each quantity a list of named components
//! goes out, with effective degrees of freedom, coverage factor and expanded uncertainty. No samples and no capture:
//! what one window says of itself arrives as three numbers a channel.

use super::beam::{BeamGeometry, Reactions, read_beam};
use super::calibration::{BeamCalibration, Calibration, ScaleCalibration, Scatter};
use super::distribution::{combined, coverage_factor, effective_freedom, rectangular};
use super::gauge::{GaugeCalibration, Laid};
use super::reading::{Measured, Quantity, Reading};
use super::settling::Capture;
use super::unit::{FULCRUM_MM, GMM_PER_INCH_OUNCE, Grams, INCH_OUNCES_PER_POINT, Millimetres};

/// Coverage that is stated with an expanded uncertainty: two standard deviations of a normal distribution.
pub const COVERAGE_PROBABILITY: f64 = 0.954_5;

/// Where a part of an uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// The step of the indication.
    Resolution,
    /// Unrest of the settled window.
    Repeatability,
    /// Span of a scale or of the cells, datum of a gauge.
    Calibration,
    /// What checks since the calibration found and nobody corrected.
    Drift,
    /// The tracked zero and its age.
    Zero,
    /// Linearity, and a load beside the middle of the pan.
    Eccentricity,
    /// Places of the supports and of the butt stop.
    Supports,
    /// A beam or gauge that does not stand level.
    Level,
    /// The face angle, which a gauge of lie and loft does not see.
    Face,
}

impl Source {
    /// All sources, in the order of a budget.
    pub const ALL: [Self; 9] = [
        Self::Resolution,
        Self::Repeatability,
        Self::Calibration,
        Self::Drift,
        Self::Zero,
        Self::Eccentricity,
        Self::Supports,
        Self::Level,
        Self::Face,
    ];

    /// The name in records and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Resolution => "resolution",
            Self::Repeatability => "repeatability",
            Self::Calibration => "calibration",
            Self::Drift => "drift",
            Self::Zero => "zero",
            Self::Eccentricity => "eccentricity",
            Self::Supports => "supports",
            Self::Level => "level",
            Self::Face => "face",
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|source| source.name() == name)
    }
}

/// One line of a budget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Where it comes from.
    pub source: Source,
    /// Standard uncertainty it brings, in the unit of the quantity: sensitivity times input uncertainty.
    pub u: f64,
    /// Degrees of freedom; `None` for what is taken as known exactly (JCGM 100, G.4.3).
    pub freedom: Option<f64>,
}

/// The budget of one quantity. Components are independent of each other; what is correlated is within one component.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// The quantity.
    pub quantity: Quantity,
    /// Its components, those of zero left out.
    pub components: Vec<Component>,
}

impl Budget {
    /// Combined standard uncertainty (JCGM 100, 5.1.2).
    #[must_use]
    pub fn u(&self) -> f64 {
        let parts: Vec<f64> = self.components.iter().map(|component| component.u).collect();
        combined(&parts)
    }

    /// Effective degrees of freedom (Welch and Satterthwaite; JCGM 100, G.4.1); may be infinite.
    #[must_use]
    pub fn freedom(&self) -> f64 {
        let parts: Vec<(f64, f64)> =
            self.components.iter().map(|c| (c.u, c.freedom.unwrap_or(f64::INFINITY))).collect();
        effective_freedom(&parts)
    }

    /// Coverage factor k for [`COVERAGE_PROBABILITY`] with the effective degrees of freedom, truncated to a whole
    /// number as JCGM 100, G.4.1 allows. `None` where there are none.
    #[must_use]
    pub fn coverage(&self) -> Option<f64> {
        // A whole number that rounding has left just below itself is meant.
        coverage_factor(COVERAGE_PROBABILITY, (self.freedom() * (1.0 + 1e-12)).floor())
    }

    /// Expanded uncertainty U = k·u.
    #[must_use]
    pub fn expanded(&self) -> Option<f64> {
        self.coverage().map(|k| k * self.u())
    }
}

/// What the checks since the calibration say: errors that were found, allowed, and not corrected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Root mean square of error over reference, of what weighs.
    pub relative: f64,
    /// The same of the balance point, where a weight hung at known places of a beam.
    pub balance: Option<BalanceDrift>,
    /// Root mean squares of the errors of lie and loft in the sense the gauge reads, in degrees, of a gauge.
    pub angles_deg: [f64; 2],
    /// Number of checks behind it.
    pub freedom: f64,
}

/// What checks found wrong with the balance point of a beam, such as a stop or support that has moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BalanceDrift {
    /// Root mean square of its errors, in millimetres.
    pub mm: f64,
    /// Correlation of these errors with those of the mass in the same checks, -1 to 1 (JCGM 100, 5.2.3): a cell that has
    /// drifted alone bears on both.
    pub correlation: f64,
    /// Number of checks behind it.
    pub freedom: f64,
}

/// Standard uncertainties of the two levels of a capture, in the units of the levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelParts {
    /// From the step of the indication.
    pub resolution: [f64; 2],
    /// From the unrest of the window.
    pub repeatability: [f64; 2],
    /// From the tracked zero.
    pub zero: [f64; 2],
    /// Degrees of freedom of the window; `None` where it is not known.
    pub freedom: Option<f64>,
}

impl LevelParts {
    /// Splits what the settling says of its levels. `u` is the whole, `u_zero` the zero's part, `resolution` the step,
    /// `n` the samples of the window. The parts add up to the whole again: what is neither zero nor step is unrest.
    #[must_use]
    pub fn split(u: [f64; 2], u_zero: [f64; 2], resolution: f64, n: usize) -> Self {
        let mut parts = Self { resolution: [0.0; 2], repeatability: [0.0; 2], zero: [0.0; 2], freedom: None };
        for (channel, (whole, zero)) in u.into_iter().zip(u_zero).enumerate() {
            let zero = zero.min(whole);
            let rest = (whole * whole - zero * zero).max(0.0).sqrt();
            let step = rectangular(resolution / 2.0).min(rest);
            let unrest = (rest * rest - step * step).max(0.0).sqrt();
            // What is left of two equal numbers is rounding, not unrest.
            let unrest = if unrest > 1e-6 * rest { unrest } else { 0.0 };
            for (list, part) in
                [(&mut parts.zero, zero), (&mut parts.resolution, step), (&mut parts.repeatability, unrest)]
            {
                if let Some(slot) = list.get_mut(channel) {
                    *slot = part;
                }
            }
        }
        parts.freedom = u32::try_from(n.saturating_sub(1)).ok().filter(|freedom| *freedom > 0).map(f64::from);
        parts
    }

    fn each(&self) -> [(Source, [f64; 2], Option<f64>); 3] {
        [
            (Source::Resolution, self.resolution, None),
            (Source::Repeatability, self.repeatability, self.freedom),
            (Source::Zero, self.zero, None),
        ]
    }
}

/// A reading with the budget of each of its quantities; each `u` is its budget's. `None` where the level cannot be a
/// placement. `laid` is what lies in a gauge.
#[must_use]
pub fn assess(
    calibration: &Calibration,
    capture: &Capture,
    laid: Option<Laid>,
    parts: &LevelParts,
    drift: Option<&Drift>,
) -> Option<(Reading, Vec<Budget>)> {
    let mut reading = calibration.reading(capture, laid)?;
    let budgets = match calibration {
        Calibration::Scale(scale) => vec![scale_budget(scale, capture.values[0], parts, drift)],
        Calibration::Beam(beam) => beam_budgets(beam, capture.values, parts, drift)?,
        Calibration::Gauge(gauge) => gauge_budgets(gauge, capture.values, laid, parts, drift)?,
    };
    for Measured { quantity, u, .. } in &mut reading.measured {
        *u = budgets.iter().find(|budget| budget.quantity == *quantity)?.u();
    }
    reading.measured.iter().all(|m| m.u.is_finite()).then_some((reading, budgets))
}

fn budget(quantity: Quantity, components: impl IntoIterator<Item = (Source, f64, Option<f64>)>) -> Budget {
    let mut components: Vec<Component> = components
        .into_iter()
        .filter(|(_, u, _)| *u > 0.0)
        .map(|(source, u, freedom)| Component { source, u, freedom })
        .collect();
    components.sort_by_key(|component| Source::ALL.iter().position(|source| *source == component.source));
    Budget { quantity, components }
}

fn scale_budget(scale: &ScaleCalibration, mass_g: f64, parts: &LevelParts, drift: Option<&Drift>) -> Budget {
    let of_level = parts.each().map(|(source, u, freedom)| (source, u[0], freedom));
    let of_drift = drift.map(|drift| (Source::Drift, mass_g.abs() * drift.relative, Some(drift.freedom)));
    let (freedom, uneven) = (scale.scatter.map(|s| s.freedom), scale.u_linearity.0.hypot(scale.u_eccentricity.0));
    let fixed = [
        (Source::Calibration, mass_g.abs() * scale.u_span, of_scatter(scale.u_span, scale.scatter)),
        (Source::Eccentricity, uneven, Scatter::freedom_of(uneven, &[(scale.u_linearity.0, freedom)])),
    ];
    budget(Quantity::Mass, of_level.into_iter().chain(fixed).chain(of_drift))
}

/// Uncertainties of mass, balance and swing weight that one cause brings alone.
type Three = [f64; 3];

/// What one cause brings to mass, balance and swing weight: standard uncertainty and degrees of freedom.
type Lines = [(f64, Option<f64>); 3];

/// Moment of one point of swing weight, in gram-millimetres.
const GMM_PER_POINT: f64 = INCH_OUNCES_PER_POINT * GMM_PER_INCH_OUNCE;

fn beam_budgets(
    beam: &BeamCalibration,
    levels: [f64; 2],
    parts: &LevelParts,
    drift: Option<&Drift>,
) -> Option<Vec<Budget>> {
    let [r1, r2] = beam.reactions(levels);
    let exact =
        BeamGeometry { u_x1: Millimetres(0.0), u_x2: Millimetres(0.0), reaction_correlation: 0.0, ..beam.geometry };
    // First order and independent causes: each is propagated alone, straight from reactions and places.
    let alone = |geometry: &BeamGeometry, u_r1: f64, u_r2: f64| -> Option<Three> {
        let reactions = Reactions { r1: Grams(r1), r2: Grams(r2), u_r1: Grams(u_r1), u_r2: Grams(u_r2) };
        let read = read_beam(geometry, &reactions)?;
        Some([read.u_mass.0, read.u_balance.0, read.u_swing_weight.0])
    };
    let mass_g = r1 + r2;
    // The moment about the fulcrum in points, not the swing weight, which begins to count at A0.
    let points = (r1 * (beam.geometry.x1.0 - FULCRUM_MM) + r2 * (beam.geometry.x2.0 - FULCRUM_MM)) / GMM_PER_POINT;
    let known = |three: Three, freedom: Option<f64>| three.map(|u| (u, freedom));
    let mut causes: Vec<(Source, Lines)> = Vec::new();
    for (source, [u_total, u_moment], freedom) in parts.each() {
        let [u_r1, u_r2] = beam.cell_uncertainties(u_total, u_moment);
        causes.push((source, known(alone(&exact, u_r1, u_r2)?, freedom)));
    }
    // Each cell has its own scatter of the adjustment. The reference's error is one for both cells (JCGM 100, 5.2): the whole
    // mass and moment are off by it, the balance is not.
    let own = beam.scatter.map_or(beam.u_span, |scatter| scatter.u.min(beam.u_span));
    let of_reference = (beam.u_span * beam.u_span - own * own).max(0.0).sqrt();
    let gains = BeamGeometry { reaction_correlation: beam.geometry.reaction_correlation, ..exact };
    let of_cells = alone(&gains, r1.abs() * own, r2.abs() * own)?;
    let reference = [mass_g.abs() * of_reference, 0.0, points.abs() * of_reference];
    causes.push((Source::Calibration, calibrated(of_cells, reference, beam.scatter.map(|scatter| scatter.freedom))));
    causes.extend(drift.map(|drift| (Source::Drift, drifted(drift, mass_g, points))));
    let of_places = alone(&BeamGeometry { reaction_correlation: 0.0, ..beam.geometry }, 0.0, 0.0)?;
    // The butt stop moves both supports together: M times the shift in moment, the shift itself in balance. What the
    // places were worked out from does not tell of it; balance and swing weight hold both in nearly one proportion.
    let of_supports = together(of_places, shifted(mass_g, beam.u_butt_stop.0));
    let freedom = Scatter::freedom_of(of_supports[1], &[(of_places[1], beam.supports_freedom)]);
    causes.push((Source::Supports, known(of_supports, freedom)));
    // A centre of gravity h below the supports moves the balance by h times the tilt (first order, own derivation).
    let shift_mm = beam.hang.0.abs() * beam.u_level.0.to_radians();
    causes.push((Source::Level, known(shifted(mass_g, shift_mm), None)));
    let of = |quantity: Quantity, line: fn(&Lines) -> (f64, Option<f64>)| {
        let (sources, lines) = (causes.iter().map(|(source, _)| *source), causes.iter().map(|(_, lines)| line(lines)));
        budget(quantity, sources.zip(lines).map(|(source, (u, freedom))| (source, u, freedom)))
    };
    let [mass, balance, swing] = [|of: &Lines| of[0], |of: &Lines| of[1], |of: &Lines| of[2]];
    Some(vec![of(Quantity::Mass, mass), of(Quantity::Balance, balance), of(Quantity::SwingWeight, swing)])
}

/// The gains of the cells with their scatter and the reference's error, each quantity with the degrees of freedom that the
/// scatter in it leaves.
fn calibrated(cells: Three, reference: Three, freedom: Option<f64>) -> Lines {
    let line = |cells: f64, reference: f64| {
        let u = cells.hypot(reference);
        (u, Scatter::freedom_of(u, &[(cells, freedom)]))
    };
    [line(cells[0], reference[0]), line(cells[1], reference[1]), line(cells[2], reference[2])]
}

/// What the checks of a beam found. A drift common to both cells is in mass and moment, one of the balance point moves the
/// whole mass by so many millimetres. With all of them at known places, the swing weight's part is the root mean square of
/// what each check would have put into it (JCGM 100, 5.2.2 with the correlation they were found with). It is known as well as
/// the fewer checks tell.
fn drifted(drift: &Drift, mass_g: f64, moment_points: f64) -> Lines {
    let BalanceDrift { mm, correlation, freedom } =
        drift.balance.unwrap_or(BalanceDrift { mm: 0.0, correlation: 0.0, freedom: drift.freedom });
    let (by_gain, by_balance) = (moment_points * drift.relative, mass_g * mm / GMM_PER_POINT);
    let square = by_gain * by_gain + by_balance * by_balance + 2.0 * correlation * by_gain * by_balance;
    [
        (mass_g.abs() * drift.relative, Some(drift.freedom)),
        (mm, Some(freedom)),
        // A correlation of -1 can leave a tiny negative sum.
        (square.max(0.0).sqrt(), Some(freedom.min(drift.freedom))),
    ]
}

/// Degrees of freedom of a calibration's uncertainty that holds the scatter of an adjustment.
fn of_scatter(whole: f64, scatter: Option<Scatter>) -> Option<f64> {
    scatter.and_then(|scatter| Scatter::freedom_of(whole, &[(scatter.u, Some(scatter.freedom))]))
}

fn shifted(mass_g: f64, shift_mm: f64) -> Three {
    [0.0, shift_mm, mass_g * shift_mm / GMM_PER_POINT]
}

fn together(first: Three, second: Three) -> Three {
    [first[0].hypot(second[0]), first[1].hypot(second[1]), first[2].hypot(second[2])]
}

fn gauge_budgets(
    gauge: &GaugeCalibration,
    levels: [f64; 2],
    laid: Option<Laid>,
    parts: &LevelParts,
    drift: Option<&Drift>,
) -> Option<Vec<Budget>> {
    let slopes = gauge.loft_slopes(levels, laid)?;
    let of_loft = |[lie, loft]: [f64; 2]| (slopes.by_lie * lie).hypot(slopes.by_loft * loft);
    let both = |u: f64| [u, u];
    let of_datum = of_scatter(gauge.u_datum.0, gauge.scatter);
    let fixed =
        [(Source::Calibration, both(gauge.u_datum.0), of_datum), (Source::Level, both(gauge.level_u(laid)), None)];
    let of_drift = drift.map(|drift| (Source::Drift, drift.angles_deg, Some(drift.freedom)));
    let causes: Vec<_> = parts.each().into_iter().chain(fixed).chain(of_drift).collect();
    let of_face = (Source::Face, (slopes.by_face * gauge.face_u(laid)).abs(), None);
    Some(vec![
        budget(Quantity::Lie, causes.iter().map(|(source, u, freedom)| (*source, u[0], *freedom))),
        budget(
            Quantity::Loft,
            causes.iter().map(|(source, u, freedom)| (*source, of_loft(*u), *freedom)).chain([of_face]),
        ),
    ])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parts_of_a_level_add_up_to_the_whole() {
        for (u, zero, step) in [(0.02, 0.01, 0.01), (0.02, 0.03, 0.01), (0.002, 0.0, 0.1), (0.0, 0.0, 0.1)] {
            let parts = LevelParts::split([u, 0.0], [zero, 0.0], step, 12);
            let whole = combined(&[parts.resolution[0], parts.repeatability[0], parts.zero[0]]);
            assert!((whole - u).abs() <= 1e-12 * u, "{u} {zero} {step}: {parts:?}");
            assert_eq!(parts.freedom, Some(11.0));
        }
        assert_eq!(LevelParts::split([1.0, 0.0], [0.0, 0.0], 0.0, 1).freedom, None);
    }

    #[test]
    fn components_known_exactly_give_the_normal_factor() {
        let component = |source, u, freedom| Component { source, u, freedom };
        let exact = Budget {
            quantity: Quantity::Mass,
            components: vec![component(Source::Resolution, 0.3, None), component(Source::Calibration, 0.4, None)],
        };
        assert!((exact.u() - 0.5).abs() < 1e-15);
        assert!((exact.coverage().unwrap() - 2.0).abs() < 1e-4);
        // One component of four degrees of freedom among equals: (2u²)² / (u⁴ / 4) = 16, and t(95.45 %, 16) = 2.17
        // (JCGM 100, table G.2).
        let two = Budget {
            quantity: Quantity::Mass,
            components: vec![
                component(Source::Resolution, 1.0, None),
                component(Source::Repeatability, 1.0, Some(4.0)),
            ],
        };
        assert!((two.freedom() - 16.0).abs() < 1e-12);
        assert!((two.coverage().unwrap() - 2.17).abs() < 0.005, "{:?}", two.coverage());
    }

    #[test]
    fn what_two_weights_taught_is_known_no_better_than_two_weights_tell() {
        // By hand: u_span² = 3² + 4², of which 3 (1e-5) is scatter with one degree of freedom. Alone it is all of the budget
        // of 1000 g: ν = (9 + 16)² / (9² / 1) = 7.716, truncated 7; t(95.45 %, 7) = 2.43 (JCGM 100, table G.2).
        let scale = ScaleCalibration {
            span: 1.0,
            bend_per_g: 0.0,
            u_span: 5e-5,
            u_linearity: Grams(0.0),
            u_eccentricity: Grams(0.0),
            scatter: Some(Scatter { u: 3e-5, freedom: 1.0 }),
        };
        let parts = LevelParts { resolution: [0.0; 2], repeatability: [0.0; 2], zero: [0.0; 2], freedom: None };
        let found = scale_budget(&scale, 1000.0, &parts, None);
        assert!((found.freedom() - 625.0 / 81.0).abs() < 1e-9 && (found.u() - 0.05).abs() < 1e-12, "{found:?}");
        assert!((found.coverage().unwrap() - 2.43).abs() < 0.005, "{:?}", found.coverage());
        // Nobody adjusted: known exactly, as a certificate is taken.
        let stated = scale_budget(&ScaleCalibration { scatter: None, ..scale }, 1000.0, &parts, None);
        assert!(stated.freedom().is_infinite());
    }
}
