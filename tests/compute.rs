//! `compute` against every vector of `tests/checks/vectors`, each within its own stated tolerance, and against requests
//! that have no answer.
//!
//! The vectors are invented inputs with results of an independent reference (two routes, see `checks/SOURCES.md`).

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may panic")]

use std::fs;
use std::path::Path;

use benchscribe::cli::compute::answer;
use serde_json::{Value, json};

/// How near a number has to be, read from the words of a vector.
#[derive(Debug, Clone, Copy)]
enum Tolerance {
    Exact,
    Absolute(f64),
    Relative(f64),
}

impl Tolerance {
    /// The tolerance that the words of a vector give to a key of its result.
    fn of(words: &str, key: &str) -> Self {
        match words {
            "exact" => Self::Exact,
            "values rel 1e-9; u_* rel 1 %" if key.starts_with("u_") => Self::Relative(0.01),
            "values rel 1e-9; u_* rel 1 %" => Self::Relative(1e-9),
            "rel 1e-7 (abs 1e-6 on points)" if key.contains("points") => Self::Absolute(1e-6),
            "rel 1e-7 (abs 1e-6 on points)" => Self::Relative(1e-7),
            "rel 1e-8 (R2 abs 1e-12)" if key == "R2" => Self::Absolute(1e-12),
            "rel 1e-8 (R2 abs 1e-12)" => Self::Relative(1e-8),
            other => {
                let mut parts = other.split_whitespace();
                let kind = parts.next().unwrap();
                let size: f64 = parts.next().unwrap_or_else(|| panic!("tolerance {other}")).parse().unwrap();
                match kind {
                    "abs" => Self::Absolute(size),
                    "rel" => Self::Relative(size),
                    _ => panic!("tolerance {other}"),
                }
            }
        }
    }

    fn holds(self, found: f64, expected: f64) -> bool {
        let apart = (found - expected).abs();
        match self {
            Self::Exact => apart <= 0.0,
            Self::Absolute(size) => apart <= size,
            Self::Relative(size) => apart <= size * expected.abs(),
        }
    }
}

fn agrees(found: &Value, expected: &Value, words: &str, key: &str) -> bool {
    match (found, expected) {
        (Value::Number(found), Value::Number(expected)) => {
            Tolerance::of(words, key).holds(found.as_f64().unwrap(), expected.as_f64().unwrap())
        }
        (Value::Array(found), Value::Array(expected)) => {
            found.len() == expected.len() && found.iter().zip(expected).all(|(f, e)| agrees(f, e, words, key))
        }
        (found, expected) => found == expected,
    }
}

fn vectors() -> Vec<Value> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/checks/vectors");
    let mut all = Vec::new();
    for file in fs::read_dir(folder).unwrap() {
        let set: Value = serde_json::from_str(&fs::read_to_string(file.unwrap().path()).unwrap()).unwrap();
        all.extend(set["vectors"].as_array().unwrap().iter().cloned());
    }
    all
}

fn ask(request: &Value) -> Value {
    serde_json::from_str(&answer(&request.to_string())).unwrap()
}

