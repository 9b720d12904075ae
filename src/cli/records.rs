//! `records`: build records listed, shown, exported, verified; values typed and taken back.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use jiff::tz::TimeZone;
use serde_json::json;

use super::access::{Access, Where};
use super::retire::{self, RetireArguments, SealArguments};
use super::segments::{self, Segments};
use super::{backup, export, marks, print, record_text, runtime, verify};
use crate::journal::archive::Search;
use crate::journal::damage::Unreadable;
use crate::journal::sound::{self, Damage};
use crate::journal::store::{JournalError, Reader};
use crate::output::lists::record_list;
use crate::output::record::{Record, SCHEMA};
use crate::output::times::{day, given};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Clubs: all of them, or those of an order, a player, a part's lot, a time, or out of their limits
    List {
        #[command(flatten)]
        which: Which,
        /// The most clubs; the ones worked on last
        #[arg(long, default_value_t = 1000)]
        limit: u32,
        /// One JSON document instead of a table
        #[arg(long)]
        json: bool,
    },
    /// The record of one club
    Show {
        /// The club's id, such as W-1042/1
        club: String,
        /// Folder with segments that were retired; else they are looked for in the data folder
        #[arg(long, value_name = "DIR")]
        segments: Option<PathBuf>,
        /// JSON instead of a table
        #[arg(long)]
        json: bool,
    },
    /// A value typed by hand, marked so
    Enter {
        /// The club's id
        club: String,
        /// What was measured, such as length
        characteristic: String,
        /// The value with its unit, such as "45 1/4 in" or "-0.5 deg"
        #[arg(allow_hyphen_values = true)]
        quantity: String,
    },
    /// Says how far loft or lie was bent, so that what springs back is learnt when it is measured again
    Bend {
        /// The club's id
        club: String,
        /// loft or lie
        characteristic: String,
        /// How far the lever went, such as "1.5 deg upright", "1 deg flat", "1 deg weaker", "0.5 deg stronger"; "-1 deg" is
        /// flat or stronger
        #[arg(allow_hyphen_values = true)]
        quantity: String,
    },
    /// Where the shaft of a club is cut, and whether a second measurement agrees
    Marks {
        /// The club's id
        club: String,
        /// JSON instead of words
        #[arg(long)]
        json: bool,
    },
    /// The second measurement of a cut mark
    Confirm {
        /// The club's id
        club: String,
        /// tip or butt
        mark: String,
        /// What was measured, such as "961.2 mm"
        quantity: Option<String>,
        /// The event of a length of the uncut club, instead of a typed value
        #[arg(long, conflicts_with = "quantity")]
        reading: Option<String>,
    },
    /// Lets a mark be cut although no second measurement agrees, or hands a club over although something is open
    Override {
        /// The club's id
        club: String,
        /// tip or butt, or hand-over
        what: String,
        /// Who answers for it
        #[arg(long)]
        by: String,
        /// The reason
        #[arg(long)]
        why: String,
    },
    /// Takes a reading, a typed value or a bend back; it stays in the journal
    Void {
        /// The event, as shown in the record
        event: String,
        /// The reason
        #[arg(long)]
        why: String,
    },
    /// All records as files
    Export(export::Arguments),
    /// The published JSON Schema of a record
    Schema,
    /// Makes the index of the journal again, while no daemon runs
    Reindex,
    /// Writes the oldest part of the journal into a file of its own and proves it; the journal is not touched
    Seal(SealArguments),
    /// Takes orders that are over and in a sealed file out of the journal, by an event; what is still needed stays
    Retire(RetireArguments),
    /// Recomputes every number from the stored raw bytes and checks the chain
    Verify {
        /// Folder with segments that were retired; else they are looked for in the data folder
        #[arg(long, value_name = "DIR")]
        segments: Option<PathBuf>,
        /// A sealed file by itself, with its manifest beside it, instead of the journal
        #[arg(long, value_name = "FILE", conflicts_with_all = ["segments", "json"])]
        file: Option<PathBuf>,
        /// One JSON document instead of words
        #[arg(long)]
        json: bool,
    },
}

