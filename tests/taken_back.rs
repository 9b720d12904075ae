//! Steps marked done by mistake are taken back: what each led to is as before it, and the record says so. And codes that a
//! scanner reads over and over, which are one read.
//!
//! That the cure of a bond begins when head and shaft are joined is what every adhesive's data sheet implies (common practice, no
//! source). How long a person takes to bring a card under the scanner once more: common practice, no source.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may panic")]

mod desk_bench;
mod support;

use benchscribe::journal::event::{canonical, parse};
use benchscribe::output::adhesive_view::timers;
use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::work_order::event::Change;
use benchscribe::work_order::order::Stage;
use benchscribe::work_order::record::{ClubRecord, ClubState};
use benchscribe::work_order::said::said;
use benchscribe::work_order::state::State;
use benchscribe::work_order::steps::Step;
use desk_bench::{CONFIG, DeskBench, Stored};
use serde_json::{Value, json};
use support::daemon::Daemon;
use support::table::configuration;
use support::{assert_verified, benchscribe};

const ORDER: &str = r#"
order = "W-8"

[[club]]
name = "6-iron"
kind = "iron"
length = "37 1/2 in ± 1/16 in"

[[club]]
name = "7-iron"
kind = "iron"
length = "37 in ± 1/16 in"
lie = "62 deg ± 0.5 deg"

[[club]]
name = "8-iron"
kind = "iron"
work = "regrip"
route = ["prepare", "grip", "rest"]
length = "36 1/2 in ± 1/16 in"
"#;

/// A scanner behind the instruments of the other tests.
const SCANNER: &str = r#"
[[instrument]]
id = "scanner"
name = "ticket scanner"
kind = "scanner"
port = "/dev/null"
format = "scanner"
"#;

const ADHESIVE: &str = include_str!("../config/adhesives/dune-2k.toml");

struct Bench {
    bench: DeskBench,
    stored: Stored,
}

impl Bench {
    fn new() -> Self {
        let mut bench = DeskBench::new(&format!("{CONFIG}{SCANNER}"));
        let stored = bench.begin();
        let mut this = Self { bench, stored };
        this.does(json!({"command": "import_order", "text": ORDER}));
        this.scan("BS1/O/W-8");
        this.scan("BS1/W/K7");
        this
    }

    /// With a batch of adhesive in force.
    fn with_batch() -> Self {
        let mut bench = Self::new();
        bench.does(json!({"command": "enter_adhesive", "text": ADHESIVE}));
        bench.mixes();
        bench
    }

    fn mixes(&mut self) {
        let product = self.state().adhesives.products.keys().next().unwrap().clone();
        self.does(json!({"command": "mix_batch", "adhesive": product, "temperature": "21 °C", "lot": "L-77"}));
    }

    #[track_caller]
    fn does(&mut self, command: Value) {
        self.bench.command(command.clone(), &mut self.stored).unwrap_or_else(|words| panic!("{command}: {words}"));
    }

    #[track_caller]
    fn refuses(&mut self, command: Value) -> String {
        let before = self.stored.events.len();
        let words = self.bench.command(command, &mut self.stored).unwrap_err();
        assert_eq!(self.stored.events.len(), before, "a refusal stores nothing");
        words
    }

    #[track_caller]
    fn scan(&mut self, code: &str) {
        self.does(json!({"command": "scan", "code": code}));
    }

    #[track_caller]
    fn refuses_scan(&mut self, code: &str) -> String {
        self.refuses(json!({"command": "scan", "code": code}))
    }

    /// A code under the scanner itself.
    fn reads(&mut self, code: &str) {
        self.bench.frame(3, format!("]C0{code}\r").as_bytes(), &mut self.stored);
    }

    fn types(&mut self, quantity: &str) {
        self.does(json!({"command": "enter", "characteristic": "length", "quantity": quantity}));
    }

    fn state(&self) -> &State {
        &self.bench.core.state
    }

    fn club(&self, club: &str) -> &ClubRecord {
        &self.state().clubs[club]
    }

