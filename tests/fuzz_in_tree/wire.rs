//! What an instrument of each family puts on the wire for a load, written from the layouts' description by hand: it
//! shares nothing with the decoder.

use benchscribe::config::bench_file::{InstrumentSettings, read_bench};

/// What an instrument shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Shown {
    /// Tenths of a gram, counts of the first cell, or hundredths of a degree of lie.
    pub(crate) first: i32,
    /// Counts of the second cell, or hundredths of a degree of loft.
    pub(crate) second: i32,
    /// The load moves, by the instrument's own word.
    pub(crate) moving: bool,
}

impl Shown {
    fn grams(self) -> f64 {
        f64::from(self.first) / 10.0
    }

    fn kilograms(self) -> f64 {
        f64::from(self.first) / 10_000.0
    }

    fn sign(self, plus: char) -> char {
        if self.first < 0 { '-' } else { plus }
    }

    /// What must come out of the indication: grams, counts or degrees.
    pub(crate) fn indication(self, measures: Measures) -> [f64; 2] {
        match measures {
            Measures::Mass => [self.grams(), 0.0],
            Measures::Cells => [f64::from(self.first), f64::from(self.second)],
            Measures::Angles => [f64::from(self.first) / 100.0, f64::from(self.second) / 100.0],
        }
    }
}

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Measures {
    Mass,
    Cells,
    Angles,
}

/// One family with its settings.
pub(crate) struct Family {
    pub(crate) name: &'static str,
    pub(crate) settings: &'static str,
    pub(crate) measures: Measures,
    /// Longest run of damaged bits in one frame that its check finds for certain; 0 without a check. A sum or an
    /// exclusive-or of n bits finds any run of n bits, a CRC of 16 any run of 16 (arithmetic; for the CRC also Peterson
    /// and Brown 1961, from memory).
    pub(crate) sure_bits: u32,
    pub(crate) encode: fn(Shown) -> Vec<u8>,
}

fn two(word: [&'static str; 2], shown: Shown) -> &'static str {
    if shown.moving { word[1] } else { word[0] }
}

const fn scale(name: &'static str, encode: fn(Shown) -> Vec<u8>) -> Family {
    Family { name, settings: "", measures: Measures::Mass, sure_bits: 0, encode }
}

/// All families that send numbers.
pub(crate) const FAMILIES: &[Family] = &[
    scale("hdr2-sign8-unit3", |s| {
        format!("{},{}{:08.1}  g\r\n", two(["ST", "US"], s), s.sign('+'), s.grams().abs()).into()
    }),
    scale("hdr2-mode2-sign-value-unit", |s| {
        format!("{},GS,{}{:>7.4}kg\r\n", two(["ST", "US"], s), s.sign('+'), s.kilograms().abs()).into()
    }),
    scale("hdr2-mode2-nocomma", |s| {
        format!("{},NT{}{:>7.4},kg\r\n", two(["ST", "US"], s), s.sign('+'), s.kilograms().abs()).into()
    }),
    scale("echo-status-value10-unit", |s| format!("S {} {:>10.1} g\r\n", two(["S", "D"], s), s.grams()).into()),
    scale("sign-value8-unit3-blank-if-moving", |s| {
        format!("{} {:>8.1} {}\r\n", s.sign('+'), s.grams().abs(), two(["g  ", "   "], s)).into()
    }),
    scale("id6-sign-value8-unit3", |s| {
        format!("N     {} {:>8.1} {}\r\n", s.sign('+'), s.grams().abs(), two(["g  ", "   "], s)).into()
    }),
    scale("marker-sign-mass9-unit3", |s| {
        format!("{} {}{:>9.1} g  \r\n", two([" ", "?"], s), s.sign(' '), s.grams().abs()).into()
    }),
    scale("cmd2-marker-sign-mass9-unit3", |s| {
        format!("SI {} {}{:>9.1} g  \r\n", two([" ", "?"], s), s.sign(' '), s.grams().abs()).into()
    }),
    Family { settings: "check=sum", sure_bits: 7, ..scale("stx-binary-status-words", |s| stx_binary(s, true)) },
    Family { settings: "check=none", ..scale("stx-binary-status-words", |s| stx_binary(s, false)) },
    scale("stx-polarity-w7-unit-mode-status", |s| {
        format!("\u{2}{}{:>7.1}GG{}\r\n", s.sign(' '), s.grams().abs(), two([" ", "M"], s)).into()
    }),
    scale("stx-sign-w7-status-etx", |s| {
        format!("\u{2}{}{:>7.1}{}\u{3}", s.sign(' '), s.grams().abs(), two(["G", "M"], s)).into()
    }),
    scale("lf-value-unit-cr-lf-status-etx", |s| {
        format!("\n{:07.4}KG\r\n{}0\r\u{3}", s.kilograms(), two(["0", "1"], s)).into()
    }),
    scale("lf-s-r-n-m-f-w10-u3-cr", |s| format!("\n 1G{} {:>10.1}g  \r", two([" ", "M"], s), s.grams()).into()),
    scale("sign-adjacent-dot-flags4", |s| format!("{:>+8.1}  G{}\r\n", s.grams(), two(["S", " "], s)).into()),
    Family {
        sure_bits: 8,
        ..scale("stx-sign-6digits-dp-xor2-etx", |s| {
            let body = format!("{}{:06}1", s.sign('+'), s.first.abs());
            let check = body.bytes().fold(0, |sum, byte| sum ^ byte);
            format!("\u{2}{body}{check:02X}\u{3}").into()
        })
    },
    scale("ff-flags-bcd3-unit", |s| {
        let digits = s.first.unsigned_abs();
        let pair = |n: u32| u8::try_from(n % 10 + n / 10 % 10 * 16).unwrap();
        let flags = 4 | if s.first < 0 { 0x20 } else { 0 } | if s.moving { 0 } else { 0x40 };
        vec![0xff, flags, pair(digits), pair(digits / 100), pair(digits / 10_000), 0]
    }),
    scale("polled-legend-case", |s| {
        format!("{}{:>6.4} KG {}\r\n", s.sign(' '), s.kilograms().abs(), two(["GR", "gr"], s)).into()
    }),
    scale("plain-value-unit", |s| format!("{:>12.1} g \r\n", s.grams()).into()),
    scale("labelled-decimal-comma", |s| format!("PESO: {:>7.4} KG\r\n", s.kilograms()).replace('.', ",").into()),
    scale("ww-wn-zero-filled", |s| format!("ww{:07.4}kg\r\n", s.kilograms()).into()),
    scale("scpi-nr3", |s| {
        let text = format!("{:+.4E}", s.grams());
        let (digits, power) = text.split_once('E').unwrap();
        format!("{digits}E{:+03}\n", power.parse::<i32>().unwrap()).into()
    }),
    Family { settings: "word_order=ABCD", sure_bits: 16, ..scale("modbus-float", |s| modbus(s, [0, 1, 2, 3])) },
    Family { settings: "word_order=CDAB", sure_bits: 16, ..scale("modbus-float", |s| modbus(s, [2, 3, 0, 1])) },
    Family { settings: "word_order=BADC", sure_bits: 16, ..scale("modbus-float", |s| modbus(s, [1, 0, 3, 2])) },
    Family { settings: "word_order=DCBA", sure_bits: 16, ..scale("modbus-float", |s| modbus(s, [3, 2, 1, 0])) },
    Family { settings: "decimals=1", sure_bits: 16, ..scale("modbus-int32", |s| modbus_frame(&s.first.to_be_bytes())) },
    Family {
        sure_bits: 16,
        ..scale("modbus-int32-status", |s| {
            let mut words = vec![0, u8::from(!s.moving)];
            words.extend(s.first.to_be_bytes());
            words.extend([0, 1]);
            modbus_frame(&words)
        })
    },
    scale("usb-hid-scale-report", |s| {
        let [low, high] = u16::try_from(s.first.max(0)).unwrap().to_le_bytes();
        vec![3, if s.moving { 3 } else { 4 }, 2, 0xff, low, high]
    }),
    Family {
        name: "nmea-xdr",
        settings: "",
        measures: Measures::Angles,
        sure_bits: 8,
        encode: |s| {
            let [lie, loft] = s.indication(Measures::Angles);
            let body = format!("IIXDR,A,{lie:+06.2},D,LIE,A,{loft:+06.2},D,LOFT");
            let check = body.bytes().fold(0, |sum, byte| sum ^ byte);
            format!("${body}*{check:02X}\r\n").into()
        },
    },
    Family {
        name: "dual-cell-line",
        settings: "",
        measures: Measures::Cells,
        sure_bits: 0,
        encode: |s| format!("{}\t{}\n", s.first, s.second).into(),
    },
];

fn stx_binary(s: Shown, check: bool) -> Vec<u8> {
    // One decimal; kilograms by the second word, grams by the third, which goes before.
    let word_b = 0x30 | if s.first < 0 { 2 } else { 0 } | if s.moving { 8 } else { 0 };
    let mut frame = vec![2, 0x2b, word_b, 0x21];
    frame.extend(format!("{:>6}000000\r", s.first.abs()).bytes());
    if check {
        let sum = frame.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte));
        frame.push(sum.wrapping_neg() & 0x7f);
    }
    frame
}

