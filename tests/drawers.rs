//! Drawers and advice: the search against a search through everything, what is proposed against the whole model, and the
//! stock as the journal keeps it.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

#[path = "drawers/brute.rs"]
mod brute;
mod desk_bench;

use std::collections::BTreeMap;

use benchscribe::club::parts::{Assembly, Grip, Head, Place, PointWeight, Shaft, Tape};
use benchscribe::club::swing_weight::mass_for_swing_weight;
use benchscribe::club::weight_search::{SearchItem, SearchPlace, Wanted, search};
use benchscribe::config::named_files::NamedFiles;
use benchscribe::journal::event::{canonical, parse};
use benchscribe::measurement::unit::{Grams, Millimetres};
use benchscribe::output::text::Lengths;
use benchscribe::output::work_view::{ClubView, work};
use benchscribe::work_order::state::State;
use desk_bench::commanded::Commanded as Bench;
use desk_bench::{CONFIG, DeskBench};
use proptest::prelude::*;
use serde_json::json;

fn place() -> impl Strategy<Value = SearchPlace> {
    (-400_000i64..900_000, 0u32..900, 0u32..4).prop_map(|(arm_um, most_cg, most_pieces)| SearchPlace {
        arm_um,
        most_cg,
        most_pieces,
    })
}

fn item() -> impl Strategy<Value = SearchItem> {
    let mass = prop_oneof![1u32..400, (1u32..8).prop_map(|halves| halves * 50)];
    (mass, 0u32..4, proptest::sample::subsequence(vec![0usize, 1, 2], 0..=3))
        .prop_map(|(mass_cg, stock, places)| SearchItem { mass_cg, stock, places })
}

fn wanted() -> impl Strategy<Value = Wanted> {
    let room = prop_oneof![Just(0i64), Just(1_000_000), Just(60_000_000)];
    let mass = prop_oneof![Just((i64::MIN / 8, i64::MAX / 8)), (0i64..600, 0i64..300).prop_map(|(a, b)| (a, a + b))];
    (-700_000_000i64..1_300_000_000, room, mass).prop_map(|(aim, room, (mass_low, mass_high))| Wanted {
        low: aim - room,
        aim,
        high: aim + room,
        mass_low,
        mass_high,
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 2_000, ..ProptestConfig::default() })]

    #[test]
    fn no_set_of_weights_is_better_than_the_one_found(
        places in proptest::collection::vec(place(), 3),
        items in proptest::collection::vec(item(), 1..4),
        wanted in wanted(),
    ) {
        let found = search(&places, &items, wanted);
        let mut counts = vec![vec![0u32; places.len()]; items.len()];
        for (kind, place, pieces) in &found.pieces {
            counts[*kind][*place] += pieces;
        }
        prop_assert!(found.proven);
        prop_assert!(brute::is_feasible(&places, &items, &counts), "{found:?}");
        prop_assert_eq!(brute::score(&places, &items, wanted, &counts), found.score);
        prop_assert_eq!(brute::best_score(&places, &items, wanted), found.score);
    }
}

const KIT: &str = r#"
kit = "test"

[[place]]
name = "head"
label = "at the head"
before_end = "0 mm"
most_mass = "6 g"
most_pieces = 3

[[place]]
name = "tip"
label = "in the tip"
before_end = "45 mm"
most_mass = "8 g"
most_pieces = 2
closed_by = "bond"

[[place]]
name = "grip"
label = "under the grip"
from_butt = "25 mm"
most_mass = "12 g"
most_pieces = 3

[[weight]]
name = "w-2"
mass = "2 g"
stock = 3
low = 1
places = ["head", "grip"]

[[weight]]
name = "w-0.5"
mass = "0.5 g"
stock = 4
places = ["head"]

[[weight]]
name = "t-3"
mass = "3 g"
stock = 9
places = ["tip"]

[[grip]]
name = "light"
mass = "40 g"
stock = 2

[[head]]
name = "other"
mass = "207 g"
stock = 1
clubs = ["driver"]
"#;

