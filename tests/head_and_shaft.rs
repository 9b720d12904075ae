//! What is known of a head's angles and a shaft's frequency before the club is finished: forecast, side effects, lessons.
//!
//! Expectations are worked out by hand beside each check; nothing is taken from the code that is tested.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may panic")]

mod desk_bench;

use benchscribe::config::bench_file::read_bench_with;
use benchscribe::config::named_files::NamedFiles;
use benchscribe::output::drawer_view::{EffectView, ProposalView};
use benchscribe::output::forecast_view::ForecastView;
use benchscribe::output::landed_view::landed_views;
use benchscribe::output::text::Lengths;
use benchscribe::output::work_view::{ClubView, work};
use desk_bench::CONFIG;
use desk_bench::commanded::Commanded as Bench;
use serde_json::json;

const KIT: &str = r#"
kit = "test"

[[place]]
name = "head"
label = "at the head"
before_end = "0 mm"
most_mass = "12 g"
most_pieces = 3

[[place]]
name = "grip"
label = "under the grip"
from_butt = "25 mm"
most_mass = "40 g"
most_pieces = 3

[[weight]]
name = "w-4"
mass = "4 g"
stock = 9
places = ["head"]

[[weight]]
name = "plug"
mass = "12 g"
stock = 9
places = ["grip"]

[[head]]
name = "told"
model = "dune 7"
mass = "278 g"
stock = 1
loft = "33.2 deg ± 0.3 deg"

[[shaft]]
name = "told-shaft"
model = "reed 120"
mass = "126 g"
stock = 1
length = "1000 mm"
frequency = "290 cpm"
clamp_length = "127 mm"
tip_mass = "205 g"
"#;

impl Bench {
    fn new(order: &str) -> Self {
        Self::with_kit(KIT, order)
    }

    fn club(&self) -> ClubView {
        work(&self.bench.core.state, Lengths::Inches, 0).club.unwrap()
    }

    #[track_caller]
    fn forecast(&self, of: &str) -> ForecastView {
        let club = self.club();
        let found = club.forecast.into_iter().find(|forecast| forecast.characteristic == of);
        found.unwrap_or_else(|| panic!("no forecast of {of}: {:?}", club.not_forecast))
    }

    #[track_caller]
    fn reason(&self, of: &str) -> String {
        let club = self.club();
        club.not_forecast.into_iter().find(|value| value.characteristic == of).unwrap().reason
    }

    fn lands(&mut self, of: &str, quantity: &str) {
        self.does(json!({"command": "step_done", "step": "grip"}));
        self.enters(&[(of, quantity)]);
    }
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "found {found}, expected {expected} ± {within}");
}

fn iron(more: &str) -> String {
    format!(
        "order = \"W-1\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nhead = \"dune 7\"\nshaft = \"reed 120\"\nlength = \"37 in\"\nswing_weight = \"D2 ± 0.5\"\nloft = \"34 deg ± 0.5 deg\"\nlie = \"62.5 deg ± 0.5 deg\"\nfrequency = \"300 cpm\"\n{more}"
    )
}

#[test]
fn where_nothing_is_known_the_reason_says_what_to_do() {
    let bench = Bench::new(&iron(""));
    assert_eq!(
        bench.reason("loft"),
        "lay the head in the gauge, or give its loft in the order (head_loft) or the stock"
    );
    assert!(bench.reason("lie").contains("head_lie") && bench.reason("face_angle").contains("head_face_angle"));
    assert!(bench.reason("frequency").starts_with("clamp the bare shaft"));
    assert_eq!(bench.reason("swing_weight"), "weigh head, shaft, grip");
    assert!(bench.club().forecast.is_empty());
}

#[test]
fn an_angle_that_the_order_states_is_forecast_and_marked_as_stated() {
    let bench = Bench::new(&iron("[club.given]\nhead_loft = \"34.5 deg ± 0.3 deg\"\nhead_lie = \"62 deg\"\n"));
    let (loft, lie) = (bench.forecast("loft"), bench.forecast("lie"));
    // Half widths are rectangular (JCGM 100, 4.3.7): 0.3/√3 = 0.1732; without one a degree: 0.577.
    assert_eq!((loft.basis, lie.basis), ("stated", "stated"));
    near(loft.value, 34.5, 1e-9);
    near(loft.u, 0.1732, 1e-3);
    near(loft.deviation.unwrap(), 0.5, 1e-9);
    near(lie.value, 62.0, 1e-9);
    near(lie.u, 0.577, 1e-3);
    assert!(bench.club().forecast_basis.contains(&"loft as stated in the order".to_owned()));
}

