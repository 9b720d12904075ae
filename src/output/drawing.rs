//! Curves and control charts as points of a drawing: values in, coordinates and axis labels out. No markup and no colours.
//!
//! Every drawing is [`WIDTH`] by [`HEIGHT`], x to the right and y downwards; what shows it stretches it as it likes.

use std::fmt::Write as _;

use crate::measurement::evidence::Evidence;
use crate::work_order::checks::CheckZone;

/// Width of a drawing.
pub const WIDTH: f64 = 1000.0;
/// Height of a drawing.
pub const HEIGHT: f64 = 300.0;
/// Room left at the edges, as a share of the range that is shown.
const MARGIN: f64 = 0.08;
/// The close view of a settling curve shows so many ranges of its settled window.
const CLOSE_RANGES: f64 = 6.0;
/// A chart reaches so much further than its stop limits and errors, so that its labels hide none of them.
const CHART_ROOM: f64 = 1.4;
/// Most points of one curve: more cannot be told apart on any screen.
const MOST_POINTS: usize = 2000;

/// One channel of a settling curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The points, as `x,y x,y`.
    pub points: String,
    /// Left edge of the window of the mean.
    pub window_x: f64,
    /// Its width.
    pub window_width: f64,
    /// Where the settled level lies.
    pub level_y: f64,
    /// Value at the top.
    pub top: String,
    /// Value at the bottom.
    pub bottom: String,
    /// Seconds from the first sample to the start of the window.
    pub lead: String,
    /// Seconds of the window.
    pub length: String,
}

/// What a curve is drawn from besides its samples.
#[derive(Debug, Clone, Copy)]
pub struct CurveOf {
    /// Which channel, 0 or 1.
    pub channel: usize,
    /// What is subtracted from the samples.
    pub zero: f64,
    /// The settled level less the zero.
    pub level: f64,
    /// Start and end of the window of the mean, in the time of the samples.
    pub window_s: [f64; 2],
    /// Digits behind the point at the axis.
    pub decimals: usize,
}

impl Curve {
    /// The whole stored curve; `None` below two samples.
    #[must_use]
    pub fn whole(evidence: &Evidence, of: CurveOf) -> Option<Self> {
        Self::new(evidence, of, false)
    }

    /// The same, with the settled window filling the height.
    #[must_use]
    pub fn close(evidence: &Evidence, of: CurveOf) -> Option<Self> {
        Self::new(evidence, of, true)
    }

    fn new(evidence: &Evidence, of: CurveOf, close: bool) -> Option<Self> {
        let value = |values: [f64; 2]| values.get(of.channel).copied().unwrap_or_default() - of.zero;
        let samples: Vec<(f64, f64)> = evidence.samples.iter().map(|s| (s.t_s, value(s.values))).collect();
        let (start_s, end_s) = (samples.first()?.0, samples.last()?.0);
        if end_s <= start_s {
            return None;
        }
        let in_window = |t_s: f64| (of.window_s[0]..=of.window_s[1]).contains(&t_s);
        let shown = samples.iter().filter(|(t_s, _)| !close || in_window(*t_s)).map(|(_, v)| *v);
        let (low, high) =
            shown.chain([of.level]).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let step = 10f64.powi(-i32::try_from(of.decimals).unwrap_or(0));
        let range = (high - low).max(step) * if close { CLOSE_RANGES } else { 1.0 + 2.0 * MARGIN };
        let middle = if close { of.level } else { f64::midpoint(low, high) };
        let axis = Axis { bottom: middle - range / 2.0, top: middle + range / 2.0 };
        let x = |t_s: f64| (t_s - start_s) / (end_s - start_s) * WIDTH;
        let every = samples.len().div_ceil(MOST_POINTS).max(1);
        let mut points = String::new();
        for (t_s, v) in samples.iter().step_by(every) {
            // Writing to a String cannot fail.
            let _infallible = write!(points, "{:.1},{:.1} ", x(*t_s), axis.y(*v));
        }
        let window = of.window_s.map(|t_s| x(t_s.clamp(start_s, end_s)));
        Some(Self {
            points: points.trim_end().to_owned(),
            window_x: window[0],
            window_width: window[1] - window[0],
            level_y: axis.y(of.level),
            top: format!("{:.*}", of.decimals, axis.top),
            bottom: format!("{:.*}", of.decimals, axis.bottom),
            lead: format!("{:.1}", (of.window_s[0] - start_s).max(0.0)),
            length: format!("{:.1}", of.window_s[1] - of.window_s[0]),
        })
    }
}

/// A range of values over the height of a drawing.
#[derive(Debug, Clone, Copy)]
struct Axis {
    bottom: f64,
    top: f64,
}

impl Axis {
    fn y(self, value: f64) -> f64 {
        (self.top - value) / (self.top - self.bottom) * HEIGHT
    }
}

