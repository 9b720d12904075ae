//! Uncertainty budgets against simulation: what the first-order budget says of mass, balance point and swing weight
//! is what comes out when every input is drawn from its distribution (JCGM 101, propagation of distributions).
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod desk_bench;

use benchscribe::journal::event::{canonical, parse};
use benchscribe::measurement::beam::BeamGeometry;
use benchscribe::measurement::calibration::{BeamCalibration, Calibration, ScaleCalibration, Scatter};
use benchscribe::measurement::gauge::{FaceAngle, GaugeCalibration, Hand, Laid, LoftSense};
use benchscribe::measurement::reading::Quantity;
use benchscribe::measurement::settling::{Capture, ZeroLook};
use benchscribe::measurement::uncertainty::{BalanceDrift, Budget, Drift, LevelParts, Source, assess};
use benchscribe::measurement::unit::{Degrees, Grams, Millimetres};
use benchscribe::proof::{Doubt, ZeroProof, prove};
use benchscribe::work_order::check_verdict::{Circumstances, Shown, judge_check};
use benchscribe::work_order::checks::Chart;
use benchscribe::work_order::event::{CapturedReading, Change, EventId};
use benchscribe::work_order::reference::Weight;
use desk_bench::DeskBench;

/// Chance that can be repeated: xorshift64* (public domain), from memory.
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let high = u32::try_from(self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 32).unwrap();
        (f64::from(high) + 0.5) / 4_294_967_296.0
    }

    /// Normal, by the polar form of Box and Muller.
    fn normal(&mut self, u: f64) -> f64 {
        u * (-2.0 * self.share().ln()).sqrt() * (std::f64::consts::TAU * self.share()).cos()
    }
}

fn capture(values: [f64; 2], u: [f64; 2]) -> Capture {
    Capture { t_s: 0.0, values, u, window: (0.0, 1.0), zero: [0.0; 2], u_zero: [0.0; 2], zero_look: None, n: 20 }
}

fn of(budgets: &[Budget], quantity: Quantity) -> &Budget {
    budgets.iter().find(|budget| budget.quantity == quantity).unwrap()
}

/// The spread of mass, balance and swing weight when all inputs of a beam are drawn.
fn drawn(beam: &BeamCalibration, [r1, r2]: [f64; 2], u_cells: [f64; 2], drift: &Drift, trials: u32) -> [f64; 3] {
    let mut dice = Dice(0x5eed_5eed_5eed_0001);
    let mut sums = [[0.0; 2]; 3];
    let (mass, balance) = (r1 + r2, (r1 * beam.geometry.x1.0 + r2 * beam.geometry.x2.0) / (r1 + r2));
    let point = 1.75 * 25.4 * 28.349_523_125;
    let swing = (r1 * (beam.geometry.x1.0 - 355.6) + r2 * (beam.geometry.x2.0 - 355.6)) / point;
    let found = drift.balance.unwrap();
    let own = beam.scatter.unwrap().u;
    let of_reference = (beam.u_span * beam.u_span - own * own).sqrt();
    for _ in 0..trials {
        // Two normal draws with the correlation that the checks found.
        let (first, second) = (dice.normal(1.0), dice.normal(1.0));
        let moved = found.mm * (found.correlation * first + (1.0 - found.correlation.powi(2)).sqrt() * second);
        let common = (1.0 + first * drift.relative) * (1.0 + dice.normal(of_reference));
        let f1 = (r1 + dice.normal(u_cells[0])) * (1.0 + dice.normal(own)) * common;
        let f2 = (r2 + dice.normal(u_cells[1])) * (1.0 + dice.normal(own)) * common;
        let stop =
            moved + dice.normal(beam.u_butt_stop.0) + beam.hang.0 * dice.normal(beam.u_level.0.to_radians()).tan();
        let x1 = beam.geometry.x1.0 + dice.normal(beam.geometry.u_x1.0) + stop;
        let x2 = beam.geometry.x2.0 + dice.normal(beam.geometry.u_x2.0) + stop;
        let total = f1 + f2;
        let out = [
            total - mass,
            (f1 * x1 + f2 * x2) / total - balance,
            (f1 * (x1 - 355.6) + f2 * (x2 - 355.6)) / point - swing,
        ];
        for (sum, value) in sums.iter_mut().zip(out) {
            sum[0] += value;
            sum[1] += value * value;
        }
    }
    let n = f64::from(trials);
    sums.map(|[sum, squares]| ((squares - sum * sum / n) / (n - 1.0)).sqrt())
}

