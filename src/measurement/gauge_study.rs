//! Repeatability and reproducibility of an instrument: parts measured by several people several times.
//!
//! A full crossed table comes in, the analysis of variance and the components of variation go out, by the two usual
//! ways. No plan of the study and no verdict: what is good enough is the bench's choice.

use super::distribution::f_significance;
use super::double_double::DoubleDouble;

/// Why a table is not a crossed study.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StudyError {
    /// Fewer than two people, trials or parts.
    #[error("{people} people, {trials} trials, {parts} parts, expected at least two of each")]
    TooSmall {
        /// People found.
        people: usize,
        /// Trials of the first person.
        trials: usize,
        /// Parts of the first trial.
        parts: usize,
    },
    /// A row is shorter or longer than the first.
    #[error("the table is not full: every person must measure every part equally often")]
    NotFull,
    /// A value is infinite or not a number.
    #[error("a value of the study is not finite")]
    NotFinite,
}

/// A table of readings `[person][trial][part]`, at least two of each, every cell filled.
#[derive(Debug, Clone, PartialEq)]
pub struct CrossedStudy {
    readings: Vec<Vec<Vec<f64>>>,
    trials: usize,
    parts: usize,
}

/// A line of the analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AnovaLine {
    /// Sum of squares.
    pub squares: f64,
    /// Degrees of freedom.
    pub freedom: usize,
}

impl AnovaLine {
    /// Mean square.
    #[must_use]
    pub fn mean_square(&self) -> f64 {
        self.squares / self.freedom as f64
    }
}

/// Two-way analysis of variance with interaction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrossedAnova {
    /// Between people.
    pub people: AnovaLine,
    /// Between parts.
    pub parts: AnovaLine,
    /// People who differ more on some parts than on others.
    pub interaction: AnovaLine,
    /// Within a cell.
    pub repeatability: AnovaLine,
    /// All together.
    pub total: AnovaLine,
    /// Probability that chance alone makes an interaction this large. `None` when nothing varies within cells.
    pub interaction_significance: Option<f64>,
}

/// Variances of the components; a negative estimate is zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Of one person measuring one part again.
    pub repeatability: f64,
    /// Of the interaction (zero when pooled).
    pub interaction: f64,
    /// Between people.
    pub people: f64,
    /// Between parts.
    pub parts: f64,
}

impl Components {
    /// Variance of the measuring itself: repeatability, interaction and people.
    #[must_use]
    pub fn measuring(&self) -> f64 {
        self.repeatability + self.interaction + self.people
    }

    /// Standard deviation of the measuring in per cent of that of everything. `None` when nothing varies.
    #[must_use]
    pub fn percent_of_total(&self) -> Option<f64> {
        let total = self.measuring() + self.parts;
        (total > 0.0).then(|| 100.0 * (self.measuring() / total).sqrt())
    }

    /// Kinds of part the instrument can tell apart, 1.41 × parts / measuring, not rounded. `None` for perfect measuring.
    #[must_use]
    pub fn distinct_categories(&self) -> Option<f64> {
        (self.measuring() > 0.0).then(|| 1.41 * (self.parts / self.measuring()).sqrt())
    }
}

/// Result of the average-and-range way, in standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RangeResult {
    /// Mean range within cells.
    pub mean_range: f64,
    /// Largest less smallest mean of a person.
    pub spread_of_people: f64,
    /// Largest less smallest mean of a part.
    pub spread_of_parts: f64,
    /// Repeatability.
    pub repeatability: f64,
    /// Reproducibility between people.
    pub reproducibility: f64,
    /// Variation of the parts.
    pub part_variation: f64,
}

impl RangeResult {
    /// Repeatability and reproducibility together.
    #[must_use]
    pub fn measuring(&self) -> f64 {
        self.repeatability.hypot(self.reproducibility)
    }

    /// Measuring and parts together.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.measuring().hypot(self.part_variation)
    }
}

/// Factors from a mean range of 2 to 5 trials to a standard deviation, 1 / d₂ (measurement-systems-analysis manual,
/// 4th ed., for 2 and 3). `tests/scipy.rs` integrates them.
pub const BY_TRIALS: [f64; 4] = [0.8862, 0.5908, 0.4857, 0.4299];
/// Factors from one range of 2 to 10 values to a standard deviation, 1 / √(d₂² + d₃²) (the same manual; those for 4 to 9
/// from memory, integrated by `tests/scipy.rs`).
#[expect(clippy::approx_constant, reason = "0.7071 is what the manual prints, not a root of a half")]
pub const BY_COUNT: [f64; 9] = [0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146];

