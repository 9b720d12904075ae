//! What is asked for without looking at the page: by a card under the scanner, or by the pedal.
//!
//! In: the state and a code, or what a foot wants. Out: changes, or a refusal in words. What such a request means depends
//! on the moment, as it does for the buttons of the page, and never on more than the page shows.

use super::advice;
use super::desk::{Refusal, file_by_hand, refused};
use super::event::Change;
use super::finishing::step_done;
use super::intake::{open_club, open_order};
use super::order::Order;
use super::part_code;
use super::part_desk;
use super::part_stock::PartFacts;
use super::record::{ClubRecord, ClubState};
use super::state::{Fate, State};
use super::taking_up;
use super::ticket::Ticket;
use super::voiding::void;

/// A code was scanned.
pub(super) fn scan(state: &State, code: &str) -> Result<Vec<Change>, Refusal> {
    match Ticket::parse(code) {
        Some(Ticket::Order(order)) => open_order(state, &order),
        Some(Ticket::Club(token)) => open_club(state, &token),
        Some(Ticket::Step(step)) => step_done(state, step),
        Some(Ticket::NextStep) => next_step_done(state),
        Some(Ticket::Acknowledge) => acknowledge(state),
        Some(Ticket::NextClub) => next_club(state),
        Some(Ticket::Operator(who)) => Ok(vec![Change::OperatorChanged { operator: Some(who) }]),
        Some(Ticket::VoidLast) => void(state, None, "taken back with the card"),
        Some(Ticket::Intake(kind)) => part_desk::begin(state, kind, None, &PartFacts::default()),
        Some(Ticket::IntakeEnd) => part_desk::end(state),
        Some(Ticket::Part(number)) => part_desk::use_parts(state, &[(None, number)]),
        None => match part_code::read(code) {
            Some(code) => part_desk::scan_code(state, &code),
            None => refused(format!("the code \"{code}\" is not a ticket of this bench")),
        },
    }
}

/// What the page offers first: the first place of a reading that has none, else the step that comes next.
pub(super) fn accept(state: &State) -> Result<Vec<Change>, Refusal> {
    if let Some(line) = state.captures.back()
        && let Fate::Unfiled { choices, .. } = &line.fate
    {
        return match choices.first() {
            Some(place) => file_by_hand(state, line.event, place),
            None => refused("the last reading fits nothing: put it right and lay the part down again, or void it"),
        };
    }
    next_step_done(state)
}

/// The step that comes next is done.
pub(super) fn next_step_done(state: &State) -> Result<Vec<Change>, Refusal> {
    let Some(club) = state.club() else {
        return refused("no club is open, so no step comes next: scan an order ticket first");
    };
    match club.next_step() {
        Some(step) => step_done(state, step),
        None => taking_up::no_step_left(club),
    }
}

/// What can hurt at the step that comes next was read by whoever is at the bench.
pub(super) fn acknowledge(state: &State) -> Result<Vec<Change>, Refusal> {
    let Some(club) = state.club() else {
        return refused("no club is open, so no cautions are shown: scan an order ticket first");
    };
    let shown = club.next_step().map(|step| (step, advice::cautions(club)));
    match shown {
        Some((step, cautions)) if !cautions.is_empty() => {
            Ok(vec![Change::CautionsAcknowledged { club: club.spec.id.clone(), step, cautions }])
        }
        _ => refused(format!("no cautions are shown for {} now", club.spec.id)),
    }
}

/// The open club is put aside, and none is open.
pub(super) fn put_aside(state: &State) -> Result<Vec<Change>, Refusal> {
    match &state.current_club {
        Some(club) => Ok(vec![Change::ClubPutAside { club: club.clone() }]),
        None => refused("no club is open, so none can be put aside"),
    }
}

/// The open club is put aside, and the next one of its order is opened.
pub(super) fn next_club(state: &State) -> Result<Vec<Change>, Refusal> {
    let Some(order) = state.order() else {
        return refused("no order is open, so there is no next club: scan an order ticket first");
    };
    let next = following(state, order);
    match (&state.current_club, next) {
        (Some(club), Some(next)) => {
            Ok(vec![Change::ClubPutAside { club: club.clone() }, Change::ClubOpened { club: next.spec.id.clone() }])
        }
        (None, Some(next)) => Ok(vec![Change::ClubOpened { club: next.spec.id.clone() }]),
        (Some(club), None) => {
            refused(format!("{club} is the only club of {} that is not finished: it stays open", order.number))
        }
        (None, None) => refused(format!("order {} is finished: every club is built", order.number)),
    }
}

