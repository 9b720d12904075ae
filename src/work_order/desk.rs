//! What a reading or a command leads to: state and request come in, changes or a refusal in words leave.

use super::adhesive::{self, Adhesive};
use super::again;
use super::bend_command::bend;
use super::cards;
use super::drawer_desk::{self, DrawerCommand};
use super::elsewhere;
use super::event::{CapturedReading, Change, EventId, FiledValue, Place};
use super::filing::judged;
use super::finishing::{after_change, checked, finished_club_again, proven, step_done};
use super::hand_over;
use super::intake;
use super::laid::of_other_hand;
use super::marks::{self, MarkCommand};
use super::order::Order;
use super::part_desk::{self, PartCommand};
use super::record::{ClubRecord, Entry, Method, Standing};
use super::repeating;
use super::routing::{Routed, Routing};
use super::sources::{quantity_of, rule_uncertainty};
use super::state::{CaptureLine, Fate, State};
use super::steps::Step;
use super::study_desk::{self, StudyCommand};
use super::taking_up;
use super::trust::{self, TrustCommand};
use super::voiding;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::club::cut::CutMark;
use crate::club::shown::{self, lengths_of};
use crate::measurement::quantity::parse_target;
use crate::measurement::reading::{Measured, Reading};
use crate::measurement::uncertainty::Budget;

/// Something a person asks the bench to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Command {
    /// Take orders in, or new versions of them: all or none.
    ImportOrders(Vec<Order>),
    /// Make an order the current one.
    OpenOrder(String),
    /// Put an order aside.
    PutOrderAside {
        /// Its number.
        order: String,
        /// Why; may be empty.
        why: String,
    },
    /// Take an order up again.
    TakeOrderUp(String),
    /// Make a club the current one.
    OpenClub(String),
    /// A step of the current club is done.
    StepDone(Step),
    /// A step of the current club that is done already is done again, its cautions read.
    StepAgain {
        /// The club's id, which must be the current one; none means that.
        club: Option<String>,
        /// The step.
        step: Step,
    },
    /// A typed value; no club means the current one.
    Enter {
        /// The club's id.
        club: Option<String>,
        /// What it is.
        characteristic: Characteristic,
        /// The text as typed.
        quantity: String,
    },
    /// Take a reading, a typed value, a bend or a step back.
    Void {
        /// The event; none means what was done last.
        event: Option<EventId>,
        /// Why.
        why: String,
    },
    /// Loft or lie was bent; no club means the current one.
    Bend {
        /// The club's id.
        club: Option<String>,
        /// Loft or lie.
        characteristic: Characteristic,
        /// How far the lever went, as typed: `1.5 deg upright`.
        quantity: String,
    },
    /// Put a captured reading where a person says it belongs.
    File {
        /// The captured reading.
        event: EventId,
        /// The place.
        place: Place,
    },
    /// Someone is at the bench.
    Operator(Option<String>),
    /// A check or calibration of an instrument.
    Trust {
        /// Which instrument.
        instrument: String,
        /// What.
        command: TrustCommand,
    },
    /// Something about gauge studies.
    Study(StudyCommand),
    /// An order to an instrument itself.
    Control {
        /// Which instrument.
        instrument: String,
        /// What it should do.
        control: Control,
    },
    /// Something about the drawers.
    Drawer(DrawerCommand),
    /// Something about numbered parts.
    Part(PartCommand),
    /// A code was scanned.
    Scan(String),
    /// A mark that a shaft is cut along is measured a second time, or cut all the same; no club means the current one.
    Mark {
        /// The club's id.
        club: Option<String>,
        /// Which mark.
        mark: CutMark,
        /// What.
        command: MarkCommand,
    },
    /// An order for a club like one that is finished.
    BuildAgain {
        /// The finished club's id.
        club: String,
        /// How.
        repeat: again::Repeat,
    },
    /// The step that comes next is done.
    NextStep,
    /// What can hurt at the step that comes next was read.
    Acknowledge,
    /// An adhesive is entered from its maker's sheet.
    EnterAdhesive(Adhesive),
    /// A batch of adhesive is mixed.
    MixBatch {
        /// The product's id.
        adhesive: String,
        /// Temperature of the workshop, in degrees Celsius.
        temperature_c: f64,
        /// The maker's lot.
        lot: Option<String>,
    },
    /// The batch in force is used up or thrown away.
    DiscardBatch,
    /// The cure of a club is not waited for; no club means the current one.
    OverrideCure {
        /// The club's id.
        club: Option<String>,
        /// Who decides.
        name: String,
        /// Why.
        why: String,
    },
    /// A club is handed over although something is open; no club means the current one.
    OverrideHandOver {
        /// The club.
        club: Option<String>,
        /// Who decides.
        name: String,
        /// Why.
        why: String,
    },
    /// A finished club is worked on again; no club means the current one.
    TakeClubUp {
        /// The club.
        club: Option<String>,
        /// Who decides.
        name: String,
        /// Why.
        why: String,
    },
    /// The current club is put aside.
    PutAside,
    /// The current club is put aside and the next one of its order is opened.
    NextClub,
    /// Do what is offered first: file the reading that waits, or mark the next step done.
    Accept,
}

