//! Finds out what speaks on a port: which line settings to try, when to ask, when enough was heard.
//!
//! In: the time, and the bytes that came since. Out: one step after the other for whoever has the port, and a
//! [`Finding`]. It listens first; only where nothing comes does it ask, and only what the known formats ask.
//! Absent: the port and the clock, so that a search can be run on a simulated line.

mod finding;
mod places;
mod plan;
mod sitting;

use std::sync::Arc;
use std::time::Duration;

pub use finding::{Finding, Found};
pub use plan::is_polite;

use crate::instrument::format::{Format, LineSettings, Mode};
use finding::History;
use places::{Hint, Places};
use plan::Question;
use sitting::{Mood, Sitting};

/// How long the first line settings may be silent before the instrument is asked, in seconds.
const FIRST_SILENCE_S: f64 = 0.6;
/// The shortest and the longest time that another line may be silent while there are more to try, in seconds.
const LATER_SILENCE_S: (f64, f64) = (0.35, 2.0);
/// How long a line is listened to before something is asked on it: an instrument that sends is not asked.
const BEFORE_ASKING_S: f64 = 0.03;
/// How long is waited after a first answer: an instrument that sends by itself is seen by that.
const AFTER_ANSWER_S: f64 = 0.2;
/// How long after a single message nothing follows, in seconds, before it is taken for the late answer to a question.
const LONELY_S: f64 = 1.2;
/// Questions in a row without an answer after which the answers before are taken for something else.
const MOST_UNANSWERED: u8 = 2;

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
    places: Places,
    questions: Vec<Question>,
    deadline_s: f64,
    doing: Doing,
    /// The question that is asked, or the first that was not.
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
    /// A question is out for the first time.
    Asking { sent_s: f64 },
    /// It was answered; perhaps more comes unasked.
    Answered { since_s: f64, bursts: usize },
    /// Asks again and again. `heard` bytes had come when the last question went out.
    Talking { sent_s: f64, heard: usize, unanswered: u8 },
    /// Nothing is left to do.
    Finished,
}

impl Search {
    /// A search among `formats` (each with its settings in force) that ends `seconds` after `t_s`.
    #[must_use]
    pub fn new(formats: Vec<Arc<Format>>, t_s: f64, seconds: f64) -> Self {
        let questions = plan::questions(&formats);
        Self {
            formats,
            places: Places::default(),
            questions,
            deadline_s: t_s + seconds,
            doing: Doing::Starting,
            question: 0,
            sitting: Sitting::new(plan::FIRST, t_s),
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
            self.sitting.evaluate(t_s, &self.formats);
        }
        if self.sitting.is_settled(t_s) || t_s >= self.deadline_s {
            self.doing = Doing::Finished;
        }
        let step = match self.doing {
            Doing::Finished => Step::Finished,
            Doing::Starting => self.sit(Doing::Listening, plan::FIRST, t_s),
            Doing::Listening => self.listening(t_s),
            Doing::BeforeAsking => self.before_asking(t_s),
            Doing::Asking { sent_s } => self.asking(t_s, sent_s),
            Doing::Answered { since_s, bursts } => self.answered(t_s, since_s, bursts),
            Doing::Talking { sent_s, heard, unanswered } => self.talking(t_s, sent_s, heard, unanswered),
        };
        match step {
            Step::Listen(longest) => Step::Listen(longest.min(seconds(self.deadline_s - t_s))),
            step => step,
        }
    }

    /// What was found.
    #[must_use]
    pub fn finding(mut self, t_s: f64) -> Finding {
        self.sitting.evaluate(t_s, &self.formats);
        self.history.keep(self.sitting);
        self.history.finding(&self.formats)
    }

    fn listening(&mut self, t_s: f64) -> Step {
        let silent_s = self.sitting.silent_s(t_s);
        if self.is_lonely(silent_s) {
            return self.recall(t_s);
        }
        match self.sitting.mood(t_s) {
            Mood::Hopeless => self.next_place(t_s),
            Mood::Silent if self.history.has_bytes() => {
                let (least, most) = LATER_SILENCE_S;
                let patience_s = (1.5 * self.history.longest_wait_s()).clamp(least, most);
                if silent_s > patience_s { self.next_place(t_s) } else { self.listen(t_s) }
            }
            Mood::Silent if silent_s > FIRST_SILENCE_S && self.asked().is_some() => self.next_question(t_s),
            // All was asked: whoever sends only when a key is pressed may do so for as long as there is time.
            Mood::Silent | Mood::Hopeful | Mood::Undecided => self.listen(t_s),
        }
    }

    /// Whether one message came, while questions were asked, and no other follows by itself.
    fn is_lonely(&self, silent_s: f64) -> bool {
        let is_on_key = self.sitting.best().is_some_and(|best| {
            self.formats.iter().any(|format| format.family == best.family && format.mode == Mode::OnKey)
        });
        self.sitting.has_bytes()
            && self.sitting.bursts() <= 1
            && silent_s > LONELY_S
            && self.history.questions > 0
            && self.asked().is_some()
            && !is_on_key
    }

    fn before_asking(&mut self, t_s: f64) -> Step {
        if self.sitting.has_bytes() {
            self.doing = Doing::Listening;
            return self.listen(t_s);
        }
        let silent_s = self.sitting.silent_s(t_s);
        if silent_s < BEFORE_ASKING_S {
            return self.listen_at_most(t_s, BEFORE_ASKING_S - silent_s);
        }
        self.history.questions += 1;
        self.ask(Doing::Asking { sent_s: t_s })
    }