/// Which clubs are meant.
#[derive(clap::Args)]
pub(super) struct Which {
    /// Clubs of this order
    #[arg(long, value_name = "NUMBER")]
    order: Option<String>,
    /// Clubs of orders with this reference for the player
    #[arg(long, value_name = "REFERENCE")]
    player: Option<String>,
    /// Clubs that hold a part of this lot, serial, item or stock number, or were bonded with this batch or lot
    #[arg(long)]
    lot: Option<String>,
    /// This club, by its id or token
    #[arg(long)]
    club: Option<String>,
    /// Clubs worked on since then: a day of the workshop such as 2026-11-26, or a time (RFC 3339)
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// Clubs worked on last until then; a day counts whole
    #[arg(long, value_name = "DAY")]
    until: Option<String>,
    /// Clubs that are outside their limits as they stand: what a weight or a bend has put right does not count
    #[arg(long)]
    out_of_tolerance: bool,
}

impl Which {
    pub(super) fn search(&self, limit: u32, zone: &TimeZone) -> anyhow::Result<Search> {
        Ok(Search {
            order: self.order.clone(),
            player: self.player.clone(),
            lot: self.lot.clone(),
            club: self.club.clone(),
            since_us: self.since.as_deref().map(|text| time(text, false, zone)).transpose()?,
            until_us: self.until.as_deref().map(|text| time(text, true, zone)).transpose()?,
            out: self.out_of_tolerance,
            limit,
        })
    }
}

/// A day or a time in microseconds since 1970 UTC; of a day of the workshop its beginning, or its end.
pub(super) fn time(text: &str, end: bool, zone: &TimeZone) -> anyhow::Result<i64> {
    given(text, end, zone)
        .with_context(|| format!("\"{text}\" is not a day such as 2026-11-26 or a time such as 2026-11-26T14:30:00Z"))
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    if matches!(arguments.action, Action::Schema) {
        print::line(SCHEMA.trim_end())?;
        return Ok(ExitCode::SUCCESS);
    }
    if let Action::Verify { file: Some(file), .. } = &arguments.action {
        return runtime()?.block_on(segments::verify_file(file));
    }
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        match arguments.action {
            Action::List { which, limit, json } => {
                let search = which.search(limit, &access.zone())?;
                return reading(&access, async |reader| list(reader, &search, json, &access.zone()).await).await;
            }
            Action::Show { club, segments, json } => {
                let segments = Segments { access: &access, folder: segments.as_deref() };
                return reading(&access, async |reader| show(&segments, reader, &club, json).await).await;
            }
            Action::Enter { club, characteristic, quantity } => {
                let command =
                    json!({"command": "enter", "club": club, "characteristic": characteristic, "quantity": quantity});
                let said = access.asked(&command).await?;
                print::line(&format!("{characteristic} of {club} is typed: {quantity}"))?;
                said.iter().try_for_each(|words| print::line(words))?;
            }
            Action::Bend { club, characteristic, quantity } => {
                let command =
                    json!({"command": "bend", "club": club, "characteristic": characteristic, "quantity": quantity});
                access.command(&command).await?;
                print::line(&format!("{characteristic} of {club} was bent {quantity}: measure it again"))?;
            }
            Action::Marks { club, json } => marks::show(&access, &club, json).await?,
            Action::Confirm { club, mark, quantity, reading } => {
                marks::confirm(&access, &club, &mark, quantity.as_deref(), reading.as_deref()).await?;
            }
            Action::Override { club, what, by, why } => marks::answer_for(&access, &club, &what, &by, &why).await?,
            Action::Void { event, why } => {
                let said = access.asked(&json!({"command": "void", "event": event, "why": why})).await?;
                print::line(&format!("{event} is taken back"))?;
                said.iter().try_for_each(|words| print::line(words))?;
            }
            Action::Export(arguments) => {
                return reading(&access, async |reader| export::run(&access, reader, &arguments).await).await;
            }
            Action::Schema => {}
            Action::Reindex => backup::reindex(&access).await?,
            Action::Seal(arguments) => return retire::seal_segment(&access, &arguments).await,
            Action::Retire(arguments) => return retire::retire(&access, &arguments).await,
            Action::Verify { segments, json, file: _ } => return verify::run(&access, segments.as_deref(), json).await,
        }
        Ok(ExitCode::SUCCESS)
    })
}

