//! What finished clubs say of the work, looked up in a journal: times, first passes, distributions, the table.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(missing_docs, reason = "a test is no library")]

mod grown_journal;

use benchscribe::journal::store::Journal;
use benchscribe::output::history_view::{self, HistoryView};
use grown_journal::{BENCH, EPOCH, START_US, STEP_US, Writer, filed_value};
use serde_json::json;

/// A club of one head and one swing weight: first `swing`, and if that is out of D2 ± 0.5 a second one that is within.
fn build(writer: &mut Writer, club: &str, swing: f64) {
    writer.write("club_opened", json!({"club": club}));
    let wrong = writer.captured("parts-scale", 300.0);
    writer.filed(wrong, club, "head_mass", 300.0, "over");
    // The wrong head lay there: taken back, so it was no first result.
    writer.write("reading_voided", json!({"reading": wrong.to_string(), "why": "wrong head"}));
    let head = writer.captured("parts-scale", 256.5);
    writer.filed(head, club, "head_mass", 256.5, "within");
    writer.write("step_done", json!({"club": club, "step": "bond"}));
    for value in [swing, 32.0] {
        let verdict = if value > 32.5 { "over" } else { "within" };
        let reading = writer.captured("beam", 424.0);
        let mut filed = filed_value("swing_weight", value, verdict);
        for (key, number) in [("target", 32.0), ("lower", 31.5), ("upper", 32.5), ("deviation", value - 32.0)] {
            filed[key] = json!(number);
        }
        let calibration = benchscribe::work_order::event::EventId::new(EPOCH, 1, START_US).to_string();
        let fields = json!({"reading": reading.to_string(), "club": club, "instrument": "beam", "calibration": calibration,
            "values": [filed], "by_hand": false});
        writer.write("reading_filed", fields);
        if verdict == "within" {
            break;
        }
    }
    writer.write("step_done", json!({"club": club, "step": "hand_over"}));
    writer.write("club_finished", json!({"club": club}));
}

/// Twelve clubs, two of which had to be adjusted, and one that was not finished.
fn twelve() -> Writer {
    let mut writer = Writer::new();
    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
    writer.calibrated("parts-scale", "configuration", false);
    writer.order("order_imported", "W-1", "P-1", 13);
    for n in 1..=12_u8 {
        let swing = if n % 6 == 0 { 32.8 } else { 31.9 + f64::from(n % 3) * 0.1 };
        build(&mut writer, &format!("W-1/{n}"), swing);
    }
    writer.write("club_opened", json!({"club": "W-1/13"}));
    writer
}

async fn history(writer: &Writer, time: (Option<i64>, Option<i64>)) -> HistoryView {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
    journal.append(&writer.events, &[]).await.unwrap();
    let found = history_view::find(&journal.reader(), Vec::new(), time, 100).await.unwrap();
    journal.close().await;
    found
}

#[tokio::test]
async fn finished_clubs_say_how_the_work_went() {
    let found = history(&twelve(), (None, None)).await;
    assert_eq!((found.clubs, found.more), (12, false));
    let pass = found.first_pass.unwrap();
    assert_eq!((pass.good, pass.all), (10, 12), "two swing weights were out the first time, though right in the end");
    // Wilson's interval of 10 in 12, worked out by hand with z = 1.959964: 0.5520 to 0.9530.
    let [low, high] = pass.within.unwrap();
    assert!((low - 0.5520).abs() < 5e-4 && (high - 0.9530).abs() < 5e-4, "{low} {high}");
    let swing = found.distributions.iter().find(|found| found.characteristic == "swing_weight").unwrap();
    assert_eq!((swing.count, swing.instrument.as_str(), swing.first_pass.good), (12, "beam", 10));
    assert!((swing.results[5].deviation - 0.8).abs() < 1e-9 && swing.results[5].club == "W-1/6");
    assert!(swing.cp.is_some() && swing.cpk.unwrap() < swing.cp.unwrap());
    assert!(swing.remark.contains("interval") || swing.remark.contains("signal"), "{}", swing.remark);
    let head = found.distributions.iter().find(|found| found.characteristic == "head_mass").unwrap();
    assert_eq!(head.first_pass.good, 12, "a head that was taken back is no first result");
    assert!(head.cp.is_none() && head.remark.contains("alike"), "{}", head.remark);
    // From the opening to the bond are six events; the step after it has three or five.
    #[expect(clippy::cast_precision_loss, reason = "seconds of a test")]
    let step_s = STEP_US as f64 / 1e6;
    let bond = found.steps.iter().find(|step| step.step == "bond").unwrap();
    assert!((bond.took.median_s - 6.0 * step_s).abs() < 1e-6 && bond.took.count == 12, "{bond:?}");
    let last = found.steps.iter().find(|step| step.step == "hand_over").unwrap();
    assert!((last.took.longest_s - 5.0 * step_s).abs() < 1e-6 && (last.took.shortest_s - 3.0 * step_s).abs() < 1e-6);
}

