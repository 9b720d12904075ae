//! Which characteristic of which club a reading is.
//!
//! A reading and the current club come in; a place, or a refusal with its reason, leaves. Nothing is filed on a
//! guess: what fits nothing or two things is shown and waits for a person.

use super::event::Place;
use super::order::{ClubKind, Stage};
use super::record::ClubRecord;
use crate::club::characteristic::Characteristic;
use crate::measurement::reading::{InstrumentKind, Measured, Quantity, Reading};
use crate::measurement::sample::Expectation;

/// Where a reading goes.
#[derive(Debug, Clone, PartialEq)]
pub enum Routing {
    /// It is clear what it is.
    File {
        /// One value for each characteristic that the placement shows.
        values: Vec<Routed>,
    },
    /// It has no place, or more than one.
    Refuse {
        /// Why, for a person, with what to do.
        reason: String,
        /// Places a person may choose.
        choices: Vec<Place>,
    },
}

/// A measured value with its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Routed {
    /// What it is.
    pub characteristic: Characteristic,
    /// The stage it belongs to.
    pub stage: Stage,
    /// The value and its uncertainty.
    pub measured: Measured,
}

/// The range in which a reading is plausibly this characteristic, around what is expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Smallest plausible value.
    pub lo: f64,
    /// Largest plausible value.
    pub hi: f64,
}

impl Band {
    pub(super) fn contains(self, value: f64) -> bool {
        (self.lo..=self.hi).contains(&value)
    }

    fn around(centre: f64, half_width: f64) -> Self {
        Self { lo: centre - half_width, hi: centre + half_width }
    }
}

/// A part may be this many tolerances away from its target before it is taken for something else.
const TOLERANCES: f64 = 4.0;
/// A part may be this share of its target away before it is taken for something else.
const SHARE: f64 = 0.05;
/// How far angles may be from target, in degrees, before the club in the gauge is taken for another.
const ANGLE_DEG: f64 = 8.0;
/// Tape, adhesive, ferrule and small weights together, in grams (common practice, no source).
const SUNDRIES_G: Band = Band { lo: -1.0, hi: 18.0 };

/// Where `reading` of an instrument of `kind` belongs, given the current club.
#[must_use]
pub fn route(club: Option<&ClubRecord>, kind: InstrumentKind, reading: &Reading) -> Routing {
    let Some(club) = club else {
        return refuse("no club is open: scan an order ticket or open an order, then lay it down again");
    };
    match kind {
        InstrumentKind::Scale => route_mass(club, reading),
        InstrumentKind::Beam => route_beam(club, reading),
        InstrumentKind::Gauge => route_angles(club, reading),
        InstrumentKind::Thermometer | InstrumentKind::Scanner | InstrumentKind::Pedal => {
            refuse("only scales, beams and gauges measure clubs")
        }
    }
}

/// What the work order expects on a scale or beam now, for the settling to know what is plausible.
///
/// The first channel of both is mass; a gauge gets no expectation. The bands are narrow on purpose: a hand rests on
/// a part with a few per cent of its weight, and a band that wide would make it plausible; the narrower a band, the sooner
/// what lies in it is captured.
#[must_use]
pub fn expectations(club: Option<&ClubRecord>, kind: InstrumentKind) -> Vec<Expectation> {
    let Some(club) = club else { return Vec::new() };
    if !matches!(kind, InstrumentKind::Scale | InstrumentKind::Beam) {
        return Vec::new();
    }
    let around = |centre: f64, half: f64| {
        let half = half.min(EXPECTED_SHARE * centre).max(EXPECTED_LEAST_G);
        Expectation { lo: centre - half, hi: centre + half }
    };
    MASSES
        .into_iter()
        .filter_map(|c| {
            // What was weighed weighs the same again.
            if let Some(measured) = club.latest(c) {
                return Some(around(measured.filed.value, EXPECTED_LEAST_G));
            }
            let target = club.spec.target(c)?.target;
            let half = target.lower.zip(target.upper).map_or(f64::INFINITY, |(lower, upper)| 0.5 * (upper - lower));
            Some(around(target.value?, half))
        })
        .collect()
}

