//! `watch`: the live view in a terminal. Reads the daemon's live stream and the keys; draws; changes nothing on the bench.
//!
//! A stream that breaks, is silent or leaves something out is opened anew: the daemon sends the whole state at each connect.

use std::io::IsTerminal as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

use anyhow::{Context as _, bail};
use crossterm::event::{Event, EventStream, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use futures_util::StreamExt as _;
use http_body_util::{BodyExt as _, Empty};
use hyper::body::Bytes;
use hyper::{Request, Uri, header};
use hyper_util::rt::TokioIo;
use jiff::tz::TimeZone;
use ratatui::DefaultTerminal;
use tokio::net::TcpStream;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::access::Where;
use super::runtime;
use crate::clock::Clock;
use crate::config::bench_file::zone_of_machine;
use crate::journal::lock;
use crate::output::language::Language;
use crate::output::terminal::drawing::{Link, View};
use crate::output::terminal::known::{Known, Taken};
use crate::output::terminal::server_events::{EventCutter, ServerEvent};

/// A stream that is open and says nothing for so long is opened anew; the daemon's bench beats several times a second.
const SILENT_AFTER: Duration = Duration::from_secs(6);
/// Wait before the stream is opened again.
const RETRY: Duration = Duration::from_secs(1);
/// Drawn at least so often, so that silence shows as age.
const DRAW_AT_LEAST_EVERY: Duration = Duration::from_millis(200);
/// Messages between stream and drawing. Sender: the stream, which waits when it is full; the daemon then skips.
const MESSAGES: usize = 16;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Where,
    /// The page of a bench on this or another machine, such as http://bench-1.local:7311/
    #[arg(long, conflicts_with_all = ["config", "data"])]
    url: Option<Uri>,
    /// en or de; else that of the environment (LC_ALL, LC_MESSAGES, LANG)
    #[arg(long, value_name = "LANGUAGE", value_parser = language)]
    language: Option<Language>,
}

fn language(tag: &str) -> Result<Language, String> {
    let known = || Language::ALL.map(Language::tag).join(", ");
    Language::by_tag(tag).ok_or_else(|| format!("\"{tag}\" is not spoken here; languages: {}", known()))
}

/// The language of the terminal's environment (POSIX: the first of these that is set counts).
fn of_environment() -> Language {
    let set = |name: &&str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let locale = ["LC_ALL", "LC_MESSAGES", "LANG"].iter().find_map(set);
    locale.and_then(|locale| Language::by_tag(&locale)).unwrap_or(Language::English)
}

/// Where the daemon is found.
#[derive(Debug, Clone)]
enum Source {
    /// At this page.
    Page(Uri),
    /// Where the data folder's lock says, which changes with each start.
    Folder(PathBuf),
}

/// What comes of the stream.
enum Heard {
    Event(ServerEvent),
    /// It is lost; why.
    Lost(String),
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    // A page does not say what its workshop's zone is: then it is that of this screen, as in a browser.
    let mut zone = zone_of_machine();
    let source = match &arguments.url {
        Some(url) if url.scheme_str().is_none_or(|scheme| scheme == "http") && url.host().is_some() => {
            Source::Page(url.clone())
        }
        Some(url) => bail!("{url} is no page that can be watched; give http://NAME:PORT/"),
        None if arguments.place.is_given() => {
            let access = arguments.place.access()?;
            zone = access.zone();
            Source::Folder(access.folder().to_owned())
        }
        None => bail!("give --config FILE, --data DIR or --url http://NAME:PORT/"),
    };
    if !std::io::stdout().is_terminal() {
        bail!("watch draws on a terminal, and this output is none; scripts read GET /api/v1/state");
    }
    let language = arguments.language.unwrap_or_else(of_environment);
    runtime()?.block_on(watch(source, language, zone))?;
    Ok(ExitCode::SUCCESS)
}

/// Gives the terminal back however this ends.
struct Screen(DefaultTerminal);

impl Drop for Screen {
    fn drop(&mut self) {
        ratatui::restore();
    }
}

