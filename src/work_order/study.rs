//! Gauge studies of the bench as the fold of their events: what was read, what comes next, what came out.
//!
//! Absent: what may be begun or taken (`study_desk`), and the arithmetic (`measurement::study_result`).

use std::collections::HashMap;

use super::event::{Change, Event, EventId};
use super::study_plan::{Cell, StudyPlan, StudyStage, StudyTolerance};
use crate::measurement::gauge_study::CrossedStudy;
use crate::measurement::study_result::{StudyResult, percent_of_tolerance, study_result};

/// One reading of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyValue {
    /// The study.
    pub study: String,
    /// The part, from 1.
    pub part: u8,
    /// Who laid it down.
    pub person: String,
    /// The trial, from 1.
    pub trial: u8,
    /// The `reading_captured` event, with its raw bytes.
    pub reading: EventId,
    /// What was read, in the unit of the quantity.
    pub value: f64,
}

/// The numbers a finished study is remembered by; standard deviations in the unit of the quantity, by analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StudySummary {
    /// One person measuring one part again.
    pub repeatability: f64,
    /// Between people.
    pub reproducibility: f64,
    /// Both.
    pub measuring: f64,
    /// Between parts.
    pub parts: f64,
    /// Measuring in per cent of the total variation. `None` when nothing varies.
    pub percent_of_total: Option<f64>,
    /// Measuring in per cent of the tolerance, where it has two limits.
    pub percent_of_tolerance: Option<f64>,
    /// Kinds of part that can be told apart, rounded down. `None` for perfect measuring.
    pub categories: Option<u32>,
}

/// A study and how far it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// What is studied.
    pub plan: StudyPlan,
    /// The readings to take, in order.
    pub order: Vec<Cell>,
    /// What was read, in the same order.
    pub readings: Vec<Option<(EventId, f64)>>,
    /// Where it is.
    pub stage: StudyStage,
    /// When it was begun, in microseconds since 1970 UTC.
    pub begun_us: i64,
    /// When it last moved, in microseconds since 1970 UTC.
    pub moved_us: i64,
    /// Why it was given up.
    pub why: Option<String>,
    /// The readings in the order they were taken.
    pub(super) taken: Vec<EventId>,
}

impl Study {
    fn new(plan: &StudyPlan, at_us: i64) -> Self {
        let order = plan.order();
        Self {
            plan: plan.clone(),
            readings: vec![None; order.len()],
            order,
            stage: StudyStage::Open,
            begun_us: at_us,
            moved_us: at_us,
            why: None,
            taken: Vec::new(),
        }
    }

    /// The reading that comes next, with its place in the order from 0. `None` when all are there.
    #[must_use]
    pub fn next(&self) -> Option<(usize, Cell)> {
        let place = self.readings.iter().position(Option::is_none)?;
        Some((place, *self.order.get(place)?))
    }

    /// Who takes a reading.
    #[must_use]
    pub fn person(&self, cell: Cell) -> &str {
        self.plan.people.get(usize::from(cell.person)).map_or("", String::as_str)
    }

    /// How many readings are there.
    #[must_use]
    pub fn done(&self) -> usize {
        self.readings.iter().flatten().count()
    }

    /// Whether a reading stands in one of its cells.
    #[must_use]
    pub fn holds(&self, reading: EventId) -> bool {
        self.readings.iter().flatten().any(|(of, _)| *of == reading)
    }

    /// Whether it still takes readings, now or later.
    #[must_use]
    pub fn is_under_way(&self) -> bool {
        matches!(self.stage, StudyStage::Open | StudyStage::Aside)
    }

    /// The full table `[person][trial][part]`; `None` before all readings are there.
    #[must_use]
    pub fn table(&self) -> Option<CrossedStudy> {
        let at: HashMap<Cell, f64> =
            self.order.iter().zip(&self.readings).filter_map(|(cell, read)| Some((*cell, read.as_ref()?.1))).collect();
        let people = u8::try_from(self.plan.people.len()).ok()?;
        let row =
            |person, trial| (0..self.plan.parts).map(|part| at.get(&Cell { part, person, trial }).copied()).collect();
        let of = |person| (0..self.plan.trials).map(|trial| row(person, trial)).collect::<Option<Vec<Vec<f64>>>>();
        let table: Option<Vec<_>> = (0..people).map(of).collect();
        CrossedStudy::new(table?).ok()
    }

    /// What it found; `None` before all readings are there.
    #[must_use]
    pub fn result(&self) -> Option<StudyResult> {
        self.table().map(|table| study_result(&table))
    }

