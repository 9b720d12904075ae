//! Adhesive at the bench: batches and their working life, cures that outlive a restart and a clock that is put right,
//! and clubs that are not finished before they are cured.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod support;

use benchscribe::bench::core::{Core, Input};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::output::adhesive_view::timers;
use benchscribe::output::command;
use benchscribe::output::text::Lengths;
use benchscribe::output::work_view::{ClubView, work};
use benchscribe::work_order::record::ClubState;
use benchscribe::work_order::state::State;
use benchscribe::work_order::steps::Step;
use serde_json::{Value, json};
use support::daemon::Daemon;
use support::shop::Shop;
use support::{assert_verified, wait_for};

/// An invented product: 20 minutes of working life, an hour of cure, three hours to play.
const PRODUCT: &str = r#"
adhesive = "quick"
name = "Quick (invented)"
source = "invented for the test"
[[at]]
from = "18 °C"
to = "25 °C"
working_life = "20 min"
cure = "1 h"
play = "3 h"
"#;
const ORDER: &str = "order = \"W-1\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nroute = [\"bond\", \"cure\", \"cut\", \"grip\", \"rest\", \"adjust\", \"hand_over\"]\nlength = \"45 in ± 1/8 in\"\n\
    [[club]]\nname = \"7-iron\"\nkind = \"iron\"\nlength = \"37 in ± 1/8 in\"\n";

const MINUTE_US: i64 = 60_000_000;

/// A bench without instruments, its clocks moved by hand.
struct Bench {
    core: Core,
    /// The clock that only runs on, in minutes.
    minute: f64,
    /// The clock on the wall, in minutes.
    wall: i64,
}

impl Bench {
    fn new() -> Self {
        let mut bench = Self { core: Core::at_rest(State::default(), 1), minute: 0.0, wall: 1_000_000 };
        for command in [
            json!({"command": "enter_adhesive", "text": PRODUCT}),
            json!({"command": "import_order", "text": ORDER}),
            json!({"command": "open_order", "order": "W-1"}),
        ] {
            bench.does(command);
        }
        bench
    }

    fn stamp(&self) -> Stamp {
        Stamp { t_s: self.minute * 60.0, at_us: self.wall * MINUTE_US }
    }

    fn give(&mut self, command: &Value) -> Result<(), String> {
        let command = command::parse(command)?;
        let outcome = self.core.step(Input::Command { stamp: self.stamp(), command });
        self.core.commit(&outcome.events);
        outcome.refused.map_or(Ok(()), |refusal| Err(refusal.0))
    }

    #[track_caller]
    fn does(&mut self, command: Value) {
        self.give(&command).unwrap_or_else(|words| panic!("{command}: {words}"));
    }

    #[track_caller]
    fn refuses(&mut self, command: Value, words: &str) {
        let seq = self.core.state.seq;
        let refused = self.give(&command).expect_err(words);
        assert!(refused.contains(words), "{refused}");
        assert_eq!(self.core.state.seq, seq, "a refusal left an event");
    }

    fn wait(&mut self, minutes: i32) {
        self.minute += f64::from(minutes);
        self.wall += i64::from(minutes);
    }

    fn mixes(&mut self) {
        self.does(json!({"command": "mix_batch", "adhesive": "quick", "temperature": "21 °C"}));
    }

    fn steps(&mut self, step: &str) {
        self.does(json!({"command": "step_done", "step": step}));
    }

    fn measures_length(&mut self) {
        self.does(json!({"command": "enter", "club": "W-1/1", "characteristic": "length", "quantity": "45 in"}));
    }

    fn state_of_first(&self) -> ClubState {
        self.core.state.clubs["W-1/1"].state
    }

    fn shown(&self) -> ClubView {
        work(&self.core.state, Lengths::Inches, self.core.steady_us(self.stamp())).club.unwrap()
    }

    fn told(&self) -> Vec<String> {
        let at_us = self.core.steady_us(self.stamp());
        timers(&self.core.state, at_us).into_iter().map(|timer| timer.text).collect()
    }
}

