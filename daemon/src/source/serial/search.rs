//! How often a lost port is tried, and what of its troubles is worth telling.
//!
//! Nothing is opened here.

use super::trouble::Trouble;
use crate::source::backoff::Backoff;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Waiting times of a serial source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// Wait before the first retry. Doubles up to `longest`.
    pub shortest: Duration,
    /// Wait between retries at most: how late a board that was plugged in again is found.
    pub longest: Duration,
    /// How long another program may hold the port before a person is told.
    pub busy_patience: Duration,
    /// How long bytes may come without a readable line before the baud rate is doubted.
    pub baud_patience: Duration,
}

impl Default for Pace {
    /// A modem manager holds a new port for some 10 s, which needs no word; but by the time that the
    /// board counts as silent a person must know why.
    fn default() -> Self {
        Self {
            shortest: Duration::from_millis(250),
            longest: Duration::from_secs(5),
            busy_patience: Duration::from_secs(8),
            baud_patience: Duration::from_secs(5),
        }
    }
}

/// The search for one port, over all its losses.
#[derive(Debug)]
pub struct Search {
    pace: Pace,
    backoff: Backoff,
    told: Option<Trouble>,
    busy_since_ns: Option<u64>,
    is_lost: bool,
}

impl Search {
    /// A search that has not begun.
    #[must_use]
    pub fn new(pace: Pace) -> Self {
        Self {
            pace,
            backoff: Backoff::new(pace.shortest, pace.longest),
            told: None,
            busy_since_ns: None,
            is_lost: false,
        }
    }

    /// The port is open. The back-off goes on: only time tells whether it stays.
    pub fn found(&mut self) {
        self.told = None;
        self.busy_since_ns = None;
        self.is_lost = false;
    }

    /// The port is gone after `lasted_ns`, and that is told. A port that stayed for longer than the
    /// longest wait is tried soon again; one that comes and goes (a loose plug, a board that resets
    /// over and over) is tried, and told, ever less often.
    pub fn lost(&mut self, lasted_ns: u64) {
        self.told = Some(Trouble::Missing);
        self.is_lost = true;
        self.backoff.stood_for(lasted_ns);
    }

    /// Whether a trouble met at `boot_ns` is to be told: each change of reason once, and a busy
    /// port only when patience ends.
    pub fn is_news(&mut self, trouble: &Trouble, boot_ns: u64) -> bool {
        if *trouble == Trouble::Busy {
            let since = *self.busy_since_ns.get_or_insert(boot_ns);
            let busy_for = boot_ns.saturating_sub(since);
            if u128::from(busy_for) < self.pace.busy_patience.as_nanos() {
                return false;
            }
        } else {
            self.busy_since_ns = None;
        }
        let is_news = self.told.as_ref() != Some(trouble);
        self.told = Some(trouble.clone());
        is_news
    }

    /// Whether what is told now is the loss itself; true once until the port is found.
    pub fn counts_as_loss(&mut self) -> bool {
        !std::mem::replace(&mut self.is_lost, true)
    }

    /// Waits before the next attempt; false where the stop came first.
    pub async fn pause(&mut self, stop: &CancellationToken) -> bool {
        self.backoff.pause(stop).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: u64 = 1_000_000_000;

    fn search() -> Search {
        Search::new(Pace::default())
    }

    #[test]
    fn each_change_of_reason_is_told_once() {
        let mut search = search();
        let story = [
            (Trouble::Missing, true),
            (Trouble::Missing, false),
            (Trouble::Denied, true),
            (Trouble::Denied, false),
            (Trouble::Missing, true),
        ];
        for (trouble, expected) in story {
            assert_eq!(search.is_news(&trouble, 0), expected, "{trouble:?}");
        }
    }

    #[test]
    fn after_a_loss_that_the_port_is_missing_is_no_news() {
        let mut search = search();
        search.lost(0);
        assert!(!search.is_news(&Trouble::Missing, 0));
        assert!(!search.counts_as_loss());
        search.found();
        assert!(search.is_news(&Trouble::Missing, 0));
        assert!(search.counts_as_loss());
        assert!(!search.counts_as_loss());
    }

    #[test]
    fn a_busy_port_is_told_after_eight_seconds_at_a_stretch() {
        let mut search = search();
        assert!(!search.is_news(&Trouble::Busy, 0));
        assert!(!search.is_news(&Trouble::Busy, 7 * SECOND));
        assert!(search.is_news(&Trouble::Missing, 7 * SECOND));
        assert!(!search.is_news(&Trouble::Busy, 8 * SECOND));
        assert!(search.is_news(&Trouble::Busy, 60 * SECOND));
        assert!(!search.is_news(&Trouble::Busy, 61 * SECOND));
    }
}
