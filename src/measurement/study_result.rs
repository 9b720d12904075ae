//! What a gauge study says: the spread of measuring by both ways, how much of a tolerance it takes, and who and which
//! part stands out.
//!
//! A full crossed table comes in, numbers with their limits go out. Absent: words, and which instrument it was.

use super::distribution::{chi_squared_quantile, f_significance};
use super::gauge_study::{AnovaLine, Components, CrossedAnova, CrossedStudy};

/// A spread is taken as so many standard deviations when it is compared with a tolerance (measurement-systems-analysis
/// manual, 4th ed.; from memory).
pub const WIDTH: f64 = 6.0;
/// Confidence of the limits, two-sided; the manual prints 90 % in its example (from memory).
pub const CONFIDENCE: f64 = 0.90;
/// What chance must not reach before something is called significant (the manual's example; from memory).
pub const SIGNIFICANCE: f64 = 0.05;
/// Fewest kinds of part an instrument should tell apart (the same manual; from memory).
pub const ENOUGH_CATEGORIES: f64 = 5.0;
/// Ranges of 2 to 10 values stay below so many mean ranges, D₄ = 1 + 3 d₃/d₂ (control charts, ISO 7870-2; from memory,
/// integrated by `tests/scipy.rs`).
pub const RANGE_LIMIT: [f64; 9] = [3.267, 2.574, 2.282, 2.114, 2.004, 1.924, 1.864, 1.816, 1.777];

/// How good measuring is for its purpose (the manual's guidance: below 10 %, up to 30 %, more; from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fitness {
    /// Takes less than a tenth.
    Good,
    /// Takes up to three tenths: may do, depending on what is at stake.
    MayDo,
    /// Takes more.
    NotEnough,
}

impl Fitness {
    /// By per cent of tolerance or of the total variation.
    #[must_use]
    pub fn of(percent: f64) -> Self {
        match percent {
            percent if percent < 10.0 => Self::Good,
            percent if percent <= 30.0 => Self::MayDo,
            _ => Self::NotEnough,
        }
    }

    /// The name in records and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::MayDo => "may_do",
            Self::NotEnough => "not_enough",
        }
    }
}

/// Where the spread comes from, as standard deviations in the unit of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// One person measuring one part again.
    pub repeatability: f64,
    /// People among each other.
    pub people: f64,
    /// People who differ more on some parts than on others; zero where it is pooled or cannot be told.
    pub interaction: f64,
    /// All of these: the measuring.
    pub measuring: f64,
    /// Parts among each other.
    pub parts: f64,
    /// Measuring and parts.
    pub total: f64,
}

impl Spread {
    fn of(repeatability: f64, people: f64, interaction: f64, parts: f64) -> Self {
        let measuring = repeatability.hypot(people).hypot(interaction);
        Self { repeatability, people, interaction, measuring, parts, total: measuring.hypot(parts) }
    }

    /// Between people altogether: people and interaction.
    #[must_use]
    pub fn reproducibility(&self) -> f64 {
        self.people.hypot(self.interaction)
    }

    /// One of its standard deviations in per cent of the total one. `None` when nothing varies.
    #[must_use]
    pub fn percent_of_total(&self, sd: f64) -> Option<f64> {
        (self.total > 0.0).then(|| 100.0 * sd / self.total)
    }

    /// Kinds of part that can be told apart, not rounded. `None` for perfect measuring.
    #[must_use]
    pub fn categories(&self) -> Option<f64> {
        (self.measuring > 0.0).then(|| 1.41 * self.parts / self.measuring)
    }
}

/// What a standard deviation takes of a tolerance this wide, in per cent.
#[must_use]
pub fn percent_of_tolerance(sd: f64, tolerance: f64) -> f64 {
    100.0 * WIDTH * sd / tolerance
}

/// A person or a part among the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Member {
    /// Mean of all its readings.
    pub mean: f64,
    /// Mean less the mean of everything.
    pub offset: f64,
    /// Standard deviation within its cells.
    pub repeats: f64,
    /// Its cells scatter more than those of the others, beyond what chance does to one of so many (F test).
    pub restless: bool,
}