    /// The last event of a kind.
    fn last(&self, kind: &str) -> String {
        self.stored.of(kind).last().unwrap().id.to_string()
    }

    fn steps(&self, club: &str) -> Vec<&'static str> {
        self.club(club).steps.iter().map(|done| done.step.name()).collect()
    }

    fn told(&mut self) -> Vec<String> {
        let banners = self.bench.snapshot().banners;
        let told = banners.iter().map(|banner| format!("{}: {}", banner.text, banner.remedy));
        told.map(|words| words.trim_end_matches(": ").to_owned()).collect()
    }

    #[track_caller]
    fn tells(&mut self, words: &str) {
        let told = self.told();
        assert!(told.iter().any(|told| told == words), "{words} is not in {told:?}");
    }

    /// What the times on the page say of the open club.
    fn timer(&self) -> Option<String> {
        let times = timers(self.state(), self.state().adhesives.elapsed.last_at_us().unwrap());
        times.into_iter().find(|timer| timer.of == "W-8/1").map(|timer| timer.text)
    }

    /// A restart: everything is folded anew from what is stored, as text.
    fn restarts(&mut self) {
        let mut after = State::default();
        for event in &self.stored.events {
            after.apply(&parse(&canonical(event, "bench-1").unwrap()).unwrap());
        }
        assert_eq!(after.clubs, self.state().clubs);
        self.bench = DeskBench::with_state(&format!("{CONFIG}{SCANNER}"), after);
        self.stored.events.extend(self.bench.begin().events);
    }
}

/// A club without what only says that something happened.
fn as_it_stands(club: &ClubRecord) -> ClubRecord {
    let mut club = club.clone();
    club.steps_taken_back.clear();
    club.acknowledged.clear();
    (club.last_seq, club.in_hand) = Default::default();
    club
}

#[test]
fn a_step_taken_back_leaves_the_club_as_it_was_and_stands_in_its_record() {
    let mut bench = Bench::with_batch();
    bench.scan("BS1/S/PREPARE");
    for step in ["dry_fit", "bond", "cut", "grip", "adjust"] {
        let (before, queue) = (as_it_stands(bench.club("W-8/1")), bench.timer());
        bench.does(json!({"command": "step_done", "step": step}));
        assert_ne!(as_it_stands(bench.club("W-8/1")), before, "{step}");
        let event = bench.last("step_done");
        bench.does(json!({"command": "void", "event": event, "why": "the card of another club"}));
        assert_eq!(as_it_stands(bench.club("W-8/1")), before, "{step}");
        assert_eq!(bench.timer(), queue, "{step}");
        bench.restarts();
    }
    // What was read was read.
    bench.scan("BS1/S/BOND");
    bench.does(json!({"command": "step_again", "step": "bond"}));
    for _ in 0..2 {
        bench.scan("BS1/V");
    }
    let club = bench.club("W-8/1");
    assert_eq!(club.acknowledged.len(), 1);
    assert_eq!((club.stage(), club.next_step()), (Stage::DryFit, Some(Step::DryFit)));
    let of_record = json!(record(club, String::new(), Lengths::Inches));
    let back = of_record["steps_taken_back"].as_array().unwrap();
    assert_eq!(
        back.iter().map(|back| back["step"].as_str().unwrap()).collect::<Vec<_>>(),
        ["dry_fit", "bond", "cut", "grip", "adjust", "bond", "bond"]
    );
    assert_eq!(back[1]["taken_back"]["why"], "the card of another club");
    assert_eq!(
        (&back[1]["taken_back"]["by"], &back[1]["by"], &back[1]["voided"]),
        (&json!("K7"), &json!("K7"), &json!(true))
    );
    assert_eq!(of_record["steps"].as_array().unwrap().len(), 1);
    assert!(of_record.get("adhesive").is_none() && of_record.get("skipped").is_none(), "{of_record}");
}

