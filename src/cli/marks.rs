//! `records marks`, `confirm` and `override`: where a shaft is cut, and the second measurement without which it is not.

use anyhow::bail;
use serde_json::json;

use super::access::Access;
use super::print;
use crate::output::cut_view::{CutView, cut_view, fit_views};
use crate::work_order::cautions::cautions;
use crate::work_order::steps::Step;

/// Prints the marks of a club.
pub(super) async fn show(access: &Access, club: &str, as_json: bool) -> anyhow::Result<()> {
    let Some(found) = access.reader().await?.club(club).await? else {
        bail!("there is no club {club}; `records list` shows what there is");
    };
    let words = cautions(Step::Cut, &found.club.spec).iter().map(|caution| caution.words());
    let words: Vec<&str> = words.collect();
    let (cut, fit) = (cut_view(&found.club), fit_views(&found.club));
    if as_json {
        return print::line(&json!({"club": club, "cut": cut, "fit": fit, "cautions": words}).to_string());
    }
    match cut {
        Some(cut) => marks(&cut, &words)?,
        None => print::line(&format!("the order says nothing of how {club} is cut: add a table [club.cut] to it"))?,
    }
    for answer in fit {
        print::line(&format!("{}: {} ({})", answer.about, answer.text, answer.basis))?;
    }
    Ok(())
}

fn marks(cut: &CutView, cautions: &[&str]) -> anyhow::Result<()> {
    if let Some(trouble) = &cut.trouble {
        return print::line(&format!("no marks: {trouble}"));
    }
    for mark in &cut.marks {
        print::line(&format!("cut off the {}: {}", mark.mark, mark.text))?;
        print::line(&format!("  second measurement {}", mark.again_text))?;
        print::line(&format!("  {}", if mark.is_past { "cut" } else { mark.standing_text.as_str() }))?;
    }
    for measure in &cut.measures {
        print::line(&format!("{}: {}", measure.label, measure.text))?;
    }
    for caution in cautions {
        print::line(caution)?;
    }
    print::line("The maker's data sheet, local codes and licensed practice come first.")
}

/// Types the second measurement of a mark, or names a length of the record that stands for it.
pub(super) async fn confirm(
    access: &Access,
    club: &str,
    mark: &str,
    quantity: Option<&str>,
    reading: Option<&str>,
) -> anyhow::Result<()> {
    let command = match (quantity, reading) {
        (Some(quantity), None) => json!({"command": "confirm_mark", "club": club, "mark": mark, "quantity": quantity}),
        (None, Some(reading)) => json!({"command": "confirm_mark", "club": club, "mark": mark, "reading": reading}),
        _ => bail!("give what was measured, such as \"961.2 mm\", or --reading EVENT"),
    };
    access.command(&command).await?;
    let found = access.reader().await?.club(club).await?;
    let cut = found.and_then(|found| cut_view(&found.club));
    let found = cut.iter().flat_map(|cut| &cut.marks).find(|found| found.mark == mark);
    print::line(&format!("{mark} mark of {club}: {}", found.map_or("kept", |found| &found.standing_text)))
}

/// Lets a mark be cut without agreement, or a club go with something open, with a name and a reason.
pub(super) async fn answer_for(access: &Access, club: &str, what: &str, by: &str, why: &str) -> anyhow::Result<()> {
    if matches!(what, "hand-over" | "hand_over") {
        access.command(&json!({"command": "override_hand_over", "club": club, "name": by, "why": why})).await?;
        return print::line(&format!("{club} is handed over: {by} answers for it"));
    }
    let mark = what;
    let command = json!({"command": "override_mark", "club": club, "mark": mark, "name": by, "why": why});
    access.command(&command).await?;
    print::line(&format!("{mark} mark of {club}: {by} answers for it"))
}
