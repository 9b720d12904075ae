//! What is known of one club: entries, steps, stage. A fold of its events.

use std::sync::Arc;

use super::adhesive::Bond;
use super::bending::Bend;
use super::cautions::Caution;
pub use super::done::StepRecord;
use super::drawer_stock::{TakenPart, Taking};
use super::drawers::ItemKind;
use super::event::{EventId, FiledValue};
use super::guide::Guide;
use super::hand_over::HandOverOverride;
use super::in_hand::InHand;
use super::later_face::overtaken;
use super::marks::{self, MarkDeed, MarkRecord};
use super::order::{ClubSpec, Stage, WorkKind};
use super::part_stock::UsedPart;
use super::sources::quantity_of;
pub use super::step_back::StepTakenBack;
use super::steps::Step;
use super::taking_up::TakenUp;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::club::cut::CutMark;
use crate::measurement::uncertainty::Budget;

super::order::named!(
    /// Where a club is in its life on this bench.
    ClubState {
        /// Not begun.
        Waiting = "waiting",
        /// The current club, or one that was begun.
        InWork = "in_work",
        /// Put aside.
        Aside = "aside",
        /// Done.
        Finished = "finished",
    }
);

/// How a value came into the record.
#[derive(Debug, Clone, PartialEq)]
pub enum Method {
    /// Captured from an instrument with a calibration.
    Measured {
        /// The instrument.
        instrument: String,
        /// The `calibrated` event in force.
        calibration: EventId,
        /// Whether the instrument was told to send it, by a key or by itself at rest.
        on_key: bool,
        /// Why the instrument was not to be trusted then, in words that follow its name, where it was not.
        trouble: Option<String>,
    },
    /// Typed by a person.
    Typed {
        /// The text as typed.
        text: String,
    },
}

impl Method {
    /// The name that keys an entry: the instrument's, or `typed`.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Measured { instrument, .. } => instrument,
            Self::Typed { .. } => "typed",
        }
    }
}

/// Whether an entry still counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It counts.
    Valid,
    /// A newer one of the same key took its place.
    Superseded,
    /// A person took it back.
    Voided,
}

/// Why a value says nothing of the club as it is now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outdated {
    /// The head was bent since.
    Bent,
    /// A loft that was worked out with another face angle than the one that is known now.
    LaterFace,
}

/// One value of a club's record.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Value, target and verdict.
    pub filed: FiledValue,
    /// How it came.
    pub method: Method,
    /// The `reading_captured` or `value_typed` event.
    pub event: EventId,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who was at the bench.
    pub by: Option<String>,
    /// Whether it counts.
    pub standing: Standing,
    /// What its uncertainty is made of, where it was measured.
    pub budget: Option<Budget>,
}

impl Entry {
    /// Whether it was measured on the club laid together without adhesive.
    pub(super) fn is_of_dry_fit(&self) -> bool {
        self.filed.stage == Stage::DryFit && self.filed.says_assembled()
    }

    fn same_key(&self, other: &Self) -> bool {
        self.filed.characteristic == other.filed.characteristic
            && self.filed.stage == other.filed.stage
            && self.method.name() == other.method.name()
    }
}

/// What a person has read and acknowledged before a step.
#[derive(Debug, Clone, PartialEq)]
pub struct Acknowledgement {
    /// The step.
    pub step: Step,
    /// What can hurt at it, as it was shown.
    pub cautions: Vec<Caution>,
    /// The place of the event in the journal.
    pub seq: u64,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub by: Option<String>,
}

/// Something of a club that was taken back.
#[derive(Debug, Clone, PartialEq)]
pub struct VoidRecord {
    /// The `reading_captured` or `value_typed` event.
    pub event: EventId,
    /// The place in the journal of the event that took it back.
    pub seq: u64,
    /// Why, in a person's words.
    pub why: String,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub by: Option<String>,
}

