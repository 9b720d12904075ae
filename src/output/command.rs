//! Commands as people's programs send them: JSON in, a command of the desk or a reason out.

use serde_json::Value;
use tokio::sync::{mpsc, oneshot};

use super::{drawer_command, part_command, study_command, trust_command};
use crate::club::characteristic::Characteristic;
use crate::club::cut::CutMark;
use crate::config::adhesive_file::read_adhesive;
use crate::config::document::Mistakes;
use crate::config::order_file::{OrderFormat, read_orders, read_orders_remarked};
use crate::measurement::quantity::{Dimension, parse_value};
use crate::work_order::again::Repeat;
use crate::work_order::desk::Command;
use crate::work_order::event::{EventId, Place};
use crate::work_order::marks::MarkCommand;
use crate::work_order::order::{Order, WorkKind};
use crate::work_order::state::State;
use crate::work_order::steps::Step;

/// A command on its way to the bench, with the way back for the answer.
#[derive(Debug)]
pub struct CommandRequest {
    /// The command as it was sent.
    pub json: Value,
    /// Gets the answer once the command's events are on disk.
    pub reply: oneshot::Sender<Answer>,
}

/// What a person should hear of a command that was carried out, or the reason why it was not.
pub type Answer = Result<Vec<String>, String>;

/// A question to the bench task: it runs on the folded state, between two inputs, and must be quick.
pub type Question = Box<dyn FnOnce(&State) + Send>;

/// Asks the bench; `None` when it is stopping.
pub async fn ask<T: Send + 'static>(
    questions: &mpsc::Sender<Question>,
    question: impl FnOnce(&State) -> T + Send + 'static,
) -> Option<T> {
    let (reply, answer) = oneshot::channel();
    let asked: Question = Box::new(move |state| {
        // Whoever asked may have left meanwhile; then nobody needs the answer.
        let _gone = reply.send(question(state));
    });
    questions.send(asked).await.ok()?;
    answer.await.ok()
}

/// The commands there are, for the message when none fits.
const KNOWN: &str = "import_order, import_orders, put_order_aside, take_order_up, open_order, open_club, step_done, step_again, enter, bend, void, void_last, file, operator, scan, next_step, put_aside, next_club, accept, acknowledge, enter_adhesive, mix_batch, discard_batch, override_cure, override_hand_over, take_club_up, confirm_mark, override_mark, build_again";

