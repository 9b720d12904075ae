//! One connection to a broker: how it is made, what goes over it, and in which words it ends.

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use rumqttc::{
    AsyncClient, ConnAck, ConnectReturnCode, ConnectionError, DisconnectReasonCode, Event, EventLoop, LastWill,
    LastWillProperties, MqttOptions, NetworkOptions, Packet, PersistedAckMode, PersistedSession, Publish,
    PublishNotice, PublishNoticeError, PublishOptions, PublishProperties, QoS, SessionStore, SessionStoreError,
    SessionStoreKey, StateError,
};
use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;
use tracing::warn;

use super::MqttSettings;
use super::topics::Topics;
use crate::output::payload::CONTENT_TYPE;

/// How long the broker keeps the session of a bench that is away.
const SESSION_EXPIRY_S: u32 = 3600;
/// How long the broker waits before it tells that the bench is away: longer than the longest back-off.
const WILL_DELAY_S: u32 = 10;
/// After one and a half of this without a sign of the broker the connection counts as dead.
const KEEP_ALIVE_S: u16 = 15;
/// Longest message taken: an order of many clubs as text fits.
const LONGEST_INCOMING: u32 = 512 * 1024;
/// Messages the broker may have on their way to us.
const RECEIVE_MAXIMUM: u16 = 16;
/// Messages waiting for the connection. Senders: the flows of this connection; when it is full they wait, but live
/// readings are dropped for newer ones.
const QUEUE: usize = 100;
/// How long a live reading is worth delivering.
const LIVE_EXPIRY_S: u32 = 5;
/// Room for the header and properties of a message when its size is compared with the broker's limit.
const HEADER: usize = 256;

/// Why a flow ended before its connection did.
#[derive(Debug)]
pub(super) enum FlowEnd {
    /// The connection is gone; the connection itself says why.
    Gone,
    /// The broker does not take what must go out; the words for the page.
    Refused(String),
}

/// A message that came in.
#[derive(Debug)]
pub(super) struct Received {
    /// The message.
    pub(super) publish: Publish,
    /// It waited at the broker while the bench was away.
    pub(super) stale: bool,
}

/// The sending side of a connection.
#[derive(Debug, Clone)]
pub(super) struct Channel {
    client: AsyncClient,
    longest: usize,
}

impl Channel {
    /// Sends with QoS 1; the notice resolves with the broker's acknowledgement.
    pub(super) async fn publish(&self, topic: &str, payload: Vec<u8>, retain: bool) -> Result<PublishNotice, FlowEnd> {
        self.check_size(topic, payload.len())?;
        let options = PublishOptions::at_least_once().retain(retain).properties(properties());
        self.client.publish_tracked(topic, payload, options).await.map_err(|_| FlowEnd::Gone)
    }

    /// Answers a command.
    pub(super) async fn answer(
        &self,
        topic: &str,
        properties: PublishProperties,
        payload: Vec<u8>,
    ) -> Result<(), FlowEnd> {
        let options = PublishOptions::at_least_once().properties(properties);
        self.client.publish(topic, payload, options).await.map_err(|_| FlowEnd::Gone)
    }

    /// Sends a live reading, QoS 0; false when there was no room and the next one has to do.
    pub(super) fn live(&self, topic: &str, payload: Vec<u8>) -> bool {
        let properties = PublishProperties { message_expiry_interval: Some(LIVE_EXPIRY_S), ..properties() };
        let fits = payload.len() + topic.len() + HEADER <= self.longest;
        fits && self.client.try_publish(topic, payload, PublishOptions::at_most_once().properties(properties)).is_ok()
    }

    /// Asks for the commands.
    pub(super) async fn subscribe(&self, topic: &str) -> Result<rumqttc::SubscribeNotice, FlowEnd> {
        self.client.subscribe_tracked(topic, QoS::AtLeastOnce).await.map_err(|_| FlowEnd::Gone)
    }