/// All that is known of one club.
#[derive(Debug, Clone, PartialEq)]
pub struct ClubRecord {
    /// What was ordered; of a finished club, what it was handed over with.
    pub spec: ClubSpec,
    /// What its order asks for now, where that was changed after the club was handed over.
    pub ordered_since: Option<Box<ClubSpec>>,
    /// What the order had changed when the club, handed over before, came into work again: it is judged by that now.
    pub judged_anew: Vec<String>,
    /// The order it belongs to.
    pub order: String,
    /// Where it is.
    pub state: ClubState,
    /// Every value ever filed, oldest first.
    pub entries: Vec<Entry>,
    /// Steps done, oldest first.
    pub steps: Vec<StepRecord>,
    /// Steps that a person had marked done and took back, in the order they were taken back. They count nowhere.
    pub steps_taken_back: Vec<StepTakenBack>,
    /// What was taken back, oldest first.
    pub voids: Vec<VoidRecord>,
    /// Bends announced, oldest first.
    pub bends: Vec<Bend>,
    /// What it is compared with and advised by: as the bench knows it, for a finished club as it was then.
    pub guide: Arc<Guide>,
    /// Second measurements of cut marks, oldest first.
    pub marks: Vec<MarkRecord>,
    /// Cautions acknowledged, oldest first.
    pub acknowledged: Vec<Acknowledgement>,
    /// How its head was last bonded, where a batch was in force.
    pub bond: Option<Bond>,
    /// Bonds before it, oldest first: a head that was set anew.
    pub earlier_bonds: Vec<Bond>,
    /// Decisions to hand it over although something was open, oldest first.
    pub hand_over_overrides: Vec<HandOverOverride>,
    /// Decisions to work on it again after it was finished, oldest first.
    pub taken_up: Vec<TakenUp>,
    /// Parts taken from the drawers for it, oldest first.
    pub takings: Vec<Taking>,
    /// Parts with a number or a maker's code that went into it, oldest first.
    pub parts: Vec<UsedPart>,
    /// How long it was in hand.
    pub in_hand: InHand,
    /// When it was finished.
    pub finished_at_us: Option<i64>,
    /// The last event that touched this club.
    pub last_seq: u64,
}

impl ClubRecord {
    /// A club nothing has happened to.
    #[must_use]
    pub fn new(order: &str, spec: ClubSpec) -> Self {
        Self {
            spec,
            ordered_since: None,
            judged_anew: Vec::new(),
            order: order.to_owned(),
            state: ClubState::Waiting,
            entries: Vec::new(),
            steps: Vec::new(),
            steps_taken_back: Vec::new(),
            voids: Vec::new(),
            bends: Vec::new(),
            guide: Arc::default(),
            marks: Vec::new(),
            acknowledged: Vec::new(),
            bond: None,
            earlier_bonds: Vec::new(),
            hand_over_overrides: Vec::new(),
            taken_up: Vec::new(),
            takings: Vec::new(),
            parts: Vec::new(),
            in_hand: InHand::default(),
            finished_at_us: None,
            last_seq: 0,
        }
    }

    /// The stage at which something measured on the assembled club now belongs.
    #[must_use]
    pub fn stage(&self) -> Stage {
        let reached = self.steps.iter().filter_map(|step| step.step.leaves_at()).max();
        let is_bent = self.bends.iter().any(|bend| !bend.is_voided);
        reached.unwrap_or(match self.spec.work {
            WorkKind::Build => Stage::DryFit,
            // As it came in, until something was done to it.
            // One that is only bent is worked on without a step; what is built is still as it came, though it was bent.
            work if self.steps.is_empty() && !(is_bent && work == WorkKind::LoftLie) => Stage::Received,
            // Its old shaft is pulled: head and shaft are laid together anew.
            WorkKind::Reshaft => Stage::DryFit,
            // Head and shaft stay together; only the grip is off.
            WorkKind::Regrip | WorkKind::ReLength => Stage::Bonded,
            WorkKind::LoftLie => Stage::Gripped,
        })
    }

    /// The stage an entry of `characteristic` belongs to now.
    #[must_use]
    pub fn stage_for(&self, characteristic: Characteristic) -> Stage {
        match characteristic.measured_on() {
            MeasuredOn::Part => Stage::Part,
            MeasuredOn::Club => self.stage(),
        }
    }

    /// Takes a value in; an older valid one of the same key is superseded.
    pub fn file(&mut self, entry: Entry) {
        for older in &mut self.entries {
            if older.standing == Standing::Valid && older.same_key(&entry) {
                older.standing = Standing::Superseded;
            }
        }
        self.entries.push(entry);
    }

    /// Takes back everything that came with `event`; the value it had superseded counts again.
    pub fn void(&mut self, event: EventId) {
        for bend in self.bends.iter_mut().filter(|bend| bend.event == event) {
            bend.is_voided = true;
        }
        let voided: Vec<Entry> = self.entries.iter().filter(|entry| entry.event == event).cloned().collect();
        for entry in &mut self.entries {
            if entry.event == event {
                entry.standing = Standing::Voided;
            }
        }
        for mark in &mut self.marks {
            let from = matches!(&mark.deed, MarkDeed::Measured(second) if second.reading == Some(event));
            mark.voided |= from || mark.event == event;
        }
        for gone in voided {
            let another = self.entries.iter().any(|e| e.standing == Standing::Valid && e.same_key(&gone));
            if !another
                && let Some(older) =
                    self.entries.iter_mut().rev().find(|e| e.standing == Standing::Superseded && e.same_key(&gone))
            {
                older.standing = Standing::Valid;
            }
        }
    }