#[test]
fn a_bond_takes_the_batch_in_force_and_an_expired_one_is_refused() {
    let mut bench = Bench::new();
    bench.refuses(json!({"command": "step_done", "step": "bond"}), "no batch of adhesive is in force");
    bench.refuses(json!({"command": "mix_batch", "adhesive": "quick", "temperature": "12 °C"}), "only at 18 to 25 °C");
    bench.refuses(json!({"command": "mix_batch", "adhesive": "other", "temperature": "21 °C"}), "entered: quick");
    bench.mixes();
    bench.wait(19);
    assert_eq!(bench.told(), ["B-1 (Quick (invented)): 60 s of working life left"]);
    bench.steps("bond");
    assert_eq!(bench.core.state.clubs["W-1/1"].steps[0].batch.as_deref(), Some("B-1"));
    bench.wait(1);
    bench.does(json!({"command": "open_club", "club": "W-1/2"}));
    bench.refuses(
        json!({"command": "step_done", "step": "bond"}),
        "batch B-1 of Quick (invented) is beyond its working life",
    );
    assert!(bench.told()[0].contains("working life is over, do not bond with it"), "{:?}", bench.told());
    bench.mixes();
    bench.steps("bond");
    assert_eq!(bench.core.state.clubs["W-1/2"].bond.as_ref().unwrap().batch.name, "B-2");
    bench.does(json!({"command": "discard_batch"}));
    assert_eq!(bench.told(), ["W-1/1 driver: cures, 59 min left", "W-1/2 7-iron: cures, 1 h left"]);
}

#[test]
fn nothing_behind_the_cure_is_done_to_a_club_that_cures() {
    let mut bench = Bench::new();
    bench.mixes();
    bench.steps("bond");
    bench.wait(10);
    for step in ["cure", "cut", "grip", "adjust"] {
        bench.refuses(json!({"command": "step_done", "step": step}), "W-1/1 is not cured: 50 min of 1 h");
    }
    bench.refuses(
        json!({"command": "bend", "characteristic": "lie", "quantity": "0.9 deg flat"}),
        "W-1/1 is not cured: 50 min of 1 h by the sheet of Quick (invented) (B-1); wait, or say who decides otherwise",
    );
    // A length within its limits would prove the cut: it is kept, the cut stays open.
    bench.measures_length();
    assert_eq!(bench.core.state.clubs["W-1/1"].valid().count(), 1);
    assert_eq!(bench.core.state.clubs["W-1/1"].next_step(), Some(Step::Cure));
    let club = bench.shown();
    assert_eq!(
        (club.next.as_str(), &club.advice),
        ("let it cure: 50 min left", &vec!["cures: 50 min left".to_owned()])
    );
    bench.wait(50);
    assert!(bench.shown().advice.is_empty());
    for step in ["cure", "grip", "rest"] {
        bench.steps(step);
    }
    bench.measures_length();
    bench.steps("hand_over");
    assert_eq!(bench.state_of_first(), ClubState::Finished);
    assert_eq!(bench.core.state.current_club.as_deref(), Some("W-1/2"));
    assert_eq!(bench.told()[1], "W-1/1 driver: not to be played for 2 h");
}

#[test]
fn a_cure_is_cut_short_only_with_a_name_and_a_reason() {
    let mut bench = Bench::new();
    bench.mixes();
    bench.steps("bond");
    bench.refuses(json!({"command": "override_cure", "name": "K7", "why": " "}), "\"why\" is missing");
    bench.refuses(
        json!({"command": "override_cure", "club": "W-1/2", "name": "K7", "why": "x"}),
        "was not bonded with a batch",
    );
    bench.does(json!({"command": "override_cure", "name": "K7", "why": "cured in the oven, sheet of the oven 12"}));
    bench.steps("grip");
    let bond = bench.core.state.clubs["W-1/1"].bond.clone().unwrap();
    assert_eq!(
        bond.overridden.map(|o| (o.name, o.why)),
        Some(("K7".into(), "cured in the oven, sheet of the oven 12".into()))
    );
}

#[test]
fn a_clock_that_is_put_right_neither_ends_a_cure_nor_starts_it_again() {
    for step in [600, -600] {
        let mut bench = Bench::new();
        bench.mixes();
        bench.steps("bond");
        bench.wait(20);
        bench.wall += step;
        bench.refuses(json!({"command": "step_done", "step": "grip"}), "40 min of 1 h");
        bench.measures_length();
        bench.wait(10);
        assert_eq!(bench.told().last().unwrap(), "W-1/1 driver: cures, 30 min left", "{step}");
        bench.wait(30);
        bench.steps("grip");
    }
}

