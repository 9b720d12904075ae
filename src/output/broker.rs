//! An MQTT broker inside the daemon, for the demo and for a single bench without one: an address comes in, a running
//! broker comes out. It keeps everything in memory and lets everyone in, so it belongs on loopback.

use std::net::SocketAddr;
use std::time::Duration;

use mqtt5::broker::{BrokerConfig, BrokerShutdownHandle, MqttBroker, StorageBackendType, StorageConfig};
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tracing::warn;

/// Longest message.
const LONGEST_MESSAGE: usize = 1024 * 1024;
/// Connections at the same time.
const CLIENTS: usize = 200;
/// Messages kept for a client that is away or slow.
const QUEUED: usize = 10_000;
/// How long a client's session is kept.
const SESSION: Duration = Duration::from_secs(3600);
/// How long the broker has to start, and to end.
const GRACE: Duration = Duration::from_secs(5);

/// Why there is no broker.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// The address cannot be listened on.
    #[error("embedded broker cannot listen on {address} ({reason}); choose another `embedded` address or port")]
    Listen {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        reason: String,
    },
    /// It listens, and failed all the same.
    #[error("embedded broker on {address} did not start: {reason}")]
    Start {
        /// The address.
        address: SocketAddr,
        /// What it said.
        reason: String,
    },
}

/// A broker that runs. Dropping it stops it without waiting for its clients.
#[derive(Debug)]
pub struct Broker {
    address: SocketAddr,
    stopper: Stopper,
    running: JoinHandle<()>,
}

struct Stopper(BrokerShutdownHandle);

impl std::fmt::Debug for Stopper {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Stopper")
    }
}

impl Drop for Stopper {
    fn drop(&mut self) {
        self.0.shutdown();
    }
}

impl Broker {
    /// Where it listens: the port it really got.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Ends it: clients are told, then everything it kept is gone.
    pub async fn stop(self) {
        self.stopper.0.shutdown();
        if timeout(GRACE, self.running).await.is_err() {
            warn!("the embedded broker did not end in time");
        }
    }
}

/// Starts a broker on `listen`; port 0 takes a free one.
///
/// # Errors
/// When the address is taken or not one of this machine.
pub async fn start(listen: SocketAddr) -> Result<Broker, BrokerError> {
    if !listen.ip().is_loopback() {
        warn!(%listen, "the embedded broker lets everyone on the network read and send; put it on 127.0.0.1");
    }
    let failed = |reason: String| BrokerError::Listen { address: listen, reason };
    // The broker's own message for a port in use is a page long; ask the system first.
    drop(tokio::net::TcpListener::bind(listen).await.map_err(|error| failed(error.to_string()))?);
    let mut broker = MqttBroker::with_config(configuration(listen)).await.map_err(|error| failed(error.to_string()))?;
    let address = broker.local_addr().ok_or_else(|| failed("it has no address".to_owned()))?;
    let stopper = Stopper(broker.shutdown_handle());
    let mut ready = broker.ready_receiver();
    let running = tokio::spawn(async move {
        if let Err(error) = broker.run().await {
            warn!(%error, "the embedded broker ended");
        }
    });
    match timeout(GRACE, ready.wait_for(|ready| *ready)).await {
        Ok(Ok(_)) => Ok(Broker { address, stopper, running }),
        Ok(Err(_)) => Err(BrokerError::Start { address, reason: "see the log".to_owned() }),
        Err(_) => Err(BrokerError::Start { address, reason: "no sign of it for 5 s".to_owned() }),
    }
}

fn configuration(listen: SocketAddr) -> BrokerConfig {
    // In memory: the broker's own default writes into the working folder.
    let storage =
        StorageConfig::new().with_backend(StorageBackendType::Memory).with_max_queued_messages_per_client(QUEUED);
    BrokerConfig::new()
        .with_bind_address(listen)
        .with_max_packet_size(LONGEST_MESSAGE)
        .with_max_clients(CLIENTS)
        .with_session_expiry(SESSION)
        .with_sys_topics_enabled(false)
        .with_storage(storage)
}
