//! When a line began by the board's own counter, in the host's boot time.
//!
//! Delays only ever add: a line cannot arrive before it was sent. So the earliest arrivals show how
//! the board's time lies against the host's (see [`envelope`]), and what a line is later than they
//! is its delay. Pure: arrival times and counts come as arguments, and the same ones give the same
//! dates.
//!
//! Not seen in this way is what every line is late by: its own length on the wire (bytes x 10 / baud),
//! and whatever the fastest line waited for. Nor is it known here what the board did between its
//! samples and the line.

mod delays;
mod envelope;
#[cfg(test)]
mod tests;

pub use delays::{Delays, Lateness};

use super::uncertainty::last_decimal;
use envelope::{Envelope, Point};

/// A counter as a board sends it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Counter {
    /// Nanoseconds that one of the numbers sent stands for.
    pub unit_ns: f64,
    /// It begins again at 0 after 2 to the power of this.
    pub bits: u32,
}

/// Fewer lines say nothing of the clock.
const FEWEST_LINES: u64 = 10;

/// A line this much earlier than any could be was not dated by the same clock: the counter was set,
/// or a digit of it is wrong.
const TOO_EARLY_NS: f64 = 50e6;

/// So many such lines in a row mean that the counter was set; fewer are wrong digits.
const SET_AFTER: u32 = 3;

/// Lines that are later than this …
const TOO_LATE_NS: f64 = 1e9;

/// … for this long, without one that is in time, mean that the board's counter stood still.
const STOOD_STILL_NS: u64 = 60_000_000_000;

/// How late the line under n arrivals is, in mean delays over n, read at its end. With exponential
/// delays it is 4 to 5, with uniform ones 8 to 9. Source: simulation of both, as in the tests.
const LATE_BY_DELAY: f64 = 8.0;

/// And where the counter's step is coarse beside that: in roots of step x mean delay over n. An early
/// arrival must also begin early in its step; 1.4 to 2.6 with exponential delays, 1.8 to 3.7 with
/// uniform ones. Source: as above.
const LATE_BY_STEP: f64 = 3.2;

/// Delays that change slowly are taken off the others so many times before these are evidence of how
/// lines meet an adapter's ticks. Source: simulation, as in the tests of [`super::dating`].
const SLOW_COUNTS: f64 = 2.0;

/// A board's clock against the host's.
#[derive(Clone, Debug)]
pub struct BoardClock {
    counter: Counter,
    /// The finest decimal that the counter has shown, in its own unit.
    finest: f64,
    last: Option<Last>,
    envelope: Envelope,
    odd: u32,
    late_since_ns: Option<u64>,
    delays: Delays,
}

/// The last line that went into the estimate.
#[derive(Clone, Copy, Debug)]
struct Last {
    /// Boot time of arrival of the first line; the origin of both axes.
    origin_ns: u64,
    arrival_ns: u64,
    count: f64,
    /// The board's time since the first line, nanoseconds, across all wraps.
    board_ns: f64,
}

impl BoardClock {
    /// A clock that nothing is known of.
    #[must_use]
    pub fn new(counter: Counter) -> Self {
        Self {
            counter,
            finest: 1.0,
            last: None,
            envelope: Envelope::default(),
            odd: 0,
            late_since_ns: None,
            delays: Delays::default(),
        }
    }

    /// What it counts.
    #[must_use]
    pub fn counter(&self) -> Counter {
        self.counter
    }

    /// Forgets the estimate: the board was reset, or may have been.
    pub fn restart(&mut self) {
        *self = Self {
            delays: std::mem::take(&mut self.delays),
            ..Self::new(self.counter)
        };
    }

    /// Boot time at which the line with this count began, nanoseconds: never after its arrival.
    /// `None` until the clock is known well enough, and for a count that is not one of its own.
    pub fn date(&mut self, arrival_ns: u64, count: f64) -> Option<u64> {
        if !self.can_be(count) {
            return None;
        }
        self.finest = self.finest.min(last_decimal(count));
        let Some(last) = self.last else {
            self.begin(arrival_ns, count);
            return None;
        };
        let point = self.place(last, arrival_ns, count);
        if self.is_odd(last, point) {
            self.odd += 1;
            if self.odd >= SET_AFTER {
                self.restart();
                self.begin(arrival_ns, count);
            }
            return None;
        }
        self.odd = 0;
        self.last = Some(Last {
            arrival_ns,
            count,
            board_ns: point.board_ns,
            ..last
        });
        self.learn(point);
        if self.envelope.is_impossible() || self.stood_still(arrival_ns, point) {
            self.restart();
            self.begin(arrival_ns, count);
        }
        self.dated(arrival_ns, point)
    }

    /// Standard uncertainty of the dates, nanoseconds; `None` while there are none. What every line
    /// is late by is not in it.
    ///
    /// Two parts in quadrature: the counter's step, of rectangular distribution (JCGM 100:2008,
    /// F.2.2.1), and how late the earliest arrivals may be themselves.
    #[must_use]
    pub fn uncertainty_ns(&self) -> Option<f64> {
        let share = self.envelope.mean_delay_ns()? / self.lines()? as f64;
        let step = self.step_ns();
        let late = LATE_BY_DELAY * share + LATE_BY_STEP * (step * share).sqrt();
        Some((step / 12.0_f64.sqrt()).hypot(late))
    }

