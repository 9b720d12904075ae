//! The page of a set: every club of an order with its main values, side by side.

use super::canvas::{Align, Canvas, Ink, Style};
use super::club_page::EDGE;
use super::fonts::STAND_IN;
use super::marks::Strip;
use super::rows::{Row, rows};
use super::{Print, Subject};
use crate::club::characteristic::Characteristic;
use crate::output::times::minute;
use crate::work_order::record::ClubState;
use crate::work_order::ticket::Ticket;

/// More clubs go on a further page.
pub(super) const CLUBS_ON_A_PAGE: usize = 14;
/// What a set is compared by, the first ones first; as many as fit are shown.
const COMPARED: [Characteristic; 9] = [
    Characteristic::Length,
    Characteristic::SwingWeight,
    Characteristic::TotalMass,
    Characteristic::Loft,
    Characteristic::Lie,
    Characteristic::Frequency,
    Characteristic::MoiButt,
    Characteristic::HeadMass,
    Characteristic::BalancePoint,
];
/// Columns of values.
const COLUMNS: usize = 5;
/// Side of the matrix code with its quiet zone.
const CODE: f64 = 30.0;

/// Draws the page.
pub(super) fn draw(canvas: &mut Canvas<'_>, subjects: &[Subject], print: &Print) {
    let Some(first) = subjects.first() else { return };
    let (page_width, page_height) = print.paper.size_mm();
    let width = page_width - 2.0 * EDGE;
    header(canvas, width, first, subjects);
    let views: Vec<Vec<Row>> = subjects.iter().map(|subject| rows(&subject.club, print.lengths)).collect();
    let shown: Vec<Characteristic> = COMPARED
        .into_iter()
        .filter(|wanted| views.iter().flatten().any(|row| row.view.characteristic == wanted.name()))
        .take(COLUMNS)
        .collect();
    let (names, top) = (36.0, 66.0);
    let column = (width - names) / f64::from(u8::try_from(shown.len().max(3)).unwrap_or(5));
    let places: Vec<f64> =
        (0..shown.len()).map(|n| EDGE + names + column * f64::from(u8::try_from(n).unwrap_or(0))).collect();
    for (characteristic, x) in shown.iter().zip(&places) {
        canvas.text((*x, top - 1.4), characteristic.label(), Style::of(8.0).ink(Ink::Grey));
    }
    canvas.line((EDGE, top), (EDGE + width, top), 0.4, Ink::Black);
    let count = f64::from(u8::try_from(subjects.len()).unwrap_or(14));
    let row = ((page_height - EDGE - 16.0 - top) / count).clamp(12.0, 17.0);
    let mut y = top;
    for (number, (subject, views)) in subjects.iter().zip(&views).enumerate() {
        if number % 2 == 1 {
            canvas.rectangle((EDGE, y), (width, row), Ink::Row);
        }
        canvas.text_within((EDGE + 1.0, y + row * 0.44), names - 2.0, &subject.club.spec.name, Style::of(10.5).bold());
        let state = match subject.club.state {
            ClubState::Finished => "finished",
            ClubState::Waiting => "not begun",
            ClubState::Aside => "put aside",
            ClubState::InWork => "in work",
        };
        // Of a finished club alone an order can have changed since.
        let (words, size) = if subject.club.changed_since().is_empty() {
            (format!("{}, {state}", subject.club.spec.id), 7.0)
        } else {
            (format!("{}: order changed since", subject.club.spec.id), 6.0)
        };
        canvas.text_within((EDGE + 1.0, y + row * 0.44 + 3.8), names - 2.0, &words, Style::of(size).ink(Ink::Grey));
        for (characteristic, x) in shown.iter().zip(&places) {
            if let Some(of) = views.iter().find(|row| row.view.characteristic == characteristic.name()) {
                cell(canvas, (*x, y), (column - 4.0, row), of);
            }
        }
        y += row;
    }
    canvas.line((EDGE, y), (EDGE + width, y), 0.4, Ink::Black);
    let foot = page_height - EDGE - 8.0;
    let small = Style::of(6.8).ink(Ink::Grey);
    canvas.line((EDGE, foot), (EDGE + width, foot), 0.4, Ink::Black);
    canvas.text(
        (EDGE, foot + 4.0),
        "Each club has its own sheet with steps, uncertainties and its place in the chain.",
        small,
    );
    let printed = format!("{}, printed {}", print.bench, minute(print.printed_us, &print.zone));
    canvas.text_within((EDGE + width, foot + 4.0), width * 0.4, &printed, small.align(Align::Right));
    if canvas.stood_in() {
        let words = format!("{STAND_IN} stands for a character this font does not have: print with --font FILE");
        canvas.text((EDGE + width, foot + 7.4), &words, small.align(Align::Right).ink(Ink::Black));
    }
}

