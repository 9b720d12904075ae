//! What is said on a club's sheet: decisions, what went in, bonds, what does not agree, what was taken back, and what to take
//! care of in the steps that are still to come.

use super::canvas::POINTS_PER_MM;
use super::flow::Block;
use super::fonts::{Fonts, Weight};
use super::{Print, Subject, rows, went_in};
use crate::output::adhesive_view::bond_as_made;
use crate::output::record::HandOverOverrideView;
use crate::output::times::{bare_minute, minute, minute_of};
use crate::output::work_view::suspect_views;
use crate::work_order::adhesive::{Bond, Override};
use crate::work_order::cautions::cautions as cautions_of;
use crate::work_order::record::{ClubRecord, ClubState, StepTakenBack};
use crate::work_order::taking_up::TakenUp;

/// What comes first wherever work can hurt.
pub(super) const FIRST: &str =
    "Data sheets of adhesive, solvent and component makers, local codes and licensed practice come first.";
/// Earlier values on a sheet, at most.
const MOST_EARLIER: usize = 12;
/// How much two lines hold, in widths of a line.
const TWO_LINES: f64 = 1.85;

/// All of it, what weighs first; `width` in millimetres.
pub(super) fn blocks(fonts: &Fonts, width: f64, subject: &Subject, print: &Print) -> Vec<Block> {
    let club = &subject.club;
    let order = club.order_words().map(|words| Block::bold(format!("Note: {words}.")));
    let decided = club
        .hand_over_overrides
        .iter()
        .map(|over| Block::bold(format!("Decided: {}.", HandOverOverrideView::of(over).text())));
    let again = club.taken_up.iter().map(|TakenUp { decided: Override { name, why, .. }, .. }| {
        Block::bold(format!("Taken up again after it was finished, by {name}: {why}."))
    });
    let steps_back = club.steps_taken_back.iter().map(|back| step_back(back, print));
    let before = club.earlier_bonds.iter().map(|bond| bonded(bond, None));
    let bonds = before.chain(club.bond.iter().map(|bond| bonded(bond, Some(print))));
    let suspects = suspect_views(club).into_iter().map(|of| Block::bold(format!("Does not agree: {}", of.reason)));
    let earlier = earlier(fonts, width, &rows::earlier_values(club, print.lengths)).map(Block::grey);
    let head = order.into_iter().chain(decided).chain(again).chain(steps_back);
    let parts = went_in::blocks(club, print.lengths, &print.zone);
    let cautions = cautions(club);
    let first = (!cautions.is_empty()).then(|| Block::grey(FIRST));
    let cautions = cautions.into_iter().map(|caution| Block::words(format!("Take care. {caution}"))).chain(first);
    head.chain(parts).chain(bonds).chain(suspects).chain(earlier).chain(cautions).collect()
}

/// A step that a person marked done and took back.
fn step_back(StepTakenBack { done, why, at_us, by, .. }: &StepTakenBack, print: &Print) -> Block {
    let by = by.as_deref().map(|by| format!(", by {by}")).unwrap_or_default();
    let (marked, taken) = (bare_minute(done.at_us, &print.zone), minute(*at_us, &print.zone));
    Block::words(format!("Taken back {taken}{by}: \"{}\", marked done {marked} ({why}).", done.step.label()))
}

/// A bond in words; the last one, which is given with how it is printed, says until when the club is not to be played.
fn bonded(bond: &Bond, last: Option<&Print>) -> Block {
    let how = if last.is_some() { "Bonded" } else { "Before that bonded" };
    let mut words = format!("{how} with batch {} of {}", bond.batch.name, bond.batch.product);
    if let Some(lot) = &bond.batch.lot {
        words += &format!(", lot {lot}");
    }
    if let Some(print) = last {
        words += &format!("; not to be played before {}", minute_of(&bond_as_made(bond).not_before, &print.zone));
    }
    match &bond.overridden {
        Some(Override { name, why, .. }) => {
            Block::bold(format!("{words}; decided by {name}: its cure was not waited for ({why})."))
        }
        None => Block::words(format!("{words}.")),
    }
}

/// Values that do not count any more, as many as two lines hold; the others are counted. The newest ones stand there first.
fn earlier(fonts: &Fonts, width: f64, values: &[String]) -> Option<String> {
    let line = |shown: usize| {
        let more = values.len() - shown;
        let rest = if more == 0 { String::new() } else { format!("; and {more} more, which the journal keeps") };
        let newest: Vec<&str> = values.iter().rev().take(shown).map(String::as_str).collect();
        format!("Earlier values: {}{rest}.", newest.join("; "))
    };
    // Lines break between words, so two of them hold a little less than twice the width.
    let holds = |shown: &usize| {
        fonts.width(&line(*shown), Weight::Regular, super::flow::SIZE) / POINTS_PER_MM <= TWO_LINES * width
    };
    let shown = (1..=values.len().min(MOST_EARLIER)).rev().find(holds);
    let shown = shown.or_else(|| (!values.is_empty()).then_some(1))?;
    Some(line(shown))
}

/// What can hurt at the steps of the route that are not done yet.
pub(super) fn cautions(club: &ClubRecord) -> Vec<&'static str> {
    if club.state == ClubState::Finished {
        return Vec::new();
    }
    let mut cautions: Vec<&str> = Vec::new();
    let open = club.spec.route().iter().filter(|step| !club.has_done(**step));
    for caution in open.flat_map(|step| cautions_of(*step, &club.spec)) {
        if !cautions.contains(&caution.words()) {
            cautions.push(caution.words());
        }
    }
    cautions
}
