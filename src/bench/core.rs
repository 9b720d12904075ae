//! The bench's decisions: one input in, events and evidence out. Pure; time comes with the input.
//!
//! Nothing is applied to the state before it is on disk: [`Core::step`] proposes, [`Core::commit`] takes in what
//! the journal has stored.

use std::collections::VecDeque;

use super::channel::{Channel, Link, Seen};
use crate::config::bench_file::BenchSettings;
use crate::instrument::format::Frame;
use crate::instrument::pedal::Press;
use crate::instrument::port::{PortEvent, PortMessage};
use crate::journal::chain::sha256;
use crate::journal::evidence;
use crate::measurement::reading::InstrumentKind;
use crate::measurement::stamp::Stamp;
use crate::work_order::checks::Chart;
use crate::work_order::desk::{self, Command, Refusal};
use crate::work_order::event::{Change, Event, EventId, Numbering};
use crate::work_order::guard::guard;
use crate::work_order::laid::laid;
use crate::work_order::repeating::{Looked, Repeats, STANDS_S};
use crate::work_order::routing::expectations;
use crate::work_order::said::said;
use crate::work_order::state::{CaptureLine, Fate, State};
use crate::work_order::trust::{FROM_ADJUSTMENT, FROM_CONFIGURATION};

/// Everything that can happen to the bench.
#[derive(Debug)]
pub enum Input {
    /// A port has something to say.
    Port(PortMessage),
    /// A person wants something.
    Command {
        /// When it came.
        stamp: Stamp,
        /// What.
        command: Command,
    },
}

/// What an input leads to.
#[derive(Debug, Default)]
pub struct Outcome {
    /// Events to store, in order.
    pub events: Vec<Event>,
    /// Evidence to store with them: SHA-256 and content.
    pub evidence: Vec<(String, Vec<u8>)>,
    /// Why a command was refused.
    pub refused: Option<Refusal>,
    /// Whether that asks something which the same card answers.
    pub asks: bool,
    /// What whoever gave the command should hear of it.
    pub said: Vec<String>,
}

/// Something to tell the person at the bench for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// When, in seconds of the session.
    pub t_s: f64,
    /// The words.
    pub text: String,
    /// What kind of notice it is.
    pub kind: NoticeKind,
}

/// What a notice is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoticeKind {
    /// Something is wrong.
    Trouble,
    /// A scan or a press was refused; it is over once something else is done.
    Refused,
    /// A scan is asked about; it stands as long as the answer may come.
    Asked,
    /// Something was done, and what it means.
    Done,
}

/// How long a notice stays, in seconds.
const NOTICE_S: f64 = 8.0;
/// How long a temperature of the air stands, in seconds: it changes slowly.
const AIR_S: f64 = 300.0;
/// How many notices are kept.
const NOTICES: usize = 5;

/// All state of the bench; one task owns it.
#[derive(Debug)]
pub struct Core {
    /// The fold of the journal.
    pub state: State,
    /// The instruments, in the order of the configuration.
    pub channels: Vec<Channel>,
    /// What a person should be told.
    pub notices: VecDeque<Notice>,
    numbering: Numbering,
    repeats: Repeats,
    /// When the last event of this session was made.
    last_event: Option<Stamp>,
}

#[expect(clippy::cast_possible_truncation, reason = "a session of seconds fits into 64 bits of microseconds")]
fn micros(seconds: f64) -> i64 {
    (seconds * 1e6).round() as i64
}

