//! Gauge studies as they are shown and published: how far they are, and what they found, in numbers and in words.
//!
//! A study that is under way shows no reading: nobody is to know what a part read before.

use serde_json::{Value, json};

use super::text::quantity_unit;
use crate::journal::event::rfc3339;
use crate::measurement::calibration::Calibration;
use crate::measurement::gauge_study::AnovaLine;
use crate::measurement::reading::Quantity;
use crate::measurement::study_result::{
    CONFIDENCE, ENOUGH_CATEGORIES, Fitness, Member, Spread, StudyResult, WIDTH, percent_of_tolerance,
};
use crate::work_order::event::Change;
use crate::work_order::state::State;
use crate::work_order::study::Study;
use crate::work_order::study_plan::StudyTolerance;

/// All studies, newest first, in short.
#[must_use]
pub fn list(state: &State) -> Value {
    let line = |study: &Study| {
        json!({
            "study": study.plan.study, "instrument": study.plan.instrument, "quantity": study.plan.quantity.name(),
            "stage": study.stage.name(), "begun_at": rfc3339(study.begun_us), "done": study.done(), "of": study.order.len(),
        })
    };
    let studies: Vec<Value> = state.studies.list.iter().rev().map(line).collect();
    json!({"studies": studies})
}

/// Resolution of an instrument in its unit; 0 where it is not known.
#[must_use]
pub fn resolution(state: &State, instrument: &str) -> f64 {
    match state.calibrations.get(instrument).map(|of| &of.change) {
        // A beam's is in counts.
        Some(Change::Calibrated { calibration: Calibration::Beam(_), .. }) => 0.0,
        Some(Change::Calibrated { resolution, .. }) => *resolution,
        _ => 0.0,
    }
}

/// A study with everything that may be known of it now.
#[must_use]
pub fn whole(study: &Study, operator: Option<&str>, resolution: f64) -> Value {
    let plan = &study.plan;
    let next = study.next().filter(|_| study.is_under_way()).map(|(place, cell)| {
        let person = study.person(cell);
        json!({"part": cell.part + 1, "person": person, "trial": cell.trial + 1, "place": place + 1,
               "at_the_bench": operator == Some(person), "words": study.next_words(operator)})
    });
    let readings: Vec<Value> = study
        .order
        .iter()
        .zip(&study.readings)
        .filter(|_| !study.is_under_way())
        .filter_map(|(cell, read)| {
            let (event, value) = read.as_ref()?;
            Some(json!({"part": cell.part + 1, "person": study.person(*cell), "trial": cell.trial + 1,
                        "value": value, "event": event.to_string()}))
        })
        .collect();
    json!({
        "study": plan.study,
        "instrument": plan.instrument,
        "quantity": plan.quantity.name(),
        "unit": quantity_unit(plan.quantity),
        "characteristic": plan.characteristic.map(|characteristic| characteristic.name()),
        "parts": plan.parts,
        "people": plan.people,
        "trials": plan.trials,
        "tolerance": plan.tolerance.as_ref().map(|t| json!({"text": t.text, "lower": t.lower, "upper": t.upper})),
        "seed": plan.seed,
        "stage": study.stage.name(),
        "why": study.why,
        "begun_at": rfc3339(study.begun_us),
        "done": study.done(),
        "of": study.order.len(),
        "next": next,
        "warnings": plan.warnings(resolution),
        "readings": readings,
        "result": study.result().filter(|_| !study.is_under_way()).map(|result| result_json(study, &result)),
    })
}

fn result_json(study: &Study, result: &StudyResult) -> Value {
    let line =
        |line: AnovaLine| json!({"squares": line.squares, "freedom": line.freedom, "mean_square": line.mean_square()});
    let anova = &result.anova;
    let member = |name: Value, member: &Member| json!({"name": name, "mean": member.mean, "offset": member.offset, "repeats": member.repeats, "restless": member.restless});
    let person = |index: usize| study.plan.people.get(index).cloned().unwrap_or_default();
    let width = width(study);
    json!({
        "anova": {"people": line(anova.people), "parts": line(anova.parts), "interaction": line(anova.interaction),
                  "repeatability": line(anova.repeatability), "total": line(anova.total),
                  "interaction_significance": anova.interaction_significance, "people_significance": result.people_significance,
                  "pooled": result.pooled},
        "by_anova": spread_json(&result.by_anova, width),
        "by_ranges": result.by_ranges.map(|spread| spread_json(&spread, width)),
        "confidence": CONFIDENCE,
        "repeatability_limits": result.repeatability_limits,
        "measuring_limits": result.measuring_limits,
        "percent_of_tolerance_limits":
            result.measuring_limits.zip(width).map(|(limits, width)| limits.map(|sd| percent_of_tolerance(sd, width))),
        "fitness": fitness(study, result).map(Fitness::name),
        "people": result.people.iter().enumerate().map(|(index, of)| member(json!(person(index)), of)).collect::<Vec<_>>(),
        "parts": result.parts.iter().enumerate().map(|(index, of)| member(json!(index + 1), of)).collect::<Vec<_>>(),
        "range_limit": result.range_limit,
        "wild": result.wild.iter().map(|(of, part)| json!({"person": person(*of), "part": part + 1})).collect::<Vec<_>>(),
        "findings": findings(study, result),
    })
}

