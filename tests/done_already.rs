//! Steps that are done already, clubs that are finished, steps that nothing was measured for, and work that was interrupted:
//! what a newcomer met who scanned a card too often or too early.
//!
//! The sentences are the project's own. That the cure of a bond begins when head and shaft are joined, and so begins again with a
//! second bond, is what every adhesive's data sheet implies (common practice, no source).

mod desk_bench;

use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::work_order::record::ClubState;
use benchscribe::work_order::state::State;
use benchscribe::work_order::steps::Step;
use desk_bench::commanded::Commanded as Bench;
use desk_bench::{CONFIG, DeskBench};
use serde_json::json;

/// One club that asks for a length alone, one that asks for more, and a third.
const ORDER: &str = r#"
order = "W-5"

[[club]]
name = "6-iron"
kind = "iron"
length = "37 1/2 in ± 1/16 in"

[[club]]
name = "7-iron"
kind = "iron"
head_mass = "263 g ± 3 g"
length = "37 in ± 1/16 in"
loft = "34 deg ± 0.5 deg"
lie = "62 deg ± 0.5 deg"

[[club]]
name = "8-iron"
kind = "iron"
length = "36 1/2 in ± 1/16 in"
"#;

const ADHESIVE: &str = include_str!("../config/adhesives/dune-2k.toml");

impl Bench {
    fn new() -> Self {
        Self::with_order(ORDER)
    }

    #[track_caller]
    fn refuses_scan(&mut self, code: &str) -> String {
        self.refuses(json!({"command": "scan", "code": code}))
    }

    fn waits(&mut self, seconds: f64) {
        self.bench.wait(seconds);
    }

    fn state(&self) -> &State {
        &self.bench.core.state
    }

    fn times(&self, club: &str, step: Step) -> usize {
        self.state().clubs[club].steps.iter().filter(|done| done.step == step).count()
    }

    /// What the page says for a while.
    fn told(&mut self) -> Vec<String> {
        let banners = self.bench.snapshot().banners;
        banners.iter().map(|banner| format!("{} {}", banner.text, banner.remedy)).collect()
    }

    /// The first club, handed over; the second one follows.
    fn handed_over() -> Self {
        let mut bench = Self::new();
        for step in ["BOND", "CURE", "GRIP", "REST"] {
            bench.scan(&format!("BS1/S/{step}"));
        }
        bench.does(json!({"command": "enter", "characteristic": "length", "quantity": "37 1/2 in"}));
        bench.scan("BS1/S/HAND-OVER");
        assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::Finished);
        assert_eq!(bench.state().current_club.as_deref(), Some("W-5/2"));
        bench
    }
}

#[test]
fn a_second_bond_is_asked_about_and_its_cautions_are_read_again() {
    let mut bench = Bench::new();
    bench.does(json!({"command": "enter_adhesive", "text": ADHESIVE}));
    let product = bench.state().adhesives.products.keys().next().unwrap().clone();
    bench.does(json!({"command": "mix_batch", "adhesive": product, "temperature": "21 °C"}));
    bench.scan("BS1/W/K7");
    bench.scan("BS1/S/BOND");
    let bonded = bench.state().clubs["W-5/1"].bond.clone();
    bench.scan("BS1/W/M2");
    bench.waits(300.0);
    let words = bench.refuses_scan("BS1/S/BOND");
    let expected = "\"bond head and shaft\" is done at W-5/1 already, 5 min ago by K7: to do it again on purpose read its cautions (";
    assert!(words.starts_with(expected), "{words}");
    assert!(words.contains("gloves, fresh air") && words.ends_with("scan BS1/A and its card once more"), "{words}");
    assert!(bench.told().iter().any(|told| told.contains("is done at W-5/1 already")), "{:?}", bench.told());
    // The card alone, however often, is no answer while the cautions are not read.
    for _ in 0..3 {
        bench.waits(3.0);
        assert_eq!(bench.refuses_scan("BS1/S/BOND").split(',').next(), words.split(',').next());
    }
    assert_eq!((bench.times("W-5/1", Step::Bond), &bench.state().clubs["W-5/1"].bond), (1, &bonded));
    // The card for cautions means those of the bond now, not those of the step that comes next.
    bench.scan("BS1/A");
    let read = bench.state().clubs["W-5/1"].acknowledged.last().unwrap().clone();
    assert_eq!((read.step, read.by.as_deref()), (Step::Bond, Some("M2")));
    bench.waits(3.0);
    bench.scan("BS1/S/BOND");
    assert_eq!(bench.times("W-5/1", Step::Bond), 2);
    assert_ne!(bench.state().clubs["W-5/1"].bond, bonded, "the cure begins with the new bond");
    let of_record = record(&bench.state().clubs["W-5/1"], String::new(), Lengths::Inches);
    assert!(of_record.steps.last().unwrap().acknowledged.is_some());
    assert!(bench.told().iter().any(|told| told.contains("\"bond head and shaft\" is done once more at W-5/1")));
    // That answer was for this time alone.
    bench.waits(3.0);
    assert!(bench.refuses_scan("BS1/S/BOND").contains("already"));
}

