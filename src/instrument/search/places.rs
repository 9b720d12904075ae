//! Which line settings to listen with next, by what came with those before.
//!
//! In: for each setting that is given up, what its bytes hint. Out: the next one. Bytes that were read too fast or too slow
//! are not merely wrong: each bit of a slower sender is read twice or more, and that shows. So each message that comes
//! halves the speeds that are left, about.

use super::plan;
use crate::instrument::format::{LineSettings, Parity};

/// What bytes that are no frames hint about the sender's speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hint {
    /// Slower than the line.
    Slower,
    /// Not slower: faster, or right but for a parity bit.
    NotSlower,
    /// A parity bit stands where the stop bit is expected.
    Parity(Parity),
    /// Nothing.
    Nothing,
}

/// The settings that were not tried yet.
#[derive(Debug)]
pub(crate) struct Places {
    untried: Vec<LineSettings>,
    /// The sender is faster than this, or as fast and with a parity bit.
    faster_than: Option<u32>,
    slower_than: Option<u32>,
}

impl Default for Places {
    fn default() -> Self {
        Self { untried: plan::places(), faster_than: None, slower_than: None }
    }
}

impl Places {
    /// The next settings after `left` were given up; round and round.
    pub(crate) fn next(&mut self, left: LineSettings, hint: Hint) -> LineSettings {
        self.untried.retain(|line| *line != left);
        match hint {
            Hint::Parity(parity) => return LineSettings { parity, ..left },
            Hint::Slower => self.slower_than = Some(self.slower_than.map_or(left.baud, |baud| baud.min(left.baud))),
            Hint::NotSlower if left.parity == Parity::None => {
                self.faster_than = Some(self.faster_than.map_or(left.baud, |baud| baud.max(left.baud)));
            }
            Hint::NotSlower | Hint::Nothing => {}
        }
        let is_left = |line: &&LineSettings| {
            line.parity == Parity::None
                && self.faster_than.is_none_or(|baud| line.baud > baud)
                && self.slower_than.is_none_or(|baud| line.baud < baud)
        };
        // No speed is left between: the fastest that was not too fast has a parity bit.
        let with_parity = |line: &&LineSettings| line.parity != Parity::None && Some(line.baud) == self.faster_than;
        let next = self.untried.iter().find(is_left).or_else(|| self.untried.iter().find(with_parity)).copied();
        if let Some(next) = next {
            return next;
        }
        // The hints were misleading.
        (self.faster_than, self.slower_than) = (None, None);
        if self.untried.is_empty() {
            *self = Self::default();
        }
        self.untried.first().copied().unwrap_or(plan::FIRST)
    }
}

/// What these bytes, none of which is in a frame, hint about the speed.
///
/// The bits of a byte as they came: start bit 0, data from the lowest, stop bit 1. From a sender of half the speed or less
/// no bit comes alone but the last.
pub(crate) fn speed_hint(bytes: &[u8]) -> Hint {
    if bytes.len() < 3 {
        return Hint::Nothing;
    }
    let alone = bytes.iter().filter(|byte| has_a_bit_alone(**byte)).count();
    if alone * 5 > bytes.len() { Hint::NotSlower } else { Hint::Slower }
}

fn has_a_bit_alone(byte: u8) -> bool {
    // Start bit lowest, then the data: nine bits. A bit is alone when both neighbours differ; before the start bit the line
    // is high. The last data bit has no neighbour that is known: the stop bit is high whatever the sender meant.
    let bits = u16::from(byte) << 1;
    let before = bits << 1 | 1;
    let behind = bits >> 1;
    (bits ^ before) & (bits ^ behind) & 0xff != 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slower_sender_and_a_faster_one_are_told_apart() {
        // Bytes of a simulated line: 1200 and 4800 baud read at 9600, 9600 read at 2400, and text.
        assert_eq!(speed_hint(b"\x80\x80\xf8\x80\x80\xf8"), Hint::Slower);
        assert_eq!(speed_hint(b"\xe0\x86\x9e\x86\x98\x98\xe6"), Hint::Slower);
        assert_eq!(speed_hint(b"\x15\xcd\x49\xa5\x02\x77\xdd"), Hint::NotSlower);
        assert_eq!(speed_hint(b"ST,+00123.45  g\r\n"), Hint::NotSlower);
        assert_eq!(speed_hint(b"\x80\x80"), Hint::Nothing);
    }

    #[test]
    fn hints_lead_to_the_speed_and_then_to_the_parity() {
        let line = |baud, parity| LineSettings { baud, parity, ..plan::FIRST };
        let mut places = Places::default();
        assert_eq!(places.next(plan::FIRST, Hint::Slower).baud, 2400);
        assert_eq!(places.next(line(2400, Parity::None), Hint::NotSlower).baud, 4800);
        assert_eq!(places.next(line(4800, Parity::None), Hint::Slower), line(2400, Parity::Even));
        assert_eq!(places.next(line(2400, Parity::Even), Hint::Nothing), line(2400, Parity::Odd));
        assert_eq!(places.next(line(2400, Parity::Odd), Hint::Nothing).parity, Parity::None, "all over again");
    }

    #[test]
    fn every_setting_is_tried() {
        let mut places = Places::default();
        let mut tried = vec![plan::FIRST];
        while tried.len() < plan::places().len() {
            let next = places.next(*tried.last().unwrap(), Hint::Nothing);
            assert!(!tried.contains(&next));
            tried.push(next);
        }
    }
}
