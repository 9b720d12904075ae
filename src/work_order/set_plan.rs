//! A whole set planned together: which head, shaft and grip of the measured stock goes to which club of an order.
//!
//! An order and a stock come in; parts for every club, what each club will come out as and how far that is off leave.
//! The sum that is made smallest is that of squared deviations, each in units of half its tolerance: the swing weight or
//! the inertia about the butt (as asked for), the masses of the parts and of the club, loft, lie and frequency, as far as
//! the order has targets and the stock has measurements. Clubs without a target for the matched one get a common value.

use super::order::{ClubSpec, Order};
use super::parts_model::{
    Inputs, LENGTH_SPREAD_MM, Moved, PlannedParts, Seat, assembly, outcome, planned as planned_inputs,
};
use super::state::State;
use super::stock::Stock;
use crate::club::assembly::MassProperties;
use crate::club::assignment::{Assignment, AssignmentError, Costs, SEARCH_FOR_PROOF, assign};
use crate::club::characteristic::Characteristic;
use crate::club::common_value::{Common, Shared, assign_with_common};
use crate::club::cut::Span;
use crate::club::progression::{Series, SetClub, progressions};
use crate::club::swing_weight::mass_for_swing_weight;
use crate::measurement::quantity::Target;
use crate::measurement::unit::{Millimetres, Points};

/// What a set is matched in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MatchedIn {
    /// Swing weight.
    SwingWeight,
    /// Inertia about the butt.
    Inertia,
}

impl MatchedIn {
    /// The characteristic.
    #[must_use]
    pub fn characteristic(self) -> Characteristic {
        match self {
            Self::SwingWeight => Characteristic::SwingWeight,
            Self::Inertia => Characteristic::MoiButt,
        }
    }
}

/// One value that a planned club will have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedValue {
    /// What it is.
    pub characteristic: Characteristic,
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, by the assembly model; `None` for what the stock gives as a bare number.
    pub u: Option<f64>,
    /// What it is to be: the order's target, or the common value of the set.
    pub aim: Option<f64>,
    /// Value less aim, or how far beyond a limit.
    pub deviation: Option<f64>,
    /// Whether it counts in the sum.
    pub counts: bool,
}

/// One club of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedClub {
    /// Its id.
    pub club: String,
    /// What people call it.
    pub name: String,
    /// Head, shaft and grip by their names in the stock.
    pub parts: [String; 3],
    /// To cut off tip and butt, in millimetres.
    pub trims_mm: [f64; 2],
    /// What it will come out as.
    pub values: Vec<PlannedValue>,
    /// Its share of the sum.
    pub cost: f64,
    /// Grams to add at the head for the swing weight it is to have; negative: too heavy.
    pub head_g: Option<f64>,
}

/// A planned set.
#[derive(Debug, Clone, PartialEq)]
pub struct SetPlan {
    /// What it is matched in.
    pub matched_in: MatchedIn,
    /// The clubs, in the order of the order.
    pub clubs: Vec<PlannedClub>,
    /// The sum of squared deviations in units of half tolerances.
    pub cost: f64,
    /// No plan has a smaller one.
    pub at_least: f64,
    /// Whether that is proved: by branch and bound to its end; with a common value, within `common_value::WITHIN`.
    pub proved: bool,
    /// The common value of clubs without a target of their own for what the set is matched in.
    pub common: Option<f64>,
    /// How length, loft and lie go through the set, and frequency where the shafts go in uncut.
    pub series: Vec<Series>,
    /// Whether frequencies were asked for or measured of shafts that are cut, so that they are not planned.
    pub frequency_left_out: bool,
}

/// Why a set cannot be planned.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct NoPlan(pub String);

/// Half tolerances that a careful builder holds, where the order has a target without one (common practice, no source).
const HALF_TOLERANCES: [(Characteristic, f64); 9] = [
    (Characteristic::HeadMass, 2.0),
    (Characteristic::ShaftMass, 2.0),
    (Characteristic::GripMass, 2.0),
    (Characteristic::TotalMass, 2.0),
    (Characteristic::SwingWeight, 0.5),
    (Characteristic::Loft, 0.25),
    (Characteristic::Lie, 0.25),
    (Characteristic::Frequency, 2.0),
    (Characteristic::MoiButt, 5.0),
];
/// What a club made of three parts comes out as.
struct Made {
    whole: MassProperties,
    cut_shaft_g: f64,
    trims_mm: [f64; 2],
    inputs: Inputs,
    moved: [Moved; 9],
}

