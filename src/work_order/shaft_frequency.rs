//! The frequency that the finished club will have, from one that was measured or stated of its shaft.
//!
//! A club's record comes in; a value with its uncertainty and what it rests on, or why there is none, goes out. The shaft
//! is an even beam (`club::frequency`): the frequency tells its stiffness, which stays while length and mass change. The
//! finished club is clamped at its butt with its own head on; a bare shaft carries the mass that was stated with its
//! frequency, at its end. Absent: what clubs of the same shaft taught, which is `learning`'s.

use super::drawers::ItemKind;
use super::forecast::Expected;
use super::learning::Basis;
use super::order::{Stage, WorkKind};
use super::parts_model::{
    ADHESIVE_G, HEAD_BEFORE_GROUND_MM, HEAD_INERTIA_GMM2, Seat, Usual, length_mm, newest, part_mass, u_length_mm, usual,
};
use super::record::{ClubRecord, Entry};
use super::stated::{Stated, part_since, stated};
use crate::club::characteristic::Characteristic;
use crate::club::frequency::{Cantilever, UNEVEN_SHARE, carried_over};

/// How much of the butt is clamped where nobody says, in millimetres: 5 in (common practice, no source).
const CLAMP_MM: Usual = usual(127.0, 15.0);
/// Less than this of a butt is never clamped, in millimetres (common practice, no source).
pub(super) const LEAST_CLAMP_MM: f64 = 100.0;
/// How deep a shaft goes into the head where no table of the order says, in millimetres (common practice, no source).
const INSERTION_MM: Usual = usual(30.0, 5.0);
/// Centre of a mass that is clamped on the tip of a bare shaft, beyond its end, in millimetres (common practice, no source).
const TIP_CENTRE_MM: Usual = usual(0.0, 10.0);
/// A head that nobody weighed because it stays on its shaft, in grams (common practice, no source).
const USUAL_HEAD_G: Usual = usual(240.0, 30.0);
/// A millimetre of such a shaft, in grams.
const USUAL_SHAFT_G_PER_MM: Usual = usual(0.1, 0.03);
/// Standard uncertainty of a mass by which a shaft is even, as a share, of a clamp that was set with a rule, in millimetres,
/// and of a mass that is put on a tip, in grams (common practice, no source).
const U_EVEN_SHARE: f64 = 0.05;
const U_SET_MM: f64 = 1.0;
const U_TIP_G: f64 = 0.5;
/// What clamping through a grip does, as a standard uncertainty of the frequency (common practice, no source).
const U_GRIP_SHARE: f64 = 0.01;

/// What there was while the frequency was taken, and what there will be.
#[derive(Debug, Clone, Copy)]
struct Setup {
    cpm: f64,
    carried: Carried,
    /// The shaft while the frequency was taken.
    shaft_then_mm: f64,
    clamp_then_mm: f64,
    /// The shaft in the finished club.
    shaft_mm: f64,
    clamp_mm: f64,
    cap_mm: f64,
    insertion_mm: f64,
    /// Centre of the head beyond the end of the shaft.
    centre_mm: f64,
    head_g: f64,
    g_per_mm: f64,
}

/// What the shaft carried while its frequency was taken.
#[derive(Debug, Clone, Copy)]
enum Carried {
    /// A mass with its centre beyond the end.
    Mass { g: f64, beyond_mm: f64 },
    /// The head that it carries in the club.
    Head,
}

impl Setup {
    fn on_head(&self, shaft_mm: f64, clamp_mm: f64, extra_g: f64) -> Cantilever {
        Cantilever {
            free_mm: shaft_mm - clamp_mm - self.insertion_mm,
            beam_g_per_mm: self.g_per_mm,
            body_g: self.head_g + extra_g,
            beyond_mm: self.insertion_mm + self.centre_mm,
            body_inertia_gmm2: HEAD_INERTIA_GMM2,
            points_g: 0.0,
        }
    }

    fn then(&self) -> Cantilever {
        match self.carried {
            Carried::Head => self.on_head(self.shaft_then_mm, self.clamp_then_mm, 0.0),
            Carried::Mass { g, beyond_mm } => Cantilever {
                free_mm: self.shaft_then_mm - self.clamp_then_mm,
                beam_g_per_mm: self.g_per_mm,
                body_g: g,
                beyond_mm,
                body_inertia_gmm2: 0.0,
                points_g: 0.0,
            },
        }
    }