#[test]
fn the_simulation_itself_gives_the_published_result_of_jcgm_101() {
    // JCGM 101:2008, 9.3 (table 6): a weight compared with another in air; distributions give 0.0754 mg, the first order
    // only 0.0539 mg. The simulation the other tests rely on must find the former.
    let checks: serde_json::Value = serde_json::from_str(include_str!("checks/04_gum.json")).unwrap();
    let published = checks["items"].as_array().unwrap().iter().find(|item| item["id"] == "JCGM101-9.3").unwrap();
    let expected = |key: &str| published["expected"][key].as_f64().unwrap();
    let mut dice = Dice(0x5eed_0101);
    let (mut sum, mut squares) = (0.0, 0.0);
    let n = 400_000;
    for _ in 0..n {
        let mass = 100_000.0 + dice.normal(0.050) + 1.234 + dice.normal(0.020);
        let air = 1.10 + 0.20 * dice.share();
        let (weight, reference) = (7000.0 + 2000.0 * dice.share(), 7950.0 + 100.0 * dice.share());
        let deviation = mass * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / reference)) - 100_000.0;
        sum += deviation;
        squares += deviation * deviation;
    }
    let (mean, n) = (sum / f64::from(n), f64::from(n));
    let u = ((squares - sum * sum / n) / (n - 1.0)).sqrt();
    assert!((mean - expected("mean")).abs() < 0.000_5 && (u - expected("u")).abs() < 0.000_4, "{mean} {u}");
}

#[test]
fn the_beam_s_budget_is_what_a_simulation_gives() {
    let beam = BeamCalibration {
        zero_counts: [0.0; 2],
        counts_per_gram: [1000.0; 2],
        u_span: 3e-4,
        geometry: BeamGeometry {
            x1: Millimetres(100.0),
            x2: Millimetres(840.0),
            u_x1: Millimetres(0.2),
            u_x2: Millimetres(0.25),
            reaction_correlation: 0.0,
        },
        u_butt_stop: Millimetres(0.3),
        u_level: Degrees(0.2),
        hang: Millimetres(25.0),
        scatter: Some(Scatter { u: 2e-4, freedom: 5.0 }),
        supports_freedom: None,
    };
    // A driver, a 5-iron, and a club whose second support carries all and more.
    for [r1, r2] in [[-12.0, 328.0], [60.0, 367.0], [150.0, 280.0]] {
        let levels = [r1 + r2, r2 * 740.0];
        let u_levels = [0.05_f64.hypot(0.04), 0.04 * 740.0];
        let balance = Some(BalanceDrift { mm: 0.4, correlation: -0.6, freedom: 5.0 });
        let drift = Drift { relative: 6e-4, balance, angles_deg: [0.0; 2], freedom: 6.0 };
        let parts = LevelParts::split(u_levels, [0.0; 2], 0.0, 20);
        let calibration = Calibration::Beam(beam.clone());
        let (reading, budgets) = assess(&calibration, &capture(levels, u_levels), None, &parts, Some(&drift)).unwrap();
        let simulated = drawn(&beam, [r1, r2], [0.05, 0.04], &drift, 400_000);
        for (quantity, simulated) in
            [Quantity::Mass, Quantity::Balance, Quantity::SwingWeight].into_iter().zip(simulated)
        {
            let u = of(&budgets, quantity).u();
            assert_eq!(Some(u.to_bits()), reading.get(quantity).map(|m| m.u.to_bits()));
            // The spread of 400 000 draws is known to 0.11 % (1 over the root of 2n); 1 % leaves room for second order.
            assert!((u / simulated - 1.0).abs() < 0.01, "{r1} {r2} {quantity:?}: budget {u}, simulated {simulated}");
        }
    }
}

