//! Numbered parts: every head, shaft or grip that was weighed at a stock intake, where it is, and which club it went into.
//! A fold of their events; what may be done is `part_desk`'s.

use std::collections::HashMap;

use super::event::{Change, Event, EventId, FiledValue};
use super::record::{ClubRecord, Entry, Method, Standing};
use super::state::{Fate, State};
use super::stock::{Stock, StockGrip, StockHead, StockShaft, U_USUAL_MM, WeighedMass};
use crate::club::characteristic::Characteristic;
use crate::club::cut::Span;
use crate::measurement::unit::{Grams, Millimetres};

super::order::named!(
    /// What a numbered part is.
    PartKind {
        /// A head.
        Head = "head",
        /// A shaft, not cut.
        Shaft = "shaft",
        /// A grip.
        Grip = "grip",
    }
);

impl PartKind {
    /// The letter that its numbers begin with.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Self::Head => 'H',
            Self::Shaft => 'S',
            Self::Grip => 'G',
        }
    }

    /// Masses in grams that such a part can have (common practice, no source): a finger, a tray or two parts have others.
    #[must_use]
    pub fn plausible_g(self) -> std::ops::RangeInclusive<f64> {
        match self {
            Self::Head => 150.0..=500.0,
            Self::Shaft => 30.0..=190.0,
            Self::Grip => 15.0..=160.0,
        }
    }

    /// The characteristic that its mass is of a club.
    #[must_use]
    pub fn mass(self) -> Characteristic {
        match self {
            Self::Head => Characteristic::HeadMass,
            Self::Shaft => Characteristic::ShaftMass,
            Self::Grip => Characteristic::GripMass,
        }
    }
}

/// What a person or its maker says of a part; what is `None` was not said.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PartFacts {
    /// The drawer it lies in.
    pub drawer: Option<String>,
    /// Its model.
    pub model: Option<String>,
    /// The clubs it may go to, by their names in orders.
    pub clubs: Option<Vec<String>>,
    /// Length of a raw shaft, in millimetres.
    pub length_mm: Option<f64>,
    /// Balance of a raw shaft from its butt, in millimetres, as typed.
    pub balance_mm: Option<f64>,
    /// Frequency of a shaft as orders count it, in cycles a minute.
    pub frequency_cpm: Option<f64>,
    /// Loft of a head in the vertical sense, in degrees.
    pub loft_deg: Option<f64>,
    /// Lie of a head, in degrees.
    pub lie_deg: Option<f64>,
    /// Item number of the trade (GTIN).
    pub gtin: Option<String>,
    /// The maker's lot.
    pub lot: Option<String>,
    /// The maker's serial number.
    pub serial: Option<String>,
}

impl PartFacts {
    /// What is said anew takes the place of what was said before.
    fn add(&mut self, more: &Self) {
        fn put<T: Clone>(old: &mut Option<T>, new: Option<&T>) {
            if let Some(new) = new {
                *old = Some(new.clone());
            }
        }
        put(&mut self.drawer, more.drawer.as_ref());
        put(&mut self.model, more.model.as_ref());
        put(&mut self.clubs, more.clubs.as_ref());
        put(&mut self.length_mm, more.length_mm.as_ref());
        put(&mut self.balance_mm, more.balance_mm.as_ref());
        put(&mut self.frequency_cpm, more.frequency_cpm.as_ref());
        put(&mut self.loft_deg, more.loft_deg.as_ref());
        put(&mut self.lie_deg, more.lie_deg.as_ref());
        put(&mut self.gtin, more.gtin.as_ref());
        put(&mut self.lot, more.lot.as_ref());
        put(&mut self.serial, more.serial.as_ref());
    }

    /// Whether a maker's code says which single part this is.
    #[must_use]
    pub fn is_single(&self) -> bool {
        self.serial.is_some()
    }
}

/// A row of parts to be laid down one after another.
#[derive(Debug, Clone, PartialEq)]
pub struct Intake {
    /// Its name.
    pub intake: String,
    /// What is laid down.
    pub kind: PartKind,
    /// On which instrument.
    pub instrument: String,
    /// What holds for every part of the row.
    pub facts: PartFacts,
}

