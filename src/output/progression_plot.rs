//! The steps through a set as a picture: series come in, an SVG document goes out. One panel below the other, each with
//! its points, the line through them, and the step written between neighbours.

use super::language::Language;
use super::text::{self, Lengths, plain_unit};
use crate::club::characteristic::Characteristic;
use crate::club::progression::Series;
use crate::measurement::unit::MM_PER_INCH;

/// Size of a panel and of its margins, in user units (pixels at 96 dpi).
const WIDTH: f64 = 720.0;
const PANEL: f64 = 240.0;
const LEFT: f64 = 80.0;
const RIGHT: f64 = 40.0;
const TOP: f64 = 46.0;
const BELOW: f64 = 54.0;
/// Letters of a name.
const LONGEST_NAME: usize = 24;

/// On a display at night, where the picture is part of a page; what is saved or printed has the colours of its marks.
const NIGHT: &str = "<style>@media screen and (prefers-color-scheme: dark) { svg { fill: #f1f5f3 } .ground { fill: #141b19 } \
                     .point { fill: #f1f5f3 } .floor { stroke: #7f8d87 } .line { stroke: #9cc6ff } .step { fill: #9cc6ff } .over { stroke: #141b19 } }</style>";

/// The picture, its words in a language, its lengths as they are wanted.
#[must_use]
pub fn svg(title: &str, series: &[Series], language: Language, lengths: Lengths) -> String {
    let panels = u32::try_from(series.len()).unwrap_or(0);
    let height = 40.0 + PANEL * f64::from(panels);
    let mut picture = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" font-family=\"sans-serif\" \
         font-size=\"13\" fill=\"#1a1a1a\" role=\"img\">\n<title>{title}</title>\n\
         {NIGHT}\n<rect class=\"ground\" width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n\
         <text x=\"{LEFT}\" y=\"26\" font-size=\"17\" font-weight=\"bold\">{title}</text>\n",
        title = escaped(&language.said(title))
    );
    for (number, series) in (0u32..).zip(series) {
        panel(&mut picture, series, (language, lengths), 40.0 + PANEL * f64::from(number));
    }
    picture.push_str("</svg>\n");
    picture
}

/// Numbers stand over the line with a rim of the ground.
const OVER: &str = "paint-order=\"stroke\" stroke=\"#ffffff\" stroke-width=\"4\"";

/// A long name would reach over its neighbours or out of the picture.
fn short(name: &str) -> String {
    if name.chars().count() <= LONGEST_NAME {
        return name.to_owned();
    }
    let begins: String = name.chars().take(LONGEST_NAME - 1).collect();
    format!("{}…", begins.trim_end())
}

/// The range of some numbers with a margin; never empty.
fn range(numbers: impl Iterator<Item = f64>, margin: f64) -> (f64, f64) {
    let (low, high) = numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
    let spare = ((high - low) * margin).max(0.5);
    (low - spare, high + spare)
}