    /// Parts that were taken for it went back.
    pub(super) fn give_back(&mut self, taking: EventId, why: &str) {
        for known in self.takings.iter_mut().filter(|known| known.event == taking) {
            known.returned = Some(why.to_owned());
        }
    }

    /// Weights on the club that came from the drawers.
    pub fn weights(&self) -> impl Iterator<Item = (&Taking, &TakenPart)> {
        let kept = self.takings.iter().filter(|taking| taking.returned.is_none());
        kept.flat_map(|taking| taking.parts.iter().filter(|p| p.at_mm.is_some()).map(move |part| (taking, part)))
    }

    /// The head, shaft or grip that was taken from the drawers for this club.
    #[must_use]
    pub fn part_taken(&self, kind: ItemKind) -> Option<(&Taking, &TakenPart)> {
        let kept = self.takings.iter().filter(|taking| taking.returned.is_none());
        kept.flat_map(|taking| taking.parts.iter().filter(move |p| p.kind == kind).map(move |part| (taking, part)))
            .last()
    }

    /// The same where it was not weighed since.
    #[must_use]
    pub fn replaced(&self, kind: ItemKind) -> Option<(&Taking, &TakenPart)> {
        let (taking, part) = self.part_taken(kind)?;
        let weighs = |entry: &Entry| {
            entry.standing == Standing::Valid
                && entry.filed.stage == Stage::Part
                && ItemKind::weighed_as(entry.filed.characteristic) == Some(kind)
        };
        let since = self.entries.iter().skip(taking.entries_before).any(weighs);
        (!since).then_some((taking, part))
    }

    /// Weights that were not on the club yet when `entry`, one of this record, was measured.
    pub fn weights_since<'a>(&'a self, entry: &'a Entry) -> impl Iterator<Item = &'a TakenPart> {
        let index = self.entries.iter().position(|other| std::ptr::eq(other, entry)).unwrap_or(0);
        let without = move |taking: &Taking| index < taking.entries_before || entry.at_us < taking.at_us;
        self.weights().filter(move |(taking, _)| without(taking)).map(|(_, part)| part)
    }

    /// Entries that count, oldest first.
    pub fn valid(&self) -> impl DoubleEndedIterator<Item = &Entry> {
        self.entries.iter().filter(|entry| entry.standing == Standing::Valid)
    }

    /// The newest valid entry of a characteristic, whatever its stage and method.
    #[must_use]
    pub fn latest(&self, characteristic: Characteristic) -> Option<&Entry> {
        self.valid().rfind(|entry| entry.filed.characteristic == characteristic)
    }

    /// The newest valid entry of a characteristic that says something about the club as it will be handed over: nothing
    /// that was measured before that angle was bent, and no loft worked out with another face angle.
    #[must_use]
    pub fn standing(&self, characteristic: Characteristic) -> Option<&Entry> {
        let bent = self.bends.iter().rfind(|bend| bend.characteristic == characteristic && !bend.is_voided);
        let since = bent.map_or(0, |bend| bend.entries_before);
        let counts = |e: &Entry| e.standing == Standing::Valid && e.filed.stage.counts_for(characteristic);
        let found = self.entries.iter().rposition(|e| e.filed.characteristic == characteristic && counts(e))?;
        if found < since || overtaken(self, found).is_some() { None } else { self.entries.get(found) }
    }

    /// Why a value that nobody took back does not count any more though no newer one of it is there.
    #[must_use]
    pub fn outdated(&self, entry: &Entry) -> Option<Outdated> {
        let of = entry.filed.characteristic;
        let index = self.entries.iter().position(|other| std::ptr::eq(other, entry))?;
        let counts = entry.standing == Standing::Valid && entry.filed.stage.counts_for(of);
        let is_bent = |bend: &Bend| bend.characteristic == of && !bend.is_voided && bend.entries_before > index;
        if !counts {
            None
        } else if self.bends.iter().any(is_bent) {
            Some(Outdated::Bent)
        } else {
            overtaken(self, index).map(|_| Outdated::LaterFace)
        }
    }

    /// What of the club as it would be handed over lies outside its limits: those that its order sets now, which may be others than
    /// when it was measured. What was out on the way, before the weights went in or the head was bent, does not count.
    pub fn outside(&self) -> impl Iterator<Item = Characteristic> {
        let is_out = |of: Characteristic| {
            let (entry, target) = self.standing(of).zip(self.spec.target(of))?;
            Some(entry.filed.is_outside_of(&target.target))
        };
        Characteristic::all().filter(move |of| is_out(*of).unwrap_or_default())
    }

