//! `compute`: one JSON request a line in, one JSON answer a line out.
//!
//! A request is `{"id", "kind", "inputs"}`; its answer `{"id", "kind", "result"}` or, when it is bad or has no answer,
//! `{"id", "kind", "error"}` with the reason in words. The mathematics lives in `measurement` and `club`; here are only
//! names and shapes. Nothing is ever answered with a number that is not one.

mod angles;
mod club;
mod inputs;
mod metrology;

use std::fs::File;
use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;
use serde_json::{Map, Value};

use super::print;
use inputs::{Inputs, RequestError};

/// What to compute.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// File of JSON requests, one a line; standard input when left out
    file: Option<PathBuf>,
}

/// Answers every request of a file or of standard input, each as soon as it has come.
///
/// Requests without an answer are lines with `error`; they do not change the exit code.
///
/// # Errors
/// The file cannot be read, or standard output cannot be written.
pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    match arguments.file {
        Some(path) => {
            let file = open(&path)?;
            answer_all(BufReader::new(file), print::Output).with_context(|| format!("computing {}", path.display()))?;
        }
        None => answer_all(io::stdin().lock(), print::Output).context("computing standard input")?,
    }
    Ok(ExitCode::SUCCESS)
}

fn open(path: &Path) -> anyhow::Result<File> {
    File::open(path).with_context(|| format!("opening {}", path.display()))
}

fn answer_all(mut requests: impl BufRead, mut answers: impl Write) -> io::Result<()> {
    let mut line = Vec::new();
    while requests.read_until(b'\n', &mut line)? > 0 {
        // Bytes that are not UTF-8 make the line bad JSON, they do not end the stream.
        let text = String::from_utf8_lossy(&line);
        if !text.trim().is_empty() {
            writeln!(answers, "{}", answer(&text))?;
            answers.flush()?;
        }
        line.clear();
    }
    Ok(())
}

/// Answers one request, a line of JSON, with a line of JSON.
#[must_use]
pub fn answer(line: &str) -> String {
    let (id, kind, outcome) = match serde_json::from_str::<Value>(line.trim()) {
        Ok(Value::Object(request)) => {
            let take = |key: &str| request.get(key).cloned().unwrap_or(Value::Null);
            (take("id"), take("kind"), result_of(&request))
        }
        Ok(other) => (Value::Null, Value::Null, Err(RequestError::wrong("request", &other, "a JSON object"))),
        Err(error) => (Value::Null, Value::Null, Err(RequestError::NotJson(error.to_string()))),
    };
    let mut reply = Map::new();
    reply.insert("id".to_owned(), id);
    reply.insert("kind".to_owned(), kind);
    match outcome {
        Ok(result) => reply.insert("result".to_owned(), Value::Object(result)),
        Err(error) => reply.insert("error".to_owned(), Value::String(error.to_string())),
    };
    Value::Object(reply).to_string()
}

type Answerer = fn(&Inputs<'_>) -> Result<Map<String, Value>, RequestError>;

/// Every kind of request and who answers it.
const KINDS: [(&str, Answerer); 24] = [
    ("reactions", metrology::reactions),
    ("beam_tilt", metrology::beam_tilt),
    ("stability", metrology::stability),
    ("settling", metrology::settling),
    ("fit", metrology::fit),
    ("r111", metrology::r111),
    ("r76", metrology::r76),
    ("gravity", metrology::gravity),
    ("buoyancy", metrology::buoyancy),
    ("format", club::format),
    ("parse", club::parse),
    ("composite", club::composite),
    ("add_one", club::add_one),
    ("add_two_mass_sw", club::add_two_mass_sw),
    ("add_two_moi_sw", club::add_two_moi_sw),
    ("trim_butt_to_sw", club::trim_butt_to_sw),
    ("pendulum", club::pendulum),
    ("turn_about_shaft", angles::turn_about_shaft),
    ("vectors_left_handed", angles::vectors),
    ("sleeve", angles::sleeve),
    ("inclinometer_forward", angles::inclinometer_forward),
    ("inclinometer_inverse", angles::inclinometer_inverse),
    ("loft_definitions", angles::loft_definitions),
    ("bend_loft", angles::bend_loft),
];

fn result_of(request: &Map<String, Value>) -> Result<Map<String, Value>, RequestError> {
    let request = Inputs::new(request, "");
    let kind = request.text("kind")?;
    let inputs = request.object("inputs")?;
    match KINDS.iter().find(|(name, _)| *name == kind) {
        Some((_, answerer)) => answerer(&inputs),
        None => {
            Err(RequestError::UnknownKind { found: kind.to_owned(), known: KINDS.map(|(name, _)| name).join(", ") })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(line: &str, expected: &str) {
        assert!(answer(line).contains(expected), "{line}\n{}\nexpected {expected}", answer(line));
    }

    #[test]
    fn a_bad_request_is_answered_in_words() {
        check("{", r#""error":"the request is not JSON"#);
        check("[1]", "expected a JSON object");
        check(r#"{"id":7,"inputs":{}}"#, r#"{"id":7,"kind":null,"error":"kind is missing"}"#);
        check(r#"{"id":"a","kind":"parse"}"#, r#""error":"inputs is missing""#);
        check(r#"{"id":"a","kind":"brew","inputs":{}}"#, "expected one of: reactions, beam_tilt");
        check(r#"{"kind":"parse","inputs":{"text":3}}"#, "inputs.text is 3, expected text");
    }

    #[test]
    fn every_line_gets_one_answer_and_the_stream_goes_on() {
        let requests = b"\xff\n\n{\"id\":1,\"kind\":\"parse\",\"inputs\":{\"text\":\"D2\"}}".as_slice();
        let mut answers = Vec::new();
        answer_all(requests, &mut answers).unwrap();
        let answers = String::from_utf8(answers).unwrap();
        let lines: Vec<&str> = answers.lines().collect();
        assert_eq!(lines.len(), 2, "{answers}");
        assert!(lines[1].contains(r#""result":{"points_from_A0":32.0,"valid":true}"#), "{answers}");
    }
}