#[test]
fn the_cure_of_a_bond_that_was_taken_back_does_not_run_and_that_of_the_next_one_runs_from_it() {
    let mut bench = Bench::with_batch();
    bench.scan("BS1/S/BOND");
    let at_once = bench.timer().unwrap();
    assert!(at_once.contains("cures, "), "{at_once}");
    bench.bench.wait(100.0);
    bench.scan("BS1/V");
    bench.tells("the step \"bond head and shaft\" at W-8/1 is taken back");
    bench.tells("no cure is counted at W-8/1 now");
    assert_eq!(bench.timer(), None);
    assert_eq!(bench.state().adhesives.in_force.as_deref(), Some("B-1"), "the batch is still there");
    // It can go on without waiting for a cure that never began, and the bond is open.
    bench.restarts();
    bench.bench.wait(300.0);
    bench.scan("BS1/S/BOND");
    assert_eq!(bench.timer(), Some(at_once), "the whole cure is left");
    assert_eq!(bench.steps("W-8/1"), ["bond"]);
    assert!(bench.club("W-8/1").earlier_bonds.is_empty());
}

#[test]
fn a_second_bond_taken_back_gives_the_first_its_cure_again() {
    let mut bench = Bench::with_batch();
    bench.scan("BS1/S/BOND");
    let first = bench.club("W-8/1").bond.clone();
    bench.bench.wait(300.0);
    bench.mixes();
    bench.does(json!({"command": "step_again", "club": "W-8/1", "step": "bond"}));
    assert_eq!(bench.club("W-8/1").earlier_bonds.len(), 1);
    assert_eq!(bench.club("W-8/1").acknowledged.last().unwrap().step, Step::Bond);
    bench.bench.wait(60.0);
    bench.scan("BS1/V");
    bench.tells("the cure at W-8/1 counts from the bond before it, with batch B-1");
    let club = bench.club("W-8/1");
    assert_eq!((&club.bond, club.earlier_bonds.len()), (&first, 0));
    assert_eq!(club.steps_taken_back[0].done.batch.as_deref(), Some("B-2"));
    bench.restarts();
    assert_eq!(bench.club("W-8/1").bond, first);
    // The first one gone, too, and out of the order of their making.
    bench.does(json!({"command": "step_again", "step": "bond"}));
    let first_event = bench.stored.of("step_done")[0].id.to_string();
    bench.does(json!({"command": "void", "event": first_event, "why": "it was dry"}));
    let club = bench.club("W-8/1");
    assert_eq!((club.bond.as_ref().unwrap().batch.name.as_str(), club.earlier_bonds.len()), ("B-2", 0));
}

#[test]
fn what_was_measured_since_keeps_its_stage_and_whoever_takes_the_step_back_hears_of_it() {
    let mut bench = Bench::new();
    bench.scan("BS1/S/PREPARE");
    bench.scan("BS1/S/GRIP");
    bench.types("37 1/2 in");
    // The length shows a cut, too, and that stays until the length is taken back.
    let wrong = bench.club("W-8/1").steps[1].event.to_string();
    bench.does(json!({"command": "void", "event": wrong, "why": "the card of another club"}));
    bench.types("37 1/4 in");
    let stages: Vec<Stage> = bench.club("W-8/1").entries.iter().map(|entry| entry.filed.stage).collect();
    assert_eq!(stages, [Stage::Gripped, Stage::DryFit]);
    // Said where the value still counts, and no more where that was taken back before.
    bench.scan("BS1/S/GRIP");
    bench.types("37 1/2 in");
    let (done, value) = (bench.club("W-8/1").steps.last().unwrap().event, bench.last("value_typed"));
    let back = Change::StepTakenBack { club: "W-8/1".into(), done, why: "a slip".into() };
    let sentences = [
        "the step \"put the grip on\" at W-8/1 is taken back",
        "what was measured at W-8/1 since stays filed as \"gripped\": take back what was not measured so",
    ];
    assert_eq!(said(bench.state(), std::slice::from_ref(&back)), sentences);
    bench.scan("BS1/V");
    bench.tells("taken back at W-8/1: length");
    assert_eq!(said(bench.state(), &[back]), sentences[..1]);
    bench.scan("BS1/V");
    bench.tells(sentences[0]);
    let words = bench.refuses(json!({"command": "void", "event": value, "why": "x"}));
    assert!(words.ends_with("is already taken back"), "{words}");
}