/// Reads a command.
///
/// # Errors
/// Says what is missing or not known, in words for the person who sent it.
pub fn parse(json: &Value) -> Result<Command, String> {
    let name =
        text(json, "command", "one of: ").map_err(|_| format!("\"command\" is missing, expected one of: {KNOWN}"))?;
    match name {
        "import_order" => Ok(Command::ImportOrders(orders(json)?)),
        "import_orders" => {
            let files = json.get("files").and_then(Value::as_array).filter(|files| !files.is_empty());
            let files =
                files.ok_or("\"files\" is missing, expected a list of files, each with \"file\" and \"text\"")?;
            // Every mistake of every file is named, and nothing is taken in when there is one.
            let (mut all, mut mistakes) = (Vec::new(), Vec::new());
            for file in files {
                match orders(file) {
                    Ok(orders) => all.extend(orders),
                    Err(words) => mistakes.push(words),
                }
            }
            if mistakes.is_empty() { Ok(Command::ImportOrders(all)) } else { Err(mistakes.join("\n")) }
        }
        "put_order_aside" => Ok(Command::PutOrderAside {
            order: text(json, "order", "an order number")?.to_owned(),
            why: json.get("why").and_then(Value::as_str).unwrap_or_default().to_owned(),
        }),
        "take_order_up" => Ok(Command::TakeOrderUp(text(json, "order", "an order number")?.to_owned())),
        "open_order" => Ok(Command::OpenOrder(text(json, "order", "an order number")?.to_owned())),
        "open_club" => Ok(Command::OpenClub(text(json, "club", "a club's id")?.to_owned())),
        "step_done" => step(json).map(Command::StepDone),
        "step_again" => Ok(Command::StepAgain { club: club(json), step: step(json)? }),
        "enter" => Ok(Command::Enter {
            club: club(json),
            characteristic: characteristic(json)?,
            quantity: text(json, "quantity", "a quantity with its unit")?.to_owned(),
        }),
        "bend" => Ok(Command::Bend {
            club: json.get("club").and_then(Value::as_str).map(str::to_owned),
            characteristic: characteristic(json)?,
            quantity: text(json, "quantity", "how far the lever went")?.to_owned(),
        }),
        "void_last" => Ok(Command::Void { event: None, why: text(json, "why", "the reason")?.to_owned() }),
        "void" => Ok(Command::Void { event: Some(event(json)?), why: text(json, "why", "the reason")?.to_owned() }),
        "file" => Ok(Command::File {
            event: event(json)?,
            place: Place { club: text(json, "club", "a club's id")?.to_owned(), characteristic: characteristic(json)? },
        }),
        "operator" => match json.get("operator") {
            None | Some(Value::Null) => Ok(Command::Operator(None)),
            Some(_) => {
                Ok(Command::Operator(Some(text(json, "operator", "a name or badge, or null for nobody")?.to_owned())))
            }
        },
        "confirm_mark" => {
            let command = match json.get("reading") {
                None | Some(Value::Null) => {
                    let quantity = text(json, "quantity", "what was measured, with its unit,")?;
                    MarkCommand::Measured { quantity: quantity.to_owned() }
                }
                Some(_) => {
                    let id = text(json, "reading", "the event of a length")?;
                    let reading =
                        EventId::parse(id).ok_or_else(|| format!("\"{id}\" is not an event's id (a UUID)"))?;
                    MarkCommand::FromReading { reading }
                }
            };
            Ok(Command::Mark { club: club(json), mark: mark(json)?, command })
        }
        "override_mark" => {
            let name = text(json, "name", "who answers for it")?.to_owned();
            let why = text(json, "why", "the reason")?.to_owned();
            Ok(Command::Mark { club: club(json), mark: mark(json)?, command: MarkCommand::Override { name, why } })
        }
        "build_again" => Ok(Command::BuildAgain {
            club: text(json, "club", "a finished club's id")?.to_owned(),
            repeat: Repeat {
                order: json.get("order").and_then(Value::as_str).map(str::to_owned),
                work: work(json)?,
                raw_length: json.get("raw_length").and_then(Value::as_str).map(str::to_owned),
            },
        }),
        "acknowledge" => Ok(Command::Acknowledge),
        "enter_adhesive" => {
            let file = json.get("file").and_then(Value::as_str).unwrap_or("adhesive");
            let product = read_adhesive(file, text(json, "text", "the product as TOML")?).map_err(|m| m.to_string())?;
            Ok(Command::EnterAdhesive(product))
        }
        "mix_batch" => Ok(Command::MixBatch {
            adhesive: text(json, "adhesive", "the id of a product")?.to_owned(),
            temperature_c: parse_value(
                text(json, "temperature", "the temperature of the workshop")?,
                Dimension::Temperature,
            )
            .map_err(|error| format!("temperature: {error}"))?,
            lot: json.get("lot").and_then(Value::as_str).map(str::to_owned),
        }),
        "discard_batch" => Ok(Command::DiscardBatch),
        "override_cure" => Ok(Command::OverrideCure {
            club: json.get("club").and_then(Value::as_str).map(str::to_owned),
            name: text(json, "name", "the name of who decides")?.to_owned(),
            why: text(json, "why", "the reason")?.to_owned(),
        }),
        "override_hand_over" => Ok(Command::OverrideHandOver {
            club: club(json),
            name: text(json, "name", "the name of who decides")?.to_owned(),
            why: text(json, "why", "the reason")?.to_owned(),
        }),
        "take_club_up" => Ok(Command::TakeClubUp {
            club: club(json),
            name: text(json, "name", "the name of who decides")?.to_owned(),
            why: text(json, "why", "the reason")?.to_owned(),
        }),
        "next_step" => Ok(Command::NextStep),
        "put_aside" => Ok(Command::PutAside),
        "next_club" => Ok(Command::NextClub),
        "accept" => Ok(Command::Accept),
        "scan" => Ok(Command::Scan(text(json, "code", "the code as scanned")?.to_owned())),
        other => {
            let parsed = trust_command::parse(other, json)
                .or_else(|| study_command::parse(other, json))
                .or_else(|| drawer_command::parse(other, json))
                .or_else(|| part_command::parse(other, json));
            parsed.unwrap_or_else(|| {
                let more =
                    [drawer_command::KNOWN, part_command::KNOWN, trust_command::KNOWN, study_command::KNOWN].join(", ");
                Err(format!("there is no command \"{other}\"; commands: {KNOWN}, {more}"))
            })
        }
    }
}

