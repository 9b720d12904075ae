//! A captured placement as the journal keeps it: what it showed, what that was worked out from, and where the bytes are.

use super::event_id::EventId;
use crate::measurement::gauge::Laid;
use crate::measurement::reading::{InstrumentKind, Measured};
use crate::measurement::settling::ZeroLook;
use crate::measurement::uncertainty::{Budget, Drift};

/// A captured placement.
#[derive(Debug, Clone, PartialEq)]
pub struct CapturedReading {
    /// Which instrument.
    pub instrument: String,
    /// Its kind.
    pub kind: InstrumentKind,
    /// What it showed.
    pub measured: Vec<Measured>,
    /// Settled levels less the zero, as the settling found them: the numbers the proof recomputes.
    pub levels: [f64; 2],
    /// Zero subtracted.
    pub zero: [f64; 2],
    /// Standard uncertainty of the levels.
    pub u_levels: [f64; 2],
    /// Start and end of the samples that made the mean, in seconds of the session.
    pub window_s: [f64; 2],
    /// When the capture was decided, in seconds of the session.
    pub t_s: f64,
    /// The last frame's printed text of the number, as the instrument sent it.
    pub printed: Option<String>,
    /// True where the instrument was told to send it, by a key or by itself at rest: that number is the reading.
    pub on_key: bool,
    /// The instrument's own stable flag at that moment, if it has one.
    pub stable_flag: Option<bool>,
    /// Temperature of the air, °C, where a thermometer tells it.
    pub air_c: Option<f64>,
    /// What lay in a gauge, which its angles were worked out with; `None` of anything else and in older journals.
    pub laid: Option<Laid>,
    /// The `calibrated` event in force.
    pub calibration: EventId,
    /// SHA-256 (hex) of the stored frames and samples.
    pub evidence: String,
    /// What the budget was made from besides samples and calibration; `None` in journals older than budgets.
    pub budget_inputs: Option<BudgetInputs>,
    /// The budget of each quantity; empty in journals older than budgets.
    pub budget: Vec<Budget>,
}

/// Inputs of a budget besides samples of the load and calibration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BudgetInputs {
    /// Standard uncertainty of the tracked zero at the capture, in the units of the levels.
    pub u_zero: [f64; 2],
    /// Where that zero was seen, in the stored samples; `None` where none is taken off, and in older journals.
    pub zero_look: Option<ZeroLook>,
    /// What the checks since the calibration had found, if there were any.
    pub drift: Option<Drift>,
}
