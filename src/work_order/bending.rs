//! Bending loft and lie: what was bent and what came of it, what springs back, and how far to bend now.
//!
//! A club's record and what earlier bends of like heads taught come in; lines of work and advice go out. A head springs
//! back by what the neck and the lever bent elastically: for a neck that yields this does not depend on how far it is
//! bent, so it is an angle to be added, not a share (own derivation: full plastic moment times compliance). It is learnt
//! from readings before and after an announced bend; until then nothing is claimed. Absent: what a head can stand, which
//! its maker knows.

use super::details::Measure;
use super::event::EventId;
use super::judging::{Verdict, judge};
use super::order::{ClubKind, Stage, WorkKind};
use super::record::{ClubRecord, Entry, Standing};
use super::sleeving::{needs, sleeving};
use super::steps::Step;
use crate::club::angles::{Face, bend_loft, held_at_old_lie};
use crate::club::characteristic::Characteristic;
use crate::measurement::unit::Degrees;

/// Angles that are bent, in the order they are advised.
pub const BENT: [Characteristic; 2] = [Characteristic::Lie, Characteristic::Loft];
/// Most that is bent at once, in degrees; more is a slip of the pen.
pub const MOST_DEG: f64 = 15.0;
/// How many bends a spring back is learnt from.
const LEARNT_FROM: usize = 8;
/// A deviation this small without limits is left alone, in degrees: half of what a bench's gauge repeats to.
const LEAVE_ALONE_DEG: f64 = 0.25;

/// A bend that was announced.
#[derive(Debug, Clone, PartialEq)]
pub struct Bend {
    /// Loft or lie.
    pub characteristic: Characteristic,
    /// How far the lever went, in degrees: + more loft, + upright.
    pub lever_deg: f64,
    /// The `bend_done` event.
    pub event: EventId,
    /// Its place in the journal.
    pub seq: u64,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who was at the bench.
    pub by: Option<String>,
    /// How many values the record had then: what stands behind them was measured after the bend.
    pub entries_before: usize,
    /// Whether it was taken back.
    pub is_voided: bool,
}

/// The bends of one angle between two measurements, and what came of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Bent {
    /// Loft or lie.
    pub characteristic: Characteristic,
    /// How far the lever went in all, in degrees.
    pub lever_deg: f64,
    /// The last reading before, in degrees.
    pub before: Option<f64>,
    /// The last reading after, in degrees; `None` while it was not measured again.
    pub after: Option<f64>,
    /// What sprang back, in degrees, where one gauge read before and after and all bends went one way.
    pub spring_back: Option<f64>,
    /// The last bend of them.
    pub last: EventId,
}

impl Bent {
    /// How far the head was really bent, as far as that is known.
    #[must_use]
    pub fn got(&self) -> Option<f64> {
        self.before.zip(self.after).map(|(before, after)| after - before)
    }
}

/// How far a head of a material may be bent on this bench.
#[derive(Debug, Clone, PartialEq)]
pub struct BendLimit {
    /// The material, as orders name it.
    pub material: String,
    /// Most change of loft in all, in degrees.
    pub loft_deg: f64,
    /// Most change of lie in all, in degrees.
    pub lie_deg: f64,
}

impl BendLimit {
    fn of(&self, characteristic: Characteristic) -> f64 {
        if characteristic == Characteristic::Loft { self.loft_deg } else { self.lie_deg }
    }
}

/// What springs back after a bend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpringBack {
    /// The angle: the median of what was seen, not below 0.
    pub deg: f64,
    /// From how many bends.
    pub bends: usize,
    /// From this head, not from others of its material.
    pub own: bool,
}

/// What to do about one angle.
#[derive(Debug, Clone, PartialEq)]
pub struct BendAdvice {
    /// Loft or lie.
    pub characteristic: Characteristic,
    /// The change that is needed, in degrees: + more loft, + upright.
    pub change_deg: f64,
    /// What to aim for at the lever, where the spring back is known.
    pub aim_deg: Option<f64>,
    /// What springs back.
    pub spring_back: Option<SpringBack>,
    /// Bounce now and after the bend, in degrees, where the order gives it and loft is bent.
    pub bounce: Option<[f64; 2]>,
    /// How much more closed the face looks after a bend of the lie to whoever holds the club as before, in degrees.
    pub face_at_old_lie_deg: Option<f64>,
    /// Why to ask the head's maker first.
    pub warning: Option<String>,
    /// Whether it is a head that can be bent at all, as far as its kind says.
    pub can_bend: bool,
    /// The words, with the warning.
    pub text: String,
}