    /// The numbers it is remembered by; `None` before all readings are there.
    #[must_use]
    pub fn summary(&self) -> Option<StudySummary> {
        let spread = self.result()?.by_anova;
        let width = self.plan.tolerance.as_ref().and_then(StudyTolerance::width);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and kept between 0 and 1e6")]
        let whole = |categories: f64| categories.floor().clamp(0.0, 1e6) as u32;
        Some(StudySummary {
            repeatability: spread.repeatability,
            reproducibility: spread.reproducibility(),
            measuring: spread.measuring,
            parts: spread.parts,
            percent_of_total: spread.percent_of_total(spread.measuring),
            percent_of_tolerance: width.map(|width| percent_of_tolerance(spread.measuring, width)),
            categories: spread.categories().map(whole),
        })
    }

    /// What to do now, in words for the bench; `None` when nothing is awaited.
    #[must_use]
    pub fn next_words(&self, operator: Option<&str>) -> Option<String> {
        let (place, cell) = self.next().filter(|_| self.stage == StudyStage::Open)?;
        let (person, part, of) = (self.person(cell), cell.part + 1, self.order.len());
        Some(if operator == Some(person) {
            format!("study {}: lay part {part} on, by {person} ({} of {of})", self.plan.study, place + 1)
        } else {
            format!("study {}: {person} is next ({} of {of}); scan the card of {person}", self.plan.study, place + 1)
        })
    }

    pub(super) fn read(&mut self, value: &StudyValue, at_us: i64) {
        let cell = |cell: &Cell| {
            cell.part + 1 == value.part
                && cell.trial + 1 == value.trial
                && self.plan.people.get(usize::from(cell.person)) == Some(&value.person)
        };
        if let Some(place) = self.order.iter().position(cell)
            && let Some(slot) = self.readings.get_mut(place)
        {
            *slot = Some((value.reading, value.value));
            self.taken.push(value.reading);
            self.moved_us = at_us;
        }
    }

    fn forget(&mut self, reading: EventId, at_us: i64) {
        let Some(slot) = self.readings.iter_mut().find(|slot| slot.is_some_and(|(of, _)| of == reading)) else {
            return;
        };
        *slot = None;
        self.taken.retain(|of| *of != reading);
        self.moved_us = at_us;
        // A finished study that lost a reading waits for it again.
        if self.stage == StudyStage::Finished {
            self.stage = StudyStage::Open;
        }
    }
}

/// All studies of the bench, oldest first.
#[derive(Debug, Clone, Default)]
pub struct Studies {
    /// The studies.
    pub list: Vec<Study>,
    /// Which study a reading belongs to.
    of_reading: HashMap<EventId, usize>,
}

impl Studies {
    /// Takes one event in.
    pub fn apply(&mut self, event: &Event) {
        let at_us = event.at_us;
        match &event.change {
            Change::StudyBegun(plan) => self.list.push(Study::new(plan, at_us)),
            Change::StudyRead(value) => {
                if let Some(index) = self.list.iter().position(|study| study.plan.study == value.study) {
                    self.of_reading.insert(value.reading, index);
                    self.on(&value.study, |study| study.read(value, at_us));
                }
            }
            Change::ReadingVoided { reading, .. } => {
                if let Some(index) = self.of_reading.get(reading).copied()
                    && let Some(study) = self.list.get_mut(index)
                {
                    study.forget(*reading, at_us);
                }
            }
            Change::StudySetAside { study } => self.on(study, |study| study.stage = StudyStage::Aside),
            Change::StudyResumed { study } => self.on(study, |study| {
                study.stage = StudyStage::Open;
                study.moved_us = at_us;
            }),
            Change::StudyBrokenOff { study, why } => self.on(study, |study| {
                study.stage = StudyStage::BrokenOff;
                study.why = Some(why.clone());
            }),
            Change::StudyFinished { study, .. } => self.on(study, |study| study.stage = StudyStage::Finished),
            // Whoever comes to the bench for a study means to go on with it.
            Change::OperatorChanged { operator: Some(who) } => {
                let comes = |study: &&mut Study| study.stage == StudyStage::Open && study.plan.people.contains(who);
                self.list.iter_mut().filter(comes).for_each(|study| study.moved_us = at_us);
            }
            _ => {}
        }
    }

    fn on(&mut self, study: &str, change: impl FnOnce(&mut Study)) {
        if let Some(study) = self.list.iter_mut().find(|known| known.plan.study == study) {
            change(study);
        }
    }

    /// A study by its name.
    #[must_use]
    pub fn get(&self, study: &str) -> Option<&Study> {
        self.list.iter().find(|known| known.plan.study.eq_ignore_ascii_case(study))
    }

    /// The study that takes the readings of an instrument now.
    #[must_use]
    pub fn open_on(&self, instrument: &str) -> Option<&Study> {
        self.list.iter().rev().find(|study| study.stage == StudyStage::Open && study.plan.instrument == instrument)
    }

    /// The study that a reading belongs to, or belonged to before it was taken back.
    #[must_use]
    pub fn of_reading(&self, reading: EventId) -> Option<&Study> {
        self.list.get(*self.of_reading.get(&reading)?)
    }
}
