//! The description of the MQTT topics against what is really sent, and against what an AsyncAPI document must be.
//!
//! Independent of this project: the mosquitto broker and its client, Python's jsonschema, and the published JSON Schema of
//! AsyncAPI 3.0 (npm package `@asyncapi/specs`).
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]
#![allow(clippy::disallowed_methods, reason = "a test measures real time from outside of the daemon")]

#[path = "mqtt/described.rs"]
mod described;
#[path = "mqtt/mosquitto.rs"]
#[allow(dead_code, reason = "shared with the tests of the MQTT output")]
mod mosquitto;
mod support;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use described::{VALIDATOR, assert_described, validate};
use mosquitto::{Mosquitto, Seen, Subscriber, publish};
use serde_json::{Value, json};
use support::benchscribe;
use support::daemon::Daemon;
use support::python::{python, run};

const SPECIFICATION: &str = "@asyncapi/specs@6.11.1";
const ROOT: &str = "benchscribe/v1/dune-trailer/bench-1/";

#[test]
fn every_message_of_whole_clubs_is_as_its_topic_is_described() {
    let broker = Mosquitto::start();
    let everything = Subscriber::start(broker.port, "#");
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let url = format!("mqtt://127.0.0.1:{}", broker.port);
    let fixed =
        ["demo", "--once", "--clubs", "2", "--pace", "15", "--listen", "127.0.0.1:0", "--broker", &url, "--data"];
    let output = benchscribe(fixed.map(AsRef::as_ref).into_iter().chain([data.as_os_str()]));
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    everything.wait("/status", Duration::from_secs(10), |status| status.json()["online"] == false);
    // Commands are a topic of their own; what one looks like is in the description.
    publish(broker.port, &format!("{ROOT}command"), r#"{"command": "void_last", "why": "wrong part"}"#, &[]);
    everything.wait("/command", Duration::from_secs(10), |_| true);

    let counted = assert_described(&everything);
    let count = |channel: &str| -> usize {
        let line = counted.lines().find_map(|line| line.strip_prefix(channel));
        line.and_then(|rest| rest.trim().parse().ok()).unwrap_or_else(|| panic!("{channel} had no message: {counted}"))
    };
    for (channel, least) in [
        ("club", 20),
        ("command", 1),
        ("event", 40),
        ("instrument", 5),
        ("live", 100),
        ("order", 5),
        ("record", 2),
        ("status", 2),
    ] {
        assert!(count(channel) >= least, "{channel}: {counted}");
    }
    assert_eq!(counted.lines().count(), 8, "a channel that is described had no message, or one is missing: {counted}");

    // How they are sent is as described as well.
    let bindings = bindings();
    let binding = |topic: &str| {
        let channel = topic.strip_prefix(ROOT).unwrap().split('/').next().unwrap();
        bindings.iter().find(|binding| binding.channel == channel).unwrap_or_else(|| panic!("{topic} has no operation"))
    };
    for Seen { topic, qos, expiry_s, .. } in everything.all() {
        // The subscriber asks for 1, so it sees what was sent.
        assert_eq!(u64::from(qos), binding(&topic).qos, "{topic}");
        assert_eq!(expiry_s.parse::<u64>().ok(), binding(&topic).expiry_s, "{topic}");
    }
    let late = Subscriber::start(broker.port, "#");
    late.wait("/club", Duration::from_secs(10), |_| true);
    std::thread::sleep(Duration::from_millis(300));
    for Seen { topic, .. } in late.all() {
        assert!(binding(&topic).retain, "{topic} is retained");
    }

    // A test that could not fail would be none: what is not described, or not as described, is found.
    let refused = |topic: &str, payload: Value, words: &str| {
        let faults = validate(&[(format!("{ROOT}{topic}"), payload.to_string())]).unwrap_err();
        assert!(faults.contains(words), "{topic}: {faults}");
    };
    refused("mood", json!({}), "0 channels describe it");
    refused("status/now", json!({}), "0 channels describe it");
    refused("status", json!({"online": true, "since": "today", "session": "s", "version": "1"}), "since");
    refused("live/beam", json!({"t": 1.0, "phase": "asleep", "readings": []}), "'asleep' is not one of");
    refused("live/beam", json!({"t": 1.0, "phase": "held", "readings": [], "mood": 1}), "'mood' was unexpected");
    refused("order", json!({"order": 7}), "not valid under any of the given schemas");
    refused("record/ab", json!({"record_version": 1}), "'entries' is a required property");
}

/// What the clubs of the demo have not: marks with second measurements, parts that fit or do not, bends done and needed.
#[test]
fn a_club_that_is_cut_fitted_and_bent_is_as_described() {
    let broker = Mosquitto::start();
    let everything = Subscriber::start(broker.port, "#");
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("bench.toml");
    let text = format!(
        "site = \"dune-trailer\"\nbench = \"bench-1\"\ndata = \"{}\"\n[http]\nlisten = \"127.0.0.1:0\"\n\
         [mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\n[[bending]]\nmaterial = \"cast steel\"\nloft = \"1 deg\"\nlie = \"2 deg\"\n",
        folder.path().join("data").display(),
        broker.port
    );
    std::fs::write(&config, text).unwrap();
    let daemon = Daemon::run(&config, 1.0);
    everything.wait("/status", Duration::from_secs(10), |status| status.json()["online"] == true);
    let does = |command: Value| {
        let answer = daemon.command(&command);
        assert_eq!(answer.status, 200, "{command}: {answer:?}");
    };
    let club = |wanted: &dyn Fn(&Value) -> bool| {
        everything.wait("/club", Duration::from_secs(10), |message| wanted(&message.json()));
    };
    does(json!({"command": "import_order", "text": include_str!("../config/orders/w-1047.toml")}));
    does(json!({"command": "open_club", "club": "W-1047/1"}));
    does(json!({"command": "confirm_mark", "mark": "tip", "quantity": "900 mm"}));
    does(json!({"command": "override_mark", "mark": "tip", "name": "K7", "why": "no rule at hand"}));
    club(&|club| {
        club["cut"]["marks"][0]["history"].as_array().is_some_and(|deeds| deeds.len() == 2)
            && club["fit"][0].is_object()
    });
    does(json!({"command": "import_order", "text": BENT}));
    does(json!({"command": "open_club", "club": "W-8/1"}));
    for step in ["bond", "grip"] {
        does(json!({"command": "step_done", "step": step}));
    }
    does(json!({"command": "enter", "characteristic": "lie", "quantity": "60 deg"}));
    does(json!({"command": "bend", "characteristic": "lie", "quantity": "1 deg upright"}));
    does(json!({"command": "enter", "characteristic": "lie", "quantity": "60.8 deg"}));
    club(&|club| club["bending"]["done"][0].is_object() && club["bending"]["advice"][0].is_object());
    assert_described(&everything);

    let last = everything.all().into_iter().rfind(|seen| seen.topic.ends_with("/club")).unwrap();
    for (place, wrong) in [
        ("/bending/done/0/lever_deg", json!("1 deg")),
        ("/bending/advice/0/characteristic", json!("hue")),
        ("/rule_check/rules/0/standing", json!("allowed")),
    ] {
        let mut payload: Value = serde_json::from_str(&last.payload).unwrap();
        *payload.pointer_mut(place).unwrap() = wrong;
        validate(&[(last.topic.clone(), payload.to_string())]).unwrap_err();
    }
}

/// A club whose lie is bent.
const BENT: &str = r#"
order = "W-8"
[[club]]
name = "7-iron"
kind = "iron"
lie = "62 deg ± 0.5 deg"
[club.given]
head_material = "cast steel"
"#;

/// How the messages of a channel are sent, as its operation says.
struct Binding {
    channel: String,
    qos: u64,
    retain: bool,
    expiry_s: Option<u64>,
}

fn bindings() -> Vec<Binding> {
    let document: Value = serde_json::from_slice(&benchscribe(["topics"]).stdout).unwrap();
    let operations = document["operations"].as_object().unwrap();
    let binding = |operation: &Value| {
        let channel = operation["channel"]["$ref"].as_str().unwrap().rsplit('/').next().unwrap().to_owned();
        let mqtt = &operation["bindings"]["mqtt"];
        let (qos, retain) = (mqtt["qos"].as_u64().unwrap(), mqtt["retain"].as_bool().unwrap());
        Binding { channel, qos, retain, expiry_s: mqtt["messageExpiryInterval"].as_u64() }
    };
    operations.values().map(binding).collect()
}

#[test]
fn the_description_is_an_asyncapi_document() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("asyncapi");
    let schema = folder.join("node_modules/@asyncapi/specs/schemas/3.0.0.json");
    if !schema.exists() {
        std::fs::create_dir_all(&folder).unwrap();
        let install = ["install", "--silent", "--no-audit", "--no-fund", "--no-save", "--prefix", ".", SPECIFICATION];
        let installed = Command::new("npm").args(install).current_dir(&folder).status();
        assert!(installed.is_ok_and(|status| status.success()), "{SPECIFICATION} could not be installed: NOT tested");
    }
    let document = folder.join("topics.json");
    std::fs::write(&document, benchscribe(["topics"]).stdout).unwrap();
    let check = |file: &Path| {
        let arguments = [schema.display().to_string(), file.display().to_string()];
        run(&python("jsonschema", &VALIDATOR), "mqtt/asyncapi.py", &arguments.each_ref().map(String::as_str))
    };
    assert_eq!(check(&document), Ok("valid\n".to_owned()));
    let mut wrong: Value = serde_json::from_slice(&benchscribe(["topics"]).stdout).unwrap();
    wrong["operations"]["tellStatus"]["action"] = json!("shout");
    let file = folder.join("wrong.json");
    std::fs::write(&file, wrong.to_string()).unwrap();
    assert!(check(&file).unwrap_err().contains("shout"));
}
