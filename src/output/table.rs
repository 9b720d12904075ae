//! Records as a table after RFC 4180, without formula injection.

use super::record::{HandOverOverrideView, Record};

const HEAD: [&str; 23] = [
    "order",
    "club",
    "name",
    "state",
    "characteristic",
    "stage",
    "value",
    "unit",
    "text",
    "u",
    "target",
    "lower",
    "upper",
    "deviation",
    "verdict",
    "method",
    "captured_at",
    "event",
    "voided",
    "by",
    "hand_over",
    "cure_overridden",
    "not_played_before",
];

/// All entries of all records, one a line, CRLF ends, header first.
///
/// # Errors
/// When a value cannot be written as text, which does not happen.
pub fn csv(records: &[Record]) -> Result<String, csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(HEAD)?;
    for record in records {
        let decided: Vec<String> = record.hand_over_overrides.iter().map(HandOverOverrideView::text).collect();
        let bond = record.adhesive.as_ref();
        let cure = bond.and_then(|bond| bond.overridden.as_ref());
        let cure = cure.map(|over| format!("{}: {}", over.name, over.why)).unwrap_or_default();
        let not_before = bond.map(|bond| bond.not_before.as_str()).unwrap_or_default();
        for entry in &record.entries {
            let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
            writer.write_record([
                &text(&record.order),
                &text(&record.club),
                &text(&record.name),
                record.state,
                entry.characteristic,
                entry.stage,
                &entry.value.to_string(),
                entry.unit,
                &text(&entry.text),
                &entry.u.to_string(),
                &number(entry.target),
                &number(entry.lower),
                &number(entry.upper),
                &number(entry.deviation),
                entry.verdict,
                &text(&entry.instrument),
                &entry.captured_at,
                &entry.event,
                &entry.voided.to_string(),
                &text(entry.by.as_deref().unwrap_or_default()),
                &text(&decided.join("; ")),
                &text(&cure),
                not_before,
            ])?;
        }
    }
    finished(writer)
}

/// Rows as they are, CRLF ends; texts of people go through [`text`] first.
///
/// # Errors
/// When a value cannot be written as text, which does not happen.
pub(super) fn lines(rows: &[Vec<String>]) -> Result<String, csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    rows.iter().try_for_each(|row| writer.write_record(row))?;
    finished(writer)
}

fn finished(writer: csv::Writer<Vec<u8>>) -> Result<String, csv::Error> {
    let bytes = writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Text that a spreadsheet would take for a formula gets an apostrophe (OWASP, "CSV injection"). Numbers are written by type, not through here.
pub(super) fn text(written: &str) -> String {
    let begins = written.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']);
    if begins { format!("'{written}") } else { written.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_never_a_formula() {
        assert_eq!(text("=1+1"), "'=1+1");
        assert_eq!(text("@x"), "'@x");
        assert_eq!(text("driver, \"long\""), "driver, \"long\"");
    }
}
