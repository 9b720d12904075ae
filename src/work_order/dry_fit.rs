//! From a club laid together, or bonded and not yet gripped, to the gripped one.
//!
//! A record with a beam reading of the dry fit (grip laid on, no adhesive) or of the bonded club comes in, the forecast of
//! the gripped club goes out, with what it takes for granted. Between the two lie: adhesive, tape, the grip where it was
//! not laid on, the cap that comes between the stop and the shaft where the bare shaft stood there, and the butt where it
//! is not cut yet. Each is a mass put somewhere or moved, with its own spread.

use super::build::DryFitStop;
use super::drawer_stock::TakenPart;
use super::drawers::ItemKind;
use super::forecast::{Ground, inertia_of_placed, with_weights};
use super::marks;
use super::order::Stage;
use super::parts_model::{
    ADHESIVE_G, GRIP_MM, HEAD_BEFORE_GROUND_MM, TAPE_G, U_DRAWER_G, adhesive_at_mm, length_mm, newest, u_length_mm,
    was_cut,
};
use super::record::{ClubRecord, Entry, Standing};
use super::stated::Value;
use crate::club::characteristic::Characteristic;
use crate::club::swing_weight::{FULCRUM_12_MM, GMM_PER_POINT};
use crate::measurement::unit::{FULCRUM_MM, GMM_PER_INCH_OUNCE, Points};

/// How far from its place a grip lies that is only laid on, in millimetres (common practice, no source).
const LAID_ON_MM: f64 = 5.0;
/// Spread of the thickness of a grip cap that nobody measured, in millimetres.
const U_CAP_MM: f64 = 0.5;
/// Mass of a millimetre of shaft at the butt, in grams, with its spread, where the shaft was not weighed.
const USUAL_SHAFT_G_PER_MM: (f64, f64) = (0.1, 0.04);
/// Share of the mass of a cut piece by which a real shaft differs from an even one.
const UNEVEN_SHAFT: f64 = 0.1;

/// One thing that lies between the reading and the gripped club: what it adds to mass and first moment about the butt,
/// and one standard deviation of that.
#[derive(Clone, Copy)]
struct Effect {
    mass_g: f64,
    first_gmm: f64,
    spread_g: f64,
    spread_gmm: f64,
}

impl Effect {
    /// A mass put somewhere.
    fn put(mass_g: f64, at_mm: f64, spread_g: f64) -> Self {
        Self { mass_g, first_gmm: mass_g * at_mm, spread_g, spread_gmm: spread_g * at_mm }
    }

    /// A mass moved along the club.
    fn moved(mass_g: f64, by_mm: f64, spread_mm: f64) -> Self {
        Self { mass_g: 0.0, first_gmm: mass_g * by_mm, spread_g: 0.0, spread_gmm: mass_g * spread_mm }
    }
}

/// Mass, balance and swing weight of one placement on the beam.
struct Placed<'a> {
    mass: &'a Entry,
    balance: &'a Entry,
    swing: &'a Entry,
}

impl<'a> Placed<'a> {
    fn newest(club: &'a ClubRecord, stage: Stage) -> Option<Self> {
        let swing = newest(club, Characteristic::SwingWeight, stage)?;
        let of = |characteristic| {
            let together = |e: &&Entry| e.event == swing.event && e.filed.characteristic == characteristic;
            // Typed values come one by one: then the newest of the same stage belongs to it.
            club.valid().rfind(together).or_else(|| newest(club, characteristic, stage))
        };
        Some(Self { mass: of(Characteristic::TotalMass)?, balance: of(Characteristic::BalancePoint)?, swing })
    }
}

