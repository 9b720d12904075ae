//! Who may come in: one daemon a folder, known hosts, own pages, known commands; and one program a port.

use std::fs::OpenOptions;
use std::os::unix::fs::OpenOptionsExt as _;

use serde_json::json;
use simulators::Instrument;

use crate::support::http::ask;
use crate::support::table::Table;
use crate::support::{benchscribe, on_data};

#[test]
fn a_second_daemon_on_the_same_folder_is_refused() {
    let table = Table::new(11);
    let daemon = table.daemon();
    let second = benchscribe(["run".as_ref(), "--config".as_ref(), table.config.as_os_str()]);
    let err = String::from_utf8_lossy(&second.stderr);
    assert_eq!(second.status.code(), Some(2), "{err}");
    assert!(err.contains(&format!("is in use by a running benchscribe (process {})", daemon.pid())), "{err}");
    // The first one has not noticed.
    assert_eq!(daemon.get("/readyz").status, 200);
    let pid = daemon.pid();
    daemon.kill();
    // A killed daemon holds no lock: the folder is free at once.
    let next = table.daemon();
    assert_ne!(next.pid(), pid);
}

#[test]
fn the_page_takes_no_requests_from_strangers() {
    let table = Table::new(12);
    let daemon = table.ready_daemon();
    let get = |headers: &[(&str, &str)]| ask(daemon.address, "GET", "/api/v1/state", headers, "").unwrap();
    let enter = json!({"command": "operator", "operator": "K7"}).to_string();
    let post =
        |headers: &[(&str, &str)], body: &str| ask(daemon.address, "POST", "/api/v1/command", headers, body).unwrap();
    let before = daemon.state()["seq"].clone();

    // DNS rebinding: a name that we are not known by. 421 after RFC 9110, 15.5.20.
    for host in ["evil.example", "evil.example:80", "localhost.evil.example", "127.0.0.1.evil.example", ""] {
        get(&[("host", host)]).assert_problem(421, "hosts");
        post(&[("host", host)], &enter).assert_problem(421, "hosts");
    }
    let port = daemon.address.port();
    for host in [format!("localhost:{port}"), format!("bench.local:{port}"), "[::1]".to_owned()] {
        assert_eq!(get(&[("host", &host)]).status, 200, "{host}");
    }
    // A page of somebody else makes the browser send a command.
    for headers in [
        [("origin", "http://evil.example")],
        [("origin", "null")],
        [("origin", "http://127.0.0.1:1")],
        [("sec-fetch-site", "cross-site")],
    ] {
        post(&headers, &enter).assert_problem(403, "own pages");
    }
    // A form of somebody else cannot send JSON without being asked first: other types of content are no commands.
    let form = post(&[("content-type", "text/plain")], &enter);
    assert!((400..500).contains(&form.status), "{form:?}");
    assert_eq!(daemon.state()["seq"], before, "one of them left an event");

    let own = format!("http://{}", daemon.address);
    assert_eq!(post(&[("origin", &own)], &enter).status, 200);
    assert_eq!(daemon.state()["operator"], "K7");
}

#[test]
fn what_is_no_command_is_answered_with_a_problem() {
    let table = Table::new(13);
    let daemon = table.daemon();
    let post = |body: &str| ask(daemon.address, "POST", "/api/v1/command", &[], body).unwrap();
    post("{}").assert_problem(422, "expected one of");
    post(r#"{"command": "fly"}"#).assert_problem(422, "there is no command \"fly\"");
    post(r#"{"command": 7}"#).assert_problem(422, "expected one of");
    post("[]").assert_problem(422, "expected one of");
    post("{").assert_problem(400, "");
    post(r#"{"command": "open_order", "order": "W-0"}"#).assert_problem(422, "there is no order W-0");
    daemon.get("/api/v1/nothing").assert_problem(404, "/api/v1/");
    daemon.get("/api/v1/events?after=x").assert_problem(400, "EPOCH,SEQ");
    let huge = format!(r#"{{"command": "operator", "operator": "{}"}}"#, "x".repeat(3 << 20));
    assert!((400..500).contains(&post(&huge).status), "a body of 3 MiB was taken");
    assert_eq!(daemon.get("/healthz").status, 200);
    let wrong = ask(daemon.address, "DELETE", "/api/v1/state", &[], "").unwrap();
    assert_eq!(wrong.status, 405, "{wrong:?}");
}

#[test]
fn a_port_that_another_program_holds_is_named_and_used_as_soon_as_it_is_free() {
    let table = Table::new(14);
    let device = std::fs::read_link(table.bench.port(Instrument::PartsScale)).unwrap();
    /// O_NOCTTY | O_NONBLOCK of Linux (asm-generic/fcntl.h, octal 400 and 4000).
    const FLAGS: i32 = 0o400 | 0o4000;
    let other = OpenOptions::new().read(true).write(true).custom_flags(FLAGS).open(&device).unwrap();
    // Serial programs hold a port by an advisory lock; exclusive mode does not stop the superuser, the lock does.
    other.lock().unwrap();
    let daemon = table.daemon();
    let view = daemon.wait_instrument("parts-scale", "named the other program", |view| view["error"].is_string());
    let words = view["error"].as_str().unwrap();
    assert!(words.contains("in use by another program; close it"), "{words}");
    assert_eq!((&view["phase"], &view["connected"]), (&json!("lost"), &json!(false)));
    let banners = daemon.state()["banners"].clone();
    let banner = banners.as_array().unwrap().iter().find(|b| b["text"].as_str().unwrap().contains("parts scale"));
    assert!(banner.is_some_and(|b| b["remedy"].as_str().unwrap().contains("close it")), "{banners}");
    // The others work meanwhile.
    daemon.wait_phase("beam", "empty");
    drop(other);
    let view = daemon.wait_phase("parts-scale", "empty");
    assert_eq!(view["error"], json!(null));

    // And the daemon holds it against others in the same way.
    let other = OpenOptions::new().read(true).write(true).custom_flags(FLAGS).open(&device);
    assert!(
        other.is_err() || other.is_ok_and(|file| file.try_lock().is_err()),
        "the port can be taken from the daemon"
    );
    assert_eq!(on_data(&table.data, &["records", "verify"]).0, Some(0));
}
