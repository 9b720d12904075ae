//! Signs of the live view on a terminal, and which of the page's words belong to a phase.

/// The key of what to do in a phase when the daemon sends no message of its own.
#[must_use]
pub fn phase_advice(phase: &str) -> Option<&'static str> {
    match phase {
        "settling" => Some("do.let_go"),
        "held" => Some("do.lift_off"),
        "disturbed" => Some("do.hand_away"),
        "unknown" => Some("do.clear_once"),
        "lost" => Some("do.not_connected"),
        _ => None,
    }
}

/// Sign of a phase; settling fills it.
#[must_use]
pub fn phase_glyph(code: &str, progress: Option<f64>) -> &'static str {
    match code {
        "settling" => match progress.unwrap_or(0.0) {
            p if p < 0.375 => "◔",
            p if p < 0.625 => "◑",
            _ => "◕",
        },
        "held" => "●",
        "disturbed" => "≈",
        "unknown" => "?",
        "lost" => "╱",
        _ => "○",
    }
}

/// Sign of a verdict, a small picture of the deviation scale: two posts and a mark left of, between or right of them.
#[must_use]
pub fn verdict_glyph(verdict: &str) -> &'static str {
    match verdict {
        "under" => "◂┃ ┃ ",
        "within" => " ┃●┃ ",
        "over" => " ┃ ┃▸",
        _ => "──",
    }
}

/// How soon a value of a reading that has several is named, the smallest first: what is out of its limits, what is within, what has none.
#[must_use]
pub fn turn_of(verdict: Option<&str>) -> u8 {
    match verdict {
        Some("over" | "under") => 0,
        Some("within") => 1,
        _ => 2,
    }
}

/// Number and unit of `+0.1 g`; a text without a unit (`D3.1`, `1° open`) stays whole.
#[must_use]
pub fn split_unit(text: &str) -> (&str, &str) {
    let Some((last, digit)) = text.char_indices().rfind(|(_, sign)| sign.is_ascii_digit()) else { return (text, "") };
    let (number, rest) = text.split_at(last + digit.len_utf8());
    let unit = rest.trim();
    let is_unit = (1..=8).contains(&unit.chars().count()) && !unit.contains(char::is_whitespace);
    if is_unit { (number, unit) } else { (text, "") }
}
