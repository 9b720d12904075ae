//! Turns the description of one field into a working field.
//!
//! In: a field as read and the values of the settings. Out: a [`Field`], or the key that is wrong.

use std::collections::BTreeMap;

use super::check::Check;
use super::compile::Settings;
use super::decimal::Decimal;
use super::field::{BitPart, BitRole, ByteClass, Destination, Field, Quantity, Repeat, WordTable, Words};
use super::file::{Align, BitPartFile, FieldFile, Method, Pad, Point, SignPlace, Width, WrittenAs};
use super::keys::{Wrong, check_keys, kind};
use super::meaning::{Meaning, Meanings, UNIT_SPELLINGS};
use super::number::NumberSpec;

/// The bytes of a text: each character up to U+00FF is the byte of that number.
pub(crate) fn byte_text(key: &str, text: &str) -> Result<Vec<u8>, Wrong> {
    let bytes = text.chars().map(|character| u8::try_from(u32::from(character)));
    bytes
        .collect::<Result<_, _>>()
        .map_err(|_| Wrong::new(key, format!("`{text}`"), "characters up to U+00FF, one byte each"))
}

/// Checks that keys belong to the kind, then builds the field.
pub(crate) fn compile_field(file: &FieldFile, settings: &Settings) -> Result<Field, Wrong> {
    let kind = kind(file)?;
    check_keys(file, kind)?;
    let align = file.align.unwrap_or(Align::Any);
    let missing = || Wrong::new(kind, "without its value", "the value this kind of field needs");
    Ok(match kind {
        "text" => Field::Literal(byte_text(kind, file.text.as_ref().ok_or_else(missing)?)?),
        "bytes" => Field::Literal(file.bytes.as_ref().ok_or_else(missing)?.0.clone()),
        "letters" => {
            let table = word_table(kind, file.letters.as_ref().ok_or_else(missing)?, &[])?;
            Field::Words(Words { table, width: file.width, align, is_unit: false })
        }
        "sign" => Field::Words(sign(file.sign.as_ref().ok_or_else(missing)?)?),
        "unit" => unit(file, file.unit.ok_or_else(missing)?)?,
        "number" => number(file, file.number.ok_or_else(missing)?, settings)?,
        "skip" => Field::Skip { width: file.skip.ok_or_else(missing)?, class: class(file, " ")? },
        "bits" => bits(file, file.bits.ok_or_else(missing)?)?,
        "bcd" => {
            let low_first = match file.order.as_deref() {
                Some("low first") => true,
                Some("high first") => false,
                other => return Err(Wrong::new("order", format!("{other:?}"), "\"low first\", \"high first\"")),
            };
            Field::Bcd { width: file.bcd.ok_or_else(missing)?, low_first, quantity: quantity(file, settings)? }
        }
        "integer" => {
            let places = places(file, file.integer.ok_or_else(missing)?, settings)?;
            Field::Integer { places, signed: file.signed.unwrap_or(false), quantity: quantity(file, settings)? }
        }
        "float" => {
            let width = file.float.ok_or_else(missing)?;
            if width != 4 && width != 8 {
                return Err(Wrong::new("float", width, "4, 8"));
            }
            Field::Float { places: places(file, width, settings)?, quantity: quantity(file, settings)? }
        }
        "decimals" => Field::Decimals {
            width: file.decimals.ok_or_else(missing)?,
            written_as: file.written_as.unwrap_or(WrittenAs::Digits),
            highest: file.highest.unwrap_or(6),
        },
        "power_of_ten" => match file.power_of_ten {
            Some(1) => Field::PowerOfTen,
            other => return Err(Wrong::new(kind, format!("{other:?}"), "1 (one signed byte)")),
        },
        "name" => Field::Name { width: file.name.ok_or_else(missing)?, class: class(file, "A-Za-z0-9_")? },
        "check" => check(file, file.check.ok_or_else(missing)?)?,
        "repeat" => {
            let groups = file.repeat.iter().flatten();
            let groups = groups.map(|group| group.iter().map(|field| compile_field(field, settings)).collect());
            Field::Repeat(Repeat {
                groups: groups.collect::<Result<_, _>>()?,
                separator: byte_text("separator", file.separator.as_deref().unwrap_or_default())?,
                count: file.count.unwrap_or(Width { least: 1, most: 8 }),
            })
        }
        "symbology" => Field::Symbology(
            file.symbology
                .iter()
                .flatten()
                .map(|(key, name)| Ok((byte_text(kind, key)?, name.clone())))
                .collect::<Result<_, _>>()?,
        ),
        "gs1" => Field::Gs1(file.gs1.ok_or_else(missing)?),
        _ => Field::CodeText { width: file.code_text.ok_or_else(missing)?, class: class(file, " -~")? },
    })
}