#[test]
fn every_vector_is_answered_within_its_own_tolerance() {
    let vectors = vectors();
    assert!(vectors.len() >= 101, "{} vectors", vectors.len());
    let mut wrong = Vec::new();
    for vector in &vectors {
        let reply = ask(&json!({"id": vector["id"], "kind": vector["kind"], "inputs": vector["inputs"]}));
        assert_eq!((&reply["id"], &reply["kind"]), (&vector["id"], &vector["kind"]));
        for (key, expected) in vector["expected"].as_object().unwrap() {
            if !agrees(&reply["result"][key], expected, vector["tolerance"].as_str().unwrap(), key) {
                wrong.push(format!("{} {key}: expected {expected}, found {}", vector["id"], reply));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Inputs that an answer does not depend on: labels, and what the reference carries along for other kinds.
const UNUSED: [&str; 6] = ["type", "moment14_inoz", "generating_coef", "generating_noise_sd", "club", "current"];

#[test]
fn a_missing_input_is_named() {
    let mut refused = 0;
    for vector in vectors() {
        for key in vector["inputs"].as_object().unwrap().keys() {
            let mut inputs = vector["inputs"].clone();
            inputs.as_object_mut().unwrap().remove(key);
            let reply = ask(&json!({"id": 1, "kind": vector["kind"], "inputs": inputs}));
            match reply["error"].as_str() {
                Some(error) => {
                    assert!(error.contains(&format!("inputs.{key} is missing")), "{error}");
                    refused += 1;
                }
                None => assert!(UNUSED.contains(&key.as_str()), "{} without {key}: {reply}", vector["id"]),
            }
        }
    }
    // Every vector has at least one input it cannot do without.
    assert!(refused > vectors().len(), "{refused}");
}

/// Puts each odd value at every place of every vector: whatever comes back is an answer of finite numbers or words.
#[test]
fn no_input_brings_a_panic_or_a_number_that_is_not_one() {
    let odd = [
        json!(null),
        json!("text"),
        json!([]),
        json!({}),
        json!(true),
        json!(0),
        json!(-1),
        json!(1e-300),
        json!(1e300),
        json!(-1e300),
        json!(355.6),
        json!(90),
        json!(180),
        json!([1, 2, 3]),
        json!([1e308, -1e308, 1e308, 5e-324]),
    ];
    for vector in vectors() {
        let mut places = Vec::new();
        places_of(&vector["inputs"], String::new(), &mut places);
        for place in places {
            for value in &odd {
                let mut inputs = vector["inputs"].clone();
                *inputs.pointer_mut(&place).unwrap() = value.clone();
                let reply = ask(&json!({"id": 1, "kind": vector["kind"], "inputs": inputs}));
                let answered = reply["error"].is_string() != reply["result"].is_object();
                assert!(answered, "{} {place} {value}: {reply}", vector["id"]);
                for key in vector["expected"].as_object().unwrap().keys() {
                    let lost = reply["result"].is_object() && reply["result"].get(key).is_none();
                    assert!(
                        !lost || reply["result"]["no_solution"] == true || vector["expected"]["no_solution"] == true,
                        "{} {place} {value}: {reply}",
                        vector["id"]
                    );
                }
            }
        }
    }
}

fn places_of(value: &Value, place: String, places: &mut Vec<String>) {
    match value {
        Value::Object(fields) => {
            fields.iter().for_each(|(key, inner)| places_of(inner, format!("{place}/{key}"), places))
        }
        // The first of a list stands for the others.
        Value::Array(list) => list.iter().take(1).for_each(|inner| places_of(inner, format!("{place}/0"), places)),
        _ => {}
    }
    if !place.is_empty() {
        places.push(place);
    }
}

#[test]
fn a_request_without_an_answer_is_refused_in_words() {
    let club = json!({"total_mass_g": 400.0, "balance_mm": 750.0, "sw_points_from_A0": 33.0, "moi_butt_kgcm2": 2750.0});
    for (kind, inputs, words) in [
        (
            "reactions",
            json!({"R1_g": -300, "R2_g": 200, "x1_mm": 0, "x2_mm": 800, "u_R1_g": 0, "u_R2_g": 0, "u_x1_mm": 0, "u_x2_mm": 0, "corr_R1_R2": 0}),
            "nothing lies on the beam",
        ),
        (
            "reactions",
            json!({"R1_g": 100, "R2_g": 200, "x1_mm": 800, "x2_mm": 800, "u_R1_g": 0, "u_R2_g": 0, "u_x1_mm": 0, "u_x2_mm": 0, "corr_R1_R2": 0}),
            "two supports apart",
        ),
        (
            "reactions",
            json!({"R1_g": 100, "R2_g": 200, "x1_mm": 0, "x2_mm": 800, "u_R1_g": 0, "u_R2_g": 0, "u_x1_mm": 0, "u_x2_mm": 0, "corr_R1_R2": 2}),
            "corr_R1_R2 is 2",
        ),
        (
            "r111",
            json!({"nominal_g": 100, "weight_class": "M4", "conventional_mass_error_mg": 0, "expanded_uncertainty_mg": 1}),
            "one of: E1",
        ),
        (
            "r111",
            json!({"nominal_g": 300, "weight_class": "M1", "conventional_mass_error_mg": 0, "expanded_uncertainty_mg": 1}),
            "nominal_g is 300",
        ),
        ("r76", json!({"instrument_class": "V", "e_g": 0.1, "load_g": 10, "indication_error_g": 0}), "one of: I, II"),
        ("fit", json!({"degree": 2, "x": [1, 2, 1, 2], "y": [1, 2, 3, 4], "x0": 1}), "2 different places"),
        ("fit", json!({"degree": 1.5, "x": [1, 2, 3], "y": [1, 2, 3], "x0": 1}), "whole number"),
        ("fit", json!({"degree": 2, "x": [1, 2, 3], "y": [1, 2, 3], "x0": 1}), "3 points, expected at least 4"),
        ("add_one", json!({"current": club, "target_sw_points": 90, "x_mm": 300}), "would have to come off"),
        (
            "turn_about_shaft",
            json!({"loft": 10, "face": 0, "lie": 58, "psi": 1, "handed": "both"}),
            "expected \"right\" or \"left\"",
        ),
        (
            "stability",
            json!({"t_s": [0, 1], "x_g": [1, 2, 3], "range_max_g": 1, "slope_max_g_per_s": 1}),
            "2 times for 3 values",
        ),
        (
            "pendulum",
            json!({"mass_g": 400, "balance_mm": 750, "pivot_mm": 100, "period_s": 0.5, "amplitude_deg": 5, "g": 9.8}),
            "point mass",
        ),
        (
            "beam_tilt",
            json!({"mass_g": 400, "balance_mm": 750, "cg_below_support_line_mm": 10, "tilt_head_down_deg": 1, "x1_mm": 50, "x2_mm": 850, "axial_force_taken_on_support_line": false}),
            "no other place is known",
        ),
    ] {
        let reply = ask(&json!({"id": 1, "kind": kind, "inputs": inputs}));
        assert!(reply["error"].as_str().is_some_and(|error| error.contains(words)), "{kind}: {reply}");
    }
    let reply = ask(
        &json!({"id": 1, "kind": "add_two_mass_sw", "inputs": {"current": club, "target_total_mass_g": 410, "target_sw_points": 34, "x_head_mm": 900, "x_butt_mm": 900.4}}),
    );
    assert_eq!(reply["result"]["no_solution"], true, "{reply}");
}
