//! The names of the kinds of events.

use super::event::Change;
use super::steps::Step;

impl Change {
    /// A step that a person says is done.
    #[must_use]
    pub fn step_done(club: &str, step: Step) -> Self {
        Self::StepDone { club: club.to_owned(), step, proof: None, batch: None }
    }

    /// The kind in messages and tables.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::SessionStarted { .. } => "session_started",
            Self::SessionEnded => "session_ended",
            Self::SegmentRetired { .. } => "segment_retired",
            Self::JournalSalvaged { .. } => "journal_salvaged",
            Self::OrderImported { .. } => "order_imported",
            Self::OrderRevised { .. } => "order_revised",
            Self::OrderOpened { .. } => "order_opened",
            Self::OrderPutAside { .. } => "order_put_aside",
            Self::OrderTakenUp { .. } => "order_taken_up",
            Self::ClubOpened { .. } => "club_opened",
            Self::ClubPutAside { .. } => "club_put_aside",
            Self::ReadingCaptured(_) => "reading_captured",
            Self::ReadingFiled { .. } => "reading_filed",
            Self::ReadingUnfiled { .. } => "reading_unfiled",
            Self::ReadingVoided { .. } => "reading_voided",
            Self::ValueTyped { .. } => "value_typed",
            Self::StepDone { .. } => "step_done",
            Self::StepTakenBack { .. } => "step_taken_back",
            Self::BendDone { .. } => "bend_done",
            Self::MarkMeasured(_) => "mark_measured",
            Self::MarkOverridden(_) => "mark_overridden",
            Self::CautionsAcknowledged { .. } => "cautions_acknowledged",
            Self::AdhesiveEntered { .. } => "adhesive_entered",
            Self::BatchMixed { .. } => "batch_mixed",
            Self::BatchDiscarded { .. } => "batch_discarded",
            Self::CureOverridden { .. } => "cure_overridden",
            Self::HandOverOverridden { .. } => "hand_over_overridden",
            Self::ClockStepped { .. } => "clock_stepped",
            Self::ClubFinished { .. } => "club_finished",
            Self::ClubTakenUp { .. } => "club_taken_up",
            Self::ClubReopened { .. } => "club_reopened",
            Self::InstrumentFound { .. } => "instrument_found",
            Self::InstrumentLost { .. } => "instrument_lost",
            Self::Calibrated { .. } => "calibrated",
            Self::PolicySet(_) => "policy_set",
            Self::RulesSet(_) => "rules_set",
            Self::BendLimitsSet { .. } => "bend_limits_set",
            Self::ReferenceExpected { .. } => "reference_expected",
            Self::ReferenceWithdrawn { .. } => "reference_withdrawn",
            Self::Checked(_) => "checked",
            Self::CalibrationBegun { .. } => "calibration_begun",
            Self::ReferenceRead { .. } => "reference_read",
            Self::CalibrationProposed { .. } => "calibration_proposed",
            Self::CalibrationAbandoned { .. } => "calibration_abandoned",
            Self::AnglesChecked(_) => "angles_checked",
            Self::StudyBegun(_) => "study_begun",
            Self::StudyRead(_) => "study_read",
            Self::StudySetAside { .. } => "study_set_aside",
            Self::StudyResumed { .. } => "study_resumed",
            Self::StudyBrokenOff { .. } => "study_broken_off",
            Self::StudyFinished { .. } => "study_finished",
            Self::OperatorChanged { .. } => "operator_changed",
            Self::DrawersSet(_) => "drawers_set",
            Self::PartsTaken { .. } => "parts_taken",
            Self::PartsReturned { .. } => "parts_returned",
            Self::StockCounted { .. } => "stock_counted",
            Self::StockRefilled { .. } => "stock_refilled",
            Self::IntakeBegun(_) => "intake_begun",
            Self::IntakeEnded { .. } => "intake_ended",
            Self::PartMeasured(_) => "part_measured",
            Self::PartDescribed { .. } => "part_described",
            Self::PartUsed(_) => "part_used",
            Self::PartReleased { .. } => "part_released",
            Self::PartWithdrawn { .. } => "part_withdrawn",
        }
    }
}