fn panel(picture: &mut String, series: &Series, (language, lengths): (Language, Lengths), top: f64) {
    let (x_low, x_high) = range(series.points.iter().map(|point| point.x), 0.08);
    let (y_low, y_high) = range(series.points.iter().map(|point| point.y), 0.15);
    // From the longest club on, to the right: a length falls that way.
    let falls = series.against.starts_with("length");
    let place = |x: f64| if falls { (x_high - x) / (x_high - x_low) } else { (x - x_low) / (x_high - x_low) };
    let across = |x: f64| LEFT + place(x) * (WIDTH - LEFT - RIGHT);
    let floor = top + PANEL - BELOW;
    let up = |y: f64| floor - (y - y_low) / (y_high - y_low) * (PANEL - TOP - BELOW);
    let mut draw = |text: String| {
        picture.push_str(&text);
        picture.push('\n');
    };
    let (left, right) = (LEFT, WIDTH - RIGHT);
    // What is against the length is said for an inch, the step in which lengths are ordered.
    let slope = series.line.map(|line| {
        let step = Step { of: series.unit, lengths, size: line.slope };
        format!(", {} for one {}", step.signed(), if falls { "inch" } else { "club" })
    });
    let unit = if series.unit == "in" && lengths == Lengths::Millimetres { "mm" } else { plain_unit(series.unit) };
    let heading = language.said(&format!("{} ({unit}){}", series.of, slope.unwrap_or_default()));
    draw(format!("<text x=\"{left}\" y=\"{:.1}\" font-weight=\"bold\">{}</text>", top + 22.0, escaped(&heading)));
    draw(format!("<path class=\"floor\" d=\"M{left} {floor}H{right}\" stroke=\"#8a8a8a\"/>"));
    if let Some(line) = series.line {
        let ends = series.points.first().zip(series.points.last());
        if let Some((first, last)) = ends {
            draw(format!(
                "<path class=\"line\" d=\"M{:.1} {:.1}L{:.1} {:.1}\" stroke=\"#123f80\" stroke-dasharray=\"6 4\" fill=\"none\"/>",
                across(first.x),
                up(line.at(first.x)),
                across(last.x),
                up(line.at(last.x))
            ));
        }
    }
    for (position, point) in series.points.iter().enumerate() {
        let (x, y) = (across(point.x), up(point.y));
        // Names of neighbours stand on two lines, or those of clubs of nearly one length would cover each other.
        let lower = if position % 2 == 0 { 18.0 } else { 34.0 };
        draw(format!("<circle class=\"point\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"#1a1a1a\"/>"));
        draw(format!(
            "<text class=\"over\" x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" {OVER}>{}</text>",
            y - 10.0,
            Step { of: series.unit, lengths, size: point.y }.size()
        ));
        draw(format!(
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"12\">{}</text>",
            floor + lower,
            escaped(&short(&point.club))
        ));
    }
    for (pair, gap) in series.points.windows(2).zip(&series.gaps) {
        let [from, to] = pair else { continue };
        let (x, y) = (f64::midpoint(across(from.x), across(to.x)), f64::midpoint(up(from.y), up(to.y)));
        draw(format!(
            "<text class=\"step over\" x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"12\" fill=\"#123f80\" {OVER}>{}</text>",
            y + 18.0,
            Step { of: series.unit, lengths, size: gap.step }.signed()
        ));
    }
}

/// A value of a series or a difference of two, in the unit `of` (lengths in inches), as people read it.
struct Step {
    of: &'static str,
    lengths: Lengths,
    size: f64,
}

impl Step {
    fn size(&self) -> String {
        match self.of {
            "in" => text::value(Characteristic::Length, self.size * MM_PER_INCH, self.lengths),
            "deg" => format!("{:.1}°", self.size),
            "{cpm}" => format!("{:.0} cpm", self.size),
            other => format!("{:.1} {}", self.size, plain_unit(other)),
        }
    }

    fn signed(&self) -> String {
        let size = Self { size: self.size.abs(), ..*self }.size();
        // What rounds to nothing has no sign.
        match (size.bytes().any(|byte| (b'1'..=b'9').contains(&byte)), self.size < 0.0) {
            (false, _) => size,
            (true, true) => format!("\u{2212}{size}"),
            (true, false) => format!("+{size}"),
        }
    }
}

/// Text that may stand in a document: a name that a person typed is no markup.
fn escaped(text: &str) -> String {
    text.chars().fold(String::with_capacity(text.len()), |mut safe, c| {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            c if c.is_control() => safe.push(' '),
            c => safe.push(c),
        }
        safe
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::progression::{SetClub, progressions};

    #[test]
    fn the_picture_has_every_club_and_every_step_and_no_foreign_markup() {
        let club = |name: &str, length_mm: f64, loft: f64| SetClub {
            name: name.into(),
            length_mm: Some(length_mm),
            loft_deg: Some(loft),
            ..SetClub::default()
        };
        let set = [club("5-iron", 965.2, 27.0), club("<b>7 & \"8\"", 939.8, 34.5)];
        let picture = svg("order W-1", &progressions(&set), Language::English, Lengths::Inches);
        assert!(
            svg("order W-1", &progressions(&set), Language::German, Lengths::Inches)
                .contains("<title>Auftrag W-1</title>")
        );
        assert!(picture.starts_with("<svg ") && picture.ends_with("</svg>\n"));
        for expected in
            ["5-iron", "&lt;b&gt;7 &amp; &quot;8&quot;", ">+7.5°</text>", ">−1 in</text>", "27.0°", ">38 in<"]
        {
            assert!(picture.contains(expected), "{expected} not in {picture}");
        }
        assert!(!picture.contains("<b>") && !picture.contains("NaN"));
        assert_eq!(picture.matches("<circle").count(), 4);
        // 38 in = 965.2 mm, 1 in = 25.4 mm.
        let metric = svg("order W-1", &progressions(&set), Language::English, Lengths::Millimetres);
        assert!(
            metric.contains(">965.2 mm<") && metric.contains(">−25.4 mm</text>") && metric.contains("length (mm)"),
            "{metric}"
        );
    }
}
