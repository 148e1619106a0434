//! The electrical quantities that a front end can hand to a driver.
//!
//! How they come from counts is the front end's part.

use crate::codes;

/// The electrical quantity a driver takes from the front end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u32)]
pub enum Electrical {
    /// Resistance, ohm.
    Ohm = codes::OHM,
    /// Voltage, volt.
    Volt = codes::VOLT,
    /// Fraction of the converter's full scale, 0 to 1.
    Ratio = codes::RATIO,
    /// The board's number as it is.
    Number = codes::NUMBER,
}

impl Electrical {
    /// All of them, in the order of their codes.
    pub const ALL: [Self; 4] = [Self::Ohm, Self::Volt, Self::Ratio, Self::Number];

    /// The quantity of a code from a table; `None` for one that this version does not know.
    #[must_use]
    pub fn from_code(code: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|one| *one as u32 == code)
    }

    /// As people write it: `ohm`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Ohm => "ohm",
            Self::Volt => "volt",
            Self::Ratio => "ratio",
            Self::Number => "number",
        }
    }

    /// UCUM code of its unit; `1` for a ratio or a plain number.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Ohm => "Ohm",
            Self::Volt => "V",
            Self::Ratio | Self::Number => "1",
        }
    }
}
