//! Publishes the bench over MQTT 5: events of the journal, retained topics, live readings, and commands back.
//!
//! A follower: it reads the journal by its own cursor and the latest snapshot, and holds nothing that a restart
//! could lose. In reading order: [`topics`] the names, [`connection`] one connection, [`cursor`] and [`events`] the
//! journal's events, [`standing`] what displays see, [`records`] finished clubs, [`commands`] the way back, [`description`] all of it for other programs.
//! The shapes are in [`payload`](super::payload).

mod commands;
mod connection;
mod cursor;
pub mod description;
mod events;
mod records;
mod standing;
mod topics;

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, sleep, timeout};
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};

use self::commands::CommandFlow;
use self::connection::{Channel, FlowEnd, Received};
use self::cursor::Cursor;
use self::events::EventFlow;
use self::records::{RecordFlow, RecordsTold};
use self::standing::Standing;
use self::topics::Topics;
use super::command::CommandRequest;
use super::payload::Status;
use super::view::Snapshot;
use crate::clock::Clock;
use crate::journal::event::rfc3339;
use crate::journal::store::Reader;

/// First and longest wait before the broker is tried again.
const BACK_OFF: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(5));
/// A connection that lasted this long starts the waits anew.
const LASTED: Duration = Duration::from_secs(5);
/// So many connections in a row that break soon are not chance.
const FLAPPING: u32 = 3;
/// Wait after the broker forgot its session: consumers must get the chance to subscribe again.
const FORGOTTEN: Duration = Duration::from_secs(3);
/// Messages from the connection to the commands. Sender: the connection, which drops what does not fit.
const RECEIVED: usize = 64;
/// How long the last events have at the end of a session.
const LAST_EVENTS: Duration = Duration::from_secs(2);
/// How long the farewell and the end of the connection have, each.
const FAREWELL: Duration = Duration::from_secs(1);

/// Where and as whom to publish.
#[derive(Debug, Clone)]
pub struct MqttSettings {
    /// Name or address of the broker.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// The place; a checked name without `/`, `+` and `#`.
    pub site: String,
    /// The bench; a checked name like `site`.
    pub bench: String,
    /// The session: random, another one after each start.
    pub session: String,
    /// Version of the program.
    pub version: String,
    /// Whether commands are taken.
    pub commands: bool,
}

/// Gives the token and the record of a club by its id; none when there is no such club or the bench is stopping.
/// It must never be older than the journal: it is asked when an event of the club is seen there.
pub type RecordSource =
    Arc<dyn Fn(&str) -> Pin<Box<dyn Future<Output = Option<(String, serde_json::Value)>> + Send>> + Send + Sync>;

/// What is published.
#[derive(Clone)]
pub struct Sources {
    /// The live state; only the newest matters.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// The events.
    pub journal: Reader,
    /// The records of clubs.
    pub records: RecordSource,
    /// To the bench; when it is full a command is refused.
    pub commands: mpsc::Sender<CommandRequest>,
}

/// How a connection ended.
enum Ended {
    /// In order, because the bench stops.
    Stopped,
    /// Not in order: what is wrong and what to do.
    Away(String),
}

/// Publishes until `stop`; a broker that is away is tried again and again. `trouble` holds what is wrong, with the
/// remedy, while it is away, and nothing while it is there.
pub async fn run(
    settings: MqttSettings,
    sources: Sources,
    clock: Clock,
    trouble: watch::Sender<Option<String>>,
    stop: CancellationToken,
) {
    let topics = Topics::new(&settings.site, &settings.bench);
    let (_, started_at_us) = clock.origin();
    let since = rfc3339(started_at_us);
    let mut follower = Follower {
        settings,
        sources,
        topics,
        since,
        told: RecordsTold::default(),
        had_session: false,
        breaks: 0,
        quiet_until: None,
    };
    let mut wait = BACK_OFF.0;
    loop {
        let began = Instant::now();
        match follower.connection(&trouble, &stop).await {
            Ended::Stopped => return,
            Ended::Away(words) => {
                if trouble.send_replace(Some(words.clone())).as_ref() != Some(&words) {
                    warn!("{words}");
                }
            }
        }
        if began.elapsed() >= LASTED {
            wait = BACK_OFF.0;
            follower.breaks = 0;
        }
        tokio::select! {
            () = sleep(wait) => {}
            () = stop.cancelled() => return,
        }
        wait = (wait * 2).min(BACK_OFF.1);
    }
}

/// What outlives a connection. All of it could be made again from the journal.
struct Follower {
    settings: MqttSettings,
    sources: Sources,
    topics: Topics,
    since: String,
    told: RecordsTold,
    /// Whether the broker has let this run of the bench in before.
    had_session: bool,
    /// Connections in a row that broke soon after they were made.
    breaks: u32,
    /// Until when no events are sent, after the broker forgot its session.
    quiet_until: Option<Instant>,
}

