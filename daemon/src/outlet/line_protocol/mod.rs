//! Readings and moves of alarms as line protocol: the encoding, and the outlet that posts it to a
//! database over HTTP. The file outlet borrows the encoding.

pub mod answer;
pub mod encode;
mod failure;
pub mod halving;
mod http;
mod lines;
pub mod point;
pub mod retry_after;
mod session;
mod target;
mod trial;

pub use encode::{encode, encode_move};
pub use http::LineProtocolReceiver;
pub use lines::{Line, lines};
pub use point::Unwritable;
pub use trial::write_once;

#[cfg(test)]
pub(crate) mod example;
