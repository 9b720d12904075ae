//! The page of one club: what was asked for, what came out, how far it is off, who did which step, what went in, and its
//! place in the journal; further pages for what has no room there.

use super::canvas::{Align, At, Canvas, Ink, Style};
use super::flow::{Block, Flow, Part};
use super::fonts::{Fonts, STAND_IN};
use super::marks::{self, Strip};
use super::notes;
use super::rows::{self, Row};
use super::{Print, Subject};
use crate::club::characteristic::Characteristic;
use crate::output::times::{bare_minute, letters, minute};
use crate::output::work_view::CharacteristicView;
use crate::work_order::record::ClubState;
use crate::work_order::steps::Step;
use crate::work_order::ticket::Ticket;

/// Free edge of every page, in millimetres.
pub(super) const EDGE: f64 = 13.0;
/// Side of the matrix code with its quiet zone.
const CODE: f64 = 34.0;
/// Height of a row of the table, at most; a long list or a short page makes it less.
const ROW: (f64, f64) = (6.2, 10.0);
/// Free space behind the table of values.
const GAP: f64 = 5.0;
/// From the edge of the page to the end of what may stand above its foot, in millimetres.
const FOOT: f64 = 17.0;
/// Where the table of values begins.
const TABLE: f64 = 91.0;
/// Height of angles and steps below the table.
const STEPS: f64 = 48.0;
/// Where what goes on begins on a further page.
const FURTHER: f64 = EDGE + 16.0;

/// The pages of a club: its own, and further ones for what has no room there.
pub(super) struct Pages<'a> {
    subject: &'a Subject,
    print: &'a Print,
    rows: Vec<Row>,
    /// Height of a row of the table.
    row: f64,
    /// What went in and what is to be said, a part a page.
    parts: Vec<Part>,
}

impl<'a> Pages<'a> {
    /// Lays a club out.
    pub(super) fn new(fonts: &Fonts, subject: &'a Subject, print: &'a Print) -> Self {
        let (page_width, page_height) = print.paper.size_mm();
        let (width, end) = (page_width - 2.0 * EDGE, page_height - EDGE - FOOT);
        let rows = rows::rows(&subject.club, print.lengths);
        let flow = Flow::new(fonts, width, notes::blocks(fonts, width, subject, print));
        // The rows of the table give way to what stands below them, as far as they can be read then.
        let count = f64::from(u8::try_from(rows.len().max(1)).unwrap_or(u8::MAX));
        let below = end - TABLE - STEPS - GAP;
        let row = ((below - flow.height()) / count).clamp(ROW.0, ROW.1);
        let mut parts = flow.pages(below - row * count, end - FURTHER);
        // It stands behind the cautions where there are any; without them no further page is begun for this alone.
        let last = Flow::new(fonts, width, vec![Block::grey(notes::FIRST)]);
        let room = if parts.len() == 1 { below - row * count } else { end - FURTHER };
        if let Some(part) = parts.last_mut()
            && notes::cautions(&subject.club).is_empty()
            && part.height() + last.height() <= room
        {
            part.add(last);
        }
        Self { subject, print, rows, row, parts }
    }

    /// How many they are.
    pub(super) fn count(&self) -> usize {
        self.parts.len()
    }

    /// Draws one of them, counted from 0.
    pub(super) fn draw(&self, canvas: &mut Canvas<'_>, number: usize) {
        let Self { subject, print, .. } = *self;
        let (page_width, page_height) = print.paper.size_mm();
        let width = page_width - 2.0 * EDGE;
        let top = if number == 0 { self.draw_first(canvas, width) } else { FURTHER };
        self.band(canvas, width, number);
        if let Some(part) = self.parts.get(number) {
            part.draw(canvas, (EDGE, top), width);
        }
        foot(canvas, (EDGE, page_height - EDGE - 11.0), width, subject, print);
    }

