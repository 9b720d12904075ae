//! A club builder at the bench: he picks parts, lays them down, watches the display, scans cards, and tells the truth.
//!
//! Plans go in; deeds at the instruments, typed values and truths come out. He knows nothing of the daemon: what he sees of
//! it is a [`Seen`], what he types is an [`Action`], and how the daemon writes its tickets is told him by the caller.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use tokio::sync::{mpsc, watch};

use crate::bench::Benchtop;
use crate::chance::Chance;
use crate::club::Club;
use crate::instrument::Instrument;
use crate::load::{Load, Manner};
use crate::plan::{ClubPlan, OrderPlan};
use crate::truth::Truth;

/// He lays a thing down at most so often before he gives it up.
const TRIES: u32 = 3;
/// How long he waits for the display before he tries again, bench seconds.
const PATIENCE_S: f64 = 10.0;
/// How long he leaves a thing lying when there is no display, bench seconds.
const BLIND_S: f64 = 6.0;
/// Less than this he does not add to a head, g.
const WORTH_ADDING_G: f64 = 0.3;
/// The most he adds to a head at once, g: nobody hides more in a hosel.
const MOST_ADDED_G: f64 = 12.0;

/// The texts of the cards that lie at the bench.
#[derive(Clone)]
pub struct Tickets {
    /// From the name of a step (`bond`, `grip`, `adjust`, `hand_over`), or `badge` (who he is), `void` (the last reading does
    /// not count) or `acknowledge` (the cautions were read), to the text on the card.
    pub card: Arc<dyn Fn(&str) -> String + Send + Sync>,
}

impl Default for Tickets {
    /// Plain text: `card bond`.
    fn default() -> Self {
        Self { card: Arc::new(|name| format!("card {name}")) }
    }
}

impl fmt::Debug for Tickets {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Tickets").finish_non_exhaustive()
    }
}

/// What a person at the bench can see on the display.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seen {
    /// How many captures the display has shown, by name of the instrument.
    pub captured: BTreeMap<String, u64>,
    /// The club that is open.
    pub current_club: Option<String>,
    /// Grams to add at the head (negative: to take away), where the display advises it.
    pub advice_head_g: Option<f64>,
    /// The clubs that are finished.
    pub finished: BTreeSet<String>,
    /// Steps that are done: the club and the name of the step.
    pub done: BTreeSet<(String, String)>,
    /// Clubs whose adhesive still cures.
    pub curing: BTreeSet<String>,
    /// Whether adhesive is mixed, and whether it is beyond its working life.
    pub batch_is_over: Option<bool>,
    /// Numbers of the orders that wait, in their turn.
    pub queue: Vec<String>,
    /// Why a reading of the open club is doubted.
    pub doubt: Option<String>,
    /// Why the last reading has no place, if it has none.
    pub unplaced: Option<String>,
    /// How many values were taken back.
    pub taken_back: u64,
    /// How many bends were written down.
    pub bent: u64,
    /// What the display warns of; what it said last stands at the end.
    pub warnings: Vec<String>,
}

/// The builder's view of the display.
#[derive(Clone, Debug)]
pub struct Eyes(pub watch::Receiver<Seen>);

/// What the builder does that goes over no serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Action {
    /// He types a value, with its unit: `45 1/16 in`.
    Type {
        /// The club's name in the order.
        club: String,
        /// Name of the characteristic.
        characteristic: String,
        /// The value as typed.
        quantity: String,
    },
    /// He uses what the display advises first.
    UseAdvice,
    /// He mixes a batch of adhesive and writes that down.
    MixAdhesive,
    /// He takes an order in that someone has just brought.
    TakeIn {
        /// Its number.
        order: String,
    },
    /// He puts the open club aside.
    PutAside,
    /// He takes the last reading back.
    Void {
        /// Why, in his words.
        why: String,
    },
    /// He bends a club and writes down how far the lever went.
    Bend {
        /// The club's name in the order.
        club: String,
        /// Name of the characteristic.
        characteristic: String,
        /// How far and in which direction: `1 deg upright`.
        quantity: String,
    },
    /// He answers for a club that is handed over although something is open.
    AnswerFor {
        /// The club's name in the order.
        club: String,
        /// Why, in his words.
        why: String,
    },
    /// He tells whoever watches what goes on.
    Say(String),
}

/// What he has done when the last order is built.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BuilderReport {
    /// The clubs he has built, in order.
    pub clubs: Vec<String>,
    /// How often he has laid something down.
    pub placements: u32,
    /// How often he had to lay a thing down again because the display did not show it.
    pub laid_again: u32,
    /// What the display never showed: club, stage and instrument, or a card that had no effect.
    pub given_up: Vec<String>,
}

/// A characteristic, its true value and its unit.
type Fact = (&'static str, f64, &'static str);

pub(crate) struct Builder {
    pub(crate) top: Benchtop,
    pub(crate) tickets: Tickets,
    pub(crate) eyes: Option<Eyes>,
    pub(crate) actions: Option<mpsc::Sender<Action>>,
    pub(crate) truth: Option<mpsc::Sender<Truth>>,
    pub(crate) chance: Chance,
    pub(crate) report: BuilderReport,
}