/// What an instrument can be told, or is refused with its reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Control {
    /// Look for the zero again.
    Zero,
    /// Take a tare off.
    Tare,
    /// Store what it shows.
    Store,
}

/// Why a command was not carried out, in words for the person who gave it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Refusal(pub String);

pub(super) fn refused<T>(reason: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal(reason.into()))
}

/// What a captured reading leads to: filed or not, and a club finished by it.
#[must_use]
pub fn place(state: &State, reading: EventId, captured: &CapturedReading, at_us: i64) -> Vec<Change> {
    // A reference that was announced is never a part of a club.
    if let Some(changes) = trust::take(state, reading, captured, at_us) {
        return changes;
    }
    let placed = place_in(state, state.club(), reading, captured, at_us);
    match study_desk::take(state, reading, captured, at_us) {
        Some(Ok(changes)) => return changes,
        Some(Err(reason)) => return vec![Change::ReadingUnfiled { reading, reason, choices: choices_of(placed) }],
        None => {}
    }
    let blocked = trust::blocked(state, &captured.instrument, at_us);
    // What is laid down for the stock is nothing of the club, whatever becomes of it.
    if let Some(taken) = part_desk::take(state, reading, captured) {
        let reason = blocked.map_or(taken, Err);
        let unfiled = |reason| vec![Change::ReadingUnfiled { reading, reason, choices: Vec::new() }];
        return reason.unwrap_or_else(unfiled);
    }
    match blocked {
        Some(reason) => vec![Change::ReadingUnfiled { reading, reason, choices: choices_of(placed) }],
        None => placed,
    }
}

/// Where a reading would have gone, or might have.
fn choices_of(placed: Vec<Change>) -> Vec<Place> {
    placed
        .into_iter()
        .flat_map(|change| match change {
            Change::ReadingFiled { club, values, .. } => {
                let place = |v: FiledValue| Place { club: club.clone(), characteristic: v.characteristic };
                values.into_iter().map(place).collect()
            }
            Change::ReadingUnfiled { choices, .. } => choices,
            _ => Vec::new(),
        })
        .collect()
}

/// What a reading that lies unfiled on an instrument leads to when `club` is opened: filed, or nothing new.
#[must_use]
pub fn place_waiting(state: &State, club: &str, line: &CaptureLine, at_us: i64) -> Vec<Change> {
    let instrument = &line.captured.instrument;
    if trust::blocked(state, instrument, at_us).is_some() || state.is_taken(instrument) {
        return Vec::new();
    }
    let placed = place_in(state, state.clubs.get(club), line.event, &line.captured, line.at_us);
    let is_filed = placed.iter().any(|change| matches!(change, Change::ReadingFiled { .. }));
    if is_filed { placed } else { Vec::new() }
}

fn place_in(
    state: &State,
    club: Option<&ClubRecord>,
    reading: EventId,
    captured: &CapturedReading,
    at_us: i64,
) -> Vec<Change> {
    let measured = Reading { measured: captured.measured.clone() };
    let other_hand = club.and_then(|club| of_other_hand(state, captured, club));
    let routing = match club.and_then(|club| finished_club_again(state, club, &measured)) {
        _ if other_hand.is_some() => Routing::Refuse { reason: other_hand.unwrap_or_default(), choices: Vec::new() },
        Some(refusal) => refusal,
        None => elsewhere::route_among(state, club, captured.kind, &measured),
    };
    match (routing, club) {
        (Routing::File { values }, Some(club)) => file(state, club, (reading, at_us), captured, &values, false),
        (Routing::File { .. }, None) => Vec::new(),
        (Routing::Refuse { reason, choices }, _) => vec![Change::ReadingUnfiled { reading, reason, choices }],
    }
}

