//! The archive's index: what is looked up through it is what the whole fold says, whatever happened.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grown_journal;
#[path = "grown_journal/stored.rs"]
mod stored;

use std::collections::HashMap;
use std::path::Path;

use benchscribe::audit::{Fault, audit};
use benchscribe::journal::archive::{Key, Search};
use benchscribe::journal::compare::Folded;
use benchscribe::journal::store::{Journal, JournalError, Reader};
use benchscribe::measurement::quantity::Target;
use benchscribe::work_order::event::Event;
use benchscribe::work_order::judging::Verdict;
use benchscribe::work_order::record::{ClubRecord, ClubState, Entry};
use benchscribe::work_order::state::State;
use grown_journal::{BENCH, EPOCH, START_US, STEP_US, Writer, filed_value, wild};
use serde_json::json;
use sqlx::ConnectOptions as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use stored::{finished, fold, journal};

/// A plain connection to the file, as any other program could have.
async fn connection(folder: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(folder.join("journal.sqlite")).connect().await.unwrap()
}

/// The last value of each characteristic that tells of the part or of the finished club decides; this journal has no bends.
/// A record that counts running time from where `whole` does: it begins with the first event that is folded, and only what
/// passes between two events means anything.
fn same_time(mut found: ClubRecord, whole: &ClubRecord) -> ClubRecord {
    let bonds = found.bond.iter_mut().zip(&whole.bond);
    for (bond, whole) in bonds.chain(found.earlier_bonds.iter_mut().zip(&whole.earlier_bonds)) {
        bond.run_us = whole.run_us;
    }
    found
}

/// As it was judged, but by the limits of its order where these are others now.
fn is_out(club: &ClubRecord) -> bool {
    let mut last = HashMap::new();
    let tells = |entry: &&Entry| entry.filed.stage.counts_for(entry.filed.characteristic);
    club.valid().filter(tells).for_each(|entry| _ = last.insert(entry.filed.characteristic, &entry.filed));
    last.into_iter().any(|(of, filed)| {
        let Some(Target { value, lower, upper }) = club.spec.target(of).map(|row| row.target) else { return false };
        if (value, lower, upper) == (filed.target, filed.lower, filed.upper) {
            return matches!(filed.verdict, Verdict::Under | Verdict::Over);
        }
        lower.is_some_and(|lower| filed.value < lower) || upper.is_some_and(|upper| filed.value > upper)
    })
}

/// Whether a part of this number, lot or item is in a club.
fn holds(club: &ClubRecord, lot: &str) -> bool {
    club.parts.iter().filter(|part| part.released.is_none()).any(|part| {
        let facts = &part.used.facts;
        [&part.used.part, &facts.lot, &facts.serial, &facts.gtin].into_iter().flatten().any(|one| one == lot)
    })
}

fn bonded(club: &ClubRecord, batch: &str) -> bool {
    club.steps.iter().any(|step| step.batch.as_deref() == Some(batch))
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
    assert_eq!(found.part_stock, whole.part_stock, "seed {seed}");
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
            assert_eq!(same_time(found.club, club), *club, "seed {seed}");
            assert_eq!(found.order, whole.orders[&club.order], "seed {seed}");
            let hash = reader.hash_of(club.last_seq).await.unwrap().unwrap_or_default();
            assert_eq!(found.chain, hash, "seed {seed} {id}");
            assert_eq!(same_time(reader.club(&club.spec.token).await.unwrap().unwrap().club, club), *club);
        }
        let audit = audit(&reader).await;
        let of_index: Vec<_> = audit.faults.iter().filter(|fault| fault.what.contains("index")).collect();
        assert!(of_index.is_empty(), "seed {seed}: {of_index:?}");
        // Sealed files keep the index of the program that wrote them: one since version 6 leads to the same events.
        for (version, agrees) in [(6, true), (5, false)] {
            let change = format!("UPDATE index_tip SET version = {version}");
            sqlx::query(sqlx::AssertSqlSafe(change)).execute(&mut connection(folder.path()).await).await.unwrap();
            let faults = reader.index_faults(Some(&Folded { state: whole.clone(), ..Folded::default() })).await;
            assert_eq!(faults.is_empty(), agrees, "seed {seed}, version {version}: {faults:?}");
            let club = whole.clubs.keys().next().unwrap();
            assert_eq!(reader.club(club).await.is_ok(), agrees, "seed {seed}, version {version}");
        }
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
            (Search { lot: Some("L-2".into()), ..any.clone() }, Box::new(|club| holds(club, "L-2"))),
            (Search { lot: Some("h-2".into()), ..any.clone() }, Box::new(|club| holds(club, "H-2"))),
            (
                Search { lot: Some("09506000134352".into()), out: true, ..any.clone() },
                Box::new(|club| is_out(club) && holds(club, "09506000134352")),
            ),
            (Search { lot: Some("B-2".into()), ..any.clone() }, Box::new(|club| bonded(club, "B-2"))),
            (Search { order: Some("W-none".into()), ..any.clone() }, Box::new(|_| false)),
        ];
        let (mut hits, mut by_lot) = (0, 0);
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
            by_lot += usize::from(!sorted.is_empty() && search.lot.is_some());
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
        assert!(hits >= 9 && by_lot >= 2, "the searches find too little to prove anything: {hits}, {by_lot}");
        let few = journal.reader().search(&Search { limit: 3, ..any }).await.unwrap();
        assert_eq!((few.clubs.len(), few.more), (3, true));
        journal.close().await;
    }
}