/// A control chart: errors of a reference in the order of the checks.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlChart {
    /// The checks.
    pub marks: Vec<Mark>,
    /// The checks as one line, as `x,y x,y`.
    pub points: String,
    /// Where the error is nought.
    pub zero_y: f64,
    /// Mean and limits, once there are enough checks.
    pub limits: Option<LimitLines>,
    /// Error at the top.
    pub top: String,
    /// Error at the bottom.
    pub bottom: String,
}

/// One check on the chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Place of the check.
    pub x: f64,
    /// Its error.
    pub y: f64,
    /// `good`, `warning` or `out`.
    pub zone: &'static str,
}

/// The lines of a control chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitLines {
    /// The mean of the first checks.
    pub mean_y: f64,
    /// Upper and lower warning limit, two standard deviations off.
    pub warning_y: [f64; 2],
    /// Upper and lower stop limit, three standard deviations off.
    pub stop_y: [f64; 2],
}

impl ControlChart {
    /// Draws errors with their zones, oldest first, between mean and standard deviation of the first of them; all in one
    /// unit, with the step of the indication as the least range. `None` without a check.
    #[must_use]
    pub fn of(errors: &[(f64, CheckZone)], limits: Option<(f64, f64)>, resolution: f64) -> Option<Self> {
        if errors.is_empty() {
            return None;
        }
        let stop = |(mean, s): (f64, f64)| [mean - 3.0 * s, mean + 3.0 * s];
        let all = errors.iter().map(|(error, _)| *error).chain(limits.iter().flat_map(|limits| stop(*limits)));
        let size = all.fold(resolution.max(1e-4), |size, value| size.max(value.abs())) * CHART_ROOM;
        let axis = Axis { bottom: -size, top: size };
        let step = WIDTH / (f64::from(u32::try_from(errors.len()).unwrap_or(u32::MAX)) + 1.0);
        let marks: Vec<Mark> = (1_u32..)
            .zip(errors)
            .map(|(place, (error, zone))| Mark { x: f64::from(place) * step, y: axis.y(*error), zone: zone.name() })
            .collect();
        let points: Vec<String> = marks.iter().map(|mark| format!("{:.1},{:.1}", mark.x, mark.y)).collect();
        Some(Self {
            points: points.join(" "),
            marks,
            zero_y: axis.y(0.0),
            limits: limits.map(|(mean, s)| LimitLines {
                mean_y: axis.y(mean),
                warning_y: [1.0, -1.0].map(|side| axis.y(mean + side * 2.0 * s)),
                stop_y: [1.0, -1.0].map(|side| axis.y(mean + side * 3.0 * s)),
            }),
            top: format!("{:+.3}", axis.top),
            bottom: format!("{:+.3}", axis.bottom).replace('-', "\u{2212}"),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::sample::Sample;

    #[test]
    fn a_curve_marks_its_window_and_its_level() {
        let samples =
            (0..=10).map(|n| Sample { t_s: f64::from(n), values: [if n < 5 { 0.0 } else { 10.0 }, 0.0] }).collect();
        let evidence = Evidence { frames: Vec::new(), samples };
        let of = CurveOf { channel: 0, zero: 0.0, level: 10.0, window_s: [6.0, 9.0], decimals: 2 };
        let curve = Curve::whole(&evidence, of).unwrap();
        assert!((curve.window_x - 600.0).abs() < 1e-9 && (curve.window_width - 300.0).abs() < 1e-9);
        // 8 % of the range above and below: the level of 10 g lies 0.8 / 11.6 below the top.
        assert!((curve.level_y - HEIGHT * 0.8 / 11.6).abs() < 1e-9, "{curve:?}");
        assert_eq!((curve.lead.as_str(), curve.length.as_str()), ("6.0", "3.0"));
        let close = Curve::close(&evidence, of).unwrap();
        assert!((close.level_y - HEIGHT / 2.0).abs() < 1e-9);
        assert_eq!(Curve::whole(&Evidence::default(), of), None);
    }

    #[test]
    fn limits_of_a_chart_lie_two_and_three_standard_deviations_off() {
        let limits = (0.0, 1.0);
        let chart = ControlChart::of(&[(0.0, CheckZone::Good), (4.0, CheckZone::Out)], Some(limits), 0.01).unwrap();
        let lines = chart.limits.unwrap();
        let from_middle = |y: f64| (HEIGHT / 2.0 - y).abs();
        assert!((from_middle(lines.stop_y[0]) / from_middle(lines.warning_y[0]) - 1.5).abs() < 1e-9);
        assert!((from_middle(chart.marks[1].y) / from_middle(lines.stop_y[1]) - 4.0 / 3.0).abs() < 1e-9);
        assert_eq!(chart.marks[1].zone, "out");
        assert_eq!(ControlChart::of(&[], Some(limits), 0.01), None);
    }
}
