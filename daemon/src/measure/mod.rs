//! From a board's line to a value: pure, all of it. No clock, file, socket or global is known here,
//! so replaying a log through these steps gives the same answers as the night itself.

pub mod board_clock;
pub mod chain;
pub mod condition;
pub mod corrections;
pub mod dating;
pub mod decode;
pub mod front_end;
pub mod lines;
pub mod self_heating;
pub mod supply;
pub mod timeline;
pub mod uncertainty;

#[cfg(test)]
pub(crate) mod testing;
