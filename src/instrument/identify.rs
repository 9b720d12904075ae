//! Says which wire format, and which settings of the line, explain the bytes that an instrument sent.
//!
//! In: bytes, each lot with the line settings it was read with. Out: the formats ranked, a proved parity bit, and a
//! verdict that would rather be unsure than wrong. Absent: ports, asking an instrument, the clock.

use std::sync::{Arc, LazyLock};

use crate::instrument::format::{Decoder, Format, Item, LineSettings, Parity};

/// Fewest whole frames for a sure answer.
pub const LEAST_FRAMES: usize = 5;

/// Smallest share of the bytes that a sure answer explains.
pub const LEAST_EXPLAINED: f64 = 0.98;

/// Fewest bytes to prove a parity bit on: the chance that 40 random bytes all agree is below one in 10^12.
pub const LEAST_PARITY_BYTES: usize = 40;

/// Bytes that were read with one setting of the line.
#[derive(Debug, Clone, Copy)]
pub struct Observation<'a> {
    /// How the line was set; `None` when not known, as for a file.
    pub line: Option<LineSettings>,
    /// What came.
    pub bytes: &'a [u8],
}

/// One format with how well it explains the bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The family.
    pub family: String,
    /// Its settings, all of them.
    pub settings: Vec<(String, String)>,
    /// The true line settings: those read with, corrected by a proved parity. `None` when not known.
    pub line: Option<LineSettings>,
    /// The parity bit that was stripped before the format fitted.
    pub stripped: Option<Parity>,
    /// Whole frames.
    pub frames: usize,
    /// Bytes inside whole frames.
    pub explained_bytes: usize,
    /// Bytes that count: without a frame that was cut at either end of the recording.
    pub total_bytes: usize,
    /// How much of the explained bytes the format pins down, 0 to 8 bits a byte.
    pub bits_per_byte: f64,
    /// Mean length of the numbers in characters: the right order of bytes gives the shorter ones.
    mean_length: f64,
    /// How many settings have another value than the family's default, where the default may be assumed.
    off_assumed: usize,
}

impl Candidate {
    /// Share of the bytes explained, 0 to 1.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a recording has far fewer than 2^52 bytes")]
    pub fn explained(&self) -> f64 {
        if self.total_bytes == 0 { 0.0 } else { self.explained_bytes as f64 / self.total_bytes as f64 }
    }

    /// The format with these settings.
    #[must_use]
    pub fn format(&self) -> Option<Format> {
        let mut format = Format::built_in(&self.family).ok()?;
        for (key, value) in &self.settings {
            format.set(key, value).ok()?;
        }
        Some(format)
    }
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// This one.
    Sure(Candidate),
    /// Why there is no sure answer, in words for the person at the bench.
    NotSure(String),
}

/// All that the bytes told.
#[derive(Debug, Clone, PartialEq)]
pub struct Identification {
    /// Formats with at least one whole frame, the best first.
    pub ranked: Vec<Candidate>,
    /// The answer.
    pub verdict: Verdict,
}

/// The parity bit that shows as bit 7 of the bytes, proved; `None` without proof.
///
/// Proof needs [`LEAST_PARITY_BYTES`] of which at most one in fifty disagrees, some with bit 7 set and some without.
#[must_use]
pub fn detect_parity(bytes: &[u8]) -> Option<Parity> {
    let high = bytes.iter().filter(|byte| **byte >= 0x80).count();
    let odd = bytes.iter().filter(|byte| byte.count_ones() % 2 == 1).count();
    let even = bytes.len() - odd;
    if bytes.len() < LEAST_PARITY_BYTES || high == 0 || high == bytes.len() {
        return None;
    }
    // Text read without a parity bit has few bytes with bit 7; noise alone must not make it a parity.
    let doubt = bytes.len() / 50;
    match (odd, even) {
        _ if high <= doubt => None,
        (_, even) if even <= doubt => Some(Parity::Odd),
        (odd, _) if odd <= doubt => Some(Parity::Even),
        _ => None,
    }
}

