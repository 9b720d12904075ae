//! The orders of the demo: taken into the journal, and as a plan for the simulated builder.

use anyhow::{Context as _, anyhow, bail};
use serde_json::json;
use simulators::{ClubKind as SimulatedKind, ClubPlan, OrderPlan};
use tokio::sync::oneshot;

use crate::bench::Started;
use crate::club::characteristic::Characteristic;
use crate::config::order_file::read_order;
use crate::output::command::{CommandRequest, ask};
use crate::work_order::order::{ClubKind, ClubSpec, Order};
use crate::work_order::ticket::Ticket;

/// The order of the demo; its number is replaced for further ones.
pub(super) const ORDER: &str = include_str!("../../../config/orders/w-1042.toml");
pub(super) const NUMBER: &str = "W-1042";
const FIRST_NUMBER: u32 = 1042;

/// Takes as many orders in as the clubs need, with numbers that the journal does not know yet.
pub(super) async fn take_orders_in(started: &Started, clubs: u32) -> anyhow::Result<Vec<Order>> {
    let mut numbers = free_numbers(started).await?;
    let mut wanted = usize::try_from(clubs)?;
    let mut orders = Vec::new();
    while wanted > 0 {
        let name = numbers.next().context("all numbers of orders are used up")?;
        let text = shorten(&ORDER.replace(NUMBER, &name), wanted);
        let order = read_order(&name, &text)?;
        wanted -= order.clubs.len();
        give(started, json!({"command": "import_order", "file": name, "text": text})).await?;
        orders.push(order);
    }
    Ok(orders)
}

/// Numbers of orders that the journal does not know yet.
pub(super) async fn free_numbers(started: &Started) -> anyhow::Result<impl Iterator<Item = String> + use<>> {
    let known = ask(&started.questions, |state| state.order_sequence.clone()).await.context("the bench has ended")?;
    Ok((FIRST_NUMBER..).map(|number| format!("W-{number}")).filter(move |number| !known.contains(number)))
}

/// The order's text with its first `clubs` clubs only.
pub(super) fn shorten(text: &str, clubs: usize) -> String {
    text.split("[[club]]").take(clubs + 1).collect::<Vec<_>>().join("[[club]]")
}

pub(super) async fn give(started: &Started, json: serde_json::Value) -> anyhow::Result<()> {
    let (reply, answer) = oneshot::channel();
    if started.commands.send(CommandRequest { json, reply }).await.is_err() {
        bail!("the bench has ended");
    }
    answer.await?.map(|_| ()).map_err(|reason| anyhow!(reason))
}

/// The same orders as the builder reads them off his tickets.
pub(super) fn order_plans(orders: &[Order]) -> Vec<OrderPlan> {
    orders.iter().map(order_plan).collect()
}

pub(super) fn order_plan(order: &Order) -> OrderPlan {
    OrderPlan {
        order: order.number.clone(),
        ticket: Ticket::Order(order.number.clone()).code(),
        clubs: order.clubs.iter().map(club_plan).collect(),
    }
}

fn club_plan(club: &ClubSpec) -> ClubPlan {
    let aim =
        |characteristic, usual: f64| club.target(characteristic).and_then(|row| row.target.value).unwrap_or(usual);
    // What a repair order does not say of head and shaft (invented).
    let [head_g, shaft_g] = match club.kind {
        ClubKind::Driver => [200.0, 60.0],
        ClubKind::Fairway => [212.0, 65.0],
        ClubKind::Hybrid => [232.0, 80.0],
        ClubKind::Iron => [270.0, 115.0],
        ClubKind::Wedge => [286.0, 115.0],
        ClubKind::Putter => [350.0, 120.0],
    };
    ClubPlan {
        club: club.id.clone(),
        ticket: Ticket::Club(club.token.clone()).code(),
        kind: match club.kind {
            ClubKind::Driver => SimulatedKind::Driver,
            ClubKind::Fairway => SimulatedKind::FairwayWood,
            ClubKind::Hybrid => SimulatedKind::Hybrid,
            ClubKind::Iron => SimulatedKind::Iron,
            ClubKind::Wedge => SimulatedKind::Wedge,
            ClubKind::Putter => SimulatedKind::Putter,
        },
        head_mass_g: aim(Characteristic::HeadMass, head_g),
        shaft_mass_g: aim(Characteristic::ShaftMass, shaft_g),
        grip_mass_g: aim(Characteristic::GripMass, 50.0),
        length_mm: club.length_mm(),
        swing_weight_points: aim(Characteristic::SwingWeight, 32.0),
        loft_deg: aim(Characteristic::Loft, 10.5),
        lie_deg: aim(Characteristic::Lie, 58.0),
    }
}
