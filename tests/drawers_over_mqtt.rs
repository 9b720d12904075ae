//! The drawers by commands over a real MQTT broker: proposals used, parts taken and put back, stock counted and refilled, each
//! answered, carried out once, kept in the journal, and told on the topics as they are described.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]
#![allow(clippy::disallowed_methods, reason = "a test measures real time from outside of the daemon")]

#[path = "mqtt/described.rs"]
mod described;
#[path = "drawers/few.rs"]
mod few;
#[path = "mqtt/mosquitto.rs"]
#[allow(dead_code, reason = "shared with the tests of the MQTT output")]
mod mosquitto;
mod support;

use std::path::Path;
use std::time::Duration;

use described::{ANSWERS, assert_described};
use few::{KIT, ORDER};
use mosquitto::{Mosquitto, Seen, Subscriber, publish};
use serde_json::{Value, json};
use support::assert_verified;
use support::daemon::Daemon;

const ROOT: &str = "benchscribe/v1/test/bench-1/";
const SOON: Duration = Duration::from_secs(10);

/// A program at the broker that gives commands.
struct Sender {
    port: u16,
    answers: Subscriber,
    sent: u32,
}

impl Sender {
    /// Sends a command; its answer.
    #[track_caller]
    fn ask(&mut self, command: &Value) -> Value {
        self.sent += 1;
        let id = self.sent.to_string();
        let path = ["-D", "publish", "response-topic", ANSWERS, "-D", "publish", "correlation-data", &id];
        publish(self.port, &format!("{ROOT}command"), &command.to_string(), &path);
        self.answers.wait(ANSWERS, SOON, |answer| answer.correlation == id).json()
    }

    #[track_caller]
    fn does(&mut self, command: &Value) {
        // What is to be said of it may come along.
        let answer = self.ask(command);
        assert_eq!(answer["ok"], json!(true), "{command}: {answer}");
    }

    #[track_caller]
    fn is_refused(&mut self, command: &Value, words: &str) {
        let answer = self.ask(command);
        assert!(answer["error"].as_str().is_some_and(|error| error.contains(words)), "{command}: {answer}");
    }
}

fn start(folder: &Path, broker: u16, commands: bool) -> Daemon {
    std::fs::write(folder.join("kit.toml"), KIT).unwrap();
    let config = folder.join("bench.toml");
    let text = format!(
        "site = \"test\"\nbench = \"bench-1\"\ndata = \"{}\"\nkits = [\"kit.toml\"]\n[http]\nlisten = \"127.0.0.1:0\"\n\
         [mqtt]\nbroker = \"mqtt://127.0.0.1:{broker}\"\ncommands = {commands}\n",
        folder.join("data").display()
    );
    std::fs::write(&config, text).unwrap();
    Daemon::run(&config, 1.0)
}

fn left(daemon: &Daemon, item: &str) -> u64 {
    let stock = daemon.get("/api/v1/drawers").json();
    let line = stock["stock"].as_array().unwrap().iter().find(|line| line["item"] == item).cloned();
    line.unwrap()["left"].as_u64().unwrap()
}