#[test]
fn a_sleeve_moves_a_stated_lie_and_nothing_else_of_the_soled_head() {
    let order = "order = \"W-2\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nloft = \"10.5 deg\"\nlie = \"58 deg\"\n[club.given]\nhead_loft = \"10.5 deg\"\nhead_lie = \"58 deg\"\nhead_face_angle = \"0.5 deg\"\n[club.sleeve]\ntilt = \"1.5 deg\"\nclock = [\"0 deg\", \"60 deg\", \"180 deg\"]\nat = \"60 deg\"\n";
    let bench = Bench::new(order);
    // By hand: atan(tan 1.5° · cos 60°) = atan(0.026186 · 0.5) = 0.750°.
    near(bench.forecast("lie").value, 58.75, 0.001);
    near(bench.forecast("loft").value, 10.5, 1e-9);
    near(bench.forecast("face_angle").value, 0.5, 1e-9);
    // Where it stands is not said: any position of the turn, 1.5°/√2 beside the 0.577° of the head.
    let unsaid = Bench::new(&order.replace("at = \"60 deg\"\n", ""));
    near(unsaid.forecast("lie").value, 58.0, 1e-9);
    near(unsaid.forecast("lie").u, (1.5f64 * 1.5 / 2.0 + 0.577 * 0.577).sqrt(), 1e-3);
}

#[test]
fn a_head_laid_in_the_gauge_is_believed_before_what_is_stated_and_is_no_dry_fit() {
    let mut bench = Bench::new(&iron("[club.given]\nhead_loft = \"36 deg\"\n"));
    bench.bench.weigh("gauge", [62.8, 34.4], [0.0, 0.0], &mut bench.stored);
    let (loft, lie) = (bench.forecast("loft"), bench.forecast("lie"));
    assert_eq!((loft.basis, lie.basis), ("measured", "measured"));
    near(loft.value, 34.4, 0.02);
    near(lie.value, 62.8, 0.02);
    // The bore is not filled yet: 0.14° beside what the gauge is unsure by.
    assert!(loft.u > 0.14 && loft.u < 0.7, "{}", loft.u);
    let club = bench.club();
    assert_eq!((club.stage, club.next_step), ("part", Some("dry_fit")));
}

#[test]
fn bends_since_are_worked_in_as_read_at_the_lever() {
    let mut bench = Bench::new(&iron("[club.given]\nhead_loft = \"34 deg ± 0.1 deg\"\n"));
    bench.does(json!({"command": "bend", "club": "W-1/1", "characteristic": "loft", "quantity": "1.5 deg stronger"}));
    let loft = bench.forecast("loft");
    near(loft.value, 32.5, 1e-9);
    assert!(loft.u >= 0.5, "what springs back is not known: {}", loft.u);
    // Bent after it was measured on the gripped club: forecast from that reading, until it lies in the gauge again.
    bench.lands("loft", "32.8 deg");
    assert!(bench.club().forecast.iter().all(|forecast| forecast.characteristic != "loft"));
    bench.does(json!({"command": "bend", "club": "W-1/1", "characteristic": "loft", "quantity": "1 deg weaker"}));
    let loft = bench.forecast("loft");
    // It was stated, not measured, before the first bend: what springs back is still not known.
    near(loft.value, 33.8, 1e-9);
    assert_eq!(loft.basis, "measured");
}