    /// What stands on the first page alone; gives its lower end.
    fn draw_first(&self, canvas: &mut Canvas<'_>, width: f64) -> f64 {
        let Self { subject, print, .. } = *self;
        let views: Vec<CharacteristicView> = self.rows.iter().map(|row| row.view.clone()).collect();
        header(canvas, width, subject, print);
        marks::club(canvas, (EDGE, 61.0), &subject.club, &views);
        let repair = rows::is_repair(&subject.club);
        let below = values(canvas, (EDGE, TABLE), (width, self.row), &self.rows, repair) + GAP;
        marks::angles(canvas, (EDGE, below), width * 0.42, &views, subject.club.spec.hand);
        steps(canvas, (EDGE + width * 0.46, below), width * 0.54, subject, print);
        below + STEPS
    }

    /// The band at the top with the club's id, and which page it is where there are several.
    fn band(&self, canvas: &mut Canvas<'_>, width: f64, number: usize) {
        canvas.rectangle((EDGE, EDGE), (width, 9.0), Ink::Black);
        let title = match self.count() {
            1 => "BUILD SHEET".to_owned(),
            count => format!("BUILD SHEET, PAGE {} OF {count}", number + 1),
        };
        canvas.text((EDGE + 3.0, EDGE + 6.2), &title, Style::of(10.0).bold().ink(Ink::White));
        let id = Style::of(13.0).bold().ink(Ink::White).align(Align::Right);
        canvas.text_within((EDGE + width - 3.0, EDGE + 6.5), width * 0.6, &self.subject.club.spec.id, id);
    }
}

fn header(canvas: &mut Canvas<'_>, width: f64, subject: &Subject, print: &Print) {
    let spec = &subject.club.spec;
    let text_width = width - CODE - 4.0;
    // The name is read from afar; a long one gets smaller, then a second line.
    let size = [30.0, 24.0, 19.0, 15.0]
        .into_iter()
        .find(|size| canvas.width(&spec.name, Style::of(*size).bold()) <= text_width)
        .unwrap_or(13.0);
    let name = Style::of(size).bold();
    let after = canvas.paragraph((EDGE, EDGE + 20.0), text_width, 2, &spec.name, name);
    let second = if size > 13.0 { EDGE + 27.5 } else { after + 0.8 };
    let player = subject.order.player.as_deref().map(|player| format!(", for {player}")).unwrap_or_default();
    let words = format!("{}-handed {}{player}", spec.hand.name(), spec.kind.name());
    canvas.text_within((EDGE, second), text_width, &words, Style::of(11.0));
    if let Some(due) = &subject.order.due {
        canvas.text_within(
            (EDGE, second + 5.0),
            text_width,
            &format!("promised for {due}"),
            Style::of(9.0).ink(Ink::Grey),
        );
    }
    state(canvas, (EDGE, EDGE + 37.0), subject, print);
    let corner = (EDGE + width - CODE + 3.0, EDGE + 9.5);
    canvas.matrix_code(corner, CODE, &print.code(&Ticket::Club(spec.token.clone())));
    let caption = Style::of(6.5).ink(Ink::Grey).align(Align::Centre);
    let words = if print.url.is_some() { "opens the record" } else { "scan at the bench" };
    canvas.text((corner.0 + CODE / 2.0, corner.1 + CODE + 0.2), words, caption);
    canvas.text((corner.0 + CODE / 2.0, corner.1 + CODE + 3.0), &spec.token, caption.mono());
}

/// Where the club is: black when it is finished, a frame when it is not.
fn state(canvas: &mut Canvas<'_>, at: At, subject: &Subject, print: &Print) {
    let club = &subject.club;
    let finished = club.finished_at_us.filter(|_| club.state == ClubState::Finished);
    let words = match (finished, club.state) {
        (Some(at_us), _) => format!("FINISHED {}", minute(at_us, &print.zone)),
        (None, ClubState::Waiting) => "NOT BEGUN".to_owned(),
        (None, ClubState::Aside) => "PUT ASIDE, NOT FINISHED".to_owned(),
        (None, _) => "IN WORK, NOT FINISHED".to_owned(),
    };
    let style = Style::of(10.0).bold();
    let width = canvas.width(&words, style) + 6.0;
    if finished.is_some() {
        canvas.rectangle(at, (width, 7.0), Ink::Black);
        canvas.text((at.0 + 3.0, at.1 + 4.9), &words, style.ink(Ink::White));
    } else {
        let (x, y) = at;
        canvas.outline(&[at, (x + width, y), (x + width, y + 7.0), (x, y + 7.0)], 0.5, Ink::Black);
        canvas.text((x + 3.0, y + 4.9), &words, style);
    }
}