/// The way a change of an angle goes, in the words of the trade.
#[must_use]
pub fn way(characteristic: Characteristic, deg: f64) -> &'static str {
    match (characteristic, deg < 0.0) {
        (Characteristic::Loft, false) => "weaker",
        (Characteristic::Loft, true) => "stronger",
        (Characteristic::FaceAngle, false) => "closed",
        (Characteristic::FaceAngle, true) => "open",
        (_, false) => "upright",
        (_, true) => "flat",
    }
}

/// A bend as people read and write it: `1.5 deg upright`.
#[must_use]
pub fn written(characteristic: Characteristic, deg: f64) -> String {
    format!("{:.1} deg {}", deg.abs(), way(characteristic, deg))
}

/// Asks for the way of a bend of this size.
pub(super) fn which_way(characteristic: Characteristic, number: &str) -> String {
    let [more, less] = [way(characteristic, 1.0), way(characteristic, -1.0)];
    format!("which way? write \"{number} {more}\" or \"{number} {less}\"")
}

/// Splits the way off a bend as written; the factor is that of the sign, `None` where no way is written.
///
/// # Errors
/// The ways there are, where another is written.
pub fn split_way(characteristic: Characteristic, text: &str) -> Result<(&str, Option<f64>), String> {
    let text = text.trim();
    let ways = [way(characteristic, 1.0), way(characteristic, -1.0)];
    for (way, sign) in ways.into_iter().zip([1.0, -1.0]) {
        if let Some(number) = text.strip_suffix(way) {
            return Ok((number.trim_end(), Some(sign)));
        }
    }
    let last = text.rsplit(' ').next().unwrap_or_default();
    let is_word = last.len() > 3 && last.bytes().all(|b| b.is_ascii_alphabetic());
    if is_word {
        Err(format!("\"{last}\" is no way of changing {}, expected {} or {}", characteristic.label(), ways[0], ways[1]))
    } else {
        Ok((text, None))
    }
}

/// Every bend of an angle with what came of it, oldest first.
#[must_use]
pub fn bent(club: &ClubRecord, characteristic: Characteristic) -> Vec<Bent> {
    let bends: Vec<&Bend> =
        club.bends.iter().filter(|bend| bend.characteristic == characteristic && !bend.is_voided).collect();
    let counts = |entry: &&Entry| entry.filed.characteristic == characteristic && entry.standing != Standing::Voided;
    let mut groups: Vec<(Vec<&Bend>, Option<&Entry>)> = Vec::new();
    for (index, bend) in bends.iter().enumerate() {
        let until = bends.get(index + 1).map_or(club.entries.len(), |next| next.entries_before);
        let after = club.entries.get(bend.entries_before..until).unwrap_or_default().iter().rfind(counts);
        match groups.last_mut() {
            // Nothing was measured since: the two add up.
            Some((group, measured @ None)) => {
                group.push(bend);
                *measured = after;
            }
            _ => groups.push((vec![bend], after)),
        }
    }
    groups
        .iter()
        .filter_map(|(group, after)| {
            let (first, last) = (group.first()?, group.last()?);
            let earlier = club.entries.get(..first.entries_before).unwrap_or_default();
            // The same gauge, if it read before: two gauges may differ by more than springs back.
            let same = |entry: &&Entry| counts(entry) && after.is_none_or(|a| a.method.name() == entry.method.name());
            let same_gauge = earlier.iter().rfind(same);
            let before = same_gauge.or_else(|| earlier.iter().rfind(counts)).map(|entry| entry.filed.value);
            let lever_deg: f64 = group.iter().map(|bend| bend.lever_deg).sum();
            let one_way = group.iter().all(|bend| bend.lever_deg.signum() * lever_deg > 0.0);
            let learnt = after.filter(|_| one_way && same_gauge.is_some()).zip(before);
            Some(Bent {
                characteristic,
                lever_deg,
                before,
                after: after.map(|entry| entry.filed.value),
                spring_back: learnt
                    .map(|(after, before)| (lever_deg - (after.filed.value - before)) * lever_deg.signum()),
                last: last.event,
            })
        })
        .collect()
}

/// What springs back when this angle of this head is bent: by its own bends, else by those of heads of its material.
#[must_use]
pub fn spring_back(club: &ClubRecord, characteristic: Characteristic) -> Option<SpringBack> {
    let own: Vec<f64> = bent(club, characteristic).into_iter().filter_map(|b| b.spring_back).collect();
    if !own.is_empty() {
        return median(&own).map(|(deg, bends)| SpringBack { deg, bends, own: true });
    }
    let material = club.spec.details.head_material.as_ref()?;
    let like = club.guide.sprang_back.iter().filter(|s| s.material == *material && s.characteristic == characteristic);
    let others: Vec<f64> = like.flat_map(|sprang| sprang.degrees.iter().copied()).collect();
    median(&others).map(|(deg, bends)| SpringBack { deg, bends, own: false })
}

