//! `replay --session`: a recorded session through the bench's core, into a journal of its own.
//!
//! In: a folder written by `run --record`. Out: the events as the bench stored them, one canonical JSON a line, or a
//! new journal in a folder; on request compared, byte for byte, with the journal of that day. Exit code 0: played to the
//! end and equal; 1: a difference, or it cannot be played to the end; 2: the folders are not usable.

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, ensure};

use super::print;
use crate::bench::core::Outcome;
use crate::bench::playback::Playback;
use crate::bench::recorded::{BEFORE_FILE, HEADER_FILE, Header};
use crate::bench::recording::{inputs_files, sessions};
use crate::config::bench_file::{BenchSettings, read_bench_with};
use crate::config::named_files::NamedFiles;
use crate::journal::event;
use crate::journal::store::{Journal, Reader};
use crate::work_order::event::Event;
use crate::work_order::state::State;

/// A recorded session that has been opened.
pub(super) struct Session {
    pub(super) folder: PathBuf,
    pub(super) header: Header,
    pub(super) settings: BenchSettings,
}

impl Session {
    /// Opens a session, or the newest one of a folder of recordings.
    pub(super) fn open(given: &Path) -> anyhow::Result<Self> {
        let newest =
            if given.join(HEADER_FILE).exists() { None } else { sessions(given).ok().and_then(|mut all| all.pop()) };
        let folder = newest.unwrap_or_else(|| given.to_owned());
        let file = folder.join(HEADER_FILE);
        let text = fs::read(&file)
            .with_context(|| format!("{} is no recording: {} cannot be read", given.display(), file.display()))?;
        let header: Header =
            serde_json::from_slice(&text).with_context(|| format!("{} is not readable", file.display()))?;
        let files = NamedFiles::kept(header.named_files.clone());
        let settings = read_bench_with("configuration of the recording", &header.configuration, &files)
            .map_err(|mistakes| anyhow::anyhow!("the configuration of the recording has mistakes:\n{mistakes}"))?;
        Ok(Self { folder, header, settings })
    }

    /// The lines of all inputs in order. A last line that was cut off, as by a power cut, is left out.
    pub(super) fn lines(&self) -> anyhow::Result<impl Iterator<Item = anyhow::Result<String>> + use<>> {
        let files = inputs_files(&self.folder).with_context(|| format!("{} cannot be read", self.folder.display()))?;
        Ok(files.into_iter().flat_map(|file| {
            let mut opened = Some(File::open(&file).map(BufReader::new));
            std::iter::from_fn(move || {
                let line = match opened.as_mut()? {
                    Ok(reader) => whole_line(reader).map_err(anyhow::Error::from),
                    Err(_) => opened.take()?.map(|_| None).map_err(anyhow::Error::from),
                };
                line.with_context(|| format!("{} cannot be read", file.display())).transpose()
            })
        }))
    }
}

fn whole_line(reader: &mut impl BufRead) -> io::Result<Option<String>> {
    let mut line = String::new();
    reader.read_line(&mut line)?;
    Ok(line.strip_suffix('\n').map(str::to_owned))
}

/// Plays a session; `out` takes the new journal, `against` is the data folder to compare with.
pub(super) async fn run(session: &Path, out: Option<&Path>, against: Option<&Path>) -> anyhow::Result<ExitCode> {
    let session = Session::open(session)?;
    if session.header.program != env!("CARGO_PKG_VERSION") {
        print::say(&format!(
            "replay: recorded by version {}, played by {}; they may decide differently",
            session.header.program,
            env!("CARGO_PKG_VERSION")
        ));
    }
    let mut bench = session.settings.bench.clone();
    let against = match against {
        Some(folder) => Some(Reader::open(folder).await?),
        None => None,
    };
    let journal = match out {
        Some(folder) => {
            let taken = folder.join(crate::journal::store::FILE_NAME);
            ensure!(!taken.exists(), "{} is there already; give a new folder", taken.display());
            fs::create_dir_all(folder).with_context(|| format!("{} cannot be made", folder.display()))?;
            Some(Journal::open(folder, &bench, session.header.epoch).await?)
        }
        None => None,
    };
    if let Some(reader) = &against {
        reader.bench().clone_into(&mut bench);
    }
    let print_events = journal.is_none() && against.is_none();
    let mut sink = Sink { bench, journal, against, print_events, last_seq: 0, difference: None };
    let stopped = play(&session, &mut sink).await?;
    sink.tail(stopped.is_some()).await?;
    sink.finish(stopped.as_deref()).await
}

