//! What finished clubs teach the forecast: how far clubs of the same parts landed from where they were forecast.
//!
//! In: clubs of the record whose order names their parts. Out: a shift for the next forecast of such a club, with its
//! uncertainty. A fold of the journal: a reading that is taken back takes its lesson with it. Clubs without named parts
//! teach nothing and learn nothing.

use std::collections::HashMap;

use super::forecast::{Expected, MODELLED, OF, expected, ground};
use super::head_angles::ANGLES;
use super::order::{Models, Stage};
use super::record::{ClubRecord, Entry, Standing};
use super::steps::Step;
use crate::club::characteristic::Characteristic;

/// What a forecast was made from; each errs in its own way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Basis {
    /// The weighed parts.
    Parts,
    /// The club laid together without adhesive.
    DryFit,
    /// The bonded club without its grip.
    Bonded,
    /// The same angle of the head, or a frequency, measured before the club was finished.
    Measured,
    /// What is stated of head or shaft.
    Stated,
}

impl Basis {
    const ALL: [Self; 5] = [Self::Parts, Self::DryFit, Self::Bonded, Self::Measured, Self::Stated];

    /// The name in records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Parts => "parts",
            Self::DryFit => "dry_fit",
            Self::Bonded => "bonded",
            Self::Measured => "measured",
            Self::Stated => "stated",
        }
    }
}

/// What was learnt for one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learnt {
    /// What is added to the forecast: the bias found, shrunk towards zero.
    pub shift: f64,
    /// Standard uncertainty of the forecast with it.
    pub u: f64,
    /// Mean difference, measured less forecast.
    pub bias: f64,
    /// Spread of the differences from club to club, as a standard deviation.
    pub spread: f64,
    /// From how many clubs.
    pub clubs: usize,
}

/// The newest clubs that a set of parts is learnt from; a builder's hand changes with the years.
const MOST_CLUBS: usize = 40;
/// With this many clubs a set of parts that is named more closely speaks for itself.
const ENOUGH_CLUBS: usize = 3;
/// The share of a forecast's variance that clubs of the same parts have in common; the rest differs from club to club.
/// Own choice; `tests/learning.rs` shows what it does.
const COMMON_SHARE: f64 = 0.5;
/// The spread between clubs is taken to be known beforehand as if from this many clubs.
const CLUBS_BEFOREHAND: f64 = 3.0;
/// A difference this many standard deviations from the middle of the others counts as that many: one slip must not
/// spoil what the other clubs teach (3.5 after Iglewicz and Hoaglin, How to detect and handle outliers, 1993; from
/// memory).
const TRIM: f64 = 3.5;
/// The same while there are too few clubs to have a middle, in standard uncertainties of the forecast.
const TRIM_FEW: f64 = 2.0;
/// Standard deviation of a normal distribution in median absolute deviations (1 / 0.6745).
const SD_PER_MAD: f64 = 1.4826;

/// How far one club landed from its forecast, measured less forecast, in the order of `forecast::OF`.
#[derive(Debug, Clone, PartialEq)]
struct Lesson {
    club: String,
    differences: [Option<f64>; OF.len()],
}

/// All lessons, by the parts they are about.
#[derive(Debug, Clone, Default)]
pub struct Learning {
    lessons: HashMap<(Models, Basis), Vec<Lesson>>,
    /// The parts that a club's lessons are kept under.
    kept: HashMap<String, Models>,
}

impl Learning {
    /// A club changed: its lessons are those of what counts now.
    pub(super) fn note(&mut self, club: &ClubRecord) {
        let id = &club.spec.id;
        let mut kept_under = self.kept.remove(id);
        if kept_under.as_ref().is_some_and(|models| *models != club.spec.models) {
            self.keep(&kept_under.take().unwrap_or_default(), id, [const { None }; Basis::ALL.len()]);
        }
        if club.spec.models.is_empty() {
            return;
        }
        let lessons = lessons(club);
        if kept_under.is_none() && lessons.iter().all(Option::is_none) {
            return;
        }
        if lessons.iter().any(Option::is_some) {
            self.kept.insert(id.clone(), club.spec.models.clone());
        }
        self.keep(&club.spec.models, id, lessons);
    }

    /// Puts the lessons of a club, one a basis, in the place of its former ones.
    fn keep(&mut self, models: &Models, club: &str, lessons: [Option<Lesson>; Basis::ALL.len()]) {
        for (basis, lesson) in Basis::ALL.into_iter().zip(lessons) {
            for under in kept_under(models, basis) {
                let known = self.lessons.entry((under, basis)).or_default();
                let before = known.iter().position(|lesson| lesson.club == club);
                match (before, &lesson) {
                    (Some(at), Some(lesson)) => known[at] = lesson.clone(),
                    (Some(at), None) => drop(known.remove(at)),
                    (None, Some(lesson)) => {
                        if known.len() == MOST_CLUBS {
                            known.remove(0);
                        }
                        known.push(lesson.clone());
                    }
                    (None, None) => {}
                }
            }
        }
    }