const ORDER: &str = r#"
order = "W-1"

[[club]]
name = "driver"
kind = "driver"
head_mass = "203 g ± 5 g"
shaft_mass = "60 g ± 5 g"
grip_mass = "45 g ± 8 g"
length = "45 in ± 1/8 in"
swing_weight = "D3 ± 0.1"
"#;

impl Bench {
    fn new(kit: &str) -> Self {
        Self::with_kit(kit, ORDER)
    }

    /// A gripped driver of 320 g and D1.0.
    fn gripped(kit: &str, points: &str) -> Self {
        let mut bench = Self::new(kit);
        bench.enters(&[("head_mass", "203 g"), ("shaft_mass", "60 g"), ("grip_mass", "48 g"), ("length", "45 in")]);
        bench.does(json!({"command": "step_done", "step": "grip"}));
        bench.enters(&[("total_mass", "320 g"), ("balance_point", "840 mm"), ("swing_weight", points)]);
        bench
    }

    #[track_caller]
    fn refuses_for(&mut self, command: serde_json::Value, words: &str) {
        let refusal = self.refuses(command);
        assert!(refusal.contains(words), "{refusal}");
    }

    fn club(&self) -> ClubView {
        work(&self.bench.core.state, Lengths::Inches, 0).club.unwrap()
    }

    fn left(&self, item: &str) -> u32 {
        self.bench.core.state.drawer_stock.left(item)
    }
}

#[test]
fn advice_names_concrete_parts_and_what_they_do() {
    let bench = Bench::gripped(KIT, "D1.4 ± 0.01");
    let club = bench.club();
    // By hand: a gram at 1143 mm is (1143 − 355.6) / 1260.136 = 0.62485 points, so 2.5 g are 1.56 points.
    assert_eq!(club.advice, ["put 2 g + 0.5 g at the head: D3.0, total +2.5 g"]);
    let first = &club.proposals[0];
    assert!(first.reaches && first.proven);
    let effect = |name: &str| first.effects.iter().find(|effect| effect.characteristic == name).unwrap();
    assert!((effect("swing_weight").value.unwrap() - (31.4 + 2.5 * 0.624_854)).abs() < 1e-4);
    assert!((effect("total_mass").value.unwrap() - 322.5).abs() < 1e-9);
    // (320 × 840 + 2.5 × 1143) / 322.5, and 2.5 × 1143² / 10⁵ kg·cm².
    assert!((effect("balance_point").value.unwrap() - 842.348_8).abs() < 1e-3);
    assert!((effect("moi_butt").change.unwrap() - 32.661_2).abs() < 1e-3);
    assert!(effect("length").change.unwrap().abs() < 1e-12);
}

#[test]
fn without_drawers_advice_is_in_grams() {
    let mut bench = Bench::with_order(ORDER);
    bench.enters(&[("length", "45 in")]);
    bench.does(json!({"command": "step_done", "step": "grip"}));
    bench.enters(&[("swing_weight", "D1.4 ± 0.01")]);
    let club = bench.club();
    assert_eq!((club.advice, club.proposals.len()), (vec!["add 2.6 g at the head".to_owned()], 0));
    bench.refuses_for(json!({"command": "use_proposal"}), "nothing from the drawers is proposed");
    bench.refuses_for(json!({"command": "count_stock", "item": "w-2", "pieces": 1}), "no drawers on this bench");
}

#[test]
fn what_cannot_be_reached_is_said_with_what_comes_nearest() {
    let bench = Bench::gripped(KIT, "C5 ± 0.01");
    let advice = &bench.club().advice[0];
    // 6 g are the most at the head.
    assert!(
        advice.starts_with("not reachable with what is in the drawers: nearest is to put 3 × 2 g at the head"),
        "{advice}"
    );
    assert!(advice.contains("wanted: add 12.8 g at the head"), "{advice}");
    let heavy = Bench::gripped(KIT, "D4.5 ± 0.01");
    // Six grams, all the 2 g pieces there are, at 25 mm: 6 × 0.2623 points.
    assert_eq!(heavy.club().advice, ["put 3 × 2 g under the grip: D2.9, total +6.0 g"]);
    assert!(heavy.club().proposals.iter().all(|p| p.parts.iter().all(|part| part.place.as_deref() != Some("tip"))));
}

