//! What a forecast learns, by simulation: clubs with a known bias, a known spread, and one slip.
//!
//! Chance comes from a fixed generator (xorshift64*, Vigna 2016), normal numbers by Box and Muller; nothing is taken from
//! the code that is tested.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod desk_bench;

use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::output::work_view::{ClubView, work};
use benchscribe::work_order::learning::learn;
use desk_bench::{CONFIG, DeskBench, Stored};
use serde_json::json;

struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let bits = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11;
        (bits as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Standard uncertainty of the forecast without learning, in points.
const U: f64 = 1.5;
const TRIALS: u32 = 20_000;

/// Root mean square error of the next forecast without and with learning, and the share within k = 2, over builders
/// whose bias is drawn with `bias_sd` and whose clubs spread by `spread`, after `clubs` clubs of which the first
/// `slips` read off by `slip`.
fn simulate(bias_sd: f64, spread: f64, clubs: usize, slip: Option<f64>) -> (f64, f64, f64) {
    let mut chance = Chance(0x1042 + clubs as u64);
    let (mut without, mut with, mut covered) = (0.0, 0.0, 0.0);
    for _ in 0..TRIALS {
        let bias = bias_sd * chance.normal();
        let mut differences: Vec<f64> = (0..clubs).map(|_| bias + spread * chance.normal()).collect();
        if let (Some(slip), Some(first)) = (slip, differences.first_mut()) {
            *first += slip;
        }
        let next = bias + spread * chance.normal();
        let (shift, u) = learn(&differences, U).map_or((0.0, U), |learnt| (learnt.shift, learnt.u));
        without += next * next;
        with += (next - shift).powi(2);
        covered += f64::from(u8::from((next - shift).abs() <= 2.0 * u));
    }
    let n = f64::from(TRIALS);
    ((without / n).sqrt(), (with / n).sqrt(), covered / n)
}

#[test]
fn coverage_is_near_nominal_however_many_clubs() {
    // The prior's own world: half of the variance common, half from club to club. k = 2 is 95.4 % of a normal.
    let half = U / 2f64.sqrt();
    for clubs in [0, 1, 2, 3, 5, 10, 30] {
        let (_, _, covered) = simulate(half, half, clubs, None);
        assert!((0.92..=0.985).contains(&covered), "{clubs} clubs: {covered}");
    }
    // A careful builder, whose clubs spread by a third of what was thought: never promised too much.
    for clubs in [1, 2, 3, 5, 10, 30] {
        let (_, _, covered) = simulate(half, 0.5, clubs, None);
        assert!((0.93..=1.0).contains(&covered), "{clubs} clubs: {covered}");
    }
}

#[test]
fn the_forecast_converges_on_a_known_bias() {
    let mut before = f64::MAX;
    for clubs in [1, 2, 4, 8, 16, 32] {
        let mut chance = Chance(7);
        let (bias, spread) = (1.2, 0.4);
        let mut error = 0.0;
        for _ in 0..4_000 {
            let differences: Vec<f64> = (0..clubs).map(|_| bias + spread * chance.normal()).collect();
            error += (learn(&differences, U).unwrap().shift - bias).abs() / 4_000.0;
        }
        assert!(error < before, "{clubs} clubs: {error} after {before}");
        before = error;
    }
    assert!(before < 0.1, "{before}");
    let (without, with, _) = simulate(1.0, 0.5, 10, None);
    assert!(with < 0.56 && without > 1.0, "{without} {with}");
}

#[test]
fn little_is_learnt_from_one_club_and_the_sign_is_kept() {
    // By hand: τ² = s² = u²/2 with one club, so half of the difference is taken, and u² · 3/4 remains.
    let one = learn(&[1.0], U).unwrap();
    assert!((one.shift - 0.5).abs() < 1e-12 && (one.u - U * 0.75f64.sqrt()).abs() < 1e-12, "{one:?}");
    assert!(learn(&[-1.0], U).unwrap().shift < 0.0);
    assert_eq!(learn(&[], U), None);
    assert_eq!(learn(&[1.0], 0.0), None);
}

#[test]
fn one_slip_does_little_harm() {
    // No bias at all, so learning can only harm; a slip of six points, four times what the forecast claims to be unsure of.
    for (clubs, most) in [(1, 1.1 * U), (2, 0.75 * U), (3, 0.4), (5, 0.2), (10, 0.1)] {
        let (without, with, _) = simulate(0.0, 0.5, clubs, Some(6.0));
        assert!(with - without <= most, "{clubs} clubs: {without} without, {with} with learning");
    }
    // With a real bias the slip costs little of what is gained.
    let (without, with, _) = simulate(1.0, 0.5, 6, Some(6.0));
    assert!(with < 0.75 * without, "{without} {with}");
}

struct Bench {
    desk: DeskBench,
    stored: Stored,
}

impl Bench {
    fn does(&mut self, command: serde_json::Value) {
        self.desk.command(command.clone(), &mut self.stored).unwrap_or_else(|why| panic!("{command}: {why}"));
    }

    fn enters(&mut self, values: &[(&str, &str)]) {
        for (characteristic, quantity) in values {
            self.does(json!({"command": "enter", "characteristic": characteristic, "quantity": quantity}));
        }
    }

    fn begin(&mut self, club: usize, models: &str) {
        let order = format!(
            "order = \"W-{club}\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\n{models}\nswing_weight = \"D8 ± 0.5\"\n"
        );
        self.does(json!({"command": "import_order", "text": order}));
        self.does(json!({"command": "open_order", "order": format!("W-{club}")}));
        self.enters(&[("head_mass", "200 g"), ("shaft_mass", "60 g"), ("grip_mass", "50 g"), ("length", "45 in")]);
    }

    fn finish(&mut self, points: &str) {
        self.does(json!({"command": "step_done", "step": "grip"}));
        self.enters(&[("swing_weight", points)]);
    }

    fn club(&self) -> ClubView {
        work(&self.desk.core.state, Lengths::Inches, 0).club.unwrap()
    }

    /// Value, uncertainty and clubs learnt from, of the swing weight.
    fn forecast(&self) -> (f64, f64, usize) {
        let club = self.club();
        let swing = club.forecast.iter().find(|f| f.characteristic == "swing_weight").unwrap();
        (swing.value, swing.u, swing.learnt.as_ref().map_or(0, |learnt| learnt.clubs))
    }
}

#[test]
fn clubs_of_named_parts_teach_the_next_forecast_and_others_do_not() {
    let mut desk = DeskBench::new(CONFIG);
    let stored = desk.begin();
    let mut bench = Bench { desk, stored };
    let models = "head = \"dune 1\"\nshaft = \"reed 60\"";
    bench.begin(1, models);
    let (raw, u, clubs) = bench.forecast();
    assert_eq!(clubs, 0);
    // Four clubs land two points above the forecast; what is adjusted afterwards teaches nothing.
    let landed = format!("{} ± 0.01", benchscribe::measurement::unit::Points(raw + 2.0).text());
    for club in 1..=4 {
        if club > 1 {
            bench.begin(club, models);
        }
        bench.finish(&landed);
        bench.does(json!({"command": "step_done", "step": "adjust"}));
        bench.enters(&[("swing_weight", "D8 ± 0.01")]);
    }
    bench.begin(5, models);
    let (value, u_learnt, clubs) = bench.forecast();
    assert_eq!(clubs, 4);
    assert!((1.4..2.0).contains(&(value - raw)) && u_learnt < 0.75 * u, "{raw} → {value}, {u} → {u_learnt}");
    let club = bench.club();
    let text =
        &club.forecast.iter().find(|f| f.characteristic == "swing_weight").unwrap().learnt.as_ref().unwrap().text;
    assert!(text.contains("4 clubs with head dune 1, shaft reed 60"), "{text}");
    // The same head alone still tells something; no named parts, nothing.
    bench.begin(6, "head = \"dune 1\"\nshaft = \"reed 80\"");
    assert_eq!(bench.forecast().2, 4);
    bench.begin(7, "");
    let (value, u_again, clubs) = bench.forecast();
    assert!(clubs == 0 && (value - raw).abs() < 1e-12 && (u_again - u).abs() < 1e-12);
    // A reading that is taken back takes its lesson with it.
    let of = |bench: &Bench, club: &str| bench.desk.core.state.clubs[club].clone();
    let first: Vec<String> = of(&bench, "W-4/1")
        .entries
        .iter()
        .filter(|entry| entry.filed.characteristic.name() == "swing_weight")
        .map(|entry| entry.event.to_string())
        .collect();
    for event in first {
        bench.does(json!({"command": "void", "event": event, "why": "leaning"}));
    }
    bench.begin(8, models);
    assert_eq!(bench.forecast().2, 3);
}

#[test]
fn a_value_that_was_misread_and_corrected_teaches_what_it_was_corrected_to() {
    let mut desk = DeskBench::new(CONFIG);
    let stored = desk.begin();
    let mut bench = Bench { desk, stored };
    bench.begin(1, "head = \"dune 1\"\nshaft = \"reed 60\"");
    let (raw, ..) = bench.forecast();
    let text = |points: f64| format!("{} ± 0.01", benchscribe::measurement::unit::Points(points).text());
    bench.finish(&text(raw + 6.0));
    bench.enters(&[("swing_weight", &text(raw + 1.0)), ("length", "45 5/8 in"), ("length", "45 in")]);
    let made = json!(record(&bench.desk.core.state.clubs["W-1/1"], String::new(), Lengths::Inches));
    let landed = |of: &str| {
        let rows = made["landed"].as_array().unwrap();
        let row = rows.iter().find(|row| row["characteristic"] == of && row["basis"] == "parts");
        row.unwrap_or_else(|| panic!("no {of} in {made}"))["difference"].as_f64().unwrap()
    };
    // The words of a swing weight have one decimal.
    assert!((landed("swing_weight") - 1.0).abs() <= 0.06, "{}", landed("swing_weight"));
    assert!(landed("length").abs() < 3.0, "five eighths, 15.9 mm, were misread: {}", landed("length"));
}

#[test]
fn what_was_learnt_agrees_in_itself_and_where_a_club_landed_stands_in_its_record() {
    let mut desk = DeskBench::new(CONFIG);
    let stored = desk.begin();
    let mut bench = Bench { desk, stored };
    let models = "head = \"dune 1\"\nshaft = \"reed 60\"";
    bench.begin(1, models);
    let (raw, ..) = bench.forecast();
    let raw_mass = bench.club().forecast.iter().find(|f| f.characteristic == "total_mass").unwrap().value;
    for club in 1..=4 {
        if club > 1 {
            bench.begin(club, models);
        }
        // On the beam 3 g heavier and two points higher than forecast; cells at 100 and 840 mm, 1000 counts a gram.
        for step in ["bond", "grip"] {
            bench.does(json!({"command": "step_done", "step": step}));
        }
        let mass = raw_mass + 3.0;
        let balance = 355.6 + (161.0 + 1.75 * (raw + 2.0)) * 25.4 * 28.349_523_125 / mass;
        let second = mass * (balance - 100.0) / 740.0;
        let counts = [8388.0 + 1000.0 * (mass - second), -4210.0 + 1000.0 * second];
        bench.desk.weigh("beam", counts, [8388.0, -4210.0], &mut bench.stored);
    }
    let made = json!(record(&bench.desk.core.state.clubs["W-1/1"], String::new(), Lengths::Inches));
    let landed = made["landed"].as_array().unwrap();
    let swing = landed.iter().find(|row| row["characteristic"] == "swing_weight" && row["basis"] == "parts").unwrap();
    // Counts are whole numbers.
    assert!((swing["difference"].as_f64().unwrap() - 2.0).abs() <= 0.001, "{swing}");
    assert!((swing["forecast"].as_f64().unwrap() - raw).abs() < 1e-9, "{swing}");
    bench.begin(5, models);
    let club = bench.club();
    let of = |name: &str| club.forecast.iter().find(|f| f.characteristic == name).unwrap();
    let (mass, balance, points) = (of("total_mass"), of("balance_point"), of("swing_weight"));
    assert!(mass.value > raw_mass + 1.0 && points.value > raw + 1.0 && points.learnt.is_some(), "{mass:?} {points:?}");
    // A lever: the moment about 14 in is the mass times the balance point's way from there; 12 in is 2 in more of it.
    let by_lever = (mass.value * (balance.value - 355.6) / (25.4 * 28.349_523_125) - 161.0) / 1.75;
    assert!((points.value - by_lever).abs() < 1e-9, "{} {by_lever}", points.value);
    let twelve = club.forecast_12_in.unwrap().value;
    assert!((twelve - mass.value * (balance.value - 304.8) / (25.4 * 28.349_523_125)).abs() < 1e-9, "{twelve}");
}

#[test]
fn a_forecast_from_the_dry_fit_learns_from_dry_fits() {
    let mut desk = DeskBench::new(CONFIG);
    let stored = desk.begin();
    let mut bench = Bench { desk, stored };
    let models = "head = \"dune 1\"\nshaft = \"reed 60\"";
    let together = [("total_mass", "310 g"), ("balance_point", "845 mm"), ("swing_weight", "D1 ± 0.01")];
    let mut raw = None;
    for club in 1..=3 {
        bench.begin(club, models);
        assert_eq!(bench.club().sensitivities.len(), 9);
        bench.enters(&together);
        let (value, ..) = bench.forecast();
        let raw = *raw.get_or_insert(value);
        bench.finish(&format!("{} ± 0.01", benchscribe::measurement::unit::Points(raw + 1.0).text()));
    }
    bench.begin(4, models);
    let by_parts = bench.forecast();
    bench.enters(&together);
    let (value, _, clubs) = bench.forecast();
    // By hand, with τ² = u²/2 and s² = 3/5 · u²/2 from three clubs that agree: 5/6 of the point is taken, whatever u is. The
    // words of a swing weight have one decimal.
    let shift = value - raw.unwrap();
    assert!(clubs == 3 && (shift - 5.0 / 6.0).abs() < 0.06, "{shift} from {clubs} clubs");
    assert!(by_parts.2 == 3 && (by_parts.0 - value).abs() > 0.01, "{by_parts:?}");
    let club = bench.club();
    assert!(club.forecast_basis.iter().any(|line| line.contains("dry fit with the grip laid on")), "{club:?}");
    assert!(club.sensitivities.is_empty());
}
