//! The MQTT output against a real broker and its own command-line clients (mosquitto 2, from the distribution).
//!
//! What is expected comes from the published topics and payloads of the project, from MQTT 5.0 (OASIS, 2019-03-07)
//! and from SHA-256 (FIPS 180-4) as another program computes it.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(clippy::disallowed_methods, missing_docs, reason = "a test has a clock, and is no library")]

#[path = "mqtt/bench.rs"]
mod bench;
#[path = "mqtt/mosquitto.rs"]
mod mosquitto;

use std::collections::HashSet;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::Duration;

use benchscribe::work_order::event::Change;
use benchscribe::work_order::steps::Step;
use serde_json::{Value, json};

use bench::{Bench, EPOCH, ROOT, order, scale};
use mosquitto::{Mosquitto, Seen, Subscriber, publish, wait_for};

const SOON: Duration = Duration::from_secs(10);
const LATER: Duration = Duration::from_secs(30);

fn seq(message: &Seen) -> u64 {
    message.json()["seq"].as_u64().unwrap()
}

fn topic(name: &str) -> String {
    format!("{ROOT}{name}")
}

/// The sequence of each event when it was first seen, by id.
fn first_sights(subscriber: &Subscriber) -> Vec<u64> {
    let mut known = HashSet::new();
    let events = subscriber.on("/event");
    events.iter().filter(|e| known.insert(e.json()["id"].as_str().unwrap().to_owned())).map(seq).collect()
}

