//! What a board's bad lines come to in the journal: counted, with one example, at most every ten
//! minutes; what came instead of usable lines; what a board says after it was opened.

use crate::log::{Batch, Entry, Kind, Loudness};
use crate::measure::decode::Line;
use crate::reading::Moment;
use crate::source::Discard;
use crate::words::counted;

/// Least time between two entries of one board, nanoseconds.
const NOTE_GAP_NS: u64 = 600_000_000_000;
/// Longest piece of a bad line that is shown, bytes.
const EXAMPLE: usize = 60;

/// Counts of what could not be used since the last entry.
#[derive(Debug, Default)]
pub struct BadLines {
    garbage: u64,
    nothing: u64,
    too_long: u64,
    example: Option<String>,
    /// What came since the last good line, told or not.
    since_good: Option<Instead>,
    told_ns: Option<u64>,
}

/// What comes in place of usable lines.
#[derive(Debug)]
enum Instead {
    /// Lines, the latest like this.
    Line(String),
    /// Bytes without an end of line.
    Endless,
}

impl BadLines {
    /// Counts a line that is garbage or names nothing wanted.
    pub fn count(&mut self, kind: Line, bytes: &[u8]) {
        self.saw(bytes);
        match kind {
            Line::Garbage => self.garbage += 1,
            Line::Nothing => self.nothing += 1,
            Line::Fields | Line::Remark => return,
        }
        if self.example.is_none() {
            self.example = Some(readable(bytes));
        }
    }

    /// Remembers a line that holds no reading, but is not bad.
    pub fn saw(&mut self, bytes: &[u8]) {
        self.since_good = Some(Instead::Line(readable(bytes)));
    }

    /// A good line came: what was bad before it does not explain a silence after it.
    pub fn good_line(&mut self) {
        self.since_good = None;
    }

    /// Counts bytes that the source threw away.
    pub fn count_discarded(&mut self, why: Discard) {
        match why {
            Discard::TooLong => {
                self.too_long += 1;
                self.since_good.get_or_insert(Instead::Endless);
            }
            // Expected after each opening, which has its own entry.
            Discard::AfterOpening => {}
        }
    }

    /// Journals the counts, where there are any and the last entry is long enough ago.
    pub fn tell(&mut self, board: &str, now: Moment, batch: &mut Batch) {
        let recently = self
            .told_ns
            .is_some_and(|told| now.boot_ns.saturating_sub(told) < NOTE_GAP_NS);
        let Some(text) = self.text(board).filter(|_| !recently) else {
            return;
        };
        let entry = Entry::new(now, Kind::Board, board, text).loud(Loudness::Warning);
        batch.entries.push(entry);
        *self = Self {
            told_ns: Some(now.boot_ns),
            since_good: self.since_good.take(),
            ..Self::default()
        };
    }

    /// What came instead of usable lines, in words, for a board that counts as silent.
    #[must_use]
    pub fn instead(&self) -> String {
        match &self.since_good {
            None => "nothing came; check its power and cable".to_owned(),
            Some(Instead::Line(latest)) => format!(
                "what comes does not fit, such as `{latest}`; check `format`, the channels' `field` and \
                 the baud rate"
            ),
            Some(Instead::Endless) => {
                "what comes is too long to be a line; check the baud rate".to_owned()
            }
        }
    }

    fn text(&self, board: &str) -> Option<String> {
        let lines = self.counts()?;
        let example = match &self.example {
            Some(example) => format!(", the first one `{example}`"),
            None => String::new(),
        };
        Some(format!(
            "board `{board}`: lines passed over: {lines}{example}; good lines are not affected"
        ))
    }

    fn counts(&self) -> Option<String> {
        let counted = [
            (self.garbage, "not in the board's `format`"),
            (self.nothing, "naming none of the board's channels"),
            (self.too_long, "too long to be a line"),
        ];
        let parts: Vec<String> = counted
            .iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, what)| format!("{count} {what}"))
            .collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    }
}

/// Entries of one board that may be journalled in a row, and then one each [`ALLOWED_EACH_NS`].
const ALLOWED_AT_ONCE: u64 = 40;
/// A board whose plug is loose, or whose bridge closes each connection, comes and goes all night.
const ALLOWED_EACH_NS: u64 = 60_000_000_000;

