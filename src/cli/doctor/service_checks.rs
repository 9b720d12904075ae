//! What the bench talks to and writes into: the broker, the journal.

use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream, ToSocketAddrs as _};
use std::path::Path;
use std::time::Duration;

use sqlx::{Connection as _, SqliteConnection};

use super::Finding;
use crate::config::bench_file::{BenchSettings, BrokerAddress};
use crate::journal::lock;
use crate::journal::store::{Reader, is_faulty};

/// How long a broker may take to answer.
const PATIENCE: Duration = Duration::from_secs(3);
/// CONNECT of MQTT 5 (OASIS, 3.1): protocol name and version, clean start, 60 s, no properties, no client name.
const CONNECT: &[u8] = b"\x10\x0d\x00\x04MQTT\x05\x02\x00\x3c\x00\x00\x00";
/// DISCONNECT (3.14), normal.
const DISCONNECT: &[u8] = b"\xe0\x00";

pub(super) async fn look(settings: &BenchSettings) -> Vec<Finding> {
    let running = lock::running(&settings.data).map(|running| running.pid);
    let broker = match (&settings.mqtt.broker, settings.mqtt.embedded) {
        (Some(broker), _) => reachable(broker),
        (None, Some(address)) => embedded(address, running.is_some()),
        (None, None) => Finding::note("broker", "none: other displays get nothing"),
    };
    let mut findings = vec![broker, lock_state(&settings.data, running)];
    findings.push(library().await);
    findings.extend(journal(&settings.data, &settings.bench).await);
    findings
}

fn reachable(broker: &BrokerAddress) -> Finding {
    let shown = format!("{}:{}", broker.host, broker.port);
    match ask((broker.host.as_str(), broker.port)) {
        Ok(0) => Finding::well("broker", format!("{shown} answers")),
        Ok(code) => Finding::wrong(
            "broker",
            format!("{shown} refuses us (reason {code:#04x})"),
            "look that reason up in MQTT 5, 2.4; mostly the broker wants a name and password, or MQTT 5 is off",
        ),
        Err(reason) => Finding::wrong(
            "broker",
            format!("{shown} is not reached ({reason})"),
            "check the address, the network, and whether it runs; the bench works on and catches up",
        ),
    }
}

/// Connects as an MQTT 5 client does; the reason code of the answer, 0 for welcome.
fn ask(address: (&str, u16)) -> Result<u8, String> {
    let words = |error: std::io::Error| error.to_string();
    let address = address.to_socket_addrs().map_err(words)?.next().ok_or("the name has no address")?;
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE).map_err(words)?;
    stream.set_read_timeout(Some(PATIENCE)).map_err(words)?;
    stream.write_all(CONNECT).map_err(words)?;
    let mut answer = [0_u8; 4];
    stream.read_exact(&mut answer).map_err(words)?;
    // A broker that is gone by now has answered all the same.
    stream.write_all(DISCONNECT).ok();
    match answer {
        [0x20, _, _, code] => Ok(code),
        _ => Err("something else than an MQTT 5 broker answers".to_owned()),
    }
}

fn embedded(address: SocketAddr, is_running: bool) -> Finding {
    if is_running {
        let broker = BrokerAddress { host: address.ip().to_string(), port: address.port() };
        return reachable(&broker);
    }
    match TcpListener::bind(address) {
        Ok(_) => Finding::well("broker", format!("{address} is free for the embedded one")),
        Err(error) => Finding::wrong(
            "broker",
            format!("{address} is not to be had for the embedded one ({error})"),
            "choose another port for `embedded`, or name the broker that has it as `broker`",
        ),
    }
}

fn lock_state(data: &Path, running: Option<u32>) -> Finding {
    match running {
        Some(pid) => Finding::well("daemon", format!("runs (process {pid}) and has {}", data.display())),
        None => Finding::note("daemon", "does not run"),
    }
}

/// The SQLite that this program was built with.
async fn library() -> Finding {
    let version = async {
        let mut connection = SqliteConnection::connect("sqlite::memory:").await?;
        sqlx::query_scalar::<_, String>("SELECT sqlite_version()").fetch_one(&mut connection).await
    };
    match version.await {
        Ok(version) if is_faulty(&version) => Finding::wrong(
            "database",
            format!("SQLite {version} has a known fault in its write-ahead log"),
            "use another build of benchscribe",
        ),
        Ok(version) => Finding::well("database", format!("SQLite {version}")),
        Err(error) => {
            Finding::wrong("database", format!("SQLite does not start ({error})"), "install benchscribe again")
        }
    }
}

async fn journal(data: &Path, bench: &str) -> Option<Finding> {
    if !data.exists() {
        return None;
    }
    Some(match Reader::open(data).await {
        Ok(reader) => {
            let of = reader.bench().to_owned();
            reader.close().await;
            if of == bench {
                Finding::well("journal", format!("of bench {of}; `benchscribe records verify` looks at every event"))
            } else {
                Finding::wrong(
                    "journal",
                    format!("belongs to bench {of}, and the configuration is of bench {bench}"),
                    "give the bench its own data folder, or the name it had",
                )
            }
        }
        Err(crate::journal::store::JournalError::None { .. }) => Finding::note("journal", "none yet; `run` begins one"),
        Err(error) => {
            Finding::wrong("journal", error.to_string(), "keep the folder as it is and restore a copy beside it")
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broker_is_known_by_its_answer() {
        // CONNACK (OASIS MQTT 5.0, 3.2): 0x20, length, flags, reason code, length of properties; 0x87 is not authorised.
        for (answer, expected) in
            [(&b"\x20\x03\x00\x00\x00"[..], Ok(0)), (b"\x20\x03\x00\x87\x00", Ok(0x87)), (b"HTTP/1.1 400", Err(()))]
        {
            let listener = TcpListener::bind("127.0.0.1:0").unwrap();
            let port = listener.local_addr().unwrap().port();
            let broker = std::thread::spawn(move || {
                let (mut stream, _) = listener.accept().unwrap();
                let mut came = [0_u8; 15];
                stream.read_exact(&mut came).unwrap();
                assert_eq!(came, *CONNECT);
                stream.write_all(answer).unwrap();
            });
            assert_eq!(ask(("127.0.0.1", port)).map_err(|_| ()), expected);
            broker.join().unwrap();
        }
        let closed = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        assert!(ask(("127.0.0.1", closed)).is_err());
    }
}
