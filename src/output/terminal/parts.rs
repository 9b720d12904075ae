//! The parts of the live view as lines of a given width. What is said, and when, is as on the page.

use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};

use super::drawing::{Content, Digits, Link, Part, View};
use super::known::{Freshness, is_hand, main_reading};
use super::message::{Capture, Club, Instrument, Reading, State};
use super::scale::{Scale, scale};
use super::words::{phase_advice, phase_glyph, split_unit, turn_of, verdict_glyph};
use crate::output::times::second_of;

/// Shown instead of digits that are too old.
const DASHES: &str = "– – –";
/// Wide enough for the label of a line of what to do.
const LABEL: usize = 9;

const BOLD: Style = Style::new().add_modifier(Modifier::BOLD);
const QUIET: Style = Style::new().add_modifier(Modifier::DIM);
const ALARM: Style = Style::new().fg(Color::Yellow).add_modifier(Modifier::BOLD);

/// What the large panel is about.
struct Shown<'a> {
    instrument: Option<&'a Instrument>,
    reading: Option<&'a Reading>,
    fresh: Freshness,
    /// Nothing lies on the instrument: the next instruction is called out instead of digits.
    calling: bool,
}

/// All parts from top to bottom.
pub(super) fn parts(view: &View<'_>, width: u16) -> Vec<Part> {
    let width = usize::from(width);
    let state = view.known.state();
    let instrument = view.known.focus();
    let shown = Shown {
        instrument,
        reading: instrument.and_then(main_reading),
        fresh: instrument.map_or(Freshness::Gone, |instrument| view.known.freshness(instrument, view.now)),
        calling: state.is_some() && instrument.is_none_or(|instrument| instrument.phase == "empty"),
    };
    let mut parts = vec![
        Part::lines(1, vec![heading(view, width)]),
        Part::lines(0, banners(view, width)),
        Part::lines(9, vec![who(view, width)]),
        Part::lines(1, vec![live_head(view, &shown, width)]),
        figure(view, &shown, width),
        Part::lines(8, vec![facts(view, &shown)]),
    ];
    parts.extend(deviation(view, &shown, width));
    parts.extend([
        Part::lines(11, companions(view, &shown)),
        Part::lines(13, vec![Line::styled("─".repeat(width), QUIET)]),
        Part::lines(3, act(view, &shown, width)),
        Part::lines(3, state.map(|state| cautions(view, state, width)).unwrap_or_default()),
        Part::lines(
            12,
            state.and_then(|state| state.club.as_ref()).map(|club| sheet(view, club, width)).unwrap_or_default(),
        ),
        Part { at_bottom: true, ..Part::lines(10, instruments(view)) },
        Part::lines(7, vec![footer(view, width)]),
    ]);
    parts
}

fn verdict_style(verdict: &str) -> Style {
    // The colour only repeats what glyph, word and place say. Blue and yellow stay apart for every kind of colour vision
    // (from memory).
    match verdict {
        "within" => Style::new().fg(Color::Cyan),
        "under" | "over" => Style::new().fg(Color::Yellow),
        _ => Style::new(),
    }
}

