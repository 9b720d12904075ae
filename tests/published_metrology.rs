//! Units, weights, uncertainty, fits and gauge studies against published values.
//!
//! Every value and its source stand in `checks/*.json` (and `checks/SOURCES.md`); the loops here put each through the
//! public functions. Class F of NIST Handbook 105-1, which the daemon does not know, only brackets what it does know. Monte Carlo is
//! `uncertainty.rs`.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::path::{Path, PathBuf};

use benchscribe::measurement::check_weight::{InstrumentClass, WeightClass, WeightVerdict, judge_weight};
use benchscribe::measurement::distribution::{combined, coverage_factor, effective_freedom, rectangular};
use benchscribe::measurement::fit::fit_polynomial;
use benchscribe::measurement::gauge_study::CrossedStudy;
use benchscribe::measurement::gravity::{BodyInAir, STANDARD_GRAVITY, gravity_at, reading_in_air};
use benchscribe::measurement::quantity::{Dimension, parse_value};
use benchscribe::measurement::statistics::{OneWayAnova, one_way_anova};
use benchscribe::measurement::unit::{
    Degrees, FULCRUM_MM, GMM_PER_INCH_OUNCE, GRAMS_PER_OUNCE, Grams, INCH_OUNCES_PER_POINT, MM_PER_INCH,
};
use benchscribe::work_order::reference::Weight;
use serde_json::Value;

fn checks() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/checks")
}

fn items(file: &str) -> Vec<Value> {
    let set: Value = serde_json::from_str(&fs::read_to_string(checks().join(file)).unwrap()).unwrap();
    set["items"].as_array().unwrap().clone()
}

fn item(file: &str, id: &str) -> Value {
    items(file).into_iter().find(|item| item["id"] == id).unwrap()
}

