//! A whole day of the builder: orders in their turn, and what goes wrong or comes between on any day.
//!
//! A wrong part is laid down, a finger rests on a club, a reading is taken back, a player comes to the door, adhesive gets too
//! old meanwhile, a club goes back to the bending machine. What he does about each he decides by what the display says, and he
//! tells it to whoever watches.

use crate::builder::{Action, Builder, BuilderReport, Seen};
use crate::club::Club;
use crate::load::Load;
use crate::plan::{ClubPlan, DayPlan, OrderPlan};

/// How often he tries to bond before he gives a club up.
const BONDS: usize = 3;
/// Longest that he waits for a cure, or for the end of a talk, bench seconds.
const LONGEST_WAIT_S: f64 = 400.0;
/// Weight of a finger that rests on a club, g, and where, as a share of its length.
const FINGER_G: f64 = 6.0;
const FINGER_AT: f64 = 0.6;
/// How much heavier the grip out of the wrong drawer is, g; the old grip of a club that gets a new one is as much lighter.
const OTHER_GRIP_G: f64 = 4.0;
/// How much too flat the club comes out that goes back, degrees.
const TOO_FLAT_DEG: f64 = 1.3;

/// What goes wrong while a club is prepared.
enum Mishap<'a> {
    Nothing,
    /// The head of another club is laid down first.
    WrongHead(&'a ClubPlan),
    /// A finger rests on the club at its dry fit.
    Finger,
}

impl Builder {
    /// Works a day.
    pub(crate) async fn day(mut self, day: DayPlan) -> BuilderReport {
        self.walk().await;
        self.scan_step("badge").await;
        let mut tray = day.orders;
        let mut door = Some(day.door);
        self.say(&format!("the day begins with {} orders in the tray", tray.len())).await;
        while let Some(order) = self.next_order(&mut tray) {
            let clubs = if order.clubs.len() == 1 { "club" } else { "clubs" };
            self.say(&format!("{} is the next one: {} {clubs}", order.order, order.clubs.len())).await;
            match (order.clubs.as_slice(), door.take()) {
                ([first, second, third, rest @ ..], Some(player)) => {
                    self.two_at_once(first, second).await;
                    self.with_a_player_at_the_door(third, &player).await;
                    self.one_by_one(rest).await;
                }
                (clubs, player) => {
                    door = player;
                    self.one_by_one(clubs).await;
                }
            }
        }
        self.say("nothing waits any more: the day is over").await;
        self.report
    }

    /// The order whose turn it is by the display; without a display they come as they lie there.
    fn next_order(&self, tray: &mut Vec<OrderPlan>) -> Option<OrderPlan> {
        let in_turn = self.eyes.as_ref().and_then(|eyes| {
            let seen = eyes.0.borrow();
            seen.queue.iter().find_map(|number| tray.iter().position(|order| order.order == *number))
        });
        let at = in_turn.or((!tray.is_empty()).then_some(0))?;
        Some(tray.remove(at))
    }

    async fn one_by_one(&mut self, clubs: &[ClubPlan]) {
        for plan in clubs {
            let mut club = self.prepare(plan, Mishap::Nothing).await;
            self.bond(plan).await;
            self.complete(plan, &mut club, 0.0).await;
        }
    }

    /// Two clubs are bonded with one batch: one cures while the other is prepared.
    async fn two_at_once(&mut self, first: &ClubPlan, second: &ClubPlan) {
        let mut one = self.prepare(first, Mishap::WrongHead(second)).await;
        self.bond(first).await;
        self.say(&format!("{} cures; {} is prepared meanwhile", first.club, second.club)).await;
        let mut other = self.prepare(second, Mishap::Finger).await;
        self.bond(second).await;
        self.complete(first, &mut one, 0.0).await;
        self.complete(second, &mut other, 0.0).await;
    }