/// Every mistake of orders that are to be taken in; `None` for those without and for any other command.
#[must_use]
pub fn import_mistakes(json: &Value) -> Option<Mistakes> {
    let one = std::slice::from_ref(json);
    let files = match json.get("command").and_then(Value::as_str) {
        Some("import_order") => one,
        Some("import_orders") => json.get("files").and_then(Value::as_array)?,
        _ => return None,
    };
    let mistakes = files
        .iter()
        .filter_map(|file| file_of(file).ok())
        .filter_map(|(name, text, format)| read_orders(name, text, format).err());
    let all: Vec<_> = mistakes.flat_map(|mistakes| mistakes.0).collect();
    (!all.is_empty()).then_some(Mistakes(all))
}

/// What is no mistake of orders that are taken in and should be known all the same; nothing for any other command.
#[must_use]
pub fn import_remarks(json: &Value) -> Vec<String> {
    let one = std::slice::from_ref(json);
    let files = match json.get("command").and_then(Value::as_str) {
        Some("import_order") => one,
        Some("import_orders") => json.get("files").and_then(Value::as_array).map_or(&[][..], Vec::as_slice),
        _ => &[],
    };
    let read = |file: &Value| {
        let (name, text, format) = file_of(file).ok()?;
        read_orders_remarked(name, text, format).ok().map(|(_, remarks)| remarks)
    };
    files.iter().filter_map(read).flatten().map(|remark| remark.to_string()).collect()
}

/// What is to be done to a club, if that is said.
fn work(json: &Value) -> Result<Option<WorkKind>, String> {
    if json.get("work").is_none_or(Value::is_null) {
        return Ok(None);
    }
    let name = text(json, "work", "what is done to the club")?;
    let names = || WorkKind::ALL.iter().map(|work| work.name()).collect::<Vec<_>>().join(", ");
    WorkKind::parse(name).map(Some).ok_or_else(|| format!("\"work\" is \"{name}\", expected one of: {}", names()))
}

/// The orders of a file.
fn orders(json: &Value) -> Result<Vec<Order>, String> {
    let (file, text, format) = file_of(json)?;
    read_orders(file, text, format).map_err(|mistakes| mistakes.to_string())
}

/// Name and `text` of a file of orders, in the format that `as` says or the ending of `file`, TOML if neither does.
fn file_of(json: &Value) -> Result<(&str, &str, OrderFormat), String> {
    let file = json.get("file").and_then(Value::as_str).unwrap_or("order");
    let format = match json.get("as").map(|value| value.as_str().unwrap_or_default()) {
        None => OrderFormat::of(file),
        Some(name) => {
            OrderFormat::parse(name).ok_or_else(|| format!("\"as\" is \"{name}\", expected one of: toml, json, csv"))?
        }
    };
    Ok((file, text(json, "text", "the orders of the file")?, format))
}

fn text<'a>(json: &'a Value, key: &str, what: &str) -> Result<&'a str, String> {
    json.get(key)
        .and_then(Value::as_str)
        .filter(|text| !text.trim().is_empty())
        .ok_or_else(|| format!("\"{key}\" is missing, expected {what} as text"))
}

