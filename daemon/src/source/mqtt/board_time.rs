//! When a line was measured, by the board's own clock, and whether that can be believed.
//!
//! A believed time moves both clocks of a line's moment back by how old the line is: wall clock and
//! boot clock stay together, so durations and stamps tell the same story, and the flow sees no step
//! of the host's clock. A time after the line's arrival is none: nothing is measured after it was
//! read, so a board's clock that runs ahead dates its lines by their arrival. What cannot be
//! believed leaves the arrival as it is, told once for each reason, and anew after an hour of good
//! times. Pure: the arrival is handed in.

use crate::clock;
use crate::config::{BoardTime, TimeUnit};
use crate::measure::decode::{Decoder, Line, Slot};
use crate::measure::uncertainty::last_decimal;
use crate::reading::Moment;

const NS_PER_MS: u64 = 1_000_000;

/// Good times for this long end a doubt: the next one is news.
const FORGIVEN_NS: u64 = 3_600_000_000_000;

/// Dates the lines of one board.
#[derive(Debug)]
pub struct BoardClock {
    time: BoardTime,
    within_ms: i64,
    decoder: Decoder,
    /// The finest decimal that its times have shown, in their unit.
    finest: f64,
    told: Vec<Doubt>,
    /// Boot time of the first good time after the last doubt.
    good_since_ns: Option<u64>,
}

/// Why a line's own time is not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Doubt {
    /// The line carries none.
    Absent,
    /// What stands there is no number.
    Unreadable,
    /// It is before this program was written: the board's clock was never set.
    NeverSet,
    /// It is too far before the arrival.
    Behind,
    /// It is too far after the arrival.
    Ahead,
}

impl BoardClock {
    /// A clock of which nothing is known yet.
    #[must_use]
    pub fn new(time: BoardTime) -> Self {
        Self {
            within_ms: i64::try_from(time.within.as_millis()).unwrap_or(i64::MAX),
            decoder: Decoder::new(time.format.clone(), vec![time.field.clone()]),
            finest: 1.0,
            told: Vec::new(),
            good_since_ns: None,
            time,
        }
    }

    /// The moment of a line, and what is to be told of it.
    pub fn date(&mut self, line: &[u8], arrival: Moment) -> (Moment, Option<String>) {
        match self.age_ms(line, arrival.wall_ms) {
            Ok(age_ms) => {
                self.forgive(arrival.boot_ns);
                (back_by(arrival, age_ms), None)
            }
            Err(None) => (arrival, None),
            Err(Some((doubt, by_ms))) => (arrival, self.tell(doubt, by_ms)),
        }
    }

    /// How old the line is, 0 or more; else what is wrong with its time, and by how much it is off.
    /// No time is wanted of what is no line of numbers.
    fn age_ms(&mut self, line: &[u8], arrival_ms: i64) -> Result<u64, Option<(Doubt, i64)>> {
        let doubt = |doubt| Err(Some((doubt, 0)));
        let number = match (self.decoder.decode(line), self.decoder.slots().first()) {
            (Line::Remark | Line::Garbage, _) => return Err(None),
            (_, Some(Slot::Number(number))) => *number,
            (_, Some(Slot::Unreadable)) => return doubt(Doubt::Unreadable),
            _ => return doubt(Doubt::Absent),
        };
        if !clock::is_plausible(self.time.unit.in_ms(number)) {
            return doubt(Doubt::NeverSet);
        }
        let age_ms = arrival_ms.saturating_sub(self.middle_ms(number));
        if age_ms > self.within_ms {
            return Err(Some((Doubt::Behind, age_ms)));
        }
        if age_ms < -self.within_ms {
            return Err(Some((Doubt::Ahead, age_ms)));
        }
        Ok(u64::try_from(age_ms).unwrap_or(0))
    }

    /// A number stands for a whole step of its last decimal, which boards cut off: the middle of it is
    /// the best guess. A board that sends 5.25 has that decimal at 5.5 too.
    fn middle_ms(&mut self, number: f64) -> i64 {
        self.finest = self.finest.min(last_decimal(number));
        // Half a millisecond is less than a moment says.
        let half_ms = self.time.unit.in_ms(self.finest) / 2;
        self.time.unit.in_ms(number).saturating_add(half_ms)
    }

