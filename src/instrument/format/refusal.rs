//! Why bytes gave no reading. A closed list, in words for people and in labels for metrics.

use std::fmt;

/// Why a run of bytes was refused. Places count from 0 at the first byte of the refused frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Refusal {
    /// The line fell silent, or the stream ended, in the middle of a frame.
    Cut,
    /// The next frame began before this one was whole.
    Glued,
    /// No end of a frame within the longest frame of the family, in bytes.
    TooLong(usize),
    /// A byte that no frame of the family holds.
    ForeignByte {
        /// Its place.
        at: usize,
        /// The byte.
        byte: u8,
    },
    /// The bytes fit none of the family's layouts from this place on.
    NoLayout {
        /// The first byte that did not fit.
        at: usize,
    },
    /// A unit was expected and none of those known stands there.
    UnknownUnit {
        /// Where the unit should stand.
        at: usize,
    },
    /// The check of the frame does not agree with its bytes.
    CheckFailed {
        /// Computed over the bytes.
        computed: u32,
        /// Sent with the frame.
        sent: u32,
    },
    /// The frame is followed by something that is not a frame, so a byte was lost or added.
    NotFollowed,
    /// Each part is well formed but together they cannot be: two signs, 17 ounces.
    Contradiction(&'static str),
    /// A sound frame of this kind that holds nothing which is read here.
    NoReading,
    /// A number with more digits than any instrument shows, or not a number at all.
    NotANumber,
    /// Keys that came too slowly for a scanner, or too few of them.
    TypedByHand,
    /// A key that stands for no character of a code.
    UnknownKey {
        /// Its code in the Linux input interface.
        key: u16,
    },
}

impl Refusal {
    /// All labels there are.
    pub const LABELS: [&str; 13] = [
        "cut",
        "glued",
        "too_long",
        "foreign_byte",
        "no_layout",
        "unknown_unit",
        "check_failed",
        "not_followed",
        "contradiction",
        "no_reading",
        "not_a_number",
        "typed_by_hand",
        "unknown_key",
    ];

    /// A short label for metrics, one of [`Self::LABELS`].
    #[must_use]
    pub fn label(&self) -> &'static str {
        match self {
            Self::Cut => "cut",
            Self::Glued => "glued",
            Self::TooLong(_) => "too_long",
            Self::ForeignByte { .. } => "foreign_byte",
            Self::NoLayout { .. } => "no_layout",
            Self::UnknownUnit { .. } => "unknown_unit",
            Self::CheckFailed { .. } => "check_failed",
            Self::NotFollowed => "not_followed",
            Self::Contradiction(_) => "contradiction",
            Self::NoReading => "no_reading",
            Self::NotANumber => "not_a_number",
            Self::TypedByHand => "typed_by_hand",
            Self::UnknownKey { .. } => "unknown_key",
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cut => write!(formatter, "cut: the bytes ended before the frame did"),
            Self::Glued => write!(formatter, "cut short: the next frame began before this one was whole"),
            Self::TooLong(longest) => write!(formatter, "no end of a frame within {longest} bytes"),
            Self::ForeignByte { at, byte } => {
                write!(formatter, "byte {at} is 0x{byte:02x}, which no frame of this family holds")
            }
            Self::NoLayout { at } => write!(formatter, "fits no layout of this family from byte {at} on"),
            Self::UnknownUnit { at } => write!(formatter, "no unit that is known at byte {at}"),
            Self::CheckFailed { computed, sent } => {
                write!(formatter, "check is 0x{computed:02x}, the frame says 0x{sent:02x}")
            }
            Self::NotFollowed => write!(formatter, "not followed by another frame: a byte was lost or added"),
            Self::Contradiction(what) => write!(formatter, "contradicts itself: {what}"),
            Self::NoReading => write!(formatter, "sound, but holds no reading"),
            Self::NotANumber => write!(formatter, "no number that can be written out"),
            Self::TypedByHand => write!(formatter, "typed by hand, or a scanner that pauses between characters"),
            Self::UnknownKey { key } => write!(formatter, "key {key} stands for no character of a code"),
        }
    }
}
