//! A club of the record as the assembly model sees it: weighed parts, and usual values for what is not measured.

use super::drawers::ItemKind;
use super::order::{ClubSpec, Stage};
use super::record::{ClubRecord, Entry};
use super::steps::Step;
use crate::club::assembly::{GMM2_PER_KGCM2, MassProperties};
use crate::club::characteristic::Characteristic;
use crate::club::cut::Span;
use crate::club::parts::{Assembly, Grip, Head, Place, PointWeight, Shaft, Tape};
use crate::measurement::unit::{Grams, Millimetres};

/// Something that is not measured: its usual value and standard spread. Common practice, no source.
#[derive(Debug, Clone, Copy)]
pub(super) struct Usual {
    pub(super) value: f64,
    pub(super) spread: f64,
}

pub(super) const fn usual(value: f64, spread: f64) -> Usual {
    Usual { value, spread }
}

/// Balance of a bare shaft as a share of its length.
const SHAFT_BALANCE_SHARE: Usual = usual(0.50, 0.025);
/// End of the shaft before the ground line, in millimetres, where no table of the order says.
const TIP_BEFORE_GROUND_MM: Usual = usual(35.0, 8.0);
/// Centre of a head before the ground line, along the axis, in millimetres: a head's own, wherever the shaft ends in it.
pub(super) const HEAD_BEFORE_GROUND_MM: Usual = usual(13.0, 6.0);
/// Adhesive and ferrule, in grams.
pub(super) const ADHESIVE_G: Usual = usual(2.0, 1.0);
/// Tape under the grip, in grams.
pub(super) const TAPE_G: Usual = usual(2.5, 1.5);
/// Standard uncertainty of a part that a drawer's file gives a mass of, in grams: the next one weighs a little different.
pub(super) const U_DRAWER_G: f64 = 0.5;
/// Length of a club as it is built, where it is not measured yet, in millimetres.
pub(super) const LENGTH_SPREAD_MM: f64 = 1.0;
/// Where adhesive and ferrule sit before the end of the shaft, in millimetres.
const ADHESIVE_BEFORE_TIP_MM: f64 = 25.0;
/// Length and balance of a grip, and thickness of its cap, in millimetres.
pub(super) const GRIP_MM: (f64, f64, f64) = (268.0, 112.0, 3.0);
/// Own inertia of a head in g·mm² and how far its centre lies off the axis in mm; together half a per cent of a club.
pub(super) const HEAD_INERTIA_GMM2: f64 = 300_000.0;
const HEAD_OFF_AXIS_MM: f64 = 30.0;

/// What the model depends on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Inputs {
    pub(super) head_g: f64,
    /// The shaft as it was weighed.
    pub(super) shaft_g: f64,
    pub(super) grip_g: f64,
    /// Of the club.
    pub(super) length_mm: f64,
    /// Balance of the shaft as it was weighed.
    pub(super) shaft_balance_share: f64,
    pub(super) seat: Seat,
    pub(super) head_before_ground_mm: f64,
    pub(super) adhesive_g: f64,
    pub(super) tape_g: f64,
}

/// How the weighed shaft sits in the club.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seat {
    /// Length of the shaft as it was weighed, in millimetres; `None`: it is cut already, so what the club leaves for it.
    pub(super) weighed_mm: Option<f64>,
    /// Still to cut off its tip, in millimetres.
    pub(super) tip_trim_mm: f64,
    /// Thickness of the grip cap, in millimetres.
    pub(super) cap_mm: f64,
    /// End of the shaft before the ground line, in millimetres, with its standard uncertainty.
    pub(super) tip_before_ground: Usual,
}

impl Seat {
    /// The seat where nothing is said: the shaft is cut already.
    pub(super) const USUAL: Self =
        Self { weighed_mm: None, tip_trim_mm: 0.0, cap_mm: GRIP_MM.2, tip_before_ground: TIP_BEFORE_GROUND_MM };

