//! Deviation from target and verdict. Taken on full values; rounding is for display.

use crate::club::characteristic::Characteristic;
use crate::club::shown::{self, Lengths};
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

/// The rule by which verdicts are taken, recorded with each of them (ISO/IEC 17025, 7.8.6, asks that a rule be
/// stated). Under both a value whose expanded uncertainty straddles a limit is marked.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum DecisionRule {
    /// Limits are applied to the value as measured.
    #[default]
    Plain,
    /// A value is within only if it keeps `guard` times its expanded uncertainty inside the limits; else it is under or
    /// over, whichever side it is nearer to.
    Guarded {
        /// Width of the guard band in expanded uncertainties, 0 to 3.
        guard: f64,
    },
}

impl DecisionRule {
    /// The name in records: `plain`, or `guarded` with its factor.
    #[must_use]
    pub fn text(self) -> String {
        match self {
            Self::Plain => "plain".to_owned(),
            Self::Guarded { guard } => format!("guarded {guard}"),
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        if text == "plain" {
            return Some(Self::Plain);
        }
        let guard: f64 = text.strip_prefix("guarded ")?.parse().ok()?;
        (0.0..=3.0).contains(&guard).then_some(Self::Guarded { guard })
    }

    /// How far inside a limit a value must be, for its expanded uncertainty.
    fn band(self, expanded: f64) -> f64 {
        match self {
            Self::Plain => 0.0,
            Self::Guarded { guard } => guard * expanded,
        }
    }
}

/// How a value lies outside its limits, in one wording wherever it is said: `+1/4 in from target (3/16 in over its limit)`; nothing
/// where it does not.
#[must_use]
pub fn outside_in_words(
    characteristic: Characteristic,
    target: &Target,
    value: f64,
    verdict: Verdict,
    lengths: Lengths,
) -> Option<String> {
    let (side, limit) = match verdict {
        Verdict::Within | Verdict::NoTarget => return None,
        Verdict::Under => ("under", target.lower),
        Verdict::Over => ("over", target.upper),
    };
    let beyond = value - limit?;
    let size = shown::size(characteristic, beyond, lengths);
    let is_inside = (beyond < 0.0) == (verdict == Verdict::Over);
    let beyond = if is_inside && beyond != 0.0 {
        format!("{size} inside its limit, less than the guard band")
    } else {
        format!("{size} {side} its limit")
    };
    Some(match target.value {
        Some(target) => {
            format!("{} from target ({beyond})", shown::deviation(characteristic, value - target, lengths))
        }
        None => beyond,
    })
}

/// What arithmetic leaves between numbers that mean the same, such as 37 1/16 in and 37 in + 1/16 in in millimetres, as a share of them:
/// some roundings of a double (each 1.1e-16).
const ROUNDING: f64 = 1e-14;

/// Whether a value is one of the limits but for what arithmetic leaves. Programs before 0.5.0 judged such a value by its last bit.
#[must_use]
pub fn is_a_limit(target: &Target, value: f64) -> bool {
    let mut limits = target.lower.into_iter().chain(target.upper);
    limits.any(|limit| (value - limit).abs() <= ROUNDING * value.abs().max(limit.abs()))
}

/// Coverage factor (about 95 %) of a value that has no budget to say its own.
pub const COVERAGE: f64 = 2.0;

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

/// Judges `value` with its expanded uncertainty (about 95 %, with the coverage factor of its budget), both in the
/// target's unit.
#[must_use]
pub fn judge(rule: DecisionRule, target: &Target, value: f64, expanded: f64) -> Judgement {
    let band = rule.band(expanded);
    let largest =
        [target.lower, target.upper].into_iter().flatten().fold(value.abs(), |most, limit| most.max(limit.abs()));
    let rounding = ROUNDING * largest;
    let room_below = target.lower.map(|limit| value - limit);
    let room_above = target.upper.map(|limit| limit - value);
    let mut under = room_below.is_some_and(|room| room < band - rounding);
    let mut over = room_above.is_some_and(|room| room < band - rounding);
    if let (true, true, Some(below), Some(above)) = (under, over, room_below, room_above) {
        // Bands that meet leave no room: the nearer limit names the side.
        (under, over) = (below <= above, below > above);
    }
    let verdict = match (target.lower.or(target.upper), under, over) {
        (None, _, _) => Verdict::NoTarget,
        (_, true, _) => Verdict::Under,
        (_, _, true) => Verdict::Over,
        _ => Verdict::Within,
    };
    let straddles = |limit: Option<f64>| limit.is_some_and(|limit| (value - limit).abs() < expanded);
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
            let judged = judge(DecisionRule::Plain, &target, value, 2.0 * u);
            assert_eq!((judged.verdict, judged.marginal), (verdict, marginal), "{value}");
        };
        check(33.1, 0.06, Verdict::Within, false);
        check(33.5, 0.0, Verdict::Within, false);
        check(33.500_001, 0.0, Verdict::Over, false);
        check(32.4, 0.06, Verdict::Under, true);
        check(33.45, 0.06, Verdict::Within, true);
    }

    /// Every sixteenth of an inch that a length can be asked for with: its limits belong to it, however they are worked out.
    #[test]
    fn a_length_that_is_typed_as_its_limit_is_within() {
        let inch = 25.4;
        for sixteenths in 320..=800 {
            let aim = f64::from(sixteenths) / 16.0 * inch;
            let half = inch / 16.0;
            let target = Target { value: Some(aim), lower: Some(aim - half), upper: Some(aim + half) };
            for typed in [f64::from(sixteenths + 1) / 16.0 * inch, f64::from(sixteenths - 1) / 16.0 * inch] {
                let judged = judge(DecisionRule::Plain, &target, typed, 0.5);
                assert_eq!(judged.verdict, Verdict::Within, "{sixteenths}/16 in, {typed} mm");
            }
        }
    }

    #[test]
    fn a_target_without_limits_gives_a_deviation_and_no_verdict() {
        let judged = judge(DecisionRule::Plain, &Target { value: Some(10.0), lower: None, upper: None }, 10.5, 0.1);
        assert_eq!(judged.verdict, Verdict::NoTarget);
        assert_eq!(judged.deviation, Some(0.5));
        let limited = judge(DecisionRule::Plain, &Target { value: None, lower: None, upper: Some(46.0) }, 46.5, 0.1);
        assert_eq!((limited.verdict, limited.deviation), (Verdict::Over, None));
    }

    #[test]
    fn a_guard_band_is_kept_inside_the_limits() {
        let target = Target { value: Some(200.0), lower: Some(198.0), upper: Some(202.0) };
        let check = |guard: f64, value: f64, u: f64, verdict, marginal| {
            let judged = judge(DecisionRule::Guarded { guard }, &target, value, 2.0 * u);
            assert_eq!((judged.verdict, judged.marginal), (verdict, marginal), "{guard} {value} {u}");
        };
        // U = 0.5 g: accepted up to 201.5 g with one U of guard, up to 201.75 g with half of it.
        check(1.0, 201.5, 0.25, Verdict::Within, false);
        check(1.0, 201.6, 0.25, Verdict::Over, true);
        check(0.5, 201.6, 0.25, Verdict::Within, true);
        check(1.0, 198.4, 0.25, Verdict::Under, true);
        check(0.0, 202.0, 0.25, Verdict::Within, true);
        // U = 3 g is more than the tolerance: nothing can be accepted.
        check(1.0, 199.9, 1.5, Verdict::Under, true);
        check(1.0, 200.1, 1.5, Verdict::Over, true);
    }

    #[test]
    fn rules_are_read_as_they_are_written() {
        for rule in [DecisionRule::Plain, DecisionRule::Guarded { guard: 1.0 }, DecisionRule::Guarded { guard: 0.83 }] {
            assert_eq!(DecisionRule::parse(&rule.text()), Some(rule));
        }
        for text in ["", "guarded", "guarded -1", "guarded NaN", "guarded 4"] {
            assert_eq!(DecisionRule::parse(text), None, "{text}");
        }
    }
}
