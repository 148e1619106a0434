//! Which way a driver says that its values go.
//!
//! Whether they do is looked at by the host.

use crate::codes;

/// Which way values go with a rising input, all over the range and whatever the parameters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[repr(u32)]
pub enum Monotonic {
    /// Nothing is promised.
    #[default]
    Unknown = codes::MONOTONIC_UNKNOWN,
    /// Never down.
    Rising = codes::MONOTONIC_RISING,
    /// Never up.
    Falling = codes::MONOTONIC_FALLING,
}

impl Monotonic {
    const ALL: [Self; 3] = [Self::Unknown, Self::Rising, Self::Falling];

    /// That of a code from a table; `None` for one that this version does not know.
    #[must_use]
    pub fn from_code(code: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|one| *one as u32 == code)
    }

    /// Whether one value must not follow another as the input rises. What is no number breaks no
    /// order: that is for others to refuse.
    #[must_use]
    pub fn forbids(self, before: f64, after: f64) -> bool {
        match self {
            Self::Unknown => false,
            Self::Rising => after < before,
            Self::Falling => after > before,
        }
    }
}
