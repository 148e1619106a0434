//! Where readings and alarm moves are sent. One trait, one file each; order, cursors, back-off and
//! backfill are the shared loop's business.

mod courier;
pub mod file;
pub mod line_protocol;
pub mod mqtt;
pub mod payload;
pub mod secret;
pub mod tls;

pub use courier::Courier;

pub use crate::words::system as words;

use crate::alarm::Move;
use crate::reading::Reading;
use std::future::Future;
use std::time::Duration;

/// What one delivery holds.
#[derive(Debug, Clone, Copy)]
pub enum Parcel<'a> {
    /// Alarm moves, oldest first.
    Moves(&'a [Move]),
    /// Readings as they come, oldest first; whole lines of a board.
    Live(&'a [Reading]),
    /// Readings from an outage, oldest first; whole lines of a board.
    Backlog(&'a [Reading]),
}

/// What became of a delivery that the receiver acknowledged.
#[derive(Debug, Default, Clone, PartialEq)]
pub struct Receipt {
    /// Items that the receiver, or the format, refuses for good: journalled, then passed over.
    pub refused: Vec<Refusal>,
}

/// One item that will never be taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Sequence number of the reading or move.
    pub seq: u64,
    /// What was refused and why, in words.
    pub why: String,
}

/// Why a delivery, or a connection, did not work. All that was not acknowledged is sent again.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Trouble {
    /// Try again after the loop's own back-off, or not before `after` where the receiver named it.
    #[error("{what}")]
    Later {
        /// What happened, where, and what to look at.
        what: String,
        /// The receiver's own wish (`Retry-After`).
        after: Option<Duration>,
    },
    /// A person is needed (password refused, no such database). Tried again rarely.
    #[error("{what}")]
    Person {
        /// What happened, where, and what to do.
        what: String,
    },
}

/// What an outlet has to be able to do.
pub trait Receiver: Send + 'static {
    /// Connects with fresh state. The loop calls it at the start and after each [`Trouble`].
    fn connect(&mut self) -> impl Future<Output = Result<(), Trouble>> + Send;

    /// Delivers a parcel and returns only when the receiver has acknowledged all of it.
    fn deliver(
        &mut self,
        parcel: Parcel<'_>,
    ) -> impl Future<Output = Result<Receipt, Trouble>> + Send;

    /// Waits for the connection to fail while there is nothing to deliver, so that a lost
    /// connection is noticed at once. The default never ends: for receivers without a connection.
    fn idle(&mut self) -> impl Future<Output = Trouble> + Send {
        std::future::pending()
    }

    /// Whether it keeps the state of each alarm (retained topics): then it is told all states anew
    /// after each connect, because it may have lost them.
    fn keeps_alarm_states(&self) -> bool {
        false
    }

    /// Ends cleanly after the last delivery (the MQTT offline message).
    fn close(&mut self) -> impl Future<Output = ()> + Send;

    /// Least time between two parcels of live readings; alarm moves never wait for it.
    fn live_every(&self) -> Duration {
        Duration::ZERO
    }

    /// Readings in one parcel at most.
    fn batch(&self) -> usize;
}
