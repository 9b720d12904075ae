//! Fits, adjustments, quantiles and gauge studies against an independent library: SciPy from PyPI.
//!
//! The questions are drawn from a seed, `scipy/reference.py` answers them; it is installed into a folder of its own at the
//! first run. Without PyPI this test fails and says so.
#![allow(dead_code, reason = "of what the tests share this program uses a part")]
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/python.rs"]
mod python;

use benchscribe::measurement::adjustment::{Angle, Hanging, Weighing, adjust_beam, adjust_gauge, adjust_scale};
use benchscribe::measurement::beam::BeamGeometry;
use benchscribe::measurement::calibration::{BeamCalibration, ScaleCalibration};
use benchscribe::measurement::distribution::{chi_squared_quantile, coverage_factor, f_significance};
use benchscribe::measurement::fit::fit_polynomial;
use benchscribe::measurement::gauge::{GaugeCalibration, Hand, LoftSense};
use benchscribe::measurement::gauge_study::{BY_COUNT, BY_TRIALS, CrossedStudy};
use benchscribe::measurement::process::{capability, run_chart, share_within};
use benchscribe::measurement::study_result::{RANGE_LIMIT, study_result};
use benchscribe::measurement::unit::{Degrees, Grams, Millimetres};
use serde_json::{Value, json};

/// Puts all questions at once and takes the answers.
fn ask(questions: &Value) -> Value {
    python::ask(&python::python("scipy", &python::SCIPY), "scipy/reference.py", questions)
}

/// Chance that can be repeated: splitmix64 (public domain).
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        f64::from(u32::try_from((x ^ (x >> 31)) >> 32).unwrap()) / f64::from(u32::MAX)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    fn list(&mut self, count: usize, low: f64, high: f64) -> Vec<f64> {
        (0..count).map(|_| self.between(low, high)).collect()
    }
}

#[track_caller]
fn near(found: f64, expected: &Value, relative: f64, what: &str) {
    let expected = expected.as_f64().unwrap();
    assert!((found - expected).abs() <= relative * expected.abs().max(1e-9), "{what}: {found}, SciPy says {expected}");
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

/// A table `[person][trial][part]` of a size that goes with `n`.
fn table(dice: &mut Dice, n: usize) -> Vec<Vec<Vec<f64>>> {
    let [people, trials, parts] = [2 + n % 3, 2 + n % 4, 2 + n % 9];
    let part = dice.list(parts, 195.0, 205.0);
    (0..people)
        .map(|_| {
            let own = dice.between(-0.2, 0.2);
            let cells: Vec<f64> = part.iter().map(|part| part + own + dice.between(-0.1, 0.1)).collect();
            (0..trials).map(|_| cells.iter().map(|cell| cell + dice.between(-0.3, 0.3)).collect()).collect()
        })
        .collect()
}

/// Everything that is asked.
fn questions(dice: &mut Dice) -> Value {
    let polynomial: Vec<Value> = (0..30)
        .map(|n| {
            let (degree, count) = (n % 4, 6 + n % 7);
            let x = dice.list(count, 0.0, 1000.0);
            let y: Vec<f64> = x.iter().map(|x| 3.0 + 0.999 * x - 2e-6 * x * x + dice.between(-0.05, 0.05)).collect();
            json!({"x": x, "y": y, "degree": degree, "at": dice.between(0.0, 1000.0)})
        })
        .collect();
    let scale: Vec<Value> = (0..10)
        .map(|n| {
            let masses = dice.list(3 + n, 50.0, 1200.0);
            let indications: Vec<f64> = masses.iter().map(|mass| 1.002 * mass + dice.between(-0.02, 0.02)).collect();
            json!({"masses": masses, "indications": indications})
        })
        .collect();
    let beam: Vec<Value> = (0..10)
        .map(|n| {
            let places = dice.list(4 + n, 150.0, 820.0);
            let masses = dice.list(4 + n, 200.0, 600.0);
            let counts: Vec<[f64; 2]> = masses
                .iter()
                .zip(&places)
                .map(|(mass, place)| {
                    let second = mass * (place - 101.0) / (839.0 - 101.0);
                    [(mass - second) * 998.5 + dice.between(-20.0, 20.0), second * 1003.2 + dice.between(-20.0, 20.0)]
                })
                .collect();
            json!({"counts": counts, "masses": masses, "places": places})
        })
        .collect();
    let gauge: Vec<Value> = (0..10)
        .map(|n| {
            let truths: Vec<[f64; 2]> =
                (0..2 + n).map(|_| [dice.between(50.0, 70.0), dice.between(8.0, 60.0)]).collect();
            let off = |[lie, loft]: &[f64; 2], dice: &mut Dice| {
                [lie + 0.3 + dice.between(-0.05, 0.05), loft - 0.2 + dice.between(-0.05, 0.05)]
            };
            let indications: Vec<[f64; 2]> = truths.iter().map(|truth| off(truth, dice)).collect();
            json!({"truths": truths, "indications": indications})
        })
        .collect();
    let study: Vec<Value> = (0..12).map(|n| json!({"table": table(dice, n)})).collect();
    let chi: Vec<Value> = (0..40).map(|_| json!([dice.between(0.001, 0.999), dice.between(0.3, 400.0)])).collect();
    let coverage: Vec<Value> = (0..40).map(|_| json!([dice.between(0.5, 0.999), dice.between(1.0, 200.0)])).collect();
    let significance: Vec<Value> = (0..40)
        .map(|_| json!([dice.between(0.05, 8.0), dice.between(1.0, 30.0).round(), dice.between(1.0, 120.0).round()]))
        .collect();
    let process: Vec<Value> =
        (0..12u32).map(|n| json!(dice.list(10 + 9 * usize::try_from(n).unwrap(), -0.9, 0.8))).collect();
    json!({"polynomial": polynomial, "scale": scale, "beam": beam, "gauge": gauge, "study": study, "chi_squared": chi,
           "coverage": coverage, "significance": significance, "process": process,
           "shares": [[0, 1], [7, 10], [39, 40], [100, 100], [3, 200]]})
}

fn pairs<'a>(questions: &'a Value, answers: &'a Value, key: &str) -> impl Iterator<Item = (&'a Value, &'a Value)> {
    let (asked, answered) = (questions[key].as_array().unwrap(), answers[key].as_array().unwrap());
    assert!(!asked.is_empty() && asked.len() == answered.len(), "{key}");
    asked.iter().zip(answered)
}

