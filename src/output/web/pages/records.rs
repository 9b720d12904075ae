//! The clubs, and the record of one with everything that ever stood in it.

mod steps;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::parts::{CurvePart, SignPart, minute, said, said_here, said_text, t, t_code, with};
use super::reading::curve_of;
use super::{Shell, nothing, show, stopping};
use crate::club::characteristic::Characteristic;
use crate::club::sleeve_table::Wanted as WantedChange;
use crate::journal::archive::{ClubLine, Search};
use crate::journal::event::rfc3339;
use crate::journal::store::JournalError;
use crate::output::adhesive_view::bond_as_made;
use crate::output::command::ask;
use crate::output::drawer_view::consumption;
use crate::output::drawing::Curve;
use crate::output::landed_view::{LandedView, landed_views};
use crate::output::part_view::used_parts;
use crate::output::reading_view::{self, Found};
use crate::output::record::{HandOverOverrideView, subject};
use crate::output::sheet::Subject;
use crate::output::sleeve_view::{HEAD as SLEEVE_HEAD, SleeveView, sleeve_view, sleeve_view_for};
use crate::output::text::Lengths;
use crate::output::trust_view::{budget, budget_line};
use crate::output::web::Web;
use crate::output::web::units;
use crate::output::work_view::{SuspectView, suspect_views};
use crate::work_order::adhesive::Bond;
use crate::work_order::bending::{BENT, Bent, bent, written};
use crate::work_order::cautions::words as caution_words;
use crate::work_order::event::EventId;
use crate::work_order::record::{ClubRecord, ClubState, Entry, Method, Outdated, Standing};
use crate::work_order::sleeving::wanted_change;
use crate::work_order::steps::Step;
use crate::work_order::taking_up::TakenUp;

/// How many clubs are on one page of the list.
const ON_ONE_PAGE: u32 = 40;
/// So many pages can be turned; what is older is looked for.
const MOST_PAGES: u32 = 100;
/// How many readings of a club are drawn; older ones keep their place in the table.
const DRAWN: usize = 40;

#[derive(Template)]
#[template(path = "records.html")]
struct RecordsPage<'a> {
    shell: Shell<'a>,
    list: &'a ClubList,
}

impl RecordsPage<'_> {
    fn not_found(&self) -> String {
        self.shell.t("records.not_found").replace("{what}", &self.list.find)
    }
}

/// A page of the list of clubs.
#[derive(Default)]
struct ClubList {
    clubs: Vec<ClubRow>,
    find: String,
    page: u32,
    more: bool,
}

struct ClubRow {
    line: ClubLine,
    last_at: String,
}

impl ClubRow {
    fn sign(&self) -> SignPart {
        SignPart::new(ClubState::parse(&self.line.state).map_or("", ClubState::name))
    }
}

/// Which clubs to list.
#[derive(Deserialize)]
pub(in crate::output::web) struct Wanted {
    find: Option<String>,
    page: Option<u32>,
}

/// The list of clubs, the one touched last first.
pub(in crate::output::web) async fn list(State(web): State<Web>, Query(wanted): Query<Wanted>) -> Response {
    let (find, page) = (wanted.find.unwrap_or_default(), wanted.page.unwrap_or(1).clamp(1, MOST_PAGES));
    match clubs(&web, find.trim(), page).await {
        Ok(list) => show(&RecordsPage { shell: Shell::new(&web, "", "records"), list: &list }),
        Err(error) => {
            let status = StatusCode::SERVICE_UNAVAILABLE;
            nothing(&web, "", "records", status, "the journal cannot be read", &error.to_string())
        }
    }
}

async fn clubs(web: &Web, find: &str, page: u32) -> Result<ClubList, JournalError> {
    let all = Search { limit: page.saturating_mul(ON_ONE_PAGE), ..Search::default() };
    let wanted = Some(find.to_owned());
    let searches = if find.is_empty() {
        vec![all]
    } else {
        vec![
            Search { club: wanted.clone(), ..all.clone() },
            Search { order: wanted.clone(), ..all.clone() },
            Search { player: wanted.clone(), ..all.clone() },
            Search { lot: wanted, ..all },
        ]
    };
    let (mut lines, mut more): (Vec<ClubLine>, bool) = (Vec::new(), false);
    for search in searches {
        let found = web.journal.search(&search).await?;
        more |= found.more;
        lines.extend(
            found.clubs.into_iter().filter(|club| !lines.iter().any(|line| line.n == club.n)).collect::<Vec<_>>(),
        );
    }
    lines.sort_by_key(|line| (std::cmp::Reverse(line.last_us), line.n));
    let before = usize::try_from((page - 1) * ON_ONE_PAGE).unwrap_or(usize::MAX);
    let row = |line: ClubLine| ClubRow { last_at: rfc3339(line.last_us), line };
    Ok(ClubList { clubs: lines.into_iter().skip(before).map(row).collect(), find: find.to_owned(), page, more })
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
    landed: &'a [LandedView],
    sleeve: &'a Option<SleeveView>,
    sleeve_asked: &'a SleeveAsked,
}

