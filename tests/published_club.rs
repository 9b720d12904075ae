//! The letter scale, the rules of the trade and the geometry of angles against published and derived values.
//!
//! Every value and its source stand in `checks/*.json` (and `checks/SOURCES.md`). Trade rules are common practice without
//! a source where their entry says so; the model is compared with them, not made to fit.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::path::Path;

use benchscribe::club::angles::{Face, bend_loft, loft_in_shaft_plane, turn_about_shaft};
use benchscribe::club::parts::{Assembly, Grip, Head, Shaft, Tape};
use benchscribe::club::sleeve::{Sleeve, put_on_sleeve};
use benchscribe::club::swing_weight::{GMM_PER_POINT, mass_for_swing_weight, moment12, moment14};
use benchscribe::club::trimming::butt_trim_for;
use benchscribe::measurement::quantity::{Dimension, parse_value};
use benchscribe::measurement::unit::{Degrees, Grams, MM_PER_INCH, Millimetres, Points};
use serde_json::Value;

fn items(file: &str) -> Vec<Value> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/checks").join(file);
    let set: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    set["items"].as_array().unwrap().clone()
}

fn item(file: &str, id: &str) -> Value {
    items(file).into_iter().find(|item| item["id"] == id).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn near(found: f64, expected: f64, absolute: f64, what: &str) {
    assert!((found - expected).abs() <= absolute, "{what}: found {found}, expected {expected}");
}

#[test]
fn every_mark_of_the_scale_has_its_moment() {
    for item in items("09_swingweight_scale.json") {
        let id = item["id"].as_str().unwrap();
        let Some(mark) = item["inputs"]["mark"].as_str() else { continue };
        let points = Points::parse(mark).unwrap();
        let expected = if id.ends_with("-tab") { &item["expected"] } else { &item["expected"]["moment_inoz"] };
        near(points.moment14().inch_ounces(), number(expected), 1e-12, id);
        if let Some(expected) = item["expected"]["points_from_A0"].as_f64() {
            near(points.0, expected, 0.0, id);
        }
    }
}

#[test]
fn mass_and_balance_give_the_mark() {
    for item in
        items("09_swingweight_scale.json").iter().filter(|item| item["id"].as_str().unwrap().starts_with("SW-calc"))
    {
        let (mass, balance) =
            (Grams(number(&item["inputs"]["mass_g"])), Millimetres(number(&item["inputs"]["balance_mm"])));
        let (moment, expected) = (moment14(mass, balance), &item["expected"]);
        let points = Points::from_moment14(moment);
        near(moment.inch_ounces(), number(&expected["moment14_inoz"]), 1e-9, "14 in");
        near(moment12(mass, balance).inch_ounces(), number(&expected["moment12_inoz"]), 1e-9, "12 in");
        near(points.0, number(&expected["points_from_A0"]), 1e-9, "points");
        let (letter, rest) = points.letter(1).unwrap();
        assert_eq!(expected["mark"]["letter"], letter.to_string());
        near(rest, number(&expected["mark"]["number"]), 0.0, "mark");
    }
    // D0 holds the butt down with 15.25 ounces; an open teaching derivation prints 4.51 N for its own club.
    let d0 = Points::parse("D0").unwrap().moment14().inch_ounces();
    near(d0 / 14.0, number(&item("09_swingweight_scale.json", "SW-butt-force")["expected"]), 1e-12, "butt force");
    let example = item("09_swingweight_scale.json", "SW-example");
    let arm = Millimetres(number(&example["inputs"]["balance_mm"]) - number(&example["inputs"]["fulcrum_mm"]));
    let moment = Grams(number(&example["inputs"]["mass_g"])) * arm;
    let force_n = moment.0 / number(&example["inputs"]["fulcrum_mm"]) * number(&example["inputs"]["g"]) / 1000.0;
    near(force_n, number(&example["expected"]["printed_N"]), 0.002, "butt force of the example");
}

#[test]
fn lengths_of_the_equipment_rules_convert_as_they_are_printed() {
    // Limits in inches with the millimetres the rules print beside them (`tolerance` of each entry).
    for (id, printed_mm) in [
        ("ER-len-min", 457.2),
        ("ER-len-medical", 254.0),
        ("ER-wood-heeltoe", 127.0),
        ("ER-wood-solecrown", 71.12),
        ("ER-grip-max", 44.45),
        ("ER-grip-round", 1.016),
        ("ER-grip-minlen", 177.8),
        ("ER-grip-rib-end", 76.2),
    ] {
        let inches = number(&item("07_equipment_rules.json", id)["expected"]);
        near(parse_value(&format!("{inches} in"), Dimension::Length).unwrap(), printed_mm, 1e-9, id);
    }
    let longest = parse_value("48 in", Dimension::Length).unwrap();
    near(longest, 1219.0, 0.5, "48 in is printed as 1.219 m");
}

#[test]
fn rules_of_thumb_are_as_far_from_the_model_as_their_entries_say() {
    let grams_per_point = |at_mm: f64| mass_for_swing_weight(Points(1.0), Millimetres(at_mm)).unwrap().0;
    // Common practice: 2 g in the head. The head's centre of gravity is taken half an inch short of the club's length,
    // which is near enough for 3 %.
    let head = item("08_trade_rules.json", "TR-head");
    for (club, grams) in head["model"].as_object().unwrap() {
        let length_in: f64 = club.split("in ").next().unwrap().rsplit(' ').next().unwrap().parse().unwrap();
        let found = grams_per_point((length_in - 0.5) * MM_PER_INCH);
        near(found, number(grams), number(grams) * 0.03, club);
    }
    near(-grams_per_point(112.0), number(&item("08_trade_rules.json", "TR-grip")["model"]), 0.005, "grip");
    near(-grams_per_point(25.0), 3.81, 0.005, "butt weight at 25 mm, as the entry says");
    near(-grams_per_point(0.0), 3.5, 0.05, "butt weight at 0 mm, as the entry says");
    near(GMM_PER_POINT / MM_PER_INCH, 49.61, 0.005, "a point in gram-inches");
    let bent = bend_loft(Degrees(56.0), Degrees(10.0), Degrees(-2.0)).unwrap();
    assert_eq!(bent, (Degrees(54.0), Degrees(8.0)), "bounce follows loft one for one");
}

#[test]
fn half_an_inch_is_worth_what_the_entry_says() {
    // The entries give length, head, shaft and grip; the rest is typical: cap 3 mm, balances near the middle, head
    // centre of gravity 20 mm beyond the tip (25 mm for irons).
    for (club, length_in, head_g, shaft_g, beyond_mm) in [
        ("driver 45.5in 200g head, 60 g shaft, 50 g grip", 45.5, 200.0, 60.0, 20.0),
        ("5-iron 38in 256g head, 115 g steel", 38.0, 256.0, 115.0, 25.0),
        ("PW 35.75in 286g, 115 g steel", 35.75, 286.0, 115.0, 25.0),
    ] {
        let cut = length_in * MM_PER_INCH - 35.0;
        let assembly = Assembly {
            cap: Millimetres(3.0),
            shaft: Shaft {
                raw_length: Millimetres(cut + 20.0),
                raw_mass: Grams(shaft_g * (cut + 20.0) / cut),
                balance_from_butt: Millimetres((cut + 20.0) * 0.49),
                tip_trim: Millimetres(10.0),
                butt_trim: Millimetres(10.0),
            },
            grip: Grip { mass: Grams(50.0), length: Millimetres(267.0), cg_from_butt: Millimetres(112.0) },
            tape: Tape { mass: Grams(3.0), length: Millimetres(250.0) },
            head: Head {
                mass: Grams(head_g),
                cg_from_tip: Millimetres(beyond_mm),
                cg_lateral: Millimetres(30.0),
                inertia_cg_gmm2: 3e5,
            },
            points: vec![],
        };
        let now = assembly.mass_properties().unwrap().swing_weight;
        let expected = number(&item("08_trade_rules.json", "TR-half-inch")["model"][club]);
        near(-butt_trim_for(&assembly, now).unwrap().per_half_inch.0, expected, 0.15, club);
    }
}

fn face(inputs: &Value) -> Face {
    Face { loft: Degrees(number(&inputs["loft"])), angle: Degrees(inputs["face"].as_f64().unwrap_or(0.0)) }
}

#[test]
fn turning_closes_and_delofts_at_the_derived_rate() {
    for item in items("10_geometry.json").iter().filter(|item| item["id"].as_str().unwrap().starts_with("GEO-turn")) {
        let lie = Degrees(number(&item["inputs"]["lie"]));
        let step = 1e-4;
        // The face rate holds for a face without loft: with loft it is sin Λ at face 0 too, so any loft does.
        let turned =
            |by: f64| turn_about_shaft(Face { loft: Degrees(30.0), angle: Degrees(0.0) }, lie, Degrees(by)).unwrap();
        let rate = |of: &dyn Fn(Face) -> f64| (of(turned(step)) - of(turned(-step))) / (2.0 * step);
        let (loft, angle) = (rate(&|face| face.loft.0), rate(&|face| face.angle.0));
        near(loft, number(&item["expected"]["dloft"]), 1e-8, "loft per degree");
        near(angle, number(&item["expected"]["dface"]), 1e-8, "face per degree");
        near(loft / angle, number(&item["expected"]["dloft_dface"]), 1e-8, "loft per degree of face");
    }
}

#[test]
fn sleeves_turn_faces_as_rotation_matrices_do() {
    let mut sleeves = 0;
    for item in items("10_geometry.json") {
        let (inputs, expected) = (&item["inputs"], &item["expected"]);
        let (Some(tilt), Some(clock)) = (inputs["delta"].as_f64(), inputs["theta"].as_f64()) else { continue };
        let sleeve = Sleeve { tilt: Degrees(tilt), clock: Degrees(clock) };
        let club = put_on_sleeve(face(inputs), Degrees(number(&inputs["lie"])), sleeve).unwrap();
        for (key, found) in [
            ("lie_soled_deg", club.lie_soled),
            ("shaft_lean_deg", club.shaft_lean),
            ("loft_shaft_held_deg", club.shaft_held.loft),
            ("face_shaft_held_deg", club.shaft_held.angle),
            ("loft_face_restored_deg", club.loft_face_restored),
            ("turn_to_restore_face_deg", club.turn_to_restore_face),
            ("face_loft_restored_deg", club.face_loft_restored),
        ] {
            near(found.0, number(&expected[key]), 1e-6, &format!("{} {key}", item["id"]));
        }
        sleeves += 1;
    }
    assert!(sleeves >= 8, "{sleeves}");
}

#[test]
fn the_two_lofts_differ_as_derived() {
    for item in items("10_geometry.json").iter().filter(|item| item["id"].as_str().unwrap().starts_with("GEO-loftdef"))
    {
        let found = loft_in_shaft_plane(face(&item["inputs"]), Degrees(number(&item["inputs"]["lie"]))).unwrap();
        near(found.0, number(&item["expected"]), 1e-9, "loft in the shaft plane");
    }
}
