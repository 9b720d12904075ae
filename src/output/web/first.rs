//! What the bench display shows before its script runs: the club, what to do, and the last digits, as they are when the page is made.
//!
//! In: a snapshot, the time, the language and the units of the display. Out: texts for the template. The script draws the same places anew with
//! the first message; the rules of `bench_view.js` and `live_panel.js` hold here, too. Style sheets let it all fade if no script comes.

use super::units::{Sized, Units};
use crate::measurement::stamp::Stamp;
use crate::output::capture_view::{CaptureView, PlaceView};
use crate::output::language::Language;
use crate::output::terminal::words::{phase_advice, split_unit, turn_of};
use crate::output::view::{InstrumentView, ReadingView, Snapshot};
use crate::output::work_view::{ClubView, WorkView};

/// Digits turn grey after this long without a new sample, and dashes after this long, in seconds.
const AGED_AFTER_S: f64 = 1.0;
const GONE_AFTER_S: f64 = 3.0;

/// How a display is spoken to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words {
    pub(super) language: Language,
    pub(super) units: Units,
}

impl Words {
    fn said(self, text: &str) -> String {
        self.units.sentence(&self.language.said(text))
    }
}

/// A fact beside the digits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fact {
    pub(super) term: String,
    pub(super) text: String,
    /// The verdict's code, for its colour, and its words with the deviation.
    pub(super) verdict: Option<(&'static str, String)>,
}

/// The first picture.
#[derive(Debug, Clone, Default)]
pub(super) struct First {
    /// Club and order.
    pub(super) title: String,
    pub(super) detail: String,
    /// Who is at the bench.
    pub(super) who: String,
    /// What the large panel is about, and how it stands.
    pub(super) heading: String,
    pub(super) phase: &'static str,
    pub(super) phase_word: String,
    pub(super) fresh: &'static str,
    /// The next instruction in large letters, where nothing lies on an instrument.
    pub(super) call: Option<String>,
    /// How many lines it is meant to take.
    pub(super) lines: usize,
    /// Else the digits with their unit and how many digits wide they are.
    pub(super) number: String,
    pub(super) unit: String,
    pub(super) widths: usize,
    pub(super) facts: Vec<Fact>,
    /// What to do now and then, where the digits are large.
    pub(super) now: Option<String>,
    pub(super) then: Option<String>,
}

impl First {
    /// The picture of a moment.
    pub(super) fn of(snapshot: &Snapshot, now: Stamp, words: Words) -> Self {
        let work = &*snapshot.work;
        let instrument = in_focus(snapshot);
        let who = match &work.operator {
            Some(name) => words.language.with("who.here", &[("name", name)]),
            None => words.language.word("who.nobody").to_owned(),
        };
        let mut first = Self { who, fresh: "gone", phase: "none", lines: 2, ..Self::headed(work, words) };
        if let Some(instrument) = instrument {
            first.fresh = freshness(instrument, now);
            first.phase = if first.fresh == "gone" { "lost" } else { instrument.phase };
            first.phase_word = match first.fresh {
                "gone" if instrument.connected && instrument.phase != "lost" => {
                    words.language.word("no_readings").to_owned()
                }
                "gone" => words.language.word("not_connected").to_owned(),
                _ => words.language.word(&format!("phase.{}", first.phase)).to_owned(),
            };
        }
        let reading = instrument.and_then(main_reading);
        let calling = instrument.is_none_or(|instrument| instrument.phase == "empty");
        first.heading = match (instrument, reading.and_then(|reading| reading.characteristic)) {
            (None, _) => words.language.word("no_instrument").to_owned(),
            (Some(_), Some(characteristic)) if !calling => words.language.code(characteristic),
            (Some(instrument), _) => instrument.name.clone(),
        };
        if calling {
            let call = called(work, words);
            first.lines = match call.chars().count() {
                ..=30 => 2,
                31..=60 => 3,
                _ => 4,
            };
            first.call = Some(call);
            first.then = work.next_in_turn.as_deref().map(|next| words.said(next));
            first.facts = work.captures.first().map(|last| last_reading(work, last, words)).into_iter().collect();
            return first;
        }
        first.digits(reading, words);
        first.now = instrument.filter(|_| first.fresh != "gone").and_then(|instrument| match &instrument.message {
            Some(message) => Some(words.said(message)),
            None => phase_advice(first.phase).map(|key| words.language.with(key, &[("name", &instrument.name)])),
        });
        let of_club = work.club.as_ref().map(|club| &club.next).filter(|next| !next.is_empty());
        first.then = of_club.or(work.next_in_turn.as_ref()).map(|next| words.said(next));
        first
    }

