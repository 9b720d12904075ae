//! Message files and what asks for them: no key, place, code or sentence without its other half.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::*;
use crate::club::characteristic::Characteristic;
use crate::work_order::cautions::Caution;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn texts(below: &Path, endings: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(below).unwrap() {
        let path = entry.unwrap().path();
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
        if path.is_dir() {
            found.extend(texts(&path, endings));
        } else if endings.contains(&ending) && !path.to_string_lossy().contains("_tests") {
            found.push(std::fs::read_to_string(&path).unwrap());
        }
    }
    found
}

/// The places in braces of a text.
fn places(text: &str) -> BTreeSet<&str> {
    text.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|(place, _)| place).collect()
}

#[test]
fn every_language_has_the_same_keys_with_the_same_places() {
    let english = &Language::English.loaded().messages;
    for language in Language::ALL {
        let other = &language.loaded().messages;
        let keys = |of: &Messages| of.words.keys().cloned().collect::<BTreeSet<_>>();
        assert_eq!(keys(english), keys(other), "{}", language.tag());
        for (key, words) in &other.words {
            assert!(!words.trim().is_empty(), "{key}");
            assert_eq!(places(words), places(&english.words[key]), "{}: {key}", language.tag());
        }
        for (pattern, words) in &other.sentences {
            assert_eq!(places(pattern), places(words.as_str().unwrap()), "{}: {pattern}", language.tag());
        }
    }
}

/// What languages other than English have in common: one that lacks a sentence would show half of an advice in English.
#[test]
fn every_other_language_has_the_same_sentences() {
    let others = Language::ALL.into_iter().filter(|language| *language != Language::English);
    let sets: BTreeMap<_, BTreeSet<_>> =
        others.map(|language| (language.tag(), language.loaded().messages.sentences.keys().collect())).collect();
    assert!(sets.values().all(|keys| keys.len() > 50 && keys == sets.values().next().unwrap()));
    assert!(Language::English.loaded().messages.sentences.is_empty(), "the daemon says them in English itself");
}

#[test]
fn every_key_that_a_page_asks_for_is_there_and_every_one_there_is_asked_for() {
    let mut sources = texts(&root().join("src/output/web/assets"), &["js"]);
    sources.extend(texts(&root().join("src/output/web/templates"), &["html"]));
    sources.extend(texts(&root().join("src/output/web/pages"), &["rs"]));
    sources.extend(texts(&root().join("src/output/terminal"), &["rs"]));
    let english = &Language::English.loaded().messages.words;
    let all = sources.join("\n");
    let asks = [" t(\"", ".t(\"", "(t(\"", ":t(\"", "with(\"", "rich(\"", "words(\""];
    for rest in asks.into_iter().flat_map(|ask| all.split(ask)) {
        let key = rest.split('"').next().unwrap();
        // A first piece of the split is no key.
        if key.len() < 40 && key.chars().all(|c| c.is_ascii_lowercase() || c == '.' || c == '_') && !key.is_empty() {
            assert!(english.contains_key(key), "no words for {key}");
        }
    }
    for key in english.keys() {
        let stem = |ending: &str| key.strip_suffix(ending).is_some_and(|stem| all.contains(&format!("\"{stem}\"")));
        let family = key.rsplit_once('.').is_some_and(|(family, _)| {
            all.contains(&format!("`{family}.${{")) || all.contains(&format!("\"{family}.{{"))
        });
        let is_asked =
            all.contains(&format!("\"{key}\"")) || stem(".one") || stem(".more") || family || key.starts_with("code.");
        assert!(is_asked, "nobody asks for {key}");
    }
}

#[test]
fn what_a_script_asks_for_is_carried_by_the_page() {
    let scripts = texts(&root().join("src/output/web/assets"), &["js"]).join("\n");
    for family in OF_TEMPLATES {
        assert!(!scripts.contains(&format!("t(\"{family}")) && !scripts.contains(&format!("t(`{family}")), "{family}");
    }
    assert!(
        Language::German.for_scripts().contains("phase.settling")
            && !Language::German.for_scripts().contains("\"setup.")
    );
}

#[test]
fn every_code_of_a_club_has_words() {
    let english = &Language::English.loaded().messages.words;
    for characteristic in Characteristic::all() {
        let words = &english[&format!("code.{}", characteristic.name())];
        assert_eq!(words, characteristic.label(), "the page says the same as the daemon");
    }
    let orders = crate::work_order::order::Stage::ALL.iter().map(|stage| stage.name());
    let steps = crate::work_order::steps::Step::ALL.iter().map(|step| step.name());
    let verdicts = crate::work_order::judging::Verdict::ALL.iter().map(|verdict| verdict.name());
    for code in orders.chain(steps).chain(verdicts) {
        assert!(english.contains_key(&format!("code.{code}")), "{code}");
    }
}

