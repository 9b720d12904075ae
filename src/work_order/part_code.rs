//! Codes that makers put on parts, in words: identifiers of a GS1 element string, or an item number of the retail trade.
//!
//! In: a code as the scanner's format gives it, `(01)09506000134352(10)AB`. Out: words, or nothing for another code.

/// Identifiers that stand on parts, and their words (GS1 General Specifications, section 3.2; from memory). Others are
/// shown with their number.
const WORDS: &[(&str, &str)] = &[
    ("00", "shipping unit"),
    ("01", "GTIN"),
    ("02", "GTIN of the content"),
    ("10", "lot"),
    ("11", "made"),
    ("13", "packed"),
    ("15", "best before"),
    ("17", "use by"),
    ("21", "serial"),
    ("240", "maker's number"),
    ("241", "customer's number"),
    ("30", "count"),
    ("37", "count"),
];

/// Lengths of item numbers: GTIN-8, -12, -13 and -14.
const ITEM_NUMBERS: [usize; 4] = [8, 12, 13, 14];

/// What a maker's code says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PartCode {
    /// The code in words.
    pub words: String,
    /// Item number of the trade.
    pub gtin: Option<String>,
    /// Lot.
    pub lot: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
}

/// Reads a code; `None` for one that is not a maker's.
#[must_use]
pub fn read(code: &str) -> Option<PartCode> {
    let code = code.trim();
    if code.bytes().all(|byte| byte.is_ascii_digit()) {
        let read =
            PartCode { words: format!("item number {code}"), gtin: Some(code.to_owned()), ..PartCode::default() };
        return ITEM_NUMBERS.contains(&code.len()).then_some(read);
    }
    let mut rest = code;
    let (mut parts, mut read) = (Vec::new(), PartCode::default());
    while !rest.is_empty() {
        let (identifier, behind) = identifier(rest)?;
        let end = behind.char_indices().map(|(at, _)| at).find(|at| identifier_starts(behind, *at));
        let (content, after) = behind.split_at(end.unwrap_or(behind.len()));
        if content.is_empty() {
            return None;
        }
        let field = match identifier {
            "01" => Some(&mut read.gtin),
            "10" => Some(&mut read.lot),
            "21" => Some(&mut read.serial),
            _ => None,
        };
        if let Some(field) = field {
            *field = Some(content.to_owned());
        }
        parts.push(match WORDS.iter().find(|(known, _)| *known == identifier) {
            Some((_, word)) => format!("{word} {content}"),
            None => format!("({identifier}) {content}"),
        });
        rest = after;
    }
    read.words = parts.join(", ");
    (!parts.is_empty()).then_some(read)
}

/// The identifier in brackets that the text starts with, and what stands behind it.
fn identifier(text: &str) -> Option<(&str, &str)> {
    let (identifier, behind) = text.strip_prefix('(')?.split_once(')')?;
    let fits = (2..=4).contains(&identifier.len()) && identifier.bytes().all(|byte| byte.is_ascii_digit());
    fits.then_some((identifier, behind))
}

/// A bracket may also be part of the content; one around two to four digits is taken for an identifier.
fn identifier_starts(text: &str, at: usize) -> bool {
    text.get(at..).is_some_and(|rest| identifier(rest).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(code: &str, expected: Option<&str>) {
        assert_eq!(read(code).map(|read| read.words).as_deref(), expected, "{code}");
    }

    // The item number 09506000134352 is the one of GS1's own public examples.
    #[test]
    fn part_codes_are_said_in_words_and_other_codes_are_not() {
        check("(01)09506000134352", Some("GTIN 09506000134352"));
        check("(01)09506000134352(10)AB-7(21)12", Some("GTIN 09506000134352, lot AB-7, serial 12"));
        check("(10)A(B)C(17)261231", Some("lot A(B)C, use by 261231"));
        check("(3103)001250", Some("(3103) 001250"));
        check("9506000134352", Some("item number 9506000134352"));
        check("96385074", Some("item number 96385074"));
        for other in ["", "W-1042", "12345", "(01)", "(x)1", "BS1/O/W-1", "(0", "()1", "(10)ä(21"] {
            check(other, (other == "(10)ä(21").then_some("lot ä(21"));
        }
    }
}
