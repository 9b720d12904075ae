//! Pictures of a finished gauge study as SVG text: what it takes of the tolerance, where the spread comes from, who and
//! which part stands out. Looks come from the style sheet by class; shapes tell what colours tell.

use std::fmt::Write as _;

use super::study_view::{amount, width};
use crate::measurement::study_result::{StudyResult, WIDTH};
use crate::work_order::study::Study;

/// Width of every picture, in its own units.
const ACROSS: f64 = 720.0;

/// How a sentence is said on the display that a picture is for: in its language and units.
pub type Say<'a> = &'a dyn Fn(&str) -> String;

/// An SVG that grows. Writing to a text cannot fail.
struct Picture<'a> {
    svg: String,
    say: Say<'a>,
}

impl<'a> Picture<'a> {
    fn new(say: Say<'a>, height: f64, name: &str, told: &str) -> Self {
        let (name, told) = (escaped(&say(name)), escaped(told));
        let svg = format!(
            "<svg class=\"plot\" viewBox=\"0 0 {ACROSS} {height}\" role=\"img\" aria-label=\"{name}: {told}\"><title>{name}</title>"
        );
        Self { svg, say }
    }

    fn rect(&mut self, class: &str, [x, y, width, height]: [f64; 4]) {
        self.add(format_args!(
            "<rect class=\"{class}\" x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{height:.2}\"/>",
            width.max(0.0)
        ));
    }

    fn line(&mut self, class: &str, [x1, y1, x2, y2]: [f64; 4]) {
        self.add(format_args!("<path class=\"{class}\" d=\"M{x1:.2} {y1:.2}L{x2:.2} {y2:.2}\"/>"));
    }

    fn text(&mut self, class: &str, at: [f64; 2], text: &str) {
        let said = (self.say)(text);
        self.name(class, at, &said);
    }

    /// A text that is whatever people call it.
    fn name(&mut self, class: &str, [x, y]: [f64; 2], name: &str) {
        self.add(format_args!("<text class=\"{class}\" x=\"{x:.2}\" y=\"{y:.2}\">{}</text>", escaped(name)));
    }

    fn circle(&mut self, class: &str, [x, y]: [f64; 2], radius: f64) {
        self.add(format_args!("<circle class=\"{class}\" cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{radius:.2}\"/>"));
    }

    /// A polygon about a point: corners as angle in eighths of a turn from the right.
    fn corners(&mut self, class: &str, [x, y]: [f64; 2], radius: f64, corners: &[f64]) {
        let point = |eighths: &f64| {
            let (sine, cosine) = (eighths * std::f64::consts::FRAC_PI_4).sin_cos();
            format!("{:.2} {:.2}", x + radius * cosine, y - radius * sine)
        };
        let path = corners.iter().map(point).collect::<Vec<_>>().join("L");
        self.add(format_args!("<path class=\"{class}\" d=\"M{path}Z\"/>"));
    }

    fn add(&mut self, words: std::fmt::Arguments<'_>) {
        let _cannot_fail = self.svg.write_fmt(words);
    }

    fn done(mut self) -> String {
        self.svg.push_str("</svg>");
        self.svg
    }
}

/// A text that stays text inside of XML.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
        out
    })
}

/// The mark of a person: a shape of its own for each of ten.
fn mark(picture: &mut Picture<'_>, person: usize, at: [f64; 2], radius: f64) {
    let shape: &[f64] = match person % 5 {
        0 => return person_circle(picture, person, at, radius),
        1 => &[1.0, 3.0, 5.0, 7.0],
        2 => &[0.0, 2.0, 4.0, 6.0],
        3 => &[2.0, 4.667, 7.333],
        _ => &[6.0, 0.667, 3.333],
    };
    picture.corners(&mark_class(person), at, radius * 1.25, shape);
}

fn person_circle(picture: &mut Picture<'_>, person: usize, at: [f64; 2], radius: f64) {
    picture.circle(&mark_class(person), at, radius);
}

