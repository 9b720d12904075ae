//! Journals as months of work leave them, made event by event from stored shapes: nothing is decided here, and what no
//! bench would do (a reading filed three times, a club reopened and dropped) happens often.
#![allow(dead_code, reason = "each program uses its part")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

use benchscribe::journal::chain::GENESIS;
use benchscribe::journal::event;
use benchscribe::work_order::event::{Change, Event, EventId};
use serde_json::{Value, json};

/// The journal's number.
pub(crate) const EPOCH: u64 = 7;
/// The bench.
pub(crate) const BENCH: &str = "bench-1";
/// Wall time of the first event: in November 2023.
pub(crate) const START_US: i64 = 1_700_000_000_000_000;
/// Time between two events, in microseconds.
pub(crate) const STEP_US: i64 = 7_000_000;

/// Chance that can be repeated: splitmix64 (public domain), from memory.
#[derive(Debug, Clone)]
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    /// A number below `sides`.
    pub(crate) fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (x ^ (x >> 31)) % sides
    }
}

/// Writes events one behind the other.
#[derive(Debug, Clone)]
pub(crate) struct Writer {
    /// The sequence of the last event.
    pub(crate) seq: u64,
    /// Events not taken yet.
    pub(crate) events: Vec<Event>,
}

impl Writer {
    pub(crate) fn new() -> Self {
        Self { seq: 0, events: Vec::new() }
    }

    /// One event of a kind with its fields, as it would be stored.
    pub(crate) fn write(&mut self, kind: &str, fields: Value) -> EventId {
        self.seq += 1;
        let at_us = START_US + i64::try_from(self.seq).unwrap() * STEP_US;
        let id = EventId::new(EPOCH, self.seq, at_us);
        let mut stored = json!({"v": 1, "bench": BENCH, "epoch": EPOCH, "seq": self.seq, "id": id.to_string(),
            "at": event::rfc3339(at_us), "by": "K7", "kind": kind});
        stored.as_object_mut().unwrap().extend(fields.as_object().unwrap().clone());
        let parsed = event::parse(&stored.to_string()).unwrap_or_else(|error| panic!("{error:?}: {stored}"));
        self.events.push(parsed);
        id
    }

    /// An order of `clubs` clubs.
    pub(crate) fn order(&mut self, kind: &str, number: &str, player: &str, clubs: u64) {
        let clubs: Vec<Value> = (1..=clubs)
            .map(|n| {
                json!({"club": format!("{number}/{n}"), "token": token(number, n), "name": format!("{n}-iron"),
                    "club_kind": "iron", "hand": "right", "details": {"head_material": "steel"}, "targets": [
                    {"characteristic": "head_mass", "target": 256.0, "lower": 253.0, "upper": 259.0, "text": "256 g ± 3 g"},
                    {"characteristic": "swing_weight", "target": 32.0, "lower": 31.5, "upper": 32.5, "text": "D2 ± 0.5"}]})
            })
            .collect();
        let order = json!({"order": number, "player": player, "due": null, "clubs": clubs});
        self.write(kind, json!({"order": order}));
    }

    /// A captured reading of a scale.
    pub(crate) fn captured(&mut self, instrument: &str, mass_g: f64) -> EventId {
        let calibration = EventId::new(EPOCH, 1, START_US).to_string();
        let budget = json!([{"quantity": "mass", "components": [
            {"source": "calibration", "u": 0.011, "freedom": 50.0}, {"source": "resolution", "u": 0.0029},
            {"source": "repeatability", "u": 0.004, "freedom": 9.0}]}]);
        let fields = json!({"instrument": instrument, "instrument_kind": "scale",
            "measured": [{"quantity": "mass", "value": mass_g, "u": 0.0123}],
            "levels": [mass_g, 0.0], "zero": [0.012, 0.0], "u_levels": [0.004, 0.0], "window_s": [12.25, 13.5],
            "t_s": 13.5, "printed": format!("{mass_g:.2}"), "stable_flag": true, "calibration": calibration,
            "evidence": "0".repeat(64), "budget_inputs": {"u_zero": [0.003, 0.0]}, "budget": budget});
        self.write("reading_captured", fields)
    }

    /// A reading filed in a club's record.
    pub(crate) fn filed(&mut self, reading: EventId, club: &str, characteristic: &str, value: f64, verdict: &str) {
        let calibration = EventId::new(EPOCH, 1, START_US).to_string();
        let values = json!([filed_value(characteristic, value, verdict)]);
        let fields = json!({"reading": reading.to_string(), "club": club, "instrument": "parts-scale",
            "calibration": calibration, "values": values, "by_hand": false});
        self.write("reading_filed", fields);
    }

