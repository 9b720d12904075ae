//! Cards that lie at the bench: what a scanner reads and what it asks for, ten a page, each as large as a bank card.

use super::canvas::{Canvas, Ink, Style};
use crate::work_order::ticket::Ticket;

/// Width and height of a card in millimetres: ID-1 of ISO/IEC 7810 (85.60 mm × 53.98 mm, from memory).
const SIZE_MM: (f64, f64) = (85.6, 53.98);
const COLUMNS: u8 = 2;
/// Cards on a page of A4 or Letter.
pub(super) const ON_A_PAGE: usize = 10;
/// Side of the matrix code with its quiet zone.
const CODE: f64 = 34.0;

/// Draws the cards of one page of this width, with lines to cut along.
pub(super) fn draw(canvas: &mut Canvas<'_>, page_mm: (f64, f64), tickets: &[Ticket]) {
    let (wide, high) = SIZE_MM;
    let left = (page_mm.0 - f64::from(COLUMNS) * wide) / 2.0;
    // Five rows leave a printer 5 mm and more at both ends of either paper.
    let top = (page_mm.1 - 5.0 * high) / 2.0;
    let (mut x, mut y) = (left, top);
    for ticket in tickets {
        card(canvas, (x, y), ticket);
        x += wide;
        if x + wide > page_mm.0 {
            (x, y) = (left, y + high);
        }
    }
}

fn card(canvas: &mut Canvas<'_>, (x, y): (f64, f64), ticket: &Ticket) {
    let (wide, high) = SIZE_MM;
    canvas.outline(&[(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)], 0.1, Ink::Grey);
    let (what, more) = words(ticket);
    let room = wide - CODE - 10.0;
    canvas.matrix_code((x + 4.0, y + (high - CODE) / 2.0), CODE, &ticket.code());
    let (from, middle) = (x + CODE + 6.0, y + high / 2.0);
    canvas.paragraph((from, middle - 8.0), room, 2, &what, Style::of(18.0).bold());
    canvas.paragraph((from, middle + 9.5), room, 2, more, Style::of(9.0));
    canvas.text_within((from, middle + 18.5), room, &ticket.code(), Style::of(8.0).mono().ink(Ink::Grey));
}

/// What a card says, large and small.
fn words(ticket: &Ticket) -> (String, &'static str) {
    match ticket {
        Ticket::Order(number) => (number.clone(), "opens the order"),
        Ticket::Club(token) => (token.clone(), "opens the club"),
        Ticket::Step(step) => (step.label().to_owned(), "this step is done"),
        Ticket::NextStep => ("next step".to_owned(), "the step that comes next is done"),
        Ticket::Acknowledge => ("cautions read".to_owned(), "those that are shown"),
        Ticket::NextClub => ("next club".to_owned(), "this one is put aside"),
        Ticket::Operator(who) => (who.clone(), "is at the bench"),
        Ticket::Intake(kind) => (format!("{}s in", kind.name()), "each laid down gets a number"),
        Ticket::IntakeEnd => ("stock in, end".to_owned(), "the row is done"),
        Ticket::Part(number) => (number.clone(), "is in the club"),
        Ticket::VoidLast => ("take back".to_owned(), "what was done last: a reading, a step"),
    }
}
