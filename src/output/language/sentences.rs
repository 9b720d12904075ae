//! What the daemon says in whole English sentences, in another language: the same patterns, found in the same order, as by the page's
//! `sentences.js`; both are held to the cases in `tests/sentences.json`.
//!
//! A sentence that no pattern fits whole has no translation, never half of one. Deliberately absent: any sentence.

use std::sync::OnceLock;

use regex::Regex;

use super::filled;

/// Sentences within sentences go no deeper.
const DEEPEST: u8 = 5;

/// The patterns of one language, the first that fits first.
pub(super) struct Sentences(Vec<Rule>);

struct Rule {
    /// What stands between the places of the English sentence: one more than there are places.
    between: Vec<String>,
    /// The names of the places in their order.
    places: Vec<String>,
    /// The sentence in the other language.
    other: String,
    /// Compiled when a sentence has all that stands between the places.
    shape: OnceLock<Option<Regex>>,
}

/// What fits a place, by the first letter of its name.
fn kind(place: &str) -> &'static str {
    match place.as_bytes().first() {
        Some(b'q') => {
            r"([+−±-]? ?[A-Z]?[0-9][0-9. /]*(?: ?(?:mg|g|oz|mm|in|kg·cm²|g·cm²|cm³|cpm|points?|pt|deg|°C|°|%|s|min|h))?)"
        }
        Some(b'w') => "([^;:]+?)",
        Some(b'm') => r"((?:[0-9]+ × )?[0-9.]+ g(?: \+ (?:[0-9]+ × )?[0-9.]+ g)*)",
        _ => "(.+?)",
    }
}

impl Rule {
    fn new(english: &str, other: &str) -> Self {
        let (mut between, mut places) = (Vec::new(), Vec::new());
        for (at, piece) in english.split('{').enumerate() {
            let (place, text) = if at == 0 {
                (None, piece)
            } else {
                piece.split_once('}').map_or((None, piece), |(place, text)| (Some(place), text))
            };
            places.extend(place.map(str::to_owned));
            between.push(text.to_owned());
        }
        Self { between, places, other: other.to_owned(), shape: OnceLock::new() }
    }

    /// Whether everything between the places stands in the text, in order; most rules end here.
    fn may_fit(&self, text: &str) -> bool {
        let [first, middle @ .., last] = self.between.as_slice() else {
            return self.between.first().is_some_and(|whole| whole == text);
        };
        let Some(mut rest) = text.strip_prefix(first.as_str()).and_then(|rest| rest.strip_suffix(last.as_str())) else {
            return false;
        };
        middle.iter().all(|piece| match rest.split_once(piece.as_str()) {
            Some((_, behind)) => {
                rest = behind;
                true
            }
            None => false,
        })
    }

    /// What stands at the places.
    fn places_of<'a>(&self, text: &'a str) -> Option<Vec<&'a str>> {
        if !self.may_fit(text) {
            return None;
        }
        if self.places.is_empty() {
            return Some(Vec::new());
        }
        let shape = self.shape.get_or_init(|| {
            let mut shape = String::from("^");
            for (at, piece) in self.between.iter().enumerate() {
                shape.push_str(&regex::escape(piece));
                shape.push_str(self.places.get(at).map_or("$", |place| kind(place)));
            }
            Regex::new(&shape).ok()
        });
        let found = shape.as_ref()?.captures(text)?;
        found.iter().skip(1).map(|place| place.map(|place| place.as_str())).collect()
    }
}

impl Sentences {
    /// Of patterns with what they become.
    pub(super) fn new<'a>(patterns: impl Iterator<Item = (&'a str, &'a str)>) -> Self {
        Self(patterns.map(|(english, other)| Rule::new(english, other)).collect())
    }

    /// The sentence in this language; `word` gives the word for an English one.
    pub(super) fn render(&self, text: &str, word: &dyn Fn(&str) -> Option<String>) -> Option<String> {
        self.at_depth(text, word, 0)
    }

    fn at_depth(&self, text: &str, word: &dyn Fn(&str) -> Option<String>, depth: u8) -> Option<String> {
        if depth > DEEPEST {
            return None;
        }
        self.0.iter().find_map(|rule| {
            let found = rule.places_of(text)?;
            let values: Option<Vec<String>> =
                rule.places.iter().zip(found).map(|(place, found)| self.value(place, found, word, depth)).collect();
            let values = values?;
            let of = |name: &str| rule.places.iter().position(|place| place == name).and_then(|at| values.get(at));
            Some(filled(&rule.other, |place| of(place).map(String::as_str)))
        })
    }

    fn value(&self, place: &str, text: &str, word: &dyn Fn(&str) -> Option<String>, depth: u8) -> Option<String> {
        match place.as_bytes().first() {
            Some(b'w') => word(text),
            Some(b's') => self.at_depth(text, word, depth + 1).or_else(|| word(text)),
            Some(b'l') => {
                let parts = listed(text).into_iter();
                let parts: Option<Vec<String>> =
                    parts.map(|part| word(part).or_else(|| self.at_depth(part, word, depth + 1))).collect();
                parts.map(|parts| parts.join(", "))
            }
            Some(b'q') => Some(match text.rsplit_once(' ') {
                Some((number, unit @ ("point" | "points"))) => {
                    format!("{number} {}", word(unit).unwrap_or_else(|| unit.to_owned()))
                }
                _ => text.to_owned(),
            }),
            _ => Some(text.to_owned()),
        }
    }
}

/// The parts of a list; a comma before a number parts nothing.
fn listed(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut from = 0;
    for (at, _) in text.match_indices(", ") {
        if !text[at + 2..].starts_with(|c: char| c.is_ascii_digit()) {
            parts.push(&text[from..at]);
            from = at + 2;
        }
    }
    parts.push(&text[from..]);
    parts
}