fn modbus(s: Shown, order: [usize; 4]) -> Vec<u8> {
    #[expect(clippy::cast_possible_truncation, reason = "a device with single precision rounds so")]
    let bytes = (s.grams() as f32).to_be_bytes();
    modbus_frame(&order.map(|place| bytes[place]))
}

fn modbus_frame(words: &[u8]) -> Vec<u8> {
    let mut frame = vec![1, 3, u8::try_from(words.len()).unwrap()];
    frame.extend(words);
    // CRC-16 as in the Modbus serial line guide: reflected 0xA001, start 0xFFFF, low byte first.
    let crc = frame.iter().fold(0xffff_u16, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xa001 } else { crc >> 1 })
    });
    frame.extend(crc.to_le_bytes());
    frame
}

impl Family {
    /// Readings a second.
    pub(crate) fn rate_hz(&self) -> f64 {
        if self.measures == Measures::Cells { 80.0 } else { 10.0 }
    }

    /// The instrument as a bench would be told of it.
    pub(crate) fn instrument(&self) -> InstrumentSettings {
        let settings = if self.settings.is_empty() { String::new() } else { format!("\"{}\"", self.settings) };
        let kind = match self.measures {
            Measures::Mass => "kind = \"scale\"\nresolution = \"0.1 g\"\ncapacity = \"3000 g\"",
            Measures::Angles => "kind = \"gauge\"\nresolution = \"0.01 deg\"",
            Measures::Cells => {
                "kind = \"beam\"\ncalibration = { zero_counts = [0, 0], counts_per_gram = [1000, 1000], x1 = \"100 mm\", x2 = \"840 mm\" }"
            }
        };
        let text = format!(
            "site = \"s\"\nbench = \"b\"\n[[instrument]]\nid = \"one\"\nport = \"p\"\nformat = \"{}\"\nformat_settings = [{settings}]\nrate = {}\nsends = \"streaming\"\n{kind}\n",
            self.name,
            self.rate_hz(),
        );
        read_bench("fuzz", &text).unwrap_or_else(|mistakes| panic!("{mistakes}")).instruments.remove(0)
    }
}
