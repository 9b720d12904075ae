//! What a maker, an order or a drawer's file states of a head or a shaft before anybody has measured it here.
//!
//! Details of an order, facts of a numbered part and what came with a part from the drawers come in; values with a standard
//! uncertainty and where they come from go out. Stated is not measured: whoever shows such a value says so.

use super::details::{Details, Measure};
use super::drawers::ItemKind;
use super::part_stock::{PartFacts, PartKind};
use super::record::ClubRecord;
use crate::club::characteristic::Characteristic;

/// A value with its standard uncertainty.
pub type Value = (f64, f64);

/// Standard uncertainty of an angle that is stated without one, in degrees: heads are made to a degree (common practice, no
/// source; rectangular, JCGM 100, 4.3.7).
pub const U_STATED_DEG: f64 = 0.577;
/// The same of a frequency, in cycles a minute: another clamp and another day (common practice, no source).
pub const U_STATED_CPM: f64 = 2.0;

/// What is stated of a head or a shaft; what is `None` was not said.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Stated {
    /// Loft of a head in the vertical sense, on a straight sleeve, in degrees.
    pub loft: Option<Value>,
    /// Its lie, on a straight sleeve, in degrees.
    pub lie: Option<Value>,
    /// Its face angle, closed positive, in degrees.
    pub face_angle: Option<Value>,
    /// Frequency of a raw shaft, in cycles a minute.
    pub frequency: Option<Value>,
    /// Length of the shaft that it is of, in millimetres.
    pub raw_mm: Option<f64>,
    /// How much of the butt was clamped for it, in millimetres.
    pub clamp_mm: Option<f64>,
    /// The mass on the tip for it, in grams.
    pub tip_g: Option<f64>,
}

/// A stated value with where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Said {
    /// The values of which one is wanted.
    pub(super) stated: Stated,
    /// Where from, in words that follow "as stated".
    pub(super) from: String,
    /// How many values the record had when the part came in; what was measured before was another part's.
    pub(super) entries_before: usize,
}

impl Stated {
    /// Whether nothing is said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// An angle of a head, or the frequency of a shaft.
    #[must_use]
    pub fn of(&self, characteristic: Characteristic) -> Option<Value> {
        match characteristic {
            Characteristic::Loft => self.loft,
            Characteristic::Lie => self.lie,
            Characteristic::FaceAngle => self.face_angle,
            Characteristic::Frequency => self.frequency,
            _ => None,
        }
    }

    fn in_order(details: &Details) -> Self {
        let value = |measure, usual_u: f64| {
            let given = details.given(measure)?;
            Some((given.value, given.half_width().map_or(usual_u, |half| half / 3f64.sqrt())))
        };
        let plain = |measure| details.given(measure).map(|given| given.value);
        Self {
            loft: value(Measure::HeadLoft, U_STATED_DEG),
            lie: value(Measure::HeadLie, U_STATED_DEG),
            face_angle: value(Measure::HeadFaceAngle, U_STATED_DEG),
            frequency: value(Measure::ShaftFrequency, U_STATED_CPM),
            raw_mm: None,
            clamp_mm: plain(Measure::ShaftClampLength),
            tip_g: plain(Measure::ShaftTipMass),
        }
    }

    fn of_facts(facts: &PartFacts) -> Self {
        Self {
            loft: facts.loft_deg.map(|deg| (deg, U_STATED_DEG)),
            lie: facts.lie_deg.map(|deg| (deg, U_STATED_DEG)),
            face_angle: None,
            frequency: facts.frequency_cpm.map(|cpm| (cpm, U_STATED_CPM)),
            raw_mm: facts.length_mm,
            clamp_mm: None,
            tip_g: None,
        }
    }
}

/// What is stated of the head (or shaft) that is in a club, for one characteristic: of the part from the drawers, of the
/// numbered part, else by the order. What the order gives is of the part it names, so it holds for another one of the model.
pub(super) fn stated(club: &ClubRecord, characteristic: Characteristic) -> Option<Said> {
    let (item, part) = match characteristic {
        Characteristic::Frequency => (ItemKind::Shaft, PartKind::Shaft),
        _ => (ItemKind::Head, PartKind::Head),
    };
    let taken = club.part_taken(item);
    let entries_before = taken.map_or(0, |(taking, _)| taking.entries_before);
    let of_taken = taken.map(|(_, part)| (part.stated, format!("of {}", part.item)));
    let of_numbered = club.numbered(part).map(|used| {
        (Stated::of_facts(&used.used.facts), format!("of {}", used.used.part.as_deref().unwrap_or(part.name())))
    });
    let in_order = (Stated::in_order(&club.spec.details), "in the order".to_owned());
    of_taken
        .into_iter()
        .chain(of_numbered.filter(|_| taken.is_none()))
        .chain([in_order])
        .find(|(stated, _)| stated.of(characteristic).is_some())
        .map(|(stated, from)| Said { stated, from, entries_before })
}

/// How many values the record had when the head (or shaft) came in that it has now.
pub(super) fn part_since(club: &ClubRecord, kind: ItemKind) -> usize {
    club.part_taken(kind).map_or(0, |(taking, _)| taking.entries_before)
}
