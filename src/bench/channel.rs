//! One instrument as the bench sees it: frames in, captures out, and what the display shows of it. Pure.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::measuring::Measuring;
use super::zero_words::zero_words;
use crate::config::bench_file::InstrumentSettings;
use crate::instrument::format::{Frame, Mode};
use crate::instrument::indication::{Indication, OUT_OF_RANGE, UnitNews, UnitWatch, is_beyond, read};
use crate::instrument::rereads::Rereads;
use crate::measurement::calibration::{Calibration, settling_limits};
use crate::measurement::evidence::{Evidence, RawFrame};
use crate::measurement::gauge::Laid;
use crate::measurement::printed::{Print, PrintWatch, printed, u_own_zero};
use crate::measurement::reading::{InstrumentKind, Quantity, Reading};
use crate::measurement::sample::{Expectation, Sample};
use crate::measurement::settling::{Capture, Change, Phase, zero_part};
use crate::measurement::stamp::Stamp;
use crate::measurement::uncertainty::{Budget, Drift, LevelParts, assess};
use crate::work_order::checks::repeatability;
use crate::work_order::desk::Control;
use crate::work_order::event::{BudgetInputs, CapturedReading, EventId};

/// Whether an instrument sends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// Never heard of in this session.
    Awaited,
    /// Sends good frames.
    Sending,
    /// Does not, with the reason and remedy.
    Lost(String),
}

/// One instrument.
#[derive(Debug)]
pub struct Channel {
    /// As configured.
    pub settings: InstrumentSettings,
    /// Whether it sends.
    pub link: Link,
    /// Refused runs of bytes by reason.
    pub refused: BTreeMap<&'static str, u64>,
    /// When the last good frame came, seconds of the session.
    pub heard_s: Option<f64>,
    /// A state or request in words for the display.
    pub message: Option<Cow<'static, str>>,
    /// The last temperature of a thermometer, °C.
    pub air_c: Option<f64>,
    /// The last capture while it is still held, with its reading.
    pub held: Option<(Capture, Reading)>,
    /// Expanded uncertainties of the last capture, worked out once: Student's quantile is too much work for every frame.
    pub expanded: Vec<(Quantity, f64)>,
    /// The `calibrated` event in force.
    pub calibration_event: Option<EventId>,
    /// What the checks since the calibration have found.
    pub drift: Option<Drift>,
    /// What lies in a gauge, as far as the bench knows.
    laid: Option<Laid>,
    /// The last capture, for showing it again when a touch left the level as it was.
    last: Option<(Capture, Reading)>,
    /// The message, as long as it is one that a frame gave and the next good frame takes back.
    said_by_frame: Option<&'static str>,
    units: UnitWatch,
    rereads: Rereads,
    measuring: Option<Measuring>,
}

/// Why a reading is not taken whose zero cannot be proved.
const TOO_SLOW: &str = "sends too slowly for its zero to be kept: set its `rate` in the configuration to what it sends";

/// Why a club of the hand that has no datum is not read.
const NO_DATUM: &str = "has no datum for left-handed clubs, and a slope of its fixture would read the wrong way round: calibrate \
                        it with the block laid in both ways, or state u_level of a fixture that is level";

/// The time over which the noise is shown, s.
const NOISE_S: f64 = 1.0;

/// What a frame led to.
#[derive(Debug)]
pub enum Seen {
    /// Nothing to decide.
    Nothing,
    /// A code was scanned, or a pedal pressed.
    Code(String),
    /// A placement came to rest.
    Captured(Box<(CapturedReading, Evidence)>),
}

impl Channel {
    /// An instrument nothing was heard of yet.
    #[must_use]
    pub fn new(settings: InstrumentSettings) -> Self {
        let measuring = settings.calibration.clone().map(|calibration| {
            let wiring = &settings.wiring;
            Measuring::new(
                calibration,
                settling_limits(wiring.kind, wiring.resolution, settings.rate_hz, wiring.capacity),
            )
        });
        Self {
            units: UnitWatch::new(settings.format.names_units()),
            said_by_frame: None,
            settings,
            link: Link::Awaited,
            refused: BTreeMap::new(),
            heard_s: None,
            message: None,
            air_c: None,
            held: None,
            expanded: Vec::new(),
            calibration_event: None,
            drift: None,
            laid: None,
            last: None,
            rereads: Rereads::default(),
            measuring,
        }
    }