#[test]
fn what_a_head_model_was_off_by_is_learnt_for_its_angles_alone() {
    let mut bench = Bench::new(&iron("[club.given]\nhead_loft = \"34 deg\"\n"));
    bench.lands("loft", "35 deg");
    let club = bench.bench.core.state.clubs["W-1/1"].clone();
    let landed = landed_views(&club, Lengths::Inches);
    assert_eq!((landed.len(), landed[0].basis, landed[0].characteristic), (1, "stated", "loft"));
    near(landed[0].difference, 1.0, 1e-9);
    // By hand: one club, half of the difference is taken, as long as it is within two standard uncertainties.
    let next = iron("[club.given]\nhead_loft = \"34 deg\"\nhead_lie = \"62 deg\"\n").replace("W-1\"", "W-3\"");
    bench.brings(&next);
    near(bench.forecast("loft").value, 34.5, 1e-6);
    assert_eq!(bench.forecast("loft").learnt.unwrap().clubs, 1);
    assert!(bench.forecast("lie").learnt.is_none());
    let other = next.replace("dune 7", "dune 8").replace("W-3\"", "W-4\"");
    bench.brings(&other);
    assert!(bench.forecast("loft").learnt.is_none());
}

/// The textbook's cantilever with a mass at its end, `f² ∝ 1 / (L³ (M + 33/140 m))` (from memory), for a mass beyond it
/// without inertia of its own: `l³ − a³` for `L³` (the deflection under a force beyond the end, beam theory).
fn swings(free: f64, beyond: f64, body: f64) -> f64 {
    (1.0 / (((free + beyond).powi(3) - beyond.powi(3)) * body)).sqrt()
}

const BARE: &str = "tip_mass = \"270 g\"\nclamp_length = \"127 mm\"\n[club.given]\nshaft_frequency = \"280 cpm ± 1 cpm\"\nshaft_clamp_length = \"127 mm\"\nshaft_tip_mass = \"205 g\"\n[club.cut]\nraw_length = \"1000 mm\"\ntip_trim = \"25 mm\"\nbore_depth = \"30 mm\"\nbore_to_ground = \"35 mm\"\n\ngrip_cap = \"4 mm\"\n";

#[test]
fn a_raw_shaft_tells_the_frequency_of_the_finished_club() {
    let mut bench = Bench::new(&iron(BARE));
    assert_eq!(bench.reason("frequency"), "weigh head and shaft: the frequency of the bare shaft is known");
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g")]);
    let found = bench.forecast("frequency");
    assert_eq!(found.basis, "stated");
    // By hand: 1000 mm of raw shaft of 0.12 g/mm, 873 mm of it free, 205 g at its end; 33/140 of the free beam swings.
    let raw = swings(873.0, 0.0, 205.0 + 0.12 * 873.0 * 33.0 / 140.0);
    // Of 37 in, 4 mm are the cap and 35 mm are below the bore: 900.8 mm of shaft, 30 mm of it in the head, whose centre is
    // 13 mm before the ground line, 22 mm beyond the shaft (common practice): 52 mm beyond the free end. 2 g of adhesive.
    let free = 37.0 * 25.4 - 4.0 - 35.0 - 123.0 - 30.0;
    let made = swings(free, 52.0, 272.0 + 0.12 * free * 33.0 / 140.0);
    near(found.value, 280.0 * made / raw, 0.01 * found.value);
    // Honest: a per cent of the clamp through the grip, the cut of a tapered shaft, the head's centre; no more than 6 %.
    assert!(found.u > 0.01 * found.value && found.u < 0.06 * found.value, "{}", found.u);
}

#[test]
fn without_the_mass_on_the_tip_a_stated_frequency_says_nothing() {
    let silent = BARE.replace("tip_mass = \"270 g\"\n", "").replace("shaft_tip_mass = \"205 g\"\n", "");
    let mut bench = Bench::new(&iron(&silent));
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g")]);
    assert!(bench.reason("frequency").contains("give tip_mass"), "{}", bench.reason("frequency"));
}

