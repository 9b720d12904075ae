//! The state of the bench's work: the fold of all events. `apply` never fails and never decides.

use std::collections::{BTreeMap, HashMap, VecDeque};
use std::sync::Arc;

use super::adhesive::{Adhesives, Override};
use super::bending::Bend;
pub use super::capture_line::{CaptureLine, Fate};
use super::checks::Policy;
use super::difference::Revision;
use super::drawer_stock::{DrawerStock, Taking};
use super::event::{CapturedReading, Change, Event, EventId, FiledValue, Place};
use super::guide::Guide;
use super::hand_over::HandOverOverride;
use super::learning::Learning;
use super::marks::{MarkDeed, MarkRecord};
use super::order::Order;
use super::part_stock::PartStock;
use super::record::{Acknowledgement, ClubRecord, ClubState, Entry, Method, VoidRecord};
use super::sources::quantity_of;
use super::study::Studies;
use super::trust::Trust;
use crate::club::characteristic::Characteristic;
use crate::club::cut::CutMark;

/// How many captured readings stay at hand for the display and for filing by hand.
const CAPTURES_AT_HAND: usize = 40;

/// The calibration event in force for an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct InForce {
    /// The `calibrated` event.
    pub event: EventId,
    /// Its content.
    pub change: Change,
}

/// Everything the events say.
#[derive(Debug, Clone, Default)]
pub struct State {
    /// Orders by number.
    pub orders: BTreeMap<String, Order>,
    /// Order numbers, oldest import first.
    pub order_sequence: Vec<String>,
    /// What each later version of an order changed, oldest first, by number.
    pub revisions: BTreeMap<String, VecDeque<Revision>>,
    /// Orders put aside, with the reason.
    pub orders_aside: BTreeMap<String, String>,
    /// The club of an order that was in hand last and was not put aside by itself, by the order's number.
    pub(super) left_in_hand: BTreeMap<String, String>,
    /// Clubs by id.
    pub clubs: HashMap<String, ClubRecord>,
    /// The order that is open.
    pub current_order: Option<String>,
    /// The club that is open.
    pub current_club: Option<String>,
    /// The club finished last.
    pub finished_last: Option<String>,
    /// The last captured readings, oldest first.
    pub captures: VecDeque<CaptureLine>,
    /// The last captured placement of each instrument, for resuming after a restart.
    pub last_capture: HashMap<String, CapturedReading>,
    /// Calibrations in force by instrument.
    pub calibrations: HashMap<String, InForce>,
    /// Instruments that send now, as far as the journal knows.
    pub connected: BTreeMap<String, bool>,
    /// Who is at the bench.
    pub operator: Option<String>,
    /// Checks and calibrations of the instruments.
    pub trust: Trust,
    /// Gauge studies.
    pub studies: Studies,
    /// Adhesives, batches and the running time that cures are counted in.
    pub adhesives: Adhesives,
    /// The rules that verdicts and checks go by.
    pub policy: Policy,
    /// What clubs are compared with and advised by.
    pub guide: Arc<Guide>,
    /// The drawers and what is left in them.
    pub drawer_stock: DrawerStock,
    /// Numbered parts in stock.
    pub part_stock: PartStock,
    /// What forecasts have learnt from finished clubs.
    pub learning: Learning,
    /// Sequence of the last event applied.
    pub seq: u64,
    /// The club each captured reading or typed value went to, for voiding.
    place_of: HashMap<EventId, String>,
    /// The last captured and typed values that count, oldest first, for taking the last one back.
    recent: VecDeque<(u64, EventId)>,
}