    /// Tells the instrument's channel to do something.
    ///
    /// # Errors
    /// In words: nothing is zeroed, tared or stored while a load moves (OIML R 76-1, 4.4.2), and why not otherwise.
    pub fn control(&mut self, control: Control) -> Result<(), String> {
        let name = &self.settings.name;
        if self.is_on_key() && control == Control::Zero {
            return Err(format!("{name} takes its zero off by itself: use its own key"));
        }
        let phase = self.phase().0;
        let is_moving = !self.is_on_key() && self.measuring.as_ref().is_some_and(Measuring::is_moving);
        match (phase, control) {
            ("lost", _) => Err(format!("{name} does not send")),
            _ if is_moving => Err(format!("{name} is moving: let it come to rest first")),
            ("settling" | "disturbed", _) if control != Control::Zero || !self.is_cleared() => {
                Err(format!("{name} is moving: let it come to rest first"))
            }
            (_, Control::Tare) => Err(format!("{name} has no tare: what lies on it is weighed as it is")),
            (_, Control::Store) => {
                Err(format!("{name} stores by itself what has come to rest; void a reading that is wrong"))
            }
            ("held", Control::Zero) => Err(format!("something lies on it: clear {name} first")),
            // What lies there counts as nothing from now on.
            (_, Control::Zero) => {
                if let Some(measuring) = &mut self.measuring {
                    // Blocks of samples begin anew with it, and so must those that it is proved from.
                    measuring.recent.clear();
                    measuring.settling.start_unknown();
                }
                self.message = None;
                Ok(())
            }
        }
    }

    /// Whether nothing was laid down on it, though its zero may not be known.
    fn is_cleared(&self) -> bool {
        self.measuring.as_ref().is_some_and(|measuring| measuring.settling.is_cleared())
    }

    /// Another calibration is in force: what lies there was not seen by it.
    pub fn calibrate(&mut self, calibration: &Calibration) {
        let Some(measuring) = &mut self.measuring else { return };
        if measuring.calibration != *calibration {
            measuring.calibration = calibration.clone();
            measuring.recent.clear();
            measuring.settling.start_unknown();
            self.held = None;
            self.last = None;
        }
    }

    /// Something else is what lies in the gauge. What was read for the other hand does not stand: it has to be laid in again.
    pub fn lay(&mut self, laid: Option<Laid>) {
        let before = std::mem::replace(&mut self.laid, laid);
        let Some(measuring) = &mut self.measuring else { return };
        let Calibration::Gauge(gauge) = &measuring.calibration else { return };
        let turned = before.zip(laid).is_some_and(|(before, laid)| before.hand() != laid.hand());
        if turned && gauge.tells_hands_apart() && self.held.is_some() {
            measuring.settling.start_unknown();
            self.held = None;
            self.message = Some("was read for a club of the other hand: lift it out and lay it in again".into());
        }
    }

    /// The instrument is back, or here for the first time: what lies on it was not seen coming.
    pub fn found(&mut self, last: Option<&CapturedReading>) {
        self.link = Link::Sending;
        self.message = None;
        self.units = UnitWatch::new(self.settings.format.names_units());
        if let Some(measuring) = &mut self.measuring {
            measuring.recent.clear();
            measuring.prints = PrintWatch::default();
            match last {
                Some(last) => measuring.settling.resume(capture_of(last)),
                None => measuring.settling.start_unknown(),
            }
        }
    }

    /// The instrument does not send.
    pub fn lost(&mut self, reason: String) {
        self.link = Link::Lost(reason);
        self.held = None;
    }

