//! How the archive behaves as it grows: bytes an event, start, look-ups. Prints; asserts nothing.
//!
//! `cargo bench --bench archive` writes days as they usually are (a session, five orders of eight clubs, a batch of adhesive
//! and weights from the drawers for each), through the daemon's own writer, until the journal has as many events as
//! `BENCHSCRIBE_EVENTS` says (200 000), and measures at each power of ten on the way. `BENCHSCRIBE_FOLDER` keeps the journal
//! there and goes on with it the next time. `BENCHSCRIBE_EVIDENCE` says how many raw bytes stand behind a reading (0).
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark prints, and ends when something is wrong")]
#![expect(clippy::disallowed_methods, reason = "a benchmark measures real time")]

#[path = "../grown_journal/mod.rs"]
mod grown_journal;

use std::path::Path;
use std::time::{Duration, Instant};

use benchscribe::journal::archive::{Key, Search};
use benchscribe::journal::chain::sha256;
use benchscribe::journal::store::{FILE_NAME, Journal, Reader};
use benchscribe::work_order::event::Event;
use grown_journal::{BENCH, Dice, EPOCH, START_US, STEP_US, Writer, build_club};
use serde_json::json;

/// Clubs of an order.
const CLUBS: u64 = 8;
/// Orders in a day.
const ORDERS_A_DAY: u64 = 5;
/// Look-ups of each kind.
const LOOKUPS: u64 = 1000;

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let wanted = std::env::var("BENCHSCRIBE_EVENTS").ok().and_then(|text| text.parse().ok()).unwrap_or(200_000_u64);
    let temporary = tempfile::tempdir().unwrap();
    let folder = std::env::var("BENCHSCRIBE_FOLDER").map_or_else(|_| temporary.path().to_owned(), Into::into);
    std::fs::create_dir_all(&folder).unwrap();
    let build = if cfg!(debug_assertions) { "debug build: figures mean little" } else { "release build" };
    println!("archive of {wanted} events, {build}");
    let mut size = 1000;
    while size < wanted {
        grow(&folder, size).await;
        measure(&folder).await;
        size *= 10;
    }
    grow(&folder, wanted).await;
    measure(&folder).await;
}

/// Number of an order by its place.
fn number(order: u64) -> String {
    format!("W-{order}")
}

/// Writes whole orders until there are `events` of them.
async fn grow(folder: &Path, events: u64) {
    let mut journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    let before = journal.last_seq();
    if before >= events {
        return journal.close().await;
    }
    let mut writer = Writer { seq: before, events: Vec::new() };
    let mut order = orders(&journal.reader()).await;
    let raw = std::env::var("BENCHSCRIBE_EVIDENCE").ok().and_then(|text| text.parse().ok()).unwrap_or(0);
    let start = Instant::now();
    if before == 0 {
        writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
        let place = json!({"name": "head", "label": "at the head", "before_end_mm": 0.0, "most_mass_g": 15.0, "most_pieces": 3});
        let item =
            json!({"name": "w-2", "item_kind": "weight", "mass_cg": 200, "stock": 50, "low": 3, "places": ["head"]});
        writer.write("drawers_set", json!({"places": [place], "items": [item]}));
        writer.calibrated("parts-scale", "configuration", false);
    }
    while writer.seq < events {
        order += 1;
        if order.is_multiple_of(ORDERS_A_DAY) {
            writer.write("session_ended", json!({}));
            writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
        }
        writer.order("order_imported", &number(order), &format!("P-{}", order % 1000), CLUBS);
        let batch = format!("B-{order}");
        writer.write(
            "batch_mixed",
            json!({"batch": {"name": &batch, "adhesive": "quick", "product": "Quick", "lot": null,
            "temperature_c": 21.0, "working_life_s": 1200.0, "cure_s": 3600.0, "play_s": 9000.0}}),
        );
        for n in 1..=CLUBS {
            let club = format!("{}/{n}", number(order));
            writer.write("step_done", json!({"club": club, "step": "bond", "batch": &batch}));
            let part = json!({"item": "w-2", "item_kind": "weight", "pieces": 1, "mass_g": 2.0, "place": "head", "at_mm": 965.0});
            writer.write("parts_taken", json!({"club": club, "parts": [part]}));
            build_club(&mut writer, &club, (order * CLUBS + n).is_multiple_of(500));
        }
        writer.write("batch_discarded", json!({"batch": batch}));
        writer.write("stock_refilled", json!({"item": "w-2", "pieces": CLUBS}));
        if order.is_multiple_of(3 * ORDERS_A_DAY) {
            writer.write("order_put_aside", json!({"order": number(order), "why": "no shaft"}));
            writer.write("order_taken_up", json!({"order": number(order)}));
        }
        // A check a day or so.
        if order % 3 == 0 {
            writer.write("checked", json!({"instrument": "parts-scale", "reference_g": 200.0, "error_g": 0.01}));
        }
        if writer.events.len() >= 2000 {
            let events = std::mem::take(&mut writer.events);
            journal.append(&events, &evidence(&events, raw)).await.unwrap();
        }
    }
    journal.append(&writer.events, &[]).await.unwrap();
    let rate = per(start.elapsed(), writer.seq - before);
    println!("  grown from {before} to {} events, {:.1} us an event in batches", writer.seq, rate * 1e6);
    journal.close().await;
}

