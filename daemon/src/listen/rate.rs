//! How well a stretch of bytes reads: what a baud rate is judged by.
//!
//! At a wrong rate the bytes are garbage, but not always unprintable; so only bytes in lines of a
//! format count.

use super::{Heard, recognise};
use crate::measure::lines::{LineSplitter, Piece};

/// The rates that boards use, the likeliest first: most sketches say 9600 or 115200.
pub const USUAL: [u32; 9] = [
    115_200, 9_600, 57_600, 38_400, 19_200, 230_400, 250_000, 460_800, 921_600,
];

/// What was heard at one rate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Score {
    /// All bytes.
    pub bytes: usize,
    /// Lines that are in the format that fits best.
    pub good: usize,
    /// Lines that are not; a half line at the start left out.
    pub others: usize,
}

/// Judges the bytes heard at one rate, from anywhere in a line on.
#[must_use]
pub fn score(bytes: &[u8]) -> Score {
    let mut lines = Vec::new();
    let mut visit = |piece: Piece<'_>| {
        if let Piece::Line(line) = piece {
            lines.push(Heard::recorded(line));
        }
    };
    LineSplitter::after_opening().feed(bytes, &mut visit);
    lines.retain(|line| !line.bytes.trim_ascii().is_empty());
    let good = recognise(&lines).map_or(0, |found| found.lines);
    Score {
        bytes: bytes.len(),
        good,
        others: lines.len() - good,
    }
}

impl Score {
    /// The share of lines that can be read, 0 to 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        match self.good + self.others {
            0 => 0.0,
            all => self.good as f64 / all as f64,
        }
    }

    /// Whether no other rate can be better: three lines, and nearly all of them good.
    #[must_use]
    pub fn is_clear(&self) -> bool {
        self.good >= 3 && self.share() >= 0.9
    }

    /// Whether it is better than another one: by its share, then by its lines. Without a good line
    /// it is better than none.
    #[must_use]
    pub fn is_better_than(&self, other: &Self) -> bool {
        self.good > 0 && (self.share(), self.good) > (other.share(), other.good)
    }
}

/// The place of the best score; none where no line could be read at all.
#[must_use]
pub fn best(scores: &[Score]) -> Option<usize> {
    let mut best = None;
    let mut so_far = Score::default();
    for (at, score) in scores.iter().enumerate() {
        if score.is_better_than(&so_far) {
            (best, so_far) = (Some(at), *score);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn good_lines_count_and_half_a_line_at_either_end_does_not() {
        let score = score(b"512\r\na0=1\r\na0=2\r\n\r\n\xff\xfe\r\na0=3\r\na0=4\r\na0=");
        let expected = Score {
            bytes: 38,
            good: 4,
            others: 1,
        };
        assert_eq!(score, expected);
        assert!(!score.is_clear());
    }

    #[test]
    fn the_largest_share_of_readable_lines_is_best() {
        let score = |good, others| Score {
            bytes: 100,
            good,
            others,
        };
        assert_eq!(best(&[score(0, 0), score(0, 9)]), None);
        assert_eq!(best(&[score(2, 8), score(3, 0), score(9, 1)]), Some(1));
        assert_eq!(best(&[score(3, 0), score(9, 0)]), Some(1));
        assert!(score(3, 0).is_clear() && !score(2, 0).is_clear());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn no_bytes_panic_and_lines_are_never_more_than_their_ends(
            bytes in proptest::collection::vec(any::<u8>(), 0..2000),
        ) {
            let score = score(&bytes);
            let ends = bytes.iter().filter(|byte| **byte == b'\n').count();
            prop_assert!(score.good + score.others <= ends);
            prop_assert!((0.0..=1.0).contains(&score.share()));
        }
    }
}