/// The median of the last values, so that one slip at the lever does not count, and of how many.
fn median(values: &[f64]) -> Option<(f64, usize)> {
    let mut last = values.get(values.len().saturating_sub(LEARNT_FROM)..)?.to_vec();
    last.sort_by(f64::total_cmp);
    let (lower, upper) = (last.get(last.len().checked_sub(1)? / 2)?, last.get(last.len() / 2)?);
    Some((f64::midpoint(*lower, *upper).max(0.0), last.len()))
}

/// Bounce of the head now: as given, changed with the loft since the first reading of it.
#[must_use]
pub fn bounce_now(club: &ClubRecord) -> Option<f64> {
    let given = club.spec.details.given(Measure::Bounce)?.value;
    let moved: f64 = bent(club, Characteristic::Loft).iter().map(|b| b.got().unwrap_or(b.lever_deg)).sum();
    Some(given + moved)
}

/// Advice for every angle that was measured on the gripped club, or on one as it came in to be adjusted, and is outside its limits.
#[must_use]
pub fn advice(club: &ClubRecord) -> Vec<BendAdvice> {
    BENT.iter().filter_map(|characteristic| advice_for(club, *characteristic)).collect()
}

/// The change that brings an angle to its target; `None` where it is not measured, or nothing is to be done.
#[must_use]
pub fn needed(club: &ClubRecord, characteristic: Characteristic) -> Option<f64> {
    let target = club.spec.target(characteristic)?.target;
    let aim = target.value.or_else(|| target.lower.zip(target.upper).map(|(lo, hi)| f64::midpoint(lo, hi)));
    let aim = aim.or(target.lower).or(target.upper)?;
    let filed = &known(club, characteristic)?.filed;
    let change = aim - filed.value;
    let leave = match judge(filed.rule, &target, filed.value, filed.expanded()).verdict {
        Verdict::Within => true,
        Verdict::NoTarget => change.abs() < LEAVE_ALONE_DEG,
        Verdict::Under | Verdict::Over => false,
    };
    (!leave).then_some(change)
}

/// The reading that says how an angle is: of the club as it will be handed over; of one that came in for repair, as it came, while
/// it is still to be adjusted and nothing was bent since.
fn known(club: &ClubRecord, characteristic: Characteristic) -> Option<&Entry> {
    // Of other work the shaft or the length changes first.
    let is_ahead = club.spec.work == WorkKind::LoftLie && !club.has_done(Step::Adjust);
    let received = || {
        let bends = club.bends.iter().filter(|bend| !bend.is_voided && bend.characteristic == characteristic);
        let since = bends.map(|bend| bend.entries_before).max().unwrap_or(0);
        let is_received = |entry: &&Entry| {
            entry.standing == Standing::Valid
                && entry.filed.stage == Stage::Received
                && entry.filed.characteristic == characteristic
        };
        club.entries.iter().skip(since).rfind(is_received)
    };
    club.standing(characteristic).or_else(|| received().filter(|_| is_ahead))
}