impl Core {
    /// A bench that has folded its journal and now starts a session; the outcome holds the session's first events.
    #[must_use]
    pub fn start(
        settings: &BenchSettings,
        state: State,
        epoch: u64,
        stamp: Stamp,
        clock_synchronised: bool,
    ) -> (Self, Outcome) {
        let numbering = Numbering::after(epoch, state.seq);
        let channels = settings.instruments.iter().cloned().map(Channel::new).collect();
        let repeats = Repeats::new(true);
        let mut core = Self { state, channels, notices: VecDeque::new(), numbering, repeats, last_event: None };
        // A calibration that is already in force gets no new event: its readings point to the one it has.
        core.note_calibrations();
        let mut changes =
            vec![Change::SessionStarted { version: env!("CARGO_PKG_VERSION").to_owned(), clock_synchronised }];
        if core.state.policy != settings.policy {
            changes.push(Change::PolicySet(settings.policy));
        }
        if core.state.guide.rules != settings.rules {
            changes.push(Change::RulesSet(settings.rules.clone()));
        }
        if core.state.guide.bend_limits != settings.bend_limits {
            changes.push(Change::BendLimitsSet { limits: settings.bend_limits.clone() });
        }
        if core.state.drawer_stock.drawers != settings.drawers {
            changes.push(Change::DrawersSet(settings.drawers.clone()));
        }
        let calibrated: Vec<Change> =
            core.channels.iter().filter_map(|channel| calibrated(&core.state, channel)).collect();
        core.tell_overruled(stamp.t_s, &calibrated);
        changes.extend(calibrated);
        let outcome = core.number(stamp, changes);
        (core, outcome)
    }

    /// A bench without instruments, for commands given while no daemon runs.
    #[must_use]
    pub fn at_rest(state: State, epoch: u64) -> Self {
        let numbering = Numbering::after(epoch, state.seq);
        let (notices, repeats) = (VecDeque::new(), Repeats::new(false));
        Self { state, channels: Vec::new(), notices, numbering, repeats, last_event: None }
    }

    /// Decides what an input leads to.
    pub fn step(&mut self, input: Input) -> Outcome {
        match input {
            Input::Command { stamp, command } => {
                // A scan is told at the bench too, whoever sent it: the person may stand there with the scanner.
                let is_scan = matches!(command, Command::Scan(_));
                let outcome = self.command(stamp, &command);
                if is_scan {
                    self.tell_answer(stamp, &outcome);
                }
                outcome
            }
            Input::Port(message) => self.port(message),
        }
    }

    /// Takes stored events into the state.
    pub fn commit(&mut self, events: &[Event]) {
        for event in events {
            self.state.apply(event);
        }
        if events.iter().any(|event| {
            matches!(event.change, Change::Calibrated { .. } | Change::Checked(_) | Change::AnglesChecked(_))
        }) {
            self.note_calibrations();
        }
    }

    fn note_calibrations(&mut self) {
        for channel in &mut self.channels {
            let id = &channel.settings.id;
            channel.drift = self.state.trust.charts.get(id).and_then(Chart::drift);
            let Some(in_force) = self.state.calibrations.get(id) else { continue };
            channel.calibration_event = Some(in_force.event);
            if let Change::Calibrated { calibration, .. } = &in_force.change {
                channel.calibrate(calibration);
            }
        }
    }

    /// An adjustment made at the bench gives way to a changed configuration; whoever changed it should know.
    fn tell_overruled(&mut self, t_s: f64, calibrated: &[Change]) {
        for change in calibrated {
            let Change::Calibrated { instrument, .. } = change else { continue };
            let before = self.state.calibrations.get(instrument).map(|c| &c.change);
            if matches!(before, Some(Change::Calibrated { source, .. }) if source == FROM_ADJUSTMENT) {
                self.tell(
                    t_s,
                    format!(
                        "{instrument} is measured by its configuration again: it was changed since the last adjustment"
                    ),
                );
            }
        }
    }

    /// The last event of a session.
    pub fn end(&mut self, stamp: Stamp) -> Outcome {
        self.number(stamp, vec![Change::SessionEnded])
    }

    /// Notices that are still worth showing.
    pub fn current_notices(&self, t_s: f64) -> impl Iterator<Item = &Notice> {
        let stands_s = |kind| if kind == NoticeKind::Asked { STANDS_S } else { NOTICE_S };
        self.notices.iter().filter(move |notice| t_s - notice.t_s < stands_s(notice.kind))
    }

