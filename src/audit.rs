//! Proves a whole journal: the chain from the first event to the last, and every number from its raw bytes.
//!
//! A reader comes in, faults with their event go out. Damage never ends the audit: what can still be read is proved,
//! and what the database itself cannot read is a fault like any other. Nothing is repaired.

use std::collections::HashMap;
use std::path::Path;

use crate::journal::chain::{GENESIS, link, sha256};
use crate::journal::damage::{RawRow, Unreadable};
use crate::journal::event;
use crate::journal::evidence;
use crate::journal::lock;
use crate::journal::salvage::{Salvaged, Span, add, broken_log, salvage};
use crate::journal::store::Reader;
use crate::proof::{prove, prove_filed};
use crate::work_order::checks::Chart;
use crate::work_order::event::{CapturedReading, Change, Event, EventId, FiledValue};
use crate::work_order::laid::laid;
use crate::work_order::record::ClubRecord;
use crate::work_order::state::State;
use crate::work_order::study::Study;
use crate::work_order::{part_desk, study_desk, trust};

/// What was proved and what is wrong.
#[derive(Debug, Default)]
pub struct Audit {
    /// Events read.
    pub events: u64,
    /// Readings recomputed from raw bytes.
    pub readings: u64,
    /// Values judged again.
    pub values: u64,
    /// Checks and reference readings worked out again.
    pub references: u64,
    /// Readings of gauge studies put to their place again, and results worked out again.
    pub studies: u64,
    /// The last hash of the chain.
    pub chain: String,
    /// What is wrong: first the file as a whole, then in the order of the journal.
    pub faults: Vec<Fault>,
    /// Missing events that an event of the journal tells of.
    pub known_gaps: Vec<Span>,
    gaps: Vec<Span>,
    told: Vec<Span>,
    /// What is whole in the raw file; looked for at the first damage.
    salvaged: Option<Salvaged>,
    /// Numbers are worked out again, too.
    with_numbers: bool,
    /// An event cannot be read.
    lost: bool,
    calibrations: HashMap<EventId, Change>,
    captured: HashMap<EventId, CapturedReading>,
    state: State,
}

/// Something that does not hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The event it was found at; `None` for the file as a whole.
    pub seq: Option<u64>,
    /// What is wrong, in words.
    pub what: String,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.seq {
            Some(seq) => write!(f, "event {seq}: {}", self.what),
            None => write!(f, "the file: {}", self.what),
        }
    }
}

/// Proves a journal: chain, numbers and index.
pub async fn audit(reader: &Reader) -> Audit {
    let mut audit = Audit { with_numbers: true, ..Audit::default() };
    audit.run(reader).await;
    // Where an event is lost, the index may well know more than the fold.
    if !audit.lost {
        audit.index(reader).await;
    }
    audit
}

/// Proves the chain alone: that every event is there, readable, and the one that was written.
pub async fn audit_chain(reader: &Reader) -> Audit {
    let mut audit = Audit::default();
    audit.run(reader).await;
    audit
}

/// Proves what is left of a journal that the database cannot open; `why` is what it said.
pub async fn audit_damaged(file: &Path, why: &str) -> Audit {
    let mut audit = Audit { with_numbers: true, ..Audit::unreadable(format!("it is no journal any more: {why}")) };
    match salvage(file).await {
        Ok(salvaged) => {
            let reader = salvaged.reader.clone();
            audit.salvaged = Some(salvaged);
            audit.run(&reader).await;
        }
        Err(error) => audit.fault(None, &causes(&error)),
    }
    audit
}

impl Audit {
    async fn run(&mut self, reader: &Reader) {
        for what in reader.structure().await {
            self.fault(None, &what);
        }
        // A log that a daemon writes to cannot be judged from outside.
        let is_at_rest = reader.file().parent().is_none_or(|folder| lock::running(folder).is_none());
        if is_at_rest && let Some(what) = broken_log(reader.file()) {
            self.fault(None, &format!("its write-ahead log: {what}"));
        }
        let mut last = reader.last_seq().await.unwrap_or_else(|error| {
            self.fault(None, &format!("its last event cannot be found: {}", causes(&error)));
            0
        });
        if !self.faults.is_empty() {
            last = last.max(self.salvage(reader).await);
        }
        // Either hash may be the true one when a stored hash and its event do not agree.
        let mut previous = [GENESIS.to_owned(), GENESIS.to_owned()];
        let mut before_gap = String::new();
        let mut seq = 0;
        while seq < last {
            seq += 1;
            match self.raw_row(reader, seq).await {
                Some(row) => {
                    previous = self.row(reader, seq, &row, &previous, &before_gap).await;
                    before_gap.clone_from(&previous[0]);
                }
                None => {
                    self.lost = true;
                    previous = [String::new(), String::new()];
                }
            }
        }
        self.chain = before_gap;
        self.settle();
    }