#[test]
fn a_step_without_cautions_is_done_again_by_its_card_a_second_time() {
    let mut bench = Bench::new();
    bench.scan("BS1/S/DRY-FIT");
    bench.waits(1.0);
    let words = bench.refuses_scan("BS1/S/DRY-FIT");
    assert_eq!(
        words,
        "\"dry fit\" is done at W-5/1 already, 10 s ago: to do it again on purpose scan its card once more"
    );
    // A card that is held over the scanner is read again and again.
    for _ in 0..6 {
        bench.waits(0.5);
        bench.refuses_scan("BS1/S/DRY-FIT");
    }
    // A question does not stand for ever, and not for another club.
    bench.waits(61.0);
    bench.refuses_scan("BS1/S/DRY-FIT");
    bench.waits(3.0);
    bench.scan("BS1/N");
    bench.does(json!({"command": "open_club", "club": "W-5/1"}));
    bench.refuses_scan("BS1/S/DRY-FIT");
    bench.waits(3.0);
    bench.scan("BS1/S/DRY-FIT");
    assert_eq!(bench.times("W-5/1", Step::DryFit), 2);
}

#[test]
fn a_finished_club_takes_no_step_and_no_second_hand_over() {
    let mut bench = Bench::handed_over();
    bench.does(json!({"command": "open_club", "club": "W-5/1"}));
    for (code, label) in [("BS1/S/GRIP", "put the grip on"), ("BS1/S/HAND-OVER", "hand over")] {
        let words = bench.refuses_scan(code);
        let expected = format!(
            "W-5/1 is handed over already, \"{label}\" is not marked done: `orders resume W-5/1 --by N --why TEXT` takes it up again; "
        );
        assert!(words.starts_with(&expected), "{words}");
    }
    assert_eq!(bench.times("W-5/1", Step::HandOver), 1);
}

#[test]
fn a_finished_club_is_measured_again_once_it_is_opened() {
    let mut bench = Bench::handed_over();
    let enter =
        |quantity: &str| json!({"command": "enter", "club": "W-5/1", "characteristic": "length", "quantity": quantity});
    let words = bench.refuses(enter("37 1/2 in"));
    assert!(
        words.starts_with(
            "W-5/1 is handed over already and not in hand, so nothing is typed for it: `orders open W-5/1`"
        ),
        "{words}"
    );
    bench.scan("BS1/C/W-5/1");
    let opened = "W-5/1 is handed over already measured again it stays so, unless it loses a value or gets one outside its limits";
    assert!(bench.told().contains(&opened.to_owned()), "{:?}", bench.told());
    bench.does(enter("37 1/2 in"));
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::Finished);
    bench.does(enter("38 in"));
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::InWork);
}

#[test]
fn a_club_that_lost_a_value_since_its_hand_over_says_what_is_open_and_is_taken_up_with_a_reason() {
    let mut bench = Bench::handed_over();
    bench.does(json!({"command": "open_club", "club": "W-5/1"}));
    bench.does(json!({"command": "enter", "characteristic": "length", "quantity": "38 in"}));
    let next = bench.bench.snapshot().work.club.clone().unwrap().next;
    assert_eq!(next, "outside its limits: length: put that right and measure it again");
    let words = bench.refuses_scan("BS1/D");
    let expected = "W-5/1 has no step left, and something of it is open since it was handed over: `orders resume W-5/1";
    assert!(words.starts_with(expected), "{words}");
    bench.does(json!({"command": "take_club_up", "club": "W-5/1", "name": "K7", "why": "the butt is cut again"}));
    assert_eq!(bench.state().clubs["W-5/1"].next_step(), Some(Step::HandOver));
    bench.does(json!({"command": "enter", "characteristic": "length", "quantity": "37 1/2 in"}));
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::InWork, "it is handed over anew");
    bench.scan("BS1/D");
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::Finished);
}

