//! Equipment rules as a TOML file: text in, a rule book or every mistake out. One edition comes with the program.

use super::document::{Document, Mistakes, Section};
use crate::work_order::order::ClubKind;
use crate::work_order::rules::{Day, Rule, RuleBook, Subject};

/// The edition that comes with the program, under the name it is reported by.
const BUILT_IN: (&str, &str) = ("equipment-2019.toml", include_str!("../../config/rules/equipment-2019.toml"));
/// The most rules of a book; they are shown whole.
const MOST_RULES: usize = 200;

/// The rules that come with the program.
///
/// # Errors
/// Every mistake in them; a test proves that there is none.
pub fn built_in() -> Result<RuleBook, Mistakes> {
    let (name, text) = BUILT_IN;
    read_rules(name, text)
}

/// Reads a rule file.
///
/// # Errors
/// Every mistake of the file.
pub fn read_rules(file: &str, text: &str) -> Result<RuleBook, Mistakes> {
    Document::read(file, text, |top| {
        let edition = top.required_text("edition", "2019, first edition");
        let source = top.required_text("source", "Equipment Rules published by ...");
        let rules = top.sections("rule", |_, section| read_rule(section));
        if rules.is_empty() && !top.has("rule") {
            top.mistake("rule", "expected at least one table [[rule]]");
        }
        if rules.len() > MOST_RULES {
            top.mistake("rule", format!("expected at most {MOST_RULES} rules"));
        }
        let mut names: Vec<&str> = rules.iter().map(|rule| rule.name.as_str()).collect();
        names.sort_unstable();
        if let Some(twice) = names.windows(2).find(|pair| pair.first() == pair.last()) {
            let name = twice.first().copied().unwrap_or_default();
            top.mistake("rule", format!("two rules are called \"{name}\"; each needs its own name"));
        }
        Some(RuleBook { edition: edition?.to_owned(), source: source?.to_owned(), rules })
    })
}

fn read_rule(section: &Section<'_>) -> Option<Rule> {
    let name = section.required_text("name", "longest-club").filter(|name| {
        let fits = name.len() <= 40 && name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if !fits {
            section.mistake("name", "expected at most 40 small letters, digits and '-'");
        }
        fits
    });
    let of = section.required_text("of", "length").and_then(|name| {
        let of = Subject::parse(name);
        if of.is_none() {
            section.mistake("of", "expected a characteristic of the bench, or a key of [club.given] in an order");
        }
        of
    });
    let clubs = if section.has("clubs") { kinds(section, "clubs") } else { Some(ClubKind::ALL.to_vec()) };
    let unclear = if section.has("unclear") { kinds(section, "unclear") } else { Some(Vec::new()) };
    // The unit of the limits is that of the subject; without one they cannot be read, and are not unknown keys either.
    let limit = |key| {
        if section.has(key) { of.and_then(|of| section.quantity(key, of.dimension())).map(Some) } else { Some(None) }
    };
    let (at_least, at_most, tolerance) = (limit("at_least"), limit("at_most"), limit("tolerance"));
    if (at_least, at_most) == (Some(None), Some(None)) {
        section.mistake("at_most", "expected a limit such as \"48 in\", here or as `at_least`");
    }
    if let (Some(Some(least)), Some(Some(most))) = (at_least, at_most)
        && least > most
    {
        section.mistake("at_least", "is more than `at_most`: no club could be within");
    }
    if tolerance.flatten().is_some_and(|tolerance| tolerance < 0.0) {
        section.mistake("tolerance", "write the size of the tolerance without a sign");
    }
    let from = if section.has("from") { day(section, "from").map(Some) } else { Some(None) };
    let flag = |key| if section.has(key) { section.flag(key) } else { Some(false) };
    let (local, if_given) = (flag("local"), flag("if_given"));
    let source = section.required_text("source", "Part 2 1c");
    let note = section.text("note").map(str::to_owned);
    Some(Rule {
        name: name?.to_owned(),
        of: of?,
        clubs: clubs?,
        unclear: unclear?,
        at_least: at_least?,
        at_most: at_most?,
        tolerance: tolerance?.unwrap_or(0.0),
        from: from?,
        local: local?,
        if_given: if_given?,
        source: source?.to_owned(),
        note,
    })
}

fn kinds(section: &Section<'_>, key: &'static str) -> Option<Vec<ClubKind>> {
    let names = section.texts(key)?;
    let kinds: Vec<ClubKind> = names.iter().filter_map(|name| ClubKind::parse(name)).collect();
    if kinds.len() < names.len() || kinds.is_empty() {
        let known: Vec<&str> = ClubKind::ALL.iter().map(|kind| kind.name()).collect();
        section.mistake(key, format!("expected some of: {}", known.join(", ")));
        return None;
    }
    Some(kinds)
}

/// A day such as `2022-01-01`, by its first moment in UTC.
fn day(section: &Section<'_>, key: &'static str) -> Option<Day> {
    let text = section.text(key)?;
    let date: Option<jiff::civil::Date> = text.parse().ok();
    let start = date.and_then(|date| date.to_zoned(jiff::tz::TimeZone::UTC).ok());
    if start.is_none() {
        section.mistake(key, "expected a day such as \"2022-01-01\"");
    }
    Some(Day { text: text.to_owned(), at_us: start?.timestamp().as_microsecond() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edition_that_comes_with_the_program_has_no_mistake() {
        let book = built_in().unwrap_or_else(|mistakes| panic!("{mistakes}"));
        assert!(book.rules.len() > 10 && book.edition.contains("2019"));
        let local: Vec<&Rule> = book.rules.iter().filter(|rule| rule.local).collect();
        // 2022-01-01T00:00:00Z, by hand: 52 years of which 13 leap, 18993 days of 86400 s.
        assert_eq!(local[0].from.as_ref().map(|day| day.at_us), Some(18_993 * 86_400 * 1_000_000));
    }

    #[test]
    fn every_mistake_is_named_in_one_run_with_its_line() {
        let text = r#"source = "x"
[[rule]]
name = "Longest Club"
of = "colour"
at_most = "48 in"
source = "y"
[[rule]]
name = "a"
of = "length"
clubs = ["spoon"]
at_least = "50 in"
at_most = "48 in"
tolerance = "-1 in"
from = "soon"
local = 1
[[rule]]
name = "b"
of = "head_volume"
at_most = "460 g"
source = "y"
[[rule]]
name = "c"
of = "lie"
source = "y"
colour = "red"
"#;
        let mistakes = read_rules("r.toml", text).unwrap_err().to_string();
        for words in [
            "r.toml:1: edition",
            "r.toml:3: rule[1].name",
            "r.toml:4: rule[1].of",
            "r.toml:7: rule[2].source",
            "r.toml:10: rule[2].clubs",
            "r.toml:11: rule[2].at_least",
            "r.toml:13: rule[2].tolerance",
            "r.toml:14: rule[2].from",
            "r.toml:15: rule[2].local",
            "r.toml:19: rule[3].at_most: found \"460 g\", \"460 g\" has the unit",
            "r.toml:21: rule[4].at_most",
            "r.toml:25: rule[4].colour",
        ] {
            assert!(mistakes.contains(words), "{words} not in:\n{mistakes}");
        }
        assert!(
            read_rules("r.toml", "edition = \"e\"\nsource = \"s\"\n").unwrap_err().to_string().contains("[[rule]]")
        );
    }
}
