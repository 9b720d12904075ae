//! Gauge studies as events through the fold: begun, read cell by cell, taken back, worked out; the published example.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

use benchscribe::journal::event::{canonical, parse};
use benchscribe::measurement::calibration::{Calibration, ScaleCalibration};
use benchscribe::measurement::reading::{InstrumentKind, Measured, Quantity};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::measurement::study_result::Fitness;
use benchscribe::measurement::unit::Grams;
use benchscribe::output::study_view;
use benchscribe::work_order::desk::{Command, answer, place};
use benchscribe::work_order::event::{CapturedReading, Change, Event, EventId, Numbering};
use benchscribe::work_order::state::{Fate, State};
use benchscribe::work_order::study::Study;
use benchscribe::work_order::study_plan::StudyStage;
use proptest::prelude::*;
use serde_json::{Value, json};

/// One club with two parts to weigh.
const ORDER: &str = r#"
order = "W-1"

[[club]]
name = "5-iron"
kind = "iron"
head_mass = "203 g ± 2 g"
shaft_mass = "115 g ± 3 g"
"#;

/// The published example, `[appraiser][trial][part]`: measurement-systems-analysis manual of the automotive industry, 4th
/// ed.; see `tests/checks/06_grr.json` and its sources.
fn published() -> Vec<Vec<Vec<f64>>> {
    let text = include_str!("checks/06_grr.json");
    let checks: Value = serde_json::from_str(text).unwrap();
    let data = checks["items"].as_array().unwrap().iter().find(|item| item["id"] == "GRR-data").unwrap();
    let people = data["inputs"]["data"].as_object().unwrap();
    ["A", "B", "C"].map(|person| serde_json::from_value(people[person].clone()).unwrap()).to_vec()
}

/// What is expected of it.
fn expected(id: &str) -> Value {
    let checks: Value = serde_json::from_str(include_str!("checks/06_grr.json")).unwrap();
    checks["items"].as_array().unwrap().iter().find(|item| item["id"] == id).unwrap()["expected"].clone()
}

/// A bench that is nothing but its fold: commands and readings in, events applied.
struct Fold {
    state: State,
    numbering: Numbering,
    events: Vec<Event>,
    at_us: i64,
}

impl Fold {
    /// A bench with one scale.
    fn new() -> Self {
        let mut fold = Self {
            state: State::default(),
            numbering: Numbering::after(1, 0),
            events: Vec::new(),
            at_us: 1_700_000_000_000_000,
        };
        let scale = ScaleCalibration {
            span: 1.0,
            bend_per_g: 0.0,
            u_span: 0.0,
            u_linearity: Grams(0.0),
            u_eccentricity: Grams(0.0),
            scatter: None,
        };
        fold.take(vec![Change::Calibrated {
            instrument: "scale".into(),
            format: "plain-value-unit".into(),
            format_text: None,
            format_settings: Vec::new(),
            channels: [String::new(), String::new()],
            resolution: 0.01,
            rate_hz: 10.0,
            capacity_g: None,
            calibration: Calibration::Scale(scale),
            source: "configuration".into(),
            accuracy_class: None,
            verification_interval_g: None,
            report: None,
        }]);
        fold
    }

    fn take(&mut self, changes: Vec<Change>) {
        for change in changes {
            let stamp = Stamp { t_s: 0.0, at_us: self.at_us };
            let event = self.numbering.event(stamp, self.state.operator.as_deref(), change);
            // What is folded is what was stored and read back.
            let event = parse(&canonical(&event, "bench-1").unwrap()).unwrap();
            self.state.apply(&event);
            self.events.push(event);
        }
    }

    fn command(&mut self, json: Value) -> Result<(), String> {
        let command: Command = benchscribe::output::command::parse(&json)?;
        let changes = answer(&self.state, &command).map_err(|refusal| refusal.0)?;
        self.take(changes);
        Ok(())
    }

    /// Lays something on the scale; the reading's event.
    fn weigh(&mut self, value: f64) -> EventId {
        self.at_us += 5_000_000;
        let captured = CapturedReading {
            instrument: "scale".into(),
            kind: InstrumentKind::Scale,
            measured: vec![Measured { quantity: Quantity::Mass, value, u: 0.01 }],
            levels: [value, 0.0],
            zero: [0.0; 2],
            u_levels: [0.01, 0.0],
            window_s: [0.0, 1.0],
            t_s: 1.0,
            printed: None,
            on_key: false,
            stable_flag: None,
            air_c: None,
            laid: None,
            calibration: self.state.calibrations["scale"].event,
            evidence: String::new(),
            budget_inputs: None,
            budget: Vec::new(),
        };
        self.take(vec![Change::ReadingCaptured(captured.clone())]);
        let reading = self.events.last().unwrap().id;
        let placed = place(&self.state, reading, &captured, self.at_us);
        self.take(placed);
        reading
    }