#[test]
fn a_frequency_of_the_bare_shaft_typed_at_the_bench_counts_before_what_is_stated_and_is_learnt() {
    let mut bench = Bench::new(&iron(BARE));
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g")]);
    let stated = bench.forecast("frequency").value;
    bench.enters(&[("clamp_length", "127 mm"), ("tip_mass", "205 g"), ("frequency", "283 cpm")]);
    let found = bench.forecast("frequency");
    assert_eq!(found.basis, "measured");
    // The same shaft with the same mass, as many per cent faster.
    near(found.value / stated, 283.0 / 280.0, 1e-6);
    // It was laid on the clamp, not together.
    assert_eq!(bench.club().next_step, Some("prepare"));
    bench.does(json!({"command": "override_mark", "club": "W-1/1", "mark": "tip", "name": "A", "why": "a test"}));
    bench.does(json!({"command": "override_mark", "club": "W-1/1", "mark": "butt", "name": "A", "why": "a test"}));
    let expected = bench.forecast("frequency").value;
    bench.lands("frequency", &format!("{:.3} cpm", expected + 4.0));
    let landed = landed_views(&bench.bench.core.state.clubs["W-1/1"], Lengths::Inches);
    let own = landed.iter().find(|landed| landed.characteristic == "frequency").unwrap();
    near(own.difference, 4.0, 0.01);
    bench.brings(&iron(BARE).replace("W-1\"", "W-5\""));
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g")]);
    bench.enters(&[("clamp_length", "127 mm"), ("tip_mass", "205 g"), ("frequency", "283 cpm")]);
    assert!(bench.forecast("frequency").learnt.unwrap().shift > 0.5);
}

#[track_caller]
fn effect<'a>(proposal: &'a ProposalView, of: &str) -> &'a EffectView {
    proposal.effects.iter().find(|effect| effect.characteristic == of).unwrap_or_else(|| panic!("{proposal:?}"))
}

/// A club of which all parts are weighed and a dry fit lay on the beam, with its proposals.
fn dry_fitted(order: &str, points: &str) -> Bench {
    let mut bench = Bench::new(order);
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g"), ("grip_mass", "50 g")]);
    bench.enters(&[("total_mass", "437 g"), ("balance_point", "720 mm"), ("swing_weight", points)]);
    bench
}

#[track_caller]
fn of_way<'a>(club: &'a ClubView, way: &str) -> &'a ProposalView {
    club.proposals.iter().find(|proposal| proposal.way == way).unwrap_or_else(|| panic!("{:?}", club.proposals))
}

#[test]
fn every_proposal_tells_of_every_characteristic() {
    let order = iron(&BARE.replacen("[club.given]\n", "[club.given]\nhead_loft = \"34 deg\"\n", 1));
    let light = dry_fitted(&order, "C8 ± 0.01").club();
    let now = light.forecast.iter().find(|forecast| forecast.characteristic == "frequency").unwrap().value;
    let all: Vec<&str> = benchscribe::work_order::forecast::OF.iter().map(|of| of.name()).collect();
    for proposal in &light.proposals {
        let told = |of: &str| proposal.effects.iter().any(|effect| effect.characteristic == of);
        for of in &all {
            assert!(told(of) || proposal.unchanged.contains(of), "{of} of {proposal:?}");
        }
    }
    let weights = of_way(&light, "weights");
    assert!(["loft", "lie", "face_angle", "length"].iter().all(|of| weights.unchanged.contains(of)), "{weights:?}");
    // Grams at the end of the club, 13 mm beyond the centre of the head: the frequency falls by half of their share in what
    // swings, which is some 295 g, a few hundredths more for the longer arm.
    let grams = effect(weights, "total_mass").change.unwrap();
    let half = now * grams / 295.0 / 2.0;
    near(-effect(weights, "frequency").change.unwrap(), half, 0.1 * half);
    // Another head brings its own loft, and nobody knows its lie.
    let head = of_way(&light, "head");
    near(effect(head, "loft").value.unwrap(), 33.2, 1e-9);
    near(effect(head, "loft").change.unwrap(), -0.8, 1e-9);
    assert!(head.unknown.contains(&"lie") && head.unknown.contains(&"face_angle"), "{:?}", head.unknown);
    near(-effect(head, "frequency").change.unwrap(), now * 8.0 / 295.0 / 2.0, 0.1);
    // Another shaft swings as is stated of it, with the same cut and head.
    let shaft = of_way(&light, "shaft");
    let (raw, free) = (873.0, 37.0 * 25.4 - 4.0 - 35.0 - 123.0 - 30.0);
    let ratio =
        swings(free, 52.0, 272.0 + 0.126 * free * 33.0 / 140.0) / swings(raw, 0.0, 205.0 + 0.126 * raw * 33.0 / 140.0);
    near(effect(shaft, "frequency").value.unwrap(), 290.0 * ratio, 3.0);
    assert!(shaft.unchanged.contains(&"loft"));
    // Weight in the clamp swings nowhere.
    let heavy = dry_fitted(&order, "F4.8 ± 0.01").club();
    let weights = of_way(&heavy, "weights");
    assert!(weights.parts.iter().all(|part| part.item == "plug"), "{weights:?}");
    assert!(weights.unchanged.contains(&"frequency"), "{weights:?}");
}

