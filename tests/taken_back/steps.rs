//! What is as before once a step is taken back, and what is not taken back.

use super::*;

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
    assert_eq!(bench.done_at("W-8/1"), ["bond"]);
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
    assert_eq!(bench.done_at("W-8/1"), ["prepare", "dry_fit"]);
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
    assert_eq!(bench.done_at("W-8/2"), ["bond", "cure", "cut"]);
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
    assert_eq!(bench.done_at("W-8/1"), [""; 0]);
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
    assert_eq!(bench.done_at("W-8/1"), [""; 0]);
    bench.scan("BS1/S/BOND");
    bench.bench.wait(150.0);
    late(&mut bench, "that is 3 min ago");
    let bond = late(&mut bench, "that is 3 min ago");
    bench.does(json!({"command": "void", "event": bond.to_string(), "why": "the wrong card"}));
    assert_eq!(bench.done_at("W-8/1"), [""; 0]);
    // Work went on since: a maker's code is noted, which a card does not take back.
    bench.scan("BS1/S/BOND");
    bench.scan("(01)09506000134352(10)L7");
    late(&mut bench, "something else was noted of it since");
}

#[test]
fn nothing_that_is_kept_is_taken_back_or_replaced_without_a_name() {
    let mut bench = Bench {
        bench: DeskBench::new(&format!("{CONFIG}{SCANNER}[operators]\ncorrections = \"named\"\n")),
        stored: desk_bench::Stored::default(),
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