fn sha256sum(bytes: &[u8]) -> String {
    let mut child = Command::new("sha256sum").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("coreutils");
    child.stdin.take().unwrap().write_all(bytes).unwrap();
    String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap()[..64].to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_event_arrives_once_in_order_and_a_restart_repeats_none() {
    let broker = Mosquitto::start();
    let subscriber = Subscriber::start(broker.port, &topic("#"));
    let mut bench = Bench::new().await;
    bench.append_some(50).await;
    let running = bench.publish_to(broker.port);
    for _ in 0..25 {
        bench.append_some(10).await;
    }
    wait_for("300 events", LATER, || (subscriber.on("/event").len() >= 300).then_some(()));
    running.end().await;
    let goodbye = subscriber.wait("/status", SOON, |status| status.json()["online"] == false);
    assert_eq!((goodbye.qos, goodbye.json()["session"].as_str().unwrap()), (1, "session-1"));

    let again = bench.publish_to(broker.port);
    bench.append_some(5).await;
    wait_for("five more", SOON, || (subscriber.on("/event").len() >= 305).then_some(()));
    again.end().await;
    let events = subscriber.on("/event");
    assert_eq!(events.iter().map(seq).collect::<Vec<_>>(), (1..=305).collect::<Vec<_>>());

    let mut before = "0".repeat(64);
    for event in events.iter().take(12) {
        assert_eq!((event.qos, event.retained, event.content_type.as_str()), (1, false, "application/json"));
        let json = event.json();
        for (key, value) in [("bench", json!("b1")), ("epoch", json!(EPOCH)), ("kind", json!("operator_changed"))] {
            assert_eq!(json[key], value);
        }
        // Without its chain the payload is the canonical text that the chain was taken over.
        let chain = json["chain"].as_str().unwrap().to_owned();
        let stored = event.payload.replace(&format!(",\"chain\":\"{chain}\""), "");
        before = sha256sum(format!("{before}{stored}").as_bytes());
        assert_eq!(chain, before);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_killed_in_the_middle_loses_no_event() {
    let mut broker = Mosquitto::start();
    let subscriber = Subscriber::start(broker.port, &topic("event"));
    let mut bench = Bench::new().await;
    let running = bench.publish_to(broker.port);
    for step in 0..60 {
        bench.append_some(20).await;
        match step {
            20 => {
                wait_for("the flow has begun", SOON, || (subscriber.on("/event").len() >= 100).then_some(()));
                broker.kill();
            }
            30 => {
                bench.wait_connected(false).await;
                broker.restart();
            }
            _ => {}
        }
    }
    wait_for("all 1200 events", LATER, || (first_sights(&subscriber).len() >= 1200).then_some(()));
    assert_eq!(first_sights(&subscriber), (1..=1200).collect::<Vec<_>>());
    // It forgot its session, so the last hour came again: what it had acknowledged but not passed on.
    assert!(subscriber.on("/event").iter().skip(1).any(|event| seq(event) == 1), "nothing was sent again");
    assert_eq!(*bench.trouble.borrow(), None);
    running.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bench_that_crashes_repeats_little_and_loses_nothing() {
    let broker = Mosquitto::start();
    let subscriber = Subscriber::start(broker.port, &topic("#"));
    let mut bench = Bench::new().await;
    let mut running = bench.publish_to(broker.port);
    for _ in 0..3 {
        bench.append_some(200).await;
        let before = subscriber.on("/event").len();
        wait_for("some events", SOON, || (subscriber.on("/event").len() >= before + 50).then_some(()));
        running.abort().await;
        running = bench.publish_to(broker.port);
    }
    wait_for("all 600", LATER, || (first_sights(&subscriber).len() >= 600).then_some(()));
    assert_eq!(first_sights(&subscriber), (1..=600).collect::<Vec<_>>());
    // At most a batch not yet written and a window under way, a crash.
    let repeats = subscriber.on("/event").len() - 600;
    assert!(repeats <= 3 * 40, "{repeats} events repeated");
    // It was back before the delay of the will was over: nobody was told that it is away.
    assert!(subscriber.on("/status").iter().all(|status| status.json()["online"] == true));
    running.abort().await;
    let will = subscriber.wait("/status", LATER, |status| status.json()["online"] == false);
    assert_eq!((will.qos, will.content_type.as_str()), (1, "application/json"));
    let late = Subscriber::start(broker.port, &topic("status"));
    let kept = late.wait("/status", SOON, |_| true);
    assert_eq!((kept.retained, &kept.json()["online"]), (true, &json!(false)));
    for key in ["since", "session", "version"] {
        assert!(kept.json()[key].is_string(), "{key}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_display_that_comes_late_is_right_at_once() {
    let mut broker = Mosquitto::start();
    let mut bench = Bench::new().await;
    bench.show(vec![scale(203.5)]);
    let running = bench.publish_to(broker.port);
    bench.wait_connected(true).await;
    let early = Subscriber::start(broker.port, &topic("#"));
    let order = order();
    let (first, token) = (order.clubs[0].id.clone(), order.clubs[0].token.clone());
    assert_eq!(early.wait("/order", SOON, |_| true).json(), json!({"order": null}));
    assert_eq!(early.wait("/club", SOON, |_| true).json(), json!({"club": null}));
    bench
        .append(vec![
            Change::OrderImported { order: order.clone() },
            Change::OrderOpened { order: order.number.clone() },
            Change::ClubOpened { club: first.clone() },
        ])
        .await;
    let record = format!("/record/{token}");
    early.wait("/club", SOON, |club| club.json()["club"] == json!(first));
    assert!(early.on(&record).is_empty(), "a record before the club is finished");
    bench
        .append(vec![
            Change::ClubFinished { club: first.clone() },
            Change::ClubOpened { club: order.clubs[1].id.clone() },
        ])
        .await;
    assert_eq!(early.wait(&record, SOON, |_| true).json()["state"], "finished");
    bench.append(vec![Change::step_done(&first, Step::HandOver)]).await;
    early.wait(&record, SOON, |record| record.json()["steps"][0]["step"] == "hand_over");

    early.wait("/club", SOON, |club| club.json()["club"] == "W-1042/2");

    let right = |late: &Subscriber| {
        let kept = |name: &str, wanted: &dyn Fn(&Value) -> bool| {
            let seen = late.wait(name, SOON, |message| message.retained && wanted(&message.json()));
            assert_eq!((seen.qos, seen.content_type.as_str()), (1, "application/json"), "{name}");
            seen.json()
        };
        kept("/status", &|status| status["online"] == true);
        kept("/order", &|order| order["order"] == "W-1042" && order["clubs"][0]["state"] == "finished");
        kept("/club", &|club| club["club"] == "W-1042/2");
        kept(&record, &|record| record["club"] == "W-1042/1" && record["steps"][0]["step"] == "hand_over");
        let scale = kept("/instrument/parts-scale", &|scale| scale["connected"] == true);
        assert_eq!(scale["format"], "plain-value-unit");
    };
    let late = Subscriber::start(broker.port, &topic("#"));
    right(&late);
    // The broker loses all it kept; the bench tells it everything again.
    broker.kill();
    bench.wait_connected(false).await;
    broker.restart();
    bench.wait_connected(true).await;
    let fresh = Subscriber::start(broker.port, &topic("#"));
    for name in [record.as_str(), "/instrument/parts-scale", "/club"] {
        fresh.wait(name, SOON, |_| true);
    }
    right(&Subscriber::start(broker.port, &topic("#")));

    // Opened again it is no finished club: its record goes, and comes back when it is finished again.
    bench.append(vec![Change::ClubReopened { club: first.clone() }]).await;
    fresh.wait(&record, SOON, |record| record.payload.is_empty());
    bench.append(vec![Change::ClubFinished { club: first }]).await;
    wait_for("it is back", SOON, || (!fresh.on(&record).last()?.payload.is_empty()).then_some(()));
    running.end().await;
}

/// A start tells the records that were touched since, and no others: the broker still has them. A broker that forgot gets all.
#[tokio::test(flavor = "multi_thread")]
async fn a_start_goes_on_behind_the_records_that_are_told() {
    let mut broker = Mosquitto::start();
    let mut bench = Bench::new().await;
    let order = order();
    let clubs: Vec<(String, String)> =
        order.clubs.iter().map(|club| (club.id.clone(), format!("/record/{}", club.token))).collect();
    let [(first, first_topic), (second, second_topic)] = [&clubs[0], &clubs[1]];
    let finish = |club: &str| Change::ClubFinished { club: club.to_owned() };
    bench.append(vec![Change::OrderImported { order: order.clone() }, finish(first)]).await;
    let early = Subscriber::start(broker.port, &topic("record/#"));
    let running = bench.publish_to(broker.port);
    early.wait(first_topic, SOON, |record| record.json()["state"] == "finished");
    bench.append(vec![finish(second)]).await;
    early.wait(second_topic, SOON, |record| record.json()["state"] == "finished");
    // The cursor is on disk once nothing is left to tell.
    let journal = bench.journal.reader();
    wait_on(&journal, 3).await;
    running.end().await;

    // While the bench is away one club is worked on, and things happen that touch no record.
    bench.append(vec![Change::step_done(first, Step::HandOver)]).await;
    bench.append_some(300).await;
    let running = bench.publish_to(broker.port);
    early.wait(first_topic, SOON, |record| record.json()["steps"][0]["step"] == "hand_over");
    wait_on(&journal, 304).await;
    assert_eq!((early.on(first_topic).len(), early.on(second_topic).len()), (2, 1), "a record was told again");
    // Opened again while the bench is away, the record goes, although this run never saw it finished.
    running.end().await;
    bench.append(vec![Change::ClubReopened { club: second.clone() }]).await;
    let running = bench.publish_to(broker.port);
    early.wait(second_topic, SOON, |record| record.payload.is_empty());
    wait_on(&journal, 305).await;
    running.end().await;

    // A broker that lost everything between two runs is told every record again.
    broker.kill();
    broker.restart();
    let late = Subscriber::start(broker.port, &topic("record/#"));
    let running = bench.publish_to(broker.port);
    late.wait(first_topic, SOON, |record| record.json()["state"] == "finished");
    wait_on(&journal, 305).await;
    assert!(late.on(second_topic).is_empty(), "a club that is not finished has no record");
    running.end().await;
}

/// Waits until the cursor of the records is written at this event.
async fn wait_on(journal: &benchscribe::journal::store::Reader, seq: u64) {
    for _ in 0..1000 {
        if journal.cursor("mqtt-records").await.unwrap().0 == seq {
            return;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("the cursor stands at {:?}, not {seq}", journal.cursor("mqtt-records").await);
}

#[tokio::test(flavor = "multi_thread")]
async fn live_readings_come_when_something_changed_and_at_most_twenty_a_second() {
    let broker = Mosquitto::start();
    let bench = Bench::new().await;
    let running = bench.publish_to(broker.port);
    bench.wait_connected(true).await;
    let subscriber = Subscriber::start(broker.port, &topic("#"));
    for step in 0..400 {
        bench.show(vec![scale(f64::from(step / 2))]);
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    // The last one always comes, however fast the ones before.
    let last = subscriber.wait("/live/parts-scale", SOON, |live| live.json()["readings"][0]["value"] == 199.0);
    assert_eq!((last.qos, last.retained, last.expiry_s.as_str()), (0, false, "5"));
    assert!(last.json()["t"].is_f64() && last.json()["phase"] == "settling");
    let live = subscriber.on("/live/parts-scale");
    let span = live.last().unwrap().at.duration_since(live[0].at).as_secs_f64();
    let most = (span / 0.05).ceil() + 1.0;
    assert!(f64::from(u32::try_from(live.len()).unwrap()) <= most, "{} in {span} s", live.len());
    assert!(live.len() >= 20, "only {} in {span} s", live.len());
    for _ in 0..20 {
        bench.show(vec![scale(199.0)]);
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert_eq!(subscriber.on("/live/parts-scale").len(), live.len(), "sent again without a change");
    running.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_is_answered_with_its_correlation_and_never_carried_out_late() {
    let broker = Mosquitto::start();
    let mut bench = Bench::new().await;
    let replies = Subscriber::start(broker.port, "replies/#");
    let running = bench.publish_to(broker.port);
    bench.wait_connected(true).await;
    let send = |payload: &str, id: &str| {
        let path = ["-D", "publish", "response-topic", "replies/1", "-D", "publish", "correlation-data", id];
        publish(broker.port, &topic("command"), payload, &path);
    };
    let answer = |id: &str| {
        let seen = replies.wait("replies/1", SOON, |reply| reply.correlation == id);
        assert_eq!((seen.qos, seen.content_type.as_str()), (1, "application/json"));
        seen.json()
    };
    for (id, result, expected) in [
        ("a", Ok(Vec::new()), json!({"ok": true})),
        ("b", Err("no such club".to_owned()), json!({"error": "no such club"})),
    ] {
        send(r#"{"command":"step_done","step":"bond"}"#, id);
        let request = tokio::time::timeout(SOON, bench.commands.recv()).await.unwrap().unwrap();
        assert_eq!(request.json["command"], "step_done");
        request.reply.send(result).unwrap();
        assert_eq!(answer(id), expected);
    }
    send("bond!", "c");
    assert!(answer("c")["error"].as_str().unwrap().starts_with("a command is JSON"));
    running.end().await;

    // The broker keeps it for the bench's session; an hour late nobody would expect it.
    send(r#"{"command":"step_done","step":"cure"}"#, "d");
    let running = bench.publish_to(broker.port);
    assert!(answer("d")["error"].as_str().unwrap().contains("away"));
    // An answer that would forge a record is not given, and its command not carried out.
    let forged = topic("record/forged");
    publish(broker.port, &topic("command"), "{}", &["-D", "publish", "response-topic", &forged]);
    assert!(bench.commands.try_recv().is_err());
    running.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_is_away_is_said_with_the_remedy() {
    let mut broker = Mosquitto::start();
    broker.kill();
    let bench = Bench::new().await;
    let running = bench.publish_to(broker.port);
    let place = format!("127.0.0.1:{}", broker.port);
    let said = |words: &String| words.contains(&place) && words.contains("; start it");
    wait_for("the words", SOON, || bench.trouble.borrow().clone().filter(said));
    broker.restart();
    bench.wait_connected(true).await;
    running.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_benches_of_one_name_are_told_so() {
    let broker = Mosquitto::start();
    let (one, other) = (Bench::new().await, Bench::new().await);
    let (first, second) = (one.publish_to(broker.port), other.publish_to(broker.port));
    let told =
        |bench: &Bench| bench.trouble.borrow().clone().filter(|words| words.contains("no other bench is called"));
    wait_for("the hint", LATER, || told(&one).or_else(|| told(&other)));
    second.end().await;
    one.wait_connected(true).await;
    first.end().await;
}

#[cfg(feature = "embedded-broker")]
mod embedded {
    use super::*;
    use benchscribe::output::broker::{self, BrokerError};

    #[tokio::test(flavor = "multi_thread")]
    async fn the_embedded_broker_serves_displays_of_both_versions() {
        let broker = broker::start("127.0.0.1:0".parse().unwrap()).await.unwrap();
        let port = broker.address().port();
        let mut bench = Bench::new().await;
        bench.show(vec![scale(203.5)]);
        bench.append_some(30).await;
        let before = Subscriber::with(port, &topic("event"), "311", &[]);
        let running = bench.publish_to(port);
        wait_for("30 events", SOON, || (before.on("/event").len() >= 30).then_some(()));
        assert_eq!(before.on("/event").iter().map(seq).collect::<Vec<_>>(), (1..=30).collect::<Vec<_>>());
        for version in ["5", "311"] {
            let late = Subscriber::with(port, &topic("#"), version, &[]);
            let status = late.wait("/status", SOON, |_| true);
            assert_eq!((status.retained, &status.json()["online"]), (true, &json!(true)), "{version}");
            assert!(late.wait("/instrument/parts-scale", SOON, |_| true).retained, "{version}");
            bench.show(vec![scale(if version == "5" { 204.0 } else { 205.0 })]);
            late.wait("/live/parts-scale", SOON, |_| true);
        }
        let watcher = Subscriber::start(port, "wills/#");
        for version in ["5", "311"] {
            let will = ["--will-topic", "wills/w", "--will-payload", version, "--will-qos", "1", "--will-retain"];
            Subscriber::with(port, "nothing", version, &will).kill();
            watcher.wait("wills/w", SOON, |will| will.payload == version);
        }
        let kept = Subscriber::with(port, "wills/#", "311", &[]);
        assert!(kept.wait("wills/w", SOON, |_| true).retained);
        running.end().await;
        broker.stop().await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_bench_resumes_its_session_at_the_embedded_broker_and_its_will_is_sent() {
        let broker = broker::start("127.0.0.1:0".parse().unwrap()).await.unwrap();
        let port = broker.address().port();
        let subscriber = Subscriber::start(port, &topic("#"));
        let mut bench = Bench::new().await;
        bench.append_some(25).await;
        let running = bench.publish_to(port);
        wait_for("25 events", SOON, || (subscriber.on("/event").len() >= 25).then_some(()));
        running.end().await;
        let running = bench.publish_to(port);
        bench.append_some(5).await;
        wait_for("30 events", SOON, || (subscriber.on("/event").len() >= 30).then_some(()));
        assert_eq!(subscriber.on("/event").iter().map(seq).collect::<Vec<_>>(), (1..=30).collect::<Vec<_>>());
        let told = subscriber.on("/status").len();
        running.abort().await;
        wait_for("the will", LATER, || {
            subscriber.on("/status").get(told..)?.iter().find(|status| status.json()["online"] == false).cloned()
        });
        broker.stop().await;
    }

    #[tokio::test]
    async fn a_taken_port_is_said() {
        let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let refused = broker::start(taken.local_addr().unwrap()).await;
        assert!(matches!(refused, Err(BrokerError::Listen { .. })), "{refused:?}");
    }
}
