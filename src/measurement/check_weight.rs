//! Limits of error of check weights (OIML R 111-1:2004, table 1) and of weighing instruments (OIML R 76-1).
//!
//! Classes, loads and observed errors come in, limits and verdicts go out. No drift over time and no choice of a
//! weight: only what the two recommendations say about one weight and one load.

use super::unit::{Grams, round_ties_away};

/// Accuracy class of a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeightClass {
    /// E1, the finest.
    E1,
    /// E2.
    E2,
    /// F1.
    F1,
    /// F2.
    F2,
    /// M1, the usual check weight of a bench.
    M1,
    /// M2.
    M2,
    /// M3, the coarsest.
    M3,
}

/// A row of table 1: nominal mass in grams, limits in milligrams from E1 to M3; zero where the table has no entry.
type Row = (f64, [f64; 7]);

/// OIML R 111-1:2004, table 1, from 10 kg to 1 mg.
const LIMITS_MG: [Row; 22] = [
    (10_000.0, [5.0, 16.0, 50.0, 160.0, 500.0, 1600.0, 5000.0]),
    (5_000.0, [2.5, 8.0, 25.0, 80.0, 250.0, 800.0, 2500.0]),
    (2_000.0, [1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0]),
    (1_000.0, [0.5, 1.6, 5.0, 16.0, 50.0, 160.0, 500.0]),
    (500.0, [0.25, 0.8, 2.5, 8.0, 25.0, 80.0, 250.0]),
    (200.0, [0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0]),
    (100.0, [0.05, 0.16, 0.5, 1.6, 5.0, 16.0, 50.0]),
    (50.0, [0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0]),
    (20.0, [0.025, 0.08, 0.25, 0.8, 2.5, 8.0, 25.0]),
    (10.0, [0.02, 0.06, 0.2, 0.6, 2.0, 6.0, 20.0]),
    (5.0, [0.016, 0.05, 0.16, 0.5, 1.6, 5.0, 16.0]),
    (2.0, [0.012, 0.04, 0.12, 0.4, 1.2, 4.0, 12.0]),
    (1.0, [0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0]),
    (0.5, [0.008, 0.025, 0.08, 0.25, 0.8, 2.5, 0.0]),
    (0.2, [0.006, 0.02, 0.06, 0.2, 0.6, 2.0, 0.0]),
    (0.1, [0.005, 0.016, 0.05, 0.16, 0.5, 1.6, 0.0]),
    (0.05, [0.004, 0.012, 0.04, 0.12, 0.4, 0.0, 0.0]),
    (0.02, [0.003, 0.01, 0.03, 0.1, 0.3, 0.0, 0.0]),
    (0.01, [0.003, 0.008, 0.025, 0.08, 0.25, 0.0, 0.0]),
    (0.005, [0.003, 0.006, 0.02, 0.06, 0.2, 0.0, 0.0]),
    (0.002, [0.003, 0.006, 0.02, 0.06, 0.2, 0.0, 0.0]),
    (0.001, [0.003, 0.006, 0.02, 0.06, 0.2, 0.0, 0.0]),
];

impl WeightClass {
    /// All classes, the finest first.
    pub const ALL: [Self; 7] = [Self::E1, Self::E2, Self::F1, Self::F2, Self::M1, Self::M2, Self::M3];

    /// The name as it is stamped on the box.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::E1 => "E1",
            Self::E2 => "E2",
            Self::F1 => "F1",
            Self::F2 => "F2",
            Self::M1 => "M1",
            Self::M2 => "M2",
            Self::M3 => "M3",
        }
    }

    /// Reads the name of a class.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.name() == name)
    }

    /// Largest permissible error of a weight of this class, in milligrams.
    ///
    /// `None` where table 1 has no entry: no such nominal value from 1 mg to 10 kg, or none in this class.
    #[must_use]
    pub fn largest_error_mg(self, nominal: Grams) -> Option<f64> {
        let (_, limits) = LIMITS_MG.iter().find(|(mass, _)| (mass - nominal.0).abs() <= mass * 1e-9)?;
        limits.get(self as usize).copied().filter(|limit| *limit > 0.0)
    }
}

/// What a calibration says about a weight and its class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeightVerdict {
    /// The error with its uncertainty is within the limit: the only verdict R 111 accepts.
    Conforms,
    /// The limit lies within the uncertainty.
    Undecided,
    /// The error with its uncertainty is beyond the limit.
    DoesNotConform,
    /// The expanded uncertainty is more than a third of the limit: the calibration cannot tell.
    UncertaintyTooLarge,
}

/// Rounding of a few binary operations must not decide at a limit written in decimals.
const SLACK: f64 = 1e-9;

