//! Damaged streams of every family through decoder, indication, calibration and capture: what a check protects is never
//! wrong, and without a check a wrong frame decides nothing.
//!
//! Deterministic; the seed and the bytes a family can be given: `BENCHSCRIBE_FUZZ_SEED` (1), `BENCHSCRIBE_FUZZ_BYTES`
//! (a million). For the long run, 10^8 bytes a family:
//! `BENCHSCRIBE_FUZZ_BYTES=100000000 cargo test --release --test fuzz_in_tree`.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test that meets the unexpected stops there"
)]

#[path = "fuzz_in_tree/damage.rs"]
mod damage;
#[path = "fuzz_in_tree/load.rs"]
mod load;
#[path = "fuzz_in_tree/wire.rs"]
mod wire;

use std::collections::{BTreeMap, VecDeque};
use std::io::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use benchscribe::bench::channel::{Channel, Seen};
use benchscribe::instrument::format::{Decoder, Format, Item};
use benchscribe::instrument::indication::{Indication, read};
use benchscribe::measurement::stamp::Stamp;
use benchscribe::work_order::event::{CapturedReading, EventId};

use damage::{ANY, CERTAIN, Damage, damage};
use load::{Dice, Hand};
use wire::{FAMILIES, Family, Measures, Shown};

/// How many values back a good frame may be: where a damaged byte said that its frame is long, those behind it are
/// only told once the longest frame of the family has come.
const REMEMBERED: usize = 12;

/// What a run showed.
#[derive(Debug, Default, Clone)]
struct Tally {
    bytes: u64,
    frames: u64,
    damaged: u64,
    /// Frames whose number was not sent.
    wrong_frames: u64,
    refused: BTreeMap<&'static str, u64>,
    placements: u64,
    captures: u64,
    /// Captures off by more than the tolerance and within three of their own standard uncertainties.
    coarse: u64,
    wrong_captures: Vec<String>,
}

/// One instrument with its line.
struct Rig<'f> {
    family: &'f Family,
    decoder: Decoder,
    channel: Channel,
    hand: Hand,
    dice: Dice,
    t_s: f64,
    last_s: f64,
    /// What the line carried last, as indications.
    sent: VecDeque<[f64; 2]>,
    tally: Tally,
}

impl<'f> Rig<'f> {
    fn new(family: &'f Family, seed: u64) -> Self {
        // Each family has a hand and a line of its own.
        let own = family.name.bytes().chain(family.settings.bytes());
        let seed = own.fold(seed, |seed, byte| seed.wrapping_mul(31).wrapping_add(u64::from(byte)));
        let settings = family.instrument();
        let format: Arc<Format> = Arc::new(settings.format.clone());
        let mut channel = Channel::new(settings);
        channel.found(None);
        channel.calibration_event = Some(EventId::new(1, 1, 0));
        Self {
            family,
            decoder: Decoder::new(format),
            channel,
            hand: Hand::new(family.measures),
            dice: Dice(seed),
            t_s: 0.0,
            last_s: 0.0,
            sent: VecDeque::new(),
            tally: Tally::default(),
        }
    }

    /// The next frame as the instrument sends it.
    fn next_frame(&mut self) -> (Shown, Vec<u8>) {
        self.t_s += 1.0 / self.family.rate_hz();
        self.hand.act(self.t_s, &mut self.dice);
        let shown = self.hand.shown(self.t_s, &mut self.dice);
        (shown, (self.family.encode)(shown))
    }

    /// Remembers what a good frame holds.
    fn remember(&mut self, shown: Shown) {
        if self.sent.len() == REMEMBERED {
            self.sent.pop_front();
        }
        self.sent.push_back(shown.indication(self.family.measures));
    }

    /// Bytes come in; then the line may be silent long enough for the format to notice.
    fn receive(&mut self, bytes: &[u8], silence: bool) {
        self.tally.bytes += u64::try_from(bytes.len()).unwrap();
        let Self { decoder, channel, hand, tally, sent, t_s, last_s, family, .. } = self;
        let mut take = |item: Item<'_>| match item {
            Item::Refused { reason, .. } => *tally.refused.entry(reason.label()).or_default() += 1,
            Item::Frame(frame, raw) => {
                tally.frames += 1;
                if let Indication::Values(values) = read(&channel.settings.wiring, &frame)
                    && !sent.iter().any(|sent| near(*sent, values, 1e-4))
                {
                    tally.wrong_frames += 1;
                }
                *last_s = t_s.max(*last_s + 1e-6);
                let stamp = Stamp { t_s: *last_s, at_us: 0 };
                if let Seen::Captured(captured) = channel.frame(stamp, &frame, raw, &[]) {
                    tally.captures += 1;
                    let (captured, _) = *captured;
                    if is_right(family.measures, hand, &captured, 0.0) {
                        return;
                    }
                    if is_right(family.measures, hand, &captured, 3.0) {
                        tally.coarse += 1;
                    } else {
                        tally.wrong_captures.push(format!("{:?} of {:?}", captured.measured, hand.load()));
                    }
                }
            }
        };
        decoder.push(bytes, &mut take);
        if silence {
            decoder.idle(&mut take);
        }
    }

    /// A stream with some of its frames damaged, until so many bytes were sent.
    fn damaged(mut self, kinds: &[Damage], share: f64, bytes: u64) -> Tally {
        let mut piece = Vec::new();
        while self.tally.bytes < bytes {
            let (shown, frame) = self.next_frame();
            let kind = if self.dice.chance(share) { kinds[self.dice.index(kinds.len())] } else { Damage::None };
            piece.clear();
            damage(&frame, kind, self.family.sure_bits, &mut self.dice, &mut piece);
            self.tally.damaged += u64::from(kind != Damage::None);
            // A frame that was damaged may still be read as what it was: two bits can undo each other.
            self.remember(shown);
            let silence = self.dice.chance(0.7);
            self.receive(&piece, silence);
        }
        self.tally.placements = self.hand.placements;
        self.tally
    }
}