impl State {
    /// Takes one event in.
    pub fn apply(&mut self, event: &Event) {
        self.seq = event.seq;
        self.trust.apply(event);
        self.studies.apply(event);
        self.adhesives.apply(event);
        self.drawer_stock.apply(event);
        self.part_stock.apply(event);
        self.note_in_hand(event);
        if let Some(record) = event.change.bearing().club.and_then(|club| self.clubs.get_mut(club)) {
            record.in_hand.apply(event);
        }
        match &event.change {
            Change::SessionStarted { .. } => self.connected.clear(),
            Change::SessionEnded
            | Change::JournalSalvaged { .. }
            | Change::SegmentRetired { .. }
            | Change::ReferenceExpected { .. }
            | Change::ReferenceWithdrawn { .. }
            | Change::CalibrationBegun { .. }
            | Change::CalibrationProposed { .. }
            | Change::CalibrationAbandoned { .. }
            | Change::StudyBegun(_)
            | Change::StudySetAside { .. }
            | Change::StudyResumed { .. }
            | Change::StudyBrokenOff { .. }
            | Change::StudyFinished { .. }
            | Change::DrawersSet(_)
            | Change::StockCounted { .. }
            | Change::StockRefilled { .. }
            | Change::IntakeBegun(_)
            | Change::IntakeEnded { .. }
            | Change::PartDescribed { .. }
            | Change::PartWithdrawn { .. } => {}
            Change::PartMeasured(_) | Change::PartUsed(_) | Change::PartReleased { .. } => self.apply_part(event),
            Change::PartsTaken { club, parts } => {
                let (at_us, by, parts) = (event.at_us, event.by.clone(), parts.clone());
                self.on_club(club, event.seq, |record| {
                    let entries_before = record.entries.len();
                    record.takings.push(Taking { event: event.id, at_us, by, parts, returned: None, entries_before });
                });
            }
            Change::PartsReturned { club, taking, why } => {
                self.on_club(club, event.seq, |record| record.give_back(*taking, why));
            }
            Change::PolicySet(policy) => self.policy = *policy,
            Change::RulesSet(rules) => self.guide_changed(|guide| guide.rules = rules.clone()),
            Change::BendLimitsSet { limits } => self.guide_changed(|guide| guide.bend_limits.clone_from(limits)),
            Change::BendDone { club, characteristic, lever_deg } => {
                self.bend(event, club, (*characteristic, *lever_deg));
            }
            Change::Checked(check) => {
                if let Some(reading) = check.reading {
                    self.is_reference(reading);
                }
            }
            Change::ReferenceRead { placement, .. } => self.is_reference(placement.reading),
            Change::AnglesChecked(check) => self.is_reference(check.reading),
            Change::StudyRead(value) => self.set_fate(value.reading, Fate::Study { study: value.study.clone() }),
            Change::OrderImported { order } => self.take_order(order, event.seq),
            Change::OrderRevised { order } => {
                self.revise(event, order);
                self.take_order(order, event.seq);
            }
            Change::OrderOpened { order } => self.current_order = Some(order.clone()),
            Change::OrderPutAside { order, why } => {
                self.orders_aside.insert(order.clone(), why.clone());
                if self.current_order.as_ref() == Some(order) {
                    self.current_order = None;
                }
            }
            Change::OrderTakenUp { order } => {
                self.orders_aside.remove(order);
            }
            Change::ClubOpened { club } => self.open_club(club, event.seq),
            Change::ClubPutAside { club } => {
                // A finished one was looked at: that does not unfinish it.
                self.on_club(club, event.seq, |record| {
                    if record.state != ClubState::Finished {
                        record.state = ClubState::Aside;
                    }
                });
                if self.current_club.as_ref() == Some(club) {
                    self.current_club = None;
                }
            }
            Change::ReadingCaptured(captured) => self.capture(event, captured),
            Change::ReadingFiled { reading, club, instrument, calibration, values, trouble, .. } => {
                let place = |v: &FiledValue| Place { club: club.clone(), characteristic: v.characteristic };
                let places = values.iter().map(|v| (place(v), v.stage)).collect();
                // A reading filed again by hand leaves its former place, be it in the same club.
                if let Some(former) = self.place_of.get(reading).cloned() {
                    self.on_club(&former, event.seq, |record| record.void(*reading));
                }
                self.set_fate(*reading, Fate::Filed(places));
                self.place_of.insert(*reading, club.clone());
                let line = self.capture_line(*reading);
                let on_key = line.is_some_and(|line| line.captured.on_key);
                let (instrument, calibration, trouble) = (instrument.clone(), *calibration, trouble.clone());
                let method = Method::Measured { instrument, calibration, on_key, trouble };
                let at_us = line.map_or(event.at_us, |line| line.at_us);
                let budgets = line.map(|line| line.captured.budget.clone()).unwrap_or_default();
                self.on_club(club, event.seq, |record| {
                    for value in values {
                        record.file(Entry {
                            filed: value.clone(),
                            method: method.clone(),
                            event: *reading,
                            at_us,
                            by: event.by.clone(),
                            standing: super::record::Standing::Valid,
                            budget: budgets
                                .iter()
                                .find(|b| quantity_of(value.characteristic) == Some(b.quantity))
                                .cloned(),
                        });
                    }
                });
            }
            Change::ReadingUnfiled { reading, reason, choices } => {
                self.set_fate(*reading, Fate::Unfiled { reason: reason.clone(), choices: choices.clone() });
            }
            Change::ReadingVoided { reading, why } => {
                self.set_fate(*reading, Fate::Voided { why: why.clone() });
                self.recent.retain(|(_, recent)| recent != reading);
                if let Some(club) = self.place_of.get(reading).cloned() {
                    let (at_us, by, why) = (event.at_us, event.by.clone(), why.clone());
                    self.on_club(&club, event.seq, |record| {
                        record.void(*reading);
                        record.voids.push(VoidRecord { event: *reading, seq: event.seq, why, at_us, by });
                    });
                }
            }
            Change::ValueTyped { club, text, value } => {
                self.place_of.insert(event.id, club.clone());
                self.remember(event);
                let entry = Entry {
                    filed: value.clone(),
                    method: Method::Typed { text: text.clone() },
                    event: event.id,
                    at_us: event.at_us,
                    by: event.by.clone(),
                    standing: super::record::Standing::Valid,
                    budget: None,
                };
                self.on_club(club, event.seq, |record| record.file(entry));
            }
            Change::StepDone { .. } => self.take_step(event),
            Change::StepTakenBack { .. } => self.take_step_back(event),
            Change::MarkMeasured(measured) => {
                self.remember(event);
                self.take_mark(event, &measured.club, measured.mark, MarkDeed::Measured(measured.clone()));
            }
            Change::MarkOverridden(over) => {
                self.take_mark(event, &over.club, over.mark, MarkDeed::Overridden(over.clone()));
            }
            Change::CautionsAcknowledged { club, step, cautions } => {
                let (seq, at_us, by) = (event.seq, event.at_us, event.by.clone());
                let read = Acknowledgement { step: *step, cautions: cautions.clone(), seq, at_us, by };
                self.on_club(club, event.seq, |record| record.acknowledged.push(read));
            }
            Change::CureOverridden { club, name, why } => {
                let overridden = Override { name: name.clone(), why: why.clone(), at_us: event.at_us };
                self.on_club(club, event.seq, |record| {
                    if let Some(bond) = &mut record.bond {
                        bond.overridden = Some(overridden);
                    }
                });
            }
            Change::HandOverOverridden { club, name, why, open } => {
                let decided = Override { name: name.clone(), why: why.clone(), at_us: event.at_us };
                let open = open.clone();
                self.on_club(club, event.seq, |record| {
                    record.hand_over_overrides.push(HandOverOverride { decided, open });
                });
            }
            Change::AdhesiveEntered { .. }
            | Change::BatchMixed { .. }
            | Change::BatchDiscarded { .. }
            | Change::ClockStepped { .. } => {}
            Change::ClubFinished { club } => {
                self.on_club(club, event.seq, |record| {
                    record.state = ClubState::Finished;
                    record.finished_at_us = Some(event.at_us);
                    record.judged_anew.clear();
                });
                if self.current_club.as_ref() == Some(club) {
                    self.current_club = None;
                }
                self.finished_last = Some(club.clone());
            }
            Change::ClubTakenUp { club, .. } => self.on_club(club, event.seq, |record| record.take_up(event)),
            Change::ClubReopened { club } => {
                let guide = self.guide.clone();
                self.on_club(club, event.seq, |record| {
                    record.state = ClubState::InWork;
                    record.finished_at_us = None;
                    record.taken_into_work();
                    record.guide = guide;
                });
            }
            Change::InstrumentFound { instrument, .. } => {
                self.connected.insert(instrument.clone(), true);
            }
            Change::InstrumentLost { instrument, .. } => {
                self.connected.insert(instrument.clone(), false);
            }
            Change::Calibrated { instrument, .. } => {
                let in_force = InForce { event: event.id, change: event.change.clone() };
                self.calibrations.insert(instrument.clone(), in_force);
            }
            Change::OperatorChanged { operator } => self.operator.clone_from(operator),
        }
    }