#[test]
fn taken_parts_leave_the_stock_and_come_back() {
    let mut bench = Bench::gripped(KIT, "D1.4 ± 0.01");
    let key = bench.club().proposals[0].proposal.clone();
    bench.refuses_for(json!({"command": "use_proposal", "proposal": "weights:w-9*1@head"}), "not proposed");
    bench.does(json!({"command": "use_proposal", "proposal": key}));
    assert_eq!((bench.left("w-2"), bench.left("w-0.5")), (2, 3));
    let club = bench.club();
    assert_eq!(club.advice, ["2.5 g taken since it was measured should give D3.0: lay it on the beam"]);
    assert_eq!(club.consumption[0].parts.len(), 2);
    bench.refuses_for(json!({"command": "use_proposal", "proposal": key}), "not proposed");
    // 3.5 g are left at the head, and one piece.
    bench.refuses_for(json!({"command": "take_part", "item": "w-0.5", "pieces": 2, "place": "head"}), "1 more pieces");
    bench.refuses_for(json!({"command": "take_part", "item": "t-3", "place": "tip"}), "takes no weight in the tip now");
    bench.refuses_for(json!({"command": "take_part", "item": "w-2"}), "say where");
    bench.does(json!({"command": "take_part", "item": "w-2", "place": "grip"}));
    let low: Vec<String> =
        work(&bench.bench.core.state, Lengths::Inches, 0).low_stock.into_iter().map(|s| s.item).collect();
    assert_eq!((bench.left("w-2"), low), (1, vec!["w-2".to_owned(), "other".to_owned()]));
    bench.does(json!({"command": "put_back", "why": "too much"}));
    bench.does(json!({"command": "put_back", "why": "wrong club"}));
    bench.refuses_for(json!({"command": "put_back", "why": "again"}), "no parts were taken");
    assert_eq!((bench.left("w-2"), bench.left("w-0.5")), (3, 4));
    assert_eq!(bench.club().advice, ["put 2 g + 0.5 g at the head: D3.0, total +2.5 g"]);
    bench.does(json!({"command": "count_stock", "item": "w-2", "pieces": 0}));
    bench.does(json!({"command": "refill_stock", "item": "w-2", "pieces": 10}));
    assert_eq!(bench.left("w-2"), 10);
    bench.refuses_for(json!({"command": "refill_stock", "item": "w-7", "pieces": 1}), "there is no w-7");
}

#[test]
fn nothing_comes_out_of_a_finished_club_before_somebody_has_decided() {
    let mut bench = Bench::gripped(KIT, "D1.4 ± 0.01");
    bench.does(json!({"command": "use_proposal"}));
    let taking = bench.club().consumption[0].event.clone();
    bench.does(json!({"command": "override_hand_over", "name": "K7", "why": "as agreed"}));
    bench.does(json!({"command": "open_club", "club": "W-1/1"}));
    for command in [
        json!({"command": "put_back", "why": "too much"}),
        json!({"command": "put_back", "taking": taking, "why": "too much"}),
    ] {
        bench.refuses_for(
            command,
            "W-1/1 is handed over already, nothing is taken out: `orders resume W-1/1 --by N --why TEXT`",
        );
    }
    bench.refuses_for(
        json!({"command": "take_part", "item": "w-2", "place": "grip"}),
        "nothing is put in: `orders resume W-1/1",
    );
    bench.refuses_for(json!({"command": "use_proposal"}), "nothing is put in: `orders resume W-1/1");
    assert_eq!(bench.left("w-2"), 2);
    bench.does(json!({"command": "take_club_up", "name": "K7", "why": "its player wants less"}));
    bench.does(json!({"command": "put_back", "why": "too much"}));
    assert_eq!(bench.left("w-2"), 3);
}

