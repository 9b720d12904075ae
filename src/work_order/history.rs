//! What finished clubs say of the work: how long the steps took, what was right the first time, how far results lie from what
//! was asked, and how that went over time. Finished clubs come in, numbers leave.

use std::collections::BTreeMap;

use super::judging::Verdict;
use super::order::Stage;
use super::record::{ClubRecord, ClubState, Entry, Standing, StepRecord};
use super::steps::Step;
use crate::club::characteristic::Characteristic;
use crate::measurement::process::{Capability, RunChart, capability, mean_and_spread, median, run_chart, share_within};

/// How long something took, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Durations {
    /// Of how many clubs.
    pub count: usize,
    /// Half took no longer.
    pub median_s: f64,
    /// The shortest.
    pub shortest_s: f64,
    /// The longest.
    pub longest_s: f64,
}

/// How many of how many were right the first time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirstPass {
    /// Right the first time.
    pub good: usize,
    /// All.
    pub all: usize,
    /// What the true share lies within, 95 %.
    pub within: Option<[f64; 2]>,
}

/// First results of one characteristic on one instrument, in the order they were measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Distribution {
    /// What.
    pub characteristic: Characteristic,
    /// On what, or `typed`.
    pub instrument: String,
    /// Each deviation from its target or the middle of its limits, in the characteristic's unit, with the club and its time
    /// in microseconds since 1970 UTC.
    pub deviations: Vec<(f64, String, i64)>,
    /// Mean and standard deviation of them.
    pub spread: Option<(f64, f64)>,
    /// Where two limits are given.
    pub first_pass: FirstPass,
    /// By results whose order gives two limits; tolerances of different width count by how much of theirs is used.
    pub capability: Option<Capability>,
    /// How many results that rests on.
    pub placed: usize,
    /// Limits and signals over time.
    pub chart: Option<RunChart>,
}

/// All of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct History {
    /// Finished clubs it was made from.
    pub clubs: usize,
    /// Clubs whose every limited characteristic was within its limits the first time; what is brought to target by the planned
    /// adjustment counts after it.
    pub first_pass: Option<FirstPass>,
    /// How long a club was in hand.
    pub club: Option<Durations>,
    /// How long a club was in hand for each step, from the one before it; a cure or rest as it was waited for, on the clock.
    pub steps: Vec<(Step, Durations)>,
    /// By characteristic and instrument.
    pub distributions: Vec<Distribution>,
}

/// The first result of each characteristic on each instrument that says something of the club as it is handed over; what a
/// person took back or corrected does not count, what was measured again after work does, and what was measured of a club that its
/// player had already does not.
fn first_results(club: &ClubRecord) -> Vec<&Entry> {
    let counts = |entry: &&Entry| {
        entry.standing != Standing::Voided
            && entry.filed.stage.counts_for(entry.filed.characteristic)
            && !club.is_misread(entry)
    };
    let mut all: BTreeMap<(Characteristic, &str), Vec<&Entry>> = BTreeMap::new();
    let handed_over = club.steps.iter().find(|done| done.step == Step::HandOver);
    let of_work = handed_over.map_or(usize::MAX, |done| done.entries_before);
    for entry in club.entries.iter().take(of_work).filter(counts) {
        all.entry((entry.filed.characteristic, entry.method.name())).or_default().push(entry);
    }
    all.values().filter_map(|results| first_of(club, results)).collect()
}

/// The one of these results, the oldest first, that says whether it was right the first time. What the club's route adjusts
/// is measured before that to find out by how much; so it counts when the adjustment is said to be done, and where nobody
/// says so, one adjustment is what was planned.
fn first_of<'a>(club: &ClubRecord, results: &[&'a Entry]) -> Option<&'a Entry> {
    let first = *results.first()?;
    if !is_adjusted(first.filed.characteristic) || !club.spec.route().contains(&Step::Adjust) {
        return Some(first);
    }
    let after = results.iter().find(|entry| entry.filed.stage == Stage::Final);
    let once = results.get(1).filter(|_| first.filed.verdict != Verdict::Within);
    Some(after.or(once).copied().unwrap_or(first))
}

/// What weights and bending bring to target.
fn is_adjusted(characteristic: Characteristic) -> bool {
    matches!(
        characteristic,
        Characteristic::SwingWeight
            | Characteristic::TotalMass
            | Characteristic::BalancePoint
            | Characteristic::MoiButt
            | Characteristic::Loft
            | Characteristic::Lie
            | Characteristic::FaceAngle
    )
}

fn is_limited(entry: &Entry) -> bool {
    entry.filed.lower.is_some() || entry.filed.upper.is_some()
}

fn first_pass(results: impl Iterator<Item = bool>) -> FirstPass {
    let (mut good, mut all) = (0, 0);
    for is_good in results {
        all += 1;
        good += usize::from(is_good);
    }
    FirstPass { good, all, within: share_within(good, all) }
}