/// Left and right on one line; the right goes first where both have no room.
fn spread(left: Vec<Span<'static>>, right: String, width: usize) -> Line<'static> {
    let used: usize = left.iter().map(Span::width).sum();
    let right = Span::raw(right);
    let mut spans = left;
    if used + right.width() < width {
        spans.push(Span::raw(" ".repeat(width - used - right.width())));
        spans.push(right);
    }
    Line::from(spans)
}

fn heading(view: &View<'_>, width: usize) -> Line<'static> {
    let Some(state) = view.known.state() else { return Line::raw("") };
    let Some(club) = &state.club else {
        let order = state.order.as_ref().map(|order| view.with("order_named", &[("order", &order.order)]));
        let order = order.map(|order| format!("  {order}")).unwrap_or_default();
        return Line::from(vec![Span::styled(view.t("no_club"), BOLD), Span::raw(order)]);
    };
    let hand = view.with(&format!("hand.{}", club.hand), &[]);
    let detail = format!("  {} · {hand} · {}", club.club, view.code(&club.stage));
    let place = state.order.as_ref().and_then(|order| {
        let at = order.clubs.iter().position(|line| line.club == club.club)?;
        let mine = order.clubs.get(at)?;
        let done = view.with("done_of", &[("done", &mine.done.to_string()), ("of", &mine.of.to_string())]);
        let (n, of) = ((at + 1).to_string(), order.clubs.len().to_string());
        let club = match &order.player {
            Some(player) => view.with("club_of_for", &[("n", &n), ("of", &of), ("player", player)]),
            None => view.with("club_of", &[("n", &n), ("of", &of)]),
        };
        Some(format!("{done} · {club}"))
    });
    spread(vec![Span::styled(club.name.clone(), BOLD), Span::raw(detail)], place.unwrap_or_default(), width)
}

/// What is wrong and its remedy. Some have words apart; a notice is one sentence and has its words whole.
fn banner_words(view: &View<'_>, text: &str, remedy: &str) -> String {
    if remedy.is_empty() {
        return view.said(text);
    }
    match view.language.say(text).zip(view.language.say(remedy)) {
        Some((text, remedy)) => format!("{text}: {remedy}"),
        None => view.said(&format!("{text}: {remedy}")),
    }
}

fn banners(view: &View<'_>, width: usize) -> Vec<Line<'static>> {
    let mut lines = Vec::new();
    if let Link::Lost(cause) = view.link {
        let words = format!("{} ({cause}). {}", view.t("link.lost"), view.t("watch.tried_again"));
        lines.extend(wrapped("▲ ", &words, width, ALARM));
    }
    for banner in view.known.state().map(|state| state.banners.as_slice()).unwrap_or_default() {
        lines.extend(wrapped("▲ ", &banner_words(view, &banner.text, &banner.remedy), width, ALARM));
    }
    lines
}

fn live_head(view: &View<'_>, shown: &Shown<'_>, width: usize) -> Line<'static> {
    let title = match (view.known.state(), shown.instrument) {
        (None, _) => view.t("waiting").to_owned(),
        (_, None) => view.t("no_instrument").to_owned(),
        (_, Some(instrument)) => {
            match shown.reading.filter(|_| !shown.calling).and_then(|reading| label(view, reading)) {
                Some(label) => format!("{label} {}", view.with("on_instrument", &[("name", &instrument.name)])),
                None => instrument.name.clone(),
            }
        }
    };
    let phase = shown.instrument.map(|instrument| {
        let gone = shown.fresh == Freshness::Gone;
        let glyph = phase_glyph(if gone { "lost" } else { &instrument.phase }, instrument.progress);
        format!("{glyph} {}", phase_words(view, instrument, shown.fresh))
    });
    spread(vec![Span::styled(title, BOLD)], phase.unwrap_or_default(), width)
}

fn phase_words(view: &View<'_>, instrument: &Instrument, fresh: Freshness) -> String {
    let word = view.with(&format!("phase.{}", instrument.phase), &[]);
    match fresh {
        Freshness::Fresh => word,
        Freshness::Aged => {
            let age = view.known.age(instrument, view.now).unwrap_or_default();
            view.with("phase_old", &[("phase", &word), ("s", &format!("{:.0}", age.as_secs_f64()))])
        }
        Freshness::Gone if instrument.connected && instrument.phase != "lost" => view.t("no_readings").to_owned(),
        Freshness::Gone => view.t("not_connected").to_owned(),
    }
}

fn label(view: &View<'_>, reading: &Reading) -> Option<String> {
    let of_code = || reading.characteristic.as_deref().map(|code| view.code(code));
    reading.label.as_deref().map(|label| view.said(label)).or_else(of_code)
}

fn figure(view: &View<'_>, shown: &Shown<'_>, width: usize) -> Part {
    if shown.calling {
        return Part::lines(2, wrapped("", &call(view), width, BOLD));
    }
    let whole = shown.reading.map(|reading| reading.deviation_text.as_deref().unwrap_or(&reading.text));
    let whole = whole.filter(|_| shown.fresh != Freshness::Gone).map(|whole| view.said(whole));
    let (number, unit) = match &whole {
        Some(whole) => split_unit(whole),
        None => (DASHES, ""),
    };
    let style = if shown.fresh == Freshness::Fresh { BOLD } else { QUIET };
    let digits = Digits { number: number.to_owned(), unit: unit.to_owned(), style };
    Part::new(2, Content::Digits(digits))
}

fn call(view: &View<'_>) -> String {
    let Some(state) = view.known.state() else { return String::new() };
    match &state.club {
        Some(club) => match club.next.as_deref().filter(|next| !next.is_empty()) {
            Some(next) => view.said(next),
            None => view.t("call.nothing_more").to_owned(),
        },
        None if state.queue.is_empty() => view.t("call.no_order").to_owned(),
        None => view.t("call.open_order").to_owned(),
    }
}

fn facts(view: &View<'_>, shown: &Shown<'_>) -> Line<'static> {
    let term = |term: &str| Span::styled(format!("{term} "), QUIET);
    if let Some(reading) = shown.reading.filter(|_| !shown.calling) {
        let target =
            reading.target_text.as_deref().map_or_else(|| view.t("none_set").to_owned(), |text| view.said(text));
        let mut spans = Vec::new();
        if reading.deviation_text.is_some() {
            let reads = if shown.fresh == Freshness::Gone { "–".to_owned() } else { view.said(&reading.text) };
            spans.extend([term(view.t("reads")), Span::raw(format!("{reads}   "))]);
        }
        spans.extend([term(view.t("target")), Span::raw(target)]);
        return Line::from(spans);
    }
    let Some(last) = view.known.newest().filter(|_| shown.calling) else { return Line::raw("") };
    // One reading may have several values; number and verdict are those of the one that is named: what is out comes first.
    let filed = last.filed.first();
    let lines =
        || view.known.state().and_then(|state| state.club.as_ref()).into_iter().flat_map(|club| &club.characteristics);
    let of = |place: &super::message::Filed| {
        lines().find(|line| line.event.as_ref() == Some(&last.event) && line.characteristic == place.characteristic)
    };
    let line = last.filed.iter().filter_map(of).min_by_key(|line| turn_of(line.verdict.as_deref()));
    let what = match (filed, line) {
        (None, _) => view.t("last_reading").to_owned(),
        (Some(_), Some(line)) => view.code(&line.characteristic),
        (Some(filed), None) => filed.club.clone(),
    };
    if last.voided {
        return Line::from(vec![term(&what), Span::raw(format!("{}, {}", named(view, last), view.t("void")))]);
    }
    let text = line.and_then(|line| line.text.as_deref()).map_or_else(|| named(view, last), |text| view.said(text));
    let worst = || {
        ["over", "under", "within"]
            .into_iter()
            .find(|code| last.filed.iter().any(|place| place.verdict.as_deref() == Some(*code)))
    };
    let verdict = line.map_or_else(worst, |line| line.verdict.as_deref());
    let mut spans = vec![term(&what), Span::raw(text)];
    if let Some(verdict) = verdict {
        let deviation =
            line.and_then(|line| line.deviation_text.as_deref()).map(|text| format!(" {}", view.said(text)));
        let words = format!("  {}{} {}", verdict_glyph(verdict), deviation.unwrap_or_default(), view.code(verdict));
        spans.push(Span::styled(words, verdict_style(verdict)));
    }
    Line::from(spans)
}

/// Every number of a reading with its name; of one that hides its numbers, what it says instead.
fn named(view: &View<'_>, last: &Capture) -> String {
    if last.values.is_empty() {
        return view.said(&last.text);
    }
    let each = last.values.iter().map(|value| format!("{} {}", view.code(&value.what), view.said(&value.text)));
    each.collect::<Vec<_>>().join(" · ")
}

/// The verdict at its place, needle and track; the target stands among the facts.
fn deviation(view: &View<'_>, shown: &Shown<'_>, width: usize) -> Vec<Part> {
    let Some(reading) = shown.reading.filter(|_| !shown.calling) else { return Vec::new() };
    let Some(scale) = scale(reading) else { return Vec::new() };
    let is_live = shown.fresh != Freshness::Gone;
    let verdict = reading.verdict.as_deref().filter(|_| is_live);
    let third = width / 3;
    let places = ["under", "within", "over"].into_iter().map(|place| {
        let is_it = verdict == Some(place);
        let near = if is_it && reading.marginal { format!(", {}", view.t("near_limit")) } else { String::new() };
        let words = format!("{} {}{near}", verdict_glyph(place), view.code(place));
        let style = if is_it { verdict_style(place).add_modifier(Modifier::REVERSED | Modifier::BOLD) } else { QUIET };
        Span::styled(format!("{words:^third$}"), style)
    });
    let style = if shown.fresh == Freshness::Fresh { Style::new() } else { QUIET };
    let [needle, track] = track(&scale, width, is_live);
    vec![
        Part::whole(2, vec![Line::from(places.collect::<Vec<_>>())]),
        Part::whole(5, vec![Line::styled(needle, style.add_modifier(Modifier::BOLD)), Line::styled(track, style)]),
    ]
}

/// The row of the needle and the row of the track below it.
fn track(scale: &Scale, width: usize, is_live: bool) -> [String; 2] {
    let column = |place: f64| column(place, width);
    let band = scale.band.map(|(from, to)| (column(from), column(to)));
    let target = scale.target.map(column);
    let track = (0..width).map(|at| match band {
        _ if target == Some(at) => '┿',
        Some((from, to)) if at == from && from > 0 || at == to && to + 1 < width => '┃',
        Some((from, to)) if (from..=to).contains(&at) => '━',
        _ => '┄',
    });
    let at = column(scale.needle);
    let needle = match (scale.is_off, scale.needle > 0.5) {
        (true, false) => "◀",
        (true, true) => "▶",
        (false, _) => "▼",
    };
    let needle = if is_live { format!("{}{needle}", " ".repeat(at)) } else { String::new() };
    [needle, track.collect()]
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a place from 0 to 1 of a terminal's width"
)]
fn column(place: f64, width: usize) -> usize {
    (place.clamp(0.0, 1.0) * width.saturating_sub(1) as f64).round() as usize
}