fn file(
    state: &State,
    club: &ClubRecord,
    (reading, at_us): (EventId, i64),
    captured: &CapturedReading,
    values: &[Routed],
    by_hand: bool,
) -> Vec<Change> {
    let values: Vec<FiledValue> = values
        .iter()
        .map(|r| {
            let budget = captured.budget.iter().find(|budget| budget.quantity == r.measured.quantity);
            let doubt = (r.measured.u, budget.and_then(Budget::expanded));
            judged(state.policy.rule, club, r.characteristic, r.stage, r.measured.value, doubt)
        })
        .collect();
    let trouble = state.trust.trouble(&state.policy, &captured.instrument, at_us);
    let mut after = club.clone();
    // Filed again, it leaves where it was; `State::apply` does the same.
    after.void(reading);
    for value in &values {
        after.file(Entry {
            filed: value.clone(),
            method: Method::Measured {
                instrument: captured.instrument.clone(),
                calibration: captured.calibration,
                on_key: captured.on_key,
                trouble: trouble.clone(),
            },
            event: reading,
            at_us: 0,
            by: None,
            standing: Standing::Valid,
            budget: None,
        });
    }
    let filed = Change::ReadingFiled {
        reading,
        club: club.spec.id.clone(),
        instrument: captured.instrument.clone(),
        calibration: captured.calibration,
        values,
        by_hand,
        trouble,
    };
    let mut changes = vec![filed];
    changes.extend(proven(club, &after, reading));
    let left = state.place_of(reading).filter(|former| *former != club.spec.id);
    if let Some(former) = left.and_then(|id| state.clubs.get(id)) {
        let mut without = former.clone();
        without.void(reading);
        changes.extend(after_change(state, former, &without));
    }
    changes.extend(checked(state, club, &after, reading));
    changes.extend(after_change(state, club, &after));
    changes
}

/// What a command leads to.
///
/// # Errors
/// Says why it cannot be done and what would do.
pub fn answer(state: &State, command: &Command) -> Result<Vec<Change>, Refusal> {
    match command {
        Command::ImportOrders(orders) => intake::import_all(state, orders),
        Command::PutOrderAside { order, why } => intake::put_order_aside(state, order, why),
        Command::TakeOrderUp(number) => intake::take_order_up(state, number),
        Command::OpenOrder(number) => intake::open_order(state, number),
        Command::OpenClub(id) => intake::open_club(state, id),
        Command::StepDone(step) => step_done(state, *step),
        Command::StepAgain { club, step } => repeating::done_again(state, club.as_deref(), *step),
        Command::Enter { club, characteristic, quantity } => enter(state, club.as_deref(), *characteristic, quantity),
        Command::Bend { club, characteristic, quantity } => bend(state, club.as_deref(), *characteristic, quantity),
        Command::Void { event, why } => voiding::void(state, *event, why),
        Command::File { event, place } => file_by_hand(state, *event, place),
        Command::Operator(operator) => Ok(vec![Change::OperatorChanged { operator: operator.clone() }]),
        Command::Scan(code) => cards::scan(state, code),
        Command::Control { instrument, .. } => {
            refused(format!("{instrument} is told nothing while the bench does not run"))
        }
        Command::Part(command) => part_desk::answer(state, command),
        Command::Drawer(command) => drawer_desk::answer(state, command),
        Command::Trust { instrument, command } => trust::answer(state, instrument, command),
        Command::Study(command) => study_desk::answer(state, command),
        Command::Mark { club, mark, command } => marks::answer(state, club.as_deref(), *mark, command),
        Command::BuildAgain { club, repeat } => again::build_again(state, club, repeat),
        Command::NextStep => cards::next_step_done(state),
        Command::Acknowledge => cards::acknowledge(state),
        Command::EnterAdhesive(adhesive) => Ok(adhesive::enter(state, adhesive)),
        Command::MixBatch { adhesive, temperature_c, lot } => {
            adhesive::mix(state, adhesive, *temperature_c, lot.as_deref())
        }
        Command::DiscardBatch => adhesive::discard(state),
        Command::OverrideCure { club, name, why } => adhesive::override_cure(state, club.as_deref(), name, why),
        Command::OverrideHandOver { club, name, why } => {
            hand_over::hand_over_all_the_same(state, club.as_deref(), name, why)
        }
        Command::TakeClubUp { club, name, why } => taking_up::take_up(state, club.as_deref(), name, why),
        Command::PutAside => cards::put_aside(state),
        Command::NextClub => cards::next_club(state),
        Command::Accept => cards::accept(state),
    }
}

