//! The history of the work as it is shown, published and exported.

use serde::Serialize;

use super::drawer_view::StockView;
use super::table;
use crate::journal::archive::Search;
use crate::journal::event::rfc3339;
use crate::journal::store::{JournalError, Reader};
use crate::measurement::process::{ENOUGH, FEWEST};
use crate::work_order::history::{Distribution, Durations, FirstPass, History, history};
use crate::work_order::record::ClubRecord;

/// The history of a time.
#[derive(Debug, Clone, Serialize)]
pub struct HistoryView {
    /// Finished clubs it is made from.
    pub clubs: usize,
    /// There are more; only the ones worked on last were looked at.
    pub more: bool,
    /// Clubs of that time whose records are in segments that were retired: not looked at.
    pub retired: usize,
    /// Clubs that were right the first time.
    pub first_pass: Option<ShareView>,
    /// How long a club was in hand.
    pub club: Option<DurationsView>,
    /// How long a club was in hand for each step; a cure or rest as it was waited for.
    pub steps: Vec<StepView>,
    /// First results by characteristic and instrument.
    pub distributions: Vec<DistributionView>,
    /// What runs low in the drawers now.
    pub low: Vec<StockView>,
}

/// How many of how many.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct ShareView {
    /// Good ones.
    pub good: usize,
    /// All.
    pub all: usize,
    /// What the true share lies within, 95 %.
    pub within: Option<[f64; 2]>,
}

/// How long something took.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct DurationsView {
    /// Of how many clubs.
    pub count: usize,
    /// Half took no longer.
    pub median_s: f64,
    /// The shortest.
    pub shortest_s: f64,
    /// The longest.
    pub longest_s: f64,
}

/// A step.
#[derive(Debug, Clone, Serialize)]
pub struct StepView {
    /// Which.
    pub step: &'static str,
    /// Its words.
    pub label: &'static str,
    /// How long.
    #[serde(flatten)]
    pub took: DurationsView,
}

/// One characteristic on one instrument.
#[derive(Debug, Clone, Serialize)]
pub struct DistributionView {
    /// Which.
    pub characteristic: &'static str,
    /// Its words.
    pub label: &'static str,
    /// Unit of the deviations.
    pub unit: &'static str,
    /// Where it was measured, or `typed`.
    pub instrument: String,
    /// How many results.
    pub count: usize,
    /// Mean deviation.
    pub mean: Option<f64>,
    /// Standard deviation of them.
    pub sd: Option<f64>,
    /// Results within their limits the first time.
    pub first_pass: ShareView,
    /// Capability; `None` with the reason in `remark`.
    pub cp: Option<f64>,
    /// Within, 95 %.
    pub cp_within: Option<[f64; 2]>,
    /// Capability by the nearer limit.
    pub cpk: Option<f64>,
    /// Within, 95 %.
    pub cpk_within: Option<[f64; 2]>,
    /// How far these numbers can be trusted, in words.
    pub remark: String,
    /// Limits of the run chart.
    pub chart_limits: Option<[f64; 2]>,
    /// Results beyond them, from 0.
    pub beyond: Vec<usize>,
    /// Results that end eight or more on one side, from 0.
    pub shifted: Vec<usize>,
    /// The deviations, oldest first.
    pub results: Vec<ResultView>,
}

/// One result.
#[derive(Debug, Clone, Serialize)]
pub struct ResultView {
    /// When.
    pub at: String,
    /// The club.
    pub club: String,
    /// From its target, or from the middle of its limits.
    pub deviation: f64,
}

/// Looks up the clubs that were finished in a time, and what they say. No work grows with the archive: at most `limit` clubs
/// are looked up through the index. `low` is what runs low in the drawers.
///
/// # Errors
/// When the journal cannot be read.
pub async fn find(
    reader: &Reader,
    low: Vec<StockView>,
    (since_us, until_us): (Option<i64>, Option<i64>),
    limit: u32,
) -> Result<HistoryView, JournalError> {
    // A finished club may have been looked at later, so only the beginning narrows the search.
    let found = reader.search(&Search { since_us, limit, ..Search::default() }).await?;
    let mut clubs: Vec<ClubRecord> = Vec::new();
    let (here, retired): (Vec<_>, Vec<_>) =
        found.clubs.iter().filter(|line| line.state == "finished").partition(|line| line.n > 0);
    for line in here {
        clubs.extend(reader.club(&line.club).await?.map(|found| found.club));
    }
    let within = |club: &&ClubRecord| {
        let at = club.finished_at_us;
        since_us.is_none_or(|since| at >= Some(since)) && until_us.is_none_or(|until| at < Some(until))
    };
    let view = view(&history(clubs.iter().filter(within)), found.more, low);
    Ok(HistoryView { retired: retired.len(), ..view })
}

fn view(history: &History, more: bool, low: Vec<StockView>) -> HistoryView {
    HistoryView {
        clubs: history.clubs,
        more,
        retired: 0,
        first_pass: history.first_pass.map(share),
        club: history.club.map(durations),
        steps: history
            .steps
            .iter()
            .map(|(step, took)| StepView { step: step.name(), label: step.label(), took: durations(*took) })
            .collect(),
        distributions: history.distributions.iter().map(distribution).collect(),
        low,
    }
}