    /// What an adapter's hold may still add to every line, nanoseconds: what the delays do not show of
    /// it. 0 while the clock is not known.
    ///
    /// Where lines meet the adapter's ticks at any time, they wait half of the hold on average, and
    /// the earliest not at all. A board on an exact grid meets the ticks at the same few times, until
    /// both clocks have drifted apart by a hold: its earliest lines wait too, and nobody sees how long.
    #[must_use]
    pub fn unseen_of(&self, hold_ns: f64) -> f64 {
        self.unseen(hold_ns, 0.0)
    }

    /// The same, of which delays that change slowly are no evidence: a drift that has passed one tick
    /// tilts the line. For the uncertainty, not for a correction.
    #[must_use]
    pub fn doubtful_of(&self, hold_ns: f64) -> f64 {
        self.unseen(hold_ns, SLOW_COUNTS * self.envelope.slow_delay_ns())
    }

    /// How much faster than the host's clock the board's runs, parts per million; `None` while that
    /// is not known.
    #[must_use]
    pub fn fast_ppm(&self) -> Option<f64> {
        self.lines()?;
        // Arrival less board time falls where the board runs fast.
        self.envelope.slope().map(|slope| -slope * 1e6)
    }

    /// How late lines arrive after what the clock says.
    pub fn delays(&mut self) -> &mut Delays {
        &mut self.delays
    }

    /// The lines of the estimate, where it is good.
    fn lines(&self) -> Option<u64> {
        let lines = self.envelope.lines();
        (lines >= FEWEST_LINES && self.envelope.is_steady()).then_some(lines)
    }

    fn unseen(&self, hold_ns: f64, slow_ns: f64) -> f64 {
        let mean_ns = self.lines().and_then(|_| self.envelope.mean_delay_ns());
        let shown_ns = |mean_ns: f64| 2.0 * (mean_ns - slow_ns).max(0.0);
        mean_ns.map_or(0.0, |mean_ns| (hold_ns - shown_ns(mean_ns)).max(0.0))
    }

    fn can_be(&self, count: f64) -> bool {
        let range = self.range();
        (0.0..range).contains(&count)
    }

    fn range(&self) -> f64 {
        2.0_f64.powi(i32::try_from(self.counter.bits).unwrap_or(i32::MAX))
    }

    fn step_ns(&self) -> f64 {
        self.counter.unit_ns * self.finest
    }

    fn begin(&mut self, arrival_ns: u64, count: f64) {
        self.last = Some(Last {
            origin_ns: arrival_ns,
            arrival_ns,
            count,
            board_ns: 0.0,
        });
        self.envelope.push(Point {
            board_ns: 0.0,
            behind_ns: 0.0,
        });
    }

    /// Where a line lies: of all the times that the counter may have begun again meanwhile, the one
    /// nearest to what the host's clock says has passed.
    fn place(&self, last: Last, arrival_ns: u64, count: f64) -> Point {
        let range = self.range();
        let unit_ns = self.counter.unit_ns;
        let passed = signed_difference(arrival_ns, last.arrival_ns) / unit_ns;
        let forward = count - last.count;
        let rounds = ((passed - forward) / range).round();
        let board_ns = last.board_ns + (forward + rounds * range) * unit_ns;
        let since = signed_difference(arrival_ns, last.origin_ns);
        Point {
            board_ns,
            behind_ns: since - board_ns,
        }
    }

    /// Whether a line cannot be of the same counting: it goes back, or is earlier than any could be.
    fn is_odd(&self, last: Last, point: Point) -> bool {
        let early = self.lines().and_then(|_| self.envelope.delay_ns(point));
        point.board_ns < last.board_ns || early.is_some_and(|delay| delay < -TOO_EARLY_NS)
    }

    /// A line that is far too late shows nothing of the clock, and would hide how well the others
    /// show it.
    fn learn(&mut self, point: Point) {
        if !self.is_too_late(point) {
            self.envelope.push(point);
        }
    }

    fn is_too_late(&self, point: Point) -> bool {
        let delay = self.lines().and_then(|_| self.envelope.delay_ns(point));
        delay.is_some_and(|delay| delay > TOO_LATE_NS)
    }

    fn stood_still(&mut self, arrival_ns: u64, point: Point) -> bool {
        if !self.is_too_late(point) {
            self.late_since_ns = None;
            return false;
        }
        let since = *self.late_since_ns.get_or_insert(arrival_ns);
        arrival_ns.saturating_sub(since) >= STOOD_STILL_NS
    }

    fn dated(&mut self, arrival_ns: u64, point: Point) -> Option<u64> {
        self.lines()?;
        let delay_ns = self.envelope.delay_ns(point)?.max(0.0);
        self.delays.add(arrival_ns, delay_ns);
        // The count stands for a whole step: its middle is the best guess.
        let back_ns = (delay_ns - self.step_ns() / 2.0).max(0.0);
        Some(arrival_ns.saturating_sub(whole(back_ns)))
    }
}

/// a - b, exact for differences of less than 104 days.
fn signed_difference(a: u64, b: u64) -> f64 {
    if a >= b {
        (a - b) as f64
    } else {
        -((b - a) as f64)
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast of a float saturates, and no delay is negative"
)]
fn whole(nanoseconds: f64) -> u64 {
    nanoseconds.round() as u64
}
