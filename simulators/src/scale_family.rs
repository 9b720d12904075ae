//! The wire formats that the scales of this bench can speak, by name.

use std::fmt;
use std::str::FromStr;

use crate::wire::{self, Shown};

/// The wire format of a scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ScaleFamily {
    /// `ST,+00123.45  g`, streamed.
    #[default]
    Hdr2Sign8Unit3,
    /// `ST,GS,+    123.45     g`, streamed.
    Hdr2Mode2SignValueUnit,
    /// `S S     123.45 g`, on request: `SI` at once, `S` when settled.
    EchoStatusValue10Unit,
    /// `      123.45 g`, streamed.
    PlainValueUnit,
}

impl ScaleFamily {
    /// All of them.
    pub const ALL: [Self; 4] =
        [Self::Hdr2Sign8Unit3, Self::Hdr2Mode2SignValueUnit, Self::EchoStatusValue10Unit, Self::PlainValueUnit];

    /// The family's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Hdr2Sign8Unit3 => "hdr2-sign8-unit3",
            Self::Hdr2Mode2SignValueUnit => "hdr2-mode2-sign-value-unit",
            Self::EchoStatusValue10Unit => "echo-status-value10-unit",
            Self::PlainValueUnit => "plain-value-unit",
        }
    }

    /// The line settings a real one would have; a pseudo-terminal carries the bytes whatever is set.
    #[must_use]
    pub const fn line_settings(self) -> &'static str {
        match self {
            Self::Hdr2Sign8Unit3 => "2400 7E1",
            Self::Hdr2Mode2SignValueUnit => "4800 8N1",
            Self::EchoStatusValue10Unit | Self::PlainValueUnit => "9600 8N1",
        }
    }

    /// The bytes of one reading.
    pub(crate) fn frame(self, shown: Shown) -> Vec<u8> {
        match self {
            Self::Hdr2Sign8Unit3 => wire::hdr2_sign8_unit3(shown, "g"),
            Self::Hdr2Mode2SignValueUnit => wire::hdr2_mode2_sign_value_unit(shown, "g", wire::SMALL_BALANCE),
            Self::EchoStatusValue10Unit => wire::echo_status_value10_unit('S', shown, "g"),
            Self::PlainValueUnit => wire::plain_value_unit(shown, "g"),
        }
    }
}

impl fmt::Display for ScaleFamily {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A name that is no family of these scales.
#[derive(Debug, thiserror::Error)]
#[error(
    "found {0:?}, expected hdr2-sign8-unit3, hdr2-mode2-sign-value-unit, echo-status-value10-unit or plain-value-unit"
)]
pub struct UnknownFamily(String);

impl FromStr for ScaleFamily {
    type Err = UnknownFamily;

    fn from_str(text: &str) -> Result<Self, UnknownFamily> {
        Self::ALL.into_iter().find(|family| family.name() == text).ok_or_else(|| UnknownFamily(text.to_owned()))
    }
}