/// A shaft that is cut by less than this keeps its frequency, in millimetres.
const UNCUT_MM: f64 = 0.5;

impl Made {
    /// Whether the shaft goes in as it was measured.
    fn is_uncut(&self) -> bool {
        self.trims_mm.iter().all(|trim| trim.abs() < UNCUT_MM)
    }

    /// Standard uncertainty of what a club's inputs give: the spread of each carried through by a small change of it.
    fn u(&self, of: impl Fn(&Inputs) -> Option<f64>) -> Option<f64> {
        let centre = of(&self.inputs)?;
        self.moved.iter().try_fold(0.0, |u: f64, moved| Some(u.hypot(of(&moved.inputs)? - centre)))
    }
}

/// Mass of the cut shaft of a club, in grams.
fn cut_shaft_g(inputs: &Inputs) -> Option<f64> {
    outcome(&Inputs { head_g: 0.0, grip_g: 0.0, adhesive_g: 0.0, tape_g: 0.0, ..*inputs }).map(|shaft| shaft.mass.0)
}

/// Plans a set.
///
/// # Errors
/// Says which clubs lack which parts.
pub fn plan(order: &Order, stock: &Stock, matched_in: MatchedIn) -> Result<SetPlan, NoPlan> {
    enough(order, stock)?;
    let aim = matched_in.characteristic();
    let table = |of: &dyn Fn(&ClubSpec, [usize; 3]) -> Option<f64>| {
        let cost = |club: usize, parts| order.clubs.get(club).and_then(|club| of(club, parts)).unwrap_or(f64::INFINITY);
        Costs::new(order.clubs.len(), counts(stock), cost)
    };
    let base = table(&|club, parts| cost_of(club, stock, matched_in, parts));
    let halves: Vec<Option<f64>> = order.clubs.iter().map(|club| shared_half(club, aim)).collect();
    let found = if halves.iter().all(Option::is_none) {
        assign(&base, SEARCH_FOR_PROOF).map(|found| (found, None))
    } else {
        let values = table(&|club, parts| Some(of_whole(&make(club, stock, parts)?.whole, aim)));
        let shared = Shared { base: &base, values: &values, halves: &halves };
        assign_with_common(&shared).map(|Common { assignment, value }| (assignment, Some(value)))
    };
    let (found, common) = found.map_err(|error| words(order, stock, &error))?;
    let clubs: Vec<PlannedClub> = order
        .clubs
        .iter()
        .zip(&found.parts)
        .filter_map(|(club, parts)| planned(club, stock, *parts, matched_in, common))
        .collect();
    let series =
        progressions(&order.clubs.iter().zip(&clubs).map(|(spec, club)| set_club(spec, club)).collect::<Vec<_>>());
    let Assignment { cost, at_least, proved, .. } = found;
    let planned =
        |club: &PlannedClub| club.values.iter().any(|value| value.characteristic == Characteristic::Frequency);
    let wanted = |club: &ClubSpec| club.target(Characteristic::Frequency).is_some();
    let measured = stock.shafts.iter().any(|shaft| shaft.frequency_cpm.is_some());
    let frequency_left_out = (measured || order.clubs.iter().any(wanted)) && !clubs.iter().all(planned);
    Ok(SetPlan { matched_in, clubs, cost, at_least, proved, common, series, frequency_left_out })
}

fn counts(stock: &Stock) -> [usize; 3] {
    [stock.heads.len(), stock.shafts.len(), stock.grips.len()]
}

fn has_aim(target: &Target) -> bool {
    target.value.is_some() || target.lower.is_some() || target.upper.is_some()
}