/// The words of a text without numbers, units, places and signs, so that a pattern can be held against what is formatted.
fn bare(text: &str) -> String {
    let mut depth = 0;
    let plain: String = text
        .chars()
        .map(|c| {
            depth += i32::from(c == '{');
            let inside = depth > 0;
            depth -= i32::from(c == '}');
            if inside || !c.is_alphabetic() { ' ' } else { c }
        })
        .collect();
    let words = plain.split_whitespace().filter(|word| !["g", "mm", "deg", "in", "points", "pt", "n"].contains(word));
    words.collect::<Vec<_>>().join(" ")
}

/// Whether somebody says these words, in one text or in up to three that follow each other.
fn is_said(words: &str, said: &BTreeSet<String>, before: u8) -> bool {
    let whole = format!(" {words} ");
    let stands = |text: &String| if before == 0 { text.contains(&whole) } else { text.starts_with(&whole) };
    if words.is_empty() || said.iter().any(stands) {
        return true;
    }
    before < 2
        && words.match_indices(' ').any(|(at, _)| {
            let first = format!(" {} ", &words[..at]);
            let ends = |text: &String| if before == 0 { text.ends_with(&first) } else { *text == first };
            said.iter().any(ends) && is_said(&words[at + 1..], said, before + 1)
        })
}

/// A sentence whose English was changed in the code would silently come in English: its pattern must be changed with it.
#[test]
fn every_sentence_is_said_somewhere_in_the_sources() {
    let mut sources = texts(&root().join("src"), &["rs", "js"]);
    sources.extend(texts(&root().join("config/kits"), &["toml"]));
    sources.extend(texts(&root().join("config/rules"), &["toml"]));
    let mut said = BTreeSet::new();
    for source in &sources {
        // Everything between two quotes is held for a text: what stands between texts does no harm.
        let source = source.replace("\\\"", "'");
        for piece in source.split('"').chain(source.split('`')) {
            said.insert(format!(" {} ", bare(piece)));
            // A sentence made of several texts: each run of words between its places.
            said.extend(
                piece.split('{').map(|run| format!(" {} ", bare(run.split_once('}').map_or(run, |(_, run)| run)))),
            );
        }
    }
    for pattern in Language::German.loaded().messages.sentences.keys() {
        // What stands between two places may come from different texts; each run of words must be somebody's.
        for run in pattern.split('{').map(|piece| piece.split_once('}').map_or(piece, |(_, run)| run)) {
            let wanted = format!(" {} ", bare(run));
            assert!(is_said(wanted.trim(), &said, 0), "nobody says: {pattern}");
        }
    }
}

/// The first that fits is taken, so what takes any text stands behind what does not, and the more a pattern says itself the earlier.
#[test]
fn the_more_special_sentence_comes_first() {
    let is_open = |place: &str| place.starts_with(['t', 's', 'l']);
    let place = |pattern: &String| {
        let says =
            pattern.chars().count() - places(pattern).iter().map(|place| place.chars().count() + 2).sum::<usize>();
        if places(pattern).into_iter().any(is_open) { (1, usize::MAX - says) } else { (0, 0) }
    };
    let patterns: Vec<&String> = Language::German.loaded().messages.sentences.keys().collect();
    for pair in patterns.windows(2) {
        assert!(place(pair[0]) <= place(pair[1]), "{} stands before {}", pair[0], pair[1]);
    }
}

/// The page's script and the daemon render by the same file; `tests/browser/sentences.test.mjs` holds the script to these cases.
#[test]
fn sentences_are_rendered_as_by_the_script() {
    let text = std::fs::read_to_string(root().join("tests/sentences.json")).unwrap();
    let cases: BTreeMap<String, Option<String>> = serde_json::from_str(&text).unwrap();
    assert!(cases.len() > 20);
    for (english, german) in cases {
        assert_eq!(Language::German.say(&english), german, "{english}");
        assert_eq!(Language::English.say(&english).as_deref(), Some(english.as_str()));
    }
}

#[test]
fn a_language_is_found_by_tag_range_and_locale() {
    for (range, tag) in [
        ("de", Some("de")),
        ("de-AT;q=0.8", Some("de")),
        ("de_CH.UTF-8", Some("de")),
        ("EN", Some("en")),
        ("C", None),
        ("den", None),
    ] {
        assert_eq!(Language::by_tag(range).map(Language::tag), tag, "{range}");
    }
}

#[test]
fn every_caution_is_said_in_every_language() {
    for caution in Caution::ALL {
        assert!(Language::German.loaded().messages.sentences.contains_key(caution.words()), "{}", caution.words());
    }
}
