//! A TOML file read with every mistake found in one go: file, line, key, what was found, what is allowed.

use std::cell::RefCell;
use std::fmt;
use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::measurement::quantity::{Dimension, Target, parse_target, parse_value};

/// One mistake in a file that a person wrote.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// The file as it was named.
    pub file: String,
    /// Line from 1.
    pub line: usize,
    /// The key with its path, empty for the file itself.
    pub key: String,
    /// What stands there, as written.
    pub found: String,
    /// What is wrong and what is allowed.
    pub wanted: String,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: ", self.file, self.line)?;
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        if !self.found.is_empty() {
            write!(f, "found {}, ", self.found)?;
        }
        f.write_str(&self.wanted)
    }
}

/// All mistakes of a file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
pub struct Mistakes(pub Vec<Mistake>);

/// A file being read.
pub struct Document<'a> {
    file: &'a str,
    text: &'a str,
    mistakes: RefCell<Vec<Mistake>>,
}

/// A table of the file, with the keys that were asked for.
pub struct Section<'a> {
    document: &'a Document<'a>,
    path: String,
    line: usize,
    table: &'a DeTable<'a>,
    known: RefCell<Vec<&'static str>>,
}

impl<'a> Document<'a> {
    /// Reads `text` of `file` by `read`; returns its value, or every mistake that was found.
    ///
    /// # Errors
    /// Every mistake, in the order of the lines.
    pub fn read<T>(file: &'a str, text: &'a str, read: impl FnOnce(&Section<'_>) -> Option<T>) -> Result<T, Mistakes> {
        let document = Document { file, text, mistakes: RefCell::default() };
        let (table, errors) = DeTable::parse_recoverable(text);
        for error in errors {
            let at = error.span().map_or(0, |span| span.start);
            document.note(at, "", String::new(), error.message().replace('\n', " "));
        }
        let mut value = None;
        // A file that is no TOML would only bring mistakes that are not there.
        if document.mistakes.borrow().is_empty() {
            let section = Section {
                document: &document,
                path: String::new(),
                line: 1,
                table: table.get_ref(),
                known: RefCell::default(),
            };
            value = read(&section);
            section.finish();
        }
        let mut mistakes = document.mistakes.into_inner();
        // Those of files that this one names come behind its own.
        mistakes.sort_by(|a, b| (a.file != file, &a.file, a.line).cmp(&(b.file != file, &b.file, b.line)));
        match value {
            Some(value) if mistakes.is_empty() => Ok(value),
            _ => Err(Mistakes(mistakes)),
        }
    }

    fn line(&self, at: usize) -> usize {
        1 + self.text.bytes().take(at).filter(|byte| *byte == b'\n').count()
    }

    fn note(&self, at: usize, key: &str, found: String, wanted: String) {
        let line = self.line(at);
        self.note_line(line, key, found, wanted);
    }

    fn note_line(&self, line: usize, key: &str, found: String, wanted: String) {
        self.mistakes.borrow_mut().push(Mistake {
            file: self.file.to_owned(),
            line,
            key: key.to_owned(),
            found,
            wanted,
        });
    }
}

impl<'a> Section<'a> {
    fn key(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn get(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.known.borrow_mut().push(key);
        self.table.get(key)
    }

    fn source(&self, value: &Spanned<DeValue<'_>>) -> String {
        let text = self.document.text.get(value.span()).unwrap_or_default();
        let first = text.lines().next().unwrap_or_default();
        if first.len() < text.len() { format!("{first} …") } else { first.to_owned() }
    }

    /// Notes that the value of `key` will not do.
    pub fn mistake(&self, key: &'static str, wanted: impl Into<String>) {
        match self.table.get(key) {
            Some(value) => {
                self.document.note(value.span().start, &self.key(key), self.source(value), wanted.into());
            }
            None => self.document.note_line(self.line, &self.key(key), "nothing".to_owned(), wanted.into()),
        }
    }

    /// Notes the mistakes of another file, which this one names.
    pub fn add(&self, others: Mistakes) {
        self.document.mistakes.borrow_mut().extend(others.0);
    }

    /// Whether the key stands in the file.
    pub fn has(&self, key: &'static str) -> bool {
        self.get(key).is_some()
    }

    /// A text that may be absent.
    pub fn text(&self, key: &'static str) -> Option<&'a str> {
        match self.get(key)?.get_ref() {
            DeValue::String(text) => Some(text.as_ref()),
            _ => {
                self.mistake(key, "expected a text in quotes");
                None
            }
        }
    }

    /// A text that must be there and not empty.
    pub fn required_text(&self, key: &'static str, example: &str) -> Option<&'a str> {
        if !self.has(key) {
            self.mistake(key, format!("expected a text such as \"{example}\""));
            return None;
        }
        let text = self.text(key)?;
        if text.trim().is_empty() {
            self.mistake(key, format!("expected a text such as \"{example}\""));
            return None;
        }
        Some(text)
    }

    /// One of a closed list.
    pub fn choice<T: Copy>(&self, key: &'static str, allowed: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?;
        let found = allowed.iter().find(|(name, _)| *name == text).map(|(_, value)| *value);
        if found.is_none() {
            let names: Vec<&str> = allowed.iter().map(|(name, _)| *name).collect();
            self.mistake(key, format!("expected one of: {}", names.join(", ")));
        }
        found
    }

    /// A number in a range.
    pub fn number(&self, key: &'static str, range: RangeInclusive<f64>) -> Option<f64> {
        let value = self.get(key)?;
        let number = number_of(value.get_ref()).filter(|number| range.contains(number));
        if number.is_none() {
            self.mistake(key, format!("expected a number from {} to {}", range.start(), range.end()));
        }
        number
    }

    /// Two numbers.
    pub fn pair(&self, key: &'static str, what: &str) -> Option<[f64; 2]> {
        let value = self.get(key)?;
        let numbers: Option<Vec<f64>> = match value.get_ref() {
            DeValue::Array(list) => list.iter().map(|item| number_of(item.get_ref())).collect(),
            _ => None,
        };
        match numbers.as_deref() {
            Some([first, second]) => Some([*first, *second]),
            _ => {
                self.mistake(key, format!("expected two numbers in brackets, {what}"));
                None
            }
        }
    }

    /// Two texts.
    pub fn text_pair(&self, key: &'static str, what: &str) -> Option<[String; 2]> {
        match self.texts(key)?.as_slice() {
            [first, second] => Some([(*first).to_owned(), (*second).to_owned()]),
            _ => {
                self.mistake(key, format!("expected two texts in brackets, {what}"));
                None
            }
        }
    }

    /// A list of texts.
    pub fn texts(&self, key: &'static str) -> Option<Vec<&'a str>> {
        let value = self.get(key)?;
        let texts = match value.get_ref() {
            DeValue::Array(list) => list
                .iter()
                .map(|item| match item.get_ref() {
                    DeValue::String(text) => Some(text.as_ref()),
                    _ => None,
                })
                .collect::<Option<Vec<_>>>(),
            _ => None,
        };
        if texts.is_none() {
            self.mistake(key, "expected a list of texts in brackets");
        }
        texts
    }

    /// `true` or `false`.
    pub fn flag(&self, key: &'static str) -> Option<bool> {
        match self.get(key)?.get_ref() {
            DeValue::Boolean(flag) => Some(*flag),
            _ => {
                self.mistake(key, "expected true or false");
                None
            }
        }
    }

    /// A quantity as text with its unit, in the base unit of its dimension.
    pub fn quantity(&self, key: &'static str, dimension: Dimension) -> Option<f64> {
        self.quantity_as_written(key, dimension).map(|(value, _)| value)
    }

    /// A quantity in the base unit of its dimension, with the text it was written as.
    pub fn quantity_as_written(&self, key: &'static str, dimension: Dimension) -> Option<(f64, &'a str)> {
        let text = self.quantity_text(key)?;
        let value = parse_value(text, dimension).map_err(|error| self.mistake(key, error.to_string())).ok()?;
        Some((value, text))
    }

    /// A target as text, with the text.
    pub fn target(&self, key: &'static str, dimension: Dimension) -> Option<(Target, &'a str)> {
        let text = self.quantity_text(key)?;
        match parse_target(text, dimension) {
            Ok(target) => Some((target, text)),
            Err(error) => {
                self.mistake(key, error.to_string());
                None
            }
        }
    }

    fn quantity_text(&self, key: &'static str) -> Option<&'a str> {
        match self.get(key)?.get_ref() {
            DeValue::String(text) => Some(text.as_ref()),
            _ => {
                self.mistake(key, "a quantity is a text with its unit, for example \"203 g\"");
                None
            }
        }
    }

    /// A table below this one; its unknown keys are mistakes, too.
    pub fn section<T>(&self, key: &'static str, read: impl FnOnce(&Section<'_>) -> T) -> Option<T> {
        let value = self.get(key)?;
        match value.get_ref() {
            DeValue::Table(table) => {
                let section = self.below(self.key(key), value.span().start, table);
                let result = read(&section);
                section.finish();
                Some(result)
            }
            _ => {
                self.mistake(key, format!("expected a table [{}]", self.key(key)));
                None
            }
        }
    }

    /// Every table of a list `[[key]]`.
    pub fn sections<T>(&self, key: &'static str, mut read: impl FnMut(usize, &Section<'_>) -> Option<T>) -> Vec<T> {
        let Some(value) = self.get(key) else { return Vec::new() };
        let DeValue::Array(list) = value.get_ref() else {
            self.mistake(key, format!("expected tables [[{}]]", self.key(key)));
            return Vec::new();
        };
        let mut results = Vec::new();
        for (index, item) in list.iter().enumerate() {
            if let DeValue::Table(table) = item.get_ref() {
                let path = format!("{}[{}]", self.key(key), index + 1);
                let section = self.below(path, item.span().start, table);
                results.extend(read(index, &section));
                section.finish();
            } else {
                self.mistake(key, format!("expected tables [[{}]]", self.key(key)));
            }
        }
        results
    }

    fn below<'b>(&'b self, path: String, at: usize, table: &'b DeTable<'b>) -> Section<'b> {
        Section { document: self.document, path, line: self.document.line(at), table, known: RefCell::default() }
    }

    fn finish(&self) {
        let mut known = self.known.borrow().clone();
        known.sort_unstable();
        known.dedup();
        for (key, _) in self.table {
            if !known.contains(&key.get_ref().as_ref()) {
                self.document.note(
                    key.span().start,
                    &self.key(key.get_ref()),
                    String::new(),
                    format!("is not a key here; known keys: {}", known.join(", ")),
                );
            }
        }
    }
}

fn number_of(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Float(number) => number.as_str(),
        DeValue::Integer(number) if number.radix() == 10 => number.as_str(),
        _ => return None,
    };
    text.replace('_', "").parse().ok().filter(|number: &f64| number.is_finite())
}