#[test]
fn drawers_are_worked_over_the_broker() {
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().unwrap();
    let everything = Subscriber::start(broker.port, "#");
    let answers = Subscriber::start(broker.port, ANSWERS);
    let daemon = start(folder.path(), broker.port, true);
    everything.wait("/status", SOON, |status| status.json()["online"] == true);
    let mut sender = Sender { port: broker.port, answers, sent: 0 };
    // A subscription takes a moment after the first word of the bench: what comes before is not heard.
    support::wait_for("the first answer", || {
        sender.sent += 1;
        let id = sender.sent.to_string();
        let path = ["-D", "publish", "response-topic", ANSWERS, "-D", "publish", "correlation-data", &id];
        publish(broker.port, &format!("{ROOT}command"), r#"{"command":"operator"}"#, &path);
        std::thread::sleep(Duration::from_millis(200));
        (!sender.answers.on(ANSWERS).is_empty()).then_some(())
    });

    sender.does(&json!({"command": "import_order", "text": ORDER}));
    sender.does(&json!({"command": "open_order", "order": "W-1"}));
    sender.does(&json!({"command": "enter", "characteristic": "length", "quantity": "45 in"}));
    sender.does(&json!({"command": "step_done", "step": "grip"}));
    sender.does(&json!({"command": "enter", "characteristic": "swing_weight", "quantity": "D1.4 ± 0.01"}));
    // The proposal stands on the topic of the club; its name is all that a display needs.
    let club = everything.wait("/club", SOON, |club| club.json()["proposals"][0]["proposal"].is_string()).json();
    assert_eq!(club["advice"], json!(["put 2 g + 0.5 g at the head: D3.0, total +2.5 g"]));
    let proposal = club["proposals"][0]["proposal"].clone();
    sender.is_refused(&json!({"command": "use_proposal", "proposal": "x"}), "not proposed");
    assert_eq!((left(&daemon, "w-2"), left(&daemon, "w-0.5")), (3, 4));
    sender.does(&json!({"command": "use_proposal", "proposal": proposal}));
    assert_eq!((left(&daemon, "w-2"), left(&daemon, "w-0.5")), (2, 3));
    let taken = |club: &Value| club["consumption"].as_array().map_or(0, Vec::len);
    everything.wait("/club", SOON, |club| taken(&club.json()) == 1);
    // What is not proposed any more is not taken twice by an old display.
    sender.is_refused(&json!({"command": "use_proposal", "proposal": proposal}), "not proposed");

    sender.does(&json!({"command": "take_part", "item": "w-2"}));
    assert_eq!(left(&daemon, "w-2"), 1);
    sender.is_refused(&json!({"command": "take_part", "item": "w-2", "pieces": 3}), "1 are there");
    sender.is_refused(&json!({"command": "take_part", "item": "w-9"}), "there is no w-9");
    let club = everything.wait("/club", SOON, |club| taken(&club.json()) == 2).json();
    let taking = club["consumption"][1]["event"].clone();
    sender.is_refused(&json!({"command": "put_back", "taking": taking}), "\"why\" is missing");
    sender.does(&json!({"command": "put_back", "taking": taking, "why": "wrong club"}));
    assert_eq!(left(&daemon, "w-2"), 2);
    everything.wait("/club", SOON, |club| club.json()["consumption"][1]["returned"] == "wrong club");
    sender.does(&json!({"command": "count_stock", "item": "w-0.5", "pieces": 9}));
    sender.does(&json!({"command": "refill_stock", "item": "w-0.5", "pieces": 11}));
    assert_eq!(left(&daemon, "w-0.5"), 20);
    sender.is_refused(&json!({"command": "count_stock", "item": "w-0.5", "pieces": "many"}), "no whole number");

    // Out of a club that is handed over nothing comes before somebody has decided.
    let kept = everything.on("/club").last().unwrap().json()["consumption"][0]["event"].clone();
    sender.does(&json!({"command": "override_hand_over", "name": "K7", "why": "as agreed"}));
    let put_back = json!({"command": "put_back", "taking": kept, "why": "too much"});
    sender.is_refused(&put_back, "W-1/1 is handed over already, nothing is taken out: `orders resume W-1/1");
    // Whom the club is for stays with the bench: a record that is retained by a broker has no player.
    let finished = |record: &Seen| record.topic.contains("/record/") && record.json()["state"] == "finished";
    let record = support::wait_for("the record", || everything.all().into_iter().find(finished)).json();
    assert!(record["order"] == "W-1" && record.get("player").is_none(), "{record}");
    let over_http: Value = daemon.get("/api/v1/records/W-1/1").json();
    assert_eq!(over_http["player"], "P-17");

    let kinds = ["parts_taken", "parts_returned", "stock_counted", "stock_refilled"];
    let told = |kind: &str| everything.on("/event").iter().filter(|event| event.json()["kind"] == kind).count();
    everything.wait("/event", SOON, |event| event.json()["kind"] == "stock_refilled");
    assert_eq!(kinds.map(told), [2, 1, 1, 1], "each done once");
    let counted = assert_described(&everything);
    assert!(counted.contains("answer "), "{counted}");
    assert!(daemon.terminate().success());
    assert_verified(&folder.path().join("data"));

    // A bench that does not allow commands takes none, and the stock stays.
    let daemon = start(folder.path(), broker.port, false);
    let online =
        |told: usize| everything.on("/status").iter().filter(|status| status.json()["online"] == true).count() > told;
    support::wait_for("the bench is back", || online(1).then_some(()));
    let before = sender.answers.on(ANSWERS).len();
    let path = ["-D", "publish", "response-topic", ANSWERS];
    publish(broker.port, &format!("{ROOT}command"), r#"{"command":"refill_stock","item":"w-2","pieces":5}"#, &path);
    std::thread::sleep(Duration::from_millis(500));
    assert_eq!((sender.answers.on(ANSWERS).len(), left(&daemon, "w-2")), (before, 2));
}
