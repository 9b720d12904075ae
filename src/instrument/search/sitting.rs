//! What was heard with one setting of the line, and what it promises.
//!
//! In: bytes with their time. Out: a [`Mood`]: whether to stay. Bursts matter: a burst that began after silence is a
//! whole message, and when nothing in it is a frame, the line is set wrongly or the family unknown.

use std::sync::Arc;

use crate::instrument::format::{Format, LineSettings, Parity};
use crate::instrument::identify::{
    Candidate, Identification, LEAST_PARITY_BYTES, Observation, Verdict, identify_among,
};

/// Silence that ends a burst, in seconds; longer on slow lines.
const GAP_S: f64 = 0.03;
/// How long nothing comes before it is looked again, in seconds.
const LOOK_S: f64 = 0.1;
/// Most bytes that are kept: the newest.
const MOST_BYTES: usize = 8192;
/// Bytes without any frame after which no frame will come.
const ENOUGH_BYTES: usize = 160;
/// Silence before a burst that is a whole message, in seconds: longer than an adapter keeps bytes back.
const BEFORE_MESSAGE_S: f64 = 0.05;
/// Fewer bytes in a burst are noise, not a message.
const LEAST_MESSAGE: usize = 6;
/// Bytes that all have an odd, or all an even number of ones, before that means something: the chance is 2 in 2^20.
const LEAST_ONE_SIDED: usize = 20;
/// Frames after which a sure answer needs no more time.
const PLENTY_FRAMES: usize = 8;
/// How long a sure answer on fewer frames must stand, in seconds.
const STANDING_S: f64 = 0.5;
/// Frames after which an unsure answer will not become sure.
const MOST_FRAMES: usize = 40;

/// Whether to stay with these line settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mood {
    /// Nothing came.
    Silent,
    /// Too little came to say.
    Undecided,
    /// Frames come.
    Hopeful,
    /// What comes is no frame of any format.
    Hopeless,
}

/// One setting of the line and what came.
#[derive(Debug)]
pub(crate) struct Sitting {
    pub(crate) line: LineSettings,
    /// What was asked, if it was.
    pub(crate) question: Option<Vec<u8>>,
    pub(crate) found: Option<Identification>,
    since_s: f64,
    first_s: Option<f64>,
    last_s: f64,
    bytes: Vec<u8>,
    /// Bursts that have ended, and those of them that began after silence.
    bursts: usize,
    whole: usize,
    /// The burst that is running: whether it began after silence.
    burst: Option<bool>,
    /// How many bytes `found` has seen.
    evaluated: usize,
    evaluated_s: f64,
    sure_s: Option<f64>,
    /// The beginning of what was already running when the sitting began is no message: not yet dropped.
    is_midway: bool,
    /// Where the answer to the last question begins, while it is not yet known to be no echo of it.
    answer_at: Option<usize>,
}

impl Sitting {
    pub(crate) fn new(line: LineSettings, t_s: f64) -> Self {
        Self {
            line,
            question: None,
            found: None,
            since_s: t_s,
            first_s: None,
            last_s: t_s,
            bytes: Vec::new(),
            bursts: 0,
            whole: 0,
            burst: None,
            evaluated: 0,
            evaluated_s: t_s,
            sure_s: None,
            is_midway: false,
            answer_at: None,
        }
    }

    pub(crate) fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    pub(crate) fn has_bytes(&self) -> bool {
        !self.bytes.is_empty()
    }

    pub(crate) fn bursts(&self) -> usize {
        self.bursts
    }

    /// How long the first byte was waited for, in seconds.
    pub(crate) fn wait_s(&self) -> Option<f64> {
        self.first_s.map(|first_s| first_s - self.since_s)
    }