/// What a person asks of a sleeve, as typed.
#[derive(Default, Deserialize)]
pub(in crate::output::web) struct SleeveAsked {
    #[serde(default)]
    lie: String,
    #[serde(default)]
    loft: String,
    #[serde(default)]
    face: String,
    /// Why it is no change.
    #[serde(skip)]
    trouble: Option<String>,
}

impl SleeveAsked {
    /// The wanted change; `None` where nothing is asked, so that what the club needs counts.
    fn wanted(&mut self) -> Option<WantedChange> {
        let all = || -> Result<WantedChange, String> {
            Ok(WantedChange {
                lie: wanted_change(Characteristic::Lie, &self.lie)?,
                loft: wanted_change(Characteristic::Loft, &self.loft)?,
                face: wanted_change(Characteristic::FaceAngle, &self.face)?,
            })
        };
        match all() {
            Ok(wanted) => Some(wanted).filter(|wanted| *wanted != WantedChange::default()),
            Err(trouble) => {
                self.trouble = Some(trouble);
                None
            }
        }
    }
}

impl RecordPage<'_> {
    fn state(&self) -> SignPart {
        SignPart::new(self.club.state.name())
    }

    fn of(&self) -> String {
        let spec = &self.club.spec;
        let (kind, hand) = (t_code(spec.kind.name()), t(&format!("hand.{}", spec.hand.name())));
        self.shell.with("record.of", &[("kind", &kind), ("hand", &hand), ("order", &self.club.order)])
    }

    fn tilt_words(&self, deg: f64) -> String {
        self.shell.with("sleeve.tilt", &[("deg", &format!("{deg:.2}"))])
    }

    /// Who answered for what was open when it was handed over.
    fn decided(&self) -> Vec<String> {
        self.club.hand_over_overrides.iter().map(|over| HandOverOverrideView::of(over).text()).collect()
    }

    fn was_handed_over(&self) -> bool {
        self.club.has_done(Step::HandOver)
    }

    /// Who decided to work on it again after it was finished.
    fn taken_up(&self) -> Vec<String> {
        let words = |again: &TakenUp| {
            with("record.taken_up", &[("name", &again.decided.name), ("why", &said_text(&again.decided.why))])
        };
        self.club.taken_up.iter().map(words).collect()
    }

    /// What was bent, with what came of it.
    fn bends(&self) -> Vec<String> {
        let angle =
            |deg: Option<f64>| deg.map_or_else(|| t("record.bend.not_measured").to_owned(), |deg| format!("{deg:.1}°"));
        let line = |of: Characteristic, bent: &Bent| {
            let [before, after, sprang] = [bent.before, bent.after, bent.spring_back].map(angle);
            let (what, lever) = (said_text(of.label()), said_text(&written(of, bent.lever_deg)));
            let of = [("what", &*what), ("lever", &lever), ("before", &before), ("after", &after), ("sprang", &sprang)];
            with("record.bend", &of)
        };
        let of_angle = |of| bent(self.club, of).into_iter().map(move |bent| line(of, &bent)).collect::<Vec<_>>();
        BENT.into_iter().flat_map(of_angle).collect()
    }

    /// What went in: numbered parts, and what was taken from the drawers and is still there.
    fn parts(&self) -> Vec<String> {
        let numbered = used_parts(self.club).into_iter().filter(|part| part.released.is_none()).map(|part| {
            let codes =
                [part.part.clone(), part.facts.model.clone(), part.facts.lot.clone(), part.facts.serial.clone()];
            let kind = part.kind.map(said_text);
            kind.into_iter().chain(codes.into_iter().flatten()).collect::<Vec<_>>().join(" · ")
        });
        let taken = consumption(self.club).into_iter().filter(|taking| taking.returned.is_none());
        let taken =
            taken.flat_map(|taking| taking.parts.into_iter().map(|part| format!("{} × {}", part.pieces, part.item)));
        numbered.chain(taken).collect()
    }

    /// How it was bonded, with who did not wait for the cure, and from when on it may be played.
    fn bonded(&self) -> Option<(String, String)> {
        let bond = bond_as_made(self.club.bond.as_ref()?);
        let words = match &bond.overridden {
            None => with("record.bonded", &[("batch", &bond.batch), ("adhesive", &bond.adhesive)]),
            Some(over) => {
                let why = said_text(&over.why);
                let of =
                    [("batch", bond.batch.as_str()), ("adhesive", &bond.adhesive), ("name", &over.name), ("why", &why)];
                with("record.bonded.not_waited", &of)
            }
        };
        Some((words, bond.not_before))
    }

    /// How it was bonded before, with who did not wait for that cure.
    fn bonded_before(&self) -> Vec<String> {
        let words = |bond: &Bond| {
            let words = with("record.bonded_before", &[("batch", &bond.batch.name), ("adhesive", &bond.batch.product)]);
            let decided = bond
                .overridden
                .as_ref()
                .map(|over| with("record.not_waited", &[("name", &over.name), ("why", &said_text(&over.why))]));
            std::iter::once(words).chain(decided).collect::<Vec<_>>().join("; ")
        };
        self.club.earlier_bonds.iter().map(words).collect()
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
    unit: &'static str,
    curve: Option<Curve>,
    damage: Vec<String>,
}