    /// A calibration that comes into force.
    pub(crate) fn calibrated(&mut self, instrument: &str, source: &str, with_report: bool) {
        let mut fields = json!({"instrument": instrument, "format": "hdr2-sign8-unit3", "format_settings": [],
            "channels": ["value", ""], "resolution": 0.01, "rate_hz": 10.0, "capacity_g": 1200.0,
            "calibration": {"of": "scale", "span": 1.0, "u_span": 1e-4, "u_linearity_g": 0.01}, "source": source});
        if with_report {
            fields["report"] = json!({"as_found": [], "as_left": [], "findings": [], "conditions": {}});
        }
        self.write("calibrated", fields);
    }
}

/// The token of a club: nothing a person typed, and no two alike.
pub(crate) fn token(number: &str, n: u64) -> String {
    let sum = benchscribe::journal::chain::sha256(format!("{number}/{n}").as_bytes());
    sum.chars().take(16).collect()
}

pub(crate) fn filed_value(characteristic: &str, value: f64, verdict: &str) -> Value {
    json!({"characteristic": characteristic, "stage": if characteristic == "head_mass" { "part" } else { "final" },
        "value": value, "u": 0.02, "target": 256.0, "lower": 253.0, "upper": 259.0, "deviation": value - 256.0,
        "verdict": verdict, "marginal": false})
}