#[test]
fn a_club_that_was_handed_over_is_not_bent_until_it_is_taken_up() {
    let mut bench = Bench::handed_over();
    bench.does(json!({"command": "open_club", "club": "W-5/1"}));
    let bend = json!({"command": "bend", "club": "W-5/1", "characteristic": "lie", "quantity": "0.5 deg flat"});
    let words = bench.refuses(bend.clone());
    assert!(words.starts_with("W-5/1 is handed over already, no bend is noted: `orders resume W-5/1"), "{words}");
    bench.does(json!({"command": "take_club_up", "club": "W-5/1", "name": "K7", "why": "its player stands lower"}));
    bench.does(bend);
    assert_eq!(bench.state().clubs["W-5/1"].bends.len(), 1);
}

#[test]
fn a_card_scanned_once_too_often_takes_nothing_from_a_club_that_was_handed_over() {
    let mut bench = Bench::handed_over();
    let words = bench.refuses_scan("BS1/V");
    assert!(
        words.starts_with("W-5/1 is handed over already, \"hand over\" is not taken back: `orders resume W-5/1"),
        "{words}"
    );
    let value = bench.stored.of("value_typed").last().unwrap().id.to_string();
    // What is measured since is in hand.
    bench.scan("BS1/C/W-5/1");
    bench.does(json!({"command": "enter", "club": "W-5/1", "characteristic": "length", "quantity": "37 1/2 in"}));
    bench.scan("BS1/V");
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::Finished);
    bench.does(json!({"command": "void", "event": value, "why": "read on the wrong side of the rule"}));
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::InWork);
    // It was said when its ticket was scanned, and not once more when it came back into work.
    let said = bench.told().iter().filter(|told| told.contains("measured again it stays so")).count();
    assert_eq!(said, 1, "{:?}", bench.told());
}

#[test]
fn a_club_of_an_order_that_was_put_aside_takes_its_order_with_it_when_it_is_taken_up() {
    let mut bench = Bench::handed_over();
    bench.does(json!({"command": "put_order_aside", "order": "W-5"}));
    bench.does(json!({"command": "take_club_up", "club": "W-5/1", "name": "K7", "why": "its player is back"}));
    assert!(bench.state().orders_aside.is_empty());
    assert_eq!(bench.state().current_order.as_deref(), Some("W-5"));
}

#[test]
fn a_question_is_forgotten_when_something_else_is_done() {
    let mut bench = Bench::new();
    bench.scan("BS1/S/PREPARE");
    bench.refuses_scan("BS1/S/PREPARE");
    bench.scan("BS1/S/DRY-FIT");
    bench.waits(20.0);
    assert!(bench.refuses_scan("BS1/S/PREPARE").contains("is done at W-5/1 already"));
    assert_eq!(bench.times("W-5/1", Step::Prepare), 1);
}

#[test]
fn a_cure_that_is_over_needs_no_decision_and_every_bond_is_kept() {
    let mut bench = Bench::new();
    let over = |why: &str| json!({"command": "override_cure", "club": "W-5/1", "name": "K7", "why": why});
    bench.does(json!({"command": "enter_adhesive", "text": ADHESIVE}));
    let product = bench.state().adhesives.products.keys().next().unwrap().clone();
    bench.does(json!({"command": "mix_batch", "adhesive": product, "temperature": "21 °C"}));
    bench.scan("BS1/S/BOND");
    bench.does(over("the player leaves"));
    assert!(bench.refuses(over("late")).starts_with("the cure of W-5/1 is over, or is not waited for already"));
    bench.refuses_scan("BS1/S/BOND");
    bench.scan("BS1/A");
    bench.scan("BS1/S/BOND");
    let of_record = json!(record(&bench.state().clubs["W-5/1"], String::new(), Lengths::Inches));
    assert_eq!(of_record["adhesive_before"][0]["overridden"]["why"], "the player leaves");
    assert!(of_record["adhesive"]["overridden"].is_null(), "{of_record}");
    assert_eq!(of_record["adhesive_before"].as_array().unwrap().len(), 1);
}

