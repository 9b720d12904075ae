//! What a search found: the format and the line, or in words why there is no sure answer.
//!
//! In: sittings. Out: a [`Finding`] for the person at the bench.

use std::sync::Arc;

use super::sitting::Sitting;
use crate::instrument::format::{Format, LineSettings};
use crate::instrument::identify::{Candidate, Verdict, strip_parity};

/// The answer of a search.
#[derive(Debug, Clone)]
pub enum Finding {
    /// This format on this line.
    Sure(Box<Found>),
    /// Why there is no sure answer, and what to do.
    NotSure {
        /// In words.
        why: String,
        /// The best that was found, if any frame was.
        best: Option<Box<Found>>,
    },
}

/// A format that explains what came.
#[derive(Debug, Clone)]
pub struct Found {
    /// The format with its settings in force, and the line as found.
    pub format: Arc<Format>,
    /// How well it explains the bytes.
    pub candidate: Candidate,
    /// How the line is set, with the parity that was proved.
    pub line: LineSettings,
    /// The question that was answered; none when the instrument sends by itself.
    pub question: Option<Vec<u8>>,
    /// The bytes that came, without a parity bit that was proved.
    pub bytes: Vec<u8>,
}

/// What all sittings so far have told.
#[derive(Debug, Default)]
pub(crate) struct History {
    /// How many different questions were asked.
    pub(crate) questions: usize,
    heard_bytes: usize,
    longest_wait_s: f64,
    best: Option<Sitting>,
    /// The most readable of what no format explains.
    readable: Option<(LineSettings, String)>,
}

impl History {
    pub(crate) fn has_bytes(&self) -> bool {
        self.heard_bytes > 0
    }

    /// The longest time a first byte was waited for, in seconds.
    pub(crate) fn longest_wait_s(&self) -> f64 {
        self.longest_wait_s
    }

    /// Keeps what is worth keeping.
    pub(crate) fn keep(&mut self, sitting: Sitting) {
        if !sitting.has_bytes() {
            return;
        }
        self.heard_bytes += sitting.bytes().len();
        if sitting.question.is_none() {
            self.longest_wait_s = self.longest_wait_s.max(sitting.wait_s().unwrap_or(0.0));
        }
        if let Some(text) = readable(sitting.bytes())
            && self.readable.as_ref().is_none_or(|(_, other)| other.len() < text.len())
        {
            self.readable = Some((sitting.line, text));
        }
        // Frames with digits missing are no find.
        if sitting.missing_parity().is_some() {
            return;
        }
        let worth = |sitting: &Sitting| {
            let is_sure = matches!(sitting.found.as_ref().map(|found| &found.verdict), Some(Verdict::Sure(_)));
            (is_sure, sitting.best().map_or(0, |best| best.explained_bytes))
        };
        if sitting.best().is_some() && self.best.as_ref().is_none_or(|best| worth(best) < worth(&sitting)) {
            self.best = Some(sitting);
        }
    }

    pub(crate) fn finding(self, formats: &[Arc<Format>]) -> Finding {
        let (heard, questions, readable) = (self.heard_bytes, self.questions, self.readable);
        let verdict = self.best.as_ref().and_then(|best| best.found.as_ref()).map(|found| found.verdict.clone());
        let found = self.best.and_then(|best| found(best, formats)).map(Box::new);
        match (verdict, found) {
            (Some(Verdict::Sure(_)), Some(found)) => Finding::Sure(found),
            (Some(Verdict::NotSure(why)), best @ Some(_)) => Finding::NotSure { why: advise(&why), best },
            _ => Finding::NotSure { why: nothing_found(heard, questions, readable), best: None },
        }
    }
}

fn advise(why: &str) -> String {
    format!("{why}; press its print key a few times more or give it more time (--seconds)")
}

fn nothing_found(heard: usize, questions: usize, readable: Option<(LineSettings, String)>) -> String {
    match (heard, readable) {
        (0, _) => format!(
            "silent: nothing came, and {questions} questions brought no answer; press its print key a few times while \
             this listens, or set it to send by itself; else check power, cable and a crossed pair of wires"
        ),
        (_, Some((line, text))) => format!(
            "{heard} bytes came and no wire format explains them; at {line} they read \"{text}\": describe that format in \
             a TOML file (config/formats/README.md) and try it with `benchscribe decode --format-file`"
        ),
        (_, None) => format!(
            "{heard} bytes came and no wire format explains them at any usual speed: the baud rate is an unusual one, or \
             the ground wire or the levels are wrong"
        ),
    }
}

/// The first line of what reads as text, if nearly all does.
fn readable(bytes: &[u8]) -> Option<String> {
    let is_text = |byte: &u8| (0x20..0x7f).contains(byte) || matches!(byte, b'\r' | b'\n' | b'\t' | 2 | 3);
    let readable = bytes.iter().filter(|byte| is_text(byte)).count();
    if bytes.len() < 8 || readable * 10 < bytes.len() * 9 {
        return None;
    }
    // The first line may be the end of one.
    let lines = bytes.split(|byte| matches!(byte, b'\r' | b'\n'));
    let line = lines.filter(|line| line.len() > 3).take(3).last()?;
    Some(line.escape_ascii().take(60).map(char::from).collect())
}

fn found(sitting: Sitting, formats: &[Arc<Format>]) -> Option<Found> {
    let candidate = sitting.best()?.clone();
    let is_it = |format: &&Arc<Format>| {
        let mut settings = format.settings();
        format.family == candidate.family
            && candidate.settings.iter().all(|(key, value)| settings.any(|(k, v, _)| k == key && v == value))
    };
    let mut format = Format::clone(formats.iter().find(is_it)?);
    let line = candidate.line.unwrap_or(sitting.line);
    format.line = line;
    let bytes = match candidate.stripped {
        Some(parity) => strip_parity(sitting.bytes(), parity),
        None => sitting.bytes().to_vec(),
    };
    Some(Found { format: Arc::new(format), line, question: sitting.question, bytes, candidate })
}
