//! The demo's day, watched from outside: everything that goes wrong or comes between on it stands in the journal as a person at
//! the bench and at the page would have left it, and what is refused is said on the display.
//!
//! What is looked for comes from the journal and the page of the running demo, never from what its builder says of himself.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod support;

use std::collections::BTreeSet;
use std::time::Duration;

use serde_json::{Value, json};
use support::daemon::{Daemon, measured};
use support::http::Stream;
use support::table::configuration;
use support::{assert_verified, json_lines, on_data};

/// A day of nine minutes at the pace below, and room for a busy machine.
const LONGEST: Duration = Duration::from_secs(240);
const PACE: &str = "8";
/// The clubs in the order in which they are finished.
const CLUBS: [&str; 5] = ["W-1042/1", "W-1042/2", "W-1043/1", "W-1042/3", "W-1044/1"];

/// The journal of a day.
struct Told(Vec<Value>);

impl Told {
    fn of(&self, kind: &str) -> impl Iterator<Item = &Value> {
        self.0.iter().filter(move |event| event["kind"] == kind)
    }

    /// The one event of this kind of which all this holds.
    #[track_caller]
    fn one(&self, kind: &str, facts: &[(&str, &str)]) -> &Value {
        let holds = |event: &&Value| facts.iter().all(|(key, value)| event[key] == *value);
        let found: Vec<&Value> = self.of(kind).filter(holds).collect();
        assert_eq!(found.len(), 1, "{kind} {facts:?}: {found:?}");
        found[0]
    }

    fn seq(&self, kind: &str, facts: &[(&str, &str)]) -> u64 {
        self.one(kind, facts)["seq"].as_u64().unwrap()
    }

    /// What was filed for a characteristic of a club: the event and the value in it.
    fn filed(&self, club: &str, characteristic: &str, stage: &str) -> Vec<(&Value, &Value)> {
        self.of("reading_filed")
            .filter(|event| event["club"] == club)
            .flat_map(|event| event["values"].as_array().unwrap().iter().map(move |value| (event, value)))
            .filter(|(_, value)| value["characteristic"] == characteristic && value["stage"] == stage)
            .collect()
    }

    fn is_voided(&self, filed: &Value) -> Option<&str> {
        self.of("reading_voided")
            .find(|event| event["reading"] == filed["reading"])
            .and_then(|void| void["why"].as_str())
    }
}

fn seconds(event: &Value) -> f64 {
    let at: jiff::Timestamp = event["at"].as_str().unwrap().parse().unwrap();
    at.as_microsecond() as f64 / 1e6
}

fn number(value: &Value) -> f64 {
    value["value"].as_f64().unwrap()
}

