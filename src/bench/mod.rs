//! The bench task and everything it talks to: the only module that knows all others.
//!
//! One task owns all state. Ports and commands send to it; it decides ([`core`]), stores, and only then shows.

pub mod channel;
pub mod core;
mod measuring;
mod messages;
pub mod playback;
mod printed_lines;
pub mod recall;
pub mod recorded;
pub mod recording;
pub mod show;
mod zero_words;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tracing::{error, info, warn};

use self::core::{Core, Input, Outcome};
use self::recorded::Header;
use self::recording::Recorder;
use self::show::Show;
use crate::clock::Clock;
use crate::config::bench_file::{BenchSettings, LengthUnit};
use crate::instrument::attachment;
use crate::instrument::port::{PortMessage, PortSettings};
use crate::journal::lock::{BenchLock, LockError};
use crate::journal::store::{Journal, JournalError, Reader};
use crate::output::command::{self, CommandRequest, Question};
use crate::output::text::Lengths;
use crate::output::view::{Banner, Snapshot};
use crate::output::web::{self, Web};
use crate::work_order::event::Event;

/// Frames and port states on their way to the bench. Senders: the port tasks; they close it by ending. When it is
/// full the ports wait and the kernel keeps the bytes.
const INBOX: usize = 1024;
/// Commands on their way to the bench. Senders: web and MQTT; when it is full they wait.
const COMMANDS: usize = 64;
/// Questions to the bench. Senders: web and MQTT; when it is full they wait.
const QUESTIONS: usize = 64;
/// How long everything has to end in order.
const GRACE: Duration = Duration::from_secs(5);
/// Time between two beats without news, in the world's time: shows that the bench is alive.
const BEAT: Duration = Duration::from_millis(250);
/// Wait before a failed write is tried again.
const RETRY: Duration = Duration::from_millis(500);