/// Whether every club has a head, a shaft and a grip that may go to it.
fn enough(order: &Order, stock: &Stock) -> Result<(), NoPlan> {
    let mut missing = Vec::new();
    for club in &order.clubs {
        let allowed = |clubs: &Vec<String>| clubs.is_empty() || clubs.contains(&club.name);
        let lacks = [
            ("head", !stock.heads.iter().any(|head| head.club == club.name)),
            ("shaft", !stock.shafts.iter().any(|shaft| allowed(&shaft.clubs))),
            ("grip", !stock.grips.iter().any(|grip| allowed(&grip.clubs))),
        ];
        missing.extend(
            lacks.iter().filter(|(_, lacks)| *lacks).map(|(what, _)| format!("a {what} for the {}", club.name)),
        );
    }
    if missing.is_empty() { Ok(()) } else { Err(NoPlan(format!("the stock lacks {}", missing.join(", ")))) }
}

fn words(order: &Order, stock: &Stock, error: &AssignmentError) -> NoPlan {
    match error {
        AssignmentError::TooFew { kind, clubs, parts } => {
            let what = ["heads", "shafts", "grips"].get(*kind).copied().unwrap_or("parts");
            NoPlan(format!("the order has {clubs} clubs and the stock {parts} {what}"))
        }
        AssignmentError::NothingFits => {
            let none = order.clubs.iter().filter(|club| {
                let [heads, shafts, grips] = counts(stock);
                let mut all =
                    (0..heads).flat_map(|h| (0..shafts).flat_map(move |s| (0..grips).map(move |g| [h, s, g])));
                !all.any(|parts| make(club, stock, parts).is_some())
            });
            let names: Vec<&str> = none.map(|club| club.name.as_str()).collect();
            NoPlan(match names.is_empty() {
                true => "no choice of parts makes every club: some part is the only one for two of them".into(),
                false => format!("no shaft of the stock is long enough for: {}", names.join(", ")),
            })
        }
    }
}

/// Puts a club together on paper; `None` where the parts may not or cannot go together.
fn make(club: &ClubSpec, stock: &Stock, [head, shaft, grip]: [usize; 3]) -> Option<Made> {
    let (head, shaft, grip) = (stock.heads.get(head)?, stock.shafts.get(shaft)?, stock.grips.get(grip)?);
    let allowed = |clubs: &Vec<String>| clubs.is_empty() || clubs.contains(&club.name);
    if head.club != club.name || !allowed(&shaft.clubs) || !allowed(&grip.clubs) {
        return None;
    }
    let seat = match club.build.cut {
        Some(cut) => Seat::uncut(club, Span::new(shaft.length.0, cut.raw_length.u_mm))?,
        None => Seat { weighed_mm: Some(shaft.length.0), ..Seat::USUAL },
    };
    let masses = [head.mass, shaft.mass, grip.mass].map(|weighed| (weighed.mass.0, weighed.u.0));
    let parts = PlannedParts { masses, seat, balance: shaft.balance, beyond_tip: head.beyond_tip };
    let (inputs, moved) = planned_inputs(club, &parts);
    let club = assembly(&inputs);
    let (tip_mm, butt_mm) = (club.shaft.tip_trim.0, club.shaft.butt_trim.0);
    if butt_mm < 0.0 {
        return None;
    }
    let whole = club.mass_properties().ok()?;
    let cut_shaft_g = cut_shaft_g(&inputs)?;
    Some(Made { whole, cut_shaft_g, trims_mm: [tip_mm, butt_mm], inputs, moved })
}

fn of_whole(whole: &MassProperties, characteristic: Characteristic) -> f64 {
    match characteristic {
        Characteristic::MoiButt => whole.inertia_butt_kgcm2,
        Characteristic::TotalMass => whole.mass.0,
        Characteristic::BalancePoint => whole.balance.0,
        _ => whole.swing_weight.0,
    }
}