#[test]
fn steps_are_taken_back_from_the_last_one_on() {
    let mut bench = Bench::new();
    for step in ["PREPARE", "DRY-FIT", "BOND", "CUT", "GRIP"] {
        bench.scan(&format!("BS1/S/{step}"));
    }
    let steps = bench.stored.of("step_done");
    let [bond, cut, grip] = [2, 3, 4].map(|at: usize| steps[at].id.to_string());
    let void = |event: &str| json!({"command": "void", "event": event, "why": "it was never bonded"});
    for event in [&bond, &cut] {
        let words = bench.refuses(void(event));
        let behind = format!("behind it is done: take that one back first, `records void {grip} --why TEXT`");
        assert!(words.contains("is not taken back while \"put the grip on\"") && words.ends_with(&behind), "{words}");
    }
    for event in [&grip, &cut, &bond] {
        bench.does(void(event));
    }
    let club = bench.club("W-8/1");
    assert_eq!((club.stage(), club.next_step()), (Stage::DryFit, Some(Step::Bond)));
    assert_eq!(bench.steps("W-8/1"), ["prepare", "dry_fit"]);
    // Nobody is asked whether it is done again: it is not done.
    bench.scan("BS1/S/BOND");
    bench.scan("BS1/S/GRIP");
    assert_eq!(bench.club("W-8/1").skipped().collect::<Vec<_>>(), [Step::Cure, Step::Cut]);
}

#[test]
fn what_is_not_taken_back_says_what_to_do() {
    let mut bench = Bench::new();
    let void = |event: &str| json!({"command": "void", "event": event, "why": "a slip"});
    assert_eq!(bench.refuses_scan("BS1/V"), "there is nothing to take back");
    bench.scan("BS1/S/PREPARE");
    let prepare = bench.last("step_done");
    bench.does(void(&prepare));
    assert_eq!(bench.refuses(void(&prepare)), "\"prepare the parts\" at W-8/1 is taken back already");
    for step in ["BOND", "CURE"] {
        bench.scan(&format!("BS1/S/{step}"));
    }
    // The length shows the cut: what shows it is taken back, and the step counts no more.
    bench.types("37 1/2 in");
    let (cut, length) = (bench.last("step_done"), bench.last("value_typed"));
    let words = bench.refuses(void(&cut));
    assert_eq!(
        words,
        format!(
            "\"cut to length\" at W-8/1 was shown by a measurement: take that one back, `records void {length} --why TEXT`, and the step counts no more"
        )
    );
    for step in ["GRIP", "REST"] {
        bench.scan(&format!("BS1/S/{step}"));
    }
    let rest = bench.last("step_done");
    bench.types("37 1/2 in");
    bench.scan("BS1/S/HAND-OVER");
    let hand_over = bench.last("step_done");
    let resume = "`orders resume W-8/1 --by N --why TEXT` takes it up again";
    for (event, label) in [(&hand_over, "hand over"), (&rest, "let the grip rest")] {
        let words = bench.refuses(void(event));
        let expected = format!("W-8/1 is handed over already, \"{label}\" is not taken back: {resume}");
        assert!(words.starts_with(&expected), "{words}");
    }
    assert!(bench.refuses_scan("BS1/V").contains("\"hand over\" is not taken back"));
    bench.does(json!({"command": "take_club_up", "club": "W-8/1", "name": "K7", "why": "the wrong card"}));
    assert!(bench.refuses(void(&hand_over)).starts_with("\"hand over\" at W-8/1 counts no more since"));
    bench.does(void(&rest));
    // What is done before it was taken up still counts, and the hand-over does not.
    let club = bench.club("W-8/1");
    assert!(club.has_done(Step::Grip) && !club.has_done(Step::Rest) && !club.has_done(Step::HandOver));
    bench.scan("BS1/S/REST");
    bench.scan("BS1/S/HAND-OVER");
    assert!(bench.club("W-8/1").has_done(Step::HandOver));
    bench.restarts();
}

