//! Codes on our own tickets and cards, as a scanner sends them.
//!
//! They use only capitals, digits and `/ -`, so that every linear and matrix code can carry them:
//! `BS1/O/W-1042` an order, `BS1/C/4F21…` a club by its token or its id, `BS1/S/BOND` a step done, `BS1/D` the
//! step that comes next done, `BS1/A` the cautions shown were read, `BS1/N` the next club, `BS1/W/K7` who is at the bench, `BS1/V` take the last reading
//! back, `BS1/I/HEAD` a stock intake of heads, `BS1/I/END` its end, `BS1/P/H-12` a numbered part.

use super::part_stock::PartKind;
use super::steps::Step;

/// What a scanned code asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum Ticket {
    /// Open this order.
    Order(String),
    /// Open the club with this token, or with this id.
    Club(String),
    /// This step is done.
    Step(Step),
    /// The step that comes next is done.
    NextStep,
    /// The cautions that are shown were read.
    Acknowledge,
    /// Put the club aside and open the next one of its order.
    NextClub,
    /// This person is at the bench.
    Operator(String),
    /// Parts of this kind are laid down one after another.
    Intake(PartKind),
    /// That is done.
    IntakeEnd,
    /// This numbered part goes into the club.
    Part(String),
    /// The last reading does not count.
    VoidLast,
}

const MARK: &str = "BS1/";

impl Ticket {
    /// Reads a code; `None` for anything that is not one of ours.
    #[must_use]
    pub fn parse(code: &str) -> Option<Self> {
        let code = code.trim();
        // Printed codes may carry the address of the page in front, so that a telephone opens the record.
        let is_address = code.starts_with("http://") || code.starts_with("https://");
        let behind = if is_address { code.split_once("/BS1/").map(|(_, rest)| rest) } else { None };
        let rest = behind.or_else(|| code.strip_prefix(MARK))?;
        match rest.split_once('/') {
            Some(("O", order)) if !order.is_empty() => Some(Self::Order(order.to_owned())),
            // Somebody may write a club's id there, `W-1042/1`: it has capitals, a token has none.
            Some(("C", club)) if club.contains('/') => Some(Self::Club(club.to_owned())),
            Some(("C", token)) if !token.is_empty() => Some(Self::Club(token.to_ascii_lowercase())),
            Some(("S", step)) => Step::parse(&step.to_ascii_lowercase().replace('-', "_")).map(Self::Step),
            Some(("W", who)) if !who.is_empty() => Some(Self::Operator(who.to_owned())),
            Some(("I", "END")) => Some(Self::IntakeEnd),
            Some(("I", kind)) => PartKind::parse(&kind.to_ascii_lowercase()).map(Self::Intake),
            Some(("P", part)) if !part.is_empty() => Some(Self::Part(part.to_ascii_uppercase())),
            None if rest == "D" => Some(Self::NextStep),
            None if rest == "A" => Some(Self::Acknowledge),
            None if rest == "N" => Some(Self::NextClub),
            None if rest == "V" => Some(Self::VoidLast),
            _ => None,
        }
    }

    /// What every bench has a card for: the steps, and what else is done with a scanner in hand.
    #[must_use]
    pub fn of_the_bench() -> Vec<Self> {
        let steps = Step::ALL.iter().copied().map(Self::Step);
        let deeds = [Self::NextStep, Self::Acknowledge, Self::NextClub, Self::VoidLast];
        let intakes = PartKind::ALL.iter().copied().map(Self::Intake);
        deeds.into_iter().chain(steps).chain(intakes).chain([Self::IntakeEnd]).collect()
    }

    /// The text to print.
    #[must_use]
    pub fn code(&self) -> String {
        match self {
            Self::Order(order) => format!("{MARK}O/{order}"),
            Self::Club(token) => format!("{MARK}C/{}", token.to_ascii_uppercase()),
            Self::Step(step) => format!("{MARK}S/{}", step.name().to_ascii_uppercase().replace('_', "-")),
            Self::Operator(who) => format!("{MARK}W/{who}"),
            Self::Intake(kind) => format!("{MARK}I/{}", kind.name().to_ascii_uppercase()),
            Self::IntakeEnd => format!("{MARK}I/END"),
            Self::Part(part) => format!("{MARK}P/{part}"),
            Self::NextStep => format!("{MARK}D"),
            Self::Acknowledge => format!("{MARK}A"),
            Self::NextClub => format!("{MARK}N"),
            Self::VoidLast => format!("{MARK}V"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_printed_is_what_is_read() {
        let steps = Step::ALL.iter().map(|step| Ticket::Step(*step));
        let others = [
            Ticket::Order("W-1042".into()),
            Ticket::Club("4f21ab".into()),
            Ticket::Operator("K7".into()),
            Ticket::NextStep,
            Ticket::Acknowledge,
            Ticket::NextClub,
            Ticket::VoidLast,
        ];
        for ticket in steps.chain(others) {
            assert_eq!(Ticket::parse(&ticket.code()), Some(ticket.clone()), "{}", ticket.code());
            let with_address = format!("http://bench.local:7311/{}", ticket.code());
            assert_eq!(Ticket::parse(&with_address), Some(ticket.clone()), "{with_address}");
        }
        for other in ["", "BS1/", "BS1/X/1", "BS1/S/FLY", "4006381333931", "BS1/O/", "BS1/D/", "BS1/n", "BS1/V/1"] {
            assert_eq!(Ticket::parse(other), None, "{other}");
        }
    }
}
