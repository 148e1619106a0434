//! How long to wait between attempts to reach a board: doubling, with a jitter, forgotten by what
//! stayed.
//!
//! Nothing is opened here, and nothing is known of what is tried or told.

use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Waits of one source, over all its losses.
#[derive(Debug)]
pub struct Backoff {
    shortest: Duration,
    longest: Duration,
    wait: Duration,
}

impl Backoff {
    /// The first wait is at most `shortest`; it doubles up to `longest`.
    #[must_use]
    pub fn new(shortest: Duration, longest: Duration) -> Self {
        Self {
            shortest,
            longest,
            wait: shortest,
        }
    }

    /// What was tried has stood for this long, nanoseconds. What stayed for longer than the longest
    /// wait is tried soon again; what comes and goes is tried ever less often.
    pub fn stood_for(&mut self, ns: u64) {
        if u128::from(ns) >= self.longest.as_nanos() {
            self.wait = self.shortest;
        }
    }

    /// Waits before the next attempt; false where the stop came first.
    pub async fn pause(&mut self, stop: &CancellationToken) -> bool {
        let wait = self.next(fastrand::f64());
        tokio::select! {
            biased;
            () = stop.cancelled() => false,
            () = tokio::time::sleep(wait) => true,
        }
    }

    /// The next wait, half of it by chance (0 to 1), so that many boards at one place are not all
    /// tried at once.
    fn next(&mut self, chance: f64) -> Duration {
        let wait = self.wait.mul_f64(0.5 + 0.5 * chance);
        self.wait = self.wait.saturating_mul(2).min(self.longest);
        wait
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn backoff() -> Backoff {
        Backoff::new(Duration::from_millis(250), Duration::from_secs(5))
    }

    #[test]
    fn waits_double_up_to_the_longest_and_jitter_only_shortens() {
        let mut backoff = backoff();
        let waits: Vec<u128> = (0..7).map(|_| backoff.next(1.0).as_millis()).collect();
        assert_eq!(waits, [250, 500, 1000, 2000, 4000, 5000, 5000]);
        assert_eq!(backoff.next(0.0).as_millis(), 2500);
    }

    #[test]
    fn only_what_stayed_is_tried_soon_again() {
        let mut backoff = backoff();
        for _ in 0..4 {
            backoff.next(1.0);
        }
        backoff.stood_for(4_999_999_999);
        assert_eq!(backoff.next(1.0).as_millis(), 4000);
        backoff.stood_for(5_000_000_000);
        assert_eq!(backoff.next(1.0).as_millis(), 250);
    }
}
