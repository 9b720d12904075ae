//! Writes a session down while it runs: every input of the bench in order, bounded on disk, never in the bench's way.
//!
//! In: inputs, as the bench task takes them. Out: a folder `session-NNNN` with a header, the journal's events before
//! the session and rotated files of inputs. The bench hands each input to a thread through a bounded queue and goes on
//! at once; if the queue is full the recording says so in itself. Absent: reading, which is `playback`'s.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use tracing::{error, warn};

use super::BenchError;
use super::recorded::{BEFORE_FILE, HEADER_FILE, Header, Line, StampLine, What, inputs_file, is_inputs_file};
use crate::config::bench_file::RecordingSettings;
use crate::instrument::port::{PortEvent, PortMessage};
use crate::journal::store::{BATCH, Reader};
use crate::measurement::stamp::Stamp;
use crate::output::view::Banner;

/// Inputs on their way to the disk. Sender: the bench task; it closes by dropping the recorder. When it is full the
/// input is not recorded and the recording is marked broken. At 200 inputs a second this is 40 s of a stalled disk.
const QUEUE: usize = 8192;

/// Starts the recording of a session with the journal's events up to now.
///
/// # Errors
/// When the journal cannot be read or the folder cannot be written.
pub async fn begin(settings: &RecordingSettings, header: &Header, journal: &Reader) -> Result<Recorder, BenchError> {
    let mut before = Vec::new();
    let mut seq = 0;
    while seq < header.before {
        let rows = journal.after(seq, BATCH).await?;
        let Some(last) = rows.last() else { break };
        seq = last.seq;
        before.extend(rows.into_iter().map(|row| row.body));
    }
    Recorder::start(settings, header, &before)
        .map_err(|source| BenchError::Recording { folder: settings.folder.clone(), source })
}

/// The bench's end of a recording.
#[derive(Debug)]
pub struct Recorder {
    queue: SyncSender<(Stamp, What)>,
    writer: JoinHandle<()>,
    standing: Standing,
}

/// How the recording stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    Whole,
    /// So many inputs could not be handed over, and the recording does not say so yet.
    Losing(u64),
    /// The writer has given up.
    Ended,
}

impl Recorder {
    /// Starts a new session in the recordings' folder. `before` are the journal's events up to now.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn start(settings: &RecordingSettings, header: &Header, before: &[String]) -> io::Result<Self> {
        Self::start_with_queue(settings, header, before, QUEUE)
    }

    fn start_with_queue(
        settings: &RecordingSettings,
        header: &Header,
        before: &[String],
        queue: usize,
    ) -> io::Result<Self> {
        let session = new_session(&settings.folder)?;
        let mut file = BufWriter::new(File::create(session.join(BEFORE_FILE))?);
        for event in before {
            writeln!(file, "{event}")?;
        }
        file.flush()?;
        let shelf = Shelf { folder: settings.folder.clone(), most_files: settings.most_files.max(2) };
        let mut writer =
            Writer { session: session.clone(), shelf, most_bytes: settings.most_bytes, file: None, number: 0, n: 0 };
        writer.next_file()?;
        // The header last: a folder with a header is a recording that has begun.
        fs::write(session.join(HEADER_FILE), serde_json::to_vec_pretty(header)?)?;
        let (queue, inputs) = sync_channel(queue);
        let writer = std::thread::Builder::new().name("recording".to_owned()).spawn(move || writer.run(&inputs))?;
        Ok(Self { queue, writer, standing: Standing::Whole })
    }

    /// A port had something to say.
    pub fn port(&mut self, message: &PortMessage) {
        let i = message.instrument;
        let what = match &message.event {
            PortEvent::Frame(_, raw) => What::Frame { i, raw: raw.to_vec() },
            PortEvent::Refused { label, raw, .. } => What::Refused { i, label: (*label).to_owned(), raw: raw.to_vec() },
            PortEvent::Passed(raw) => What::Passed { i, raw: raw.to_vec() },
            PortEvent::Ready => What::Ready { i },
            PortEvent::Lost { reason } => What::Lost { i, reason: reason.clone() },
        };
        self.hand_over(message.stamp, what);
    }

    /// Somebody gave a command.
    pub fn command(&mut self, stamp: Stamp, json: &serde_json::Value) {
        self.hand_over(stamp, What::Command { json: json.clone() });
    }

    /// What a person at the bench should know of the recording.
    #[must_use]
    pub fn trouble(&self) -> Option<Banner> {
        let (text, remedy) = match self.standing {
            Standing::Whole => return None,
            Standing::Losing(_) => {
                ("the recording cannot keep up and has a gap", "measuring goes on; see what slows the disk down")
            }
            Standing::Ended => (
                "this session is not recorded any more",
                "measuring goes on; free space where the recordings are, then start the bench again",
            ),
        };
        Some(Banner { level: "warning", text: text.to_owned(), remedy: remedy.to_owned() })
    }

    /// The session ends in order; waits at most `grace` for what is left to be written.
    pub async fn end(self, stamp: Stamp, grace: Duration) {
        let writer = self.last(stamp);
        let written = tokio::task::spawn_blocking(move || writer.join().is_ok());
        if !matches!(tokio::time::timeout(grace, written).await, Ok(Ok(true))) {
            warn!("the end of the recording was not written in time");
        }
    }

    /// Hands the end over and closes the queue; returns the thread that writes what is left.
    fn last(mut self, stamp: Stamp) -> JoinHandle<()> {
        self.hand_over(stamp, What::End);
        self.writer
    }

    fn hand_over(&mut self, stamp: Stamp, what: What) {
        if let Standing::Losing(lost) = self.standing {
            self.standing = match self.queue.try_send((stamp, What::Broken { lost })) {
                Ok(()) => Standing::Whole,
                Err(TrySendError::Full(_)) => Standing::Losing(lost + 1),
                Err(TrySendError::Disconnected(_)) => Standing::Ended,
            };
        }
        if self.standing != Standing::Whole {
            return;
        }
        match self.queue.try_send((stamp, what)) {
            Ok(()) => {}
            Err(TrySendError::Full(_)) => {
                warn!("the recording cannot keep up and is broken here; measuring goes on");
                self.standing = Standing::Losing(1);
            }
            Err(TrySendError::Disconnected(_)) => self.standing = Standing::Ended,
        }
    }
}

