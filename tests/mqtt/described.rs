//! Messages against the printed description of the topics, by a validator that is not ours (Python's jsonschema).

use std::fmt::Write as _;

use crate::mosquitto::Subscriber;
use crate::support::benchscribe;
use crate::support::python::{python, run};

pub(crate) const VALIDATOR: [&str; 2] = ["jsonschema==4.26.0", "rfc3339-validator==0.1.4"];
/// Where commands have their answers sent.
pub(crate) const ANSWERS: &str = "replies/1";

/// Validates messages, each a topic and a payload; what each channel had, or what is wrong.
#[track_caller]
pub(crate) fn validate(messages: &[(String, String)]) -> Result<String, String> {
    let folder = tempfile::tempdir().unwrap();
    let (document, file) = (folder.path().join("topics.json"), folder.path().join("messages"));
    let printed = benchscribe(["topics"]);
    assert!(printed.status.success());
    std::fs::write(&document, printed.stdout).unwrap();
    let mut lines = String::new();
    for (topic, payload) in messages {
        writeln!(lines, "{topic}\t{payload}").unwrap();
    }
    std::fs::write(&file, lines).unwrap();
    let (document, file) = (document.display().to_string(), file.display().to_string());
    run(&python("jsonschema", &VALIDATOR), "mqtt/validate.py", &[&document, &file, ANSWERS])
}

/// Validates everything a subscriber has seen; how many messages each channel had.
#[track_caller]
pub(crate) fn assert_described(seen: &Subscriber) -> String {
    let messages: Vec<_> = seen.all().into_iter().map(|message| (message.topic, message.payload)).collect();
    validate(&messages).unwrap_or_else(|faults| panic!("{faults}"))
}
