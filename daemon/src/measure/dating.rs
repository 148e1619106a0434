//! The moment of a line: by the board's own clock where that is known, else by its arrival.
//!
//! Moments of one board strictly increase in boot time and are never later than the arrival; boot
//! and wall time are moved back together. How well a moment is known is a number for the journal: it
//! is not kept with each reading. What every line of a board is late by alike (its length on the
//! wire) cannot be seen, and is neither corrected nor in that number. An adapter's hold is another
//! matter: it is known, so what the delays do not show of it is in both.

use super::board_clock::{BoardClock, Counter};
use super::decode::Slot;
use crate::reading::Moment;
use std::fmt;
use std::time::Duration;

/// Standard uncertainty of an arrival of which nothing more is known, nanoseconds: a USB frame is
/// 1 ms long.
const ASSUMED_NS: f64 = 1e6;

const NS_PER_MS: u64 = 1_000_000;

/// Dates the lines of one board.
#[derive(Clone, Debug)]
pub struct Dating {
    clock: Option<BoardClock>,
    /// How long the adapter holds bytes back at most.
    hold_ns: u64,
    last_ns: u64,
    by_clock: bool,
}

/// What moments rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeSource {
    /// The board's own clock.
    OwnClock,
    /// When the line arrived.
    Arrival,
}

impl fmt::Display for TimeSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OwnClock => "own clock",
            Self::Arrival => "arrival",
        })
    }
}

/// How well the moments of a board are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeUncertainty {
    /// Standard uncertainty, nanoseconds.
    pub ns: f64,
    /// What the moments rest on.
    pub source: TimeSource,
}

impl Dating {
    /// Of a board with this counter in its lines, if any.
    #[must_use]
    pub fn new(counter: Option<Counter>) -> Self {
        Self {
            clock: counter.map(BoardClock::new),
            hold_ns: 0,
            last_ns: 0,
            by_clock: false,
        }
    }

    /// The adapter in front of the board holds bytes back for up to this long.
    pub fn held_for(&mut self, hold: Duration) {
        self.hold_ns = u64::try_from(hold.as_nanos()).unwrap_or(u64::MAX);
    }

    /// The board was opened: it may have been reset, and hang on another adapter.
    pub fn restart(&mut self) {
        self.hold_ns = 0;
        self.forget();
    }

    /// The board talks again after a silence, on the adapter it was on: it may have lost power.
    pub fn forget(&mut self) {
        self.by_clock = false;
        if let Some(clock) = &mut self.clock {
            clock.restart();
        }
    }

    /// Nothing of this board is dated at or before this moment from here on.
    pub fn keep_after(&mut self, moment: Moment) {
        self.last_ns = self.last_ns.max(moment.boot_ns);
    }

    /// When the line that arrived then began. `count` is the board's counter in it.
    ///
    /// An arrival is late by anything up to the adapter's hold: it is moved back by half of that
    /// (JCGM 100:2008, 3.2.4: a known effect is corrected). So is a date by the board's clock, by half
    /// of what the delays do not show of the hold.
    pub fn date(&mut self, arrival: Moment, count: Slot) -> Moment {
        let own = match (&mut self.clock, count) {
            (Some(clock), Slot::Number(count)) => clock
                .date(arrival.boot_ns, count)
                .map(|ns| ns.saturating_sub(half(clock.unseen_of(self.hold_ns as f64)))),
            _ => None,
        };
        self.by_clock = own.is_some();
        let began_ns = own.unwrap_or_else(|| arrival.boot_ns.saturating_sub(self.hold_ns / 2));
        let boot_ns = began_ns.max(self.last_ns.saturating_add(1));
        self.last_ns = boot_ns;
        let back_ns = arrival.boot_ns.saturating_sub(boot_ns);
        let back_ms =
            i64::try_from(back_ns.saturating_add(NS_PER_MS / 2) / NS_PER_MS).unwrap_or(i64::MAX);
        Moment {
            wall_ms: arrival.wall_ms.saturating_sub(back_ms),
            boot_ns,
        }
    }