    /// The seat of a shaft of this length, weighed before it is cut, where the order says how it is cut.
    pub(super) fn uncut(spec: &ClubSpec, raw: Span) -> Option<Self> {
        let mut cut = spec.build.cut?;
        cut.raw_length = raw;
        let (marks, cap_mm) = (cut.marks(spec.length_mm()).ok()?, cut.grip_cap.mm);
        let below = Usual { value: spec.length_mm() - cap_mm - marks.shaft.mm, spread: marks.shaft.u_mm };
        Some(Self { weighed_mm: Some(raw.mm), tip_trim_mm: marks.tip.mm, cap_mm, tip_before_ground: below })
    }

    /// The seat of a club's shaft that was weighed at a time in microseconds since 1970 UTC.
    pub(super) fn of(club: &ClubRecord, weighed_at_us: i64) -> Self {
        let uncut = club.spec.build.cut.and_then(|cut| Self::uncut(&club.spec, cut.raw_length));
        let Some(mut seat) = uncut else { return Self::USUAL };
        let done = |step| club.steps.iter().any(|done| done.step >= step && done.at_us <= weighed_at_us);
        if was_cut(club, weighed_at_us) {
            (seat.weighed_mm, seat.tip_trim_mm) = (None, 0.0);
        } else if done(Step::Prepare) {
            // Its tip was cut by then.
            seat.weighed_mm = seat.weighed_mm.map(|raw| raw - seat.tip_trim_mm);
            seat.tip_trim_mm = 0.0;
        }
        seat
    }
}

/// Where adhesive and ferrule sit on a club of this length, in millimetres from the butt.
pub(super) fn adhesive_at_mm(club: &ClubRecord, length_mm: f64) -> f64 {
    length_mm - Seat::of(club, i64::MAX).tip_before_ground.value - ADHESIVE_BEFORE_TIP_MM
}

/// An input, how uncertain it is, and how to move it.
pub(super) struct Moved {
    /// Its words.
    pub(super) input: &'static str,
    /// Its unit.
    pub(super) unit: &'static str,
    /// Its standard uncertainty.
    pub(super) u: f64,
    /// The inputs with this one larger by `u`.
    pub(super) inputs: Inputs,
}

/// The newest valid value of a characteristic at a stage.
pub(super) fn newest(club: &ClubRecord, characteristic: Characteristic, stage: Stage) -> Option<&Entry> {
    club.valid().rfind(|e| e.filed.characteristic == characteristic && e.filed.stage == stage)
}

/// The club's length, measured or as ordered, in millimetres.
pub(super) fn length_mm(club: &ClubRecord) -> f64 {
    measured_length(club).map_or(club.spec.length_mm(), |entry| entry.filed.value)
}

/// Its standard uncertainty, in millimetres.
pub(super) fn u_length_mm(club: &ClubRecord) -> f64 {
    measured_length(club).map_or(LENGTH_SPREAD_MM, |entry| entry.filed.u)
}

/// The length as it was measured. Where the shaft is to be cut by its marks, what was measured before is that of the uncut
/// club and says nothing.
fn measured_length(club: &ClubRecord) -> Option<&Entry> {
    let says = |entry: &&Entry| club.spec.build.cut.is_none() || was_cut(club, entry.at_us);
    club.latest(Characteristic::Length).filter(says)
}

/// Whether the shaft was cut by then, in microseconds since 1970 UTC.
pub(super) fn was_cut(club: &ClubRecord, at_us: i64) -> bool {
    club.steps.iter().any(|done| done.step >= Step::Cut && done.at_us <= at_us)
}