    /// Characteristics the order asks for that are not measured yet, in the order of the work.
    pub fn missing(&self) -> impl Iterator<Item = Characteristic> {
        Characteristic::all().filter(|c| self.spec.target(*c).is_some() && self.standing(*c).is_none())
    }

    /// Everything the order asks for is measured.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        !self.spec.targets.is_empty() && self.missing().next().is_none()
    }

    /// Whether a step is done, by a person or by the measurement that proves it.
    #[must_use]
    pub fn has_done(&self, step: Step) -> bool {
        // A club that was taken up again is handed over anew.
        let again = self.taken_up.last().filter(|_| step == Step::HandOver);
        self.steps
            .iter()
            .skip(again.map_or(0, |again| again.steps_before))
            .any(|done| done.step == step && self.stands(done))
    }

    /// Whether a step still counts: one that a measurement proved does until that is taken back.
    #[must_use]
    pub fn stands(&self, done: &StepRecord) -> bool {
        let counts = |event| self.entries.iter().any(|e| e.event == event && e.standing != Standing::Voided);
        done.proof.is_none_or(counts)
    }

    /// The step that comes next on the club's route: the one behind the furthest that is done.
    #[must_use]
    pub fn next_step(&self) -> Option<Step> {
        let route = self.spec.route();
        let is_behind = |step: Step| self.has_done(step) || self.needs_no(step);
        let furthest = route.iter().rposition(|step| is_behind(*step));
        route.get(furthest.map_or(0, |at| at + 1)).copied()
    }

    /// Steps of the route that are not done and that a step passes over which is done now; a cure that is counted is not.
    pub(super) fn passed_over_by(&self, step: Step) -> impl Iterator<Item = Step> {
        let route = self.spec.route();
        let furthest = route.iter().rposition(|step| self.has_done(*step) || self.needs_no(*step));
        let (from, to) = (furthest.map_or(0, |at| at + 1), route.iter().position(|other| *other == step));
        let between = route.get(from..to.unwrap_or(from).max(from)).unwrap_or_default();
        between.iter().copied().filter(|step| *step != Step::Cure || self.bond.is_none())
    }

    /// Steps of the route that are not done though a later one is: what was skipped. That nothing had to be adjusted shows in the
    /// values, and a cure that is counted in its bond.
    pub fn skipped(&self) -> impl Iterator<Item = Step> {
        let route = self.spec.route();
        let furthest = route.iter().rposition(|step| self.has_done(*step)).unwrap_or(0);
        let before = route.get(..furthest).unwrap_or_default().iter().copied();
        before.filter(|step| {
            let shows = *step == Step::Adjust || (*step == Step::Cure && self.bond.is_some());
            !self.has_done(*step) && !self.needs_no(*step) && !shows
        })
    }

    /// Whether nobody has to say that a step is done: parts that are all weighed, or not to be weighed at all, are
    /// prepared unless a tip is to be cut, and a club that was measured at its dry fit was laid together.
    fn needs_no(&self, step: Step) -> bool {
        match step {
            Step::Prepare => {
                self.spec.work == WorkKind::Build
                    && self.parts_missing().next().is_none()
                    && marks::due(self) != Some(CutMark::Tip)
            }
            Step::DryFit => self.valid().any(Entry::is_of_dry_fit),
            _ => false,
        }
    }

    /// What the order asks for of the parts alone, and an instrument reads, and is not measured yet.
    pub fn parts_missing(&self) -> impl Iterator<Item = Characteristic> {
        self.missing().filter(|c| c.measured_on() == MeasuredOn::Part && quantity_of(*c).is_some())
    }

    /// Whether anything says that the parts were put together.
    #[must_use]
    pub fn is_assembled(&self) -> bool {
        let put_together = self.steps.iter().any(|done| done.step != Step::Prepare);
        put_together || self.spec.work != WorkKind::Build || self.valid().any(|e| e.filed.says_assembled())
    }

    /// Whether something was measured on the club or a step was done.
    #[must_use]
    pub fn is_begun(&self) -> bool {
        !self.steps.is_empty() || self.valid().next().is_some() || self.marks.iter().any(|mark| !mark.voided)
    }

    /// Whether nothing that came with `event` counts any more.
    #[must_use]
    pub fn is_voided(&self, event: EventId) -> bool {
        self.entries.iter().filter(|entry| entry.event == event).all(|entry| entry.standing == Standing::Voided)
            && self.marks.iter().filter(|mark| mark.event == event).all(|mark| mark.voided)
            && self.bends.iter().filter(|bend| bend.event == event).all(|bend| bend.is_voided)
    }
}