/// Everything that follows from a study.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyResult {
    /// The analysis of variance.
    pub anova: CrossedAnova,
    /// The interaction is not significant and was pooled with the repeatability.
    pub pooled: bool,
    /// Components by analysis of variance.
    pub by_anova: Spread,
    /// Components by averages and ranges, where that way has factors.
    pub by_ranges: Option<Spread>,
    /// Limits of the repeatability by analysis of variance, as standard deviations.
    pub repeatability_limits: Option<[f64; 2]>,
    /// Limits of the measuring by analysis of variance, as standard deviations.
    pub measuring_limits: Option<[f64; 2]>,
    /// Probability that chance alone makes people differ so much. `None` when nothing varies.
    pub people_significance: Option<f64>,
    /// People, in the order of the table.
    pub people: Vec<Member>,
    /// Parts, in the order of the table.
    pub parts: Vec<Member>,
    /// Largest range of a cell that chance explains. `None` beyond 10 trials.
    pub range_limit: Option<f64>,
    /// Cells beyond it, as person and part from 0.
    pub wild: Vec<(usize, usize)>,
}

impl StudyResult {
    /// Whether people differ by more than chance explains.
    #[must_use]
    pub fn people_differ(&self) -> bool {
        self.people_significance.is_some_and(|p| p < SIGNIFICANCE)
    }
}

/// Works a study out.
#[must_use]
pub fn study_result(study: &CrossedStudy) -> StudyResult {
    let anova = study.anova();
    // Where nothing varies within cells there is nothing to test against, and the interaction is kept.
    let pooled = anova.interaction_significance.is_some_and(|p| p >= SIGNIFICANCE);
    let components = if pooled { study.components_pooled() } else { study.components() };
    let floor = if pooled { pool(anova.interaction, anova.repeatability) } else { anova.interaction };
    let ratio = anova.people.mean_square() / floor.mean_square();
    let within = if pooled { floor } else { anova.repeatability };
    let ranges = study.ranges();
    let limit = RANGE_LIMIT.get(study.shape()[2] - 2).map(|factor| factor * mean_range(study));
    StudyResult {
        pooled,
        by_anova: of_components(&components),
        by_ranges: ranges.map(|r| Spread::of(r.repeatability, r.reproducibility, 0.0, r.part_variation)),
        repeatability_limits: within_limits(within),
        measuring_limits: measuring_limits(study, &anova, pooled),
        people_significance: f_significance(ratio, anova.people.freedom as f64, floor.freedom as f64),
        people: members(study, true),
        parts: members(study, false),
        range_limit: limit,
        wild: limit.map(|limit| wild(study, limit)).unwrap_or_default(),
        anova,
    }
}

fn of_components(components: &Components) -> Spread {
    let Components { repeatability, interaction, people, parts } = *components;
    Spread::of(repeatability.sqrt(), people.sqrt(), interaction.sqrt(), parts.sqrt())
}

fn pool(one: AnovaLine, other: AnovaLine) -> AnovaLine {
    AnovaLine { squares: one.squares + other.squares, freedom: one.freedom + other.freedom }
}

/// ν over the two quantiles of chi-squared: what a mean square is multiplied with for its limits, lower first.
fn stretch(freedom: usize) -> Option<[f64; 2]> {
    let freedom = freedom as f64;
    let at = |probability| chi_squared_quantile(probability, freedom).map(|quantile| freedom / quantile);
    Some([at(f64::midpoint(1.0, CONFIDENCE))?, at((1.0 - CONFIDENCE) / 2.0)?])
}

/// Limits of the repeatability: its mean square is distributed as chi-squared.
fn within_limits(line: AnovaLine) -> Option<[f64; 2]> {
    stretch(line.freedom).map(|factors| factors.map(|factor| (line.mean_square() * factor).sqrt()))
}

