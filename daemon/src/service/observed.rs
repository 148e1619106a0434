//! A receiver that is looked at: passes everything on, and notes how its connection stands.

use super::standing::OutletStanding;
use crate::clock;
use crate::control::Said;
use crate::outlet::{Parcel, Receipt, Receiver, Trouble};
use std::time::Duration;

/// A receiver with a note of how it stands.
#[derive(Debug)]
pub struct Observed<R> {
    receiver: R,
    standing: OutletStanding,
}

impl<R> Observed<R> {
    /// A receiver that is noted in `standing`.
    pub fn new(receiver: R, standing: OutletStanding) -> Self {
        Self { receiver, standing }
    }

    fn note_trouble(&self, trouble: &Trouble) {
        let said = Said {
            time_ms: clock::now().wall_ms,
            text: trouble.to_string(),
        };
        self.standing.note(|now| {
            now.connected_ms = None;
            now.trouble = Some(said);
        });
    }
}

impl<R: Receiver + Sync> Receiver for Observed<R> {
    async fn connect(&mut self) -> Result<(), Trouble> {
        let connected = self.receiver.connect().await;
        match &connected {
            Ok(()) => self
                .standing
                .note(|now| now.connected_ms = Some(clock::now().wall_ms)),
            Err(trouble) => self.note_trouble(trouble),
        }
        connected
    }

    async fn deliver(&mut self, parcel: Parcel<'_>) -> Result<Receipt, Trouble> {
        let delivered = self.receiver.deliver(parcel).await;
        if let Err(trouble) = &delivered {
            self.note_trouble(trouble);
            return delivered;
        }
        let live = match parcel {
            Parcel::Live(readings) => readings.last().map(|r| r.seq),
            Parcel::Moves(_) | Parcel::Backlog(_) => None,
        };
        self.standing.note(|now| {
            now.delivered_ms = Some(clock::now().wall_ms);
            now.acknowledged = now.acknowledged.max(live);
        });
        delivered
    }

    async fn idle(&mut self) -> Trouble {
        let trouble = self.receiver.idle().await;
        self.note_trouble(&trouble);
        trouble
    }

    fn keeps_alarm_states(&self) -> bool {
        self.receiver.keeps_alarm_states()
    }

    async fn close(&mut self) {
        self.receiver.close().await;
    }

    fn live_every(&self) -> Duration {
        self.receiver.live_every()
    }

    fn batch(&self) -> usize {
        self.receiver.batch()
    }
}