/// A beam that is sure of everything: what is left in its budgets is what a test puts there. First support at 14 in.
fn sure_beam() -> BeamCalibration {
    BeamCalibration {
        zero_counts: [0.0; 2],
        counts_per_gram: [1000.0; 2],
        u_span: 0.0,
        geometry: BeamGeometry {
            x1: Millimetres(355.6),
            x2: Millimetres(850.0),
            u_x1: Millimetres(0.0),
            u_x2: Millimetres(0.0),
            reaction_correlation: 0.0,
        },
        u_butt_stop: Millimetres(0.0),
        u_level: Degrees(0.0),
        hang: Millimetres(0.0),
        scatter: None,
        supports_freedom: None,
    }
}

/// The one component of a source in the budgets of 150 g and 280 g on the supports of a beam, for mass, balance point and
/// swing weight.
fn components(beam: BeamCalibration, source: Source, drift: Option<&Drift>) -> [Option<(f64, Option<f64>)>; 3] {
    let parts = LevelParts::split([0.0; 2], [0.0; 2], 0.0, 20);
    let placed = capture([430.0, 280.0 * 494.4], [0.0; 2]);
    let (_, budgets) = assess(&Calibration::Beam(beam), &placed, None, &parts, drift).unwrap();
    [Quantity::Mass, Quantity::Balance, Quantity::SwingWeight].map(|quantity| {
        let found = of(&budgets, quantity).components.iter().find(|c| c.source == source);
        found.map(|c| (c.u, c.freedom))
    })
}

#[test]
fn what_checks_found_of_the_balance_point_is_in_balance_and_swing_weight() {
    // By hand (JCGM 100, 5.1): 1.5 mm of 430 g are 645 g·mm or 645 / 1260.136 = 0.511849 points, and nothing in the mass.
    let balance = BalanceDrift { mm: 1.5, correlation: 0.0, freedom: 3.0 };
    let of_stop = Drift { relative: 0.0, balance: Some(balance), angles_deg: [0.0; 2], freedom: 4.0 };
    let [mass, place, swing] = components(sure_beam(), Source::Drift, Some(&of_stop));
    assert_eq!((mass, place), (None, Some((1.5, Some(3.0)))));
    assert!((swing.unwrap().0 - 0.511_849).abs() < 1e-6 && swing.unwrap().1 == Some(3.0), "{swing:?}");
    // With 2e-4 of the mass as well: 2e-4 of the moment 280 · 494.4 g·mm are 0.021971 points; with r = 0.5 by JCGM 100, 5.2.2
    // √(0.021971² + 0.511849² + 2 · 0.5 · 0.021971 · 0.511849) = 0.523180.
    let both = Drift { relative: 2e-4, balance: Some(BalanceDrift { correlation: 0.5, ..balance }), ..of_stop };
    let [mass, place, swing] = components(sure_beam(), Source::Drift, Some(&both));
    assert!((mass.unwrap().0 - 0.086).abs() < 1e-12 && place == Some((1.5, Some(3.0))), "{mass:?} {place:?}");
    assert!((swing.unwrap().0 - 0.523_180).abs() < 1e-6, "{swing:?}");
}