/// A journal in which anything may follow anything: `length` events at least.
pub(crate) fn wild(seed: u64, length: u64) -> Vec<Event> {
    let mut dice = Dice(seed);
    let mut writer = Writer::new();
    let instruments = ["parts-scale", "club-scale", "beam"];
    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": true}));
    for instrument in instruments {
        writer.calibrated(instrument, "configuration", false);
    }
    let (mut orders, mut clubs): (Vec<(String, u64)>, Vec<String>) = (Vec::new(), Vec::new());
    let mut values: Vec<EventId> = Vec::new();
    let (mut studies, mut batches) = (0_u64, 0_u64);
    let mut takings: Vec<(String, EventId)> = Vec::new();
    let mut stock = Stock::default();
    set_drawers(&mut writer, 30);
    writer.write("journal_salvaged", json!({"missing": [], "unproved": [], "end_known": true}));
    let segment = json!({"file": "s.sqlite", "sha256": "", "first": 1, "last": 0, "last_hash": "", "kept": 0,
        "kept_hash": GENESIS, "clubs": ""});
    writer.write("segment_retired", segment);
    while writer.seq < length {
        let instrument = instruments[usize::try_from(dice.roll(3)).unwrap()];
        if clubs.is_empty() || dice.roll(60) == 0 {
            let (number, count) = (format!("W-{}", orders.len() + 1), 1 + dice.roll(4));
            writer.order("order_imported", &number, &format!("P-{}", dice.roll(9)), count);
            clubs.extend((1..=count).map(|n| format!("{number}/{n}")));
            orders.push((number, count));
        }
        // Mostly about what is new, sometimes about something long gone.
        let back = if dice.roll(12) == 0 { u64::try_from(clubs.len()).unwrap() } else { 5 };
        let club = clubs
            [clubs.len() - 1 - usize::try_from(dice.roll(back.min(u64::try_from(clubs.len()).unwrap()))).unwrap()]
        .clone();
        let value = (!values.is_empty()).then(|| {
            let back = if dice.roll(12) == 0 { values.len() } else { values.len().min(5) };
            values[values.len() - 1 - usize::try_from(dice.roll(u64::try_from(back).unwrap())).unwrap()]
        });
        let at_club = json!({"club": club});
        match dice.roll(29) {
            0..=5 => values.push(writer.captured(instrument, 250.0 + f64::from(u8::try_from(dice.roll(12)).unwrap()))),
            6..=9 => {
                // A reading is only filed while it is at hand.
                if let Some(value) = values.iter().rev().nth(2.min(values.len().saturating_sub(1))) {
                    let verdict = ["within", "over", "under"][usize::try_from(dice.roll(3)).unwrap()];
                    let characteristic = ["head_mass", "swing_weight"][usize::try_from(dice.roll(2)).unwrap()];
                    let is_reading =
                        writer.events.iter().any(|e| e.id == *value && e.change.kind() == "reading_captured");
                    if is_reading {
                        writer.filed(*value, &club, characteristic, 255.0, verdict);
                    }
                }
            }
            10 => {
                let value = json!({"club": club, "text": "256 g", "value": filed_value("head_mass", 256.0, "within")});
                values.push(writer.write("value_typed", value));
            }
            11 => {
                if let Some(value) = value {
                    writer.write("reading_voided", json!({"reading": value.to_string(), "why": "wrong part"}));
                }
            }
            12 => {
                if let Some(value) = value {
                    let unfiled = json!({"reading": value.to_string(), "reason": "fits nothing", "choices": []});
                    writer.write("reading_unfiled", unfiled);
                }
            }
            13 => drop(writer.write("club_opened", at_club)),
            14 => drop(writer.write("club_put_aside", at_club)),
            15 | 16 => drop(writer.write("club_finished", at_club)),
            17 => {
                if dice.roll(3) == 0 {
                    writer.write("club_taken_up", json!({"club": club, "name": "K7", "why": "the wrong card"}));
                }
                writer.write("club_reopened", at_club);
            }
            18 => {
                writer.write("step_done", json!({"club": club, "step": "bond"}));
                take_step_back(&mut writer, &club);
            }
            19 => {
                let (number, count) =
                    orders[usize::try_from(dice.roll(u64::try_from(orders.len()).unwrap())).unwrap()].clone();
                writer.write("order_opened", json!({"order": number}));
                if dice.roll(6) == 0 {
                    // Sometimes its last club is dropped, and the next revision may bring it back.
                    writer.order("order_revised", &number, "P-new", count - dice.roll(2).min(count - 1));
                }
            }
            20 => {
                let link = json!({"instrument": instrument, "port": "p", "format": "f"});
                writer.write("instrument_found", link);
                if dice.roll(2) == 0 {
                    writer.write("instrument_lost", json!({"instrument": instrument, "reason": "unplugged"}));
                }
            }
            21 => {
                let mut check = json!({"instrument": instrument, "reference_g": 200.0, "error_g": 0.01});
                if let Some(value) = value.filter(|_| dice.roll(2) == 0) {
                    check["reading"] = json!(value.to_string());
                }
                writer.write("checked", check);
            }
            22 => match dice.roll(6) {
                0 => writer.calibrated(instrument, "configuration", false),
                1 => writer.calibrated(instrument, "adjustment", true),
                2 => drop(writer.write("calibration_begun", json!({"instrument": instrument, "conditions": {}}))),
                3 => drop(writer.write("calibration_abandoned", json!({"instrument": instrument}))),
                4 => {
                    let reference = json!({"of": "weight", "nominal_g": 200.0, "error_g": 0.0, "u_g": 0.001});
                    let expected = json!({"instrument": instrument, "purpose": "check", "reference": reference});
                    writer.write("reference_expected", expected);
                }
                _ => drop(writer.write("reference_withdrawn", json!({"instrument": instrument}))),
            },
            23 => match dice.roll(3) {
                0 => drop(writer.write("operator_changed", json!({"operator": format!("K{}", dice.roll(9))}))),
                1 => {
                    let every = f64::from(u8::try_from(dice.roll(9)).unwrap()) * 3600.0;
                    writer.write("policy_set", json!({"rule": "plain", "check_every_s": every, "when_out": "warn"}));
                }
                _ => {
                    writer.write("session_ended", json!({}));
                    writer.write("session_started", json!({"version": "0.1.0", "clock_synchronised": false}));
                }
            },
            24 => match dice.roll(9) {
                0 => drop(
                    writer.write("order_put_aside", json!({"order": orders[orders.len() - 1].0, "why": "no shaft"})),
                ),
                1 => drop(writer.write("order_taken_up", json!({"order": orders[orders.len() - 1].0}))),
                2 | 3 => {
                    batches += 1;
                    let batch = json!({"name": format!("B-{batches}"), "adhesive": "quick", "product": "Quick", "lot": null,
                        "temperature_c": 21.0, "working_life_s": 1200.0, "cure_s": 3600.0, "play_s": 9000.0});
                    writer.write("batch_mixed", json!({"batch": batch}));
                }
                4 => drop(writer.write("batch_discarded", json!({"batch": format!("B-{batches}")}))),
                5 => drop(writer.write("clock_stepped", json!({"by_us": 1_000_000}))),
                6 => {
                    let cautions = json!({"club": club, "step": "cut", "cautions": ["cutting", "dust_and_fibres"]});
                    writer.write("cautions_acknowledged", cautions);
                }
                7 => drop(writer.write("cure_overridden", json!({"club": club, "name": "K7", "why": "oven"}))),
                _ => {
                    let open = json!({"club": club, "name": "K7", "why": "as agreed", "open": ["lie never measured"]});
                    writer.write("hand_over_overridden", open);
                }
            },
            25 => match dice.roll(3) {
                0 if batches > 0 => {
                    let bond = json!({"club": club, "step": "bond", "batch": format!("B-{batches}")});
                    writer.write("step_done", bond);
                }
                1 => {
                    let span = json!({"mm": 961.2, "u_mm": 0.8});
                    let mark =
                        json!({"club": club, "mark": "butt", "text": "961 mm", "measured": span, "expected": span});
                    values.push(writer.write("mark_measured", mark));
                }
                _ => {
                    let over = json!({"club": club, "mark": "tip", "name": "K7", "why": "no rule",
                        "expected": {"mm": 990.3, "u_mm": 0.6}});
                    writer.write("mark_overridden", over);
                }
            },
            // A row of parts is laid down at once.
            28 => (0..6).for_each(|_| stock.happens(&mut dice, &mut writer, &mut values, &club)),
            26 => drawers(&mut dice, &mut writer, &mut takings, &club),
            _ => match dice.roll(8) {
                0 => {
                    studies += 1;
                    let plan = json!({"study": format!("S-{studies}"), "instrument": instrument, "quantity": "mass",
                        "parts": 2, "people": ["K1", "K2"], "trials": 2, "seed": 7});
                    writer.write("study_begun", plan);
                }
                1 if studies > 0 => {
                    let kind = ["study_set_aside", "study_resumed"][usize::try_from(dice.roll(2)).unwrap()];
                    writer.write(kind, json!({"study": format!("S-{studies}")}));
                }
                2 if studies > 0 => {
                    writer.write("study_broken_off", json!({"study": format!("S-{studies}"), "why": "no time"}));
                }
                _ if studies > 0 => {
                    let reading = writer.captured(instrument, 201.0);
                    values.push(reading);
                    let read = json!({"study": format!("S-{studies}"), "part": 1 + dice.roll(2), "trial": 1 + dice.roll(2),
                        "person": format!("K{}", 1 + dice.roll(2)), "reading": reading.to_string(), "value": 201.0});
                    writer.write("study_read", read);
                }
                _ => {}
            },
        }
    }
    writer.events
}

