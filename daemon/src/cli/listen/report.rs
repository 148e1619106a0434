//! What is said before and after listening. Wording only.

use super::input::Input;
use crate::listen::rate::Score;
use crate::listen::{Origin, Recognised, Unrecognised, readable};
use crate::measure::decode::{Format, Separator};
use std::fmt;
use std::path::Path;

/// What is said when the input is open.
pub fn opening(what: &Path, input: &Input, seconds: u64) -> String {
    let what = what.display();
    match input {
        Input::Port(_) => format!(
            "listening to `{what}` for {seconds} s; Ctrl-C ends it sooner, `--seconds` makes it longer\n\
             opening a port resets most boards: first a greeting may come, or nothing for 2 s"
        ),
        Input::Recorded(_) => format!("reading `{what}`"),
        Input::Piped(_) => "listening to what is piped in; Ctrl-C ends it".to_owned(),
    }
}

/// What was recognised.
pub fn found(found: &Recognised) -> String {
    let others = match found.others {
        0 => String::new(),
        1 => ", and 1 line that is not (a greeting, half a line)".to_owned(),
        n => format!(", and {n} lines that are not (a greeting, half lines)"),
    };
    let interval = found.interval_ms.map_or(String::new(), |ms| {
        format!(", one every {:.1} s", ms / 1000.0)
    });
    let fields = found
        .fields
        .iter()
        .map(|field| format!("  `{}`  {field}", readable(field.name.as_bytes())));
    let fields: Vec<String> = fields.collect();
    let (lines, format) = (found.lines, format(&found.format));
    format!(
        "\n{lines} lines of {format}{interval}{others}:\n{}\n",
        fields.join("\n")
    )
}

fn format(format: &Format) -> String {
    let separator = match format {
        Format::Pairs => return "`name=number` pairs".to_owned(),
        Format::Json => return "JSON".to_owned(),
        Format::Columns { separator, names } if names.len() > 1 => separator,
        Format::Columns { .. } => return "one number".to_owned(),
    };
    let apart = match separator {
        Separator::Space => "spaces",
        Separator::Tab => "tabs",
        Separator::Comma => "commas",
        Separator::Semicolon => "semicolons",
    };
    format!("columns apart by {apart}")
}

/// What to do next; `is_kept` says that the configuration went into a file.
pub fn next(found: &Recognised, origin: &Origin, is_kept: bool) -> String {
    let few = format!(
        "{} lines are few to tell what moves: listen again with `--seconds 60`, and warm the probe with a hand",
        found.lines
    );
    let steps = [
        (found.lines < FEW_LINES, few.as_str()),
        (
            !is_kept,
            "keep the configuration: the same command again, with `> bench.toml` behind it",
        ),
        (
            *origin == Origin::Piped,
            "put the board's port into it; `nightbench ports` prints it",
        ),
        (
            true,
            "in an editor, correct what is marked GUESS in the configuration",
        ),
        (
            true,
            "`nightbench check bench.toml`, then `nightbench serve --config bench.toml`",
        ),
    ];
    let steps = steps.iter().filter(|(applies, _)| *applies).enumerate();
    let steps: Vec<String> = steps
        .map(|(at, (_, step))| format!("  {}. {step}", at + 1))
        .collect();
    // Between the configuration on the same terminal and this, a blank line.
    let apart = if is_kept { "" } else { "\n" };
    format!("{apart}next:\n{}", steps.join("\n"))
}

/// Fewer lines than this show little.
const FEW_LINES: usize = 10;

/// Why no baud rate is the right one.
pub fn no_rate(scores: &[Score], stopped: bool) -> &'static str {
    if stopped {
        "stopped before a line could be read; the rates above are those that were tried"
    } else if scores.iter().all(|score| score.bytes == 0) {
        "the board said nothing at any rate: is its program running, and does it print? some boards \
         have two ports: `nightbench ports`"
    } else {
        "no line could be read at any rate: the board may send no lines of text, or its ground wire \
         is missing; see what its own program says about its rate, and give it with `--baud`"
    }
}

/// Why there is no configuration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Not a byte came.
    Silence,
    /// Bytes, but no line.
    NoLine {
        /// How many.
        bytes: u64,
        /// The first of them.
        sample: Vec<u8>,
        /// Whether a port's rate may be wrong.
        is_port: bool,
    },
    /// Lines, but no format.
    Lines(Unrecognised),
}

