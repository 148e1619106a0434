//! Times of readings that strictly increase, whatever the wall clock does.
//!
//! A host without a clock chip steps its wall clock when the network comes, a summer-time bug or a
//! person steps it back. No reading is dropped or reordered for that: the boot clock carries the
//! stamps on until the wall clock is ahead again, and the step is told once. Which time was right
//! is not decided here.

use crate::reading::Moment;

/// 9999-12-31T23:59:59.999Z: the last time that RFC 3339 can write. A wall clock beyond it is taken
/// as this, which leaves room for stamps to go on increasing.
const LATEST_MS: i64 = 253_402_300_799_999;

const NS_PER_MS: u64 = 1_000_000;

/// Stamps the readings of one probe.
#[derive(Clone, Copy, Debug, Default)]
pub struct Timeline {
    last_ms: Option<i64>,
    last_boot_ns: Option<u64>,
}

impl Timeline {
    /// A timeline whose stamps come after the last one that the log holds, if any.
    #[must_use]
    pub fn starting_after(last_wall_ms: Option<i64>) -> Self {
        Self {
            last_ms: last_wall_ms,
            last_boot_ns: None,
        }
    }

    /// The wall time to keep for a reading of this moment, in milliseconds: later than any before.
    ///
    /// It is the wall clock's, as long as that is later than the last stamp; a step forward is
    /// followed at once. Where it is not later (a step back, or two lines in one millisecond), it
    /// is the last stamp and half of the boot time that has passed since the last reading, 1 ms at
    /// least: stamps go on at half speed until the wall clock has caught up. Only a log whose last
    /// stamp is the end of all time (`i64::MAX`) gets the same stamp again.
    pub fn stamp(&mut self, moment: Moment) -> i64 {
        let wall_ms = moment.wall_ms.min(LATEST_MS);
        let stamp = match self.last_ms {
            Some(last_ms) if wall_ms <= last_ms => last_ms.saturating_add(self.half_step(moment)),
            _ => wall_ms,
        };
        self.last_ms = Some(stamp);
        self.last_boot_ns = Some(moment.boot_ns);
        stamp
    }

    fn half_step(&self, moment: Moment) -> i64 {
        let since = self.last_boot_ns.unwrap_or(moment.boot_ns);
        let half_ms = moment.boot_ns.saturating_sub(since) / NS_PER_MS / 2;
        i64::try_from(half_ms).unwrap_or(i64::MAX).max(1)
    }
}

/// Wall and boot clock may disagree by this much before it is called a step.
const STEP_MS: u64 = 500;

/// The fastest that a kernel slews the wall clock, parts per million: adjtimex(2), `freq`.
const SLEW_PPM: u64 = 500;

/// Notices steps of the wall clock; one for the whole service.
#[derive(Clone, Copy, Debug, Default)]
pub struct StepWatch {
    last: Option<Moment>,
}

/// The wall clock was set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockStep {
    /// What the wall clock would show now without the step, milliseconds since 1970.
    pub before_ms: i64,
    /// What it shows now, milliseconds since 1970.
    pub after_ms: i64,
    /// By how much it was moved, milliseconds; positive for forward.
    pub by_ms: i64,
}

