//! How late lines arrive after what the board's clock says, and when that is worth telling.
//!
//! Counts and compares; the words are the flow's.

/// An entry is due once an hour, …
const TELL_EVERY_NS: u64 = 3_600_000_000_000;

/// … and sooner where the delay has changed by this factor, …
const CHANGED_BY: f64 = 3.0;

/// … but not within this time of the last one, so that a busy host does not fill the journal.
const TELL_GAP_NS: u64 = 600_000_000_000;

/// Changes below this are nobody's business, nanoseconds: half of what a stamp can say.
const SLIGHT_NS: f64 = 500_000.0;

/// A mean is taken over this time, and over at least [`FEWEST_LINES`].
const WINDOW_NS: u64 = 60_000_000_000;
const FEWEST_LINES: u64 = 10;

/// Delays since the last entry, and what that said.
#[derive(Clone, Copy, Debug, Default)]
pub struct Delays {
    window: Sum,
    all: Sum,
    told: Option<Told>,
}

/// What is to be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lateness {
    /// Mean delay, nanoseconds.
    pub mean_ns: f64,
    /// Longest delay, nanoseconds.
    pub most_ns: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    began_ns: u64,
    lines: u64,
    sum_ns: f64,
    most_ns: f64,
}

#[derive(Clone, Copy, Debug)]
struct Told {
    at_ns: u64,
    mean_ns: f64,
}

impl Delays {
    /// Takes a line that arrived at this boot time, so much later than it could have.
    pub(super) fn add(&mut self, arrival_ns: u64, delay_ns: f64) {
        self.window.add(arrival_ns, delay_ns);
        self.all.add(arrival_ns, delay_ns);
    }

    /// What is to be told now, if anything.
    pub fn tell(&mut self, now_ns: u64) -> Option<Lateness> {
        let window = self.window;
        let lasted_ns = now_ns.saturating_sub(window.began_ns);
        if window.lines < FEWEST_LINES || lasted_ns < WINDOW_NS {
            return None;
        }
        self.window = Sum::default();
        let told = match self.told {
            None => self.all,
            Some(told) => {
                let since = now_ns.saturating_sub(told.at_ns);
                let changed = since >= TELL_GAP_NS && told.differs(window.mean_ns());
                match (changed, since >= TELL_EVERY_NS) {
                    (true, _) => window,
                    (false, true) => self.all,
                    (false, false) => return None,
                }
            }
        };
        self.all = Sum::default();
        self.told = Some(Told {
            at_ns: now_ns,
            mean_ns: told.mean_ns(),
        });
        Some(Lateness {
            mean_ns: told.mean_ns(),
            most_ns: told.most_ns,
        })
    }
}

impl Told {
    fn differs(self, mean_ns: f64) -> bool {
        let share = mean_ns.max(SLIGHT_NS) / self.mean_ns.max(SLIGHT_NS);
        share >= CHANGED_BY || share <= 1.0 / CHANGED_BY
    }
}

impl Sum {
    fn add(&mut self, arrival_ns: u64, delay_ns: f64) {
        if self.lines == 0 {
            self.began_ns = arrival_ns;
        }
        self.lines += 1;
        self.sum_ns += delay_ns;
        self.most_ns = self.most_ns.max(delay_ns);
    }

    fn mean_ns(self) -> f64 {
        self.sum_ns / self.lines.max(1) as f64
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const SECOND: u64 = 1_000_000_000;

    /// A line a second, looked at each second: when something is told, and the mean in ms.
    fn told(seconds: u64, delay_ms: impl Fn(u64) -> f64) -> Vec<(u64, f64)> {
        let mut delays = Delays::default();
        let mut all = Vec::new();
        for second in 0..seconds {
            delays.add(second * SECOND, delay_ms(second) * 1e6);
            if let Some(told) = delays.tell(second * SECOND) {
                all.push((second, (told.mean_ns / 1e4).round() / 100.0));
            }
        }
        all
    }

    #[test]
    fn the_first_minute_is_told_and_then_each_hour() {
        let seconds: Vec<u64> = told(8000, |_| 2.0).iter().map(|told| told.0).collect();
        assert_eq!(seconds.len(), 3, "{seconds:?}");
        assert_eq!(seconds[0], 60);
        assert!(
            seconds
                .windows(2)
                .all(|pair| (3600..3665).contains(&(pair[1] - pair[0])))
        );
    }

    #[test]
    fn a_change_by_three_is_told_within_two_minutes() {
        let all = told(3600, |second| if second < 1000 { 2.0 } else { 8.0 });
        assert_eq!(all.len(), 2, "{all:?}");
        assert!((1000..1125).contains(&all[1].0), "{all:?}");
        assert!(all[1].1 > 6.0);
        let slight = told(3600, |second| if second < 1000 { 0.02 } else { 0.4 });
        assert_eq!(slight.len(), 1, "{slight:?}");
    }

    #[test]
    fn a_host_that_is_busy_now_and_then_does_not_fill_the_journal() {
        let all = told(
            3600,
            |second| if second / 120 % 2 == 0 { 0.5 } else { 20.0 },
        );
        assert!(all.len() <= 6, "{all:?}");
    }
}
