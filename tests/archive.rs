//! The archive's index: what is looked up through it is what the whole fold says, whatever happened.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grown_journal;
mod support;

use std::path::Path;

use benchscribe::audit::audit;
use benchscribe::club::characteristic::Characteristic;
use benchscribe::journal::archive::{Key, Search};
use benchscribe::journal::store::{Journal, JournalError, Reader};
use benchscribe::work_order::event::Event;
use benchscribe::work_order::judging::Verdict;
use benchscribe::work_order::learning::Basis;
use benchscribe::work_order::record::{ClubRecord, ClubState};
use benchscribe::work_order::state::State;
use grown_journal::{BENCH, Dice, EPOCH, START_US, STEP_US, Writer, build_club, wild};
use serde_json::json;
use sqlx::ConnectOptions as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use support::on_data;
use support::table::Table;

fn fold(events: &[Event]) -> State {
    let mut state = State::default();
    for event in events {
        state.apply(event);
    }
    state
}

/// A journal with these events, written in batches of changing size.
async fn journal(folder: &Path, events: &[Event]) -> Journal {
    let mut journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    let mut dice = Dice(events.len().try_into().unwrap());
    let mut rest = events;
    while !rest.is_empty() {
        let (batch, after) = rest.split_at(rest.len().min(1 + usize::try_from(dice.roll(40)).unwrap()));
        journal.append(batch, &[]).await.unwrap();
        rest = after;
    }
    journal
}

/// A plain connection to the file, as any other program could have.
async fn connection(folder: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(folder.join("journal.sqlite")).connect().await.unwrap()
}

fn is_out(club: &ClubRecord) -> bool {
    club.valid().any(|entry| matches!(entry.filed.verdict, Verdict::Under | Verdict::Over))
}

/// Everything that decisions rest on, but for orders that are finished and old.
#[track_caller]
fn assert_same(seed: u64, found: &State, whole: &State) {
    assert_eq!(found.seq, whole.seq, "seed {seed}");
    assert_eq!(found.current_order, whole.current_order, "seed {seed}");
    assert_eq!(found.current_club, whole.current_club, "seed {seed}");
    assert_eq!(found.finished_last, whole.finished_last, "seed {seed}");
    assert_eq!(found.captures, whole.captures, "seed {seed}");
    assert_eq!(found.last_capture, whole.last_capture, "seed {seed}");
    assert_eq!(found.last_value(), whole.last_value(), "seed {seed}");
    assert_eq!(found.calibrations, whole.calibrations, "seed {seed}");
    assert_eq!(found.connected, whole.connected, "seed {seed}");
    assert_eq!(found.operator, whole.operator, "seed {seed}");
    assert_eq!(found.policy, whole.policy, "seed {seed}");
    assert_eq!(found.trust.charts, whole.trust.charts, "seed {seed}");
    assert_eq!(found.trust.expected, whole.trust.expected, "seed {seed}");
    assert_eq!(found.trust.calibrating, whole.trust.calibrating, "seed {seed}");
    assert_eq!(found.trust.configured, whole.trust.configured, "seed {seed}");
    assert_eq!(found.studies.list, whole.studies.list, "seed {seed}");
    assert_eq!(found.orders_aside, whole.orders_aside, "seed {seed}");
    assert_eq!(found.adhesives.batches, whole.adhesives.batches, "seed {seed}");
    assert_eq!(found.adhesives.in_force, whole.adhesives.in_force, "seed {seed}");
    assert_eq!(found.drawer_stock, whole.drawer_stock, "seed {seed}");
    let kept: Vec<&String> = whole.order_sequence.iter().filter(|number| found.orders.contains_key(*number)).collect();
    assert_eq!(found.order_sequence.iter().collect::<Vec<_>>(), kept, "seed {seed}");
    for (number, order) in &whole.orders {
        let is_open = order.clubs.iter().any(|club| whole.clubs[&club.id].state != ClubState::Finished);
        match found.orders.get(number) {
            Some(found_order) => {
                assert_eq!(found_order, order, "seed {seed}");
                assert_eq!(found.revisions.get(number), whole.revisions.get(number), "seed {seed}");
            }
            None => assert!(!is_open, "seed {seed}: {number} is not finished and not at hand"),
        }
        for club in order.clubs.iter().filter(|_| found.orders.contains_key(number)) {
            assert_eq!(found.clubs[&club.id], whole.clubs[&club.id], "seed {seed}");
        }
    }
}

