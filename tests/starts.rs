//! What a start has at hand of a long archive, what it reads for it, and how the rest is reached.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod grown_journal;
#[path = "grown_journal/stored.rs"]
mod stored;
mod support;

use benchscribe::audit::audit;
use benchscribe::club::characteristic::Characteristic;
use benchscribe::journal::archive::Key;
use benchscribe::journal::store::Journal;
use benchscribe::output::adhesive_view::timers;
use benchscribe::work_order::learning::Basis;
use benchscribe::work_order::state::State;
use grown_journal::{BENCH, EPOCH, Writer, build_club};
use serde_json::json;
use stored::{finished, fold, journal};
use support::on_data;
use support::table::Table;

#[tokio::test]
async fn a_start_reads_no_more_as_the_archive_grows_and_still_knows_the_drawers() {
    let mut writer = Writer::new();
    let place =
        json!({"name": "head", "label": "at the head", "before_end_mm": 0.0, "most_mass_g": 15.0, "most_pieces": 3});
    let drawers = |stock: u64| {
        let item =
            json!({"name": "w-2", "item_kind": "weight", "mass_cg": 200, "stock": stock, "low": 3, "places": ["head"]});
        json!({"places": [place], "items": [item]})
    };
    writer.write("drawers_set", drawers(50));
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
    let (mut events, mut taking) = (Vec::new(), None);
    for day in 1..=90 {
        let club = format!("W-{day}/1");
        // More starts than are folded with a record.
        for _ in 0..3 {
            writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
        }
        writer.order("order_imported", &format!("W-{day}"), "P-1", 1);
        let batch = json!({"name": format!("B-{day}"), "adhesive": "quick", "product": "Quick", "lot": null,
            "temperature_c": 21.0, "working_life_s": 1200.0, "cure_s": 3600.0, "play_s": 9000.0});
        writer.write("batch_mixed", json!({"batch": batch}));
        for _ in 0..12 {
            let part = json!({"item": "w-2", "item_kind": "weight", "pieces": 1, "mass_g": 2.0, "place": "head", "at_mm": 965.0});
            taking = taking.or(Some(writer.write("parts_taken", json!({"club": club, "parts": [part]}))));
        }
        writer.write("stock_refilled", json!({"item": "w-2", "pieces": 12}));
        if day == 45 || day == 80 {
            writer.write("drawers_set", drawers(if day == 45 { 50 } else { 60 }));
        }
        build_club(&mut writer, &club, false);
        writer.write("step_done", json!({"club": club, "step": "bond", "batch": format!("B-{day}")}));
        let today = std::mem::take(&mut writer.events);
        journal.append(&today, &[]).await.unwrap();
        events.extend(today);
        // A restart now and then.
        if day % 9 == 0 {
            journal.close().await;
            journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
            let (found, whole) = (journal.reader().at_hand().await.unwrap(), fold(&events));
            assert_eq!(
                found.drawer_stock.counts().collect::<Vec<_>>(),
                whole.drawer_stock.counts().collect::<Vec<_>>(),
                "day {day}"
            );
            assert_eq!(found.drawer_stock.drawers, whole.drawer_stock.drawers);
            assert_eq!(found.adhesives.batches, whole.adhesives.batches, "day {day}");
        }
    }
    let whole = fold(&events);
    let reader = journal.reader();
    for (id, club) in &whole.clubs {
        let mut found = reader.club(id).await.unwrap().unwrap().club;
        // Running time counts from the first event that is folded.
        found.bond.as_mut().unwrap().run_us = club.bond.as_ref().unwrap().run_us;
        assert_eq!(&found, club);
    }
    let faults = audit(&reader).await.faults;
    let of_index: Vec<_> = faults.iter().filter(|fault| fault.what.contains("index")).collect();
    assert!(of_index.is_empty(), "{of_index:?}");
    // Parts taken long ago can still be put back: their club is brought back first.
    let taking = taking.unwrap();
    let mut state = reader.at_hand().await.unwrap();
    assert_eq!(state.drawer_stock.club_of(taking), None);
    assert_eq!(reader.club_of_deed(taking).await.unwrap().as_deref(), Some("W-1/1"));
    let place = reader.order_of(Key::Order("W-1")).await.unwrap().unwrap();
    reader.recall(&mut state, &place).await.unwrap();
    assert_eq!(state.drawer_stock.club_of(taking), Some("W-1/1"));
    journal.close().await;
}

