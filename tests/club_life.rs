//! From the first part to the finished club and back: what revisions, corrections and second thoughts do to a record.
//!
//! Each test is named after a fault that a review found.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod desk_bench;

use benchscribe::club::characteristic::Characteristic;
use benchscribe::config::order_file::read_order;
use benchscribe::measurement::reading::{InstrumentKind, Measured, Quantity};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::desk::{Command, answer, place};
use benchscribe::work_order::event::{CapturedReading, Change, EventId, Numbering, Place};
use benchscribe::work_order::order::Order;
use benchscribe::work_order::record::ClubState;
use benchscribe::work_order::state::State;
use desk_bench::{CONFIG, DeskBench};
use serde_json::json;

const DRIVER: &str = r#"
[[club]]
name = "driver"
kind = "driver"
route = ["grip"]
head_mass = "200 g ± 3 g"
length = "45 in ± 1/8 in"
"#;
const IRON: &str = r#"
[[club]]
name = "5-iron"
kind = "iron"
head_mass = "256 g ± 3 g"
"#;
const WOOD: &str = r#"
[[club]]
name = "5-wood"
kind = "fairway"
length = "42 in ± 1/8 in"
"#;

fn order(clubs: &[&str]) -> Order {
    read_order("w9.toml", &format!("order = \"W-9\"\n{}", clubs.concat())).unwrap()
}

struct Bench {
    state: State,
    numbering: Numbering,
}

impl Bench {
    fn with(clubs: &[&str]) -> Self {
        let mut bench = Self { state: State::default(), numbering: Numbering::after(1, 0) };
        bench.does(Command::ImportOrders(vec![order(clubs)]));
        bench.does(Command::OpenOrder("W-9".into()));
        bench
    }

    fn take(&mut self, changes: Vec<Change>) -> Option<EventId> {
        let mut last = None;
        for change in changes {
            let event = self.numbering.event(Stamp::default(), None, change);
            self.state.apply(&event);
            last = Some(event.id);
        }
        last
    }

    #[track_caller]
    fn does(&mut self, command: Command) {
        let changes = answer(&self.state, &command).unwrap();
        self.take(changes);
    }

    #[track_caller]
    fn refuses(&self, command: &Command, words: &str) {
        let refusal = answer(&self.state, command).unwrap_err().0;
        assert!(refusal.contains(words), "{refusal}");
    }

    fn weighs(&mut self, grams: f64) -> EventId {
        let captured = CapturedReading {
            instrument: "parts-scale".into(),
            kind: InstrumentKind::Scale,
            measured: vec![Measured { quantity: Quantity::Mass, value: grams, u: 0.01 }],
            levels: [grams, 0.0],
            zero: [0.0; 2],
            u_levels: [0.01; 2],
            window_s: [1.0, 2.0],
            t_s: 2.0,
            printed: None,
            on_key: false,
            air_c: None,
            stable_flag: None,
            laid: None,
            calibration: EventId::new(1, 1, 0),
            evidence: String::new(),
            budget_inputs: None,
            budget: Vec::new(),
        };
        let reading = self.take(vec![Change::ReadingCaptured(captured.clone())]).unwrap();
        let placed = place(&self.state, reading, &captured, 0);
        self.take(placed);
        reading
    }

    fn enters(&mut self, club: &str, quantity: &str) {
        self.does(enter(club, quantity));
    }

    fn state_of(&self, club: &str) -> ClubState {
        self.state.clubs[club].state
    }

    fn values(&self, club: &str) -> Vec<(&'static str, f64)> {
        self.state.clubs[club].valid().map(|e| (e.filed.characteristic.name(), e.filed.value)).collect()
    }
}

fn enter(club: &str, quantity: &str) -> Command {
    Command::Enter { club: Some(club.into()), characteristic: Characteristic::Length, quantity: quantity.into() }
}

fn file(event: EventId, club: &str, characteristic: Characteristic) -> Command {
    Command::File { event, place: Place { club: club.into(), characteristic } }
}

/// A driver, whose route ends without a hand-over, that is finished, and the iron behind it open. The club counts as gripped.
fn finished() -> (Bench, EventId) {
    let mut bench = Bench::with(&[DRIVER, IRON]);
    let head = bench.weighs(200.5);
    bench.does(Command::Scan("BS1/S/GRIP".into()));
    bench.enters("W-9/1", "45 in");
    assert_eq!(bench.state_of("W-9/1"), ClubState::Finished);
    assert_eq!(bench.state.current_club.as_deref(), Some("W-9/2"));
    (bench, head)
}

#[test]
fn a_revision_never_gives_one_clubs_readings_to_another() {
    let mut bench = Bench::with(&[DRIVER, IRON]);
    bench.weighs(200.5);
    bench.refuses(
        &Command::ImportOrders(vec![order(&[WOOD, DRIVER, IRON])]),
        "W-9/1 is begun as a driver, right-handed, and would become a 5-wood",
    );
    bench.does(Command::ImportOrders(vec![order(&[DRIVER, IRON, WOOD])]));
    assert_eq!(bench.state.clubs["W-9/3"].spec.name, "5-wood");
}

#[test]
fn a_revision_never_drops_the_club_in_hand() {
    let mut bench = Bench::with(&[DRIVER, IRON]);
    bench.does(Command::OpenClub("W-9/2".into()));
    bench.refuses(&Command::ImportOrders(vec![order(&[DRIVER])]), "W-9/2 is open and is missing");
    bench.does(Command::OpenClub("W-9/1".into()));
    // Neither begun nor open, it goes without a trace.
    bench.does(Command::OpenClub("W-9/1".into()));
    bench.take(vec![Change::OrderRevised { order: order(&[DRIVER]) }]);
    assert!(!bench.state.clubs.contains_key("W-9/2"));
}

