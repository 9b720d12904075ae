//! A planned set as it is printed and given to programs: the plan comes in, JSON and rows of a table go out.

use serde::Serialize;

use super::text::{self, Lengths};
use crate::club::characteristic::Characteristic;
use crate::club::common_value::WITHIN;
use crate::club::progression::Series;
use crate::measurement::unit::round_ties_away;
use crate::work_order::set_plan::{MatchedIn, PlannedClub, PlannedValue, SetPlan};

/// A planned set.
#[derive(Debug, Clone, Serialize)]
pub struct PlanView {
    /// The order.
    pub order: String,
    /// `swing_weight` or `moi_butt`.
    pub matched_in: &'static str,
    /// The sum of squared deviations, each in units of half its tolerance.
    pub cost: f64,
    /// No plan has a smaller one.
    pub at_least: f64,
    /// Whether this is proved to be the best plan.
    pub proved: bool,
    /// The same in words, and why not where it is not.
    pub proof: String,
    /// The common value of clubs without a target of their own.
    pub common: Option<f64>,
    /// The clubs.
    pub clubs: Vec<PlanClubView>,
    /// How length, loft and lie go through the set, and frequency where it is planned.
    pub progressions: Vec<SeriesView>,
    /// What the plan does not say.
    pub not_planned: Vec<&'static str>,
}

/// One club of the plan.
#[derive(Debug, Clone, Serialize)]
pub struct PlanClubView {
    /// Its id.
    pub club: String,
    /// What people call it.
    pub name: String,
    /// The head's name in the stock.
    pub head: String,
    /// The shaft's.
    pub shaft: String,
    /// The grip's.
    pub grip: String,
    /// To cut off the tip.
    pub tip_trim_mm: f64,
    /// To cut off the butt.
    pub butt_trim_mm: f64,
    /// Its share of the sum.
    pub cost: f64,
    /// Grams to add at the head for its swing weight; negative: too heavy.
    pub head_g: Option<f64>,
    /// What it will come out as.
    pub values: Vec<PlanValueView>,
}

/// One value.
#[derive(Debug, Clone, Serialize)]
pub struct PlanValueView {
    /// What it is.
    pub characteristic: &'static str,
    /// The value.
    pub value: f64,
    /// Its standard uncertainty; none for what the stock gives as a bare number.
    pub u: Option<f64>,
    /// The value for people, with its expanded uncertainty (k = 2).
    pub text: String,
    /// Unit of the numbers.
    pub unit: &'static str,
    /// What it is to be.
    pub target: Option<f64>,
    /// Value less target, or how far beyond a limit.
    pub deviation: Option<f64>,
    /// Whether it counts in the sum.
    pub counts: bool,
}

/// One characteristic through the set, as data for a plot.
#[derive(Debug, Clone, Serialize)]
pub struct SeriesView {
    /// What it is.
    pub characteristic: &'static str,
    /// Unit of y.
    pub unit: &'static str,
    /// What x is.
    pub against: &'static str,
    /// The clubs, from the longest on.
    pub points: Vec<PointView>,
    /// The steps between neighbours.
    pub gaps: Vec<GapView>,
    /// Rise for one unit of x, of the line through the points.
    pub slope: Option<f64>,
}

/// A point.
#[derive(Debug, Clone, Serialize)]
pub struct PointView {
    /// The club.
    pub club: String,
    /// Where.
    pub x: f64,
    /// The value.
    pub y: f64,
    /// Value less line.
    pub off_line: Option<f64>,
}

/// A step.
#[derive(Debug, Clone, Serialize)]
pub struct GapView {
    /// From this club …
    pub from: String,
    /// … to this.
    pub to: String,
    /// What the value rises by.
    pub step: f64,
    /// That less what the line rises by.
    pub off_line: Option<f64>,
}

/// The shape of a plan.
#[must_use]
pub fn plan_view(order: &str, plan: &SetPlan) -> PlanView {
    PlanView {
        order: order.to_owned(),
        matched_in: plan.matched_in.characteristic().name(),
        cost: plan.cost,
        at_least: plan.at_least,
        proved: plan.proved,
        proof: proof(plan),
        common: plan.common,
        clubs: plan.clubs.iter().map(club_view).collect(),
        progressions: plan.series.iter().map(series_view).collect(),
        not_planned: plan.frequency_left_out.then_some(NO_FREQUENCY).into_iter().collect(),
    }
}

fn club_view(club: &PlannedClub) -> PlanClubView {
    let [head, shaft, grip] = club.parts.clone();
    let [tip_trim_mm, butt_trim_mm] = club.trims_mm;
    let values = club.values.iter().map(|value| PlanValueView {
        characteristic: value.characteristic.name(),
        value: value.value,
        u: value.u,
        text: with_doubt(value, Lengths::Millimetres),
        unit: value.characteristic.unit(),
        target: value.aim,
        deviation: value.deviation,
        counts: value.counts,
    });
    PlanClubView {
        club: club.club.clone(),
        name: club.name.clone(),
        head,
        shaft,
        grip,
        tip_trim_mm,
        butt_trim_mm,
        cost: club.cost,
        head_g: club.head_g,
        values: values.collect(),
    }
}