/// The other readings of the instrument.
fn companions(view: &View<'_>, shown: &Shown<'_>) -> Vec<Line<'static>> {
    let Some(instrument) = shown.instrument.filter(|_| !shown.calling) else { return Vec::new() };
    let others = instrument.readings.iter().filter(|reading| shown.reading != Some(*reading));
    let line = |reading: &Reading| {
        let label = label(view, reading).unwrap_or_else(|| view.t("reads").to_owned());
        if shown.fresh == Freshness::Gone {
            return Line::styled(format!("{label} {DASHES}"), QUIET);
        }
        let verdict = reading.verdict.as_deref().filter(|verdict| *verdict != "no_target");
        let words = verdict.map(|verdict| {
            let deviation = reading.deviation_text.as_deref().map(|text| view.said(text)).unwrap_or_default();
            format!("  {} {deviation} {}", verdict_glyph(verdict), view.code(verdict))
        });
        Line::from(vec![
            Span::styled(format!("{label} "), QUIET),
            Span::raw(view.said(&reading.text)),
            Span::styled(
                words.unwrap_or_else(|| format!("  {}", view.code("no_target"))),
                verdict_style(verdict.unwrap_or_default()),
            ),
        ])
    };
    others.map(line).collect()
}

/// What to do: a reading without a place, louder than all; else now, then, the step and advice.
fn act(view: &View<'_>, shown: &Shown<'_>, width: usize) -> Vec<Line<'static>> {
    let Some(state) = view.known.state() else { return Vec::new() };
    if let Some(capture) = view.known.unfiled() {
        let reason =
            capture.reason.as_deref().map_or_else(|| view.t("no_reason").to_owned(), |reason| view.said(reason));
        let name = view.known.instruments().find(|instrument| instrument.id == capture.instrument);
        let name = name.map_or_else(|| view.code(&capture.instrument), |instrument| instrument.name.clone());
        let from = view.with("from_instrument", &[("text", &named(view, capture)), ("name", &name)]);
        let what = format!("{}: {from}: {reason}", view.t("not_filed"));
        let remedy = view.t("unfiled.put_right");
        return [wrapped("▲ ", &what, width, ALARM), wrapped("  ", remedy, width, BOLD)].concat();
    }
    let labelled = |label: &str, text: &str, style: Style| wrapped(&format!("{label:LABEL$}"), text, width, style);
    let mut lines = Vec::new();
    let now = shown.instrument.filter(|_| !shown.calling).and_then(|instrument| {
        if shown.fresh == Freshness::Gone && instrument.connected {
            return Some(view.with("silence", &[("name", &instrument.name), ("refused", "")]));
        }
        let advice = || Some(view.with(phase_advice(&instrument.phase)?, &[("name", &instrument.name)]));
        instrument.message.as_deref().map(|message| view.said(message)).or_else(advice)
    });
    if let Some(now) = now {
        lines.extend(labelled(view.t("now"), &now, BOLD));
    }
    let Some(club) = &state.club else {
        if state.queue.is_empty() {
            lines.extend(labelled(view.t("now"), view.t("bring_order"), Style::new()));
        }
        if let Some(next) = &state.next_in_turn {
            lines.extend(labelled(view.t("then"), &view.said(next), Style::new()));
        }
        let order = |queued: &super::message::Queued| {
            let key = if queued.clubs == 1 { "clubs.one" } else { "clubs.more" };
            Line::raw(format!("{} · {}", queued.order, view.with(key, &[("n", &queued.clubs.to_string())])))
        };
        lines.extend(state.queue.iter().take(6).map(order));
        return lines;
    };
    if let Some(next) = club.next.as_deref().filter(|next| !shown.calling && !next.is_empty()) {
        lines.extend(labelled(view.t("then"), &view.said(next), Style::new()));
    }
    if !club.advice.is_empty() {
        let advice: Vec<String> = club.advice.iter().map(|text| view.said(text)).collect();
        lines.extend(labelled(view.t("advice"), &advice.join("; "), Style::new()));
    }
    if let Some(step) = &club.next_step {
        lines.extend(labelled(view.t("step"), &view.code(step), Style::new()));
    }
    lines
}

