//! Readings of one club that cannot all be right: parts against the whole, scale against beam, balance against parts.
//!
//! A leaning club or a light finger is invisible to one instrument and visible to the bench. What breaks a sum is
//! named with its partner; weighing either again clears it, because only what counts is looked at.

use super::drawer_stock::TakenPart;
use super::event::EventId;
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
/// Where a bare shaft may balance, as a share of the club's length (common practice, no source).
const SHAFT_BALANCE: (f64, f64) = (0.40, 0.60);
/// Where the centre of a grip is from the butt, in millimetres (common practice, no source).
const GRIP_CENTRE_MM: (f64, f64) = (90.0, 135.0);
/// How far the centre of a head may be beyond or before the club's length, in millimetres.
const HEAD_OFFSET_MM: f64 = 40.0;

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
            let agrees = (-(less + chance)..=more + chance).contains(&difference);
            let heaviest = parts.iter().max_by(|a, b| a.filed.value.total_cmp(&b.filed.value))?;
            (!agrees).then(|| Suspect {
                reading: total.event,
                partner: heaviest.event,
                reason: format!(
                    "the club weighs {:.1} g at {}, its parts {:.1} g: {:+.1} g cannot be; lay club or parts down again, free and without a hand",
                    total.filed.value,
                    total.filed.stage.name(),
                    sum,
                    difference
                ),
            })
        })
        .collect()
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
            // A weight that came on between the two is no disagreement.
            let now = |entry: &Entry| entry.filed.value + club.weights_since(entry).map(TakenPart::grams).sum::<f64>();
            let difference = now(first) - now(second);
            if difference.abs() > COVERAGE * first.filed.u.hypot(second.filed.u) + SLACK_G {
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

/// The balance point lies where these parts can put it.
fn balance_against_parts(club: &ClubRecord) -> Vec<Suspect> {
    let Some([head, shaft, grip]) = parts(club) else { return Vec::new() };
    let length = club.latest(Characteristic::Length).map_or(club.spec.length_mm(), |e| e.filed.value);
    let moment = |head_mm: f64, shaft_mm: f64, grip_mm: f64| {
        head.filed.value * head_mm + shaft.filed.value * shaft_mm + grip.filed.value * grip_mm
    };
    let mass = head.filed.value + shaft.filed.value + grip.filed.value;
    let lowest = moment(length - HEAD_OFFSET_MM, SHAFT_BALANCE.0 * length, GRIP_CENTRE_MM.0) / (mass + BUILD_EXTRAS_G);
    let highest =
        moment(length + HEAD_OFFSET_MM, SHAFT_BALANCE.1 * length, GRIP_CENTRE_MM.1) / mass + HEAD_OFFSET_MM / 2.0;
    club.valid()
        .filter(|e| e.filed.characteristic == Characteristic::BalancePoint)
        .filter(|e| !(lowest..=highest).contains(&e.filed.value))
        .map(|e| Suspect {
            reading: e.event,
            partner: head.event,
            reason: format!(
                "a balance point of {:.0} mm is not possible with these parts ({lowest:.0} to {highest:.0} mm): butt against the stop, club free, lay it down again",
                e.filed.value
            ),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work_order::build::Build;
    use crate::work_order::details::Details;
    use crate::work_order::event::FiledValue;
    use crate::work_order::judging::{DecisionRule, Verdict};
    use crate::work_order::order::{ClubKind, ClubSpec, Hand, WorkKind};
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

    #[test]
    fn scale_and_beam_must_agree_on_the_same_club() {
        let mut club = Club::new();
        let beam = club.weigh(Characteristic::TotalMass, Stage::Gripped, "beam", 316.0);
        let scale = club.weigh(Characteristic::TotalMass, Stage::Gripped, "club-scale", 313.0);
        let found = suspects(&club.0);
        assert_eq!(found.iter().map(|s| (s.reading, s.partner)).collect::<Vec<_>>(), [(scale, beam)]);
    }

    #[test]
    fn a_balance_point_that_the_parts_cannot_give_is_named() {
        let mut club = Club::with_parts();
        club.weigh(Characteristic::BalancePoint, Stage::DryFit, "beam", 700.0);
        assert_eq!(suspects(&club.0).len(), 1);
    }
}