fn numbers(list: &Value) -> Vec<f64> {
    list.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

fn near(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: found {found}, expected {expected}");
}

#[test]
fn units_are_those_of_sp_811() {
    let quantity = |text: &str, dimension: Dimension| parse_value(text, dimension).unwrap();
    for (id, found) in [
        ("U-in-mm", MM_PER_INCH),
        ("U-oz-g", GRAMS_PER_OUNCE),
        ("U-lb-g", quantity("1 lb", Dimension::Mass)),
        ("U-gr-mg", quantity("1 gr", Dimension::Mass) * 1000.0),
        ("U-gn", STANDARD_GRAVITY),
        ("U-ozin-gmm", GMM_PER_INCH_OUNCE),
        ("U-ozin-gin", GMM_PER_INCH_OUNCE / MM_PER_INCH),
        ("U-175-gin", INCH_OUNCES_PER_POINT * GRAMS_PER_OUNCE),
        ("U-175-gmm", INCH_OUNCES_PER_POINT * GMM_PER_INCH_OUNCE),
        ("U-14in-mm", FULCRUM_MM),
        ("U-12in-mm", benchscribe::club::swing_weight::FULCRUM_12_MM),
        // 1 kg m2 is 1e9 g mm2; the other by the inch of SP 811.
        ("U-kgm2", 1e9 / benchscribe::club::assembly::GMM2_PER_KGCM2),
        ("U-gin2", 1000.0 * MM_PER_INCH * MM_PER_INCH / benchscribe::club::assembly::GMM2_PER_KGCM2),
        ("U-ozin2", GMM_PER_INCH_OUNCE * MM_PER_INCH / benchscribe::club::assembly::GMM2_PER_KGCM2),
        ("U-64", quantity("1/64 in", Dimension::Length)),
        ("U-8", quantity("1/8 in", Dimension::Length)),
    ] {
        near(found, item("01_units.json", id)["expected"].as_f64().unwrap(), 1e-15, id);
    }
}

/// NIST SP 811, appendix B.8: a unit of force is a unit of mass at standard gravity. The beam's moments are masses at arms, so
/// the same product turns them into newton metres.
#[test]
fn units_of_force_are_those_of_sp_811() {
    let newtons = |text: &str| parse_value(text, Dimension::Mass).unwrap() / 1000.0 * STANDARD_GRAVITY;
    for (id, found) in [
        ("U-lbf-N", newtons("1 lb")),
        ("U-ozf-N", newtons("1 oz")),
        ("U-ozfin-Nm", GMM_PER_INCH_OUNCE * 1e-6 * STANDARD_GRAVITY),
    ] {
        near(found, item("01_units.json", id)["expected"].as_f64().unwrap(), 4.0 * f64::EPSILON, id);
    }
}

/// NIST Handbook 105-1, class F (from memory, low confidence in the source's words): the class of American field
/// standards lies between F2 and M3 of R 111 at every mass, so a limit of ours that had slipped by a column would show.
#[test]
fn class_f_of_handbook_105_lies_between_classes_of_r_111() {
    let rows: Vec<Value> = items("03_r76_hb44.json")
        .into_iter()
        .filter(|item| item["id"].as_str().unwrap().starts_with("HB105-F-"))
        .collect();
    assert_eq!(rows.len(), 13);
    for row in rows {
        let (nominal, limit_mg) = (row["inputs"]["nominal"].as_str().unwrap(), row["expected"].as_f64().unwrap());
        let nominal = Grams(parse_value(nominal, Dimension::Mass).unwrap());
        let of = |class: WeightClass| class.largest_error_mg(nominal).unwrap();
        assert!(of(WeightClass::F2) < limit_mg && limit_mg < of(WeightClass::M3), "{}: {limit_mg} mg", row["id"]);
    }
}

#[test]
fn every_cell_of_r_111_table_1_is_there_and_no_other() {
    let mut cells = 0;
    for item in items("02_r111.json") {
        let (Some(class), Some(nominal)) = (item["inputs"]["class"].as_str(), item["inputs"]["nominal_g"].as_f64())
        else {
            continue;
        };
        let found = WeightClass::parse(class).unwrap().largest_error_mg(Grams(nominal));
        assert_eq!(found, item["expected"].as_f64(), "{}", item["id"]);
        cells += 1;
    }
    assert_eq!(cells, 139);
    let classes = ["E1", "E2", "F1", "F2", "M1", "M2", "M3"].map(|name| WeightClass::parse(name).unwrap());
    let nominals =
        [1.0, 2.0, 5.0].map(|step| (-3..=4).map(move |power| step * 10f64.powi(power))).into_iter().flatten();
    let filled =
        nominals.flat_map(|nominal| classes.map(|class| class.largest_error_mg(Grams(nominal)))).flatten().count();
    assert_eq!(filled, cells);
}

#[test]
fn a_weight_is_accepted_as_r_111_says() {
    let accepted_up_to = item("02_r111.json", "R111-accept")["expected"].as_f64().unwrap();
    assert_eq!(judge_weight(5.0, accepted_up_to, 1.5), WeightVerdict::Conforms);
    assert_eq!(judge_weight(5.0, accepted_up_to + 0.01, 1.5), WeightVerdict::Undecided);
    let third = item("02_r111.json", "R111-U-third")["expected"].as_f64().unwrap();
    assert_eq!(judge_weight(1.0, 0.0, third), WeightVerdict::Conforms);
    assert_eq!(judge_weight(1.0, 0.0, third + 1e-6), WeightVerdict::UncertaintyTooLarge);
}

/// OIML D 28: the conventional mass of a weight is that of a weight of 8000 kg/m³ that balances it in air of 1.2 kg/m³. A
/// scale adjusted with such weights shows it. That it holds at 20 °C bears on the volume only, which is given here.
#[test]
fn a_scale_shows_conventional_mass_under_the_conditions_of_d_28() {
    let expected = &item("02_r111.json", "R111-rho-ref")["expected"];
    let (reference, air) = (expected["rho_kg_m3"].as_f64().unwrap(), expected["rho_air_kg_m3"].as_f64().unwrap());
    let shown = |density: f64, air_mg_per_cm3: f64| {
        let volume_cm3 = 200.0 / density * 1000.0;
        let body = BodyInAir { mass: Grams(200.0), volume_cm3, air_mg_per_cm3, weights_kg_per_m3: reference };
        reading_in_air(&body).unwrap().0
    };
    for density in [2700.0, 7950.0, reference, 21_000.0] {
        near(shown(density, air), 200.0 * (1.0 - air / density) / (1.0 - air / reference), 1e-14, "D 28");
    }
    // Only a weight of that density has its own mass for conventional mass.
    near(shown(reference, air), 200.0, 1e-15, "a weight of the reference density");
    assert!((shown(2700.0, air) - 200.0).abs() > 0.05);
}

#[test]
fn instruments_have_the_steps_of_r_76() {
    for class_name in ["I", "II", "III", "IIII"] {
        let expected = &item("03_r76_hb44.json", &format!("R76-steps-{class_name}"))["expected"];
        let steps = InstrumentClass::parse(class_name).unwrap().steps();
        for (step, key) in steps.iter().zip(["0.5e_up_to", "1.0e_up_to", "1.5e_up_to"]) {
            assert_eq!(Some(*step).filter(|step| step.is_finite()), expected[key].as_f64(), "{class_name} {key}");
        }
    }
    for example in items("03_r76_hb44.json").iter().filter(|item| item["id"].as_str().unwrap().starts_with("R76-ex")) {
        let inputs = &example["inputs"];
        let class = InstrumentClass::parse(inputs["class"].as_str().unwrap()).unwrap();
        let number = |key: &str| Grams(inputs[key].as_f64().unwrap());
        let found = class.largest_error(number("e_g"), number("load_g")).unwrap();
        assert_eq!(Some(found.0), example["expected"].as_f64(), "{}", example["id"]);
    }
}

#[test]
fn classes_have_the_intervals_of_r_76() {
    let mut rows = 0;
    for row in items("03_r76_hb44.json").iter().filter(|item| item["id"].as_str().unwrap().starts_with("R76-class-")) {
        let (inputs, expected) = (&row["inputs"], &row["expected"]);
        let class = InstrumentClass::parse(inputs["class"].as_str().unwrap()).unwrap();
        let least = inputs["e_min_g"].as_f64().or_else(|| expected["e_min_g"].as_f64());
        let intervals = match inputs["e_range_g"].as_array() {
            Some(range) => range.iter().map(|e| e.as_f64().unwrap()).collect(),
            None => vec![least.unwrap()],
        };
        for e in intervals {
            let counts = class.interval_counts(Grams(e)).unwrap();
            assert_eq!(Some(*counts.start()), expected["n_min"].as_f64(), "{}", row["id"]);
            assert_eq!(Some(*counts.end()).filter(|n| n.is_finite()), expected["n_max"].as_f64(), "{}", row["id"]);
        }
        rows += 1;
    }
    assert_eq!(rows, 6);
    // Nothing below or between what the table lists.
    for (class, e) in [("I", 0.000_5), ("II", 0.000_5), ("III", 0.05), ("III", 2.5), ("IIII", 2.0)] {
        assert_eq!(InstrumentClass::parse(class).unwrap().interval_counts(Grams(e)), None, "{class} {e}");
    }
    let in_service = item("03_r76_hb44.json", "R76-inservice")["expected"].as_f64().unwrap();
    let (first, later) = (
        InstrumentClass::II.largest_error(Grams(0.01), Grams(50.0)).unwrap(),
        InstrumentClass::II.largest_error_in_service(Grams(0.01), Grams(50.0)).unwrap(),
    );
    near(later.0, in_service * first.0, 1e-12, "in service");
}

#[test]
fn handbook_44_has_its_own_steps() {
    for class_name in ["I", "II", "III", "IIII"] {
        let expected = &item("03_r76_hb44.json", &format!("HB44-maint-{class_name}"))["expected"];
        let class = InstrumentClass::parse(class_name).unwrap();
        let at = |load: f64| class.maintenance_tolerance(Grams(0.1), Grams(load * 0.1)).map(|tolerance| tolerance.0);
        for (key, tolerance, beyond) in [("1d_up_to", 0.1, 0.2), ("2d_up_to", 0.2, 0.3), ("3d_up_to", 0.3, 0.5)] {
            let Some(step) = expected[key].as_f64() else { continue };
            assert_eq!((at(step), at(step + 1.0)), (Some(tolerance), Some(beyond)), "{class_name} {key}");
        }
    }
    assert_eq!(InstrumentClass::III.maintenance_tolerance(Grams(0.1), Grams(-1.0)), None);
    // 0.5, 1, 1.5 and 2.5 divisions for new instruments: the figure that the check's source describes.
    let part = item("03_r76_hb44.json", "HB44-accept")["expected"].as_f64().unwrap();
    for (load, divisions) in [(500.0, 1.0), (2000.0, 2.0), (4000.0, 3.0), (4001.0, 5.0)] {
        let found = InstrumentClass::III.acceptance_tolerance(Grams(0.1), Grams(load * 0.1)).unwrap();
        near(found.0, part * divisions * 0.1, 1e-15, "HB44-accept");
    }
}

#[test]
fn uncertainties_combine_as_in_the_gum() {
    let expected = |id: &str| item("04_gum.json", id)["expected"].as_f64().unwrap();
    // H.1: six contributions in nm; theta -0.1 C within ±1e-6 of expansion, and ±0.05 C with 11.5e-6, over 50 mm.
    let by_expansion = rectangular(1e-6) * 0.1 * 50_000_623.0;
    let by_temperature = 11.5e-6 * rectangular(0.05) * 50_000_623.0;
    let contributions = &item("04_gum.json", "GUM-H1-components");
    let (inputs, of) = (&contributions["inputs"], &contributions["expected"]);
    let first = |key: &str| inputs[key][0].as_f64().unwrap();
    let named = [
        ("l_s", inputs["u_l_s"].as_f64().unwrap()),
        ("d0", first("d0")),
        ("d1", first("d1")),
        ("d2", first("d2")),
        ("d_alpha", by_expansion),
        ("d_theta", by_temperature),
    ];
    assert_eq!(of.as_object().unwrap().len(), named.len());
    for (key, found) in named {
        assert!((found - of[key].as_f64().unwrap()).abs() <= 1e-3, "H.1 {key}: {found}");
    }
    let total = combined(&named.map(|(_, u)| u));
    near(total, expected("GUM-H1-uc"), 1e-4, "H.1 combined");
    // TN 1297, D.2: with the terms of second order 34 nm, printed to the whole nanometre.
    let second = numbers(&item("04_gum.json", "GUM-H1-second-order")["inputs"]["extra_nm"]);
    let with_second = combined(&[&[total][..], &second].concat());
    assert!((with_second - expected("GUM-H1-second-order")).abs() < 0.5, "{with_second}");
    let freedom = |total: f64, parts: &[(f64, f64)]| {
        effective_freedom(parts) * (total / combined(&parts.iter().map(|part| part.0).collect::<Vec<_>>())).powi(4)
    };
    let h1 = freedom(32.0, &[(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]);
    near(h1, expected("GUM-H1-veff"), 1e-3, "H.1 effective degrees of freedom");
    near(32.0 * coverage_factor(0.99, 16.0).unwrap(), expected("GUM-H1-U99"), 1e-3, "H.1 expanded");
    let g41 = &item("04_gum.json", "GUM-G41")["expected"];
    let parts = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)];
    near(combined(&parts.map(|part| part.0)), g41["uc_percent"].as_f64().unwrap(), 1e-4, "G.4.1 combined");
    near(effective_freedom(&parts), g41["nu_eff"].as_f64().unwrap(), 1e-3, "G.4.1 effective degrees of freedom");
    near(rectangular(0.05), expected("GUM-res"), 1e-12, "display step");
    let budget = [0.0225, rectangular(0.015), 0.0142, rectangular(0.01), rectangular(0.01)];
    near(combined(&budget), item("04_gum.json", "EA402-S2")["expected"]["u_g"].as_f64().unwrap(), 2e-4, "10 kg budget");
    for item in items("04_gum.json").iter().filter(|item| item["id"].as_str().unwrap().starts_with("T95-")) {
        let found = coverage_factor(0.95, item["inputs"]["nu"].as_f64().unwrap()).unwrap();
        assert!((found - item["expected"].as_f64().unwrap()).abs() <= 5e-5, "{} {found}", item["id"]);
    }
}

