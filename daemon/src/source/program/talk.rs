//! What a program says on standard error, as remarks: so many a minute, each of bounded length.
//!
//! Pure: bytes and time are handed in.

use crate::measure::lines::{LineSplitter, Piece};

/// Lines a minute that reach the journal: a trace of a crash fits, a flood does not wear out the
/// disk.
pub const LINES_A_MINUTE: u32 = 20;

const MINUTE_NS: u64 = 60_000_000_000;

/// Longest line that is shown in full, characters.
const SHOWN: usize = 300;

/// A program's standard error, over all its starts.
#[derive(Debug)]
pub struct Talk {
    splitter: LineSplitter,
    minute: Minute,
}

#[derive(Debug, Default)]
struct Minute {
    since_ns: u64,
    told: u32,
    passed_over: u64,
}

impl Talk {
    /// Nothing said yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            splitter: LineSplitter::new(),
            minute: Minute::default(),
        }
    }

    /// Takes what was said at `boot_ns`; gives what is to be told of it.
    pub fn hear(&mut self, bytes: &[u8], boot_ns: u64) -> Vec<String> {
        let mut told = Vec::new();
        let minute = &mut self.minute;
        self.splitter
            .feed(bytes, &mut |piece| minute.take(&piece, boot_ns, &mut told));
        told
    }

    /// The program has ended: its last words need no newline.
    pub fn ends(&mut self, boot_ns: u64) -> Vec<String> {
        let mut told = Vec::new();
        let minute = &mut self.minute;
        self.splitter
            .finish(&mut |piece| minute.take(&piece, boot_ns, &mut told));
        told
    }
}

impl Minute {
    fn take(&mut self, piece: &Piece<'_>, boot_ns: u64, told: &mut Vec<String>) {
        let text = match piece {
            Piece::Line(line) => shown(line),
            Piece::Discarded { .. } => "a line that is far too long".to_owned(),
        };
        if text.is_empty() {
            return;
        }
        if boot_ns.saturating_sub(self.since_ns) >= MINUTE_NS {
            self.begin(boot_ns, told);
        }
        match self.told {
            0..LINES_A_MINUTE => {
                self.told += 1;
                told.push(format!("its program says: {text}{}", self.warning()));
            }
            _ => self.passed_over += 1,
        }
    }

    fn begin(&mut self, boot_ns: u64, told: &mut Vec<String>) {
        if self.passed_over > 0 {
            let n = self.passed_over;
            told.push(format!(
                "its program said {n} more lines that were passed over"
            ));
        }
        *self = Self {
            since_ns: boot_ns,
            told: 0,
            passed_over: 0,
        };
    }

    fn warning(&self) -> &'static str {
        if self.told == LINES_A_MINUTE {
            " (what it says more within this minute is passed over)"
        } else {
            ""
        }
    }
}

/// A line as it can stand in a journal: one line, no control characters, bounded.
fn shown(line: &[u8]) -> String {
    let text = String::from_utf8_lossy(line);
    let text = text.trim_end();
    let mut shown = String::new();
    for c in text.chars().take(SHOWN) {
        match c {
            '\t' => shown.push(' '),
            c if c.is_control() => shown.extend(c.escape_debug()),
            c => shown.push(c),
        }
    }
    if text.chars().nth(SHOWN).is_some() {
        shown.push('…');
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SECOND: u64 = 1_000_000_000;

    #[test]
    fn lines_are_told_as_they_were_said() {
        let mut talk = Talk::new();
        assert_eq!(talk.hear(b"no sen", 0), [""; 0]);
        assert_eq!(
            talk.hear(b"sor\r\n\n\x1b[31mred\tline\n", SECOND),
            [
                "its program says: no sensor",
                "its program says: \\u{1b}[31mred line"
            ]
        );
        talk.hear(b"last words", SECOND);
        assert_eq!(talk.ends(SECOND), ["its program says: last words"]);
    }

    #[test]
    fn a_flood_is_told_in_part_and_then_counted() {
        let mut talk = Talk::new();
        let flood = "help\n".repeat(1000);
        let told = talk.hear(flood.as_bytes(), 100 * SECOND);
        assert_eq!(told.len(), 20);
        assert_eq!(told[18], "its program says: help");
        assert!(told[19].ends_with("within this minute is passed over)"));
        assert_eq!(talk.hear(b"help\n", 159 * SECOND), [""; 0]);
        assert_eq!(
            talk.hear(b"help\n", 160 * SECOND),
            [
                "its program said 981 more lines that were passed over",
                "its program says: help"
            ]
        );
    }

    proptest! {
        #[test]
        fn any_bytes_become_short_lines_without_control_characters(
            chunks in proptest::collection::vec(any::<Vec<u8>>(), 0..9),
        ) {
            let mut talk = Talk::new();
            let mut told: Vec<String> =
                chunks.iter().flat_map(|chunk| talk.hear(chunk, SECOND)).collect();
            told.extend(talk.ends(SECOND));
            prop_assert!(told.len() <= 20);
            for text in told {
                prop_assert!(!text.chars().any(char::is_control));
                prop_assert!(text.chars().count() < 10 * SHOWN);
            }
        }
    }
}