    /// The finished club: the clamp takes the cap, too.
    fn finished(&self, club: &ClubRecord) -> Cantilever {
        let beam = self.on_head(self.shaft_mm, self.clamp_mm - self.cap_mm, ADHESIVE_G.value);
        let weights = club.weights().map(|(_, part)| (part.grams(), part.at_mm.unwrap_or(0.0)));
        weights.fold(beam, |beam, (grams, at_mm)| beam.with_mass(grams, at_mm - self.clamp_mm))
    }

    fn lands(&self, club: &ClubRecord) -> Option<f64> {
        carried_over(self.cpm, &self.then(), &self.finished(club))
    }
}

/// The finished club as a beam, and where its clamp ends, in millimetres from the butt: what a change of it does to its
/// frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FinishedBeam {
    pub(super) beam: Cantilever,
    pub(super) clamp_mm: f64,
}

/// The finished club as a beam; `None` while head or shaft are not weighed.
pub(super) fn finished_beam(club: &ClubRecord) -> Option<FinishedBeam> {
    let setup = Setup { head_g: part_mass(club, Characteristic::HeadMass)?.g, ..geometry(club) };
    let beam = Setup { g_per_mm: weighed_g_per_mm(club)?, ..setup }.finished(club);
    beam.is_possible().then_some(FinishedBeam { beam, clamp_mm: setup.clamp_mm })
}

/// The frequency that was measured on the club, in cycles a minute, with the weights that came since; `None` where none was.
pub(super) fn frequency_now(club: &ClubRecord) -> Option<f64> {
    let entry = club.standing(Characteristic::Frequency)?;
    let cpm = entry.filed.value;
    let Some(FinishedBeam { beam, clamp_mm }) = finished_beam(club) else { return Some(cpm) };
    let since = club.weights_since(entry).map(|part| (part.grams(), part.at_mm.unwrap_or(0.0)));
    let then = since.fold(beam, |then, (grams, at_mm)| then.with_mass(-grams, at_mm - clamp_mm));
    carried_over(cpm, &then, &beam)
}

/// Mass of a millimetre of the weighed shaft, in grams.
fn weighed_g_per_mm(club: &ClubRecord) -> Option<f64> {
    let shaft = part_mass(club, Characteristic::ShaftMass)?;
    let seat = Seat::of(club, shaft.at_us);
    Some(shaft.g / seat.weighed_mm.unwrap_or_else(|| shaft_in_club_mm(club, seat)))
}

fn shaft_in_club_mm(club: &ClubRecord, seat: Seat) -> f64 {
    length_mm(club) - seat.cap_mm - seat.tip_before_ground.value
}

/// The finished club as far as lengths go, with usual masses.
fn geometry(club: &ClubRecord) -> Setup {
    let seat = Seat::of(club, i64::MAX);
    let cut = club.spec.build.cut;
    let shaft_mm = shaft_in_club_mm(club, seat);
    let insertion = cut.map(|cut| cut.insertion.unwrap_or(cut.bore_depth).mm);
    let clamp_mm = ordered(club, Characteristic::ClampLength).unwrap_or(CLAMP_MM.value);
    Setup {
        cpm: 0.0,
        carried: Carried::Head,
        shaft_then_mm: shaft_mm,
        clamp_then_mm: clamp_mm,
        shaft_mm,
        clamp_mm,
        cap_mm: seat.cap_mm,
        insertion_mm: insertion.unwrap_or(INSERTION_MM.value),
        centre_mm: seat.tip_before_ground.value - HEAD_BEFORE_GROUND_MM.value,
        head_g: USUAL_HEAD_G.value,
        g_per_mm: USUAL_SHAFT_G_PER_MM.value,
    }
}

fn ordered(club: &ClubRecord, of: Characteristic) -> Option<f64> {
    club.spec.target(of)?.target.value
}

/// A frequency with what is known of how it was taken.
struct Taken {
    cpm: (f64, f64),
    clamp_mm: Option<f64>,
    tip_g: Option<f64>,
    /// The shaft then; `None`: as it is in the club.
    shaft_mm: Option<f64>,
    basis: Basis,
    words: String,
}

