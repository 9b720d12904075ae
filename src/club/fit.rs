//! Whether parts fit: tip in bore, grip on butt, and where a rib points when a sleeve is turned.
//!
//! Measured sizes come in, answers in words with numbers go out, each with where its rule comes from. Nothing is refused
//! here: a builder may ream, shim, wrap or choose another part. All sizes are diameters in millimetres unless said otherwise.

use super::angles::Face;
use super::cut::Span;
use super::sleeve::{Sleeve, put_on_sleeve};
use crate::measurement::unit::{Degrees, MM_PER_INCH};

/// Standard uncertainty of a diameter taken with a caliper, in millimetres (common practice, no source).
pub const U_OF_A_CALIPER_MM: f64 = 0.02;
/// Thickness of one wrap of build-up tape, 0.005 in (common practice; another page of the trade has 0.0078 in).
pub const USUAL_WRAP_MM: f64 = 0.005 * MM_PER_INCH;
/// Its standard uncertainty: half of what the pages differ by.
pub const U_OF_A_WRAP_MM: f64 = 0.0014 * MM_PER_INCH;
/// Bond line on each side of the tip that adhesives for shafts are usually asked to fill, in millimetres.
const BOND_LINE_MM: (f64, f64) = (0.03, 0.15);
/// Bond line that is left on each side of a shim, in millimetres.
const BOND_LINE_WITH_SHIM_MM: f64 = 0.05;
/// A core this much smaller or larger than the butt still goes on as it is, in millimetres (0.02 in: one core size).
const CORE_AS_IT_IS_MM: f64 = 0.02 * MM_PER_INCH;

const PRACTICE: &str = "common practice, no source";
const GEOMETRY: &str = "geometry";

/// How the end of a shaft or a bore runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taper {
    /// The same diameter all along.
    Parallel,
    /// Growing toward the butt.
    Tapered,
}

impl Taper {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Parallel, Self::Tapered];

    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Parallel => "parallel",
            Self::Tapered => "taper",
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|taper| taper.name() == name)
    }
}

/// Sizes of the parts of one club; what is not known is not judged.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FitSizes {
    /// Outside of the shaft's tip.
    pub tip: Option<Span>,
    /// How the tip runs.
    pub tip_runs: Option<Taper>,
    /// Length of the parallel section of the tip, before it is trimmed.
    pub parallel_section: Option<Span>,
    /// Bore of hosel or sleeve.
    pub bore: Option<Span>,
    /// How the bore runs.
    pub bore_runs: Option<Taper>,
    /// Wall of the shim.
    pub shim: Option<Span>,
    /// Outside of the shaft's butt.
    pub butt: Option<Span>,
    /// Core of the grip: the butt it is made for.
    pub core: Option<Span>,
    /// Outside of the grip on such a butt, where sizes are read (2 in below the cap).
    pub grip_size: Option<Span>,
    /// Wraps of build-up tape.
    pub wraps: u8,
    /// Thickness of one wrap.
    pub wrap: Option<Span>,
    /// Outside that the grip is to have.
    pub final_size: Option<Span>,
    /// Whether the grip has a rib.
    pub rib: bool,
    /// How far the sleeve is turned from where the rib was set; for its angles: from its upright side toward the target.
    pub sleeve_turn: Option<Degrees>,
    /// How far its bore leans.
    pub sleeve_tilt: Option<Degrees>,
}

impl FitSizes {
    /// Its lengths by their keys in an order file.
    #[must_use]
    pub fn lengths(&self) -> [(&'static str, Option<Span>); 9] {
        [
            ("tip_diameter", self.tip),
            ("parallel_section", self.parallel_section),
            ("bore_diameter", self.bore),
            ("shim", self.shim),
            ("butt_diameter", self.butt),
            ("grip_core", self.core),
            ("grip_size", self.grip_size),
            ("wrap", self.wrap),
            ("final_grip_size", self.final_size),
        ]
    }
}

/// What else of the club the answers need, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FitWith {
    /// What is cut off the tip, in millimetres.
    pub tip_trim_mm: Option<f64>,
    /// How deep the shaft goes in, in millimetres.
    pub insertion_mm: Option<f64>,
    /// Loft of the head with a straight sleeve, in the vertical sense.
    pub loft: Option<Degrees>,
    /// Its lie.
    pub lie: Option<Degrees>,
}