/// The bytes without their parity bit. A byte whose parity is wrong keeps bit 7 set, so that no format takes it.
#[must_use]
pub fn strip_parity(bytes: &[u8], parity: Parity) -> Vec<u8> {
    let wanted = match parity {
        Parity::None => return bytes.to_vec(),
        Parity::Odd => 1,
        Parity::Even => 0,
    };
    let strip = |byte: &u8| if byte.count_ones() % 2 == wanted { byte & 0x7f } else { byte | 0x80 };
    bytes.iter().map(strip).collect()
}

/// Ranks all built-in formats over what was read and gives a verdict.
#[must_use]
pub fn identify(observations: &[Observation<'_>]) -> Identification {
    identify_among(built_in_variants(), observations)
}

/// Ranks these formats over what was read and gives a verdict.
#[must_use]
pub fn identify_among(formats: &[Arc<Format>], observations: &[Observation<'_>]) -> Identification {
    let mut ranked: Vec<Candidate> = Vec::new();
    for observation in observations {
        let seven_bits = observation.line.is_some_and(|line| line.data_bits < 8);
        let stripped = if seven_bits { None } else { detect_parity(observation.bytes) };
        let bytes = match stripped {
            Some(parity) => strip_parity(observation.bytes, parity),
            None => observation.bytes.to_vec(),
        };
        let line = observation.line.map(|line| match stripped {
            Some(parity) => LineSettings { data_bits: 7, parity, ..line },
            None => line,
        });
        for format in formats {
            let Some(candidate) = score(format, &bytes, line, stripped) else { continue };
            let same = ranked
                .iter_mut()
                .find(|other| other.family == candidate.family && other.settings == candidate.settings);
            match same {
                Some(other) if other.explained_bytes >= candidate.explained_bytes => {}
                Some(other) => *other = candidate,
                None => ranked.push(candidate),
            }
        }
    }
    ranked.sort_by(|one, other| {
        let by_share = percent(other).cmp(&percent(one));
        by_share
            .then(other.bits_per_byte.total_cmp(&one.bits_per_byte))
            .then(one.off_assumed.cmp(&other.off_assumed))
            .then(one.mean_length.total_cmp(&other.mean_length))
    });
    let bytes = observations.iter().map(|observation| observation.bytes.len()).sum();
    let verdict = judge(&ranked, bytes);
    Identification { ranked, verdict }
}

/// Whole percents explained.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of 0 to 1, times 100")]
fn percent(candidate: &Candidate) -> u32 {
    (candidate.explained() * 100.0).round() as u32
}

/// Each built-in family that can be an answer, with each combination of its settings.
#[must_use]
pub fn built_in_variants() -> &'static [Arc<Format>] {
    /// Compiled once.
    static VARIANTS: LazyLock<Vec<Arc<Format>>> = LazyLock::new(|| {
        let formats = Format::families().into_iter().filter_map(|family| Format::built_in(family).ok());
        formats.filter(Format::is_identifiable).flat_map(variants_of).collect()
    });
    &VARIANTS
}

/// A format with each combination of its settings.
#[must_use]
pub fn variants_of(format: Format) -> Vec<Arc<Format>> {
    let settings: Vec<_> = format.settings().map(|(key, _, allowed)| (key.to_owned(), allowed.to_vec())).collect();
    let mut combined = vec![format];
    // A setting that takes any number stays as it is: no bytes tell it.
    for (key, allowed) in settings.into_iter().filter(|(_, allowed)| !allowed.is_empty()) {
        let set = |format: &Format, value: &String| {
            let mut format = format.clone();
            format.set(&key, value).ok().map(|()| format)
        };
        combined =
            combined.iter().flat_map(|format| allowed.iter().filter_map(move |value| set(format, value))).collect();
    }
    combined.into_iter().map(Arc::new).collect()
}

#[expect(clippy::cast_precision_loss, reason = "counts of bytes and bits of a short recording")]
fn score(
    format: &Arc<Format>,
    bytes: &[u8],
    line: Option<LineSettings>,
    stripped: Option<Parity>,
) -> Option<Candidate> {
    let settings: Vec<_> = format.settings().map(|(key, value, _)| (key.to_owned(), value.to_owned())).collect();
    let off_assumed = format.off_assumed_default();
    let cut = format.framing.longest;
    let family = format.family.clone();
    let mut decoder = Decoder::new(Arc::clone(format));
    let (mut frames, mut explained_bytes, mut first, mut last) = (0_usize, 0_usize, None, 0_usize);
    let (mut numbers, mut length) = (0_usize, 0_usize);
    let mut take = |item: Item<'_>| {
        let Item::Frame(frame, raw) = item else { return };
        let at = usize::try_from(frame.at_byte).unwrap_or(usize::MAX);
        frames += 1;
        explained_bytes += raw.len();
        first.get_or_insert(at);
        last = at.saturating_add(raw.len());
        for number in frame.value.iter().chain(frame.channels.iter().map(|(_, number)| number)) {
            numbers += 1;
            length += number.as_str().len();
        }
    };
    decoder.push(bytes, &mut take);
    decoder.finish(&mut take);
    // A recording begins and ends anywhere, so part of a frame at either end is no fault of the format.
    let first = first?;
    let (lead, trail) = (first.min(cut), bytes.len().saturating_sub(last).min(cut));
    let total_bytes = bytes.len() - lead - trail;
    let bits_per_byte = decoder.pinned_bits() as f64 / explained_bytes.max(1) as f64;
    let mean_length = length as f64 / numbers.max(1) as f64;
    Some(Candidate {
        family,
        settings,
        line,
        stripped,
        frames,
        explained_bytes,
        total_bytes,
        bits_per_byte,
        mean_length,
        off_assumed,
    })
}

