//! A work order: the clubs a player is to get, each with what it must measure.
//!
//! Plain values only; reading them from a file is `config`'s work.

use sha2::{Digest as _, Sha256};

use super::build::Build;
use super::details::Details;
use crate::club::characteristic::{Characteristic, MeasuredOn};
use crate::measurement::quantity::Target;

/// Longest order number.
const LONGEST_NUMBER: usize = 24;
/// Length of a club's generated name, in hexadecimal digits.
const TOKEN_DIGITS: usize = 12;

/// One order as it was taken in.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// The number people use for it, for example `W-1042`.
    pub number: String,
    /// The shop's reference for the player; no name is needed.
    pub player: Option<String>,
    /// When it is promised for, as written.
    pub due: Option<String>,
    /// The clubs, in the order of building.
    pub clubs: Vec<ClubSpec>,
}

/// One club of an order.
#[derive(Debug, Clone, PartialEq)]
pub struct ClubSpec {
    /// Order number and position: `W-1042/1`.
    pub id: String,
    /// A generated name without any text a person typed, for topics and tickets.
    pub token: String,
    /// What people call it: `driver`, `7-iron`.
    pub name: String,
    /// What kind of club it is.
    pub kind: ClubKind,
    /// For which hand.
    pub hand: Hand,
    /// What it must measure.
    pub targets: Vec<TargetRow>,
    /// What else is known of its parts.
    pub details: Details,
    /// What is known of how it is to be made.
    pub build: Build,
    /// The parts it is to be built of, where the order names them.
    pub models: Models,
}

/// Models of parts, as an order names them.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Models {
    /// Of the head.
    pub head: Option<String>,
    /// Of the shaft.
    pub shaft: Option<String>,
    /// Of the grip.
    pub grip: Option<String>,
}

impl Models {
    /// Whether none is named.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// The names in one line: `head A, shaft B`.
    #[must_use]
    pub fn words(&self) -> String {
        let named = [("head", &self.head), ("shaft", &self.shaft), ("grip", &self.grip)];
        let words = named.iter().filter_map(|(what, name)| name.as_ref().map(|name| format!("{what} {name}")));
        words.collect::<Vec<_>>().join(", ")
    }
}

/// The target of one characteristic.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetRow {
    /// What is to be measured.
    pub characteristic: Characteristic,
    /// The target and its limits in base units.
    pub target: Target,
    /// The text as it was written, for people.
    pub text: String,
}

macro_rules! named {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vdoc])* $variant),+ }

        impl $name {
            /// Every variant, in order.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The name in files, records and messages.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }

            /// Reads a name.
            #[must_use]
            pub fn parse(name: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|variant| variant.name() == name)
            }
        }
    };
}
pub(crate) use named;

named!(
    /// Kinds of club, for the plausible range of a part that has no target.
    ClubKind {
        /// The longest wood.
        Driver = "driver",
        /// Any other wood.
        Fairway = "fairway",
        /// Between wood and iron.
        Hybrid = "hybrid",
        /// An iron.
        Iron = "iron",
        /// A wedge.
        Wedge = "wedge",
        /// A putter.
        Putter = "putter",
    }
);

named!(
    /// Which hand the club is for.
    Hand {
        /// Right-handed.
        Right = "right",
        /// Left-handed.
        Left = "left",
    }
);

named!(
    /// How far a club was built when something was measured on it.
    Stage {
        /// A part before assembly.
        Part = "part",
        /// Laid together without adhesive.
        DryFit = "dry_fit",
        /// Head and shaft are bonded.
        Bonded = "bonded",
        /// The grip is on.
        Gripped = "gripped",
        /// After the last adjustment.
        Final = "final",
        /// A club that came in for repair, as it came.
        Received = "received",
    }
);

impl ClubSpec {
    /// The target of a characteristic, if the order has one.
    #[must_use]
    pub fn target(&self, characteristic: Characteristic) -> Option<&TargetRow> {
        self.targets.iter().find(|row| row.characteristic == characteristic)
    }

    /// The club's length in millimetres as ordered, or the usual one of its kind (common practice, no source).
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        let usual = match self.kind {
            ClubKind::Driver => 1149.0,
            ClubKind::Fairway => 1085.0,
            ClubKind::Hybrid => 1016.0,
            ClubKind::Iron => 952.0,
            ClubKind::Wedge => 895.0,
            ClubKind::Putter => 876.0,
        };
        let target = self.target(Characteristic::Length).map(|row| row.target);
        target.and_then(|t| t.value.or(t.upper).or(t.lower)).unwrap_or(usual)
    }
}

/// Whether a text can be an order's number: it becomes part of ticket codes and club ids.
#[must_use]
pub fn is_order_number(text: &str) -> bool {
    let fits = |b: u8| b.is_ascii_alphanumeric() || b"-._".contains(&b);
    !text.is_empty() && text.len() <= LONGEST_NUMBER && text.bytes().all(fits)
}

/// The generated name of the club with this id.
#[must_use]
pub fn token(id: &str) -> String {
    let hash: String = Sha256::digest(id.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
    hash.chars().take(TOKEN_DIGITS).collect()
}

impl Order {
    /// The club with this id.
    #[must_use]
    pub fn club(&self, id: &str) -> Option<&ClubSpec> {
        self.clubs.iter().find(|club| club.id == id)
    }
}

impl Stage {
    /// Whether a measurement of `characteristic` at this stage says something about the club as it will be handed over.
    #[must_use]
    pub fn counts_for(self, characteristic: Characteristic) -> bool {
        match characteristic.measured_on() {
            MeasuredOn::Part => self == Self::Part,
            MeasuredOn::Club => matches!(self, Self::Gripped | Self::Final),
        }
    }
}
