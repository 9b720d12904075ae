//! The built program: over HTTP and at the terminal, through a power cut.

use super::support::shop::Shop;
use super::*;

#[test]
fn a_step_is_taken_back_over_http_and_at_the_terminal_through_a_power_cut() {
    let shop = Shop::new();
    let product = shop.folder.path().join("dune.toml");
    std::fs::write(&product, ADHESIVE).unwrap();
    shop.done(&["adhesives", "enter", product.to_str().unwrap()]);
    let order = shop.folder.path().join("w-8.toml");
    std::fs::write(&order, ORDER).unwrap();
    shop.done(&["orders", "import", order.to_str().unwrap()]);
    shop.done(&["adhesives", "mix", "dune-2k", "--temperature", "21 °C", "--lot", "L-77"]);
    let daemon = Daemon::run(&shop.config, 1.0);
    let gives = |daemon: &Daemon, command: Value| {
        let reply = daemon.command(&command);
        assert_eq!(reply.status, 200, "{command}");
        reply.json()["said"].clone()
    };
    let scan = |daemon: &Daemon, code: &str| gives(daemon, json!({"command": "scan", "code": code}));
    scan(&daemon, "BS1/O/W-8");
    scan(&daemon, "BS1/S/BOND");
    assert!(shop.done(&["records", "list", "--lot", "L-77"]).contains("W-8/1"));
    let said = scan(&daemon, "BS1/V");
    assert_eq!(said[0], "the step \"bond head and shaft\" at W-8/1 is taken back");
    // As a power cut does.
    daemon.kill();
    let daemon = Daemon::run(&shop.config, 1.0);
    let state = daemon.state();
    assert!(state["club"]["adhesive"].is_null(), "{}", state["club"]["adhesive"]);
    assert!(!state["timers"].to_string().contains("W-8/1"), "{}", state["timers"]);
    assert!(!shop.done(&["records", "list", "--lot", "L-77"]).contains("W-8/1"));
    assert_eq!(daemon.get("/api/v1/records/W-8/1").json()["steps_taken_back"][0]["step"], "bond");
    scan(&daemon, "BS1/S/BOND");
    let bonded = daemon.state()["club"]["adhesive"].clone();
    assert_eq!(bonded["batch"], "B-1");
    assert!(daemon.terminate().success());
    // By the event that `records show` names, without a daemon.
    let record = record_of(&shop);
    let bond = record["steps"].as_array().unwrap().last().unwrap();
    assert_eq!((&bond["step"], &bond["at"]), (&json!("bond"), &bonded["bonded_at"]));
    let event = bond["event"].as_str().unwrap();
    let shown = shop.done(&["records", "show", "W-8/1"]);
    assert!(
        shown.lines().any(|line| line.starts_with("step bond ") && line.ends_with(&format!("event {event}"))),
        "{shown}"
    );
    let said = shop.done(&["records", "void", event, "--why", "the head was dry"]);
    assert!(said.contains("the step \"bond head and shaft\" at W-8/1 is taken back"), "{said}");
    let shown = shop.done(&["records", "show", "W-8/1"]);
    assert!(shown.contains(": the head was dry)") && !shown.contains("adhesive "), "{shown}");
    assert_eq!(record_of(&shop)["steps_taken_back"].as_array().unwrap().len(), 2);
    // Once is enough to say that a step is done.
    let said = shop.done(&["scan", "BS1/S/FINAL-CHECK"]);
    assert_eq!(said.matches("\"final check\" is done at W-8/1").count(), 1, "{said}");
    assert!(said.contains("not measured"), "{said}");
    assert_verified(&shop.folder.path().join("data"));
}

fn record_of(shop: &Shop) -> Value {
    serde_json::from_str(&shop.done(&["records", "show", "W-8/1", "--json"])).unwrap()
}
