//! Requests about swing weight, the club put together from parts, weight added to it, and its pendulum.
//!
//! Inputs by key come in, results by key go out; the mathematics is in `club`.

use serde_json::{Map, Value};

use super::inputs::{Answer, Inputs, RequestError};
use crate::club::added_weight::{
    Standing, TwoWeights, WeightError, for_inertia_and_swing_weight, for_mass_and_swing_weight, for_swing_weight,
};
use crate::club::parts::{Assembly, Grip, Head, Place, PointWeight, Shaft, Tape};
use crate::club::pendulum::{Swing, inertia_from_swing};
use crate::club::swing_weight::points_per_gram;
use crate::club::trimming::butt_trim_for;
use crate::measurement::unit::{Degrees, Grams, Millimetres, Points};

type Outcome = Result<Map<String, Value>, RequestError>;

pub(super) fn format(inputs: &Inputs<'_>) -> Outcome {
    let points = Points(inputs.number("points_from_A0")?);
    // More decimals than a double of this size holds would be invented.
    let decimals = u8::try_from(inputs.count("decimals", 0, 6)?).map_err(RequestError::unanswerable)?;
    let letter = points.letter(decimals);
    Answer::default()
        .value("in_range", letter.is_some())
        .value("letter", letter.map(|(letter, _)| letter.to_string()))
        .optional("number", letter.map(|(_, number)| number))
        .number("rounded_points", points.rounded(decimals))
        .finish()
}

pub(super) fn parse(inputs: &Inputs<'_>) -> Outcome {
    let points = Points::parse(inputs.text("text")?);
    Answer::default()
        .optional("points_from_A0", points.map(|points| points.0))
        .value("valid", points.is_some())
        .finish()
}

fn grams(inputs: &Inputs<'_>, key: &str) -> Result<Grams, RequestError> {
    inputs.not_negative(key).map(Grams)
}

fn length(inputs: &Inputs<'_>, key: &str) -> Result<Millimetres, RequestError> {
    inputs.not_negative(key).map(Millimetres)
}

fn place(inputs: &Inputs<'_>, key: &str) -> Result<Millimetres, RequestError> {
    inputs.number(key).map(Millimetres)
}

fn assembly(inputs: &Inputs<'_>) -> Result<Assembly, RequestError> {
    let club = inputs.object("club")?;
    let (shaft, grip) = (club.object("shaft")?, club.object("grip")?);
    let (tape, head) = (club.object("tape")?, club.object("head")?);
    Ok(Assembly {
        cap: length(&club, "cap_mm")?,
        shaft: Shaft {
            raw_length: length(&shaft, "raw_length_mm")?,
            raw_mass: grams(&shaft, "raw_mass_g")?,
            balance_from_butt: length(&shaft, "balance_from_butt_mm")?,
            tip_trim: length(&shaft, "tip_trim_mm")?,
            butt_trim: length(&shaft, "butt_trim_mm")?,
        },
        grip: Grip {
            mass: grams(&grip, "mass_g")?,
            length: length(&grip, "length_mm")?,
            cg_from_butt: length(&grip, "cg_from_butt_mm")?,
        },
        tape: Tape { mass: grams(&tape, "mass_g")?, length: length(&tape, "length_mm")? },
        head: Head {
            mass: grams(&head, "mass_g")?,
            cg_from_tip: place(&head, "cg_from_tip_mm")?,
            cg_lateral: place(&head, "cg_lateral_mm")?,
            inertia_cg_gmm2: head.not_negative("inertia_cg_gmm2")?,
        },
        points: club.objects("points")?.iter().map(point_weight).collect::<Result<_, _>>()?,
    })
}

fn point_weight(point: &Inputs<'_>) -> Result<PointWeight, RequestError> {
    let place = match (point.has("x_mm"), point.has("from_tip_mm")) {
        (true, false) => Place::FromButt(place(point, "x_mm")?),
        (false, true) => Place::FromTip(place(point, "from_tip_mm")?),
        (false, false) => return Err(RequestError::Missing(point.name("x_mm or from_tip_mm"))),
        (true, true) => return Err(point.refuse("x_mm", "to stand alone, without from_tip_mm")),
    };
    Ok(PointWeight { mass: grams(point, "mass_g")?, place })
}

