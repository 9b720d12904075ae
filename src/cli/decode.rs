//! `decode`: bytes of a line in, one line of JSON for each reading and each refusal out.
//!
//! In: a file or standard input. Out: the lines on standard output, everything else on standard error. Absent:
//! any decision about the bytes, which is the format's and, for `auto`, identification's.

use std::fs::File;
use std::io::{self, BufWriter, Read, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, Result, anyhow};
use serde_json::{Map, Value, json};

use crate::instrument::format::{Code, Decoder, Format, Frame, Item, NetGross, Parity, UnitCode};
use crate::instrument::identify::{Observation, Verdict, identify, strip_parity};

/// Most bytes that identification looks at; the rest is decoded with its answer.
const MOST_BYTES_IDENTIFIED: usize = 64 * 1024;

/// Decode the bytes of an instrument's line to one JSON line a reading.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Family of the wire format, or `auto` to let the bytes decide (five frames or more).
    #[arg(long, value_name = "FAMILY|auto", required_unless_present = "format_file", conflicts_with = "format_file")]
    format: Option<String>,
    /// A wire format of your own, described in TOML.
    #[arg(long, value_name = "FILE")]
    format_file: Option<PathBuf>,
    /// A setting of the format, such as `word_order=CDAB`; may be given several times.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// The bytes; standard input without it.
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
}

/// Runs the command. Exit 0 when the bytes were read, refused frames or not; 1 when `auto` is not sure; 2 for an
/// unknown family, a wrong setting or an unreadable file.
///
/// # Errors
/// Only when standard error cannot be written.
pub(crate) fn run(arguments: Arguments) -> Result<ExitCode> {
    match decode(arguments) {
        Ok(code) => Ok(code),
        Err(error) if is_broken_pipe(&error) => Ok(ExitCode::SUCCESS),
        Err(error) => {
            writeln!(io::stderr(), "{error:#}")?;
            Ok(ExitCode::from(2))
        }
    }
}

/// Whether the reader of our lines has gone: no fault of ours.
fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.downcast_ref::<io::Error>().is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
}