#[test]
fn a_measurement_with_the_weights_on_counts_them() {
    let mut bench = Bench::gripped(KIT, "D1.4 ± 0.01");
    bench.does(json!({"command": "use_proposal"}));
    bench.enters(&[("total_mass", "322.5 g"), ("swing_weight", "D2.6 ± 0.01")]);
    // Half a gram more, not the 2.5 g again; one piece still fits.
    assert_eq!(bench.club().advice, ["put 0.5 g at the head: D2.9, total +0.5 g"]);
    let last = bench.bench.core.state.club().unwrap().entries.last().unwrap().event;
    bench.does(json!({"command": "void", "event": last.to_string(), "why": "leaning"}));
    assert_eq!(bench.club().advice, ["2.5 g taken since it was measured should give D3.0: lay it on the beam"]);
}

#[test]
fn the_journal_alone_knows_the_stock() {
    let mut bench = Bench::gripped(KIT, "D1.4 ± 0.01");
    bench.does(json!({"command": "use_proposal"}));
    bench.does(json!({"command": "refill_stock", "item": "t-3", "pieces": 2}));
    let mut folded = State::default();
    for event in &bench.stored.events {
        let text = canonical(event, "bench-1").unwrap();
        let read = parse(&text).unwrap();
        assert_eq!(read, *event);
        folded.apply(&read);
    }
    assert_eq!(folded.drawer_stock, bench.bench.core.state.drawer_stock);
    assert_eq!(folded.drawer_stock.left("t-3"), 11);
    // A file that did not change changes nothing; a new number in it is a count.
    let again = |kit: &str| {
        let files = NamedFiles::kept(BTreeMap::from([("kit.toml".to_owned(), kit.to_owned())]));
        let mut desk = DeskBench::with_files(&format!("kits = [\"kit.toml\"]\n{CONFIG}"), &files, folded.clone());
        let first = desk.begin();
        (
            first.of("drawers_set").len(),
            desk.core.state.drawer_stock.left("t-3"),
            desk.core.state.drawer_stock.left("w-2"),
        )
    };
    assert_eq!(again(KIT), (0, 11, 2));
    assert_eq!(again(&KIT.replace("stock = 9", "stock = 7")), (1, 7, 2));
}

#[test]
fn before_the_grip_is_on_other_parts_and_a_cut_are_offered_and_a_closed_place_is_not() {
    let mut bench = Bench::new(KIT);
    bench.enters(&[("head_mass", "203 g"), ("shaft_mass", "60 g"), ("grip_mass", "50 g"), ("length", "45 in")]);
    // A dry fit that is far too light: D-scale 25, known to 0.01.
    bench.enters(&[("total_mass", "313 g"), ("balance_point", "850 mm"), ("swing_weight", "C5 ± 0.01")]);
    let ways = |club: &ClubView| club.proposals.iter().map(|p| p.way).collect::<Vec<_>>();
    let club = bench.club();
    assert!(club.advice[0].starts_with("forecast for the finished club C"), "{:?}", club.advice);
    assert!(ways(&club).contains(&"head") && ways(&club).contains(&"grip"), "{:?}", ways(&club));
    assert!(club.proposals[0].parts.iter().any(|part| part.item == "t-3"), "{:?}", club.proposals[0]);
    bench.does(json!({"command": "step_done", "step": "bond"}));
    let club = bench.club();
    assert!(!ways(&club).contains(&"head"), "{:?}", ways(&club));
    assert!(club.proposals.iter().all(|p| p.parts.iter().all(|part| part.item != "t-3")));
    // Too heavy: a cut at the butt within the length the order allows, and no further.
    bench.enters(&[("total_mass", "315 g"), ("balance_point", "850 mm"), ("swing_weight", "D8 ± 0.01")]);
    let club = bench.club();
    let cut = club.proposals.iter().find(|p| p.way == "butt_trim").unwrap();
    let shorter = cut.effects.iter().find(|effect| effect.characteristic == "length").unwrap().change.unwrap();
    // By hand: 1/16 in and 1/16 in down to the limit, less twice the uncertainty of a rule, 0.5 mm, and of a saw's line, 0.3 mm.
    assert!((shorter + 3.175 - 2.0 * 0.5f64.hypot(0.3)).abs() < 1e-9, "{shorter}");
    assert!(!cut.cautions.is_empty());
    bench.refuses_for(json!({"command": "use_proposal", "proposal": cut.proposal}), "takes nothing out of the drawers");
}