/// The thread's end.
struct Writer {
    session: PathBuf,
    shelf: Shelf,
    most_bytes: u64,
    file: Option<(BufWriter<File>, u64)>,
    number: u32,
    n: u64,
}

impl Writer {
    fn run(mut self, inputs: &Receiver<(Stamp, What)>) {
        if let Err(error) = self.write_all(inputs) {
            error!(%error, folder = %self.session.display(), "the recording cannot be written and has ended; measuring goes on");
        }
    }

    fn write_all(&mut self, inputs: &Receiver<(Stamp, What)>) -> io::Result<()> {
        loop {
            let next = match inputs.try_recv() {
                Ok(next) => next,
                Err(TryRecvError::Disconnected) => return self.flush(),
                Err(TryRecvError::Empty) => {
                    // Nothing waits: what was written is worth having on disk now.
                    self.flush()?;
                    let Ok(next) = inputs.recv() else { return Ok(()) };
                    next
                }
            };
            self.line(next)?;
        }
    }

    fn line(&mut self, (stamp, what): (Stamp, What)) -> io::Result<()> {
        self.n += 1;
        let mut text = serde_json::to_vec(&Line { n: self.n, stamp: StampLine::from(stamp), what })?;
        text.push(b'\n');
        if self.file.as_ref().is_none_or(|(_, written)| *written >= self.most_bytes) {
            self.next_file()?;
        }
        if let Some((file, written)) = &mut self.file {
            file.write_all(&text)?;
            *written += u64::try_from(text.len()).unwrap_or(u64::MAX);
        }
        Ok(())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.as_mut().map_or(Ok(()), |(file, _)| file.flush())
    }

    fn next_file(&mut self) -> io::Result<()> {
        self.flush()?;
        self.shelf.make_room()?;
        self.number += 1;
        self.file = Some((BufWriter::new(File::create_new(self.session.join(inputs_file(self.number)))?), 0));
        Ok(())
    }
}

/// All sessions together take a bounded number of files; the oldest go.
struct Shelf {
    folder: PathBuf,
    most_files: usize,
}

impl Shelf {
    fn make_room(&self) -> io::Result<()> {
        let mut files = Vec::new();
        for session in sessions(&self.folder)? {
            files.extend(inputs_files(&session)?);
        }
        let surplus = (files.len() + 1).saturating_sub(self.most_files);
        for file in files.iter().take(surplus) {
            fs::remove_file(file)?;
            if let Some(session) = file.parent()
                && inputs_files(session)?.is_empty()
                && sessions(&self.folder)?.last().is_some_and(|newest| newest != session)
            {
                fs::remove_dir_all(session)?;
            }
        }
        Ok(())
    }
}