impl Follower {
    /// One connection, from the attempt to its end.
    async fn connection(&mut self, trouble: &watch::Sender<Option<String>>, stop: &CancellationToken) -> Ended {
        let mut cursor = match Cursor::load(self.sources.journal.clone()).await {
            Ok(cursor) => cursor,
            Err(error) => return Ended::Away(error.to_string()),
        };
        let connected = tokio::select! {
            connected = connection::connect(&self.settings, &self.topics, self.status(false)) => connected,
            () = stop.cancelled() => return Ended::Stopped,
        };
        let (mut connection, ack, channel) = match connected {
            Ok(connected) => connected,
            Err(error) => return Ended::Away(connection::words(&self.settings, &error)),
        };
        info!(host = self.settings.host, port = self.settings.port, resumed = ack.session_present, "MQTT connected");
        let began = Instant::now();
        self.breaks += 1;
        let had_session = self.had_session || cursor.has_moved();
        self.had_session = true;
        if had_session && !ack.session_present {
            if let Err(error) = cursor.rewind().await {
                return Ended::Away(error.to_string());
            }
            self.quiet_until = Some(Instant::now() + FORGOTTEN);
        }
        let (received_in, received) = mpsc::channel(RECEIVED);
        let ended = {
            let flows = self.flows(channel, received, &mut cursor, ack.session_present, trouble, stop);
            tokio::select! {
                ended = flows => Ok(ended),
                error = connection::drive(&mut connection, received_in) => Err(error),
            }
        };
        cursor.write().await;
        match ended {
            Ok(ended) => ended,
            Err(_) if stop.is_cancelled() => Ended::Stopped,
            Err(_) if self.breaks >= FLAPPING && began.elapsed() < LASTED => {
                Ended::Away(connection::flapping(&self.settings))
            }
            Err(error) => Ended::Away(connection::words(&self.settings, &error)),
        }
    }

    /// Everything that goes over one connection, until the bench stops or the broker refuses something.
    async fn flows(
        &mut self,
        channel: Channel,
        received: mpsc::Receiver<Received>,
        cursor: &mut Cursor,
        is_remembered: bool,
        trouble: &watch::Sender<Option<String>>,
        stop: &CancellationToken,
    ) -> Ended {
        let (online, offline) = (self.status(true), self.status(false));
        // A connection that keeps breaking must last before it counts as good again.
        let trust_after = if self.breaks > FLAPPING { LASTED } else { Duration::ZERO };
        let Self { settings, sources, topics, told, quiet_until, .. } = self;
        let mut events = EventFlow::new(channel.clone(), topics.event(), sources.journal.clone(), cursor);
        let mut standing = Standing::new(channel.clone(), topics.clone());
        let records = RecordFlow {
            channel: channel.clone(),
            topics: topics.clone(),
            journal: sources.journal.clone(),
            records: Arc::clone(&sources.records),
            told,
            is_remembered,
        };
        let commands =
            CommandFlow { channel: channel.clone(), topics: topics.clone(), received, bench: sources.commands.clone() };
        let end = tokio::select! {
            end = events.run(*quiet_until) => Some(end),
            end = standing.run(online, sources.snapshots.clone(), trouble, trust_after) => Some(end),
            end = records.run() => Some(end),
            end = commands.run(settings.commands) => Some(end),
            () = stop.cancelled() => None,
        };
        match end {
            Some(FlowEnd::Refused(words)) => Ended::Away(words),
            // The connection is about to say why.
            Some(FlowEnd::Gone) => std::future::pending().await,
            None => {
                // What is not acknowledged in time goes again in the next session.
                let _in_time = timeout(LAST_EVENTS, events.finish()).await;
                farewell(&channel, &topics.status(), offline).await;
                Ended::Stopped
            }
        }
    }

    fn status(&self, online: bool) -> Vec<u8> {
        let MqttSettings { session, version, .. } = &self.settings;
        Status { online, since: &self.since, session, version }.payload()
    }
}

/// Says that the bench goes, and ends the connection in order; the broker then sends no will.
async fn farewell(channel: &Channel, topic: &str, offline: Vec<u8>) {
    if let Ok(notice) = channel.publish(topic, offline, true).await {
        // If the broker does not take it, its will says the same.
        let _in_time = timeout(FAREWELL, notice.wait_completion_async()).await;
    }
    channel.disconnect(FAREWELL).await;
    // The connection ends under us once the broker has been told.
    sleep(FAREWELL).await;
}
