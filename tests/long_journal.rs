//! A journal that is much longer than what is in work: it is proved without holding all of it, and what is wrong with clubs that
//! were let go on the way is found all the same.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grown_journal;

use std::path::Path;

use benchscribe::audit::{Audit, audit};
use benchscribe::journal::store::{Journal, Reader};
use benchscribe::work_order::event::EventId;
use grown_journal::{BENCH, EPOCH, START_US, Writer, build_club, filed_value};
use serde_json::json;
use sqlx::ConnectOptions as _;
use sqlx::sqlite::SqliteConnectOptions;

const ORDERS: u64 = 150;

/// Orders of two clubs one after the other, every event of some thousand; late ones bear on early clubs.
fn long() -> Writer {
    let mut writer = Writer::new();
    writer.calibrated("parts-scale", "configuration", false);
    writer
        .write("intake_begun", json!({"intake": "I-1", "part_kind": "head", "instrument": "parts-scale", "facts": {}}));
    let early = writer.captured("parts-scale", 254.0);
    let calibration = EventId::new(EPOCH, 1, START_US).to_string();
    writer.write(
        "part_measured",
        json!({"intake": "I-1", "part": "H-1", "reading": early.to_string(), "instrument": "parts-scale",
            "calibration": calibration, "mass_g": [254.0, 0.0123]}),
    );
    writer.write("intake_ended", json!({"intake": "I-1"}));
    for number in 1..=ORDERS {
        writer.order("order_imported", &format!("W-{number}"), "P-1", 2);
        for n in 1..=2 {
            build_club(&mut writer, &format!("W-{number}/{n}"), number % 10 == 0);
        }
    }
    // A part whose reading is thousands of events old goes into a club that was finished long ago.
    let weighed = json!({"reading": early.to_string(), "instrument": "parts-scale", "calibration": calibration,
        "at_us": START_US, "by": "K7", "values": [filed_value("head_mass", 254.0, "within")]});
    writer.write(
        "part_used",
        json!({"club": "W-2/1", "part": "H-1", "part_kind": "head", "facts": {}, "weighed": weighed}),
    );
    writer.write("club_opened", json!({"club": "W-1/1"}));
    writer
}

/// What the audit says of the index and of what belongs together; that these readings have no raw bytes is another matter.
async fn faults(folder: &Path) -> (Audit, Vec<String>) {
    let reader = Reader::open(folder).await.unwrap();
    let audit = audit(&reader).await;
    reader.close().await;
    let about = ["index", "which no order has", "not in the journal", "chain", "missing, and"];
    let said = audit.faults.iter().map(ToString::to_string);
    let said = said.filter(|fault| about.iter().any(|words| fault.contains(words))).collect();
    (audit, said)
}

#[tokio::test]
async fn a_long_journal_is_proved_in_little_memory_and_no_fault_is_lost_by_it() {
    let writer = long();
    for (damage, told) in [
        (None, None),
        // Of a club that was let go long before the end.
        (
            Some("UPDATE index_club SET is_out = 1, entries = 99, stale = 0 WHERE club = 'W-7/1'"),
            Some("index_club says of W-7/1"),
        ),
        (
            Some(
                "DELETE FROM index_event WHERE what = 1 AND n = (SELECT n FROM index_club WHERE club = 'W-8/2') AND seq % 2 = 0",
            ),
            Some("another record of W-8/2"),
        ),
        // As if the late event were none of its.
        (
            Some(
                "DELETE FROM index_event WHERE what = 1 AND n = (SELECT n FROM index_club WHERE club = 'W-2/1') AND seq > 8000",
            ),
            Some("index_event has no such row"),
        ),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(folder.path(), BENCH, EPOCH).await.unwrap();
        for events in writer.events.chunks(500) {
            journal.append(events, &[]).await.unwrap();
        }
        journal.close().await;
        if let Some(damage) = damage {
            let mut other =
                SqliteConnectOptions::new().filename(folder.path().join("journal.sqlite")).connect().await.unwrap();
            let changed = sqlx::raw_sql(damage).execute(&mut other).await.unwrap();
            assert!(changed.rows_affected() > 0, "{damage}");
            sqlx::Connection::close(other).await.unwrap();
        }
        let (audit, said) = faults(folder.path()).await;
        assert!(audit.events > 8000, "{} events", audit.events);
        // Two thousand events of some thirty a club, and no more.
        assert!(audit.most_clubs < 100, "{} of {} clubs at a time", audit.most_clubs, 2 * ORDERS);
        match told {
            None => assert_eq!(said, Vec::<String>::new()),
            Some(told) => assert!(said.iter().any(|fault| fault.contains(told)), "{damage:?}: {said:?}"),
        }
    }
}
