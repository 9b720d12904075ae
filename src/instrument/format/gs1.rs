//! GS1 element strings: application identifiers and their content.
//!
//! In: the data of a GS1 code, variable content ended by the separator 0x1D. Out: identifiers and content, or
//! nothing when a length, a character or a check digit is wrong. The table follows the GS1 General
//! Specifications, section 3 (from memory; identifiers added to it later are refused, not guessed).

/// The separator behind content of variable length (FNC1, sent as GS).
const SEPARATOR: u8 = 0x1d;

/// Content of one identifier.
#[derive(Clone, Copy)]
struct Rule {
    least: usize,
    most: usize,
    digits_only: bool,
    /// The length is fixed by the identifier's first two digits, so no separator follows.
    predefined: bool,
}

/// Digits, exactly `length`, and no separator behind them.
const fn predefined(length: usize) -> Rule {
    Rule { least: length, most: length, digits_only: true, predefined: true }
}

/// Digits, ended by a separator or the end.
const fn digits(least: usize, most: usize) -> Rule {
    Rule { least, most, digits_only: true, predefined: false }
}

/// Any character of the set, ended by a separator or the end.
const fn text(least: usize, most: usize) -> Rule {
    Rule { least, most, digits_only: false, predefined: false }
}

/// First and last identifier of a range, with all its digits, and the rule of their content.
const RULES: &[(&str, &str, Rule)] = &[
    ("00", "00", predefined(18)),
    ("01", "03", predefined(14)),
    ("11", "13", predefined(6)),
    ("15", "17", predefined(6)),
    ("20", "20", predefined(2)),
    ("10", "10", text(1, 20)),
    ("21", "22", text(1, 20)),
    ("235", "235", text(1, 28)),
    ("240", "241", text(1, 30)),
    ("242", "242", digits(1, 6)),
    ("243", "243", text(1, 20)),
    ("250", "251", text(1, 30)),
    ("253", "253", text(13, 30)),
    ("254", "254", text(1, 20)),
    ("255", "255", digits(13, 25)),
    ("30", "30", digits(1, 8)),
    ("3100", "3695", predefined(6)),
    ("37", "37", digits(1, 8)),
    ("3900", "3909", digits(1, 15)),
    ("3910", "3919", digits(4, 18)),
    ("3920", "3929", digits(1, 15)),
    ("3930", "3939", digits(4, 18)),
    ("3940", "3943", digits(4, 4)),
    ("3950", "3955", digits(6, 6)),
    ("400", "401", text(1, 30)),
    ("402", "402", digits(17, 17)),
    ("403", "403", text(1, 30)),
    ("410", "417", predefined(13)),
    ("420", "420", text(1, 20)),
    ("421", "421", text(4, 12)),
    ("422", "422", digits(3, 3)),
    ("423", "423", digits(3, 15)),
    ("424", "424", digits(3, 3)),
    ("425", "425", digits(3, 15)),
    ("426", "426", digits(3, 3)),
    ("427", "427", text(1, 3)),
    ("4300", "4302", text(1, 70)),
    ("4308", "4308", text(1, 30)),
    ("7001", "7001", digits(13, 13)),
    ("7002", "7002", text(1, 30)),
    ("7003", "7003", digits(10, 10)),
    ("7004", "7004", digits(1, 4)),
    ("7005", "7005", text(1, 12)),
    ("7006", "7006", digits(6, 6)),
    ("7007", "7007", digits(6, 12)),
    ("7008", "7008", text(1, 3)),
    ("7009", "7009", text(1, 10)),
    ("7010", "7010", text(1, 2)),
    ("7020", "7022", text(1, 20)),
    ("7023", "7023", text(1, 30)),
    ("7030", "7039", text(4, 30)),
    ("7040", "7040", text(4, 4)),
    ("710", "716", text(1, 20)),
    ("7230", "7239", text(3, 30)),
    ("7240", "7240", text(1, 20)),
    ("8001", "8001", digits(14, 14)),
    ("8002", "8002", text(1, 20)),
    ("8003", "8003", text(14, 30)),
    ("8004", "8004", text(1, 30)),
    ("8005", "8005", digits(6, 6)),
    ("8006", "8006", digits(18, 18)),
    ("8007", "8007", text(1, 34)),
    ("8008", "8008", digits(8, 12)),
    ("8009", "8009", text(1, 50)),
    ("8010", "8010", text(1, 30)),
    ("8011", "8011", digits(1, 12)),
    ("8012", "8012", text(1, 20)),
    ("8013", "8013", text(1, 25)),
    ("8017", "8018", digits(18, 18)),
    ("8019", "8019", digits(1, 10)),
    ("8020", "8020", text(1, 25)),
    ("8026", "8026", digits(18, 18)),
    ("8110", "8110", text(1, 70)),
    ("8111", "8111", digits(4, 4)),
    ("8112", "8112", text(1, 70)),
    ("8200", "8200", text(1, 70)),
    ("90", "90", text(1, 30)),
    ("91", "99", text(1, 90)),
];

