//! `benchscribe watch` in a real terminal line, in front of the running daemon and simulated instruments.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

#[path = "watch/screen.rs"]
mod screen;
mod support;

use serde_json::{Value, json};
use simulators::{Fault, Instrument};

use screen::Screen;
use support::table::Table;
use support::{benchscribe, wait_for};

const ORDER: &str = r#"
order = "W-2001"
player = "P-1"
[[club]]
name = "7-iron"
kind = "iron"
head_mass = "270 g ± 2 g"
total_mass = "420 g ± 5 g"
"#;

#[test]
fn the_live_view_over_a_terminal_line() {
    let table = Table::new(11);
    let daemon = table.ready_daemon();
    let order = daemon.command(&json!({"command": "import_order", "text": ORDER}));
    assert_eq!(order.status, 200, "{order:?}");
    assert_eq!(daemon.command(&json!({"command": "open_order", "order": "W-2001"})).status, 200);

    let config = table.config.display().to_string();
    let mut screen = Screen::watch(80, 24, &["--config", &config]);
    screen.wait(&["7-iron", "W-2001/1", "0 of 2 done", "parts scale", "○ empty", "lay the head on a scale", "beat"]);

    table.lay_part(Instrument::PartsScale, 271.0);
    let text = screen.wait(&["head mass on the parts scale", "● settled", "target 270.0 g ± 2.0 g", "┃●┃  within"]);
    assert!(text.contains('█'), "no large digits:\n{text}");
    // Terminal and page say the same number.
    let shown = daemon.instrument("parts-scale")["readings"][0]["text"].as_str().unwrap().to_owned();
    screen.wait(&[&format!("reads {shown}")]);
    table.lift(&daemon, Instrument::PartsScale);
    screen.wait(&["○ empty", "head mass", "1 of 2 done"]);

    // A window made smaller is drawn anew; what matters most stays.
    screen.resize(40, 8);
    let text = screen.wait(&["○ empty", "7-iron"]);
    assert!(text.lines().all(|line| line.chars().count() <= 40), "{text}");
    screen.resize(100, 30);
    screen.wait(&["7-iron", "1 of 2 done", "total mass", "q leaves"]);

    // A plug is pulled, and put in again.
    table.bench.set_fault(Instrument::PartsScale, Fault::Unplugged);
    screen.wait(&["▲ parts scale", "plug the instrument in", "– – –"]);
    table.bench.set_fault(Instrument::PartsScale, Fault::None);
    wait_for("the warning goes", || (!screen.text().contains("▲ parts scale")).then_some(()));

    screen.type_keys(b"q");
    assert_eq!(screen.ended().code(), Some(0));
    wait_for("the terminal is given back", || screen.is_given_back().then_some(()));
}

#[test]
fn a_daemon_that_dies_is_told_at_once_and_found_again_wherever_it_comes_back() {
    let table = Table::new(12);
    let daemon = table.ready_daemon();
    let config = table.config.display().to_string();
    let mut screen = Screen::watch(80, 24, &["--config", &config]);
    screen.wait(&["parts scale", "○ empty"]);
    let before = beat(&screen.text());
    daemon.kill();
    // In the order in which it grows old; the last is there after three seconds.
    screen.wait(&["no connection to the bench program", "no daemon runs on"]);
    screen.wait(&["– – –", "no readings"]);
    // The port is another one now: the page's address in the configuration is any free one.
    let daemon = table.ready_daemon();
    screen.wait(&["○ empty", "parts scale"]);
    wait_for("the warning goes", || (!screen.text().contains("no connection")).then_some(()));
    assert_ne!(beat(&screen.text()), before, "the beat of the new daemon");
    screen.type_keys(&[3]);
    assert_eq!(screen.ended().code(), Some(0), "Ctrl-C leaves like q");

    // By its address, and with an end in order by a signal.
    let url = format!("http://{}/", daemon.address);
    let mut by_address = Screen::watch(80, 24, &["--url", &url, "--language", "de"]);
    by_address.wait(&["parts scale", "○ leer", "kein Auftrag wartet", "q beendet"]);
    by_address.type_keys(b"\x1b");
    assert_eq!(by_address.ended().code(), Some(0), "Escape leaves like q");
}

fn beat(text: &str) -> Option<u64> {
    text.split("beat ").nth(1)?.split_whitespace().next()?.parse().ok()
}

#[test]
fn what_cannot_be_watched_is_refused_in_words() {
    let refused = |arguments: &[&str], words: &str| {
        let output = benchscribe(["watch"].iter().chain(arguments));
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(words), "{said}");
    };
    refused(&[], "give --config FILE");
    refused(&["--url", "ftp://bench/"], "give http://NAME:PORT/");
    refused(&["--url", "http://127.0.0.1:1/"], "draws on a terminal");
    refused(&["--url", "http://127.0.0.1:1/", "--language", "xx"], "languages: en, de");
    // Something else than a bench answers; it is named, and asked again.
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    std::thread::spawn(move || {
        for connection in listener.incoming() {
            use std::io::{Read as _, Write as _};
            let mut connection = connection.unwrap();
            let mut head = [0_u8; 1024];
            assert!(connection.read(&mut head).unwrap() > 0);
            connection.write_all(b"HTTP/1.1 404 Not Found\r\ncontent-length: 0\r\n\r\n").ok();
        }
    });
    let screen = Screen::watch(100, 24, &["--url", &format!("http://{address}/")]);
    screen.wait(&["no connection to the bench program", "404"]);
}

/// A message of the stream that was never sent to this terminal must not leave it wrong: each event's state comes.
#[test]
fn terminal_and_state_agree_after_a_hundred_events() {
    let table = Table::new(13);
    let daemon = table.ready_daemon();
    let config = table.config.display().to_string();
    let screen = Screen::watch(80, 24, &["--config", &config]);
    screen.wait(&["○ empty"]);
    for number in 0..100 {
        let reply = daemon.command(&json!({"command": "operator", "operator": format!("person {number}")}));
        assert_eq!(reply.status, 200, "{reply:?}");
    }
    let seq = |state: &Value| state["seq"].as_u64().unwrap();
    screen.wait(&[&format!("entry {} ", seq(&daemon.state()))]);
}