    /// What is called for; empty where digits are shown.
    pub(super) fn call(&self) -> &str {
        self.call.as_deref().unwrap_or_default()
    }

    /// Whether it has settled.
    pub(super) fn is_held(&self) -> bool {
        self.phase == "held"
    }

    /// Whether there is something to say below the digits.
    pub(super) const fn says(&self) -> bool {
        self.now.is_some() || self.then.is_some()
    }

    fn headed(work: &WorkView, words: Words) -> Self {
        let Some(club) = &work.club else {
            let order = work.order.as_ref().map(|order| words.language.with("order_named", &[("order", &order.order)]));
            return Self {
                title: words.language.word("no_club").to_owned(),
                detail: order.unwrap_or_default(),
                ..Self::default()
            };
        };
        Self { title: club.name.clone(), detail: detail(club, words), ..Self::default() }
    }

    fn digits(&mut self, reading: Option<&ReadingView>, words: Words) {
        let Some(reading) = reading.filter(|_| self.fresh != "gone") else {
            "– – –".clone_into(&mut self.number);
            self.widths = 5;
            return;
        };
        let sized = Sized::from(reading);
        let whole = words.units.deviation(&sized).unwrap_or_else(|| words.units.value(&sized));
        let whole = signed(&words.language.said(&whole));
        let (number, unit) = split_unit(&whole);
        // As the script counts: what is narrow takes half a digit.
        let halves: usize = number.chars().map(|c| if ".,:' /".contains(c) { 1 } else { 2 }).sum();
        let widths = (halves * 5 + unit.chars().count() * 4).div_ceil(10);
        (self.number, self.unit, self.widths) = (number.to_owned(), unit.to_owned(), widths.clamp(5, 14));
        let fact = |key: &str, text: String| Fact { term: words.language.word(key).to_owned(), text, verdict: None };
        if reading.deviation_text.is_some() {
            let verdict = reading.verdict.filter(|code| *code != "no_target");
            let verdict = verdict.map(|code| (code, words.language.code(code)));
            self.facts.push(Fact { verdict, ..fact("reads", signed(&words.units.value(&sized))) });
        }
        let target = words.units.target(&sized).map(|text| signed(&words.language.said(&text)));
        self.facts.push(fact("target", target.unwrap_or_else(|| words.language.word("none_set").to_owned())));
    }
}

fn detail(club: &ClubView, words: Words) -> String {
    let state = Some(club.state).filter(|state| *state != "in_work").map(|state| words.language.code(state));
    let hand = words.language.word(&format!("hand.{}", club.hand)).to_owned();
    [Some(club.club.clone()), Some(hand), Some(words.language.code(club.stage)), state]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" · ")
}

/// What is called for while nothing lies on an instrument.
fn called(work: &WorkView, words: Words) -> String {
    match &work.club {
        Some(club) if !club.next.is_empty() => words.said(&club.next),
        Some(_) => words.language.word("call.nothing_more").to_owned(),
        None if work.queue.is_empty() => words.language.word("call.no_order").to_owned(),
        None => words.language.word("call.open_order").to_owned(),
    }
}

