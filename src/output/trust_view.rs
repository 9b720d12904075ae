//! Uncertainty budgets, checks and calibrations as they are shown and published.

use serde::Serialize;
use serde_json::{Value, json};

use crate::journal::event::rfc3339;
use crate::measurement::uncertainty::Budget;
use crate::work_order::checks::WeightChart;
use crate::work_order::event::Change;
use crate::work_order::state::State;

/// A budget with what follows from it.
#[derive(Debug, Clone, Serialize)]
pub struct BudgetView {
    /// Its parts, as standard uncertainties in the unit of the value.
    pub components: Vec<ComponentView>,
    /// Effective degrees of freedom; none when they are more than matters.
    pub freedom: Option<f64>,
    /// Coverage factor for about 95 %.
    pub k: Option<f64>,
    /// Expanded uncertainty.
    pub expanded: Option<f64>,
}

/// One part of a budget.
#[derive(Debug, Clone, Serialize)]
pub struct ComponentView {
    /// Where it comes from.
    pub source: &'static str,
    /// Standard uncertainty.
    pub u: f64,
}

/// A budget as it is shown.
#[must_use]
pub fn budget(budget: &Budget) -> BudgetView {
    let freedom = budget.freedom();
    BudgetView {
        components: budget.components.iter().map(|c| ComponentView { source: c.source.name(), u: c.u }).collect(),
        freedom: (freedom < 1e6).then_some(freedom),
        k: budget.coverage(),
        expanded: budget.expanded(),
    }
}

/// A budget in one line: `U = 0.021 (k = 2.00): calibration 0.02, resolution 0.003`.
#[must_use]
pub fn budget_line(view: &BudgetView) -> String {
    let parts: Vec<String> = view.components.iter().map(|part| format!("{} {}", part.source, short(part.u))).collect();
    let whole = match (view.expanded, view.k) {
        (Some(expanded), Some(k)) => format!("U = {} (k = {k:.2})", short(expanded)),
        _ => "U unknown".to_owned(),
    };
    format!("{whole}: {}", parts.join(", "))
}

/// A number that is not negative with two significant digits.
#[must_use]
pub fn short(value: f64) -> String {
    let decimals =
        (0..9_usize).find(|decimals| value * 10f64.powi(i32::try_from(*decimals).unwrap_or(9)) >= 9.95).unwrap_or(9);
    format!("{value:.decimals$}")
}

/// When an instrument is due for its check (RFC 3339), if the bench checks at all.
#[must_use]
pub fn due(state: &State, instrument: &str) -> Option<String> {
    state.trust.charts.get(instrument)?.due_us(&state.policy).map(rfc3339)
}

fn points(chart: &WeightChart) -> Vec<Value> {
    let points = chart.points.iter();
    points
        .map(|p| {
            json!({"at": rfc3339(p.at_us), "reference_g": p.reference_g, "error_g": p.error_g,
                   "balance_error_mm": p.balance_error_mm, "zone": p.zone.name()})
        })
        .collect()
}

fn limits(chart: &WeightChart, resolution_g: f64) -> Option<Value> {
    let limits = chart.limits(resolution_g)?;
    let (mean, s) = (limits.mean_g, limits.s_g);
    Some(
        json!({"mean_g": mean, "s_g": s, "warning_g": [mean - 2.0 * s, mean + 2.0 * s], "stop_g": [mean - 3.0 * s, mean + 3.0 * s]}),
    )
}

/// Checks and calibration of one instrument, for its page.
#[must_use]
pub fn instrument(state: &State, id: &str, at_us: i64) -> Value {
    let trust = &state.trust;
    let chart = trust.charts.get(id);
    let resolution = match state.calibrations.get(id).map(|c| &c.change) {
        Some(Change::Calibrated { resolution, .. }) => *resolution,
        _ => 0.0,
    };
    let of_weights: Vec<Value> = chart
        .iter()
        .flat_map(|chart| chart.weights.values())
        .map(|weight| json!({"nominal_g": weight.nominal_g, "at_mm": weight.at_mm, "chart": points(weight), "limits": limits(weight, resolution)}))
        .collect();
    // The chart of the last check's weight alone, as before there were several.
    let last = chart.and_then(|chart| chart.of(chart.last.as_ref()?.weight.as_ref()?));
    let angles: Vec<Value> = chart
        .iter()
        .flat_map(|chart| &chart.angles)
        .map(|p| {
            let errors: serde_json::Map<String, Value> =
                p.errors_deg.iter().map(|(of, error)| (format!("{}_deg", of.name()), json!(error))).collect();
            json!({"at": rfc3339(p.at_us), "errors": errors, "zone": p.zone.name()})
        })
        .collect();
    let calibration = state.calibrations.get(id).map(|in_force| match &in_force.change {
        Change::Calibrated { source, report, .. } => {
            json!({"event": in_force.event.to_string(), "source": source, "with_references": report.is_some()})
        }
        _ => Value::Null,
    });
    let under_way = trust.calibrating.get(id).map(|calibrating| {
        let findings: Vec<Value> =
            calibrating.report.findings.iter().map(|f| json!({"name": f.name, "value": f.value, "u": f.u})).collect();
        json!({"as_found": calibrating.report.as_found.len(), "as_left": calibrating.report.as_left.len(),
               "adjusted": calibrating.proposal.is_some(), "findings": findings})
    });
    json!({
        "due": due(state, id),
        "trouble": trust.trouble(&state.policy, id, at_us),
        "awaiting": trust.awaited(id, at_us).map(|expected| json!({"purpose": expected.purpose.name(), "reference": expected.reference.words()})),
        "chart": last.map(points).unwrap_or_default(),
        "limits": last.and_then(|weight| limits(weight, resolution)),
        "weights": of_weights,
        "angle_chart": angles,
        "calibration": calibration,
        "calibrating": under_way,
    })
}