/// The next club that is not finished and not put aside, round and round from the open one; else the next one that is
/// put aside.
fn following<'a>(state: &'a State, order: &Order) -> Option<&'a ClubRecord> {
    let open = order.clubs.iter().position(|spec| Some(&spec.id) == state.current_club.as_ref());
    let (before, behind) = order.clubs.split_at_checked(open.unwrap_or(0))?;
    let round = behind.iter().skip(usize::from(open.is_some())).chain(before);
    let others: Vec<&ClubRecord> = round.filter_map(|spec| state.clubs.get(&spec.id)).collect();
    let waiting = others.iter().find(|club| matches!(club.state, ClubState::Waiting | ClubState::InWork));
    waiting.or_else(|| others.iter().find(|club| club.state == ClubState::Aside)).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::club::characteristic::Characteristic;
    use crate::measurement::reading::{InstrumentKind, Measured, Quantity};
    use crate::measurement::stamp::Stamp;
    use crate::work_order::build::Build;
    use crate::work_order::desk::{Command, answer};
    use crate::work_order::details::Details;
    use crate::work_order::event::{CapturedReading, EventId, Numbering, Place};
    use crate::work_order::order::{ClubKind, ClubSpec, Hand, Priority, WorkKind};
    use crate::work_order::steps::Step;

    /// 203 g on a scale.
    fn captured() -> CapturedReading {
        CapturedReading {
            instrument: "parts-scale".into(),
            kind: InstrumentKind::Scale,
            measured: vec![Measured { quantity: Quantity::Mass, value: 203.0, u: 0.01 }],
            levels: [203.0, 0.0],
            zero: [0.0; 2],
            u_levels: [0.0; 2],
            window_s: [1.0, 2.0],
            t_s: 2.0,
            printed: None,
            on_key: false,
            air_c: None,
            stable_flag: None,
            laid: None,
            calibration: EventId(uuid::Uuid::nil()),
            evidence: String::new(),
            budget_inputs: None,
            budget: Vec::new(),
        }
    }

    /// A bench with an order of three clubs, the first of them open.
    struct Table {
        state: State,
        numbering: Numbering,
    }

    impl Table {
        fn new() -> Self {
            let club = |n: u8| ClubSpec {
                id: format!("W-1/{n}"),
                token: format!("t{n}"),
                name: format!("{n}-iron"),
                kind: ClubKind::Iron,
                hand: Hand::Right,
                work: WorkKind::Build,
                route: Vec::new(),
                targets: Vec::new(),
                details: Details::default(),
                build: Build::default(),
                models: crate::work_order::order::Models::default(),
            };
            let clubs = (1..=3).map(club).collect();
            let order = Order { number: "W-1".into(), player: None, due: None, priority: Priority::Normal, clubs };
            let mut table = Self { state: State::default(), numbering: Numbering::after(1, 0) };
            table.take(vec![Change::OrderImported { order }]);
            table
        }

        fn take(&mut self, changes: Vec<Change>) {
            for change in changes {
                let event = self.numbering.event(Stamp::default(), None, change);
                self.state.apply(&event);
            }
        }

        /// Scans codes one after the other; the open club after each, or the words of the refusal.
        #[track_caller]
        fn check(&mut self, scans: &[(&str, &str)]) {
            for (code, expected) in scans {
                let got = match answer(&self.state, &Command::Scan((*code).to_owned())) {
                    Ok(changes) => {
                        self.take(changes);
                        self.state.current_club.clone().unwrap_or_else(|| "none".to_owned())
                    }
                    Err(refusal) => refusal.0,
                };
                assert!(got.contains(expected), "{code}: {got}, expected {expected}");
            }
        }

        fn steps(&self, club: &str) -> Vec<Step> {
            self.state.clubs[club].steps.iter().map(|done| done.step).collect()
        }
    }

    #[test]
    fn the_next_club_goes_round_and_comes_back_to_those_put_aside() {
        let mut table = Table::new();
        table.check(&[("BS1/N", "no order is open"), ("BS1/O/W-1", "W-1/1"), ("BS1/N", "W-1/2")]);
        assert_eq!(table.state.clubs["W-1/1"].state, ClubState::Aside);
        table.check(&[("BS1/N", "W-1/3"), ("BS1/N", "W-1/1"), ("BS1/N", "W-1/2")]);
        // A club that was only left, not put aside, comes before those put aside.
        table.check(&[("BS1/C/T1", "W-1/1"), ("BS1/N", "W-1/2"), ("BS1/N", "W-1/3")]);
        for id in ["W-1/1", "W-1/2"] {
            table.take(vec![Change::ClubFinished { club: id.into() }]);
        }
        table.check(&[("BS1/N", "W-1/3 is the only club of W-1 that is not finished")]);
    }

    #[test]
    fn an_order_whose_last_clubs_are_put_aside_is_not_finished() {
        let mut table = Table::new();
        table.check(&[("BS1/O/W-1", "W-1/1")]);
        let aside = answer(&table.state, &Command::PutAside).unwrap();
        table.take(aside);
        assert_eq!(
            answer(&table.state, &Command::PutAside).unwrap_err().0,
            "no club is open, so none can be put aside"
        );
        for id in ["W-1/2", "W-1/3"] {
            table.take(vec![Change::ClubOpened { club: id.into() }, Change::ClubFinished { club: id.into() }]);
        }
        assert_eq!(table.state.current_club, None);
        assert_eq!(table.state.queue().iter().map(|order| order.number.as_str()).collect::<Vec<_>>(), ["W-1"]);
        table.check(&[("BS1/O/W-1", "W-1/1")]);
        assert_eq!(table.state.clubs["W-1/1"].state, ClubState::InWork);
        table.take(vec![Change::ClubFinished { club: "W-1/1".into() }]);
        table.check(&[("BS1/N", "every club is built"), ("BS1/O/W-1", "is finished")]);
        assert_eq!(table.state.queue().len(), 0);
    }

    #[test]
    fn the_step_that_comes_next_is_done_one_after_the_other() {
        let mut table = Table::new();
        table.check(&[("BS1/D", "no club is open"), ("BS1/O/W-1", "W-1/1"), ("BS1/D", "W-1/1"), ("BS1/D", "W-1/1")]);
        assert_eq!(table.steps("W-1/1"), [Step::DryFit, Step::Bond]);
        table.check(&[("BS1/S/FINAL-CHECK", "W-1/1"), ("BS1/D", "W-1/2")]);
        assert_eq!(table.state.clubs["W-1/1"].state, ClubState::Finished);
        assert_eq!(table.steps("W-1/1").last(), Some(&Step::HandOver));
    }

    #[test]
    fn other_codes_are_refused_in_words() {
        let mut table = Table::new();
        table.check(&[
            ("(01)09506000134352(10)AB", "part code GTIN 09506000134352, lot AB: nothing is waiting for it"),
            ("9506000134352", "part code item number 9506000134352: nothing is waiting for it"),
            ("HELLO", "the code \"HELLO\" is not a ticket of this bench"),
            ("BS1/X", "is not a ticket"),
            ("BS1/V", "there is nothing to take back"),
            ("BS1/O/W-2", "there is no order W-2"),
            ("BS1/C/ZZ", "there is no club zz; the label or sheet of a club has its code, `orders show N` its id"),
            ("BS1/C/W-7/1", "there is no club W-7/1"),
        ]);
        table.check(&[("BS1/W/K7", "none")]);
        assert_eq!(table.state.operator.as_deref(), Some("K7"));
    }

    #[test]
    fn accept_files_the_reading_that_waits_and_else_marks_the_step_done() {
        let mut table = Table::new();
        table.check(&[("BS1/O/W-1", "W-1/1")]);
        let accept = |table: &Table| answer(&table.state, &Command::Accept);
        let done = accept(&table).unwrap();
        assert!(matches!(done[..], [Change::StepDone { step: Step::DryFit, .. }]), "{done:?}");
        for (choices, expected) in [(0, "fits nothing"), (2, "W-1/2")] {
            table.take(vec![Change::ReadingCaptured(captured())]);
            let reading = table.state.captures.back().unwrap().event;
            let place = |n| Place { club: format!("W-1/{n}"), characteristic: Characteristic::HeadMass };
            let choices = (0..choices).map(|n| place(2 - n)).collect();
            table.take(vec![Change::ReadingUnfiled { reading, reason: "two fit".into(), choices }]);
            let got = format!("{:?}", accept(&table));
            assert!(got.contains(expected), "{got}");
        }
        // Once it has its place, the next press means the step again.
        let filed = accept(&table).unwrap();
        table.take(filed);
        assert!(matches!(accept(&table).unwrap()[..], [Change::StepDone { .. }]));
    }
}