    fn forgive(&mut self, now_ns: u64) {
        let since_ns = *self.good_since_ns.get_or_insert(now_ns);
        if now_ns.saturating_sub(since_ns) >= FORGIVEN_NS {
            self.told.clear();
        }
    }

    fn tell(&mut self, doubt: Doubt, by_ms: i64) -> Option<String> {
        self.good_since_ns = None;
        if self.told.contains(&doubt) {
            return None;
        }
        self.told.push(doubt);
        let field = &self.time.field;
        let what = match doubt {
            Doubt::Absent => format!("a line without `{field}`"),
            Doubt::Unreadable => format!("a line whose `{field}` is no number"),
            Doubt::NeverSet => {
                format!("`{field}` shows a clock that was never set, or counts in another unit")
            }
            Doubt::Behind => format!("`{field}` is {} behind this host's clock", span(by_ms)),
            Doubt::Ahead => format!("`{field}` is {} ahead of this host's clock", span(by_ms)),
        };
        Some(format!(
            "{what}; such lines are dated by their arrival; see `time_field` and `time_unit`, and \
             both clocks"
        ))
    }
}

impl TimeUnit {
    /// A number of these in milliseconds, to the nearest; the ends of what can be written where it
    /// is beyond.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a float's cast stops at the ends, which no plausible time is near"
    )]
    fn in_ms(self, number: f64) -> i64 {
        let milliseconds = match self {
            Self::Millisecond => number,
            Self::Second => number * 1000.0,
        };
        milliseconds.round() as i64
    }
}

/// Both clocks by the same, and none to before the host's start.
fn back_by(arrival: Moment, age_ms: u64) -> Moment {
    let age_ms = age_ms.min(arrival.boot_ns / NS_PER_MS);
    Moment {
        wall_ms: arrival.wall_ms.saturating_sub_unsigned(age_ms),
        boot_ns: arrival.boot_ns - age_ms * NS_PER_MS,
    }
}

