//! Commands about numbered parts as people's programs send them: JSON in, a command or a reason out.

use serde_json::Value;

use crate::measurement::quantity::{Dimension, parse_value};
use crate::work_order::desk::Command;
use crate::work_order::part_desk::PartCommand;
use crate::work_order::part_stock::{PartFacts, PartKind};

/// The commands there are, for the message when none fits.
pub(super) const KNOWN: &str =
    "begin_intake, end_intake, describe_part, use_part, use_parts, release_part, withdraw_part";

/// Reads a command about numbered parts; `None` when the name is none of them.
pub(super) fn parse(name: &str, json: &Value) -> Option<Result<Command, String>> {
    let command = match name {
        "begin_intake" => begin(json),
        "end_intake" => Ok(PartCommand::End),
        "describe_part" => number(json).and_then(|part| Ok(PartCommand::Describe { part, facts: facts(json)? })),
        "use_part" => one_use(json).map(|used| PartCommand::Use(vec![used])),
        "use_parts" => all_uses(json),
        "release_part" => number(json).and_then(|part| Ok(PartCommand::Release { part, why: why(json)? })),
        "withdraw_part" => number(json).and_then(|part| Ok(PartCommand::Withdraw { part, why: why(json)? })),
        _ => return None,
    };
    Some(command.map(Command::Part))
}

fn begin(json: &Value) -> Result<PartCommand, String> {
    let name = text(json, "kind")?.ok_or("\"kind\" is missing, expected head, shaft or grip")?;
    let kind = PartKind::parse(&name).ok_or_else(|| format!("\"kind\" is \"{name}\", expected head, shaft or grip"))?;
    Ok(PartCommand::Begin { kind, instrument: text(json, "instrument")?, facts: facts(json)? })
}

fn one_use(json: &Value) -> Result<(Option<String>, String), String> {
    Ok((text(json, "club")?, number(json)?))
}

fn all_uses(json: &Value) -> Result<PartCommand, String> {
    let uses = json.get("uses").and_then(Value::as_array).filter(|uses| !uses.is_empty());
    let uses = uses.ok_or("\"uses\" is missing, expected a list, each with \"club\" and \"part\"")?;
    uses.iter().map(one_use).collect::<Result<_, _>>().map(PartCommand::Use)
}

fn number(json: &Value) -> Result<String, String> {
    let number = text(json, "part")?;
    number.ok_or_else(|| "\"part\" is missing, expected the number of a part such as \"H-12\"".to_owned())
}

fn why(json: &Value) -> Result<String, String> {
    text(json, "why")?.ok_or_else(|| "\"why\" is missing, expected the reason as text".to_owned())
}

fn facts(json: &Value) -> Result<PartFacts, String> {
    let clubs = match json.get("for") {
        None | Some(Value::Null) => None,
        Some(Value::String(one)) if one.trim().is_empty() => None,
        Some(Value::String(one)) => Some(one.split(',').map(|club| club.trim().to_owned()).collect()),
        Some(Value::Array(all)) => {
            let clubs = all.iter().map(|club| club.as_str().map(str::to_owned)).collect::<Option<Vec<_>>>();
            Some(clubs.ok_or("\"for\" is not a list of names of clubs")?)
        }
        Some(_) => return Err("\"for\" is not the name of a club, or a list of them".to_owned()),
    };
    Ok(PartFacts {
        drawer: text(json, "drawer")?,
        model: text(json, "model")?,
        clubs,
        length_mm: quantity(json, "length", Dimension::Length)?,
        balance_mm: quantity(json, "balance", Dimension::Length)?,
        frequency_cpm: quantity(json, "frequency", Dimension::Frequency)?,
        loft_deg: quantity(json, "loft", Dimension::Angle)?,
        lie_deg: quantity(json, "lie", Dimension::Angle)?,
        gtin: text(json, "gtin")?,
        lot: text(json, "lot")?,
        serial: text(json, "serial")?,
    })
}

fn quantity(json: &Value, key: &str, dimension: Dimension) -> Result<Option<f64>, String> {
    let Some(typed) = text(json, key)? else { return Ok(None) };
    parse_value(&typed, dimension).map(Some).map_err(|error| format!("{key}: {error}"))
}

/// A text that may be absent or empty, as fields of a form are, or an error if it is no text.
fn text(json: &Value, key: &str) -> Result<Option<String>, String> {
    match json.get(key) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) => Ok(Some(text.trim().to_owned()).filter(|text| !text.is_empty())),
        Some(_) => Err(format!("\"{key}\" is not a text")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn commands_are_read_and_refusals_say_what_is_missing() {
        let sent = json!({"kind": "shaft", "length": "45 in", "drawer": "A2", "lot": " ", "for": "7-iron, 8-iron"});
        let Some(Ok(Command::Part(PartCommand::Begin { kind, instrument, facts }))) = parse("begin_intake", &sent)
        else {
            panic!("not read")
        };
        assert_eq!((kind, instrument, facts.length_mm), (PartKind::Shaft, None, Some(1143.0)));
        assert_eq!((facts.drawer.as_deref(), facts.lot), (Some("A2"), None));
        assert_eq!(facts.clubs, Some(vec!["7-iron".to_owned(), "8-iron".to_owned()]));
        for (name, sent, words) in [
            ("begin_intake", json!({}), "\"kind\" is missing"),
            ("begin_intake", json!({"kind": "ferrule"}), "expected head, shaft or grip"),
            ("begin_intake", json!({"kind": "shaft", "length": "45"}), "length: \"45\" has no unit"),
            ("describe_part", json!({"loft": "3 deg"}), "\"part\" is missing"),
            ("use_parts", json!({"uses": []}), "\"uses\" is missing"),
            ("release_part", json!({"part": "H-1"}), "\"why\" is missing"),
            ("use_part", json!({"part": 3}), "not a text"),
        ] {
            let reason = parse(name, &sent).unwrap().unwrap_err();
            assert!(reason.contains(words), "{sent}: {reason}");
        }
        assert!(parse("fly", &json!({})).is_none());
    }
}