#[tokio::test]
async fn what_is_looked_up_is_what_the_whole_fold_says() {
    for seed in 0..12 {
        let events = wild(seed, 900);
        let folder = tempfile::tempdir().unwrap();
        let journal = journal(folder.path(), &events).await;
        let reader = journal.reader();
        let whole = fold(&events);
        assert_same(seed, &reader.at_hand().await.unwrap(), &whole);
        for (id, club) in &whole.clubs {
            let found = reader.club(id).await.unwrap().unwrap();
            assert_eq!(&found.club, club, "seed {seed}");
            assert_eq!(found.order, whole.orders[&club.order], "seed {seed}");
            let hash = reader.hash_of(club.last_seq).await.unwrap().unwrap_or_default();
            assert_eq!(found.chain, hash, "seed {seed} {id}");
            assert_eq!(reader.club(&club.spec.token).await.unwrap().unwrap().club, *club);
        }
        let audit = audit(&reader).await;
        let of_index: Vec<_> = audit.faults.iter().filter(|fault| fault.what.contains("index")).collect();
        assert!(of_index.is_empty(), "seed {seed}: {of_index:?}");
        journal.close().await;
    }
}

#[tokio::test]
async fn the_state_at_any_moment_is_that_of_the_whole_fold() {
    let events = wild(77, 400);
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
    let mut whole = State::default();
    for event in &events {
        journal.append(std::slice::from_ref(event), &[]).await.unwrap();
        whole.apply(event);
        assert_same(event.seq, &journal.reader().at_hand().await.unwrap(), &whole);
    }
    journal.close().await;
}

#[tokio::test]
async fn an_order_that_is_not_at_hand_comes_back_whole_and_at_its_place() {
    let writer = finished();
    let folder = tempfile::tempdir().unwrap();
    let journal = journal(folder.path(), &writer.events).await;
    let reader = journal.reader();
    let whole = fold(&writer.events);
    let mut state = reader.at_hand().await.unwrap();
    assert!(state.orders.len() <= 22, "{} orders are at hand", state.orders.len());
    assert!(!state.clubs.contains_key("W-7/2"));
    let value = whole.clubs["W-3/1"].entries[0].event;
    assert_eq!(state.place_of(value), None);
    let token = whole.clubs["W-5/2"].spec.token.clone();
    for (key, number) in [
        (Key::Order("W-7"), "W-7"),
        (Key::Club("W-2/1"), "W-2"),
        (Key::Club(&token), "W-5"),
        (Key::Value(value), "W-3"),
    ] {
        let place = reader.order_of(key).await.unwrap().unwrap();
        assert_eq!(place.number, number);
        reader.recall(&mut state, &place).await.unwrap();
    }
    assert_eq!(state.place_of(value), Some("W-3/1"));
    assert_same(0, &state, &whole);
    assert_eq!(reader.order_of(Key::Club("W-99/1")).await.unwrap(), None);
    journal.close().await;
}

#[tokio::test]
async fn clubs_are_found_by_what_is_known_of_them() {
    for seed in [3, 4] {
        let events = wild(seed, 1500);
        let folder = tempfile::tempdir().unwrap();
        let journal = journal(folder.path(), &events).await;
        let whole = fold(&events);
        let last_us = |club: &ClubRecord| {
            let imported = events
                .iter()
                .rev()
                .find(|event| event.change.bearing().order.is_some_and(|order| order.club(&club.spec.id).is_some()));
            let touched = events.iter().find(|event| event.seq == club.last_seq);
            touched.into_iter().chain(imported).map(|event| event.at_us).max().unwrap()
        };
        let middle_us = START_US + 700 * STEP_US;
        let any = Search { limit: 10_000, ..Search::default() };
        type Meant<'a> = Box<dyn Fn(&ClubRecord) -> bool + 'a>;
        let player = |club: &ClubRecord| whole.orders[&club.order].player.clone();
        let searches: Vec<(Search, Meant<'_>)> = vec![
            (any.clone(), Box::new(|_| true)),
            (Search { order: Some("W-3".into()), ..any.clone() }, Box::new(|club| club.order == "W-3")),
            (
                Search { player: Some("P-4".into()), ..any.clone() },
                Box::new(move |club| player(club).as_deref() == Some("P-4")),
            ),
            (Search { club: Some("W-2/1".into()), ..any.clone() }, Box::new(|club| club.spec.id == "W-2/1")),
            (Search { out: true, ..any.clone() }, Box::new(is_out)),
            (Search { since_us: Some(middle_us), ..any.clone() }, Box::new(|club| last_us(club) >= middle_us)),
            (
                Search { until_us: Some(middle_us), out: true, ..any.clone() },
                Box::new(|club| last_us(club) < middle_us && is_out(club)),
            ),
            (
                Search { order: Some("W-3".into()), out: true, ..any.clone() },
                Box::new(|club| club.order == "W-3" && is_out(club)),
            ),
            (Search { order: Some("W-none".into()), ..any.clone() }, Box::new(|_| false)),
        ];
        let mut hits = 0;
        for (search, meant) in searches {
            let found = journal.reader().search(&search).await.unwrap();
            let expected: Vec<&str> =
                whole.clubs_in_order().filter(|club| meant(club)).map(|club| club.spec.id.as_str()).collect();
            let mut clubs: Vec<&str> = found.clubs.iter().map(|line| line.club.as_str()).collect();
            clubs.sort_unstable();
            let mut sorted = expected.clone();
            sorted.sort_unstable();
            assert_eq!(clubs, sorted, "seed {seed} {search:?}");
            hits += usize::from(!sorted.is_empty());
            for line in &found.clubs {
                let club = &whole.clubs[&line.club];
                assert_eq!(
                    (line.state.as_str(), line.is_out),
                    (club.state.name(), is_out(club)),
                    "seed {seed} {line:?}"
                );
                assert_eq!(line.entries, i64::try_from(club.valid().count()).unwrap());
            }
        }
        assert!(hits >= 7, "the searches find too little to prove anything: {hits}");
        let few = journal.reader().search(&Search { limit: 3, ..any }).await.unwrap();
        assert_eq!((few.clubs.len(), few.more), (3, true));
        journal.close().await;
    }
}

