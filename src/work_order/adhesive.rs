//! Adhesive: products as their makers' sheets say, batches mixed, heads bonded with them, and how long that takes.
//!
//! Times are running time of the journal ([`Elapsed`]), so a clock that was put right neither ends a cure early nor
//! starts it again. No chemistry: a time holds in the range of temperatures for which the sheet states it, and nowhere
//! else; where ranges meet, the shorter working life and the longer cure hold.

use std::collections::{BTreeMap, VecDeque};

use super::desk::{Refusal, refused};
use super::elapsed::Elapsed;
use super::event::{Change, Event, EventId};
use super::finishing::after_change;
use super::record::ClubRecord;
use super::state::State;
use super::steps::Step;

/// How many batches are remembered besides those that clubs name themselves.
const BATCHES: usize = 20;
/// Microseconds in a second.
const SECOND_US: f64 = 1e6;

/// A product as it was entered from its maker's sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Adhesive {
    /// Name in commands.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Where the values come from: the sheet, its issue, its date.
    pub source: String,
    /// What the sheet states, range by range.
    pub at: Vec<AtTemperature>,
}

/// What a sheet states for a range of temperatures, both ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtTemperature {
    /// Lowest temperature, in degrees Celsius.
    pub from_c: f64,
    /// Highest temperature, in degrees Celsius.
    pub to_c: f64,
    /// How long a mixed batch can be worked with, in seconds.
    pub working_life_s: f64,
    /// How long until the club may be worked on and finished, in seconds.
    pub cure_s: f64,
    /// How long until the club may be played, in seconds.
    pub play_s: f64,
}

/// Times that hold for a batch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times {
    /// Working life, in seconds.
    pub working_life_s: f64,
    /// Cure, in seconds.
    pub cure_s: f64,
    /// Time to play, in seconds.
    pub play_s: f64,
}

impl Adhesive {
    /// The times at a temperature; `None` where the sheet states none.
    #[must_use]
    pub fn times(&self, temperature_c: f64) -> Option<Times> {
        let holds = |row: &&AtTemperature| (row.from_c..=row.to_c).contains(&temperature_c);
        self.at.iter().filter(holds).fold(None, |times: Option<Times>, row| {
            let times = times.unwrap_or(Times { working_life_s: f64::INFINITY, cure_s: 0.0, play_s: 0.0 });
            Some(Times {
                working_life_s: times.working_life_s.min(row.working_life_s),
                cure_s: times.cure_s.max(row.cure_s),
                play_s: times.play_s.max(row.play_s),
            })
        })
    }

    fn ranges(&self) -> String {
        let range = |row: &AtTemperature| format!("{} to {} °C", row.from_c, row.to_c);
        self.at.iter().map(range).collect::<Vec<_>>().join(", ")
    }
}

/// A batch that was mixed.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Its name: `B-1`, `B-2`, …
    pub name: String,
    /// The product's id.
    pub adhesive: String,
    /// The product's name for people.
    pub product: String,
    /// The maker's lot, if someone said it.
    pub lot: Option<String>,
    /// Temperature of the workshop when it was mixed, in degrees Celsius.
    pub temperature_c: f64,
    /// Its times, as the sheet states them at that temperature.
    pub times: Times,
}

/// A batch and when it was mixed.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixed {
    /// The batch.
    pub batch: Batch,
    /// When, in running time.
    pub run_us: i64,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
}

impl Mixed {
    /// What is left of its working life, in microseconds; negative once it is over.
    #[must_use]
    pub fn left_us(&self, run_us: i64) -> i64 {
        micros(self.batch.times.working_life_s) - (run_us - self.run_us)
    }
}

/// A head that was bonded with a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Bond {
    /// The `step_done` event that made it.
    pub event: EventId,
    /// The batch, as it was.
    pub batch: Batch,
    /// When, in running time.
    pub run_us: i64,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who decided not to wait for the cure.
    pub overridden: Option<Override>,
}

/// A decision not to wait for the cure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Override {
    /// Whose.
    pub name: String,
    /// Why.
    pub why: String,
    /// When, in microseconds since 1970 UTC.
    pub at_us: i64,
}

impl Bond {
    /// What is left of the cure, in microseconds; not above zero once it is over.
    #[must_use]
    pub fn cure_left_us(&self, run_us: i64) -> i64 {
        micros(self.batch.times.cure_s) - (run_us - self.run_us)
    }

    /// What is left until the club may be played, in microseconds; not above zero once it may.
    #[must_use]
    pub fn play_left_us(&self, run_us: i64) -> i64 {
        micros(self.batch.times.play_s) - (run_us - self.run_us)
    }
}

impl ClubRecord {
    /// Whether a step behind the bond is done after the last bond.
    #[must_use]
    pub fn has_done_since_bond(&self) -> bool {
        let bonded = self.steps.iter().rposition(|done| done.step == Step::Bond);
        self.steps.iter().skip(bonded.map_or(0, |at| at + 1)).any(|done| done.step > Step::Bond)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "times of sheets are days at most")]