    /// Takes back what an earlier connection of the same session asked for.
    pub(super) async fn unsubscribe(&self, topic: &str) -> Result<(), FlowEnd> {
        self.client.unsubscribe(topic).await.map_err(|_| FlowEnd::Gone)
    }

    /// Ends the connection in order, so that the broker does not send the will.
    pub(super) async fn disconnect(&self, within: Duration) {
        // A connection that is gone needs no end.
        let _gone = self.client.disconnect_with_timeout(within).await;
    }

    /// The end of a flow whose message on `topic` the broker did not take.
    pub(super) fn refused(&self, topic: &str, reason: &PublishNoticeError) -> FlowEnd {
        match reason {
            PublishNoticeError::V5PubAck(code) => FlowEnd::Refused(format!(
                "the MQTT broker refuses messages on {topic} ({code:?}); allow this bench to publish there"
            )),
            _ => FlowEnd::Gone,
        }
    }

    /// A message over the broker's limit would end the connection, so it is not even tried.
    fn check_size(&self, topic: &str, payload: usize) -> Result<(), FlowEnd> {
        let size = payload + topic.len() + HEADER;
        if size <= self.longest {
            return Ok(());
        }
        Err(FlowEnd::Refused(format!(
            "a message on {topic} needs {size} bytes and the MQTT broker takes {}; raise its packet limit",
            self.longest
        )))
    }
}

fn properties() -> PublishProperties {
    PublishProperties { content_type: Some(CONTENT_TYPE.to_owned()), ..PublishProperties::default() }
}

/// The properties of the answer to a request: its correlation data goes back unchanged.
pub(super) fn reply_properties(request: &PublishProperties) -> PublishProperties {
    PublishProperties { correlation_data: request.correlation_data.clone(), ..properties() }
}

/// Connects. The event loop must then be driven by [`drive`] while the channel is used.
pub(super) async fn connect(
    settings: &MqttSettings,
    topics: &Topics,
    will: Vec<u8>,
) -> Result<(EventLoop, ConnAck, Channel), ConnectionError> {
    let options = options(settings, topics, will);
    let (client, mut connection) = AsyncClient::builder(options).capacity(QUEUE).build();
    loop {
        if let Event::Incoming(Packet::ConnAck(ack)) = connection.poll().await? {
            // Its work is done; without it the client does not copy its state at every message.
            connection.options.clear_session_store();
            let limit = ack.properties.as_ref().and_then(|properties| properties.max_packet_size);
            let longest = limit.map_or(usize::MAX, |limit| usize::try_from(limit).unwrap_or(usize::MAX));
            return Ok((connection, ack, Channel { client, longest }));
        }
    }
}

fn options(settings: &MqttSettings, topics: &Topics, will: Vec<u8>) -> MqttOptions {
    let id = format!("benchscribe-{}-{}", settings.site, settings.bench);
    let mut network = NetworkOptions::new();
    // Small messages wait up to 40 ms for company otherwise.
    network.set_tcp_nodelay(true);
    let will_properties = LastWillProperties {
        delay_interval: Some(WILL_DELAY_S),
        payload_format_indicator: None,
        message_expiry_interval: None,
        content_type: Some(CONTENT_TYPE.to_owned()),
        response_topic: None,
        correlation_data: None,
        user_properties: Vec::new(),
    };
    let mut options = MqttOptions::new(id, (settings.host.as_str(), settings.port));
    options
        .set_clean_start(false)
        .set_session_expiry_interval(Some(SESSION_EXPIRY_S))
        .set_session_store(NothingOpen)
        .set_receive_maximum(Some(RECEIVE_MAXIMUM))
        .set_max_packet_size(Some(LONGEST_INCOMING))
        .set_keep_alive(KEEP_ALIVE_S)
        .set_network_options(network)
        .set_last_will(LastWill::new(topics.status(), will, QoS::AtLeastOnce, true, Some(will_properties)));
    options
}

/// A session in which nothing is open: what a new connection resumes the broker's session with.
///
/// Whatever was not acknowledged is sent again from the journal, so the client keeps no messages of its own; but it
/// refuses to resume a session of which it has no record at all.
#[derive(Debug)]
struct NothingOpen;

