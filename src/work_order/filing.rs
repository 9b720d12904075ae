//! A value as it is filed with a club: with target, limits, deviation and verdict.

use super::judging::{COVERAGE, DecisionRule, Verdict, is_a_limit, judge};
use super::order::Stage;
use super::record::ClubRecord;
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Target;

/// One value put into a club's record.
#[derive(Debug, Clone, PartialEq)]
pub struct FiledValue {
    /// What it is.
    pub characteristic: Characteristic,
    /// How far the club was built.
    pub stage: Stage,
    /// The value in the characteristic's unit.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Its expanded uncertainty (about 95 %) with the coverage factor of its budget, where it has one.
    pub expanded_u: Option<f64>,
    /// Target at that moment.
    pub target: Option<f64>,
    /// Lower limit at that moment.
    pub lower: Option<f64>,
    /// Upper limit at that moment.
    pub upper: Option<f64>,
    /// Value less target.
    pub deviation: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
    /// Whether the uncertainty straddles a limit.
    pub marginal: bool,
    /// The rule the verdict was taken by.
    pub rule: DecisionRule,
}

impl FiledValue {
    /// Its expanded uncertainty; with k = 2 where no budget says another.
    #[must_use]
    pub fn expanded(&self) -> f64 {
        self.expanded_u.unwrap_or(COVERAGE * self.u)
    }

    /// Whether it lies outside the limits it was judged by. A program before 0.5.0 may have judged a value that is its own limit by
    /// its last bit: that verdict stays in the journal as it was written, and by the rules of today it does not count.
    #[must_use]
    pub fn is_outside(&self) -> bool {
        let is_out = |verdict| matches!(verdict, Verdict::Under | Verdict::Over);
        let target = Target { value: self.target, lower: self.lower, upper: self.upper };
        let today = || judge(self.rule, &target, self.value, self.expanded()).verdict;
        is_out(self.verdict) && (!is_a_limit(&target, self.value) || is_out(today()))
    }

    /// Whether it lies outside limits that may be others than those it was judged by.
    #[must_use]
    pub fn is_outside_of(&self, target: &Target) -> bool {
        if (target.value, target.lower, target.upper) == (self.target, self.lower, self.upper) {
            return self.is_outside();
        }
        let verdict = judge(self.rule, target, self.value, self.expanded()).verdict;
        matches!(verdict, Verdict::Under | Verdict::Over)
    }

    /// Whether it tells that head and shaft were laid together: the angles of a head are read on any shaft, and a
    /// frequency is taken of a bare one.
    #[must_use]
    pub fn says_assembled(&self) -> bool {
        let apart = [
            Characteristic::Loft,
            Characteristic::Lie,
            Characteristic::FaceAngle,
            Characteristic::Frequency,
            Characteristic::ClampLength,
            Characteristic::TipMass,
        ];
        self.stage != Stage::Part && !(self.stage == Stage::DryFit && apart.contains(&self.characteristic))
    }
}

/// A value of a club, judged; the uncertainty is the standard one and, where a budget gives it, the expanded one.
pub(super) fn judged(
    rule: DecisionRule,
    club: &ClubRecord,
    characteristic: Characteristic,
    stage: Stage,
    value: f64,
    (u, expanded_u): (f64, Option<f64>),
) -> FiledValue {
    let target = club.spec.target(characteristic).map(|row| row.target).unwrap_or_default();
    let judgement = judge(rule, &target, value, expanded_u.unwrap_or(COVERAGE * u));
    let Target { value: aim, lower, upper } = target;
    FiledValue {
        characteristic,
        stage,
        value,
        u,
        expanded_u,
        target: aim,
        lower,
        upper,
        deviation: judgement.deviation,
        verdict: judgement.verdict,
        marginal: judgement.marginal,
        rule,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_verdict_of_an_older_program_by_the_last_bit_does_not_count() {
        // 37 1/2 in + 1/16 in, typed as 37 9/16 in: 954.0875 mm, and one bit more as it was worked out.
        let limit: f64 = 954.0875;
        let filed = |value: f64, rule| FiledValue {
            characteristic: Characteristic::Length,
            stage: Stage::Final,
            value,
            u: 0.1,
            expanded_u: None,
            target: Some(952.5),
            lower: Some(950.9125),
            upper: Some(limit),
            deviation: Some(value - 952.5),
            verdict: Verdict::Over,
            marginal: true,
            rule,
        };
        let next = f64::from_bits(limit.to_bits() + 1);
        assert!(!filed(next, DecisionRule::Plain).is_outside());
        assert!(filed(limit + 0.01, DecisionRule::Plain).is_outside());
        // With a guard band a limit itself is outside, by the rules of today as well.
        assert!(filed(next, DecisionRule::Guarded { guard: 1.0 }).is_outside());
    }
}