/// The sessions in a folder of recordings, oldest first.
///
/// # Errors
/// When the folder cannot be read.
pub fn sessions(folder: &Path) -> io::Result<Vec<PathBuf>> {
    listed(folder, |name| session_number(name).is_some())
}

/// The files of inputs of a session, oldest first.
///
/// # Errors
/// When the folder cannot be read.
pub fn inputs_files(session: &Path) -> io::Result<Vec<PathBuf>> {
    listed(session, is_inputs_file)
}

fn listed(folder: &Path, wanted: impl Fn(&str) -> bool) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name().to_str().is_some_and(&wanted) {
            found.push(entry.path());
        }
    }
    found.sort();
    Ok(found)
}

fn session_number(name: &str) -> Option<u32> {
    name.strip_prefix("session-")?.parse().ok()
}

fn new_session(folder: &Path) -> io::Result<PathBuf> {
    fs::create_dir_all(folder)?;
    let newest = sessions(folder)?.pop();
    let newest = newest.and_then(|path| session_number(path.file_name()?.to_str()?)).unwrap_or(0);
    let session = folder.join(format!("session-{:06}", newest + 1));
    fs::create_dir(&session)?;
    Ok(session)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> Header {
        Header::new("", 1, 0, Stamp::default(), false)
    }

    fn settings(folder: &Path, most_bytes: u64, most_files: usize) -> RecordingSettings {
        RecordingSettings {
            folder: folder.to_owned(),
            configuration: String::new(),
            named_files: Default::default(),
            most_bytes,
            most_files,
        }
    }

    fn scan(n: u64) -> serde_json::Value {
        serde_json::json!({ "command": "scan", "code": format!("code {n}") })
    }

    fn lines(session: &Path) -> Vec<Line> {
        let files = inputs_files(session).unwrap();
        let texts: Vec<String> = files.iter().map(|file| fs::read_to_string(file).unwrap()).collect();
        texts.iter().flat_map(|text| text.lines()).map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    #[test]
    fn inputs_stand_in_order_and_all_sessions_together_are_bounded() {
        let folder = tempfile::tempdir().unwrap();
        let settings = settings(folder.path(), 2000, 5);
        for _session in 0..3 {
            let mut recorder = Recorder::start(&settings, &header(), &["{}".to_owned()]).unwrap();
            for n in 0..100 {
                recorder.command(Stamp::default(), &scan(n));
            }
            recorder.last(Stamp::default()).join().unwrap();
            let session = sessions(folder.path()).unwrap().pop().unwrap();
            let lines = lines(&session);
            assert_eq!(lines.last().map(|line| (line.n, &line.what)), Some((101, &What::End)));
            assert!(lines.windows(2).all(|pair| pair[0].n + 1 == pair[1].n));
        }
        let sessions = sessions(folder.path()).unwrap();
        let files: usize = sessions.iter().map(|session| inputs_files(session).unwrap().len()).sum();
        assert_eq!(files, 5, "{sessions:?}");
        assert!(sessions.iter().all(|session| session.join(HEADER_FILE).exists()));
        assert!(!sessions.iter().any(|session| session.ends_with("session-000001")));
    }

    #[test]
    fn a_recording_that_cannot_go_on_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let mut recorder = Recorder::start(&settings(folder.path(), 1, 5), &header(), &[]).unwrap();
        fs::remove_dir_all(folder.path()).unwrap();
        for _ in 0..20_000 {
            if recorder.standing == Standing::Ended {
                break;
            }
            recorder.command(Stamp::default(), &scan(1));
            std::thread::sleep(Duration::from_millis(1));
        }
        assert!(recorder.trouble().unwrap().text.contains("not recorded any more"));
    }

    #[test]
    fn a_full_queue_never_waits_and_is_confessed_in_the_recording() {
        let folder = tempfile::tempdir().unwrap();
        let mut recorder = Recorder::start_with_queue(&settings(folder.path(), 1 << 20, 5), &header(), &[], 1).unwrap();
        let mut given = 0;
        while recorder.standing == Standing::Whole {
            recorder.command(Stamp::default(), &scan(given));
            given += 1;
        }
        assert!(recorder.trouble().is_some());
        while recorder.standing != Standing::Whole {
            std::thread::sleep(Duration::from_millis(1));
            recorder.command(Stamp::default(), &scan(given));
        }
        assert_eq!(recorder.trouble(), None);
        recorder.last(Stamp::default()).join().unwrap();
        let session = sessions(folder.path()).unwrap().pop().unwrap();
        let broken = lines(&session).iter().any(|line| matches!(line.what, What::Broken { lost } if lost > 0));
        assert!(broken);
    }
}