/// A part that was weighed at an intake and got its number.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredPart {
    /// The intake.
    pub intake: String,
    /// Its number.
    pub part: String,
    /// The `reading_captured` event.
    pub reading: EventId,
    /// The instrument.
    pub instrument: String,
    /// The `calibrated` event in force.
    pub calibration: EventId,
    /// Its mass in grams and the standard uncertainty of it.
    pub mass: (f64, f64),
    /// Balance of a shaft from its butt in millimetres and its standard uncertainty, where the instrument shows one.
    pub balance: Option<(f64, f64)>,
}

/// A part that went into a club.
#[derive(Debug, Clone, PartialEq)]
pub struct PartUse {
    /// The club.
    pub club: String,
    /// Its number; none for a part that is not in stock, whose code was scanned.
    pub part: Option<String>,
    /// What it is, where that is known.
    pub kind: Option<PartKind>,
    /// What is known of it.
    pub facts: PartFacts,
    /// What it was weighed as, for the record of the club.
    pub weighed: Option<Weighed>,
}

/// What a numbered part was weighed as at its intake.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// The `reading_captured` event.
    pub reading: EventId,
    /// The instrument.
    pub instrument: String,
    /// The `calibrated` event that was in force.
    pub calibration: EventId,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who was at the bench.
    pub by: Option<String>,
    /// Mass, and balance of a shaft, judged by the club's order.
    pub values: Vec<FiledValue>,
}

/// A part in a club's record.
#[derive(Debug, Clone, PartialEq)]
pub struct UsedPart {
    /// What went in.
    pub used: PartUse,
    /// The `part_used` event.
    pub event: EventId,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub by: Option<String>,
    /// Why it was taken out again.
    pub released: Option<String>,
    /// How many values the record had before it went in.
    pub entries_before: usize,
}

/// Where a numbered part is.
#[derive(Debug, Clone, PartialEq)]
pub enum Whereabouts {
    /// In its drawer.
    InStock,
    /// In a club.
    In(String),
    /// Its reading was taken back: the number is of no part.
    TakenBack(String),
    /// Not there any more: sold, broken, sent back.
    Withdrawn(String),
}

/// A numbered part.
#[derive(Debug, Clone, PartialEq)]
pub struct NumberedPart {
    /// What it is.
    pub kind: PartKind,
    /// How it was weighed.
    pub measured: MeasuredPart,
    /// What is known of it.
    pub facts: PartFacts,
    /// When it was weighed, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who was at the bench.
    pub by: Option<String>,
    /// Where it is.
    pub place: Whereabouts,
}

impl NumberedPart {
    /// Its number.
    #[must_use]
    pub fn number(&self) -> &str {
        &self.measured.part
    }

    /// The same with its standard uncertainty.
    fn balance(&self) -> Option<Span> {
        let typed = self.facts.balance_mm.map(|mm| (mm, U_USUAL_MM));
        self.measured.balance.or(typed).map(|(mm, u_mm)| Span::new(mm, u_mm))
    }

    /// Balance of a shaft from its butt in millimetres: as measured, else as typed.
    #[must_use]
    pub fn balance_mm(&self) -> Option<f64> {
        self.measured.balance.map(|(value, _)| value).or(self.facts.balance_mm)
    }
}

/// All numbered parts of the bench.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PartStock {
    /// Intakes, oldest first.
    pub intakes: Vec<Intake>,
    /// The intake that is open is the last one.
    is_open: bool,
    /// Every part that ever got a number, oldest first.
    pub parts: Vec<NumberedPart>,
    by_number: HashMap<String, usize>,
    by_reading: HashMap<EventId, usize>,
}