fn judge(ranked: &[Candidate], bytes: usize) -> Verdict {
    let Some(best) = ranked.first() else {
        return Verdict::NotSure(if bytes == 0 {
            "no byte came: the instrument may have to be asked, or its print key pressed".to_owned()
        } else {
            format!(
                "{bytes} bytes came and no wire format explains any: the baud rate, the parity or the ground wire may be wrong"
            )
        });
    };
    let found = format!("the best is {}", best.family);
    if best.frames < LEAST_FRAMES {
        return Verdict::NotSure(format!("{found} with {} whole frames; {LEAST_FRAMES} are needed", best.frames));
    }
    if best.explained() < LEAST_EXPLAINED {
        return Verdict::NotSure(format!("{found} and explains only {} % of the bytes", percent(best)));
    }
    match ranked.iter().skip(1).find(|other| !is_clearly_behind(other, best)) {
        None => Verdict::Sure(best.clone()),
        Some(other) if other.family == best.family => {
            let settings = |one: &Candidate| {
                one.settings.iter().map(|(key, value)| format!("{key} {value}")).collect::<Vec<_>>().join(", ")
            };
            Verdict::NotSure(format!(
                "{found}, but {} and {} explain the bytes as well: compare with the display",
                settings(best),
                settings(other)
            ))
        }
        Some(other) => Verdict::NotSure(format!("{found}, but {} explains the bytes as well", other.family)),
    }
}