/// A span in the largest unit that it fills.
fn span(by_ms: i64) -> String {
    let seconds = by_ms.unsigned_abs() / 1000;
    match seconds {
        0..120 => format!("{seconds} s"),
        120..7_200 => format!("{} min", seconds / 60),
        7_200..172_800 => format!("{} h", seconds / 3_600),
        _ => format!("{} d", seconds / 86_400),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::decode::Format;
    use crate::measure::timeline::StepWatch;
    use proptest::prelude::*;
    use std::time::Duration;

    const ARRIVAL: Moment = Moment {
        wall_ms: 1_795_573_447_123,
        boot_ns: 3_600_000_000_000,
    };

    fn clock(format: Format, unit: TimeUnit) -> BoardClock {
        BoardClock::new(BoardTime {
            field: "t".to_owned(),
            unit,
            format,
            within: Duration::from_secs(5),
        })
    }

    /// By how many milliseconds both clocks were moved back.
    fn moved(clock: &mut BoardClock, line: &str) -> (i64, u64, Option<String>) {
        let (at, told) = clock.date(line.as_bytes(), ARRIVAL);
        let boot_ns = ARRIVAL.boot_ns - at.boot_ns;
        (ARRIVAL.wall_ms - at.wall_ms, boot_ns / 1_000_000, told)
    }

    #[test]
    fn a_believed_time_moves_both_clocks_back_together() {
        let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
        assert_eq!(moved(&mut pairs, "a0=5 t=1795573446873"), (250, 250, None));
        assert_eq!(
            moved(&mut pairs, "t=1795573442123 a0=5"),
            (5000, 5000, None)
        );
        let mut json = clock(Format::Json, TimeUnit::Second);
        let line = r#"{"a0":5,"t":1795573446.873}"#;
        assert_eq!(moved(&mut json, line), (250, 250, None));
    }

    #[test]
    fn a_cut_off_decimal_is_taken_for_the_middle_of_its_step() {
        let mut seconds = clock(Format::Pairs, TimeUnit::Second);
        // It arrives 123 ms into the second that it names.
        assert_eq!(moved(&mut seconds, "t=1795573447"), (0, 0, None));
        assert_eq!(moved(&mut seconds, "t=1795573446"), (623, 623, None));
        assert_eq!(moved(&mut seconds, "t=1795573446.8"), (273, 273, None));
        assert_eq!(moved(&mut seconds, "t=1795573446"), (1073, 1073, None));
        assert_eq!(moved(&mut seconds, "t=1795573446.873"), (250, 250, None));
    }

    #[test]
    fn a_doubt_is_told_again_after_an_hour_of_good_times() {
        const SECOND: u64 = 1_000_000_000;
        let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
        let told = |clock: &mut BoardClock, line: &str, second: u64| {
            let boot_ns = ARRIVAL.boot_ns + second * SECOND;
            let arrival = Moment { boot_ns, ..ARRIVAL };
            clock.date(line.as_bytes(), arrival).1.is_some()
        };
        let good = "t=1795573447000";
        assert!(told(&mut pairs, "t=never", 0));
        assert!(!told(&mut pairs, good, 1));
        assert!(!told(&mut pairs, "t=never", 1800));
        assert!(!told(&mut pairs, good, 1801));
        assert!(!told(&mut pairs, good, 5400));
        assert!(!told(&mut pairs, "t=never", 5400), "an hour less a second");
        assert!(!told(&mut pairs, good, 5401));
        assert!(!told(&mut pairs, good, 9001));
        assert!(told(&mut pairs, "t=never", 9002));
    }

    #[test]
    fn nothing_is_measured_after_it_was_read() {
        let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
        assert_eq!(moved(&mut pairs, "t=1795573447124"), (0, 0, None));
        assert_eq!(moved(&mut pairs, "t=1795573452123"), (0, 0, None));
    }

    #[test]
    fn what_cannot_be_believed_is_told_once_for_each_reason() {
        let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
        let ending = "; such lines are dated by their arrival; see `time_field` and `time_unit`, \
                      and both clocks";
        for (line, told) in [
            (
                "a0=5 t=1795573442122",
                "`t` is 5 s behind this host's clock",
            ),
            ("a0=5 t=1795569847123", ""),
            (
                "a0=5 t=1795573500000",
                "`t` is 52 s ahead of this host's clock",
            ),
            (
                "a0=5 t=1795573446",
                "`t` shows a clock that was never set, or counts in another unit",
            ),
            ("a0=5 t=now", "a line whose `t` is no number"),
            ("a0=5", "a line without `t`"),
            ("a0=5", ""),
            ("a0=5 t=1e300", ""),
            ("# board attic", ""),
            ("garbage", ""),
        ] {
            let expected = (!told.is_empty()).then(|| format!("{told}{ending}"));
            assert_eq!(moved(&mut pairs, line), (0, 0, expected), "{line}");
        }
        assert_eq!(moved(&mut pairs, "t=1795573447000").0, 123, "good again");
    }

    #[test]
    fn a_host_that_was_just_started_has_no_time_before_its_start() {
        let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
        let arrival = Moment {
            boot_ns: 7 * NS_PER_MS + 5,
            ..ARRIVAL
        };
        let (at, _) = pairs.date(b"t=1795573446873", arrival);
        assert_eq!((ARRIVAL.wall_ms - at.wall_ms, at.boot_ns), (7, 5));
    }

    #[test]
    fn spans_are_told_in_their_largest_unit() {
        let spans = [119_999, -120_000, 7_200_000, 172_800_000].map(span);
        assert_eq!(spans, ["119 s", "2 min", "2 h", "2 d"]);
    }

    #[test]
    fn lines_that_are_late_by_seconds_are_no_step_of_the_hosts_clock() {
        let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
        let mut steps = StepWatch::default();
        assert_eq!(steps.observe(ARRIVAL), None);
        let (late, _) = pairs.date(b"t=1795573443123", ARRIVAL);
        assert_eq!(steps.observe(late), None);
        assert_eq!(steps.observe(ARRIVAL), None);
    }

    proptest! {
        #[test]
        fn a_line_is_never_later_than_its_arrival_nor_older_than_believed(
            number in prop_oneof![proptest::num::f64::ANY, 1.795e12..1.796e12_f64],
            boot_ns in any::<u64>(),
        ) {
            let mut pairs = clock(Format::Pairs, TimeUnit::Millisecond);
            let arrival = Moment { boot_ns, ..ARRIVAL };
            let (at, _) = pairs.date(format!("t={number}").as_bytes(), arrival);
            prop_assert!(at.wall_ms <= arrival.wall_ms && at.boot_ns <= arrival.boot_ns);
            prop_assert!(arrival.wall_ms - at.wall_ms <= 5000);
        }
    }
}