fn step(json: &Value) -> Result<Step, String> {
    let name = text(json, "step", "a step")?;
    Step::parse(name).ok_or_else(|| {
        let names: Vec<&str> = Step::ALL.iter().map(|step| step.name()).collect();
        format!("\"{name}\" is not a step; steps: {}", names.join(", "))
    })
}

/// The club's id; none means the one that is open.
fn club(json: &Value) -> Option<String> {
    json.get("club").and_then(Value::as_str).map(str::to_owned)
}

fn mark(json: &Value) -> Result<CutMark, String> {
    let name = text(json, "mark", "\"tip\" or \"butt\"")?;
    CutMark::parse(name).ok_or_else(|| format!("\"{name}\" is not a mark; marks: tip, butt"))
}

fn event(json: &Value) -> Result<EventId, String> {
    let id = text(json, "event", "the event's id")?;
    EventId::parse(id).ok_or_else(|| format!("\"{id}\" is not an event's id (a UUID)"))
}

fn characteristic(json: &Value) -> Result<Characteristic, String> {
    let name = text(json, "characteristic", "a characteristic")?;
    Characteristic::parse(name).ok_or_else(|| {
        let names: Vec<&str> = Characteristic::all().map(Characteristic::name).collect();
        format!("\"{name}\" is not a characteristic; characteristics: {}", names.join(", "))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn commands_are_read_and_refusals_say_what_is_missing() {
        assert_eq!(parse(&json!({"command": "step_done", "step": "bond"})), Ok(Command::StepDone(Step::Bond)));
        for (sent, words) in [
            (json!({}), "expected one of"),
            (json!({"command": "fly"}), "there is no command \"fly\""),
            (json!({"command": "step_done", "step": "fly"}), "steps: prepare"),
            (json!({"command": "void_last"}), "\"why\" is missing"),
            (json!({"command": "enter", "characteristic": "hue", "quantity": "1 g"}), "characteristics: head_mass"),
            (json!({"command": "file", "event": "x", "club": "W-1/1", "characteristic": "lie"}), "not an event's id"),
            (json!({"command": "import_order", "text": "order = 3"}), "order:1: order"),
            (json!({"command": "confirm_mark", "mark": "middle", "quantity": "1 mm"}), "marks: tip, butt"),
            (json!({"command": "confirm_mark", "mark": "tip"}), "\"quantity\" is missing"),
            (json!({"command": "override_mark", "mark": "tip", "name": "K7"}), "\"why\" is missing"),
            (json!({"command": "build_again"}), "a finished club's id"),
            (json!({"command": "import_order", "text": "x", "as": "xls"}), "one of: toml, json, csv"),
            (json!({"command": "mix_batch", "adhesive": "x", "temperature": "21"}), "temperature: \"21\" has no unit"),
            (json!({"command": "override_cure", "name": "K7"}), "\"why\" is missing"),
            (json!({"command": "override_hand_over", "name": "K7"}), "\"why\" is missing"),
            (json!({"command": "take_club_up", "name": "K7"}), "\"why\" is missing"),
            (json!({"command": "import_orders", "files": []}), "\"files\" is missing"),
            (
                json!({"command": "import_orders", "files": [{"file": "a.toml", "text": "order = 3"}, {"file": "b.csv", "text": "x"}]}),
                "b.csv:1: x: is not a column",
            ),
        ] {
            let reason = parse(&sent).unwrap_err();
            assert!(reason.contains(words), "{sent}: {reason}");
        }
    }

    #[test]
    fn only_the_text_of_an_import_has_mistakes_of_its_lines() {
        let import = |text: &str| json!({"command": "import_order", "file": "w.toml", "text": text});
        let found = import_mistakes(&import("order = \"W-1\"\nclub = 3\n")).unwrap();
        assert!(
            found.0.iter().all(|mistake| mistake.file == "w.toml") && found.0.iter().any(|m| m.line == 2),
            "{found:?}"
        );
        let good = "order = \"W-1\"\n[[club]]\nname = \"x\"\nkind = \"iron\"\n";
        assert_eq!(import_mistakes(&import(good)), None);
        assert_eq!(import_mistakes(&json!({"command": "scan", "text": "order = 3"})), None);
    }
}