    fn study(&self) -> &Study {
        self.state.studies.list.last().unwrap()
    }

    /// Who and which part and trial comes next, by number from 0.
    fn next(&self) -> Option<(usize, usize, usize)> {
        let (_, cell) = self.study().next()?;
        Some((usize::from(cell.person), usize::from(cell.trial), usize::from(cell.part)))
    }

    /// Takes the next reading as the table has it; the person scans first.
    fn read_next(&mut self, table: &[Vec<Vec<f64>>]) -> EventId {
        let (person, trial, part) = self.next().unwrap();
        let name = self.study().plan.people[person].clone();
        if self.state.operator.as_deref() != Some(name.as_str()) {
            self.command(json!({"command": "scan", "code": format!("BS1/W/{name}")})).unwrap();
        }
        self.weigh(table[person][trial][part])
    }
}

fn begin(parts: usize, people: &[&str], trials: usize) -> Value {
    json!({"command": "study_begin", "instrument": "scale", "parts": parts, "people": people, "trials": trials})
}

#[test]
fn the_published_example_comes_out_of_the_events() {
    let (table, mut fold) = (published(), Fold::new());
    let mut command = begin(10, &["A", "B", "C"], 3);
    // The example has no tolerance; this one is ours, 4 units wide.
    command["tolerance"] = json!("1 g ± 2 g");
    fold.command(command).unwrap();
    while fold.next().is_some() {
        fold.read_next(&table);
    }
    let study = fold.study();
    assert_eq!((study.stage, study.done(), study.order.len()), (StudyStage::Finished, 90, 90));
    assert!(
        fold.events
            .iter()
            .all(|event| !matches!(event.change, Change::ReadingFiled { .. } | Change::ReadingUnfiled { .. }))
    );
    let result = study.result().unwrap();
    let near = |found: f64, key: &str, expected: &Value, tolerance: f64| {
        let expected = expected[key].as_f64().unwrap();
        assert!((found - expected).abs() <= tolerance, "{key}: {found}, published {expected}");
    };
    let pooled = expected("GRR-anova-pooled");
    assert!(result.pooled);
    for (key, found) in [
        ("EV_sd", result.by_anova.repeatability),
        ("AV_sd", result.by_anova.reproducibility()),
        ("GRR_sd", result.by_anova.measuring),
        ("PV_sd", result.by_anova.parts),
        ("TV_sd", result.by_anova.total),
        ("GRR_percent_TV", result.by_anova.percent_of_total(result.by_anova.measuring).unwrap()),
        ("ndc_1.41PV/GRR", result.by_anova.categories().unwrap()),
    ] {
        near(found, key, &pooled, 1e-8);
    }
    let (by_ranges, ranges) = (expected("GRR-range"), result.by_ranges.unwrap());
    for (key, found) in [
        ("EV", ranges.repeatability),
        ("AV", ranges.reproducibility()),
        ("GRR", ranges.measuring),
        ("PV", ranges.parts),
        ("TV", ranges.total),
        ("GRR_percent_TV", ranges.percent_of_total(ranges.measuring).unwrap()),
        ("ndc", ranges.categories().unwrap()),
    ] {
        near(found, key, &by_ranges, 1e-6);
    }
    // The manual's table prints 90 % limits, 0.177 and 0.231 of the repeatability, 1.033 above of the measuring (from memory).
    let ([low, high], [_, above]) = (result.repeatability_limits.unwrap(), result.measuring_limits.unwrap());
    assert!((low - 0.177).abs() < 5e-4 && (high - 0.231).abs() < 5e-4, "{low} {high}");
    assert!((above - 1.033).abs() < 1e-3, "{above}");
    // What the journal says is the same: 6 · 0.30237 of 4 is 45.36 %, 4.86 kinds are 4 (the manual prints ndc 4).
    let Change::StudyFinished { summary, .. } = &fold.events.last().unwrap().change else { panic!() };
    assert!((summary.percent_of_tolerance.unwrap() - 45.356).abs() < 1e-2, "{summary:?}");
    assert_eq!(summary.categories, Some(4));
    assert_eq!(study_view::fitness(study, &result), Some(Fitness::NotEnough));
    let findings = study_view::findings(study, &result).join("\n");
    // Means of the example by hand: A 0.1903, B 0.0683, C -0.2543 of 0.0014 in all: C stands out.
    for words in ["takes 45.4 % of the tolerance", "4 kinds", "C reads 0.256 g less than the mean"] {
        assert!(findings.contains(words), "{findings}");
    }
}