#[test]
fn a_day_with_everything_that_comes_between() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let ports = folder.path().join("ports");
    let (data_text, ports_text) = (data.to_str().unwrap(), ports.to_str().unwrap());
    let demo = Daemon::start([
        "demo",
        "--once",
        "--pace",
        PACE,
        "--listen",
        "127.0.0.1:0",
        "--data",
        data_text,
        "--ports",
        ports_text,
    ]);
    let mut stream = Stream::open(demo.address).unwrap();
    let mut warnings = BTreeSet::new();
    while let Some(state) = stream.next() {
        for banner in state["banners"].as_array().into_iter().flatten() {
            warnings.insert(banner["text"].as_str().unwrap().to_owned());
        }
    }
    let (status, words) = demo.ended(LONGEST);
    assert!(status.success(), "{words}");
    assert!(!words.contains("gave up"), "{words}");
    // It is told as it goes.
    for told in
        ["the head of", "a finger rests", "a player is at the door", "is refused: ", "goes back", "the day is over"]
    {
        assert!(words.contains(told), "{told:?} is not in\n{words}");
    }

    let config = folder.path().join("bench.toml");
    std::fs::write(&config, configuration("/nowhere", data_text)).unwrap();
    let daemon = Daemon::run(&config, 1.0);
    let told = Told(daemon.events_after(0));

    // A queue: the order that has time came first and is done last, the one of the player at the door comes between.
    let came: Vec<&Value> = told.of("order_imported").map(|event| &event["order"]).collect();
    // An order that presses as usual does not say so.
    let priority = |order: &Value| order["priority"].as_str().unwrap_or("normal").to_owned();
    let heads: Vec<(&str, String)> =
        came.iter().map(|order| (order["order"].as_str().unwrap(), priority(order))).collect();
    assert_eq!(
        heads,
        [("W-1044", "low"), ("W-1042", "normal"), ("W-1043", "urgent")]
            .map(|(order, priority)| (order, priority.to_owned()))
    );
    assert!(came.iter().all(|order| order["due"].is_string()), "{came:?}");
    let opened: Vec<&str> = told.of("order_opened").map(|event| event["order"].as_str().unwrap()).collect();
    assert_eq!(opened, ["W-1042", "W-1043", "W-1042", "W-1044"]);
    let finished: Vec<&str> = told.of("club_finished").map(|event| event["club"].as_str().unwrap()).collect();
    assert_eq!(finished, CLUBS);
    assert!(told.of("operator_changed").any(|event| event["operator"] == "K7"));
    assert!(told.of("step_done").all(|event| event["by"] == "K7"), "a step that nobody did");

    // The interruption: put aside with its parts weighed, taken up again when the other club is away.
    let aside = told.seq("club_put_aside", &[("club", "W-1042/3")]);
    let between = told.seq("club_finished", &[("club", "W-1043/1")]);
    let again =
        told.of("club_opened").filter(|event| event["club"] == "W-1042/3").map(|event| event["seq"].as_u64().unwrap());
    let again: Vec<u64> = again.filter(|seq| *seq > aside).collect();
    assert!(aside < between && again.first().is_some_and(|seq| *seq > between), "{aside} {between} {again:?}");

    // A wrong part: read, not filed, and nobody made it count.
    let wrong = told
        .of("reading_captured")
        .find(|event| event["instrument"] == "parts-scale")
        .unwrap_or_else(|| panic!("nothing was weighed"));
    assert!((measured(wrong, "mass") - 256.0).abs() < 3.0, "the first part is the head of another club: {wrong}");
    let unfiled = told.one("reading_unfiled", &[("reading", wrong["id"].as_str().unwrap())]);
    assert!(unfiled["reason"].as_str().unwrap().contains("W-1042/1 needs"), "{unfiled}");
    assert!(told.of("reading_filed").all(|event| event["reading"] != wrong["id"]));
    let heads = told.filed("W-1042/1", "head_mass", "part");
    assert!(!heads.is_empty() && heads.iter().all(|(_, value)| value["verdict"] == "within"), "{heads:?}");

    // A light finger: heavier than the parts by what it bears, taken back with the card, right when it is laid down again.
    let parts: f64 = ["head_mass", "shaft_mass", "grip_mass"]
        .map(|part| number(told.filed("W-1042/2", part, "part").last().unwrap().1))
        .iter()
        .sum();
    let dry = told.filed("W-1042/2", "total_mass", "dry_fit");
    let [(leaned, with), .., (_, without)] = dry.as_slice() else { panic!("{dry:?}") };
    assert!((number(with) - parts - 6.0).abs() < 1.0 && (number(without) - parts).abs() < 1.0, "{parts} {dry:?}");
    assert!(told.is_voided(leaned).is_some_and(|why| why.contains("card")), "{leaned}");

    // A voided reading: with its reason, and the right part after it.
    let grips = told.filed("W-1042/3", "grip_mass", "part");
    let [(other, heavy), .., (right, light)] = grips.as_slice() else { panic!("{grips:?}") };
    assert_eq!(
        (told.is_voided(other), told.is_voided(right)),
        (Some("a grip out of the wrong drawer lay there"), None)
    );
    assert_eq!((&heavy["verdict"], &light["verdict"]), (&json!("over"), &json!("within")));

    // An expired batch: the bond is refused on the display, and made with a new one.
    let mixed: Vec<&Value> = told.of("batch_mixed").collect();
    assert_eq!(mixed.iter().map(|event| event["batch"]["name"].as_str().unwrap()).collect::<Vec<_>>(), ["B-1", "B-2"]);
    let bond = |club: &str| told.one("step_done", &[("club", club), ("step", "bond")]);
    let with: Vec<&Value> = ["W-1042/1", "W-1042/2", "W-1042/3"].iter().map(|club| &bond(club)["batch"]).collect();
    assert_eq!(with, ["B-1", "B-1", "B-2"]);
    let life_s = mixed[0]["batch"]["working_life_s"].as_f64().unwrap();
    assert!(seconds(mixed[1]) - seconds(mixed[0]) > life_s, "B-1 was not over");
    let refused = |text: &String| text.contains("batch B-1") && text.contains("beyond its working life");
    assert!(warnings.iter().any(refused), "{warnings:?}");
    // Nothing is finished uncured.
    for club in CLUBS.into_iter().filter(|club| *club != "W-1043/1") {
        let cure_s = mixed[0]["batch"]["cure_s"].as_f64().unwrap();
        let cured = seconds(told.one("step_done", &[("club", club), ("step", "cure")])) - seconds(bond(club));
        assert!(cured >= cure_s, "{club}: {cured} s of {cure_s} s");
    }

    // Sent back: too flat at the gauge, bent, adjusted once more, within.
    let lies = told.filed("W-1042/3", "lie", "final");
    let [(_, before), .., (_, after)] = lies.as_slice() else { panic!("{lies:?}") };
    assert_eq!((&before["verdict"], &after["verdict"]), (&json!("under"), &json!("within")));
    told.one("bend_done", &[("club", "W-1042/3"), ("characteristic", "lie")]);
    let adjusted = told.of("step_done").filter(|event| event["club"] == "W-1042/3" && event["step"] == "adjust");
    assert_eq!(adjusted.count(), 2);

    // A repair: as it came, and as it left with another grip.
    let total = |stage: &str| number(told.filed("W-1043/1", "total_mass", stage).last().unwrap().1);
    assert!((total("gripped") - total("received") - 4.0).abs() < 1.0, "{} {}", total("received"), total("gripped"));

    // Every club was handed over, and the records say what the journal says.
    for club in CLUBS {
        let record = daemon.get(&format!("/api/v1/records/{club}")).json();
        assert_eq!(
            (&record["state"], record["steps"].as_array().unwrap().last().unwrap()["step"].as_str()),
            (&json!("finished"), Some("hand_over"))
        );
    }
    assert!(daemon.terminate().success());
    let (code, out, err) = on_data(&data, &["records", "list", "--json"]);
    assert_eq!(
        (code, json_lines(&out)[0]["records"].as_array().map(Vec::len)),
        (Some(0), Some(CLUBS.len())),
        "{out}{err}"
    );
    assert_verified(&data);
}
