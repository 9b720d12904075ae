//! A file that a person wrote as a tree of values, each with its line: the same tree from TOML, from JSON and from the
//! rows of a CSV table, so that one reader finds the same mistakes in all of them.
//!
//! In: text. Out: the tree, or what keeps it from being one, with lines. Absent: what the values mean.

use serde::Deserializer as _;
use serde::de::{MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value with its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Node {
    /// Line from 1.
    pub(super) line: usize,
    /// The value as written; the first line of it, if it has several.
    pub(super) source: String,
    /// What it is.
    pub(super) value: Value,
}

/// A value.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// A text.
    Text(String),
    /// A finite number.
    Number(f64),
    /// `true` or `false`.
    Flag(bool),
    /// A date or date and time, as written without quotes.
    Date(String),
    /// A list.
    List(Vec<Node>),
    /// A table.
    Table(Table),
    /// Something that no key takes: `null`, a hexadecimal number, infinity.
    Other,
}

/// A table: keys in the order of the file.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Table {
    /// Key, its line, its value.
    pub(super) entries: Vec<(String, usize, Node)>,
}

impl Table {
    /// The value of a key.
    pub(super) fn get(&self, key: &str) -> Option<&Node> {
        self.entries.iter().find(|(name, _, _)| name == key).map(|(_, _, node)| node)
    }
}

/// What keeps a text from being a tree: line, key, and what is wrong.
pub(super) type Fault = (usize, String, String);

/// Where lines begin in a text.
struct Lines(Vec<usize>);

impl Lines {
    fn of(text: &str) -> Self {
        Self(text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at).collect())
    }

    /// The line, from 1, of a byte.
    fn at(&self, byte: usize) -> usize {
        1 + self.0.partition_point(|end| *end < byte)
    }
}

fn first_line(text: &str) -> String {
    let first = text.lines().next().unwrap_or_default();
    if first.len() < text.len() { format!("{first} …") } else { first.to_owned() }
}

/// Reads TOML.
pub(super) fn from_toml(text: &str) -> Result<Table, Vec<Fault>> {
    let lines = Lines::of(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if errors.is_empty() {
        return Ok(toml_table(text, &lines, table.get_ref()));
    }
    let fault = |error: &toml::de::Error| {
        let at = error.span().map_or(0, |span| span.start);
        (lines.at(at), String::new(), error.message().replace('\n', " "))
    };
    Err(errors.iter().map(fault).collect())
}

fn toml_table(text: &str, lines: &Lines, table: &DeTable<'_>) -> Table {
    let entry = |(key, value): (&Spanned<_>, &Spanned<DeValue<'_>>)| {
        let name: &std::borrow::Cow<'_, str> = key.get_ref();
        (name.as_ref().to_owned(), lines.at(key.span().start), toml_node(text, lines, value))
    };
    Table { entries: table.iter().map(entry).collect() }
}

fn toml_node(text: &str, lines: &Lines, value: &Spanned<DeValue<'_>>) -> Node {
    let finite = |number: &str| number.replace('_', "").parse().ok().filter(|number: &f64| number.is_finite());
    let read = match value.get_ref() {
        DeValue::String(text) => Value::Text(text.as_ref().to_owned()),
        DeValue::Float(number) => finite(number.as_str()).map_or(Value::Other, Value::Number),
        DeValue::Integer(number) if number.radix() == 10 => finite(number.as_str()).map_or(Value::Other, Value::Number),
        DeValue::Integer(_) => Value::Other,
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(date) => Value::Date(date.to_string()),
        DeValue::Array(list) => Value::List(list.iter().map(|item| toml_node(text, lines, item)).collect()),
        DeValue::Table(table) => Value::Table(toml_table(text, lines, table)),
    };
    let source = first_line(text.get(value.span()).unwrap_or_default());
    Node { line: lines.at(value.span().start), source, value: read }
}

/// Reads JSON (RFC 8259). A key that stands twice in an object is a fault: which of them was meant?
pub(super) fn from_json(text: &str) -> Result<Node, Vec<Fault>> {
    // The whole text first: it must be JSON and not nested deeper than the library lets pass, so that what follows can
    // go down into it.
    let whole: Result<serde_json::Value, _> = serde_json::from_str(text);
    let raw: &RawValue = match whole.and_then(|_| serde_json::from_str(text)) {
        Ok(raw) => raw,
        Err(error) => {
            let said = error.to_string();
            // The place stands in front of the line of every mistake already.
            let said = said.split(" at line ").next().unwrap_or(&said);
            return Err(vec![(error.line().max(1), String::new(), format!("is no JSON: {said}"))]);
        }
    };
    let mut reader = JsonReader { text, lines: Lines::of(text), faults: Vec::new() };
    let node = reader.node(raw, "");
    if reader.faults.is_empty() { Ok(node) } else { Err(reader.faults) }
}

struct JsonReader<'a> {
    text: &'a str,
    lines: Lines,
    faults: Vec<Fault>,
}

