//! The shape of a description in TOML. `config/formats/README.md` explains each key to its writer.
//!
//! In: TOML text. Out: plain structs, still with their lines. Absent: any check beyond the kind of a value;
//! that is `compile`'s.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

use super::meaning::Meanings;
use super::registers::{NumberOrSetting, RegistersFile};
use super::{Mode, Parity};

/// A whole file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FormatFile {
    pub(crate) description: String,
    pub(crate) mode: Mode,
    pub(crate) line: Spanned<LineFile>,
    pub(crate) request: Option<Spanned<RequestFile>>,
    #[serde(default)]
    pub(crate) settings: BTreeMap<String, SettingFile>,
    pub(crate) framing: Spanned<FramingFile>,
    pub(crate) layout: Vec<Spanned<LayoutFile>>,
    /// Whether identification may answer with this family.
    #[serde(default = "yes")]
    pub(crate) identify: bool,
}

fn yes() -> bool {
    true
}

/// `[line]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct LineFile {
    pub(crate) baud: u32,
    pub(crate) data_bits: u8,
    pub(crate) parity: Parity,
    pub(crate) stop_bits: u8,
}

/// `[request]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RequestFile {
    pub(crate) text: Option<String>,
    pub(crate) bytes: Option<HexBytes>,
    pub(crate) registers: Option<RegistersFile>,
    pub(crate) every_ms: u32,
    pub(crate) timeout_ms: u32,
    pub(crate) answer: Option<HexBytes>,
    pub(crate) then: Option<HexBytes>,
}

/// `[settings.NAME]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SettingFile {
    pub(crate) default: String,
    #[serde(default)]
    pub(crate) allowed: Vec<String>,
    /// Any whole number of a range, instead of a list. Identification leaves it at its default.
    pub(crate) numbers: Option<Numbers>,
    /// Whether identification may assume the default where the bytes do not tell.
    #[serde(default)]
    pub(crate) assumed: bool,
}

impl SettingFile {
    /// Whether the setting can have this value.
    pub(crate) fn takes(&self, value: &str) -> bool {
        let number = || Some((self.numbers?, value.parse::<u32>().ok()?));
        self.allowed.iter().any(|allowed| allowed == value)
            || number().is_some_and(|(numbers, value)| (numbers.least..=numbers.most).contains(&value))
    }

    /// The values it can have, in words.
    pub(crate) fn choices(&self) -> String {
        self.numbers.map_or_else(|| self.allowed.join(", "), |numbers| format!("{} to {}", numbers.least, numbers.most))
    }
}

/// A range of whole numbers: `"1-247"`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub(crate) struct Numbers {
    pub(crate) least: u32,
    pub(crate) most: u32,
}

impl TryFrom<String> for Numbers {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let ends = text.split_once('-').and_then(|(least, most)| Some((least.parse().ok()?, most.parse().ok()?)));
        let numbers = ends.filter(|(least, most)| least <= most).map(|(least, most)| Self { least, most });
        numbers.ok_or_else(|| format!("`{text}` is no range of numbers; one is written like \"1-247\""))
    }
}

/// `[framing]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FramingFile {
    #[serde(default)]
    pub(crate) start: Vec<String>,
    pub(crate) start_bytes: Option<HexBytes>,
    pub(crate) end: Option<String>,
    pub(crate) tail: Option<u8>,
    #[serde(default)]
    pub(crate) tail_when: BTreeMap<String, String>,
    pub(crate) length: Option<usize>,
    pub(crate) length_at: Option<LengthAtFile>,
    #[serde(default)]
    pub(crate) between: String,
    #[serde(default)]
    pub(crate) followed_by_start: bool,
    pub(crate) longest: usize,
    pub(crate) idle_ms: u32,
}

/// `length_at = { byte = 2, plus = 5 }`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct LengthAtFile {
    pub(crate) byte: usize,
    pub(crate) plus: usize,
    pub(crate) or: Option<FixedWhenFile>,
}

/// `or = { byte = 1, bit = 7, length = 5 }`: where that bit is set the frame has this length.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FixedWhenFile {
    pub(crate) byte: usize,
    pub(crate) bit: u8,
    pub(crate) length: usize,
}

/// `[[layout]]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct LayoutFile {
    /// For the reader of the file only.
    #[serde(rename = "name")]
    pub(crate) _name: String,
    #[serde(default)]
    pub(crate) says: Meanings,
    #[serde(default)]
    pub(crate) when: BTreeMap<String, String>,
    #[serde(default)]
    pub(crate) value_from_channels: bool,
    pub(crate) fields: Vec<Spanned<FieldFile>>,
}