#[tokio::test]
async fn a_time_to_play_that_runs_outlasts_a_restart_however_many_orders_are_finished_after_it() {
    let mut writer = Writer::new();
    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
    // A day for two of them, half an hour for the third: that is over when the last order is finished.
    for (number, play_s) in [(1, 86_400.0), (2, 1800.0), (3, 86_400.0)] {
        let club = format!("W-{number}/1");
        writer.order("order_imported", &format!("W-{number}"), "P-1", 1);
        let batch = json!({"name": format!("B-{number}"), "adhesive": "slow", "product": "Slow", "lot": "W-3/1",
            "temperature_c": 21.0, "working_life_s": 1200.0, "cure_s": 600.0, "play_s": play_s});
        writer.write("batch_mixed", json!({"batch": batch}));
        build_club(&mut writer, &club, false);
        writer.write("step_done", json!({"club": club, "step": "bond", "batch": format!("B-{number}")}));
    }
    for number in 4..=80 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 1);
        build_club(&mut writer, &format!("W-{number}/1"), false);
    }
    let folder = tempfile::tempdir().unwrap();
    let journal = journal(folder.path(), &writer.events).await;
    let (found, whole) = (journal.reader().at_hand().await.unwrap(), fold(&writer.events));
    let now = writer.events.last().unwrap().at_us;
    let expected = timers(&whole, now);
    let told: Vec<&str> = expected.iter().map(|timer| timer.of.as_str()).collect();
    assert_eq!(told, ["B-3", "W-1/1", "W-3/1"], "{expected:?}");
    assert!(expected.iter().skip(1).all(|timer| timer.what == "play"), "{expected:?}");
    assert_eq!(timers(&found, now), expected);
    assert!(!found.orders.contains_key("W-2"), "what is over is not folded");
    journal.close().await;
}

#[tokio::test]
async fn what_was_learnt_of_bending_outlasts_a_restart() {
    let mut writer = finished();
    let lie = |deg: f64| {
        json!({"characteristic": "lie", "stage": "final", "value": deg, "u": 0.05, "target": null, "lower": null,
        "upper": null, "deviation": null, "verdict": "no_target", "marginal": false})
    };
    for club in ["W-1/1", "W-2/1"] {
        writer.write("value_typed", json!({"club": club, "text": "61 deg", "value": lie(61.0)}));
        writer.write("bend_done", json!({"club": club, "characteristic": "lie", "lever_deg": 1.0}));
        writer.write("value_typed", json!({"club": club, "text": "61.8 deg", "value": lie(61.8)}));
    }
    for number in 41..=80 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 1);
        build_club(&mut writer, &format!("W-{number}/1"), false);
    }
    let folder = tempfile::tempdir().unwrap();
    let journal = journal(folder.path(), &writer.events).await;
    let (found, whole) = (journal.reader().at_hand().await.unwrap(), fold(&writer.events));
    assert!(!found.orders.contains_key("W-1"));
    assert_eq!(whole.guide.sprang_back.len(), 2, "nothing was learnt");
    assert_eq!(found.guide, whole.guide);
    let of_index: Vec<_> =
        audit(&journal.reader()).await.faults.into_iter().filter(|f| f.what.contains("index")).collect();
    assert!(of_index.is_empty(), "{of_index:?}");
    journal.close().await;
}

#[tokio::test]
async fn what_the_forecast_learnt_outlasts_a_restart() {
    let mut writer = Writer::new();
    let of_parts = |characteristic: &str, stage: &str, value: f64| {
        json!({"characteristic": characteristic, "stage": stage, "value": value, "u": 0.05, "target": null,
            "lower": null, "upper": null, "deviation": null, "verdict": "no_target", "marginal": false})
    };
    for (number, points) in [(1, 33.0), (2, 34.0), (3, 33.5)] {
        let club = format!("W-{number}/1");
        let spec = json!({"club": club, "token": grown_journal::token(&club, 1), "name": "driver", "club_kind": "driver",
            "hand": "right", "targets": [], "models": {"head": "dune 1", "shaft": "reed 60"}});
        let order = json!({"order": format!("W-{number}"), "player": null, "due": null, "clubs": [spec]});
        writer.write("order_imported", json!({"order": order}));
        for (characteristic, stage, value) in [
            ("head_mass", "part", 200.0),
            ("shaft_mass", "part", 60.0),
            ("grip_mass", "part", 50.0),
            ("length", "dry_fit", 1143.0),
            ("swing_weight", "gripped", points),
        ] {
            let value = of_parts(characteristic, stage, value);
            writer.write("value_typed", json!({"club": club, "text": "typed", "value": value}));
        }
        writer.write("club_finished", json!({"club": club}));
    }
    for number in 4..=80 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 1);
        build_club(&mut writer, &format!("W-{number}/1"), false);
    }
    let folder = tempfile::tempdir().unwrap();
    let journal = journal(folder.path(), &writer.events).await;
    let (found, whole) = (journal.reader().at_hand().await.unwrap(), fold(&writer.events));
    assert!(!found.orders.contains_key("W-1"));
    let models = &whole.clubs["W-1/1"].spec.models;
    let learnt = |state: &State| state.learning.learnt(models, Basis::Parts, Characteristic::SwingWeight, 1.5);
    assert_eq!(learnt(&whole).map(|learnt| learnt.clubs), Some(3));
    assert_eq!(learnt(&found), learnt(&whole));
    journal.close().await;
}