/// A table of words, the longest first, with meanings added to each.
fn word_table(key: &str, words: &BTreeMap<String, Meanings>, more: &[Meaning]) -> Result<WordTable, Wrong> {
    let mut table = Vec::new();
    for (word, meanings) in words {
        let meanings = meanings.0.iter().chain(more).copied().collect();
        table.push((byte_text(key, word)?, meanings));
    }
    table.sort_by_key(|(word, _): &(Vec<u8>, _)| std::cmp::Reverse(word.len()));
    Ok(table)
}

fn sign(allowed: &str) -> Result<Words, Wrong> {
    let meaning = |character| match character {
        '-' => Ok((b"-".to_vec(), vec![Meaning::Negative])),
        '+' => Ok((b"+".to_vec(), vec![Meaning::Positive])),
        ' ' => Ok((b" ".to_vec(), vec![Meaning::Positive])),
        other => Err(Wrong::new("sign", format!("`{other}`"), "of `+`, `-` and space; `letters` for others")),
    };
    let table = allowed.chars().map(meaning).collect::<Result<_, _>>()?;
    Ok(Words { table, width: None, align: Align::Any, is_unit: false })
}

fn unit(file: &FieldFile, width: Width) -> Result<Field, Wrong> {
    let present = file.present.clone().unwrap_or_default().0;
    let mut words = BTreeMap::new();
    for (spelling, meaning) in UNIT_SPELLINGS {
        let capitalised =
            spelling.get(..1).unwrap_or_default().to_ascii_uppercase() + spelling.get(1..).unwrap_or_default();
        for word in [(*spelling).to_owned(), spelling.to_ascii_uppercase(), capitalised] {
            words.insert(word, Meanings(vec![*meaning]));
        }
    }
    words.extend(file.also.clone().unwrap_or_default());
    let mut table = word_table("also", &words, &present)?;
    let padded = width.least == width.most;
    table.retain(|(word, _)| word.len() <= width.most && (padded || word.len() >= width.least));
    if let Some(blank) = &file.blank {
        table.push((Vec::new(), blank.0.clone()));
    }
    let align = file.align.unwrap_or(Align::Any);
    Ok(Field::Words(Words { table, width: padded.then_some(width.most), align, is_unit: true }))
}

fn number(file: &FieldFile, width: Width, settings: &Settings) -> Result<Field, Wrong> {
    let base = file.base.unwrap_or(10);
    if base != 10 && base != 16 {
        return Err(Wrong::new("base", base, "10, 16"));
    }
    let reversed = file.reversed.unwrap_or(false);
    if width.most == 0 || width.most > 32 {
        return Err(Wrong::new("number", width.most, "1 to 32 characters"));
    }
    let spec = NumberSpec {
        pad: file.pad.unwrap_or(Pad::Space),
        align: file.align.unwrap_or(Align::Right),
        minus: file.minus.unwrap_or(SignPlace::None),
        point: file.point.unwrap_or(Point::Dot),
        point_needed: file.point_needed.unwrap_or(false),
        places: file.places.unwrap_or(Width { least: 0, most: 9 }),
        brackets: file.brackets.unwrap_or(false),
        reversed,
        exponent: file.exponent.unwrap_or(false),
        base,
        composite: file.composite.unwrap_or(false),
    };
    let mut instead = word_table("instead", &file.instead.clone().unwrap_or_default(), &[])?;
    if let Some(blank) = &file.blank {
        instead.push((Vec::new(), blank.0.clone()));
    }
    Ok(Field::Number { width, spec, instead, quantity: quantity(file, settings)? })
}

fn quantity(file: &FieldFile, settings: &Settings) -> Result<Quantity, Wrong> {
    let to = match file.to.as_deref() {
        None | Some("value") => Destination::Value,
        Some("nowhere") => Destination::Nowhere,
        Some("channel") => Destination::Channel(None),
        Some(other) => match other.strip_prefix("channel ") {
            Some(name) => Destination::Channel(Some(byte_text("to", name)?)),
            None => return Err(Wrong::new("to", format!("`{other}`"), "value, nowhere, channel, channel NAME")),
        },
    };
    let mut sentinels = Vec::new();
    for (text, meanings) in file.sentinels.iter().flatten() {
        let number =
            sentinel(text).ok_or_else(|| Wrong::new("sentinels", format!("`{text}`"), "numbers such as 9.9E37"))?;
        sentinels.push((number, meanings.0.clone()));
    }
    let implied = file.implied.as_ref().map_or(Ok(0), |implied| implied.value("implied", settings, -9, 9))?;
    let implied = i16::try_from(implied).map_err(|_| Wrong::new("implied", implied, "-9 to 9"))?;
    Ok(Quantity { to, times: file.times.unwrap_or(1), below: file.below, implied, sentinels })
}

fn sentinel(text: &str) -> Option<Decimal> {
    let (number, power) = text.split_once('E').unwrap_or((text, "0"));
    let power: i16 = power.parse().ok()?;
    Some(Decimal::from_plain(number)?.shifted(power.checked_neg()?)?.normalised())
}

