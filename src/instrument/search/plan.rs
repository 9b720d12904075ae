//! What a search tries, in the order of how usual it is: line settings, and questions.
//!
//! In: the formats. Out: lists. The orders are common practice without a source; a wrong order costs time only.

use std::sync::Arc;

use crate::instrument::format::{Format, Handshake, LineSettings, Parity};

/// The most usual line. A seven-bit line with a parity bit is heard on it as well: the parity stands in bit 7.
pub(crate) const FIRST: LineSettings = line(9600, Parity::None);
/// Speeds in the order of how usual they are on scales and gauges.
const SPEEDS: [u32; 8] = [9600, 2400, 4800, 19_200, 1200, 115_200, 38_400, 57_600];
/// Speeds that are tried when those are not it.
const RARE_SPEEDS: [u32; 2] = [600, 300];
/// How long an answer may begin after its question, in seconds: an instrument measures ten times a second or faster.
const ANSWER_BEGINS_S: f64 = 0.12;
/// The same for the first questions, where the right one is likely to be.
const FIRST_ANSWER_BEGINS_S: f64 = 0.2;
/// The same for instruments that measure only when asked.
const SLOW_ANSWER_BEGINS_S: f64 = 0.4;
/// How long a question that needs silence behind it has it, in bytes: Modbus over serial line 1.02, 2.5.1.1, wants 3.5.
const SILENT_BYTES: usize = 6;
/// Bytes of an answer that may be under way while it is waited for.
const ANSWER_BYTES: f64 = 24.0;

const fn line(baud: u32, parity: Parity) -> LineSettings {
    LineSettings { baud, data_bits: 8, parity, stop_bits: 1 }
}

fn speeds() -> impl Iterator<Item = u32> {
    SPEEDS.into_iter().chain(RARE_SPEEDS)
}

/// Line settings to listen with. Eight bits with a parity bit come last: few instruments have them.
pub(crate) fn places() -> Vec<LineSettings> {
    let parities = [Parity::None, Parity::Even, Parity::Odd];
    parities.iter().flat_map(|parity| speeds().map(|baud| line(baud, *parity))).collect()
}

/// A question on a line.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Question {
    /// How the line must be set.
    pub(crate) line: LineSettings,
    /// What is sent; bit 7 of text may be the parity bit of a seven-bit line.
    pub(crate) bytes: Vec<u8>,
    /// The second step of families that have one.
    pub(crate) handshake: Option<Handshake>,
    /// How long the first answer is waited for.
    pub(crate) first_wait_s: f64,
    /// How long a later answer is waited for.
    pub(crate) timeout_s: f64,
    /// Shortest time between two questions.
    pub(crate) every_s: f64,
    /// The single questions of which this is several at once: which one was answered is asked afterwards.
    pub(crate) parts: Vec<Self>,
    /// It is asked for the second time, because its answer may have been late.
    pub(crate) is_again: bool,
}

/// What one or several families ask.
struct Asked<'a> {
    bytes: &'a [u8],
    handshake: Option<&'a Handshake>,
    lines: Vec<LineSettings>,
    timeout_ms: u32,
    every_ms: u32,
}

/// Whether these bytes only ask: no known command sets, zeroes or tares with them.
///
/// Common practice, no source: letters Z and T begin commands that zero and tare, C calibrates; in Modbus (open
/// standard, application protocol 1.1b3, 6.3 and 6.4) only functions 3 and 4 read registers.
#[must_use]
pub fn is_polite(bytes: &[u8]) -> bool {
    match bytes {
        [_, function, _, _, _, _, _, _] if bytes.iter().any(|byte| *byte >= 0x80) => matches!(function, 3 | 4),
        _ => {
            let first = bytes.iter().find(|byte| !byte.is_ascii_control() && **byte != b' ');
            !first.is_some_and(|letter| b"ZTC".contains(&letter.to_ascii_uppercase()))
        }
    }
}

