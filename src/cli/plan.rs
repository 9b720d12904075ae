//! `plan`: a whole set planned from measured stock; a table with remarks, JSON, or a picture of the steps through the set.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use serde_json::json;

use super::access::Where;
use super::{check, print, runtime};
use crate::config::order_file::{OrderFormat, read_orders};
use crate::config::stock_file::{MOST_PARTS, read_stock};
use crate::journal::archive::Key;
use crate::output::language::Language;
use crate::output::text::Lengths;
use crate::output::{plan_view, progression_plot};
use crate::work_order::order::Order;
use crate::work_order::set_plan::{MatchedIn, SetPlan, plan};
use crate::work_order::stock::Stock;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// An order file (TOML, JSON or CSV by the ending of its name), or with --config or --data the number of an order that is taken in
    order: String,
    /// The measured parts (TOML); without it the numbered parts of the bench's stock
    #[arg(long)]
    stock: Option<PathBuf>,
    /// Puts the parts of the plan into the clubs: their records name them
    #[arg(long = "use", conflicts_with = "stock")]
    puts: bool,
    /// What the set is matched in
    #[arg(long = "match", value_parser = ["swing-weight", "inertia"], default_value = "swing-weight")]
    matched_in: String,
    /// One JSON document instead of a table
    #[arg(long)]
    json: bool,
    /// Writes a picture of the steps through the set (SVG)
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    #[command(flatten)]
    place: Where,
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let order = order(arguments)?;
    let stock = stock(arguments)?;
    let matched_in = if arguments.matched_in == "inertia" { MatchedIn::Inertia } else { MatchedIn::SwingWeight };
    let plan = plan(&order, &stock, matched_in).with_context(|| format!("order {} cannot be planned", order.number))?;
    if let Some(file) = &arguments.svg {
        let picture =
            progression_plot::svg(&format!("order {}", order.number), &plan.series, Language::English, Lengths::Inches);
        std::fs::write(file, picture).with_context(|| format!("{} cannot be written", file.display()))?;
    }
    if arguments.puts {
        put(arguments, &plan)?;
    }
    if arguments.json {
        print::line(&serde_json::to_string(&plan_view::plan_view(&order.number, &plan))?)?;
    } else {
        table(&plan)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// From the file, or the numbered parts of the bench that can be planned with.
fn stock(arguments: &Arguments) -> anyhow::Result<Stock> {
    if let Some(file) = &arguments.stock {
        let stock = read_stock(&file.display().to_string(), &check::read_text(file)?);
        return stock.map_err(|mistakes| anyhow::anyhow!("the stock has mistakes:\n{mistakes}"));
    }
    if !arguments.place.is_given() {
        bail!("which parts are there? Give a file of measured parts (--stock), or the bench (--config or --data)");
    }
    let access = arguments.place.access()?;
    let (_, state) = runtime()?.block_on(access.at_hand())?;
    let (stock, lacking) = state.part_stock.for_planning();
    for (part, what) in &lacking {
        print::say(&format!("{part} is left out: {what} is not known (`stock describe {part}`)"));
    }
    for (kind, parts) in [("head", stock.heads.len()), ("shaft", stock.shafts.len()), ("grip", stock.grips.len())] {
        if parts == 0 {
            bail!("no {kind} in stock can be planned with: weigh some with `stock intake {kind}`");
        }
        if parts > MOST_PARTS {
            bail!("{parts} {kind}s are in stock, a plan takes at most {MOST_PARTS}: withdraw some, or give a file");
        }
    }
    Ok(stock)
}

fn put(arguments: &Arguments, plan: &SetPlan) -> anyhow::Result<()> {
    let uses: Vec<_> = plan
        .clubs
        .iter()
        .flat_map(|club| club.parts.iter().map(|part| json!({"club": club.club, "part": part})))
        .collect();
    let access = arguments.place.access()?;
    runtime()?.block_on(access.command(&json!({"command": "use_parts", "uses": uses})))?;
    print::say("the parts are in their clubs; label and record name them");
    Ok(())
}

fn table(plan: &SetPlan) -> anyhow::Result<()> {
    print::table(&plan_view::HEAD, &plan_view::rows(plan))?;
    print::line("")?;
    print::table(&plan_view::VALUES_HEAD, &plan_view::value_rows(plan, Lengths::Millimetres))?;
    print::line(&plan_view::proof(plan))?;
    plan_view::remarks(plan).iter().try_for_each(|remark| print::line(remark))
}

/// From a file where there is one of that name, else from the bench.
fn order(arguments: &Arguments) -> anyhow::Result<Order> {
    let file = Path::new(&arguments.order);
    if file.is_file() {
        let text = check::read_text(file)?;
        let orders = read_orders(&arguments.order, &text, OrderFormat::of(&arguments.order));
        let mut orders = orders.map_err(|mistakes| anyhow::anyhow!("the order has mistakes:\n{mistakes}"))?;
        let numbers: Vec<&str> = orders.iter().map(|order| order.number.as_str()).collect();
        if orders.len() > 1 {
            bail!(
                "{} holds the orders {}, and a plan is made for one: import them and name one of them",
                arguments.order,
                numbers.join(", ")
            );
        }
        return orders.pop().with_context(|| format!("{} holds no order", arguments.order));
    }
    if !arguments.place.is_given() {
        bail!(
            "there is no order file {}; for an order that is taken in give --config FILE or --data DIR",
            arguments.order
        );
    }
    let access = arguments.place.access()?;
    let state = runtime()?.block_on(async {
        let (reader, mut state) = access.at_hand().await?;
        if !state.orders.contains_key(&arguments.order)
            && let Some(place) = reader.order_of(Key::Order(&arguments.order)).await?
        {
            reader.recall(&mut state, &place).await?;
        }
        anyhow::Ok(state)
    })?;
    let order = state.orders.get(&arguments.order).cloned();
    order.with_context(|| format!("there is no order {}; `orders list` shows what there is", arguments.order))
}
