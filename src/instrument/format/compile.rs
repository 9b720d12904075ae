//! Turns a description into what the decoder works with, for the settings in force.
//!
//! In: a read file and the values of its settings. Out: framing, layouts and the alphabet of the family, or the
//! line that is wrong and what would be allowed there.

use std::collections::BTreeMap;

use super::FormatError;
use super::compile_field::{byte_text, compile_field};
use super::field::ByteClass;
use super::file::{FormatFile, FramingFile, LayoutFile, LineFile, RequestFile};
use super::keys::Wrong;
use super::layout::Layout;
use super::{Handshake, Request};
use crate::instrument::framer::{FixedWhen, Framing, Limit};

/// Values of settings by name.
pub(crate) type Settings = BTreeMap<String, String>;

/// The working parts of a format.
#[derive(Debug, Clone)]
pub(crate) struct Compiled {
    pub(crate) framing: Framing,
    pub(crate) layouts: Vec<Layout>,
    pub(crate) alphabet: ByteClass,
    pub(crate) request: Option<Request>,
}

/// Where in which file something stands.
pub(crate) struct Source<'a> {
    pub(crate) name: &'a str,
    pub(crate) text: &'a str,
}

impl Source<'_> {
    /// The line of an offset, from 1.
    pub(crate) fn line(&self, offset: usize) -> usize {
        let before = self.text.as_bytes().get(..offset).unwrap_or_default();
        before.iter().filter(|byte| **byte == b'\n').count() + 1
    }

    fn wrong(&self, offset: usize, wrong: Wrong) -> FormatError {
        let Wrong { key, found, allowed } = wrong;
        FormatError::Meaning { name: self.name.to_owned(), line: self.line(offset), key, found, allowed }
    }
}

/// Compiles a whole file.
pub(crate) fn compile(file: &FormatFile, settings: &Settings, source: &Source<'_>) -> Result<Compiled, FormatError> {
    let whole = |wrong| source.wrong(0, wrong);
    check_line(file.line.get_ref()).map_err(|wrong| source.wrong(file.line.span().start, wrong))?;
    check_settings(file).map_err(whole)?;
    let framing = compile_framing(file.framing.get_ref(), settings)
        .map_err(|wrong| source.wrong(file.framing.span().start, wrong))?;
    let mut layouts = Vec::new();
    for layout in &file.layout {
        let LayoutFile { says, when, value_from_channels, fields, .. } = layout.get_ref();
        if let Some(key) = when.keys().find(|key| !settings.contains_key(*key)) {
            let known = settings.keys().cloned().collect::<Vec<_>>().join(", ");
            let wrong = Wrong::new("when", format!("`{key}`"), format!("settings: {known}"));
            return Err(source.wrong(layout.span().start, wrong));
        }
        if !applies(when, settings) {
            continue;
        }
        let fields = fields.iter().map(|field| {
            compile_field(field.get_ref(), settings).map_err(|wrong| source.wrong(field.span().start, wrong))
        });
        let fields = fields.collect::<Result<Vec<_>, _>>()?;
        layouts.push(Layout { fields, says: says.0.clone(), value_from_channels: *value_from_channels });
    }
    if layouts.is_empty() {
        return Err(whole(Wrong::new("layout", "missing for these settings", "at least one [[layout]]")));
    }
    let mut alphabet = ByteClass::default();
    layouts.iter().flat_map(|layout| &layout.fields).for_each(|field| field.add_alphabet(&mut alphabet));
    let request = file.request.as_ref().map(|request| {
        compile_request(request.get_ref(), settings).map_err(|wrong| source.wrong(request.span().start, wrong))
    });
    let request = request.transpose()?;
    Ok(Compiled { framing, layouts, alphabet, request })
}

fn applies(when: &BTreeMap<String, String>, settings: &Settings) -> bool {
    when.iter().all(|(key, value)| settings.get(key) == Some(value))
}