/// Bonded again on the second day, which is one bond of one club.
#[tokio::test]
async fn a_step_that_was_marked_again_counts_once_for_its_club() {
    let mut writer = Writer::new();
    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
    writer.order("order_imported", "W-1", "P-1", 2);
    for n in 1..=2 {
        let club = format!("W-1/{n}");
        writer.write("club_opened", json!({"club": club}));
        for step in ["bond", "grip", "bond", "hand_over"].into_iter().skip(usize::from(n == 2)) {
            writer.write("step_done", json!({"club": club, "step": step}));
        }
        writer.write("club_finished", json!({"club": club}));
    }
    let found = history(&writer, (None, None)).await;
    #[expect(clippy::cast_precision_loss, reason = "seconds of a test")]
    let step_s = STEP_US as f64 / 1e6;
    let of = |name: &str| found.steps.iter().find(|step| step.step == name).unwrap().took;
    let (bond, grip) = (of("bond"), of("grip"));
    assert_eq!((bond.count, grip.count, found.clubs), (2, 2, 2));
    // Both bonds of the first club took two steps of time together.
    assert!((bond.longest_s - 2.0 * step_s).abs() < 1e-6 && (bond.shortest_s - step_s).abs() < 1e-6, "{bond:?}");
}

#[tokio::test]
async fn a_time_bounds_it_and_nothing_is_said_of_nothing() {
    let writer = twelve();
    let finished: Vec<i64> =
        writer.events.iter().filter(|event| event.change.kind() == "club_finished").map(|event| event.at_us).collect();
    let found = history(&writer, (Some(finished[2]), Some(finished[5]))).await;
    assert_eq!(found.clubs, 3, "the beginning counts, the end does not");
    assert!(found.distributions[0].remark.contains("too few"), "{}", found.distributions[0].remark);
    let nothing = history(&writer, (Some(finished[11] + 1), None)).await;
    assert_eq!((nothing.clubs, nothing.first_pass.is_none(), nothing.distributions.len()), (0, true, 0));
}

#[tokio::test]
async fn the_table_is_read_by_another_and_holds_no_formula() {
    let mut writer = twelve();
    let typed = json!({"club": "W-1/1", "text": "256 g", "value": filed_value("head_mass", 256.0, "within")});
    writer.write("value_typed", typed);
    let mut found = history(&writer, (None, None)).await;
    found.distributions[0].instrument = "=cmd|' /c x'!A1".to_owned();
    let text = history_view::csv(&found).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head = reader.headers().unwrap().clone();
    assert_eq!(&head[0], "what");
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!(rows.iter().all(|row| row.len() == head.len()));
    assert!(rows.iter().any(|row| &row[2] == "'=cmd|' /c x'!A1"));
    for field in rows.iter().flat_map(csv::StringRecord::iter) {
        assert!(!field.starts_with(['=', '+', '@']), "{field}");
        assert!(!field.starts_with('-') || field.parse::<f64>().is_ok(), "{field}");
    }
    let swings = rows.iter().filter(|row| &row[0] == "deviation" && &row[1] == "swing_weight").count();
    assert_eq!(swings, 12);
}

