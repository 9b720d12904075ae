//! Where page, API and messages are, from the tables `http` and `mqtt`.

use std::net::SocketAddr;

use super::bench_file::{BrokerAddress, HttpSettings, MqttSettings};
use super::document::Section;

/// Reads the table `http`.
pub(super) fn read_http(section: &Section<'_>) -> Option<HttpSettings> {
    let hosts = section.texts("hosts").unwrap_or_default().into_iter().map(str::to_owned).collect();
    let listen = if section.has("listen") { address(section, "listen")? } else { HttpSettings::default().listen };
    Some(HttpSettings { listen, hosts })
}

fn address(section: &Section<'_>, key: &'static str) -> Option<SocketAddr> {
    let text = section.text(key)?;
    let parsed = text.parse().ok();
    if parsed.is_none() {
        section.mistake(key, "expected an address and port such as \"127.0.0.1:7311\"");
    }
    parsed
}

/// Reads the table `mqtt`.
pub(super) fn read_mqtt(section: &Section<'_>) -> Option<MqttSettings> {
    let commands = section.flag("commands").unwrap_or(false);
    let embedded = if section.has("embedded") { Some(address(section, "embedded")?) } else { None };
    let broker = if section.has("broker") { Some(broker(section)?) } else { None };
    if broker.is_some() && embedded.is_some() {
        section
            .mistake("embedded", "the embedded broker is not started when `broker` names another; remove one of them");
    }
    Some(MqttSettings { broker, embedded, commands })
}

fn broker(section: &Section<'_>) -> Option<BrokerAddress> {
    let text = section.text("broker")?;
    let found = text.strip_prefix("mqtt://").and_then(|rest| {
        let (host, port) = rest.rsplit_once(':').unwrap_or((rest, "1883"));
        Some(BrokerAddress { host: (!host.is_empty()).then(|| host.to_owned())?, port: port.parse().ok()? })
    });
    if found.is_none() {
        section.mistake("broker", "expected an address such as \"mqtt://192.0.2.10:1883\"");
    }
    found
}