/// The inputs of a club whose parts are weighed, and each of them moved by its uncertainty.
pub(super) fn inputs(club: &ClubRecord) -> Option<(Inputs, [Moved; 9])> {
    let part = |characteristic| part_mass(club, characteristic);
    let head = part(Characteristic::HeadMass)?;
    let shaft = part(Characteristic::ShaftMass)?;
    let grip = part(Characteristic::GripMass)?;
    let (length_mm, u_length) = (length_mm(club), u_length_mm(club));
    let seat = Seat::of(club, shaft.at_us);
    let mut inputs = Inputs {
        head_g: head.g,
        shaft_g: shaft.g,
        grip_g: grip.g,
        length_mm,
        shaft_balance_share: SHAFT_BALANCE_SHARE.value,
        seat,
        head_before_ground_mm: HEAD_BEFORE_GROUND_MM.value,
        adhesive_g: ADHESIVE_G.value,
        tape_g: TAPE_G.value,
    };
    let mut u_share = SHAFT_BALANCE_SHARE.spread;
    if let Some(balance) = newest(club, Characteristic::ShaftBalance, Stage::Part) {
        let of_mm = weighed_shaft_mm(&inputs);
        inputs.shaft_balance_share = balance.filed.value / of_mm;
        u_share = balance.filed.u / of_mm;
    }
    let spreads = Spreads { head_g: head.u, shaft_g: shaft.u, grip_g: grip.u, length_mm: u_length, share: u_share };
    Some((inputs, moved(&inputs, spreads, HEAD_BEFORE_GROUND_MM.spread)))
}

/// Standard uncertainties of what is measured of a club's parts; those of what is not are beside its usual values.
#[derive(Debug, Clone, Copy)]
struct Spreads {
    head_g: f64,
    shaft_g: f64,
    grip_g: f64,
    length_mm: f64,
    /// Of the shaft's balance, as a share of its length.
    share: f64,
}

/// Each input moved by its uncertainty.
fn moved(inputs: &Inputs, spreads: Spreads, head_before_ground_mm: f64) -> [Moved; 9] {
    let moved = |input, unit, u: f64, change: fn(&mut Inputs, f64)| {
        let mut changed = *inputs;
        change(&mut changed, u);
        Moved { input, unit, u, inputs: changed }
    };
    [
        moved("head mass", "g", spreads.head_g, |i, u| i.head_g += u),
        moved("shaft mass", "g", spreads.shaft_g, |i, u| i.shaft_g += u),
        moved("grip mass", "g", spreads.grip_g, |i, u| i.grip_g += u),
        moved("length", "mm", spreads.length_mm, |i, u| i.length_mm += u),
        moved("shaft balance, as a share of its length", "1", spreads.share, |i, u| i.shaft_balance_share += u),
        moved("end of the shaft before the ground line", "mm", inputs.seat.tip_before_ground.spread, |i, u| {
            i.seat.tip_before_ground.value += u;
        }),
        moved("head centre before the ground line", "mm", head_before_ground_mm, |i, u| i.head_before_ground_mm += u),
        moved("adhesive and ferrule", "g", ADHESIVE_G.spread, |i, u| i.adhesive_g += u),
        moved("tape under the grip", "g", TAPE_G.spread, |i, u| i.tape_g += u),
    ]
}

/// The mass of a part of a club, with its standard uncertainty, in grams.
pub(super) struct PartMass {
    pub(super) g: f64,
    pub(super) u: f64,
    pub(super) at_us: i64,
}

/// A part as it was weighed, or the one that was taken from the drawers since, until it is weighed. A shaft's mass says
/// nothing without its length, so another shaft is waited for.
pub(super) fn part_mass(club: &ClubRecord, characteristic: Characteristic) -> Option<PartMass> {
    let kind = ItemKind::weighed_as(characteristic)?;
    match club.replaced(kind) {
        Some(_) if kind == ItemKind::Shaft => None,
        Some((taking, part)) => Some(PartMass { g: part.mass_g, u: U_DRAWER_G, at_us: taking.at_us }),
        None => {
            let entry = newest(club, characteristic, Stage::Part)?;
            Some(PartMass { g: entry.filed.value, u: entry.filed.u, at_us: entry.at_us })
        }
    }
}

/// Length of the shaft in the club, in millimetres.
pub(super) fn shaft_length_mm(inputs: &Inputs) -> f64 {
    inputs.length_mm - inputs.seat.cap_mm - inputs.seat.tip_before_ground.value
}

/// Length of the shaft as it was weighed, in millimetres.
fn weighed_shaft_mm(inputs: &Inputs) -> f64 {
    inputs.seat.weighed_mm.unwrap_or_else(|| shaft_length_mm(inputs))
}