fn near(a: [f64; 2], b: [f64; 2], within: f64) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() <= within)
}

/// Whether a capture is what lies there, within the tolerance of a wrong value as the capture study has it: 0.15 g or two
/// steps on a scale, 0.3 g on a beam, two steps or 0.1 degrees in a gauge; or so many of its own standard uncertainties.
fn is_right(measures: Measures, hand: &Hand, captured: &CapturedReading, uncertainties: f64) -> bool {
    // Of a load just lifted the last frames may still be on their way.
    [hand.load(), hand.load_before()].into_iter().flatten().any(|load| {
        let within = |place: usize, value: f64, by: f64| {
            captured.measured.get(place).is_some_and(|m| (m.value - value).abs() <= by.max(uncertainties * m.u))
        };
        match measures {
            Measures::Mass => within(0, load.first, 0.2),
            Measures::Cells => within(0, load.first, 0.3),
            Measures::Angles => within(0, load.first, 0.1) && within(1, load.second, 0.1),
        }
    })
}

fn number(variable: &str, otherwise: u64) -> u64 {
    std::env::var(variable).ok().map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{variable}={text}")))
}

/// Runs something for every family, on all processors.
fn for_each_family<T: Send>(work: impl Fn(&'static Family) -> T + Sync) -> Vec<(&'static Family, T)> {
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut all: Vec<(usize, T)> = std::thread::scope(|scope| {
        let worker = || {
            let mut done = Vec::new();
            while let Some((place, family)) =
                Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|n| Some((n, FAMILIES.get(n)?)))
            {
                done.push((place, work(family)));
            }
            done
        };
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(worker)).collect();
        workers.into_iter().flat_map(|worker| worker.join().unwrap()).collect()
    });
    all.sort_by_key(|(place, _)| *place);
    all.into_iter().map(|(place, result)| (&FAMILIES[place], result)).collect()
}

/// A line for the person who runs the test; shown also when it passes.
fn say(text: &str) {
    std::io::stderr().write_all(format!("{text}\n").as_bytes()).unwrap();
}

#[test]
fn what_is_written_by_hand_is_read_by_every_family() {
    for family in FAMILIES {
        let mut rig = Rig::new(family, 7);
        for _ in 0..4000 {
            let (shown, frame) = rig.next_frame();
            rig.remember(shown);
            rig.receive(&frame, true);
        }
        let tally = &rig.tally;
        assert_eq!((tally.frames, tally.wrong_frames), (4000, 0), "{} {tally:?}", family.name);
        assert!(tally.wrong_captures.is_empty() && tally.refused.is_empty(), "{} {tally:?}", family.name);
        // The last placement may still be settling.
        assert!(
            tally.captures + 1 >= rig.hand.placements && tally.captures <= rig.hand.placements,
            "{} {} of {}",
            family.name,
            tally.captures,
            rig.hand.placements
        );
    }
}

