//! The table of an instrument in a bench's configuration, as text: drawn up from what it sends, added to a file, or given
//! another port there.
//!
//! In: frames, and the text of a configuration. Out: text; what a person wrote around it stays as it is. Absent: files.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Deserialize;
use toml::Spanned;

use crate::instrument::format::{Decoder, Format, Frame, Item, UnitCode};
use crate::measurement::reading::InstrumentKind;

/// A table drawn up from what an instrument sends.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// What kind of instrument sends such frames.
    pub kind: InstrumentKind,
    /// The lines behind `port`, each with its key.
    lines: Vec<String>,
    /// What a person must fill in before the table is whole.
    pub missing: Option<&'static str>,
}

/// Why a configuration cannot be changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// It is no configuration.
    #[error("the configuration cannot be read ({0}); `benchscribe check` names each mistake")]
    NotReadable(String),
    /// No such instrument.
    #[error("there is no instrument \"{id}\" in the configuration; expected one of: {known}")]
    NoSuchInstrument {
        /// The id asked for.
        id: String,
        /// Those there are.
        known: String,
    },
}

/// Draws up the table of an instrument that sent `bytes` in this format.
#[must_use]
pub fn draft(format: &Format, bytes: &[u8]) -> Draft {
    let mut frames = Vec::new();
    let mut decoder = Decoder::new(Arc::new(format.clone()));
    decoder.push(bytes, &mut |item| {
        if let Item::Frame(frame, _) = item {
            frames.push(frame);
        }
    });
    let settings = format.settings().filter(|(_, _, allowed)| !allowed.is_empty());
    let settings: Vec<String> = settings.map(|(key, value, _)| quoted(&format!("{key}={value}"))).collect();
    let mut lines =
        vec![format!("format = {}", quoted(&format.family)), format!("line = {}", quoted(&format.line.to_string()))];
    if !settings.is_empty() {
        lines.push(format!("format_settings = [{}]", settings.join(", ")));
    }
    let kind = kind_of(&frames);
    let missing = match kind {
        InstrumentKind::Scale => scale(&frames, &mut lines),
        InstrumentKind::Beam => beam(&frames, &mut lines),
        InstrumentKind::Gauge => gauge(&frames, &mut lines),
        InstrumentKind::Thermometer | InstrumentKind::Scanner | InstrumentKind::Pedal => None,
    };
    Draft { kind, lines, missing }
}

impl Draft {
    /// The table under this id on this port.
    #[must_use]
    pub fn text(&self, id: &str, port: &Path) -> String {
        let port = quoted(&port.display().to_string());
        let mut text =
            format!("[[instrument]]\nid = {}\nkind = {}\nport = {port}\n", quoted(id), quoted(self.kind.name()));
        for line in &self.lines {
            text.push_str(line);
            text.push('\n');
        }
        text
    }
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn kind_of(frames: &[Frame]) -> InstrumentKind {
    let has = |unit: UnitCode| frames.iter().any(|frame| frame.unit == Some(unit));
    if frames.iter().any(|frame| frame.code.is_some()) {
        InstrumentKind::Scanner
    } else if has(UnitCode::Count) {
        InstrumentKind::Beam
    } else if has(UnitCode::Celsius) {
        InstrumentKind::Thermometer
    } else if has(UnitCode::Degree) {
        InstrumentKind::Gauge
    } else {
        InstrumentKind::Scale
    }
}

/// The last digit a scale shows, from the numbers it sent: 1, 2 or 5 at the last decimal.
///
/// Divisions are of that form by OIML R 76, 3.2.1. Few numbers prove nothing, so it stays 1 until many agree.
fn scale(frames: &[Frame], lines: &mut Vec<String>) -> Option<&'static str> {
    let numbers: BTreeSet<&str> = frames
        .iter()
        .filter_map(|frame| frame.value.as_ref().map(|value| value.as_str()))
        .filter(|text| !text.contains(['e', 'E']))
        .collect();
    let unit = frames.iter().find_map(|frame| frame.value.and(frame.unit)).unwrap_or(UnitCode::Gram);
    let is_mass =
        matches!(unit, UnitCode::Gram | UnitCode::Kilogram | UnitCode::Ounce | UnitCode::Pound | UnitCode::Grain);
    let decimals = numbers.iter().map(|text| text.split_once('.').map_or(0, |(_, part)| part.len())).max();
    let (Some(decimals), true) = (decimals, is_mass) else {
        lines.push("# resolution = \"0.1 g\"   # the last digit it shows: no mass came to tell it".to_owned());
        return Some("no mass came, so write the last digit the scale shows behind `resolution`");
    };
    let last_digits: BTreeSet<char> = numbers.iter().filter_map(|text| text.chars().last()).collect();
    let all_in = |digits: &str| last_digits.iter().all(|digit| digits.contains(*digit));
    let step = match numbers.len() {
        8.. if all_in("05") => '5',
        8.. if all_in("02468") => '2',
        _ => '1',
    };
    let resolution = match decimals {
        0 => step.to_string(),
        decimals => format!("0.{}{step}", "0".repeat(decimals - 1)),
    };
    lines.push(format!(
        "resolution = \"{resolution} {}\"   # guessed from {} numbers: compare with its plate",
        unit.as_str(),
        numbers.len()
    ));
    None
}