fn share(pass: FirstPass) -> ShareView {
    ShareView { good: pass.good, all: pass.all, within: pass.within }
}

fn durations(took: Durations) -> DurationsView {
    let Durations { count, median_s, shortest_s, longest_s } = took;
    DurationsView { count, median_s, shortest_s, longest_s }
}

fn distribution(found: &Distribution) -> DistributionView {
    let result = |(deviation, club, at_us): &(f64, String, i64)| ResultView {
        at: rfc3339(*at_us),
        club: club.clone(),
        deviation: *deviation,
    };
    let (capability, chart) = (found.capability, found.chart.as_ref());
    DistributionView {
        characteristic: found.characteristic.name(),
        label: found.characteristic.label(),
        unit: found.characteristic.unit(),
        instrument: found.instrument.clone(),
        count: found.deviations.len(),
        mean: found.spread.map(|(mean, _)| mean),
        sd: found.spread.map(|(_, sd)| sd),
        first_pass: share(found.first_pass),
        cp: capability.map(|c| c.cp),
        cp_within: capability.map(|c| c.cp_within),
        cpk: capability.map(|c| c.cpk),
        cpk_within: capability.map(|c| c.cpk_within),
        remark: remark(found),
        chart_limits: chart.map(|chart| chart.limits),
        beyond: chart.map(|chart| chart.beyond.clone()).unwrap_or_default(),
        shifted: chart.map(|chart| chart.shifted.clone()).unwrap_or_default(),
        results: found.deviations.iter().map(result).collect(),
    }
}

fn remark(found: &Distribution) -> String {
    let n = found.placed;
    let signals = found.chart.as_ref().is_some_and(|chart| !chart.beyond.is_empty() || !chart.shifted.is_empty());
    match found.capability {
        None if n == 0 => "no order gives two limits, so there is no capability".to_owned(),
        None if n < FEWEST => format!("{n} results are too few for a capability: from {FEWEST} on"),
        None => "all results are alike, so there is no spread to judge".to_owned(),
        Some(_) if signals => "the run chart shows a signal: the work was not the same all the time, so no capability foretells what comes".to_owned(),
        Some(_) if n < ENOUGH => format!("{n} results: go by the interval, not by the number"),
        Some(_) => "as far as results are spread normally".to_owned(),
    }
}

/// As a table (RFC 4180): one line a fact, so that one file holds all of it.
///
/// # Errors
/// When a value cannot be written as text, which does not happen.
pub fn csv(history: &HistoryView) -> Result<String, csv::Error> {
    let mut rows = vec![
        ["what", "of", "instrument", "unit", "count", "value", "low", "high", "at", "remark"]
            .map(str::to_owned)
            .to_vec(),
    ];
    let number = |value: f64| value.to_string();
    let mut fact =
        |what: &str, of: &str, on: &str, unit: &str, count: usize, numbers: [Option<f64>; 3], at: &str, why: &str| {
            let [value, low, high] = numbers.map(|value| value.map(number).unwrap_or_default());
            let text = table::text;
            rows.push(vec![
                text(what),
                text(of),
                text(on),
                unit.to_owned(),
                count.to_string(),
                value,
                low,
                high,
                at.to_owned(),
                text(why),
            ]);
        };
    let within = |pair: Option<[f64; 2]>| pair.map_or([None, None], |[low, high]| [Some(low), Some(high)]);
    let shares = |pass: ShareView| {
        #[expect(clippy::cast_precision_loss, reason = "numbers of clubs")]
        let share = (pass.all > 0).then(|| pass.good as f64 / pass.all as f64);
        let [low, high] = within(pass.within);
        [share, low, high]
    };
    if let Some(pass) = history.first_pass {
        fact("first_pass", "club", "", "1", pass.all, shares(pass), "", "");
    }
    if let Some(took) = history.club {
        fact(
            "time",
            "club",
            "",
            "s",
            took.count,
            [took.median_s, took.shortest_s, took.longest_s].map(Some),
            "",
            "median, shortest, longest",
        );
    }
    for step in &history.steps {
        let took = step.took;
        fact(
            "time",
            step.step,
            "",
            "s",
            took.count,
            [took.median_s, took.shortest_s, took.longest_s].map(Some),
            "",
            "median, shortest, longest",
        );
    }
    for found in &history.distributions {
        let (of, on, unit, n) = (found.characteristic, found.instrument.as_str(), found.unit, found.count);
        fact("first_pass", of, on, "1", found.first_pass.all, shares(found.first_pass), "", "");
        fact("mean_deviation", of, on, unit, n, [found.mean, None, None], "", "");
        fact("standard_deviation", of, on, unit, n, [found.sd, None, None], "", "");
        let [low, high] = within(found.cp_within);
        fact("cp", of, on, "1", n, [found.cp, low, high], "", &found.remark);
        let [low, high] = within(found.cpk_within);
        fact("cpk", of, on, "1", n, [found.cpk, low, high], "", &found.remark);
        for result in &found.results {
            fact("deviation", of, on, unit, 1, [Some(result.deviation), None, None], &result.at, &result.club);
        }
    }
    for line in &history.low {
        fact(
            "low_stock",
            &line.item,
            "",
            "1",
            1,
            [Some(f64::from(line.left)), None, Some(f64::from(line.low_at))],
            "",
            "",
        );
    }
    table::lines(&rows)
}