#[test]
fn another_head_after_the_dry_fit_moves_the_forecast() {
    let mut bench = Bench::new(KIT);
    bench.enters(&[("head_mass", "203 g"), ("shaft_mass", "60 g"), ("grip_mass", "50 g"), ("length", "45 in")]);
    bench.enters(&[("total_mass", "313 g"), ("balance_point", "850 mm"), ("swing_weight", "C5 ± 0.01")]);
    let forecast = |bench: &Bench, of: &str| {
        bench.club().forecast.iter().find(|forecast| forecast.characteristic == of).unwrap().value
    };
    let (before, light) = (forecast(&bench, "swing_weight"), forecast(&bench, "moi_butt"));
    let head = bench.club().proposals.iter().find(|p| p.way == "head").unwrap().proposal.clone();
    bench.does(json!({"command": "use_proposal", "proposal": head}));
    // By hand: 4 g more 13 mm before the ground line of 1143 mm: 4 × (1130 − 355.6) / 1260.14 points, and 4 g × (1.13 m)².
    let gained = forecast(&bench, "swing_weight") - before;
    assert!((gained - 4.0 * (1130.0 - 355.6) / 1260.14).abs() < 0.001, "{gained}");
    let inertia = forecast(&bench, "moi_butt") - light;
    assert!((inertia - 4.0 * 1130.0f64.powi(2) / 1e5).abs() < 8.0, "{inertia}");
}

#[test]
fn an_order_that_names_its_parts_gets_no_other_ones() {
    let kit = KIT.replace("mass = \"207 g\"", "mass = \"207 g\"\nmodel = \"dune 2\"");
    let named = ORDER.replace("kind = \"driver\"", "kind = \"driver\"\nhead = \"dune 1\"");
    for (order, offered) in [(named.replace("dune 1", "dune 2"), true), (named, false)] {
        let mut bench = Bench::new(&kit);
        bench.does(json!({"command": "import_order", "text": order}));
        bench.enters(&[("head_mass", "203 g"), ("shaft_mass", "60 g"), ("grip_mass", "50 g"), ("length", "45 in")]);
        bench.enters(&[("total_mass", "313 g"), ("balance_point", "850 mm"), ("swing_weight", "C5 ± 0.01")]);
        assert_eq!(bench.club().proposals.iter().any(|p| p.way == "head"), offered);
    }
}

#[test]
fn the_kit_of_the_demo_is_sound() {
    let kit = ("kits/demo.toml".to_owned(), include_str!("../config/kits/demo.toml").to_owned());
    let drawers = benchscribe::config::kit_file::read_kits(&[kit]).unwrap();
    assert!(drawers.items.len() > 10 && drawers.places.len() == 3);
}

#[test]
fn mistakes_of_a_kit_are_told_with_its_own_name_and_line() {
    let files = NamedFiles::kept(BTreeMap::from([("kit.toml".to_owned(), KIT.replace("\"2 g\"", "\"2\""))]));
    let config = format!("kits = [\"kit.toml\", \"gone.toml\"]\n{CONFIG}");
    let Err(mistakes) = benchscribe::config::bench_file::read_bench_with("bench.toml", &config, &files) else {
        panic!("accepted")
    };
    let told: Vec<String> = mistakes.0.iter().map(ToString::to_string).collect();
    assert!(told[0].starts_with("bench.toml:1: kits"), "{told:?}");
    assert!(told[1].starts_with("kit.toml:28: weight[1].mass: found \"2\""), "{told:?}");
}