fn mark_class(person: usize) -> String {
    format!("mark person-{}{}", person % 5, if person >= 5 { " hollow" } else { "" })
}

/// The tolerance as a slot between two posts, and in it what measuring fills; without a tolerance everything that varied.
#[must_use]
pub fn takes(study: &Study, result: &StudyResult, say: Say<'_>) -> String {
    const LEFT: f64 = 30.0;
    const SLOT: [f64; 2] = [46.0, 64.0];
    /// What the words of the limits take at most.
    const LIMITS_WIDE: f64 = 150.0;
    let (spread, quantity) = (&result.by_anova, study.plan.quantity);
    let (whole, what) = match (width(study), &study.plan.tolerance) {
        (Some(width), Some(tolerance)) => (width, format!("tolerance {}", tolerance.text)),
        _ => (WIDTH * spread.total, "all that varied".to_owned()),
    };
    let share = |sd: f64| if whole > 0.0 { WIDTH * sd / whole } else { 0.0 };
    let percent = 100.0 * share(spread.measuring);
    let mut picture = Picture::new(say, 170.0, "share of measuring", &say(&format!("{percent:.1} % of {what}")));
    let (middle, full) = (ACROSS / 2.0, ACROSS - 2.0 * LEFT);
    let block = |share: f64| {
        let half = share.min(1.0) * full / 2.0;
        [middle - half, SLOT[0], 2.0 * half, SLOT[1]]
    };
    picture.rect("slot", block(1.0));
    picture.rect("fill measuring", block(share(spread.measuring)));
    picture.rect("fill repeats", block(share(spread.repeatability)));
    // A tenth and three tenths of it: where good ends, and where it does not do any more.
    for (part, word) in [(0.1, "10 %"), (0.3, "30 %")] {
        let [x, y, across, down] = block(part);
        for at in [x, x + across] {
            picture.line("notch", [at, y - 8.0, at, y]);
            picture.line("notch", [at, y + down, at, y + down + 8.0]);
        }
        picture.text("small end", [x - 3.0, y - 3.0], word);
    }
    for at in [LEFT, ACROSS - LEFT] {
        picture.line("post", [at, SLOT[0] - 14.0, at, SLOT[0] + SLOT[1] + 14.0]);
    }
    if let Some([low, high]) = result.measuring_limits {
        let y = SLOT[0] + SLOT[1] + 18.0;
        let [inner, outer] = [block(share(low)), block(share(high))];
        for (from, to) in [(outer[0], inner[0]), (inner[0] + inner[2], outer[0] + outer[2])] {
            picture.line("limits", [from, y, to, y]);
            picture.line("limits", [from, y - 5.0, from, y + 5.0]);
            picture.line("limits", [to, y - 5.0, to, y + 5.0]);
        }
        let (low, high) = (100.0 * share(low), 100.0 * share(high));
        // Between the two, or where they leave no room beside them; where there is none either, below the right one.
        let (inside, right) = (inner[2], outer[0] + outer[2]);
        let (class, at) = if inside > LIMITS_WIDE {
            ("small middle", [middle, y + 4.0])
        } else if right + LIMITS_WIDE < ACROSS - LEFT {
            ("small", [right + 10.0, y + 4.0])
        } else {
            ("small end", [right, y + 19.0])
        };
        picture.text(class, at, &format!("90 %: {low:.0} to {high:.0} %"));
    }
    picture.text("large middle", [middle, 28.0], &format!("{percent:.1} %"));
    let ends = study.plan.tolerance.as_ref().filter(|_| width(study).is_some());
    if let Some((lower, upper)) = ends.and_then(|tolerance| tolerance.lower.zip(tolerance.upper)) {
        picture.text("small", [LEFT, 160.0], &amount(quantity, lower));
        picture.text("small end", [ACROSS - LEFT, 160.0], &amount(quantity, upper));
    }
    picture.text("small middle", [middle, 160.0], &format!("{what}: {}", amount(quantity, whole)));
    picture.done()
}

