//! How a club is to be made, in an order file: where the shaft is cut, the sizes of the parts, the tip trims of a set.
//!
//! ```toml
//! [[tip_trim]]                       # the schedule of a set: each club takes a step more than the one before
//! clubs = ["5-iron", "7-iron"]
//! first = "0 in"
//! step = "1/2 in"
//!
//! [[club]]
//! name = "7-iron"
//! kind = "iron"
//! length = "37 in ± 1/16 in"
//!
//! [club.cut]
//! raw_length = "39 1/2 in ± 1/32 in"
//! bore_depth = "31 mm"
//! insertion = "29 mm"                # without it the shaft stands on the bottom
//! bore_to_ground = "36 mm"           # along the axis, measured with the inclined plane at ground_angle
//! grip_cap = "4 mm"
//!
//! [club.fit]
//! tip_diameter = "0.370 in"
//! bore_diameter = "0.376 in"
//! ```

use super::document::Section;
use crate::club::characteristic::Characteristic;
use crate::club::cut::{CutPlan, GroundLine, MEASURING_ANGLE, Span, U_OF_A_MARK_MM};
use crate::club::fit::{FitSizes, Taper, U_OF_A_CALIPER_MM, U_OF_A_WRAP_MM};
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::Degrees;
use crate::work_order::build::{Build, DryFitStop};
use crate::work_order::order::{ClubKind, TargetRow};

/// Standard uncertainties of lengths that were written without one, in millimetres (common practice, no source): with a
/// rule, with a depth gauge, and of where a sole touches, which is seen rather than measured.
const U_RULE_MM: f64 = 0.5;
const U_DEPTH_MM: f64 = 0.2;
const U_CONTACT_MM: f64 = 3.0;
/// The usual grip cap, where none is written (common practice, no source).
const USUAL_CAP: Span = Span { mm: 3.0, u_mm: 0.5 };
/// Most wraps of tape that make sense.
const MOST_WRAPS: f64 = 20.0;

/// The tip trims of a set, by the name of the club.
#[derive(Default)]
pub(super) struct TipTrims(Vec<Scheduled>);

struct Scheduled {
    club: String,
    trim_mm: f64,
    taken: bool,
}

impl TipTrims {
    /// Reads every `[[tip_trim]]`.
    pub(super) fn read(top: &Section<'_>) -> Self {
        let mut all: Vec<Scheduled> = Vec::new();
        top.sections("tip_trim", |_, schedule| {
            let clubs = schedule.texts("clubs").unwrap_or_default();
            if clubs.is_empty() {
                schedule.mistake("clubs", "expected the names of the clubs in brackets, the least trimmed first");
            }
            let first = required(schedule, "first", 0.0..=300.0, 0.0)?;
            let step = required(schedule, "step", 0.0..=100.0, 0.0)?;
            for (position, club) in (0u32..).zip(clubs) {
                if all.iter().any(|other| other.club == club) {
                    schedule.mistake("clubs", format!("\"{club}\" has its tip trim twice, expected once"));
                }
                let trim_mm = first.mm + f64::from(position) * step.mm;
                all.push(Scheduled { club: club.to_owned(), trim_mm, taken: false });
            }
            Some(())
        });
        Self(all)
    }

    fn take(&mut self, club: &str) -> Option<f64> {
        let found = self.0.iter_mut().filter(|scheduled| scheduled.club == club);
        let mut trim = None;
        for scheduled in found {
            scheduled.taken = true;
            trim = Some(scheduled.trim_mm);
        }
        trim
    }

    /// A schedule for a club that is not cut here does nothing, which nobody would notice.
    pub(super) fn finish(&self, top: &Section<'_>) {
        let unused: Vec<&str> = self.0.iter().filter(|s| !s.taken).map(|s| s.club.as_str()).collect();
        if !unused.is_empty() {
            let names = unused.join("\", \"");
            top.mistake("tip_trim", format!("no club with a table [club.cut] is called \"{names}\""));
        }
    }
}

