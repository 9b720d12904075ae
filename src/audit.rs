//! Proves a whole journal: the chain from the first event to the last, and every number from its raw bytes.
//!
//! A reader comes in, faults with their event go out. Damage never ends the audit: what can still be read is proved,
//! and what the database itself cannot read is a fault like any other. Nothing is repaired.

mod captured;
mod numbers;

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::Path;

use crate::journal::chain::{GENESIS, link};
use crate::journal::compare::{Folded, ListLine, NotedStock};
use crate::journal::damage::{RawRow, Unreadable};
use crate::journal::event;
use crate::journal::lock;
use crate::journal::retired::{Segment, kept_link};
use crate::journal::salvage::{Salvaged, Span, add, broken_log, salvage};
use crate::journal::store::Reader;
use crate::work_order::event::{Change, Event, EventId};
use crate::work_order::record::ClubRecord;
use captured::Captured;

/// An order stays at hand so many events longer than it is in work: most of what still comes of it comes soon.
const AT_HAND: u64 = 2000;

/// What was proved and what is wrong.
#[derive(Debug, Default)]
pub struct Audit {
    /// Events read.
    pub events: u64,
    /// Readings recomputed from raw bytes.
    pub readings: u64,
    /// How many of these took their zero as recorded: written before the samples it was seen in were kept.
    pub zeros_as_recorded: u64,
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
    /// Numbers that an older program wrote and that come out otherwise by the rules of this one: no faults, the chain proves
    /// that they are what was written.
    pub older: Vec<Fault>,
    /// The most clubs that were in memory at a time; a long journal has no more of them than a short one.
    pub most_clubs: usize,
    /// Missing events that an event of the journal tells of.
    pub known_gaps: Vec<Span>,
    gaps: Vec<Span>,
    told: Vec<Span>,
    /// Events that are in segments of their own.
    segments: Vec<Segment>,
    /// How many of the events of these are here, and their hash.
    kept: (u64, String),
    /// What is whole in the raw file; looked for at the first damage.
    salvaged: Option<Salvaged>,
    /// Numbers are worked out again, too.
    with_numbers: bool,
    /// An event cannot be read.
    lost: bool,
    /// The events were written by a program with other rules for numbers.
    is_older: bool,
    /// They were written by a program that kept no samples of the empty instrument and no zeros found by a calibration.
    lacks_zeros: bool,
    calibrations: HashMap<EventId, Change>,
    captured: Captured,
    /// What the index says of the drawers.
    stock: NotedStock,
    fold: Folded,
    /// Orders that are over, by the event after which they are let go unless something comes of them again.
    over: BTreeMap<u64, BTreeSet<String>>,
    /// Every record is looked for through the index, too.
    with_index: bool,
    /// Clubs that were let go and of which the index leads to another record.
    elsewise: Vec<String>,
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
    let mut audit = Audit { with_numbers: true, with_index: true, ..Audit::default() };
    audit.stock = reader.noted_stock().await;
    audit.run(reader).await;
    audit.cursors(reader).await;
    // Where an event is lost, the index may well know more than the events; what is told to be elsewhere is not lost.
    if !audit.lost || audit.faults.iter().all(|fault| fault.seq.is_none()) {
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

/// Proves a sealed segment of a journal, chain and numbers; `before` are the segments that were retired before it.
pub async fn audit_segment(reader: &Reader, before: &[Segment], lost: &[(u64, u64)]) -> Audit {
    let told = lost.iter().map(|(first, last)| Span { first: *first, last: *last }).collect();
    let mut audit = Audit { with_numbers: true, segments: before.to_vec(), told, ..Audit::default() };
    audit.run(reader).await;
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
        // Where that cannot be read, what was retired counts as missing.
        self.segments.extend(reader.segments().await.unwrap_or_default());
        self.kept = (0, GENESIS.to_owned());
        let retired = self.segments.iter().map(|segment| segment.last).max().unwrap_or(0);
        // Either hash may be the true one when a stored hash and its event do not agree.
        let mut previous = [GENESIS.to_owned(), GENESIS.to_owned()];
        let mut before_gap = Some(String::new());
        let mut seq = 0;
        while seq < last {
            seq += 1;
            if let Some((end, hash)) = self.elsewhere(reader, seq).await {
                self.lost = true;
                before_gap = Some(hash.clone()).filter(|hash| !hash.is_empty());
                previous = [hash.clone(), hash];
                seq = end;
                continue;
            }
            match self.raw_row(reader, seq).await {
                Some(row) => {
                    if seq <= retired {
                        let hash = String::from_utf8_lossy(&row.hash);
                        self.kept = (self.kept.0 + 1, kept_link(&self.kept.1, &hash, &row.body));
                    }
                    previous = self.row(reader, seq, &row, &previous, before_gap.as_deref()).await;
                    before_gap = Some(previous[0].clone());
                }
                None => {
                    self.lost = true;
                    previous = [String::new(), String::new()];
                }
            }
        }
        self.chain = previous.into_iter().next().filter(|hash| !hash.is_empty()).or(before_gap).unwrap_or_default();
        self.what_stayed();
        self.settle();
    }

    /// The end of a stretch of retired events that begins here, and the hash that the next event hangs on, if that is known.
    async fn elsewhere(&self, reader: &Reader, seq: u64) -> Option<(u64, String)> {
        let segment = self.segments.iter().find(|segment| (segment.first..=segment.last).contains(&seq))?;
        let next = reader.next_seq(seq - 1).await.ok().flatten()?;
        if next == seq {
            return None;
        }
        if next > segment.last {
            return Some((segment.last, segment.last_hash.clone()));
        }
        Some((next - 1, String::new()))
    }

    /// Events that stayed when others were retired do not follow one another: their own hash tells whether they are the ones.
    fn what_stayed(&mut self) {
        let Some(newest) = self.segments.iter().max_by_key(|segment| segment.last) else { return };
        if (newest.kept, &newest.kept_hash) != (self.kept.0, &self.kept.1) {
            let what = format!(
                "of the {} events that stayed when the segment {} was retired, {} are here, or one was changed; `records verify --segments DIR` names it",
                newest.kept, newest.file, self.kept.0
            );
            self.fault(None, &what);
        }
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
            (Some(_), _) => {
                self.lost = true;
                self.fault(Some(seq), "the database does not find it any more; it is whole in the file");
            }
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

    /// Whether the index is the one that the events give, and every record is found through it as the whole fold has it.
    async fn index(&mut self, reader: &Reader) {
        let fold = (!self.lost).then_some(&self.fold);
        for what in reader.index_faults(fold).await {
            self.fault(None, &what);
        }
        if self.lost {
            return;
        }
        let clubs: Vec<_> = self.fold.state.clubs_in_order().cloned().collect();
        for club in &clubs {
            self.through_index(reader, club).await;
        }
        for club in std::mem::take(&mut self.elsewise) {
            self.fault(None, &format!("its index leads to another record of {club}; `records reindex` makes it again"));
        }
    }

    /// Whether a record that is complete is found through the index.
    async fn through_index(&mut self, reader: &Reader, club: &ClubRecord) {
        let found = reader.club(&club.spec.id).await;
        if !found.is_ok_and(|found| found.is_some_and(|found| is_same(&found.club, club))) {
            self.elsewise.push(club.spec.id.clone());
        }
    }

    /// Keeps in mind that the order of a club is over, if it is.
    fn keep_in_mind(&mut self, seq: u64, club: &str) {
        let state = &self.fold.state;
        let order = state.clubs.get(club).and_then(|record| state.orders.get(&record.order));
        if let Some(order) = order.filter(|order| state.next_club(order).is_none()) {
            self.over.entry(seq + AT_HAND).or_default().insert(order.number.clone());
        }
    }

    /// Lets go of the orders whose time has come, so that a long journal needs no more memory than what is in work. When the last
    /// event of an order was is the index's to say: where that is wrong, its rows are, and are named by the comparison.
    async fn let_go(&mut self, reader: &Reader, seq: u64) {
        while let Some(due) = self.over.first_entry().filter(|due| *due.key() <= seq) {
            for number in due.remove() {
                self.let_go_of(reader, seq, number).await;
            }
        }
    }

    async fn let_go_of(&mut self, reader: &Reader, seq: u64, number: String) {
        let state = &self.fold.state;
        // Worked on again, it comes back when it is over again.
        let Some(order) = state.orders.get(&number).filter(|order| state.next_club(order).is_none()) else { return };
        let is_in_use =
            [&state.current_club, &state.finished_last].into_iter().flatten().any(|club| order.club(club).is_some());
        let last = reader.last_of_order(&number).await.unwrap_or(u64::MAX);
        if is_in_use || last > seq || state.current_order.as_ref() == Some(&number) {
            self.over.entry(last.max(seq.saturating_add(AT_HAND))).or_default().insert(number);
            return;
        }
        let clubs: Vec<ClubRecord> = order.clubs.iter().filter_map(|spec| state.clubs.get(&spec.id).cloned()).collect();
        for club in &clubs {
            self.fold.let_go.insert(club.spec.id.clone(), ListLine::of(club));
            if self.with_index && !self.lost {
                self.through_index(reader, club).await;
            }
        }
        self.fold.state.forget(&number);
    }

    /// What the index says was left in the drawers, when the fold is at that event.
    fn drawers(&mut self) {
        let counts = self.fold.state.drawer_stock.counts();
        if !self.lost && !counts.eq(self.stock.counts.iter().map(|(item, pieces)| (item.as_str(), *pieces))) {
            let what = format!(
                "index_stock says something else of the drawers than the events up to {}; `records reindex` makes it again",
                self.stock.seq
            );
            self.fault(None, &what);
        }
    }

    /// Whether followers stand where they were left.
    async fn cursors(&mut self, reader: &Reader) {
        match reader.cursor_faults().await {
            Ok(faults) => faults.iter().for_each(|what| self.fault(None, what)),
            Err(unreadable) => self.fault(None, &format!("its cursors: {unreadable}")),
        }
    }

    /// A number that comes out otherwise: a fault where it was written by the rules of this program.
    fn doubt(&mut self, seq: Option<u64>, what: &str) {
        if self.is_older {
            self.older.push(Fault { seq, what: what.to_owned() });
        } else {
            self.fault(seq, what);
        }
    }

    /// The same of a check or calibration, whose rules are younger.
    fn doubt_of_calibrations(&mut self, seq: Option<u64>, what: &str) {
        if self.lacks_zeros {
            self.older.push(Fault { seq, what: what.to_owned() });
        } else {
            self.doubt(seq, what);
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
        before_gap: Option<&str>,
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
                    if !known && before_gap.is_some_and(|before| link(before, &row.body) != after[0]) {
                        self.fault(
                            Some(seq),
                            "the chain does not hold: it does not follow the last event before the gap",
                        );
                    }
                }
                if self.with_numbers {
                    self.event(reader, &event).await;
                    self.fold.state.apply(&event);
                    if let Some(club) = event.change.bearing().club {
                        self.keep_in_mind(seq, club);
                    }
                    self.most_clubs = self.most_clubs.max(self.fold.state.clubs.len());
                    self.let_go(reader, seq).await;
                    if seq == self.stock.seq {
                        self.drawers();
                    }
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
}

/// Whether two folds say the same of a club. What other clubs taught of bending is advice, no part of the record.
fn is_same(found: &ClubRecord, whole: &ClubRecord) -> bool {
    let (of_found, of_whole) = (&found.guide, &whole.guide);
    // Running time counts from the first event that is folded: only what passes between two of them means anything.
    let mut found = found.clone();
    let bonds = found.bond.iter_mut().zip(&whole.bond);
    for (bond, of_whole) in bonds.chain(found.earlier_bonds.iter_mut().zip(&whole.earlier_bonds)) {
        bond.run_us = of_whole.run_us;
    }
    let advised = of_found.rules == of_whole.rules && of_found.bend_limits == of_whole.bend_limits;
    advised && ClubRecord { guide: of_whole.clone(), ..found } == *whole
}

fn causes(error: &(dyn std::error::Error + 'static)) -> String {
    Unreadable::words(error)
}
