//! Wire formats as data: how the frames of an instrument family are told apart and what stands in them.
//!
//! In: a description in TOML (`config/formats/`, explained in its README) and bytes of a line. Out: [`Frame`]s and
//! refusals. Absent: any Rust for one family alone; the port; the clock. Modules in the order of their use.

mod built_in;
mod check;
mod compile;
mod compile_field;
mod decimal;
mod decoder;
mod error;
mod evaluate;
mod field;
mod file;
mod frame;
mod gs1;
mod keys;
mod layout;
mod meaning;
mod number;
mod refusal;
mod registers;

use std::fmt;

use serde::Deserialize;

pub use decimal::DecimalText;
pub use decoder::Decoder;
pub use error::FormatError;
pub use frame::{Channels, Code, Frame, Item, LONGEST_NAME, MOST_CHANNELS, NetGross, UnitCode};
pub use refusal::Refusal;

use compile::{Compiled, Settings, Source};
use field::ByteClass;
use file::FormatFile;
use layout::Layout;

use crate::instrument::framer::Framing;

/// The parity bit of a serial line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Parity {
    /// No parity bit.
    None,
    /// The number of ones, parity bit included, is odd.
    Odd,
    /// The number of ones, parity bit included, is even.
    Even,
}

/// How a serial line is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct LineSettings {
    /// Bits a second.
    pub baud: u32,
    /// 5 to 8.
    pub data_bits: u8,
    /// Parity bit.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
}

impl LineSettings {
    /// How long one byte takes on the line, in seconds.
    #[must_use]
    pub fn byte_s(&self) -> f64 {
        let parity = u32::from(self.parity != Parity::None);
        let bits = 1 + u32::from(self.data_bits) + parity + u32::from(self.stop_bits);
        f64::from(bits) / f64::from(self.baud.max(1))
    }
}

impl fmt::Display for LineSettings {
    /// As people write it: `9600 7E1`.
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
            Parity::Even => 'E',
        };
        write!(formatter, "{} {}{parity}{}", self.baud, self.data_bits, self.stop_bits)
    }
}

/// When an instrument sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// All the time, by itself.
    Streaming,
    /// When asked.
    Polled,
    /// When a key is pressed on it, or something is scanned.
    OnKey,
}

/// What to send to be told a reading. Where it is present the instrument must be asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// The bytes to send.
    pub bytes: Vec<u8>,
    /// How often to ask, in milliseconds.
    pub every_ms: u32,
    /// How long an answer may take, in milliseconds.
    pub timeout_ms: u32,
    /// A second step that some instruments want before they send.
    pub handshake: Option<Handshake>,
}

/// A second step: when the instrument sends `answer`, it wants `then` before it sends its reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Handshake {
    /// What the instrument sends first.
    pub answer: Vec<u8>,
    /// What it then wants.
    pub then: Vec<u8>,
}

/// One family of wire formats with its settings in force.
#[derive(Debug, Clone)]
pub struct Format {
    /// The family's name: its file's, without the ending.
    pub family: String,
    /// What a frame looks like, in one line.
    pub description: String,
    /// How its line is usually set.
    pub line: LineSettings,
    /// When it sends.
    pub mode: Mode,
    /// How to ask, where it must be asked.
    pub request: Option<Request>,
    file: FormatFile,
    settings: Settings,
    text: String,
    pub(crate) framing: Framing,
    layouts: Vec<Layout>,
    alphabet: ByteClass,
}

impl Format {
    /// The built-in family of that name, its settings at their defaults.
    ///
    /// # Errors
    /// When no family has that name; the error lists those that exist.
    pub fn built_in(family: &str) -> Result<Self, FormatError> {
        match built_in::TEXTS.iter().find(|(name, _)| *name == family) {
            Some((name, text)) => Self::from_toml(text, name),
            None => Err(FormatError::UnknownFamily { found: family.to_owned(), known: Self::families().join(", ") }),
        }
    }

