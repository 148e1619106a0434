//! From what a board says to the configuration that reads it: its line format, its fields, and how
//! each of them moves.
//!
//! Pure: bytes and times are handed in, a verdict comes out. What a line means is decided by the
//! very decoder that the service uses, so what is recognised here is read there. It guesses, and
//! says so: how a probe is wired cannot be heard.

mod candidate;
mod columns;
mod draft;
mod hint;
mod manner;
mod names;
pub mod rate;
mod readable;
mod recognise;

pub use draft::{Origin, draft};
pub use hint::Unrecognised;
pub use manner::{Clock, Field, Manner};
pub use readable::{is_readable, readable};
pub use recognise::{MAX_LINES, Recognised, recognise};

/// A whole line that a board said, without its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// When it came, milliseconds after some start; none for a recorded line.
    pub at_ms: Option<f64>,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

impl Heard {
    /// A recorded line.
    #[must_use]
    pub fn recorded(bytes: &[u8]) -> Self {
        Self {
            at_ms: None,
            bytes: bytes.to_vec(),
        }
    }
}