impl JsonReader<'_> {
    /// A value; `raw` is a part of the text, so where it begins says where the value stands.
    fn node(&mut self, raw: &RawValue, path: &str) -> Node {
        let written = raw.get();
        let line = self.lines.at((written.as_ptr() as usize).saturating_sub(self.text.as_ptr() as usize));
        let value = match written.as_bytes().first() {
            Some(b'{') => Value::Table(self.table(written, path)),
            Some(b'[') => {
                let items = serde_json::Deserializer::from_str(written).deserialize_seq(Items).unwrap_or_default();
                let item = |(at, raw): (usize, &RawValue)| self.node(raw, &format!("{path}[{}]", at + 1));
                Value::List(items.into_iter().enumerate().map(item).collect())
            }
            _ => match serde_json::from_str(written) {
                Ok(serde_json::Value::String(text)) => Value::Text(text),
                Ok(serde_json::Value::Bool(flag)) => Value::Flag(flag),
                Ok(serde_json::Value::Number(number)) => number.as_f64().map_or(Value::Other, Value::Number),
                _ => Value::Other,
            },
        };
        Node { line, source: first_line(written), value }
    }

    fn table(&mut self, written: &str, path: &str) -> Table {
        let entries = serde_json::Deserializer::from_str(written).deserialize_map(Entries).unwrap_or_default();
        let mut table = Table::default();
        for (key, raw) in entries {
            let below = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            let node = self.node(raw, &below);
            if table.get(&key).is_some() {
                self.faults.push((node.line, below, "stands twice, keep one of them".to_owned()));
            } else {
                table.entries.push((key, node.line, node));
            }
        }
        table
    }
}

struct Items;

impl<'de> Visitor<'de> for Items {
    type Value = Vec<&'de RawValue>;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a list")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = list.next_element()? {
            items.push(item);
        }
        Ok(items)
    }
}

struct Entries;

impl<'de> Visitor<'de> for Entries {
    type Value = Vec<(String, &'de RawValue)>;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a table")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut entries = Vec::new();
        while let Some(entry) = map.next_entry()? {
            entries.push(entry);
        }
        Ok(entries)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_gives_the_tree_of_the_same_toml_with_its_own_lines() {
        let toml = from_toml("a = \"x\"\nb = [1, 2.5]\n[c]\nd = true\n").unwrap();
        let json = from_json("{\n\"a\": \"x\",\n\n\"b\": [1,\n 2.5],\n\"c\": {\"d\": true}}").unwrap();
        let Value::Table(json) = json.value else { panic!() };
        let plain = |table: &Table| table.entries.iter().map(|(key, _, _)| key.clone()).collect::<Vec<_>>();
        assert_eq!(plain(&toml), plain(&json));
        assert_eq!(json.get("a").map(|node| (node.line, node.value.clone())), Some((2, Value::Text("x".into()))));
        let Some(Value::List(list)) = json.get("b").map(|node| &node.value) else { panic!() };
        assert_eq!(list.iter().map(|item| item.line).collect::<Vec<_>>(), [4, 5]);
    }

    #[test]
    fn what_is_no_json_says_where() {
        let fault = |text: &str| from_json(text).unwrap_err().remove(0);
        assert_eq!(fault("{\n\"a\": 1,\n}").0, 3);
        assert_eq!(fault("{\"a\": 1,\n\"a\": 2}"), (2, "a".into(), "stands twice, keep one of them".into()));
        assert!(fault(&"[".repeat(100_000)).2.contains("recursion"));
        assert_eq!(fault("").0, 1);
    }
}