/// What can hurt at the next step, and times that run.
fn cautions(view: &View<'_>, state: &State, width: usize) -> Vec<Line<'static>> {
    let texts = state.club.as_ref().map(|club| club.cautions.as_slice()).unwrap_or_default();
    let mut lines: Vec<Line<'static>> =
        texts.iter().flat_map(|text| wrapped("▲ ", &view.said(text), width, ALARM)).collect();
    if !texts.is_empty() {
        lines.extend(wrapped("  ", view.t("maker_first"), width, Style::new()));
    }
    for timer in &state.timers {
        lines.extend(wrapped("  ", &view.said(&timer.text), width, if timer.over { BOLD } else { Style::new() }));
    }
    lines
}

/// The club's sheet, a line for each characteristic.
fn sheet(view: &View<'_>, club: &Club, width: usize) -> Vec<Line<'static>> {
    let dash = |text: Option<&String>| text.map_or_else(|| "–".to_owned(), |text| view.said(text));
    let row = |line: &super::message::Line| {
        let verdict = line.text.as_ref().and(line.verdict.clone()).unwrap_or_default();
        let near = if line.marginal { format!(", {}", view.t("near_limit")) } else { String::new() };
        let deviation = line.deviation_text.as_deref().map(|text| view.said(text)).unwrap_or_default();
        let words = format!("{} {deviation} {}{near}", verdict_glyph(&verdict), view.code(&verdict));
        let words = if verdict.is_empty() { String::new() } else { words };
        ([view.said(&line.label), dash(line.target_text.as_ref()), dash(line.text.as_ref()), words], verdict)
    };
    let rows: Vec<_> = club.characteristics.iter().map(row).collect();
    // A number is never cut: columns are as wide as what stands in them, and the target goes where there is no room for it.
    let wide = |text: &str| Span::raw(text).width();
    let mut widths = [0, 1, 2, 3].map(|at| rows.iter().map(|(row, _)| wide(&row[at]) + 2).max().unwrap_or(0));
    if widths.iter().sum::<usize>() > width {
        widths[1] = 0;
    }
    let styles = [QUIET, Style::new(), BOLD];
    let line = |(row, verdict): ([String; 4], String)| {
        let cells = row.iter().zip(widths).zip(styles).filter(|((_, column), _)| *column > 0);
        let mut spans: Vec<Span<'static>> = cells
            .map(|((text, column), style)| Span::styled(format!("{text}{}", " ".repeat(column - wide(text))), style))
            .collect();
        spans.push(Span::styled(row[3].clone(), verdict_style(&verdict)));
        Line::from(spans)
    };
    rows.into_iter().map(line).collect()
}

/// Each instrument with its phase and what it shows.
fn instruments(view: &View<'_>) -> Vec<Line<'static>> {
    let line = |instrument: &Instrument| {
        let fresh = view.known.freshness(instrument, view.now);
        let text = match main_reading(instrument) {
            _ if fresh == Freshness::Gone => DASHES,
            Some(reading) => &reading.text,
            None => "–",
        };
        let words = match fresh {
            Freshness::Fresh if is_hand(instrument) => view.t("ready").to_owned(),
            Freshness::Gone => match &instrument.error {
                Some(error) => view.said(error),
                None => phase_words(view, instrument, fresh),
            },
            _ => phase_words(view, instrument, fresh),
        };
        let glyph = phase_glyph(if fresh == Freshness::Gone { "lost" } else { &instrument.phase }, instrument.progress);
        let style = if fresh == Freshness::Fresh { Style::new() } else { QUIET };
        Line::styled(format!("{:18} {text:>10}  {glyph} {words}", instrument.name), style)
    };
    view.known.instruments().map(line).collect()
}

/// In whose name what is done is kept, at the end of a rule; quiet, as work goes on without one.
fn who(view: &View<'_>, width: usize) -> Line<'static> {
    let words = view.known.state().map_or_else(String::new, |state| match &state.operator {
        Some(name) => format!(" {}", view.with("who.here", &[("name", name)])),
        None => format!(" {}", view.t("who.nobody")),
    });
    let rule = width.saturating_sub(Span::raw(words.as_str()).width());
    Line::styled(format!("{}{words}", "─".repeat(rule)), QUIET)
}

/// Signs of life: the daemon's clock and two numbers of it that grow; a display that hangs shows the same ones for ever.
fn footer(view: &View<'_>, width: usize) -> Line<'static> {
    let left = view.known.state().map(|state| {
        let time = second_of(&state.now, view.zone);
        let (seq, beat) = (state.seq.to_string(), state.beat.to_string());
        let life = view.with("watch.life", &[("seq", &seq), ("beat", &beat)]);
        format!("{time} · {} · {} · {life}", state.bench, state.site)
    });
    let words = left.unwrap_or_else(|| view.t("watch.nothing_heard").to_owned());
    spread(vec![Span::styled(words, QUIET)], view.t("watch.leave").to_owned(), width)
}

/// A text on as many lines as it needs, behind a label that stands on the first.
fn wrapped(label: &str, text: &str, width: usize, style: Style) -> Vec<Line<'static>> {
    let indent = Span::raw(label.to_owned()).width();
    let room = width.saturating_sub(indent).max(1);
    let lines = textwrap::wrap(text, room).into_iter().enumerate();
    let line = |(at, piece): (usize, std::borrow::Cow<'_, str>)| {
        let before = if at == 0 { label.to_owned() } else { " ".repeat(indent) };
        Line::from(vec![Span::styled(before, QUIET.patch(style)), Span::styled(piece.into_owned(), style)])
    };
    lines.map(line).collect()
}