#[test]
fn the_card_takes_back_what_was_done_last_at_the_club_in_hand() {
    let mut bench = Bench::new();
    bench.does(json!({"command": "open_club", "club": "W-8/2"}));
    for step in ["BOND", "CURE", "GRIP"] {
        bench.scan(&format!("BS1/S/{step}"));
    }
    bench.types("37 in");
    bench.does(json!({"command": "bend", "characteristic": "lie", "quantity": "0.5 deg flat"}));
    bench.scan("BS1/S/REST");
    // From the last one to the first.
    bench.scan("BS1/V");
    bench.tells("the step \"let the grip rest\" at W-8/2 is taken back");
    bench.scan("BS1/V");
    bench.tells("taken back at W-8/2: bend of lie");
    bench.scan("BS1/V");
    bench.tells("taken back at W-8/2: length");
    bench.scan("BS1/V");
    // The cut that the length had shown counts no more.
    assert_eq!(bench.steps("W-8/2"), ["bond", "cure", "cut"]);
    assert!(!bench.club("W-8/2").has_done(Step::Cut));
    // With another club in hand nobody sees what happens.
    bench.scan("BS1/N");
    let (cure, words) = (bench.club("W-8/2").steps[1].event, bench.refuses_scan("BS1/V"));
    let expected = format!(
        "what was done last is \"let it cure\" at W-8/2, which is not in hand: open it first, or take it back by `records void {cure} --why TEXT`"
    );
    assert_eq!(words, expected);
    // A reading of another one is taken back as ever.
    bench.types("36 1/2 in");
    bench.scan("BS1/V");
    assert!(bench.club("W-8/2").has_done(Step::Cure));
}

#[test]
fn a_question_about_a_step_costs_nobody_what_was_done_before_it() {
    let mut bench = Bench::new();
    bench.scan("BS1/S/DRY-FIT");
    bench.bench.wait(10.0);
    bench.refuses_scan("BS1/S/DRY-FIT");
    bench.bench.wait(3.0);
    let words = bench.refuses_scan("BS1/V");
    assert_eq!(
        words,
        "\"dry fit\" is not done again at W-8/1, and nothing is taken back: once more takes back what was done last"
    );
    bench.bench.wait(3.0);
    bench.scan("BS1/V");
    assert_eq!(bench.steps("W-8/1"), [""; 0]);
    // Something was done since the question: that is meant.
    bench.scan("BS1/S/DRY-FIT");
    bench.refuses_scan("BS1/S/DRY-FIT");
    bench.types("38 in");
    bench.scan("BS1/V");
    bench.tells("taken back at W-8/1: length");
    // Its cautions read are no deed.
    bench.scan("BS1/S/BOND");
    bench.bench.wait(3.0);
    bench.refuses_scan("BS1/S/BOND");
    bench.scan("BS1/A");
    let words = bench.refuses_scan("BS1/V");
    assert!(words.contains("is not done again at W-8/1, and nothing is taken back"), "{words}");
    assert!(bench.club("W-8/1").has_done(Step::Bond));
}

