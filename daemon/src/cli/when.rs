//! Moments as a person writes them on the command line, and as results show them.

use super::Failure;
use crate::clock;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

/// Now, to the millisecond. A clock set beyond all dates is taken for the last of them.
#[must_use]
pub fn now() -> Timestamp {
    Timestamp::from_millisecond(clock::now().wall_ms).unwrap_or(Timestamp::MAX)
}

/// A moment: `2026-10-25T02:30:00+02:00`, `2026-10-25 02:30` in the host's zone, or a time before
/// `now`: `8h ago`, `-8h`.
///
/// # Errors
/// What cannot be understood, or a local time that happens twice or never.
pub fn parse(text: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, Failure> {
    let text = text.trim();
    if text == "now" {
        return Ok(now);
    }
    if let Some(before) = before_now(text) {
        return now.checked_sub(before).map_err(|_| not_a_moment(text));
    }
    if let Ok(moment) = text.parse::<Timestamp>() {
        return Ok(moment);
    }
    let civil: DateTime = text.parse().map_err(|_| not_a_moment(text))?;
    local(civil, zone)
}

/// `8h ago` and `-8h`, both 8 h.
fn before_now(text: &str) -> Option<SignedDuration> {
    let span = text
        .strip_suffix("ago")
        .or_else(|| text.strip_prefix('-'))?
        .trim();
    span.parse::<SignedDuration>().ok()
}

fn local(civil: DateTime, zone: &TimeZone) -> Result<Timestamp, Failure> {
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    if !ambiguous.is_ambiguous() {
        return ambiguous
            .compatible()
            .map_err(|_| not_a_moment(&civil.to_string()));
    }
    let candidates: Vec<String> = [ambiguous.earlier(), ambiguous.later()]
        .into_iter()
        .flatten()
        .map(|moment| rfc3339(moment.as_millisecond(), zone))
        .collect();
    Err(Failure::new(format!(
        "local time `{civil}` happens twice or never, because the clocks change; write {}",
        candidates.join(" or ")
    )))
}

fn not_a_moment(text: &str) -> Failure {
    Failure::new(format!(
        "`{text}` is no moment; write 2026-11-25T02:14:07+01:00, \"2026-11-25 02:14\" (local time) or -8h"
    ))
}

/// A time span such as `10m` or `1h`, in whole milliseconds.
///
/// # Errors
/// What cannot be understood, or is under a millisecond.
pub fn parse_span(text: &str) -> Result<i64, String> {
    let span: SignedDuration = text
        .parse()
        .map_err(|_| format!("`{text}` is no time span; write 30s, 10m or 1h"))?;
    match i64::try_from(span.as_millis()) {
        Ok(ms) if ms > 0 => Ok(ms),
        _ => Err(format!("`{text}` is too short or too long for a time span")),
    }
}

/// RFC 3339 in a zone, with its offset and milliseconds: `2026-10-25T02:30:00.000+02:00`.
#[must_use]
pub fn rfc3339(ms: i64, zone: &TimeZone) -> String {
    let moment = Timestamp::from_millisecond(ms).unwrap_or(if ms < 0 {
        Timestamp::MIN
    } else {
        Timestamp::MAX
    });
    let local = moment.to_zoned_datetime(zone.clone());
    local.strftime("%Y-%m-%dT%H:%M:%S.%3f%:z").to_string()
}

/// RFC 3339 in UTC with milliseconds: `2026-10-25T00:30:00.000Z`.
#[must_use]
pub fn rfc3339_utc(ms: i64) -> String {
    rfc3339(ms, &TimeZone::UTC).replace("+00:00", "Z")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn berlin() -> TimeZone {
        TimeZone::get("Europe/Berlin").unwrap()
    }

    fn at(text: &str) -> Result<String, String> {
        let now: Timestamp = "2026-11-25T03:00:00Z".parse().unwrap();
        match parse(text, now, &berlin()) {
            Ok(moment) => Ok(moment.to_string()),
            Err(failure) => Err(failure.to_string()),
        }
    }

    #[test]
    fn moments_as_people_write_them() {
        assert_eq!(
            at("2026-10-25T02:30:00+02:00").unwrap(),
            "2026-10-25T00:30:00Z"
        );
        assert_eq!(
            at("2026-10-25T02:30:00+01:00").unwrap(),
            "2026-10-25T01:30:00Z"
        );
        assert_eq!(at("2026-11-25 02:14").unwrap(), "2026-11-25T01:14:00Z");
        assert_eq!(at("2026-11-25").unwrap(), "2026-11-24T23:00:00Z");
        assert_eq!(at("-8h").unwrap(), "2026-11-24T19:00:00Z");
        assert_eq!(at("90m ago").unwrap(), "2026-11-25T01:30:00Z");
    }

    #[test]
    fn a_doubled_or_missing_hour_is_said_with_both_readings() {
        insta::assert_snapshot!(at("2026-10-25 02:30").unwrap_err(), @"local time `2026-10-25T02:30:00` happens twice or never, because the clocks change; write 2026-10-25T02:30:00.000+02:00 or 2026-10-25T02:30:00.000+01:00");
        assert!(
            at("2026-03-29 02:30")
                .unwrap_err()
                .contains("happens twice or never")
        );
    }

    #[test]
    fn the_offset_follows_the_clock_change() {
        let before = "2026-10-25T00:59:59Z".parse::<Timestamp>().unwrap();
        let shown = [0, 1000].map(|ms| rfc3339(before.as_millisecond() + ms, &berlin()));
        assert_eq!(
            shown,
            [
                "2026-10-25T02:59:59.000+02:00",
                "2026-10-25T02:00:00.000+01:00"
            ]
        );
    }

    #[test]
    fn nonsense_is_explained() {
        insta::assert_snapshot!(at("yesterday").unwrap_err(), @r#"`yesterday` is no moment; write 2026-11-25T02:14:07+01:00, "2026-11-25 02:14" (local time) or -8h"#);
        assert!(parse_span("0s").is_err());
        assert_eq!(parse_span("10m").unwrap(), 600_000);
    }
}
