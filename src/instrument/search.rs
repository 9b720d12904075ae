//! Finds out what speaks on a port: which line settings to try, when to ask, when enough was heard.
//!
//! In: the time, and the bytes that came since. Out: one step after the other for whoever has the port, and a
//! [`Finding`]. It listens first; only where nothing comes does it ask, and only what the known formats ask.
//! Absent: the port and the clock, so that a search can be run on a simulated line.

mod finding;
mod plan;
mod sitting;

use std::sync::Arc;
use std::time::Duration;

pub use finding::Finding;
pub use plan::is_polite;

use crate::instrument::format::{Format, LineSettings};
use crate::instrument::identify::Verdict;
use finding::History;
use plan::Question;
use sitting::{Mood, Sitting};

/// How long the first line settings may be silent before the instrument is asked, in seconds.
const FIRST_SILENCE_S: f64 = 1.2;
/// How long later ones may be silent, as long as there are others to try.
const LATER_SILENCE_S: f64 = 0.35;
/// How long a line is listened to before something is asked on it: an instrument that sends is not asked.
const BEFORE_ASKING_S: f64 = 0.12;
/// How long is waited after a first answer: an instrument that sends by itself is seen by that.
const AFTER_ANSWER_S: f64 = 0.35;
/// Questions in a row without an answer after which the answers before are taken for something else.
const MOST_UNANSWERED: u8 = 3;

/// What to do next with the port.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// Set the line so, and throw away what stands in its buffer.
    Set(LineSettings),
    /// Send these bytes.
    Ask(Vec<u8>),
    /// Wait for bytes, at most so long.
    Listen(Duration),
    /// Enough is known, or the time is over.
    Finished,
}

/// One search on one port.
#[derive(Debug)]
pub struct Search {
    formats: Vec<Arc<Format>>,
    places: Vec<LineSettings>,
    questions: Vec<Question>,
    deadline_s: f64,
    doing: Doing,
    /// The next place, and the next question, that were not tried yet.
    place: usize,
    question: usize,
    sitting: Sitting,
    history: History,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Doing {
    /// Nothing yet.
    Starting,
    /// Hears what comes by itself.
    Listening,
    /// Listens a moment on a line that is about to carry a question.
    BeforeAsking,
    /// A question is out, and no answer to it came before.
    Asking { sent_s: f64 },
    /// The question is answered; waits whether more comes unasked.
    Answered { since_s: f64, bursts: usize },
    /// Asks again and again.
    Talking { sent_s: f64, heard: usize, unanswered: u8 },
    /// Nothing is left to do.
    Finished,
}

impl Search {
    /// A search among `formats` (each with its settings in force) that ends `seconds` after `t_s`.
    #[must_use]
    pub fn new(formats: Vec<Arc<Format>>, t_s: f64, seconds: f64) -> Self {
        let places = plan::places();
        let questions = plan::questions(&formats);
        let first = plan::FIRST;
        Self {
            formats,
            places,
            questions,
            deadline_s: t_s + seconds,
            doing: Doing::Starting,
            place: 0,
            question: 0,
            sitting: Sitting::new(first, t_s),
            history: History::default(),
        }
    }

    /// The line settings to open the port with.
    #[must_use]
    pub fn first_line(&self) -> LineSettings {
        plan::FIRST
    }

    /// Says the time and the bytes that came since the last step; returns what to do next.
    pub fn step(&mut self, t_s: f64, heard: &[u8]) -> Step {
        self.sitting.take(t_s, heard);
        if self.sitting.is_due(t_s) {
            self.sitting.evaluate(&self.formats);
        }
        if self.sitting.is_settled(t_s) || t_s >= self.deadline_s {
            self.doing = Doing::Finished;
        }
        match self.doing {
            Doing::Finished => Step::Finished,
            Doing::Starting => {
                self.doing = Doing::Listening;
                self.sit(plan::FIRST, t_s, None)
            }
            Doing::Listening => self.listening(t_s),
            Doing::BeforeAsking => self.before_asking(t_s),
            Doing::Asking { sent_s } => self.asking(t_s, sent_s),
            Doing::Answered { since_s, bursts } => self.answered(t_s, since_s, bursts),
            Doing::Talking { sent_s, heard, unanswered } => self.talking(t_s, sent_s, heard, unanswered),
        }
    }

    fn listening(&mut self, t_s: f64) -> Step {
        let silence_s = if self.place == 0 { FIRST_SILENCE_S } else { LATER_SILENCE_S };
        match self.sitting.mood(t_s) {
            Mood::Hopeless => self.next_place(t_s),
            Mood::Silent if self.question < self.questions.len() => match self.sitting.silent_s(t_s) > silence_s {
                true => self.next_question(t_s),
                false => self.sitting.listen(t_s),
            },
            // All was asked: whoever sends only when a key is pressed may do so for as long as there is time.
            Mood::Silent | Mood::Hopeful | Mood::Undecided => self.sitting.listen(t_s),
        }
    }