    /// The names of all built-in families, in alphabetical order.
    #[must_use]
    pub fn families() -> Vec<&'static str> {
        built_in::TEXTS.iter().map(|(name, _)| *name).collect()
    }

    /// A family from a description; `name` is the family's name, and stands in messages.
    ///
    /// # Errors
    /// When the text is not TOML or describes no format: the line, the key, what was found, what is allowed.
    pub fn from_toml(text: &str, name: &str) -> Result<Self, FormatError> {
        let source = Source { name, text };
        let file: FormatFile = toml::from_str(text).map_err(|error| FormatError::Syntax {
            name: name.to_owned(),
            line: error.span().map_or(0, |span| source.line(span.start)),
            message: error.message().replace('\n', " "),
        })?;
        let settings = file.settings.iter().map(|(key, setting)| (key.clone(), setting.default.clone())).collect();
        let Compiled { framing, layouts, alphabet, request } = compile::compile(&file, &settings, &source)?;
        let line = file.line.get_ref();
        let (baud, data_bits, parity, stop_bits) = (line.baud, line.data_bits, line.parity, line.stop_bits);
        let line = LineSettings { baud, data_bits, parity, stop_bits };
        Ok(Self {
            family: name.to_owned(),
            description: file.description.clone(),
            line,
            mode: file.mode,
            request,
            file,
            settings,
            text: text.to_owned(),
            framing,
            layouts,
            alphabet,
        })
    }

    /// Sets one of the family's settings, such as `word_order` or `check`.
    ///
    /// # Errors
    /// When the family has no such setting, or the setting does not take that value.
    pub fn set(&mut self, key: &str, value: &str) -> Result<(), FormatError> {
        let Some(setting) = self.file.settings.get(key) else {
            let known = self.file.settings.keys().cloned().collect::<Vec<_>>().join(", ");
            let known = if known.is_empty() { "none".to_owned() } else { known };
            return Err(FormatError::UnknownSetting { family: self.family.clone(), key: key.to_owned(), known });
        };
        if !setting.takes(value) {
            let allowed = setting.choices();
            return Err(FormatError::WrongSetting { key: key.to_owned(), found: value.to_owned(), allowed });
        }
        let mut settings = self.settings.clone();
        settings.insert(key.to_owned(), value.to_owned());
        let source = Source { name: &self.family, text: &self.text };
        let compiled = compile::compile(&self.file, &settings, &source)?;
        self.settings = settings;
        self.framing = compiled.framing;
        self.layouts = compiled.layouts;
        self.alphabet = compiled.alphabet;
        self.request = compiled.request;
        Ok(())
    }

    /// The settings with the value in force and the values allowed; no values where any number of a range is.
    pub fn settings(&self) -> impl Iterator<Item = (&str, &str, &[String])> {
        let settings = self.file.settings.iter();
        settings.map(|(key, setting)| {
            let value = self.settings.get(key).unwrap_or(&setting.default);
            (key.as_str(), value.as_str(), setting.allowed.as_slice())
        })
    }

    /// The description, where it is not a built-in one: what a proof decodes with.
    #[must_use]
    pub fn own_text(&self) -> Option<&str> {
        let built_in = built_in::TEXTS.iter().any(|(name, text)| *name == self.family && *text == self.text);
        (!built_in).then_some(self.text.as_str())
    }

    /// Whether every frame of the family holds a check over its bytes.
    #[must_use]
    pub fn has_check(&self) -> bool {
        let checked = |layout: &Layout| layout.fields.iter().any(|field| matches!(field, field::Field::Check(_)));
        self.layouts.iter().all(checked)
    }

    /// Silence after which a frame that is not whole never will be, in milliseconds: then call [`Decoder::idle`].
    #[must_use]
    pub fn idle_gap_ms(&self) -> u32 {
        self.framing.idle_ms
    }

    /// Whether a frame of the family has a place for a unit.
    #[must_use]
    pub fn names_units(&self) -> bool {
        let mut fields = self.layouts.iter().flat_map(|layout| &layout.fields);
        fields.any(|field| matches!(field, field::Field::Words(words) if words.is_unit))
    }

    /// Whether frames of the family are codes of a scanner and not numbers.
    #[must_use]
    pub fn gives_codes(&self) -> bool {
        let is_code = |field: &field::Field| matches!(field, field::Field::CodeText { .. } | field::Field::Gs1(_));
        self.layouts.iter().any(|layout| layout.fields.iter().any(is_code))
    }

    /// How many settings differ from a default that identification may assume.
    pub(crate) fn off_assumed_default(&self) -> usize {
        let settings = self.file.settings.iter();
        settings.filter(|(key, setting)| setting.assumed && self.settings.get(*key) != Some(&setting.default)).count()
    }

    /// Whether identification may answer with this family: not with one that fits nearly everything.
    pub(crate) fn is_identifiable(&self) -> bool {
        self.file.identify
    }
}
