//! Requests about measuring: the beam, windows of readings, calibration curves, weights, place and air.
//!
//! Inputs by key come in, results by key go out; the mathematics is in `measurement`.

use serde_json::{Map, Value};

use super::inputs::{Answer, Inputs, RequestError};
use crate::measurement::beam::{BeamGeometry, Reactions, TiltedClub, read_beam, read_tilted_beam};
use crate::measurement::check_weight::{InstrumentClass, WeightClass, WeightVerdict, error_is_within, judge_weight};
use crate::measurement::fit::fit_polynomial;
use crate::measurement::gravity::{BodyInAir, gravity_at, moved_reading, reading_in_air};
use crate::measurement::statistics::{describe, first_settled};
use crate::measurement::unit::{Degrees, Grams, Millimetres};

type Outcome = Result<Map<String, Value>, RequestError>;

pub(super) fn reactions(inputs: &Inputs<'_>) -> Outcome {
    let geometry = BeamGeometry {
        x1: Millimetres(inputs.number("x1_mm")?),
        x2: Millimetres(inputs.number("x2_mm")?),
        u_x1: Millimetres(inputs.not_negative("u_x1_mm")?),
        u_x2: Millimetres(inputs.not_negative("u_x2_mm")?),
        reaction_correlation: inputs.number("corr_R1_R2")?,
    };
    let reactions = Reactions {
        r1: Grams(inputs.number("R1_g")?),
        r2: Grams(inputs.number("R2_g")?),
        u_r1: Grams(inputs.not_negative("u_R1_g")?),
        u_r2: Grams(inputs.not_negative("u_R2_g")?),
    };
    if geometry.reaction_correlation.abs() > 1.0 {
        return Err(inputs.refuse("corr_R1_R2", "a number from -1 to 1"));
    }
    let reading = read_beam(&geometry, &reactions).ok_or_else(|| {
        let total = reactions.r1 + reactions.r2;
        RequestError::Unanswerable(if total.0 <= 0.0 {
            format!("R1_g and R2_g add up to {} g, expected more than 0 g: nothing lies on the beam", total.0)
        } else {
            "x1_mm and x2_mm are one place or the numbers are too large, expected two supports apart".to_owned()
        })
    })?;
    Answer::default()
        .number("mass_g", reading.mass.0)
        .number("balance_mm", reading.balance.0)
        .number("moment14_inoz", reading.moment14.inch_ounces())
        .number("sw_points_from_A0", reading.swing_weight.0)
        .number("u_mass_g", reading.u_mass.0)
        .number("u_balance_mm", reading.u_balance.0)
        .number("u_moment14_inoz", reading.u_moment14.inch_ounces())
        .number("u_sw_points", reading.u_swing_weight.0)
        .finish()
}

pub(super) fn beam_tilt(inputs: &Inputs<'_>) -> Outcome {
    let club = TiltedClub {
        mass: Grams(inputs.positive("mass_g")?),
        balance: Millimetres(inputs.number("balance_mm")?),
        cg_below_supports: Millimetres(inputs.number("cg_below_support_line_mm")?),
        head_down: Degrees(inputs.number("tilt_head_down_deg")?),
    };
    let (x1, x2) = (Millimetres(inputs.number("x1_mm")?), Millimetres(inputs.number("x2_mm")?));
    if !inputs.flag("axial_force_taken_on_support_line")? {
        // Where else the force is taken up is not among the inputs, and the reactions hang on it.
        return Err(inputs.refuse("axial_force_taken_on_support_line", "true: no other place is known"));
    }
    if club.head_down.abs().0 >= 90.0 {
        return Err(inputs.refuse("tilt_head_down_deg", "between -90 and 90"));
    }
    let reading = read_tilted_beam(x1, x2, &club)
        .ok_or_else(|| inputs.refuse("x2_mm", "a support apart from x1_mm, and numbers that are not too large"))?;
    Answer::default()
        .number("R1_g", reading.r1.0)
        .number("R2_g", reading.r2.0)
        .number("apparent_mass_g", reading.mass.0)
        .number("apparent_balance_mm", reading.balance.0)
        .number("apparent_sw_points", reading.swing_weight.0)
        .finish()
}

pub(super) fn stability(inputs: &Inputs<'_>) -> Outcome {
    let (t_s, values) = (inputs.numbers("t_s")?, inputs.numbers("x_g")?);
    let range_max = inputs.not_negative("range_max_g")?;
    let slope_max = inputs.not_negative("slope_max_g_per_s")?;
    let window = describe(&t_s, &values).map_err(RequestError::unanswerable)?;
    Answer::default()
        .value("n", window.n)
        .number("mean", window.mean)
        .number("sd", window.sd)
        .number("range", window.range)
        .number("slope_per_s", window.slope_per_s)
        .number("u_slope", window.u_slope)
        .optional("von_neumann", window.von_neumann)
        .optional("lag1", window.lag1)
        .number("u_mean_uncorrelated", window.u_mean_uncorrelated)
        .value("stable", window.range <= range_max && window.slope_per_s.abs() <= slope_max)
        .finish()
}