#[test]
fn a_card_takes_a_step_back_only_as_long_as_it_can_be_a_slip() {
    let mut bench = Bench::with_batch();
    let late = |bench: &mut Bench, reason: &str| {
        let (words, bond) = (bench.refuses_scan("BS1/V"), bench.club("W-8/1").steps.last().unwrap().event);
        assert_eq!(
            words,
            format!(
                "\"bond head and shaft\" at W-8/1 is not taken back by a card or a pedal, {reason}: take it back in the club's record, or by `records void {bond} --why TEXT`"
            )
        );
        bond
    };
    bench.scan("BS1/S/BOND");
    bench.bench.wait(119.0);
    bench.scan("BS1/V");
    assert_eq!(bench.steps("W-8/1"), [""; 0]);
    bench.scan("BS1/S/BOND");
    bench.bench.wait(150.0);
    late(&mut bench, "that is 3 min ago");
    let bond = late(&mut bench, "that is 3 min ago");
    bench.does(json!({"command": "void", "event": bond.to_string(), "why": "the wrong card"}));
    assert_eq!(bench.steps("W-8/1"), [""; 0]);
    // Work went on since: a maker's code is noted, which a card does not take back.
    bench.scan("BS1/S/BOND");
    bench.scan("(01)09506000134352(10)L7");
    late(&mut bench, "something else was noted of it since");
}

#[test]
fn nothing_that_is_kept_is_taken_back_or_replaced_without_a_name() {
    let mut bench = Bench {
        bench: DeskBench::new(&format!("{CONFIG}{SCANNER}[operators]\ncorrections = \"named\"\n")),
        stored: Stored::default(),
    };
    bench.stored = bench.bench.begin();
    bench.does(json!({"command": "import_order", "text": ORDER}));
    bench.scan("BS1/O/W-8");
    // What is new is kept without a name.
    bench.scan("BS1/S/DRY-FIT");
    bench.types("37 1/2 in");
    let typed = bench.stored.of("value_typed")[0].id.to_string();
    for correction in [
        json!({"command": "scan", "code": "BS1/V"}),
        json!({"command": "void", "event": typed, "why": "misread"}),
        json!({"command": "enter", "characteristic": "length", "quantity": "37 1/4 in"}),
    ] {
        let words = bench.refuses(correction);
        assert!(words.starts_with("what is kept is taken back or replaced by somebody with a name"), "{words}");
    }
    bench.scan("BS1/W/K7");
    bench.types("37 1/4 in");
    bench.scan("BS1/V");
    let by: Vec<Option<String>> = bench.club("W-8/1").voids.iter().map(|void| void.by.clone()).collect();
    assert_eq!(by, [Some("K7".to_owned())]);
}

#[test]
fn the_page_does_a_step_again_by_a_deed_of_its_own() {
    let mut bench = Bench::new();
    let again = |club: &str, step: &str| json!({"command": "step_again", "club": club, "step": step});
    let words = bench.refuses(again("W-8/1", "grip"));
    assert_eq!(words, "\"put the grip on\" is not done at W-8/1, so it is not done again: mark it done");
    bench.does(json!({"command": "step_done", "step": "grip"}));
    // Pressed twice it says what there is to press, however long that takes.
    for wait in [0.2, 5.0, 5.0] {
        bench.bench.wait(wait);
        let words = bench.refuses(json!({"command": "step_done", "step": "grip"}));
        let ending =
            "already, 10 s ago by K7: to do it again on purpose press \"do it again\" beside it in the club's record";
        assert!(
            words.starts_with("\"put the grip on\" is done at W-8/1") && (wait > 1.0 || words.ends_with(ending)),
            "{words}"
        );
    }
    let words = bench.refuses(again("W-8/2", "grip"));
    assert!(words.starts_with("W-8/2 is not in hand, W-8/1 is: open W-8/2 first"), "{words}");
    bench.does(again("W-8/1", "grip"));
    assert_eq!(bench.steps("W-8/1"), ["grip", "grip"]);
    let read = bench.club("W-8/1").acknowledged.last().unwrap();
    assert_eq!((read.step, read.by.as_deref()), (Step::Grip, Some("K7")));
}

