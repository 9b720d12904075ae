//! `sleeve`: what every position of a club's off-axis sleeve changes, and the best one for a wanted change.

use std::process::ExitCode;

use anyhow::bail;

use super::access::{Access, Where};
use super::{print, runtime};
use crate::club::characteristic::Characteristic;
use crate::club::sleeve_table::Wanted;
use crate::journal::archive::FoundClub;
use crate::output::sleeve_view::{HEAD, PositionView, sleeve_view_for};
use crate::work_order::sleeving::wanted_change;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    /// The club's id, such as W-1042/1; its order says what sleeve it has, in [club.sleeve]
    club: String,
    /// Wanted change of lie, such as "1 deg upright"
    #[arg(long, allow_hyphen_values = true)]
    lie: Option<String>,
    /// Wanted change of loft, such as "1 deg weaker" (more loft) or "1 deg stronger"
    #[arg(long, allow_hyphen_values = true)]
    loft: Option<String>,
    /// Wanted change of face angle, such as "1 deg closed" or "1 deg open"
    #[arg(long, allow_hyphen_values = true)]
    face: Option<String>,
    /// One JSON document instead of a table
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let wanted = Wanted {
        lie: change(Characteristic::Lie, arguments.lie.as_deref())?,
        loft: change(Characteristic::Loft, arguments.loft.as_deref())?,
        face: change(Characteristic::FaceAngle, arguments.face.as_deref())?,
    };
    let access = arguments.place.access()?;
    runtime()?.block_on(show(&access, &arguments.club, wanted, arguments.json))?;
    Ok(ExitCode::SUCCESS)
}

/// A wanted change as written, in degrees.
fn change(of: Characteristic, written: Option<&str>) -> anyhow::Result<Option<f64>> {
    wanted_change(of, written.unwrap_or_default()).map_err(anyhow::Error::msg)
}

async fn show(access: &Access, id: &str, wanted: Wanted, as_json: bool) -> anyhow::Result<()> {
    let Some(FoundClub { club, .. }) = access.reader().await?.club(id).await? else {
        bail!("there is no club {id}; `records list` shows what there is");
    };
    let Some(view) = sleeve_view_for(&club, wanted) else {
        bail!("the order gives no sleeve for {id}: put [club.sleeve] with tilt and clock below the club in its file");
    };
    if let Some(trouble) = view.trouble {
        bail!(trouble);
    }
    if as_json {
        return print::line(&serde_json::to_string(&view)?);
    }
    let from = view.from.join(", ");
    print::line(&format!("{id}, {}-handed: {from}, sleeve tilt {:.2} deg", view.hand, view.tilt_deg))?;
    let mut rows: Vec<Vec<String>> = view.positions.iter().map(PositionView::cells).collect();
    for (row, position) in rows.iter_mut().zip(&view.positions) {
        row.push(if view.is_best(position) { "nearest".to_owned() } else { String::new() });
    }
    print::table(&[&HEAD[..], &[""]].concat(), &rows)?;
    view.notes.iter().try_for_each(|note| print::line(note))?;
    view.answer.iter().try_for_each(|answer| print::line(answer))
}
