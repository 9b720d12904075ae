//! The HTTP contract as its clients rely on it: who may write from where, that reading changes nothing, that a gap in the events
//! can be filled, and metrics that a program which is not ours can read. Hosts, origins and problems are in `tests/faults`.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod support;

use std::collections::BTreeSet;
use std::net::{IpAddr, SocketAddr, UdpSocket};

use serde_json::{Value, json};
use simulators::{Fault, Instrument};
use support::daemon::Daemon;
use support::http::{Reply, ask};
use support::python::{python, run};
use support::table::Table;
use support::{json_lines, wait_for};

/// An address of this machine that is not loopback; choosing a route sends nothing. 192.0.2.1 is of the block for documentation
/// (RFC 5737).
fn own_address() -> IpAddr {
    let socket = UdpSocket::bind("0.0.0.0:0").unwrap();
    let found = socket.connect("192.0.2.1:9").and_then(|()| socket.local_addr());
    match found {
        Ok(address) if !address.ip().is_loopback() => address.ip(),
        other => panic!("this machine has no address but loopback ({other:?}), so the bench token is NOT tested"),
    }
}

#[test]
fn from_another_machine_everyone_reads_and_the_bench_token_writes() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("bench.toml");
    let data = folder.path().join("data");
    let text =
        format!("site = \"s\"\nbench = \"b\"\ndata = \"{}\"\n[http]\nlisten = \"0.0.0.0:0\"\n[mqtt]\n", data.display());
    std::fs::write(&config, text).unwrap();
    let daemon = Daemon::run(&config, 1.0);
    let outside = SocketAddr::new(own_address(), daemon.address.port());
    let inside = SocketAddr::from(([127, 0, 0, 1], daemon.address.port()));
    let token = std::fs::read_to_string(data.join("bench.token")).unwrap();
    let body = json!({"command": "operator", "operator": "K7"}).to_string();
    let post = |address: SocketAddr, token: Option<&str>| -> Reply {
        let bearer = token.map(|token| format!("Bearer {token}"));
        let headers: Vec<(&str, &str)> = bearer.iter().map(|bearer| ("authorization", bearer.as_str())).collect();
        ask(address, "POST", "/api/v1/command", &headers, &body).unwrap()
    };
    let seq = || ask(inside, "GET", "/api/v1/state", &[], "").unwrap().json()["seq"].as_u64().unwrap();
    let before = seq();
    for path in ["/", "/api/v1/state", "/api/v1/orders", "/api/v1/events", "/metrics", "/healthz", "/readyz"] {
        assert_eq!(ask(outside, "GET", path, &[], "").unwrap().status, 200, "{path}");
    }
    let token = token.trim();
    assert!(token.len() >= 32, "a token that can be guessed");
    let cut = &token[..token.len() - 1];
    for wrong in [None, Some(""), Some("x"), Some(cut), Some(&format!("{token}0")[..])] {
        post(outside, wrong).assert_problem(401, "bench.token");
    }
    // The same words in another place of the request are no token.
    let path = format!("/api/v1/command?token={token}");
    ask(outside, "POST", &path, &[], &body).unwrap().assert_problem(401, "bench.token");
    assert_eq!(seq(), before, "a refused command left an event");
    assert_eq!(post(outside, Some(token)).status, 200);
    assert_eq!(seq(), before + 1);
    assert_eq!(post(inside, None).status, 200, "on this machine no token is needed");
    // Only the owner of the folder may read it.
    let mode = std::os::unix::fs::MetadataExt::mode(&std::fs::metadata(data.join("bench.token")).unwrap());
    assert_eq!(mode & 0o077, 0, "{mode:o}");
}

/// Each address that can be read, filled in with what there is.
fn readable() -> Vec<String> {
    let description: Value = serde_json::from_str(include_str!("../src/output/web/openapi.json")).unwrap();
    let paths = description["paths"].as_object().unwrap();
    let pages =
        ["/", "/instruments", "/records", "/orders", "/studies", "/pattern", "/records/W-1%2F1", "/sheets/W-1/1"];
    let data = paths.iter().filter(|(path, item)| item.get("get").is_some() && path.as_str() != "/api/v1/live");
    let filled = data.map(|(path, _)| {
        let values =
            [("{id}", "parts-scale"), ("{order}", "W-1"), ("{club}", "W-1/1"), ("{study}", "s"), ("{event}", "e")];
        values.iter().fold(path.clone(), |path, (name, value)| path.replace(name, value))
    });
    filled.chain(pages.map(str::to_owned)).collect()
}

