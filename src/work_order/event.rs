//! What happened on the bench, as facts. Everything the bench knows is a fold of these.
//!
//! Plain values; the stored shape is `journal::event`.

use super::adhesive::{Adhesive, Batch};
use super::angle_check::AngleCheck;
use super::bending::BendLimit;
pub use super::captured::{BudgetInputs, CapturedReading};
use super::cautions::Caution;
use super::checks::{Check, Policy};
use super::drawer_stock::TakenPart;
use super::drawers::Drawers;
pub use super::event_id::EventId;
pub use super::filing::FiledValue;
use super::marks::{MarkMeasured, MarkOverridden};
pub use super::numbering::Numbering;
use super::order::Order;
use super::part_stock::{Intake, MeasuredPart, PartFacts, PartUse};
use super::reference::{Purpose, Reference};
use super::rules::RuleBook;
use super::steps::Step;
use super::study::{StudySummary, StudyValue};
use super::study_plan::StudyPlan;
use super::trust::{Conditions, Placement, Report};
use crate::club::characteristic::Characteristic;
use crate::measurement::adjustment::Finding;
use crate::measurement::calibration::Calibration;
use crate::measurement::check_weight::InstrumentClass;

/// One event with its place in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Number of the journal, drawn once when it was created.
    pub epoch: u64,
    /// Position in the journal, from 1, without gaps.
    pub seq: u64,
    /// UUID, version 7.
    pub id: EventId,
    /// Wall time in microseconds since 1970 UTC; may step, never used for order.
    pub at_us: i64,
    /// Who was at the bench, if anyone said so.
    pub by: Option<String>,
    /// What happened.
    pub change: Change,
}

/// A place a reading could be filed at.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The club.
    pub club: String,
    /// The characteristic.
    pub characteristic: Characteristic,
}

