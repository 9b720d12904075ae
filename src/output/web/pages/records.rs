//! The clubs, and the record of one with everything that ever stood in it.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::parts::{CurvePart, SignPart, minute, plain};
use super::reading::curve_of;
use super::{Shell, nothing, show, stopping};
use crate::club::characteristic::Characteristic;
use crate::journal::event::rfc3339;
use crate::output::command::ask;
use crate::output::drawing::Curve;
use crate::output::reading_view::{self, Found};
use crate::output::text::{self, Lengths};
use crate::output::trust_view::{budget, budget_line, short};
use crate::output::web::Web;
use crate::output::work_view::{SuspectView, suspect_views};
use crate::work_order::event::EventId;
use crate::work_order::record::{ClubRecord, Entry, Method, Standing};
use crate::work_order::state::State as BenchState;

/// How many clubs are on one page of the list.
const ON_ONE_PAGE: usize = 40;
/// How many readings of a club are drawn; older ones keep their place in the table.
const DRAWN: usize = 40;

#[derive(Template)]
#[template(path = "records.html")]
struct RecordsPage<'a> {
    shell: Shell<'a>,
    list: &'a ClubList,
}

/// A page of the list of clubs.
struct ClubList {
    clubs: Vec<ClubRow>,
    find: String,
    found: usize,
    page: usize,
    pages: usize,
    /// Whether there is any club at all.
    any: bool,
}

struct ClubRow {
    token: String,
    club: String,
    name: String,
    player: String,
    state: &'static str,
    values: usize,
    outside: usize,
    finished_at: Option<String>,
}

impl ClubRow {
    fn sign(&self) -> SignPart {
        SignPart::new(self.state)
    }
}

/// Which clubs to list.
#[derive(Deserialize)]
pub(in crate::output::web) struct Wanted {
    find: Option<String>,
    page: Option<usize>,
}

/// The list of clubs, the one touched last first.
pub(in crate::output::web) async fn list(State(web): State<Web>, Query(wanted): Query<Wanted>) -> Response {
    let (find, page) = (wanted.find.unwrap_or_default(), wanted.page.unwrap_or(1).max(1));
    let list = ask(&web.questions, move |state| clubs(state, find.trim(), page)).await;
    match list {
        Some(list) => show(&RecordsPage { shell: Shell::new(&web, "", "records"), list: &list }),
        None => stopping(&web, "", "records"),
    }
}

fn clubs(state: &BenchState, find: &str, page: usize) -> ClubList {
    let wanted = find.to_lowercase();
    let has = |text: &str| text.to_lowercase().contains(&wanted);
    let player = |record: &ClubRecord| state.orders.get(&record.order).and_then(|order| order.player.clone());
    let mut found: Vec<&ClubRecord> = state
        .clubs_in_order()
        .filter(|r| has(&r.spec.id) || has(&r.spec.name) || player(r).is_some_and(|player| has(&player)))
        .collect();
    // Clubs that nothing has happened to stay in the order of their import.
    found.sort_by_key(|record| std::cmp::Reverse(record.last_seq));
    let pages = found.len().div_ceil(ON_ONE_PAGE).max(1);
    let page = page.min(pages);
    let row = |record: &ClubRecord| ClubRow {
        token: record.spec.token.clone(),
        club: record.spec.id.clone(),
        name: record.spec.name.clone(),
        player: player(record).unwrap_or_default(),
        state: record.state.name(),
        values: record.valid().count(),
        outside: record.valid().filter(|entry| matches!(entry.filed.verdict.name(), "under" | "over")).count(),
        finished_at: record.finished_at_us.map(rfc3339),
    };
    ClubList {
        clubs: found.iter().skip((page - 1) * ON_ONE_PAGE).take(ON_ONE_PAGE).map(|record| row(record)).collect(),
        find: find.to_owned(),
        found: found.len(),
        page,
        pages,
        any: !state.clubs.is_empty(),
    }
}