/// Largest half width of what is expected, as a share of it.
const EXPECTED_SHARE: f64 = 0.01;
/// Least half width of what is expected, in grams.
const EXPECTED_LEAST_G: f64 = 0.5;

/// Masses that a scale can show, in the order of the work.
const MASSES: [Characteristic; 4] =
    [Characteristic::HeadMass, Characteristic::ShaftMass, Characteristic::GripMass, Characteristic::TotalMass];

fn route_mass(club: &ClubRecord, reading: &Reading) -> Routing {
    let Some(mass) = reading.get(Quantity::Mass) else { return refuse("the instrument sent no mass") };
    let fits = |c: &Characteristic| is_handled(club, *c) && band(club, *c).contains(mass.value);
    let mut fitting: Vec<Characteristic> = MASSES.into_iter().filter(fits).collect();
    // Of two that are possible, the one whose limits it meets, if the other's are not met.
    let meets = |c: &Characteristic| {
        let limits = club.spec.target(*c).and_then(|row| row.target.lower.zip(row.target.upper));
        limits.is_some_and(|(lower, upper)| (lower..=upper).contains(&mass.value))
    };
    let all_have_limits = fitting
        .iter()
        .all(|c| club.spec.target(*c).is_some_and(|row| row.target.lower.is_some() && row.target.upper.is_some()));
    if fitting.len() > 1 && all_have_limits && fitting.iter().filter(|c| meets(c)).count() == 1 {
        fitting.retain(meets);
    }
    match fitting.as_slice() {
        [only] => Routing::File {
            values: vec![Routed { characteristic: *only, stage: club.stage_for(*only), measured: mass }],
        },
        [] => Routing::Refuse {
            reason: format!(
                "{:.1} g fits nothing that {} needs ({}): check the part, or choose what it is",
                mass.value,
                club.spec.id,
                ranges(club, &MASSES)
            ),
            choices: places(club, &MASSES),
        },
        several => Routing::Refuse {
            reason: format!(
                "{:.1} g could be {}: choose which",
                mass.value,
                several.iter().map(|c| c.label()).collect::<Vec<_>>().join(" or ")
            ),
            choices: places(club, several),
        },
    }
}

/// Whether a reading is nothing that this club could show on such an instrument, whatever may lie there; what could be two
/// things of it is not.
pub(super) fn is_unlike_all(club: &ClubRecord, kind: InstrumentKind, reading: &Reading) -> bool {
    let could_be = |c: &Characteristic| {
        is_handled(club, *c) && reading.get(Quantity::Mass).is_some_and(|mass| band(club, *c).contains(mass.value))
    };
    match kind {
        InstrumentKind::Scale => !MASSES.iter().any(could_be),
        InstrumentKind::Beam => ![Characteristic::TotalMass, Characteristic::ShaftMass].iter().any(could_be),
        _ => true,
    }
}

fn route_beam(club: &ClubRecord, reading: &Reading) -> Routing {
    let (Some(mass), Some(balance), Some(swing)) =
        (reading.get(Quantity::Mass), reading.get(Quantity::Balance), reading.get(Quantity::SwingWeight))
    else {
        return refuse("the beam did not show mass, balance and swing weight together");
    };
    let is_club = band(club, Characteristic::TotalMass).contains(mass.value);
    let is_shaft =
        is_handled(club, Characteristic::ShaftMass) && band(club, Characteristic::ShaftMass).contains(mass.value);
    let place = |characteristic, measured| Routed { characteristic, stage: club.stage_for(characteristic), measured };
    let length = club.latest(Characteristic::Length).map_or(club.spec.length_mm(), |e| e.filed.value);
    // The centre of mass of a club with a head on it lies beyond the middle and inside the club.
    let possible = Band { lo: 0.5 * length, hi: length };
    match (is_club, is_shaft) {
        (true, false) if possible.contains(balance.value) => Routing::File {
            values: vec![
                // What the builder came for first.
                place(Characteristic::SwingWeight, swing),
                place(Characteristic::TotalMass, mass),
                place(Characteristic::BalancePoint, balance),
            ],
        },
        (true, false) => refuse(&format!(
            "a balance point of {:.0} mm is not possible for {} ({:.0} mm long): butt against the stop, club free, lay it down again",
            balance.value, club.spec.id, length
        )),
        (false, true) => Routing::File {
            values: vec![place(Characteristic::ShaftMass, mass), place(Characteristic::ShaftBalance, balance)],
        },
        _ => refuse(&format!(
            "{:.1} g on the beam is neither {} ({}): check that it lies free and is the right club",
            mass.value,
            club.spec.id,
            ranges(club, &[Characteristic::TotalMass, Characteristic::ShaftMass])
        )),
    }
}