#[test]
fn a_finished_club_is_taken_up_again_with_a_reason_and_handed_over_anew() {
    let mut bench = Bench::handed_over();
    let take_up = |club: &str, why: &str| json!({"command": "take_club_up", "club": club, "name": "K7", "why": why});
    assert!(bench.refuses(take_up("W-5/1", " ")).contains("\"why\" is missing"));
    assert!(bench.refuses(take_up("W-5/3", "x")).starts_with("W-5/3 is not finished"));
    bench.does(take_up("W-5/1", "the card of another club"));
    let club = &bench.state().clubs["W-5/1"];
    assert_eq!((club.state, club.next_step()), (ClubState::InWork, Some(Step::HandOver)));
    assert_eq!(bench.state().current_club.as_deref(), Some("W-5/1"));
    // A new grip is a step that was done before: it is asked about, then done.
    bench.refuses_scan("BS1/S/GRIP");
    bench.scan("BS1/A");
    bench.scan("BS1/S/GRIP");
    // What is measured now does not finish it by itself.
    bench.does(json!({"command": "enter", "characteristic": "length", "quantity": "37 1/2 in"}));
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::InWork);
    bench.scan("BS1/S/HAND-OVER");
    assert_eq!(bench.state().clubs["W-5/1"].state, ClubState::Finished);
    let of_record = json!(record(&bench.state().clubs["W-5/1"], String::new(), Lengths::Inches));
    let again = &of_record["taken_up"][0];
    assert_eq!((&again["name"], &again["why"]), (&json!("K7"), &json!("the card of another club")));
}

#[test]
fn a_step_that_measurements_prove_says_what_is_not_measured() {
    let mut bench = Bench::new();
    bench.does(json!({"command": "open_club", "club": "W-5/2"}));
    bench.scan("BS1/S/PREPARE");
    let words = "\"prepare the parts\" is done at W-5/2 with head mass not measured ";
    assert!(bench.told().contains(&words.to_owned()), "{:?}", bench.told());
    bench.waits(10.0);
    for step in ["BOND", "CURE", "GRIP", "REST"] {
        bench.scan(&format!("BS1/S/{step}"));
    }
    bench.does(json!({"command": "enter", "characteristic": "length", "quantity": "37 in"}));
    bench.scan("BS1/S/FINAL-CHECK");
    let words = "\"final check\" is done at W-5/2 with head mass, loft, lie not measured ";
    assert!(bench.told().contains(&words.to_owned()), "{:?}", bench.told());
    let of_record = json!(record(&bench.state().clubs["W-5/2"], String::new(), Lengths::Inches));
    let steps = of_record["steps"].as_array().unwrap();
    assert_eq!(steps.last().unwrap()["not_measured"], json!(["head_mass", "loft", "lie"]));
    assert_eq!(steps.iter().filter(|step| step.get("not_measured").is_some()).count(), 2);
}

#[test]
fn after_an_interruption_the_club_that_was_in_hand_is_the_next_one() {
    let mut bench = Bench::new();
    bench.does(json!({"command": "open_club", "club": "W-5/3"}));
    bench.scan("BS1/S/DRY-FIT");
    bench.does(json!({"command": "put_order_aside", "order": "W-5", "why": "a player at the door"}));
    assert_eq!(bench.state().current_club, None);
    bench.does(json!({"command": "take_order_up", "order": "W-5"}));
    bench.scan("BS1/O/W-5");
    assert_eq!(bench.state().current_club.as_deref(), Some("W-5/3"));
    // The same where another order was only looked at meanwhile, and after a restart.
    let other = ORDER.replace("W-5", "W-6");
    bench.does(json!({"command": "import_order", "text": other}));
    bench.scan("BS1/O/W-6");
    let mut after = State::default();
    bench.stored.events.iter().for_each(|event| after.apply(event));
    bench.bench = DeskBench::with_state(CONFIG, after);
    bench.stored = bench.bench.begin();
    bench.scan("BS1/O/W-5");
    assert_eq!(bench.state().current_club.as_deref(), Some("W-5/3"));
    // Put aside by itself it waits behind the others.
    bench.scan("BS1/N");
    assert_eq!(bench.state().current_club.as_deref(), Some("W-5/1"));
}
