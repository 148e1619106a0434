//! Small wordings that the whole program shares: counts, and what the operating system said.
//!
//! Wordings of one module stay in that module.

use std::fmt::Display;

/// A count with its noun: `1 board`, `3 boards`. The plural is the noun and an `s`.
#[must_use]
pub fn counted<N: Display + PartialEq + From<u8>>(count: N, noun: &str) -> String {
    if count == N::from(1) {
        format!("{count} {noun}")
    } else {
        format!("{count} {noun}s")
    }
}

/// What the operating system said, as a message holds it: `connection refused`. Its number is for
/// programs, and left out.
#[must_use]
pub fn system(error: &std::io::Error) -> String {
    let text = error.to_string();
    let text = text.split(" (os error").next().unwrap_or_default();
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_one_is_singular() {
        assert_eq!(counted(0_usize, "board"), "0 boards");
        assert_eq!(counted(1_usize, "board"), "1 board");
        assert_eq!(counted(2_u64, "alarm move"), "2 alarm moves");
    }

    #[test]
    fn the_systems_number_is_left_out() {
        // Source: POSIX.1-2017, errno.h names EISDIR; 21 is Linux's number for it.
        let error = std::io::Error::from_raw_os_error(21);
        assert_eq!(system(&error), "is a directory");
    }
}
