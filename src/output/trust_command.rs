//! Commands about checks and calibrations as people's programs send them: JSON in, a command of the desk or a reason
//! out.

use serde_json::Value;

use crate::measurement::check_weight::WeightClass;
use crate::measurement::gauge::Hand;
use crate::measurement::quantity::{Dimension, parse_value};
use crate::work_order::desk::{Command, Control};
use crate::work_order::reference::{Angles, Reference, Weight};
use crate::work_order::trust::{Adjust, Conditions, TrustCommand};

/// The commands there are, for the message when none fits.
pub(super) const KNOWN: &str = "check_begin, check_cancel, calibrate_begin, calibrate_point, calibrate_adjust, calibrate_finish, calibrate_cancel, zero";
/// Standard uncertainty of a place along a beam that nobody stated: a rule read to half a millimetre (common practice,
/// no source).
const U_PLACE_MM: f64 = 0.3;

/// Reads a command; `None` when it is not about checks or calibrations.
pub(super) fn parse(name: &str, json: &Value) -> Option<Result<Command, String>> {
    let control = match name {
        "zero" => Some(Control::Zero),
        "tare" => Some(Control::Tare),
        "store" => Some(Control::Store),
        _ => None,
    };
    if let Some(control) = control {
        return Some(instrument(json).map(|instrument| Command::Control { instrument, control }));
    }
    let command = match name {
        "check_begin" => reference(json).map(TrustCommand::Check),
        "check_cancel" => Ok(TrustCommand::CheckCancel),
        "calibrate_begin" => conditions(json).map(TrustCommand::Begin),
        "calibrate_point" => reference(json).map(TrustCommand::Point),
        "calibrate_adjust" => adjust(json).map(TrustCommand::Adjust),
        "calibrate_finish" => Ok(TrustCommand::Finish),
        "calibrate_cancel" => Ok(TrustCommand::Cancel),
        _ => return None,
    };
    Some(command.and_then(|command| Ok(Command::Trust { instrument: instrument(json)?, command })))
}

fn instrument(json: &Value) -> Result<String, String> {
    let id = text(json, "instrument")?.ok_or("\"instrument\" is missing, expected an instrument's id as text")?;
    Ok(id.to_owned())
}

fn reference(json: &Value) -> Result<Reference, String> {
    let certificate = text(json, "certificate")?.map(str::to_owned);
    if json.get("lie").is_some() || json.get("loft").is_some() {
        let angle = |key| {
            quantity(json, key, Dimension::Angle)?
                .ok_or(format!("\"{key}\" is missing, expected an angle such as \"60 deg\""))
        };
        let u_deg = quantity(json, "u", Dimension::Angle)?.unwrap_or(0.02);
        let hand = match text(json, "hand")? {
            Some(name) => Hand::parse(name).ok_or_else(|| format!("\"hand\" is \"{name}\", expected right or left"))?,
            None => Hand::Right,
        };
        let (lie_deg, loft_deg) = (angle("lie")?, angle("loft")?);
        return Ok(Reference::Angles(Angles { lie_deg, loft_deg, hand, u_deg, certificate }));
    }
    let nominal_g = quantity(json, "mass", Dimension::Mass)?
        .filter(|mass| *mass > 0.0)
        .ok_or("\"mass\" is missing, expected the mass of the weight such as \"200 g\"")?;
    let class = match text(json, "class")? {
        Some(name) => Some(WeightClass::parse(name).ok_or_else(|| {
            let names: Vec<&str> = WeightClass::ALL.iter().map(|class| class.name()).collect();
            format!("\"{name}\" is not a class of weights; classes: {}", names.join(", "))
        })?),
        None => None,
    };
    let error_g = quantity(json, "error", Dimension::Mass)?;
    let expanded_g = quantity(json, "expanded_u", Dimension::Mass)?;
    if expanded_g.is_some_and(|expanded| expanded <= 0.0) {
        return Err(
            "\"expanded_u\" is not more than nothing: no weight is known exactly; leave it out, and its class speaks"
                .to_owned(),
        );
    }
    let weight = Weight::stated(nominal_g, class, error_g, expanded_g)?;
    let at_mm = quantity(json, "at", Dimension::Length)?;
    let u_at_mm = quantity(json, "u_at", Dimension::Length)?.filter(|u| *u >= 0.0).unwrap_or(U_PLACE_MM);
    let u_at_mm = if at_mm.is_some() { u_at_mm } else { 0.0 };
    Ok(Reference::Weight(Weight { certificate, at_mm, u_at_mm, ..weight }))
}