    /// What is whole in the raw file, where it had to be looked for.
    #[must_use]
    pub fn salvaged(&self) -> Option<&Salvaged> {
        self.salvaged.as_ref()
    }

    /// Looks for what is whole in the raw file, once; the last sequence that is known from it.
    async fn salvage(&mut self, reader: &Reader) -> u64 {
        if self.salvaged.is_none() {
            match salvage(reader.file()).await {
                Ok(salvaged) => self.salvaged = Some(salvaged),
                Err(error) => self.fault(None, &causes(&error)),
            }
        }
        self.salvaged.as_ref().map_or(0, |salvaged| salvaged.findings.last)
    }

    /// A row from the database, or else from the raw file.
    async fn raw_row(&mut self, reader: &Reader, seq: u64) -> Option<RawRow> {
        let why = match reader.raw_row(seq).await {
            Ok(Some(row)) => return Some(row),
            Ok(None) => None,
            Err(unreadable) => Some(unreadable.to_string()),
        };
        self.salvage(reader).await;
        let found = match &self.salvaged {
            Some(salvaged) => salvaged.reader.raw_row(seq).await.ok().flatten(),
            None => None,
        };
        match (&found, why) {
            (Some(_), _) => self.fault(Some(seq), "the database does not find it any more; it is whole in the file"),
            (None, Some(why)) => self.fault(Some(seq), &why),
            (None, None) => add(&mut self.gaps, seq),
        }
        found
    }

    /// Says which events are missing, now that it is known which of them the journal tells of.
    fn settle(&mut self) {
        for gap in std::mem::take(&mut self.gaps) {
            if self.told.iter().any(|told| told.first <= gap.first && gap.last <= told.last) {
                self.known_gaps.push(gap);
            } else if gap.first == gap.last {
                self.fault(Some(gap.first), "is missing");
            } else {
                self.fault(Some(gap.first), &format!("is missing, and so is every one up to {}", gap.last));
            }
        }
        self.faults.sort_by_key(|fault| fault.seq);
    }

    /// An audit that ended before it began.
    #[must_use]
    pub fn unreadable(what: String) -> Self {
        Self { faults: vec![Fault { seq: None, what }], ..Self::default() }
    }

    /// Whether every record is found through the index as the whole fold has it.
    async fn index(&mut self, reader: &Reader) {
        let clubs: Vec<_> = self.state.clubs_in_order().cloned().collect();
        for club in clubs {
            let found = reader.club(&club.spec.id).await;
            let same = found.is_ok_and(|found| found.is_some_and(|found| is_same(&found.club, &club)));
            if !same {
                let what =
                    format!("its index leads to another record of {}; `records reindex` makes it again", club.spec.id);
                self.fault(None, &what);
            }
        }
    }

    fn fault(&mut self, seq: Option<u64>, what: &str) {
        self.faults.push(Fault { seq, what: what.to_owned() });
    }

    /// Proves one row; the hashes the next one may build on leave: as stored and as computed.
    async fn row(
        &mut self,
        reader: &Reader,
        seq: u64,
        row: &RawRow,
        previous: &[String; 2],
        before_gap: &str,
    ) -> [String; 2] {
        self.events += 1;
        let computed = previous.each_ref().map(|previous| link(previous, &row.body));
        let stored = String::from_utf8_lossy(&row.hash).into_owned();
        // Behind a gap there is no hash to build on; the gap is named already.
        let known = !previous[0].is_empty();
        if known && !computed.contains(&stored) {
            self.fault(Some(seq), "the chain does not hold: its text or its hash was changed");
        }
        let after = [stored.clone(), if known { computed[0].clone() } else { stored }];
        let text = std::str::from_utf8(&row.body).map_err(|_| "its text is not readable".to_owned());
        match text.and_then(|text| event::parse(text).map_err(|error| error.to_string())) {
            Ok(event) => {
                self.columns(reader, seq, row, &event);
                if let Change::JournalSalvaged { missing, .. } = &event.change {
                    self.told.extend(missing.iter().map(|(first, last)| Span { first: *first, last: *last }));
                    // Whoever tells of a gap was written behind it.
                    if !known && link(before_gap, &row.body) != after[0] {
                        self.fault(
                            Some(seq),
                            "the chain does not hold: it does not follow the last event before the gap",
                        );
                    }
                }
                if self.with_numbers {
                    self.event(reader, &event).await;
                    self.state.apply(&event);
                }
            }
            Err(what) => {
                self.lost = true;
                self.fault(Some(seq), &what);
            }
        }
        after
    }