#[test]
fn a_route_without_a_hand_over_is_finished_and_nobody_says_that_it_is_handed_over() {
    let mut bench = Bench::new();
    bench.does(json!({"command": "open_club", "club": "W-8/3"}));
    for step in ["PREPARE", "GRIP", "REST"] {
        bench.scan(&format!("BS1/S/{step}"));
    }
    bench.types("36 1/2 in");
    assert_eq!(bench.club("W-8/3").state, ClubState::Finished);
    bench.does(json!({"command": "open_club", "club": "W-8/3"}));
    assert_eq!(bench.bench.snapshot().work.club.clone().unwrap().next, "the club is finished");
    let words = bench.refuses_scan("BS1/S/GRIP");
    assert!(words.starts_with("W-8/3 is finished already"), "{words}");
    let newer = ORDER.replace("36 1/2 in ±", "36 in ±");
    bench.does(json!({"command": "import_order", "text": newer}));
    let words = bench.club("W-8/3").order_words().unwrap();
    assert!(words.starts_with("W-8/3 is shown as it was finished; its order was changed since"), "{words}");
    bench.scan("BS1/O/W-8");
    bench.does(json!({"command": "take_club_up", "club": "W-8/3", "name": "K7", "why": "its player is back"}));
    let words = bench.club("W-8/3").order_words().unwrap();
    assert!(words.contains("since it was finished") && !words.contains("handed over"), "{words}");
}

#[test]
fn a_card_that_lies_under_the_scanner_is_one_read() {
    let mut bench = Bench::new();
    bench.scan("BS1/S/PREPARE");
    // A tenth of a second apart for three seconds, as a scanner does that was never set.
    for _ in 0..30 {
        bench.reads("BS1/D");
        bench.bench.wait(0.1);
    }
    assert_eq!(bench.steps("W-8/1"), ["prepare", "dry_fit"]);
    bench.bench.wait(1.0);
    bench.reads("BS1/D");
    assert_eq!(bench.steps("W-8/1"), ["prepare", "dry_fit", "bond"]);
    for _ in 0..3 {
        bench.reads("BS1/V");
        bench.bench.wait(0.1);
    }
    assert_eq!(bench.steps("W-8/1"), ["prepare", "dry_fit"]);
    for _ in 0..3 {
        bench.reads("BS1/N");
        bench.bench.wait(0.1);
    }
    assert_eq!(bench.state().current_club.as_deref(), Some("W-8/2"));
    // A question is not answered by the same read, and by a person who brings the card back it is.
    bench.scan("BS1/C/W-8/1");
    for _ in 0..30 {
        bench.reads("BS1/S/DRY-FIT");
        bench.bench.wait(0.1);
    }
    assert_eq!(bench.steps("W-8/1"), ["prepare", "dry_fit"]);
    bench.bench.wait(2.0);
    bench.reads("BS1/S/DRY-FIT");
    assert_eq!(bench.steps("W-8/1"), ["prepare", "dry_fit", "dry_fit"]);
    // Commands of programs are as many as are given.
    bench.scan("BS1/N");
    bench.scan("BS1/N");
    assert_eq!(bench.state().current_club.as_deref(), Some("W-8/3"));
}

/// A folder with a configuration, and the built program on it.
struct Shop {
    folder: tempfile::TempDir,
    config: std::path::PathBuf,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let config = folder.path().join("bench.toml");
        let data = folder.path().join("data");
        std::fs::write(&config, configuration("/nowhere", data.to_str().unwrap())).unwrap();
        Self { folder, config }
    }

    #[track_caller]
    fn done(&self, arguments: &[&str]) -> String {
        let config = self.config.to_str().unwrap();
        let output = benchscribe(arguments.iter().chain(&["--config", config]));
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    fn record(&self) -> Value {
        serde_json::from_str(&self.done(&["records", "show", "W-8/1", "--json"])).unwrap()
    }
}

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
    let record = shop.record();
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
    assert_eq!(shop.record()["steps_taken_back"].as_array().unwrap().len(), 2);
    // Once is enough to say that a step is done.
    let said = shop.done(&["scan", "BS1/S/FINAL-CHECK"]);
    assert_eq!(said.matches("\"final check\" is done at W-8/1").count(), 1, "{said}");
    assert!(said.contains("not measured"), "{said}");
    assert_verified(&shop.folder.path().join("data"));
}