#[derive(Template)]
#[template(path = "record.html")]
struct RecordPage<'a> {
    shell: Shell<'a>,
    club: &'a ClubRecord,
    rows: &'a [ValueRow],
    curves: &'a [DrawnReading],
    suspects: &'a [SuspectView],
    chain: &'a str,
    is_open: bool,
}

impl RecordPage<'_> {
    fn state(&self) -> SignPart {
        SignPart::new(self.club.state.name())
    }

    /// How many of the readings are damaged.
    fn damaged(&self) -> usize {
        self.curves.iter().filter(|reading| !reading.damage.is_empty()).count()
    }

    fn finished_at(&self) -> Option<String> {
        self.club.finished_at_us.map(rfc3339)
    }
}

/// One value of the record, whether it counts or not.
struct ValueRow {
    label: &'static str,
    stage: String,
    text: String,
    target: String,
    deviation: String,
    verdict: &'static str,
    marginal: bool,
    standing: &'static str,
    /// Why it does not count, in words; empty where it does.
    history: String,
    history_at: Option<String>,
    /// The budget in one line, with the unit and the rule.
    budget: String,
    expanded: String,
    place: String,
    at: String,
    by: String,
    event: String,
    measured: bool,
}

impl ValueRow {
    fn sign(&self) -> SignPart {
        SignPart::new(self.verdict)
    }
}

/// A reading of the record with its curve, or what is damaged of it.
struct DrawnReading {
    event: String,
    what: String,
    instrument: String,
    at: String,
    label: &'static str,
    curve: Option<Curve>,
    damage: Vec<String>,
}

impl DrawnReading {
    fn part(&self) -> Option<CurvePart<'_>> {
        let curve = self.curve.as_ref()?;
        Some(CurvePart { curve, label: self.label, name: format!("settling of {}", self.what) })
    }
}

/// The record of a club, by its token or id.
pub(in crate::output::web) async fn record(State(web): State<Web>, Path(club): Path<String>) -> Response {
    let asked = club.clone();
    let find = move |state: &BenchState| {
        let by_id = state.clubs.get(&asked);
        let found = by_id.or_else(|| state.clubs.values().find(|record| record.spec.token == asked)).cloned();
        found.map(|found| (state.current_club.as_deref() == Some(found.spec.id.as_str()), found))
    };
    let (is_open, found) = match ask(&web.questions, find).await {
        None => return stopping(&web, "../", "records"),
        Some(None) => {
            let words = format!("there is no club {club} on this bench");
            return nothing(&web, "../", "records", StatusCode::NOT_FOUND, "no such club", &words);
        }
        Some(Some(found)) => found,
    };
    let chain = web.journal.hash_of(found.last_seq).await.ok().flatten().unwrap_or_default();
    let curves = curves(&web, &found).await;
    show(&RecordPage {
        shell: Shell::new(&web, "../", "records"),
        rows: &rows(&found, web.lengths),
        curves: &curves,
        suspects: &suspect_views(&found),
        chain: &chain,
        is_open,
        club: &found,
    })
}

/// Every value, by characteristic in the order of the work, the oldest first.
fn rows(club: &ClubRecord, lengths: Lengths) -> Vec<ValueRow> {
    let of = |characteristic| club.entries.iter().filter(move |entry| entry.filed.characteristic == characteristic);
    Characteristic::all().flat_map(of).map(|entry| row(club, entry, lengths)).collect()
}