    /// What clubs of these parts taught about a forecast with standard uncertainty `u`; `None` where none did.
    #[must_use]
    pub fn learnt(&self, models: &Models, basis: Basis, of: Characteristic, u: f64) -> Option<Learnt> {
        let index = OF.iter().position(|known| *known == of)?;
        let mut best: Vec<f64> = Vec::new();
        for under in looked_up(models, of) {
            let lessons = self.lessons.get(&(under, basis)).map(Vec::as_slice).unwrap_or_default();
            let differences: Vec<f64> = lessons.iter().filter_map(|lesson| lesson.differences[index]).collect();
            if differences.len() > best.len() {
                best = differences;
            }
            if best.len() >= ENOUGH_CLUBS {
                break;
            }
        }
        learn(&best, u)
    }
}

/// What the lessons of a basis are kept under.
fn kept_under(models: &Models, basis: Basis) -> Vec<Models> {
    match basis {
        Basis::Parts | Basis::DryFit | Basis::Bonded => wider(models),
        Basis::Measured | Basis::Stated => [head_of(models), shaft_of(models)].into_iter().flatten().collect(),
    }
}

/// What the lessons of a characteristic are looked up under: an angle is its head's, a frequency its shaft's.
fn looked_up(models: &Models, of: Characteristic) -> Vec<Models> {
    if ANGLES.contains(&of) {
        head_of(models).into_iter().collect()
    } else if of == Characteristic::Frequency {
        shaft_of(models).into_iter().collect()
    } else {
        wider(models)
    }
}

fn head_of(models: &Models) -> Option<Models> {
    models.head.clone().map(|head| Models { head: Some(head), ..Models::default() })
}

fn shaft_of(models: &Models) -> Option<Models> {
    models.shaft.clone().map(|shaft| Models { shaft: Some(shaft), ..Models::default() })
}

/// The parts as named, then fewer of them: all, head and shaft, head, shaft.
fn wider(models: &Models) -> Vec<Models> {
    if models.is_empty() {
        return Vec::new();
    }
    let Models { head, shaft, .. } = models.clone();
    let mut all = vec![
        models.clone(),
        Models { grip: None, ..models.clone() },
        Models { head, ..Models::default() },
        Models { shaft, ..Models::default() },
    ];
    all.retain(|models| !models.is_empty());
    let mut seen: Vec<Models> = Vec::new();
    all.retain(|models| {
        !seen.contains(models) && {
            seen.push(models.clone());
            true
        }
    });
    all
}

/// Bias and spread of `differences` (measured less forecast) for a forecast with standard uncertainty `u`, in its unit.
///
/// The bias of a set of parts is taken as normal about zero with variance `τ² = u² / 2`, the clubs of the set as normal
/// about it with variance `s²`; then `1/v = 1/τ² + n/s²` and the bias to expect is `v · n/s² · mean` (normal mean with
/// normal prior: Gelman and others, Bayesian Data Analysis, 3rd edition, section 2.5; number of the section from
/// memory). `s²` is estimated with `u² / 2` as known from [`CLUBS_BEFOREHAND`] (scaled inverse chi-square prior, the same
/// book, section 2.6; from memory). The next club has the variance `v + s²`. With no club that is `u²` again.
#[must_use]
pub fn learn(differences: &[f64], u: f64) -> Option<Learnt> {
    if differences.is_empty() || u.is_nan() || u <= 0.0 {
        return None;
    }
    let clubs = differences.len();
    let trimmed = trimmed(differences, u);
    let n = f64::from(u32::try_from(clubs).unwrap_or(u32::MAX));
    let mean = trimmed.iter().sum::<f64>() / n;
    let squares: f64 = trimmed.iter().map(|difference| (difference - mean).powi(2)).sum();
    let (common, own) = (u * u * COMMON_SHARE, u * u * (1.0 - COMMON_SHARE));
    let spread2 = (CLUBS_BEFOREHAND * own + squares) / (CLUBS_BEFOREHAND + n - 1.0);
    let variance = 1.0 / (1.0 / common + n / spread2);
    let shift = variance * n / spread2 * mean;
    Some(Learnt { shift, u: (variance + spread2).sqrt(), bias: mean, spread: spread2.sqrt(), clubs })
}