fn compare_polynomials(questions: &Value, answers: &Value) {
    for (asked, told) in pairs(questions, answers, "polynomial") {
        let degree = usize::try_from(asked["degree"].as_u64().unwrap()).unwrap();
        let fit = fit_polynomial(&numbers(&asked["x"]), &numbers(&asked["y"]), degree).unwrap();
        for power in 0..=degree {
            // A third degree that is not there is all noise: its size is compared with its uncertainty.
            let (found, sd) = (fit.coefficients[power], fit.sd_coefficients[power]);
            assert!(
                (found - told["coefficients"][power].as_f64().unwrap()).abs() < 1e-7 * sd.max(found.abs()),
                "{asked}"
            );
            near(sd, &told["sds"][power], 1e-7, "standard deviation of a coefficient");
        }
        near(fit.residual_sd, &told["residual_sd"], 1e-8, "residual standard deviation");
        near(fit.max_abs_residual, &told["largest"], 1e-8, "largest residual");
        assert!((fit.r_squared.unwrap() - told["r_squared"].as_f64().unwrap()).abs() < 1e-10, "{fit:?} {told}");
        let there = fit.predict(asked["at"].as_f64().unwrap()).unwrap();
        near(there.value, &told["value"], 1e-9, "prediction");
        near(there.u_mean, &told["u_mean"], 1e-7, "uncertainty of a prediction");
    }
}

