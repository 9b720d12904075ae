//! The set view: how length, loft, lie and frequency step through the clubs of an order, and which step stands out.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;

use super::{Shell, nothing, show};
use crate::output::plan_view::{GapView, PointView, SeriesView, series_view};
use crate::output::web::Web;
use crate::output::web::set::series;

#[derive(Template)]
#[template(path = "set.html")]
struct SetPage<'a> {
    shell: Shell<'a>,
    order: &'a str,
    /// Those with two clubs and more.
    series: &'a [SeriesView],
}

impl SetPage<'_> {
    fn heading(&self) -> String {
        self.shell.t("set.of").replace("{order}", self.order)
    }

    fn stands_out(&self, gap: &GapView, series: &SeriesView) -> String {
        let off = signed(gap.off_line.unwrap_or_default(), series.unit);
        let words = self.shell.t("set.stands_out").replace("{from}", &gap.from).replace("{to}", &gap.to);
        words.replace("{step}", &signed(gap.step, series.unit)).replace("{off}", &off)
    }
}

/// The message key of what a series is of.
fn name_key(series: &SeriesView) -> String {
    format!("code.{}", series.characteristic)
}

/// The words of a value of a series; units of UCUM as people write them.
fn value(value: f64, unit: &str) -> String {
    match unit {
        "deg" => format!("{value:.1}°"),
        "{cpm}" => format!("{value:.0} cpm"),
        other => format!("{value:.1} {other}"),
    }
}

fn signed(number: f64, unit: &str) -> String {
    let shown = value(number.abs(), unit);
    let is_zero = !shown.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
    match (is_zero, number < 0.0) {
        (true, _) => shown,
        (false, true) => format!("\u{2212}{shown}"),
        (false, false) => format!("+{shown}"),
    }
}

fn value_of(point: &PointView, series: &SeriesView) -> String {
    value(point.y, series.unit)
}

fn off_line(point: &PointView, series: &SeriesView) -> String {
    point.off_line.map_or_else(|| "–".to_owned(), |off| signed(off, series.unit))
}

/// The step from a club to the next one.
fn step_after(point: &PointView, series: &SeriesView) -> String {
    let gap = series.gaps.iter().find(|gap| gap.from == point.club);
    gap.map_or_else(|| "–".to_owned(), |gap| signed(gap.step, series.unit))
}

/// The step that is farthest from the line, which is looked at first; none where fewer than three clubs give a line.
fn farthest(series: &SeriesView) -> Option<&GapView> {
    let off = |gap: &&GapView| gap.off_line.map_or(0.0, f64::abs);
    series.gaps.iter().filter(|gap| gap.off_line.is_some()).max_by(|a, b| off(a).total_cmp(&off(b)))
}

/// The page of an order's set.
pub(in crate::output::web) async fn page(State(web): State<Web>, Path(order): Path<String>) -> Response {
    match series(&web, &order).await {
        Ok(found) => {
            let series: Vec<SeriesView> = found.iter().map(series_view).filter(|one| one.points.len() > 1).collect();
            show(&SetPage { shell: Shell::new(&web, "../../", "orders"), order: &order, series: &series })
        }
        Err(problem) => {
            let words = format!("there is no order {order}; the page of the orders lists them");
            nothing(&web, "../../", "orders", problem.status(), "no such order", &words)
        }
    }
}