#[test]
fn the_swing_weight_s_drift_is_the_root_mean_square_of_what_each_check_would_have_put_into_it() {
    let mut weight = Weight::stated(500.0, None, Some(0.0), Some(0.001)).unwrap();
    weight.at_mm = Some(450.0);
    let errors = [(0.05, 0.30), (-0.05, -0.10), (0.01, 0.20), (0.02, -0.15)];
    let mut chart = Chart::default();
    for (day, (grams, mm)) in (0_i64..).zip(errors) {
        let about = Circumstances { instrument: "beam", resolution_g: 0.0, class: None, chart: Some(&chart) };
        let shown = Shown { mass_g: 500.0 + grams, u_mass_g: 1.0, balance_mm: Some((450.0 + mm, 1.0)) };
        let check = judge_check(&about, &weight, EventId(uuid::Uuid::nil()), &shown);
        chart.take(&check, day * 86_400_000_000);
    }
    let found = components(sure_beam(), Source::Drift, chart.drift().as_ref());
    // Of each check by itself: the moment of 430 g that balance at 355.6 + 280 · 494.4 / 430 mm is off by its share of the
    // error in mass, and by 430 g times the error in place.
    let moment = |(grams, mm): (f64, f64)| grams / 500.0 * 280.0 * 494.4 + 430.0 * mm;
    let mean_square = |of: &dyn Fn((f64, f64)) -> f64| errors.map(|e| of(e).powi(2)).iter().sum::<f64>() / 4.0;
    let by_hand = [
        mean_square(&|(grams, _)| grams / 500.0 * 430.0),
        mean_square(&|(_, mm)| mm),
        mean_square(&|error| moment(error) / 1_260.136_303),
    ];
    for (found, by_hand) in found.into_iter().zip(by_hand) {
        let (u, freedom) = found.unwrap();
        assert!((u / by_hand.sqrt() - 1.0).abs() < 1e-8 && freedom == Some(4.0), "{u} {}", by_hand.sqrt());
    }
}

#[test]
fn the_error_of_a_reference_is_one_for_both_cells() {
    // JCGM 100, 5.2.2, example (resistors calibrated with one standard): what is common adds up, it is not combined as
    // squares. By hand for 1e-4: 430 g · 1e-4 = 0.043 g (0.0318 g as squares), no balance, 280 · 494.4 · 1e-4 / 1260.136 points.
    let of_reference = BeamCalibration { u_span: 1e-4, scatter: Some(Scatter { u: 0.0, freedom: 2.0 }), ..sure_beam() };
    let [mass, balance, swing] = components(of_reference, Source::Calibration, None);
    assert!((mass.unwrap().0 - 0.043).abs() < 1e-12 && mass.unwrap().1.is_none(), "{mass:?}");
    assert_eq!(balance, None);
    assert!((swing.unwrap().0 - 0.010_985_48).abs() < 1e-8, "{swing:?}");
    // With 6e-5 of scatter, a cell each: √((150² + 280²) · 3.6e-9 + (430 · 8e-5)²) = 0.0393 g, of which
    // 0.019059 g is the scatter's; ν = 2 · (0.0393 / 0.019059)⁴ = 36.2. The balance has the scatter alone, so ν = 2.
    let both = BeamCalibration { u_span: 1e-4, scatter: Some(Scatter { u: 6e-5, freedom: 2.0 }), ..sure_beam() };
    let [mass, balance, _] = components(both, Source::Calibration, None);
    let (u, freedom) = mass.unwrap();
    assert!((u - 0.039_327).abs() < 1e-5 && (freedom.unwrap() - 36.26).abs() < 0.05, "{mass:?}");
    assert!((balance.unwrap().1.unwrap() - 2.0).abs() < 1e-9, "{balance:?}");
}

#[test]
fn combining_mass_and_balance_would_be_wrong_and_is_not_done() {
    // physics: SWM = M (x - f) with u(M) and u(x) as independent counts the correlation twice.
    let u_levels = [0.1 * 2f64.sqrt(), 0.1 * 494.4];
    let parts = LevelParts::split(u_levels, [0.0; 2], 0.0, 20);
    let (reading, budgets) =
        assess(&Calibration::Beam(sure_beam()), &capture([430.0, 280.0 * 494.4], u_levels), None, &parts, None)
            .unwrap();
    // By hand (physics, section 5): u(R) = 0.1 g at 850 mm, first support at 14 in: 0.1 × 494.4 / 1260.136 = 0.0392.
    let swing = of(&budgets, Quantity::SwingWeight).u();
    assert!((swing - 0.039_23).abs() < 1e-4, "{swing}");
    let (mass, balance) = (reading.get(Quantity::Mass).unwrap(), reading.get(Quantity::Balance).unwrap());
    let wrong = (mass.u * (balance.value - 355.6)).hypot(mass.value * balance.u) / 1_260.136;
    assert!((wrong / swing - 1.0).abs() > 0.15, "{wrong} is no different here");
}