/// The forecast of the gripped club from what was read at `stage`, dry fit or bonded; `None` without such a reading.
pub(super) fn from_placed(club: &ClubRecord, stage: Stage) -> Option<Ground> {
    let placed = Placed::newest(club, stage)?;
    let (mut effects, mut basis) = (Vec::new(), Vec::new());
    let mass = placed.mass.filed.value;
    let grip_g = grip(club, &placed, stage, &mut effects, &mut basis);
    let length = length_mm(club);
    let mut glued = format!("{:.1} g of tape", TAPE_G.value);
    if stage == Stage::DryFit {
        effects.push(Effect::put(ADHESIVE_G.value, adhesive_at_mm(club, length), ADHESIVE_G.spread));
        glued = format!("{:.1} g of adhesive and ferrule and {glued}", ADHESIVE_G.value);
    }
    let (grip_length, _, usual_cap) = GRIP_MM;
    effects.push(Effect::put(TAPE_G.value, f64::midpoint(usual_cap, grip_length), TAPE_G.spread));
    basis.push(format!("{glued} come to it"));
    butt(club, &placed, grip_g, &mut effects, &mut basis);
    cap(club, mass - grip_g, &mut effects, &mut basis);
    swapped(club, placed.swing, length, &mut effects, &mut basis)?;
    let since = club.weights_since(placed.swing);
    let (placed, moment12) = total(&placed, &effects);
    let length = (length, u_length_mm(club));
    let mut ground = with_weights(Ground { placed, moment12, length, inertia: None, basis }, since);
    let [mass, balance, _] = ground.placed;
    ground.inertia = inertia_of_placed(club, [mass, balance]);
    if ground.inertia.is_some() {
        ground.basis.push("the inertia is that of the weighed parts, moved by what the beam said of them".to_owned());
    }
    Some(ground)
}

/// Whether the grip lay on the club, told by its mass; grams of it that did.
fn grip(
    club: &ClubRecord,
    placed: &Placed<'_>,
    stage: Stage,
    effects: &mut Vec<Effect>,
    basis: &mut Vec<String>,
) -> f64 {
    // Weights from the drawers that lay with it are no part of the grip.
    let weights: f64 = club.weights().map(|(_, part)| part.grams()).sum();
    let since: f64 = club.weights_since(placed.mass).map(TakenPart::grams).sum();
    let mass = placed.mass.filed.value - (weights - since);
    let part = |characteristic| newest(club, characteristic, Stage::Part).map(|e| e.filed.value);
    let stage = if stage == Stage::Bonded { "bonded club" } else { "dry fit" };
    let weighed = part(Characteristic::GripMass);
    let grip_g = weighed.unwrap_or(50.0);
    let rest = part(Characteristic::HeadMass).zip(part(Characteristic::ShaftMass));
    let without = weighed.zip(rest).is_some_and(|(grip, (head, shaft))| mass < head + shaft + grip / 2.0);
    let (_, grip_balance, _) = GRIP_MM;
    if without {
        effects.push(Effect::put(
            grip_g,
            grip_balance,
            newest(club, Characteristic::GripMass, Stage::Part).map_or(0.0, |e| e.filed.u),
        ));
        basis.push(format!(
            "from the {stage} without its grip, by its mass: the weighed grip of {grip_g:.1} g comes to it"
        ));
        return 0.0;
    }
    effects.push(Effect::moved(grip_g, 0.0, LAID_ON_MM));
    basis.push(format!("from the {stage} with the grip laid on"));
    grip_g
}

/// Another head or grip that was taken from the drawers since the club lay on the beam, until the club lies there again;
/// `None` where another shaft was, with which nothing that was read says anything any more.
fn swapped(
    club: &ClubRecord,
    placed: &Entry,
    length_mm: f64,
    effects: &mut Vec<Effect>,
    basis: &mut Vec<String>,
) -> Option<()> {
    let placed_at = club.entries.iter().position(|other| std::ptr::eq(other, placed)).unwrap_or(0);
    for (kind, weighed, at_mm) in [
        (ItemKind::Shaft, Characteristic::ShaftMass, 0.0),
        (ItemKind::Head, Characteristic::HeadMass, length_mm - HEAD_BEFORE_GROUND_MM.value),
        (ItemKind::Grip, Characteristic::GripMass, GRIP_MM.1),
    ] {
        let Some((taking, part)) = club.part_taken(kind).filter(|(taking, _)| taking.entries_before > placed_at) else {
            continue;
        };
        if kind == ItemKind::Shaft {
            return None;
        }
        let weighs = |entry: &&Entry| entry.filed.characteristic == weighed && entry.standing != Standing::Voided;
        let (before, after) = club.entries.split_at_checked(taking.entries_before)?;
        let old = before.iter().rfind(weighs)?.filed.value;
        let (new, u) = after.iter().rfind(weighs).map_or((part.mass_g, U_DRAWER_G), |e| (e.filed.value, e.filed.u));
        effects.push(Effect::put(new - old, at_mm, u));
        basis.push(format!("the {} of {new:.1} g has come for that of {old:.1} g since", kind.name()));
    }
    Some(())
}

