//! Times as people read them, in the time zone of the workshop. What is kept, published and exchanged stays in UTC.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::journal::event::parse_rfc3339;

/// A time to the minute with the zone's usual letters: `2026-11-26 20:51 CET`. `at_us` is in microseconds since 1970 UTC.
#[must_use]
pub fn minute(at_us: i64, zone: &TimeZone) -> String {
    shown(at_us, zone, "%Y-%m-%d %H:%M %Z")
}

/// The same of a time in RFC 3339; any other text stays as it is.
#[must_use]
pub fn minute_of(rfc3339: &str, zone: &TimeZone) -> String {
    parse_rfc3339(rfc3339).map_or_else(|| rfc3339.to_owned(), |at_us| minute(at_us, zone))
}

/// The time of day of a time in RFC 3339 with the zone's usual letters: `20:51:32 CET`; dashes for any other text.
#[must_use]
pub fn second_of(rfc3339: &str, zone: &TimeZone) -> String {
    parse_rfc3339(rfc3339).map_or_else(|| "--:--:--".to_owned(), |at_us| shown(at_us, zone, "%H:%M:%S %Z"))
}

/// A time to the minute without its zone, where that stands beside it: `2026-11-26 20:51`.
#[must_use]
pub fn bare_minute(at_us: i64, zone: &TimeZone) -> String {
    shown(at_us, zone, "%Y-%m-%d %H:%M")
}

/// The letters of the zone at a time: `CET`.
#[must_use]
pub fn letters(at_us: i64, zone: &TimeZone) -> String {
    shown(at_us, zone, "%Z")
}

/// The day: `2026-11-26`.
#[must_use]
pub fn day(at_us: i64, zone: &TimeZone) -> String {
    shown(at_us, zone, "%Y-%m-%d")
}

/// A time as a person gives it, in microseconds since 1970 UTC: RFC 3339, or a day of the workshop, of which it is the
/// beginning, or the `end`.
#[must_use]
pub fn given(text: &str, end: bool, zone: &TimeZone) -> Option<i64> {
    if let Some(at_us) = parse_rfc3339(text) {
        return Some(at_us);
    }
    let day: Date = text.parse().ok().filter(|_| text.len() == "2026-11-26".len())?;
    let day = if end { day.tomorrow().ok()? } else { day };
    Some(day.to_zoned(zone.clone()).ok()?.timestamp().as_microsecond())
}

fn shown(at_us: i64, zone: &TimeZone, format: &str) -> String {
    let at = Timestamp::from_microsecond(at_us).unwrap_or(Timestamp::UNIX_EPOCH);
    at.to_zoned(zone.clone()).strftime(format).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::event::rfc3339;

    #[test]
    fn times_are_those_of_the_workshops_wall() {
        // Central Europe is an hour ahead of UTC in winter, two in summer (Directive 2000/84/EC: from the last Sunday of
        // March to that of October).
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let shown = |at: &str| minute_of(at, &zone);
        assert_eq!(shown("2026-11-26T23:51:32.123456Z"), "2026-11-27 00:51 CET");
        assert_eq!(shown("2026-07-26T19:51:32Z"), "2026-07-26 21:51 CEST");
        assert_eq!(shown("2026-10-25T00:30:00Z"), "2026-10-25 02:30 CEST");
        assert_eq!(shown("2026-10-25T01:30:00Z"), "2026-10-25 02:30 CET");
        assert_eq!(shown("soon"), "soon");
        assert_eq!(second_of("2026-11-26T23:51:32.123456Z", &zone), "00:51:32 CET");
        assert_eq!(second_of("soon", &zone), "--:--:--");
        let given = |text: &str, end| given(text, end, &zone).map(rfc3339);
        assert_eq!(given("2026-11-26", false).as_deref(), Some("2026-11-25T23:00:00Z"));
        // The day that summer time ends has 25 hours.
        assert_eq!(given("2026-10-25", false).as_deref(), Some("2026-10-24T22:00:00Z"));
        assert_eq!(given("2026-10-25", true).as_deref(), Some("2026-10-25T23:00:00Z"));
        assert_eq!(given("2026-11-26T14:30:00Z", true).as_deref(), Some("2026-11-26T14:30:00Z"));
        assert_eq!((given("yesterday", false), given("2026-13-01", false)), (None, None));
        assert_eq!(minute_of("2026-11-26T19:51:32Z", &TimeZone::UTC), "2026-11-26 19:51 UTC");
        let at_us = parse_rfc3339("2026-11-26T23:51:32Z").unwrap();
        assert_eq!(
            (bare_minute(at_us, &zone), letters(at_us, &zone), day(at_us, &zone)),
            ("2026-11-27 00:51".into(), "CET".into(), "2026-11-27".into())
        );
    }
}