/// Differences far from the middle moved towards it.
fn trimmed(differences: &[f64], u: f64) -> Vec<f64> {
    let (middle, reach) = if differences.len() < ENOUGH_CLUBS {
        (0.0, TRIM_FEW * u)
    } else {
        let middle = median(differences.to_vec());
        let spread = SD_PER_MAD * median(differences.iter().map(|difference| (difference - middle).abs()).collect());
        // A few clubs that agree by chance must not make all others slips.
        (middle, TRIM * spread.max(u / 5.0))
    };
    differences.iter().map(|difference| difference.clamp(middle - reach, middle + reach)).collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = |index: usize| values.get(index).copied().unwrap_or(0.0);
    let half = values.len() / 2;
    if values.len() % 2 == 1 { at(half) } else { f64::midpoint(at(half.saturating_sub(1)), at(half)) }
}

/// How far a club landed from one of its forecasts, before anything was learnt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landed {
    /// What the forecast was made from.
    pub basis: Basis,
    /// What of.
    pub characteristic: Characteristic,
    /// What was expected, without what other clubs taught.
    pub forecast: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// What was measured first of the gripped club.
    pub measured: f64,
    /// Its standard uncertainty.
    pub u_measured: f64,
}

impl Landed {
    /// Measured less forecast.
    #[must_use]
    pub fn difference(&self) -> f64 {
        self.measured - self.forecast
    }
}

/// How far a club landed from its forecasts, as far as it is measured; empty until then.
#[must_use]
pub fn landed(club: &ClubRecord) -> Vec<Landed> {
    let mut landed = of_model(club);
    landed.extend(OF.into_iter().skip(MODELLED).filter_map(|of| by_itself(club, of)));
    landed
}

/// Whether an entry tells where the club landed. The first one does, though a newer one took its place: what was adjusted
/// after it is no error of the forecast. One that was misread tells nothing.
fn tells(club: &ClubRecord, entry: &Entry) -> bool {
    entry.standing != Standing::Voided
        && matches!(entry.filed.stage, Stage::Gripped | Stage::Final)
        && !club.is_misread(entry)
}

/// An angle or the frequency, once it is measured on the gripped club.
fn by_itself(club: &ClubRecord, of: Characteristic) -> Option<Landed> {
    let first = club.entries.iter().position(|entry| tells(club, entry) && entry.filed.characteristic == of)?;
    let Expected { value: (forecast, u), basis, .. } = expected(&before(club, first), of).ok()?;
    let filed = &club.entries.get(first)?.filed;
    Some(Landed { basis, characteristic: of, forecast, u, measured: filed.value, u_measured: filed.u })
}

/// What the assembly model forecast, once the first gripped swing weight counts.
fn of_model(club: &ClubRecord) -> Vec<Landed> {
    let is_first = |entry: &Entry| tells(club, entry) && entry.filed.characteristic == Characteristic::SwingWeight;
    let Some(first) = club.entries.iter().position(is_first) else { return Vec::new() };
    let event = club.entries[first].event;
    let measured = OF.map(|of| {
        let same = |e: &&Entry| e.filed.characteristic == of;
        // On the beam three come together; what is measured apart comes when it comes.
        let together = club.entries.iter().filter(same).find(|e| e.event == event);
        let apart = || club.entries.iter().filter(same).find(|e| tells(club, e)).filter(|_| APART.contains(&of));
        together.or_else(apart).map(|entry| (entry.filed.value, entry.filed.u))
    });
    let before = before(club, first);
    let of_basis = |basis: Basis| {
        let values = ground(&before, basis).map(|ground| ground.values()).unwrap_or_default();
        OF.into_iter().zip(values).zip(measured).filter_map(move |((characteristic, forecast), measured)| {
            let ((forecast, u), (measured, u_measured)) = (forecast?, measured?);
            Some(Landed { basis, characteristic, forecast, u, measured, u_measured })
        })
    };
    Basis::ALL.into_iter().flat_map(of_basis).collect()
}

/// What is measured by itself.
const APART: [Characteristic; 2] = [Characteristic::Length, Characteristic::MoiButt];

/// What a club teaches, one lesson a basis.
fn lessons(club: &ClubRecord) -> [Option<Lesson>; Basis::ALL.len()] {
    let landed = landed(club);
    Basis::ALL.map(|basis| {
        let of_basis = || landed.iter().filter(|landed| landed.basis == basis);
        of_basis().next()?;
        let differences = OF.map(|of| of_basis().find(|l| l.characteristic == of).map(Landed::difference));
        Some(Lesson { club: club.spec.id.clone(), differences })
    })
}

/// The club as it was known before the entry with this index, the first of its kind on the gripped club: only what was measured until then, and the weights
/// that were on it.
fn before(club: &ClubRecord, first: usize) -> ClubRecord {
    let mut before = club.clone();
    for (index, entry) in before.entries.iter_mut().enumerate() {
        if index >= first || matches!(entry.filed.stage, Stage::Gripped | Stage::Final) {
            entry.standing = Standing::Superseded;
        }
    }
    before.takings.retain(|taking| taking.entries_before <= first);
    before.bends.retain(|bend| bend.entries_before <= first);
    before.steps.retain(|done| done.step < Step::Grip);
    before
}
