//! What one frame said.
//!
//! In: nothing, these are the plain shapes that leave the decoder. Out: [`Item`], one for each frame and each
//! run of refused bytes. Absent: serialising, which is the command line's and the journal's own.

use super::decimal::DecimalText;
use super::refusal::Refusal;

/// Units an instrument may send. The codes are those of decoded lines and of calibrations.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum UnitCode {
    /// Gram.
    Gram,
    /// Kilogram.
    Kilogram,
    /// Avoirdupois ounce.
    Ounce,
    /// Avoirdupois pound.
    Pound,
    /// Grain, 1/7000 pound.
    Grain,
    /// Metric carat, 0.2 g.
    Carat,
    /// Counted pieces.
    Pieces,
    /// Degree of arc.
    Degree,
    /// Degree Celsius.
    Celsius,
    /// Raw counts of a converter.
    Count,
}

impl UnitCode {
    /// The code in decoded lines.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Ounce => "oz",
            Self::Pound => "lb",
            Self::Grain => "gr",
            Self::Carat => "ct",
            Self::Pieces => "pcs",
            Self::Degree => "deg",
            // The code of UCUM, the open unit standard.
            Self::Celsius => "Cel",
            Self::Count => "count",
        }
    }
}

/// Which mass a frame holds, where it says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NetGross {
    /// The load less the tare.
    Net,
    /// The whole load.
    Gross,
    /// The tare itself: not a load, so never a reading of a part.
    Tare,
}

impl NetGross {
    /// The word in decoded lines; a tare is neither net nor gross and has none.
    #[must_use]
    pub fn as_str(self) -> Option<&'static str> {
        match self {
            Self::Net => Some("net"),
            Self::Gross => Some("gross"),
            Self::Tare => None,
        }
    }
}

/// Most channels one frame can have.
pub const MOST_CHANNELS: usize = 8;

/// Longest name of a channel, in bytes.
pub const LONGEST_NAME: usize = 23;

/// The name of a channel, without allocation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Name {
    length: u8,
    bytes: [u8; LONGEST_NAME],
}

impl Name {
    const EMPTY: Self = Self { length: 0, bytes: [0; LONGEST_NAME] };

    fn new(text: &[u8]) -> Option<Self> {
        std::str::from_utf8(text).ok()?;
        let mut name = Self::EMPTY;
        name.bytes.get_mut(..text.len())?.copy_from_slice(text);
        name.length = u8::try_from(text.len()).ok()?;
        Some(name)
    }

    fn as_str(&self) -> &str {
        let bytes = self.bytes.get(..usize::from(self.length)).unwrap_or_default();
        std::str::from_utf8(bytes).unwrap_or_default()
    }
}

/// The numbers of a frame that holds several, by name, in the order sent. At most [`MOST_CHANNELS`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Channels {
    length: u8,
    entries: [(Name, Option<DecimalText>); MOST_CHANNELS],
}

impl Default for Channels {
    fn default() -> Self {
        Self { length: 0, entries: [(Name::EMPTY, None); MOST_CHANNELS] }
    }
}

impl Channels {
    /// Names and numbers in the order sent.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &DecimalText)> {
        let held = self.entries.iter().take(usize::from(self.length));
        held.filter_map(|(name, number)| number.as_ref().map(|number| (name.as_str(), number)))
    }

    /// The number of that name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&DecimalText> {
        self.iter().find(|(held, _)| *held == name).map(|(_, number)| number)
    }

    /// How many numbers there are.
    #[must_use]
    pub fn len(&self) -> usize {
        usize::from(self.length)
    }

    /// Whether the frame holds no channels.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// Adds a number; without a name it gets its place, counted from 1. `None` when full, when the name is too
    /// long, not text or already there.
    pub(crate) fn add(&mut self, name: &[u8], number: DecimalText) -> Option<()> {
        let place = self.length + 1;
        let own = [b'0' + place];
        let name = Name::new(if name.is_empty() { &own } else { name })?;
        if self.get(name.as_str()).is_some() {
            return None;
        }
        *self.entries.get_mut(usize::from(self.length))? = (name, Some(number));
        self.length = place;
        Some(())
    }
}

/// What a scanner read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code {
    /// The kind of barcode, as its standard names it: `GS1-128`, `QR Code`.
    pub symbology: String,
    /// GS1 application identifiers and their content, in the order of the code.
    pub identifiers: Vec<(String, String)>,
    /// The text of a code that is not GS1.
    pub text: Option<String>,
}

/// One frame, decoded. What the frame does not say is `None`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// Offset of the frame's first byte in the stream, from 0.
    pub at_byte: u64,
    /// The number as sent; `None` also when a state stands in its place.
    pub value: Option<DecimalText>,
    /// Its unit.
    pub unit: Option<UnitCode>,
    /// Whether the instrument calls itself settled.
    pub stable: Option<bool>,
    /// Over or under its range; then `value`, `unit` and `stable` are `None`.
    pub overload: Option<bool>,
    /// Net or gross.
    pub net_gross: Option<NetGross>,
    /// The numbers of a frame that holds several.
    pub channels: Channels,
    /// What a scanner read.
    pub code: Option<Code>,
}

/// What comes out of a decoder.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "a frame is handed on without allocating")]
pub enum Item<'a> {
    /// A whole, good frame and its bytes.
    Frame(Frame, &'a [u8]),
    /// Bytes that gave nothing.
    Refused {
        /// Why.
        reason: Refusal,
        /// Offset of the first of them in the stream, from 0.
        at_byte: u64,
        /// The bytes.
        raw: &'a [u8],
    },
}
