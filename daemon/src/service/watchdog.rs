//! Readiness and watchdog of the service manager, fed by the flow itself: a tick of the flow asks
//! the log's writer for a pulse, and only a writer that gave one since the last tick is told on.

use crate::log::Log;
use sd_notify::NotifyState;
use std::time::Duration;

/// How often the flow looks at the time where no watchdog asks for more.
const TICK: Duration = Duration::from_secs(1);

/// What is told to the service manager; silent where there is none.
#[derive(Debug, Default)]
pub struct Watchdog {
    /// The manager wants to hear this often.
    within: Option<Duration>,
    told: bool,
    pulse: u64,
}

impl Watchdog {
    /// For a service without a manager.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// Reads what the manager wants from the environment.
    #[must_use]
    pub fn from_environment() -> Self {
        Self {
            within: sd_notify::watchdog_enabled(),
            told: true,
            pulse: 0,
        }
    }

    /// How often the flow should tick: at least twice as often as the manager wants to hear.
    #[must_use]
    pub fn tick(&self) -> Duration {
        self.within.map_or(TICK, |within| (within / 3).min(TICK))
    }

    /// All is started.
    pub fn ready(&self, status: &str) {
        self.tell(&[NotifyState::Ready, NotifyState::Status(status)]);
    }

    /// A reload is done.
    pub fn reloaded(&self) {
        self.tell(&[NotifyState::Ready]);
    }

    /// Stopping begins.
    pub fn stopping(&self) {
        self.tell(&[NotifyState::Stopping]);
    }

    /// The flow has ticked: the manager hears of it if the log's writer has moved as well.
    pub fn feed(&mut self, log: &Log) {
        let pulse = log.pulse();
        if self.within.is_some() && pulse != self.pulse {
            self.tell(&[NotifyState::Watchdog]);
        }
        self.pulse = pulse;
        if self.within.is_some() {
            // A full inbox has enough to do to show that it lives.
            let _ = log.ask_pulse();
        }
    }

    fn tell(&self, states: &[NotifyState<'_>]) {
        if !self.told {
            return;
        }
        if let Err(error) = sd_notify::notify(states) {
            tracing::debug!("the service manager could not be told: {error}");
        }
    }
}