    /// Takes what came until `t_s`.
    pub(crate) fn take(&mut self, t_s: f64, heard: &[u8]) {
        let silent_s = t_s - self.last_s;
        if silent_s >= self.gap_s()
            && let Some(is_whole) = self.burst.take()
        {
            self.bursts += 1;
            self.whole += usize::from(is_whole);
        }
        if heard.is_empty() {
            return;
        }
        if self.burst.is_none() {
            // The end of what was under way when the line was set has a byte or two that were never sent.
            if self.is_midway {
                self.forget(self.bytes.len());
            }
            let is_whole = silent_s >= BEFORE_MESSAGE_S + self.gap_s();
            self.is_midway = self.first_s.is_none() && !is_whole;
            self.burst = Some(is_whole);
        }
        self.first_s.get_or_insert(t_s);
        self.last_s = t_s;
        self.bytes.extend_from_slice(heard);
        self.drop_echo();
        if self.is_midway && self.bytes.len() > ENOUGH_BYTES / 2 {
            self.forget(ENOUGH_BYTES / 8);
        }
        if self.bytes.len() > MOST_BYTES {
            self.forget(MOST_BYTES / 2);
        }
    }

    /// Drops the oldest bytes.
    fn forget(&mut self, count: usize) {
        self.bytes.drain(..count);
        self.evaluated = self.evaluated.saturating_sub(count);
        self.answer_at = None;
        self.is_midway = false;
    }

    /// Notes that this question goes out now.
    pub(crate) fn asked(&mut self, question: &[u8]) {
        self.question = Some(question.to_vec());
        self.answer_at = Some(self.bytes.len());
    }

    /// Takes the first step of a handshake out of what came last, if it stands there.
    pub(crate) fn take_answer(&mut self, answer: &[u8]) -> bool {
        let is_there = !answer.is_empty() && self.bytes.ends_with(answer);
        if is_there {
            self.bytes.truncate(self.bytes.len() - answer.len());
            self.evaluated = self.evaluated.min(self.bytes.len());
        }
        is_there
    }

    /// An adapter or an instrument may send back what it was sent: that is no answer.
    fn drop_echo(&mut self) {
        let (Some(at), Some(question)) = (self.answer_at, &self.question) else { return };
        let came = self.bytes.get(at..).unwrap_or_default();
        if came.starts_with(question) {
            self.bytes.drain(at..at + question.len());
            self.answer_at = None;
        } else if !question.starts_with(came) {
            self.answer_at = None;
        }
    }

    /// Whether nothing comes just now.
    pub(crate) fn is_quiet(&self, t_s: f64) -> bool {
        t_s - self.last_s >= self.gap_s()
    }

    /// How long nothing has come.
    pub(crate) fn silent_s(&self, t_s: f64) -> f64 {
        t_s - self.last_s
    }

    /// When it is worth to look again, in seconds from `t_s`.
    pub(crate) fn next_look_s(&self, t_s: f64) -> f64 {
        if self.burst.is_some() { (self.last_s + self.gap_s() - t_s).max(0.002) } else { LOOK_S }
    }

    /// How long a line on which bytes come may go without a frame: some forty bytes.
    fn trial_s(&self) -> f64 {
        0.5 + 400.0 / f64::from(self.line.baud.max(1))
    }

    fn gap_s(&self) -> f64 {
        GAP_S.max(40.0 / f64::from(self.line.baud.max(1)))
    }

    /// Whether what came since the last look is worth another.
    pub(crate) fn is_due(&self, t_s: f64) -> bool {
        let fresh = self.bytes.len().saturating_sub(self.evaluated);
        let is_time = t_s - self.evaluated_s > self.trial_s() / 2.0;
        fresh > 0 && (self.is_quiet(t_s) || is_time || fresh >= ENOUGH_BYTES.max(self.evaluated / 4))
    }

    /// Looks at all that came.
    pub(crate) fn evaluate(&mut self, t_s: f64, formats: &[Arc<Format>]) {
        if self.bytes.is_empty() || self.evaluated == self.bytes.len() {
            return;
        }
        self.evaluated = self.bytes.len();
        self.evaluated_s = t_s;
        let found = identify_among(formats, &[Observation { line: Some(self.line), bytes: &self.bytes }]);
        self.sure_s = match found.verdict {
            Verdict::Sure(_) => self.sure_s.or(Some(t_s)),
            Verdict::NotSure(_) => None,
        };
        self.found = Some(found);
    }

