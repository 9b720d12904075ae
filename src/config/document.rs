//! A file read with every mistake found in one go: file, line, key, what was found, what is allowed.

use std::cell::RefCell;
use std::fmt;
use std::ops::RangeInclusive;

use super::node::{Fault, Node, Table, Value, from_toml};
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
    mistakes: RefCell<Vec<Mistake>>,
    /// What is no mistake and should be known all the same.
    remarks: RefCell<Vec<Mistake>>,
}

/// A table of the file, with the keys that were asked for.
pub struct Section<'a> {
    document: &'a Document<'a>,
    path: String,
    line: usize,
    table: &'a Table,
    known: RefCell<Vec<&'static str>>,
}

impl<'a> Document<'a> {
    /// Reads `text` of `file`, which is TOML, by `read`; returns its value, or every mistake that was found.
    ///
    /// # Errors
    /// Every mistake, in the order of the lines.
    pub fn read<T>(file: &'a str, text: &'a str, read: impl FnOnce(&Section<'_>) -> Option<T>) -> Result<T, Mistakes> {
        Self::read_remarked(file, text, read).map(|(value, _)| value)
    }

    /// The same, with what is no mistake and should be known all the same, by its lines.
    ///
    /// # Errors
    /// Every mistake, in the order of the lines.
    pub fn read_remarked<T>(
        file: &'a str,
        text: &'a str,
        read: impl FnOnce(&Section<'_>) -> Option<T>,
    ) -> Result<(T, Vec<Mistake>), Mistakes> {
        match from_toml(text) {
            Ok(table) => Self::read_tables(file, &[(String::new(), 1, table)], Vec::new(), |sections| {
                sections.first().and_then(read)
            }),
            // A file that is no TOML would only bring mistakes that are not there.
            Err(faults) => Self::read_tables(file, &[], faults, |_| None),
        }
    }

    /// Reads tables of `file`, each with its path in messages and its line, after `faults` were found in it.
    pub(super) fn read_tables<T>(
        file: &'a str,
        tables: &[(String, usize, Table)],
        faults: Vec<Fault>,
        read: impl FnOnce(&[Section<'_>]) -> Option<T>,
    ) -> Result<(T, Vec<Mistake>), Mistakes> {
        let document = Document { file, mistakes: RefCell::default(), remarks: RefCell::default() };
        for (line, key, wanted) in faults {
            document.note_line(line, &key, String::new(), wanted);
        }
        let mut sections: Vec<Section<'_>> = Vec::new();
        for (path, line, table) in tables {
            let (path, line) = (path.clone(), *line);
            sections.push(Section { document: &document, path, line, table, known: RefCell::default() });
        }
        let value = read(&sections);
        sections.iter().for_each(Section::finish);
        drop(sections);
        let mut mistakes = document.mistakes.into_inner();
        // Those of files that this one names come behind its own.
        mistakes.sort_by(|a, b| (a.file != file, &a.file, a.line).cmp(&(b.file != file, &b.file, b.line)));
        match value {
            Some(value) if mistakes.is_empty() => {
                let mut remarks = document.remarks.into_inner();
                remarks.sort_by_key(|remark| remark.line);
                Ok((value, remarks))
            }
            _ => Err(Mistakes(mistakes)),
        }
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

    fn get(&self, key: &'static str) -> Option<&'a Node> {
        self.known.borrow_mut().push(key);
        self.table.get(key)
    }

    /// Notes that the value of `key` will not do.
    pub fn mistake(&self, key: &'static str, wanted: impl Into<String>) {
        match self.table.get(key) {
            Some(node) => self.document.note_line(node.line, &self.key(key), node.source.clone(), wanted.into()),
            None => self.document.note_line(self.line, &self.key(key), "nothing".to_owned(), wanted.into()),
        }
    }

    /// Notes something about the value of `key` that is no mistake; without the key, about the table.
    pub fn remark(&self, key: &'static str, words: String) {
        let (line, found) =
            self.table.get(key).map_or((self.line, String::new()), |node| (node.line, node.source.clone()));
        let (file, key) = (self.document.file.to_owned(), self.key(key));
        self.document.remarks.borrow_mut().push(Mistake { file, line, key, found, wanted: words });
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
        match &self.get(key)?.value {
            Value::Text(text) => Some(text),
            _ => {
                self.mistake(key, "expected a text in quotes");
                None
            }
        }
    }

    /// A date, with or without quotes, or another text.
    pub fn date_text(&self, key: &'static str) -> Option<&'a str> {
        match &self.get(key)?.value {
            Value::Date(date) => Some(date),
            _ => self.text(key),
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
        let number = number_of(self.get(key)?).filter(|number| range.contains(number));
        if number.is_none() {
            self.mistake(key, format!("expected a number from {} to {}", range.start(), range.end()));
        }
        number
    }

    /// Two numbers.
    pub fn pair(&self, key: &'static str, what: &str) -> Option<[f64; 2]> {
        let numbers: Option<Vec<f64>> = match &self.get(key)?.value {
            Value::List(list) => list.iter().map(number_of).collect(),
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
        let texts = match &self.get(key)?.value {
            Value::List(list) => list
                .iter()
                .map(|item| match &item.value {
                    Value::Text(text) => Some(text.as_str()),
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
        match &self.get(key)?.value {
            Value::Flag(flag) => Some(*flag),
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

    /// A quantity above nothing.
    pub fn positive(&self, key: &'static str, dimension: Dimension) -> Option<f64> {
        let value = self.quantity(key, dimension)?;
        if value <= 0.0 {
            self.mistake(key, "expected more than nothing");
        }
        (value > 0.0).then_some(value)
    }

    /// A quantity that is not below nothing, such as an uncertainty; `usual` where the key is absent.
    pub fn size_or(&self, key: &'static str, dimension: Dimension, usual: f64) -> Option<f64> {
        if !self.has(key) {
            return Some(usual);
        }
        let value = self.quantity(key, dimension)?;
        if value < 0.0 {
            self.mistake(key, "is a size: write it without a sign");
        }
        (value >= 0.0).then_some(value)
    }

    /// Keys that cannot be judged because of another mistake: they are not unknown.
    pub fn pass_over(&self, keys: &[&'static str]) {
        self.known.borrow_mut().extend(keys);
    }

    /// A text that may be absent, and is not empty.
    pub fn filled_text(&self, key: &'static str, example: &str) -> Option<&'a str> {
        if self.has(key) { self.required_text(key, example) } else { None }
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
        match &self.get(key)?.value {
            Value::Text(text) => Some(text),
            _ => {
                self.mistake(key, "a quantity is a text with its unit, for example \"203 g\"");
                None
            }
        }
    }

    /// A table below this one; its unknown keys are mistakes, too.
    pub fn section<T>(&self, key: &'static str, read: impl FnOnce(&Section<'_>) -> T) -> Option<T> {
        let node = self.get(key)?;
        match &node.value {
            Value::Table(table) => {
                let section = self.below(self.key(key), node.line, table);
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
        let Some(node) = self.get(key) else { return Vec::new() };
        let Value::List(list) = &node.value else {
            self.mistake(key, format!("expected tables [[{}]]", self.key(key)));
            return Vec::new();
        };
        let mut results = Vec::new();
        for (index, item) in list.iter().enumerate() {
            if let Value::Table(table) = &item.value {
                let path = format!("{}[{}]", self.key(key), index + 1);
                let section = self.below(path, item.line, table);
                results.extend(read(index, &section));
                section.finish();
            } else {
                self.mistake(key, format!("expected tables [[{}]]", self.key(key)));
            }
        }
        results
    }

    fn below<'b>(&'b self, path: String, line: usize, table: &'b Table) -> Section<'b> {
        Section { document: self.document, path, line, table, known: RefCell::default() }
    }

    fn finish(&self) {
        let mut known = self.known.borrow().clone();
        known.sort_unstable();
        known.dedup();
        for (key, line, _) in &self.table.entries {
            if !known.contains(&key.as_str()) {
                self.document.note_line(
                    *line,
                    &self.key(key),
                    String::new(),
                    format!("is not a key here; known keys: {}", known.join(", ")),
                );
            }
        }
    }
}

fn number_of(node: &Node) -> Option<f64> {
    match node.value {
        Value::Number(number) => Some(number),
        _ => None,
    }
}
