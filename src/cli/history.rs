//! `history`: what finished clubs say of the work, as a table, CSV or JSON.

use std::process::ExitCode;

use super::access::Where;
use super::records::time;
use super::{print, runtime};
use crate::output::drawer_view::low_stock;
use crate::output::history_view::{self, DurationsView, HistoryView, ShareView};
use crate::output::text::duration;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Clubs finished since then: a day of the workshop such as 2026-11-26, or a time (RFC 3339)
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// Clubs finished until then; a day counts whole
    #[arg(long, value_name = "DAY")]
    until: Option<String>,
    /// csv (RFC 4180) or json instead of tables
    #[arg(long = "as", value_enum)]
    format: Option<Format>,
    /// The most clubs; the ones worked on last
    #[arg(long, default_value_t = 2000)]
    limit: u32,
    #[command(flatten)]
    place: Where,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    Csv,
    Json,
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    let zone = access.zone();
    let since = arguments.since.as_deref().map(|text| time(text, false, &zone)).transpose()?;
    let until = arguments.until.as_deref().map(|text| time(text, true, &zone)).transpose()?;
    let history = runtime()?.block_on(async {
        let (reader, state) = access.at_hand().await?;
        anyhow::Ok(history_view::find(&reader, low_stock(&state), (since, until), arguments.limit).await?)
    })?;
    match arguments.format {
        Some(Format::Json) => print::line(&serde_json::to_string(&history)?)?,
        Some(Format::Csv) => print::bytes(history_view::csv(&history)?.as_bytes())?,
        None => tables(&history)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn tables(history: &HistoryView) -> anyhow::Result<()> {
    if history.more {
        print::say("only the clubs worked on last; --limit takes more");
    }
    if history.retired > 0 {
        print::say(&format!(
            "without {} clubs whose records were retired from this journal; `records list` says where they are",
            history.retired
        ));
    }
    if history.clubs == 0 {
        print::say("no club was finished in that time, so there is nothing to say of it yet");
        return Ok(());
    }
    let pass = history.first_pass.map(|pass| format!(", right the first time {}", share(pass))).unwrap_or_default();
    print::line(&format!("{} clubs finished{pass}", history.clubs))?;
    let row = |what: &str, took: DurationsView| {
        vec![
            what.to_owned(),
            took.count.to_string(),
            duration(took.median_s),
            duration(took.shortest_s),
            duration(took.longest_s),
        ]
    };
    let mut rows: Vec<Vec<String>> = history.steps.iter().map(|step| row(step.label, step.took)).collect();
    rows.extend(history.club.map(|took| row("whole club", took)));
    print::table(&["time in hand (a cure or rest: waited for)", "times", "median", "shortest", "longest"], &rows)?;
    let within = |number: Option<f64>, pair: Option<[f64; 2]>| match (number, pair) {
        (Some(number), Some([low, high])) => format!("{number:.2} ({low:.2} to {high:.2})"),
        _ => String::new(),
    };
    let rows: Vec<Vec<String>> = history
        .distributions
        .iter()
        .map(|found| {
            let small = |number: Option<f64>| number.map(|number| format!("{number:+.3}")).unwrap_or_default();
            vec![
                found.label.to_owned(),
                found.instrument.clone(),
                found.count.to_string(),
                share(found.first_pass),
                small(found.mean),
                small(found.sd).trim_start_matches('+').to_owned(),
                within(found.cp, found.cp_within),
                within(found.cpk, found.cpk_within),
                found.beyond.len().to_string(),
                found.remark.clone(),
            ]
        })
        .collect();
    let head =
        ["first results", "on", "n", "first pass", "mean deviation", "s", "Cp (95 %)", "Cpk (95 %)", "beyond", ""];
    print::table(&head, &rows)?;
    for line in &history.low {
        print::line(&format!("low stock: {} {} left", line.left, line.item))?;
    }
    Ok(())
}

fn share(pass: ShareView) -> String {
    match pass.within {
        Some([low, high]) => {
            format!("{} of {} (95 %: {:.0} to {:.0} %)", pass.good, pass.all, 100.0 * low, 100.0 * high)
        }
        None => String::new(),
    }
}