/// Reads what a club says of its making.
pub(super) fn read_build(
    club: &Section<'_>,
    kind: Option<ClubKind>,
    name: Option<&str>,
    targets: &[TargetRow],
    tip_trims: &mut TipTrims,
) -> Option<Build> {
    // Everything is read before anything is given up, so that every mistake is named.
    let cut = club.section("cut", |cut| read_cut(kind, cut, name.unwrap_or_default(), targets, tip_trims));
    let fit = club.section("fit", read_fit);
    let stops: Vec<(&str, DryFitStop)> = DryFitStop::ALL.iter().map(|stop| (stop.name(), *stop)).collect();
    let stop = if club.has("dry_fit_stop") { club.choice("dry_fit_stop", &stops) } else { Some(DryFitStop::default()) };
    let again_of = club.text("again_of").map(str::to_owned);
    Some(Build { cut: whole(cut)?, fit: whole(fit)?, dry_fit_stop: stop?, again_of })
}

/// A table that is absent is nothing; one with a mistake is no answer.
fn whole<T>(read: Option<Option<T>>) -> Option<Option<T>> {
    match read {
        None => Some(None),
        Some(read) => read.map(Some),
    }
}

fn read_cut(
    kind: Option<ClubKind>,
    cut: &Section<'_>,
    name: &str,
    targets: &[TargetRow],
    tip_trims: &mut TipTrims,
) -> Option<CutPlan> {
    let scheduled = tip_trims.take(name);
    if scheduled.is_some() && cut.has("tip_trim") {
        cut.mistake("tip_trim", "the tip trim stands in a table [[tip_trim]] as well, expected in one place");
    }
    let tip_trim = match optional(cut, "tip_trim", 0.0..=300.0, U_OF_A_MARK_MM) {
        Ok(own) => {
            own.or(scheduled.map(|mm| Span::new(whole_nanometres(mm), U_OF_A_MARK_MM))).unwrap_or(Span::new(0.0, 0.0))
        }
        Err(()) => Span::new(0.0, 0.0),
    };
    let raw_length = required(cut, "raw_length", 200.0..=2000.0, U_RULE_MM);
    let bore_depth = required(cut, "bore_depth", 5.0..=150.0, U_DEPTH_MM);
    let insertion = optional(cut, "insertion", 5.0..=150.0, U_DEPTH_MM);
    let sleeve_floor = optional(cut, "sleeve_floor", 0.0..=50.0, U_DEPTH_MM);
    let distance = required(cut, "bore_to_ground", 0.0..=200.0, U_RULE_MM);
    let at =
        if cut.has("ground_angle") { cut.quantity("ground_angle", Dimension::Angle) } else { Some(MEASURING_ANGLE.0) };
    let at = at.filter(|at| {
        let possible = (40.0..=85.0).contains(at);
        if !possible {
            cut.mistake("ground_angle", "not possible, expected from 40 to 85 deg");
        }
        possible
    });
    if kind == Some(ClubKind::Putter) && cut.has("ground_angle") {
        cut.mistake("ground_angle", "a putter is measured along its axis to the sole, expected no angle");
    }
    let sole_contact = optional(cut, "sole_contact", 0.0..=120.0, U_CONTACT_MM);
    let sole_radius = optional(cut, "sole_radius", 0.0..=5000.0, U_CONTACT_MM);
    let grip_cap = optional(cut, "grip_cap", 0.0..=30.0, U_DEPTH_MM);
    let ferrule = optional(cut, "ferrule", 0.0..=100.0, U_DEPTH_MM);
    let length = targets.iter().find(|row| row.characteristic == Characteristic::Length);
    let length = length.and_then(|row| row.target.value);
    if length.is_none() {
        cut.mistake("raw_length", "a shaft can only be cut for a length: expected the club's length with a value");
    }
    let plan = CutPlan {
        raw_length: raw_length?,
        tip_trim,
        bore_depth: bore_depth?,
        insertion: insertion.ok()?,
        sleeve_floor: sleeve_floor.ok()?,
        ground_line: GroundLine {
            distance: distance?,
            at: Degrees(at?),
            sole_contact: sole_contact.ok()?,
            sole_radius_mm: sole_radius.ok()?.map_or(0.0, |radius| radius.mm),
        },
        grip_cap: grip_cap.ok()?.unwrap_or(USUAL_CAP),
        ferrule: ferrule.ok()?,
    };
    match plan.marks(length?) {
        Ok(_) => Some(plan),
        Err(error) => {
            cut.mistake("raw_length", error.to_string());
            None
        }
    }
}

