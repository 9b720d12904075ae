//! `study`: repeatability and reproducibility of an instrument, guided at the terminal through the running daemon.
//!
//! It says who lays which part on and never what was read before. An empty line says that the next person is at the bench
//! (scanning the card does the same); `back` takes the last reading back, `aside` sets the study aside, `off WHY` gives it up.

use std::io::BufRead as _;
use std::process::ExitCode;
use std::time::Duration;

use anyhow::{Context as _, bail};
use serde_json::json;
use tokio::sync::mpsc;

use super::access::{Access, Where};
use super::{print, runtime};
use crate::journal::event::parse;
use crate::journal::store::{BATCH, Reader};
use crate::measurement::study_result::Fitness;
use crate::output::study_command::USUAL;
use crate::output::study_view;
use crate::work_order::event::{Change, Event};
use crate::work_order::state::State;
use crate::work_order::study::Study;
use crate::work_order::study_plan::StudyStage;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The instrument's id
    instrument: String,
    #[command(flatten)]
    place: Where,
    /// For which characteristic, such as swing_weight; needed on a beam or gauge
    #[arg(long)]
    characteristic: Option<String>,
    /// How many parts
    #[arg(long, default_value_t = USUAL.0)]
    parts: usize,
    /// Who measures, as on the cards; give it for each person
    #[arg(long = "by", default_values = ["A", "B", "C"])]
    people: Vec<String>,
    /// How often each person measures each part
    #[arg(long, default_value_t = USUAL.1)]
    trials: usize,
    /// Against which tolerance, such as "203 g ± 2 g"
    #[arg(long)]
    tolerance: Option<String>,
    /// Takes the tolerance from the open order
    #[arg(long, conflicts_with = "tolerance")]
    tolerance_of_order: bool,
    /// Only shows what the last finished study of the instrument found
    #[arg(long)]
    result: bool,
    /// The result as JSON
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let access = arguments.place.access()?;
    runtime()?.block_on(async {
        if arguments.result {
            let (_, state) = access.at_hand().await?;
            let finished = |s: &&Study| s.stage == StudyStage::Finished && s.plan.instrument == arguments.instrument;
            let study = state.studies.list.iter().rfind(finished);
            let study = study.with_context(|| format!("no study of {} is finished", arguments.instrument))?;
            return report(&state, study, arguments.json);
        }
        access.must_run()?;
        let (journal, state) = access.at_hand().await?;
        let mut guide = Guide { access, journal, state };
        let study = guide.begin(&arguments).await?;
        guide.follow(&study, arguments.json).await
    })
}

/// The bench as its journal tells it, kept up to date.
struct Guide {
    access: Access,
    journal: Reader,
    state: State,
}

/// Time between two looks at the journal.
const LOOK: Duration = Duration::from_millis(100);
/// Lines of the person at the terminal that wait to be read; when it is full the reading thread waits.
const LINES: usize = 8;

impl Guide {
    /// Takes in what happened since, at most a batch.
    async fn events(&mut self) -> anyhow::Result<Vec<Event>> {
        let rows = self.journal.after(self.state.seq, BATCH).await?;
        let events = rows.iter().map(|row| parse(&row.body)).collect::<Result<Vec<Event>, _>>()?;
        events.iter().for_each(|event| self.state.apply(event));
        Ok(events)
    }

    fn under_way(&self, instrument: &str) -> Option<&Study> {
        self.state.studies.list.iter().find(|study| study.is_under_way() && study.plan.instrument == instrument)
    }

    fn study(&self, name: &str) -> anyhow::Result<&Study> {
        self.state.studies.get(name).with_context(|| format!("study {name} is not in the journal"))
    }

    /// Begins a study, or goes on with the one that is under way; its name.
    async fn begin(&mut self, arguments: &Arguments) -> anyhow::Result<String> {
        let instrument = &arguments.instrument;
        if let Some(study) = self.under_way(instrument) {
            let name = study.plan.study.clone();
            print::say(&format!("study {name} of {instrument} is under way and goes on; it keeps its plan"));
            self.access.command(&json!({"command": "study_resume", "study": name})).await?;
            return Ok(name);
        }
        let mut command = json!({"command": "study_begin", "instrument": instrument, "parts": arguments.parts,
            "people": arguments.people, "trials": arguments.trials, "tolerance_of_order": arguments.tolerance_of_order});
        for (key, value) in [("characteristic", &arguments.characteristic), ("tolerance", &arguments.tolerance)] {
            if let (Some(value), Some(fields)) = (value, command.as_object_mut()) {
                fields.insert(key.to_owned(), json!(value));
            }
        }
        self.access.command(&command).await?;
        // The command is answered once its event is on disk.
        while !self.events().await?.is_empty() {}
        let study = self.under_way(instrument).context("the study was begun and is not in the journal")?;
        let resolution = study_view::resolution(&self.state, instrument);
        for warning in study.plan.warnings(resolution) {
            print::say(&warning);
        }
        print::say(
            "an empty line when the next person is at the bench; \"back\" takes the last reading back, \"aside\" sets the study aside, \"off WHY\" gives it up",
        );
        Ok(study.plan.study.clone())
    }

