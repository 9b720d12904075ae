//! The page of one club: what was asked for, what came out, how far it is off, who did which step, and its place in
//! the journal.

use super::canvas::{Align, At, Canvas, Ink, Style};
use super::fonts::STAND_IN;
use super::marks::{self, Strip};
use super::rows::{self, Row};
use super::{Print, Subject};
use crate::club::characteristic::Characteristic;
use crate::output::adhesive_view::bond_as_made;
use crate::output::record::HandOverOverrideView;
use crate::output::times::{bare_minute, letters, minute, minute_of};
use crate::output::work_view::{self, CharacteristicView, ClubView};
use crate::work_order::adhesive::Override;
use crate::work_order::cautions::cautions as cautions_of;
use crate::work_order::record::{ClubState, StepTakenBack};
use crate::work_order::steps::Step;
use crate::work_order::taking_up::TakenUp;
use crate::work_order::ticket::Ticket;

/// Free edge of every page, in millimetres.
pub(super) const EDGE: f64 = 13.0;
/// Side of the matrix code with its quiet zone.
const CODE: f64 = 34.0;
/// Height of a row of the table, at most; a long list or a short page makes it less.
const ROW: (f64, f64) = (6.2, 10.0);
/// What comes first wherever work can hurt.
const FIRST: &str =
    "Data sheets of adhesive, solvent and component makers, local codes and licensed practice come first.";

/// Draws the page.
pub(super) fn draw(canvas: &mut Canvas<'_>, subject: &Subject, print: &Print) {
    let (page_width, page_height) = print.paper.size_mm();
    let width = page_width - 2.0 * EDGE;
    let view = work_view::club(&subject.club, print.lengths);
    let rows = rows::rows(&subject.club, print.lengths);
    let views: Vec<CharacteristicView> = rows.iter().map(|row| row.view.clone()).collect();
    header(canvas, width, subject, print);
    marks::club(canvas, (EDGE, 61.0), &subject.club, &views);
    let count = f64::from(u8::try_from(rows.len().max(1)).unwrap_or(13));
    let table = 91.0;
    // Below the table: angles and steps (48 mm), notes (24 mm), the foot (17 mm).
    let row = ((page_height - EDGE - 17.0 - 24.0 - 48.0 - table - 6.0) / count).clamp(ROW.0, ROW.1);
    let below = values(canvas, (EDGE, table), (width, row), &rows, rows::is_repair(&subject.club)) + 5.0;
    marks::angles(canvas, (EDGE, below), width * 0.42, &views, subject.club.spec.hand);
    steps(canvas, (EDGE + width * 0.46, below), width * 0.54, subject, print);
    notes(canvas, (EDGE, below + 48.0), (width, page_height - EDGE - 17.0), subject, &view, print);
    foot(canvas, (EDGE, page_height - EDGE - 11.0), width, subject, print);
}

