//! What `identify` says about one port, in words or as JSON.

use std::path::PathBuf;

use serde_json::{Map, Value, json};

use crate::config::instrument_block::{Draft, draft, free_id};
use crate::instrument::format::Mode;
use crate::instrument::search::{Finding, Found};

/// What came of one port.
pub(super) struct Outcome {
    /// As it was given.
    pub(super) path: PathBuf,
    /// The name to write down.
    pub(super) name: PathBuf,
    /// What to know about that name.
    pub(super) remark: Option<String>,
    pub(super) finding: Finding,
}

/// The answer for one port.
pub(super) struct Answer<'a> {
    outcome: &'a Outcome,
    /// The table to add, when the answer is sure.
    pub(super) table: Option<Table>,
}

/// A table of an instrument.
pub(super) struct Table {
    pub(super) id: String,
    pub(super) text: String,
    pub(super) draft: Draft,
}

impl<'a> Answer<'a> {
    /// `taken`: ids that are in use; the new one is added.
    pub(super) fn new(outcome: &'a Outcome, taken: &mut Vec<String>) -> Self {
        let table = match &outcome.finding {
            Finding::Sure(found) => {
                let draft = draft(&found.format, &found.bytes);
                let id = free_id(draft.kind, taken);
                taken.push(id.clone());
                Some(Table { text: draft.text(&id, &outcome.name), id, draft })
            }
            Finding::NotSure { .. } => None,
        };
        Self { outcome, table }
    }

    pub(super) fn words(&self) -> String {
        let port = self.outcome.path.display();
        match (&self.outcome.finding, &self.table) {
            (Finding::Sure(found), Some(table)) => {
                let remarks: String = self.remarks(found).iter().map(|remark| format!("# {remark}\n")).collect();
                format!("# {port}: {}\n{remarks}{}", found_words(found), table.text)
            }
            (Finding::NotSure { why, .. }, _) => format!("# {port}: not sure: {why}"),
            (Finding::Sure(found), None) => format!("# {port}: {}", found_words(found)),
        }
    }

    pub(super) fn json(&self) -> String {
        let mut line = Map::new();
        line.insert("port".to_owned(), json!(self.outcome.path.display().to_string()));
        line.insert("name".to_owned(), json!(self.outcome.name.display().to_string()));
        let (found, why) = match &self.outcome.finding {
            Finding::Sure(found) => (Some(found), None),
            Finding::NotSure { why, best } => (best.as_ref(), Some(why)),
        };
        line.insert("sure".to_owned(), json!(why.is_none()));
        line.insert("why".to_owned(), json!(why));
        line.insert("family".to_owned(), json!(found.map(|found| &found.format.family)));
        line.insert("line".to_owned(), json!(found.map(|found| found.line.to_string())));
        line.insert("settings".to_owned(), found.map_or(Value::Null, |found| settings(found)));
        line.insert("frames".to_owned(), json!(found.map(|found| found.candidate.frames)));
        line.insert("explained".to_owned(), json!(found.map(|found| found.candidate.explained())));
        line.insert("asked".to_owned(), json!(found.is_some_and(|found| found.question.is_some())));
        line.insert("remarks".to_owned(), json!(found.map(|found| self.remarks(found)).unwrap_or_default()));
        line.insert("config".to_owned(), json!(self.table.as_ref().map(|table| &table.text)));
        Value::Object(line).to_string()
    }

    /// What a person must know.
    fn remarks(&self, found: &Found) -> Vec<String> {
        let is_asked = found.question.is_some() && found.format.request.is_none();
        let asked = is_asked.then(|| {
            "it sent only when it was asked, and this format does not ask: set the instrument to send by itself"
                .to_owned()
        });
        let on_key = found.format.mode == Mode::OnKey;
        let key = on_key.then(|| "it sends when its key is pressed or something is scanned".to_owned());
        let chosen = found.format.settings().filter(|(_, _, allowed)| allowed.len() > 1);
        let pairs: Vec<String> = chosen.map(|(key, value, _)| format!("{key} {value}")).collect();
        let chosen = (!pairs.is_empty()).then(|| {
            format!("compare what it reads with the display: {} is the likeliest of several", pairs.join(", "))
        });
        let missing = self.table.as_ref().and_then(|table| table.draft.missing).map(str::to_owned);
        [self.outcome.remark.clone(), asked, key, chosen, missing].into_iter().flatten().collect()
    }
}

fn settings(found: &Found) -> Value {
    let pairs = found.candidate.settings.iter().map(|(key, value)| (key.clone(), json!(value)));
    Value::Object(pairs.collect())
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of 0 to 1, times 100")]
fn found_words(found: &Found) -> String {
    let percent = (found.candidate.explained() * 100.0).floor() as u32;
    format!(
        "{} at {}: {} whole frames, {percent} % of {} bytes explained",
        found.format.family, found.line, found.candidate.frames, found.candidate.total_bytes
    )
}