#[tokio::test]
async fn an_index_that_is_missing_or_wrong_is_made_again() {
    let events = wild(5, 600);
    let whole = fold(&events);
    let folded = Folded { state: whole.clone(), ..Folded::default() };
    for damage in [
        "DELETE FROM index_tip",
        "UPDATE index_tip SET hash = 'x'",
        "UPDATE index_tip SET seq = seq - 1",
        "UPDATE index_tip SET version = 99",
        "DELETE FROM index_event; DELETE FROM index_tip",
        // Rows that a start reads whole, as a changed bit leaves them.
        "UPDATE index_latest SET name = replace(name, 'calibrated', 'calibratec')",
        "UPDATE index_latest SET seq = seq + 64 WHERE name = (SELECT min(name) FROM index_latest)",
        "UPDATE index_trust SET seq = seq + 1000 WHERE seq = (SELECT max(seq) FROM index_trust)",
        "DELETE FROM index_event WHERE seq = (SELECT max(seq) FROM index_event WHERE what IN (4, 5, 20) AND n = 0)",
        "INSERT INTO index_stock (item, pieces) VALUES ('w-9', 3)",
        "UPDATE index_sum SET sum = sum + 1",
        "DELETE FROM index_sum",
    ] {
        let folder = tempfile::tempdir().unwrap();
        journal(folder.path(), &events).await.close().await;
        let mut other = connection(folder.path()).await;
        let changed = sqlx::raw_sql(damage).execute(&mut other).await.unwrap();
        assert!(changed.rows_affected() > 0, "{damage}");
        sqlx::Connection::close(other).await.unwrap();
        let reader = Reader::open(folder.path()).await.unwrap();
        let faults = reader.index_faults(Some(&folded)).await;
        assert!(faults.iter().any(|fault| fault.contains("`records reindex`")), "{damage}: {faults:?}");
        reader.close().await;
        let journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
        // Where only the place is lost at which the index stood, nothing says that its rows were damaged.
        assert_eq!(journal.index_was_damaged(), !damage.contains("index_tip"), "{damage}");
        assert_same(5, &journal.reader().at_hand().await.unwrap(), &whole);
        for (id, club) in &whole.clubs {
            let found = journal.reader().club(id).await.unwrap().unwrap().club;
            assert_eq!(same_time(found, club), *club, "{damage}");
        }
        assert_eq!(journal.reader().index_faults(Some(&folded)).await, Vec::<String>::new(), "{damage}");
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
    let found = async || journal.reader().club(&busiest.spec.id).await.unwrap().unwrap().club;
    assert_ne!(same_time(found().await, busiest), *busiest);
    let faults = journal.reader().index_faults(Some(&folded)).await;
    assert!(faults.iter().any(|fault| fault.starts_with("index_event has no such row")), "{faults:?}");
    journal.reindex().await.unwrap();
    assert_eq!(same_time(found().await, busiest), *busiest);
    assert_eq!(journal.reader().index_faults(Some(&folded)).await, Vec::<String>::new());
    journal.close().await;
}

/// A journal of an older schema, made by its own scripts.
async fn of_schema(schema: i64, folder: &Path, events: &[Event]) {
    journal(folder, events).await.close().await;
    let mut old = connection(folder).await;
    let first = ["index_tip", "index_order", "index_club", "index_event", "index_place", "index_latest", "index_trust"];
    for table in first.iter().filter(|_| schema < 2).chain(&["index_stock", "index_lot", "index_retired", "index_sum"])
    {
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

#[test]
fn a_command_whose_reader_has_gone_ends_without_a_word() {
    let folder = tempfile::tempdir().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async { journal(folder.path(), &finished().events).await.close().await });
    let data = folder.path().display().to_string();
    let commands: [&[&str]; 7] = [
        &["records", "list", "--data", &data],
        &["records", "show", "W-1/1", "--data", &data],
        &["records", "export", "--as", "json", "--data", &data],
        &["records", "schema"],
        &["orders", "list", "--data", &data],
        &["history", "--data", &data],
        &["topics"],
    ];
    for arguments in commands {
        let (read, write) = std::io::pipe().unwrap();
        // Nobody reads a single byte.
        drop(read);
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_benchscribe"));
        let output = command.args(arguments).stdout(write).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() == Some(0) && !said.contains("benchscribe:"), "{arguments:?}: {said}");
    }
}

#[tokio::test]
async fn numbers_by_the_rules_of_an_older_program_are_named_apart_from_faults() {
    let mut writer = Writer::new();
    writer.order("order_imported", "W-1", "P-1", 1);
    let wrong = json!({"club": "W-1/1", "text": "256 g", "value": filed_value("head_mass", 256.0, "over")});
    let mut session = |version: &str| {
        writer.write("session_started", json!({"version": version, "clock_synchronised": true}));
        writer.write("value_typed", wrong.clone());
        writer.seq
    };
    let (older, newer) = (session("0.1.0"), session(env!("CARGO_PKG_VERSION")));
    let folder = tempfile::tempdir().unwrap();
    let journal = journal(folder.path(), &writer.events).await;
    let found = audit(&journal.reader()).await;
    journal.close().await;
    let seqs = |faults: &[Fault]| faults.iter().map(|fault| fault.seq).collect::<Vec<_>>();
    assert_eq!((seqs(&found.older), seqs(&found.faults)), (vec![Some(older)], vec![Some(newer)]));
    assert!(found.older[0].what.contains("verdict"), "{:?}", found.older);
}