fn check(file: &FieldFile, method: Method) -> Result<Field, Wrong> {
    let written_as = file.written_as.unwrap_or(WrittenAs::Byte);
    let two_bytes = method == Method::Crc16Modbus;
    let fits = match written_as {
        WrittenAs::Byte | WrittenAs::Digits => !two_bytes,
        WrittenAs::LowFirst | WrittenAs::HighFirst => two_bytes,
        WrittenAs::Hex => true,
    };
    if !fits {
        return Err(Wrong::new(
            "as",
            format!("{written_as:?}"),
            if two_bytes { "hex, low first, high first" } else { "byte, hex, digits" },
        ));
    }
    Ok(Field::Check(Check { method, from: file.from.unwrap_or(0), less: file.less.unwrap_or(0), written_as }))
}

fn bits(file: &FieldFile, width: usize) -> Result<Field, Wrong> {
    if !(1..=4).contains(&width) {
        return Err(Wrong::new("bits", width, "1 to 4 bytes"));
    }
    let all = u32::MAX >> (32 - 8 * width);
    let mut listed = 0;
    let mut parts = Vec::new();
    for part in file.parts.iter().flatten() {
        let part = bit_part(part)?;
        let own = part.mask << part.shift;
        if listed & own != 0 || own & !all != 0 {
            return Err(Wrong::new("parts", "bits listed twice or outside the bytes", "each bit once"));
        }
        listed |= own;
        parts.push(part);
    }
    if listed != all {
        // What is not described must be zero: an unknown flag is not ignored in silence.
        parts.push(BitPart { shift: 0, mask: all & !listed, role: BitRole::Must(0) });
    }
    Ok(Field::Bits { width, parts })
}

fn bit_part(file: &BitPartFile) -> Result<BitPart, Wrong> {
    let Width { least, most } = file.at;
    let bounds = (u32::try_from(least), u32::try_from(most));
    let (shift, count) = match bounds {
        (Ok(least), Ok(most)) if most < 32 => (least, most - least + 1),
        _ => return Err(Wrong::new("at", most, "bits 0 to 31")),
    };
    let role = match (file.must, &file.is, &file.decimals, file.digit, file.any) {
        (Some(must), None, None, None, None) => BitRole::Must(must),
        (None, Some(list), None, None, None) => BitRole::Is(list.iter().map(|meanings| meanings.0.clone()).collect()),
        (None, None, Some(list), None, None) => BitRole::Decimals(list.clone()),
        (None, None, None, Some(true), None) => BitRole::Digit,
        (None, None, None, None, Some(true)) => BitRole::Any,
        _ => {
            return Err(Wrong::new(
                "parts",
                "a part with none or several roles",
                "one of must, is, decimals, digit, any",
            ));
        }
    };
    Ok(BitPart { shift, mask: u32::MAX >> (32 - count), role })
}

/// Significance of each byte, from letters: `A` is the highest, so `BA` is the low byte first.
fn places(file: &FieldFile, width: usize, settings: &Settings) -> Result<Vec<u8>, Wrong> {
    let given = file.order.as_deref().unwrap_or("ABCDEFGH".get(..width).unwrap_or_default());
    let order = match given.strip_prefix('$') {
        Some(setting) => settings.get(setting).map_or(given, String::as_str),
        None => given,
    };
    let wrong = || {
        Wrong::new(
            "order",
            format!("`{given}`"),
            "each of the letters A to H once for the bytes there are, or $SETTING",
        )
    };
    let highest = u8::try_from(width).ok().filter(|width| (1..=8).contains(width)).ok_or_else(wrong)?;
    let places = order.bytes().map(|letter| letter.checked_sub(b'A').and_then(|rank| (highest - 1).checked_sub(rank)));
    let places: Vec<u8> = places.collect::<Option<_>>().ok_or_else(wrong)?;
    let mut sorted = places.clone();
    sorted.sort_unstable();
    if sorted.into_iter().eq(0..highest) { Ok(places) } else { Err(wrong()) }
}

/// A set of bytes from text such as `A-Z0-9_-`; a minus at an end stands for itself.
fn class(file: &FieldFile, default: &str) -> Result<ByteClass, Wrong> {
    let bytes = byte_text("of", file.of.as_deref().unwrap_or(default))?;
    let mut class = ByteClass::default();
    let mut rest = bytes.as_slice();
    loop {
        rest = match rest {
            [] => return Ok(class),
            [first, b'-', last, after @ ..] => {
                if first > last {
                    return Err(Wrong::new("of", "a range that runs backwards", "the smaller byte first"));
                }
                (*first..=*last).for_each(|byte| class.add(byte));
                after
            }
            [byte, after @ ..] => {
                class.add(*byte);
                after
            }
        };
    }
}
