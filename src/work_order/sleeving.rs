//! What the positions of a club's off-axis sleeve would change, and which one serves what the club needs.
//!
//! A club of the record and a wanted change come in, every position with its changes and an answer in words go out. Absent:
//! names of positions, which are clock angles only, and whether a head or sleeve can take it, which its maker knows.

use super::bending::{needed, split_way};
use super::record::ClubRecord;
use crate::club::angles::{AngleError, Face};
use crate::club::characteristic::Characteristic;
use crate::club::sleeve_table::{PositionChange, Wanted, best, changes};
use crate::measurement::quantity::{Dimension, parse_value};
use crate::measurement::unit::Degrees;

/// A position serves a wanted change that it is this near to, in degrees: half of what a bench's gauge repeats to.
pub const SERVES_DEG: f64 = 0.25;
/// How far a face may well be from square that nobody measured, in degrees (common practice, no source).
const UNKNOWN_FACE_DEG: f64 = 1.0;

/// Where an angle of the table comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Measured on the club.
    Measured,
    /// Its order asks for it.
    Ordered,
    /// Nobody said: taken as square.
    TakenAsSquare,
}

impl Origin {
    /// The words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Ordered => "as ordered",
            Self::TakenAsSquare => "not measured, taken as square",
        }
    }
}

/// Every position of a sleeve.
#[derive(Debug, Clone, PartialEq)]
pub struct Sleeving {
    /// Loft, lie and face angle that the changes are worked out from, in degrees, each with where it comes from.
    pub from: [(Characteristic, f64, Origin); 3],
    /// The positions, in the order of the order.
    pub rows: Vec<PositionChange>,
    /// The most that a number of the table would change if a face nobody measured were a degree off square.
    pub face_matters_deg: Option<f64>,
    /// What is wanted; nothing where nothing is free to be wanted.
    pub wanted: Wanted,
    /// The nearest position, where something is wanted.
    pub nearest: Option<PositionChange>,
}

/// A wanted change of an angle as people write it (`1 deg weaker`), in degrees; `None` where nothing is written.
///
/// # Errors
/// In words: no angle, or a way that this angle is not changed in.
pub fn wanted_change(of: Characteristic, written: &str) -> Result<Option<f64>, String> {
    if written.trim().is_empty() {
        return Ok(None);
    }
    let (number, sign) = split_way(of, written)?;
    let size = parse_value(number, Dimension::Angle).map_err(|error| format!("{}: {error}", of.label()))?;
    Ok(Some(sign.unwrap_or(1.0) * size))
}

/// What a club needs of its sleeve: the change of each angle that is outside its limits, none of those inside. `None` where
/// no angle is outside.
#[must_use]
pub fn needs(club: &ClubRecord) -> Option<Wanted> {
    let change = |of: Characteristic| needed(club, of);
    let is_needed = [Characteristic::Lie, Characteristic::Loft, Characteristic::FaceAngle].map(change);
    is_needed.iter().any(Option::is_some).then(|| {
        let kept = |of: Characteristic| change(of).or_else(|| club.spec.target(of).map(|_| 0.0));
        Wanted {
            lie: kept(Characteristic::Lie),
            loft: kept(Characteristic::Loft),
            face: kept(Characteristic::FaceAngle),
        }
    })
}

/// The table of a club's sleeve for a wanted change; `None` where the order gives no sleeve.
///
/// # Errors
/// In words: an angle that is neither measured nor ordered, or one that nothing can be worked out from.
#[must_use]
pub fn sleeving(club: &ClubRecord, wanted: Wanted) -> Option<Result<Sleeving, String>> {
    club.spec.details.sleeve.as_ref()?;
    Some(table(club, wanted))
}

