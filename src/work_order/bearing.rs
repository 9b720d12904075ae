//! What an event bears on: the one list that says which events make up a club's record, and which the bench needs to go on
//! after a restart.
//!
//! The archive's index is written from it. An event that is forgotten here would be missing from a record that is looked up,
//! so the match has no rest: a new kind of event does not compile without its row.

use super::event::{Change, EventId};
use super::marks::MarkMeasured;
use super::order::Order;
use super::trust::FROM_CONFIGURATION;

/// What an event bears on.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bearing<'a> {
    /// The order it brings.
    pub order: Option<&'a Order>,
    /// The club whose record it is part of.
    pub club: Option<&'a str>,
    /// The earlier reading or value it says something of; a club that has that reading is touched, too.
    pub reading: Option<EventId>,
    /// From now on `reading`, or the event itself where there is none, is in the record of `club`.
    pub files: bool,
    /// It is a captured or typed value: the last of these can be taken back.
    pub value: bool,
    /// Only the last event of this name counts for the bench: the kind, and of which instrument.
    pub latest: Option<(&'static str, &'a str)>,
    /// It belongs to the trust in this instrument.
    pub trust: Option<TrustBearing<'a>>,
    /// It belongs to this gauge study: all of its events are folded at a start, and while it is open changes of the operator, too.
    pub study: Option<StudyBearing<'a>>,
    /// It teaches how heads spring back.
    pub bend: bool,
    /// It holds for the whole bench and every club from now on; rare, and always folded.
    pub bench: bool,
    /// It is about numbered parts: always folded at a start.
    pub parts: bool,
    /// From now on `reading` is the one of a numbered part: that it is taken back is always folded at a start.
    pub stocks: bool,
    /// Lots, serial numbers and item numbers of what went into `club`.
    pub lots: Vec<&'a str>,
    /// Such an event that counts no more for `club`.
    pub without: Option<EventId>,
    /// It changes what is left in the drawers, but is no part of other clubs' records.
    pub drawers: bool,
    /// Running time is counted from it: the last of these are folded with everything.
    pub time: bool,
    /// The order, by its number, that it says something of without bringing it.
    pub of_order: Option<&'a str>,
    /// The batch of adhesive that it mixes, ends, or bonds a club with.
    pub batch: Option<BatchBearing<'a>>,
    /// It tells that events before it are not in the journal.
    pub tells_of_gap: bool,
    /// The evidence that lists clubs whose records are elsewhere from now on.
    pub retires: Option<&'a str>,
}

/// What an event is for a batch of adhesive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BatchBearing<'a> {
    /// It was mixed.
    Mixed(&'a str),
    /// It is not used any more.
    Discarded,
    /// A club was bonded with it: how it was mixed is part of that club's record.
    Used(&'a str),
}

/// What an event is for a gauge study.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StudyBearing<'a> {
    /// The study.
    pub study: &'a str,
    /// The study is open from now on, or not any more; `None` where that stays.
    pub open: Option<bool>,
}

/// What an event is for the trust in an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TrustBearing<'a> {
    /// The instrument.
    pub instrument: &'a str,
    /// A calibration came into force: all before it is over, but for when the instrument was tested last.
    pub calibrated: bool,
    /// The instrument was tested with a reference.
    pub tested: bool,
    /// The calibration came from the configuration.
    pub configured: bool,
}

impl<'a> Bearing<'a> {
    fn of_club(club: &'a str) -> Self {
        Self { club: Some(club), ..Self::default() }
    }

    fn latest(name: &'static str, of: &'a str) -> Self {
        Self { latest: Some((name, of)), ..Self::default() }
    }

    fn study(study: &'a str, open: Option<bool>) -> Self {
        Self { study: Some(StudyBearing { study, open }), ..Self::default() }
    }

    fn trust(instrument: &'a str) -> Self {
        let trust = TrustBearing { instrument, calibrated: false, tested: false, configured: false };
        Self { trust: Some(trust), ..Self::default() }
    }
}

