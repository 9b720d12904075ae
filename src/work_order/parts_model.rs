//! A club of the record as the assembly model sees it: weighed parts, and usual values for what is not measured.

use super::order::Stage;
use super::record::{ClubRecord, Entry};
use super::steps::Step;
use crate::club::assembly::{GMM2_PER_KGCM2, MassProperties};
use crate::club::characteristic::Characteristic;
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
pub(super) const SHAFT_BALANCE_SHARE: Usual = usual(0.50, 0.025);
/// Centre of a head beyond the tip of the shaft, in millimetres.
const HEAD_BEYOND_TIP_MM: Usual = usual(22.0, 8.0);
/// Adhesive and ferrule, in grams.
pub(super) const ADHESIVE_G: Usual = usual(2.0, 1.0);
/// Tape under the grip, in grams.
pub(super) const TAPE_G: Usual = usual(2.5, 1.5);
/// Length of a club as it is built, where it is not measured yet, in millimetres.
const LENGTH_SPREAD_MM: f64 = 1.0;
/// Where adhesive and ferrule sit before the end of the shaft, in millimetres.
pub(super) const ADHESIVE_BEFORE_TIP_MM: f64 = 25.0;
/// Length and balance of a grip, and thickness of its cap, in millimetres.
pub(super) const GRIP_MM: (f64, f64, f64) = (268.0, 112.0, 3.0);

/// What the model depends on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Inputs {
    pub(super) head_g: f64,
    pub(super) shaft_g: f64,
    pub(super) grip_g: f64,
    pub(super) length_mm: f64,
    pub(super) shaft_balance_share: f64,
    pub(super) head_beyond_tip_mm: f64,
    pub(super) adhesive_g: f64,
    pub(super) tape_g: f64,
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
pub(super) fn inputs(club: &ClubRecord) -> Option<(Inputs, [Moved; 8])> {
    let part = |characteristic| newest(club, characteristic, Stage::Part);
    let head = part(Characteristic::HeadMass)?;
    let shaft = part(Characteristic::ShaftMass)?;
    let grip = part(Characteristic::GripMass)?;
    let u_length = measured_length(club).map_or(LENGTH_SPREAD_MM, |entry| entry.filed.u);
    let length_mm = length_mm(club);
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
    let moved = |input, unit, u: f64, change: fn(&mut Inputs, f64)| {
        let mut changed = inputs;
        change(&mut changed, u);
        Moved { input, unit, u, inputs: changed }
    };
    let moved = [
        moved("head mass", "g", head.filed.u, |i, u| i.head_g += u),
        moved("shaft mass", "g", shaft.filed.u, |i, u| i.shaft_g += u),
        moved("grip mass", "g", grip.filed.u, |i, u| i.grip_g += u),
        moved("length", "mm", u_length, |i, u| i.length_mm += u),
        moved("shaft balance, as a share of its length", "1", share.spread, |i, u| i.shaft_balance_share += u),
        moved("head centre beyond the tip", "mm", HEAD_BEYOND_TIP_MM.spread, |i, u| i.head_beyond_tip_mm += u),
        moved("adhesive and ferrule", "g", ADHESIVE_G.spread, |i, u| i.adhesive_g += u),
        moved("tape under the grip", "g", TAPE_G.spread, |i, u| i.tape_g += u),
    ];
    Some((inputs, moved))
}

/// Length of the shaft in the club, in millimetres.
pub(super) fn shaft_length_mm(inputs: &Inputs) -> f64 {
    inputs.length_mm - GRIP_MM.2 - inputs.head_beyond_tip_mm
}

/// The club these inputs make.
pub(super) fn assembly(inputs: &Inputs) -> Assembly {
    let (grip_length, grip_balance, cap) = GRIP_MM;
    let shaft_length = shaft_length_mm(inputs);
    Assembly {
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
    }
}

/// Mass, balance, swing weight and inertia of the club these inputs make.
pub(super) fn outcome(inputs: &Inputs) -> Option<MassProperties> {
    assembly(inputs).mass_properties().ok()
}

/// What weights add to the inertia about the butt, in kg·cm².
pub(super) fn inertia_of(mass_g: f64, at_mm: f64) -> f64 {
    mass_g * at_mm * at_mm / GMM2_PER_KGCM2
}