fn header(canvas: &mut Canvas<'_>, width: f64, first: &Subject, subjects: &[Subject]) {
    canvas.rectangle((EDGE, EDGE), (width, 9.0), Ink::Black);
    canvas.text((EDGE + 3.0, EDGE + 6.2), "SET SHEET", Style::of(10.0).bold().ink(Ink::White));
    let style = Style::of(13.0).bold().ink(Ink::White).align(Align::Right);
    canvas.text_within((EDGE + width - 3.0, EDGE + 6.5), width * 0.7, &first.order.number, style);
    let text_width = width - CODE - 4.0;
    let title = first.order.player.as_deref().unwrap_or(&first.order.number);
    let size = [26.0, 20.0, 15.0, 12.0]
        .into_iter()
        .find(|size| canvas.width(title, Style::of(*size).bold()) <= text_width)
        .unwrap_or(12.0);
    canvas.paragraph((EDGE, EDGE + 20.0), text_width, 2, title, Style::of(size).bold());
    let finished = subjects.iter().filter(|subject| subject.club.state == ClubState::Finished).count();
    let words = format!("{finished} of {} clubs finished", subjects.len());
    canvas.text((EDGE, EDGE + 29.0), &words, Style::of(11.0));
    if let Some(due) = &first.order.due {
        canvas.text_within(
            (EDGE, EDGE + 34.0),
            text_width,
            &format!("promised for {due}"),
            Style::of(9.0).ink(Ink::Grey),
        );
    }
    let corner = (EDGE + width - CODE + 3.0, EDGE + 9.5);
    canvas.matrix_code(corner, CODE, &Ticket::Order(first.order.number.clone()).code());
    let caption = Style::of(6.5).ink(Ink::Grey).align(Align::Centre);
    canvas.text((corner.0 + CODE / 2.0, corner.1 + CODE), "scan to open the order", caption);
}

/// One value: as built, its strip, its deviation.
fn cell(canvas: &mut Canvas<'_>, at: (f64, f64), size: (f64, f64), Row { view, on_the_way, .. }: &Row) {
    let out = matches!(view.verdict, Some("under" | "over"));
    let ink = if out { Ink::Alarm } else { Ink::Black };
    let Some(text) = &view.text else {
        let asked = view.target_text.as_deref().unwrap_or_default();
        canvas.text_whole((at.0, at.1 + size.1 * 0.44), size.0, asked, Style::of(7.5).ink(Ink::Grey));
        if let Some(way) = on_the_way {
            let words = format!("{} {}", way.text, way.why);
            canvas.text_within((at.0, at.1 + size.1 * 0.8), size.0, &words, Style::of(6.5).ink(Ink::Grey));
        }
        return;
    };
    canvas.text_within((at.0, at.1 + size.1 * 0.36), size.0, text, Style::of(10.0).bold().ink(ink));
    if let Some(strip) = Strip::of(view) {
        strip.draw(canvas, (at.0, at.1 + size.1 * 0.4), (size.0, size.1 * 0.36), view);
    }
    if let Some(deviation) = &view.deviation_text {
        let words = if out { format!("{deviation} {}", view.verdict.unwrap_or_default()) } else { deviation.clone() };
        canvas.text_within((at.0, at.1 + size.1 * 0.92), size.0, &words, Style::of(7.0).ink(ink));
    }
}
