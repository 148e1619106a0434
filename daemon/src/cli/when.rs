//! Moments as a person writes them on the command line, and as results show them.

use super::Failure;
use crate::clock;
use crate::config;
use jiff::Timestamp;
use jiff::civil::{DateTime, Time};
use jiff::tz::{AmbiguousOffset, TimeZone};
use std::sync::LazyLock;
use std::time::Duration;

/// Now, to the millisecond. A clock set beyond all dates is taken for the last of them.
#[must_use]
pub fn now() -> Timestamp {
    Timestamp::from_millisecond(clock::now().wall_ms).unwrap_or(Timestamp::MAX)
}

/// A moment: `2026-10-25T02:30:00+02:00`, `2026-10-25 02:30` or (today) `02:30` in the zone, or a
/// time before `now`: `8h ago`, `-8h`.
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
    let date_and_time = text.parse().ok();
    let civil = date_and_time.or_else(|| clock(text, now, zone));
    local(civil.ok_or_else(|| not_a_moment(text))?, zone)
}

/// `8h ago`, `-8h` and `-1d12h`: the configuration's durations.
fn before_now(text: &str) -> Option<Duration> {
    let span = text
        .strip_suffix("ago")
        .or_else(|| text.strip_prefix('-'))?;
    config::duration(span).ok()
}

/// `22:30`, today.
fn clock(text: &str, now: Timestamp, zone: &TimeZone) -> Option<DateTime> {
    // A date alone could be read as a time as well.
    let time: Time = text.contains(':').then(|| text.parse().ok())??;
    Some(now.to_zoned_datetime(zone.clone()).date().to_datetime(time))
}

fn local(civil: DateTime, zone: &TimeZone) -> Result<Timestamp, Failure> {
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    let why = match ambiguous.offset() {
        AmbiguousOffset::Unambiguous { .. } => {
            let moment = ambiguous.compatible();
            return moment.map_err(|_| not_a_moment(&civil.to_string()));
        }
        AmbiguousOffset::Gap { .. } => "never happens, because the clocks go forward over it",
        AmbiguousOffset::Fold { .. } => "happens twice, because the clocks go back over it",
    };
    let candidates: Vec<String> = [ambiguous.earlier(), ambiguous.later()]
        .into_iter()
        .flatten()
        .map(|moment| rfc3339(moment.as_millisecond(), zone))
        .collect();
    Err(Failure::new(format!(
        "local time `{civil}` {why}; write {}",
        candidates.join(" or ")
    )))
}

fn not_a_moment(text: &str) -> Failure {
    Failure::new(format!(
        "`{text}` is no moment; write 2026-11-25T02:14:07+01:00, \"2026-11-25 02:14\" or 02:14 \
         (local time), or -8h"
    ))
}

/// The host's time zone; UTC where it is not known, which is said once.
pub fn zone() -> TimeZone {
    static ZONE: LazyLock<TimeZone> = LazyLock::new(|| {
        TimeZone::try_system().unwrap_or_else(|_| {
            tracing::warn!("{}", unknown_zone(std::env::var("TZ").ok().as_deref()));
            TimeZone::UTC
        })
    });
    ZONE.clone()
}

fn unknown_zone(name: Option<&str>) -> String {
    let what = match name {
        Some(name) => format!("the time zone `{name}` (TZ) is not known"),
        None => "the host's time zone is not known".to_owned(),
    };
    format!("{what}, so local times are in UTC; set TZ to a name such as Europe/Berlin")
}

/// A time span such as `10m`, `2m30s` or `1d`, in whole milliseconds.
///
/// # Errors
/// What cannot be understood, or is under a millisecond.
pub fn parse_span(text: &str) -> Result<i64, String> {
    let span = config::duration(text)
        .map_err(|_| format!("`{text}` is no time span; write 30s, 10m, 2m30s, 1h or 1d"))?;
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
        assert_eq!(at("-1d12h").unwrap(), "2026-11-23T15:00:00Z");
        // It is 04:00 in Berlin.
        assert_eq!(at("02:14").unwrap(), "2026-11-25T01:14:00Z");
        assert_eq!(at("10:00").unwrap(), "2026-11-25T09:00:00Z");
    }

    #[test]
    fn a_doubled_or_missing_hour_is_said_with_both_readings() {
        insta::assert_snapshot!(at("2026-10-25 02:30").unwrap_err(), @"local time `2026-10-25T02:30:00` happens twice, because the clocks go back over it; write 2026-10-25T02:30:00.000+02:00 or 2026-10-25T02:30:00.000+01:00");
        insta::assert_snapshot!(at("2026-03-29 02:30").unwrap_err(), @"local time `2026-03-29T02:30:00` never happens, because the clocks go forward over it; write 2026-03-29T01:30:00.000+01:00 or 2026-03-29T03:30:00.000+02:00");
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
        insta::assert_snapshot!(at("yesterday").unwrap_err(), @r#"`yesterday` is no moment; write 2026-11-25T02:14:07+01:00, "2026-11-25 02:14" or 02:14 (local time), or -8h"#);
        assert!(parse_span("0s").is_err());
        for (text, milliseconds) in [("10m", 600_000), ("1d", 86_400_000), ("2m30s", 150_000)] {
            assert_eq!(parse_span(text).unwrap(), milliseconds, "{text}");
        }
        insta::assert_snapshot!(parse_span("hourly").unwrap_err(), @"`hourly` is no time span; write 30s, 10m, 2m30s, 1h or 1d");
        for text in ["2026", "", "-", "--5h", "25:00", "ago"] {
            assert!(at(text).is_err(), "{text}");
        }
    }

    #[test]
    fn an_unknown_zone_is_named() {
        insta::assert_snapshot!(unknown_zone(Some("Nowhere/None")), @"the time zone `Nowhere/None` (TZ) is not known, so local times are in UTC; set TZ to a name such as Europe/Berlin");
    }
}
