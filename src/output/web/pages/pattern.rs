//! Every part of the pages in every state, by day and by night. No page links here: it is for those who change a part.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::parts::{ChartPart, CurvePart, PlacementsPart, SignPart};
use super::{Shell, show};
use crate::measurement::evidence::Evidence;
use crate::measurement::sample::Sample;
use crate::output::drawing::{ControlChart, Curve, CurveOf};
use crate::output::trust_detail::PlacementLine;
use crate::output::web::Web;
use crate::work_order::checks::CheckZone;

/// Codes of all signs: verdicts, zones of a check, states of a club.
const SIGNS: [&str; 11] =
    ["within", "under", "over", "no_target", "good", "warning", "out", "waiting", "in_work", "aside", "finished"];
/// Phases of an instrument; their signs are drawn by the same script as on the bench display.
const PHASES: [&str; 6] = ["empty", "settling", "held", "disturbed", "unknown", "lost"];

#[derive(Template)]
#[template(path = "pattern.html")]
struct PatternPage<'a> {
    shell: Shell<'a>,
    charts: Vec<(&'static str, Option<ControlChart>, Option<&'static str>)>,
    curve: Option<Curve>,
    placements: Vec<PlacementLine>,
}

impl PatternPage<'_> {
    fn palettes(&self) -> [&'static str; 2] {
        ["day", "night"]
    }

    fn signs(&self) -> impl Iterator<Item = SignPart> {
        SIGNS.into_iter().map(SignPart::new)
    }

    fn phases(&self) -> [&'static str; 6] {
        PHASES
    }

    fn chart_parts(&self) -> impl Iterator<Item = (&'static str, ChartPart<'_>)> {
        self.charts.iter().map(|(state, chart, limits)| {
            (*state, ChartPart { chart: chart.as_ref(), limits: *limits, label: "error, g", name: "an example" })
        })
    }

    fn placements_part(&self, palette: &'static str) -> PlacementsPart<'_> {
        let title = if palette == "day" { "references by day" } else { "references by night" };
        PlacementsPart::new(title, &self.placements, "shared.none", "")
    }

    fn curve_part(&self) -> Option<CurvePart<'_>> {
        let curve = self.curve.as_ref()?;
        Some(CurvePart { curve, label: "mass", unit: "g", name: "an example".to_owned() })
    }
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>) -> Response {
    let limits = (0.002, 0.004);
    let few = [(0.004, CheckZone::Good), (-0.002, CheckZone::Good)];
    let many = [0.004, -0.002, 0.001, 0.006, 0.0, 0.011, 0.005, 0.016].map(|error: f64| match error {
        error if error > 0.014 => (error, CheckZone::Out),
        error if error > 0.01 => (error, CheckZone::Warning),
        error => (error, CheckZone::Good),
    });
    let words = "mean 0.0020 g, warning beyond \u{2212}0.0060 g to 0.0100 g, stop beyond \u{2212}0.0100 g to 0.0140 g";
    let placements = vec![PlacementLine {
        reference: "200 g, class M1".to_owned(),
        certificate: Some("4711".to_owned()),
        showed: "200.0 g".to_owned(),
        error: "0.0050 g".to_owned(),
        reading: "00000000-0000-7000-8000-000000000000".to_owned(),
    }];
    show(&PatternPage {
        shell: Shell::new(&web, "", "pattern"),
        charts: vec![
            ("no check", None, None),
            ("fewer than five", ControlChart::of(&few, None, 0.01), None),
            ("all zones", ControlChart::of(&many, Some(limits), 0.01), Some(words)),
        ],
        curve: example_curve(),
        placements,
    })
}

/// A load of 203 g that swings in.
fn example_curve() -> Option<Curve> {
    let sample = |n: u32| {
        let t_s = f64::from(n) * 0.1;
        Sample { t_s, values: [203.0 - 40.0 * (-t_s / 0.3).exp() * (t_s * 9.0).cos(), 0.0] }
    };
    let evidence = Evidence { frames: Vec::new(), samples: (0..30).map(sample).collect() };
    let of = CurveOf { channel: 0, zero: 0.0, level: 203.0, window_s: [1.9, 2.9], decimals: 2 };
    Curve::whole(&evidence, of)
}
