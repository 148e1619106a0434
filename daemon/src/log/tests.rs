//! The log as a whole, on real files: what goes in comes back, whatever happens in between.

#![allow(clippy::unwrap_used)]

mod border;
mod kill;
mod moves;
mod open_and_close;
mod same_bits;
mod steps;
mod trouble;
