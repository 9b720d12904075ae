//! The forecast from weighed parts, against a club put together by hand: the shaft integrated piece by piece between the
//! marks of the order, everything else as masses at places. Masses and lengths are those of `config/orders/w-1047.toml`.
#![expect(clippy::unwrap_used, reason = "a test may panic")]

use benchscribe::club::characteristic::Characteristic;
use benchscribe::config::order_file::read_order;
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::desk::{Command, answer};
use benchscribe::work_order::event::{Change, Numbering};
use benchscribe::work_order::forecast::{forecast, outlook, sensitivities};
use benchscribe::work_order::marks::marks;
use benchscribe::work_order::record::ClubRecord;
use benchscribe::work_order::state::State;

/// Grams times millimetres in a point: 1.75 in·oz, the inch and the avoirdupois ounce by definition.
const GMM_PER_POINT: f64 = 1.75 * 25.4 * 28.349_523_125;
const FULCRUM_MM: f64 = 14.0 * 25.4;

struct Bench {
    state: State,
    numbering: Numbering,
}

impl Bench {
    fn new(order: &str) -> Self {
        let order = read_order("order.toml", order).unwrap();
        let id = order.number.clone();
        let mut bench = Self { state: State::default(), numbering: Numbering::after(1, 0) };
        bench.does(&Command::ImportOrders(vec![order]));
        bench.does(&Command::OpenOrder(id));
        bench
    }

    fn does(&mut self, command: &Command) {
        for change in answer(&self.state, command).unwrap() {
            self.take(change);
        }
    }

    fn take(&mut self, change: Change) {
        let event = self.numbering.event(Stamp::default(), None, change);
        self.state.apply(&event);
    }

    fn enters(&mut self, characteristic: Characteristic, quantity: &str) {
        self.does(&Command::Enter { club: None, characteristic, quantity: quantity.to_owned() });
    }

    fn club(&self) -> &ClubRecord {
        self.state.club().unwrap()
    }

    /// Total mass and swing weight as forecast.
    fn lands(&self) -> [f64; 2] {
        let forecasts = forecast(self.club(), &self.state.learning);
        let of = |characteristic| forecasts.iter().find(|f| f.characteristic == characteristic).unwrap().value;
        [of(Characteristic::TotalMass), of(Characteristic::SwingWeight)]
    }
}

/// Mass in grams and first moment about the butt in g·mm of what is left of a raw shaft with an affine density, in ten
/// thousand slices; the end of the cut shaft at the butt stands at `cap`.
fn shaft(mass: f64, balance: f64, raw: f64, [tip, butt]: [f64; 2], cap: f64) -> [f64; 2] {
    let slope = 12.0 * mass * (balance - raw / 2.0) / raw.powi(3);
    let (from, to) = (butt, raw - tip);
    let step = (to - from) / 1e4;
    (0..10_000).fold([0.0, 0.0], |[whole, moment], slice| {
        let at = from + step * (f64::from(slice) + 0.5);
        let grams = (mass / raw + slope * (at - raw / 2.0)) * step;
        [whole + grams, moment + grams * (cap + at - butt)]
    })
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "found {found}, expected {expected} ± {within}");
}

#[test]
fn a_raw_shaft_counts_as_it_will_be_cut() {
    let mut bench = Bench::new(include_str!("../config/orders/w-1047.toml"));
    bench.enters(Characteristic::HeadMass, "256 g");
    bench.enters(Characteristic::ShaftMass, "120 g");
    bench.enters(Characteristic::GripMass, "50 g");
    bench.enters(Characteristic::ShaftBalance, "514.35 mm");
    let marks = marks(bench.club()).unwrap().unwrap();
    let (length, cap, raw) = (38.0 * 25.4, 4.0, 40.5 * 25.4);
    let below = length - cap - marks.shaft.mm;
    let [shaft_g, shaft_gmm] = shaft(120.0, 514.35, raw, [marks.tip.mm, marks.butt.mm], cap);
    // Usual values (common practice, no source): the head's centre 13 mm before the ground line, 2 g of adhesive and ferrule
    // 25 mm before the tip, a grip that balances at 112 mm, 2.5 g of tape over 3 or 4 to 268 mm.
    let tape_at = f64::midpoint(cap, 268.0);
    let moment = shaft_gmm + 256.0 * (length - 13.0) + 50.0 * 112.0 + 2.0 * (length - below - 25.0) + 2.5 * tape_at;
    let mass = shaft_g + 256.0 + 50.0 + 4.5;
    let [found_mass, found_points] = bench.lands();
    near(found_mass, mass, 0.01);
    near(found_points, ((moment - mass * FULCRUM_MM) - 161.0 * 25.4 * 28.349_523_125) / GMM_PER_POINT, 0.01);
}