fn spread_json(spread: &Spread, width: Option<f64>) -> Value {
    let each = |sd: f64| {
        json!({"sd": sd, "percent_of_total": spread.percent_of_total(sd),
               "percent_of_tolerance": width.map(|width| percent_of_tolerance(sd, width))})
    };
    json!({
        "repeatability": each(spread.repeatability), "people": each(spread.people), "interaction": each(spread.interaction),
        "reproducibility": each(spread.reproducibility()), "measuring": each(spread.measuring), "parts": each(spread.parts),
        "total": each(spread.total), "categories": spread.categories(),
    })
}

/// From limit to limit of the study's tolerance.
#[must_use]
pub fn width(study: &Study) -> Option<f64> {
    study.plan.tolerance.as_ref().and_then(StudyTolerance::width)
}

/// How good the measuring is: by the tolerance, without one by the total variation.
#[must_use]
pub fn fitness(study: &Study, result: &StudyResult) -> Option<Fitness> {
    let spread = &result.by_anova;
    let of_tolerance = width(study).map(|width| percent_of_tolerance(spread.measuring, width));
    of_tolerance.or_else(|| spread.percent_of_total(spread.measuring)).map(Fitness::of)
}

/// A small amount with its unit, three digits that count: `0.0931 g`.
#[must_use]
pub fn amount(quantity: Quantity, value: f64) -> String {
    let unit = match quantity {
        Quantity::SwingWeight => "points",
        other => quantity_unit(other),
    };
    let size = value.abs();
    let decimals =
        (0..8_usize).find(|decimals| size * 10f64.powi(i32::try_from(*decimals).unwrap_or(8)) >= 99.95).unwrap_or(4);
    format!("{value:.decimals$} {unit}")
}

/// What was found, in the order of the questions: how much it takes, where it comes from, who and what stands out.
#[must_use]
pub fn findings(study: &Study, result: &StudyResult) -> Vec<String> {
    let mut findings = vec![takes(study, result)];
    findings.extend(comes_from(&result.by_anova));
    if let Some(kinds) = result.by_anova.categories() {
        let few = if kinds.floor() < ENOUGH_CATEGORIES { "; five or more are wanted" } else { "" };
        findings.push(format!("It tells {:.0} kinds of these parts apart{few}.", kinds.floor()));
    }
    findings.extend(stands_out(study, result));
    findings
}

fn takes(study: &Study, result: &StudyResult) -> String {
    let (spread, quantity) = (&result.by_anova, study.plan.quantity);
    let sd = amount(quantity, spread.measuring);
    let verdict = match fitness(study, result) {
        Some(Fitness::Good) => "the instrument is good for this",
        Some(Fitness::MayDo) => "it may do, depending on what is at stake",
        Some(Fitness::NotEnough) => "it is not good enough for this",
        None => "nothing varied at all: is the instrument stuck, or too coarse?",
    };
    // What the readings leave open is said where it would be another answer.
    let most = result.measuring_limits.and_then(|[_, high]| match width(study) {
        Some(width) => Some(percent_of_tolerance(high, width)),
        None => spread.percent_of_total(high),
    });
    let open = match (fitness(study, result), most.map(Fitness::of)) {
        (Some(found), Some(worst)) if found != worst => {
            if worst == Fitness::NotEnough {
                "; so few readings leave open that it is not good enough: take more parts, or more people"
            } else {
                "; so few readings leave open that it just may do: take more parts, or more people"
            }
        }
        _ => "",
    };
    let limits = |of: &dyn Fn(f64) -> Option<f64>| match result.measuring_limits.map(|limits| limits.map(of)) {
        Some([Some(low), Some(high)]) => format!(", with 90 % confidence {low:.0} to {high:.0} %"),
        _ => String::new(),
    };
    match (width(study), &study.plan.tolerance) {
        (Some(width), Some(tolerance)) => format!(
            "Measuring takes {:.1} % of the tolerance {} ({WIDTH} × {sd} of {}){}: {verdict}{open}.",
            percent_of_tolerance(spread.measuring, width),
            tolerance.text,
            amount(quantity, width),
            limits(&|sd| Some(percent_of_tolerance(sd, width)))
        ),
        _ => match spread.percent_of_total(spread.measuring) {
            Some(percent) => {
                format!("Measuring ({sd}) is {percent:.1} % of how much everything varied: {verdict}{open}.")
            }
            None => format!("Measuring: {verdict}."),
        },
    }
}