/// Any club the model takes, with a weight on it.
fn any_club() -> impl Strategy<Value = Assembly> {
    (150.0..320.0f64, 40.0..130.0f64, 0.45..0.55f64, 25.0..90.0f64, 800.0..1200.0f64, 0.0..40.0f64).prop_map(
        |(head, shaft, share, grip, length, lateral)| Assembly {
            cap: Millimetres(3.0),
            shaft: Shaft {
                raw_length: Millimetres(length),
                raw_mass: Grams(shaft),
                balance_from_butt: Millimetres(share * length),
                tip_trim: Millimetres(0.0),
                butt_trim: Millimetres(0.0),
            },
            grip: Grip { mass: Grams(grip), length: Millimetres(268.0), cg_from_butt: Millimetres(112.0) },
            tape: Tape { mass: Grams(2.0), length: Millimetres(265.0) },
            head: Head {
                mass: Grams(head),
                cg_from_tip: Millimetres(22.0),
                cg_lateral: Millimetres(lateral),
                inertia_cg_gmm2: 250_000.0,
            },
            points: Vec::new(),
        },
    )
}

fn weighted(club: &Assembly, grams: f64, at: f64) -> Assembly {
    let mut with = club.clone();
    with.points.push(PointWeight { mass: Grams(grams), place: Place::FromButt(Millimetres(at)) });
    with
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_weight_put_on_and_taken_off_returns_the_club(club in any_club(), grams in 0.1..20.0f64, at in 0.0..1200.0f64) {
        let before = club.mass_properties().unwrap();
        let with = weighted(&club, grams, at).mass_properties().unwrap();
        prop_assert!((with.mass.0 - before.mass.0 - grams).abs() < 1e-9);
        // What would bring the heavier club back, by the function that advice uses, is the weight that was put on.
        prop_assume!((at - 355.6).abs() > 5.0);
        let back = mass_for_swing_weight(before.swing_weight - with.swing_weight, Millimetres(at)).unwrap();
        prop_assert!((back.0 + grams).abs() < 1e-6);
    }

    /// Textbook mechanics (Steiner): about any parallel axis the inertia is that about the centre plus mass times distance
    /// squared. The weight's own place stands for the axis: what it adds must be the same by both ways.
    #[test]
    fn inertia_obeys_the_parallel_axis_theorem(club in any_club(), grams in 0.1..20.0f64, at in 0.0..1200.0f64) {
        let before = club.mass_properties().unwrap();
        let distance2 = before.balance.0.powi(2) + before.cg_lateral.0.powi(2);
        let about_butt = before.inertia_cg_kgcm2 + before.mass.0 * distance2 / 1e5;
        prop_assert!((about_butt / before.inertia_butt_kgcm2 - 1.0).abs() < 1e-12);
        let after = weighted(&club, grams, at).mass_properties().unwrap();
        prop_assert!((after.inertia_butt_kgcm2 - before.inertia_butt_kgcm2 - grams * at * at / 1e5).abs() < 1e-7);
        // Two bodies about their common centre: I₁ + reduced mass × distance².
        let reduced = before.mass.0 * grams / (before.mass.0 + grams);
        let apart2 = (at - before.balance.0).powi(2) + before.cg_lateral.0.powi(2);
        let together = before.inertia_cg_kgcm2 + reduced * apart2 / 1e5;
        prop_assert!((after.inertia_cg_kgcm2 / together - 1.0).abs() < 1e-9);
    }

    #[test]
    fn the_moment_is_linear_in_mass(
        club in any_club(), grams in 0.1..10.0f64, times in 0.1..5.0f64, at in 0.0..1200.0f64,
    ) {
        let moment = |grams: f64| weighted(&club, grams, at).mass_properties().unwrap().moment14.0;
        let bare = club.mass_properties().unwrap().moment14.0;
        prop_assert!((moment(times * grams) - bare - times * (moment(grams) - bare)).abs() < 1e-6);
    }
}