    /// Takes one frame.
    pub fn frame(&mut self, stamp: Stamp, frame: &Frame, raw: &[u8], expected: &[Expectation]) -> Seen {
        self.heard_s = Some(stamp.t_s);
        let values = match read(&self.settings.wiring, frame) {
            Indication::Values(values) => values,
            Indication::Code(code) => {
                let is_scanner = self.settings.wiring.kind == InstrumentKind::Scanner;
                let is_same_read = is_scanner && self.rereads.is_same_read(&code, stamp.t_s);
                return if is_same_read { Seen::Nothing } else { Seen::Code(code) };
            }
            Indication::Temperature(celsius) => {
                self.air_c = Some(celsius);
                self.message = None;
                return Seen::Nothing;
            }
            Indication::State(words) => return self.state(words),
            Indication::Nothing => return Seen::Nothing,
        };
        if self.settings.wiring.kind == InstrumentKind::Scale {
            match self.units.look(frame) {
                UnitNews::Same => {}
                UnitNews::Doubted => return Seen::Nothing,
                UnitNews::Blank => return self.state("names no unit: wait until it is at rest"),
                UnitNews::Changed => {
                    self.unit_changed();
                    return Seen::Nothing;
                }
            }
        }
        let Some(measuring) = &mut self.measuring else { return Seen::Nothing };
        if let Some(words) = self.said_by_frame.take()
            && self.message.as_deref() == Some(words)
        {
            self.message = zero_words(self.settings.wiring.kind, &measuring.settling);
        }
        let sample = measuring.calibration.sample(stamp.t_s, values);
        // What the instrument sent was in range; what it means may not be, and a beam knows its load only now.
        let weighs = matches!(self.settings.wiring.kind, InstrumentKind::Scale | InstrumentKind::Beam);
        let [load_g, _] = sample.values;
        let [net_g, _] = measuring.settling.less_zero(sample.values);
        let gross_is_known = self.settings.wiring.kind == InstrumentKind::Scale;
        if weighs
            && (is_beyond(&self.settings.wiring, net_g) || (gross_is_known && is_beyond(&self.settings.wiring, load_g)))
        {
            return self.state(OUT_OF_RANGE);
        }
        let on_key = self.settings.format.mode == Mode::OnKey;
        if on_key && measuring.lines.is_beside(stamp.t_s, frame.net_gross, &mut measuring.prints) {
            return Seen::Nothing;
        }
        measuring.recent.push(RawFrame { t_s: stamp.t_s, bytes: raw.into() }, sample);
        if on_key {
            return self.printed(stamp, frame, &sample);
        }
        let changes = measuring.settling.push(&sample, expected);
        measuring.keep_zero(stamp.t_s, &changes);
        let mut captured = None;
        for change in changes.iter() {
            match change {
                Change::MovingTooLong { .. } => {
                    self.message = Some("bench moving: let go and wait, or lift and lay it down again".into());
                }
                Change::ZeroUnsure { .. } => {
                    self.message = Some(
                        "its zero is not known: lift what lies there, leave it empty for two seconds, lay it down again"
                            .into(),
                    );
                }
                Change::Captured(capture) => captured = Some(*capture),
                Change::Placed { .. }
                | Change::Removed { .. }
                | Change::Disturbed { .. }
                | Change::Changed { .. }
                | Change::TooLight { .. }
                | Change::ZeroLost { .. } => {
                    self.held = None;
                    // A zero that is lost stays so whatever is laid down and lifted.
                    self.message = zero_words(self.settings.wiring.kind, &measuring.settling);
                }
                Change::Restored { .. } => {
                    self.message = None;
                    self.held.clone_from(&self.last);
                }
                Change::ZeroFound { .. } => self.message = None,
                Change::Progress { .. } => {}
            }
        }
        let Some(capture) = captured else { return Seen::Nothing };
        self.captured(frame, capture)
    }

    /// Takes a number that the instrument was told to send.
    fn printed(&mut self, stamp: Stamp, frame: &Frame, sample: &Sample) -> Seen {
        let Some(measuring) = &mut self.measuring else { return Seen::Nothing };
        if frame.stable == Some(false) {
            measuring.prints = PrintWatch::default();
            return self.state("sent while it moved: let it come to rest and print again");
        }
        let words = match measuring.prints.push(sample, self.settings.format.has_check(), &measuring.limits) {
            Print::Again => "has no check in its frames: print once more to confirm",
            Print::Zero => "printed its zero: lay the part on, then print",
            Print::TooSoon => "printed too fast: if it sends by itself, write `sends = \"streaming\"`",
            Print::Reading { window_s } => {
                let u_zero = u_own_zero(&measuring.limits);
                let evidence = measuring.recent.cut(window_s.0, stamp.t_s);
                let Some(level) = printed(&measuring.limits, &evidence.samples, window_s, u_zero) else {
                    return Seen::Nothing;
                };
                let (values, u, n) = (level.values, level.u, level.n);
                let zero = [0.0; 2];
                let capture = Capture { t_s: stamp.t_s, values, u, window: window_s, zero, u_zero, zero_look: None, n };
                return self.captured(frame, capture);
            }
        };
        self.held = None;
        self.message = Some(words.into());
        Seen::Nothing
    }

    /// Makes a reading of what has come to rest.
    fn captured(&mut self, frame: &Frame, capture: Capture) -> Seen {
        self.message = None;
        let Some(measuring) = &self.measuring else { return Seen::Nothing };
        let parts = LevelParts::split(
            capture.u,
            zero_part(&measuring.limits, capture.u_zero),
            self.settings.wiring.resolution,
            capture.n,
        );
        if !measuring.serves(self.laid) {
            self.message = Some(NO_DATUM.into());
            return Seen::Nothing;
        }
        let Some((reading, budget)) = assess(&measuring.calibration, &capture, self.laid, &parts, self.drift.as_ref())
        else {
            self.message = Some("cannot be a placement: clear it and lay it down again".into());
            return Seen::Nothing;
        };
        let Some(calibration) = self.calibration_event else { return Seen::Nothing };
        let Some(evidence) = measuring.evidence(&capture) else {
            self.message = Some(TOO_SLOW.into());
            return Seen::Nothing;
        };
        self.held = Some((capture, reading.clone()));
        self.last.clone_from(&self.held);
        self.expanded = expanded_of(&budget);
        let captured = CapturedReading {
            instrument: self.settings.id.clone(),
            kind: self.settings.wiring.kind,
            measured: reading.measured,
            levels: capture.values,
            zero: capture.zero,
            u_levels: capture.u,
            window_s: [capture.window.0, capture.window.1],
            t_s: capture.t_s,
            printed: frame.value.as_ref().map(|value| value.as_str().to_owned()),
            on_key: self.is_on_key(),
            stable_flag: frame.stable,
            air_c: None,
            laid: self.laid,
            calibration,
            evidence: String::new(),
            budget_inputs: Some(BudgetInputs {
                u_zero: capture.u_zero,
                zero_look: capture.zero_look,
                drift: self.drift,
            }),
            budget,
        };
        Seen::Captured(Box::new((captured, evidence)))
    }