/// The cells are named; their counts say nothing about grams.
fn beam(frames: &[Frame], lines: &mut Vec<String>) -> Option<&'static str> {
    channels(frames, lines);
    lines.push(
        "# [instrument.calibration]   # fill in what `benchscribe calibrate` finds, see config/bench.toml".to_owned(),
    );
    for key in ["zero_counts = [0, 0]", "counts_per_gram = [0.0, 0.0]", "x1 = \"0 mm\"", "x2 = \"0 mm\""] {
        lines.push(format!("# {key}"));
    }
    Some("a beam needs its calibration: zero, counts per gram and the places of its supports")
}

fn gauge(frames: &[Frame], lines: &mut Vec<String>) -> Option<&'static str> {
    channels(frames, lines);
    let places = frames
        .iter()
        .flat_map(|frame| frame.channels.iter().map(|(_, number)| number.as_str().to_owned()).collect::<Vec<_>>());
    let decimals = places.map(|text| text.split_once('.').map_or(0, |(_, part)| part.len())).max().unwrap_or(1);
    let resolution = if decimals == 0 { "1".to_owned() } else { format!("0.{}1", "0".repeat(decimals - 1)) };
    lines.push(format!("resolution = \"{resolution} deg\""));
    None
}

/// The names of the first two channels, which a person has to put into the right order.
fn channels(frames: &[Frame], lines: &mut Vec<String>) {
    let names =
        frames.iter().map(|frame| frame.channels.iter().map(|(name, _)| quoted(name)).take(2).collect::<Vec<_>>());
    if let Some(names) = names.max_by_key(Vec::len).filter(|names| names.len() == 2) {
        lines.push(format!(
            "channels = [{}]   # the first cell, or lie; the second cell, or loft: swap if wrong",
            names.join(", ")
        ));
    }
}

/// An instrument as far as a port needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Occupied {
    /// Its id.
    pub id: String,
    /// Its port.
    pub port: PathBuf,
    /// Where the port stands in the text.
    span: Range<usize>,
}

/// The ports in the text of a configuration, whatever else is wrong with it.
///
/// # Errors
/// When the text is no TOML, or an instrument has no id or port.
pub fn occupied(text: &str) -> Result<Vec<Occupied>, EditError> {
    #[derive(Deserialize)]
    struct Ports {
        #[serde(default)]
        instrument: Vec<Port>,
    }
    #[derive(Deserialize)]
    struct Port {
        id: String,
        port: Spanned<String>,
    }
    let ports: Ports =
        toml::from_str(text).map_err(|error| EditError::NotReadable(error.message().replace('\n', " ")))?;
    let occupied = |Port { id, port }: Port| Occupied { id, span: port.span(), port: PathBuf::from(port.into_inner()) };
    Ok(ports.instrument.into_iter().map(occupied).collect())
}

/// An id for another instrument of this kind: `scale`, `scale-2`.
#[must_use]
pub fn free_id(kind: InstrumentKind, taken: &[String]) -> String {
    let numbered = (2..).map(|number: u32| format!("{}-{number}", kind.name()));
    let mut ids = std::iter::once(kind.name().to_owned()).chain(numbered);
    ids.find(|id| !taken.contains(id)).unwrap_or_default()
}

/// The configuration with a table added at its end.
#[must_use]
pub fn with_table(text: &str, table: &str) -> String {
    let mut all = text.trim_end().to_owned();
    if !all.is_empty() {
        all.push_str("\n\n");
    }
    // Writing into a text cannot fail.
    write!(all, "{table}").ok();
    all
}