    /// How well the last moment is known. By arrival: the adapter's hold, of rectangular
    /// distribution (JCGM 100:2008, F.2.2.1 and 4.3.7), or 1 ms where none is known. By the board's
    /// clock: what that says, and what the delays do not show of the hold, in quadrature.
    #[must_use]
    pub fn uncertainty(&self) -> TimeUncertainty {
        if let Some(ns) = self.of_clock_ns() {
            let source = TimeSource::OwnClock;
            return TimeUncertainty { ns, source };
        }
        let ns = match self.hold_ns {
            0 => ASSUMED_NS,
            hold => of_rectangle(hold as f64),
        };
        let source = TimeSource::Arrival;
        TimeUncertainty { ns, source }
    }

    /// The board's clock, where its lines carry one.
    pub fn clock(&mut self) -> Option<&mut BoardClock> {
        self.clock.as_mut()
    }

    /// Goes on under a new configuration.
    pub fn goes_on(&mut self, before: &Self) {
        let counter = |dating: &Self| dating.clock.as_ref().map(BoardClock::counter);
        if counter(self) == counter(before) {
            *self = before.clone();
        } else {
            (self.hold_ns, self.last_ns) = (before.hold_ns, before.last_ns);
        }
    }

    fn of_clock_ns(&self) -> Option<f64> {
        let clock = self.clock.as_ref().filter(|_| self.by_clock)?;
        let unseen_ns = clock.doubtful_of(self.hold_ns as f64);
        Some(clock.uncertainty_ns()?.hypot(of_rectangle(unseen_ns)))
    }
}