/// All that the families ask: each on its usual lines first, then there with the parities; then at the other speeds, the
/// text of all families at once.
pub(crate) fn questions(formats: &[Arc<Format>]) -> Vec<Question> {
    let asked = asked(formats);
    let (text, binary): (Vec<_>, Vec<_>) = asked.iter().partition(|one| !is_binary(one.bytes));
    let mut all: Vec<Question> = Vec::new();
    let mut add = |question: Question| {
        if !all.iter().any(|other| other.line == question.line && other.bytes == question.bytes) {
            all.push(question);
        }
    };
    for one in &asked {
        let begins_s = if is_slow(one) { SLOW_ANSWER_BEGINS_S } else { FIRST_ANSWER_BEGINS_S };
        for usual in &one.lines {
            add(question(one, heard_on(*usual, one), None, begins_s));
        }
    }
    for one in &asked {
        for (usual, parity) in one.lines.iter().flat_map(|usual| [(usual, Parity::Even), (usual, Parity::Odd)]) {
            match is_binary(one.bytes) {
                false => add(question(one, heard_on(*usual, one), Some(parity), ANSWER_BEGINS_S)),
                true => add(question(one, line(usual.baud, Parity::None), None, ANSWER_BEGINS_S)),
            }
        }
    }
    // Elsewhere all at once: which it was is asked when something answers.
    let single = |one: &Asked<'_>, line, seven_bits| question(one, line, seven_bits, ANSWER_BEGINS_S);
    for speeds in [SPEEDS.as_slice(), RARE_SPEEDS.as_slice()] {
        for baud in speeds {
            let line = line(*baud, Parity::None);
            let is_asked_already = asked.iter().any(|one| one.lines.iter().any(|usual| usual.baud == *baud));
            let seven_bits = [None, Some(Parity::Even), Some(Parity::Odd)].into_iter().filter(|_| !is_asked_already);
            let parts = seven_bits.flat_map(|seven_bits| text.iter().map(move |one| single(one, line, seven_bits)));
            let after: Vec<Question> = binary.iter().map(|one| single(one, line, None)).collect();
            at_once(&after, parts.collect()).into_iter().for_each(&mut add);
        }
        // Eight bits with a parity bit: usual for what needs eight bits, rare for text.
        for (parity, baud) in
            [Parity::Even, Parity::Odd].iter().flat_map(|parity| speeds.iter().map(move |baud| (*parity, *baud)))
        {
            let line = line(baud, parity);
            let before: Vec<Question> = binary.iter().map(|one| single(one, line, None)).collect();
            at_once(&before, text.iter().map(|one| single(one, line, None)).collect()).into_iter().for_each(&mut add);
        }
    }
    all
}

/// Questions of text as one, and before it those that need silence behind them, each with a short one. An answer to any of
/// them comes while the last is waited for, so all of them are its parts.
fn at_once(before: &[Question], text: Vec<Question>) -> Vec<Question> {
    let Some(first) = text.first().cloned() else { return before.to_vec() };
    let mut all: Vec<Question> = before
        .iter()
        .map(|one| Question { first_wait_s: transit_s(one.bytes.len() + SILENT_BYTES, one.line), ..one.clone() })
        .collect();
    let begins_s = text.iter().map(|part| part.first_wait_s).fold(0.0, f64::max);
    let bytes: Vec<u8> = text.iter().flat_map(|part| part.bytes.clone()).collect();
    let first_wait_s = begins_s + transit_s(bytes.len() - first.bytes.len(), first.line);
    let handshake = text.iter().find_map(|part| part.handshake.clone());
    let parts = text.into_iter().chain(before.iter().cloned()).collect();
    all.push(Question { bytes, first_wait_s, handshake, parts, ..first });
    all
}

/// The different questions of the families, those of most families first; the slowest to answer last.
fn asked(formats: &[Arc<Format>]) -> Vec<Asked<'_>> {
    let mut all: Vec<(usize, Asked<'_>)> = Vec::new();
    for format in formats {
        let Some(request) = format.request.as_ref().filter(|request| is_polite(&request.bytes)) else { continue };
        match all.iter_mut().find(|(_, one)| one.bytes == request.bytes) {
            Some((families, one)) => {
                *families += 1;
                one.timeout_ms = one.timeout_ms.max(request.timeout_ms);
                one.every_ms = one.every_ms.max(request.every_ms);
                one.handshake = one.handshake.or(request.handshake.as_ref());
                if !one.lines.contains(&format.line) {
                    one.lines.push(format.line);
                }
            }
            None => {
                let (bytes, handshake) = (request.bytes.as_slice(), request.handshake.as_ref());
                let (timeout_ms, every_ms) = (request.timeout_ms, request.every_ms);
                all.push((1, Asked { bytes, handshake, lines: vec![format.line], timeout_ms, every_ms }));
            }
        }
    }
    // Whoever knows `LF W CR` hears it in `W CR` behind another question's line feed, once: so the longer one goes first.
    let texts: Vec<&[u8]> = all.iter().map(|(_, one)| one.bytes).collect();
    let is_end_of_another = |bytes: &[u8]| texts.iter().any(|other| *other != bytes && other.ends_with(bytes));
    all.sort_by_key(|(families, one)| {
        (is_slow(one), is_binary(one.bytes), is_end_of_another(one.bytes), std::cmp::Reverse(*families))
    });
    all.into_iter().map(|(_, one)| one).collect()
}

