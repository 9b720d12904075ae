//! The drawers through every door of the whole program: page's state, HTTP commands, command line, record; before and
//! after a restart, and with no daemon running.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

#[path = "drawers/few.rs"]
mod few;
mod support;

use std::path::{Path, PathBuf};

use few::{KIT, ORDER};
use serde_json::{Value, json};
use support::daemon::Daemon;
use support::{assert_verified, benchscribe, json_lines, on_data};

fn bench(folder: &Path) -> (PathBuf, PathBuf) {
    let (config, data) = (folder.join("bench.toml"), folder.join("data"));
    std::fs::write(folder.join("kit.toml"), KIT).unwrap();
    let text = format!(
        "site = \"test\"\nbench = \"bench-1\"\ndata = \"{}\"\nkits = [\"kit.toml\"]\n[http]\nlisten = \"127.0.0.1:0\"\n[mqtt]\n",
        data.display()
    );
    std::fs::write(&config, text).unwrap();
    (config, data)
}

#[track_caller]
fn done(data: &Path, arguments: &[&str]) -> (String, String) {
    let (code, out, err) = on_data(data, arguments);
    assert_eq!(code, Some(0), "{arguments:?}: {out}{err}");
    (out, err)
}

#[track_caller]
fn refused(data: &Path, arguments: &[&str], words: &str) {
    let (code, _, err) = on_data(data, arguments);
    assert!(code == Some(2) && err.contains(words), "{arguments:?}: {code:?} {err}");
}

fn left(stock: &Value, item: &str) -> u64 {
    let lines = stock["stock"].as_array().unwrap();
    lines.iter().find(|line| line["item"] == item).unwrap()["left"].as_u64().unwrap()
}

#[test]
fn parts_are_proposed_taken_and_put_back_through_every_door() {
    let folder = tempfile::tempdir().unwrap();
    let (config, data) = bench(folder.path());
    let check = benchscribe(["check".as_ref(), "--config".as_ref(), config.as_os_str()]);
    let said = String::from_utf8_lossy(&check.stdout).into_owned();
    assert!(check.status.success() && said.contains("2 kinds of part"), "{said}");

    let daemon = Daemon::run(&config, 1.0);
    let does = |command: Value| {
        let reply = daemon.command(&command);
        assert_eq!(reply.status, 200, "{command}: {}", reply.body);
    };
    does(json!({"command": "import_order", "text": ORDER}));
    does(json!({"command": "open_order", "order": "W-1"}));
    does(json!({"command": "enter", "characteristic": "length", "quantity": "45 in"}));
    does(json!({"command": "step_done", "step": "grip"}));
    does(json!({"command": "enter", "characteristic": "swing_weight", "quantity": "D1.4 ± 0.01"}));
    let club = daemon.state()["club"].clone();
    assert_eq!(club["advice"], json!(["put 2 g + 0.5 g at the head: D3.0, total +2.5 g"]));
    let proposal = club["proposals"][0]["proposal"].as_str().unwrap().to_owned();
    daemon.command(&json!({"command": "use_proposal", "proposal": "x"})).assert_problem(422, "not proposed");

    // The command line reaches the running daemon; low stock is said.
    let (out, err) = done(&data, &["drawers", "use", &proposal]);
    assert!(out.contains("taken") && err.contains("low stock: 2 w-2 left"), "{out}{err}");
    let state = daemon.state();
    assert_eq!(state["club"]["consumption"][0]["parts"][0]["item"], "w-2");
    assert_eq!(state["low_stock"][0]["item"], "w-2");
    assert_eq!(left(&daemon.get("/api/v1/drawers").json(), "w-2"), 2);
    assert!(daemon.terminate().success());

    // With no daemon the journal itself is changed, under its lock.
    let list = |data: &Path| json_lines(&done(data, &["drawers", "list", "--json"]).0).remove(0);
    assert_eq!(left(&list(&data), "w-0.5"), 3);
    done(&data, &["drawers", "refill", "w-2", "10"]);
    done(&data, &["drawers", "take", "w-2", "--club", "W-1/1"]);
    refused(&data, &["drawers", "take", "w-2", "--pieces", "3", "--club", "W-1/1"], "too much");
    refused(&data, &["drawers", "count", "w-9", "1"], "there is no w-9");
    let record = |data: &Path| json_lines(&done(data, &["records", "show", "W-1/1", "--json"]).0).remove(0);
    let consumption = record(&data)["consumption"].clone();
    assert_eq!(consumption.as_array().unwrap().len(), 2);
    assert_eq!(
        consumption[1]["parts"],
        json!([{"item": "w-2", "kind": "weight", "pieces": 1, "mass_g": 2.0, "place": "head", "at_mm": 1143.0}])
    );

    // A restart keeps the journal's numbers, not the file's.
    let daemon = Daemon::run(&config, 1.0);
    assert_eq!(left(&daemon.get("/api/v1/drawers").json(), "w-2"), 11);
    let taking = consumption[1]["event"].as_str().unwrap();
    done(&data, &["drawers", "put-back", taking, "--why", "wrong club"]);
    assert_eq!(left(&daemon.get("/api/v1/drawers").json(), "w-2"), 12);
    assert_eq!(record(&data)["consumption"][1]["returned"], "wrong club");

    // Out of a club that is handed over nothing comes by any door before somebody has decided.
    let kept = consumption[0]["event"].as_str().unwrap();
    let over = json!({"command": "override_hand_over", "club": "W-1/1", "name": "K7", "why": "as agreed"});
    assert_eq!(daemon.command(&over).status, 200);
    let words = "W-1/1 is handed over already, nothing is taken out: `orders resume W-1/1";
    daemon.command(&json!({"command": "put_back", "taking": kept, "why": "x"})).assert_problem(422, words);
    refused(&data, &["drawers", "put-back", kept, "--why", "x"], words);
    assert!(daemon.terminate().success());
    refused(&data, &["drawers", "put-back", kept, "--why", "x"], words);
    refused(&data, &["drawers", "take", "w-2", "--club", "W-1/1"], "nothing is put in: `orders resume W-1/1");
    done(&data, &["orders", "resume", "W-1/1", "--by", "K7", "--why", "its player wants less"]);
    done(&data, &["drawers", "put-back", kept, "--why", "too much"]);
    assert_verified(&data);
}

#[test]
fn a_kit_with_mistakes_is_told_and_nothing_starts() {
    let folder = tempfile::tempdir().unwrap();
    let (config, _) = bench(folder.path());
    std::fs::write(folder.path().join("kit.toml"), KIT.replace("mass = \"2 g\"", "mass = \"2,0 g\"")).unwrap();
    let check = benchscribe(["check".as_ref(), "--config".as_ref(), config.as_os_str()]);
    let said = String::from_utf8_lossy(&check.stdout).into_owned();
    assert!(check.status.code() == Some(1) && said.contains("kit.toml:11: weight[1].mass"), "{said}");
    let run = benchscribe(["run".as_ref(), "--config".as_ref(), config.as_os_str()]);
    assert_eq!(run.status.code(), Some(2), "{}", String::from_utf8_lossy(&run.stderr));
}