#[tokio::test]
async fn commands_without_a_daemon_reach_what_is_not_at_hand() {
    let folder = tempfile::tempdir().unwrap();
    let writer = finished();
    journal(folder.path(), &writer.events).await.close().await;
    let whole = fold(&writer.events);
    let old = whole.clubs["W-2/1"].valid().next().unwrap().event.to_string();
    let (code, _, err) = on_data(folder.path(), &["records", "enter", "W-3/2", "length", "38 in"]);
    assert!(code == Some(2) && err.contains("W-3/2 is handed over already and not in hand"), "{code:?} {err}");
    for arguments in [&["orders", "open", "W-3/2"][..], &["records", "enter", "W-3/2", "length", "38 in"]] {
        let (code, _, err) = on_data(folder.path(), arguments);
        assert_eq!(code, Some(0), "{err}");
    }
    let (code, _, err) = on_data(folder.path(), &["records", "void", &old, "--why", "another head"]);
    assert_eq!(code, Some(0), "{err}");
    let (code, _, err) = on_data(folder.path(), &["records", "void", &old, "--why", "another head"]);
    assert!(code == Some(2) && err.contains("already taken back"), "{code:?} {err}");
    let (code, _, err) = on_data(folder.path(), &["orders", "open", "W-4"]);
    assert!(code == Some(2) && err.contains("order W-4 is finished"), "{code:?} {err}");
    let (code, out, err) = on_data(folder.path(), &["orders", "show", "W-5"]);
    assert!(code == Some(0) && out.contains("W-5/2"), "{out}{err}");
    let (code, out, _) = on_data(folder.path(), &["records", "show", "W-3/2", "--json"]);
    assert!(code == Some(0) && out.contains("\"text\":\"38 in\""), "{out}");
    let (_, out, _) = on_data(folder.path(), &["records", "list", "--order", "W-7"]);
    assert_eq!(out.lines().count(), 3, "{out}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bench_that_was_started_again_reaches_what_is_not_at_hand() {
    let table = Table::new(11);
    std::fs::create_dir_all(&table.data).unwrap();
    let writer = finished();
    journal(&table.data, &writer.events).await.close().await;
    let whole = fold(&writer.events);
    let token = whole.clubs["W-2/1"].spec.token.to_uppercase();
    let daemon = table.daemon();
    let reply = daemon.get("/api/v1/records/W-9/1");
    assert_eq!((reply.status, reply.json()["club"].clone()), (200, json!("W-9/1")));
    let reply = daemon.get("/api/v1/records?order=W-9");
    assert_eq!(reply.json()["records"].as_array().unwrap().len(), 2, "{}", reply.body);
    // A card that was printed with the address of the page, of an order that nobody has touched for long.
    let reply = daemon.command(&json!({"command": "scan", "code": format!("http://bench.local:7311/BS1/C/{token}")}));
    assert_eq!(reply.status, 200, "{}", reply.body);
    assert_eq!(daemon.state()["club"]["club"], "W-2/1");
    assert_eq!(daemon.get("/api/v1/records/W-2/1").json()["state"], "finished");
    // And the same with a telephone.
    let reply = daemon.get(&format!("/BS1/C/{token}"));
    let page = format!("/records/{}", token.to_lowercase());
    assert!(reply.status == 303 && reply.head.contains(&format!("location: {page}")), "{}", reply.head);
    assert!(daemon.get(&page).body.contains("W-2/1"));
    assert_eq!(daemon.get("/records/nobody").status, 404);
    // The list has them, too: W-9 is old, and the last page holds the oldest.
    assert!(daemon.get("/records?find=W-9").body.contains("W-9/2"));
    assert!(daemon.get("/records?page=2").body.contains("W-1/1"));
    let reply = daemon.get("/sheets/W-2/1?paper=letter");
    assert!(reply.status == 200 && reply.body.starts_with("%PDF-"), "{}", reply.status);
    daemon.get("/sheets/W-2/1?paper=a3").assert_problem(400, "not a paper");
    assert!(daemon.get("/api/v1/schema/build-record-1.json").json()["$defs"]["entry"].is_object());
    assert!(daemon.terminate().success());
}
