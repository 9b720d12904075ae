//! A whole day for the demo: the orders that lie in the tray, the one that is brought to the door, the adhesive.

use anyhow::Context as _;
use serde_json::{Value, json};
use simulators::DayPlan;

use super::plan;
use crate::bench::Started;
use crate::config::order_file::read_order;
use crate::journal::event::rfc3339;
use crate::work_order::order::Order;

/// Who waits at the door, and what has time: numbers and days in the texts are replaced.
const DOOR: &str = include_str!("../../../config/orders/w-1043.toml");
const DOOR_NUMBER: &str = "W-1043";
const LOW: &str = include_str!("../../../config/orders/w-1044.toml");
const LOW_NUMBER: &str = "W-1044";
/// The words of the set's promise.
const PROMISE: &str = "today, before the evening ferry";
/// The day that the order which has time is promised for.
const LOW_DAY: &str = "2026-12-24";
/// How many clubs of the set are built.
const CLUBS: usize = 3;
/// The adhesive, whose times are short enough to be watched.
const ADHESIVE: &str = include_str!("../../../config/adhesives/dune-flash.toml");
const DAY_US: i64 = 24 * 3600 * 1_000_000;

/// A day that has begun.
pub(super) struct Day {
    /// Its orders, as they will be done.
    pub(super) orders: Vec<Order>,
    /// What the builder knows of them.
    pub(super) plan: DayPlan,
    /// The order that is brought: number and text.
    pub(super) brought: (String, String),
}

/// Takes the orders of the morning in, the one that has time first, and enters the adhesive.
pub(super) async fn begin(started: &Started, now_us: i64) -> anyhow::Result<Day> {
    let mut numbers = plan::free_numbers(started).await?;
    let mut number = || numbers.next().context("all numbers of orders are used up");
    let day = |at_us: i64| rfc3339(at_us).chars().take(10).collect::<String>();
    let (set, door, low) = (number()?, number()?, number()?);
    let promise = format!("{} 23:00", day(now_us));
    let set_text = plan::shorten(&plan::ORDER.replace(plan::NUMBER, &set).replace(PROMISE, &promise), CLUBS);
    let door_text = DOOR.replace(DOOR_NUMBER, &door);
    let low_text = LOW.replace(LOW_NUMBER, &low).replace(LOW_DAY, &day(now_us + DAY_US));
    plan::give(started, json!({"command": "enter_adhesive", "file": "dune-flash.toml", "text": ADHESIVE})).await?;
    for (name, text) in [(&low, &low_text), (&set, &set_text)] {
        plan::give(started, json!({"command": "import_order", "file": name, "text": text})).await?;
    }
    let (set, low) = (read_order(&set, &set_text)?, read_order(&low, &low_text)?);
    let order = read_order(&door, &door_text)?;
    let plan = DayPlan { orders: vec![plan::order_plan(&low), plan::order_plan(&set)], door: plan::order_plan(&order) };
    Ok(Day { orders: vec![order, set, low], plan, brought: (door, door_text) })
}

/// A fresh batch of the adhesive.
pub(super) fn batch() -> Value {
    json!({"command": "mix_batch", "adhesive": "dune-flash", "temperature": "21 °C", "lot": "F-12"})
}