/// Identifiers whose content ends in a check digit: shipping unit, trade item, contained trade item, and locations.
const CHECKED: &[&str] =
    &["00", "01", "02", "03", "402", "410", "411", "412", "413", "414", "415", "416", "417", "8017", "8018"];

/// Calls `found` with each identifier and its content, in order. `None`, perhaps after some calls, when the data
/// is not a whole GS1 element string.
pub(crate) fn parse<'a>(data: &'a [u8], mut found: impl FnMut(&'a str, &'a str)) -> Option<()> {
    let mut rest = data;
    if rest.is_empty() {
        return None;
    }
    while !rest.is_empty() {
        let (identifier, rule) = identify(rest)?;
        rest = rest.get(identifier.len()..)?;
        let end = rest.iter().position(|byte| *byte == SEPARATOR).unwrap_or(rest.len());
        let length = if rule.predefined { rule.most } else { end };
        let content = rest.get(..length)?;
        if !(rule.least..=rule.most).contains(&length) || !content.iter().all(|byte| fits(*byte, rule)) {
            return None;
        }
        if CHECKED.contains(&identifier) && !check_digit_agrees(content) {
            return None;
        }
        found(identifier, std::str::from_utf8(content).ok()?);
        rest = rest.get(length..)?;
        // A separator behind fixed content is superfluous but allowed; one at the very end is not sent.
        if let Some((&SEPARATOR, after)) = rest.split_first() {
            rest = after;
            if rest.is_empty() {
                return None;
            }
        }
    }
    Some(())
}

/// The identifier the data starts with, two to four digits, and its rule.
fn identify(data: &[u8]) -> Option<(&str, Rule)> {
    RULES.iter().find_map(|(first, last, rule)| {
        let start = data.get(..first.len())?;
        let start = std::str::from_utf8(start).ok()?;
        let within = start.bytes().all(|byte| byte.is_ascii_digit()) && *first <= start && start <= *last;
        within.then_some((start, *rule))
    })
}

/// The 82 characters that GS1 allows in text (subset of ISO/IEC 646), or digits.
fn fits(byte: u8, rule: Rule) -> bool {
    if rule.digits_only {
        return byte.is_ascii_digit();
    }
    byte.is_ascii_alphanumeric() || b"!\"%&'()*+,-./_:;<=>?".contains(&byte)
}

/// The GS1 check digit: from the right, weights 3 and 1 in turn; the whole is a multiple of ten.
pub(crate) fn check_digit_agrees(digits: &[u8]) -> bool {
    let weighted = digits
        .iter()
        .rev()
        .enumerate()
        .map(|(place, digit)| u32::from(digit.wrapping_sub(b'0')) * if place % 2 == 1 { 3 } else { 1 });
    digits.iter().all(u8::is_ascii_digit) && weighted.sum::<u32>() % 10 == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(data: &str, expected: Option<&str>) {
        let mut text = String::new();
        let read = parse(data.as_bytes(), |identifier, content| text += &format!("({identifier}){content}"));
        assert_eq!(read.map(|()| text.as_str()), expected, "{data:?}");
    }

    // The item number 09506000134352 is the one of GS1's own public examples.
    #[test]
    fn fixed_content_needs_no_separator_and_variable_content_does() {
        check("010950600013435221A12", Some("(01)09506000134352(21)A12"));
        check("01095060001343521725123110AB\x1d21A12", Some("(01)09506000134352(17)251231(10)AB(21)A12"));
        check("10AB\x1d0109506000134352", Some("(10)AB(01)09506000134352"));
        check("3103001250", Some("(3103)001250"));
        check("4149506000134352", Some("(414)9506000134352"));
        check("0109506000134352\x1d21A12", Some("(01)09506000134352(21)A12"));
    }

    #[test]
    fn a_wrong_check_digit_or_length_gives_nothing() {
        check("010950600013435321A12", None);
        check("01095060001343", None);
        check("", None);
        check("21", None);
        check("21A12\x1d", None);
        check("21ABCDEFGHIJKLMNOPQRSTU", None);
        check("0510", None);
        check("W-1042", None);
        check("21A#2", None);
    }
}
