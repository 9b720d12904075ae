//! A work order: the clubs a player is to get, each with what it must measure.
//!
//! Plain values only; reading them from a file is `config`'s work.

use sha2::{Digest as _, Sha256};

use super::build::Build;
use super::details::Details;
use super::part_stock::PartKind;
use super::steps::Step;
use crate::club::characteristic::{Characteristic, MeasuredOn};
pub use crate::measurement::gauge::Hand;
use crate::measurement::quantity::{Target, parse_target};

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
    /// When it is promised for: a day `2026-12-24`, a day and time `2026-12-24 17:00` by the bench's own clock on the
    /// wall, or words.
    pub due: Option<String>,
    /// How much it presses.
    pub priority: Priority,
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
    /// What is done to it.
    pub work: WorkKind,
    /// The steps of the work, in order; empty in journals older than routes, see [`ClubSpec::route`].
    pub route: Vec<Step>,
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

impl TargetRow {
    /// Whether its limits are the usual ones, because the order writes none beside the value.
    #[must_use]
    pub fn is_by_default(&self) -> bool {
        let limits = |target: &Target| target.lower.or(target.upper).is_some();
        let written = parse_target(&self.text, self.characteristic.dimension());
        self.target.value.is_some() && limits(&self.target) && written.is_ok_and(|written| !limits(&written))
    }
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
    /// How much an order presses.
    #[derive(Default)]
    Priority {
        /// Before all others.
        Urgent = "urgent",
        /// In its turn.
        #[default]
        Normal = "normal",
        /// When there is nothing else to do.
        Low = "low",
    }
);

named!(
    /// What is done to a club.
    #[derive(Default)]
    WorkKind {
        /// It is built from parts.
        #[default]
        Build = "build",
        /// It gets another grip.
        Regrip = "regrip",
        /// It gets another shaft.
        Reshaft = "reshaft",
        /// It is made longer or shorter.
        ReLength = "re_length",
        /// Its loft and lie are set, nothing else.
        LoftLie = "loft_lie",
    }
);

impl WorkKind {
    /// The words a person reads.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Build => "build",
            Self::Regrip => "new grip",
            Self::Reshaft => "new shaft",
            Self::ReLength => "another length",
            Self::LoftLie => "loft and lie only",
        }
    }

    /// Whether a new part of this kind goes into the club.
    #[must_use]
    pub fn takes(self, kind: PartKind) -> bool {
        match self {
            Self::Build => true,
            Self::Reshaft => kind != PartKind::Head,
            Self::Regrip | Self::ReLength => kind == PartKind::Grip,
            Self::LoftLie => false,
        }
    }

    /// Whether what this is measured on lies on the bench by itself in this work: a club that only gets another grip is not taken apart.
    #[must_use]
    pub fn handles(self, characteristic: Characteristic) -> bool {
        match self {
            Self::Build | Self::Reshaft => true,
            Self::Regrip | Self::ReLength => {
                matches!(characteristic, Characteristic::GripMass | Characteristic::TotalMass)
            }
            Self::LoftLie => characteristic == Characteristic::TotalMass,
        }
    }

    /// The usual steps of this work, in order (common practice, no source).
    #[must_use]
    pub fn usual_route(self) -> &'static [Step] {
        match self {
            Self::Build | Self::Reshaft => Step::ALL,
            Self::Regrip => &[Step::Prepare, Step::Grip, Step::Rest, Step::FinalCheck, Step::HandOver],
            Self::ReLength => {
                &[Step::Prepare, Step::Cut, Step::Grip, Step::Rest, Step::Adjust, Step::FinalCheck, Step::HandOver]
            }
            Self::LoftLie => &[Step::Adjust, Step::FinalCheck, Step::HandOver],
        }
    }
}

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
    /// The steps of the work, in order.
    #[must_use]
    pub fn route(&self) -> &[Step] {
        if self.route.is_empty() { self.work.usual_route() } else { &self.route }
    }

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

/// Whether a text is a day, `2026-12-24`, or a day and time, `2026-12-24 17:00`.
#[must_use]
pub fn is_date(text: &str) -> bool {
    let number = |from: usize, to: usize| -> Option<u32> {
        let digits = text.get(from..to)?;
        digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| digits.parse().ok())?
    };
    let shape: String = text.chars().map(|c| if c.is_ascii_digit() { '0' } else { c }).collect();
    let (Some(year), Some(month), Some(day)) = (number(0, 4), number(5, 7), number(8, 10)) else { return false };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    };
    let is_day = (1..=12).contains(&month) && (1..=days).contains(&day);
    match shape.as_str() {
        "0000-00-00" => is_day,
        "0000-00-00 00:00" => is_day && number(11, 13) < Some(24) && number(14, 16) < Some(60),
        _ => false,
    }
}

impl Order {
    /// Sorts orders as they should be worked on: what presses first, then what is due first. A day without a time ends
    /// with the day; words come behind all dates, no promise behind all words.
    #[must_use]
    pub fn turn(&self) -> (Priority, u8, String) {
        let (rank, due) = match self.due.as_deref() {
            Some(due) if is_date(due) => (0, if due.len() == 10 { format!("{due} 24:00") } else { due.to_owned() }),
            Some(_) => (1, String::new()),
            None => (2, String::new()),
        };
        (self.priority, rank, due)
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_days_that_there_are() {
        for good in ["2026-12-24", "2028-02-29", "2000-02-29 00:00", "2026-01-31 23:59"] {
            assert!(is_date(good), "{good}");
        }
        for bad in [
            "2026-02-29",
            "1900-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-04-31",
            "2026-12-24 24:00",
            "2026-12-24T17:00",
            "24.12.2026",
            "soon",
            "2026-12-2é",
            "",
        ] {
            assert!(!is_date(bad), "{bad}");
        }
    }

    #[test]
    fn what_presses_comes_first_then_what_is_due_first() {
        let order = |priority, due: Option<&str>| Order {
            number: due.unwrap_or("none").to_owned(),
            player: None,
            due: due.map(str::to_owned),
            priority,
            clubs: Vec::new(),
        };
        let mut orders = [
            order(Priority::Low, Some("2026-01-01")),
            order(Priority::Normal, None),
            order(Priority::Normal, Some("before the ferry")),
            order(Priority::Normal, Some("2026-12-24")),
            order(Priority::Normal, Some("2026-12-24 17:00")),
            order(Priority::Urgent, None),
        ];
        orders.sort_by_key(Order::turn);
        let dues: Vec<&str> = orders.iter().map(|order| order.number.as_str()).collect();
        assert_eq!(dues, ["none", "2026-12-24 17:00", "2026-12-24", "before the ferry", "none", "2026-01-01"]);
    }
}