    /// A club is put aside for somebody who waits; what was mixed for it gets too old, and it comes out too flat.
    async fn with_a_player_at_the_door(&mut self, plan: &ClubPlan, player: &OrderPlan) {
        let mut club = Club::from_parts(plan, &mut self.chance);
        self.open(plan).await;
        self.weigh_part(plan, &club, "head_mass").await;
        self.weigh_part(plan, &club, "shaft_mass").await;
        self.say(&format!("a grip out of the wrong drawer is laid down for {}", plan.club)).await;
        self.lay_part(plan, "grip_mass", club.grip.mass_g + OTHER_GRIP_G).await;
        self.say("the display says it is too heavy: the reading is taken back, with the reason").await;
        let before = self.taken_back();
        self.act(Action::Void { why: "a grip out of the wrong drawer lay there".to_owned() }).await;
        self.see_within(5.0, 1.0, |seen| seen.taken_back > before).await;
        self.weigh_part(plan, &club, "grip_mass").await;

        self.say(&format!("a player is at the door, a new grip while he waits: {} is put aside", plan.club)).await;
        self.act(Action::TakeIn { order: player.order.clone() }).await;
        self.act(Action::PutAside).await;
        self.see_within(5.0, 1.0, |seen| seen.current_club.is_none()).await;
        for plan in &player.clubs {
            self.regrip(plan).await;
        }
        self.say("he has much to tell; the adhesive stands there and does not wait").await;
        self.see_within(LONGEST_WAIT_S, 1.0, |seen| seen.batch_is_over != Some(false)).await;
        self.say(&format!("{} is taken up again", plan.club)).await;
        self.open(plan).await;
        self.lay_on_beam(plan, &club, "dry_fit").await;
        self.bond(plan).await;
        self.complete(plan, &mut club, -TOO_FLAT_DEG).await;
    }

    /// Weighs the parts and lays them together.
    async fn prepare(&mut self, plan: &ClubPlan, mishap: Mishap<'_>) -> Club {
        let club = Club::from_parts(plan, &mut self.chance);
        self.open(plan).await;
        if let Mishap::WrongHead(other) = &mishap {
            self.say(&format!("the head of {} is laid down for {}", other.club, plan.club)).await;
            self.lay_part(plan, "head_mass", other.head_mass_g).await;
            let said = self.look(|seen| seen.unplaced.clone());
            self.say(&format!(
                "it is not filed: {}",
                said.unwrap_or_else(|| "the display does not say why".to_owned())
            ))
            .await;
        }
        for part in ["head_mass", "shaft_mass", "grip_mass"] {
            self.weigh_part(plan, &club, part).await;
        }
        if matches!(mishap, Mishap::Finger) {
            self.say(&format!("a finger rests on {} while it lies on the beam", plan.club)).await;
            let mass_g = club.total_mass_g() + FINGER_G;
            let moment = club.total_mass_g() * club.balance_mm() + FINGER_G * FINGER_AT * club.length_mm;
            self.lay_club(plan, &club, "dry_fit", Load::Club { mass_g, balance_mm: moment / mass_g }).await;
            let said = self.look(|seen| seen.doubt.clone());
            self.say(&format!("the display doubts it: {}", said.unwrap_or_else(|| "or does not".to_owned()))).await;
            let (card, before) = ((self.tickets.card)("void"), self.taken_back());
            self.scan_until(&card, &plan.club, |seen, _| seen.taken_back > before).await;
            self.say("it is taken back with the card, and the club laid down again with the hand away").await;
        }
        self.lay_on_beam(plan, &club, "dry_fit").await;
        club
    }

    /// Bonds with what is mixed, and mixes anew where that is refused.
    async fn bond(&mut self, plan: &ClubPlan) {
        if self.look(|seen| seen.batch_is_over).is_none() {
            self.mix().await;
        }
        self.scan_step("acknowledge").await;
        for _ in 0..BONDS {
            self.walk().await;
            self.top.scan(&(self.tickets.card)("bond"));
            let done = (plan.club.clone(), "bond".to_owned());
            if self.see_within(5.0, 1.0, |seen| seen.done.contains(&done)).await {
                return;
            }
            let said = self.look(|seen| seen.warnings.last().cloned());
            let said = said.unwrap_or_else(|| "the display does not say why".to_owned());
            self.say(&format!("the bond of {} is refused: {said}", plan.club)).await;
            self.mix().await;
        }
        self.report.given_up.push(format!("{} bond", plan.club));
    }