/// The club these inputs make.
pub(super) fn assembly(inputs: &Inputs) -> Assembly {
    let ((grip_length, grip_balance, _), cap) = (GRIP_MM, inputs.seat.cap_mm);
    let (weighed, tip_trim) = (weighed_shaft_mm(inputs), inputs.seat.tip_trim_mm);
    Assembly {
        cap: Millimetres(cap),
        shaft: Shaft {
            raw_length: Millimetres(weighed),
            raw_mass: Grams(inputs.shaft_g),
            balance_from_butt: Millimetres(inputs.shaft_balance_share * weighed),
            tip_trim: Millimetres(tip_trim),
            butt_trim: Millimetres(weighed - tip_trim - shaft_length_mm(inputs)),
        },
        grip: Grip {
            mass: Grams(inputs.grip_g),
            length: Millimetres(grip_length),
            cg_from_butt: Millimetres(grip_balance),
        },
        tape: Tape { mass: Grams(inputs.tape_g), length: Millimetres(grip_length - cap) },
        head: Head {
            mass: Grams(inputs.head_g),
            cg_from_tip: Millimetres(inputs.seat.tip_before_ground.value - inputs.head_before_ground_mm),
            cg_lateral: Millimetres(HEAD_OFF_AXIS_MM),
            inertia_cg_gmm2: HEAD_INERTIA_GMM2,
        },
        points: vec![PointWeight {
            mass: Grams(inputs.adhesive_g),
            place: Place::FromTip(Millimetres(-ADHESIVE_BEFORE_TIP_MM)),
        }],
    }
}

/// Measured parts that a club is planned from.
pub(super) struct PlannedParts {
    /// Head, shaft and grip, each with its standard uncertainty, in grams.
    pub(super) masses: [(f64, f64); 3],
    pub(super) seat: Seat,
    /// Balance of the shaft from its raw butt.
    pub(super) balance: Option<Span>,
    /// Centre of the head beyond the end of the shaft.
    pub(super) beyond_tip: Option<Span>,
}

/// The inputs of a club planned from measured parts, and each of them moved by its uncertainty.
pub(super) fn planned(spec: &ClubSpec, parts: &PlannedParts) -> (Inputs, [Moved; 9]) {
    let PlannedParts { masses: [head, shaft, grip], seat, balance, beyond_tip } = *parts;
    let mut inputs = Inputs {
        head_g: head.0,
        shaft_g: shaft.0,
        grip_g: grip.0,
        length_mm: spec.length_mm(),
        shaft_balance_share: SHAFT_BALANCE_SHARE.value,
        seat,
        head_before_ground_mm: beyond_tip
            .map_or(HEAD_BEFORE_GROUND_MM.value, |beyond| seat.tip_before_ground.value - beyond.mm),
        adhesive_g: ADHESIVE_G.value,
        tape_g: TAPE_G.value,
    };
    let mut share = SHAFT_BALANCE_SHARE.spread;
    if let Some(balance) = balance {
        let weighed = weighed_shaft_mm(&inputs);
        inputs.shaft_balance_share = balance.mm / weighed;
        share = balance.u_mm / weighed;
    }
    let spreads = Spreads { head_g: head.1, shaft_g: shaft.1, grip_g: grip.1, length_mm: LENGTH_SPREAD_MM, share };
    let head_mm = beyond_tip.map_or(HEAD_BEFORE_GROUND_MM.spread, |beyond| beyond.u_mm);
    (inputs, moved(&inputs, spreads, head_mm))
}

/// Mass, balance, swing weight and inertia of the club these inputs make.
pub(super) fn outcome(inputs: &Inputs) -> Option<MassProperties> {
    assembly(inputs).mass_properties().ok()
}

/// What weights add to the inertia about the butt, in kg·cm².
pub(super) fn inertia_of(mass_g: f64, at_mm: f64) -> f64 {
    mass_g * at_mm * at_mm / GMM2_PER_KGCM2
}