impl StepWatch {
    /// Compares how far both clocks went on since the last observation. A step is more than 500 ms,
    /// and more than a kernel may have slewed the wall clock meanwhile. A moment from before the
    /// last one (a line that waited) is compared backwards.
    pub fn observe(&mut self, moment: Moment) -> Option<ClockStep> {
        let last = self.last.replace(moment)?;
        let elapsed_ms = moment.boot_ns.abs_diff(last.boot_ns) / NS_PER_MS;
        let elapsed = i64::try_from(elapsed_ms).unwrap_or(i64::MAX);
        let before_ms = if moment.boot_ns >= last.boot_ns {
            last.wall_ms.saturating_add(elapsed)
        } else {
            last.wall_ms.saturating_sub(elapsed)
        };
        let by_ms = moment.wall_ms.saturating_sub(before_ms);
        let allowed = STEP_MS
            + elapsed_ms / 1_000_000 * SLEW_PPM
            + elapsed_ms % 1_000_000 * SLEW_PPM / 1_000_000;
        (by_ms.unsigned_abs() > allowed).then_some(ClockStep {
            before_ms,
            after_ms: moment.wall_ms,
            by_ms,
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(wall_ms: i64, boot_ms: u64) -> Moment {
        Moment {
            wall_ms,
            boot_ns: boot_ms * NS_PER_MS,
        }
    }

    fn stamps(mut timeline: Timeline, moments: &[(i64, u64)]) -> Vec<i64> {
        let stamp = |(wall, boot): &(i64, u64)| timeline.stamp(at(*wall, *boot));
        moments.iter().map(stamp).collect()
    }

    #[test]
    fn the_wall_clock_is_kept_as_long_as_it_goes_on() {
        let moments = [
            (1000, 5),
            (2000, 1005),
            (9_000_000, 2005),
            (9_000_001, 2006),
        ];
        let expected = [1000, 2000, 9_000_000, 9_000_001];
        assert_eq!(stamps(Timeline::default(), &moments), expected);
    }

    #[test]
    fn lines_in_the_same_millisecond_are_a_millisecond_apart() {
        let moments = [(1000, 0), (1000, 0), (1000, 0), (1001, 1), (1010, 10)];
        let expected = [1000, 1001, 1002, 1003, 1010];
        assert_eq!(stamps(Timeline::default(), &moments), expected);
    }

    #[test]
    fn after_a_step_back_stamps_go_on_at_half_speed_until_the_clock_has_caught_up() {
        // The clock is set back by 3 s after the first second.
        let moments = [
            (10_000, 0),
            (8_000, 1_000),
            (9_000, 2_000),
            (10_000, 3_000),
            (11_000, 4_000),
            (12_000, 5_000),
            (13_000, 6_000),
        ];
        let expected = [10_000, 10_500, 11_000, 11_500, 12_000, 12_500, 13_000];
        assert_eq!(stamps(Timeline::default(), &moments), expected);
    }

    #[test]
    fn a_restart_goes_on_after_the_last_logged_stamp() {
        let timeline = Timeline::starting_after(Some(5_000));
        let moments = [(4_000, 70_000), (4_500, 70_500), (6_000, 72_000)];
        assert_eq!(stamps(timeline, &moments), [5_001, 5_251, 6_000]);
        assert_eq!(stamps(Timeline::starting_after(None), &[(7, 1)]), [7]);
    }

    #[test]
    fn a_wall_clock_beyond_all_dates_leaves_room() {
        let moments = [(i64::MAX, 0), (i64::MAX, 10), (1_000, 20)];
        let expected = [LATEST_MS, LATEST_MS + 5, LATEST_MS + 10];
        assert_eq!(stamps(Timeline::default(), &moments), expected);
    }

    #[test]
    fn steps_are_told_once_with_both_times() {
        let mut watch = StepWatch::default();
        assert_eq!(watch.observe(at(10_000, 0)), None);
        assert_eq!(watch.observe(at(11_400, 1_000)), None);
        let step = watch.observe(at(9_400, 2_000)).unwrap();
        assert_eq!(
            step,
            ClockStep {
                before_ms: 12_400,
                after_ms: 9_400,
                by_ms: -3_000,
            }
        );
        assert_eq!(watch.observe(at(10_400, 3_000)), None);
        let forward = watch.observe(at(12_000, 4_000)).unwrap();
        assert_eq!(forward.by_ms, 600);
    }

    #[test]
    fn a_moment_that_comes_late_is_no_step() {
        let mut watch = StepWatch::default();
        watch.observe(at(12_000, 2_000));
        assert_eq!(watch.observe(at(10_500, 500)), None);
        assert_eq!(watch.observe(at(13_000, 3_000)), None);
        let step = watch.observe(at(10_500, 2_500)).unwrap();
        assert_eq!((step.before_ms, step.by_ms), (12_500, -2_000));
    }

    #[test]
    fn a_slewed_clock_is_no_step_however_long_nobody_looked() {
        // A night of 8 h at 400 ppm: 11.5 s apart, and still never set.
        let night_ms = 8 * 3_600_000;
        let mut watch = StepWatch::default();
        watch.observe(at(0, 0));
        let slewed = i64::try_from(night_ms).unwrap() * 1_000_400 / 1_000_000;
        assert_eq!(watch.observe(at(slewed, night_ms)), None);
    }

    fn any_moment() -> impl Strategy<Value = Moment> {
        let wall = prop_oneof![any::<i64>(), 0..2000_i64, Just(i64::MIN), Just(i64::MAX)];
        let boot = prop_oneof![any::<u64>(), 0..2_000_000_000_u64, Just(u64::MAX)];
        (wall, boot).prop_map(|(wall_ms, boot_ns)| Moment { wall_ms, boot_ns })
    }

    proptest! {
        #[test]
        fn stamps_strictly_increase(
            last in proptest::option::of(i64::MIN..LATEST_MS),
            moments in proptest::collection::vec(any_moment(), 1..60),
        ) {
            let mut timeline = Timeline::starting_after(last);
            let mut before = last;
            for moment in moments {
                let stamp = timeline.stamp(moment);
                prop_assert!(before.is_none_or(|before| stamp > before));
                before = Some(stamp);
            }
        }

        #[test]
        fn any_moments_are_observed(
            moments in proptest::collection::vec(any_moment(), 1..20),
        ) {
            let mut watch = StepWatch::default();
            for moment in moments {
                if let Some(step) = watch.observe(moment) {
                    prop_assert!(step.by_ms.unsigned_abs() > STEP_MS);
                    prop_assert_eq!(step.after_ms, moment.wall_ms);
                }
            }
        }
    }
}
