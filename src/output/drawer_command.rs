//! Commands about the drawers as people's programs send them: JSON in, a command or a reason out.

use serde_json::Value;

use crate::work_order::desk::Command;
use crate::work_order::drawer_desk::DrawerCommand;
use crate::work_order::event::EventId;

/// The commands there are, for the message when none fits.
pub(super) const KNOWN: &str = "use_proposal, take_part, put_back, count_stock, refill_stock";

/// Reads a command about the drawers; `None` when the name is none of them.
pub(super) fn parse(name: &str, json: &Value) -> Option<Result<Command, String>> {
    let command = match name {
        "use_proposal" => optional(json, "proposal").map(|proposal| DrawerCommand::Use { proposal }),
        "take_part" => take(json),
        "put_back" => put_back(json),
        "count_stock" => item(json).and_then(|item| Ok(DrawerCommand::Count { item, pieces: pieces(json, None)? })),
        "refill_stock" => item(json).and_then(|item| Ok(DrawerCommand::Refill { item, pieces: pieces(json, None)? })),
        _ => return None,
    };
    Some(command.map(Command::Drawer))
}

fn take(json: &Value) -> Result<DrawerCommand, String> {
    Ok(DrawerCommand::Take {
        club: optional(json, "club")?,
        item: item(json)?,
        pieces: pieces(json, Some(1))?,
        place: optional(json, "place")?,
    })
}

fn put_back(json: &Value) -> Result<DrawerCommand, String> {
    let taking = optional(json, "taking")?
        .map(|id| EventId::parse(&id).ok_or_else(|| format!("\"{id}\" is not an event's id (a UUID)")))
        .transpose()?;
    let why = optional(json, "why")?.ok_or("\"why\" is missing, expected the reason as text")?;
    Ok(DrawerCommand::PutBack { taking, why })
}

fn item(json: &Value) -> Result<String, String> {
    optional(json, "item")?.ok_or_else(|| "\"item\" is missing, expected the name of a part in the drawers".to_owned())
}

fn pieces(json: &Value, usual: Option<u32>) -> Result<u32, String> {
    let found = match json.get("pieces") {
        None | Some(Value::Null) => usual,
        Some(number) => number.as_u64().and_then(|number| u32::try_from(number).ok()),
    };
    found.ok_or_else(|| "\"pieces\" is missing or no whole number, expected how many, such as 12".to_owned())
}

/// A text that may be absent, or an error if it is no text.
fn optional(json: &Value, key: &str) -> Result<Option<String>, String> {
    match json.get(key) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) if !text.trim().is_empty() => Ok(Some(text.clone())),
        Some(_) => Err(format!("\"{key}\" is not a text")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn commands_are_read_and_refusals_say_what_is_missing() {
        let parsed = parse("take_part", &json!({"item": "screw-2", "place": "head"})).unwrap();
        let expected =
            DrawerCommand::Take { club: None, item: "screw-2".into(), pieces: 1, place: Some("head".into()) };
        assert_eq!(parsed, Ok(Command::Drawer(expected)));
        for (name, sent, words) in [
            ("take_part", json!({}), "\"item\" is missing"),
            ("take_part", json!({"item": "w", "pieces": -1}), "no whole number"),
            ("count_stock", json!({"item": "w"}), "\"pieces\" is missing"),
            ("put_back", json!({"taking": "x", "why": "y"}), "not an event's id"),
            ("put_back", json!({}), "\"why\" is missing"),
            ("use_proposal", json!({"proposal": 3}), "not a text"),
        ] {
            let reason = parse(name, &sent).unwrap().unwrap_err();
            assert!(reason.contains(words), "{sent}: {reason}");
        }
        assert!(parse("fly", &json!({})).is_none());
    }
}
