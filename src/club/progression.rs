//! How length, loft, lie and frequency go through a set: steps from club to club, and the line through them.
//!
//! Clubs with what is known of each come in; series with points, gaps and a fitted line go out, as data for a plot. No
//! judgement: which gap is too wide is the builder's and the player's question.

use crate::measurement::unit::MM_PER_INCH;

/// What is known of one club of a set.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SetClub {
    /// What people call it.
    pub name: String,
    /// Its length, in millimetres.
    pub length_mm: Option<f64>,
    /// Its loft, in degrees.
    pub loft_deg: Option<f64>,
    /// Its lie, in degrees.
    pub lie_deg: Option<f64>,
    /// Its frequency, in cycles a minute.
    pub frequency_cpm: Option<f64>,
}

/// One club in a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The club.
    pub club: String,
    /// Position in the set from 1, or length in inches.
    pub x: f64,
    /// The value.
    pub y: f64,
}

/// The step from one club to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// From this club …
    pub from: String,
    /// … to this.
    pub to: String,
    /// What the value rises by.
    pub step: f64,
    /// That less what the fitted line rises by.
    pub off_line: Option<f64>,
}

/// The straight line through a series (least squares).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Rise for one unit of x.
    pub slope: f64,
    /// Mean of x.
    pub middle_x: f64,
    /// The line at the mean of x, which is the mean of y.
    pub middle_y: f64,
}

impl Line {
    /// The line at a place.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.middle_y + self.slope * (x - self.middle_x)
    }

    /// Through the points; `None` for fewer than two places.
    fn through(points: &[Point]) -> Option<Self> {
        let count = f64::from(u32::try_from(points.len()).ok()?);
        let mean = |of: &dyn Fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / count;
        let (middle_x, middle_y) = (mean(&|p| p.x), mean(&|p| p.y));
        let spread: f64 = points.iter().map(|p| (p.x - middle_x).powi(2)).sum();
        let together: f64 = points.iter().map(|p| (p.x - middle_x) * (p.y - middle_y)).sum();
        (spread > 1e-12).then(|| Self { slope: together / spread, middle_x, middle_y })
    }
}

/// One characteristic through the set.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// `length`, `loft`, `lie` or `frequency`.
    pub of: &'static str,
    /// Unit of y.
    pub unit: &'static str,
    /// What x is.
    pub against: &'static str,
    /// The clubs that have it, from the longest on.
    pub points: Vec<Point>,
    /// The steps between neighbours.
    pub gaps: Vec<Gap>,
    /// The line through them.
    pub line: Option<Line>,
}

const BY_POSITION: &str = "position in the set";
const BY_LENGTH: &str = "length in inches";

/// The series of a set; those that no two clubs have are left out. Lengths are in inches, the unit they step in.
#[must_use]
pub fn progressions(clubs: &[SetClub]) -> Vec<Series> {
    let mut sorted: Vec<&SetClub> = clubs.iter().collect();
    // From the longest on; those without a length keep their place in the order behind them.
    sorted.sort_by(|a, b| b.length_mm.unwrap_or(0.0).total_cmp(&a.length_mm.unwrap_or(0.0)));
    let inches = |club: &SetClub| club.length_mm.map(|mm| mm / MM_PER_INCH);
    [
        series("length", "in", BY_POSITION, &sorted, &inches),
        series("loft", "deg", BY_POSITION, &sorted, &|club| club.loft_deg),
        series("lie", "deg", BY_LENGTH, &sorted, &|club| club.lie_deg),
        series("frequency", "{cpm}", BY_LENGTH, &sorted, &|club| club.frequency_cpm),
    ]
    .into_iter()
    .filter(|series| series.points.len() > 1)
    .collect()
}

fn series(
    of: &'static str,
    unit: &'static str,
    against: &'static str,
    clubs: &[&SetClub],
    value: &dyn Fn(&SetClub) -> Option<f64>,
) -> Series {
    let place = |position: usize, club: &SetClub| match against {
        BY_LENGTH => club.length_mm.map(|mm| mm / MM_PER_INCH),
        _ => u32::try_from(position + 1).ok().map(f64::from),
    };
    let points: Vec<Point> = clubs
        .iter()
        .enumerate()
        .filter_map(|(position, club)| {
            Some(Point { club: club.name.clone(), x: place(position, club)?, y: value(club)? })
        })
        .collect();
    let line = Line::through(&points);
    let gaps = points.windows(2).filter_map(|pair| {
        let [from, to] = pair else { return None };
        let step = to.y - from.y;
        let off_line = line.map(|line| step - line.slope * (to.x - from.x));
        Some(Gap { from: from.club.clone(), to: to.club.clone(), step, off_line })
    });
    let gaps = gaps.collect();
    Series { of, unit, against, points, gaps, line }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn club(name: &str, inches: f64, loft: f64, cpm: f64) -> SetClub {
        SetClub {
            name: name.into(),
            length_mm: Some(inches * MM_PER_INCH),
            loft_deg: Some(loft),
            lie_deg: None,
            frequency_cpm: Some(cpm),
        }
    }

    #[test]
    fn the_slope_of_a_set_is_that_worked_by_hand() {
        let set = [club("7", 37.0, 34.0, 307.0), club("5", 38.0, 27.0, 300.0), club("6", 37.5, 30.0, 302.0)];
        let found = progressions(&set);
        assert_eq!(found.iter().map(|s| s.of).collect::<Vec<_>>(), ["length", "loft", "frequency"]);
        // By hand: x 38, 37.5, 37, mean 37.5; y 300, 302, 307, mean 303. Σ dx dy = 0.5 (−3) + 0 + (−0.5) 4 = −3.5, Σ dx² = 0.5:
        // −7 cpm an inch. The line rises 3.5 each step; the steps are 2 and 5.
        let frequency = &found[2];
        let line = frequency.line.unwrap();
        assert!((line.slope + 7.0).abs() < 1e-9 && (line.at(38.0) - 299.5).abs() < 1e-9);
        let off: Vec<f64> = frequency.gaps.iter().map(|gap| gap.off_line.unwrap()).collect();
        assert!((off[0] + 1.5).abs() < 1e-9 && (off[1] - 1.5).abs() < 1e-9, "{off:?}");
        // From the longest on: lofts 27, 30, 34.
        let steps: Vec<f64> = found[1].gaps.iter().map(|gap| gap.step).collect();
        assert_eq!(steps, [3.0, 4.0]);
        assert_eq!((found[0].gaps[0].from.as_str(), found[0].gaps[0].to.as_str()), ("5", "6"));
    }

    #[test]
    fn one_club_makes_no_series_and_equal_lengths_no_line() {
        assert!(progressions(&[club("7", 37.0, 34.0, 307.0)]).is_empty());
        let same = progressions(&[club("7", 37.0, 34.0, 307.0), club("8", 37.0, 38.0, 309.0)]);
        let frequency = same.iter().find(|series| series.of == "frequency").unwrap();
        assert_eq!((frequency.line, frequency.gaps[0].off_line), (None, None));
    }
}