#[test]
fn a_scale_s_budget_names_its_parts() {
    let scale = Calibration::Scale(ScaleCalibration {
        span: 1.0,
        bend_per_g: 0.0,
        u_span: 1e-4,
        u_linearity: Grams(0.01),
        u_eccentricity: Grams(0.02),
        scatter: None,
    });
    let u = [0.01_f64.hypot(0.005), 0.0];
    let parts = LevelParts::split(u, [0.005, 0.0], 0.01, 8);
    let drift = Drift { relative: 5e-5, balance: None, angles_deg: [0.0; 2], freedom: 4.0 };
    let (reading, budgets) = assess(&scale, &capture([200.0, 0.0], u), None, &parts, Some(&drift)).unwrap();
    let budget = of(&budgets, Quantity::Mass);
    let part = |source| budget.components.iter().find(|c| c.source == source).map_or(0.0, |c| c.u);
    for (source, expected) in [
        (Source::Resolution, 0.01 / 12f64.sqrt()),
        (Source::Calibration, 0.02),
        (Source::Eccentricity, 0.01_f64.hypot(0.02)),
        (Source::Drift, 0.01),
        (Source::Zero, 0.005),
    ] {
        assert!((part(source) - expected).abs() < 1e-12, "{source:?}: {}", part(source));
    }
    let whole = u[0].hypot(0.02).hypot(0.01_f64.hypot(0.02)).hypot(0.01);
    assert!((reading.get(Quantity::Mass).unwrap().u - whole).abs() < 1e-12);
    assert!(budget.coverage().unwrap() > 2.0 && budget.expanded().unwrap() > 2.0 * whole);
}

#[test]
fn a_gauge_in_the_shaft_plane_carries_both_angles_into_its_loft() {
    let gauge = Calibration::Gauge(GaugeCalibration {
        lie_datum: Degrees(0.0),
        loft_datum: Degrees(0.0),
        u_datum: Degrees(0.05),
        left: None,
        u_level: Degrees(0.05),
        loft_sense: LoftSense::ShaftPlane,
        u_face: None,
        scatter: None,
    });
    let parts = LevelParts::split([0.003, 0.003], [0.0; 2], 0.01, 10);
    // A face measured as 1.5 deg closed, with 0.3 deg: drawn with the rest, through the conversion for that face.
    let laid = Some(Laid::Club { hand: Hand::Right, face: Some(FaceAngle { closed_deg: 1.5, u_deg: 0.3 }) });
    let (reading, budgets) = assess(&gauge, &capture([62.5, 30.9], [0.003, 0.003]), laid, &parts, None).unwrap();
    let mut dice = Dice(0x5eed_0002);
    let (mut sum, mut squares) = (0.0, 0.0);
    let n = 200_000;
    for _ in 0..n {
        let wrong = |dice: &mut Dice| dice.normal(0.05) + dice.normal(0.05) + dice.normal(0.003);
        let (lie, loft) = (62.5 + wrong(&mut dice), 30.9 + wrong(&mut dice));
        let face = (1.5 + dice.normal(0.3)).to_radians();
        // The plane of shaft and target cuts the face at tan L_s = (tan L sin Λ + sin F cos Λ) / cos F, solved for L.
        let (tan, lie) = (loft.to_radians().tan(), lie.to_radians());
        let value = ((tan * face.cos() - face.sin() * lie.cos()) / lie.sin()).atan().to_degrees() - 34.0;
        sum += value;
        squares += value * value;
    }
    let simulated = ((squares - sum * sum / f64::from(n)) / f64::from(n - 1)).sqrt();
    let u = of(&budgets, Quantity::Loft).u();
    assert!((u / simulated - 1.0).abs() < 0.01, "{u} {simulated}");
    let (mean, loft) = (34.0 + sum / f64::from(n), reading.get(Quantity::Loft).unwrap().value);
    assert!((mean - loft).abs() < 0.005, "{mean} {loft}");
    let of_face = of(&budgets, Quantity::Loft).components.iter().find(|c| c.source == Source::Face).unwrap().u;
    assert!(of_face > 0.1 && of(&budgets, Quantity::Lie).components.iter().all(|c| c.source != Source::Face));
}

