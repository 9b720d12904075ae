//! Takes commands: a message on `command` goes to the bench, the answer to the message's response topic with its
//! correlation data (MQTT 5, section 4.10).

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use futures_util::StreamExt as _;
use futures_util::stream::FuturesUnordered;
use rumqttc::PublishProperties;
use tokio::sync::{mpsc, oneshot};
use tokio::time::timeout;
use tracing::{info, warn};

use super::connection::{self, Channel, FlowEnd, Received};
use super::topics::Topics;
use crate::output::command::{Answer, CommandRequest};
use crate::output::payload;

/// Commands at work at the same time.
const AT_WORK: usize = 16;
/// How long the bench has to answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Where an answer goes.
struct ReturnPath {
    topic: String,
    properties: PublishProperties,
}

type Answering = Pin<Box<dyn Future<Output = (Option<ReturnPath>, Answer)> + Send>>;

/// The commands of one connection.
pub(super) struct CommandFlow {
    pub(super) channel: Channel,
    pub(super) topics: Topics,
    /// From the connection; it never waits, so what does not fit is dropped there.
    pub(super) received: mpsc::Receiver<Received>,
    /// To the bench; a command that does not fit is answered as refused.
    pub(super) bench: mpsc::Sender<CommandRequest>,
}

impl CommandFlow {
    /// Takes commands until the connection ends; when they are not `allowed`, an earlier subscription of the same
    /// session is taken back and nothing is taken.
    pub(super) async fn run(mut self, allowed: bool) -> FlowEnd {
        let end = if allowed { self.follow().await } else { self.channel.unsubscribe(&self.topics.command()).await };
        match end {
            Ok(()) => std::future::pending().await,
            Err(end) => end,
        }
    }

    async fn follow(&mut self) -> Result<(), FlowEnd> {
        let subscribed = self.channel.subscribe(&self.topics.command()).await?;
        let mut at_work: FuturesUnordered<Answering> = FuturesUnordered::new();
        let mut subscribing: Pin<Box<dyn Future<Output = _> + Send>> = Box::pin(subscribed.wait_completion_async());
        let mut asked = false;
        loop {
            tokio::select! {
                result = &mut subscribing, if !asked => {
                    asked = true;
                    if let Err(reason) = result {
                        warn!(%reason, "the broker refuses the command topic; allow this bench to subscribe to it");
                    }
                }
                received = self.received.recv() => match received {
                    Some(received) => self.take(received, &mut at_work),
                    None => return Ok(()),
                },
                Some((path, result)) = at_work.next() => {
                    if let Err(reason) = &result {
                        info!(reason, "a command over MQTT is refused");
                    }
                    if let Some(ReturnPath { topic, properties }) = path {
                        self.channel.answer(&topic, properties, payload::answer(&result)).await?;
                    }
                }
            }
        }
    }

    fn take(&self, received: Received, at_work: &mut FuturesUnordered<Answering>) {
        let Received { publish, stale } = received;
        let request = publish.properties.unwrap_or_default();
        let properties = connection::reply_properties(&request);
        let path = request.response_topic.map(|topic| ReturnPath { topic, properties });
        if let Some(path) = path.as_ref().filter(|path| !self.topics.allows_answer(&path.topic)) {
            warn!(topic = path.topic, "a command is dropped: its answer would go to a topic of the bench");
            return;
        }
        let refusal = if publish.retain {
            Some("a command must not be retained")
        } else if stale {
            // It waited, or it was carried out and the acknowledgement got lost: a bench must not act twice or late.
            Some(
                "it waited while the bench was away and is not carried out; look at the bench's state, then send it again",
            )
        } else if at_work.len() >= AT_WORK {
            Some("too many commands at once; send it again")
        } else {
            None
        };
        let answer = match refusal {
            Some(reason) => Err(reason.to_owned()),
            None => self.hand_over(&publish.payload),
        };
        at_work.push(Box::pin(async move {
            let result = match answer {
                Ok(answer) => match timeout(PATIENCE, answer).await {
                    Ok(Ok(result)) => result,
                    Ok(Err(_)) => Err("the bench is stopping".to_owned()),
                    Err(_) => Err("the bench does not answer; look at its state before sending it again".to_owned()),
                },
                Err(reason) => Err(reason),
            };
            (path, result)
        }));
    }

    fn hand_over(&self, payload: &[u8]) -> Result<oneshot::Receiver<Answer>, String> {
        let json = serde_json::from_slice(payload).map_err(|error| format!("a command is JSON: {error}"))?;
        let (reply, answer) = oneshot::channel();
        self.bench.try_send(CommandRequest { json, reply }).map_err(|error| match error {
            mpsc::error::TrySendError::Full(_) => "the bench is busy; send it again".to_owned(),
            mpsc::error::TrySendError::Closed(_) => "the bench is stopping".to_owned(),
        })?;
        Ok(answer)
    }
}