#[tokio::test]
async fn an_index_that_is_missing_or_wrong_is_made_again() {
    let events = wild(5, 600);
    let whole = fold(&events);
    for damage in [
        "DELETE FROM index_tip",
        "UPDATE index_tip SET hash = 'x'",
        "UPDATE index_tip SET seq = seq - 1",
        "UPDATE index_tip SET version = 99",
        "DELETE FROM index_event; DELETE FROM index_tip",
    ] {
        let folder = tempfile::tempdir().unwrap();
        journal(folder.path(), &events).await.close().await;
        let mut other = connection(folder.path()).await;
        sqlx::raw_sql(damage).execute(&mut other).await.unwrap();
        sqlx::Connection::close(other).await.unwrap();
        let journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
        assert_same(5, &journal.reader().at_hand().await.unwrap(), &whole);
        for (id, club) in &whole.clubs {
            assert_eq!(&journal.reader().club(id).await.unwrap().unwrap().club, club, "{damage}");
        }
        journal.close().await;
    }
    // Rows that were lost unseen are found by the audit and mended on request.
    let folder = tempfile::tempdir().unwrap();
    let journal = journal(folder.path(), &events).await;
    let busiest = whole.clubs.values().max_by_key(|club| club.entries.len()).unwrap();
    let mut other = connection(folder.path()).await;
    sqlx::query("DELETE FROM index_event WHERE what = 1 AND n = (SELECT n FROM index_club WHERE club = ?)")
        .bind(&busiest.spec.id)
        .execute(&mut other)
        .await
        .unwrap();
    assert_ne!(journal.reader().club(&busiest.spec.id).await.unwrap().unwrap().club, *busiest);
    journal.reindex().await.unwrap();
    assert_eq!(journal.reader().club(&busiest.spec.id).await.unwrap().unwrap().club, *busiest);
    journal.close().await;
}

/// A journal of an older schema, made by its own scripts.
async fn of_schema(schema: i64, folder: &Path, events: &[Event]) {
    journal(folder, events).await.close().await;
    let mut old = connection(folder).await;
    let first = ["index_tip", "index_order", "index_club", "index_event", "index_place", "index_latest", "index_trust"];
    for table in first.iter().filter(|_| schema < 2).chain(&["index_stock", "index_retired"]) {
        sqlx::query(sqlx::AssertSqlSafe(format!("DROP TABLE {table}"))).execute(&mut old).await.unwrap();
    }
    if schema == 2 {
        // Its index was made by other rules.
        sqlx::query("UPDATE index_tip SET version = 2").execute(&mut old).await.unwrap();
        sqlx::query("DELETE FROM index_event WHERE what > 9").execute(&mut old).await.unwrap();
    }
    sqlx::query("DELETE FROM _sqlx_migrations WHERE version > ?").bind(schema).execute(&mut old).await.unwrap();
    sqlx::Connection::close(old).await.unwrap();
}

