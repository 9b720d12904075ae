//! Where the finished club will land as it is shown: forecast values, what taught them, what they depend on.

use serde::Serialize;

use super::text::{self, Lengths};
use crate::club::characteristic::Characteristic;
use crate::work_order::forecast::{Forecast, Sensitivity, sensitivities};
use crate::work_order::record::ClubRecord;

/// A forecast value of the finished club.
#[derive(Debug, Clone, Serialize)]
pub struct ForecastView {
    /// What it is.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// The value.
    pub value: f64,
    /// The value for people.
    pub text: String,
    /// Its standard uncertainty.
    pub u: f64,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// Forecast less target.
    pub deviation: Option<f64>,
    /// What it was made from: `parts`, `dry_fit`, `bonded`, `measured` (the same before the club was finished) or `stated`.
    pub basis: &'static str,
    /// What clubs of the same parts taught it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub learnt: Option<LearntView>,
}

/// What is neither measured nor forecast.
#[derive(Debug, Clone, Serialize)]
pub struct NotForecastView {
    /// What it is.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// What to do for it.
    pub reason: String,
}

/// A forecast swing weight about 12 in.
#[derive(Debug, Clone, Serialize)]
pub struct Moment12View {
    /// The moment.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Inch-ounces.
    pub unit: &'static str,
    /// The value for people, with its expanded uncertainty (k = 2).
    pub text: String,
}

/// What a forecast has learnt; it is in its value and uncertainty.
#[derive(Debug, Clone, Serialize)]
pub struct LearntView {
    /// From how many clubs.
    pub clubs: usize,
    /// Their mean difference, measured less forecast.
    pub bias: f64,
    /// Spread from club to club, as a standard deviation.
    pub spread: f64,
    /// What was added to the forecast.
    pub shift: f64,
    /// The words.
    pub text: String,
}

/// How the forecast swing weight answers to one input.
#[derive(Debug, Clone, Serialize)]
pub struct SensitivityView {
    /// The input.
    pub input: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Its standard uncertainty.
    pub u: f64,
    /// Points for one unit of it.
    pub points_per_unit: f64,
}

/// A forecast moment about 12 in, with its standard uncertainty, in inch-ounces.
pub(super) fn moment_view((value, u): (f64, f64)) -> Moment12View {
    Moment12View { value, u, unit: "[oz_av].[in_i]", text: format!("{value:.1} ± {:.1} in·oz", 2.0 * u) }
}

/// What is not forecast, with what to do for it.
pub(super) fn not_forecast_view((of, reason): (Characteristic, String)) -> NotForecastView {
    NotForecastView { characteristic: of.name(), label: of.label(), reason }
}

/// A forecast as it is shown.
#[must_use]
pub(super) fn forecast_view(record: &ClubRecord, forecast: &Forecast, lengths: Lengths) -> ForecastView {
    let characteristic = forecast.characteristic;
    let target = record.spec.target(characteristic).and_then(|row| row.target.value);
    ForecastView {
        characteristic: characteristic.name(),
        label: characteristic.label(),
        value: forecast.value,
        text: text::value(characteristic, forecast.value, lengths),
        u: forecast.u,
        unit: characteristic.unit(),
        deviation: target.map(|target| forecast.value - target),
        basis: forecast.basis.name(),
        learnt: forecast.learnt.map(|learnt| LearntView {
            clubs: learnt.clubs,
            bias: learnt.bias,
            spread: learnt.spread,
            shift: learnt.shift,
            text: format!(
                "{} added: {} with {} landed {} from the forecast",
                text::deviation(characteristic, learnt.shift, Lengths::Millimetres),
                if learnt.clubs == 1 { "1 club".to_owned() } else { format!("{} clubs", learnt.clubs) },
                record.spec.models.words(),
                text::deviation(characteristic, learnt.bias, Lengths::Millimetres),
            ),
        }),
    }
}

/// How the forecast swing weight answers to each input.
#[must_use]
pub(super) fn sensitivity_views(record: &ClubRecord) -> Vec<SensitivityView> {
    let view =
        |s: Sensitivity| SensitivityView { input: s.input, unit: s.unit, u: s.u, points_per_unit: s.points_per_unit };
    sensitivities(record).into_iter().map(view).collect()
}
