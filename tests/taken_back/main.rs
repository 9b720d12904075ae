//! Steps marked done by mistake are taken back: what each led to is as before it, and the record says so. And codes that a
//! scanner reads over and over, which are one read.
//!
//! That the cure of a bond begins when head and shaft are joined is what every adhesive's data sheet implies (common practice, no
//! source). How long a person takes to bring a card under the scanner once more: common practice, no source.
#![expect(clippy::unwrap_used, reason = "a test may panic")]

#[path = "../desk_bench/mod.rs"]
mod desk_bench;
#[path = "../support/mod.rs"]
mod support;

mod again;
mod program;
mod steps;

use benchscribe::journal::event::{canonical, parse};
use benchscribe::output::adhesive_view::timers;
use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::work_order::event::Change;
use benchscribe::work_order::order::Stage;
use benchscribe::work_order::record::{ClubRecord, ClubState};
use benchscribe::work_order::said::said;
use benchscribe::work_order::state::State;
use benchscribe::work_order::steps::Step;
use desk_bench::commanded::Commanded as Bench;
use desk_bench::{CONFIG, DeskBench};
use serde_json::{Value, json};
use support::assert_verified;
use support::daemon::Daemon;

const ORDER: &str = r#"
order = "W-8"

[[club]]
name = "6-iron"
kind = "iron"
length = "37 1/2 in ± 1/16 in"

[[club]]
name = "7-iron"
kind = "iron"
length = "37 in ± 1/16 in"
lie = "62 deg ± 0.5 deg"

[[club]]
name = "8-iron"
kind = "iron"
work = "regrip"
route = ["prepare", "grip", "rest"]
length = "36 1/2 in ± 1/16 in"
"#;

/// A scanner behind the instruments of the other tests.
const SCANNER: &str = r#"
[[instrument]]
id = "scanner"
name = "ticket scanner"
kind = "scanner"
port = "/dev/null"
format = "scanner"
"#;

const ADHESIVE: &str = include_str!("../../config/adhesives/dune-2k.toml");

impl Bench {
    fn new() -> Self {
        let mut bench = DeskBench::new(&format!("{CONFIG}{SCANNER}"));
        let stored = bench.begin();
        let mut this = Self { bench, stored };
        this.does(json!({"command": "import_order", "text": ORDER}));
        this.scan("BS1/O/W-8");
        this.scan("BS1/W/K7");
        this
    }

    /// With a batch of adhesive in force.
    fn with_batch() -> Self {
        let mut bench = Self::new();
        bench.does(json!({"command": "enter_adhesive", "text": ADHESIVE}));
        bench.mixes();
        bench
    }

    fn mixes(&mut self) {
        let product = self.state().adhesives.products.keys().next().unwrap().clone();
        self.does(json!({"command": "mix_batch", "adhesive": product, "temperature": "21 °C", "lot": "L-77"}));
    }

    #[track_caller]
    fn refuses_scan(&mut self, code: &str) -> String {
        self.refuses(json!({"command": "scan", "code": code}))
    }

    /// A code under the scanner itself.
    fn reads(&mut self, code: &str) {
        self.bench.frame(3, format!("]C0{code}\r").as_bytes(), &mut self.stored);
    }

    fn types(&mut self, quantity: &str) {
        self.does(json!({"command": "enter", "characteristic": "length", "quantity": quantity}));
    }

    fn state(&self) -> &State {
        &self.bench.core.state
    }

    fn club(&self, club: &str) -> &ClubRecord {
        &self.state().clubs[club]
    }

    /// The last event of a kind.
    fn last(&self, kind: &str) -> String {
        self.stored.of(kind).last().unwrap().id.to_string()
    }

    fn done_at(&self, club: &str) -> Vec<&'static str> {
        self.club(club).steps.iter().map(|done| done.step.name()).collect()
    }

    fn told(&mut self) -> Vec<String> {
        let banners = self.bench.snapshot().banners;
        let told = banners.iter().map(|banner| format!("{}: {}", banner.text, banner.remedy));
        told.map(|words| words.trim_end_matches(": ").to_owned()).collect()
    }

    #[track_caller]
    fn tells(&mut self, words: &str) {
        let told = self.told();
        assert!(told.iter().any(|told| told == words), "{words} is not in {told:?}");
    }

    /// What the times on the page say of the open club.
    fn timer(&self) -> Option<String> {
        let times = timers(self.state(), self.state().adhesives.elapsed.last_at_us().unwrap());
        times.into_iter().find(|timer| timer.of == "W-8/1").map(|timer| timer.text)
    }

    /// A restart: everything is folded anew from what is stored, as text.
    fn restarts(&mut self) {
        let mut after = State::default();
        for event in &self.stored.events {
            after.apply(&parse(&canonical(event, "bench-1").unwrap()).unwrap());
        }
        assert_eq!(after.clubs, self.state().clubs);
        self.bench = DeskBench::with_state(&format!("{CONFIG}{SCANNER}"), after);
        self.stored.events.extend(self.bench.begin().events);
    }
}