impl CrossedStudy {
    /// Takes a table `[person][trial][part]`.
    ///
    /// # Errors
    /// Fewer than two of anything, a row of another length, a value that is not finite.
    pub fn new(readings: Vec<Vec<Vec<f64>>>) -> Result<Self, StudyError> {
        let people = readings.len();
        let trials = readings.first().map_or(0, Vec::len);
        let parts = readings.first().and_then(|person| person.first()).map_or(0, Vec::len);
        if people < 2 || trials < 2 || parts < 2 {
            return Err(StudyError::TooSmall { people, trials, parts });
        }
        if readings.iter().any(|person| person.len() != trials)
            || readings.iter().flatten().any(|trial| trial.len() != parts)
        {
            return Err(StudyError::NotFull);
        }
        if readings.iter().flatten().flatten().any(|value| !value.is_finite()) {
            return Err(StudyError::NotFinite);
        }
        Ok(Self { readings, trials, parts })
    }

    /// How many people, parts and trials.
    #[must_use]
    pub fn shape(&self) -> [usize; 3] {
        [self.readings.len(), self.parts, self.trials]
    }

    /// All readings of a cell, by number of person and part from 0.
    pub fn cell(&self, person: usize, part: usize) -> impl Iterator<Item = f64> + '_ {
        let rows = self.readings.get(person).into_iter().flatten();
        rows.filter_map(move |trial| trial.get(part).copied())
    }

    fn cells(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        (0..self.readings.len()).flat_map(|person| (0..self.parts).map(move |part| (person, part)))
    }

    /// The two-way analysis of variance with interaction.
    #[must_use]
    pub fn anova(&self) -> CrossedAnova {
        let people = self.readings.len();
        let number = |count: usize| DoubleDouble::from(count as f64);
        let mean = |values: &mut dyn Iterator<Item = f64>| {
            let values: Vec<_> = values.map(DoubleDouble::from_decimal).collect();
            values.iter().copied().sum::<DoubleDouble>() / number(values.len())
        };
        let whole = mean(&mut self.readings.iter().flatten().flatten().copied());
        let of_person: Vec<_> =
            self.readings.iter().map(|person| mean(&mut person.iter().flatten().copied()) - whole).collect();
        let of_part: Vec<_> = (0..self.parts)
            .map(|part| mean(&mut (0..people).flat_map(|person| self.cell(person, part))) - whole)
            .collect();
        let mut interaction = DoubleDouble::ZERO;
        let mut repeatability = DoubleDouble::ZERO;
        for (person, part) in self.cells() {
            let centre = mean(&mut self.cell(person, part));
            let apart = centre - whole - of_person[person] - of_part[part];
            interaction = interaction + apart * apart * number(self.trials);
            repeatability = repeatability
                + self.cell(person, part).map(|value| square(DoubleDouble::from_decimal(value) - centre)).sum();
        }
        let line = |squares: DoubleDouble, freedom: usize| AnovaLine { squares: squares.to_f64(), freedom };
        let by_people =
            of_person.iter().map(|mean| square(*mean)).sum::<DoubleDouble>() * number(self.parts * self.trials);
        let by_parts = of_part.iter().map(|mean| square(*mean)).sum::<DoubleDouble>() * number(people * self.trials);
        let interaction_line = line(interaction, (people - 1) * (self.parts - 1));
        let repeatability_line = line(repeatability, people * self.parts * (self.trials - 1));
        let ratio = interaction_line.mean_square() / repeatability_line.mean_square();
        CrossedAnova {
            people: line(by_people, people - 1),
            parts: line(by_parts, self.parts - 1),
            interaction: interaction_line,
            repeatability: repeatability_line,
            total: line(by_people + by_parts + interaction + repeatability, people * self.parts * self.trials - 1),
            interaction_significance: f_significance(
                ratio,
                interaction_line.freedom as f64,
                repeatability_line.freedom as f64,
            ),
        }
    }

    /// Components of variance with the interaction kept apart.
    #[must_use]
    pub fn components(&self) -> Components {
        let anova = self.anova();
        let within = anova.repeatability.mean_square();
        let crossed = anova.interaction.mean_square();
        self.components_over(&anova, within, crossed, ((crossed - within) / self.trials as f64).max(0.0))
    }

    /// Components of variance with the interaction pooled into the repeatability, for when it is not significant.
    #[must_use]
    pub fn components_pooled(&self) -> Components {
        let anova = self.anova();
        let freedom = anova.repeatability.freedom + anova.interaction.freedom;
        let pooled = (anova.repeatability.squares + anova.interaction.squares) / freedom as f64;
        self.components_over(&anova, pooled, pooled, 0.0)
    }

    /// `floor` is the mean square that people and parts are measured against.
    fn components_over(&self, anova: &CrossedAnova, repeatability: f64, floor: f64, interaction: f64) -> Components {
        let (people, parts, trials) = (self.readings.len() as f64, self.parts as f64, self.trials as f64);
        Components {
            repeatability,
            interaction,
            people: ((anova.people.mean_square() - floor) / (parts * trials)).max(0.0),
            parts: ((anova.parts.mean_square() - floor) / (people * trials)).max(0.0),
        }
    }

    /// The average-and-range way. `None` beyond 5 trials, 10 people or 10 parts, for which it has no factors.
    #[must_use]
    pub fn ranges(&self) -> Option<RangeResult> {
        let people = self.readings.len();
        let mean = |values: &mut dyn Iterator<Item = f64>| {
            let values: Vec<_> = values.collect();
            values.iter().sum::<f64>() / values.len() as f64
        };
        let spread = |values: &mut dyn Iterator<Item = f64>| {
            let (low, high) =
                values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
            high - low
        };
        let mean_range = mean(&mut self.cells().map(|(person, part)| spread(&mut self.cell(person, part))));
        let spread_of_people =
            spread(&mut self.readings.iter().map(|person| mean(&mut person.iter().flatten().copied())));
        let spread_of_parts =
            spread(&mut (0..self.parts).map(|part| mean(&mut (0..people).flat_map(|person| self.cell(person, part)))));
        let repeatability = mean_range * BY_TRIALS.get(self.trials - 2)?;
        let by_people = spread_of_people * BY_COUNT.get(people - 2)?;
        let of_repeats = repeatability * repeatability / (self.parts * self.trials) as f64;
        Some(RangeResult {
            mean_range,
            spread_of_people,
            spread_of_parts,
            repeatability,
            // The means of people differ by their repeats too.
            reproducibility: (by_people * by_people - of_repeats).max(0.0).sqrt(),
            part_variation: spread_of_parts * BY_COUNT.get(self.parts - 2)?,
        })
    }
}