/// Reads records; from a damaged journal what is whole of it, with the damage said and the answer no.
async fn reading(access: &Access, read: impl AsyncFn(&Reader) -> anyhow::Result<()>) -> anyhow::Result<ExitCode> {
    let mut sound = access.sound().await?;
    let mut done = read(&sound.reader).await;
    if sound.damage.is_none()
        && let Err(error) = &done
        && let Some(error) = error.downcast_ref::<JournalError>().filter(|error| sound::is_damage(error))
    {
        sound = sound::from_raw(sound.reader.file(), Unreadable::words(error)).await?;
        done = read(&sound.reader).await;
    }
    let Some(Damage { what, findings }) = &sound.damage else { return done.map(|()| ExitCode::SUCCESS) };
    let lost: Vec<String> = findings.lost.iter().map(ToString::to_string).collect();
    let lost = if lost.is_empty() {
        "no event is lost".to_owned()
    } else {
        format!("lost are the events {}", lost.join(", "))
    };
    print::say(&format!(
        "the journal is damaged: {what}\n{} events are whole and shown here, {lost}; `records verify` names everything, `salvage` makes a clean journal of it",
        findings.whole
    ));
    print::read_or_not(done).map(|()| ExitCode::FAILURE)
}

async fn list(reader: &Reader, search: &Search, as_json: bool, zone: &TimeZone) -> anyhow::Result<()> {
    let found = reader.search(search).await?;
    if as_json {
        return print::line(&record_list(&found).to_string());
    }
    if found.clubs.is_empty() {
        print::say("no club of this journal is meant by that; `records list` without anything shows the last ones");
    }
    let mut rows: Vec<Vec<String>> = Vec::new();
    for club in found.clubs {
        let out = club.is_out.then(|| "out of limits".to_owned());
        let notes: Vec<String> = out.into_iter().chain(club.segment.map(|file| format!("in {file}"))).collect();
        let day = day(club.last_us, zone);
        rows.push(vec![
            club.club,
            club.name,
            club.state.replace('_', " "),
            club.entries.to_string(),
            day,
            notes.join(", "),
        ]);
    }
    print::table(&["club", "name", "state", "values", "last", ""], &rows)?;
    if found.more {
        print::say(&format!("only the {} clubs worked on last; --limit shows more, or narrow the search", rows.len()));
    }
    Ok(())
}

async fn show(segments: &Segments<'_>, reader: &Reader, club: &str, as_json: bool) -> anyhow::Result<()> {
    let Some(found) = segments.club(reader, club).await? else {
        bail!("there is no club {club}; `records list` shows what there is");
    };
    let record = Record::of(&found, segments.access.lengths());
    if as_json {
        return print::line(&serde_json::to_string(&record)?);
    }
    record_text::show(&found.club, &record, segments.access.lengths(), &segments.access.zone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser as _;

    #[derive(clap::Parser)]
    struct Line {
        #[command(flatten)]
        arguments: Arguments,
    }

    #[test]
    fn a_value_below_zero_is_a_value_and_no_option() {
        for (line, expected) in [
            (["records", "bend", "W-1/1", "lie", "-1 deg", "--data", "."], "-1 deg"),
            (["records", "enter", "W-1/1", "face_angle", "-0.5 deg", "--data", "."], "-0.5 deg"),
        ] {
            let quantity = match Line::try_parse_from(line).map(|line| line.arguments.action) {
                Ok(Action::Bend { quantity, .. } | Action::Enter { quantity, .. }) => quantity,
                Ok(_) => "another command".to_owned(),
                Err(error) => error.to_string(),
            };
            assert_eq!(quantity, expected);
        }
    }
}