/// Raw bytes of this length behind each reading, no two alike.
fn evidence(events: &[Event], length: usize) -> Vec<(String, Vec<u8>)> {
    if length == 0 {
        return Vec::new();
    }
    let readings = events.iter().filter(|event| event.change.kind() == "reading_captured");
    readings
        .map(|event| {
            let mut dice = Dice(event.seq);
            let content: Vec<u8> = (0..length).map(|_| u8::try_from(dice.roll(256)).unwrap()).collect();
            (sha256(&content), content)
        })
        .collect()
}

/// How many orders there are.
async fn orders(reader: &Reader) -> u64 {
    let mut found = 0;
    let mut step = 1 << 40;
    while step > 0 {
        if reader.order_of(Key::Order(&number(found + step))).await.unwrap().is_some() {
            found += step;
        }
        step /= 2;
    }
    found
}

async fn measure(folder: &Path) {
    let bytes = std::fs::metadata(folder.join(FILE_NAME)).unwrap().len();
    // Everything since the last start is noted at the next one; no bench writes so much between two of them.
    let start = Instant::now();
    Journal::open(folder, BENCH, EPOCH).await.unwrap().close().await;
    let first = start.elapsed();
    let start = Instant::now();
    let journal = Journal::open(folder, BENCH, EPOCH).await.unwrap();
    let opened = start.elapsed();
    let reader = journal.reader();
    let state = reader.at_hand().await.unwrap();
    let started = start.elapsed();
    let (events, orders) = (journal.last_seq(), orders(&reader).await);
    println!(
        "{events} events, {} clubs: {:.0} MB, {:.0} bytes an event; start {:.0} ms (open {:.0} ms; the first time {:.0} ms), {} orders at hand",
        orders * CLUBS,
        to_f64(bytes) / 1e6,
        to_f64(bytes) / to_f64(events),
        ms(started),
        ms(opened),
        ms(first),
        state.orders.len()
    );
    let mut dice = Dice(events);
    let mut records = Vec::new();
    let mut recalls = Vec::new();
    for _ in 0..LOOKUPS {
        let order = number(1 + dice.roll(orders));
        let club = format!("{order}/{}", 1 + dice.roll(CLUBS));
        let start = Instant::now();
        assert!(reader.club(&club).await.unwrap().is_some(), "{club}");
        records.push(ms(start.elapsed()));
        let mut cold = benchscribe::work_order::state::State::default();
        let start = Instant::now();
        let place = reader.order_of(Key::Order(&order)).await.unwrap().unwrap();
        reader.recall(&mut cold, &place).await.unwrap();
        recalls.push(ms(start.elapsed()));
    }
    report("record of a club", &records);
    report("order brought back", &recalls);
    let day_us = 24 * 3600 * 1_000_000;
    let last_us = START_US + i64::try_from(events).unwrap() * STEP_US;
    type Question = Box<dyn Fn(&mut Dice) -> Search>;
    let any = Search { limit: 50, ..Search::default() };
    let (a, b, c, d, e) = (any.clone(), any.clone(), any.clone(), any.clone(), any);
    let questions: [(&str, Question); 5] = [
        ("search: order", Box::new(move |dice| Search { order: Some(number(1 + dice.roll(orders))), ..a.clone() })),
        (
            "search: player",
            Box::new(move |dice| Search { player: Some(format!("P-{}", dice.roll(1000))), ..b.clone() }),
        ),
        (
            "search: a day",
            Box::new(move |dice| {
                let since = last_us - i64::try_from(dice.roll(30)).unwrap() * day_us;
                Search { since_us: Some(since), until_us: Some(since + day_us), ..c.clone() }
            }),
        ),
        ("search: out of limits", Box::new(move |_| Search { out: true, ..d.clone() })),
        ("list: the last 50", Box::new(move |_| e.clone())),
    ];
    for (what, question) in questions {
        let mut times = Vec::new();
        for _ in 0..LOOKUPS / 4 {
            let search = question(&mut dice);
            let start = Instant::now();
            reader.search(&search).await.unwrap();
            times.push(ms(start.elapsed()));
        }
        report(what, &times);
    }
    journal.close().await;
}

fn report(what: &str, times_ms: &[f64]) {
    let mut sorted = times_ms.to_vec();
    sorted.sort_by(f64::total_cmp);
    let of = |share: usize| sorted.get(sorted.len() * share / 100).copied().unwrap_or(f64::NAN);
    println!("  {what:<22} p50 {:7.2} ms  p99 {:7.2} ms", of(50), of(99));
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

fn per(time: Duration, count: u64) -> f64 {
    time.as_secs_f64() / to_f64(count.max(1))
}

#[expect(clippy::cast_precision_loss, reason = "a benchmark's counts are far below 2^53")]
fn to_f64(count: u64) -> f64 {
    count as f64
}