/// Every value of a club made of these parts, with what it is to be.
fn values(
    club: &ClubSpec,
    stock: &Stock,
    [head, shaft, _]: [usize; 3],
    made: &Made,
    matched_in: MatchedIn,
    common: Option<f64>,
) -> Option<Vec<PlannedValue>> {
    let (head, shaft) = (stock.heads.get(head)?, stock.shafts.get(shaft)?);
    let other = match matched_in {
        MatchedIn::SwingWeight => Characteristic::MoiButt,
        MatchedIn::Inertia => Characteristic::SwingWeight,
    };
    let known = [
        (Characteristic::HeadMass, Some(made.inputs.head_g)),
        (Characteristic::ShaftMass, Some(made.cut_shaft_g)),
        (Characteristic::GripMass, Some(made.inputs.grip_g)),
        (Characteristic::TotalMass, Some(of_whole(&made.whole, Characteristic::TotalMass))),
        (Characteristic::BalancePoint, Some(of_whole(&made.whole, Characteristic::BalancePoint))),
        (Characteristic::SwingWeight, Some(of_whole(&made.whole, Characteristic::SwingWeight))),
        (Characteristic::Loft, head.loft_deg),
        (Characteristic::Lie, head.lie_deg),
        // The frequency of a raw shaft is not that of the cut one, and how it changes is not in the model.
        (Characteristic::Frequency, shaft.frequency_cpm.filter(|_| made.is_uncut())),
        (Characteristic::MoiButt, Some(of_whole(&made.whole, Characteristic::MoiButt))),
    ];
    let value = |(characteristic, value): (Characteristic, Option<f64>)| {
        let value = value?;
        let target = aim_of(club, characteristic, matched_in, common);
        let deviation = off(&target, value);
        // What the set is not matched in is shown, but does not pull.
        let counts =
            deviation.is_some() && characteristic != other && half_tolerance(characteristic, &target).is_some();
        Some(PlannedValue { characteristic, value, u: None, aim: target.value, deviation, counts })
    };
    Some(known.into_iter().filter_map(value).collect())
}

/// The target of a club for a characteristic: its own, or the common value of what the set is matched in.
fn aim_of(club: &ClubSpec, characteristic: Characteristic, matched_in: MatchedIn, common: Option<f64>) -> Target {
    let own = club.target(characteristic).map(|row| row.target).filter(has_aim);
    let shared = || (characteristic == matched_in.characteristic()).then_some(common).flatten();
    own.unwrap_or_else(|| Target { value: shared(), lower: None, upper: None })
}

/// Value less target; without a target value, how far it is beyond a limit.
fn off(target: &Target, value: f64) -> Option<f64> {
    match (target.value, target.lower, target.upper) {
        (Some(aim), ..) => Some(value - aim),
        (None, None, None) => None,
        (None, lower, upper) => {
            let below = lower.map_or(0.0, |lower| (value - lower).min(0.0));
            let above = upper.map_or(0.0, |upper| (value - upper).max(0.0));
            Some(below + above)
        }
    }
}

fn half_tolerance(characteristic: Characteristic, target: &Target) -> Option<f64> {
    let own = target.value.and(target.lower.zip(target.upper)).map(|(lower, upper)| (upper - lower) / 2.0);
    let usual = HALF_TOLERANCES.iter().find(|(c, _)| *c == characteristic).map(|(_, half)| *half);
    own.filter(|half| *half > 0.0).or(usual)
}

/// The sum over what counts.
fn sum(club: &ClubSpec, values: &[PlannedValue], matched_in: MatchedIn, common: Option<f64>) -> f64 {
    let square = |value: &PlannedValue| {
        let target = aim_of(club, value.characteristic, matched_in, common);
        let half = half_tolerance(value.characteristic, &target)?;
        Some((value.deviation? / half).powi(2))
    };
    values.iter().filter(|value| value.counts).filter_map(square).sum()
}

/// The cost of a club with these parts, without what a common value adds; `None` where they cannot go together.
fn cost_of(club: &ClubSpec, stock: &Stock, matched_in: MatchedIn, parts: [usize; 3]) -> Option<f64> {
    let made = make(club, stock, parts)?;
    Some(sum(club, &values(club, stock, parts, &made, matched_in, None)?, matched_in, None))
}