/// The butt that is still to be cut off: a piece of shaft goes, and everything but the grip comes nearer to the butt.
fn butt(club: &ClubRecord, placed: &Placed<'_>, grip_g: f64, effects: &mut Vec<Effect>, basis: &mut Vec<String>) {
    let Some(Ok(marks)) = marks::marks(club) else { return };
    let piece_mm = marks.butt.mm;
    if piece_mm <= 0.0 || was_cut(club, placed.swing.at_us) {
        return;
    }
    let raw_mm = club.spec.build.cut.map_or(1.0, |cut| cut.raw_length.mm);
    let (middle_mm, shaft) = (piece_mm / 2.0, newest(club, Characteristic::ShaftMass, Stage::Part));
    let piece = |per_mm: f64| per_mm * piece_mm;
    let (piece_g, spread_g) = match shaft {
        Some(shaft) => {
            let (mass, half) = (shaft.filed.value, raw_mm / 2.0);
            let balance = newest(club, Characteristic::ShaftBalance, Stage::Part).map_or(half, |e| e.filed.value);
            // The affine density of the club model, at the middle of the piece.
            let incline = 12.0 * mass * (balance - half) / raw_mm.powi(3);
            let piece_g = piece(mass / raw_mm + incline * (middle_mm - half));
            (piece_g, UNEVEN_SHAFT * piece_g)
        }
        None => (piece(USUAL_SHAFT_G_PER_MM.0), piece(USUAL_SHAFT_G_PER_MM.1)),
    };
    // With the cap at the stop the shaft begins behind it.
    let begins_mm = match club.spec.build.dry_fit_stop {
        DryFitStop::Cap => cap_mm(club).0,
        DryFitStop::Bare => 0.0,
    };
    let left_g = placed.mass.filed.value - grip_g - piece_g;
    effects.push(Effect::put(-piece_g, begins_mm + middle_mm, spread_g));
    effects.push(Effect::moved(left_g, -piece_mm, marks.butt.u_mm));
    basis.push(format!("{piece_mm:.1} mm of shaft, {piece_g:.1} g, are still to be cut off the butt"));
}

/// Thickness of the grip cap and its spread.
fn cap_mm(club: &ClubRecord) -> (f64, f64) {
    club.spec.build.cut.map_or((GRIP_MM.2, U_CAP_MM), |cut| (cut.grip_cap.mm, cut.grip_cap.u_mm))
}

/// The cap that comes between the stop and the shaft: the shaft with all that hangs on it moves away by its thickness.
fn cap(club: &ClubRecord, rest_g: f64, effects: &mut Vec<Effect>, basis: &mut Vec<String>) {
    let (cap_mm, spread_mm) = cap_mm(club);
    match club.spec.build.dry_fit_stop {
        DryFitStop::Cap => basis.push(format!(
            "the cap of the grip was at the stop; with the bare shaft there it would come out {:.1} points higher",
            rest_g * cap_mm / GMM_PER_POINT
        )),
        DryFitStop::Bare => {
            effects.push(Effect::moved(rest_g, cap_mm, spread_mm));
            basis.push(format!("the bare shaft was at the stop: the cap of {cap_mm:.1} mm comes between"));
        }
    }
}

