//! What advice and forecast cost: all proposals from realistic drawers, the search behind them, and the forecast with all
//! its sensitivities.
//!
//! Plain timing without a framework. Run it with `cargo bench --bench advice`; it prints all and judges at the end: advice from 66 kinds of
//! weight, three places, grips and heads above 5 ms in any case fails, a forecast with its sensitivities above 20 µs fails,
//! and so does a set of weights without proof. Before that the search is compared with a search through everything on
//! small drawers. Masses and limits are invented.

#![expect(
    clippy::print_stdout,
    clippy::panic,
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a benchmark reads the clock, prints and fails loudly"
)]

#[path = "../drawers/brute.rs"]
mod brute;

use std::fmt::Write as _;
use std::hint::black_box;
use std::time::Instant;

use benchscribe::club::characteristic::Characteristic;
use benchscribe::club::weight_search::{SearchItem, SearchPlace, Wanted, search};
use benchscribe::config::kit_file::read_kits;
use benchscribe::config::order_file::read_order;
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::desk::{Command, answer};
use benchscribe::work_order::event::{Change, Numbering};
use benchscribe::work_order::forecast::{forecast, sensitivities};
use benchscribe::work_order::proposals::proposals;
use benchscribe::work_order::state::State;
use benchscribe::work_order::steps::Step;

/// Advice at the worst, in milliseconds.
const ADVICE_MS: f64 = 5.0;
/// What is stated of the parts of the club whose forecast is measured.
const GIVEN: &str = "[club.given]\nhead_loft = \"10.5 deg ± 0.3 deg\"\nhead_lie = \"58 deg\"\nhead_face_angle = \"0.5 deg\"\n\
                     shaft_frequency = \"255 cpm ± 1 cpm\"\nshaft_clamp_length = \"127 mm\"\nshaft_tip_mass = \"205 g\"\n\
                     [club.cut]\nraw_length = \"1168 mm\"\ntip_trim = \"25 mm\"\nbore_depth = \"30 mm\"\nbore_to_ground = \"35 mm\"\ngrip_cap = \"4 mm\"\n\
                     [club.sleeve]\ntilt = \"1.5 deg\"\nclock = [\"0 deg\", \"60 deg\", \"180 deg\"]\nat = \"60 deg\"\n";
/// A forecast with all sensitivities, in microseconds.
const FORECAST_US: f64 = 20.0;
/// Each case is worked out so often and its least time counts: what is longer was interrupted.
const REPEATS: u32 = 5;
const SMALL_DRAWERS: u32 = 20_000;
const FORECASTS: u32 = 20_000;

/// A linear congruential generator (Knuth's MMIX constants): the same drawers in every run.
struct Chance(u64);

impl Chance {
    fn below(&mut self, limit: u32) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % u64::from(limit)) as u32
    }
}

fn main() {
    against_everything();
    let mut short_of = Vec::new();
    for (name, step_cg, is_shared, most_stock) in [
        ("66 kinds in steps of 0.25 g, each for one place", 25, false, 12),
        ("66 kinds in steps of 0.25 g, each for all places", 25, true, 12),
        ("66 kinds weighed to 0.01 g, each for one place", 1, false, 12),
        ("66 kinds weighed to 0.01 g, every third for all places", 1, true, 12),
        ("66 single pieces weighed to 0.01 g, every third for all places", 1, true, 1),
    ] {
        short_of.extend(advice(name, step_cg, is_shared, most_stock));
    }
    short_of.extend(forecasts());
    if !short_of.is_empty() {
        panic!("{}", short_of.join("\n"));
    }
}

/// Small drawers: the same score as a search through everything.
fn against_everything() {
    let mut chance = Chance(7);
    for case in 0..SMALL_DRAWERS {
        let places: Vec<SearchPlace> = (0..=chance.below(3))
            .map(|_| SearchPlace {
                arm_um: i64::from(chance.below(1_100_000)) - 400_000,
                most_cg: chance.below(900),
                most_pieces: chance.below(4),
            })
            .collect();
        let items: Vec<SearchItem> = (0..=chance.below(4))
            .map(|_| SearchItem {
                mass_cg: 1 + chance.below(400),
                stock: chance.below(3),
                places: (0..places.len()).filter(|_| chance.below(3) > 0).collect(),
            })
            .collect();
        let aim = i64::from(chance.below(2_000_000_000)) - 700_000_000;
        let room = i64::from(chance.below(60_000_000));
        let (mass_low, mass_high) = (i64::from(chance.below(300)), 300 + i64::from(chance.below(600)));
        let wanted = Wanted { low: aim - room, aim, high: aim + room, mass_low, mass_high };
        let found = search(&places, &items, wanted);
        let best = brute::best_score(&places, &items, wanted);
        if found.score != best || !found.proven {
            panic!("case {case}: found {:?}, the best is {best:?}", found.score);
        }
        let mut counts = vec![vec![0; places.len()]; items.len()];
        for (kind, place, pieces) in &found.pieces {
            counts[*kind][*place] += pieces;
        }
        let is_as_said = brute::is_feasible(&places, &items, &counts);
        if !is_as_said || brute::score(&places, &items, wanted, &counts) != best {
            panic!("case {case}: what was found is not what was said");
        }
    }
    println!("{SMALL_DRAWERS} small drawers: the same as a search through everything");
}