#[test]
fn a_stored_budget_is_proved_from_its_raw_bytes_and_a_changed_one_is_not() {
    let mut bench = DeskBench::new(desk_bench::CONFIG);
    let mut stored = bench.begin();
    bench.weigh("scale", [203.12, 0.0], [0.0, 0.0], &mut stored);
    bench.weigh("beam", [8388.0 + 20_000.0, -4210.0 + 300_000.0], [8388.0, -4210.0], &mut stored);
    for event in stored.of("reading_captured") {
        let Change::ReadingCaptured(captured) = &event.change else { panic!() };
        assert!(!captured.budget.is_empty() && captured.budget.len() == captured.measured.len());
        let calibrated = stored.events.iter().find(|e| e.id == captured.calibration).unwrap();
        let content = &stored.evidence.iter().find(|(hash, _)| *hash == captured.evidence).unwrap().1;
        let evidence = benchscribe::journal::evidence::decode(content).unwrap();
        prove(captured, &calibrated.change, &evidence).unwrap();
        let changes: [fn(&mut CapturedReading); 6] = [
            |c| c.measured[0].u *= 1.0 + f64::EPSILON,
            |c| c.u_levels[0] *= 1.0 + f64::EPSILON,
            |c| c.budget[0].components[0].u *= 1.0 + f64::EPSILON,
            |c| c.budget[0].components.truncate(1),
            |c| c.budget_inputs.as_mut().unwrap().u_zero[0] += 1e-9,
            |c| {
                c.budget_inputs.as_mut().unwrap().drift =
                    Some(Drift { relative: 1e-4, balance: None, angles_deg: [0.0; 2], freedom: 3.0 })
            },
        ];
        for change in changes {
            let mut changed = captured.clone();
            change(&mut changed);
            assert!(prove(&changed, &calibrated.change, &evidence).is_err(), "{changed:?}");
        }
        // Another zero than its samples give, each other number made to fit: what it would lag behind is in its uncertainty.
        let forged = |by: f64, change: fn(&mut CapturedReading)| {
            let mut forged = captured.clone();
            (forged.zero[0], forged.levels[0]) = (forged.zero[0] - by, forged.levels[0] + by);
            change(&mut forged);
            prove(&forged, &calibrated.change, &evidence)
        };
        assert_eq!(prove(captured, &calibrated.change, &evidence), Ok(ZeroProof::WorkedOut));
        assert_eq!(forged(0.1, |_| {}), Err(Doubt::ZeroUncertainty));
        assert_eq!(forged(0.5, |_| {}), Err(Doubt::Zero), "the bench captures nothing on a zero so unsure");
        assert_eq!(forged(10.0, |_| {}), Err(Doubt::Zero));
        // The load taken for the zero leaves nothing.
        assert_eq!(forged(-captured.levels[0], |_| {}), Err(Doubt::ZeroWindow));
        // A zero that is made younger is surer.
        assert_eq!(forged(0.0, |c| c.t_s -= 0.1), Err(Doubt::Window));
        let look = |c: &mut CapturedReading, change: fn(&mut ZeroLook)| {
            change(c.budget_inputs.as_mut().unwrap().zero_look.as_mut().unwrap());
        };
        let changes: [fn(&mut ZeroLook); 5] = [
            |l| l.unrest[0] = -1.0,
            |l| l.unrest[0] = f64::NAN,
            |l| l.unrest[0] += 1.0,
            |l| l.window.0 += 1e-9,
            |l| l.is_first = !l.is_first,
        ];
        for change in changes {
            let mut other = captured.clone();
            look(&mut other, change);
            assert!(prove(&other, &calibrated.change, &evidence).is_err(), "{:?}", other.budget_inputs);
        }
        // The load itself is no look at the zero.
        let mut of_load = captured.clone();
        of_load.budget_inputs.as_mut().unwrap().zero_look.as_mut().unwrap().window = captured.window_s.into();
        assert_eq!(prove(&of_load, &calibrated.change, &evidence), Err(Doubt::ZeroWindow));
        // No uncertainty is below nothing, though its square would agree with everything else.
        let mut negative = captured.clone();
        let u_zero = &mut negative.budget_inputs.as_mut().unwrap().u_zero;
        *u_zero = u_zero.map(|u| -u);
        assert_eq!(prove(&negative, &calibrated.change, &evidence), Err(Doubt::ZeroUncertainty));
    }
}