/// The table of values; gives its lower end.
///
/// Of a repair, what was received stands beside what is left.
fn values(canvas: &mut Canvas<'_>, at: At, (width, row): (f64, f64), rows: &[Row], is_repair: bool) -> f64 {
    // Of a repair the strip gives way to what was received.
    let received = if is_repair { 22.0 } else { 0.0 };
    let strip = width - 140.0 - received;
    let built = 70.0 + received;
    let columns = [0.0, 33.0, built, built + 25.0, built + 28.0 + strip, built + 49.0 + strip];
    let x = |column: usize| at.0 + columns.get(column).copied().unwrap_or_default();
    let head = Style::of(6.8).ink(Ink::Grey);
    let (built, strip_head) = match is_repair {
        true => ("as left", "target, mark ± U"),
        false => ("as built", "tolerance, target, mark ± U"),
    };
    for (column, words) in ["", "asked for", built, strip_head, "deviation", "measured by"].into_iter().enumerate() {
        canvas.text((x(column), at.1 - 1.2), words, head);
    }
    if is_repair {
        canvas.text((x(2) - received, at.1 - 1.2), "received", head);
    }
    let mut y = at.1;
    canvas.line((at.0, y), (at.0 + width, y), 0.4, Ink::Black);
    for (number, Row { view, on_the_way, received: as_it_came }) in rows.iter().enumerate() {
        if number % 2 == 1 {
            canvas.rectangle((at.0, y), (width, row), Ink::Row);
        }
        let base = y + row / 2.0 + 1.3;
        let out = matches!(view.verdict, Some("under" | "over"));
        let ink = if out { Ink::Alarm } else { Ink::Black };
        canvas.text_whole((x(0) + 1.0, base), 31.0, view.label, Style::of(9.5));
        let asked = view.target_text.as_deref().unwrap_or("\u{2013}");
        canvas.text_whole((x(1), base), 36.0, asked, Style::of(8.5));
        let built = view.text.as_deref().unwrap_or("");
        canvas.text_within((x(2), base), 24.0, built, Style::of(11.0).bold().ink(ink));
        if let Some(way) = on_the_way {
            canvas.text_within((x(2), base - 1.6), 24.0, &way.text, Style::of(7.5).ink(Ink::Grey));
            canvas.text_within((x(2), base + 0.4), 24.0, way.why, Style::of(5.8).ink(Ink::Grey));
        }
        if let Some(came) = as_it_came.as_deref().filter(|_| is_repair) {
            canvas.text_within((x(2) - received, base), received - 1.0, came, Style::of(9.5));
        }
        if let Some(strip_of) = Strip::of(view) {
            strip_of.draw(canvas, (x(3), y), (strip, row), view);
        }
        if let Some(words) = deviation(view) {
            canvas.text_within(
                (x(4), base - if out { 0.9 } else { 0.0 }),
                20.0,
                &words,
                Style::of(9.0).bold().ink(ink),
            );
        }
        if let Some(verdict) = view.verdict.filter(|_| out) {
            canvas.text((x(4), base + 2.1), verdict, Style::of(7.0).bold().ink(ink));
        } else if view.marginal {
            canvas.text((x(4), base + 2.4), "at the limit", Style::of(6.5));
        }
        if let (Some(instrument), Some(u)) = (&view.instrument, view.u) {
            canvas.text_within((x(5), base - 1.2), 20.5, instrument, Style::of(7.2));
            canvas.text_within((x(5), base + 1.7), 20.5, &uncertainty(view, u), Style::of(6.8).ink(Ink::Grey));
        } else {
            canvas.line((x(2), base + 0.8), (x(2) + 21.0, base + 0.8), 0.2, Ink::Line);
        }
        y += row;
    }
    canvas.line((at.0, y), (at.0 + width, y), 0.4, Ink::Black);
    y
}