#[test]
fn a_club_is_finished_by_the_limits_that_hold_now() {
    let mut bench = Bench::with(&[DRIVER]);
    bench.does(Command::Scan("BS1/S/GRIP".into()));
    bench.enters("W-9/1", "45 in");
    bench.does(Command::ImportOrders(vec![order(&[&DRIVER.replace("45 in", "44 in")])]));
    bench.weighs(200.5);
    assert_eq!(bench.state_of("W-9/1"), ClubState::InWork, "45 in is outside 44 in ± 1/8 in");
    bench.enters("W-9/1", "44 in");
    assert_eq!(bench.state_of("W-9/1"), ClubState::Finished);
}

#[test]
fn looking_at_a_finished_club_leaves_it_finished() {
    let (mut bench, _) = finished();
    bench.does(Command::OpenClub("W-9/1".into()));
    bench.does(Command::OpenClub("W-9/2".into()));
    assert_eq!(bench.state_of("W-9/1"), ClubState::Finished);
    bench.does(Command::OpenClub("W-9/1".into()));
    bench.weighs(200.4);
    assert_eq!(bench.state_of("W-9/1"), ClubState::Finished, "measured again and still within");
}

#[test]
fn a_finished_club_with_a_value_outside_its_limits_is_finished_no_more() {
    let (mut bench, _) = finished();
    bench.does(Command::OpenClub("W-9/1".into()));
    bench.enters("W-9/1", "44 in");
    assert_eq!(bench.state_of("W-9/1"), ClubState::InWork);
    assert_eq!(bench.state.current_club.as_deref(), Some("W-9/1"), "in hand again, the next one is not begun");
    bench.enters("W-9/1", "45 in");
    assert_eq!(bench.state_of("W-9/1"), ClubState::Finished);
}

#[test]
fn a_finished_club_that_loses_a_reading_to_another_is_finished_no_more() {
    let (mut bench, head) = finished();
    bench.does(file(head, "W-9/2", Characteristic::HeadMass));
    assert_eq!(bench.state_of("W-9/1"), ClubState::InWork);
    assert_eq!(bench.values("W-9/2"), [("head_mass", 200.5)]);
    let (mut bench, head) = finished();
    bench.does(Command::Void { event: Some(head), why: "wrong head".into() });
    assert_eq!(bench.state_of("W-9/1"), ClubState::InWork);
}

#[test]
fn a_reading_filed_again_in_the_same_club_stands_in_one_place() {
    let mut bench = Bench::with(&[DRIVER]);
    let reading = bench.weighs(200.5);
    bench.does(file(reading, "W-9/1", Characteristic::ShaftMass));
    assert_eq!(bench.values("W-9/1"), [("shaft_mass", 200.5)]);
    bench.does(file(reading, "W-9/1", Characteristic::HeadMass));
    assert_eq!(bench.values("W-9/1"), [("head_mass", 200.5)]);
    bench.does(Command::Void { event: Some(reading), why: "not mine".into() });
    assert_eq!(bench.values("W-9/1"), []);
    bench.refuses(&Command::Void { event: Some(reading), why: "again".into() }, "already taken back");
}

#[test]
fn a_typed_value_finishes_a_club_that_is_not_in_hand() {
    let mut bench = Bench::with(&[DRIVER, IRON]);
    bench.weighs(200.5);
    bench.does(Command::Scan("BS1/S/GRIP".into()));
    bench.does(Command::NextClub);
    bench.enters("W-9/1", "45 in");
    assert_eq!(bench.state_of("W-9/1"), ClubState::Finished);
    assert_eq!(bench.state.current_club.as_deref(), Some("W-9/2"));
}

#[test]
fn what_cannot_be_is_neither_typed_nor_filed() {
    let mut bench = Bench::with(&[DRIVER]);
    bench.refuses(&enter("W-9/1", "-5 in"), "is not possible");
    bench.refuses(&enter("W-9/1", "0 in"), "is not possible");
    // In the units of who typed it: 100 mm are 3.937 in, 2000 mm 78.74 in.
    bench.refuses(&enter("W-9/1", "450 in"), "expected from 3 15/16 in to 78 11/16 in");
    bench.refuses(&enter("W-9/1", "45000 mm"), "expected from 100 to 2000 mm");
    let reading = bench.weighs(900.0);
    bench.refuses(&file(reading, "W-9/1", Characteristic::GripMass), "is not possible");
}

/// Two clubs whose only part could be either of two, so that a person must choose.
const LOOKALIKES: &str = r#"
order = "W-8"
[[club]]
name = "a"
kind = "driver"
route = ["prepare"]
grip_mass = "52 g ± 3 g"
[[club]]
name = "b"
kind = "driver"
grip_mass = "56 g ± 3 g"
shaft_mass = "200 g ± 5 g"
"#;

#[test]
fn a_reading_filed_by_hand_that_finishes_a_club_is_not_filed_to_the_next_as_well() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "file": "w8", "text": LOOKALIKES}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-8"}), &mut stored).unwrap();
    bench.lay("scale", &[0.0; 40], &mut stored);
    // Grip or shaft of club a: two fit. Of club b it could only be the grip.
    bench.lay("scale", &[54.0; 80], &mut stored);
    let reading = stored.of("reading_unfiled").len();
    assert_eq!(reading, 1, "the reading was meant to wait for a person");
    let event = stored.of("reading_captured")[0].id.to_string();
    let chosen = json!({"command": "file", "event": event, "club": "W-8/1", "characteristic": "grip_mass"});
    bench.command(chosen, &mut stored).unwrap();
    assert_eq!(stored.of("club_finished").len(), 1);
    assert_eq!(stored.of("reading_filed").len(), 1, "filed to both clubs");
}
