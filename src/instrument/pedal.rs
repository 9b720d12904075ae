//! A foot pedal: from a contact that closes and opens to one of two presses. Pure.
//!
//! In: the state of the contact with the time it was looked at. Out: accept or void, when the foot is lifted. Absent:
//! where the contact is, a modem control line (`port::contact`) or a key (`event_device`).
//!
//! A press leaves as one line of text in a wire format of its own, so that it is recorded, counted and played back as
//! what every other instrument sends.

use super::format::{Format, FormatError};

/// A change counts when it has stood this long, in seconds. Contacts of foot switches bounce for some milliseconds, and a
/// relay nearby can close the line for one (common practice, no source).
pub const DEBOUNCE_S: f64 = 0.030;
/// A press at least this long means void, in seconds.
const LONG_S: f64 = 1.0;
/// Longer than this no foot presses on purpose: something stands on the pedal, or its cable is crushed. In seconds.
const STUCK_S: f64 = 6.0;

/// What a foot asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Press {
    /// Do what the page offers first.
    Accept,
    /// The last reading does not count.
    Void,
}

impl Press {
    /// The word on the way to the bench.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Accept => "accept",
            Self::Void => "void",
        }
    }

    /// Reads the word.
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        [Self::Accept, Self::Void].into_iter().find(|press| press.name() == word)
    }

    /// The line on the way to the bench.
    #[must_use]
    pub fn line(self) -> Vec<u8> {
        format!("{}\r", self.name()).into_bytes()
    }
}

/// The wire format of presses.
const FORMAT: &str = r#"description = "foot pedal: one word for each press"
mode = "on-key"
identify = false
line = { baud = 9600, data_bits = 8, parity = "none", stop_bits = 1 }
framing = { end = "\r", longest = 10, idle_ms = 300 }
layout = [{ name = "press", fields = [{ code_text = "4-6", of = "a-z" }] }]
"#;

/// The wire format of presses. It is not among the built-in families: no cable carries it.
///
/// # Errors
/// Never: a test reads it.
pub fn format() -> Result<Format, FormatError> {
    Format::from_toml(FORMAT, "pedal")
}

/// Follows one contact.
#[derive(Debug)]
pub struct Pedal {
    /// The state that counts, since when it does.
    state: Contact,
    /// Another state was seen first at this time and has not changed since.
    changing_s: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Contact {
    Open,
    /// Pressed at this time.
    Pressed(f64),
    /// Closed when first looked at: nobody saw the foot coming down.
    FoundClosed,
}

impl Pedal {
    /// A pedal whose contact was found so.
    #[must_use]
    pub fn found(closed: bool) -> Self {
        Self { state: if closed { Contact::FoundClosed } else { Contact::Open }, changing_s: None }
    }

    /// Whether the contact is closed, as far as it counts.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.state != Contact::Open
    }

    /// Takes the state of the contact at `t_s`, in seconds.
    pub fn look(&mut self, t_s: f64, closed: bool) -> Option<Press> {
        if closed == self.is_closed() {
            self.changing_s = None;
            return None;
        }
        let since_s = *self.changing_s.get_or_insert(t_s);
        if t_s - since_s < DEBOUNCE_S {
            return None;
        }
        self.changing_s = None;
        let before = std::mem::replace(&mut self.state, if closed { Contact::Pressed(since_s) } else { Contact::Open });
        match before {
            Contact::Pressed(pressed_s) => press(since_s - pressed_s),
            Contact::Open | Contact::FoundClosed => None,
        }
    }
}

fn press(length_s: f64) -> Option<Press> {
    if length_s < LONG_S {
        Some(Press::Accept)
    } else if length_s < STUCK_S {
        Some(Press::Void)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::format::{Decoder, Item};
    use std::sync::Arc;

    /// Looks every 20 ms at a contact that changes at these times, first closing; what came, with when.
    fn check(changes_s: &[f64], expected: &[Press]) {
        for phase in 0..4 {
            let mut pedal = Pedal::found(false);
            let mut got = Vec::new();
            for look in 0..700 {
                let t_s = f64::from(look) * 0.02 + f64::from(phase) * 0.005;
                let closed = changes_s.iter().filter(|change| **change <= t_s).count() % 2 == 1;
                got.extend(pedal.look(t_s, closed));
            }
            assert_eq!(got, expected, "{changes_s:?}, phase {phase}");
        }
    }

    #[test]
    fn a_press_is_accept_and_a_long_one_is_void() {
        use Press::{Accept, Void};
        check(&[], &[]);
        check(&[1.0, 1.1], &[Accept]);
        check(&[1.0, 1.25], &[Accept]);
        check(&[1.0, 1.9], &[Accept]);
        check(&[1.0, 2.1], &[Void]);
        check(&[1.0, 5.0], &[Void]);
        check(&[1.0, 1.2, 1.5, 1.7, 2.0, 4.0], &[Accept, Accept, Void]);
    }

    #[test]
    fn bounces_and_spikes_are_no_presses() {
        check(&[1.0, 1.01], &[]);
        check(&[1.0, 1.02, 1.025, 1.03, 1.035, 1.045], &[]);
        // A contact that bounces at both ends of one press.
        check(&[1.0, 1.004, 1.007, 1.009, 1.012, 1.4, 1.405, 1.407, 1.411, 1.414], &[Press::Accept]);
    }

    #[test]
    fn a_foot_nobody_saw_coming_down_and_a_pedal_that_is_stuck_mean_nothing() {
        let mut pedal = Pedal::found(true);
        for (t_s, closed) in [(0.0, true), (1.5, true), (2.0, false), (2.1, false), (3.0, false)] {
            assert_eq!(pedal.look(t_s, closed), None);
        }
        check(&[1.0, 9.0], &[]);
        check(&[1.0, 9.0, 10.0, 10.3], &[Press::Accept]);
    }

    #[test]
    fn a_press_comes_through_its_wire_format() {
        let format = Arc::new(format().unwrap());
        for press in [Press::Accept, Press::Void] {
            let mut words = Vec::new();
            Decoder::new(Arc::clone(&format)).push(&press.line(), &mut |item| match item {
                Item::Frame(frame, _) => words.extend(frame.code.and_then(|code| code.text)),
                Item::Refused { reason, .. } => panic!("{reason}"),
            });
            assert_eq!(words.iter().map(|word| Press::parse(word)).collect::<Vec<_>>(), [Some(press)]);
        }
    }
}
