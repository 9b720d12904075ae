//! A captured reading as the bench remembers it, and what became of it.

use super::event::{CapturedReading, EventId, Place};
use super::order::Stage;

/// What became of a captured reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Fate {
    /// Captured, and nothing more is known.
    Open,
    /// In the record of a club.
    Filed(Vec<(Place, Stage)>),
    /// Shown with its reason, waiting for a person.
    Unfiled {
        /// Why.
        reason: String,
        /// Where it may go.
        choices: Vec<Place>,
    },
    /// A reference lay there: a check weight, or a weight or block of a calibration.
    Reference,
    /// A cell of a gauge study.
    Study {
        /// Which study.
        study: String,
    },
    /// A part of the stock was weighed.
    Part {
        /// Its number.
        part: String,
    },
    /// Taken back.
    Voided {
        /// Why.
        why: String,
    },
}

/// A captured reading and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureLine {
    /// The `reading_captured` event.
    pub event: EventId,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// What was captured.
    pub captured: CapturedReading,
    /// What became of it.
    pub fate: Fate,
}