    /// A state stands in the place of a number.
    fn state(&mut self, words: &'static str) -> Seen {
        self.message = Some(words.into());
        self.said_by_frame = Some(words);
        Seen::Nothing
    }

    /// The unit was switched: what lies there has to be laid down again, so nothing is captured across the change.
    fn unit_changed(&mut self) {
        self.held = None;
        self.message = Some("its unit was changed: clear it and lay it down again".into());
        if let Some(measuring) = &mut self.measuring {
            measuring.recent.clear();
            measuring.settling.start_unknown();
        }
    }

    /// Whether it sends on a key only, so that its last number stays true until the next one.
    #[must_use]
    pub fn is_on_key(&self) -> bool {
        self.settings.format.mode == Mode::OnKey
    }

    /// The phase for the display: its name and progress.
    #[must_use]
    pub fn phase(&self) -> (&'static str, Option<f64>) {
        if !matches!(self.link, Link::Sending) {
            return ("lost", None);
        }
        if self.is_on_key() {
            return (if self.held.is_some() { "held" } else { "empty" }, None);
        }
        match self.measuring.as_ref().map(|measuring| measuring.settling.phase()) {
            None | Some(Phase::Empty) => ("empty", None),
            Some(Phase::Settling { progress }) => ("settling", Some(progress)),
            Some(Phase::Held) => ("held", None),
            Some(Phase::Disturbed { progress }) => ("disturbed", Some(progress)),
            Some(Phase::Unknown) => ("unknown", None),
        }
    }

    /// The newest sample less the zero, moving or not: grams of a scale or beam, lie of a gauge in degrees. `None` while
    /// a state stands in the place of the number.
    #[must_use]
    pub fn level(&self) -> Option<f64> {
        let measuring = self.measuring.as_ref().filter(|_| self.said_by_frame.is_none())?;
        let [level, _] = measuring.settling.less_zero(measuring.recent.newest()?.values);
        Some(level)
    }

    /// The tracked zero, in the same unit.
    #[must_use]
    pub fn zero(&self) -> Option<f64> {
        self.measuring.as_ref()?.settling.zero().map(|[first, _]| first)
    }

    /// Standard deviation of the samples of the last second, in the same unit, while nothing moves.
    #[must_use]
    pub fn noise(&self) -> Option<f64> {
        let rests = matches!(self.phase().0, "empty" | "held") && self.said_by_frame.is_none();
        let recent = &self.measuring.as_ref().filter(|_| rests)?.recent;
        let start_s = recent.newest()?.t_s - NOISE_S;
        let values: Vec<f64> = recent.samples_since(start_s).map(|sample| sample.values[0]).collect();
        repeatability(&values, 0.0)
    }

    /// What the instrument shows now: the captured reading while it is held, else the moving level.
    #[must_use]
    pub fn showing(&self) -> Option<Reading> {
        // A state stands in the place of the number, never beside the one before.
        if self.said_by_frame.is_some() {
            return None;
        }
        if let Some((_, reading)) = &self.held {
            return Some(reading.clone());
        }
        let measuring = self.measuring.as_ref()?;
        let level = measuring.settling.less_zero(measuring.recent.newest()?.values);
        let moving = Capture {
            t_s: 0.0,
            values: level,
            u: [0.0, 0.0],
            window: (0.0, 0.0),
            zero: [0.0, 0.0],
            u_zero: [0.0, 0.0],
            zero_look: None,
            n: 1,
        };
        measuring.calibration.reading(&moving, self.laid)
    }
}

fn expanded_of(budgets: &[Budget]) -> Vec<(Quantity, f64)> {
    budgets.iter().filter_map(|budget| Some((budget.quantity, budget.expanded()?))).collect()
}

fn capture_of(last: &CapturedReading) -> Capture {
    Capture {
        t_s: last.t_s,
        values: last.levels,
        u: last.u_levels,
        window: (last.window_s[0], last.window_s[1]),
        zero: last.zero,
        u_zero: [0.0, 0.0],
        zero_look: None,
        n: 0,
    }
}