/// Plays all lines; why it stopped early, if it did.
async fn play(session: &Session, sink: &mut Sink) -> anyhow::Result<Option<String>> {
    let state = before(session, sink).await?;
    let (mut playback, first) = Playback::start(&session.header, &session.settings, state)?;
    sink.take(&first).await?;
    playback.commit(&first.events);
    let mut stopped = None;
    for line in session.lines()? {
        match playback.play(&line?) {
            Ok(outcome) => {
                sink.take(&outcome).await?;
                playback.commit(&outcome.events);
            }
            Err(error) => {
                stopped = Some(format!("{:#}", anyhow::Error::from(error)));
                break;
            }
        }
        if sink.difference.is_some() {
            break;
        }
    }
    print::say(&format!("replay: {} inputs played, {} events in the journal", playback.inputs(), sink.last_seq));
    if stopped.is_none() && sink.difference.is_none() && !playback.ended() {
        stopped = Some("the recording ends before the session did, as after a power cut".to_owned());
    }
    Ok(stopped)
}

/// The state the session began in, from the events before it, which go into the new journal, too.
async fn before(session: &Session, sink: &mut Sink) -> anyhow::Result<State> {
    let file = session.folder.join(BEFORE_FILE);
    let text = fs::read_to_string(&file).with_context(|| format!("{} cannot be read", file.display()))?;
    let mut state = State::default();
    for line in text.lines() {
        let event = event::parse(line).with_context(|| format!("{}: an event is not readable", file.display()))?;
        state.apply(&event);
        sink.take(&Outcome { events: vec![event], ..Outcome::default() }).await?;
    }
    let (found, expected) = (state.seq, session.header.before);
    ensure!(found == expected, "{} ends with event {found}, expected {expected}", file.display());
    Ok(state)
}

/// Where the events go: standard output, a journal, a comparison.
struct Sink {
    bench: String,
    journal: Option<Journal>,
    against: Option<Reader>,
    print_events: bool,
    last_seq: u64,
    difference: Option<String>,
}

impl Sink {
    async fn take(&mut self, outcome: &Outcome) -> anyhow::Result<()> {
        if let Some(journal) = &mut self.journal {
            journal.append(&outcome.events, &outcome.evidence).await?;
        }
        for event in &outcome.events {
            self.event(event).await?;
        }
        let Some(against) = &self.against else { return Ok(()) };
        for (sha256, content) in &outcome.evidence {
            if self.difference.is_none() && against.evidence(sha256).await?.as_ref() != Some(content) {
                self.difference = Some(format!("the raw bytes {sha256} are not in the journal as they were played"));
            }
        }
        Ok(())
    }

    async fn event(&mut self, event: &Event) -> anyhow::Result<()> {
        let body = event::canonical(event, &self.bench)?;
        self.last_seq = event.seq;
        if self.print_events {
            print::line(&body)?;
        }
        let Some(against) = self.against.as_ref().filter(|_| self.difference.is_none()) else { return Ok(()) };
        let rows = against.after(event.seq.saturating_sub(1), 1).await?;
        let stored = rows.first().filter(|row| row.seq == event.seq).map(|row| row.body.as_str());
        if stored != Some(body.as_str()) {
            self.difference =
                Some(format!("event {}\n  stored: {}\n  played: {body}", event.seq, stored.unwrap_or("nothing")));
        }
        Ok(())
    }

    /// Whether the journal holds more of the session than was played. Behind its end another session may follow.
    async fn tail(&mut self, stopped: bool) -> anyhow::Result<()> {
        let Some(against) = self.against.as_ref().filter(|_| self.difference.is_none() && stopped) else {
            return Ok(());
        };
        let rows = against.after(self.last_seq, 1).await?;
        if let Some(next) = rows.first().filter(|row| !row.body.contains(r#""kind":"session_started""#)) {
            self.difference = Some(format!("event {}\n  stored: {}\n  played: nothing", next.seq, next.body));
        }
        Ok(())
    }

    async fn finish(self, stopped: Option<&str>) -> anyhow::Result<ExitCode> {
        if let Some(journal) = self.journal {
            journal.close().await;
        }
        if let Some(why) = stopped {
            print::say(&format!("replay: not played to the end: {why}"));
        }
        match (&self.difference, &self.against) {
            (Some(difference), _) => print::say(&format!("replay: first difference: {difference}")),
            (None, Some(_)) => print::say("replay: the journal is equal, byte for byte, as far as it was played"),
            (None, None) => {}
        }
        let whole = stopped.is_none() && self.difference.is_none();
        Ok(if whole { ExitCode::SUCCESS } else { ExitCode::FAILURE })
    }
}