fn deviation(view: &CharacteristicView) -> Option<String> {
    view.deviation_text.clone()
}

/// Expanded uncertainty (k = 2) in the unit the value is measured in.
fn uncertainty(view: &CharacteristicView, u: f64) -> String {
    let unit = Characteristic::parse(view.characteristic).map_or("", |c| c.dimension().base_unit());
    let decimals = if 2.0 * u < 0.095 { 2 } else { 1 };
    format!("± {:.decimals$} {unit}", 2.0 * u)
}

/// The steps, done ones with time and person, the others with a box to tick.
fn steps(canvas: &mut Canvas<'_>, at: At, width: f64, subject: &Subject, print: &Print) {
    let (x, top) = at;
    canvas.text((x, top + 1.0), "steps", Style::of(6.8).ink(Ink::Grey));
    let head = format!("done ({})", letters(print.printed_us, &print.zone));
    canvas.text((x + width * 0.46, top + 1.0), &head, Style::of(6.8).ink(Ink::Grey));
    canvas.text((x + width * 0.77, top + 1.0), "by", Style::of(6.8).ink(Ink::Grey));
    let mut y = top + 2.4;
    let route = subject.club.spec.route();
    for step in Step::ALL {
        let done = subject.club.steps.iter().rfind(|done| done.step == *step && subject.club.stands(done));
        // A repair has few of them; what was done all the same stands there.
        if done.is_none() && !route.contains(step) {
            continue;
        }
        let corners = [(x, y), (x + 3.0, y), (x + 3.0, y + 3.0), (x, y + 3.0)];
        let base = y + 2.6;
        canvas.outline(&corners, 0.25, Ink::Black);
        let ink = if done.is_some() { Ink::Black } else { Ink::Grey };
        canvas.text((x + 4.5, base), step.label(), Style::of(8.5).ink(ink));
        if let Some(done) = done {
            canvas.polyline(&[(x + 0.5, y + 1.5), (x + 1.3, y + 2.5), (x + 2.7, y + 0.5)], 0.5, Ink::Black);
            canvas.text((x + width * 0.46, base), &bare_minute(done.at_us, &print.zone), Style::of(8.0));
            canvas.text_within(
                (x + width * 0.77, base),
                width * 0.23,
                done.by.as_deref().unwrap_or("\u{2013}"),
                Style::of(8.0),
            );
        }
        y += 4.25;
    }
}

/// Bench, time of printing, and the place in the chain.
pub(super) fn foot(canvas: &mut Canvas<'_>, at: At, width: f64, subject: &Subject, print: &Print) {
    let (x, y) = at;
    let small = Style::of(6.8).ink(Ink::Grey);
    canvas.line(at, (x + width, y), 0.4, Ink::Black);
    let chain = if subject.chain.is_empty() { "no event yet" } else { &subject.chain };
    canvas.text((x, y + 4.0), "chain", small);
    canvas.text((x + 9.0, y + 4.0), chain, Style::of(7.2).mono());
    canvas.text(
        (x, y + 7.6),
        "SHA-256 at the last event of this club; benchscribe records verify proves it from the raw bytes",
        small,
    );
    let printed = format!("{}, printed {}", print.bench, minute(print.printed_us, &print.zone));
    canvas.text_within((x + width, y + 4.0), width - 118.0, &printed, small.align(Align::Right));
    if canvas.stood_in() {
        let words = format!("{STAND_IN} stands for a character this font does not have: print with --font FILE");
        canvas.text((x + width, y + 7.6), &words, small.align(Align::Right).ink(Ink::Black));
    }
}
