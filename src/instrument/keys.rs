//! From key strokes to a scanned code: a scanner that types like a keyboard. Pure.
//!
//! In: key codes of the Linux input interface going down and up, with their times. Out: the bytes of a code once Enter
//! has ended it, or why there is none. Absent: the device, which is `event_device`'s, and what a code means: its bytes
//! go through a wire format like those of any scanner.
//!
//! A key code names a place on the keyboard, not a letter, so the layout that the system is set to does not matter; the
//! scanner must be set to a US keyboard. A person is told from a scanner by the pace alone: all strokes of a code come
//! one upon the other, and a text with a pause in it is refused whole, never taken from the pause on.

mod us_keyboard;

use super::format::Refusal;
use us_keyboard::{
    KEY_CAPSLOCK, KEY_ENTER, KEY_F8, KEY_J, KEY_KPENTER, KEY_LEFTALT, KEY_LEFTCTRL, KEY_LEFTMETA, KEY_LEFTSHIFT, KEY_M,
    KEY_NUMLOCK, KEY_RIGHTALT, KEY_RIGHTBRACE, KEY_RIGHTCTRL, KEY_RIGHTMETA, KEY_RIGHTSHIFT, character,
};

/// Longest time between two strokes of a code, press or release, in seconds (common practice, no source; a keyboard on
/// USB is asked every 1 to 10 ms, a person holds a key for some 80 ms).
const LONGEST_GAP_S: f64 = 0.030;
/// After this silence a text without an end will never have one, in seconds.
const SILENCE_S: f64 = 0.5;
/// Fewer characters are no code: the shortest card of ours has five.
const FEWEST: usize = 4;
/// More characters are none either; the longest GS1 code in one symbol has fewer.
const MOST: usize = 300;

/// The separator of GS1 element strings, which has no key of its own.
const GROUP_SEPARATOR: u8 = 0x1d;

/// What a key did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// It went down.
    Down(u16),
    /// It came up.
    Up(u16),
    /// The kernel had to drop strokes (`SYN_DROPPED`): nobody knows which.
    Lost,
}

/// What the strokes of a scanner gave.
#[derive(Debug, Clone, PartialEq)]
pub enum Keyed {
    /// A code, without prefix and end.
    Code(Vec<u8>),
    /// No code.
    Refused {
        /// Why.
        reason: Refusal,
        /// What was typed, as far as it is known.
        raw: Vec<u8>,
    },
}

/// Puts the strokes of one scanner together.
#[derive(Debug)]
pub struct KeyReader {
    prefix: Vec<u8>,
    run: Run,
    last_s: f64,
    shifts: u8,
    controls: u8,
    others: u8,
    capitals: bool,
}

/// The text since the last end.
#[derive(Debug)]
enum Run {
    /// At a scanner's pace so far.
    Quick(Vec<u8>),
    /// It cannot become a code any more.
    Spoiled(Refusal, Vec<u8>),
}

impl KeyReader {
    /// A reader with no key down. `prefix` is what the scanner is set to type before each code, empty for nothing; a
    /// text without it is no code.
    #[must_use]
    pub fn new(prefix: &str) -> Self {
        Self {
            prefix: prefix.as_bytes().to_vec(),
            run: Run::Quick(Vec::new()),
            last_s: f64::NEG_INFINITY,
            shifts: 0,
            controls: 0,
            others: 0,
            capitals: false,
        }
    }

    /// Takes a stroke that came at `t_s`, in seconds of any clock that is always the same.
    pub fn push(&mut self, t_s: f64, stroke: Stroke) -> Option<Keyed> {
        let gap_s = t_s - self.last_s;
        self.last_s = t_s;
        let mut left = None;
        if gap_s >= SILENCE_S {
            left = refused(self.take(), Refusal::Cut);
        } else if !(0.0..LONGEST_GAP_S).contains(&gap_s) && self.is_begun() {
            self.spoil(Refusal::TypedByHand);
        }
        match stroke {
            Stroke::Down(key) => left.or(self.down(key)),
            Stroke::Up(key) => {
                self.hold(key, false);
                left
            }
            Stroke::Lost => {
                (self.shifts, self.controls, self.others, self.capitals) = (0, 0, 0, false);
                self.spoil(Refusal::Cut);
                left
            }
        }
    }

    fn down(&mut self, key: u16) -> Option<Keyed> {
        if self.hold(key, true) {
            return None;
        }
        match self.meaning(key) {
            Meaning::End => self.end(),
            Meaning::Character(byte) => {
                self.add(byte);
                None
            }
            Meaning::Unknown => {
                self.spoil(Refusal::UnknownKey { key });
                None
            }
        }
    }

