//! The words a description may use for what a letter, a bit or a column says.

use serde::Deserialize;

use super::frame::{NetGross, UnitCode};

/// What a part of a frame says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Meaning {
    /// The load has settled.
    Stable,
    /// The load moves.
    Moving,
    /// Over the range: no number.
    Over,
    /// Under the range: no number.
    Under,
    /// Neither over nor under.
    InRange,
    /// A fault or a refusal of the instrument: no number.
    Error,
    /// Net, gross or tare.
    Mass(NetGross),
    /// The number is below zero.
    Negative,
    /// The number is not below zero.
    Positive,
    /// The unit of the number.
    Unit(UnitCode),
    /// Pounds and ounces in one number, a colon between.
    PoundsOunces,
    /// An empty place where a channel's number would stand: the frame has no value if it is the first.
    NoNumber,
    /// Known, and without consequence.
    Nothing,
    /// Never sent by a sound instrument: refuse the frame.
    NotAllowed,
}

/// All words, for messages.
const WORDS: &str = "stable, moving, over, under, in range, error, net, gross, tare, negative, positive, zero, no number, nothing, \
                     not allowed, g, kg, oz, lb, lb:oz, gr, ct, pcs, deg, Cel, count";

impl Meaning {
    fn from_word(word: &str) -> Result<Self, String> {
        Ok(match word {
            "stable" => Self::Stable,
            "moving" => Self::Moving,
            "over" => Self::Over,
            "under" => Self::Under,
            "in range" => Self::InRange,
            "error" => Self::Error,
            "net" => Self::Mass(NetGross::Net),
            "gross" => Self::Mass(NetGross::Gross),
            "tare" => Self::Mass(NetGross::Tare),
            "negative" => Self::Negative,
            "positive" => Self::Positive,
            "no number" => Self::NoNumber,
            "zero" | "nothing" | "" => Self::Nothing,
            "not allowed" => Self::NotAllowed,
            "g" => Self::Unit(UnitCode::Gram),
            "kg" => Self::Unit(UnitCode::Kilogram),
            "oz" => Self::Unit(UnitCode::Ounce),
            "lb" => Self::Unit(UnitCode::Pound),
            "lb:oz" => Self::PoundsOunces,
            "gr" => Self::Unit(UnitCode::Grain),
            "ct" => Self::Unit(UnitCode::Carat),
            "pcs" => Self::Unit(UnitCode::Pieces),
            "deg" => Self::Unit(UnitCode::Degree),
            "Cel" => Self::Unit(UnitCode::Celsius),
            "count" => Self::Unit(UnitCode::Count),
            other => return Err(format!("`{other}` is no meaning; allowed: {WORDS}")),
        })
    }
}

/// One word or several: `"stable"`, `["net", "moving"]`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(try_from = "OneOrMany")]
pub(crate) struct Meanings(pub(crate) Vec<Meaning>);

#[derive(Deserialize)]
#[serde(untagged, expecting = "expected a meaning such as \"stable\", or a list of them")]
enum OneOrMany {
    One(String),
    Many(Vec<String>),
}

impl TryFrom<OneOrMany> for Meanings {
    type Error = String;

    fn try_from(words: OneOrMany) -> Result<Self, String> {
        let words = match words {
            OneOrMany::One(word) => vec![word],
            OneOrMany::Many(words) => words,
        };
        words.iter().map(|word| Meaning::from_word(word)).collect::<Result<_, _>>().map(Self)
    }
}

/// The usual spellings of units, compared without regard to case. Common practice, no source, but for `gr`, `lb`
/// and `oz`, which are the customary abbreviations of NIST SP 811 appendix B.8. Troy and other ounces are
/// deliberately absent: they are refused, never taken for the avoirdupois one.
pub(crate) const UNIT_SPELLINGS: &[(&str, Meaning)] = &[
    ("g", Meaning::Unit(UnitCode::Gram)),
    ("kg", Meaning::Unit(UnitCode::Kilogram)),
    ("oz", Meaning::Unit(UnitCode::Ounce)),
    ("lb", Meaning::Unit(UnitCode::Pound)),
    ("lbs", Meaning::Unit(UnitCode::Pound)),
    ("lb:oz", Meaning::PoundsOunces),
    ("gr", Meaning::Unit(UnitCode::Grain)),
    ("gn", Meaning::Unit(UnitCode::Grain)),
    ("grn", Meaning::Unit(UnitCode::Grain)),
    ("ct", Meaning::Unit(UnitCode::Carat)),
    ("pcs", Meaning::Unit(UnitCode::Pieces)),
    ("pc", Meaning::Unit(UnitCode::Pieces)),
    ("deg", Meaning::Unit(UnitCode::Degree)),
];
