//! Everything a page says of the trust in one instrument: due, chart, last check, calibration in force and under way.

use super::drawing::ControlChart;
use super::text;
use super::trust_view;
use crate::journal::event::rfc3339;
use crate::measurement::calibration::Calibration;
use crate::measurement::check_weight::Accuracy;
use crate::measurement::gauge::Hand;
use crate::measurement::reading::Quantity;
use crate::measurement::unit::Grams;
use crate::work_order::angle_check::{AngleCheck, AngleError};
use crate::work_order::checks::{Chart, ChartPoint, Check, CheckZone, WeightChart};
use crate::work_order::event::{Change, EventId};
use crate::work_order::reference::Reference;
use crate::work_order::state::State;
use crate::work_order::trust::{Conditions, FROM_ADJUSTMENT, Placement, Report};

/// The trust in one instrument, in words.
#[derive(Debug, Clone, Default)]
pub struct TrustDetail {
    /// Who is at the bench.
    pub operator: Option<String>,
    /// `scale`, `beam` or `gauge`; empty where there is no calibration.
    pub kind: &'static str,
    /// When the next check is due (RFC 3339).
    pub due: Option<String>,
    /// Why it is not to be trusted now, in words that follow its name.
    pub trouble: Option<String>,
    /// The reference that should be laid on now.
    pub awaiting: Option<String>,
    /// The control charts, once there is a check: one a weight and place, or those of lie and loft.
    pub charts: Vec<NamedChart>,
    /// The checks of the chart, newest first.
    pub checks: Vec<CheckLine>,
    /// The last check since the calibration.
    pub last: Option<LastCheck>,
    /// The calibration in force.
    pub in_force: Option<InForceView>,
    /// The calibration under way.
    pub under_way: Option<UnderWay>,
}

/// A control chart with its words.
#[derive(Debug, Clone)]
pub struct NamedChart {
    /// What is drawn, with its unit: `error of 200 g, g`.
    pub label: String,
    /// The drawing.
    pub chart: ControlChart,
    /// Mean and limits, once there are enough checks.
    pub limits: Option<String>,
}

/// One check of the chart.
#[derive(Debug, Clone)]
pub struct CheckLine {
    /// When (RFC 3339).
    pub at: String,
    /// What was laid on.
    pub reference: String,
    /// Indication less reference.
    pub error: String,
    /// `good`, `warning` or `out`.
    pub zone: &'static str,
}