    fn asking(&mut self, t_s: f64, sent_s: f64) -> Step {
        if self.sitting.has_bytes() {
            self.doing = Doing::Answered { since_s: t_s, bursts: self.sitting.bursts() };
            return self.answered(t_s, t_s, self.sitting.bursts());
        }
        let wait_s = self.asked().map_or(0.0, |question| sent_s + question.first_wait_s - t_s);
        if wait_s > 0.0 {
            return self.listen_at_most(t_s, wait_s);
        }
        self.question += 1;
        self.next_question(t_s)
    }

    fn answered(&mut self, t_s: f64, since_s: f64, bursts: usize) -> Step {
        if let Some(step) = self.second_step(t_s) {
            return step;
        }
        if self.sitting.bursts() > bursts + 1 {
            // It goes on by itself.
            self.doing = Doing::Listening;
            return self.listen(t_s);
        }
        let wait_s = since_s + AFTER_ANSWER_S - t_s;
        if wait_s > 0.0 || !self.sitting.is_quiet(t_s) {
            return self.listen_at_most(t_s, wait_s);
        }
        let parts = self.asked().map(|question| question.parts.clone()).unwrap_or_default();
        if parts.is_empty() {
            return self.ask_again(t_s, 0);
        }
        self.question += 1;
        self.questions.splice(self.question..self.question, parts);
        self.next_question(t_s)
    }

    fn talking(&mut self, t_s: f64, sent_s: f64, heard: usize, unanswered: u8) -> Step {
        if let Some(step) = self.second_step(t_s) {
            return step;
        }
        if self.sitting.mood(t_s) == Mood::Hopeless {
            // Text is an answer, if not the expected one; anything else is no answer but came by itself.
            if !self.sitting.is_text() {
                return self.next_place(t_s);
            }
            self.question += 1;
            return self.next_question(t_s);
        }
        let Some(question) = self.asked() else { return Step::Finished };
        let waited_s = t_s - sent_s;
        if self.sitting.bytes().len() > heard {
            let wait_s = question.every_s - waited_s;
            let is_time = self.sitting.is_quiet(t_s) && wait_s <= 0.0;
            return if is_time { self.ask_again(t_s, 0) } else { self.listen_at_most(t_s, wait_s) };
        }
        if waited_s < question.timeout_s {
            return self.listen_at_most(t_s, question.timeout_s - waited_s);
        }
        if unanswered + 1 < MOST_UNANSWERED {
            return self.ask_again(t_s, unanswered + 1);
        }
        let answered = self.question;
        self.question += 1;
        if let Some(question) = self.questions.get_mut(answered) {
            // It had its patience.
            question.is_again = true;
        }
        self.recall(t_s)
    }

    /// What came may have been the late answer to a question before: those are asked once more, with patience.
    fn recall(&mut self, t_s: f64) -> Step {
        let before = self.questions.get(self.question.saturating_sub(2)..self.question).unwrap_or_default();
        let fresh = before.iter().rev().filter(|one| !one.is_again);
        let again: Vec<Question> =
            fresh.map(|one| Question { first_wait_s: one.timeout_s, is_again: true, ..one.clone() }).collect();
        self.questions.splice(self.question..self.question, again);
        self.next_question(t_s)
    }

    fn asked(&self) -> Option<&Question> {
        self.questions.get(self.question)
    }

    /// What an instrument wants that has answered with the first step of a handshake.
    fn second_step(&mut self, t_s: f64) -> Option<Step> {
        let step = self.asked()?.handshake.clone()?;
        if !self.sitting.take_answer(&step.answer) {
            return None;
        }
        self.doing = Doing::Talking { sent_s: t_s, heard: self.sitting.bytes().len(), unanswered: 0 };
        Some(Step::Ask(step.then))
    }

    fn ask(&mut self, doing: Doing) -> Step {
        let Some(question) = self.questions.get(self.question) else { return Step::Finished };
        self.sitting.asked(&question.bytes);
        self.doing = doing;
        Step::Ask(question.bytes.clone())
    }

    fn ask_again(&mut self, t_s: f64, unanswered: u8) -> Step {
        let heard = self.sitting.bytes().len();
        self.ask(Doing::Talking { sent_s: t_s, heard, unanswered })
    }

    /// Goes to the next line settings.
    fn next_place(&mut self, t_s: f64) -> Step {
        let hint = match self.sitting.missing_parity() {
            Some(parity) => Hint::Parity(parity),
            // Where something sends and nothing comes, every byte lost its stop bit.
            None if !self.sitting.has_bytes() => Hint::Slower,
            None => places::speed_hint(self.sitting.bytes()),
        };
        let line = self.places.next(self.sitting.line, hint);
        self.sit(Doing::Listening, line, t_s)
    }

    fn next_question(&mut self, t_s: f64) -> Step {
        let Some(line) = self.asked().map(|question| question.line) else {
            return self.sit(Doing::Listening, plan::FIRST, t_s);
        };
        if line == self.sitting.line && !self.sitting.has_bytes() {
            self.doing = Doing::BeforeAsking;
            return self.before_asking(t_s);
        }
        self.sit(Doing::BeforeAsking, line, t_s)
    }

    fn sit(&mut self, doing: Doing, line: LineSettings, t_s: f64) -> Step {
        let left = std::mem::replace(&mut self.sitting, Sitting::new(line, t_s));
        self.history.keep(left);
        self.doing = doing;
        Step::Set(line)
    }

    fn listen(&self, t_s: f64) -> Step {
        Step::Listen(seconds(self.sitting.next_look_s(t_s)))
    }

    fn listen_at_most(&self, t_s: f64, longest_s: f64) -> Step {
        let look_s = self.sitting.next_look_s(t_s);
        Step::Listen(seconds(if longest_s > 0.0 { look_s.min(longest_s) } else { look_s }))
    }
}

fn seconds(s: f64) -> Duration {
    Duration::try_from_secs_f64(s.max(0.001)).unwrap_or(Duration::from_millis(1))
}
