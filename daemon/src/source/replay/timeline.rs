//! When the lines of a recording came, by their `@SECONDS ` prefix or one after the other.
//!
//! Pure: offsets from the recording's start, no clock.

use crate::reading::Moment;
use std::time::Duration;

/// Longest recording: some 31 years, far from where nanoseconds in 64 bits end.
const LONGEST_S: f64 = 1e9;

/// Follows a recording's lines.
#[derive(Clone, Copy, Debug)]
pub struct Timeline {
    every: Duration,
    last: Option<Duration>,
}

impl Timeline {
    /// Lines without a time of their own are `every` apart.
    pub fn new(every: Duration) -> Self {
        Self { every, last: None }
    }

    /// Dates the next line; gives it without its prefix.
    pub fn date<'a>(&mut self, line: &'a [u8]) -> &'a [u8] {
        let (own, text) = match split_prefix(line) {
            Some((offset, text)) => (Some(offset), text),
            None => (None, line),
        };
        let next = self.last.map_or(Duration::ZERO, |last| last + self.every);
        let offset = own.unwrap_or(next.min(Duration::from_secs_f64(LONGEST_S)));
        self.last = Some(offset.max(self.now()));
        text
    }

    /// When the last line came, since the start of the recording. Never goes back.
    pub fn now(&self) -> Duration {
        self.last.unwrap_or_default()
    }

    /// Whether no line was dated yet.
    pub fn is_at_start(&self) -> bool {
        self.last.is_none()
    }
}

/// A moment moved on by an offset, on both clocks.
pub fn later(start: Moment, offset: Duration) -> Moment {
    let ms = i64::try_from(offset.as_millis()).unwrap_or(i64::MAX);
    let ns = u64::try_from(offset.as_nanos()).unwrap_or(u64::MAX);
    Moment {
        wall_ms: start.wall_ms.saturating_add(ms),
        boot_ns: start.boot_ns.saturating_add(ns),
    }
}

/// `@12.5 a0=1` gives 12.5 s and `a0=1`; anything else is no prefix.
fn split_prefix(line: &[u8]) -> Option<(Duration, &[u8])> {
    let rest = line.strip_prefix(b"@")?;
    let end = rest.iter().position(|byte| *byte == b' ')?;
    let (number, text) = (&rest[..end], &rest[end + 1..]);
    let is_decimal = |byte: &u8| byte.is_ascii_digit() || *byte == b'.';
    if !number.iter().all(is_decimal) {
        return None;
    }
    let seconds: f64 = std::str::from_utf8(number).ok()?.parse().ok()?;
    (seconds <= LONGEST_S).then(|| (Duration::from_secs_f64(seconds), text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn decimal_seconds_are_a_prefix_and_nothing_else_is() {
        let good = [
            (&b"@12.5 a0=1"[..], 12_500, &b"a0=1"[..]),
            (b"@0 # remark", 0, b"# remark"),
            (b"@.25 x", 250, b"x"),
            (b"@3.  x", 3000, b" x"),
            (b"@1000000000 x", 1_000_000_000_000, b"x"),
        ];
        for (line, ms, text) in good {
            assert_eq!(split_prefix(line), Some((Duration::from_millis(ms), text)));
        }
        let bad: [&[u8]; 10] = [
            b"a0=1",
            b"@",
            b"@1",
            b"@ x",
            b"@. x",
            b"@-1 x",
            b"@1e3 x",
            b"@inf x",
            b"@1.2.3 x",
            b"@1000000000.1 x",
        ];
        for line in bad {
            assert_eq!(split_prefix(line), None);
        }
    }

    #[test]
    fn lines_follow_at_intervals_and_never_go_back() {
        let mut timeline = Timeline::new(Duration::from_secs(2));
        let lines: [&[u8]; 6] = [b"a", b"b", b"@10 c", b"d", b"@5 e", b"f"];
        let offsets = lines.map(|line| {
            timeline.date(line);
            timeline.now().as_secs()
        });
        assert_eq!(offsets, [0, 2, 10, 12, 12, 14]);
    }

    #[test]
    fn an_offset_moves_both_clocks() {
        let start = Moment {
            wall_ms: 1_000,
            boot_ns: 5,
        };
        let moved = later(start, Duration::from_millis(1_500));
        assert_eq!((moved.wall_ms, moved.boot_ns), (2_500, 1_500_000_005));
        later(start, Duration::MAX);
    }

    proptest! {
        #[test]
        fn any_line_is_dated_and_time_never_goes_back(
            lines in proptest::collection::vec("@?[0-9.e-]{0,12} ?[a-z]{0,3}", 0..20),
            every_ms in any::<u64>(),
        ) {
            let mut timeline = Timeline::new(Duration::from_millis(every_ms));
            for line in lines {
                let before = timeline.now();
                timeline.date(line.as_bytes());
                prop_assert!(timeline.now() >= before);
            }
        }
    }
}