/// The last check in words.
#[derive(Debug, Clone)]
pub struct LastCheck {
    /// `good`, `warning` or `out`.
    pub zone: &'static str,
    /// Why, in words that follow the instrument's name.
    pub reason: String,
    /// What was laid on, what it showed, what follows.
    pub facts: Vec<(&'static str, String)>,
}

/// The calibration in force.
#[derive(Debug, Clone)]
pub struct InForceView {
    /// The `calibrated` event.
    pub event: String,
    /// When it came into force (RFC 3339), by the event's id.
    pub at: Option<String>,
    /// Where it comes from, in words.
    pub source: &'static str,
    /// Clubs of which hands a gauge reads by it, in words.
    pub hands: Option<String>,
    /// What it rests on, where it was made at the bench.
    pub report: Option<ReportView>,
}

/// A calibration under way.
#[derive(Debug, Clone)]
pub struct UnderWay {
    /// Whether the adjustment is worked out.
    pub adjusted: bool,
    /// What is known so far.
    pub report: ReportView,
}

/// What a calibration rests on.
#[derive(Debug, Clone)]
pub struct ReportView {
    /// Temperature and note.
    pub conditions: String,
    /// Before the adjustment.
    pub as_found: Vec<PlacementLine>,
    /// After it.
    pub as_left: Vec<PlacementLine>,
    /// What the adjustment found: name and value with its scatter.
    pub findings: Vec<(String, String)>,
}

/// One reference that was laid down.
#[derive(Debug, Clone)]
pub struct PlacementLine {
    /// What lay there.
    pub reference: String,
    /// Number of its certificate.
    pub certificate: Option<String>,
    /// What the instrument made of it.
    pub showed: String,
    /// How far that is off.
    pub error: String,
    /// The `reading_captured` event.
    pub reading: String,
}

/// The trust in an instrument at a wall time in microseconds.
#[must_use]
pub fn trust_detail(state: &State, id: &str, at_us: i64) -> TrustDetail {
    let trust = &state.trust;
    let in_force = state.calibrations.get(id);
    let (resolution, kind) = match in_force.map(|in_force| &in_force.change) {
        Some(Change::Calibrated { resolution, calibration, .. }) => match calibration {
            Calibration::Scale(_) => (*resolution, "scale"),
            Calibration::Beam(_) => (0.0, "beam"),
            Calibration::Gauge(_) => (*resolution, "gauge"),
        },
        _ => (0.0, ""),
    };
    let chart = trust.charts.get(id);
    TrustDetail {
        operator: state.operator.clone(),
        kind,
        due: trust_view::due(state, id),
        trouble: trust.trouble(&state.policy, id, at_us),
        awaiting: trust.awaited(id, at_us).map(|expected| expected.reference.words()),
        charts: chart.map(|chart| charts(chart, kind, resolution)).unwrap_or_default(),
        checks: chart.map(check_lines).unwrap_or_default(),
        last: chart.and_then(|chart| {
            let angles = chart.last_angles.as_ref().map(last_angle_check);
            angles.or_else(|| {
                chart.last.as_ref().map(|check| last_check(check, plate(in_force.map(|in_force| &in_force.change))))
            })
        }),
        in_force: in_force.and_then(|in_force| match &in_force.change {
            Change::Calibrated { source, report, calibration, .. } => Some(InForceView {
                hands: hands(calibration),
                event: in_force.event.to_string(),
                at: time_of(in_force.event),
                source: if source == FROM_ADJUSTMENT { "made at this bench" } else { "from the configuration" },
                report: report.as_deref().map(report_view),
            }),
            _ => None,
        }),
        under_way: trust.calibrating.get(id).map(|calibrating| UnderWay {
            adjusted: calibrating.proposal.is_some(),
            report: report_view(&calibrating.report),
        }),
    }
}

/// Clubs of which hands a gauge reads by its calibration.
fn hands(calibration: &Calibration) -> Option<String> {
    let Calibration::Gauge(gauge) = calibration else { return None };
    Some(match (gauge.left, gauge.datum(Hand::Left)) {
        (Some(_), _) => {
            format!("each hand has its datum; the fixture rolls by {:.2} deg", gauge.roll_deg())
        }
        (None, Some(_)) if gauge.u_level.0 > 0.0 => format!(
            "one datum serves both hands; the level makes angles of left-handed clubs unsure by {:.2} deg (k = 2)",
            4.0 * gauge.u_level.0
        ),
        (None, Some(_)) => "one datum serves both hands, since nothing is taken off".to_owned(),
        (None, None) => {
            "right-handed clubs alone are read: for left-handed ones calibrate with the block laid in both ways"
                .to_owned()
        }
    })
}

/// The time in an event's id: RFC 9562 keeps it to the millisecond.
fn time_of(event: EventId) -> Option<String> {
    let (seconds, nanos) = event.0.get_timestamp()?.to_unix();
    let micros = i64::try_from(seconds).ok()?.checked_mul(1_000_000)?;
    Some(rfc3339(micros + i64::from(nanos / 1000)))
}

fn charts(chart: &Chart, kind: &str, resolution: f64) -> Vec<NamedChart> {
    let named = |label: String, errors: Vec<(f64, CheckZone)>, limits: Option<(f64, f64)>, unit| {
        let chart = ControlChart::of(&errors, limits, resolution)?;
        Some(NamedChart { label, chart, limits: limits.map(|limits| limit_words(limits, unit)) })
    };
    if kind == "gauge" {
        let of = |quantity, label: &str| {
            let zones = chart.angles.iter().map(|point| point.zone);
            let errors = chart.angle_errors(quantity).into_iter().zip(zones).collect();
            named(label.to_owned(), errors, chart.angle_limits(quantity, resolution), "deg")
        };
        return of(Quantity::Lie, "error of lie, °")
            .into_iter()
            .chain(of(Quantity::Loft, "error of loft, °"))
            .collect();
    }
    let of_weight = |weight: &WeightChart| {
        let at = weight.at_mm.map(|at| format!(" at {at} mm")).unwrap_or_default();
        let what = format!("{} g{at}", weight.nominal_g);
        let errors = weight.points.iter().map(|point| (point.error_g, point.zone)).collect();
        let limits = weight.limits(resolution).map(|limits| (limits.mean_g, limits.s_g));
        let places: Vec<_> =
            weight.points.iter().filter_map(|point| Some((point.balance_error_mm?, point.zone))).collect();
        let mass = named(format!("error of {what}, g"), errors, limits, "g");
        mass.into_iter().chain(named(format!("balance error of {what}, mm"), places, weight.balance_limits(), "mm"))
    };
    chart.weights.values().flat_map(of_weight).collect()
}

fn limit_words((mean, s): (f64, f64), unit: &str) -> String {
    let around =
        |factor: f64| format!("{} to {}", text::small(mean - factor * s, unit), text::small(mean + factor * s, unit));
    format!("mean {}, warning beyond {}, stop beyond {}", text::small(mean, unit), around(2.0), around(3.0))
}

fn check_lines(chart: &Chart) -> Vec<CheckLine> {
    let of_weight = |weight: &WeightChart| -> Vec<(i64, CheckLine)> {
        let at = weight.at_mm.map(|at| format!(" at {at} mm")).unwrap_or_default();
        let line = |point: &ChartPoint| {
            let balance = point.balance_error_mm.map(|error| format!(" · balance {}", text::small(error, "mm")));
            let line = CheckLine {
                at: rfc3339(point.at_us),
                reference: format!("{:.3} g{at}", point.reference_g),
                error: text::small(point.error_g, "g") + &balance.unwrap_or_default(),
                zone: point.zone.name(),
            };
            (point.at_us, line)
        };
        weight.points.iter().map(line).collect()
    };
    let mut weights: Vec<(i64, CheckLine)> = chart.weights.values().flat_map(of_weight).collect();
    weights.sort_by_key(|(at_us, _)| *at_us);
    let weights = weights.into_iter().map(|(_, line)| line);
    let angles = chart.angles.iter().map(|point| CheckLine {
        at: rfc3339(point.at_us),
        reference: "block".to_owned(),
        error: point
            .errors_deg
            .iter()
            .map(|(quantity, error)| format!("{} {}", quantity.name(), text::small(*error, "deg")))
            .collect::<Vec<_>>()
            .join(" · "),
        zone: point.zone.name(),
    });
    weights.chain(angles).rev().collect()
}

fn last_angle_check(check: &AngleCheck) -> LastCheck {
    let angle = |error: &AngleError| {
        let facts = format!(
            "{:.3} deg for {:.3} deg, error {} ± {}",
            error.indication_deg,
            error.reference_deg,
            text::small(error.error_deg, "deg"),
            text::small(2.0 * error.u_deg, "deg")
        );
        (error.quantity.name(), facts)
    };
    LastCheck { zone: check.zone.name(), reason: check.reason.clone(), facts: check.errors.iter().map(angle).collect() }
}

/// The accuracy class on the plate, with its interval.
fn plate(calibrated: Option<&Change>) -> Option<Accuracy> {
    match calibrated? {
        Change::Calibrated { accuracy_class, verification_interval_g, resolution, .. } => {
            Accuracy::of_plate(*accuracy_class, *verification_interval_g, *resolution)
        }
        _ => None,
    }
}

/// What NIST Handbook 44 allows at a load: beside the limits of R 76, not instead of them.
fn handbook_44(plate: Accuracy, load_g: f64) -> Option<String> {
    let (class, division, load) = (plate.class, plate.interval, Grams(load_g));
    let in_use = class.maintenance_tolerance(division, load)?;
    let accepted = class.acceptance_tolerance(division, load)?;
    let shown = |grams: Grams| text::small(grams.0, "g");
    Some(format!("{} in use, {} new, repaired or adjusted", shown(in_use), shown(accepted)))
}

fn last_check(check: &Check, plate: Option<Accuracy>) -> LastCheck {
    let grams = |value: f64| format!("{value:.3} g");
    let mut facts = vec![("reference", grams(check.reference_g))];
    facts.extend(check.indication_g.map(|value| ("showed", grams(value))));
    let doubt = check.u_g.map(|u| format!(" ± {}", text::small(2.0 * u, "g"))).unwrap_or_default();
    facts.push(("error", format!("{}{doubt}", text::small(check.error_g, "g"))));
    facts.extend(check.balance.map(|balance| {
        let error = text::small(balance.error_mm, "mm");
        let words = format!(
            "{:.2} mm for {} mm, error {error} ± {}",
            balance.indication_mm,
            balance.reference_mm,
            text::small(2.0 * balance.u_mm, "mm")
        );
        ("balance point", words)
    }));
    facts.extend(check.limit_g.map(|limit| ("its class allows in service", text::small(limit, "g"))));
    let by_handbook = plate.and_then(|plate| handbook_44(plate, check.reference_g));
    facts.extend(by_handbook.map(|words| ("NIST Handbook 44 allows", words)));
    facts.extend(check.repeatability_g.map(|s| ("repeatability", text::small(s, "g"))));
    facts.extend(check.minimum_g.map(|least| ("weighs to 0.10 % from", format!("{least:.1} g"))));
    LastCheck { zone: check.zone.name(), reason: check.reason.clone(), facts }
}

fn report_view(report: &Report) -> ReportView {
    let lines = |placements: &[Placement]| placements.iter().map(placement_line).collect();
    ReportView {
        conditions: conditions(&report.conditions),
        as_found: lines(&report.as_found),
        as_left: lines(&report.as_left),
        findings: report
            .findings
            .iter()
            .map(|finding| {
                let scatter = finding.u.map(|u| format!(" ± {u:.2e}")).unwrap_or_default();
                (finding.name.clone(), format!("{:.8}{scatter}", finding.value))
            })
            .collect(),
    }
}

fn conditions(conditions: &Conditions) -> String {
    let temperature = conditions.temperature_c.map(|degrees| format!("{degrees} °C"));
    let parts: Vec<String> = temperature.into_iter().chain(conditions.note.clone()).collect();
    if parts.is_empty() { "no conditions noted".to_owned() } else { parts.join(", ") }
}

fn placement_line(placement: &Placement) -> PlacementLine {
    let certificate = match &placement.reference {
        Reference::Weight(weight) => weight.certificate.clone(),
        Reference::Angles(angles) => angles.certificate.clone(),
    };
    let errors = placement.reference.errors(&placement.measured);
    let errors: Vec<String> = errors.map(|(q, error)| text::small(error, text::quantity_unit(q))).collect();
    PlacementLine {
        reference: placement.reference.words(),
        certificate,
        showed: placement.measured.iter().map(|m| text::quantity(m.quantity, m.value)).collect::<Vec<_>>().join(" · "),
        error: errors.join(" · "),
        reading: placement.reading.to_string(),
    }
}