/// JCGM 100, H.1.2: with no expected difference in expansion and temperature the length is the standard's and the difference
/// found, the same sum that makes a weight's mass of what it is called and its error.
#[test]
fn a_reference_and_its_difference_are_added_as_in_gum_h_1() {
    let length = item("04_gum.json", "GUM-H1-l");
    let input = |key: &str| length["inputs"][key].as_f64().unwrap();
    let weight = Weight::stated(input("l_s_nm"), None, Some(input("d_nm")), Some(25.0)).unwrap();
    near(weight.mass_g(), length["expected"].as_f64().unwrap(), 1e-15, "GUM-H1-l");
}

#[test]
fn the_calibration_line_of_gum_h_3_comes_out_as_printed() {
    let data = item("04_gum.json", "GUM-H3-y1");
    let t: Vec<f64> = numbers(&data["inputs"]["t"]).iter().map(|t| t - 20.0).collect();
    let fit = fit_polynomial(&t, &numbers(&data["inputs"]["b"]), 1).unwrap();
    let correlation = fit.covariance(0, 1).unwrap() / (fit.sd_coefficients[0] * fit.sd_coefficients[1]);
    let at_30 = fit.predict(10.0).unwrap();
    for (id, found) in [
        ("GUM-H3-y1", fit.coefficients[0]),
        ("GUM-H3-y2", fit.coefficients[1]),
        ("GUM-H3-s1", fit.sd_coefficients[0]),
        ("GUM-H3-s2", fit.sd_coefficients[1]),
        ("GUM-H3-r", correlation),
        ("GUM-H3-s", fit.residual_sd),
    ] {
        let item = item("04_gum.json", id);
        near(found, item["expected"].as_f64().unwrap(), 1e-9, id);
        // What the guide itself prints, to its two or three digits.
        if let Some(printed) = item["printed"].as_f64() {
            near(found, printed, 0.01, id);
        }
    }
    let expected = item("04_gum.json", "GUM-H3-b30");
    near(at_30.value, expected["printed"][0].as_f64().unwrap(), 5e-4, "b(30 C)");
    near(at_30.u_mean, expected["printed"][1].as_f64().unwrap(), 0.02, "u of b(30 C)");
}