async fn watch(source: Source, language: Language, zone: TimeZone) -> anyhow::Result<()> {
    let clock = Clock::start(1.0);
    let now = || Duration::from_secs_f64(clock.now().t_s.max(0.0));
    let stop = CancellationToken::new();
    tokio::spawn(super::run::stop_on_signal(stop.clone()));
    let mut screen = Screen(ratatui::try_init().context("the terminal cannot be drawn on")?);
    let mut keys = EventStream::new();
    let mut tick = interval(DRAW_AT_LEAST_EVERY);
    tick.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let (mut known, mut link) = (Known::default(), Link::Opening);
    let mut stream = Stream::open(source.clone());
    loop {
        let view = View { known: &known, link: &link, now: now(), language, zone: &zone };
        screen.0.draw(|frame| frame.render_widget(view, frame.area())).context("the terminal is gone")?;
        tokio::select! {
            () = stop.cancelled() => return Ok(()),
            key = keys.next() => match key {
                Some(Ok(Event::Key(key))) if leaves(key) => return Ok(()),
                Some(Ok(_)) => {}
                // Nobody can type any more: the terminal was closed.
                Some(Err(_)) | None => return Ok(()),
            },
            heard = stream.messages.recv() => match heard {
                Some(Heard::Event(event)) => match take(&mut known, &event, now()) {
                    Ok(Taken::InOrder) => link = Link::Up,
                    Ok(Taken::Gap) => stream = Stream::open(source.clone()),
                    Err(error) => link = Link::Lost(format!("it sends what cannot be read: {error}")),
                },
                Some(Heard::Lost(cause)) => link = Link::Lost(cause),
                None => stream = Stream::open(source.clone()),
            },
            _ = tick.tick() => {}
        }
    }
}

fn leaves(key: KeyEvent) -> bool {
    let interrupt = key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL);
    key.kind == KeyEventKind::Press && (interrupt || matches!(key.code, KeyCode::Char('q') | KeyCode::Esc))
}

fn take(known: &mut Known, event: &ServerEvent, now: Duration) -> serde_json::Result<Taken> {
    match event.kind.as_str() {
        "state" => known.take_state(serde_json::from_str(&event.data)?, now),
        "live" => return Ok(known.take_live(serde_json::from_str(&event.data)?, now)),
        // A kind that a newer daemon sends besides.
        _ => {}
    }
    Ok(Taken::InOrder)
}

/// The stream, opened again and again until this is dropped.
struct Stream {
    messages: mpsc::Receiver<Heard>,
    task: JoinHandle<()>,
}

impl Stream {
    fn open(source: Source) -> Self {
        let (sender, messages) = mpsc::channel(MESSAGES);
        Self { messages, task: tokio::spawn(follow(source, sender)) }
    }
}

impl Drop for Stream {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn follow(source: Source, messages: mpsc::Sender<Heard>) {
    loop {
        let Err(error) = stream(&source, &messages).await else { return };
        let causes: Vec<String> = error.chain().map(ToString::to_string).collect();
        if messages.send(Heard::Lost(causes.join(": "))).await.is_err() {
            return;
        }
        sleep(RETRY).await;
    }
}

/// One connection: ends in order only when nobody listens any more.
async fn stream(source: &Source, messages: &mpsc::Sender<Heard>) -> anyhow::Result<()> {
    let (authority, path) = place(source)?;
    let silent = || format!("nothing came from {authority} for {} s", SILENT_AFTER.as_secs());
    let connected = timeout(SILENT_AFTER, TcpStream::connect(&authority)).await.with_context(silent)?;
    let connected = connected.with_context(|| format!("{authority} does not answer"))?;
    let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(connected)).await?;
    // Ends with the connection, when the sender and the body are dropped.
    tokio::spawn(connection);
    let request = Request::get(path).header(header::HOST, &authority).body(Empty::<Bytes>::new())?;
    let response = timeout(SILENT_AFTER, sender.send_request(request)).await.with_context(silent)??;
    if !response.status().is_success() {
        bail!("{authority} answers {}", response.status());
    }
    let mut body = response.into_body();
    let mut cutter = EventCutter::default();
    loop {
        let Some(frame) = timeout(SILENT_AFTER, body.frame()).await.with_context(silent)? else {
            bail!("{authority} has ended the stream");
        };
        let Ok(bytes) = frame?.into_data() else { continue };
        for event in cutter.take(&bytes)? {
            if messages.send(Heard::Event(event)).await.is_err() {
                return Ok(());
            }
        }
    }
}

/// Name and port of the daemon, and the path of its stream.
fn place(source: &Source) -> anyhow::Result<(String, String)> {
    match source {
        Source::Page(url) => {
            let port = url.port_u16().unwrap_or(80);
            let authority = format!("{}:{port}", url.host().unwrap_or_default());
            Ok((authority, format!("{}/api/v1/live", url.path().trim_end_matches('/'))))
        }
        Source::Folder(folder) => {
            let running = lock::running(folder).with_context(|| format!("no daemon runs on {}", folder.display()))?;
            let address = running.address.context("the daemon is still starting")?;
            Ok((address, "/api/v1/live".to_owned()))
        }
    }
}