/// One hundred cells, each a hundredth of the variance, with the shape of where it comes from.
#[must_use]
pub fn comes_from(result: &StudyResult, say: Say<'_>) -> String {
    let spread = &result.by_anova;
    let sources = [
        ("repeats", "one person repeating", spread.repeatability),
        ("people", "people", spread.people),
        ("cross", "people by part", spread.interaction),
        ("parts", "the parts themselves", spread.parts),
    ];
    let shares = hundredths(sources.map(|(_, _, sd)| sd * sd));
    let told = sources.iter().zip(shares).map(|((_, word, _), share)| say(&format!("{word} {share} %")));
    let mut picture = Picture::new(say, 158.0, "where the spread comes from", &told.collect::<Vec<_>>().join(", "));
    let each = sources.iter().zip(shares).flat_map(|((class, _, _), share)| vec![*class; share]);
    for (place, class) in each.enumerate() {
        // Columns of four, so that a source is one block.
        let (column, row) = ((place / 4) as f64, (place % 4) as f64);
        grain(&mut picture, class, [24.0 + column * 28.0, 16.0 + row * 28.0]);
    }
    let mut x = 24.0;
    for ((class, word, _), share) in sources.iter().zip(shares) {
        if share > 0 {
            grain(&mut picture, class, [x, 142.0]);
            let words = say(&format!("{word} {share} %"));
            picture.name("small", [x + 16.0, 147.0], &words);
            x += 40.0 + 7.6 * words.chars().count() as f64;
        }
    }
    picture.done()
}

fn grain(picture: &mut Picture<'_>, source: &str, at: [f64; 2]) {
    let class = format!("grain {source}");
    match source {
        "repeats" => picture.corners(&class, at, 15.0, &[1.0, 3.0, 5.0, 7.0]),
        "people" => picture.corners(&class, at, 13.0, &[0.0, 2.0, 4.0, 6.0]),
        "cross" => picture.corners(&class, at, 13.0, &[2.0, 4.667, 7.333]),
        _ => picture.circle(&class, at, 7.0),
    }
}

/// Shares as whole hundredths that sum to 100 (largest remainders); all zero when there is nothing to share.
fn hundredths<const N: usize>(parts: [f64; N]) -> [usize; N] {
    let whole: f64 = parts.iter().sum();
    if !(whole > 0.0 && whole.is_finite()) {
        return [0; N];
    }
    let exact = parts.map(|part| 100.0 * part / whole);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 100")]
    let mut shares = exact.map(|share| share.floor() as usize);
    let mut by_rest: Vec<usize> = (0..N).collect();
    by_rest.sort_by(|a, b| exact[*b].fract().total_cmp(&exact[*a].fract()));
    let missing = 100_usize.saturating_sub(shares.iter().sum());
    for place in by_rest.into_iter().take(missing) {
        shares[place] += 1;
    }
    shares
}