fn compare_adjustments(questions: &Value, answers: &Value) {
    let before = ScaleCalibration {
        span: 1.0,
        bend_per_g: 0.0,
        u_span: 0.0,
        u_linearity: Grams(0.0),
        u_eccentricity: Grams(0.0),
        scatter: None,
    };
    for (asked, told) in pairs(questions, answers, "scale") {
        let weighings: Vec<Weighing> = numbers(&asked["indications"])
            .into_iter()
            .zip(numbers(&asked["masses"]))
            .map(|(indication_g, mass_g)| Weighing { indication_g, mass_g, u_mass_g: 0.0 })
            .collect();
        let (after, findings) = adjust_scale(&weighings, 1, &before).unwrap();
        near(after.span, &told["span"], 1e-11, "span");
        near(after.u_span, &told["sd_span"], 1e-7, "uncertainty of the span");
        near(after.u_linearity.0, &told["residual_sd"], 1e-7, "scatter about the line");
        let named = |name: &str| findings.iter().find(|finding| finding.name.starts_with(name)).unwrap();
        near(named("largest distance").value, &told["largest"], 1e-7, "largest residual");
        let (bent, _) = adjust_scale(&weighings, 2, &before).unwrap();
        near(bent.span, &told["quadratic"][0], 1e-9, "span of the quadratic");
        assert!((bent.bend_per_g - told["quadratic"][1].as_f64().unwrap()).abs() < 1e-12, "{bent:?}");
        near(bent.u_span, &told["sd_quadratic"], 1e-6, "uncertainty of the span of the quadratic");
        near(bent.u_linearity.0, &told["residual_sd_quadratic"], 1e-6, "scatter about the quadratic");
        let intercept = named("intercept");
        assert!((intercept.value - told["intercept"].as_f64().unwrap()).abs() < 1e-9, "{findings:?}");
        near(intercept.u.unwrap(), &told["sd_intercept"], 1e-7, "uncertainty of the intercept");
        near(named("chance").value, &told["chance"], 1e-6, "chance of the intercept");
    }
    let nought = Millimetres(0.0);
    let before = BeamCalibration {
        zero_counts: [0.0; 2],
        counts_per_gram: [1000.0; 2],
        u_span: 0.0,
        geometry: BeamGeometry {
            x1: Millimetres(100.0),
            x2: Millimetres(840.0),
            u_x1: nought,
            u_x2: nought,
            reaction_correlation: 0.0,
        },
        u_butt_stop: nought,
        u_level: Degrees(0.0),
        hang: nought,
        scatter: None,
        supports_freedom: None,
    };
    for (asked, told) in pairs(questions, answers, "beam") {
        let counts = asked["counts"].as_array().unwrap().iter().map(|pair| numbers(pair).try_into().unwrap());
        let hangings: Vec<Hanging> = counts
            .zip(numbers(&asked["masses"]))
            .zip(numbers(&asked["places"]))
            .map(|((counts, mass_g), at_mm)| Hanging { counts, mass_g, u_mass_g: 0.0, at_mm })
            .collect();
        let (after, _) = adjust_beam(&hangings, true, 0.0, &before).unwrap();
        for cell in 0..2 {
            near(after.counts_per_gram[cell], &told["counts_per_gram"][cell], 1e-9, "counts a gram");
        }
        near(after.u_span, &told["relative_sd"], 1e-5, "uncertainty of the cells");
        let geometry = after.geometry;
        for (found, key, place) in [
            (geometry.x1, "supports", 0),
            (geometry.x2, "supports", 1),
            (geometry.u_x1, "sd_supports", 0),
            (geometry.u_x2, "sd_supports", 1),
        ] {
            near(found.0, &told[key][place], if key == "supports" { 1e-8 } else { 1e-4 }, key);
        }
    }
    let before = GaugeCalibration {
        lie_datum: Degrees(0.0),
        loft_datum: Degrees(0.0),
        u_datum: Degrees(0.0),
        left: None,
        u_level: Degrees(0.0),
        loft_sense: LoftSense::Vertical,
        u_face: None,
        scatter: None,
    };
    for (asked, told) in pairs(questions, answers, "gauge") {
        let two = |value: &Value| -> Vec<[f64; 2]> {
            value.as_array().unwrap().iter().map(|pair| numbers(pair).try_into().unwrap()).collect()
        };
        let angles: Vec<Angle> = two(&asked["indications"])
            .into_iter()
            .zip(two(&asked["truths"]))
            .map(|(indication_deg, truth_deg)| Angle { hand: Hand::Right, indication_deg, truth_deg, u_truth_deg: 0.0 })
            .collect();
        let (after, findings) = adjust_gauge(&angles, &before).unwrap();
        near(after.lie_datum.0, &told["mean"][0], 1e-11, "datum of the lie");
        near(after.loft_datum.0, &told["mean"][1], 1e-11, "datum of the loft");
        for (finding, sem) in findings.iter().zip(numbers(&told["sem"])) {
            assert!((finding.u.unwrap() / sem - 1.0).abs() < 1e-9, "{finding:?} {sem}");
        }
    }
}

