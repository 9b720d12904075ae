//! Kinds of field a frame is made of.
//!
//! In: the bytes from a field's place on. Out: the lengths at which the field can stand there. Absent: what the
//! field means for the frame, which is `evaluate`'s. Adding a wire format adds no Rust; adding a *kind* of field
//! adds a variant here.

use super::check::Check;
use super::file::{Align, Width, WrittenAs};
use super::gs1;
use super::meaning::Meaning;
use super::number::{NumberSpec, Parsed};

/// A set of bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct ByteClass([u64; 4]);

impl ByteClass {
    pub(crate) fn add(&mut self, byte: u8) {
        if let Some(word) = self.0.get_mut(usize::from(byte >> 6)) {
            *word |= 1 << (byte & 63);
        }
    }

    pub(crate) fn add_all(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| self.add(*byte));
    }

    pub(crate) fn join(&mut self, other: &Self) {
        self.0.iter_mut().zip(other.0).for_each(|(own, more)| *own |= more);
    }

    pub(crate) fn any() -> Self {
        Self([u64::MAX; 4])
    }

    pub(crate) fn holds(&self, byte: u8) -> bool {
        self.0.get(usize::from(byte >> 6)).is_some_and(|word| word & (1 << (byte & 63)) != 0)
    }

    fn count(&self) -> u32 {
        self.0.iter().map(|word| word.count_ones()).sum()
    }
}

/// Where a number goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Destination {
    /// The frame's value; several add up.
    Value,
    /// Read and checked, then dropped: a tare, a total.
    Nowhere,
    /// A channel; without a name, a `name` field that follows names it, else its place does.
    Channel(Option<Vec<u8>>),
}

/// What makes the number of a field, whatever its writing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Quantity {
    pub(crate) to: Destination,
    pub(crate) times: u64,
    pub(crate) below: Option<u64>,
    /// Digits behind a point that is not sent.
    pub(crate) implied: i16,
    /// Numbers that are states, without zeros at their end.
    pub(crate) sentinels: Vec<(super::decimal::Decimal, Vec<Meaning>)>,
}

/// Words and what each says, the longest word first.
pub(crate) type WordTable = Vec<(Vec<u8>, Vec<Meaning>)>;

/// Words that may stand in a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Words {
    pub(crate) table: WordTable,
    /// Width of the column; `None` when words stand without padding.
    pub(crate) width: Option<usize>,
    pub(crate) align: Align,
    pub(crate) is_unit: bool,
}

/// One part of a status byte: `shift` and `mask` cut it out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct BitPart {
    pub(crate) shift: u32,
    pub(crate) mask: u32,
    pub(crate) role: BitRole,
}

/// What a part of a status byte says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum BitRole {
    Must(u32),
    Is(Vec<Vec<Meaning>>),
    Decimals(Vec<i16>),
    Digit,
    /// Whatever it is, it says nothing.
    Any,
}

/// A field that repeats, with one of several shapes each time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Repeat {
    pub(crate) groups: Vec<Vec<Field>>,
    pub(crate) separator: Vec<u8>,
    pub(crate) count: Width,
}

/// One field.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Field {
    Literal(Vec<u8>),
    Words(Words),
    Number {
        width: Width,
        spec: NumberSpec,
        instead: WordTable,
        quantity: Quantity,
    },
    Skip {
        width: Width,
        class: ByteClass,
    },
    Bits {
        width: usize,
        parts: Vec<BitPart>,
    },
    Bcd {
        width: usize,
        low_first: bool,
        quantity: Quantity,
    },
    /// `places[i]` is the significance of byte `i`, 0 the lowest.
    Integer {
        places: Vec<u8>,
        signed: bool,
        quantity: Quantity,
    },
    Float {
        places: Vec<u8>,
        quantity: Quantity,
    },
    Decimals {
        width: usize,
        written_as: WrittenAs,
        highest: i16,
    },
    PowerOfTen,
    Name {
        width: Width,
        class: ByteClass,
    },
    Check(Check),
    Symbology(Vec<(Vec<u8>, String)>),
    Gs1(Width),
    CodeText {
        width: Width,
        class: ByteClass,
    },
    Repeat(Repeat),
}

impl Words {
    /// The meanings of exactly these bytes.
    pub(crate) fn find(&self, bytes: &[u8]) -> Option<&[Meaning]> {
        let word = if self.width.is_some() { trim(bytes, self.align) } else { bytes };
        let found = self.table.iter().find(|(key, _)| key == word)?;
        (!found.1.contains(&Meaning::NotAllowed)).then_some(found.1.as_slice())
    }
}