impl DrawnReading {
    fn part(&self) -> Option<CurvePart<'_>> {
        let curve = self.curve.as_ref()?;
        Some(CurvePart {
            curve,
            label: self.label,
            unit: self.unit,
            name: with("record.settling", &[("what", &self.what)]),
        })
    }
}

/// The record of a club, by its token or id.
pub(in crate::output::web) async fn record(
    State(web): State<Web>,
    Path(club): Path<String>,
    Query(mut asked): Query<SleeveAsked>,
) -> Response {
    let open = ask(&web.questions, |state| state.current_club.clone());
    let Some(open) = open.await else { return stopping(&web, "../", "records") };
    let Subject { club: found, chain, .. } = match subject(&web.questions, &web.journal, &club).await {
        Ok(subject) => subject,
        Err(words) => return nothing(&web, "../", "records", StatusCode::NOT_FOUND, "no such record", &words),
    };
    let is_open = open.as_deref() == Some(found.spec.id.as_str());
    let curves = curves(&web, &found).await;
    let lengths = units::current().lengths.unwrap_or(web.lengths);
    let sleeve = match asked.wanted() {
        Some(wanted) => sleeve_view_for(&found, wanted),
        None => sleeve_view(&found),
    };
    show(&RecordPage {
        shell: Shell::new(&web, "../", "records"),
        rows: &rows(&found, web.lengths),
        curves: &curves,
        suspects: &suspect_views(&found),
        chain: &chain,
        is_open,
        landed: &landed_views(&found, lengths),
        sleeve: &sleeve,
        sleeve_asked: &asked,
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
    let units = units::current();
    let value = |value: f64| units.number(characteristic, value, lengths);
    let target = match (filed.lower, filed.upper, filed.target) {
        (Some(lower), Some(upper), _) => format!("{} to {}", value(lower), value(upper)),
        (None, Some(upper), _) => format!("at most {}", value(upper)),
        (Some(lower), None, _) => format!("at least {}", value(lower)),
        (None, None, Some(target)) => value(target),
        (None, None, None) => String::new(),
    };
    let void = club.voids.iter().rev().find(|void| void.event == entry.event);
    let (standing, history, history_at) = match (entry.standing, void) {
        (Standing::Valid, _) => match club.outdated(entry) {
            None => ("counts", String::new(), None),
            Some(Outdated::Bent) => ("outdated", t("record.bent_since"), None),
            Some(Outdated::LaterFace) => ("outdated", t("record.later_face"), None),
        },
        (Standing::Superseded, _) if club.is_misread(entry) => ("superseded", t("record.corrected"), None),
        (Standing::Superseded, _) => ("superseded", t("record.superseded"), None),
        (Standing::Voided, Some(void)) => {
            let why = said_text(&void.why);
            let words = match &void.by {
                Some(by) => with("record.void_by", &[("by", by), ("why", &why)]),
                None => with("record.void", &[("why", &why)]),
            };
            ("void", words, Some(rfc3339(void.at_us)))
        }
        (Standing::Voided, None) => ("void", t("record.elsewhere"), None),
    };
    let view = entry.budget.as_ref().map(budget);
    let expanded = view.as_ref().and_then(|view| view.expanded).unwrap_or(2.0 * filed.u);
    let (rule, unit) = (filed.rule.text(), characteristic.dimension().base_unit());
    let (place, measured) = match &entry.method {
        Method::Measured { instrument, trouble: Some(trouble), .. } => {
            (with("record.troubled", &[("instrument", instrument), ("trouble", &said_text(trouble))]), true)
        }
        Method::Measured { instrument, .. } => (instrument.clone(), true),
        Method::Typed { text } => (with("record.typed_as", &[("text", text)]), false),
    };
    ValueRow {
        label: characteristic.label(),
        stage: filed.stage.name().replace('_', " "),
        text: value(filed.value),
        target,
        deviation: filed.deviation.map(|d| units.off(characteristic, d, lengths)).unwrap_or_default(),
        verdict: filed.verdict.name(),
        marginal: filed.marginal,
        standing,
        history,
        history_at,
        budget: view.as_ref().map(|view| format!("{} {unit}; rule {rule}", budget_line(view))).unwrap_or_default(),
        expanded: units.expanded(expanded, unit),
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
        let value = units::current().number(filed.characteristic, filed.value, web.lengths);
        said_text(&format!("{} {value}", filed.characteristic.label()))
    });
    let mut reading = DrawnReading {
        event: event.to_string(),
        what: what.collect::<Vec<_>>().join(" · "),
        instrument: String::new(),
        at: String::new(),
        label: "",
        unit: "",
        curve: None,
        damage: Vec::new(),
    };
    match reading_view::find(&web.journal, event).await {
        Found::Reading(found) => {
            let (detail, evidence) = *found;
            let of = curve_of(&detail, 0);
            reading.label = of.label;
            reading.unit = of.unit;
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