/// Whether the other is no rival: explains far less, or no more while it pins down less of the bytes.
fn is_clearly_behind(other: &Candidate, best: &Candidate) -> bool {
    if other.explained() < 0.9 * best.explained() {
        return true;
    }
    if other.bits_per_byte < 0.97 * best.bits_per_byte {
        return true;
    }
    // The same family with other settings: the right byte order makes shorter numbers; else the default is assumed
    // where the description allows it.
    other.family == best.family && (other.mean_length > best.mean_length + 1.5 || other.off_assumed > best.off_assumed)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_file(bytes: &[u8]) -> Verdict {
        identify(&[Observation { line: None, bytes }]).verdict
    }

    fn check(frame: &[u8], expected: &str) {
        match of_file(&frame.repeat(8)) {
            Verdict::Sure(candidate) => assert_eq!(candidate.family, expected),
            Verdict::NotSure(why) => panic!("{expected}: {why}"),
        }
    }

    // The odd-parity bytes are those of a public question about a scale read with the wrong parity.
    const ODD: &[u8] = b"\x20\x20\xb0\xae\xb0\xb0\x20\x6b\x67\x20\x0d\x8a";

    #[test]
    fn a_parity_bit_is_proved_and_stripped() {
        assert_eq!(detect_parity(&ODD.repeat(5)), Some(Parity::Odd));
        assert_eq!(detect_parity(ODD), None, "twelve bytes prove nothing");
        assert_eq!(strip_parity(ODD, Parity::Odd), b"  0.00 kg \r\n");
        let even: Vec<u8> = ODD.iter().map(|byte| byte ^ 0x80).collect();
        assert_eq!(detect_parity(&even.repeat(5)), Some(Parity::Even));
        assert_eq!(detect_parity(&b"  0.00 kg \r\n".repeat(5)), None);
        check(ODD, "plain-value-unit");
    }

    #[test]
    fn a_proved_parity_corrects_the_line_settings() {
        let line = LineSettings { baud: 9600, data_bits: 8, parity: Parity::None, stop_bits: 1 };
        let bytes = ODD.repeat(6);
        let found = identify(&[Observation { line: Some(line), bytes: &bytes }]);
        let Verdict::Sure(candidate) = found.verdict else { panic!("not sure") };
        assert_eq!(candidate.line.unwrap().to_string(), "9600 7O1");
        assert_eq!(candidate.stripped, Some(Parity::Odd));
    }

    #[test]
    fn of_two_families_that_fit_the_more_specific_is_named() {
        check(b"      1832.0 g  \r\n", "marker-sign-mass9-unit3");
        check(b"      29.182 g \r\n", "plain-value-unit");
        check(b"+   1255.7 g  \r\n", "sign-value8-unit3-blank-if-moving");
    }

    #[test]
    fn settings_are_found_with_the_family() {
        for (frame, key, value) in [
            (&b"\x01\x03\x04\x41\x45\x70\xa4\xdb\xa1"[..], "word_order", "ABCD"),
            (b"\x022+", "", ""),
            (b"\x02,0! 12345000000\r5", "check", "sum"),
            (b"\x02+    0250     0\r", "check", "none"),
        ] {
            match of_file(&frame.repeat(8)) {
                Verdict::Sure(candidate) => {
                    assert!(candidate.settings.contains(&(key.to_owned(), value.to_owned())), "{candidate:?}")
                }
                Verdict::NotSure(why) => assert_eq!(key, "", "{why}"),
            }
        }
    }

    #[test]
    fn too_little_or_foreign_bytes_are_not_sure() {
        for bytes in [&b""[..], b"ST,+00123.45  g\r\n", &[0x55; 400], &b"hello world\r\n".repeat(20)] {
            assert!(matches!(of_file(bytes), Verdict::NotSure(_)), "{bytes:?}");
        }
        let mut half = b"ST,+00123.45  g\r\n".repeat(6);
        half.extend(b"xyz\r\n".repeat(12));
        half.extend(b"ST,+00123.45  g\r\n".repeat(6));
        assert!(matches!(of_file(&half), Verdict::NotSure(_)));
    }

    #[test]
    fn a_frame_cut_at_either_end_of_the_recording_is_no_fault() {
        let bytes = b"ST,+00123.45  g\r\n".repeat(8);
        let cut = bytes.get(5..bytes.len() - 4).unwrap();
        assert!(matches!(of_file(cut), Verdict::Sure(_)));
    }
}
