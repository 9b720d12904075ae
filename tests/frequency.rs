//! The frequency of a clamped shaft, against finite elements whose eigenvalues SciPy finds (PyPI), and how far an even beam
//! is from a tapered one after a cut. Without PyPI this test fails and says so.
#![allow(dead_code, reason = "of what the tests share this program uses a part")]
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/python.rs"]
mod python;

use benchscribe::club::frequency::{Cantilever, UNEVEN_SHARE, carried_over};
use serde_json::{Value, json};

fn ask(beams: &[Value]) -> Vec<f64> {
    let found = python::ask(&python::python("scipy", &python::SCIPY), "frequency/reference.py", &json!(beams));
    serde_json::from_value(found).unwrap()
}

fn asked(beam: &Cantilever, at_clamp: f64, at_tip: f64) -> Value {
    json!({"free_mm": beam.free_mm, "beam_g_per_mm": beam.beam_g_per_mm, "body_g": beam.body_g,
           "beyond_mm": beam.beyond_mm, "body_inertia_gmm2": beam.body_inertia_gmm2, "at_clamp": at_clamp, "at_tip": at_tip})
}

fn shaft(free_mm: f64, beam_g_per_mm: f64, body_g: f64, beyond_mm: f64, body_inertia_gmm2: f64) -> Cantilever {
    Cantilever { free_mm, beam_g_per_mm, body_g, beyond_mm, body_inertia_gmm2, points_g: 0.0 }
}

#[test]
fn an_even_beam_swings_as_finite_elements_say() {
    // Shafts of woods and irons (common practice, no source), with a mass at the end and with a head beyond it.
    let mut beams = Vec::new();
    for (free, density) in [(1020.0, 0.05), (880.0, 0.09), (760.0, 0.12)] {
        for body in [180.0, 205.0, 290.0] {
            for (beyond, inertia) in [(0.0, 0.0), (50.0, 300_000.0)] {
                beams.push(shaft(free, density, body, beyond, inertia));
            }
        }
    }
    let stiffness = 4.0e6;
    let found = ask(&beams.iter().map(|beam| asked(beam, stiffness, stiffness)).collect::<Vec<_>>());
    for (beam, expected) in beams.iter().zip(found) {
        // Rayleigh's quotient is never below the truth, and here above it by less than two in a thousand.
        let off = beam.cpm(stiffness) / expected - 1.0;
        assert!((-1e-6..2e-3).contains(&off), "{beam:?}: {} of {expected}", beam.cpm(stiffness));
    }
}

/// A raw shaft whose stiffness goes evenly from butt to tip, of which tip and butt are cut; clamped at 127 mm.
fn cut(ratio: f64, raw_mm: f64, [tip_mm, butt_mm]: [f64; 2], [body_g, beyond_mm]: [f64; 2]) -> (Cantilever, Value) {
    let free = raw_mm - 127.0 - tip_mm - butt_mm;
    let beam = shaft(free, 0.1, body_g, beyond_mm, 0.0);
    let at = |from_tip_mm: f64| 2.0e6 * (1.0 + (ratio - 1.0) * from_tip_mm / raw_mm);
    (beam, asked(&beam, at(tip_mm + free), at(tip_mm)))
}

#[test]
fn what_a_taper_does_to_a_cut_lies_within_what_is_claimed() {
    // Butts are three to five times as stiff as tips (common practice, no source: 15 mm beside 9 mm of about one wall).
    let (mut beams, mut asks) = (Vec::new(), Vec::new());
    for ratio in [2.0, 3.0, 4.0, 5.0] {
        for trims in [[13.0, 0.0], [50.0, 0.0], [0.0, 30.0], [0.0, 90.0], [25.0, 60.0]] {
            for head in [[205.0, 0.0], [256.0, 40.0]] {
                let pair = [cut(ratio, 1029.0, [0.0, 0.0], [205.0, 0.0]), cut(ratio, 1029.0, trims, head)];
                asks.extend(pair.iter().map(|(_, asked)| asked.clone()));
                beams.push((ratio, trims, pair.map(|(beam, _)| beam)));
            }
        }
    }
    let told = ask(&asks);
    let (mut within, mut worst) = (0, 0.0f64);
    for ((ratio, trims, [raw, made]), told) in beams.iter().zip(told.chunks(2)) {
        let [measured, truth] = told else { panic!("two answers a pair") };
        let found = carried_over(*measured, raw, made).unwrap();
        let uncut = Cantilever { free_mm: raw.free_mm, ..*made };
        let claimed = UNEVEN_SHARE * (found - carried_over(*measured, raw, &uncut).unwrap()).abs();
        let off = (found - truth).abs() / claimed;
        worst = worst.max(off);
        within += usize::from(off <= 1.0);
        assert!(off <= 2.0, "ratio {ratio}, cut {trims:?}: {found} of {truth}, claimed {claimed}");
    }
    // A standard uncertainty that is neither too small nor a mere excuse.
    assert!(within * 3 >= beams.len() * 2 && worst > 0.5, "{within} of {}, worst {worst}", beams.len());
}