#[test]
fn a_cut_at_the_butt_makes_it_faster() {
    let order = iron("tip_mass = \"205 g\"\n").replace("37 in", "37 in ± 1/2 in");
    let mut bench = Bench::new(&order);
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g"), ("grip_mass", "50 g")]);
    bench.enters(&[("clamp_length", "127 mm"), ("tip_mass", "205 g"), ("frequency", "283 cpm")]);
    bench.enters(&[("total_mass", "437 g"), ("balance_point", "720 mm"), ("swing_weight", "D6 ± 0.01")]);
    let club = bench.club();
    let cut = of_way(&club, "butt_trim");
    let (by, now) = (-effect(cut, "length").change.unwrap(), bench.forecast("frequency").value);
    // The square of the frequency goes with the third power of the length as long as the mass at the end is what swings.
    let free = 37.0 * 25.4 - 3.0 - 35.0 - 124.0 - 30.0 + 52.0;
    near(effect(cut, "frequency").change.unwrap(), 1.5 * now * by / free, 0.1 * 1.5 * now * by / free);
}

#[test]
fn a_weight_that_came_after_the_frequency_was_measured_is_worked_in() {
    let mut bench = Bench::new(&iron("clamp_length = \"127 mm\"\n"));
    bench.enters(&[("head_mass", "270 g"), ("shaft_mass", "120 g"), ("grip_mass", "50 g")]);
    bench.does(json!({"command": "step_done", "step": "grip"}));
    bench.enters(&[
        ("frequency", "300 cpm"),
        ("total_mass", "442 g"),
        ("balance_point", "720 mm"),
        ("swing_weight", "C6 ± 0.01"),
    ]);
    let before = effect(of_way(&bench.club(), "weights"), "frequency").value.unwrap();
    bench.does(json!({"command": "take_part", "item": "w-4", "place": "head"}));
    let club = bench.club();
    let weights = of_way(&club, "weights");
    let (now, change) = (effect(weights, "frequency").value.unwrap(), effect(weights, "frequency").change.unwrap());
    // What the first piece took off is in the frequency that the next ones start from: 4 g of some 295 g, by half.
    near(now - change, 300.0 * (1.0 - 4.0 / 295.0 / 2.0), 0.5);
    near(now, before, 0.2);
}

#[test]
fn a_value_that_a_bend_or_a_face_angle_has_overtaken_is_told_so_in_the_record() {
    let mut bench = Bench::new(&iron(""));
    bench.lands("loft", "35 deg");
    bench.enters(&[("lie", "62.5 deg")]);
    bench.does(json!({"command": "bend", "club": "W-1/1", "characteristic": "loft", "quantity": "1 deg stronger"}));
    let told =
        benchscribe::output::record::record(&bench.bench.core.state.clubs["W-1/1"], String::new(), Lengths::Inches);
    let of = |name: &str| told.entries.iter().find(|entry| entry.characteristic == name).unwrap().outdated;
    assert_eq!((of("loft"), of("lie")), (Some("bent"), None));
}

#[test]
fn a_gauge_is_not_told_that_every_face_is_perfectly_square() {
    let with = |u_face: &str| {
        let config = format!("{CONFIG}\n[instrument.calibration]\nu_face = \"{u_face}\"\n");
        read_bench_with("test", &config, &NamedFiles::none()).map(|_| ()).map_err(|mistakes| mistakes.to_string())
    };
    assert_eq!(with("0.5 deg"), Ok(()));
    assert!(with("0 deg").unwrap_err().contains("leave the key out where nobody knows"));
}