fn row(club: &ClubRecord, entry: &Entry, lengths: Lengths) -> ValueRow {
    let filed = &entry.filed;
    let characteristic = filed.characteristic;
    let value = |value: f64| text::value(characteristic, value, lengths);
    let target = match (filed.lower, filed.upper, filed.target) {
        (Some(lower), Some(upper), _) => format!("{} to {}", value(lower), value(upper)),
        (None, Some(upper), _) => format!("at most {}", value(upper)),
        (Some(lower), None, _) => format!("at least {}", value(lower)),
        (None, None, Some(target)) => value(target),
        (None, None, None) => String::new(),
    };
    let void = club.voids.iter().rev().find(|void| void.event == entry.event);
    let (standing, history, history_at) = match (entry.standing, void) {
        (Standing::Valid, _) => ("counts", String::new(), None),
        (Standing::Superseded, _) => ("superseded", "superseded by a newer reading".to_owned(), None),
        (Standing::Voided, Some(void)) => {
            let by = void.by.as_ref().map(|by| format!(" by {by}")).unwrap_or_default();
            ("void", format!("void{by}: {},", void.why), Some(rfc3339(void.at_us)))
        }
        (Standing::Voided, None) => ("void", "filed at another place by hand".to_owned(), None),
    };
    let view = entry.budget.as_ref().map(budget);
    let expanded = view.as_ref().and_then(|view| view.expanded).unwrap_or(2.0 * filed.u);
    let (rule, unit) = (filed.rule.text(), characteristic.dimension().base_unit());
    let (place, measured) = match &entry.method {
        Method::Measured { instrument, .. } => (instrument.clone(), true),
        Method::Typed { text } => (format!("typed: {text}"), false),
    };
    ValueRow {
        label: characteristic.label(),
        stage: plain(filed.stage.name()),
        text: value(filed.value),
        target,
        deviation: filed.deviation.map(|d| text::deviation(characteristic, d, lengths)).unwrap_or_default(),
        verdict: filed.verdict.name(),
        marginal: filed.marginal,
        standing,
        history,
        history_at,
        budget: view.as_ref().map(|view| format!("{} {unit}; rule {rule}", budget_line(view))).unwrap_or_default(),
        expanded: format!("± {} {}", short(expanded), unit),
        place,
        at: rfc3339(entry.at_us),
        by: entry.by.clone().unwrap_or_default(),
        event: entry.event.to_string(),
        measured,
    }
}

/// The curve of every captured reading of a club, the newest last.
async fn curves(web: &Web, club: &ClubRecord) -> Vec<DrawnReading> {
    let mut events: Vec<EventId> = Vec::new();
    for entry in &club.entries {
        if matches!(entry.method, Method::Measured { .. }) && !events.contains(&entry.event) {
            events.push(entry.event);
        }
    }
    let first = events.len().saturating_sub(DRAWN);
    let mut drawn = Vec::new();
    for event in events.into_iter().skip(first) {
        drawn.push(draw(web, club, event).await);
    }
    drawn
}

async fn draw(web: &Web, club: &ClubRecord, event: EventId) -> DrawnReading {
    let filed = club.entries.iter().filter(|entry| entry.event == event);
    let what = filed.map(|entry| {
        let filed = &entry.filed;
        format!("{} {}", filed.characteristic.label(), text::value(filed.characteristic, filed.value, web.lengths))
    });
    let mut reading = DrawnReading {
        event: event.to_string(),
        what: what.collect::<Vec<_>>().join(" · "),
        instrument: String::new(),
        at: String::new(),
        label: "",
        curve: None,
        damage: Vec::new(),
    };
    match reading_view::find(&web.journal, event).await {
        Found::Reading(found) => {
            let (detail, evidence) = *found;
            let of = curve_of(&detail, 0);
            reading.label = of.label;
            reading.curve = Curve::whole(&evidence, of.of);
            reading.instrument = detail.instrument;
            reading.at = detail.at;
            reading.damage = detail.damage;
        }
        Found::Damaged(what) => reading.damage.push(format!("the event of this reading cannot be read: {what}")),
        Found::Other(kind) => reading.damage.push(format!("under its id stands an event of the kind {kind}")),
        Found::Nothing => reading.damage.push("the event of this reading is not in the journal".to_owned()),
    }
    reading
}
