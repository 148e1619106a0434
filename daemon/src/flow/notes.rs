//! What a board's bad lines come to in the journal: counted, with one example, at most every ten
//! minutes.

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
    /// The latest one, kept until a good line comes.
    latest: Option<String>,
    told_ns: Option<u64>,
}

impl BadLines {
    /// Counts a line that is garbage or names nothing wanted.
    pub fn count(&mut self, kind: Line, bytes: &[u8]) {
        match kind {
            Line::Garbage => self.garbage += 1,
            Line::Nothing => self.nothing += 1,
            Line::Fields | Line::Remark => return,
        }
        self.latest = Some(readable(bytes));
        if self.example.is_none() {
            self.example.clone_from(&self.latest);
        }
    }

    /// A good line came: what was bad before it does not explain a silence after it.
    pub fn good_line(&mut self) {
        self.latest = None;
    }

    /// Counts bytes that the source threw away.
    pub fn count_discarded(&mut self, why: Discard) {
        match why {
            Discard::TooLong => self.too_long += 1,
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
            latest: self.latest.take(),
            ..Self::default()
        };
    }

    /// What came instead of usable lines, in words, for a board that counts as silent.
    #[must_use]
    pub fn instead(&self) -> String {
        match (self.counts(), &self.latest) {
            (None, None) => "nothing came; check its power and cable".to_owned(),
            (_, Some(latest)) => format!(
                "what comes does not fit, such as `{latest}`; check `format`, the channels' `field` and \
                 the baud rate"
            ),
            (Some(counts), None) => format!("what came is {counts}; check the baud rate"),
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
        (lines > 0 || bytes > 0).then(|| {
            format!(
                "first good line after {seconds:.1} s; passed over before it: {} and a piece of {}",
                counted(lines, "line"),
                counted(bytes, "byte")
            )
        })
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
        insta::assert_snapshot!(told(1, 1), @"first good line after 2.0 s; passed over before it: 1 line and a piece of 1 byte");
        insta::assert_snapshot!(told(3, 0), @"first good line after 2.0 s; passed over before it: 3 lines and a piece of 0 bytes");
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
}