/// Limits of the measuring, a sum of mean squares with weights that are not negative: modified large-sample limits
/// (Graybill and Wang, 1980; from memory). For weights w and mean squares S they are Σ w·S ± √(Σ (g·w·S)²), with
/// g = 1 − ν/χ² below and ν/χ² − 1 above.
fn measuring_limits(study: &CrossedStudy, anova: &CrossedAnova, pooled: bool) -> Option<[f64; 2]> {
    let [_, parts, trials] = study.shape().map(|count| count as f64);
    let of_people = (1.0 / (parts * trials), anova.people);
    let terms = if pooled {
        vec![of_people, (1.0 - of_people.0, pool(anova.interaction, anova.repeatability))]
    } else {
        vec![of_people, (1.0 / trials - of_people.0, anova.interaction), (1.0 - 1.0 / trials, anova.repeatability)]
    };
    let (mut sum, mut below, mut above) = (0.0, 0.0, 0.0);
    for (weight, line) in terms {
        let [low, high] = stretch(line.freedom)?;
        let part = weight * line.mean_square();
        sum += part;
        below += ((1.0 - low) * part).powi(2);
        above += ((high - 1.0) * part).powi(2);
    }
    Some([(sum - below.sqrt()).max(0.0).sqrt(), (sum + above.sqrt()).sqrt()])
}

fn range(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    high - low
}

fn mean_range(study: &CrossedStudy) -> f64 {
    let [people, parts, _] = study.shape();
    let ranges = (0..people).flat_map(|person| (0..parts).map(move |part| range(study.cell(person, part))));
    ranges.sum::<f64>() / (people * parts) as f64
}

/// Cells whose repeats differ more than chance explains.
fn wild(study: &CrossedStudy, limit: f64) -> Vec<(usize, usize)> {
    let [people, parts, _] = study.shape();
    let cells = (0..people).flat_map(|person| (0..parts).map(move |part| (person, part)));
    // A limit of nothing is reached by rounding alone.
    cells.filter(|(person, part)| range(study.cell(*person, *part)) > limit.max(f64::MIN_POSITIVE)).collect()
}