#[tokio::test]
async fn an_older_journal_is_brought_forward_and_its_file_kept() {
    for schema in [1, 2] {
        let events = wild(6, 500);
        let folder = tempfile::tempdir().unwrap();
        of_schema(schema, folder.path(), &events).await;
        let old = std::fs::read(folder.path().join("journal.sqlite")).unwrap();
        // Only reading changes nothing, and says what to do where it cannot.
        let reader = Reader::open(folder.path()).await.unwrap();
        assert!(matches!(reader.at_hand().await, Err(JournalError::Older { .. })));
        reader.close().await;
        assert_eq!(std::fs::read(folder.path().join("journal.sqlite")).unwrap(), old);
        let journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
        assert_same(6, &journal.reader().at_hand().await.unwrap(), &fold(&events));
        let last = journal.last_seq();
        journal.close().await;
        let name = format!("journal.sqlite.schema-{schema}");
        let kept = Reader::open_file(folder.path().join(&name)).await.unwrap();
        assert_eq!(kept.last_seq().await.unwrap(), last);
        assert_eq!(kept.after(0, 10_000).await.unwrap().len(), events.len());
        assert!(matches!(kept.at_hand().await, Err(JournalError::Older { .. })), "the kept file is not the old one");
        kept.close().await;
        // Cut off half way, it is brought forward at the next start: what was kept is made again, nothing is lost.
        let folder = tempfile::tempdir().unwrap();
        of_schema(schema, folder.path(), &events).await;
        std::fs::write(folder.path().join(format!("{name}.part")), b"half a copy").unwrap();
        std::fs::write(folder.path().join(&name), b"an older copy").unwrap();
        let journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
        assert_same(6, &journal.reader().at_hand().await.unwrap(), &fold(&events));
        journal.close().await;
        let kept = Reader::open_file(folder.path().join(&name)).await.unwrap();
        assert_eq!(kept.after(0, 10_000).await.unwrap().len(), events.len());
        kept.close().await;
    }
    let folder = tempfile::tempdir().unwrap();
    journal(folder.path(), &wild(6, 100)).await.close().await;
    // A journal of a newer program is not touched.
    let mut newer = connection(folder.path()).await;
    sqlx::query("UPDATE _sqlx_migrations SET version = 99 WHERE version = 2").execute(&mut newer).await.unwrap();
    sqlx::Connection::close(newer).await.unwrap();
    match Journal::open(folder.path(), BENCH, EPOCH).await {
        Err(JournalError::Schema { source, .. }) => assert!(source.to_string().contains("schema 99"), "{source}"),
        other => panic!("{other:?}"),
    }
}

/// Forty orders of two clubs, all finished.
fn finished() -> Writer {
    let mut writer = Writer::new();
    for number in 1..=40 {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 2);
        for n in 1..=2 {
            build_club(&mut writer, &format!("W-{number}/{n}"), false);
        }
    }
    writer
}

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
        writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
        writer.order("order_imported", &format!("W-{day}"), "P-1", 1);
        let batch = json!({"name": format!("B-{day}"), "adhesive": "quick", "product": "Quick", "lot": null,
            "temperature_c": 21.0, "working_life_s": 1200.0, "cure_s": 3600.0, "play_s": 9000.0});
        writer.write("batch_mixed", json!({"batch": batch}));
        writer.write("step_done", json!({"club": club, "step": "bond", "batch": format!("B-{day}")}));
        for _ in 0..12 {
            let part = json!({"item": "w-2", "item_kind": "weight", "pieces": 1, "mass_g": 2.0, "place": "head", "at_mm": 965.0});
            taking = taking.or(Some(writer.write("parts_taken", json!({"club": club, "parts": [part]}))));
        }
        writer.write("stock_refilled", json!({"item": "w-2", "pieces": 12}));
        if day == 45 || day == 80 {
            writer.write("drawers_set", drawers(if day == 45 { 50 } else { 60 }));
        }
        build_club(&mut writer, &club, false);
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
        assert_eq!(&reader.club(id).await.unwrap().unwrap().club, club);
    }
    // Parts taken long ago can still be put back: their club is brought back first.
    let taking = taking.unwrap();
    let mut state = reader.at_hand().await.unwrap();
    assert_eq!(state.drawer_stock.club_of(taking), None);
    assert_eq!(reader.club_of_taking(taking).await.unwrap().as_deref(), Some("W-1/1"));
    let place = reader.order_of(Key::Order("W-1")).await.unwrap().unwrap();
    reader.recall(&mut state, &place).await.unwrap();
    assert_eq!(state.drawer_stock.club_of(taking), Some("W-1/1"));
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
    assert_eq!(code, Some(0), "{err}");
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