fn header(canvas: &mut Canvas<'_>, width: f64, subject: &Subject, print: &Print) {
    let spec = &subject.club.spec;
    canvas.rectangle((EDGE, EDGE), (width, 9.0), Ink::Black);
    canvas.text((EDGE + 3.0, EDGE + 6.2), "BUILD SHEET", Style::of(10.0).bold().ink(Ink::White));
    let id = Style::of(13.0).bold().ink(Ink::White).align(Align::Right);
    canvas.text_within((EDGE + width - 3.0, EDGE + 6.5), width * 0.7, &spec.id, id);
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
    let built = if is_repair { "as left" } else { "as built" };
    for (column, words) in
        ["", "asked for", built, "tolerance, target, mark ± U", "deviation", "measured by"].into_iter().enumerate()
    {
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

/// What does not agree, what was taken back, and what to take care of in the steps that are still to come.
fn notes(canvas: &mut Canvas<'_>, at: At, (width, end): (f64, f64), subject: &Subject, view: &ClubView, print: &Print) {
    let style = Style::of(7.4);
    let mut y = at.1;
    let fits = |y: f64, lines: f64| y + lines * 3.4 < end;
    if let Some(words) = subject.club.order_words().filter(|_| fits(y, 2.0)) {
        y = canvas.paragraph((at.0, y), width, 2, &format!("Note: {words}."), style.bold());
    }
    for over in &subject.club.hand_over_overrides {
        if fits(y, 3.0) {
            let words = format!("Decided: {}.", HandOverOverrideView::of(over).text());
            y = canvas.paragraph((at.0, y), width, 3, &words, style.bold());
        }
    }
    for TakenUp { decided: Override { name, why, .. }, .. } in &subject.club.taken_up {
        if fits(y, 2.0) {
            let words = format!("Taken up again after it was finished, by {name}: {why}.");
            y = canvas.paragraph((at.0, y), width, 2, &words, style.bold());
        }
    }
    for StepTakenBack { done, why, at_us, by } in &subject.club.steps_taken_back {
        if fits(y, 2.0) {
            let by = by.as_deref().map(|by| format!(", by {by}")).unwrap_or_default();
            let (marked, taken) = (bare_minute(done.at_us, &print.zone), minute(*at_us, &print.zone));
            let words = format!("Taken back {taken}{by}: \"{}\", marked done {marked} ({why}).", done.step.label());
            y = canvas.paragraph((at.0, y), width, 2, &words, style);
        }
    }
    for (bond, is_last) in subject
        .club
        .earlier_bonds
        .iter()
        .map(|bond| (bond, false))
        .chain(subject.club.bond.iter().map(|bond| (bond, true)))
    {
        let how = if is_last { "Bonded" } else { "Before that bonded" };
        let mut words = format!("{how} with batch {} of {}", bond.batch.name, bond.batch.product);
        if let Some(lot) = &bond.batch.lot {
            words += &format!(", lot {lot}");
        }
        if is_last {
            words += &format!("; not to be played before {}", minute_of(&bond_as_made(bond).not_before, &print.zone));
        }
        if let Some(decision) = &bond.overridden {
            words += &format!("; decided by {}: its cure was not waited for ({})", decision.name, decision.why);
        }
        if fits(y, 2.0) {
            let style = if bond.overridden.is_some() { style.bold() } else { style };
            y = canvas.paragraph((at.0, y), width, 2, &format!("{words}."), style);
        }
    }
    for suspect in &view.suspects {
        if fits(y, 2.0) {
            y = canvas.paragraph((at.0, y), width, 2, &format!("Does not agree: {}", suspect.reason), style.bold());
        }
    }
    if fits(y, 2.0)
        && let Some(line) = earlier(canvas, width, style, &rows::earlier_values(&subject.club, print.lengths))
    {
        y = canvas.paragraph((at.0, y), width, 2, &line, style.ink(Ink::Grey));
    }
    let is_done = |step: &Step| subject.club.has_done(*step);
    let spec = &subject.club.spec;
    let mut cautions: Vec<&str> = Vec::new();
    for caution in spec.route().iter().filter(|step| !is_done(step)).flat_map(|step| cautions_of(*step, spec)) {
        if !cautions.contains(&caution.words()) {
            cautions.push(caution.words());
        }
    }
    if subject.club.state != ClubState::Finished {
        for caution in cautions {
            if fits(y, 2.0) {
                y = canvas.paragraph((at.0, y), width, 2, &format!("Take care. {caution}"), style);
            }
        }
    }
    if fits(y, 1.0) {
        canvas.paragraph((at.0, y), width, 1, FIRST, style.ink(Ink::Grey));
    }
}

/// Values that do not count any more, as many as two lines hold; the others are counted. The newest ones stand there first.
fn earlier(canvas: &Canvas<'_>, width: f64, style: Style, values: &[String]) -> Option<String> {
    let line = |shown: usize| {
        let more = values.len() - shown;
        let rest = if more == 0 { String::new() } else { format!("; and {more} more, which the journal keeps") };
        let newest: Vec<&str> = values.iter().rev().take(shown).map(String::as_str).collect();
        format!("Earlier values: {}{rest}.", newest.join("; "))
    };
    // Lines break between words, so two of them hold a little less than twice the width.
    let holds = |shown: &usize| canvas.width(&line(*shown), style) <= 1.85 * width;
    let shown = (1..=values.len().min(MOST_EARLIER)).rev().find(holds);
    let shown = shown.or_else(|| (!values.is_empty()).then_some(1))?;
    Some(line(shown))
}

/// Earlier values on a sheet, at most.
const MOST_EARLIER: usize = 12;

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
