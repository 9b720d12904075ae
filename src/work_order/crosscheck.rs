//! Readings of one club that cannot all be right: parts against the whole, scale against beam, balance against parts.
//!
//! A leaning club or a light finger is invisible to one instrument and visible to the bench. What breaks a sum is
//! named with its partner; weighing either again clears it, because only what counts is looked at.

use super::drawer_stock::TakenPart;
use super::event::EventId;
use super::forecast::{Ground, ground};
use super::learning::Basis;
use super::order::Stage;
use super::record::{ClubRecord, Entry};
use crate::club::characteristic::Characteristic;

/// Two readings that do not agree.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// The reading to repeat first: the newer one.
    pub reading: EventId,
    /// What it does not agree with.
    pub partner: EventId,
    /// Why, and what to do.
    pub reason: String,
}

/// Coverage of the disagreement that is still chance: three standard uncertainties of the difference.
const COVERAGE: f64 = 3.0;
/// What two instruments may differ by beyond their stated uncertainty, in grams (eccentric loading, draught).
const SLACK_G: f64 = 0.2;
/// A ferrule and small things laid on at the dry fit, in grams (common practice, no source).
const DRY_FIT_EXTRAS_G: f64 = 3.0;
/// Adhesive, tape, ferrule and weights that come until the grip is on, in grams (common practice, no source).
const BUILD_EXTRAS_G: f64 = 18.0;
/// Share of a shaft that may be cut off between weighing and finish (common practice, no source).
const CUT_SHARE: f64 = 0.15;
/// What the balance point may be off by beyond its stated uncertainty, in millimetres: supports and stop.
const SLACK_MM: f64 = 2.0;
/// How much longer a shaft may be that nobody has measured or planned the cut of, in millimetres (common practice, no source).
const UNCUT_MM: f64 = 75.0;
/// What the length may be off by that was neither ordered nor measured, in millimetres (common practice, no source).
const UNKNOWN_LENGTH_MM: f64 = 40.0;
/// What a part may be off its ordered mass where the order gives no tolerance, as a share (common practice, no source).
const PART_SPREAD: f64 = 0.02;
/// What a part that nothing was ordered of would be off by, if a difference were its, as a share: a rough guess.
const UNORDERED_SPREAD: f64 = 0.05;
/// Of two parts whose misreading would explain a difference nearly as well, within so many spreads, both are named.
const AS_LIKELY: f64 = 1.0;

/// Every pair of readings of this club that cannot both be right.
#[must_use]
pub fn suspects(club: &ClubRecord) -> Vec<Suspect> {
    let mut found = Vec::new();
    found.extend(parts_against_club(club));
    found.extend(scale_against_beam(club));
    found.extend(balance_against_parts(club));
    found
}

fn entry(club: &ClubRecord, characteristic: Characteristic, stage: Stage) -> Option<&Entry> {
    club.valid().rfind(|e| e.filed.characteristic == characteristic && e.filed.stage == stage)
}

/// The parts, if all three are weighed.
fn parts(club: &ClubRecord) -> Option<[&Entry; 3]> {
    let part = |characteristic| entry(club, characteristic, Stage::Part);
    Some([part(Characteristic::HeadMass)?, part(Characteristic::ShaftMass)?, part(Characteristic::GripMass)?])
}

fn newer<'a>(a: &'a Entry, b: &'a Entry) -> (&'a Entry, &'a Entry) {
    if a.at_us >= b.at_us { (a, b) } else { (b, a) }
}

/// What the parts weigh must be found again in the club.
fn parts_against_club(club: &ClubRecord) -> Vec<Suspect> {
    let Some(parts) = parts(club) else { return Vec::new() };
    let sum: f64 = parts.iter().map(|part| part.filed.value).sum();
    let u_sum = parts.iter().map(|part| part.filed.u).fold(0.0, f64::hypot);
    let was_cut = club.steps.iter().any(|step| step.step == super::steps::Step::Cut);
    let totals = club.valid().filter(|e| e.filed.characteristic == Characteristic::TotalMass);
    totals
        .filter_map(|total| {
            // At the dry fit nothing is cut or glued, so the sum is sharp; afterwards the small things come.
            let sharp = total.filed.stage == Stage::DryFit && !was_cut;
            let (less, more) = if sharp {
                (0.0, DRY_FIT_EXTRAS_G)
            } else {
                (CUT_SHARE * parts[1].filed.value, BUILD_EXTRAS_G)
            };
            let chance = COVERAGE * u_sum.hypot(total.filed.u) + SLACK_G;
            let since: f64 = club.weights_since(total).map(TakenPart::grams).sum();
            let weights = club.weights().map(|(_, part)| part.grams()).sum::<f64>() - since;
            let sum = sum + weights;
            let difference = total.filed.value - sum;
            if (-(less + chance)..=more + chance).contains(&difference) {
                return None;
            }
            let likely = likely(club, &parts, difference);
            let first = *likely.first()?;
            let named: Vec<&str> = likely.iter().map(|part| part.filed.characteristic.label()).collect();
            // Two instruments that agree on the club leave the parts.
            let (reading, partner) = if is_confirmed(club, total) { (first, total) } else { (total, first) };
            Some(Suspect {
                reading: reading.event,
                partner: partner.event,
                reason: format!(
                    "the club weighs {:.1} g at {}, its parts {:.1} g: {:+.1} g cannot be, and it is the club or most likely {}; lay club or parts down again, free and without a hand",
                    total.filed.value,
                    total.filed.stage.name().replace('_', " "),
                    sum,
                    difference,
                    named.join(" or ")
                ),
            })
        })
        .collect()
}

