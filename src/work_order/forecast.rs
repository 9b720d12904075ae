//! Where the club will land, before glue touches the shaft: from its weighed parts, or better from its dry fit.
//!
//! What is not measured is taken at its usual value with a spread; the uncertainty of the forecast says how much that
//! costs. Nothing here is ever filed: a forecast is shown beside what is measured.

use super::dry_fit::from_dry_fit;
use super::order::Stage;
use super::record::{ClubRecord, Entry};
use crate::club::characteristic::Characteristic;
use crate::club::parts::{Assembly, Grip, Head, Place, PointWeight, Shaft, Tape};
use crate::measurement::unit::{Grams, Millimetres};

/// A forecast value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// What of.
    pub characteristic: Characteristic,
    /// The value expected for the finished club.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// What a forecast says, and what it rests on in words.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outlook {
    /// The values; empty where there is nothing to say.
    pub values: Vec<Forecast>,
    /// What was measured, and what was taken for granted.
    pub basis: Vec<String>,
}

/// Something that is not measured: its usual value and standard spread. Common practice, no source.
#[derive(Clone, Copy)]
pub(super) struct Usual {
    pub(super) value: f64,
    pub(super) spread: f64,
}

pub(super) const fn usual(value: f64, spread: f64) -> Usual {
    Usual { value, spread }
}

/// What a forecast depends on, in the order of `INPUTS`.
#[derive(Clone, Copy)]
struct Inputs {
    head_g: f64,
    shaft_g: f64,
    grip_g: f64,
    length_mm: f64,
    shaft_balance_share: f64,
    head_beyond_tip_mm: f64,
    adhesive_g: f64,
    tape_g: f64,
}

/// Balance of a bare shaft as a share of its length.
const SHAFT_BALANCE_SHARE: Usual = usual(0.50, 0.025);
/// Centre of a head beyond the tip of the shaft, in millimetres.
const HEAD_BEYOND_TIP_MM: Usual = usual(22.0, 8.0);
/// Adhesive and ferrule, in grams.
pub(super) const ADHESIVE_G: Usual = usual(2.0, 1.0);
/// Tape under the grip, in grams.
pub(super) const TAPE_G: Usual = usual(2.5, 1.5);
/// Where adhesive and ferrule sit before the end of the shaft, in millimetres.
pub(super) const ADHESIVE_BEFORE_TIP_MM: f64 = 25.0;
/// Length and balance of a grip, and thickness of its cap, in millimetres.
pub(super) const GRIP_MM: (f64, f64, f64) = (268.0, 112.0, 3.0);

/// The forecast of mass, balance and swing weight of the finished club; empty while parts are missing, or once the
/// gripped club is measured and no forecast is needed any more.
#[must_use]
pub fn forecast(club: &ClubRecord) -> Vec<Forecast> {
    outlook(club).values
}

/// The same with what it rests on.
#[must_use]
pub fn outlook(club: &ClubRecord) -> Outlook {
    if club.standing(Characteristic::SwingWeight).is_some() {
        return Outlook::default();
    }
    let of_parts = || {
        let values = from_parts(club)?;
        let basis =
            vec!["from the weighed parts; tape, adhesive and what is not measured at their usual values".into()];
        Some(Outlook { values, basis })
    };
    from_dry_fit(club).or_else(of_parts).unwrap_or_default()
}

pub(super) fn newest(club: &ClubRecord, characteristic: Characteristic, stage: Stage) -> Option<&Entry> {
    club.valid().rfind(|e| e.filed.characteristic == characteristic && e.filed.stage == stage)
}

/// From the parts alone, by the assembly model; the spread of each input is carried through by a small change of it.
fn from_parts(club: &ClubRecord) -> Option<Vec<Forecast>> {
    let part = |characteristic| newest(club, characteristic, Stage::Part);
    let head = part(Characteristic::HeadMass)?;
    let shaft = part(Characteristic::ShaftMass)?;
    let grip = part(Characteristic::GripMass)?;
    let length = club.latest(Characteristic::Length);
    let length_mm = length.map_or(club.spec.length_mm(), |e| e.filed.value);
    let share = match part(Characteristic::ShaftBalance) {
        Some(balance) => usual(balance.filed.value / length_mm, balance.filed.u / length_mm),
        None => SHAFT_BALANCE_SHARE,
    };
    let inputs = Inputs {
        head_g: head.filed.value,
        shaft_g: shaft.filed.value,
        grip_g: grip.filed.value,
        length_mm,
        shaft_balance_share: share.value,
        head_beyond_tip_mm: HEAD_BEYOND_TIP_MM.value,
        adhesive_g: ADHESIVE_G.value,
        tape_g: TAPE_G.value,
    };
    let centre = outcome(&inputs)?;
    let moved = [
        Inputs { head_g: inputs.head_g + head.filed.u, ..inputs },
        Inputs { shaft_g: inputs.shaft_g + shaft.filed.u, ..inputs },
        Inputs { grip_g: inputs.grip_g + grip.filed.u, ..inputs },
        Inputs { length_mm: inputs.length_mm + length.map_or(1.0, |e| e.filed.u), ..inputs },
        Inputs { shaft_balance_share: inputs.shaft_balance_share + share.spread, ..inputs },
        Inputs { head_beyond_tip_mm: inputs.head_beyond_tip_mm + HEAD_BEYOND_TIP_MM.spread, ..inputs },
        Inputs { adhesive_g: inputs.adhesive_g + ADHESIVE_G.spread, ..inputs },
        Inputs { tape_g: inputs.tape_g + TAPE_G.spread, ..inputs },
    ];
    let mut u = [0.0f64; 3];
    for inputs in &moved {
        for (u, (moved, centre)) in u.iter_mut().zip(outcome(inputs)?.iter().zip(&centre)) {
            *u = u.hypot(moved - centre);
        }
    }
    let of = [Characteristic::TotalMass, Characteristic::BalancePoint, Characteristic::SwingWeight];
    let forecasts = of.into_iter().zip(centre.into_iter().zip(u));
    Some(forecasts.map(|(characteristic, (value, u))| Forecast { characteristic, value, u }).collect())
}