/// The frequency of the finished club.
///
/// # Errors
/// In words: what to measure, where nothing is known of its shaft or too little.
pub(super) fn expected(club: &ClubRecord) -> Result<Expected, String> {
    let taken = match measured(club) {
        Some(taken) => taken,
        None => {
            let said = stated(club, Characteristic::Frequency).ok_or(UNKNOWN)?;
            as_stated(club, &said.stated, &said.from)?
        }
    };
    worked_out(club, taken, weighed_g_per_mm(club))
}

/// The frequency with another shaft, of which this is stated, in cycles a minute; `None` where too little is.
pub(super) fn with_shaft(club: &ClubRecord, stated: &Stated, mass_g: f64) -> Option<f64> {
    let taken = as_stated(club, stated, "of it").ok()?;
    let g_per_mm = mass_g / taken.shaft_mm?;
    worked_out(club, taken, Some(g_per_mm)).ok().map(|expected| expected.value.0)
}

fn worked_out(club: &ClubRecord, taken: Taken, g_per_mm: Option<f64>) -> Result<Expected, String> {
    let is_bare = taken.tip_g.is_some();
    let head = part_mass(club, Characteristic::HeadMass);
    if is_bare && (head.is_none() || g_per_mm.is_none()) {
        return Err("weigh head and shaft: the frequency of the bare shaft is known".to_owned());
    }
    let head = head.map_or(USUAL_HEAD_G, |head| usual(head.g, head.u));
    let even = g_per_mm.map_or(USUAL_SHAFT_G_PER_MM, |even| usual(even, U_EVEN_SHARE * even));
    let at = geometry(club);
    let clamp = taken.clamp_mm.or_else(|| ordered(club, Characteristic::ClampLength));
    let clamp_then_mm = clamp.unwrap_or(CLAMP_MM.value);
    let setup = Setup {
        cpm: taken.cpm.0,
        carried: taken.tip_g.map_or(Carried::Head, |g| Carried::Mass { g, beyond_mm: TIP_CENTRE_MM.value }),
        shaft_then_mm: taken.shaft_mm.unwrap_or(at.shaft_mm),
        clamp_then_mm,
        clamp_mm: ordered(club, Characteristic::ClampLength).unwrap_or(clamp_then_mm),
        head_g: head.value,
        g_per_mm: even.value,
        ..at
    };
    let impossible =
        || "the lengths of shaft and clamp leave no shaft that swings: look at clamp length and length".to_owned();
    let value = setup.lands(club).ok_or_else(impossible)?;
    let seat = Seat::of(club, i64::MAX);
    let u_shaft_mm = u_length_mm(club).hypot(seat.tip_before_ground.spread);
    let u_insertion_mm =
        club.spec.build.cut.map_or(INSERTION_MM.spread, |cut| cut.insertion.unwrap_or(cut.bore_depth).u_mm);
    let moved = [
        Setup { cpm: setup.cpm + taken.cpm.1, ..setup },
        Setup { clamp_then_mm: setup.clamp_then_mm + U_SET_MM, ..setup },
        Setup { clamp_mm: setup.clamp_mm + U_SET_MM, ..setup },
        // What nobody said of the clamp was the same both times.
        if clamp.is_none() {
            let both = CLAMP_MM.spread;
            Setup { clamp_then_mm: setup.clamp_then_mm + both, clamp_mm: setup.clamp_mm + both, ..setup }
        } else {
            setup
        },
        Setup { shaft_then_mm: setup.shaft_then_mm + U_SET_MM, ..setup },
        if is_bare || taken.shaft_mm.is_some() {
            Setup { shaft_mm: setup.shaft_mm + u_shaft_mm, ..setup }
        } else {
            setup
        },
        Setup { insertion_mm: setup.insertion_mm + u_insertion_mm, ..setup },
        Setup { centre_mm: setup.centre_mm + HEAD_BEFORE_GROUND_MM.spread, ..setup },
        Setup { head_g: setup.head_g + head.spread, ..setup },
        Setup { g_per_mm: setup.g_per_mm + even.spread, ..setup },
        match setup.carried {
            Carried::Mass { g, beyond_mm } => {
                let carried = Carried::Mass { g: g + U_TIP_G, beyond_mm: beyond_mm + TIP_CENTRE_MM.spread };
                Setup { carried, ..setup }
            }
            Carried::Head => setup,
        },
    ];
    // A taper makes a cut at the tip do more, and one at the butt less, than an even beam says.
    let finished = setup.finished(club);
    let uncut = Cantilever { free_mm: setup.then().free_mm, ..finished };
    let by_length = carried_over(setup.cpm, &setup.then(), &uncut).map_or(0.0, |uncut| value - uncut);
    let u = moved.iter().filter_map(|moved| Some(moved.lands(club)? - value)).fold(0.0, f64::hypot);
    let u = u.hypot(UNEVEN_SHARE * by_length).hypot(U_GRIP_SHARE * value);
    let mut words = vec![taken.words];
    if clamp.is_none() {
        words.push(format!("how much was clamped is not said and taken as {:.0} mm", CLAMP_MM.value));
    }
    if is_bare && taken.shaft_mm.is_none() {
        words.push("the shaft is taken to have been as long then as it is in the club".to_owned());
    }
    words.push(format!("worked out for {:.0} g of head and {:.0} mm clamped", head.value, setup.clamp_mm));
    Ok(Expected { value: (value, u), basis: taken.basis, words })
}