impl Builder {
    /// Builds all orders, one club after the other.
    pub(crate) async fn work(mut self, orders: Vec<OrderPlan>) -> BuilderReport {
        self.walk().await;
        for order in orders {
            self.top.scan(&order.ticket);
            self.walk().await;
            for plan in &order.clubs {
                self.build(plan).await;
                self.report.clubs.push(plan.club.clone());
            }
        }
        self.report
    }

    async fn build(&mut self, plan: &ClubPlan) {
        let mut club = Club::from_parts(plan, &mut self.chance);
        self.open(plan).await;
        for part in ["head_mass", "shaft_mass", "grip_mass"] {
            self.weigh_part(plan, &club, part).await;
        }
        self.lay_on_beam(plan, &club, "dry_fit").await;
        for step in ["bond", "cure", "grip"] {
            self.scan_step(step).await;
        }
        club.bond_and_grip();
        self.scan_step("rest").await;
        self.type_length(plan, &club).await;
        self.bring_to_weight(plan, &mut club).await;
        self.check(plan, &club).await;
        self.lay_in_gauge(plan, 0.0).await;
        self.hand_over(plan).await;
    }

    /// Hands a club over; one of which something is open he answers for.
    pub(crate) async fn hand_over(&mut self, plan: &ClubPlan) {
        self.walk().await;
        self.top.scan(&(self.tickets.card)("hand_over"));
        let club = plan.club.clone();
        if self.see_within(5.0, 1.0, |seen| seen.finished.contains(&club)).await {
            return;
        }
        self.act(Action::AnswerFor { club, why: "the player has seen it and takes it as it is".to_owned() }).await;
        let club = plan.club.clone();
        if !self.see_within(5.0, 1.0, |seen| seen.finished.contains(&club)).await {
            self.report.given_up.push(format!("{club} hand over"));
        }
    }

    pub(crate) async fn open(&mut self, plan: &ClubPlan) {
        self.scan_until(&plan.ticket, &plan.club, |seen, club| seen.current_club.as_deref() == Some(club)).await;
    }

    pub(crate) async fn weigh_part(&mut self, plan: &ClubPlan, club: &Club, part: &'static str) {
        let lump = match part {
            "head_mass" => club.head,
            "shaft_mass" => club.shaft,
            _ => club.grip,
        };
        self.lay_part(plan, part, lump.mass_g).await;
    }

    pub(crate) async fn lay_part(&mut self, plan: &ClubPlan, part: &'static str, mass_g: f64) {
        let load = Load::Part { mass_g };
        self.place(plan, Instrument::PartsScale, "part", load, &[(part, mass_g, "g")]).await;
    }

    /// Lays the gripped club on the beam and adds weight until it is as heavy as it should be.
    pub(crate) async fn bring_to_weight(&mut self, plan: &ClubPlan, club: &mut Club) {
        self.lay_on_beam(plan, club, "gripped").await;
        for _ in 0..2 {
            let advised_g = self.advice_g(plan, club);
            if advised_g <= WORTH_ADDING_G {
                break;
            }
            self.act(Action::UseAdvice).await;
            // To a tenth of a gram: he has lead powder and a scale.
            club.add_to_head((advised_g.min(MOST_ADDED_G) * 10.0).round() / 10.0);
            self.walk().await;
            self.lay_on_beam(plan, club, "gripped").await;
        }
        self.scan_step("adjust").await;
    }

    /// Measures the finished club once more on scale and beam.
    pub(crate) async fn check(&mut self, plan: &ClubPlan, club: &Club) {
        let (mass_g, balance_mm) = (club.total_mass_g(), club.balance_mm());
        let whole = Load::Club { mass_g, balance_mm };
        self.place(plan, Instrument::ClubScale, "final", whole, &[("total_mass", mass_g, "g")]).await;
        self.lay_on_beam(plan, club, "final").await;
    }

    /// Lays a club into the gauge whose lie is `off_deg` beside what was ordered; he bends until it is right within a fifth
    /// of a degree.
    pub(crate) async fn lay_in_gauge(&mut self, plan: &ClubPlan, off_deg: f64) {
        let loft_deg = plan.loft_deg + self.chance.between(-0.2, 0.2);
        let lie_deg = plan.lie_deg + off_deg + self.chance.between(-0.2, 0.2);
        let facts = [("loft", loft_deg, "deg"), ("lie", lie_deg, "deg")];
        self.place(plan, Instrument::Gauge, "final", Load::Angles { loft_deg, lie_deg }, &facts).await;
    }

    pub(crate) async fn lay_on_beam(&mut self, plan: &ClubPlan, club: &Club, stage: &'static str) {
        let load = Load::Club { mass_g: club.total_mass_g(), balance_mm: club.balance_mm() };
        self.lay_club(plan, club, stage, load).await;
    }

