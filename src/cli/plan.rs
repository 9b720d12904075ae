//! `plan`: a whole set planned from measured stock; a table with remarks, JSON, or a picture of the steps through the set.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};

use super::access::Where;
use super::{check, print, runtime};
use crate::config::order_file::read_order;
use crate::config::stock_file::read_stock;
use crate::journal::archive::Key;
use crate::output::{plan_view, progression_plot};
use crate::work_order::order::Order;
use crate::work_order::set_plan::{MatchedIn, SetPlan, plan};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// An order file, or with --config or --data the number of an order that is taken in
    order: String,
    /// The measured parts (TOML)
    #[arg(long)]
    stock: PathBuf,
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
    let stock = check::read_text(&arguments.stock)?;
    let stock = read_stock(&arguments.stock.display().to_string(), &stock);
    let stock = stock.map_err(|mistakes| anyhow::anyhow!("the stock has mistakes:\n{mistakes}"))?;
    let matched_in = if arguments.matched_in == "inertia" { MatchedIn::Inertia } else { MatchedIn::SwingWeight };
    let plan = plan(&order, &stock, matched_in).with_context(|| format!("order {} cannot be planned", order.number))?;
    if let Some(file) = &arguments.svg {
        let picture = progression_plot::svg(&format!("order {}", order.number), &plan.series);
        std::fs::write(file, picture).with_context(|| format!("{} cannot be written", file.display()))?;
    }
    if arguments.json {
        print::line(&serde_json::to_string(&plan_view::plan_view(&order.number, &plan))?)?;
    } else {
        table(&plan)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn table(plan: &SetPlan) -> anyhow::Result<()> {
    print::table(&plan_view::HEAD, &plan_view::rows(plan))?;
    plan_view::remarks(plan).iter().try_for_each(|remark| print::line(remark))
}

/// From a file where there is one of that name, else from the bench.
fn order(arguments: &Arguments) -> anyhow::Result<Order> {
    let file = Path::new(&arguments.order);
    if file.is_file() {
        let text = check::read_text(file)?;
        let order = read_order(&arguments.order, &text);
        return order.map_err(|mistakes| anyhow::anyhow!("the order has mistakes:\n{mistakes}"));
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