    /// The columns beside the text only repeat it.
    fn columns(&mut self, reader: &Reader, seq: u64, row: &RawRow, event: &Event) {
        if event.seq != seq {
            self.fault(Some(seq), &format!("it says that it is event {}", event.seq));
        }
        if event.epoch != reader.epoch() {
            self.fault(Some(seq), &format!("it is of journal {}, this is journal {}", event.epoch, reader.epoch()));
        }
        let bench = format!("\"bench\":{}", serde_json::Value::from(reader.bench()));
        if !String::from_utf8_lossy(&row.body).contains(&bench) {
            self.fault(Some(seq), &format!("it is of another bench than {}", reader.bench()));
        }
        let same = row.id == event.id.to_string().into_bytes()
            && row.kind == event.change.kind().as_bytes()
            && row.at_us == Some(event.at_us);
        if !same {
            self.fault(Some(seq), "its columns say something else than its text");
        }
    }

    async fn event(&mut self, reader: &Reader, event: &Event) {
        let seq = Some(event.seq);
        match &event.change {
            Change::Calibrated { instrument, .. } => {
                self.calibrations.insert(event.id, event.change.clone());
                if let Some(what) = self.adjustment(instrument, &event.change) {
                    self.fault(seq, what);
                }
            }
            Change::ReadingCaptured(captured) => {
                self.readings += 1;
                self.captured.insert(event.id, captured.clone());
                if let Err(what) = self.reading(reader, captured).await {
                    self.fault(seq, &format!("reading of {}: {what}", captured.instrument));
                }
                if let Some(what) = self.inputs(captured, event.at_us) {
                    self.fault(seq, &format!("reading of {}: {what}", captured.instrument));
                }
            }
            Change::ReadingFiled { reading, values, club, .. } => {
                self.limits(event, club, values);
                let Some(captured) = self.captured.get(reading) else {
                    self.fault(seq, &format!("files reading {reading}, which is not in the journal"));
                    return;
                };
                self.values += u64::try_from(values.len()).unwrap_or(0);
                let doubts: Vec<String> = values
                    .iter()
                    .filter_map(|value| prove_filed(Some(captured), value).err())
                    .map(|d| d.to_string())
                    .collect();
                for doubt in doubts {
                    self.fault(seq, &doubt);
                }
            }
            Change::ValueTyped { value, club, .. } => {
                self.values += 1;
                self.limits(event, club, std::slice::from_ref(value));
                if let Err(doubt) = prove_filed(None, value) {
                    self.fault(seq, &doubt.to_string());
                }
            }
            Change::Checked(check) => {
                if let Some(reading) = check.reading {
                    self.reference(event, reading);
                }
            }
            Change::AnglesChecked(check) => self.reference(event, check.reading),
            Change::ReferenceRead { placement, .. } => self.reference(event, placement.reading),
            Change::PartMeasured(part) => {
                self.values += 1;
                let again =
                    self.captured.get(&part.reading).and_then(|c| part_desk::take(&self.state, part.reading, c));
                if !matches!(again, Some(Ok(changes)) if changes.first() == Some(&event.change)) {
                    self.fault(seq, "its intake and its reading give this part another number or weight");
                }
            }
            Change::PartUsed(used) => {
                let Some(weighed) = &used.weighed else { return };
                self.values += u64::try_from(weighed.values.len()).unwrap_or(0);
                let captured = self.captured.get(&weighed.reading);
                let doubt = match captured {
                    None => Some(format!("uses reading {}, which is not in the journal", weighed.reading)),
                    Some(_) => {
                        weighed.values.iter().find_map(|v| prove_filed(captured, v).err().map(|d| d.to_string()))
                    }
                };
                if let Some(doubt) = doubt {
                    self.fault(seq, &doubt);
                }
            }
            Change::StudyRead(value) => {
                self.studies += 1;
                let captured = self.captured.get(&value.reading);
                let again = captured.and_then(|c| study_desk::take(&self.state, value.reading, c, event.at_us));
                if !matches!(again, Some(Ok(changes)) if changes.first() == Some(&event.change)) {
                    self.fault(
                        seq,
                        "the study's plan and the readings before give this reading another place or value",
                    );
                }
            }
            Change::StudyFinished { study, summary } => {
                self.studies += 1;
                if self.state.studies.get(study).and_then(Study::summary).as_ref() != Some(summary) {
                    self.fault(seq, "the readings of the study give another result than the record says");
                }
            }
            _ => {}
        }
    }