pub(super) fn settling(inputs: &Inputs<'_>) -> Outcome {
    let values = inputs.numbers("x_g")?;
    let range_max = inputs.not_negative("range_max_g")?;
    let length = usize::try_from(inputs.count("window", 1, u32::MAX)?).map_err(RequestError::unanswerable)?;
    if values.is_empty() {
        return Err(inputs.refuse("x_g", "at least one number"));
    }
    Answer::default().value("first_stable_index", first_settled(&values, length, range_max)).finish()
}

pub(super) fn fit(inputs: &Inputs<'_>) -> Outcome {
    let degree = usize::try_from(inputs.count("degree", 0, u32::MAX)?).map_err(RequestError::unanswerable)?;
    let (x, y) = (inputs.numbers("x")?, inputs.numbers("y")?);
    let x0 = inputs.number("x0")?;
    let fit = fit_polynomial(&x, &y, degree).map_err(RequestError::unanswerable)?;
    let prediction = fit.predict(x0).ok_or_else(|| inputs.refuse("x0", "a place nearer to the points"))?;
    Answer::default()
        .numbers("coef", &fit.coefficients)
        .numbers("sd_coef", &fit.sd_coefficients)
        .number("residual_sd", fit.residual_sd)
        .optional("R2", fit.r_squared)
        .value("df", fit.degrees_of_freedom)
        .number("max_abs_residual", fit.max_abs_residual)
        .number("predict", prediction.value)
        .number("u_predict_mean", prediction.u_mean)
        .finish()
}

pub(super) fn r111(inputs: &Inputs<'_>) -> Outcome {
    let nominal = Grams(inputs.positive("nominal_g")?);
    let class = WeightClass::parse(inputs.text("weight_class")?)
        .ok_or_else(|| inputs.refuse("weight_class", "one of: E1, E2, F1, F2, M1, M2, M3"))?;
    let error = inputs.number("conventional_mass_error_mg")?;
    let uncertainty = inputs.not_negative("expanded_uncertainty_mg")?;
    let limit = class
        .largest_error_mg(nominal)
        .ok_or_else(|| inputs.refuse("nominal_g", "a nominal value of this class in R 111 table 1, up to 10 kg"))?;
    let verdict = judge_weight(limit, error, uncertainty);
    let zone = match verdict {
        WeightVerdict::Conforms => "conforms",
        WeightVerdict::Undecided => "undecided",
        WeightVerdict::DoesNotConform => "does_not_conform",
        WeightVerdict::UncertaintyTooLarge => "uncertainty_too_large",
    };
    Answer::default()
        .number("mpe_mg", limit)
        .value("zone", zone)
        .value("r111_accept", verdict == WeightVerdict::Conforms)
        .finish()
}

pub(super) fn r76(inputs: &Inputs<'_>) -> Outcome {
    let class = InstrumentClass::parse(inputs.text("instrument_class")?)
        .ok_or_else(|| inputs.refuse("instrument_class", "one of: I, II, III, IIII"))?;
    let interval = Grams(inputs.positive("e_g")?);
    let load = Grams(inputs.not_negative("load_g")?);
    let error = Grams(inputs.number("indication_error_g")?);
    let limit = class.largest_error(interval, load);
    Answer::default()
        .optional("mpe_g", limit.map(|limit| limit.0))
        .value("within", limit.map(|limit| error_is_within(error, limit)))
        .finish()
}

pub(super) fn gravity(inputs: &Inputs<'_>) -> Outcome {
    let place = |key: &str| {
        let place = inputs.object(key)?;
        let (latitude, height) = (place.number("lat_deg")?, place.number("h_m")?);
        gravity_at(Degrees(latitude), height)
            .ok_or_else(|| inputs.refuse(key, "a latitude from -90 to 90 deg and a height from -1000 to 10000 m"))
    };
    let (adjusted, used) = (place("adjusted_at")?, place("used_at")?);
    let mass = Grams(inputs.not_negative("mass_g")?);
    Answer::default()
        .number("g1", adjusted)
        .number("g2", used)
        .number("reading_g", moved_reading(mass, adjusted, used).0)
        .finish()
}

pub(super) fn buoyancy(inputs: &Inputs<'_>) -> Outcome {
    let body = BodyInAir {
        mass: Grams(inputs.not_negative("mass_g")?),
        volume_cm3: inputs.not_negative("external_volume_cm3")?,
        air_mg_per_cm3: inputs.not_negative("air_density_mg_per_cm3")?,
        weights_kg_per_m3: inputs.positive("reference_density_kg_m3")?,
    };
    let reading = reading_in_air(&body)
        .ok_or_else(|| inputs.refuse("reference_density_kg_m3", "weights denser than the air, and finite numbers"))?;
    Answer::default().number("reading_g", reading.0).finish()
}