    /// The club that is open.
    #[must_use]
    pub fn club(&self) -> Option<&ClubRecord> {
        self.current_club.as_ref().and_then(|id| self.clubs.get(id))
    }

    /// The order that is open.
    #[must_use]
    pub fn order(&self) -> Option<&Order> {
        self.current_order.as_ref().and_then(|number| self.orders.get(number))
    }

    /// The line of a captured reading that is still at hand.
    #[must_use]
    pub fn capture_line(&self, event: EventId) -> Option<&CaptureLine> {
        self.captures.iter().rev().find(|line| line.event == event)
    }

    /// The last captured or typed value that counts.
    #[must_use]
    pub fn last_value(&self) -> Option<EventId> {
        self.last_value_at().map(|(_, event)| event)
    }

    /// The same with its place in the journal.
    pub(super) fn last_value_at(&self) -> Option<(u64, EventId)> {
        self.recent.back().copied()
    }

    /// The club that a captured reading or typed value went to.
    #[must_use]
    pub fn place_of(&self, event: EventId) -> Option<&str> {
        self.place_of.get(&event).map(String::as_str)
    }

    /// Clubs in the order of import and position.
    pub fn clubs_in_order(&self) -> impl Iterator<Item = &ClubRecord> {
        self.order_sequence
            .iter()
            .filter_map(|number| self.orders.get(number))
            .flat_map(|order| order.clubs.iter())
            .filter_map(|club| self.clubs.get(&club.id))
    }