impl PartStock {
    /// Takes one event in.
    pub(super) fn apply(&mut self, event: &Event) {
        match &event.change {
            Change::IntakeBegun(intake) => {
                self.intakes.push(intake.clone());
                self.is_open = true;
            }
            Change::IntakeEnded { .. } => self.is_open = false,
            Change::PartMeasured(measured) => self.measured(event, measured),
            Change::PartDescribed { part, facts } => {
                if let Some(part) = self.part_mut(part) {
                    part.facts.add(facts);
                }
            }
            Change::PartUsed(PartUse { part: Some(number), club, .. }) => {
                self.put(number, Whereabouts::In(club.clone()));
            }
            Change::PartReleased { part: Some(number), .. } => self.put(number, Whereabouts::InStock),
            Change::PartWithdrawn { part, why } => self.put(part, Whereabouts::Withdrawn(why.clone())),
            Change::ReadingVoided { reading, why } => {
                let index = self.by_reading.get(reading).copied();
                // A part that is in a club stays there; only its weight is doubted, and that stands in the club's record.
                if let Some(part) = index.and_then(|index| self.parts.get_mut(index))
                    && part.place == Whereabouts::InStock
                {
                    part.place = Whereabouts::TakenBack(why.clone());
                }
            }
            _ => {}
        }
    }

    fn measured(&mut self, event: &Event, measured: &MeasuredPart) {
        let Some(intake) = self.intakes.iter().rev().find(|known| known.intake == measured.intake) else { return };
        let part = NumberedPart {
            kind: intake.kind,
            measured: measured.clone(),
            facts: intake.facts.clone(),
            at_us: event.at_us,
            by: event.by.clone(),
            place: Whereabouts::InStock,
        };
        self.by_number.insert(measured.part.clone(), self.parts.len());
        self.by_reading.insert(measured.reading, self.parts.len());
        self.parts.push(part);
    }

    fn put(&mut self, number: &str, place: Whereabouts) {
        if let Some(part) = self.part_mut(number) {
            part.place = place;
        }
    }

    fn part_mut(&mut self, number: &str) -> Option<&mut NumberedPart> {
        self.parts.get_mut(*self.by_number.get(number)?)
    }

    /// A part by its number.
    #[must_use]
    pub fn part(&self, number: &str) -> Option<&NumberedPart> {
        self.parts.get(*self.by_number.get(number)?)
    }

    /// The part that a reading weighed.
    #[must_use]
    pub fn of_reading(&self, reading: EventId) -> Option<&NumberedPart> {
        self.parts.get(*self.by_reading.get(&reading)?)
    }

    /// The intake that is open.
    #[must_use]
    pub fn open(&self) -> Option<&Intake> {
        self.intakes.last().filter(|_| self.is_open)
    }

    /// The open intake, if it takes what is laid on this instrument.
    #[must_use]
    pub fn open_on(&self, instrument: &str) -> Option<&Intake> {
        self.open().filter(|intake| intake.instrument == instrument)
    }

    /// Parts of an intake that count, oldest first.
    pub fn of_intake<'a>(&'a self, intake: &'a str) -> impl DoubleEndedIterator<Item = &'a NumberedPart> {
        let counts = |part: &&NumberedPart| !matches!(part.place, Whereabouts::TakenBack(_));
        self.parts.iter().filter(move |part| part.measured.intake == intake).filter(counts)
    }

    /// The next number of a kind; a number is never given twice.
    #[must_use]
    pub fn next_number(&self, kind: PartKind) -> String {
        let given = self.parts.iter().filter(|part| part.kind == kind).count();
        format!("{}-{}", kind.letter(), given + 1)
    }

    /// What to do now, in words for the bench.
    #[must_use]
    pub fn next_words(&self, instrument: &str) -> Option<String> {
        let intake = self.open_on(instrument)?;
        let kind = intake.kind;
        let last = self.of_intake(&intake.intake).next_back();
        let last = last.map(|part| format!("; last {}, {:.2} g", part.number(), part.measured.mass.0));
        Some(format!(
            "stock intake {}: lay the next {} on, it becomes {}{}",
            intake.intake,
            kind.name(),
            self.next_number(kind),
            last.unwrap_or_default()
        ))
    }