    fn number(&mut self, stamp: Stamp, changes: Vec<Change>) -> Outcome {
        if changes.is_empty() {
            return Outcome::default();
        }
        let stepped = self.clock_step(stamp).map(|by_us| Change::ClockStepped { by_us });
        self.last_event = Some(stamp);
        let operator = self.state.operator.clone();
        let changes = stepped.into_iter().chain(changes);
        let events = changes.map(|change| self.numbering.event(stamp, operator.as_deref(), change)).collect();
        Outcome { events, ..Outcome::default() }
    }

    /// By how much the wall clock was put right since the last event of this session, if by more than clocks drift.
    fn clock_step(&self, stamp: Stamp) -> Option<i64> {
        let last = self.last_event?;
        let by_us = stamp.at_us.saturating_sub(last.at_us).saturating_sub(micros(stamp.t_s - last.t_s));
        // A clock that is disciplined by slewing gains or loses at most 500 ppm (ntp_adjtime(2), from memory).
        let drift_us = micros(2.0 + 0.001 * (stamp.t_s - last.t_s).abs());
        (by_us.abs() > drift_us).then_some(by_us)
    }

    /// Wall time as it would be if nobody had put the clock right since the last event of this session, in microseconds
    /// since 1970 UTC: what running times are counted with.
    #[must_use]
    pub fn steady_us(&self, stamp: Stamp) -> i64 {
        self.last_event.map_or(stamp.at_us, |last| last.at_us.saturating_add(micros(stamp.t_s - last.t_s)))
    }

    /// What became of a scan or a press.
    fn tell_answer(&mut self, stamp: Stamp, outcome: &Outcome) {
        if let Some(refusal) = &outcome.refused {
            let kind = if outcome.asks { NoticeKind::Asked } else { NoticeKind::Refused };
            self.notices.retain(|notice| notice.kind != NoticeKind::Asked);
            self.tell_of(kind, stamp.t_s, refusal.0.clone());
        }
        for words in &outcome.said {
            self.tell_of(NoticeKind::Done, stamp.t_s, words.clone());
        }
    }

    fn tell(&mut self, t_s: f64, text: String) {
        self.tell_of(NoticeKind::Trouble, t_s, text);
    }

    fn tell_of(&mut self, kind: NoticeKind, t_s: f64, text: String) {
        // Said again it stays longer, and does not push others out.
        self.notices.retain(|notice| notice.text != text);
        // What was said of the same before is not true any more: a value typed anew, another club that comes next.
        let subject = |text: &str| text.split_once(" is ").map(|(subject, _)| subject.to_owned());
        if let (NoticeKind::Done, Some(of)) = (kind, subject(&text)) {
            let is_older = |notice: &Notice| notice.kind == kind && subject(&notice.text).as_ref() == Some(&of);
            self.notices.retain(|notice| !is_older(notice));
        }
        if self.notices.len() == NOTICES {
            self.notices.pop_front();
        }
        self.notices.push_back(Notice { t_s, text, kind });
    }

    fn command(&mut self, stamp: Stamp, command: &Command) -> Outcome {
        if let Command::Control { instrument, control } = command
            && let Some(channel) = self.channels.iter_mut().find(|channel| channel.settings.id == *instrument)
        {
            return Outcome { refused: channel.control(*control).err().map(Refusal), ..Outcome::default() };
        }
        let steady_us = self.steady_us(stamp);
        let mut asks = false;
        let (mut said_of_it, answer) = match self.repeats.look(&self.state, command, stamp.t_s, steady_us) {
            Looked::Goes => (Vec::new(), desk::answer(&self.state, command)),
            Looked::Asks(question) => {
                asks = true;
                (Vec::new(), Err(question))
            }
            Looked::Refuses(refusal) => (Vec::new(), Err(refusal)),
            Looked::Read(changes, words) => (vec![words], Ok(changes)),
        };
        match answer.and_then(|changes| guard(&self.state, changes, steady_us)) {
            Ok(mut changes) => {
                self.fill_in_air(&mut changes, stamp.t_s);
                let waiting = self.waiting(&changes, stamp.at_us);
                // What lies there is filed; that it finishes a club that is not cured is left out, never refused.
                changes.extend(guard(&self.state, waiting, steady_us).unwrap_or_default());
                self.notices.retain(|notice| !matches!(notice.kind, NoticeKind::Refused | NoticeKind::Asked));
                said_of_it.extend(said(&self.state, &changes));
                Outcome { said: said_of_it, ..self.number(stamp, changes) }
            }
            Err(refusal) => Outcome { refused: Some(refusal), asks, ..Outcome::default() },
        }
    }

