//! Shows lines on stderr while they come, so that no byte can do harm to a terminal and no board can
//! flood it.

use crate::clock;
use crate::listen::readable;
use crate::source::Discard;
use std::cell::Cell;
use std::io::Write;

/// Lines shown in a second, at most.
const SHOWN_A_SECOND: u32 = 25;

/// Characters of a line that are shown, at most.
const WIDEST: usize = 160;

const SECOND_NS: u64 = 1_000_000_000;

/// Talk on stderr.
#[derive(Debug, Default)]
pub struct Live {
    is_quiet: bool,
    second: Cell<u64>,
    shown: Cell<u32>,
    hidden: Cell<u64>,
}

impl Live {
    /// Talk, or none.
    pub fn new(is_quiet: bool) -> Self {
        Self {
            is_quiet,
            ..Self::default()
        }
    }

    /// Says something.
    pub fn say(&self, text: &str) {
        if !self.is_quiet {
            tell(text);
        }
    }

    /// Shows a line.
    pub fn line(&self, line: &[u8], at_ms: Option<f64>) {
        if self.may_show(clock::now().boot_ns / SECOND_NS) {
            self.say(&shown(line, at_ms));
        }
    }

    /// Tells what was thrown away.
    pub fn discarded(&self, bytes: u64, why: Discard) {
        let what = match why {
            Discard::AfterOpening => "before the first whole line",
            Discard::TooLong => "without a line's end: too long for a line",
        };
        self.say(&format!("        | ({bytes} bytes {what})"));
    }

    /// Tells what was hidden last.
    pub fn end(&self) {
        self.tell_hidden();
    }

    fn may_show(&self, second: u64) -> bool {
        if self.second.replace(second) != second {
            self.tell_hidden();
            self.shown.set(0);
        }
        let may = self.shown.get() < SHOWN_A_SECOND;
        if may {
            self.shown.set(self.shown.get() + 1);
        } else {
            self.hidden.set(self.hidden.get() + 1);
        }
        may
    }

    fn tell_hidden(&self) {
        match self.hidden.take() {
            0 => {}
            1 => self.say("        | (1 more line)"),
            n => self.say(&format!("        | ({n} more lines)")),
        }
    }
}

/// Says something on stderr, also where nobody is to be bothered otherwise. That nobody reads it
/// (`2>&1 | head`) is no reason to end.
pub fn tell(text: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

fn shown(line: &[u8], at_ms: Option<f64>) -> String {
    let text = readable(line);
    let head: String = text.chars().take(WIDEST).collect();
    let more = if head.len() < text.len() { " ..." } else { "" };
    match at_ms {
        Some(at_ms) => format!("{:>6.1} s| {head}{more}", at_ms / 1000.0),
        None => format!("        | {head}{more}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_shown_with_their_time_and_cut_where_they_are_endless() {
        assert_eq!(shown(b"a0=512\x07", Some(1234.0)), "   1.2 s| a0=512\\x07");
        assert_eq!(shown(b"a0=512", None), "        | a0=512");
        let endless = shown(&[b'x'; 4000], None);
        assert!(endless.ends_with("x ...") && endless.len() < 200);
    }

    #[test]
    fn a_flood_is_counted_and_not_shown() {
        let live = Live::new(true);
        let shown = (0..100).filter(|_| live.may_show(7)).count();
        assert_eq!((shown, live.hidden.get()), (25, 75));
        assert!(live.may_show(8));
        assert_eq!(live.hidden.get(), 0);
    }
}