#[test]
fn length_inertia_and_the_older_scale_are_forecast_too() {
    let mut bench = Bench::new(include_str!("../config/orders/w-1047.toml"));
    bench.enters(Characteristic::HeadMass, "256 g");
    bench.enters(Characteristic::ShaftMass, "120 g");
    bench.enters(Characteristic::GripMass, "50 g");
    bench.enters(Characteristic::ShaftBalance, "514.35 mm");
    let outlook = outlook(bench.club(), &bench.state.learning);
    let of = |c: Characteristic| outlook.values.iter().find(|f| f.characteristic == c).unwrap();
    let (mass, points) = (of(Characteristic::TotalMass), of(Characteristic::SwingWeight));
    near(of(Characteristic::Length).value, 38.0 * 25.4, 1e-9);
    assert!(of(Characteristic::Length).u > 0.0);
    // From one scale to the other the fulcrum moves by 2 in under the whole mass (physics of a lever).
    let (moment12, u12) = outlook.moment12.unwrap();
    near(moment12, 161.0 + 1.75 * points.value + 2.0 * mass.value / 28.349_523_125, 1e-9);
    assert!(u12 > 1.75 * points.u - 1e-9 && u12 < 2.5 * points.u, "{u12} {}", points.u);
    // Second moments by hand: the shaft in ten thousand slices, grip and tape as rods (m (x² + l²/12); the grip's incline
    // moves its middle only), head and adhesive as points, the head 30 mm off the axis with 300 000 g·mm² of its own
    // (common practice, no source).
    let marks = marks(bench.club()).unwrap().unwrap();
    let (length, cap, raw) = (38.0 * 25.4, 4.0, 40.5 * 25.4);
    let below = length - cap - marks.shaft.mm;
    let slope = 12.0 * 120.0 * (514.35 - raw / 2.0) / f64::powi(raw, 3);
    let (from, to) = (marks.butt.mm, raw - marks.tip.mm);
    let step = (to - from) / 1e4;
    let shaft: f64 = (0..10_000)
        .map(|slice| {
            let at = from + step * (f64::from(slice) + 0.5);
            (120.0 / raw + slope * (at - raw / 2.0)) * step * (cap + at - from).powi(2)
        })
        .sum();
    let grip = 50.0 * (268.0 * 268.0 / 12.0 + 134.0 * 134.0 + 2.0 * 134.0 * (112.0 - 134.0));
    let tape_length = 268.0 - cap;
    let tape = 2.5 * (tape_length * tape_length / 12.0 + (cap + tape_length / 2.0).powi(2));
    let head = 256.0 * ((length - 13.0).powi(2) + 30.0 * 30.0) + 300_000.0;
    let adhesive = 2.0 * (length - below - 25.0).powi(2);
    near(of(Characteristic::MoiButt).value, (shaft + grip + tape + head + adhesive) / 1e5, 0.05);
    // Six millimetres of the head's centre alone: 2 m x dx.
    assert!(of(Characteristic::MoiButt).u > 2.0 * 256.0 * (length - 13.0) * 6.0 / 1e5);
}

#[test]
fn a_balance_that_is_measured_where_it_was_expected_changes_nothing() {
    let order = "order = \"W-1\"\n[[club]]\nname = \"7-iron\"\nkind = \"iron\"\nlength = \"37 in\"\nswing_weight = \"D2 ± 0.5\"\n";
    let mut bench = Bench::new(order);
    for (characteristic, quantity) in
        [(Characteristic::HeadMass, "270 g"), (Characteristic::ShaftMass, "105 g"), (Characteristic::GripMass, "50 g")]
    {
        bench.enters(characteristic, quantity);
    }
    let before = bench.lands();
    // The shaft as it is cut is the club without the cap, 3 mm, and 35 mm below its end; half of that is its middle.
    bench.enters(Characteristic::ShaftBalance, &format!("{:.4} mm", (37.0 * 25.4 - 38.0) / 2.0));
    let after = bench.lands();
    near(after[0], before[0], 1e-9);
    near(after[1], before[1], 1e-3);
}

#[test]
fn sensitivities_have_the_size_and_sign_of_mechanics() {
    let mut bench = Bench::new(include_str!("../config/orders/w-1047.toml"));
    for (characteristic, quantity) in
        [(Characteristic::HeadMass, "256 g"), (Characteristic::ShaftMass, "120 g"), (Characteristic::GripMass, "50 g")]
    {
        bench.enters(characteristic, quantity);
    }
    let of = |input: &str| sensitivities(bench.club()).into_iter().find(|s| s.input == input).unwrap();
    let length = 38.0 * 25.4;
    // A mass m moved by dx changes the moment by m dx; a gram at x adds x less the fulcrum.
    near(of("head centre before the ground line").points_per_unit, -256.0 / GMM_PER_POINT, 1e-6);
    near(of("head mass").points_per_unit, (length - 13.0 - FULCRUM_MM) / GMM_PER_POINT, 1e-6);
    near(of("grip mass").points_per_unit, (112.0 - FULCRUM_MM) / GMM_PER_POINT, 1e-6);
    // The swing weight's uncertainty holds every input's share.
    let u = forecast(bench.club(), &bench.state.learning)
        .iter()
        .find(|f| f.characteristic == Characteristic::SwingWeight)
        .unwrap()
        .u;
    let shares: f64 = sensitivities(bench.club()).iter().map(|s| (s.u * s.points_per_unit).powi(2)).sum();
    near(u, shares.sqrt(), 1e-9);
    assert!(u > 6.0 * 256.0 / GMM_PER_POINT, "6 mm of the head's centre alone are {u}");
}
