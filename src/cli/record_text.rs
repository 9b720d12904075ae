//! `records show` for people: a club's record in the units and the time zone of the bench.
//!
//! Every value stands there, oldest first, with whether it counts for the club as it goes to its player.

use jiff::tz::TimeZone;

use super::print;
use crate::output::cut_view::fit_views;
use crate::output::record::Record;
use crate::output::text::{self, Lengths};
use crate::output::times::{minute, minute_of};
use crate::output::trust_view;
use crate::work_order::bending::written;
use crate::work_order::judging::{COVERAGE, Verdict};
use crate::work_order::record::{ClubRecord, Entry, Outdated, Standing};

/// Prints a record.
pub(super) fn show(club: &ClubRecord, record: &Record, lengths: Lengths, zone: &TimeZone) -> anyhow::Result<()> {
    let state = plain(record.state);
    print::line(&format!("{}  {}, {}-handed, {state}", record.club, record.name, record.hand))?;
    if let Some(words) = club.order_words() {
        print::line(&words)?;
    }
    let rows: Vec<Vec<String>> = club.entries.iter().map(|entry| row(club, entry, lengths, zone)).collect();
    print::table(&["", "stage", "value", "from target", "verdict", "counts", "by", "at", "event"], &rows)?;
    for entry in club.valid() {
        let filed = &entry.filed;
        let Some(budget) = &entry.budget else {
            let (label, unit) = (filed.characteristic.label(), text::unit(filed.characteristic));
            let (stage, expanded) = (plain(filed.stage.name()), trust_view::short(filed.expanded()));
            let how = entry.method.name();
            print::line(&format!("{label}, {stage}: U = {expanded} {unit} (k = {COVERAGE:.2}): {how}"))?;
            continue;
        };
        let rule = filed.rule.text();
        let rule = if rule == "plain" { String::new() } else { format!("; rule {rule}") };
        let budget = trust_view::budget_line(&trust_view::budget(budget));
        // The unit belongs to the number, not behind the list of what it is made of.
        let unit = text::unit(filed.characteristic);
        let budget = budget.replacen(" (k", &format!(" {unit} (k"), 1);
        print::line(&format!("{}, {}: {budget}{rule}", filed.characteristic.label(), plain(filed.stage.name())))?;
    }
    bends(record, club, zone)?;
    for advice in &record.bending.advice {
        print::line(&format!("advice: {}", advice.text))?;
    }
    for landed in &record.landed {
        let [forecast, measured, difference] = &landed.texts;
        let far = if landed.explained { "" } else { ", more than the uncertainties explain" };
        print::line(&format!(
            "{} was forecast from {} as {forecast} and measured as {measured}: {difference}{far}",
            landed.label,
            plain(landed.basis)
        ))?;
    }
    for answer in record.sleeve.iter().flat_map(|sleeve| sleeve.trouble.iter().chain(&sleeve.answer)) {
        print::line(&format!("sleeve: {answer} (`benchscribe sleeve {}` has every position)", record.club))?;
    }
    print::line(&format!("rules: {}", record.rule_check.text))?;
    for rule in &record.rule_check.rules {
        print::line(&format!("  {}: {} [{}]", rule.rule, rule.text, rule.source))?;
    }
    print::line(record.rule_check.note)?;
    for mark in record.cut.iter().flat_map(|cut| &cut.marks) {
        print::line(&format!("{} mark: {}; {}", mark.mark, mark.text, mark.standing_text))?;
    }
    for answer in fit_views(club) {
        print::line(&format!("fit, {}: {} ({})", answer.about, answer.text, answer.basis))?;
    }
    parts(record, zone)?;
    steps(record, zone)?;
    for bond in record.adhesive_before.iter().chain(&record.adhesive) {
        let decided = bond.overridden.as_ref();
        let decided = decided.map(|o| format!("; not waited for by {}: {}", o.name, o.why)).unwrap_or_default();
        let before =
            if Some(&bond.bonded_at) == record.adhesive.as_ref().map(|last| &last.bonded_at) { "" } else { "earlier " };
        print::line(&format!(
            "{before}adhesive {} ({})  cure over {}, not played before {}{decided}",
            bond.adhesive,
            bond.batch,
            minute_of(&bond.cured_at, zone),
            minute_of(&bond.not_before, zone)
        ))?;
    }
    for over in &record.hand_over_overrides {
        print::line(&format!("{}  {}", over.text(), minute_of(&over.decided.at, zone)))?;
    }
    for again in &record.taken_up {
        print::line(&format!("taken up again by {}: {}  {}", again.name, again.why, minute_of(&again.at, zone)))?;
    }
    print::line(&format!("chain {}", record.chain))
}

