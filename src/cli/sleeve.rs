//! `sleeve`: what every position of a club's off-axis sleeve changes, and the best one for a wanted change.

use std::process::ExitCode;

use anyhow::{Context as _, bail};
use serde_json::json;

use super::access::{Access, Where};
use super::{print, runtime};
use crate::club::angles::Face;
use crate::club::characteristic::Characteristic;
use crate::club::sleeve_table::{PositionChange, Wanted, best, changes};
use crate::journal::archive::FoundClub;
use crate::measurement::quantity::{Dimension, parse_value};
use crate::measurement::unit::Degrees;
use crate::work_order::bending::split_way;
use crate::work_order::order::Hand;
use crate::work_order::record::ClubRecord;

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
    let Some(text) = written else { return Ok(None) };
    let (number, sign) = split_way(of, text).map_err(anyhow::Error::msg)?;
    let size = parse_value(number, Dimension::Angle).with_context(|| format!("wanted change of {}", of.label()))?;
    Ok(Some(sign.unwrap_or(1.0) * size))
}

async fn show(access: &Access, id: &str, wanted: Wanted, as_json: bool) -> anyhow::Result<()> {
    let Some(FoundClub { club, .. }) = access.reader().await?.club(id).await? else {
        bail!("there is no club {id}; `records list` shows what there is");
    };
    let Some(sleeve) = &club.spec.details.sleeve else {
        bail!("the order gives no sleeve for {id}: put [club.sleeve] with tilt and clock below the club in its file");
    };
    let (loft, loft_from) = angle(&club, Characteristic::Loft)?;
    let (lie, lie_from) = angle(&club, Characteristic::Lie)?;
    let face_angle = angle(&club, Characteristic::FaceAngle).map_or(0.0, |(value, _)| value);
    let face = Face { loft: Degrees(loft), angle: Degrees(face_angle) };
    let rows = changes(face, Degrees(lie), sleeve.tilt, &sleeve.clocks, sleeve.at)
        .with_context(|| format!("the sleeve of {id}"))?;
    let is_wanted = wanted != Wanted::default();
    let chosen = best(&rows, wanted).filter(|_| is_wanted);
    if as_json {
        let document = json!({
            "club": id,
            "hand": club.spec.hand.name(),
            "tilt_deg": sleeve.tilt.0,
            "measured_at_deg": sleeve.at.map(|at| at.0),
            "loft_deg": loft,
            "lie_deg": lie,
            "face_angle_deg": face_angle,
            "positions": rows.iter().map(row_json).collect::<Vec<_>>(),
            "best": chosen.map(|row| json!({"clock_deg": row.clock.0, "off_by_deg": row.distance(wanted)})),
        });
        return print::line(&document.to_string());
    }
    print::line(&format!(
        "{id}, {}-handed: loft {loft:.1} deg ({loft_from}), lie {lie:.1} deg ({lie_from}), sleeve tilt {:.2} deg",
        club.spec.hand.name(),
        sleeve.tilt.0
    ))?;
    print::line(&match sleeve.at {
        Some(at) => format!("changes in degrees against the position at {:.0} deg, in which it was measured", at.0),
        None => "changes in degrees against a straight sleeve; say in the order which position it was measured in (at)"
            .to_owned(),
    })?;
    let cells: Vec<Vec<String>> = rows.iter().map(|row| cells(row, chosen)).collect();
    print::table(&["clock", "lie", "loft, held", "face, held", "loft, same face", "face, same loft", ""], &cells)?;
    print::line(&format!(
        "clock: from the upright side toward the target, {} seen from the grip; lie: + upright; face: + closed",
        if club.spec.hand == Hand::Right { "counter-clockwise" } else { "clockwise" }
    ))?;
    print::line("held: the shaft stays where it was; same face, same loft: the club is then turned about its shaft")?;
    print::line("grip and shaft turn with the sleeve: a ribbed grip and a printed shaft come to lie elsewhere")?;
    if let Some(row) = chosen {
        print::line(&format!(
            "best for what is wanted: {:.0} deg, off by {:.2} deg",
            row.clock.0,
            row.distance(wanted)
        ))?;
    }
    Ok(())
}

/// An angle of the club: as measured, or as ordered.
fn angle(club: &ClubRecord, characteristic: Characteristic) -> anyhow::Result<(f64, &'static str)> {
    if let Some(entry) = club.latest(characteristic) {
        return Ok((entry.filed.value, "measured"));
    }
    let target = club.spec.target(characteristic).and_then(|row| row.target.value);
    let ordered = target.map(|value| (value, "as ordered"));
    ordered.with_context(|| {
        let label = characteristic.label();
        format!("{label} of {} is neither measured nor ordered, so nothing can be computed from it", club.spec.id)
    })
}

fn row_json(row: &PositionChange) -> serde_json::Value {
    json!({
        "clock_deg": row.clock.0,
        "lie_deg": row.lie.0,
        "shaft_lean_deg": row.shaft_lean.0,
        "loft_shaft_held_deg": row.loft_held.0,
        "face_shaft_held_deg": row.face_held.0,
        "loft_same_face_deg": row.loft_same_face.0,
        "face_same_loft_deg": row.face_same_loft.0,
    })
}

fn cells(row: &PositionChange, chosen: Option<&PositionChange>) -> Vec<String> {
    let signed = |angle: Degrees| {
        let text = format!("{:+.2}", angle.0);
        // What rounds to nothing has no sign.
        if text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { text } else { "0.00".to_owned() }
    };
    let mut cells = vec![format!("{:.0}", row.clock.0)];
    cells.extend(
        [row.lie, row.loft_held, row.face_held, row.loft_same_face, row.face_same_loft].into_iter().map(signed),
    );
    cells.push(if chosen == Some(row) { "best".to_owned() } else { String::new() });
    cells
}