/// What was measured here of the shaft that is in the club.
fn measured(club: &ClubRecord) -> Option<Taken> {
    let entry = club.latest(Characteristic::Frequency)?;
    let index = club.entries.iter().position(|other| std::ptr::eq(other, entry))?;
    let Entry { filed, .. } = entry;
    let is_of_old = filed.stage == Stage::Received && club.spec.work == WorkKind::Reshaft;
    if index < part_since(club, ItemKind::Shaft) || is_of_old {
        return None;
    }
    let same = |of: Characteristic| newest(club, of, filed.stage).map(|entry| entry.filed.value);
    // Only before the bond can a shaft carry anything but its head.
    let is_apart = matches!(filed.stage, Stage::Part | Stage::DryFit);
    let tip_g = same(Characteristic::TipMass).or_else(|| ordered(club, Characteristic::TipMass)).filter(|_| is_apart);
    let seat = Seat::of(club, entry.at_us);
    let length = newest(club, Characteristic::Length, filed.stage);
    let shaft_mm = match tip_g {
        Some(_) => seat.weighed_mm,
        None => length.map(|length| length.filed.value - seat.cap_mm - seat.tip_before_ground.value),
    };
    let on = match tip_g {
        Some(grams) => format!("of the bare shaft with {grams:.0} g on its tip"),
        None if is_apart => "with its head on, because no tip mass was typed".to_owned(),
        None => "with its head on".to_owned(),
    };
    Some(Taken {
        cpm: (filed.value, filed.u),
        clamp_mm: same(Characteristic::ClampLength),
        tip_g,
        shaft_mm,
        basis: Basis::Measured,
        words: format!("frequency as measured ({}) {on}", filed.stage.name().replace('_', " ")),
    })
}

/// What to do where nothing is known of a shaft.
const UNKNOWN: &str = "clamp the bare shaft and type its frequency, clamp_length and tip_mass, or give it in the order \
                       (shaft_frequency, shaft_clamp_length, shaft_tip_mass)";

fn as_stated(club: &ClubRecord, stated: &Stated, from: &str) -> Result<Taken, String> {
    let cpm = stated.frequency.ok_or(UNKNOWN)?;
    let tip_g = stated.tip_g.or_else(|| ordered(club, Characteristic::TipMass)).ok_or_else(|| {
        format!("the frequency stated {from} says nothing without the mass that was on the tip: give tip_mass")
    })?;
    let raw_mm = stated.raw_mm.or(club.spec.build.cut.map(|cut| cut.raw_length.mm)).ok_or_else(|| {
        format!("the frequency stated {from} says nothing without the length of that shaft: give raw_length or length")
    })?;
    Ok(Taken {
        cpm,
        clamp_mm: stated.clamp_mm,
        tip_g: Some(tip_g),
        shaft_mm: Some(raw_mm),
        basis: Basis::Stated,
        words: format!("frequency as stated {from}, of the raw shaft with {tip_g:.0} g on its tip"),
    })
}