fn square(value: DoubleDouble) -> DoubleDouble {
    value * value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tiny_study_agrees_with_hand_calculation() {
        // Invented, [person][trial][part]; sums of squares by hand: parts 2, people 0.02, interaction 0, repeats 0.08.
        let study = CrossedStudy::new(vec![vec![vec![1.0, 2.0], vec![1.2, 2.2]], vec![vec![1.1, 2.3], vec![1.3, 2.1]]])
            .unwrap();
        let anova = study.anova();
        for (line, squares, freedom) in [
            (anova.parts, 2.0, 1),
            (anova.people, 0.02, 1),
            (anova.interaction, 0.0, 1),
            (anova.repeatability, 0.08, 4),
            (anova.total, 2.1, 7),
        ] {
            assert!((line.squares - squares).abs() < 1e-14 && line.freedom == freedom, "{line:?}");
        }
    }

    #[test]
    fn a_table_with_a_hole_is_refused() {
        let full = vec![vec![vec![1.0, 2.0]; 2]; 2];
        let mut hole = full.clone();
        hole[1][1].pop();
        assert_eq!(CrossedStudy::new(hole), Err(StudyError::NotFull));
        assert_eq!(CrossedStudy::new(vec![]), Err(StudyError::TooSmall { people: 0, trials: 0, parts: 0 }));
        let study = CrossedStudy::new(full).unwrap();
        assert_eq!(study.anova().interaction_significance, None);
        assert_eq!(study.components().distinct_categories(), None);
    }
}