fn kit(chance: &mut Chance, step_cg: u32, is_shared: bool, most_stock: u32) -> String {
    let mut kit = "kit = \"bench\"\n".to_owned();
    for (name, place, most) in [
        ("head", "before_end = \"0 mm\"", "15 g"),
        ("tip", "before_end = \"45 mm\"", "9 g"),
        ("grip", "from_butt = \"25 mm\"", "20 g"),
    ] {
        let (label, pieces) = (format!("at {name}"), 3);
        write!(kit, "[[place]]\nname = \"{name}\"\nlabel = \"{label}\"\n{place}\nmost_mass = \"{most}\"\nmost_pieces = {pieces}\n").unwrap();
    }
    for kind in 0..66u32 {
        let cg = step_cg * (1 + chance.below(1000 / step_cg));
        let all = is_shared && (step_cg > 1 || kind % 3 == 0);
        let places =
            if all { "\"head\", \"tip\", \"grip\"" } else { ["\"head\"", "\"tip\"", "\"grip\""][(kind % 3) as usize] };
        let (mass, stock) = (f64::from(cg) / 100.0, 1 + chance.below(most_stock));
        write!(kit, "[[weight]]\nname = \"w-{kind}\"\nmass = \"{mass} g\"\nstock = {stock}\nplaces = [{places}]\n")
            .unwrap();
    }
    for (kind, masses) in [("grip", [42, 46, 50, 54]), ("head", [196, 198, 202, 205])] {
        for mass in masses {
            write!(kit, "[[{kind}]]\nname = \"{kind}-{mass}\"\nmass = \"{mass} g\"\nstock = 3\n").unwrap();
        }
    }
    kit
}

struct Bench {
    state: State,
    numbering: Numbering,
}

impl Bench {
    fn new(length: &str) -> Self {
        Self::given(length, "")
    }

    /// With more of the order behind the club's targets.
    fn given(length: &str, more: &str) -> Self {
        let order = format!(
            "order = \"W-1\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nhead = \"dune 1\"\nlength = \"{length}\"\nswing_weight = \"D3 ± 0.5\"\n{more}"
        );
        let mut bench = Self { state: State::default(), numbering: Numbering::after(1, 0) };
        bench.does(&Command::ImportOrders(vec![read_order("order", &order).unwrap()]));
        bench.does(&Command::OpenOrder("W-1".into()));
        for (characteristic, quantity) in [
            (Characteristic::HeadMass, "200 g"),
            (Characteristic::ShaftMass, "60 g"),
            (Characteristic::GripMass, "50 g"),
            (Characteristic::ShaftBalance, "540 mm"),
        ] {
            bench.enters(characteristic, quantity);
        }
        bench
    }

    fn take(&mut self, changes: Vec<Change>) {
        for change in changes {
            let event = self.numbering.event(Stamp::default(), None, change);
            self.state.apply(&event);
        }
    }

    fn does(&mut self, command: &Command) {
        let changes = answer(&self.state, command).unwrap();
        self.take(changes);
    }

    fn enters(&mut self, characteristic: Characteristic, quantity: &str) {
        self.does(&Command::Enter { club: None, characteristic, quantity: quantity.to_owned() });
    }
}

/// All proposals for clubs from far too light to far too heavy; what falls short of the goals.
fn advice(name: &str, step_cg: u32, is_shared: bool, most_stock: u32) -> Option<String> {
    let mut chance = Chance(42);
    let (mut sum_ms, mut worst_ms, mut cases, mut unproven) = (0.0, 0.0f64, 0.0, 0);
    for _ in 0..20 {
        let text = kit(&mut chance, step_cg, is_shared, most_stock);
        let drawers = read_kits(&[("kit".to_owned(), text)]).unwrap_or_else(|mistakes| panic!("{mistakes}"));
        for tenths in (170..440).step_by(13) {
            let mut bench = Bench::new("45 in ± 1/16 in");
            bench.take(vec![Change::DrawersSet(drawers.clone())]);
            bench.does(&Command::StepDone(Step::Grip));
            bench.enters(Characteristic::TotalMass, "318 g");
            bench.enters(Characteristic::BalancePoint, "840 mm");
            let points = benchscribe::measurement::unit::Points(f64::from(tenths) / 10.0).text();
            bench.enters(Characteristic::SwingWeight, &format!("{points} ± 0.05"));
            let club = bench.state.club().unwrap();
            let mut found = None;
            let mut ms = f64::INFINITY;
            for _ in 0..REPEATS {
                let begin = Instant::now();
                found = black_box(proposals(black_box(club), &bench.state.drawer_stock, &bench.state.learning));
                ms = ms.min(begin.elapsed().as_secs_f64() * 1e3);
            }
            (sum_ms, worst_ms, cases) = (sum_ms + ms, worst_ms.max(ms), cases + 1.0);
            unproven += found.map_or(0, |found| found.list.iter().filter(|proposal| !proposal.proven).count());
        }
    }
    let mean_ms = sum_ms / cases;
    println!("{name}: {mean_ms:.2} ms in the mean, {worst_ms:.2} ms at the worst, {unproven} without proof");
    let falls_short = worst_ms > ADVICE_MS || unproven > 0;
    falls_short.then(|| format!("{name}: expected at most {ADVICE_MS} ms, and a proof for each"))
}

fn forecasts() -> Option<String> {
    // Everything that can be forecast: loft, lie, face angle and frequency from what is stated of head and shaft.
    let bench = Bench::given("45 in ± 1/16 in", GIVEN);
    let club = bench.state.club().unwrap();
    assert_eq!((forecast(club, &bench.state.learning).len(), sensitivities(club).len()), (9, 9));
    let begin = Instant::now();
    for _ in 0..FORECASTS {
        black_box(forecast(black_box(club), &bench.state.learning));
        black_box(sensitivities(black_box(club)));
    }
    let us = begin.elapsed().as_secs_f64() * 1e6 / f64::from(FORECASTS);
    println!("forecast with all sensitivities: {us:.2} µs");
    (us > FORECAST_US).then(|| format!("a forecast takes {us:.2} µs, expected at most {FORECAST_US}"))
}
