//! How commands talk to the running service: a socket beside the log, lines of JSON both ways.
//!
//! The server says who it is, then answers one request after the other; what may be asked stands in
//! [`protocol`]. A client that is slow, stuck or hostile costs itself its connection and nobody else
//! anything: readings are drawn from the log as an outlet draws them, and the flow waits for no
//! client. Nothing here measures, judges or decides what a calibration is.

mod check;
pub mod client;
pub mod facts;
mod lines;
pub mod place;
pub mod protocol;
mod server;
mod session;
mod steps;
mod tell;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(crate) mod testing;
#[cfg(test)]
mod tests;

pub use facts::{BoardStatus, OutletStatus, ProbeFacts, ProbeStatus, Said, Status, WatchedReading};
pub use server::Server;
pub use tell::shown;

use tokio::sync::oneshot;

/// Connections at one time: some guides, some looks at the status, and a page.
pub const MOST_CLIENTS: usize = 16;

/// Longest line either way, bytes. A captured point with half an hour of readings is a tenth of it.
pub const LONGEST_LINE: usize = 1 << 20;

/// What a connection asks of the service's main loop, which alone knows what it runs.
#[derive(Debug)]
pub enum Asked {
    /// What is configured for a probe; a refusal in words where it is not.
    Probe(String, oneshot::Sender<Result<ProbeFacts, String>>),
    /// How everything stands.
    Status(oneshot::Sender<Box<Status>>),
    /// Another calibration of a probe is in the log as the active one: take it from the next line on.
    Recalibrated(String, oneshot::Sender<Result<(), String>>),
}