/// Whether another instrument says the same of the club as it is.
fn is_confirmed(club: &ClubRecord, total: &Entry) -> bool {
    let others = club.valid().filter(|e| {
        e.filed.characteristic == Characteristic::TotalMass
            && e.filed.stage == total.filed.stage
            && e.method.name() != total.method.name()
    });
    let mut others = others.peekable();
    others.peek().is_some() && others.all(|other| difference_of_totals(club, total, other).is_none())
}

/// The part, or two, whose misreading explains a difference between club and parts best: it would then weigh what was
/// ordered, while another would be far from it. Where nothing is ordered, the heaviest changes least for its mass.
fn likely<'a>(club: &ClubRecord, parts: &[&'a Entry; 3], difference: f64) -> Vec<&'a Entry> {
    let mut scored: Vec<(f64, &Entry)> = parts
        .iter()
        .filter(|part| part.filed.value + difference > 0.0)
        .map(|part| {
            let (value, wanted) = (part.filed.value, part.filed.value + difference);
            let target = club.spec.target(part.filed.characteristic).map(|row| row.target);
            let score = match target.and_then(|target| Some((target.value?, target))) {
                Some((centre, target)) => {
                    let half = target.upper.zip(target.lower).map(|(upper, lower)| 0.5 * (upper - lower));
                    let spread = half.filter(|half| *half > 0.0).unwrap_or(PART_SPREAD * centre);
                    ((wanted - centre).abs() - (value - centre).abs()) / spread
                }
                None => difference.abs() / (UNORDERED_SPREAD * value),
            };
            (score, *part)
        })
        .collect();
    scored.sort_by(|(a, _), (b, _)| a.total_cmp(b));
    let best = scored.first().map_or(0.0, |(score, _)| *score);
    scored.into_iter().take_while(|(score, _)| score - best <= AS_LIKELY).take(2).map(|(_, part)| part).collect()
}

/// What two totals of the same club differ by, if that is more than chance.
fn difference_of_totals(club: &ClubRecord, first: &Entry, second: &Entry) -> Option<f64> {
    // A weight that came on between the two is no disagreement.
    let now = |entry: &Entry| entry.filed.value + club.weights_since(entry).map(TakenPart::grams).sum::<f64>();
    let difference = now(first) - now(second);
    (difference.abs() > COVERAGE * first.filed.u.hypot(second.filed.u) + SLACK_G).then_some(difference)
}

/// The same club weighs the same on scale and beam.
fn scale_against_beam(club: &ClubRecord) -> Vec<Suspect> {
    let totals: Vec<&Entry> = club.valid().filter(|e| e.filed.characteristic == Characteristic::TotalMass).collect();
    let mut found = Vec::new();
    for (index, first) in totals.iter().enumerate() {
        for second in totals.iter().skip(index + 1) {
            if first.filed.stage != second.filed.stage || first.method.name() == second.method.name() {
                continue;
            }
            if difference_of_totals(club, first, second).is_some() {
                let (reading, partner) = newer(first, second);
                found.push(Suspect {
                    reading: reading.event,
                    partner: partner.event,
                    reason: format!(
                        "{} says {:.1} g, {} says {:.1} g for the same club: lay it down again on both, free and without a hand",
                        first.method.name(),
                        first.filed.value,
                        second.method.name(),
                        second.filed.value
                    ),
                });
            }
        }
    }
    found
}