fn comes_from(spread: &Spread) -> Option<String> {
    let whole = spread.measuring * spread.measuring;
    if whole <= 0.0 {
        return None;
    }
    let share = |sd: f64| 100.0 * sd * sd / whole;
    let (repeats, people) = (share(spread.repeatability), share(spread.reproducibility()));
    let what = if repeats >= people {
        "look at the instrument, its fixture and how a part is laid on"
    } else {
        "agree how a part is held and laid on, and try again"
    };
    Some(format!(
        "Of the variance of measuring {repeats:.0} % is one person repeating, {people:.0} % is between people: {what}."
    ))
}

fn stands_out(study: &Study, result: &StudyResult) -> Vec<String> {
    let quantity = study.plan.quantity;
    let person = |index: usize| study.plan.people.get(index).map_or("", String::as_str);
    let mut found = Vec::new();
    let furthest = result.people.iter().enumerate().max_by(|(_, a), (_, b)| a.offset.abs().total_cmp(&b.offset.abs()));
    match result.people.as_slice() {
        _ if !result.people_differ() => {}
        // Of two nobody can say who is right.
        [first, second] => {
            let (more, less) = if first.mean > second.mean { (0, 1) } else { (1, 0) };
            found.push(format!(
                "{} reads {} more than {}: people differ by more than chance.",
                person(more),
                amount(quantity, (first.mean - second.mean).abs()),
                person(less)
            ));
        }
        _ => found.extend(furthest.map(|(index, of)| {
            let side = if of.offset > 0.0 { "more" } else { "less" };
            let apart = amount(quantity, of.offset.abs());
            format!("{} reads {apart} {side} than the mean of all: people differ by more than chance.", person(index))
        })),
    }
    for (index, of) in result.people.iter().enumerate().filter(|(_, of)| of.restless) {
        found.push(format!(
            "{} repeats worse than the others: standard deviation {}.",
            person(index),
            amount(quantity, of.repeats)
        ));
    }
    for (index, of) in result.parts.iter().enumerate().filter(|(_, of)| of.restless) {
        found.push(format!(
            "Part {} repeats worse than the others: standard deviation {}; does it lie firm, is it clean?",
            index + 1,
            amount(quantity, of.repeats)
        ));
    }
    if let Some(limit) = result.range_limit {
        for (index, part) in &result.wild {
            found.push(format!(
                "{} and part {}: repeats differ by more than {}, which chance does not explain; measure it again before the result is used.",
                person(*index),
                part + 1,
                amount(quantity, limit)
            ));
        }
    }
    if !result.pooled && result.anova.interaction_significance.is_some() {
        found.push("People differ more on some parts than on others.".to_owned());
    }
    if found.is_empty() {
        found.push("Nobody and no part stands out.".to_owned());
    }
    found
}

/// Both ways side by side as a table: a head and rows of cells.
#[must_use]
pub fn comparison(study: &Study, result: &StudyResult) -> (Vec<&'static str>, Vec<Vec<String>>) {
    let (quantity, width) = (study.plan.quantity, width(study));
    let ranges = result.by_ranges.as_ref();
    let percent = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| format!("{value:.1} %"));
    let row = |name: &str, sd: &dyn Fn(&Spread) -> f64, limits: Option<[f64; 2]>| {
        let anova = &result.by_anova;
        vec![
            name.to_owned(),
            amount(quantity, sd(anova)),
            limits.map_or_else(String::new, |[low, high]| {
                format!("{} to {}", amount(quantity, low), amount(quantity, high))
            }),
            ranges.map_or_else(|| "–".to_owned(), |ranges| amount(quantity, sd(ranges))),
            percent(anova.percent_of_total(sd(anova))),
            percent(width.map(|width| percent_of_tolerance(sd(anova), width))),
        ]
    };
    let rows = vec![
        row("repeatability", &|s| s.repeatability, result.repeatability_limits),
        row("reproducibility", &Spread::reproducibility, None),
        row("measuring", &|s| s.measuring, result.measuring_limits),
        row("parts", &|s| s.parts, None),
        row("total", &|s| s.total, None),
    ];
    (vec!["standard deviation", "by variance", "90 % limits", "by ranges", "of total", "of tolerance"], rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_have_three_digits_that_count() {
        for (value, text) in [(0.093_14, "0.0931 g"), (1.5, "1.50 g"), (203.4, "203 g"), (0.0, "0.0000 g")] {
            assert_eq!(amount(Quantity::Mass, value), text);
        }
        assert_eq!(amount(Quantity::SwingWeight, 0.25), "0.250 points");
    }
}