#[test]
fn gravity_is_that_of_the_welmec_formula() {
    let place = |place: &Value, latitude: &str, height: &str| {
        gravity_at(Degrees(place[latitude].as_f64().unwrap()), place[height].as_f64().unwrap()).unwrap()
    };
    let example = item("04_gum.json", "GRAV-WELMEC");
    near(place(&example["inputs"], "lat_deg", "h_m"), example["expected"].as_f64().unwrap(), 1e-14, "WELMEC");
    for id in ["GRAV-ratio-1", "GRAV-ratio-2"] {
        let item = item("04_gum.json", id);
        let [from, to] = ["from", "to"].map(|key| place(&item["inputs"][key], "lat", "h"));
        assert!((to / from - 1.0 - item["expected"].as_f64().unwrap()).abs() < 1e-9, "{id}");
    }
}

#[test]
fn polynomials_agree_with_the_certified_values_of_nist() {
    // NIST states 15 digits: within half of the last one, and what a double rounds.
    let same = |found: f64, stated: f64, what: &str| {
        near(found, stated, 0.5 * 10f64.powf(stated.abs().log10().floor() - 14.0) / stated.abs() + f64::EPSILON, what);
    };
    for (id, degree) in [("STRD-norris", 1), ("STRD-pontius", 2)] {
        let data = item("05_strd.json", id);
        let fit = fit_polynomial(&numbers(&data["inputs"]["x"]), &numbers(&data["inputs"]["y"]), degree).unwrap();
        let expected = |key: &str| data["expected"][key].as_f64().unwrap();
        for power in 0..=degree {
            same(fit.coefficients[power], expected(&format!("B{power}")), &format!("{id} B{power}"));
            same(fit.sd_coefficients[power], expected(&format!("sd_B{power}")), &format!("{id} sd_B{power}"));
        }
        same(fit.residual_sd, expected("residual_sd"), id);
        same(fit.r_squared.unwrap(), expected("R2"), id);
        assert_eq!(data["expected"]["df"], fit.degrees_of_freedom, "{id}");
    }
}