fn micros(seconds: f64) -> i64 {
    (seconds * SECOND_US) as i64
}

/// All that is known of adhesives: the fold of their events.
#[derive(Debug, Clone, Default)]
pub struct Adhesives {
    /// Products by id.
    pub products: BTreeMap<String, Adhesive>,
    /// The last batches, oldest first.
    pub batches: VecDeque<Mixed>,
    /// The batch that bonds are made with now.
    pub in_force: Option<String>,
    /// Clubs that were bonded with a batch and waited for something when the last one was, oldest first; their records know until
    /// when.
    pub waiting: Vec<String>,
    /// Running time.
    pub elapsed: Elapsed,
    mixed: u64,
}

impl Adhesives {
    /// Takes an event in; what concerns a club is the state's work.
    pub fn apply(&mut self, event: &Event) {
        self.elapsed.apply(event);
        match &event.change {
            Change::AdhesiveEntered { adhesive } => {
                self.products.insert(adhesive.id.clone(), adhesive.clone());
            }
            Change::BatchMixed { batch } => {
                // A start folds the last batches only; their names go on.
                let number = batch.name.strip_prefix("B-").and_then(|number| number.parse().ok());
                self.mixed = number.unwrap_or(0).max(self.mixed + 1);
                if self.batches.len() == BATCHES {
                    self.batches.pop_front();
                }
                self.in_force = Some(batch.name.clone());
                let (run_us, at_us) = (self.elapsed.run_us(), event.at_us);
                self.batches.push_back(Mixed { batch: batch.clone(), run_us, at_us });
            }
            Change::BatchDiscarded { batch } if self.in_force.as_ref() == Some(batch) => self.in_force = None,
            _ => {}
        }
    }

    /// The batch that bonds are made with now.
    #[must_use]
    pub fn batch_in_force(&self) -> Option<&Mixed> {
        let name = self.in_force.as_ref()?;
        self.batches.iter().rev().find(|mixed| mixed.batch.name == *name)
    }

    /// The bond that an event made.
    pub(super) fn bond(&self, event: &Event, batch: &str) -> Option<Bond> {
        let mixed = self.batches.iter().rev().find(|mixed| mixed.batch.name == batch)?;
        let (run_us, at_us) = (self.elapsed.run_us(), event.at_us);
        Some(Bond { event: event.id, batch: mixed.batch.clone(), run_us, at_us, overridden: None })
    }
}

/// A product, unless it is entered already just so.
pub(super) fn enter(state: &State, adhesive: &Adhesive) -> Vec<Change> {
    let is_known = state.adhesives.products.get(&adhesive.id) == Some(adhesive);
    (!is_known).then(|| Change::AdhesiveEntered { adhesive: adhesive.clone() }).into_iter().collect()
}

/// Mixes a batch of a product at the temperature of the workshop.
pub(super) fn mix(state: &State, id: &str, temperature_c: f64, lot: Option<&str>) -> Result<Vec<Change>, Refusal> {
    let adhesives = &state.adhesives;
    let Some(product) = adhesives.products.get(id) else {
        let known: Vec<&str> = adhesives.products.keys().map(String::as_str).collect();
        let known =
            if known.is_empty() { "none; `adhesives enter FILE` takes one in".to_owned() } else { known.join(", ") };
        return refused(format!("there is no adhesive {id}; entered: {known}"));
    };
    let Some(times) = product.times(temperature_c) else {
        return refused(format!(
            "the sheet of {} states nothing at {temperature_c} °C, only at {}: bring the workshop into that range, or enter what its maker says",
            product.name,
            product.ranges()
        ));
    };
    let batch = Batch {
        name: format!("B-{}", adhesives.mixed + 1),
        adhesive: id.to_owned(),
        product: product.name.clone(),
        lot: lot.map(|lot| lot.trim().to_owned()).filter(|lot| !lot.is_empty()),
        temperature_c,
        times,
    };
    Ok(vec![Change::BatchMixed { batch }])
}

/// The batch in force is used up or thrown away.
pub(super) fn discard(state: &State) -> Result<Vec<Change>, Refusal> {
    match &state.adhesives.in_force {
        Some(batch) => Ok(vec![Change::BatchDiscarded { batch: batch.clone() }]),
        None => refused("no batch of adhesive is in force"),
    }
}

/// A person decides not to wait for the cure of a club; one that is complete is finished by that.
pub(super) fn override_cure(state: &State, club: Option<&str>, name: &str, why: &str) -> Result<Vec<Change>, Refusal> {
    let (name, why) = (name.trim(), why.trim());
    if name.is_empty() || why.is_empty() {
        return refused("a cure is only cut short with a name and a reason: say who decides and why");
    }
    let Some(club) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open: name the club whose cure is not waited for");
    };
    let Some(record) = state.clubs.get(club) else { return refused(format!("there is no club {club}")) };
    if record.bond.is_none() {
        return refused(format!("{club} was not bonded with a batch, so no cure is waited for"));
    }
    let decided = Change::CureOverridden { club: club.to_owned(), name: name.to_owned(), why: why.to_owned() };
    Ok(std::iter::once(decided).chain(after_change(state, record, record)).collect())
}