fn read_fit(fit: &Section<'_>) -> Option<FitSizes> {
    let runs: Vec<(&str, Taper)> = Taper::ALL.into_iter().map(|taper| (taper.name(), taper)).collect();
    let diameter = |key| optional(fit, key, 1.0..=60.0, U_OF_A_CALIPER_MM);
    let (tip, bore, butt) = (diameter("tip_diameter"), diameter("bore_diameter"), diameter("butt_diameter"));
    let (core, grip_size, final_size) = (diameter("grip_core"), diameter("grip_size"), diameter("final_grip_size"));
    let shim = optional(fit, "shim", 0.01..=3.0, U_OF_A_CALIPER_MM);
    let parallel_section = optional(fit, "parallel_section", 0.0..=1000.0, U_RULE_MM);
    let wrap = optional(fit, "wrap", 0.01..=1.0, U_OF_A_WRAP_MM);
    let wraps = fit.number("tape_wraps", 0.0..=MOST_WRAPS);
    if wraps.is_some_and(|wraps| wraps.fract() > 0.0) {
        fit.mistake("tape_wraps", "expected a whole number of wraps");
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number from 0 to 20")]
    let wraps = wraps.unwrap_or(0.0) as u8;
    let tip_runs = if fit.has("tip") { fit.choice("tip", &runs) } else { None };
    let bore_runs = if fit.has("bore") { fit.choice("bore", &runs) } else { None };
    let rib = if fit.has("rib") { fit.flag("rib").unwrap_or(false) } else { false };
    let angle = |key, most: f64| {
        let found = if fit.has(key) { fit.quantity(key, Dimension::Angle) } else { None };
        if found.is_some_and(|angle| !(-most..=most).contains(&angle)) {
            fit.mistake(key, format!("not possible, expected from -{most} to {most} deg"));
        }
        found.map(Degrees)
    };
    let (sleeve_turn, sleeve_tilt) = (angle("sleeve_turn", 360.0), angle("sleeve_tilt", 10.0));
    Some(FitSizes {
        tip: tip.ok()?,
        tip_runs,
        parallel_section: parallel_section.ok()?,
        bore: bore.ok()?,
        bore_runs,
        shim: shim.ok()?,
        butt: butt.ok()?,
        core: core.ok()?,
        grip_size: grip_size.ok()?,
        wraps,
        wrap: wrap.ok()?,
        final_size: final_size.ok()?,
        rib,
        sleeve_turn,
        sleeve_tilt,
    })
}

/// A length that may be absent; a mistake is noted and is no value.
pub(super) fn optional(
    section: &Section<'_>,
    key: &'static str,
    possible: std::ops::RangeInclusive<f64>,
    usual_u: f64,
) -> Result<Option<Span>, ()> {
    if !section.has(key) {
        return Ok(None);
    }
    let (target, _) = section.target(key, Dimension::Length).ok_or(())?;
    let Some(mm) = target.value.filter(|mm| possible.contains(mm)) else {
        section.mistake(key, format!("not possible, expected from {} to {} mm", possible.start(), possible.end()));
        return Err(());
    };
    // A stated half-width: rectangular distribution, JCGM 100:2008, 4.3.7.
    let half = target.lower.zip(target.upper).map(|(lower, upper)| (upper - lower) / 2.0 / 3f64.sqrt());
    Ok(Some(Span::new(whole_nanometres(mm), whole_nanometres(half.unwrap_or(usual_u)))))
}

/// Finer than anybody measures a shaft: so a length that is written out in another unit is read as the same one again.
fn whole_nanometres(mm: f64) -> f64 {
    (mm * 1e6).round() / 1e6
}

fn required(
    section: &Section<'_>,
    key: &'static str,
    possible: std::ops::RangeInclusive<f64>,
    usual_u: f64,
) -> Option<Span> {
    if !section.has(key) {
        section.mistake(key, "expected a length such as \"31 mm\"");
        return None;
    }
    optional(section, key, possible, usual_u).ok()?
}

#[cfg(test)]
mod tests {
    use crate::club::cut::Span;
    use crate::config::document::Mistakes;
    use crate::config::order_file::read_order;
    use crate::work_order::build::DryFitStop;

    const SET: &str = r#"
order = "W-7"

[[tip_trim]]
clubs = ["5-iron", "6-iron", "7-iron"]
first = "1/2 in"
step = "1/2 in"

[[club]]
name = "7-iron"
kind = "iron"
length = "37 in ± 1/16 in"
dry_fit_stop = "bare"
[club.cut]
raw_length = "39 1/2 in ± 1 mm"
bore_depth = "31 mm"
insertion = "29 mm"
bore_to_ground = "36 mm"
[club.fit]
tip_diameter = "0.370 in"
tip = "parallel"
tape_wraps = 2
sleeve_turn = "90 deg"

[[club]]
name = "5-iron"
kind = "iron"
length = "38 in"
[club.cut]
raw_length = "41 in"
bore_depth = "31 mm"
bore_to_ground = "36 mm"

[[club]]
name = "6-iron"
kind = "iron"
length = "37 1/2 in"
[club.cut]
raw_length = "41 in"
bore_depth = "31 mm"
bore_to_ground = "36 mm"
grip_cap = "4 mm ± 0.2 mm"
"#;

    #[test]
    fn cuts_and_fits_are_read_with_their_uncertainties() {
        let order = read_order("w7.toml", SET).unwrap();
        let build = &order.clubs[0].build;
        let cut = build.cut.unwrap();
        // The third club of the schedule: 1/2 in + 2 × 1/2 in = 38.1 mm. ± 1 mm is 1/√3 = 0.57735 mm.
        assert!((cut.tip_trim.mm - 38.1).abs() < 1e-9 && (cut.raw_length.u_mm - 0.577_35).abs() < 1e-5, "{cut:?}");
        assert_eq!((cut.insertion, cut.grip_cap), (Some(Span::new(29.0, 0.2)), Span::new(3.0, 0.5)));
        assert_eq!(build.dry_fit_stop, DryFitStop::Bare);
        let fit = build.fit.unwrap();
        assert_eq!((fit.wraps, fit.tip), (2, Some(Span::new(9.398, 0.02))));
        assert!(order.clubs[1].build.cut.unwrap().insertion.is_none());
        assert!((order.clubs[1].build.cut.unwrap().tip_trim.mm - 12.7).abs() < 1e-9);
    }

    #[test]
    fn every_mistake_of_a_cut_is_named() {
        let bad = r#"order = "W-7"
[[tip_trim]]
clubs = ["9-iron", "5-iron"]
first = "1/2"
[[club]]
name = "5-iron"
kind = "iron"
length = "≤ 38 in"
dry_fit_stop = "air"
[club.cut]
raw_length = "41"
bore_depth = "31 kg"
insertion = 29
ground_angle = "20 deg"
colour = "red"
[club.fit]
tip_diameter = "9 in"
tip = "round"
tape_wraps = 2.5
[[club]]
name = "6-iron"
kind = "iron"
length = "38 in"
[club.cut]
raw_length = "36 in"
bore_depth = "31 mm"
bore_to_ground = "36 mm"
[[club]]
name = "7-iron"
kind = "iron"
length = "37 in"
[club.cut]
raw_length = "41 in"
bore_depth = "31 mm"
bore_to_ground = "36 mm"
ground_angle = "62.5 deg"
"#;
        let Err(Mistakes(mistakes)) = read_order("bad.toml", bad) else { panic!("accepted") };
        let found: Vec<(usize, &str)> = mistakes.iter().map(|m| (m.line, m.key.as_str())).collect();
        for expected in [
            (4, "tip_trim[1].first"),
            (9, "club[1].dry_fit_stop"),
            (11, "club[1].cut.raw_length"),
            (12, "club[1].cut.bore_depth"),
            (13, "club[1].cut.insertion"),
            (14, "club[1].cut.ground_angle"),
            (15, "club[1].cut.colour"),
            (10, "club[1].cut.bore_to_ground"),
            (17, "club[1].fit.tip_diameter"),
            (18, "club[1].fit.tip"),
            (19, "club[1].fit.tape_wraps"),
            (25, "club[2].cut.raw_length"),
            (33, "club[3].cut.raw_length"),
        ] {
            assert!(found.contains(&expected), "{expected:?} not in {mistakes:#?}");
        }
        let words = |line| mistakes.iter().filter(|m| m.line == line).map(|m| m.wanted.as_str()).collect::<String>();
        // By hand: 965.2 − 3 − 36 = 926.2 mm needed, 36 in = 914.4 mm: 11.8 mm short.
        assert!(words(25).contains("11.8 mm too short"), "{}", words(25));
        assert!(words(33).contains("where the sole touched"), "{}", words(33));
    }
}