impl Change {
    /// What it bears on.
    #[must_use]
    pub fn bearing(&self) -> Bearing<'_> {
        match self {
            Self::SessionEnded => Bearing::default(),
            Self::JournalSalvaged { .. } => Bearing { tells_of_gap: true, ..Bearing::default() },
            Self::SegmentRetired { clubs, .. } => {
                Bearing { tells_of_gap: true, retires: Some(clubs), ..Bearing::default() }
            }
            // Running time is counted over the sessions.
            Self::SessionStarted { .. } => Bearing { time: true, ..Bearing::latest("session", "") },
            Self::ClockStepped { .. } => Bearing { time: true, ..Bearing::default() },
            Self::AdhesiveEntered { .. } => Bearing { bench: true, ..Bearing::default() },
            Self::BatchMixed { batch } => {
                Bearing { batch: Some(BatchBearing::Mixed(&batch.name)), ..Bearing::default() }
            }
            Self::BatchDiscarded { .. } => Bearing { batch: Some(BatchBearing::Discarded), ..Bearing::default() },
            Self::OrderPutAside { order, .. } | Self::OrderTakenUp { order } => {
                Bearing { of_order: Some(order), ..Bearing::default() }
            }
            Self::PolicySet(_) => Bearing::latest("policy", ""),
            Self::RulesSet(_) | Self::BendLimitsSet { .. } => Bearing { bench: true, ..Bearing::default() },
            Self::BendDone { club, .. } => Bearing { files: true, bend: true, ..Bearing::of_club(club) },
            Self::OperatorChanged { .. } => Bearing::latest("operator", ""),
            Self::OrderImported { order } | Self::OrderRevised { order } => {
                Bearing { order: Some(order), ..Bearing::default() }
            }
            Self::OrderOpened { .. } => Bearing::latest("order_opened", ""),
            Self::ClubOpened { club } => Bearing { club: Some(club), ..Bearing::latest("club_opened", "") },
            Self::ClubFinished { club } => Bearing { club: Some(club), ..Bearing::latest("club_finished", "") },
            Self::ClubPutAside { club }
            | Self::CautionsAcknowledged { club, .. }
            | Self::CureOverridden { club, .. }
            | Self::HandOverOverridden { club, .. }
            | Self::ClubTakenUp { club, .. }
            | Self::ClubReopened { club } => Bearing::of_club(club),
            Self::StepDone { club, batch, .. } => {
                Bearing { batch: batch.as_deref().map(BatchBearing::Used), ..Bearing::of_club(club) }
            }
            Self::StepTakenBack { club, done, .. } => Bearing { without: Some(*done), ..Bearing::of_club(club) },
            Self::ReadingCaptured(captured) => {
                Bearing { value: true, ..Bearing::latest("reading_captured", &captured.instrument) }
            }
            Self::ReadingFiled { reading, club, .. } => {
                Bearing { reading: Some(*reading), files: true, ..Bearing::of_club(club) }
            }
            Self::ReadingUnfiled { reading, .. } | Self::ReadingVoided { reading, .. } => {
                Bearing { reading: Some(*reading), ..Bearing::default() }
            }
            Self::ValueTyped { club, .. } | Self::MarkMeasured(MarkMeasured { club, .. }) => {
                Bearing { value: true, files: true, ..Bearing::of_club(club) }
            }
            Self::MarkOverridden(over) => Bearing { files: true, ..Bearing::of_club(&over.club) },
            Self::InstrumentFound { instrument, .. } | Self::InstrumentLost { instrument, .. } => {
                Bearing::latest("link", instrument)
            }
            Self::Calibrated { instrument, source, report, .. } => Bearing {
                trust: Some(TrustBearing {
                    instrument,
                    calibrated: true,
                    tested: report.is_some(),
                    configured: source == FROM_CONFIGURATION,
                }),
                ..Bearing::default()
            },
            Self::Checked(check) => Bearing {
                reading: check.reading,
                trust: Some(TrustBearing {
                    instrument: &check.instrument,
                    calibrated: false,
                    tested: true,
                    configured: false,
                }),
                ..Bearing::default()
            },
            Self::AnglesChecked(check) => Bearing {
                reading: Some(check.reading),
                trust: Some(TrustBearing {
                    instrument: &check.instrument,
                    calibrated: false,
                    tested: true,
                    configured: false,
                }),
                ..Bearing::default()
            },
            Self::StudyBegun(plan) => Bearing::study(&plan.study, Some(true)),
            Self::StudyResumed { study } => Bearing::study(study, Some(true)),
            Self::StudySetAside { study } | Self::StudyBrokenOff { study, .. } | Self::StudyFinished { study, .. } => {
                Bearing::study(study, Some(false))
            }
            Self::StudyRead(value) => Bearing { reading: Some(value.reading), ..Bearing::study(&value.study, None) },
            Self::ReferenceRead { instrument, placement, .. } => {
                Bearing { reading: Some(placement.reading), ..Bearing::trust(instrument) }
            }
            // What is left in the drawers is the sum of all of these.
            Self::DrawersSet(_) => Bearing { drawers: true, ..Bearing::latest("drawers", "") },
            Self::StockCounted { .. } | Self::StockRefilled { .. } => Bearing { drawers: true, ..Bearing::default() },
            Self::PartsTaken { club, .. } | Self::PartsReturned { club, .. } => {
                Bearing { drawers: true, ..Bearing::of_club(club) }
            }
            Self::IntakeBegun(_)
            | Self::IntakeEnded { .. }
            | Self::PartDescribed { .. }
            | Self::PartWithdrawn { .. } => Bearing { parts: true, ..Bearing::default() },
            Self::PartMeasured(measured) => {
                Bearing { parts: true, stocks: true, reading: Some(measured.reading), ..Bearing::default() }
            }
            Self::PartUsed(used) => {
                let reading = used.weighed.as_ref().map(|weighed| weighed.reading);
                let facts = &used.facts;
                let lots = [&used.part, &facts.lot, &facts.serial, &facts.gtin].into_iter().flatten();
                let lots = lots.map(String::as_str).collect();
                Bearing { parts: true, reading, files: reading.is_some(), lots, ..Bearing::of_club(&used.club) }
            }
            Self::PartReleased { club, used, .. } => {
                Bearing { parts: true, without: Some(*used), ..Bearing::of_club(club) }
            }
            Self::ReferenceExpected { instrument, .. }
            | Self::ReferenceWithdrawn { instrument }
            | Self::CalibrationBegun { instrument, .. }
            | Self::CalibrationProposed { instrument, .. }
            | Self::CalibrationAbandoned { instrument } => Bearing::trust(instrument),
        }
    }
}