#[test]
fn a_study_takes_no_reading_of_the_wrong_person_and_none_for_a_club() {
    let mut fold = Fold::new();
    fold.command(json!({"command": "import_order", "text": ORDER})).unwrap();
    fold.command(json!({"command": "open_order", "order": "W-1"})).unwrap();
    fold.command(begin(2, &["K7", "M2"], 2)).unwrap();
    let first = fold.study().person(fold.study().next().unwrap().1).to_owned();
    let other = if first == "K7" { "M2" } else { "K7" };
    for operator in [None, Some(other)] {
        fold.take(vec![Change::OperatorChanged { operator: operator.map(str::to_owned) }]);
        // 203 g would be the head of the open club.
        fold.weigh(203.0);
        let Change::ReadingUnfiled { reason, choices, .. } = &fold.events.last().unwrap().change else { panic!() };
        assert!(reason.starts_with(&format!("{first} is next in study S-1: scan the card of {first}")), "{reason}");
        assert_eq!(choices.len(), 1, "a person may still say that it was the head");
    }
    fold.command(json!({"command": "scan", "code": format!("BS1/W/{first}")})).unwrap();
    let reading = fold.weigh(203.0);
    assert_eq!(fold.state.capture_line(reading).unwrap().fate, Fate::Study { study: "S-1".into() });
    assert_eq!(fold.study().done(), 1);
    let file = json!({"command": "file", "event": reading.to_string(), "club": "W-1/1", "characteristic": "head_mass"});
    assert!(fold.command(file).unwrap_err().contains("one of a study"));
    // Forgotten for a quarter of an hour: neither study nor club takes it by itself.
    fold.at_us += 16 * 60 * 1_000_000;
    fold.weigh(203.0);
    let Change::ReadingUnfiled { reason, .. } = &fold.events.last().unwrap().change else { panic!() };
    assert!(reason.contains("waited for more than a quarter of an hour"), "{reason}");
    fold.command(json!({"command": "study_resume", "study": "S-1"})).unwrap();
    fold.weigh(203.0);
    assert_eq!(fold.study().done(), 2);
    // Set aside, the scale measures clubs; resumed, it does not.
    fold.command(json!({"command": "study_set_aside", "study": "S-1"})).unwrap();
    fold.weigh(203.2);
    assert!(matches!(fold.events.last().unwrap().change, Change::ReadingFiled { .. }));
    fold.command(json!({"command": "study_resume", "study": "s-1"})).unwrap();
    let filed = fold.state.clubs["W-1/1"].entries.len();
    let second = fold.study().person(fold.study().next().unwrap().1).to_owned();
    fold.command(json!({"command": "operator", "operator": second})).unwrap();
    fold.weigh(203.0);
    assert_eq!((fold.study().done(), fold.state.clubs["W-1/1"].entries.len()), (3, filed));
}

#[test]
fn a_reading_can_be_taken_back_and_a_study_broken_off() {
    let (table, mut fold) = (published(), Fold::new());
    fold.command(begin(2, &["A", "B"], 2)).unwrap();
    assert!(fold.command(json!({"command": "study_take_back", "study": "S-1"})).unwrap_err().contains("no reading"));
    let first = fold.next();
    fold.read_next(&table);
    let second = fold.next();
    let reading = fold.read_next(&table);
    fold.command(json!({"command": "study_take_back", "study": "S-1"})).unwrap();
    assert_eq!((fold.study().done(), fold.next()), (1, second));
    assert!(matches!(fold.state.capture_line(reading).unwrap().fate, Fate::Voided { .. }));
    let again = json!({"command": "void", "event": reading.to_string(), "why": "twice"});
    assert!(fold.command(again).unwrap_err().contains("already taken back"));
    // The card and the pedal mean the same reading.
    fold.command(json!({"command": "scan", "code": "BS1/V"})).unwrap();
    assert_eq!((fold.study().done(), fold.next()), (0, first));
    while fold.next().is_some() {
        fold.read_next(&table);
    }
    assert_eq!(fold.study().stage, StudyStage::Finished);
    // The last one was wrong: the study is open again, and finished by the same cell.
    fold.command(json!({"command": "study_take_back", "study": "S-1"})).unwrap();
    assert_eq!((fold.study().stage, fold.study().done()), (StudyStage::Open, 7));
    assert!(fold.command(begin(2, &["A", "B"], 2)).unwrap_err().contains("S-1 is under way on scale"));
    fold.read_next(&table);
    assert_eq!(fold.study().stage, StudyStage::Finished);
    fold.command(begin(2, &["A", "B"], 2)).unwrap();
    let refused = fold.command(json!({"command": "study_take_back", "study": "S-1"})).unwrap_err();
    assert!(refused.contains("while S-2 is under way"), "{refused}");
    let off = |why: &str| json!({"command": "study_break_off", "study": "S-2", "why": why});
    fold.command(off("part 2 fell")).unwrap();
    assert_eq!(fold.study().why.as_deref(), Some("part 2 fell"));
    assert!(fold.command(off("again")).unwrap_err().contains("broken off already"));
    assert!(fold.command(json!({"command": "study_resume", "study": "S-2"})).unwrap_err().contains("begin another"));
    fold.weigh(203.0);
    assert!(!matches!(fold.events.last().unwrap().change, Change::StudyRead(_)));
}