type Stored<'a, T> = Pin<Box<dyn Future<Output = Result<T, SessionStoreError>> + Send + 'a>>;

impl SessionStore for NothingOpen {
    fn load<'a>(&'a self, key: &'a SessionStoreKey) -> Stored<'a, Option<PersistedSession>> {
        let session = PersistedSession {
            format_version: 1,
            client_id: key.client_id().to_owned(),
            clean_start: false,
            session_expiry_interval: Some(SESSION_EXPIRY_S),
            outgoing_inflight_upper_limit: None,
            ack_mode: PersistedAckMode::Automatic,
            last_pkid: 0,
            last_puback: 0,
            replay: Vec::new(),
            incoming_qos2: Vec::new(),
        };
        Box::pin(async move { Ok(Some(session)) })
    }

    fn save<'a>(&'a self, _: &'a SessionStoreKey, _: &'a PersistedSession) -> Stored<'a, ()> {
        Box::pin(async { Ok(()) })
    }

    fn clear<'a>(&'a self, _: &'a SessionStoreKey) -> Stored<'a, ()> {
        Box::pin(async { Ok(()) })
    }
}

/// Keeps a connection going until it ends. Never waits for the receiver of messages: it may itself be waiting for
/// the connection.
pub(super) async fn drive(connection: &mut EventLoop, received: mpsc::Sender<Received>) -> ConnectionError {
    let mut stale = true;
    loop {
        match connection.poll().await {
            // The broker answers in order: what came before the answer to our subscription had been waiting.
            Ok(Event::Incoming(Packet::SubAck(_))) => stale = false,
            Ok(Event::Incoming(Packet::Publish(publish))) => {
                // Closed when no commands are taken.
                if let Err(TrySendError::Full(_)) = received.try_send(Received { publish, stale }) {
                    warn!("a command is dropped: too many at once");
                }
            }
            Ok(_) => {}
            Err(error) => return error,
        }
    }
}

/// The same when it breaks again and again; not every broker says so when another client takes the name.
pub(super) fn flapping(settings: &MqttSettings) -> String {
    let MqttSettings { host, port, site, bench, .. } = settings;
    format!(
        "the connection to the MQTT broker at {host}:{port} keeps breaking; \
         make sure that no other bench is called \"{bench}\" at \"{site}\" too, and see the broker's log"
    )
}

/// What is wrong with the connection and what to do, in two halves parted by "; ".
pub(super) fn words(settings: &MqttSettings, error: &ConnectionError) -> String {
    let MqttSettings { host, port, .. } = settings;
    let place = format!("MQTT broker at {host}:{port}");
    match error {
        ConnectionError::ConnectionRefused(code) => match code {
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized | ConnectReturnCode::Banned => {
                format!("the {place} does not let this bench in ({code:?}); allow it there")
            }
            ConnectReturnCode::UnsupportedProtocolVersion | ConnectReturnCode::RefusedProtocolVersion => {
                format!("the {place} does not speak MQTT 5; use one that does")
            }
            _ => format!("the {place} refuses the connection ({code:?}); see its log"),
        },
        ConnectionError::MqttState(StateError::ServerDisconnect {
            reason_code: DisconnectReasonCode::SessionTakenOver,
            ..
        }) => {
            let MqttSettings { site, bench, .. } = settings;
            format!("another bench uses the {place} as \"{site}\", \"{bench}\" too; give each bench its own name")
        }
        ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, .. }) => {
            format!("the {place} ended the connection ({reason_code:?}); see its log")
        }
        ConnectionError::MqttState(_) => {
            format!("the connection to the {place} broke; nothing is lost, it is tried again by itself")
        }
        ConnectionError::Timeout(_) => format!("the {place} does not answer; check that it runs, and the network"),
        other => {
            format!("the {place} cannot be reached ({other}); start it, or correct `broker` under [mqtt]")
        }
    }
}
