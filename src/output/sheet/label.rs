//! A label for a shaft: which club it is, for eye and scanner, until the club is handed over.

use super::canvas::{Canvas, Ink, Style};
use super::{Print, Subject};
use crate::club::characteristic::Characteristic;
use crate::output::text;
use crate::work_order::record::ClubState;
use crate::work_order::ticket::Ticket;

/// Width and height of a label in millimetres.
pub(super) const SIZE_MM: (f64, f64) = (62.0, 24.0);
/// Side of the matrix code with its quiet zone.
const CODE: f64 = 24.0;

/// Draws the label. The code is the club's ticket alone: a scanner at the bench reads it fastest.
pub(super) fn draw(canvas: &mut Canvas<'_>, subject: &Subject, print: &Print) {
    let (width, _) = SIZE_MM;
    let spec = &subject.club.spec;
    canvas.matrix_code((0.0, 0.0), CODE, &Ticket::Club(spec.token.clone()).code());
    let (x, room) = (CODE, width - CODE - 1.5);
    let size = [15.0, 12.0, 10.0]
        .into_iter()
        .find(|size| canvas.width(&spec.id, Style::of(*size).bold()) <= room)
        .unwrap_or(8.5);
    canvas.text_within((x, 6.6), room, &spec.id, Style::of(size).bold());
    canvas.text_within((x, 11.2), room, &format!("{}, {}-handed", spec.name, spec.hand.name()), Style::of(8.5));
    if let Some(player) = &subject.order.player {
        canvas.text_within((x, 15.2), room, &format!("for {player}"), Style::of(8.0));
    }
    canvas.text_within((x, 19.0), room, &values(subject, print), Style::of(8.0).bold());
    canvas.text_within((x, 22.4), room, &spec.token, Style::of(6.5).mono().ink(Ink::Grey));
}

/// Length and swing weight: of a finished club as it was built, before that what was asked for, and so marked.
fn values(subject: &Subject, print: &Print) -> String {
    let club = &subject.club;
    let is_finished = club.state == ClubState::Finished;
    let value = |characteristic: Characteristic| {
        let value = if is_finished {
            club.standing(characteristic)?.filed.value
        } else {
            club.spec.target(characteristic)?.target.value?
        };
        Some(text::value(characteristic, value, print.lengths))
    };
    let values: Vec<String> =
        [Characteristic::Length, Characteristic::SwingWeight].into_iter().filter_map(value).collect();
    match (values.as_slice(), is_finished) {
        ([], _) => String::new(),
        (values, true) => values.join(", "),
        (values, false) => format!("asked {}", values.join(", ")),
    }
}