pub(super) fn composite(inputs: &Inputs<'_>) -> Outcome {
    let club = assembly(inputs)?.mass_properties().map_err(RequestError::unanswerable)?;
    Answer::default()
        .number("total_mass_g", club.mass.0)
        .number("balance_mm", club.balance.0)
        .number("cg_lateral_mm", club.cg_lateral.0)
        .number("shaft_tip_x_mm", club.shaft_tip.0)
        .number("moment14_inoz", club.moment14.inch_ounces())
        .number("sw_points_from_A0", club.swing_weight.0)
        .number("moment12_inoz", club.moment12.inch_ounces())
        .number("moi_butt_kgcm2", club.inertia_butt_kgcm2)
        .number("moi_cg_kgcm2", club.inertia_cg_kgcm2)
        .finish()
}

fn standing(current: &Inputs<'_>) -> Result<Standing, RequestError> {
    Ok(Standing {
        mass: Grams(current.positive("total_mass_g")?),
        balance: place(current, "balance_mm")?,
        swing_weight: Points(current.number("sw_points_from_A0")?),
    })
}

pub(super) fn add_one(inputs: &Inputs<'_>) -> Outcome {
    let club = standing(&inputs.object("current")?)?;
    let (target, at) = (Points(inputs.number("target_sw_points")?), place(inputs, "x_mm")?);
    match for_swing_weight(&club, target, at) {
        Ok(weight) => Answer::default()
            .number("added_mass_g", weight.mass.0)
            .number("new_total_mass_g", weight.new_mass.0)
            .number("new_balance_mm", weight.new_balance.0)
            .number("points_per_gram", weight.points_per_gram)
            .finish(),
        Err(error @ WeightError::NoLeverArm { .. }) => {
            no_solution(&error).number("points_per_gram", points_per_gram(at)).finish()
        }
        Err(error) => Err(RequestError::unanswerable(error)),
    }
}

/// Places without a lever arm are a result, not an error: the answer is that no mass would do.
fn no_solution(error: &WeightError) -> Answer {
    Answer::default().value("no_solution", true).value("reason", error.to_string())
}

fn two_weights(outcome: Result<TwoWeights, WeightError>) -> Outcome {
    match outcome {
        Ok(weights) => Answer::default()
            .number("head_mass_g", weights.head.0)
            .number("butt_mass_g", weights.butt.0)
            .value("feasible_by_adding_only", weights.by_adding_only())
            .finish(),
        Err(error @ WeightError::NoLeverArm { .. }) => no_solution(&error).finish(),
        Err(error) => Err(RequestError::unanswerable(error)),
    }
}

pub(super) fn add_two_mass_sw(inputs: &Inputs<'_>) -> Outcome {
    let club = standing(&inputs.object("current")?)?;
    let mass = Grams(inputs.positive("target_total_mass_g")?);
    let target = Points(inputs.number("target_sw_points")?);
    let (head, butt) = (place(inputs, "x_head_mm")?, place(inputs, "x_butt_mm")?);
    two_weights(for_mass_and_swing_weight(&club, mass, target, head, butt))
}

pub(super) fn add_two_moi_sw(inputs: &Inputs<'_>) -> Outcome {
    let current = inputs.object("current")?;
    let (club, inertia) = (standing(&current)?, current.positive("moi_butt_kgcm2")?);
    let target_inertia = inputs.positive("target_moi_butt_kgcm2")?;
    let target = Points(inputs.number("target_sw_points")?);
    let (head, butt) = (place(inputs, "x_head_mm")?, place(inputs, "x_butt_mm")?);
    two_weights(for_inertia_and_swing_weight(&club, inertia, target_inertia, target, head, butt))
}

pub(super) fn trim_butt_to_sw(inputs: &Inputs<'_>) -> Outcome {
    let (club, target) = (assembly(inputs)?, Points(inputs.number("target_sw_points")?));
    let trim = butt_trim_for(&club, target).map_err(RequestError::unanswerable)?;
    Answer::default()
        .number("extra_butt_trim_mm", trim.extra.0)
        .number("points_per_half_inch_shorter", trim.per_half_inch.0)
        .finish()
}

pub(super) fn pendulum(inputs: &Inputs<'_>) -> Outcome {
    let swing = Swing {
        mass: Grams(inputs.positive("mass_g")?),
        balance: place(inputs, "balance_mm")?,
        pivot: place(inputs, "pivot_mm")?,
        period_s: inputs.positive("period_s")?,
        amplitude: Degrees(inputs.number("amplitude_deg")?),
        gravity_m_per_s2: inputs.positive("g")?,
    };
    let inertia = inertia_from_swing(&swing).map_err(RequestError::unanswerable)?;
    Answer::default()
        .number("moi_cg_kgcm2", inertia.about_cg_kgcm2)
        .number("moi_butt_kgcm2", inertia.about_butt_kgcm2)
        .finish()
}