/// The people of a study, or its parts.
fn members(study: &CrossedStudy, of_people: bool) -> Vec<Member> {
    let [people, parts, trials] = study.shape();
    let (count, others) = if of_people { (people, parts) } else { (parts, people) };
    let cell = |member: usize, other: usize| -> Vec<f64> {
        if of_people { study.cell(member, other) } else { study.cell(other, member) }.collect()
    };
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let squares = |values: &[f64]| {
        let centre = mean(values);
        values.iter().map(|value| (value - centre).powi(2)).sum::<f64>()
    };
    let each: Vec<(f64, f64)> = (0..count)
        .map(|member| {
            let cells: Vec<Vec<f64>> = (0..others).map(|other| cell(member, other)).collect();
            (mean(&cells.concat()), cells.iter().map(|cell| squares(cell)).sum())
        })
        .collect();
    let whole = each.iter().map(|(mean, _)| mean).sum::<f64>() / count as f64;
    let all_squares: f64 = each.iter().map(|(_, squares)| squares).sum();
    let freedom = (others * (trials - 1)) as f64;
    each.iter()
        .map(|(mean, squares)| {
            let elsewhere = freedom * (count - 1) as f64;
            let ratio = (squares / freedom) / ((all_squares - squares).max(0.0) / elsewhere);
            let chance = f_significance(ratio, freedom, elsewhere);
            Member {
                mean: *mean,
                offset: mean - whole,
                repeats: (squares / freedom).sqrt(),
                // One of many is the largest by chance: the level is shared among them (Bonferroni).
                restless: chance.is_some_and(|p| p < SIGNIFICANCE / count as f64),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Normal numbers that can be repeated: splitmix64 (public domain) and Box and Muller's method.
    struct Chance(u64);

    impl Chance {
        fn share(&mut self) -> f64 {
            self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut x = self.0;
            x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            (f64::from(u32::try_from((x ^ (x >> 31)) >> 32).unwrap()) + 0.5) / 4_294_967_296.0
        }

        fn normal(&mut self, sd: f64) -> f64 {
            let (radius, turn) = ((-2.0 * self.share().ln()).sqrt(), std::f64::consts::TAU * self.share());
            sd * radius * turn.cos()
        }
    }

    fn simulated(chance: &mut Chance, [people, parts, trials]: [usize; 3], sds: [f64; 4]) -> CrossedStudy {
        let [of_people, of_parts, of_cells, of_repeats] = sds;
        let part: Vec<f64> = (0..parts).map(|_| 200.0 + chance.normal(of_parts)).collect();
        let table = (0..people).map(|_| {
            let own = chance.normal(of_people);
            let cells: Vec<f64> = part.iter().map(|part| part + own + chance.normal(of_cells)).collect();
            (0..trials).map(|_| cells.iter().map(|cell| cell + chance.normal(of_repeats)).collect()).collect()
        });
        CrossedStudy::new(table.collect()).unwrap()
    }

    #[test]
    fn limits_hold_the_truth_about_as_often_as_they_say() {
        let mut chance = Chance(7);
        let (shape, sds) = ([3, 10, 3], [0.2, 1.0, 0.0, 0.2]);
        let truth: f64 = 0.2f64.hypot(0.2);
        let (mut measuring, mut repeats) = (0, 0);
        for _ in 0..1000 {
            let result = study_result(&simulated(&mut chance, shape, sds));
            let holds = |limits: Option<[f64; 2]>, truth: f64| limits.is_some_and(|[l, h]| l <= truth && truth <= h);
            measuring += usize::from(holds(result.measuring_limits, truth));
            repeats += usize::from(holds(result.repeatability_limits, 0.2));
        }
        // 900 of 1000, with a standard deviation of 9.5 by chance; the modified large-sample limits are a little wide.
        assert!((870..=950).contains(&measuring), "{measuring}");
        assert!((860..=930).contains(&repeats), "{repeats}");
    }

    #[test]
    fn large_studies_find_the_components_they_were_made_from() {
        let sds = [0.5, 1.0, 0.3, 0.2];
        let result = study_result(&simulated(&mut Chance(11), [60, 60, 3], sds));
        let [people, parts, cells, repeats] = sds;
        let found = result.by_anova;
        for (name, found, truth) in [
            ("people", found.people, people),
            ("parts", found.parts, parts),
            ("interaction", found.interaction, cells),
            ("repeatability", found.repeatability, repeats),
        ] {
            // 60 people or parts tell a standard deviation to 1/√(2·59), 9 %: three times that.
            assert!((found / truth - 1.0).abs() < 0.28, "{name}: {found}, made with {truth}");
        }
        assert!(!result.pooled && result.people_differ());
        assert_eq!(result.by_ranges, None, "no factors for 60 people");
    }

    #[test]
    fn who_and_which_part_stands_out_is_found() {
        let mut table: Vec<Vec<Vec<f64>>> = Vec::new();
        let mut chance = Chance(3);
        for person in 0..3_usize {
            let trial = |chance: &mut Chance| {
                (0..10)
                    .map(|part| {
                        let bad = if person == 1 && part == 6 { 12.0 } else { 1.0 };
                        f64::from(part) + if person == 2 { 0.5 } else { 0.0 } + chance.normal(0.05 * bad)
                    })
                    .collect()
            };
            table.push((0..3).map(|_| trial(&mut chance)).collect());
        }
        let result = study_result(&CrossedStudy::new(table).unwrap());
        assert_eq!(result.wild, [(1, 6)]);
        assert!(result.parts[6].restless && result.people[1].restless, "{result:?}");
        assert_eq!(result.people.iter().filter(|member| member.restless).count(), 1);
        let offsets: Vec<f64> = result.people.iter().map(|member| member.offset).collect();
        assert!(offsets[2] > 0.2 && offsets[0] < 0.0 && result.people_differ(), "{offsets:?}");
    }

    #[test]
    fn perfect_measuring_takes_nothing_and_nothing_stands_out() {
        let study = CrossedStudy::new(vec![vec![vec![1.0, 2.0, 4.0]; 2]; 2]).unwrap();
        let result = study_result(&study);
        assert!(result.by_anova.measuring.abs() < 1e-12 && result.by_anova.parts > 1.0);
        assert!(result.wild.is_empty() && !result.people_differ());
        assert!(result.people.iter().chain(&result.parts).all(|member| !member.restless));
        assert_eq!(result.by_anova.categories(), None);
    }

    #[test]
    fn a_share_of_the_tolerance_is_six_standard_deviations() {
        assert!((percent_of_tolerance(0.1, 4.0) - 15.0).abs() < 1e-12);
        assert_eq!(
            [9.99, 10.0, 30.0, 30.1].map(Fitness::of).map(Fitness::name),
            ["good", "may_do", "may_do", "not_enough"]
        );
    }
}