fn route_angles(club: &ClubRecord, reading: &Reading) -> Routing {
    let pairs = [(Quantity::Loft, Characteristic::Loft), (Quantity::Lie, Characteristic::Lie)];
    let mut values = Vec::new();
    for (quantity, characteristic) in pairs {
        let Some(measured) = reading.get(quantity) else { continue };
        let limit = club.spec.target(characteristic).and_then(|row| centre(&row.target));
        if let Some(expected) = limit.filter(|expected| (measured.value - expected).abs() > ANGLE_DEG) {
            return refuse(&format!(
                "a {} of {:.1}° is far from the {:.1}° of {}: check that it is the right club and sits in the clamp",
                characteristic.label(),
                measured.value,
                expected,
                club.spec.id
            ));
        }
        values.push(Routed { characteristic, stage: club.stage_for(characteristic), measured });
    }
    if values.is_empty() { refuse("the gauge sent no angles") } else { Routing::File { values } }
}

/// Whether a part lies on the bench by itself in this work, or the order asks for it: a club that only gets another grip
/// is not taken apart.
fn is_handled(club: &ClubRecord, characteristic: Characteristic) -> bool {
    club.spec.work.handles(characteristic) || club.spec.target(characteristic).is_some()
}

/// The plausible range of a characteristic of mass for this club.
#[must_use]
pub fn band(club: &ClubRecord, characteristic: Characteristic) -> Band {
    let kind = club.spec.kind;
    if let Some(row) = club.spec.target(characteristic)
        && let Some(centre) = row.target.value
    {
        let tolerance = row.target.upper.zip(row.target.lower).map_or(0.0, |(hi, lo)| (hi - lo) / 2.0);
        return Band::around(centre, (TOLERANCES * tolerance).max(SHARE * centre));
    }
    if characteristic == Characteristic::TotalMass {
        // The club weighs what its parts weigh, with the small things that come with building.
        let parts = [Characteristic::HeadMass, Characteristic::ShaftMass, Characteristic::GripMass];
        let (mut lo, mut hi) = (SUNDRIES_G.lo, SUNDRIES_G.hi);
        for part in parts {
            // A shaft and a grip are weighed raw and may be cut afterwards.
            let cut = if part == Characteristic::ShaftMass { 0.15 } else { 0.0 };
            let range = match club.latest(part) {
                Some(entry) => Band { lo: entry.filed.value * (1.0 - cut), hi: entry.filed.value },
                None => band(club, part),
            };
            lo += range.lo;
            hi += range.hi;
        }
        return Band { lo, hi };
    }
    usual_range_g(kind, characteristic)
}