    /// Takes an order that is not at hand in from a fold of its own events, at its place among the orders.
    pub fn recall(&mut self, order: &str, mut from: Self, place: usize) {
        let Some(recalled) = from.orders.get(order).filter(|_| !self.orders.contains_key(order)) else { return };
        self.orders.insert(order.to_owned(), recalled.clone());
        self.order_sequence.insert(place.min(self.order_sequence.len()), order.to_owned());
        if let Some(told) = from.revisions.remove(order) {
            self.revisions.insert(order.to_owned(), told);
        }
        if let Some(why) = from.orders_aside.remove(order) {
            self.orders_aside.insert(order.to_owned(), why);
        }
        if let Some(club) = from.left_in_hand.remove(order) {
            self.left_in_hand.insert(order.to_owned(), club);
        }
        self.drawer_stock.remember(std::mem::take(&mut from.drawer_stock));
        for (event, club) in from.place_of {
            self.place_of.entry(event).or_insert(club);
        }
        for (id, mut club) in from.clubs {
            for bond in club.bond.iter_mut().chain(&mut club.earlier_bonds) {
                bond.run_us = self.adhesives.elapsed.moved(bond.run_us, &from.adhesives.elapsed);
            }
            self.learning.note(&club);
            self.clubs.entry(id).or_insert(club);
        }
    }

