//! A value as it is filed with a club: with target, limits, deviation and verdict.

use super::judging::{COVERAGE, DecisionRule, Verdict, judge};
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