    /// The parts in the drawers that a set can be planned from, and those that lack something for it, each with what.
    #[must_use]
    pub fn for_planning(&self) -> (Stock, Vec<(String, &'static str)>) {
        let (mut stock, mut lacking) = (Stock::default(), Vec::new());
        for part in self.parts.iter().filter(|part| part.place == Whereabouts::InStock) {
            let (id, facts) = (part.number().to_owned(), &part.facts);
            let (mass_g, u_g) = part.measured.mass;
            let mass = WeighedMass { mass: Grams(mass_g), u: Grams(u_g) };
            let clubs = facts.clubs.clone().unwrap_or_default();
            match part.kind {
                PartKind::Head => match clubs.into_iter().next() {
                    None => lacking.push((id, "the club it is made for")),
                    Some(club) => stock.heads.push(StockHead {
                        id,
                        club,
                        mass,
                        loft_deg: facts.loft_deg,
                        lie_deg: facts.lie_deg,
                        beyond_tip: None,
                    }),
                },
                PartKind::Shaft => match facts.length_mm {
                    None => lacking.push((id, "its length")),
                    Some(length) => stock.shafts.push(StockShaft {
                        id,
                        clubs,
                        mass,
                        length: Millimetres(length),
                        balance: part.balance(),
                        frequency_cpm: facts.frequency_cpm,
                    }),
                },
                PartKind::Grip => stock.grips.push(StockGrip { id, clubs, mass }),
            }
        }
        (stock, lacking)
    }
}

impl ClubRecord {
    /// The numbered part of a kind that is in the club.
    #[must_use]
    pub fn numbered(&self, kind: PartKind) -> Option<&UsedPart> {
        let of_kind = |part: &&UsedPart| part.used.kind == Some(kind) && part.used.part.is_some();
        self.parts.iter().filter(of_kind).find(|part| part.released.is_none())
    }

    /// A part went in, with what it was weighed as.
    pub(super) fn put_in(&mut self, part: UsedPart) {
        let entries_before = self.entries.len();
        if let Some(weighed) = &part.used.weighed {
            for value in &weighed.values {
                let entry = Entry {
                    filed: value.clone(),
                    method: Method::Measured {
                        instrument: weighed.instrument.clone(),
                        calibration: weighed.calibration,
                        on_key: false,
                        trouble: None,
                    },
                    event: weighed.reading,
                    at_us: weighed.at_us,
                    by: weighed.by.clone(),
                    standing: Standing::Valid,
                    budget: None,
                };
                self.file(entry);
            }
        }
        self.parts.push(UsedPart { entries_before, ..part });
    }

    /// A part was taken out again; its values do not count for this club any more.
    pub(super) fn take_out(&mut self, event: EventId, why: &str) {
        let Some(part) = self.parts.iter_mut().find(|part| part.event == event) else { return };
        part.released = Some(why.to_owned());
        if let Some(reading) = part.used.weighed.as_ref().map(|weighed| weighed.reading) {
            self.void(reading);
        }
    }
}

impl State {
    /// Whether a study or a stock intake takes what is laid on an instrument, so that it is nothing of the club.
    #[must_use]
    pub fn is_taken(&self, instrument: &str) -> bool {
        self.studies.open_on(instrument).is_some() || self.part_stock.open_on(instrument).is_some()
    }

    /// What an event about numbered parts does to captures and clubs.
    pub(super) fn apply_part(&mut self, event: &Event) {
        match &event.change {
            Change::PartMeasured(measured) => {
                self.set_fate(measured.reading, Fate::Part { part: measured.part.clone() });
            }
            Change::PartUsed(used) => {
                if let Some(weighed) = &used.weighed {
                    self.is_placed(weighed.reading, &used.club);
                }
                let (event_id, at_us, by) = (event.id, event.at_us, event.by.clone());
                let part =
                    UsedPart { used: used.clone(), event: event_id, at_us, by, released: None, entries_before: 0 };
                self.on_club(&used.club, event.seq, |record| record.put_in(part));
            }
            Change::PartReleased { club, used, why, .. } => {
                self.on_club(club, event.seq, |record| record.take_out(*used, why));
            }
            _ => {}
        }
    }
}
