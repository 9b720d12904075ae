//! The set view: how length, loft, lie and frequency step through the clubs of an order, and which step stands out.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;

use super::{Shell, nothing, show};
use crate::club::characteristic::Characteristic;
use crate::measurement::unit::MM_PER_INCH;
use crate::output::plan_view::{GapView, PointView, SeriesView, series_view};
use crate::output::text::{self, Lengths};
use crate::output::web::Web;
use crate::output::web::set::series;
use crate::output::web::units;

#[derive(Template)]
#[template(path = "set.html")]
struct SetPage<'a> {
    shell: Shell<'a>,
    order: &'a str,
    /// Those with two clubs and more.
    series: &'a [SeriesView],
    lengths: Lengths,
}

impl SetPage<'_> {
    fn heading(&self) -> String {
        self.shell.t("set.of").replace("{order}", self.order)
    }

    fn stands_out(&self, gap: &GapView, series: &SeriesView) -> String {
        let off = self.signed(gap.off_line.unwrap_or_default(), series);
        let words = self.shell.t("set.stands_out").replace("{from}", &gap.from).replace("{to}", &gap.to);
        words.replace("{step}", &self.signed(gap.step, series)).replace("{off}", &off)
    }

    /// The words of a value of a series: lengths as the bench shows them, units of UCUM as people write them.
    fn value(&self, value: f64, series: &SeriesView) -> String {
        match series.unit {
            "in" => text::value(Characteristic::Length, value * MM_PER_INCH, self.lengths),
            "deg" => format!("{value:.1}°"),
            "{cpm}" => format!("{value:.0} cpm"),
            other => format!("{value:.1} {other}"),
        }
    }

    fn signed(&self, number: f64, series: &SeriesView) -> String {
        let shown = self.value(number.abs(), series);
        let is_zero = !shown.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
        match (is_zero, number < 0.0) {
            (true, _) => shown,
            (false, true) => format!("\u{2212}{shown}"),
            (false, false) => format!("+{shown}"),
        }
    }

    /// The value of a club, how far it is off the line, and the step to the next club.
    fn cells(&self, point: &PointView, series: &SeriesView) -> [String; 3] {
        let step = series.gaps.iter().find(|gap| gap.from == point.club).map(|gap| gap.step);
        [self.value(point.y, series), self.difference(point.off_line, series), self.difference(step, series)]
    }

    /// The step that is farthest from the line, which is looked at first; none where all lie on it or fewer than three clubs give none.
    fn farthest<'a>(&self, series: &'a SeriesView) -> Option<&'a GapView> {
        let off = |gap: &GapView| gap.off_line.map_or(0.0, f64::abs);
        let is_off = |gap: &&GapView| self.value(off(gap), series).bytes().any(|byte| (b'1'..=b'9').contains(&byte));
        series.gaps.iter().filter(is_off).max_by(|a, b| off(a).total_cmp(&off(b)))
    }

    fn difference(&self, number: Option<f64>, series: &SeriesView) -> String {
        number.map_or_else(|| "–".to_owned(), |number| self.signed(number, series))
    }
}

/// The message key of what a series is of.
fn name_key(series: &SeriesView) -> String {
    format!("code.{}", series.characteristic)
}

/// The page of an order's set.
pub(in crate::output::web) async fn page(State(web): State<Web>, Path(order): Path<String>) -> Response {
    match series(&web, &order).await {
        Ok(found) => {
            let series: Vec<SeriesView> = found.iter().map(series_view).filter(|one| one.points.len() > 1).collect();
            show(&SetPage {
                shell: Shell::new(&web, "../../", "orders"),
                order: &order,
                series: &series,
                lengths: units::current().lengths.unwrap_or(web.lengths),
            })
        }
        Err(problem) => {
            let words = format!("there is no order {order}; the page of the orders lists them");
            nothing(&web, "../../", "orders", problem.status(), "no such order", &words)
        }
    }
}