/// The balance point lies where these parts can put it, within what the model does not know of this club.
///
/// Both are carried to the gripped club: the model from the weighed parts, the reading by what still comes to it.
fn balance_against_parts(club: &ClubRecord) -> Vec<Suspect> {
    let Some([head, ..]) = parts(club) else { return Vec::new() };
    let Some(Ground { placed: [_, (expected, u_expected), _], .. }) = ground(club, Basis::Parts) else {
        return Vec::new();
    };
    club.valid()
        .filter(|e| e.filed.characteristic == Characteristic::BalancePoint)
        .filter_map(|reading| {
            let stage = reading.filed.stage;
            // Measured since at a later stage, it is that reading that is looked at: nobody can lay this one down again.
            // The record keeps its values in the order in which they came, whatever the clock said.
            let mut since = club.valid().skip_while(|entry| !std::ptr::eq(*entry, reading));
            let is_measured_anew = since.any(|later| {
                later.filed.characteristic == Characteristic::BalancePoint && later.filed.stage != stage
            });
            if is_measured_anew {
                return None;
            }
            let carried = match stage {
                Stage::DryFit => ground(club, Basis::DryFit)?.placed[1],
                Stage::Bonded => ground(club, Basis::Bonded)?.placed[1],
                // Weights that came on since are in the expectation.
                _ if club.weights_since(reading).next().is_some() => return None,
                _ => (reading.filed.value, reading.filed.u),
            };
            let is_measured = club.latest(Characteristic::Length).is_some();
            let is_known = is_measured || club.spec.target(Characteristic::Length).is_some();
            let slack = if is_known { SLACK_MM } else { UNKNOWN_LENGTH_MM };
            let chance = COVERAGE * u_expected.hypot(carried.1) + slack;
            let is_unmeasured = club.spec.build.cut.is_none() && !is_measured;
            let longer = if stage == Stage::DryFit && is_unmeasured { UNCUT_MM } else { 0.0 };
            let off = carried.0 - expected;
            let (lowest, highest) = (reading.filed.value - off - chance, reading.filed.value - off + chance + longer);
            (off < -chance || off > chance + longer).then(|| Suspect {
                reading: reading.event,
                partner: head.event,
                reason: format!(
                    "a balance point of {:.0} mm is not possible with these parts ({lowest:.0} to {highest:.0} mm): butt against the stop, club free, lay it down again",
                    reading.filed.value
                ),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::quantity::Target;
    use crate::work_order::build::Build;
    use crate::work_order::details::Details;
    use crate::work_order::event::FiledValue;
    use crate::work_order::judging::{DecisionRule, Verdict};
    use crate::work_order::order::{ClubKind, ClubSpec, Hand, TargetRow, WorkKind};
    use crate::work_order::record::{Method, Standing};

    struct Club(ClubRecord, u64);

    impl Club {
        fn new() -> Self {
            let spec = ClubSpec {
                id: "W-1/1".into(),
                token: "t".into(),
                name: "driver".into(),
                kind: ClubKind::Driver,
                hand: Hand::Right,
                work: WorkKind::Build,
                route: Vec::new(),
                targets: Vec::new(),
                details: Details::default(),
                build: Build::default(),
                models: crate::work_order::order::Models::default(),
            };
            Self(ClubRecord::new("W-1", spec), 0)
        }

        fn weigh(&mut self, characteristic: Characteristic, stage: Stage, instrument: &str, value: f64) -> EventId {
            self.1 += 1;
            let event = EventId::new(1, self.1, 0);
            self.0.file(Entry {
                filed: FiledValue {
                    characteristic,
                    stage,
                    value,
                    u: 0.05,
                    expanded_u: None,
                    target: None,
                    lower: None,
                    upper: None,
                    deviation: None,
                    verdict: Verdict::NoTarget,
                    marginal: false,
                    rule: DecisionRule::Plain,
                },
                method: Method::Measured {
                    instrument: instrument.into(),
                    calibration: EventId::new(1, 0, 0),
                    on_key: false,
                    trouble: None,
                },
                event,
                at_us: i64::try_from(self.1).unwrap(),
                by: None,
                standing: Standing::Valid,
                budget: None,
            });
            event
        }

        fn with_parts() -> Self {
            let mut club = Self::new();
            club.weigh(Characteristic::HeadMass, Stage::Part, "parts-scale", 200.0);
            club.weigh(Characteristic::ShaftMass, Stage::Part, "parts-scale", 60.0);
            club.weigh(Characteristic::GripMass, Stage::Part, "parts-scale", 50.0);
            club
        }
    }

    #[test]
    fn a_club_that_weighs_what_its_parts_weigh_is_not_suspect() {
        let mut club = Club::with_parts();
        club.weigh(Characteristic::TotalMass, Stage::DryFit, "beam", 310.1);
        club.weigh(Characteristic::TotalMass, Stage::Gripped, "beam", 316.0);
        club.weigh(Characteristic::TotalMass, Stage::Gripped, "club-scale", 316.1);
        club.weigh(Characteristic::BalancePoint, Stage::Gripped, "beam", 857.0);
        assert_eq!(suspects(&club.0), []);
    }

    #[test]
    fn a_light_finger_at_the_dry_fit_breaks_the_sum_and_weighing_again_clears_it() {
        let mut club = Club::with_parts();
        let leaned = club.weigh(Characteristic::TotalMass, Stage::DryFit, "beam", 308.0);
        let found = suspects(&club.0);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].reading, leaned);
        club.weigh(Characteristic::TotalMass, Stage::DryFit, "beam", 310.0);
        assert_eq!(suspects(&club.0), []);
    }

    /// The parts suspected by name, for a club 2 g heavier than its parts, with the head ordered at this mass.
    #[track_caller]
    fn suspected(head_ordered_g: f64, of: &[(Characteristic, f64)], expected: &str) {
        let mut club = Club::with_parts();
        for (characteristic, value) in [(Characteristic::HeadMass, head_ordered_g)].iter().chain(of) {
            let target = Target { value: Some(*value), lower: Some(value - 1.0), upper: Some(value + 1.0) };
            club.0.spec.targets.push(TargetRow { characteristic: *characteristic, target, text: String::new() });
        }
        club.weigh(Characteristic::TotalMass, Stage::DryFit, "beam", 308.0);
        let found = suspects(&club.0);
        assert!(found.len() == 1 && found[0].reason.contains(expected), "{found:?}");
    }

    #[test]
    fn the_part_that_would_then_weigh_what_was_ordered_is_the_likely_one() {
        let others = [(Characteristic::ShaftMass, 60.0), (Characteristic::GripMass, 50.0)];
        suspected(198.0, &others, "most likely head mass;");
        suspected(200.0, &[(Characteristic::ShaftMass, 58.0), (Characteristic::GripMass, 50.0)], "likely shaft mass;");
        suspected(200.0, &[(Characteristic::ShaftMass, 60.0), (Characteristic::GripMass, 48.2)], "likely grip mass;");
        suspected(198.0, &[(Characteristic::ShaftMass, 58.5), others[1]], "head mass or shaft mass;");
    }

    #[test]
    fn two_instruments_that_agree_on_the_club_leave_the_parts() {
        let mut club = Club::with_parts();
        let beam = club.weigh(Characteristic::TotalMass, Stage::DryFit, "beam", 306.0);
        let scale = club.weigh(Characteristic::TotalMass, Stage::DryFit, "club-scale", 306.1);
        let found = suspects(&club.0);
        let head = EventId::new(1, 1, 0);
        assert!(found.iter().all(|s| s.reading == head && [beam, scale].contains(&s.partner)), "{found:?}");
        assert_eq!(found.len(), 2);
    }

    #[test]
    fn scale_and_beam_must_agree_on_the_same_club() {
        let mut club = Club::new();
        let beam = club.weigh(Characteristic::TotalMass, Stage::Gripped, "beam", 316.0);
        let scale = club.weigh(Characteristic::TotalMass, Stage::Gripped, "club-scale", 313.0);
        let found = suspects(&club.0);
        assert_eq!(found.iter().map(|s| (s.reading, s.partner)).collect::<Vec<_>>(), [(scale, beam)]);
    }

    /// By hand, moments about the butt with the usual places of the model: head 200 g at 1143 − 13, shaft 60 g at half of
    /// 1105 behind the cap of 3, grip 50 g at 112, tape 2.5 g at 136, adhesive 2 g at 1083: 268 000 g·mm of 314.5 g is 853 mm.
    #[test]
    fn a_balance_point_that_the_parts_cannot_give_is_named() {
        for (mm, expected) in [(853.0, 0), (868.0, 0), (838.0, 0), (890.0, 1), (815.0, 1), (700.0, 1)] {
            let mut club = Club::with_parts();
            let target = Target { value: Some(1143.0), lower: None, upper: None };
            club.0.spec.targets.push(TargetRow { characteristic: Characteristic::Length, target, text: String::new() });
            club.weigh(Characteristic::BalancePoint, Stage::Gripped, "beam", mm);
            assert_eq!(suspects(&club.0).len(), expected, "{mm} mm: {:?}", suspects(&club.0));
        }
    }
}
