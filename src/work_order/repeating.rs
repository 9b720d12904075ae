//! A step that is done already and is marked done once more: it is asked whether that is meant.
//!
//! A second bond starts the cure anew, and a card that is scanned twice is soon scanned by mistake. In: a command with its time,
//! and what was asked before. Out: the question, or nothing, where the command may go on. The question is answered by the same
//! card within a minute, and the page has a deed of its own for it; where the step can hurt, its cautions are read before (the card for cautions means these then).

use super::adhesive::words;
use super::cautions::{Caution, cautions};
use super::desk::{Command, Refusal, refused};
use super::event::Change;
use super::finishing::step_done;
use super::record::{ClubRecord, ClubState, StepRecord};
use super::state::State;
use super::step_back::{is_no_slip, last_deed_seq};
use super::steps::Step;
use super::ticket::Ticket;

/// How long a question stands, in seconds.
pub const STANDS_S: f64 = 60.0;
/// A card that is held over the scanner is read several times; sooner than this, in seconds, it is no answer.
const LEAST_S: f64 = 2.0;

/// What was asked, and whether anybody can answer it.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeats {
    is_running: bool,
    question: Option<Question>,
}

#[derive(Debug, Clone, PartialEq)]
struct Question {
    club: String,
    step: Step,
    t_s: f64,
    is_read: bool,
    /// What had been done last then, by its place in the journal.
    last_deed: Option<u64>,
}

/// What becomes of a command.
#[derive(Debug, Clone, PartialEq)]
pub enum Looked {
    /// It goes on.
    Goes,
    /// It is asked whether it is meant; the same card answers.
    Asks(Refusal),
    /// It is not done, and nothing is asked.
    Refuses(Refusal),
    /// The cautions of the step that was asked about are read, with what is to be said.
    Read(Vec<Change>, String),
}

impl Repeats {
    /// Nothing was asked. Where no bench runs, a command does not know of the one before, and nothing is done again.
    #[must_use]
    pub fn new(is_running: bool) -> Self {
        Self { is_running, question: None }
    }

    /// Looks at a command; `t_s` is now in seconds of the session, `steady_us` wall time in which no clock was put right.
    pub fn look(&mut self, state: &State, command: &Command, t_s: f64, steady_us: i64) -> Looked {
        let stands = |asked: &Question| t_s - asked.t_s <= STANDS_S && state.current_club.as_ref() == Some(&asked.club);
        let asked = self.question.take().filter(stands);
        let wanted = match command {
            Command::Scan(code) => Ticket::parse(code),
            Command::Acknowledge => Some(Ticket::Acknowledge),
            Command::StepDone(step) => Some(Ticket::Step(*step)),
            Command::Void { event: None, .. } => Some(Ticket::VoidLast),
            _ => None,
        };
        let Some(club) = state.club() else { return Looked::Goes };
        match (wanted, asked) {
            (Some(Ticket::Acknowledge), Some(asked)) if !cautions(asked.step, &club.spec).is_empty() => {
                let looked = read(club, asked.step);
                self.question = Some(Question { t_s, is_read: true, ..asked });
                looked
            }
            // Whoever is asked and means to take that back must not lose what was done before it.
            (Some(Ticket::VoidLast), Some(asked)) if asked.last_deed == last_deed_seq(state) => {
                let (label, id) = (asked.step.label(), &club.spec.id);
                Looked::Refuses(Refusal(format!(
                    "\"{label}\" is not done again at {id}, and nothing is taken back: once more takes back what was done last"
                )))
            }
            (Some(Ticket::VoidLast), _) => is_no_slip(state, steady_us).map_or(Looked::Goes, Looked::Refuses),
            (Some(Ticket::Step(step)), asked) => {
                let Some(done) = done_before(club, step) else { return Looked::Goes };
                if !matches!(command, Command::Scan(_)) {
                    let again = "to do it again on purpose press \"do it again\" beside it in the club's record";
                    return Looked::Refuses(Refusal(format!("{}: {again}", already(club, done, steady_us))));
                }
                let shown = cautions(step, &club.spec);
                let asked = asked.filter(|asked| asked.step == step);
                let is_read = asked.as_ref().is_some_and(|asked| asked.is_read);
                let is_late = asked.is_some_and(|asked| t_s - asked.t_s >= LEAST_S);
                // The card for cautions was scanned between: that is nobody's slip.
                if self.is_running && (is_read || (is_late && shown.is_empty())) {
                    return Looked::Goes;
                }
                let last_deed = last_deed_seq(state);
                self.question = Some(Question { club: club.spec.id.clone(), step, t_s, is_read, last_deed });
                Looked::Asks(self.ask(club, done, shown, steady_us))
            }
            // Anything else that is done says that the question was not meant.
            _ => Looked::Goes,
        }
    }

    fn ask(&self, club: &ClubRecord, done: &StepRecord, shown: &[Caution], steady_us: i64) -> Refusal {
        let short: Vec<&str> = shown.iter().map(|caution| caution.short()).collect();
        let again = if !self.is_running {
            "it is done again only while the bench runs".to_owned()
        } else if short.is_empty() {
            "to do it again on purpose scan its card once more".to_owned()
        } else {
            let short = short.join(" · ");
            format!("to do it again on purpose read its cautions ({short}), scan BS1/A and its card once more")
        };
        Refusal(format!("{}: {again}", already(club, done, steady_us)))
    }
}

fn already(club: &ClubRecord, done: &StepRecord, steady_us: i64) -> String {
    let by = done.by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
    let ago = words(steady_us.saturating_sub(done.at_us).max(1));
    format!("\"{}\" is done at {} already, {ago} ago{by}", done.step.label(), club.spec.id)
}

/// A step that is done already is done again on purpose, by somebody who has read its cautions.
pub(super) fn done_again(state: &State, club: Option<&str>, step: Step) -> Result<Vec<Change>, Refusal> {
    let label = step.label();
    let Some(record) = state.club() else {
        return refused(format!("no club is open, so \"{label}\" is not done again: scan an order ticket first"));
    };
    let id = &record.spec.id;
    if let Some(other) = club.filter(|club| club != id) {
        return refused(format!("{other} is not in hand, {id} is: open {other} first, then do \"{label}\" again"));
    }
    if record.state != ClubState::Finished && !record.has_done(step) {
        return refused(format!("\"{label}\" is not done at {id}, so it is not done again: mark it done"));
    }
    let shown = cautions(step, &record.spec).to_vec();
    let read = Change::CautionsAcknowledged { club: id.clone(), step, cautions: shown.clone() };
    let read = (!shown.is_empty()).then_some(read);
    Ok(read.into_iter().chain(step_done(state, step)?).collect())
}

/// The last time a step was done, where doing it again is asked about. A finished club has its own refusal, one that lost a
/// value is handed over again as a matter of course, and a club is adjusted as often as it takes.
fn done_before(club: &ClubRecord, step: Step) -> Option<&StepRecord> {
    let is_usual = matches!(step, Step::Adjust | Step::HandOver);
    let is_asked_about = club.state != ClubState::Finished && !is_usual;
    let done = club.steps.iter().rfind(|done| done.step == step && club.stands(done))?;
    (is_asked_about && club.spec.route().contains(&step)).then_some(done)
}

fn read(club: &ClubRecord, step: Step) -> Looked {
    let (id, cautions) = (&club.spec.id, cautions(step, &club.spec).to_vec());
    let said = format!("the cautions of \"{}\" at {id} are read: scan its card once more to do it again", step.label());
    Looked::Read(vec![Change::CautionsAcknowledged { club: id.clone(), step, cautions }], said)
}