/// Groups of a data set: from its file of values, or from NIST's own values beside it.
fn groups(name: &str, inputs: &Value) -> Vec<Vec<f64>> {
    if let Some(groups) = inputs["groups"].as_object() {
        return groups.values().map(numbers).collect();
    }
    let text = fs::read_to_string(checks().join(format!("strd/{name}.csv"))).unwrap();
    let mut groups: Vec<Vec<f64>> = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let (group, value) = line.split_once(',').unwrap();
        let group: usize = group.parse().unwrap();
        groups.resize(groups.len().max(group), Vec::new());
        groups[group - 1].push(value.parse().unwrap());
    }
    groups
}

#[test]
fn analysis_of_variance_agrees_with_the_certified_values_of_nist() {
    for name in ["SiRstv", "SmLs01", "AtmWtAg", "SmLs07"] {
        let data = item("05_strd.json", &format!("STRD-{name}"));
        let groups = groups(name, &data["inputs"]);
        assert_eq!(data["inputs"]["n"], groups.iter().map(Vec::len).sum::<usize>(), "{name}");
        let OneWayAnova { between, between_freedom, within, within_freedom, f_ratio, r_squared, residual_sd } =
            one_way_anova(&groups).unwrap();
        assert_eq!(data["expected"]["df"], serde_json::json!([between_freedom, within_freedom]), "{name}");
        for (key, found) in [
            ("SSB", between),
            ("SSW", within),
            ("F", f_ratio.unwrap()),
            ("R2", r_squared.unwrap()),
            ("residual_sd", residual_sd),
        ] {
            near(found, data["expected"][key].as_f64().unwrap(), 1e-12, &format!("{name} {key}"));
        }
    }
}