/// What an answer says about the parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fit {
    /// They go together as they are.
    Fits,
    /// They go together once something is done, which the words say.
    Work,
    /// They do not.
    No,
}

impl Fit {
    /// The name in messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fits => "fits",
            Self::Work => "work",
            Self::No => "no",
        }
    }
}

/// An answer.
#[derive(Debug, Clone, PartialEq)]
pub struct FitAnswer {
    /// `tip`, `grip`, `rib` or `sleeve`.
    pub about: &'static str,
    /// The short of it.
    pub fit: Fit,
    /// The words, with numbers.
    pub text: String,
    /// Where the rule comes from.
    pub basis: &'static str,
}

/// All answers that the sizes allow.
#[must_use]
pub fn answers(sizes: &FitSizes, with: &FitWith) -> Vec<FitAnswer> {
    [
        tip_in_bore(sizes),
        taper_in_bore(sizes),
        trimmed_tip(sizes, with.tip_trim_mm.unwrap_or(0.0), with.insertion_mm),
        core_on_butt(sizes),
        grip_size(sizes),
        rib(sizes),
        sleeve_angles(sizes, with),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn answer(about: &'static str, fit: Fit, basis: &'static str, text: String) -> Option<FitAnswer> {
    Some(FitAnswer { about, fit, text, basis })
}

/// A length in millimetres and thousandths of an inch, as calipers of both kinds show it.
fn both(mm: f64) -> String {
    format!("{mm:.2} mm ({:.4} in)", mm / MM_PER_INCH)
}

fn tip_in_bore(sizes: &FitSizes) -> Option<FitAnswer> {
    let (tip, bore) = (sizes.tip?, sizes.bore?);
    let shim = sizes.shim.map_or(0.0, |shim| shim.mm);
    let side = (bore.mm - tip.mm) / 2.0 - shim;
    let u_side = tip.u_mm.hypot(bore.u_mm) / 2.0;
    let u_side = u_side.hypot(sizes.shim.map_or(0.0, |shim| shim.u_mm));
    let with = if shim > 0.0 { format!(" with the shim of {}", both(shim)) } else { String::new() };
    let found = format!(
        "tip {} in a bore of {}{with}: {:.2} mm ± {:.2} mm of bond line on each side",
        both(tip.mm),
        both(bore.mm),
        side,
        2.0 * u_side
    );
    let (least, most) = BOND_LINE_MM;
    if side < 0.0 {
        let text = match sizes.shim {
            Some(_) if (bore.mm - tip.mm) > 0.0 => {
                format!("{found}; it does not go in with the shim: take a thinner one")
            }
            _ => format!("{found}; it does not go in: ream the bore by {} or take another shaft", both(-2.0 * side)),
        };
        return answer("tip", Fit::No, PRACTICE, text);
    }
    if side < least {
        let text = format!(
            "{found}; usual is {least:.2} mm to {most:.2} mm, and the adhesive's data sheet decides: abrade the tip or ream the bore"
        );
        return answer("tip", Fit::Work, PRACTICE, text);
    }
    if side > most {
        let wall = (bore.mm - tip.mm) / 2.0 - BOND_LINE_WITH_SHIM_MM;
        let text = format!(
            "{found}; usual is {least:.2} mm to {most:.2} mm, and the adhesive's data sheet decides: a shim with a wall of {} leaves {BOND_LINE_WITH_SHIM_MM:.2} mm",
            both(wall)
        );
        return answer("tip", Fit::Work, PRACTICE, text);
    }
    answer("tip", Fit::Fits, PRACTICE, format!("{found}; usual is {least:.2} mm to {most:.2} mm"))
}

fn taper_in_bore(sizes: &FitSizes) -> Option<FitAnswer> {
    match (sizes.tip_runs?, sizes.bore_runs?) {
        (Taper::Tapered, Taper::Parallel) => answer(
            "tip",
            Fit::Work,
            PRACTICE,
            "a tapered tip in a parallel bore touches only at the top of the bore: it wants a shim that is tapered inside".into(),
        ),
        (Taper::Parallel, Taper::Tapered) => answer(
            "tip",
            Fit::No,
            PRACTICE,
            "a parallel tip does not go to the bottom of a tapered bore: bore it out parallel where the head's maker allows it, or take a tapered tip"
                .into(),
        ),
        _ => None,
    }
}

fn trimmed_tip(sizes: &FitSizes, trim_mm: f64, insertion_mm: Option<f64>) -> Option<FitAnswer> {
    if trim_mm <= 0.0 {
        return None;
    }
    if sizes.tip_runs == Some(Taper::Tapered) {
        let text = format!(
            "{trim_mm:.1} mm are to be cut off a tapered tip: what is left is thicker than the bore expects; tapered tips are ordered in their length and cut at the butt only"
        );
        return answer("tip", Fit::No, PRACTICE, text);
    }
    let (section, insertion) = (sizes.parallel_section?, insertion_mm?);
    let left = section.mm - trim_mm;
    let spare = left - insertion;
    let text = format!(
        "of {:.1} mm parallel tip {left:.1} mm are left after the tip trim of {trim_mm:.1} mm, {insertion:.1} mm go into the bore",
        section.mm
    );
    if spare < 0.0 {
        let text = format!("{text}: {:.1} mm of the taper would have to go in", -spare);
        return answer("tip", Fit::No, GEOMETRY, text);
    }
    answer("tip", Fit::Fits, GEOMETRY, format!("{text}: {spare:.1} mm to spare"))
}

fn core_on_butt(sizes: &FitSizes) -> Option<FitAnswer> {
    let (butt, core) = (sizes.butt?, sizes.core?);
    let larger = butt.mm - core.mm;
    let found = format!("butt {} for a core of {}", both(butt.mm), both(core.mm));
    if larger > CORE_AS_IT_IS_MM * 1.5 {
        let text =
            format!("{found}: {} larger; the grip comes out thicker by that and is stretched hard", both(larger));
        return answer("grip", Fit::Work, PRACTICE, text);
    }
    if larger < -CORE_AS_IT_IS_MM {
        let wrap = sizes.wrap.map_or(USUAL_WRAP_MM, |wrap| wrap.mm);
        let wraps = (-larger / (2.0 * wrap)).round();
        let fill = match format!("{wraps:.0}").as_str() {
            "1" => "1 wrap of tape fills it".to_owned(),
            wraps => format!("{wraps} wraps of tape fill it"),
        };
        let text = format!("{found}: {} smaller; the grip would be loose: {fill}", both(-larger));
        return answer("grip", Fit::Work, PRACTICE, text);
    }
    let way = if larger < 0.0 { "thinner" } else { "thicker" };
    answer(
        "grip",
        Fit::Fits,
        PRACTICE,
        format!("{found}: the grip comes out {} {way} than its size", both(larger.abs())),
    )
}

/// Outside of the grip as it will be: its size on its own core, what the butt is larger, and two walls of every wrap.
#[must_use]
pub fn final_grip_size(sizes: &FitSizes) -> Option<Span> {
    let (grip, butt, core) = (sizes.grip_size?, sizes.butt?, sizes.core?);
    let wrap = sizes.wrap.unwrap_or(Span::new(USUAL_WRAP_MM, U_OF_A_WRAP_MM));
    let walls = 2.0 * f64::from(sizes.wraps);
    let u_mm = grip.u_mm.hypot(butt.u_mm).hypot(core.u_mm).hypot(walls * wrap.u_mm);
    Some(Span::new(grip.mm + butt.mm - core.mm + walls * wrap.mm, u_mm))
}

fn grip_size(sizes: &FitSizes) -> Option<FitAnswer> {
    let found = final_grip_size(sizes)?;
    let wrap = sizes.wrap.unwrap_or(Span::new(USUAL_WRAP_MM, U_OF_A_WRAP_MM));
    let tape = match sizes.wraps {
        1 => format!("with 1 wrap of {}", both(wrap.mm)),
        wraps => format!("with {wraps} wraps of {}", both(wrap.mm)),
    };
    let text = format!("grip {} ± {:.2} mm {tape}", both(found.mm), 2.0 * found.u_mm);
    let Some(wanted) = sizes.final_size else {
        return answer(
            "grip",
            Fit::Fits,
            PRACTICE,
            format!("{text}; a wrap is taken for 0.005 in or 1/128 in: measure it"),
        );
    };
    let off = found.mm - wanted.mm;
    let more = (-off / (2.0 * wrap.mm)).round();
    let wraps = f64::from(sizes.wraps) + more;
    if more.abs() < 0.5 {
        return answer("grip", Fit::Fits, PRACTICE, format!("{text}; {} is asked for", both(wanted.mm)));
    }
    if wraps < 0.0 {
        let text = format!(
            "{text}; {} is asked for: too thick without any tape, take a grip with a larger core",
            both(wanted.mm)
        );
        return answer("grip", Fit::No, PRACTICE, text);
    }
    let then = found.mm + more * 2.0 * wrap.mm;
    let tape = match format!("{wraps:.0}").as_str() {
        "1" => "1 wrap gives".to_owned(),
        wraps => format!("{wraps} wraps give"),
    };
    answer("grip", Fit::Work, PRACTICE, format!("{text}; {} is asked for: {tape} {}", both(wanted.mm), both(then)))
}

fn rib(sizes: &FitSizes) -> Option<FitAnswer> {
    let turn = sizes.sleeve_turn?;
    if !sizes.rib {
        let text = format!("the sleeve turns shaft and grip by {:.0} deg; a round grip does not mind", turn.0);
        return answer("rib", Fit::Fits, GEOMETRY, text);
    }
    let turned = turn.0.rem_euclid(360.0).min((-turn.0).rem_euclid(360.0));
    if turned < 0.5 {
        return answer("rib", Fit::Fits, GEOMETRY, "the sleeve stands where the rib was set".into());
    }
    let around = final_grip_size(sizes)
        .or(sizes.grip_size)
        .map(|size| format!(", {:.1} mm around the grip", std::f64::consts::PI * size.mm * turned / 360.0))
        .unwrap_or_default();
    answer(
        "rib",
        Fit::Work,
        GEOMETRY,
        format!(
            "the sleeve turns shaft and grip with it: the rib points {turned:.0} deg off{around}; set the grip with the sleeve as it will be played, or take a round grip"
        ),
    )
}

fn sleeve_angles(sizes: &FitSizes, with: &FitWith) -> Option<FitAnswer> {
    let (tilt, clock, loft, lie) = (sizes.sleeve_tilt?, sizes.sleeve_turn?, with.loft?, with.lie?);
    let found = match put_on_sleeve(Face { loft, angle: Degrees(0.0) }, lie, Sleeve { tilt, clock }) {
        Ok(found) => found,
        Err(error) => return answer("sleeve", Fit::No, GEOMETRY, format!("the sleeve cannot stand so: {error}")),
    };
    let way = if found.face_loft_restored.0 < 0.0 { "open" } else { "closed" };
    let text = format!(
        "a sleeve of {:.2} deg turned by {:.0} deg: lie {:.2} deg, loft {:.2} deg with the face square, or {:.2} deg {way} at the old loft of {:.2} deg",
        tilt.0,
        clock.0,
        found.lie_soled.0,
        found.loft_face_restored.0,
        found.face_loft_restored.0.abs(),
        loft.0
    );
    answer("sleeve", Fit::Fits, GEOMETRY, text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn inch(value: f64) -> Option<Span> {
        Some(Span::new(value * MM_PER_INCH, U_OF_A_CALIPER_MM))
    }

    #[track_caller]
    fn check(sizes: &FitSizes, trim: Option<f64>, insertion: Option<f64>, expected: &[(Fit, &str)]) {
        let found = answers(sizes, &FitWith { tip_trim_mm: trim, insertion_mm: insertion, ..FitWith::default() });
        assert_eq!(found.len(), expected.len(), "{found:#?}");
        for (answer, (fit, words)) in found.iter().zip(expected) {
            assert!(answer.fit == *fit && answer.text.contains(words), "{answer:?}, expected {words}");
            assert!(!answer.basis.is_empty());
        }
    }

    #[test]
    fn a_thin_tip_in_a_wide_bore_wants_a_shim() {
        // By hand: (0.350 − 0.335) in = 0.381 mm, half of it 0.1905 mm a side; less 0.05 mm of bond line a wall of
        // 0.1405 mm.
        let mut sizes = FitSizes { tip: inch(0.335), bore: inch(0.350), ..FitSizes::default() };
        check(&sizes, None, None, &[(Fit::Work, "a shim with a wall of 0.14 mm")]);
        sizes.shim = Some(Span::new(0.14, 0.01));
        // 0.1905 − 0.14 = 0.0505 mm are left.
        check(&sizes, None, None, &[(Fit::Fits, ": 0.05 mm ± 0.03 mm of bond line")]);
        sizes.shim = Some(Span::new(0.25, 0.01));
        check(&sizes, None, None, &[(Fit::No, "take a thinner one")]);
    }

    #[test]
    fn a_thick_tip_does_not_go_into_a_narrow_bore() {
        // By hand: (0.370 − 0.355) in = 0.381 mm to ream.
        let sizes = FitSizes { tip: inch(0.370), bore: inch(0.355), ..FitSizes::default() };
        check(&sizes, None, None, &[(Fit::No, "ream the bore by 0.38 mm")]);
        // 0.001 in = 0.0254 mm, 0.0127 mm a side: less than usual.
        let sizes = FitSizes { tip: inch(0.370), bore: inch(0.371), ..FitSizes::default() };
        check(&sizes, None, None, &[(Fit::Work, "abrade the tip")]);
    }

    #[test]
    fn taper_and_parallel_do_not_mix_unsaid() {
        let runs = |tip, bore| FitSizes { tip_runs: Some(tip), bore_runs: Some(bore), ..FitSizes::default() };
        check(&runs(Taper::Tapered, Taper::Parallel), None, None, &[(Fit::Work, "a shim that is tapered inside")]);
        check(&runs(Taper::Parallel, Taper::Tapered), None, None, &[(Fit::No, "does not go to the bottom")]);
        check(&runs(Taper::Parallel, Taper::Parallel), None, None, &[]);
        check(
            &runs(Taper::Tapered, Taper::Tapered),
            Some(12.7),
            None,
            &[(Fit::No, "12.7 mm are to be cut off a tapered tip")],
        );
        let mut parallel = runs(Taper::Parallel, Taper::Parallel);
        parallel.parallel_section = Some(Span::new(60.0, 0.5));
        // By hand: 60 − 12.7 = 47.3 left, 30 go in: 17.3 to spare; with 40 cut off 20 are left, 10 too few.
        check(&parallel, Some(12.7), Some(30.0), &[(Fit::Fits, "17.3 mm to spare")]);
        check(&parallel, Some(40.0), Some(30.0), &[(Fit::No, "10.0 mm of the taper")]);
    }

    #[test]
    fn a_grip_comes_out_as_thick_as_the_tables_of_the_trade_say() {
        // tests/checks/08_trade_rules.json: a 0.580 in core on a 0.600 in butt adds 0.020 in (TR-core-mismatch), a wrap of
        // 0.005 in adds 0.010 in (TR-tape), a men's grip has 0.900 in (TR-gripsize).
        let mut sizes =
            FitSizes { butt: inch(0.600), core: inch(0.580), grip_size: inch(0.900), wraps: 2, ..FitSizes::default() };
        let found = final_grip_size(&sizes).unwrap();
        assert!((found.mm / MM_PER_INCH - 0.940).abs() < 1e-9, "{found:?}");
        // u by hand, mm: √(3 × 0.02² + (4 × 0.03556)²) = √(0.0012 + 0.020233) = 0.14640.
        assert!((found.u_mm - 0.1464).abs() < 1e-4, "{found:?}");
        sizes.final_size = inch(0.960);
        check(
            &sizes,
            None,
            None,
            &[(Fit::Fits, "0.51 mm (0.0200 in) thicker"), (Fit::Work, "4 wraps give 24.38 mm (0.9600 in)")],
        );
        sizes.final_size = inch(0.900);
        check(&sizes, None, None, &[(Fit::Fits, "thicker"), (Fit::No, "take a grip with a larger core")]);
        let loose = FitSizes { butt: inch(0.560), core: inch(0.600), ..FitSizes::default() };
        // By hand: 0.040 in over two walls of 0.005 in: 4 wraps.
        check(&loose, None, None, &[(Fit::Work, "4 wraps of tape fill it")]);
    }

    #[test]
    fn a_rib_goes_round_with_the_sleeve() {
        // By hand: a quarter of the way round 22.86 mm: π × 22.86 / 4 = 17.95 mm.
        let mut sizes =
            FitSizes { rib: true, sleeve_turn: Some(Degrees(-90.0)), grip_size: inch(0.900), ..FitSizes::default() };
        check(&sizes, None, None, &[(Fit::Work, "90 deg off, 18.0 mm around the grip")]);
        sizes.sleeve_turn = Some(Degrees(360.0));
        check(&sizes, None, None, &[(Fit::Fits, "where the rib was set")]);
        sizes.rib = false;
        check(&sizes, None, None, &[(Fit::Fits, "a round grip does not mind")]);
    }
}