/// Judges the conventional mass of a weight (R 111-1, 5.2 and 5.3.1; clause numbers from memory).
///
/// All in milligrams; `expanded_uncertainty` is U with k = 2, not negative.
#[must_use]
pub fn judge_weight(largest_error_mg: f64, error_mg: f64, expanded_uncertainty_mg: f64) -> WeightVerdict {
    let slack = largest_error_mg * SLACK;
    if expanded_uncertainty_mg > largest_error_mg / 3.0 + slack {
        WeightVerdict::UncertaintyTooLarge
    } else if error_mg.abs() <= largest_error_mg - expanded_uncertainty_mg + slack {
        WeightVerdict::Conforms
    } else if error_mg.abs() > largest_error_mg + expanded_uncertainty_mg + slack {
        WeightVerdict::DoesNotConform
    } else {
        WeightVerdict::Undecided
    }
}

/// Accuracy class of a weighing instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InstrumentClass {
    /// I, special.
    I,
    /// II, high.
    II,
    /// III, medium.
    III,
    /// IIII, ordinary.
    IIII,
}

impl InstrumentClass {
    /// All classes, the finest first.
    pub const ALL: [Self; 4] = [Self::I, Self::II, Self::III, Self::IIII];

    /// The Roman numeral of a class.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::I => "I",
            Self::II => "II",
            Self::III => "III",
            Self::IIII => "IIII",
        }
    }

    /// Reads the Roman numeral of a class.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.name() == name)
    }

    /// Loads in intervals e up to which 0.5 e, 1 e and 1.5 e are allowed (R 76-1, table 6); the last is the largest load.
    #[must_use]
    pub fn steps(self) -> [f64; 3] {
        match self {
            Self::I => [50_000.0, 200_000.0, f64::INFINITY],
            Self::II => [5_000.0, 20_000.0, 100_000.0],
            Self::III => [500.0, 2_000.0, 10_000.0],
            Self::IIII => [50.0, 200.0, 1_000.0],
        }
    }

    /// How many verification intervals e an instrument of this class may have from nothing to its capacity (R 76-1,
    /// table 3). `None` where the class has no instrument with such an interval.
    #[must_use]
    pub fn interval_counts(self, interval: Grams) -> Option<std::ops::RangeInclusive<f64>> {
        let e = round_to_digits(interval.0);
        match self {
            Self::I if e >= 0.001 => Some(50_000.0..=f64::INFINITY),
            Self::II if (0.001..=0.05).contains(&e) => Some(100.0..=100_000.0),
            Self::II if e >= 0.1 => Some(5_000.0..=100_000.0),
            Self::III if (0.1..=2.0).contains(&e) => Some(100.0..=10_000.0),
            Self::III if e >= 5.0 => Some(500.0..=10_000.0),
            Self::IIII if e >= 5.0 => Some(100.0..=1_000.0),
            _ => None,
        }
    }

    /// Largest permissible error in service: twice that of the first verification (R 76-1, 3.5.2, from memory).
    #[must_use]
    pub fn largest_error_in_service(self, interval: Grams, load: Grams) -> Option<Grams> {
        self.largest_error(interval, load).map(|first| first * 2.0)
    }

    /// Largest permissible error at a load at the first verification.
    ///
    /// `interval` is the verification interval e. `None` above the largest load of the class, for a negative load or an
    /// interval that is not positive.
    #[must_use]
    pub fn largest_error(self, interval: Grams, load: Grams) -> Option<Grams> {
        if !(interval.0 > 0.0 && interval.0.is_finite() && load.0 >= 0.0 && load.0.is_finite()) {
            return None;
        }
        let intervals = load / interval;
        let (_, factor) =
            self.steps().into_iter().zip([0.5, 1.0, 1.5]).find(|(step, _)| intervals <= step * (1.0 + 1e-12))?;
        Some(Grams(round_to_digits(interval.0 * factor)))
    }
}

impl InstrumentClass {
    /// Acceptance tolerance at a load by NIST Handbook 44, 2.20, T.N.3.2: what is allowed to an instrument that is new, was
    /// repaired or was adjusted, half of the maintenance tolerance.
    #[must_use]
    pub fn acceptance_tolerance(self, division: Grams, load: Grams) -> Option<Grams> {
        self.maintenance_tolerance(division, load).map(|tolerance| Grams(round_to_digits(tolerance.0 * 0.5)))
    }

    /// Maintenance tolerance at a load by NIST Handbook 44, 2.20, table 6: 1, 2, 3 and 5 divisions.
    ///
    /// What the United States use in the place of R 76's limits in service. Steps of class III are published, the others
    /// from memory. `None` for a negative load or a division that is not positive.
    #[must_use]
    pub fn maintenance_tolerance(self, division: Grams, load: Grams) -> Option<Grams> {
        if !(division.0 > 0.0 && division.0.is_finite() && load.0 >= 0.0 && load.0.is_finite()) {
            return None;
        }
        let steps = match self {
            Self::I => [50_000.0, 200_000.0, f64::INFINITY],
            Self::II => [5_000.0, 20_000.0, f64::INFINITY],
            Self::III => [500.0, 2_000.0, 4_000.0],
            Self::IIII => [50.0, 200.0, 400.0],
        };
        let divisions = load / division;
        let within = steps.into_iter().zip([1.0, 2.0, 3.0]).find(|(step, _)| divisions <= step * (1.0 + 1e-12));
        Some(Grams(round_to_digits(division.0 * within.map_or(5.0, |(_, factor)| factor))))
    }
}