fn published_study() -> CrossedStudy {
    let data = item("06_grr.json", "GRR-data");
    let people = data["inputs"]["data"].as_object().unwrap().values();
    let table = people.map(|person| person.as_array().unwrap().iter().map(numbers).collect()).collect();
    CrossedStudy::new(table).unwrap()
}

#[test]
fn the_published_gauge_study_comes_out_by_analysis_of_variance() {
    let anova = published_study().anova();
    let expected = &item("06_grr.json", "GRR-anova")["expected"];
    for (key, line, printed) in [
        ("appraiser", anova.people, 3.1673),
        ("part", anova.parts, 88.3619),
        ("appraiser*part", anova.interaction, 0.3590),
        ("repeatability", anova.repeatability, 2.7589),
        ("total", anova.total, 94.6471),
    ] {
        near(line.squares, expected["SS"][key].as_f64().unwrap(), 1e-12, key);
        assert!((line.squares - printed).abs() <= 5e-5, "{key}, as the manual prints it (from memory)");
        assert_eq!(expected["df"][key], line.freedom, "{key}");
    }
    near(anova.interaction_significance.unwrap(), expected["p_int"].as_f64().unwrap(), 1e-10, "p of the interaction");
    let (pooled, apart) = (published_study().components_pooled(), published_study().components());
    let expected = &item("06_grr.json", "GRR-anova-pooled")["expected"];
    for (key, found) in [
        ("EV_sd", pooled.repeatability.sqrt()),
        ("AV_sd", pooled.people.sqrt()),
        ("GRR_sd", pooled.measuring().sqrt()),
        ("PV_sd", pooled.parts.sqrt()),
        ("GRR_percent_TV", pooled.percent_of_total().unwrap()),
        ("ndc_1.41PV/GRR", pooled.distinct_categories().unwrap()),
    ] {
        near(found, expected[key].as_f64().unwrap(), 1e-8, key);
    }
    let expected = &item("06_grr.json", "GRR-anova-unpooled")["expected"];
    for (key, found) in
        [("EV2", apart.repeatability), ("INT2", apart.interaction), ("AV2", apart.people), ("PV2", apart.parts)]
    {
        near(found, expected[key].as_f64().unwrap(), 1e-8, key);
    }
}