    /// What a budget was made with must be what the events before it say: calibration in force and errors found. The zero's
    /// uncertainty alone is taken from the event: what it was tracked from is not kept.
    fn inputs(&self, captured: &CapturedReading, at_us: i64) -> Option<&'static str> {
        // Behind a lost event the fold knows less than the bench did.
        if self.lost {
            return None;
        }
        let in_force = self.state.calibrations.get(&captured.instrument).map(|in_force| in_force.event);
        if in_force != Some(captured.calibration) {
            return Some("another calibration was in force than the record says");
        }
        if captured.laid.is_some() && captured.laid != laid(&self.state, &captured.instrument, at_us) {
            return Some("another club or block lay in the gauge than the record says");
        }
        let inputs = captured.budget_inputs?;
        let found = self.state.trust.charts.get(&captured.instrument).and_then(Chart::drift);
        (inputs.drift != found).then_some("the checks before it found another drift than the record says")
    }

    /// Limits and rule of a filed value must be those of its order and of the bench at that moment.
    fn limits(&mut self, event: &Event, club: &str, values: &[FiledValue]) {
        if self.lost {
            return;
        }
        let Some(record) = self.state.clubs.get(club) else {
            self.fault(Some(event.seq), &format!("files a value of {club}, which no order has"));
            return;
        };
        let rule = self.state.policy.rule;
        let doubts: Vec<String> = values
            .iter()
            .filter_map(|value| {
                let target = record.spec.target(value.characteristic).map(|row| row.target).unwrap_or_default();
                let name = value.characteristic.name();
                if (target.value, target.lower, target.upper) != (value.target, value.lower, value.upper) {
                    return Some(format!("the order asked for another {name} than the record says"));
                }
                (rule != value.rule).then(|| format!("the {name} was judged by another rule than the bench had"))
            })
            .collect();
        for doubt in doubts {
            self.fault(Some(event.seq), &doubt);
        }
    }

    /// A check or a placement of a reference, worked out again from its reading.
    fn reference(&mut self, event: &Event, reading: EventId) {
        self.references += 1;
        let again =
            self.captured.get(&reading).and_then(|captured| trust::take(&self.state, reading, captured, event.at_us));
        if again.as_deref() != Some(std::slice::from_ref(&event.change)) {
            self.fault(Some(event.seq), "reading, reference and calibration give something else than the record says");
        }
    }

    /// An adjustment must be the one that was proposed from the readings before it.
    fn adjustment(&self, instrument: &str, change: &Change) -> Option<&'static str> {
        let Change::Calibrated { calibration, report: Some(report), .. } = change else { return None };
        let under_way = self.state.trust.calibrating.get(instrument);
        let same = under_way.is_some_and(|c| c.report == **report && c.proposal.as_ref() == Some(calibration));
        (!same).then_some("its report is not that of the readings before it")
    }

    async fn reading(&self, reader: &Reader, captured: &CapturedReading) -> Result<(), String> {
        let stored = match reader.evidence(&captured.evidence).await {
            Ok(Some(stored)) => Some(stored),
            found => match &self.salvaged {
                Some(salvaged) => salvaged.reader.evidence(&captured.evidence).await.ok().flatten(),
                None => found.map_err(|error| causes(&error))?,
            },
        };
        let stored = stored.ok_or("its raw bytes are missing")?;
        if sha256(&stored) != captured.evidence {
            return Err("its raw bytes were changed".to_owned());
        }
        let frames = evidence::decode(&stored).ok_or("its raw bytes are not readable")?;
        let calibrated = self.calibrations.get(&captured.calibration).ok_or("its calibration is not in the journal")?;
        prove(captured, calibrated, &frames).map_err(|doubt| doubt.to_string())
    }
}

/// Whether two folds say the same of a club. What other clubs taught of bending is advice, no part of the record.
fn is_same(found: &ClubRecord, whole: &ClubRecord) -> bool {
    let (of_found, of_whole) = (&found.guide, &whole.guide);
    // Running time counts from the first event that is folded: only what passes between two of them means anything.
    let mut found = found.clone();
    if let (Some(bond), Some(of_whole)) = (&mut found.bond, &whole.bond) {
        bond.run_us = of_whole.run_us;
    }
    let advised = of_found.rules == of_whole.rules && of_found.bend_limits == of_whole.bend_limits;
    advised && ClubRecord { guide: of_whole.clone(), ..found } == *whole
}

fn causes(error: &(dyn std::error::Error + 'static)) -> String {
    Unreadable::words(error)
}