    /// The temperature of the air, °C, where a thermometer has told it lately.
    fn air_c(&self, t_s: f64) -> Option<f64> {
        let fresh = |channel: &&Channel| channel.heard_s.is_some_and(|heard_s| t_s - heard_s < AIR_S);
        self.channels.iter().filter(fresh).find_map(|channel| channel.air_c)
    }

    /// A calibration is made at the temperature that the thermometer tells, unless a person has read another one.
    fn fill_in_air(&self, changes: &mut [Change], t_s: f64) {
        for change in changes {
            if let Change::CalibrationBegun { conditions, .. } = change {
                conditions.temperature_c = conditions.temperature_c.or_else(|| self.air_c(t_s));
            }
        }
    }

    /// A part that was laid down before its club was opened gets its place now, if it still lies there.
    fn waiting(&self, changes: &[Change], at_us: i64) -> Vec<Change> {
        let opened = changes.iter().rev().find_map(|change| match change {
            Change::ClubOpened { club } => Some(club),
            _ => None,
        });
        // What lies there when a club is finished belongs to that one, not to the next.
        let finishes = changes.iter().any(|change| matches!(change, Change::ClubFinished { .. }));
        let Some(club) = opened.filter(|_| !finishes) else { return Vec::new() };
        let touched = |reading: EventId| {
            changes.iter().any(|change| match change {
                Change::ReadingFiled { reading: of, .. } | Change::ReadingVoided { reading: of, .. } => *of == reading,
                _ => false,
            })
        };
        let held = self.channels.iter().filter(|channel| channel.held.is_some()).filter_map(|channel| {
            let of_channel = |line: &&CaptureLine| line.captured.instrument == channel.settings.id;
            self.state.captures.iter().rev().find(of_channel)
        });
        held.filter(|line| matches!(line.fate, Fate::Unfiled { .. }) && !touched(line.event))
            .flat_map(|line| desk::place_waiting(&self.state, club, line, at_us))
            .collect()
    }

    fn port(&mut self, message: PortMessage) -> Outcome {
        let PortMessage { instrument, stamp, event } = message;
        match event {
            PortEvent::Lost { reason } => self.lost(instrument, stamp, reason),
            PortEvent::Refused { label, reason, .. } => {
                if let Some(channel) = self.channels.get_mut(instrument) {
                    *channel.refused.entry(label).or_default() += 1;
                    // Whoever has just scanned waits for something to happen.
                    if channel.settings.wiring.kind == InstrumentKind::Scanner {
                        // What stands behind the first colon of a notice is its remedy.
                        let reason = reason.replace(": ", ", ");
                        let text = format!("{} read no code, {reason}: scan it again", channel.settings.name);
                        self.tell(stamp.t_s, text);
                    }
                }
                Outcome::default()
            }
            PortEvent::Passed(_) => Outcome::default(),
            PortEvent::Ready => {
                let found = self.found(instrument);
                self.number(stamp, found)
            }
            PortEvent::Frame(frame, raw) => self.frame(instrument, stamp, &frame, &raw),
        }
    }

    fn lost(&mut self, instrument: usize, stamp: Stamp, reason: String) -> Outcome {
        let Some(channel) = self.channels.get_mut(instrument) else { return Outcome::default() };
        let was_sending = channel.link == Link::Sending;
        let id = channel.settings.id.clone();
        channel.lost(reason.clone());
        // A port that never sent in this session is on the page, but nothing was lost.
        if was_sending {
            self.number(stamp, vec![Change::InstrumentLost { instrument: id, reason }])
        } else {
            Outcome::default()
        }
    }

