//! Steps done again from the page, routes that end without a hand-over, and codes read over and over.

use super::*;

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
    assert_eq!(bench.done_at("W-8/1"), ["grip", "grip"]);
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
    assert_eq!(bench.done_at("W-8/1"), ["prepare", "dry_fit"]);
    bench.bench.wait(1.0);
    bench.reads("BS1/D");
    assert_eq!(bench.done_at("W-8/1"), ["prepare", "dry_fit", "bond"]);
    for _ in 0..3 {
        bench.reads("BS1/V");
        bench.bench.wait(0.1);
    }
    assert_eq!(bench.done_at("W-8/1"), ["prepare", "dry_fit"]);
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
    assert_eq!(bench.done_at("W-8/1"), ["prepare", "dry_fit"]);
    bench.bench.wait(2.0);
    bench.reads("BS1/S/DRY-FIT");
    assert_eq!(bench.done_at("W-8/1"), ["prepare", "dry_fit", "dry_fit"]);
    // Commands of programs are as many as are given.
    bench.scan("BS1/N");
    bench.scan("BS1/N");
    assert_eq!(bench.state().current_club.as_deref(), Some("W-8/3"));
}