    /// Notes a key that changes others; whether it was one.
    fn hold(&mut self, key: u16, down: bool) -> bool {
        let (held, bit) = match key {
            KEY_LEFTSHIFT => (&mut self.shifts, 1),
            KEY_RIGHTSHIFT => (&mut self.shifts, 2),
            KEY_LEFTCTRL => (&mut self.controls, 1),
            KEY_RIGHTCTRL => (&mut self.controls, 2),
            KEY_LEFTALT => (&mut self.others, 1),
            KEY_RIGHTALT => (&mut self.others, 2),
            KEY_LEFTMETA => (&mut self.others, 4),
            KEY_RIGHTMETA => (&mut self.others, 8),
            KEY_CAPSLOCK => {
                // Some scanners put a code in capitals by it, and take it back behind the code.
                self.capitals ^= down;
                return true;
            }
            KEY_NUMLOCK => return true,
            _ => return false,
        };
        *held = if down { *held | bit } else { *held & !bit };
        true
    }

    fn meaning(&self, key: u16) -> Meaning {
        if self.others != 0 {
            return Meaning::Unknown;
        }
        if self.controls != 0 {
            // Control characters as a terminal makes them: bracket 0x1D, M and J carriage return and line feed.
            return match key {
                KEY_RIGHTBRACE => Meaning::Character(GROUP_SEPARATOR),
                KEY_M | KEY_J => Meaning::End,
                _ => Meaning::Unknown,
            };
        }
        match key {
            KEY_ENTER | KEY_KPENTER => Meaning::End,
            // How scanners type the separator where control keys would call a menu (common practice, no source).
            KEY_F8 => Meaning::Character(GROUP_SEPARATOR),
            _ => character(key, self.shifts != 0, self.capitals).map_or(Meaning::Unknown, Meaning::Character),
        }
    }

    fn is_begun(&self) -> bool {
        match &self.run {
            Run::Quick(text) => !text.is_empty(),
            Run::Spoiled(..) => true,
        }
    }

    fn add(&mut self, byte: u8) {
        let text = match &mut self.run {
            Run::Quick(text) | Run::Spoiled(_, text) => text,
        };
        if text.len() < MOST {
            text.push(byte);
        } else {
            self.spoil(Refusal::TooLong(MOST));
        }
    }

    /// The first reason stays.
    fn spoil(&mut self, reason: Refusal) {
        if let Run::Quick(text) = &mut self.run {
            self.run = Run::Spoiled(reason, std::mem::take(text));
        }
    }

    fn take(&mut self) -> Run {
        std::mem::replace(&mut self.run, Run::Quick(Vec::new()))
    }

    fn end(&mut self) -> Option<Keyed> {
        match self.take() {
            // The second of two ends, or Enter alone.
            Run::Quick(text) if text.is_empty() => None,
            Run::Quick(text) if text.len() >= FEWEST => match text.strip_prefix(self.prefix.as_slice()) {
                Some(code) => Some(Keyed::Code(code.to_vec())),
                None => Some(Keyed::Refused { reason: Refusal::NoLayout { at: 0 }, raw: text }),
            },
            run => refused(run, Refusal::TypedByHand),
        }
    }
}

fn refused(run: Run, reason: Refusal) -> Option<Keyed> {
    match run {
        Run::Quick(text) if text.is_empty() => None,
        Run::Quick(raw) => Some(Keyed::Refused { reason, raw }),
        Run::Spoiled(reason, raw) => Some(Keyed::Refused { reason, raw }),
    }
}

/// What a key means for the text.
enum Meaning {
    Character(u8),
    End,
    Unknown,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A key going down and up again, in a step each.
    fn strike(keys: &[u16]) -> Vec<Stroke> {
        let down = keys.iter().map(|key| Stroke::Down(*key));
        down.chain(keys.iter().rev().map(|key| Stroke::Up(*key))).collect()
    }

    /// Strikes keys with `step_s` between any two strokes; a key 0 is a pause of `pause_s`.
    fn typed(prefix: &str, keys: &[&[u16]], step_s: f64, pause_s: f64) -> Vec<Keyed> {
        let mut reader = KeyReader::new(prefix);
        let mut t_s = 5.0;
        let mut found = Vec::new();
        for held in keys {
            if *held == [0] {
                t_s += pause_s;
                continue;
            }
            for stroke in strike(held) {
                t_s += step_s;
                found.extend(reader.push(t_s, stroke));
            }
        }
        found
    }

    /// `BS1/V`: shift on its own strokes, as scanners send it.
    const CARD: &[&[u16]] = &[&[42, 48], &[42, 31], &[2], &[53], &[42, 47], &[28]];

    fn refusal(reason: Refusal, raw: &[u8]) -> Keyed {
        Keyed::Refused { reason, raw: raw.to_vec() }
    }

    #[test]
    fn strokes_at_a_scanners_pace_are_a_code_and_slower_ones_are_not() {
        for step_s in [0.0, 0.001, 0.008, 0.029] {
            assert_eq!(typed("", CARD, step_s, 0.0), [Keyed::Code(b"BS1/V".to_vec())], "{step_s}");
        }
        for step_s in [0.031, 0.08, 0.3] {
            assert_eq!(typed("", CARD, step_s, 0.0), [refusal(Refusal::TypedByHand, b"BS1/V")], "{step_s}");
        }
    }

