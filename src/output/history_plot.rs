//! Pictures of the history as SVG text: a lane of results in time with the limits of the run chart, and how they pile up beside
//! it. Signals have a shape of their own, not only a colour.

use std::fmt::Write as _;

use super::history_view::DistributionView;

const ACROSS: f64 = 720.0;
const HEIGHT: f64 = 170.0;
/// Where the lane ends and the pile begins.
const LANE: f64 = 560.0;
const LEFT: f64 = 70.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 156.0;
/// Steps of the pile.
const STEPS: usize = 15;

/// The results of one characteristic in the order they were measured; `spoken` says what is drawn to those who do not see it, `signed`
/// writes a deviation at the axis.
#[must_use]
pub fn run(found: &DistributionView, spoken: &str, signed: &dyn Fn(f64) -> String) -> String {
    let values: Vec<f64> = found.results.iter().map(|result| result.deviation).collect();
    let limits = found.chart_limits.into_iter().flatten();
    let far = values.iter().copied().chain(limits).map(f64::abs).fold(0.0, f64::max).max(1e-9) * 1.08;
    let y = |value: f64| TOP + (BOTTOM - TOP) * (1.0 - value / far) / 2.0;
    let step = (LANE - LEFT) / number(values.len().max(1));
    let x = |at: usize| LEFT + step * (number(at) + 0.5);
    let mut svg = format!(
        "<svg class=\"run-chart\" viewBox=\"0 0 {ACROSS} {HEIGHT}\" role=\"img\" aria-label=\"{}\">",
        escaped(spoken)
    );
    add(&mut svg, format_args!("<path class=\"line-zero\" d=\"M{LEFT} {0:.2}L{ACROSS} {0:.2}\"/>", y(0.0)));
    for limit in found.chart_limits.into_iter().flatten() {
        add(&mut svg, format_args!("<path class=\"line-warning\" d=\"M{LEFT} {0:.2}L{LANE} {0:.2}\"/>", y(limit)));
        add(&mut svg, format_args!("<text x=\"{}\" y=\"{:.2}\">{}</text>", LEFT - 6.0, y(limit) + 5.0, signed(limit)));
    }
    // Without limits the outermost results say how large the axis is, where there is room beside the nought.
    let ends = [values.iter().copied().fold(f64::NAN, f64::max), values.iter().copied().fold(f64::NAN, f64::min)];
    for end in ends.into_iter().filter(|end| found.chart_limits.is_none() && (y(*end) - y(0.0)).abs() > 16.0) {
        add(&mut svg, format_args!("<text x=\"{}\" y=\"{:.2}\">{}</text>", LEFT - 6.0, y(end) + 5.0, signed(end)));
    }
    // Where a limit lies close to the middle, its number stands there.
    if found.chart_limits.into_iter().flatten().all(|limit| (y(limit) - y(0.0)).abs() > 16.0) {
        add(&mut svg, format_args!("<text x=\"{}\" y=\"{:.2}\">0</text>", LEFT - 6.0, y(0.0) + 5.0));
    }
    for (at, value) in values.iter().enumerate() {
        let (x, y) = (x(at), y(*value));
        if found.beyond.contains(&at) {
            add(&mut svg, format_args!("<path class=\"beyond\" d=\"M{:.2} {:.2}l6 6l-6 6l-6 -6Z\"/>", x, y - 6.0));
        } else if found.shifted.contains(&at) {
            add(
                &mut svg,
                format_args!(
                    "<rect class=\"shifted\" x=\"{:.2}\" y=\"{:.2}\" width=\"7\" height=\"7\"/>",
                    x - 3.5,
                    y - 3.5
                ),
            );
        } else {
            add(&mut svg, format_args!("<circle class=\"result\" cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"3.5\"/>"));
        }
    }
    pile(&mut svg, &values, far);
    svg.push_str("</svg>");
    svg
}

/// How the results pile up, drawn on the same axis.
fn pile(svg: &mut String, values: &[f64], far: f64) {
    let mut piles = [0_usize; STEPS];
    for value in values {
        let place = ((1.0 - value / far) / 2.0 * number(STEPS)).floor().clamp(0.0, number(STEPS - 1));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and kept within the steps")]
        if let Some(pile) = piles.get_mut(place as usize) {
            *pile += 1;
        }
    }
    let most = number(piles.iter().copied().max().unwrap_or(1).max(1));
    let height = (BOTTOM - TOP) / number(STEPS);
    for (at, count) in piles.iter().enumerate().filter(|(_, count)| **count > 0) {
        let width = (ACROSS - LANE - 20.0) * number(*count) / most;
        let y = TOP + height * number(at);
        add(
            svg,
            format_args!(
                "<rect class=\"pile\" x=\"{:.2}\" y=\"{y:.2}\" width=\"{width:.2}\" height=\"{:.2}\"/>",
                LANE + 12.0,
                height - 1.5
            ),
        );
    }
}

fn add(svg: &mut String, words: std::fmt::Arguments<'_>) {
    let _cannot_fail = svg.write_fmt(words);
}

/// Names of instruments come from the configuration; in an attribute they stay text.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;")
}

#[expect(clippy::cast_precision_loss, reason = "numbers of results")]
fn number(of: usize) -> f64 {
    of as f64
}