fn conditions(json: &Value) -> Result<Conditions, String> {
    let temperature_c = match json.get("temperature_c") {
        None | Some(Value::Null) => None,
        Some(value) => {
            let sensible = value.as_f64().filter(|t| (-40.0..=60.0).contains(t));
            Some(sensible.ok_or_else(|| format!("\"temperature_c\" is {value}, expected a number from -40 to 60"))?)
        }
    };
    Ok(Conditions { temperature_c, note: text(json, "note")?.map(str::to_owned) })
}

fn adjust(json: &Value) -> Result<Adjust, String> {
    let degree = match json.get("degree").map_or(Some(1), Value::as_u64) {
        Some(1) => 1,
        Some(2) => 2,
        _ => return Err("\"degree\" is neither 1 (a straight line) nor 2 (a quadratic)".to_owned()),
    };
    let supports = json.get("supports").map_or(Some(false), Value::as_bool);
    let far_off = json.get("far_off").map_or(Some(false), Value::as_bool);
    Ok(Adjust {
        degree,
        supports: supports.ok_or("\"supports\" is neither true nor false")?,
        far_off: far_off.ok_or("\"far_off\" is neither true nor false")?,
        u_at_mm: quantity(json, "u_at", Dimension::Length)?.filter(|u| *u >= 0.0),
    })
}

pub(super) fn text<'a>(json: &'a Value, key: &str) -> Result<Option<&'a str>, String> {
    match json.get(key) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) if !text.trim().is_empty() && text.len() <= 200 => Ok(Some(text)),
        Some(_) => Err(format!("\"{key}\" is not a text of at most 200 characters")),
    }
}

fn quantity(json: &Value, key: &str, dimension: Dimension) -> Result<Option<f64>, String> {
    text(json, key)?.map(|text| parse_value(text, dimension).map_err(|error| format!("\"{key}\": {error}"))).transpose()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn commands_are_read_and_refusals_say_what_is_missing() {
        let sent =
            json!({"instrument": "parts-scale", "mass": "200 g", "class": "M1", "error": "2 mg", "expanded_u": "3 mg"});
        let Some(Ok(Command::Trust { instrument, command: TrustCommand::Check(Reference::Weight(weight)) })) =
            parse("check_begin", &sent)
        else {
            panic!("not a check");
        };
        assert_eq!(instrument, "parts-scale");
        assert!((weight.mass_g() - 200.002).abs() < 1e-12 && (weight.u_g - 0.0015).abs() < 1e-15);
        for (name, sent, words) in [
            ("check_begin", json!({"mass": "200 g", "class": "M1"}), "\"instrument\" is missing"),
            ("check_begin", json!({"instrument": "s", "class": "M1"}), "\"mass\" is missing"),
            ("check_begin", json!({"instrument": "s", "mass": "200 g", "class": "Q"}), "classes: E1"),
            ("check_begin", json!({"instrument": "s", "mass": "200"}), "\"mass\""),
            (
                "check_begin",
                json!({"instrument": "s", "mass": "200 g", "expanded_u": "0 mg"}),
                "no weight is known exactly",
            ),
            ("calibrate_adjust", json!({"instrument": "s", "degree": 3}), "neither 1"),
            ("calibrate_begin", json!({"instrument": "s", "temperature_c": 400}), "-40 to 60"),
            ("calibrate_point", json!({"instrument": "s", "lie": "60 deg"}), "\"loft\" is missing"),
            (
                "calibrate_point",
                json!({"instrument": "s", "lie": "60 deg", "loft": "30 deg", "hand": "both"}),
                "expected right or left",
            ),
        ] {
            let reason = parse(name, &sent).unwrap().unwrap_err();
            assert!(reason.contains(words), "{sent}: {reason}");
        }
        assert!(parse("fly", &json!({})).is_none());
    }
}