/// What is left of a cure that nobody has decided not to wait for, in microseconds; `None` where nothing is left.
#[must_use]
pub fn cure_left_us(state: &State, club: &ClubRecord, steady_us: i64) -> Option<i64> {
    let bond = club.bond.as_ref().filter(|bond| bond.overridden.is_none())?;
    Some(bond.cure_left_us(state.adhesives.elapsed.at(steady_us))).filter(|left| *left > 0)
}

/// Why a club is not worked on yet: its cure, while it lasts and nobody has overridden it.
#[must_use]
pub(super) fn unfinished_cure(state: &State, club: &ClubRecord, steady_us: i64) -> Option<String> {
    let (left, bond) = cure_left_us(state, club, steady_us).zip(club.bond.as_ref())?;
    Some(format!(
        "{} is not cured: {} of {} by the sheet of {} ({}); wait, or say who decides otherwise and why: `adhesives override {} --name N --why TEXT`",
        club.spec.id,
        words(left),
        as_entered(bond.batch.times.cure_s),
        bond.batch.product,
        bond.batch.name,
        club.spec.id
    ))
}

/// A time of a maker's sheet in words, to the second.
fn as_entered(seconds: f64) -> String {
    let seconds = (micros(seconds) / 1_000_000).max(1);
    let parts = [(seconds / 3600, "h"), (seconds / 60 % 60, "min"), (seconds % 60, "s")];
    let words: Vec<String> =
        parts.into_iter().filter(|(count, _)| *count > 0).map(|(count, unit)| format!("{count} {unit}")).collect();
    words.join(" ")
}

/// A time left in words: hours and minutes, below two minutes in steps of ten seconds; rounded up, never down.
#[must_use]
pub fn words(left_us: i64) -> String {
    let left_us = left_us.max(0);
    let up = |unit_s: i64| left_us / (1_000_000 * unit_s) + i64::from(left_us % (1_000_000 * unit_s) > 0);
    if left_us <= 120_000_000 {
        return format!("{} s", up(10) * 10);
    }
    let minutes = up(60);
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// The batch that a bond made now is made with; none where the workshop keeps no adhesives here.
pub(super) fn usable_batch(state: &State, at_us: i64) -> Result<Option<String>, Refusal> {
    let adhesives = &state.adhesives;
    let Some(mixed) = adhesives.batch_in_force() else {
        return if adhesives.products.is_empty() {
            Ok(None)
        } else {
            refused(
                "the bond is not marked done, no batch of adhesive is in force: mix one first, `adhesives mix NAME --temperature \"21 °C\"`, then mark it again",
            )
        };
    };
    let left = mixed.left_us(adhesives.elapsed.at(at_us));
    if left <= 0 {
        return refused(format!(
            "the bond is not marked done, batch {} of {} is beyond its working life since {}: do not bond with it, mix a new one; `adhesives discard` takes it off the page",
            mixed.batch.name,
            mixed.batch.product,
            words(-left)
        ));
    }
    Ok(Some(mixed.batch.name.clone()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn product() -> Adhesive {
        let row = |from_c, to_c, working_life_s, cure_s, play_s| AtTemperature {
            from_c,
            to_c,
            working_life_s,
            cure_s,
            play_s,
        };
        Adhesive {
            id: "x".into(),
            name: "X".into(),
            source: "invented".into(),
            at: vec![row(18.0, 22.0, 1200.0, 36_000.0, 86_400.0), row(22.0, 30.0, 600.0, 18_000.0, 43_200.0)],
        }
    }

    #[test]
    fn times_hold_in_the_ranges_of_the_sheet_and_the_careful_ones_where_they_meet() {
        let times = |temperature| product().times(temperature).map(|t| (t.working_life_s, t.cure_s, t.play_s));
        assert_eq!(times(20.0), Some((1200.0, 36_000.0, 86_400.0)));
        assert_eq!(times(25.0), Some((600.0, 18_000.0, 43_200.0)));
        assert_eq!(times(22.0), Some((600.0, 36_000.0, 86_400.0)));
        assert_eq!((times(17.9), times(30.1), times(f64::NAN)), (None, None, None));
    }

    #[test]
    fn what_the_sheet_says_is_told_as_it_stands_there() {
        let told = [45.0, 60.0, 90.0, 3600.0, 5400.0, 28_800.0, 0.4].map(as_entered);
        assert_eq!(told, ["45 s", "1 min", "1 min 30 s", "1 h", "1 h 30 min", "8 h", "1 s"]);
    }

    #[test]
    fn what_is_left_is_rounded_up() {
        let shown: Vec<String> =
            [-5, 0, 1, 10_000_000, 10_000_001, 120_000_000, 120_000_001, 3_600_000_000, 3_660_000_001]
                .map(words)
                .into();
        assert_eq!(shown, ["0 s", "0 s", "10 s", "10 s", "20 s", "120 s", "3 min", "1 h", "1 h 2 min"]);
    }
}