/// Sometimes a step of a club is taken back, the last one or one before it.
fn take_step_back(writer: &mut Writer, club: &str) {
    let of_club = |event: &&Event| matches!(&event.change, Change::StepDone { club: of, .. } if of == club);
    let back = writer.events.len() % 4;
    let done = writer.events.iter().rev().filter(of_club).nth(back);
    if let Some(done) = done.map(|event| event.id) {
        writer.write("step_taken_back", json!({"club": club, "done": done.to_string(), "why": "the wrong card"}));
    }
}

/// What lies in the drawers: one kind of weight and one place for it.
fn set_drawers(writer: &mut Writer, stock: u64) {
    let place =
        json!({"name": "head", "label": "at the head", "before_end_mm": 0.0, "most_mass_g": 15.0, "most_pieces": 3});
    let item =
        json!({"name": "w-2", "item_kind": "weight", "mass_cg": 200, "stock": stock, "low": 3, "places": ["head"]});
    writer.write("drawers_set", json!({"places": [place], "items": [item]}));
}

/// Numbered parts, as anything may follow anything.
#[derive(Default)]
struct Stock {
    intakes: u64,
    parts: Vec<(String, EventId, u64)>,
    uses: Vec<(String, EventId, Option<String>)>,
}

impl Stock {
    fn happens(&mut self, dice: &mut Dice, writer: &mut Writer, values: &mut Vec<EventId>, club: &str) {
        let any = |dice: &mut Dice, of: usize| usize::try_from(dice.roll(u64::try_from(of.max(1)).unwrap())).unwrap();
        match dice.roll(9) {
            0 => {
                self.intakes += 1;
                let intake = json!({"intake": format!("I-{}", self.intakes), "part_kind": "head", "instrument": "parts-scale",
                    "facts": {"drawer": "A2", "lot": format!("L-{}", dice.roll(4))}});
                writer.write("intake_begun", intake);
            }
            1 => drop(writer.write("intake_ended", json!({"intake": format!("I-{}", self.intakes)}))),
            2..=4 if self.intakes > 0 => {
                let reading = writer.captured("parts-scale", 254.0);
                values.push(reading);
                let (part, calibration) = (format!("H-{}", self.parts.len() + 1), EventId::new(EPOCH, 1, START_US));
                let measured = json!({"intake": format!("I-{}", self.intakes), "part": part, "reading": reading.to_string(),
                    "instrument": "parts-scale", "calibration": calibration.to_string(), "mass_g": [254.0, 0.0123]});
                writer.write("part_measured", measured);
                self.parts.push((part, reading, dice.roll(4)));
            }
            5 if !self.parts.is_empty() => {
                let part = &self.parts[any(dice, self.parts.len())].0;
                let facts = json!({"serial": format!("S-{}", dice.roll(99)), "lot": format!("L-{}", dice.roll(4))});
                writer.write("part_described", json!({"part": part, "facts": facts}));
            }
            6 if !self.parts.is_empty() => {
                let (part, reading, lot) = self.parts[any(dice, self.parts.len())].clone();
                let weighed = json!({"reading": reading.to_string(), "instrument": "parts-scale",
                    "calibration": EventId::new(EPOCH, 1, START_US).to_string(), "at_us": START_US, "by": "K7",
                    "values": [filed_value("head_mass", 254.0, "within")]});
                let used = json!({"club": club, "part": part, "part_kind": "head",
                    "facts": {"lot": format!("L-{lot}")}, "weighed": weighed});
                self.uses.push((club.to_owned(), writer.write("part_used", used), Some(part)));
            }
            7 => {
                let used =
                    json!({"club": club, "facts": {"gtin": "09506000134352", "serial": format!("{}", dice.roll(9))}});
                self.uses.push((club.to_owned(), writer.write("part_used", used), None));
            }
            _ if !self.uses.is_empty() && dice.roll(2) == 0 => {
                let at = any(dice, self.uses.len());
                let (club, used, part) = self.uses.swap_remove(at);
                let mut released = json!({"club": club, "used": used.to_string(), "why": "wrong head"});
                if let Some(part) = part {
                    released["part"] = json!(part);
                }
                writer.write("part_released", released);
            }
            _ if !self.parts.is_empty() => {
                let part = &self.parts[any(dice, self.parts.len())].0;
                writer.write("part_withdrawn", json!({"part": part, "why": "sold"}));
            }
            _ => {}
        }
    }
}

