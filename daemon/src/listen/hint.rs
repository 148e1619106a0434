//! Why nothing was recognised, and what a person can do about it.
//!
//! Many boards' lines are nearly in a format; then the step that is missing is named.

use super::{Heard, is_readable, readable};
use std::fmt;

/// Why no format was recognised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unrecognised {
    /// No line with content came.
    NoLine,
    /// One line only: it could be anything.
    OneLine,
    /// The lines are no text.
    NoText,
    /// Text, but in none of the formats; with the last line, and what is near.
    OtherFormat {
        /// The last readable line.
        example: String,
        /// What it nearly is.
        nearly: Nearly,
    },
    /// In a format, but no field is a measurement.
    NothingMeasured,
}

/// What a line nearly is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nearly {
    /// `a0:512`.
    PairsWithColon,
    /// `3,2;5,1`.
    DecimalComma,
    /// `[512, 300]`.
    JsonList,
    /// Nothing known.
    Nothing,
}

/// Longest example that is repeated, characters.
const LONGEST_EXAMPLE: usize = 80;

impl Unrecognised {
    /// Why these lines, which have content, are in no format.
    pub(super) fn of(heard: &[&Heard]) -> Self {
        let readable_lines = heard.iter().filter(|it| is_readable(&it.bytes));
        let last = readable_lines.clone().next_back();
        match last {
            _ if heard.is_empty() => Self::NoLine,
            Some(last) if readable_lines.count() * 2 >= heard.len() => {
                let text = readable(last.bytes.trim_ascii());
                Self::OtherFormat {
                    nearly: nearly(&text),
                    example: text.chars().take(LONGEST_EXAMPLE).collect(),
                }
            }
            _ => Self::NoText,
        }
    }
}

fn nearly(line: &str) -> Nearly {
    let digit_after = |mark: char| {
        let after = line.split(mark).skip(1);
        after.into_iter().any(|rest| {
            rest.trim_start()
                .starts_with(|c: char| c.is_ascii_digit() || c == '-')
        })
    };
    if line.starts_with('[') {
        Nearly::JsonList
    } else if digit_after(':') && !line.starts_with('{') {
        Nearly::PairsWithColon
    } else if digit_after(',') && line.starts_with(|c: char| c.is_ascii_digit() || c == '-') {
        Nearly::DecimalComma
    } else {
        Nearly::Nothing
    }
}

impl fmt::Display for Unrecognised {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoLine => f.write_str("no line with anything in it came; is the board's program running?"),
            Self::OneLine => f.write_str(
                "one line is not enough to tell what moves; listen for longer with `--seconds`",
            ),
            Self::NoText => f.write_str(
                "lines came, but they are no text: wrong baud rate? on a port, `--try-bauds` looks for it",
            ),
            Self::OtherFormat { example, nearly } => {
                write!(f, "the lines are text, but in no format that the service reads; {}; the last line was `{example}`", nearly.what_to_do())
            }
            Self::NothingMeasured => f.write_str(
                "the lines can be read, but no field in them is a measurement: only counters, or no plain numbers; \
                 let the board print the converter's counts, as in `a0=512`",
            ),
        }
    }
}

impl Nearly {
    fn what_to_do(self) -> &'static str {
        match self {
            Self::PairsWithColon => "let the board print `name=512` where it prints `name:512`",
            Self::DecimalComma => {
                "let the board print numbers with a point: `3.2`, where it prints `3,2`"
            }
            Self::JsonList => {
                "let the board print an object, `{\"a0\":512}`, where it prints a list"
            }
            Self::Nothing => {
                "let the board print one line for each measurement, as in `a0=512 a1=300`"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::recognise;
    use super::*;

    fn why(lines: &[&str]) -> String {
        let heard: Vec<Heard> = lines
            .iter()
            .map(|line| Heard::recorded(line.as_bytes()))
            .collect();
        recognise(&heard).map_or_else(|why| why.to_string(), |_| "recognised".to_owned())
    }

    #[test]
    fn what_is_not_recognised_is_told_with_the_next_step() {
        insta::assert_snapshot!(why(&[]), @"no line with anything in it came; is the board's program running?");
        insta::assert_snapshot!(why(&["", "# board bench"]), @"no line with anything in it came; is the board's program running?");
        insta::assert_snapshot!(why(&["a0=512"]), @"one line is not enough to tell what moves; listen for longer with `--seconds`");
        insta::assert_snapshot!(why(&["a0:512,a1:300", "a0:513,a1:301"]), @"the lines are text, but in no format that the service reads; let the board print `name=512` where it prints `name:512`; the last line was `a0:513,a1:301`");
        insta::assert_snapshot!(why(&["3,2;5,1", "3,3;5,1"]), @"the lines are text, but in no format that the service reads; let the board print numbers with a point: `3.2`, where it prints `3,2`; the last line was `3,3;5,1`");
        insta::assert_snapshot!(why(&["[512, 300]", "[513, 300]"]), @r#"the lines are text, but in no format that the service reads; let the board print an object, `{"a0":512}`, where it prints a list; the last line was `[513, 300]`"#);
        insta::assert_snapshot!(why(&["hello", "world"]), @"the lines are text, but in no format that the service reads; let the board print one line for each measurement, as in `a0=512 a1=300`; the last line was `world`");
        insta::assert_snapshot!(why(&["\u{1}\u{2}", "\u{7}x", "a"]), @"lines came, but they are no text: wrong baud rate? on a port, `--try-bauds` looks for it");
    }
}