/// A swing weight of D2 ± 0.5 as it is filed at a stage.
fn swing(writer: &mut Writer, club: &str, stage: &str, value: f64) {
    let verdict = if value < 31.5 { "under" } else { "within" };
    let reading = writer.captured("beam", 424.0);
    let mut filed = filed_value("swing_weight", value, verdict);
    for (key, number) in [("target", 32.0), ("lower", 31.5), ("upper", 32.5), ("deviation", value - 32.0)] {
        filed[key] = json!(number);
    }
    filed["stage"] = json!(stage);
    let calibration = benchscribe::work_order::event::EventId::new(EPOCH, 1, START_US).to_string();
    let fields = json!({"reading": reading.to_string(), "club": club, "instrument": "beam", "calibration": calibration,
        "values": [filed], "by_hand": false});
    writer.write("reading_filed", fields);
}

#[tokio::test]
async fn what_is_adjusted_as_planned_is_no_failure_and_once_more_is_one() {
    let mut writer = Writer::new();
    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
    writer.calibrated("beam", "configuration", false);
    writer.order("order_imported", "W-1", "P-1", 4);
    // What is measured of each club in turn; `None` is the card that says it is adjusted.
    let clubs: [&[Option<(&str, f64)>]; 4] = [
        &[Some(("gripped", 31.0)), None, Some(("final", 32.0))],
        &[Some(("gripped", 31.0)), Some(("gripped", 32.0))],
        &[Some(("gripped", 31.0)), Some(("gripped", 31.2)), Some(("gripped", 32.0))],
        &[Some(("gripped", 31.0)), None, Some(("final", 31.2)), Some(("final", 32.0))],
    ];
    for (n, deeds) in (1..).zip(clubs) {
        let club = format!("W-1/{n}");
        writer.write("club_opened", json!({"club": club}));
        writer.write("step_done", json!({"club": club, "step": "grip"}));
        for deed in deeds {
            match deed {
                Some((stage, value)) => swing(&mut writer, &club, stage, *value),
                None => {
                    writer.write("step_done", json!({"club": club, "step": "adjust"}));
                }
            }
        }
        writer.write("club_finished", json!({"club": club}));
    }
    let found = history(&writer, (None, None)).await;
    let pass = found.first_pass.unwrap();
    assert_eq!((pass.good, pass.all), (2, 4), "the first two were right after the adjustment that was planned");
    let deviations: Vec<f64> = found.distributions[0].results.iter().map(|result| result.deviation).collect();
    assert!(deviations.iter().zip([0.0, 0.0, -0.8, -0.8]).all(|(found, expected)| (found - expected).abs() < 1e-9));
}

#[tokio::test]
async fn time_in_hand_leaves_out_what_was_put_aside_and_pauses() {
    let mut writer = Writer::new();
    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
    writer.calibrated("parts-scale", "configuration", false);
    writer.order("order_imported", "W-1", "P-1", 2);
    for club in ["W-1/1", "W-1/2"] {
        writer.write("club_opened", json!({"club": club}));
    }
    writer.write("club_opened", json!({"club": "W-1/1"}));
    writer.write("club_put_aside", json!({"club": "W-1/1"}));
    for _ in 0..20 {
        writer.write("operator_changed", json!({"operator": null}));
    }
    writer.write("club_opened", json!({"club": "W-1/1"}));
    writer.write("step_done", json!({"club": "W-1/1", "step": "bond"}));
    // Longer than half an hour: the night, through which it cures.
    for _ in 0..600 {
        writer.write("operator_changed", json!({"operator": null}));
    }
    writer.write("step_done", json!({"club": "W-1/1", "step": "cure"}));
    writer.write("step_done", json!({"club": "W-1/1", "step": "grip"}));
    writer.write("club_finished", json!({"club": "W-1/1"}));
    let found = history(&writer, (None, None)).await;
    #[expect(clippy::cast_precision_loss, reason = "seconds of a test")]
    let step_s = STEP_US as f64 / 1e6;
    let took = |step: &str| found.steps.iter().find(|found| found.step == step).unwrap().took.median_s / step_s;
    // Opened, put aside; opened, bonded: one and one.
    assert!((took("bond") - 2.0).abs() < 1e-9, "{}", took("bond"));
    assert!((took("cure") - 601.0).abs() < 1e-9, "a cure is waited for: {}", took("cure"));
    assert!((took("grip") - 1.0).abs() < 1e-9, "{}", took("grip"));
    // And one more until it is finished.
    assert!((found.club.unwrap().median_s / step_s - 4.0).abs() < 1e-9);
}