/// One value: what it is, how it stands to its target, and whether it counts.
fn row(club: &ClubRecord, entry: &Entry, lengths: Lengths, zone: &TimeZone) -> Vec<String> {
    let filed = &entry.filed;
    let characteristic = filed.characteristic;
    let verdict = if filed.verdict == Verdict::NoTarget { "no limits" } else { filed.verdict.name() };
    let marginal = if filed.marginal { ", at the limit" } else { "" };
    let stands = club.standing(characteristic).is_some_and(|standing| std::ptr::eq(standing, entry));
    let counts = match entry.standing {
        Standing::Valid if stands => "yes".to_owned(),
        Standing::Valid if club.outdated(entry) == Some(Outdated::Bent) => "outdated: bent since".to_owned(),
        Standing::Valid if club.outdated(entry) == Some(Outdated::LaterFace) => {
            "outdated: worked out with another face angle".to_owned()
        }
        Standing::Valid => "on the way".to_owned(),
        Standing::Superseded if club.is_misread(entry) => "corrected by a newer one".to_owned(),
        Standing::Superseded => "replaced by a newer one".to_owned(),
        Standing::Voided => match club.voids.iter().rfind(|void| void.event == entry.event) {
            Some(void) => format!("taken back: {}", void.why),
            None => "filed elsewhere".to_owned(),
        },
    };
    vec![
        characteristic.label().to_owned(),
        plain(filed.stage.name()),
        text::value(characteristic, filed.value, lengths),
        filed.deviation.map(|off| text::deviation(characteristic, off, lengths)).unwrap_or_default(),
        format!("{verdict}{marginal}"),
        counts,
        entry.method.name().to_owned(),
        minute(entry.at_us, zone),
        entry.event.to_string(),
    ]
}

fn bends(record: &Record, club: &ClubRecord, zone: &TimeZone) -> anyhow::Result<()> {
    for bend in &record.bending.done {
        let degrees = |value: Option<f64>| value.map_or("not measured".to_owned(), |value| format!("{value:.1} deg"));
        let characteristic = club.bends.iter().find(|of| of.characteristic.name() == bend.characteristic);
        let Some(characteristic) = characteristic.map(|of| of.characteristic) else { continue };
        print::line(&format!(
            "{} was bent {} at the lever: {} before, {} after, sprang back {}  {}  event {}",
            characteristic.label(),
            written(characteristic, bend.lever_deg),
            degrees(bend.before_deg),
            degrees(bend.after_deg),
            degrees(bend.spring_back_deg),
            minute_of(&bend.at, zone),
            bend.event
        ))?;
    }
    Ok(())
}

/// Parts that went in, with their makers' codes, and what was taken from the drawers.
fn parts(record: &Record, zone: &TimeZone) -> anyhow::Result<()> {
    for part in &record.parts {
        let facts = &part.facts;
        let codes = [("GTIN", &facts.gtin), ("lot", &facts.lot), ("serial", &facts.serial)];
        let codes = codes.into_iter().filter_map(|(word, code)| Some(format!("{word} {}", code.as_ref()?)));
        let words: Vec<String> = part
            .part
            .clone()
            .into_iter()
            .chain(part.kind.map(str::to_owned))
            .chain(facts.model.clone())
            .chain(codes)
            .collect();
        let released = part.released.as_ref().map(|why| format!("  taken out: {why}")).unwrap_or_default();
        print::line(&format!(
            "part {}  {}  event {}{released}",
            words.join(", "),
            minute_of(&part.at, zone),
            part.event
        ))?;
    }
    for taking in &record.consumption {
        let parts: Vec<String> = taking.parts.iter().map(|part| format!("{} × {}", part.pieces, part.item)).collect();
        let returned = taking.returned.as_ref().map(|why| format!("  put back: {why}")).unwrap_or_default();
        let at = minute_of(&taking.at, zone);
        print::line(&format!("taken {}  {at}  event {}{returned}", parts.join(" + "), taking.event))?;
    }
    Ok(())
}

fn steps(record: &Record, zone: &TimeZone) -> anyhow::Result<()> {
    for step in &record.skipped {
        print::line(&format!("step {}  skipped", plain(step)))?;
    }
    for back in &record.steps_taken_back {
        let (step, taken) = (&back.done, &back.taken_back);
        let by = |who: &Option<String>| who.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
        print::line(&format!(
            "step {}  {}{} (taken back {}{}: {})",
            plain(step.step),
            minute_of(&step.at, zone),
            by(&step.by),
            minute_of(&taken.at, zone),
            by(&taken.by),
            taken.why
        ))?;
    }
    for step in &record.steps {
        let by = step.by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
        let with = step.batch.as_deref().map(|batch| format!(" with batch {batch}")).unwrap_or_default();
        let proof = if step.proof.is_some() { ", proved by a measurement" } else { "" };
        let voided = if step.voided { " (taken back)" } else { "" };
        let missing = match step.not_measured.as_slice() {
            [] => String::new(),
            missing => format!(" with {} not measured", plain(&missing.join(", "))),
        };
        print::line(&format!(
            "step {}  {}{by}{with}{proof}{missing}{voided}  event {}",
            plain(step.step),
            minute_of(&step.at, zone),
            step.event
        ))?;
        if !step.cautions.is_empty() {
            let read = match &step.acknowledged {
                Some(read) => {
                    let by = read.by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
                    format!("acknowledged {}{by}", minute_of(&read.at, zone))
                }
                None => "not acknowledged".to_owned(),
            };
            print::line(&format!("  cautions {}: {read}", plain(&step.cautions.join(", "))))?;
        }
    }
    Ok(())
}

/// A name as words.
fn plain(name: &str) -> String {
    name.replace('_', " ")
}