/// What happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// The daemon started.
    SessionStarted {
        /// Version of the software.
        version: String,
        /// Whether the system clock was synchronised.
        clock_synchronised: bool,
    },
    /// The daemon stopped in order.
    SessionEnded,
    /// The journal was damaged and goes on from what was whole of it. The gaps stay.
    JournalSalvaged {
        /// First and last sequence of each stretch of which nothing whole was left.
        missing: Vec<(u64, u64)>,
        /// First and last sequence of each stretch that was kept although the event before it is lost, so that nothing proves it.
        unproved: Vec<(u64, u64)>,
        /// Whether it is known that the journal ended where it was continued.
        end_known: bool,
    },
    /// The oldest events were exported whole into a file, proved there, and only those still needed stayed in the journal.
    SegmentRetired {
        /// Name of the file.
        file: String,
        /// SHA-256 of the file, in hexadecimal.
        sha256: String,
        /// First sequence of the segment.
        first: u64,
        /// Last sequence of the segment.
        last: u64,
        /// Hash of the event at `last`: the next one hangs on it.
        last_hash: String,
        /// How many events up to `last` stayed in the journal.
        kept: u64,
        /// Hash of these events.
        kept_hash: String,
        /// Evidence that lists the clubs whose records are in the file.
        clubs: String,
    },
    /// A work order was taken in.
    OrderImported {
        /// The order.
        order: Order,
    },
    /// A known order was changed.
    OrderRevised {
        /// The order as it is now.
        order: Order,
    },
    /// An order became the current one.
    OrderOpened {
        /// Its number.
        order: String,
    },
    /// An order was put aside.
    OrderPutAside {
        /// Its number.
        order: String,
        /// Why, in a person's words.
        why: String,
    },
    /// An order that was put aside is in the queue again.
    OrderTakenUp {
        /// Its number.
        order: String,
    },
    /// A club became the current one.
    ClubOpened {
        /// Its id.
        club: String,
    },
    /// A club was put aside; if it was the current one, none is.
    ClubPutAside {
        /// Its id.
        club: String,
    },
    /// A placement was captured.
    ReadingCaptured(CapturedReading),
    /// A captured reading got its place.
    ReadingFiled {
        /// The `reading_captured` event.
        reading: EventId,
        /// The club.
        club: String,
        /// The instrument, which is the method of the entry.
        instrument: String,
        /// The calibration in force.
        calibration: EventId,
        /// The values.
        values: Vec<FiledValue>,
        /// True where a person chose the place.
        by_hand: bool,
        /// Why the instrument was not to be trusted, in words that follow its name, where it was not.
        trouble: Option<String>,
    },
    /// A captured reading has no place.
    ReadingUnfiled {
        /// The `reading_captured` event.
        reading: EventId,
        /// Why, in words.
        reason: String,
        /// Places a person may choose.
        choices: Vec<Place>,
    },
    /// A reading or a typed value does not count any more.
    ReadingVoided {
        /// The event it takes back (`reading_captured` or `value_typed`).
        reading: EventId,
        /// Why, in a person's words.
        why: String,
    },
    /// A value was typed by a person.
    ValueTyped {
        /// The club.
        club: String,
        /// The text as typed.
        text: String,
        /// The value.
        value: FiledValue,
    },
    /// A step of the build is done.
    StepDone {
        /// The club.
        club: String,
        /// The step.
        step: Step,
        /// The reading or typed value that proves it; none where a person said so.
        proof: Option<EventId>,
        /// The batch of adhesive it was done with.
        batch: Option<String>,
    },
    /// A step that a person had marked done was not done.
    StepTakenBack {
        /// The club.
        club: String,
        /// The `step_done` event.
        done: EventId,
        /// Why, in a person's words.
        why: String,
    },
    /// A person has read what can hurt at a step.
    CautionsAcknowledged {
        /// The club.
        club: String,
        /// The step.
        step: Step,
        /// What can hurt, as it was shown.
        cautions: Vec<Caution>,
    },
    /// An adhesive was entered from its maker's sheet, or entered anew.
    AdhesiveEntered {
        /// The product.
        adhesive: Adhesive,
    },
    /// A batch of adhesive was mixed; bonds are made with it from now on.
    BatchMixed {
        /// The batch.
        batch: Batch,
    },
    /// A batch of adhesive is used up or thrown away.
    BatchDiscarded {
        /// Its name.
        batch: String,
    },
    /// A person decided not to wait for the cure of a club.
    CureOverridden {
        /// The club.
        club: String,
        /// Who decided.
        name: String,
        /// Why.
        why: String,
    },
    /// A person decided to hand a club over although something is open.
    HandOverOverridden {
        /// The club.
        club: String,
        /// Who decided.
        name: String,
        /// Why.
        why: String,
        /// What was open, in words.
        open: Vec<String>,
    },
    /// The system's clock was put right while the bench ran.
    ClockStepped {
        /// By how much, in microseconds; positive: forward.
        by_us: i64,
    },
    /// Loft or lie of a club was bent; it is not known until it is measured again.
    BendDone {
        /// The club.
        club: String,
        /// Loft or lie.
        characteristic: Characteristic,
        /// How far the lever went, in degrees: + more loft, + upright.
        lever_deg: f64,
    },
    /// A mark that a shaft is cut along was measured a second time.
    MarkMeasured(MarkMeasured),
    /// A shaft may be cut although no second measurement agrees: a person answers for it.
    MarkOverridden(MarkOverridden),
    /// A club is finished.
    ClubFinished {
        /// The club.
        club: String,
    },
    /// A person decided that a finished club is worked on again.
    ClubTakenUp {
        /// The club.
        club: String,
        /// Who decided.
        name: String,
        /// Why.
        why: String,
    },
    /// A finished club is not finished any more: it lost a value, got one outside its limits, or was taken up again.
    ClubReopened {
        /// The club.
        club: String,
    },
    /// An instrument began to send.
    InstrumentFound {
        /// Which.
        instrument: String,
        /// The port it is on.
        port: String,
        /// Its wire format.
        format: String,
    },
    /// An instrument stopped sending.
    InstrumentLost {
        /// Which.
        instrument: String,
        /// Why, in words.
        reason: String,
    },
    /// A calibration came into force.
    Calibrated {
        /// Which instrument.
        instrument: String,
        /// The wire format and its settings, which the proof decodes the stored frames with.
        format: String,
        /// The format's description, where it is not a built-in one.
        format_text: Option<String>,
        /// Settings of the format, in order.
        format_settings: Vec<(String, String)>,
        /// Names of the channels in its frames.
        channels: [String; 2],
        /// Resolution of the indication in its unit (grams, degrees).
        resolution: f64,
        /// Readings a second.
        rate_hz: f64,
        /// Largest load in grams, where it is a scale or beam.
        capacity_g: Option<f64>,
        /// The calibration.
        calibration: Calibration,
        /// Where it comes from.
        source: String,
        /// Accuracy class of the instrument, if it has one.
        accuracy_class: Option<InstrumentClass>,
        /// Its verification interval e in grams, where the plate says one; else it is the resolution.
        verification_interval_g: Option<f64>,
        /// What it rests on, where it was made at the bench.
        report: Option<Box<Report>>,
    },
    /// The rules that verdicts and checks go by were changed.
    PolicySet(Policy),
    /// The equipment rules that clubs are compared with were changed.
    RulesSet(RuleBook),
    /// The limits of bending were changed.
    BendLimitsSet {
        /// One for each material.
        limits: Vec<BendLimit>,
    },
    /// A reference is to be laid on next.
    ReferenceExpected {
        /// On which instrument.
        instrument: String,
        /// What for.
        purpose: Purpose,
        /// Which reference.
        reference: Reference,
    },
    /// It is not, after all.
    ReferenceWithdrawn {
        /// On which instrument.
        instrument: String,
    },
    /// A check weight was laid on.
    Checked(Check),
    /// A calibration was begun.
    CalibrationBegun {
        /// Of which instrument.
        instrument: String,
        /// Under which conditions.
        conditions: Conditions,
    },
    /// A reference of a calibration was read.
    ReferenceRead {
        /// On which instrument.
        instrument: String,
        /// As found or as left.
        purpose: Purpose,
        /// What lay there and what was read.
        placement: Placement,
    },
    /// An adjustment was worked out; it is not in force.
    CalibrationProposed {
        /// Of which instrument.
        instrument: String,
        /// The calibration.
        calibration: Calibration,
        /// What was found.
        findings: Vec<Finding>,
    },
    /// A calibration was given up; nothing changed.
    CalibrationAbandoned {
        /// Of which instrument.
        instrument: String,
    },
    /// A gauge block or another reference of known angles was laid into a gauge.
    AnglesChecked(AngleCheck),
    /// A gauge study was begun.
    StudyBegun(StudyPlan),
    /// A reading of a study was taken.
    StudyRead(StudyValue),
    /// A study was set aside: its instrument measures clubs again.
    StudySetAside {
        /// Which study.
        study: String,
    },
    /// A study goes on.
    StudyResumed {
        /// Which study.
        study: String,
    },
    /// A study was given up.
    StudyBrokenOff {
        /// Which study.
        study: String,
        /// Why, in a person's words.
        why: String,
    },
    /// A study has all its readings.
    StudyFinished {
        /// Which study.
        study: String,
        /// What it found.
        summary: StudySummary,
    },
    /// Someone else is at the bench.
    OperatorChanged {
        /// Who.
        operator: Option<String>,
    },
    /// What lies in the drawers was written down anew.
    DrawersSet(Drawers),
    /// Parts were taken out of the drawers for a club.
    PartsTaken {
        /// The club.
        club: String,
        /// What.
        parts: Vec<TakenPart>,
    },
    /// They were put back.
    PartsReturned {
        /// The club.
        club: String,
        /// The `parts_taken` event.
        taking: EventId,
        /// Why, in a person's words.
        why: String,
    },
    /// Pieces of a kind were counted.
    StockCounted {
        /// The kind's name.
        item: String,
        /// How many there are.
        pieces: u32,
    },
    /// Pieces of a kind were put in.
    StockRefilled {
        /// The kind's name.
        item: String,
        /// How many were put in.
        pieces: u32,
    },
    /// A row of parts is laid down one after another, to be weighed and numbered.
    IntakeBegun(Intake),
    /// The row is done: the instrument measures clubs again.
    IntakeEnded {
        /// The intake's name.
        intake: String,
    },
    /// A part of the row was weighed and got its number.
    PartMeasured(MeasuredPart),
    /// Something was said of a part, by a person or by its maker's code.
    PartDescribed {
        /// Its number.
        part: String,
        /// What.
        facts: PartFacts,
    },
    /// A part went into a club.
    PartUsed(PartUse),
    /// It was taken out again.
    PartReleased {
        /// The club.
        club: String,
        /// The `part_used` event.
        used: EventId,
        /// The part's number, if it has one.
        part: Option<String>,
        /// Why, in a person's words.
        why: String,
    },
    /// A numbered part is not in the stock any more.
    PartWithdrawn {
        /// Its number.
        part: String,
        /// Why, in a person's words.
        why: String,
    },
}