/// The shape of a series.
#[must_use]
pub fn series_view(series: &Series) -> SeriesView {
    let point = |point: &crate::club::progression::Point| PointView {
        club: point.club.clone(),
        x: point.x,
        y: point.y,
        off_line: series.line.map(|line| point.y - line.at(point.x)),
    };
    let gap = |gap: &crate::club::progression::Gap| GapView {
        from: gap.from.clone(),
        to: gap.to.clone(),
        step: gap.step,
        off_line: gap.off_line,
    };
    SeriesView {
        characteristic: series.of,
        unit: series.unit,
        against: series.against,
        points: series.points.iter().map(point).collect(),
        gaps: series.gaps.iter().map(gap).collect(),
        slope: series.line.map(|line| line.slope),
    }
}

/// Why a plan has no frequencies.
const NO_FREQUENCY: &str =
    "frequency is not planned: that of a raw shaft is not that of the cut one; measure it after the cut";

/// A value with its expanded uncertainty.
fn with_doubt(planned: &PlannedValue, lengths: Lengths) -> String {
    text::with_doubt(planned.characteristic, planned.value, planned.u, lengths)
}

/// Head of the table of values.
pub const VALUES_HEAD: [&str; 5] = ["club", "characteristic", "planned (k = 2)", "asked for", "deviation"];

/// One row for each value of each club, in the order of the characteristics, its lengths as they are wanted.
#[must_use]
pub fn value_rows(plan: &SetPlan, lengths: Lengths) -> Vec<Vec<String>> {
    let rows = plan.clubs.iter().flat_map(|club| {
        Characteristic::all().filter_map(move |of| club.values.iter().find(|value| value.characteristic == of)).map(
            move |value| {
                let of = value.characteristic;
                let aim = value.aim.map(|aim| text::value(of, aim, lengths)).unwrap_or_default();
                let deviation = value.deviation.map(|off| text::deviation(of, off, lengths));
                vec![
                    club.name.clone(),
                    of.label().to_owned(),
                    with_doubt(value, lengths),
                    aim,
                    deviation.unwrap_or_default(),
                ]
            },
        )
    });
    rows.collect()
}

/// Head of the table of clubs.
pub const HEAD: [&str; 9] =
    ["club", "head", "shaft", "grip", "cut off tip", "cut off butt", "swing weight", "inertia kg·cm²", "at the head"];

/// One row a club.
#[must_use]
pub fn rows(plan: &SetPlan) -> Vec<Vec<String>> {
    plan.clubs.iter().map(row).collect()
}

fn row(club: &PlannedClub) -> Vec<String> {
    let shown = |characteristic: Characteristic| {
        let Some(value) = club.values.iter().find(|value| value.characteristic == characteristic) else {
            return String::new();
        };
        let text = match characteristic {
            Characteristic::MoiButt => format!("{:.0}", value.value),
            _ => text::value(characteristic, value.value, Lengths::Millimetres),
        };
        match value.deviation {
            Some(deviation) => format!("{text} ({})", signed(deviation)),
            None => text,
        }
    };
    let [head, shaft, grip] = club.parts.clone();
    let [tip, butt] = club.trims_mm.map(text::mm_and_inches);
    let at_head = club.head_g.map(|grams| format!("{} g", signed(grams))).unwrap_or_default();
    let (swing, inertia) = (shown(Characteristic::SwingWeight), shown(Characteristic::MoiButt));
    vec![club.name.clone(), head, shaft, grip, tip, butt, swing, inertia, at_head]
}

/// A number with its sign; what rounds to nothing has none.
fn signed(value: f64) -> String {
    let rounded = round_ties_away(value, 1);
    if rounded.abs() < 0.05 { "0.0".to_owned() } else { format!("{rounded:+.1}") }
}

/// What is to be said beside the proof.
#[must_use]
pub fn remarks(plan: &SetPlan) -> Vec<String> {
    let matched = match plan.matched_in {
        MatchedIn::SwingWeight => "swing weight",
        MatchedIn::Inertia => "inertia about the butt",
    };
    let common = plan.common.map(|value| {
        let value = text::value(plan.matched_in.characteristic(), value, Lengths::Millimetres);
        format!("clubs without a target of their own for it are brought to {value}")
    });
    let series = plan.series.iter().map(|series| {
        let unit = text::plain_unit(series.unit);
        let steps: Vec<String> = series.gaps.iter().map(|gap| format!("{:+.2} {unit}", gap.step)).collect();
        let per = if series.against.starts_with("length") { "inch" } else { "club" };
        let slope = series.line.map(|line| format!("; {:+.2} {unit} per {per}", line.slope)).unwrap_or_default();
        format!("{}: steps {}{slope}", series.of, steps.join(", "))
    });
    let sum = format!("matched in {matched}: sum of squared deviations {:.2} (in half tolerances)", plan.cost);
    let left_out = plan.frequency_left_out.then(|| NO_FREQUENCY.to_owned());
    [Some(sum), common, left_out].into_iter().flatten().chain(series).collect()
}

/// Whether a plan is the best one there is, in words.
#[must_use]
pub fn proof(plan: &SetPlan) -> String {
    match (plan.proved, plan.common) {
        (true, None) => "proved: no other choice of these parts comes nearer".to_owned(),
        (true, Some(_)) => {
            format!("proved: no other choice of these parts or of the common value comes nearer by {WITHIN} or more")
        }
        (false, None) => format!(
            "not proved to be the best: no choice of parts can be below {:.2}, and this one is the best found",
            plan.at_least
        ),
        (false, Some(_)) => format!(
            "not proved to be the best: no choice of parts and of a common value can be below {:.2}, and this one is the best found",
            plan.at_least
        ),
    }
}