/// How much one board may still say in the journal.
#[derive(Debug, Default)]
pub struct Allowance {
    /// Entries that were journalled and not yet regained.
    used: u64,
    /// Boot time up to which was regained.
    since_ns: u64,
    untold: u64,
}

impl Allowance {
    /// Takes one entry of it: what is to be added to its text; none where it must stay untold.
    pub fn take(&mut self, at: Moment) -> Option<String> {
        let regained = at.boot_ns.saturating_sub(self.since_ns) / ALLOWED_EACH_NS;
        self.used = self.used.saturating_sub(regained);
        self.since_ns = match self.used {
            0 => at.boot_ns.max(self.since_ns),
            _ => self.since_ns + regained * ALLOWED_EACH_NS,
        };
        if self.used >= ALLOWED_AT_ONCE {
            self.untold += 1;
            return None;
        }
        self.used += 1;
        Some(match std::mem::take(&mut self.untold) {
            0 => String::new(),
            untold => format!(
                " (it comes and goes: {} left out before this)",
                counted(untold, "remark")
            ),
        })
    }
}

/// How long a board that was just opened may talk about itself, nanoseconds: it comes out of a
/// reset within 2 s (common practice).
const GREETING_NS: u64 = 3_000_000_000;

/// What a board says between being opened and its first good line: its banner, and half a line.
/// Expected, so it is counted apart from bad lines.
#[derive(Debug, Default)]
pub struct Greeting {
    opened_ns: Option<u64>,
    lines: u64,
    bytes: u64,
}

impl Greeting {
    /// Of a board that was opened now.
    pub fn after_opening(at: Moment) -> Self {
        Self {
            opened_ns: Some(at.boot_ns),
            ..Self::default()
        }
    }

    /// Counts a line that holds no reading, where it still belongs to the greeting.
    pub fn takes(&mut self, at: Moment) -> bool {
        let since = self
            .opened_ns
            .map(|opened| at.boot_ns.saturating_sub(opened));
        let takes = since.is_some_and(|since| since <= GREETING_NS);
        self.lines += u64::from(takes);
        takes
    }

    /// Counts bytes before the first whole line.
    pub fn count_discarded(&mut self, why: Discard, bytes: u64) {
        if why == Discard::AfterOpening {
            self.bytes += bytes;
        }
    }

    /// The first good line: what came before it, in words; none where nothing did.
    pub fn end(&mut self, at: Moment) -> Option<String> {
        let Self {
            opened_ns,
            lines,
            bytes,
        } = std::mem::take(self);
        let seconds = at.boot_ns.saturating_sub(opened_ns?) as f64 / 1e9;
        let lines_in_words = counted(lines, "line");
        let piece = format!("a piece of {}", counted(bytes, "byte"));
        let before = match (lines, bytes) {
            (0, 0) => return None,
            (0, _) => piece,
            (_, 0) => lines_in_words,
            (_, _) => format!("{piece} and {lines_in_words}"),
        };
        Some(format!(
            "first good line after {seconds:.1} s; passed over before it: {before}"
        ))
    }
}