    pub(crate) fn best(&self) -> Option<&Candidate> {
        self.found.as_ref()?.ranked.first()
    }

    /// Whether more bytes would not change the answer.
    pub(crate) fn is_settled(&self, t_s: f64) -> bool {
        let frames = self.best().map_or(0, |best| best.frames);
        match self.sure_s {
            _ if self.missing_parity().is_some() => false,
            Some(sure_s) => frames >= PLENTY_FRAMES || t_s - sure_s >= STANDING_S,
            None => frames >= MOST_FRAMES,
        }
    }

    pub(crate) fn mood(&self, t_s: f64) -> Mood {
        if self.bytes.is_empty() {
            return Mood::Silent;
        }
        if self.missing_parity().is_some() {
            return Mood::Hopeless;
        }
        if self.best().is_some_and(|best| best.explained() >= 0.25) {
            return Mood::Hopeful;
        }
        let is_long = self.first_s.is_some_and(|first_s| t_s - first_s > self.trial_s());
        // Messages that come one by one take their time.
        let is_long = is_long && self.whole == 0;
        if self.evaluated == 0 || self.may_be_parity() && !is_long {
            return Mood::Undecided;
        }
        if self.one_sided().is_some() && self.bytes.len() < LEAST_ONE_SIDED / 2 && !is_long {
            return Mood::Undecided;
        }
        let is_message = self.bytes.len() >= LEAST_MESSAGE && self.whole > 0;
        if is_message || is_long || self.bursts >= 3 || self.bytes.len() >= ENOUGH_BYTES {
            Mood::Hopeless
        } else {
            Mood::Undecided
        }
    }

    /// The parity bit that stands where a stop bit is expected, if it looks like that.
    ///
    /// A line with eight bits and parity, read without parity, loses each byte whose parity bit is 0: then all bytes that
    /// come have an odd number of ones with even parity, and the other way round. What is left may still look like frames,
    /// with digits missing: then it takes more bytes to say so.
    pub(crate) fn missing_parity(&self) -> Option<Parity> {
        let is_enough = match self.best() {
            Some(_) => self.bytes.len() >= LEAST_ONE_SIDED,
            None => self.bytes.len() >= LEAST_ONE_SIDED / 2 && self.evaluated > 0,
        };
        self.one_sided().filter(|_| is_enough)
    }

    fn one_sided(&self) -> Option<Parity> {
        let is_stripped = self.best().is_some_and(|best| best.stripped.is_some());
        let doubt = self.bytes.len() / 20;
        // Text only: at twice the right speed all kinds of bytes come in pairs of equal bits, and look the same.
        let high = self.bytes.iter().filter(|byte| **byte >= 0x80).count();
        if self.line.parity != Parity::None || is_stripped || high > doubt || self.bytes.len() < 3 {
            return None;
        }
        let odd = self.bytes.iter().filter(|byte| byte.count_ones() % 2 == 1).count();
        match (odd, self.bytes.len() - odd) {
            (odd, _) if odd <= doubt => Some(Parity::Odd),
            (_, even) if even <= doubt => Some(Parity::Even),
            _ => None,
        }
    }

    /// Whether what came reads as text.
    pub(crate) fn is_text(&self) -> bool {
        let is_text =
            |byte: &u8| byte.is_ascii_graphic() || byte.is_ascii_whitespace() || matches!(byte, 2 | 3 | 6 | 21);
        self.bytes.iter().filter(|byte| is_text(byte)).count() * 10 >= self.bytes.len() * 9
    }

    /// Whether bit 7 may be a parity bit, of which there is no proof yet.
    fn may_be_parity(&self) -> bool {
        if self.line.parity != Parity::None || self.bytes.len() > LEAST_PARITY_BYTES + 24 {
            return false;
        }
        let odd = self.bytes.iter().filter(|byte| byte.count_ones() % 2 == 1).count();
        let doubt = self.bytes.len() / 16;
        let high = self.bytes.iter().filter(|byte| **byte >= 0x80).count();
        high > 0 && high < self.bytes.len() && (odd <= doubt || self.bytes.len() - odd <= doubt)
    }
}