    fn before_asking(&mut self, t_s: f64) -> Step {
        if self.sitting.has_bytes() {
            self.doing = Doing::Listening;
            return self.listening(t_s);
        }
        let is_new_line = self.sitting.since_s() + BEFORE_ASKING_S > t_s && self.question > 0;
        if is_new_line { self.sitting.listen(t_s) } else { self.ask(t_s) }
    }

    fn asking(&mut self, t_s: f64, sent_s: f64) -> Step {
        if self.sitting.has_bytes() {
            self.doing = Doing::Answered { since_s: t_s, bursts: self.sitting.bursts() };
            return self.sitting.listen(t_s);
        }
        let wait_s = self.asked().map_or(0.0, |question| question.wait_s);
        if t_s - sent_s < wait_s {
            return self.sitting.listen_at_most(t_s, sent_s + wait_s - t_s);
        }
        self.question += 1;
        self.next_question(t_s)
    }

    fn answered(&mut self, t_s: f64, since_s: f64, bursts: usize) -> Step {
        if self.sitting.bursts() > bursts + 1 {
            // It goes on by itself.
            self.doing = Doing::Listening;
            return self.listening(t_s);
        }
        let handshake = self.asked().and_then(|question| question.handshake.clone());
        if let Some(step) = handshake.filter(|step| self.sitting.bytes().ends_with(&step.answer)) {
            self.doing = Doing::Talking { sent_s: t_s, heard: self.sitting.bytes().len(), unanswered: 0 };
            return Step::Ask(step.then);
        }
        if t_s - since_s < AFTER_ANSWER_S {
            return self.sitting.listen(t_s);
        }
        self.ask(t_s)
    }

    fn talking(&mut self, t_s: f64, sent_s: f64, heard: usize, unanswered: u8) -> Step {
        let Some(question) = self.asked() else { return Step::Finished };
        let handshake = question.handshake.clone();
        if let Some(step) = handshake.filter(|step| self.sitting.answer().ends_with(&step.answer)) {
            self.sitting.forget_answer();
            return Step::Ask(step.then);
        }
        let is_answered = self.sitting.bytes().len() > heard && self.sitting.is_quiet(t_s);
        if self.sitting.mood(t_s) == Mood::Hopeless {
            // Not what was expected; perhaps a later question is.
            self.question += 1;
            return self.next_question(t_s);
        }
        match is_answered {
            true if t_s - sent_s >= question.every_s => self.ask(t_s),
            true => self.sitting.listen(t_s),
            false if t_s - sent_s < question.patience_s => self.sitting.listen(t_s),
            false if unanswered + 1 >= MOST_UNANSWERED => {
                self.question += 1;
                self.doing = Doing::Listening;
                self.sitting.listen(t_s)
            }
            false => self.ask_again(t_s, unanswered + 1),
        }
    }

    fn asked(&self) -> Option<&Question> {
        self.questions.get(self.question)
    }

    fn ask(&mut self, t_s: f64) -> Step {
        let is_first = matches!(self.doing, Doing::BeforeAsking);
        if is_first {
            let Some(question) = self.asked() else { return Step::Finished };
            let bytes = question.bytes.clone();
            self.sitting.asked(&bytes);
            self.history.asked += 1;
            self.doing = Doing::Asking { sent_s: t_s };
            return Step::Ask(bytes);
        }
        self.ask_again(t_s, 0)
    }

    fn ask_again(&mut self, t_s: f64, unanswered: u8) -> Step {
        let Some(question) = self.asked() else { return Step::Finished };
        let bytes = question.bytes.clone();
        self.sitting.asked(&bytes);
        self.doing = Doing::Talking { sent_s: t_s, heard: self.sitting.bytes().len(), unanswered };
        Step::Ask(bytes)
    }

    /// Goes to the next line settings in a round without end.
    fn next_place(&mut self, t_s: f64) -> Step {
        self.place += 1;
        let line = self.places.get(self.place % self.places.len().max(1)).copied().unwrap_or(plan::FIRST);
        self.doing = Doing::Listening;
        self.sit(line, t_s, None)
    }

    fn next_question(&mut self, t_s: f64) -> Step {
        let Some(question) = self.asked() else {
            self.doing = Doing::Listening;
            return self.sit(plan::FIRST, t_s, None);
        };
        let (line, asked) = (question.line, question.bytes.clone());
        self.doing = Doing::BeforeAsking;
        if line == self.sitting.line && !self.sitting.has_bytes() {
            return self.ask(t_s);
        }
        self.sit(line, t_s, Some(asked))
    }

    fn sit(&mut self, line: LineSettings, t_s: f64, asked: Option<Vec<u8>>) -> Step {
        drop(asked);
        let left = std::mem::replace(&mut self.sitting, Sitting::new(line, t_s));
        self.history.keep(left);
        Step::Set(line)
    }

    /// What was found.
    #[must_use]
    pub fn finding(mut self) -> Finding {
        self.sitting.evaluate(&self.formats);
        self.history.keep(self.sitting);
        self.history.finding(&self.formats)
    }

    /// Whether the answer is there already.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        matches!(self.sitting.verdict(), Some(Verdict::Sure(_)))
    }
}
