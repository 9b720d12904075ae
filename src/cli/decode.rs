//! `decode`: bytes of a line in, one line of JSON for each reading and each refusal out.
//!
//! In: a file, standard input, or the bytes of one instrument of a recorded session. Out: the lines on standard
//! output; everything else, with the refusals counted by reason, on standard error. Absent: any decision about the bytes, which is the format's and, for `auto`, identification's.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, Result, anyhow};
use serde_json::{Map, Value, json};

use super::print;
use super::replay_session::Session;
use crate::bench::recorded::Line;
use crate::instrument::format::{Code, Decoder, Format, Frame, Item, NetGross, Parity, UnitCode};
use crate::instrument::identify::{Observation, Verdict, identify, strip_parity};

/// Most bytes that identification looks at; the rest is decoded with its answer.
const MOST_BYTES_IDENTIFIED: usize = 64 * 1024;

/// Decode the bytes of an instrument's line to one JSON line a reading.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Family of the wire format, or `auto` to let the bytes decide (five frames or more); a name that ends in `.toml`
    /// is a file, as with `--format-file`.
    #[arg(long, value_name = "FAMILY|auto", required_unless_present_any = ["format_file", "recording"], conflicts_with = "format_file")]
    format: Option<String>,
    /// A wire format of your own, described in TOML; `config/formats/README.md` explains the keys.
    #[arg(long, value_name = "FILE")]
    format_file: Option<PathBuf>,
    /// A setting of the format, such as `word_order=CDAB`; may be given several times.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// A session recorded by `run --record`, instead of a file; without a format, that of its configuration.
    #[arg(long, value_name = "DIR", requires = "instrument", conflicts_with = "file")]
    recording: Option<PathBuf>,
    /// Which instrument of the recording.
    #[arg(long, value_name = "ID", requires = "recording")]
    instrument: Option<String>,
    /// The bytes; standard input without it.
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
}

/// Runs the command. Exit 0 when the bytes were read, refused frames or not, and when `auto` is not sure: its line says
/// which formats it could be; 2 for an unknown family, a wrong setting or an unreadable file.
///
/// # Errors
/// When standard error cannot be written, or nobody reads standard output any more.
pub(crate) fn run(arguments: Arguments) -> Result<ExitCode> {
    match decode(arguments) {
        Ok(code) => Ok(code),
        Err(error) if print::is_reader_gone(&error) => Err(error),
        Err(error) => {
            writeln!(io::stderr(), "{error:#}")?;
            Ok(ExitCode::from(2))
        }
    }
}

fn decode(arguments: Arguments) -> Result<ExitCode> {
    if let (Some(folder), Some(instrument)) = (&arguments.recording, &arguments.instrument) {
        return decode_recording(&arguments, folder, instrument);
    }
    let mut input: Box<dyn Read> = match &arguments.file {
        Some(path) => Box::new(File::open(path).with_context(|| format!("cannot read {}", path.display()))?),
        None => Box::new(io::stdin().lock()),
    };
    let mut output = Lines::new(BufWriter::new(print::Output));
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
    output.sum_up();
    Ok(ExitCode::SUCCESS)
}

