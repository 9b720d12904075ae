//! Deviation from target and verdict. Taken on full values; rounding is for display.

use crate::measurement::quantity::Target;

super::order::named!(
    /// How a value stands to its target.
    Verdict {
        /// Inside the limits, limits included.
        Within = "within",
        /// Below the lower limit.
        Under = "under",
        /// Above the upper limit.
        Over = "over",
        /// The order sets no limits for it.
        NoTarget = "no_target",
    }
);

/// The rule by which verdicts are taken: limits are applied to the value as measured, and a value whose
/// expanded uncertainty (k = 2) straddles a limit is marked. ISO/IEC 17025 7.8.6 asks that a rule be stated.
pub const DECISION_RULE: &str = "plain";

/// Coverage factor of the interval that marks a verdict (about 95 %).
const COVERAGE: f64 = 2.0;

/// A value judged against its target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judgement {
    /// Value less target; `None` where the order names no value, only limits.
    pub deviation: Option<f64>,
    /// Where it stands.
    pub verdict: Verdict,
    /// The uncertainty straddles a limit, so a repeat may come out on the other side.
    pub marginal: bool,
}

/// Judges `value` with standard uncertainty `u`, both in the target's unit.
#[must_use]
pub fn judge(target: &Target, value: f64, u: f64) -> Judgement {
    let under = target.lower.is_some_and(|limit| value < limit);
    let over = target.upper.is_some_and(|limit| value > limit);
    let verdict = match (target.lower.or(target.upper), under, over) {
        (None, _, _) => Verdict::NoTarget,
        (_, true, _) => Verdict::Under,
        (_, _, true) => Verdict::Over,
        _ => Verdict::Within,
    };
    let straddles = |limit: Option<f64>| limit.is_some_and(|limit| (value - limit).abs() < COVERAGE * u);
    Judgement {
        deviation: target.value.map(|target| value - target),
        verdict,
        marginal: straddles(target.lower) || straddles(target.upper),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts_are_taken_on_full_values() {
        let target = Target { value: Some(33.0), lower: Some(32.5), upper: Some(33.5) };
        let check = |value: f64, u: f64, verdict, marginal| {
            let judged = judge(&target, value, u);
            assert_eq!((judged.verdict, judged.marginal), (verdict, marginal), "{value}");
        };
        check(33.1, 0.06, Verdict::Within, false);
        check(33.5, 0.0, Verdict::Within, false);
        check(33.500_001, 0.0, Verdict::Over, false);
        check(32.4, 0.06, Verdict::Under, true);
        check(33.45, 0.06, Verdict::Within, true);
    }

    #[test]
    fn a_target_without_limits_gives_a_deviation_and_no_verdict() {
        let judged = judge(&Target { value: Some(10.0), lower: None, upper: None }, 10.5, 0.1);
        assert_eq!(judged.verdict, Verdict::NoTarget);
        assert_eq!(judged.deviation, Some(0.5));
        let limited = judge(&Target { value: None, lower: None, upper: Some(46.0) }, 46.5, 0.1);
        assert_eq!((limited.verdict, limited.deviation), (Verdict::Over, None));
    }
}
