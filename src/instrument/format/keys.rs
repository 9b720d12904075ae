//! Which keys belong to which kind of field.
//!
//! In: a field as read. Out: its kind, or the key that has no place there. A key that a kind would not read is a
//! mistake of the writer and never passed over in silence.

use super::file::FieldFile;

/// A key that is wrong, what it holds and what it may hold.
pub(crate) struct Wrong {
    pub(crate) key: String,
    pub(crate) found: String,
    pub(crate) allowed: String,
}

impl Wrong {
    pub(crate) fn new(key: &str, found: impl ToString, allowed: impl ToString) -> Self {
        Self { key: key.to_owned(), found: found.to_string(), allowed: allowed.to_string() }
    }
}

/// Each kind of field, whether the field has it, and the keys that may stand beside it.
fn kinds(file: &FieldFile) -> [(&'static str, bool, &'static [&'static str]); 19] {
    [
        ("text", file.text.is_some(), &[]),
        ("bytes", file.bytes.is_some(), &[]),
        ("letters", file.letters.is_some(), &["width", "align"]),
        ("sign", file.sign.is_some(), &[]),
        (
            "number",
            file.number.is_some(),
            &[
                "to",
                "times",
                "below",
                "implied",
                "sentinels",
                "pad",
                "align",
                "minus",
                "point",
                "point_needed",
                "places",
                "brackets",
                "reversed",
                "exponent",
                "base",
                "composite",
                "instead",
                "blank",
            ],
        ),
        ("unit", file.unit.is_some(), &["align", "blank", "present", "also"]),
        ("skip", file.skip.is_some(), &["of"]),
        ("bits", file.bits.is_some(), &["parts"]),
        ("bcd", file.bcd.is_some(), &["to", "times", "below", "implied", "sentinels", "order"]),
        ("integer", file.integer.is_some(), &["to", "times", "below", "implied", "sentinels", "order", "signed"]),
        ("float", file.float.is_some(), &["to", "times", "below", "implied", "sentinels", "order"]),
        ("decimals", file.decimals.is_some(), &["as", "highest"]),
        ("power_of_ten", file.power_of_ten.is_some(), &[]),
        ("name", file.name.is_some(), &["of"]),
        ("check", file.check.is_some(), &["from", "less", "as"]),
        ("repeat", file.repeat.is_some(), &["separator", "count"]),
        ("symbology", file.symbology.is_some(), &[]),
        ("gs1", file.gs1.is_some(), &[]),
        ("code_text", file.code_text.is_some(), &["of"]),
    ]
}

/// The kind of a field; none or two are wrong.
pub(crate) fn kind(file: &FieldFile) -> Result<&'static str, Wrong> {
    let kinds = kinds(file);
    let mut present = kinds.iter().filter(|(_, present, _)| *present).map(|(name, ..)| *name);
    let all = || kinds.map(|(name, ..)| name).join(", ");
    let kind = present.next().ok_or_else(|| Wrong::new("field", "of no kind", format!("one of {}", all())))?;
    match present.next() {
        Some(other) => Err(Wrong::new(kind, format!("beside `{other}`"), "one kind a field")),
        None => Ok(kind),
    }
}

/// Checks that the field has no key which its kind does not read.
pub(crate) fn check_keys(file: &FieldFile, kind: &str) -> Result<(), Wrong> {
    let given = [
        ("width", file.width.is_some()),
        ("align", file.align.is_some()),
        ("pad", file.pad.is_some()),
        ("minus", file.minus.is_some()),
        ("point", file.point.is_some()),
        ("point_needed", file.point_needed.is_some()),
        ("places", file.places.is_some()),
        ("brackets", file.brackets.is_some()),
        ("reversed", file.reversed.is_some()),
        ("exponent", file.exponent.is_some()),
        ("base", file.base.is_some()),
        ("composite", file.composite.is_some()),
        ("instead", file.instead.is_some()),
        ("sentinels", file.sentinels.is_some()),
        ("to", file.to.is_some()),
        ("times", file.times.is_some()),
        ("below", file.below.is_some()),
        ("implied", file.implied.is_some()),
        ("blank", file.blank.is_some()),
        ("present", file.present.is_some()),
        ("also", file.also.is_some()),
        ("of", file.of.is_some()),
        ("parts", file.parts.is_some()),
        ("order", file.order.is_some()),
        ("signed", file.signed.is_some()),
        ("highest", file.highest.is_some()),
        ("from", file.from.is_some()),
        ("less", file.less.is_some()),
        ("as", file.written_as.is_some()),
        ("separator", file.separator.is_some()),
        ("count", file.count.is_some()),
    ];
    let kinds = kinds(file);
    let allowed = kinds.iter().find(|(name, ..)| *name == kind).map_or(&[][..], |(_, _, keys)| *keys);
    match given.iter().find(|(key, given)| *given && !allowed.contains(key)) {
        Some((key, _)) => {
            let keys = if allowed.is_empty() { "no other key".to_owned() } else { allowed.join(", ") };
            Err(Wrong::new(key, format!("beside `{kind}`"), keys))
        }
        None => Ok(()),
    }
}