#[test]
fn a_journal_older_than_budgets_is_still_read_and_proved() {
    let mut bench = DeskBench::new(desk_bench::CONFIG);
    let mut stored = bench.begin();
    bench.weigh("scale", [203.12, 0.0], [0.0, 0.0], &mut stored);
    bench.weigh("beam", [8388.0 + 20_000.0, -4210.0 + 300_000.0], [8388.0, -4210.0], &mut stored);
    for event in stored.of("reading_captured") {
        let mut json: serde_json::Value = serde_json::from_str(&canonical(event, "bench-1").unwrap()).unwrap();
        let fields = json.as_object_mut().unwrap();
        assert!(fields.remove("budget").is_some() && fields.remove("budget_inputs").is_some());
        let older = parse(&json.to_string()).unwrap();
        let Change::ReadingCaptured(mut older) = older.change else { panic!() };
        assert!(older.budget_inputs.is_none() && older.budget.is_empty());
        let calibrated = stored.events.iter().find(|e| e.id == older.calibration).unwrap();
        let Change::Calibrated { calibration, .. } = &calibrated.change else { panic!() };
        // Then the uncertainty was that of levels and calibration alone.
        let at_that_time = calibration.reading(&capture(older.levels, older.u_levels), None).unwrap();
        older.measured = at_that_time.measured;
        let content = &stored.evidence.iter().find(|(hash, _)| *hash == older.evidence).unwrap().1;
        prove(&older, &calibrated.change, &benchscribe::journal::evidence::decode(content).unwrap()).unwrap();
    }
    let old_check = r#"{"v":1,"bench":"b","epoch":1,"seq":1,"id":"018bcfe5-6800-7008-8f4b-166fc36973db",
        "at":"2023-11-14T22:13:20Z","kind":"checked","instrument":"scale","reference_g":200.0,"error_g":0.01}"#;
    assert!(matches!(parse(old_check).unwrap().change, Change::Checked(check) if check.reading.is_none()));
    let old_value = r#"{"v":1,"bench":"b","epoch":1,"seq":1,"id":"018bcfe5-6800-7008-8f4b-166fc36973db",
        "at":"2023-11-14T22:13:20Z","kind":"value_typed","club":"W-1/1","text":"203 g","value":{"characteristic":"head_mass",
        "stage":"part","value":203.0,"u":0.1,"target":null,"lower":null,"upper":null,"deviation":null,"verdict":"no_target","marginal":false}}"#;
    let Change::ValueTyped { value, .. } = parse(old_value).unwrap().change else { panic!() };
    assert_eq!(value.rule, benchscribe::work_order::judging::DecisionRule::Plain);
}