/// One field: the key that names its kind, and keys that say more.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct FieldFile {
    // kinds
    pub(crate) text: Option<String>,
    pub(crate) bytes: Option<HexBytes>,
    pub(crate) letters: Option<BTreeMap<String, Meanings>>,
    pub(crate) sign: Option<String>,
    pub(crate) number: Option<Width>,
    pub(crate) unit: Option<Width>,
    pub(crate) skip: Option<Width>,
    pub(crate) bits: Option<usize>,
    pub(crate) bcd: Option<usize>,
    pub(crate) integer: Option<usize>,
    pub(crate) float: Option<usize>,
    pub(crate) decimals: Option<usize>,
    pub(crate) power_of_ten: Option<usize>,
    pub(crate) name: Option<Width>,
    pub(crate) check: Option<Method>,
    pub(crate) repeat: Option<Vec<Vec<FieldFile>>>,
    pub(crate) symbology: Option<BTreeMap<String, String>>,
    pub(crate) gs1: Option<Width>,
    pub(crate) code_text: Option<Width>,
    // keys that say more
    pub(crate) width: Option<usize>,
    pub(crate) align: Option<Align>,
    pub(crate) pad: Option<Pad>,
    pub(crate) minus: Option<SignPlace>,
    pub(crate) point: Option<Point>,
    pub(crate) point_needed: Option<bool>,
    pub(crate) places: Option<Width>,
    pub(crate) brackets: Option<bool>,
    pub(crate) reversed: Option<bool>,
    pub(crate) exponent: Option<bool>,
    pub(crate) base: Option<u8>,
    pub(crate) composite: Option<bool>,
    pub(crate) instead: Option<BTreeMap<String, Meanings>>,
    pub(crate) sentinels: Option<BTreeMap<String, Meanings>>,
    pub(crate) to: Option<String>,
    pub(crate) times: Option<u64>,
    pub(crate) below: Option<u64>,
    pub(crate) implied: Option<NumberOrSetting>,
    pub(crate) blank: Option<Meanings>,
    pub(crate) present: Option<Meanings>,
    pub(crate) also: Option<BTreeMap<String, Meanings>>,
    pub(crate) of: Option<String>,
    pub(crate) parts: Option<Vec<BitPartFile>>,
    pub(crate) order: Option<String>,
    pub(crate) signed: Option<bool>,
    pub(crate) highest: Option<i16>,
    pub(crate) from: Option<usize>,
    pub(crate) less: Option<usize>,
    #[serde(rename = "as")]
    pub(crate) written_as: Option<WrittenAs>,
    pub(crate) separator: Option<String>,
    pub(crate) count: Option<Width>,
}

/// A part of a status byte.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BitPartFile {
    pub(crate) at: Width,
    pub(crate) must: Option<u32>,
    pub(crate) is: Option<Vec<Meanings>>,
    pub(crate) decimals: Option<Vec<i16>>,
    pub(crate) digit: Option<bool>,
    pub(crate) any: Option<bool>,
}

/// Where padding stands in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Align {
    Left,
    Right,
    Any,
}

/// What fills a number's column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Pad {
    Space,
    Zero,
}

/// Where the sign stands inside a number's column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum SignPlace {
    None,
    Adjacent,
    Apart,
    Either,
    After,
}

/// The decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(crate) enum Point {
    #[serde(rename = ".")]
    Dot,
    #[serde(rename = ",")]
    Comma,
    #[serde(rename = "either")]
    Either,
}

/// How a check is computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(crate) enum Method {
    #[serde(rename = "sum8")]
    Sum8,
    #[serde(rename = "sum8 negated")]
    Sum8Negated,
    #[serde(rename = "sum7 negated")]
    Sum7Negated,
    #[serde(rename = "xor")]
    Xor,
    #[serde(rename = "crc16 modbus")]
    Crc16Modbus,
}

/// How a number that is not plain text stands in the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(crate) enum WrittenAs {
    #[serde(rename = "byte")]
    Byte,
    #[serde(rename = "hex")]
    Hex,
    #[serde(rename = "digits")]
    Digits,
    #[serde(rename = "low first")]
    LowFirst,
    #[serde(rename = "high first")]
    HighFirst,
}

/// A width or a range of widths: `8`, `"4-12"`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "NumberOrRange")]
pub(crate) struct Width {
    pub(crate) least: usize,
    pub(crate) most: usize,
}

#[derive(Deserialize)]
#[serde(untagged, expecting = "expected a number such as 8, or a range such as \"4-12\"")]
enum NumberOrRange {
    Number(usize),
    Range(String),
}

impl TryFrom<NumberOrRange> for Width {
    type Error = String;

    fn try_from(given: NumberOrRange) -> Result<Self, String> {
        let (least, most) = match &given {
            NumberOrRange::Number(width) => (*width, *width),
            NumberOrRange::Range(text) => {
                let ends =
                    text.split_once('-').and_then(|(least, most)| Some((least.parse().ok()?, most.parse().ok()?)));
                ends.ok_or_else(|| format!("`{text}` is no range; a range is written like \"4-12\""))?
            }
        };
        if least > most || most > 4096 {
            return Err(format!("{least} to {most} is no range; the first is the smaller, the second at most 4096"));
        }
        Ok(Self { least, most })
    }
}

/// Bytes written in hexadecimal: `"ff 03"`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub(crate) struct HexBytes(pub(crate) Vec<u8>);

impl TryFrom<String> for HexBytes {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let pairs = text.split_whitespace().map(|pair| match pair.len() {
            2 => u8::from_str_radix(pair, 16).map_err(|_| ()),
            _ => Err(()),
        });
        pairs
            .collect::<Result<_, _>>()
            .map(Self)
            .map_err(|()| format!("`{text}` is not bytes; write them like \"ff 03\""))
    }
}