#[test]
fn damage_gives_no_wrong_number_where_there_is_a_check_and_no_wrong_capture_anywhere() {
    let bytes = number("BENCHSCRIBE_FUZZ_BYTES", 1_000_000);
    let seed = number("BENCHSCRIBE_FUZZ_SEED", 1);
    let results = for_each_family(|family| {
        // Half of the bytes with damage that a check finds for certain, half with anything.
        let certain = Rig::new(family, seed).damaged(CERTAIN, 0.2, bytes / 2);
        let any = Rig::new(family, seed ^ 0xff).damaged(ANY, 0.2, bytes / 2);
        (certain, any)
    });
    let mut faults = Vec::new();
    let mut total = 0;
    say(
        "fuzz: family, bytes, frames damaged / read | wrong frames: certain damage, any damage | captures / placements, coarse, wrong | refused",
    );
    for (family, (certain, any)) in &results {
        total += certain.bytes + any.bytes;
        let wrong_captures: Vec<&String> = certain.wrong_captures.iter().chain(&any.wrong_captures).collect();
        say(&format!(
            "fuzz: {} {}: {}, {} / {} | {} {} | {} / {}, {}, {} | {:?}",
            family.name,
            family.settings,
            certain.bytes + any.bytes,
            certain.damaged + any.damaged,
            certain.frames + any.frames,
            certain.wrong_frames,
            any.wrong_frames,
            certain.captures + any.captures,
            certain.placements + any.placements,
            certain.coarse + any.coarse,
            wrong_captures.len(),
            certain.refused,
        ));
        if family.sure_bits > 0 && certain.wrong_frames > 0 {
            faults.push(format!(
                "{} {}: {} wrong numbers past its check",
                family.name, family.settings, certain.wrong_frames
            ));
        }
        // Damage may delay a capture and double one, but nothing gets stuck.
        for tally in [certain, any] {
            if tally.captures * 100 < tally.placements * 97 {
                faults.push(format!(
                    "{}: only {} captures of {} placements",
                    family.name, tally.captures, tally.placements
                ));
            }
        }
        if let Some(first) = wrong_captures.first() {
            faults.push(format!(
                "{} {}: {} wrong captures, first {first}",
                family.name,
                family.settings,
                wrong_captures.len()
            ));
        }
    }
    say(&format!("fuzz: {total} bytes in all, seed {seed}"));
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// A well-formed frame that shows something else, at any moment of a placement, one at a time.
#[test]
fn one_wrong_frame_never_decides_anything() {
    let results = for_each_family(|family| {
        let mut rig = Rig::new(family, 11);
        let mut next_wrong_s = 0.0;
        let mut wrongs = 0;
        while rig.hand.placements < 150 {
            let (shown, frame) = rig.next_frame();
            // A lone one: the next comes two seconds later at the earliest.
            if rig.t_s >= next_wrong_s && rig.dice.chance(0.3) {
                next_wrong_s = rig.t_s + 2.0;
                wrongs += 1;
                let wrong = other(shown, family.measures, &mut rig.dice);
                let bytes = (family.encode)(wrong);
                rig.receive(&bytes, true);
                if rig.dice.chance(0.5) {
                    continue; // instead of the good one
                }
                rig.t_s += 1e-3;
            }
            rig.receive(&frame, true);
        }
        rig.tally.placements = rig.hand.placements;
        (rig.tally, wrongs)
    });
    let mut faults = Vec::new();
    for (family, (tally, wrongs)) in &results {
        let name = format!("{} {}", family.name, family.settings);
        say(&format!(
            "one wrong frame: {name}: {wrongs} wrong frames, {} captures of {} placements, {} wrong",
            tally.captures,
            tally.placements,
            tally.wrong_captures.len()
        ));
        if let Some(first) = tally.wrong_captures.first() {
            faults.push(format!("{name}: {} wrong captures, first {first}", tally.wrong_captures.len()));
        }
        if tally.captures > tally.placements {
            faults.push(format!("{name}: {} captures of {} placements", tally.captures, tally.placements));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Something else that the instrument could show: another load, nothing, a little more or less.
fn other(shown: Shown, measures: Measures, dice: &mut Dice) -> Shown {
    let little = i32::try_from(dice.below(40)).unwrap() - 20;
    let moving = dice.chance(0.3);
    let load = if measures == Measures::Cells { 400_000 } else { 7000 };
    match dice.below(3) {
        0 => Shown { first: 0, second: 0, moving },
        1 => Shown { first: (shown.first + little).max(0), second: shown.second, moving },
        _ => Shown { first: i32::try_from(dice.below(load)).unwrap(), second: shown.second, moving },
    }
}

#[test]
fn nothing_is_captured_across_a_change_of_the_unit() {
    let scale = &FAMILIES[0];
    let mut rig = Rig::new(scale, 5);
    let mut switched = 0;
    let mut in_ounces = false;
    let mut moment_s = 0.0;
    let mut captures_at_switch = 0;
    while rig.hand.placements < 120 {
        let before = rig.hand.placements;
        let (shown, mut frame) = rig.next_frame();
        if rig.hand.placements > before {
            moment_s = rig.t_s + 4.0 * rig.dice.share();
        }
        // Somebody presses the unit key while a load lies there, every third time.
        if rig.hand.load().is_some() && rig.t_s > moment_s && rig.hand.placements.is_multiple_of(3) {
            moment_s = f64::INFINITY;
            in_ounces = !in_ounces;
            switched += 1;
            captures_at_switch = rig.tally.captures;
        }
        if in_ounces {
            // 28.349523125 g an avoirdupois ounce, exact (NIST SP 811, appendix B.8).
            let ounces = f64::from(shown.first) / 10.0 / 28.349_523_125;
            frame = format!("{},{}{ounces:08.4} oz\r\n", if shown.moving { "US" } else { "ST" }, '+').into();
        }
        rig.receive(&frame, true);
        if moment_s.is_infinite() && rig.hand.load().is_some() && rig.hand.placements.is_multiple_of(3) {
            assert_eq!(rig.tally.captures, captures_at_switch, "captured across a change of the unit");
        }
    }
    assert!(switched >= 39, "{switched}");
    assert!(rig.tally.wrong_captures.is_empty(), "{:?}", rig.tally.wrong_captures);
    assert!(rig.tally.captures >= 75, "{} captures", rig.tally.captures);
}