#[expect(clippy::cast_precision_loss, reason = "times of work in microseconds fit into 53 bits")]
fn seconds(from_us: i64, to_us: i64) -> Option<f64> {
    // A clock that was put back makes no time negative; such a step is left out.
    (to_us >= from_us).then(|| (to_us - from_us) as f64 / 1e6)
}

fn durations(taken: &[f64]) -> Option<Durations> {
    Some(Durations {
        count: taken.len(),
        median_s: median(taken)?,
        shortest_s: taken.iter().copied().reduce(f64::min)?,
        longest_s: taken.iter().copied().reduce(f64::max)?,
    })
}

/// How long each step took that still counts: in hand from the one before it; what cures or rests is waited for. A step that was
/// marked again took what all its marks took together.
fn step_times(club: &ClubRecord) -> BTreeMap<Step, f64> {
    let standing: Vec<&StepRecord> = club.steps.iter().filter(|done| club.stands(done)).collect();
    let before = std::iter::once(None).chain(standing.clone().into_iter().map(Some));
    let took = |(before, done): (Option<&StepRecord>, &StepRecord)| match done.step {
        Step::Cure | Step::Rest => seconds(before?.at_us, done.at_us).map(|took| (done.step, took)),
        step => seconds(before.map_or(0, |before| before.in_hand_us), done.in_hand_us).map(|took| (step, took)),
    };
    let mut times = BTreeMap::new();
    for (step, took) in before.zip(standing).filter_map(took) {
        *times.entry(step).or_insert(0.0) += took;
    }
    times
}

/// What the finished ones of these clubs say.
#[must_use]
pub fn history<'a>(clubs: impl Iterator<Item = &'a ClubRecord>) -> History {
    let mut finished: Vec<&ClubRecord> = clubs.filter(|club| club.state == ClubState::Finished).collect();
    finished.sort_by_key(|club| club.finished_at_us);
    let mut steps: BTreeMap<Step, Vec<f64>> = BTreeMap::new();
    let mut whole = Vec::new();
    let mut results: BTreeMap<(Characteristic, String), Vec<(&Entry, &ClubRecord)>> = BTreeMap::new();
    let mut passed = Vec::new();
    for club in &finished {
        for (step, took) in step_times(club) {
            steps.entry(step).or_default().push(took);
        }
        whole.extend(seconds(0, club.in_hand.us));
        let first = first_results(club);
        let limited: Vec<&&Entry> = first.iter().filter(|entry| is_limited(entry)).collect();
        if !limited.is_empty() {
            passed.push(limited.iter().all(|entry| entry.filed.verdict == Verdict::Within));
        }
        for entry in first {
            let key = (entry.filed.characteristic, entry.method.name().to_owned());
            results.entry(key).or_default().push((entry, club));
        }
    }
    History {
        clubs: finished.len(),
        first_pass: Some(first_pass(passed.into_iter())).filter(|pass| pass.all > 0),
        club: durations(&whole),
        steps: steps.into_iter().filter_map(|(step, taken)| Some((step, durations(&taken)?))).collect(),
        distributions: results
            .into_iter()
            .filter_map(|((what, on), results)| distribution(what, on, results))
            .collect(),
    }
}

fn distribution(
    characteristic: Characteristic,
    instrument: String,
    mut results: Vec<(&Entry, &ClubRecord)>,
) -> Option<Distribution> {
    results.sort_by_key(|(entry, _)| entry.at_us);
    let middle = |entry: &Entry| {
        let limits = entry.filed.lower.zip(entry.filed.upper);
        entry.filed.target.or_else(|| limits.map(|(low, high)| f64::midpoint(low, high)))
    };
    let deviations: Vec<(f64, String, i64)> = results
        .iter()
        .filter_map(|(entry, club)| Some((entry.filed.value - middle(entry)?, club.spec.id.clone(), entry.at_us)))
        .collect();
    if deviations.is_empty() {
        return None;
    }
    let place = |entry: &Entry| {
        let (low, high) = entry.filed.lower.zip(entry.filed.upper).filter(|(low, high)| high > low)?;
        Some((2.0 * entry.filed.value - low - high) / (high - low))
    };
    let placed: Vec<f64> = results.iter().filter_map(|(entry, _)| place(entry)).collect();
    let values: Vec<f64> = deviations.iter().map(|(deviation, ..)| *deviation).collect();
    let limited = results.iter().filter(|(entry, _)| is_limited(entry));
    Some(Distribution {
        characteristic,
        instrument,
        spread: mean_and_spread(&values),
        first_pass: first_pass(limited.map(|(entry, _)| entry.filed.verdict == Verdict::Within)),
        capability: capability(&placed),
        placed: placed.len(),
        chart: run_chart(&values),
        deviations,
    })
}