/// Mass, balance and swing weight of the club these inputs make.
fn outcome(inputs: &Inputs) -> Option<[f64; 3]> {
    let (grip_length, grip_balance, cap) = GRIP_MM;
    let shaft_length = inputs.length_mm - cap - inputs.head_beyond_tip_mm;
    let club = Assembly {
        cap: Millimetres(cap),
        shaft: Shaft {
            raw_length: Millimetres(shaft_length),
            raw_mass: Grams(inputs.shaft_g),
            balance_from_butt: Millimetres(inputs.shaft_balance_share * shaft_length),
            tip_trim: Millimetres(0.0),
            butt_trim: Millimetres(0.0),
        },
        grip: Grip {
            mass: Grams(inputs.grip_g),
            length: Millimetres(grip_length),
            cg_from_butt: Millimetres(grip_balance),
        },
        tape: Tape { mass: Grams(inputs.tape_g), length: Millimetres(grip_length - cap) },
        head: Head {
            mass: Grams(inputs.head_g),
            cg_from_tip: Millimetres(inputs.head_beyond_tip_mm),
            cg_lateral: Millimetres(0.0),
            inertia_cg_gmm2: 0.0,
        },
        points: vec![PointWeight {
            mass: Grams(inputs.adhesive_g),
            place: Place::FromTip(Millimetres(-ADHESIVE_BEFORE_TIP_MM)),
        }],
    };
    let whole = club.mass_properties().ok()?;
    Some([whole.mass.0, whole.balance.0, whole.swing_weight.0])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work_order::build::Build;
    use crate::work_order::details::Details;
    use crate::work_order::event::{EventId, FiledValue};
    use crate::work_order::judging::{DecisionRule, Verdict};
    use crate::work_order::order::{ClubKind, ClubSpec, Hand, WorkKind};
    use crate::work_order::record::{Method, Standing};

    fn club(values: &[(Characteristic, Stage, f64)]) -> ClubRecord {
        let spec = ClubSpec {
            id: "W-1/1".into(),
            token: "t".into(),
            name: "5-iron".into(),
            kind: ClubKind::Iron,
            hand: Hand::Right,
            work: WorkKind::Build,
            route: Vec::new(),
            targets: Vec::new(),
            details: Details::default(),
            build: Build::default(),
        };
        let mut record = ClubRecord::new("W-1", spec);
        for (number, (characteristic, stage, value)) in (1u64..).zip(values) {
            record.file(Entry {
                filed: FiledValue {
                    characteristic: *characteristic,
                    stage: *stage,
                    value: *value,
                    u: 0.05,
                    target: None,
                    lower: None,
                    upper: None,
                    deviation: None,
                    verdict: Verdict::NoTarget,
                    marginal: false,
                    rule: DecisionRule::Plain,
                },
                method: Method::Typed { text: String::new() },
                event: EventId::new(1, number, 0),
                at_us: 0,
                by: None,
                standing: Standing::Valid,
                budget: None,
            });
        }
        record
    }

    fn swing(record: &ClubRecord) -> Option<Forecast> {
        forecast(record).into_iter().find(|f| f.characteristic == Characteristic::SwingWeight)
    }

    const PARTS: [(Characteristic, Stage, f64); 4] = [
        (Characteristic::HeadMass, Stage::Part, 256.0),
        (Characteristic::ShaftMass, Stage::Part, 115.0),
        (Characteristic::GripMass, Stage::Part, 50.0),
        (Characteristic::Length, Stage::DryFit, 965.2),
    ];

    #[test]
    fn usual_parts_forecast_a_usual_club() {
        // Common practice, no source: a 38 in 5-iron with a 256 g head and a 115 g shaft comes out near D2 to D3.
        let found = swing(&club(&PARTS)).unwrap();
        assert!((30.0..=36.0).contains(&found.value), "{found:?}");
        assert!((1.0..=3.0).contains(&found.u), "{found:?}");
    }

    #[test]
    fn the_dry_fit_sharpens_the_forecast() {
        let mut values = PARTS.to_vec();
        values.extend([
            (Characteristic::TotalMass, Stage::DryFit, 421.0),
            (Characteristic::BalancePoint, Stage::DryFit, 720.0),
            (Characteristic::SwingWeight, Stage::DryFit, 31.0),
        ]);
        let found = swing(&club(&values)).unwrap();
        // By hand: 2 g at 940.2 mm add 2 × 0.464 points, 2.5 g at 135.5 mm, the middle of the tape, take 2.5 × 0.175 points off.
        assert!((found.value - (31.0 + 2.0 * 0.4639 - 2.5 * 0.1747)).abs() < 0.01, "{found:?}");
        assert!(found.u < 0.7);
    }

    #[test]
    fn a_measured_club_needs_no_forecast() {
        let mut values = PARTS.to_vec();
        values.push((Characteristic::SwingWeight, Stage::Gripped, 32.0));
        assert_eq!(forecast(&club(&values)), []);
        assert_eq!(forecast(&club(&[])), []);
    }
}