/// Every reading against the mean of its part: a stroke from smallest to largest for each person, its mean as the person's
/// mark. A ring marks repeats that chance does not explain.
#[must_use]
pub fn stands_out(study: &Study, result: &StudyResult, say: Say<'_>) -> String {
    let Some(table) = study.table() else { return String::new() };
    let [people, parts, _] = table.shape();
    let quantity = study.plan.quantity;
    let cell = |person: usize, part: usize| {
        let centre = result.parts.get(part).map_or(0.0, |part| part.mean);
        let apart: Vec<f64> = table.cell(person, part).map(|value| value - centre).collect();
        let (low, high) = apart.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        (low, high, apart.iter().sum::<f64>() / apart.len() as f64)
    };
    let cells: Vec<(usize, usize)> =
        (0..parts).flat_map(|part| (0..people).map(move |person| (person, part))).collect();
    let far = cells
        .iter()
        .map(|(person, part)| cell(*person, *part))
        .fold(0.0, |far: f64, (low, high, _)| far.max(high.abs()).max(low.abs()));
    let far = if far > 0.0 { far } else { 1.0 };
    const TOP: f64 = 20.0;
    const DOWN: f64 = 200.0;
    const LEFT: f64 = 92.0;
    let (middle, column) = (TOP + DOWN / 2.0, (ACROSS - LEFT - 112.0) / parts as f64);
    let y = |value: f64| middle - value / far * DOWN / 2.0;
    let worst = |list: &mut dyn Iterator<Item = String>| list.collect::<Vec<_>>().join(", ");
    let name = |person: usize| study.plan.people.get(person).map_or("", String::as_str);
    let told = worst(&mut result.wild.iter().map(|(person, part)| format!("{} {}", name(*person), part + 1)));
    let told = if told.is_empty() { say("no cell stands out") } else { say(&format!("standing out: {told}")) };
    let mut picture = Picture::new(say, 288.0, "each reading against the mean of its part", &told);
    for part in (0..parts).filter(|part| part.is_multiple_of(2)) {
        picture.rect("lane", [LEFT + part as f64 * column, TOP, column, DOWN]);
    }
    picture.line("zero", [LEFT, middle, ACROSS, middle]);
    for (value, sign) in [(far, "+"), (-far, "")] {
        picture.text("small end", [LEFT - 8.0, y(value) + 5.0], &format!("{sign}{}", amount(quantity, value)));
    }
    picture.text("small end", [LEFT - 8.0, middle + 5.0], "mean of part");
    for (person, part) in cells {
        let (low, high, mean) = cell(person, part);
        let x = LEFT + (part as f64 + (person as f64 + 0.75) / (people as f64 + 0.5)) * column;
        picture.line(&format!("stroke person-{}", person % 5), [x, y(low), x, y(high)]);
        mark(&mut picture, person, [x, y(mean)], (column / (people as f64 + 1.0) / 2.0).clamp(2.0, 6.0));
        if result.wild.contains(&(person, part)) {
            picture.circle("ring", [x, y(mean)], 12.0);
        }
    }
    for part in 0..parts {
        let restless = result.parts.get(part).is_some_and(|part| part.restless);
        let class = if restless { "middle strong" } else { "small middle" };
        picture.text(class, [LEFT + (part as f64 + 0.5) * column, TOP + DOWN + 20.0], &format!("{}", part + 1));
    }
    picture.text("small end", [LEFT - 8.0, TOP + DOWN + 20.0], "part");
    // At the right: how far each person's mean is from that of all.
    let right = ACROSS - 56.0;
    picture.line("zero", [ACROSS - 108.0, TOP, ACROSS - 108.0, TOP + DOWN]);
    picture.text("small middle", [right, TOP + DOWN + 20.0], "all parts");
    for (person, of) in result.people.iter().enumerate() {
        let x = right + (person as f64 - (people as f64 - 1.0) / 2.0) * (84.0 / people as f64);
        picture.line(&format!("stroke person-{}", person % 5), [x, middle, x, y(of.offset)]);
        mark(&mut picture, person, [x, y(of.offset)], 6.0);
        let at = LEFT + person as f64 * (ACROSS - LEFT) / people as f64;
        mark(&mut picture, person, [at + 8.0, TOP + DOWN + 48.0], 6.0);
        let class = if of.restless { "strong" } else { "small" };
        picture.name(class, [at + 20.0, TOP + DOWN + 53.0], name(person));
    }
    picture.done()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hundredths_are_whole_and_sum_to_a_hundred() {
        assert_eq!(hundredths([1.0, 1.0, 1.0]), [34, 33, 33]);
        assert_eq!(hundredths([0.0, 0.994, 0.006]), [0, 99, 1]);
        assert_eq!(hundredths([0.0, 0.0]), [0, 0]);
        assert_eq!(hundredths([f64::NAN, 1.0]), [0, 0]);
    }

    #[test]
    fn a_name_stays_a_name() {
        assert_eq!(escaped("<b a=\"1\">&'\n"), "&lt;b a=&quot;1&quot;&gt;&amp;&#39; ");
    }
}