#[test]
fn a_restart_in_the_middle_of_a_cure_changes_nothing_of_it() {
    let shop = Shop::new();
    let product = shop.folder.path().join("quick.toml");
    std::fs::write(&product, PRODUCT).unwrap();
    shop.done(&["adhesives", "enter", product.to_str().unwrap()]);
    let daemon = Daemon::run(&shop.config, 1.0);
    let gives = |daemon: &Daemon, command: Value| assert_eq!(daemon.command(&command).status, 200, "{command}");
    gives(&daemon, json!({"command": "import_order", "text": ORDER}));
    gives(&daemon, json!({"command": "open_order", "order": "W-1"}));
    let said = shop.done(&["adhesives", "mix", "quick", "--temperature", "70 °F", "--lot", "L-5"]);
    assert!(said.contains("B-1") && said.contains("min of working life left"), "{said}");
    gives(&daemon, json!({"command": "step_done", "step": "bond"}));
    let before = daemon.state()["club"]["adhesive"].clone();
    assert_eq!((&before["batch"], &before["lot"]), (&json!("B-1"), &json!("L-5")));
    // As a power cut does.
    daemon.kill();
    let daemon = Daemon::run(&shop.config, 1.0);
    let state = daemon.state();
    assert_eq!(state["club"]["adhesive"], before, "the times moved");
    let cure = state["timers"].as_array().unwrap().iter().find(|timer| timer["what"] == "cure").unwrap().clone();
    assert!(cure["text"].as_str().unwrap().starts_with("W-1/1 driver: cures, ") && cure["over"] == false, "{cure}");
    daemon.command(&json!({"command": "step_done", "step": "hand_over"})).assert_problem(422, "cures: ");
    assert!(daemon.terminate().success());
    // Without a daemon the same holds.
    let said = shop.done(&["adhesives", "override", "W-1/1", "--name", "K7", "--why", "a test"]);
    assert_eq!(said, "the cure of W-1/1 is not waited for: K7 answers for it\n");
    let listed = shop.done(&["adhesives", "list"]);
    assert!(listed.contains("B-1 (Quick (invented), lot L-5): "), "{listed}");
    let record: Value = serde_json::from_str(&shop.done(&["records", "show", "W-1/1", "--json"])).unwrap();
    assert_eq!(record["adhesive"]["overridden"]["name"], "K7");
    assert_eq!(record["adhesive"]["not_before"], before["not_before"]);
    assert_verified(&shop.folder.path().join("data"));
}

#[test]
fn a_cure_that_is_over_lets_the_club_go() {
    let shop = Shop::new();
    // 50 times as fast as the world: ten minutes in twelve seconds, so that a slow machine is not too late to bond.
    let daemon = Daemon::run(&shop.config, 50.0);
    let gives = |command: Value| assert_eq!(daemon.command(&command).status, 200, "{command}");
    let slow = PRODUCT.replace("20 min", "10 h").replace("\"1 h\"", "\"10 min\"").replace("\"3 h\"", "\"30 h\"");
    gives(json!({"command": "enter_adhesive", "text": slow}));
    gives(json!({"command": "import_order", "text": ORDER}));
    gives(json!({"command": "open_order", "order": "W-1"}));
    gives(json!({"command": "mix_batch", "adhesive": "quick", "temperature": "21 °C"}));
    gives(json!({"command": "step_done", "step": "bond"}));
    daemon.command(&json!({"command": "step_done", "step": "cure"})).assert_problem(422, "is not cured");
    wait_for("the cure to be over on the page", || {
        let timers = daemon.state()["timers"].clone();
        timers.as_array().unwrap().iter().any(|timer| timer["what"] == "play").then_some(())
    });
    for step in ["cure", "grip", "rest"] {
        gives(json!({"command": "step_done", "step": step}));
    }
    gives(json!({"command": "enter", "characteristic": "length", "quantity": "45 in"}));
    gives(json!({"command": "step_done", "step": "hand_over"}));
    assert_eq!(daemon.get("/api/v1/records/W-1/1").json()["state"], "finished");
}

/// No shop bonds a thousand clubs within the time of a sheet; if one does, it hears which club's time is not shown any more.
#[test]
fn of_more_than_a_thousand_clubs_that_wait_the_oldest_is_let_go_of_aloud() {
    let mut bench = Bench::new();
    bench.mixes();
    let clubs = "[[club]]\nname = \"iron\"\nkind = \"iron\"\n".repeat(14);
    let mut said = Vec::new();
    for n in 0..1001 {
        let (order, club) = (format!("W-{}", 10 + n / 14), n % 14 + 1);
        if club == 1 {
            bench.does(json!({"command": "import_order", "text": format!("order = \"{order}\"\n{clubs}")}));
        }
        bench.does(json!({"command": "open_club", "club": format!("{order}/{club}")}));
        let command = command::parse(&json!({"command": "step_done", "step": "bond"})).unwrap();
        let outcome = bench.core.step(Input::Command { stamp: bench.stamp(), command });
        bench.core.commit(&outcome.events);
        said.extend(outcome.said.into_iter().filter(|words| words.contains("bonded clubs wait")));
    }
    assert_eq!(said, ["1000 bonded clubs wait: the time of W-10/1 is shown no more, only in its record"]);
    let waiting = &bench.core.state.adhesives.waiting;
    assert_eq!((waiting.len(), waiting[0].as_str()), (1000, "W-10/2"));
}