impl Verdict {
    /// The first reason of those that hold.
    pub fn of(why: Unrecognised, bytes: u64, lines: usize, sample: &[u8], origin: &Origin) -> Self {
        match (bytes, lines) {
            (0, _) => Self::Silence,
            (_, 0) => Self::NoLine {
                bytes,
                sample: sample.to_vec(),
                is_port: matches!(origin, Origin::Serial { .. }),
            },
            _ => Self::Lines(why),
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Silence => f.write_str(
                "nothing came; is the board's program running, and does it print? a board that \
                 prints seldom needs a longer `--seconds`",
            ),
            Self::NoLine { sample, bytes, .. } if ends_with_return_only(sample) => write!(
                f,
                "{bytes} bytes, no line: the board ends its lines with a carriage return alone; let it \
                 end them with a newline, `\\n`"
            ),
            Self::NoLine {
                bytes,
                sample,
                is_port: true,
            } => write!(
                f,
                "{bytes} bytes, no line: wrong baud rate? let `--try-bauds` look for it; they begin \
                 with `{}`",
                readable(sample)
            ),
            Self::NoLine { bytes, sample, .. } => write!(
                f,
                "{bytes} bytes, no line: it may be no text; they begin with `{}`",
                readable(sample)
            ),
            Self::Lines(why) => why.fmt(f),
        }
    }
}

fn ends_with_return_only(sample: &[u8]) -> bool {
    let is_text = |byte: &u8| byte.is_ascii_graphic() || matches!(byte, b' ' | b'\t' | b'\r');
    sample.contains(&b'\r') && sample.iter().all(is_text)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::listen::{Heard, recognise};

    fn verdict(bytes: u64, lines: usize, sample: &[u8], origin: &Origin) -> String {
        Verdict::of(Unrecognised::OneLine, bytes, lines, sample, origin).to_string()
    }

    fn port() -> Origin {
        Origin::Serial {
            port: "/dev/ttyACM0".into(),
            baud: 9600,
        }
    }

    #[test]
    fn why_there_is_nothing_is_told_with_the_next_step() {
        insta::assert_snapshot!(verdict(0, 0, b"", &port()), @"nothing came; is the board's program running, and does it print? a board that prints seldom needs a longer `--seconds`");
        insta::assert_snapshot!(verdict(812, 0, b"\xf0\x80~", &port()), @r#"812 bytes, no line: wrong baud rate? let `--try-bauds` look for it; they begin with `\xf0\x80~`"#);
        insta::assert_snapshot!(verdict(812, 0, b"\xf0\x80~", &Origin::Piped), @r#"812 bytes, no line: it may be no text; they begin with `\xf0\x80~`"#);
        insta::assert_snapshot!(verdict(14, 0, b"a0=512\ra0=513", &port()), @r#"14 bytes, no line: the board ends its lines with a carriage return alone; let it end them with a newline, `\n`"#);
        insta::assert_snapshot!(verdict(14, 1, b"", &port()), @"one line is not enough to tell what moves; listen for longer with `--seconds`");
        insta::assert_snapshot!(no_rate(&[Score::default()], false), @"the board said nothing at any rate: is its program running, and does it print? some boards have two ports: `nightbench ports`");
        insta::assert_snapshot!(no_rate(&[Score { bytes: 9, good: 0, others: 3 }], false), @"no line could be read at any rate: the board may send no lines of text, or its ground wire is missing; see what its own program says about its rate, and give it with `--baud`");
    }

    fn recognised() -> Recognised {
        let line = |n: usize| Heard {
            at_ms: Some(n as f64 * 500.0),
            bytes: match n {
                0 => b"hello".to_vec(),
                n => format!("ms={} a0={} led=1", n * 500, 500 + n * n).into_bytes(),
            },
        };
        recognise(&(0..8).map(line).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn what_was_found_is_told_field_by_field() {
        insta::assert_snapshot!(found(&recognised()), @"
    7 lines of `name=number` pairs, one every 0.5 s, and 1 line that is not (a greeting, half a line):
      `ms`  counts milliseconds: the board's own clock, no probe
      `a0`  moves, 501 to 549
      `led`  did not move: 1
    ");
    }

    #[test]
    fn the_next_steps_are_told() {
        insta::assert_snapshot!(next(&recognised(), &Origin::Piped, false), @"
    next:
      1. 7 lines are few to tell what moves: listen again with `--seconds 60`, and warm the probe with a hand
      2. keep the configuration: the same command again, with `> bench.toml` behind it
      3. put the board's port into it; `nightbench ports` prints it
      4. in an editor, correct what is marked GUESS in the configuration
      5. `nightbench check bench.toml`, then `nightbench serve --config bench.toml`
    ");
    }
}