    #[test]
    fn a_code_with_a_pause_in_it_is_refused_whole_and_the_next_one_is_read() {
        let mut keys = CARD.to_vec();
        keys.insert(2, &[0]);
        keys.extend(CARD);
        let code = Keyed::Code(b"BS1/V".to_vec());
        assert_eq!(typed("", &keys, 0.005, 0.1), [refusal(Refusal::TypedByHand, b"BS1/V"), code.clone()]);
        // A text that nobody ended is left behind, and does not cost the code after it.
        let keys: Vec<&[u16]> =
            [&[30][..], &[48], &[46], &[32], &[18], &[0]].into_iter().chain(CARD.iter().copied()).collect();
        assert_eq!(typed("", &keys, 0.005, 0.6), [refusal(Refusal::Cut, b"abcde"), code]);
    }

    #[test]
    fn the_separator_comes_as_f8_or_as_control_bracket() {
        let keys: &[&[u16]] = &[&[2], &[11], &[30], &[66], &[3], &[29, 27], &[2], &[50], &[97, 36]];
        assert_eq!(typed("", keys, 0.004, 0.0), [Keyed::Code(b"10a\x1d2\x1d1m".to_vec())]);
    }

    #[test]
    fn keys_without_a_character_spoil_the_code() {
        for (key, strokes) in [(1, &[1][..]), (15, &[15]), (59, &[59]), (30, &[56, 30]), (30, &[29, 30])] {
            let (before, behind) = CARD.split_at(4);
            let keys = [before, &[strokes], behind].concat();
            assert_eq!(typed("", &keys, 0.004, 0.0), [refusal(Refusal::UnknownKey { key }, b"BS1/V")], "{key}");
        }
    }

    #[test]
    fn short_texts_enter_alone_and_texts_without_end_are_no_codes() {
        assert_eq!(typed("", &[&[28], &[28]], 0.004, 0.0), []);
        assert_eq!(typed("", &[&[30], &[48], &[46], &[28]], 0.004, 0.0), [refusal(Refusal::TypedByHand, b"abc")]);
        let endless = vec![&[30][..]; 400];
        let got = typed("", &[&endless[..], &[&[28]]].concat(), 0.004, 0.0);
        assert_eq!(got, [refusal(Refusal::TooLong(300), &[b'a'; 300])]);
    }

    #[test]
    fn capitals_come_by_shift_or_by_caps_lock() {
        let by_lock: &[&[u16]] = &[&[58], &[48], &[31], &[2], &[53], &[42, 47], &[58], &[47], &[28]];
        assert_eq!(typed("", by_lock, 0.004, 0.0), [Keyed::Code(b"BS1/vv".to_vec())]);
    }

    #[test]
    fn a_prefix_that_is_set_must_come_and_is_no_part_of_the_code() {
        let with: Vec<&[u16]> = [&[42, 41][..]].into_iter().chain(CARD.iter().copied()).collect();
        assert_eq!(typed("~", &with, 0.004, 0.0), [Keyed::Code(b"BS1/V".to_vec())]);
        assert_eq!(typed("~", CARD, 0.004, 0.0), [refusal(Refusal::NoLayout { at: 0 }, b"BS1/V")]);
    }

    #[test]
    fn strokes_that_the_kernel_dropped_cost_the_code_they_belong_to_and_no_other() {
        let mut reader = KeyReader::new("");
        let mut t_s = 0.0;
        let mut push = |stroke| {
            t_s += 0.004;
            reader.push(t_s, stroke)
        };
        for stroke in strike(&[42, 48]) {
            assert_eq!(push(stroke), None);
        }
        // The release of this shift is among what is lost.
        assert_eq!(push(Stroke::Down(42)), None);
        assert_eq!(push(Stroke::Lost), None);
        for key in [2, 3] {
            assert_eq!(push(Stroke::Down(key)), None);
        }
        assert_eq!(push(Stroke::Down(28)), Some(refusal(Refusal::Cut, b"B12")));
        let next: Vec<Keyed> = [30, 48, 46, 32, 28].into_iter().flat_map(|key| push(Stroke::Down(key))).collect();
        assert_eq!(next, [Keyed::Code(b"abcd".to_vec())]);
    }

    #[test]
    fn a_clock_that_steps_back_makes_no_code() {
        let mut reader = KeyReader::new("");
        let mut got = Vec::new();
        for (t_s, key) in [(9.0, 30), (9.004, 48), (5.0, 46), (5.004, 32), (5.008, 28)] {
            got.extend(reader.push(t_s, Stroke::Down(key)));
        }
        assert_eq!(got, [refusal(Refusal::TypedByHand, b"abcd")]);
    }
}