/// What may happen around a study, in any order.
#[derive(Debug, Clone, Copy)]
enum Happening {
    Lay,
    Scan(usize),
    TakeBack,
    Card,
    Aside,
    Resume,
    Wait,
}

fn happening() -> impl Strategy<Value = Happening> {
    prop_oneof![
        6 => Just(Happening::Lay),
        4 => (0..3_usize).prop_map(Happening::Scan),
        1 => Just(Happening::TakeBack),
        1 => Just(Happening::Card),
        1 => Just(Happening::Aside),
        2 => Just(Happening::Resume),
        1 => Just(Happening::Wait),
    ]
}

proptest! {
    #[test]
    fn whatever_happens_a_study_keeps_its_readings_and_no_club_gets_one(
        happenings in proptest::collection::vec(happening(), 0..120)
    ) {
        let people = ["K7", "M2", "T4"];
        let mut fold = Fold::new();
        fold.command(json!({"command": "import_order", "text": ORDER})).unwrap();
        fold.command(json!({"command": "open_order", "order": "W-1"})).unwrap();
        fold.command(begin(2, &people, 2)).unwrap();
        for (count, happening) in (0_u32..).zip(happenings) {
            let (before, next, operator) = (fold.study().clone(), fold.next(), fold.state.operator.clone());
            let events = fold.events.len();
            match happening {
                Happening::Lay => {
                    let reading = fold.weigh(203.0 + 0.001 * f64::from(count));
                    let is_open = before.stage == StudyStage::Open;
                    let expected = next.map(|(person, ..)| people[person]);
                    let new = &fold.events[events..];
                    let filed = new.iter().any(|event| matches!(event.change, Change::ReadingFiled { .. }));
                    prop_assert!(!(is_open && filed), "a club got a reading of an open study");
                    if fold.study().holds(reading) {
                        prop_assert!(is_open && operator.as_deref() == expected);
                        prop_assert_eq!(fold.study().done(), before.done() + 1);
                    } else {
                        prop_assert_eq!(fold.study(), &before);
                    }
                }
                Happening::Scan(person) => {
                    let code = format!("BS1/W/{}", people[person]);
                    fold.command(json!({"command": "scan", "code": code})).unwrap();
                }
                Happening::TakeBack => {
                    let done = fold.command(json!({"command": "study_take_back", "study": "S-1"})).is_ok();
                    prop_assert_eq!(done, before.done() > 0);
                    prop_assert_eq!(fold.study().done(), before.done().saturating_sub(1));
                }
                Happening::Card => {
                    fold.command(json!({"command": "scan", "code": "BS1/V"})).ok();
                }
                Happening::Aside => {
                    fold.command(json!({"command": "study_set_aside", "study": "S-1"})).ok();
                }
                Happening::Resume => {
                    fold.command(json!({"command": "study_resume", "study": "S-1"})).ok();
                }
                Happening::Wait => fold.at_us += 16 * 60 * 1_000_000,
            }
            let study = fold.study();
            prop_assert_eq!(study.stage == StudyStage::Finished, study.done() == study.order.len());
            prop_assert_eq!(study.result().is_some(), study.stage == StudyStage::Finished);
        }
        let mut again = State::default();
        fold.events.iter().for_each(|event| again.apply(event));
        prop_assert_eq!(&again.studies.list, &fold.state.studies.list);
    }
}
