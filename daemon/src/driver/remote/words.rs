//! What became of a child, in words for the journal.

use super::Plan;
use super::channel::Trouble;
use super::printed::Printed;
use crate::driver::frames::What;
use crate::driver::host_process::End;
use crate::driver::vet::on_one_line;
use crate::words::counted;
use std::fmt;
use std::os::unix::process::ExitStatusExt;
use std::process::ExitStatus;

/// Longest piece of what a driver printed, characters.
const SHOWN: usize = 200;

/// Ends a sentence about a child that was being started.
pub(super) const LOADING: &str = " while it was loaded";

/// What a child was doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::driver) enum Doing {
    /// Loading its library.
    Loading,
    /// Nothing that it was asked for.
    Waiting,
    /// Answering, for so many inputs.
    Answering(What, usize),
}

impl fmt::Display for Doing {
    /// Ends a sentence.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (what, inputs) = match *self {
            Self::Loading => return f.write_str(LOADING),
            Self::Waiting => return f.write_str(" while nothing was asked of it"),
            Self::Answering(what, inputs) => (what, counted(inputs, "input")),
        };
        match what {
            What::Evaluate | What::Both | What::Output => write!(f, " while it evaluated {inputs}"),
            What::Slope => write!(f, " while it took the slope at {inputs}"),
            What::Range => f.write_str(" while it was asked for its range"),
            What::Check => f.write_str(" while it checked its parameters"),
            What::Guess => write!(f, " while it guessed from {}", counted_points(inputs)),
            What::Misfit => write!(f, " while it judged its fit at {inputs}"),
        }
    }
}

fn counted_points(inputs: String) -> String {
    inputs.replace("input", "point")
}

/// How a child ended by itself.
pub(super) fn ended(status: ExitStatus, doing: &Doing, plan: &Plan, printed: &Printed) -> String {
    let how = match (status.code(), status.signal()) {
        (Some(code), _) => exit_words(code, plan),
        (None, Some(signal)) => signal_words(signal),
        (None, None) => "is gone".to_owned(),
    };
    format!("{how}{doing}{}", printed.last_words())
}

/// That a child was ended by us.
pub(super) fn cut(trouble: Trouble, doing: &Doing, plan: &Plan) -> String {
    let text = trouble.words(doing, plan.deadline);
    let text = text.strip_prefix("it ").unwrap_or(&text);
    format!("{text}, and was ended")
}

fn exit_words(code: i32, plan: &Plan) -> String {
    let is = |end: End| code == i32::from(end.code());
    if is(End::Memory) {
        let memory = plan.memory >> 20;
        return format!("used up its memory ({memory} MiB, `memory`), and was ended");
    }
    if is(End::Overrun) {
        return "wrote more numbers than it was asked for, and was ended".to_owned();
    }
    format!("ended its process (exit code {code})")
}

/// Names of POSIX.1-2017, `signal.h`, with Linux's numbers.
fn signal_words(signal: i32) -> String {
    let words = match signal {
        4 => "crashed (illegal instruction)",
        5 => "crashed (trap)",
        6 => "aborted",
        7 => "crashed (bad memory access)",
        8 => "crashed (arithmetic fault)",
        // By the service itself where the line ended first.
        9 => "closed its line to the service, or was killed for lack of memory,",
        11 => "crashed (segmentation fault)",
        31 => "made a system call that it may not make",
        other => return format!("was ended by signal {other}"),
    };
    words.to_owned()
}

/// A stranger's bytes in a message: the last of them, on one line.
pub(super) fn in_one_line(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let words: Vec<&str> = text.split_whitespace().collect();
    let line = on_one_line(words.join(" ").chars());
    let line = line.replace('`', "'");
    let beyond = line.chars().count().saturating_sub(SHOWN);
    line.chars().skip(beyond).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use insta::assert_snapshot;

    #[test]
    fn what_it_was_doing_is_told() {
        let shown = |doing: Doing| format!("crashed{doing}");
        assert_snapshot!(shown(Doing::Answering(What::Both, 2)), @"crashed while it evaluated 2 inputs");
        assert_snapshot!(shown(Doing::Answering(What::Guess, 1)), @"crashed while it guessed from 1 point");
        assert_snapshot!(shown(Doing::Answering(What::Check, 0)), @"crashed while it checked its parameters");
        assert_snapshot!(shown(Doing::Loading), @"crashed while it was loaded");
        assert_snapshot!(shown(Doing::Waiting), @"crashed while nothing was asked of it");
    }

    // Source: signal(7), the numbers of x86 and ARM.
    #[test]
    fn signals_are_told_in_words() {
        assert_eq!(signal_words(11), "crashed (segmentation fault)");
        assert_eq!(signal_words(6), "aborted");
        assert_eq!(signal_words(64), "was ended by signal 64");
    }

    #[test]
    fn what_a_driver_prints_is_shown_in_part_and_on_one_line() {
        assert_eq!(in_one_line(b"a\n  b\x1b[0m `c`\n"), "a b\\u{1b}[0m 'c'");
        assert_eq!(in_one_line(&[b'x'; 500]).chars().count(), SHOWN);
        assert_eq!(in_one_line(&[0xff, b'y']), "\u{fffd}y");
    }
}
