//! When a source that is lost is tried again, and what of its troubles is worth telling.
//!
//! Nothing is opened here, and nothing is known of what is tried.

use super::Event;
use super::backoff::Backoff;
use crate::reading::Moment;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Waits between attempts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// Wait before the first new attempt. Doubles up to `longest`.
    pub shortest: Duration,
    /// Wait between attempts at most.
    pub longest: Duration,
}

/// The attempts of one source, over all its losses.
#[derive(Debug)]
pub struct Retry {
    backoff: Backoff,
    told: Option<String>,
    is_lost: bool,
}

impl Retry {
    /// No attempt yet.
    #[must_use]
    pub fn new(pace: Pace) -> Self {
        Self {
            backoff: Backoff::new(pace.shortest, pace.longest),
            told: None,
            is_lost: false,
        }
    }

    /// It is there. The back-off goes on: only time tells whether it stays.
    pub fn found(&mut self) {
        self.told = None;
        self.is_lost = false;
    }

    /// It was there for this long. What stayed for longer than the longest wait is tried soon
    /// again; what comes and goes is tried, and told, ever less often.
    pub fn lasted(&mut self, ns: u64) {
        self.backoff.stood_for(ns);
    }

    /// What to tell of a trouble: each change of reason once, the first one as the loss itself.
    pub fn tell(&mut self, at: Moment, reason: String) -> Option<Event> {
        if self.told.as_ref() == Some(&reason) {
            return None;
        }
        self.told = Some(reason.clone());
        Some(if std::mem::replace(&mut self.is_lost, true) {
            Event::Remark { at, text: reason }
        } else {
            Event::Lost { at, reason }
        })
    }

    /// Waits before the next attempt; false where the stop came first.
    pub async fn pause(&mut self, stop: &CancellationToken) -> bool {
        self.backoff.pause(stop).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PACE: Pace = Pace {
        shortest: Duration::from_millis(250),
        longest: Duration::from_secs(5),
    };
    const AT: Moment = Moment {
        wall_ms: 1_780_000_000_000,
        boot_ns: 1,
    };

    #[test]
    fn the_loss_is_told_once_and_then_each_change_of_reason() {
        let mut retry = Retry::new(PACE);
        let lost = |reason: &str| {
            Some(Event::Lost {
                at: AT,
                reason: reason.to_owned(),
            })
        };
        let remark = |text: &str| {
            Some(Event::Remark {
                at: AT,
                text: text.to_owned(),
            })
        };
        for (reason, told) in [
            ("refused", lost("refused")),
            ("refused", None),
            ("no route", remark("no route")),
            ("refused", remark("refused")),
        ] {
            assert_eq!(retry.tell(AT, reason.to_owned()), told);
        }
        retry.found();
        assert_eq!(retry.tell(AT, "refused".to_owned()), lost("refused"));
    }
}