/// Class and verification interval of an instrument, as its plate says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy {
    /// The class.
    pub class: InstrumentClass,
    /// The verification interval e: the last digit d, or up to ten of it.
    pub interval: Grams,
}

impl Accuracy {
    /// What a plate says; without an e of its own it is the last digit d, in grams. `None` where d is nothing.
    #[must_use]
    pub fn of_plate(class: Option<InstrumentClass>, interval_g: Option<f64>, resolution_g: f64) -> Option<Self> {
        let interval = Grams(interval_g.unwrap_or(resolution_g));
        Some(Self { class: class?, interval }).filter(|_| interval.0 > 0.0)
    }

    /// Largest permissible error in service, in grams; `None` beyond what the class reaches to.
    #[must_use]
    pub fn limit_g(self, load_g: f64) -> Option<f64> {
        self.class.largest_error_in_service(self.interval, Grams(load_g)).map(|limit| limit.0)
    }

    /// The largest error an instrument may show that was just adjusted, in grams: that of a verification, which is of the
    /// indication before it was rounded to `resolution_g` (R 76-1, A.4.4.3, from memory), and never more than in service.
    #[must_use]
    pub fn adjusted_limit_g(self, load_g: f64, resolution_g: f64) -> Option<f64> {
        let verified = self.class.largest_error(self.interval, Grams(load_g))?;
        Some(self.limit_g(load_g)?.min(round_to_digits(verified.0 + resolution_g / 2.0)))
    }
}

/// Whether an error is within a limit, both as decimals.
#[must_use]
pub fn error_is_within(error: Grams, limit: Grams) -> bool {
    error.abs().0 <= limit.0 * (1.0 + SLACK)
}

/// 1.5 × 0.1 is 0.15, not 0.15000000000000002.
fn round_to_digits(value: f64) -> f64 {
    let decimals = (0..=15u8).find(|decimals| {
        let rounded = round_ties_away(value, *decimals);
        (rounded - value).abs() <= value.abs() * 4.0 * f64::EPSILON
    });
    decimals.map_or(value, |decimals| round_ties_away(value, decimals))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_is_accepted_only_when_nothing_is_in_doubt() {
        // R 111-1: |error| <= limit - U, U <= limit / 3. Limit 5 mg, U 1.5 mg: accepted up to 3.5 mg.
        for (error, uncertainty, verdict) in [
            (3.5, 1.5, WeightVerdict::Conforms),
            (-3.51, 1.5, WeightVerdict::Undecided),
            (6.5, 1.5, WeightVerdict::Undecided),
            (-6.51, 1.5, WeightVerdict::DoesNotConform),
            (0.0, 1.7, WeightVerdict::UncertaintyTooLarge),
        ] {
            assert_eq!(judge_weight(5.0, error, uncertainty), verdict, "{error} {uncertainty}");
        }
    }

    #[test]
    fn a_limit_in_decimals_is_decided_in_decimals() {
        assert_eq!(judge_weight(1.6, 1.44, 0.16), WeightVerdict::Conforms);
        assert_eq!(judge_weight(0.3, 0.2, 0.1), WeightVerdict::Conforms);
        assert!(error_is_within(Grams(0.1 + 0.05), Grams(0.15)));
    }

    #[test]
    fn the_table_has_no_weight_it_does_not_list() {
        for (class, nominal) in
            [(WeightClass::M3, 0.5), (WeightClass::M2, 0.05), (WeightClass::F1, 300.0), (WeightClass::E1, 0.0)]
        {
            assert_eq!(class.largest_error_mg(Grams(nominal)), None, "{class:?} {nominal}");
        }
        assert_eq!(WeightClass::E1.largest_error_mg(Grams(f64::NAN)), None);
    }

    #[test]
    fn a_load_on_a_step_still_has_the_smaller_limit() {
        // 0.3 / 0.1 is 2.9999999999999996 and 50.1 / 0.1 is 501: only the second is above the step at 500 e.
        let limit = |load: f64| InstrumentClass::III.largest_error(Grams(0.1), Grams(load)).map(|limit| limit.0);
        assert_eq!((limit(50.0), limit(50.1), limit(205.0)), (Some(0.05), Some(0.1), Some(0.15)));
        assert_eq!((limit(1000.0), limit(1000.1), limit(-1.0)), (Some(0.15), None, None));
        assert_eq!(InstrumentClass::III.largest_error(Grams(0.0), Grams(1.0)), None);
    }
}