    async fn mix(&mut self) {
        self.say("a batch of adhesive is mixed").await;
        self.act(Action::MixAdhesive).await;
        self.see_within(5.0, 1.0, |seen| seen.batch_is_over == Some(false)).await;
    }

    /// From the cured bond to the player; `off_deg` is how far its lie is off when it is first laid into the gauge.
    async fn complete(&mut self, plan: &ClubPlan, club: &mut Club, off_deg: f64) {
        self.open(plan).await;
        if self.look(|seen| seen.curing.contains(&plan.club).then_some(())).is_some() {
            self.say(&format!("{} has to cure", plan.club)).await;
        }
        let id = plan.club.clone();
        self.see_within(LONGEST_WAIT_S, 1.0, |seen| !seen.curing.contains(&id)).await;
        self.finish_step(plan, "cure").await;
        self.scan_step("acknowledge").await;
        self.finish_step(plan, "grip").await;
        club.bond_and_grip();
        self.finish_step(plan, "rest").await;
        self.type_length(plan, club).await;
        self.bring_to_weight(plan, club).await;
        self.check(plan, club).await;
        if off_deg < 0.0 {
            self.lay_in_gauge(plan, off_deg).await;
            self.say(&format!(
                "{} is {:.1} degrees too flat and goes back: bent in small steps, with eye protection, as far as the head's maker allows",
                plan.club, -off_deg
            ))
            .await;
            let (club, characteristic) = (plan.club.clone(), "lie".to_owned());
            let before = self.look(|seen| Some(seen.bent)).unwrap_or(0);
            self.act(Action::Bend { club, characteristic, quantity: format!("{:.1} deg upright", -off_deg) }).await;
            self.see_within(5.0, 1.0, |seen| seen.bent > before).await;
            self.scan_step("adjust").await;
        }
        self.lay_in_gauge(plan, 0.0).await;
        self.give(plan).await;
    }

    /// A club gets another grip, measured as it came and as it leaves.
    async fn regrip(&mut self, plan: &ClubPlan) {
        let mut club = Club::from_parts(plan, &mut self.chance);
        club.bond_and_grip();
        let new_g = club.grip.mass_g;
        self.open(plan).await;
        club.grip.mass_g = new_g - OTHER_GRIP_G;
        self.lay_on_beam(plan, &club, "received").await;
        self.finish_step(plan, "prepare").await;
        self.lay_part(plan, "grip_mass", new_g).await;
        club.grip.mass_g = new_g;
        self.scan_step("acknowledge").await;
        self.finish_step(plan, "grip").await;
        self.finish_step(plan, "rest").await;
        self.lay_on_beam(plan, &club, "gripped").await;
        self.give(plan).await;
    }

    async fn give(&mut self, plan: &ClubPlan) {
        self.hand_over(plan).await;
        self.say(&format!("{} is handed over", plan.club)).await;
        self.report.clubs.push(plan.club.clone());
    }

    /// Scans the card of a step until the display shows it done.
    async fn finish_step(&mut self, plan: &ClubPlan, step: &str) {
        let done = (plan.club.clone(), step.to_owned());
        let card = (self.tickets.card)(step);
        self.scan_until(&card, &plan.club, move |seen, _| seen.done.contains(&done)).await;
    }

    fn taken_back(&self) -> u64 {
        self.look(|seen| Some(seen.taken_back)).unwrap_or(0)
    }

    fn look<T>(&self, at: impl Fn(&Seen) -> Option<T>) -> Option<T> {
        self.eyes.as_ref().and_then(|eyes| at(&eyes.0.borrow()))
    }

    /// Tells what goes on, with the time of the bench.
    async fn say(&self, words: &str) {
        let clock = self.top.clock;
        let time = clock.rfc3339(clock.now_s());
        // The time of day in `2026-11-27T09:15:00Z`.
        let time = time.get(11..19).unwrap_or_default();
        self.act(Action::Say(format!("{time} {words}"))).await;
    }
}