/// Why a bench did not start or did not end in order.
#[derive(Debug, thiserror::Error)]
pub enum BenchError {
    /// The data folder is in use or unusable.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// The journal failed.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The page's address is taken.
    #[error("{address} cannot be listened on; another program uses it, or it is not an address of this machine")]
    Listen {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        source: std::io::Error,
    },
    /// The embedded broker did not start.
    #[error("the embedded broker did not start on {address}: {reason}")]
    Broker {
        /// The address.
        address: SocketAddr,
        /// Why.
        reason: String,
    },
    /// The recording cannot begin.
    #[error("a recording cannot be begun in {folder}; choose a folder that can be written, or run without --record")]
    Recording {
        /// The folder of recordings.
        folder: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file of the data folder failed.
    #[error("{file} cannot be read or written")]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

/// A bench that has started.
#[derive(Debug, Clone)]
pub struct Started {
    /// Where the page is.
    pub address: SocketAddr,
    /// Where messages go, if anywhere.
    pub broker: Option<String>,
    /// The live state.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// To give commands.
    pub commands: mpsc::Sender<CommandRequest>,
    /// To ask about the folded journal.
    pub questions: mpsc::Sender<Question>,
    /// The journal.
    pub journal: Reader,
}

/// Runs a bench until `stop`; `ready` hears when it has started.
///
/// # Errors
/// When it cannot start, or cannot store its last events.
pub async fn run(
    settings: BenchSettings,
    clock: Clock,
    ready: oneshot::Sender<Started>,
    stop: CancellationToken,
) -> Result<(), BenchError> {
    let mut lock = BenchLock::take(&settings.data)?;
    let token = bench_token(&settings.data)?;
    // A start that fails leaves nothing in the journal, so the address is taken before anything is stored.
    let address = settings.http.listen;
    let listener = TcpListener::bind(address).await.map_err(|source| BenchError::Listen { address, source })?;
    let address = listener.local_addr().map_err(|source| BenchError::Listen { address, source })?;
    let journal = Journal::open(&settings.data, &settings.bench, random_epoch()).await?;
    let index_was_damaged = journal.index_was_damaged();
    let state = journal.reader().at_hand().await?;
    let epoch = journal.reader().epoch();
    let (before, start, clock_synchronised) = (state.seq, clock.now(), clock_is_synchronised());
    let recorder = match &settings.recording {
        Some(to) => {
            let header = Header {
                named_files: to.named_files.clone(),
                ..Header::new(&to.configuration, epoch, before, start, clock_synchronised)
            };
            Some(recording::begin(to, &header, &journal.reader()).await?)
        }
        None => None,
    };
    let (core, first) = Core::start(&settings, state, epoch, start, clock_synchronised);
    let lengths = lengths(&settings);
    let show = Show::new(&core, lengths);
    let (commands_in, commands) = mpsc::channel(COMMANDS);
    let (questions_in, questions) = mpsc::channel(QUESTIONS);
    let (inbox_in, inbox) = mpsc::channel(INBOX);
    let (journal_trouble, journal_trouble_seen) = watch::channel(None);
    let mut desk = Desk { core, show, journal, clock, journal_trouble, snapshots: watch::Sender::default(), recorder };
    let mut snapshots = desk.snapshots.subscribe();
    desk.publish();

    let tasks = TaskTracker::new();
    // Ports end first, followers last: each sees the data of the ones before.
    let ports_stop = stop.child_token();
    let followers_stop = CancellationToken::new();
    let instruments = settings.instruments.iter().enumerate().map(|(instrument, settings)| {
        let (attachment, path) = (settings.attachment.clone(), settings.port.clone());
        PortSettings { instrument, attachment, path, format: Arc::new(settings.format.clone()) }
    });
    let ports: Vec<PortSettings> = instruments.collect();

    let lock_file = settings.data.join("bench.lock");
    lock.say(Some(address.to_string()), Some(token.clone()))
        .map_err(|source| BenchError::File { file: lock_file, source })?;
    snapshots.mark_unchanged();
    let started = Started {
        address,
        broker: None,
        snapshots,
        commands: commands_in.clone(),
        questions: questions_in.clone(),
        journal: desk.journal.reader(),
    };
    let (broker, broker_trouble) =
        messages::start(&settings, &started, clock, lengths, &tasks, &followers_stop).await?;
    let web = Web {
        site: settings.site.clone(),
        bench: settings.bench.clone(),
        hosts: Arc::new(settings.http.hosts.clone()),
        url: settings.http.url.clone(),
        token: Arc::new(token),
        snapshots: started.snapshots.clone(),
        journal_trouble: journal_trouble_seen,
        broker_trouble,
        index_was_damaged,
        journal: started.journal.clone(),
        commands: commands_in,
        questions: questions_in,
        planner: Arc::default(),
        lengths,
        zone: settings.zone(),
        clock,
    };
    let web_stop = followers_stop.clone();
    tasks.spawn(async move {
        if let Err(source) = web::serve(listener, web, web_stop).await {
            error!(%source, "the page is not served any more");
        }
    });
    // The page is up by now: a full disk at the start is told there, too.
    desk.store(first, &stop).await?;
    for port in ports {
        tasks.spawn(attachment::run(port, clock, inbox_in.clone(), ports_stop.clone()));
    }
    drop(inbox_in);
    info!(%address, "bench started");
    // Whoever waits for the start may have gone; the bench runs all the same.
    let _gone = ready.send(Started { broker, ..started });

    let result = desk.work(inbox, commands, questions, &stop).await;
    followers_stop.cancel();
    tasks.close();
    if timeout(GRACE, tasks.wait()).await.is_err() {
        warn!(left = tasks.len(), "tasks did not end within the grace period");
    }
    desk.journal.close().await;
    info!("bench stopped");
    result
}

/// How the settings want lengths shown.
#[must_use]
pub fn lengths(settings: &BenchSettings) -> Lengths {
    match settings.length_unit {
        LengthUnit::Inch => Lengths::Inches,
        LengthUnit::Millimetre => Lengths::Millimetres,
    }
}

/// The one task that owns all state.
struct Desk {
    core: Core,
    show: Show,
    journal: Journal,
    clock: Clock,
    journal_trouble: watch::Sender<Option<Banner>>,
    snapshots: watch::Sender<Arc<Snapshot>>,
    recorder: Option<Recorder>,
}

impl Desk {
    async fn work(
        &mut self,
        mut inbox: mpsc::Receiver<PortMessage>,
        mut commands: mpsc::Receiver<CommandRequest>,
        mut questions: mpsc::Receiver<Question>,
        stop: &CancellationToken,
    ) -> Result<(), BenchError> {
        let mut beat = interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut ports_open = true;
        loop {
            tokio::select! {
                message = inbox.recv(), if ports_open => match message {
                    Some(message) => self.port(message, stop).await?,
                    None => ports_open = false,
                },
                Some(request) = commands.recv() => self.command(request, stop).await?,
                Some(question) = questions.recv() => question(&self.core.state),
                _ = beat.tick() => self.publish(),
                () = stop.cancelled() => break,
            }
        }
        // The ports are stopping and drop their senders; what they have sent still counts.
        while let Ok(Some(message)) = timeout(GRACE, inbox.recv()).await {
            self.port(message, stop).await?;
        }
        let now = self.clock.now();
        let last = self.core.end(now);
        self.store(last, stop).await?;
        if let Some(recorder) = self.recorder.take() {
            recorder.end(now, GRACE).await;
        }
        Ok(())
    }

    async fn port(&mut self, message: PortMessage, stop: &CancellationToken) -> Result<(), BenchError> {
        let instrument = message.instrument;
        if let Some(recorder) = &mut self.recorder {
            recorder.port(&message);
        }
        if let Err(error) = recall::for_message(&mut self.core, &self.journal.reader(), &message).await {
            error!(%error, "what was scanned could not be looked up");
        }
        let outcome = self.core.step(Input::Port(message));
        if outcome.events.is_empty() {
            self.show.refresh_instrument(&self.core, instrument);
            self.publish();
            Ok(())
        } else {
            self.store(outcome, stop).await
        }
    }

    async fn command(&mut self, request: CommandRequest, stop: &CancellationToken) -> Result<(), BenchError> {
        let CommandRequest { json, reply } = request;
        let answer = match command::parse(&json) {
            Ok(command) => {
                let looked_up = recall::for_command(&mut self.core.state, &self.journal.reader(), &command).await;
                if let Err(error) = looked_up {
                    // Whoever asked may have left; nothing was done.
                    let _gone = reply.send(Err(error.to_string()));
                    return Ok(());
                }
                let stamp = self.clock.now();
                if let Some(recorder) = &mut self.recorder {
                    recorder.command(stamp, &json);
                }
                let mut outcome = self.core.step(Input::Command { stamp, command });
                let (refused, mut said) = (outcome.refused.take(), std::mem::take(&mut outcome.said));
                said.extend(command::import_remarks(&json));
                self.store(outcome, stop).await?;
                refused.map_or(Ok(said), |refusal| Err(refusal.0))
            }
            Err(reason) => Err(reason),
        };
        // Whoever asked may have left; the command is done all the same.
        let _gone = reply.send(answer);
        Ok(())
    }

    /// Stores an outcome, then takes it into the state, then shows it. A failed write is tried again until it
    /// succeeds: measuring stops meanwhile, and the page says why.
    async fn store(&mut self, outcome: Outcome, stop: &CancellationToken) -> Result<(), BenchError> {
        let Outcome { events, evidence, .. } = outcome;
        while let Err(error) = self.journal.append(&events, &evidence).await {
            let cause = std::error::Error::source(&error).map(ToString::to_string);
            error!(%error, cause, "journal write failed");
            self.journal_trouble.send_replace(Some(Banner {
                level: "fault",
                text: "the journal cannot be written, so nothing is captured".to_owned(),
                remedy: "free space on the disk or check it; the bench goes on by itself".to_owned(),
            }));
            if stop.is_cancelled() {
                return Err(error.into());
            }
            // What was stored stays shown, with the banner: the page must not take the bench for dead.
            self.publish();
            sleep(RETRY).await;
        }
        self.journal_trouble.send_if_modified(|trouble| trouble.take().is_some());
        self.log(&events);
        self.core.commit(&events);
        self.show.refresh_all(&self.core);
        self.publish();
        Ok(())
    }

    fn log(&self, events: &[Event]) {
        for event in events {
            tracing::debug!(seq = event.seq, kind = event.change.kind(), "stored");
        }
    }

    fn publish(&mut self) {
        let recording = self.recorder.as_ref().and_then(Recorder::trouble);
        let snapshot = self.show.snapshot(&self.core, self.clock.now(), recording);
        self.snapshots.send_replace(Arc::new(snapshot));
    }
}

/// The token that allows writing from another machine; drawn once for a data folder.
fn bench_token(folder: &Path) -> Result<String, BenchError> {
    use std::io::Write as _;
    use std::os::unix::fs::OpenOptionsExt as _;
    let file = folder.join("bench.token");
    let failed = |source| BenchError::File { file: file.clone(), source };
    if let Ok(token) = std::fs::read_to_string(&file)
        && token.trim().len() >= 32
    {
        return Ok(token.trim().to_owned());
    }
    let token = uuid::Uuid::new_v4().simple().to_string();
    let mut open = std::fs::OpenOptions::new();
    open.write(true).create(true).truncate(true).mode(0o600);
    open.open(&file).and_then(|mut opened| opened.write_all(token.as_bytes())).map_err(failed)?;
    Ok(token)
}

/// A number for a new journal.
#[must_use]
pub fn random_epoch() -> u64 {
    u64::try_from(uuid::Uuid::new_v4().as_u128() & 0x0000_ffff_ffff_ffff).unwrap_or(1)
}

/// Whether the system says that its clock is synchronised. Elsewhere than under systemd it says nothing.
fn clock_is_synchronised() -> bool {
    Path::new("/run/systemd/timesync/synchronized").exists()
}