/// The bytes of one instrument of a recorded session, with the silences they had.
fn decode_recording(arguments: &Arguments, folder: &Path, instrument: &str) -> Result<ExitCode> {
    let session = Session::open(folder)?;
    let ids: Vec<&str> = session.settings.instruments.iter().map(|settings| settings.id.as_str()).collect();
    let wanted = ids.iter().position(|id| *id == instrument);
    let wanted =
        wanted.ok_or_else(|| anyhow!("the recording has no instrument {instrument}; it has {}", ids.join(", ")))?;
    let runs = session.lines()?.filter_map(|line| {
        let line =
            line.and_then(|line| serde_json::from_str::<Line>(&line).context("a recorded input is not readable"));
        line.map(|line| line.what.bytes().filter(|(i, _)| *i == wanted).map(|(_, raw)| (line.stamp.t, raw.to_vec())))
            .transpose()
    });
    let mut output = Lines::new(BufWriter::new(print::Output));
    if arguments.format.as_deref() == Some("auto") {
        let bytes = runs.map(|run| run.map(|(_, raw)| raw)).collect::<Result<Vec<_>>>()?.concat();
        return decode_auto(arguments, &mut bytes.as_slice(), &mut output);
    }
    let own = session.settings.instruments.get(wanted).map(|settings| settings.format.clone());
    let mut format = match own {
        Some(own) if arguments.format.is_none() && arguments.format_file.is_none() => own,
        _ => chosen_format(arguments)?,
    };
    apply_settings(&mut format, &arguments.set)?;
    let format = Arc::new(format);
    let mut decoder = Decoder::new(Arc::clone(&format));
    let gap_s = f64::from(format.idle_gap_ms().max(1)) / 1000.0;
    let mut heard_s = f64::NEG_INFINITY;
    for run in runs {
        let (t_s, raw) = run?;
        let length = f64::from(u32::try_from(raw.len()).unwrap_or(u32::MAX));
        if t_s - length * format.line.byte_s() - heard_s > gap_s {
            decoder.idle(&mut |item| output.write(&format.family, None, item));
        }
        heard_s = t_s;
        decoder.push(&raw, &mut |item| output.write(&format.family, None, item));
    }
    decoder.finish(&mut |item| output.write(&format.family, None, item));
    output.flush()?;
    output.sum_up();
    Ok(ExitCode::SUCCESS)
}

fn chosen_format(arguments: &Arguments) -> Result<Format> {
    let named = arguments.format.as_deref().unwrap_or_default();
    let file = named.ends_with(".toml").then(|| PathBuf::from(named));
    if let Some(path) = arguments.format_file.as_ref().or(file.as_ref()) {
        let text = std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
        let name = path.file_stem().map_or_else(|| "user".to_owned(), |stem| stem.to_string_lossy().into_owned());
        return Ok(Format::from_toml(&text, &name)?);
    }
    Ok(Format::built_in(named)?)
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
            let could_be: Vec<&str> = found.ranked.iter().map(|candidate| candidate.family.as_str()).collect();
            let refused = format!("not sure of the wire format: {why}");
            output.line(&json!({ "refused": refused, "could_be": could_be, "at_byte": 0 }));
            output.flush()?;
            let named = if could_be.is_empty() { "none of the known ones".to_owned() } else { could_be.join(", ") };
            print::say(&format!("decode: {why}; it could be: {named}; name one with --format"));
            return Ok(ExitCode::SUCCESS);
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
    output.sum_up();
    Ok(ExitCode::SUCCESS)
}

/// Writes lines and keeps the first failure for the end, since a decoder's items cannot fail.
struct Lines<W: Write> {
    writer: W,
    failure: Option<io::Error>,
    frames: u64,
    refused: BTreeMap<&'static str, u64>,
}

impl<W: Write> Lines<W> {
    fn new(writer: W) -> Self {
        Self { writer, failure: None, frames: 0, refused: BTreeMap::new() }
    }

    fn write(&mut self, family: &str, stripped: Option<Parity>, item: Item<'_>) {
        let line = match item {
            Item::Frame(frame, _) => {
                self.frames += 1;
                reading(family, stripped, &frame)
            }
            Item::Refused { reason, at_byte, .. } => {
                *self.refused.entry(reason.label()).or_default() += 1;
                json!({ "refused": reason.to_string(), "at_byte": at_byte })
            }
        };
        self.line(&line);
    }

    fn line(&mut self, line: &Value) {
        if self.failure.is_none() {
            self.failure = writeln!(self.writer, "{line}").err();
        }
    }

    /// Refusals by reason, for a person.
    fn sum_up(&self) {
        if !self.refused.is_empty() {
            let counts: Vec<String> = self.refused.iter().map(|(label, count)| format!("{count} {label}")).collect();
            print::say(&format!("decode: {} frames; runs of bytes refused: {}", self.frames, counts.join(", ")));
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
