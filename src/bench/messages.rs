//! The way to other displays: the follower that publishes, and the embedded broker where none is configured.

use std::sync::Arc;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use super::{BenchError, Started};
use crate::clock::Clock;
use crate::config::bench_file::{BenchSettings, BrokerAddress};
use crate::output::mqtt::{self, MqttSettings, RecordSource, Sources};
use crate::output::record;
use crate::output::text::Lengths;

/// Starts them; the address of the broker and what is wrong with it leave.
pub(super) async fn start(
    settings: &BenchSettings,
    started: &Started,
    clock: Clock,
    lengths: Lengths,
    tasks: &TaskTracker,
    stop: &CancellationToken,
) -> Result<(Option<String>, watch::Receiver<Option<String>>), BenchError> {
    let (trouble, trouble_seen) = watch::channel(None);
    let embedded = match &settings.mqtt.broker {
        Some(_) => None,
        None => Embedded::start(settings).await?,
    };
    let broker = settings.mqtt.broker.clone().or_else(|| embedded.as_ref().map(Embedded::address));
    let Some(BrokerAddress { host, port }) = broker else { return Ok((None, trouble_seen)) };
    let address = format!("mqtt://{host}:{port}");
    let mqtt = MqttSettings {
        host,
        port,
        site: settings.site.clone(),
        bench: settings.bench.clone(),
        session: uuid::Uuid::new_v4().simple().to_string(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        commands: settings.mqtt.commands,
    };
    let (questions, journal) = (started.questions.clone(), started.journal.clone());
    let records: RecordSource = Arc::new(move |club: &str| {
        let (questions, journal, club) = (questions.clone(), journal.clone(), club.to_owned());
        Box::pin(async move {
            // Retained by a broker that others read: whom a club is for does not go there.
            let record = record::find(&questions, &journal, lengths, &club).await.ok()?.for_broker();
            Some((record.token.clone(), serde_json::json!(record)))
        })
    });
    let sources = Sources {
        snapshots: started.snapshots.clone(),
        journal: started.journal.clone(),
        records,
        commands: started.commands.clone(),
    };
    let stop = stop.clone();
    tasks.spawn(async move {
        mqtt::run(mqtt, sources, clock, trouble, stop).await;
        // Only now: the follower says goodbye through it.
        if let Some(embedded) = embedded {
            embedded.stop().await;
        }
    });
    Ok((Some(address), trouble_seen))
}

/// The broker inside the program.
#[cfg(feature = "embedded-broker")]
struct Embedded(crate::output::broker::Broker);

#[cfg(feature = "embedded-broker")]
impl Embedded {
    /// Starts it, if it is wanted.
    async fn start(settings: &BenchSettings) -> Result<Option<Self>, BenchError> {
        let Some(address) = settings.mqtt.embedded else { return Ok(None) };
        let broker = crate::output::broker::start(address).await;
        let broker = broker.map_err(|error| BenchError::Broker { address, reason: error.to_string() })?;
        Ok(Some(Self(broker)))
    }

    fn address(&self) -> BrokerAddress {
        let address = self.0.address();
        BrokerAddress { host: address.ip().to_string(), port: address.port() }
    }

    async fn stop(self) {
        self.0.stop().await;
    }
}

/// Built without a broker: there is never one.
#[cfg(not(feature = "embedded-broker"))]
enum Embedded {}

#[cfg(not(feature = "embedded-broker"))]
impl Embedded {
    async fn start(_settings: &BenchSettings) -> Result<Option<Self>, BenchError> {
        Ok(None)
    }

    fn address(&self) -> BrokerAddress {
        match *self {}
    }

    async fn stop(self) {
        match self {}
    }
}