fn last_reading(work: &WorkView, last: &CaptureView, words: Words) -> Fact {
    let filed = last.filed.first();
    let lines = || work.club.iter().flat_map(|club| &club.characteristics);
    let of = |place: &PlaceView| {
        lines().find(|line| line.event.as_deref() == Some(&last.event) && line.characteristic == place.characteristic)
    };
    let line = last.filed.iter().filter_map(of).min_by_key(|line| turn_of(line.verdict));
    let term = match (filed, line) {
        (None, _) => words.language.word("last_reading").to_owned(),
        (Some(_), Some(line)) => words.language.code(line.characteristic),
        (Some(place), None) => place.club.clone(),
    };
    let text = line
        .filter(|line| line.text.is_some())
        .map(|line| words.units.value(&Sized::from(line)))
        .unwrap_or_else(|| named(last, filed.is_some(), words));
    let text = signed(&text);
    if last.voided {
        return Fact { term, text: format!("{text}, {}", words.language.word("void")), verdict: None };
    }
    let worst = || {
        ["over", "under", "within"].into_iter().find(|code| last.filed.iter().any(|place| place.verdict == Some(*code)))
    };
    let verdict = line.map_or_else(worst, |line| line.verdict);
    let deviation =
        line.and_then(|line| words.units.deviation(&Sized::from(line))).map(|text| signed(&words.language.said(&text)));
    let judged = |code| format!("{} {}", deviation.unwrap_or_default(), words.language.code(code)).trim().to_owned();
    Fact { term, text, verdict: verdict.map(|code| (code, judged(code))) }
}

/// Every number of a reading with its name; one number alone stands under the name of its place.
fn named(last: &CaptureView, has_place: bool, words: Words) -> String {
    if last.values.is_empty() || (last.values.len() == 1 && has_place) {
        return words.said(&last.text);
    }
    let each =
        last.values.iter().map(|value| format!("{} {}", words.language.code(value.what), words.said(&value.text)));
    each.collect::<Vec<_>>().join(" · ")
}

/// The instrument shown large: one with something going on, else that of the last reading, else the first that is there.
fn in_focus(snapshot: &Snapshot) -> Option<&InstrumentView> {
    let all = || snapshot.instruments.iter().map(|view| &**view);
    let last = snapshot.work.captures.first().map(|capture| capture.instrument.as_str());
    all()
        .find(|view| view.connected && matches!(view.phase, "settling" | "held" | "disturbed"))
        .or_else(|| all().find(|view| Some(view.id.as_str()) == last))
        .or_else(|| all().find(|view| view.connected))
        .or_else(|| all().next())
}

/// The reading that gets the large digits: the first with a target, else the first.
fn main_reading(instrument: &InstrumentView) -> Option<&ReadingView> {
    instrument.readings.iter().find(|reading| reading.target.is_some()).or_else(|| instrument.readings.first())
}

fn freshness(instrument: &InstrumentView, now: Stamp) -> &'static str {
    if !instrument.connected || instrument.phase == "lost" {
        return "gone";
    }
    if instrument.on_key || matches!(instrument.kind, "scanner" | "pedal" | "thermometer") {
        return "fresh";
    }
    match instrument.heard_s.map(|heard_s| now.t_s - heard_s) {
        Some(age) if age <= AGED_AFTER_S => "fresh",
        Some(age) if age <= GONE_AFTER_S => "aged",
        _ => "gone",
    }
}