    /// Lets go of an order with its clubs; what they have taught stays. What happens to it later is not taken in any more.
    pub fn forget(&mut self, order: &str) -> Option<Order> {
        let forgotten = self.orders.remove(order)?;
        self.order_sequence.retain(|number| number != order);
        self.revisions.remove(order);
        self.orders_aside.remove(order);
        self.left_in_hand.remove(order);
        for club in forgotten.clubs.iter().filter_map(|spec| self.clubs.remove(&spec.id)) {
            let entries = club.entries.iter().map(|entry| entry.event);
            let others = club.bends.iter().map(|bend| bend.event).chain(club.marks.iter().map(|mark| mark.event));
            for event in entries.chain(others) {
                self.place_of.remove(&event);
            }
        }
        Some(forgotten)
    }

    /// Takes over what was learnt of bending and of forecasts from a fold of the clubs that taught it.
    pub fn teach(&mut self, from: &Self) {
        let mut learning = from.learning.clone();
        self.clubs_in_order().for_each(|club| learning.note(club));
        self.learning = learning;
        let learnt = from.guide.sprang_back.clone();
        self.guide_changed(|guide| guide.sprang_back = learnt);
    }

    /// Changes what clubs are compared with and advised by, for all that are not finished.
    fn guide_changed(&mut self, change: impl FnOnce(&mut Guide)) {
        change(Arc::make_mut(&mut self.guide));
        for record in self.clubs.values_mut().filter(|record| record.state != ClubState::Finished) {
            record.guide = self.guide.clone();
        }
    }

    fn bend(&mut self, event: &Event, club: &str, (characteristic, lever_deg): (Characteristic, f64)) {
        self.place_of.insert(event.id, club.to_owned());
        self.on_club(club, event.seq, |record| {
            record.bends.push(Bend {
                characteristic,
                lever_deg,
                event: event.id,
                seq: event.seq,
                at_us: event.at_us,
                by: event.by.clone(),
                entries_before: record.entries.len(),
                is_voided: false,
            });
        });
    }

    fn open_club(&mut self, club: &str, seq: u64) {
        self.current_club = Some(club.to_owned());
        self.on_club(club, seq, |record| {
            // A finished club may be looked at and measured again without being unfinished by that.
            if record.state != ClubState::Finished {
                record.state = ClubState::InWork;
            }
        });
    }

    fn take_mark(&mut self, event: &Event, club: &str, mark: CutMark, deed: MarkDeed) {
        self.place_of.insert(event.id, club.to_owned());
        let by = event.by.clone();
        let record = MarkRecord { mark, deed, event: event.id, at_us: event.at_us, by, voided: false };
        self.on_club(club, event.seq, |club| club.marks.push(record));
    }

    fn capture(&mut self, event: &Event, captured: &CapturedReading) {
        self.last_capture.insert(captured.instrument.clone(), captured.clone());
        self.remember(event);
        if self.captures.len() == CAPTURES_AT_HAND {
            self.captures.pop_front();
        }
        self.captures.push_back(CaptureLine {
            event: event.id,
            at_us: event.at_us,
            captured: captured.clone(),
            fate: Fate::Open,
        });
    }

    fn remember(&mut self, value: &Event) {
        if self.recent.len() == CAPTURES_AT_HAND {
            self.recent.pop_front();
        }
        self.recent.push_back((value.seq, value.id));
    }

    /// A reference is no value that "the last one" could mean.
    fn is_reference(&mut self, reading: EventId) {
        self.set_fate(reading, Fate::Reference);
        self.recent.retain(|(_, recent)| *recent != reading);
    }

    pub(super) fn is_placed(&mut self, reading: EventId, club: &str) {
        self.place_of.insert(reading, club.to_owned());
    }

    pub(super) fn set_fate(&mut self, reading: EventId, fate: Fate) {
        if let Some(line) = self.captures.iter_mut().rev().find(|line| line.event == reading) {
            line.fate = fate;
        }
    }

    pub(super) fn on_club(&mut self, club: &str, seq: u64, change: impl FnOnce(&mut ClubRecord)) {
        let Some(record) = self.clubs.get_mut(club) else { return };
        record.last_seq = seq;
        change(record);
        self.learning.note(record);
        if !record.bends.is_empty() {
            let bent = record.clone();
            self.guide_changed(|guide| guide.learn(&bent));
        }
    }
}
