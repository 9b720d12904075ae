//! A label for a part of the stock: its number and its weight, for eye and scanner.

use super::canvas::{Canvas, Ink, Style};
use crate::output::part_view::NumberedPartView;

/// Width and height of a label in millimetres.
pub(super) const SIZE_MM: (f64, f64) = (50.0, 20.0);
/// Side of the matrix code with its quiet zone.
const CODE: f64 = 20.0;

/// Draws the label.
pub(super) fn draw(canvas: &mut Canvas<'_>, part: &NumberedPartView) {
    let (width, _) = SIZE_MM;
    canvas.matrix_code((0.0, 0.0), CODE, &part.code);
    let (x, room) = (CODE, width - CODE - 1.5);
    canvas.text_within((x, 6.2), room, &part.part, Style::of(14.0).bold());
    canvas.text_within((x, 10.2), room, &format!("{} {:.2} g", part.kind, part.mass_g), Style::of(8.5).bold());
    let facts = &part.facts;
    let made_for = (!facts.clubs.is_empty()).then(|| format!("for {}", facts.clubs.join(", ")));
    let words: Vec<&str> = [facts.model.as_deref(), made_for.as_deref()].into_iter().flatten().collect();
    canvas.text_within((x, 13.6), room, &words.join(", "), Style::of(7.0));
    let drawer = facts.drawer.as_ref().map(|drawer| format!("drawer {drawer}"));
    let lot = facts.lot.as_ref().map(|lot| format!("lot {lot}"));
    let words: Vec<&str> = [drawer.as_deref(), lot.as_deref()].into_iter().flatten().collect();
    canvas.text_within((x, 17.0), room, &words.join(", "), Style::of(7.0).ink(Ink::Grey));
}
