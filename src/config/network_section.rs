//! Where page, API and messages are, from the tables `http` and `mqtt`.

use std::net::SocketAddr;

use super::bench_file::{BrokerAddress, HttpSettings, MqttSettings};
use super::document::Section;

/// Reads the table `http`.
pub(super) fn read_http(section: &Section<'_>) -> Option<HttpSettings> {
    let hosts = section.texts("hosts").unwrap_or_default().into_iter().map(str::to_owned).collect();
    let usual = HttpSettings::default().listen;
    let listen = if section.has("listen") { address(section, "listen") } else { Some(usual) };
    let url = if section.has("url") { page_url(section).map(Some) } else { Some(None) };
    Some(HttpSettings { listen: listen?, hosts, url: url? })
}

/// An address that ends up in printed codes: scheme, host, perhaps a port and a path, nothing else.
fn page_url(section: &Section<'_>) -> Option<String> {
    let text = section.text("url")?;
    let rest = text.strip_prefix("http://").or_else(|| text.strip_prefix("https://"));
    let is_plain = |rest: &str| rest.chars().all(|c| c.is_ascii_alphanumeric() || "-._~:/[]".contains(c));
    if rest.is_none_or(|rest| rest.is_empty() || rest.len() > 200 || !is_plain(rest)) {
        section.mistake(
            "url",
            "expected the address of the page as other machines reach it, such as \"http://bench.local:7311\"",
        );
        return None;
    }
    Some(text.trim_end_matches('/').to_owned())
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
    let embedded = if section.has("embedded") { address(section, "embedded").map(Some) } else { Some(None) };
    let broker = if section.has("broker") { broker(section).map(Some) } else { Some(None) };
    if section.has("broker") && section.has("embedded") {
        section
            .mistake("embedded", "the embedded broker is not started when `broker` names another; remove one of them");
    }
    Some(MqttSettings { broker: broker?, embedded: embedded?, commands })
}

fn broker(section: &Section<'_>) -> Option<BrokerAddress> {
    let text = section.text("broker")?;
    BrokerAddress::parse(text).map_err(|expected| section.mistake("broker", expected)).ok()
}

impl BrokerAddress {
    /// Reads `mqtt://HOST:PORT`; the port may be left out.
    ///
    /// # Errors
    /// What was expected.
    pub fn parse(text: &str) -> Result<Self, &'static str> {
        let found = text.strip_prefix("mqtt://").and_then(|rest| {
            let (host, port) = rest.rsplit_once(':').unwrap_or((rest, "1883"));
            Some(Self { host: (!host.is_empty()).then(|| host.to_owned())?, port: port.parse().ok()? })
        });
        found.ok_or("expected an address such as \"mqtt://192.0.2.10:1883\"")
    }
}