/// With a true minus sign, as wide as the plus.
fn signed(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let is_minus = c == '-' && before.is_whitespace() && rest.peek().is_some_and(char::is_ascii_digit);
        shown.push(if is_minus { '−' } else { c });
        before = c;
    }
    shown
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;

    fn scale(phase: &'static str, readings: Vec<ReadingView>) -> Arc<InstrumentView> {
        Arc::new(InstrumentView {
            id: "scale-1".to_owned(),
            name: "bench scale".to_owned(),
            kind: "scale",
            connected: true,
            error: None,
            format: String::new(),
            refused: 0,
            refused_by_reason: std::collections::BTreeMap::new(),
            heard_s: Some(10.0),
            on_key: false,
            phase,
            progress: None,
            message: Some("bench moving: let go and wait".to_owned()),
            readings,
            calibration_due: None,
            awaiting: None,
            intake: None,
            study: None,
            level: crate::output::view::LevelView::default(),
        })
    }

    fn english() -> Words {
        Words { language: Language::English, units: Units::default() }
    }

    fn moment(t_s: f64) -> Stamp {
        Stamp { t_s, ..Stamp::default() }
    }

    fn head_mass() -> ReadingView {
        ReadingView {
            characteristic: Some("head_mass"),
            text: "200.3 g".to_owned(),
            target: Some(203.0),
            target_text: Some("203 g ± 2 g".to_owned()),
            deviation_text: Some("-2.7 g".to_owned()),
            ..ReadingView::default()
        }
    }

    #[test]
    fn what_lies_there_is_shown_by_its_deviation_and_grows_old() {
        let snapshot = Snapshot { instruments: vec![scale("settling", vec![head_mass()])], ..Snapshot::default() };
        let first = First::of(&snapshot, moment(10.2), english());
        assert_eq!((first.heading.as_str(), first.number.as_str(), first.unit.as_str()), ("head mass", "−2.7", "g"));
        assert_eq!((first.fresh, first.phase_word.as_str()), ("fresh", "settling"));
        assert_eq!(first.facts.iter().map(|fact| fact.text.as_str()).collect::<Vec<_>>(), ["200.3 g", "203 g ± 2 g"]);
        assert_eq!(first.now.as_deref(), Some("bench moving: let go and wait"));
        assert_eq!(First::of(&snapshot, moment(12.0), english()).fresh, "aged");
        let gone = First::of(&snapshot, moment(14.0), english());
        assert_eq!((gone.number.as_str(), gone.phase_word.as_str(), gone.now), ("– – –", "no readings", None));
    }

    #[test]
    fn the_first_picture_is_in_the_units_of_the_display() {
        let reading = ReadingView {
            unit: "g",
            value: 200.3,
            deviation: Some(-2.7),
            lower: Some(201.0),
            upper: Some(205.0),
            ..head_mass()
        };
        let snapshot = Snapshot { instruments: vec![scale("held", vec![reading])], ..Snapshot::default() };
        let words = Words { units: Units { lengths: None, ounces: true }, ..english() };
        let first = First::of(&snapshot, moment(10.2), words);
        // 1 oz = 28.349 523 125 g: 2.7 g = 0.0952 oz, 200.3 g = 7.0654 oz, 203 g = 7.1606 oz, 2 g = 0.0705 oz.
        assert_eq!((first.number.as_str(), first.unit.as_str()), ("−0.095", "oz"));
        assert_eq!(
            first.facts.iter().map(|fact| fact.text.as_str()).collect::<Vec<_>>(),
            ["7.065 oz", "7.161 oz ± 0.071 oz"]
        );
    }

    #[test]
    fn an_empty_instrument_gives_way_to_what_comes_next() {
        let snapshot = Snapshot { instruments: vec![scale("empty", vec![])], ..Snapshot::default() };
        let first = First::of(&snapshot, moment(10.0), Words { language: Language::German, units: Units::default() });
        assert_eq!(first.call.as_deref(), Some(Language::German.word("call.no_order")));
        assert_eq!(first.heading, "bench scale");
        assert_eq!(First::of(&Snapshot::default(), moment(0.0), english()).heading, "no instrument");
    }

    #[test]
    fn a_minus_is_as_wide_as_a_plus() {
        assert_eq!(signed("-1.2 g, 3-4 -x"), "−1.2 g, 3-4 -x");
    }
}
