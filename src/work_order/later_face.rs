//! A loft that was worked out with another face angle than the one the club is known to have now.
//!
//! A club's record comes in. A gauge that reads in the plane of the shaft is converted with the face angle; where that was
//! typed, or taken back, after the loft had been read, the loft of the record is not that of the club, and counts as not
//! measured until the club lies in the gauge again. Absent: the gauge's calibration. That the loft hangs on the face is told
//! by its budget, so that a record that is looked up alone says the same.

use super::record::{ClubRecord, Entry, Method, Standing};
use crate::club::characteristic::Characteristic;
use crate::measurement::gauge::{LoftSense, SQUARED};
use crate::measurement::uncertainty::Source;

/// Degrees of loft for one of face angle below which the loft does not come from the plane of the shaft: there it is 0.3 to
/// 0.8, and less than 0.05 from a fixture that rolls by 2 degrees.
const LEAST_SLOPE: f64 = 0.05;
/// A change of loft below this shows in no decimal, in degrees.
const SHOWN_DEG: f64 = 0.05;

/// What a later face angle makes of a loft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LaterFace {
    /// The loft of the record, in degrees.
    pub loft_deg: f64,
    /// The face angle it was worked out with, in degrees, closed positive; `None`: taken as square.
    pub with_deg: Option<f64>,
    /// The face angle as it is known now; `None`: not any more.
    pub now_deg: Option<f64>,
    /// What the loft would be with it, in degrees.
    pub makes_deg: f64,
}

impl LaterFace {
    /// What is to be done, in words.
    #[must_use]
    pub fn text(&self) -> String {
        let face = |face_deg: Option<f64>| match face_deg {
            None => "a square face".to_owned(),
            Some(closed) if closed < 0.0 => format!("a face {:.1}° open", -closed),
            Some(closed) => format!("a face {closed:.1}° closed"),
        };
        format!(
            "loft {:.1}° was worked out with {}; with {} it would be {:.1}°: lay the club in the gauge again",
            self.loft_deg,
            face(self.with_deg),
            face(self.now_deg),
            self.makes_deg
        )
    }
}

/// What a later face angle makes of the loft that counts; `None` where it was worked out with the face as it is.
#[must_use]
pub fn later_face(club: &ClubRecord) -> Option<LaterFace> {
    let index = club.entries.iter().rposition(counts)?;
    of_entry(club, index)
}

/// What a later face angle makes of an entry of the record, by its index, where it is a loft that one has overtaken.
pub(super) fn overtaken(club: &ClubRecord, index: usize) -> Option<LaterFace> {
    of_entry(club, index)
}

/// A loft that a gauge has read and nobody has taken back.
fn counts(entry: &Entry) -> bool {
    entry.standing == Standing::Valid
        && entry.filed.characteristic == Characteristic::Loft
        && matches!(entry.method, Method::Measured { .. })
}

fn of_entry(club: &ClubRecord, index: usize) -> Option<LaterFace> {
    let loft = club.entries.get(index).filter(|entry| counts(entry))?;
    let budget = loft.budget.as_ref()?;
    let by_face = budget.components.iter().find(|component| component.source == Source::Face)?;
    let is_face = |entry: &&Entry| entry.filed.characteristic == Characteristic::FaceAngle;
    // What was taken back before the loft was read was not used for it.
    let gone = |entry: &Entry| club.voids.iter().any(|void| void.event == entry.event && void.at_us <= loft.at_us);
    let with = club.entries.iter().take(index).rfind(|entry| is_face(entry) && !gone(entry));
    if by_face.u / with.map_or(SQUARED.0, |face| face.filed.u) < LEAST_SLOPE {
        return None;
    }
    let lie = club.entries.iter().find(|e| e.event == loft.event && e.filed.characteristic == Characteristic::Lie)?;
    let now = club.latest(Characteristic::FaceAngle);
    let degrees = |face: Option<&Entry>| face.map(|face| face.filed.value);
    let (with_deg, now_deg) = (degrees(with), degrees(now));
    let (loft_deg, lie_deg) = (loft.filed.value, lie.filed.value);
    let shown = LoftSense::in_shaft_plane(loft_deg, lie_deg, with_deg.unwrap_or(0.0));
    let makes_deg = LoftSense::ShaftPlane.to_vertical(shown, lie_deg, now_deg.unwrap_or(0.0));
    let later = LaterFace { loft_deg, with_deg, now_deg, makes_deg };
    ((makes_deg - loft_deg).abs() >= SHOWN_DEG).then_some(later)
}