fn decode(arguments: Arguments) -> Result<ExitCode> {
    let mut input: Box<dyn Read> = match &arguments.file {
        Some(path) => Box::new(File::open(path).with_context(|| format!("cannot read {}", path.display()))?),
        None => Box::new(io::stdin().lock()),
    };
    let mut output = Lines { writer: BufWriter::new(io::stdout().lock()), failure: None };
    if arguments.format.as_deref() == Some("auto") {
        return decode_auto(&arguments, &mut input, &mut output);
    }
    let mut format = chosen_format(&arguments)?;
    apply_settings(&mut format, &arguments.set)?;
    let format = Arc::new(format);
    let mut decoder = Decoder::new(Arc::clone(&format));
    let mut piece = [0_u8; 4096];
    loop {
        let count = match input.read(&mut piece) {
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(anyhow!(error).context("cannot read the bytes")),
        };
        let Some(bytes) = piece.get(..count).filter(|bytes| !bytes.is_empty()) else { break };
        decoder.push(bytes, &mut |item| output.write(&format.family, None, item));
        // A reader at the other end of a pipe sees each reading when it comes.
        output.flush()?;
    }
    decoder.finish(&mut |item| output.write(&format.family, None, item));
    output.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn chosen_format(arguments: &Arguments) -> Result<Format> {
    if let Some(path) = &arguments.format_file {
        let text = std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
        let name = path.file_stem().map_or_else(|| "user".to_owned(), |stem| stem.to_string_lossy().into_owned());
        return Ok(Format::from_toml(&text, &name)?);
    }
    Ok(Format::built_in(arguments.format.as_deref().unwrap_or_default())?)
}

fn apply_settings(format: &mut Format, settings: &[String]) -> Result<()> {
    for setting in settings {
        let (key, value) = setting.split_once('=').ok_or_else(|| anyhow!("`--set {setting}` is not KEY=VALUE"))?;
        format.set(key, value)?;
    }
    Ok(())
}

fn decode_auto(arguments: &Arguments, input: &mut dyn Read, output: &mut Lines<impl Write>) -> Result<ExitCode> {
    let mut bytes = Vec::new();
    input.read_to_end(&mut bytes).context("cannot read the bytes")?;
    let looked_at = bytes.get(..MOST_BYTES_IDENTIFIED).unwrap_or(&bytes);
    let found = identify(&[Observation { line: None, bytes: looked_at }]);
    let best = match found.verdict {
        Verdict::Sure(best) => best,
        Verdict::NotSure(why) => {
            output.line(&json!({ "refused": format!("not sure of the wire format: {why}"), "at_byte": 0 }));
            output.flush()?;
            return Ok(ExitCode::from(1));
        }
    };
    let mut format = best.format().ok_or_else(|| anyhow!("the wire format {} is not built in", best.family))?;
    apply_settings(&mut format, &arguments.set)?;
    if let Some(parity) = best.stripped {
        bytes = strip_parity(&bytes, parity);
    }
    let format = Arc::new(format);
    let mut decoder = Decoder::new(Arc::clone(&format));
    decoder.push(&bytes, &mut |item| output.write(&format.family, best.stripped, item));
    decoder.finish(&mut |item| output.write(&format.family, best.stripped, item));
    output.flush()?;
    Ok(ExitCode::SUCCESS)
}

/// Writes lines and keeps the first failure for the end, since a decoder's items cannot fail.
struct Lines<W: Write> {
    writer: W,
    failure: Option<io::Error>,
}

impl<W: Write> Lines<W> {
    fn write(&mut self, family: &str, stripped: Option<Parity>, item: Item<'_>) {
        let line = match item {
            Item::Frame(frame, _) => reading(family, stripped, &frame),
            Item::Refused { reason, at_byte, .. } => json!({ "refused": reason.to_string(), "at_byte": at_byte }),
        };
        self.line(&line);
    }

    fn line(&mut self, line: &Value) {
        if self.failure.is_none() {
            self.failure = writeln!(self.writer, "{line}").err();
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self.failure.take() {
            Some(failure) => Err(failure),
            None => self.writer.flush(),
        }
    }
}

/// A reading as its line: each key always there, `null` where the frame does not say; `channels` and `code` only
/// where the frame has them, `parity` only where a parity bit was stripped.
fn reading(family: &str, stripped: Option<Parity>, frame: &Frame) -> Value {
    let mut line = Map::new();
    line.insert("family".to_owned(), json!(family));
    line.insert("value".to_owned(), json!(frame.value.as_ref().map(|value| value.as_str())));
    line.insert("unit".to_owned(), json!(frame.unit.map(UnitCode::as_str)));
    line.insert("stable".to_owned(), json!(frame.stable));
    line.insert("overload".to_owned(), json!(frame.overload));
    line.insert("net_gross".to_owned(), json!(frame.net_gross.and_then(NetGross::as_str)));
    if !frame.channels.is_empty() {
        let channels = frame.channels.iter().map(|(name, number)| (name.to_owned(), json!(number.as_str())));
        line.insert("channels".to_owned(), Value::Object(channels.collect()));
    }
    if let Some(code) = &frame.code {
        line.insert("code".to_owned(), code_line(code));
    }
    if let Some(parity) = stripped {
        line.insert("parity".to_owned(), json!(if parity == Parity::Odd { "odd" } else { "even" }));
    }
    line.insert("at_byte".to_owned(), json!(frame.at_byte));
    Value::Object(line)
}

fn code_line(code: &Code) -> Value {
    let mut line = Map::new();
    let symbology = (!code.symbology.is_empty()).then_some(&code.symbology);
    line.insert("symbology".to_owned(), json!(symbology));
    for (identifier, content) in &code.identifiers {
        line.insert(identifier.clone(), json!(content));
    }
    if let Some(text) = &code.text {
        line.insert("text".to_owned(), json!(text));
    }
    Value::Object(line)
}