    /// Lays a club on the beam that bears down there as `load` does.
    pub(crate) async fn lay_club(&mut self, plan: &ClubPlan, club: &Club, stage: &'static str, load: Load) {
        let facts = [
            ("total_mass", club.total_mass_g(), "g"),
            ("balance_point", club.balance_mm(), "mm"),
            ("swing_weight", club.swing_weight_points(), "{point}"),
        ];
        self.place(plan, Instrument::Beam, stage, load, &facts).await;
    }

    /// Lays a load down until the display has shown it, and goes on.
    async fn place(
        &mut self,
        plan: &ClubPlan,
        instrument: Instrument,
        stage: &'static str,
        load: Load,
        facts: &[Fact],
    ) {
        for attempt in 1..=TRIES {
            let captures_before = self.captures(instrument);
            let Ok(release_s) = self.top.lay(instrument, load, Manner::any(&mut self.chance)) else {
                return;
            };
            self.top.clock.sleep_until(release_s).await;
            self.report.placements += 1;
            self.tell(plan, instrument, stage, release_s, facts).await;
            let shown = self.see_within(PATIENCE_S, BLIND_S, |seen| captures(seen, instrument) > captures_before).await;
            // He reads the number before he takes the thing away.
            self.pause(0.6, 1.0).await;
            self.top.lift(instrument);
            self.walk().await;
            if shown {
                return;
            }
            if attempt < TRIES {
                self.report.laid_again += 1;
            }
        }
        self.report.given_up.push(format!("{} {stage} {instrument}", plan.club));
    }

    async fn tell(&self, plan: &ClubPlan, instrument: Instrument, stage: &'static str, t_s: f64, facts: &[Fact]) {
        let Some(truth) = &self.truth else { return };
        for &(characteristic, value, unit) in facts {
            let said = Truth {
                t: self.top.clock.rfc3339(t_s),
                t_s,
                instrument: instrument.name(),
                characteristic,
                stage,
                club: plan.club.clone(),
                value,
                unit,
            };
            // Nobody listening any more is no reason to stop building.
            truth.send(said).await.ok();
        }
    }

    pub(crate) async fn type_length(&mut self, plan: &ClubPlan, club: &Club) {
        self.walk().await;
        let characteristic = "length".to_owned();
        self.act(Action::Type { club: plan.club.clone(), characteristic, quantity: club.length_typed() }).await;
        self.pause(1.0, 2.0).await;
    }

    /// Does what goes over no serial port.
    pub(crate) async fn act(&self, action: Action) {
        if let Some(actions) = &self.actions {
            // Nobody there any more is no reason to stop building.
            actions.send(action).await.ok();
        }
    }

    /// What the display advises to add at the head, g; without a display, what he works out himself.
    fn advice_g(&self, plan: &ClubPlan, club: &Club) -> f64 {
        match &self.eyes {
            Some(Eyes(display)) => display.borrow().advice_head_g.unwrap_or(0.0),
            None => club.missing_at_head_g(plan.swing_weight_points),
        }
    }

    pub(crate) async fn scan_step(&mut self, step: &str) {
        self.walk().await;
        self.top.scan(&(self.tickets.card)(step));
        self.pause(1.0, 2.0).await;
    }

    /// Scans a card until the display shows its effect on the club.
    pub(crate) async fn scan_until(&mut self, text: &str, club: &str, effect: impl Fn(&Seen, &str) -> bool) {
        for _ in 0..TRIES {
            self.walk().await;
            self.top.scan(text);
            if self.see_within(5.0, 1.0, |seen| effect(seen, club)).await {
                return;
            }
        }
        self.report.given_up.push(format!("{club} card {text}"));
    }

    fn captures(&self, instrument: Instrument) -> u64 {
        self.eyes.as_ref().map_or(0, |Eyes(display)| captures(&display.borrow(), instrument))
    }

    /// Watches the display for at most `patience_s`; whether he saw what he waited for. Without a display he takes it for
    /// seen after `blind_s`.
    pub(crate) async fn see_within(&mut self, patience_s: f64, blind_s: f64, wanted: impl Fn(&Seen) -> bool) -> bool {
        let clock = self.top.clock;
        if let Some(Eyes(display)) = &mut self.eyes {
            let looking = display.wait_for(|seen| wanted(seen));
            let seen = tokio::time::timeout(clock.real(patience_s), looking).await.map(|seen| seen.is_ok());
            match seen {
                Ok(true) => return true,
                Err(_) => return false,
                // The display is off for good.
                Ok(false) => self.eyes = None,
            }
        }
        clock.sleep_until(clock.now_s() + blind_s).await;
        true
    }

    /// From one place to the next, with hands full.
    pub(crate) async fn walk(&mut self) {
        self.pause(1.5, 3.0).await;
    }

    async fn pause(&mut self, least_s: f64, most_s: f64) {
        let until_s = self.top.clock.now_s() + self.chance.between(least_s, most_s);
        self.top.clock.sleep_until(until_s).await;
    }
}

fn captures(seen: &Seen, instrument: Instrument) -> u64 {
    seen.captured.get(instrument.name()).copied().unwrap_or(0)
}
