//! Commands about gauge studies as people's programs send them: JSON in, a command of the desk or a reason out.

use serde_json::Value;

use super::trust_command::text;
use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::{Dimension, parse_target};
use crate::work_order::desk::Command;
use crate::work_order::study_desk::{StudyCommand, StudyRequest, Wanted};

/// The commands there are, for the message when none fits.
pub(super) const KNOWN: &str = "study_begin, study_set_aside, study_resume, study_take_back, study_break_off";
/// The usual size of a study: parts, trials (measurement-systems-analysis manual, 4th ed.; from memory).
pub const USUAL: (usize, usize) = (10, 3);

/// Reads a command; `None` when it is not about studies.
pub(super) fn parse(name: &str, json: &Value) -> Option<Result<Command, String>> {
    let command = match name {
        "study_begin" => begin(json).map(StudyCommand::Begin),
        "study_set_aside" => study(json).map(StudyCommand::SetAside),
        "study_resume" => study(json).map(StudyCommand::Resume),
        "study_take_back" => study(json).map(StudyCommand::TakeBack),
        "study_break_off" => study(json).and_then(|study| {
            let why = text(json, "why")?.ok_or("\"why\" is missing, expected the reason as text")?.to_owned();
            Ok(StudyCommand::BreakOff { study, why })
        }),
        _ => return None,
    };
    Some(command.map(Command::Study))
}

fn study(json: &Value) -> Result<String, String> {
    let study = text(json, "study")?.ok_or("\"study\" is missing, expected a study's name such as \"S-1\"")?;
    Ok(study.to_owned())
}

fn begin(json: &Value) -> Result<StudyRequest, String> {
    let instrument =
        text(json, "instrument")?.ok_or("\"instrument\" is missing, expected an instrument's id as text")?;
    let characteristic = match text(json, "characteristic")? {
        None => None,
        Some(name) => Some(Characteristic::parse(name).ok_or_else(|| {
            let names: Vec<&str> = Characteristic::all().map(Characteristic::name).collect();
            format!("\"{name}\" is not a characteristic; characteristics: {}", names.join(", "))
        })?),
    };
    let people = match json.get("people") {
        None | Some(Value::Null) => vec!["A".to_owned(), "B".to_owned(), "C".to_owned()],
        Some(Value::Array(names)) => names
            .iter()
            .map(|name| name.as_str().map(str::to_owned))
            .collect::<Option<_>>()
            .ok_or("\"people\" holds something that is no text")?,
        Some(_) => return Err("\"people\" is no list of names, such as [\"K7\", \"M2\", \"T4\"]".to_owned()),
    };
    let of_order = json.get("tolerance_of_order").is_some_and(|value| *value == Value::Bool(true));
    let tolerance = match (text(json, "tolerance")?, of_order) {
        (Some(_), true) => return Err("the tolerance is stated and taken from the order: leave one out".to_owned()),
        (None, true) => Wanted::OfTheOrder,
        (None, false) => Wanted::Nothing,
        (Some(written), false) => {
            let dimension = characteristic.map_or(Dimension::Mass, Characteristic::dimension);
            let target = parse_target(written, dimension).map_err(|error| format!("\"tolerance\": {error}"))?;
            Wanted::Stated(written.to_owned(), target)
        }
    };
    Ok(StudyRequest {
        instrument: instrument.to_owned(),
        characteristic,
        parts: count(json, "parts", USUAL.0)?,
        people,
        trials: count(json, "trials", USUAL.1)?,
        tolerance,
    })
}

fn count(json: &Value, key: &str, usual: usize) -> Result<usize, String> {
    match json.get(key) {
        None | Some(Value::Null) => Ok(usual),
        Some(value) => value
            .as_u64()
            .and_then(|count| usize::try_from(count).ok())
            .ok_or_else(|| format!("\"{key}\" is {value}, expected a whole number")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn commands_are_read_and_refusals_say_what_is_missing() {
        let read = parse("study_begin", &json!({"instrument": "scale", "tolerance": "203 g ± 2 g"})).unwrap().unwrap();
        let Command::Study(StudyCommand::Begin(request)) = read else { panic!("{read:?}") };
        assert_eq!((request.parts, request.people.len(), request.trials), (10, 3, 3));
        assert!(matches!(request.tolerance, Wanted::Stated(_, target) if target.upper == Some(205.0)));
        for (name, sent, words) in [
            ("study_begin", json!({}), "\"instrument\" is missing"),
            ("study_begin", json!({"instrument": "s", "people": "A"}), "no list of names"),
            ("study_begin", json!({"instrument": "s", "parts": 2.5}), "\"parts\" is 2.5"),
            ("study_begin", json!({"instrument": "s", "tolerance": "2"}), "\"tolerance\""),
            (
                "study_begin",
                json!({"instrument": "s", "tolerance": "2 g", "tolerance_of_order": true}),
                "leave one out",
            ),
            ("study_begin", json!({"instrument": "s", "characteristic": "hue"}), "characteristics: head_mass"),
            ("study_resume", json!({}), "\"study\" is missing"),
            ("study_break_off", json!({"study": "S-1"}), "\"why\" is missing"),
        ] {
            let reason = parse(name, &sent).unwrap().unwrap_err();
            assert!(reason.contains(words), "{sent}: {reason}");
        }
        assert!(parse("fly", &json!({})).is_none());
    }
}