/// Ranges of parts without a target, in grams. Common practice, no source; wide on purpose.
fn usual_range_g(kind: ClubKind, characteristic: Characteristic) -> Band {
    let (lo, hi) = match (characteristic, kind) {
        (Characteristic::HeadMass, ClubKind::Driver) => (180.0, 215.0),
        (Characteristic::HeadMass, ClubKind::Fairway) => (198.0, 235.0),
        (Characteristic::HeadMass, ClubKind::Hybrid) => (220.0, 255.0),
        (Characteristic::HeadMass, ClubKind::Iron) => (225.0, 300.0),
        (Characteristic::HeadMass, ClubKind::Wedge) => (280.0, 320.0),
        (Characteristic::HeadMass, ClubKind::Putter) => (300.0, 420.0),
        (Characteristic::ShaftMass, ClubKind::Driver | ClubKind::Fairway) => (38.0, 90.0),
        (Characteristic::ShaftMass, _) => (50.0, 140.0),
        (Characteristic::GripMass, ClubKind::Putter) => (50.0, 180.0),
        (Characteristic::GripMass, _) => (24.0, 80.0),
        _ => (0.0, 0.0),
    };
    Band { lo, hi }
}

fn centre(target: &crate::measurement::quantity::Target) -> Option<f64> {
    target.value.or_else(|| target.lower.zip(target.upper).map(|(lo, hi)| f64::midpoint(lo, hi)))
}

fn ranges(club: &ClubRecord, of: &[Characteristic]) -> String {
    of.iter()
        .map(|c| {
            let band = band(club, *c);
            format!("{} {:.0} to {:.0} g", c.label(), band.lo, band.hi)
        })
        .collect::<Vec<_>>()
        .join(", ")
}

fn places(club: &ClubRecord, of: &[Characteristic]) -> Vec<Place> {
    of.iter().map(|c| Place { club: club.spec.id.clone(), characteristic: *c }).collect()
}

