//! The language of the pages: one file of messages a language, chosen by a cookie of the display, else by what the browser asks for.
//!
//! A page carries the messages of its language, so that its scripts need no second request. What the daemon says in whole sentences
//! (advice, reasons, which the journal keeps as they were said) is English; `sentences.js` renders it by the patterns of the file.
//! Deliberately absent: any word of a page outside the files in `messages/`.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use axum::http::{HeaderMap, header};
use serde::{Deserialize, Serialize};

/// The cookie that keeps a display's choice.
const COOKIE: &str = "bench-language";

/// Families of keys that no script asks for: pages need not carry them.
const OF_TEMPLATES: [&str; 7] = ["setup.", "drawers.", "orders.", "records.", "set.", "page.", "noscript."];

tokio::task_local! {
    /// The language of the request that is being answered.
    static CURRENT: Language;
}

/// A language that the pages speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Language {
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
    /// Every text of the pages by its key.
    words: BTreeMap<String, String>,
    /// Patterns of what the daemon says, with what they are in this language; the first that fits is taken. None in English.
    sentences: serde_json::Map<String, serde_json::Value>,
}

/// A file as it was read, and as it stands in a page.
struct Loaded {
    messages: Messages,
    in_page: String,
}

impl Loaded {
    #[expect(clippy::expect_used, reason = "the files are part of the program, and a test reads each")]
    fn new(text: &str) -> Self {
        let messages: Messages = serde_json::from_str(text).expect("a message file is JSON");
        let mut for_scripts = messages.clone();
        for_scripts.words.retain(|key, _| !OF_TEMPLATES.iter().any(|family| key.starts_with(family)));
        // Inside a script element only this one character could end it.
        let in_page = serde_json::to_string(&for_scripts).expect("text becomes JSON").replace('<', "\\u003c");
        Self { messages, in_page }
    }
}

static ENGLISH: LazyLock<Loaded> = LazyLock::new(|| Loaded::new(include_str!("messages/en.json")));
static GERMAN: LazyLock<Loaded> = LazyLock::new(|| Loaded::new(include_str!("messages/de.json")));

impl Language {
    /// Every language, the one without a choice first.
    pub(super) const ALL: [Self; 2] = [Self::English, Self::German];

    /// Its tag after BCP 47, as in `lang`.
    pub(super) const fn tag(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }

    /// What it calls itself.
    pub(super) fn own_name(self) -> &'static str {
        &self.loaded().messages.language
    }

    /// The words of a key; the key itself where there are none, which a test forbids.
    pub(super) fn word(self, key: &str) -> &str {
        self.loaded().messages.words.get(key).map_or(key, String::as_str)
    }

    /// The words of a code of the daemon such as `dry_fit`; the code itself where it has none.
    pub(super) fn code(self, code: &'static str) -> &'static str {
        self.loaded().messages.words.get(&format!("code.{code}")).map_or(code, String::as_str)
    }

    /// All messages as JSON for a script element.
    pub(super) fn in_page(self) -> &'static str {
        &self.loaded().in_page
    }

    /// The language of the request that is being answered; English outside of one.
    pub(super) fn current() -> Self {
        CURRENT.try_with(|language| *language).unwrap_or(Self::English)
    }

    /// Answers a request in this language.
    pub(super) async fn during<F: Future>(self, answer: F) -> F::Output {
        CURRENT.scope(self, answer).await
    }

    /// What the display chose, else the first language of the browser that is spoken here.
    pub(super) fn of(headers: &HeaderMap) -> Self {
        let text = |name| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
        let chosen = text(header::COOKIE).split(';').filter_map(|pair| pair.trim().split_once('='));
        let chosen = chosen.filter(|(name, _)| *name == COOKIE).find_map(|(_, tag)| Self::by_tag(tag));
        let asked = || text(header::ACCEPT_LANGUAGE).split(',').find_map(Self::by_tag);
        chosen.or_else(asked).unwrap_or(Self::English)
    }

    /// By a language tag or range such as `de-AT;q=0.8`.
    fn by_tag(range: &str) -> Option<Self> {
        let primary = range.trim().split([';', '-']).next().unwrap_or_default();
        Self::ALL.into_iter().find(|language| language.tag().eq_ignore_ascii_case(primary))
    }

    fn loaded(self) -> &'static Loaded {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

#[cfg(test)]
#[path = "language_tests.rs"]
mod tests;