#[test]
fn reading_changes_nothing_and_commands_are_not_read() {
    let table = Table::new(21);
    let daemon = table.ready_daemon();
    let order = "order = \"W-1\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nhead_mass = \"203 g ± 2 g\"\n";
    assert_eq!(daemon.command(&json!({"command": "import_order", "text": order})).status, 200);
    let before = daemon.events_after(0);
    let paths = readable();
    assert!(paths.len() > 25, "{paths:?}");
    for path in &paths {
        for method in ["GET", "HEAD"] {
            let reply = ask(daemon.address, method, path, &[], "").unwrap();
            assert!(reply.status < 500, "{method} {path}: {}", reply.status);
        }
        for query in ["?command=void_last&why=x", "?operator=K7"] {
            ask(daemon.address, "GET", &format!("{path}{query}"), &[], "").unwrap();
        }
    }
    let command = "/api/v1/command?command=operator&operator=K7";
    assert_eq!(ask(daemon.address, "GET", command, &[], "").unwrap().status, 405);
    for method in ["PUT", "DELETE", "PATCH"] {
        let reply = ask(daemon.address, method, "/api/v1/command", &[], r#"{"command":"operator"}"#).unwrap();
        assert_eq!(reply.status, 405, "{method}");
    }
    // Instruments that were not heard for a while on a busy machine may have been told as lost meanwhile; nothing else.
    let silent = |event: &Value| ["instrument_lost", "instrument_found"].contains(&event["kind"].as_str().unwrap());
    let after: Vec<Value> = daemon.events_after(0).into_iter().skip(before.len()).filter(|e| !silent(e)).collect();
    assert_eq!(after, Vec::<Value>::new());
}

#[test]
fn a_gap_in_the_events_is_filled_and_the_chain_holds_over_it() {
    let table = Table::new(22);
    let daemon = table.ready_daemon();
    for number in 0..700 {
        let reply = daemon.command(&json!({"command": "operator", "operator": format!("K{number}")}));
        assert_eq!(reply.status, 200, "{reply:?}");
    }
    let all = daemon.events_after(0);
    let seqs: Vec<u64> = all.iter().map(|event| event["seq"].as_u64().unwrap()).collect();
    assert_eq!(seqs, (1..=seqs.len() as u64).collect::<Vec<_>>());
    assert!(seqs.len() > 700, "more than one page");
    // A consumer that has seen up to here, and knows the epoch from the event.
    let (epoch, here) = (all[150]["epoch"].as_u64().unwrap(), all[150]["seq"].as_u64().unwrap());
    let page = daemon.get(&format!("/api/v1/events?after={epoch},{here}")).json();
    assert_eq!((&page["epoch"], &page["events"][0]), (&json!(epoch), &all[151]));
    // What another journal has counted says nothing here: everything comes, and the epoch says why.
    let other = daemon.get(&format!("/api/v1/events?after={},{here}", epoch + 1)).json();
    assert_eq!((&other["epoch"], &other["events"][0]["seq"]), (&json!(epoch), &json!(1)));
    // Behind the last one there is nothing yet.
    let last = all.last().unwrap()["seq"].as_u64().unwrap();
    let none = daemon.get(&format!("/api/v1/events?after={epoch},{last}")).json();
    assert_eq!((&none["events"], &none["more"]), (&json!([]), &json!(false)));
    for wrong in ["x", "1,", ",1", "-1", "1,2,3", "99999999999999999999"] {
        daemon.get(&format!("/api/v1/events?after={wrong}")).assert_problem(400, "EPOCH,SEQ");
    }
}

/// OpenMetrics 1.0 as `prometheus_client` (PyPI) reads it.
#[test]
fn metrics_are_openmetrics_with_few_labels() {
    let table = Table::new(23);
    let daemon = table.ready_daemon();
    table.bench.set_fault(Instrument::PartsScale, Fault::ForeignBytes { share: 0.5 });
    table.bench.set_fault(Instrument::Beam, Fault::BitFlips { share: 0.5 });
    // Whatever is scanned or typed must not become a label.
    for number in 0..50 {
        table.bench.scan(&format!("no ticket {number}"));
    }
    wait_for("runs of bytes that gave nothing", || {
        (daemon.instrument("parts-scale")["refused"].as_u64()? > 20
            && daemon.instrument("beam")["refused"].as_u64()? > 20)
            .then_some(())
    });
    let page = daemon.get("/metrics");
    let head = page.head.to_lowercase();
    assert!(head.contains("content-type: application/openmetrics-text; version=1.0.0"), "{head}");
    assert!(page.body.ends_with("# EOF\n"), "{}", page.body);
    let python = python("openmetrics", &["prometheus_client==0.23.1"]);
    let file = table.folder.path().join("metrics");
    let read = |text: &str| {
        std::fs::write(&file, text).unwrap();
        run(&python, "http/openmetrics.py", &[&file.display().to_string()])
    };
    let samples = json_lines(&read(&page.body).unwrap_or_else(|error| panic!("{error}{}", page.body)));
    let state = daemon.state();
    let ids: BTreeSet<&str> =
        state["instruments"].as_array().unwrap().iter().map(|i| i["id"].as_str().unwrap()).collect();
    let value = |name: &str, id: Option<&str>| {
        let is_it =
            |sample: &&Value| sample["name"] == name && id.is_none_or(|id| sample["labels"]["instrument"] == id);
        samples.iter().find(is_it).unwrap_or_else(|| panic!("no {name}: {}", page.body))["value"].as_f64().unwrap()
    };
    assert!(value("benchscribe_journal_events_total", None) >= 1.0);
    assert!((value("benchscribe_instrument_connected", Some("club-scale")) - 1.0).abs() < f64::EPSILON);
    assert!(value("benchscribe_instrument_age_seconds", Some("club-scale")) < 60.0);
    for sample in &samples {
        for (name, label) in sample["labels"].as_object().unwrap() {
            let label = label.as_str().unwrap();
            match name.as_str() {
                "instrument" => assert!(ids.contains(label), "{sample}"),
                // A short name out of the program's own list.
                "reason" => {
                    assert!(label.len() < 30 && label.bytes().all(|b| b.is_ascii_lowercase() || b == b'_'), "{sample}")
                }
                other => panic!("a label {other}: {sample}"),
            }
        }
    }
    // At most this many, whatever comes: reasons are a closed list.
    let reasons: BTreeSet<&str> = samples.iter().filter_map(|sample| sample["labels"]["reason"].as_str()).collect();
    assert!((1..=20).contains(&reasons.len()) && samples.len() <= 1 + ids.len() * 22, "{reasons:?}");
    // The parser is one that refuses: an unfinished page is none.
    assert!(read(page.body.trim_end_matches("# EOF\n")).is_err());
}