/// Standard uncertainty of what lies anywhere within this width (JCGM 100:2008, 4.3.7).
fn of_rectangle(width: f64) -> f64 {
    width / 12.0_f64.sqrt()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast of a float saturates, and no hold is negative"
)]
fn half(nanoseconds: f64) -> u64 {
    (nanoseconds / 2.0).round() as u64
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::timeline::Timeline;
    use proptest::prelude::*;

    const SECOND: u64 = 1_000_000_000;
    const MILLISECONDS: Counter = Counter {
        unit_ns: 1e6,
        bits: 32,
    };

    fn at(boot_ns: u64) -> Moment {
        Moment {
            wall_ms: 1_780_000_000_000 + i64::try_from(boot_ns / NS_PER_MS).unwrap(),
            boot_ns,
        }
    }

    #[test]
    fn without_a_clock_or_a_hold_the_arrival_is_the_moment() {
        let mut dating = Dating::new(None);
        assert_eq!(
            dating.date(at(5 * SECOND), Slot::Number(7.0)),
            at(5 * SECOND)
        );
        let next = dating.date(at(5 * SECOND), Slot::Absent);
        assert_eq!(next.boot_ns, 5 * SECOND + 1);
        let expected = TimeUncertainty {
            ns: 1e6,
            source: TimeSource::Arrival,
        };
        assert_eq!(dating.uncertainty(), expected);
    }

    #[test]
    fn an_adapters_hold_is_taken_off_by_half() {
        let mut dating = Dating::new(None);
        dating.held_for(Duration::from_millis(16));
        assert_eq!(
            dating.date(at(5 * SECOND), Slot::Absent),
            at(5 * SECOND - 8_000_000)
        );
        // Source: 16 ms / sqrt(12).
        assert!((dating.uncertainty().ns - 4_618_802.153_5).abs() < 1e-3);
    }

    #[test]
    fn by_the_boards_clock_boot_and_wall_time_go_back_together() {
        let mut dating = Dating::new(Some(MILLISECONDS));
        for line in 1..60_u64 {
            dating.date(at(line * SECOND), Slot::Number(line as f64 * 1000.0));
        }
        let late = dating.date(at(60 * SECOND + 16_000_000), Slot::Number(60_000.0));
        let off = late.boot_ns.abs_diff(60 * SECOND);
        assert!(off <= NS_PER_MS, "{off}");
        assert!((late.wall_ms - at(60 * SECOND).wall_ms).abs() <= 1);
        assert_eq!(dating.uncertainty().source, TimeSource::OwnClock);
        // A line whose counter cannot be read is dated by arrival.
        let unread = dating.date(at(61 * SECOND), Slot::Unreadable);
        assert_eq!(unread, at(61 * SECOND));
        assert_eq!(dating.uncertainty().source, TimeSource::Arrival);
    }

    /// The scene is invented: a board sends on an exact grid of its own clock, without any jitter, and
    /// its adapter lets bytes go at ticks of 16 ms. Errors and stated uncertainties, ms.
    fn on_a_grid(every_s: u64, ppm: u64, first_ns: u64) -> Vec<(f64, f64)> {
        const TICK_NS: u64 = 16_000_000;
        let mut dating = Dating::new(Some(MILLISECONDS));
        dating.held_for(Duration::from_nanos(TICK_NS));
        let mut all = Vec::new();
        for line in 1..2100 / every_s {
            let truth = line * every_s * (SECOND + ppm * 1000) + first_ns;
            let arrival = (truth / TICK_NS + 1) * TICK_NS;
            let count = (line * every_s * 1000) as f64;
            let dated = dating.date(at(arrival), Slot::Number(count)).boot_ns;
            let known = dating.uncertainty();
            if known.source == TimeSource::OwnClock {
                all.push(((dated as f64 - truth as f64) / 1e6, known.ns / 1e6));
            }
        }
        all
    }

    #[test]
    fn a_hold_that_the_delays_do_not_show_is_stated() {
        for (every_s, ppm) in [1, 2]
            .into_iter()
            .flat_map(|s| [0, 1, 5, 50].map(|p| (s, p)))
        {
            let phases = (0..11).map(|phase| phase * 1_500_000 + 300_000);
            let all: Vec<_> = phases.flat_map(|ns| on_a_grid(every_s, ppm, ns)).collect();
            let within = all.iter().filter(|(error, u)| error.abs() <= 2.0 * u);
            let share = within.count() as f64 / all.len() as f64;
            assert!(share >= 0.85, "{every_s} s, {ppm} ppm: {share}");
        }
    }

    #[test]
    fn a_hold_that_drift_has_shown_is_not_stated_again() {
        let all = on_a_grid(1, 50, 300_000);
        for (error, u) in &all[1000..] {
            assert!(error.abs() < 2.0 && *u < 2.0, "{error} {u}");
        }
    }

    fn any_arrival() -> impl Strategy<Value = Moment> {
        let wall = prop_oneof![any::<i64>(), 0..200_000_i64];
        let boot = prop_oneof![any::<u64>(), 0..100 * SECOND];
        (wall, boot).prop_map(|(wall_ms, boot_ns)| Moment { wall_ms, boot_ns })
    }

    proptest! {
        #[test]
        fn moments_strictly_increase_and_stamps_with_them(
            lines in proptest::collection::vec(
                (any_arrival(), prop_oneof![
                    proptest::num::f64::ANY.prop_map(Slot::Number),
                    (0.0..100_000.0).prop_map(Slot::Number),
                    Just(Slot::Absent),
                    Just(Slot::Unreadable),
                ]),
                1..80,
            ),
            hold_ms in 0_u64..300,
            restart in 0_usize..80,
        ) {
            let mut dating = Dating::new(Some(MILLISECONDS));
            let mut timeline = Timeline::default();
            let (mut before, mut stamped) = (None, None);
            for (number, (arrival, count)) in lines.into_iter().enumerate() {
                if number == restart {
                    dating.restart();
                    dating.held_for(Duration::from_millis(hold_ms));
                }
                let moment = dating.date(arrival, count);
                let floor = before.map_or(0, |before: u64| before.saturating_add(1));
                prop_assert!(moment.boot_ns >= floor);
                prop_assert!(moment.boot_ns <= arrival.boot_ns.max(floor).max(1));
                prop_assert!(moment.wall_ms <= arrival.wall_ms);
                let stamp = timeline.stamp(moment);
                prop_assert!(stamped.is_none_or(|stamped| stamp > stamped));
                (before, stamped) = (Some(moment.boot_ns), Some(stamp));
            }
        }
    }
}