/// The bytes without the spaces that pad them.
pub(crate) fn trim(mut bytes: &[u8], align: Align) -> &[u8] {
    if align != Align::Left {
        while let Some((b' ', rest)) = bytes.split_first() {
            bytes = rest;
        }
    }
    if align != Align::Right {
        while let Some((b' ', rest)) = bytes.split_last() {
            bytes = rest;
        }
    }
    bytes
}

/// What stands in a number's column.
pub(crate) enum Column<'f> {
    Number(Parsed),
    State(&'f [Meaning]),
}

/// Reads a number's column: a state that stands in its place, or the number.
pub(crate) fn column<'f>(
    bytes: &[u8],
    spec: &NumberSpec,
    instead: &'f [(Vec<u8>, Vec<Meaning>)],
) -> Option<Column<'f>> {
    let word = trim(bytes, Align::Any);
    let state = instead.iter().find(|(key, _)| match key.strip_suffix(b"..") {
        // "-.." stands for any run of dashes that is longer than a sign could be.
        Some([run]) => word.len() >= 3 && word.iter().all(|byte| byte == run),
        _ => key == word,
    });
    match state {
        Some((_, meanings)) => Some(Column::State(meanings)),
        None => spec.parse(bytes).map(Column::Number),
    }
}

/// The bytes put in order, the lowest first, as one number; at most eight bytes.
pub(crate) fn assemble(bytes: &[u8], places: &[u8]) -> u64 {
    bytes.iter().zip(places).fold(0, |sum, (byte, place)| sum | (u64::from(*byte) << (8 * u32::from(*place))))
}

/// The value of a status word, its first byte the highest.
pub(crate) fn status_word(bytes: &[u8]) -> u32 {
    bytes.iter().fold(0, |sum, byte| (sum << 8) | u32::from(*byte))
}

fn part_fits(part: &BitPart, word: u32) -> bool {
    let value = (word >> part.shift) & part.mask;
    let index = usize::try_from(value).unwrap_or(usize::MAX);
    match &part.role {
        BitRole::Must(wanted) => value == *wanted,
        BitRole::Is(list) => list.get(index).is_some_and(|meanings| !meanings.contains(&Meaning::NotAllowed)),
        BitRole::Decimals(list) => index < list.len(),
        BitRole::Digit => value <= 9,
        BitRole::Any => true,
    }
}

impl Field {
    /// Calls `found` with each length at which this field can stand at the start of `rest`, likeliest first,
    /// until it says yes. Repeats and checks need more than the bytes and are the matcher's.
    pub(crate) fn lengths(&self, rest: &[u8], found: &mut dyn FnMut(usize) -> bool) -> bool {
        let fixed = |length: usize, fits: &dyn Fn(&[u8]) -> bool, found: &mut dyn FnMut(usize) -> bool| {
            rest.get(..length).is_some_and(fits) && found(length)
        };
        match self {
            Self::Literal(text) => rest.starts_with(text) && found(text.len()),
            Self::Words(words) => match words.width {
                Some(width) => fixed(width, &|bytes| words.find(bytes).is_some(), found),
                None => words.table.iter().any(|(key, meanings)| {
                    rest.starts_with(key) && !meanings.contains(&Meaning::NotAllowed) && found(key.len())
                }),
            },
            Self::Number { width, spec, instead, .. } => {
                ranged(rest, *width, &|bytes| column(bytes, spec, instead).is_some(), found)
            }
            Self::Skip { width, class } | Self::Name { width, class } | Self::CodeText { width, class } => {
                let run = rest.iter().take_while(|byte| class.holds(**byte)).count();
                let most = run.min(width.most);
                (width.least..=most).rev().any(found)
            }
            Self::Bits { width, parts } => {
                fixed(*width, &|bytes| parts.iter().all(|part| part_fits(part, status_word(bytes))), found)
            }
            Self::Bcd { width, .. } => {
                fixed(*width, &|bytes| bytes.iter().all(|byte| byte >> 4 <= 9 && byte & 15 <= 9), found)
            }
            Self::Integer { places, .. } | Self::Float { places, .. } => fixed(places.len(), &|_| true, found),
            Self::Decimals { width, written_as, highest } => {
                fixed(*width, &|bytes| decimals(bytes, *written_as).is_some_and(|count| count <= *highest), found)
            }
            Self::PowerOfTen => fixed(1, &|_| true, found),
            Self::Symbology(table) => table.iter().any(|(key, _)| rest.starts_with(key) && found(key.len())),
            Self::Gs1(width) => ranged(rest, *width, &|bytes| gs1::parse(bytes, |_, _| ()).is_some(), found),
            Self::Check(_) | Self::Repeat(_) => false,
        }
    }