/// Something that happens at the drawers.
fn drawers(dice: &mut Dice, writer: &mut Writer, takings: &mut Vec<(String, EventId)>, club: &str) {
    match dice.roll(6) {
        0 => set_drawers(writer, 30 + dice.roll(3)),
        1 => drop(writer.write("stock_counted", json!({"item": "w-2", "pieces": dice.roll(40)}))),
        2 => drop(writer.write("stock_refilled", json!({"item": "w-2", "pieces": dice.roll(10)}))),
        3 if !takings.is_empty() => {
            let back = usize::try_from(dice.roll(u64::try_from(takings.len()).unwrap())).unwrap();
            let (club, taking) = takings.swap_remove(back);
            let fields = json!({"club": club, "taking": taking.to_string(), "why": "too much"});
            writer.write("parts_returned", fields);
        }
        _ => {
            let part = json!({"item": "w-2", "item_kind": "weight", "pieces": 1, "mass_g": 2.0, "place": "head",
                "at_mm": 965.0});
            takings.push((club.to_owned(), writer.write("parts_taken", json!({"club": club, "parts": [part]}))));
        }
    }
}

/// One club as it is usually built: some thirty events. `out` leaves a value outside its limits.
pub(crate) fn build_club(writer: &mut Writer, club: &str, out: bool) {
    writer.write("club_opened", json!({"club": club}));
    for characteristic in ["head_mass", "head_mass", "head_mass"] {
        let reading = writer.captured("parts-scale", 256.2);
        writer.filed(reading, club, characteristic, 256.2, "within");
    }
    writer.write("step_done", json!({"club": club, "step": "bond"}));
    for _ in 0..3 {
        let reading = writer.captured("parts-scale", 300.0);
        let nowhere = json!({"reading": reading.to_string(), "reason": "300.0 g fits nothing that is still to be weighed", "choices": []});
        writer.write("reading_unfiled", nowhere);
    }
    writer.write("step_done", json!({"club": club, "step": "grip"}));
    for round in 0..5 {
        let reading = writer.captured("beam", 424.0);
        let verdict = if round < 2 { "under" } else { "within" };
        writer.filed(reading, club, "swing_weight", 32.1, verdict);
    }
    let verdict = if out { "over" } else { "within" };
    let typed = json!({"club": club, "text": "260 g", "value": filed_value("head_mass", 260.0, verdict)});
    writer.write("value_typed", typed);
    writer.write("step_done", json!({"club": club, "step": "hand_over"}));
    writer.write("club_finished", json!({"club": club}));
}