fn compare_studies(questions: &Value, answers: &Value) {
    for (asked, told) in pairs(questions, answers, "study") {
        let table: Vec<Vec<Vec<f64>>> = serde_json::from_value(asked["table"].clone()).unwrap();
        let study = CrossedStudy::new(table).unwrap();
        let result = study_result(&study);
        let anova = result.anova;
        for (key, line) in [
            ("people", anova.people),
            ("parts", anova.parts),
            ("interaction", anova.interaction),
            ("repeatability", anova.repeatability),
            ("total", anova.total),
        ] {
            // The nested models lose digits where a source explains little of the total.
            let told = told["squares"][key].as_f64().unwrap();
            assert!((line.squares - told).abs() < 1e-9 * anova.total.squares, "{key}: {} {told}", line.squares);
        }
        let chance = told["chance"].as_f64().unwrap();
        assert!((anova.interaction_significance.unwrap() - chance).abs() < 1e-6, "{anova:?} {chance}");
        assert_eq!(result.pooled, chance >= 0.05, "{chance}");
        for (found, told) in result.repeatability_limits.unwrap().into_iter().zip(numbers(&told["limits"])) {
            assert!((found / told - 1.0).abs() < 1e-7, "{found} {told}");
        }
        for (part, variance) in result.parts.iter().zip(numbers(&told["part_variances"])) {
            assert!((part.repeats.powi(2) / variance - 1.0).abs() < 1e-9, "{part:?} {variance}");
        }
    }
}

fn compare_factors(answers: &Value) {
    for (place, told) in answers["factors"].as_array().unwrap().iter().enumerate() {
        let (d2, d3) = (told["d2"].as_f64().unwrap(), told["d3"].as_f64().unwrap());
        if let Some(factor) = BY_TRIALS.get(place) {
            assert!((factor - 1.0 / d2).abs() < 6e-5, "{factor} {}", 1.0 / d2);
        }
        assert!((BY_COUNT[place] - 1.0 / d2.hypot(d3)).abs() < 6e-5, "{} {}", BY_COUNT[place], 1.0 / d2.hypot(d3));
        // Published to three decimals from rounded d2 and d3.
        let limit = 1.0 + 3.0 * d3 / d2;
        assert!((RANGE_LIMIT[place] - limit).abs() < 1.1e-3, "{} {limit}", RANGE_LIMIT[place]);
    }
}

/// Capability with its confidence, limits of run charts, shares.
fn compare_processes(questions: &Value, answers: &Value) {
    for (asked, told) in pairs(questions, answers, "process") {
        let results = numbers(asked);
        let (found, chart) = (capability(&results).unwrap(), run_chart(&results).unwrap());
        near(found.cp, &told["cp"], 1e-10, "Cp");
        near(found.cpk, &told["cpk"], 1e-10, "Cpk");
        for side in 0..2 {
            near(found.cp_within[side], &told["cp_within"][side], 1e-8, "confidence of Cp");
            near(found.cpk_within[side], &told["cpk_within"][side], 1e-5, "confidence of Cpk");
            // The tables' d2 is rounded to 1.128.
            near(chart.limits[side], &told["limits"][side], 5e-4, "limits of a run chart");
        }
    }
    for (asked, told) in pairs(questions, answers, "shares") {
        let [good, all]: [f64; 2] = numbers(asked).try_into().unwrap();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small whole numbers")]
        let within = share_within(good as usize, all as usize).unwrap();
        for side in 0..2 {
            assert!((within[side] - told[side].as_f64().unwrap()).abs() < 1e-6, "{asked}: {within:?} {told}");
        }
    }
}

#[test]
fn fits_adjustments_quantiles_and_studies_are_those_of_scipy() {
    let questions = questions(&mut Dice(20_261));
    let answers = ask(&questions);
    compare_polynomials(&questions, &answers);
    compare_adjustments(&questions, &answers);
    compare_studies(&questions, &answers);
    compare_factors(&answers);
    for (asked, told) in pairs(&questions, &answers, "chi_squared") {
        let [p, freedom]: [f64; 2] = numbers(asked).try_into().unwrap();
        near(chi_squared_quantile(p, freedom).unwrap(), told, 1e-8, "quantile of chi-squared");
    }
    for (asked, told) in pairs(&questions, &answers, "coverage") {
        let [p, freedom]: [f64; 2] = numbers(asked).try_into().unwrap();
        near(coverage_factor(p, freedom).unwrap(), told, 1e-8, "coverage factor");
    }
    compare_processes(&questions, &answers);
    for (asked, told) in pairs(&questions, &answers, "significance") {
        let [ratio, above, below]: [f64; 3] = numbers(asked).try_into().unwrap();
        assert!(
            (f_significance(ratio, above, below).unwrap() - told.as_f64().unwrap()).abs() < 1e-11,
            "{asked} {told}"
        );
    }
}
