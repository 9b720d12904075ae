//! The positions of a club's sleeve as they are shown, recorded and given to programs.

use serde::Serialize;

use super::bend_view::OF_A_SLEEVE;
use crate::club::characteristic::Characteristic;
use crate::club::sleeve_table::{PositionChange, Wanted};
use crate::measurement::gauge::Hand;
use crate::work_order::record::ClubRecord;
use crate::work_order::sleeving::{Origin, Sleeving, needs, sleeving};

/// Every position of a sleeve, in degrees of change.
#[derive(Debug, Clone, Serialize)]
pub struct SleeveView {
    /// The club.
    pub club: String,
    /// For which hand.
    pub hand: &'static str,
    /// Why there is no table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trouble: Option<String>,
    /// Tilt of the sleeve.
    pub tilt_deg: f64,
    /// The position it was measured in; none: changes are against a straight sleeve.
    pub measured_at_deg: Option<f64>,
    /// The angles that the changes are worked out from, in words: loft, lie, face angle.
    pub from: Vec<String>,
    /// Loft.
    pub loft_deg: Option<f64>,
    /// Lie.
    pub lie_deg: Option<f64>,
    /// Face angle; + closed.
    pub face_angle_deg: Option<f64>,
    /// The positions.
    pub positions: Vec<PositionView>,
    /// What is wanted, in degrees of change.
    pub wanted: WantedView,
    /// The position nearest to it.
    pub best: Option<BestView>,
    /// The answer in words, where something is wanted.
    pub answer: Option<String>,
    /// What is taken for granted, and how to read the table.
    pub notes: Vec<String>,
}

/// What one position changes.
#[derive(Debug, Clone, Serialize)]
pub struct PositionView {
    /// From the upright side toward the target.
    pub clock_deg: f64,
    /// Of the soled head; + upright.
    pub lie_deg: f64,
    /// Toward the target.
    pub shaft_lean_deg: f64,
    /// With the shaft held.
    pub loft_shaft_held_deg: f64,
    /// With the shaft held; + closed.
    pub face_shaft_held_deg: f64,
    /// With the face as before.
    pub loft_same_face_deg: f64,
    /// With the loft as before; + closed.
    pub face_same_loft_deg: f64,
}

/// A wanted change.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct WantedView {
    /// + upright.
    pub lie_deg: Option<f64>,
    /// + weaker.
    pub loft_deg: Option<f64>,
    /// + closed.
    pub face_deg: Option<f64>,
}

/// The nearest position.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct BestView {
    /// Its clock angle.
    pub clock_deg: f64,
    /// How far it is from what is wanted: the root of the squares.
    pub off_by_deg: f64,
    /// Whether that is near enough.
    pub serves: bool,
}

impl PositionView {
    /// The row of a table, with signs; what rounds to nothing has none.
    #[must_use]
    pub fn cells(&self) -> Vec<String> {
        let signed = |angle: f64| {
            let text = format!("{angle:+.2}");
            if text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { text } else { "0.00".to_owned() }
        };
        let Self { lie_deg, loft_shaft_held_deg, face_shaft_held_deg, loft_same_face_deg, face_same_loft_deg, .. } =
            self;
        let angles = [lie_deg, loft_shaft_held_deg, face_shaft_held_deg, loft_same_face_deg, face_same_loft_deg];
        [format!("{:.0}", self.clock_deg)].into_iter().chain(angles.into_iter().map(|angle| signed(*angle))).collect()
    }
}

impl SleeveView {
    /// Whether a position is the nearest to what is wanted.
    #[must_use]
    pub fn is_best(&self, position: &PositionView) -> bool {
        self.best.is_some_and(|best| (best.clock_deg - position.clock_deg).abs() < 1e-9)
    }
}

/// The head of the table.
pub const HEAD: [&str; 6] = ["clock", "lie", "loft, held", "face, held", "loft, same face", "face, same loft"];

/// The table for what the club needs; `None` where its order gives no sleeve.
#[must_use]
pub fn sleeve_view(club: &ClubRecord) -> Option<SleeveView> {
    sleeve_view_for(club, needs(club).unwrap_or_default())
}

/// The table for a wanted change; `None` where the order gives no sleeve.
#[must_use]
pub fn sleeve_view_for(club: &ClubRecord, wanted: Wanted) -> Option<SleeveView> {
    let sleeve = club.spec.details.sleeve.as_ref()?;
    let (found, trouble) = match sleeving(club, wanted)? {
        Ok(found) => (Some(found), None),
        Err(trouble) => (None, Some(trouble)),
    };
    let angle = |index: usize| found.as_ref().and_then(|found| found.from.get(index)).map(|(_, value, _)| *value);
    let nearest = found.as_ref().and_then(|found| Some((found.nearest?, found.off_by()?, found.serves()?)));
    Some(SleeveView {
        club: club.spec.id.clone(),
        hand: club.spec.hand.name(),
        trouble,
        tilt_deg: sleeve.tilt.0,
        measured_at_deg: sleeve.at.map(|at| at.0),
        from: found.iter().flat_map(|found| found.from.map(words)).collect(),
        loft_deg: angle(0),
        lie_deg: angle(1),
        face_angle_deg: angle(2),
        positions: found.iter().flat_map(|found| &found.rows).map(position).collect(),
        wanted: WantedView { lie_deg: wanted.lie, loft_deg: wanted.loft, face_deg: wanted.face },
        best: nearest.map(|(row, off_by_deg, serves)| BestView { clock_deg: row.clock.0, off_by_deg, serves }),
        answer: found.as_ref().and_then(|found| found.answer(sleeve.at)),
        notes: notes(club, found.as_ref()),
    })
}

fn words((of, value, origin): (Characteristic, f64, Origin)) -> String {
    format!("{} {value:.1} deg ({})", of.label(), origin.words())
}

fn notes(club: &ClubRecord, found: Option<&Sleeving>) -> Vec<String> {
    let Some(found) = found else { return Vec::new() };
    let against = match club.spec.details.sleeve.as_ref().and_then(|sleeve| sleeve.at) {
        Some(at) => format!("changes in degrees against the position at {:.0} deg, in which it was measured", at.0),
        None => "changes in degrees against a straight sleeve; say in the order which position it was measured in (at)"
            .to_owned(),
    };
    let way = if club.spec.hand == Hand::Right { "counter-clockwise" } else { "clockwise" };
    let reading = [
        against,
        format!(
            "clock: from the upright side toward the target, {way} seen from the grip; lie: + upright; face: + closed"
        ),
        "held: the shaft stays where it was; same face, same loft: the club is then turned about its shaft".to_owned(),
        "grip and shaft turn with the sleeve: a ribbed grip and a printed shaft come to lie elsewhere".to_owned(),
        OF_A_SLEEVE.to_owned(),
    ];
    found.granted().into_iter().chain(reading).collect()
}

fn position(row: &PositionChange) -> PositionView {
    PositionView {
        clock_deg: row.clock.0,
        lie_deg: row.lie.0,
        shaft_lean_deg: row.shaft_lean.0,
        loft_shaft_held_deg: row.loft_held.0,
        face_shaft_held_deg: row.face_held.0,
        loft_same_face_deg: row.loft_same_face.0,
        face_same_loft_deg: row.face_same_loft.0,
    }
}
