//! What can be wrong with a table, and how it is told.

use std::fmt;

use crate::{MAJOR, MINOR};

/// Why a table cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// The library exports a null pointer.
    NoTable,
    /// Another major version of the interface.
    Version {
        /// Major version of the table.
        major: u32,
        /// Minor version of the table.
        minor: u32,
    },
    /// The sizes in the head are smaller than this version's structs, or not aligned.
    Size,
    /// A text that is required is null, is empty, or is far too long.
    Text(&'static str),
    /// A text is no UTF-8.
    Encoding(&'static str),
    /// A list that is required is null or empty, or has more entries than makes sense.
    Count(&'static str),
    /// An electrical quantity that this version does not know.
    Input(u32),
    /// A required function is null.
    Function(&'static str),
    /// A direction of the values that this version does not know.
    Monotonic(u32),
    /// Fixed pairs whose inputs neither rise nor fall, that are not finite, or beside a formula.
    Pairs,
    /// A parameter of a kind that this version does not know, or with a default, bounds or a rank
    /// in fits that make no sense.
    Parameter(&'static str),
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTable => f.write_str("the library's symbol points to no table"),
            Self::Version { major, minor } => write!(
                f,
                "built for interface {major}.{minor}, this program speaks {MAJOR}.{MINOR}; \
                 rebuild the driver against {MAJOR}.x, or use a program that speaks {major}.x"
            ),
            Self::Size => f.write_str("the table is shorter than its version says"),
            Self::Text(what) => write!(f, "the {what} is missing or too long"),
            Self::Encoding(what) => write!(f, "the {what} is no UTF-8 text"),
            Self::Count(what) => write!(f, "it declares no {what}, or far too many"),
            Self::Input(code) => write!(f, "it takes an unknown electrical quantity (code {code})"),
            Self::Function(name) => write!(f, "its function `{name}` is missing"),
            Self::Monotonic(code) => {
                write!(f, "its values go in an unknown direction (code {code})")
            }
            Self::Pairs => f.write_str(
                "its fixed pairs must be finite, their inputs rise or fall from row to row, and no \
                 `evaluate` or `slope` stand beside them",
            ),
            Self::Parameter(name) => write!(
                f,
                "its parameter `{name}` has an unknown kind, a default outside its bounds, or is to \
                 be fitted although it is no number"
            ),
        }
    }
}

impl std::error::Error for Flaw {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn another_major_version_names_both_and_what_to_do() {
        assert_eq!(
            Flaw::Version { major: 2, minor: 3 }.to_string(),
            "built for interface 2.3, this program speaks 1.1; rebuild the driver against 1.x, \
             or use a program that speaks 2.x"
        );
    }
}