fn is_slow(one: &Asked<'_>) -> bool {
    one.timeout_ms > 1000
}

/// Text goes over eight bits without parity, its own parity in bit 7; what needs all eight bits goes as it is.
fn heard_on(usual: LineSettings, one: &Asked<'_>) -> LineSettings {
    line(usual.baud, if is_binary(one.bytes) { usual.parity } else { Parity::None })
}

fn is_binary(bytes: &[u8]) -> bool {
    bytes.iter().any(|byte| *byte >= 0x80)
}

fn question(one: &Asked<'_>, line: LineSettings, seven_bits: Option<Parity>, first_wait_s: f64) -> Question {
    let with_parity = |byte: &u8| match seven_bits {
        Some(Parity::Even) if byte.count_ones() % 2 == 1 => byte | 0x80,
        Some(Parity::Odd) if byte.count_ones().is_multiple_of(2) => byte | 0x80,
        _ => *byte,
    };
    let bytes: Vec<u8> =
        if is_binary(one.bytes) { one.bytes.to_vec() } else { one.bytes.iter().map(with_parity).collect() };
    let transit_s = transit_s(bytes.len() + 1, line);
    Question {
        line,
        bytes,
        handshake: one.handshake.cloned(),
        first_wait_s: first_wait_s + transit_s,
        timeout_s: f64::from(one.timeout_ms) / 1000.0 + transit_s + ANSWER_BYTES * 11.0 / f64::from(line.baud),
        every_s: f64::from(one.every_ms) / 1000.0,
        parts: Vec::new(),
        is_again: false,
    }
}

/// How long bytes are under way, in seconds.
#[expect(clippy::cast_precision_loss, reason = "a question has a few bytes")]
fn transit_s(bytes: usize, line: LineSettings) -> f64 {
    bytes as f64 * 11.0 / f64::from(line.baud)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::identify::built_in_variants;

    #[test]
    fn no_question_of_a_built_in_family_can_set_or_zero() {
        for format in built_in_variants() {
            if let Some(request) = &format.request {
                assert!(is_polite(&request.bytes), "{}", format.family);
            }
        }
        for rude in [&b"Z\r\n"[..], b"T\r", b"\x1bt", b" Z", b"C\r", b"\x01\x06\x00\x00\x00\x02\xc4\x0b"] {
            assert!(!is_polite(rude), "{rude:?}");
        }
    }

    #[test]
    fn the_usual_lines_come_first_and_nothing_twice() {
        let questions = questions(built_in_variants());
        let first: Vec<String> =
            questions.iter().take(5).map(|q| format!("{} {}", q.line, q.bytes.escape_ascii())).collect();
        assert!(first.contains(&"9600 8N1 SI\\r\\n".to_owned()), "{first:?}");
        assert!(first.contains(&"9600 8E1 \\x01\\x03\\x00\\x00\\x00\\x02\\xc4\\x0b".to_owned()), "{first:?}");
        assert_eq!(first.last().unwrap(), "9600 8N1 MEAS?\\n");
        for (place, question) in questions.iter().enumerate() {
            let same = |other: &&Question| other.line == question.line && other.bytes == question.bytes;
            assert_eq!(questions.iter().skip(place).filter(same).count(), 1, "{question:?}");
        }
    }

    #[test]
    fn the_parity_of_a_seven_bit_line_stands_in_bit_7_of_the_question() {
        // W is 0x57, five ones; carriage return 0x0D, three.
        let questions = questions(built_in_variants());
        let is = |bytes: &[u8]| questions.iter().any(|question| question.bytes == bytes && question.line == FIRST);
        assert!(is(b"W\r") && is(b"\xd7\x8d"));
    }
}