    /// The instrument sends: the event of it, if that is news.
    fn found(&mut self, instrument: usize) -> Vec<Change> {
        let Some(channel) = self.channels.get_mut(instrument) else { return Vec::new() };
        if channel.link == Link::Sending {
            return Vec::new();
        }
        channel.found(self.state.last_capture.get(&channel.settings.id));
        vec![Change::InstrumentFound {
            instrument: channel.settings.id.clone(),
            port: channel.settings.port.display().to_string(),
            format: channel.settings.format.family.clone(),
        }]
    }

    fn frame(&mut self, instrument: usize, stamp: Stamp, frame: &Frame, raw: &[u8]) -> Outcome {
        let found = self.found(instrument);
        // Before any event of this input is made: afterwards a step of the clock is behind the last one.
        let steady_us = self.steady_us(stamp);
        let Some(channel) = self.channels.get_mut(instrument) else { return Outcome::default() };
        let kind = channel.settings.wiring.kind;
        // A part of a study or of the stock is waited for as long as any other; it is nothing of the club.
        let taken = self.state.is_taken(&channel.settings.id);
        let expected = expectations(self.state.club().filter(|_| !taken), kind);
        channel.lay(laid(&self.state, &channel.settings.id, stamp.at_us));
        let seen = channel.frame(stamp, frame, raw, &expected);
        let mut outcome = self.number(stamp, found);
        match seen {
            Seen::Nothing => {}
            Seen::Code(code) => {
                if let Some(command) = asked(kind, code) {
                    let answer = self.command(stamp, &command);
                    self.tell_answer(stamp, &answer);
                    outcome.events.extend(answer.events);
                }
            }
            Seen::Captured(captured) => {
                let (mut captured, frames) = *captured;
                let content = match evidence::encode(&frames) {
                    Ok(content) => content,
                    Err(error) => {
                        self.tell(
                            stamp.t_s,
                            format!("a reading of {} could not be kept: {error}", captured.instrument),
                        );
                        return outcome;
                    }
                };
                captured.evidence = sha256(&content);
                captured.air_c = self.air_c(stamp.t_s);
                outcome.evidence.push((captured.evidence.clone(), content));
                let mut taken = self.number(stamp, vec![Change::ReadingCaptured(captured.clone())]);
                if let Some(reading) = taken.events.last().map(|event| event.id) {
                    let placed = desk::place(&self.state, reading, &captured, stamp.at_us);
                    match guard(&self.state, placed, steady_us) {
                        Ok(placed) => {
                            for words in said(&self.state, &placed) {
                                self.tell_of(NoticeKind::Done, stamp.t_s, words);
                            }
                            taken.events.extend(self.number(stamp, placed).events);
                        }
                        Err(refusal) => self.tell(stamp.t_s, refusal.0),
                    }
                }
                outcome.events.extend(taken.events);
            }
        }
        outcome
    }
}

/// What a code or a press asks for.
fn asked(kind: InstrumentKind, code: String) -> Option<Command> {
    match kind {
        InstrumentKind::Pedal => Press::parse(&code).map(|press| match press {
            Press::Accept => Command::Accept,
            Press::Void => Command::Void { event: None, why: "taken back with the pedal".to_owned() },
        }),
        _ => Some(Command::Scan(code)),
    }
}

/// The event that brings a configured calibration into force, if it is not already.
fn calibrated(state: &State, channel: &Channel) -> Option<Change> {
    let settings = &channel.settings;
    let change = Change::Calibrated {
        instrument: settings.id.clone(),
        format: settings.format.family.clone(),
        format_text: settings.format.own_text().map(str::to_owned),
        format_settings: settings.format_settings.clone(),
        channels: settings.wiring.channels.clone(),
        resolution: settings.wiring.resolution,
        rate_hz: settings.rate_hz,
        capacity_g: settings.wiring.capacity.map(|grams| grams.0),
        calibration: settings.calibration.clone()?,
        source: FROM_CONFIGURATION.to_owned(),
        accuracy_class: settings.accuracy_class,
        verification_interval_g: settings.verification_interval_g,
        report: None,
    };
    // An adjustment made at the bench stands until the configuration says something new.
    (state.trust.configured.get(&settings.id) != Some(&change)).then_some(change)
}