fn check_line(line: &LineFile) -> Result<(), Wrong> {
    if !(50..=4_000_000).contains(&line.baud) {
        return Err(Wrong::new("baud", line.baud, "50 to 4000000"));
    }
    if !(5..=8).contains(&line.data_bits) {
        return Err(Wrong::new("data_bits", line.data_bits, "5, 6, 7, 8"));
    }
    if !(1..=2).contains(&line.stop_bits) {
        return Err(Wrong::new("stop_bits", line.stop_bits, "1, 2"));
    }
    Ok(())
}

fn check_settings(file: &FormatFile) -> Result<(), Wrong> {
    for (key, setting) in &file.settings {
        let key = format!("settings.{key}");
        if setting.allowed.is_empty() == setting.numbers.is_none() {
            return Err(Wrong::new(&key, "without values, or with both kinds", "one of `allowed`, `numbers`"));
        }
        if !setting.takes(&setting.default) {
            return Err(Wrong::new(&format!("{key}.default"), format!("`{}`", setting.default), setting.choices()));
        }
    }
    Ok(())
}

fn compile_request(request: &RequestFile, settings: &Settings) -> Result<Request, Wrong> {
    let bytes = match (&request.text, &request.bytes, &request.registers) {
        (Some(text), None, None) => byte_text("text", text)?,
        (None, Some(bytes), None) => bytes.0.clone(),
        (None, None, Some(registers)) => registers.question(settings)?,
        _ => return Err(Wrong::new("request", "with none or several", "one of `text`, `bytes`, `registers`")),
    };
    let handshake = match (&request.answer, &request.then) {
        (Some(answer), Some(then)) => Some(Handshake { answer: answer.0.clone(), then: then.0.clone() }),
        (None, None) => None,
        _ => return Err(Wrong::new("request", "with only one of `answer` and `then`", "both or none")),
    };
    Ok(Request { bytes, every_ms: request.every_ms, timeout_ms: request.timeout_ms, handshake })
}

fn compile_framing(file: &FramingFile, settings: &Settings) -> Result<Framing, Wrong> {
    let mut starts = file.start.iter().map(|start| byte_text("start", start)).collect::<Result<Vec<_>, _>>()?;
    starts.extend(file.start_bytes.iter().map(|bytes| bytes.0.clone()));
    if starts.iter().any(Vec::is_empty) {
        return Err(Wrong::new("start", "empty", "at least one byte"));
    }
    let limit = match (&file.end, file.length, &file.length_at) {
        (Some(end), None, None) => {
            let tail = if applies(&file.tail_when, settings) { file.tail.unwrap_or(0) } else { 0 };
            Limit::End { mark: byte_text("end", end)?, tail: usize::from(tail) }
        }
        (None, Some(length), None) => Limit::Length(length),
        (None, None, Some(at)) => Limit::LengthAt {
            byte: at.byte,
            plus: at.plus,
            or: match &at.or {
                Some(or) if or.bit > 7 => return Err(Wrong::new("bit", or.bit, "0 to 7")),
                Some(or) => Some(FixedWhen { byte: or.byte, mask: 1 << or.bit, length: or.length.max(1) }),
                None => None,
            },
        },
        (None, None, None) => Limit::Silence,
        _ => {
            return Err(Wrong::new(
                "framing",
                "more than one limit",
                "one of `end`, `length`, `length_at`, or none: silence",
            ));
        }
    };
    let shortest = match &limit {
        Limit::End { mark, .. } => mark.len(),
        Limit::Length(length) => *length,
        Limit::LengthAt { plus, .. } => *plus,
        Limit::Silence => 1,
    };
    if shortest == 0 {
        return Err(Wrong::new("framing", "a frame of no bytes", "at least one byte"));
    }
    if !(shortest..=4096).contains(&file.longest) {
        return Err(Wrong::new("longest", file.longest, format!("{shortest} to 4096 bytes")));
    }
    if file.followed_by_start && starts.is_empty() {
        return Err(Wrong::new("followed_by_start", "set without a start mark", "`start` or `start_bytes` with it"));
    }
    Ok(Framing {
        starts,
        limit,
        between: byte_text("between", &file.between)?,
        followed_by_start: file.followed_by_start,
        longest: file.longest,
        idle_ms: file.idle_ms,
    })
}