/// Half tolerance of what the set is matched in, of a club without a target of its own for it.
fn shared_half(club: &ClubSpec, aim: Characteristic) -> Option<f64> {
    let is_free = club.target(aim).is_none_or(|row| !has_aim(&row.target));
    half_tolerance(aim, &Target::default()).filter(|_| is_free)
}

fn planned(
    club: &ClubSpec,
    stock: &Stock,
    parts: [usize; 3],
    matched_in: MatchedIn,
    common: Option<f64>,
) -> Option<PlannedClub> {
    let made = make(club, stock, parts)?;
    let mut values = values(club, stock, parts, &made, matched_in, common)?;
    for value in &mut values {
        value.u = u_of(&made, value.characteristic);
    }
    let length = club.target(Characteristic::Length).and_then(|row| row.target.value);
    values.extend(length.map(|aim| PlannedValue {
        characteristic: Characteristic::Length,
        value: club.length_mm(),
        u: Some(LENGTH_SPREAD_MM),
        aim: Some(aim),
        deviation: Some(club.length_mm() - aim),
        counts: false,
    }));
    let swing = values.iter().find(|value| value.characteristic == Characteristic::SwingWeight);
    let head_g = swing.and_then(|swing| {
        let short = Points(swing.aim? - swing.value);
        mass_for_swing_weight(short, Millimetres(club.length_mm())).map(|mass| mass.0)
    });
    let [head, shaft, grip] = parts;
    Some(PlannedClub {
        club: club.id.clone(),
        name: club.name.clone(),
        parts: [
            stock.heads.get(head)?.id.clone(),
            stock.shafts.get(shaft)?.id.clone(),
            stock.grips.get(grip)?.id.clone(),
        ],
        trims_mm: made.trims_mm,
        cost: sum(club, &values, matched_in, common),
        values,
        head_g,
    })
}

/// Standard uncertainty of a planned value; `None` for what the stock gives as a bare number.
fn u_of(made: &Made, characteristic: Characteristic) -> Option<f64> {
    match characteristic {
        Characteristic::HeadMass => made.u(|inputs| Some(inputs.head_g)),
        Characteristic::GripMass => made.u(|inputs| Some(inputs.grip_g)),
        Characteristic::ShaftMass => made.u(cut_shaft_g),
        Characteristic::TotalMass
        | Characteristic::BalancePoint
        | Characteristic::SwingWeight
        | Characteristic::MoiButt => made.u(|inputs| outcome(inputs).map(|whole| of_whole(&whole, characteristic))),
        _ => None,
    }
}

/// What the plan says of a club, for the steps through the set: the length is the order's.
fn set_club(spec: &ClubSpec, club: &PlannedClub) -> SetClub {
    let value = |characteristic| {
        let found = club.values.iter().find(|value| value.characteristic == characteristic).map(|value| value.value);
        found.or_else(|| spec.target(characteristic).and_then(|row| row.target.value))
    };
    SetClub {
        name: spec.name.clone(),
        length_mm: spec.target(Characteristic::Length).and_then(|row| row.target.value),
        loft_deg: value(Characteristic::Loft),
        lie_deg: value(Characteristic::Lie),
        // What is asked for is no plan.
        frequency_cpm: club.values.iter().find(|v| v.characteristic == Characteristic::Frequency).map(|v| v.value),
    }
}

/// The steps through an order as it stands: what is measured on the finished clubs, else what is asked for.
#[must_use]
pub fn order_progressions(state: &State, order: &Order) -> Vec<Series> {
    let known = |spec: &ClubSpec, characteristic: Characteristic| {
        let measured = state.clubs.get(&spec.id).and_then(|club| club.standing(characteristic)).map(|e| e.filed.value);
        measured.or_else(|| spec.target(characteristic).and_then(|row| row.target.value))
    };
    let clubs: Vec<SetClub> = order
        .clubs
        .iter()
        .map(|spec| SetClub {
            name: spec.name.clone(),
            length_mm: known(spec, Characteristic::Length),
            loft_deg: known(spec, Characteristic::Loft),
            lie_deg: known(spec, Characteristic::Lie),
            frequency_cpm: known(spec, Characteristic::Frequency),
        })
        .collect();
    progressions(&clubs)
}