    /// Says what comes next until the study ends or is set aside.
    async fn follow(&mut self, name: &str, as_json: bool) -> anyhow::Result<ExitCode> {
        let mut lines = lines();
        let (mut said, mut heard) = (String::new(), true);
        loop {
            for event in self.events().await? {
                // What comes next is said again behind every news: it may be what was said before.
                if self.tell(name, &event)? {
                    said.clear();
                }
            }
            let study = self.study(name)?;
            match study.stage {
                StudyStage::Finished => return report(&self.state, study, as_json),
                StudyStage::Aside => {
                    print::say(&format!("study {name} is set aside; the same command goes on with it"));
                    return Ok(ExitCode::SUCCESS);
                }
                StudyStage::BrokenOff => {
                    print::say(&format!("study {name} is given up: {}", study.why.as_deref().unwrap_or("no reason")));
                    return Ok(ExitCode::FAILURE);
                }
                StudyStage::Open => {
                    let words = study.next_words(self.state.operator.as_deref()).unwrap_or_default();
                    if words != said {
                        print::say(&words);
                        said = words;
                    }
                }
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK) => {}
                line = lines.recv(), if heard => match line {
                    Some(line) => self.answer(name, line.trim()).await?,
                    // Nobody types; cards and the page still work.
                    None => heard = false,
                },
                // The next placement must not be taken for a part of the study.
                _ = tokio::signal::ctrl_c() => {
                    self.access.command(&json!({"command": "study_set_aside", "study": name})).await?;
                    bail!("interrupted; study {name} is set aside, the same command goes on with it");
                }
            }
        }
    }

    /// Says what happened to the study; whether anything did.
    fn tell(&self, name: &str, event: &Event) -> anyhow::Result<bool> {
        let study = self.study(name)?;
        match &event.change {
            Change::StudyRead(value) if value.study == name => {
                let (done, of) = (study.done(), study.order.len());
                print::say(&format!("  part {} by {}: read ({done} of {of})", value.part, value.person));
            }
            Change::ReadingUnfiled { reading, reason, .. }
                if self
                    .state
                    .capture_line(*reading)
                    .is_some_and(|line| line.captured.instrument == study.plan.instrument) =>
            {
                print::say(&format!("  {reason}"));
            }
            Change::ReadingVoided { reading, .. }
                if self.state.studies.of_reading(*reading).is_some_and(|of| of.plan.study == name) =>
            {
                print::say("  the last reading is taken back");
            }
            _ => return Ok(false),
        }
        Ok(true)
    }

    /// What the person typed. A refusal is said and ends nothing.
    async fn answer(&self, name: &str, line: &str) -> anyhow::Result<()> {
        let study = self.study(name)?;
        let command = match line.split_once(' ').unwrap_or((line, "")) {
            ("", _) => match study.next().map(|(_, cell)| study.person(cell)) {
                Some(person) if self.state.operator.as_deref() != Some(person) => {
                    json!({"command": "operator", "operator": person})
                }
                _ => return Ok(()),
            },
            ("back", "") => json!({"command": "study_take_back", "study": name}),
            ("aside", "") => json!({"command": "study_set_aside", "study": name}),
            ("off", why) => json!({"command": "study_break_off", "study": name, "why": why}),
            _ => {
                print::say(&format!("\"{line}\" is none of: an empty line, back, aside, off WHY"));
                return Ok(());
            }
        };
        if let Err(error) = self.access.command(&command).await {
            print::say(&format!("{error:#}"));
        }
        Ok(())
    }
}

/// Lines from stdin, read by a thread of their own: a person thinks longer than the bench waits. The thread closes the
/// channel at the end of stdin.
fn lines() -> mpsc::Receiver<String> {
    let (out, lines) = mpsc::channel(LINES);
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if out.blocking_send(line).is_err() {
                return;
            }
        }
    });
    lines
}

/// The result on stdout; exit code 1 when the instrument is not good enough.
fn report(state: &State, study: &Study, as_json: bool) -> anyhow::Result<ExitCode> {
    let result = study.result().context("the study has no result")?;
    if as_json {
        let resolution = study_view::resolution(state, &study.plan.instrument);
        print::line(&study_view::whole(study, state.operator.as_deref(), resolution).to_string())?;
    } else {
        let (head, rows) = study_view::comparison(study, &result);
        print::line(&format!("study {} of {}", study.plan.study, study.plan.instrument))?;
        print::table(&head, &rows)?;
        for finding in study_view::findings(study, &result) {
            print::line(&finding)?;
        }
    }
    let not_enough = study_view::fitness(study, &result) == Some(Fitness::NotEnough);
    Ok(if not_enough { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}