#[test]
fn a_study_small_enough_for_a_sheet_of_paper_comes_out() {
    let data = item("06_grr.json", "GRR-2x2x2");
    let people = data["inputs"]["data"].as_object().unwrap().values();
    let table = people.map(|person| person.as_array().unwrap().iter().map(numbers).collect()).collect();
    let anova = CrossedStudy::new(table).unwrap().anova();
    for (key, line, freedom) in [
        ("SS_part", anova.parts, 1),
        ("SS_appraiser", anova.people, 1),
        ("SS_int", anova.interaction, 1),
        ("SS_rep", anova.repeatability, 4),
    ] {
        let expected = data["expected"][key].as_f64().unwrap();
        assert!((line.squares - expected).abs() <= 1e-12, "{key}: {} {expected}", line.squares);
        assert_eq!(line.freedom, freedom, "{key}");
    }
}

#[test]
fn the_published_gauge_study_comes_out_by_ranges() {
    let ranges = published_study().ranges().unwrap();
    let expected = &item("06_grr.json", "GRR-range")["expected"];
    for (key, found) in [
        ("Rbarbar", ranges.mean_range),
        ("Xdiff", ranges.spread_of_people),
        ("Rp", ranges.spread_of_parts),
        ("EV", ranges.repeatability),
        ("AV", ranges.reproducibility),
        ("GRR", ranges.measuring()),
        ("PV", ranges.part_variation),
        ("TV", ranges.total()),
    ] {
        near(found, expected[key].as_f64().unwrap(), 1e-6, key);
    }
}

/// Families of items that a test goes through whole, with the code that chooses them.
const FAMILIES: [(&str, &str); 8] = [
    ("T95-", r#"starts_with("T95-")"#),
    ("R76-ex", r#"starts_with("R76-ex")"#),
    ("R76-class-", r#"starts_with("R76-class-")"#),
    ("HB105-F-", r#"starts_with("HB105-F-")"#),
    ("R76-steps-", r#"format!("R76-steps-{class_name}")"#),
    ("HB44-maint-", r#"format!("HB44-maint-{class_name}")"#),
    ("STRD-", r#"format!("STRD-{name}")"#),
    ("R111-", r#"(item["inputs"]["class"].as_str(), item["inputs"]["nominal_g"].as_f64())"#),
];

/// Whether the code of the tests has the item by its id, or by a family whose other half stands there too.
fn is_used(code: &str, item: &Value) -> bool {
    let id = item["id"].as_str().unwrap();
    let quoted = |text: &str| code.contains(&format!("\"{text}\""));
    let mut families = FAMILIES.iter().filter(|(prefix, chosen)| id.starts_with(prefix) && code.contains(chosen));
    quoted(id)
        || families.any(|(prefix, _)| match *prefix {
            "R111-" => item["inputs"]["class"].is_string() && item["inputs"]["nominal_g"].is_number(),
            "T95-" | "R76-ex" | "R76-class-" | "HB105-F-" => true,
            _ => quoted(&id[prefix.len()..]),
        })
}

#[test]
fn every_item_of_the_published_values_is_used_by_a_test() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let mut code = String::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "rs") {
            let text = fs::read_to_string(path).unwrap();
            // What a comment tells of is not used, and the families are no proof of themselves.
            let text = text.split("\nconst FAMILIES").next().unwrap_or_default();
            code.extend(text.lines().filter(|line| !line.trim_start().starts_with("//")).flat_map(|l| [l, "\n"]));
        }
    }
    let files =
        ["01_units.json", "02_r111.json", "03_r76_hb44.json", "04_gum.json", "05_strd.json", "06_grr.json"].map(items);
    let all: Vec<Value> = files.into_iter().flatten().collect();
    let unused: Vec<&Value> = all.iter().filter(|item| !is_used(&code, item)).map(|item| &item["id"]).collect();
    assert!(all.len() > 200 && unused.is_empty(), "no test uses {unused:?}");
    let invented = serde_json::json!({"id": "U-nobody-uses", "inputs": {}});
    assert!(!is_used(&code, &invented), "the search finds what is not there");
}
