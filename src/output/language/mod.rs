//! Every text of pages and terminal by its key, and the daemon's sentences in other languages: one file of messages a language.
//!
//! What the daemon says in whole sentences (advice, reasons, which the journal keeps as they were said) is English and is rendered
//! by the patterns of the file: here where the daemon makes a page or the terminal draws, by `sentences.js` on the live bench view.
//! Deliberately absent: any word outside the files of messages.

mod sentences;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use sentences::Sentences;

/// Families of keys that no script asks for: they need not be sent to one.
const OF_TEMPLATES: [&str; 18] = [
    "setup.",
    "drawers.",
    "orders.",
    "records.",
    "set.",
    "page.",
    "noscript.",
    "instruments.",
    "shared.",
    "guided.",
    "record.",
    "reading.",
    "history.",
    "stock.",
    "studies.",
    "plan.",
    "landed.",
    "sleeve.",
];
/// The family of keys that only the terminal asks for.
const OF_TERMINAL: &str = "watch.";

/// A language that pages and terminal speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Language {
    /// English, in which the daemon itself speaks.
    English,
    /// German.
    German,
}

/// A file of messages.
#[derive(Debug, Clone, Deserialize, Serialize)]
struct Messages {
    /// What the language calls itself.
    language: String,
    /// Every text by its key.
    words: BTreeMap<String, String>,
    /// Patterns of what the daemon says, with what they are in this language; the first that fits is taken. None in English.
    sentences: serde_json::Map<String, serde_json::Value>,
}

/// A file as it was read, and what of it scripts need.
struct Loaded {
    messages: Messages,
    for_scripts: String,
    sentences: Sentences,
    /// Keys of codes by their English words.
    codes: BTreeMap<String, String>,
}

impl Loaded {
    #[expect(clippy::expect_used, reason = "the files are part of the program, and a test reads each")]
    fn new(text: &str) -> Self {
        let messages: Messages = serde_json::from_str(text).expect("a message file is JSON");
        let mut of_scripts = messages.clone();
        let is_carried = |key: &str| !OF_TEMPLATES.iter().chain([&OF_TERMINAL]).any(|family| key.starts_with(family));
        of_scripts.words.retain(|key, _| is_carried(key));
        let for_scripts = serde_json::to_string(&of_scripts).expect("text becomes JSON");
        let pairs = messages.sentences.iter().filter_map(|(english, other)| Some((english.as_str(), other.as_str()?)));
        let sentences = Sentences::new(pairs);
        let codes =
            messages.words.keys().filter_map(|key| Some((key.strip_prefix("code.")?.replace('_', " "), key.clone())));
        let codes = codes.collect();
        Self { messages, for_scripts, sentences, codes }
    }
}

/// A text with what belongs to the places in braces; an unknown place stays as it is.
fn filled<'a>(text: &str, value: impl Fn(&str) -> Option<&'a str>) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, from)) = rest.split_once('{') {
        let Some((place, behind)) = from.split_once('}') else { break };
        shown.push_str(before);
        match value(place) {
            Some(value) => shown.push_str(value),
            None => shown.extend(["{", place, "}"]),
        }
        rest = behind;
    }
    shown + rest
}

static ENGLISH: LazyLock<Loaded> = LazyLock::new(|| Loaded::new(include_str!("../web/messages/en.json")));
static GERMAN: LazyLock<Loaded> = LazyLock::new(|| Loaded::new(include_str!("../web/messages/de.json")));

impl Language {
    /// Every language, the one without a choice first.
    pub const ALL: [Self; 2] = [Self::English, Self::German];

    /// Its tag after BCP 47, as in `lang`.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }

    /// What it calls itself.
    #[must_use]
    pub fn own_name(self) -> &'static str {
        &self.loaded().messages.language
    }

    /// The words of a key; the key itself where there are none, which a test forbids.
    #[must_use]
    pub fn word(self, key: &str) -> &str {
        self.loaded().messages.words.get(key).map_or(key, String::as_str)
    }

    /// The words of a key with values at its places.
    #[must_use]
    pub fn with(self, key: &str, values: &[(&str, &str)]) -> String {
        filled(self.word(key), |place| values.iter().find(|(name, _)| *name == place).map(|(_, value)| *value))
    }

    /// The words of a code of the daemon such as `dry_fit`; the code itself, in words, where it has none.
    #[must_use]
    pub fn code(self, code: &str) -> String {
        let words = self.loaded().messages.words.get(&format!("code.{code}"));
        words.cloned().unwrap_or_else(|| code.replace('_', " "))
    }

    /// What the daemon says, in this language; `None` where nothing is known for it.
    #[must_use]
    pub fn say(self, english: &str) -> Option<String> {
        if self == Self::English {
            return Some(english.to_owned());
        }
        let loaded = self.loaded();
        let word = |english: &str| {
            let code =
                loaded.codes.get(&english.replace('_', " ")).and_then(|key| loaded.messages.words.get(key).cloned());
            code.or_else(|| loaded.messages.sentences.get(english)?.as_str().map(str::to_owned))
        };
        word(english).or_else(|| loaded.sentences.render(english, &word))
    }

    /// The same, in English where nothing is known for it.
    #[must_use]
    pub fn said(self, english: &str) -> String {
        self.say(english).unwrap_or_else(|| english.to_owned())
    }

    /// All messages that scripts ask for, as JSON.
    #[must_use]
    pub fn for_scripts(self) -> &'static str {
        &self.loaded().for_scripts
    }

    /// By a language tag, range or locale such as `de-AT;q=0.8` or `de_AT.UTF-8`.
    #[must_use]
    pub fn by_tag(range: &str) -> Option<Self> {
        let primary = range.trim().split([';', '-', '_', '.']).next().unwrap_or_default();
        Self::ALL.into_iter().find(|language| language.tag().eq_ignore_ascii_case(primary))
    }

    fn loaded(self) -> &'static Loaded {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}
