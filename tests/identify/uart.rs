//! A serial line down to its bits: a sender with its settings, a receiver with other ones, and what comes of it.
//!
//! Start bit low, data from the lowest bit, parity, stop bits high: as in every data sheet of such a chip. A receiver waits for a
//! falling edge, samples in the middle of each bit, and looks for the stop bit.

use benchscribe::instrument::format::{LineSettings, Parity};

/// The level of a wire over time; high when nothing is sent.
#[derive(Default)]
pub(crate) struct Wire {
    /// Time in seconds from which on the level holds. Rising in time.
    edges: Vec<(f64, bool)>,
    busy_until_s: f64,
}

impl Wire {
    /// Sends bytes from `t_s`, or when what is under way has gone; the time at which the last bit has gone.
    pub(crate) fn send(&mut self, t_s: f64, bytes: &[u8], line: LineSettings) -> f64 {
        let bit_s = 1.0 / f64::from(line.baud);
        let mut at_s = t_s.max(self.busy_until_s);
        for byte in bytes {
            for level in bits(*byte, line) {
                if self.edges.last().is_none_or(|(_, last)| *last) != level {
                    self.edges.push((at_s, level));
                }
                at_s += bit_s;
            }
        }
        self.busy_until_s = at_s;
        at_s
    }

    fn level(&self, t_s: f64) -> bool {
        let behind = self.edges.partition_point(|(from_s, _)| *from_s <= t_s);
        behind.checked_sub(1).is_none_or(|place| self.edges[place].1)
    }

    fn next_fall(&self, t_s: f64) -> Option<f64> {
        let behind = self.edges.partition_point(|(from_s, _)| *from_s <= t_s);
        self.edges[behind..].iter().find(|(_, level)| !level).map(|(from_s, _)| *from_s)
    }
}

fn is_odd(byte: u8) -> bool {
    byte.count_ones() % 2 == 1
}

/// Start, data, parity and stop bits of a byte.
fn bits(byte: u8, line: LineSettings) -> Vec<bool> {
    let data = if line.data_bits == 7 { byte & 0x7f } else { byte };
    let mut bits = vec![false];
    bits.extend((0..line.data_bits).map(|place| data >> place & 1 == 1));
    match line.parity {
        Parity::None => {}
        Parity::Even => bits.push(is_odd(data)),
        Parity::Odd => bits.push(!is_odd(data)),
    }
    bits.extend((0..line.stop_bits).map(|_| true));
    bits
}

/// What becomes of a byte without stop bit where no parity is looked for.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Damaged {
    /// It is dropped: the serial ports of a main board.
    Dropped,
    /// It is handed on as it came: most USB adapters.
    HandedOn,
}

/// A receiver, as a serial port set by the usual calls; with parity a wrong byte comes as zero.
pub(crate) struct Receiver {
    pub(crate) line: LineSettings,
    damaged: Damaged,
    cursor_s: f64,
}

impl Receiver {
    pub(crate) fn new(line: LineSettings, damaged: Damaged, t_s: f64) -> Self {
        Self { line, damaged, cursor_s: t_s }
    }

    /// The bytes that are whole until `until_s`, with the time of each.
    pub(crate) fn receive(&mut self, wire: &Wire, until_s: f64) -> Vec<(f64, u8)> {
        let bit_s = 1.0 / f64::from(self.line.baud);
        let data_bits = u32::from(self.line.data_bits);
        let before_stop = 1 + data_bits + u32::from(self.line.parity != Parity::None);
        let mut came = Vec::new();
        while let Some(fall_s) = wire.next_fall(self.cursor_s) {
            let stop_s = fall_s + (f64::from(before_stop) + 0.5) * bit_s;
            if stop_s > until_s {
                break;
            }
            let bit = |place: u32| wire.level(fall_s + (f64::from(place) + 0.5) * bit_s);
            if bit(0) {
                self.cursor_s = fall_s + 0.5 * bit_s; // a spike is no start bit
                continue;
            }
            self.cursor_s = stop_s;
            let byte = (0..data_bits).fold(0_u8, |byte, place| byte | u8::from(bit(1 + place)) << place);
            let is_right = bit(before_stop)
                && match self.line.parity {
                    Parity::None => true,
                    Parity::Even => bit(1 + data_bits) == is_odd(byte),
                    Parity::Odd => bit(1 + data_bits) != is_odd(byte),
                };
            match is_right {
                true => came.push((stop_s, byte)),
                false if self.line.parity == Parity::None && self.damaged == Damaged::HandedOn => {
                    came.push((stop_s, byte))
                }
                false if self.line.parity == Parity::None => {}
                false => came.push((stop_s, 0)),
            }
        }
        came
    }
}