    /// Adds the bytes that this field can hold.
    pub(crate) fn add_alphabet(&self, alphabet: &mut ByteClass) {
        match self {
            Self::Literal(text) => alphabet.add_all(text),
            Self::Words(words) => {
                words.table.iter().for_each(|(key, _)| alphabet.add_all(key));
                if words.width.is_some() {
                    alphabet.add(b' ');
                }
            }
            Self::Number { instead, .. } => {
                alphabet.add_all(b" +-.,0123456789");
                instead.iter().for_each(|(key, _)| alphabet.add_all(key));
            }
            Self::Skip { class, .. } | Self::Name { class, .. } | Self::CodeText { class, .. } => alphabet.join(class),
            Self::Symbology(table) => table.iter().for_each(|(key, _)| alphabet.add_all(key)),
            Self::Repeat(repeat) => {
                alphabet.add_all(&repeat.separator);
                repeat.groups.iter().flatten().for_each(|field| field.add_alphabet(alphabet));
            }
            Self::Gs1(_) => {
                (b'!'..=b'z').for_each(|byte| alphabet.add(byte));
                alphabet.add(0x1d);
            }
            Self::Check(Check { written_as: WrittenAs::Hex | WrittenAs::Digits, .. })
            | Self::Decimals { written_as: WrittenAs::Digits, .. } => alphabet.add_all(b"0123456789ABCDEFabcdef"),
            _ => *alphabet = ByteClass::any(),
        }
    }

    /// How many bits of the frame this field pins down when it matched that many bytes: what tells the likelier of
    /// two formats that explain the same bytes. Columns of fixed width count more than those that stretch.
    pub(crate) fn pinned_bits(&self, length: usize) -> u32 {
        let bytes = u32::try_from(length).unwrap_or(0);
        let choice = |count: usize| (8 * bytes).saturating_sub(usize::BITS - count.leading_zeros());
        match self {
            Self::Literal(_) => 8 * bytes,
            Self::Words(words) => choice(words.table.len()),
            Self::Number { width, .. } if width.least == width.most => 5 * bytes,
            Self::Number { .. } => 4 * bytes,
            Self::Skip { width, class } => {
                let class_bits = 8 - (u32::BITS - class.count().leading_zeros()).min(8);
                if width.least == width.most { class_bits * bytes } else { class_bits.saturating_sub(2) * bytes }
            }
            Self::Bits { parts, .. } => {
                let fixed = parts
                    .iter()
                    .map(|part| if matches!(part.role, BitRole::Must(_)) { part.mask.count_ones() } else { 0 });
                fixed.sum()
            }
            Self::Bcd { .. } => bytes,
            Self::Integer { .. } | Self::Float { .. } => 0,
            Self::Decimals { .. } | Self::PowerOfTen => 4 * bytes,
            Self::Name { .. } | Self::Gs1(_) => 2 * bytes,
            Self::CodeText { .. } => bytes,
            Self::Check(_) => 8 * bytes,
            Self::Symbology(table) => choice(table.len()),
            Self::Repeat(_) => 0,
        }
    }
}

/// The count of decimals in a field of its own.
pub(crate) fn decimals(bytes: &[u8], written_as: WrittenAs) -> Option<i16> {
    match written_as {
        WrittenAs::Digits | WrittenAs::Hex => std::str::from_utf8(bytes).ok()?.parse::<u8>().ok().map(i16::from),
        WrittenAs::Byte | WrittenAs::HighFirst => i16::try_from(status_word(bytes)).ok(),
        WrittenAs::LowFirst => {
            i16::try_from(bytes.iter().rev().fold(0_u32, |sum, byte| (sum << 8) | u32::from(*byte))).ok()
        }
    }
}

fn ranged(rest: &[u8], width: Width, fits: &dyn Fn(&[u8]) -> bool, found: &mut dyn FnMut(usize) -> bool) -> bool {
    let most = width.most.min(rest.len());
    (width.least..=most).rev().any(|length| rest.get(..length).is_some_and(fits) && found(length))
}
