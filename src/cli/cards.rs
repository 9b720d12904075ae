//! `cards`: the cards that lie at the bench, to print and cut out.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;

use super::export::PaperName;
use super::print;
use crate::output::sheet;
use crate::work_order::order::is_order_number;
use crate::work_order::ticket::Ticket;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// A card for this person, by the mark that stands in records afterwards, such as K7; may be given again
    #[arg(long, value_name = "WHO")]
    who: Vec<String>,
    /// A ticket for this order; may be given again
    #[arg(long, value_name = "NUMBER")]
    order: Vec<String>,
    /// The paper
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    paper: PaperName,
    /// Into this file (PDF)
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

pub(crate) fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let orders = arguments.order.iter().map(|number| {
        if !is_order_number(number) {
            bail!("{number} is no order number: capitals, digits and dashes, such as W-1042");
        }
        Ok(Ticket::Order(number.clone()))
    });
    let people = arguments.who.iter().map(|who| {
        let ticket = Ticket::Operator(who.clone());
        // A card that a scanner cannot send back the same is worth nothing.
        if Ticket::parse(&ticket.code()).as_ref() != Some(&ticket) || !who.chars().all(is_printed) {
            bail!("{who} cannot stand on a card: letters, digits and dashes, such as K7");
        }
        Ok(ticket)
    });
    let mut tickets = Ticket::of_the_bench();
    tickets.extend(people.chain(orders).collect::<anyhow::Result<Vec<_>>>()?);
    print::to_file(&arguments.out, &sheet::cards(&tickets, arguments.paper.into())?)?;
    Ok(ExitCode::SUCCESS)
}

fn is_printed(c: char) -> bool {
    c.is_ascii_alphanumeric() || c == '-'
}