/// Mass, balance and swing weight of the gripped club, and its moment about 12 in, each with its standard uncertainty.
fn total(placed: &Placed<'_>, effects: &[Effect]) -> ([Value; 3], Value) {
    let (mass, balance, swing) = (&placed.mass.filed, &placed.balance.filed, &placed.swing.filed);
    let total = mass.value + effects.iter().map(|e| e.mass_g).sum::<f64>();
    let centre = (mass.value * balance.value + effects.iter().map(|e| e.first_gmm).sum::<f64>()) / total;
    let points = |mass_g: f64, first_gmm: f64| (first_gmm - FULCRUM_MM * mass_g) / GMM_PER_POINT;
    let swing_value = swing.value + effects.iter().map(|e| points(e.mass_g, e.first_gmm)).sum::<f64>();
    let spread = |own: f64, of: &dyn Fn(&Effect) -> f64| effects.iter().map(of).fold(own, f64::hypot);
    let u_centre = spread(balance.u * mass.value / total, &|e| (e.spread_gmm - centre * e.spread_g) / total);
    let inch_ounces = |mass_g: f64, first_gmm: f64| (first_gmm - FULCRUM_12_MM * mass_g) / GMM_PER_INCH_OUNCE;
    // From one scale to the other the fulcrum moves by 2 in under the whole mass.
    let shifted = |mass_g: f64| mass_g * (FULCRUM_MM - FULCRUM_12_MM) / GMM_PER_INCH_OUNCE;
    let moment12 = Points(swing.value).moment14().inch_ounces()
        + shifted(mass.value)
        + effects.iter().map(|e| inch_ounces(e.mass_g, e.first_gmm)).sum::<f64>();
    let own12 = (swing.u * GMM_PER_POINT / GMM_PER_INCH_OUNCE).hypot(shifted(mass.u));
    let values = [
        (total, spread(mass.u, &|e| e.spread_g)),
        (centre, u_centre),
        (swing_value, spread(swing.u, &|e| points(e.spread_g, e.spread_gmm))),
    ];
    (values, (moment12, spread(own12, &|e| inch_ounces(e.spread_g, e.spread_gmm))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::cut::{CutPlan, GroundLine, Span};
    use crate::club::parts::{Assembly, Grip, Head, Place, PointWeight, Shaft, Tape};
    use crate::measurement::quantity::Target;
    use crate::measurement::unit::{Degrees, Grams, Millimetres};
    use crate::work_order::build::Build;
    use crate::work_order::details::Details;
    use crate::work_order::event::{EventId, FiledValue};
    use crate::work_order::forecast::outlook;
    use crate::work_order::judging::{DecisionRule, Verdict};
    use crate::work_order::learning::Learning;
    use crate::work_order::order::{ClubKind, ClubSpec, Hand, Models, TargetRow, WorkKind};
    use crate::work_order::record::{Method, StepRecord};
    use crate::work_order::steps::Step;

    /// A 38 in iron whose shaft of 1003 mm loses 12.7 mm at the tip and 67.1 mm at the butt (see `club::cut`).
    fn plan() -> CutPlan {
        CutPlan {
            raw_length: Span::new(1003.0, 0.5),
            tip_trim: Span::new(12.7, 0.3),
            bore_depth: Span::new(31.0, 0.2),
            insertion: Some(Span::new(29.0, 0.3)),
            sleeve_floor: None,
            ground_line: GroundLine {
                distance: Span::new(36.0, 0.5),
                at: Degrees(60.0),
                sole_contact: None,
                sole_radius_mm: 0.0,
            },
            grip_cap: Span::new(4.0, 0.2),
            ferrule: None,
        }
    }

    /// The same iron by the club model, which is checked against independent vectors.
    fn body(cap: f64, butt_trim: f64, fixed: f64, with_grip: f64) -> Assembly {
        Assembly {
            cap: Millimetres(cap),
            shaft: Shaft {
                raw_length: Millimetres(1003.0),
                raw_mass: Grams(120.0),
                balance_from_butt: Millimetres(490.0),
                tip_trim: Millimetres(12.7),
                butt_trim: Millimetres(butt_trim),
            },
            grip: Grip { mass: Grams(50.0 * with_grip), length: Millimetres(268.0), cg_from_butt: Millimetres(112.0) },
            tape: Tape { mass: Grams(2.5 * fixed), length: Millimetres(264.0) },
            head: Head {
                mass: Grams(256.0),
                cg_from_tip: Millimetres(24.0),
                cg_lateral: Millimetres(0.0),
                inertia_cg_gmm2: 0.0,
            },
            points: vec![PointWeight { mass: Grams(2.0 * fixed), place: Place::FromTip(Millimetres(-25.0)) }],
        }
    }

    fn entry(characteristic: Characteristic, stage: Stage, value: f64, number: u64) -> Entry {
        Entry {
            filed: FiledValue {
                characteristic,
                stage,
                value,
                u: 0.05,
                expanded_u: None,
                target: None,
                lower: None,
                upper: None,
                deviation: None,
                verdict: Verdict::NoTarget,
                marginal: false,
                rule: DecisionRule::Plain,
            },
            method: Method::Typed { text: String::new() },
            event: EventId::new(1, number, 0),
            at_us: i64::try_from(number).unwrap(),
            by: None,
            standing: Standing::Valid,
            budget: None,
        }
    }

    /// A record with the weighed parts and one placement of `laid` on the beam.
    fn record(cut: Option<CutPlan>, stop: DryFitStop, stage: Stage, laid: &Assembly) -> ClubRecord {
        let length = Target { value: Some(965.2), lower: None, upper: None };
        let row = TargetRow { characteristic: Characteristic::Length, target: length, text: "38 in".into() };
        let mut club = ClubRecord::new(
            "W-1",
            ClubSpec {
                id: "W-1/1".into(),
                token: "t".into(),
                name: "5-iron".into(),
                kind: ClubKind::Iron,
                hand: Hand::Right,
                work: WorkKind::Build,
                route: Vec::new(),
                targets: vec![row],
                build: Build { cut, dry_fit_stop: stop, ..Build::default() },
                details: Details::default(),
                models: Models::default(),
            },
        );
        for (number, (characteristic, value)) in (1u64..).zip([
            (Characteristic::HeadMass, 256.0),
            (Characteristic::ShaftMass, 120.0),
            (Characteristic::GripMass, 50.0),
            (Characteristic::ShaftBalance, 490.0),
        ]) {
            club.file(entry(characteristic, Stage::Part, value, number));
        }
        let whole = laid.mass_properties().unwrap();
        for (characteristic, value) in [
            (Characteristic::TotalMass, whole.mass.0),
            (Characteristic::BalancePoint, whole.balance.0),
            (Characteristic::SwingWeight, whole.swing_weight.0),
        ] {
            club.file(entry(characteristic, stage, value, 9));
        }
        club
    }

    /// The forecast of swing weight and mass against the finished club by the model.
    #[track_caller]
    fn check(club: &ClubRecord, finished: &Assembly, words: &[&str]) {
        let outlook = outlook(club, &Learning::default());
        let whole = finished.mass_properties().unwrap();
        let found = |characteristic| outlook.values.iter().find(|f| f.characteristic == characteristic).unwrap();
        let swing = found(Characteristic::SwingWeight);
        assert!((swing.value - whole.swing_weight.0).abs() < 0.05, "{swing:?}, expected {}", whole.swing_weight.0);
        assert!((0.1..1.5).contains(&swing.u), "{swing:?}");
        let mass = found(Characteristic::TotalMass);
        assert!((mass.value - whole.mass.0).abs() < 0.1, "{mass:?}, expected {}", whole.mass.0);
        let balance = found(Characteristic::BalancePoint);
        assert!((balance.value - whole.balance.0).abs() < 0.2, "{balance:?}, expected {}", whole.balance.0);
        for word in words {
            assert!(outlook.basis.iter().any(|line| line.contains(word)), "{word} not in {:?}", outlook.basis);
        }
    }

    #[test]
    fn an_uncut_dry_fit_on_its_bare_end_forecasts_the_finished_club() {
        let club = record(Some(plan()), DryFitStop::Bare, Stage::DryFit, &body(0.0, 0.0, 0.0, 1.0));
        // By hand the cut alone: everything but the grip 67.1 mm nearer, (426 − 50 − 8) g × 67.1 mm / 1260 = 19.6 points
        // less, the piece of 8 g at 34 mm gone 2 points more; the cap (368 g × 4 mm) 1.2 points more.
        check(
            &club,
            &body(4.0, 67.1, 1.0, 1.0),
            &["67.1 mm of shaft", "the cap of 4.0 mm comes between", "grip laid on"],
        );
    }

    #[test]
    fn a_dry_fit_without_its_grip_is_told_by_its_mass() {
        let club = record(None, DryFitStop::Bare, Stage::DryFit, &body(0.0, 67.1, 0.0, 0.0));
        check(&club, &body(3.0, 67.1, 1.0, 1.0), &["without its grip", "the weighed grip of 50.0 g"]);
    }

    #[test]
    fn a_bonded_club_wants_no_adhesive_and_a_cut_one_no_cut() {
        let mut bonded = body(4.0, 67.1, 0.0, 1.0);
        bonded.points = body(4.0, 67.1, 1.0, 1.0).points;
        let mut club = record(Some(plan()), DryFitStop::Cap, Stage::Bonded, &bonded);
        for step in [Step::Bond, Step::Cut] {
            club.steps.push(StepRecord { at_us: 5, ..StepRecord::supposed(step) });
        }
        check(
            &club,
            &body(4.0, 67.1, 1.0, 1.0),
            &["bonded club", "2.5 g of tape come to it", "cap of the grip was at the stop"],
        );
        let basis = outlook(&club, &Learning::default()).basis;
        assert!(!basis.iter().any(|line| line.contains("still to be cut") || line.contains("adhesive")), "{basis:?}");
    }

    #[test]
    fn an_uncut_dry_fit_with_its_cap_at_the_stop() {
        let club = record(Some(plan()), DryFitStop::Cap, Stage::DryFit, &body(4.0, 0.0, 0.0, 1.0));
        check(&club, &body(4.0, 67.1, 1.0, 1.0), &["67.1 mm of shaft"]);
    }
}