/// Bytes as a person can read them, shortened.
fn readable(bytes: &[u8]) -> String {
    let shown = &bytes[..bytes.len().min(EXAMPLE)];
    let mut text = shown.escape_ascii().to_string();
    if bytes.len() > EXAMPLE {
        text.push('…');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: u64) -> Moment {
        Moment {
            wall_ms: 1_780_000_000_000,
            boot_ns: second * 1_000_000_000,
        }
    }

    #[test]
    fn what_came_before_the_first_good_line_is_counted_in_words() {
        let told = |lines: u64, bytes: u64| {
            let mut greeting = Greeting::after_opening(at(1));
            (0..lines).for_each(|_| assert!(greeting.takes(at(2))));
            greeting.count_discarded(Discard::AfterOpening, bytes);
            greeting.end(at(3)).unwrap_or_default()
        };
        insta::assert_snapshot!(told(1, 1), @"first good line after 2.0 s; passed over before it: a piece of 1 byte and 1 line");
        insta::assert_snapshot!(told(3, 0), @"first good line after 2.0 s; passed over before it: 3 lines");
    }

    #[test]
    fn a_board_that_comes_and_goes_all_night_does_not_fill_the_journal() {
        let mut allowance = Allowance::default();
        let night = 8 * 3600;
        let told: Vec<String> = (0..night)
            .filter_map(|s| allowance.take(at(1000 + s)))
            .collect();
        assert!((500..540).contains(&told.len()), "{}", told.len());
        insta::assert_snapshot!(told[100], @" (it comes and goes: 59 remarks left out before this)");
        assert_eq!(
            allowance
                .take(at(1000 + 2 * night))
                .map(|more| more.len() > 5),
            Some(true)
        );
        assert_eq!(allowance.take(at(1001 + 2 * night)), Some(String::new()));
    }

    #[test]
    fn a_flood_of_garbage_is_one_entry_with_a_count_and_an_example() {
        let mut bad = BadLines::default();
        for _ in 0..1000 {
            bad.count(Line::Garbage, b"\xff\x00a0=5");
        }
        bad.count(Line::Nothing, b"b7=1");
        let mut batch = Batch::default();
        bad.tell("bench", at(1), &mut batch);
        bad.count(Line::Garbage, b"again");
        bad.tell("bench", at(2), &mut batch);
        let texts: Vec<&str> = batch.entries.iter().map(|e| e.text.as_str()).collect();
        insta::assert_snapshot!(texts.join("\n"), @r"board `bench`: lines passed over: 1000 not in the board's `format`, 1 naming none of the board's channels, the first one `\xff\x00a0=5`; good lines are not affected");
        bad.tell("bench", at(700), &mut batch);
        assert_eq!(batch.entries.len(), 2);
    }

    #[test]
    fn a_silence_is_told_with_what_came_since_the_last_good_line() {
        let mut bad = BadLines::default();
        let mut said = vec![bad.instead()];
        bad.count_discarded(Discard::AfterOpening);
        said.push(bad.instead());
        bad.count_discarded(Discard::TooLong);
        said.push(bad.instead());
        bad.count(Line::Garbage, b"\xfe\x01\x7f");
        said.push(bad.instead());
        bad.count(Line::Nothing, &[b'x'; 100]);
        said.push(bad.instead());
        bad.count(Line::Remark, b"# warming up");
        said.push(bad.instead());
        bad.good_line();
        said.push(bad.instead());
        insta::assert_snapshot!(said.join("\n"), @r"
        nothing came; check its power and cable
        nothing came; check its power and cable
        what comes is too long to be a line; check the baud rate
        what comes does not fit, such as `\xfe\x01\x7f`; check `format`, the channels' `field` and the baud rate
        what comes does not fit, such as `xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx…`; check `format`, the channels' `field` and the baud rate
        what comes does not fit, such as `# warming up`; check `format`, the channels' `field` and the baud rate
        nothing came; check its power and cable
        ");
    }

    #[test]
    fn what_was_told_in_the_meantime_still_explains_a_silence() {
        let mut bad = BadLines::default();
        bad.count_discarded(Discard::TooLong);
        bad.tell("bench", at(1), &mut Batch::default());
        assert!(bad.instead().starts_with("what comes is too long"));
        bad.count(Line::Garbage, b"?");
        bad.tell("bench", at(700), &mut Batch::default());
        assert!(bad.instead().contains("such as `?`"));
    }

    #[test]
    fn a_greeting_is_told_with_what_it_was_made_of() {
        let told = |lines: u64, bytes: u64| {
            let mut greeting = Greeting::after_opening(at(10));
            greeting.count_discarded(Discard::TooLong, 4096);
            greeting.count_discarded(Discard::AfterOpening, bytes);
            for _ in 0..lines {
                assert!(greeting.takes(at(11)));
            }
            greeting.end(at(12)).unwrap_or("nothing to tell".to_owned())
        };
        let told = [told(0, 0), told(0, 17), told(3, 0), told(3, 17)];
        insta::assert_snapshot!(told.join("\n"), @r"
        nothing to tell
        first good line after 2.0 s; passed over before it: a piece of 17 bytes
        first good line after 2.0 s; passed over before it: 3 lines
        first good line after 2.0 s; passed over before it: a piece of 17 bytes and 3 lines
        ");
    }

    #[test]
    fn a_greeting_is_told_once_and_takes_nothing_after_three_seconds() {
        let mut greeting = Greeting::after_opening(at(10));
        assert!(greeting.takes(at(13)));
        assert!(!greeting.takes(at(14)));
        assert!(greeting.end(at(20)).is_some());
        assert_eq!(greeting.end(at(21)), None);
        assert!(!greeting.takes(at(10)), "it has not been opened again");
    }
}