fn advice_for(club: &ClubRecord, characteristic: Characteristic) -> Option<BendAdvice> {
    let change_deg = needed(club, characteristic)?;
    let label = characteristic.label();
    let off = format!("{label} is {:.1}° too {}", change_deg.abs(), too(characteristic, change_deg));
    let only = |text: String| BendAdvice {
        characteristic,
        change_deg,
        aim_deg: None,
        spring_back: None,
        bounce: None,
        face_at_old_lie_deg: None,
        warning: None,
        can_bend: false,
        text,
    };
    if matches!(club.spec.kind, ClubKind::Driver | ClubKind::Fairway) {
        let remedy = match &club.spec.details.sleeve {
            Some(sleeve) => match sleeving(club, needs(club).unwrap_or_default()) {
                Some(Ok(found)) => match found.answer(sleeve.at) {
                    Some(answer) => format!("sleeve: {answer}; the club's record has every position"),
                    None => "the sleeve has no positions".to_owned(),
                },
                Some(Err(trouble)) => format!("nothing can be said of its sleeve: {trouble}"),
                None => "the sleeve has no positions".to_owned(),
            },
            None => "few heads of woods can be bent: ask the head's maker".to_owned(),
        };
        return Some(only(format!("{off}; {remedy}")));
    }
    let spring_back = spring_back(club, characteristic);
    let aim_deg = spring_back.map(|spring| change_deg + spring.deg * change_deg.signum());
    let loft = known(club, characteristic).filter(|_| characteristic == Characteristic::Loft);
    let bounce = loft.zip(bounce_now(club)).and_then(|(loft, bounce)| {
        let (_, after) = bend_loft(Degrees(loft.filed.value), Degrees(bounce), Degrees(change_deg)).ok()?;
        Some([bounce, after.0])
    });
    let face_at_old_lie_deg = Some(change_deg).filter(|_| characteristic == Characteristic::Lie);
    let face_at_old_lie_deg = face_at_old_lie_deg.and_then(|upright| face_at_old_lie(club, upright));
    let bounce_words = bounce.map(|[now, after]| format!("; bounce {now:.1}° becomes {after:.1}°")).unwrap_or_default();
    if let Some(warning) = warning(club, characteristic, change_deg) {
        // What may break the head is not put as something to do.
        let needs = written(characteristic, change_deg).replace(" deg", "°");
        let text = format!("{label} needs {needs}{bounce_words}: {warning}");
        return Some(BendAdvice { bounce, face_at_old_lie_deg, warning: Some(warning), ..only(text) });
    }
    let mut text = format!("bend {}", written(characteristic, change_deg).replace(" deg", "°"));
    text += &match (aim_deg, spring_back) {
        (Some(aim), Some(spring)) => {
            let of = if spring.own { "this head" } else { "heads of this material" };
            let bends = if spring.bends == 1 { "1 bend".to_owned() } else { format!("{} bends", spring.bends) };
            format!("; aim for {:.1}° at the lever: springs back {:.1}° ({bends} of {of})", aim.abs(), spring.deg)
        }
        _ => format!(", say what you bent and measure again: how much {label} springs back is not known yet"),
    };
    text += &bounce_words;
    if let Some(closed) = face_at_old_lie_deg.filter(|closed| closed.abs() >= 0.05) {
        let way = way(Characteristic::FaceAngle, closed);
        text += &format!("; to whoever holds it as before the face looks {:.1}° more {way}", closed.abs());
    }
    Some(BendAdvice { can_bend: true, aim_deg, spring_back, bounce, face_at_old_lie_deg, ..only(text) })
}

/// How much a bend of the lie closes the face for a player who holds the club at its old lie; `None` without a loft.
fn face_at_old_lie(club: &ClubRecord, upright_by: f64) -> Option<f64> {
    let measured = |of: Characteristic| known(club, of).map(|entry| entry.filed.value);
    let ordered = |of: Characteristic| club.spec.target(of).and_then(|row| row.target.value);
    let loft = measured(Characteristic::Loft).or_else(|| ordered(Characteristic::Loft))?;
    let face = Face { loft: Degrees(loft), angle: Degrees(measured(Characteristic::FaceAngle).unwrap_or(0.0)) };
    Some((held_at_old_lie(face, Degrees(upright_by)).ok()?.angle - face.angle).0)
}

/// What is wrong with an angle that needs this change.
fn too(characteristic: Characteristic, change_deg: f64) -> &'static str {
    match (characteristic, change_deg < 0.0) {
        (Characteristic::Loft, true) => "weak",
        (Characteristic::Loft, false) => "strong",
        _ => way(characteristic, -change_deg),
    }
}

/// What was bent counts with what is to be bent: a neck remembers.
fn warning(club: &ClubRecord, characteristic: Characteristic, change_deg: f64) -> Option<String> {
    if change_deg.abs() > MOST_DEG {
        return Some(format!("more than {MOST_DEG:.0}° is not bent: measure it again, and look at the order"));
    }
    let ask = "ask the head's maker before bending, heads can break";
    let Some(material) = &club.spec.details.head_material else {
        return Some(format!("the order does not say what the head is made of: {ask}"));
    };
    let Some(limit) = club.guide.bend_limits.iter().find(|limit| limit.material == *material) else {
        return Some(format!("no bending limit is set for {material}: {ask}"));
    };
    let before: f64 = bent(club, characteristic).iter().map(|b| b.got().unwrap_or(b.lever_deg).abs()).sum();
    let total = before + change_deg.abs();
    // A limit of 2 deg allows 2 deg.
    let limit = limit.of(characteristic);
    (total > limit + 1e-9).then(|| format!("{total:.1}° in all is beyond the {limit:.1}° set for {material}: {ask}"))
}

/// Angles that were bent and not measured since.
pub fn unmeasured(club: &ClubRecord) -> impl Iterator<Item = Bent> {
    BENT.into_iter().filter_map(|characteristic| bent(club, characteristic).pop().filter(|b| b.after.is_none()))
}