fn enter(
    state: &State,
    club: Option<&str>,
    characteristic: Characteristic,
    quantity: &str,
) -> Result<Vec<Change>, Refusal> {
    let Some(id) = club.or(state.current_club.as_deref()) else {
        return refused("no club is open: name the club, or scan an order ticket first");
    };
    let Some(record) = state.clubs.get(id) else { return refused(format!("there is no club {id}")) };
    taking_up::is_in_reach(state, record)?;
    let typed = parse_target(quantity, characteristic.dimension())
        .map_err(|error| Refusal(format!("{} of {id}: {error}", characteristic.label())))?;
    let Some(value) = typed.value else {
        return refused(format!(
            "{} of {id}: \"{quantity}\" is a limit, type the value that was read",
            characteristic.label()
        ));
    };
    if !characteristic.possible().contains(&value) {
        return refused(impossible(characteristic, id, quantity));
    }
    let u = match typed.lower.zip(typed.upper) {
        // A stated half-width: rectangular distribution, JCGM 100:2008, 4.3.7.
        Some((lower, upper)) => (upper - lower) / 2.0 / 3f64.sqrt(),
        None => rule_uncertainty(characteristic),
    };
    let stage = record.stage_for(characteristic);
    let filed = judged(state.policy.rule, record, characteristic, stage, value, (u, None));
    let mut after = record.clone();
    after.file(Entry {
        filed: filed.clone(),
        method: Method::Typed { text: quantity.to_owned() },
        event: EventId::TYPED,
        at_us: 0,
        by: None,
        standing: Standing::Valid,
        budget: None,
    });
    let mut changes = vec![Change::ValueTyped { club: id.to_owned(), text: quantity.to_owned(), value: filed }];
    changes.extend(proven(record, &after, EventId::TYPED));
    changes.extend(checked(state, record, &after, EventId::TYPED));
    changes.extend(after_change(state, record, &after));
    Ok(changes)
}

pub(super) fn file_by_hand(state: &State, event: EventId, place: &Place) -> Result<Vec<Change>, Refusal> {
    let Some(line) = state.capture_line(event) else {
        return refused(format!("reading {event} is not among the last captured readings: lay the part down again"));
    };
    let Some(club) = state.clubs.get(&place.club) else {
        return refused(format!("there is no club {}", place.club));
    };
    match line.fate {
        Fate::Voided { .. } => return refused(format!("reading {event} is taken back: lay the part down again")),
        Fate::Reference => return refused(format!("reading {event} is one of a reference, not of a part")),
        Fate::Study { .. } => return refused(format!("reading {event} is one of a study: take it back there first")),
        Fate::Part { ref part } => {
            return refused(format!("reading {event} is that of {part} in stock: void it first"));
        }
        _ => {}
    }
    if let Some(reason) = of_other_hand(state, &line.captured, club) {
        return refused(reason);
    }
    let characteristic = place.characteristic;
    // What was shown together goes together: a club on the beam is mass, balance and swing weight.
    let together: Vec<Characteristic> = match characteristic.measured_on() {
        MeasuredOn::Club if line.captured.measured.len() > 1 => {
            Characteristic::all().filter(|c| c.measured_on() == MeasuredOn::Club).collect()
        }
        _ => vec![characteristic],
    };
    let measured = |c: Characteristic| -> Option<Measured> {
        let quantity = quantity_of(c)?;
        line.captured.measured.iter().find(|m| m.quantity == quantity).copied()
    };
    let values: Vec<Routed> = together
        .iter()
        .filter_map(|c| Some(Routed { characteristic: *c, stage: club.stage_for(*c), measured: measured(*c)? }))
        .collect();
    if values.is_empty() {
        return refused(format!("{} cannot be a {}", line.captured.instrument, characteristic.label()));
    }
    if let Some(wrong) = values.iter().find(|v| !v.characteristic.possible().contains(&v.measured.value)) {
        return refused(impossible(wrong.characteristic, &club.spec.id, &format!("{:.1}", wrong.measured.value)));
    }
    Ok(file(state, club, (event, line.at_us), &line.captured, &values, true))
}

fn impossible(characteristic: Characteristic, club: &str, found: &str) -> String {
    let possible = shown::possible(characteristic, lengths_of(found));
    format!("a {} of {found} is not possible for {club}, expected {possible}", characteristic.label())
}
