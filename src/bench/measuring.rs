//! What one instrument is measured with: calibration, settling, and the samples a capture and its zero are proved from. Pure.

use super::printed_lines::PrintedLines;
use crate::measurement::calibration::Calibration;
use crate::measurement::evidence::{Evidence, RecentFrames};
use crate::measurement::gauge::Laid;
use crate::measurement::printed::PrintWatch;
use crate::measurement::settling::{Capture, Change, Changes, Phase, Settling, SettlingLimits};

/// The samples of a look at the zero are kept apart when it is so old, s: long before they leave what is at hand.
const KEEP_S: f64 = 2.0;

/// Its calibration, its settling and the samples behind both.
#[derive(Debug)]
pub(super) struct Measuring {
    pub(super) calibration: Calibration,
    pub(super) limits: SettlingLimits,
    pub(super) settling: Settling,
    pub(super) recent: RecentFrames,
    /// For an instrument that sends on a key, in the place of the settling.
    pub(super) prints: PrintWatch,
    pub(super) lines: PrintedLines,
    /// The samples of the look that the zero comes from, and its window: kept apart, since a load may take its time to rest.
    zero: Option<((f64, f64), Evidence)>,
}

impl Measuring {
    pub(super) fn new(calibration: Calibration, limits: SettlingLimits) -> Self {
        Self {
            calibration,
            settling: Settling::new(limits.clone()),
            limits,
            recent: RecentFrames::default(),
            prints: PrintWatch::default(),
            lines: PrintedLines::default(),
            zero: None,
        }
    }

    /// Keeps the samples that the zero comes from: when a load is laid down, and before they are too old to be at hand.
    pub(super) fn keep_zero(&mut self, now_s: f64, changes: &Changes) {
        let Some(look) = self.settling.zero_look() else { return };
        let is_kept = self.zero.as_ref().is_some_and(|(window, _)| *window == look.window);
        let placed = || changes.iter().any(|change| matches!(change, Change::Placed { .. }));
        if !is_kept && (now_s - look.window.1 > KEEP_S || placed()) {
            self.zero = Some((look.window, self.recent.from(look.window.0)));
        }
    }

    /// The frames and samples of a capture: of its zero, then of its load. `None` where those of its zero came too slowly to
    /// be kept.
    pub(super) fn evidence(&self, capture: &Capture) -> Option<Evidence> {
        let load = self.recent.cut(capture.window.0, capture.t_s);
        let Some(look) = capture.zero_look else { return Some(load) };
        let (window, zero) = self.zero.as_ref()?;
        let first_s = zero.frames.first()?.t_s;
        (*window == look.window && first_s <= look.window.0).then(|| zero.clone().and_later(&load))
    }

    /// Whether a club of this hand can be read at all.
    pub(super) fn serves(&self, laid: Option<Laid>) -> bool {
        match (&self.calibration, laid) {
            (Calibration::Gauge(gauge), Some(Laid::Club { hand, .. })) => gauge.datum(hand).is_some(),
            _ => true,
        }
    }

    /// Whether the newest second was not still, or a load came a moment ago: no placement yet, and not nothing either.
    pub(super) fn is_moving(&self) -> bool {
        let newest = self.recent.newest().map(|sample| self.settling.less_zero(sample.values));
        let is_coming = newest.is_some_and(|[load, _]| load.abs() > self.limits.off);
        !self.settling.is_still() || (is_coming && self.settling.phase() == Phase::Empty)
    }
}