/// The configuration with another port for instrument `id`.
///
/// # Errors
/// When the text is no TOML, or has no such instrument.
pub fn with_port(text: &str, id: &str, port: &Path) -> Result<String, EditError> {
    let all = occupied(text)?;
    let Some(found) = all.iter().find(|one| one.id == id) else {
        let known = all.iter().map(|one| one.id.as_str()).collect::<Vec<_>>().join(", ");
        return Err(EditError::NoSuchInstrument { id: id.to_owned(), known });
    };
    let before = text.get(..found.span.start).unwrap_or_default();
    let behind = text.get(found.span.end..).unwrap_or_default();
    Ok(format!("{before}{}{behind}", quoted(&port.display().to_string())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::bench_file::read_bench;

    const HEAD: &str = "site = \"here\"\nbench = \"one\"\n";

    fn drawn(family: &str, bytes: &[u8]) -> Draft {
        draft(&Format::built_in(family).unwrap(), bytes)
    }

    fn check(family: &str, bytes: &[u8], expected: &[&str]) {
        let draft = drawn(family, bytes);
        let table = draft.text("it", Path::new("/dev/ttyX"));
        for line in expected {
            assert!(table.contains(line), "{line:?} in\n{table}");
        }
        let read = read_bench("bench.toml", &with_table(HEAD, &table));
        assert_eq!(read.is_ok(), draft.missing.is_none(), "{read:?}\n{table}");
    }

    #[test]
    fn a_table_is_one_that_the_bench_can_read_or_says_what_is_missing() {
        check(
            "hdr2-sign8-unit3",
            b"ST,+00123.45  g\r\n",
            &["kind = \"scale\"", "line = \"2400 7E1\"", "resolution = \"0.01 g\""],
        );
        check("hdr2-mode2-sign-value-unit", b"ST,GS,+  1.240kg\r\n", &["resolution = \"0.001 kg\""]);
        check("hdr2-sign8-unit3", b"OL,+9999999E+19\r\n", &["# resolution"]);
        check(
            "dual-cell-line",
            b"412345\t-98765\n",
            &["kind = \"beam\"", "channels = [\"1\", \"2\"]", "# zero_counts"],
        );
        let angles = b"$WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*07\r\n";
        check(
            "nmea-xdr",
            angles,
            &["kind = \"gauge\"", "channels = [\"PITCH\", \"ROLL\"]", "resolution = \"0.1 deg\""],
        );
        check("scanner", b"]C1010950600013435221A12\r", &["kind = \"scanner\""]);
        check("modbus-float", b"\x01\x03\x04\x41\x45\x70\xa4\xdb\xa1", &["\"word_order=ABCD\""]);
    }

    #[test]
    fn many_numbers_tell_a_step_of_two_or_five() {
        let line = |hundredths: u32| format!("ST,+00123.{hundredths:02}  g\r\n");
        let stream = |step: u32| (0..9).map(|n| line(n * step)).collect::<String>();
        for (step, expected) in [(1, "0.01 g"), (2, "0.02 g"), (5, "0.05 g")] {
            check("hdr2-sign8-unit3", stream(step).as_bytes(), &[&format!("resolution = \"{expected}\"")]);
        }
    }

    #[test]
    fn a_port_is_changed_in_place_and_nothing_else() {
        let table = |id: &str, port: &str| {
            format!("# the good one\n[[instrument]]\nid = \"{id}\" # name\nport = '{port}' # where\n")
        };
        let text = format!("{HEAD}{}{}", table("a", "/dev/a"), table("b", "/dev/b"));
        let changed = with_port(&text, "b", Path::new("/dev/c")).unwrap();
        assert_eq!(changed, text.replace("'/dev/b'", "\"/dev/c\""));
        let ports: Vec<PathBuf> = occupied(&changed).unwrap().into_iter().map(|one| one.port).collect();
        assert_eq!(ports, [PathBuf::from("/dev/a"), PathBuf::from("/dev/c")]);
        let unknown = with_port(&text, "x", Path::new("/dev/c")).unwrap_err();
        assert_eq!(unknown.to_string(), "there is no instrument \"x\" in the configuration; expected one of: a, b");
        assert!(occupied("id = ").is_err());
    }

    #[test]
    fn ids_are_never_given_twice() {
        let taken = ["scale".to_owned(), "scale-2".to_owned()];
        assert_eq!(free_id(InstrumentKind::Scale, &taken), "scale-3");
        assert_eq!(free_id(InstrumentKind::Beam, &taken), "beam");
    }
}