fn table(club: &ClubRecord, wanted: Wanted) -> Result<Sleeving, String> {
    let loft = angle(club, Characteristic::Loft).ok_or_else(|| unknown(club, Characteristic::Loft))?;
    let lie = angle(club, Characteristic::Lie).ok_or_else(|| unknown(club, Characteristic::Lie))?;
    let known_face = angle(club, Characteristic::FaceAngle);
    let face = known_face.unwrap_or((0.0, Origin::TakenAsSquare));
    let rows = |face_deg: f64| {
        rows(club, [loft.0, lie.0, face_deg]).map_err(|error| format!("the sleeve of {}: {error}", club.spec.id))
    };
    let (table, aside) = (rows(face.0)?, rows(face.0 + UNKNOWN_FACE_DEG)?);
    let face_matters_deg = known_face.is_none().then(|| {
        let differences = table.iter().zip(&aside).flat_map(|(row, other)| {
            numbers(row).into_iter().zip(numbers(other)).map(|(a, b)| (a - b).abs()).collect::<Vec<_>>()
        });
        differences.fold(0.0, f64::max)
    });
    let nearest = (wanted != Wanted::default()).then(|| best(&table, wanted).copied()).flatten();
    let from = [
        (Characteristic::Loft, loft.0, loft.1),
        (Characteristic::Lie, lie.0, lie.1),
        (Characteristic::FaceAngle, face.0, face.1),
    ];
    Ok(Sleeving { from, rows: table, face_matters_deg, wanted, nearest })
}

fn rows(club: &ClubRecord, [loft, lie, face]: [f64; 3]) -> Result<Vec<PositionChange>, AngleError> {
    let Some(sleeve) = &club.spec.details.sleeve else { return Ok(Vec::new()) };
    let face = Face { loft: Degrees(loft), angle: Degrees(face) };
    changes(face, Degrees(lie), sleeve.tilt, &sleeve.clocks, sleeve.at)
}

/// The changes of a row that are shown.
fn numbers(row: &PositionChange) -> [f64; 5] {
    [row.lie, row.loft_held, row.face_held, row.loft_same_face, row.face_same_loft].map(|angle| angle.0)
}

/// An angle of the club: as measured, or as ordered.
fn angle(club: &ClubRecord, characteristic: Characteristic) -> Option<(f64, Origin)> {
    if let Some(entry) = club.latest(characteristic) {
        return Some((entry.filed.value, Origin::Measured));
    }
    let target = club.spec.target(characteristic).and_then(|row| row.target.value);
    target.map(|value| (value, Origin::Ordered))
}

fn unknown(club: &ClubRecord, characteristic: Characteristic) -> String {
    let (label, id) = (characteristic.label(), &club.spec.id);
    format!("{label} of {id} is neither measured nor ordered, so nothing can be computed from it")
}

impl Sleeving {
    /// How far the nearest position is from what is wanted, in degrees.
    #[must_use]
    pub fn off_by(&self) -> Option<f64> {
        self.nearest.map(|row| row.distance(self.wanted))
    }

    /// Whether the nearest position serves what is wanted.
    #[must_use]
    pub fn serves(&self) -> Option<bool> {
        self.off_by().map(|off| off <= SERVES_DEG)
    }

    /// Which position does what is wanted, or that none does, in words; `at` is where the sleeve is now.
    #[must_use]
    pub fn answer(&self, at: Option<Degrees>) -> Option<String> {
        let (row, off) = (self.nearest?, self.off_by()?);
        let clock = format!("{:.0} deg", row.clock.0);
        let here = at.is_some_and(|at| (at.0 - row.clock.0).abs() < 1e-9);
        let place = if here { format!("{clock} (where it is)") } else { clock };
        Some(if self.serves()? {
            format!("{place} does what is wanted, off by {off:.2} deg")
        } else {
            format!("no position does what is wanted: the nearest is {place}, off by {off:.2} deg")
        })
    }

    /// What the table takes for granted, in words.
    #[must_use]
    pub fn granted(&self) -> Option<String> {
        self.face_matters_deg.map(|most| {
            format!("the face angle is neither measured nor ordered and is taken as square; a degree off square changes no number here by more than {most:.2} deg")
        })
    }
}