fn refuse(reason: &str) -> Routing {
    Routing::Refuse { reason: reason.to_owned(), choices: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::quantity::parse_target;
    use crate::work_order::build::Build;
    use crate::work_order::details::Details;
    use crate::work_order::order::{ClubSpec, Hand, TargetRow, WorkKind};

    fn driver(targets: &[(Characteristic, &str)]) -> ClubRecord {
        let targets = targets
            .iter()
            .map(|(characteristic, text)| TargetRow {
                characteristic: *characteristic,
                target: parse_target(text, characteristic.dimension()).unwrap(),
                text: (*text).to_owned(),
            })
            .collect();
        ClubRecord::new(
            "W-1",
            ClubSpec {
                id: "W-1/1".into(),
                token: "t".into(),
                name: "driver".into(),
                kind: ClubKind::Driver,
                hand: Hand::Right,
                work: WorkKind::Build,
                route: Vec::new(),
                targets,
                details: Details::default(),
                build: Build::default(),
                models: crate::work_order::order::Models::default(),
            },
        )
    }

    fn usual() -> ClubRecord {
        driver(&[
            (Characteristic::HeadMass, "203 g ± 2 g"),
            (Characteristic::ShaftMass, "65 g ± 2 g"),
            (Characteristic::GripMass, "50 g ± 1.5 g"),
            (Characteristic::Loft, "10.5 deg ± 0.5 deg"),
        ])
    }

    #[test]
    fn what_is_expected_is_as_wide_as_its_tolerance_and_never_wider_than_a_hundredth() {
        let club = driver(&[
            (Characteristic::HeadMass, "203 g ± 1.5 g"),
            (Characteristic::ShaftMass, "65 g ± 2 g"),
            (Characteristic::GripMass, "50 g ± 0.1 g"),
        ]);
        let halves: Vec<f64> =
            expectations(Some(&club), InstrumentKind::Scale).iter().map(|band| 0.5 * (band.hi - band.lo)).collect();
        for (half, expected) in halves.iter().zip([1.5, 0.65, 0.5]) {
            assert!((half - expected).abs() < 1e-9, "{halves:?}");
        }
        assert_eq!(halves.len(), 3);
        assert!(
            expectations(Some(&club), InstrumentKind::Gauge).is_empty()
                && expectations(None, InstrumentKind::Scale).is_empty()
        );
    }

    fn mass(value: f64) -> Reading {
        Reading { measured: vec![Measured { quantity: Quantity::Mass, value, u: 0.05 }] }
    }

    fn beam(value: f64, balance: f64) -> Reading {
        let entry = |quantity, value| Measured { quantity, value, u: 0.1 };
        Reading {
            measured: vec![
                entry(Quantity::Mass, value),
                entry(Quantity::Balance, balance),
                entry(Quantity::SwingWeight, 33.0),
            ],
        }
    }

    fn filed(routing: &Routing) -> Vec<(&'static str, &'static str)> {
        match routing {
            Routing::File { values } => values.iter().map(|v| (v.characteristic.name(), v.stage.name())).collect(),
            Routing::Refuse { .. } => Vec::new(),
        }
    }

    #[test]
    fn a_part_on_the_scale_goes_to_what_it_plausibly_is() {
        for (grams, name) in [(203.4, "head_mass"), (66.0, "shaft_mass"), (49.0, "grip_mass"), (322.0, "total_mass")] {
            let routing = route(Some(&usual()), InstrumentKind::Scale, &mass(grams));
            assert_eq!(filed(&routing).first().map(|f| f.0), Some(name), "{grams}");
        }
    }

    #[test]
    fn what_fits_nothing_is_refused_with_its_reason() {
        let Routing::Refuse { reason, choices } = route(Some(&usual()), InstrumentKind::Scale, &mass(150.0)) else {
            panic!("filed");
        };
        assert!(reason.contains("150.0 g fits nothing"), "{reason}");
        assert_eq!(choices.len(), 4);
    }

    #[test]
    fn what_fits_two_things_waits_for_a_person() {
        let club = driver(&[(Characteristic::HeadMass, "203 g ± 2 g")]);
        let Routing::Refuse { reason, choices } = route(Some(&club), InstrumentKind::Scale, &mass(55.0)) else {
            panic!("filed");
        };
        assert_eq!(reason, "55.0 g could be shaft mass or grip mass: choose which");
        assert_eq!(choices.len(), 2);
    }

    #[test]
    fn of_two_possible_parts_the_one_within_its_limits_is_meant() {
        let club = driver(&[(Characteristic::ShaftMass, "60 g ± 3 g"), (Characteristic::GripMass, "50 g ± 2.5 g")]);
        let name = |grams| filed(&route(Some(&club), InstrumentKind::Scale, &mass(grams))).first().map(|f| f.0);
        assert_eq!(name(58.0), Some("shaft_mass"));
        assert_eq!(name(51.0), Some("grip_mass"));
        assert_eq!(name(55.0), None);
    }

    #[test]
    fn a_club_on_the_beam_gives_three_values_and_a_shaft_two() {
        let routing = route(Some(&usual()), InstrumentKind::Beam, &beam(322.0, 860.0));
        assert_eq!(
            filed(&routing),
            [("swing_weight", "dry_fit"), ("total_mass", "dry_fit"), ("balance_point", "dry_fit")]
        );
        let routing = route(Some(&usual()), InstrumentKind::Beam, &beam(65.0, 560.0));
        assert_eq!(filed(&routing), [("shaft_mass", "part"), ("shaft_balance", "part")]);
    }

    #[test]
    fn an_impossible_balance_point_is_refused() {
        let routing = route(Some(&usual()), InstrumentKind::Beam, &beam(322.0, 1200.0));
        assert!(matches!(&routing, Routing::Refuse { reason, .. } if reason.contains("not possible")), "{routing:?}");
    }

    #[test]
    fn nothing_is_filed_without_an_open_club() {
        assert!(matches!(route(None, InstrumentKind::Scale, &mass(203.0)), Routing::Refuse { .. }));
    }

    #[test]
    fn an_angle_far_off_is_another_club() {
        let angles = |loft| Reading {
            measured: vec![
                Measured { quantity: Quantity::Lie, value: 58.0, u: 0.1 },
                Measured { quantity: Quantity::Loft, value: loft, u: 0.1 },
            ],
        };
        assert_eq!(filed(&route(Some(&usual()), InstrumentKind::Gauge, &angles(11.0))).len(), 2);
        assert!(filed(&route(Some(&usual()), InstrumentKind::Gauge, &angles(34.0))).is_empty());
    }
}
