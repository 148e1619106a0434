//! `Retry-After`: how long a server asks to be left alone. Pure: what time it is, is an argument.

use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use std::time::Duration;

/// No server's wish holds readings back for longer than this: a wrong clock on the other side must
/// not silence an outlet for the night.
pub const LONGEST: Duration = Duration::from_secs(600);

/// The three forms of a date that a recipient must accept. Source: RFC 9110, 5.6.7.
const DATES: [&str; 3] = [
    "%a, %d %b %Y %H:%M:%S GMT",
    "%A, %d-%b-%y %H:%M:%S GMT",
    "%a %b %e %H:%M:%S %Y",
];

/// The wait named by a `Retry-After` header: seconds or a date (RFC 9110, 10.2.3), at most
/// [`LONGEST`]. A date is compared with the answer's own `Date` header where there is one, because
/// the host's clock may be wrong; `now_ms` is that clock. `None` for what names no time to come.
#[must_use]
pub fn wait(retry_after: &str, date: Option<&str>, now_ms: i64) -> Option<Duration> {
    let text = retry_after.trim();
    let wait = if !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit()) {
        // More digits than a number holds is a long wait all the same.
        Duration::from_secs(text.parse().unwrap_or(u64::MAX))
    } else {
        let from_ms = date.and_then(date_ms).unwrap_or(now_ms);
        let wait_ms = date_ms(text)?.saturating_sub(from_ms);
        Duration::from_millis(u64::try_from(wait_ms).ok()?)
    };
    (!wait.is_zero()).then_some(wait.min(LONGEST))
}

fn date_ms(text: &str) -> Option<i64> {
    let parse = |format| DateTime::strptime(format, text.trim()).ok();
    let civil = DATES.into_iter().find_map(parse)?;
    let timestamp = TimeZone::UTC.to_timestamp(civil).ok()?;
    Some(timestamp.as_millisecond())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Source: RFC 9110, 5.6.7: three spellings of 1994-11-06T08:49:37Z.
    const PUBLISHED: [&str; 3] = [
        "Sun, 06 Nov 1994 08:49:37 GMT",
        "Sunday, 06-Nov-94 08:49:37 GMT",
        "Sun Nov  6 08:49:37 1994",
    ];
    const PUBLISHED_MS: i64 = 784_111_777_000;

    fn seconds(text: &str, date: Option<&str>, now_ms: i64) -> Option<u64> {
        wait(text, date, now_ms).map(|wait| wait.as_secs())
    }

    #[test]
    fn published_dates_are_read_in_their_three_forms() {
        for text in PUBLISHED {
            assert_eq!(date_ms(text), Some(PUBLISHED_MS), "{text}");
            assert_eq!(
                seconds(text, None, PUBLISHED_MS - 90_000),
                Some(90),
                "{text}"
            );
        }
    }

    #[test]
    fn seconds_are_read_and_bounded() {
        // 120 is the example of RFC 9110, 10.2.3.
        assert_eq!(seconds("120", None, 0), Some(120));
        assert_eq!(seconds(" 5 ", None, 0), Some(5));
        assert_eq!(seconds("601", None, 0), Some(600));
        assert_eq!(seconds("99999999999999999999999999", None, 0), Some(600));
        assert_eq!(seconds(PUBLISHED[0], None, 0), Some(600));
    }

    #[test]
    fn the_servers_own_clock_counts_where_it_tells_it() {
        let date = Some("Sun, 06 Nov 1994 08:49:30 GMT");
        assert_eq!(seconds(PUBLISHED[0], date, 0), Some(7));
        assert_eq!(
            seconds(PUBLISHED[0], Some("noon"), PUBLISHED_MS - 3000),
            Some(3)
        );
    }

    #[test]
    fn what_names_no_time_to_come_is_no_wait() {
        for text in ["", "0", "-1", "1.5", "soon", "Sun, 06 Nov 1994", "5 s"] {
            assert_eq!(wait(text, None, 0), None, "{text}");
        }
        assert_eq!(wait(PUBLISHED[0], None, PUBLISHED_MS), None);
        assert_eq!(wait(PUBLISHED[0], None, PUBLISHED_MS + 1000), None);
    }

    proptest! {
        #[test]
        fn nothing_makes_it_panic_or_wait_longer_than_allowed(
            text in any::<String>(),
            date in prop::option::of(any::<String>()),
            now_ms in any::<i64>(),
        ) {
            let wait = wait(&text, date.as_deref(), now_ms);
            prop_assert!(wait.is_none_or(|wait| wait <= LONGEST));
        }
    }
}
